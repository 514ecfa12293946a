"""DC power: resistance of wires, load flow, heating, protection, energy and battery time. Pure functions on arrays."""

from __future__ import annotations

from upmast.power.battery import float_v
from upmast.power.energy import annual_loss_kwh, life_factor, present_worth_factor
from upmast.power.heating import (
    LIMIT_C,
    ambient_factor,
    ampacity_a,
    ampacity_source,
    conductor_temperature_c,
    grouping_factor,
    grouping_source,
    reference_ampacity_a,
)
from upmast.power.load_flow import PairFlow, largest_loop_ohm, largest_power_w, single
from upmast.power.network import Network, Solution, Thevenin, collapse_factor, solve, thevenin
from upmast.power.protection import (
    BREAKER_OHM_SOURCE,
    adiabatic_k,
    breaker_ohm,
    breaker_window,
    design_current_a,
    fault_current_a,
    let_through_a2s,
    let_through_time_s,
    smallest_rating_a,
)
from upmast.power.resistance import (
    ALUMINIUM_TEMPERATURE_COEFFICIENT_PER_K,
    awg_area_mm2,
    awg_ohm_per_km,
    awg_source,
    conductor_areas_mm2,
    conductor_ohm_per_km,
    conductor_source,
    resistance_ohm,
    temperature_coefficient_per_k,
)

__all__ = [
    "ALUMINIUM_TEMPERATURE_COEFFICIENT_PER_K",
    "BREAKER_OHM_SOURCE",
    "LIMIT_C",
    "Network",
    "PairFlow",
    "Solution",
    "Thevenin",
    "adiabatic_k",
    "ambient_factor",
    "ampacity_a",
    "ampacity_source",
    "annual_loss_kwh",
    "awg_area_mm2",
    "awg_ohm_per_km",
    "awg_source",
    "breaker_ohm",
    "breaker_window",
    "collapse_factor",
    "conductor_areas_mm2",
    "conductor_ohm_per_km",
    "conductor_source",
    "conductor_temperature_c",
    "design_current_a",
    "fault_current_a",
    "float_v",
    "grouping_factor",
    "grouping_source",
    "largest_loop_ohm",
    "largest_power_w",
    "let_through_a2s",
    "let_through_time_s",
    "life_factor",
    "present_worth_factor",
    "reference_ampacity_a",
    "resistance_ohm",
    "single",
    "smallest_rating_a",
    "solve",
    "temperature_coefficient_per_k",
    "thevenin",
]
