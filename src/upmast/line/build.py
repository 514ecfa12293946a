"""
Build a line from a site and a choice: items, joints and links, each with an id made from its place and kind.

The same place gets the same id whatever part stands there, so a line planned again keeps its labels.
"""

from __future__ import annotations

from dataclasses import dataclass

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import (
    AntennaPart,
    Box,
    Cable,
    ControlCable,
    Fanout,
    RadioPart,
    RfCable,
    RfInline,
)
from upmast.errors import UsageError
from upmast.fibre.graph import follow_light
from upmast.line.choice import Choice, shares
from upmast.line.coded import code_lengths, told_apart_m
from upmast.line.hardware import add_hardware
from upmast.line.line import Item, Joint, Line, Link, used_parts
from upmast.line.need import (
    jumper_need_m,
    length_for,
    length_or_fault,
    link_pairs,
    making_tolerance_m,
    rf_need_m,
    run_need_m,
    single_strand,
    trunk_need_m,
)
from upmast.line.optical import optical
from upmast.site.site import Radio, Site

PATCH_M = 2.0
LEAD_M = 0.4  # least length of a jumper to a two-port beside the radio: common practice, no source


def joins(catalogue: Catalogue, a: str | None, b: str | None) -> bool:
    """Whether two connectors mate."""
    if a is None or b is None:
        return False
    one, other = catalogue.connector(a), catalogue.connector(b)
    return one.interface == other.interface and {one.gender, other.gender} == {"plug", "jack"}


@dataclass(frozen=True, slots=True)
class Way:
    """One pair of strands from the cabinet to the box: its two ends, and whether its lanes are crossed."""

    cabinet: str
    mast: str
    crossed: bool


def other_lane(lane: str, crossed: bool) -> str:
    """The lane at which a strand comes out."""
    return {"a": "b", "b": "a"}.get(lane, lane) if crossed else lane


