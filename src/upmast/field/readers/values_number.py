"""A cell's value in the unit of its kind: numbers, grades of end faces, and levels referred to a carrier."""

from __future__ import annotations

from decimal import Decimal

from upmast.errors import shorten
from upmast.field.readers.cell_value import CellValue, Unread, folded, read_cell
from upmast.field.readers.reading import Condition, Kind
from upmast.field.readers.unit_words import measure_of, to_canonical
from upmast.site.sheet_read import Cell

EQUAL_DB = 0.1  # carriers nearer than this are equal: the ratio to either is the same within the setting of a test set
_YES, _NOT = (
    frozenset({"yes", "y", "done", "closed", "sealed", "capped", "x", "ok"}),
    frozenset({"no", "n", "open", "missing"}),
)
_PASS = frozenset({"pass", "passed", "ok", "good", "clean", "accept", "accepted", "p", "i.o.", "io"})
_FAIL = frozenset(
    {"fail", "failed", "nok", "not ok", "n.i.o.", "dirty", "bad", "reject", "rejected", "not clean", "scratched"}
)


def grade_of(cell: Cell, conditions: dict[str, Condition]) -> float | None:
    """1 for a face that passed or is clean, 0 for one that did not; None for a grade whose meaning the file does not say."""
    word = folded(cell.text)
    if len(word) > 30 or cell.kind not in ("text", "number", "truth"):
        raise Unread("pass or fail, clean or dirty, or a short grade", "write one of these words")
    conditions["grade"] = " ".join(cell.text.split())
    first = word.split()[0] if word else ""
    return 1.0 if word in _PASS else 0.0 if word in _FAIL or first in _FAIL else None  # `fail zone A` says enough


def count_of(cell: Cell, decimal: str) -> float:
    """
    A count as it stands, or 1 for yes and 0 for no.

    Raises
    ------
    Unread
        If it is neither.
    """
    word = folded(cell.text)
    if cell.kind == "truth" or word in _YES or word in _NOT:
        return float(word in _YES or word == "true")
    read = read_cell(cell, decimal) if any(ch.isdigit() for ch in cell.text) or cell.kind == "number" else None
    if (
        read is None
        or read.number is None
        or read.unit
        or read.comparator
        or read.number < 0
        or read.number != int(read.number)
    ):
        raise Unread("a count, or yes or no", "write how many are closed")
    return float(read.number)


def number_of(
    read: CellValue, column_unit: str, beside: str, kind: Kind, conditions: dict[str, Condition], repair: bool
) -> tuple[float, str, str, str]:
    """
    Value, comparator, unit, and what repair has mended ('' for nothing), of a number in the unit of its kind.

    The unit of the cell goes before `beside`, that of a column of units in its row, before that of the column's header.

    Raises
    ------
    Unread
        If no unit is said, two are, or one that does not suit the kind; and for a value that can't be.
    """
    assert read.number is not None
    if read.unit and beside and measure_of(read.unit, kind.dimensions[0]) != measure_of(beside, kind.dimensions[0]):
        raise Unread(
            "one unit", f"the cell says {shorten(read.unit, 20)!r}, the column of units {shorten(beside, 20)!r}"
        )
    written = read.unit or beside or column_unit
    measure = next(
        (
            m
            for one in kind.dimensions
            if written and (m := measure_of(written, one)) is not None and m.dimension == one
        ),
        None,
    )
    if measure is None or measure.symbol in kind.never:
        why = f"{shorten(written, 20)!r} does not suit it" if written else "write its unit"
        raise Unread(
            f"{kind.title} in {kind.unit or 'a plain number'}, or another unit of it",
            f"{why}; mind upper and lower case",
        )
    number, comparator, mended = read.number, read.comparator, ""
    if kind.name == "pim" and number > 0:
        if not repair or comparator:
            raise Unread(
                "a level below 0", f"write -{number:f}; or read it with repair, which turns the sign and says so"
            )
        number, mended = -number, "an intermodulation level without its minus sign is turned"
    try:
        value = to_canonical(number, measure, kind.scale)
    except ValueError as error:
        raise Unread("a finite number in a plain unit", str(error)) from None
    if not kind.low <= value <= kind.high:
        raise Unread(
            f"{kind.title} from {kind.low:g} to {kind.high:g} {kind.unit}".rstrip(),
            "check its unit, sign and decimal sign",
        )
    if kind.name != "pim":
        return value, comparator, kind.unit, mended
    return (*to_carrier(value, comparator, measure.dimension == "level", number, conditions), mended)


def to_carrier(
    value: float, comparator: str, level: bool, number: Decimal, conditions: dict[str, Condition]
) -> tuple[float, str, str]:
    """A level in dBm as its ratio to a carrier, dBc = dBm - carrier, where both carriers are known and equal; else in dBm."""
    if not level:
        return value, comparator, "dBc"
    one, two = conditions.get("carrier_1_dbm"), conditions.get("carrier_2_dbm")
    if not isinstance(one, float) or not isinstance(two, float) or abs(one - two) > EQUAL_DB:
        return value, comparator, "dBm"
    conditions["level_dbm"] = value
    out = number - (Decimal(repr(one)) + Decimal(repr(two))) / 2
    return float(out), comparator, "dBc"
