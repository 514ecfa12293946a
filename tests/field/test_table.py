"""Tables of text and workbooks as plain cells: encodings, delimiters, decimal signs, states, bounds; and what is said of each guess."""

from __future__ import annotations

import codecs
import importlib.util
from decimal import Decimal
from pathlib import Path

import pytest

from upmast.errors import InputFaults
from upmast.field.readers.cell_value import CellValue, Unread, comma_or_point, read_value
from upmast.field.readers.table import read_table, read_table_file
from upmast.field.readers.unit_words import measure_of, to_canonical

_spec = importlib.util.spec_from_file_location("field_books", Path(__file__).parent / "books.py")
assert _spec is not None
assert _spec.loader is not None
books = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(books)

TEXT = "Frequenz (MHz);Rückflussdämpfung (dB)\n698,5;-17,25\n700,0;-18,1\n"


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (TEXT.encode("utf-8"), "UTF-8"),
        (codecs.BOM_UTF8 + TEXT.encode("utf-8"), "UTF-8 with mark"),
        (TEXT.encode("utf-16"), "UTF-16"),
        (TEXT.encode("utf-16-le"), "UTF-16 without mark"),
        (TEXT.encode("utf-16-be"), "UTF-16 without mark"),
        (codecs.BOM_UTF16_BE + TEXT.encode("utf-16-be"), "UTF-16"),
        (TEXT.encode("cp1252"), "western, 8 bit"),
        (TEXT.encode("latin-1"), "western, 8 bit"),
    ],
)
def test_every_encoding_gives_the_same_cells_and_is_said(raw: bytes, said: str) -> None:
    table = read_table(raw, "a.csv")
    assert table.texts() == (("Frequenz (MHz)", "Rückflussdämpfung (dB)"), ("698,5", "-17,25"), ("700,0", "-18,1"))
    assert table.notes[0].startswith(f"encoding: {said}")
    assert table.notes[1:] == ("delimiter: semicolon (found by trying)", "decimal sign: comma (found by looking)")
    assert table.decimal == ","


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_delimiters_and_line_ends(delimiter: str, end: str) -> None:
    lines = [
        "Trace of a line, made here",
        "",
        delimiter.join(["f", "RL"]),
        delimiter.join(["1.5", "20.25"]),
        delimiter.join(["2.5", "21"]),
    ]
    table = read_table(end.join(lines).encode(), "a.txt")
    assert table.texts()[-2:] == (("1.5", "20.25"), ("2.5", "21"))
    assert table.lines == (1, 2, 3, 4, 5)
    assert table.decimal == "."


def test_a_file_may_say_its_delimiter_and_quotes_keep_it() -> None:
    table = read_table(b'sep=;\na;"b; ""c"""\n1,5;2\n', "a.csv")
    assert table.texts() == (("a", 'b; "c"'), ("1,5", "2"))
    assert table.lines == (2, 3)
    assert "delimiter: semicolon (said by the file)" in table.notes


def test_a_cell_over_two_lines_keeps_line_numbers_right() -> None:
    table = read_table(b'a,b\n"x\ny",2\n3,4\n', "a.csv")
    assert table.lines == (1, 2, 4)
    assert table.place(3, 2) == "B4"


def test_a_date_or_version_above_shows_no_decimal_sign() -> None:
    raw = b"Date;29.11.2025\nVersion;3.1\nf;RL\n698,5;17,2\n"
    assert read_table(raw, "a.csv").decimal == ","
    assert read_table(b"f;RL\n698,5;17.2\n", "a.csv").decimal == "both"
    assert read_table(b"f;RL\n698,500;17,200\n", "a.csv").decimal == ""  # thousands or decimals: nothing shows it
    assert read_table(b"f;RL\n1698,500;17,200\n", "a.csv").decimal == ","  # no thousands sign stands behind four digits
    assert read_table(b"f;RL\n698,500;17,200\n", "a.csv", decimal=",").decimal == ","


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("17.25", ".", "17.25"), ("17,25", ",", "17.25"), ("-17,25", ",", "-17.25"), ("−17.25", ".", "-17.25"), ("+3", "", "3"),
        (".5", ".", "0.5"), (",5", ",", "0.5"), ("17.", ".", "17"), ("1e3", "", "1E+3"), ("1,5E-3", ",", "0.0015"),
        ("1.234.567", ",", "1234567"), ("1,234,567", ".", "1234567"), ("1.234,5", ",", "1234.5"), ("1,234.5", ".", "1234.5"),
        ("1 234,5", ",", "1234.5"), ("1'234.5", ".", "1234.5"), ("1.234", "", "1.234"), ("1.234", ".", "1.234"), ("1,234", ",", "1.234"),
        ("17,2", "both", "17.2"), ("17.2", "both", "17.2"), ("0,250", "both", "0.250"),
    ],
)  # fmt: skip
def test_numbers(text: str, decimal: str, value: str) -> None:
    assert read_value(text, decimal).number == Decimal(value)


def number_alone(text: str, decimal: str) -> Decimal | None:
    """What a reader takes from a cell: a number whose unit, if any, is known."""
    value = read_value(text, decimal)
    if value.unit and measure_of(value.unit) is None:
        raise Unread("a unit", "")
    return value.number


