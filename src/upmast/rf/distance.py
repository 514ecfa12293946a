"""
Distance to fault: a measured reflection over frequency turned into reflection over distance.

Needs complex data on an even frequency grid. The natural axis is the one-way delay; it becomes metres section by section,
because jumper and feeder have different velocities. Distances count from the test port.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy import fft
from numpy.typing import ArrayLike, NDArray

from upmast.rf.loss import velocity_m_per_s

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
DEFAULT_BETA = 6.0  # side lobes -44 dB, -6 dB width 1.96 x v/(2B): far joints stay visible beside near ones
_EVEN = 1e-3  # of a step; 0.4 degrees of phase at the far end of the range
_LEAST_SIZE = 1e-15  # of a response; -300 dB
_BESIDE = np.array([[-1], [0], [1]])
_EVEN_KEPT = 8  # grids that are known to be even
_MOST_POINTS = 1_000_000
_KEPT_POINTS = 20_000  # larger transforms are planned each time, so that plans don't hold much memory


class Trace(NamedTuple):
    """Reflection over distance: one-way delay, distance from the test port, complex response (a lone joint reads its |G|)."""

    delay_s: Floats
    distance_m: Floats
    response: Complexes


class Peaks(NamedTuple):
    """Local maxima of a trace: place and return loss, nearest first."""

    distance_m: Floats
    return_loss_db: Floats


_even_last: tuple[tuple[Floats, float], ...] = ()


def frequency_step_hz(frequency_hz: ArrayLike) -> float:
    """
    The even step of a rising frequency grid, Hz.

    Raises
    ------
    ValueError
        For fewer than two points, a grid that does not rise, or a point more than a thousandth of a step off its place.

    >>> frequency_step_hz([1.0e9, 1.001e9, 1.002e9])
    1000000.0
    """
    global _even_last
    f = np.asarray(frequency_hz, dtype=np.float64)
    for known, its_step in _even_last:
        if f is known:
            return its_step
    if f.ndim != 1 or f.size < 2:
        raise ValueError("a distance transform needs two frequencies or more, in one row")
    step = (f[-1] - f[0]) / (f.size - 1)
    off = np.abs(f - (f[0] + step * np.arange(f.size)))
    if f[0] >= 0 and 0 < step < np.inf and float(off.max()) <= _EVEN * step:  # false for any NaN, too
        if (
            f.base is None and not f.flags.writeable
        ):  # of a sweep: asked again at once, and by sweeps over the same frequencies
            _even_last = ((f, float(step)), *_even_last[: _EVEN_KEPT - 1])
        return float(step)
    if not (np.all(np.isfinite(f)) and f[0] >= 0 and step > 0):
        raise ValueError("frequencies must rise from point to point")
    raise ValueError(
        f"the frequency step is uneven (point {int(off.argmax())} is {float(off.max()):.6g} Hz off an even grid of "
        f"{step:.6g} Hz): no distance transform over such a grid; sweep again with one even step"
    )


def resolution_m(span_hz: ArrayLike, velocity_factor: ArrayLike) -> Floats:
    """
    Two joints nearer than this are one peak: v/(2 B), m. Any shapes that broadcast.

    A window widens it: Kaiser beta 6 has a -6 dB width of 1.96 times this.
    Source: Harris, On the use of windows, 1978 (rectangular window bin).

    >>> round(float(resolution_m(270e6, 0.83)), 4)
    0.4608
    """
    return _over_twice(span_hz, velocity_factor, "span_hz")


def range_m(step_hz: ArrayLike, velocity_factor: ArrayLike) -> Floats:
    """
    Distance at which the picture repeats itself: v/(2 df), m, complex data. Any shapes that broadcast.

    >>> round(float(range_m(1e6, 0.83)), 2)
    124.41
    """
    return _over_twice(step_hz, velocity_factor, "step_hz")


def _over_twice(frequency_hz: ArrayLike, velocity_factor: ArrayLike, name: str) -> Floats:
    f = np.asarray(frequency_hz, dtype=np.float64)
    if not np.all(f > 0):
        raise ValueError(f"{name} lies above 0")
    return np.asarray(velocity_m_per_s(velocity_factor) / (2.0 * f))


@lru_cache(maxsize=16)
def window(points: int, beta: float = DEFAULT_BETA) -> Floats:
    """Kaiser window with the sum 1; beta 0 is no window. Source: Harris, On the use of windows, 1978."""
    if points < 1 or not beta >= 0:
        raise ValueError("a window has one point or more and beta of 0 or more")
    w = np.kaiser(points, beta)
    w = np.asarray(w / w.sum())
    w.setflags(write=False)
    return w


def _checked(frequency_hz: ArrayLike, gamma: ArrayLike) -> tuple[Floats, float, Complexes]:
    f = np.asarray(frequency_hz, dtype=np.float64)
    step = frequency_step_hz(f)
    g = np.asarray(gamma)
    if not np.iscomplexobj(g):
        raise ValueError("a distance transform needs complex reflection; magnitude alone has lost the distance")
    if g.ndim < 1 or g.shape[-1] != f.size:
        raise ValueError(f"gamma holds one value per frequency on its last axis; got {g.shape} for {f.size}")
    return f, step, np.asarray(g, dtype=np.complex128)


def response_at(frequency_hz: ArrayLike, gamma: ArrayLike, delay_s: ArrayLike, beta: float = DEFAULT_BETA) -> Complexes:
    """
    Response at any one-way delays, by the direct sum: X(tau) = sum w_k G_k e^{+j 4 pi f_k tau}.

    Parameters
    ----------
    frequency_hz [Hz]: even grid, shape (nf,).
    gamma: complex, shape (..., nf).
    delay_s [s]: shape (m,).

    Returns
    -------
    Complex, shape (..., m). For a few points; `delay_response` is for whole traces.
    """
    f, _, g = _checked(frequency_hz, gamma)
    tau = np.atleast_1d(np.asarray(delay_s, dtype=np.float64))
    if tau.ndim != 1 or tau.size * f.size > 100 * _MOST_POINTS:
        raise ValueError("delay_s is one row, and not that long: use delay_response")
    return np.asarray((g * window(f.size, beta)) @ np.exp(4j * np.pi * np.outer(f, tau)))


def delay_response(
    frequency_hz: ArrayLike,
    gamma: ArrayLike,
    start_s: float,
    step_s: float,
    count: int,
    beta: float = DEFAULT_BETA,
) -> Complexes:
    """
    Response at the one-way delays start + m step, m = 0 ... count - 1, by the chirp-z transform. Same sum as `response_at`.

    Source: Bluestein, A linear filtering approach to the computation of the discrete Fourier transform, 1970:
    k m = (k^2 + m^2 - (m - k)^2)/2 turns the sum into a convolution, done by FFT.
    """
    f, df, g = _checked(frequency_hz, gamma)
    if not 1 <= count <= _MOST_POINTS:
        raise ValueError(f"count lies between 1 and {_MOST_POINTS}")
    plan = _chirps if f.size + count <= _KEPT_POINTS else _chirps.__wrapped__
    before, kernel, after = plan(f.size, float(f[0]), df, float(start_s), float(step_s), count, beta)
    product = fft.ifft(fft.fft(g * before, kernel.size, axis=-1) * kernel, axis=-1)[..., :count]
    return np.asarray(product * after)


@lru_cache(maxsize=32)
def _chirps(
    n: int, first_hz: float, df: float, start_s: float, step_s: float, count: int, beta: float
) -> tuple[Complexes, Complexes, Complexes]:
    """Factors before the convolution, the transformed kernel of it, and factors behind it; the same for all sweeps of one grid."""
    theta = 4.0 * np.pi * df * step_s
    k, m = np.arange(n), np.arange(count)
    size = _fast_size(n + count - 1)
    before = window(n, beta) * np.exp(1j * (4.0 * np.pi * df * start_s * k + 0.5 * theta * k.astype(np.float64) ** 2))
    span = np.arange(-(n - 1), count, dtype=np.float64)
    kernel = np.zeros(size, dtype=np.complex128)
    kernel[span.astype(np.int64) % size] = np.exp(-0.5j * theta * span**2)
    tau = start_s + step_s * m
    after = np.exp(1j * (0.5 * theta * m.astype(np.float64) ** 2 + 4.0 * np.pi * first_hz * tau))
    return before, fft.fft(kernel), after


def _fast_size(least: int) -> int:
    """The smallest of 2^k, 3/4 and 5/8 of it that is large enough: sizes that an FFT does fast."""
    power = 1 << max(least - 1, 0).bit_length()
    return min(size for size in (power, 3 * power // 4, 5 * power // 8) if size >= least)


def whole_range(
    frequency_hz: ArrayLike, gamma: ArrayLike, start_s: float, least_count: int, beta: float = DEFAULT_BETA
) -> tuple[Floats, Floats]:
    """
    Size of the response over the whole range 1/(2 df) from a one-way delay on, by one padded FFT: |X| of `response_at`.

    Parameters
    ----------
    frequency_hz [Hz]: even grid, shape (nf,). gamma: complex, shape (..., nf).
    start_s [s]: first delay. least_count: points at least; the next power of two is taken.

    Returns
    -------
    Delays [s], shape (count,), and sizes, shape (..., count).
    """
    f, df, g = _checked(frequency_hz, gamma)
    if not 1 <= least_count <= _MOST_POINTS:
        raise ValueError(f"least_count lies between 1 and {_MOST_POINTS}")
    count = 1 << (max(least_count, f.size) - 1).bit_length()
    plan = _turns if count <= _KEPT_POINTS else _turns.__wrapped__
    delay, turns = plan(f.size, df, float(start_s), count, beta)
    return delay, np.abs(fft.ifft(g * turns, count, norm="forward"))


@lru_cache(maxsize=32)
def _turns(n: int, df: float, start_s: float, count: int, beta: float) -> tuple[Floats, Complexes]:
    """Delays of a whole range, and what weighs a sweep and turns it so that they start there; the same for all sweeps of one grid."""
    delay = np.asarray(start_s + np.arange(count) * (0.5 / df / count), dtype=np.float64)
    delay.setflags(write=False)
    return delay, np.asarray(window(n, beta) * np.exp(4j * np.pi * df * start_s * np.arange(n)))


def _knots(section_length_m: ArrayLike, section_velocity_factor: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Cumulated distance and delay at the section ends, starting with 0, and the velocity of each section."""
    if isinstance(section_length_m, list) and isinstance(
        section_velocity_factor, list
    ):  # of one design again and again
        try:
            return _knots_of(tuple(section_length_m), tuple(section_velocity_factor))
        except TypeError:  # a list of lists, which is told below
            pass
    return _knots_of.__wrapped__(section_length_m, section_velocity_factor)


