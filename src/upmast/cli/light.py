"""How the fibre of a line looks on a terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from upmast.number import number

if TYPE_CHECKING:
    from rich.console import Console

    from upmast.proof.light import Light, LoopLight

SHOWN = 12


def show_light(out: Console, light: Light, every: bool = False) -> None:
    """Print the fibre: where light ends and why, the budget of each link, loops with every way to lay them, what is kept."""
    from upmast.proof.light_words import cause_words, headline_words, over_words

    wrong = any(not x.right for x in light.links)
    out.print(headline_words(light), style="bold red" if wrong else "bold")
    for link in light.links:
        if not link.right:
            out.print(f"  ◆ {link.link}: {link.why}", style="red")
    for words in cause_words(light):
        out.print(f"  {words}", style="bold")
    out.print()
    _links(out, light, every)
    for link in light.links:
        if over_words(link):
            out.print(f"  {link.link}: too strong by {number(-link.over_db, 'dB')}; {over_words(link)}")
    memory = sorted({x.memory for x in light.links if x.memory})
    for words in memory:
        out.print(f"  not judged, class values from memory: {words}", style="yellow")
    out.print()
    _loops(out, light)
    _kept(out, light)
    out.print(
        "Class values are limits of the standard, not your module's. Invisible laser light: never look into a fibre.",
        style="dim",
    )
    out.print()


def _links(out: Console, light: Light, every: bool) -> None:
    from rich.table import Table

    from upmast.proof.light_words import strands_words

    def cell(value: float, places: int = 2, sign: str = "") -> str:
        return "-" if math.isnan(value) else f"{value:{sign}.{places}f}"

    out.print("Budget of each link, the worse of its two directions", style="bold")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 2), header_style="dim")
    names = (
        "link", "from and to", "strands", "m", "joints", "loss\ndB", "likely\ndB", "weak\ndB", "strong\ndB", "delay\nns", "apart\nns",
    )  # fmt: skip
    for name in names:
        table.add_column(name, justify="left" if name in names[:3] else "right", no_wrap=name in names[:3])
    ordered = sorted(light.links, key=lambda x: (x.right, x.low_db))
    shown = ordered if every else ordered[:SHOWN]
    for x in shown:
        style = "red" if not x.right else "bold red" if x.low_db < 0 or x.over_db < 0 else ""
        numbers = (
            cell(x.worst_db), cell(x.likely_db), cell(x.low_db, sign="+"), cell(x.over_db, sign="+"), cell(x.delay_ns, 1),
            cell(x.apart_ns, 3),
        )  # fmt: skip
        table.add_row(
            x.link, f"{x.cabinet_port} > {x.radio_port}", strands_words(x, 1), f"{x.length_m:.0f}", str(x.joints),
            *(numbers if x.right else ("-",) * len(numbers)), style=style,
        )  # fmt: skip
    out.print(table)
    if len(ordered) > len(shown):
        out.print(f"  and {len(ordered) - len(shown)} more with more margin: --all", style="dim")
    out.print(
        "  loss: the highest. likely: mean and three sigma, no bound: above the highest where joints are few.\n"
        "  weak, strong: margins to the receiver's least and greatest power. apart: difference of the two delays.",
        style="dim",
    )


def _loops(out: Console, light: Light) -> None:
    from rich.table import Table

    if light.loops:
        out.print("Slack loops", style="bold")
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 2), header_style="dim")
        for name in ("loop", "of", "as it lies", "holds, m", "left over, m", "least radius, m", "bend at most, dB"):
            table.add_column(
                name, justify="left" if name in ("loop", "of", "as it lies") else "right", no_wrap=name == "loop"
            )
        for one in light.loops:
            loop = one.loop
            bound = "not judged" if math.isnan(one.bound_db[1]) else f"{one.bound_db[1]:.3f}"
            style = "red" if 1000 * loop.radius_m < loop.least_radius_mm - 1e-9 else ""
            left = "-" if math.isnan(loop.surplus_m) else f"{loop.surplus_m:.2f} ± {loop.surplus_off_m:.2f}"
            cells = (
                loop.id,
                loop.cable,
                loop.form,
                f"{loop.stored_m:.2f}",
                left,
                f"{loop.least_radius_mm / 1000:.3f}",
                bound,
            )
            table.add_row(*cells, style=style)
        out.print(table)
        _ways(out, light)
        for coil in light.together:
            rest = ", ".join(f"{c} {r:.2f} m" for c, r in zip(coil.cables, coil.rest_m, strict=True))
            out.print(
                f"  {', '.join(coil.cables)} could be one coil: {coil.turns} turns of {coil.radius_m:.3f} m; left beside it: {rest}",
                style="dim",
            )
    if light.loose:
        same: dict[tuple[float, float], list[str]] = {}
        for cable, surplus, missing in light.loose:
            same.setdefault((round(surplus, 2), round(missing, 2)), []).append(cable)
        for (surplus, missing), cables in same.items():
            words = f"; {missing:.2f} m more would make one turn" if missing > 0 else ""
            out.print(f"  {', '.join(cables)}: {surplus:.2f} m left over, in no loop{words}", style="dim")
    if light.loops or light.loose:
        out.print()


def _ways(out: Console, light: Light) -> None:
    """Every other way to lay the loops, and how they are tied; loops that say the same are named once."""
    from upmast.proof.light_words import break_words, missing_words, other_ways

    alike: dict[tuple[str, ...], list[LoopLight]] = {}
    for one in light.loops:
        words = (
            f"could also be {other_ways(one)}" if other_ways(one) else "",
            f"{one.ties} ties a turn; {one.twist}; strands strained by {number(one.strain_percent, '%')}, a break "
            f"{break_words(one.break_chance, light.years)}",
        )
        alike.setdefault((*words, missing_words(one)), []).append(one)
    for (others, tied, missing), loops in alike.items():
        names = [one.loop.id for one in loops]
        told = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
        for told_of in (others, tied):
            if told_of:
                out.print(f"  {told}: {told_of}", style="dim")
        if missing:
            out.print(f"  {told}: {missing}", style="yellow")


def _kept(out: Console, light: Light) -> None:
    bad = [(link, words) for link, sound, words in light.kept if not sound]
    kept, asked = light.growth
    standby = ", ".join(f"{radio} {has} of {want}" for radio, has, want in light.standby)
    out.print(
        f"Kept dark: {kept} strands for growth ({asked} asked)"
        + (f"; standby pairs: {standby}" if standby else "; no standby pair asked")
        + (f"; {len(bad)} of {len(light.kept)} kept pairs are unsound" if bad else ""),
        style="bold red" if bad or kept < asked else "bold",
    )
    for link, words in bad[:SHOWN]:
        out.print(f"  ◆ {link}: {words}", style="red")


__all__ = ["show_light"]
