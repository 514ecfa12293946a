"""Natural frequencies of a cable between its clamps, and of a loose end that hangs."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.support.stiffness import euler_load_n

__all__ = [
    "SMALL_TENSION",
    "clamped_estimate_hz",
    "clamped_frequency_hz",
    "hanging_frequency_hz",
    "pinned_frequency_hz",
    "string_frequency_hz",
    "tension_ratio",
]

Array = NDArray[np.float64]
_G = STANDARD_GRAVITY_M_PER_S2.value
SMALL_TENSION = 20.0  # T L^2 / EI up to which the estimate of the clamped beam stays within 0.2 %: own computation
_CLAMPED = 22.373  # (first root of cos x cosh x = 1)^2
_SLOPE = 0.0246  # of the square of the clamped frequency over T L^2 / EI: own computation
_BESSEL_ZERO = 2.404825557695773  # first zero of J0
_STRING = 1e12  # T L^2 / EI from which 1 + 2 sqrt(EI / T) / L on the string is exact to the last digit
_HALVINGS = 60  # of a bracket of width pi: far below the last digit


def _inputs(*values: ArrayLike) -> tuple[Array, ...]:
    """Length, tension, stiffness, mass, mode: broadcast and checked, but for the sign of the tension."""
    arrays = tuple(np.array(x) for x in np.broadcast_arrays(*(np.asarray(x, float) for x in values)))
    length, tension, stiffness, mass, mode = arrays
    if np.any(~(length > 0)) or np.any(~(mass > 0)):
        raise ValueError("length and mass must be positive")
    if np.any(~(stiffness >= 0)) or np.any(~np.isfinite(stiffness)) or np.any(~np.isfinite(tension)):
        raise ValueError("stiffness can't be negative, and stiffness and tension can't be missing")
    if np.any(~(mode >= 1)) or np.any(mode != np.floor(mode)):
        raise ValueError("the mode must be 1, 2, 3 and so on")
    return arrays


def tension_ratio(length_m: ArrayLike, tension_n: ArrayLike, stiffness_nm2: ArrayLike) -> Array:
    """
    Says whether a cable is a beam (small) or a string (large): `T L^2 / EI`.

    Parameters
    ----------
    length_m [m]: L. tension_n [N]: T. stiffness_nm2 [N m2]: EI, positive. Broadcast.

    Returns
    -------
    Ratio [1]. Source: own derivation (equation of the beam made dimensionless).

    >>> float(tension_ratio(1.0, 150.0, 30.0))
    5.0
    """
    length, tension, ei = (np.asarray(x, float) for x in (length_m, tension_n, stiffness_nm2))
    if np.any(~(length > 0)) or np.any(~(ei > 0)) or np.any(np.isnan(tension)):
        raise ValueError("length and stiffness must be positive and the tension can't be missing")
    return np.asarray(tension * length**2 / ei)


def string_frequency_hz(
    length_m: ArrayLike, tension_n: ArrayLike, mass_kg_per_m: ArrayLike, mode: ArrayLike = 1
) -> Array:
    """
    Frequency of a limp cable under tension: `f = n sqrt(T / m) / (2 L)`.

    Parameters
    ----------
    length_m [m]: L between the clamps. tension_n [N]: T. mass_kg_per_m [kg/m]: m, with ice if iced. mode: n. Broadcast.

    Returns
    -------
    Frequency [Hz], a lower bound for any cable with stiffness. Source: textbook, vibrating string.

    >>> float(string_frequency_hz(1.0, 150.0, 1.2).round(2))
    5.59
    """
    length, tension, _, m, n = _inputs(length_m, tension_n, 0.0, mass_kg_per_m, mode)
    if np.any(tension < 0):
        raise ValueError("a string can't be pushed: tension can't be negative")
    return np.asarray(n * np.sqrt(tension / m) / (2 * length))


def pinned_frequency_hz(
    length_m: ArrayLike,
    tension_n: ArrayLike,
    stiffness_nm2: ArrayLike,
    mass_kg_per_m: ArrayLike,
    mode: ArrayLike = 1,
) -> Array:
    """
    Frequency of a cable whose ends can turn: `f = n / (2 L) sqrt((T + n^2 pi^2 EI / L^2) / m)`, exact.

    The same as the string's times `sqrt(1 + n^2 pi^2 EI / (T L^2))`.

    Parameters
    ----------
    length_m [m]: L. tension_n [N]: T, negative for compression. stiffness_nm2 [N m2]: EI. mass_kg_per_m [kg/m]: m.
    mode: n. All broadcast.

    Returns
    -------
    Frequency [Hz]. Raises ValueError where compression exceeds Euler's load. Source: textbook, tensioned beam on pins.

    >>> float(pinned_frequency_hz(1.0, 150.0, 30.0, 1.2).round(3))
    9.64
    """
    length, tension, ei, m, n = _inputs(length_m, tension_n, stiffness_nm2, mass_kg_per_m, mode)
    if np.any(tension < -euler_load_n(length, ei, clamped=False)):
        raise ValueError("compression beyond Euler's load: the cable must bow and has no straight shape to swing about")
    return np.asarray(n / (2 * length) * np.sqrt((tension + (n * math.pi / length) ** 2 * ei) / m))


def clamped_estimate_hz(
    length_m: ArrayLike, tension_n: ArrayLike, stiffness_nm2: ArrayLike, mass_kg_per_m: ArrayLike
) -> Array:
    """
    First frequency of a cable clamped at both ends, for small tension.

    `f = 22.373 / (2 pi L^2) sqrt(EI / m) sqrt(1 + 0.0246 T L^2 / EI)`

    Parameters
    ----------
    length_m [m]: L. tension_n [N]: T, not negative. stiffness_nm2 [N m2]: EI, positive. mass_kg_per_m [kg/m]: m. Broadcast.

    Returns
    -------
    Frequency [Hz]: 0.2 % high at T L^2 / EI = 20, 1.5 % at 100. Raises ValueError above 20: see `clamped_frequency_hz`.

    Source: textbook, clamped beam; correction by own computation.

    >>> clamped_estimate_hz(1.0, [0.0, 150.0], 30.0, 1.2).round(2)
    array([17.8 , 18.87])
    """
    length, tension, ei, m, _ = _inputs(length_m, tension_n, stiffness_nm2, mass_kg_per_m, 1)
    ratio = tension_ratio(length, tension, ei)
    if np.any(ratio < 0) or np.any(ratio > SMALL_TENSION * (1 + 1e-12)):
        raise ValueError(f"the estimate must have T L^2 / EI between 0 and {SMALL_TENSION:g}")
    return np.asarray(_CLAMPED / (2 * math.pi * length**2) * np.sqrt(ei / m * (1 + _SLOPE * ratio)))


def _residual(b: Array, ratio: Array) -> Array:
    """Characteristic equation over `a cosh a`: `2 b (sech a - cos b) + tau tanh a / a sin b`, with `a^2 = b^2 + tau`."""
    a = np.sqrt(np.maximum(b**2 + ratio, 0.0))
    decay = np.exp(-a)
    small = a < 1e-6
    slope = np.where(small, 1.0, np.tanh(a) / np.where(small, 1.0, a))
    return np.asarray(2 * b * (2 * decay / (1 + decay**2) - np.cos(b)) + ratio * slope * np.sin(b))


def clamped_frequency_hz(
    length_m: ArrayLike,
    tension_n: ArrayLike,
    stiffness_nm2: ArrayLike,
    mass_kg_per_m: ArrayLike,
    mode: ArrayLike = 1,
) -> Array:
    """
    Frequency of a cable clamped at both ends at any tension, exact.

    The mode `n` is the root b in (n pi, (n + 1) pi) of
    `2 a b (1 - cosh a cos b) + (a^2 - b^2) sinh a sin b = 0` with `a^2 - b^2 = T L^2 / EI`, by halving of the bracket; then
    `f = a b sqrt(EI / m) / (2 pi L^2)`.

    Parameters
    ----------
    length_m [m]: L. tension_n [N]: T, negative for compression. stiffness_nm2 [N m2]: EI, 0 for a string.
    mass_kg_per_m [kg/m]: m. mode: n. All broadcast.

    Returns
    -------
    Frequency [Hz]. Raises ValueError where compression exceeds Euler's load.

    Source: Euler-Bernoulli beam with axial force, own derivation of the characteristic equation.

    >>> clamped_frequency_hz(1.0, [0.0, 150.0, 3000.0], 30.0, 1.2).round(2)
    array([17.8 , 18.86, 32.62])
    """
    length, tension, ei, m, n = _inputs(length_m, tension_n, stiffness_nm2, mass_kg_per_m, mode)
    if np.any(tension < -euler_load_n(length, ei)):
        raise ValueError("compression beyond Euler's load: the cable must bow and has no straight shape to swing about")
    limp = tension * length**2 > _STRING * ei
    limp |= ei == 0
    stiff = np.where(limp, 1.0, ei)
    ratio = np.where(limp, 0.0, tension * length**2 / stiff)
    low, high = np.maximum(n * math.pi, np.sqrt(np.maximum(-ratio, 0.0))), (n + 1) * math.pi
    falling = np.where(n % 2 == 1, 1.0, -1.0)  # sign at the lower end of the bracket
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        left = _residual(middle, ratio) * falling > 0
        low, high = np.where(left, middle, low), np.where(left, high, middle)
    b = (low + high) / 2
    a = np.sqrt(np.maximum(b**2 + ratio, 0.0))
    beam = a * b / (2 * math.pi * length**2) * np.sqrt(stiff / m)
    pull = np.maximum(tension, 0.0)
    stiff_ends = 2 * np.sqrt(ei / np.where(limp & (pull > 0), pull, 1.0)) / length  # they shorten the string
    string = n * np.sqrt(pull / m) / (2 * length) * np.where(limp, 1 + stiff_ends, 1.0)
    return np.asarray(np.where(limp, string, beam))


def hanging_frequency_hz(length_m: ArrayLike) -> Array:
    """
    Frequency of a loose end that hangs from its last clamp: `f = 2.405 / (4 pi) sqrt(g / L)`.

    Parameters
    ----------
    length_m [m]: L below the clamp, any shape.

    Returns
    -------
    Frequency [Hz], of a limp end; stiffness makes it larger. Source: textbook, hanging chain (first zero of J0).

    >>> float(hanging_frequency_hz(1.0).round(3))
    0.599
    """
    length = np.asarray(length_m, float)
    if np.any(~(length > 0)):
        raise ValueError("length must be positive")
    return np.asarray(_BESSEL_ZERO / (4 * math.pi) * np.sqrt(_G / length))
