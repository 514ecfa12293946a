"""The DC supply in words, and as plain data: said once for terminal, sheet and JSON."""

from __future__ import annotations

from dataclasses import asdict

from upmast.number import number
from upmast.proof.supply import SizeTag, Supply

ENDS = {
    "disconnect": "the plant disconnects", "empty": "the battery is empty", "idle": "nothing is left that draws",
    "collapse": "there is no operating point",
}  # fmt: skip


def first_words(supply: Supply) -> str:
    """In one sentence: which radio drops first, at what bus voltage, and when."""
    first = supply.first
    if first is None:
        return "No radio drops out by the line before the plant does."
    words = f"{first.radio} drops out first, at a bus voltage of {number(first.bus_v, 'V')}"
    if not supply.first_within:
        words += f": the emf is then {number(first.emf_v, 'V')}, below the plant's lowest of {number(supply.end_v, 'V')}, so the plant goes first"
    minutes = next((r.minutes for r in supply.radios if r.radio == first.radio), None)
    if minutes is not None:
        words += (
            f"; {number(minutes, 'min')} on battery"
            if supply.first_within
            else f"; all radios last {number(minutes, 'min')}"
        )
    return words + "."


def price_words(supply: Supply) -> str:
    """In one sentence: what the next size of the feeding cables would buy."""
    own = next((s for s in supply.sizes if s.present), None)
    after = [s for s in supply.sizes if own is not None and s.area_mm2 > own.area_mm2]
    if own is None or not after:
        return ""
    up = min(after, key=lambda s: s.area_mm2)
    words = f"The next size up, {up.area_mm2:g} mm² for {own.area_mm2:g} mm², buys"
    gains = []
    if up.gained_min is not None:
        gains.append(
            f"{number(up.gained_min, 'min')} of battery until the first radio drops or the battery ends"
            if abs(up.gained_min) >= 0.5
            else "less than a minute of battery"
        )
    if up.lowest_margin_v is not None and own.lowest_margin_v is not None:
        gains.append(f"{number(up.lowest_margin_v - own.lowest_margin_v, 'V')} at the radio with the least margin")
    if up.energy_kwh is not None and own.energy_kwh is not None:
        gains.append(f"{number(own.energy_kwh - up.energy_kwh, 'kWh')} a year")
    words += " " + (", ".join(gains) if gains else "nothing that can be told")
    words += (
        f", for {number(up.dearer_cost, 'cost units')} more{' by estimate' if up.known == 'estimated' else ''}"
        if up.dearer_cost is not None
        else "; the catalogue has no price for it"
    )
    return words + "."


def cost_words(cost: float | None, size: SizeTag) -> str:
    """A cost of a size, marked where it is an estimate."""
    return "no price" if cost is None else f"{cost:.0f}" + (" est." if size.known == "estimated" else "")


def estimate_words(supply: Supply) -> str:
    """What an estimate is, where there is one."""
    if all(s.known != "estimated" for s in supply.sizes):
        return ""
    return "est.: not in the catalogue; priced on the straight line through its two nearest sizes"


def cheapest_words(size: SizeTag) -> str:
    """The range of a pair's reference current in which a size is the cheapest over its life."""
    if size.cheapest_from_a is None or size.cheapest_to_a is None:
        return "-"
    if size.cheapest_to_a == float("inf"):
        return f"from {size.cheapest_from_a:.0f}"
    return f"{size.cheapest_from_a:.0f} to {size.cheapest_to_a:.0f}"


def supply_data(supply: Supply) -> dict[str, object]:
    """The DC supply as plain data; what is infinite or missing is None."""

    def plain(value: object) -> object:
        if isinstance(value, dict):
            return {key: plain(one) for key, one in value.items()}
        if isinstance(value, list | tuple):
            return [plain(one) for one in value]
        if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
            return None
        return value

    data = plain(asdict(supply))
    assert isinstance(data, dict)
    for row, radio in zip(data["radios"], supply.radios, strict=True):
        row |= {"margin_v": radio.margin_v, "to_cut_out_v": radio.to_cut_out_v}
    return data | {"first_words": first_words(supply), "price_words": price_words(supply)}


__all__ = ["ENDS", "cheapest_words", "cost_words", "estimate_words", "first_words", "price_words", "supply_data"]
