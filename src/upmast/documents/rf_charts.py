"""Charts of RF jumpers: what a length gains, and where in length and frequency two joints add or cancel."""

from __future__ import annotations

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
    coloured,
    curve,
    key,
    layer,
    level,
    picture,
    uprights,
)  # fmt: skip
from upmast.proof.jumpers import VELOCITY_TOLERANCE, Jumper
from upmast.rf.length import Bands, distance_turns, gain_db

SHORT_M = 0.05
SAMPLES = 900
CELLS, ROWS_HZ = 64, 40
MOST_GAIN_DB = 12.0
MOST_LINES = 3


def _reach(jumper: Jumper) -> float:
    return max(jumper.least_m + 1.0, jumper.length_m + 0.5, 2.0)


def gain_spec(jumper: Jumper, velocity_factor: float, tolerance_m: float) -> dict[str, Any] | None:
    """
    What each length gains in the worst band and in each band, against joints that add; the least length and the present one marked.

    Parameters
    ----------
    jumper: of `upmast.proof.jumpers`. velocity_factor, tolerance_m [m]: of its part.

    Returns
    -------
    A specification, or None where the bands of its carriers aren't known, or the line is a chain.
    """
    if not jumper.bands or len(jumper.passed) != 1:
        return None
    low, high = (np.array(column) for column in zip(*jumper.bands, strict=True))
    bands = Bands(low, high, velocity_factor, tolerance_m, VELOCITY_TOLERANCE)
    top = _reach(jumper)
    length = np.linspace(max(SHORT_M, tolerance_m), top, SAMPLES)
    each = np.minimum(gain_db(distance_turns(bands, length)), MOST_GAIN_DB)
    worst = each.min(axis=1)
    x = Axis("x", "length of the jumper, m", 0.0, top, ticks=8)
    reached = length >= jumper.least_m
    # as high as what can be had, with room for the words above
    tall = min(MOST_GAIN_DB, max(4.0, 1.15 * float(each[reached].max(initial=0.0)), 1.15 * float(worst.max())))
    each, worst = np.minimum(each, tall), np.minimum(worst, tall)
    y = Axis("y", "gain at the jumper's joints, dB", 0.0, 1.3 * tall, most=tall)
    place = (x.of("m"), y.of("db"))

    def rows(values: np.ndarray[Any, np.dtype[np.float64]]) -> list[Row]:
        return [{"m": round(float(m), 4), "db": round(float(v), 4)} for m, v in zip(length, values, strict=True)]

    shown = list(range(len(jumper.bands)))[:MOST_LINES]
    lines: list[tuple[str, int, str]] = [("all bands together", 0, INK)]
    drawn: list[Layer] = []
    for n, b in enumerate(shown, 1):
        a, z = jumper.bands[b]
        lines.append((f"{a / 1e6:g} to {z / 1e6:g} MHz", n, PALE if n % 2 else GOOD))
        drawn.append(curve(rows(each[:, b]), *place, n, PALE if n % 2 else GOOD, 1.4))
    drawn.append(curve(rows(worst), *place, 0, INK, 2.6))
    unreachable: list[Row] = [{"m": 0.0, "to": min(jumper.least_m, top), "db": 1.3 * tall, "low": 0.0}]
    shade = layer(unreachable, "rect", x.of("m"), {"x2": {"field": "to"}}, y.of("db"), {"y2": {"field": "low"}}, color="#e4e8ed", opacity=0.7)  # fmt: skip
    marks = [
        (jumper.least_m, f"shortest way {jumper.least_m:.2f} m", LIMIT),
        (jumper.length_m, f"as it is {jumper.length_m:.2f} m", INK),
    ]
    height = 260
    left_out = len(jumper.bands) - len(shown)
    notes = [
        f"{jumper.id}, {jumper.start} to {jumper.end or 'open'}: joints alike, cut within {1000 * tolerance_m:g} mm, velocity within {100 * VELOCITY_TOLERANCE:g} %",
        "grey: shorter than the way from port to port" + (f"; {left_out} more bands are in the thick line" if left_out else ""),
        "at best: that both joints are of a like kind is not known; at the radio port the antenna thins it out",
    ]  # fmt: skip
    return picture(
        f"What the length of {jumper.id} gains", notes, height=height,
        layer=[shade, *drawn, *level(3.0, "3 dB", y), *uprights(marks, x), *key(lines, [], height + BELOW_PX)],
    )  # fmt: skip


