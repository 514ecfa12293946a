"""Trip bands of breakers and fuses: time to trip, zones of current, rules for ratings, and derating by heat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.protection import none_negative
from upmast.source import Mark, Source

__all__ = [
    "CONTINUOUS_RULES",
    "INSTANTANEOUS_DC",
    "REFERENCE_C",
    "SECONDS_MULTIPLE",
    "ZONES",
    "Band",
    "ContinuousRule",
    "Overload",
    "TripCurve",
    "continuous_rule",
    "derate_fraction",
    "derated_a",
    "instantaneous_band",
    "overload",
    "trip_band_s",
    "zone",
]

Array = NDArray[np.float64]
_MOST_POINTS = 200
_LARGEST_MULTIPLE = 1e4
_LONGEST_S = 1e6
_SHORTEST_S = 1e-6
# Calibration of thermal releases: IEC 60898-1, 30 C; breakers by IEC 60947-2 usually say 40 C on their plate.
REFERENCE_C = 30.0
# IEC 60898-1, table of time-current zones, from memory: at 2.55 In within 1 to 60 s (to 32 A) or 1 to 120 s (above).
SECONDS_MULTIPLE = 2.55
ZONES = (
    "no trip",
    "may not trip within the conventional time",
    "thermal: minutes, at most the conventional time",
    "thermal: seconds to minutes",
    "may be instantaneous",
    "instantaneous",
)
_NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True)
class Band:
    """Instantaneous band: never at once below `low_multiple`, always at once from `high_multiple` on, in multiples of In."""

    low_multiple: float
    high_multiple: float
    source: Source


# The bands for direct current are those for alternating current (peak against rms) times the root of two, rounded.
INSTANTANEOUS_DC = {
    "B": Band(4.0, 7.0, Source("IEC 60898-2", clause="instantaneous tripping, DC, type B", mark=Mark.MEMORY)),
    "C": Band(7.0, 15.0, Source("IEC 60898-2", clause="instantaneous tripping, DC, type C", mark=Mark.MEMORY)),
}


@dataclass(frozen=True, slots=True)
class ContinuousRule:
    """A rule for continuous loads: `In >= factor Ib`, and where it is from."""

    factor: float
    source: Source


CONTINUOUS_RULES = {
    "iec": ContinuousRule(1.0, Source("IEC 60364-4-43", clause="433.1, In >= Ib", mark=Mark.PRACTICE)),
    "nec_125": ContinuousRule(
        1.25, Source("NFPA 70 (NEC)", clause="practice as in 210.20(A) and 215.3, 125 % of continuous load", mark=Mark.PRACTICE)
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class TripCurve:
    """
    Shortest and longest time to trip by the current, as a data sheet draws them.

    Parameters
    ----------
    multiple [-] [n]: current in multiples of the rating, rising, above 0, to 1e4; 2 to 200 points.
    shortest_s [s] [n]: never trips sooner. Never rising.
    longest_s [s] [n]: always trips sooner. Never rising, not below `shortest_s`; infinite at first, where it need not trip.
    non_trip_multiple [-]: below it no trip at all; the conventional non-tripping current where the data sheet gives it (1.13
        for a breaker by IEC 60898-1), else the rating itself.

    Raises
    ------
    ValueError
        For a curve of another shape, too few or too many points, a value out of range, a time that rises with the current.
    """

    multiple: Array
    shortest_s: Array
    longest_s: Array
    non_trip_multiple: float

    def __init__(
        self, multiple: ArrayLike, shortest_s: ArrayLike, longest_s: ArrayLike, non_trip_multiple: float = 1.0
    ) -> None:
        given = {"multiple": multiple, "shortest_s": shortest_s, "longest_s": longest_s}
        for name, value in given.items():
            array = np.array(value, float)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        object.__setattr__(self, "non_trip_multiple", float(non_trip_multiple))
        m, low, high = self.multiple, self.shortest_s, self.longest_s
        if m.ndim != 1 or m.shape != low.shape or m.shape != high.shape or not 2 <= m.size <= _MOST_POINTS:
            raise ValueError(
                f"multiple, shortest_s and longest_s have shapes {m.shape}, {low.shape} and {high.shape}; expected one axis "
                f"of the same length, 2 to {_MOST_POINTS} points: read more or fewer points off the curve"
            )
        if not np.all((m > 0) & (m <= _LARGEST_MULTIPLE)) or not np.all(np.diff(m) > 0):
            raise ValueError(
                f"multiple is {_shown(m)}; expected multiples of the rating above 0, to {_LARGEST_MULTIPLE:g}, each above the "
                "one before: sort the points by current"
            )
        for name, times, most in (("shortest_s", low, _LONGEST_S), ("longest_s", high, np.inf)):
            if not np.all((times >= _SHORTEST_S) & (times <= most)) or np.any(
                np.isfinite(times) & (times > _LONGEST_S)
            ):
                raise ValueError(
                    f"{name} is {_shown(times)}; expected times in seconds from {_SHORTEST_S:g} to {_LONGEST_S:g}"
                    + (", or infinite where it need not trip" if name == "longest_s" else "")
                )
            if not np.all(times[1:] <= times[:-1]):
                raise ValueError(f"{name} is {_shown(times)}; expected times that never rise with the current")
        if not np.isfinite(high[-1]):
            raise ValueError(
                "longest_s has no finite value; expected one at the last point: where does it surely trip?"
            )
        if not np.all(low <= high):
            at = int(np.argmax(low > high))
            raise ValueError(
                f"at {m[at]:g} times the rating shortest_s is {low[at]:g} and longest_s {high[at]:g}; expected the shortest not "
                "above the longest: are the two columns exchanged?"
            )
        if not 0 < self.non_trip_multiple <= m[0]:
            raise ValueError(
                f"non_trip_multiple is {self.non_trip_multiple:g}; expected above 0 and not above the first point of the "
                f"curve, {m[0]:g}"
            )


def _shown(values: Array) -> str:
    head = ", ".join(f"{x:g}" for x in values[:6])
    return f"[{head}{', ...' if values.size > 6 else ''}]"


def _time(multiple: Array, points: Array, times: Array) -> Array:
    """Straight in the logarithms; the first time below the first point, the last one above the last."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.exp(np.interp(np.log(multiple), np.log(points), np.log(times))))


