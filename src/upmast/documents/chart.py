"""Charts as Vega-Lite data, drawn to SVG: margins by room, voltage at each radio."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from upmast.documents.colour import margin_colour
from upmast.documents.marks import share_of
from upmast.finding import Stage, worst
from upmast.proof.prove import Proof

Spec = Mapping[str, Any]
FONT = "Source Sans Pro"
VOLTAGE = "power.voltage-at-radio"
HIGH, LOW = 1.0, -0.3


def chart_frame(title: str, values: list[dict[str, object]], **rest: object) -> dict[str, Any]:
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v5.json",
        "background": "white",
        "title": {"text": title, "anchor": "start", "fontSize": 13},
        "width": 440,
        "data": {"values": values},
        "config": {
            "font": FONT,
            "view": {"stroke": None},
            "axis": {"labelFontSize": 11, "titleFontSize": 11, "labelLimit": 160},
        },
        **rest,
    }


def margin_spec(proof: Proof) -> dict[str, Any] | None:
    """Bars of the smallest normalised margin of each room; None where no room has one."""
    values: list[dict[str, object]] = []
    for name, room in proof.rooms.items():
        known = [f for f in room.result.findings if f.stage is Stage.DESIGN and share_of(f) is not None]
        if known:
            low = min(known, key=lambda f: (share_of(f) or 0.0, f.key))
            share = share_of(low) or 0.0
            top = worst(tuple(known))
            values.append(
                {
                    "room": name, "share": round(100 * min(max(share, LOW), HIGH), 2), "colour": margin_colour(share),
                    "label": f"{name}: {100 * share:+.0f} %, {top.verdict if top else ''}",
                }
            )  # fmt: skip
    if not values:
        return None
    x = {
        "field": "share",
        "type": "quantitative",
        "title": "smallest margin, % of the limit",
        "scale": {"domain": [100 * LOW, 100 * HIGH]},
    }
    y = {"field": "label", "type": "nominal", "title": None, "sort": None, "axis": {"labelLimit": 220}}
    bar = {"mark": {"type": "bar", "stroke": "#16202b", "strokeWidth": 0.5}, "encoding": {"x": x, "y": y, "color": {"field": "colour", "type": "nominal", "scale": None}}}  # fmt: skip
    zero = {"mark": {"type": "rule", "color": "#16202b", "strokeWidth": 1.5}, "encoding": {"x": {"datum": 0}}}
    return chart_frame("", values, layer=[bar, zero], height={"step": 22})


def voltage_spec(proof: Proof) -> dict[str, Any] | None:
    """A dot for the lowest voltage at each radio, a tick for its limit; None where no voltage is known."""
    values: list[dict[str, object]] = []
    for found in proof.at():
        if found.code == VOLTAGE and found.value is not None and found.limit is not None:
            values.append(
                {
                    "radio": found.subject, "value": round(found.value, 3), "limit": found.limit.value, "verdict": str(found.verdict),
                    "colour": margin_colour(found.normalised_margin),
                }
            )  # fmt: skip
    if not values:
        return None
    y = {"field": "radio", "type": "nominal", "title": None, "sort": None}
    scale = {"zero": False, "nice": True}
    shape = {"field": "verdict", "type": "nominal", "title": "verdict", "scale": {"domain": ["passes", "fails", "not judged"], "range": ["circle", "diamond", "square"]}}  # fmt: skip
    axis = {
        "field": "value",
        "type": "quantitative",
        "title": "V at the radio (upright bar: lowest allowed)",
        "scale": scale,
    }
    between = {"mark": {"type": "rule", "color": "#8a94a0"}, "encoding": {"y": y, "x": axis, "x2": {"field": "limit"}}}
    limits = {"mark": {"type": "tick", "color": "#7a1f12", "thickness": 2.5, "height": 13}, "encoding": {"y": y, "x": {"field": "limit", "type": "quantitative", "scale": scale}}}  # fmt: skip
    dots = {"mark": {"type": "point", "filled": True, "size": 80, "stroke": "#16202b", "strokeWidth": 0.8, "opacity": 1}, "encoding": {"y": y, "x": axis, "shape": shape, "color": {"field": "colour", "type": "nominal", "scale": None}}}  # fmt: skip
    return chart_frame("", values, layer=[between, limits, dots], height={"step": 20})


@cache
def _register_fonts() -> None:
    """Labels are measured with the fonts that the documents are set in, whatever the machine has."""
    import vl_convert

    folder = Path(str(resources.files("upmast.documents").joinpath("fonts")))
    if folder.is_dir():
        vl_convert.register_font_directory(str(folder))


def chart_svg(spec: Spec) -> str:
    """A Vega-Lite specification drawn to SVG. Nothing is loaded from anywhere: the data stands in the specification."""
    import vl_convert

    _register_fonts()
    return str(vl_convert.vegalite_to_svg(dict(spec), allowed_base_urls=[]))


def margin_chart(proof: Proof) -> str | None:
    spec = margin_spec(proof)
    return chart_svg(spec) if spec else None


def voltage_chart(proof: Proof) -> str | None:
    spec = voltage_spec(proof)
    return chart_svg(spec) if spec else None
