"""
One sheet of a workbook as a table: stored values are read, formulas never worked out, links never followed, macros never run.

Strict: a workbook with links to other files or macros is refused, since an instrument's export has neither. Repair reads the
stored values and says so. The zip is looked at before it is opened, and each sheet before it is read.
"""

from __future__ import annotations

import datetime
import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any
from xml.etree import ElementTree

from upmast.errors import InputFaults, shorten
from upmast.field.readers.table import (
    MOST_CELLS,
    MOST_CHARACTERS,
    MOST_COLUMNS,
    MOST_ROWS,
    Table,
    decimal_sign,
    digest_of,
    refuse,
    refuse_other_kinds,
)
from upmast.site.sheet_read import BLANK, Cell, column_of, letter, text_cell

MOST_UNPACKED_BYTES = 100_000_000
MOST_PART_BYTES = 16_000_000  # of a part that is no sheet: texts, styles
MOST_PLACES = 5_000_000  # rows times columns of a sheet
MOST_ENTRIES = 2_000
MOST_SHEETS = 60
HIGHEST_RATIO = 400.0  # unpacked to packed of one entry above 1 MB: sheets of numbers pack to about a tenth
_REF = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")
_ZEROS = re.compile(r"0{2,15}")
_AGAIN = "save the table alone in a new workbook, or as .csv"
_HUGE = 1e280


@dataclass(slots=True)
class _Look:
    """What one sheet's own text tells beside its values."""

    last_row: int = 0
    last_column: int = 0
    cells: int = 0
    merges: int = 0
    formulas: dict[tuple[int, int], bool] = field(default_factory=dict)  # place -> a value is stored
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)


def read_xlsx(raw: bytes, file: str, *, sheet: str = "", decimal: str = "", repair: bool = False) -> Table:
    """
    One sheet of a workbook; see `read_table` for the parameters.

    Raises
    ------
    InputFaults
        For whatever is too large, damaged or hostile, and where the sheet has to be named.
    """
    import openpyxl

    refuse_other_kinds(raw, file)
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            mended = _guard(archive, file, repair)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # about styles and extensions that are not used
                book = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=True, keep_links=False)
                try:
                    return _table(book, archive, raw, file, sheet, decimal, mended)
                finally:
                    book.close()
    except InputFaults:
        raise
    except Exception as error:  # whatever a damaged workbook makes the reader stumble over
        raise refuse(
            file, f"a workbook that can't be read ({type(error).__name__})", "a sound .xlsx file", _AGAIN
        ) from None


def _guard(archive: zipfile.ZipFile, file: str, repair: bool) -> list[str]:
    """Refuse bombs, encrypted or foreign zips, and document types; links and macros, too, but for repair."""
    entries = archive.infolist()
    names = {entry.filename for entry in entries}
    total = sum(entry.file_size for entry in entries)
    if len(entries) > MOST_ENTRIES:
        raise refuse(file, f"{len(entries)} entries in the workbook", f"at most {MOST_ENTRIES}", _AGAIN)
    if total > MOST_UNPACKED_BYTES:
        raise refuse(
            file, f"{total / 1e6:.0f} MB unpacked", f"at most {MOST_UNPACKED_BYTES / 1e6:g} MB unpacked", _AGAIN
        )
    for entry in entries:
        if entry.flag_bits & 1:
            raise refuse(file, "an encrypted workbook", "a .xlsx file without a password", "save it without a password")
        if not entry.filename.startswith("xl/worksheets/") and entry.file_size > MOST_PART_BYTES:
            raise refuse(
                file,
                f"{entry.filename} of {entry.file_size / 1e6:.0f} MB",
                f"at most {MOST_PART_BYTES / 1e6:g} MB",
                _AGAIN,
            )
        if entry.file_size > 1_000_000 and entry.file_size > HIGHEST_RATIO * max(entry.compress_size, 1):
            raise refuse(
                file, f"{entry.filename} unpacks to {entry.file_size / max(entry.compress_size, 1):.0f} times its size",
                f"at most {HIGHEST_RATIO:g} times", "check where the file comes from",
            )  # fmt: skip
    if len(names) != len(entries):
        raise refuse(file, "two entries of one name in the workbook", "a sound .xlsx file", _AGAIN)
    if "[Content_Types].xml" not in names or not any(name.startswith("xl/") for name in names):
        raise refuse(file, "a zip that is no workbook", "a .xlsx file", "give the workbook inside it")
    for entry in entries:
        if entry.filename.lower().endswith((".xml", ".rels", ".vml")):
            with archive.open(entry) as stream:
                _no_document_type(stream, file, entry.filename)
    mended = []
    for told, what in (
        (any(name.startswith("xl/externalLinks/") for name in names), "links to other files"),
        (any("vbaProject" in name for name in names), "macros"),
    ):
        if told and not repair:
            raise refuse(
                file, f"a workbook with {what}", "a workbook of plain values",
                f"{_AGAIN}; or read it with repair, which takes the stored values and says so",
            )  # fmt: skip
        if told:
            mended.append(f"the workbook has {what}: left alone, the stored values are read")
    return mended