def trip_band_s(
    curve: TripCurve, current_a: ArrayLike, rating_a: ArrayLike, derate: ArrayLike = 1.0
) -> tuple[Array, Array]:
    """
    Shortest and longest time that a steady current takes to trip.

    `log t` runs straight in `log(I / In)` between the points. Below the non-tripping current both are infinite; between it and
    the first point the shortest is that of the first point and the longest infinite; above the last point both keep the last
    values (the release then is as fast as it gets). A hollow curve lies a little below its chords: read off enough points.

    Heat moves the curve along the current, to `d In`. The band holds for any temperature between the reference and the one of
    `derate`: hot (d < 1), the shortest is taken at `d In` and the longest at In; cold (d > 1), the other way round. A magnetic
    release does not move with heat; the band then is wider than need be, never narrower.

    Parameters
    ----------
    curve: TripCurve. current_a [A], rating_a [A], derate [-] (see `derate_fraction`): any shapes that broadcast.

    Returns
    -------
    Shortest and longest time [s]; NaN where an input is.

    Raises
    ------
    ValueError
        For a negative current, a rating or factor that is not above 0.

    Source: own derivation; time-current zones as in IEC 60898-1.

    >>> curve = TripCurve([1.45, 2.55, 7], [60, 5, 0.002], [3600, 60, 0.1], 1.13)
    >>> shortest, longest = trip_band_s(curve, [10.0, 51.0, 200.0], 20.0)
    >>> shortest.round(3).tolist(), longest.round(3).tolist()
    ([inf, 5.0, 0.002], [inf, 60.0, 0.1])
    """
    current, rating, factor = none_negative(current_a=current_a, rating_a=rating_a, derate=derate)
    if np.any(rating == 0) or np.any(factor == 0):
        raise ValueError("rating_a or derate is 0; expected a rating and a factor above 0, NaN where one isn't known")
    ratio = current / rating
    hot, cold = ratio / np.minimum(factor, 1.0), ratio / np.maximum(factor, 1.0)
    shortest = np.where(hot < curve.non_trip_multiple, np.inf, _time(hot, curve.multiple, curve.shortest_s))
    sure = np.isfinite(curve.longest_s)
    points = curve.multiple[sure]
    longest = np.where(cold < points[0], np.inf, _time(cold, points, curve.longest_s[sure]))
    return np.asarray(shortest), np.asarray(longest)


