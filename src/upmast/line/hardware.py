"""Clamps, grips, bonds, loops, caps and seals: what the items and joints of a line need to be held, bonded and sealed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import Bond, Cable, Clamp, ControlCable, Grip, LoopHolder, Part, RfCable, RfInline, Seal
from upmast.earth.bonding import bond_plan
from upmast.line.line import RUNS, Item, Joint
from upmast.line.loops import add_loop
from upmast.line.port import Port, ports_of
from upmast.line.way import held_length_m, length_above_m
from upmast.site.site import Site

BOND_SPACING_M = 30.0  # on a vertical run; 20 to 60 m are usual: common practice, no source
KEEP_OUT_M = 3.0  # metal clamps stay this far from antennas, above and below: common practice, no source
GRIP_FROM_M = 10.0  # a shorter hanging length needs no hoisting grip: common practice, no source


def add_hardware(site: Site, catalogue: Catalogue, items: Sequence[Item], joints: Sequence[Joint]) -> list[Item]:
    """The hardware of a line, in the order of the items that it stands on."""
    maker = _Hardware(site, catalogue)
    out: list[Item] = []
    for item in items:
        part = catalogue.part(item.part) if item.part else None
        if isinstance(part, Cable | RfCable | ControlCable) and item.on != "CAB":
            out += maker.clamps(item, part)
            if item.kind in RUNS:
                out += maker.grips(item, part)
                out += maker.shield_bonds(item, part)
            if isinstance(part, Cable):
                out += add_loop(site, item, part, maker.holders)
        elif item.kind in ("box", "radio") or (isinstance(part, RfInline) and part.use == "arrestor"):
            out += maker.case_bond(item)
    out += maker.caps(items, joints)
    out += maker.seals(items, joints)
    return out


def hanging_length_m(site: Site, item: Item) -> float:
    """Length of a run that hangs on the mast."""
    return max(0.0, item.high_m - max(item.low_m, 0.0)) if item.kind in RUNS else 0.0


def clamp_count(held_m: float, spacing_m: float, run: bool) -> int:
    """n = ceil(L / s) + 1 on a run, ceil(L / s) on a jumper, whose ends its connectors hold."""
    intervals = math.ceil(held_m / spacing_m - 1e-9)
    return intervals + 1 if run else max(1, intervals)


class _Hardware:
    def __init__(self, site: Site, catalogue: Catalogue) -> None:
        self.site, self.catalogue = site, catalogue
        self.clamp_parts = [p for p in catalogue.of_kind("clamp") if isinstance(p, Clamp)]
        self.grip_parts = [p for p in catalogue.of_kind("grip") if isinstance(p, Grip)]
        self.bond_parts = [p for p in catalogue.of_kind("bond") if isinstance(p, Bond)]
        self.holders = [p for p in catalogue.of_kind("loop") if isinstance(p, LoopHolder)]
        self.seal_parts = [p for p in catalogue.of_kind("cap", "seal") if isinstance(p, Seal)]

    def clamps(self, item: Item, part: Cable | RfCable | ControlCable) -> list[Item]:
        near = any(
            a.height_m - KEEP_OUT_M < item.high_m and item.low_m < a.height_m + 2 * KEEP_OUT_M
            for a in self.site.antennas
        )
        if item.kind in RUNS:
            return self.run_clamps(item, part)
        why = "not metal: within the zone around antennas" if near else f"fits {part.diameter_mm:g} mm"
        return self.clamp_row(
            f"{item.id}-CL", item, part, held_length_m(self.site, item), item.low_m, item.high_m, near, why
        )

    def run_clamps(self, item: Item, part: Cable | RfCable | ControlCable) -> list[Item]:
        """Clamps of a run: of steel up to the zone around antennas, not of metal within it where such clamps can be had."""
        held = held_length_m(self.site, item)
        zone = min((a.height_m - KEEP_OUT_M for a in self.site.antennas), default=math.inf)
        inside = min(length_above_m(self.site, item, max(zone, item.low_m)), held) if item.high_m > zone else 0.0
        why = f"fits {part.diameter_mm:g} mm"
        if inside <= 0:
            return self.clamp_row(f"{item.id}-CL", item, part, held, item.low_m, item.high_m, False, why)
        words = "not metal: within the zone around antennas"
        upper = self.clamp_row(f"{item.id}-CL2", item, part, inside, max(zone, item.low_m), item.high_m, True, words)
        if not upper:
            return self.clamp_row(f"{item.id}-CL", item, part, held, item.low_m, item.high_m, False, why)
        lower = (
            self.clamp_row(f"{item.id}-CL", item, part, held - inside, item.low_m, min(zone, item.high_m), False, why)
            if held > inside
            else []
        )
        return [*lower, *upper]

    def clamp_row(
        self, id: str, item: Item, part: Cable | RfCable | ControlCable, held_m: float, low_m: float, high_m: float, plastic: bool, why: str
    ) -> list[Item]:  # fmt: skip
        fitting = [
            c
            for c in self.clamp_parts
            if c.smallest_mm <= part.diameter_mm <= c.largest_mm and c.runs_count == 1 and c.metal is not plastic
        ]
        if not fitting:
            return []
        clamp = min(fitting, key=lambda c: (c.cost, c.id))
        count = clamp_count(held_m, clamp.spacing_m, item.kind in RUNS)
        return [Item(id, "clamp", clamp.id, low_m=low_m, high_m=high_m, on=item.id, count=count, reason=why)]

    def grips(self, item: Item, part: Cable | RfCable | ControlCable) -> list[Item]:
        hanging = hanging_length_m(self.site, item)
        fitting = [g for g in self.grip_parts if g.smallest_mm <= part.diameter_mm <= g.largest_mm]
        if hanging < GRIP_FROM_M or not fitting:
            return []
        grip = min(fitting, key=lambda g: (g.cost, g.id))
        count = math.ceil(hanging / grip.spacing_m - 1e-9)
        return [Item(f"{item.id}-GR", "grip", grip.id, low_m=item.low_m, high_m=item.high_m, on=item.id, count=count)]

    def shield_bonds(self, item: Item, part: Part) -> list[Item]:
        fitting = [
            b
            for b in self.bond_parts
            if isinstance(part, Cable) and b.use == "shield" and b.smallest_mm <= part.diameter_mm <= b.largest_mm
        ]
        if not isinstance(part, Cable) or part.shield_area_mm2 <= 0 or not fitting or item.high_m <= item.low_m:
            return []
        bond = min(fitting, key=lambda b: (b.cost, b.id))
        horizontal = sum(leg.length_m for leg in self.site.route.legs if leg.kind in ("horizontal", "bridge"))
        plan = bond_plan(item.high_m, max(item.low_m, 0.0), BOND_SPACING_M, horizontal)
        heights = [float(h) for h in plan.heights_m] + [max(item.low_m, 0.0)] * (plan.count - len(plan.heights_m))
        return [
            Item(f"{item.id}-E{n}", "bond", bond.id, low_m=round(h, 2), high_m=round(h, 2), on=item.id)
            for n, h in enumerate(heights, 1)
        ]

    def case_bond(self, item: Item) -> list[Item]:
        cases = [b for b in self.bond_parts if b.use == "case"]
        if not cases:
            return []
        bond = min(cases, key=lambda b: (b.cost, b.id))
        return [Item(f"{item.id}-E1", "bond", bond.id, low_m=item.low_m, high_m=item.low_m, on=item.id)]

    def caps(self, items: Sequence[Item], joints: Sequence[Joint]) -> list[Item]:
        joined = {end for joint in joints for end in (joint.a, joint.b)}
        caps = {s.interface: s for s in self.seal_parts if s.kind == "cap"}
        out: list[Item] = []
        for item in items:
            if item.kind not in ("box", "radio", "antenna") or not item.part:
                continue
            ports = ports_of(self.catalogue.part(item.part), self.catalogue.connector)
            open_ports: dict[str, int] = {}
            for port in open_outdoors(item.id, ports.values(), joined):
                open_ports[port.interface] = open_ports.get(port.interface, 0) + 1
            for n, (interface, count) in enumerate(sorted(open_ports.items()), 1):
                if interface in caps:
                    out.append(
                        Item(
                            f"{item.id}-CAP{n}",
                            "cap",
                            caps[interface].id,
                            low_m=item.low_m,
                            high_m=item.low_m,
                            on=item.id,
                            count=count,
                        )
                    )
        return out

    def seals(self, items: Sequence[Item], joints: Sequence[Joint]) -> list[Item]:
        """One seal for each mated RF joint outdoors; sealed interfaces of DC and fibre carry their own code."""
        seals = {s.interface: s for s in self.seal_parts if s.kind == "seal"}
        by_id = {item.id: item for item in items}
        counts: dict[str, int] = {}
        for joint in joints:
            direct = all(by_id[id].kind not in ("rf-jumper", "feeder") for id, _ in joint.ends)
            for id, name in joint.ends:
                item = by_id[id]
                bare = direct and item.kind == "rf-inline" and name == "foot"  # screwed on without a cable
                if (item.kind in ("rf-jumper", "feeder") or bare) and item.part:
                    part = self.catalogue.part(item.part)
                    assert isinstance(part, RfCable | RfInline)
                    connector = self.catalogue.connector(part.foot if name == "foot" else part.head)
                    seal = seals.get(connector.interface) or seals.get("any")
                    if seal is not None:
                        counts[f"{id}/{seal.id}"] = counts.get(f"{id}/{seal.id}", 0) + 1
        out = []
        for key, count in counts.items():
            id, seal_id = key.split("/")
            item = by_id[id]
            tail = (
                ""
                if sum(k.startswith(f"{id}/") for k in counts) == 1
                else f"-{seal_id.split('-')[1].replace('.', '')}".upper()
            )
            out.append(
                Item(f"{id}-SL{tail}", "seal", seal_id, low_m=item.low_m, high_m=item.high_m, on=id, count=count)
            )
        return out


def open_outdoors(id: str, ports: Iterable[Port], joined: set[str]) -> list[Port]:
    """Ports outdoors to which nothing is joined: box outputs, and all ports of radios and antennas."""
    return [
        port
        for port in ports
        if f"{id}.{port.name}" not in joined and not port.indoor and not port.name.startswith("in.")
    ]


__all__ = ["RUNS", "add_hardware", "clamp_count", "hanging_length_m", "held_length_m", "open_outdoors"]