def _no_document_type(stream: Any, file: str, entry: str) -> None:
    before = b""
    while chunk := stream.read(1 << 20):
        if not before and (b"\0" in chunk[:8] or chunk[:2] in (b"\xff\xfe", b"\xfe\xff")):
            raise refuse(file, f"{entry} is not in UTF-8", "a sound .xlsx file", _AGAIN)
        if b"<!DOCTYPE" in before + chunk or b"<!ENTITY" in before + chunk:
            raise refuse(file, f"a document type in {entry}", "a .xlsx file without one", _AGAIN)
        before = chunk[-16:]


def _table(
    book: Any, archive: zipfile.ZipFile, raw: bytes, file: str, asked: str, decimal: str, mended: list[str]
) -> Table:
    sheets = book.worksheets
    if len(sheets) > MOST_SHEETS:
        raise refuse(file, f"{len(sheets)} sheets", f"at most {MOST_SHEETS}", _AGAIN)
    looks = []
    total = 0
    for one in sheets:
        with archive.open(one._worksheet_path.lstrip("/")) as stream:
            look = _look(stream, f"{file}, sheet {shorten(one.title)}", MOST_CELLS - total)
        total += look.cells
        looks.append((one, look))
    filled = [(one, look) for one, look in looks if look.cells]
    titles = ", ".join(shorten(one.title, 40) for one, _ in filled[:12])
    if asked:
        chosen = [(one, look) for one, look in filled if one.title == asked]
        if not chosen:
            raise refuse(file, f"no filled sheet {asked!r}", f"one of {titles or 'none'}", "name one of these sheets")
    else:
        chosen = [(one, look) for one, look in filled if one.sheet_state == "visible"]
        if not chosen:
            raise refuse(file, "no visible sheet with cells", "a sheet with a header and rows", _AGAIN)
        if len(chosen) > 1:
            raise refuse(file, f"{len(chosen)} filled sheets: {titles}", "one", "say which sheet holds the table")
    sheet, look = chosen[0]
    notes = [f"sheet: {shorten(sheet.title)}" + ("" if asked or len(filled) == 1 else " (the only visible one)")]
    if look.last_row * look.last_column > MOST_PLACES:
        raise refuse(
            file, f"{look.last_row} rows of {look.last_column} columns", f"at most {MOST_PLACES} places",
            "remove the lone cells far from the table", f"{letter(look.last_column)}{look.last_row}", look.last_row,
        )  # fmt: skip
    rows = [
        _trimmed(_cell(one, look.formulas.get((at, column))) for column, one in enumerate(line, 1))
        for at, line in enumerate(sheet.iter_rows(max_row=look.last_row, max_col=look.last_column), 1)
    ][: look.last_row]
    for at, row in enumerate(rows, 1):
        for column, cell in enumerate(row, 1):
            if len(cell.text) >= MOST_CHARACTERS:
                raise refuse(
                    file, cell.text, f"fewer than {MOST_CHARACTERS} characters in a cell", "shorten the cell",
                    f"{letter(column)}{at}", at,
                )  # fmt: skip
    found = decimal or decimal_sign(rows)
    if look.formulas:
        notes.append(f"{len(look.formulas)} cells hold formulas: they are not worked out, stored values are read")
    if look.merges:
        notes.append(f"{look.merges} merged cells: only the first cell of each holds the value")
    if found:
        notes.append(f"decimal sign of numbers kept as text: {found}")
    hidden = [
        (f"{len(look.hidden_rows)} rows", look.hidden_rows),
        (f"{len(look.hidden_columns)} columns", look.hidden_columns),
    ]
    notes += [f"{words} are hidden, and read like the others" for words, places in hidden if places]
    return Table(
        file, shorten(sheet.title), tuple(rows), tuple(range(1, len(rows) + 1)), digest_of(raw), found, tuple(notes),
        tuple(mended), frozenset(look.hidden_rows), frozenset(look.hidden_columns),
    )  # fmt: skip


