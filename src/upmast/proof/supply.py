"""
The DC supply of a proven line, told for people: volts, minutes and margins of each radio, who drops first and at what bus
voltage, and what the next size of cable would buy.

Made on demand, beside the proof: one proof of the power room and one discharge for each size that is looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import Cable
from upmast.errors import UpmastError
from upmast.line.line import Line
from upmast.power import check as power
from upmast.power.cutout import Cascade
from upmast.power.economy import cheapest_currents
from upmast.power.endurance import Endurance, endurance, lowest_emf_v, order_of_drops, order_of_starts
from upmast.power.energy import life_price, loss_price_per_w
from upmast.power.headroom import growth
from upmast.power.inverse import longest_run_m, spare_gain
from upmast.power.state import Inputs, State, ampacity_of, evaluate, hung, network_of, yearly_loss_w
from upmast.proof.prove import Proof
from upmast.proof.sizes import Known, resized

FEEDERS = ("trunk", "dc-cable")  # the cables whose size is varied; jumpers stay
SIZES_UP, SIZES_DOWN = 2, 1


@dataclass(frozen=True, slots=True)
class RadioSupply:
    """One radio: volts at the lowest voltage of the plant, margins, amperes, minutes, and what is left for growth."""

    radio: str
    maximum_w: float
    voltage_v: float | None
    minimum_v: float
    cut_out_v: float
    current_a: float | None
    minutes: float | None
    to_the_end: bool
    scenario: str
    growth_w: float | None
    governs: str

    @property
    def margin_v(self) -> float | None:
        """Above the lowest voltage for full service."""
        return None if self.voltage_v is None else self.voltage_v - self.minimum_v

    @property
    def to_cut_out_v(self) -> float | None:
        """Above the voltage at which it drops out."""
        return None if self.voltage_v is None else self.voltage_v - self.cut_out_v


@dataclass(frozen=True, slots=True)
class Event:
    """A radio that drops or starts as the plant's emf moves."""

    radio: str
    kind: str
    emf_v: float
    bus_v: float
    terminal_v: float


@dataclass(frozen=True, slots=True)
class SizeTag:
    """
    What one size of the feeding cables does. `cost` is that of the cables alone, `known` from where; None where it isn't known.

    gained_min, dearer_cost: against the line as it stands.
    """

    area_mm2: float
    part: str
    present: bool
    known: Known
    cost: float | None
    mass_kg: float | None
    lowest_margin_v: float | None
    margin_radio: str
    first_drop_bus_v: float | None
    first_drop_radio: str
    first_minutes: float | None
    end_minutes: float | None
    unusable_kwh: float | None
    energy_kwh: float | None
    life_cost: float | None
    gained_min: float | None
    dearer_cost: float | None
    cheapest_from_a: float | None  # a pair's reference current from which on this size is the cheapest over its life
    cheapest_to_a: float | None


@dataclass(frozen=True, slots=True)
class PairAnswer:
    """What people ask about one radio's own pair in a straight line; None where it shares its copper with others."""

    radio: str
    longest_m: float
    present_m: float
    governs: str
    spare_gains_v: float | None


@dataclass(frozen=True)
class Supply:
    """The whole answer. `first` is None where nothing drops, or a converter holds the line up."""

    radios: tuple[RadioSupply, ...]
    first: Event | None
    first_within: bool  # the first drop comes before the plant's emf is at its end
    end_v: float
    order: tuple[Event, ...]
    starts: tuple[Event, ...]
    end_minutes: float | None
    end: str
    unusable_kwh: float | None
    unusable_fraction: float | None
    sizes: tuple[SizeTag, ...]
    pairs: tuple[PairAnswer, ...]
    notes: tuple[str, ...]


def has_supply(proof: Proof) -> bool:
    """Whether the power room was proven."""
    return "power" in proof.rooms and isinstance(proof.rooms["power"].inputs, Inputs)


