"""Charging of input capacitors through the line: peak, heat, whether a breaker rides it, and whether the load stays calm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.protection import none_negative
from upmast.source import Mark, Source

__all__ = [
    "INDUCTANCE_SOURCE",
    "PAIR_INDUCTANCE_H_PER_M",
    "VERDICTS",
    "Lump",
    "Stability",
    "current_a",
    "inrush_a2s",
    "least_capacitance_f",
    "pair_inductance_h_per_m",
    "peak_a",
    "peak_time_s",
    "rides",
    "stability",
    "time_constant_s",
    "together",
]

Array = NDArray[np.float64]
# mu_0 / pi
_MU_0_BY_PI = 4e-7
# A pair of cores side by side, where its geometry is not known. The lower one is safe for a peak, the upper one for stability.
PAIR_INDUCTANCE_H_PER_M = (0.5e-6, 0.8e-6)
INDUCTANCE_SOURCE = Source(
    "common practice, no source", clause="0.5 to 0.8 uH/m of a pair of cores", mark=Mark.PRACTICE
)
VERDICTS = ("below the instantaneous band", "too short to trip", "may trip", "not judged")


def pair_inductance_h_per_m(distance_m: ArrayLike, radius_m: ArrayLike) -> Array:
    """
    Inductance of two round wires that carry a current there and back: `L' = mu_0 / pi (ln(d / r) + 1 / 4)`.

    Parameters
    ----------
    distance_m [m]: d, between the axes, at least 2 r. radius_m [m]: r of each conductor. Any shapes that broadcast.

    Returns
    -------
    Inductance of a metre of the pair [H/m]; NaN where an input is.

    Raises
    ------
    ValueError
        For wires that overlap or a radius of 0.

    Valid for a current that fills the wire; a fast one keeps to the skin and the 1/4 falls to 0. Nearby metal lowers it.
    Source: own derivation from the flux between two wires, as in textbooks on power lines.

    >>> float((1e6 * pair_inductance_h_per_m(5.6e-3, 2.0e-3)).round(3))
    0.512
    """
    distance, radius = none_negative(distance_m=distance_m, radius_m=radius_m)
    if np.any(radius == 0) or np.any(distance < 2 * radius):
        raise ValueError("expected radius_m above 0 and distance_m of twice the radius or more: it is between the axes")
    return np.asarray(_MU_0_BY_PI * (np.log(distance / radius) + 0.25))


def _circuit(step_v: ArrayLike, resistance: ArrayLike, inductance: ArrayLike, capacitance: ArrayLike) -> list[Array]:
    return none_negative(step_v=step_v, resistance_ohm=resistance, inductance_h=inductance, capacitance_f=capacitance)


def _angle(damping: Array) -> Array:
    """Time of the peak in units of sqrt(L C): arccos(z) / sqrt(1 - z^2), one at z = 1, arcosh(z) / sqrt(z^2 - 1)."""
    root = np.sqrt(np.abs((1 - damping) * (1 + damping)))
    angle = np.where(damping < 1, np.arccos(np.minimum(damping, 1.0)), np.arccosh(np.maximum(damping, 1.0)))
    return np.asarray(np.divide(angle, root, out=np.where(np.isnan(damping), np.nan, 1.0), where=root > 0))


def peak_a(step_v: ArrayLike, resistance_ohm: ArrayLike, inductance_h: ArrayLike, capacitance_f: ArrayLike) -> Array:
    """
    Highest current as an empty capacitor is switched on: `I = E sqrt(C / L) exp(-z p)`.

    `z = R / 2 sqrt(C / L)`; `p = arccos(z) / sqrt(1 - z^2)` underdamped, 1 critically damped (I = 2 E / (e R)),
    `arcosh(z) / sqrt(z^2 - 1)` overdamped. Without inductance E / R, without resistance E sqrt(C / L).

    Parameters
    ----------
    step_v [V]: E, highest source voltage less what is left on the capacitor.
    resistance_ohm [ohm]: R, smallest, cold: source, breaker, loop, and the capacitor's own. A breaker, joints and source that
        are left out make the peak too high, so are left out where not known.
    inductance_h [H]: L of the loop, smallest. capacitance_f [F]: C at the input, largest; NaN where the data sheet is silent.

    Returns
    -------
    Current [A] in the broadcast shape; NaN where an input is: the caller tells 'not judged'.

    Raises
    ------
    ValueError
        For a negative input.

    Valid for a capacitor without a limiter of its own, a lumped line and a stiff source. Source: own derivation (series R, L,
    C), checked by ngspice and by numerical integration.

    >>> peak_a(54.0, [0.0, 0.2, 0.5], 50e-6, [1e-3, 5e-3, np.nan]).round(1)
    array([241.5, 198.7,   nan])
    """
    e, r, l, c = _circuit(step_v, resistance_ohm, inductance_h, capacitance_f)  # noqa: E741
    e, r, l, c = np.broadcast_arrays(e, r, l, c)  # noqa: E741
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        surge = np.sqrt(c / l)
        z = r / 2 * surge
        bounded = np.where(z > 1e8, e / r, e * surge * np.exp(-z * _angle(np.minimum(z, 1e9))))
        bare = np.where(np.isnan(c + r), np.nan, np.where(c > 0, e / r, 0.0))
    peak = np.where(l > 0, bounded, np.where(l == 0, bare, np.nan))
    return np.asarray(np.where((e == 0) & ~np.isnan(r + l + c), 0.0, peak))


def peak_time_s(resistance_ohm: ArrayLike, inductance_h: ArrayLike, capacitance_f: ArrayLike) -> Array:
    """
    Time of the highest current: `t = p sqrt(L C)`, p as for `peak_a`; 0 without inductance.

    Parameters
    ----------
    resistance_ohm [ohm], inductance_h [H], capacitance_f [F]: as for `peak_a`.

    Source: own derivation.

    >>> float((1e6 * peak_time_s(0.2, 50e-6, 5e-3)).round(1))
    500.0
    """
    _, r, l, c = _circuit(1.0, resistance_ohm, inductance_h, capacitance_f)  # noqa: E741
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(l > 0, r / 2 * np.sqrt(c / l), np.nan)
        time = np.sqrt(l * c) * _angle(np.minimum(z, 1e150))
    return np.asarray(np.where(l > 0, time, np.where(np.isnan(r + l + c), np.nan, 0.0)))


def current_a(
    time_s: ArrayLike,
    step_v: ArrayLike,
    resistance_ohm: ArrayLike,
    inductance_h: ArrayLike,
    capacitance_f: ArrayLike,
) -> Array:
    """
    Charging current at a time: `i = E / (w L) exp(-a t) sin(w t)`, `a = R / 2 L`, `w^2 = 1 / (L C) - a^2`.

    Overdamped `sinh` stands for `sin`, critically damped `t` for `sin(w t) / w`.

    Parameters
    ----------
    time_s [s]: from switching on. inductance_h [H], capacitance_f [F]: above 0. The others as for `peak_a`.

    Returns
    -------
    Current [A]; NaN where an input is.

    Raises
    ------
    ValueError
        For a negative input, no inductance or no capacitance.

    Source: own derivation (series R, L, C).

    >>> float(current_a(500e-6, 54.0, 0.2, 50e-6, 5e-3).round(1))
    198.7
    """
    e, r, l, c = _circuit(step_v, resistance_ohm, inductance_h, capacitance_f)  # noqa: E741
    (time,) = none_negative(time_s=time_s)
    if np.any(l == 0) or np.any(c == 0):
        raise ValueError("inductance_h or capacitance_f is 0; expected both above 0, NaN where one isn't known")
    slow, fast, swings = _rates(r, l, c)
    with np.errstate(invalid="ignore", over="ignore"):
        beat = (fast - slow) / 2
        angle = np.where(swings, np.abs(beat) * time, 0.0)
        ring = np.exp(-(fast + slow) / 2 * time) * time * np.sinc(angle / np.pi)
        gap = 2 * np.where(swings, 0.0, beat)
        fall = np.where(gap * time > 0, -np.expm1(-gap * time) / np.where(gap > 0, gap, 1.0), time)
        return np.asarray(e / l * np.where(swings, ring, np.exp(-slow * time) * fall))


def _rates(r: Array, l: Array, c: Array) -> tuple[Array, Array, NDArray[np.bool_]]:  # noqa: E741
    """
    Slow and fast rate of decay [1/s], and whether the current swings.

    Where it swings both carry the decay, and half their difference is the angular frequency.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        a = r / (2 * l)
        square = a * a - 1 / (l * c)
        w = np.sqrt(np.abs(square))
        swings = square < 0
        fast = a + w
        slow = np.where(swings, a - w, 1 / (l * c) / fast)  # a - w without subtracting near-equal numbers
    return np.asarray(slow), np.asarray(fast), np.asarray(swings)


