"""Breakers: design current, the window of ratings, fault currents, and what a conductor withstands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source

__all__ = [
    "BREAKER_OHM_SOURCE",
    "ParallelFault",
    "adiabatic_constants",
    "adiabatic_k",
    "breaker_ohm",
    "breaker_window",
    "design_current_a",
    "fault_current_a",
    "let_through_a2s",
    "let_through_time_s",
    "none_negative",
    "parallel_fault",
    "smallest_rating_a",
    "total_limit",
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


def none_negative(**inputs: ArrayLike) -> list[Array]:
    """The inputs as arrays, missing ones (NaN) let through; ValueError with the name and value of one that is negative."""
    arrays = [np.asarray(value, float) for value in inputs.values()]
    for name, array in zip(inputs, arrays, strict=True):
        if np.any(array < 0):
            raise ValueError(f"{name} is {np.nanmin(array):g}; expected 0 or more, NaN where it isn't known")
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


@dataclass(frozen=True, slots=True, eq=False)
class ParallelFault:
    """
    A short on one of n parallel pairs.

    total_a [...]: of the source. breaker_a [..., n]: through the breaker and line wire of each pair at the plant, in the
    faulted pair what comes straight, in the others what goes round by their far end. return_a [..., n]: the same in the
    return wires. Both sum to `total_a`.
    """

    total_a: Array
    breaker_a: Array
    return_a: Array


def _two_ways(near: Array, far: Array, others: Array) -> tuple[Array, Array]:
    """
    From the plant to the fault over one side: its resistance, and the share of each pair (others first, the faulted last).

    near [...]: straight. far [...]: from the far end back to the fault. others [..., n - 1]: out over each other pair.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        each = 1 / others
        all_others = each.sum(axis=-1)
        round_about = far + 1 / all_others
        straight = np.where(
            np.isinf(round_about), 1.0, np.where(np.isinf(near), 0.0, round_about / (near + round_about))
        )
        both = np.where(straight == 1, near, straight * near)
        both = np.where(straight == 0, round_about, both)
        shares = np.where(all_others[..., None] > 0, each / all_others[..., None], 0.0) * (1 - straight[..., None])
    return both, np.concatenate([shares, straight[..., None]], axis=-1)


