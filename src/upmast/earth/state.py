"""What the earth room sees of one line: shielded runs, their bonds, and the cases that need one."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from upmast.earth.bonding import HORIZONTAL_SPACING_M, BondPlan, bond_plan
from upmast.earth.exposure import Exposure

OPEN_END_M = 1.0  # a bond this near to an end of a run holds that end: common practice, no source
LEAST_SPACING_M = 0.5  # a closer spacing asks for more bonds than anyone can mean


@dataclass(frozen=True, eq=False)
class Run:
    """A shielded run on the mast, from its lower to its upper end; `horizontal_m` lies before its foot."""

    item: str
    part: str
    low_m: float
    high_m: float
    horizontal_m: float
    diameter_mm: float


@dataclass(frozen=True, eq=False)
class Bond:
    """Bonds of one part at one height on one item. `fits` is false where the kit is not for this item."""

    item: str
    part: str
    use: str
    on: str
    height_m: float
    count: int
    fits: bool


@dataclass(frozen=True, eq=False)
class BondPart:
    """A bonding kit and the section of its lead."""

    part: str
    area_mm2: float
    lead_m: float
    source: tuple[str, str, str]


@dataclass(frozen=True, eq=False)
class Inputs:
    """All that the room sees of a line."""

    site: str
    runs: tuple[Run, ...]
    cases: tuple[tuple[str, str], ...]  # boxes and radios, with their kind
    bonds: tuple[Bond, ...]
    parts: tuple[BondPart, ...]
    exposure: Exposure | None = None  # only where the site says how the mast takes a stroke


def bonds_on(inputs: Inputs, item: str, use: str) -> tuple[Bond, ...]:
    """The bonds of an item that are made for it."""
    return tuple(b for b in inputs.bonds if b.on == item and b.use == use and b.fits)


def unfit_on(inputs: Inputs, run: Run) -> tuple[Bond, ...]:
    """The bonds on a run that do not count: their kit is not for its diameter, or made for another use."""
    return tuple(b for b in inputs.bonds if b.on == run.item and not b.fits)


def unfit_words(run: Run, bonds: tuple[Bond, ...]) -> str:
    """Kits that do not count on a run, and why; empty without any."""
    wrong = [b.item for b in bonds if b.use == "shield"]
    other = [b.item for b in bonds if b.use != "shield"]
    words = [f"not for {run.diameter_mm:g} mm: {', '.join(wrong)}"] if wrong else []
    words += [f"made for another use: {', '.join(other)}"] if other else []
    return "; ".join(words)


def plan_of(run: Run, spacing_m: float) -> BondPlan:
    """The bonds that a run needs at a spacing. Raises ValueError if the spacing is closer than half a metre."""
    if not spacing_m >= LEAST_SPACING_M:
        raise ValueError(f"a spacing of bonds below {LEAST_SPACING_M:g} m can't be meant")
    low = max(run.low_m, 0.0)
    return bond_plan(max(run.high_m, low), low, spacing_m, run.horizontal_m, HORIZONTAL_SPACING_M)


def stretches(run: Run, bonds: tuple[Bond, ...]) -> tuple[tuple[float, float], ...]:
    """Upper and lower end of every stretch without a bond, from the top of the run down to its foot."""
    low = max(run.low_m, 0.0)
    inside = sorted({b.height_m for b in bonds if low <= b.height_m <= run.high_m}, reverse=True)
    marks = [run.high_m, *inside, low]
    return tuple(pairwise(marks))


def open_end(run: Run, bonds: tuple[Bond, ...]) -> tuple[float, float] | None:
    """Height of the nearest bond and of the end of a run that lacks one, the longer of the two; None where both ends are held."""
    low = max(run.low_m, 0.0)
    if not run.high_m > low:
        return None
    heights = [min(max(b.height_m, low), run.high_m) for b in bonds]
    if not heights:
        return low, run.high_m
    ends = [(max(heights), run.high_m), (min(heights), low)]
    held, end = max(ends, key=lambda row: abs(row[1] - row[0]))
    return (held, end) if abs(end - held) > OPEN_END_M else None


__all__ = [
    "LEAST_SPACING_M",
    "OPEN_END_M",
    "Bond",
    "BondPart",
    "Inputs",
    "Run",
    "bonds_on",
    "open_end",
    "plan_of",
    "stretches",
]
