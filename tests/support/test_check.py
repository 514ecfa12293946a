"""Support of a small built line: findings against hand-computed numbers, missing data, workings, digests."""

from __future__ import annotations

import dataclasses
import importlib.util
from pathlib import Path

import numpy as np
import pytest

from upmast.catalogue.part import CableElement
from upmast.digest import digest
from upmast.errors import InputFaults
from upmast.finding import Verdict
from upmast.proof.limits import limits_of
from upmast.site.site import Climate
from upmast.source import Mark, Origin
from upmast.support import check as room
from upmast.support.findings import EQUIPMENT, EXISTING
from upmast.support.hand_over import hand_over, hand_over_sum
from upmast.support.state import State, Wind
from upmast.working import FormulaStep, SolvedStep

_spec = importlib.util.spec_from_file_location("make", Path(__file__).parent.parent / "sites" / "make.py")
assert _spec is not None
assert _spec.loader is not None
make = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(make)

WEATHER = """
climate: {wind: {basic_m_per_s: 26, terrain: II}, ice: G2}
existing:
  - {id: LD1, title: ladder, diameter_mm: 300, low_m: 0, high_m: 30, mass_kg_per_m: 4}
  - {id: FD1, title: old feeders, count: 6, diameter_mm: 50, low_m: 0, high_m: 28, stays: false}
"""
TEXT = make.text("three_radios")
CALM = make.site(TEXT)
STORMY = make.site(TEXT + WEATHER)
LINE = make.line(CALM)
TRUNK = LINE.by_id["T1"].part
CLAMP = LINE.by_id["T1-CL"].part
GRIP = LINE.by_id["T1-GR"].part
GUST_CLIMATE = "{wind: {standard: ANSI/TIA-222, basic_m_per_s: 44.7, exposure: B}}"
END = 1.1340  # most loaded clamp of a long run of equal spans over w s: continuous beam


def edited(line, id, **changes):
    return dataclasses.replace(
        line, items=tuple(dataclasses.replace(i, **changes) if i.id == id else i for i in line.items)
    )


def without(line, id):
    return dataclasses.replace(line, items=tuple(i for i in line.items if i.id != id))


def with_part(line, id, **changes):
    return dataclasses.replace(line, parts={**line.parts, id: line.parts[id].model_copy(update=changes)})


def result(line=LINE, site=CALM):
    return room.check(room.inputs(line, site, ()), limits_of(site))


def found(code, subject, line=LINE, site=CALM):
    made = result(line, site)
    return {f.key: f for f in (*made.findings, *made.figures)}[f"{code}@{subject}"]


# --- reach --------------------------------------------------------------------------------------------------------


def test_reach_is_length_less_tolerance_less_the_longest_way():
    # legs 6 + 26, slack 3, tail 2, tolerance of two legs 2 x 0.5: 38 m; made 40 m long, 0.5 % off
    line = edited(LINE, "T1", length_m=40.0, tolerance_m=0.2)
    assert found("support.reach", "T1", line).value == pytest.approx(40 - 0.2 - 38)
    # 2 m around the mast and 2 m up, 0.3 m of bends
    line = edited(LINE, "A1-H1", length_m=5.0, tolerance_m=0.025)
    assert found("support.reach", "A1-H1", line).value == pytest.approx(5 - 0.025 - 4.3)
    line = edited(LINE, "A1-J1", length_m=2.0, tolerance_m=0.01)
    assert found("support.reach", "A1-J1", line).value == pytest.approx(2 - 0.01 - 1.8)
    assert found(
        "support.reach", "A-ANT-K1", edited(LINE, "A-ANT-K1", length_m=2.0, tolerance_m=0.02)
    ).value == pytest.approx(0.18)


@pytest.mark.parametrize(("length", "verdict"), [(38.2, Verdict.PASSES), (38.19, Verdict.FAILS)])
def test_reach_flips_at_zero(length, verdict):
    assert found("support.reach", "T1", edited(LINE, "T1", length_m=length, tolerance_m=0.2)).verdict is verdict


def test_every_span_outside_of_the_cabinet_is_judged():
    spans = {i.id for i in LINE.items if i.span and i.on != "CAB"}
    assert {f.subject for f in result().findings if f.code == "support.reach"} == spans


def test_reach_of_a_span_whose_way_is_not_known_is_not_judged():
    one = found("support.reach", "A1-H1", edited(LINE, "A1-H1", serves=()))
    assert one.verdict is Verdict.NOT_JUDGED
    assert "the radio" in one.missing[0]


# --- clamps -------------------------------------------------------------------------------------------------------