def parallel_fault(
    source_v: ArrayLike,
    source_ohm: ArrayLike,
    breaker_ohm: ArrayLike,
    line_ohm: ArrayLike,
    return_ohm: ArrayLike,
    faulted: int,
    fraction: ArrayLike,
) -> ParallelFault:
    """
    Currents of a dead short between the two wires of one of n pairs that are joined at both ends: both ends feed it.

    On the line side the fault is reached straight over `Z_a = R_b + x R_f` and round by the far end over
    `Z_b = (1 - x) R_f + 1 / sum_k 1 / (R_b,k + R_k)`; on the return side likewise without breakers. Straight goes
    `Z_b / (Z_a + Z_b)` of the current, the rest over the other pairs by their conductances, and
    `I = E / (r0 + Z_line + Z_return)`, `Z = Z_a Z_b / (Z_a + Z_b)`. At the far end (x = 1) equal pairs share alike, so each
    breaker sees only 1/n of the fault current; once the breaker of the faulted pair has opened, the others still feed the
    fault: call again with its `breaker_ohm` infinite.

    Parameters
    ----------
    source_v [V], source_ohm [ohm]: as for `fault_current_a`, [...].
    breaker_ohm [ohm]: of each pair, in the line wire at the plant; infinite for an open one, [..., n].
    line_ohm, return_ohm [ohm]: each wire over its whole length with its joints, above 0, [..., n].
    faulted: which pair, 0 to n - 1. fraction [-]: x, place of the fault, 0 at the plant, 1 at the far end, [...].

    Returns
    -------
    ParallelFault. Steady values; the loads at the far end are left out (at the voltage of a fault they are off).

    Raises
    ------
    ValueError
        For a negative or missing resistance, a wire without one, a place outside 0 to 1, a pair that isn't there.

    Source: own derivation from Kirchhoff's laws, checked by ngspice operating points.

    >>> both = parallel_fault(48.0, 0.01, [0.004, 0.004], [0.1, 0.1], [0.1, 0.1], 0, [0.25, 1.0])
    >>> both.total_a.round(1), both.breaker_a.round(1).tolist()
    (array([844.6, 428.6]), [[726.8, 117.8], [214.3, 214.3]])
    """
    breaker, line, back = (np.asarray(x, float) for x in (breaker_ohm, line_ohm, return_ohm))
    x = np.asarray(fraction, float)
    breaker, line, back = np.broadcast_arrays(breaker, line, back)
    if line.ndim == 0 or not 0 <= faulted < line.shape[-1]:
        raise ValueError(
            f"faulted is {faulted}; expected the index of a pair on the last axis of line_ohm and return_ohm"
        )
    if not np.all(breaker >= 0) or not np.all((line > 0) & (back > 0) & np.isfinite(line + back)):
        raise ValueError("expected breaker_ohm of 0 or more, line_ohm and return_ohm above 0 and finite, none missing")
    if not np.all((x >= 0) & (x <= 1)):
        raise ValueError("fraction lies outside 0 to 1; expected 0 for a fault at the plant, 1 at the far end")
    rest = [k for k in range(line.shape[-1]) if k != faulted]
    sides = []
    for near, wires in ((breaker, line), (np.zeros_like(back), back)):
        shape = np.broadcast_shapes(x.shape, wires.shape[:-1])
        own = np.broadcast_to(wires[..., faulted], shape)
        others = np.broadcast_to((near + wires)[..., rest], (*shape, len(rest)))
        sides.append(_two_ways(np.asarray(near[..., faulted] + x * own), np.asarray((1 - x) * own), others))
    (line_side, line_shares), (return_side, return_shares) = sides
    total = fault_current_a(source_v, source_ohm, line_side, return_side)
    order = np.argsort([*rest, faulted])
    return ParallelFault(
        total,
        np.asarray(total[..., None] * line_shares[..., order]),
        np.asarray(total[..., None] * return_shares[..., order]),
    )


def total_limit(rated_a: ArrayLike, pairs_count: ArrayLike, total_a: ArrayLike) -> tuple[Array, NDArray[np.str_]]:
    """
    Current that each of n equally loaded pairs may carry under a limit of its own and one for all together: `min(I_r, I_t / n)`.

    Parameters
    ----------
    rated_a [A]: of one pair or contact. pairs_count [-]: loaded together, at least 1. total_a [A]: declared for the whole
        connector, cable or box; infinite where it is known that there is none, NaN where it isn't known.

    Returns
    -------
    Usable current of each [A] (NaN where an input is), and which limit governs: 'each', 'total' or 'not judged'.

    Raises
    ------
    ValueError
        For a negative limit or fewer than one pair.

    Source: own derivation.

    >>> total_limit(25.0, [4, 9], 180.0)
    (array([25., 20.]), array(['each', 'total'], dtype='<U10'))
    """
    rated, count, total = np.broadcast_arrays(*none_negative(rated_a=rated_a, pairs_count=pairs_count, total_a=total_a))
    if np.any(count < 1):
        raise ValueError(f"pairs_count is {np.nanmin(count):g}; expected 1 or more")
    share = total / count
    usable = np.minimum(rated, share)
    words = np.where(np.isnan(usable), "not judged", np.where(rated <= share, "each", "total"))
    return np.asarray(usable), np.asarray(words)


def adiabatic_constants(material: str = "copper") -> tuple[float, float]:
    """
    Constants of a conductor that keeps its heat: K [A sqrt(s) / mm2] and beta [C], at which its resistance would vanish.

    Source: IEC 60364-5-54, annex A.

    >>> adiabatic_constants()
    (226.0, 234.5)
    """
    if material not in _ADIABATIC:
        raise ValueError(f"material {material!r} is not known; there are {', '.join(_ADIABATIC)}")
    return _ADIABATIC[material]


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
    big_k, beta = adiabatic_constants(material)
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
