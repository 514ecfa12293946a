"""Charts of what a path should show: return loss over frequency with its envelope and limit, and losses by path in parts."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from upmast.documents.power_picture import (
    BELOW_PX,
    GOOD,
    INK,
    LIMIT,
    PALE,
    Axis,
    Layer,
    Row,
    curve,
    key,
    layer,
    level,
    picture,
    texts,
)  # fmt: skip
from upmast.proof.jumpers import Jumper, Jumpers
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign, path_designs

POINTS = 121
MOST_DB = 45.0
ROW_STEP_PX = 17
MOST_BARS = 30
CODES = {"load": "rf.return-loss-load", "antenna": "rf.return-loss-at-radio"}


def design_of(proof: Proof, path: str) -> PathDesign | None:
    """The design of one path by its id."""
    return next((d for d in path_designs(proof.line) if d.id == path), None)


def return_loss_spec(proof: Proof, path: str) -> dict[str, Any] | None:
    """
    Least return loss that a sound line of this path can show, over its bands: with a load, and with the antenna, beside both limits.

    None where the path has no design, or its joints have no return loss.
    """
    design = design_of(proof, path)
    if design is None or not design.bands or any(math.isnan(j.return_loss_db) for j in design.joints):
        return None
    tests = ["load"] + (["antenna"] if design.antenna and design.antenna_vswr is not None else [])
    low, high = design.lowest_hz, design.highest_hz
    room = max(0.03 * (high - low), 5e6)
    x = Axis("x", "frequency, MHz", (low - room) / 1e6, (high + room) / 1e6, ticks=8)
    worst: dict[str, list[list[Row]]] = {}
    for test in tests:
        for a, b in sorted(set(design.ranges)):
            f = np.linspace(a, b, POINTS)
            least = np.minimum(design.expected_db(f, test).least_db, MOST_DB)
            worst.setdefault(test, []).append(
                [{"mhz": round(float(v) / 1e6, 4), "db": round(float(r), 4)} for v, r in zip(f, least, strict=True)]
            )
    limits = [(test, limit) for test in tests if (limit := proof.limits.get(CODES[test])) is not None]
    words = {"load": "limit with a load", "antenna": "limit at the radio"}
    lines = [(f"{words[test]} {limit.value:g} dB", limit.value) for test, limit in limits]
    swept = proof.limits.get("rf.sweep-antenna")
    if "antenna" in tests and swept is not None:
        lines.append((f"limit of the sweep with the antenna {swept.value:g} dB", swept.value))
    values = [float(str(r["db"])) for runs in worst.values() for run in runs for r in run]
    values += [value for _, value in lines]
    y = Axis("y", "return loss, dB (more is better)", max(min(values) - 3.0, 0.0), max(values) + 3.0, ticks=8)
    along = x.of("mhz")
    along["x"]["axis"]["format"] = "d"  # 1700, not 1,700
    place = (along, y.of("db"))
    styles = {"load": (0, INK), "antenna": (1, GOOD)}
    drawn: list[Layer] = [curve(run, *place, *styles[test], 2.4) for test, runs in worst.items() for run in runs]
    spans: list[Row] = [
        {"mhz": a / 1e6, "to": b / 1e6, "db": y.high, "low": y.low} for a, b in sorted(set(design.ranges))
    ]
    bands = layer(spans, "rect", along, {"x2": {"field": "to"}}, y.of("db"), {"y2": {"field": "low"}}, color="#eef1f4", opacity=1)  # fmt: skip
    rules: list[Layer] = []
    for n, (text, value) in enumerate(lines):
        rules += level(value, text, y, LIMIT, right=n % 2 == 0)
    names = {"load": "least with a precision load", "antenna": "least with the antenna at its limit"}
    height = 250
    return picture(
        f"Return loss that {path} can show",
        [
            f"{proof.site.id}: joints at their limits, phases at their worst; a sound line never shows less than the lines",
            "a sweep ripples above its line; where it goes below, a part is not what its data sheet says",
        ],
        height=height,
        layer=[bands, *drawn, *rules, *key([(names[t], *styles[t]) for t in tests], [], height + BELOW_PX)],
    )  # fmt: skip


def loss_bars_spec(found: Jumpers) -> dict[str, Any] | None:
    """
    Highest loss of each jumper, cable and joints, the largest first; None where there is none.
    """
    judged = [(j, j.levels) for j in found.jumpers if j.levels is not None and math.isfinite(j.levels.total_db)]
    known = sorted(judged, key=lambda row: -row[1].total_db)
    if not known:
        return None
    shown = known[:MOST_BARS]
    rows: list[Row] = []
    ends: list[Row] = []
    for j, levels in shown:
        name, at = _name(j), 0.0
        for value, paint in ((levels.cables_db, GOOD), (levels.joints_db, PALE), (levels.inline_db, INK)):
            if value > 0:
                rows.append({"row": name, "from": round(at, 5), "to": round(at + value, 5), "colour": paint})
            at += value
        ends.append({"row": name, "at": round(at, 5), "text": f"{at:.2f} dB, {levels.lost_w:.1f} W"})
    top = max(float(str(r["at"])) for r in ends)
    inline = any(levels.inline_db > 0 for _, levels in shown)
    words = "highest loss, dB: cables (dark), joints (pale)" + (", two-ports (black)" if inline else "")
    x = Axis("x", words, 0.0, 1.45 * top, ticks=8)
    y: Layer = {
        "y": {"field": "row", "type": "nominal", "title": None, "sort": [_name(j) for j, _ in shown], "scale": {"paddingInner": 0.3}}
    }  # fmt: skip
    colour: Layer = {"color": {"field": "colour", "type": "nominal", "scale": None}}
    left = len(known) - len(shown)
    return picture(
        "What each line takes from its port",
        ["at the highest frequency in use, sheaths in the sun on the hottest day, joints at their highest loss" + (f"; {left} more lose less" if left else "")],
        height=ROW_STEP_PX * len(shown),
        layer=[
            layer(rows, "bar", y, x.of("from"), {"x2": {"field": "to"}}, colour, stroke=INK, strokeWidth=0.5),
            *texts(ends, y, x.of("at"), align="left", dx=6),
        ],
    )  # fmt: skip


def _name(jumper: Jumper) -> str:
    return f"{jumper.id} {jumper.start}"


__all__ = ["design_of", "loss_bars_spec", "return_loss_spec"]
