"""How the DC supply of a line looks on a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from upmast.number import number

if TYPE_CHECKING:
    from rich.console import Console

    from upmast.proof.supply import Supply


def show_supply(out: Console, supply: Supply) -> None:
    """Print the DC supply: radios, the order in which they drop, the price tag of other sizes."""
    from rich.table import Table

    from upmast.proof.supply_words import ENDS, first_words

    def cell(value: float | None, unit: str, signed: bool = False) -> str:
        return "-" if value is None else number(value, unit, signed=signed)

    scenario = supply.radios[0].scenario if supply.radios else ""
    out.print(f"DC supply of each radio, scenario {scenario}, full load, hot conductors", style="bold")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 2), header_style="dim")
    names = ("radio", "power", "voltage", "minimum", "margin", "to cut-out", "current", "on battery", "room to grow")
    growing = any(r.growth_w is not None for r in supply.radios)
    for name in names if growing else names[:-1]:
        table.add_column(name, justify="left" if name == "radio" else "right")
    for r in supply.radios:
        minutes = "-" if r.minutes is None else number(r.minutes, "min") + ("" if r.to_the_end else " *")
        style = "bold red" if r.margin_v is None or r.margin_v < 0 else ""
        grow = (
            "-"
            if r.growth_w is None
            else "unlimited"
            if r.growth_w == float("inf")
            else f"{number(r.growth_w, 'W')}, {r.governs}"
        )
        cells = (
            r.radio, number(r.maximum_w, "W"), cell(r.voltage_v, "V"), number(r.minimum_v, "V"), cell(r.margin_v, "V", True),
            cell(r.to_cut_out_v, "V", True), cell(r.current_a, "A"), minutes, grow,
        )  # fmt: skip
        table.add_row(*(cells if growing else cells[:-1]), style=style)
    out.print(table)
    if any(r.minutes is not None and not r.to_the_end for r in supply.radios):
        out.print("  * it drops out while the battery still has charge", style="dim")
    out.print()
    out.print(first_words(supply), style="bold")
    if supply.end_minutes is not None:
        waste = (
            f"; the drop in the line makes {number(supply.unusable_kwh, 'kWh')} of the battery ({100 * (supply.unusable_fraction or 0):.1f} %) unusable"
            if supply.unusable_kwh
            else ""
        )
        out.print(f"After {number(supply.end_minutes, 'min')} {ENDS.get(supply.end, supply.end)}{waste}.")
    _order(out, supply)
    _sizes(out, supply)
    for p in supply.pairs:
        if p.spare_gains_v is not None or p.longest_m < 2 * p.present_m:
            more = (
                ""
                if p.spare_gains_v is None
                else f"; a spare pair in parallel would give it {number(p.spare_gains_v, 'V', signed=True)}"
            )
            out.print(
                f"  {p.radio}: its pair of {number(p.present_m, 'm')} could be {number(p.longest_m, 'm')} long ({p.governs}){more}",
                style="dim",
            )
    for note in supply.notes:
        out.print(f"  {note}", style="dim")
    out.print()


def _order(out: Console, supply: Supply) -> None:
    def told(rows: tuple[object, ...]) -> str:
        return ", ".join(f"{e.radio} at {e.emf_v:.1f} V" for e in rows)  # type: ignore[attr-defined]

    if supply.order:
        out.print(f"  as the emf falls from float they drop: {told(supply.order)}", style="dim")
    if supply.starts:
        out.print(f"  as it rises again they start:          {told(supply.starts)}", style="dim")


def _sizes(out: Console, supply: Supply) -> None:
    from rich.table import Table

    from upmast.proof.supply_words import cheapest_words, cost_words, estimate_words, price_words

    if len(supply.sizes) < 2:
        return
    out.print()
    out.print("What other sizes of the feeding cables would do", style="bold")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 2), header_style="dim")
    for name in (
        "size",
        "cost",
        "least margin",
        "first drop at",
        "minutes",
        "kWh a year",
        "life cost",
        "cheapest, A a pair",
    ):
        table.add_column(name, justify="left" if name == "size" else "right", no_wrap=name == "size")
    for s in supply.sizes:
        table.add_row(
            f"{s.area_mm2:g} mm²" + (", as it is" if s.present else ""),
            cost_words(s.cost, s),
            "no solution" if s.lowest_margin_v is None else f"{number(s.lowest_margin_v, 'V', signed=True)} {s.margin_radio}",
            "-" if s.first_drop_bus_v is None else f"{number(s.first_drop_bus_v, 'V')} {s.first_drop_radio}",
            "-" if s.first_minutes is None else f"{s.first_minutes:.0f}",
            "-" if s.energy_kwh is None else f"{s.energy_kwh:.0f}",
            cost_words(s.life_cost, s),
            cheapest_words(s), style="bold" if s.present else "",
        )  # fmt: skip
    out.print(table)
    if estimate_words(supply):
        out.print(f"  {estimate_words(supply)}", style="dim")
    words = price_words(supply)
    if words:
        out.print(words, style="bold")


__all__ = ["show_supply"]