def length_map_spec(jumper: Jumper, velocity_factor: float, tolerance_m: float) -> dict[str, Any] | None:
    """
    Where in length and frequency the two joints add (dark) or cancel (light), with the bands and the box of tolerances of the present length.

    None where the bands aren't known.
    """
    if not jumper.bands or len(jumper.passed) != 1:
        return None
    low = min(a for a, _ in jumper.bands)
    high = max(z for _, z in jumper.bands)
    room = max(0.06 * (high - low) + 5e6, 1.2 * VELOCITY_TOLERANCE * high)
    start, top = max(SHORT_M, jumper.length_m - 0.12), jumper.length_m + 0.12
    f = np.linspace(low - room, high + room, ROWS_HZ + 1)
    m = np.linspace(start, top, CELLS + 1)
    middle_f, middle_m = (f[1:] + f[:-1]) / 2, (m[1:] + m[:-1]) / 2
    one = Bands(middle_f, middle_f, velocity_factor)
    sum_ = np.cos(np.pi * distance_turns(one, middle_m))  # [m, f], 1 adds
    x = Axis("x", "length of the jumper, m", start, top, ticks=7)
    y = Axis("y", "frequency, MHz", float(f[0]) / 1e6, float(f[-1]) / 1e6, ticks=8)
    cells: list[Row] = [
        {
            "m": round(float(m[i]), 5), "to": round(float(m[i + 1]), 5), "mhz": round(float(f[k]) / 1e6, 4), "up": round(float(f[k + 1]) / 1e6, 4),
            "share": round(float(sum_[i, k]), 4), "colour": _grey(float(sum_[i, k])),
        }
        for i in range(CELLS)
        for k in range(ROWS_HZ)
    ]  # fmt: skip
    edges: list[Row] = [{"mhz": edge / 1e6} for band in jumper.bands for edge in band]
    dv = VELOCITY_TOLERANCE
    boxes: list[Row] = [
        {
            "m": jumper.length_m - tolerance_m, "to": jumper.length_m + tolerance_m, "mhz": a / 1e6 / (1 + dv), "up": z / 1e6 / (1 - dv)
        }
        for a, z in jumper.bands
    ]  # fmt: skip
    up = y.of("mhz")
    up["y"]["axis"]["format"] = "d"  # 1880, not 1,880
    span = (x.of("m"), {"x2": {"field": "to"}}, up, {"y2": {"field": "up"}})
    edge: Layer = {"stroke": {"field": "colour", "type": "nominal", "scale": None}}
    height = 280
    return picture(
        f"Where the joints of {jumper.id} add",
        [
            "dark: the two joints add; light: they cancel; dashed: edges of the bands",
            "boxes: what the cut may make of the length as it is, and the velocity of each band; any dark in a box is met by the sweep",
        ],
        height=height,
        layer=[
            layer(cells, "rect", *span, coloured(), edge, strokeWidth=0.7),
            layer(edges, "rule", up, color=INK, strokeDash=[5, 3], strokeWidth=1),
            layer(boxes, "rect", *span, color=LIMIT, opacity=1, filled=False, stroke=LIMIT, strokeWidth=2.2),
        ],
    )  # fmt: skip


def _grey(share: float) -> str:
    tone = round(250 - 190 * share)
    return f"#{tone:02x}{tone:02x}{min(tone + 6, 255):02x}"


__all__ = ["gain_spec", "length_map_spec"]
