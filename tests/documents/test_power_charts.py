"""The pictures of the DC power: their numbers against direct solves and published formulas, gaps, and that they can be drawn."""

from __future__ import annotations

import json
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from upmast.catalogue.catalogue import standard
from upmast.catalogue.part import Breaker
from upmast.documents.chart import chart_svg
from upmast.documents.power_charts import (
    voltage_along_spec,
    voltage_over_emf_spec,
    voltage_over_length_spec,
)
from upmast.documents.power_curves import battery_spec, breaker_spec, life_cost_spec
from upmast.documents.power_maps import margin_map_spec, ramp, section_spec
from upmast.documents.power_pages import power_blocks, power_pictures
from upmast.documents.power_picture import Axis, dark, edge_of, groups_of, nice_step, rows_apart, seen_of, worst_radio
from upmast.documents.sheet import Document, Picture
from upmast.documents.to_pdf import pdf_bytes
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.power.seen import Seen
from upmast.power.state import Inputs, Rows, repeated, scenario_rows, settle
from upmast.power.trip import trip_band_s
from upmast.proof.prove import Proof, RoomProof, prove
from upmast.proof.scenarios import scenarios_of
from upmast.proof.supply import supply_of
from upmast.room import Result
from upmast.site.load import load as load_site
from upmast.site.site import Battery, Converter, Site

ROOT = Path(__file__).parent.parent.parent
CATALOGUE = standard()
SITE = load_site(ROOT / "demo" / "site" / "site.yaml", CATALOGUE)
RADIO = RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43")


@pytest.fixture(autouse=True)
def fake_rooms() -> None:
    """The rooms here are the real ones."""


def line_of(site: Site, trunk: str = "trunk-9x10-24f", box: str = "box-straight-9-lc") -> Line:
    return build(site, CATALOGUE, Choice("hybrid", (RADIO,) * len(site.radios), trunk, 1, box))


def changed(site: Site, **plant: object) -> Site:
    cabinet = site.cabinet.model_copy(update={"plant": site.cabinet.plant.model_copy(update=plant)})
    return site.model_copy(update={"cabinet": cabinet})


@pytest.fixture(scope="module")
def thin() -> Proof:
    """Pairs of 10 mm²: three radios drop out on battery."""
    return prove(SITE, line_of(SITE), rooms=("power",))


@pytest.fixture(scope="module")
def dead() -> Proof:
    """Pairs so thin that there is no operating point at the lowest voltage."""
    return prove(SITE, line_of(SITE, "hybrid-9x6-36f"), rooms=("power",))


@pytest.fixture(scope="module")
def alone() -> Proof:
    """One radio of 1100 W, by tables, without another load on the bars."""
    site = changed(SITE.model_copy(update={"radios": SITE.radios[3:4]}), base_load_w=0.0)
    site = site.model_copy(update={"policy": site.policy.model_copy(update={"trunk_heat": "table"})})
    line = line_of(site, "trunk-2x10-8f", "box-straight-2-lc")
    return prove(site, line, rooms=("power",))


def inputs_of(proof: Proof) -> Inputs:
    inputs = proof.rooms["power"].inputs
    assert isinstance(inputs, Inputs)
    return inputs


def known(proof: Proof) -> Seen:
    seen = seen_of(proof)
    assert seen is not None
    return seen


def layers(spec: dict[str, Any] | None) -> Iterator[dict[str, Any]]:
    assert spec is not None
    for view in spec.get("vconcat", [spec]):
        yield from view["layer"]


def rows(spec: dict[str, Any] | None, *fields: str) -> list[dict[str, Any]]:
    """The rows of all layers that have these fields."""
    return [row for one in layers(spec) for row in one["data"]["values"] if set(fields) <= set(row)]


def lines(spec: dict[str, Any] | None, *fields: str) -> list[list[dict[str, Any]]]:
    """The rows of each line layer that has these fields."""
    found = [one["data"]["values"] for one in layers(spec) if one["mark"]["type"] == "line" and one["data"]["values"]]
    return [values for values in found if set(fields) <= set(values[0])]


def words(spec: dict[str, Any] | None) -> set[str]:
    return {row["text"] for row in rows(spec, "text")}


