"""
Names of lists made into valid ids: upper case, digits and hyphens, without the letters I and O.

I becomes 1 and O becomes 0, accents go, anything else becomes a hyphen. Every change is told; two names that become one id are
a fault, never merged.
"""

from __future__ import annotations

import re
import unicodedata

MOST_ID = 24
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"  # without I and O
_GREEK = {"ALPHA": "A", "BETA": "B", "GAMMA": "C", "DELTA": "D", "EPSILON": "E", "ZETA": "F"}
_AZIMUTH = re.compile(r"([0-9]{1,3}(?:[.,][0-9]+)?)\s*(°|º|deg|degrees?)?", re.IGNORECASE)


def make_id(text: str, most: int = MOST_ID) -> str:
    """
    A valid id from a name; '' if nothing of it can stay.

    >>> make_id("Oil Rig 7/b"), make_id("0042"), make_id("Küste")
    ('01L-R1G-7-B', '0042', 'KUSTE')
    """
    plain = unicodedata.normalize("NFKD", text)
    plain = "".join(ch for ch in plain if not unicodedata.combining(ch)).upper()
    plain = plain.replace("I", "1").replace("O", "0")
    return re.sub(r"[^A-Z0-9]+", "-", plain).strip("-")[:most].strip("-")


def sector_id(text: str) -> str:
    """
    The short name of a sector: A, B, C or 1, 2, 3 as written, Alpha, Beta, Gamma as A, B, C; '' if it can't be made.

    >>> sector_id("Sector Alpha"), sector_id("S2"), sector_id("gamma"), sector_id("c")
    ('A', '2', 'C', 'C')
    """
    word = re.sub(r"^(?:SECTOR|SECT|SEC|FACE)[\s._:#-]*", "", text.strip().upper())
    word = re.sub(r"^S(?:[\s._-]*(?=[0-9]{1,2}$)|[\s._-]+(?=[A-Z]$))", "", word)
    if word in _GREEK:
        return _GREEK[word]
    made = make_id(word)
    return made if re.fullmatch(r"[A-HJ-NP-Z0-9]{1,4}", made) else ""


def azimuth_of(text: str) -> tuple[float, bool] | None:
    """The azimuth that a sector's name is, and whether it says degrees; None if it is no number up to 360."""
    match = _AZIMUTH.fullmatch(text.strip())
    if match is None:
        return None
    value = float(match.group(1).replace(",", "."))
    return (value % 360.0, match.group(2) is not None) if value <= 360 else None
