"""
What a sweep without phase still says: the spacings of pairs that beat with each other, and the sizes of joints whose places are known.

It never says where something is: |G| is the same for a line and for many others, a line turned end for end among them. So there is no
trace of reflection over distance here, only over the *spacing* of two reflections, and a fit that starts from the design's places.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.descent import residual_variance
from upmast.rf.distance import DEFAULT_BETA, delay_response, frequency_step_hz
from upmast.rf.distance import peaks as peaks_of
from upmast.rf.fit import SYSTEMATIC_DB, Z95
from upmast.rf.loss import velocity_m_per_s
from upmast.rf.lumped import DIRECTIVITY_DB, LOAD_DB, LumpedLine, Model

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

SEED = 20261127
STARTS = 24  # random sets of phases and sizes: own trials
FAST_POINTS = 160
MOST_STEPS, LEAST_GAIN = 40, 0.02
RIVAL = 25.0  # of chi squared: another minimum this near is not ruled out; five standard deviations
SAME = 0.01  # sizes that differ by less are one minimum
TWO_AGREE = 2  # starts that must have ended in the best minimum
MOST_MISFIT_DB = 1.0  # what the fit leaves of |G|, against its size: own trials


class Spacings(NamedTuple):
    """
    Pairs of reflections that beat with each other, strongest first.

    spacing_m: between the two of a pair. product: of their sizes as seen at the port. cell_m: v/(2 B), nearer pairs hide in the mean.
    range_m: v/(4 df), half of what complex data reach.
    """

    spacing_m: Floats
    product: Floats
    cell_m: float
    range_m: float


@dataclass(frozen=True, slots=True, eq=False)
class MagnitudeFit:
    """
    Sizes of joints at known places from |G| alone.

    gamma, low, high [n]: at the middle of the sweep, with 95 % intervals; rival minima are inside them.
    rivals: how many other minima are not ruled out. agreed: how many starts ended in the best one.
    why_not: why nothing is judged, empty if it is. Phase was missing: places are the design's, not measured; kinds are not known.
    """

    gamma: Floats
    low: Floats
    high: Floats
    rivals: int
    agreed: int
    why_not: tuple[str, ...]


def ripple_spacing_m(period_hz: ArrayLike, velocity_factor: ArrayLike) -> Floats:
    """
    Spacing of two reflections from the period of the ripple that they make: L = v/(2 period), m. Any shapes that broadcast.

    Source: Pozar, Microwave Engineering, chapter 2 (two reflections on a line).

    >>> round(float(ripple_spacing_m(4.447e6, 0.89)), 2)
    30.0
    """
    period = np.asarray(period_hz, np.float64)
    if not np.all(period > 0):
        raise ValueError("period_hz lies above 0")
    return np.asarray(velocity_m_per_s(velocity_factor) / (2.0 * period))


def pair_spacings(
    frequency_hz: ArrayLike, gamma_size: ArrayLike, velocity_factor: float, most: int = 8, beta: float = DEFAULT_BETA
) -> Spacings:
    """
    Spacings of the pairs that beat most, from the transform of |G|^2.

    |G|^2 = sum a_i^2 + 2 sum a_i a_j cos(4 pi f d_ij/v + ...): a peak at d is a pair d apart, wherever it stands.

    Parameters
    ----------
    frequency_hz [Hz]: even grid, shape (nf,). gamma_size: |G|, shape (nf,).
    velocity_factor: of the line between the two. most: how many pairs. beta: Kaiser window.

    Returns
    -------
    Spacings. A pair nearer than about two cells hides in the mean; different pairs of one spacing are one peak.

    Source: Wiener-Khinchin theorem (transform of a power spectrum is an autocorrelation).
    """
    f, size = np.asarray(frequency_hz, np.float64), _sizes(frequency_hz, gamma_size)
    step, v = frequency_step_hz(f), float(velocity_m_per_s(velocity_factor))
    if most < 1:
        raise ValueError("most is 1 or more")
    width = float(f[-1] - f[0])
    power = (size - size.mean()) * (size + size.mean())  # |G|^2 less a constant, with no loss of digits
    power = power - power.mean()
    cell, reach = v / (2.0 * width), v / (4.0 * step)
    count = int(np.clip(8 * reach / cell, 64, 16384))
    spacing = np.linspace(0.0, reach, count)
    seen = np.abs(delay_response(f, power.astype(np.complex128), 0.0, reach / v / (count - 1), count, beta))
    seen[spacing < 2.0 * cell] = 0.0
    found = peaks_of(spacing, np.maximum(seen, 1e-15), 200.0)
    product = 10.0 ** (-found.return_loss_db / 20.0)
    order = np.argsort(-product)[:most]
    return Spacings(found.distance_m[order], product[order], cell, reach)


def _sizes(frequency_hz: ArrayLike, gamma_size: ArrayLike) -> Floats:
    f = np.asarray(frequency_hz, np.float64)
    if np.iscomplexobj(gamma_size):
        raise ValueError("gamma_size is a size; complex data say more, use fit_joints")
    size = np.asarray(gamma_size, np.float64)
    if size.shape != f.shape or not np.all((size >= 0) & (size <= 1.5)):
        raise ValueError("gamma_size holds one size per frequency, 0 to 1: |G|, not decibels")
    return size


def fit_sizes(
    frequency_hz: ArrayLike,
    gamma_size: ArrayLike,
    line: LumpedLine,
    directivity_db: float = DIRECTIVITY_DB,
    load_db: float = LOAD_DB,
    seed: int = SEED,
) -> MagnitudeFit:
    """
    Sizes of the joints of a known line from |G| alone, by least squares of |G| - |model| from many starts.

    Parameters
    ----------
    frequency_hz [Hz]: even grid, shape (nf,). gamma_size: |G|, shape (nf,), of a line that ends in a load.
    line: as designed. directivity_db, load_db [dB]. seed: of the starts; the same seed gives the same answer.

    Returns
    -------
    MagnitudeFit. Two joints alone can change places unseen; the interval then holds both.

    Raises
    ------
    ValueError
        For complex data, an uneven grid, or a line longer than v/(4 df).

    Source: own; checked on lines of scikit-rf, see the tests.
    """
    f, size = np.asarray(frequency_hz, np.float64), _sizes(frequency_hz, gamma_size)
    step = frequency_step_hz(f)
    if line.end_delay_s[-1] >= 1.0 / (4.0 * step):
        raise ValueError("the line is longer than v/(4 df), to which a sweep without phase reaches: take more points")
    n, cell = len(line.joint_at), 1.0 / (2.0 * float(f[-1] - f[0]))
    nan = np.full(n, np.nan)
    apart = np.diff(line.end_delay_s[list(line.joint_at)])
    if n < 2 or (apart.size and float(apart.min()) < cell):
        return MagnitudeFit(
            nan, nan, nan, 0, 0, ("two joints or more are needed, none nearer than v/(2 B) to the next",)
        )
    skip = max(1, min(f.size // FAST_POINTS, int(1.0 / (4.0 * step * float(line.end_delay_s[-1])))))
    fast = Model(f[::skip], line, "load", directivity_db, load_db)
    fast.f0 = 0.5 * float(f[0] + f[-1])
    slope, fast.slope = fast.slope, np.ones_like(fast.f)
    rng = np.random.default_rng(seed)
    speed = _velocity(f, size, line)
    losses = 10.0 ** (-line.end_loss_db(fast.f0)[list(line.joint_at)] / 10.0)
    level = float(np.sqrt(np.mean(size**2) / n))
    ends = []
    for _ in range(STARTS):
        theta = fast.mean.copy()
        start = level / losses * np.exp(rng.normal(0.0, 0.5, n) + 2j * np.pi * rng.uniform(size=n))
        theta[:n], theta[n : 2 * n] = start.real, start.imag
        theta[fast.at_v] = speed
        ends.append(_descend(fast, size[::skip], theta, (0.05 * level) ** 2))
    ends.sort(key=lambda e: e[1])
    fast.slope = slope
    full = Model(f, line, "load", directivity_db, load_db)
    polished: list[tuple[Floats, float, Floats, float]] = []
    seen: list[Floats] = []
    for theta, _ in ends:
        sizes = np.hypot(theta[:n], theta[n : 2 * n])
        if any(float(np.abs(sizes / s - 1).max()) < SAME for s in seen) or len(seen) == 4:
            continue
        seen.append(sizes)
        # the phase of all together is not seen in |G|, but it decides what is reactive, and so the slope
        for turn in (1.0, 1j):
            start = theta.copy()
            both = (theta[:n] + 1j * theta[n : 2 * n]) * turn
            start[:n], start[n : 2 * n] = both.real, both.imag
            polished.append(_polish(full, size, start))
    polished.sort(key=lambda p: p[3])
    best, variance, cover, _ = polished[0]
    agreed = sum(float(np.abs(np.hypot(t[:n], t[n : 2 * n]) / seen[0] - 1).max()) < SAME for t, _ in ends)
    gamma = np.hypot(best[:n], best[n : 2 * n])
    half = Z95 * _deviation(best, cover, n) + gamma * (10.0 ** (SYSTEMATIC_DB / 20.0) - 1.0)
    low, high = np.maximum(gamma - half, 0.0), gamma + half
    chi = [_chi(full, size, theta, variance) for theta, *_ in polished]
    rivals = 0
    for (theta, *_), other in zip(polished[1:], chi[1:], strict=True):
        sizes = np.hypot(theta[:n], theta[n : 2 * n])
        if other - chi[0] < RIVAL:
            rivals += int(float(np.abs(sizes / gamma - 1).max()) > SAME)
            low, high = np.minimum(low, np.maximum(sizes - half, 0.0)), np.maximum(high, sizes + half)
    why = []
    left = float(np.sqrt(2.0 * variance) / max(np.sqrt(np.mean(size**2)), 1e-30))
    if left > 10.0 ** (MOST_MISFIT_DB / 20.0) - 1.0:
        why.append(f"{100 * left:.0f} % of the sweep's size is not explained by this line")
    if agreed < TWO_AGREE:
        why.append("the starts ended in different answers")
    return MagnitudeFit(gamma, low, high, rivals, int(agreed), tuple(why))


def _velocity(f: Floats, size: Floats, line: LumpedLine) -> float:
    """Relative error of the velocity at which the beats of all pairs of the design are strongest."""
    delays = line.end_delay_s[list(line.joint_at)]
    apart = np.abs(delays[:, None] - delays[None, :])[np.triu_indices(delays.size, 1)]
    tries = np.linspace(-2.5, 2.5, 81) * line.velocity_sigma
    stop = float(apart.max()) * (1.0 + 3.0 * line.velocity_sigma)
    count = 4096
    power = size**2 - np.mean(size**2)
    seen = np.abs(delay_response(f, power.astype(np.complex128), 0.0, stop / (count - 1), count)) ** 2
    axis = np.linspace(0.0, stop, count)
    strength = np.array([np.interp(apart * (1.0 + t), axis, seen).sum() for t in tries])
    return float(tries[int(np.argmax(strength))])


def _parts(model: Model, size: Floats, theta: Floats) -> tuple[Floats, Floats]:
    """|G| - |model| and the derivatives of |model|."""
    value, jac = model.by_lump(model.own(theta))
    absolute = np.maximum(np.abs(value), 1e-12)
    toward = np.conj(value) / absolute
    return size - absolute, np.asarray(model.turned(theta) @ (toward * jac).real)


def _chi(model: Model, size: Floats, theta: Floats, variance: float) -> float:
    rest = size - np.abs(model.by_lump(model.own(theta))[0])
    return float(rest @ rest) / variance + float((((theta - model.mean) / model.sigma) ** 2).sum())


def _descend(model: Model, size: Floats, theta: Floats, variance: float) -> tuple[Floats, float]:
    """Levenberg-Marquardt on |G| with the priors: unknowns and cost."""
    prior, damping = 1.0 / model.sigma**2, 1e-2
    rest, jac = _parts(model, size, theta)
    cost = float(rest @ rest) / variance + float(prior @ (theta - model.mean) ** 2)
    for _ in range(MOST_STEPS):
        normal = jac @ jac.T / variance + np.diag(prior)
        right = jac @ rest / variance - prior * (theta - model.mean)
        moved = False
        while damping < 1e8:
            tried = theta + np.linalg.solve(normal + damping * np.diag(np.diag(normal)), right)
            new_rest, new_jac = _parts(model, size, tried)
            new = float(new_rest @ new_rest) / variance + float(prior @ (tried - model.mean) ** 2)
            if new <= cost:
                moved = True
                break
            damping *= 10.0
        if not moved:
            break
        gain, theta, rest, jac, cost = cost - new, tried, new_rest, new_jac, new
        damping = max(damping / 10.0, 1e-8)
        if gain < LEAST_GAIN:
            break
    return theta, cost


def _polish(model: Model, size: Floats, theta: Floats) -> tuple[Floats, float, Floats, float]:
    """To the least on all points: unknowns, variance, covariance, residual power."""
    rest = size - np.abs(model.by_lump(model.own(theta))[0])
    variance = residual_variance(rest.astype(np.complex128), size.size + theta.size)
    for _ in range(4):
        theta, _ = _descend(model, size, theta, variance)
        rest, jac = _parts(model, size, theta)
        own = max(float(rest @ rest) / max(size.size - theta.size, 1), 1e-12)
        near = abs(own / variance - 1.0) < 0.1
        variance = own
        if near:
            break
    normal = jac @ jac.T / variance + np.diag(1.0 / model.sigma**2)
    scale = 1.0 / np.sqrt(np.diag(normal))
    cover = np.linalg.inv(normal * np.outer(scale, scale)) * np.outer(scale, scale)
    return theta, variance, np.asarray(cover, np.float64), float(rest @ rest)


def _deviation(theta: Floats, cover: Floats, n: int) -> Floats:
    """Standard deviation of each size."""
    size = np.maximum(np.hypot(theta[:n], theta[n : 2 * n]), 1e-12)
    rows = np.zeros((n, theta.size))
    k = np.arange(n)
    rows[k, k], rows[k, n + k] = theta[:n] / size, theta[n : 2 * n] / size
    return np.asarray(np.sqrt(np.maximum(((rows @ cover) * rows).sum(axis=1), 0.0)))
