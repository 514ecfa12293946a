"""What guards the wires: breakers against overload, short circuits near and far, what a wire withstands, start-up current."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.finding import Authority, Figure, Finding, Limit, Sense, judge
from upmast.number import number
from upmast.power.inrush import peak_a, time_constant_s
from upmast.power.seen import MODEL, OVERLOAD, Seen
from upmast.power.state import Protection
from upmast.power.trip import ContinuousRule, continuous_rule, trip_band_s
from upmast.power.withstand import (
    ADIABATIC_S,
    SHORT_CIRCUIT_LIMIT_C,
    final_temperature_c,
    transient_temperature_c,
)
from upmast.source import Mark, Source

Array = NDArray[np.float64]
WITHSTAND = Source("IEC 60364-5-54", "annex A: 160 °C PVC, 250 °C XLPE")
CURVE = "trip_points of {part}: the trip curve of its data sheet"
_LEVELS_BESIDE = 200  # the same where its neighbours in parallel feed the fault, too
_LEVELS = 25  # fault currents between far and near end at which the wire is looked at
RULES = {"iec": "iec", "nec-125": "nec_125"}


def guard_findings(seen: Seen) -> list[Finding]:
    """Overload, breaking capacity, withstand and start-up of every breaker."""
    i = seen.i
    out: list[Finding] = []
    for n, guard in enumerate(i.breakers):
        out += _overload(seen, guard, guard.item, n)
    for box, _, _, _, branches, own in i.boxes:
        if own == 0.0 or np.isfinite(own):
            continue
        for b in branches:
            out += _unguarded(seen, box, b)
    for n, guard in enumerate(i.outputs):
        out += _overload(seen, guard, i.item[guard.branch], -1 - n)
    if i.breakers:
        out.append(_breaking_capacity(seen))
    for guard, subject, rank in _all(seen):
        out += [*_withstand(seen, guard, subject, rank), *_inrush(seen, guard, subject, rank)]
    return out


def guard_figures(seen: Seen) -> list[Figure]:
    """The current of a short at each radio, and when its breaker then trips."""
    i = seen.i
    out = []
    for k, radio in enumerate(i.radios):
        z = float(seen.seen_low.z_ohm[k, k])
        if i.plus[k] < 0 or not z > 0:
            continue
        fault = float(seen.seen_low.voc_v[k]) / z
        guard = guard_of(seen, k)
        note = "a solid short at its terminals, hot conductors, lowest battery"
        if guard is not None:
            note += f"; {trip_words(seen, guard, fault)}"
        out.append(Figure("power.far-end-fault", radio, fault, "A", note, MODEL, i.scenarios[seen.low], (radio,), k))
    return out


def _all(seen: Seen) -> list[tuple[Protection, str, int]]:
    i = seen.i
    return [
        *((g, g.item, n) for n, g in enumerate(i.breakers)),
        *((g, i.item[g.branch], -1 - n) for n, g in enumerate(i.outputs)),
    ]


def guard_of(seen: Seen, k: int) -> Protection | None:
    """The last breaker before a radio: that of its box output, or of its circuit where there is one only."""
    i = seen.i
    for guard in i.outputs:
        if i.item[guard.branch] in seen.feeders[k]:
            return guard
    mine = [guard for guard in i.breakers if guard.item in seen.feeders[k]]
    return mine[0] if len(mine) == 1 else None


def trip_words(seen: Seen, guard: Protection, fault_a: float) -> str:
    """What a breaker does at a steady fault current, in words with the times of its curve."""
    times = fault_a / guard.rated_a
    if guard.curve is None:
        return f"{times:.1f} In of {guard.item}: no time, {CURVE.format(part=guard.part)} is missing"
    short, long = (float(t) for t in trip_band_s(guard.curve, fault_a, guard.rated_a))
    if math.isinf(long):
        return f"{times:.1f} In of {guard.item}: it need not trip"
    how = "at once" if long <= 0.1 else "by heat alone" if short > 0.1 else "at once or by heat"
    return f"{times:.1f} In of {guard.item}, which trips {how}, in {number(short, 's')} to {number(long, 's')}"


def _overload(seen: Seen, guard: Protection, subject: str, rank: int) -> list[Finding]:
    """factor Ib <= In <= Iz and I2 <= 1.45 Iz, of the wire with the least ampacity that it guards."""
    i = seen.i
    rule = continuous_rule(RULES[i.continuous_load])
    value, s = seen.largest(guard.branch)
    asked = None if value is None else value * rule.factor
    lacking = (() if value is not None else ("an operating point",)) + ((guard.lacking,) if guard.lacking else ())
    usable = guard.usable_a if np.isfinite(guard.usable_a) else guard.rated_a
    limit = Limit("power.design-current", usable, "A", Sense.AT_MOST, Authority.SAFETY, OVERLOAD)
    items = tuple(dict.fromkeys((subject, guard.item)))
    out = [
        judge(
            "power.design-current", subject, asked, seen.held(limit), scenario=i.scenarios[s], missing=lacking,
            note=_design_note(rule, guard, subject), remedy="the next larger breaker, if the pair allows it", items=items, rank=rank,
        )
    ]  # fmt: skip
    if not guard.protects:
        return out
    weakest = weakest_group(seen, guard)
    iz = float(sum(seen.iz[b] for b in weakest))
    who = i.item[weakest[0]]
    where = f"the ampacity of {who}" + (f", {len(weakest)} pairs together" if len(weakest) > 1 else "")
    where += f" at {seen.hot_c:.0f} °C around it, beside its loaded neighbours"
    behind = tuple(dict.fromkeys((*items, *(i.item[b] for g in guard.protects for b in g))))
    limit = Limit("power.breaker-protects-pair", round(iz, 6), "A", Sense.AT_MOST, Authority.SAFETY, OVERLOAD)
    out.append(
        judge(
            "power.breaker-protects-pair", subject, guard.rated_a, seen.held(limit), scenario=i.scenarios[seen.hot],
            note=f"In against {where}", remedy="a smaller breaker or a thicker conductor", items=behind, rank=rank,
        )
    )  # fmt: skip
    limit = Limit("power.conventional-current", round(1.45 * iz, 6), "A", Sense.AT_MOST, Authority.SAFETY, OVERLOAD)
    out.append(
        judge(
            "power.conventional-current", subject, guard.conventional * guard.rated_a, seen.held(limit), scenario=i.scenarios[seen.hot],
            note=f"I2 = {guard.conventional:g} In against 1.45 times {where}",
            remedy="a smaller breaker, one that trips sooner, or a thicker conductor", items=behind, rank=rank,
        )
    )  # fmt: skip
    return out


def weakest_group(seen: Seen, guard: Protection) -> tuple[int, ...]:
    """Of the wires that a breaker guards, those that together carry least."""
    return min(guard.protects, key=lambda g: float(sum(seen.iz[b] for b in g)))


def _design_note(rule: ContinuousRule, guard: Protection, subject: str) -> str:
    words = "Ib, the largest steady current" if rule.factor == 1 else f"{rule.factor:g} Ib ({rule.source})"
    if guard.item != subject:
        words += f", against the breaker in an output of {guard.item}"
    if np.isfinite(guard.usable_a) and guard.usable_a < guard.rated_a:
        words += f"; its {guard.rated_a:g} A are {guard.usable_a:.1f} A where it stands"
    return words


def _unguarded(seen: Seen, box: str, b: int) -> list[Finding]:
    """A jumper behind the bars of a box without breakers in its outputs: the pair breakers together feed a fault in it."""
    i = seen.i
    rating = float(sum(g.rated_a for g in i.breakers))
    who = f"no breaker in the outputs of {box}: all pair breakers together"
    limit = Limit(
        "power.breaker-protects-pair", round(float(seen.iz[b]), 6), "A", Sense.AT_MOST, Authority.SAFETY, OVERLOAD
    )
    return [
        judge(
            "power.breaker-protects-pair", i.item[b], rating, seen.held(limit), scenario=i.scenarios[seen.hot],
            note=f"{who}, against the ampacity of the jumper at {seen.hot_c:.0f} °C around it",
            remedy="a box with a breaker in each output", items=(i.item[b], box), rank=-1001 - b,
        )
    ]  # fmt: skip


def _breaking_capacity(seen: Seen) -> Finding:
    i = seen.i
    weakest = min(i.breakers, key=lambda g: g.breaking_ka)
    source = Source(f"part {weakest.part}", "breaking_ka", mark=Mark.INVENTED)
    limit = Limit("power.breaking-capacity", weakest.breaking_ka, "kA", Sense.AT_MOST, Authority.SAFETY, source)
    bolted = float(i.emf_v.max()) / i.source_ohm / 1000 if i.source_ohm > 0 else math.inf
    note = "prospective fault current that the site declares"
    if math.isfinite(bolted):
        note += f"; emf over the source resistance alone is {number(bolted, 'kA')}"
    return judge(
        "power.breaking-capacity", "PLANT", i.short_circuit_ka, seen.held(limit), note=note,
        remedy="breakers of a higher breaking capacity", items=(weakest.item,), rank=i.breakers.index(weakest),
    )  # fmt: skip


def guarded_wires(seen: Seen, guard: Protection) -> list[int]:
    """The wires that a breaker guards and whose fault current is known."""
    return [b for group in guard.protects for b in group if np.isfinite(seen.far_fault_a[b])]


def fault_levels_a(seen: Seen, guard: Protection, b: int) -> tuple[Array, Array]:
    """
    Currents in a wire and in its breaker for shorts from the far to the near end of the wire.

    A wire of its own carries what its breaker does. One of n in parallel carries, with the short at x of its length R and the
    others R_p in parallel, (R_p + (1 - x) R)/(R_p + R) of that: all at the near end, its share at the far end; its breaker sees
    the plant behind x times that share of R.
    """
    assert guard.curve is not None
    beside = [n for group in guard.protects if b in group for n in group if n != b]
    far_a, near_a = float(seen.far_fault_a[b]), float(seen.near_fault_a[b])
    if not beside:
        current = np.geomspace(far_a, max(near_a, far_a), _LEVELS)
        # at the edges of the curve the time falls by a step: just before each is the worst
        edges = guard.curve.multiple * guard.rated_a
        current = np.unique(np.concatenate([current, edges[(edges >= far_a) & (edges <= current[-1])]]))
        return current, current
    ohm = seen.state.branch_ohm[seen.low]
    own, others = float(ohm[b]), float(1 / (1 / ohm[beside]).sum())
    x = np.append(0.0, np.geomspace(1e-3, 1.0, _LEVELS_BESIDE))[::-1]
    share = (others + (1 - x) * own) / (others + own)
    behind = x * share / share[0]  # resistance of the wires on the way, as a part of what it is to the far end
    whole = far_a / float(share[0])
    through = 1 / (1 / near_a + behind * (1 / whole - 1 / near_a))
    return share * through, through


def hottest_after(seen: Seen, guard: Protection, b: int) -> tuple[float, float, float]:
    """
    Highest temperature of a wire over all shorts from far to near end, each for the longest time that its breaker takes; with
    the current in the wire and that time. To 5 s without loss of heat, beyond with the cooling that its ampacity tells.
    """
    i = seen.i
    assert guard.curve is not None
    current, through = fault_levels_a(seen, guard, b)
    _, time = trip_band_s(guard.curve, through, guard.rated_a)
    start = float(max(seen.state.temperature_c[seen.hot, b], seen.hot_c))
    area = float(i.area_mm2[b])
    held = final_temperature_c(start, current, np.minimum(time, ADIABATIC_S), area)
    limit = float(i.limit_c[b])
    around = seen.hot_c
    # with its ampacity it would stand at its limit where it is now
    lost = transient_temperature_c(time, current, area, start, around, float(seen.iz[b]), limit, around)
    theta = np.where(time <= ADIABATIC_S, held, lost)
    worst = int(np.argmax(theta))
    return float(theta[worst]), float(current[worst]), float(time[worst])


def _withstand(seen: Seen, guard: Protection, subject: str, rank: int) -> list[Finding]:
    """Of the wires that a breaker guards, the one that a fault heats most."""
    i = seen.i
    wires = guarded_wires(seen, guard)
    if not wires:
        return []
    at: tuple[float, float, float, int] | None = None
    if guard.curve is not None:
        for b in wires:
            theta, current, time = hottest_after(seen, guard, b)
            share = theta - SHORT_CIRCUIT_LIMIT_C[i.insulation[b]]
            if at is None or share > at[0] - SHORT_CIRCUIT_LIMIT_C[i.insulation[at[3]]]:
                at = (theta, current, time, b)
    b = at[3] if at is not None else wires[0]
    limit = Limit(
        "power.fault-withstand",
        SHORT_CIRCUIT_LIMIT_C[i.insulation[b]],
        "°C",
        Sense.AT_MOST,
        Authority.SAFETY,
        WITHSTAND,
    )
    note = f"hottest of what it guards: {i.item[b]}, {i.area_mm2[b]:g} mm²"
    if at is not None:
        note += f", by {at[1]:.0f} A for {number(at[2], 's')}, the longest that the breaker takes"
    return [
        judge(
            "power.fault-withstand", subject, at[0] if at is not None else None, seen.held(limit), scenario=i.scenarios[seen.hot],
            missing=() if at is not None else (CURVE.format(part=guard.part),), note=note,
            remedy="a breaker that trips sooner, or a thicker conductor", items=tuple(dict.fromkeys((subject, i.item[b]))), rank=rank,
        )
    ]  # fmt: skip


def started_together(seen: Seen, guard: Protection) -> list[int]:
    """Radios whose start-up current goes through a breaker."""
    i = seen.i
    name = i.item[guard.branch] if guard in i.outputs else guard.item
    return [k for k in range(len(i.radios)) if name in seen.feeders[k]]


@dataclass(frozen=True, slots=True)
class Pulse:
    """Start-up current through a breaker: its peak, how long it lasts, and how it came about in words."""

    peak_a: float
    duration_s: float
    words: str


def pulse_through(seen: Seen, guard: Protection) -> tuple[Pulse | None, tuple[str, ...]]:
    """
    Start-up current of all radios behind a breaker that is closed onto them, on float and cold; or what is missing for it.

    Each radio's own peak is that of a bare capacitor behind its line, or what its limiter lets in where that is less. Together
    they can't draw more than the sum of their peaks alone.
    """
    i = seen.i
    radios = started_together(seen, guard)
    bare, limiter = ~np.isnan(i.capacitance_uf), ~np.isnan(i.inrush_a) & ~np.isnan(i.inrush_s)
    lacking = tuple(
        dict.fromkeys(
            f"input_capacitance_uf, or inrush_peak_a with inrush_s, of {i.radio_part[k]}"
            for k in radios
            if not bare[k] and not limiter[k]
        )
    )
    if lacking or not radios:
        return None, lacking
    resistance, inductance = seen.cold_ohm[radios], seen.inductance_h[radios]
    start_v = float(i.float_v if i.converter is None else np.max(i.converter.maximum_v))
    capacitance = i.capacitance_uf[radios] * 1e-6
    free = peak_a(start_v, resistance, inductance, capacitance)
    constant = time_constant_s(resistance, inductance, capacitance)
    own = limiter[radios] & ~(free < i.inrush_a[radios])
    peaks = np.where(own, i.inrush_a[radios], free)
    lasts = np.where(own, i.inrush_s[radios], 3 * constant)
    total, share = float(peaks.sum()), _share(seen, guard)
    words = f"{len(radios)} radios switched on together" if len(radios) > 1 else f"{i.radios[radios[0]]} switched on"
    words += ", as far as its limiter lets it in" if own.any() else ", charging through the cold line"
    if share < 1:
        words += f"; {100 * share:.0f} % of {total:.0f} A"
    return Pulse(total * share, float(lasts.max()), f"{words}, for {1000 * float(lasts.max()):.0f} ms"), ()


def _share(seen: Seen, guard: Protection) -> float:
    """What part of the current of its radios goes through a breaker: less than all where pairs are in parallel."""
    i = seen.i
    if guard in i.outputs:
        return 1.0
    mine = set(started_together(seen, guard))
    beside = [g for g in i.breakers if mine & set(started_together(seen, g))]
    current = seen.current[seen.low]
    total = float(sum(current[g.branch] for g in beside))
    return float(current[guard.branch]) / total if total > 0 else 1.0


def _inrush(seen: Seen, guard: Protection, subject: str, rank: int) -> list[Finding]:
    """Start-up current against the lower edge of what may trip the breaker within the pulse."""
    i = seen.i
    pulse, lacking = pulse_through(seen, guard)
    if pulse is None and not lacking:
        return []
    if guard.curve is None:
        lacking = (*lacking, CURVE.format(part=guard.part))
    edge = None
    if guard.curve is not None and pulse is not None:
        edge = pulse_edge_a(guard, pulse.duration_s)
    source = Source(f"part {guard.part}", "trip_points", mark=Mark.INVENTED)
    limit = None if edge is None else Limit("power.inrush", edge, "A", Sense.AT_MOST, Authority.PART, source)
    note = "" if pulse is None else pulse.words
    return [
        judge(
            "power.inrush", subject, None if pulse is None else pulse.peak_a, None if limit is None else seen.held(limit), unit="A",
            scenario=i.scenarios[seen.high], missing=lacking, note=note,
            remedy="a breaker with a higher instantaneous band, or radios started one after the other", items=(subject,), rank=rank,
        )
    ]  # fmt: skip


def pulse_edge_a(guard: Protection, duration_s: float) -> float:
    """Least current at which the breaker may trip within the duration of a pulse."""
    assert guard.curve is not None
    multiple = np.geomspace(1.0, 1000.0, 3001)
    shortest, _ = trip_band_s(guard.curve, multiple * guard.rated_a, guard.rated_a)
    may = np.flatnonzero(shortest <= duration_s)
    return float(multiple[may[0]] * guard.rated_a) if may.size else math.inf


__all__ = [
    "guard_figures",
    "guard_findings",
    "guard_of",
    "guarded_wires",
    "hottest_after",
    "trip_words",
    "weakest_group",
]
