"""Reflection of a chain of joints and lines: conversions, exact worst and best case, two-port bound, percentile."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


class Interval(NamedTuple):
    """Least and greatest |G| that can be seen; both reachable."""

    least: Floats
    greatest: Floats


def _magnitude(value: ArrayLike, name: str) -> Floats:
    gamma = np.abs(np.asarray(value))
    if not np.all(gamma <= 1 + 1e-12):
        raise ValueError(f"{name}: the size of a passive reflection lies between 0 and 1")
    return np.asarray(np.minimum(gamma, 1.0), dtype=np.float64)


def _not_negative(value: ArrayLike, name: str) -> Floats:
    out = np.asarray(value, dtype=np.float64)
    if not np.all(out >= 0):
        raise ValueError(f"{name} may not be negative")
    return out


def gamma_from_return_loss(return_loss_db: ArrayLike) -> Floats:
    """
    Size of a reflection from its return loss: |G| = 10^(-RL/20).

    Parameters
    ----------
    return_loss_db [dB]: positive, any shape; infinite for no reflection.

    Source: IEC 60050-702, return loss (definition).

    >>> round(float(gamma_from_return_loss(13.979)), 4)
    0.2
    """
    return np.asarray(10.0 ** (-_not_negative(return_loss_db, "return_loss_db") / 20.0))


def gamma_from_vswr(vswr: ArrayLike) -> Floats:
    """
    Size of a reflection from the voltage standing wave ratio: |G| = (S - 1)/(S + 1), S >= 1, any shape.

    Source: definition; Pozar, Microwave Engineering, chapter 2.

    >>> round(float(gamma_from_vswr(1.5)), 6)
    0.2
    """
    s = np.asarray(vswr, dtype=np.float64)
    if not np.all(s >= 1):
        raise ValueError("vswr is 1 or more")
    return np.asarray(1.0 - 2.0 / (s + 1.0))


def return_loss_db(gamma: ArrayLike) -> Floats:
    """
    Return loss, dB: RL = -20 log10 |G|. `gamma` may be complex, any shape; no reflection gives infinity.

    Source: IEC 60050-702, return loss (definition).

    >>> round(float(return_loss_db(0.2)), 3)
    13.979
    """
    with np.errstate(divide="ignore"):
        return np.asarray(-20.0 * np.log10(np.abs(np.asarray(gamma)))) + 0.0


def vswr(gamma: ArrayLike) -> Floats:
    """
    Voltage standing wave ratio: S = (1 + |G|)/(1 - |G|). `gamma` may be complex; total reflection gives infinity.

    >>> round(float(vswr(0.2)), 6)
    1.5
    """
    r = _magnitude(gamma, "gamma")
    with np.errstate(divide="ignore"):
        return np.asarray((1.0 + r) / (1.0 - r))


def vswr_from_return_loss(return_loss_db: ArrayLike) -> Floats:
    """Voltage standing wave ratio of a return loss in dB, any shape."""
    return vswr(gamma_from_return_loss(return_loss_db))


def return_loss_from_vswr_db(vswr: ArrayLike) -> Floats:
    """
    Return loss of a voltage standing wave ratio, dB, any shape.

    >>> round(float(return_loss_from_vswr_db(1.2)), 2)
    20.83
    """
    return return_loss_db(gamma_from_vswr(vswr))


def mismatch_loss_db(gamma: ArrayLike) -> Floats:
    """
    Power not delivered because it is reflected, dB: ML = -10 log10(1 - |G|^2). Any shape.

    >>> round(float(mismatch_loss_db(0.5)), 3)
    1.249
    """
    r = _magnitude(gamma, "gamma")
    with np.errstate(divide="ignore"):
        return np.asarray(-10.0 * np.log10((1.0 - r) * (1.0 + r))) + 0.0


def mismatch_uncertainty_db(gamma_source: ArrayLike, gamma_load: ArrayLike) -> tuple[Floats, Floats]:
    """
    Limits of the change of a transfer between two ports of unknown phase, dB: 20 log10(1 +- |Gs||Gl|), as (upper, lower).

    Source: definition; Pozar, Microwave Engineering, chapter 4.

    >>> up, down = mismatch_uncertainty_db(0.2, 1 / 11)
    >>> round(float(up), 4), round(float(down), 4)
    (0.1565, -0.1594)
    """
    product = _magnitude(gamma_source, "gamma_source") * _magnitude(gamma_load, "gamma_load")
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(1.0 + product)), np.asarray(20.0 * np.log10(1.0 - product))


def mismatch_uncertainty_percent(gamma_source: ArrayLike, gamma_load: ArrayLike) -> tuple[Floats, Floats]:
    """
    The same limits in per cent of power: 100 ((1 +- |Gs||Gl|)^2 - 1), as (upper, lower).

    >>> up, down = mismatch_uncertainty_percent(0.2, 1 / 11)
    >>> round(float(up), 2), round(float(down), 2)
    (3.67, -3.6)
    """
    product = _magnitude(gamma_source, "gamma_source") * _magnitude(gamma_load, "gamma_load")
    return np.asarray(100.0 * ((1.0 + product) ** 2 - 1.0)), np.asarray(100.0 * ((1.0 - product) ** 2 - 1.0))


def add_worst(gamma_a: ArrayLike, gamma_b: ArrayLike) -> Floats:
    """
    Greatest reflection of a lossless joint `a` before a reflection `b` of free phase: (a + b)/(1 + a b).

    Standing wave ratios multiply: S = S_a S_b. Any shapes that broadcast.
    Source: own derivation from G = a + (1 - a^2) b/(1 + a b); checked by search over phases.
    """
    a, b = _magnitude(gamma_a, "gamma_a"), _magnitude(gamma_b, "gamma_b")
    return np.asarray((a + b) / (1.0 + a * b))


def take_worst(gamma_a: ArrayLike, gamma_b: ArrayLike) -> Floats:
    """Least reflection of a lossless joint `a` before a reflection `b` of free phase: |a - b|/(1 - a b)."""
    a, b = _magnitude(gamma_a, "gamma_a"), _magnitude(gamma_b, "gamma_b")
    rest = 1.0 - a * b
    return np.asarray(np.where(rest > 0, np.abs(a - b) / np.where(rest > 0, rest, 1.0), 0.0))


def two_port_bound(
    gamma_behind: ArrayLike, gamma_near: ArrayLike, gamma_far: ArrayLike, insertion_loss_db: ArrayLike
) -> Floats:
    """
    Upper bound of the reflection seen into a lossy two-port: |S11| + |S21 S12| G/(1 - |S22| G).

    A bound, not always reached. For arrestors, combiners, bypassed amplifiers. Any shapes that broadcast; never above 1.

    Parameters
    ----------
    gamma_behind: largest |G| behind the part.
    gamma_near, gamma_far: bounds of |S11| and |S22|.
    insertion_loss_db [dB]: least loss, one way, same in both directions.
    """
    g = _magnitude(gamma_behind, "gamma_behind")
    near, far = _magnitude(gamma_near, "gamma_near"), _magnitude(gamma_far, "gamma_far")
    through = 10.0 ** (-_not_negative(insertion_loss_db, "insertion_loss_db") / 10.0)
    rest = 1.0 - far * g
    behind = np.where(rest > 0, through * g / np.where(rest > 0, rest, 1.0), 1.0)
    return np.asarray(np.minimum(near + behind, 1.0))


def _by_joint(value: ArrayLike | Sequence[ArrayLike], name: str) -> list[Floats]:
    """Joints as list: a sequence of arrays, or one array with the joints on the last axis."""
    if isinstance(value, np.ndarray):
        if value.ndim == 0:
            raise ValueError(f"{name} holds one value per joint: a sequence, or an array with joints on the last axis")
        return [np.asarray(value[..., i], dtype=np.float64) for i in range(value.shape[-1])]
    if not isinstance(value, Sequence):
        raise ValueError(f"{name} holds one value per joint: a sequence, or an array with joints on the last axis")
    return [np.asarray(item, dtype=np.float64) for item in value]


def reflection_interval(
    joint_gamma: ArrayLike | Sequence[ArrayLike],
    line_loss_db: ArrayLike | Sequence[ArrayLike],
    end_gamma: ArrayLike,
    end_least_gamma: ArrayLike | None = None,
    joints_at_most: bool = False,
) -> Interval:
    """
    Exact least and greatest reflection at the test port over all phases of the joints and of the end.

    From the far end: M = |G_end|; along each line M = M 10^(-2 A_i/20); at each joint M = r_i (+) M with
    a (+) b = (a + b)/(1 + a b). The least value m becomes 0 where r_i lies in [m, M], else the nearer end of it.

    Parameters
    ----------
    joint_gamma: |S11| of each lossless joint, from the test port to the far end. A sequence of arrays, or one array
        with the joints on its last axis; the rest broadcasts (scenarios, frequencies).
    line_loss_db [dB]: one-way loss of the line behind each joint, in the same order; 0 where none follows.
    end_gamma: |G| of the far end.
    end_least_gamma: least |G| of the far end; None means "equal to end_gamma", 0 means "known as a bound only".
    joints_at_most: joints are bounds (any size up to joint_gamma), not known sizes.

    Returns
    -------
    Interval(least, greatest).

    Raises
    ------
    ValueError
        For another number of lines than of joints, a reflection above 1, or a negative loss.

    Valid for lossless joints; lossy parts go through `two_port_bound`.
    Source: own derivation, checked by search over phases.
    """
    joints = [_magnitude(r, "joint_gamma") for r in _by_joint(joint_gamma, "joint_gamma")]
    losses = [_not_negative(a, "line_loss_db") for a in _by_joint(line_loss_db, "line_loss_db")]
    if len(joints) != len(losses):
        raise ValueError(f"{len(joints)} joints and {len(losses)} line losses: give one loss behind each joint")
    greatest = _magnitude(end_gamma, "end_gamma")
    least = greatest if end_least_gamma is None else _magnitude(end_least_gamma, "end_least_gamma")
    if not np.all(least <= greatest):
        raise ValueError("end_least_gamma may not be above end_gamma")
    for r, loss in zip(reversed(joints), reversed(losses), strict=True):
        factor = 10.0 ** (-loss / 10.0)
        least, greatest = least * factor, greatest * factor
        nearest = np.where(r < least, least, greatest)
        inside = r >= least if joints_at_most else (r >= least) & (r <= greatest)
        least = np.asarray(np.where(inside, 0.0, take_worst(r, nearest)))
        greatest = add_worst(r, greatest)
    return Interval(*np.broadcast_arrays(least, greatest))


def worst_return_loss_db(
    joint_return_loss_db: ArrayLike | Sequence[ArrayLike],
    line_loss_db: ArrayLike | Sequence[ArrayLike],
    end_return_loss_db: ArrayLike,
) -> Floats:
    """
    Least return loss at the test port that the phases allow, dB. Arguments as in `reflection_interval`, in dB.

    With joints and end given as limits, this is the least return loss of any line that keeps them.

    >>> end = return_loss_from_vswr_db(1.5)
    >>> round(float(worst_return_loss_db([32.0, 26.0], [0.8, 0.0], end)), 3)
    12.769
    """
    joints = [gamma_from_return_loss(r) for r in _by_joint(joint_return_loss_db, "joint_return_loss_db")]
    return return_loss_db(
        reflection_interval(joints, line_loss_db, gamma_from_return_loss(end_return_loss_db)).greatest
    )


def best_return_loss_db(
    joint_return_loss_db: ArrayLike | Sequence[ArrayLike],
    line_loss_db: ArrayLike | Sequence[ArrayLike],
    end_return_loss_db: ArrayLike,
) -> Floats:
    """Greatest return loss at the test port for joints and an end *equal* to their values, dB; infinite if it can vanish."""
    joints = [gamma_from_return_loss(r) for r in _by_joint(joint_return_loss_db, "joint_return_loss_db")]
    return return_loss_db(reflection_interval(joints, line_loss_db, gamma_from_return_loss(end_return_loss_db)).least)


def two_joint_gamma(gamma_a: ArrayLike, gamma_b: ArrayLike, phase_rad: ArrayLike) -> Floats:
    """
    Size of the reflection of two lossless joints at a phase between them (0: they add), all multiple reflections in.

    |G|^2 = (a^2 + b^2 + 2 a b cos phi)/(1 + 2 a b cos phi + a^2 b^2). Any shapes that broadcast.
    Source: Pozar, Microwave Engineering (signal flow of two discontinuities).
    """
    a, b = _magnitude(gamma_a, "gamma_a"), _magnitude(gamma_b, "gamma_b")
    cross = 2.0 * a * b * np.cos(np.asarray(phase_rad, dtype=np.float64))
    # The square may come out a rounding error below 0 for a = b in opposition.
    top = np.maximum(a**2 + b**2 + cross, 0.0)
    bottom = 1.0 + cross + (a * b) ** 2
    return np.asarray(np.sqrt(np.where(bottom > 0, top / np.where(bottom > 0, bottom, 1.0), 0.0)))


def two_joint_percentile_gamma(gamma_a: ArrayLike, gamma_b: ArrayLike, share: ArrayLike) -> Floats:
    """
    Value of |G| of two joints that a share of all phases stays below, at one frequency: c = cos(pi (1 - p)).

    Not the chance of passing a sweep: as soon as the sweep is wider than v/(2 L) it meets every phase, and its worst
    point is the worst case.

    Parameters
    ----------
    share [1]: p, 0 to 1; 1 is the worst case.

    >>> a, b = gamma_from_return_loss(28.0), gamma_from_return_loss(25.0)
    >>> round(float(return_loss_db(two_joint_percentile_gamma(a, b, 0.95))), 3)
    20.396
    """
    p = np.asarray(share, dtype=np.float64)
    if not np.all((p >= 0) & (p <= 1)):
        raise ValueError("share lies between 0 and 1")
    return two_joint_gamma(gamma_a, gamma_b, np.pi * (1.0 - p))