def time_constant_s(resistance_ohm: ArrayLike, inductance_h: ArrayLike, capacitance_f: ArrayLike) -> Array:
    """
    Longest time constant of the pulse: `1 / (a - sqrt(a^2 - 1 / (L C)))`, to `R C` for little inductance; underdamped `2 L / R`.

    Parameters
    ----------
    resistance_ohm [ohm], inductance_h [H], capacitance_f [F]: as for `peak_a`.

    Returns
    -------
    Time [s]; infinite for a swing without resistance, NaN where an input is.

    Source: own derivation.

    >>> time_constant_s(0.2, [0.0, 50e-6], 5e-3).round(6)
    array([0.001 , 0.0005])
    """
    _, r, l, c = _circuit(1.0, resistance_ohm, inductance_h, capacitance_f)  # noqa: E741
    r, l, c = np.broadcast_arrays(r, l, c)  # noqa: E741
    slow, fast, swings = _rates(r, np.where(l > 0, l, np.nan), np.where(c > 0, c, np.nan))
    with np.errstate(divide="ignore"):
        found = 1 / np.where(swings, (slow + fast) / 2, slow)
    return np.asarray(np.where(np.isnan(r + l + c), np.nan, np.where((l == 0) | (c == 0), r * c, found)))


def inrush_a2s(step_v: ArrayLike, resistance_ohm: ArrayLike, capacitance_f: ArrayLike) -> Array:
    """
    Heat per ohm of the whole pulse: `I^2 t = C E^2 / (2 R)`, for any inductance.

    The source gives C E^2, half of it stays on the capacitor, the rest is heat in R, however fast.

    Parameters
    ----------
    As for `peak_a`.

    Returns
    -------
    I^2 t [A2 s]; infinite without resistance, NaN where an input is.

    Source: own derivation.

    >>> float(inrush_a2s(54.0, 0.2, 5e-3).round(2))
    36.45
    """
    e, r, _, c = np.broadcast_arrays(*_circuit(step_v, resistance_ohm, 0.0, capacitance_f))
    energy = c * e * e / 2
    never = np.where(np.isnan(energy + r), np.nan, np.where(energy > 0, np.inf, 0.0))
    return np.asarray(np.divide(energy, r, out=never, where=r > 0))