def _trimmed(cells: Iterator[Cell]) -> tuple[Cell, ...]:
    """A row without the blank cells at its end."""
    row = list(cells)
    while row and row[-1].blank:
        row.pop()
    return tuple(row)


def _cell(one: Any, stored: bool | None) -> Cell:
    if stored is False:
        return Cell("uncalculated", "a formula without a stored value")
    value = one.value
    if value is None:
        return BLANK
    if isinstance(value, bool):
        return Cell("truth", "yes" if value else "no")
    if isinstance(value, int | float):
        number = float(value)
        if not abs(number) < _HUGE or (isinstance(value, int) and int(number) != value):
            return Cell("error", "a number without end or with too many digits")
        if str(one.number_format or "").rstrip().endswith("%"):  # 30 % is stored as 0.3
            return text_cell(f"{(Decimal(repr(value)) * 100).normalize():f} %")
        text = str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
        if _ZEROS.fullmatch(str(one.number_format or "")) and number.is_integer() and 0 <= number < 1e15:
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


def _look(stream: Any, where: str, most_cells: int) -> _Look:
    """One pass over a sheet: bounds, formulas, merges, hidden rows and columns."""
    look = _Look()
    row = column = 0
    for event, element in ElementTree.iterparse(stream, events=("start", "end")):
        tag = element.tag.rpartition("}")[2]
        if event == "start":
            if tag == "row":
                row, column = _whole(element.get("r"), row + 1), 0
                if (element.get("hidden") or "").lower() in ("1", "true") and len(look.hidden_rows) < MOST_ROWS:
                    look.hidden_rows.add(row)
            elif tag == "c":
                match = _REF.fullmatch(element.get("r") or "")
                column = column_of(match.group(1)) if match else column + 1
            continue
        if tag == "c":
            _note(element, row, column, look, where, most_cells)
            element.clear()
        elif tag == "row":
            element.clear()
        elif tag == "col" and (element.get("hidden") or "").lower() in ("1", "true"):
            first, last = _whole(element.get("min"), 1), _whole(element.get("max"), 1)
            look.hidden_columns.update(range(first, min(last, MOST_COLUMNS) + 1))
        elif tag == "mergeCell":
            look.merges += 1
    look.hidden_rows = {one for one in look.hidden_rows if one <= look.last_row}
    look.hidden_columns = {one for one in look.hidden_columns if one <= look.last_column}
    return look


def _note(element: Any, row: int, column: int, look: _Look, where: str, most_cells: int) -> None:
    parts = {child.tag.rpartition("}")[2]: child for child in element}
    stored = "is" in parts or ("v" in parts and (parts["v"].text or "") != "")
    if "f" in parts:
        look.formulas[row, column] = stored or element.get("t") == "str"
    if not stored and "f" not in parts:
        return
    look.cells += 1
    if look.cells > most_cells:
        raise refuse(where, f"more than {MOST_CELLS} filled cells", f"at most {MOST_CELLS}", _AGAIN)
    if row > MOST_ROWS:
        raise refuse(where, f"a value in row {row}", f"at most {MOST_ROWS} rows", "export fewer points")
    if column > MOST_COLUMNS:
        raise refuse(
            where,
            f"a value in column {letter(column)}",
            f"at most {MOST_COLUMNS} columns",
            "export the columns that are needed",
        )
    look.last_row, look.last_column = max(look.last_row, row), max(look.last_column, column)


def _whole(text: str | None, otherwise: int) -> int:
    return int(text) if text and text.isascii() and text.isdecimal() and len(text) < 9 else otherwise
