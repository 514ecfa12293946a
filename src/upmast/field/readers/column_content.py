"""What the cells of a column tell about it, where its header alone would mislead: names of the line, counts, which face, which state."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from upmast.field.readers.cell_value import folded
from upmast.field.readers.header_words import head_of
from upmast.field.readers.mapping import Column
from upmast.field.readers.mapping_guess import is_nothing, numeric
from upmast.field.readers.table import Table

MOST_LOOKED = 200  # rows
SUBJECT, GRADE, COUNT = "subject", "end-face-grade", "end-face-count"
_GRADE_WORDS = frozenset(
    {"pass", "passed", "ok", "good", "clean", "fail", "failed", "nok", "not ok", "dirty", "bad", "reject", "rejected"}
)
_COUNTS = frozenset({"inspected", "checked", "count", "number", "total", "quantity", "qty"})
_GRADES = frozenset({"grade", "inspection", "cleanliness", "value"})
_WHICH = re.compile(r"(?:[0-9]{1,2}|[a-z]|foot|head|top|bottom|upper|lower|near|far|left|right|in|out)")
_BOND = frozenset({"bond", "lug", "earth", "ground", "kit"})
_BOND_ID = re.compile(r".*[^A-Za-z]E[0-9]{1,4}", re.IGNORECASE)
_LOOP_OR_BOND = ("bond-resistance", "loop-resistance")


def by_content(
    table: Table, header: tuple[int, int], columns: list[Column], known: Callable[[str], bool] | None
) -> list[Column]:  # fmt: skip
    """The columns with what their cells say; `known` tells whether a text is a name of the line."""
    cells = {one.number: _filled(table, header, one.number) for one in columns}
    if known is not None and not any(one.role == SUBJECT for one in columns):
        columns = [
            replace(one, role=SUBJECT, unit="", asked="", choices=(), confidence=0.9, reason="every cell names something of this line")
            if cells[one.number] and all(known(text) and not number for text, number in cells[one.number])
            else one
            for one in columns
        ]  # fmt: skip
    columns = _faces(cells, columns)
    if not any(one.role == "voltage" for one in columns):
        columns = [
            replace(one, role="", confidence=0.0, reason="no role is named like this") if one.role == "supply" else one
            for one in columns
        ]
    return _resistances(cells, columns)


def _filled(table: Table, header: tuple[int, int], column: int) -> list[tuple[str, bool]]:
    """Texts of a column, and whether each is a number."""
    rows = table.rows[header[1] : header[1] + MOST_LOOKED]
    return [
        (row[column - 1].text.strip(), numeric(row[column - 1]))
        for row in rows
        if len(row) >= column and not is_nothing(row[column - 1])
    ]


def _faces(cells: dict[int, list[tuple[str, bool]]], columns: list[Column]) -> list[Column]:
    """A column of counts is no grade; one of 1 and 2 beside grades says which face; words beside a column of faces are grades."""
    out = []
    for one in columns:
        texts = cells[one.number]
        words = head_of(one.header).words
        if one.role == GRADE and texts and all(number for _, number in texts) and words & _COUNTS:
            one = replace(one, role="", confidence=0.0, reason="it counts faces, and grades none")
        if one.role == COUNT and texts and not all(number for _, number in texts):
            one = replace(one, role=GRADE, reason="words beside end faces")
        if COUNT in one.choices and one.asked and texts and set(one.choices) <= {COUNT, GRADE}:
            counts = all(number for _, number in texts)
            one = replace(one, role=COUNT if counts else GRADE, asked="", choices=(), confidence=0.9, reason="numbers are a count of faces" if counts else "words are grades of faces")  # fmt: skip
        out.append(one)
    grades = [one for one in out if one.role == GRADE]
    for n, one in enumerate(out):
        texts = cells[one.number]
        if (
            one.role == GRADE and len(grades) > 1 and texts and not head_of(one.header).words & _GRADES
            and all(_WHICH.fullmatch(folded(text)) for text, _ in texts)
        ):  # fmt: skip
            out[n] = replace(one, role="side", reason="it says which face, beside its grade")
    out = _which_face(cells, out)
    if any(one.role in (GRADE, COUNT) for one in out) or not any("face" in head_of(one.header).words for one in out):
        return out
    for n, one in enumerate(out):
        if (
            one.role in ("value", "their-verdict")
            and cells[one.number]
            and not all(number for _, number in cells[one.number])
        ):
            out[n] = replace(one, role=GRADE, unit="", reason="words beside a column of end faces")
            break
    return out


def _which_face(cells: dict[int, list[tuple[str, bool]]], columns: list[Column]) -> list[Column]:
    """`End face` over 1 and 2 or foot and head says which face, where the one column beside it holds its grade in words."""
    grades = [one for one in columns if one.role in (GRADE, COUNT)]
    beside = [
        one for one in columns
        if one.role in ("value", "their-verdict") and cells[one.number] and all(folded(text) in _GRADE_WORDS for text, _ in cells[one.number])
    ]  # fmt: skip
    if (
        len(grades) != 1
        or len(beside) != 1
        or not all(_WHICH.fullmatch(folded(text)) for text, _ in cells[grades[0].number])
    ):
        return columns
    made = {
        grades[0].number: replace(grades[0], role="side", reason="it says which face, beside its grade"),
        beside[0].number: replace(beside[0], role=GRADE, unit="", reason="words beside a column of end faces"),
    }
    return [made.get(one.number, one) for one in columns]


def _resistances(cells: dict[int, list[tuple[str, bool]]], columns: list[Column]) -> list[Column]:
    """A resistance of bonds, where the column that names what was measured says so."""
    bonds = any(
        all(not number for _, number in texts) and (head_of(one.header).words & _BOND or all(_BOND_ID.fullmatch(text) for text, _ in texts))
        for one in columns
        if (texts := cells[one.number])
    )  # fmt: skip
    if not bonds:
        return columns
    return [
        replace(one, role="bond-resistance", asked="", choices=(), confidence=0.85, reason="what was measured is a bond")
        if one.asked and tuple(sorted(one.choices)) == _LOOP_OR_BOND
        else one
        for one in columns
    ]  # fmt: skip


__all__ = ["by_content"]
