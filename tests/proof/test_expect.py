"""Expectations of a small line: ids, values against hand calculation, limits, and where a test is made."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from upmast import yamlfile
from upmast.catalogue.catalogue import from_text
from upmast.finding import Expectation, Finding, Limit, Sense, Stage, Verdict
from upmast.limits import Limits
from upmast.line.line import Item, Joint, Line, Link, used_parts
from upmast.proof.expect import POINTS, expectations_of
from upmast.proof.limits import standing
from upmast.proof.prove import Proof, RoomProof
from upmast.proof.rf_path import path_designs
from upmast.proof.scenarios import scenarios_of
from upmast.room import Result
from upmast.site.site import Site

GIVEN = "lead_time_d: 5, source: invented"
BODY = "height_mm: 500, width_mm: 300, depth_mm: 150"
PARTS = f"""
parts:
  - {{id: jack, kind: connector, title: jack, family: rf, interface: x, gender: jack, return_loss_db: 26, return_loss_at_hz: 1.0e9,
     loss_db: 0.1, pim_dbc: -150, {GIVEN}}}
  - {{id: plug, kind: connector, title: plug, family: rf, interface: x, gender: plug, return_loss_db: 32, loss_db: 0.05, {GIVEN}}}
  - {{id: dc-plug, kind: connector, title: p, family: dc, interface: d, gender: plug, {GIVEN}}}
  - {{id: dc-jack, kind: connector, title: j, family: dc, interface: d, gender: jack, {GIVEN}}}
  - {{id: lc-plug, kind: connector, title: p, family: fibre, interface: lc, gender: plug, polish: upc, positions_count: 2,
     loss_db: 0.25, typical_loss_db: 0.12, {GIVEN}}}
  - {{id: lc-jack, kind: connector, title: j, family: fibre, interface: lc, gender: jack, polish: upc, positions_count: 2,
     loss_db: 0.30, typical_loss_db: 0.10, {GIVEN}}}
  - {{id: jumper, kind: rf-jumper, title: j, a_db_per_m: 0.1, velocity_fraction: 0.82, foot: plug, head: plug, pim_dbc: -155,
     cost_per_m: 1, mass_kg_per_m: 0.2, diameter_mm: 13, {GIVEN}}}
  - {{id: radio, kind: radio, title: r, maximum_w: 500, typical_w: 300, minimum_v: 40, cut_out_v: 38, restart_v: 43,
     dc_connector: dc-jack, fibre_connector: lc-jack, optical_ports_count: 1, rf_connector: jack, rf_ports_count: 1,
     bands: [B3, B8, n78], {BODY}, {GIVEN}}}
  - {{id: antenna, kind: antenna, title: a, ports: [{{name: Y1, low_hz: 1.695e9, high_hz: 2.69e9, vswr: 1.4}}], rf_connector: jack,
     {BODY}, {GIVEN}}}
  - {{id: trunk, kind: trunk, title: t, cost_per_m: 1, mass_kg_per_m: 1, pairs_count: 2, conductor_area_mm2: 10, strands_count: 4,
     dc_foot: dc-plug, dc_head: dc-plug, fibre_foot: lc-plug, fibre_head: lc-plug, attenuation_1310_db_per_km: 0.4,
     attenuation_1550_db_per_km: 0.3, diameter_mm: 25, {GIVEN}}}
  - {{id: optic, kind: optic, title: o, optic_class: 10GBASE-LR, tx_minimum_dbm: -8.2, tx_maximum_dbm: 0.5, rx_minimum_dbm: -14.4,
     rx_maximum_dbm: 0.5, connector: lc-jack, {GIVEN}}}
  - {{id: bond, kind: bond, title: b, use: case, conductor_area_mm2: 16, lead_length_m: 1, joint_ohm: 0.005, {GIVEN}}}