class _Builder:
    def __init__(self, site: Site, catalogue: Catalogue, choice: Choice) -> None:
        self.site, self.catalogue, self.choice = site, catalogue, choice
        self.items: list[Item] = []
        self.joints: list[Joint] = []
        self.links: list[Link] = []
        self.optics: list[tuple[str, str]] = []
        self.equipment: dict[str, list[tuple[str, str]]] = {}
        self.jumper_counts: dict[str, int] = {}

    def add(self, item: Item) -> Item:
        reason = self.choice.reasons.get(item.id) or self.choice.reasons.get(item.kind, "")
        self.items.append(item if item.reason or not reason else Item(**{**item.__dict__, "reason": reason}))
        return item

    def join(self, a: str, b: str) -> None:
        self.joints.append(Joint(a, b))

    def cable(self, id: str) -> Cable:
        return self.catalogue.get(id, Cable)

    # -- the mast ---------------------------------------------------------------------------------------------------

    def place(self) -> None:
        for antenna in self.site.antennas:
            part = self.catalogue.get(antenna.part, AntennaPart)
            top = antenna.height_m + part.height_mm / 1000
            self.add(Item(antenna.id, "antenna", part.id, low_m=antenna.height_m, high_m=top, sector=antenna.sector))
        for radio in self.site.radios:
            radio_part = self.catalogue.get(radio.part, RadioPart)
            self.equipment[radio.id] = []
            self.add(
                Item(
                    radio.id,
                    "radio",
                    radio_part.id,
                    low_m=radio.height_m,
                    high_m=radio.height_m + radio_part.height_mm / 1000,
                    sector=radio.sector,
                )
            )

    def rf(self) -> None:
        coded = self.coded() if self.site.policy.jumper_lengths == "coded" else {}
        for radio, chosen in zip(self.site.radios, self.choice.radios, strict=True):
            for n, port in enumerate(radio.antenna_ports, 1):
                part = self.catalogue.get(chosen.rf, RfCable)
                low, high = sorted((radio.height_m, self.site.antenna(radio.antenna or "").height_m))
                end, leads = self.inline(radio, n)
                id = f"{radio.id}-J{n}" + (f"-{leads + 1}" if leads else "")
                need = rf_need_m(self.site, radio)
                length = coded.get(radio.id) or length_or_fault(part, need, id)
                told = ", coded: no other sector's jumper of this kind reads alike" if radio.id in coded else ""
                self.add(
                    Item(
                        id, part.kind, part.id, length, part.length_tolerance_m, low, high, radio.sector, (radio.id,),
                        reason=f"{_how(part.stock_lengths_m)} that covers the {need:.2f} m from port to port{told}",
                    )
                )  # fmt: skip
                self.join(end, f"{id}.foot")
                self.join(f"{id}.head", f"{radio.antenna}.{port}")

    def coded(self) -> dict[str, float]:
        """
        A length for each radio that tells its sector from the others: equal on all its ports, apart from those of radios alike.

        Raises
        ------
        UsageError
            If the stock lengths of a jumper don't suffice.
        """
        families: dict[tuple[str, str], list[Radio]] = {}
        for radio, chosen in zip(self.site.radios, self.choice.radios, strict=True):
            if radio.antenna_ports:
                families.setdefault((radio.part, chosen.rf), []).append(radio)
        out: dict[str, float] = {}
        for (_, name), radios in families.items():
            part = self.catalogue.get(name, RfCable)
            apart = told_apart_m(radios, part, self.catalogue)
            needs = [rf_need_m(self.site, radio) for radio in radios]
            out |= dict(
                zip(
                    (r.id for r in radios),
                    code_lengths(part, needs, apart, ", ".join(r.id for r in radios)),
                    strict=True,
                )
            )
        return out

    def inline(self, radio: Radio, n: int) -> tuple[str, int]:
        """
        The two-ports behind one RF port: the end at which the jumper goes on, and how many lead-in jumpers that took.

        One that doesn't screw on directly gets a jumper of its own before it.
        """
        end, leads = f"{radio.id}.rf{n}", 0
        at = self.catalogue.get(radio.part, RadioPart).rf_connector
        for k, name in enumerate(radio.inline, 1):
            part = self.catalogue.get(name, RfInline)
            id = f"{radio.id}-U{n}" + (f"-{k}" if k > 1 else "")
            if not joins(self.catalogue, at, part.foot):
                leads += 1
                lead = self.lead(at, part.foot, id)
                jumper = f"{radio.id}-J{n}" + (f"-{leads}" if leads > 1 else "")
                self.add(
                    Item(
                        jumper, lead.kind, lead.id, length_or_fault(lead, LEAD_M, jumper), lead.length_tolerance_m, radio.height_m,
                        radio.height_m, radio.sector, (radio.id,), reason=f"leads to {id}, which does not screw on directly",
                    )
                )  # fmt: skip
                self.join(end, f"{jumper}.foot")
                end = f"{jumper}.head"
            height = radio.height_m
            self.add(
                Item(id, part.kind, part.id, low_m=height, high_m=height, sector=radio.sector, serves=(radio.id,), reason="asked by the site")
            )  # fmt: skip
            self.join(end, f"{id}.foot")
            end, at = f"{id}.head", part.head
        return end, leads

    def lead(self, foot: str | None, head: str, id: str) -> RfCable:
        """The cheapest short jumper between two connectors. Raises UsageError where the catalogue has none."""
        fitting = [
            p for p in self.catalogue.of_kind("rf-jumper")
            if isinstance(p, RfCable) and joins(self.catalogue, foot, p.foot) and joins(self.catalogue, p.head, head) and length_for(p, LEAD_M)
        ]  # fmt: skip
        if not fitting:
            raise UsageError(f"the catalogue has no RF jumper from {foot} to {head}, which {id} needs")
        return min(fitting, key=lambda p: (p.cost + p.cost_per_m * (length_for(p, LEAD_M) or 0), p.id))

    def control(self) -> None:
        """One tilt control cable to each antenna that has the port, from the first radio of its sector that has one."""
        cables = [p for p in self.catalogue.of_kind("control-cable") if isinstance(p, ControlCable) and p.use == "tilt"]
        done: set[str] = set()
        for radio in self.site.radios:
            part = self.catalogue.get(radio.part, RadioPart)
            if radio.antenna is None or radio.antenna in done or part.control_connector is None or not cables:
                continue
            antenna = self.catalogue.get(self.site.antenna(radio.antenna).part, AntennaPart)
            need = rf_need_m(self.site, radio)
            fitting = [(p.cost + p.cost_per_m * (length_for(p, need) or 0), p) for p in cables if length_for(p, need)]
            if antenna.control_connector is None or not fitting:
                continue
            cable = min(fitting, key=lambda row: (row[0], row[1].id))[1]
            id = f"{radio.antenna}-K1"
            low, high = sorted((radio.height_m, self.site.antenna(radio.antenna).height_m))
            ends = (cable.foot, cable.head)
            ports = (part.control_connector, antenna.control_connector)
            find = self.catalogue.connector
            fits = all(
                find(a).interface == find(b).interface and {find(a).gender, find(b).gender} == {"plug", "jack"}
                for a, b in zip(ends, ports, strict=True)
            )
            if not fits:
                continue
            self.add(
                Item(
                    id,
                    "control-cable",
                    cable.id,
                    length_for(cable, need),
                    0.02,
                    low,
                    high,
                    radio.sector,
                    (radio.antenna,),
                    reason="tilt control of the antenna",
                )
            )
            self.join(f"{radio.id}.ctl", f"{id}.foot")
            self.join(f"{id}.head", f"{radio.antenna}.ctl")
            done.add(radio.antenna)

    # -- from the cabinet up -----------------------------------------------------------------------------------------

    def optic(self, radio: Radio) -> str:
        return radio.fibre.optic or self.site.cabinet.optic

    def single(self, radio: Radio) -> bool:
        """Whether its links have both directions on one strand."""
        return single_strand(self.catalogue, self.optic(radio))

    def pair_of(self, radio: Radio, link: int) -> tuple[int, str]:
        """The pair of strands that a link uses, counted from 1, and its lane of it where it needs only one."""
        return ((link + 1) // 2, "ab"[(link + 1) % 2]) if self.single(radio) else (link, "")

    def pairs_asked(self, radio: Radio) -> int:
        """Pairs of strands for the links in service."""
        return link_pairs(radio, self.single(radio))

    def service(self, radio: Radio, n: int, cabinet_end: str, lane: str = "") -> None:
        """Equip both ends of a link and say that they belong together."""
        slot = f"s{len(self.optics) + 1}"
        self.optics.append((slot, self.optic(radio)))
        self.equipment[radio.id].append((f"opt{n}", radio.fibre.radio_optic or self.optic(radio)))
        self.joints.append(Joint(f"BB1.{slot}", cabinet_end, lane=lane))
        self.links.append(Link(f"{radio.id}-L{n}", f"BB1.{slot}", f"{radio.id}.opt{n}", "service", radio.id))

    def separate(self) -> None:
        for radio, chosen in zip(self.site.radios, self.choice.radios, strict=True):
            need = run_need_m(self.site, radio)
            self.breaker(f"{radio.id}-CB", chosen.breaker, radio.id)
            dc = self.cable(chosen.dc)
            id = f"{radio.id}-D1"
            self.span(id, dc, need, radio)
            self.join(f"{radio.id}-CB.out", f"{id}.foot.dc1")
            self.join(f"{id}.head.dc1", f"{radio.id}.dc")
            carrier, id_f = (
                (dc, id) if dc.strands_count else (self.cable(chosen.fibre) if chosen.fibre else None, f"{radio.id}-F1")
            )
            if carrier is None or radio.fibre.links_count == 0:
                continue
            if carrier is not dc:
                self.span(id_f, carrier, need, radio)
            crossed = carrier.duplex_kind == "A-B"
            for n in range(1, radio.fibre.links_count + 1):
                pair, lane = self.pair_of(radio, n)
                self.service(radio, n, f"{id_f}.foot.f{pair}", lane)
                self.joints.append(Joint(f"{id_f}.head.f{pair}", f"{radio.id}.opt{n}", lane=other_lane(lane, crossed)))
            ends = carrier.strands_count // 2
            used = self.pairs_asked(radio)
            for n in range(used + 1, ends + 1):
                state = "standby" if n <= used + radio.fibre.standby_count else "growth"
                self.links.append(
                    Link(
                        f"{radio.id}-L{n}",
                        f"{id_f}.foot.f{n}",
                        f"{id_f}.head.f{n}",
                        state,
                        radio.id if state == "standby" else "",
                    )
                )

    def span(self, id: str, part: Cable, need: float, radio: Radio, low: float | None = None) -> None:
        length = length_or_fault(part, need, id)
        bottom, top = sorted((self.site.cabinet.height_m if low is None else low, radio.height_m))
        reason = f"{_how(part.stock_lengths_m)} that covers the {need:.1f} m"
        self.add(
            Item(
                id,
                part.kind,
                part.id,
                length,
                making_tolerance_m(part, length),
                bottom,
                top,
                radio.sector,
                (radio.id,),
                reason=reason,
            )
        )

    def breaker(self, id: str, part: str, serves: str) -> None:
        self.add(Item(id, "breaker", part, serves=(serves,), on="PLANT"))

    def hybrid(self) -> None:
        site, choice = self.site, self.choice
        trunk, box = self.cable(choice.trunk), self.catalogue.get(choice.box, Box)
        need = trunk_need_m(site)
        length = length_or_fault(trunk, need, "T1")
        for group, members in enumerate(shares(len(site.radios), choice.trunks), 1):
            trunk_id, box_id = f"T{group}", f"BX{group}"
            served = tuple(site.radios[m].id for m in members)
            box_top = site.box_height_m + box.height_mm / 1000
            self.add(
                Item(
                    trunk_id, trunk.kind, trunk.id, length, making_tolerance_m(trunk, length), site.cabinet.height_m,
                    site.box_height_m, "", served, reason=choice.reasons.get("trunk", ""),
                )
            )  # fmt: skip
            self.add(Item(box_id, "box", box.id, low_m=site.box_height_m, high_m=box_top, serves=served))
            self.dc(trunk_id, box_id, trunk, box, members)
            self.fibre(trunk_id, box_id, trunk, box, members)

    def dc(self, trunk_id: str, box_id: str, trunk: Cable, box: Box, members: range) -> None:
        choice, radios = self.choice, self.site.radios
        if box.topology == "bussed":
            for n in range(1, min(trunk.pairs_count, box.dc_in_count) + 1):
                breaker = f"{trunk_id}-CB{n:02d}"
                self.breaker(breaker, choice.pair_breaker, trunk_id)
                self.join(f"{breaker}.out", f"{trunk_id}.foot.dc{n}")
                self.join(f"{trunk_id}.head.dc{n}", f"{box_id}.in.dc{n}")
        pair = 0
        for k, m in enumerate(members, 1):
            radio, chosen = radios[m], choice.radios[m]
            if box.topology == "straight":
                self.breaker(f"{radio.id}-CB", chosen.breaker, radio.id)
                for _ in range(choice.pairs_each):
                    pair += 1
                    self.join(f"{radio.id}-CB.out", f"{trunk_id}.foot.dc{pair}")
                    self.join(f"{trunk_id}.head.dc{pair}", f"{box_id}.in.dc{k}")
            part = self.cable(chosen.dc)
            id = f"{radio.id}-H1" if part.strands_count else f"{radio.id}-D1"
            self.span(id, part, jumper_need_m(self.site, radio), radio, self.site.box_height_m)
            self.join(f"{box_id}.out.dc{k}", f"{id}.foot.dc1")
            self.join(f"{id}.head.dc1", f"{radio.id}.dc")

    def fibre(self, trunk_id: str, box_id: str, trunk: Cable, box: Box, members: range) -> None:
        """
        Strand pairs for each radio's links, then for its standby pairs: those that it names, else the next free ones in order;
        what is left is growth.
        """
        if not trunk.strands_count:
            return
        ways = self._ways(trunk_id, box_id, trunk, box)
        given = self._given(trunk_id, members, len(ways))
        free = [n for n in range(1, len(ways) + 1) if n not in {one for some in given.values() for one in some}]
        for m in members:
            radio, chosen = self.site.radios[m], self.choice.radios[m]
            asked = self.pairs_asked(radio)
            numbers = list(given[radio.id])
            while len(numbers) < asked + radio.fibre.standby_count:
                if not free:
                    raise UsageError(
                        f"{radio.id} needs strand pair {len(ways) + 1}, but trunk and box together have {len(ways)}"
                    )
                numbers.append(free.pop(0))
            ends: dict[int, tuple[str, bool]] = {}
            for link in range(1, radio.fibre.links_count + 1):
                pair, lane = self.pair_of(radio, link)
                way = ways[numbers[pair - 1] - 1]
                if pair not in ends:
                    ends[pair] = self._patched(way, radio, numbers[pair - 1], trunk_id, chosen.dc, chosen.fibre)
                end, crossed = ends[pair]
                self.service(radio, link, end, lane)
                self._jumper(radio, chosen.dc, chosen.fibre, link, pair, way.mast, other_lane(lane, crossed))
            for spare in range(1, radio.fibre.standby_count + 1):
                way = ways[numbers[asked + spare - 1] - 1]
                self.links.append(Link(f"{radio.id}-S{spare}", way.cabinet, way.mast, "standby", radio.id))
        for spare, n in enumerate(free, 1):
            self.links.append(Link(f"{trunk_id}-G{spare:02d}", ways[n - 1].cabinet, ways[n - 1].mast, "growth"))

    def _given(self, trunk_id: str, members: range, most: int) -> dict[str, tuple[int, ...]]:
        """Strand pairs that radios name by hand. Raises UsageError where one can't be, or is named twice."""
        out: dict[str, tuple[int, ...]] = {}
        taken: dict[int, str] = {}
        for m in members:
            radio = self.site.radios[m]
            asked = self.pairs_asked(radio) + radio.fibre.standby_count
            if len(radio.fibre.pairs) > asked:
                raise UsageError(f"{radio.id} names {len(radio.fibre.pairs)} strand pairs and uses {asked}")
            for n in radio.fibre.pairs:
                if n > most:
                    raise UsageError(f"{radio.id} names strand pair {n}; {trunk_id} has {most} up to the box")
                if n in taken:
                    raise UsageError(f"{radio.id} names strand pair {n} of {trunk_id}, which {taken[n]} has")
                taken[n] = radio.id
            out[radio.id] = radio.fibre.pairs
        return out

    def _ways(self, trunk_id: str, box_id: str, trunk: Cable, box: Box) -> list[Way]:
        """The pairs of duplex ends in the cabinet and at the box, in order, with everything between them joined."""
        foot = self.catalogue.connector(trunk.fibre_foot or "")
        ends = trunk.strands_count // foot.positions_count
        head = self.catalogue.connector(trunk.fibre_head or "")
        begin, first = len(self.joints), len(self.items)
        cabinet: list[str] = []
        if foot.positions_count == 2:
            cabinet = [
                f"{trunk_id}.foot.f{n}" for n in range(1, min(ends, box.fibre_in_count, box.fibre_out_count) + 1)
            ]
        else:
            fanout = self.catalogue.get(self.choice.fanout, Fanout)
            for n in range(1, ends + 1):
                if n > box.fibre_in_count and head.positions_count == foot.positions_count:
                    break
                fan_id = f"{trunk_id}-FP{n}"
                self.add(Item(fan_id, "fanout", fanout.id, serves=(trunk_id,), on="CAB"))
                self.joints.append(Joint(f"{fan_id}.array", f"{trunk_id}.foot.f{n}", fanout.array_keys))
                cabinet += [f"{fan_id}.f{d}" for d in range(1, fanout.duplex_count + 1)]
        array = head.positions_count > 2
        for n in range(1, min(trunk.strands_count // head.positions_count, box.fibre_in_count) + 1):
            if array or n <= box.fibre_out_count:
                self.joints.append(
                    Joint(f"{trunk_id}.head.f{n}", f"{box_id}.in.f{n}", box.array_keys if array else "opposed")
                )
        return self._walked(trunk_id, box_id, cabinet, self.items[first:], self.joints[begin:])

    def _walked(
        self, trunk_id: str, box_id: str, cabinet: list[str], fans: list[Item], joints: list[Joint]
    ) -> list[Way]:
        """Where each cabinet end comes out at the box; one whose two strands part is no pair and is left dark."""
        items = [next(i for i in self.items if i.id == id) for id in (trunk_id, box_id)] + fans
        parts = {p.id: p for p in self.catalogue} | {i.part: self.catalogue.part(i.part) for i in items}
        bare = Line(self.site.id, tuple(items), tuple(joints), parts)
        graph = optical(bare)
        starts = [graph.node(end, lane) for end in cabinet for lane in (1, 2)]
        light = follow_light(graph.mate, graph.through, starts, inward=True)
        out = []
        for n, end in enumerate(cabinet):
            one, two = light.end[2 * n : 2 * n + 2]
            port = graph.name(one)
            if port == graph.name(two) and port.startswith(f"{box_id}.out."):
                out.append(Way(end, port, bool(graph.position[one] == 2)))
        if cabinet and not out:
            raise UsageError(
                f"no pair of {trunk_id} comes out as a pair at {box_id}: array cable, keys and fan-outs don't belong together"
            )
        return out

    def _patched(self, way: Way, radio: Radio, n: int, trunk_id: str, dc: str, fibre: str) -> tuple[str, bool]:
        """
        A fan-out has jacks, so a patch lead goes on to the optic; its kind makes the number of crossings odd.

        Returns the end for the optic, and whether lanes are crossed from there to the radio.
        """
        jumper = self.cable(fibre or dc)
        behind = way.crossed is not (jumper.duplex_kind == "A-B")
        if ".foot." in way.cabinet:
            return way.cabinet, behind
        wanted = "A-A" if behind else "A-B"
        interface = self.catalogue.connector("lc-duplex-plug").interface
        patches = [
            p for p in self.catalogue.cables("fibre-jumper")
            if p.strands_count == 2 and p.duplex_kind == wanted and not p.pairs_count
            and all(self.catalogue.connector(e or "").interface == interface and self.catalogue.connector(e or "").indoor for e in (p.fibre_foot, p.fibre_head))
        ]  # fmt: skip
        if not patches:
            raise UsageError(
                f"the catalogue has no indoor {wanted} patch lead, which {radio.id} needs for its polarity"
            )
        part = min(patches, key=lambda p: (p.cost, p.id))
        id = f"{trunk_id}-X{n:02d}"
        self.add(
            Item(
                id,
                part.kind,
                part.id,
                length_or_fault(part, PATCH_M, id),
                0.02,
                serves=(radio.id,),
                on="CAB",
                reason=f"{wanted}, so that transmit meets receive",
            )
        )
        self.join(f"{id}.head.f1", way.cabinet)
        return f"{id}.foot.f1", True

    def _jumper(self, radio: Radio, dc: str, fibre: str, link: int, pair: int, box_end: str, lane: str) -> None:
        """Join a link's box output to the radio, opening a new jumper when the one before is full."""
        hybrid = self.cable(dc)
        if hybrid.strands_count and not fibre:
            if pair > hybrid.strands_count // 2:
                raise UsageError(
                    f"{radio.id}: {hybrid.id} carries {hybrid.strands_count // 2} link(s); {pair} are asked"
                )
            id, slot = f"{radio.id}-H1", pair
        else:
            part = self.cable(fibre)
            each = part.strands_count // 2
            number, slot = (pair - 1) // each + 1, (pair - 1) % each + 1
            id = f"{radio.id}-F{number}"
            if slot == 1 and self.pair_of(radio, link)[1] != "b":
                self.span(id, part, jumper_need_m(self.site, radio), radio, self.site.box_height_m)
        if self.pair_of(radio, link)[1] != "b":
            self.join(box_end, f"{id}.foot.f{slot}")
        self.joints.append(Joint(f"{id}.head.f{slot}", f"{radio.id}.opt{link}", lane=lane))

    def line(self) -> Line:
        self.place()
        if self.choice.form == "hybrid":
            self.hybrid()
        else:
            self.separate()
        self.rf()
        self.control()
        items = [
            Item(**{**i.__dict__, "equipment": tuple(self.equipment[i.id])}) if i.kind == "radio" else i
            for i in self.items
        ]
        items.insert(0, Item("BB1", "baseband", "", on="CAB", equipment=tuple(self.optics)))
        items.insert(0, Item("PLANT", "plant", "", on="CAB"))
        items += add_hardware(self.site, self.catalogue, items, self.joints)
        parts = {part.id: part for part in self.catalogue}
        for item in items:
            if item.part:
                parts.setdefault(item.part, self.catalogue.part(item.part))
        return Line(self.site.id, tuple(items), tuple(self.joints), used_parts(items, parts), tuple(self.links))


def _how(stock: tuple[float, ...]) -> str:
    return "shortest stock length" if stock else "made length"


def build(site: Site, catalogue: Catalogue, choice: Choice) -> Line:
    """
    The line that a choice makes of a site.

    Raises
    ------
    UsageError
        If the choice can't be built: a length that can't be had, too few pairs, strands or outputs.
    MateError
        If two ends can't mate; the message names both and says why.
    """
    return _Builder(site, catalogue, choice).line()
