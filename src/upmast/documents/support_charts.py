"""Charts of the support: wind over height, what of each clamp is used up, vortices against natural frequencies, the hoist with its grips."""

from __future__ import annotations

from typing import Any

import numpy as np

from upmast.documents.power_picture import (
    BAD,
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
    picture,
    points,
    texts,
    uprights,
)  # fmt: skip
from upmast.proof.cable_moves import Swings
from upmast.proof.mast_lines import ASSUMED_BOLTS, FRICTION_LONG, Hung, MastLines
from upmast.support.coat import RIME_COEFFICIENT
from upmast.support.state import Inputs
from upmast.support.vortex import STROUHAL_EN

MOST_HOLDS = 8
BAR_PX = 15
STEPS = 60
SECTION_PX = 210
ICE = "#d7e6f4"
HALF_PX, PROFILE_PX, HOIST_PX = 190, 260, 300


def height_spec(room: Inputs) -> dict[str, Any] | None:
    """Pressure over height, and beside it the line load on the thickest run, bare and iced; None without wind or run."""
    wind = room.wind
    runs = np.flatnonzero(room.run & (room.hanging_m > 0))
    if wind is None or not runs.size:
        return None
    n = int(runs[room.diameter_mm[runs].argmax()])
    top = float(np.max(room.high_m[runs]))
    z = np.linspace(0.0, top, STEPS)
    pressure = wind.pressure_pa(z)
    d = float(room.diameter_mm[n])
    bare = pressure * wind.coefficient(d, z) * d * 1e-3
    iced = None
    if room.ice is not None:
        b = float(room.ice.side_mm(d))
        cf = RIME_COEFFICIENT if room.ice.rime else wind.coefficient(b, z)
        iced = room.ice.wind_factor * pressure * cf * b * 1e-3
    y = Axis("y", "height above the foot, m", 0.0, top)
    most = float(max(bare.max(), 0.0 if iced is None else iced.max()))
    left = Axis(
        "x",
        "pressure, Pa" if not wind.gust else "pressure with its gust effect, Pa",
        0.0,
        1.1 * float(pressure.max()),
        ticks=5,
    )
    right = Axis("x", "load on a metre, N/m", 0.0, 1.15 * most, ticks=5)

    def rows(values: np.ndarray) -> list[Row]:
        return [{"z": round(float(h), 3), "v": round(float(v), 4)} for h, v in zip(z, values, strict=True)]

    order: Layer = {"order": {"field": "z", "type": "quantitative"}}
    place = ({**right.of("v"), **order}, y.of("z"))
    loads = [curve(rows(bare), *place, 0, INK)]
    words: list[Row] = [{"z": top * 0.97, "v": float(bare[-1]), "text": f"bare {bare[-1]:.1f}"}]
    if iced is not None and room.ice is not None:
        loads.append(curve(rows(iced), *place, 1, GOOD))
        words.append({"z": top * 0.90, "v": float(iced[-1]), "text": f"{room.ice.name} {iced[-1]:.1f}"})
    marks: list[Row] = [{"z": top * 0.97, "v": float(pressure[-1]), "text": f"{pressure[-1]:.0f} Pa"}]
    views = [
        {
            "width": HALF_PX, "height": PROFILE_PX,
            "layer": [curve(rows(pressure), {**left.of("v"), **order}, y.of("z"), 0, INK), *texts(marks, left.of("v"), y.of("z"), align="right", dx=-8)],
        },
        {"width": HALF_PX, "height": PROFILE_PX, "layer": [*loads, *texts(words, right.of("v"), y.of("z"), align="right", dx=-8)]},
    ]  # fmt: skip
    notes = [wind.words, f"load on {room.spans[n]}, {d:g} mm, one cable without row factor"]
    if room.ice is not None:
        notes.append(f"dashed: with ice {room.ice.name} and its reduced pressure, times {room.ice.wind_factor:g}")
    return picture(f"Wind over height at {room.site}", notes, hconcat=views)


