"""What a site says of its earthing: other units, defaults, and faults in words."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from upmast.errors import InputFaults
from upmast.site.earth_fields import Earthing, PlanPoint

_spec = importlib.util.spec_from_file_location("make", Path(__file__).parent.parent / "sites" / "make.py")
assert _spec is not None
assert _spec.loader is not None
make = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(make)

TEXT = make.text("three_radios")


def site(text: str):
    return make.site(f"{TEXT}\nearthing: {text}")


def test_nothing_is_asked_of_a_site_without_it():
    assert make.site(TEXT).earthing is None


def test_all_of_it_has_a_default():
    made = site("{}").earthing
    assert (made.level, made.legs_count, made.equipment_withstand_v, made.functional_earth.place) == (
        "I",
        None,
        None,
        "none",
    )


def test_kiloamperes_microseconds_and_feet_are_taken():
    made = site(
        "{protectors: [{at: BX1, up_v: 900, lead_ft: 1, current_ka: 8, front_us: 8}], electrode: {soil_ohm_m: 80}}"
    )
    one = made.earthing.protectors[0]
    assert (one.current_a, one.lead_m) == (8000.0, pytest.approx(0.3048))
    assert one.front_s == pytest.approx(8e-6)
    assert made.earthing.electrode.soil_ohm_m == 80


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{legs_count: 3, legs: [{east_m: 0, north_m: 0}, {east_m: 1, north_m: 0}]}", "legs_count 2"),
        ("{legs: [{east_m: 0, north_m: 0}]}", "two legs or more"),
        ("{protectors: [{at: BX1, up_v: 900, lead_m: 1}, {at: BX1, up_v: 900, lead_m: 1}]}", "BX1 stands there twice"),
        ("{level: V}", "level"),
        ("{equipment_withstand_v: 0}", "equipment_withstand_v"),
        ("{protectors: [{at: BX1, up_v: 900}]}", "lead_m"),
        ("{functional_earth: {place: beside}}", "place"),
        ("{bars_at_m: [10, 300]}", "(?s)bars_at_m.*300 m.*height of the mast"),
        ("{cables: [{item: T1, east_m: 0, north_m: -9}]}", "(?s)cables.*m outside the mast.*within 5 m of the face"),
    ],
)
def test_faults_are_told(text, words):
    with pytest.raises(InputFaults, match=words):
        site(text)


def test_places_near_the_mast_are_taken():
    assert site("{bars_at_m: [0, 10], cables: [{item: T1, east_m: 0, north_m: -2}]}").earthing.bars_at_m == (0, 10)


@pytest.mark.parametrize(
    ("told", "kind", "place", "outside"),
    [
        ({"legs_count": 1}, "lattice", (0, 3), 2.5),
        ({}, "monopole", (3, 0), 2.5),
        ({}, "lattice", (0, 0), 0.0),
        # the first face of three legs 1 m apart lies 0.289 m south of the axis
        ({}, "lattice", (0, -2.288675), 2.0),
        ({"legs_count": 4}, "lattice", (2.5, 0), 2.0),
        ({}, "roof", (20, 0), 0.0),
        ({"legs": [{"east_m": -20, "north_m": -20}, {"east_m": 20, "north_m": -20}, {"east_m": 0, "north_m": 20}]}, "roof", (0, -8), 0.0),
        ({"legs": [{"east_m": 0, "north_m": 0}, {"east_m": 1, "north_m": 0}]}, "wall", (4, 4), 5.0),
    ],
)  # fmt: skip
def test_how_far_a_place_stands_outside_the_mast(told, kind, place, outside):
    earth = Earthing.model_validate(told)
    at = PlanPoint(east_m=place[0], north_m=place[1])
    assert earth.outside_m(at, 1.0, kind) == pytest.approx(outside, abs=1e-5)
