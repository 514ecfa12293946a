"""
How far two sweeps differ when one path was swept twice, and when two paths of like parts were swept: simulated for the line at hand.

Every sweep is taken down to a short row of numbers, so that ten thousand of them can be compared in one product of matrices. With phase
it is the picture over delay without the port, without phase the beats of the size; two rows are compared as they are, size and phase.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from upmast.field.locate import line_of
from upmast.field.measurement import Complexes, Floats, Sweep
from upmast.proof.rf_path import PathDesign
from upmast.rf.distance import DEFAULT_BETA, window
from upmast.rf.joint import joint_gamma
from upmast.rf.loss import DB_PER_NEPER, attenuation_db_per_m, velocity_m_per_s
from upmast.rf.lumped import LumpedLine

__all__ = ["Grid", "Population", "bins_of", "differences_db", "fingerprints", "grid_of", "nearest_db", "population"]

SEED = 20261127
COUNT = 500  # simulated pairs of each kind
PORT_BINS = 3  # left out at the port, where the calibration's residue stands
BEYOND_BINS = 4
MOST_BINS = 256
FLOOR_DB = -150.0
TYPICAL_BETTER_DB = 4.0  # a usual joint is this much better than its limit: common practice, no source
# standard deviations between specimens of like parts: common practice, no source
JOINT_SPREAD_DB, LENGTH_M, VELOCITY, LOSS = 2.0, 0.003, 0.001, 0.01
ANTENNA_SPREAD_DB, ANTENNA_SPREAD_DEG = 0.7, 5.0
# and between two sweeps of one path, lead and load taken off and put on again, the joints between left alone: common practice, no source
DRIFT_DB, DRIFT_DEG, STRETCH, GAMMA = 0.03, 0.5, 1e-4, 0.001
NOISE_DB, DIRECTIVITY_DB, LOAD_DB = -65.0, 42.0, 42.0


class Grid(NamedTuple):
    """What two sweeps must have in common to be compared point by point."""

    points: int
    low_hz: float
    high_hz: float
    phase: bool


@dataclass(frozen=True, slots=True, eq=False)
class Population:
    """Differences of simulated pairs, dB, sorted: two sweeps of one path, and two paths of like parts."""

    again_db: Floats
    twin_db: Floats

    def twin_chance(self, difference_db: float) -> float:
        """
        Share of pairs of like paths that come as near or nearer.

        Within the simulation by counting; below its hundredth by a straight line of log share over dB through its tenth and its
        hundredth, which for several joints errs on the side of a larger share.
        """
        ten, one = (float(np.quantile(self.twin_db, q)) for q in (0.1, 0.01))
        if difference_db >= one:
            return float(np.mean(self.twin_db <= difference_db))
        return float(0.01 * 10.0 ** ((difference_db - one) / max(ten - one, 0.5)))

    def caught(self, threshold_db: float) -> float:
        """Share of second sweeps of one path that lie at or below a threshold."""
        return float(np.mean(self.again_db <= threshold_db))

    def threshold_db(self, chance: float) -> float:
        """The largest difference at which no more than `chance` of like paths come as near; at most what nearly all second sweeps have."""
        ten, one = (float(np.quantile(self.twin_db, q)) for q in (0.1, 0.01))
        by_twins = (
            one + (np.log10(chance) + 2.0) * max(ten - one, 0.5)
            if chance < 0.01
            else float(np.quantile(self.twin_db, chance))
        )
        return min(float(by_twins), float(np.quantile(self.again_db, 0.98)))


def grid_of(sweep: Sweep) -> Grid:
    return Grid(sweep.points, *sweep.span, not sweep.magnitude_only)


def bins_of(grid: Grid, delay_s: float) -> tuple[int, int]:
    """First and last bin of the picture over delay that belong to a line; the last is not above the first where it is too short."""
    width = grid.high_hz - grid.low_hz
    cells = 2.0 * delay_s * width
    if cells < PORT_BINS + 1:
        return PORT_BINS, PORT_BINS
    last = int(np.ceil(cells)) + BEYOND_BINS
    return PORT_BINS, min(last, MOST_BINS, grid.points // 2)


def fingerprints(rows: Complexes | Floats, bins: tuple[int, int]) -> Complexes:
    """
    Rows of bins over delay, of reflection (complex) or of its size, not normalised: shape (sweeps, bins).

    Of sizes it is the picture of the beats of |G|, without its mean.
    """
    first, last = bins
    g = np.asarray(rows)
    if not np.iscomplexobj(g):
        g = g - g.mean(axis=-1, keepdims=True)
    # delay +tau is a falling phase, exp(-j 4 pi f tau): the inverse transform puts it at a positive place
    return np.ascontiguousarray(
        np.fft.ifft(g * window(g.shape[-1], DEFAULT_BETA), axis=-1)[..., first : last + 1] * g.shape[-1]
    )


def differences_db(one: Complexes, other: Complexes) -> Floats:
    """10 log10 of |a - b|^2/(|a|^2 + |b|^2) of each row against each row, by one product of matrices: shape (rows, rows)."""
    a, b = (np.sum(np.abs(x) ** 2, axis=-1) for x in (one, other))
    both = np.maximum(a[:, None] + b[None, :], 1e-300)
    cross = (one @ other.conj().T).real
    return np.asarray(10.0 * np.log10(np.maximum(1.0 - 2.0 * cross / both, 10.0 ** (FLOOR_DB / 10.0))))


def population(grid: Grid, design: PathDesign, test: str, count: int = COUNT, seed: int = SEED) -> Population | None:
    """
    Simulate pairs for a path, a grid and what stands at the end; None where the design does not give a line, or the sweep is too narrow.

    Source: Monte Carlo of the path as designed with all echoes; spreads by common practice, no source.
    """
    line = line_of(design)
    bins = bins_of(grid, design.delay_s)
    if line is None or bins[1] - bins[0] < 2:
        return None
    levels = _levels(design, 0.5 * (grid.low_hz + grid.high_hz))
    if levels is None:
        return None
    # the picture has few bins: as many points as hold it without folding are enough, with the noise of all
    skip = max(1, grid.points // max(3 * bins[1], 64))
    f = np.linspace(grid.low_hz, grid.high_hz, grid.points)[::skip]
    f = np.linspace(grid.low_hz, grid.high_hz, f.size)
    noise = 10.0 ** (NOISE_DB / 20.0) / np.sqrt(skip)
    rng = np.random.default_rng(seed)
    again, twin = [], []
    block = 100
    for _ in range(0, count, block):
        kinds = rng.choice([-1.0, 1.0], (block, levels.size))
        port = 10.0 ** (-DIRECTIVITY_DB / 20.0) * np.exp(2j * np.pi * rng.uniform(size=(block, 1)))
        far = _ends(rng, f, test, block)
        one, other = (_specimens(rng, line, levels, kinds) for _ in range(2))
        spread = 10.0 ** (ANTENNA_SPREAD_DB / 20.0 * rng.normal(size=(block, 1))) * np.exp(
            1j * np.deg2rad(ANTENNA_SPREAD_DEG) * rng.normal(size=(block, 1))
        )
        far_other = far * spread if test == "antenna" else far
        prints = [
            fingerprints(seen if grid.phase else np.abs(seen), bins)
            for seen in (
                _sweeps(rng, f, line, one, far, port, noise),
                _sweeps(rng, f, line, one, far, port, noise),
                _sweeps(rng, f, line, other, far_other, port, noise),
            )
        ]
        again.append(nearest_db(prints[0], prints[1], bins, grid))
        twin.append(nearest_db(prints[0], prints[2], bins, grid))
    return Population(np.sort(np.concatenate(again)), np.sort(np.concatenate(twin)))


def nearest_db(one: Complexes, other: Complexes, bins: tuple[int, int], grid: Grid) -> Floats:
    """
    Least difference of pairs of rows over a common stretch of all delays, as a warmer day gives, dB: shape (pairs,).

    A stretch turns each bin by an angle in proportion to its delay; of sizes without phase, by that of the spacing.
    """
    energy = np.maximum(np.sum(np.abs(one) ** 2 + np.abs(other) ** 2, axis=-1), 1e-300)
    f0, width = 0.5 * (grid.low_hz + grid.high_hz), grid.high_hz - grid.low_hz
    late = 2.0 * np.pi * f0 * np.arange(bins[0], bins[1] + 1) / width
    both = np.conj(one) * other
    most = 3.0 * np.sqrt(2.0) * STRETCH
    half = max(1, int(np.ceil(most * late[-1] / 0.2)))
    cross = (both @ np.exp(1j * np.outer(late, most * np.arange(-half, half + 1) / half))).real.max(axis=-1)
    return np.asarray(10.0 * np.log10(np.maximum(1.0 - 2.0 * cross / energy, 10.0 ** (FLOOR_DB / 10.0))))


def _levels(design: PathDesign, f_hz: float) -> Floats | None:
    """Usual return loss of each joint at the middle of the sweep, dB."""
    if any(np.isnan(j.return_loss_db) for j in design.joints):
        return None
    sizes = [float(joint_gamma(f_hz, j.return_loss_db, j.reference_hz)) for j in design.joints]
    return np.asarray(-20.0 * np.log10(np.maximum(sizes, 1e-6)) + TYPICAL_BETTER_DB)


class _Specimens(NamedTuple):
    gamma: Floats
    length_m: Floats
    velocity: Floats
    loss: Floats


def _specimens(rng: np.random.Generator, line: LumpedLine, levels: Floats, kinds: NDArray[np.float64]) -> _Specimens:
    """Paths of like parts, of one lot: the joints' return loss, the lengths, velocity and loss."""
    many = kinds.shape[0]
    level = levels + JOINT_SPREAD_DB * rng.normal(size=kinds.shape)
    length = line.section_length_m + LENGTH_M * rng.normal(size=(many, line.section_length_m.size))
    return _Specimens(
        kinds * 10.0 ** (-np.maximum(level, 6.0) / 20.0), np.maximum(length, 1e-3),
        1.0 + VELOCITY * rng.normal(size=(many, 1)), 1.0 + LOSS * rng.normal(size=(many, 1)),
    )  # fmt: skip