def number_in(spec: dict[str, Any] | None, pattern: str) -> float:
    found = [m for text in words(spec) if (m := re.search(pattern, text))]
    assert len(found) == 1, (pattern, sorted(words(spec)))
    return float(found[0].group(1))


# --- 1 ----------------------------------------------------------------------------------------------------------------


def test_each_voltage_over_the_emf_is_a_load_flow_of_its_own(thin: Proof) -> None:
    """Array equals scalar: the points of the curves, one by one, by the whole settled state at the scenario's own emf."""
    seen, spec = known(thin), voltage_over_emf_spec(thin)
    state, low = seen.state, seen.low
    looked = 0
    for row in rows(spec, "who", "emf", "volts")[::37]:
        k = seen.i.radios.index(row["who"].split(",")[0])
        one = replace(repeated(state.rows, low, 1), emf_v=np.array([row["emf"]]))
        # the same wires, so no round of heating
        other = replace(seen.i, ohm_per_km=0 * seen.i.ohm_per_km, fixed_ohm=state.branch_ohm[low])
        found = settle(other, one).flow
        if found.exists[0] and row["volts"] > 25:  # nearer to the end a rounded emf tells in the voltage
            assert row["volts"] == pytest.approx(float(found.port_v[0, k]), abs=2e-3)
            looked += 1
    assert looked > 5


def test_the_curves_meet_the_proof_at_the_lowest_emf_and_the_first_drop(thin: Proof) -> None:
    seen, spec = known(thin), voltage_over_emf_spec(thin)
    e = seen.endurance
    assert e is not None
    assert e.first is not None
    first = seen.i.radios[int(e.first.radio)]
    at = number_in(spec, rf"^{first} drops out at ([\d.]+) V")
    assert at == pytest.approx(float(e.first.emf_v), abs=0.005)
    there = [r for r in rows(spec, "who", "emf") if abs(r["emf"] - float(e.first.emf_v)) < 1e-4 and first in r["who"]]
    assert there
    assert all(r["volts"] == pytest.approx(float(seen.i.cut_out_v[int(e.first.radio)]), abs=1e-3) for r in there)
    lowest = [r for r in rows(spec, "who", "emf") if r["emf"] == seen.i.end_v]
    for row in lowest:
        k = seen.i.radios.index(row["who"].split(",")[0])
        assert row["volts"] == pytest.approx(float(seen.flow.port_v[seen.low, k]), abs=1e-4)


def test_marks_stand_where_a_line_passes_minimum_and_cut_out(thin: Proof) -> None:
    seen, spec = known(thin), voltage_over_emf_spec(thin)
    marks = {one["mark"]["shape"]: one["data"]["values"] for one in layers(spec) if one["mark"].get("shape") and one["data"]["values"] != [{}]}  # fmt: skip
    for shape, levels in (("triangle-down", seen.i.minimum_v), ("diamond", seen.i.cut_out_v)):
        assert marks[shape]
        for mark in marks[shape]:
            k = seen.i.radios.index(mark["who"].split(",")[0])
            assert mark["volts"] == levels[k]
            one = replace(repeated(seen.state.rows, seen.low, 1), emf_v=np.array([mark["emf"]]))
            other = replace(seen.i, ohm_per_km=0 * seen.i.ohm_per_km, fixed_ohm=seen.state.branch_ohm[seen.low])
            assert settle(other, one).flow.port_v[0, k] == pytest.approx(levels[k], abs=0.01)


def test_operating_points_of_one_radio_end_where_the_most_power_is_transferred(alone: Proof) -> None:
    """Maximum power transfer, a theorem of the handbooks: a source E behind R gives at most E²/(4R), at E/2."""
    seen, spec = known(alone), voltage_over_emf_spec(alone)
    z = float(seen.seen_low.z_ohm[0, 0])
    emf = 2 * math.sqrt(z * float(seen.i.maximum_w[0]))
    assert number_in(spec, r"no operating point below ([\d.]+) V") == pytest.approx(emf, abs=0.006)
    least = min(rows(spec, "who", "emf"), key=lambda r: r["emf"])
    assert least["volts"] == pytest.approx(emf / 2, rel=0.02)


