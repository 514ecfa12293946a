"""The table for the structural engineer: what each cable and box weighs and catches of the wind, with sums at the foot."""

from __future__ import annotations

from upmast.documents.sheet import Cell, Column, Table
from upmast.documents.to_csv import csv_bytes
from upmast.line.line import Line
from upmast.proof.mast_lines import MastLines
from upmast.site.site import Site

CAUTION = "Not a structural design: mast, foundation and mounts are to be verified by a licensed engineer."


def hand_over_table(found: MastLines, site: Site) -> Table:
    """One row a cable or box, everything in numbers; weights, areas, forces and moments are summed at the foot."""
    columns = (
        Column("Item", width=12), Column("Kind", width=13), Column("Part", width=26), Column("From", "m", 8, "number", 2), Column("To", "m", 8, "number", 2),
        Column("Length on the mast", "m", 10, "number", 2), Column("Width", "mm", 8, "number", 1), Column("Width iced", "mm", 8, "number", 1),
        Column("Dead weight", "N", 10, "number", 1, True), Column("Weight iced", "N", 10, "number", 1, True), Column("Area bare", "m²", 9, "number", 4, True),
        Column("Area iced", "m²", 9, "number", 4, True), Column("Coefficient bare", "", 11, "number", 2), Column("Coefficient iced", "", 11, "number", 2),
        Column("Line force bare", "N/m", 10, "number", 2), Column("Line force iced", "N/m", 10, "number", 2), Column("Force bare", "N", 10, "number", 1, True),
        Column("Force iced", "N", 10, "number", 1, True), Column("Moment bare", "N·m", 11, "number", 0, True), Column("Moment iced", "N·m", 11, "number", 0, True),
        Column("Pull while hoisted", "N", 11, "number", 0), Column("Eccentricity", "m", 11, "number", 2),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            r.item, r.kind, r.part, r.low_m, r.high_m, r.length_m, r.width_mm, r.iced_width_mm, r.dead_n, r.iced_weight_n, r.bare_area_m2, r.iced_area_m2,
            r.bare_coefficient, r.iced_coefficient, r.bare_n_per_m, r.iced_n_per_m, r.bare_n, r.iced_n, r.bare_nm, r.iced_nm, r.hoist_n, r.eccentricity_m,
        )
        for r in found.hand_over
    ]  # fmt: skip
    return Table(f"Loads of the line on the mast, {site.id}", columns, tuple(rows), CAUTION, total_words(found))


def total_words(found: MastLines) -> str:
    """What the sums at the foot are of."""
    return "TOTAL, without radios, antennas and what stands already" if found.left_out else "TOTAL"


def totals(found: MastLines) -> tuple[Cell, ...]:
    """The sums in the columns of the table."""
    t = found.total
    return (
        total_words(found), "", "", "", "", "", "", "", t.dead_n, t.iced_weight_n, t.bare_area_m2, t.iced_area_m2, "", "", "", "", t.bare_n, t.iced_n, t.bare_nm,
        t.iced_nm, "", "",
    )  # fmt: skip


def sums(found: MastLines) -> tuple[str, ...]:
    """The sums in words."""
    t = found.total
    wind = (
        ()
        if not t.bare_n
        else (
            f"Wind {t.bare_n:.0f} N bare and {t.iced_n:.0f} N iced; at the foot of the mast {t.bare_nm / 1000:.2f} kN·m bare and {t.iced_nm / 1000:.2f} kN·m iced: {t.governing} governs",
        )
    )
    return (
        f"Weight {t.dead_n:.0f} N, {t.iced_weight_n:.0f} N with ice; besides {t.hardware_words}",
        *wind,
        f"Moment of the weights about the axis of the mast, all to one side: {t.dead_nm:.0f} N·m, {t.iced_weight_nm:.0f} N·m with ice",
    )


def head_line(site: Site, line: Line, stamp: str) -> str:
    """Site, revision, digest and stamp: what stands first on every sheet for the crew and the engineer."""
    return f"site {site.id}, line revision {line.revision}, {line.digest[:12]}" + (f", {stamp}" if stamp else "")


def hand_over_csv(found: MastLines, site: Site, line: Line, stamp: str) -> bytes:
    """`hand-over.csv`: who, on what basis, the table, the totals."""
    head = (
        head_line(site, line, stamp),
        *found.left_out,
        CAUTION,
        *(f"basis: {words}" for words in found.basis),
        f"eccentricity: half the face of the mast at the top, {site.mast.face_m:g} m{'' if 'face_m' in site.mast.model_fields_set else ', a default of upmast'}: correct it by the drawing of the mast",
        *sums(found),
    )
    return csv_bytes(hand_over_table(found, site), head, (totals(found),))


__all__ = ["CAUTION", "hand_over_csv", "hand_over_table", "head_line", "sums", "total_words", "totals"]
