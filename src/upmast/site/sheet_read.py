"""
A spreadsheet file as plain cells: .xlsx or .csv, bounded, nothing in it executed or followed.

What comes out is a `Book` of sheets; each cell knows what a person sees in it and what kind of value it is.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from upmast.errors import Fault, InputFaults, shorten

MOST_BYTES = 20_000_000
MOST_ROWS = 5_000
MOST_COLUMNS = 200
MOST_TEXT = 2_000  # characters of one cell that are kept
DELIMITERS = {";": "semicolon", "\t": "tab", ",": "comma"}  # the first wins a draw: commas stand in numbers, too
_UNSEEN = re.compile("[\u200b\u200c\u200d\u2060\ufeff]")


@dataclass(frozen=True, slots=True)
class Cell:
    """
    One cell. `kind` is blank, text, number, truth, date, error or uncalculated (a formula whose value is not stored).

    `text` is what a person sees, without spaces around it; `number` is there for numbers only.
    """

    kind: str = "blank"
    text: str = ""
    number: float | None = None

    @property
    def blank(self) -> bool:
        return self.kind == "blank"


BLANK = Cell()


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: cells by row; hidden rows and columns count from 1; merges are (row, column, last row, last column)."""

    name: str
    rows: tuple[tuple[Cell, ...], ...]
    hidden: bool = False
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    merges: tuple[tuple[int, int, int, int], ...] = ()
    formulas_count: int = 0

    def at(self, row: int, column: int) -> Cell:
        """The cell of a row and column that count from 1; a blank one outside."""
        line = self.rows[row - 1] if 0 < row <= len(self.rows) else ()
        return line[column - 1] if 0 < column <= len(line) else BLANK

    @property
    def columns_count(self) -> int:
        return max((len(row) for row in self.rows), default=0)


@dataclass(frozen=True, slots=True)
class Book:
    """All sheets of a file, and what was noticed on reading: the guesses about its form are told, not hidden."""

    file: str
    sheets: tuple[Sheet, ...]
    notes: tuple[str, ...] = field(default=())


def refuse(file: str, got: object, expected: str, remedy: str) -> InputFaults:
    """One fault about the whole file."""
    return InputFaults([Fault(file, "", str(got), expected, remedy)])


def letter(column: int) -> str:
    """The letters of a column that counts from 1: 1 is A, 27 is AA."""
    out = ""
    while column > 0:
        column, rest = divmod(column - 1, 26)
        out = chr(65 + rest) + out
    return out


def column_of(letters: str) -> int:
    """The number of a column from its letters; 0 if they are none."""
    if not re.fullmatch(r"[A-Za-z]{1,3}", letters):
        return 0
    out = 0
    for ch in letters.upper():
        out = out * 26 + ord(ch) - 64
    return out


def text_cell(text: str) -> Cell:
    """A cell of text, whatever the text says: a text that looks like a formula stays a text."""
    kept = _UNSEEN.sub("", text[:MOST_TEXT]).strip()
    return Cell("text", kept) if kept else BLANK


def read(path: Path) -> Book:
    """
    Read a file by its content: a workbook or a text with delimiters.

    Raises
    ------
    InputFaults
        If the file is missing, too large, of another kind, damaged or hostile.
    """
    try:
        if not path.is_file():
            raise refuse(path.name, "no plain file", "a .xlsx or .csv file", "check the path")
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise refuse(path.name, f"{size / 1e6:.1f} MB", f"at most {MOST_BYTES / 1e6:g} MB", "save the list alone")
        raw = path.read_bytes()
    except OSError as error:
        raise refuse(path.name, error.strerror or "unreadable", "a file that can be read", "check the path") from None
    return read_bytes(raw, path.name)


def read_bytes(raw: bytes, file: str) -> Book:
    """Like `read`, for the content of a file."""
    if len(raw) > MOST_BYTES:
        raise refuse(file, f"{len(raw) / 1e6:.1f} MB", f"at most {MOST_BYTES / 1e6:g} MB", "save the list alone")
    if raw.startswith(b"PK"):
        from upmast.site.sheet_xlsx import read_xlsx

        return read_xlsx(raw, file)
    if raw.startswith(b"\xd0\xcf\x11\xe0"):
        raise refuse(
            file, "an old or encrypted workbook", "a .xlsx or .csv file", "save it as .xlsx without a password"
        )
    if raw.startswith((b"%PDF", b"\x89PNG", b"\xff\xd8\xff")):
        raise refuse(file, "a document or picture", "a .xlsx or .csv file", "ask for the list itself")
    return read_csv(raw, file)


