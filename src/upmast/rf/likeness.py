"""
How alike two complex traces are, against what a second sweep of one path and a path of like parts would give.

Both comparisons are simulated for the line at hand with the spreads that are given, so that the statement comes with its error rates.
It is about traces, never about people: like traces have many causes, a mixed-up port or name the commonest. It asks for a look.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.distance import delay_response, frequency_step_hz
from upmast.rf.loss import DB_PER_NEPER, attenuation_db_per_m, velocity_m_per_s
from upmast.rf.lumped import LumpedLine

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

SEED = 20261127
STRETCH = 5e-4  # of all delays between two days: 25 K and 10 ppm/K, twice; common practice, no source
STEP_RAD = 0.25  # at the far end, between two stretches tried
BETA = 6.0
PORT_CELLS = 2.0  # left out at the port, where the calibration's residue stands
FLOOR_DB = -150.0  # the same samples
RATE = 0.01  # of wrong statements on either side that is aimed at
LEAST_COUNT = 100
Z95 = 1.959964
SAME, LIKE, UNLIKE = "the same samples", "as alike as two sweeps of one path", "as unlike as two paths of like parts"


@dataclass(frozen=True, slots=True, eq=False)
class LikeSpreads:
    """
    What differs between paths of like parts, and between two sweeps of one path; standard deviations.

    joint_return_loss_db [n]: usual return loss of each joint at the middle of the sweep; joint_spread_db: between specimens.
    length_sigma_m, velocity_sigma, loss_sigma: between specimens of one lot. same_kind: like parts have joints of one kind.
    noise_db, directivity_db, drift_db, drift_deg, stretch, gamma_sigma: between two sweeps; gamma_sigma of each joint's reflection.
    load_db: of the load, the same one for all sweeps. Defaults: common practice, no source; state them with the result.
    """

    joint_return_loss_db: Floats
    joint_spread_db: float = 3.0
    length_sigma_m: float = 0.005
    velocity_sigma: float = 0.002
    loss_sigma: float = 0.01
    same_kind: bool = True
    noise_db: float = -65.0
    directivity_db: float = 42.0
    drift_db: float = 0.03
    drift_deg: float = 0.5
    stretch: float = 1e-4
    gamma_sigma: float = 0.001
    load_db: float = 42.0

    def __post_init__(self) -> None:
        levels = np.atleast_1d(np.asarray(self.joint_return_loss_db, np.float64))
        if levels.ndim != 1 or not np.all(levels > 0):
            raise ValueError("joint_return_loss_db holds one value above 0 a joint")
        sizes = (self.joint_spread_db, self.length_sigma_m, self.velocity_sigma, self.loss_sigma, self.drift_db)
        if not all(s >= 0 for s in (*sizes, self.drift_deg, self.stretch, self.gamma_sigma)):
            raise ValueError("a spread is not negative")
        if not (self.noise_db < 0 and self.directivity_db > 0 and self.load_db > 0):
            raise ValueError("noise_db lies below 0, directivity_db and load_db above")
        object.__setattr__(self, "joint_return_loss_db", levels)


class Likeness(NamedTuple):
    """Unlikeness of two traces, dB, lower is more alike; the stretch of the second at which they are most alike; samples that are equal."""

    unlikeness_db: float
    stretch: float
    equal: float


class LikePopulation(NamedTuple):
    """Unlikeness of simulated pairs, dB, sorted: two sweeps of one path, and two paths of like parts."""

    again_db: Floats
    twin_db: Floats


class LikeStatement(NamedTuple):
    """
    What can be said of two traces.

    words: one of the three of this module, or empty: not judged. twin_share: of simulated pairs of like paths that are as alike as
    these or more; again_share: of second sweeps that are as unlike as these or more; each with the upper end of its 95 % interval.
    by_chance: pairs of like paths expected to be called alike in as many comparisons as were made, at most.
    like_db, unlike_db: at or below the first, at or above the second, the statement is made. text: one sentence.
    """

    words: str
    unlikeness_db: float
    twin_share: tuple[float, float]
    again_share: tuple[float, float]
    by_chance: float
    like_db: float
    unlike_db: float
    text: str

    @property
    def judged(self) -> bool:
        return bool(self.words)


def unlikeness(
    frequency_hz: ArrayLike, first: ArrayLike, second: ArrayLike, end_delay_s: float, stretch: float = STRETCH
) -> Likeness:
    """
    Unlikeness of two traces on one grid: 10 log10(1 - |rho|^2), the best over a common stretch of all delays.

    rho = sum conj(X_1) X_2/sqrt(sum |X_1|^2 sum |X_2|^2) over the delays of the line, without the width of the window at the port: a
    common factor (drift of the instrument) and the calibration's residue do not count, nor does a warmer day.

    Parameters
    ----------
    frequency_hz [Hz]: even grid, shape (nf,). first, second: complex reflection, shape (nf,). end_delay_s [s]: one-way, of the line.
    stretch: most relative change of delays that a re-sweep may have.

    Source: coherence of two signals, Bendat and Piersol, Random Data, chapter 6 (definition).

    >>> f = np.linspace(1.8e9, 2.1e9, 301)
    >>> g = 0.03 * np.exp(-4j * np.pi * f * 4e-8)
    >>> unlikeness(f, g, 0.99 * g, 1e-7).unlikeness_db
    -150.0
    """
    f = np.asarray(frequency_hz, np.float64)
    a, b = (np.asarray(x) for x in (first, second))
    if not (np.iscomplexobj(a) and np.iscomplexobj(b)) or a.shape != f.shape or b.shape != f.shape:
        raise ValueError("two complex traces on one grid are needed")
    if not (np.all(np.isfinite(a)) and np.all(np.isfinite(b))):
        raise ValueError("a trace has no gaps")
    value, at = _unlikeness(f, a[None].astype(np.complex128), b[None].astype(np.complex128), end_delay_s, stretch)
    return Likeness(float(value[0]), float(at[0]), float(np.mean(a == b)))


def _unlikeness(f: Floats, a: Complexes, b: Complexes, end_s: float, stretch: float) -> tuple[Floats, Floats]:
    """Of many pairs at once, rows of a against rows of b."""
    frequency_step_hz(f)
    width = float(f[-1] - f[0])
    start = PORT_CELLS / (2.0 * width)
    if not (end_s > 2.0 * start and 0 <= stretch < 0.01):
        raise ValueError("the line is too short for this span, or the stretch beyond a hundredth")
    f0 = 0.5 * float(f[0] + f[-1])
    count = int(np.ceil(4.0 * width * (end_s - start))) + 4
    step = (end_s + 1.0 / (2.0 * width) - start) / (count - 1)
    half = max(1, int(np.ceil(stretch * 4.0 * np.pi * f0 * end_s / STEP_RAD)))
    tries = stretch * np.arange(-half, half + 1) / half
    one = delay_response(f, a, start, step, count, BETA)
    own = np.sum(np.abs(one) ** 2, axis=-1)
    square = np.empty((tries.size, a.shape[0]))
    for k, s in enumerate(tries):
        two = delay_response(f, b, start * (1.0 + s), step * (1.0 + s), count, BETA)
        energy = own * np.sum(np.abs(two) ** 2, axis=-1)
        square[k] = np.abs(np.sum(np.conj(one) * two, axis=-1)) ** 2 / np.maximum(energy, 1e-300)
    best = square.argmax(axis=0)
    rows = np.arange(a.shape[0])
    inner = np.clip(best, 1, tries.size - 2)
    left, mid, right = square[inner - 1, rows], square[inner, rows], square[inner + 1, rows]
    bend = left - 2.0 * mid + right
    shift = np.where(bend < 0, np.clip(0.5 * (left - right) / np.where(bend < 0, bend, -1.0), -1.0, 1.0), 0.0)
    top = np.where(best == inner, mid - 0.25 * (left - right) * shift, square[best, rows])
    at = np.where(best == inner, tries[inner] + shift * (tries[1] - tries[0]), tries[best])
    return np.maximum(10.0 * np.log10(np.maximum(1.0 - top, 10.0 ** (FLOOR_DB / 10.0))), FLOOR_DB), at


def like_population(
    frequency_hz: ArrayLike, line: LumpedLine, spreads: LikeSpreads, count: int = 400, seed: int = SEED
) -> LikePopulation:
    """
    Unlikeness of `count` pairs of sweeps of one path, and of `count` pairs of paths of like parts.

    Parameters
    ----------
    frequency_hz [Hz]: of the sweeps, shape (nf,). line: as designed. spreads: between specimens and between sweeps.
    count: 100 or more. seed: the same seed gives the same numbers.

    Source: Monte Carlo of the lumped line, all echoes included.
    """
    f = np.asarray(frequency_hz, np.float64)
    frequency_step_hz(f)
    if count < LEAST_COUNT:
        raise ValueError(f"{LEAST_COUNT} pairs or more, or the rates say nothing")
    if spreads.joint_return_loss_db.size != len(line.joint_at):
        raise ValueError("spreads hold one return loss a joint of the line")
    rng = np.random.default_rng(seed)
    end_s = float(line.end_delay_s[-1])
    again, twin = [], []
    for _ in range(0, count, LEAST_COUNT):
        kinds = rng.choice([-1.0, 1.0], (LEAST_COUNT, len(line.joint_at)))
        load = 10.0 ** (-spreads.load_db / 20.0) * np.exp(2j * np.pi * rng.uniform(size=(LEAST_COUNT, 1)))
        one, other = _specimens(rng, line, spreads, kinds), _specimens(rng, line, spreads, kinds)
        first, second, third = (_sweeps(rng, f, line, spreads, s, load) for s in (one, one, other))
        again.append(_unlikeness(f, first, second, end_s, STRETCH)[0])
        twin.append(_unlikeness(f, first, third, end_s, STRETCH)[0])
    return LikePopulation(np.sort(np.concatenate(again)[:count]), np.sort(np.concatenate(twin)[:count]))


class _Specimens(NamedTuple):
    gamma: Floats  # with the sign of the kind
    length_m: Floats
    velocity: Floats
    loss: Floats


def _specimens(rng: np.random.Generator, line: LumpedLine, spreads: LikeSpreads, kinds: Floats) -> _Specimens:
    """Paths of like parts: each joint's return loss, each length, the lot's velocity and loss."""
    many, n = kinds.shape
    level = spreads.joint_return_loss_db + spreads.joint_spread_db * rng.normal(size=(many, n))
    signs = kinds if spreads.same_kind else rng.choice([-1.0, 1.0], (many, n))
    length = line.section_length_m + spreads.length_sigma_m * rng.normal(size=(many, line.section_length_m.size))
    return _Specimens(
        signs * 10.0 ** (-np.maximum(level, 1.0) / 20.0),
        np.maximum(length, 1e-4),
        1.0 + spreads.velocity_sigma * rng.normal(size=(many, 1)),
        1.0 + spreads.loss_sigma * rng.normal(size=(many, 1)),
    )


def _sweeps(
    rng: np.random.Generator, f: Floats, line: LumpedLine, spreads: LikeSpreads, of: _Specimens, load: Complexes
) -> Complexes:
    """One sweep of each specimen."""
    many = of.gamma.shape[0]
    f0 = 0.5 * float(f[0] + f[-1])
    sigma = spreads.gamma_sigma / np.sqrt(2.0)
    touched = sigma * (rng.normal(size=of.gamma.shape) + 1j * rng.normal(size=of.gamma.shape))
    stretch = 1.0 + spreads.stretch * rng.normal(size=(many, 1))
    v = velocity_m_per_s(line.section_velocity_factor)
    now = np.broadcast_to(load, (many, f.size)).astype(np.complex128)
    place = {b: k for k, b in enumerate(line.joint_at)}
    for b in range(line.section_length_m.size, -1, -1):
        if b in place:
            k = place[b]
            g = -1j * of.gamma[:, k, None] * f / f0 + touched[:, k, None]
            now = g + (1.0 - np.abs(g) ** 2) * now / (1.0 - g * now)
        if b > 0:
            a = attenuation_db_per_m(f, line.root_db_per_m[b - 1], line.linear_db_per_m[b - 1], line.temperature_c)
            alpha = a / DB_PER_NEPER * of.loss
            beta = 2.0 * np.pi * f / v[b - 1] * of.velocity * stretch
            now = now * np.exp(-2.0 * (alpha + 1j * beta) * of.length_m[:, b - 1, None])
    now = now + 10.0 ** (-spreads.directivity_db / 20.0) * np.exp(2j * np.pi * rng.uniform(size=(many, 1)))
    u = np.linspace(-1.0, 1.0, f.size)
    size, phase = (rng.uniform(-1, 1, (many, 1)) + 0.5 * rng.uniform(-1, 1, (many, 1)) * u for _ in range(2))
    now = now * 10.0 ** (spreads.drift_db * size / 20.0) * np.exp(1j * np.deg2rad(spreads.drift_deg) * phase)
    noise = 10.0 ** (spreads.noise_db / 20.0) / np.sqrt(2.0)
    return np.asarray(now + noise * (rng.normal(size=now.shape) + 1j * rng.normal(size=now.shape)))


def like_statement(seen: Likeness, known: LikePopulation, pairs: int = 1, rate: float = RATE) -> LikeStatement:
    """
    What can be said of two traces, with the rates at which it is wrong.

    Alike where at most `rate` of like paths are as alike; unlike where at most `rate` of second sweeps are as unlike; else, or where
    both hold or neither, not judged.

    Parameters
    ----------
    seen: of `unlikeness`. known: of `like_population`, for the same line and sweep. pairs: how many comparisons were made in all, since
    every one of them can be wrong. rate: of wrong statements that is aimed at; not below 1/count.

    Source: empirical distribution; interval of a share by Wilson's score.
    """
    if not (pairs >= 1 and 0 < rate < 0.5):
        raise ValueError("pairs is 1 or more, rate lies between 0 and 0.5")
    if rate * min(known.twin_db.size, known.again_db.size) < 1.0:
        raise ValueError("too few simulated pairs for this rate: simulate 1/rate or more")
    u = seen.unlikeness_db
    twins, again = int((known.twin_db <= u).sum()), int((known.again_db >= u).sum())
    twin_share, again_share = _share(twins, known.twin_db.size), _share(again, known.again_db.size)
    like_db = float(known.twin_db[max(int(np.floor(rate * known.twin_db.size)) - 1, 0)])
    unlike_db = float(known.again_db[-max(int(np.floor(rate * known.again_db.size)), 1)])
    chance = twin_share[1] * pairs
    alike, apart = u <= like_db, u >= unlike_db
    words = ""
    if seen.equal == 1.0:
        words = SAME
        text = "Both traces hold the same samples, noise included; two sweeps never do. Look which path each file belongs to."
    elif alike and not apart:
        words = LIKE
        text = (
            f"These traces are {LIKE}: {100 * twin_share[0]:.1f} % of simulated pairs of like paths come as near "
            f"(at most {100 * twin_share[1]:.1f} %); among {pairs} comparison(s) at most {chance:.2g} would by chance. "
            "Look at names and ports, and sweep one of them again."
        )
    elif apart and not alike:
        words = UNLIKE
        text = f"These traces are {UNLIKE}: {100 * again_share[0]:.1f} % of simulated second sweeps differ as much."
    else:
        text = "Not judged: second sweeps and like paths are not told apart at this unlikeness; a wider sweep would."
    return LikeStatement(words, u, twin_share, again_share, chance, like_db, unlike_db, text)


def _share(hits: int, of: int) -> tuple[float, float]:
    """Share and the upper end of its 95 % interval (Wilson)."""
    p = hits / of
    spread = Z95 * np.sqrt(p * (1 - p) / of + Z95**2 / (4 * of**2))
    return p, float(min((p + Z95**2 / (2 * of) + spread) / (1 + Z95**2 / of), 1.0))
