"""Where bonds go along a run, and the least sections of bonding conductors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from upmast.source import Mark, Source
from upmast.table import read

__all__ = [
    "HORIZONTAL_SPACING_M",
    "SPACING_SOURCE",
    "BondPlan",
    "bond_heights_m",
    "bond_plan",
    "least_section_mm2",
    "section_source",
]

Array = NDArray[np.float64]
Use = Literal[
    "down_conductor",
    "bar_to_bar_or_earth",
    "inside_metal_to_bar",
    "surge_protector_class_1",
    "surge_protector_class_2",
    "surge_protector_class_3",
]
Metal = Literal["copper", "aluminium", "steel"]
HORIZONTAL_SPACING_M = 20.0
SPACING_SOURCE = Source("common practice, no source", clause="bonds every 20 to 60 m of run", mark=Mark.PRACTICE)


@dataclass(frozen=True, slots=True, eq=False)
class BondPlan:
    """
    The bonds of one run.

    heights_m: on the vertical run, from top to bottom, both ends included. horizontal_m: between the bend and the entry,
    distance from the bend, empty for a short run. The bond at the entry (bar) comes on top, always one.
    """

    heights_m: Array
    horizontal_m: Array

    @property
    def count(self) -> int:
        """All bonds, with the one at the entry."""
        return self.heights_m.size + self.horizontal_m.size + 1


def _intervals(length_m: float, spacing_m: float) -> int:
    """Least number of equal intervals not longer than the spacing; 60.000000001 m at 20 m is still 3."""
    return max(1, math.ceil(length_m / spacing_m - 1e-9))


def bond_heights_m(top_m: float, bottom_m: float, spacing_m: float) -> Array:
    """
    Heights of the bonds on a vertical run: `n = ceil((top - bottom) / s_b)` equal intervals, `n + 1` bonds.

    Parameters
    ----------
    top_m, bottom_m [m]: near the radio or box, and above the bend; scalars over one datum.
    spacing_m [m]: largest interval s_b, practice 20 to 60 m.

    Returns
    -------
    Heights [m] from top to bottom, shape (n + 1,); one bond where top and bottom are one.

    Source: common practice, no source.

    >>> bond_heights_m(50.0, 2.0, 20.0)
    array([50., 34., 18.,  2.])
    """
    if not (math.isfinite(top_m) and math.isfinite(bottom_m) and top_m >= bottom_m):
        raise ValueError("the top of a run can't be below its bottom")
    if not spacing_m > 0:
        raise ValueError("spacing must be positive")
    if (top_m - bottom_m) / spacing_m > 10_000:
        raise ValueError("more than 10000 bonds: check the spacing")
    if top_m == bottom_m:
        return np.array([float(top_m)])
    return np.linspace(top_m, bottom_m, _intervals(top_m - bottom_m, spacing_m) + 1)


def bond_plan(
    top_m: float,
    bottom_m: float,
    spacing_m: float,
    horizontal_m: float = 0.0,
    horizontal_spacing_m: float = HORIZONTAL_SPACING_M,
) -> BondPlan:
    """
    Bonds of a run: on the vertical part, at the entry, and between them where the horizontal part is long.

    Parameters
    ----------
    top_m, bottom_m, spacing_m [m]: as for `bond_heights_m`.
    horizontal_m [m]: from the bend to the entry.
    horizontal_spacing_m [m]: beyond it there are extra bonds, in equal intervals not longer than it.

    Source: common practice, no source.

    >>> plan = bond_plan(50.0, 2.0, 20.0, horizontal_m=25.0)
    >>> plan.heights_m.size, plan.horizontal_m, plan.count
    (4, array([12.5]), 6)
    """
    heights = bond_heights_m(top_m, bottom_m, spacing_m)
    if not horizontal_m >= 0 or not horizontal_spacing_m > 0:
        raise ValueError("the horizontal run can't be negative and its spacing must be positive")
    if horizontal_m / horizontal_spacing_m > 10_000:
        raise ValueError("more than 10000 bonds: check the spacing")
    extra = np.linspace(0.0, horizontal_m, _intervals(horizontal_m, horizontal_spacing_m) + 1)[1:-1]
    return BondPlan(heights, extra)


def least_section_mm2(use: Use, metal: Metal = "copper") -> float:
    """
    Least section of a bonding or earthing conductor.

    Parameters
    ----------
    use: one of the uses of the table, see `Use`. metal: 'copper', 'aluminium' or 'steel'.

    Returns
    -------
    Section [mm2], scalar; NaN where the table gives none for the metal.

    Source: IEC 62305-3, tables 6, 8, 9 and IEC 60364-5-53, **from memory**: see `section_source`; national rules go before.

    >>> least_section_mm2("bar_to_bar_or_earth")
    16.0
    """
    table = read("upmast.earth", "minimum_sections_iec62305_3")
    rows = {row["use"]: row for row in table.rows}
    if use not in rows:
        raise ValueError(f"use {use!r} is not known; there are {', '.join(rows)}")
    if f"{metal}_mm2" not in table.header:
        raise ValueError(f"metal {metal!r} is not known; copper, aluminium or steel")
    cell = rows[use][f"{metal}_mm2"]
    return float(cell) if cell else math.nan


def section_source() -> Source:
    """Where the least sections come from, with the mark 'memory': confirm before judging by them."""
    return read("upmast.earth", "minimum_sections_iec62305_3").source
