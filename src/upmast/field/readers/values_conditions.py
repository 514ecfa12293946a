"""Conditions beside a reading: powers and frequencies of carriers, wavelength, temperature, test voltage, and words."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping as Pairs
from decimal import Decimal

from upmast.errors import UsageError, shorten
from upmast.field.readers.cell_value import Unread, folded, read_cell, read_value
from upmast.field.readers.header_words import meanings
from upmast.field.readers.mapping import Column
from upmast.field.readers.reading import Condition
from upmast.field.readers.site_words import site_in
from upmast.field.readers.table import Table
from upmast.field.readers.unit_words import Measure, measure_of, to_canonical
from upmast.field.readers.values_columns import ASSUMED, DIMENSIONS, PREAMBLE_RULES, mode_of, way_said
from upmast.site.sheet_read import Cell, column_of, text_cell

NAMES = {
    "carrier-1": "carrier_1_dbm", "carrier-2": "carrier_2_dbm", "tone-1": "tone_1_hz", "tone-2": "tone_2_hz",
    "product": "product_hz", "wavelength": "wavelength_nm", "test-voltage": "test_voltage_v", "temperature": "temperature_c",
    "load-current": "load_current_a", "order": "order", "mode": "mode", "direction": "direction", "changed": "changed",
    "zone": "zone", "side": "side", "remark": "remark", "their-limit": "their_limit", "their-verdict": "their_verdict",
    "calibrated": "calibration", "operator": "operator", "site": "site", "supply": "supply",
}  # fmt: skip
WORDS = frozenset(
    {"zone", "side", "remark", "their-limit", "their-verdict", "calibrated", "operator", "site", "supply"}
)
# beyond these a slip of unit or decimal sign is sure
BOUNDS = {
    "carrier_1_dbm": (-60.0, 70.0), "carrier_2_dbm": (-60.0, 70.0), "tone_1_hz": (1e6, 1e11), "tone_2_hz": (1e6, 1e11),
    "product_hz": (1e6, 1e11), "wavelength_nm": (600.0, 1700.0), "test_voltage_v": (1.0, 20_000.0),
    "temperature_c": (-80.0, 150.0), "load_current_a": (-10_000.0, 10_000.0),
}  # fmt: skip
# a condition of one column alone, as a person gives it: `direction_of_b`
_OF_COLUMN = re.compile(r"(direction|wavelength_nm)_of_([a-z]{1,3})")
_TRUE = frozenset({"yes", "y", "true", "changed", "x", "1"})
_FALSE = frozenset({"no", "n", "false", "unchanged", "not changed", "0"})
_RANGE = re.compile(r"\s*([0-9][0-9.,]*)\s*(?:-|–|—|to|\.\.+)\s*([0-9][0-9.,]*)\s*([A-Za-z]{0,5})\s*\Z")


def truth_of(cell: Cell) -> str:
    """'yes' or 'no'. Raises Unread."""
    word = folded(cell.text)
    if word in _TRUE:
        return "yes"
    if word in _FALSE:
        return "no"
    raise Unread("yes or no, changed or unchanged", "colours differ from card to card: say changed or unchanged")


def condition_of(cell: Cell, column: Column, decimal: str) -> dict[str, Condition]:
    """The conditions that a filled cell of a column gives. Raises Unread."""
    role = column.role
    if role in WORDS:
        return {NAMES[role]: shorten(cell.text, 200)}
    if role == "changed":
        return {"changed": truth_of(cell)}
    if role == "mode":
        mode = mode_of(cell.text)
        if not mode:
            raise Unread("swept, fixed or dynamic", "write one of these words")
        return {"mode": mode}
    if role == "direction":
        return {"direction": way_said(cell.text) or shorten(cell.text, 60)}
    if role == "order":
        text = folded(cell.text).removeprefix("im").strip()
        if not re.fullmatch(r"(?:[3579]|11|13)(?:\.0)?(?:rd|th)?", text):
            raise Unread("an odd order from 3 to 13", "write the order as a number")
        return {"order": float(re.sub(r"[a-z]", "", text))}
    if role in ("tone-1", "tone-2") and cell.kind == "text" and (span := _RANGE.match(cell.text)):
        return _span(span, column, decimal)
    value = _number(cell, column, decimal)
    if role == "carrier":
        return {"carrier_1_dbm": value, "carrier_2_dbm": value}
    return {NAMES[role]: value}


def _span(span: re.Match[str], column: Column, decimal: str) -> dict[str, Condition]:
    """The two ends of a carrier that is swept."""
    low, high, unit = span.groups()
    ends = [_number(text_cell(f"{one} {unit}".strip()), column, decimal) for one in (low, high)]
    if not ends[0] < ends[1]:
        raise Unread("a lower and a higher frequency", "correct the range")
    stem = NAMES[column.role][:-3]
    return {f"{stem}_low_hz": ends[0], f"{stem}_high_hz": ends[1]}


def _number(cell: Cell, column: Column, decimal: str) -> float:
    read = read_cell(cell, decimal)
    if read.state or read.comparator or read.number is None:
        raise Unread("one number", "write the value itself")
    return in_unit(read.number, read.unit, column.role, column.unit)


def in_unit(number: Decimal, written: str, role: str, unit: str) -> float:
    """A number of a condition in its canonical unit; `written` is the unit behind it. Raises Unread."""
    wanted = DIMENSIONS[role]
    measure: Measure | None = None
    for dimension in wanted:
        found = measure_of(written or unit, dimension) if written or unit else None
        if found is not None and found.dimension == dimension:
            measure = found
    if measure is None:
        raise Unread(
            f"a number in a unit of {wanted[0]}",
            f"write its unit behind it{f', not {shorten(written, 20)!r}' if written else ''}",
        )
    try:
        value = to_canonical(number, measure)
    except ValueError as error:
        raise Unread("a finite number in a plain unit", str(error)) from None
    if measure.dimension == "power":
        if value <= 0:
            raise Unread("a power above 0 W", "correct the value")
        value = round(10.0 * math.log10(value) + 30.0, 4)
    name = NAMES.get(role, "carrier_1_dbm")
    low, high = BOUNDS[name]
    if not low <= value <= high:
        raise Unread(f"a value from {low:g} to {high:g} ({name})", "check its unit and its decimal sign")
    return round(value, 9) if measure.symbol == "°F" else value


def above(table: Table, header_row: int, decimal: str) -> tuple[dict[str, Condition], dict[str, str], list[str]]:
    """
    What the lines above the table say for all its rows: conditions; instrument, serial, date and time; and words about both.
    """
    found: dict[str, Condition] = {}
    labels: dict[str, str] = {}
    notes: list[str] = []
    for row in table.rows[: max(header_row - 1, 0)]:
        texts = [cell.text for cell in row if not cell.blank]
        if said := site_in("; ".join(texts) if len(texts) == 1 else " ".join(texts)[:300]):
            found.setdefault("site", shorten(said, 80))
            notes.append(f"above the table, for every row: site {shorten(said, 40)}")
            continue
        if len(texts) == 1:
            key, _, value = texts[0].partition(":")
        elif len(texts) in (2, 3):
            key, value = texts[0].rstrip(": "), " ".join(texts[1:])
        else:
            continue
        value = value.strip()
        known = meanings(key, PREAMBLE_RULES)
        if not value or len(value) > 200 or not known or known[0].confidence < 0.8:
            continue
        role = known[0].role
        if role in ("instrument", "serial", "date", "time"):
            labels.setdefault(role, value)
        else:
            unit = measure_of(re.sub(r".*[(\[]([^)\]]*)[)\]].*", r"\1", key)) if "(" in key or "[" in key else None
            column = Column(0, key, role, unit.symbol if unit else ASSUMED.get(role, ""))
            try:
                for name, one in condition_of(text_cell(value), column, decimal).items():
                    found.setdefault(name, one)
            except Unread as fault:
                notes.append(
                    f"above the table, not used: {shorten(key, 40)} {shorten(value, 40)}: expected {fault.expected}"
                )
                continue
        notes.append(f"above the table, for every row: {shorten(key, 40)} {shorten(value, 40)} taken as {role}")
    return found, labels, notes


def of_column(name: str, letters: str) -> str:
    """
    The name of a condition of one column alone.

    >>> of_column("direction", "B")
    'direction_of_b'
    """
    return f"{name}_of_{letters.lower()}"


def by_column(declared: Pairs[str, Condition]) -> tuple[dict[str, Condition], dict[int, dict[str, Condition]]]:
    """Declared conditions of the whole table, and those of single columns by their numbers."""
    whole: dict[str, Condition] = {}
    single: dict[int, dict[str, Condition]] = {}
    for name, value in declared.items():
        if of := _OF_COLUMN.fullmatch(name):
            single.setdefault(column_of(of[2].upper()), {})[of[1]] = value
        else:
            whole[name] = value
    return whole, single


def declared_conditions(declared: Pairs[str, Condition] | None) -> dict[str, Condition]:
    """
    Conditions that a person gives with a file, checked. Raises UsageError for a name or value that there is not.
    """
    out: dict[str, Condition] = {}
    for name, value in (declared or {}).items():
        if name in ("subject", "instrument", "serial", "time"):
            out[name] = shorten(str(value), 200)
        elif of := _OF_COLUMN.fullmatch(name):
            out[name] = declared_conditions({of[1]: value})[of[1]]
        elif name in BOUNDS:
            low, high = BOUNDS[name]
            if isinstance(value, str):
                read = read_value(value, ".")
                if read.number is None or read.unit or read.comparator:
                    raise UsageError(f"{name}: a number is asked, not {shorten(value, 40)!r}")
                value = float(read.number)
            if not low <= value <= high:
                raise UsageError(f"{name}: {value:g} does not lie from {low:g} to {high:g}")
            out[name] = value
        elif name in NAMES.values():
            out[name] = value
        else:
            raise UsageError(f"no condition {shorten(name, 40)!r}; there are {', '.join(sorted({*NAMES.values(), 'subject', 'instrument', 'serial', 'time'}))}")  # fmt: skip
    return out