def test_spacing_on_a_run_counts_the_intervals_between_its_clamps():
    # 6 m horizontal and 26 m vertical are held; 33 clamps make 32 intervals
    assert found("support.clamp-spacing", "T1", edited(LINE, "T1-CL", count=33)).value == pytest.approx(1.0)
    assert found("support.clamp-spacing", "T1", edited(LINE, "T1-CL", count=17)).value == pytest.approx(2.0)


def test_spacing_on_a_jumper_counts_its_clamps():
    line = edited(edited(LINE, "A1-H1", length_m=6.0), "A1-H1-CL", count=4)
    assert found("support.clamp-spacing", "A1-H1", line).value == pytest.approx(1.5)


@pytest.mark.parametrize(("count", "verdict"), [(33, Verdict.PASSES), (32, Verdict.FAILS)])
def test_spacing_flips_at_the_rule(count, verdict):
    line = with_part(edited(LINE, "T1-CL", count=count), CLAMP, spacing_m=1.0)
    one = found("support.clamp-spacing", "T1", line)
    assert one.verdict is verdict
    assert one.note.startswith("rule governs")


def test_slip_governs_where_it_is_smaller():
    line = with_part(with_part(LINE, CLAMP, slip_rating_n=20.0), TRUNK, mass_kg_per_m=2.0)
    one = found("support.clamp-spacing", "T1", line)
    assert one.limit.value == pytest.approx(20 / (1.5 * 2.0 * 9.80665))
    assert one.note.startswith("slip governs")
    assert one.verdict is Verdict.FAILS


def test_ice_makes_slip_smaller_and_asks_for_confirmation_where_it_governs():
    # glaze 20 mm on 28 mm: 2.714 kg/m
    line = with_part(
        with_part(LINE, TRUNK, diameter_mm=28.0, mass_kg_per_m=1.1),
        CLAMP,
        smallest_mm=24.0,
        largest_mm=40.0,
        slip_rating_n=50.0,
    )
    one = found("support.clamp-spacing", "T1", line, STORMY)
    assert one.limit.value == pytest.approx(50 / (1.5 * (1.1 + 2.714) * 9.80665), rel=1e-4)
    assert one.verdict is Verdict.NOT_JUDGED
    assert "G2" in one.missing[0]
    assert "climate.ice_confirmed_by" in one.missing[0]
    named = STORMY.climate.model_copy(update={"ice_confirmed_by": "the structural engineer, letter 7 (invented)"})
    sure = found("support.clamp-spacing", "T1", line, STORMY.model_copy(update={"climate": named}))
    assert sure.verdict is not Verdict.NOT_JUDGED
    assert sure.limit.value == one.limit.value
    calm = STORMY.climate.model_copy(update={"wind": None})
    told = found("support.clamp-spacing", "T1", line, STORMY.model_copy(update={"climate": calm}))
    assert "no side load counted: no wind told (climate.wind)" in told.note
    assert told.verdict is Verdict.NOT_JUDGED
    assert "climate.wind" in told.missing[0]


@pytest.mark.parametrize("count", [33, 2])
def test_without_a_word_on_the_wind_no_clamp_is_judged(count):
    line = edited(LINE, "T1-CL", count=count)
    silent = CALM.model_copy(update={"climate": Climate()})
    one = found("support.clamp-spacing", "T1", line, silent)
    assert one.verdict is Verdict.NOT_JUDGED
    assert any("climate.wind" in m and "calm: true" in m for m in one.missing)
    said = found("support.clamp-spacing", "T1", line)
    assert said.verdict is not Verdict.NOT_JUDGED
    assert "no wind here, as declared" in said.note


def test_wind_and_calm_together_are_refused():
    with pytest.raises(InputFaults, match="not both"):
        make.site(TEXT + "\nclimate: {calm: true, wind: {basic_m_per_s: 26, terrain: II}}")


def test_side_load_governs_where_it_is_smaller():
    # vb 26 m/s, terrain II, 30 m: 1307.1 Pa; 28 mm: 43.92 N/m; iced 68 mm at 0.45: 48.00 N/m; each times the row factor 1.15
    line = with_part(edited(LINE, "T1", high_m=30.0), TRUNK, diameter_mm=28.0)
    line = with_part(line, CLAMP, smallest_mm=24.0, largest_mm=40.0, side_rating_n=40.0)
    bare = make.site(TEXT + "\nclimate: {wind: {basic_m_per_s: 26, terrain: II}}")
    one = found("support.clamp-spacing", "T1", line, bare)
    assert one.limit.value == pytest.approx(40 / (END * 1.15 * 43.92), rel=1e-3)
    assert one.note.startswith("side load governs")
    assert found("support.clamp-spacing", "T1", line, STORMY).limit.value == pytest.approx(
        40 / (END * 1.15 * 43.92 * 0.45 * 68 / 28), rel=1e-3
    )