def test_without_an_operating_point_at_the_lowest_emf_the_curves_say_so(dead: Proof) -> None:
    spec = voltage_over_emf_spec(dead)
    assert spec is not None
    assert "no operating point at the lowest emf" in " ".join(spec["title"]["subtitle"])
    assert "scenario float-hot" in spec["title"]["subtitle"][0]
    assert number_in(spec, r"no operating point below ([\d.]+) V") > inputs_of(dead).end_v


# --- 2 ----------------------------------------------------------------------------------------------------------------


def test_a_voltage_over_the_length_is_a_line_of_that_length(thin: Proof) -> None:
    seen, spec = known(thin), voltage_over_length_spec(thin, CATALOGUE)
    i, k = seen.i, worst_radio(seen)
    found = lines(spec, "metres")
    assert len(found) == 4
    own = next(values for values in found if "as it is" in values[0]["who"])
    assert any(row["metres"] == pytest.approx(60.0) for row in own)
    # nearer to the end of the curve 0.01 K of heat or a rounded length tell in the millivolts
    for row in [row for row in own if row["volts"] > 27][::12]:
        length = np.where(np.array(i.item) == "T1", i.length_m * row["metres"] / 60.0, i.length_m)
        other = replace(i, length_m=length)
        state = settle(other, repeated(scenario_rows(other), seen.low, 1))
        assert row["volts"] == pytest.approx(float(state.flow.port_v[0, k]), abs=2e-3)
    at_site = next(row for row in own if row["metres"] == pytest.approx(60.0))
    assert at_site["volts"] == pytest.approx(float(seen.flow.port_v[seen.low, k]), abs=1e-3)


def test_more_length_never_raises_and_more_copper_never_lowers_the_voltage(thin: Proof) -> None:
    found = lines(voltage_over_length_spec(thin, CATALOGUE), "metres")
    for values in found:
        volts = [row["volts"] for row in values]
        assert volts == sorted(volts, reverse=True)
    for thinner, thicker in pairwise(found):
        x = np.linspace(1, thinner[-1]["metres"], 20)
        low, high = (np.interp(x, [r["metres"] for r in v], [r["volts"] for r in v]) for v in (thinner, thicker))
        assert np.all(low < high)


def test_the_longest_length_has_the_minimum_and_the_end_has_nothing_beyond(thin: Proof) -> None:
    seen, spec = known(thin), voltage_over_length_spec(thin, CATALOGUE)
    i, k = seen.i, worst_radio(seen)
    own = next(values for values in lines(spec, "metres") if "as it is" in values[0]["who"])
    mark = next(row for row in rows(spec, "metres", "text") if "as it is" in row["who"])
    end = own[-1]["metres"]

    def at(metres: float) -> Any:
        lengths = np.where(np.array(i.item) == "T1", i.length_m * metres / 60.0, i.length_m)[None]
        return settle(i, repeated(scenario_rows(i), seen.low, 1), lengths_m=lengths).flow

    assert at(mark["metres"]).port_v[0, k] == pytest.approx(float(i.minimum_v[k]), abs=0.01)
    assert mark["text"] == f"{mark['metres']:.0f} m"
    assert at(end).exists[0]
    assert not at(1.01 * end).exists[0]


def test_no_curve_over_the_length_without_a_cable_that_has_one(thin: Proof) -> None:
    bare = replace(thin.line, items=tuple(replace(i, length_m=None) if i.id == "T1" else i for i in thin.line.items))
    assert voltage_over_length_spec(replace(thin, line=bare), CATALOGUE, known(thin)) is None


# --- 3 ----------------------------------------------------------------------------------------------------------------


def test_the_way_adds_up_to_the_voltage_of_the_radio(thin: Proof) -> None:
    """Kirchhoff's second law: from the emf over both wires to the radio."""
    seen, spec = known(thin), voltage_along_spec(thin)
    k = worst_radio(seen)
    assert spec is not None
    line, back = lines(spec, "at", "volts")
    assert line[0]["volts"] == pytest.approx(float(seen.i.emf_v[seen.low]))
    assert back[0]["volts"] == 0
    assert line[-1]["volts"] - back[-1]["volts"] == pytest.approx(float(seen.flow.port_v[seen.low, k]), abs=1e-5)
    falls, rises = [r["volts"] for r in line], [r["volts"] for r in back]
    assert falls == sorted(falls, reverse=True)
    assert rises == sorted(rises)
    assert {"PLANT", "T1", "60.0 m", f"{seen.i.radios[k]}-CB"} <= words(spec)
    assert f"= {float(seen.flow.port_v[seen.low, k]):.2f} V" in spec["title"]["subtitle"][1]


