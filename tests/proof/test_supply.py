"""
The DC supply told beside a proof: on the demonstration's site, once with pairs that are too thin and once with thick ones.

Against other ways to the same numbers: a root search over the general load flow, and an integration of the discharge.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from upmast.catalogue.catalogue import standard
from upmast.catalogue.part import Cable
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.power.network import Solution, solve
from upmast.power.resistance import conductor_areas_mm2
from upmast.power.state import Inputs, State, evaluate, network_of
from upmast.proof.prove import Proof, prove
from upmast.proof.supply import Supply, has_supply, supply_of
from upmast.proof.supply_words import first_words, price_words, supply_data
from upmast.site.site import Site

CATALOGUE = standard()


@dataclass(frozen=True)
class Case:
    proof: Proof
    inputs: Inputs
    state: State
    supply: Supply
    low: int

    def at(self, emf_v: float, on: np.ndarray) -> Solution:
        """The line as warm as at the lowest voltage, at some emf, with some radios on and the base load at the bars."""
        network = network_of(self.inputs, self.state.branch_ohm[self.low], np.asarray(emf_v), base=True)
        return solve(network, [*np.where(on, self.inputs.maximum_w, 0.0), self.inputs.base_w])


def case(site: Site, trunk: str) -> Case:
    """A pair of 60 m for each radio: the length of the stock, also where a cable is made to length."""
    radios = tuple(RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43") for _ in site.radios)
    line = build(site, CATALOGUE, Choice("hybrid", radios, trunk, 1, "box-straight-9-lc"))
    items = tuple(replace(i, length_m=60.0) if i.id == "T1" else i for i in line.items)
    proof = prove(site, replace(line, items=items), rooms=("power",))
    inputs = proof.rooms["power"].inputs
    assert isinstance(inputs, Inputs)
    return Case(proof, inputs, evaluate(inputs), supply_of(proof, CATALOGUE), int(np.argmin(inputs.emf_v)))


@pytest.fixture(scope="module")
def thin(demo_site: Site) -> Case:
    return case(demo_site, "trunk-9x10-24f")


@pytest.fixture(scope="module")
def thick(demo_site: Site) -> Case:
    return case(demo_site, "hybrid-9x25-24f")


def test_the_first_radio_drops_where_a_root_search_over_the_load_flow_finds_it(thin: Case) -> None:
    i, first = thin.inputs, thin.supply.first
    assert first is not None
    on = np.ones(len(i.radios), bool)

    def least_margin(emf: float) -> float:
        found = thin.at(emf, on)
        return float((found.port_v[:-1] - i.cut_out_v).min()) if found.exists else -10.0

    emf = brentq(least_margin, 44.4, 54.5, xtol=1e-10)
    there = thin.at(emf, on)
    assert first.emf_v == pytest.approx(emf, abs=1e-6)
    assert first.bus_v == pytest.approx(float(there.node_v[0] - there.node_v[1]), abs=1e-6)
    assert first.radio == i.radios[int(np.argmin(there.port_v[:-1] - i.cut_out_v))]
    assert first.terminal_v == pytest.approx(36.0, abs=1e-6)
    assert thin.supply.first_within
    assert thin.supply.order[0] == first


def test_minutes_are_those_of_an_integration_by_scipy(thin: Case) -> None:
    """`d(dod)/dt = (I/(C/10 h))^k / 10 h`, emf on the straight line from full to end, by solve_ivp with events."""
    i, battery = thin.inputs, thin.inputs.battery
    assert battery is not None
    assert battery.capacity_ah == 600 * 0.8

    def emf(dod: float) -> float:
        return battery.full_v + (battery.end_v - battery.full_v) * dod

    on = np.ones(len(i.radios), bool)
    t, dod, drops = 0.0, 0.0, {}
    while dod < 1 - 1e-9:

        def rate(_: float, y: np.ndarray) -> list[float]:
            current = float(thin.at(emf(float(y[0])), on).branch_a[0])
            return [(current / (battery.capacity_ah / 10)) ** battery.peukert / 10]

        def margin(_: float, y: np.ndarray) -> float:
            found = thin.at(emf(float(y[0])), on)
            return float((found.port_v[:-1] - i.cut_out_v)[on].min()) if found.exists else -10.0

        def full(_: float, y: np.ndarray) -> float:
            return float(y[0]) - 1.0

        margin.terminal = full.terminal = True  # type: ignore[attr-defined]
        run = solve_ivp(rate, (t, t + 20.0), [dod], events=(margin, full), rtol=1e-7, atol=1e-10)
        t, dod = float(run.t[-1]), float(run.y[0, -1])
        if run.t_events[0].size:
            gone = int(np.argmin(np.where(on, thin.at(emf(dod), on).port_v[:-1] - i.cut_out_v, np.inf)))
            drops[i.radios[gone]] = 60 * t
            on[gone] = False
    told = {r.radio: r.minutes for r in thin.supply.radios if not r.to_the_end}
    assert told.keys() == drops.keys()
    assert list(drops) == ["C2", "A2", "B2"]
    for radio, minutes in drops.items():
        assert told[radio] == pytest.approx(minutes, rel=1e-3)
    assert thin.supply.end == "empty"
    assert thin.supply.end_minutes == pytest.approx(60 * t, rel=1e-3)


def test_a_drop_before_the_end_makes_energy_unusable_and_none_without_one(thin: Case, thick: Case) -> None:
    assert thin.supply.unusable_kwh is not None
    assert thin.supply.unusable_kwh > 0
    assert thin.supply.unusable_fraction is not None
    assert 0 < thin.supply.unusable_fraction < 1
    assert thick.supply.unusable_kwh == pytest.approx(0.0, abs=1e-9)
    assert not thick.supply.first_within
    assert "the plant goes first" in first_words(thick.supply)
    assert all(r.to_the_end for r in thick.supply.radios)


def test_each_radio_has_the_volts_and_margins_of_the_proof(thin: Case) -> None:
    found = {f.subject: f for f in thin.proof.findings if f.code == "power.voltage-at-radio"}
    for r in thin.supply.radios:
        f = found[r.radio]
        assert f.value == pytest.approx(r.voltage_v, abs=1e-12)
        assert f.margin == pytest.approx(r.margin_v, abs=1e-12)
        assert r.voltage_v is not None
        assert r.to_cut_out_v == pytest.approx(r.voltage_v - r.cut_out_v)
        assert r.current_a == pytest.approx(r.maximum_w / r.voltage_v, rel=1e-9)


def test_the_sizes_are_the_neighbours_in_the_table_of_conductors(thin: Case) -> None:
    ladder = sorted(conductor_areas_mm2(5))
    at = ladder.index(10.0)
    assert [s.area_mm2 for s in thin.supply.sizes] == ladder[at - 1 : at + 3]
    assert [s.present for s in thin.supply.sizes] == [False, True, False, False]


def test_a_size_is_what_a_proof_of_the_line_with_it_says(thin: Case, demo_site: Site) -> None:
    up = next(s for s in thin.supply.sizes if s.area_mm2 == 16)
    own = next(s for s in thin.supply.sizes if s.present)
    other = case(demo_site, "hybrid-9x16-24f")
    part = CATALOGUE.part("hybrid-9x16-24f")
    assert isinstance(part, Cable)
    assert up.part == part.id
    assert up.lowest_margin_v == pytest.approx(min(r.margin_v or 0.0 for r in other.supply.radios), abs=1e-9)
    assert up.end_minutes == other.supply.end_minutes
    assert up.cost == pytest.approx(part.cost + part.cost_per_m * 60)
    assert up.dearer_cost == pytest.approx((up.cost or 0) - (own.cost or 0))
    assert up.gained_min == pytest.approx((up.first_minutes or 0) - (own.first_minutes or 0))
    figure = next(f for f in other.proof.figures if f.code == "power.energy")
    assert up.energy_kwh == pytest.approx(figure.value, rel=1e-9)


def test_ranges_of_the_cheapest_size_meet_end_to_end(thin: Case) -> None:
    ranges = [(s.cheapest_from_a, s.cheapest_to_a) for s in thin.supply.sizes if s.cheapest_from_a is not None]
    assert ranges[0][0] == 0
    assert ranges[-1][1] == math.inf
    assert all(a[1] == b[0] for a, b in pairwise(ranges))


def test_its_own_longest_run_is_where_the_radio_stands_at_its_minimum(thin: Case) -> None:
    """With the trunk of one radio's pair as long as told, by the same load flow, and the bars held as they are."""
    answer = next(a for a in thin.supply.pairs if a.radio == "C2")
    i, state = thin.inputs, thin.state
    assert answer.present_m == thin.proof.line.by_id["T1"].length_m
    assert answer.longest_m < answer.present_m  # it fails as it is
    k = i.radios.index("C2")
    drawn = float(state.flow.port_v[thin.low, k] * state.flow.port_a[thin.low, k])
    bars = float(state.flow.bars_v[thin.low])
    mine = [b for b in range(len(i.kind)) if abs(abs(float(state.flow.branch_a[thin.low, b])) - drawn / float(state.flow.port_v[thin.low, k])) < 1e-6]  # fmt: skip
    share = answer.longest_m / answer.present_m
    loop = sum(float(state.branch_ohm[thin.low, b]) * (share if i.item[b] == "T1" else 1.0) for b in mine)
    minimum = float(i.minimum_v[k])
    assert bars - drawn / minimum * loop == pytest.approx(minimum, abs=1e-3)


