"""What the words of a file say of its sweep: time, serial number, temperature, velocity. Words are weak evidence; they are only read, never believed."""

from __future__ import annotations

import re
from dataclasses import dataclass

from upmast.field.measurement import Sweep
from upmast.field.readers.when import iso_time

__all__ = ["Words", "words_of"]

MOST_COMMENTS, MOST_CHARACTERS = 200, 200
SLOWEST, FASTEST = 0.3, 1.0  # velocity fraction of any cable
_GAP = r"[^A-Za-z0-9.,+-]{0,6}"
_SERIAL = re.compile(r"(?<![A-Za-z0-9])(?:serial(?: ?(?:number|no\.?))?|s/n|sn)\b[\s:=#.]{1,6}([A-Za-z0-9][A-Za-z0-9-]{2,23})", re.I)  # fmt: skip
_VELOCITY = re.compile(
    r"(?<![A-Za-z])(?:(?:prop(?:agation)?\.? )?velocity(?: (?:factor|fraction|of propagation))?|vel(?:ocity)?[_ ]?fact(?:or)?|vf|nvp|vop)"
    rf"{_GAP}([01]?[.,][0-9]{{1,6}}|[0-9]{{2,3}}(?:[.,][0-9]{{1,4}})?\s*%|1(?:\.0)?(?![0-9.,]))",
    re.I,
)
_TEMPERATURE = re.compile(
    rf"(?<![A-Za-z])temp(?:erature)?(?:_c)?{_GAP}([+-]?[0-9]{{1,3}}(?:[.,][0-9]{{1,2}})?)\s*(?:°|deg(?:rees)? ?)?\s*([CF]?)(?![A-Za-z])",
    re.I,
)
_DIGIT = re.compile("[0-9]")
_TIMED = re.compile(r"(?<![A-Za-z])(?:date|time|measured|saved|created|captured|datum|recorded)(?![A-Za-z])", re.I)


@dataclass(frozen=True, slots=True)
class Words:
    """ISO time, serial number, temperature [°C], velocity fraction; empty or None where the file does not say."""

    time: str
    serial: str
    temperature_c: float | None
    velocity_fraction: float | None

    @property
    def day(self) -> str:
        return self.time[:10]


def words_of(sweep: Sweep) -> Words:
    """
    Read the comments of a sweep.

    A time counts on a line that speaks of a date or time, else the first line that is one. What says two things is not read.
    """
    every = [text[:MOST_CHARACTERS] for text in sweep.comments[:MOST_COMMENTS]]
    serials = {m.group(1) for text in every if (m := _SERIAL.search(text))}
    lines = [text for text in every if _DIGIT.search(text)]  # all the rest is numbers
    times = [t for text in lines if _TIMED.search(text) and (t := iso_time(text, None))]
    calibrated = [text for text in lines if re.search(r"calibrat|\bcal\b", text, re.I)]
    if not times:
        times = [t for text in lines if text not in calibrated and (t := iso_time(text, None))]
    else:
        other = [t for text in lines if text not in calibrated and _TIMED.search(text) and (t := iso_time(text, None))]
        times = other or times
    return Words(
        max(times[:1], default=""),
        serials.pop() if len(serials) == 1 else "",
        _one([_celsius(m) for text in lines if (m := _TEMPERATURE.search(text))]),
        _one([_fraction(m.group(1)) for text in lines if (m := _VELOCITY.search(text))]),
    )


def _one(values: list[float | None]) -> float | None:
    """The one value that all lines agree on."""
    known = {v for v in values if v is not None}
    return known.pop() if len(known) == 1 else None


def _celsius(found: re.Match[str]) -> float | None:
    value = float(found.group(1).replace(",", "."))
    if found.group(2) in ("F", "f"):
        value = round((value - 32.0) / 1.8, 1)
    return value if -60.0 <= value <= 80.0 else None


def _fraction(text: str) -> float | None:
    value = float(text.rstrip("% \t").replace(",", "."))
    if "%" in text:
        value /= 100.0
    return value if SLOWEST <= value <= FASTEST else None
