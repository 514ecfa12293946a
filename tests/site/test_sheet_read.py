"""Files as plain cells: bounds, hostile workbooks, formulas, encodings and delimiters."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter

from upmast.errors import InputFaults
from upmast.site import sheet_read, sheet_xlsx
from upmast.site.sheet_read import column_of, letter, read, read_bytes, sniff


def repacked(raw: bytes, change: Callable[[str, bytes], bytes], more: dict[str, bytes] | None = None) -> bytes:
    """A workbook with some of its entries changed."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, change(name, old.read(name)))
        for name, content in (more or {}).items():
            new.writestr(name, content)
    return target.getvalue()


def test_columns_are_lettered_as_in_spreadsheets() -> None:
    assert [letter(n) for n in (1, 26, 27, 52, 53, 702, 703)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]
    assert all(column_of(letter(n)) == n for n in range(1, 800))
    assert column_of("7") == 0


def test_texts_that_look_like_formulas_stay_texts(workbook: Callable[..., bytes]) -> None:
    hostile = ['=HYPERLINK("x","y")', "+1+1", "@SUM(A1)", "-2", "=cmd|' /C calc'!A0"]
    sheet = read_bytes(workbook([hostile]), "a.xlsx").sheets[0]
    assert [cell.text for cell in sheet.rows[0]] == hostile
    assert {cell.kind for cell in sheet.rows[0]} == {"text"}
    assert sheet.formulas_count == 0


def test_a_formula_gives_its_stored_value_or_says_that_there_is_none() -> None:
    target = io.BytesIO()
    with xlsxwriter.Workbook(target) as book:
        sheet = book.add_worksheet()
        sheet.write_formula(0, 0, "=6*7", None, 42)
    stored = read_bytes(target.getvalue(), "a.xlsx").sheets[0]
    assert (stored.at(1, 1).number, stored.formulas_count) == (42.0, 1)
    bare = openpyxl.Workbook()
    bare.active["B2"] = "=6*7"
    target = io.BytesIO()
    bare.save(target)
    cell = read_bytes(target.getvalue(), "a.xlsx").sheets[0].at(2, 2)
    assert (cell.kind, cell.number) == ("uncalculated", None)


def test_errors_dates_truths_and_leading_zeros_are_told_apart() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet["A1"], sheet["B1"], sheet["C1"], sheet["D1"], sheet["E1"] = 7, "007", True, 31.0, "#REF!"
    sheet["A1"].number_format = "0000"
    sheet["F1"] = __import__("datetime").date(2026, 2, 1)
    target = io.BytesIO()
    book.save(target)
    row = read_bytes(target.getvalue(), "a.xlsx").sheets[0].rows[0]
    assert [cell.text for cell in row] == ["0007", "007", "yes", "31", "#REF!", "2026-02-01"]
    assert [cell.kind for cell in row] == ["number", "text", "truth", "number", "error", "date"]


def test_hidden_sheets_rows_and_columns_are_seen() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append([1, 2, 3])
    sheet.append([4, 5, 6])
    sheet.row_dimensions[2].hidden = True
    sheet.column_dimensions["B"].hidden = True
    book.create_sheet("Old")["A1"] = 1
    book["Old"].sheet_state = "veryHidden"
    target = io.BytesIO()
    book.save(target)
    first, second = read_bytes(target.getvalue(), "a.xlsx").sheets
    assert (first.hidden_rows, first.hidden_columns, first.hidden, second.hidden) == ({2}, {2}, False, True)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b 'c'>]><a/>", "document type"),
        ("<?xml version='1.0' encoding='utf-16'?><a/>".encode("utf-16"), "not in UTF-8"),
    ],
)
def test_document_types_are_refused_before_anything_is_parsed(
    workbook: Callable[..., bytes], text: bytes, words: str
) -> None:
    raw = repacked(workbook([["a"]]), lambda name, old: text if name == "xl/sharedStrings.xml" else old)
    with pytest.raises(InputFaults, match=words):
        read_bytes(raw, "a.xlsx")


def test_a_zip_bomb_is_refused_by_its_sizes(workbook: Callable[..., bytes]) -> None:
    raw = repacked(workbook([["a"]]), lambda _, old: old, {"xl/big.bin": bytes(sheet_xlsx.MOST_UNPACKED_BYTES + 1)})
    assert len(raw) < 1_000_000
    with pytest.raises(InputFaults, match="unpacked"):
        read_bytes(raw, "a.xlsx")


def test_a_value_far_away_is_refused_and_a_far_merge_costs_nothing(workbook: Callable[..., bytes]) -> None:
    book = openpyxl.Workbook()
    book.active["A6000"] = 1
    target = io.BytesIO()
    book.save(target)
    with pytest.raises(InputFaults, match="row 6000"):
        read_bytes(target.getvalue(), "a.xlsx")
    wide = openpyxl.Workbook()
    wide.active["ZZ1"] = 1
    target = io.BytesIO()
    wide.save(target)
    with pytest.raises(InputFaults, match="column ZZ"):
        read_bytes(target.getvalue(), "a.xlsx")
    merge = b'<mergeCells count="1"><mergeCell ref="A1:XFD1048576"/></mergeCells></worksheet>'
    raw = repacked(
        workbook([["a"]]), lambda name, old: old.replace(b"</worksheet>", merge) if "worksheets/sheet" in name else old
    )
    assert read_bytes(raw, "a.xlsx").sheets[0].merges == ((1, 1, 1048576, 16384),)


@pytest.mark.parametrize(
    "raw", [b"PK\x03\x04 no zip", b"\xd0\xcf\x11\xe0 old", b"%PDF-1.7", b"a\x00b,c\n1,2\n" + b"x" * 100]
)
def test_other_kinds_of_file_are_refused_in_words(raw: bytes) -> None:
    with pytest.raises(InputFaults, match="expected:"):
        read_bytes(raw, "a.xlsx")


def test_bounds_of_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputFaults, match="5000 rows"):
        read_bytes(b"a,b\n" * 5001, "a.csv")
    with pytest.raises(InputFaults, match="201 columns"):
        read_bytes(b",".join([b"a"] * 201), "a.csv")
    monkeypatch.setattr(sheet_read, "MOST_BYTES", 10)
    (tmp_path / "a.csv").write_bytes(b"a,b\n" * 10)
    with pytest.raises(InputFaults, match="at most"):
        read(tmp_path / "a.csv")
    with pytest.raises(InputFaults, match="plain file"):
        read(tmp_path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_encodings_and_delimiters_are_found_and_told(encoding: str, delimiter: str) -> None:
    rows = [["Site", "Sector", "Height"], ["Küste", "A", "31"], ["Küste", "B", "32"]]
    raw = "\r\n".join(delimiter.join(row) for row in rows).encode(encoding)
    book = read_bytes(raw, "list.csv")
    assert [[cell.text for cell in row] for row in book.sheets[0].rows] == rows
    assert any(sheet_read.DELIMITERS[delimiter] in note for note in book.notes)


def test_a_semicolon_list_with_decimal_commas_is_not_parted_at_them() -> None:
    assert sniff("A list, made by hand, in May\nSite;H;P\nN;31,5;1,1\nN;32,5;1,2\n") == ";"


def test_a_delimiter_that_the_file_names_is_taken() -> None:
    book = read_bytes(b"sep=;\na;b\n1,5;2\n", "a.csv")
    assert [cell.text for cell in book.sheets[0].rows[2]] == ["1,5", "2"]
