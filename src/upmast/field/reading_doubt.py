"""
How far a single reading may be off: by what a person declares, by the class of the instrument, or by the default of its kind.

A reading stands for an interval. Only where the whole interval keeps a limit does it pass, only where the whole of it breaks the limit
does it fail.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.errors import UsageError
from upmast.field.readers.cell_value import folded
from upmast.field.readers.reading import KINDS, Reading
from upmast.source import Mark, Source
from upmast.table import read

Floats = NDArray[np.float64]
DECLARED = Source("declared with the reading", mark=Mark.DECLARED)
MOST_VALUE = 1e6  # a larger uncertainty is a slip


@dataclass(frozen=True, slots=True)
class Doubt:
    r"""
    Expanded uncertainty of a reading, either way: :math:`U = a + b\,|x|`.

    Parameters
    ----------
    value : a, in the unit of the kind. share : b, of the size of the reading. words : what it is the uncertainty of.
    reach : what an over-range reading is at least, in the unit of the kind; NaN where that is not known.

    Raises
    ------
    UsageError
        If a or b is no number from 0.
    """

    value: float
    share: float = 0.0
    words: str = "as declared"
    source: Source = DECLARED
    reach: float = math.nan

    def __post_init__(self) -> None:
        if not 0 <= self.value <= MOST_VALUE or not 0 <= self.share <= 1:
            raise UsageError(
                f"an uncertainty has a value from 0 and a share from 0 to 1, not {self.value:g} and {self.share:g}"
            )

    def off(self, reading: ArrayLike) -> Floats:
        """
        How far readings may be off, in their unit; any shape.

        >>> Doubt(0.1, 0.005).off([40.0, -60.0]).tolist()
        [0.30000000000000004, 0.4]
        """
        return np.asarray(self.value + self.share * np.abs(np.asarray(reading, dtype=np.float64)))


@dataclass(frozen=True, slots=True)
class InstrumentClass:
    """A class of instruments for a kind of reading, by general words; `patterns` are those that name it beside a reading."""

    kind: str
    name: str
    default: bool
    doubt: Doubt
    patterns: tuple[str, ...]
    meaning: str


@dataclass(frozen=True, slots=True)
class Span:
    """
    What a reading stands for: its value, and the lowest and highest that the true one may be. A bound (`<`, `>`) is open to one side.
    """

    value: float
    low: float
    high: float
    bound: str = ""

    def moved(self, factor: float = 1.0, shift: float = 0.0) -> Span:
        """The same, scaled by a positive factor and shifted."""
        return Span(self.value * factor + shift, self.low * factor + shift, self.high * factor + shift, self.bound)

    def widened(self, low: float, high: float) -> Span:
        return Span(self.value, min(self.low, low), max(self.high, high), self.bound)


def classes(kind: str = "") -> tuple[InstrumentClass, ...]:
    """The classes of instruments in the table, of one kind or of all."""
    out = []
    for row in read("upmast.field", "instruments").rows:
        if kind in ("", row["kind"]):
            doubt = Doubt(
                float(row["value"]), float(row["share"]), row["class"].replace("-", " "), Source(row["document"], mark=Mark(row["mark"])),
                float(row["reach"]) if row["reach"] else math.nan,
            )  # fmt: skip
            words = tuple(word for word in row["words"].split("|") if word)
            out.append(
                InstrumentClass(row["kind"], row["class"], row["default"] == "yes", doubt, words, row["meaning"])
            )
    return tuple(out)


def class_of(kind: str, name: str) -> Doubt:
    """
    The uncertainty of a class by name. Raises UsageError for a class that there is not, with those that there are.

    >>> class_of("bond-resistance", "two-point").value
    5.0
    """
    known = {one.name: one.doubt for one in classes(kind)}
    found = known.get("-".join(folded(name).split()))
    if found is None:
        raise UsageError(
            f"no class {name[:40]!r} of instruments for {kind}; there are {', '.join(known) or 'none'}, or state the uncertainty"
        )
    return found


Declared = Mapping[str, "Doubt | str | float"]


def doubt_of(reading: Reading, declared: Declared | None = None) -> Doubt | None:
    """
    The uncertainty of a reading; None where its kind has no class and nobody declares one.

    What is declared goes first: for the serial number of the instrument, then for its name, then for the kind. A text is the name of a
    class, a number the value in the unit of the kind. Then the words beside the reading; where they name several classes, the least
    sure of them. Then the default of the kind.
    """
    for key in (reading.serial, reading.instrument, reading.kind):
        given = (declared or {}).get(key) if key else None
        if given is not None:
            return (
                given
                if isinstance(given, Doubt)
                else class_of(reading.kind, given)
                if isinstance(given, str)
                else Doubt(float(given))
            )
    known = classes(reading.kind)
    beside = folded(" ".join([reading.instrument, *(str(reading.condition(name) or "") for name in ("remark", "calibration"))])[:600])  # fmt: skip
    named = [one for one in known if any(word in beside for word in one.patterns)]
    if named:
        size = abs(reading.value or 0.0)
        return max((one.doubt for one in named), key=lambda one: float(one.off(size)))
    return next((one.doubt for one in known if one.default), None)


def span_of(reading: Reading, doubt: Doubt) -> Span | None:
    """What a reading stands for with its uncertainty; None for one without a number whose range is not known."""
    value, side = reading.value, reading.comparator
    if value is None:
        if not math.isfinite(doubt.reach):
            return None
        value, side = doubt.reach, ">"
        return Span(value, value, math.inf, ">")
    off = float(doubt.off(value))
    return Span(
        value, -math.inf if side.startswith("<") else value - off, math.inf if side.startswith(">") else value + off, side[:1]
    )  # fmt: skip


def unit_of(kind: str) -> str:
    """The unit of an uncertainty: that of the kind; levels of intermodulation are off by dB."""
    return "dB" if kind == "pim" else KINDS[kind].unit


__all__ = ["Declared", "Doubt", "InstrumentClass", "Span", "class_of", "classes", "doubt_of", "span_of", "unit_of"]
