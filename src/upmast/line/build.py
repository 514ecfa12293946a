"""
Build a line from a site and a choice: items, joints and links, each with an id made from its place and kind.

The same place gets the same id whatever part stands there, so a line planned again keeps its labels.
"""

from __future__ import annotations

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import (
    AntennaPart,
    Box,
    Cable,
    ControlCable,
    Fanout,
    RadioPart,
    RfCable,
)
from upmast.errors import UsageError
from upmast.line.choice import Choice, shares
from upmast.line.hardware import add_hardware
from upmast.line.line import Item, Joint, Line, Link, used_parts
from upmast.line.need import (
    jumper_need_m,
    length_for,
    length_or_fault,
    making_tolerance_m,
    rf_need_m,
    run_need_m,
    trunk_need_m,
)
from upmast.site.site import Radio, Site

PATCH_M = 2.0


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
        for radio, chosen in zip(self.site.radios, self.choice.radios, strict=True):
            for n, port in enumerate(radio.antenna_ports, 1):
                part = self.catalogue.get(chosen.rf, RfCable)
                id = f"{radio.id}-J{n}"
                need = rf_need_m(self.site, radio)
                length = length_or_fault(part, need, id)
                low, high = sorted((radio.height_m, self.site.antenna(radio.antenna or "").height_m))
                self.add(
                    Item(
                        id, part.kind, part.id, length, part.length_tolerance_m, low, high, radio.sector, (radio.id,),
                        reason=f"{_how(part.stock_lengths_m)} that covers the {need:.2f} m from port to port",
                    )
                )  # fmt: skip
                self.join(f"{radio.id}.rf{n}", f"{id}.foot")
                self.join(f"{id}.head", f"{radio.antenna}.{port}")

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

    def service(self, radio: Radio, n: int, cabinet_end: str) -> None:
        """Equip both ends of a link and say that they belong together."""
        slot = f"s{len(self.optics) + 1}"
        self.optics.append((slot, self.optic(radio)))
        self.equipment[radio.id].append((f"opt{n}", self.optic(radio)))
        self.join(f"BB1.{slot}", cabinet_end)
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
            for n in range(1, radio.fibre.links_count + 1):
                self.service(radio, n, f"{id_f}.foot.f{n}")
                self.join(f"{id_f}.head.f{n}", f"{radio.id}.opt{n}")
            ends = carrier.strands_count // 2
            for n in range(radio.fibre.links_count + 1, ends + 1):
                state = "standby" if n <= radio.fibre.links_count + radio.fibre.standby_count else "growth"
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
        """Strand pairs in order: for each radio its links, then its standby pairs; what is left is growth."""
        if not trunk.strands_count:
            return
        duplexes = self._duplexes(trunk_id, box_id, trunk, box)
        n = 0
        for m in members:
            radio, chosen = self.site.radios[m], self.choice.radios[m]
            for link in range(1, radio.fibre.links_count + 1):
                n += 1
                cabinet, mast = self._take(duplexes, n, radio.id)
                self.service(radio, link, self._patched(cabinet, radio, n, trunk_id, chosen.dc, chosen.fibre))
                self._jumper(radio, chosen.dc, chosen.fibre, link, mast)
            for spare in range(1, radio.fibre.standby_count + 1):
                n += 1
                cabinet, mast = self._take(duplexes, n, radio.id)
                self.links.append(Link(f"{radio.id}-S{spare}", cabinet, mast, "standby", radio.id))
        for spare, (cabinet, mast) in enumerate(duplexes[n:], 1):
            self.links.append(Link(f"{trunk_id}-G{spare:02d}", cabinet, mast, "growth"))

    def _take(self, duplexes: list[tuple[str, str]], n: int, radio: str) -> tuple[str, str]:
        if n > len(duplexes):
            raise UsageError(f"{radio} needs strand pair {n}, but trunk and box together have {len(duplexes)}")
        return duplexes[n - 1]

    def _duplexes(self, trunk_id: str, box_id: str, trunk: Cable, box: Box) -> list[tuple[str, str]]:
        """The duplex ends in the cabinet and at the box, in order, with everything between them joined."""
        foot = self.catalogue.connector(trunk.fibre_foot or "")
        head = self.catalogue.connector(trunk.fibre_head or "")
        ends = trunk.strands_count // foot.positions_count
        out: list[tuple[str, str]] = []
        if foot.positions_count == 2:
            for n in range(1, min(ends, box.fibre_in_count, box.fibre_out_count) + 1):
                self.join(f"{trunk_id}.head.f{n}", f"{box_id}.in.f{n}")
                out.append((f"{trunk_id}.foot.f{n}", f"{box_id}.out.f{n}"))
            return out
        each = head.positions_count // 2
        fanout = self.catalogue.get(self.choice.fanout, Fanout)
        for n in range(1, min(ends, box.fibre_in_count) + 1):
            fan_id = f"{trunk_id}-FP{n}"
            self.add(Item(fan_id, "fanout", fanout.id, serves=(trunk_id,), on="CAB"))
            self.join(f"{fan_id}.array", f"{trunk_id}.foot.f{n}")
            self.join(f"{trunk_id}.head.f{n}", f"{box_id}.in.f{n}")
            for d in range(1, each + 1):
                port = (n - 1) * each + d
                if port <= box.fibre_out_count and d <= fanout.duplex_count:
                    out.append((f"{fan_id}.f{d}", f"{box_id}.out.f{port}"))
        return out

    def _patched(self, cabinet: str, radio: Radio, n: int, trunk_id: str, dc: str, fibre: str) -> str:
        """A fan-out has jacks, so a patch lead goes on to the optic; its kind makes the number of crossings odd."""
        if ".foot." in cabinet:
            return cabinet
        jumper = self.cable(fibre or dc)
        wanted = "A-A" if jumper.duplex_kind == "A-B" else "A-B"
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
        self.join(f"{id}.head.f1", cabinet)
        return f"{id}.foot.f1"

    def _jumper(self, radio: Radio, dc: str, fibre: str, link: int, box_end: str) -> None:
        """Join one link's box output to the radio, opening a new jumper when the one before is full."""
        hybrid = self.cable(dc)
        if hybrid.strands_count and not fibre:
            if link > hybrid.strands_count // 2:
                raise UsageError(
                    f"{radio.id}: {hybrid.id} carries {hybrid.strands_count // 2} link(s); {link} are asked"
                )
            id, slot = f"{radio.id}-H1", link
        else:
            part = self.cable(fibre)
            each = part.strands_count // 2
            number, slot = (link - 1) // each + 1, (link - 1) % each + 1
            id = f"{radio.id}-F{number}"
            if slot == 1:
                self.span(id, part, jumper_need_m(self.site, radio), radio, self.site.box_height_m)
        self.join(box_end, f"{id}.foot.f{slot}")
        self.join(f"{id}.head.f{slot}", f"{radio.id}.opt{link}")

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
