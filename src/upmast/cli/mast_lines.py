"""How the lines on the mast look on a terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from upmast.proof.mast_lines import MastLines

MOST = 10


def show_mast_lines(out: Console, found: MastLines, every: bool = False) -> None:
    """Print clamps by height, what governs them, pull, swings, heat and the sums handed over."""
    from upmast.proof.mast_lines import pull_note

    out.print("Does it hold on the mast, and what does the mast get?", style="bold")
    _clamps(out, found, every)
    _holds(out, found)
    out.print(f"  {found.retighten_words}", style="dim")
    if found.pulls:
        out.print("  Pulled along the route:", style="bold")
        for p in found.pulls:
            out.print(f"    {p.words}; {p.verdict}", style="red" if p.verdict == "fails" else "")
        out.print(f"    {pull_note(found)}", style="dim")
    for g in found.grips:
        heights = ", ".join(f"{h:.1f}" for h in g.heights_m)
        out.print(
            f"  {g.cable} hangs on {g.item}, {g.part}, at {heights} m: {g.load_n:.0f} of {g.rated_n:.0f} N, moving"
        )
    _swings(out, found)
    out.print("  Heat:", style="bold")
    for h in found.heat:
        out.print(f"    {h.words}")
        if not h.missing:
            low, high = (1e6 * x for x in h.cable_per_k)
            out.print(
                f"    from {h.coldest_c:g} to {h.hottest_c:.0f} °C, laid at {h.installed_c:g} °C; expansion {low:.0f} to {high:.0f} against {1e6 * h.mast_per_k:.0f} "
                f"millionths a kelvin of {h.mast}; by {h.basis}",
                style="dim",
            )
    _loads(out, found, every)
    for words in found.masses:
        out.print(f"  Mass: {words}")
    for note in found.notes:
        out.print(f"  {note}", style="dim")
    out.print()


def _table(*columns: tuple[str, bool]) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 1), header_style="dim")
    for name, right in columns:
        table.add_column(name, justify="right" if right else "left", no_wrap=right)
    return table


def _clamps(out: Console, found: MastLines, every: bool) -> None:
    out.print(
        f"  {len(found.rows)} clamps" + (":" if every else ", by item and leg (every clamp: --all, and install.xlsx):")
    )
    if every:
        table = _table(
            ("    item", False),
            ("no.", True),
            ("cable", False),
            ("part", False),
            ("leg", False),
            ("height, m", True),
            ("torque", False),
        )
        for r in found.rows:
            table.add_row(
                f"    {r.item}",
                str(r.number),
                r.cable,
                r.part,
                r.leg,
                f"{r.height_m:.2f}",
                r.torque,
                style="red" if r.crushed else "",
            )
        out.print(table)
        return
    table = _table(
        ("    item", False),
        ("cable", False),
        ("part", False),
        ("leg", False),
        ("count", True),
        ("heights, m", True),
        ("each, m", True),
        ("torque", False),
    )
    for g in sorted(found.groups, key=lambda g: not g.crushed)[:MOST]:  # first those whose torque crushes
        table.add_row(
            f"    {g.item}",
            g.cable,
            g.part,
            g.leg,
            str(g.count),
            f"{g.low_m:.1f}-{g.high_m:.1f}",
            f"{g.spacing_m:.2f}",
            g.torque,
            style="red" if g.crushed else "",
        )
    out.print(table)
    if len(found.groups) > MOST:
        out.print(f"    and {len(found.groups) - MOST} more", style="dim")


def _holds(out: Console, found: MastLines) -> None:
    from upmast.proof.mast_lines import ASSUMED_BOLTS, FRICTION_FOOT, FRICTION_SHORT

    out.print("  What governs the spacing, m:", style="bold")
    table = _table(
        ("    cables", False), ("clamp", False), ("real", True), ("slip", True), ("side", True), (FRICTION_SHORT, True), ("rule", True), ("governs", False),
        ("spans", True), ("end", True), ("torque window", False),
    )  # fmt: skip
    for h in found.holds:
        first = f"    {h.cables[0]}" + (f", x{len(h.cables)}" if len(h.cables) > 1 else "")
        window = "bolts not told" if h.window is None else h.window.words
        table.add_row(
            first, h.clamp, f"{h.spacing_m:.2f}", h.slip_words, _m(h.side_m), "-" if h.friction_m is None else f"{h.friction_m:.1f}", f"{h.rule_m:g}",
            h.governs_words, str(h.spans), f"{h.end_factor:.2f}", window, style="yellow" if h.missing or (h.window and not h.window.open) else "",
        )  # fmt: skip
    out.print(table)
    if any(h.friction_m is not None for h in found.holds):
        out.print(f"    {FRICTION_FOOT}", style="dim")
    if not all(h.tested for h in found.holds):
        out.print(f"    slip {ASSUMED_BOLTS}", style="dim")


def _m(value: float) -> str:
    return f"{value:.1f}" if math.isfinite(value) else "-"


def _swings(out: Console, found: MastLines) -> None:
    out.print("  Vortices behind the cables (Strouhal number 0.18, all from memory of annex E):", style="bold")
    unknown: dict[str, list[str]] = {}
    for s in found.swings:
        if s.frequency_hz is None or s.winds_m_per_s is None or s.ratio is None:
            unknown.setdefault(s.missing, []).extend(s.cables)
            continue
        out.print(
            f"    {s.cables[0]}{f' and {len(s.cables) - 1} alike' if len(s.cables) > 1 else ''}, {s.part}, every {s.spacing_m:.2f} m: "
            f"{s.frequency_hz[0]:.1f} to {s.frequency_hz[1]:.1f} Hz by {s.basis}, winds of {s.winds_m_per_s[0]:.1f} to {s.winds_m_per_s[1]:.1f} m/s, "
            f"swing {100 * s.ratio:.1f} % of its diameter; {s.words}; {s.ends_words}"
        )
    for missing, cables in unknown.items():
        out.print(f"    {len(cables)} cables not judged here: {missing}", style="dim")


def _loads(out: Console, found: MastLines, every: bool) -> None:
    out.print("  Handed to the structural engineer (hand-over.csv in the pack):", style="bold")
    if every:
        table = _table(
            ("    item", False), ("from, m", True), ("to, m", True), ("dead, N", True), ("iced, N", True), ("bare, m²", True), ("iced, m²", True),
            ("bare, N/m", True), ("iced, N/m", True), ("bare, N", True), ("iced, N", True), ("bare, N·m", True), ("iced, N·m", True),
        )  # fmt: skip
        for r in found.hand_over:
            table.add_row(
                f"    {r.item}", f"{r.low_m:.1f}", f"{r.high_m:.1f}", f"{r.dead_n:.0f}", f"{r.iced_weight_n:.0f}", f"{r.bare_area_m2:.3f}", f"{r.iced_area_m2:.3f}",
                f"{r.bare_n_per_m:.1f}", f"{r.iced_n_per_m:.1f}", f"{r.bare_n:.0f}", f"{r.iced_n:.0f}", f"{r.bare_nm:.0f}", f"{r.iced_nm:.0f}",
            )  # fmt: skip
        out.print(table)
    t = found.total
    out.print(f"    weight {t.dead_n:.0f} N, {t.iced_weight_n:.0f} N with ice, and {t.hardware_words}")
    if t.bare_n:
        out.print(
            f"    wind {t.bare_n:.0f} N bare, {t.iced_n:.0f} N iced; at the foot {t.bare_nm / 1000:.1f} kN·m bare, {t.iced_nm / 1000:.1f} kN·m iced: {t.governing} governs"
        )
    for words in found.left_out:
        out.print(f"    {words}", style="yellow")
    for words in found.basis:
        out.print(f"    {words}", style="dim")


__all__ = ["show_mast_lines"]
