"""
The two pictures of a judged sweep as Vega-Lite specifications, plain data: return loss over frequency, and over distance.

Colours are told apart by colour-blind people (Okabe and Ito's palette), and every line has its own dash and a word.
"""

from __future__ import annotations

from itertools import pairwise
from textwrap import wrap
from typing import Any

import numpy as np
from numpy.typing import NDArray

from upmast.field.judge import Judged
from upmast.number import number

Floats = NDArray[np.float64]
SCHEMA = "https://vega.github.io/schema/vega-lite/v5.json"
MOST_POINTS = 1000
BLUE, ORANGE, GREEN, VERMILION, GREY = "#0072B2", "#E69F00", "#009E73", "#D55E00", "#666666"
CEILING_DB = 60.0  # nothing above is worth drawing
NAMES = {"load": "with a load", "antenna": "with the antenna", "short": "with a short"}


def decimate(x: Floats, y: Floats, most: int = MOST_POINTS) -> tuple[Floats, Floats]:
    """
    At most `most` points of a trace that keep every extreme: of each stretch its lowest and highest value, in order.

    >>> x = np.arange(10_000.0); y = np.zeros(10_000); y[4321] = 9.0
    >>> a, b = decimate(x, y)
    >>> len(a) <= 1000, float(b.max()), float(a[b.argmax()])
    (True, 9.0, 4321.0)
    """
    if x.size <= most:
        return x, y
    edges = np.linspace(0, x.size, most // 2 + 1).astype(int)
    keep: list[int] = []
    for start, stop in pairwise(edges.tolist()):
        part = y[start:stop]
        keep += sorted({start + int(np.argmin(part)), start + int(np.argmax(part))})
    return x[keep], y[keep]


def _clip(value: Floats) -> Floats:
    return np.clip(np.nan_to_num(value, nan=CEILING_DB, posinf=CEILING_DB, neginf=0.0), -5.0, CEILING_DB)


def _rows(x: Floats, y: Floats, x_name: str, y_name: str) -> list[dict[str, float]]:
    return [{x_name: round(float(a), 6), y_name: round(float(b), 4)} for a, b in zip(x, y, strict=True)]


def _y(title: str = "return loss (dB)") -> dict[str, Any]:
    """Return loss falls downwards as reflections grow: strong reflections stand high, as instruments show them."""
    return {"field": "db", "type": "quantitative", "title": title, "scale": {"reverse": True, "zero": False}}


def frequency_picture(judged: Judged) -> dict[str, Any]:
    """Return loss over frequency: measured, what a sound line can show, the limit, and the bands."""
    f = judged.frequency_hz / 1e6
    x, y = decimate(f, _clip(judged.measured_db))
    axis = {
        "field": "mhz",
        "type": "quantitative",
        "title": "frequency (MHz)",
        "scale": {"zero": False},
        "axis": {"format": "d"},
    }
    layers: list[dict[str, Any]] = [
        {
            "data": {"values": [{"low": b.low_hz / 1e6, "high": b.high_hz / 1e6, "name": b.name} for b in judged.design.bands]},
            "mark": {"type": "rect", "color": GREY, "opacity": 0.12},
            "encoding": {
                "x": {**axis, "field": "low"}, "x2": {"field": "high"}, "tooltip": {"field": "name", "type": "nominal"},
            },
        }
    ]  # fmt: skip
    if np.isfinite(judged.least_db).all():
        pick = np.unique(np.linspace(0, f.size - 1, min(f.size, 200)).astype(int))
        least, greatest = _clip(judged.least_db)[pick], _clip(judged.greatest_db)[pick]
        band = [
            {"mhz": round(float(a), 6), "db": round(float(b), 4), "to": round(float(c), 4)}
            for a, b, c in zip(f[pick], least, greatest, strict=True)
        ]
        layers.append(
            {
                "data": {"values": band}, "mark": {"type": "area", "color": GREEN, "opacity": 0.18},
                "encoding": {"x": axis, "y": _y(), "y2": {"field": "to"}},
            }
        )  # fmt: skip
        layers.append(_line(band, axis, GREEN, [6, 3], "expected: no worse than this"))
    if judged.limit is not None and judged.test != "short":
        ends = [{"mhz": float(f[0]), "db": judged.limit.value}, {"mhz": float(f[-1]), "db": judged.limit.value}]
        layers.append(_line(ends, axis, VERMILION, [2, 2], f"limit {number(judged.limit.value, 'dB')}"))
    layers.append(_line(_rows(x, y, "mhz", "db"), axis, BLUE, [1, 0], "measured"))
    return _whole(layers, f"{judged.test_id}: return loss {NAMES[judged.test]}", judged.sentence)


def distance_picture(judged: Judged) -> dict[str, Any] | None:
    """Return loss over distance with the joints of the design and the resolution; None where no distances can be read."""
    trace = judged.located.trace
    if trace is None:
        return None
    axis = {"field": "m", "type": "quantitative", "title": "distance from the test port (m)", "scale": {"zero": False}}
    x, y = decimate(trace.distance_m, _clip(trace.return_loss_db))
    joints = [{"m": j.distance_m, "name": j.name} for j in judged.design.joints]
    marks = [
        {
            "m": p.distance_m,
            "db": p.return_loss_db,
            "words": p.words,
            "state": "open first" if p.suspect else "as it may be",
        }
        for p in judged.located.peaks
    ]
    bar = max(0.0, float(np.min(y)) - 2.0)
    layers: list[dict[str, Any]] = [
        {
            "data": {"values": joints}, "mark": {"type": "rule", "color": GREY, "strokeDash": [4, 4]},
            "encoding": {"x": axis, "tooltip": {"field": "name", "type": "nominal"}},
        },
        {
            "data": {"values": joints},
            "mark": {"type": "text", "angle": 270, "align": "left", "dx": 4, "dy": -6, "fontSize": 9, "baseline": "bottom"},
            "encoding": {"x": axis, "y": {"value": 296}, "text": {"field": "name", "type": "nominal"}},
        },
        _line(_rows(x, y, "m", "db"), axis, BLUE, [1, 0], "measured"),
        {
            "data": {"values": marks}, "mark": {"type": "point", "filled": True, "size": 70},
            "encoding": {
                "x": axis, "y": _y(), "tooltip": {"field": "words", "type": "nominal"},
                "shape": {"field": "state", "type": "nominal", "title": "peak",
                          "scale": {"domain": ["open first", "as it may be"], "range": ["triangle-up", "circle"]}},
                "color": {"field": "state", "type": "nominal", "title": "peak",
                          "scale": {"domain": ["open first", "as it may be"], "range": [VERMILION, GREEN]}},
            },
        },
        {
            "data": {"values": [{"m": 0.0, "to": trace.resolution_m, "db": bar}]},
            "mark": {"type": "rule", "color": ORANGE, "strokeWidth": 4},
            "encoding": {"x": axis, "x2": {"field": "to"}, "y": _y()},
        },
    ]  # fmt: skip
    under = f"orange bar: resolution {number(trace.resolution_m, 'm')}; nearer joints are one peak. To find, not to pass or fail"
    return {
        **_whole(layers, f"{judged.test_id}: where it reflects", under),
        "resolve": {"scale": {"color": "independent", "shape": "independent"}},
    }


def _line(
    rows: list[dict[str, float]], axis: dict[str, Any], colour: str, dash: list[int], name: str
) -> dict[str, Any]:
    return {
        "data": {"values": [{"mhz" if "mhz" in row else "m": row.get("mhz", row.get("m")), "db": row["db"]} for row in rows]},
        "mark": {"type": "line", "strokeDash": dash, "strokeWidth": 1.5},
        "encoding": {
            "x": axis, "y": _y(),
            "color": {"datum": name, "type": "nominal", "title": None, "scale": {"domain": [name], "range": [colour]},
                      "legend": {"orient": "bottom"}},
        },
    }  # fmt: skip


def _whole(layers: list[dict[str, Any]], title: str, under: str) -> dict[str, Any]:
    return {
        "$schema": SCHEMA, "title": {"text": title, "subtitle": wrap(under, 110), "anchor": "start"}, "width": 640, "height": 300,
        "layer": layers, "resolve": {"scale": {"color": "independent"}},
    }  # fmt: skip
