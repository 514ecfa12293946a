"""Optical power budget: worst, best and statistical loss, margins, attenuators, reflections. Arrays over links."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "StatisticalLoss",
    "best_loss_db",
    "chain_return_loss_db",
    "channel_margin_db",
    "choose_attenuator_db",
    "low_margin_db",
    "open_end_reflectance_db",
    "overload_margin_db",
    "statistical_loss_db",
    "worst_loss_db",
]

Array = NDArray[np.float64]


class StatisticalLoss(NamedTuple):
    """Mean, standard deviation, and mean + z sigma, all in dB. Not a bound: connector loss is skewed."""

    mean_db: Array
    sigma_db: Array
    loss_db: Array


def _floats(*values: ArrayLike) -> list[Array]:
    return [np.asarray(value, float) for value in values]


def _not_negative(**values: Array) -> None:
    for name, value in values.items():
        if np.any(value < 0):
            raise ValueError(f"{name} can't be negative")


def _events(loss_db: ArrayLike, count: ArrayLike) -> Array:
    """Sum over the kinds of event along the last axis."""
    loss, n = np.atleast_1d(np.asarray(loss_db, float)), np.atleast_1d(np.asarray(count, float))
    _not_negative(event_loss=loss, event_count=n)
    return np.asarray((loss * n).sum(-1))


def worst_loss_db(
    attenuation_db_per_km: ArrayLike,
    length_m: ArrayLike,
    event_db: ArrayLike = 0.0,
    event_count: ArrayLike = 1.0,
    bend_db: ArrayLike = 0.0,
    repair_db: ArrayLike = 0.0,
) -> Array:
    """
    Largest loss of a link: `A_max = a_max L + sum n_i A_i,max + A_bend + A_repair`.

    Parameters
    ----------
    attenuation_db_per_km [dB/km]: a_max. length_m [m]: L, of one strand.
    event_db [dB], event_count: A_i,max and n_i of each kind of event (splice, mated pair) along the last axis.
    bend_db, repair_db [dB]: bends, and the allowance for repairs. Broadcast, without the last axis.

    Returns
    -------
    Loss [dB]. Source: IEC 61280-4-2 and ISO/IEC 11801 in form; the sum of maxima is the worst case.

    >>> float(worst_loss_db(0.40, 310.0, [0.5, 0.75], [2, 2], 0.1).round(3))
    2.724
    """
    a, length, bend, repair = _floats(attenuation_db_per_km, length_m, bend_db, repair_db)
    _not_negative(attenuation=a, length=length, bend_loss=bend, repair_allowance=repair)
    return np.asarray(a * length * 1e-3 + _events(event_db, event_count) + bend + repair)


def best_loss_db(
    attenuation_db_per_km: ArrayLike, length_m: ArrayLike, event_db: ArrayLike = 0.0, event_count: ArrayLike = 1.0
) -> Array:
    """
    Smallest loss of a link: `A_min = a_min L + sum n_i A_i,min`; events count nothing unless a least loss is known.

    Parameters
    ----------
    attenuation_db_per_km [dB/km]: a_min. length_m [m]: L. event_db [dB], event_count: A_i,min and n_i, last axis.

    Returns
    -------
    Loss [dB]. Source: own derivation (bound).

    >>> float(best_loss_db(0.32, 310.0).round(4))
    0.0992
    """
    a, length = _floats(attenuation_db_per_km, length_m)
    _not_negative(attenuation=a, length=length)
    return np.asarray(a * length * 1e-3 + _events(event_db, event_count))


def statistical_loss_db(
    attenuation_db_per_km: ArrayLike,
    length_m: ArrayLike,
    event_mean_db: ArrayLike,
    event_sigma_db: ArrayLike,
    event_count: ArrayLike = 1.0,
    z: ArrayLike = 3.0,
) -> StatisticalLoss:
    """
    Loss by independent events: `mean = a L + sum n_i mu_i`, `sigma = sqrt(sum n_i sigma_i^2)`, `mean + z sigma`.

    Parameters
    ----------
    attenuation_db_per_km [dB/km]: mean a. length_m [m]: L.
    event_mean_db, event_sigma_db [dB], event_count: mu_i, sigma_i and n_i along the last axis. z [1]: 3 by default.

    Returns
    -------
    `StatisticalLoss`, without the last axis. **Never a bound**: as connector loss is skewed, mean + 3 sigma may lie below
    the 99.865 % point. Show the worst case beside it.

    Source: IEC TR 61282-3 in form (addition of means and variances).

    >>> float(statistical_loss_db(0.35, 1000.0, [0.12], [0.07], [4]).loss_db.round(2))
    1.25
    """
    a, length, mean, sigma, n, factor = _floats(
        attenuation_db_per_km, length_m, event_mean_db, event_sigma_db, event_count, z
    )
    _not_negative(attenuation=a, length=length, sigma=sigma, event_count=n, z=factor)
    total = np.asarray(a * length * 1e-3 + _events(mean, n))
    spread = np.sqrt((np.atleast_1d(sigma) ** 2 * np.atleast_1d(n)).sum(-1))
    total, spread = np.broadcast_arrays(total, spread)
    return StatisticalLoss(total, spread, np.asarray(total + factor * spread))


def low_margin_db(tx_min_dbm: ArrayLike, worst_db: ArrayLike, rx_min_dbm: ArrayLike) -> Array:
    """
    Margin of the weakest light: `P_tx,min - A_max - P_rx,min`.

    Parameters
    ----------
    tx_min_dbm, rx_min_dbm [dBm]: average power. worst_db [dB]: from `worst_loss_db`. Broadcast.

    Returns
    -------
    Margin [dB]; negative: too dark. Average minimum is informative in the standard, amplitude less penalty is normative.
    Source: IEEE 802.3 in form.

    >>> float(low_margin_db(-8.2, 2.724, -14.4).round(3))
    3.476
    """
    tx, worst, rx = _floats(tx_min_dbm, worst_db, rx_min_dbm)
    return np.asarray(tx - worst - rx)


def overload_margin_db(rx_max_dbm: ArrayLike, tx_max_dbm: ArrayLike, best_db: ArrayLike) -> Array:
    """
    Margin of the strongest light: `P_rx,max - (P_tx,max - A_min)`.

    Parameters
    ----------
    rx_max_dbm, tx_max_dbm [dBm]: average power. best_db [dB]: from `best_loss_db`. Broadcast.

    Returns
    -------
    Margin [dB]; negative: too bright, an attenuator of at least that much is needed. Source: IEEE 802.3 in form.

    >>> float(overload_margin_db(0.5, 0.5, 0.0992).round(4))
    0.0992
    """
    rx, tx, best = _floats(rx_max_dbm, tx_max_dbm, best_db)
    return np.asarray(rx - (tx - best))


def channel_margin_db(channel_limit_db: ArrayLike, worst_db: ArrayLike) -> Array:
    """
    Margin to the channel insertion loss of the optical class: `A_limit - A_max`.

    Parameters
    ----------
    channel_limit_db, worst_db [dB]: broadcast.

    Returns
    -------
    Margin [dB]. Source: IEEE 802.3 in form.

    >>> float(channel_margin_db(6.2, 2.724).round(3))
    3.476
    """
    limit, worst = _floats(channel_limit_db, worst_db)
    return np.asarray(limit - worst)


def choose_attenuator_db(
    overload_db: ArrayLike, low_db: ArrayLike, values_db: ArrayLike, tolerance_db: ArrayLike = 0.5
) -> Array:
    """
    Smallest attenuator that cures an overload and leaves enough light.

    `value - tolerance >= -overload` and `value + tolerance <= low margin`; 0 where no overload is.

    Parameters
    ----------
    overload_db, low_db [dB]: from `overload_margin_db` and `low_margin_db`, broadcast.
    values_db [dB]: nominal values that can be had, one axis. tolerance_db [dB]: of each of them, or one for all.

    Returns
    -------
    Value [dB] in the shape of the margins; NaN where none fits: take a shorter optical class.

    Source: own derivation.

    >>> choose_attenuator_db([0.1, -4.9, -4.9], [3.0, 8.0, 5.0], [3.0, 5.0, 7.0, 10.0])
    array([ 0.,  7., nan])
    """
    over, low, values, tolerance = _floats(overload_db, low_db, values_db, tolerance_db)
    if values.ndim != 1:
        raise ValueError("the values that can be had have one axis")
    if np.any(values <= 0):
        raise ValueError("attenuators must be positive")
    _not_negative(tolerance=tolerance)
    order = np.argsort(values)
    values, tolerance = values[order], np.broadcast_to(tolerance, values.shape)[order]
    over, low = np.broadcast_arrays(over, low)
    fits = (values - tolerance >= -over[..., None]) & (values + tolerance <= low[..., None])
    padded = np.append(values, np.nan)
    first = np.where(fits.any(-1), fits.argmax(-1) if values.size else 0, values.size)
    return np.asarray(np.where(over >= 0, 0.0, padded[first]))


def open_end_reflectance_db(index: ArrayLike) -> Array:
    """
    Reflectance of an open flat end of glass in air: `10 lg ((n - 1) / (n + 1))^2`.

    Parameters
    ----------
    index [1]: n of the glass, above 1; any shape.

    Returns
    -------
    Reflectance [dB], negative. Source: Fresnel's equation at right angle.

    >>> float(open_end_reflectance_db(1.468).round(2))
    -14.44
    """
    n = np.asarray(index, float)
    if np.any(n <= 1):
        raise ValueError("the index of glass is above 1")
    return np.asarray(20 * np.log10((n - 1) / (n + 1)))


def chain_return_loss_db(reflectance_db: ArrayLike, loss_before_db: ArrayLike) -> Array:
    """
    Return loss of a chain of reflecting events: `-10 lg sum 10^((R_i - 2 A_i) / 10)`.

    Parameters
    ----------
    reflectance_db [dB]: R_i, negative, of each event along the last axis; minus infinity where there is none.
    loss_before_db [dB]: A_i, loss once from the near end to the event. Broadcast.

    Returns
    -------
    Return loss [dB], positive, without the last axis. Powers add: the light is taken as incoherent, no double reflection.

    Source: own derivation (power sum).

    >>> float(chain_return_loss_db([-50.0, -50.0], [0.0, 0.0]).round(2))
    46.99
    """
    r, loss = np.broadcast_arrays(*(np.atleast_1d(x) for x in _floats(reflectance_db, loss_before_db)))
    if np.any(r > 0):
        raise ValueError("reflectance can't be above 0 dB")
    _not_negative(loss_before=loss)
    with np.errstate(divide="ignore"):
        return np.asarray(-10 * np.log10((10 ** ((r - 2 * loss) / 10)).sum(-1)))