def zone(
    current_a: ArrayLike,
    rating_a: ArrayLike,
    non_trip_multiple: ArrayLike,
    trip_multiple: ArrayLike,
    low_multiple: ArrayLike,
    high_multiple: ArrayLike,
    seconds_multiple: ArrayLike = SECONDS_MULTIPLE,
) -> NDArray[np.str_]:
    """
    What a breaker does at a current, in words, where only its conventional currents and its instantaneous band are known.

    With `m = I / In`: no trip to the non-tripping multiple; below the conventional tripping multiple it may not trip within
    the conventional time (1 h to 63 A, 2 h above, by IEC 60898-1, from memory); then it trips by heat, from
    `seconds_multiple` on within seconds to minutes; inside the instantaneous band it may trip at once or by heat; from the
    upper edge on at once.

    Parameters
    ----------
    current_a [A]: fault or other steady current. rating_a [A]: In. The multiples [-] of In: any shapes that broadcast.

    Returns
    -------
    One of `ZONES`, or 'not judged' where an input is missing (NaN).

    Raises
    ------
    ValueError
        For a negative input, a rating of 0, edges in the wrong order.

    Source: IEC 60898-1 and 60898-2, time-current zones.

    >>> zone([20, 30, 40, 60, 100, 160], 20, 1.13, 1.45, 4, 7).tolist()[2:5]
    ['thermal: minutes, at most the conventional time', 'thermal: seconds to minutes', 'may be instantaneous']
    """
    inputs = none_negative(
        current_a=current_a, rating_a=rating_a, non_trip_multiple=non_trip_multiple, trip_multiple=trip_multiple,
        low_multiple=low_multiple, high_multiple=high_multiple, seconds_multiple=seconds_multiple,
    )  # fmt: skip
    current, rating, non_trip, trip, low, high, seconds = np.broadcast_arrays(*inputs)
    if np.any(rating == 0):
        raise ValueError("rating_a is 0; expected a rating above 0, NaN where it isn't known")
    if np.any(non_trip > trip) or np.any(trip > low) or np.any(low > high):
        raise ValueError(
            "expected non_trip_multiple <= trip_multiple <= low_multiple <= high_multiple: check the currents of the data sheet"
        )
    m = current / rating
    missing = np.any([np.isnan(x) for x in (m, non_trip, trip, low, high, seconds)], axis=0)
    tests = [missing, m <= non_trip, m < trip, m >= high, m >= low, m >= seconds]
    words = [_NOT_JUDGED, ZONES[0], ZONES[1], ZONES[5], ZONES[4], ZONES[3]]
    return np.asarray(np.select(tests, words, ZONES[2]))


def instantaneous_band(letter: str) -> Band:
    """
    Instantaneous band for direct current by the letter of its type, from memory: never a silent limit.

    >>> instantaneous_band("C").low_multiple, instantaneous_band("C").high_multiple
    (7.0, 15.0)
    """
    if letter not in INSTANTANEOUS_DC:
        raise ValueError(f"type {letter!r} is not known; there are {', '.join(INSTANTANEOUS_DC)}")
    return INSTANTANEOUS_DC[letter]


@dataclass(frozen=True, slots=True, eq=False)
class Overload:
    """
    How far the three conditions of overload protection are used; each passes to 1, equal passes, NaN where data are missing.

    design_fraction: factor Ib / In. rating_fraction: In / Iz. conventional_fraction: I2 / (1.45 Iz). worst_fraction: their
    largest, NaN where one is.
    """

    design_fraction: Array
    rating_fraction: Array
    conventional_fraction: Array
    worst_fraction: Array


