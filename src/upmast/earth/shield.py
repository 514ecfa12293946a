"""Shields and leads under surge: inductance, least shield section, and what a missing bond costs."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "COPPER_OHM_M",
    "least_shield_mm2",
    "missing_bond_loop_h",
    "missing_bond_v",
    "partial_inductance_h",
    "shield_drop_v",
]

Array = NDArray[np.float64]
COPPER_OHM_M = 17.241e-9  # at 20 C, 1/58 ohm mm2/m: IEC 60028


def partial_inductance_h(length_m: ArrayLike, distance_m: ArrayLike) -> Array:
    """
    Partial inductance of parallel straight conductors of one length.

    `L = 2e-7 (l asinh(l / d) - sqrt(l^2 + d^2) + d)`

    Parameters
    ----------
    length_m [m], any shape.
    distance_m [m]: between the axes for the mutual inductance, the conductor's own radius for its self inductance.

    Returns
    -------
    Inductance [H]. Thin conductors, current on the surface, no return path: only differences and sums around loops,
    or a lead with a far return, are physical.

    Source: Neumann's integral for two parallel filaments; own derivation.

    >>> float((1e6 * partial_inductance_h(0.5, 0.003)).round(4)), float((1e6 * partial_inductance_h(1.0, 0.004)).round(4))
    (0.4815, 1.0437)
    """
    l, d = np.asarray(length_m, float), np.asarray(distance_m, float)  # noqa: E741 - the symbol of the equation
    if not np.all(l >= 0) or not np.all(d > 0):
        raise ValueError("length can't be negative, distance or radius must be positive")
    return np.asarray(2e-7 * (l * np.arcsinh(l / d) - np.hypot(l, d) + d))


def shield_drop_v(current_a: ArrayLike, ohm_per_km: ArrayLike, length_m: ArrayLike) -> Array:
    """
    Voltage between core and shield of a cable whose shield is bonded at both ends: `U = I R' l`.

    Parameters
    ----------
    current_a [A]: peak in the shield. ohm_per_km [ohm/km]: of the shield. length_m [m]: between the bonds. Any shape.

    Valid for a closed tube and a slow wave; a braid adds its transfer inductance. Source: IEC 62305-3, annex B (from memory).

    >>> float(shield_drop_v(20e3, 2.0, 50.0))
    2000.0
    """
    i, r, l = (np.asarray(x, float) for x in (current_a, ohm_per_km, length_m))  # noqa: E741
    if any(not np.all(x >= 0) for x in (i, r, l)):
        raise ValueError("current, resistance and length can't be negative")
    return np.asarray(i * r * 1e-3 * l)


def least_shield_mm2(
    current_a: ArrayLike, length_m: ArrayLike, withstand_v: ArrayLike, resistivity_ohm_m: ArrayLike = COPPER_OHM_M
) -> Array:
    """
    Least section of a shield that keeps the core-to-shield voltage within what the equipment withstands.

    `S = I rho l / U_w`, in mm2 times 1e6.

    Parameters
    ----------
    current_a [A]: peak in the shield. length_m [m]: between its bonds. withstand_v [V]: impulse withstand U_w of the ports.
    resistivity_ohm_m [ohm m]: copper by default. Any shapes.

    Source: IEC 62305-3, annex B (from memory).

    >>> float(least_shield_mm2(6e3, 50.0, 1500.0).round(2))
    3.45
    """
    i, l, u, rho = (np.asarray(x, float) for x in (current_a, length_m, withstand_v, resistivity_ohm_m))  # noqa: E741
    if any(not np.all(x >= 0) for x in (i, l, rho)) or not np.all(u > 0):
        raise ValueError("current, length and resistivity can't be negative, the withstand voltage must be positive")
    return np.asarray(i * rho * l / u * 1e6)


def missing_bond_loop_h(length_m: ArrayLike, mast_radius_m: ArrayLike, distance_m: ArrayLike) -> Array:
    """
    Inductance that drives the voltage between a mast and a cable whose shield is bonded at the bottom only.

    `L_loop = L(l, a) - L(l, d)`, by `partial_inductance_h`.

    Parameters
    ----------
    length_m [m]: from the bond to the open end. mast_radius_m [m]: a, equivalent radius. distance_m [m]: d, from the mast's
    axis to the cable. Any shapes.

    Returns
    -------
    Inductance [H]; 0 at the surface, negative for a cable inside (`d < a`), where this model does not hold.

    Source: Neumann's integral; own derivation.

    >>> float((1e6 * missing_bond_loop_h(20.0, 0.20, 0.35)).round(3))
    2.209
    """
    return np.asarray(partial_inductance_h(length_m, mast_radius_m) - partial_inductance_h(length_m, distance_m))


def missing_bond_v(loop_h: ArrayLike, current_a: ArrayLike, front_s: ArrayLike, mast_ohm: ArrayLike = 0.0) -> Array:
    """
    Voltage across the open end of a shield that lacks a bond: `U = L_loop I / T_1 + R_mast I`.

    Parameters
    ----------
    loop_h [H]: of `missing_bond_loop_h`. current_a [A]: peak in the mast. front_s [s]: front time T_1. mast_ohm [ohm]. Any shapes.

    Returns
    -------
    Voltage [V] with the mean slope of the front; the steepest slope of a real front is about 1.4 times that.

    Source: own derivation (Faraday's law).

    >>> float(missing_bond_v(2.209e-6, 100e3, 10e-6).round(0))
    22090.0
    """
    loop, i, front, r = (np.asarray(x, float) for x in (loop_h, current_a, front_s, mast_ohm))
    if not np.all(front > 0) or not np.all(i >= 0) or not np.all(r >= 0):
        raise ValueError("front time must be positive, current and resistance can't be negative")
    return np.asarray(loop * i / front + r * i)
