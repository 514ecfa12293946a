"""
A table whose rows are tests of the line by their ids: the program's own test plan filled in, or a plain `Test,Reading`.

The test of a row says what was measured, its wavelength and direction, and the unit where none is written.
"""

from __future__ import annotations

import re
from collections.abc import Mapping as Pairs
from dataclasses import replace

from upmast.field.readers.cell_value import folded
from upmast.field.readers.mapping import Column, Mapping
from upmast.field.readers.mapping_guess import MOST_SEARCHED, is_nothing, numeric
from upmast.field.readers.mapping_memory import Memory
from upmast.field.readers.reading import KINDS
from upmast.field.readers.table import Table
from upmast.field.readers.values_columns import KIND, SUBJECT, VALUE, guess_values
from upmast.site.sheet_read import Cell, text_cell

# what a test is read as, by the part of its id between the first point and the second; a test that is not here is a sweep
KIND_OF: Pairs[str, str] = {
    "pim": "pim", "ol": "optical-loss", "vdc": "voltage", "rloop": "loop-resistance", "ir": "insulation-resistance", "bond": "bond-resistance",
    "shield": "bond-resistance", "torque": "torque", "ef": "end-face-count", "seal": "closed-count", "cap": "closed-count",
}  # fmt: skip
SWEPT = frozenset({"rl", "loss"})
SHARE = 0.5  # so many cells of a column at least are ids of tests: a plan of an earlier line has some others; no source
_READING = frozenset({"reading", "readings", "value", "result", "results", "measured", "measured value", "measurement", "as measured", "reading value"})  # fmt: skip
_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_TWO = re.compile(rf"({_NUMBER})\s*(?:/|to|and|;|-|–|…|\.\.\.?)\s*({_NUMBER})\s*([^0-9]*)")


def suffix_of(test: str) -> str:
    """The kind in the id of a test: `rl` of `A2-J1.rl.load`."""
    parts = test.split(".")
    return parts[1].casefold() if len(parts) > 1 else ""


def is_cautions(table: Table) -> bool:
    """Whether a sheet is the list of cautions of a test plan: it holds no readings."""
    return any(
        [folded(cell.text) for cell in row if not cell.blank] == ["of", "caution"] for row in table.rows[:10]
    ) and not any(numeric(cell) for row in table.rows for cell in row)


def planned(table: Table, tests: frozenset[str], memory: Memory | None = None) -> Mapping | None:
    """
    The mapping of a table whose rows are tests of the line; None for any other table.

    Parameters
    ----------
    tests : ids of the tests of the line, in lower case.
    """
    found = _ids(table, tests) if tests else None
    if found is None:
        return None
    header, column = found
    guess = guess_values(table, memory=memory, header_row=header)
    titles = {one.number: folded(one.header) for one in guess.columns}
    taken = [one for one in guess.columns if one.number != column and _READING & {titles[one.number], titles[one.number].partition(" (")[0]}]  # fmt: skip
    if len(taken) != 1 or any(one.role in KINDS and one.number not in (column, taken[0].number) for one in guess.columns if one.number > column and not _expected(titles[one.number])):  # fmt: skip
        return None
    roles = {
        column: (SUBJECT, "its cells are tests of this line"),
        taken[0].number: (VALUE, "the reading of each test"),
    }
    columns = tuple(_as(one, *roles.get(one.number, ("", ""))) for one in guess.columns)
    return without_kind(replace(guess, columns=columns, kind=""))


def is_by_test(mapping: Mapping) -> bool:
    """Whether each row says its test: a column of readings, and neither a column nor a word for their kind."""
    return mapping.form == "values" and bool(mapping.of(VALUE)) and not mapping.of(KIND) and not mapping.kind


def without_kind(mapping: Mapping) -> Mapping:
    """Such a mapping, with no question for the kind of its readings."""
    return replace(mapping, asked=tuple(one for one in mapping.asked if not one.startswith("kind")))


def _expected(title: str) -> bool:
    return title.startswith(("expected", "limit", "set-up", "over", "what"))


def _as(column: Column, role: str, reason: str) -> Column:
    if role:
        return replace(column, role=role, asked="", choices=(), confidence=0.99, reason=reason)
    if column.role in (*KINDS, VALUE, KIND, SUBJECT) or column.asked:
        return replace(column, role="", unit="", asked="", choices=(), confidence=0.0, reason="the test says it")
    return column


def _ids(table: Table, tests: frozenset[str]) -> tuple[int, int] | None:
    """Header row and column of the ids of tests, both from 1."""
    first: dict[int, int] = {}
    for row, cells in enumerate(table.rows[:MOST_SEARCHED], 1):
        for number, cell in enumerate(cells, 1):
            if number not in first and cell.text.strip().casefold() in tests:
                first[number] = row
    for number, row in sorted(first.items()):
        below = [
            cells[number - 1]
            for cells in table.rows[row - 1 :]
            if len(cells) >= number and not is_nothing(cells[number - 1])
        ]
        ids = sum(cell.text.strip().casefold() in tests for cell in below)
        above = table.at(row - 1, number) if row > 1 else None
        if (
            above is not None
            and not above.blank
            and ids >= SHARE * len(below)
            and not any(numeric(cell) for cell in below)
        ):
            return row - 1, number
    return None


def ends_of(cell: Cell) -> tuple[tuple[str, Cell], ...]:
    """
    The lowest and the highest of several in one cell, `9.5 to 10.2`; a plain cell as it is.

    >>> [(word, one.text) for word, one in ends_of(text_cell("9.5 / 10.2 Nm"))]
    [('lowest', '9.5 Nm'), ('highest', '10.2 Nm')]
    """
    two = _TWO.fullmatch(cell.text.strip()) if cell.kind == "text" else None
    if two is None:
        return (("", cell),)
    unit = f" {two.group(3)}".rstrip()
    return ("lowest", text_cell(two.group(1) + unit)), ("highest", text_cell(two.group(2) + unit))


__all__ = ["KIND_OF", "SWEPT", "ends_of", "is_by_test", "is_cautions", "planned", "suffix_of", "without_kind"]