def test_a_converter_starts_the_way_and_stops_the_drops() -> None:
    site = changed(SITE, converter=Converter(set_v=57.0, maximum_v=58.0, efficiency_fraction=0.96))
    proof = prove(site, line_of(site), rooms=("power",))
    seen = known(proof)
    line, _ = lines(voltage_along_spec(proof), "at", "volts")
    assert line[0]["volts"] == pytest.approx(float(seen.flow.start_v[seen.low]))
    assert line[0]["volts"] == pytest.approx(57.0)
    spec = battery_spec(proof)
    assert all(row["lasts"] for row in rows(spec, "radio"))
    assert len(lines(spec, "minutes")) == 2  # emf and bars
    assert not any("drops out" in text for text in words(voltage_over_emf_spec(proof)))


# --- 4 ----------------------------------------------------------------------------------------------------------------


def test_each_cell_of_the_map_is_settled(thin: Proof) -> None:
    seen, spec = known(thin), margin_map_spec(thin)
    i = seen.i
    cells = rows(spec, "margin")
    least = float((seen.flow.port_v[seen.low] - i.minimum_v).min())
    own = [c for c in cells if c["air"] == 38.0 and c["emf"] == i.end_v]
    assert own
    assert own[0]["margin"] == pytest.approx(least, abs=1e-3)
    for cell in cells[::29]:
        one = Rows(np.array([cell["emf"]]), np.array([cell["air"]]), np.array([1000.0]), np.ones(1))
        found = settle(i, one).flow
        assert found.exists[0]
        assert cell["margin"] == pytest.approx(float((found.port_v[0] - i.minimum_v).min()), abs=5e-3)
        assert cell["text"] == f"{cell['margin']:+.1f}"


def test_margins_rise_with_the_emf_and_fall_with_the_air(thin: Proof) -> None:
    cells = {(c["air"], c["emf"]): c["margin"] for c in rows(margin_map_spec(thin), "margin")}
    airs, emfs = (sorted({key[n] for key in cells}) for n in (0, 1))
    grid = np.array([[cells[air, emf] for air in airs] for emf in emfs], float)
    assert np.all(np.diff(grid, axis=0) > 0)
    assert np.all(np.diff(grid, axis=1) < 0)


def test_on_the_line_of_the_map_there_is_no_margin(thin: Proof) -> None:
    seen, spec = known(thin), margin_map_spec(thin)
    (edge,) = lines(spec, "air", "emf")
    assert len(edge) == 9
    for row in edge[::4]:
        one = Rows(np.array([row["emf"]]), np.array([row["air"]]), np.array([1000.0]), np.ones(1))
        margin = settle(seen.i, one).flow.port_v[0] - seen.i.minimum_v
        assert float(margin.min()) == pytest.approx(0.0, abs=0.01)


def test_cells_without_operating_point_say_none(dead: Proof) -> None:
    cells = [c for c in rows(margin_map_spec(dead), "margin") if c["margin"] is None]
    assert cells
    assert {c["text"] for c in cells} == {"none"}


# --- 5 ----------------------------------------------------------------------------------------------------------------


def test_the_section_is_true_to_scale_and_has_the_temperatures_of_the_state(thin: Proof) -> None:
    seen, spec = known(thin), section_spec(thin)
    (trunk,) = seen.i.trunks
    one = {row["name"]: row for row in rows(spec, "celsius", "name")}
    assert len(one) == 18
    for b, x, y in zip(trunk.branches, trunk.heat.section.x_m, trunk.heat.section.y_m, strict=True):
        row = one[f"{seen.i.pair[b]}{'L' if seen.i.kind[b] == 'line' else 'R'}"]
        assert row["celsius"] == pytest.approx(float(seen.state.temperature_c[seen.low, b]), abs=1e-3)
        assert (row["x"], row["y"]) == (pytest.approx(1000 * x, abs=1e-3), pytest.approx(1000 * y, abs=1e-3))
        assert row["text"] == f"{row['celsius']:.0f}"
    sizes = [one["mark"]["size"] for one in layers(spec) if one["mark"]["type"] == "point"]
    assert sizes[2] / sizes[0] == pytest.approx((2 * trunk.heat.section.conductor_m / trunk.heat.outer_m) ** 2, rel=1e-3)  # fmt: skip
    # a round symbol of size s is sqrt(s) wide: the disc fills its share of the view
    assert spec is not None
    assert math.sqrt(sizes[0]) == pytest.approx(spec["width"] / 1.02, rel=1e-3)


