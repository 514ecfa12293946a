"""Weather: moist air, ingress codes, sun, tape and torque. Pure functions on arrays; any room may use them."""

from __future__ import annotations

from upmast.weather.breathing import (
    breathing_fraction,
    breathing_humidity_percent,
    days_to_wet,
    permeation_time_s,
    time_to_pressure_s,
)
from upmast.weather.indicator import CardReading, CardVerdict, read_card
from upmast.weather.ingress import INGRESS_SOURCE, IngressCode, chain_code, chain_meets, meets, parse_ingress
from upmast.weather.moist_air import (
    SEAL_MARGIN_K,
    SEAL_MARGIN_SOURCE,
    dew_point_c,
    free_water_kg,
    frost_point_c,
    saturation_pressure_pa,
    seal_margin_k,
    sweat_c,
    vapour_density_kg_per_m3,
    vapour_pressure_pa,
)
from upmast.weather.sun import (
    Surface,
    box_pressure_change_pa,
    sun_temperature_c,
    surface,
    surface_heat_w_per_m2,
    surfaces,
    water_head_m,
)
from upmast.weather.tape import layer_diameter_mm, tape_length_m
from upmast.weather.torque import Torque, interfaces, torque

__all__ = [
    "INGRESS_SOURCE",
    "SEAL_MARGIN_K",
    "SEAL_MARGIN_SOURCE",
    "CardReading",
    "CardVerdict",
    "IngressCode",
    "Surface",
    "Torque",
    "box_pressure_change_pa",
    "breathing_fraction",
    "breathing_humidity_percent",
    "chain_code",
    "chain_meets",
    "days_to_wet",
    "dew_point_c",
    "free_water_kg",
    "frost_point_c",
    "interfaces",
    "layer_diameter_mm",
    "meets",
    "parse_ingress",
    "permeation_time_s",
    "read_card",
    "saturation_pressure_pa",
    "seal_margin_k",
    "sun_temperature_c",
    "surface",
    "surface_heat_w_per_m2",
    "surfaces",
    "sweat_c",
    "tape_length_m",
    "time_to_pressure_s",
    "torque",
    "vapour_density_kg_per_m3",
    "vapour_pressure_pa",
    "water_head_m",
]
