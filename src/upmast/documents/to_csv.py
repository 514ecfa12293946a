"""Write a table as CSV. A text that a spreadsheet would take for a formula gets an apostrophe before it; numbers stay numbers."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from upmast.documents.sheet import Cell, Table, number_of
from upmast.documents.to_xlsx import clean

FORMULA = ("=", "+", "-", "@", "\t", "\r", "|")


def csv_bytes(table: Table, head: Sequence[str] = (), foot: Sequence[Sequence[Cell]] = ()) -> bytes:
    """
    The file as UTF-8 bytes with CRLF, by RFC 4180.

    Parameters
    ----------
    head: lines above the table, each in a cell of its own. foot: rows below it.
    """
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, quoting=csv.QUOTE_MINIMAL, lineterminator="\r\n")
    for line in (table.title, *head):
        if line:
            writer.writerow([_cell(line)])
    writer.writerow([_cell(column.heading) for column in table.columns])
    for row in (*table.rows, *foot):
        writer.writerow(
            [
                _cell(cell, column.places if column.kind == "number" else None)
                for cell, column in zip(row, table.columns, strict=True)
            ]
        )
    return buffer.getvalue().encode("utf-8")


def _cell(cell: Cell, places: int | None = None) -> str:
    value = number_of(cell)
    if value is not None:
        return f"{value:.{places}f}" if places is not None else f"{value:g}"
    text = clean(str(cell)).replace("\n", " ") if cell is not None else ""
    return f"'{text}" if text.lstrip(" ").startswith(FORMULA) or text.startswith(FORMULA) else text


__all__ = ["csv_bytes"]
