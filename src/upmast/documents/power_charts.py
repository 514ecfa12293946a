"""Charts of the voltages of a proven line: over the plant's emf, over the cable's length, along the way to a radio."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import Cable
from upmast.documents.power_picture import (
    BELOW_PX,
    GOOD,
    INK,
    LIMIT,
    NARROW_PX,
    PALE,
    QUIET,
    Array,
    Axis,
    Group,
    Layer,
    Row,
    curve,
    edge_of,
    fitted,
    groups_of,
    headroom,
    key,
    layer,
    level,
    picture,
    points,
    rows_apart,
    seen_of,
    shapes_shown,
    texts,
    uprights,
    worst_radio,
)  # fmt: skip
from upmast.number import number
from upmast.power.derive import Maker
from upmast.power.endurance import lowest_emf_v
from upmast.power.seen import Seen
from upmast.power.state import Flow, Inputs, flow_of, repeated, scenario_rows, settle
from upmast.proof.prove import Proof
from upmast.proof.sizes import resized
from upmast.proof.supply import FEEDERS, SIZES_DOWN, SIZES_UP, with_parts

REACH = 2.5  # lengths are looked at up to this many times the present one
POINTS = 61
TALL_PX, MIDDLE_PX = 290, 260
PASSED, ENDED = ("triangle-down", "circle")


# --- 1: over the emf --------------------------------------------------------------------------------------------------


def voltage_over_emf_spec(proof: Proof, seen: Seen | None = None) -> dict[str, Any] | None:
    """
    Voltage at each radio over the emf of the plant, from float down to where the operating points end.

    All radios are on; conductors are as warm as in the scenario of the lowest voltage (or the lowest that has an operating point),
    so that the first drop is that of the findings. None where no scenario of full load has an operating point.
    """
    seen = seen or seen_of(proof)
    rows = [s for s in seen.full if seen.flow.exists[s]] if seen is not None else []
    if seen is None or not rows:
        return None
    i = seen.i
    row = min(rows, key=lambda s: float(i.emf_v[s]))
    ohm = seen.state.branch_ohm[row]

    def flow(emf: Array) -> Flow:
        many = replace(repeated(seen.state.rows, row, emf.size), emf_v=emf)
        return flow_of(i, np.repeat(ohm[None], emf.size, axis=0), many)

    top, lowest = max(float(i.float_v), float(i.emf_v[row])), lowest_emf_v(i)
    end = edge_of(lambda emf: flow(emf).exists, top, 0.0)
    words = [(lowest, f"lowest emf {number(lowest, 'V')}", LIMIT)]
    words += [(end, f"no operating point below {number(end, 'V')}", QUIET)] if end > 0 else []
    first = seen.endurance.first if seen.endurance is not None and row == seen.low else None
    stop = end
    if first is not None and 0 <= int(first.radio) < len(i.radios) and end <= float(first.emf_v) <= top:
        stop = float(first.emf_v)
        if str(first.kind) == "cut-out":
            words.append((stop, f"{i.radios[int(first.radio)]} drops out at {number(stop, 'V')}", INK))
    emf = end + (top - end) * np.linspace(0.0, 1.0, POINTS) ** 2
    emf = np.unique(np.concatenate([emf, np.clip([lowest, stop], end, top)]))
    solved = flow(emf)
    volts = np.where(solved.exists[:, None], solved.port_v, np.nan)
    groups, left_out = groups_of(i, volts, int(np.argmin(np.abs(emf - max(lowest, end)))))
    if lowest < end:
        groups = [replace(g, passes=False) for g in groups]
    least, most = float(np.nanmin(volts)), float(np.nanmax(volts))
    x = Axis("x", "emf of the plant, V", *fitted(end, top, 0.02))
    y = Axis(
        "y", "voltage at the radio, V", fitted(least, most)[0], headroom(least, most, len(words), TALL_PX), most=most
    )
    place = (x.of("emf"), y.of("volts"))
    beyond: list[Layer] = []
    lines: list[Layer] = []
    ends: list[Row] = []
    for n, g in enumerate(groups):
        mine: list[Row] = [
            {"who": g.label, "emf": round(float(e), 5), "volts": round(float(v), 5)}
            for e, v in zip(emf, volts[:, g.radios[0]], strict=True)
            if np.isfinite(v)
        ]
        cut = int(np.searchsorted(emf[np.isfinite(volts[:, g.radios[0]])], stop))
        beyond.append(curve(mine[: cut + 1], *place, n, g.colour, 1.0, opacity=0.8))
        lines.append(curve(mine[cut:], *place, n, g.colour, 3.0 if n == 0 else 2.0))
        ends += mine[:1] if end > 0 else []
    passed, dropped = (_crossings(groups, levels, emf, volts) for levels in (i.minimum_v, i.cut_out_v))
    shapes = (("minimum for full service", PASSED), ("cut-out", "diamond"), ("operating points end", ENDED))
    notes = [
        f"{proof.site.id}, scenario {i.scenarios[row]}: full load, all radios on, conductors as warm as there",
        (f"no operating point at the lowest emf, {number(lowest, 'V')}" if lowest < end else "red-brown: below its minimum at the lowest emf")
        + ("; thin: beyond the first drop, if all stayed on" if stop > end else ""),
    ]  # fmt: skip
    notes += (
        ["a converter holds its output; where it stops by itself is not modelled"] if i.converter is not None else []
    )
    notes += [f"lines of more margin left out: {left_out}"] if left_out else []
    return picture(
        "Voltage at each radio as the emf of the plant falls", notes, height=TALL_PX,
        layer=[
            *beyond, *lines, *uprights(words, x),
            *(points(values, *place, shape) for values, (_, shape) in zip((passed, dropped, ends), shapes, strict=True)),
            *key([(g.label, n, g.colour) for n, g in enumerate(groups)], shapes_shown(shapes, (passed, dropped, ends)), TALL_PX + BELOW_PX),
        ],
    )  # fmt: skip


def _crossings(groups: list[Group], levels: Array, emf: Array, volts: Array) -> list[Row]:
    """Where each line passes the level [m] of its radios; nothing where its operating points end before."""
    out: list[Row] = []
    for g in groups:
        known = np.isfinite(volts[:, g.radios[0]])
        v, e, at = volts[known, g.radios[0]], emf[known], float(levels[g.radios[0]])
        if v.size and v[0] <= at <= v[-1]:
            out.append({"who": g.label, "emf": round(float(np.interp(at, v, e)), 5), "volts": at})
    return out


# --- 2: over the length -----------------------------------------------------------------------------------------------


def voltage_over_length_spec(
    proof: Proof, catalogue: Catalogue | None = None, seen: Seen | None = None
) -> dict[str, Any] | None:
    """
    Voltage at the worst radio over the length of the cable that feeds it, one curve for the present size and its neighbours.

    Each point is settled with its own currents and heat, at the lowest voltage. None where no cable of variable size feeds it.
    """
    seen = seen or seen_of(proof)
    if seen is None:
        return None
    i, k = seen.i, worst_radio(seen)
    feeders = [item.id for item in proof.line.of_kind(*FEEDERS) if item.id in seen.feeders[k]]
    now = max((float(proof.line.by_id[id].length_m or 0.0) for id in feeders), default=0.0)
    if not now > 0:
        return None
    minimum = float(i.minimum_v[k])
    sizes = _sizes(proof, catalogue, seen, feeders[0])
    found = [(area, step, *_over_length(other, set(feeders), seen.low, k, now)) for area, step, other in sizes]
    found = [one for one in found if one[2].size]
    if not found:
        return None
    low = min(minimum, *(float(volts.min()) for _, _, _, volts in found))
    high = max(minimum, *(float(volts.max()) for _, _, _, volts in found))
    x = Axis("x", f"length of {', '.join(feeders[:3])}, m", 0.0, REACH * now)
    y = Axis("y", f"voltage at {i.radios[k]}, V", fitted(low, high)[0], headroom(low, high, 1, MIDDLE_PX), most=high)
    place = (x.of("metres"), y.of("volts"))
    curves: list[Layer] = []
    names: list[tuple[str, int, str]] = []
    reached: list[Row] = []
    ends: list[Row] = []
    for area, step, metres, volts in found:
        dash, colour = (0, INK) if step == 0 else (step + SIZES_DOWN + 1 if step < 0 else step + SIZES_DOWN, GOOD)
        names.append((f"{area:g} mm²" + (", as it is" if step == 0 else ""), dash, colour))
        row: list[Row] = [
            {"who": names[-1][0], "metres": round(float(m), 4), "volts": round(float(v), 5)}
            for m, v in zip(metres, volts, strict=True)
        ]
        curves.append(curve(row, *place, dash, colour, 3.0 if step == 0 else 2.0))
        ends += row[-1:] if metres[-1] < REACH * now * (1 - 1e-6) else []
        if volts[-1] <= minimum <= volts[0]:
            reach = float(np.interp(-minimum, -volts, metres))
            reached.append({"who": names[-1][0], "metres": round(reach, 3), "volts": minimum, "text": f"{reach:.0f} m"})
    under = rows_apart([float(str(row["metres"])) for row in reached], x, 36)
    shapes = (("longest for the minimum", PASSED), ("operating points end", ENDED))
    emf = number(float(i.emf_v[seen.low]), "V")
    return picture(
        f"Voltage at {i.radios[k]} over the length of its feeding cable",
        [f"{proof.site.id}, scenario {i.scenarios[seen.low]}: emf {emf}, full load; heat settled at each length"],
        height=MIDDLE_PX,
        layer=[
            *level(minimum, f"minimum {number(minimum, 'V')}", y), *curves, *uprights([(now, f"{now:g} m, as it is", INK)], x),
            *(points(values, *place, shape) for values, (_, shape) in zip((reached, ends), shapes, strict=True)),
            *(one for n, row in zip(under, reached, strict=True) for one in texts([row], *place, dy=14 + 13 * n, align="center")),
            *key(names, shapes_shown(shapes, (reached, ends)), MIDDLE_PX + BELOW_PX),
        ],
    )  # fmt: skip


def _sizes(proof: Proof, catalogue: Catalogue | None, seen: Seen, feeder: str) -> Iterator[tuple[float, int, Inputs]]:
    """Area of the feeding cable, step from the present size, and what the room sees of the line with it."""
    parts = {item.part: proof.line.parts[item.part] for item in proof.line.of_kind(*FEEDERS)}
    cables = {id: part for id, part in parts.items() if isinstance(part, Cable) and part.pairs_count}
    for step in range(-SIZES_DOWN, SIZES_UP + 1):
        chosen = {id: found[0] for id, part in cables.items() if (found := resized(part, step, catalogue)) is not None}
        if len(chosen) < len(cables):
            continue
        other = (seen.i,) if step == 0 else with_parts(proof, proof.line, chosen)
        if other is not None:
            yield chosen[proof.line.by_id[feeder].part].conductor_area_mm2 or 0.0, step, other[0]


def _over_length(inputs: Inputs, feeders: set[str], row: int, k: int, now: float) -> tuple[Array, Array]:
    """Lengths of the feeding cable and the voltages of one radio there, as far as there are operating points."""
    rows = scenario_rows(inputs)
    mine = np.array([item in feeders and metres > 0 for item, metres in zip(inputs.item, inputs.length_m, strict=True)])

    def flow(metres: Array) -> Flow:
        lengths = np.where(mine, inputs.length_m * (metres[:, None] / now), inputs.length_m)
        return settle(inputs, repeated(rows, row, metres.size), lengths_m=lengths).flow

    if not flow(np.zeros(1)).exists[0]:
        return np.zeros(0), np.zeros(0)
    end = edge_of(lambda metres: flow(metres).exists, 0.0, REACH * now, 3)
    # closer together towards the end, where the voltage falls ever faster
    metres = np.unique(np.append(end * (1 - np.linspace(0.0, 1.0, POINTS) ** 2), min(now, end)))
    found = flow(metres)
    return metres[found.exists], found.port_v[found.exists, k]


# --- 3: along the way -------------------------------------------------------------------------------------------------


def voltage_along_spec(proof: Proof, seen: Seen | None = None) -> dict[str, Any] | None:
    """
    Voltage from the plant to the worst radio, step by step: the line side falls, the return side rises.

    Along the larger currents where pairs are in parallel; against the return bar of the plant, at the lowest voltage. None
    without operating point.
    """
    seen = seen or seen_of(proof)
    if seen is None or not seen.flow.exists[seen.low]:
        return None
    i, k, s = seen.i, worst_radio(seen), seen.low
    path = [(b, sign) for b, sign in Maker(i, seen.state).path(k, s) if i.converter is None or i.kind[b] != "source"]
    drop = {b: float(sign * seen.flow.branch_a[s, b] * seen.state.branch_ohm[s, b]) for b, sign in path}
    out = [b for b, _ in path if i.kind[b] in ("source", "breaker", "line", "box")]
    back = [b for b, _ in path if b not in out][::-1]  # from the plant
    slots = list(dict.fromkeys(i.item[b] for b in out))
    for n, b in enumerate(back):  # what only the return passes stands after what it passed before
        if i.item[b] not in slots:
            slots.insert(max((slots.index(i.item[c]) for c in back[:n]), default=-1) + 1, i.item[b])
    start = float(i.emf_v[s]) if i.converter is None else float(seen.flow.start_v[s])
    sides: dict[str, list[float]] = {}
    for name, branches, value, sign in (("line", out, start, -1.0), ("return", back, 0.0, 1.0)):
        sides[name] = [value]
        for slot in slots:
            value += sign * sum(drop[b] for b in branches if i.item[b] == slot)
            sides[name].append(value)
    there, minimum = sides["line"][-1] - sides["return"][-1], float(i.minimum_v[k])
    return picture(
        f"Voltage from the plant to {i.radios[k]}, step by step",
        [
            f"{proof.site.id}, scenario {i.scenarios[s]}, full load; against the return bar of the plant; steps not to length",
            f"at {i.radios[k]}: {number(sides['line'][-1], 'V')} - {number(sides['return'][-1], 'V')} = {number(there, 'V')}, "
            f"{number(there - minimum, 'V', signed=True)} against its minimum of {number(minimum, 'V')}",
        ],
        vconcat=_views(i, slots, sides, (*out, *back)), spacing=14,
    )  # fmt: skip


def _views(inputs: Inputs, slots: list[str], sides: dict[str, list[float]], branches: tuple[int, ...]) -> list[Layer]:
    """Two views of one scale: the line side above, the return side below, a step of equal width for each item."""
    span = 1.5 * max(max(v) - min(v) for v in sides.values()) + 1e-6
    x = Axis("x", "", 0.0, float(len(slots)))
    across = {"title": None, "axis": {"labels": False, "tickCount": len(slots), "gridColor": "#e4e8ed"}}

    def on(field: str) -> Layer:
        return {"x": {**x.of(field)["x"], **across}}

    views: list[Layer] = []
    for name, volts in sides.items():
        middle, falls = (max(volts) + min(volts)) / 2, name == "line"
        y = Axis("y", f"{name} wire, V", middle - span / 2, middle + span / 2, ticks=5)
        steps: list[Row] = [
            {"from": n, "to": n + 1, "mid": n + 0.5, "low": round(min(a, b), 6), "high": round(max(a, b), 6), "text": number(abs(b - a), "V")}
            for n, (a, b) in enumerate(pairwise(volts))
            if a != b
        ]  # fmt: skip
        line: list[Row] = [{"at": n, "volts": round(v, 6), "text": number(v, "V")} for n, v in enumerate(volts)]
        bars = {**on("from"), "x2": {"field": "to"}, **y.of("low"), "y2": {"field": "high"}}
        views.append(
            {
                "width": NARROW_PX, "height": 120,
                "layer": [
                    layer(steps, "bar", bars, color="#dde5ee", stroke=PALE, strokeWidth=0.6),
                    layer(line, "line", on("at"), y.of("volts"), color=INK, strokeWidth=2),
                    *texts(steps, on("mid"), y.of("low" if falls else "high"), align="center", dy=10 if falls else -9),
                    *texts(line[:1], on("at"), y.of("volts"), dx=5, dy=-9 if falls else 11, fontWeight="bold"),
                    *texts(line[-1:], on("at"), y.of("volts"), dx=5, fontWeight="bold"),
                ],
            }
        )  # fmt: skip
    for down, colour, words in ((136, INK, slots), (150, QUIET, [_what(inputs, slot, branches) for slot in slots])):
        under: list[Row] = [{"mid": n + 0.5, "text": text} for n, text in enumerate(words)]
        views[-1]["layer"] += texts(under, on("mid"), {"y": {"value": down}}, align="center", color=colour)
    return views


def _what(inputs: Inputs, item: str, branches: tuple[int, ...]) -> str:
    """What stands under a step: the length of a cable, else what it is."""
    b = max((b for b in branches if inputs.item[b] == item), key=lambda n: float(inputs.length_m[n]))
    if inputs.length_m[b] > 0:
        return f"{inputs.length_m[b]:.1f} m"
    return "inner resistance" if inputs.kind[b] == "source" else inputs.kind[b]
