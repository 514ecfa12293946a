"""The test plan: what to measure, how to set it up, what to expect, and blank fields for what was read."""

from __future__ import annotations

import math

from upmast.documents.kit_list import head_lines
from upmast.documents.sheet import Cell, Column, Sheet, Table, Workbook
from upmast.finding import Expectation, Limit
from upmast.number import number
from upmast.proof.prove import Proof


def limit_text(limit: Limit | None) -> str:
    return f"{limit.sense} {number(limit.value, limit.unit)}" if limit is not None else ""


def band_text(expectation: Expectation) -> tuple[str, str]:
    """Lowest and highest expected value as text; along an axis, the span of each."""
    return _side(expectation.low, expectation.unit), _side(expectation.high, expectation.unit)


def _side(values: tuple[float, ...], unit: str) -> str:
    known = [v for v in values if math.isfinite(v)]
    if not known:
        return "open"
    low, high = number(min(known), unit), number(max(known), unit)
    return low if low == high else f"{low} to {high}"


def axis_text(expectation: Expectation) -> str:
    """Over what the expectation runs, e.g. a span of frequency."""
    if not expectation.axis:
        return ""
    low, high = min(expectation.axis), max(expectation.axis)
    return f"{expectation.axis_name} {number(low, expectation.axis_unit)} to {number(high, expectation.axis_unit)}"


COLUMNS = (
    Column("Test", width=22), Column("What", width=34), Column("Where", width=13), Column("Set-up", width=54),
    Column("Over", width=26), Column("Expected, lowest", width=18), Column("Expected, highest", width=18),
    Column("Limit", width=18), Column("Reading", width=12, kind="blank"), Column("Conditions", width=18, kind="blank"),
    Column("Instrument serial", width=16, kind="blank"),
    Column("Name", width=14, kind="blank"), Column("Date", width=12, kind="blank"),
)  # fmt: skip


def plan_table(proof: Proof) -> Table:
    """One row a test, those at the foot before those on the mast."""
    rows: list[tuple[Cell, ...]] = []
    for one in sorted(proof.expectations, key=lambda e: e.where):
        low, high = band_text(one)
        rows.append(
            (
                one.id,
                one.title,
                one.where,
                one.set_up,
                axis_text(one),
                low,
                high,
                limit_text(one.limit),
                None,
                None,
                None,
                None,
                None,
            )
        )
    return Table(
        "Test plan",
        COLUMNS,
        tuple(rows),
        "A reading is judged against the limit; what differs from the expected band is looked into. Write it as it is read; "
        "under Conditions what the set-up asks for, each with its unit: `35 °C`, `500 V`, `2 x 43 dBm`, `on battery`.",
    )


def caution_table(proof: Proof) -> Table:
    rows: list[tuple[Cell, ...]] = [(room, text) for room, texts in proof.cautions.items() for text in texts]
    return Table("Cautions", (Column("Of", width=14), Column("Caution", width=120)), tuple(rows))


def plan_book(proof: Proof, stamp: str = "") -> Workbook:
    """The workbook: tests and cautions."""
    head = head_lines(proof.site, proof.line, stamp)
    return Workbook(
        f"Test plan {proof.site.id}, line revision {proof.line.revision}",
        "What to measure, and what to expect before anyone measures",
        (Sheet("Tests", plan_table(proof), head), Sheet("Cautions", caution_table(proof), head)),
    )
