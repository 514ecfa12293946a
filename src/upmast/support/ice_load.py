"""Weight of ice on a cable, the widths that the wind meets, and whether the bare or the iced cable governs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.support.ice import glaze_mass_kg_per_m, ice_class, iced_diameter_mm
from upmast.support.rime import rime_vane
from upmast.support.wind import SUBCRITICAL, line_force_n_per_m

__all__ = ["WIND_CASES", "IceLoad", "WindCases", "ice_load", "wind_cases"]

Array = NDArray[np.float64]
WIND_CASES = ("bare", "iced")


@dataclass(frozen=True, slots=True, eq=False)
class IceLoad:
    """
    Ice of one class on cables, in the shape of the diameters.

    mass_kg_per_m: of the ice alone. weight_n_per_m: the same as a force. front_mm: width that the icing wind meets.
    side_mm: width that wind across it meets, the larger one (the same for glaze).
    """

    mass_kg_per_m: Array
    weight_n_per_m: Array
    front_mm: Array
    side_mm: Array


def ice_load(name: str, diameter_mm: ArrayLike) -> IceLoad:
    """
    Ice of a class on cables: glaze `pi t (D + t) rho` all around, rime as a vane of given mass.

    Parameters
    ----------
    name: 'G1' to 'G5', 'R1' to 'R9'. diameter_mm [mm]: D, bare, any shape.

    Returns
    -------
    `IceLoad`. Source: ISO 12494, see `glaze_mass_kg_per_m`, `iced_diameter_mm` and `rime_vane`.

    >>> found = ice_load("G2", 28.0)
    >>> float(found.mass_kg_per_m.round(3)), float(found.side_mm)
    (2.714, 68.0)
    >>> float(ice_load("R2", 28.0).mass_kg_per_m), float(ice_load("R2", 28.0).side_mm.round(0))
    (0.9, 84.0)
    """
    d = np.asarray(diameter_mm, float)
    if np.any(~(d > 0)):
        raise ValueError("the diameter must be positive")
    one = ice_class(name)
    if math.isnan(one.mass_kg_per_m):
        mass = glaze_mass_kg_per_m(d, one.thickness_mm)
        front = side = iced_diameter_mm(d, one.thickness_mm)
    else:
        vane = rime_vane(name, d)
        mass, front, side = np.full(d.shape, one.mass_kg_per_m), vane.width_mm, vane.side_mm
    return IceLoad(mass, np.asarray(mass * STANDARD_GRAVITY_M_PER_S2.value), front, side)


@dataclass(frozen=True, slots=True, eq=False)
class WindCases:
    """
    Wind per metre on the bare and on the iced cable, in the broadcast shape.

    bare_n_per_m, iced_n_per_m [N/m]. governing: index into `WIND_CASES` ('bare', 'iced'), bare on a tie.
    """

    bare_n_per_m: Array
    iced_n_per_m: Array
    governing: NDArray[np.int64]

    @property
    def names(self) -> NDArray[np.str_]:
        """`governing` in words."""
        return np.asarray(np.array(WIND_CASES)[self.governing])

    @property
    def largest_n_per_m(self) -> Array:
        """Of the governing case."""
        return np.maximum(self.bare_n_per_m, self.iced_n_per_m)


def wind_cases(
    pressure_pa: ArrayLike,
    diameter_mm: ArrayLike,
    ice: str,
    coefficient: ArrayLike = SUBCRITICAL,
    iced_coefficient: ArrayLike = SUBCRITICAL,
    wind_factor: float | None = None,
) -> WindCases:
    """
    Wind on a cable without ice and with ice: `q cf D` against `k q cf_i B`, B the iced width from the side.

    Parameters
    ----------
    pressure_pa [Pa]: q, peak pressure without ice. diameter_mm [mm]: D, bare. ice: class, 'G1' to 'G5' or 'R1' to 'R9'.
    coefficient, iced_coefficient [1]: cf, cf_i; a vane from the side is no cylinder, so its own one is an input.
    wind_factor [1]: k, that of the class where not given. Pressure, diameter and coefficients broadcast.

    Returns
    -------
    `WindCases` [N/m]. Ice may govern the weight where the bare cable governs the wind: use both.

    Source: ISO 12494, combination of ice and wind (k from memory); EN 1991-1-4, clause 5.3.

    >>> found = wind_cases(1307.1, [28.0, 110.0], "G2")
    >>> found.bare_n_per_m.round(1), found.iced_n_per_m.round(1), [str(name) for name in found.names]
    (array([ 43.9, 172.5]), array([ 48. , 105.9]), ['iced', 'bare'])
    """
    k = ice_class(ice).wind_factor if wind_factor is None else wind_factor
    if not 0 <= k <= 1:
        raise ValueError(f"the wind factor with ice must lie between 0 and 1: give one for class {ice}")
    bare = line_force_n_per_m(pressure_pa, diameter_mm, coefficient)
    iced = k * line_force_n_per_m(pressure_pa, ice_load(ice, diameter_mm).side_mm, iced_coefficient)
    bare, iced = np.broadcast_arrays(bare, iced)
    if np.any(np.isnan(bare)) or np.any(np.isnan(iced)):
        raise ValueError("pressure and coefficients can't be missing")
    return WindCases(bare, iced, np.asarray(iced > bare, np.int64))
