"""The way of an RF jumper from places in space."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from upmast.rf.route import drip_route
from upmast.site.site import RfWay, Site


def test_the_way_follows_from_the_places(demo_site: Site) -> None:
    way = RfWay.model_validate(
        {"start": {"up_m": 37.5}, "end": {"east_m": 0.6, "north_m": 0.2, "up_m": 38.4}, "bend_m": 0.1, "drip_m": 0.15}
    )
    radio = demo_site.radios[0].model_copy(update={"rf_way": way, "rf_run_m": None})
    asked = drip_route([0, 0, 37.5], [0, 0, -1], [0.6, 0.2, 38.4], [0, 0, 1], 0.1, 0.15, 0.05)
    assert demo_site.rf_run_m(radio) == pytest.approx(asked.length_m)
    assert demo_site.rf_run_m(radio) > 1.1  # longer than the straight line between the ports
    # a way that was measured goes before it
    assert demo_site.rf_run_m(radio.model_copy(update={"rf_run_m": 2.2})) == 2.2


def test_a_way_in_feet_and_straight_above(demo_site: Site) -> None:
    way = RfWay.model_validate(
        {"start": {"up_ft": 100}, "end": {"up_ft": 103}, "start_way": [0, 0, 1], "bend_m": 0.1, "drip_m": 0.1}
    )
    assert way.route().length_m == pytest.approx(3 * 0.3048, abs=1e-6)


def test_ports_between_which_no_jumper_runs_are_refused() -> None:
    with pytest.raises(ValidationError, match="between which a jumper can run"):
        RfWay.model_validate(
            {"start": {"up_m": 1.0}, "end": {"east_m": 0.01, "up_m": 1.0}, "bend_m": 1.0, "drip_m": 0.0}
        )
