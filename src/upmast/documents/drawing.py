"""
The picture of a line as it stands: cabinet at the foot, antennas at the top, every part with its id and its margin as a colour.

The layout is computed: bands from top to bottom whose heights follow from what they hold, columns whose widths follow from the
number of cables. The sheet keeps the proportion of ISO 216 and grows with its content, so that labels never run into another.
"""

from __future__ import annotations

import math

from upmast.documents.colour import share_text
from upmast.documents.drawing_content import Content, Stack, content_of, short
from upmast.documents.drawing_foot import draw_foot, foot_size
from upmast.documents.drawing_frame import BOTTOM, draw_frame
from upmast.documents.elevation import STRIP, draw_elevation
from upmast.documents.marks import marks_of, stamp_of, verdict_words
from upmast.documents.pen import Pen
from upmast.documents.route_lines import Wire, levels_needed, route
from upmast.documents.scene import CHARACTER, Scene, wrapped
from upmast.line.line import RUNS, Item
from upmast.proof.prove import Proof

PROPORTION = math.sqrt(2)
MARGIN = 30.0
SLOT = 15.0  # between two cables side by side: room for a label read upwards
LEVEL = 7.0  # between two cables one above the other
TOP = 96.0
ANTENNA_H = 116.0
RADIO_H = 92.0
BOX_H = 62.0
LEAST_COLUMN = 118.0
LEAST_RUN = 130.0
SECTOR_GAP = 26.0
LABEL = 9.0
WIDTHS = {
    "trunk": (5.0, ""), "hybrid-jumper": (4.0, "7 5"), "dc-jumper": (3.0, ""), "dc-cable": (3.0, ""), "fibre-jumper": (3.0, "2 3"),
    "fibre-cable": (3.0, "2 3"), "rf-jumper": (2.2, ""), "feeder": (4.0, ""), "rf-inline": (8.0, ""), "control-cable": (2.4, "1 4"),
}  # fmt: skip
UPWARD = ("rf-jumper", "feeder", "rf-inline", "control-cable")  # from a radio up to an antenna
LAYERS = ("ground", "elevation", "cables", "parts", "frame")


def drawing(proof: Proof, issued: str = "") -> Scene:
    """The scene of a proof. `issued` is printed in the title block."""
    content = content_of(proof.site, proof.line, marks_of(proof))
    return _Drawing(content, proof, issued).scene()


