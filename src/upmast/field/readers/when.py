"""Dates and times as instruments write them, as ISO 8601; where day and month can't be told apart, none is given."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable

_ISO = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})")
_OTHER = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4})")
_NAMED = re.compile(
    r"([0-9]{1,2})[- .]*([A-Za-z]{3,9})[- .,]*([0-9]{4})|([A-Za-z]{3,9})[ .]*([0-9]{1,2}),?[ .]*([0-9]{4})"
)
_TIME = re.compile(
    r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2})(?:[.,][0-9]{1,9})?)?\s*([AaPp]\.?[Mm]\.?)?\s*(Z|UTC|[+-][0-9]{2}:?[0-9]{2})?(?![0-9:])"
)
_MONTHS = {name: at for at, name in enumerate(("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), 1)}  # fmt: skip


def day_first(texts: Iterable[str]) -> bool | None:
    """
    Whether dates such as 03/04/2025 begin with the day: by those with a number above 12; None where nothing tells, or both do.

    >>> day_first(["03/04/2025", "17/04/2025"]), day_first(["03/04/2025"])
    (True, None)
    """
    day = month = False
    for text in texts:
        match = _OTHER.search(text[:60])
        if match:
            if match.group(2) == ".":
                day = True  # with points the day stands first everywhere
            day = day or int(match.group(1)) > 12
            month = month or int(match.group(3)) > 12
    return None if day == month else day


def iso_time(text: str, day_is_first: bool | None) -> str:
    """
    Date, time and zone of a text in ISO 8601, as far as it tells them; '' where it tells no date beyond doubt.

    >>> iso_time("29.11.2025 14:03", None), iso_time("Nov 29, 2025 2:03:05 PM", None), iso_time("03/04/2025", None)
    ('2025-11-29T14:03', '2025-11-29T14:03:05', '')
    """
    text = text[:80]
    date = _date(text, day_is_first)
    if not date:
        return ""
    found = _TIME.search(text)
    if found is None:
        return date
    hour, minute, second, half, zone = found.groups()
    hours = int(hour)
    if half:
        if not 1 <= hours <= 12:
            return ""
        hours = hours % 12 + (12 if half[0] in "pP" else 0)
    if hours > 23 or int(minute) > 59 or int(second or 0) > 59:
        return ""
    zone = {"Z": "+00:00", "UTC": "+00:00"}.get(zone or "", zone or "")
    if len(zone) == 5:
        zone = f"{zone[:3]}:{zone[3:]}"
    return f"{date}T{hours:02d}:{minute}" + (f":{second}" if second else "") + zone


def _date(text: str, day_is_first: bool | None) -> str:
    iso, other, named = _ISO.search(text), _OTHER.search(text), _NAMED.search(text)
    if iso:
        return _made(int(iso.group(1)), int(iso.group(2)), int(iso.group(3)))
    if other:
        a, mark, b, year = int(other.group(1)), other.group(2), int(other.group(3)), int(other.group(4))
        if mark == "." or a > 12 or a == b:
            return _made(year, b, a)
        if b > 12:
            return _made(year, a, b)
        return "" if day_is_first is None else _made(year, b, a) if day_is_first else _made(year, a, b)
    if named:
        day, month, year_, month_, day_, year__ = named.groups()
        at = _MONTHS.get((month or month_ or "")[:3].casefold(), 0)
        return _made(int(year_ or year__), at, int(day or day_)) if at else ""
    return ""


def _made(year: int, month: int, day: int) -> str:
    try:
        return datetime.date(year, month, day).isoformat() if 1990 <= year <= 2100 else ""
    except ValueError:
        return ""
