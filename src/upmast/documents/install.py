"""The workbook for the crew that installs: every clamp by height, grips and the hoist, with columns to tick and sign; loads for the engineer."""

from __future__ import annotations

from upmast.documents.hand_over import hand_over_table, head_line, sums
from upmast.documents.install_bonds import bonds_sheet
from upmast.documents.install_joints import joints_sheet
from upmast.documents.sheet import Cell, Column, Sheet, Table, Workbook
from upmast.line.line import Line
from upmast.proof.closing import closings_of, has_closings
from upmast.proof.earth_plan import has_earth
from upmast.proof.mast_lines import MastLines, pull_note
from upmast.proof.prove import Proof
from upmast.site.site import Site

DONE = (Column("Done", width=8), Column("Initials", width=9), Column("Date", width=11))
BLANK: tuple[Cell, ...] = ("", "", "")


def install_sheets(proof: Proof, stamp: str = "") -> tuple[Sheet, ...]:
    """Sheets Joints and Bonds of a proof, each where its room was proven."""
    head = (head_line(proof.site, proof.line, stamp),)
    joints = (joints_sheet(closings_of(proof), head),) if has_closings(proof) else ()
    return (*joints, bonds_sheet(proof, head)) if has_earth(proof) else joints


def install_book(site: Site, line: Line, found: MastLines, stamp: str, more: tuple[Sheet, ...] = ()) -> Workbook:
    """Sheets Clamps, Grips and hoist, what more is given, Loads. Every row has the id of its item."""
    head = (head_line(site, line, stamp),)
    return Workbook(
        f"Install {site.id}", f"Line revision {line.revision}, {line.layer}",
        (
            Sheet("Clamps", _clamps(site, found), (*head, found.retighten_words, *found.notes[2:])),
            Sheet("Grips and hoist", _hoist(site, found), (*head, *found.notes[3:])),
            *more,
            Sheet("Loads", hand_over_table(found, site), (*head, *found.left_out, *found.basis, *sums(found))),
        ),
    )  # fmt: skip


def _clamps(site: Site, found: MastLines) -> Table:
    columns = (
        Column("Item", width=16), Column("No.", width=7, kind="count"), Column("Cable", width=12), Column("Holds also", width=18), Column("Part", width=24),
        Column("Leg", width=20), Column("Along the clamped length", "m", 12, "number", 2), Column("Height above the foot", "m", 12, "number", 2),
        Column("Torque", width=22), *DONE,
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (r.item, r.number, r.cable, ", ".join(r.others), r.part, r.leg, r.along_m, r.height_m, r.torque, *BLANK)
        for r in found.rows
    ]
    return Table(
        f"Clamps, {site.id}",
        columns,
        tuple(rows),
        "Places by evenly spread clamps, along the clamped length from the cabinet up. Every clamp holds its share of the weight.",
    )


def _hoist(site: Site, found: MastLines) -> Table:
    columns = (
        Column("Item", width=16), Column("What", width=52), Column("Part", width=24), Column("Height", "m", 10, "number", 2), Column("Load", "N", 10, "number", 0),
        Column("Limit", "N", 10, "number", 0), *DONE,
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for g in found.grips:
        for n, height in enumerate(g.heights_m, 1):
            rows.append(
                (
                    g.item,
                    f"grip {n} of {len(g.heights_m)} on {g.cable}, moving",
                    g.part,
                    height,
                    g.load_n,
                    g.rated_n,
                    *BLANK,
                )
            )
    for p in found.pulls:
        most = p.most_n if p.most_n is not None else ""
        rows.append(
            (
                p.cable,
                f"pulled along the route, better: {p.words.partition('better ')[2]}",
                p.part,
                "",
                p.tension_n[p.better],
                most,
                *BLANK,
            )
        )
    for r in found.hand_over:
        if r.hoist_n > 0:
            limit = next((p.most_n for p in found.pulls if p.cable == r.item and p.most_n is not None), None)
            rows.append((r.item, "hoisted by one point at the top, moving: pulling eye and protected head", r.part, r.high_m, r.hoist_n, "" if limit is None else limit, *BLANK))  # fmt: skip
    heat = "".join(f"\nHeat, {h.words}." for h in found.heat)  # a line each: no cell of a row holds that
    return Table(f"Grips and hoist, {site.id}", columns, tuple(rows), f"Along the route: {pull_note(found)}.{heat}")


__all__ = ["install_book", "install_sheets"]