@lru_cache(maxsize=256)
def _knots_of(section_length_m: ArrayLike, section_velocity_factor: ArrayLike) -> tuple[Floats, Floats, Floats]:
    length = np.atleast_1d(np.asarray(section_length_m, dtype=np.float64))
    v = np.broadcast_to(np.atleast_1d(velocity_m_per_s(section_velocity_factor)), length.shape)
    if length.ndim != 1 or length.size == 0 or not np.all(length > 0):
        raise ValueError("section_length_m is a row of lengths above 0")
    zero = np.zeros(1)
    return np.concatenate([zero, np.cumsum(length)]), np.concatenate([zero, np.cumsum(length / v)]), v


def distance_from_delay_m(
    delay_s: ArrayLike, section_length_m: ArrayLike, section_velocity_factor: ArrayLike
) -> Floats:
    """
    Distance from the test port for a one-way delay, m, section by section; beyond the ends with the nearest velocity.

    >>> distance_from_delay_m([0.0, 10e-9], [2.0, 30.0], [0.8, 0.9]).round(4).tolist()
    [0.0, 2.4481]
    """
    x, tau, v = _knots(section_length_m, section_velocity_factor)
    at = np.asarray(delay_s, dtype=np.float64)
    inside = np.interp(at, tau, x)
    return np.asarray(inside + np.minimum(at, 0.0) * v[0] + np.maximum(at - tau[-1], 0.0) * v[-1])


