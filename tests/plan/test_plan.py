"""The plan at its small and its large end, where nothing fits, and what it says about what it left out."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from types import ModuleType

import pytest

from upmast.catalogue.catalogue import Catalogue, standard
from upmast.finding import Verdict
from upmast.line.build import build
from upmast.line.line import Line
from upmast.plan.plan import Plan, advice, cost_of_line, plan
from upmast.proof.prove import prove
from upmast.site.site import MeasuredLoop, Site


def _load(name: str, path: Path) -> ModuleType:
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, path)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


small = _load("upmast_tests_plan_small", Path(__file__).parent / "small.py")
make = _load("upmast_tests_sites_make", Path(__file__).parent.parent / "sites" / "make.py")


@lru_cache(maxsize=1)
def known() -> Catalogue:
    return standard()


def one_radio(policy: str = "") -> Site:
    return small.site([small.panel("A1", 1100, 10)], policy, 8.0)


def twelve(policy: str = "", route_m: float = 36.0, watts: float = 1200, plant: str = "") -> Site:
    """Three sectors of four radios of 1.2 kW: one, two, two and four links, with a standby pair for all but the last."""
    rows = [
        small.panel(f"A{n + 1}", watts, route_m + 2 + n // 3, (1, 2, 2, 4)[n // 3], int(n < 9), "radio-n78-panel-4o")
        for n in range(12)
    ]
    asked = small.site(rows, policy, route_m)
    cabinet = asked.cabinet.model_copy(
        update={
            "plant": asked.cabinet.plant.model_copy(
                update={"source_resistance_ohm": 0.002, "breaker_positions_count": 36}
            )
        }
    )
    return asked.model_copy(update={"cabinet": cabinet})


@lru_cache(maxsize=1)
def three() -> tuple[Site, Plan]:
    asked = make.site(make.text("three_radios"))
    return asked, plan(asked, known())


@lru_cache(maxsize=1)
def large() -> tuple[Site, Plan]:
    asked = twelve("growth_strands_count: 4")
    return asked, plan(asked, known())


def passes(asked: Site, line: Line) -> bool:
    return all(f.verdict is not Verdict.FAILS for f in prove(asked, line).at())


def test_one_radio_on_a_short_pole_weighs_separate_cables_against_a_trunk() -> None:
    made = plan(one_radio(), known())
    states = {g.name: g.state for g in made.groups}
    assert states["separate cables"] in ("chosen", "feasible")
    assert any(name != "separate cables" and state in ("chosen", "feasible") for name, state in states.items())
    assert made.best is not None
    assert passes(one_radio(), made.best.line)
    assert made.best.choice.form == "separate"  # no box to buy
    hybrid = plan(one_radio("trunks: [hybrid]"), known())
    assert hybrid.best is not None
    assert hybrid.value > made.value


def test_rent_for_every_cable_makes_the_trunk_win() -> None:
    rows = [small.panel(f"A{n}", 500, 12) for n in range(1, 3)]
    cheap, dear = (plan(small.site(rows, f"rent_cost_per_year: {rent}", 10.0), known()) for rent in (0, 2000))
    assert dear.best is not None
    assert cheap.best is not None
    assert dear.best.choice.form == "hybrid"
    assert dear.best.cost.cables_on_mast < 4


def test_twelve_radios_of_many_links() -> None:
    asked, made = large()
    assert made.best is not None
    line = made.best.line
    assert passes(asked, line)
    assert made.exact
    service = [link for link in line.links if link.state == "service"]
    assert len(service) == 3 * (1 + 2 + 2 + 4)
    standby = [link for link in line.links if link.state == "standby"]
    assert {link.radio for link in standby} == {f"A{n}" for n in range(1, 10)}
    assert sum(link.state == "growth" for link in line.links) >= 2  # four strands
    assert made.value == pytest.approx(cost_of_line(asked, line, prove(asked, line)).life_cost)


def test_the_chosen_line_passes_its_proof_and_says_why() -> None:
    asked, made = three()
    assert made.best is not None
    proof = prove(asked, made.best.line)
    assert proof.verdict() is not Verdict.FAILS
    assert made.value == pytest.approx(cost_of_line(asked, made.best.line, proof).life_cost)
    kinds = ("trunk", "box", "breaker", "hybrid-jumper", "dc-jumper", "fibre-jumper", "rf-jumper")
    silent = [i.id for i in made.best.line.items if i.kind in kinds and not i.reason]
    assert not silent
    trunk = made.best.line.by_id["T1"]
    assert "lowest life cost" in trunk.reason
    assert "fails: power.voltage-at-radio@" in trunk.reason  # the thinner one, and by what it fails


def test_the_ranking_gives_every_kind_its_state() -> None:
    _, made = three()
    assert [g.state for g in made.groups].count("chosen") == 1
    assert made.groups[0].state == "chosen"
    assert sum(g.systems for g in made.groups) == made.systems
    for g in made.groups:
        if g.state in ("feasible", "bound"):
            assert g.dearer is not None
            assert g.dearer >= -1e-6
        if g.state == "fails":
            assert g.code
            assert g.words
            assert g.normalised is None or g.normalised < 0


def test_two_runs_are_equal() -> None:
    asked, first = three()
    second = plan(asked, standard())
    assert second.best is not None
    assert first.best is not None
    assert second.best.choice == first.best.choice
    assert second.best.line == first.best.line
    assert (second.groups, second.value, second.proofs, second.left_out) == (
        first.groups,
        first.value,
        first.proofs,
        first.left_out,
    )


def test_options_left_out_are_counted_with_their_reason() -> None:
    _, made = large()
    assert made.left_out
    assert all(count > 0 for count in made.left_out.values())
    assert any("too few outputs, strands" in why for why in made.left_out)
    assert any(why.startswith("separate cables: none fits") for why in made.left_out)  # links and a standby pair


def test_loops_measured_on_the_line_that_stands_are_not_taken_for_those_of_another() -> None:
    asked = one_radio("trunks: [hybrid]")
    loop = MeasuredLoop(item="T1", pair=7, loop_ohm=0.5, at_c=20.0, source="invented for this test")
    made = plan(asked.model_copy(update={"measured_loops": (loop,)}), known())
    bare = plan(asked, known())
    assert made.best is not None
    assert bare.best is not None
    assert made.best.choice == bare.best.choice
    assert made.left_out == {**bare.left_out, "measured loops, which are of the line that stands": 1}


@pytest.mark.parametrize(("watts", "route"), [(2500, 150.0), (1200, 110.0)])
def test_nothing_fits(watts: float, route: float) -> None:
    asked = twelve(route_m=route, watts=watts)
    made = plan(asked, known())
    assert made.best is None
    assert made.value is None
    assert made.nearest is not None
    told = advice(made.nearest)
    assert told
    assert all(f.verdict is Verdict.FAILS for f in told)
    assert any(f.code == "power.voltage-at-radio" and "pairs" in f.remedy for f in told)
    assert {g.state for g in made.groups} == {"fails"}
    assert all(g.words for g in made.groups)


def test_where_rf_paths_fail_nothing_else_is_searched() -> None:
    text = make.text("three_radios")
    text += 'limits: [{code: rf.return-loss-at-radio, value: 35, authority: operator, source: "a plan, invented"}]\n'
    made = plan(make.site(text), known())
    assert made.best is None
    assert made.nearest is not None
    assert {f.code for f in advice(made.nearest)} == {"rf.return-loss-at-radio"}
    assert made.proofs < 60


def test_of_lines_of_equal_mass_the_breakers_are_the_smallest_that_pass() -> None:
    asked = small.site(
        [small.panel("A1", 700, 12), small.panel("A2", 300, 12)], "objective: mass, boxes: [straight]", 10.0
    )
    made = plan(asked, known())
    assert made.best is not None
    assert made.exact
    rated = [known().part(radio.breaker).rated_a for radio in made.best.choice.radios]
    drawn = [f.value for f in made.best.proof.findings if f.code == "power.design-current"]
    # the first has the smallest that bears its current; the second one larger, since its start-up would trip that
    assert rated == [20.0, 16.0]
    smaller = sorted(b.rated_a for b in known().of_kind("breaker"))
    assert min(r for r in smaller if r >= drawn[0]) == 20.0
    assert min(r for r in smaller if r >= drawn[1]) == 10.0
    for row, too_small in ((0, "breaker-16"), (1, "breaker-10")):
        radios = tuple(
            replace(radio, breaker=too_small) if n == row else radio for n, radio in enumerate(made.best.choice.radios)
        )
        line = build(asked, known(), replace(made.best.choice, radios=radios))
        failed = {f.code for f in prove(asked, line).at() if f.verdict is Verdict.FAILS}
        assert failed == {"power.design-current" if row == 0 else "power.inrush"}


def test_a_rating_that_the_site_tightens_is_kept() -> None:
    limit = 'limits: [{code: power.breaker-protects-pair, value: 21, source: "a rule of the owner, invented"}]'
    rows = [small.panel("A1", 700, 12)]
    free, held = plan(small.site(rows, "objective: mass", 10.0), known()), plan(small.site(rows, "objective: mass", 10.0, limit), known())  # fmt: skip
    assert free.best is not None
    assert held.best is not None
    for radio in held.best.choice.radios:
        assert not radio.breaker or known().part(radio.breaker).rated_a <= 21
    assert all(f.verdict is not Verdict.FAILS for f in held.best.proof.at())


@pytest.mark.parametrize("objective", ["capital", "mass", "lead-time"])
def test_every_objective_is_searched_to_its_end(objective: str) -> None:
    asked, life = three()
    made = plan(asked.model_copy(update={"policy": asked.policy.model_copy(update={"objective": objective})}), known())
    assert made.best is not None
    assert made.exact
    assert life.best is not None
    assert made.value <= life.best.cost.of(objective) + 1e-9


def test_no_part_reaches() -> None:
    made = plan(small.site([small.panel("A1", 500, 402)], "", 400.0), known())
    assert made.best is None
    assert made.left_out["trunks that can't be had so long"] > 0


def test_spare_pairs_and_growth_strands_are_kept() -> None:
    rows = [small.panel(f"A{n}", 500, 22) for n in range(1, 4)]
    bare = plan(small.site(rows, "trunks: [hybrid], most_trunks_count: 1", 20.0), known())
    rich = plan(
        small.site(rows, "trunks: [hybrid], most_trunks_count: 1, spare_pairs_count: 2, growth_strands_count: 8", 20.0),
        known(),
    )
    assert bare.best is not None
    assert rich.best is not None
    for made, strands in ((rich, 8),):
        line = made.best.line
        assert 2 * sum(link.state == "growth" for link in line.links) >= strands
    spare = next(f for f in rich.best.proof.findings if f.code == "power.spare-pairs")
    assert spare.verdict is Verdict.PASSES
    assert spare.value >= 2
    assert rich.value > bare.value


def test_one_open_pair_must_be_survived() -> None:
    rows = [small.panel(f"A{n}", 500, 22) for n in range(1, 4)]
    plain = plan(small.site(rows, "trunks: [hybrid], most_trunks_count: 1", 20.0), known())
    asked = small.site(rows, "trunks: [hybrid], most_trunks_count: 1, must_survive: [pair-open]", 20.0)
    made = plan(asked, known())
    assert made.best is not None
    box = made.best.line.parts[made.best.choice.box]
    assert made.best.choice.pairs_each == 2 or box.topology == "bussed"
    found = [f for f in prove(asked, made.best.line).findings if f.code == "power.pair-open-voltage"]
    assert len(found) == 3
    assert all(f.verdict is Verdict.PASSES for f in found)
    assert made.value >= plain.value
    single = [g for g in made.groups if "straight box" in g.name and "2 pairs" not in g.name]
    assert single
    assert all(g.state == "fails" for g in single)
    assert any(g.code == "power.pair-open-voltage" for g in single)


def test_policy_says_which_kinds_are_looked_at() -> None:
    rows = [small.panel(f"A{n}", 500, 22) for n in range(1, 3)]
    for policy, allowed in (("trunks: [separate]", "separate cables"), ("trunks: [hybrid], boxes: [bussed]", "bussed"), ("trunks: [hybrid], boxes: [straight]", "straight")):  # fmt: skip
        made = plan(small.site(rows, policy, 20.0), known())
        assert made.groups
        assert all(allowed in g.name for g in made.groups)
        assert made.best is not None
    made = plan(small.site(rows, "trunks: [hybrid], most_trunks_count: 1", 20.0), known())
    assert all(g.name.startswith("1 trunk") for g in made.groups)


def test_progress_is_told() -> None:
    seen: list[tuple[str, int, int]] = []
    plan(one_radio(), known(), lambda step, done, of: seen.append((step, done, of)))
    assert list(dict.fromkeys(s for s, _, _ in seen)) == ["options", "bounds", "proofs", "ranking"]
    assert all(0 <= done <= of for _, done, of in seen)
