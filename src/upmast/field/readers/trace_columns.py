"""
Which column of a trace is the frequency, and which are return loss or standing wave ratio; in which unit.

Names go first, then the unit, then the range of the numbers; numbers alone never tell return loss from a ratio.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np

from upmast.field.measurement import Floats
from upmast.field.readers.cell_value import Unread, read_cell
from upmast.field.readers.header_words import Rule, head_of
from upmast.field.readers.mapping import Column, Mapping
from upmast.field.readers.mapping_guess import body_of, columns_of, decimal_for, is_nothing, numeric
from upmast.field.readers.mapping_memory import Memory
from upmast.field.readers.plain_numbers import column_texts, plain_floats
from upmast.field.readers.table import Table
from upmast.field.readers.unit_words import measure_of

FREQUENCY, RETURN_LOSS, VSWR = "frequency", "return-loss", "vswr"
ROLES = (FREQUENCY, RETURN_LOSS, VSWR)
WANTED = {FREQUENCY: "frequency", RETURN_LOSS: "loss", VSWR: "ratio"}  # dimension of the unit of each role
# the span that antenna lines are swept in (practice): its ends are less than a factor of 1000 apart, so that one unit at most fits
LOWEST_HZ, HIGHEST_HZ = 100e6, 12e9
NEAR_ZERO_DB = (
    0.5  # return loss of the other sign up to this is noise about total reflection: common practice, no source
)
MOST_DB = 150.0  # beyond every instrument
MOST_COLUMNS_READ = 64
_OTHER = (
    "phase", "angle", "deg", "limit", "marker", "mask", "distance", "dtf", "real", "imag", "imaginary", "delay",
    "smith", "impedance", "insertion", "cable", "loss2", "s21", "s12", "coefficient", "rho", "max", "spec", "threshold",
)  # fmt: skip
RULES = (
    Rule(FREQUENCY, "frequency", (("frequency", 1.0), ("f", 0.8), ("stimulus", 0.7)), ("frequency",), ("if", "resolution"), 0.7),
    Rule(
        RETURN_LOSS, "return loss",
        (("return loss", 1.0), ("rl", 0.95), ("s11", 0.95), ("s22", 0.9), ("returnloss", 1.0), ("reflection", 0.75),
         ("ruckflussdampfung", 1.0), ("reflexion", 0.75)),
        ("loss",), _OTHER, 0.0, True,
    ),
    Rule(
        VSWR, "standing wave ratio",
        (("vswr", 1.0), ("swr", 0.95), ("standing wave ratio", 1.0), ("standing wave", 0.9), ("ros", 0.75), ("tos", 0.75)),
        ("ratio",), _OTHER, 0.0, True,
    ),
)  # fmt: skip


def guess_trace(table: Table, memory: Memory | None = None, *, header_row: int = 0) -> Mapping:
    """
    What each column of a trace may be: by its header, its unit, and the range of its numbers.

    Parameters
    ----------
    memory : what was decided for earlier tables.
    header_row : position of the header in the rows of the table, from 1, where a person knows it.

    Never raises for a table that was read: what is open stands in the `questions` of the mapping.
    """
    found = columns_of(table, "trace", RULES, memory, header_row)
    decimal = decimal_for(table, found.header, found.decision)
    columns = list(found.columns)
    notes: list[str] = []
    asked = list(found.asked)
    if not any(column.role == FREQUENCY or FREQUENCY in column.choices for column in columns):
        columns = _rising_column(table, found.header, columns, decimal)
    columns = [_with_unit(table, found.header, column, decimal) for column in columns]
    if decimal == "both":
        asked.append("decimal signs are mixed, point and comma: say which one it is, or read with repair")
    if not any(column.role in (RETURN_LOSS, VSWR) or column.asked for column in columns):
        columns = _ask_values(table, found.header, columns)
    if not found.header[0]:
        notes.append("the table has no header")
    if found.decision is not None:
        notes.append("columns and units as they were decided for an earlier table with these headers")
    return Mapping(
        "trace", table.file, found.header, tuple(columns), decimal, found.decision.sign if found.decision else "", "",
        (*table.notes, *notes), tuple(asked), ROLES,
    )  # fmt: skip


def _rising_column(table: Table, header: tuple[int, int], columns: list[Column], decimal: str) -> list[Column]:
    """
    Without a name for it, the first column whose numbers rise throughout and lie where lines are swept; never a mere count.

    Under a header of another name it is only asked.
    """
    for at, column in enumerate(columns):
        if column.role:
            continue
        values = sample_of(table, header, column.number, decimal)
        if (
            len(values) < 2
            or len(values) != _filled(table, header, column.number)
            or not bool(np.all(np.diff(values) > 0))
        ):
            continue
        if values[0] in (0.0, 1.0) and bool(np.all(np.diff(values) == 1.0)):
            continue  # a count of points
        unit = column.unit if dimension_of(column.unit) == "frequency" else unit_by_range(values)
        if not unit:
            continue
        why = "no column is named so, and its numbers rise like frequencies"
        if column.header and not dimension_of(column.unit):
            columns[at] = replace(
                column, asked=f"it may be the frequency in {unit}: {why}", choices=(FREQUENCY,), reason=why
            )
        else:
            columns[at] = replace(column, role=FREQUENCY, unit=unit, confidence=0.65, reason=why, asked="", choices=())
        break
    return columns


def _ask_values(table: Table, header: tuple[int, int], columns: list[Column]) -> list[Column]:
    """Ask about every column of numbers that no header explains: numbers alone don't tell return loss from a ratio."""
    out = []
    for column in columns:
        open_ = not column.role and (not column.header or not head_of(column.header).words & set(_OTHER))
        if (
            open_
            and len(sample_of(table, header, column.number, "")) + len(sample_of(table, header, column.number, ",")) > 0
        ):
            column = replace(
                column, asked="its header does not say what it is", choices=(RETURN_LOSS, VSWR), confidence=0.0
            )
        out.append(column)
    return out


