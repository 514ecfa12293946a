"""The RF room on a small line: against plain arithmetic, a search over phases, and what happens with gaps."""

from __future__ import annotations

import importlib.util
import math
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from upmast.digest import digest
from upmast.finding import Finding, Verdict
from upmast.limits import Limits
from upmast.line.line import Line
from upmast.proof.limits import limits_of
from upmast.proof.scenarios import scenarios_of
from upmast.rf import check as rf
from upmast.rf.cascade import input_gamma, join_s
from upmast.rf.joint import joint_s
from upmast.room import Result
from upmast.site.site import Site, SiteLimit
from upmast.working import FormulaStep, SolvedStep


def _make() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make", Path(__file__).parent.parent / "sites" / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


make = _make()
SITE: Site = make.site(make.text("three_radios"))
LINE: Line = make.line(SITE)


def prove(line: Line = LINE, site: Site = SITE, limits: Limits | None = None) -> Result:
    return rf.check(rf.inputs(line, site, scenarios_of(site)), limits or limits_of(site))


def find(result: Result, key: str) -> Any:
    return next(f for f in (*result.findings, *result.figures) if f.key == key)


def with_part(line: Line, id: str, **values: object) -> Line:
    return replace(line, parts={**line.parts, id: line.parts[id].model_copy(update=values)})


def a_db(f: float, length: float, theta: float) -> float:
    """Loss of the half-inch jumper of the catalogue, in plain arithmetic."""
    g = f / 1e9
    return (0.1035 * math.sqrt(g) * math.sqrt(1 + 0.00393 * (theta - 20)) + 0.005 * g) * length


def joint(f: float) -> float:
    """A joint of 32 dB at 2 GHz: a lump whose reactance goes with f."""
    r = 10 ** (-32 / 20)
    x = 2 * r / math.sqrt(1 - r * r) * f / 2e9
    return x / math.sqrt(4 + x * x)


LENGTH = LINE.by_id["A1-J1"].length_m or 0.0
SHORT = LENGTH - LINE.by_id["A1-J1"].tolerance_m


def worst_db(f: float, end: float, theta: float = -10.0) -> float:
    """Standing wave ratios multiply at a joint; the cable weakens what comes back."""

    def turn(g: float) -> float:
        return math.atanh(g)

    behind = math.tanh(turn(end) + turn(joint(f))) * 10 ** (-2 * a_db(f, SHORT, theta) / 20)
    return -20 * math.log10(math.tanh(turn(behind) + turn(joint(f))))


def test_return_loss_at_the_radio_by_plain_arithmetic() -> None:
    found = find(prove(), "rf.return-loss-at-radio@A1-J1")
    edges = [c + d for c in (1815e6, 1855e6, 1720e6, 1760e6) for d in (-5e6, 0, 5e6)]
    assert found.value == pytest.approx(min(worst_db(f, 0.2) for f in edges), abs=1e-9)
    assert found.verdict is Verdict.PASSES
    assert "1860.0 MHz" in found.note
    assert found.items == ("A1", "A1-J1", "A-ANT")


def test_no_phase_gives_less_and_some_phase_gives_that() -> None:
    found = find(prove(), "rf.return-loss-at-radio@A1-J1")
    f = 1860e6
    turns = np.linspace(0, 2 * np.pi, 181)
    first, last = turns[:, None], turns[None, :]
    s = joint_s("shunt C", [f], 32.0, 2e9)[0]
    through = 10 ** (-a_db(f, SHORT, -10.0) / 20) * np.exp(-1j * first)
    zero = np.zeros_like(through)
    line = np.stack([np.stack([zero, through], -1), np.stack([through, zero], -1)], -2)
    seen = np.abs(input_gamma(join_s(s, line, s), 0.2 * np.exp(1j * last)))
    least = -20 * np.log10(seen.max())
    assert least >= found.value - 1e-9
    assert least == pytest.approx(found.value, abs=2e-3)


def test_return_loss_with_a_load_by_plain_arithmetic() -> None:
    found = find(prove(), "rf.return-loss-load@A1-J1")
    assert found.value == pytest.approx(worst_db(1860e6, 0.01), abs=1e-9)
    assert "practice" in found.note


def test_cold_is_worse_than_hot() -> None:
    hot = SITE.model_copy(update={"climate": SITE.climate.model_copy(update={"cold_c": 15.0})})
    warm, cold = (find(prove(site=s), "rf.return-loss-at-radio@A1-J1").value for s in (hot, SITE))
    assert warm > cold