def test_an_operator_may_replace_the_rule_but_not_slip():
    text = TEXT + "\nlimits: [{code: support.clamp-spacing, value: 1.4, source: operator's installation rule 4}]"
    site = make.site(text)
    line = with_part(edited(LINE, "T1-CL", count=25), CLAMP, spacing_m=1.0)  # 32 / 24 = 1.33 m
    assert found("support.clamp-spacing", "T1", line, site).verdict is Verdict.PASSES
    weak = with_part(with_part(line, CLAMP, slip_rating_n=20.0), TRUNK, mass_kg_per_m=2.0)
    assert found("support.clamp-spacing", "T1", weak, site).verdict is Verdict.FAILS


def test_a_cable_without_clamps_is_not_judged():
    d = LINE.parts[TRUNK].diameter_mm
    one = found("support.clamp-spacing", "T1", without(LINE, "T1-CL"))
    assert one.verdict is Verdict.NOT_JUDGED
    assert one.missing == (f"a clamp that fits {d:g} mm",)


def test_a_clamp_of_the_wrong_size_is_not_judged():
    one = found("support.clamp-spacing", "T1", with_part(LINE, CLAMP, largest_mm=LINE.parts[TRUNK].diameter_mm - 1))
    assert one.verdict is Verdict.NOT_JUDGED
    assert "fits" in one.missing[0]


def test_without_a_tested_rating_friction_is_shown_and_nothing_judged():
    # M8 at 6 N m: 3750 N in the bolt, 1312.5 N along the cable
    line = with_part(LINE, CLAMP, slip_rating_n=None)
    one = found("support.clamp-spacing", "T1", line)
    assert one.verdict is Verdict.NOT_JUDGED
    assert State(room.inputs(line, CALM, ())).friction_n == pytest.approx(1312.5)
    assert "1312 N" in one.missing[0]


@pytest.mark.parametrize("climate", ["{wind: {basic_m_per_s: 26, terrain: II}, ice: G2}", GUST_CLIMATE])
def test_clamps_are_spaced_by_the_line_load_that_the_loads_are_made_of(climate):
    """Where no slices are cut, force over length of each cable is the wind on a metre by which its clamps stand."""
    state = State(room.inputs(LINE, make.site(TEXT + f"\nclimate: {climate}"), ()))
    rows = np.flatnonzero(~state.i.run)
    for line, loads in zip(state.lines_n_per_m, (state.bare, state.iced), strict=True):
        if loads is not None:
            np.testing.assert_allclose(line[rows] * state.exposed_m[rows], loads.force_n[rows], rtol=1e-12)
    np.testing.assert_array_equal(state.side_line_n_per_m, np.maximum(*state.lines_n_per_m))


def test_two_spans_count_with_their_real_end_factor():
    # three clamps: the middle one bears 1.25 w s, more than the 1.15 that a long run would be given
    line = with_part(edited(edited(LINE, "T1", high_m=30.0), "T1-CL", count=3), TRUNK, diameter_mm=28.0)
    line = with_part(line, CLAMP, smallest_mm=24.0, largest_mm=40.0, side_rating_n=40.0)
    bare = make.site(TEXT + "\nclimate: {wind: {basic_m_per_s: 26, terrain: II}}")
    assert found("support.clamp-spacing", "T1", line, bare).limit.value == pytest.approx(
        40 / (1.25 * 1.15 * 43.92), rel=1e-3
    )
    # a jumper with one clamp between its two connectors has two spans, too
    one = edited(edited(LINE, "A1-H1", length_m=1.0), "A1-H1-CL", count=1)
    inputs = room.inputs(one, bare, ())
    assert State(inputs).end_factor[inputs.spans.index("A1-H1")] == pytest.approx(1.25)


# --- torque, route, mass, gusts and rime ----------------------------------------------------------------------------

BOLTED = with_part(
    with_part(LINE, CLAMP, bolts_count=1, bolt_mm=8.0, torque_nm=6.0, pad_width_mm=40.0),
    TRUNK,
    crush_n_per_100mm=2000.0,
)
LAYERS = (
    CableElement(material="copper", elements_count=12, area_mm2=10.0),
    CableElement(material="hdpe", area_mm2=300.0, outer_mm=33.0),
)
BENT = make.site(TEXT.replace("kind: vertical, ", "kind: vertical, bend_deg: 90, bend_radius_m: 0.8, "))
GUSTS = make.site(TEXT + "\nclimate: {wind: {standard: ANSI/TIA-222, basic_m_per_s: 44.7, exposure: B}, ice: R4}")