def test_json_says_what_the_object_says_and_is_plain(thin: Case) -> None:
    data = supply_data(thin.supply)
    again = json.loads(json.dumps(data, allow_nan=False))
    assert again["first_words"] == first_words(thin.supply)
    assert again["price_words"] == price_words(thin.supply)
    assert again["first"]["radio"] == "C2"
    assert [r["margin_v"] for r in again["radios"]] == [r.margin_v for r in thin.supply.radios]
    assert again["sizes"][-1]["cheapest_to_a"] is None  # from there on, without end


def test_without_a_battery_nothing_is_said_of_minutes(demo_site: Site) -> None:
    plant = demo_site.cabinet.plant.model_copy(update={"battery": None})
    bare = demo_site.model_copy(update={"cabinet": demo_site.cabinet.model_copy(update={"plant": plant})})
    found = case(bare, "trunk-9x10-24f").supply
    assert any("declares no battery" in note for note in found.notes)
    assert all(r.minutes is None for r in found.radios)
    assert found.end_minutes is None
    assert found.first is not None
    assert "min on battery" not in first_words(found)
    assert "V at the radio with the least margin" in price_words(found)


def test_without_an_operating_point_that_is_said_and_thicker_sizes_are_still_told(demo_site: Site) -> None:
    dead = case(demo_site, "hybrid-9x6-24f").supply
    assert all(r.voltage_v is None for r in dead.radios)
    assert "no operating point at the lowest voltage: no minutes" in dead.notes
    assert dead.first is None
    own = next(s for s in dead.sizes if s.present)
    assert own.lowest_margin_v is None
    assert any(s.lowest_margin_v is not None for s in dead.sizes)
    json.dumps(supply_data(dead), allow_nan=False)


def test_a_proof_of_other_rooms_has_no_supply(demo_site: Site, thin: Case) -> None:
    assert has_supply(thin.proof)
    assert not has_supply(prove(demo_site, thin.proof.line, rooms=("fibre",)))


def test_words_survive_hostile_names(thin: Case) -> None:
    """Ids can't hold such text; if they ever could, JSON and words still carry it as it is, as text."""
    name = '=cmd|"x"</script>'
    assert thin.supply.first is not None
    renamed = replace(thin.supply, first=replace(thin.supply.first, radio=name))
    assert json.loads(json.dumps(supply_data(renamed)))["first"]["radio"] == name
    assert first_words(renamed).startswith(name)
