"""
Guess the header and the columns of a table by rules of names; a column that can mean two things is asked.

What a person has decided for a table with the same headers goes before every guess.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from upmast.field.readers.cell_value import NOTHING, OVER, folded, looks_like_number
from upmast.field.readers.header_words import CLOSE, Meaning, Rule, head_of, meanings
from upmast.field.readers.mapping import Column, fingerprint_of
from upmast.field.readers.mapping_memory import Decision, Memory
from upmast.field.readers.table import Table, decimal_sign
from upmast.field.readers.unit_words import measure_of
from upmast.site.sheet_read import Cell

MOST_SEARCHED = 300
USED = 0.6  # surer than this a column is used
ANOTHER = 1.5  # a row that scores this is a header of its own: two names and numbers below
EXAMPLES = 3
LEAST_LONG = 3  # columns of a table with one reading in each row: what, value, unit


@dataclass(frozen=True, slots=True)
class Found:
    """Header and columns of a table, and what a person has decided before."""

    header: tuple[int, int]
    columns: tuple[Column, ...]
    decision: Decision | None
    asked: tuple[str, ...] = ()


def columns_of(table: Table, form: str, rules: Sequence[Rule], memory: Memory | None, row: int = 0) -> Found:
    """The header of a table and what each column may be; `row` is that of the header where a person has said it."""
    header, others = (_with_units(table, row), ()) if row else find_header(table, rules)
    lines = ", ".join(str(table.line(one)) for one in (*others, header[0]))
    asked = (
        (f"header: rows {lines} all look like one: say which it is, or give the tables one by one",) if others else ()
    )
    texts = header_texts(table, header)
    decision = memory.of(fingerprint_of(form, texts)) if memory is not None else None
    columns = [
        Column(number, text, unit=_unit(text), examples=_examples(table, header[1], number))
        for number, text in enumerate(texts, 1)
    ]
    if decision is not None:
        return Found(header, tuple(_decided(one, decision) for one in columns), decision, asked)
    many = {rule.role for rule in rules if rule.many}
    return Found(header, tuple(_settled(columns, rules, many)), None, asked)


def _unit(header: str) -> str:
    unit = head_of(header).unit
    return unit.symbol if unit is not None else ""


def _examples(table: Table, after: int, column: int) -> tuple[str, ...]:
    out: list[str] = []
    for row in table.rows[after : after + 200]:
        if len(row) >= column and not row[column - 1].blank:
            out.append(row[column - 1].text[:30])
            if len(out) == EXAMPLES:
                break
    return tuple(out)


def _decided(column: Column, decision: Decision) -> Column:
    role = decision.columns.get(column.letter)
    unit = decision.units.get(column.letter, "")
    measure = measure_of(unit) if unit else None
    return replace(
        column, role=role or "", unit=measure.symbol if measure else column.unit, confidence=1.0, given=True,
        reason="remembered for these headers",
    )  # fmt: skip


def _settled(columns: list[Column], rules: Sequence[Rule], many: set[str]) -> list[Column]:
    """Surest first; each role once unless it may be held by many; what can't be told apart is asked."""
    found = {one.number: meanings(one.header, rules) if one.header else () for one in columns}
    taken: dict[str, Column] = {}
    out = {one.number: one for one in columns}
    for column in sorted(columns, key=lambda one: -(found[one.number][0].confidence if found[one.number] else 0.0)):
        made = _choose(column, found[column.number], taken, many)
        if made.role:
            taken.setdefault(made.role, made)
        out[column.number] = made
    return [out[one.number] for one in columns]


def _choose(column: Column, open_: tuple[Meaning, ...], taken: dict[str, Column], many: set[str]) -> Column:
    open_ = tuple(one for one in open_ if one.role in many or one.role not in taken or one.confidence >= taken[one.role].confidence - CLOSE)  # fmt: skip
    if not open_:
        return replace(column, reason="no role is named like this" if column.header else "no header")
    first = open_[0]
    if first.confidence < USED:
        return replace(column, confidence=first.confidence, reason=f"{first.reason}, too weak", choices=(first.role,))
    close = [one.role for one in open_ if first.confidence - one.confidence < CLOSE]
    if len(close) > 1:
        return replace(
            column, confidence=first.confidence, choices=tuple(close), reason="it has two meanings",
            asked=f"it can be {' or '.join(close)}",
        )  # fmt: skip
    other = taken.get(first.role)
    if other is not None and first.role not in many:
        return replace(
            column, confidence=first.confidence, choices=(first.role,), reason=f"column {other.letter} is that, too",
            asked=f"column {other.letter} is {first.role}, too: which is it?",
        )  # fmt: skip
    return replace(column, role=first.role, confidence=first.confidence, reason=first.reason)


def numeric(cell: Cell) -> bool:
    """True for a cell that holds a number, a bound or a meter's state, unit or not."""
    if cell.kind == "number":
        return True
    if cell.kind != "text":
        return cell.kind in ("uncalculated", "error")
    text = cell.text
    if looks_like_number(text) or folded(text) in OVER:
        return True
    stem, _, unit = text.rpartition(" ")
    return bool(stem) and measure_of(unit) is not None and looks_like_number(stem)


