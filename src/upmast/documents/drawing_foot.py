"""The foot of the drawing: cabinet with plant, breakers and baseband; the route; the mast; and what is known of each run."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from upmast.documents.colour import share_text
from upmast.documents.drawing_content import HARDWARE_WORDS, Content, short
from upmast.documents.pen import Pen
from upmast.documents.scene import BOLD_CHARACTER
from upmast.line.line import Item

PLANT_W = 168.0
PLANT_H = 66.0
CELL_H = 31.0
PER_ROW = 8
MOST_NOTED = 6  # with more runs than this, their upright labels say enough
NOTES_W = 350.0
RUN_NOTE_H = 62.0
LABEL = 9.0
LEG_H = 13.0
LEGS_PER_COLUMN = 14
Node = Callable[[Item, float, float, float, float, list[tuple[str, float, bool]]], None]


@dataclass(frozen=True, slots=True)
class FootSize:
    """What the foot needs: the cabinet's size, and the size of the notes beside the mast."""

    width: float
    height: float
    cell_w: float
    breaker_rows: int
    passive_rows: int
    per_row: int
    notes_width: float
    notes_height: float


def foot_size(c: Content) -> FootSize:
    longest = max((len(i.id) for i in (*c.breakers, *c.passive)), default=6)
    cell_w = max(78.0, longest * 9 * BOLD_CHARACTER + 42)
    per_row = min(PER_ROW, max(3, math.ceil(math.sqrt(2 * max(len(c.breakers), len(c.passive), 1)))))
    breaker_rows = math.ceil(len(c.breakers) / per_row)
    passive_rows = math.ceil(len(c.passive) / per_row)
    blocks = [max(PLANT_H, breaker_rows * (CELL_H + 5)), max(PLANT_H * len(c.baseband), passive_rows * (CELL_H + 5))]
    height = 32 + sum(blocks) + 26
    columns = math.ceil(len(c.site.route.legs) / LEGS_PER_COLUMN)
    noted = len(c.runs) if len(c.runs) <= MOST_NOTED else 0
    rows = min(len(c.site.route.legs), LEGS_PER_COLUMN)
    return FootSize(
        24 + PLANT_W + 16 + per_row * (cell_w + 5) + 24, height, cell_w, breaker_rows, passive_rows, per_row,
        max(NOTES_W, columns * 250.0), noted * RUN_NOTE_H + 34 + rows * LEG_H,
    )  # fmt: skip


def draw_foot(
    pen: Pen, c: Content, size: FootSize, node: Node, *, left: float, right: float, top: float, ground: float,
    mast: tuple[float, float], exits: dict[str, float], places: list[float],
) -> None:  # fmt: skip
    """Draw everything between the boxes and the ground."""
    pen.of(layer="ground")
    pen.line((left - 12, ground), (right, ground), style="frame", width=1.6, paint="#16202b")
    for k in range(int((right - left) / 22)):
        x = left - 4 + k * 22
        pen.line((x + 7, ground), (x, ground + 7), style="thin", width=0.8)
    _mast(pen, c, mast, top, ground)
    _cabinet(pen, c, size, node, left, ground)
    _route(pen, c, (left + size.width, mast[0]), exits, ground)
    _notes(pen, c, size, mast[1] + 26, top, ground)


def _mast(pen: Pen, c: Content, mast: tuple[float, float], top: float, ground: float) -> None:
    """Two slender lattice legs beside the cables; a break line where the picture stops being to scale."""
    for edge, side in ((mast[0], 1), (mast[1], -1)):
        inner = edge + side * 9
        for x in (edge, inner):
            pen.line((x, ground), (x, top), style="steel", width=1.2)
        steps = max(2, int((ground - top) / 16))
        h = (ground - top) / steps
        for k in range(steps):
            a, b = (edge, inner) if k % 2 else (inner, edge)
            pen.line((a, ground - k * h), (b, ground - (k + 1) * h), style="steel", width=0.8)
    middle = (mast[0] + mast[1]) / 2
    w = (mast[1] - mast[0]) / 2 + 12
    zigzag = (
        (middle - w, top),
        (middle - 8, top),
        (middle - 4, top - 6),
        (middle + 4, top + 6),
        (middle + 8, top),
        (middle + w, top),
    )
    pen.line(*zigzag, style="thin", width=1.2)


