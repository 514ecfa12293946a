"""What a conductor reaches and withstands under a fault current: kept heat in short faults, lost heat in long ones."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.heating import LIMIT_C
from upmast.power.protection import adiabatic_constants, adiabatic_k, none_negative
from upmast.source import Mark, Source

__all__ = [
    "ADIABATIC_S",
    "HEAT_CAPACITY_SOURCE",
    "SHORT_CIRCUIT_LIMIT_C",
    "SHORT_CIRCUIT_SOURCE",
    "adiabatic_fraction",
    "copper_heat_share",
    "final_temperature_c",
    "service_k",
    "steady_temperature_c",
    "time_constant_s",
    "time_to_limit_s",
    "transient_temperature_c",
]

Array = NDArray[np.float64]
# Highest conductor temperature in a short circuit, to 300 mm2, C.
SHORT_CIRCUIT_LIMIT_C = {"pvc70": 160.0, "xlpe90": 250.0}
SHORT_CIRCUIT_SOURCE = Source(
    "IEC 60364-5-54", clause="annex A, k of live conductors; the same in IEC 60364-4-43, table 43A"
)
# To this time the conductor keeps practically all its heat; beyond, what the adiabatic law allows is a lower bound.
ADIABATIC_S = 5.0
# Heat capacity of a volume, J/(K mm3).
_COPPER_J_PER_K_MM3 = 3.45e-3
_INSULATION_J_PER_K_MM3 = {"pvc70": 1.7e-3, "xlpe90": 2.4e-3}
HEAT_CAPACITY_SOURCE = Source(
    "IEC 60853-2", clause="volumetric heat capacities, factor of the insulation", mark=Mark.MEMORY
)
_TABLE_C = 30.0  # air of the tables of capacity


def _known_kind(insulation: str) -> None:
    if insulation not in SHORT_CIRCUIT_LIMIT_C:
        raise ValueError(f"insulation {insulation!r} is not known; there are {', '.join(SHORT_CIRCUIT_LIMIT_C)}")


def service_k(insulation: str, material: str = "copper") -> float:
    """
    Adiabatic factor from the service limit to the short-circuit limit, unrounded: 115 for PVC, 143 for XLPE, copper.

    Source: IEC 60364-5-54, annex A, by `adiabatic_k`.

    >>> round(service_k("pvc70")), round(service_k("xlpe90"))
    (115, 143)
    """
    _known_kind(insulation)
    return float(adiabatic_k(LIMIT_C[insulation], SHORT_CIRCUIT_LIMIT_C[insulation], material))


def adiabatic_fraction(current_a: ArrayLike, time_s: ArrayLike, area_mm2: ArrayLike, k: ArrayLike) -> Array:
    """
    How far a conductor is used by a fault: `I^2 t / (k^2 S^2)`; it withstands to 1, equal passes.

    Parameters
    ----------
    current_a [A], time_s [s] until the device has cleared, infinite where it does not; area_mm2 [mm2], k [A sqrt(s) / mm2]:
        any shapes that broadcast.

    Returns
    -------
    Fraction [-]; NaN where an input is, infinite where a current is never cleared, 0 without current.

    Raises
    ------
    ValueError
        For a negative input, a section or k of 0.

    Valid to 5 s. Beyond, the conductor gives off heat on the way: a fraction above 1 then does not yet prove harm, one to 1
    still proves that it withstands; see `transient_temperature_c`. Source: IEC 60364-4-43, clause 434.5.2.

    >>> adiabatic_fraction(1150.0, [0.5, 1.0, 2.0], 10.0, 115.0)
    array([0.5, 1. , 2. ])
    """
    current, time, area, factor = none_negative(current_a=current_a, time_s=time_s, area_mm2=area_mm2, k=k)
    if np.any(area == 0) or np.any(factor == 0):
        raise ValueError("area_mm2 or k is 0; expected both above 0, NaN where one isn't known")
    with np.errstate(invalid="ignore"):
        energy = np.where(current == 0, np.where(np.isnan(time), np.nan, 0.0), current**2 * time)
    return np.asarray(energy / (factor * area) ** 2)


def _rates(
    current_a: ArrayLike,
    area_mm2: ArrayLike,
    known_a: ArrayLike,
    known_c: ArrayLike,
    known_ambient_c: ArrayLike,
    share: ArrayLike,
    material: str,
) -> tuple[Array, Array, float]:
    """Heating `a` and cooling `b` [1/s] of `theta' = a (beta + theta) - b (theta - theta_a)`, and beta."""
    big_k, beta = adiabatic_constants(material)
    current, area, known, part = none_negative(
        current_a=current_a, area_mm2=area_mm2, known_a=known_a, copper_share=share
    )
    hot, air = np.asarray(known_c, float), np.asarray(known_ambient_c, float)
    if np.any(area == 0):
        raise ValueError("area_mm2 is 0; expected a section above 0, NaN where it isn't known")
    if np.any(np.isinf(known)):
        raise ValueError(
            "known_a is infinite; expected the current of a known steady state, 0 for no loss of heat at all"
        )
    if np.any((part == 0) | (part > 1)):
        raise ValueError(
            "copper_share lies outside its range; expected above 0 and to 1, 1 for the conductor's heat alone"
        )
    if np.any(hot <= air) or np.any(air <= -beta):
        raise ValueError(
            "expected known_c above known_ambient_c: the conductor of the known state is warmer than its air"
        )
    whole = part / (big_k * area) ** 2
    return np.asarray(current**2 * whole), np.asarray(known**2 * whole * (beta + hot) / (hot - air)), beta


def _start(initial_c: ArrayLike, beta: float) -> Array:
    start = np.asarray(initial_c, float)
    if np.any(start <= -beta):
        raise ValueError(f"initial_c is {np.nanmin(start):g}; expected above {-beta:g} C")
    return start


def final_temperature_c(
    initial_c: ArrayLike, current_a: ArrayLike, time_s: ArrayLike, area_mm2: ArrayLike, material: str = "copper"
) -> Array:
    """
    Conductor temperature after a fault that keeps its heat: `theta_f = (beta + theta_i) exp(I^2 t / (K^2 S^2)) - beta`.

    Exact for a constant current without loss of heat; above the true temperature with it, so always on the safe side.

    Parameters
    ----------
    initial_c [C]: before the fault, the service limit when not known better. current_a [A], time_s [s], area_mm2 [mm2]: any
        shapes that broadcast. material: as for `adiabatic_k`.

    Returns
    -------
    Temperature [C]; infinite where it never clears, NaN where an input is.

    Raises
    ------
    ValueError
        For a negative input, a section of 0, a temperature below -beta.

    Valid below the melting point. Source: IEC 60949, adiabatic part; IEC 60364-5-54, annex A.

    >>> final_temperature_c([70.0, 90.0], [1150.0, 1430.0], 1.0, 10.0).round(0)
    array([160., 250.])
    """
    return transient_temperature_c(time_s, current_a, area_mm2, initial_c, _TABLE_C, 0.0, 90.0, material=material)


def transient_temperature_c(
    time_s: ArrayLike,
    current_a: ArrayLike,
    area_mm2: ArrayLike,
    initial_c: ArrayLike,
    ambient_c: ArrayLike,
    known_a: ArrayLike,
    known_c: ArrayLike,
    known_ambient_c: ArrayLike = _TABLE_C,
    copper_share: ArrayLike = 1.0,
    material: str = "copper",
) -> Array:
    """
    Conductor temperature during a long fault: one heat store that warms by `I^2 R(theta)` and cools to the air.

    `theta' = a (beta + theta) - b (theta - theta_a)`, `a = s I^2 / (K S)^2`,
    `b = s (I_k / (K S))^2 (beta + theta_k) / (theta_k - theta_ka)`: the resistance grows with temperature, and the cooling is
    the one with which a known current I_k gives the known steady temperature theta_k in air of theta_ka. Hence
    `theta = theta_i + (a (beta + theta_i) - b (theta_i - theta_a)) (1 - exp(-(b - a) t)) / (b - a)`.

    Assumptions, all on the safe side with s = 1: only the conductor stores heat (what lies around it is taken to warm at once,
    so the conductor warms sooner than it does), the thermal resistance to the air stays that of the known state (it falls as
    the surface gets hotter), and the current does not fall as the loop warms. With insulation in the store (`copper_share`
    below 1) it is nearer to the truth beyond 5 s; before, up to 1 - s of the rise is missing: there keep s = 1.

    Parameters
    ----------
    time_s [s]: from the start of the fault; infinite for the steady state.
    current_a [A], area_mm2 [mm2], initial_c [C], ambient_c [C]: air at the cable, or the sheath without current in the sun.
    known_a [A], known_c, known_ambient_c [C]: a steady state that is known: tabulated capacity with the grouping factor, limit
        (70 for PVC, 90 for XLPE) and 30 C, or one found for this cable; known_a = 0 for no loss of heat at all.
    copper_share [-]: s, heat stored in the conductor against all that is stored, see `copper_heat_share`.

    Returns
    -------
    Temperature [C] in the broadcast shape; infinite where it runs away (`a >= b`) and time is infinite; NaN where an input is.

    Raises
    ------
    ValueError
        For a negative input, a section or share of 0, a known state not warmer than its air, a start below -beta.

    Source: own derivation; adiabatic limit by IEC 60949, steady limit by IEC 60364-5-52 (tabulated capacity).

    >>> transient_temperature_c([0.0, 60.0, np.inf], 86.0, 10.0, 30.0, 30.0, 86.0, 90.0).round(1)
    array([30. , 49.1, 90. ])
    """
    a, b, beta = _rates(current_a, area_mm2, known_a, known_c, known_ambient_c, copper_share, material)
    (time,) = none_negative(time_s=time_s)
    start, ambient = _start(initial_c, beta), np.asarray(ambient_c, float)
    rate = a * (beta + start) - b * (start - ambient)
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        x = (b - a) * time
        grown = np.where(b == a, time, -np.expm1(-x) / (b - a))
        risen = np.where((rate == 0) & ~np.isnan(time), 0.0, rate * grown)
        risen = np.where(np.isinf(a), np.where(time > 0, np.inf, 0.0 * time), risen)
    return np.asarray(start + risen)


def steady_temperature_c(
    current_a: ArrayLike,
    area_mm2: ArrayLike,
    ambient_c: ArrayLike,
    known_a: ArrayLike,
    known_c: ArrayLike,
    known_ambient_c: ArrayLike = _TABLE_C,
    material: str = "copper",
) -> Array:
    """
    Where `transient_temperature_c` ends: `theta = (a beta + b theta_a) / (b - a)`; infinite from `a = b` on.

    Parameters
    ----------
    As for `transient_temperature_c`. Below the limit it lies under `conductor_temperature_c`, which holds the resistance at
    its highest; above the limit, over it.

    Source: own derivation.

    >>> float(steady_temperature_c(86.0, 10.0, 30.0, 86.0, 90.0).round(6))
    90.0
    """
    a, b, beta = _rates(current_a, area_mm2, known_a, known_c, known_ambient_c, 1.0, material)
    ambient = _start(ambient_c, beta)
    a, b, ambient = np.broadcast_arrays(a, b, ambient)
    settles = ~(b <= a)
    top = a * beta + b * ambient
    return np.asarray(np.divide(top, b - a, out=np.where(a == 0, ambient, np.inf), where=settles))


def time_constant_s(
    area_mm2: ArrayLike,
    known_a: ArrayLike,
    known_c: ArrayLike,
    known_ambient_c: ArrayLike = _TABLE_C,
    copper_share: ArrayLike = 1.0,
    material: str = "copper",
) -> Array:
    """
    Thermal time constant at small current: `tau = (K S / I_z30)^2 (theta_max - 30) / (beta + theta_max) / s`.

    Parameters
    ----------
    As for `transient_temperature_c`.

    Returns
    -------
    Time [s]; infinite without loss of heat.

    Source: own derivation.

    >>> float(time_constant_s(10.0, 86.0, 90.0).round(1))
    127.7
    """
    _, b, _ = _rates(0.0, area_mm2, known_a, known_c, known_ambient_c, copper_share, material)
    return np.asarray(np.divide(1.0, b, out=np.full(np.shape(b), np.inf), where=b != 0))


def time_to_limit_s(
    current_a: ArrayLike,
    area_mm2: ArrayLike,
    initial_c: ArrayLike,
    final_c: ArrayLike,
    ambient_c: ArrayLike,
    known_a: ArrayLike,
    known_c: ArrayLike,
    known_ambient_c: ArrayLike = _TABLE_C,
    copper_share: ArrayLike = 1.0,
    material: str = "copper",
) -> Array:
    """
    Time after which `transient_temperature_c` stands at a temperature: its inverse,
    `t = -ln(1 - (b - a) (theta_f - theta_i) / (a (beta + theta_i) - b (theta_i - theta_a))) / (b - a)`.

    Parameters
    ----------
    final_c [C]: 160 for PVC, 250 for XLPE in a short circuit. The others as for `transient_temperature_c`; with
    `known_a` of 0 it is `let_through_time_s` with the k of the two temperatures.

    Returns
    -------
    Time [s], a lower bound with `copper_share` of 1; 0 from the start above, infinite where it is never reached.

    Raises
    ------
    ValueError
        As for `transient_temperature_c`.

    Source: own derivation, inverse of `transient_temperature_c`.

    >>> time_to_limit_s([86.0, 200.0, 1430.0], 10.0, 90.0, 250.0, 30.0, 86.0, 90.0).round(2)
    array([  inf, 77.24,  1.01])
    """
    a, b, beta = _rates(current_a, area_mm2, known_a, known_c, known_ambient_c, copper_share, material)
    start, end, ambient = _start(initial_c, beta), np.asarray(final_c, float), np.asarray(ambient_c, float)
    a, b, start, end, ambient = np.broadcast_arrays(a, b, start, end, ambient)
    rate, rise = a * (beta + start) - b * (start - ambient), end - start
    with np.errstate(invalid="ignore", divide="ignore"):
        used = (b - a) * rise / rate
        time = np.where(b == a, rise / rate, -np.log1p(-np.minimum(used, 1.0)) / (b - a))
    reached = np.where(np.isinf(a), 0.0, np.where((rate <= 0) | (used >= 1), np.inf, time))
    missing = np.isnan(rate + rise)
    return np.asarray(np.where(missing, np.nan, np.where(rise <= 0, 0.0, reached)))


def copper_heat_share(area_mm2: ArrayLike, insulation_mm: ArrayLike, insulation: str) -> Array:
    """
    Heat that a round conductor stores against what it and its insulation store: `s = C_c / (C_c + p C_i)`.

    `p = 1 / (2 ln(D / d)) - 1 / ((D / d)^2 - 1)` is the part of the insulation that warms with the conductor (Van Wormer).

    Parameters
    ----------
    area_mm2 [mm2]: copper, taken as a solid round. insulation_mm [mm]: its thickness, 0 for none. insulation: 'pvc70' or
        'xlpe90'.

    Returns
    -------
    Share [-], above 0 to 1; NaN where an input is.

    Valid beyond 5 s and to about 1 mm, see `transient_temperature_c`. Source: IEC 60853-2 (from memory).

    >>> float(copper_heat_share(10.0, 0.7, "xlpe90").round(3))
    0.775
    """
    _known_kind(insulation)
    area, thickness = none_negative(area_mm2=area_mm2, insulation_mm=insulation_mm)
    if np.any(area == 0):
        raise ValueError("area_mm2 is 0; expected a section above 0, NaN where it isn't known")
    ratio = 1 + thickness / np.sqrt(area / np.pi)
    with np.errstate(divide="ignore", invalid="ignore"):
        p = np.where(ratio > 1, 1 / (2 * np.log(ratio)) - 1 / (ratio**2 - 1), 0.5)
    layer = area * (ratio**2 - 1)
    copper = _COPPER_J_PER_K_MM3 * area
    share = copper / (copper + p * _INSULATION_J_PER_K_MM3[insulation] * layer)
    return np.asarray(np.where(np.isnan(ratio), np.nan, share))