def test_no_section_by_tables_or_without_operating_point(alone: Proof, dead: Proof) -> None:
    assert inputs_of(alone).trunks == ()
    assert section_spec(alone) is None
    assert section_spec(dead) is None


def test_hot_is_darker() -> None:
    def light(colour: str) -> int:
        return sum(int(colour[n : n + 2], 16) for n in (1, 3, 5))

    shades = [light(ramp(x)) for x in np.linspace(0, 1, 11)]
    assert shades == sorted(shades, reverse=True)
    assert not dark(ramp(0.0))
    assert dark(ramp(1.0))
    assert ramp(-1.0) == ramp(0.0)


# --- 6 ----------------------------------------------------------------------------------------------------------------


def test_the_band_is_the_trip_curve_with_the_currents_of_the_proof(thin: Proof) -> None:
    seen, spec = known(thin), breaker_spec(thin)
    guard = next(g for g in seen.i.breakers if g.item == "C2-CB")
    assert guard.curve is not None
    assert spec is not None
    assert spec["title"]["text"] == "When C2-CB trips"
    for row in rows(spec, "short", "long")[::9]:
        short, long = trip_band_s(guard.curve, row["amps"], guard.rated_a)
        assert row["short"] == pytest.approx(float(short), rel=1e-3)
        assert row["long"] == pytest.approx(min(float(long), 1e4), rel=1e-3)
    b = guard.protects[0][0]
    assert number_in(spec, r"far end (\d+) A") == pytest.approx(float(seen.far_fault_a[b]), abs=0.5)
    assert number_in(spec, r"near end (\d+) A") == pytest.approx(float(seen.near_fault_a[b]), abs=0.5)
    assert number_in(spec, r"^Ib ([\d.]+) A") == pytest.approx(seen.largest(guard.branch)[0], abs=0.005)
    assert number_in(spec, r"^In ([\d.]+) A") == 40
    assert number_in(spec, r"^I2 ([\d.]+) A") == 1.45 * 40


def test_the_wire_withstands_by_the_published_factor(thin: Proof) -> None:
    """IEC 60364-5-54, annex A: k = 143 for copper in XLPE (90 to 250 °C), t = (k S / I)²; 10 mm² for 1 s: 1430 A."""
    spec = breaker_spec(thin)
    held = rows(spec, "amps", "s")
    assert len(held) > 20
    assert all(row["amps"] ** 2 * row["s"] == pytest.approx(1430.0**2, rel=0.002) for row in held)
    assert "k²S²/I² of T1, 10 mm², k = 143" in words(spec)


def test_a_breaker_by_name_and_none_without_a_curve(thin: Proof) -> None:
    spec = breaker_spec(thin, "A1-CB")
    assert spec is not None
    assert spec["title"]["text"] == "When A1-CB trips"
    assert breaker_spec(thin, "NOT-THERE") is None
    old = {id: p.model_copy(update={"trip_points": ()}) if isinstance(p, Breaker) else p for id, p in thin.line.parts.items()}  # fmt: skip
    assert breaker_spec(prove(SITE, replace(thin.line, parts=old), rooms=("power",))) is None


# --- 7 ----------------------------------------------------------------------------------------------------------------


def test_the_battery_shows_when_each_radio_drops(thin: Proof) -> None:
    seen, spec = known(thin), battery_spec(thin)
    run = seen.endurance.run if seen.endurance is not None else None
    assert run is not None
    assert run.event_minutes.size == 3
    bars = {row["radio"]: row for row in rows(spec, "radio")}
    for k, radio in enumerate(seen.i.radios):
        assert bars[radio]["minutes"] == pytest.approx(float(run.minutes[k]), abs=1e-4)
        assert bars[radio]["lasts"] is bool(run.to_the_end[k])
    emf, _, *radios = lines(spec, "minutes")
    assert emf[0] == {"minutes": 0.0, "volts": 50.4}
    assert emf[-1]["volts"] == pytest.approx(44.4, abs=1e-4)
    drops = next(one["data"]["values"] for one in layers(spec) if one["mark"].get("shape") == "diamond" and one["data"]["values"])  # fmt: skip
    assert [row["minutes"] for row in drops] == pytest.approx(sorted(run.event_minutes), abs=1e-4)
    assert {row["volts"] for row in drops} == {36.0}  # their cut-out
    assert len(radios) >= 3
    first = number_in(spec, r"^C2 drops out at (\d+) min")
    assert first == pytest.approx(float(run.minutes[seen.i.radios.index("C2")]), abs=0.5)


