"""The end-to-end map of the fibres of a line: one line a fibre, from the cabinet's ports to those of the radios."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.documents.pen import Pen
from upmast.documents.port_map import _colour as strand_colour
from upmast.documents.port_map import _passed, colours_of
from upmast.documents.scene import Scene, Text, fitted
from upmast.fibre.colour import Colour, strand_colours
from upmast.fibre.graph import follow_light
from upmast.line.light import Lit, lit, receiver_position
from upmast.line.line import Line, Link
from upmast.line.optical import Optical, optical
from upmast.site.site import Site

PAINTS = {
    "blue": "#1f5fbf", "orange": "#f08a24", "green": "#2e8b45", "brown": "#7a4a21", "slate": "#8a94a0", "white": "#ffffff",
    "red": "#cc2a2a", "black": "#30343a", "yellow": "#f2d02c", "violet": "#7d4fb0", "rose": "#f2a5b5", "aqua": "#5cc8d7",
}  # fmt: skip
PLAIN, WRONG, DARK = "#c4ccd4", "#b3261e", "#7a8591"
COLUMNS = (("patch", 318.0, 150.0), ("trunk", 530.0, 190.0), ("box", 738.0, 130.0), ("jumper", 900.0, 110.0))
HEADS = {"patch": "patch, fan-out", "trunk": "strand of the run", "box": "box port", "jumper": "jumper"}
LINK_X, LEFT_X, RIGHT_X, FAULT_X, WIDTH, WIDE = 16.0, 218.0, 1010.0, 1150.0, 1170.0, 1430.0
TOP, ROW, GAP = 84.0, 17.0, 7.0
SIZE = 9.5
MOST_KEPT = 100  # rows above which the kept pairs are told as one
TUBE = 12


@dataclass(frozen=True, slots=True)
class _Place:
    """Heights of the two ends of the lanes of a link."""

    link: int
    lanes: tuple[float, ...]


def fibre_map(line: Line, site: Site | None = None) -> Scene | None:
    """
    The map of all links in service and of the kept pairs; None where there are none.

    Wrong light is drawn red, dashed and with a diamond, and told in words; light that gets lost ends in an open diamond.
    """
    found, graph = lit(line), optical(line)
    kept = [link for link in line.links if link.state != "service"]
    if not found.links and not kept:
        return None
    table, words = colours_of(site) if site is not None else (None, "TIA-598")
    pen = Pen()
    y = TOP
    places: list[_Place] = []
    for n, link in enumerate(found.links):
        single = line.port(link.a).positions == 1 or line.port(link.b).positions == 1
        # two directions on one strand are one line while both are right: wrong ones part and need a row each
        lanes = (y,) if single and found.right[2 * n : 2 * n + 2].all() else (y, y + ROW)
        places.append(_Place(n, lanes))
        y = lanes[-1] + ROW + GAP
    left, right = _ends(line, graph, found, places)
    faults = 0
    for place in places:
        faults += _link(pen, line, graph, found, place, left, right, table)
    y = _kept(pen, line, graph, kept, y, len(found.links), table)
    words_end = [s.box[2] + LINK_X for s in pen.shapes if isinstance(s, Text) and s.x == FAULT_X]
    width = max(WIDE, *words_end) if faults else WIDTH
    _heads(pen, y, width)
    notes = [
        f"Colours of strands by {words}, counted at the trunk's foot. The arrow shows where light goes; A: the cabinet sends, B: the radio sends.",
        "Diamond, red and dashed: light on a wrong port. Open diamond: light that gets lost. Bar: a dark end under its cap.",
    ]
    for k, note in enumerate(notes):
        pen.of().text(LINK_X, y + 24 + 15 * k, note, 10, style="quiet")
    title = f"Every fibre from end to end, {line.site}, line revision {line.revision}"
    told = (
        f"{len(found.links)} links, {faults} directions wrong"
        if faults
        else f"{len(found.links)} links, all light on its port"
    )
    pen.of().text(LINK_X, 30, title, 16, bold=True)
    pen.of().text(LINK_X, 50, f"{told}; {len(kept)} kept pairs", 11, style="stamp" if faults else "quiet")
    return Scene(width, y + 60, title, f"{told}. One line a fibre, in rows by link.", tuple(pen.shapes))


def _ends(
    line: Line, graph: Optical, found: Lit, places: list[_Place]
) -> tuple[dict[int, tuple[float, str]], dict[int, tuple[float, str]]]:
    """Heights and names of the nodes at the cabinet and at the radios."""
    left: dict[int, tuple[float, str]] = {}
    right: dict[int, tuple[float, str]] = {}
    for place in places:
        link = found.links[place.link]
        up, down = place.lanes[0], place.lanes[-1]
        for ends, end, sends, receives in ((left, link.a, up, down), (right, link.b, down, up)):
            ends[graph.node(end, receiver_position(line, end))] = (receives, end)
            ends[graph.node(end, 1)] = (sends, end)
    return left, right


def _link(
    pen: Pen, line: Line, graph: Optical, found: Lit, place: _Place, left: dict[int, tuple[float, str]],
    right: dict[int, tuple[float, str]], table: tuple[Colour, ...] | None,
) -> int:  # fmt: skip
    """The lanes of one link; how many directions are wrong."""
    link = found.links[place.link]
    pen.of(link.id, f"{link.id}: {link.a} to {link.b}", "main")
    middle = sum(place.lanes) / len(place.lanes)
    pen.text(LINK_X, middle + 4, link.id, 11, bold=True, width=98)
    pen.text(LEFT_X - 8, middle + 4, link.a, SIZE, anchor="end", width=100)
    pen.text(RIGHT_X + 22, middle + 4, link.b, SIZE, bold=True, width=FAULT_X - RIGHT_X - 26)
    wrong = 0
    single = len(place.lanes) == 1
    for side in (0, 1):
        row = 2 * place.link + side
        nodes = [int(x) for x in found.nodes[:, row] if x >= 0]
        reached = int(found.reached[row])
        right_way = reached == int(found.meant[row])
        wrong += not right_way
        y = place.lanes[min(side, len(place.lanes) - 1)]
        passed = _passed(line, graph, nodes[1:])
        trunk = next((name for kind, name in passed if kind == "trunk"), "")
        paint, tracer = _paint(trunk, table)
        start, end = (LEFT_X, RIGHT_X) if side == 0 else (RIGHT_X, LEFT_X)
        if right_way:
            if single and side == 1:
                _arrow(pen, end, y, -1)
                continue
            pen.cable((LEFT_X, y), (RIGHT_X, y), paint=paint, width=4.0)
            if tracer:
                pen.line((LEFT_X, y), (RIGHT_X, y), style="core", width=1.4, paint=tracer, dash="10 6")
            _arrow(pen, end, y, 1 if side == 0 else -1)
        else:
            _astray(pen, line, graph, nodes, reached, y, start, end, link, side, left, right)
        _labels(pen, line, passed, y, table)
        pen.text(LEFT_X + 14, y - 4, "A, B" if single else "AB"[side], 8, style="quiet")
    return wrong


def _astray(
    pen: Pen, line: Line, graph: Optical, nodes: list[int], reached: int, y: float, start: float, end: float, link: Link,
    side: int, left: dict[int, tuple[float, str]], right: dict[int, tuple[float, str]],
) -> None:  # fmt: skip
    """Light that does not end where it should: to where it ends, or to where it gets lost."""
    near = end - 60 if side == 0 else end + 60
    meant = link.b if side == 0 else link.a
    if reached < 0:
        kinds = [kind for kind, _ in _passed(line, graph, nodes[1:])]
        column = next(
            (
                x + (width / 2 + 8 if side == 0 else -width / 2 - 8)
                for k, x, width in COLUMNS
                if kinds and k == kinds[-1]
            ),
            None,
        )
        stop = column if column is not None else start + (40 if side == 0 else -40)
        pen.line((start, y), (stop, y), style="core", width=3, paint=WRONG, dash="7 4")
        pen.symbol("open-diamond", stop, y, 6)
        pen.text(FAULT_X, y + 4, f"lost at {graph.name(nodes[-1])}", SIZE, style="stamp", bold=True)
        return
    at = {**left, **right}.get(reached)
    same = (reached in right) == (side == 0)  # it ends on the side on which it should
    target = at[0] if at is not None else y
    if same:
        pen.line((start, y), (near, y), (end, target), style="core", width=3, paint=WRONG, dash="7 4")
    else:
        # it comes back to the side from which it was sent
        turn = near
        pen.line((start, y), (turn, y), (turn, target), style="core", width=3, paint=WRONG, dash="7 4")
    mark = end if same else near
    pen.symbol("diamond", mark, target, 6)
    words = f"ends at {graph.name(reached)}, meant for {meant}"
    lanes = graph.name(reached) == meant
    words = f"meets a sender at {meant}" if lanes else words
    pen.text(FAULT_X, y + 4, f"{'AB'[side]} {words}", SIZE, style="stamp", bold=True)


def _labels(pen: Pen, line: Line, passed: list[tuple[str, str]], y: float, table: tuple[Colour, ...] | None) -> None:
    """What a fibre passes, on a white ground in the middle of its line."""
    for kind, x, width in COLUMNS:
        names = [name for k, name in passed if k == kind]
        if not names:
            continue
        text = ", ".join(names)
        if kind == "trunk":
            text = f"{names[0]} {strand_colour(line, names[0], table).replace('tube ', '').replace(', strand ', '/')}"
        text = fitted(text, width, SIZE)
        half = len(text) * SIZE * 0.56 / 2 + 5
        pen.rect(x - half, y - 6, 2 * half, 12, style="body", paint="#ffffff", edge="#16202b", edge_width=0.5, round=3)
        pen.text(x, y + 3.4, text, SIZE, anchor="middle")


def _arrow(pen: Pen, x: float, y: float, way: int) -> None:
    """A small head at the end that receives."""
    pen.line((x - 7 * way, y - 5), (x + 2 * way, y), (x - 7 * way, y + 5), style="casing", width=2.0, paint="#16202b")


def _paint(strand: str, table: tuple[Colour, ...] | None) -> tuple[str, str]:
    """Paint of a strand and of its tracer; plain where there is no trunk or no such colour."""
    number = strand.rpartition("-F")[2]
    if not number.isdigit():
        return PLAIN, ""
    try:
        _, one = strand_colours(int(number), table=table)
    except ValueError:
        return PLAIN, ""
    return PAINTS.get(one.name.lower(), PLAIN), PAINTS.get(one.tracer.lower(), "") if one.tracer else ""


def _kept(
    pen: Pen, line: Line, graph: Optical, kept: list[Link], y: float, links: int, table: tuple[Colour, ...] | None
) -> float:
    """Pairs that stay dark: thin and dashed, between their caps; the height below them."""
    if not kept:
        return y
    y += GAP
    if 2 * links + len(kept) > MOST_KEPT:
        pen.of().text(
            LINK_X, y + 4, f"and {len(kept)} kept pairs, dark and capped: see the port map", 11, style="quiet"
        )
        return y + ROW + GAP
    for link in kept:
        pen.of(link.id, f"{link.id}: {link.a} to {link.b}, {link.state}, dark", "main")
        at = [graph.node(link.a, position) for position in range(1, line.port(link.a).positions + 1)]
        light = follow_light(graph.mate, graph.through, at, inward=True)
        passed = [_passed(line, graph, column[column >= 0].tolist()) for column in light.nodes.T]
        names = [name for one in passed for kind, name in one if kind == "trunk"]
        ends = [x + width / 2 + 8 for k, x, width in COLUMNS for kind, _ in passed[0] if kind == k]
        stop = max(ends, default=RIGHT_X)
        pen.text(LINK_X, y + 4, link.id, 11, width=98)
        pen.text(LEFT_X - 8, y + 4, link.a, SIZE, anchor="end", width=100, style="quiet")
        pen.line((LEFT_X, y), (stop, y), style="thin", width=1.2, paint=DARK, dash="3 4")
        for x in (LEFT_X, stop):
            pen.line((x, y - 5), (x, y + 5), style="casing", width=2.4, paint="#16202b")
        if names:
            _tag(pen, COLUMNS[1][1], y, _strands(names))
        for kind, name in passed[0]:
            if kind == "box":
                _tag(pen, COLUMNS[2][1], y, name)
        what = f"{link.state} of {link.radio}" if link.radio else link.state
        pen.text(RIGHT_X + 22, y + 4, f"{what}, dark", SIZE, style="quiet", width=FAULT_X - RIGHT_X - 26)
        y += ROW
    return y + GAP


def _strands(names: list[str]) -> str:
    """Strands of a pair as they are, which need not follow each other: `T1-F03, F04`."""
    cable = names[0].rpartition("-F")[0]
    return ", ".join([names[0], *(name.removeprefix(f"{cable}-") for name in names[1:])])


def _tag(pen: Pen, x: float, y: float, text: str) -> None:
    """Words on a dark pair."""
    half = len(text) * SIZE * 0.56 / 2 + 5
    pen.rect(x - half, y - 6, 2 * half, 12, style="body", paint="#ffffff", edge=DARK, edge_width=0.5, round=3)
    pen.text(x, y + 3.4, text, SIZE, anchor="middle", style="quiet")


def _heads(pen: Pen, bottom: float, width: float) -> None:
    pen.of(layer="main")
    pen.line((LINK_X, TOP - 14), (width - 16, TOP - 14), style="thin", width=1)
    for x, words in ((LINK_X, "link"), (RIGHT_X + 22, "radio port")):
        pen.text(x, TOP - 20, words, 10, bold=True)
    pen.text(LEFT_X - 8, TOP - 20, "cabinet port", 10, anchor="end", bold=True)
    if width > WIDTH:
        pen.text(FAULT_X, TOP - 20, "what is wrong", 10, bold=True, style="stamp")
    for kind, x, _ in COLUMNS:
        pen.text(x, TOP - 20, HEADS[kind], 10, anchor="middle", bold=True)
    pen.line((LINK_X, bottom + 6), (width - 16, bottom + 6), style="thin", width=1)


__all__ = ["fibre_map"]
