"""What a drawing of a line shows: columns of radios by sector, their antennas and cables, boxes, runs, and what the labels say."""

from __future__ import annotations

from dataclasses import dataclass, field

from upmast.catalogue.part import Box, Breaker, Cable, Part, RfCable
from upmast.documents.kit_list import ends_of
from upmast.documents.marks import Mark
from upmast.finding import Verdict
from upmast.line.line import RUNS, Item, Line
from upmast.line.walk import RfPath, rf_paths
from upmast.site.site import Site

JUMPERS = ("hybrid-jumper", "dc-jumper", "fibre-jumper")
HARDWARE_WORDS = {"clamp": "clamps", "grip": "grips", "bond": "bonds", "loop": "loops", "cap": "caps", "seal": "seals"}
UNMARKED = Mark()


@dataclass
class Stack:
    """One column: a radio with what leads to it from below and from it upwards; or an antenna without a radio."""

    sector: str
    radio: Item | None
    antenna: str = ""  # the antenna over this column
    paths: list[RfPath] = field(default_factory=list)
    guests: list[tuple[str, RfPath]] = field(default_factory=list)  # paths of other columns to this antenna
    controls: list[Item] = field(default_factory=list)
    below: list[Item] = field(default_factory=list)


@dataclass
class Content:
    """The whole content, in the order in which it is drawn."""

    site: Site
    line: Line
    marks: dict[str, Mark]
    stacks: list[Stack]
    boxes: list[Item]
    runs: list[Item]  # from the cabinet: to a box or straight to a radio
    run_ends: dict[str, str]  # the box or radio that a run goes to
    jumper_starts: dict[str, str]  # the box from which a jumper starts
    breakers: list[Item]
    baseband: list[Item]
    passive: list[Item]  # patch leads and fan-outs in the cabinet
    hardware: dict[str, list[Item]]

    def mark(self, id: str) -> Mark:
        return self.marks.get(id, UNMARKED)

    def part(self, item: Item) -> Part | None:
        return self.line.parts.get(item.part)

    def title(self, item: Item) -> str:
        """What stands behind an item when someone points at it."""
        part = self.part(item)
        text = f"{item.id}: {part.title if part else item.kind}"
        if item.length_m is not None:
            text += f", {item.length_m:g} m"
        on = self.hardware.get(item.id, [])
        if on:
            text += "; with " + ", ".join(f"{h.id} ({h.count})" for h in on[:8])
        return f"{text}; {self.mark(item.id).words}"

    def span_label(self, item: Item) -> str:
        """Id, length, and the word for what does not pass."""
        length = f" {item.length_m:g} m" if item.length_m is not None else ""
        return f"{item.id}{length}{self.suffix(item.id)}"

    def suffix(self, id: str) -> str:
        verdict = self.mark(id).verdict
        return f" {verdict}" if verdict is Verdict.FAILS else (" ?" if verdict is Verdict.NOT_JUDGED else "")


def short(part: Part | None, kind: str) -> str:
    """A part in few words: what decides its use."""
    if isinstance(part, Cable):
        words = [f"{part.pairs_count} × {part.conductor_area_mm2:g} mm²"] if part.pairs_count else []
        words += [f"{part.strands_count} strands"] if part.strands_count else []
        return ", ".join(words)
    if isinstance(part, Box):
        return f"{part.topology} box, {part.dc_out_count} DC, {part.fibre_out_count} fibre outputs"
    if isinstance(part, Breaker):
        return f"{part.rated_a:g} A"
    if isinstance(part, RfCable):
        return part.title
    return part.title if part else kind


def content_of(site: Site, line: Line, marks: dict[str, Mark]) -> Content:
    """Gather what a drawing shows."""
    runs = [i for i in line.of_kind(*RUNS) if i.on != "CAB"]
    run_ends = {run.id: (ends_of(line, run.id)[1] or ("",))[0] for run in runs}
    jumpers = [i for i in line.of_kind(*JUMPERS) if i.on != "CAB"]
    starts = {j.id: (ends_of(line, j.id)[0] or ("",))[0] for j in jumpers}
    hardware: dict[str, list[Item]] = {}
    for item in line.of_kind(*HARDWARE_WORDS):
        hardware.setdefault(item.on, []).append(item)
    return Content(
        site, line, marks, _stacks(site, line, jumpers, runs), list(line.of_kind("box")), runs, run_ends, starts,
        list(line.of_kind("breaker")), list(line.of_kind("baseband")),
        [i for i in line.items if i.on == "CAB" and (i.kind == "fanout" or i.kind in JUMPERS)], hardware,
    )  # fmt: skip


def _stacks(site: Site, line: Line, jumpers: list[Item], runs: list[Item]) -> list[Stack]:
    paths: dict[str, list[RfPath]] = {}
    for path in rf_paths(line):
        paths.setdefault(path.radio, []).append(path)
    below: dict[str, list[Item]] = {}
    for item in (*jumpers, *runs):
        for end in ends_of(line, item.id)[1]:
            if line.by_id[end].kind == "radio":
                below.setdefault(end, []).append(item)
    controls: dict[str, list[Item]] = {}
    for item in line.of_kind("control-cable"):
        for end in ends_of(line, item.id)[0]:
            controls.setdefault(end, []).append(item)
    order = [sector.id for sector in site.sectors]
    order += [i.sector for i in line.of_kind("radio", "antenna") if i.sector not in order]
    stacks: list[Stack] = []
    for sector in dict.fromkeys(order):
        column = []
        for radio in (r for r in line.of_kind("radio") if r.sector == sector):
            first = next((p.antenna.split(".")[0] for p in paths.get(radio.id, []) if p.antenna), "")
            column.append(
                Stack(
                    sector,
                    radio,
                    first,
                    paths.get(radio.id, []),
                    [],
                    controls.get(radio.id, []),
                    below.get(radio.id, []),
                )
            )
        antennas = [a.id for a in line.of_kind("antenna") if a.sector == sector]
        rank = {id: n for n, id in enumerate(antennas)}
        column.sort(key=lambda s: rank.get(s.antenna, len(rank)))
        column += [Stack(sector, None, id) for id in antennas if all(s.antenna != id for s in column)]
        stacks += column
    for stack in stacks:
        for path in list(stack.paths):
            antenna = path.antenna.split(".")[0]
            if antenna and antenna != stack.antenna:
                host = next((s for s in reversed(stacks) if s.antenna == antenna), None)
                if host is not None:
                    host.guests.append((stack.radio.id if stack.radio else "", path))
    return stacks
