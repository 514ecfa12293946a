"""Charts of earthing: the mast with its bonds, the plan by share, a stroke over time, protectors with leads, direct currents."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np

from upmast.documents.power_picture import (
    BELOW_PX,
    GOOD,
    INK,
    LIMIT,
    PALE,
    QUIET,
    WIDTH,
    Axis,
    Layer,
    Row,
    coloured,
    curve,
    dark,
    key,
    layer,
    level,
    picture,
    points,
    texts,
)  # fmt: skip
from upmast.documents.sheet import joined
from upmast.earth.exposure import Exposure
from upmast.proof.earth_plan import EarthPlan, Stroke

HIGH_PX, WORDS_PX = 420, 15
BAR_PX = 30
MOST_TRACE = 160
SHADES = ("#e8ecf1", "#c3cfdd", "#93a9c4", "#5f82ab", "#2f5c91", "#123a68")
NOTE = "not a lightning protection design; model: bonded ends, uniform run, no travelling waves"


def elevation_spec(found: EarthPlan) -> dict[str, Any] | None:
    """The mast with every run, its bonds at their heights with their leads, the stretches between, and the cases; None without a run."""
    if not found.runs:
        return None
    top = max([found.mast_m] + [r.high_m for r in found.runs] + [b.height_m for b in found.bonds])
    low = min([r.low_m for r in found.runs] + [b.height_m for b in found.bonds] + [0.0])
    y = Axis("y", "height, m", low - 0.03 * (top - low), top + 0.05 * (top - low), ticks=8)
    many = len(found.runs)
    step = 1.0 / many
    x = Axis("x", "", -0.24, 1.75)  # bars and their names stand left of the mast, clear of the bonds
    across = x.of("x")
    across["x"]["axis"] = None
    place = (across, y.of("y"))
    spans: list[Row] = []
    names: list[Row] = []
    marks: list[Row] = []
    words: list[Row] = []
    gaps: list[Row] = []
    absent: list[Row] = []
    for n, run in enumerate(found.runs):
        at = 0.12 + n * step * (0.9 if many > 1 else 1)
        spans.append({"x": at, "y": run.low_m, "to": run.high_m})
        names.append({"x": at, "y": run.high_m + 0.035 * (top - low), "text": run.item})
        mine = [b for b in found.bonds if b.on == run.item]
        groups: dict[float, list[Any]] = {}
        for b in mine:
            groups.setdefault(b.height_m, []).append(b)
        for height, some in groups.items():
            marks.append({"x": at, "y": height})
            if many <= 3:
                lead = f"{some[0].area_mm2:g} mm², {some[0].lead_m:g} m"
                words.append(
                    {
                        "x": at + 0.025,
                        "y": height,
                        "text": f"{joined([b.item for b in some], 3)} at {height:g} m: {lead}",
                    }
                )
        for under, over in pairwise(sorted({run.low_m, run.high_m, *groups})):
            gaps.append({"x": at + 0.025, "y": (under + over) / 2, "text": f"{over - under:.1f} m"})
        absent += [{"x": at, "y": h, "text": f"no bond at {h:g} m"} for h in run.missing_m]
    cases = [b for b in found.bonds if b.use == "case"]
    by_height: dict[float, list[str]] = {}
    for b in cases:
        by_height.setdefault(b.height_m, []).append(b.on)
    case_at = 1.3 if many > 1 else 1.1
    case_heights = _spread(list(by_height), WORDS_PX * (top - low) * 1.08 / HIGH_PX)
    case_rows: list[Row] = [
        {"x": case_at, "y": at, "text": f"{joined(ids, 4)} at {h:g} m: {cases[0].area_mm2:g} mm²"}
        for (h, ids), at in zip(sorted(by_height.items()), case_heights, strict=True)
    ]
    case_marks: list[Row] = [{"x": case_at - 0.03, "y": r["y"]} for r in case_rows]
    mast: list[Row] = [
        {"x": 0.02, "y": min(low, 0.0), "x2": 0.05, "to": found.mast_m},
        {"x": 0.1, "y": min(low, 0.0), "x2": 0.07, "to": found.mast_m},
    ]
    heights = sorted(h for h in found.bars_m if low <= h <= top)
    apart = _spread(heights, WORDS_PX * (top - low) * 1.08 / HIGH_PX)
    bars: list[Row] = [{"x": 0.0, "y": h, "to": 0.105} for h in heights]
    bar_names: list[Row] = [
        {"x": -0.01, "y": at, "text": f"bar, {h:g} m"} for h, at in zip(heights, apart, strict=True)
    ]
    return picture(
        "The mast with its bonds",
        [
            "each bond with its lead, to the nearest bar or steel below; between them the stretch without a bond"
            + (f", at most {found.spacing_m:g} m" if found.spacing_m is not None else ""),
            "leads short, straight and downward; right: cases; " + NOTE,
        ],
        height=HIGH_PX,
        layer=[
            layer(bars, "rule", across, y.of("y"), {"x2": {"field": "to"}}, color=QUIET, strokeWidth=1.5, strokeDash=[3, 2]),
            layer(mast, "rule", *place, {"x2": {"field": "x2"}, "y2": {"field": "to"}}, color=QUIET, strokeWidth=2),
            layer(spans, "rule", *place, {"y2": {"field": "to"}}, color=INK, strokeWidth=4),
            points(marks, *place, "square", GOOD, 70),
            points(case_marks, *place, "circle", GOOD, 45),
            points(absent, *place, "cross", LIMIT, 120),
            *texts(names, *place, align="center", fontWeight="bold"),
            *texts(words, *place, dx=6),
            *texts(gaps, *place, dx=6, color=QUIET),
            *texts(absent, *place, dx=12, color=LIMIT),
            *texts(case_rows, *place),
            *texts(bar_names, *place, align="right", color=QUIET, fontSize=10),
        ],
    )  # fmt: skip


def _spread(values: list[float], least: float) -> list[float]:
    """Values in order, moved up so that none is nearer to the next than `least`."""
    out: list[float] = []
    for value in sorted(values):
        out.append(max(value, out[-1] + least) if out else value)
    return out


def plan_spec(seen: Exposure, stroke: Stroke) -> dict[str, Any]:
    """Legs and cables from above; the darker a cable, the more of the stroke its shield takes at its peak."""
    places = np.concatenate([seen.legs_m, seen.cable_m])
    middle, reach = (places.max(axis=0) + places.min(axis=0)) / 2, float(np.ptp(places, axis=0).max()) * 0.62 + 0.05
    x = Axis("x", "to the east, m", float(middle[0]) - reach, float(middle[0]) + reach, ticks=6)
    y = Axis("y", "to the north, m", float(middle[1]) - reach, float(middle[1]) + reach, ticks=6)
    place = (x.of("x"), y.of("y"))
    most = max(max(r.peak_share) for r in stroke.rows) or 1.0
    legs: list[Row] = [{"x": float(a), "y": float(b)} for a, b in seen.legs_m]
    cables: list[Row] = []
    words: list[Row] = []
    crowded = len(stroke.rows) > 8
    for n, (row, (a, b)) in enumerate(zip(stroke.rows, seen.cable_m, strict=True)):
        share = max(row.peak_share)
        shade = SHADES[min(int(share / most * len(SHADES)), len(SHADES) - 1)]
        cables.append({"x": float(a), "y": float(b), "colour": shade, "share": round(100 * share, 4), "run": row.run})
        if not crowded or n in (0, stroke.worst, len(stroke.rows) - 1):
            words.append({"x": float(a), "y": float(b), "text": f"{row.run} {100 * share:.1f} %", "dy": n})
    fill: Layer = {"color": {"field": "colour", "type": "nominal", "scale": None}}
    labels: list[Layer] = []
    for n, one in enumerate(words):
        labels += texts([one], *place, dx=10, dy=-12 - WORDS_PX * n)
    side = 430
    what = "strips of the pole" if seen.pole_m else "legs"
    return picture(
        "Plan: what each shield takes of a stroke",
        [
            f"level {stroke.level}, the highest current of each shield over that of the stroke, legs' resistance at the top of its band ({stroke.factors[-1]:g} times)",
            f"{len(seen.legs_m)} {what}, {len(seen.cables)} shielded run(s); " + NOTE,
        ],
        height=side, width=side,
        layer=[
            layer(legs, "point", *place, shape="square", size=160, filled=True, color=PALE, stroke=INK, strokeWidth=1, opacity=1),
            layer(cables, "point", *place, fill, shape="circle", size=190, filled=True, stroke=INK, strokeWidth=1.2, opacity=1),
            *labels,
            *_shade_key(most, side),
        ],
    )  # fmt: skip


def _shade_key(most: float, side: int) -> list[Layer]:
    """Fields from pale to dark with the shares that they stand for."""
    out: list[Layer] = []
    wide = 52
    for n, shade in enumerate(SHADES):
        left = n * wide
        box: Layer = {"x": {"value": left}, "x2": {"value": left + wide}, "y": {"value": side + BELOW_PX}, "y2": {"value": side + BELOW_PX + 16}}  # fmt: skip
        out.append(layer([{}], "rect", box, color=shade, stroke=INK, strokeWidth=0.5))
        at: Layer = {"x": {"value": left + wide / 2}, "y": {"value": side + BELOW_PX + 8}, "text": {"field": "text", "type": "nominal"}}  # fmt: skip
        text: Row = {"text": f"to {100 * most * (n + 1) / len(SHADES):.1f} %"}
        out.append(layer([text], "text", at, fontSize=10, color="white" if dark(shade) else INK, baseline="middle"))
    return out


def stroke_spec(stroke: Stroke) -> dict[str, Any] | None:
    """Currents of the stroke, the mast and the worst shield over time, above; below the voltage of that shield; None for a share by a study."""
    if not stroke.traces:
        return None
    first = stroke.traces[0]
    end = float(first.time_s[-1]) * 1e6
    top = float(max(t.total_a.max() for t in stroke.traces)) / 1e3
    x = Axis("x", "time, µs", 0.0, end, ticks=8)
    y = Axis("y", "current, kA", 0.0, 1.06 * top, ticks=6)
    volts = max(float(np.abs(t.shield_v).max()) for t in stroke.traces)
    # the limit is drawn where it does not flatten the curves
    shown = stroke.withstand.value <= 3 * volts
    v = Axis("y", "core to shield, V", min(0.0, *(float(t.shield_v.min()) for t in stroke.traces)), 1.12 * max(volts, stroke.withstand.value if shown else 0.0), ticks=5)  # fmt: skip
    styles = ((0, GOOD), (1, INK))
    currents: list[Layer] = [curve(_rows(first.time_s, first.total_a / 1e3), x.of("t"), y.of("v"), 2, PALE, 2.4)]
    lines: list[tuple[str, int, str]] = [("whole stroke", 2, PALE)]
    voltages: list[Layer] = []
    for trace, (dash, colour) in zip(stroke.traces, styles, strict=False):
        words = f"legs at {trace.factor:g} times"
        currents.append(curve(_rows(trace.time_s, trace.legs_a / 1e3), x.of("t"), y.of("v"), dash, colour, 1.4))
        currents.append(curve(_rows(trace.time_s, trace.shield_a / 1e3), x.of("t"), y.of("v"), dash, colour, 2.8))
        voltages.append(curve(_rows(trace.time_s, trace.shield_v), x.of("t"), v.of("v"), dash, colour, 2.2))
        at = int(np.abs(trace.shield_v).argmax())
        high: list[Row] = [{"t": float(trace.time_s[at]) * 1e6, "v": float(trace.shield_v[at]), "text": f"{trace.shield_v[at]:.0f} V"}]  # fmt: skip
        under, late = dash == 0 and len(stroke.traces) > 1, float(trace.time_s[at]) * 1e6 > 0.8 * end
        side = {"align": "right", "dx": -4} if late else {"align": "left", "dx": 8}
        voltages += texts(high, x.of("t"), v.of("v"), dy=16 if under else -9, color=colour, **side)
        lines.append((words, dash, colour))
    mark = "" if str(stroke.withstand.source.mark) != "memory" else ", from memory: confirm"
    note = f"thick: shield of {first.run}; thin: all legs; below the voltage between its cores and its shield; {NOTE}"
    if shown:
        voltages += level(stroke.withstand.value, f"withstand {stroke.withstand.value:g} V{mark}", v)
    else:
        note += f"; the withstand, {stroke.withstand.value:g} V{mark}, lies above the picture"
    return picture(
        f"A first positive stroke of level {stroke.level}, and the shield of {first.run}",
        [note],
        vconcat=[
            {"width": WIDTH, "height": 210, "layer": currents},
            {"width": WIDTH, "height": 170, "layer": [*voltages, *key(lines, [], 170 + BELOW_PX)]},
        ],
        spacing=14,
    )  # fmt: skip


def _rows(time_s: np.ndarray, values: np.ndarray) -> list[Row]:
    step = max(1, len(time_s) // MOST_TRACE)
    return [
        {"t": round(float(t) * 1e6, 3), "v": round(float(v), 4)}
        for t, v in zip(time_s[::step], values[::step], strict=True)
    ]


def protector_spec(found: EarthPlan) -> dict[str, Any] | None:
    """Protection level and drop of the leads of each protector as bars, against what may be left; None without one."""
    known = [p for p in found.protectors if p.level is not None]
    if not known:
        return None
    rows: list[Row] = []
    ends: list[Row] = []
    limits: list[Row] = []
    for p in known:
        level_ = p.level
        assert level_ is not None
        start = 0.0 if p.kind == "switching" else p.up_v
        rows.append({"row": p.at, "from": 0.0, "to": p.up_v, "colour": PALE})
        if p.kind == "limiting":
            rows.append({"row": p.at, "from": start, "to": start + level_.drop_v, "colour": GOOD})
        limit = p.limit.value if p.limit is not None else level_.limit.value
        memory = p.limit is not None and str(p.limit.source.mark) == "memory"
        lead = "no lead is short enough" if math.isnan(level_.longest_m) else "any lead" if math.isinf(level_.longest_m) else f"longest lead {level_.longest_m:.2f} m"  # fmt: skip
        ends.append(
            {
                "row": p.at,
                "to": max(level_.effective_v, limit),
                "text": f"{level_.effective_v:.0f} of {limit:.0f} V; {lead}",
            }
        )
        limits.append({"row": p.at, "to": limit, "colour": LIMIT if not memory else QUIET})
    high = max(float(r["to"]) for r in ends)  # type: ignore[arg-type]
    x = Axis("x", "volts left at the equipment", 0.0, 1.75 * high, ticks=8, most=1.1 * high)
    y: Layer = {
        "y": {
            "field": "row",
            "type": "nominal",
            "title": None,
            "sort": [p.at for p in known],
            "scale": {"paddingInner": 0.35},
        }
    }
    return picture(
        "Protectors with their leads",
        [
            "pale: protection level of the data sheet; dark: drop of the leads on the front; tick: what may be left at that distance"
            + (" (grey: rule from memory, confirm it)" if any(r["colour"] == QUIET for r in limits) else ""),
            "a V connection, line and earth through the protector's own terminals, leaves the pale part alone",
        ],
        height=BAR_PX * len(known) + 10,
        layer=[
            layer(rows, "bar", y, x.of("from"), {"x2": {"field": "to"}}, coloured(), stroke=INK, strokeWidth=0.6),
            layer(limits, "tick", y, x.of("to"), color="white", thickness=7, size=BAR_PX - 6),
            layer(limits, "tick", y, x.of("to"), coloured(), thickness=3, size=BAR_PX - 6),
            *texts(ends, y, x.of("to"), dx=8),
        ],
    )  # fmt: skip


def dc_spec(found: EarthPlan, run: str) -> dict[str, Any] | None:
    """Direct current of each path of a run: as it stands, bonded at both ends, and with an earth conductor besides."""
    mine = [d for d in found.dc if d.run == run]
    if not mine:
        return None
    cases = (
        ("as it stands", "now_a"),
        ("return bonded at both ends", "both_a"),
        ("and an earth conductor besides", "with_earth_a"),
    )
    tones = {"return": PALE, "shield": GOOD, "functional earth": "#c79a3a"}
    rows: list[Row] = []
    words: list[Row] = []
    for name, field in cases:
        start = 0.0
        for d in mine:
            value = getattr(d, field)
            if value is None or value <= 0:
                continue
            rows.append(
                {"row": name, "from": start, "to": start + value, "colour": tones[d.path], "path": d.path, "a": value}
            )
            start += value
        parts = "; ".join(f"{d.path} {getattr(d, field):.1f} A" for d in mine if getattr(d, field) is not None)
        words.append({"row": name, "to": 0.0, "text": parts})
    total = max(float(r["to"]) for r in rows)  # type: ignore[arg-type]
    x = Axis("x", "direct current back to the plant, A", 0.0, 1.02 * total, ticks=8)
    y: Layer = {"y": {"field": "row", "type": "nominal", "title": None, "sort": [c[0] for c in cases], "scale": {"paddingInner": 0.55, "paddingOuter": 0.4}, "axis": {"labelLimit": 210}}}  # fmt: skip
    height = 3 * 46
    shapes = [(name, "square", tones[name]) for name in dict.fromkeys(d.path for d in mine)]
    return picture(
        f"How the direct current of {run} goes back",
        [
            "full load, lowest voltage of the plant, hottest day; paths by their conductances, the steel of the mast left out",
            "one bond point for the return; shield and earth conductor at both ends. Do not open a bond under load",
        ],
        height=height,
        layer=[
            layer(rows, "bar", y, x.of("from"), {"x2": {"field": "to"}}, coloured(), stroke=INK, strokeWidth=0.5, height=16),
            *texts(words, y, x.of("to"), dx=2, dy=18, fontSize=10),
            *key([], shapes, height + BELOW_PX),
        ],
    )  # fmt: skip


__all__ = ["dc_spec", "elevation_spec", "plan_spec", "protector_spec", "stroke_spec"]
