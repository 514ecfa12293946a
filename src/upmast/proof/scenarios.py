"""The named states of the world in which a line is proven. Made here once; no room invents its own worst case."""

from __future__ import annotations

from upmast.finding import Scenario
from upmast.site.site import Site

LOW_HOT = "low-hot"
FLOAT_LIGHT = "float-light"
FLOAT_HOT = "float-hot"
BATTERY_HOT = "battery-hot"
MEAN = "mean"


def scenarios_of(site: Site) -> tuple[Scenario, ...]:
    """
    Five states: the battery at its end and soon after mains failure, float at full and at hardly any load, and the mean day.

    The hottest air and the strongest sun go with full load; hardly any load goes with the coldest air.
    """
    plant, climate = site.cabinet.plant, site.climate
    return (
        Scenario(
            LOW_HOT,
            "battery at its end, hottest day, full load",
            plant.end_of_discharge_v,
            climate.hot_c,
            climate.sun_w_per_m2,
            1.0,
        ),
        Scenario(
            BATTERY_HOT,
            "soon after mains failure, hottest day, full load",
            plant.on_battery_v,
            climate.hot_c,
            climate.sun_w_per_m2,
            1.0,
        ),
        Scenario(
            FLOAT_HOT, "on mains, hottest day, full load", plant.float_v, climate.hot_c, climate.sun_w_per_m2, 1.0
        ),
        Scenario(FLOAT_LIGHT, "on mains, coldest night, 5 % load", plant.float_v, climate.cold_c, 0.0, 0.05),
        Scenario(MEAN, "on mains, mean air, full load", plant.float_v, climate.mean_c, 0.0, 1.0),
    )
