"""A test plan with its readings filled in, or a plain list of tests and readings: the test of each row says what was read."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pytest

from upmast.documents.acceptance import plan_book
from upmast.documents.to_xlsx import xlsx_bytes
from upmast.field.intake import take_in
from upmast.field.readers.planned import KIND_OF, SWEPT, suffix_of
from upmast.field.readers.reading import KINDS
from upmast.field.session import Judging, Session, judge_files
from upmast.proof.prove import Proof

READ = {
    "ef": "4", "ol": "0.3 dB", "rloop": 0.1, "ir": ">2000", "bond": 0.6, "vdc": "-53.9 V", "pim": -155, "torque": "5 to 5.2", "seal": 1, "cap": 1,
    "shield": 20, "rl": 31, "loss": 0.5,
}  # fmt: skip


def judged(proof: Proof, path: Path) -> Session:
    return judge_files(Judging(proof), take_in([path]))


def filled(proof: Proof, path: Path, *, every: bool = True) -> Path:
    book = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(plan_book(proof), datetime(2026, 11, 28, tzinfo=UTC))))
    rows = iter(book["Tests"].iter_rows())
    names = next([cell.value for cell in row] for row in rows if row[0].value == "Test")
    ids = {one.id for one in proof.expectations}
    at = {name: n for n, name in enumerate(names)}
    for n, row in enumerate(rows):
        if row[0].value in ids and (every or n % 2):
            row[at["Reading"]].value = READ[suffix_of(row[0].value)]
            row[at["Instrument serial"]].value = "S-1"
            row[at["Name"]].value = "K. Ode"
            row[at["Date"]].value = "2026-11-28"
    book.save(path)
    return path


def test_the_plan_of_a_line_filled_in_is_judged_row_by_row(proof: Proof, tmp_path: Path) -> None:
    session = judged(proof, filled(proof, tmp_path / "test-plan.xlsx"))
    by_test = {row.test: row.reading for row in session.rows if row.reading is not None}
    assert set(by_test) == {one.id for one in proof.expectations if suffix_of(one.id) not in SWEPT}
    loss = by_test["T1-F01.ol.1310-up"].readings[0]
    assert (loss.kind, loss.value, loss.unit, loss.serial, loss.time) == (
        "optical-loss",
        0.3,
        "dB",
        "S-1",
        "2026-11-28",
    )
    assert not [row for row in session.rows if row.state == "asked"]  # the cautions ask nothing


def test_one_number_of_a_sweep_is_not_judged(proof: Proof, tmp_path: Path) -> None:
    session = judged(proof, filled(proof, tmp_path / "test-plan.xlsx"))
    (row,) = [row for row in session.rows if row.state == "unreadable"]
    assert "one number for " in row.what
    assert "a sweep" in row.what
    assert row.do.startswith("give the sweep")


def test_rows_without_a_reading_are_only_counted(proof: Proof, tmp_path: Path) -> None:
    session = judged(proof, filled(proof, tmp_path / "test-plan.xlsx", every=False))
    (one,) = session.tables
    assert one.readings is not None
    assert one.readings.left_out == ()
    assert any("tests have no reading" in words for words in one.readings.guesses)


def test_a_plain_list_of_tests(proof: Proof, tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("Test,Reading\nT1-F01.ol.1310-up,0.3\nT1-F01.ef.record,4\nA2-E1.bond.r,0.6\nT1-F02.ol.1310-up,\n")
    session = judged(proof, path)
    found = {row.test: row.reading.readings[0] for row in session.rows if row.reading is not None}
    assert {(test, one.kind, one.value, one.unit) for test, one in found.items()} >= {("T1-F01.ol.1310-up", "optical-loss", 0.3, "dB"), ("T1-F01.ef.record", "end-face-count", 4.0, "")}  # fmt: skip


def test_a_yes_is_no_count_and_an_unknown_test_is_told(proof: Proof, tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text(
        "Test,Reading\nT1-F01.ef.record,yes\nT1-F01.ol.1310-up,0.3\nT1-F01.ol.1310-down,0.3\nelsewhere,0.3\n"
    )
    session = judged(proof, path)
    (row,) = [row for row in session.rows if row.state == "unreadable"]
    assert row.faults is not None
    assert {one.expected for one in row.faults.faults} == {"a count", "a test of this line"}


def test_the_unit_of_a_plan_is_that_of_each_expectation(proof: Proof) -> None:
    for one in proof.expectations:
        kind = KIND_OF.get(suffix_of(one.id))
        assert (kind is None) == (suffix_of(one.id) in SWEPT), one.id
        if kind is not None:
            assert KINDS[kind].unit == one.unit, one.id


def test_clean_end_faces_are_counted(proof: Proof, tmp_path: Path) -> None:
    wanted = next(int(one.low[0]) for one in proof.expectations if one.id == "T1-F01.ef.record")
    path = tmp_path / "faces.csv"
    path.write_text(f"Strand,End faces clean\nT1-F01,{wanted}\nT1-F02,{wanted - 1}\n")
    said = {row.test: row.reading for row in judged(proof, path).rows if row.reading is not None}
    assert str(said["T1-F01.ef.record"].verdict) == "passes"
    assert str(said["T1-F02.ef.record"].verdict) == "fails"
    assert ".000" not in said["T1-F02.ef.record"].sentence


@pytest.mark.parametrize("header", ["Strand,End face,Result", "Strand,Face,Result"])
def test_a_result_in_words_is_the_grade_of_the_face_beside_it(proof: Proof, tmp_path: Path, header: str) -> None:
    wanted = next(int(one.low[0]) for one in proof.expectations if one.id == "T1-F01.ef.record")
    path = tmp_path / "faces.csv"
    path.write_text(header + "\n" + "".join(f"T1-F01,{n},pass\n" for n in range(1, wanted + 1)))
    (row,) = [row for row in judged(proof, path).rows if row.reading is not None]
    assert row.verdict == "passes"


def test_a_short_list_of_windows_is_a_table(proof: Proof, tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("Test,Reading\nT1-F01.ol.1310-up,0.3 dB\n")
    assert [row.test for row in judged(proof, path).rows if row.reading is not None] == ["T1-F01.ol.1310-up"]
