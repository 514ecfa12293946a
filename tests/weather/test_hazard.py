"""Hazards of a leg: each verdict of each hazard, order, equality at the limit."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from upmast.finding import Verdict
from upmast.weather import (
    CORROSION_CLASSES,
    Armour,
    Hazard,
    LegExposure,
    PartWithstand,
    falling_j,
    judge_hazards,
)

NOTHING = LegExposure(sun=False, corrosion="", gnawing=False, impact_j=0, tread_n=0, ice_fall_j=0, vibration=False)


def verdicts(leg: LegExposure, part: PartWithstand) -> dict[Hazard, Verdict]:
    return {one.hazard: one.verdict for one in judge_hazards(leg, part)}


def test_a_leg_without_hazards_passes_with_any_part() -> None:
    assert set(verdicts(NOTHING, PartWithstand()).values()) == {Verdict.PASSES}
    assert [one.hazard for one in judge_hazards(NOTHING, PartWithstand())] == list(Hazard)


def test_silence_is_never_a_pass() -> None:
    strong = PartWithstand(
        uv_grade=True, corrosion="CX", armour=Armour.CONDUIT, impact_j=1e3, crush_n=1e5, vibration=True
    )
    harsh = LegExposure(sun=True, corrosion="C5", gnawing=True, impact_j=10, tread_n=1e3, ice_fall_j=50, vibration=True)
    for leg, part in ((LegExposure(), strong), (harsh, PartWithstand())):
        for one in judge_hazards(leg, part):
            assert one.verdict is Verdict.NOT_JUDGED
            assert one.missing
    assert set(verdicts(harsh, strong).values()) == {Verdict.PASSES}


@pytest.mark.parametrize(
    ("hazard", "leg", "bad", "good"),
    [
        (Hazard.SUN, {"sun": True}, {"uv_grade": False}, {"uv_grade": True}),
        (Hazard.SALT, {"corrosion": "C4"}, {"corrosion": "C3"}, {"corrosion": "C4"}),
        (Hazard.GNAWING, {"gnawing": True}, {"armour": Armour.NONE}, {"armour": Armour.CORRUGATED}),
        (Hazard.IMPACT, {"impact_j": 5.0}, {"impact_j": 4.9}, {"impact_j": 5.0}),
        (Hazard.TREAD, {"tread_n": 2000.0}, {"crush_n": 1999.0}, {"crush_n": 2000.0}),
        (Hazard.ICE_FALL, {"ice_fall_j": 98.0}, {"impact_j": 10.0}, {"impact_j": 98.0}),
        (Hazard.VIBRATION, {"vibration": True}, {"vibration": False}, {"vibration": True}),
    ],
)
def test_each_hazard_fails_and_passes(hazard: Hazard, leg: dict, bad: dict, good: dict) -> None:  # type: ignore[type-arg]
    assert verdicts(LegExposure(**leg), PartWithstand(**bad))[hazard] is Verdict.FAILS
    assert verdicts(LegExposure(**leg), PartWithstand(**good))[hazard] is Verdict.PASSES


def test_margins_have_a_sign() -> None:
    found = {
        one.hazard: one
        for one in judge_hazards(LegExposure(impact_j=5, corrosion="C5"), PartWithstand(impact_j=3, corrosion="C3"))
    }
    assert found[Hazard.IMPACT].margin == -2.0
    assert found[Hazard.SALT].margin == -2.0
    assert found[Hazard.IMPACT].reason == "3 J withstood, 5 J asked"


def test_a_braid_is_not_judged_against_teeth() -> None:
    found = verdicts(LegExposure(gnawing=True), PartWithstand(armour=Armour.BRAID))
    assert found[Hazard.GNAWING] is Verdict.NOT_JUDGED
    assert verdicts(NOTHING, PartWithstand(armour=Armour.BRAID))[Hazard.GNAWING] is Verdict.PASSES


def test_corrosion_classes_are_ordered() -> None:
    for asked, has in product(CORROSION_CLASSES, repeat=2):
        found = verdicts(LegExposure(corrosion=asked), PartWithstand(corrosion=has))[Hazard.SALT]
        assert (found is Verdict.PASSES) == (CORROSION_CLASSES.index(has) >= CORROSION_CLASSES.index(asked))


def test_falling_ice() -> None:
    """By hand: 0.5 kg from 20 m, 9.80665 m/s2: 98.07 J; array equals scalar."""
    assert falling_j(0.5, 20.0) == pytest.approx(98.0665)
    grid = falling_j(np.array([0.1, 0.5]), np.array([[5.0], [20.0]]))
    assert grid[1, 1] == falling_j(0.5, 20.0)


def test_nonsense_is_refused() -> None:
    nan = float("nan")
    for call in (
        lambda: LegExposure(impact_j=-1.0),
        lambda: LegExposure(tread_n=nan),
        lambda: LegExposure(corrosion="C9"),
        lambda: PartWithstand(crush_n=nan),
        lambda: PartWithstand(corrosion=""),
        lambda: PartWithstand(corrosion="salty"),
        lambda: falling_j(nan, 1.0),
        lambda: falling_j(1.0, -1.0),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
