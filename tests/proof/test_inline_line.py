"""Lines with two-ports and measured antennas: how they are built, found, saved and told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from upmast.catalogue.catalogue import standard
from upmast.catalogue.part import AntennaPart, RfInline
from upmast.documents.kit_list import kit_list
from upmast.documents.port_map import rf_table
from upmast.line import save
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.line.walk import rf_paths
from upmast.proof.prove import prove
from upmast.proof.rf_path import path_designs
from upmast.rf.joint import joint_gamma
from upmast.rf.loss import line_loss_db
from upmast.rf.reflection import add_worst, gamma_from_return_loss, gamma_from_vswr, return_loss_db, two_port_bound
from upmast.site.site import Site
from upmast.working import FormulaStep

CATALOGUE = standard()


def with_inline(site: Site, *parts: str) -> Site:
    radios = tuple(r.model_copy(update={"inline": parts}) if r.id == "A1" else r for r in site.radios)
    return site.model_copy(update={"radios": radios})


def line_of(site: Site) -> Line:
    radios = tuple(RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43") for _ in site.radios)
    return build(site, CATALOGUE, Choice("hybrid", radios, "trunk-9x16-36f", 1, "box-straight-9-lc"))


def test_what_screws_on_needs_no_jumper_and_what_does_not_gets_one(demo_site: Site) -> None:
    line = line_of(with_inline(demo_site, "arrestor-43", "filter-43-low"))
    path = next(p for p in rf_paths(line) if p.radio == "A1")
    assert path.passed == ("A1-U1", "A1-J1", "A1-U1-2", "A1-J1-2")
    assert path.cables == ("A1-J1", "A1-J1-2")
    assert path.id == "A1-J1"
    assert path.antenna == "A-ANT.R1"
    assert line.by_id["A1-J1"].length_m == 0.5
    assert "does not screw on" in line.by_id["A1-J1"].reason
    # an arrestor is bonded, and its joint without a cable is sealed
    assert line.by_id["A1-U1-E1"].kind == "bond"
    assert line.by_id["A1-U1-SL"].kind == "seal"
    assert "A1-U1-2-E1" not in line.by_id


def test_the_worst_case_by_hand(demo_site: Site) -> None:
    site = with_inline(demo_site, "arrestor-43")
    line = line_of(site)
    proof = prove(site, line, rooms=("rf",))
    found = next(f for f in proof.findings if f.key.startswith("rf.return-loss-at-radio@A1-J1"))
    part, arrestor = line.part_of("A1-J1"), line.part_of("A1-U1")
    assert isinstance(arrestor, RfInline)
    cold = min(s.ambient_c for s in proof.scenarios)
    carriers = next(r for r in site.radios if r.id == "A1").carriers
    # band 20: the uplink lies 41 MHz above the downlink (3GPP TS 36.101)
    edges = [c.centre_hz + s * c.width_hz / 2 + d for c in carriers for s in (-1, 0, 1) for d in (0.0, 41e6)]
    worst = np.inf
    for f in edges:
        joint = joint_gamma(f, 32.0, 2e9)
        m = add_worst(joint, gamma_from_vswr(1.5))
        loss = line_loss_db(f, (line.by_id["A1-J1"].length_m or 0) - 0.01, part.a_db_per_m, part.b_db_per_m, cold)  # type: ignore[attr-defined]
        m = add_worst(joint, m * 10 ** (-loss / 10))
        size = gamma_from_return_loss(arrestor.return_loss_db or 0.0)
        m = add_worst(joint, two_port_bound(m, size, size, arrestor.least_loss_db))
        worst = min(worst, float(return_loss_db(m)))
    assert found.value == pytest.approx(worst, abs=1e-9)
    for code in (
        "rf.return-loss-at-radio",
        "rf.return-loss-load",
        "rf.loss",
        "rf.power-average",
        "rf.power-peak",
        "rf.frequency",
    ):
        steps = [s for s in proof.working(proof.find(f"{code}@A1-J1")) if isinstance(s, FormulaStep)]
        assert all(step.holds() for step in steps)
        assert steps[-1].result.value == pytest.approx(proof.find(f"{code}@A1-J1").value)


def test_rows_of_a_measurement_go_before_the_bounds_and_turn_with_the_part(demo_site: Site) -> None:
    site = with_inline(demo_site, "arrestor-43")
    line = line_of(site)
    rows = ((7.0e8, 40.0, 20.0, 0.05, 0.2), (9.6e8, 40.0, 20.0, 0.05, 0.2))
    part = line.parts["arrestor-43"].model_copy(update={"measured": rows})
    told = replace(line, parts={**line.parts, "arrestor-43": part})
    value = {
        name: prove(site, one, rooms=("rf",)).find("rf.return-loss-load@A1-J1").value
        for name, one in (("bounds", line), ("rows", told))
    }
    assert value["rows"] != value["bounds"]
    # the same part the other way round: its bad side looks to the radio
    swap = {f"A1-U{n}.{a}": f"A1-U{n}.{b}" for n in (1, 2) for a, b in (("foot", "head"), ("head", "foot"))}
    jack = told.parts["arrestor-43"].model_copy(update={"foot": "4.3-10-jack", "head": "4.3-10-plug"})
    joints = tuple(replace(j, a=swap.get(j.a, j.a), b=swap.get(j.b, j.b)) for j in told.joints)
    turned = replace(told, joints=joints, parts={**told.parts, "arrestor-43": jack})
    assert next(p for p in rf_paths(turned) if p.radio == "A1").turned == ("A1-U1",)
    worse = prove(site, turned, rooms=("rf",)).find("rf.return-loss-load@A1-J1").value
    assert worse is not None
    assert value["rows"] is not None
    assert worse < value["rows"]


def test_what_is_not_known_is_not_judged(demo_site: Site) -> None:
    site = with_inline(demo_site, "arrestor-43")
    line = line_of(site)
    for update, words in (
        ({"return_loss_db": None}, "return_loss_db of arrestor-43, or rows of its measurement"),
        ({"low_hz": 1e9}, "what A1-U1 reflects at"),
        ({"measured": ((7e8, 30.0, 30.0, 0.0, 0.1), (8e8, 30.0, 30.0, 0.0, 0.1))}, "it is given from 700 to 800 MHz"),
    ):
        part = line.parts["arrestor-43"].model_copy(update=update)
        proof = prove(site, replace(line, parts={**line.parts, "arrestor-43": part}), rooms=("rf",))
        found = proof.find("rf.return-loss-at-radio@A1-J1")
        assert found.value is None
        assert any(words in m for m in found.missing)  # type: ignore[union-attr]


def test_a_measured_antenna_goes_before_its_vswr(demo_site: Site) -> None:
    line = line_of(demo_site)
    id = line.by_id["A-ANT"].part
    part = line.parts[id]
    assert isinstance(part, AntennaPart)
    base = prove(demo_site, line, rooms=("rf",)).find("rf.return-loss-at-radio@A1-J1").value
    good = part.model_copy(update={"measured": {"R1": ((6.9e8, 20.0), (8.2e8, 26.0), (9.6e8, 18.0))}})
    proof = prove(demo_site, replace(line, parts={**line.parts, id: good}), rooms=("rf",))
    found = proof.find("rf.return-loss-at-radio@A1-J1")
    assert found.value is not None
    assert base is not None
    assert found.value > base
    steps = [s for s in proof.working(found) if isinstance(s, FormulaStep)]
    assert all(step.holds() for step in steps)
    assert any("measured return loss" in q.meaning for q in steps[0].inputs)
    assert proof.find("rf.return-loss-at-radio@A1-J2").value == base  # the other port was not measured
    narrow = part.model_copy(update={"measured": {"R1": ((7.0e8, 20.0), (7.5e8, 26.0))}})
    lost = prove(demo_site, replace(line, parts={**line.parts, id: narrow}), rooms=("rf",))
    assert any("it was measured from 700 to 750 MHz" in m for m in lost.find("rf.return-loss-at-radio@A1-J1").missing)  # type: ignore[union-attr]
    designs = {d.id: d for d in path_designs(replace(line, parts={**line.parts, id: good}))}
    f = np.array([8.2e8])
    assert designs["A1-J1"].expected_db(f, "antenna").least_db > designs["A1-J2"].expected_db(f, "antenna").least_db


def test_it_is_expected_kept_and_told(demo_site: Site, tmp_path: Path) -> None:
    site = with_inline(demo_site, "arrestor-43", "filter-43-low")
    line = line_of(site)
    design = next(d for d in path_designs(line) if d.id == "A1-J1")
    assert [s.item for s in design.sections] == ["A1-U1", "A1-J1", "A1-U1-2", "A1-J1-2"]
    low, high = design.cable_loss_range_db([8.0e8])
    assert float(high[0] - low[0]) > 0.6  # 0.1 dB and 0.4 dB of the two-ports, the allowances of cables and reading
    assert design.expected_db(np.array([8e8]), "load").least_db[0] < 15.0
    proof = prove(site, line)
    assert any("A1-U1" in e.items for e in proof.expectations)
    save.save(line, tmp_path)
    assert save.load(tmp_path).line.digest == line.digest
    assert any("A1-U1, A1-J1, A1-U1-2, A1-J1-2" in str(row) for row in rf_table(line).rows)
    assert "arrestor-43" in str(kit_list(site, line).sheets)
    pim = [f for f in proof.findings if f.code.startswith("pim.") and "A1" in f.subject]
    assert pim


def test_generic_two_ports_are_in_the_catalogue() -> None:
    assert {p.id for p in CATALOGUE.of_kind("rf-inline")} >= {"arrestor-43", "filter-43-low", "amplifier-43-mid"}