def test_torque_is_judged_against_crush_where_both_parts_tell():
    # 2000 N on 100 mm, 40 mm wide, M8, K 0.2 less 30 %: 0.896 N m
    one = found("support.clamp-torque", "T1", BOLTED)
    assert (one.value, one.verdict) == (6.0, Verdict.FAILS)
    assert one.limit.value == pytest.approx(0.896, abs=1e-4)
    assert "0.90 N·m at most" in one.remedy
    strong = with_part(BOLTED, TRUNK, crush_n_per_100mm=14_000.0)
    assert found("support.clamp-torque", "T1", strong).verdict is Verdict.PASSES
    for silent in (with_part(BOLTED, TRUNK, crush_n_per_100mm=None), with_part(BOLTED, CLAMP, torque_nm=None)):
        assert not [f for f in result(silent).findings if f.code == "support.clamp-torque"]


def test_of_two_kinds_of_clamps_the_one_that_presses_hardest_is_judged():
    # the second kind slips less, so it is not the weakest, but its torque crushes
    weak = with_part(BOLTED, CLAMP, torque_nm=0.5, slip_rating_n=300.0)
    hard = weak.parts[CLAMP].model_copy(update={"id": "hard", "torque_nm": 6.0, "slip_rating_n": 900.0})
    first = weak.by_id["T1-CL"]
    second = dataclasses.replace(first, id="T1-CL2", part="hard", count=4)
    both = dataclasses.replace(weak, items=(*weak.items, second), parts={**weak.parts, "hard": hard})
    assert found("support.clamp-torque", "T1", weak).verdict is Verdict.PASSES
    one = found("support.clamp-torque", "T1", both)
    assert (one.value, one.verdict) == (6.0, Verdict.FAILS)
    assert found("support.clamp-spacing", "T1", both).note.startswith(("rule", "slip"))


def test_route_is_judged_only_where_the_site_tells_bends():
    assert not [f for f in result().findings if f.code in ("support.route-pull", "support.side-pressure")]
    line = with_part(LINE, TRUNK, maximum_pull_n=300.0, side_pressure_n_per_m=5000.0, bend_pulling_mm=600.0)
    one = found("support.route-pull", "T1", line, BENT)
    assert one.verdict is Verdict.FAILS
    assert "pulled from the " in one.note
    assert found("support.side-pressure", "T1", line, BENT).verdict is Verdict.PASSES
    inputs, limits = room.inputs(line, BENT, ()), limits_of(BENT)
    used = {q.symbol: q for step in formulas(room.working(inputs, limits, one)) for q in step.inputs}
    bends = [q for name, q in used.items() if name.startswith("a_")]
    # the bend that the site does not tell is a right angle of ours, and the working says so
    assert {(q.value, q.origin) for q in bends} == {(90.0, Origin.DEFAULT)}
    silent = with_part(LINE, TRUNK, maximum_pull_n=None)
    assert found("support.route-pull", "T1", silent, BENT).verdict is Verdict.NOT_JUDGED


@pytest.mark.parametrize("press", [5000.0, 1.0])
def test_a_bend_of_twenty_diameters_judges_no_side_pressure(press):
    """A radius that neither site nor part tells is a guess: nothing passes or fails by it, and the finding says what is missing."""
    line = with_part(LINE, TRUNK, maximum_pull_n=3000.0, side_pressure_n_per_m=press, bend_pulling_mm=None)
    one = found("support.side-pressure", "T1", line, BENT)
    assert one.verdict is Verdict.NOT_JUDGED
    assert one.missing == (
        f"the least bend radius of {TRUNK} under pull, or bend_radius_m of the legs: 20 diameters are taken",
    )
    assert found("support.route-pull", "T1", line, BENT).verdict is Verdict.PASSES
    radii = make.site(TEXT.replace("length_m: 6}", "length_m: 6, bend_deg: 90, bend_radius_m: 0.8}"))
    # it comes slack into the only bend
    assert found("support.side-pressure", "T1", line, radii).verdict is Verdict.PASSES
    inputs, limits = room.inputs(line, BENT, ()), limits_of(BENT)
    used = {q.symbol: q for step in formulas(room.working(inputs, limits, one)) for q in step.inputs}
    (guess,) = {(q.meaning, q.origin) for name, q in used.items() if name.startswith("R_")}
    assert guess[0].startswith("20 diameters of T1")
    assert guess[1] is Origin.DEFAULT


