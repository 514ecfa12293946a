"""Charts of what guards, feeds and costs a proven line: the trip curve of a breaker, the battery, the life cost by size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from upmast.documents.power_picture import (
    BAD,
    BELOW_PX,
    GOOD,
    INK,
    LIMIT,
    PALE,
    QUIET,
    WIDTH,
    Array,
    Axis,
    Layer,
    Row,
    coloured,
    curve,
    fitted,
    groups_of,
    headroom,
    key,
    layer,
    picture,
    points,
    seen_of,
    texts,
    uprights,
    worst_radio,
)  # fmt: skip
from upmast.documents.sheet import joined
from upmast.number import number
from upmast.power.discharge import Discharge
from upmast.power.seen import Seen
from upmast.power.state import Inputs, Protection, hung
from upmast.power.trip import trip_band_s
from upmast.power.withstand import ADIABATIC_S, service_k
from upmast.proof.prove import Proof
from upmast.proof.supply import Supply
from upmast.proof.supply_words import ENDS, cost_words

MOST_POINTS = 160  # of one curve
MOST_BARS = 24
MOST_WORDS = 4
TALL_PX, MIDDLE_PX = 290, 200


# --- 6: a breaker -----------------------------------------------------------------------------------------------------


def breaker_spec(proof: Proof, item: str = "", seen: Seen | None = None) -> dict[str, Any] | None:
    """
    When a breaker trips, with the currents that matter and what its weakest wire withstands.

    `item`: the breaker; by default the one before the worst radio, else the first with a curve. None without a trip curve.
    """
    seen = seen or seen_of(proof)
    guard = _guard(seen, item) if seen is not None else None
    if seen is None or guard is None or guard.curve is None:
        return None
    i, curve_ = seen.i, guard.curve
    behind = i.item[guard.branch]
    who = guard.item if behind == guard.item else f"the breaker of {guard.item} to {behind}"
    marks: list[tuple[float, str, str]] = [(guard.rated_a, f"In {guard.rated_a:g} A", INK)]
    design, _ = seen.largest(guard.branch)
    if design is not None and design > 0:
        marks.append((design, f"Ib {number(design, 'A')}", GOOD))
    conventional = guard.conventional * guard.rated_a
    marks.append((conventional, f"I2 {conventional:.3g} A", INK))
    wires = [g[0] for g in guard.protects if len(g) == 1]
    b = min(wires, key=lambda w: float(i.area_mm2[w])) if wires else None
    if b is not None:
        for name, amps in (("far end", float(seen.far_fault_a[b])), ("near end", float(seen.near_fault_a[b]))):
            if math.isfinite(amps):
                short, long = (float(t) for t in trip_band_s(curve_, amps, guard.rated_a))
                marks.append((amps, f"short at the {name} {amps:.0f} A: {_seconds(short, long)}", LIMIT))
    low, high = 0.6 * min(m[0] for m in marks), 1.6 * max(m[0] for m in marks)
    edges = curve_.multiple * guard.rated_a
    current = np.unique(
        np.concatenate([np.geomspace(guard.rated_a * curve_.non_trip_multiple, high, 80), edges[edges < high]])
    )
    shortest, longest = trip_band_s(curve_, current, guard.rated_a)
    top = 10.0 ** math.ceil(math.log10(float(longest[np.isfinite(longest)].max())) + 0.3)
    bottom = 10.0 ** math.floor(math.log10(float(shortest.min())))
    x = Axis("x", "current, A", low, high, log=True, ticks=5)
    y = Axis("y", "time to trip, s", bottom, 10 ** headroom(math.log10(bottom), math.log10(top), len(marks), TALL_PX), log=True, most=top)  # fmt: skip
    band: list[Row] = [
        {"amps": round(float(a), 5), "short": round(float(t), 7), "long": round(min(float(u), top), 7)}
        for a, t, u in zip(current, shortest, longest, strict=True)
    ]
    sure: list[Row] = [{**row, "long": row["long"]} for row, u in zip(band, longest, strict=True) if np.isfinite(u)]
    shown = layer(band, "area", x.of("amps"), y.of("short"), {"y2": {"field": "long"}}, color="#dde5ee", opacity=1)
    names = [("trips no sooner", 1, INK), ("trips no later", 0, INK)]
    withstood: list[Layer] = []
    if b is not None:
        k = service_k(i.insulation[b])
        held = _withstood(k * float(i.area_mm2[b]), x, bottom, top)
        names.append((f"k²S²/I² of {i.item[b]}, {i.area_mm2[b]:g} mm², k = {k:.0f}", 2, LIMIT))
        short_ = [r for r in held if float(str(r["s"])) <= ADIABATIC_S * 1.0001]
        long_ = [r for r in held if float(str(r["s"])) >= ADIABATIC_S * 0.9999]
        withstood = [
            curve(short_, x.of("amps"), y.of("s"), 2, LIMIT, 2.4),
            curve(long_, x.of("amps"), y.of("s"), 2, LIMIT, 1.0),
        ]
    return picture(
        f"When {who} trips",
        [
            f"{proof.site.id}, {guard.part}; far end: scenario {i.scenarios[seen.low]}, hot; near end: cold, highest emf",
            f"k²S²: without loss of heat, thin beyond {ADIABATIC_S:g} s, where the wire withstands more",
        ],
        height=TALL_PX,
        layer=[
            shown, curve(band, x.of("amps"), y.of("short"), 1, INK, 1.6), curve(sure, x.of("amps"), y.of("long"), 0, INK, 1.6),
            *withstood, *uprights(marks, x), *key(names, (), TALL_PX + BELOW_PX),
        ],
    )  # fmt: skip


def _guard(seen: Seen, item: str) -> Protection | None:
    """The breaker of a name; else one with a curve before the worst radio, of the cabinet if there is one; else the first."""
    i = seen.i
    every = [*i.breakers, *i.outputs]
    if item:
        return next((g for g in every if item in (g.item, i.item[g.branch])), None)
    known = [g for g in every if g.curve is not None]
    mine = seen.feeders[worst_radio(seen)]
    return next((g for g in known if i.item[g.branch] in mine), known[0] if known else None)


def _seconds(short: float, long: float) -> str:
    if math.isinf(long):
        return "need not trip"
    return f"{short:.3g} to {long:.3g} s"


def _withstood(ks: float, x: Axis, bottom: float, top: float) -> list[Row]:
    """`t = (k S / I)^2` as far as it is in the picture, with the point of 5 s."""
    amps = np.geomspace(max(x.low, ks / math.sqrt(top)), min(x.high, ks / math.sqrt(bottom)), 40)
    amps = np.unique(np.append(amps, np.clip(ks / math.sqrt(ADIABATIC_S), amps[0], amps[-1])))
    return [{"amps": round(float(a), 4), "s": round(float((ks / a) ** 2), 7)} for a in amps]


# --- 7: the battery ---------------------------------------------------------------------------------------------------


def battery_spec(proof: Proof, seen: Seen | None = None) -> dict[str, Any] | None:
    """
    Emf, bars and radios over the time on battery, each radio until it drops, and who is on until when.

    None without a battery, a load or an operating point at the lowest voltage.
    """
    seen = seen or seen_of(proof)
    e = seen.endurance if seen is not None else None
    if seen is None or e is None or e.run is None or (cells := seen.i.battery) is None or not e.run.end_minutes > 0:
        return None
    i, run = seen.i, e.run
    m = len(i.radios)
    straight = i.converter is None
    minutes = run.minutes if straight else np.full(m, run.end_minutes)
    lasts = run.to_the_end if straight else np.ones(m, bool)
    rows = _rows(run)
    volts = np.full((rows.size, m), np.nan)
    if straight:
        # an event is in two rows, before and after it: of the radio that drops only what is before
        on = run.trace_minutes[rows][:, None] < minutes * (1 - 1e-12)
        volts = np.where(on | lasts, run.trace_terminal_v[rows], np.nan)
    end = float(run.end_minutes)
    x, untitled = (Axis("x", title, 0.0, end * 1.02) for title in ("time after the mains failed, min", ""))
    groups, left_out = groups_of(i, volts, 0) if straight else ([], 0)
    groups, left_out = groups[:5], left_out + max(len(groups) - 5, 0)
    every = [run.trace_emf_v, run.trace_bus_v, *(volts[np.isfinite(volts[:, k]), k] for g in groups for k in g.radios)]
    low, high = (float(pick([float(pick(v)) for v in every if v.size])) for pick in (min, max))
    words: list[tuple[float, str, str]] = [(end, f"{ENDS.get(run.end, run.end)}, {number(end, 'min')}", LIMIT)]
    words += _events(i, run) if straight else []
    y = Axis("y", "voltage, V", fitted(low, high)[0], headroom(low, high, len(words), MIDDLE_PX), most=high)
    place = (untitled.of("minutes"), y.of("volts"))
    time = run.trace_minutes[rows]
    lines = [
        curve(_line(time, run.trace_emf_v[rows]), *place, 0, PALE, 3.5),
        curve(_line(time, run.trace_bus_v[rows]), *place, 0, INK, 1.4),
    ]
    names = [("emf", 0, PALE), ("bars", 0, INK)]
    drops: list[Row] = []
    for n, g in enumerate(groups):
        k = g.radios[0]
        line = _line(time, volts[:, k])
        for kind, at, v in zip(run.event_radio, run.event_minutes, run.event_terminal_v, strict=True):
            if int(kind) in g.radios and np.isfinite(v):
                line.append({"minutes": round(float(at), 5), "volts": round(float(v), 5)})
                drops.append(line[-1])
        colour = GOOD if lasts[list(g.radios)].all() else BAD
        lines.append(curve(line, *place, n + 1, colour, 2.0))
        names.append((g.label, n + 1, colour))
    bars, step = _bars(i, minutes, [bool(x) for x in lasts], end), 15
    lower = _states(bars, x, step)
    tall = step * len(bars)
    shapes = (("drops out", "diamond", "white"),) if not all(row["lasts"] for row in bars) else ()
    memory = "" if cells.kind == "linear" else "; their curve is from memory: a shape to think with, not a limit"
    notes = [
        f"{proof.site.id}, scenario {i.scenarios[seen.low]}: full load, conductors as hot as there",
        f"{cells.capacity_ah:.0f} Ah usable, {cells.kind}{memory}",
    ]
    notes += ["a converter holds the radios' voltage"] if not straight else []
    notes += [f"lines left out: {left_out}"] if left_out else []
    return picture(
        "On battery: voltages, and who is on", notes,
        vconcat=[
            {"width": WIDTH, "height": MIDDLE_PX, "layer": [*lines, *uprights(words, untitled), points(drops, *place, "diamond")]},
            {"width": WIDTH, "height": tall, "layer": [*lower, *key(names, shapes, tall + BELOW_PX)]},
        ],
        spacing=12,
    )  # fmt: skip


def _events(inputs: Inputs, run: Discharge) -> list[tuple[float, str, str]]:
    """The first drops, those that hardly differ in one: when, in words, and the colour."""
    together: list[tuple[float, list[str]]] = []
    for k, at in zip(run.event_radio.tolist(), run.event_minutes.tolist(), strict=True):
        if k >= len(inputs.radios):
            continue
        if together and at - together[-1][0] < 0.02 * run.end_minutes:
            together[-1][1].append(inputs.radios[k])
        else:
            together.append((at, [inputs.radios[k]]))
    return [
        (
            at,
            f"{who[0]} drops out at {number(at, 'min')}"
            if len(who) == 1
            else f"{joined(who, 3)} drop out from {number(at, 'min')} on",
            INK,
        )
        for at, who in together[:MOST_WORDS]
    ]


def _rows(run: Discharge) -> NDArray[np.intp]:
    """Rows of the trace to draw: all, or as many as make a smooth line and those on both sides of an event."""
    last = run.trace_minutes.size - 1
    if last < MOST_POINTS:
        return np.arange(last + 1, dtype=np.intp)
    after = np.searchsorted(run.trace_minutes, run.event_minutes)
    every = np.linspace(0, last, MOST_POINTS).round().astype(np.intp)
    return np.unique(np.clip(np.concatenate([every, after, after - 1]), 0, last))


def _line(minutes: Array, volts: Array) -> list[Row]:
    return [
        {"minutes": round(float(t), 5), "volts": round(float(v), 5)}
        for t, v in zip(minutes, volts, strict=True)
        if np.isfinite(v)
    ]


def _bars(inputs: Inputs, minutes: Array, lasts: Sequence[bool], end: float) -> list[Row]:
    """One row a radio: on until when; of many those that last least."""
    known = [k for k in range(len(inputs.radios)) if hung(inputs)[k]]
    if len(known) > MOST_BARS:
        known = sorted(sorted(known, key=lambda k: float(minutes[k]))[:MOST_BARS])
    rows: list[Row] = []
    for k in known:
        share = float(minutes[k]) / end
        rows.append(
            {
                "radio": inputs.radios[k], "minutes": round(float(minutes[k]), 5), "from": 0, "end": round(end, 5), "lasts": bool(lasts[k]),
                "colour": GOOD if lasts[k] else BAD, "text": "to the end" if lasts[k] else number(float(minutes[k]), "min"), "inside": share > 0.25,
            }
        )  # fmt: skip
    return rows


def _states(rows: list[Row], x: Axis, step: int) -> list[Layer]:
    """A bar a radio while it is on, a thin line while it is off, a diamond where it drops out."""
    order = [str(r["radio"]) for r in rows]
    y: Layer = {
        "y": {
            "field": "radio",
            "type": "nominal",
            "title": "radio on",
            "sort": order,
            "axis": {"labelLimit": 60, "ticks": False},
        }
    }
    span: Layer = {**x.of("from"), "x2": {"field": "minutes"}}
    off: Layer = {**x.of("minutes"), "x2": {"field": "end"}}
    words: Layer = {"text": {"field": "text", "type": "nominal"}}
    inside, beside = ([r for r in rows if r["inside"] is where] for where in (True, False))
    style: Layer = {"fontSize": 10, "baseline": "middle"}
    return [
        layer(rows, "bar", span, y, coloured(), height=step - 5),
        layer([r for r in rows if not r["lasts"]], "rule", off, y, color=PALE, strokeWidth=1, strokeDash=[2, 2]),
        layer(inside, "text", x.of("minutes"), y, words, align="right", dx=-8, color="white", **style),
        layer(beside, "text", x.of("minutes"), y, words, align="left", dx=8, color=INK, **style),
        points([r for r in rows if not r["lasts"]], x.of("minutes"), y, "diamond"),
    ]


# --- 8: cost over the life --------------------------------------------------------------------------------------------


def life_cost_spec(proof: Proof, supply: Supply) -> dict[str, Any] | None:
    """
    What each size of the feeding cables costs over its life: bought, and with its losses; the cheapest marked.

    Sizes without a price have none. None where fewer than two sizes have a price.
    """
    priced = [n for n, s in enumerate(supply.sizes) if s.cost is not None and s.life_cost is not None]
    if len(priced) < 2:
        return None
    sizes = supply.sizes
    policy = proof.site.policy
    bars: list[Row] = []
    totals: list[Row] = []
    for n in priced:
        cost, total = float(sizes[n].cost or 0.0), float(sizes[n].life_cost or 0.0)
        for what, low, high, colour, on_it in (
            ("bought", 0.0, cost, GOOD, "white"),
            ("losses", cost, total, "#c3d5e6", INK),
        ):
            bars.append(
                {
                    "what": what, "from": n + 0.16, "to": n + 0.84, "mid": n + 0.5, "low": round(low, 4), "high": round(high, 4),
                    "centre": round((low + high) / 2, 4), "colour": colour, "ink": on_it, "text": f"{high - low:.0f}",
                }
            )  # fmt: skip
        totals.append({"mid": n + 0.5, "high": round(total, 4), "text": cost_words(total, sizes[n])})
    top = max(float(sizes[n].life_cost or 0.0) for n in priced)

    def cheapest(among: Sequence[int]) -> int | None:
        return min(among, key=lambda n: float(sizes[n].life_cost or 0.0), default=None)

    kept = cheapest([n for n in priced if (sizes[n].lowest_margin_v or -1.0) >= 0])
    marked: list[tuple[str, str, str, list[Row]]] = []
    for at, words, colour in ((cheapest(priced), "cheapest of all", "white"), (kept, "cheapest that keeps every minimum voltage", INK)):  # fmt: skip
        if at is not None:
            marked.append((words, "diamond", colour, [{"mid": at + (0.24 if colour == "white" else 0.76), "high": round(float(sizes[at].life_cost or 0.0), 4)}]))  # fmt: skip
    x = Axis("x", "", 0.0, float(len(sizes)))
    y = Axis("y", "cost over the life, cost units", 0.0, headroom(0.0, top, 2, MIDDLE_PX), most=top)
    upright = y.of("high")
    upright["y"]["axis"]["format"] = ".0f"
    across = {"title": None, "axis": {"labels": False, "ticks": False, "grid": False}}

    def on(field: str) -> Layer:
        return {"x": {**x.of(field)["x"], **across}}

    under: list[Layer] = []
    for n, s in enumerate(sizes):
        margin = (
            "no operating point"
            if s.lowest_margin_v is None
            else f"{number(s.lowest_margin_v, 'V', signed=True)} at {s.margin_radio}"
        )
        fails = s.lowest_margin_v is None or s.lowest_margin_v < 0
        for down, text, colour in (
            (14, f"{s.area_mm2:g} mm²" + (", as it is" if s.present else ""), INK), (29, margin, LIMIT if fails else QUIET),
        ):  # fmt: skip
            under += texts(
                [{"mid": n + 0.5, "text": text}],
                on("mid"),
                {"y": {"value": MIDDLE_PX + down}},
                align="center",
                color=colour,
            )
    unpriced: list[Row] = [{"mid": n + 0.5, "text": "no price"} for n in range(len(sizes)) if n not in priced]
    ink: Layer = {
        "color": {"field": "ink", "type": "nominal", "scale": None},
        "text": {"field": "text", "type": "nominal"},
    }
    shapes = [
        ("bought", "square", GOOD),
        ("losses", "square", "#c3d5e6"),
        *((words, shape, colour) for words, shape, colour, _ in marked),
    ]
    return picture(
        "Cost over the life by size of the feeding cables",
        [
            f"{proof.site.id}: {policy.years_count:g} years, {100 * policy.discount_fraction:g} % a year, {policy.price_cost_per_kwh:g} a kWh; losses on float, mean air",
            f"below: least margin in scenario {supply.radios[0].scenario if supply.radios else ''}; other findings of these sizes are not looked at",
        ],
        height=MIDDLE_PX,
        layer=[
            layer(bars, "rect", on("from"), {"x2": {"field": "to"}}, {"y": {**upright["y"], "field": "low"}}, {"y2": {"field": "high"}}, coloured(), stroke=INK, strokeWidth=0.7),
            layer(bars, "text", on("mid"), {"y": {**upright["y"], "field": "centre"}}, ink, fontSize=11, baseline="middle"),
            *texts(totals, on("mid"), upright, align="center", dy=-9, fontWeight="bold"),
            *texts(unpriced, on("mid"), {"y": {"value": MIDDLE_PX - 10}}, align="center", color=QUIET),
            *(points(rows, on("mid"), upright, shape, colour) for _, shape, colour, rows in marked),
            *under, *key((), shapes, MIDDLE_PX + 50),
        ],
    )  # fmt: skip
