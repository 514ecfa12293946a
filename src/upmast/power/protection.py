"""Breakers: design current, the window of ratings, fault currents, and what a conductor withstands."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source

__all__ = [
    "BREAKER_OHM_SOURCE",
    "adiabatic_k",
    "breaker_ohm",
    "breaker_window",
    "design_current_a",
    "fault_current_a",
    "let_through_a2s",
    "let_through_time_s",
    "smallest_rating_a",
]

Array = NDArray[np.float64]
# IEC 60364-5-54: k = K sqrt(ln(1 + (theta_f - theta_i) / (beta + theta_i))), K in A sqrt(s) / mm2, beta in C.
_ADIABATIC = {"copper": (226.0, 234.5), "aluminium": (148.0, 228.0), "steel": (78.0, 202.0)}
BREAKER_OHM_SOURCE = Source("common practice, no source", clause="4 mohm a pole at 32 A, as 1/In", mark=Mark.PRACTICE)


def _positive(**inputs: ArrayLike) -> list[Array]:
    arrays = [np.asarray(value, float) for value in inputs.values()]
    for name, array in zip(inputs, arrays, strict=True):
        if not np.all(array > 0):
            raise ValueError(f"{name} must be positive")
    return arrays


def breaker_ohm(rating_a: ArrayLike) -> Array:
    """
    Resistance of one pole of a small breaker: `R = 4 mohm x 32 A / In`.

    Parameters
    ----------
    rating_a [A]: any shape.

    Valid for about 6 to 125 A, where the part's own data are missing. Source: common practice, no source.

    >>> float(breaker_ohm(64.0))
    0.002
    """
    (rating,) = _positive(rating_a=rating_a)
    return np.asarray(0.004 * 32.0 / rating)


def design_current_a(power_w: ArrayLike, lowest_v: ArrayLike) -> Array:
    """
    Largest steady current of a constant-power load: `Ib = P / V` at the lowest voltage at which it still runs.

    Parameters
    ----------
    power_w [W]: largest power at the terminals, any shape.
    lowest_v [V]: lowest terminal voltage of all scenarios, or the cut-out voltage as the bound. Never the nominal voltage.

    Source: IEC 60364-4-43, clause 433.1 (use of Ib); own derivation.

    >>> round(float(design_current_a(900.0, 40.5)), 4)
    22.2222
    """
    power = np.asarray(power_w, float)
    if not np.all(power >= 0):
        raise ValueError("power_w can't be negative")
    (voltage,) = _positive(lowest_v=lowest_v)
    return np.asarray(power / voltage)


def breaker_window(
    design_a: ArrayLike, rating_a: ArrayLike, ampacity_a: ArrayLike, load_factor: ArrayLike = 1.0
) -> NDArray[np.bool_]:
    """
    Whether a rating lies in its window: `factor Ib <= In <= Iz`. Equal passes.

    Parameters
    ----------
    design_a [A]: design current Ib.
    rating_a [A]: rated current In.
    ampacity_a [A]: Iz of the weakest wire that the breaker protects (trunk or jumper), with all factors.
    load_factor [-]: 1.25 where a continuous-load rule applies.

    Source: IEC 60364-4-43, clause 433.1.

    >>> breaker_window(21.3, [20.0, 25.0, 63.0], 50.0)
    array([False,  True, False])
    """
    ib, i_n, i_z, factor = (np.asarray(x, float) for x in (design_a, rating_a, ampacity_a, load_factor))
    return np.asarray((factor * ib <= i_n) & (i_n <= i_z))


def smallest_rating_a(
    design_a: ArrayLike, ampacity_a: ArrayLike, ratings_a: ArrayLike, load_factor: ArrayLike = 1.0
) -> Array:
    """
    Smallest of the ratings on offer inside the window of `breaker_window`; NaN where none is.

    Parameters
    ----------
    design_a, ampacity_a [A], load_factor [-]: any shapes that broadcast.
    ratings_a [A]: ratings on offer, one axis, any order.

    Source: IEC 60364-4-43, clause 433.1.

    >>> smallest_rating_a([21.3, 60.0], 50.0, [16, 20, 25, 32, 63])
    array([25., nan])
    """
    offer = np.asarray(ratings_a, float).reshape(-1)
    ib, i_z, factor = (np.asarray(x, float)[..., None] for x in (design_a, ampacity_a, load_factor))
    fits = breaker_window(ib, offer, i_z, factor)
    best = np.where(fits, offer, np.inf).min(axis=-1, initial=np.inf)
    return np.asarray(np.where(np.isfinite(best), best, np.nan))


def fault_current_a(source_v: ArrayLike, source_ohm: ArrayLike, breaker_ohm: ArrayLike, loop_ohm: ArrayLike) -> Array:
    """
    Current of a dead short: `I = E / (r0 + R_breaker + R_loop)`.

    Parameters
    ----------
    source_v [V]: lowest emf and the **hot** loop for the smallest far-end current (does the breaker clear?); highest emf and
        the cold loop up to the fault for the largest (breaking capacity).
    source_ohm, breaker_ohm, loop_ohm [ohm]: battery and its feeder, breaker, line and return wire to the fault.

    Returns
    -------
    Current [A]; infinite without any resistance. Steady value, without inductance.

    Source: own derivation from Ohm's law.

    >>> round(float(fault_current_a(43.2, 0.01, 0.004, 0.25)), 1)
    163.6
    """
    arrays = [np.asarray(x, float) for x in (source_v, source_ohm, breaker_ohm, loop_ohm)]
    if any(not np.all(x >= 0) for x in arrays):
        raise ValueError("emf and resistances can't be negative")
    emf, total = np.broadcast_arrays(arrays[0], arrays[1] + arrays[2] + arrays[3])
    return np.asarray(np.divide(emf, total, out=np.where(emf > 0, np.inf, 0.0), where=total > 0))


def adiabatic_k(initial_c: ArrayLike, final_c: ArrayLike, material: str = "copper") -> Array:
    """
    Adiabatic factor of a conductor: `k = K sqrt(ln(1 + (theta_f - theta_i) / (beta + theta_i)))`.

    Parameters
    ----------
    initial_c [C]: before the fault, the service limit when not known better.
    final_c [C]: 160 for PVC, 250 for XLPE.
    material: 'copper' (226, 234.5), 'aluminium' (148, 228) or 'steel' (78, 202).

    Returns
    -------
    k [A sqrt(s) / mm2], any shape.

    Source: IEC 60364-5-54, annex A.

    >>> adiabatic_k([70, 90], [160, 250]).round(0)
    array([115., 143.])
    """
    if material not in _ADIABATIC:
        raise ValueError(f"material {material!r} is not known; there are {', '.join(_ADIABATIC)}")
    big_k, beta = _ADIABATIC[material]
    start, end = np.asarray(initial_c, float), np.asarray(final_c, float)
    if not np.all(start > -beta) or not np.all(end >= start):
        raise ValueError("final temperature can't be below the initial one")
    return np.asarray(big_k * np.sqrt(np.log1p((end - start) / (beta + start))))


def let_through_a2s(area_mm2: ArrayLike, k: ArrayLike) -> Array:
    """
    Energy per ohm that a conductor withstands: `I^2 t = k^2 S^2`.

    Parameters
    ----------
    area_mm2 [mm2], k [A sqrt(s) / mm2]: any shape.

    Source: IEC 60364-4-43, clause 434.5.2.

    >>> float(let_through_a2s(10, 115))
    1322500.0
    """
    s, factor = _positive(area_mm2=area_mm2, k=k)
    return np.asarray((factor * s) ** 2)


def let_through_time_s(area_mm2: ArrayLike, k: ArrayLike, current_a: ArrayLike) -> Array:
    """
    Time that a conductor withstands a fault current: `t = k^2 S^2 / I^2`.

    Parameters
    ----------
    area_mm2 [mm2], k [A sqrt(s) / mm2], current_a [A]: any shape.

    Returns
    -------
    Time [s]; exact to 5 s, a lower bound beyond (heat then leaves through the insulation).

    Source: IEC 60364-4-43, clause 434.5.2.

    >>> float(let_through_time_s(10, 115, 1150))
    1.0
    """
    (current,) = _positive(current_a=current_a)
    return np.asarray(let_through_a2s(area_mm2, k) / current**2)
