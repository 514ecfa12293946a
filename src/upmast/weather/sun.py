"""Sun on sheaths and boxes: their temperature, and the pressure inside a tight box that is heated or cooled."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import STANDARD_GRAVITY_M_PER_S2, STEFAN_BOLTZMANN
from upmast.source import Mark, Source
from upmast.table import read

__all__ = [
    "STILL_AIR_W_PER_M2_K",
    "Surface",
    "box_pressure_change_pa",
    "sun_temperature_c",
    "surface",
    "surface_heat_w_per_m2",
    "surfaces",
    "water_head_m",
]

Array = NDArray[np.float64]

ROUND_RATIO = math.pi  # surface of a cylinder over its projection, per metre: pi D / D
STILL_AIR_W_PER_M2_K = 5.0  # calm air: common practice, no source
_KELVIN = 273.15
_WATER_KG_PER_M3 = 1000.0


@dataclass(frozen=True, slots=True)
class Surface:
    """How a kind of surface takes in sunlight and gives off heat, with the source of both numbers."""

    kind: str
    absorptivity: float
    emissivity: float
    source: Source


def surfaces() -> tuple[str, ...]:
    """Kinds of surface that `surface` knows."""
    return tuple(row["surface"] for row in read("upmast.weather", "surfaces").rows)


def surface(kind: str) -> Surface:
    """
    Absorptivity for sunlight and emissivity of a kind of sheath or box, with their source and mark.

    >>> surface("black_sheath").absorptivity, str(surface("black_sheath").source.mark)
    (0.95, 'memory')
    """
    table = read("upmast.weather", "surfaces")
    for row in table.rows:
        if row["surface"] == kind:
            source = Source(table.source.document, row["note"], table.source.edition, Mark(row["mark"]))
            return Surface(kind, float(row["absorptivity"]), float(row["emissivity"]), source)
    raise ValueError(f"surface {kind!r} is not known; there are {', '.join(surfaces())}")


def surface_heat_w_per_m2(heat_w_per_m: ArrayLike, diameter_mm: ArrayLike) -> Array:
    """
    Heat made inside a round cable, per area of its surface: `q = P' / (pi D)`.

    Parameters
    ----------
    heat_w_per_m [W/m]: P', DC loss per metre of cable. diameter_mm [mm]: D over the sheath. Broadcast.

    Returns
    -------
    Heat flux [W/m2]. Source: own derivation.

    >>> float(surface_heat_w_per_m2(3.0, 30.0).round(2))
    31.83
    """
    heat, d = np.asarray(heat_w_per_m, float), np.asarray(diameter_mm, float)
    if np.any(heat < 0) or np.any(d <= 0):
        raise ValueError("heat can't be negative and the diameter must be positive")
    return np.asarray(heat / (math.pi * d * 1e-3))


def sun_temperature_c(
    air_c: ArrayLike,
    irradiance_w_per_m2: ArrayLike,
    absorptivity: ArrayLike,
    emissivity: ArrayLike,
    convection_w_per_m2_k: ArrayLike,
    heat_w_per_m2: ArrayLike = 0.0,
    area_ratio: ArrayLike = ROUND_RATIO,
) -> Array:
    """
    Surface temperature of a sheath or box in the sun, in the steady state.

    Root of `a G / r + q = h (T - T_a) + eps sigma (T^4 - T_a^4)` by Newton's method; a cylinder has r = pi, its diameter
    cancels.

    Parameters
    ----------
    air_c [C]: T_a, also taken as the temperature of the surroundings.
    irradiance_w_per_m2 [W/m2]: G across the surface that faces the sun; 1000 to 1120 in full sun.
    absorptivity, emissivity [1]: a for sunlight and eps for heat, see `surface`.
    convection_w_per_m2_k [W/(m2 K)]: h, 5 in calm air to 20 in wind.
    heat_w_per_m2 [W/m2]: q, heat from inside per whole surface, see `surface_heat_w_per_m2`.
    area_ratio [1]: r, whole surface that gives off heat over its projection towards the sun; at least 1.

    Returns
    -------
    Temperature [C] in the broadcast shape. Mean of the surface: the sunlit side of a plastic box is hotter.

    Valid for -60 to 150 C. Source: own derivation (heat balance); checked by bisection in the tests.

    >>> float(sun_temperature_c(40.0, 1000.0, 0.95, 0.92, 10.0).round(1))
    57.8
    """
    air, g, a, eps, h, q, r = np.broadcast_arrays(
        *(
            np.asarray(x, float)
            for x in (
                air_c, irradiance_w_per_m2, absorptivity, emissivity, convection_w_per_m2_k, heat_w_per_m2, area_ratio,
            )
        )
    )  # fmt: skip
    if np.any(air <= -_KELVIN) or np.any(g < 0) or np.any(q < 0):
        raise ValueError("air must be above absolute zero; irradiance and inner heat can't be negative")
    if np.any((a < 0) | (a > 1) | (eps < 0) | (eps > 1)):
        raise ValueError("absorptivity and emissivity must lie between 0 and 1")
    if np.any(h < 0) or np.any((h == 0) & (eps == 0)):
        raise ValueError("convection can't be negative, and with none the emissivity must be positive")
    if np.any(r < 1):
        raise ValueError("the whole surface can't be smaller than its projection")
    sigma, ta = STEFAN_BOLTZMANN.value, air + _KELVIN
    load = a * g / r + q
    # the loss is convex and increasing: Newton started above the root falls onto it and never leaves it
    radiating, blown = np.maximum(4 * eps * sigma * ta**3, 1e-300), np.maximum(h, 1e-300)
    t = ta + np.minimum(load / blown, load / radiating)
    for _ in range(100):
        loss = h * (t - ta) + eps * sigma * (t**4 - ta**4)
        step = (loss - load) / (h + 4 * eps * sigma * t**3)
        t = t - step
        if not np.any(np.abs(step) > 1e-9):
            break
    return np.asarray(t - _KELVIN)


def box_pressure_change_pa(closed_c: ArrayLike, now_c: ArrayLike, pressure_pa: ArrayLike = 101325.0) -> Array:
    """
    Gauge pressure of a tight box after a change of temperature: `P_1 (T_2 / T_1 - 1)`.

    Parameters
    ----------
    closed_c, now_c [C]: T_1 when inside and outside were equal, and T_2 now; of the air inside.
    pressure_pa [Pa]: P_1, of the air around.

    Returns
    -------
    Pressure inside less outside [Pa]; negative: the box sucks. Source: ideal gas law.

    >>> float(box_pressure_change_pa(45.0, 20.0).round(0))
    -7962.0
    """
    t1, t2 = np.asarray(closed_c, float) + _KELVIN, np.asarray(now_c, float) + _KELVIN
    p1 = np.asarray(pressure_pa, float)
    if np.any(t1 <= 0) or np.any(t2 <= 0) or np.any(p1 <= 0):
        raise ValueError("temperatures must be above absolute zero and the pressure positive")
    return np.asarray(p1 * (t2 / t1 - 1))


def water_head_m(pressure_pa: ArrayLike) -> Array:
    """
    Height of water that a pressure can hold: `p / (rho g)`, rho = 1000 kg/m3.

    Parameters
    ----------
    pressure_pa [Pa]: any shape; the sign is kept.

    Returns
    -------
    Height [m]; the test for the second numeral 7 of IEC 60529 stands at 1 m.

    >>> float(water_head_m(-7962.0).round(2))
    -0.81
    """
    return np.asarray(np.asarray(pressure_pa, float) / (_WATER_KG_PER_M3 * STANDARD_GRAVITY_M_PER_S2.value))
