"""Many reflections of unknown phase: their distribution at one frequency, and the chance of a whole sweep, which is another thing."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["PassChance", "many_joint_percentile_gamma", "many_joint_share", "pass_chance"]

Array = NDArray[np.float64]
RADII = 2001
MOST_TERMS = 40
SEED = 20261127


class PassChance(NamedTuple):
    """Share of trials whose whole sweep passes, with the limits of its 95 % interval, and how many trials."""

    share: float
    low: float
    high: float
    trials: int


def many_joint_share(gamma: ArrayLike, at_most: ArrayLike) -> Array:
    """
    Share of all phases at which the sum of phasors stays at or below a size, at one frequency.

    `F_1` is a step, `F_2(R) = arccos((a^2 + b^2 - R^2) / (2 a b)) / pi`, and
    `F_n(R) = integral of arccos((rho^2 + a_n^2 - R^2) / (2 rho a_n)) / pi over dF_(n-1)(rho)`.

    Parameters
    ----------
    gamma [1]: sizes, one axis, two to forty of them. at_most [1]: R, any shape.

    Returns
    -------
    Shares, exact for two, else to about 1e-4. First order: echoes between joints are left out.

    Source: random flights (J. C. Kluyver 1906; G. N. Watson, Bessel Functions, 13.48), here by recursion.

    >>> many_joint_share([0.03, 0.04], [0.01, 0.05, 0.07]).round(4)
    array([0. , 0.5, 1. ])
    """
    a = np.sort(np.atleast_1d(np.asarray(gamma, float)))[::-1]
    if a.ndim != 1 or not 2 <= a.size <= MOST_TERMS or np.any(~(a >= 0)):
        raise ValueError(f"gamma holds the sizes of 2 to {MOST_TERMS} reflections")
    r = np.asarray(at_most, float)
    if np.any(~(r >= 0)):
        raise ValueError("at_most may not be negative")
    a = a[a > 0]
    if a.size < 2:
        return np.asarray((r >= (a[0] if a.size else 0.0)).astype(float))
    if a.size == 2:
        return _two(float(a[0]), float(a[1]), r)
    radii = np.linspace(0.0, float(a.sum()), RADII)
    middle = (radii[1:] + radii[:-1]) / 2
    seen = _two(float(a[0]), float(a[1]), radii)
    for one in a[2:]:
        seen = np.array([float(np.diff(seen) @ _two(float(one), middle, np.asarray(at))) for at in radii])
    return np.asarray(np.interp(r, radii, np.maximum.accumulate(seen), right=1.0))


def _two(a: float, b: float | Array, r: Array) -> Array:
    """Share of phases at which two phasors stay at or below r."""
    cosine = (a**2 + b**2 - r**2) / (2 * a * b)
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)) / np.pi)


def many_joint_percentile_gamma(gamma: ArrayLike, share: float) -> float:
    """
    Size of a sum of phasors that a share of all phases stays below, at one frequency.

    Never the chance of passing a sweep: see `pass_chance`.

    Parameters
    ----------
    gamma [1]: sizes, one axis. share [1]: p, above 0, at most 1.

    Returns
    -------
    |G|. Source: as `many_joint_share`, by bisection.

    >>> round(many_joint_percentile_gamma([0.03, 0.04], 0.5), 4)
    0.05
    """
    if not 0 < share <= 1:
        raise ValueError("share lies above 0, at most 1")
    a = np.atleast_1d(np.asarray(gamma, float))
    low, high = 0.0, float(a.sum())
    if share == 1.0:
        return high
    grid = np.linspace(low, high, 4001)
    seen = many_joint_share(a, grid)
    return float(np.interp(share, seen, grid))


def pass_chance(
    gamma: ArrayLike,
    place_m: ArrayLike,
    place_tolerance_m: ArrayLike,
    velocity_m_per_s: float,
    low_hz: ArrayLike,
    high_hz: ArrayLike,
    limit_gamma: float,
    trials: int = 4000,
    points: int = 401,
    seed: int = SEED,
) -> PassChance:
    """
    Chance that a whole sweep stays at or below a limit, with lengths anywhere in their tolerances and joints of any kind.

    Each trial draws the places and a phase of each joint once, and takes the largest |G| over the band. As soon as the band is wider
    than `v / (2 L)` nearly every trial meets the worst case: the share falls to 0 or 1 with it.

    Parameters
    ----------
    gamma [1], place_m, place_tolerance_m [m]: of each joint, one axis. velocity_m_per_s [m/s]. low_hz, high_hz [Hz]: of one band, or of
    several that must all pass.
    limit_gamma [1]. trials, points of a band, seed: of the draw.

    Returns
    -------
    `PassChance`, the same for the same seed. First order. Source: Monte Carlo; interval by Wilson's score.

    >>> found = pass_chance([0.04, 0.04], [0.0, 30.0], [0.0, 0.1], 2.5e8, 1.71e9, 1.785e9, 0.075)
    >>> found.share
    0.0
    """
    columns = [np.atleast_1d(np.asarray(x, float)) for x in (gamma, place_m, place_tolerance_m)]
    if len({c.shape for c in columns if c.size > 1}) > 1:
        raise ValueError("gamma, place_m and place_tolerance_m hold one value a joint")
    a, place, off = np.broadcast_arrays(*columns)
    low, high = (np.atleast_1d(np.asarray(x, float)) for x in (low_hz, high_hz))
    if a.ndim != 1 or np.any(~(a >= 0)) or np.any(~(off >= 0)):
        raise ValueError("gamma, place_m and place_tolerance_m hold one value a joint, none of them negative")
    bands = low.shape == high.shape and low.ndim == 1 and low.size > 0 and bool(np.all((low > 0) & (low <= high)))
    if not (velocity_m_per_s > 0 and bands and trials >= 1 and points >= 2 and limit_gamma >= 0):
        raise ValueError("velocity above 0, a band, a limit, one trial and two points at least")
    rng = np.random.default_rng(seed)
    f = np.unique(np.concatenate([np.linspace(one, other, points) for one, other in zip(low, high, strict=True)]))
    worst = np.zeros(trials)
    step = max(1, 4_000_000 // (f.size * a.size))
    for first in range(0, trials, step):
        n = min(step, trials - first)
        at = place + rng.uniform(-1, 1, (n, a.size)) * off
        phase = rng.uniform(0, 2 * np.pi, (n, a.size))
        total = np.zeros((n, f.size), np.complex128)
        for k in range(a.size):
            total += a[k] * np.exp(1j * (phase[:, k, None] - 4 * np.pi / velocity_m_per_s * f * at[:, k, None]))
        worst[first : first + n] = np.abs(total).max(axis=1)
    good = int((worst <= limit_gamma * (1 + 1e-12)).sum())
    z, p = 1.959964, good / trials
    middle, spread = p + z**2 / (2 * trials), z * np.sqrt(p * (1 - p) / trials + z**2 / (4 * trials**2))
    scale = 1 + z**2 / trials
    return PassChance(p, float(max((middle - spread) / scale, 0.0)), float(min((middle + spread) / scale, 1.0)), trials)
