"""
Find the header of a radio list and say which column holds which field, how sure, and why.

A column that can mean two things is marked ambiguous and not used until someone decides.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Container
from dataclasses import dataclass, replace

from upmast.site.sheet_fields import (
    BY_NAME,
    CARRIER,
    MOST_CARRIERS,
    Candidate,
    candidates,
    canonical_symbol,
    fits,
    parse,
    unit_symbol,
)
from upmast.site.sheet_memory import Memory
from upmast.site.sheet_read import BLANK, Cell, Sheet, letter
from upmast.site.sheet_values import NOTHING, Unread, decimal_of, quantity

USED = 0.6  # surer than this a column is used
CLOSE = 0.15  # two meanings nearer than this can't be told apart
MOST_SEARCHED = 60
NOT_USED = "not used"


@dataclass(frozen=True, slots=True)
class Column:
    """One column as it is understood. `field` is '' if it is not used; carriers are numbered: `carriers[2].centre_hz`."""

    number: int
    header: str
    field: str = ""
    unit: str = ""
    confidence: float = 0.0
    reason: str = ""
    ambiguous: bool = False
    choices: tuple[str, ...] = ()
    examples: tuple[str, ...] = ()
    hidden: bool = False
    given: bool = False  # decided by a person

    @property
    def letter(self) -> str:
        return letter(self.number)

    @property
    def rule_name(self) -> str:
        """The name of the rule: `centre_hz` for `carriers[2].centre_hz`."""
        return self.field.rpartition(".")[2].partition("[")[0]

    def as_data(self) -> dict[str, object]:
        rule = BY_NAME.get(self.rule_name)
        return {
            "column": self.letter, "header": self.header, "field": self.field or NOT_USED, "unit": self.unit,
            "canonical_unit": canonical_symbol(rule) if rule else "", "confidence": self.confidence, "reason": self.reason,
            "ambiguous": self.ambiguous, "choices": list(self.choices), "examples": list(self.examples), "hidden": self.hidden,
        }  # fmt: skip


Merged = dict[tuple[int, int], tuple[Cell, int]]


def spread(sheet: Sheet) -> Merged:
    """
    The cells that a merged cell covers, each with its value and the row that it comes from.

    Merges that overlap are damage or malice: no more cells are looked at than the sheet has.
    """
    out: Merged = {}
    last_row, last_column = len(sheet.rows), sheet.columns_count
    left = last_row * last_column
    for row, column, end_row, end_column in sheet.merges:
        cell = sheet.at(row, column)
        down, across = range(row, min(end_row, last_row) + 1), range(column, min(end_column, last_column) + 1)
        left -= len(down) * len(across)
        if left < 0:
            break
        if not cell.blank:
            for r in down:
                for c in across:
                    if (r, c) != (row, column):
                        out.setdefault((r, c), (cell, row))
    return out


def header_texts(sheet: Sheet, merged: Merged, first: int, last: int) -> list[str]:
    """The header of each column from a block of rows, upper words first, no word of a merged cell twice."""
    out = []
    for column in range(1, sheet.columns_count + 1):
        parts: list[str] = []
        for row in range(first, last + 1):
            cell = sheet.at(row, column)
            text = (merged.get((row, column), (BLANK, 0))[0] if cell.blank else cell).text
            if text and text not in parts and len(text) <= 80:
                parts.append(text)
        out.append(" ".join(" ".join(parts).split()))
    return out


def _score(texts: list[str]) -> float:
    best: dict[tuple[str, int], float] = {}
    for text in texts:
        found = candidates(text) if 0 < len(text) <= 120 else ()
        if found and found[0].confidence >= 0.5:
            key = (found[0].field, parse(text).number)
            best[key] = max(best.get(key, 0.0), found[0].confidence)
    return sum(best.values())


def find_header(sheet: Sheet, merged: Merged) -> tuple[int, int, float]:
    """First and last row of the header and its score; (0, 0, 0) if no row looks like one."""
    best = (0, 0, 0.0)
    for first in range(1, min(len(sheet.rows), MOST_SEARCHED) + 1):
        for last in range(first, min(first + 2, len(sheet.rows)) + 1):
            line = [cell for cell in sheet.rows[last - 1] if not cell.blank]
            if not line or any(cell.kind != "text" for cell in line):
                break
            if last > first and any(one.text.lower() in NOTHING for one in line):
                break
            score = _score(header_texts(sheet, merged, first, last))
            units_only = last > first and all(unit_symbol(cell.text) for cell in line)
            if score > best[2] + (0.3 if last > first else 0.05) or (units_only and best[0] == first):
                best = (first, last, score)
    return best if best[2] >= 1.5 else (0, 0, 0.0)


def columns_of(
    sheet: Sheet,
    merged: Merged,
    header: tuple[int, int],
    memory: Memory,
    parts: Container[str] = (),
) -> tuple[Column, ...]:
    """Each column with its field. `parts` are the ids of the catalogue: they tell a model from a position."""
    texts = header_texts(sheet, merged, *header)
    decimal = memory.decimal or decimal_of(cell for row in sheet.rows[header[1] :] for cell in row)
    found: list[Column] = []
    choices: dict[int, tuple[Candidate, ...]] = {}
    for number, text in enumerate(texts, 1):
        cells = _body(sheet, header[1], number)
        column = Column(
            number,
            text,
            examples=tuple(dict.fromkeys(cell.text[:40] for cell in cells))[:3],
            hidden=number in sheet.hidden_columns,
            unit=parse(text).unit,
        )
        if column.letter in memory.units:
            column = replace(column, unit=unit_symbol(memory.units[column.letter]))
        if column.letter in memory.columns:
            column = _given(column, memory)
        else:
            choices[number] = candidates(text)
        found.append(column)
    _settle(found, choices, parts)
    return tuple(_unit_asked(one, _body(sheet, header[1], one.number), decimal) for one in found)


def _body(sheet: Sheet, after: int, number: int) -> list[Cell]:
    cells = (row[number - 1] for row in sheet.rows[after:] if len(row) >= number)
    return [cell for cell in cells if not cell.blank]


def valid_field(name: str) -> bool:
    """True for a field that a column may be given: `height_m`, `carriers[2].centre_hz`, `antenna_ports`."""
    stem, _, rest = name.rpartition(".")
    if stem:
        number = stem.removeprefix("carriers[").removesuffix("]")
        return (
            stem == f"carriers[{number}]"
            and re.fullmatch(r"[0-9]{1,2}", number) is not None
            and 1 <= int(number) <= MOST_CARRIERS
            and rest in CARRIER
        )
    return name in BY_NAME


def _given(column: Column, memory: Memory) -> Column:
    name = memory.columns[column.letter]
    if name is None:
        return replace(column, reason="left out by decision", confidence=1.0, given=True)
    was = memory.headers.get(column.letter)
    if was is not None and was != column.header:
        return replace(
            column, ambiguous=True, choices=(name,), reason=f"decided for the header {was!r}, which has changed since"
        )
    if not valid_field(name):
        near = difflib.get_close_matches(name, list(BY_NAME), 1)
        hint = f"; did you mean {near[0]}?" if near else ""
        return replace(column, ambiguous=True, choices=tuple(near), reason=f"{name!r} is no field of a list{hint}")
    field = f"carriers[1].{name}" if name in CARRIER else name
    return replace(column, field=field, confidence=1.0, reason="decided", given=True)


def _settle(found: list[Column], choices: dict[int, tuple[Candidate, ...]], parts: Container[str]) -> None:
    """Give each column its field: surest first, each field once, what two columns or two meanings claim is asked."""
    taken = {one.field: one.number for one in found if one.field}
    sure: dict[str, float] = {}
    for found_ in choices.values():  # fields that some column names beyond doubt are not open to a weak claim
        if found_ and (len(found_) == 1 or found_[0].confidence - found_[1].confidence >= CLOSE):
            sure[found_[0].field] = max(sure.get(found_[0].field, 0.0), found_[0].confidence)
    for number in sorted(choices, key=lambda one: -(choices[one][0].confidence if choices[one] else 0)):
        column, open_ = found[number - 1], choices[number]
        left = tuple(one for one in open_ if one.confidence >= sure.get(one.field, 0) - CLOSE)
        if not left or all(BY_NAME[one.field].kind != "quantity" for one in open_):
            open_, gone = left, bool(open_) and not left  # names may be told apart by elimination, quantities not
        else:
            gone = False
        if gone:
            column = replace(column, reason="other columns hold what it can mean")
        elif not open_:
            column = replace(column, reason="no field is headed like this" if column.header else "no header")
        elif open_[0].confidence < USED:
            column = replace(
                column, confidence=open_[0].confidence, reason=f"{open_[0].reason}: too weak", choices=(open_[0].field,)
            )
        else:
            column = _choose(column, open_, taken, parts, found)
        found[number - 1] = column
        if column.field:
            taken[column.field] = number


def _choose(
    column: Column, open_: tuple[Candidate, ...], taken: dict[str, int], parts: Container[str], found: list[Column]
) -> Column:
    rivals = [one for one in open_ if open_[0].confidence - one.confidence < CLOSE and one.confidence >= USED]
    if len(rivals) > 1 and {one.field for one in rivals} & {"part", "antenna_part"}:
        known = [one for one in column.examples if one in parts]
        if known:
            chosen = next(one for one in rivals if one.field in ("part", "antenna_part"))
            rivals = [replace(chosen, reason=f"{known[0]!r} is a part of the catalogue")]
    if len(rivals) > 1:
        names = tuple(one.field for one in rivals)
        meanings = " or ".join(f"{one} ({BY_NAME[one].meaning})" for one in names)
        return replace(
            column, ambiguous=True, choices=names, confidence=rivals[0].confidence, reason=f"it can be {meanings}"
        )
    first = rivals[0]
    field = _numbered(first.field, parse(column.header).number, taken)
    other = taken.get(field)
    if other is not None:
        return replace(
            column, ambiguous=True, choices=(first.field,), confidence=first.confidence,
            reason=f"column {found[other - 1].letter} is {field}, too",
        )  # fmt: skip
    return replace(column, field=field, confidence=first.confidence, reason=first.reason)


def _numbered(name: str, number: int, taken: dict[str, int]) -> str:
    if name in CARRIER:
        return f"carriers[{min(max(number, 1), MOST_CARRIERS)}].{name}"
    if name == "antenna_ports" and number:
        return f"antenna_ports[{number}]"
    return name


def _unit_asked(column: Column, cells: list[Cell], decimal: str) -> Column:
    """
    Mark a column without a unit whose numbers are unusual in the assumed one: 1.1 is hardly a power in W.

    A column whose decided or read unit does not fit its field is marked, too.
    """
    rule = BY_NAME.get(column.rule_name)
    if not column.field or rule is None or rule.kind != "quantity":
        return column if not column.field or rule is None else replace(column, unit="")
    if column.unit and not fits(column.unit, rule):
        return replace(
            column,
            ambiguous=True,
            field="",
            choices=(column.field,),
            reason=f"{column.unit} does not fit {column.field}",
        )
    if column.unit or rule.usual is None:
        return column
    low, high = rule.usual
    values = []
    for cell in cells[:500]:
        if cell.number is None and any(ch.isalpha() or ch == "°" for ch in cell.text):
            continue  # with a unit of its own, or no number at all
        try:
            values.append(quantity(cell, rule, "", decimal).value)
        except Unread:
            values.append(float("nan"))
    strange = [one for one in values if not low <= one <= high]
    assumed = unit_symbol(rule.assumed)
    if len(strange) * 2 > len(values):
        return replace(
            column, ambiguous=True, field="", choices=(column.field,),
            reason=f"no unit is given, and the numbers are unusual in {assumed}: give its unit",
        )  # fmt: skip
    if values:
        return replace(column, unit=assumed, reason=f"{column.reason}; no unit given, read in {assumed}")
    return column
