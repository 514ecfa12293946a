"""Workbooks and zips made for the tests: sound ones, and ones that no program would write."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterable
from typing import Any

import openpyxl


def book(rows: Iterable[Iterable[Any]], *more: tuple[str, Iterable[Iterable[Any]]]) -> bytes:
    """A workbook with a sheet of these rows, and further named sheets."""
    made = openpyxl.Workbook()
    sheet = made.active
    assert sheet is not None
    for row in rows:
        sheet.append(list(row))
    for name, lines in more:
        other = made.create_sheet(name)
        for row in lines:
            other.append(list(row))
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def rezip(raw: bytes, change: Callable[[dict[str, bytes]], None]) -> bytes:
    """The same zip with its parts changed."""
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    change(parts)
    return zipped(parts)


def zipped(parts: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()