@dataclass(frozen=True, slots=True, eq=False)
class Lump:
    """Several radios as one circuit: `resistance_ohm`, `inductance_h`, `capacitance_f`, all [...]."""

    resistance_ohm: Array
    inductance_h: Array
    capacitance_f: Array


def together(
    resistance_ohm: ArrayLike,
    inductance_h: ArrayLike,
    capacitance_f: ArrayLike,
    common_ohm: ArrayLike,
    common_h: ArrayLike = 0.0,
) -> Lump:
    """
    Radios that are switched on at once behind one source and feeder, as one circuit: for the current in the common part.

    `R = R_0 + 1 / sum(1 / R_k)`, `L = L_0 + 1 / sum(1 / L_k)`, `C = sum(C_k)`. Exact where the branches are copies of one
    another in any scale (the same R C and L C). For any branches `inrush_a2s` of the lump is an upper bound of the I^2 t in
    the common part, and `E sqrt(C / L)` one of the peak: both follow from the energy C E^2 / 2.

    Parameters
    ----------
    resistance_ohm [ohm], inductance_h [H], capacitance_f [F]: of each radio's own branch, [..., n].
    common_ohm [ohm], common_h [H]: source, main breaker and feeder that all share, [...].

    Returns
    -------
    Lump, [...]; NaN where one of the capacitances or another input is. A branch without resistance or inductance makes that of
    the branches together 0.

    Raises
    ------
    ValueError
        For a negative input.

    Source: own derivation.

    >>> four = together([0.2] * 4, [40e-6] * 4, [2e-3] * 4, 0.01)
    >>> round(float(four.resistance_ohm), 6), float(four.inductance_h), float(four.capacitance_f)
    (0.06, 1e-05, 0.008)
    """
    r, l, c, r0, l0 = none_negative(  # noqa: E741
        resistance_ohm=resistance_ohm, inductance_h=inductance_h, capacitance_f=capacitance_f, common_ohm=common_ohm,
        common_h=common_h,
    )  # fmt: skip
    r, l, c = np.broadcast_arrays(r, l, c)  # noqa: E741
    if r.ndim == 0:
        raise ValueError("expected the branches of the radios on the last axis: give lists, also for one radio")
    with np.errstate(divide="ignore"):
        branches = [1 / (1 / x).sum(axis=-1) for x in (r, l)]
    total = c.sum(axis=-1)
    lumped = np.broadcast_arrays(r0 + branches[0], l0 + branches[1], total)
    return Lump(*(np.array(x) for x in lumped))