def section_spec(room: Inputs) -> dict[str, Any] | None:
    """The section of the thickest run to scale, bare and with its ice, with mass and wind on a metre at its top; None without ice or run."""
    runs = np.flatnonzero(room.run & (room.hanging_m > 0))
    if room.ice is None or not runs.size:
        return None
    n = int(runs[room.diameter_mm[runs].argmax()])
    ice, d, z = room.ice, float(room.diameter_mm[n]), float(room.high_m[n])
    side, front = float(ice.side_mm(d)), float(ice.front_mm(d))
    reach = 0.62 * max(side, front)
    turn = np.linspace(0.0, 2 * np.pi, 2 * STEPS + 1)
    cable = (0.5 * d * np.cos(turn), 0.5 * d * np.sin(turn))
    if ice.rime:  # a vane that grows from the lee side of the cable towards the wind, which comes from the left
        back, half = 0.5 * d - side, 0.5 * front
        bow = np.linspace(-0.5 * np.pi, 0.5 * np.pi, STEPS)
        end = back + half
        shape = (
            np.concatenate([0.5 * d * np.cos(bow), end - half * np.cos(bow[::-1] * -1)]),
            np.concatenate([max(half, 0.5 * d) * np.sin(bow), half * np.sin(bow[::-1])]),
        )
        middle = 0.5 * (0.5 * d + back)
    else:
        shape, middle = (0.5 * side * np.cos(turn), 0.5 * side * np.sin(turn)), 0.0
    x = Axis("x", "mm", middle - reach, middle + reach, ticks=5)
    y = Axis("y", "mm", -reach, reach, ticks=5)
    order: Layer = {"order": {"field": "n", "type": "quantitative"}}

    def outline(points_mm: tuple[np.ndarray, np.ndarray], fill: str, edge: str) -> Layer:
        rows: list[Row] = [
            {"n": k, "x": round(float(a), 3), "y": round(float(b), 3)}
            for k, (a, b) in enumerate(zip(*points_mm, strict=True))
        ]
        return layer(
            rows,
            "line",
            {**x.of("x"), **order},
            y.of("y"),
            interpolate="linear-closed",
            fill=fill,
            stroke=edge,
            strokeWidth=1.2,
        )

    def view(words: str, layers: list[Layer]) -> dict[str, Any]:
        return {
            "width": SECTION_PX, "height": SECTION_PX, "title": {"text": words, "fontSize": 11, "fontWeight": "normal", "color": INK},
            "layer": layers,
        }  # fmt: skip

    own, iced_kg = float(room.mass_kg_per_m[n]), float(ice.kg_per_m(d))
    bare_words, iced_words = f"bare: {d:g} mm, {own:.2f} kg/m", f"{ice.name}: {side:.0f} mm, {own + iced_kg:.2f} kg/m"
    if room.wind is not None:
        pressure = float(room.wind.pressure_pa(z))
        cf = RIME_COEFFICIENT if ice.rime else float(room.wind.coefficient(side, z))
        bare_words += f", {pressure * float(room.wind.coefficient(d, z)) * d * 1e-3:.0f} N/m"
        iced_words += f", {ice.wind_factor * pressure * cf * side * 1e-3:.0f} N/m"
    notes = [f"{room.spans[n]}, {room.part[n]}; to scale; {ice.words}"]
    if room.wind is not None:
        notes.append(
            f"wind on one cable at {z:g} m, without row factor; with ice at {ice.wind_factor:g} of the pressure"
        )
    if ice.rime:
        notes.append(
            "the icing wind comes from the left, the wind that loads it from the side: it meets the larger width"
        )
    return picture(
        f"The section of {room.spans[n]}, bare and iced", notes,
        hconcat=[view(bare_words, [outline(cable, PALE, INK)]), view(iced_words, [outline(shape, ICE, GOOD), outline(cable, PALE, INK)])],
    )  # fmt: skip


FRICTION_PICTURE = f"{FRICTION_LONG}, the largest that crushes no cable, is a hint and no limit"


def use_spec(found: MastLines) -> dict[str, Any] | None:
    """Bars: real spacing as a share of the largest by slip, side load, friction and rule, of each kind of cable; None without clamps."""
    if not found.holds:
        return None
    some = sorted(found.holds, key=lambda h: -max(h.shares.values()))[:MOST_HOLDS]
    colours = {"slip": INK, "side load": GOOD, FRICTION_LONG: BAD, "rule": PALE}
    rows: list[Row] = []
    for h in some:
        name = f"{h.cables[0]}{f', x{len(h.cables)}' if len(h.cables) > 1 else ''}"
        for cause, share in h.shares.items():
            rows.append(
                {
                    "row": f"{name}: {cause}",
                    "from": 0.0,
                    "to": round(100 * share, 2),
                    "colour": colours[cause],
                    "text": f"({100 * share:.0f} %)" if cause == "slip" and not h.tested else f"{100 * share:.0f} %",
                }
            )
    high = max(110.0, 1.15 * max(float(str(r["to"])) for r in rows))
    x = Axis("x", "real spacing, % of the largest allowed", 0.0, high, ticks=6)
    y: Layer = {
        "y": {
            "field": "row", "type": "nominal", "title": None, "sort": [r["row"] for r in rows], "scale": {"paddingInner": 0.25},
            "axis": {"labelLimit": 240},
        }
    }  # fmt: skip
    height = BAR_PX * len(rows)
    return picture(
        "What of each clamp is used up",
        [
            "beyond 100 % it slips, is pushed off sideways, or leaves the rule of its data sheet",
            *((FRICTION_PICTURE,) if any(h.friction_m is not None for h in some) else ()),
            "the real number of spans counts: the clamp beside the middle one of two spans bears 1.25 of its share",
            *(() if all(h.tested for h in some) else (f"slip {ASSUMED_BOLTS}",)),
        ],
        height=height,
        layer=[
            layer(rows, "bar", y, x.of("from"), {"x2": {"field": "to"}}, coloured(), stroke=INK, strokeWidth=0.4),
            layer([{"at": 100.0}], "rule", x.of("at"), color=LIMIT, strokeWidth=1.5),
            *texts(rows, y, x.of("to"), align="left", dx=4, fontSize=10),
        ],
    )  # fmt: skip