def _with_unit(table: Table, header: tuple[int, int], column: Column, decimal: str) -> Column:
    """The unit of a column where its header gives none; doubtful ones are asked."""
    values = sample_of(table, header, column.number, decimal)
    if column.given and column.unit:
        return _still_fits(column, values)
    if column.role == FREQUENCY and not column.unit:
        if has_own_unit(table, header, column):
            return replace(column, reason=f"{column.reason}; each cell has its unit")
        unit = unit_by_range(values)
        if not unit:
            return replace(column, asked="its unit is not given, and the numbers fit none (Hz, kHz, MHz, GHz)")
        span = f"{values.min():g} to {values.max():g}"
        return replace(
            column, unit=unit, confidence=min(column.confidence, 0.7),
            reason=f"{column.reason}; no unit given, read in {unit}: in no other is {span} where lines are swept",
        )  # fmt: skip
    if column.role == RETURN_LOSS and not column.unit:
        if values.size and bool(np.all((values >= 0) & (values <= 1))):
            return replace(column, asked="its unit is not given, and numbers of 0 to 1 may be a size instead of dB")
        return replace(column, unit="dB", reason=f"{column.reason}; no unit given, read in dB")
    return column


def _still_fits(column: Column, values: Floats) -> Column:
    """A remembered unit, asked again where the header does not say it and the numbers fit another one."""
    if column.role != FREQUENCY or head_of(column.header).unit is not None or not values.size:
        return column
    unit = unit_by_range(values)
    if unit in ("", column.unit):
        return column
    return replace(column, asked=f"its unit is remembered as {column.unit}, but the numbers fit {unit}", given=False)


def has_own_unit(table: Table, header: tuple[int, int], column: Column) -> bool:
    for _, cells, word in body_of(table, header, ()):
        if not word and len(cells) >= column.number and not is_nothing(cells[column.number - 1]):
            for decimal in (".", ","):
                try:
                    return measure_of(read_cell(cells[column.number - 1], decimal).unit) is not None
                except Unread:
                    continue
            return False
    return False
    return False


def dimension_of(unit: str) -> str:
    found = measure_of(unit) if unit else None
    return found.dimension if found else ""


def _filled(table: Table, header: tuple[int, int], column: int) -> int:
    return sum(len(row) >= column and not row[column - 1].blank for row in table.rows[header[1] : header[1] + 2000])


def sample_of(table: Table, header: tuple[int, int], column: int, decimal: str) -> Floats:
    """The plain numbers of a column, at most its first 2000 rows."""
    texts = column_texts(table.rows[header[1] : header[1] + 2000], column)
    quick = plain_floats(texts, decimal) if texts else None
    if quick is not None:
        return quick
    out = []
    for row in table.rows[header[1] : header[1] + 2000]:
        if len(row) >= column and numeric(row[column - 1]):
            try:
                read = read_cell(row[column - 1], decimal)
            except Unread:
                continue
            if read.number is not None and abs(read.number) < Decimal("1e30"):
                out.append(float(read.number))
    return np.array(out, dtype=np.float64)


def unit_by_range(values: Floats) -> str:
    """The one unit in which all numbers lie where antenna lines are swept; '' if there is none."""
    if not values.size:
        return ""
    for unit, factor in (("Hz", 1.0), ("kHz", 1e3), ("MHz", 1e6), ("GHz", 1e9)):
        if values.min() * factor >= LOWEST_HZ and values.max() * factor <= HIGHEST_HZ:
            return unit
    return ""