def rides(
    peak_a: ArrayLike, pulse_a2s: ArrayLike, pulse_s: ArrayLike, edge_a: ArrayLike, trip_s: ArrayLike = np.nan
) -> NDArray[np.str_]:
    """
    Whether a breaker holds as a load is switched on, in words.

    'below the instantaneous band': the peak stays under the lower edge, and does not last as long as the shortest time to trip
    by heat, where that is known. 'too short to trip': it does not stay under it, but the pulse is shorter than the shortest
    time to trip, `tau < t_trip`, and its heat is below that of the edge current for that time, `I^2 t < I_edge^2 t_trip`: then
    the current is above the edge for less than t_trip in all. 'may trip' otherwise, also where that time is not known. 'not
    judged' where peak or edge isn't known.

    Parameters
    ----------
    peak_a [A]: see `peak_a`, or the highest start-up current of the data sheet. pulse_a2s [A2 s]: see `inrush_a2s`.
    pulse_s [s]: `time_constant_s`, or a stated duration.
    edge_a [A]: lower edge of the instantaneous band, `low_multiple` times the rating. trip_s [s]: shortest time to trip at the
        peak, see `trip_band_s`; NaN where not declared.

    Returns
    -------
    One of `VERDICTS`, in the broadcast shape.

    Raises
    ------
    ValueError
        For a negative input.

    Source: own derivation; common practice for pulses shorter than the release.

    >>> rides([60.0, 200.0, 200.0, np.nan], 36.5, 0.001, 80.0, [np.nan, np.nan, 0.02, 0.02]).tolist()
    ['below the instantaneous band', 'may trip', 'too short to trip', 'not judged']
    """
    peak, heat, length, edge, trip = np.broadcast_arrays(
        *none_negative(peak_a=peak_a, pulse_a2s=pulse_a2s, pulse_s=pulse_s, edge_a=edge_a, trip_s=trip_s)
    )
    short = (length < trip) & (heat < edge * edge * trip)
    tests = [np.isnan(peak + edge), (peak < edge) & ~(length >= trip), short]
    return np.asarray(np.select(tests, [VERDICTS[3], VERDICTS[0], VERDICTS[1]], VERDICTS[2]))


