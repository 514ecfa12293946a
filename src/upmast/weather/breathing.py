"""How a closed box takes in damp: breathing by day and night, and permeation through its seal."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.weather.moist_air import saturation_pressure_pa, vapour_pressure_pa

__all__ = ["breathing_fraction", "breathing_humidity_percent", "days_to_wet", "permeation_time_s", "time_to_pressure_s"]

Array = NDArray[np.float64]
_KELVIN = 273.15
_GAS_CONSTANT_VAPOUR = 461.5  # J/(kg K)


def breathing_fraction(cold_c: ArrayLike, warm_c: ArrayLike) -> Array:
    """
    Share of the air that a box at constant pressure exchanges in one cycle: `f = 1 - T_lo / T_hi`.

    Parameters
    ----------
    cold_c, warm_c [C]: lowest and highest temperature of the air inside, broadcast.

    Returns
    -------
    Fraction [1]. Source: ideal gas law.

    >>> float(breathing_fraction(10.0, 35.0).round(4))
    0.0811
    """
    low, high = np.asarray(cold_c, float) + _KELVIN, np.asarray(warm_c, float) + _KELVIN
    if np.any(low <= 0) or np.any(high < low):
        raise ValueError("the warm end can't be below the cold end, and both must be above absolute zero")
    return np.asarray(1 - low / high)


def _pressures(
    closed_c: ArrayLike, closed_percent: ArrayLike, outside_c: ArrayLike, outside_percent: ArrayLike, night_c: ArrayLike
) -> tuple[Array, Array, Array]:
    """Vapour pressure after the first cooling, outside, and saturated at night (over ice below 0 C)."""
    start = vapour_pressure_pa(closed_c, closed_percent)
    outside = vapour_pressure_pa(outside_c, outside_percent)
    night = np.asarray(night_c, float)
    full = np.where(night < 0, saturation_pressure_pa(night, "ice"), saturation_pressure_pa(night))
    first = np.maximum(0.0, 1 - (night + _KELVIN) / (np.asarray(closed_c, float) + _KELVIN))
    return np.asarray(outside + (start - outside) * (1 - first)), outside, full


def breathing_humidity_percent(
    cycles: ArrayLike,
    fraction: ArrayLike,
    closed_c: ArrayLike,
    closed_percent: ArrayLike,
    outside_c: ArrayLike,
    outside_percent: ArrayLike,
    night_c: ArrayLike,
) -> Array:
    """
    Humidity inside a breathing box at night, after N whole cycles.

    `e_N = e_out + (e_0 - e_out) (1 - f_0) (1 - f)^N`, `f_0 = 1 - T_night / T_closed`, over saturation at night. At constant
    pressure air mixes by amount of substance, so vapour pressures mix and are kept while cooling.

    Parameters
    ----------
    cycles: N, 0 for the first cooling. fraction [1]: f, see `breathing_fraction`.
    closed_c [C], closed_percent [%]: air when closed. outside_c, outside_percent: air drawn in. night_c [C]. Broadcast.

    Returns
    -------
    Humidity [%]; above 100 the box is wet. Source: own derivation (ideal gas, mixed air).

    >>> breathing_humidity_percent([0, 1, 2], 0.0811, 20.0, 30.0, 20.0, 75.0, 10.0).round(0)
    array([60., 67., 73.])
    """
    n, f = np.asarray(cycles, float), np.asarray(fraction, float)
    if np.any(n < 0) or np.any((f < 0) | (f >= 1)):
        raise ValueError("cycles can't be negative and the fraction must lie between 0 and below 1")
    start, outside, full = _pressures(closed_c, closed_percent, outside_c, outside_percent, night_c)
    return np.asarray(100 * (outside + (start - outside) * (1 - f) ** n) / full)


def days_to_wet(
    fraction: ArrayLike,
    closed_c: ArrayLike,
    closed_percent: ArrayLike,
    outside_c: ArrayLike,
    outside_percent: ArrayLike,
    night_c: ArrayLike,
) -> Array:
    """
    First night on which a breathing box is wet: least whole N with more than 100 % in `breathing_humidity_percent`.

    Parameters
    ----------
    As `breathing_humidity_percent`.

    Returns
    -------
    Days, whole, 0 for the first night; infinite if never. Order of size only. Source: own derivation.

    >>> float(days_to_wet(0.0811, 20.0, 30.0, 20.0, 75.0, 10.0)), float(days_to_wet(0.08, 20.0, 30.0, 20.0, 40.0, 10.0))
    (8.0, inf)
    """
    f = np.asarray(fraction, float)
    if np.any((f < 0) | (f >= 1)):
        raise ValueError("the fraction must lie between 0 and below 1")
    start, outside, full, f = np.broadcast_arrays(
        *_pressures(closed_c, closed_percent, outside_c, outside_percent, night_c), f
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        n = np.log((outside - full) / (outside - start)) / np.log1p(-f)
        later = np.where((outside > full) & (f > 0), np.floor(n) + 1, np.inf)
    return np.asarray(np.where(start > full, 0.0, later))


def permeation_time_s(
    volume_m3: ArrayLike, wall_mm: ArrayLike, area_m2: ArrayLike, permeability: ArrayLike, temperature_c: ArrayLike
) -> Array:
    """
    Time constant of a box that vapour enters through its seal: `tau = V d / (R_v T P A)`.

    Parameters
    ----------
    volume_m3 [m3]: V. wall_mm [mm]: d, path through the seal. area_m2 [m2]: A, its section. temperature_c [C].
    permeability [kg/(m s Pa)]: P, an input: polyethylene 2e-16, rubber 1e-15 to 1e-14, silicone 1e-13, orders from memory.

    Returns
    -------
    Time [s], in the broadcast shape. Source: Fick's law and the ideal gas law.

    >>> float(permeation_time_s(0.4e-3, 3.0, 6e-4, 4e-15, 20.0).round(-4))
    3700000.0
    """
    v, d, a, p = (np.asarray(x, float) for x in (volume_m3, wall_mm, area_m2, permeability))
    t = np.asarray(temperature_c, float) + _KELVIN
    if any(np.any(~(x > 0)) for x in (v, d, a, p, t)):
        raise ValueError("volume, wall, area and permeability must be positive, temperature above absolute zero")
    return np.asarray(v * d * 1e-3 / (_GAS_CONSTANT_VAPOUR * t * p * a))


def time_to_pressure_s(tau_s: ArrayLike, start_pa: ArrayLike, outside_pa: ArrayLike, reached_pa: ArrayLike) -> Array:
    """
    When the vapour pressure inside reaches a value: `t = tau ln((e_out - e_0) / (e_out - e))`.

    Parameters
    ----------
    tau_s [s]: see `permeation_time_s`. start_pa, outside_pa, reached_pa [Pa]: e_0, e_out and e. Broadcast.

    Returns
    -------
    Time [s]; 0 if it starts there or above, infinite if never. Source: first-order law.

    >>> round(float(time_to_pressure_s(1.0, 0.0, 1.0, 1 - math.exp(-2))), 9)
    2.0
    """
    tau, start, outside, reached = np.broadcast_arrays(
        *(np.asarray(x, float) for x in (tau_s, start_pa, outside_pa, reached_pa))
    )
    if np.any(tau <= 0) or np.any(start < 0) or np.any(outside < 0) or np.any(reached < 0):
        raise ValueError("the time constant must be positive and pressures can't be negative")
    with np.errstate(divide="ignore", invalid="ignore"):
        t = tau * np.log((outside - start) / (outside - reached))
    return np.asarray(np.where(reached <= start, 0.0, np.where(outside > reached, t, math.inf)))
