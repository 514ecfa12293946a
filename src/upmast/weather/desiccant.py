"""How much desiccant a closed box needs for a time."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.amounts import amounts
from upmast.source import Mark, Source

__all__ = ["DESICCANT_SOURCE", "TAKES_UP", "desiccant_kg", "desiccant_life_s", "permeation_kg_per_s"]

Array = NDArray[np.float64]
TAKES_UP = 0.2
DESICCANT_SOURCE = Source(
    "common practice, no source", clause="silica gel takes up a fifth of its mass", mark=Mark.MEMORY
)


def permeation_kg_per_s(
    permeability: ArrayLike, area_m2: ArrayLike, wall_mm: ArrayLike, outside_pa: ArrayLike, inside_pa: ArrayLike = 0.0
) -> Array:
    """
    Water vapour that enters a box through its seal: `dm/dt = P A (e_out - e_in) / d`.

    Parameters
    ----------
    permeability [kg/(m s Pa)]: P, an input, see `permeation_time_s`. area_m2 [m2]: A. wall_mm [mm]: d, path through the seal.
    outside_pa, inside_pa [Pa]: vapour pressures; 0 inside, over fresh desiccant, is the safe side. Broadcast.

    Returns
    -------
    Mass flow [kg/s], negative where vapour leaves. Source: Fick's law.

    >>> round(float(permeation_kg_per_s(4e-15, 6e-4, 3.0, 1633.0)) * 1e6 * 86400 * 365, 0)  # mg a year
    41.0
    """
    p, area, wall, outside, inside = amounts(
        permeability=permeability, area_m2=area_m2, wall_mm=wall_mm, outside_pa=outside_pa, inside_pa=inside_pa
    )
    if not np.all(wall > 0):
        raise ValueError("wall_mm must be positive")
    return np.asarray(p * area * (outside - inside) / (wall * 1e-3))


def desiccant_kg(
    ingress_kg_per_s: ArrayLike, time_s: ArrayLike, enclosed_kg: ArrayLike = 0.0, takes_up: ArrayLike = TAKES_UP
) -> Array:
    """
    Mass of desiccant for a time: `m = (ingress t + enclosed) / 0.2`.

    Parameters
    ----------
    ingress_kg_per_s [kg/s]: water that enters, as `permeation_kg_per_s`. time_s [s]: t until it is changed.
    enclosed_kg [kg]: water in the air at closing. takes_up [-]: share of its own mass, see `DESICCANT_SOURCE`. Broadcast.

    Returns
    -------
    Mass [kg]. A box that breathes takes in far more than one that only permeates. Source: `DESICCANT_SOURCE`.

    >>> float(desiccant_kg(1.3e-12, 3.15e7).round(6))  # 0.2 g for a year
    0.000205
    """
    ingress, time, enclosed, part = amounts(
        ingress_kg_per_s=ingress_kg_per_s, time_s=time_s, enclosed_kg=enclosed_kg, takes_up=takes_up
    )
    if not np.all((part > 0) & (part <= 1)):
        raise ValueError("takes_up must lie above 0 and up to 1")
    return np.asarray((ingress * time + enclosed) / part)


def desiccant_life_s(
    desiccant_kg: ArrayLike, ingress_kg_per_s: ArrayLike, enclosed_kg: ArrayLike = 0.0, takes_up: ArrayLike = TAKES_UP
) -> Array:
    """
    How long a mass of desiccant lasts, the inverse of `desiccant_kg`: `t = (0.2 m - enclosed) / ingress`.

    Parameters
    ----------
    desiccant_kg [kg]: m, dry. ingress_kg_per_s, enclosed_kg, takes_up: as `desiccant_kg`. Broadcast.

    Returns
    -------
    Time [s]; 0 if the enclosed water is too much for it, infinite without ingress. Source: `DESICCANT_SOURCE`.

    >>> float(desiccant_life_s(0.005, 1.3e-12).round(-6))
    769000000.0
    """
    mass, ingress, enclosed, part = amounts(
        desiccant_kg=desiccant_kg, ingress_kg_per_s=ingress_kg_per_s, enclosed_kg=enclosed_kg, takes_up=takes_up
    )
    if not np.all((part > 0) & (part <= 1)):
        raise ValueError("takes_up must lie above 0 and up to 1")
    room = part * mass - enclosed
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(room <= 0, 0.0, np.where(ingress > 0, room / ingress, np.inf)))
