"""Several cables in one hanger: which part fits, what it carries, the torque they all bear, and the wind on the bundle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.support.clamp import CREEP_FACTOR, FRICTION, NUT_FACTOR, SLIP_SAFETY, slip_spacing_m
from upmast.support.torque import NUT_SCATTER, ClampTorque, clamp_torque
from upmast.support.wind import SUBCRITICAL, line_force_n_per_m, row_factor

__all__ = [
    "BUNDLE",
    "ENVELOPE_COEFFICIENT",
    "BundleWind",
    "HangerFit",
    "block_envelope_mm",
    "bundle_wind",
    "hanger_fit",
    "hanger_spacing_m",
    "row_width_mm",
    "stack_torque",
]

Array = NDArray[np.float64]
ENVELOPE_COEFFICIENT = 1.5  # on the out-to-out width of a bundle, in the style of ANSI/TIA-222: from memory
BUNDLE = ("sum", "envelope")


@dataclass(frozen=True, slots=True, eq=False)
class HangerFit:
    """
    Which hangers hold a set of cables; one row a part along the last axis.

    fits: every cable lies within its range. count: hangers at each place, so that every cable has an opening (only of use
    where it fits). idle: openings left over. best: the fitting part with the fewest hangers, then the fewest idle openings,
    then the narrowest range; -1 where none fits, without the last axis.
    """

    fits: NDArray[np.bool_]
    count: NDArray[np.int64]
    idle: NDArray[np.int64]
    best: NDArray[np.int64]


def hanger_fit(diameter_mm: ArrayLike, smallest_mm: ArrayLike, largest_mm: ArrayLike, runs: ArrayLike) -> HangerFit:
    """
    Adjustable hangers for several cables side by side or on top of each other: range of each opening and number of openings.

    Parameters
    ----------
    diameter_mm [mm]: cables along the last axis, other axes are other sets. smallest_mm, largest_mm [mm]: range of an opening
    of each part, shape (parts,). runs: openings of each part, shape (parts,).

    Returns
    -------
    `HangerFit`. Both ends of a range fit. Source: geometry.

    >>> found = hanger_fit([15.2, 15.9, 16.0], [6.0, 14.0, 14.0], [14.0, 17.0, 20.0], [1, 2, 3])
    >>> found.fits, found.count, int(found.best)
    (array([False,  True,  True]), array([3, 2, 1]), 2)
    """
    d = np.atleast_1d(np.asarray(diameter_mm, float))
    low, high, openings = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(x, float)) for x in (smallest_mm, largest_mm, runs))
    )
    if np.any(~(d > 0)) or d.shape[-1] == 0 or low.ndim != 1 or low.size == 0:
        raise ValueError("there must be cables with positive diameters, and parts along one axis")
    if np.any(~(low >= 0)) or np.any(~(low <= high)):
        raise ValueError("the smallest diameter can't be negative or exceed the largest")
    if np.any(~(openings >= 1)) or np.any(openings != np.floor(openings)):
        raise ValueError("the number of openings must be 1, 2, 3 and so on")
    fits = (d.min(-1)[..., None] >= low) & (d.max(-1)[..., None] <= high)
    n = d.shape[-1]
    count = np.ceil(n / openings)
    idle = count * openings - n
    order = np.lexsort((high - low, idle, count))  # the same for every set
    place = np.empty(order.size, np.int64)
    place[order] = np.arange(order.size)
    ranked = np.where(fits, place, order.size)
    best = np.where(fits.any(-1), ranked.argmin(-1), -1)
    return HangerFit(
        fits,
        np.broadcast_to(count.astype(np.int64), fits.shape),
        np.broadcast_to(idle.astype(np.int64), fits.shape),
        np.asarray(best, np.int64),
    )


def hanger_spacing_m(
    rating_n: ArrayLike, mass_kg_per_m: ArrayLike, ice_kg_per_m: ArrayLike = 0.0, safety: ArrayLike = SLIP_SAFETY
) -> Array:
    """
    Largest spacing by the weight that one hanger hands to the mast: `s = F / (gamma g sum (m + m_ice))`.

    Parameters
    ----------
    rating_n [N]: F along the cables, of the whole hanger, shape without the last axis. mass_kg_per_m, ice_kg_per_m [kg/m]:
    of each cable along the last axis. safety [1]: gamma.

    Returns
    -------
    Spacing [m] without the last axis. Each cable must hold by `slip_spacing_m`, too. Source: statics; gamma is practice.

    >>> float(hanger_spacing_m(100.0, [0.6, 0.6, 1.0]).round(2))
    3.09
    """
    m, ice = np.broadcast_arrays(np.atleast_1d(np.asarray(mass_kg_per_m, float)), np.asarray(ice_kg_per_m, float))
    if np.any(~(m > 0)) or np.any(~(ice >= 0)) or np.any(~(np.asarray(rating_n, float) >= 0)):
        raise ValueError("each mass must be positive, and ice and rating can't be negative or missing")
    return slip_spacing_m(rating_n, m.sum(-1), ice.sum(-1), safety)


def stack_torque(
    wanted_nm: ArrayLike,
    crush_rating_n_per_100mm: ArrayLike,
    bolts: ArrayLike,
    width_mm: ArrayLike,
    bolt_mm: ArrayLike,
    mass_kg_per_m: ArrayLike,
    ice_kg_per_m: ArrayLike = 0.0,
    nut_factor: ArrayLike = NUT_FACTOR,
    scatter: ArrayLike = NUT_SCATTER,
    friction: ArrayLike = FRICTION,
    creep_factor: ArrayLike = CREEP_FACTOR,
    safety: ArrayLike = SLIP_SAFETY,
    sharing: ArrayLike = 1,
) -> ClampTorque:
    """
    One torque for all cables of a stack: that of the weakest, and what each cable then holds.

    Parameters
    ----------
    As `clamp_torque`, with the cables of the stack along the last axis of the ratings and masses.

    Returns
    -------
    `ClampTorque`, one row a cable along the last axis; torque_nm is the same for all of them. Source: `clamp_torque`.

    >>> found = stack_torque(6.0, [2000.0, 3000.0], 1, 40.0, 8.0, [0.6, 1.1])
    >>> found.torque_nm.round(3), found.crush_nm.round(3), found.spacing_m.round(1)
    (array([0.896, 0.896]), array([0.896, 1.344]), array([17.1,  9.3]))
    """
    rest = (nut_factor, scatter, friction, creep_factor, safety, sharing)
    fixed = (crush_rating_n_per_100mm, bolts, width_mm, bolt_mm, mass_kg_per_m, ice_kg_per_m, *rest)
    alone = clamp_torque(wanted_nm, *fixed)
    common = np.atleast_1d(alone.torque_nm).min(-1, keepdims=True)
    found = clamp_torque(common, *fixed)
    return ClampTorque(found.torque_nm, found.crush_nm, found.grip_n, found.spacing_m)


def row_width_mm(diameter_mm: ArrayLike, pitch_mm: ArrayLike) -> Array:
    """
    Out-to-out width of a row of cables: from the outermost face to the other, `(n - 1) a + (D_1 + D_n) / 2` for like ones.

    Parameters
    ----------
    diameter_mm [mm]: D along the last axis, in their order. pitch_mm [mm]: a, from middle to middle, shape without the axis.

    Returns
    -------
    Width [mm] without the last axis. Raises ValueError where cables would overlap. Source: geometry.

    >>> float(row_width_mm([28.0, 28.0, 28.0], 40.0))
    108.0
    """
    d = np.atleast_1d(np.asarray(diameter_mm, float))
    a = np.asarray(pitch_mm, float)[..., None]
    if np.any(~(d > 0)) or np.any(~(a > 0)):
        raise ValueError("diameters and pitch must be positive")
    if d.shape[-1] > 1 and np.any(d[..., 1:] + d[..., :-1] > 2 * a * (1 + 1e-9)):
        raise ValueError("cables can't overlap: the pitch is smaller than two of them side by side")
    middle = a * np.arange(d.shape[-1])
    return np.asarray((middle + d / 2).max(-1) - (middle - d / 2).min(-1))


def block_envelope_mm(columns: ArrayLike, rows: ArrayLike, pitch_mm: ArrayLike, diameter_mm: ArrayLike) -> Array:
    """
    Largest width of a block of like cables in any direction of wind: `hypot((c - 1) a, (r - 1) a) + D`.

    Parameters
    ----------
    columns, rows: c and r. pitch_mm [mm]: a, from middle to middle both ways. diameter_mm [mm]: D. All broadcast.

    Returns
    -------
    Width [mm] across the diagonal. Source: geometry.

    >>> float(block_envelope_mm(4, 4, 40.0, 28.0).round(1))
    197.7
    """
    c, r, a, d = (np.asarray(x, float) for x in (columns, rows, pitch_mm, diameter_mm))
    if np.any(~(c >= 1)) or np.any(~(r >= 1)) or np.any(~(d > 0)):
        raise ValueError("columns and rows must be 1 or more and the diameter must be positive")
    if np.any(~(a >= d)):
        raise ValueError("cables can't overlap: the pitch is smaller than the diameter")
    return np.asarray(np.hypot((c - 1) * a, (r - 1) * a) + d)


@dataclass(frozen=True, slots=True, eq=False)
class BundleWind:
    """
    Wind per metre on several cables in a row, without the axis of the cables.

    sum_n_per_m [N/m]: single cables times kappa, the default. envelope_n_per_m [N/m]: on the out-to-out width. kappa [1].
    width_mm [mm]: out to out. No shielding by the mast or by neighbours in either.
    """

    sum_n_per_m: Array
    envelope_n_per_m: Array
    kappa: Array
    width_mm: Array

    @property
    def larger(self) -> NDArray[np.int64]:
        """Index into `BUNDLE` ('sum', 'envelope') of the larger one: state which is used."""
        return np.asarray(self.envelope_n_per_m > self.sum_n_per_m, np.int64)


def bundle_wind(
    pressure_pa: ArrayLike,
    diameter_mm: ArrayLike,
    pitch_mm: ArrayLike,
    coefficient: ArrayLike = SUBCRITICAL,
    envelope_coefficient: ArrayLike = ENVELOPE_COEFFICIENT,
) -> BundleWind:
    """
    Wind on a row of cables across it: `kappa sum q cf D`, and beside it `q 1.5 B` on the out-to-out width B.

    Parameters
    ----------
    pressure_pa [Pa]: q, shape without the last axis. diameter_mm [mm]: D along the last axis, iced if so.
    pitch_mm [mm]: a, from middle to middle. coefficient [1]: cf. envelope_coefficient [1]: 1.5.

    Returns
    -------
    `BundleWind`; kappa is that of a over the largest D, 1 for a single cable.

    Source: EN 1991-1-4, clause 7.9.3 (from memory), see `row_factor`; envelope in the style of ANSI/TIA-222 (from memory).

    >>> found = bundle_wind(1307.1, [28.0, 28.0, 28.0], 40.0)
    >>> float(found.sum_n_per_m.round(1)), float(found.envelope_n_per_m.round(1)), BUNDLE[int(found.larger)]
    (151.5, 211.8, 'envelope')
    """
    d = np.atleast_1d(np.asarray(diameter_mm, float))
    q, cf, cb = (np.asarray(x, float) for x in (pressure_pa, coefficient, envelope_coefficient))
    if np.any(~(q >= 0)) or np.any(~(cf >= 0)) or np.any(~(cb >= 0)):
        raise ValueError("pressure and coefficients can't be negative or missing")
    width = row_width_mm(d, pitch_mm)
    ratio = np.maximum(np.asarray(pitch_mm, float) / d.max(-1), 1.0)
    kappa = row_factor(ratio) if d.shape[-1] > 1 else np.ones(ratio.shape)
    total = kappa * line_force_n_per_m(q, d.sum(-1), cf)
    total, envelope, kappa, width = np.broadcast_arrays(total, line_force_n_per_m(q, width, cb), kappa, width)
    return BundleWind(total, envelope, kappa, width)
