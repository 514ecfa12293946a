"""Bonds, shields, torques and humidity cards."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import pytest

from upmast.earth.bond_test import shield_expected_ohm
from upmast.field.readers.reading import Reading
from upmast.field.reading_case import places_of, shown_margin
from upmast.field.row import Urgency, reading_row
from upmast.finding import Authority, Expectation, Limit, Sense, Stage
from upmast.finding import judge as finding_of
from upmast.proof.prove import Proof
from upmast.source import Mark, Source

_spec = importlib.util.spec_from_file_location("made_readings", Path(__file__).parent / "made_readings.py")
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)
judge, one_of, keys = made.judge, made.one_of, made.keys
PASSES, FAILS, NOT = made.PASSES, made.FAILS, made.NOT


def bond(value: float | None, subject: str = "A2-E1", **more: float | str) -> Reading:
    return made.read("bond-resistance", subject, value, **more)


def test_each_of_several_bonds_is_read(proof: Proof) -> None:
    """Two bonds share the id: 5 mΩ a joint by its part, 10 mΩ by practice."""
    judged = one_of(proof, bond(3.0, "A2-E1 #1"), bond(4.0, "A2-E1 #2"))
    assert [f.code for f in judged.findings] == ["earth.bond-resistance", "earth.bond-expected"]
    assert [f.verdict for f in judged.findings] == [PASSES, PASSES]
    assert judged.findings[0].value == 4.0
    assert one_of(proof, bond(3.0), bond(4.0)).verdict is PASSES  # two rows that do not say which
    one = one_of(proof, bond(3.0))
    assert one.verdict is NOT
    assert "1 more of the 2 bonds" in one.sentence
    assert one_of(proof, bond(15.0)).verdict is FAILS
    assert one_of(proof, bond(3.0, "A2-E1 #1"), bond(15.0, "A2-E1 #2")).findings[0].value == 15.0


@pytest.mark.parametrize(
    ("value", "instrument", "verdict"),
    [
        (9.5, "", PASSES), (9.7, "", NOT), (10.3, "", NOT), (10.5, "", FAILS), (4.8, "two-point", PASSES), (5.0, "two-point", NOT), (15.2, "two-point", NOT),
        (15.4, "two-point", FAILS),
    ],
)  # fmt: skip
def test_two_points_hold_several_milliohms_of_leads(
    proof: Proof, value: float, instrument: str, verdict: object
) -> None:
    judged = one_of(proof, bond(value, "A2-E1 #1", instrument=instrument), bond(1.0, "A2-E1 #2", instrument=instrument))
    assert judged.verdict is verdict
    if verdict is NOT:
        assert "four wires" in judged.findings[0].missing[0]


def test_below_zero_the_leads_were_zeroed_wrongly(proof: Proof) -> None:
    judged = one_of(proof, bond(-0.4, "A2-E1 #1"), bond(1.0, "A2-E1 #2"))
    assert judged.verdict is NOT
    assert keys(judged)["negative"] == "stop"


def test_open(proof: Proof) -> None:
    judged = one_of(proof, bond(None, comparator=">", state="over range"), bond(1.0))
    assert judged.verdict is FAILS
    assert "no continuity" in judged.sentence


def shield(proof: Proof) -> Proof:
    """A shield of 14 mm2 over 40 m: 49.3 mΩ by copper of 0.017241 Ω mm²/m."""
    expected = 1e3 * float(shield_expected_ohm(17.241 / 14, 40.0))
    assert expected == pytest.approx(49.26, abs=0.01)
    limit = Limit("earth.shield-resistance", 58.7, "mΩ", Sense.AT_MOST, Authority.DEFAULT, Source("by hand", mark=Mark.PRACTICE), Stage.ACCEPTANCE)  # fmt: skip
    return made.with_tests(
        proof, Expectation("T1.shield.r20", "T1", "", "", "mΩ", (29.6,), (58.7,), "", limit=limit, items=("T1",)),
        *(Expectation(f"X{n}-E1.bond.r", f"X{n}-E1", "", "", "mΩ", (0.0,), (1.0,), "", limit=replace(limit, code="earth.bond-resistance"), items=(f"X{n}-E1",)) for n in range(1, 5)),
    )  # fmt: skip


def test_shield_of_a_run(proof: Proof) -> None:
    lined = shield(proof)
    judged = one_of(lined, bond(49.26, "T1", temperature_c=20.0))
    assert judged.test_id == "T1.shield.r20"
    assert [f.code for f in judged.findings] == ["earth.shield-resistance", "earth.shield-expected"]
    assert judged.verdict is PASSES
    warm = one_of(lined, bond(60.0, "shield of T1", temperature_c=40.0))
    assert warm.findings[0].value == pytest.approx(60.0 / (1 + 0.00393 * 20))
    assert warm.verdict is PASSES
    assert one_of(lined, bond(60.0, "T1")).verdict is NOT  # no temperature
    parallel = one_of(lined, bond(15.0, "T1", temperature_c=20.0))
    assert parallel.verdict is NOT
    assert "in parallel" in parallel.sentence


def test_all_bonds_alike_may_be_the_leads(proof: Proof) -> None:
    lined = shield(proof)
    same, _ = judge(lined, *(bond(2.8, f"X{n}-E1") for n in range(1, 5)))
    assert all(keys(one)["alike"] == "warn" for one in same.values())
    unlike, _ = judge(lined, *(bond(2.8 + 0.1 * n, f"X{n}-E1") for n in range(1, 5)))
    assert not any("alike" in keys(one) for one in unlike.values())
    two, _ = judge(lined, *(bond(2.8, f"X{n}-E1") for n in (1, 2)))
    assert not any("alike" in keys(one) for one in two.values())


# --- torque ---


def wrench(value: float, subject: str = "A2-J1", **more: float | str) -> Reading:
    return made.read("torque", subject, value, **more)


def jointed(proof: Proof, mark: Mark = Mark.DECLARED, **changed: object) -> Proof:
    """A joint of 4.5 to 5.5 N·m by its data sheet."""
    limit = Limit("support.torque-applied", 4.5, "N·m", Sense.AT_LEAST, Authority.PART, Source("part rf-jack, torque", mark=mark), Stage.ACCEPTANCE)  # fmt: skip
    one = Expectation(
        "A2-J1.torque.nm", "A2-J1", "", "torque", "N·m", (4.5,), (5.5,), "", limit=limit, items=("A2-J1",)
    )
    return made.with_tests(proof, replace(one, **changed))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "verdict", "code"),
    [
        (5.0, PASSES, ""), (4.5 / 0.94 + 0.01, PASSES, "support.torque-applied"), (4.5, NOT, "support.torque-applied"), (4.2, FAILS, "support.torque-applied"),
        (5.5 / 1.06 - 0.01, PASSES, "support.torque-applied-high"), (5.5, NOT, "support.torque-applied-high"), (5.9, FAILS, "support.torque-applied-high"),
    ],
)  # fmt: skip
def test_the_window_of_the_part(proof: Proof, value: float, verdict: object, code: str) -> None:
    """A wrench of 6 % (ISO 6789-1, from memory)."""
    judged = one_of(jointed(proof), wrench(value))
    assert judged.verdict is verdict
    assert judged.findings[0].code == code or not code
    assert {f.code for f in judged.findings} == {"support.torque-applied", "support.torque-applied-high", "support.torque-expected"}  # fmt: skip


def test_far_out_of_the_window(proof: Proof) -> None:
    judged = one_of(jointed(proof), wrench(50.0))  # 5 N·m taken for 50
    assert judged.verdict is FAILS
    assert judged.findings[1].code == "support.torque-expected"
    assert judged.findings[1].value == pytest.approx(44.5)


def test_joints_of_both_ends_are_told_apart(proof: Proof) -> None:
    (one,) = (e for e in jointed(proof).expectations if e.id == "A2-J1.torque.nm")
    ends = made.with_tests(proof, *(replace(one, id=f"A2-J1.torque.{end}") for end in ("foot", "head")))
    ends.__dict__["expectations"] = tuple(e for e in ends.expectations if e.id != "A2-J1.torque.nm")
    for subject, end in (("A2-J1 foot", "foot"), ("A2-J1.head", "head"), ("A2-J1 top", "head")):
        assert one_of(ends, wrench(5.0, subject)).test_id == f"A2-J1.torque.{end}"
    assert one_of(ends, wrench(5.0, side="bottom")).test_id == "A2-J1.torque.foot"
    _, asked = judge(ends, wrench(5.0))
    assert len(asked) == 1
    assert set(asked[0].candidates) == {"A2-J1.torque.foot", "A2-J1.torque.head"}


def test_unknown_torque_is_not_judged(proof: Proof) -> None:
    nan = float("nan")
    for changed in ({"limit": None, "low": (nan,), "high": (nan,)}, {"limit": None}):
        judged = one_of(jointed(proof, **changed), wrench(5.0))
        assert judged.verdict is NOT
        assert "data sheet" in judged.sentence
    memory = one_of(jointed(proof, mark=Mark.MEMORY), wrench(5.0))
    assert memory.verdict is NOT
    assert "confirm the limit" in memory.sentence


def test_several_clamps_of_one_id(proof: Proof) -> None:
    some = jointed(proof, data={"count": 3})
    assert one_of(some, *(wrench(5.0, f"A2-J1 clamp {n}") for n in (1, 2, 3))).verdict is PASSES
    one = one_of(some, wrench(5.0, "A2-J1 clamp 1"))
    assert one.verdict is NOT
    assert "2 more of 3" in one.sentence
    assert one_of(some, wrench(4.9, "A2-J1 lowest"), wrench(5.1, "A2-J1 highest")).verdict is PASSES
    assert one_of(some, wrench(4.9, "A2-J1 lowest"), wrench(9.0, "A2-J1 highest")).verdict is FAILS
    times = [wrench(value, time=f"2025-11-29T10:0{n}") for n, value in enumerate((3.0, 5.0, 5.0))]
    assert one_of(some, *times).verdict is FAILS  # three joints, not one that was read three times
    assert one_of(some, wrench(4.0, "A2-J1 clamp 1")).verdict is FAILS


# --- humidity card ---


def card(changed: int, temperature: float | None = 22.0, **more: str) -> list[Reading]:
    conditions: dict[str, float | str] = {} if temperature is None else {"temperature_c": temperature}
    return [
        made.read("humidity-spot", "A2", float(spot), changed="yes" if spot <= changed else "no", **conditions, **more)
        for spot in (10, 20, 30, 40, 50, 60)
    ]


def test_a_card_against_the_coldest_air(proof: Proof) -> None:
    """At 22 °C between 20 and 30 % water comes out between -1.8 and 3.6 °C (WMO-No. 8); the site falls to -10 °C."""
    wet = one_of(proof, *card(20))
    assert wet.test_id == "A2.card.spots"
    assert wet.verdict is FAILS
    assert wet.findings[0].value == pytest.approx(3.6, abs=0.05)
    assert wet.findings[0].limit.value == -10.0
    dry = one_of(proof, *card(0))  # below 10 %: frost at -9.7 at most
    assert dry.verdict is NOT
    assert "hygrometer" in dry.sentence
    assert one_of(proof, *card(0, 15.0)).verdict is PASSES
    mild = replace(proof, site=proof.site.model_copy(update={"climate": proof.site.climate.model_copy(update={"cold_c": 5.0})}))  # fmt: skip
    assert one_of(mild, *card(20)).verdict is PASSES


def test_a_card_that_tells_too_little(proof: Proof) -> None:
    assert "temperature of the card" in one_of(proof, *card(20, None)).sentence
    assert "has changed" in one_of(proof, made.read("humidity-spot", "A2", 10.0, temperature_c=20.0)).sentence
    worn = card(20)
    worn[0] = replace(worn[0], conditions=(("changed", "no"), ("temperature_c", 22.0)))
    judged = one_of(proof, *worn)
    assert judged.verdict is NOT
    assert "new card" in judged.sentence
    later = one_of(proof, *card(20, time="2025-11-28"), *card(0, 15.0, time="2025-11-29"))
    assert later.verdict is PASSES


def test_a_torque_that_waits_for_its_limit_sends_nobody_up(proof: Proof) -> None:
    first = one_of(jointed(proof, mark=Mark.MEMORY), wrench(5.0)).findings[0]
    assert first.verdict is NOT
    assert first.remedy.startswith("confirm the limit")
    assert "nobody needs to go up" in first.remedy
    few = one_of(jointed(proof, data={"count": 3}), wrench(5.0, "A2-J1 clamp 1")).findings[0]
    assert few.remedy.startswith("the torque of 2 more of 3")


@pytest.mark.parametrize(
    ("value", "by", "then"),
    [(0.005, "4.495 N·m", "tighten to the window"), (46.0, "40.5 N·m", "overtightened is opened")],
)
def test_a_torque_far_outside_a_window_from_memory_is_settled_before_anybody_leaves(
    proof: Proof, value: float, by: str, then: str
) -> None:
    """The window is 4.5 to 5.5 N·m: by it the joint would fail, and somebody is still at the top."""
    judged = one_of(jointed(proof, mark=Mark.MEMORY), wrench(value))
    first = judged.findings[0]
    assert first.verdict is NOT
    assert first.remedy.startswith("confirm the limit")
    assert "nobody needs" not in first.remedy + judged.sentence
    for words in (first.remedy, judged.sentence):
        assert "before anybody leaves" in words
        assert then in words
        assert f"fails by {by}" in words
    row = reading_row(judged, "at the top")
    assert row.urgency is Urgency.AGAIN_TOP
    assert row.verdict == "not judged"
    assert "before anybody leaves" in row.do
    assert "to be confirmed" in row.what
    assert (
        reading_row(one_of(jointed(proof, mark=Mark.MEMORY), wrench(5.0)), "at the top").urgency is Urgency.NOT_JUDGED
    )


def test_a_margin_of_a_torque_agrees_with_value_and_limit(proof: Proof) -> None:
    """1.34 against 1.35: with one digit it would be 1.3 against 1.4, off by 0.1, and it is off by 0.01."""
    for value, limit in ((1.34, 1.35), (1.344, 1.35)):
        found = finding_of("support.torque-applied", "A", value, Limit("support.torque-applied", limit, "N·m", Sense.AT_LEAST, Authority.PART, Source("a"), Stage.ACCEPTANCE))  # fmt: skip
        places = places_of(found)
        assert round(value, places) - round(limit, places) == pytest.approx(round(value - limit, places), abs=1e-9)
        assert places == 2
        assert shown_margin(found, places) == pytest.approx(round(value - limit, 2))


def test_a_lowest_above_the_highest_is_told(proof: Proof) -> None:
    some = jointed(proof, data={"count": 3})
    crossed = one_of(some, wrench(5.1, "A2-J1 lowest"), wrench(4.9, "A2-J1 highest"))
    assert keys(crossed)["crossed"] == "warn"
    assert "crossed" not in keys(one_of(some, wrench(4.9, "A2-J1 lowest"), wrench(5.1, "A2-J1 highest")))
