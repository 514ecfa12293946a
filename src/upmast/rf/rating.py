"""Power that a cable or a connector bears: average with temperature, height and standing waves, and peak of many carriers."""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.loss import attenuation_db_per_m

__all__ = [
    "Governing",
    "air_density_ratio",
    "average_rating_w",
    "envelope_peak_w",
    "governing",
    "peak_rating_w",
    "standing_wave_factor",
]

Array = NDArray[np.float64]
RADIATED_SHARE = 0.5  # of the heat that a cable gives off, the rest by natural convection: own default, an input
PEAK_FACTOR_DB = 10.0  # of a noise-like carrier: common practice, no source
_GRADIENT_PER_M, _EXPONENT = 2.25577e-5, 5.25588


class Governing(NamedTuple):
    """Which rating is used up most: its share of the rating, and its name."""

    share: float
    name: str


def air_density_ratio(height_m: ArrayLike) -> Array:
    """
    Pressure over that at sea level in the standard atmosphere: `(1 - 2.25577e-5 h)^5.25588`, to 11 km.

    Source: ISO 2533, pressure of the standard atmosphere.

    >>> air_density_ratio([0.0, 1500.0]).round(4)
    array([1.    , 0.8345])
    """
    h = np.asarray(height_m, float)
    if np.any(~((h >= -500) & (h <= 11_000))):
        raise ValueError("height_m lies between -500 m and 11 km")
    return np.asarray((1 - _GRADIENT_PER_M * h) ** _EXPONENT)


def standing_wave_factor(vswr: ArrayLike, spread: bool = False) -> Array:
    """
    How much hotter the hottest place of a line is for the same net power: S, or `(S^2 + 1) / (2 S)` where heat spreads.

    Parameters
    ----------
    vswr [1]: S, 1 or more. spread: heat evens out over a quarter wave.

    Source: `I_max^2 Z0 = P S` of a lossless line, textbook.

    >>> float(standing_wave_factor(1.4)), float(standing_wave_factor(1.4, spread=True).round(4))
    (1.4, 1.0571)
    """
    s = np.asarray(vswr, float)
    if np.any(~(s >= 1)):
        raise ValueError("vswr is 1 or more")
    return np.asarray((s**2 + 1) / (2 * s) if spread else s)


def average_rating_w(
    rated_w: ArrayLike,
    rated_hz: ArrayLike,
    frequency_hz: ArrayLike,
    root_db_per_m: ArrayLike,
    linear_db_per_m: ArrayLike,
    hottest_c: ArrayLike,
    rated_ambient_c: ArrayLike,
    ambient_c: ArrayLike,
    height_m: ArrayLike = 0.0,
    vswr: ArrayLike = 1.0,
    radiated_share: float = RADIATED_SHARE,
    spread: bool = False,
) -> Array:
    """
    Average power that a cable bears.

    `P = P_ref A(f_ref) / A(f) (T_max - T_amb) / (T_max - T_ref) (r + (1 - r) sqrt(sigma)) / F_S`.

    Parameters
    ----------
    rated_w [W] at rated_hz [Hz] and rated_ambient_c [C]: of the data sheet. frequency_hz [Hz]. root_db_per_m, linear_db_per_m: of the
    cable's loss. hottest_c [C]: of its inner conductor. ambient_c [C], sun included. height_m [m] above the sea. vswr [1].
    radiated_share [1]: r. spread: see `standing_wave_factor`. Broadcast.

    Returns
    -------
    Net power [W]; 0 where the air is as hot as the conductor may be.

    Source: own derivation: heat goes with loss, convection with the root of density (natural convection), see `air_density_ratio`.

    >>> round(float(average_rating_w(400, 2e9, 1.8e9, 0.1, 0.004, 85, 40, 50, 1500, 1.4)), 2)
    224.73
    """
    rated, top, ref, air = (np.asarray(x, float) for x in (rated_w, hottest_c, rated_ambient_c, ambient_c))
    if np.any(~(rated > 0)) or np.any(~(top > ref)) or not 0 <= radiated_share <= 1:
        raise ValueError("a rating above 0 W, a hottest temperature above that of the rating, and a share from 0 to 1")
    loss = attenuation_db_per_m(rated_hz, root_db_per_m, linear_db_per_m) / attenuation_db_per_m(
        frequency_hz, root_db_per_m, linear_db_per_m
    )
    cooled = radiated_share + (1 - radiated_share) * np.sqrt(air_density_ratio(height_m))
    warm = np.maximum(top - air, 0.0) / (top - ref)
    return np.asarray(rated * loss * warm * cooled / standing_wave_factor(vswr, spread))


def envelope_peak_w(carrier_w: ArrayLike, peak_factor_db: ArrayLike = PEAK_FACTOR_DB) -> Array:
    """
    Peak envelope power of carriers that add: `(sum sqrt(P_i 10^(PAR_i / 10)))^2`, over the last axis.

    Parameters
    ----------
    carrier_w [W]: average of each. peak_factor_db [dB]: peak over average of each.

    Source: sum of amplitudes; 10 dB for a noise-like carrier: common practice, no source.

    >>> float(envelope_peak_w([20.0, 20.0], 0.0).round(6)), float(envelope_peak_w([40.0], 10.0).round(6))
    (80.0, 400.0)
    """
    p, factor = np.broadcast_arrays(np.atleast_1d(np.asarray(carrier_w, float)), np.asarray(peak_factor_db, float))
    if np.any(~(p >= 0)) or np.any(~(factor >= 0)):
        raise ValueError("powers and peak factors may not be negative")
    return np.asarray(np.sqrt(p * 10 ** (factor / 10)).sum(axis=-1) ** 2)


def peak_rating_w(rated_peak_w: ArrayLike, height_m: ArrayLike = 0.0, vswr: ArrayLike = 1.0) -> Array:
    """
    Peak power that a connector or cable bears: `P_pk sigma^2 / S`, breakdown voltage taken as proportional to pressure.

    Parameters
    ----------
    rated_peak_w [W]: at sea level, matched. height_m [m], vswr [1]. Broadcast.

    Source: own derivation; that breakdown goes with pressure is an assumption of the safe side (Paschen's law near its right branch).

    >>> round(float(peak_rating_w(10_000, 1500, 1.4)), 1)
    4974.2
    """
    rated = np.asarray(rated_peak_w, float)
    if np.any(~(rated > 0)):
        raise ValueError("rated_peak_w lies above 0")
    return np.asarray(rated * air_density_ratio(height_m) ** 2 / standing_wave_factor(vswr))


Rating = Literal["cable, average", "connector, average", "cable, peak", "connector, peak"]


def governing(used: dict[Rating, float]) -> Governing:
    """
    The rating that is used up most, of those that are known.

    Parameters
    ----------
    used: power over rating by name.

    >>> governing({"cable, average": 0.4, "connector, peak": 0.7})
    Governing(share=0.7, name='connector, peak')
    """
    if not used or any(not v >= 0 for v in used.values()):
        raise ValueError("one rating at least, with a share that is not negative")
    name = max(used, key=lambda key: used[key])
    return Governing(float(used[name]), name)