def supply_of(proof: Proof, catalogue: Catalogue | None = None) -> Supply:
    """
    The DC supply of a proof.

    Parameters
    ----------
    catalogue: where other sizes of the cables are looked for, with their price; without it no size is priced.
    """
    inputs = proof.rooms["power"].inputs
    assert isinstance(inputs, Inputs)
    state = evaluate(inputs)
    low = int(np.argmin(inputs.emf_v))
    exists = bool(state.flow.exists[low])
    e = endurance(inputs, state, low) if exists else None
    notes = list(e.assumed) if e is not None else ["no operating point at the lowest voltage: no minutes"]
    if inputs.battery is None:
        notes.append("no minutes: the site declares no battery")
    elif inputs.battery.kind != "linear":
        notes.append(f"the curve of {inputs.battery.kind} cells is from memory: a shape to think with, not a limit")
    if inputs.converter is not None:
        notes.append("the converter holds its output up: no radio drops by the line before the plant does")
    order, starts = _orders(inputs, state, low, e)
    run = e.run if e is not None else None
    return Supply(
        tuple(_radios(inputs, state, low, e)),
        *_first(inputs, e),
        lowest_emf_v(inputs),
        order,
        starts,
        None if run is None else run.end_minutes,
        "" if run is None else run.end,
        None if run is None else run.unusable_wh / 1000,
        None if run is None else run.unusable_fraction,
        tuple(_sizes(proof, inputs, state, e, catalogue)),
        tuple(_pairs(proof, inputs, state, low)) if exists and inputs.converter is None else (),
        tuple(notes),
    )


def _radios(inputs: Inputs, state: State, low: int, e: Endurance | None) -> Iterator[RadioSupply]:
    exists = bool(state.flow.exists[low])
    on = hung(inputs)
    room = None
    if exists and inputs.converter is None and not inputs.totals:
        network = network_of(inputs, state.branch_ohm[low], np.asarray(float(inputs.emf_v[low])))
        lines = np.array([kind == "line" for kind in inputs.kind])
        iz = np.where(lines, ampacity_of(inputs, state, low), np.inf)
        for guard in inputs.breakers:
            iz[guard.branch] = guard.usable_a if np.isfinite(guard.usable_a) else guard.rated_a
        # other radios keep what they draw, and each its own lowest voltage
        room = growth(
            network, np.nan_to_num(state.power_w[low]), inputs.minimum_v, None, np.minimum(iz, inputs.contact_a)
        )
    for k, radio in enumerate(inputs.radios):
        fed = exists and bool(on[k])
        volts = float(state.flow.port_v[low, k]) if fed else None
        minutes, to_end = None, False
        if e is not None and e.run is not None and inputs.converter is None and fed:
            minutes, to_end = float(e.run.minutes[k]), bool(e.run.to_the_end[k])
        more = float(room.extra_w[k]) if room is not None and fed and room.possible[k] else None
        yield RadioSupply(
            radio, float(inputs.maximum_w[k]), volts, float(inputs.minimum_v[k]), float(inputs.cut_out_v[k]),
            float(state.flow.port_a[low, k]) if fed else None, minutes, to_end, inputs.scenarios[low], more,
            str(room.governs[k]) if room is not None and more is not None else "",
        )  # fmt: skip


def _first(inputs: Inputs, e: Endurance | None) -> tuple[Event | None, bool]:
    if e is None or e.first is None or not 0 <= int(e.first.radio) < len(inputs.radios):
        return None, False
    f = e.first
    event = Event(inputs.radios[int(f.radio)], str(f.kind), float(f.emf_v), float(f.bus_v), float(f.terminal_v))
    return event, event.emf_v > lowest_emf_v(inputs)


def _orders(inputs: Inputs, state: State, low: int, e: Endurance | None) -> tuple[tuple[Event, ...], tuple[Event, ...]]:
    if e is None or e.first is None:
        return (), ()

    def told(cascade: Cascade) -> tuple[Event, ...]:
        rows = zip(cascade.radio, cascade.kind, cascade.emf_v, cascade.bus_v, cascade.terminal_v, strict=True)
        return tuple(
            Event(inputs.radios[int(k)], kind, float(emf), float(bus), float(v))
            for k, kind, emf, bus, v in rows
            if k < len(inputs.radios)
        )

    down = told(order_of_drops(inputs, state, low))
    last = min((event.emf_v for event in down), default=lowest_emf_v(inputs))
    return down, told(order_of_starts(inputs, state, low, 0.9 * last))


# --- other sizes ------------------------------------------------------------------------------------------------------


