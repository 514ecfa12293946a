"""Torque, seals and caps in the test plan: one test an item, windows by the parts, counts by the line."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from upmast.finding import Verdict, judge
from upmast.line.line import Line
from upmast.line.walk import RF_CABLES
from upmast.proof.expect_hardware import APPLIED, TOOL_FRACTION, hardware_expectations
from upmast.proof.prove import Proof, prove
from upmast.site.site import Site


@pytest.fixture(scope="module")
def proof(demo_site: Site, demo_line: Line) -> Proof:
    return prove(demo_site, demo_line)


def by_id(proof: Proof) -> dict:
    made = list(hardware_expectations(proof))
    out = {one.id: one for one in made}
    assert len(out) == len(made)
    return out


def with_part(proof: Proof, id: str, **changes: object) -> Proof:
    line = proof.line
    parts = {**line.parts, id: line.parts[id].model_copy(update=changes)}
    return replace(proof, line=replace(line, parts=parts))


def test_every_clamp_joint_seal_and_cap_has_its_test(proof: Proof) -> None:
    found = by_id(proof)
    line = proof.line
    for kind, ending in (("clamp", "torque.nm"), ("seal", "seal.record"), ("cap", "cap.record")):
        assert {f"{i.id}.{ending}" for i in line.of_kind(kind)} <= set(found)
    for item in line.of_kind(*RF_CABLES):
        assert any(id.startswith(f"{item.id}.torque.") for id in found)
    assert all(id in {e.id for e in proof.expectations} for id in found)


def test_counts_are_those_of_the_items(proof: Proof) -> None:
    found = by_id(proof)
    for kind in ("seal", "cap"):
        for item in proof.line.of_kind(kind):
            one = found[f"{item.id}.{kind}.record"]
            assert one.low == one.high == (float(item.count),)
            assert judge("x", "y", item.count - 1, one.limit).verdict is Verdict.FAILS
            assert judge("x", "y", item.count, one.limit).verdict is Verdict.PASSES


def test_window_is_the_torque_of_the_part_and_the_tool(proof: Proof) -> None:
    # a clamp that tells 6 N·m with a tool of 10 %: 5.4 to 6.6
    item = proof.line.by_id["T1-CL"]
    told = with_part(proof, item.part, torque_nm=6.0, sources={"torque_nm": "data sheet 3, page 1"})
    one = by_id(told)["T1-CL.torque.nm"]
    assert (one.low[0], one.high[0]) == pytest.approx((5.4, 6.6))
    assert TOOL_FRACTION == 0.1
    assert one.limit is not None
    assert one.limit.code == APPLIED
    assert judge(APPLIED, "T1-CL", 5.3, one.limit).verdict is Verdict.FAILS
    assert judge(APPLIED, "T1-CL", 6.0, one.limit).verdict is Verdict.PASSES


def test_a_part_that_tells_no_torque_leaves_both_sides_open(proof: Proof) -> None:
    silent = with_part(proof, proof.line.by_id["T1-CL"].part, torque_nm=None)
    one = by_id(silent)["T1-CL.torque.nm"]
    assert math.isnan(one.low[0])
    assert math.isnan(one.high[0])
    assert one.limit is None
    assert "does not tell" in one.set_up


def test_torque_from_memory_is_no_silent_pass(proof: Proof) -> None:
    one = by_id(proof)["A1-J1.torque.nm"]  # 4.3-10, 5 N·m, from memory
    assert (one.low[0], one.high[0]) == pytest.approx((4.5, 5.5))
    assert judge(APPLIED, "A1-J1", 5.0, one.limit).verdict is Verdict.NOT_JUDGED


def test_joints_of_one_cable_that_differ_have_a_test_each(proof: Proof) -> None:
    jumper = proof.line.by_id["A1-J1"]
    plug = proof.line.parts[jumper.part].head
    other = with_part(proof, plug, torque_nm=9.0)
    found = {id for id in by_id(other) if id.startswith("A1-J1.torque")}
    if proof.line.parts[jumper.part].foot == plug:
        assert found == {"A1-J1.torque.nm"}
    else:
        assert found == {"A1-J1.torque.foot", "A1-J1.torque.head"}
