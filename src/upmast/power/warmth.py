"""
How warm the conductors of a line are, and what they may carry: by the section of a cable with several pairs, or by tables.

Never both on the same pairs: a cable whose section is known has no group factor, and one by the tables has no section.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from upmast.power.cable_heat import CableHeat, Warmth, conductor_c, pair_ampacity_a
from upmast.power.heating import conductor_temperature_c
from upmast.power.section import laid_up
from upmast.power.surface import sun_w_per_m
from upmast.weather.sun import STILL_AIR_W_PER_M2_K, sun_temperature_c, surface

if TYPE_CHECKING:
    from upmast.power.state import Inputs, State, Trunk

Array = NDArray[np.float64]
RUNAWAY_C = 150.0
_ALPHA = COPPER_TEMPERATURE_COEFFICIENT_PER_K.value


@lru_cache(maxsize=1000)
def cable_heat_of(
    pairs: int, area_mm2: float, diameter_mm: float, filler_k_m_per_w: float, sheath: str
) -> CableHeat | None:
    """The heat of a cable from what its part declares; None where its cores do not fit its diameter (see `section.laid_up`)."""
    try:
        return CableHeat(laid_up(pairs, area_mm2, diameter_mm, filler_k_m_per_w, sheath))
    except ValueError:
        return None


def sheath_c(ambient_c: ArrayLike, sun_w_per_m2: ArrayLike) -> Array:
    """Sheath without current, in the sun and calm air: what surrounds the conductors that are judged by tables."""
    black = surface("black_sheath")
    return sun_temperature_c(ambient_c, sun_w_per_m2, black.absorptivity, black.emissivity, STILL_AIR_W_PER_M2_K)


def trunk_sun_w_per_m(heat: CableHeat, sun_w_per_m2: ArrayLike) -> Array:
    """Sun that a trunk takes in, with the absorptivity of a black sheath."""
    return sun_w_per_m(heat.outer_m, sun_w_per_m2, surface("black_sheath").absorptivity)


def shield_w_per_m(inputs: Inputs, trunk: Trunk, current_a: Array) -> Array:
    """Heat of the current in the shield of a trunk [r], from currents of all branches [r, nb]; as warm as a hot sheath, 70 C."""
    if trunk.shield < 0:
        return np.zeros(current_a.shape[0])
    per_m = inputs.ohm_per_km[trunk.shield] / 1000 * (1 + _ALPHA * 50)
    return np.asarray(current_a[:, trunk.shield] ** 2 * per_m)


def trunk_warmth(
    inputs: Inputs, trunk: Trunk, current_a: Array, ambient_c: ArrayLike, sun_w_per_m2: ArrayLike
) -> Warmth:
    """Temperatures in one trunk with magnitudes of branch currents [r, nb]; a current in its shield warms the surface."""
    rows = list(trunk.branches)
    extra = shield_w_per_m(inputs, trunk, current_a)
    sun = trunk_sun_w_per_m(trunk.heat, sun_w_per_m2)
    return conductor_c(trunk.heat, current_a[:, rows], inputs.ohm_per_km[rows], ambient_c, sun, extra)


def warmed_c(inputs: Inputs, current_a: Array, ambient_c: Array, sun_w_per_m2: Array, around_c: Array) -> Array:
    """Temperature of each branch [r, nb] with magnitudes of currents [r, nb]; what is no cable stays as warm as the sheath."""
    out = np.repeat(around_c[:, None], current_a.shape[1], axis=1)
    table = np.isfinite(inputs.reference_a) & (inputs.length_m > 0)
    out[:, table] = conductor_temperature_c(
        current_a[:, table], inputs.reference_a[table], around_c[:, None], inputs.limit_c[table]
    )
    for trunk in inputs.trunks:
        out[:, list(trunk.branches)] = trunk_warmth(inputs, trunk, current_a, ambient_c, sun_w_per_m2).conductor_c
    return out


def ampacities_a(inputs: Inputs, current_a: Array, ambient_c: float, sun_w_per_m2: float) -> Array:
    """
    Ampacity of each branch [nb] beside the currents [nb] of the others; infinite for what is no cable.

    In a cable that is judged by its section each pair is raised alone, the others keep what they carry.
    """
    around = float(sheath_c(ambient_c, sun_w_per_m2))
    out = np.full(current_a.size, np.inf)
    table = np.isfinite(inputs.reference_a) & (inputs.length_m > 0)
    limit = inputs.limit_c[table]
    out[table] = inputs.reference_a[table] * np.sqrt(np.maximum(limit - around, 0.0) / (limit - 30.0))
    for trunk in inputs.trunks:
        rows = list(trunk.branches)
        sun = float(trunk_sun_w_per_m(trunk.heat, sun_w_per_m2))
        extra = float(shield_w_per_m(inputs, trunk, current_a[None])[0])
        each = pair_ampacity_a(
            trunk.heat, current_a[rows], inputs.ohm_per_km[rows], ambient_c, trunk.limit_c, sun, extra
        )
        out[rows] = np.repeat(each, 2)
    return out


def surface_c(inputs: Inputs, trunk: Trunk, state: State, row: int) -> float:
    """Surface of a trunk in one row of a state."""
    current = np.abs(np.nan_to_num(state.flow.branch_a[[row]]))
    rows = state.rows
    return float(trunk_warmth(inputs, trunk, current, rows.ambient_c[[row]], rows.sun_w_per_m2[[row]]).surface_c[0])


__all__ = [
    "RUNAWAY_C", "ampacities_a", "cable_heat_of", "sheath_c", "shield_w_per_m", "surface_c", "trunk_sun_w_per_m", "trunk_warmth",
    "warmed_c",
]  # fmt: skip
