"""Heating of a conductor by a stroke: too short to lose heat."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Source
from upmast.table import read

__all__ = ["material_source", "materials", "temperature_rise_k"]

Array = NDArray[np.float64]


def materials() -> tuple[str, ...]:
    """Metals with known properties."""
    return tuple(row["material"] for row in read("upmast.earth", "materials_iec62305_1").rows)


def material_source() -> Source:
    """Where the properties of the metals come from."""
    return read("upmast.earth", "materials_iec62305_1").source


def temperature_rise_k(area_mm2: ArrayLike, specific_energy_j_per_ohm: ArrayLike, material: str = "copper") -> Array:
    """
    Temperature rise of a conductor by an impulse current.

    `dT = (exp((W/R) alpha rho_0 / (q^2 gamma C_w)) - 1) / alpha`

    Parameters
    ----------
    area_mm2 [mm2]: section q, any shape. Here in mm2, in the equation in m2.
    specific_energy_j_per_ohm [J/ohm]: integral of i^2 dt, W/R; 2.5e6, 5.6e6 and 10e6 for levels III-IV, II and I.
    material: one of `materials()`.

    Returns
    -------
    Rise [K]; infinite where it is beyond numbers (the conductor is gone).

    Valid to the melting point and without skin effect; steel is taken as non-magnetic heat only.
    Source: IEC 62305-1, annex D, equation and table D.2 (from memory; the table values of the annex are met).

    >>> float(temperature_rise_k(35.0, 10e6).round(1)), float(temperature_rise_k(35.0, 5.6e6, "aluminium").round(1))
    (46.0, 60.4)
    """
    table = read("upmast.earth", "materials_iec62305_1")
    rows = {row["material"]: row for row in table.rows}
    if material not in rows:
        raise ValueError(f"material {material!r} is not known; there are {', '.join(rows)}")
    row = rows[material]
    rho, alpha = float(row["resistivity_ohm_m"]), float(row["alpha_per_k"])
    heat = float(row["density_kg_per_m3"]) * float(row["heat_j_per_kg_k"])
    q, energy = np.asarray(area_mm2, float) * 1e-6, np.asarray(specific_energy_j_per_ohm, float)
    if not np.all(q > 0) or not np.all(energy >= 0):
        raise ValueError("section must be positive, specific energy can't be negative")
    with np.errstate(over="ignore"):
        return np.asarray(np.expm1(energy * alpha * rho / (q * q * heat)) / alpha)