def _ends(rng: np.random.Generator, f: Floats, test: str, many: int) -> Complexes:
    """What stands at the end, the same for both sweeps: a load, a short, or an antenna with a few waves over the band."""
    if test == "short":
        return np.full((many, f.size), -1.0 + 0j)
    turn = np.exp(2j * np.pi * rng.uniform(size=(many, 1)))
    if test == "load":
        return np.broadcast_to(10.0 ** (-LOAD_DB / 20.0) * turn, (many, f.size)).astype(np.complex128)
    u = np.linspace(-1.0, 1.0, f.size)
    waves = 1.0 + 0.3 * np.sin(np.pi * (2.0 * u + 2.0 * rng.uniform(size=(many, 1))))
    return np.asarray(0.15 * waves * turn * np.exp(-4j * np.pi * (f - f[0]) * 1.5e-9))


def _sweeps(
    rng: np.random.Generator, f: Floats, line: LumpedLine, of: _Specimens, far: Complexes, port: Complexes, noise: float
) -> Complexes:
    """One sweep of each specimen: from the far end to the port, then drift of the calibration and noise."""
    many, f0 = of.gamma.shape[0], 0.5 * float(f[0] + f[-1])
    sigma = GAMMA / np.sqrt(2.0)
    touched = sigma * (rng.normal(size=of.gamma.shape) + 1j * rng.normal(size=of.gamma.shape))
    touched[:, 1:-1] = 0.0
    stretch = 1.0 + STRETCH * rng.normal(size=(many, 1))
    v = velocity_m_per_s(line.section_velocity_factor)
    now = far
    place = {b: k for k, b in enumerate(line.joint_at)}
    for b in range(line.section_length_m.size, -1, -1):
        if b in place:
            k = place[b]
            g = -1j * of.gamma[:, k, None] * f / f0 + touched[:, k, None]
            now = g + (1.0 - np.abs(g) ** 2) * now / (1.0 - g * now)
        if b > 0:
            a = attenuation_db_per_m(f, line.root_db_per_m[b - 1], line.linear_db_per_m[b - 1], line.temperature_c)
            delay = of.length_m[:, b - 1, None] / v[b - 1] * of.velocity * stretch
            now = now * np.exp(-2.0 * a / DB_PER_NEPER * of.loss * of.length_m[:, b - 1, None]) * _turns(f, delay)
    u = np.linspace(-1.0, 1.0, f.size)
    size, phase = (rng.uniform(-1, 1, (many, 1)) + 0.5 * rng.uniform(-1, 1, (many, 1)) * u for _ in range(2))
    now = (now + port) * 10.0 ** (DRIFT_DB * size / 20.0) * np.exp(1j * np.deg2rad(DRIFT_DEG) * phase)
    level = noise / np.sqrt(2.0)
    return np.asarray(now + level * (rng.normal(size=now.shape) + 1j * rng.normal(size=now.shape)))


def _turns(f: Floats, delay_s: Floats) -> Complexes:
    """exp(-j 4 pi f tau) on an even grid, one row a delay: by two short tables, since powers of a turn are turns."""
    fine = 16
    coarse = -(-f.size // fine)
    step = (f[-1] - f[0]) / (f.size - 1)
    a = np.exp(-4j * np.pi * (f[0] + step * fine * np.arange(coarse)) * delay_s)
    b = np.exp(-4j * np.pi * step * np.arange(fine) * delay_s)
    return np.asarray((a[:, :, None] * b[:, None, :]).reshape(a.shape[0], -1)[:, : f.size])
