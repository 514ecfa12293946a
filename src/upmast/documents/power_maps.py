"""Charts over a plane: the least margin over air and emf, and the conductors of a cable in its section."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from upmast.documents.colour import margin_colour
from upmast.documents.power_picture import (
    INK,
    NARROW_PX,
    Array,
    Axis,
    Layer,
    Row,
    coloured,
    dark,
    layer,
    margins_v,
    picture,
    seen_of,
    texts,
)
from upmast.number import number
from upmast.power.seen import Seen
from upmast.power.state import Rows, settle
from upmast.power.warmth import surface_c
from upmast.proof.prove import Proof

AIRS, EMFS, CELL_PX = 9, 11, 24
# temperatures: pale is cool, dark is hot, rising in darkness so that it prints
COOL, WARM = (250, 236, 200), (130, 40, 20)


# --- 4: over air and emf ----------------------------------------------------------------------------------------------


def margin_map_spec(proof: Proof, seen: Seen | None = None) -> dict[str, Any] | None:
    """
    Least margin of all radios over the air and the emf of the plant, at full load in the strongest sun, each cell settled.

    With the line of no margin, and the scenarios of that load and sun. None without a scenario of full load.
    """
    seen = seen or seen_of(proof)
    if seen is None or not seen.full:
        return None
    i = seen.i
    sun = float(max(i.sun_w_per_m2[s] for s in seen.full))
    cold, hot = float(i.ambient_c.min()), float(max(i.ambient_c[s] for s in seen.full))
    top, lowest = float(max(i.float_v, i.emf_v.max())), float(i.emf_v.min())
    # the hottest air and the lowest emf stand on cells of their own
    wide, tall = max((hot - cold) / (AIRS - 2), 1.0), max((top - lowest) / (EMFS - 3), 0.1)
    airs, emfs = hot + wide * np.arange(2.0 - AIRS, 2.0), lowest + tall * np.arange(-2.0, EMFS - 2.0)

    def margins(air: Array, emf: Array) -> Array:
        ones = np.ones(air.size)
        found = settle(i, Rows(emf, air, sun * ones, ones)).flow
        return np.asarray(np.where(found.exists, margins_v(i, found.port_v).min(axis=1), np.nan))

    grid = margins(np.tile(airs, EMFS), np.repeat(emfs, AIRS)).reshape(EMFS, AIRS)
    least = float(i.minimum_v.min())
    cells: list[Row] = []
    for n, emf in enumerate(emfs):
        for m, air in enumerate(airs):
            known = bool(np.isfinite(grid[n, m]))
            colour = margin_colour(float(grid[n, m]) / least if known else -1.0)
            cells.append(
                {
                    "air": round(float(air), 4), "emf": round(float(emf), 4), "margin": round(float(grid[n, m]), 5) if known else None,
                    "x": round(float(air) - wide / 2, 4), "x2": round(float(air) + wide / 2, 4), "y": round(float(emf) - tall / 2, 4),
                    "y2": round(float(emf) + tall / 2, 4), "colour": colour, "ink": "white" if dark(colour) else INK,
                    "text": f"{grid[n, m]:+.1f}" if known else "none",
                }
            )  # fmt: skip
    x = Axis("x", "air, °C", float(airs[0]) - wide / 2, float(airs[-1]) + wide / 2)
    y = Axis("y", "emf of the plant, V", float(emfs[0]) - tall / 2, float(emfs[-1]) + tall / 2)
    place = (x.of("air"), y.of("emf"))
    zero = _no_margin_v(airs, emfs, grid, margins)
    edge: list[Row] = [
        {"air": round(float(a), 4), "emf": round(float(e), 5)}
        for a, e in zip(airs, zero, strict=True)
        if np.isfinite(e)
    ]
    # a rim in the colour of the cell only where the line passes
    passed = {float(str(row["air"])): float(str(row["emf"])) for row in edge}
    crossed = [c for c in cells if abs(passed.get(float(str(c["air"])), np.inf) - float(str(c["emf"]))) < 0.8 * tall]
    named: list[Row] = [
        {"air": float(i.ambient_c[s]), "emf": float(i.emf_v[s]), "text": i.scenarios[s]}
        for s in seen.full
        if i.sun_w_per_m2[s] == sun
    ]
    box = {**x.of("x"), "x2": {"field": "x2"}, **y.of("y"), "y2": {"field": "y2"}}
    words: Layer = {"text": {"field": "text", "type": "nominal"}}
    rim: Layer = {"stroke": {"field": "colour", "type": "nominal", "scale": None}, **coloured()}
    ink: Layer = {"color": {"field": "ink", "type": "nominal", "scale": None}}
    return picture(
        "Least voltage margin of all radios over air and emf",
        [
            f"{proof.site.id}, full load, sun {sun:.0f} W/m², calm air; V above the minimum; none: no operating point",
            "line: no margin; rings: the scenarios of this load and sun",
        ],
        height=CELL_PX * EMFS, width=NARROW_PX,
        layer=[
            layer(cells, "rect", box, coloured(), stroke="white", strokeWidth=1),
            layer(edge, "line", *place, color=INK, strokeWidth=2),
            layer(crossed, "text", *place, words, rim, fontSize=11, strokeWidth=3, baseline="middle"),
            layer(cells, "text", *place, words, ink, fontSize=11, baseline="middle"),
            *(layer(named, "point", *place, shape="circle", filled=False, size=800, color=c, strokeWidth=w, opacity=1) for c, w in (("white", 3.5), (INK, 1.6))),
            *texts(named, {"x": {"value": NARROW_PX + 6}}, y.of("emf")),
        ],
    )  # fmt: skip


def _no_margin_v(airs: Array, emfs: Array, grid: Array, margins: Callable[[Array, Array], Array]) -> Array:
    """The emf of no margin at each air: by the chord between two rows of the grid, then once more; NaN outside of the grid."""
    below = np.nan_to_num(grid, nan=-1e3) < 0
    upper = np.argmax(~below, axis=0)
    lower, column = np.maximum(upper - 1, 0), np.arange(airs.size)
    low, high = grid[lower, column], grid[upper, column]
    usable = (upper > 0) & np.isfinite(low) & np.isfinite(high)
    low, high = np.where(usable, low, -1.0), np.where(usable, high, 1.0)
    guess = emfs[lower] - low * (emfs[upper] - emfs[lower]) / (high - low)
    there = margins(airs, guess)
    better = guess - there * (emfs[upper] - guess) / np.where(high - there > 0, high - there, 1.0)
    return np.asarray(np.where(usable, better, np.nan))


# --- 5: the section of a cable ----------------------------------------------------------------------------------------


def section_spec(proof: Proof, seen: Seen | None = None) -> dict[str, Any] | None:
    """
    The cores of the cable with the hottest conductor, in its sheath, each with its temperature, true to scale.

    None where no cable is judged by its section, or there is no operating point at the lowest voltage.
    """
    seen = seen or seen_of(proof)
    if seen is None or not seen.i.trunks or not seen.flow.exists[seen.low]:
        return None
    i, s = seen.i, seen.low
    theta = seen.state.temperature_c[s]
    trunk = max(seen.i.trunks, key=lambda t: float(theta[list(t.branches)].max()))
    section, rows = trunk.heat.section, list(trunk.branches)
    outer = section.outer_m * 500  # radius, mm
    px = NARROW_PX / (2.04 * outer)
    x = Axis("x", "mm from the axis", -1.02 * outer, 1.02 * outer, ticks=6)
    y = Axis("y", "mm from the axis", -1.02 * outer, 1.02 * outer, ticks=6)
    floor = float(theta[rows].min())
    cores: list[Row] = []
    for b, east, north in zip(rows, section.x_m, section.y_m, strict=True):
        share = (float(theta[b]) - floor) / max(trunk.limit_c - floor, 1.0)
        amps = abs(float(np.nan_to_num(seen.flow.branch_a[s, b])))
        cores.append(
            {
                "x": round(east * 1000, 4), "y": round(north * 1000, 4), "celsius": round(float(theta[b]), 3), "amps": round(amps, 4),
                "text": f"{theta[b]:.0f}", "name": f"{i.pair[b]}{'L' if i.kind[b] == 'line' else 'R'}", "colour": ramp(share),
                "ink": "white" if dark(ramp(share)) else INK,
            }
        )  # fmt: skip
    place = (x.of("x"), y.of("y"))
    middle: list[Row] = [{"x": 0, "y": 0}]
    radius = section.conductor_m * 1000 * px
    size = max(min(11.0, 0.85 * radius), 6.0)
    two = radius > 15  # room for the name of the core below its temperature
    words: Layer = {
        "text": {"field": "text", "type": "nominal"},
        "color": {"field": "ink", "type": "nominal", "scale": None},
    }
    names: Layer = {**words, "text": {"field": "name", "type": "nominal"}}
    flat: dict[str, object] = {"filled": True, "opacity": 1, "shape": "circle"}
    hottest = max(cores, key=lambda c: float(str(c["celsius"])))
    return picture(
        f"Conductors of {trunk.item} in its section, °C",
        [
            f"{proof.site.id}, scenario {i.scenarios[s]}: air {i.ambient_c[s]:g} °C, sun {i.sun_w_per_m2[s]:g} W/m²; places of cores are a model",
            f"hottest {number(float(str(hottest['celsius'])), '°C')} in {hottest['name']} (limit {trunk.limit_c:g} °C); surface of the sheath "
            f"{number(surface_c(i, trunk, seen.state, s), '°C')}",
            "number of the pair, L line, R return; dark is hot; dashed rim: no current",
        ],
        width=NARROW_PX, height=NARROW_PX,
        layer=[
            layer(middle, "point", *place, size=disc(outer * px), color="#39434e", **flat),
            layer(middle, "point", *place, size=disc(section.inner_m * 1000 * px), color="#f3f5f8", **flat),
            *_discs(cores, place, disc(radius)),
            layer(cores, "text", *place, words, fontSize=size, fontWeight="bold", dy=-0.3 * size if two else 0, baseline="middle"),
            *([layer(cores, "text", *place, names, fontSize=0.8 * size, dy=0.75 * size, baseline="middle")] if two else []),
        ],
    )  # fmt: skip


def _discs(cores: Sequence[Row], place: tuple[Layer, Layer], size: float) -> list[Layer]:
    """Conductors with current, and those without, whose rim is dashed."""
    style: Layer = {"filled": True, "opacity": 1, "shape": "circle", "size": size, "stroke": INK, "strokeWidth": 1}
    loaded = [c for c in cores if float(str(c["amps"])) > 0]
    idle = [c for c in cores if c not in loaded]
    return [
        layer(loaded, "point", *place, coloured(), **style),
        layer(idle, "point", *place, coloured(), **style, strokeDash=[2, 2]),
    ]


def disc(radius_px: float) -> float:
    """The size of a round point of a radius: its width squared."""
    return round(4 * radius_px**2, 2)


def ramp(share: float) -> str:
    """A colour between cool (0) and at the limit (1)."""
    share = min(max(share, 0.0), 1.0)
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in zip(COOL, WARM, strict=True))