def test_highest_frequency_counts_uplink_and_downlink() -> None:
    result = prove()
    assert find(result, "rf.frequency@A1-J1").value == 1860e6
    assert find(result, "rf.frequency@A2-J1").value == 852e6  # the uplink of this band lies above its downlink
    assert find(result, "rf.frequency@A3-J8").value == 3500e6


def test_the_weakest_part_sets_the_highest_frequency() -> None:
    at = find(prove(with_part(LINE, "rf-jumper-12-43-43", maximum_hz=3.5e9)), "rf.frequency@A3-J1")
    below = find(prove(with_part(LINE, "rf-jumper-12-43-43", maximum_hz=3.4e9)), "rf.frequency@A3-J1")
    assert (at.verdict, below.verdict) == (Verdict.PASSES, Verdict.FAILS)
    assert below.limit.value == 3.4e9
    connector = find(prove(with_part(LINE, "4.3-10-jack", maximum_hz=3.4e9)), "rf.frequency@A3-J1")
    assert connector.verdict is Verdict.FAILS
    assert "4.3-10-jack" in connector.note


def test_loss_by_plain_arithmetic() -> None:
    result = rf.inputs(LINE, SITE, scenarios_of(SITE))
    found = find(prove(), "rf.loss@A1-J1")
    theta = float(rf.evaluate(result).sheath_c.max())
    assert theta > SITE.climate.hot_c
    tolerance = LINE.by_id["A1-J1"].tolerance_m
    assert found.value == pytest.approx(a_db(1860e6, LENGTH + tolerance, theta) + 2 * 0.05, abs=1e-9)


def test_the_worse_connector_of_a_joint_counts() -> None:
    worse = with_part(LINE, "4.3-10-jack", return_loss_db=26.0)
    better = with_part(LINE, "4.3-10-jack", return_loss_db=40.0)
    key = "rf.return-loss-load@A1-J1"
    assert find(prove(worse), key).value < find(prove(), key).value
    assert find(prove(better), key).value == pytest.approx(find(prove(), key).value)


def test_a_value_given_at_a_higher_frequency_is_better_below() -> None:
    key = "rf.return-loss-load@A1-J1"
    line = with_part(with_part(LINE, "4.3-10-jack", return_loss_at_hz=4e9), "4.3-10-plug", return_loss_at_hz=4e9)
    assert find(prove(line), key).value > find(prove(), key).value + 3


@pytest.mark.parametrize(
    ("part", "name", "codes"),
    [
        (
            "4.3-10-jack",
            "return_loss_db",
            ("rf.return-loss-at-radio", "rf.return-loss-load", "rf.power-average", "rf.power-peak"),
        ),
        ("4.3-10-jack", "maximum_hz", ("rf.frequency",)),
        ("4.3-10-jack", "rated_w", ("rf.power-average",)),
        ("rf-jumper-12-43-43", "rated_peak_w", ("rf.power-peak",)),
    ],
)
def test_what_a_part_does_not_give_is_not_judged(part: str, name: str, codes: tuple[str, ...]) -> None:
    result = prove(with_part(LINE, part, **{name: None}))
    for found in result.findings:
        if found.code in codes:
            assert found.verdict is Verdict.NOT_JUDGED
            assert f"{name} of {part}" in found.missing
        else:
            assert found.verdict is Verdict.PASSES


def test_a_radio_without_carriers_is_not_judged() -> None:
    radios = (SITE.radios[0].model_copy(update={"carriers": ()}), *SITE.radios[1:])
    result = prove(site=SITE.model_copy(update={"radios": radios}))
    own = [f for f in result.findings if f.items[0] == "A1" and f.code != "rf.right-port"]
    assert len(own) == 20
    assert {f.verdict for f in own} == {Verdict.NOT_JUDGED}
    assert {f.missing for f in own} == {("the carriers of the radio",)}
    assert not any(f.subject.startswith("A1-") for f in result.figures)


def test_a_carrier_whose_band_is_not_known_is_not_judged() -> None:
    carriers = (SITE.radios[0].carriers[0].model_copy(update={"band": "", "centre_hz": 2650e6}),)
    part = with_part(LINE, "radio-mid-4t4r", bands=("B1",))
    radios = (SITE.radios[0].model_copy(update={"carriers": carriers}), *SITE.radios[1:])
    found = find(prove(part, SITE.model_copy(update={"radios": radios})), "rf.frequency@A1-J1")
    assert found.verdict is Verdict.NOT_JUDGED
    assert "2650 MHz" in found.missing[0]


