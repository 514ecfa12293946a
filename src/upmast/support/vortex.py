"""Vortices behind a cable: their frequency, the winds that lock in, how far the cable swings, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source
from upmast.support.wind import AIR_KG_PER_M3

__all__ = [
    "AMPLITUDE_SOURCE",
    "CHAFE_HZ",
    "LOCK_IN",
    "NO_ACTION",
    "STROUHAL_EN",
    "STROUHAL_TEXTBOOK",
    "SWING",
    "LockIn",
    "Swing",
    "critical_wind_m_per_s",
    "lock_in",
    "scruton_number",
    "swing",
    "swing_ratio",
    "vortex_frequency_hz",
]

Array = NDArray[np.float64]
STROUHAL_TEXTBOOK = 0.2  # round cylinder below the critical Reynolds number
STROUHAL_EN = 0.18  # EN 1991-1-4, table E.1, circular cylinder (from memory)
LOCK_IN = (0.8, 1.25)  # of the critical wind: common practice, no source
MODE_FACTOR = 0.11  # K, clamped at both ends: EN 1991-1-4, table E.5 (from memory)
LENGTH_FACTOR = 0.6  # Kw, its upper bound: EN 1991-1-4, E.1.5.2.4 (from memory)
LATERAL = 0.7  # clat of a cylinder below the critical Reynolds number: EN 1991-1-4, table E.2 (from memory)
NO_ACTION = 0.02  # y / D below which nothing is done: common practice, no source
CHAFE_HZ = 1.0  # below it a cable rubs and knocks in gusts instead of locking in: common practice, no source
AMPLITUDE_SOURCE = Source("EN 1991-1-4", clause="annex E.1.5.2", mark=Mark.MEMORY)
SWING = ("chafe", "no action", "action")


def _positive(**values: Array) -> None:
    for name, value in values.items():
        if np.any(~(value > 0)):
            raise ValueError(f"{name} must be positive")


def vortex_frequency_hz(wind_m_per_s: ArrayLike, diameter_mm: ArrayLike, strouhal: ArrayLike) -> Array:
    """
    Frequency at which vortices leave a round cable: `f = St v / D`.

    Parameters
    ----------
    wind_m_per_s [m/s]: v, a mean wind. diameter_mm [mm]: D, iced if so.
    strouhal [1]: St, `STROUHAL_TEXTBOOK` 0.2 or `STROUHAL_EN` 0.18: say which. All broadcast.

    Returns
    -------
    Frequency [Hz]. Source: Strouhal, textbook.

    >>> float(vortex_frequency_hz(5.0, 28.0, STROUHAL_TEXTBOOK).round(1))
    35.7
    """
    v, d, st = (np.asarray(x, float) for x in (wind_m_per_s, diameter_mm, strouhal))
    _positive(diameter=d, strouhal=st)
    if np.any(~(v >= 0)):
        raise ValueError("wind can't be negative or missing")
    return np.asarray(st * v / (d * 1e-3))


def critical_wind_m_per_s(frequency_hz: ArrayLike, diameter_mm: ArrayLike, strouhal: ArrayLike) -> Array:
    """
    Wind whose vortices meet a natural frequency: `v = f D / St`.

    Parameters
    ----------
    frequency_hz [Hz]: f, see `upmast.support.clamped_frequency_hz`. diameter_mm [mm]: D. strouhal [1]: St. All broadcast.

    Returns
    -------
    Wind [m/s]. Source: Strouhal, textbook; EN 1991-1-4, equation E.2 (from memory).

    >>> float(critical_wind_m_per_s(17.80, 28.0, STROUHAL_TEXTBOOK).round(2))
    2.49
    """
    f, d, st = (np.asarray(x, float) for x in (frequency_hz, diameter_mm, strouhal))
    _positive(diameter=d, strouhal=st)
    if np.any(~(f >= 0)):
        raise ValueError("frequency can't be negative or missing")
    return np.asarray(f * d * 1e-3 / st)


@dataclass(frozen=True, slots=True, eq=False)
class LockIn:
    """Winds that lock in, from low_m_per_s to high_m_per_s [m/s], in the broadcast shape."""

    low_m_per_s: Array
    high_m_per_s: Array

    def holds(self, wind_m_per_s: ArrayLike) -> NDArray[np.bool_]:
        """Whether a wind lies in the band, ends included."""
        v = np.asarray(wind_m_per_s, float)
        return np.asarray((v >= self.low_m_per_s) & (v <= self.high_m_per_s))


def lock_in(low_hz: ArrayLike, high_hz: ArrayLike, diameter_mm: ArrayLike, strouhal: ArrayLike) -> LockIn:
    """
    Winds in which a cable may lock in: from 0.8 of the critical wind of the lower frequency to 1.25 of that of the higher.

    Parameters
    ----------
    low_hz, high_hz [Hz]: band of one natural frequency, from layers that slip and a solid section.
    diameter_mm [mm]: D. strouhal [1]: St. All broadcast.

    Returns
    -------
    `LockIn` [m/s]. Source: `critical_wind_m_per_s`; the band is common practice, no source.

    >>> found = lock_in(6.0, 17.8, 28.0, 0.2)
    >>> float(found.low_m_per_s.round(3)), float(found.high_m_per_s.round(3))
    (0.672, 3.115)
    """
    low, high = np.asarray(low_hz, float), np.asarray(high_hz, float)
    if np.any(~(low <= high)):
        raise ValueError("the lower frequency can't exceed the higher")
    return LockIn(
        np.asarray(LOCK_IN[0] * critical_wind_m_per_s(low, diameter_mm, strouhal)),
        np.asarray(LOCK_IN[1] * critical_wind_m_per_s(high, diameter_mm, strouhal)),
    )


def scruton_number(
    decrement: ArrayLike,
    mass_kg_per_m: ArrayLike,
    diameter_mm: ArrayLike,
    air_kg_per_m3: ArrayLike = AIR_KG_PER_M3,
) -> Array:
    """
    Damping of a cable against the air that it moves: `Sc = 2 delta m / (rho D^2)`.

    Parameters
    ----------
    decrement [1]: delta, logarithmic decrement of the structure, an input. mass_kg_per_m [kg/m]: m.
    diameter_mm [mm]: D. air_kg_per_m3 [kg/m3]: rho. All broadcast.

    Returns
    -------
    Number [1]. Source: EN 1991-1-4, equation E.4 (from memory).

    >>> float(scruton_number(0.05, 1.2, 28.0).round(1))
    122.4
    """
    delta, m, d, rho = (np.asarray(x, float) for x in (decrement, mass_kg_per_m, diameter_mm, air_kg_per_m3))
    _positive(decrement=delta, mass=m, diameter=d, density=rho)
    return np.asarray(2 * delta * m / (rho * (d * 1e-3) ** 2))


def swing_ratio(
    scruton: ArrayLike,
    strouhal: ArrayLike,
    mode_factor: ArrayLike = MODE_FACTOR,
    length_factor: ArrayLike = LENGTH_FACTOR,
    lateral: ArrayLike = LATERAL,
) -> Array:
    """
    Largest swing over the diameter: `y / D = K Kw clat / (St^2 Sc)`.

    Parameters
    ----------
    scruton [1]: Sc. strouhal [1]: St. mode_factor [1]: K, 0.11 clamped. length_factor [1]: Kw, 0.6 is its upper bound.
    lateral [1]: clat, 0.7. All broadcast.

    Returns
    -------
    Ratio [1]. Valid for small swings, y / D < 0.1. Source: EN 1991-1-4, equation E.7 (from memory).

    >>> float(swing_ratio(122.4, STROUHAL_EN).round(4))
    0.0116
    """
    sc, st, k, kw, c = (np.asarray(x, float) for x in (scruton, strouhal, mode_factor, length_factor, lateral))
    _positive(scruton=sc, strouhal=st)
    if np.any(~(k >= 0)) or np.any(~(kw >= 0)) or np.any(~(c >= 0)):
        raise ValueError("factors can't be negative or missing")
    return np.asarray(k * kw * c / (st**2 * sc))


@dataclass(frozen=True, slots=True, eq=False)
class Swing:
    """What a cable does in steady wind: kind, an index into `SWING` ('chafe', 'no action', 'action')."""

    kind: NDArray[np.int64]

    @property
    def names(self) -> NDArray[np.str_]:
        """`kind` in words."""
        return np.asarray(np.array(SWING)[self.kind])


def swing(frequency_hz: ArrayLike, ratio: ArrayLike) -> Swing:
    """
    Sorts a span: chafe below 1 Hz, no action below y / D = 0.02, else action (closer clamps, or a damper).

    Parameters
    ----------
    frequency_hz [Hz]: first natural frequency, the lower end of its band. ratio [1]: y / D. Broadcast.

    Returns
    -------
    `Swing` in the broadcast shape. Source: common practice, no source.

    >>> [str(name) for name in swing([0.6, 17.8, 17.8], [0.5, 0.0116, 0.03]).names]
    ['chafe', 'no action', 'action']
    """
    f, y = np.broadcast_arrays(np.asarray(frequency_hz, float), np.asarray(ratio, float))
    if np.any(~(f >= 0)) or np.any(~(y >= 0)):
        raise ValueError("frequency and swing can't be negative or missing")
    return Swing(np.asarray(np.where(f < CHAFE_HZ, 0, np.where(y < NO_ACTION, 1, 2)), np.int64))