def test_a_bend_tighter_than_the_cable_bears_fails():
    code, tight = (
        "support.bend-radius",
        make.site(TEXT.replace("kind: vertical, ", "kind: vertical, bend_radius_m: 0.05, ")),
    )
    line = with_part(LINE, TRUNK, bend_static_mm=400.0, bend_pulling_mm=800.0)
    one = found(code, "T1", line, tight)
    assert (one.value, one.limit.value, one.unit, one.verdict) == (50.0, 800.0, "mm", Verdict.FAILS)
    assert "limit under pull" in one.note
    inputs, limits = room.inputs(line, tight, ()), limits_of(tight)
    (step,) = formulas(room.working(inputs, limits, one))
    assert step.result.value == 50.0
    assert [(q.value, q.origin) for q in step.inputs] == [(0.05, Origin.DECLARED)]
    assert found(code, "T1", line, BENT).verdict is Verdict.PASSES  # 0.8 m, just as wide
    rest = with_part(line, TRUNK, bend_pulling_mm=None)
    assert found(code, "T1", rest, tight).verdict is Verdict.FAILS
    assert found(code, "T1", rest, BENT).verdict is Verdict.NOT_JUDGED
    # a rule by the diameter is no limit
    silent = with_part(rest, TRUNK, bend_static_mm=None)
    assert found(code, "T1", silent, tight).verdict is Verdict.NOT_JUDGED
    straight = make.site(TEXT.replace("kind: vertical, ", "kind: vertical, bend_deg: 0, bend_radius_m: 0.05, "))
    for site in (CALM, straight):
        assert not [f for f in result(line, site).findings if f.code == code]


def test_mass_by_construction_is_told_once_a_part_and_fails_beyond_ten_percent():
    built = 120e-6 * 8960 + 300e-6 * 955
    line = with_part(LINE, TRUNK, construction=LAYERS, mass_kg_per_m=built / 1.05)
    one = found("support.mass-difference", "T1", line)
    assert one.value == pytest.approx(5.0)
    assert one.verdict is Verdict.PASSES
    assert (
        found("support.mass-difference", "T1", with_part(line, TRUNK, mass_kg_per_m=built / 1.12)).verdict
        is Verdict.FAILS
    )
    assert not [f for f in result().findings if f.code == "support.mass-difference"]


def test_a_gust_speed_is_told_as_one_and_rime_weighs_what_its_class_says():
    note = found("support.wind-force", "T3", site=GUSTS).note
    assert "ANSI/TIA-222, V 44.7 m/s as a three-second gust, exposure B" in note
    assert "row factor" not in note
    inputs = room.inputs(LINE, GUSTS, ())
    assert State(inputs).cable_ice_kg[inputs.spans.index("T1")] == pytest.approx(2.8 * 26)
    assert "rime R4" in found("support.ice-mass", "T3", site=GUSTS).note


@pytest.mark.parametrize(
    "wind",
    [
        "{standard: ANSI/TIA-222, basic_m_per_s: 44}",
        "{standard: ANSI/TIA-222, basic_m_per_s: 44, exposure: B, terrain: II}",
        "{basic_m_per_s: 26, exposure: B}",
        "{basic_m_per_s: 26, terrain: II, importance_fraction: 1.1}",
        "{basic_m_per_s: 90, terrain: II}",
    ],
)
def test_gust_and_mean_are_never_mixed(wind):
    with pytest.raises(InputFaults):
        make.site(TEXT + f"\nclimate: {{wind: {wind}}}")


# --- grips and hoisting -------------------------------------------------------------------------------------------


def test_grip_and_hoist_carry_the_hanging_length_moving():
    line = with_part(edited(LINE, "T1-GR", count=2), TRUNK, mass_kg_per_m=2.0, maximum_pull_n=700.0)
    assert found("support.hoist-pull", "T1", line).value == pytest.approx(2.0 * 9.80665 * 26 * 1.3)  # 662.9 N
    assert found("support.grip-load", "T1-GR", line).value == pytest.approx(2.0 * 9.80665 * 13 * 1.3)
    assert found("support.hoist-pull", "T1", line).verdict is Verdict.PASSES
    assert found("support.hoist-pull", "T1", with_part(line, TRUNK, maximum_pull_n=662.0)).verdict is Verdict.FAILS
    assert found("support.grip-load", "T1-GR", with_part(line, GRIP, rated_n=331.0)).verdict is Verdict.FAILS


