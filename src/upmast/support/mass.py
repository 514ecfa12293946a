"""Mass of a cable per metre, from what it is made of."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Source
from upmast.table import read

__all__ = [
    "cable_mass_kg_per_m",
    "corrugated_mass_kg_per_m",
    "density_kg_per_m3",
    "density_source",
    "lay_factor",
    "ring_mass_kg_per_m",
]

Array = NDArray[np.float64]
Material = Literal["copper", "aluminium", "steel", "hdpe", "pvc"]


def density_kg_per_m3(material: Material) -> float:
    """
    Density of a material of cables.

    >>> density_kg_per_m3("copper")
    8960.0
    """
    rows = {row["material"]: row for row in read("upmast.support", "densities").rows}
    if material not in rows:
        raise ValueError(f"material {material!r} is not known; there are {', '.join(rows)}")
    return float(rows[material]["density_kg_per_m3"])


def density_source() -> Source:
    """Where the densities come from."""
    return read("upmast.support", "densities").source


def lay_factor(lay_diameter_mm: ArrayLike, pitch_mm: ArrayLike) -> Array:
    """
    Length of a stranded core over the length of its cable: `sqrt(1 + (pi d / p)^2)`.

    Parameters
    ----------
    lay_diameter_mm [mm]: d, of the circle of the cores' middles. pitch_mm [mm]: p, length of one turn. Broadcast.

    Returns
    -------
    Factor [1], at least 1. Source: own derivation (arc of a helix).

    >>> float(lay_factor(10.0, 150.0).round(4))
    1.0217
    """
    d, p = np.asarray(lay_diameter_mm, float), np.asarray(pitch_mm, float)
    if np.any(d < 0) or np.any(p <= 0):
        raise ValueError("lay diameter can't be negative and the pitch must be positive")
    return np.asarray(np.hypot(1.0, math.pi * d / p))


def ring_mass_kg_per_m(outer_mm: ArrayLike, thickness_mm: ArrayLike, density: ArrayLike) -> Array:
    """
    Mass per metre of a sheath or smooth tube: `pi t (D - t) rho`.

    Parameters
    ----------
    outer_mm [mm]: D over it. thickness_mm [mm]: t of the wall. density [kg/m3]: rho. Broadcast.

    Returns
    -------
    Mass [kg/m]. Source: geometry.

    >>> float(ring_mass_kg_per_m(28.0, 1.5, 955.0).round(4))
    0.1193
    """
    outer, t, rho = (np.asarray(x, float) for x in (outer_mm, thickness_mm, density))
    if np.any(t < 0) or np.any(2 * t > outer) or np.any(rho < 0):
        raise ValueError("a wall can't be negative or thicker than the radius, and density can't be negative")
    return np.asarray(math.pi * t * (outer - t) * 1e-6 * rho)


def corrugated_mass_kg_per_m(
    mean_mm: ArrayLike, thickness_mm: ArrayLike, density: ArrayLike, corrugation: ArrayLike
) -> Array:
    """
    Mass per metre of a corrugated tube: `pi d t c rho`.

    Parameters
    ----------
    mean_mm [mm]: d, mean diameter. thickness_mm [mm]: t of the metal. density [kg/m3]: rho.
    corrugation [1]: c, length of the metal over the length of the tube, 1.05 to 1.2. All broadcast.

    Returns
    -------
    Mass [kg/m]. Source: geometry.

    >>> float(corrugated_mass_kg_per_m(20.0, 0.3, 8960.0, 1.1).round(4))
    0.1858
    """
    d, t, rho, c = (np.asarray(x, float) for x in (mean_mm, thickness_mm, density, corrugation))
    if np.any(d < 0) or np.any(t < 0) or np.any(rho < 0) or np.any(c < 1):
        raise ValueError("diameter, thickness and density can't be negative and corrugation can't be below 1")
    return np.asarray(math.pi * d * t * 1e-6 * c * rho)


def cable_mass_kg_per_m(
    area_mm2: ArrayLike,
    density: ArrayLike,
    count: ArrayLike = 1.0,
    lay: ArrayLike = 1.0,
    other_kg_per_m: ArrayLike = 0.0,
) -> Array:
    """
    Mass per metre of a cable from its parts: `m = sum_k n_k A_k rho_k l_k + m_other`.

    Parameters
    ----------
    area_mm2 [mm2], density [kg/m3], count [1], lay [1]: A, rho, n and l of each kind of part along the last axis.
    other_kg_per_m [kg/m]: shield, sheath and whatever has its own function, shape without the last axis.

    Returns
    -------
    Mass [kg/m] without the last axis. A data sheet's mass goes before it. Source: geometry.

    >>> float(cable_mass_kg_per_m([10.0], [8960.0], [6], [1.02]).round(3))
    0.548
    """
    area, rho, n, factor = (np.atleast_1d(np.asarray(x, float)) for x in (area_mm2, density, count, lay))
    if np.any(area < 0) or np.any(rho < 0) or np.any(n < 0) or np.any(np.asarray(other_kg_per_m) < 0):
        raise ValueError("areas, densities, counts and masses can't be negative")
    if np.any(factor < 1):
        raise ValueError("a lay factor can't be below 1")
    return np.asarray((n * area * 1e-6 * rho * factor).sum(-1) + np.asarray(other_kg_per_m, float))
