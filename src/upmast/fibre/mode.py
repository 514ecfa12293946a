"""
The fundamental mode of a step-index fibre, exactly, in weak guidance.

The Bessel functions are their own integrals by the trapezoid rule, which converges faster than any power for these integrands:
a hundred points give all digits.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["SECOND_MODE_V", "FibreMode", "bessel_j", "bessel_k_scaled", "fundamental_mode"]

Array = NDArray[np.float64]
SECOND_MODE_V = 2.404825557695773  # first zero of J0: below it there is one mode
_J_POINTS, _K_POINTS = 64, 160
_BISECTIONS = 60


class FibreMode(NamedTuple):
    """Normalised frequency V and index b, transverse parameters U and W, and the propagation constant beta [1/m]."""

    v: Array
    b: Array
    u: Array
    w: Array
    beta_per_m: Array


def bessel_j(order: int, x: ArrayLike) -> Array:
    """
    Bessel function of the first kind: `J_n(x) = (1 / pi) integral of cos(n t - x sin t), 0 to pi`.

    Parameters
    ----------
    order: n, 0 or 1. x [1]: up to 40 in size; any shape.

    Returns
    -------
    J_n, to 1e-14. Source: DLMF 10.9.2, Bessel's integral.

    >>> bessel_j(0, [0.0, SECOND_MODE_V]).round(12) + 0.0
    array([1., 0.])
    """
    arg = np.asarray(x, float)
    if order not in (0, 1) or np.any(~(np.abs(arg) <= 40)):
        raise ValueError("the order is 0 or 1 and the argument at most 40")
    t = 2 * np.pi * np.arange(_J_POINTS * 2) / (_J_POINTS * 2)  # a whole period: exact for a periodic integrand
    return np.asarray(np.cos(order * t - arg[..., None] * np.sin(t)).mean(-1))


def bessel_k_scaled(order: int, x: ArrayLike) -> Array:
    """
    Modified Bessel function times exp(x): `e^x K_n(x) = integral of exp(-x (cosh t - 1)) cosh(n t), 0 to infinity`.

    Parameters
    ----------
    order: n, 0 or 1. x [1]: from 1e-6 up; any shape.

    Returns
    -------
    e^x K_n(x), to 1e-13. Source: DLMF 10.32.9.

    >>> round(float(bessel_k_scaled(1, 1.0)), 12)
    1.636153486263
    """
    arg = np.asarray(x, float)
    if order not in (0, 1) or np.any(~(arg >= 1e-6)):
        raise ValueError("the order is 0 or 1 and the argument at least 1e-6")
    # beyond t the integrand is below 1e-40: x (cosh t - 1) = 95 + t
    end = np.arccosh(1 + 110 / arg[..., None])
    t = end * np.arange(_K_POINTS + 1) / _K_POINTS
    with np.errstate(over="ignore"):
        body = np.exp(-arg[..., None] * (np.cosh(t) - 1)) * np.cosh(order * t)
    body[..., 0] *= 0.5
    return np.asarray(body.sum(-1) * end[..., 0] / _K_POINTS)


def fundamental_mode(
    core_radius_um: ArrayLike, core_index: ArrayLike, clad_index: ArrayLike, wavelength_nm_wave: ArrayLike
) -> FibreMode:
    """
    LP01 of a step-index fibre: `U J1(U) / J0(U) = W K1(W) / K0(W)`, `U = V sqrt(1 - b)`, `W = V sqrt(b)`.

    `V = (2 pi a / lambda) sqrt(n1^2 - n2^2)`; `beta = k sqrt(n2^2 + b (n1^2 - n2^2))`. Solved by bisection over b: the left side
    falls and the right side rises with b, so there is one root.

    Parameters
    ----------
    core_radius_um [um]: a. core_index, clad_index [1]: n1 above n2. wavelength_nm_wave [nm]. Broadcast.

    Returns
    -------
    `FibreMode`; b to 1e-15.

    Raises
    ------
    ValueError
        If the core's index is not above the cladding's, or V is outside 0.6 to 12.

    Source: D. Gloge, Weakly guiding fibers, Applied Optics 10 (1971), 2252.

    >>> found = fundamental_mode(4.0, 1.449373, 1.4440, 1550.0)
    >>> [round(float(x), 4) for x in (found.v, found.u, found.w)]
    [2.0217, 1.5355, 1.3151]
    """
    a, n1, n2, wave = np.broadcast_arrays(
        *(np.asarray(x, float) for x in (core_radius_um, core_index, clad_index, wavelength_nm_wave))
    )
    if np.any(~(a > 0)) or np.any(~(wave > 0)) or np.any(~(n2 >= 1)) or np.any(~(n1 > n2)):
        raise ValueError(
            "radius and wavelength must be positive, and the core's index above the cladding's, which is 1 at least"
        )
    aperture = np.sqrt(n1**2 - n2**2)
    v = 2 * np.pi * a / (wave * 1e-3) * aperture
    if np.any(v < 0.6) or np.any(v > 12):
        raise ValueError("V must lie between 0.6 and 12: check radius, indices and wavelength")
    # U stays below the first zero of J0, where the left side has its pole
    low = np.maximum(1 - (SECOND_MODE_V / v) ** 2, 0.0) + 1e-15
    high = np.full(v.shape, 1 - 1e-15)
    for _ in range(_BISECTIONS):
        b = (low + high) / 2
        u, w = v * np.sqrt(1 - b), v * np.sqrt(b)
        # both sides times J0 K0, so that nothing divides by nought
        w_safe = np.maximum(w, 1e-6)
        left = u * bessel_j(1, u) * bessel_k_scaled(0, w_safe)
        right = w * bessel_k_scaled(1, w_safe) * bessel_j(0, u)
        more = left > right
        low, high = np.where(more, b, low), np.where(more, high, b)
    b = (low + high) / 2
    beta = 2 * np.pi / (wave * 1e-9) * np.sqrt(n2**2 + b * aperture**2)
    return FibreMode(v, b, v * np.sqrt(1 - b), v * np.sqrt(b), beta)