def test_a_missing_rating_or_grip_is_not_judged():
    one = found("support.hoist-pull", "T1", with_part(LINE, TRUNK, maximum_pull_n=None))
    assert one.verdict is Verdict.NOT_JUDGED
    assert one.value is not None
    assert "highest pull" in one.missing[0]
    one = found("support.grip-load", "T1", without(LINE, "T1-GR"))
    assert one.verdict is Verdict.NOT_JUDGED
    assert "a grip" in one.missing[0]


# --- figures ------------------------------------------------------------------------------------------------------


def test_mass_of_the_line_is_that_of_its_parts():
    kg = 0.0
    clamps = LINE.by_id["T1-CL"].count  # on 6 m to the mast and 26 m up: one at each end, so those up to 6 m lie
    lying = int(6 * (clamps - 1) / 32) + 1
    off = {"T1-CL": lying, **{i.id: 1 for i in LINE.items if i.kind == "loop" and i.on == "T1"}}
    low = [i.id for i in LINE.items if i.kind == "bond" and i.on == "T1" and i.low_m == LINE.by_id["T1"].low_m]
    off |= dict.fromkeys(low[1:], 1)  # the bond at the entry
    assert lying > 3
    assert len(low) == 2
    for item in LINE.items:
        if not item.part or item.on in ("CAB", "PLANT") or item.kind in ("radio", "antenna"):
            continue
        part = LINE.parts[item.part]
        if item.kind == "trunk":
            kg += part.mass_kg_per_m * 26 + part.mass_kg / 2
        elif item.span:
            kg += part.mass_kg_per_m * item.length_m + part.mass_kg
        else:
            kg += part.mass_kg * (item.count - off.get(item.id, 0))
    assert found("support.mass", "T3").value == pytest.approx(kg)
    inputs = room.inputs(LINE, CALM, ())
    total = hand_over_sum(inputs, hand_over(inputs))
    assert f"not on the mast and not counted: {lying} of T1-CL, {low[1]}" in total.hardware_words
    assert {h.item: h.count - h.on_mast for h in inputs.hardware if h.on_mast < h.count} == off
    equipment = sum(LINE.parts[i.part].mass_kg for i in LINE.of_kind("radio", "antenna"))
    assert found("support.mass", EQUIPMENT).value == pytest.approx(equipment)


def test_what_stands_already_is_counted_apart_and_only_if_it_stays():
    assert found("support.wind-area", EXISTING, site=STORMY).value == pytest.approx(0.3 * 30)
    assert found("support.mass", EXISTING, site=STORMY).value == pytest.approx(4 * 30)
    assert "FD1" in found("support.wind-area", EXISTING, site=STORMY).note
    assert found("support.wind-area", "T3", site=STORMY).value == pytest.approx(found("support.wind-area", "T3").value)


def test_no_wind_and_no_ice_give_no_figures_of_them():
    codes = {f.code for f in result().figures}
    assert not codes & {"support.wind-force", "support.wind-moment", "support.ice-mass"}


def test_wind_force_and_moment_agree_with_a_fine_sum_over_height():
    inputs = room.inputs(LINE, make.site(TEXT + "\nclimate: {wind: {basic_m_per_s: 26, terrain: II}}"), ())
    state = State(inputs)
    row = inputs.spans.index("T1")
    z = (np.arange(26000) + 0.5) / 1000
    log = np.log(np.maximum(z, 2.0) / 0.05)
    qp = (1 + 7 / log) * 0.5 * 1.25 * (0.19 * log * 26) ** 2
    f = qp * 1.2 * inputs.diameter_mm[row] / 1000 * 1.15  # cables that touch: 1.15
    assert state.bare.force_n[row] == pytest.approx(f.sum() / 1000, rel=2e-3)
    assert state.bare.moment_nm[row] == pytest.approx((f * z).sum() / 1000, rel=2e-3)


def test_the_larger_of_bare_and_iced_governs_and_is_named():
    one = found("support.wind-force", "T3", site=STORMY)
    state = State(room.inputs(LINE, STORMY, ()))
    assert one.value == max(state.bare.total_n, state.iced.total_n)
    assert one.note.startswith("iced" if state.iced.total_n > state.bare.total_n else "bare")


def test_ice_mass_of_cables():
    inputs = room.inputs(with_part(LINE, TRUNK, diameter_mm=28.0), STORMY, ())
    assert State(inputs).cable_ice_kg[inputs.spans.index("T1")] == pytest.approx(2.714 * 26, rel=1e-3)


