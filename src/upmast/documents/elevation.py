"""The strip at the left of the drawing: the mast to scale, with a scale of height and what sits at each level."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from upmast.documents.drawing_content import UNMARKED, Content
from upmast.documents.pen import Pen
from upmast.line.line import Item

STRIP = 300.0
AXIS_X = 74.0
MAST_X = 140.0
LABEL_X = 190.0
GAP = 12.5
MOST_RUNS = 24
SHOWN = {"antenna": "antennas", "radio": "radios", "box": "boxes", "bond": "bonds", "trunk": "trunks"}


def nice_step(span: float, most: int) -> float:
    """The smallest of 1, 2, 5 times a power of ten that divides a span into at most so many parts."""
    step = 1.0
    for n in range(20):
        step = (1.0, 2.0, 5.0)[n % 3] * 10 ** (n // 3)
        if span / step <= most:
            break
    return step


def spread(wanted: list[float], gap: float, top: float, bottom: float) -> list[float]:
    """Places as near as can be to the wanted ones (in rising order), at least `gap` apart and between top and bottom."""
    out: list[float] = []
    for y in wanted:
        out.append(max(y, out[-1] + gap if out else top))
    limit = bottom
    for n in range(len(out) - 1, -1, -1):
        out[n] = min(out[n], limit)
        limit = out[n] - gap
    return out


def draw_elevation(pen: Pen, c: Content, top: float, ground: float) -> None:
    """Draw the strip between two heights on the sheet."""
    mast = c.site.mast
    highest = max([mast.height_m, *(i.high_m for i in c.line.of_kind("antenna", "radio"))])
    lowest = min(0.0, c.site.cabinet.height_m)
    scale = (ground - top) / (highest - lowest)

    def y(height: float) -> float:
        return ground - (height - lowest) * scale

    pen.of(layer="elevation")
    pen.text(AXIS_X - 48, top - 32, "Elevation, to scale", 12, bold=True)
    pen.text(AXIS_X - 48, top - 17, "metres above the foot of the mast", 9, style="quiet")
    pen.line((AXIS_X, y(lowest)), (AXIS_X, y(highest)), style="frame", width=1.2, paint="#16202b")
    step = nice_step(highest - lowest, 14)
    tick = -int(-lowest // step) * step if lowest < 0 else 0.0
    while tick <= highest + 1e-9:
        pen.line((AXIS_X - 6, y(tick)), (AXIS_X, y(tick)), style="frame", width=1.2, paint="#16202b")
        pen.text(AXIS_X - 10, y(tick) + 3.5, f"{tick:g}", 10, anchor="end")
        tick += step
    _structure(pen, c, y)
    _equipment(pen, c, y)
    _levels(pen, c, y, top, ground)


def _structure(pen: Pen, c: Content, at: Callable[[float], float]) -> None:
    mast = c.site.mast
    foot, head = at(0.0), at(mast.height_m)
    if mast.kind in ("roof", "wall"):
        pen.rect(MAST_X - 26, head, 52, foot - head, style="solid", paint="#e4e8ed", edge="#9aa5b1")
        return
    wide, narrow = (22.0, 7.0) if mast.kind == "lattice" else (7.0, 4.0)
    for side in (-1, 1):
        pen.line((MAST_X + side * wide, foot), (MAST_X + side * narrow, head), style="steel", width=1.6)
    if mast.kind == "lattice":
        steps = max(6, int((foot - head) / 34))
        for k in range(steps):
            a, b = k / steps, (k + 1) / steps
            wa, wb = wide + (narrow - wide) * a, wide + (narrow - wide) * b
            ya, yb = foot + (head - foot) * a, foot + (head - foot) * b
            pen.line((MAST_X - wa, ya), (MAST_X + wb, yb), style="steel", width=0.8)
            pen.line((MAST_X + wa, ya), (MAST_X - wb, yb), style="steel", width=0.8)
    if mast.kind == "guyed":
        for share in (0.5, 0.95):
            for side in (-1, 1):
                pen.line((MAST_X, foot + (head - foot) * share), (MAST_X + side * 44, foot), style="steel", width=0.8)


def _equipment(pen: Pen, c: Content, at: Callable[[float], float]) -> None:
    order = {s.id: n for n, s in enumerate(c.site.sectors)}
    for item in c.line.of_kind("antenna"):
        x = MAST_X - 18 - 8 * (order.get(item.sector, 0) % 3)
        _block(pen, c, item, x, at(item.high_m), 6, max(4.0, at(item.low_m) - at(item.high_m)))
    for item in c.line.of_kind("radio"):
        x = MAST_X + 14 + 8 * (order.get(item.sector, 0) % 3)
        _block(pen, c, item, x, at(item.high_m), 6, max(5.0, at(item.low_m) - at(item.high_m)))
    for k, item in enumerate(c.runs[:MOST_RUNS]):
        mark = c.marks.get(item.id, UNMARKED)
        step = min(4.0, 24.0 / len(c.runs))
        x = MAST_X + (k - (min(len(c.runs), MOST_RUNS) - 1) / 2) * step
        pen.of(item.id, c.title(item), "elevation")
        pen.cable((x, at(max(item.low_m, 0.0))), (x, at(item.high_m)), paint=mark.colour, width=min(2.2, step * 0.6))
    for item in c.boxes:
        _block(pen, c, item, MAST_X - 9, at(item.high_m), 18, max(8.0, at(item.low_m) - at(item.high_m)))
    pen.of(layer="elevation")
    entry = at(c.site.cabinet.height_m)
    pen.rect(AXIS_X + 8, entry - 20, 20, 20, style="body", paint="#ffffff", edge="#16202b", edge_width=1.2)


def _block(pen: Pen, c: Content, item: Item, x: float, y: float, w: float, h: float) -> None:
    mark = c.marks.get(item.id, UNMARKED)
    pen.of(item.id, c.title(item), "elevation").rect(x, y, w, h, paint=mark.colour, edge="#16202b", edge_width=0.8)


def _levels(pen: Pen, c: Content, at: Callable[[float], float], top: float, ground: float) -> None:
    """One label for everything of one kind at one height, with a thin line to its height."""
    levels: dict[tuple[float, str], list[str]] = {}
    for item in c.line.items:
        if item.kind in ("antenna", "radio", "box") or (item.kind == "bond" and item.on in {r.id for r in c.runs}):
            levels.setdefault((item.low_m, item.kind), []).append(item.id)
    rows = [(height, _words(kind, ids)) for (height, kind), ids in levels.items()]
    rows += [(c.site.mast.height_m, "top of mast"), (c.site.cabinet.height_m, "cable entry")]
    rows.sort(key=lambda row: (-row[0], row[1]))
    most = int((ground - top) / GAP)
    rows = rows[:most]
    places = spread([at(height) for height, _ in rows], GAP, top, ground)
    pen.of(layer="elevation")
    for (height, words), place in zip(rows, places, strict=True):
        pen.line((MAST_X + 40, at(height)), (LABEL_X - 3, place), style="thin", width=0.7)
        pen.text(LABEL_X, place + 3, f"{height:g} m {words}", 9, width=STRIP - LABEL_X + 2)


def _words(kind: str, ids: Iterable[str]) -> str:
    listed = list(ids)
    text = " ".join(listed)
    return text if len(text) <= 12 else f"{len(listed)} {SHOWN[kind]}"


__all__ = ["STRIP", "draw_elevation", "nice_step", "spread"]
