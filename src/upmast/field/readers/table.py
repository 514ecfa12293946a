"""
A table out of a field file as plain cells, with its bounds and with everything that was taken for granted on reading it.

A `Table` is made by `table_text` or `table_xlsx`; `read_table` looks at the content, not at the name, to choose between them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from upmast.errors import Fault, InputFaults, shorten
from upmast.field.readers.cell_value import comma_or_point, looks_like_number
from upmast.site.sheet_read import BLANK, Cell, letter

MOST_BYTES = 32 * 1024 * 1024
MOST_ROWS = 200_000
MOST_COLUMNS = 200
MOST_CELLS = 1_000_000
MOST_CHARACTERS = 2_000  # of one cell
MOST_FAULTS = 200
MOST_COUNTED = 5_000  # rows with faults that are counted; then the reading ends
_AGAIN = "export it again as .csv or .xlsx"


@dataclass(frozen=True, slots=True)
class Table:
    """
    Rows of cells. Rows and columns count from 1; `lines` holds the line of the file (the row of the sheet) of each row.

    `decimal` is `.` or `,` by the evidence of the table, '' where nothing shows it, 'both' for a mixture. `notes` tell what was
    guessed on reading, `mended` what was repaired, `digest` is that of the raw bytes.
    """

    file: str
    sheet: str
    rows: tuple[tuple[Cell, ...], ...]
    lines: tuple[int, ...]
    digest: str
    decimal: str = ""
    notes: tuple[str, ...] = ()
    mended: tuple[str, ...] = ()
    hidden_rows: frozenset[int] = frozenset()  # positions in `rows`, from 1
    hidden_columns: frozenset[int] = frozenset()

    def at(self, row: int, column: int) -> Cell:
        """The cell of a row and column that count from 1; a blank one outside."""
        line = self.rows[row - 1] if 0 < row <= len(self.rows) else ()
        return line[column - 1] if 0 < column <= len(line) else BLANK

    @property
    def columns_count(self) -> int:
        return max((len(row) for row in self.rows), default=0)

    def line(self, row: int) -> int:
        """The line of the file that a row stands in."""
        return self.lines[row - 1] if 0 < row <= len(self.lines) else 0

    def place(self, row: int, column: int) -> str:
        """`B12`, with the sheet before it where there is one; columns by letters, as a spreadsheet shows them."""
        cell = f"{letter(column) if column else 'row '}{self.line(row)}"
        return f"{self.sheet}!{cell}" if self.sheet else cell

    def texts(self) -> tuple[tuple[str, ...], ...]:
        """The rows as text only."""
        return tuple(tuple(cell.text for cell in row) for row in self.rows)


def named_by_sheet(table: Table) -> str:
    """The name that a table is called by: its file, and its sheet where it has one: `losses.xlsx, North`."""
    return f"{table.file}, {table.sheet}" if table.sheet else table.file


def refuse(file: str, got: object, expected: str, remedy: str, place: str = "", line: int = 0) -> InputFaults:
    """One fault about a whole file, or one place of it."""
    return InputFaults([Fault(file, place, shorten(got) if got else "", expected, remedy, line, 1 if line else 0)])


def decimal_sign(rows: Iterable[tuple[Cell, ...]], least: int = 2) -> str:
    """
    The decimal sign that the rows show beyond doubt: `,` or `.`, '' for neither, 'both' for a mixture.

    Only rows with `least` numbers or more count, so that a version or a date above the table shows nothing.
    """
    rows = list(rows)
    open_ = {sign for sign in ",." if any(sign in cell.text for row in rows for cell in row if cell.kind == "text")}
    found: set[str] = set()
    for row in rows:
        texts = [cell.text for cell in row if cell.kind == "text" and len(cell.text) <= 40]
        if sum(looks_like_number(one) for one in texts) + sum(cell.kind == "number" for cell in row) < least:
            continue
        found |= {sign for one in texts if (sign := comma_or_point(one))}
        if found == open_:  # nothing else can be found
            break
    return "both" if len(found) == 2 else found.pop() if found else ""


def digest_of(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


def read_table(raw: bytes, file: str, *, sheet: str = "", decimal: str = "", repair: bool = False) -> Table:
    """
    One table of a file, by its content: a workbook or a text with delimiters.

    Parameters
    ----------
    sheet : name of the sheet of a workbook; needed where more than one holds cells.
    decimal : `,` or `.` where a person knows it; it goes before what the table shows.
    repair : mend what can be mended without guessing at a number, and list it in `mended`.

    Raises
    ------
    InputFaults
        If the file is empty, too large, of another kind, damaged or hostile.
    """
    from upmast.field.readers.table_text import read_text
    from upmast.field.readers.table_xlsx import read_xlsx

    if decimal not in ("", ",", "."):
        raise ValueError("decimal is ',', '.' or ''")
    refuse_other_kinds(raw, file)
    if raw.startswith(b"PK"):
        return read_xlsx(raw, file, sheet=sheet, decimal=decimal, repair=repair)
    return read_text(raw, file, decimal=decimal, repair=repair)


def read_table_file(path: Path, *, sheet: str = "", decimal: str = "", repair: bool = False) -> Table:
    """Like `read_table`, from a path; not more than the bound of bytes is read. Raises OSError if it can't be opened."""
    with path.open("rb") as stream:
        raw = stream.read(MOST_BYTES + 1)
    return read_table(raw, path.name, sheet=sheet, decimal=decimal, repair=repair)


def refuse_other_kinds(raw: bytes, file: str) -> None:
    """Raise InputFaults for what is no table by its first bytes or its size."""
    if len(raw) > MOST_BYTES:
        raise refuse(file, f"more than {MOST_BYTES >> 20} MB", f"at most {MOST_BYTES >> 20} MB", "export fewer points")
    if not raw.strip(b" \t\r\n\0"):
        raise refuse(file, "an empty file", "a table with a header and rows", _AGAIN)
    if raw.startswith(b"\xd0\xcf\x11\xe0"):
        raise refuse(
            file, "an old or encrypted workbook", "a .xlsx or .csv file", "save it as .xlsx without a password"
        )
    if raw.startswith((b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"BM")) or raw[4:8] == b"ftyp":
        raise refuse(
            file,
            "a document or picture",
            "a .xlsx or .csv file",
            "a picture proves little: export the values themselves",
        )
    if raw.startswith((b"{\\rtf", b"<html", b"<HTML", b"<!DOCTYPE", b"<?xml")):
        raise refuse(file, "marked-up text (HTML, XML or RTF)", "a .xlsx or .csv file", _AGAIN)
    if raw.startswith((b"\x1f\x8b", b"7z\xbc\xaf", b"Rar!", b"BZh")):
        raise refuse(file, "a packed file", "a .xlsx or .csv file", "unpack it first")
