"""Which site does a text of a field file say? In a comment, a line above a table, a column, or the beginning of a file name."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence

from upmast.field.readers.cell_value import folded

MOST_TEXT = 300
MOST_LINES = 100
_LABEL = re.compile(r"(?:\A|[\s;,!#*|(\[])site(?:\s*(?:id|name|code|no\.?|number))?\s*([:=])\s*([^;,|\t\r\n]{1,80})", re.IGNORECASE)  # fmt: skip
_BARE = re.compile(r"(?:\A|[\s;,!#*|(\[])site(?:\s+(?:id|name|code|no\.?|number))?[\s;,|]+([A-Za-z0-9][\w.-]{1,40})", re.IGNORECASE)  # fmt: skip
# an id as it stands in a text: capitals, with a number or a hyphen in it
_ID = re.compile(r"[A-Z][A-Z0-9]*(?:[-_][A-Z0-9]+)+|[A-Z]{2,}[0-9]+|[0-9]{3,}")
_HEAD = re.compile(r"[A-Z][A-Z0-9]+(?:-[A-Z0-9]+)+(?=[_ ])")
# words that begin a file name and are no site
_NO_SITE = frozenset(
    {
        "RUN", "REV", "TEST", "SWEEP", "TRACE", "FILE", "BAND", "LOAD", "SHORT", "OPEN", "PORT", "DAY", "COPY", "FINAL", "BEFORE", "AFTER", "SITE", "SECTOR",
        "LEG", "ANT", "ANTENNA", "JUMPER", "FEEDER", "LINE", "RL", "VSWR", "DTF", "PIM", "CAL", "CH", "TOP", "FOOT", "HEAD",
        "JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC", "RE", "NO",
    }
)  # fmt: skip


def site_in(text: str) -> str:
    """
    The site that a line says, '' where it says none.

    >>> site_in("Site: OTHER-1"), site_in("! Site OTHER-1"), site_in("a site acceptance test")
    ('OTHER-1', 'OTHER-1', '')
    """
    text = text[:MOST_TEXT]
    label = _LABEL.search(text)
    if label:
        return " ".join(label.group(2).split())
    bare = _BARE.search(text)
    return bare.group(1) if bare and _ID.fullmatch(bare.group(1)) else ""


def site_in_lines(lines: Iterable[str]) -> str:
    """The first site that some lines say."""
    return next((said for _, line in zip(range(MOST_LINES), lines, strict=False) if (said := site_in(line))), "")


def _plain(text: str) -> str:
    return "".join(ch for ch in folded(text) if ch.isalnum())


def is_other(said: str, own: Sequence[str]) -> bool:
    """
    Whether a site as it is written is none of the names of this one; case, blanks and hyphens are not minded.

    >>> is_other("ness pt", ["NESS-PT"]), is_other("NESS-PT (north)", ["NESS-PT"]), is_other("OTHER-1", ["NESS-PT"])
    (False, False, True)
    """
    seen = _plain(said)
    if not seen:
        return False
    for name in own:
        plain = _plain(name)
        if plain and (seen == plain or (len(seen) >= 4 and plain.startswith(seen)) or _whole(name, said)):
            return False
    return True


def _whole(name: str, text: str) -> bool:
    """Whether a text holds a name as a whole word."""
    return re.search(rf"(?<![a-z0-9-]){re.escape(folded(name))}(?![a-z0-9-])", folded(text)) is not None


def site_of_name(file: str, own: Sequence[str], known: Callable[[str], bool]) -> str:
    """
    The other site that a file name begins with, as `OTHER-1_A1-J1.rl.load.s1p`; '' where it begins with none.

    Parameters
    ----------
    own : names of this site.
    known : whether a word names something of this line.
    """
    plain = file.replace("\\", "/").rsplit("/", 1)[-1][:255]
    found = _HEAD.match(plain)
    if found is None:
        return ""
    word = found.group(0)
    first = re.sub(r"[0-9]+\Z", "", word.partition("-")[0])
    if first in _NO_SITE or known(word) or not is_other(word, own):
        return ""
    return word


def question_of(said: str, own: str, where: str) -> str:
    """The question about a file or row of another site."""
    return f"{where} site {said!r}, and this site is {own}: is it from another site?"


__all__ = ["is_other", "question_of", "site_in", "site_in_lines", "site_of_name"]