def delay_from_distance_s(
    distance_m: ArrayLike, section_length_m: ArrayLike, section_velocity_factor: ArrayLike
) -> Floats:
    """One-way delay of a distance from the test port, s: the inverse of `distance_from_delay_m`."""
    x, tau, v = _knots(section_length_m, section_velocity_factor)
    at = np.asarray(distance_m, dtype=np.float64)
    inside = np.interp(at, x, tau)
    return np.asarray(inside + np.minimum(at, 0.0) / v[0] + np.maximum(at - x[-1], 0.0) / v[-1])


def loss_to_distance_db(
    distance_m: ArrayLike, section_length_m: ArrayLike, section_attenuation_db_per_m: ArrayLike
) -> Floats:
    """One-way loss from the test port to a distance, dB; beyond the last section with its attenuation, 0 before the port."""
    length = np.atleast_1d(np.asarray(section_length_m, dtype=np.float64))
    a = np.broadcast_to(np.asarray(section_attenuation_db_per_m, dtype=np.float64), length.shape)
    if not (np.all(length > 0) and np.all(a >= 0)):
        raise ValueError("sections need a length above 0 and an attenuation of 0 or more")
    x = np.concatenate([np.zeros(1), np.cumsum(length)])
    loss = np.concatenate([np.zeros(1), np.cumsum(length * a)])
    at = np.asarray(distance_m, dtype=np.float64)
    return np.asarray(np.interp(at, x, loss) + np.maximum(at - x[-1], 0.0) * a[-1])


