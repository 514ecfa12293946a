"""Closures and caps from a table: counted against the line, joints named one by one added up, yes and no taken for one and none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from upmast.catalogue.catalogue import standard
from upmast.errors import InputFaults
from upmast.field.readers.table import read_table
from upmast.field.readers.values_table import guess_values, read_values
from upmast.field.reading_judge import judge_readings
from upmast.finding import Verdict
from upmast.line.line import Item
from upmast.proof.prove import Proof


@pytest.fixture(scope="module")
def closed(proof: Proof) -> Proof:
    """The line with closures on a jumper and caps on an antenna."""
    some = {id: standard().part(id) for id in ("seal-4.3-10", "cap-4.3-10")}
    items = (
        Item("A2-J1-SL", "seal", "seal-4.3-10", on="A2-J1", count=2),
        Item("A-ANT-CAP1", "cap", "cap-4.3-10", on="A-ANT", count=3),
    )
    line = replace(proof.line, items=(*proof.line.items, *items), parts={**proof.line.parts, **some})
    return replace(proof, line=line)


def judged(proof: Proof, text: str) -> dict:
    table = read_table(text.encode(), "closed.csv")
    found = read_values(table, guess_values(table))
    done, asked = judge_readings(proof, [found])
    assert not asked, [one.question for one in asked]
    return {one.test_id: one for one in done}


def wanted(proof: Proof) -> tuple[str, int, str, int]:
    seal, cap = next(iter(proof.line.of_kind("seal"))), next(iter(proof.line.of_kind("cap")))
    return seal.id, seal.count, cap.id, cap.count


def test_counts_against_the_line(closed: Proof) -> None:
    seal, joints, cap, ports = wanted(closed)
    assert joints == 2
    made = judged(closed, f"Item,Closed\n{seal},{joints}\n{cap},{ports - 1}\n")
    assert made[f"{seal}.seal.record"].verdict is Verdict.PASSES
    low = made[f"{cap}.cap.record"]
    assert low.verdict is Verdict.FAILS
    assert f"{ports - 1} of {ports} capped" in low.findings[0].note


def test_joints_named_one_by_one_are_added_up(closed: Proof) -> None:
    seal, *_ = wanted(closed)
    made = judged(closed, f"Item,Side,Joints closed\n{seal},foot,yes\n{seal},head,yes\n")
    assert made[f"{seal}.seal.record"].verdict is Verdict.PASSES
    one = judged(closed, f"Item,Side,Joints closed\n{seal},foot,yes\n{seal},head,no\n")[f"{seal}.seal.record"]
    assert (one.verdict, one.findings[0].value) == (Verdict.FAILS, 1.0)


def test_the_cable_names_its_closures_too(closed: Proof) -> None:
    seal, joints, *_ = wanted(closed)
    cable = closed.line.by_id[seal].on
    assert f"{seal}.seal.record" in judged(closed, f"Item,Sealed\n{cable},{joints}\n")


def test_the_same_said_twice_is_not_two(closed: Proof) -> None:
    seal, *_ = wanted(closed)
    one = judged(closed, f"Item,Closed\n{seal},1\n{seal},1\n")[f"{seal}.seal.record"]
    assert (one.verdict, one.findings[0].value) == (Verdict.FAILS, 1.0)


@pytest.mark.parametrize("cell", ["-1", "1.5", "2 m", "many"])
def test_what_is_no_count_is_refused(cell: str) -> None:
    table = read_table(f"Item,Closed\nA2-J1-SL,{cell}\nA-ANT-CAP1,2\n".encode(), "closed.csv")
    with pytest.raises(InputFaults, match="count, or yes or no"):
        read_values(table, guess_values(table), strict=True)