class _Drawing:
    def __init__(self, content: Content, proof: Proof, issued: str) -> None:
        self.c, self.proof, self.issued = content, proof, issued
        self.pen = Pen()
        self.x: dict[int, tuple[float, float]] = {}  # left and width of each column
        self.measure()

    # -- sizes ------------------------------------------------------------------------------------------------------

    def measure(self) -> None:
        c = self.c
        self.tops = [len(s.paths) + len(s.controls) + len(s.guests) for s in c.stacks]
        sides = [max(t, len(s.below)) for t, s in zip(self.tops, c.stacks, strict=True)]
        need = [max(LEAST_COLUMN, SLOT * n + 30) for n in sides]
        sectors = len({s.sector for s in c.stacks})
        self.rf_h = 26 + max(
            (
                sum(self.label_w(c.span_label(c.line.by_id[id])) + 32 for id in p.passed)
                for s in c.stacks
                for p in s.paths
            ),
            default=60.0,
        )
        control = max((self.label_w(c.span_label(i)) + 42 for s in c.stacks for i in s.controls), default=0.0)
        self.rf_h = max(self.rf_h, control)
        self.jumper_h = 44 + max((self.label_w(c.span_label(i)) for s in c.stacks for i in s.below), default=40.0)
        direct = [r for r in c.runs if c.run_ends[r.id] not in {b.id for b in c.boxes}]
        count = len(list(c.jumper_starts)) + len(direct)
        self.levels_h = 16 + LEVEL * max(1, count)
        self.box_h = BOX_H if c.boxes else 0.0
        self.trunk_levels_h = 14 + LEVEL * len(c.runs) if c.boxes else 10.0
        self.foot = foot_size(c)
        bundle = SLOT * max(1, len(c.runs)) + 56
        self.bundle = bundle
        fixed = TOP + ANTENNA_H + self.rf_h + RADIO_H + self.jumper_h + self.levels_h + self.box_h + self.trunk_levels_h
        run_h = max(LEAST_RUN, self.foot.height + 40, self.foot.notes_height + 20, self.run_label_h() + 60)
        least_h = fixed + run_h + 34 + BOTTOM
        boxes_w = sum(self.box_width(b) + 24 for b in c.boxes)
        least_w = STRIP + 2 * MARGIN + max(
            sum(need) + SECTOR_GAP * (sectors - 1), self.foot.width + 120 + bundle + self.foot.notes_width + 30, boxes_w, 1240
        )  # fmt: skip
        self.width = max(1600.0, least_w, least_h * PROPORTION)
        self.height = self.width / PROPORTION
        self.left, self.right = STRIP + MARGIN, self.width - MARGIN
        self.ground = self.height - BOTTOM - 34
        spare = self.ground - (fixed + run_h)
        # half of the spare height goes to the mast, the rest widens the bands of cables
        self.rf_h += spare * 0.2
        self.jumper_h += spare * 0.15
        self.y_antenna = TOP
        self.y_radio = TOP + ANTENNA_H + self.rf_h
        self.y_levels = self.y_radio + RADIO_H + self.jumper_h
        self.y_box = self.y_levels + self.levels_h
        self.y_mast = self.y_box + self.box_h + self.trunk_levels_h
        self.columns(need, sectors)

    def run_label_h(self) -> float:
        return max((self.label_w(self.c.span_label(r)) for r in self.c.runs), default=0.0)

    @staticmethod
    def label_w(text: str) -> float:
        return len(text) * LABEL * CHARACTER

    def box_width(self, box: Item) -> float:
        count = sum(1 for start in self.c.jumper_starts.values() if start == box.id)
        return max(230.0, SLOT * count + 30)

    def columns(self, need: list[float], sectors: int) -> None:
        room = self.right - self.left - SECTOR_GAP * (sectors - 1)
        stretch = min(room / sum(need), 2.0) if need else 1.0
        used = sum(need) * stretch + SECTOR_GAP * (sectors - 1)
        middle = self.mast_left((self.left + self.right) / 2) + self.bundle / 2
        x = min(max(middle - used / 2, self.left), self.right - used)
        for n, (stack, w) in enumerate(zip(self.c.stacks, need, strict=True)):
            if n and stack.sector != self.c.stacks[n - 1].sector:
                x += SECTOR_GAP
            self.x[n] = (x, w * stretch)
            x += w * stretch

    def slots(self, n: int, count: int) -> list[float]:
        """Places of so many cables side by side, in the middle of a column."""
        left, w = self.x[n]
        step = min(SLOT * 1.8, (w - 24) / max(1, count))
        middle = left + w / 2
        return [middle + (k - (count - 1) / 2) * step for k in range(count)]

    # -- parts ------------------------------------------------------------------------------------------------------

    def scene(self) -> Scene:
        site, line = self.c.site, self.c.line
        self.sectors()
        self.antennas()
        self.radios()
        self.lower()
        draw_elevation(self.pen, self.c, TOP, self.ground)
        stamp = stamp_of(self.proof)
        draw_frame(self.pen, site, line, self.width, self.height, verdict_words(self.proof), stamp, self.issued)
        title = f"Antenna line of {site.id}, line revision {line.revision}" + (f", {stamp}" if stamp else "")
        radios = len(line.of_kind("radio"))
        description = (
            f"The line as it stands: {len(self.c.runs)} cables from the cabinet, {len(self.c.boxes)} boxes, {radios} radios, "
            f"{len(line.of_kind('antenna'))} antennas. Design verdict: {verdict_words(self.proof)}."
        )
        return Scene(self.width, self.height, title, description, tuple(self.pen.shapes), LAYERS)

    def sectors(self) -> None:
        pen = self.pen.of(layer="ground")
        azimuth = {s.id: s.azimuth_deg for s in self.c.site.sectors}
        for sector in dict.fromkeys(s.sector for s in self.c.stacks):
            mine = [self.x[n] for n, s in enumerate(self.c.stacks) if s.sector == sector]
            x, end = mine[0][0], mine[-1][0] + mine[-1][1]
            pen.rect(
                x, TOP - 28, end - x, self.y_radio + RADIO_H + 10 - TOP + 28, style="band", round=6, paint="#f3f5f8"
            )
            direction = f" · {azimuth[sector]:g}° from north" if sector in azimuth else ""
            pen.text(x + 10, TOP - 11, f"Sector {sector}{direction}", 12, bold=True, width=end - x - 20)

    def node(self, item: Item, x: float, y: float, w: float, h: float, lines: list[tuple[str, float, bool]]) -> None:
        """A box with a band of colour at its left, lines of text, and the mark of what does not pass."""
        mark = self.c.mark(item.id)
        pen = self.pen.of(item.id, self.c.title(item), "parts")
        pen.rect(x, y, w, h, style="body", paint="#ffffff", edge="#16202b", edge_width=1.2, round=4)
        pen.rect(x + 1, y + 1, 11, h - 2, paint=mark.colour, round=3)
        at = y + 4.0
        room = w - 22
        spare = int((h - 6 - sum(size for _, size, _ in lines) * 1.2) / (LABEL * 1.2))
        for n, (text, size, bold) in enumerate(lines):
            parts = wrapped(text, room, size, bold, 1 + (spare if n == 1 else 0))
            for part in parts:
                at += size * 1.2
                pen.text(x + 17, at, part, size, bold=bold, width=room - (18 if n == 0 and mark.symbol else 0))
        if mark.symbol:
            pen.symbol(mark.symbol, x + w - 12, y + 12, 7)
            if mark.symbol == "open-diamond":
                pen.text(x + w - 12, y + 15, "?", 8.5, anchor="middle", bold=True)

    def state(self, id: str) -> str:
        mark = self.c.mark(id)
        if mark.verdict is None:
            return "no finding"
        return mark.word if mark.share is None else f"{mark.word}, {share_text(mark.share)}"

    def antennas(self) -> None:
        line = self.c.line
        self.antenna_box: dict[str, tuple[float, float]] = {}
        for id in dict.fromkeys(s.antenna for s in self.c.stacks if s.antenna):
            mine = [self.x[n] for n, s in enumerate(self.c.stacks) if s.antenna == id]
            x, end = mine[0][0] + 7, mine[-1][0] + mine[-1][1] - 7
            self.antenna_box[id] = (x, end - x)
            item = line.by_id[id]
            part = self.c.part(item)
            lines: list[tuple[str, float, bool]]
            lines = [
                (id, 13.0, True),
                (short(part, item.kind), LABEL, False),
                (f"{item.low_m:g} m · {self.state(id)}", LABEL, False),
            ]
            self.node(item, x, self.y_antenna, end - x, ANTENNA_H, lines)

    def radios(self) -> None:
        hosted: dict[str, float] = {}
        for n, stack in enumerate(self.c.stacks):
            places = self.slots(n, self.tops[n])
            for (_, path), x in zip(stack.guests, places[len(stack.paths) + len(stack.controls) :], strict=True):
                hosted[path.id] = x
                self.port_name(path.antenna, x)
        for n, stack in enumerate(self.c.stacks):
            if stack.radio is None:
                continue
            places = self.slots(n, self.tops[n])
            left, w = self.x[n]
            for path, x in zip(stack.paths, places, strict=False):
                self.path(stack, path.id, path.passed, path.antenna, x, hosted.get(path.id, x))
            for item, x in zip(stack.controls, places[len(stack.paths) :], strict=False):
                self.span(item, (x, self.y_radio), (x, self.y_antenna + ANTENNA_H), label_at=self.y_radio - 8)
            radio = stack.radio
            part = self.c.part(radio)
            lines = [
                (radio.id, 13.0, True), (short(part, radio.kind), LABEL, False), (f"{radio.low_m:g} m", LABEL, False),
                (self.state(radio.id), LABEL, self.c.mark(radio.id).symbol != ""),
            ]  # fmt: skip
            self.node(radio, left + 8, self.y_radio, w - 16, RADIO_H, lines)
            self.bonds(radio, left + w - 20, self.y_radio + RADIO_H - 14)

    def bonds(self, host: Item, x: float, y: float) -> None:
        for bond in (h for h in self.c.hardware.get(host.id, []) if h.kind == "bond"):
            self.pen.of(bond.id, self.c.title(bond), "parts").symbol("earth", x, y, 6)

    def path(self, stack: Stack, id: str, cables: tuple[str, ...], antenna: str, x: float, top_x: float) -> None:
        """The cables of one RF path, one above the other, each with its label; then the name of the antenna port."""
        bottom, top = self.y_radio, self.y_antenna + ANTENNA_H
        each = (bottom - top) / max(1, len(cables))
        for k, cable in enumerate(cables):
            item = self.c.line.by_id[cable]
            low, high = bottom - k * each, bottom - (k + 1) * each
            points: list[tuple[float, float]] = [(x, low), (x, high)]
            if k == len(cables) - 1 and top_x != x:
                points = [(x, low), (x, high + 12), (top_x, high + 12), (top_x, high)]
            self.span(item, *points, label_at=low - 8)
        if antenna and top_x == x:
            self.port_name(antenna, x)

    def port_name(self, antenna: str, x: float) -> None:
        id, _, port = antenna.partition(".")
        self.pen.of(id, "", "parts").text(x + 3, self.y_antenna + ANTENNA_H - 5, port, 8.5, turn=-90, style="quiet")

    def span(self, item: Item, *points: tuple[float, float], label_at: float, turned: bool = True) -> None:
        """A cable with its margin as a colour, its label beside its first upright part, and its mark."""
        mark = self.c.mark(item.id)
        width, dash = WIDTHS.get(item.kind, (3.0, ""))
        pen = self.pen.of(item.id, self.c.title(item), "cables")
        pen.cable(*points, paint=mark.colour, width=width, dash=dash)
        self.loops(item, points)
        if not turned:
            return
        x = points[0][0] if item.kind in UPWARD else points[-1][0]
        pen.text(x - width / 2 - 3.2, label_at, self.c.span_label(item), LABEL, turn=-90)
        if mark.symbol:
            up = -self.label_w(self.c.span_label(item)) - 9 if item.kind in UPWARD else 10
            pen.symbol(mark.symbol, x, label_at + up, 5)

    def loops(self, item: Item, points: tuple[tuple[float, float], ...]) -> None:
        """A coil on the cable for each slack loop, at the end where it hangs: above the first bend, or below the last."""
        low = item.kind in RUNS
        (x, y), (_, far) = (points[1], points[2]) if low and len(points) > 2 else (points[-1], points[-2])
        room = 13.0 if far > y else -13.0
        for n, loop in enumerate(h for h in self.c.hardware.get(item.id, []) if h.kind == "loop"):
            pen = self.pen.of(loop.id, self.c.title(loop), "parts")
            centre = y + room * (1 + n)
            pen.symbol("coil", x, centre, 8)

    # -- boxes, jumpers, mast, cabinet --------------------------------------------------------------------------------

    def lower(self) -> None:
        c = self.c
        targets: dict[str, float] = {}
        for n, stack in enumerate(c.stacks):
            for item, x in zip(stack.below, self.slots(n, len(stack.below)), strict=True):
                targets[item.id] = x
        mast_left, run_x = self.bundle_places(targets)
        boxes = self.box_places(targets, mast_left + self.bundle / 2)
        jumpers: list[list[Wire]] = []
        for box in c.boxes:
            ids = sorted(
                (j for j, start in c.jumper_starts.items() if start == box.id and j in targets),
                key=lambda j: targets[j],
            )
            left, w = boxes[box.id]
            step = min(SLOT * 1.6, (w - 24) / max(1, len(ids)))
            first = left + w / 2 - (len(ids) - 1) / 2 * step
            jumpers.append([Wire(id, first + k * step, targets[id]) for k, id in enumerate(ids)])
        direct = [Wire(r.id, run_x[r.id], targets[r.id]) for r in c.runs if r.id in targets]
        bottom, top = self.y_radio + RADIO_H, self.y_levels
        groups = [g for g in (*jumpers, direct) if g]
        step = (self.levels_h - 12) / max(1, levels_needed(groups))
        for wire, level in route(groups):
            item = c.line.by_id[wire.id]
            y = top + self.levels_h - 8 - level * step
            start = self.ground if wire in direct else self.y_box
            points = [(wire.a, start), (wire.a, y), (wire.b, y), (wire.b, bottom)]
            if wire in direct:
                points = [*self.foot_points(item, run_x), *points[1:]]
            label_at = bottom + 12 + self.label_w(c.span_label(item))
            self.span(item, *points, label_at=label_at)
        into: list[list[Wire]] = []
        for box in c.boxes:
            mine = [r for r in c.runs if c.run_ends[r.id] == box.id]
            left, w = boxes[box.id]
            first = left + w / 2 - (len(mine) - 1) / 2 * SLOT
            into.append([Wire(r.id, run_x[r.id], first + k * SLOT) for k, r in enumerate(mine)])
        step = (self.trunk_levels_h - 12) / max(1, levels_needed([g for g in into if g]))
        for wire, level in route([g for g in into if g]):
            item = c.line.by_id[wire.id]
            y = self.y_mast - 4 - level * step
            foot = self.foot_points(item, run_x)
            self.span(
                item, *foot, (wire.a, y), (wire.b, y), (wire.b, self.y_box + self.box_h), label_at=0, turned=False
            )
            self.run_label(item, wire.a)
        for box in c.boxes:
            left, w = boxes[box.id]
            part = c.part(box)
            lines = [
                (box.id, 13.0, True),
                (short(part, box.kind), LABEL, False),
                (f"{box.low_m:g} m · {self.state(box.id)}", LABEL, False),
            ]
            self.node(box, left, self.y_box, w, self.box_h, lines)
            self.bonds(box, left + w - 16, self.y_box + self.box_h - 14)
        places = [run_x[r.id] for r in c.runs]
        draw_foot(
            self.pen, c, self.foot, self.node, left=self.left, right=self.right, top=self.y_mast, ground=self.ground,
            mast=(mast_left, mast_left + self.bundle), exits=self.exits(), places=places,
        )  # fmt: skip

    def mast_left(self, middle: float) -> float:
        """Left edge of a mast whose middle is wanted at a place, kept clear of the cabinet and of the notes."""
        low = self.left + self.foot.width + 120
        high = self.right - self.foot.notes_width - 20 - self.bundle
        return min(max(middle - self.bundle / 2, low), max(low, high))

    def bundle_places(self, targets: dict[str, float]) -> tuple[float, dict[str, float]]:
        """Left edge of the mast, and the place of each run in it, in the order of where the runs go."""
        c = self.c
        ends = list(self.x.values())
        wanted = (ends[0][0] + ends[-1][0] + ends[-1][1]) / 2 if ends else self.left
        left = self.mast_left(wanted)
        boxes = self.box_places(targets)

        def goal(run: Item) -> float:
            end = c.run_ends[run.id]
            return boxes[end][0] if end in boxes else targets.get(run.id, 0.0)

        self.ordered = sorted(c.runs, key=goal)
        first = left + self.bundle / 2 - (len(self.ordered) - 1) / 2 * SLOT
        return left, {run.id: first + k * SLOT for k, run in enumerate(self.ordered)}

    def box_places(self, targets: dict[str, float], over: float | None = None) -> dict[str, tuple[float, float]]:
        """Left and width of each box: under its radios, pushed apart where two would meet; a single one over the mast."""
        c = self.c
        middle: dict[str, float] = {}
        for box in c.boxes:
            mine = [targets[j] for j, start in c.jumper_starts.items() if start == box.id and j in targets]
            middle[box.id] = sum(mine) / len(mine) if mine else (self.left + self.right) / 2
        out: dict[str, tuple[float, float]] = {}
        at = self.left
        order = sorted(c.boxes, key=lambda b: middle[b.id])
        rest = sum(self.box_width(b) + 24 for b in order)
        for box in order:
            w = self.box_width(box)
            centre = over if over is not None and len(order) == 1 else middle[box.id]
            x = min(max(centre - w / 2, at), self.right - rest)
            out[box.id] = (x, w)
            at, rest = x + w + 24, rest - w - 24
        return out

    def exits(self) -> dict[str, float]:
        """Height at which each run leaves the cabinet: the run furthest to the right lowest, so that none cross."""
        count = len(self.ordered)
        step = min(12.0, (self.foot.height - 30) / max(1, count))
        return {run.id: self.ground - 16 - (count - 1 - k) * step for k, run in enumerate(self.ordered)}

    def foot_points(self, item: Item, run_x: dict[str, float]) -> list[tuple[float, float]]:
        y = self.exits()[item.id]
        return [(self.left + self.foot.width, y), (run_x[item.id], y)]

    def run_label(self, item: Item, x: float) -> None:
        """The label of a run to a box, upright beside it in the mast, with its mark."""
        mark = self.c.mark(item.id)
        text = self.c.span_label(item)
        top = self.y_mast + 14 + self.label_w(text)
        pen = self.pen.of(item.id, self.c.title(item), "cables")
        pen.text(x - 6, top, text, LABEL, turn=-90)
        if mark.symbol:
            pen.symbol(mark.symbol, x, top + 11, 5.5)


__all__ = ["drawing"]
