"""First-order decay driven by a stroke: solved exactly for a wave that is a cubic between two instants."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.earth.surge import Wave, time_of_peak_s

__all__ = ["relax", "stroke_instants_s"]

Array = NDArray[np.float64]
_SERIES = 20  # terms of the power series below 1: 1 / 20! is beyond double precision
_FRONT_PEAKS = 4.0  # the wave is flat enough for steps that grow from four times the peak time on


def stroke_instants_s(form: Wave, duration_s: float = 1e-3, front_steps: int = 400) -> Array:
    """
    Instants at which a stroke is followed: even steps over the front and the peak, growing steps over the tail.

    Parameters
    ----------
    form: of `wave`. duration_s [s]: from the foot of the wave, at least five times the time of its peak.
    front_steps: to four times the time of the peak; 400 follow the wave within 1e-5.

    Returns
    -------
    Instants [s], ascending from 0, shape (t,).

    >>> from upmast.earth.surge import wave
    >>> t = stroke_instants_s(wave("first_positive"))
    >>> float(t[0]), float(t[-1]), t.size
    (0.0, 0.001, 601)
    """
    peak_s = time_of_peak_s(form)
    if not (math.isfinite(duration_s) and duration_s >= 5 * peak_s):
        raise ValueError(f"duration must be at least five times the time of the peak, {5 * peak_s:.3g} s")
    if not 10 <= front_steps <= 100_000:
        raise ValueError("the front takes 10 to 100000 steps")
    knee = _FRONT_PEAKS * peak_s
    tail = np.geomspace(knee, duration_s, front_steps // 2 + 1)[1:]
    return np.concatenate([np.linspace(0.0, knee, front_steps + 1), tail])


def _phi(x: Array) -> list[Array]:
    """phi_1 to phi_4 of x <= 0: phi_0 = exp(x), phi_(k+1) = (phi_k - 1 / k!) / x, by power series near 0."""
    near = x > -1.0
    small, large = np.where(near, x, 0.0), np.where(near, -1.0, x)
    by_recurrence, phi = [], np.exp(large)
    for k in range(4):
        phi = (phi - 1 / math.factorial(k)) / large
        by_recurrence.append(phi)
    found = []
    for k in range(1, 5):
        series = np.zeros_like(small)
        for j in range(_SERIES, -1, -1):
            series = series * small + 1 / math.factorial(j + k)
        found.append(np.where(near, series, by_recurrence[k - 1]))
    return found


def relax(rate_per_s: ArrayLike, time_s: Array, drive: Array, drive_slope: Array) -> Array:
    """
    Solution of `z' = -lambda z + u(t)` that starts from 0.

    Between two instants u is the cubic with the given values and slopes; for it the step is exact whatever lambda is:
    `z(t + h) = exp(-lambda h) z + sum_k a_k k! h^(k + 1) phi_(k + 1)(-lambda h)`, `u = sum_k a_k s^k`.

    Parameters
    ----------
    rate_per_s [1/s]: lambda, any shape, not negative. time_s [s]: ascending, shape (t,). drive, drive_slope: u and u', shape (t,).

    Returns
    -------
    z in the shape of lambda with t behind it; in the unit of u times second.

    Source: exponential integrators, textbook; own derivation. Checked against a stiff solver in the tests.

    >>> t = np.linspace(0.0, 1.0, 3)
    >>> relax(2.0, t, np.ones(3), np.zeros(3)).round(4)  # (1 - exp(-2 t)) / 2
    array([0.    , 0.3161, 0.4323])
    """
    rate = np.asarray(rate_per_s, float)
    if not np.all((rate >= 0) & (rate < np.inf)):
        raise ValueError("rates can't be negative and must be finite")
    h = np.diff(time_s)
    if not np.all(h > 0):
        raise ValueError("instants must ascend")
    u0, u1, d0, d1 = drive[:-1], drive[1:], drive_slope[:-1] * h, drive_slope[1:] * h
    # cubic in s / h
    cubic = (u0, d0, 3 * (u1 - u0) - 2 * d0 - d1, 2 * (u0 - u1) + d0 + d1)
    x = -rate[..., None] * h
    push = sum(a * math.factorial(k) * h * phi for k, (a, phi) in enumerate(zip(cubic, _phi(x), strict=True)))
    keep, state = np.exp(x), np.asarray(push)
    # each step is z -> keep z + push; steps are composed in pairs, fours, eights, so that no loop runs over time
    reach = 1
    while reach < h.size:
        state = np.concatenate(
            [state[..., :reach], state[..., reach:] + keep[..., reach:] * state[..., :-reach]], axis=-1
        )
        keep = np.concatenate([keep[..., :reach], keep[..., reach:] * keep[..., :-reach]], axis=-1)
        reach *= 2
    return np.concatenate([np.zeros((*state.shape[:-1], 1)), state], axis=-1)
