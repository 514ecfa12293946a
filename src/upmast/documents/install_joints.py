"""The sheet of joints of the install workbook: torque, closure and cap of each, with room for who did it."""

from __future__ import annotations

from upmast.documents.sheet import Cell, Column, Sheet, Table
from upmast.proof.closing import Closings

__all__ = ["joints_sheet"]

HOW = (
    "Clean, torque, mark, then close.",
    "Seal only dry, torqued and tested joints.",
    "Never a tool where it says by hand.",
)


def joints_sheet(found: Closings, head: tuple[str, ...] = ()) -> Sheet:
    """Every joint and unused port outdoors, one row each; cautions stand above the table, below `head`."""
    columns = (
        Column("Joint", width=34), Column("On", width=10), Column("Interface", width=13), Column("Torque", "N·m", 12), Column("Torque", "in·lb", 12),
        Column("Source", width=40), Column("Closure", width=14), Column("Kind", width=10), Column("Keeps", width=12), Column("Tape instead, inner", "m", 11),
        Column("Tape instead, outer", "m", 11), Column("Tool id", width=10), Column("Torque applied", "N·m", 11), Column("Done", width=8), Column("Initials", width=9),
        Column("Date", width=11),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for j in found.joints:
        source = j.source if j.confirmed else f"UNCONFIRMED: {j.source}"
        tape: tuple[Cell, Cell] = ("", "") if j.tape_m is None else (f"{j.tape_m[0]:.2f}", f"{j.tape_m[1]:.2f}")
        rows.append(
            (
                f"{j.ends[0]} to {j.ends[1]}", j.item, j.interface, j.torque_words, j.inch_pounds, source, j.seal, j.how or "its own seal", j.code, *tape,
                "", "", "", "", "",
            )
        )  # fmt: skip
    for c in found.caps:
        for n, port in enumerate(c.ports):
            cap = "cap with gasket" if n < c.capped else "NO CAP"
            rows.append(
                (f"{c.item}.{port}, unused", c.item, c.interface, "", "", "", "", cap, "", "", "", "", "", "", "", "")
            )
    notes = (*HOW, *(f"{n[0].upper()}{n[1:].rstrip('.')}." for n in found.notes))
    return Sheet("Joints", Table("Joints outdoors and unused ports", columns, tuple(rows)), (*head, *notes))
