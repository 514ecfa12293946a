"""Surge protectors: what is left at the equipment behind them and their leads, how long the leads may be, and what they must carry."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.amounts import amounts, positive
from upmast.earth.shield import partial_inductance_h
from upmast.source import Mark, Source

__all__ = [
    "CRITERION_SOURCE",
    "LEAD_H_PER_M",
    "LEAD_SOURCE",
    "NEAR_M",
    "core_impulse_a",
    "counted_lead_m",
    "effective_protection_v",
    "impulse_needed_a",
    "lead_drop_v",
    "lead_inductance_h",
    "longest_lead_m",
    "protection_limit_v",
    "protection_margin_v",
]

Array = NDArray[np.float64]
LEAD_H_PER_M = 1e-6
LEAD_SOURCE = Source(
    "common practice, no source",
    clause="1 uH a metre of lead; really 0.9 to 1.3, growing with length",
    mark=Mark.PRACTICE,
)
NEAR_M = 10.0  # from memory: up to here oscillation and induction take no more than a fifth of the withstand voltage
_NEAR_FACTOR = 0.8  # from memory, as above
CRITERION_SOURCE = Source(
    "IEC 62305-4", clause="annex C: U_w at the terminals, 0.8 U_w up to 10 m, (U_w - U_i) / 2 beyond", mark=Mark.MEMORY
)


def counted_lead_m(line_side_m: ArrayLike, earth_side_m: ArrayLike, v_connection: ArrayLike = False) -> Array:
    """
    Length of lead whose drop adds to the protector: both sides together, none with a V (Kelvin) connection.

    Parameters
    ----------
    line_side_m, earth_side_m [m]: from the line to the protector and from it to the bar. v_connection: the line goes
    through the protector's own terminals, in and out, and so does the earth of the equipment. Broadcast.

    Returns
    -------
    Length [m]. Source: IEC 60364-5-53 (from memory).

    >>> counted_lead_m(0.2, 0.3, [False, True])
    array([0.5, 0. ])
    """
    line, ground = amounts(line_side_m=line_side_m, earth_side_m=earth_side_m)
    return np.asarray(np.where(np.asarray(v_connection, bool), 0.0, line + ground))


def lead_inductance_h(length_m: ArrayLike, radius_m: ArrayLike | None = None) -> Array:
    """
    Inductance of a lead: 1 uH a metre, or exactly as a straight conductor with a far return if its radius is given.

    Parameters
    ----------
    length_m [m]: both sides, of `counted_lead_m`. radius_m [m]: of the conductor, None for the rule. Broadcast.

    Returns
    -------
    Inductance [H]. Source: rule `LEAD_SOURCE`; exactly `partial_inductance_h`.

    >>> float((1e6 * lead_inductance_h(0.5)).round(4)), float((1e6 * lead_inductance_h(0.5, 0.003)).round(4))
    (0.5, 0.4815)
    """
    (length,) = amounts(length_m=length_m)
    if radius_m is None:
        return np.asarray(LEAD_H_PER_M * length)
    (radius,) = positive(radius_m=radius_m)
    return partial_inductance_h(length, radius)


def lead_drop_v(
    length_m: ArrayLike, current_a: ArrayLike, front_s: ArrayLike, radius_m: ArrayLike | None = None
) -> Array:
    """
    Voltage along the leads of a protector on the front of the surge: `U = L I / T_1`.

    Parameters
    ----------
    length_m, radius_m [m]: as `lead_inductance_h`. current_a [A]: peak through the protector. front_s [s]: T_1. Broadcast.

    Returns
    -------
    Voltage [V] with the mean slope; the steepest slope of a stroke's wave is about 1.4 times that.

    Source: Faraday's law; IEC 62305-4, annex C (from memory).

    >>> float(lead_drop_v(0.4, 8e3, 8e-6))
    400.0
    """
    (current,), (front,) = amounts(current_a=current_a), positive(front_s=front_s)
    return np.asarray(lead_inductance_h(length_m, radius_m) * current / front)


def effective_protection_v(protection_v: ArrayLike, drop_v: ArrayLike, switching: ArrayLike = False) -> Array:
    """
    Voltage behind a protector and its leads: `U_p + U_l` for a limiting type, `max(U_p, U_l)` for a switching one.

    Parameters
    ----------
    protection_v [V]: U_p of the data sheet. drop_v [V]: U_l of `lead_drop_v`. switching: a gap, which has fired before
    the current rises. Broadcast.

    Returns
    -------
    Voltage [V]. Source: IEC 62305-4, annex C (from memory).

    >>> effective_protection_v(900.0, 400.0, [False, True])
    array([1300.,  900.])
    """
    up, drop = amounts(protection_v=protection_v, drop_v=drop_v)
    return np.asarray(np.where(np.asarray(switching, bool), np.maximum(up, drop), up + drop))


def protection_limit_v(withstand_v: ArrayLike, distance_m: ArrayLike, induced_v: ArrayLike = 0.0) -> Array:
    """
    What may be left behind the protector: U_w at the terminals, `0.8 U_w` up to 10 m, `(U_w - U_i) / 2` beyond.

    Parameters
    ----------
    withstand_v [V]: U_w of the equipment. distance_m [m]: of cable from protector to equipment; 0 is at the terminals.
    induced_v [V]: U_i, induced in the loop of that cable, counts beyond 10 m. Broadcast.

    Returns
    -------
    Voltage [V], never below 0. Source: `CRITERION_SOURCE`, from memory: confirm before judging by it.

    >>> protection_limit_v(1500.0, [0.0, 4.0, 25.0])
    array([1500., 1200.,  750.])
    """
    (withstand,) = positive(withstand_v=withstand_v)
    distance, induced = amounts(distance_m=distance_m, induced_v=induced_v)
    beyond = np.maximum(0.0, withstand - induced) / 2
    return np.asarray(
        np.where(distance == 0, withstand, np.where(distance <= NEAR_M, _NEAR_FACTOR * withstand, beyond))
    )


def protection_margin_v(effective_v: ArrayLike, limit_v: ArrayLike) -> Array:
    """
    Distance of what is left to what may be left: `limit - U_eff`, positive is good.

    >>> float(protection_margin_v(1300.0, 1200.0))
    -100.0
    """
    effective, limit = amounts(effective_v=effective_v, limit_v=limit_v)
    return np.asarray(limit - effective)


def longest_lead_m(
    protection_v: ArrayLike,
    limit_v: ArrayLike,
    current_a: ArrayLike,
    front_s: ArrayLike,
    switching: ArrayLike = False,
    radius_m: ArrayLike | None = None,
) -> Array:
    """
    Longest lead, both sides together, that still keeps the limit: `l = (limit - U_p) T_1 / (L' I)`.

    For a switching type the drop alone may reach the limit. With a radius the exact inductance is inverted by bisection.

    Parameters
    ----------
    protection_v [V]: U_p. limit_v [V]: of `protection_limit_v`. current_a [A], front_s [s], switching, radius_m [m]: as
    `lead_drop_v` and `effective_protection_v`. Broadcast.

    Returns
    -------
    Length [m]; infinite where no current flows; NaN where U_p alone is above the limit, so that no lead is short enough.

    Source: own derivation from the criterion.

    >>> longest_lead_m([900.0, 1300.0], 1200.0, 8e3, 8e-6)
    array([0.3, nan])
    """
    up, limit, current = amounts(protection_v=protection_v, limit_v=limit_v, current_a=current_a)
    (front,) = positive(front_s=front_s)
    room = np.where(np.asarray(switching, bool), limit, limit - up)
    with np.errstate(divide="ignore", invalid="ignore"):
        allowed = np.where(current > 0, room * front / current, np.inf)
    if radius_m is None:
        length = allowed / LEAD_H_PER_M
    else:
        (radius,) = positive(radius_m=radius_m)
        allowed, radius = np.broadcast_arrays(allowed, radius)
        finite = np.where(np.isfinite(allowed) & (allowed > 0), allowed, 0.0)
        # beyond 20 radii the inductance is more than 2e-7 l, so this many metres are enough
        low, high = np.zeros(finite.shape), 20 * radius + finite / 2e-7
        for _ in range(100):
            middle = (low + high) / 2
            short = partial_inductance_h(middle, radius) < finite
            low, high = np.where(short, middle, low), np.where(short, high, middle)
        length = np.where(np.isinf(allowed), np.inf, (low + high) / 2)
        length = np.where(finite == 0, np.where(np.isinf(allowed), np.inf, 0.0), length)
    return np.asarray(np.where(up > limit, np.nan, length))


def impulse_needed_a(stroke_a: ArrayLike, share: ArrayLike, conductors: ArrayLike = 1) -> Array:
    """
    Impulse current that each protector must carry: `I_imp = I share / n`.

    Parameters
    ----------
    stroke_a [A]: peak of the stroke. share [-]: of the conductors that the protectors stand on (cores of a cable with an
    open shield, or an unshielded one), as `transient_share`, `safe_share` or an agreed value give it.
    conductors: n alike, that divide it evenly. Broadcast.

    Returns
    -------
    Current [A] of the stroke's wave, so for a class I protector 10/350. Source: IEC 62305-1, annex E in style (from memory).

    >>> float(impulse_needed_a(100e3, 0.10, 2))
    5000.0
    """
    stroke, part = amounts(stroke_a=stroke_a, share=share)
    (n,) = positive(conductors=conductors)
    if not np.all(n >= 1):
        raise ValueError("conductors must be at least 1")
    return np.asarray(stroke * part / n)


def core_impulse_a(cable_a: ArrayLike, shield_ohm: ArrayLike, core_ohm: ArrayLike, cores: ArrayLike) -> Array:
    """
    Current of each core of a shielded cable with protectors at both ends, late limit: `I_c = I R_s / (n R_s + R_c)`.

    Parameters
    ----------
    cable_a [A]: current I of shield and cores together. shield_ohm, core_ohm [ohm]: R_s, and R_c of one core with its
    protectors, over the same length. cores: n. Broadcast.

    Returns
    -------
    Current [A]; on the front less flows, since cores lie in the field-free inside of the shield, so this is the safe side.

    Source: IEC 62305-1, annex E (from memory); Ohm's law.

    >>> float(core_impulse_a(10e3, 60e-3, 120e-3, 2).round(0))
    2500.0
    """
    (current,) = amounts(cable_a=cable_a)
    shield, core, n = positive(shield_ohm=shield_ohm, core_ohm=core_ohm, cores=cores)
    return np.asarray(current * shield / (n * shield + core))