"""
SITE = """
version: 1
id: S1
cabinet: {plant: {float_v: 54.5, on_battery_v: 50, end_of_discharge_v: 44, source_resistance_ohm: 0.005}}
route: {legs: [{name: mast, kind: vertical, length_m: 30}]}
mast: {kind: lattice, height_m: 40}
sectors: [{id: A, azimuth_deg: 0}]
radios: [{id: A1, sector: A, part: radio, height_m: 30}]
"""


def small_line() -> Line:
    catalogue = from_text(yamlfile.parse(PARTS, "parts.yaml"))
    items = (
        Item("BB1", "baseband", "", equipment=(("s1", "optic"),)),
        Item("T1", "trunk", "trunk", 50.0, 0.5),
        Item("A1", "radio", "radio", equipment=(("opt1", "optic"),)),
        Item("A1-J1", "rf-jumper", "jumper", 4.0, 0.01),
        Item("A-ANT", "antenna", "antenna"),
        Item("A1-E1", "bond", "bond", on="A1", low_m=30.0, count=2),
    )
    joints = (
        Joint("A1.rf1", "A1-J1.foot"),
        Joint("A1-J1.head", "A-ANT.Y1"),
        Joint("BB1.s1", "T1.foot.f2"),
        Joint("T1.head.f2", "A1.opt1"),
        Joint("T1.head.dc1", "A1.dc"),
    )
    parts = {part.id: part for part in catalogue}
    used = used_parts(items[1:], parts) | used_parts((Item("X", "optic", "optic"),), parts)
    return Line("S1", items, joints, used, (Link("A1-L1", "BB1.s1", "A1.opt1", "service", "A1"),))


@pytest.fixture(scope="module")
def proof() -> Proof:
    site = Site.model_validate(yamlfile.parse(SITE, "site.yaml").data)
    return Proof(site, small_line(), scenarios_of(site), Limits(standing()), {})


@pytest.fixture(scope="module")
def made(proof: Proof) -> dict[str, Expectation]:
    every = expectations_of(proof)
    assert len({e.id for e in every}) == len(every)
    return {e.id: e for e in every}


def test_every_test_has_its_id(made: dict[str, Expectation]) -> None:
    strands = {f"T1-F0{n}.ol.{w}-{d}" for n in (3, 4) for w in (1310, 1550) for d in ("up", "down")}
    pairs = {f"T1-P0{n}.{kind}" for n in (1, 2) for kind in ("rloop.20", "ir.250")}
    rf = {"A1-J1.rl.load", "A1-J1.rl.antenna", "A1-J1.loss.short", "A1-J1.pim.im3"}
    strands |= {f"T1-F0{n}.ef.record" for n in (3, 4)}
    assert set(made) == strands | pairs | rf | {"A1-E1.bond.r", "A1-J1.torque.nm"}


def test_every_expectation_can_be_carried_out(made: dict[str, Expectation]) -> None:
    for e in made.values():
        assert e.stage is Stage.ACCEPTANCE
        assert e.set_up.endswith(".")
        assert e.where in ("at the foot", "at the top", "at both ends")
        if e.limit is None and e.quantity == "torque":  # of parts that tell none
            continue
        assert e.limit is not None
        assert e.limit.unit == e.unit
        assert len(e.low) == len(e.high) == max(1, len(e.axis))


def test_axis_runs_over_the_bands_that_the_antenna_port_covers(made: dict[str, Expectation]) -> None:
    """B3: 1710 to 1785 and 1805 to 1880 MHz (3GPP TS 36.101); B8 and n78 lie outside the port."""
    axis = made["A1-J1.rl.load"].axis
    assert len(axis) == 2 * POINTS
    assert (axis[0], axis[POINTS - 1], axis[POINTS], axis[-1]) == (1.71e9, 1.785e9, 1.805e9, 1.88e9)


def test_return_loss_with_a_load_by_hand(made: dict[str, Expectation]) -> None:
    """Two joints of 26 dB at 1 GHz (the worse half of the pair counts), 4 m of cable, a load of 40 dB."""
    e = made["A1-J1.rl.load"]
    f = np.array(e.axis)
    r0 = 10 ** (-26 / 20)
    x = 2 * r0 / math.sqrt(1 - r0 * r0) * f / 1e9
    r = x / np.sqrt(4 + x * x)
    behind = (r + 0.01) / (1 + r * 0.01) * 10 ** (-2 * 0.4 * np.sqrt(f / 1e9) / 20)
    np.testing.assert_allclose(e.low, -20 * np.log10((r + behind) / (1 + r * behind)), rtol=1e-12)
    assert all(h >= low for low, h in zip(e.low, e.high, strict=True))


def test_antenna_is_worse_than_load_and_has_its_own_limit(made: dict[str, Expectation]) -> None:
    load, antenna = made["A1-J1.rl.load"], made["A1-J1.rl.antenna"]
    assert max(antenna.low) < min(load.low)
    assert load.limit is not None
    assert antenna.limit is not None
    assert (load.limit.code, load.limit.value) == ("rf.sweep-return-loss", 17.7)
    assert (antenna.limit.code, antenna.limit.value) == ("rf.sweep-antenna", 14.0)


def test_cable_loss_by_hand(made: dict[str, Expectation]) -> None:
    e = made["A1-J1.loss.short"]
    line = 0.4 * np.sqrt(np.array(e.axis) / 1e9)
    np.testing.assert_allclose(e.low, 0.95 * line, rtol=1e-12)
    np.testing.assert_allclose(e.high, 1.05 * line + 2 * 0.1 + 0.3, rtol=1e-12)
    assert e.limit is not None
    assert e.limit.sense is Sense.AT_MOST
    middle = (e.axis[0] + e.axis[-1]) / 2  # the mean over the bands belongs there
    assert e.limit.value == pytest.approx(1.05 * 0.4 * np.sqrt(middle / 1e9) + 2 * 0.1 + 0.3, rel=1e-12)
    assert f"may be {e.limit.value:.2f} dB at most" in e.set_up


def test_every_sweep_says_how_many_points(made: dict[str, Expectation]) -> None:
    for test in ("rl.load", "rl.antenna", "loss.short"):
        assert re.search(r" 201 points or more", made[f"A1-J1.{test}"].set_up)


def test_intermodulation_is_at_most_that_of_all_parts_in_phase(made: dict[str, Expectation]) -> None:
    """The worst part alone makes -150 dBc; all together, and no antenna, are above it and below four of the worst."""
    e = made["A1-J1.pim.im3"]
    assert -150.0 < e.high[0] < -150.0 + 20 * np.log10(4)
    assert e.limit is not None
    assert "more than the limit" in e.set_up
    assert "Tap every" not in e.set_up


def test_optical_loss_by_hand(made: dict[str, Expectation]) -> None:
    """Two mated pairs, each as bad as its worse half, and 50.5 m of glass at most; at least what 49.5 m of silica scatter."""
    e = made["T1-F03.ol.1310-up"]
    assert e.data["expected_db"] == pytest.approx(2 * 0.12 + 0.4 * 0.0505)
    assert e.low[0] == pytest.approx(0.7 / 1.31**4 * 0.0495)  # Rayleigh scattering, 0.7 dB um^4/km from memory
    assert e.high[0] == pytest.approx(2 * 0.30 + 0.4 * 0.0505)
    assert made["T1-F04.ol.1550-down"].high[0] == pytest.approx(2 * 0.30 + 0.3 * 0.0505)
    record = made["T1-F03.ef.record"]
    assert record.low == record.high == (4.0,)  # two faces at each of two mated pairs
    assert e.limit is not None
    assert e.limit.value == e.high[0]


def test_loop_resistance_by_hand(made: dict[str, Expectation]) -> None:
    """IEC 60228, 10 mm², class 5: 1.91 Ω/km; there and back over 50.5 and 49.5 m."""
    e = made["T1-P01.rloop.20"]
    assert e.high[0] == pytest.approx(1.05 * 2 * 1.91 * 0.0505)
    assert e.low[0] == pytest.approx(0.90 * 2 * 1.91 * 0.0495)


def test_bond_and_insulation(made: dict[str, Expectation]) -> None:
    assert made["A1-E1.bond.r"].high[0] == pytest.approx(5.0)
    assert made["T1-P02.ir.250"].low == (100.0,)
    limit = made["T1-P02.ir.250"].limit
    assert limit is not None
    assert limit.value == 0.5


def test_voltage_on_float_comes_from_the_power_room(proof: Proof) -> None:
    found = Finding("power.voltage-high", "A1", Verdict.PASSES, 54.4, "V")
    room = RoomProof("power", "", None, Result((found,), ()))
    e = next(e for e in expectations_of(replace(proof, rooms={"power": room})) if e.id == "A1.vdc.float")
    assert e.high == (54.4,)
    assert math.isnan(e.low[0])  # the room's inputs are not there to be solved


def test_voltage_on_float_at_full_load_lies_below_that_at_hardly_any(proof: Proof) -> None:
    from upmast.proof.prove import prove

    line = small_line()
    parts = f"""