def vortex_spec(one: Swings) -> dict[str, Any] | None:
    """Frequency of the vortices over wind speed against the band of the natural frequency; None where it is not known."""
    if one.frequency_hz is None or one.winds_m_per_s is None or one.stiffness_nm2 is None:
        return None
    low, high = one.frequency_hz
    first, last = one.winds_m_per_s
    top = 1.4 * high
    speed = top * one.diameter_mm * 1e-3 / STROUHAL_EN
    x = Axis("x", "wind, m/s", 0.0, speed)
    y = Axis("y", "frequency, Hz", 0.0, top)
    line: list[Row] = [{"v": 0.0, "f": 0.0}, {"v": round(speed, 4), "f": round(top, 4)}]
    band: list[Row] = [{"v": 0.0, "to": speed, "f": low, "up": high}]
    box = (x.of("v"), {"x2": {"field": "to"}}, y.of("f"), {"y2": {"field": "up"}})
    height = 240
    return picture(
        f"Vortices behind {one.cables[0]}, {one.part}, clamped every {one.spacing_m:.2f} m",
        [
            f"grey: first natural frequency {low:.1f} to {high:.1f} Hz, bending stiffness {one.stiffness_nm2[0]:.3g} to {one.stiffness_nm2[1]:.3g} N·m² by {one.basis}",
            f"it may lock in between the dashed lines, {first:.1f} to {last:.1f} m/s (0.8 to 1.25 of where they meet); {one.words}",
            *((one.ends_words,) if one.ends_words else ()),
        ],
        height=height,
        layer=[
            layer(band, "rect", *box, color="#dfe4ea", opacity=1),
            curve(line, x.of("v"), y.of("f"), 0, INK),
            *uprights([(first, f"{first:.1f} m/s", LIMIT), (min(last, speed), f"{last:.1f} m/s", LIMIT)], x),
            *key([(f"vortices, St {STROUHAL_EN:g}", 0, INK)], [], height + BELOW_PX),
        ],
    )  # fmt: skip


def hoist_spec(one: Hung, mast_m: float) -> dict[str, Any]:
    """The run as it hangs beside the whole mast, its grips at their heights with load and rating, and the pull at the top."""
    top = max(one.heights_m)
    y = Axis("y", "height above the foot, m", 0.0, max(top * 1.12, mast_m) + 1)
    x: Layer = {"x": {"field": "x", "type": "quantitative", "scale": {"domain": [0, 10]}, "axis": None}}
    to: Layer = {"x2": {"field": "to"}}
    up: Layer = {"y2": {"field": "up"}}
    mast: list[Row] = [{"x": 2.0, "to": 2.35, "z": 0.0, "up": round(max(mast_m, top), 3)}]
    cable: list[Row] = [{"x": 3.0, "z": 0.0, "up": top}]
    grips: list[Row] = [{"x": 3.0, "z": round(h, 3)} for h in one.heights_m]
    words: list[Row] = [
        {"x": 3.4, "z": round(h, 3), "text": f"grip {n}, {h:.1f} m: {one.load_n:.0f} of {one.rated_n:.0f} N"}
        for n, h in enumerate(one.heights_m, 1)
    ]
    words.append(
        {"x": 3.4, "z": round(top * 1.07 + 0.4, 3), "text": f"pull at the top by one point, moving: {one.top_n:.0f} N"}
    )
    return picture(
        f"{one.cable} while it is hoisted and after",
        [f"{len(one.heights_m)} x {one.part}, item {one.item}; each carries the cable down to the next", "a lifting plan and rated gear are needed; nobody stands under the load"],
        height=HOIST_PX,
        layer=[
            layer(mast, "rect", x, to, y.of("z"), up, color="#c8ced6", opacity=1),
            layer(cable, "rule", x, y.of("z"), up, color=INK, strokeWidth=4),
            points(grips, x, y.of("z"), "diamond", GOOD, 140),
            *texts(words, x, y.of("z")),
        ],
    )  # fmt: skip


__all__ = ["height_spec", "hoist_spec", "section_spec", "use_spec", "vortex_spec"]
