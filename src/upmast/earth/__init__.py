"""Earthing: bonds, heating by a stroke, shields under surge, and continuity tests. Pure functions on arrays."""

from __future__ import annotations

from upmast.earth.bond_test import (
    BOND_SOURCE,
    bond_limit_ohm,
    parallel_path_ohm,
    shield_expected_ohm,
    shield_limit_ohm,
)
from upmast.earth.bonding import (
    HORIZONTAL_SPACING_M,
    SPACING_SOURCE,
    BondPlan,
    bond_heights_m,
    bond_plan,
    least_section_mm2,
    section_source,
)
from upmast.earth.heating import material_source, materials, temperature_rise_k
from upmast.earth.shield import (
    COPPER_OHM_M,
    least_shield_mm2,
    missing_bond_loop_h,
    missing_bond_v,
    partial_inductance_h,
    shield_drop_v,
)
from upmast.earth.surge import (
    LEVELS,
    SurgeFigures,
    Wave,
    stroke_peak_a,
    surge_a,
    surge_figures,
    surge_slope_a_per_s,
    time_at_s,
    time_of_peak_s,
    wave,
    waves,
)

__all__ = [
    "BOND_SOURCE",
    "COPPER_OHM_M",
    "HORIZONTAL_SPACING_M",
    "LEVELS",
    "SPACING_SOURCE",
    "BondPlan",
    "SurgeFigures",
    "Wave",
    "bond_heights_m",
    "bond_limit_ohm",
    "bond_plan",
    "least_section_mm2",
    "least_shield_mm2",
    "material_source",
    "materials",
    "missing_bond_loop_h",
    "missing_bond_v",
    "parallel_path_ohm",
    "partial_inductance_h",
    "section_source",
    "shield_drop_v",
    "shield_expected_ohm",
    "shield_limit_ohm",
    "stroke_peak_a",
    "surge_a",
    "surge_figures",
    "surge_slope_a_per_s",
    "temperature_rise_k",
    "time_at_s",
    "time_of_peak_s",
    "wave",
    "waves",
]
