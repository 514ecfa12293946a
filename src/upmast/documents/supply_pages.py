"""The DC supply in the calculation sheet: radios, order of drops, price tag of other sizes."""

from __future__ import annotations

from collections.abc import Iterable

from upmast.documents.sheet import Block, Cell, Column, Heading, Paragraph, Table, joined
from upmast.number import number
from upmast.proof.supply import Supply
from upmast.proof.supply_words import ENDS, cheapest_words, cost_words, estimate_words, first_words, price_words


def supply_blocks(supply: Supply) -> Iterable[Block]:
    """Which radio drops first, at what bus voltage, and what the copper costs in minutes."""
    yield Heading("DC supply")
    yield Paragraph(first_words(supply))
    if supply.end_minutes is not None:
        waste = ""
        if supply.unusable_kwh:
            waste = f" The drop in the line makes {number(supply.unusable_kwh, 'kWh')} of the battery unusable, {100 * (supply.unusable_fraction or 0.0):.1f} % of it."
        yield Paragraph(f"After {number(supply.end_minutes, 'min')} {ENDS.get(supply.end, supply.end)}.{waste}")
    price = price_words(supply)
    if price:
        yield Paragraph(price)
    yield _radios(supply)
    for words, events in (
        ("As the emf falls from float they drop", supply.order),
        ("As it rises again they start", supply.starts),
    ):
        if events:
            yield Paragraph(f"{words}: {joined([f'{e.radio} at {e.emf_v:.1f} V' for e in events], 48)}.")
    if len(supply.sizes) > 1:
        yield _sizes(supply)
        if estimate_words(supply):
            yield Paragraph(estimate_words(supply) + ".", "note")
    if supply.notes:
        yield Paragraph("Taken for granted: " + "; ".join(supply.notes) + ".", "note")


def _cell(value: float | None, unit: str, signed: bool = False) -> str:
    return "not known" if value is None else number(value, unit, signed=signed)


def _radios(supply: Supply) -> Table:
    columns = (
        Column("Radio", width=12), Column("Power", "W", 10), Column("Voltage", "V", 12), Column("Minimum", "V", 12),
        Column("Margin", "V", 12), Column("To cut-out", "V", 12), Column("Current", "A", 12), Column("On battery", "min", 16),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for r in supply.radios:
        minutes = "not known" if r.minutes is None else f"{r.minutes:.0f}" + ("" if r.to_the_end else " (drops)")
        rows.append(
            (
                r.radio, f"{r.maximum_w:.0f}", _cell(r.voltage_v, ""), f"{r.minimum_v:g}", _cell(r.margin_v, "", True),
                _cell(r.to_cut_out_v, "", True), _cell(r.current_a, ""), minutes,
            )
        )  # fmt: skip
    scenario = supply.radios[0].scenario if supply.radios else ""
    return Table(f"Radios, scenario {scenario}, full load, hot conductors", columns, tuple(rows))


def _sizes(supply: Supply) -> Table:
    columns = (
        Column("Size", "mm²", 14), Column("Cost", width=12), Column("Least margin", "V", 16), Column("First drop at bus", "V", 18),
        Column("Until then", "min", 12), Column("Energy lost", "kWh/yr", 13), Column("Life cost", width=12),
        Column("Cheapest for", "A a pair", 16),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for s in supply.sizes:
        rows.append(
            (
                f"{s.area_mm2:g}" + (", as it is" if s.present else ""),
                cost_words(s.cost, s),
                "no solution" if s.lowest_margin_v is None else f"{s.lowest_margin_v:+.2f}, {s.margin_radio}",
                "not known" if s.first_drop_bus_v is None else f"{s.first_drop_bus_v:.2f}, {s.first_drop_radio}",
                "not known" if s.first_minutes is None else f"{s.first_minutes:.0f}",
                "not known" if s.energy_kwh is None else f"{s.energy_kwh:.0f}",
                cost_words(s.life_cost, s), cheapest_words(s),
            )
        )  # fmt: skip
    return Table(
        "Other sizes of the feeding cables: each proven again with its own resistance and heat", columns, tuple(rows)
    )


__all__ = ["supply_blocks"]
