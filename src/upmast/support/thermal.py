"""A cable that grows and shrinks with heat beside its mast: movement, force, what slips, when it bows, where to fix it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Source
from upmast.support.stiffness import euler_load_n
from upmast.table import read

__all__ = [
    "AnchorPlan",
    "Elastic",
    "anchor_plan",
    "axial_stiffness_n",
    "blocked_force_n",
    "bow_mm",
    "bowing_rise_k",
    "cable_expansion_per_k",
    "elastic",
    "end_movement_mm",
    "polyethylene_modulus_pa",
    "relative_movement_mm",
    "slip_zone_clamps",
]

Array = NDArray[np.float64]
_SOFTENING = 5.0  # of polyethylene from -20 to +60 degrees: from memory
_SLACK = 1e-9  # 3.0000000001 clamps are still three


@dataclass(frozen=True, slots=True)
class Elastic:
    """A material: modulus_pa, expansion_per_k, and where they come from."""

    material: str
    modulus_pa: float
    expansion_per_k: float
    source: Source


def elastic(material: str) -> Elastic:
    """
    Modulus and expansion of a material of cables and masts.

    Source: common engineering values, from memory.

    >>> elastic("copper").modulus_pa, elastic("copper").expansion_per_k, str(elastic("copper").source.mark)
    (110000000000.0, 1.7e-05, 'memory')
    """
    table = read("upmast.support", "elastic")
    for row in table.rows:
        if row["material"] == material:
            return Elastic(material, float(row["modulus_pa"]), float(row["expansion_per_k"]), table.source)
    raise ValueError(f"material {material!r} is not known; there are {', '.join(r['material'] for r in table.rows)}")


def _finite(**values: Array) -> None:
    for name, value in values.items():
        if np.any(~np.isfinite(value)):
            raise ValueError(f"{name} can't be missing")


def _positive(**values: Array) -> None:
    for name, value in values.items():
        if np.any(~(value > 0)):
            raise ValueError(f"{name} must be positive")


def polyethylene_modulus_pa(temperature_c: ArrayLike) -> Array:
    """
    Modulus of a polyethylene sheath over temperature: `E = 0.8 GPa 5^((20 - T) / 80)`.

    Parameters
    ----------
    temperature_c [degC]: T, any shape.

    Returns
    -------
    Modulus [Pa]; falls five times from -20 to +60 degC. Valid there, for short loads: under a lasting load it creeps.

    Source: common engineering values, from memory; the exponential between them is our own choice.

    >>> (polyethylene_modulus_pa([-20.0, 20.0, 60.0]) / 1e9).round(2)
    array([1.79, 0.8 , 0.36])
    """
    t = np.asarray(temperature_c, float)
    _finite(temperature=t)
    return np.asarray(elastic("hdpe").modulus_pa * _SOFTENING ** ((20 - t) / 80))


def _parts(modulus_pa: ArrayLike, area_mm2: ArrayLike) -> Array:
    e, a = (np.atleast_1d(np.asarray(x, float)) for x in (modulus_pa, area_mm2))
    if np.any(~(e >= 0)) or np.any(~(a >= 0)):
        raise ValueError("modulus and area can't be negative or missing")
    return np.asarray(e * a * 1e-6)


def axial_stiffness_n(modulus_pa: ArrayLike, area_mm2: ArrayLike) -> Array:
    """
    Stiffness of a cable along its axis: `EA = sum E A`.

    Parameters
    ----------
    modulus_pa [Pa]: E, area_mm2 [mm2]: A of all of each kind of part along the last axis; fibre is left out, it must be free.

    Returns
    -------
    Stiffness [N] without the last axis; the lay is neglected (stranded parts give a little more). Source: rule of mixtures.

    >>> float(axial_stiffness_n([110e9, 0.8e9], [96.0, 260.0]))
    10768000.0
    """
    return np.asarray(_parts(modulus_pa, area_mm2).sum(-1))


def cable_expansion_per_k(modulus_pa: ArrayLike, area_mm2: ArrayLike, expansion_per_k: ArrayLike) -> Array:
    """
    Expansion of a cable of several materials: `alpha = sum E A alpha / sum E A`.

    Parameters
    ----------
    modulus_pa [Pa], area_mm2 [mm2]: as `axial_stiffness_n`. expansion_per_k [1/K]: alpha of each part, last axis.

    Returns
    -------
    Expansion [1/K] without the last axis. Source: rule of mixtures, parts that stick together.

    >>> float((cable_expansion_per_k([110e9, 0.8e9], [96.0, 260.0], [17e-6, 180e-6]) * 1e6).round(2))
    20.15
    """
    ea, alpha = np.broadcast_arrays(_parts(modulus_pa, area_mm2), np.asarray(expansion_per_k, float))
    _finite(expansion=alpha)
    total = ea.sum(-1)
    _positive(stiffness=total)
    return np.asarray((ea * alpha).sum(-1) / total)


def _strain(cable_per_k: ArrayLike, mast_per_k: ArrayLike, rise_k: ArrayLike, mast_rise_k: ArrayLike | None) -> Array:
    c, m, rise = (np.asarray(x, float) for x in (cable_per_k, mast_per_k, rise_k))
    mast_rise = rise if mast_rise_k is None else np.asarray(mast_rise_k, float)
    _finite(expansion=c, mast_expansion=m, rise=rise, mast_rise=mast_rise)
    return np.asarray(c * rise - m * mast_rise)


def relative_movement_mm(
    length_m: ArrayLike,
    rise_k: ArrayLike,
    cable_per_k: ArrayLike,
    mast_per_k: ArrayLike,
    mast_rise_k: ArrayLike | None = None,
) -> Array:
    """
    How far the free end of a cable moves past the mast: `(alpha_c dT - alpha_m dT_m) L`.

    Parameters
    ----------
    length_m [m]: L from the fixed point. rise_k [K]: dT since it was fixed, negative for cooling.
    cable_per_k, mast_per_k [1/K]: alpha_c, alpha_m. mast_rise_k [K]: dT_m, where the mast has another temperature than the
    cable (a black cable in the sun). All broadcast.

    Returns
    -------
    Movement [mm], positive where the cable grows past the mast. Source: thermal expansion, textbook.

    >>> float(relative_movement_mm(30.0, 40.0, 20.15e-6, 12e-6).round(2))
    9.78
    """
    length = np.asarray(length_m, float)
    if np.any(~(length >= 0)) or np.any(np.isinf(length)):
        raise ValueError("length can't be negative or missing")
    return np.asarray(_strain(cable_per_k, mast_per_k, rise_k, mast_rise_k) * length * 1e3)


def blocked_force_n(
    stiffness_n: ArrayLike,
    rise_k: ArrayLike,
    cable_per_k: ArrayLike,
    mast_per_k: ArrayLike,
    mast_rise_k: ArrayLike | None = None,
) -> Array:
    """
    Force in a cable that clamps keep from moving: `EA (alpha_c dT - alpha_m dT_m)`.

    Parameters
    ----------
    stiffness_n [N]: EA, see `axial_stiffness_n`. The others as `relative_movement_mm`. All broadcast.

    Returns
    -------
    Force [N]: positive is compression (warming), which bowing takes away, see `bowing_rise_k`; negative is tension
    (cooling), which the end clamps must hold or slip. Source: Hooke's law.

    >>> float(blocked_force_n(10.768e6, 40.0, 20.15e-6, 12e-6).round(0))
    3510.0
    """
    ea = np.asarray(stiffness_n, float)
    if np.any(~(ea >= 0)):
        raise ValueError("stiffness can't be negative or missing")
    return np.asarray(ea * _strain(cable_per_k, mast_per_k, rise_k, mast_rise_k))


def slip_zone_clamps(force_n: ArrayLike, grip_n: ArrayLike) -> NDArray[np.int64]:
    """
    Clamps at each end that slip before the rest holds still: `ceil(|F| / F_c)`.

    Parameters
    ----------
    force_n [N]: F, blocked, of either sign. grip_n [N]: F_c of one clamp, positive. Broadcast.

    Returns
    -------
    Count at one end. Source: statics with friction.

    >>> slip_zone_clamps([3510.0, -900.0, 0.0], 1312.5)
    array([3, 1, 0])
    """
    force, grip = np.asarray(force_n, float), np.asarray(grip_n, float)
    _finite(force=force)
    _positive(grip=grip)
    return np.asarray(np.ceil(np.abs(force) / grip - _SLACK), np.int64)


def end_movement_mm(
    strain: ArrayLike, force_n: ArrayLike, grip_n: ArrayLike, spacing_m: ArrayLike, spans: ArrayLike
) -> Array:
    """
    How far a free end moves past its last clamp when friction holds the rest.

    Span j from the end is held by j clamps and keeps `1 - j F_c / F` of its free strain:
    `s e (N - N (N + 1) F_c / (2 F))` with `N = min(ceil(F / F_c) - 1, spans)`.

    Parameters
    ----------
    strain [1]: e, free, `alpha_c dT - alpha_m dT_m`. force_n [N]: F, blocked. grip_n [N]: F_c of one clamp, 0 lets all slide.
    spacing_m [m]: s. spans: between the end clamp and the fixed point. All broadcast.

    Returns
    -------
    Movement [mm] with the sign of the strain, never more than that of a cable that slides. Source: statics with friction.

    >>> end_movement_mm(326e-6, 3510.0, [1312.5, 0.0], 1.0, 30).round(3)
    array([0.286, 9.78 ])
    """
    e, force, grip, s, n = (np.asarray(x, float) for x in (strain, force_n, grip_n, spacing_m, spans))
    _finite(strain=e, force=force)
    _positive(spacing=s)
    if np.any(~(grip >= 0)) or np.any(~(n >= 0)):
        raise ValueError("grip and spans can't be negative or missing")
    held = np.abs(force)
    share = np.divide(grip, held, out=np.full(np.broadcast_shapes(grip.shape, held.shape), np.inf), where=held > 0)
    with np.errstate(divide="ignore"):
        moving = np.minimum(np.maximum(np.ceil(1 / share - _SLACK) - 1, 0), n)
    with np.errstate(invalid="ignore"):
        kept = np.where(moving > 0, moving - moving * (moving + 1) / 2 * share, 0.0)
    return np.asarray(e * s * kept * 1e3)


def bowing_rise_k(
    stiffness_nm2: ArrayLike, stiffness_n: ArrayLike, span_m: ArrayLike, difference_per_k: ArrayLike
) -> Array:
    """
    Warming at which a cable bows between its clamps: `4 pi^2 EI / (s^2 EA |alpha_c - alpha_m|)`.

    Parameters
    ----------
    stiffness_nm2 [N m2]: EI, the lower end of its band is the safe side. stiffness_n [N]: EA. span_m [m]: s.
    difference_per_k [1/K]: alpha_c - alpha_m. All broadcast.

    Returns
    -------
    Rise [K], infinite without a difference; cooling where the difference is negative. Bowing only warns: the force is lost.

    Source: Euler, clamped at both ends.

    >>> float(bowing_rise_k(10.0, 10.768e6, 1.0, 8.15e-6).round(1))
    4.5
    """
    ea, difference = np.asarray(stiffness_n, float), np.abs(np.asarray(difference_per_k, float))
    _positive(stiffness=ea)
    _finite(difference=difference)
    load = euler_load_n(span_m, stiffness_nm2)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(difference > 0, load / (ea * difference), np.inf))


def bow_mm(span_m: ArrayLike, excess_strain: ArrayLike) -> Array:
    """
    How far a cable stands off between two clamps once it has bowed: `w = 2 s sqrt(e) / pi`.

    Parameters
    ----------
    span_m [m]: s. excess_strain [1]: e, free strain less that at which it bows; 0 or less for a straight cable. Broadcast.

    Returns
    -------
    Offset [mm] in the middle. Shape `w (1 - cos(2 pi x / s)) / 2`, valid for w much less than s. Source: own derivation.

    >>> bow_mm(1.0, [0.0, 326e-6]).round(1)
    array([ 0. , 11.5])
    """
    s, e = np.asarray(span_m, float), np.asarray(excess_strain, float)
    _positive(span=s)
    _finite(strain=e)
    return np.asarray(2 * s * np.sqrt(np.maximum(e, 0.0)) / math.pi * 1e3)


@dataclass(frozen=True, slots=True, eq=False)
class AnchorPlan:
    """
    Fixed point at the top, clamps that guide, loop at the bottom; in the broadcast shape.

    take_mm: what the loop must take up from the day of installation to the longest state. give_mm: what it must give to the
    shortest. loop_mm: both together, the least length that must be free to move in the loop.
    """

    take_mm: Array
    give_mm: Array

    @property
    def loop_mm(self) -> Array:
        """The whole stroke."""
        return np.asarray(self.take_mm + self.give_mm)


def anchor_plan(
    length_m: ArrayLike,
    cable_per_k: ArrayLike,
    mast_per_k: ArrayLike,
    installed_c: ArrayLike,
    coldest_c: ArrayLike,
    hottest_c: ArrayLike,
    mast_coldest_c: ArrayLike | None = None,
    mast_hottest_c: ArrayLike | None = None,
) -> AnchorPlan:
    """
    What a loop at the foot must take and give for a cable that is fixed at the top: movement to the hottest and coldest state.

    Parameters
    ----------
    length_m [m]: from the fixed point to the loop. cable_per_k, mast_per_k [1/K]. installed_c [degC]: cable and mast on the day
    of installation. coldest_c, hottest_c [degC]: of the cable, with sun and current. mast_coldest_c, mast_hottest_c [degC]: of
    the mast, the same where not given. All broadcast.

    Returns
    -------
    `AnchorPlan` [mm], neither part negative. Weight then hangs on the fixed point: its rating must hold `m g L` with ice.

    Source: thermal expansion, textbook; fixed point at the top and loop at the bottom are common practice, no source.

    >>> found = anchor_plan(30.0, 20.15e-6, 12e-6, 10.0, -30.0, 60.0)
    >>> float(found.take_mm.round(1)), float(found.give_mm.round(1)), float(found.loop_mm.round(1))
    (12.2, 9.8, 22.0)
    """
    start, cold, hot = (np.asarray(x, float) for x in (installed_c, coldest_c, hottest_c))
    if np.any(~(cold <= hot)):
        raise ValueError("the coldest temperature can't exceed the hottest")
    moves = []
    for cable, mast in ((cold, mast_coldest_c), (hot, mast_hottest_c)):
        mast_rise = None if mast is None else np.asarray(mast, float) - start
        moves.append(relative_movement_mm(length_m, cable - start, cable_per_k, mast_per_k, mast_rise))
    least, most = np.minimum(*moves), np.maximum(*moves)
    return AnchorPlan(np.asarray(np.maximum(most, 0.0)), np.asarray(np.maximum(-least, 0.0)))
