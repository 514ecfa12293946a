"""Level of intermodulation products from a two-tone specification, noise floor, noise rise, share in a channel."""

from __future__ import annotations

from math import lgamma, log

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import BOLTZMANN_J_PER_K

Floats = NDArray[np.float64]
TEST_CARRIER_DBM = 43.0  # two carriers of 20 W each: IEC 62037-1
THEORY_SLOPE = 3.0  # dB per dB of all carriers, order 3 of a pure cubic law; 1.6 to 2.8 is seen (common practice)
STEP_PER_TWO_ORDERS_DB = 15.0  # our default where no higher order is specified; no source
_REFERENCE_K = 290.0
_HARMONICS = 2048
_ROWS = 512


def dbm_from_dbc(level_dbc: ArrayLike, carrier_dbm: ArrayLike = TEST_CARRIER_DBM) -> Floats:
    """
    Level of a product in dBm from its ratio to one carrier: dBm = dBc + carrier. Any shapes that broadcast.

    Source: IEC 62037-1.

    >>> float(dbm_from_dbc(-140.0))
    -97.0
    """
    return np.asarray(np.asarray(level_dbc, dtype=np.float64) + np.asarray(carrier_dbm, dtype=np.float64))


def dbc_from_dbm(level_dbm: ArrayLike, carrier_dbm: ArrayLike = TEST_CARRIER_DBM) -> Floats:
    """
    Ratio of a product to one carrier, dBc = dBm - carrier.

    >>> float(dbc_from_dbm(-107.0))
    -150.0
    """
    return np.asarray(np.asarray(level_dbm, dtype=np.float64) - np.asarray(carrier_dbm, dtype=np.float64))


def specified_dbm(order: ArrayLike, third_order_dbm: ArrayLike, step_db: float = STEP_PER_TWO_ORDERS_DB) -> Floats:
    """
    Two-tone level of a higher order where only order 3 is specified, dBm: P(n) = P(3) - step (n - 3)/2.

    The default step is an assumption without a source; a specification of the higher order itself is better.

    >>> specified_dbm([3, 5, 7], -107.0).tolist()
    [-107.0, -122.0, -137.0]
    """
    n = np.asarray(order, dtype=np.float64)
    if not np.all(n >= 2):
        raise ValueError("order is 2 or more")
    return np.asarray(np.asarray(third_order_dbm, dtype=np.float64) - step_db * (n - 3.0) / 2.0)


def _log10_factorial(count: NDArray[np.int64]) -> Floats:
    table = np.array([lgamma(n + 1.0) / log(10.0) for n in range(int(count.max(initial=0)) + 1)])
    return np.asarray(table[count])


