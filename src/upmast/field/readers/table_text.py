"""
Text with delimiters as a table: comma, semicolon or tab, quotes, UTF-8, UTF-16 or a western single-byte text.

Encoding, delimiter and decimal sign are found by evidence, and each is said in the notes of the table. A cell that begins like
a formula is text like any other.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator

from upmast.errors import FaultList, shorten
from upmast.field.readers.cell_value import looks_like_number
from upmast.field.readers.table import (
    MOST_BYTES,
    MOST_CELLS,
    MOST_CHARACTERS,
    MOST_COLUMNS,
    MOST_FAULTS,
    MOST_ROWS,
    Table,
    decimal_sign,
    digest_of,
    refuse,
    refuse_other_kinds,
)
from upmast.site.sheet_read import DELIMITERS, Cell, decode, text_cell

_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\x85\u2028\u2029]")
_AGAIN = "export the table again"
MOST_LINE = MOST_COLUMNS * MOST_CHARACTERS  # characters
SAMPLE = 200_000  # characters that the delimiter is found from
_SAID = re.compile(r"\s*\"?sep=(.)\"?\s*\r?")


def read_text(raw: bytes, file: str, *, decimal: str = "", repair: bool = False) -> Table:
    """
    A table from the bytes of a text file; see `read_table` for the parameters.

    Repair takes control characters for blanks, quotes that don't close for plain characters, and cuts cells that are too long;
    each is listed in `mended`.

    Raises
    ------
    InputFaults
        With every fault found.
    """
    refuse_other_kinds(raw, file)
    mended: list[str] = []
    text, encoding = decode(raw, file)
    notes = [f"encoding: {encoding}"]
    text = _plain(text, file, repair, mended)
    for at, line in enumerate(io.StringIO(text, newline=""), 1):
        if len(line) > MOST_LINE:
            raise refuse(
                file, f"a line of {len(line)} characters", f"at most {MOST_COLUMNS} columns, {MOST_LINE} characters", _AGAIN,
                f"line {at}", at,
            )  # fmt: skip
    first, _, rest = text.partition("\n")
    said = _SAID.fullmatch(first)
    skipped = 0
    if said and said.group(1) in DELIMITERS:
        delimiter, text, skipped = said.group(1), rest, 1
    else:
        delimiter = delimiter_of(text)
    notes.append(f"delimiter: {DELIMITERS[delimiter]}" + (" (said by the file)" if skipped else " (found by trying)"))
    rows, lines, widths = _rows(text, delimiter, file, repair, mended)
    if not any(rows):
        raise refuse(file, "no filled cell", "a header and rows under it", _AGAIN)
    _refuse_split_numbers(rows, lines, widths, delimiter, file)
    found = decimal or decimal_sign(rows)
    if (
        found == ""
        and delimiter == ","
        and any("." in c.text and looks_like_number(c.text) for row in rows for c in row)
    ):
        found = "."
    notes.append(_decimal_words(found, decimal))
    return Table(
        file, "", tuple(rows), tuple(at + skipped for at in lines), digest_of(raw), found, tuple(notes), tuple(mended)
    )  # fmt: skip


def delimiter_of(text: str) -> str:
    """
    The delimiter that parts most of the lower rows into the same number of cells; tab goes before semicolon before comma.

    The lower half is looked at, since titles stand above; commas come last, since they stand inside numbers, too.
    """
    shares: dict[str, float] = {}
    for one in ("\t", ";", ","):
        counts: list[int] = []
        try:
            for row in csv.reader(io.StringIO(text[:SAMPLE], newline=""), delimiter=one):
                if any(cell.strip() for cell in row):
                    counts.append(len(row))
                if len(counts) >= 400:
                    break
        except csv.Error:
            continue
        lower = Counter(counts[len(counts) // 2 :])
        many = [(number, width) for width, number in lower.items() if width > 1]
        shares[one] = max(many)[0] / sum(lower.values()) if many else 0.0
        if shares[one] >= 0.5:
            return one
    if any(shares.values()):
        return max(shares, key=lambda one: shares[one])
    return max((",", ";", "\t"), key=text[:SAMPLE].count)


def _decimal_words(found: str, given: str) -> str:
    names = {",": "comma", ".": "point"}
    if given:
        return f"decimal sign: {names[given]} (said by a person)"
    if found in names:
        return f"decimal sign: {names[found]} (found by looking)"
    if found == "both":
        return "decimal sign: both comma and point are found; each number has to show its own"
    return "decimal sign: none shows; a point is taken for one"


def _plain(text: str, file: str, repair: bool, mended: list[str]) -> str:
    found = _CONTROL.search(text)
    if found is None:
        return text
    if not repair:
        line = text.count("\n", 0, found.start()) + 1
        raise refuse(
            file, f"a control character, code {ord(found.group()):#04x}", "plain text",
            f"{_AGAIN}; or read it with repair, which takes it for a blank and says so", f"line {line}", line,
        )  # fmt: skip
    text, count = _CONTROL.subn(" ", text)
    mended.append(f"{count} control characters taken for blanks")
    return text


def _rows(
    text: str, delimiter: str, file: str, repair: bool, mended: list[str]
) -> tuple[list[tuple[Cell, ...]], list[int], list[int]]:
    """Rows of cells, the line that each begins in, and its number of cells before empty ones at its end are cut."""
    try:
        return _parsed(text, delimiter, file, repair, mended, quoted=True)
    except csv.Error as error:
        if not repair:
            line = int(getattr(error, "line", 0))
            raise refuse(
                file, f"line {line}: {_csv_words(error)}", "quotes in pairs around a whole cell",
                "mend the quotes, or read it with repair, which takes quotes for plain characters and says so",
                f"line {line}", line,
            ) from None  # fmt: skip
    mended.append("quotes that don't pair are taken for plain characters")
    try:
        return _parsed(text, delimiter, file, repair, mended, quoted=False)
    except csv.Error as error:
        raise refuse(file, _csv_words(error), "rows of delimited text", _AGAIN) from None


def _csv_words(error: csv.Error) -> str:
    text = str(error)
    if "unexpected end" in text:
        return "a quote is opened and never closed"
    if "field larger" in text:
        return "a cell without end"
    return "a quote inside a cell that is not closed rightly" if "expected after" in text else shorten(text)


def _parsed(
    text: str, delimiter: str, file: str, repair: bool, mended: list[str], *, quoted: bool
) -> tuple[list[tuple[Cell, ...]], list[int], list[int]]:
    stream = io.StringIO(text, newline="")
    reader = (
        csv.reader(stream, delimiter=delimiter, strict=True)
        if quoted
        else csv.reader(stream, delimiter=delimiter, quoting=csv.QUOTE_NONE)
    )
    faults = FaultList(file, MOST_FAULTS)
    rows: list[tuple[Cell, ...]] = []
    lines: list[int] = []
    widths: list[int] = []
    cells = cut = 0
    for at, line in _numbered(reader):
        widths.append(len(line))
        if line and not line[-1].strip():
            last = max((k for k, one in enumerate(line, 1) if one.strip()), default=0)
            del line[last:]
        cells += len(line)
        if len(rows) >= MOST_ROWS:
            raise refuse(
                file, f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS} rows", "export fewer points", "", at
            )
        if len(line) > MOST_COLUMNS:
            raise refuse(
                file, f"{len(line)} columns", f"at most {MOST_COLUMNS} columns", "export the columns that are needed",
                f"line {at}", at,
            )  # fmt: skip
        if cells > MOST_CELLS:
            raise refuse(file, f"more than {MOST_CELLS} cells", f"at most {MOST_CELLS}", "export fewer points", "", at)
        if line and max(map(len, line)) > MOST_CHARACTERS:
            for k, one in enumerate(line, 1):
                if len(one) > MOST_CHARACTERS:
                    cut += 1
                    if not repair:
                        faults.add(
                            f"column {k}", one, f"at most {MOST_CHARACTERS} characters in a cell",
                            "mend the cell; a quote may not be closed", at, k,
                        )  # fmt: skip
        if not quoted:
            line = [one.strip().strip('"') for one in line]
        rows.append(tuple([_cell(one) for one in line]))
        lines.append(at)
    faults.raise_if_any()
    if cut:
        mended.append(f"{cut} cells cut to {MOST_CHARACTERS} characters")
    return rows, lines, widths


def _cell(text: str) -> Cell:
    """As `text_cell`, at once for the usual cell: nothing unseen in it, no blanks around it."""
    if text.isascii() and len(text) <= MOST_CHARACTERS and text[:1] > " " and text[-1:] > " ":
        return Cell("text", text)
    return text_cell(text)


def _numbered(reader: Iterator[list[str]]) -> Iterator[tuple[int, list[str]]]:
    """Rows with the line that each begins in; a csv.Error gets the line as `line`."""
    while True:
        at: int = getattr(reader, "line_num") + 1  # noqa: B009, the type of csv readers is private
        try:
            line = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            error.line = at  # type: ignore[attr-defined]
            raise
        yield at, line


def _refuse_split_numbers(
    rows: list[tuple[Cell, ...]], lines: list[int], widths: list[int], delimiter: str, file: str
) -> None:
    """
    Refuse `698,5,-17,2`: commas between cells and inside numbers can't be told apart.

    Seen where commas part the cells, no number has a point, and a row with numbers has more cells than the row of words above.
    """
    if delimiter != ",":
        return
    if any("." in cell.text and looks_like_number(cell.text) for row in rows for cell in row):
        return
    words = 0
    for row, at, width in zip(rows, lines, widths, strict=True):
        numbers = sum(looks_like_number(cell.text) for cell in row)
        if not numbers and len(row) > 1:
            words = width
        elif words and numbers > 1 and width > words:
            raise refuse(
                file, f"{width} cells in a row under {words} headers", "commas either between cells or inside numbers",
                "export with semicolons between cells, or with decimal points", f"line {at}", at,
            )  # fmt: skip


__all__ = ["MOST_BYTES", "read_text"]