def test_many_points_are_thinned_and_events_kept() -> None:
    site = changed(SITE, battery=Battery(kind="lead-acid", capacity_ah=300))
    proof = prove(site, line_of(site), rooms=("power",))
    spec = battery_spec(proof)
    assert spec is not None
    assert "from memory" in " ".join(spec["title"]["subtitle"])
    assert all(len(values) < 300 for values in lines(spec, "minutes"))
    assert any("drop" in text for text in words(spec))


def test_no_battery_no_picture(dead: Proof) -> None:
    site = changed(SITE, battery=None)
    assert battery_spec(prove(site, line_of(site), rooms=("power",))) is None
    assert battery_spec(dead) is None
    assert voltage_along_spec(dead) is None


# --- 8 ----------------------------------------------------------------------------------------------------------------


def test_costs_add_up_and_the_cheapest_is_marked(thin: Proof) -> None:
    supply = supply_of(thin, CATALOGUE)
    spec = life_cost_spec(thin, supply)
    bars = rows(spec, "what")
    for n, size in enumerate(supply.sizes):
        mine = {row["what"]: row["high"] - row["low"] for row in bars if row["mid"] == n + 0.5}
        assert mine["bought"] == pytest.approx(size.cost)
        assert mine["bought"] + mine["losses"] == pytest.approx(size.life_cost)
    marks = {one["mark"]["color"]: one["data"]["values"][0] for one in layers(spec) if one["mark"].get("shape") == "diamond" and one["data"]["values"][0]}  # fmt: skip
    costs = [float(size.life_cost or 0) for size in supply.sizes]
    assert marks["white"]["high"] == pytest.approx(min(costs))
    kept = [c for c, size in zip(costs, supply.sizes, strict=True) if (size.lowest_margin_v or -1) >= 0]
    assert marks["#16202b"]["high"] == pytest.approx(min(kept))
    assert min(kept) > min(costs)  # here the cheapest of all does not keep the minimum
    assert "no operating point" in words(spec)


def test_no_costs_without_prices(thin: Proof) -> None:
    supply = supply_of(thin)
    assert sum(size.cost is not None for size in supply.sizes) == 1
    assert life_cost_spec(thin, supply) is None


# --- all of them ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drawn(thin: Proof) -> dict[str, tuple[dict[str, Any], str]]:
    return {one.name: (dict(one.spec), chart_svg(one.spec)) for one in power_pictures(thin, None, CATALOGUE)}


def test_all_eight_are_drawn_and_fit_a_page(drawn: dict[str, tuple[dict[str, Any], str]]) -> None:
    assert list(drawn) == ["emf", "length", "way", "map", "section", "breaker", "battery", "life-cost"]
    for name, (_, svg) in drawn.items():
        root = ET.fromstring(svg)
        assert 400 < float(root.attrib["width"]) <= 520, name
        assert float(root.attrib["height"]) <= 560, name


def test_every_axis_has_a_unit_and_every_title_a_scenario(drawn: dict[str, tuple[dict[str, Any], str]]) -> None:
    for name, (spec, _) in drawn.items():
        titles = {c["title"] for one in layers(spec) for key in ("x", "y") if (c := one["encoding"].get(key)) and c.get("title")}  # fmt: skip
        assert titles, name
        assert all(re.search(r", (V|m|s|A|°C|min|cost units)$|mm from the axis|^radio on$", title) for title in titles)
        small = " ".join(spec["title"]["subtitle"]) + " ".join(words(spec))
        assert any(s.id in small for s in scenarios_of(SITE)), name


