"""Sets of jumpers whose phases must agree, and lengths that tell jumpers apart by what an instrument reads."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import SPEED_OF_LIGHT_M_PER_S

__all__ = ["Codes", "MatchedSet", "coded_lengths", "cut_tolerance_m", "matched_set", "phase_deg"]

Array = NDArray[np.float64]


class MatchedSet(NamedTuple):
    """
    What a set of jumpers of one length can be off.

    spread_deg: largest difference of phase by cut and velocity; cut_deg, velocity_deg: their shares. cut_needed_m: tolerance of the
    cut that would keep the limit beside that velocity. by_length: whether cutting to length can do; else only measured matching.
    """

    spread_deg: float
    cut_deg: float
    velocity_deg: float
    cut_needed_m: float
    by_length: bool


class Codes(NamedTuple):
    """Lengths by group, how far apart they read at least, and how far apart an instrument tells them."""

    length_m: Array
    apart_m: float
    resolution_m: float


def phase_deg(frequency_hz: ArrayLike, length_m: ArrayLike, velocity_factor: ArrayLike) -> Array:
    """
    Phase of a line, one way: `360 f L / v` degrees. Any shapes that broadcast.

    Source: definition of electrical length.

    >>> phase_deg(2.2e9, [0.0, 1.0], 0.82).round(1)
    array([   0. , 3221.7])
    """
    f, length, vf = (np.asarray(x, float) for x in (frequency_hz, length_m, velocity_factor))
    if np.any(~(f >= 0)) or np.any(~(length >= 0)) or np.any(~((vf > 0) & (vf <= 1))):
        raise ValueError("frequency and length are not negative, the velocity factor above 0, at most 1")
    return np.asarray(360 * f * length / (vf * SPEED_OF_LIGHT_M_PER_S.value))


def cut_tolerance_m(limit_deg: ArrayLike, frequency_hz: ArrayLike, velocity_factor: ArrayLike) -> Array:
    """
    Tolerance of a cut, plus and minus, that keeps a phase plus and minus: `phi / 360 v / f`.

    >>> round(1000 * float(cut_tolerance_m(5.0, 2.2e9, 0.82)), 2)
    1.55
    """
    limit, f, vf = (np.asarray(x, float) for x in (limit_deg, frequency_hz, velocity_factor))
    if np.any(~(limit >= 0)) or np.any(~(f > 0)) or np.any(~((vf > 0) & (vf <= 1))):
        raise ValueError("a limit that is not negative, a frequency above 0 and a velocity factor above 0, at most 1")
    return np.asarray(limit / 360 * vf * SPEED_OF_LIGHT_M_PER_S.value / f)


def matched_set(
    limit_deg: float,
    highest_hz: float,
    length_m: float,
    velocity_factor: float,
    tolerance_m: float,
    velocity_tolerance: float,
) -> MatchedSet:
    """
    Whether a set of jumpers cut to one length keeps a spread of phase at its highest frequency.

    A relative spread dv of the velocity counts as `L dv` of length; two jumpers may be off to both sides.

    Parameters
    ----------
    limit_deg [deg]: largest difference within the set. highest_hz [Hz]. length_m [m]. velocity_factor [1].
    tolerance_m [m]: of the cut, plus and minus. velocity_tolerance [1]: relative, plus and minus.

    Returns
    -------
    `MatchedSet`; by_length False: the velocity alone breaks the limit, only jumpers matched by measurement do.

    Source: own derivation.

    >>> found = matched_set(10.0, 2.2e9, 3.0, 0.82, 0.002, 0.002)
    >>> round(found.spread_deg, 1), found.by_length
    (51.5, False)
    """
    if not limit_deg > 0 or tolerance_m < 0 or not 0 <= velocity_tolerance < 1:
        raise ValueError("a limit above 0, tolerances that are not negative")
    cut = 2 * float(phase_deg(highest_hz, tolerance_m, velocity_factor))
    drift = 2 * float(phase_deg(highest_hz, length_m * velocity_tolerance, velocity_factor))
    left = limit_deg - drift
    need = float(cut_tolerance_m(max(left, 0.0) / 2, highest_hz, velocity_factor))
    return MatchedSet(cut + drift, cut, drift, need, left > 0)


def coded_lengths(
    shortest_m: ArrayLike, group: ArrayLike, resolution_m: float, tolerance_m: float, velocity_tolerance: float = 0.0
) -> Codes:
    """
    Lengths that tell the groups apart on an instrument: equal inside a group, and far enough from those of all others.

    Each group starts at the longest of its members' shortest lengths; groups in order of that length each keep a distance of the
    resolution, the tolerances of both cuts and the spread of the velocity over the length.

    Parameters
    ----------
    shortest_m [m]: least length of each jumper. group: number of its group. resolution_m [m]: of the instrument, `v / (2 B)`.
    tolerance_m [m]: of a cut. velocity_tolerance [1]: relative.

    Returns
    -------
    `Codes` with the length of each jumper. Source: own derivation.

    >>> coded_lengths([1.9, 2.0, 1.9, 2.6], [0, 0, 1, 2], 0.15, 0.01).length_m.round(3)
    array([2.07, 2.07, 1.9 , 2.6 ])
    """
    least, of = np.atleast_1d(np.asarray(shortest_m, float)), np.atleast_1d(np.asarray(group))
    if least.shape != of.shape or least.ndim != 1 or np.any(~(least > 0)) or not resolution_m > 0 or tolerance_m < 0:
        raise ValueError("a shortest length above 0 and a group for each jumper, a resolution above 0")
    names, inverse = np.unique(of, return_inverse=True)
    starts = np.array([least[inverse == n].max() for n in range(names.size)])
    lengths = np.zeros(names.size)
    last = -np.inf
    for n in np.argsort(starts, kind="stable"):
        apart = resolution_m + 2 * tolerance_m + 2 * velocity_tolerance * max(starts[n], last, 0.0)
        lengths[n] = max(starts[n], last + apart)
        last = float(lengths[n])
    ordered = np.sort(lengths)
    least_apart = float(np.diff(ordered).min()) if ordered.size > 1 else np.inf
    return Codes(lengths[inverse], least_apart, resolution_m)