def test_a_frequency_outside_the_antenna_port_is_not_judged_with_the_antenna_only() -> None:
    antenna = LINE.parts["antenna-12"]
    narrow = tuple(p.model_copy(update={"low_hz": 1.75e9}) if p.name == "Y1" else p for p in antenna.ports)  # type: ignore[union-attr]
    result = prove(with_part(LINE, "antenna-12", ports=narrow))
    found = find(result, "rf.return-loss-at-radio@A1-J1")
    assert found.verdict is Verdict.NOT_JUDGED
    assert "VSWR of A-ANT.Y1 at 1715 MHz" in found.missing[0]
    assert find(result, "rf.return-loss-load@A1-J1").verdict is Verdict.PASSES


@pytest.mark.parametrize(("end", "subject"), [("A1-J1.head", "A1-J1"), ("A1-J1.foot", "A1-RF1")])
def test_a_path_that_leads_nowhere_fails(end: str, subject: str) -> None:
    line = replace(LINE, joints=tuple(j for j in LINE.joints if end not in (j.a, j.b)))
    result = prove(line)
    for code in ("rf.return-loss-at-radio", "rf.return-loss-load", "rf.frequency"):
        found = find(result, f"{code}@{subject}")
        assert (found.verdict, found.value) == (Verdict.FAILS, None)
        assert "A1" in found.note
        assert rf.working(rf.inputs(line, SITE, scenarios_of(SITE)), limits_of(SITE), found)
    assert find(result, "rf.frequency@A1-J2").verdict is Verdict.PASSES


def test_the_verdict_turns_at_the_limit() -> None:
    limits = limits_of(SITE)
    code = "rf.return-loss-at-radio"
    value = find(prove(), f"{code}@A1-J1").value

    def at(limit: float) -> Verdict:
        table = {**limits.table, code: replace(limits.table[code], value=limit)}
        verdict: Verdict = find(prove(limits=Limits(table)), f"{code}@A1-J1").verdict
        return verdict

    assert at(value) is Verdict.PASSES
    assert at(value + 1e-3) is Verdict.FAILS
    without = prove(limits=Limits({}))
    assert find(without, f"{code}@A1-J1").verdict is Verdict.NOT_JUDGED


def formulas(steps: tuple[Any, ...]) -> list[FormulaStep]:
    checks = [c for s in steps if isinstance(s, SolvedStep) for c in s.checks]
    return checks + [s for s in steps if isinstance(s, FormulaStep)]


def test_every_working_holds_and_ends_in_the_value() -> None:
    limits, seen = limits_of(SITE), rf.inputs(LINE, SITE, scenarios_of(SITE))
    result = rf.check(seen, limits)
    for found in (*result.findings, *result.figures):
        if found.code == "rf.right-port":
            assert rf.working(seen, limits, found)  # a walk, no formula
            continue
        steps = formulas(rf.working(seen, limits, found))
        assert all(step.holds() for step in steps), found.key
        assert any(math.isclose(step.result.value, found.value or 0.0, rel_tol=1e-12) for step in steps), found.key
    reflection = formulas(rf.working(seen, limits, find(result, "rf.return-loss-at-radio@A1-J1")))
    assert reflection[-1].result.value == find(result, "rf.return-loss-at-radio@A1-J1").value
    words = " ".join(q.meaning for step in reflection for q in step.inputs)
    assert "A-ANT.Y1" in words
    assert "A1-J1" in words


def test_an_edit_changes_the_digest_and_nothing_else_does() -> None:
    def key(line: Line = LINE, site: Site = SITE) -> str:
        return digest(rf.inputs(line, site, scenarios_of(site)))

    items = tuple(replace(i, length_m=3.0) if i.id == "A1-J1" else i for i in LINE.items)
    radios = (SITE.radios[0].model_copy(update={"carriers": SITE.radios[0].carriers[:1]}), *SITE.radios[1:])
    edits = {
        key(),
        key(replace(LINE, items=items)),
        key(with_part(LINE, "4.3-10-jack", return_loss_db=30.0)),
        key(site=SITE.model_copy(update={"radios": radios})),
    }
    assert len(edits) == 4
    assert key(with_part(LINE, "breaker-40", rated_a=41.0)) == key() == key(make.line(SITE))


def test_a_site_without_rf_ports_has_no_findings() -> None:
    joints = tuple(j for j in LINE.joints if ".rf" not in j.a)
    radios = tuple(r.model_copy(update={"antenna": None, "antenna_ports": ()}) for r in SITE.radios)
    result = prove(replace(LINE, joints=joints), SITE.model_copy(update={"radios": radios}))
    assert result == Result((), ())


