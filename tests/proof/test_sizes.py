"""Cables in other sizes: of the catalogue, or drawn up and priced as an estimate."""

from __future__ import annotations

import pytest

from upmast.catalogue.catalogue import standard
from upmast.catalogue.family import made
from upmast.catalogue.part import Cable
from upmast.proof.sizes import resized

CATALOGUE = standard()
FAMILY = next(f for f in CATALOGUE.families if f.id == "hybrid")


def test_a_size_of_the_catalogue_is_taken_from_there() -> None:
    found = resized(made(FAMILY, 9, 10, 24), 1, CATALOGUE)
    assert found is not None
    assert found[0].conductor_area_mm2 == 16
    assert found[1] == "offered"
    part = CATALOGUE.get("trunk-9x10-24f", Cable)
    assert resized(part, 0, CATALOGUE) == (part, "offered")


@pytest.mark.parametrize(("step", "area"), [(1, 35.0), (2, 50.0), (3, 70.0)])
def test_an_estimate_is_the_price_of_the_family_whose_price_is_a_straight_line(step: int, area: float) -> None:
    """Cost by the family's own rule, base + per mm² of copper: a size it doesn't offer, reckoned as if it did."""
    found = resized(made(FAMILY, 9, 25, 24), step, CATALOGUE)
    wider = FAMILY.model_copy(update={"conductor_area_mm2": (*FAMILY.conductor_area_mm2, area)})
    own = made(wider, 9, area, 24)
    assert found is not None
    part, known = found
    assert known == "estimated"
    assert part.conductor_area_mm2 == area
    assert part.cost_per_m == pytest.approx(own.cost_per_m, abs=0.01)
    assert part.cost == pytest.approx(own.cost, abs=0.01)
    assert part.mass_kg_per_m == pytest.approx(own.mass_kg_per_m, rel=0.03)  # that of the sheath isn't linear
    assert part.diameter_mm == pytest.approx(own.diameter_mm, rel=0.01)
    assert "with" in part.id


def test_without_a_catalogue_there_is_no_price() -> None:
    part = CATALOGUE.get("trunk-9x10-24f", Cable)
    found = resized(part, 1, None)
    assert found is not None
    assert found[1] == "unpriced"
    assert found[0].conductor_area_mm2 == 16  # the next size of IEC 60228


def test_below_the_smallest_there_is_none() -> None:
    part = CATALOGUE.get("trunk-9x10-24f", Cable).model_copy(update={"conductor_area_mm2": 2.5})
    assert resized(part, -1, None) is None


def test_a_cable_of_a_wire_gauge_is_drawn_up_without_its_measured_resistance() -> None:
    part = CATALOGUE.get("trunk-9x10-24f", Cable).model_copy(update={"conductor_ohm_per_km": 2.1})
    found = resized(part, 1, None)
    assert found is not None
    assert found[0].conductor_ohm_per_km is None
