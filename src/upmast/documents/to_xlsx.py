"""Write a workbook as XLSX. Text stays text whatever it begins with; the only formulas are our own sums."""

from __future__ import annotations

import io
from datetime import datetime
from typing import Any

from upmast.documents.sheet import Cell, Column, Product, Sheet, Workbook, number_of

MOST_CHARACTERS = 32_000  # a cell of the format holds 32 767
EMPTY_ROWS = 2


def xlsx_bytes(book: Workbook, created: datetime) -> bytes:
    """
    The file as bytes; equal content and an equal `created` give equal bytes.

    Raises
    ------
    ValueError
        If two sheets have one name.
    """
    import xlsxwriter

    names = [sheet.name.lower() for sheet in book.sheets]
    if len(set(names)) != len(names):
        raise ValueError("two sheets of one workbook have the same name")
    buffer = io.BytesIO()
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
    }
    with xlsxwriter.Workbook(buffer, options) as file:
        file.set_properties(
            {"title": clean(book.title), "subject": clean(book.subject), "created": created.replace(tzinfo=None)}
        )
        formats = _Formats(file)
        for sheet in book.sheets:
            _write(file.add_worksheet(sheet.name[:31]), sheet, formats, clean(book.title))
    return buffer.getvalue()


class _Formats:
    """The formats of a workbook, each made once."""

    def __init__(self, file: Any) -> None:
        self.file = file
        self.made: dict[tuple[tuple[str, object], ...], Any] = {}

    def get(self, **settings: object) -> Any:
        key = tuple(sorted(settings.items()))
        if key not in self.made:
            self.made[key] = self.file.add_format({"font_name": "Arial", "font_size": 10, **settings})
        return self.made[key]

    def cell(self, column: Column, *, total: bool = False) -> Any:
        settings: dict[str, object] = {"valign": "top", "border": 1, "border_color": "#B8BEC6"}
        if column.kind == "text":
            settings |= {"text_wrap": True, "num_format": "@"}
        elif column.kind == "count":
            settings |= {"num_format": "0"}
        elif column.kind in ("number", "money"):
            pattern = "#,##0" if column.kind == "money" else "0"
            settings |= {"num_format": pattern + ("." + "0" * column.places if column.places else "")}
        if total:
            settings |= {"bold": True, "top": 2, "top_color": "#1F2933"}
        return self.get(**settings)


def _write(ws: Any, sheet: Sheet, formats: _Formats, title: str) -> None:
    table = sheet.table
    row = 0
    ws.write_string(row, 0, clean(table.title), formats.get(bold=True, font_size=14))
    for line in sheet.head:
        row += 1
        ws.write_string(row, 0, clean(line), formats.get(font_color="#4A5560"))
    row += 2
    top = row
    style: dict[str, object] = {
        "bold": True, "text_wrap": True, "valign": "vcenter", "bg_color": "#1F3A5F", "font_color": "#FFFFFF", "border": 1,
        "border_color": "#1F3A5F",
    }  # fmt: skip
    heading, over_numbers = formats.get(**style), formats.get(**style, align="right")
    for at, column in enumerate(table.columns):
        ws.write_string(top, at, clean(column.heading), heading if column.kind == "text" else over_numbers)
        ws.set_column(at, at, column.width)
    ws.set_row(top, 30)
    for cells in table.rows:
        row += 1
        for at, (cell, column) in enumerate(zip(cells, table.columns, strict=True)):
            _cell(ws, row, at, cell, formats.cell(column))
    last = row
    if table.sums and table.rows:
        row += 1
        for at, column in enumerate(table.columns):
            if at in table.sums:
                area = f"{_a1(top + 1, at)}:{_a1(last, at)}"
                ws.write_formula(row, at, f"=SUM({area})", formats.cell(column, total=True), table.sums[at])
            else:
                ws.write_string(
                    row,
                    at,
                    clean(table.sum_words) if at == 0 else "",
                    formats.cell(Column("", kind="text"), total=True),
                )
    if table.note:
        for n, line in enumerate(table.note.split("\n")):
            ws.write_string(row + EMPTY_ROWS + n, 0, clean(line), formats.get(italic=True, font_color="#4A5560"))
    if table.rows:
        ws.autofilter(top, 0, last, len(table.columns) - 1)
    ws.freeze_panes(top + 1, 1)
    ws.set_landscape()
    ws.set_paper(9)
    ws.fit_to_pages(1, 0)
    ws.repeat_rows(top)
    ws.set_margins(left=0.4, right=0.4, top=0.7, bottom=0.7)
    ws.set_header("&L" + title.replace("&", "&&")[:120] + "&R&A")
    ws.set_footer("&RPage &P of &N")
    ws.hide_gridlines(2)


def _cell(ws: Any, row: int, at: int, cell: Cell, style: Any) -> None:
    if isinstance(cell, Product):
        terms = ",".join(f"{_a1(row, a)}*{_a1(row, b)}" for a, b in cell.pairs)
        ws.write_formula(row, at, f"=SUM({terms})", style, cell.value)
        return
    value = number_of(cell)
    if value is not None:
        ws.write_number(row, at, value, style)
    elif cell is None or cell == "":
        ws.write_blank(row, at, None, style)
    else:
        ws.write_string(row, at, clean(str(cell)), style)


def _a1(row: int, column: int) -> str:
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row + 1}"


def clean(text: str) -> str:
    """Text without control characters, not longer than a cell holds. Line breaks stay."""
    kept = "".join(ch if ch.isprintable() or ch == "\n" else " " for ch in text[: MOST_CHARACTERS + 1])
    return kept if len(kept) <= MOST_CHARACTERS else kept[: MOST_CHARACTERS - 1] + "…"
