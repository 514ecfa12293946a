"""
A radio list as practitioners have it, read into a preview and from there into sites.

    preview = read(path, catalogue, memory)     what each column and row is taken for; nothing is guessed silently
    drafts = to_sites(preview, catalogue)       plain data for site.yaml, one for each site of the list
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from upmast.catalogue.catalogue import Catalogue
from upmast.errors import Fault, UsageError
from upmast.site import sheet_read
from upmast.site.sheet_fields import BY_NAME
from upmast.site.sheet_map import Column, columns_of, find_header, spread
from upmast.site.sheet_memory import Memory, load, save
from upmast.site.sheet_preview import Preview
from upmast.site.sheet_read import Book, Sheet, column_of
from upmast.site.sheet_rows import Reader, Row
from upmast.site.sheet_sites import Drafts, SiteDraft, to_sites
from upmast.site.sheet_values import decimal_of

__all__ = [
    "Column",
    "Drafts",
    "Memory",
    "Preview",
    "Row",
    "SiteDraft",
    "load_memory",
    "preview",
    "read",
    "save_memory",
    "to_sites",
    "with_mapping",
]

load_memory, save_memory = load, save


def read(
    path: Path,
    catalogue: Catalogue | None = None,
    memory: Memory | None = None,
    mapping: Mapping[str, str | None] | None = None,
) -> Preview:
    """
    Read a .xlsx or .csv file.

    `mapping` decides columns by letter (`{"F": "maximum_w", "G": None}`) and goes before `memory`.

    Raises
    ------
    InputFaults
        If the file can't be read at all; whatever is wrong inside a list that can be read stands in the preview.
    UsageError
        If a decision names a sheet or column that can't be.
    """
    return preview(sheet_read.read(path), catalogue, with_mapping(memory or Memory(), mapping or {}))


def with_mapping(memory: Memory, mapping: Mapping[str, str | None]) -> Memory:
    """Decisions with some columns decided anew. Raises UsageError for what is no column."""
    for key in mapping:
        if not 0 < column_of(key) <= sheet_read.MOST_COLUMNS:
            raise UsageError(f"{key!r} is no column: give its letters, such as F")
    new = {key.upper(): field for key, field in mapping.items()}
    headers = {key: text for key, text in memory.headers.items() if key not in new}
    return memory.model_copy(update={"columns": {**memory.columns, **new}, "headers": headers})


def preview(book: Book, catalogue: Catalogue | None = None, memory: Memory | None = None) -> Preview:
    """The reading of a book; see `read`."""
    memory = memory or Memory()
    sheet, notes = _chosen(book, memory)
    merged = spread(sheet)
    header = memory.header or find_header(sheet, merged)[:2]
    if header[0] > header[1] or header[1] > len(sheet.rows) or (memory.header and header[0] < 1):
        raise UsageError(
            f"header rows {header[0]} to {header[1]} are not in the sheet, which has {len(sheet.rows)} rows"
        )
    known = frozenset(part.id for part in catalogue) if catalogue else frozenset()
    columns = columns_of(sheet, merged, header, memory, known | frozenset(memory.models)) if header[0] else ()
    decimal = memory.decimal or decimal_of(cell for row in sheet.rows[header[1] :] for cell in row)
    reader = Reader(book.file, sheet, merged, columns, header, memory, decimal)
    rows = tuple(reader.read())
    notes = [*book.notes, *notes, *_noticed(sheet, columns, rows, decimal)]
    titled = any(row.kind == "header" and row.reason.startswith("names the site") for row in rows)
    held = any(one.field in ("site", "site_name") for one in columns)
    if header[0] and not (held or titled or memory.site):
        notes.append(f"no column names the site: the name of the sheet, {sheet.name!r}, is taken; decide it with site:")
    asked = tuple(_asked(one, book.file, sheet, header) for one in columns if one.ambiguous)
    missing = tuple(_missing(book.file, sheet, header, columns))
    return Preview(book.file, sheet.name, header, columns, rows, asked, missing, tuple(notes), memory, decimal)


def _chosen(book: Book, memory: Memory) -> tuple[Sheet, list[str]]:
    """The sheet that is read: the one named, else the visible one that looks most like a radio list."""
    if memory.sheet:
        for one in book.sheets:
            if one.name == memory.sheet:
                return one, [f"sheet {one.name!r} is hidden, and was asked for"] if one.hidden else []
        raise UsageError(
            f"no sheet {memory.sheet!r}; there are " + ", ".join(repr(one.name) for one in book.sheets[:20])
        )
    notes = [f"sheet {one.name!r} is hidden: not read" for one in book.sheets if one.hidden]
    visible = [one for one in book.sheets if not one.hidden] or list(book.sheets)
    scores = {id(one): find_header(one, spread(one))[2] for one in visible}
    best = max(visible, key=lambda one: scores[id(one)])
    for one in visible:
        if one is best:
            continue
        like = ", but it looks like a radio list, too: read it by its name" if scores[id(one)] >= 2.4 else ""
        if one.rows:
            notes.append(f"sheet {one.name!r} is not read{like}")
    return best, notes


def _noticed(sheet: Sheet, columns: tuple[Column, ...], rows: tuple[Row, ...], decimal: str) -> list[str]:
    out = []
    if decimal in (",", "both"):
        out.append(
            "decimal comma found" + (", and decimal points, too: check the numbers" if decimal == "both" else "")
        )
    hidden = [str(row.number) for row in rows if row.hidden and row.kind != "blank"]
    if hidden:
        out.append(f"hidden rows: {', '.join(hidden[:20])}" + (" and more" if len(hidden) > 20 else ""))
    unseen = [one.letter for one in columns if one.hidden]
    if unseen:
        out.append(f"hidden columns, read like the others: {', '.join(unseen)}")
    if sheet.formulas_count:
        out.append(f"{sheet.formulas_count} formulas: their stored values are read, nothing is calculated")
    return out


def _asked(column: Column, file: str, sheet: Sheet, header: tuple[int, int]) -> Fault:
    remedy = f"decide it: columns: {{{column.letter}: {column.choices[0] if column.choices else 'FIELD'}}} or {column.letter}: null"
    if "unit" in column.reason or "does not fit" in column.reason:
        remedy = f"decide it: units: {{{column.letter}: UNIT}}, or columns: {{{column.letter}: null}}"
    place = f"{sheet.name}!{column.letter}{header[1]}"
    return Fault(file, place, column.header[:80], f"one meaning: {column.reason}", remedy, header[1], column.number)


def _missing(file: str, sheet: Sheet, header: tuple[int, int], columns: tuple[Column, ...]) -> list[Fault]:
    """One fault for each field that no column holds and no site can do without."""
    if not header[0]:
        return [
            Fault(file, sheet.name, "no row with known headers", "a header with at least two known columns, such as Sector and Model",
                  "say where it is (header: [3, 4]), or head the columns as in docs/import.md", 1, 1)
        ]  # fmt: skip
    held = {one.field for one in columns}
    out = []
    for wanted, words in (
        (("height_m",), BY_NAME["height_m"].meaning),
        (("sector", "azimuth_deg"), "sector or azimuth"),
        (("part", "maximum_w"), "model of the radio, or its power and voltage"),
    ):
        if not held & set(wanted):
            out.append(
                Fault(file, f"{sheet.name}!{header[1]}", "no column for it", words,
                      f"decide which column holds it: columns: {{LETTERS: {wanted[0]}}}", header[1], 1)
            )  # fmt: skip
    return out
