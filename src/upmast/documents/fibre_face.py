"""The end face of a fibre connector: positions by number as they are seen with the key on top, and what each carries."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from upmast.documents.fibre_map import PLAIN, _paint
from upmast.documents.pen import Pen
from upmast.documents.port_map import colours_of
from upmast.documents.scene import CHARACTER, Scene
from upmast.fibre.graph import follow_light
from upmast.fibre.position import Keys, array_mate
from upmast.line.light import lit
from upmast.line.line import Line
from upmast.line.optical import optical
from upmast.site.site import Site

STEP, RADIUS, MARGIN, BELOW = 46.0, 13.0, 60.0, 34.0
SIZE = 9.5
SIZES = (2, 12, 24)


def connector_face(
    positions: int, used: Mapping[int, str], title: str = "", keys: str = "", paints: Mapping[int, str] | None = None
) -> Scene:
    """
    An end face, and below it the face that it meets, seen through this one.

    Parameters
    ----------
    positions: 2, 12 or 24. used: what each used position carries; the others are drawn open. keys: opposed or aligned for an array;
    empty leaves the facing one out. paints: colour of the rim by position.

    Raises
    ------
    ValueError
        If there is no such connector, or a position that it hasn't.

    Source: position 1 top left with the key on top, 13 below it: common practice, no source; the mirror is geometry.
    """
    if positions not in SIZES:
        raise ValueError(f"{positions} positions: faces of {', '.join(map(str, SIZES))} can be drawn")
    if any(not 1 <= at <= positions for at in used):
        raise ValueError(f"positions count from 1 to {positions}")
    columns = 2 if positions == 2 else 12
    rows = positions // columns
    pen = Pen()
    width = 2 * MARGIN + STEP * columns
    width = max(width, 360.0)
    left = (width - STEP * (columns - 1)) / 2
    pen.text(16, 28, title or f"Face of {positions} positions", 14, bold=True, width=width - 32)
    pen.text(16, 46, "seen looking at the end face, key on top", 10, style="quiet")
    room = BELOW + max((len(text) for text in used.values()), default=0) * SIZE * CHARACTER
    top = 60 + (room if rows == 2 or positions == 2 else 0)
    bottom = _ferrule(pen, left, top, columns, rows, key_up=True, plain=positions == 2)
    for at in range(1, positions + 1):
        column, row = (at - 1) % columns, (at - 1) // columns
        x, y = left + STEP * column, top + 34 + STEP * row
        name = "AB"[column] if positions == 2 else str(at)
        _hole(pen, x, y, name, at in used, (paints or {}).get(at, ""))
        if at in used:
            upper = (rows == 2 and row == 0) or positions == 2
            y_text = top - 18 if upper else bottom + 14
            pen.text(x + 3.5, y_text if upper else y_text + len(used[at]) * SIZE * CHARACTER, used[at], SIZE, turn=-90)
    height = bottom + (room if positions > 2 else 20)
    if keys and positions > 2:
        height = _facing(pen, left, height, columns, rows, positions, cast(Keys, keys))
    told = f"{title or 'end face'}: {len(used)} of {positions} positions used"
    return Scene(width, height, title or f"Face of {positions} positions", told, tuple(pen.shapes))


def _ferrule(pen: Pen, left: float, top: float, columns: int, rows: int, key_up: bool, plain: bool = False) -> float:
    """The body with its key; the height of its lower edge."""
    height = 68 + STEP * (rows - 1)
    width = STEP * (columns - 1)
    if plain:  # a duplex pair of round ferrules, each in a body of its own
        for n in range(columns):
            pen.rect(
                left + STEP * n - 20,
                top + 12,
                40,
                44,
                style="body",
                paint="#ffffff",
                edge="#16202b",
                edge_width=1.2,
                round=4,
            )
        pen.rect(left - 6, top + 2, width + 12, 10, paint="#16202b", edge="#16202b")
    else:
        pen.rect(
            left - 34, top, width + 68, height, style="body", paint="#ffffff", edge="#16202b", edge_width=1.4, round=8
        )
        middle = left + width / 2
        pen.rect(middle - 28, top - 9 if key_up else top + height, 56, 9, paint="#16202b", edge="#16202b")
    return top + height


def _hole(pen: Pen, x: float, y: float, name: str, used: bool, paint: str) -> None:
    if used:
        pen.circle(x, y, RADIUS + 2, paint="#16202b")
        pen.circle(x, y, RADIUS, paint=paint or "#ffffff")
        pen.circle(x, y, RADIUS - 4.5, paint="#ffffff")
    else:
        pen.circle(x, y, RADIUS, style="open")
    pen.text(x, y + 3.5, name, SIZE, anchor="middle", bold=used)


def _facing(pen: Pen, left: float, top: float, columns: int, rows: int, positions: int, keys: Keys) -> float:
    """The connector that it meets: at each place the number of its own position that stands there."""
    pen.text(16, top + 8, f"what it meets, seen through it: keys {keys}", 11, bold=True)
    y0 = top + 34
    bottom = _ferrule(pen, left, y0, columns, rows, key_up=keys == "aligned")
    for at, faces in enumerate(array_mate(keys, positions).tolist(), 1):
        x, y = left + STEP * ((at - 1) % columns), y0 + 34 + STEP * ((at - 1) // columns)
        pen.circle(x, y, RADIUS, style="open")
        pen.text(x, y + 3.5, str(faces), SIZE, anchor="middle")
    pen.text(16, bottom + 28, "position n above meets the number that stands in its place below", 10, style="quiet")
    return bottom + 44


def face_of(line: Line, end: str, site: Site | None = None) -> Scene | None:
    """The face of one port of a line, with the link and lane on each position; None where it has no such face."""
    graph = optical(line)
    size = line.port(end).positions
    if size not in SIZES or end not in graph.first:
        return None
    table, _ = colours_of(site) if site is not None else (None, "")
    carried = _carried(line)
    used: dict[int, str] = {}
    paints: dict[int, str] = {}
    for at in range(1, size + 1):
        node = graph.node(end, at)
        if node in carried:
            used[at] = carried[node]
            strand = int(graph.strand[node])
            paints[at] = _paint(f"X-F{strand}", table)[0] if strand else PLAIN
    joints = line.joined.get(end, ())
    keys = joints[0][1].keys if joints else ""
    met = f", into {joints[0][0]}" if joints else ", joined to nothing"
    return connector_face(size, used, f"{end}{met}", keys if size > 2 else "", paints)


def _carried(line: Line) -> dict[int, str]:
    """Link and lane by node."""
    graph, found = optical(line), lit(line)
    out: dict[int, str] = {}
    for row in range(len(found.sender)):
        link = found.links[row // 2]
        single = line.port(link.a).positions == 1
        for node in found.nodes[:, row]:
            if node >= 0:
                out[int(node)] = link.id if single else f"{link.id} {'AB'[row % 2]}"
    for link in line.links:
        if link.state == "service":
            continue
        for at in range(1, line.port(link.a).positions + 1):
            light = follow_light(graph.mate, graph.through, [graph.node(link.a, at)], inward=True)
            for node in light.nodes[light.nodes >= 0].tolist():
                out.setdefault(node, f"{link.id} dark")
    return out


__all__ = ["connector_face", "face_of"]