def overload(
    design_a: ArrayLike,
    rating_a: ArrayLike,
    ampacity_a: ArrayLike,
    conventional_a: ArrayLike,
    load_factor: ArrayLike = 1.0,
) -> Overload:
    """
    Protection against overload: `factor Ib <= In <= Iz` and `I2 <= 1.45 Iz`.

    Parameters
    ----------
    design_a [A]: Ib. rating_a [A]: In. ampacity_a [A]: Iz of what is protected, with all factors. conventional_a [A]: I2, at
        which it surely trips within the conventional time; for a breaker with I2 = 1.45 In the second condition follows from
        the first. load_factor [-]: of the rule for continuous loads, see `continuous_rule`.

    Returns
    -------
    Overload, in the broadcast shape.

    Raises
    ------
    ValueError
        For a negative input, a rating or ampacity of 0.

    Source: IEC 60364-4-43, clause 433.1 (both inequalities from memory).

    >>> float(overload(22.0, 25.0, 24.0, 36.25).conventional_fraction.round(4))
    1.0417
    """
    inputs = none_negative(
        design_a=design_a,
        rating_a=rating_a,
        ampacity_a=ampacity_a,
        conventional_a=conventional_a,
        load_factor=load_factor,
    )
    ib, i_n, i_z, i_2, factor = np.broadcast_arrays(*inputs)
    if np.any(i_n == 0) or np.any(i_z == 0):
        raise ValueError("rating_a or ampacity_a is 0; expected both above 0, NaN where one isn't known")
    design, rating, conventional = factor * ib / i_n, i_n / i_z, i_2 / (1.45 * i_z)
    worst = np.maximum(np.maximum(design, rating), conventional)
    return Overload(np.asarray(design), np.asarray(rating), np.asarray(conventional), np.asarray(worst))


def continuous_rule(rule: str) -> ContinuousRule:
    """
    Factor on the design current for loads that last, with its source: 'iec' or 'nec_125'.

    The 125 % holds for a breaker that is not listed for its full rating (NEC). Local codes decide which rule applies.

    >>> continuous_rule("nec_125").factor
    1.25
    """
    if rule not in CONTINUOUS_RULES:
        raise ValueError(f"rule {rule!r} is not known; there are {', '.join(CONTINUOUS_RULES)}")
    return CONTINUOUS_RULES[rule]


def derate_fraction(
    cabinet_c: ArrayLike, reference_c: ArrayLike, fraction_per_k: ArrayLike, neighbour_fraction: ArrayLike
) -> Array:
    """
    Where heat moves the tripping current: `d = (1 - c (theta - theta_ref)) f`, not below 0; above 1 in the cold.

    Parameters
    ----------
    cabinet_c [C]: air at the breaker. reference_c [C]: of the calibration, see `REFERENCE_C`.
    fraction_per_k [1/K]: c, 0 to 0.05, as the part declares it; 0 for a hydraulic-magnetic release.
    neighbour_fraction [-]: f, above 0 to 1, for breakers that touch; 1 for one that stands alone.

    Returns
    -------
    Factor [-], in the broadcast shape; NaN where an input isn't known (NaN). Nothing is assumed for it: the caller tells
    'not judged'.

    Raises
    ------
    ValueError
        For a coefficient or factor out of its range.

    Valid near the reference: the law of a bimetal is straight over some tens of kelvin. Source: common practice.

    >>> float(derate_fraction(50.0, 30.0, 0.005, 0.9).round(4))
    0.81
    """
    theta, reference = np.asarray(cabinet_c, float), np.asarray(reference_c, float)
    slope, neighbours = none_negative(fraction_per_k=fraction_per_k, neighbour_fraction=neighbour_fraction)
    if np.any(slope > 0.05):
        raise ValueError(f"fraction_per_k is {np.nanmax(slope):g}; expected 0 to 0.05 per kelvin: 0.5 % is 0.005")
    if np.any((neighbours == 0) | (neighbours > 1)):
        raise ValueError("neighbour_fraction lies outside its range; expected above 0 and to 1, 1 for a breaker alone")
    return np.asarray(np.maximum(1 - slope * (theta - reference), 0.0) * neighbours)


def derated_a(
    rated_a: ArrayLike,
    cabinet_c: ArrayLike,
    reference_c: ArrayLike,
    fraction_per_k: ArrayLike,
    neighbour_fraction: ArrayLike,
) -> Array:
    """
    Current that a breaker carries without end where it stands: `In min(1 - c (theta - theta_ref), 1) f`, not below 0.

    The cold does not raise a rating.

    Parameters
    ----------
    rated_a [A]: In, any shape. The others as for `derate_fraction`.

    Returns
    -------
    Current [A]; NaN where an input is.

    Source: common practice.

    >>> derated_a(20.0, [50.0, -20.0], 30.0, 0.005, 0.9)
    array([16.2, 18. ])
    """
    (rated,) = none_negative(rated_a=rated_a)
    warm = np.maximum(np.asarray(cabinet_c, float), np.asarray(reference_c, float))
    return np.asarray(rated * derate_fraction(warm, reference_c, fraction_per_k, neighbour_fraction))
