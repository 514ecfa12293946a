"""Delay of light in fibre, and differences of delay."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import SPEED_OF_LIGHT_M_PER_S, Constant
from upmast.source import Mark, Source

__all__ = [
    "DISPERSION_SLOPE_PS_PER_NM2_KM",
    "GROUP_INDEX_1310",
    "GROUP_INDEX_1550",
    "TEMPERATURE_DELAY_S_PER_M_K",
    "TIMING_STEP_S",
    "ZERO_DISPERSION_NM_WAVE",
    "delay_s",
    "dispersion_delay_s",
    "skew_s",
    "temperature_delay_s",
    "wave_delay_s",
    "wavelength_asymmetry_s",
]

Array = NDArray[np.float64]
_G652 = Source("data of standard single-mode fibre (ITU-T G.652, G.657)", clause="group index", mark=Mark.MEMORY)
GROUP_INDEX_1310 = Constant("n_g", 1.4677, "", _G652)
GROUP_INDEX_1550 = Constant("n_g", 1.4682, "", _G652)
TEMPERATURE_DELAY_S_PER_M_K = Constant(
    "dtau", 40e-15, "s/(m·K)", Source("common practice, no source", clause="40 ps/(km K)", mark=Mark.MEMORY)
)
# one chip is 1 / 3.84 MHz
TIMING_STEP_S = Constant(
    "T_c/32",
    1 / (3.84e6 * 32),
    "s",
    Source("CPRI specification", clause="delay accuracy", edition="7.0", mark=Mark.MEMORY),
)


ZERO_DISPERSION_NM_WAVE = Constant(
    "lambda_0",
    1312.0,
    "nm",
    Source("ITU-T G.652", clause="zero-dispersion wavelength, 1300 to 1324 nm", mark=Mark.MEMORY),
)
DISPERSION_SLOPE_PS_PER_NM2_KM = Constant(
    "S_0", 0.092, "ps/(nm²·km)", Source("ITU-T G.652", clause="zero-dispersion slope, at most", mark=Mark.MEMORY)
)
_LONG_WAVE_NM = 1450.0


def _check(index: Array) -> None:
    if np.any(index < 1):
        raise ValueError("a group index can't be below 1")


def delay_s(length_m: ArrayLike, group_index: ArrayLike = GROUP_INDEX_1310.value) -> Array:
    """
    One-way delay of light: `t = n_g L / c`.

    Parameters
    ----------
    length_m [m]: L of the strand, longer than its cable by the stranding. group_index [1]: n_g. Broadcast.

    Returns
    -------
    Delay [s]. Source: definition of the group index.

    >>> round(1e6 * float(delay_s(1000.0, 1.468)), 4)  # microseconds
    4.8967
    """
    length, n = np.asarray(length_m, float), np.asarray(group_index, float)
    _check(n)
    if np.any(length < 0):
        raise ValueError("length can't be negative")
    return np.asarray(n * length / SPEED_OF_LIGHT_M_PER_S.value)


def skew_s(one_m: ArrayLike, other_m: ArrayLike, group_index: ArrayLike = GROUP_INDEX_1310.value) -> Array:
    """
    Difference of delay of two strands of one link: `n_g (L_1 - L_2) / c`.

    Parameters
    ----------
    one_m, other_m [m]: L_1 and L_2. group_index [1]: n_g. Broadcast.

    Returns
    -------
    Skew [s], positive where the first is longer; clocks err by half of it. Source: definition of the group index.

    >>> round(1e9 * float(skew_s(101.0, 100.0)), 3)  # nanoseconds
    4.896
    """
    return np.asarray(delay_s(one_m, group_index) - delay_s(other_m, group_index))


def wavelength_asymmetry_s(length_m: ArrayLike, one_index: ArrayLike, other_index: ArrayLike) -> Array:
    """
    Difference of delay of the two directions on one strand: `(n_g1 - n_g2) L / c`.

    Parameters
    ----------
    length_m [m]: L. one_index, other_index [1]: group index at the two wavelengths. Broadcast.

    Returns
    -------
    Asymmetry [s]. Source: definition of the group index.

    >>> round(1e12 * float(wavelength_asymmetry_s(100.0, 1.4682, 1.4677)))  # picoseconds
    167
    """
    return np.asarray(delay_s(length_m, one_index) - delay_s(length_m, other_index))


def dispersion_delay_s(
    length_m: ArrayLike,
    wavelength_nm_wave: ArrayLike,
    zero_nm_wave: ArrayLike = ZERO_DISPERSION_NM_WAVE.value,
    slope: ArrayLike = DISPERSION_SLOPE_PS_PER_NM2_KM.value,
) -> Array:
    """
    Delay beyond that at the zero-dispersion wavelength: `dt = (S_0 / 8) L (lambda - lambda_0^2 / lambda)^2`.

    It is the integral of the dispersion `D = (S_0 / 4) (lambda - lambda_0^4 / lambda^3)` of matched-cladding fibre.

    Parameters
    ----------
    length_m [m]: L. wavelength_nm_wave, zero_nm_wave [nm]: lambda, lambda_0. slope [ps/(nm^2 km)]: S_0. Broadcast. Sound from
    1260 to 1625 nm.

    Returns
    -------
    Delay [s], never negative. Source: ITU-T G.652, form of the chromatic dispersion near 1310 nm; constants from memory.

    >>> round(1e12 * float(dispersion_delay_s(1000.0, 1550.0)))  # picoseconds a kilometre
    2221
    """
    length, wave, zero, s0 = (np.asarray(x, float) for x in (length_m, wavelength_nm_wave, zero_nm_wave, slope))
    if np.any(length < 0) or np.any(~(wave > 0)) or np.any(~(zero > 0)) or np.any(s0 < 0):
        raise ValueError("wavelengths must be positive, length and slope can't be negative")
    return np.asarray(s0 / 8 * (wave - zero**2 / wave) ** 2 * length * 1e-15)


def wave_delay_s(
    length_m: ArrayLike,
    wavelength_nm_wave: ArrayLike,
    index_1310: ArrayLike = GROUP_INDEX_1310.value,
    index_1550: ArrayLike = GROUP_INDEX_1550.value,
) -> Array:
    """
    One-way delay at any wavelength: the tabulated group index of the nearer of 1310 and 1550 nm, and dispersion from there.

    Parameters
    ----------
    length_m [m]: L. wavelength_nm_wave [nm]. index_1310, index_1550 [1]. Broadcast.

    Returns
    -------
    Delay [s]. Source: definition of the group index; ITU-T G.652 for the dispersion.

    >>> up, down = wave_delay_s(1000.0, [1270.0, 1330.0])
    >>> round(1e12 * float(up - down))  # picoseconds a kilometre between the two directions of one strand
    69
    """
    length, wave = np.asarray(length_m, float), np.asarray(wavelength_nm_wave, float)
    long = wave > _LONG_WAVE_NM
    index = np.where(long, np.asarray(index_1550, float), np.asarray(index_1310, float))
    near = np.where(long, 1550.0, 1310.0)
    return np.asarray(delay_s(length, index) + dispersion_delay_s(length, wave) - dispersion_delay_s(length, near))


def temperature_delay_s(
    length_m: ArrayLike, change_k: ArrayLike, per_m_k: ArrayLike = TEMPERATURE_DELAY_S_PER_M_K.value
) -> Array:
    """
    Change of delay with temperature: `dt = k L dT`.

    Parameters
    ----------
    length_m [m]: L. change_k [K]: dT. per_m_k [s/(m K)]: k, 40 ps/(km K) from memory. Broadcast.

    Returns
    -------
    Change [s]. Source: common practice, no source.

    >>> round(1e12 * float(temperature_delay_s(100.0, 60.0)))  # picoseconds
    240
    """
    length = np.asarray(length_m, float)
    if np.any(length < 0):
        raise ValueError("length can't be negative")
    return np.asarray(length * np.asarray(change_k, float) * np.asarray(per_m_k, float))