def find_header(table: Table, rules: Sequence[Rule]) -> tuple[tuple[int, int], tuple[int, ...]]:
    """
    First and last row of the header, (0, 0) where the table begins with numbers or no row names a column.

    Also the rows above it that could be a header of their own: under them another table may stand.
    """
    scores: dict[int, float] = {}
    for row in range(1, min(len(table.rows), MOST_SEARCHED) + 1):
        cells = table.rows[row - 1]
        words = [cell.text for cell in cells if not cell.blank]
        if len(words) < 2 or any(numeric(cell) for cell in cells) or not all(len(one) <= 120 for one in words):
            continue
        here = sum(found[0].confidence for one in words if (found := meanings(one, rules)))
        below = any(numeric(cell) for line in table.rows[row : row + 3] for cell in line)
        scores[row] = here + 0.3 if below else 0.5 * here
    best, score = 0, 0.0
    for row, here in scores.items():
        if here > score + 0.05:
            best, score = row, here
    if score < USED:
        best = _by_numbers(table)
    others = tuple(row for row, here in scores.items() if row < best and here >= ANOTHER)
    return _with_units(table, best), others


def _with_units(table: Table, row: int) -> tuple[int, int]:
    """A header row with the row of units under it, if there is one."""
    if row and row < len(table.rows):
        under = [cell for cell in table.rows[row] if not cell.blank]
        if under and all(cell.kind == "text" and _is_unit(cell.text) for cell in under):
            return row, row + 1
    return row, row


def names_column(cell: Cell, rules: Sequence[Rule]) -> bool:
    """True for a cell of words that name a column, where a number should stand: another table begins, perhaps in other units."""
    if cell.kind != "text" or len(cell.text) > 120 or numeric(cell):
        return False
    found = meanings(cell.text, rules)
    return bool(found) and found[0].confidence >= USED


def _is_unit(text: str) -> bool:
    bare = text.strip("()[]{} ")
    return bare != "" and (measure_of(bare) is not None) and not looks_like_number(bare)


def _by_numbers(table: Table) -> int:
    """The row of words right above the first row with two numbers, 0 if there is none; its words may be unknown."""
    for row, cells in enumerate(table.rows[:MOST_SEARCHED], 1):
        if sum(numeric(cell) for cell in cells) >= 2:
            above = table.rows[row - 2] if row > 1 else ()
            words = [cell for cell in above if not cell.blank]
            return row - 1 if len(words) >= 2 and not any(numeric(cell) for cell in above) else 0
    for row, cells in enumerate(table.rows[1:MOST_SEARCHED], 2):  # one reading in each row: names, words and one number
        if any(numeric(cell) for cell in cells):
            above = table.rows[row - 2]
            wide = min(sum(not cell.blank for cell in some) for some in (above, cells)) >= LEAST_LONG
            return row - 1 if wide and not any(numeric(cell) for cell in above) else 0
    return 0


def header_texts(table: Table, header: tuple[int, int]) -> list[str]:
    """The header of each column, '' where there is none; a unit in a second row is put in brackets."""
    first, last = header
    out = []
    for column in range(1, table.columns_count + 1):
        text = " ".join(table.at(first, column).text.split())[:190] if first else ""
        if last > first and not table.at(last, column).blank:
            text = f"{text} [{table.at(last, column).text.strip('()[]{} ')}]".strip()
        out.append(text)
    return out


def body_of(
    table: Table, header: tuple[int, int], headers: Sequence[str]
) -> Iterator[tuple[int, tuple[Cell, ...], str]]:
    """
    Rows under the header: number, cells, and a word for what is no row of data: 'blank', 'header again', or ''.
    """
    again = tuple(folded(table.at(header[0], k).text) for k in range(1, len(headers) + 1)) if header[0] else ()
    first = next((k for k, one in enumerate(again) if one), -1)
    for row in range(header[1] + 1, len(table.rows) + 1):
        cells = table.rows[row - 1]
        if all(cell.blank for cell in cells):
            yield row, cells, "blank"
        elif (
            first >= 0
            and folded(table.at(row, first + 1).text) == again[first]
            and tuple(folded(table.at(row, k).text) for k in range(1, len(again) + 1)) == again
        ):
            yield row, cells, "header again"
        else:
            yield row, cells, ""


def decimal_for(table: Table, header: tuple[int, int], decision: Decision | None) -> str:
    """The decimal sign to read a table by: decided, shown by the whole table, else shown by any number under the header."""
    if decision is not None and decision.decimal:
        return decision.decimal
    return table.decimal or decimal_sign(table.rows[header[1] :], least=1)


def is_nothing(cell: Cell) -> bool:
    """True for an empty cell, a dash, or words for no reading."""
    return cell.blank or (cell.kind == "text" and folded(cell.text) in NOTHING)