def test_the_hand_over_list_adds_up_to_the_figures():
    inputs = room.inputs(LINE, STORMY, ())
    rows = hand_over(inputs, 0.5)
    total = hand_over_sum(inputs, rows)
    figure = {
        name: found(f"support.{name}", "T3", site=STORMY).value
        for name in ("wind-force", "wind-moment", "ice-mass", "wind-area", "mass")
    }
    assert max(total.bare_n, total.iced_n) == pytest.approx(figure["wind-force"])
    assert max(total.bare_nm, total.iced_nm) / 1000 == pytest.approx(figure["wind-moment"])
    assert (total.iced_weight_n - total.dead_n) / 9.80665 == pytest.approx(figure["ice-mass"])
    assert total.bare_area_m2 == pytest.approx(figure["wind-area"])
    assert (total.dead_n + total.hardware_n) / 9.80665 == pytest.approx(figure["mass"])
    assert total.dead_nm == pytest.approx(0.5 * total.dead_n)
    assert total.governing == ("iced" if total.iced_nm > total.bare_nm else "bare")
    assert all(r.iced_width_mm == pytest.approx(r.width_mm + 40) for r in rows)
    assert all(r.bare_n_per_m * r.length_m == pytest.approx(r.bare_n) for r in rows)
    trunk = rows[0]
    assert trunk.hoist_n == pytest.approx(LINE.parts[TRUNK].mass_kg_per_m * 9.80665 * 26 * 1.3)


# --- workings and digests -----------------------------------------------------------------------------------------

CASES = {
    "calm": (LINE, CALM),
    "stormy": (LINE, STORMY),
    "friction": (with_part(LINE, CLAMP, slip_rating_n=None), STORMY),
    "slip": (with_part(LINE, CLAMP, slip_rating_n=20.0), STORMY),
    "side": (with_part(LINE, CLAMP, side_rating_n=20.0), STORMY),
    "bare": (without(without(LINE, "T1-CL"), "T1-GR"), CALM),
    "torque": (BOLTED, STORMY),
    "bends": (with_part(LINE, TRUNK, side_pressure_n_per_m=5000.0), BENT),
    "construction": (with_part(LINE, TRUNK, construction=LAYERS), CALM),
    "gusts and rime": (LINE, GUSTS),
    "gusts govern": (with_part(LINE, CLAMP, side_rating_n=20.0), GUSTS),
    "unknown way": (edited(LINE, "A1-H1", serves=()), CALM),
}


def formulas(steps):
    for step in steps:
        for one in step.checks if isinstance(step, SolvedStep) else (step,):
            if isinstance(one, FormulaStep):
                yield one


@pytest.mark.parametrize("case", CASES)
def test_every_working_holds_and_ends_at_the_value_shown(case):
    line, site = CASES[case]
    inputs, limits = room.inputs(line, site, ()), limits_of(site)
    made = room.check(inputs, limits)
    assert made.findings
    for one in (*made.findings, *made.figures):
        steps = room.working(inputs, limits, one)
        assert steps, one.key
        rows = list(formulas(steps))
        assert all(step.holds() for step in rows), one.key
        if rows:
            assert rows[-1].result.value == pytest.approx(one.value, rel=1e-9), one.key
        limit = getattr(one, "limit", None)
        if one.code == "support.clamp-spacing" and rows:
            assert rows[-2].result.value == pytest.approx(limit.value, abs=1e-8)


def test_only_counts_and_missing_values_go_without_a_formula():
    for line, site in CASES.values():
        inputs, limits = room.inputs(line, site, ()), limits_of(site)
        made = room.check(inputs, limits)
        for one in (*made.findings, *made.figures):
            if not list(formulas(room.working(inputs, limits, one))):
                assert one.value is None or one.code == "support.clamp-count"


def test_edits_change_the_digest_and_nothing_else_does():
    start = digest(room.inputs(LINE, STORMY, ()))
    assert digest(room.inputs(make.line(CALM), STORMY, ())) == start
    others = [
        edited(LINE, "T1", length_m=50.0),
        edited(LINE, "T1-CL", count=20),
        without(LINE, "T1-GR"),
        with_part(LINE, CLAMP, slip_rating_n=1.0),
        with_part(LINE, TRUNK, mass_kg_per_m=9.0),
    ]
    assert len({start, *(digest(room.inputs(line, STORMY, ())) for line in others)}) == len(others) + 1
    assert digest(room.inputs(LINE, CALM, ())) != start


