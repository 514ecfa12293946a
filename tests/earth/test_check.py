"""Earthing of a small built line: bonds counted, placed and judged; missing data, workings, digests."""

from __future__ import annotations

import dataclasses
import importlib.util
from pathlib import Path

import pytest

from upmast.digest import digest
from upmast.earth import check as room
from upmast.finding import Verdict
from upmast.proof.limits import limits_of
from upmast.working import FormulaStep

_spec = importlib.util.spec_from_file_location("make", Path(__file__).parent.parent / "sites" / "make.py")
assert _spec is not None
assert _spec.loader is not None
make = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(make)

TEXT = make.text("three_radios")
SITE = make.site(TEXT)
LINE = make.line(SITE)
CLOSE = make.site(TEXT + "\nlimits: [{code: earth.bond-spacing, value: 10, source: operator's earthing rule 2}]")
FAR = make.site(TEXT.replace("length_m: 6}", "length_m: 45}"))  # two more bonds on the horizontal part
SHIELD = LINE.by_id["T1-E1"].part


def edited(line, id, **changes):
    return dataclasses.replace(
        line, items=tuple(dataclasses.replace(i, **changes) if i.id == id else i for i in line.items)
    )


def without(line, *ids):
    return dataclasses.replace(line, items=tuple(i for i in line.items if i.id not in ids))


def with_part(line, id, **changes):
    return dataclasses.replace(line, parts={**line.parts, id: line.parts[id].model_copy(update=changes)})


def found(code, subject, line=LINE, site=SITE):
    made = room.check(room.inputs(line, site, ()), limits_of(site))
    return {f.key: f for f in (*made.findings, *made.figures)}[f"{code}@{subject}"]


def test_a_built_line_has_the_bonds_that_it_needs():
    # 26 m of vertical run: one interval, two bonds, and one at the entry
    one = found("earth.bond-count", "T1")
    assert (one.value, one.limit.value, one.verdict) == (3.0, 3.0, Verdict.PASSES)
    assert found("earth.bond-spacing", "T1").value == pytest.approx(26.0)


def test_one_bond_less_fails():
    assert found("earth.bond-count", "T1", without(LINE, "T1-E1")).verdict is Verdict.FAILS


def test_a_closer_spacing_needs_more_bonds():
    # ceil(26 / 10) = 3 intervals, four bonds, and one at the entry
    assert found("earth.bond-count", "T1", site=CLOSE).limit.value == 5.0
    assert found("earth.bond-count", "T1", site=CLOSE).verdict is Verdict.FAILS
    assert found("earth.bond-spacing", "T1", site=CLOSE).verdict is Verdict.FAILS


def test_a_long_horizontal_part_needs_bonds_of_its_own():
    # 45 m at 20 m: three intervals, two bonds between their ends
    assert found("earth.bond-count", "T1", site=FAR).limit.value == 5.0


@pytest.mark.parametrize(("height", "verdict"), [(30.0, Verdict.PASSES), (29.9, Verdict.FAILS)])
def test_the_longest_stretch_flips_at_the_spacing(height, verdict):
    # a run of 60 m with one bond in between
    line = edited(edited(edited(LINE, "T1", high_m=60.0), "T1-E1", low_m=60.0), "T1-E2", low_m=height)
    one = found("earth.bond-spacing", "T1", line)
    assert one.verdict is verdict
    assert one.value == pytest.approx(60 - height)


def test_bonds_all_at_the_foot_do_not_cover_the_run():
    line = edited(LINE, "T1-E1", low_m=0.0)
    tall = edited(line, "T1", high_m=31.0)
    assert found("earth.bond-spacing", "T1", tall).value == pytest.approx(31.0)
    assert found("earth.bond-spacing", "T1", tall).verdict is Verdict.FAILS


def test_a_kit_that_does_not_fit_is_not_counted_and_named():
    line = with_part(LINE, SHIELD, largest_mm=LINE.parts[LINE.by_id["T1"].part].diameter_mm - 1)
    one = found("earth.bond-count", "T1", line)
    assert (one.value, one.verdict) == (0.0, Verdict.FAILS)
    assert "T1-E1" in one.note
    d = LINE.parts[LINE.by_id["T1"].part].diameter_mm
    assert one.remedy == f"a kit that takes {d:g} mm in place of {SHIELD}"
    few = found("earth.bond-count", "T1", without(line, "T1-E2"))
    assert few.remedy == f"a kit that takes {d:g} mm in place of {SHIELD}, and 1 more of it"
    assert found("earth.bond-spacing", "T1", line).remedy.startswith(f"a kit that takes {d:g} mm")
    assert found("earth.bond-count", "T1", without(LINE, "T1-E2")).remedy.startswith("add a bond")
    other = found("earth.bond-count", "T1", with_part(LINE, SHIELD, use="case"))
    assert "made for another use: T1-E1, T1-E2, T1-E3" in other.note