def distance_trace(
    frequency_hz: ArrayLike,
    gamma: ArrayLike,
    section_length_m: ArrayLike,
    section_velocity_factor: ArrayLike,
    section_attenuation_db_per_m: ArrayLike = 0.0,
    beyond_m: float = 2.0,
    count: int = 2001,
    beta: float = DEFAULT_BETA,
) -> Trace:
    """
    Reflection over distance from the test port to a little beyond the last section, freed from the line's loss.

    Parameters
    ----------
    frequency_hz [Hz], gamma: even grid (nf,) and complex reflection (..., nf).
    section_length_m [m], section_velocity_factor, section_attenuation_db_per_m [dB/m]: of the line as designed, from the
        test port on, shape (k,); attenuation at the middle of the sweep.
    beyond_m [m]: how far the axis goes on behind the last section.
    count, beta: points of the trace; Kaiser window.

    Returns
    -------
    Trace; response x 10^(+2 A/20) with A the one-way loss to the place, so that a lone joint reads its own |G|.
    """
    if not beyond_m >= 0 or count < 2:
        raise ValueError("beyond_m may not be negative, count is 2 or more")
    stop_m = float(np.sum(np.asarray(section_length_m, dtype=np.float64))) + beyond_m
    stop_s = float(delay_from_distance_s(stop_m, section_length_m, section_velocity_factor))
    delay = np.linspace(0.0, stop_s, count)
    raw = delay_response(frequency_hz, gamma, 0.0, stop_s / (count - 1), count, beta)
    distance = distance_from_delay_m(delay, section_length_m, section_velocity_factor)
    loss = loss_to_distance_db(distance, section_length_m, section_attenuation_db_per_m)
    return Trace(delay, distance, np.asarray(raw * 10.0 ** (loss / 10.0)))


def peaks(distance_m: ArrayLike, response: ArrayLike, floor_return_loss_db: float) -> Peaks:
    """
    Local maxima of |response| that are stronger than a floor, placed by a parabola through three points in dB.

    A missing peak is not "no joint": two joints in opposition can hide each other.

    Parameters
    ----------
    distance_m [m]: shape (m,), rising. response: shape (m,), complex or magnitude.
    floor_return_loss_db [dB]: peaks with a higher return loss are left out.
    """
    if np.ndim(response) != 1:
        raise ValueError("a trace of three points or more is needed, one response per distance")
    return peaks_of_each(distance_m, np.asarray(response)[None], np.array([floor_return_loss_db]))[0]


def peaks_of_each(distance_m: ArrayLike, responses: ArrayLike, floor_return_loss_db: ArrayLike) -> list[Peaks]:
    """
    `peaks` of several responses over the same distances.

    Parameters
    ----------
    distance_m [m]: shape (m,), rising. responses: shape (n, m), complex or magnitude.
    floor_return_loss_db [dB]: of each, shape (n,).
    """
    x, size = np.asarray(distance_m, dtype=np.float64), np.abs(np.asarray(responses))
    if x.ndim != 1 or size.ndim != 2 or x.size != size.shape[1] or x.size < 3:
        raise ValueError("a trace of three points or more is needed, one response per distance")
    floor = np.maximum(10.0 ** (-np.asarray(floor_return_loss_db, dtype=np.float64) / 20.0), _LEAST_SIZE)
    mid = size[:, 1:-1]
    row, at = np.nonzero((mid >= floor[:, None]) & (mid > size[:, :-2]) & (mid >= size[:, 2:]))
    at += 1
    a, b, c = 20.0 * np.log10(np.maximum(size[row, at + _BESIDE], _LEAST_SIZE))
    bend = a - 2.0 * b + c  # below 0 at a strict maximum
    shift = 0.5 * (a - c) / bend
    left = at - (shift < 0)
    place = x[left] + (at - left + shift) * (x[left + 1] - x[left])
    loss = np.asarray(-(b - 0.25 * (a - c) * shift)) + 0.0
    ends = row.searchsorted(np.arange(1, size.shape[0] + 1))
    return [Peaks(place[i:j], loss[i:j]) for i, j in pairwise((0, *ends.tolist()))]
