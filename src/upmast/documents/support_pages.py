"""The support in the calculation sheet: clamps, what governs them, pull, swings, heat, the loads for the engineer, and pictures."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from upmast.documents.chart import chart_svg
from upmast.documents.hand_over import sums
from upmast.documents.jumper_pages import RfPicture
from upmast.documents.sheet import Block, Bullets, Cell, Column, Heading, Paragraph, Picture, Table, joined
from upmast.documents.support_charts import height_spec, hoist_spec, section_spec, use_spec, vortex_spec
from upmast.proof.clamp_list import torque_words
from upmast.proof.mast_lines import ASSUMED_BOLTS, FRICTION_FOOT, MastLines, pull_note
from upmast.proof.prove import Proof
from upmast.support.hand_over import WHERE_LEFT_OUT
from upmast.support.route import DIRECTIONS
from upmast.support.state import Inputs

MOST_VORTICES = 1
MOST_HOISTS = 1


def support_pictures(proof: Proof, found: MastLines) -> Iterator[RfPicture]:
    """Wind over height, clamps used up, vortices of the worst kind of cable, the hoist of a run."""
    room = proof.rooms["support"].inputs
    assert isinstance(room, Inputs)
    wind = height_spec(room)
    if wind is not None:
        yield RfPicture(
            "support-wind", wind, "Two curves over height: wind pressure, and the load on a metre of the thickest run, bare and with ice.",
            "Wind pressure and line load over height",
        )  # fmt: skip
    section = section_spec(room)
    if section is not None:
        yield RfPicture(
            "support-section", section, "The section of the thickest run to scale, bare and with its ice, with mass and wind on a metre.",
            "Section of the thickest run, bare and iced",
        )  # fmt: skip
    used = use_spec(found)
    if used is not None:
        yield RfPicture(
            "support-clamps", used, "Bars: real clamp spacing of each kind of cable as a share of the largest by slip, side load and rule, and by friction at the allowed torque.",
            "What of each clamp is used up",
        )  # fmt: skip
    known = [s for s in found.swings if s.frequency_hz is not None]
    known.sort(key=lambda s: (-(s.ratio or 0.0), s.part))
    for one in known[:MOST_VORTICES]:
        spec = vortex_spec(one)
        if spec is not None:
            yield RfPicture(
                f"support-vortex-{one.cables[0].lower()}", spec, "A line of vortex frequency over wind, crossing the band of the natural frequency of the cable.",
                f"Vortices behind {one.cables[0]}",
            )  # fmt: skip
    for hung in found.grips[:MOST_HOISTS]:
        yield RfPicture(
            f"support-hoist-{hung.cable.lower()}", hoist_spec(hung, proof.site.mast.height_m), "A cable beside the mast with its hoisting grips, their heights and loads.",
            f"Hoist of {hung.cable}",
        )  # fmt: skip


def support_blocks(proof: Proof, found: MastLines, charts: bool = True) -> Iterable[Block]:
    """Tables first, then sentences and pictures."""
    yield Heading("Support on the mast")
    yield Heading("Clamps by height", 2)
    yield _clamps(found)
    yield Heading("What governs the spacing of the clamps", 2)
    yield _holds(found)
    yield Paragraph(found.retighten_words[0].upper() + found.retighten_words[1:] + ".")
    if found.pulls:
        yield Heading("Pulled along the route", 2)
        yield _pulls(found)
    yield Heading("Swings in the wind and movement by heat", 2)
    yield Bullets((*_swings(found), *(f"{h.words}." for h in found.heat)))
    if found.masses:
        yield Bullets(tuple(f"Mass: {words}." for words in found.masses))
    yield Heading("Loads handed to the structural engineer", 2)
    yield _loads(found)
    here = tuple(
        words.replace(WHERE_LEFT_OUT, WHERE_LEFT_OUT.removesuffix(" in the calculation sheet"))
        for words in found.left_out
    )
    yield Bullets(tuple(f"{words}." for words in (*here, *sums(found))))
    yield Paragraph("Basis: " + "; ".join(found.basis) + ".", "note")
    for note in found.notes:
        yield Paragraph(note, "note")
    if charts:
        for shown in support_pictures(proof, found):
            yield Picture(chart_svg(shown.spec), shown.alt, shown.caption)


def _clamps(found: MastLines) -> Table:
    columns = (
        Column("Item", width=15), Column("Cable", width=11), Column("Part", width=22), Column("Leg", width=16), Column("Count", width=7, kind="count"),
        Column("From", "m", 7, "number", 1), Column("To", "m", 7, "number", 1), Column("Each", "m", 7, "number", 2), Column("Torque", width=16),
    )  # fmt: skip
    alike: dict[tuple[object, ...], list[int]] = {}
    for n, g in enumerate(found.groups):
        key = (
            g.part,
            g.leg,
            g.count,
            round(g.low_m, 1),
            round(g.high_m, 1),
            round(g.spacing_m, 2),
            g.torque_nm,
            g.most_nm,
        )
        alike.setdefault(key, []).append(n)
    rows: list[tuple[Cell, ...]] = []
    for some in alike.values():
        g = found.groups[some[0]]
        names = joined((found.groups[n].item for n in some), 3)
        cables = joined((found.groups[n].cable for n in some), 3)
        crushed = tuple(dict.fromkeys(id for n in some for id in found.groups[n].crushed))
        torque = torque_words(g.torque_nm, crushed, g.most_nm)
        rows.append((names, cables, g.part, g.leg, g.count, g.low_m, g.high_m, g.spacing_m, torque))
    note = f"{len(found.rows)} clamps; count is that of one item. Every clamp with its height stands in install.xlsx."
    return Table("Clamps by height", columns, tuple(rows), note)


def _holds(found: MastLines) -> Table:
    columns = (
        Column("Cables", width=22), Column("Clamp", width=20), Column("Real", "m", 7, "number", 2), Column("Slip", "m", 7), Column("Side", "m", 7),
        Column("Friction", "m", 8), Column("Rule", "m", 7, "number", 2), Column("Governs", width=10), Column("Spans", width=7, kind="count"),
        Column("End factor", "", 8, "number", 2), Column("Torque window", width=20),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for h in found.holds:
        window = "bolts not told" if h.window is None else h.window.words
        side = f"{h.side_m:.1f}" if math.isfinite(h.side_m) else "-"
        friction = "-" if h.friction_m is None else f"{h.friction_m:.1f}"
        rows.append(
            (
                joined(h.cables, 4),
                h.clamp,
                h.spacing_m,
                h.slip_words,
                side,
                friction,
                h.rule_m,
                h.governs_words,
                h.spans,
                h.end_factor,
                window,
            )
        )
    note = "Largest spacings; the end factor is that of the most loaded clamp for the real number of spans. Torques count a scatter of 30 % of the nut factor."
    if any(h.friction_m is not None for h in found.holds):
        note += f" {FRICTION_FOOT[0].upper()}{FRICTION_FOOT[1:]}."
    if not all(h.tested for h in found.holds):
        note += f" Slip {ASSUMED_BOLTS}."
    return Table("What governs the spacing of the clamps", columns, tuple(rows), note)


def _pulls(found: MastLines) -> Table:
    columns = (
        Column("Cable", width=10), Column("Direction", width=22), Column("Tension", "N", 9, "number", 0), Column("Limit", "N", 9),
        Column("Side pressure", "N/m", 10, "number", 0), Column("Limit", "N/m", 9), Column("Better", width=8), Column("Verdict", width=40),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for p in found.pulls:
        for n, way in enumerate(DIRECTIONS):
            best = n == p.better
            limits = ("not given" if x is None else f"{x:.0f}" for x in (p.most_n, p.most_n_per_m))
            pull, press = limits
            rows.append(
                (
                    p.cable,
                    way,
                    p.tension_n[n],
                    pull,
                    p.side_n_per_m[n],
                    press,
                    "yes" if best else "",
                    p.verdict if best else "",
                )
            )
    return Table(
        "Pulled along the route", columns, tuple(rows), pull_note(found)[0].upper() + pull_note(found)[1:] + "."
    )


def _swings(found: MastLines) -> Iterator[str]:
    unknown: dict[str, list[str]] = {}
    for s in found.swings:
        if s.frequency_hz is None or s.winds_m_per_s is None or s.ratio is None:
            unknown.setdefault(s.missing, []).extend(s.cables)
            continue
        yield (
            f"{joined(s.cables, 6)}: {s.frequency_hz[0]:.1f} to {s.frequency_hz[1]:.1f} Hz, winds of {s.winds_m_per_s[0]:.1f} to {s.winds_m_per_s[1]:.1f} m/s, "
            f"swing {100 * s.ratio:.1f} % of the diameter; {s.words}; {s.ends_words}."
        )
    for missing, cables in unknown.items():
        yield f"{joined(cables, 6)}: swings not judged: {missing}."


def _loads(found: MastLines) -> Table:
    columns = (
        Column("Item", width=12), Column("From", "m", 7, "number", 1), Column("To", "m", 7, "number", 1), Column("Dead", "N", 8, "number", 0),
        Column("Iced", "N", 8, "number", 0), Column("Bare", "m²", 8, "number", 3), Column("Iced", "m²", 8, "number", 3), Column("cf", width=6, kind="number", places=2),
        Column("Bare", "N/m", 8, "number", 1), Column("Iced", "N/m", 8, "number", 1), Column("Bare", "N", 8, "number", 0), Column("Iced", "N", 8, "number", 0),
        Column("Bare", "kN·m", 9, "number", 2), Column("Iced", "kN·m", 9, "number", 2),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            r.item, r.low_m, r.high_m, r.dead_n, r.iced_weight_n, r.bare_area_m2, r.iced_area_m2, r.bare_coefficient, r.bare_n_per_m, r.iced_n_per_m, r.bare_n,
            r.iced_n, r.bare_nm / 1000, r.iced_nm / 1000,
        )
        for r in found.hand_over
    ]  # fmt: skip
    t = found.total
    rows.append(
        (
            "total",
            "",
            "",
            t.dead_n,
            t.iced_weight_n,
            t.bare_area_m2,
            t.iced_area_m2,
            "",
            "",
            "",
            t.bare_n,
            t.iced_n,
            t.bare_nm / 1000,
            t.iced_nm / 1000,
        )
    )
    return Table(
        "Loads handed to the structural engineer",
        columns,
        tuple(rows),
        "The same, with widths, lengths, hoist and eccentricity, stands in hand-over.csv.",
    )


__all__ = ["support_blocks", "support_pictures"]
