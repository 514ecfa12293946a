"""The battery as the line sees it: emf and inner resistance over the depth of discharge, and the capacity that is left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import Constant
from upmast.source import Mark, Source
from upmast.table import Table, read

__all__ = [
    "LEAD_ACID_TEMPERATURE_COEFFICIENT_PER_K",
    "Battery",
    "Chemistry",
    "cell_source",
    "emf_v",
    "energy_wh",
    "inner_ohm",
    "linear",
    "peukert_hours",
    "string",
    "temperature_factor",
    "usable_ah",
]

Array = NDArray[np.float64]
Chemistry = Literal["lead-acid", "lithium-iron-phosphate"]
_TABLES: dict[str, str] = {
    "lead-acid": "cells_lead_acid",
    "lithium-iron-phosphate": "cells_lithium_iron_phosphate",
}
LEAD_ACID_TEMPERATURE_COEFFICIENT_PER_K = Constant(
    "lambda", 0.006, "1/K", Source("IEC 60896-21", clause="capacity at another temperature, rates of 3 h and longer", mark=Mark.MEMORY)
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Battery:
    """
    A battery between its terminals. Emf and resistance run straight between the points of the curve.

    Parameters
    ----------
    dod [-] [n]: depth of discharge, rising from 0 (full) to 1 (empty).
    emf_v [V] [n]: of the whole battery, never rising with the discharge.
    source_ohm [ohm] [n]: of the whole battery and of its links and leads, as far as they are not in the network.
    capacity_ah [Ah]: from 0 to 1, after ageing and temperature, at the rate that empties it in `rate_hours_h`.
    rate_hours_h [h]: of that rate.
    peukert: exponent k; 1 where the capacity does not depend on the rate.
    charge_fraction: charge at the start, 1 when full.

    Raises
    ------
    ValueError
        For a curve that does not run from 0 to 1, a rising emf, a negative or missing number, an exponent below 1.
    """

    dod: Array
    emf_v: Array
    source_ohm: Array
    capacity_ah: float
    rate_hours_h: float = 10.0
    peukert: float = 1.0
    charge_fraction: float = 1.0

    def __post_init__(self) -> None:
        for name in ("dod", "emf_v", "source_ohm"):
            object.__setattr__(self, name, np.asarray(getattr(self, name), float))
        d, e, r = self.dod, self.emf_v, self.source_ohm
        if d.ndim != 1 or d.shape != e.shape or d.shape != r.shape or d.size < 2:
            raise ValueError("dod, emf_v and source_ohm need one axis of the same length, two points or more")
        if d[0] != 0 or d[-1] != 1 or not np.all(np.diff(d) > 0):
            raise ValueError("dod must rise from 0 to 1")
        if not np.all(np.diff(e) <= 0) or not np.all(e > 0) or not np.all(np.isfinite(e)):
            raise ValueError("emf_v must be positive and can't rise with the discharge")
        if not np.all(r >= 0) or not np.all(np.isfinite(r)):
            raise ValueError("source_ohm can't be negative or missing")
        for name in ("capacity_ah", "rate_hours_h"):
            if not 0 < getattr(self, name) < np.inf:
                raise ValueError(f"{name} must be positive")
        if not 1 <= self.peukert < np.inf:
            raise ValueError("peukert can't be below 1")
        if not 0 <= self.charge_fraction <= 1:
            raise ValueError("charge_fraction lies between 0 and 1")


def linear(
    full_v: float,
    empty_v: float,
    source_ohm: float,
    capacity_ah: float,
    rate_hours_h: float = 10.0,
    peukert: float = 1.0,
    charge_fraction: float = 1.0,
) -> Battery:
    """
    A battery whose emf falls evenly from full to empty, with one inner resistance: `E = E_full - (E_full - E_empty) d`.

    Parameters
    ----------
    full_v, empty_v [V], source_ohm [ohm], capacity_ah [Ah], rate_hours_h [h], peukert, charge_fraction: see `Battery`.

    Source: common practice, where two voltages are all that is known.

    >>> float(emf_v(linear(51.0, 46.0, 0.012, 100.0), 0.5))
    48.5
    """
    ends = np.array([full_v, empty_v], float)
    both = np.array([source_ohm, source_ohm], float)
    return Battery(np.array([0.0, 1.0]), ends, both, capacity_ah, rate_hours_h, peukert, charge_fraction)


def _table(chemistry: str) -> Table:
    if chemistry not in _TABLES:
        raise ValueError(f"chemistry {chemistry!r} is not known; there are {', '.join(_TABLES)}")
    return read("upmast.power", _TABLES[chemistry])


def cell_source(chemistry: Chemistry) -> Source:
    """Where the curve of `string` comes from. It is from memory: a shape to think with, not a limit to judge by."""
    return _table(chemistry).source


def string(
    chemistry: Chemistry,
    cells: int,
    capacity_ah: float,
    strings: int = 1,
    lead_ohm: float = 0.0,
    rate_hours_h: float = 10.0,
    peukert: float = 1.0,
    charge_fraction: float = 1.0,
    resistance_factor: float = 1.0,
) -> Battery:
    """
    A battery of equal cells: `E = n E_cell(d)`, `r = n rho(d) / (C s) + r_lead`.

    Parameters
    ----------
    chemistry: 'lead-acid' or 'lithium-iron-phosphate'.
    cells: in series; 24 of lead-acid, 15 or 16 of lithium iron phosphate on a -48 V plant.
    capacity_ah [Ah]: of one string, after ageing and temperature (`usable_ah`).
    strings: in parallel, equal.
    lead_ohm [ohm]: from the strings to where the network begins.
    rate_hours_h [h], peukert, charge_fraction: see `Battery`.
    resistance_factor: of the cells, above 1 for aged or cold ones.

    Valid as a shape where the maker's discharge curve is missing. Source: `cell_source`, from memory.

    >>> battery = string("lead-acid", 24, 200.0)
    >>> round(float(emf_v(battery, 0.0)), 1), round(1e3 * float(inner_ohm(battery, 0.0)), 1)
    (50.4, 9.6)
    """
    table = _table(chemistry)
    if cells < 1 or strings < 1:
        raise ValueError("a battery has at least one cell and one string")
    if not capacity_ah > 0 or not lead_ohm >= 0 or not resistance_factor > 0:
        raise ValueError("capacity_ah and resistance_factor must be positive, lead_ohm can't be negative")
    dod, emf, ohm_ah = (np.array(table.numbers(name)) for name in ("dod", "emf_v", "ohm_ah"))
    ohm = resistance_factor * cells * ohm_ah / (capacity_ah * strings) + lead_ohm
    return Battery(dod, cells * emf, ohm, capacity_ah * strings, rate_hours_h, peukert, charge_fraction)


def emf_v(battery: Battery, dod: ArrayLike) -> Array:
    """
    Emf [V] at a depth of discharge [-] of any shape; straight between the points of the curve, held beyond its ends.

    >>> round(float(emf_v(string("lithium-iron-phosphate", 16, 100.0), 0.5)), 2)
    52.64
    """
    return np.asarray(np.interp(np.asarray(dod, float), battery.dod, battery.emf_v))


def inner_ohm(battery: Battery, dod: ArrayLike) -> Array:
    """
    Inner resistance [ohm] at a depth of discharge [-] of any shape; straight between the points of the curve.

    >>> float(inner_ohm(linear(51.0, 46.0, 0.012, 100.0), [0.0, 1.0]).max())
    0.012
    """
    return np.asarray(np.interp(np.asarray(dod, float), battery.dod, battery.source_ohm))


def energy_wh(battery: Battery, dod_from: ArrayLike, dod_to: ArrayLike) -> Array:
    """
    Energy behind the inner resistance between two depths of discharge: `W = C integral of E(d) dd`.

    Parameters
    ----------
    dod_from, dod_to [-]: any shape, 0 to 1.

    Returns
    -------
    Energy [Wh], at the rate for which the capacity holds; exact for the straight pieces of the curve.

    Source: own derivation.

    >>> float(energy_wh(linear(51.0, 46.0, 0.012, 100.0), 0.0, 1.0))
    4850.0
    """
    d, e = battery.dod, battery.emf_v
    area = np.concatenate([[0.0], np.cumsum(np.diff(d) * (e[1:] + e[:-1]) / 2)])

    def up_to(dod: ArrayLike) -> Array:
        x = np.clip(np.asarray(dod, float), 0.0, 1.0)
        if np.any(np.isnan(x)):
            raise ValueError("dod can't be missing")
        i = np.clip(np.searchsorted(d, x, side="right") - 1, 0, d.size - 2)
        return np.asarray(area[i] + (x - d[i]) * (e[i] + emf_v(battery, x)) / 2)

    return np.asarray(battery.capacity_ah * (up_to(dod_to) - up_to(dod_from)))


def peukert_hours(current_a: ArrayLike, capacity_ah: ArrayLike, rate_hours_h: ArrayLike, exponent: ArrayLike) -> Array:
    """
    Hours from full to empty at a constant current: `t = t_n (I_n / I)^k`, `I_n = C_n / t_n`.

    Parameters
    ----------
    current_a [A]: positive. capacity_ah [Ah]: C_n, at the rate of rate_hours_h [h]. exponent: k, 1 or above. Any shapes.

    Valid for one steady current near the rates for which k was taken; below I_n it promises more than the rated capacity.
    Source: Peukert's law; k of 1.05 to 1.3 for lead-acid, near 1 for lithium (from memory). A public tutorial gives 5.0886 h
    for 20 A from 250 Ah at 1 A, that is at the 250-hour rate, and k of 1.3.

    >>> round(float(peukert_hours(20.0, 250.0, 250.0, 1.3)), 4)
    5.0886
    """
    i, c, t, k = (np.asarray(x, float) for x in (current_a, capacity_ah, rate_hours_h, exponent))
    if any(not np.all(x > 0) for x in (i, c, t)) or not np.all(k >= 1):
        raise ValueError("current, capacity and hours must be positive, the exponent can't be below 1")
    return np.asarray(t * (c / t / i) ** k)


def temperature_factor(temperature_c: ArrayLike, coefficient_per_k: ArrayLike, reference_c: ArrayLike = 20.0) -> Array:
    """
    Capacity at a temperature relative to that at the reference: `1 + lambda (theta - theta_ref)`.

    Parameters
    ----------
    temperature_c [C]: of the cells. coefficient_per_k [1/K]: `LEAD_ACID_TEMPERATURE_COEFFICIENT_PER_K` or the maker's.
    reference_c [C]: of the rated capacity. Any shapes.

    Valid for -20 to 40 C; the law is linear and not checked outside. Source: IEC 60896-21 (from memory).

    >>> float(temperature_factor(0.0, LEAD_ACID_TEMPERATURE_COEFFICIENT_PER_K.value))
    0.88
    """
    theta, c, reference = (np.asarray(x, float) for x in (temperature_c, coefficient_per_k, reference_c))
    factor = 1 + c * (theta - reference)
    if not np.all((factor > 0) & (factor < np.inf)):
        raise ValueError("temperature is missing or infinite, or so low that the linear law leaves no capacity")
    return np.asarray(factor)


def usable_ah(rated_ah: ArrayLike, health_fraction: ArrayLike = 1.0, temperature_factor: ArrayLike = 1.0) -> Array:
    """
    Capacity that is left: `C = C_rated x health x temperature factor`.

    Parameters
    ----------
    rated_ah [Ah]: positive. health_fraction: 0 to 1, 0.8 at the end of life. temperature_factor: of the function of that name.

    The charge at the start is not a factor of the capacity: it is where the discharge begins (`Battery.charge_fraction`).

    Source: common practice, no source.

    >>> round(float(usable_ah(100.0, 0.8, 0.88)), 2)
    70.4
    """
    rated, health, warm = (np.asarray(x, float) for x in (rated_ah, health_fraction, temperature_factor))
    if not np.all(rated > 0) or not np.all((health > 0) & (health <= 1)) or not np.all(warm > 0):
        raise ValueError("capacity and factors must be positive, health at most 1")
    return np.asarray(rated * health * warm)
