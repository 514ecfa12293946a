"""
A trace of reflection over distance from a table: where an instrument has already turned frequencies into metres.

It finds places, and it tells which velocity fraction was set; it can't be judged against a limit over frequency, and says so.

    if is_distance(table): trace = read_distance(table)
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from upmast.errors import FaultList, shorten
from upmast.field.measurement import Floats
from upmast.field.readers.cell_value import Unread, folded, read_cell
from upmast.field.readers.table import MOST_FAULTS, Table, decimal_sign
from upmast.rf.reflection import gamma_from_vswr, return_loss_db
from upmast.site.sheet_read import Cell

__all__ = ["DistanceTable", "is_distance", "read_distance"]

METRES_PER_FOOT = 0.3048  # exact, by definition
MOST_M = 5000.0  # longer than any line on a mast
LEAST_POINTS = 8
MOST_SEARCHED = 300  # rows above the header
NEAR_ZERO_DB = 0.5
MOST_DB = 150.0
_DISTANCE = re.compile(r"(?<![a-z])(?:distance|dist|length|position|distancia|entfernung|distanz)(?![a-z])")
_UNITS = (
    (re.compile(r"(?<![a-z])(?:ft|feet|foot)(?![a-z])"), "ft"),
    (re.compile(r"(?<![a-z])(?:m|meters?|metres?)(?![a-z])"), "m"),
)  # fmt: skip
_VALUES = (
    (re.compile(r"(?<![a-z])(?:v?swr|standing wave)"), "VSWR"),
    (re.compile(r"return ?loss|(?<![a-z])rl(?![a-z])|(?<![a-z])s11(?![a-z])"), "RL"),
    (re.compile(r"(?<![a-z])(?:gamma|rho|reflection coefficient)(?![a-z])|\|g\|"), "size"),
    (re.compile(r"reflection|(?<![a-z])db(?![a-z])|(?<![a-z])dtf(?![a-z])"), "RL"),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class DistanceTable:
    """Return loss over distance as an instrument shows it, m; `unit` is that of the file, `comments` the words above the table."""

    file: str
    digest: str
    distance_m: Floats
    return_loss_db: Floats
    unit: str
    format: str
    comments: tuple[str, ...] = ()
    mended: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for array in (self.distance_m, self.return_loss_db):
            array.setflags(write=False)

    @property
    def points(self) -> int:
        return int(self.distance_m.size)


@dataclass(frozen=True, slots=True)
class _Head:
    row: int
    distance: int
    values: int
    unit: str
    format: str


def is_distance(table: Table) -> bool:
    """Whether a table has a column of distances and one of reflection, and none of frequencies."""
    return _head(table) is not None


def _head(table: Table) -> _Head | None:
    for row in range(1, min(len(table.rows), MOST_SEARCHED) + 1):
        cells = [folded(cell.text[:100]) if cell.kind == "text" else "" for cell in table.rows[row - 1]]
        if any("freq" in text for text in cells):
            return None
        at = next((k for k, text in enumerate(cells) if len(text) < 60 and _DISTANCE.search(text)), None)
        if at is None:
            continue
        below = table.rows[row] if row < len(table.rows) else ()
        two = any(
            cell.kind == "text" and any(unit.search(folded(cell.text[:20])) for unit, _ in _UNITS) for cell in below
        )
        under = folded(below[at].text[:20]) if two and len(below) > at else ""
        words = f"{_DISTANCE.sub(' ', cells[at])} {under}"
        unit = next((name for rule, name in _UNITS if rule.search(words)), "")
        for k, text in enumerate(cells):
            kind = next((name for rule, name in _VALUES if rule.search(text)), "") if k != at else ""
            if kind:
                return _Head(row + (1 if under else 0), at + 1, k + 1, unit, kind)
    return None


def read_distance(table: Table, unit: str = "", *, repair: bool = False) -> DistanceTable:
    """
    The trace of a table, distances rising.

    Parameters
    ----------
    unit : m or ft where a person knows it; it goes before the header.
    repair : leave out rows without two numbers, and list it; without it each is a fault.

    Raises
    ------
    InputFaults
        Where a column, the unit or a number is missing, with its row and column.
    """
    faults = FaultList(table.file, MOST_FAULTS)
    head = _head(table)
    if head is None:
        faults.add(
            "",
            "no column of distances beside one of reflection",
            "Distance (m) and Return loss (dB)",
            "export the trace as a table",
            1,
        )
        faults.raise_if_any()
        raise AssertionError("not reached")
    if unit not in ("", "m", "ft"):
        raise ValueError("unit is m, ft or ''")
    name = unit or head.unit
    if not name:
        faults.add(
            table.place(head.row, head.distance), shorten(table.at(head.row, head.distance).text, 40), "a distance with its unit, m or ft",
            "say whether it is metres or feet", table.line(head.row), head.distance,
        )  # fmt: skip
        faults.raise_if_any()
    metres = METRES_PER_FOOT if name == "ft" else 1.0
    decimal = table.decimal or decimal_sign(table.rows[head.row :], least=1)
    rows: list[tuple[float, float]] = []
    left = 0
    for row in range(head.row + 1, len(table.rows) + 1):
        if all(cell.blank for cell in table.rows[row - 1]):
            continue
        pair = [_number(table.at(row, column), decimal) for column in (head.distance, head.values)]
        if pair[0] is None or pair[1] is None:
            left += 1
            if not repair and len(faults) < MOST_FAULTS:
                column = head.distance if pair[0] is None else head.values
                faults.add(
                    table.place(row, column), shorten(table.at(row, column).text, 40) or "an empty cell", "a number in every row",
                    "export the trace again, or read it with repair, which leaves the row out", table.line(row), column,
                )  # fmt: skip
            continue
        rows.append((pair[0], pair[1]))
    faults.raise_if_any()
    values = np.array(rows, dtype=np.float64).reshape(-1, 2)
    distance = values[:, 0] * metres
    if (
        distance.size < LEAST_POINTS
        or not np.all(np.diff(distance) > 0)
        or float(np.abs(distance).max(initial=0.0)) > MOST_M
    ):
        faults.add(
            table.place(head.row, head.distance), f"{distance.size} distances", f"{LEAST_POINTS} or more, rising, up to {MOST_M:g} m",
            "export the trace again", table.line(head.row), head.distance,
        )  # fmt: skip
        faults.raise_if_any()
    loss, words = _loss(values[:, 1], head, table, faults)
    comments = tuple(shorten(text, 200) for row in table.rows[: head.row - 1][:100] if (text := "; ".join(c.text for c in row if not c.blank)))  # fmt: skip
    mended = (*table.mended, *words, *((f"{left} rows left out: no two numbers in them",) if left else ()))
    if name == "ft":
        mended = (*mended, "feet turned into metres")
    return DistanceTable(table.file, table.digest, distance, loss, name, head.format, comments, mended)


def _number(cell: Cell, decimal: str) -> float | None:
    try:
        read = read_cell(cell, decimal)
    except Unread:
        return None
    if read.number is None or read.comparator or abs(read.number) > 10**9:
        return None
    return float(read.number)


def _loss(values: Floats, head: _Head, table: Table, faults: FaultList) -> tuple[Floats, tuple[str, ...]]:
    """Return loss, positive; and what was turned to get it."""
    fault = ""
    words: tuple[str, ...] = ()
    loss = values
    if head.format == "VSWR":
        fault = "" if bool(np.all((values >= 1.0) & (values < 1e6))) else "standing wave ratios of 1 or more"
        loss = return_loss_db(gamma_from_vswr(np.maximum(values, 1.0)))
    elif head.format == "size":
        fault = "" if bool(np.all((values >= 0.0) & (values <= 2.0))) else "sizes of 0 to 1"
        loss = return_loss_db(np.clip(values, 0.0, None))
    elif float(np.abs(values).max()) > MOST_DB:
        fault = f"a return loss of at most {MOST_DB:g} dB"
    elif float(values.max()) <= NEAR_ZERO_DB:
        loss, words = -values, ("reflection written with a minus sign, turned into return loss",)
    elif float(values.min()) < -NEAR_ZERO_DB:
        fault = "return loss with one sign throughout"
    if fault:
        faults.add(
            table.place(head.row, head.values), f"{values.min():g} to {values.max():g}", fault, "check the column", table.line(head.row),
            head.values,
        )  # fmt: skip
        faults.raise_if_any()
    return np.minimum(loss, MOST_DB), words
