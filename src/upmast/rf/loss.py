"""Coaxial line: attenuation over frequency and temperature, delay, turns, wavelength, and the fit of a data sheet."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K, SPEED_OF_LIGHT_M_PER_S

Floats = NDArray[np.float64]
C0_M_PER_S = SPEED_OF_LIGHT_M_PER_S.value
DB_PER_NEPER = 20.0 / np.log(10.0)
_GHZ = 1e9


def _not_negative(value: ArrayLike, name: str) -> Floats:
    out = np.asarray(value, dtype=np.float64)
    if not np.all(out >= 0):
        raise ValueError(f"{name} may not be negative")
    return out


def velocity_m_per_s(velocity_factor: ArrayLike) -> Floats:
    """Speed of the wave on the line: v = vf c_0, 0 < vf <= 1, any shape."""
    vf = np.asarray(velocity_factor, dtype=np.float64)
    if not np.all((vf > 0) & (vf <= 1)):
        raise ValueError("velocity_factor lies above 0 and not above 1")
    return np.asarray(vf * C0_M_PER_S)


def temperature_factor(
    temperature_c: ArrayLike, coefficient_per_k: float = COPPER_TEMPERATURE_COEFFICIENT_PER_K.value
) -> Floats:
    """
    Factor on the conductor part of the attenuation: k(T) = sqrt(1 + alpha_20 (T - 20)). Any shape.

    Skin loss goes with the root of the resistivity. Valid for common metals from about -60 to 150 C.
    Source: Pozar, Microwave Engineering, chapter 2 (surface resistance); IEC 60287-1-1 (alpha_20).
    """
    square = 1.0 + coefficient_per_k * (np.asarray(temperature_c, dtype=np.float64) - 20.0)
    if not np.all(square > 0):
        raise ValueError("temperature_c is below what the linear law of resistance allows")
    return np.asarray(np.sqrt(square))


def attenuation_db_per_m(
    frequency_hz: ArrayLike,
    root_db_per_m: ArrayLike,
    linear_db_per_m: ArrayLike = 0.0,
    temperature_c: ArrayLike = 20.0,
) -> Floats:
    """
    Attenuation of a coaxial line, dB/m: A = a sqrt(f/1 GHz) k(T) + b (f/1 GHz).

    Parameters
    ----------
    frequency_hz [Hz], temperature_c [C]: any shapes that broadcast with the coefficients.
    root_db_per_m [dB/m]: a, conductor part at 1 GHz and 20 C.
    linear_db_per_m [dB/m]: b, dielectric part at 1 GHz; taken as independent of temperature.

    Source: Pozar, Microwave Engineering, chapter 2 (conductor and dielectric loss of coaxial lines).

    >>> round(float(30 * attenuation_db_per_m(1.8e9, 0.07, 0.004, 50.0)), 4)
    3.1949
    """
    f = _not_negative(frequency_hz, "frequency_hz") / _GHZ
    a = _not_negative(root_db_per_m, "root_db_per_m")
    b = _not_negative(linear_db_per_m, "linear_db_per_m")
    return np.asarray(a * np.sqrt(f) * temperature_factor(temperature_c) + b * f)


def line_loss_db(
    frequency_hz: ArrayLike,
    length_m: ArrayLike,
    root_db_per_m: ArrayLike,
    linear_db_per_m: ArrayLike = 0.0,
    temperature_c: ArrayLike = 20.0,
) -> Floats:
    """One-way loss of a matched line, dB: A(f, T) L. Arguments as in `attenuation_db_per_m`; `length_m` [m]."""
    return np.asarray(
        attenuation_db_per_m(frequency_hz, root_db_per_m, linear_db_per_m, temperature_c)
        * _not_negative(length_m, "length_m")
    )


def propagation_per_m(
    frequency_hz: ArrayLike,
    velocity_factor: ArrayLike,
    root_db_per_m: ArrayLike,
    linear_db_per_m: ArrayLike = 0.0,
    temperature_c: ArrayLike = 20.0,
    skin_phase: bool = False,
) -> NDArray[np.complex128]:
    """
    Complex propagation constant, 1/m: gamma = A/8.685890 + j 2 pi f/v.

    `skin_phase` adds the inner inductance of the skin layer: the conductor part of the attenuation (neper/m) once more
    as phase. Over one band it is almost a constant offset, so it is off by default.
    """
    f = _not_negative(frequency_hz, "frequency_hz")
    alpha = attenuation_db_per_m(f, root_db_per_m, linear_db_per_m, temperature_c) / DB_PER_NEPER
    beta = 2.0 * np.pi * f / velocity_m_per_s(velocity_factor)
    if skin_phase:
        beta = beta + attenuation_db_per_m(f, root_db_per_m, 0.0, temperature_c) / DB_PER_NEPER
    return np.asarray(alpha + 1j * beta)


def delay_s(
    length_m: ArrayLike,
    velocity_factor: ArrayLike,
    temperature_c: ArrayLike = 20.0,
    delay_coefficient_per_k: ArrayLike = 0.0,
) -> Floats:
    """
    One-way delay, s: tau = L/v (1 + tc (T - 20)). `delay_coefficient_per_k` [1/K] is of the order of 1e-5; default 0.

    >>> round(float(delay_s(1.85, 0.81)) * 1e9, 5)
    7.61844
    """
    drift = 1.0 + np.asarray(delay_coefficient_per_k, dtype=np.float64) * (
        np.asarray(temperature_c, dtype=np.float64) - 20.0
    )
    return np.asarray(_not_negative(length_m, "length_m") / velocity_m_per_s(velocity_factor) * drift)


def turns(frequency_hz: ArrayLike, length_m: ArrayLike, velocity_factor: ArrayLike) -> Floats:
    """
    Electrical length, one way, in turns of 360 degrees: f L/v.

    >>> round(float(turns(2.6e9, 1.85, 0.81)), 5)
    19.80794
    """
    return np.asarray(_not_negative(frequency_hz, "frequency_hz") * delay_s(length_m, velocity_factor))


def wavelength_m(frequency_hz: ArrayLike, velocity_factor: ArrayLike = 1.0) -> Floats:
    """
    Wavelength on the line, m: v/f; infinite at 0 Hz.

    >>> round(float(wavelength_m(2.6e9, 0.81)) * 1e3, 3)
    93.397
    """
    with np.errstate(divide="ignore"):
        return np.asarray(velocity_m_per_s(velocity_factor) / _not_negative(frequency_hz, "frequency_hz"))


class AttenuationFit(NamedTuple):
    """Coefficients of A = a sqrt(f/1 GHz) + b (f/1 GHz) at 20 C, and the largest relative miss of a tabulated point."""

    root_db_per_m: float
    linear_db_per_m: float
    largest_miss: float


def fit_attenuation(
    frequency_hz: ArrayLike, attenuation_db_per_m: ArrayLike, temperature_c: float = 20.0
) -> AttenuationFit:
    """
    Coefficients a, b >= 0 that fit tabulated attenuation best, by least squares of the *relative* misses.

    Relative, because a data sheet rounds each value to so many digits. A coefficient that would turn out negative is 0.

    Parameters
    ----------
    frequency_hz [Hz], attenuation_db_per_m [dB/m]: two or more points, at two or more frequencies, shape (n,).
    temperature_c [C]: of the table.

    Source: Lawson and Hanson, Solving Least Squares Problems (non-negative least squares), closed form for two unknowns.

    >>> fit = fit_attenuation([0.9e9, 1.8e9, 2.6e9], [0.0700, 0.1011, 0.1233])
    >>> round(fit.root_db_per_m, 3), round(fit.linear_db_per_m, 3), fit.largest_miss < 0.001
    (0.07, 0.004, True)
    """
    f = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64)) / _GHZ
    target = np.atleast_1d(np.asarray(attenuation_db_per_m, dtype=np.float64))
    if f.ndim != 1 or f.shape != target.shape:
        raise ValueError("frequency_hz and attenuation_db_per_m hold one value each per tabulated point")
    if not (np.all(f > 0) and np.all(target > 0) and np.all(np.isfinite(f)) and np.all(np.isfinite(target))):
        raise ValueError("tabulated points need a frequency and an attenuation above 0")
    if np.unique(f).size < 2:
        raise ValueError("two coefficients need points at two frequencies or more")
    columns = np.stack([np.sqrt(f) * temperature_factor(temperature_c), f], axis=1) / target[:, None]
    ones = np.ones_like(f)
    best = np.linalg.lstsq(columns, ones, rcond=None)[0]
    if np.any(best < 0):
        alone = (columns.T @ ones) / np.sum(columns**2, axis=0)
        tries = np.diag(alone)
        best = tries[np.argmin(np.sum((tries @ columns.T - 1.0) ** 2, axis=1))]
    return AttenuationFit(float(best[0]), float(best[1]), float(np.max(np.abs(columns @ best - 1.0))))
