"""The named states of the world in which a line is proven."""

from __future__ import annotations

import pytest

from upmast.proof.scenarios import BATTERY_HOT, FLOAT_HOT, FLOAT_LIGHT, LOW_HOT, MEAN, scenarios_of
from upmast.site.site import Site


def test_five_states_by_hand(demo_site: Site) -> None:
    """Plant 54.5, 50.4 and 44.4 V; air 38, 11 and -12 °C; sun 1000 W/m²."""
    made = {s.id: (s.bus_v, s.ambient_c, s.sun_w_per_m2, s.load_fraction) for s in scenarios_of(demo_site)}
    assert made == {
        LOW_HOT: (44.4, 38.0, 1000.0, 1.0),
        BATTERY_HOT: (50.4, 38.0, 1000.0, 1.0),
        FLOAT_HOT: (54.5, 38.0, 1000.0, 1.0),
        FLOAT_LIGHT: (54.5, -12.0, 0.0, 0.05),
        MEAN: (54.5, 11.0, 0.0, 1.0),
    }


def test_they_hold_the_worst_of_each_kind(demo_site: Site) -> None:
    made = scenarios_of(demo_site)
    plant, climate = demo_site.cabinet.plant, demo_site.climate
    assert min(s.bus_v for s in made) == plant.end_of_discharge_v
    assert max(s.bus_v for s in made) == plant.float_v
    assert min(made, key=lambda s: s.bus_v).ambient_c == climate.hot_c == max(s.ambient_c for s in made)
    assert min(made, key=lambda s: s.load_fraction).ambient_c == climate.cold_c == min(s.ambient_c for s in made)


def test_each_says_what_it_is_and_no_fault_is_assumed(demo_site: Site) -> None:
    made = scenarios_of(demo_site)
    assert len({s.id for s in made}) == len({s.title for s in made}) == 5
    assert all(len(s.title) > 10 and not s.fault for s in made)


@pytest.mark.parametrize("field", ["hot_c", "cold_c", "mean_c", "sun_w_per_m2"])
def test_they_follow_the_site(demo_site: Site, field: str) -> None:
    climate = demo_site.climate.model_copy(update={field: getattr(demo_site.climate, field) + 1.0})
    other = demo_site.model_copy(update={"climate": climate})
    assert scenarios_of(other) != scenarios_of(demo_site)