def test_heights_beyond_the_profile_are_said():
    inputs = room.inputs(LINE, STORMY, ())
    high = dataclasses.replace(inputs, high_m=inputs.high_m + 200, side_n=np.full(len(inputs.spans), 1.0))
    assert isinstance(high.wind, Wind)
    made = room.check(high, limits_of(STORMY))
    one = next(f for f in made.findings if f.code == "support.clamp-spacing")
    assert any("200 m" in words for words in one.missing)
    assert "beyond its range" in next(f for f in made.figures if f.code == "support.wind-force").note


def test_terrain_from_memory_is_not_judged_where_wind_governs():
    site = make.site(TEXT + "\nclimate: {wind: {basic_m_per_s: 26, terrain: IV}}")
    inputs = room.inputs(LINE, site, ())
    assert inputs.wind.mark == Mark.MEMORY.value
    one = found("support.clamp-spacing", "T1", with_part(LINE, CLAMP, side_rating_n=10.0), site)
    assert one.verdict is Verdict.NOT_JUDGED
    assert "terrain IV" in one.missing[0]


def test_a_site_limit_on_reach_asks_for_more():
    site = make.site(TEXT + "\nlimits: [{code: support.reach, value: 1.0, source: operator's installation rule 5}]")
    line = edited(LINE, "T1", length_m=39.0, tolerance_m=0.1)  # 0.9 m to spare
    assert found("support.reach", "T1", line).verdict is Verdict.PASSES
    assert found("support.reach", "T1", line, site).verdict is Verdict.FAILS


def test_a_line_edited_by_hand_never_stops_the_check():
    line = edited(edited(LINE, "T1", low_m=30.0, high_m=5.0), "A1-J1", length_m=None)
    line = edited(edited(line, "BX1", kind="radio", high_m=-3.0), "A2-J1", kind="box")
    assert found("support.hoist-pull", "T1", line, STORMY).verdict is Verdict.NOT_JUDGED
    assert found("support.reach", "A1-J1", line, STORMY).missing == ("the length of A1-J1",)
    assert all(np.isfinite(f.value) for f in result(line, STORMY).figures)


def test_cables_in_series_reach_over_the_way_together():
    # radio, jumper of 1 m, feeder of 4 m, jumper of 1 m, antenna: 6 m less 3 x 0.01 m for a way of 1.8 m
    catalogue = make.standard()
    parts = {**LINE.parts, "feeder-12-43": catalogue.part("feeder-12-43")}
    first = LINE.by_id["A1-J1"]
    chain = [
        dataclasses.replace(first, id=f"A1-J1{x}", length_m=m, tolerance_m=0.01) for x, m in (("A", 1.0), ("C", 1.0))
    ]
    feeder = dataclasses.replace(first, id="A1-J1B", kind="feeder", part="feeder-12-43", length_m=4.0, tolerance_m=0.01)
    items = (*(i for i in LINE.items if i.id != "A1-J1" and i.on != "A1-J1"), *chain, feeder)
    ends = [
        ("A1.rf1", "A1-J1A.foot"),
        ("A1-J1A.head", "A1-J1B.foot"),
        ("A1-J1B.head", "A1-J1C.foot"),
        ("A1-J1C.head", "A-ANT.Y1"),
    ]
    joints = (*(j for j in LINE.joints if "A1-J1." not in j.a + j.b), *(type(LINE.joints[0])(*e) for e in ends))
    line = dataclasses.replace(LINE, items=items, joints=joints, parts=parts)
    for id in ("A1-J1A", "A1-J1B", "A1-J1C"):
        one = found("support.reach", id, line)
        assert one.value == pytest.approx(6 - 0.03 - 1.8)
        assert set(one.items) == {"A1-J1A", "A1-J1B", "A1-J1C"}
    inputs, limits = room.inputs(line, CALM, ()), limits_of(CALM)
    assert all(s.holds() for s in room.working(inputs, limits, found("support.reach", "A1-J1B", line)))


def test_separate_runs_are_judged_each_with_their_way_on_to_the_radio():
    from upmast.line.build import build
    from upmast.line.choice import Choice, RadioChoice

    radios = tuple(RadioChoice("breaker-40", "dc-run-10", "fibre-run-2f", "rf-jumper-12-43-43") for _ in CALM.radios)
    line = build(CALM, make.standard(), Choice("separate", radios))
    line = edited(line, "A1-D1", length_m=45.0, tolerance_m=0.2)
    # 38 m to the place of the box, 4 m on to the radio
    assert found("support.reach", "A1-D1", line).value == pytest.approx(45 - 0.2 - 38 - 4)
    one = found("support.hoist-pull", "A1-D1", line)
    assert one.value == pytest.approx(line.parts["dc-run-10"].mass_kg_per_m * 9.80665 * 28 * 1.3)