def _cabinet(pen: Pen, c: Content, size: FootSize, node: Node, left: float, ground: float) -> None:
    cabinet, plant = c.site.cabinet, c.site.cabinet.plant
    y = ground - size.height
    pen.of(layer="ground").rect(
        left, y, size.width, size.height, paint="#fbfcfd", edge="#16202b", edge_width=1.6, round=3
    )
    pen.text(
        left + 12, y + 18, f"Cabinet · cable entry at {cabinet.height_m:g} m", 12, bold=True, width=size.width - 24
    )
    bar = left + size.width - 12
    first = y + 32
    second = first + max(PLANT_H, size.breaker_rows * (CELL_H + 5)) + 4
    start = left + 12 + PLANT_W
    cells = start + 16
    for row in range(max(1, size.breaker_rows)):
        pen.line(
            (start, first + CELL_H / 2 + row * (CELL_H + 5)), (bar, first + CELL_H / 2 + row * (CELL_H + 5)), width=1.4
        )
    for row in range(max(1, size.passive_rows)) if c.baseband else ():
        at = second + CELL_H / 2 + row * (CELL_H + 5)
        pen.line((start, at), (bar, at), width=1.4, dash="3 3")
    pen.line((bar, first + CELL_H / 2), (bar, ground - 14), width=1.4)
    for item in c.line.of_kind("plant"):
        lines = [
            (item.id, 12.0, True), (f"-48 V plant, {plant.float_v:g} V on mains", 8.5, False),
            (f"{plant.end_of_discharge_v:g} V at battery's end", 8.5, False),
            (f"{len(c.breakers)} of {plant.breaker_positions_count} positions", 8.5, False),
        ]  # fmt: skip
        node(item, left + 12, first, PLANT_W, PLANT_H - 4, lines)
    for k, item in enumerate(c.baseband):
        ports = len(item.equipment)
        lines = [(item.id, 12.0, True), ("baseband unit", 8.5, False), (f"{ports} optical ports in use", 8.5, False)]
        node(item, left + 12, second + k * PLANT_H, PLANT_W, PLANT_H - 8, lines)
    for group, at in ((c.breakers, first), (c.passive, second)):
        for k, item in enumerate(group):
            row, column = divmod(k, size.per_row)
            words = short(c.part(item), item.kind) if item.kind == "breaker" else _small(item)
            lines = [(item.id, 9.0, True), (words + c.suffix(item.id), 8.5, False)]
            node(item, cells + column * (size.cell_w + 5), at + row * (CELL_H + 5), size.cell_w, CELL_H, lines)


def _small(item: Item) -> str:
    return "fan-out" if item.kind == "fanout" else f"patch {item.length_m:g} m"


def _route(pen: Pen, c: Content, span: tuple[float, float], exits: dict[str, float], ground: float) -> None:
    """The horizontal legs as equal stretches with their numbers above; not to scale, and said so."""
    legs = [n for n, leg in enumerate(c.site.route.legs, 1) if leg.kind != "vertical"]
    x0, x1 = span[0] + 6, span[1] - 8
    above = min(exits.values(), default=ground - 16) - 12
    each = (x1 - x0) / max(1, len(legs))
    for k, n in enumerate(legs):
        a = x0 + k * each
        pen.of(layer="ground").line((a, above + 4), (a, ground), style="thin", width=0.8, dash="2 2")
        if each >= 24:
            pen.circle(a + each / 2, above - 5, 8, style="open", paint="#ffffff")
            pen.text(a + each / 2, above - 1.8, str(n), 9, anchor="middle", bold=True)
    pen.text((x0 + x1) / 2, ground + 20, "route: not to scale", 9, anchor="middle", style="quiet", width=x1 - x0)


def _notes(pen: Pen, c: Content, size: FootSize, x: float, top: float, ground: float) -> None:
    y = top + 14
    width = size.notes_width - 30
    if len(c.runs) <= MOST_NOTED:
        for run in c.runs:
            mark = c.mark(run.id)
            length = f" · {run.length_m:g} m" if run.length_m is not None else ""
            pen.of(run.id, c.title(run), "parts")
            pen.rect(x, y - 9, 5, RUN_NOTE_H - 10, paint=mark.colour)
            pen.text(x + 12, y, f"{run.id}{length} · {short(c.part(run), run.kind)}", 12, bold=True, width=width)
            state = mark.word if mark.share is None else f"{mark.word}, {share_text(mark.share)}"
            pen.text(x + 12, y + 14, f"± {run.tolerance_m:.2f} m · {state}", LABEL, width=width)
            pen.text(x + 12, y + 27, f"serves {', '.join(run.serves)}", LABEL, width=width)
            pen.text(
                x + 12, y + 40, ", ".join(f"{HARDWARE_WORDS[k]} {n}" for k, n in _counts(c, run.id)), LABEL, width=width
            )
            y += RUN_NOTE_H
    pen.of(layer="ground")
    legs = c.site.route.legs
    rows = min(len(legs), LEGS_PER_COLUMN)
    y = ground - 12 - rows * LEG_H
    total = sum(leg.length_m for leg in legs)
    heading = f"Route, {total:g} m and {c.site.route.slack_m:g} m of slack"
    pen.text(x, y, heading, 11, bold=True, width=width)
    for n, leg in enumerate(legs):
        column, row = divmod(n, LEGS_PER_COLUMN)
        text = f"{n + 1}: {leg.length_m:g} m ± {leg.tolerance_m:g} m, {leg.kind}, {leg.name}"
        pen.text(
            x + column * 250, y + (row + 1) * LEG_H, text, LABEL, width=240 if len(legs) > LEGS_PER_COLUMN else width
        )


def _counts(c: Content, id: str) -> list[tuple[str, int]]:
    counts: dict[str, int] = {}
    for item in c.hardware.get(id, []):
        counts[item.kind] = counts.get(item.kind, 0) + item.count
    return sorted(counts.items())