@pytest.mark.parametrize(
    ("text", "decimal"),
    [
        ("1,234", ""), ("1,234", "."), ("1.234", ","), ("17,2", "."), ("17.2", ","), ("1.234", "both"), ("1,23,4", "."), ("1.2.3", "."),
        ("12 34", ""), ("1,234.5", ","), ("1.234,5", "."), ("0,123,456", "."), ("tbc", ""), ("nan", ""), ("inf", ""), ("1.#QNAN", ""),
        ("=1+1", ""), ("@sum", ""), ("12:30", ""), ("abc", ""), ("0x10", ","), ("<", ""), ("--5", ""), ("1" * 41, ""), ("1e9999", ""),
        ("٣", ""), ("５", ""), ("1\n2", ""), ("#REF!", ""),
    ],
)  # fmt: skip
def test_what_has_two_meanings_or_none_is_not_read(text: str, decimal: str) -> None:
    with pytest.raises(Unread):
        number_alone(text, decimal)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("OL", CellValue(None, ">", "", "over")), ("O.L", CellValue(None, ">", "", "over")), (">OL", CellValue(None, ">", "", "over")),
        ("<-120", CellValue(Decimal(-120), "<")), ("< -120 dBm", CellValue(Decimal(-120), "<", "dBm")), ("≤0.5", CellValue(Decimal("0.5"), "<")),
        (">500", CellValue(Decimal(500), ">")), (">= 500 MΩ", CellValue(Decimal(500), ">", "MΩ")), ("-", CellValue(state="nothing")),
        ("", CellValue(state="nothing")), ("n/a", CellValue(state="nothing")), ("1.25:1", CellValue(Decimal("1.25"), "", ":1")),
    ],
)  # fmt: skip
def test_states_and_bounds_are_no_numbers(text: str, value: CellValue) -> None:
    assert read_value(text, ".") == value


def test_evidence_of_one_text() -> None:
    shown = {
        "17,2": ",",
        "17.2": ".",
        "1,234": "",
        "1.234": "",
        "0,123": ",",
        "1710,000": ",",
        "1,234.5": ".",
        "1.234,5": ",",
        "29.11.2025": "",
        "<-120,5": ",",
    }
    assert {text: comma_or_point(text) for text in shown} == shown


def test_units_with_published_factors() -> None:
    """1 in·lbf = 0.1129848 N·m, 1 ft·lbf = 1.355818 N·m, 68 °F = 20 °C: NIST SP 811 (2008), appendix B."""
    cases = [
        ("in-lb", 1, 0.1129848),
        ("ft·lb", 1, 1.355818),
        ("°F", 68, 20.0),
        ("GΩ", 0.5, 0.5e9),
        ("µΩ", 5, 5e-6),
        ("kHz", 1, 1e3),
    ]
    for text, number, value in cases:
        measure = measure_of(text)
        assert measure is not None
        assert to_canonical(Decimal(str(number)), measure) == pytest.approx(value, rel=1e-6)


def test_capitals_throughout_hide_milli_and_mega() -> None:
    measure = measure_of("MOHM")
    assert measure is not None
    with pytest.raises(ValueError, match="thousandth or a million"):
        to_canonical(Decimal(1), measure)


def test_a_workbook_keeps_numbers_texts_states_and_formulas_apart() -> None:
    raw = books.book([["f (MHz)", "RL", "n", "p"], [698.5, "17,25", "=1+1", True], [700, "OL", None, 0.3]])
    table = read_table(raw, "a.xlsx")
    assert [[cell.kind for cell in row] for row in table.rows] == [
        ["text"] * 4, ["number", "text", "uncalculated", "truth"], ["number", "text", "blank", "number"],
    ]  # fmt: skip
    assert any("formulas" in note for note in table.notes)
    assert table.sheet == "Sheet"
    assert table.place(2, 3) == "Sheet!C2"


def test_a_percent_cell_is_what_a_person_sees() -> None:
    import openpyxl

    made = openpyxl.Workbook()
    sheet = made.active
    assert sheet is not None
    sheet.append(["Spot", "x"])
    sheet.append([0.3, 1])
    sheet["A2"].number_format = "0%"
    sheet["B2"].number_format = "000"
    import io

    out = io.BytesIO()
    made.save(out)
    assert read_table(out.getvalue(), "a.xlsx").texts()[1] == ("30 %", "001")


def test_the_sheet_is_named_or_the_only_one() -> None:
    raw = books.book([["a", "b"], [1, 2]], ("Second", [["c", "d"], [3, 4]]))
    with pytest.raises(InputFaults, match="say which sheet"):
        read_table(raw, "a.xlsx")
    assert read_table(raw, "a.xlsx", sheet="Second").texts() == (("c", "d"), ("3", "4"))
    with pytest.raises(InputFaults, match="no filled sheet 'Third'"):
        read_table(raw, "a.xlsx", sheet="Third")


def test_repair_reads_a_workbook_with_links_and_says_so() -> None:
    raw = books.rezip(
        books.book([["a", "b"], [1, 2]]), lambda parts: parts.update({"xl/externalLinks/externalLink1.xml": b"<x/>"})
    )
    with pytest.raises(InputFaults, match="links to other files"):
        read_table(raw, "a.xlsx")
    table = read_table(raw, "a.xlsx", repair=True)
    assert table.texts()[1] == ("1", "2")
    assert table.mended == ("the workbook has links to other files: left alone, the stored values are read",)


def test_repair_lists_what_it_mended_in_text() -> None:
    table = read_table(b'a,b\n1,"2\n3,\x074\n', "a.csv", repair=True)
    assert table.texts() == (("a", "b"), ("1", "2"), ("3", "4"))
    assert table.mended == (
        "1 control characters taken for blanks",
        "quotes that don't pair are taken for plain characters",
    )


def test_a_path_is_read_with_a_bound(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"a,b\n1,2\n")
    assert read_table_file(path).texts() == (("a", "b"), ("1", "2"))