@dataclass(frozen=True, slots=True, eq=False)
class Stability:
    """
    How far the two conditions are used; the operating point is stable below 1, NaN where data are missing.

    capacitance_fraction: `P L / (R V^2 C)`. resistance_fraction: `R P / V^2`. worst_fraction: the larger, NaN where one is.
    """

    capacitance_fraction: Array
    resistance_fraction: Array
    worst_fraction: Array


def least_capacitance_f(
    power_w: ArrayLike, voltage_v: ArrayLike, resistance_ohm: ArrayLike, inductance_h: ArrayLike
) -> Array:
    """
    Least input capacitance of a constant-power load: `C > P L / (R V^2)`; see `stability`.

    Parameters
    ----------
    As for `stability`.

    Returns
    -------
    Capacitance [F]; infinite for an inductance without resistance, NaN where an input is.

    Source: own derivation.

    >>> float((1e6 * least_capacitance_f(900.0, 40.5, 0.3, 40e-6)).round(1))
    73.2
    """
    p, v, r, l = none_negative(power_w=power_w, voltage_v=voltage_v, resistance_ohm=resistance_ohm, inductance_h=inductance_h)  # noqa: E741  # fmt: skip
    if np.any(v == 0):
        raise ValueError("voltage_v is 0; expected the voltage at the load, above 0")
    p, v, r, l = np.broadcast_arrays(p, v, r, l)  # noqa: E741
    top = p * l / (v * v)
    bare = np.where(np.isnan(top + r), np.nan, np.where(top > 0, np.inf, 0.0))
    return np.asarray(np.divide(top, r, out=bare, where=r > 0))


def stability(
    power_w: ArrayLike,
    voltage_v: ArrayLike,
    resistance_ohm: ArrayLike,
    inductance_h: ArrayLike,
    capacitance_f: ArrayLike,
) -> Stability:
    """
    Whether a constant-power load behind a line stays at its operating point: `C > P L / (R V^2)` and `R < V^2 / P`.

    With `L i' = E - R i - v`, `C v' = i - P / v`, a small departure from the operating point follows a matrix of trace
    `P / (C V^2) - R / L` and determinant `(1 - R P / V^2) / (L C)`: it dies away if and only if the first is negative and the
    second positive. The load is to the line a negative resistance `-V^2 / P`. The second condition says `V > E / 2`: the
    high-voltage solution of the load flow.

    Parameters
    ----------
    power_w [W]: P, largest. voltage_v [V]: V at the load, lowest. resistance_ohm [ohm]: R of loop and source, smallest for the
        first condition, largest for the second. inductance_h [H]: L, largest. capacitance_f [F]: C at the input, smallest; NaN
        where the data sheet is silent.

    Returns
    -------
    Stability, in the broadcast shape.

    Raises
    ------
    ValueError
        For a negative input, no voltage.

    Valid for a load that holds its power at once (safe: a slower control damps) and a capacitor without losses (safe as well).
    Source: own derivation, the linear stability of the averaged circuit.

    >>> found = stability(900.0, 40.5, 0.3, 40e-6, [2e-3, 50e-6])
    >>> found.worst_fraction.round(3)
    array([0.165, 1.463])
    """
    least = least_capacitance_f(power_w, voltage_v, resistance_ohm, inductance_h)
    (c,) = none_negative(capacitance_f=capacitance_f)
    least, c, p, v, r = np.broadcast_arrays(
        least, c, *(np.asarray(x, float) for x in (power_w, voltage_v, resistance_ohm))
    )
    empty = np.where(np.isnan(least + c), np.nan, np.where(least > 0, np.inf, 0.0))
    first = np.divide(least, c, out=empty, where=c > 0)
    second = np.asarray(r * p / (v * v))
    return Stability(np.asarray(first), second, np.asarray(np.maximum(first, second)))