@pytest.mark.parametrize(("area", "verdict"), [(16.0, Verdict.PASSES), (10.0, Verdict.FAILS)])
def test_sections_against_the_smallest_allowed(area, verdict):
    one = found("earth.bond-area", SHIELD, with_part(LINE, SHIELD, conductor_area_mm2=area))
    assert one.verdict is verdict
    assert set(one.items) == {"T1-E1", "T1-E2", "T1-E3"}


def test_every_box_and_radio_has_a_bond():
    made = room.check(room.inputs(LINE, SITE, ()), limits_of(SITE))
    cases = {f.subject: f.verdict for f in made.findings if f.code == "earth.case-bond"}
    assert cases == dict.fromkeys(("A1", "A2", "A3", "BX1"), Verdict.PASSES)
    assert found("earth.case-bond", "A2", without(LINE, "A2-E1")).verdict is Verdict.FAILS


def test_a_shield_bond_does_not_count_for_a_case():
    line = edited(LINE, "T1-E3", on="A2")
    assert found("earth.case-bond", "A2", without(line, "A2-E1")).value == 0.0


def test_a_run_without_a_shield_needs_none():
    line = with_part(LINE, LINE.by_id["T1"].part, shield_area_mm2=0.0)
    made = room.check(room.inputs(line, SITE, ()), limits_of(SITE))
    assert not [f for f in made.findings if f.code in ("earth.bond-count", "earth.bond-spacing")]


def test_a_spacing_that_can_not_be_meant_is_not_judged():
    site = make.site(TEXT + "\nlimits: [{code: earth.bond-spacing, value: 0, source: operator's earthing rule 2}]")
    one = found("earth.bond-count", "T1", site=site)
    assert one.verdict is Verdict.NOT_JUDGED
    assert "earth.bond-spacing" in one.missing[0]


def test_the_plan_names_every_bond_with_its_height():
    made = room.check(room.inputs(LINE, SITE, ()), limits_of(SITE))
    plan = {f.subject: f.value for f in made.figures if f.code == "earth.bond-plan"}
    assert plan == {i.id: i.low_m for i in LINE.of_kind("bond")}
    assert plan["T1-E1"] == 26.0


@pytest.mark.parametrize("site", [SITE, CLOSE, FAR])
@pytest.mark.parametrize("line", [LINE, without(LINE, "T1-E1", "T1-E2", "A1-E1")])
def test_every_working_holds(line, site):
    inputs, limits = room.inputs(line, site, ()), limits_of(site)
    made = room.check(inputs, limits)
    for one in (*made.findings, *made.figures):
        steps = room.working(inputs, limits, one)
        assert steps, one.key
        rows = [step for step in steps if isinstance(step, FormulaStep)]
        assert all(step.holds() for step in rows)
        if one.code == "earth.bond-count":
            assert rows[-1].result.value == one.limit.value
        if one.code == "earth.bond-spacing":
            assert rows[-1].result.value == pytest.approx(one.value)


def test_a_run_on_one_level_needs_two_bonds_and_its_working_holds():
    line = edited(LINE, "T1", high_m=0.0, low_m=0.0)
    inputs, limits = room.inputs(line, SITE, ()), limits_of(SITE)
    one = found("earth.bond-count", "T1", line)
    assert one.limit.value == 2.0
    last = room.working(inputs, limits, one)[-1]
    assert isinstance(last, FormulaStep)
    assert last.holds()


def test_edits_change_the_digest_and_nothing_else_does():
    start = digest(room.inputs(LINE, SITE, ()))
    assert digest(room.inputs(make.line(SITE), SITE, ())) == start
    others = [
        without(LINE, "T1-E1"), edited(LINE, "T1-E2", low_m=5.0), with_part(LINE, SHIELD, conductor_area_mm2=10.0),
        edited(LINE, "T1", high_m=40.0),
    ]  # fmt: skip
    assert len({start, *(digest(room.inputs(line, SITE, ())) for line in others)}) == len(others) + 1