def _sizes(
    proof: Proof, inputs: Inputs, state: State, e: Endurance | None, catalogue: Catalogue | None
) -> Iterator[SizeTag]:
    """The present size of the feeding cables and its neighbours, each with a proof of the power room of its own."""
    line = proof.line
    items = line.of_kind(*FEEDERS)
    cables = {i.part: p for i in items if isinstance(p := line.parts[i.part], Cable) and p.pairs_count}
    if not cables:
        return
    rows: list[tuple[float, str, bool, dict[str, Cable], Known]] = []
    for step in range(-SIZES_DOWN, SIZES_UP + 1):
        chosen = {id: resized(part, step, catalogue) for id, part in cables.items()}
        if any(found is None for found in chosen.values()):
            continue
        parts = {id: found[0] for id, found in chosen.items() if found is not None}
        ways = {found[1] for found in chosen.values() if found is not None}
        known: Known = "unpriced" if "unpriced" in ways else "estimated" if "estimated" in ways else "offered"
        area = max(part.conductor_area_mm2 or 0.0 for part in parts.values())
        rows.append((area, ", ".join(sorted({p.id for p in parts.values()})), step == 0, parts, known))
    policy = proof.site.policy
    price = life_price(
        policy.price_cost_per_kwh,
        policy.years_count,
        policy.discount_fraction,
        rectifier_efficiency=policy.rectifier_fraction,
    )
    tags: list[SizeTag] = []
    loops: list[float] = []
    for area, name, present, parts, known in rows:
        found = (inputs, state, e) if present else with_parts(proof, line, parts)
        if found is None:
            continue
        tags.append(_tag(line, area, name, present, parts, known, found, float(price.per_kwh)))
        loops.append(_pair_loop_ohm(found[0]))
    own = next(tag for tag in tags if tag.present)
    priced = [n for n, tag in enumerate(tags) if tag.cost is not None]
    ranges: dict[int, tuple[float, float]] = {}
    if len(priced) > 1:
        pairs = max(len(inputs.pairs_used), 1)
        worth = float(loss_price_per_w(price, _loss_hours_h(inputs)))
        found_ = cheapest_currents([(tags[n].cost or 0.0) / pairs for n in priced], [loops[n] for n in priced], worth)
        ranges = {n: (float(found_.low[j]), float(found_.high[j])) for j, n in enumerate(priced) if found_.ever[j]}
    for n, tag in enumerate(tags):
        gained = (
            tag.first_minutes - own.first_minutes
            if tag.first_minutes is not None and own.first_minutes is not None
            else None
        )
        dearer = tag.cost - own.cost if tag.cost is not None and own.cost is not None else None
        low, high = ranges.get(n, (None, None))
        yield replace(tag, gained_min=gained, dearer_cost=dearer, cheapest_from_a=low, cheapest_to_a=high)


def with_parts(proof: Proof, line: Line, parts: dict[str, Cable]) -> tuple[Inputs, State, Endurance | None] | None:
    """The power room of the line with other cables; None where these can't be joined to what stands."""
    try:
        other = replace(line, parts={**line.parts, **parts})
        unmeasured = proof.site.model_copy(update={"measured_loops": ()})
        inputs = power.inputs(other, unmeasured, proof.scenarios)
    except (UpmastError, ValueError):
        return None
    state = evaluate(inputs)
    low = int(np.argmin(inputs.emf_v))
    return inputs, state, endurance(inputs, state, low) if state.flow.exists[low] else None


def _tag(
    line: Line, area: float, name: str, present: bool, parts: dict[str, Cable], known: Known,
    found: tuple[Inputs, State, Endurance | None], per_kwh: float,
) -> SizeTag:  # fmt: skip
    inputs, state, e = found
    low = int(np.argmin(inputs.emf_v))
    cost = mass = None
    if known != "unpriced":
        runs = [(parts[i.part], i) for i in line.items if i.part in parts]
        cost = sum(i.count * (p.cost + p.cost_per_m * (i.length_m or 0.0)) for p, i in runs)
        mass = sum(i.count * (p.mass_kg + p.mass_kg_per_m * (i.length_m or 0.0)) for p, i in runs)
    margin, radio = None, ""
    if state.flow.exists[low]:
        margins = np.where(hung(inputs), state.flow.port_v[low] - inputs.minimum_v, np.inf)
        k = int(np.argmin(margins))
        margin, radio = float(margins[k]), inputs.radios[k]
    losses = yearly_loss_w(inputs)
    hours = np.array([h for _, h in inputs.load_states]) * 365.25 / 1000
    energy = None if np.any(np.isnan(losses)) else float((losses * hours).sum())
    first, _ = _first(inputs, e)
    run = e.run if e is not None else None
    minutes = None
    if run is not None:
        minutes = float(run.event_minutes[0]) if run.event_minutes.size else run.end_minutes
    return SizeTag(
        area, name, present, known, cost, mass, margin, radio, first.bus_v if first else None, first.radio if first else "", minutes,
        None if run is None else run.end_minutes, None if run is None else run.unusable_wh / 1000, energy,
        cost + energy * per_kwh if cost is not None and energy is not None else None, None, None, None, None,
    )  # fmt: skip


