"""
The length of a jumper that plays its two like joints against each other: what it can gain, exactly, with tolerances.

Two equal reflections a round trip of `phi = 4 pi f L / v` apart give `|G| = r |1 + exp(-j phi)|` and all echoes between them. Over a
band, and over the tolerances of cut and velocity, `phi / 2 pi` sweeps an interval of turns; what counts is its distance to the nearest
whole turn, where the two add. Nothing is gained where the interval is a turn wide, and nothing where one of the phases is unknown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import SPEED_OF_LIGHT_M_PER_S

__all__ = [
    "Bands", "Choice", "Lengths", "add_offset_turns", "best_length", "distance_turns", "gain_db", "half_sweep_turns",
    "lengths_beyond", "longest_for_gain_m", "null_spacing_m", "round_trip_turns", "widened_width_hz",
]  # fmt: skip

Array = NDArray[np.float64]
_ROUNDING = 1e-12
MOST_LOBES = 2_000_000  # of all bands over the range of lengths


LEAST_HZ = 1e5  # below it somebody wrote megahertz


@dataclass(frozen=True, slots=True, eq=False)
class Bands:
    """
    Bands and tolerances of one jumper.

    low_hz, high_hz [b]: edges. velocity_factor: of the cable. tolerance_m: of the cut, plus and minus. velocity_tolerance: relative.
    offset_turns [b]: turns of the round trip at which the two reflections add, see `add_offset_turns`; 0 for two like small joints.
    """

    low_hz: Array
    high_hz: Array
    velocity_factor: float
    tolerance_m: float = 0.0
    velocity_tolerance: float = 0.0
    offset_turns: Array | None = None

    def __post_init__(self) -> None:
        low, high = (np.atleast_1d(np.asarray(x, float)) for x in (self.low_hz, self.high_hz))
        if low.ndim != 1 or low.shape != high.shape or low.size == 0:
            raise ValueError("bands are given by a lower and an upper edge each")
        if not np.all((low > 0) & (high >= low) & np.isfinite(high)):
            raise ValueError("a band lies above 0 Hz, its upper edge not below the lower one")
        if np.any(high < LEAST_HZ):
            raise ValueError(f"a band ends at {float(high.min()):g} Hz: these are hertz, write 880e6 for 880 MHz")
        if not 0 < self.velocity_factor <= 1:
            raise ValueError("velocity_factor lies above 0, at most 1")
        if not (self.tolerance_m >= 0 and 0 <= self.velocity_tolerance < 1):
            raise ValueError("tolerances are not negative, that of the velocity below 1")
        offset = np.zeros_like(low) if self.offset_turns is None else np.asarray(self.offset_turns, float)
        object.__setattr__(self, "low_hz", low)
        object.__setattr__(self, "high_hz", high)
        object.__setattr__(self, "offset_turns", np.broadcast_to(offset, low.shape))

    @property
    def velocity_m_per_s(self) -> float:
        return self.velocity_factor * SPEED_OF_LIGHT_M_PER_S.value

    @property
    def slopes(self) -> tuple[Array, Array]:
        """Turns of the round trip a metre, at the lowest and at the highest that band and velocity allow [b]."""
        v = self.velocity_m_per_s
        return (
            2 * self.low_hz / (v * (1 + self.velocity_tolerance)),
            2 * self.high_hz / (v * (1 - self.velocity_tolerance)),
        )


class Choice(NamedTuple):
    """
    The best length in a range.

    length_m; distance_turns: least distance of all bands to where the joints add; gain_db [b]: of each band; band: which governs.
    """

    length_m: float
    distance_turns: float
    gain_db: Array
    band: int


class Lengths(NamedTuple):
    """Intervals of lengths, from and to, in order; empty arrays where there are none."""

    low_m: Array
    high_m: Array


def add_offset_turns(reactance: ArrayLike, like: bool = True) -> Array:
    """
    Turns of the round trip at which two lossless joints add: `-atan(x / 2) / pi`, half a turn more for unlike kinds.

    Parameters
    ----------
    reactance [1]: x of each joint, see `upmast.rf.joint`. like: both shunt C or both series L; else one of each. Any shape.

    Returns
    -------
    Turns. Source: own derivation from S11 and S21 of a lump, `S21^2` turns by `-2 atan(x / 2)`; checked against cascades.

    >>> add_offset_turns([0.0, 0.0632]).round(5), float(add_offset_turns(0.0, like=False))
    (array([ 0.     , -0.01006]), 0.5)
    """
    x = np.asarray(reactance, float)
    if np.any(~(x >= 0)):
        raise ValueError("reactance may not be negative")
    return np.asarray(-np.arctan(x / 2) / math.pi + (0.0 if like else 0.5))


def round_trip_turns(bands: Bands, length_m: ArrayLike) -> tuple[Array, Array]:
    """
    Least and greatest turns of the round trip over band and tolerances, less the offset: `2 f (L -+ dL) / (v (1 +- dv))`.

    Parameters
    ----------
    length_m [m]: any shape.

    Returns
    -------
    Two arrays (..., b). Source: definition of electrical length.
    """
    length = np.asarray(length_m, float)[..., None]
    if np.any(~(length >= 0)):
        raise ValueError("length_m may not be negative")
    slow, fast = bands.slopes
    offset = np.asarray(bands.offset_turns)
    low = slow * np.maximum(length - bands.tolerance_m, 0.0) - offset
    return low, fast * (length + bands.tolerance_m) - offset


def distance_turns(bands: Bands, length_m: ArrayLike) -> Array:
    """
    Distance of the swept turns to the nearest whole turn, for each band; 0 where one lies inside.

    Parameters
    ----------
    length_m [m]: any shape.

    Returns
    -------
    Turns (..., b), 0 to 1/2. Source: geometry.

    >>> one = Bands([925e6], [960e6], 0.82, 0.004, 0.004)
    >>> distance_turns(one, [0.4563, 1.0]).round(4)[:, 0]
    array([0.3902, 0.127 ])
    """
    low, high = round_trip_turns(bands, length_m)
    whole = np.floor(low + _ROUNDING)
    return np.asarray(np.clip(np.minimum(low - whole, whole + 1 - high), 0.0, 0.5))


def gain_db(distance_turns: ArrayLike) -> Array:
    """
    What is gained against two joints that add: `-20 log10 cos(pi d)` for small equal joints.

    Parameters
    ----------
    distance_turns [1]: d, 0 to 1/2; any shape.

    Returns
    -------
    Gain [dB], infinite at d = 1/2. Source: own derivation, first order in r.

    >>> gain_db([0.0, 0.25, 1 / 3]).round(2)
    array([0.  , 3.01, 6.02])
    """
    d = np.asarray(distance_turns, float)
    if np.any(~((d >= 0) & (d <= 0.5))):
        raise ValueError("distance_turns lies between 0 and 1/2")
    with np.errstate(divide="ignore"):
        return np.asarray(-20 * np.log10(np.sin(np.pi * (0.5 - d)))) + 0.0


def half_sweep_turns(bands: Bands, length_m: ArrayLike) -> Array:
    """
    Half of what the round trip sweeps over band and tolerances: `h = (fb (L + dL) / (1 - dv) - fa (L - dL) / (1 + dv)) / v`.

    At a null of the band the worst point is `2 r sin(pi h)`: the gain is `-20 log10 sin(pi h)` below 1/2, and nothing from there on.

    >>> one = Bands([1920e6], [1980e6], 0.85)
    >>> round(float(half_sweep_turns(one, 1.0)[0]), 4)
    0.2355
    """
    low, high = round_trip_turns(bands, length_m)
    return np.asarray((high - low) / 2)


def widened_width_hz(bands: Bands, length_m: ArrayLike) -> Array:
    """
    Width of the band that would sweep as much without tolerances: `v h / L`, about `B + 2 f0 (dv + dL / L)`.

    >>> one = Bands([1920e6], [1980e6], 0.85, 0.005, 0.01)
    >>> widened_width_hz(one, 1.0).round(-5) / 1e6
    array([118.5])
    """
    length = np.asarray(length_m, float)[..., None]
    if np.any(~(length > 0)):
        raise ValueError("length_m lies above 0")
    return np.asarray(bands.velocity_m_per_s * half_sweep_turns(bands, length_m) / length)


def longest_for_gain_m(bands: Bands, gain_db: ArrayLike) -> Array:
    """
    Longest length at which a null of each band alone still gains so much.

    `L = (psi v - (fb / (1 - dv) + fa / (1 + dv)) dL) / (fb / (1 - dv) - fa / (1 + dv))`, `psi = asin(10^(-G / 20)) / pi`.

    Parameters
    ----------
    gain_db [dB]: above 0, any shape.

    Returns
    -------
    Lengths [m] (..., b); 0 where no length does. Nulls lie `null_spacing_m` apart: the best null may be a little shorter.

    Source: own derivation, see `half_sweep_turns`.

    >>> one = Bands([925e6], [960e6], 0.82, 0.004, 0.004)
    >>> longest_for_gain_m(one, 3.0).round(4)
    array([1.2696])
    """
    gain = np.asarray(gain_db, float)[..., None]
    if np.any(~(gain > 0)):
        raise ValueError("gain_db lies above 0")
    slow, fast = (x / 2 * bands.velocity_m_per_s for x in bands.slopes)  # f / (1 +- dv)
    psi = np.arcsin(10 ** (-gain / 20)) / np.pi
    spread = fast - slow
    top = psi * bands.velocity_m_per_s - (fast + slow) * bands.tolerance_m
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(top <= 0, 0.0, np.where(spread > 0, top / spread, np.inf)))


def null_spacing_m(bands: Bands) -> Array:
    """
    Distance of the lengths that are nulls of the middle of each band: half a wavelength on the cable, `v / (fa + fb)`.

    >>> float((1000 * null_spacing_m(Bands([925e6], [960e6], 0.82))[0]).round(2))
    130.41
    """
    return np.asarray(bands.velocity_m_per_s / (bands.low_hz + bands.high_hz))


# --- the best length --------------------------------------------------------------------------------------------------


def best_length(bands: Bands, least_m: float, most_m: float) -> Choice:
    """
    The length in a range that keeps the worst band farthest from where the joints add: exact, for any number of bands.

    Each `d_j(L)` is linear between its breakpoints `lo = m`, `lo + hi = 2 m + 1`, `hi = m + 1`; between all breakpoints the least of
    them is concave, so its top is at an end or where two lines cross. All segments are bounded first, and only those that could beat
    the best end are looked into.

    Parameters
    ----------
    least_m, most_m [m]: range of lengths, with least_m not below the tolerance of the cut.

    Returns
    -------
    `Choice`; distance 0 and gains 0 where no length gains anything (then the length is the shortest).

    Raises
    ------
    ValueError
        For a range that is none, or one with more than two million lobes.

    Source: own derivation; checked against a fine grid and against linear programs.

    >>> best_length(Bands([925e6], [960e6], 0.82, 0.004, 0.004), 0.4, 2.0).length_m.__round__(4)
    0.4563
    """
    if not (math.isfinite(most_m) and 0 <= least_m <= most_m) or least_m < bands.tolerance_m:
        raise ValueError("the range goes from the tolerance of the cut or more to its upper end")
    at = _breakpoints(bands, least_m, most_m)
    values = distance_turns(bands, at)  # [n, b]
    least = values.min(axis=1)
    best = int(np.argmax(least))
    top, length = float(least[best]), float(at[best])
    if at.size > 1 and values.shape[1] > 1:
        # no point of a segment is above the least of its lines' upper ends
        bound = np.maximum(values[:-1], values[1:]).min(axis=1)
        open_ = np.flatnonzero(bound > top + _ROUNDING)
        if open_.size:
            length, top = _crossings(bands, at, values, open_, length, top)
    if top <= _ROUNDING:
        return Choice(float(least_m), 0.0, np.zeros(bands.low_hz.size), 0)
    each = distance_turns(bands, length)
    return Choice(length, float(each.min()), gain_db(each), int(np.argmin(each)))


def _breakpoints(bands: Bands, least_m: float, most_m: float) -> Array:
    """Lengths between which every distance is linear, with both ends."""
    slow, fast = bands.slopes
    dl, offset = bands.tolerance_m, np.asarray(bands.offset_turns)
    out = [np.array([least_m, most_m])]
    count = float(np.sum(slow) * (most_m - least_m) + 2 * slow.size)
    if count > MOST_LOBES:
        raise ValueError(f"{count:.0f} lobes lie in this range: give a shorter one")
    for a, b, o in zip(slow, fast, offset, strict=True):
        first = math.floor(a * (least_m - dl) - o)
        last = math.ceil(b * (most_m + dl) - o)
        m = np.arange(first, last + 1, dtype=np.float64)
        starts = (m + o) / a + dl  # lo = m
        tops = (2 * m + 1 + 2 * o + (a - b) * dl) / (a + b)  # lo + hi = 2 m + 1
        ends = (m + 1 + o) / b - dl  # hi = m + 1
        use = starts < ends  # lobes that are there at all
        out += [starts[use], tops[use], ends[use]]
    at = np.concatenate(out)
    return np.unique(at[(at >= least_m) & (at <= most_m)])


def _crossings(
    bands: Bands, at: Array, values: Array, open_: NDArray[np.intp], length_m: float, top: float
) -> tuple[float, float]:
    """The best crossing of two lines within segments that may hold something better."""
    low, high = at[open_], at[open_ + 1]
    left, right = values[open_], values[open_ + 1]
    slope = (right - left) / (high - low)[:, None]
    i, j = np.triu_indices(values.shape[1], 1)
    apart = slope[:, i] - slope[:, j]
    with np.errstate(divide="ignore", invalid="ignore"):
        step = (left[:, j] - left[:, i]) / apart
    inside = (step > 0) & (step < (high - low)[:, None])
    points = (low[:, None] + np.where(inside, step, 0.0))[inside]
    if not points.size:
        return length_m, top
    least = distance_turns(bands, points).min(axis=1)
    best = int(np.argmax(least))
    return (float(points[best]), float(least[best])) if least[best] > top else (length_m, top)


def lengths_beyond(bands: Bands, distance_turns: ArrayLike, least_m: float, most_m: float) -> Lengths:
    """
    All lengths of a range at which every band keeps a distance of its own: each lobe gives `[(m + o + d) / a + dL, (m + 1 + o - d) / b - dL]`.

    Parameters
    ----------
    distance_turns [1]: d of each band [b] or one for all, 0 to 1/2. least_m, most_m [m].

    Returns
    -------
    `Lengths`: the intersection over bands. Source: own derivation, see `best_length`.

    >>> found = lengths_beyond(Bands([925e6], [960e6], 0.82, 0.004, 0.004), 0.25, 0.4, 2.0)
    >>> found.low_m.round(3)[:2], found.high_m.round(3)[:2]
    (array([0.438, 0.571]), array([0.474, 0.602]))
    """
    d = np.broadcast_to(np.asarray(distance_turns, float), bands.low_hz.shape)
    if np.any(~((d >= 0) & (d <= 0.5))):
        raise ValueError("distance_turns lies between 0 and 1/2")
    slow, fast = bands.slopes
    dl = bands.tolerance_m
    lows, highs = np.array([float(least_m)]), np.array([float(most_m)])
    for a, b, o, need in zip(slow, fast, np.asarray(bands.offset_turns), d, strict=True):
        m = np.arange(
            math.floor(a * max(least_m - dl, 0.0) - o), math.ceil(b * (most_m + dl) - o) + 1, dtype=np.float64
        )
        start, end = (m + o + need) / a + dl, (m + 1 + o - need) / b - dl
        use = start <= end
        lows, highs = _meet(lows, highs, start[use], end[use])
    return Lengths(lows, highs)


def longest_in_all_m(bands: Bands, gain_db: ArrayLike) -> Array:
    """
    The longest length at which a gain is had in every band at once; 0 where no length gives it.

    Never longer than `longest_for_gain_m` of any band alone, whose nulls the others may not share.

    Parameters
    ----------
    gain_db [dB]: above 0, any shape.

    Returns
    -------
    Lengths [m] of the shape of gain_db. Source: `lengths_beyond` with `d = arccos(10^(-G / 20)) / pi`.

    >>> both = Bands([832e6, 880e6], [862e6, 915e6], 0.85, 0.005, 0.01)
    >>> longest_in_all_m(both, [1.0, 3.0, 6.0]).round(2)
    array([0.66, 0.51, 0.22])
    """
    gains = np.asarray(gain_db, float)
    if np.any(~(gains > 0)):
        raise ValueError("gain_db lies above 0")
    out = np.zeros(gains.shape)
    for at in np.ndindex(gains.shape):
        alone = float(longest_for_gain_m(bands, gains[at]).min())
        if alone > bands.tolerance_m:
            distance = float(np.arccos(10 ** (-gains[at] / 20)) / np.pi)
            found = lengths_beyond(bands, distance, bands.tolerance_m, alone + 1e-6)
            out[at] = float(found.high_m.max(initial=0.0))
    return out


def _meet(a_low: Array, a_high: Array, b_low: Array, b_high: Array) -> tuple[Array, Array]:
    """Intersection of two lists of intervals, each in order and without overlap."""
    if not a_low.size or not b_low.size:
        return np.empty(0), np.empty(0)
    # the intervals of b that each one of a may touch
    first = np.searchsorted(b_high, a_low, side="left")
    last = np.searchsorted(b_low, a_high, side="right")
    count = np.maximum(last - first, 0)
    of = np.repeat(np.arange(a_low.size), count)
    to = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
    low, high = np.maximum(a_low[of], b_low[to]), np.minimum(a_high[of], b_high[to])
    use = low <= high
    return low[use], high[use]
