"""What an acceptance sweep will show: return loss with a load or the antenna, cable loss with a short, the ripple to expect."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.inline import InlineBounds
from upmast.rf.joint import joint_gamma
from upmast.rf.reflection import (
    add_worst,
    gamma_from_return_loss,
    reflection_interval,
    return_loss_db,
    take_worst,
    two_port_bound,
)

Floats = NDArray[np.float64]


class Expected(NamedTuple):
    """Return loss that a sweep may show at each frequency, dB: never below `least_db`, never above `greatest_db`."""

    least_db: Floats
    greatest_db: Floats


class ShortReading(NamedTuple):
    """One-way cable loss read from a sweep with a short, dB, and over how many whole ripple periods it was averaged (0: none fits)."""

    loss_db: float
    periods: int


def expected_return_loss_db(
    frequency_hz: ArrayLike,
    joint_return_loss_db: Sequence[float],
    line_loss_db: Sequence[ArrayLike],
    end_return_loss_db: ArrayLike,
    joint_reference_hz: Sequence[float] | None = None,
    end_at_most: bool = True,
    two_ports: Sequence[InlineBounds | None] | None = None,
) -> Expected:
    """
    Return loss over frequency that a line within its specifications can show, with a load, an antenna or a short at the end.

    The upper envelope of |G| is the exact worst case at each frequency: no sweep of a sound line goes above it.

    Parameters
    ----------
    frequency_hz [Hz]: shape (nf,).
    joint_return_loss_db [dB]: least return loss of each joint, test port first.
    line_loss_db [dB]: one-way loss of the line behind each joint, each a number or shape (nf,).
    end_return_loss_db [dB]: of the load, the antenna port (its limit) or the short (0); a number or shape (nf,).
    joint_reference_hz [Hz]: where each joint's value holds; its reactance then goes with f. None: the value holds
        at every frequency.
    end_at_most: the end is known as a limit only (load, antenna); False for a short, whose reflection is what it is.
    two_ports: behind each joint the bounds of a two-port that stands there in place of a line, or None.

    Returns
    -------
    Expected(least_db, greatest_db), each of shape (nf,). Joints count as limits: their size may be anything below. With two-ports the
    lower one is a bound (`two_port_bound`), the upper one infinite: what they let through is known at most.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    if joint_reference_hz is None:
        joints = [gamma_from_return_loss(rl) for rl in joint_return_loss_db]
    else:
        pairs = zip(joint_return_loss_db, joint_reference_hz, strict=True)
        joints = [joint_gamma(f, rl, f_ref) for rl, f_ref in pairs]
    end = np.broadcast_to(gamma_from_return_loss(end_return_loss_db), f.shape)
    if two_ports is not None and any(one is not None for one in two_ports):
        worst = end
        for joint, loss, between in zip(reversed(joints), reversed(line_loss_db), reversed(two_ports), strict=True):
            worst = worst * 10 ** (-np.asarray(loss, dtype=np.float64) / 10)
            if between is not None:
                worst = two_port_bound(worst, between.near, between.far, between.least_db)
            worst = add_worst(joint, worst)
        return Expected(return_loss_db(worst), np.full(f.shape, np.inf))
    seen = reflection_interval(joints, line_loss_db, end, 0.0 if end_at_most else None, joints_at_most=True)
    return Expected(return_loss_db(seen.greatest), return_loss_db(seen.least))


def band_worst_db(frequency_hz: ArrayLike, return_loss_db: ArrayLike, low_hz: float, high_hz: float) -> Floats:
    """
    Least return loss within a band, edges included, dB; shape (..., nf) gives (...).

    Raises
    ------
    ValueError
        If no point lies in the band: nothing can be said about it.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    inside = (f >= low_hz) & (f <= high_hz)
    if not inside.any():
        raise ValueError(f"no frequency between {low_hz:.6g} Hz and {high_hz:.6g} Hz")
    return np.asarray(np.min(np.asarray(return_loss_db, dtype=np.float64)[..., inside], axis=-1))


def cable_loss_db(return_loss_db: ArrayLike) -> Floats:
    """
    One-way cable loss from the return loss with a short at the end, dB: half of the mean *in dB*, over the last axis.

    Exact over whole ripple periods for lossless joints, whatever their size, as long as |S11| is below the returned level.
    A mean of powers is biased. A lossy joint adds `through_reading_db`.
    Source: Jensen's formula of complex analysis; own derivation, checked by numerical means over a turn.

    >>> float(cable_loss_db([4.0, 4.4, 4.2]))
    2.1
    """
    return np.asarray(np.mean(np.asarray(return_loss_db, dtype=np.float64), axis=-1) / 2.0)


def short_reading(frequency_hz: ArrayLike, return_loss_db: ArrayLike, delay_s: float) -> ShortReading:
    """
    Cable loss from a sweep with a short, averaged over as many whole ripple periods 1/(2 tau) as the sweep holds.

    Parameters
    ----------
    frequency_hz [Hz], return_loss_db [dB]: even grid, shape (nf,).
    delay_s [s]: one-way delay from the first joint to the short.

    Returns
    -------
    ShortReading; with `periods` 0 the mean runs over the whole sweep and may be off by the ripple. The periods are taken
    from the middle of the sweep, so the value belongs to its middle frequency.
    """
    f, rl = np.asarray(frequency_hz, dtype=np.float64), np.asarray(return_loss_db, dtype=np.float64)
    if f.ndim != 1 or f.shape != rl.shape or f.size < 2 or not np.all(np.diff(f) > 0):
        raise ValueError("frequency_hz and return_loss_db hold one value each per point, frequencies rising")
    if not delay_s > 0:
        raise ValueError("delay_s lies above 0")
    step = (f[-1] - f[0]) / (f.size - 1)
    per_period = 1.0 / (2.0 * delay_s * step)
    # A sample stands for one step, so nf samples cover nf steps.
    periods = int(np.floor(f.size / per_period + 1e-9))
    take = f.size if periods == 0 else max(1, min(f.size, round(periods * per_period)))
    first = (f.size - take) // 2
    return ShortReading(float(cable_loss_db(rl[first : first + take])), periods)


def short_ripple_db(joint_return_loss_db: ArrayLike, loss_db: ArrayLike) -> Expected:
    """
    Extremes of the return loss with a short behind one lossless joint and a line, dB.

    M = 10^(-2 A/20) is the returned level; |G| lies between |r - M|/(1 - r M) and (r + M)/(1 + r M).

    >>> low, high = short_ripple_db(25.0, 2.1)
    >>> round(float(low), 3), round(float(high), 3)
    (3.738, 4.724)
    """
    r = gamma_from_return_loss(joint_return_loss_db)
    back = gamma_from_return_loss(2.0 * np.asarray(loss_db, dtype=np.float64))
    return Expected(return_loss_db(add_worst(r, back)), return_loss_db(take_worst(r, back)))
