"""
A workbook as plain cells. Stored values are read, formulas are never worked out, links never followed, macros never run.

Before the workbook is opened its zip is looked at: unpacked sizes, document types, cells beyond the bounds. Hidden rows and
columns, merged cells and formulas come from a look of our own at each sheet, since the fast reader does not tell them.
"""

from __future__ import annotations

import datetime
import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from xml.etree import ElementTree

from upmast.errors import InputFaults, shorten
from upmast.site.sheet_read import (
    BLANK,
    MOST_COLUMNS,
    MOST_ROWS,
    Book,
    Cell,
    Sheet,
    column_of,
    letter,
    refuse,
    text_cell,
)

MOST_UNPACKED_BYTES = 100_000_000
MOST_ENTRIES = 2_000
MOST_SHEETS = 60
MOST_CELLS = 400_000  # with a value, in all sheets
MOST_MERGES = 20_000
_REF = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")
_ZEROS = re.compile(r"0{2,15}")
_UNSURE = "check that it is the right file, or save the list as .csv"


@dataclass(slots=True)
class _Marks:
    """What one sheet's own text tells beside its values."""

    last_row: int = 0
    last_column: int = 0
    cells: int = 0
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    merges: list[tuple[int, int, int, int]] = field(default_factory=list)
    formulas: dict[tuple[int, int], bool] = field(default_factory=dict)  # place -> a value is stored


def read_xlsx(raw: bytes, file: str) -> Book:
    """The sheets of a workbook. Raises InputFaults for whatever is too large, damaged or hostile."""
    import openpyxl

    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            notes = _guard(archive, file)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # about styles and extensions that we don't use
                book = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=True, keep_links=False)
                try:
                    sheets = tuple(_sheets(book, archive, file))
                finally:
                    book.close()
    except InputFaults:
        raise
    except Exception as error:  # whatever a damaged workbook makes the reader stumble over
        raise refuse(file, f"a workbook that can't be read ({type(error).__name__})", "a .xlsx file", _UNSURE) from None
    if not sheets:
        raise refuse(file, "no sheet with cells", "a workbook with a radio list", _UNSURE)
    return Book(file, sheets, tuple(notes))


def _guard(archive: zipfile.ZipFile, file: str) -> list[str]:
    """Refuse a zip bomb, an encrypted or foreign zip, and document types in the XML; tell of macros and links."""
    entries = archive.infolist()
    if len(entries) > MOST_ENTRIES:
        raise refuse(file, f"{len(entries)} entries in the workbook", f"at most {MOST_ENTRIES}", _UNSURE)
    total = sum(entry.file_size for entry in entries)
    if total > MOST_UNPACKED_BYTES:
        raise refuse(
            file, f"{total / 1e6:.0f} MB unpacked", f"at most {MOST_UNPACKED_BYTES / 1e6:g} MB unpacked", _UNSURE
        )
    if any(entry.flag_bits & 1 for entry in entries):
        raise refuse(file, "an encrypted workbook", "a .xlsx file without a password", "save it without a password")
    names = {entry.filename for entry in entries}
    if len(names) != len(entries):
        raise refuse(file, "two entries of one name in the workbook", "a .xlsx file", _UNSURE)
    if "[Content_Types].xml" not in names:
        raise refuse(file, "a zip that is no workbook", "a .xlsx file", "give the workbook inside it")
    for entry in entries:
        if entry.filename.lower().endswith((".xml", ".rels", ".vml")):
            with archive.open(entry) as stream:
                _no_document_type(stream, file, entry.filename)
    notes = []
    if any("vbaProject" in name for name in names):
        notes.append("the workbook holds macros: they are not run")
    if any(name.startswith("xl/externalLinks/") for name in names):
        notes.append("the workbook has links to other files: they are not followed, stored values are read")
    return notes


def _no_document_type(stream: Any, file: str, entry: str) -> None:
    before = b""
    while chunk := stream.read(1 << 20):
        if not before and (b"\0" in chunk[:8] or chunk[:2] in (b"\xff\xfe", b"\xfe\xff")):
            raise refuse(file, f"{entry} is not in UTF-8", "a .xlsx file", _UNSURE)
        if b"<!DOCTYPE" in before + chunk or b"<!ENTITY" in before + chunk:
            raise refuse(file, f"a document type in {entry}", "a .xlsx file without one", _UNSURE)
        before = chunk[-16:]


