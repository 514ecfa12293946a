"""Earthing in the calculation sheet: the bond plan, what a stroke does, what a missing bond costs, tests, cautions and pictures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from upmast.documents.chart import chart_svg
from upmast.documents.earth_charts import dc_spec, elevation_spec, plan_spec, protector_spec, stroke_spec
from upmast.documents.jumper_pages import RfPicture
from upmast.documents.sheet import Block, Bullets, Cell, Column, Heading, Paragraph, Picture, Table
from upmast.earth.stroke import FLASH
from upmast.proof.earth_plan import CAUTIONS, EarthPlan, Stroke
from upmast.proof.earth_words import electrode_words, open_end_words, protector_words

MOST_DC = 1


def earth_pictures(found: EarthPlan) -> Iterator[RfPicture]:
    """Elevation, plan by share, stroke over time, protectors, direct currents: those for which there is something to show."""
    bonds = elevation_spec(found)
    if bonds is not None:
        yield RfPicture(
            "earth-bonds", bonds, "The mast from the side: every bond at its height with its lead, and the stretch to the next one.", "Bonds of the line"
        )  # fmt: skip
    if found.stroke is not None and found.seen is not None:
        yield RfPicture(
            "earth-plan", plan_spec(found.seen, found.stroke),
            "The mast from above: legs as squares, shielded cables as circles, darker where a shield takes more of a stroke.", "Share of a stroke by place",
        )  # fmt: skip
        over_time = stroke_spec(found.stroke)
        if over_time is not None:
            yield RfPicture(
                "earth-stroke", over_time, "Currents of stroke, legs and shield over time, and the voltage between the cores and the shield.",
                "A stroke over time",
            )  # fmt: skip
    bars = protector_spec(found)
    if bars is not None:
        yield RfPicture(
            "earth-protectors", bars, "Bars: protection level and drop of the leads of each protector against what may be left.", "Protectors with leads"
        )  # fmt: skip
    for run in list(dict.fromkeys(d.run for d in found.dc))[:MOST_DC]:
        currents = dc_spec(found, run)
        if currents is not None:
            yield RfPicture(
                f"earth-dc-{run.lower()}", currents, "Bars: direct current in the return wires, the shield and an earth conductor.", "Direct current on its way back"
            )  # fmt: skip


def earth_blocks(found: EarthPlan, charts: bool = True) -> Iterable[Block]:
    """Sentences, tables, cautions and pictures."""
    yield Heading("Earthing")
    yield Bullets(tuple(f"{_capital(s)}." for s in found.sentences))
    yield Bullets(CAUTIONS, "caution")
    if found.bonds:
        yield from _titled(bond_table(found))
    if found.stroke is not None:
        yield from _titled(_stroke(found.stroke))
        if found.variants:
            yield from _titled(_variants(found))
        yield from _titled(_open(found))
    if found.protectors:
        yield Heading("Surge protectors", 2)
        yield Bullets(tuple(f"Protector at {protector_words(one)}." for one in found.protectors))
    if found.dc:
        yield from _titled(_dc(found))
    if found.electrode is not None:
        yield Paragraph(
            f"Electrode, order of size only, in even soil: {electrode_words(found.electrode)}. It is measured and accepted by a competent licensed person."
        )
    if found.tests:
        yield from _titled(_tests(found))
    for note in found.notes:
        yield Paragraph(_capital(note) + ".", "note")
    if charts:
        for shown in earth_pictures(found):
            yield Picture(chart_svg(shown.spec), shown.alt, shown.caption)


def _titled(table: Table) -> Iterable[Block]:
    """A table under its title."""
    yield Heading(table.title, 2)
    yield table


def _capital(text: str) -> str:
    # an id or a word of its own stays as it is
    return text[:1].upper() + text[1:]


def bond_table(found: EarthPlan) -> Table:
    """Every bond from the top down."""
    columns = (
        Column("Bond", width=12), Column("At", "m", 8), Column("Part", width=20), Column("Section", "mm²", 9), Column("Lead", "m", 7), Column("On", width=26),
        Column("To", width=30), Column("Reads about", "mΩ", 10), Column("At most", "mΩ", 9), Column("Heats in a stroke", "K", 10),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            b.item, f"{b.height_m:g}", b.part + ("" if b.fits else ", does not fit"), f"{b.area_mm2:g}", f"{b.lead_m:g}",
            b.place if b.use == "case" else f"{b.on}, {b.place}", b.to, f"{b.expected_mohm:g}", "" if b.limit_mohm is None else f"{b.limit_mohm:g}",
            "" if b.rise_k is None else f"{b.rise_k:.0f}",
        )
        for b in found.bonds
    ]  # fmt: skip
    return Table(
        "Bond plan", columns, tuple(rows),
        "Leads short, straight and downward, without sharp bends; bare metal, then torque, then seal; compatible metals. The heat is that of a lead that "
        "carries its shield's share of a first stroke.",
    )  # fmt: skip


def _stroke(stroke: Stroke) -> Table:
    columns = (
        Column("Shield of", width=10), Column("Front", "%", 8), Column("Tail", "%", 14), Column("Peak", "kA", 14), Column("At", "µs", 12),
        Column("Core to shield", "V", 16), Column("Never above", "V", 10), Column("Withstand", "V", 10), Column("Margin", "V", 10), Column("Least shield", "mm²", 9),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            r.run, f"{100 * r.front:.1f}", _span(r.tail, 100, 1), _span(r.peak_a, 1e-3, 1), _span(r.peak_s, 1e6, 0), _span(r.volts, 1, 0), f"{r.safe_v:.0f}",
            f"{stroke.withstand.value:g}", f"{stroke.withstand.value - max(r.volts):+.0f}", f"{r.least_mm2:.1f}",
        )
        for r in stroke.rows
    ]  # fmt: skip
    assumed = f" Assumed: {', '.join(stroke.assumed)}." if stroke.assumed else ""
    return Table(
        f"What a stroke of level {stroke.level} leaves", columns, tuple(rows),
        f"Spans: legs' resistance {stroke.factors[0]:g} to {stroke.factors[-1]:g} times that with direct current. Withstand: {stroke.withstand.source}.{assumed}",
    )  # fmt: skip


def _span(values: tuple[float, ...], factor: float, places: int) -> str:
    low, high = (f"{factor * v:.{places}f}" for v in (min(values), max(values)))
    return low if low == high else f"{low} to {high}"


def _variants(found: EarthPlan) -> Table:
    columns = (
        Column("Earth conductor", width=16), Column("Section", "mm²", 9), Column("Core to shield", "V", 18), Column("Case at 100 A of fault", "V", 12), Column("", width=62),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for v in found.variants:
        volts = "" if v.low_v is None or v.high_v is None else f"{v.low_v:.0f} to {v.high_v:.0f}"
        here = ", as the site says" if v.present else ""
        rows.append(
            (
                v.place + here,
                f"{v.area_mm2:g}" if v.area_mm2 else "",
                volts,
                "" if v.case_v is None else f"{v.case_v:.1f}",
                v.note,
            )
        )
    return Table(
        f"{found.variants[0].run} without an earth conductor, and with one", columns, tuple(rows),
        "It serves fault current and equal potential, not surges: never take its resistance and the shield's in parallel for a peak. The fault current goes "
        f"{found.variants[0].way_words}, at 60 °C, as in the table of direct currents; a stroke acts on the part on the mast.",
    )  # fmt: skip


def _open(found: EarthPlan) -> Table:
    columns = (
        Column("Run", width=8), Column("Were it without a bond", width=26), Column("First positive", "kV", 12), Column("First negative", "kV", 12),
        Column("Subsequent", "kV", 12), Column("Gap holds", "kV", 10), Column("", width=26),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (run, words, *(f"{v:.1f}" for v in kilovolts), f"{holds:.0f}", FLASH if flashes else "")
        for run, words, kilovolts, holds, flashes in open_end_words(found)
    ]
    return Table(
        "What a missing bond costs", columns, tuple(rows),
        "Voltage between steel and shield at its open end, with the mean slope of each front; the steepest slope is about 1.4 times that. Air 500 kV/m, from memory.",
    )  # fmt: skip


def _dc(found: EarthPlan) -> Table:
    columns = (
        Column("Run", width=8), Column("Path", width=18), Column("Resistance", "mΩ", 12), Column("As it stands", "A", 12), Column("Bonded at both ends", "A", 14),
        Column("And an earth conductor", "A", 14),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            d.run,
            d.path,
            f"{1e3 * d.ohm:.1f}",
            *("" if v is None else f"{v:.1f}" for v in (d.now_a, d.both_a, d.with_earth_a)),
        )
        for d in found.dc
    ]
    return Table(
        "Direct current on its way back", columns, tuple(rows),
        "Full load at the lowest voltage, steel of the mast left out. One bond point for the return, shield and earth conductor at both ends: a return bonded at both "
        "hides a break and puts direct current on clamps.",
    )  # fmt: skip


def _tests(found: EarthPlan) -> Table:
    columns = (
        Column("Run", width=8), Column("At", "°C", 7), Column("Shield reads", "mΩ", 11), Column("Bad above", "mΩ", 10), Column("In parallel below", "mΩ", 12),
        Column("Insulation at", "V", 10), Column("At least", "MΩ", 9), Column("Times, for 20 °C", "", 11), Column("Reading", width=12),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            t.run, f"{t.at_c:g}", f"{1e3 * t.expected_ohm:.1f}", f"{1e3 * t.limit_ohm:.1f}", f"{1e3 * t.parallel_ohm:.1f}", f"{t.test_v:g}" if t.cores else "",
            f"{t.least_megohm:g}" if t.cores else "", f"{t.to_20:.2f}" if t.cores else "", "",
        )
        for t in found.tests
    ]  # fmt: skip
    return Table(
        "What tests should read", columns, tuple(rows),
        "Shield: four wires, one end lifted, before the line carries load; below the lower limit the mast is still in parallel. Insulation: radios and surge "
        "protectors disconnected, fibres untouched, cores discharged afterwards; the limit holds for the reading as it is, the factor only compares it with an earlier one.",
    )  # fmt: skip


__all__ = ["bond_table", "earth_blocks", "earth_pictures"]
