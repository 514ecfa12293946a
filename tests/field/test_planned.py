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
from upmast.field.readers.cell_value import Unread
from upmast.field.readers.conditions_cell import conditions_cell
from upmast.field.readers.planned import KIND_OF, SWEPT, suffix_of
from upmast.field.readers.reading import KINDS
from upmast.field.session import Judging, Session, judge_files
from upmast.proof.prove import Proof
from upmast.site.sheet_read import text_cell

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


# --- conditions beside a reading ---


def with_conditions(proof: Proof, path: Path, rows: dict[str, tuple[object, str]]) -> Session:
    """A plan as it is written now, with readings and conditions for some tests."""
    book = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(plan_book(proof), datetime(2026, 11, 28, tzinfo=UTC))))
    every = iter(book["Tests"].iter_rows())
    at = next({cell.value: n for n, cell in enumerate(row)} for row in every if row[0].value == "Test")
    for row in every:
        if row[0].value in rows:
            row[at["Reading"]].value, row[at["Conditions"]].value = rows[row[0].value]
    book.save(path)
    return judged(proof, path)


def test_a_failing_loop_is_referred_once_by_the_temperature_beside_it(proof: Proof, tmp_path: Path) -> None:
    """At 20 °C it fails; warm it was more. A plan that asks for a value that is referred already would let it pass."""
    test = next(one for one in proof.expectations if one.id == "T1-P01.rloop.20")
    assert test.limit is not None
    assert "as it is read" in test.set_up
    assert "refer the reading" not in test.set_up
    at_20 = 1.03 * test.limit.value
    as_read = at_20 * (1 + 0.00393 * 15)
    for conditions in ("35 °C", "four wires; cable 35°C", "four-wire, 35,0 °C"):
        session = with_conditions(proof, tmp_path / "test-plan.xlsx", {test.id: (round(as_read, 5), conditions)})
        (row,) = [row for row in session.rows if row.test == test.id and row.reading is not None]
        assert row.findings[0].value == pytest.approx(at_20, rel=1e-3), conditions
        assert row.findings[0].margin == pytest.approx(-0.03 * test.limit.value, rel=0.02)
        assert "referred to 20 °C" in row.findings[0].note
    assert row.verdict == "fails"


def test_a_value_without_a_temperature_says_what_a_referred_one_has(proof: Proof, tmp_path: Path) -> None:
    test = next(one for one in proof.expectations if one.id == "T1-P01.rloop.20")
    assert test.limit is not None
    session = with_conditions(proof, tmp_path / "test-plan.xlsx", {test.id: (test.limit.value, "")})
    (row,) = [row for row in session.rows if row.test == test.id and row.reading is not None]
    assert row.verdict == "not judged"
    assert "referred to 20 °C already it is 20" in row.do


def test_the_conditions_of_the_test_are_taken_as_planned_and_told(proof: Proof, tmp_path: Path) -> None:
    session = with_conditions(proof, tmp_path / "test-plan.xlsx", {"T1-P01.ir.250": (2000, ""), "A2-J1.pim.im3": (-165, "1852.5 MHz, 2112.5 MHz")})  # fmt: skip
    rows = {row.test: row for row in session.rows if row.reading is not None}
    insulation, pim = rows["T1-P01.ir.250"], rows["A2-J1.pim.im3"]
    assert [insulation.verdict, pim.verdict] == ["passes", "passes"]
    assert "taken as planned: 250 V" in insulation.what
    assert "taken as planned: 2 x 43 dBm" in pim.what
    for row in (insulation, pim):
        (note,) = [one for one in row.remarks if one.key == "planned"]
        assert "write it in the column Conditions where it was another" in note.words
        assert note.words in row.what
        assert "Taken as planned" in row.sentence
        assert row.reading is not None
        assert not {"test_voltage_v", "carrier_1_dbm"} & {name for name, _ in row.reading.readings[0].conditions}


def test_a_condition_that_is_written_goes_before_the_plan(proof: Proof, tmp_path: Path) -> None:
    session = with_conditions(proof, tmp_path / "test-plan.xlsx", {"T1-P01.ir.250": (2000, "100 V d.c."), "A2-J1.pim.im3": (-165, "2 x 20 W; 1852.5 MHz, 2112.5 MHz")})  # fmt: skip
    rows = {row.test: row for row in session.rows if row.reading is not None}
    assert rows["T1-P01.ir.250"].verdict == "not judged"
    assert "100 V shows less" in rows["T1-P01.ir.250"].do
    assert not [one for row in rows.values() for one in row.remarks if one.key == "planned"]
    assert rows["A2-J1.pim.im3"].reading.readings[0].condition("carrier_2_dbm") == pytest.approx(43.01, abs=0.01)  # type: ignore[union-attr]


def test_a_reading_that_names_no_test_takes_nothing_as_planned(proof: Proof, tmp_path: Path) -> None:
    path = tmp_path / "ir.csv"
    path.write_text("Pair,Insulation resistance (MΩ)\nT1-P01,2000\n")
    (row,) = [row for row in judged(proof, path).rows if row.reading is not None]
    assert row.verdict == "not judged"
    assert "test voltage" in row.do


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("35 °C", {"temperature_c": 35.0}), ("-5,5°C", {"temperature_c": -5.5}), ("500VDC, 20 °C", {"test_voltage_v": 500.0, "temperature_c": 20.0}),
        ("0.5 kV", {"test_voltage_v": 500.0}), ("43 dBm", {"carrier_1_dbm": 43.0, "carrier_2_dbm": 43.0}), ("40 dBm, 43 dBm", {"carrier_1_dbm": 40.0, "carrier_2_dbm": 43.0}),
        ("1930 MHz", {}), ("1930 MHz and 1990 MHz", {"tone_1_hz": 1.93e9, "tone_2_hz": 1.99e9}), ("on battery, 6 A", {"load_current_a": 6.0}), ("rain", {}),
    ],
)  # fmt: skip
def test_what_a_cell_of_conditions_says(text: str, found: dict[str, float]) -> None:
    assert conditions_cell(text_cell(text), ".") == {**found, "remark": text}


@pytest.mark.parametrize("text", ["35", "35 °C, 40 °C", "500 volts", "1 GHz, 2 GHz, 3 GHz, 4 GHz", "900 °C"])
def test_a_condition_that_may_be_misread_is_a_fault(text: str) -> None:
    with pytest.raises(Unread):
        conditions_cell(text_cell(text), ".")