def _sheets(book: Any, archive: zipfile.ZipFile, file: str) -> Iterator[Sheet]:
    worksheets = book.worksheets
    if len(worksheets) > MOST_SHEETS:
        raise refuse(file, f"{len(worksheets)} sheets", f"at most {MOST_SHEETS}", "save the list alone")
    total = 0
    for sheet in worksheets:
        with archive.open(sheet._worksheet_path.lstrip("/")) as stream:
            marks = _marks(stream, f"{file}, sheet {shorten(sheet.title)}", MOST_CELLS - total)
        total += marks.cells
        rows: list[tuple[Cell, ...]] = []
        if marks.last_row and marks.last_column:
            for at, line in enumerate(sheet.iter_rows(max_row=marks.last_row, max_col=marks.last_column), 1):
                rows.append(_row(line, at, marks))
        yield Sheet(
            shorten(sheet.title),
            tuple(rows[: marks.last_row]),
            sheet.sheet_state != "visible",
            frozenset(row for row in marks.hidden_rows if row <= marks.last_row),
            frozenset(column for column in marks.hidden_columns if column <= marks.last_column),
            tuple(marks.merges),
            len(marks.formulas),
        )


def _row(line: tuple[Any, ...], at: int, marks: _Marks) -> tuple[Cell, ...]:
    cells = []
    for column, one in enumerate(line, 1):
        if marks.formulas.get((at, column)) is False:
            cells.append(Cell("uncalculated", "a formula without a stored value"))
        else:
            cells.append(_cell(one))
    return tuple(cells)


def _cell(one: Any) -> Cell:
    value = one.value
    if value is None:
        return BLANK
    if isinstance(value, bool):
        return Cell("truth", "yes" if value else "no")
    if isinstance(value, int | float):
        if not abs(value) < 1e280:
            return Cell("error", "a number without end")
        number = float(value)
        text = str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
        if _ZEROS.fullmatch(str(one.number_format or "")) and number.is_integer() and number >= 0:
            text = text.zfill(len(one.number_format))  # leading zeros that people see stay
        return Cell("number", text, number)
    if isinstance(value, datetime.datetime):
        midnight = value.time() == datetime.time()
        return Cell("date", (value.date() if midnight else value.replace(microsecond=0)).isoformat())
    if isinstance(value, datetime.date | datetime.time | datetime.timedelta):
        return Cell("date", str(value))
    if getattr(one, "data_type", "") == "e":
        return Cell("error", str(value)[:20])
    return text_cell(str(value))


def _marks(stream: Any, where: str, most_cells: int) -> _Marks:
    """One pass over a sheet: bounds, hidden rows and columns, merges, formulas."""
    marks = _Marks()
    row = column = 0
    for event, element in ElementTree.iterparse(stream, events=("start", "end")):
        tag = element.tag.rpartition("}")[2]
        if event == "start":
            if tag == "row":
                row, column = _whole(element.get("r"), row + 1), 0
                if _true(element.get("hidden")):
                    marks.hidden_rows.add(row)
            elif tag == "c":
                match = _REF.fullmatch(element.get("r") or "")
                column = column_of(match.group(1)) if match else column + 1
            continue
        if tag == "c":
            _note_cell(element, row, column, marks, where, most_cells)
            element.clear()
        elif tag == "row":
            element.clear()
        elif tag == "col" and _true(element.get("hidden")):
            first, last = _whole(element.get("min"), 1), _whole(element.get("max"), 1)
            marks.hidden_columns.update(range(first, min(last, MOST_COLUMNS) + 1))
        elif tag == "mergeCell":
            first_, _, last_ = (element.get("ref") or "").partition(":")
            a, b = _REF.fullmatch(first_), _REF.fullmatch(last_)
            if a and b:
                marks.merges.append((int(a.group(2)), column_of(a.group(1)), int(b.group(2)), column_of(b.group(1))))
            if len(marks.merges) > MOST_MERGES:
                raise refuse(where, f"more than {MOST_MERGES} merged cells", f"at most {MOST_MERGES}", _UNSURE)
    return marks


def _note_cell(element: Any, row: int, column: int, marks: _Marks, where: str, most_cells: int) -> None:
    parts = {child.tag.rpartition("}")[2]: child for child in element}
    stored = "is" in parts or ("v" in parts and (parts["v"].text or "") != "")
    formula = "f" in parts
    if formula:
        marks.formulas[row, column] = stored or element.get("t") == "str"
    if not stored and not formula:
        return
    marks.cells += 1
    if marks.cells > most_cells:
        raise refuse(where, f"more than {MOST_CELLS} filled cells", f"at most {MOST_CELLS}", "save the list alone")
    if row > MOST_ROWS:
        raise refuse(where, f"a value in row {row}", f"at most {MOST_ROWS} rows", "split the list")
    if column > MOST_COLUMNS:
        raise refuse(
            where,
            f"a value in column {letter(column)}",
            f"at most {MOST_COLUMNS} columns",
            "remove the columns that aren't needed",
        )
    marks.last_row = max(marks.last_row, row)
    marks.last_column = max(marks.last_column, column)


def _whole(text: str | None, otherwise: int) -> int:
    return int(text) if text and text.isdecimal() and len(text) < 9 else otherwise


def _true(text: str | None) -> bool:
    return (text or "").lower() in ("1", "true")