def test_findings_speak_of_each_path_once() -> None:
    keys = [f.key for f in prove().findings]
    assert len(keys) == len(set(keys)) == 6 * 14
    assert all(isinstance(f, Finding) and f.scenario in ("float-light", "low-hot", "") for f in prove().findings)


def test_a_rating_that_is_exceeded_fails_even_where_others_are_not_known() -> None:
    weak = with_part(with_part(LINE, "rf-jumper-12-43-43", rated_w=30.0), "4.3-10-jack", rated_w=None)
    found = find(prove(weak), "rf.power-average@A1-J1")
    assert found.verdict is Verdict.FAILS
    assert "rf-jumper-12-43-43" in found.note
    hot = find(prove(with_part(LINE, "rf-jumper-12-43-43", hottest_c=50.0)), "rf.power-average@A1-J1")
    assert hot.verdict is Verdict.FAILS  # the sheath in the sun is hotter than the cable may be
    assert math.isfinite(hot.value)


def test_a_loss_is_judged_where_the_site_limits_it() -> None:
    assert not [f for f in prove().findings if f.code == "rf.insertion-loss"]
    site = SITE.model_copy(
        update={"limits": (*SITE.limits, SiteLimit(code="rf.insertion-loss", value=0.4, source="invented plan"))}
    )
    result = prove(site=site)
    found = find(result, "rf.insertion-loss@A1-J1")
    assert found.value == pytest.approx(find(result, "rf.loss@A1-J1").value)
    assert (found.verdict is Verdict.PASSES) == (found.value <= 0.4)
    assert {f.verdict for f in result.findings if f.code == "rf.insertion-loss"} <= {Verdict.PASSES, Verdict.FAILS}


def test_phases_of_a_set_are_judged_where_they_are_asked() -> None:
    radios = (SITE.radios[0].model_copy(update={"phase_match_deg": 10.0}), *SITE.radios[1:])
    site = SITE.model_copy(update={"radios": radios})
    found = find(prove(site=site), "rf.phase-match@A1")
    f, length = 1860e6, LENGTH
    part = LINE.parts["rf-jumper-12-43-43"]
    v = part.velocity_fraction * 299_792_458  # type: ignore[union-attr]
    spread = 2 * 360 * f * (part.length_tolerance_m + 0.01 * length) / v  # type: ignore[union-attr]
    assert found.value == pytest.approx(spread)
    assert found.verdict is Verdict.FAILS
    assert "only jumpers matched by measurement" in found.remedy
    items = tuple(replace(i, length_m=9.0) if i.id == "A1-J2" else i for i in LINE.items)
    uneven = find(prove(replace(LINE, items=items), site), "rf.phase-match@A1")
    assert uneven.verdict is Verdict.NOT_JUDGED
    assert "one length" in uneven.missing[0]


def test_a_path_is_the_one_asked_for() -> None:
    """Two jumpers of one radio exchanged at the antenna, and a two-port asked that nobody built."""
    radio = SITE.radios[0]
    first = f"{radio.id}-J1"
    assert find(prove(), f"rf.right-port@{first}").verdict is Verdict.PASSES
    crossed = radio.model_copy(
        update={"antenna_ports": (radio.antenna_ports[1], radio.antenna_ports[0], *radio.antenna_ports[2:])}
    )
    found = find(prove(site=SITE.model_copy(update={"radios": (crossed, *SITE.radios[1:])})), f"rf.right-port@{first}")
    assert found.verdict is Verdict.FAILS
    assert (
        found.note
        == f"it ends at {radio.antenna}.{radio.antenna_ports[0]}, {radio.antenna}.{radio.antenna_ports[1]} is asked"
    )
    asked = radio.model_copy(update={"inline": ("arrestor-43",)})
    found = find(prove(site=SITE.model_copy(update={"radios": (asked, *SITE.radios[1:])})), f"rf.right-port@{first}")
    assert found.note == "in its way nothing, arrestor-43 is asked"
    cut = replace(
        LINE,
        joints=tuple(
            j for j in LINE.joints if not j.a.startswith(f"{radio.id}.rf1") and not j.b.startswith(f"{radio.id}.rf1")
        ),
    )
    found = find(prove(cut), f"rf.right-port@{radio.id}-RF1")
    assert found.verdict is Verdict.FAILS
    assert "nothing is joined to" in found.note
