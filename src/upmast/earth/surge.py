"""Current waves of a lightning stroke: the shape, its slope, its peak, its charge and its specific energy."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Source
from upmast.table import read

__all__ = [
    "LEVELS",
    "SurgeFigures",
    "Wave",
    "stroke_peak_a",
    "surge_a",
    "surge_figures",
    "surge_slope_a_per_s",
    "time_at_s",
    "time_of_peak_s",
    "wave",
    "waves",
]

Array = NDArray[np.float64]
LEVELS = ("I", "II", "III", "IV")
_POWER = 10.0  # exponent of the front, IEC 62305-1, annex B (from memory)
_TAILS = 60.0  # the integrals end after so many tail constants: exp(-60) is nothing beside 1


@dataclass(frozen=True, slots=True)
class Wave:
    """
    One shape of stroke current, `i = I / k x / (1 + x) exp(-t / tau_2)` with `x = (t / tau_1)^10`.

    front_s, half_s [s]: T_1 and T_2, its name as a pair of times. correction [-]: k. tau_front_s, tau_tail_s [s]: tau_1, tau_2.
    peaks_a [A]: I at protection levels I to IV.
    """

    name: str
    front_s: float
    half_s: float
    correction: float
    tau_front_s: float
    tau_tail_s: float
    peaks_a: tuple[float, float, float, float]
    source: Source

    def __post_init__(self) -> None:
        times = (self.front_s, self.half_s, self.correction, self.tau_front_s, self.tau_tail_s, *self.peaks_a)
        if not all(0 < x < float("inf") for x in times):
            raise ValueError("times, correction and peaks of a wave must be positive")
        if not self.tau_front_s < self.tau_tail_s:
            raise ValueError("the front of a wave must be shorter than its tail")


@dataclass(frozen=True, slots=True, eq=False)
class SurgeFigures:
    """
    Figures of a stroke, each in the shape of the asked peak.

    peak_a [A]: highest value of the wave; the rounded k of the table leaves it up to 1 % beside I. peak_s [s]: when.
    mean_slope_a_per_s [A/s]: I / T_1. greatest_slope_a_per_s [A/s]. charge_c [C]. specific_energy_j_per_ohm [J/ohm]: W/R.
    """

    peak_a: Array
    peak_s: Array
    mean_slope_a_per_s: Array
    greatest_slope_a_per_s: Array
    charge_c: Array
    specific_energy_j_per_ohm: Array


def waves() -> tuple[str, ...]:
    """Names of the waves in the table."""
    return tuple(row["wave"] for row in read("upmast.earth", "surge_waves_iec62305_1").rows)


@cache
def wave(name: str) -> Wave:
    """
    A wave of the table, with its source and mark.

    >>> found = wave("first_positive")
    >>> found.front_s, found.half_s, found.peaks_a[0], str(found.source.mark)
    (1e-05, 0.00035, 200000.0, 'memory')
    """
    table = read("upmast.earth", "surge_waves_iec62305_1")
    for row in table.rows:
        if row["wave"] == name:
            one, two, three, four = (float(row[f"level_{n}_a"]) for n in (1, 2, 3, 4))
            return Wave(
                name,
                front_s=float(row["front_s"]),
                half_s=float(row["half_s"]),
                correction=float(row["correction"]),
                tau_front_s=float(row["tau_front_s"]),
                tau_tail_s=float(row["tau_tail_s"]),
                peaks_a=(one, two, three, four),
                source=table.source,
            )
    raise ValueError(f"wave {name!r} is not known; there are {', '.join(waves())}")


def stroke_peak_a(level: str, name: str) -> float:
    """
    Peak current of a stroke at a lightning protection level.

    Parameters
    ----------
    level: 'I' to 'IV'. name: one of `waves()`.

    Returns
    -------
    Current [A]. Source: IEC 62305-1, table 3 (from memory).

    >>> stroke_peak_a("II", "subsequent")
    37500.0
    """
    if level not in LEVELS:
        raise ValueError(f"protection level {level!r} is not known; {', '.join(LEVELS)}")
    return wave(name).peaks_a[LEVELS.index(level)]


def _shape(time_s: Array, form: Wave) -> Array:
    """The wave of 1 A. Before the stroke there is no current."""
    t = np.maximum(time_s, 0.0)
    # x / (1 + x) written so that neither a small nor a large x overflows
    with np.errstate(divide="ignore", over="ignore"):
        front = 1 / (1 + (form.tau_front_s / t) ** _POWER)
    return np.asarray(front * np.exp(-t / form.tau_tail_s) / form.correction)


def _shape_slope(time_s: Array, form: Wave) -> Array:
    t = np.maximum(time_s, 0.0)
    with np.errstate(divide="ignore", over="ignore"):
        back = 1 / (1 + (t / form.tau_front_s) ** _POWER)
    later = np.where(t > 0, t, 1.0)
    return np.where(t > 0, _shape(t, form) * (_POWER * back / later - 1 / form.tau_tail_s), 0.0)


def _checked(time_s: ArrayLike, peak_a: ArrayLike) -> tuple[Array, Array]:
    t, peak = np.asarray(time_s, float), np.asarray(peak_a, float)
    if np.any(np.isnan(t)) or not np.all(np.isfinite(peak)) or not np.all(peak >= 0):
        raise ValueError("time must be a number, the peak current finite and not negative")
    return t, peak


def surge_a(time_s: ArrayLike, peak_a: ArrayLike, form: Wave) -> Array:
    """
    Current of a stroke: `i = I / k x / (1 + x) exp(-t / tau_2)`, `x = (t / tau_1)^10`; 0 before it begins.

    Parameters
    ----------
    time_s [s]: t from the foot of the wave. peak_a [A]: I. Broadcast. form: of `wave`.

    Returns
    -------
    Current [A]. Source: IEC 62305-1, annex B (from memory).

    >>> float(surge_a(31.4e-6, 100e3, wave("first_positive")).round(-2))
    100100.0
    """
    t, peak = _checked(time_s, peak_a)
    return np.asarray(peak * _shape(t, form))


def surge_slope_a_per_s(time_s: ArrayLike, peak_a: ArrayLike, form: Wave) -> Array:
    """
    Slope of a stroke's current: `di/dt = i (10 / (t (1 + x)) - 1 / tau_2)`.

    Parameters
    ----------
    As `surge_a`.

    Returns
    -------
    Slope [A/s]. Source: the derivative of the wave of IEC 62305-1, annex B.

    >>> round(float(surge_slope_a_per_s(18e-6, 100e3, wave("first_positive"))) * 1e-9, 1)  # kA/us
    13.3
    """
    t, peak = _checked(time_s, peak_a)
    return np.asarray(peak * _shape_slope(t, form))


@cache
def time_of_peak_s(form: Wave) -> float:
    """
    When the wave is highest: the root of `10 tau_2 = t (1 + x)`, by bisection.

    >>> round(time_of_peak_s(wave("first_positive")) * 1e6, 1)
    31.4
    """
    # t (1 + x) rises with t from 0 and is beyond 10 tau_2 at t = 10 tau_2, so there is one root between
    low, high = 0.0, 10 * form.tau_tail_s
    for _ in range(200):
        middle = (low + high) / 2
        if middle * (1 + (middle / form.tau_front_s) ** _POWER) < _POWER * form.tau_tail_s:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def time_at_s(fraction: ArrayLike, form: Wave, falling: bool = False) -> Array:
    """
    When the current stands at a fraction of its highest value: the inverse of `surge_a` on the front or on the tail.

    Parameters
    ----------
    fraction [-]: between 0 and 1, any shape. form: of `wave`. falling: on the tail instead of the front.

    Returns
    -------
    Time [s] from the foot of the wave, by bisection. Source: own derivation.

    >>> front = wave("first_positive")
    >>> t_10, t_90 = time_at_s([0.1, 0.9], front)
    >>> round(float(t_90 - t_10) / 0.8 * 1e6, 1)  # T_1 by definition
    10.0
    """
    part = np.asarray(fraction, float)
    if not np.all((part > 0) & (part <= 1)):
        raise ValueError("the fraction must lie above 0 and up to 1")
    peak_s = time_of_peak_s(form)
    goal = part * _shape(np.asarray(peak_s), form)
    low = np.full(part.shape, peak_s if falling else 0.0)
    high = low + (form.tau_tail_s * (2 - np.log(part)) if falling else peak_s)
    for _ in range(100):
        middle = (low + high) / 2
        before = (_shape(middle, form) > goal) == falling
        low, high = np.where(before, middle, low), np.where(before, high, middle)
    return np.asarray((low + high) / 2)


@cache
def _unit(form: Wave) -> tuple[float, float, float, float]:
    """Highest value, steepest slope, charge and specific energy of the wave of 1 A."""
    peak_s = time_of_peak_s(form)
    # the steepest point lies on the front: golden section between foot and peak, where the slope has one maximum
    low, high, ratio = 0.0, peak_s, (5**0.5 - 1) / 2
    for _ in range(100):
        a, b = high - ratio * (high - low), low + ratio * (high - low)
        if _shape_slope(np.asarray(a), form) < _shape_slope(np.asarray(b), form):
            low = a
        else:
            high = b
    steepest = float(_shape_slope(np.asarray((low + high) / 2), form))
    # Gauss-Legendre on panels that grow from the front to the end of the tail
    edges = np.concatenate([np.linspace(0, 3 * peak_s, 40), np.geomspace(3 * peak_s, _TAILS * form.tau_tail_s, 60)[1:]])
    nodes, weights = np.polynomial.legendre.leggauss(12)
    half = np.diff(edges)[:, None] / 2
    current = _shape(edges[:-1, None] + half * (nodes + 1), form)
    charge, energy = (float((half * weights * power).sum()) for power in (current, current**2))
    return float(_shape(np.asarray(peak_s), form)), steepest, charge, energy


def surge_figures(peak_a: ArrayLike, form: Wave) -> SurgeFigures:
    """
    Peak, slopes, charge and specific energy of a stroke, by numerical integral.

    `Q = integral i dt`, `W / R = integral i^2 dt`

    Parameters
    ----------
    peak_a [A]: I, any shape. form: of `wave`.

    Returns
    -------
    `SurgeFigures`. Source: IEC 62305-1, annexes A and B (from memory); integrals by Gauss-Legendre, checked in the tests.

    >>> found = surge_figures(200e3, wave("first_positive"))
    >>> round(float(found.charge_c)), round(float(found.specific_energy_j_per_ohm) * 1e-6, 1)  # 100 C and 10 MJ/ohm
    (100, 10.3)
    """
    _, peak = _checked(0.0, peak_a)
    top, steepest, charge, energy = _unit(form)
    return SurgeFigures(
        peak_a=np.asarray(peak * top),
        peak_s=np.full(peak.shape, time_of_peak_s(form)),
        mean_slope_a_per_s=np.asarray(peak / form.front_s),
        greatest_slope_a_per_s=np.asarray(peak * steepest),
        charge_c=np.asarray(peak * charge),
        specific_energy_j_per_ohm=np.asarray(peak**2 * energy),
    )