parts:
  - {{id: breaker, kind: breaker, title: b, rated_a: 20, rated_v: 80, breaking_ka: 10, trip_low_multiple: 5, trip_high_multiple: 10, {GIVEN}}}
  - {{id: dc-plug-25, kind: connector, title: p, family: dc, interface: terminal-25, gender: plug, {GIVEN}}}
"""
    extra = {p.id: p for p in from_text(yamlfile.parse(parts, "more.yaml"))}
    trunk = line.parts["trunk"].model_copy(update={"dc_foot": "dc-plug-25"})
    fed = replace(
        line,
        items=(*line.items, Item("A1-CB", "breaker", "breaker", serves=("A1",))),
        joints=(*line.joints, Joint("A1-CB.out", "T1.foot.dc1")),
        parts={**line.parts, **extra, "trunk": trunk},
    )
    e = next(e for e in prove(proof.site, fed, rooms=("power",)).expectations if e.id == "A1.vdc.float")
    assert e.limit is not None
    assert (e.limit.code, e.limit.value) == ("power.voltage-on-site", 40.0)  # the data sheet goes before the standard
    assert 50.0 < e.low[0] < e.high[0] < 54.5


def test_a_limit_of_the_site_goes_before_the_own_one(proof: Proof) -> None:
    own = standing()["power.insulation"]
    asked = Limit("fibre.loss", 0.4, "dB", Sense.AT_MOST, own.authority, own.source, Stage.ACCEPTANCE)
    limits = Limits({**standing(), "fibre.loss": asked})
    e = next(e for e in expectations_of(replace(proof, limits=limits)) if e.id == "T1-F03.ol.1310-up")
    assert e.limit is asked


def test_joint_without_a_return_loss_leaves_the_trace_open() -> None:
    line = small_line()
    silent = {id: line.parts[id].model_copy(update={"return_loss_db": None}) for id in ("jack", "plug")}
    design = path_designs(replace(line, parts={**line.parts, **silent}))[0]
    assert np.isnan(design.expected_db([1.8e9], "load").least_db).all()


def test_joint_distances_and_delay() -> None:
    design = path_designs(small_line())[0]
    assert [j.name for j in design.joints] == ["A1.rf1/A1-J1.foot", "A1-J1.head/A-ANT.Y1"]
    assert [j.distance_m for j in design.joints] == [0.0, 4.0]
    assert design.delay_s == pytest.approx(4.0 / (0.82 * 299_792_458.0))
    assert design.items == ("A1", "A1-J1", "A-ANT")
