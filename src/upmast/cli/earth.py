"""How earthing looks on a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from upmast.proof.earth_plan import EarthPlan, Stroke

MOST_BONDS = 8


def show_earth(out: Console, found: EarthPlan, every: bool = False) -> None:
    """Print the bond plan, what a stroke does, protectors, direct currents and what tests should read."""
    from upmast.proof.earth_plan import CAUTIONS
    from upmast.proof.earth_words import electrode_words, protector_words

    out.print("Is every shield and case bonded, and what does a stroke leave at the equipment?", style="bold")
    for sentence in found.sentences:
        out.print(
            f"  {sentence}",
            style="yellow"
            if "not told" in sentence or sentence.startswith("not used") or "; none at" in sentence
            else "",
        )
    _bonds(out, found, every)
    if found.stroke is not None:
        _stroke(out, found.stroke)
        _variants(out, found)
        _open(out, found)
    for one in found.protectors:
        out.print(f"  Protector at {protector_words(one)}")
    _dc(out, found)
    if found.electrode is not None:
        out.print(f"  Electrode, order of size only: {electrode_words(found.electrode)}")
    _tests(out, found)
    for note in found.notes:
        out.print(f"  {note}", style="dim")
    out.print("  " + " ".join(CAUTIONS), style="dim")
    out.print()


def _table(*columns: str, left: int = 1) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 1), header_style="dim")
    for n, name in enumerate(columns):
        table.add_column(name, justify="left" if n < left else "right", no_wrap=n == 0)
    return table


def _bonds(out: Console, found: EarthPlan, every: bool) -> None:
    if not found.bonds:
        return
    table = _table("  bond", "at\nm", "kit", "lead", "on", "to", "reads about\nmΩ", "at most\nmΩ", left=6)
    rows = [b for b in found.bonds if every or b.use == "shield"][: None if every else MOST_BONDS]
    for b in rows:
        most = "" if b.limit_mohm is None else f"{b.limit_mohm:g}"
        fit = "" if b.fits else ", does not fit"
        table.add_row(
            f"  {b.item}", f"{b.height_m:g}", b.part + fit, f"{b.area_mm2:g} mm², {b.lead_m:g} m", f"{b.on}, {b.place}" if b.use == "shield" else b.on, b.to,
            f"{b.expected_mohm:g}", most, style="yellow" if fit else "",
        )  # fmt: skip
    out.print(table)
    if len(rows) < len(found.bonds):
        out.print(f"    and {len(found.bonds) - len(rows)} more, of cases: --all", style="dim")


def _stroke(out: Console, stroke: Stroke) -> None:
    out.print(
        f"  Stroke of level {stroke.level}, "
        + ", ".join(f"{name.replace('_', ' ')} {a / 1e3:g} kA" for name, a in stroke.peaks_a)
        + f"; legs' resistance {stroke.factors[0]:g} to {stroke.factors[-1]:g} times; volts between cores and shield:"
    )
    if stroke.assumed:
        out.print(f"    assumed: {', '.join(stroke.assumed)}", style="dim")
    table = _table(
        "   shield", "front\n%", "tail\n%", "peak\nkA", "at\nµs", "volts", "never\nabove", "withstands", "needs\nmm²"
    )
    for r in stroke.rows:
        table.add_row(
            f"   {r.run}", f"{100 * r.front:.1f}", _span(r.tail, 100, 1), _span(r.peak_a, 1e-3, 1), _span(r.peak_s, 1e6, 0), _span(r.volts, 1, 0),
            f"{r.safe_v:.0f}", f"{stroke.withstand.value:g}", f"{r.least_mm2:.1f}", style="" if max(r.volts) <= stroke.withstand.value else "yellow",
        )  # fmt: skip
    out.print(table)


def _span(values: tuple[float, ...], factor: float, places: int) -> str:
    low, high = (f"{factor * v:.{places}f}" for v in (min(values), max(values)))
    return low if low == high else f"{low} to {high}"


def _variants(out: Console, found: EarthPlan) -> None:
    for v in found.variants:
        volts = "" if v.low_v is None or v.high_v is None else f" {v.low_v:.0f} to {v.high_v:.0f} V in a stroke,"
        fault = "" if v.case_v is None else f" {v.case_v:.1f} V at the case for 100 A of fault current, {v.way_words};"
        size = f" {v.area_mm2:g} mm²" if v.area_mm2 else ""
        here = " (as the site says)" if v.present else ""
        out.print(f"    earth conductor {v.place}{size}{here}:{volts}{fault} {v.note}")


def _open(out: Console, found: EarthPlan) -> None:
    from upmast.earth.stroke import FLASH
    from upmast.proof.earth_words import open_end_words, stroke_words

    names = [stroke_words(name) for name, _ in found.stroke.peaks_a] if found.stroke is not None else []
    for run, words, kilovolts, holds, flashes in open_end_words(found):
        each = ", ".join(f"{name} {v:.1f}" for name, v in zip(names, kilovolts, strict=True))
        end = FLASH if flashes else "the gap would hold"
        out.print(f"    {run} without a bond {words}: {each} kV, the gap holds {holds:.0f} kV: {end}", style="dim")


def _dc(out: Console, found: EarthPlan) -> None:
    for run in dict.fromkeys(d.run for d in found.dc):
        mine = [d for d in found.dc if d.run == run]
        now = ", ".join(f"{d.path} {d.now_a:.1f} A" for d in mine if d.now_a is not None)
        both = ", ".join(f"{d.path} {d.both_a:.1f} A" for d in mine if d.both_a is not None)
        out.print(
            f"  Direct return current of {run}: {now}. Were the return bonded at both ends: {both}. One bond point for the return; shield at both ends."
        )


def _tests(out: Console, found: EarthPlan) -> None:
    if not found.tests:
        return
    out.print("  Tests, shield four-wire with one end lifted, radios and protectors disconnected, fibres untouched:")
    table = _table(
        "   run",
        "at\n°C",
        "shield reads\nmΩ",
        "bad above\nmΩ",
        "mast in parallel\nbelow mΩ",
        "insulation at\nV",
        "at least\nMΩ",
    )
    for t in found.tests:
        table.add_row(
            f"   {t.run}", f"{t.at_c:g}", f"{1e3 * t.expected_ohm:.1f}", f"{1e3 * t.limit_ohm:.1f}", f"{1e3 * t.parallel_ohm:.1f}",
            f"{t.test_v:g}" if t.cores else "no cores", f"{t.least_megohm:g}" if t.cores else "",
        )  # fmt: skip
    out.print(table)


__all__ = ["show_earth"]