def product_level_dbm(
    coefficients: ArrayLike,
    carrier_dbm: ArrayLike,
    specified_dbm: ArrayLike,
    slope_db_per_db: ArrayLike | None = None,
    modulated: bool = True,
    test_carrier_dbm: float = TEST_CARRIER_DBM,
) -> Floats:
    """
    Level of products at their source, dBm.

    P = P_spec(n) + (s/n) sum |c_i| (P_i - P_0) + 20 log10(M_c/M_ref) + 10 log10 prod |c_i|!, the last term for
    modulated carriers only, with M_c = n!/prod |c_i|! and M_ref that of the two-tone product of the specification,
    coefficients (n + 1)/2 and (n - 1)/2 (both n/2 for an even order).

    Parameters
    ----------
    coefficients: shape (k, N) or (N,).
    carrier_dbm [dBm]: P_i at the source of the product (transmitted power less the line loss before it), shape (N,).
    specified_dbm [dBm]: two-tone level P_spec of each product's order, a number or shape (k,).
    slope_db_per_db [dB/dB]: s, rise of the product when all carriers rise by 1 dB together; a number or shape (k,);
        None is the theory, s = n.
    modulated: noise-like carriers; False for unmodulated tones.
    test_carrier_dbm [dBm]: P_0 of each of the two test carriers.

    Returns
    -------
    shape (k,), or () for one vector.

    Source: test carriers IEC 62037-1; multinomial and Gaussian terms own derivation (Price's theorem), checked by simulation.

    >>> round(float(product_level_dbm([2, -1], [45.0, 43.0], -107.0, 2.6, modulated=False)), 3)
    -103.533
    """
    c = np.abs(np.asarray(coefficients, dtype=np.int64))
    power = np.asarray(carrier_dbm, dtype=np.float64)
    if c.ndim not in (1, 2) or power.shape != c.shape[-1:]:
        raise ValueError("coefficients (k, N) and carrier_dbm (N,) must name the same carriers")
    n = c.sum(axis=-1)
    if not np.all(n >= 2):
        raise ValueError("a product has order 2 or more")
    slope = n.astype(np.float64) if slope_db_per_db is None else np.asarray(slope_db_per_db, dtype=np.float64)
    repeats = _log10_factorial(c).sum(axis=-1)
    reference = _log10_factorial((n + 1) // 2) + _log10_factorial(n // 2)
    level = (
        np.asarray(specified_dbm, dtype=np.float64)
        + slope / n * (c @ (power - test_carrier_dbm))
        + 20.0 * (reference - repeats)
    )
    return np.asarray(level + 10.0 * repeats if modulated else level)


def power_sum_dbm(level_dbm: ArrayLike, axis: int = -1) -> Floats:
    """
    Sum of independent levels, dBm: 10 log10 sum 10^(P/10). The mean of sources whose phases are not known.

    >>> round(float(power_sum_dbm([-100.0, -100.0])), 2)
    -96.99
    """
    return _sum(level_dbm, 10.0, axis)


def voltage_sum_dbm(level_dbm: ArrayLike, axis: int = -1) -> Floats:
    """
    Worst sum, dBm: 20 log10 sum 10^(P/20), all sources in phase.

    >>> round(float(voltage_sum_dbm([-100.0, -100.0])), 2)
    -93.98
    """
    return _sum(level_dbm, 20.0, axis)


def _sum(level_dbm: ArrayLike, scale: float, axis: int) -> Floats:
    level = np.asarray(level_dbm, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return np.asarray(scale * np.log10(np.sum(10.0 ** (level / scale), axis=axis)))


def noise_floor_dbm(
    bandwidth_hz: ArrayLike, noise_figure_db: ArrayLike = 0.0, temperature_k: float = _REFERENCE_K
) -> Floats:
    """
    Receiver noise in a bandwidth, dBm: N = 10 log10(k T B) + 30 + NF. Any shapes that broadcast.

    Source: Pozar, Microwave Engineering, chapter 10; k of the SI.

    >>> round(float(noise_floor_dbm(9e6, 3.0)), 3)
    -101.433
    """
    bandwidth = np.asarray(bandwidth_hz, dtype=np.float64)
    if not (np.all(bandwidth > 0) and temperature_k > 0):
        raise ValueError("bandwidth_hz and temperature_k lie above 0")
    power_w = BOLTZMANN_J_PER_K.value * temperature_k * bandwidth
    return np.asarray(10.0 * np.log10(power_w) + 30.0 + np.asarray(noise_figure_db, dtype=np.float64))


def noise_rise_db(interference_dbm: ArrayLike, noise_dbm: ArrayLike) -> Floats:
    """
    Rise of the receiver noise by an interference, dB: 10 log10(1 + 10^((I - N)/10)). Any shapes that broadcast.

    >>> round(float(noise_rise_db(-97.4, -102.7)), 2)
    6.42
    """
    ratio_db = np.asarray(interference_dbm, dtype=np.float64) - np.asarray(noise_dbm, dtype=np.float64)
    # logaddexp keeps its precision from -inf to thousands of dB.
    return np.asarray(10.0 / log(10.0) * np.logaddexp(0.0, ratio_db * log(10.0) / 10.0))


def channel_share(
    coefficients: ArrayLike, centres_hz: ArrayLike, widths_hz: ArrayLike, low_hz: ArrayLike, high_hz: ArrayLike
) -> Floats:
    """
    Share of the power of products that falls between two edges; carriers are flat over their widths.

    The spectrum of a product is the convolution of |c_i| copies of each carrier's, so its Fourier transform is a product
    of sinc functions; the share is the sum of its Fourier series over the channel.

    Parameters
    ----------
    coefficients: shape (k, N). centres_hz, widths_hz [Hz]: shape (N,).
    low_hz, high_hz [Hz]: edges of the channel, numbers or shape (k,).

    Returns
    -------
    Share, 0 to 1, shape (k,). Better than 1e-4 of the whole where two carriers have widths of one size.
    """
    c = np.asarray(coefficients, dtype=np.int64)
    centres, widths = np.asarray(centres_hz, dtype=np.float64), np.asarray(widths_hz, dtype=np.float64)
    if c.ndim != 2 or centres.shape != c.shape[1:] or widths.shape != centres.shape:
        raise ValueError("coefficients (k, N), centres_hz (N,) and widths_hz (N,) must name the same carriers")
    if not np.all(widths >= 0):
        raise ValueError("widths may not be negative")
    centre, total = c @ centres, np.abs(c) @ widths
    low = np.broadcast_to(np.asarray(low_hz, dtype=np.float64), centre.shape) - centre
    high = np.broadcast_to(np.asarray(high_hz, dtype=np.float64), centre.shape) - centre
    if not np.all(low <= high):
        raise ValueError("low_hz may not be above high_hz")
    out = np.empty(centre.shape)
    for first in range(0, centre.size, _ROWS):
        at = slice(first, first + _ROWS)
        out[at] = _share(np.abs(c[at]), widths, total[at], low[at], high[at])
    return out


def _share(c: NDArray[np.int64], widths: Floats, total: Floats, low: Floats, high: Floats) -> Floats:
    point = total == 0
    width = np.where(point, 1.0, total)
    a, b = np.clip(low, -width / 2, width / 2), np.clip(high, -width / 2, width / 2)
    # A single flat spectrum is a box; the series would ring at its edges.
    box = (c * (widths > 0)).sum(axis=1) == 1
    period = 2.0 * width
    m = np.arange(1, _HARMONICS + 1)
    transform = np.ones((c.shape[0], m.size))
    for i in np.flatnonzero(widths > 0):
        used = c[:, i]
        for power in range(1, int(used.max(initial=0)) + 1):
            rows = used >= power
            transform[rows] *= np.sinc(np.outer(widths[i] / period[rows], m))
    turn = 2.0 * np.pi * np.outer(1.0 / period, m)
    wave = np.sin(turn * b[:, None]) - np.sin(turn * a[:, None])
    series = (b - a) / period + np.sum(transform * wave / (np.pi * m), axis=1)
    share = np.where(box, (b - a) / width, series)
    share = np.where(b - a >= width, 1.0, np.clip(share, 0.0, 1.0))
    return np.asarray(np.where(point, (low < 0) & (high > 0), share), dtype=np.float64)
