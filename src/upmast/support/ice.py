"""Ice on cables: glaze and rime classes, their mass and width."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source
from upmast.table import read

__all__ = ["GLAZE_KG_PER_M3", "IceClass", "glaze_mass_kg_per_m", "ice_class", "ice_classes", "iced_diameter_mm"]

Array = NDArray[np.float64]
GLAZE_KG_PER_M3 = 900.0


@dataclass(frozen=True, slots=True)
class IceClass:
    """
    One class of ice, with its source and mark.

    thickness_mm: of glaze, radial (NaN for rime). mass_kg_per_m: of rime (NaN for glaze, which depends on the diameter).
    wind_factor: k on the wind pressure when iced (NaN where not known).
    """

    name: str
    thickness_mm: float
    mass_kg_per_m: float
    wind_factor: float
    source: Source


def ice_classes() -> tuple[str, ...]:
    """Names of the classes in the table."""
    return tuple(row["ice_class"] for row in read("upmast.support", "ice_iso12494").rows)


def ice_class(name: str) -> IceClass:
    """
    A class of ice from the table.

    Source: ISO 12494, from memory.

    >>> ice_class("G2").thickness_mm, str(ice_class("G2").source.mark)
    (20.0, 'memory')
    """
    table = read("upmast.support", "ice_iso12494")
    for row in table.rows:
        if row["ice_class"] == name:
            source = Source(table.source.document, table.source.clause, table.source.edition, Mark(row["mark"]))
            keys = ("thickness_mm", "mass_kg_per_m", "wind_factor")
            thickness, mass, factor = (float(row[key]) if row[key] else math.nan for key in keys)
            return IceClass(name, thickness, mass, factor, source)
    raise ValueError(f"ice class {name!r} is not known; there are {', '.join(ice_classes())}")


def _check(diameter: Array, thickness: Array) -> None:
    if np.any(diameter < 0) or np.any(thickness < 0):
        raise ValueError("diameter and thickness can't be negative")


def glaze_mass_kg_per_m(diameter_mm: ArrayLike, thickness_mm: ArrayLike, density: ArrayLike = GLAZE_KG_PER_M3) -> Array:
    """
    Mass of glaze on a round cable: `m = pi t (D + t) rho`.

    Parameters
    ----------
    diameter_mm [mm]: D, bare. thickness_mm [mm]: t, radial. density [kg/m3]: rho, 900. All broadcast.

    Returns
    -------
    Mass [kg/m] of the ice alone. Source: ISO 12494, glaze; geometry.

    >>> glaze_mass_kg_per_m([28.0, 50.0], [20.0, 40.0]).round(3)
    array([ 2.714, 10.179])
    """
    d, t, rho = (np.asarray(x, float) for x in (diameter_mm, thickness_mm, density))
    _check(d, t)
    if np.any(rho < 0):
        raise ValueError("density can't be negative")
    return np.asarray(math.pi * t * (d + t) * 1e-6 * rho)


def iced_diameter_mm(diameter_mm: ArrayLike, thickness_mm: ArrayLike) -> Array:
    """
    Width of a cable with glaze: `D + 2 t`.

    Parameters
    ----------
    diameter_mm [mm]: D, bare. thickness_mm [mm]: t, radial. Broadcast.

    Returns
    -------
    Diameter [mm]. Source: ISO 12494, glaze; geometry.

    >>> float(iced_diameter_mm(28.0, 20.0))
    68.0
    """
    d, t = np.asarray(diameter_mm, float), np.asarray(thickness_mm, float)
    _check(d, t)
    return np.asarray(d + 2 * t)