def test_pictures_are_bounded_plain_data(drawn: dict[str, tuple[dict[str, Any], str]]) -> None:
    for name, (spec, _) in drawn.items():
        text = json.dumps(spec, allow_nan=False)
        assert len(text) < 150_000, name
        assert max(len(one["data"]["values"]) for one in layers(spec)) <= 400
        assert "expr" not in text
        assert "signal" not in text
        assert '"url"' not in text


def test_free_text_of_the_site_stands_in_no_picture(thin: Proof) -> None:
    """Labels are ids, which have letters, digits and hyphens only."""
    evil = '"><script>alert(1)</script>{{x}}'
    site = thin.site.model_copy(update={"name": evil, "note": evil, "author": evil})
    parts = {id: p.model_copy(update={"title": evil}) for id, p in thin.line.parts.items()}
    proof = replace(thin, site=site, line=replace(thin.line, parts=parts))
    for one in power_pictures(proof, None, CATALOGUE):
        assert "script" not in json.dumps(one.spec)
        assert "{{" not in json.dumps(one.spec)


def test_a_picture_is_told_by_dash_or_shape_too(drawn: dict[str, tuple[dict[str, Any], str]]) -> None:
    """No two lines of a picture differ by their colour alone."""
    for name in ("emf", "length", "battery"):
        spec, _ = drawn[name]
        keys = [one["mark"] for one in layers(spec) if one["mark"]["type"] == "rule" and one["data"]["values"] == [{}]]
        looks = [tuple(mark["strokeDash"]) for mark in keys if mark["color"] != "#8a94a0"]
        assert len(looks) == len(set(looks)) > 2


def test_documents_take_them(thin: Proof) -> None:
    blocks = tuple(power_blocks(thin, None, CATALOGUE))
    assert len(blocks) == 8
    assert all(isinstance(b, Picture) and len(b.alt) > 40 and b.caption for b in blocks)
    document = Document("Pictures", "of a test", "T", "not for issue", blocks)
    assert pdf_bytes(document, datetime(2026, 1, 1, tzinfo=UTC)).startswith(b"%PDF")


def test_a_proof_without_the_room_has_no_pictures(thin: Proof) -> None:
    assert list(power_pictures(replace(thin, rooms={}), None, CATALOGUE)) == []
    empty = replace(thin, rooms={"power": RoomProof("power", "k", None, Result((), ()))})
    for spec in (voltage_over_emf_spec, voltage_over_length_spec, voltage_along_spec, margin_map_spec, section_spec, breaker_spec, battery_spec):  # fmt: skip
        assert spec(empty) is None


# --- what they share --------------------------------------------------------------------------------------------------


def test_an_edge_is_found() -> None:
    assert edge_of(lambda x: x > 3.21, 50.0, 0.0) == pytest.approx(3.21, abs=50 / 16**4)
    assert edge_of(lambda x: np.ones(x.size, bool), 50.0, 0.0) == 0.0


def test_radios_alike_are_one_line_and_others_are_counted() -> None:
    inputs = known(prove(SITE, line_of(SITE), rooms=("power",))).i
    m = len(inputs.radios)
    volts = np.tile(np.linspace(40.0, 50.0, 5)[:, None], (1, m))
    groups, left_out = groups_of(inputs, volts, 0)
    assert {g.radios for g in groups} == {(0, 1, 2, 3, 4, 5), (6, 7, 8)}
    assert [g.passes for g in groups] == [False, True]  # 40 V against 40.8 V and 38.7 V
    assert left_out == 0
    apart = volts + np.arange(m)
    groups, left_out = groups_of(inputs, apart, 0)
    assert (len(groups), left_out) == (6, m - 6)


def test_axes_and_rows_of_words() -> None:
    assert [nice_step(x) for x in (0.11, 0.2, 3.0, 7.0)] == pytest.approx([0.2, 0.2, 5.0, 10.0])
    axis = Axis("x", "A", 1.0, 1000.0, log=True)
    assert axis.place(10.0) == pytest.approx(1 / 3)
    assert axis.steps() == [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000]
    assert Axis("y", "s", 1e-3, 1e4, log=True, most=100.0).steps() == [0.001, 0.01, 0.1, 1, 10, 100]
    assert rows_apart([0.0, 1.0, 2.0, 50.0], Axis("x", "m", 0.0, 100.0), 36) == [0, 1, 2, 0]
