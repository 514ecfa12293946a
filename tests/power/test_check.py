"""The power room on built lines: against closed forms, circuit laws, and what happens with faults and gaps."""

from __future__ import annotations

import importlib.util
import math
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from upmast.digest import digest
from upmast.finding import Verdict
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.power import check as power
from upmast.power.load_flow import single
from upmast.proof.limits import limits_of
from upmast.site.site import Battery, Site, SiteLimit
from upmast.working import FormulaStep, SolvedStep


def _lines() -> ModuleType:
    spec = importlib.util.spec_from_file_location("lines", Path(__file__).parent / "lines.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


_known = _lines()
SITE: Site = _known.SITE
LINE: Line = _known.LINE
CATALOGUE = _known.CATALOGUE
checked, choice, found = _known.checked, _known.choice, _known.found


def test_a_single_radio_is_the_closed_form() -> None:
    """One radio alone: V = (E + sqrt(E^2 - 4RP))/2 with the loop added up by hand from IEC 60228 maxima at the settled heat."""
    alone = SITE.model_copy(update={"radios": SITE.radios[:1]})
    line = build(alone, CATALOGUE, Choice("hybrid", (RadioChoice("breaker-40", "dc-jumper-6", "fibre-jumper-2f-a-b", "rf-jumper-12-43-43"),), "trunk-1x10-4f", 1, "box-straight-2-lc"))  # fmt: skip
    inputs, result = checked(alone, line)
    v = found(result, "power.voltage-at-radio", "A1")
    assert v.value is not None
    state = power.evaluate(inputs)
    theta = {inputs.item[b]: state.used_c[0, b] for b in range(len(inputs.item)) if inputs.kind[b] == "line"}
    wire = {"T1": (1.91, line.by_id["T1"].length_m), "A1-D1": (3.30, line.by_id["A1-D1"].length_m)}
    loop = SITE.cabinet.plant.source_resistance_ohm
    for item, (r20, length) in wire.items():
        assert length is not None
        loop += 2 * r20 * length / 1000 * (1 + 0.00393 * (theta[item] - 20))
    on_the_way = [
        b for b, kind in enumerate(inputs.kind) if kind != "source" and (kind != "box" or inputs.pair[b] == 1)
    ]
    fixed = sum(inputs.fixed_ohm[b] for b in on_the_way)
    assert v.value == pytest.approx(float(single(43.2, loop + fixed, 1100.0).voltage_v), abs=1e-6)
    assert theta["T1"] > 60  # the sun and its own current
    assert v.verdict is (Verdict.PASSES if v.value >= 38.4 else Verdict.FAILS)


def test_power_balances_in_every_scenario() -> None:
    inputs, _ = checked(SITE, LINE)
    state = power.evaluate(inputs)
    heat = (state.flow.branch_a**2 * state.branch_ohm).sum(axis=1)
    for s in range(len(inputs.scenarios)):
        if state.flow.exists[s]:
            assert state.flow.source_w[s] == pytest.approx(state.power_w[s].sum() + heat[s], rel=1e-9)


def test_every_derivation_holds_and_ends_in_the_value() -> None:
    for trunk, box, more in (
        ("trunk-6x10-24f", "box-straight-6-lc", {}),
        ("trunk-6x16-24f", "box-straight-3-lc", {"pairs_each": 2}),
        ("trunk-6x16-24f", "box-bussed-6-lc", {"pair_breaker": "breaker-32"}),
    ):
        line = build(SITE, CATALOGUE, choice(trunk, box, **more))
        inputs, result = checked(SITE, line)
        for one in (*result.findings, *result.figures):
            steps = power.working(inputs, limits_of(SITE), one)
            assert steps, one.key
            last: list[float] = []
            for step in steps:
                trees = (
                    [step]
                    if isinstance(step, FormulaStep)
                    else list(step.checks)
                    if isinstance(step, SolvedStep)
                    else []
                )
                for tree in trees:
                    assert tree.holds(1e-7), (one.key, tree.expression.text(), tree.evaluate(), tree.result.value)
                    last.append(tree.result.value)
                if isinstance(step, SolvedStep):
                    last += [q.value for q in step.results]
            if last and one.value is not None:
                aims = {one.value, getattr(getattr(one, "limit", None), "value", one.value)}
                assert any(math.isclose(x, aim, rel_tol=1e-6, abs_tol=1e-6) for x in last for aim in aims), one.key


def test_no_operating_point_is_a_result_with_the_largest_power() -> None:
    thin = build(SITE, CATALOGUE, choice("hybrid-3x4-24f", "box-straight-3-lc"))
    _, result = checked(SITE, thin)
    dead = found(result, "power.voltage-at-radio", "A1")
    assert dead.verdict is Verdict.FAILS
    assert dead.value is None
    assert "at most" in dead.note
    factor = found(result, "power.operating-point", "T3")
    assert factor.verdict is Verdict.FAILS
    assert factor.value is not None
    assert factor.value < 1
    assert all(f.verdict is not Verdict.PASSES for f in result.findings if f.code == "power.design-current")


def test_thicker_shorter_and_cooler_never_lower_a_voltage() -> None:
    """Limits that must hold: more copper, a shorter route, a cooler day each raise every voltage."""

    def volts(site: Site, line: Line) -> dict[str, float]:
        return {
            f.subject: f.value or 0.0 for f in checked(site, line)[1].findings if f.code == "power.voltage-at-radio"
        }

    base = volts(SITE, LINE)
    thick = volts(SITE, build(SITE, CATALOGUE, choice("trunk-6x16-24f", "box-straight-6-lc")))
    cool = SITE.model_copy(update={"climate": SITE.climate.model_copy(update={"hot_c": 16.0, "sun_w_per_m2": 0.0})})
    short = replace(LINE, items=tuple(replace(i, length_m=20.0) if i.id == "T1" else i for i in LINE.items))
    for other in (thick, volts(cool, LINE), volts(SITE, short)):
        assert all(other[k] > base[k] for k in base)


def test_doubled_pairs_halve_the_trunk_and_share_equally() -> None:
    line = build(SITE, CATALOGUE, choice("trunk-6x10-24f", "box-straight-3-lc", pairs_each=2))
    inputs, _ = checked(SITE, line)
    state = power.evaluate(inputs)
    pairs = [
        b
        for b in range(len(inputs.item))
        if inputs.item[b] == "T1" and inputs.kind[b] == "line" and inputs.pair[b] in (1, 2)
    ]
    # pairs nearer to the middle of the trunk are warmer
    assert state.flow.branch_a[0, pairs[0]] == pytest.approx(state.flow.branch_a[0, pairs[1]], rel=0.01)
    assert state.flow.branch_a[0, pairs].sum() == pytest.approx(state.flow.port_a[0, 0])


def test_a_radio_without_a_return_wire_fails_loudly() -> None:
    cut = replace(LINE, joints=tuple(j for j in LINE.joints if j.b != "A1.dc"))
    _, result = checked(SITE, cut)
    lost = found(result, "power.voltage-at-radio", "A1")
    assert lost.verdict is Verdict.FAILS
    assert "not connected" in lost.note
    other = found(result, "power.voltage-at-radio", "A2")
    assert other.value is not None


def test_an_open_pair_is_judged_only_where_it_must_be_survived() -> None:
    line = build(SITE, CATALOGUE, choice("trunk-6x16-24f", "box-bussed-6-lc", pair_breaker="breaker-32"))
    _, result = checked(SITE, line)
    assert not any(f.code == "power.pair-open-voltage" for f in result.findings)
    figures = {f.subject: f.value for f in result.figures if f.code == "power.pair-open-figure"}
    must = SITE.model_copy(update={"policy": SITE.policy.model_copy(update={"must_survive": ("pair-open",)})})
    _, judged = checked(must, line)
    for f in judged.findings:
        if f.code == "power.pair-open-voltage":
            assert f.value == pytest.approx(figures[f.subject])
            assert f.value < (found(result, "power.voltage-at-radio", f.subject).value or 99)
    straight = build(must, CATALOGUE, choice("trunk-6x16-24f", "box-straight-6-lc"))
    _, lost = checked(must, straight)
    assert all(
        f.value == 0 and f.verdict is Verdict.FAILS for f in lost.findings if f.code == "power.pair-open-voltage"
    )


def test_a_bussed_box_without_output_breakers_does_not_protect_its_jumpers() -> None:
    box = CATALOGUE.part("box-bussed-6-lc").model_copy(update={"output_breaker_a": None})
    line = build(SITE, CATALOGUE, choice("trunk-6x16-24f", "box-bussed-6-lc", pair_breaker="breaker-32"))
    line = replace(line, parts={**line.parts, box.id: box})
    _, result = checked(SITE, line)
    jumper = found(result, "power.breaker-protects-pair", "A1-H1")
    assert jumper.verdict is Verdict.FAILS
    assert jumper.value == pytest.approx(32 * len(line.of_kind("breaker")))


def test_the_verdict_turns_at_the_limit_and_the_site_may_tighten_it() -> None:
    _, result = checked(SITE, LINE)
    value = found(result, "power.voltage-at-radio", "A2").value
    assert value is not None
    for limit, verdict in ((value, Verdict.PASSES), (value + 1e-6, Verdict.FAILS)):
        typed = SITE.model_copy(update={"radios": tuple(r.model_copy(update={"minimum_v": limit}) if r.id == "A2" else r for r in SITE.radios)})  # fmt: skip
        assert found(checked(typed, LINE)[1], "power.voltage-at-radio", "A2").verdict is verdict


def test_inputs_change_their_digest_with_what_they_see_and_with_nothing_else() -> None:
    inputs, _ = checked(SITE, LINE)
    renamed = SITE.model_copy(update={"note": "other words", "name": "another name"})
    assert digest(checked(renamed, LINE)[0]) == digest(inputs)
    warmer = SITE.model_copy(update={"climate": SITE.climate.model_copy(update={"hot_c": 41.0})})
    assert digest(checked(warmer, LINE)[0]) != digest(inputs)
    longer = replace(
        LINE, items=tuple(replace(i, length_m=(i.length_m or 0) + 1) if i.id == "T1" else i for i in LINE.items)
    )
    assert digest(checked(SITE, longer)[0]) != digest(inputs)


def test_battery_minutes_are_the_integral_of_a_constant_current() -> None:
    """With nothing lost on the way the load draws P/E: t = C (E1 + E2)/2 / P, exactly, for a straight emf."""
    battery = Battery(capacity_ah=200.0, full_v=50.0, health_fraction=1.0, peukert=1.0)
    plant = SITE.cabinet.plant.model_copy(update={"battery": battery, "source_resistance_ohm": 0.0})
    site = SITE.model_copy(update={"cabinet": SITE.cabinet.model_copy(update={"plant": plant})})
    inputs, result = checked(site, build(site, CATALOGUE, choice("trunk-12x25-72f", "box-straight-12-lc")))
    minutes = next(f.value for f in result.figures if f.code == "power.battery-minutes")
    lossless = 200.0 * (50.0 + 43.2) / 2 / float(inputs.maximum_w.sum()) * 60
    assert lossless * 0.9 < minutes < lossless


def test_spare_pairs_are_counted() -> None:
    asked = SITE.model_copy(update={"policy": SITE.policy.model_copy(update={"spare_pairs_count": 3})})
    f = found(checked(asked, LINE)[1], "power.spare-pairs", "T3")
    assert f.value == 3  # six pairs, three radios
    assert f.verdict is Verdict.PASSES


def test_a_site_tightens_a_rating_and_cannot_loosen_it() -> None:
    """A rating is a safety limit: the tighter of the part's and the site's holds."""
    for value, holds in ((18.0, 18.0), (300.0, 40.0)):
        asked = SiteLimit(code="power.contact-current", value=value, source="agreed for this test")
        site = SITE.model_copy(update={"limits": (asked,)})
        f = found(checked(site, LINE)[1], "power.contact-current", "A1-H1")
        assert f.limit is not None
        assert f.limit.value == holds