def read_csv(raw: bytes, file: str) -> Book:
    """A text file with delimiters. What was guessed about encoding and delimiter stands in the notes."""
    text, encoding = decode(raw, file)
    notes = [f"encoding: {encoding}"]
    first, _, rest = text.partition("\n")
    said = re.fullmatch(r"\s*\"?sep=(.)\"?\s*", first)
    delimiter = said.group(1) if said and said.group(1) in DELIMITERS else sniff(text)
    notes.append(f"delimiter: {DELIMITERS[delimiter]}" + (" (said by the file)" if said else " (found by trying)"))
    rows: list[tuple[Cell, ...]] = []
    if said:
        rows.append((BLANK,))
        text = rest
    try:
        for line in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            rows.append(tuple(text_cell(one) for one in _trimmed(line)))
            if len(rows) > MOST_ROWS:
                raise refuse(file, f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS} rows", "split the list")
            if len(rows[-1]) > MOST_COLUMNS:
                raise refuse(
                    file,
                    f"{len(rows[-1])} columns in row {len(rows)}",
                    f"at most {MOST_COLUMNS}",
                    "remove the columns that aren't needed",
                )
    except csv.Error as error:
        raise refuse(
            file, f"row {len(rows) + 1}: {error}", "rows of delimited text", "mend the row, or save as .xlsx"
        ) from None
    name = re.sub(r"\.[A-Za-z0-9]{1,5}$", "", file) or file
    return Book(file, (Sheet(shorten(name), tuple(rows)),), tuple(notes))


def _trimmed(line: list[str]) -> list[str]:
    """A row without the empty cells at its end."""
    last = max((at for at, one in enumerate(line, 1) if one.strip()), default=0)
    return line[:last]


def decode(raw: bytes, file: str) -> tuple[str, str]:
    """Text and the name of its encoding: by its mark, by its zero bytes, UTF-8, else the western single-byte one."""
    for mark, name, words in (
        (codecs.BOM_UTF8, "utf-8-sig", "UTF-8 with mark"),
        (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"),
        (codecs.BOM_UTF16_BE, "utf-16", "UTF-16"),
    ):
        if raw.startswith(mark):
            return _decoded(raw, name, words, file)
    head = raw[:4000]
    if head.count(0) > len(head) // 5:
        little = head[1::2].count(0) >= head[0::2].count(0)
        return _decoded(raw, "utf-16-le" if little else "utf-16-be", "UTF-16 without mark", file)
    if 0 in raw:
        raise refuse(file, "bytes that are no text", "a .xlsx or .csv file", "check that it is the right file")
    try:
        return raw.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        pass
    try:
        return raw.decode("cp1252"), "western, 8 bit (Windows-1252): check letters with accents"
    except UnicodeDecodeError:
        return raw.decode("latin-1"), "western, 8 bit (ISO 8859-1): check letters with accents"


def _decoded(raw: bytes, name: str, words: str, file: str) -> tuple[str, str]:
    try:
        return raw.decode(name), words
    except UnicodeDecodeError as error:
        raise refuse(file, f"a byte at {error.start} that is no {words}", f"text in {words}", "save it again") from None


def sniff(text: str) -> str:
    """The delimiter that parts most of the first rows into the same number of cells."""
    return max(DELIMITERS, key=lambda one: _evenness(text, one))


def _evenness(text: str, delimiter: str) -> tuple[float, int]:
    counts: list[int] = []
    try:
        for row in csv.reader(_lines(text), delimiter=delimiter):
            if any(one.strip() for one in row):
                counts.append(len(row))
            if len(counts) >= 60:
                break
    except csv.Error:
        return (0.0, 0)
    many = [count for count in counts if count > 1]
    if not many:
        return (0.0, 0)
    usual = max(set(many), key=lambda count: (many.count(count), count))
    # a comma inside numbers or titles makes ragged rows; the true delimiter makes equal ones
    return (many.count(usual) * min(usual, 8) / len(counts), usual)


def _lines(text: str) -> Iterable[str]:
    return io.StringIO(text[:200_000], newline="")
