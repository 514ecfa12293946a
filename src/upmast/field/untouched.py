"""
What an untouched sweep shows at a glance, so that a closer look is left out: its numbers differ, bend from point to point, and have noise.

A glance never accuses: where it is not sure, `setup_data` looks at every number.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from upmast.field.kept import together
from upmast.field.measurement import Complexes, Floats, Sweep, gammas
from upmast.rf.distance import frequency_step_hz, window

CUT_SHARE = 0.03  # of all points at one extreme value
CUT_PLACES = 3  # of dB: the rounding of real and imaginary part to six places spreads one value no further
LEAST_AT_EXTREME, LEAST_DISTINCT = 4.0, 8
FEW_SHARE = 0.25  # of distinct values to points
ROUND_PLACES = 9  # values nearer than this are one
FILLED_SHARE, FILLED_CURVE = 0.4, 0.01  # share of points on the line through their neighbours; of the usual curvature
REPEATED_SHARE = 0.2
DEEP_BETA = 14.0  # side lobes below -100 dB: the line's own response stays off the noise
SMOOTH_BINS = 20


class Noise(NamedTuple):
    """Power of the noise over delay, as the response of a reflection: medians far from the line and before the port, and the highest of all."""

    far: float
    near: float
    highest: float


class Glance(NamedTuple):
    """What is sure at a glance; False leaves it to a closer look."""

    not_cut: bool  # neither the best nor the worst values stand at one value
    not_rounded: bool  # most values of each part and of the return loss differ
    not_filled: bool  # hardly a point repeats the one before, or lies on the line through its neighbours


@together
def glance(sweeps: Sequence[Sweep]) -> list[Glance]:
    """Of sweeps over the same frequencies; of one without phase every number is looked at."""
    n = sweeps[0].points
    if sweeps[0].magnitude_only or n < 3:
        return [Glance(False, False, False)] * len(sweeps)
    rising, db = _block(sweeps, "rising_db"), _block(sweeps, "bounded_db")
    apart = 10.0**-CUT_PLACES
    highest = np.count_nonzero(rising >= rising[:, -1:] - apart, axis=1)
    lowest = np.count_nonzero(rising <= rising[:, :1] + apart, axis=1)
    rare = np.maximum(highest, lowest) < max(LEAST_AT_EXTREME, CUT_SHARE * n)
    not_cut = rare & (_distinct(db[:, :32], apart) >= LEAST_DISTINCT)
    gamma = gammas(sweeps)
    parts = np.ascontiguousarray(gamma).view(np.float64).reshape(len(sweeps), n, 2)
    some, same = int(FEW_SHARE * n) + 9, 10.0**-ROUND_PLACES
    heads = [parts[:, :some, 0], parts[:, :some, 1], db[:, :some]]
    not_rounded = np.all([_distinct(head, same) > FEW_SHARE * n for head in heads], axis=0)
    repeated = np.count_nonzero(parts[:, 1:, 0] == parts[:, :-1, 0], axis=1)  # of one part; at most so many of both
    square = power(curve_of(gamma))
    flat = np.count_nonzero(square <= FILLED_CURVE**2 * square.max(axis=1, keepdims=True), axis=1)  # the usual is less
    not_filled = (repeated <= REPEATED_SHARE * (n - 1)) & (flat <= FILLED_SHARE * (n - 2))
    return list(map(Glance, not_cut.tolist(), not_rounded.tolist(), not_filled.tolist()))


def _block(sweeps: Sequence[Sweep], name: str) -> Floats:
    return np.array([getattr(sweep, name) for sweep in sweeps])


def _distinct(values: Floats, apart: float) -> NDArray[np.intp]:
    """How many of the values in each row differ by more than a rounding, at least."""
    rising = np.sort(values, axis=-1)
    return np.asarray(1 + np.count_nonzero(rising[:, 1:] - rising[:, :-1] > apart, axis=1))


def curve_of(row: Floats | Complexes) -> Floats | Complexes:
    """How far each point lies off the straight line through its neighbours; shape (..., n - 2)."""
    return row[..., 1:-1] - 0.5 * (row[..., :-2] + row[..., 2:])


def power(values: Floats | Complexes) -> Floats:
    return np.asarray(values.real**2 + values.imag**2)


@together
def noise(sweeps: Sequence[Sweep]) -> list[Noise | None]:
    """None where it can't be read. A sweep has the same noise at all delays; before the port and in the middle of the range no line is seen."""
    one, n = sweeps[0], sweeps[0].points
    far = slice(int(0.42 * n), int(0.58 * n))
    near = slice(int((0.95 if n > 600 else 0.92) * n), int(0.985 * n))
    if one.magnitude_only or min(far.stop - far.start, near.stop - near.start) < SMOOTH_BINS:
        return [None] * len(sweeps)
    try:
        frequency_step_hz(one.frequency_hz)
    except ValueError:
        return [None] * len(sweeps)
    seen = power(np.fft.ifft(gammas(sweeps) * _window(n), axis=-1))
    return list(map(Noise, *(_medians(seen[:, part]) for part in (far, near)), seen.max(axis=1).tolist()))


def _medians(values: Floats) -> list[float]:
    """The median of each row; numpy.median takes ten times as long for one row."""
    rising, half = np.sort(values, axis=1), (values.shape[1] - 1) // 2
    out: list[float] = (0.5 * (rising[:, half] + rising[:, values.shape[1] // 2])).tolist()
    return out


@lru_cache(maxsize=32)
def _window(points: int) -> Floats:
    return window(points, DEEP_BETA)
