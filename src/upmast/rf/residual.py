"""What a fit leaves over: noise beyond the line, misfit, what stands at a joint's place still, and the strongest place not explained."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from upmast.rf.descent import LEAST_VARIANCE
from upmast.rf.distance import delay_response, response_at
from upmast.rf.lumped import Model

__all__ = ["Unexplained", "left_around", "misfit_of", "noise_of", "strongest_left"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
NOISE_CELLS = 16


class Unexplained(NamedTuple):
    """The strongest place of what the fit leaves over: distance from the port [m], size freed of the line's loss."""

    distance_m: float
    gamma: float


def left_around(f: Floats, rest: Complexes, delay_s: Floats) -> Complexes:
    """The most that a residual shows within half a cell of each delay, less nothing for noise."""
    cell = 1.0 / (2.0 * float(f[-1] - f[0]))
    at = (delay_s[:, None] + np.array([-0.5, 0.0, 0.5]) * cell).ravel()
    seen = response_at(f, rest, at, 0.0).reshape(-1, 3)
    return np.asarray(np.take_along_axis(seen, np.abs(seen).argmax(axis=1)[:, None], axis=1)[:, 0])


def noise_of(f: Floats, rest: Complexes, end_s: float) -> float:
    """Root mean square noise from delays beyond the line, where no first or second echo lies; NaN where the sweep has none."""
    count = f.size
    taper = np.hanning(count)
    bins = np.fft.ifft(rest * taper)
    step = (f[-1] - f[0]) / (count - 1)
    delay = np.arange(count) / (2.0 * count * step)
    margin = 4.0 / (2.0 * count * step)
    free = (delay > 1.1 * end_s + margin) & (delay < delay[-1] - margin)
    if np.count_nonzero(free) < NOISE_CELLS:
        return float("nan")
    # white noise of variance s^2 gives s^2 sum(taper^2) / count^2 in each bin; the median of an exponential is ln 2 of its mean
    middle = float(np.median(np.abs(bins[free]) ** 2)) / np.log(2.0)
    floor = 2.0 * LEAST_VARIANCE  # of both parts; the descent does not go below it
    return float(np.sqrt(max(middle * count**2 / float((taper**2).sum()), floor)))


def misfit_of(model: Model, rest: Complexes) -> float:
    """Residual over noise; NaN where the noise is not known."""
    floor = noise_of(model.f, rest, float(model.line.end_delay_s[-1]))
    return float(np.sqrt(np.mean(np.abs(rest) ** 2))) / floor if floor > 0 else float("nan")


def strongest_left(model: Model, rest: Complexes) -> Unexplained:
    line, f = model.line, model.f
    stop = float(line.end_delay_s[-1])
    count = int(np.clip(16.0 * stop * float(f[-1] - f[0]), 64, 4096))
    seen = np.abs(delay_response(f, rest, 0.0, stop / (count - 1), count))
    delay = np.linspace(0.0, stop, count)
    loss = np.interp(delay, line.end_delay_s, line.end_loss_db(model.f0))
    strongest = int(np.argmax(seen * 10.0 ** (loss / 10.0)))
    place = float(np.interp(delay[strongest], line.end_delay_s, line.end_distance_m))
    return Unexplained(place, float(seen[strongest] * 10.0 ** (loss[strongest] / 10.0)))
