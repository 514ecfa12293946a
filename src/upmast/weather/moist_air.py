"""Moist air: saturation, dew and frost point, vapour density, and when a sealed joint sweats."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source

__all__ = [
    "SEAL_MARGIN_K",
    "SEAL_MARGIN_SOURCE",
    "dew_point_c",
    "free_water_kg",
    "frost_point_c",
    "saturation_pressure_pa",
    "seal_margin_k",
    "sweat_c",
    "vapour_density_kg_per_m3",
    "vapour_pressure_pa",
]

Array = NDArray[np.float64]
Over = Literal["water", "ice"]

ZERO_C_IN_K = 273.15
SEAL_MARGIN_K = 3.0
SEAL_MARGIN_SOURCE = Source(
    "ISO 8502-4", clause="surface at least 3 K above the dew point, coating practice", mark=Mark.MEMORY
)
_E0_PA = 611.2
_COEFFICIENTS: dict[str, tuple[float, float]] = {"water": (17.62, 243.12), "ice": (22.46, 272.62)}
_GAS_CONSTANT_VAPOUR = 461.5  # J/(kg K)


def _coefficients(over: str) -> tuple[float, float]:
    if over not in _COEFFICIENTS:
        raise ValueError(f"saturation over {over!r} is not known; 'water' or 'ice'")
    return _COEFFICIENTS[over]


def _temperature(temperature_c: ArrayLike) -> Array:
    t = np.asarray(temperature_c, float)
    if np.any(t <= -200) or np.any(t > 200):
        raise ValueError("air temperature must lie between -200 and 200 C: is it in kelvin or fahrenheit?")
    return t


def _humidity(humidity_percent: ArrayLike) -> Array:
    rh = np.asarray(humidity_percent, float)
    if np.any(rh < 0) or np.any(rh > 100):
        raise ValueError("relative humidity must lie between 0 and 100 percent")
    return rh


def saturation_pressure_pa(temperature_c: ArrayLike, over: Over = "water") -> Array:
    """
    Saturation pressure of water vapour.

    `e_w = 611.2 exp(17.62 t / (243.12 + t))` over water, `e_i = 611.2 exp(22.46 t / (272.62 + t))` over ice

    Parameters
    ----------
    temperature_c [C]: t, any shape. over: 'water' (also supercooled) or 'ice'.

    Returns
    -------
    Pressure [Pa], in the shape of t.

    Valid for -45 to 60 C over water and -65 to 0 C over ice, within 0.5 %. Source: WMO-No. 8, annex 4.B.

    >>> float(saturation_pressure_pa(20.0).round(0))  # 2338.8 Pa by the ASHRAE equation
    2333.0
    """
    b, c = _coefficients(over)
    t = _temperature(temperature_c)
    return np.asarray(_E0_PA * np.exp(b * t / (c + t)))


def vapour_pressure_pa(temperature_c: ArrayLike, humidity_percent: ArrayLike, over: Over = "water") -> Array:
    """
    Vapour pressure of moist air: `e = (RH / 100) e_sat(t)`.

    Parameters
    ----------
    temperature_c [C], humidity_percent [%]: of the air, broadcast.
    over: what the humidity refers to; instruments refer to water at any temperature.

    Returns
    -------
    Pressure [Pa]. Source: WMO-No. 8, chapter 4.

    >>> float(vapour_pressure_pa(25.0, 60.0).round(0))
    1896.0
    """
    return np.asarray(_humidity(humidity_percent) / 100 * saturation_pressure_pa(temperature_c, over))


def _condensation_c(pressure_pa: Array, over: str) -> Array:
    b, c = _coefficients(over)
    with np.errstate(divide="ignore", invalid="ignore"):
        g = np.log(pressure_pa / _E0_PA)
        return np.where(pressure_pa > 0, c * g / (b - g), -np.inf)


def dew_point_c(temperature_c: ArrayLike, humidity_percent: ArrayLike) -> Array:
    """
    Dew point over water: `t_d = 243.12 g / (17.62 - g)`, `g = ln(e / 611.2)`.

    Parameters
    ----------
    temperature_c [C], humidity_percent [%, over water]: of the air, broadcast.

    Returns
    -------
    Temperature [C]; minus infinity for perfectly dry air. Below 0 C hoar frost forms first, at `frost_point_c`.

    Valid for -45 to 60 C. Source: WMO-No. 8, annex 4.B.

    >>> float(dew_point_c(25.0, 60.0).round(2))
    16.69
    """
    return _condensation_c(vapour_pressure_pa(temperature_c, humidity_percent), "water")


def frost_point_c(temperature_c: ArrayLike, humidity_percent: ArrayLike) -> Array:
    """
    Frost point, where hoar frost forms: `t_f = 272.62 g / (22.46 - g)`, `g = ln(e / 611.2)`.

    Parameters
    ----------
    temperature_c [C], humidity_percent [%, over water]: of the air, broadcast.

    Returns
    -------
    Temperature [C]. Meaningful only where it is below 0 C; above, take the dew point. Source: WMO-No. 8, annex 4.B.

    >>> float(frost_point_c(2.0, 70.0).round(2)), float(dew_point_c(2.0, 70.0).round(2))
    (-2.56, -2.9)
    """
    return _condensation_c(vapour_pressure_pa(temperature_c, humidity_percent), "ice")


def vapour_density_kg_per_m3(temperature_c: ArrayLike, pressure_pa: ArrayLike) -> Array:
    """
    Density of water vapour: `rho_v = e / (R_v T)`, R_v = 461.5 J/(kg K).

    Parameters
    ----------
    temperature_c [C], pressure_pa [Pa]: of the vapour alone, broadcast.

    Returns
    -------
    Density [kg/m3]. Source: ideal gas law; R_v by WMO-No. 8 (from memory).

    >>> round(1e3 * float(vapour_density_kg_per_m3(20.0, saturation_pressure_pa(20.0))), 1)  # g/m3
    17.2
    """
    e, t = np.asarray(pressure_pa, float), _temperature(temperature_c)
    if np.any(e < 0):
        raise ValueError("vapour pressure can't be negative")
    return np.asarray(e / (_GAS_CONSTANT_VAPOUR * (t + ZERO_C_IN_K)))


def sweat_c(temperature_c: ArrayLike, humidity_percent: ArrayLike, over: Over = "water") -> Array:
    """
    Temperature at which the inside of a rigid, tight joint begins to sweat.

    The vapour keeps its density, not its pressure: solve `e_sat(t_s) / T_s = e_1 / T_1` by Newton's method.

    Parameters
    ----------
    temperature_c [C], humidity_percent [%, over water]: of the air at the moment of sealing, broadcast.
    over: 'water' for dew, 'ice' for hoar frost (use where the result is below 0 C).

    Returns
    -------
    Temperature [C], below the dew point of that air by 0.1 to 1.5 K; minus infinity for dry air.

    Valid as `saturation_pressure_pa`, for a joint that neither leaks nor breathes.
    Source: own derivation from the ideal gas law; checked by bisection in the tests.

    >>> sweat_c([25.0, 15.0, 35.0], [60.0, 90.0, 30.0]).round(1)
    array([16.2, 13.3, 13.7])
    """
    b, c = _coefficients(over)
    e1 = vapour_pressure_pa(temperature_c, humidity_percent)
    t1 = np.broadcast_to(_temperature(temperature_c), e1.shape)
    with np.errstate(divide="ignore"):
        target = np.log(e1 / _E0_PA) - np.log(t1 + ZERO_C_IN_K)
    dry = ~(e1 > 0)
    target = np.where(dry, 0.0, target)
    t = np.where(dry, 0.0, _condensation_c(e1, over))
    # the residual is concave and increasing in t: from the dew point, above the root, Newton passes it once, then climbs
    for _ in range(50):
        residual = b * t / (c + t) - np.log(t + ZERO_C_IN_K) - target
        step = np.where(dry, 0.0, residual / (b * c / (c + t) ** 2 - 1 / (t + ZERO_C_IN_K)))
        t = t - step
        if not np.any(np.abs(step) > 1e-10):
            break
    return np.where(dry, -np.inf, t)


def free_water_kg(
    volume_m3: ArrayLike, temperature_c: ArrayLike, humidity_percent: ArrayLike, cold_c: ArrayLike
) -> Array:
    """
    Liquid water or ice set free in a rigid, tight joint when it gets cold.

    `m = max(0, V (rho_v1 - rho_sat(t_cold)))`, saturation over ice below 0 C.

    Parameters
    ----------
    volume_m3 [m3]: of the air inside. temperature_c [C], humidity_percent [%, over water]: at sealing.
    cold_c [C]: coldest temperature expected. All broadcast.

    Returns
    -------
    Mass [kg]; 50 mg is about one drop. Source: own derivation from the ideal gas law.

    >>> [round(1e6 * float(free_water_kg(0.5e-3, 25.0, 60.0, cold)), 1) for cold in (10.0, 0.0)]  # mg
    [2.2, 4.5]
    """
    volume, cold = np.asarray(volume_m3, float), _temperature(cold_c)
    if np.any(volume < 0):
        raise ValueError("volume can't be negative")
    inside = vapour_density_kg_per_m3(temperature_c, vapour_pressure_pa(temperature_c, humidity_percent))
    saturated_pa = np.where(cold < 0, saturation_pressure_pa(cold, "ice"), saturation_pressure_pa(cold))
    return np.asarray(volume * np.maximum(0.0, inside - vapour_density_kg_per_m3(cold, saturated_pa)))


def seal_margin_k(
    surface_c: ArrayLike, air_c: ArrayLike, humidity_percent: ArrayLike, required_k: ArrayLike = SEAL_MARGIN_K
) -> Array:
    """
    Margin for sealing a joint now: `(t_surface - t_d) - required`.

    Parameters
    ----------
    surface_c [C]: of the metal, measured once cleaner has dried. air_c [C], humidity_percent [%]: of the air. Broadcast.
    required_k [K]: least distance of surface and dew point, 3 K by coating practice, see `SEAL_MARGIN_SOURCE`.

    Returns
    -------
    Margin [K]; negative: dry, warm or wait. Source: ISO 8502-4 in style, from memory; not a limit for joints.

    >>> float(seal_margin_k(18.0, 25.0, 60.0).round(2))
    -1.69
    """
    surface, required = _temperature(surface_c), np.asarray(required_k, float)
    if np.any(required < 0):
        raise ValueError("the required margin can't be negative")
    return np.asarray(surface - dew_point_c(air_c, humidity_percent) - required)
