"""Losses of one strand that were kept on different days are judged together, whatever the order, and nothing of it is made up."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime
from pathlib import Path

import pytest

from upmast.errors import UsageError
from upmast.field.intake import take_in
from upmast.field.say import words_of
from upmast.field.session import Judging, judge_files
from upmast.proof.prove import Proof
from upmast.record import query, strands
from upmast.record.again import judge_again
from upmast.record.closeout import closeout_of
from upmast.record.evidence import Filed
from upmast.record.filing import file_session
from upmast.record.kinds import Judgement, Measurement, TablesKept
from upmast.record.record import Record, open_record
from upmast.record.verify import verify
from upmast.record.whole import whole_of

from .packs import whole_proof

Clock = Callable[[], datetime]
HEAD = "Strand;Wavelength nm;Direction;Loss dB;Serial\n"
UP, DOWN = "T1-F01.ol.1310-up", "T1-F01.ol.1310-down"


@pytest.fixture
def whole(proof: Proof) -> Proof:
    return whole_proof(proof)


@pytest.fixture
def other(tmp_path: Path, clock: Clock) -> Iterator[Record]:
    with open_record(tmp_path / "other.record", clock=clock) as opened:
        yield opened


def keep(
    record: Record, proof: Proof, folder: Path, name: str, rows: str, *say: str, measured: str = ""
) -> dict[str, Filed]:
    """Keep one table, alone in a folder of its own; what was filed, by test."""
    folder.mkdir()
    (folder / name).write_text(HEAD + rows)
    taken, words = take_in([folder]), words_of(say)
    session = judge_files(Judging(proof, words=words), taken)
    with record.writing("S1", "K. Ode") as writing:
        out = file_session(writing, session, taken, words, measured=measured)
    return {one.test: one for one in out if one.test}


def stands(record: Record, proof: Proof, *tests: str) -> dict[str, tuple[str, float | None]]:
    every = query.standing(record, "S1", proof.line.digest)
    return {one.test: (one.verdict, one.value) for one in every if not tests or one.test in tests}


def in_one_go(record: Record, proof: Proof, place: Path, rows: str) -> dict[str, tuple[str, float | None]]:
    keep(record, proof, place, "all.csv", rows)
    return stands(record, proof)


def test_up_and_down_of_two_days_give_what_one_go_gives(
    lone: Record, other: Record, whole: Proof, tmp_path: Path
) -> None:
    up, down = "T1-F01;1310;up;0,11;77\n", "T1-F01;1310;down;0,17;78\n"
    first = keep(lone, whole, tmp_path / "a", "losses.csv", up, measured="2026-04-01")
    assert stands(lone, whole) == {UP: (first[UP].verdict, 0.11)}
    second = keep(lone, whole, tmp_path / "b", "losses.csv", down, measured="2026-04-02")
    assert set(second) == {UP, DOWN}
    assert (second[UP].again, second[DOWN].again) == (True, False)
    expected = in_one_go(other, whole, tmp_path / "c", up + down)
    assert expected[UP][1] == pytest.approx(0.14), "the mean of 0.11 dB and 0.17 dB, by hand"
    assert stands(lone, whole) == expected
    assert verify(lone) == ()


def test_the_order_of_filing_changes_nothing(lone: Record, other: Record, whole: Proof, tmp_path: Path) -> None:
    up, down = "T1-F01;1310;up;0,11;77\n", "T1-F01;1310;down;0,17;78\n"
    for record, order in ((lone, (up, down)), (other, (down, up))):
        for n, rows in enumerate(order):
            keep(record, whole, tmp_path / f"{record is lone}{n}", "losses.csv", rows)
    assert stands(lone, whole) == stands(other, whole)
    sets = [query.said(record, "S1", TablesKept)[-1][1] for record in (lone, other)]
    assert sets[0] == sets[1]
    assert [table.only for table in sets[0].tables] in ([(UP,), (DOWN,)], [(DOWN,), (UP,)])
    assert len({table.name for table in sets[0].tables}) == 2, "two files of one name are told apart"


def test_filed_again_nothing_is_added(lone: Record, whole: Proof, tmp_path: Path) -> None:
    up, down = "T1-F01;1310;up;0,11;77\n", "T1-F01;1310;down;0,17;78\n"
    keep(lone, whole, tmp_path / "a", "losses.csv", up)
    keep(lone, whole, tmp_path / "b", "losses.csv", down)
    head = lone.head("S1")
    keep(lone, whole, tmp_path / "c", "losses.csv", down)
    assert lone.head("S1") == head
    keep(lone, whole, tmp_path / "d", "losses.csv", up)
    assert {what.name for _, what in query.said(lone, "S1", Measurement)} == {"losses.csv"}
    assert lone.head("S1") == head


def test_what_is_measured_anew_is_not_taken_from_before(lone: Record, whole: Proof, tmp_path: Path) -> None:
    """A first pair, then both ways again: nothing of the first day counts."""
    keep(
        lone,
        whole,
        tmp_path / "a",
        "a.csv",
        "T1-F01;1310;up;0,90;77\nT1-F01;1310;down;0,95;77\n",
        measured="2026-04-01",
    )
    keep(
        lone,
        whole,
        tmp_path / "b",
        "b.csv",
        "T1-F01;1310;up;0,11;77\nT1-F01;1310;down;0,13;77\n",
        measured="2026-04-02",
    )
    now = stands(lone, whole)
    assert now[UP][1] == pytest.approx(0.12)
    assert now[DOWN][1] == pytest.approx(0.12)
    keep(lone, whole, tmp_path / "c", "c.csv", "T1-F01;1310;up;0,15;77\n", measured="2026-04-03")
    now = stands(lone, whole)
    assert now[UP][1] == pytest.approx(0.14), "0.15 dB of the third day with 0.13 dB of the second, by hand"
    assert now[DOWN][1] == pytest.approx(0.14)
    ((_, last),) = query.said(lone, "S1", TablesKept)[-1:]
    assert {table.name: table.only for table in last.tables} == {"b.csv": (DOWN,), "c.csv": (UP,)}
    said = [what for _, what in query.said(lone, "S1", Judgement) if what.test == UP][-1]
    assert any(f"{DOWN} (b.csv of 2026-04-02)" in text and "opened between" in text for text in said.remarks)


def test_another_strand_is_left_alone(lone: Record, whole: Proof, tmp_path: Path) -> None:
    keep(lone, whole, tmp_path / "a", "a.csv", "T1-F01;1310;up;0,11;77\n")
    out = keep(lone, whole, tmp_path / "b", "b.csv", "T1-F02;1310;down;0,17;78\nT1-F01;1310;down;0,13;78\n")
    assert set(out) == {"T1-F02.ol.1310-down", UP, DOWN}
    now = stands(lone, whole)
    assert now["T1-F02.ol.1310-down"][1] == pytest.approx(0.17)
    assert now[UP][1] == pytest.approx(0.12)
    alone, joined = (what for _, what in query.said(lone, "S1", TablesKept)[-2:])
    assert not alone.tables[0].only
    assert {test for table in joined.tables for test in table.only} == {UP, DOWN}


def test_what_a_person_said_goes_with_its_table(lone: Record, whole: Proof, tmp_path: Path) -> None:
    keep(lone, whole, tmp_path / "a", "losses.csv", "the left one;1310;up;0,11;77\n", "losses.csv: row 2 is T1-F01")
    keep(lone, whole, tmp_path / "b", "losses.csv", "the left one;1310;down;0,13;77\n", "losses.csv: row 2 is T1-F01")
    assert stands(lone, whole)[UP][1] == pytest.approx(0.12)
    ((_, last),) = query.said(lone, "S1", TablesKept)[-1:]
    assert len(last.said) == 2
    assert set(last.said.values()) == {"T1-F01"}


def test_a_second_party_finds_the_same(lone: Record, whole: Proof, tmp_path: Path) -> None:
    keep(
        lone,
        whole,
        tmp_path / "a",
        "losses.csv",
        "T1-F01;1310;up;0,11;77\nT1-F01;1550;up;0,10;77\n",
        measured="2026-04-01",
    )
    keep(lone, whole, tmp_path / "b", "losses.csv", "T1-F01;1310;down;0,17;78\n", measured="2026-04-02")
    closeout = closeout_of(whole, whole_of(lone, "S1"), date(2026, 5, 6))
    again = judge_again(closeout, lone.content)
    assert not again.faults
    for test, (verdict, value) in stands(lone, whole).items():
        found = again.found(test)
        assert found is not None
        assert found == (verdict, pytest.approx(value))
    wave = "T1-F01.ol.1550-up"
    assert set(again.readings) == {UP, DOWN, wave}


def test_a_table_that_can_not_be_read_any_more_leaves_what_stood(
    lone: Record, whole: Proof, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(lone, whole, tmp_path / "a", "a.csv", "T1-F01;1310;up;0,11;77\n")

    def gone(*_: object) -> None:
        raise UsageError("another program read it")

    monkeypatch.setattr(strands, "readings_again", gone)
    keep(lone, whole, tmp_path / "b", "b.csv", "T1-F01;1310;down;0,17;78\n")
    now = stands(lone, whole)
    assert (now[UP][1], now[DOWN][1]) == (0.11, 0.17)


def test_both_wavelengths_stand_together_over_three_days(
    lone: Record, other: Record, whole: Proof, tmp_path: Path
) -> None:
    """One table gives two tests that stand by different judgements: both count when the third day comes."""
    first = "T1-F01;1310;up;0,11;77\nT1-F01;1550;up;0,10;77\n"
    second, third = "T1-F01;1310;down;0,17;78\n", "T1-F01;1550;down;0,14;78\n"
    for n, rows in enumerate((first, second, third)):
        keep(lone, whole, tmp_path / str(n), f"{n}.csv", rows)
    assert stands(lone, whole) == in_one_go(other, whole, tmp_path / "all", first + second + third)
    ((_, last),) = query.said(lone, "S1", TablesKept)[-1:]
    assert last.tables[0].only == (UP, "T1-F01.ol.1550-up")
