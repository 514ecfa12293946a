"""
The best length of a jumper for any number of joints and bands, with a proof: branch and bound over the length.

Joint i stands at `p_i + q_i L` from the radio and reflects `a_i exp(j theta_i)`, its size with the loss of the line before it. Over a
band and over the tolerance of the cut the worst of `g = |sum|^2` counts; the velocity tolerance widens each band. First order: echoes
between joints are left out, which is right for joints of 20 dB and better to some hundredths of a decibel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import SPEED_OF_LIGHT_M_PER_S

__all__ = ["Certificate", "Joints", "certified_length", "squared_sum", "worst_squared"]

Array = NDArray[np.float64]
GAP_DB = 0.05
FIRST_STEP_RAD, LEAST_STEP_RAD = 0.8, 0.12
FINE_SHARE, FINEST_STEP_RAD = 0.002, 0.004
FIRST_CELLS, MOST_FIRST = 16, 20_000
MOST_POINTS = 400_000_000  # cells times samples of one level: bounds the time
CHUNK_POINTS = 500_000  # of them at once: bounds the memory
MOST_LEVELS = 24


@dataclass(frozen=True, slots=True, eq=False)
class Joints:
    """
    Joints of known phase and the bands in which they count.

    fixed_m [j]: p, share [j]: q (0 before the jumper, 1 behind it). gamma [j] or [j, b]: a. phase_rad [j]: theta.
    low_hz, high_hz [b]. velocity_factor; tolerance_m of the cut; velocity_tolerance, relative.
    """

    fixed_m: Array
    share: Array
    gamma: Array
    phase_rad: Array
    low_hz: Array
    high_hz: Array
    velocity_factor: float
    tolerance_m: float = 0.0
    velocity_tolerance: float = 0.0

    def __post_init__(self) -> None:
        p, q, theta = (np.atleast_1d(np.asarray(x, float)) for x in (self.fixed_m, self.share, self.phase_rad))
        low, high = (np.atleast_1d(np.asarray(x, float)) for x in (self.low_hz, self.high_hz))
        a = np.asarray(self.gamma, float)
        a = a[:, None] if a.ndim == 1 else a
        if a.shape not in ((p.size, 1), (p.size, low.size)):
            raise ValueError("two joints or more, each with a reflection of its own, or one for each band")
        a = np.broadcast_to(a, (p.size, low.size))
        if not p.shape == q.shape == theta.shape or p.size < 2 or low.shape != high.shape or not low.size:
            raise ValueError("two joints or more, each with place, share and phase; bands with two edges each")
        if not (np.all(low > 0) and np.all(high >= low) and np.all((a >= 0) & (a < 1)) and np.all((q >= 0) & (q <= 1))):
            raise ValueError("bands above 0 Hz, reflections from 0 to below 1, shares from 0 to 1")
        if not (0 < self.velocity_factor <= 1 and self.tolerance_m >= 0 and 0 <= self.velocity_tolerance < 1):
            raise ValueError("velocity_factor above 0, at most 1; tolerances not negative")
        for name, value in zip(
            ("fixed_m", "share", "phase_rad", "low_hz", "high_hz", "gamma"), (p, q, theta, low, high, a), strict=True
        ):
            object.__setattr__(self, name, value)

    @property
    def velocity_m_per_s(self) -> float:
        return self.velocity_factor * SPEED_OF_LIGHT_M_PER_S.value

    def widened(self, b: int) -> tuple[float, float]:
        """Edges of a band with the velocity tolerance put on the frequency."""
        return (
            float(self.low_hz[b]) / (1 + self.velocity_tolerance),
            float(self.high_hz[b]) / (1 - self.velocity_tolerance),
        )


class Certificate(NamedTuple):
    """
    What is proven of the best length.

    length_m; worst_gamma: no worse at that length; least_gamma: no length of the range is better; gap_db between the two;
    closed: the gap is as asked; governing: the band whose worst counts; cells: how many were looked at.
    """

    length_m: float
    worst_gamma: float
    least_gamma: float
    gap_db: float
    closed: bool
    governing: int
    cells: int


def squared_sum(joints: Joints, length_m: ArrayLike, frequency_hz: ArrayLike, band: int = 0) -> Array:
    """
    `g = |sum_i a_i exp(j (theta_i - 4 pi f (p_i + q_i L) / v))|^2`.

    Parameters
    ----------
    length_m [m], frequency_hz [Hz]: broadcast. band: whose reflections.

    Source: Pozar, Microwave Engineering: small reflections.

    >>> two = Joints([0.0, 0.0], [0.0, 1.0], [0.1, 0.1], [0.0, 0.0], [1e9], [1e9], 1.0)
    >>> quarter = 299_792_458 / 1e9 / 4
    >>> squared_sum(two, [0.0, quarter], 1e9).round(12)
    array([0.04, 0.  ])
    """
    length, f = np.broadcast_arrays(np.asarray(length_m, float), np.asarray(frequency_hz, float))
    k = 4 * np.pi / joints.velocity_m_per_s * f
    total = np.zeros(length.shape, np.complex128)
    for p, q, a, theta in zip(joints.fixed_m, joints.share, joints.gamma[:, band], joints.phase_rad, strict=True):
        total += a * np.exp(1j * (theta - k * (p + q * length)))
    return np.asarray(total.real**2 + total.imag**2)


def worst_squared(joints: Joints, length_m: ArrayLike, step_rad: float = LEAST_STEP_RAD) -> tuple[Array, Array]:
    """
    Worst of `g` over bands and tolerances for each length: from below by samples, and from above with what lies between them.

    Parameters
    ----------
    length_m [m]: shape (n,). step_rad [rad]: phase between two samples.

    Returns
    -------
    lower, upper (n,): `max(samples) <= worst <= max(samples) + M2f df^2 / 8 + M2e de^2 / 8`.
    """
    length = np.atleast_1d(np.asarray(length_m, float))
    lower, upper = np.zeros(length.size), np.zeros(length.size)
    for b in range(joints.low_hz.size):
        f, e, more = _samples(joints, b, float(length.max(initial=0.0)), step_rad)
        worst = squared_sum(joints, length[:, None, None] + e[:, None], f, b).max(axis=(1, 2))
        lower = np.maximum(lower, worst)
        upper = np.maximum(upper, worst + more)
    return lower, upper


def _samples(joints: Joints, b: int, longest_m: float, step_rad: float) -> tuple[Array, Array, float]:
    """Frequencies, cut errors, and what the worst may lie above the samples."""
    v, (low, high) = joints.velocity_m_per_s, joints.widened(b)
    reach = longest_m + joints.tolerance_m
    place = joints.fixed_m + joints.share * reach
    per_hz = 4 * math.pi / v * float(place.max() - min(0.0, float(place.min())))
    per_m = 4 * math.pi / v * high * float(joints.share.max() - joints.share.min())
    nf = math.ceil(per_hz * (high - low) / step_rad) + 1 if high > low else 1
    ne = math.ceil(per_m * 2 * joints.tolerance_m / step_rad) + 1 if joints.tolerance_m > 0 else 1
    f = np.linspace(low, high, nf)
    e = np.linspace(-joints.tolerance_m, joints.tolerance_m, ne) if ne > 1 else np.zeros(1)
    df = (high - low) / max(nf - 1, 1)
    de = 2 * joints.tolerance_m / max(ne - 1, 1)
    slopes_f = 4 * math.pi / v * place
    curve_f = _curvature(joints.gamma[:, b], slopes_f)
    curve_e = _curvature(joints.gamma[:, b], 4 * math.pi / v * high * joints.share)
    return f, e, curve_f * df**2 / 8 + curve_e * de**2 / 8


def _curvature(a: Array, slope: Array) -> float:
    """`M2 = sum_ij a_i a_j (k_i - k_j)^2`: the largest second derivative."""
    apart = slope[:, None] - slope[None, :]
    return float((a[:, None] * a[None, :] * apart**2).sum())


def certified_length(
    joints: Joints, least_m: float, most_m: float, gap_db: float = GAP_DB, most_points: int = MOST_POINTS
) -> Certificate:
    """
    The best length of a range, with a proven bound of how much better any other could be.

    Cells of lengths, all of a level at once. Lower bound of a cell: the largest over samples of `g - |dg/dL| h - M2 h^2 / 2`; upper
    bound: the worst at the middle of the most promising cell, with what lies between fine samples. Cells that can't beat the best by the gap are dropped, the
    others halved, with finer samples.

    Parameters
    ----------
    least_m, most_m [m]: the range; least_m not below the tolerance. gap_db [dB]: asked between the bounds of |G|.
    most_points: cells times samples of one level; beyond it the search stops and says how far it came.

    Returns
    -------
    `Certificate`.

    Source: own derivation; checked against fine random searches and, for two joints, against `upmast.rf.length.best_length`.

    >>> two = Joints([0.0, 0.0], [0.0, 1.0], [0.1, 0.1], [0.0, 0.0], [925e6], [960e6], 0.82, 0.004, 0.004)
    >>> found = certified_length(two, 0.4, 2.0)
    >>> found.closed, round(found.length_m, 3), round(found.worst_gamma / found.least_gamma, 3)
    (True, 0.456, 1.003)
    """
    if not (math.isfinite(most_m) and 0 <= least_m <= most_m) or least_m < joints.tolerance_m:
        raise ValueError("the range goes from the tolerance of the cut or more to its upper end")
    if not gap_db > 0:
        raise ValueError("gap_db lies above 0")
    # cells of about a radian each: in wider ones the bound says nothing
    fastest = 4 * math.pi / joints.velocity_m_per_s * max(joints.widened(b)[1] for b in range(joints.low_hz.size))
    turn = fastest * float(joints.share.max() - joints.share.min()) * (most_m - least_m)
    first_cells = min(max(math.ceil(turn), FIRST_CELLS), MOST_FIRST)
    edges = np.linspace(least_m, most_m, first_cells + 1)
    middle, half = (edges[:-1] + edges[1:]) / 2, np.full(first_cells, (most_m - least_m) / 2 / first_cells)
    share = 10 ** (-gap_db / 10)  # of g
    best, at, below, cells = math.inf, float(least_m), math.inf, 0
    closed = False
    known = np.zeros(middle.size)  # a cell is never below its parent
    for level in range(1, MOST_LEVELS + 1):
        step = max(FIRST_STEP_RAD / level, LEAST_STEP_RAD)
        points = sum(
            f.size * e.size for f, e, _ in (_samples(joints, b, most_m, step) for b in range(joints.low_hz.size))
        )
        if middle.size * points > most_points:
            break
        cells += middle.size
        lower, seen = _bounds(joints, middle, half, step, best * share)
        lower = np.maximum(lower, known)
        first = int(np.argmin(seen))
        if seen[first] < best * share**0.25:
            # only the most promising cell is worth fine samples, and only where it brings something
            top = _finely(joints, float(middle[first]), float(seen[first]))
            if top < best:
                best, at = top, float(middle[first])
        keep = lower < best * share
        below = min(below, float(lower[~keep].min(initial=math.inf)))
        if not keep.any():
            closed = True
            break
        middle, half, lower = middle[keep], half[keep] / 2, lower[keep]
        middle = np.concatenate([middle - half, middle + half])
        half, known = np.concatenate([half, half]), np.concatenate([lower, lower])
    if not closed:
        below = min(below, float(known.min(initial=math.inf)))
    top = best
    least = min(max(below, 0.0), top)
    gap = 10 * math.log10(top / least) if least > 0 else math.inf
    worst = [
        float(squared_sum(joints, at + e[:, None], f, b).max())
        for b in range(joints.low_hz.size)
        for f, e, _ in [_samples(joints, b, at, LEAST_STEP_RAD)]
    ]
    return Certificate(at, math.sqrt(top), math.sqrt(least), gap, gap <= gap_db + 1e-9, int(np.argmax(worst)), cells)


def _bounds(joints: Joints, middle: Array, half: Array, step_rad: float, limit: float) -> tuple[Array, Array]:
    """
    Lower bound of each cell, and the worst of the samples at its middle, over all bands.

    A cell whose lower bound reaches `limit` in one band is not looked at in the others; its samples then count as infinite.
    """
    lower, seen = np.zeros(middle.size), np.zeros(middle.size)
    alive = np.arange(middle.size)
    for b in range(joints.low_hz.size):
        if not alive.size:
            break
        f, e, _ = _samples(joints, b, float((middle + half)[alive].max()), step_rad)
        size = max(1, CHUNK_POINTS // (f.size * e.size))
        for first in range(0, alive.size, size):
            some = alive[first : first + size]
            low, top = _cell(joints, b, middle[some], half[some], f, e)
            lower[some] = np.maximum(lower[some], low)
            seen[some] = np.maximum(seen[some], top)
        dead = lower[alive] >= limit
        seen[alive[dead]] = math.inf
        alive = alive[~dead]
    return np.asarray(np.maximum(lower, 0.0)), seen


def _cell(joints: Joints, b: int, middle: Array, half: Array, f: Array, e: Array) -> tuple[Array, Array]:
    """Lower bound and largest sample of some cells in one band."""
    k = 4 * math.pi / joints.velocity_m_per_s * f
    length = middle[:, None, None] + e[:, None]
    total = np.zeros((middle.size, e.size, f.size), np.complex128)
    slope = np.zeros_like(total)
    for p, q, a, theta in zip(joints.fixed_m, joints.share, joints.gamma[:, b], joints.phase_rad, strict=True):
        if q == 0:
            total += a * np.exp(1j * (theta - k * p))
            continue
        part = a * np.exp(1j * (theta - k * (p + q * length)))
        total += part
        slope += (-1j * q * k) * part
    g = total.real**2 + total.imag**2
    dg = 2 * np.abs(total.real * slope.real + total.imag * slope.imag)
    curve = _curvature(joints.gamma[:, b], 4 * math.pi / joints.velocity_m_per_s * float(f[-1]) * joints.share)
    return (g - dg * half[:, None, None]).max(axis=(1, 2)) - curve * half**2 / 2, g.max(axis=(1, 2))


def _finely(joints: Joints, length_m: float, squared: float) -> float:
    """Upper bound of the worst at one length, sampled so that what lies between the samples is a fifth of a per cent of it."""
    total = float(joints.gamma.sum(axis=0).max())
    step = math.sqrt(4 * FINE_SHARE * max(squared, 1e-12)) / max(total, 1e-12)
    return float(worst_squared(joints, [length_m], min(max(step, FINEST_STEP_RAD), FIRST_STEP_RAD))[1][0])