def _pair_loop_ohm(inputs: Inputs) -> float:
    """Loop resistance of the mean pair in use, conductors at the mean air."""
    feeding = [b for _, _, branches in inputs.pairs_used for b in branches]
    wires = (
        inputs.ohm_per_km[feeding] * inputs.length_m[feeding] / 1000 * (1 + 0.00393 * (inputs.mean_c - 20))
        + inputs.fixed_ohm[feeding]
    )
    return float(wires.sum()) / max(len(inputs.pairs_used), 1)


def _loss_hours_h(inputs: Inputs) -> float:
    """Hours a year at full load that would lose as much as the year does; from the losses of the line itself."""
    losses = np.nan_to_num(yearly_loss_w(inputs))
    fractions = np.array([f for f, _ in inputs.load_states])
    full = float(losses[int(np.argmax(fractions))]) / float(fractions.max()) ** 2
    hours = np.array([h for _, h in inputs.load_states]) * 365.25
    return min(float((losses * hours).sum()) / full, 8766.0) if full > 0 else 0.0


# --- one pair asked backwards -----------------------------------------------------------------------------------------


def _pairs(proof: Proof, inputs: Inputs, state: State, low: int) -> Iterator[PairAnswer]:
    """How far its own pair could reach, and what a spare of the trunk in parallel would buy, for radios on pairs of their own."""
    spare = dict(inputs.spares)
    flow = state.flow
    for k, radio in enumerate(inputs.radios):
        current = float(flow.port_a[low, k])
        alone = [
            b for b in range(len(inputs.kind))
            if inputs.kind[b] == "line" and current > 0 and abs(float(flow.branch_a[low, b]) - current) < 1e-6 * current and inputs.item[b] in {i.id for i in proof.line.of_kind(*FEEDERS)}
            and _leads_to(inputs, b, k)
        ]  # fmt: skip
        if len(alone) != 1:
            continue
        b = alone[0]
        back = [
            c
            for c in range(len(inputs.kind))
            if inputs.kind[c] == "return" and inputs.item[c] == inputs.item[b] and inputs.pair[c] == inputs.pair[b]
        ]
        if not back:
            continue
        line_ohm, return_ohm = float(state.branch_ohm[low, b]), float(state.branch_ohm[low, back[0]])
        length = float(inputs.length_m[b])
        if not length > 0:
            continue
        # what others draw lowers the bars for this one: the emf less their part of the drop, held as it is
        volts = float(flow.port_v[low, k])
        others = float(flow.bars_v[low])
        fixed = (others - volts) / current - line_ohm - return_ohm
        per_km = (line_ohm + return_ohm) / 2 / length * 1000
        longest = longest_run_m(others, inputs.minimum_v[k], volts * current, per_km, max(fixed, 0.0))
        gain = None
        if spare.get(inputs.item[b], 0) > 0:
            both = spare_gain(
                others,
                inputs.minimum_v[k],
                volts * current,
                length,
                line_ohm,
                return_ohm,
                line_ohm,
                return_ohm,
                max(fixed, 0.0),
            )
            gain = float(both.gained_v)
        yield PairAnswer(radio, float(longest.value), length, str(longest.governs), gain)


def _leads_to(inputs: Inputs, b: int, k: int) -> bool:
    """Whether a branch lies on the way to a radio."""
    node, wave = int(inputs.plus[k]), [int(inputs.plus[k])]
    seen = {node}
    while wave:
        node = wave.pop()
        if node == int(inputs.branch_to[b]):
            return True
        for c in range(len(inputs.kind)):
            if (
                inputs.kind[c] in ("line", "box")
                and int(inputs.branch_to[c]) == node
                and int(inputs.branch_from[c]) not in seen
            ):
                seen.add(int(inputs.branch_from[c]))
                wave.append(int(inputs.branch_from[c]))
    return False


__all__ = ["Event", "PairAnswer", "RadioSupply", "SizeTag", "Supply", "has_supply", "supply_of"]
