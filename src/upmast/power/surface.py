"""
How the surface of a cable gives its heat to the air, by two laws: that of IEC 60287-2-1, and first principles with wind and sun.

Capacities are rated by the first; the second tells what wind, height and a vertical run change.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import STANDARD_GRAVITY_M_PER_S2, STEFAN_BOLTZMANN
from upmast.power.checked import not_negative
from upmast.source import Source

__all__ = [
    "IEC_SOURCE",
    "Laying",
    "air_properties",
    "forced_nusselt",
    "iec_coefficient",
    "iec_heat_w_per_m",
    "iec_surface_c",
    "natural_nusselt",
    "principles_heat_w_per_m",
    "principles_surface_c",
    "sun_w_per_m",
]

Array = NDArray[np.float64]
Laying = Literal["single", "wall", "flat-three", "trefoil"]
# Z, E, g of h = Z / De^g + E
_IEC: dict[str, tuple[float, float, float]] = {
    "single": (0.21, 3.94, 0.60),
    "wall": (1.69, 0.63, 0.25),
    "flat-three": (0.62, 1.95, 0.25),
    "trefoil": (0.96, 1.25, 0.20),
}
IEC_SOURCE = Source("IEC 60287-2-1", "table of Z, E, g for cables in free air; the one on a wall from memory")
_KELVIN = 273.15
_HALVINGS = 60


def sun_w_per_m(outer_m: ArrayLike, sun_w_per_m2: ArrayLike, absorptivity: ArrayLike) -> Array:
    """
    Sun that one metre of cable takes in: `a De S`.

    Parameters
    ----------
    outer_m [m]: De. sun_w_per_m2 [W/m2]: S. absorptivity [-]: 0.4 PE, 0.6 PVC when new, 0.8 dark or aged (IEC 60287-1-1, from
        memory). Any shapes.

    >>> float(sun_w_per_m(0.03, 1000.0, 0.8))
    24.0
    """
    d, s, a = not_negative(outer_m=outer_m, sun_w_per_m2=sun_w_per_m2, absorptivity=absorptivity)
    if np.any(a > 1):
        raise ValueError("absorptivity lies between 0 and 1")
    return np.asarray(a * d * s)


def iec_coefficient(outer_m: ArrayLike, laying: Laying = "single") -> Array:
    """
    Coefficient of heat of a cable in free air: `h = Z / De^g + E` [W/(m2 K^1.25)].

    Parameters
    ----------
    outer_m [m]: De, up to about 0.15. laying: 'single' on brackets or a ladder, 'wall' clipped to a vertical wall (from
        memory), 'flat-three' touching in a row, 'trefoil'.

    Source: IEC 60287-2-1, 2.2.1.1.

    >>> float(iec_coefficient(0.03).round(3))
    5.662
    """
    if laying not in _IEC:
        raise ValueError(f"laying {laying!r} is not known; there are {', '.join(_IEC)}")
    z, e, g = _IEC[laying]
    d = np.asarray(outer_m, float)
    if not np.all(d > 0):
        raise ValueError("outer_m must be positive")
    return np.asarray(z / d**g + e)


def iec_heat_w_per_m(surface_c: ArrayLike, air_c: ArrayLike, outer_m: ArrayLike, laying: Laying = "single") -> Array:
    """
    Heat that one metre gives off: `pi De h (theta_s - theta_a)^1.25`; none below the air.

    Source: IEC 60287-2-1, 2.2.1.1.

    >>> float(iec_heat_w_per_m(60.0, 40.0, 0.03).round(1))
    22.6
    """
    rise = np.maximum(np.asarray(surface_c, float) - np.asarray(air_c, float), 0.0)
    d = np.asarray(outer_m, float)
    return np.asarray(np.pi * d * iec_coefficient(d, laying) * rise**1.25)


def iec_surface_c(heat_w_per_m: ArrayLike, air_c: ArrayLike, outer_m: ArrayLike, laying: Laying = "single") -> Array:
    """
    Surface temperature for a given heat, that of the sun included: `theta_a + (W / (pi De h))^0.8`.

    Source: IEC 60287-2-1, 2.2.1.1, turned round.

    >>> float(iec_surface_c(22.6, 40.0, 0.03).round(1))
    60.0
    """
    heat, d = not_negative(heat_w_per_m=heat_w_per_m, outer_m=outer_m)
    return np.asarray(np.asarray(air_c, float) + (heat / (np.pi * d * iec_coefficient(d, laying))) ** 0.8)


def air_properties(film_c: ArrayLike, altitude_m: ArrayLike = 0.0) -> tuple[Array, Array, Array]:
    """
    Conductivity [W/(m K)], kinematic viscosity [m2/s] and Prandtl number of air at a film temperature and altitude.

    `k = 0.02424 + 7.477e-5 theta - 4.407e-9 theta^2`, `mu = 1.458e-6 T^1.5 / (T + 110.4)` (Sutherland), density of the ideal
    gas at the pressure of the standard atmosphere, `Pr = 0.71`.

    Valid for -50 to 150 C, 0 to 5000 m. Source: ISO 2533 (Sutherland's constants, pressure); conductivity as in IEEE Std 738,
    from memory.

    >>> [float(x.round(7)) for x in air_properties(20.0)[:2]]
    [0.0257336, 1.51e-05]
    """
    t = np.asarray(film_c, float)
    kelvin = t + _KELVIN
    viscosity = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)
    pressure = 101325.0 * (1 - 2.25577e-5 * np.asarray(altitude_m, float)) ** 5.25588
    density = pressure / (287.05 * kelvin)
    k = 2.424e-2 + 7.477e-5 * t - 4.407e-9 * t**2
    k, nu = np.broadcast_arrays(k, viscosity / density)
    return np.asarray(k), np.asarray(nu), np.full(k.shape, 0.71)


def natural_nusselt(rayleigh: ArrayLike, vertical: bool = False, prandtl: ArrayLike = 0.71) -> Array:
    """
    Nusselt number of natural convection at a cylinder: `(0.60 + 0.387 Ra^(1/6) / (1 + (0.559/Pr)^(9/16))^(8/27))^2`.

    Parameters
    ----------
    rayleigh [-]: by the diameter, 1e-5 to 1e12. vertical: `0.10 Ra^(1/3)` instead, for a long vertical run (from memory).

    Source: Churchill and Chu 1975, horizontal cylinder.

    >>> round(float(natural_nusselt(1e5)), 2)
    7.78
    """
    ra, pr = not_negative(rayleigh=rayleigh, prandtl=prandtl)
    if vertical:
        return np.asarray(0.10 * np.cbrt(ra))
    return np.asarray((0.60 + 0.387 * ra ** (1 / 6) / (1 + (0.559 / pr) ** (9 / 16)) ** (8 / 27)) ** 2)


def forced_nusselt(reynolds: ArrayLike, prandtl: ArrayLike = 0.71) -> Array:
    """
    Nusselt number of wind across a cylinder, without the part of still air.

    `0.3 + 0.62 Re^(1/2) Pr^(1/3) / (1 + (0.4/Pr)^(2/3))^(1/4) (1 + (Re/282000)^(5/8))^(4/5)`, less 0.3 at rest.

    Source: Churchill and Bernstein 1977; valid for Re Pr above 0.2.

    >>> round(float(forced_nusselt(1e3)), 2)
    16.02
    """
    re, pr = not_negative(reynolds=reynolds, prandtl=prandtl)
    across = (
        0.62 * np.sqrt(re) * np.cbrt(pr) / (1 + (0.4 / pr) ** (2 / 3)) ** 0.25 * (1 + (re / 282000) ** 0.625) ** 0.8
    )
    return np.asarray(np.where(re > 0, 0.3 + across, 0.0))


def principles_heat_w_per_m(
    surface_c: ArrayLike,
    air_c: ArrayLike,
    outer_m: ArrayLike,
    wind_m_per_s: ArrayLike = 0.0,
    emissivity: ArrayLike = 0.9,
    vertical: bool = False,
    altitude_m: ArrayLike = 0.0,
) -> Array:
    """
    Heat that one metre gives off by convection and radiation:
    `pi De (Nu k / De (theta_s - theta_a) + eps sigma (T_s^4 - T_a^4))`, `Nu = (Nu_n^4 + Nu_f^4)^(1/4)`.

    Parameters
    ----------
    surface_c, air_c [C], outer_m [m], wind_m_per_s [m/s] across the cable, emissivity [-], altitude_m [m]: any shapes. vertical:
        natural convection of a vertical run. None below the air.

    Source: own derivation; correlations of Churchill and Chu, Churchill and Bernstein.

    >>> float(principles_heat_w_per_m(60.0, 40.0, 0.03).round(1))
    23.5
    """
    ts, ta, d, u, eps = np.broadcast_arrays(
        *(np.asarray(x, float) for x in (surface_c, air_c, outer_m, wind_m_per_s, emissivity))
    )
    if not np.all(d > 0) or np.any(u < 0) or np.any((eps < 0) | (eps > 1)):
        raise ValueError("outer_m must be positive, wind_m_per_s not negative, emissivity between 0 and 1")
    rise = np.maximum(ts - ta, 0.0)
    film = ta + rise / 2
    k, nu, pr = air_properties(film, altitude_m)
    rayleigh = STANDARD_GRAVITY_M_PER_S2.value / (film + _KELVIN) * rise * d**3 / nu**2 * pr
    both = natural_nusselt(rayleigh, vertical) ** 4 + forced_nusselt(u * d / nu) ** 4
    radiated = eps * STEFAN_BOLTZMANN.value * ((ta + rise + _KELVIN) ** 4 - (ta + _KELVIN) ** 4)
    return np.asarray(np.pi * d * (both**0.25 * k / d * rise + radiated))


def principles_surface_c(
    heat_w_per_m: ArrayLike,
    air_c: ArrayLike,
    outer_m: ArrayLike,
    wind_m_per_s: ArrayLike = 0.0,
    emissivity: ArrayLike = 0.9,
    vertical: bool = False,
    altitude_m: ArrayLike = 0.0,
) -> Array:
    """
    Surface temperature for a given heat, that of the sun included, by bisection: the heat given off rises with it.

    Parameters
    ----------
    heat_w_per_m [W/m]. The others as for `principles_heat_w_per_m`.

    Returns
    -------
    Temperature [C], up to 500 C over the air.

    >>> float(principles_surface_c(22.6, 40.0, 0.03).round(1))
    59.3
    """
    (heat,) = not_negative(heat_w_per_m=heat_w_per_m)
    others = (np.asarray(x, float) for x in (air_c, outer_m, wind_m_per_s, emissivity, altitude_m))
    heat, ta, d, u, eps, z = np.broadcast_arrays(heat, *others)
    low, high = np.array(ta), ta + 500.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        hot = principles_heat_w_per_m(middle, ta, d, u, eps, vertical, z) > heat
        low, high = np.where(hot, low, middle), np.where(hot, middle, high)
    return np.asarray((low + high) / 2)
