"""Invented radio lists for the tests of this folder: workbooks and delimited texts made on the spot."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence

import pytest
import xlsxwriter

from upmast.catalogue.catalogue import Catalogue, standard
from upmast.site.sheet_memory import Memory
from upmast.site.sheet_preview import Preview
from upmast.site.sheet_read import read_bytes
from upmast.site.spreadsheet import preview

Rows = Sequence[Sequence[object]]


def made(rows: Rows, hidden: Sequence[int] = (), merges: Sequence[tuple[int, int, int, int, object]] = ()) -> bytes:
    """A workbook of one sheet; texts stay texts, also those that begin with an equals sign; merges count from 0."""
    target = io.BytesIO()
    with xlsxwriter.Workbook(target, {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        sheet = book.add_worksheet("Radios")
        for row in merges:
            sheet.merge_range(*row)
        for at, line in enumerate(rows):
            for column, value in enumerate(line):
                if value is not None and value != "":
                    sheet.write(at, column, value)
        for at in hidden:
            sheet.set_row(at - 1, None, None, {"hidden": True})
    return target.getvalue()


@pytest.fixture(scope="session")
def catalogue() -> Catalogue:
    return standard()


@pytest.fixture(scope="session")
def workbook() -> Callable[..., bytes]:
    return made


@pytest.fixture(scope="session")
def look(catalogue: Catalogue) -> Callable[..., Preview]:
    """Rows -> preview of a workbook with them."""

    def run(rows: Rows, memory: Memory | None = None, **more: object) -> Preview:
        return preview(read_bytes(made(rows, **more), "list.xlsx"), catalogue, memory)  # type: ignore[arg-type]

    return run


@pytest.fixture(scope="session")
def look_text(catalogue: Catalogue) -> Callable[..., Preview]:
    """Text or bytes -> preview of a delimited text."""

    def run(text: str | bytes, memory: Memory | None = None) -> Preview:
        raw = text if isinstance(text, bytes) else text.encode()
        return preview(read_bytes(raw, "list.csv"), catalogue, memory)

    return run
