"""Bending of fibre by the limits of its class, and the least radius of a cable."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source
from upmast.table import read

__all__ = [
    "CABLE_RADIUS_SOURCE",
    "BendBound",
    "bend_bound_db",
    "bend_fibres",
    "bend_source",
    "least_cable_radius_mm",
]

Array = NDArray[np.float64]
CABLE_RADIUS_SOURCE = Source(
    "common practice, no source", clause="10 times the diameter at rest, 20 times under tension", mark=Mark.MEMORY
)
_AT_REST, _UNDER_TENSION = 10.0, 20.0
_LONGEST_NM = 1625.0
_TABLE_NM = 1550.0


@dataclass(frozen=True, slots=True, eq=False)
class BendBound:
    """
    A bound of bending loss, in the broadcast shape.

    loss_db: NaN where not covered. covered: False below the smallest tabulated radius or beyond 1625 nm: no statement then.
    table_radius_mm: the tabulated radius that was used, NaN where none.
    """

    loss_db: Array
    covered: NDArray[np.bool_]
    table_radius_mm: Array


def bend_fibres() -> tuple[str, ...]:
    """Fibre classes with tabulated bending limits."""
    return tuple(dict.fromkeys(row["fibre"] for row in read("upmast.fibre", "macrobend").rows))


def _rows(fibre: str) -> tuple[dict[str, str], ...]:
    rows = tuple(row for row in read("upmast.fibre", "macrobend").rows if row["fibre"] == fibre)
    if not rows:
        raise ValueError(f"fibre class {fibre!r} has no bending limits here; there are {', '.join(bend_fibres())}")
    return rows


def bend_source(fibre: str) -> Source:
    """
    Where the limits of a fibre class come from.

    >>> str(bend_source("G.657.A2"))
    'ITU-T G.657, attributes, macrobending loss'
    """
    row = _rows(fibre)[0]
    return Source(row["document"], "attributes, macrobending loss", mark=Mark(row["mark"]))


@cache
def _limits(fibre: str) -> tuple[Array, Array, Array]:
    """Radii ascending, and the limit of one turn at 1550 and 1625 nm."""
    rows = sorted(_rows(fibre), key=lambda row: float(row["radius_mm"]))
    radius, turns = (np.array([float(row[key]) for row in rows]) for key in ("radius_mm", "turns"))
    columns = ("most_db_1550", "most_db_1625")
    short, long = (np.array([float(row[key]) if row[key] else np.nan for row in rows]) / turns for key in columns)
    # loss grows with wavelength, so the limit at 1625 nm bounds 1550 nm where that is not tabulated
    short = np.where(np.isnan(short), long, short)
    for array in (radius, short, long):
        array.setflags(write=False)
    return radius, short, long


def bend_bound_db(
    fibre: str, radius_mm: ArrayLike, turns: ArrayLike, wavelength_nm_wave: ArrayLike = 1550.0
) -> BendBound:
    """
    Bound of the bending loss by the limits of the fibre class.

    `A <= n A_k / n_k` with the largest tabulated radius R_k not above R. Loss falls with radius and grows with wavelength:
    to 1550 nm the limit at 1550 nm bounds, beyond it to 1625 nm the one at 1625 nm.

    Parameters
    ----------
    fibre: one of `bend_fibres()`. radius_mm [mm]: R of the strand. turns [1]: n, a quarter turn is 0.25.
    wavelength_nm_wave [nm]. All but the class broadcast.

    Returns
    -------
    `BendBound`: nothing is said below the smallest tabulated radius.

    Source: ITU-T G.652 and G.657, macrobending loss; the bound for other radii is our own.

    >>> bend_bound_db("G.657.A2", [20.0, 8.0, 5.0], [6, 1, 1]).loss_db.round(3)
    array([0.018, 0.5  ,   nan])
    """
    radius, n, wave = np.broadcast_arrays(*(np.asarray(x, float) for x in (radius_mm, turns, wavelength_nm_wave)))
    if np.any(~(radius > 0)) or np.any(n < 0) or np.any(~(wave > 0)):
        raise ValueError("radius and wavelength must be positive and turns can't be negative")
    table, short, long = _limits(fibre)
    at = np.searchsorted(table, radius, side="right") - 1
    covered = np.asarray((at >= 0) & (wave <= _LONGEST_NM))
    at = np.maximum(at, 0)
    per_turn = np.where(wave <= _TABLE_NM, short[at], long[at])
    return BendBound(np.where(covered, n * per_turn, np.nan), covered, np.asarray(np.where(covered, table[at], np.nan)))


def least_cable_radius_mm(
    diameter_mm: ArrayLike,
    under_tension: ArrayLike = False,
    rest_ratio: ArrayLike = _AT_REST,
    tension_ratio: ArrayLike = _UNDER_TENSION,
) -> Array:
    """
    Least bending radius of a cable: 10 diameters at rest, 20 under tension.

    Parameters
    ----------
    diameter_mm [mm]: over the sheath. under_tension: while it is pulled or hoisted. rest_ratio, tension_ratio [1]. Broadcast.

    Returns
    -------
    Radius [mm] of the inside of the bend; a data sheet goes before it, always for hybrid and corrugated cables.

    Source: common practice, from memory: see `CABLE_RADIUS_SOURCE`.

    >>> least_cable_radius_mm(28.0, [False, True])
    array([280., 560.])
    """
    d, rest, tension = (np.asarray(x, float) for x in (diameter_mm, rest_ratio, tension_ratio))
    if np.any(~(d > 0)) or np.any(rest < 0) or np.any(tension < 0):
        raise ValueError("the diameter must be positive and ratios can't be negative")
    return np.asarray(d * np.where(np.asarray(under_tension, np.bool_), tension, rest))
