"""
Read a site folder's `site.yaml`, with all faults at once.

First each value is checked against its declaration, then the values against each other and against the catalogue: ids that
repeat, radios without an antenna, two radios on one port, a route shorter than the mast.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from upmast import units, yamlfile
from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import AntennaPart, Optic, RadioPart, RfCable, RfInline
from upmast.declare import check
from upmast.errors import FaultList
from upmast.rf.bands import band
from upmast.site.site import Carrier, Radio, Site
from upmast.yamlfile import YamlText, show_path

EDGE_HZ = 1e3  # of carriers that touch
RISERS = ("vertical", "indoor", "duct")  # kinds of legs that may go up
CABLE_OUTSIDE_M = 5.0  # a cable farther from the mast is not on it
HEIGHT_OFF_M = 1.0  # from the middle of a radio or an antenna to its ports
RESERVED = re.compile(r"PLANT|BB1|CAB|(T|BX)[1-9][0-9]*")  # ids that every line uses itself


def load(path: Path, catalogue: Catalogue) -> Site:
    """The site of a file. Raises InputFaults with every fault found."""
    return from_text(yamlfile.read(path), catalogue)


def from_text(text: YamlText, catalogue: Catalogue) -> Site:
    """The site of a text. Raises InputFaults with every fault found."""
    faults = FaultList(text.file)
    if not isinstance(text.data, dict):
        faults.add(
            "",
            text.data,
            "a mapping that begins with version: 1",
            "see docs/site.md, or make a folder with: upmast start",
            1,
            1,
        )
        faults.raise_if_any()
    site = check(Site, text.data, text, (), faults)
    if site is not None:
        _Cross(site, catalogue, text, faults).run()
    faults.raise_if_any()
    assert site is not None
    return site


class _Cross:
    """What no single value can tell: one small method a rule."""

    def __init__(self, site: Site, catalogue: Catalogue, text: YamlText, faults: FaultList) -> None:
        self.site, self.catalogue, self.text, self.faults = site, catalogue, text, faults

    def add(self, path: tuple[str | int, ...], got: object, expected: str, remedy: str) -> None:
        path = self._as_written(path)
        self.faults.add(show_path(path), got, expected, remedy, *self.text.position(path))

    def _as_written(self, path: tuple[str | int, ...]) -> tuple[str | int, ...]:
        """The path with the key that stands in the file, where a value was given in another unit."""
        last = path[-1]
        unit = units.unit_of(last) if isinstance(last, str) else None
        if unit is None or self.text.knows(path):
            return path
        stem = str(last)[: len(str(last)) - len(unit.suffix)]
        written = [(*path[:-1], stem + other.suffix) for other in units.siblings(unit)]
        return next((one for one in written if self.text.knows(one)), path)

    def run(self) -> None:
        self.ids()
        self.sectors()
        self.parts()
        self.antennas()
        self.ports()
        self.carriers()
        self.heights()
        self.ways()
        self.limits()
        self.loops()
        self.earthing()

    def earthing(self) -> None:
        """Bars stand on the mast, and cables near it."""
        earth, top = self.site.earthing, self.site.mast.height_m
        if earth is None:
            return
        for index, height in enumerate(earth.bars_at_m):
            if height > top:
                self.add(
                    ("earthing", "bars_at_m", index), f"{height:g} m", f"at most the height of the mast, {top:g} m",
                    "correct the height, or that of the mast",
                )  # fmt: skip
        for index, cable in enumerate(earth.cables):
            outside = earth.outside_m(cable, self.site.mast.face_m, self.site.mast.kind)
            if outside > CABLE_OUTSIDE_M:
                self.add(
                    ("earthing", "cables", index), f"{cable.item} {outside:.1f} m outside the mast",
                    f"within {CABLE_OUTSIDE_M:g} m of the face of the mast", "correct east_m and north_m, from the axis of the mast",
                )  # fmt: skip

    def loops(self) -> None:
        seen: dict[tuple[str, int], int] = {}
        for index, loop in enumerate(self.site.measured_loops):
            first = seen.setdefault((loop.item, loop.pair), index)
            if first != index:
                self.add(
                    ("measured_loops", index, "item"), f"{loop.item} pair {loop.pair}",
                    f"each pair once (measured_loops[{first + 1}] has it)", "keep the one that holds",
                )  # fmt: skip

    def ids(self) -> None:
        seen: dict[str, str] = {}
        for group in ("sectors", "radios", "antennas", "existing"):
            for index, one in enumerate(getattr(self.site, group)):
                place = show_path((group, index))
                if group == "sectors":
                    key = "sector " + one.id
                else:
                    key = one.id
                if key in seen:
                    self.add(
                        (group, index, "id"), one.id, f"an id of its own ({seen[key]} has it)", "rename one of the two"
                    )
                seen.setdefault(key, place)
                if group != "sectors" and RESERVED.fullmatch(one.id):
                    self.add(
                        (group, index, "id"), one.id, "another id: plant, baseband, trunks and boxes are called so",
                        f"rename it, e.g. R-{one.id}",
                    )  # fmt: skip

    def sectors(self) -> None:
        names = [sector.id for sector in self.site.sectors]
        for group in ("radios", "antennas", "metals"):
            for index, one in enumerate(getattr(self.site, group)):
                if one.sector not in names:
                    self.add(
                        (group, index, "sector"),
                        one.sector,
                        "a sector of this site: " + ", ".join(names),
                        "correct it, or add the sector",
                    )

    def _known(self, path: tuple[str | int, ...], id: str, kind: type, words: str) -> bool:
        if id in self.catalogue and isinstance(self.catalogue.part(id), kind):
            return True
        names = [part.id for part in self.catalogue if isinstance(part, kind)]
        self.add(
            path,
            id,
            f"{words} of the catalogue: {_some(names)}",
            "correct it, or add the part to a catalogue of your own",
        )
        return False

    def _optics(self, path: tuple[str | int, ...], radio: Radio) -> None:
        """The optic at the radio works on as many strands as that in the cabinet."""
        far = radio.fibre.radio_optic or ""
        near = radio.fibre.optic or self.site.cabinet.optic
        if not self._known(path, far, Optic, "an optic") or near not in self.catalogue:
            return
        one, two = self.catalogue.part(near), self.catalogue.part(far)
        if isinstance(one, Optic) and isinstance(two, Optic) and one.strands_count != two.strands_count:
            self.add(
                path, f"{far} on {two.strands_count} strand(s)", f"an optic on {one.strands_count}, like {near} in the cabinet",
                "take two optics that are a pair",
            )  # fmt: skip

    def parts(self) -> None:
        self._known(("cabinet", "optic"), self.site.cabinet.optic, Optic, "an optic")
        for index, radio in enumerate(self.site.radios):
            at = ("radios", index)
            if self._known((*at, "part"), radio.part, RadioPart, "a radio"):
                part = self.catalogue.get(radio.part, RadioPart)
                highest = radio.maximum_w or part.maximum_w
                mean = radio.typical_w or part.typical_w
                if mean > highest:
                    typed = radio.typical_w is not None
                    self.add(
                        (*at, "typical_w" if typed else "maximum_w"),
                        f"{mean:g} W" if typed else f"{highest:g} W",
                        f"at most maximum_w, {highest:g} W"
                        if typed
                        else f"at least the mean power of {part.id}, {mean:g} W",
                        "check which of the two is the highest input power" if typed else "check the unit: is it kW?",
                    )
                volts = [
                    getattr(radio, name) or getattr(part, name) for name in ("cut_out_v", "minimum_v", "maximum_v")
                ]
                if volts != sorted(volts) or (radio.restart_v or part.restart_v) < volts[0]:
                    self.add(
                        at,
                        ", ".join(f"{v:g} V" for v in volts),
                        "cut_out_v <= minimum_v <= maximum_v, and restart_v at least cut_out_v",
                        "check the voltages of the data sheet",
                    )
                asked = radio.fibre.links_count + radio.fibre.standby_count
                if radio.fibre.links_count > part.optical_ports_count:
                    self.add(
                        (*at, "fibre", "links_count"),
                        radio.fibre.links_count,
                        f"at most {part.optical_ports_count}, the optical ports of {part.id}",
                        "ask fewer links",
                    )
                elif asked > part.optical_ports_count + 2:
                    self.add(
                        (*at, "fibre", "standby_count"),
                        asked,
                        "links and standby links that the radio can use",
                        "ask fewer standby links",
                    )
            if radio.fibre.optic is not None:
                self._known((*at, "fibre", "optic"), radio.fibre.optic, Optic, "an optic")
            if radio.fibre.radio_optic is not None:
                self._optics((*at, "fibre", "radio_optic"), radio)
            for n, name in enumerate(radio.inline):
                self._known((*at, "inline", n), name, RfInline, "a two-port (rf-inline)")
        for index, antenna in enumerate(self.site.antennas):
            self._known(("antennas", index, "part"), antenna.part, AntennaPart, "an antenna")

    def antennas(self) -> None:
        known = {antenna.id: antenna for antenna in self.site.antennas}
        for index, radio in enumerate(self.site.radios):
            at = ("radios", index)
            part = self.catalogue.part(radio.part) if radio.part in self.catalogue else None
            if not isinstance(part, RadioPart):
                continue
            if radio.antenna is None:
                if part.rf_ports_count:
                    self.add(
                        (*at, "antenna"),
                        "nothing",
                        f"an antenna for the {part.rf_ports_count} RF ports of {part.id}",
                        "add antenna and antenna_ports",
                    )
                continue
            if part.rf_ports_count == 0:
                self.add(
                    (*at, "antenna"),
                    radio.antenna,
                    f"no antenna: {part.id} has no RF ports",
                    "remove antenna and antenna_ports",
                )
                continue
            antenna = known.get(radio.antenna)
            if antenna is None:
                self.add(
                    (*at, "antenna"),
                    radio.antenna,
                    "an antenna of this site: " + (_some(known) or "there is none"),
                    "correct it, or add the antenna",
                )
                continue
            if antenna.sector != radio.sector:
                self.add(
                    (*at, "antenna"),
                    radio.antenna,
                    f"an antenna of sector {radio.sector}; {antenna.id} serves {antenna.sector}",
                    "take an antenna of the radio's own sector",
                )
            if not radio.antenna_ports:
                self.add(
                    (*at, "antenna_ports"),
                    "nothing",
                    f"up to {part.rf_ports_count} port names of {antenna.id}",
                    "add antenna_ports, in the order of the radio's ports",
                )
            elif len(radio.antenna_ports) > part.rf_ports_count:
                self.add(
                    (*at, "antenna_ports"),
                    f"{len(radio.antenna_ports)} ports",
                    f"at most {part.rf_ports_count}, the RF ports of {part.id}",
                    "remove the ports too many",
                )

    def ports(self) -> None:
        taken: dict[tuple[str, str], str] = {}
        for index, radio in enumerate(self.site.radios):
            antenna = next((a for a in self.site.antennas if a.id == radio.antenna), None)
            if antenna is None or antenna.part not in self.catalogue:
                continue
            part = self.catalogue.part(antenna.part)
            if not isinstance(part, AntennaPart):
                continue
            names = [port.name for port in part.ports]
            for position, name in enumerate(radio.antenna_ports):
                path = ("radios", index, "antenna_ports", position)
                if name not in names:
                    self.add(path, name, f"a port of {antenna.id} ({part.id}): {_some(names)}", "correct the port name")
                    continue
                other = taken.setdefault((antenna.id, name), radio.id)
                if other != radio.id or radio.antenna_ports.index(name) != position:
                    who = f"radio {other}" if other != radio.id else "another port of the same radio"
                    self.add(
                        path,
                        name,
                        f"a free port: {antenna.id} port {name} is taken by {who}",
                        "give each radio port an antenna port of its own",
                    )
                port = part.ports[names.index(name)]
                for carrier in radio.carriers:
                    if not port.low_hz <= carrier.centre_hz <= port.high_hz:
                        self.add(
                            path,
                            name,
                            f"a port that covers {carrier.centre_hz / 1e6:g} MHz; {name} covers {port.low_hz / 1e6:g} to {port.high_hz / 1e6:g} MHz",
                            "take a port of the right band",
                        )
                        break

    def carriers(self) -> None:
        groups = [(("radios", i), radio.carriers) for i, radio in enumerate(self.site.radios)]
        groups += [(("neighbours", i), other.carriers) for i, other in enumerate(self.site.neighbours)]
        for at, carriers in groups:
            for index, carrier in enumerate(carriers):
                path = (*at, "carriers", index)
                if carrier.band:
                    try:
                        found = band(carrier.band)
                    except (KeyError, ValueError):
                        self.add(
                            (*path, "band"), carrier.band, "an operating band such as B3 or n78", "correct the band"
                        )
                        continue
                    self._inside(path, carrier, found.downlink_hz)
            self._apart(at, carriers)

    def _inside(self, path: tuple[str | int, ...], carrier: Carrier, way: tuple[float, float] | None) -> None:
        """The whole carrier, and the block in which it may move, lie in the downlink of its band."""
        shown = "no downlink" if way is None else f"{way[0] / 1e6:g} to {way[1] / 1e6:g} MHz"
        low, high = carrier.centre_hz - carrier.width_hz / 2, carrier.centre_hz + carrier.width_hz / 2
        if way is None or not way[0] <= carrier.centre_hz <= way[1]:
            self.add(
                (*path, "centre_hz"), f"{carrier.centre_hz / 1e6:g} MHz", f"a centre inside the downlink of {carrier.band}: {shown}",
                "correct the centre or the band",
            )  # fmt: skip
        elif low < way[0] - EDGE_HZ or high > way[1] + EDGE_HZ:
            self.add(
                (*path, "width_hz"), f"{low / 1e6:g} to {high / 1e6:g} MHz", f"a carrier inside the downlink of {carrier.band}: {shown}",
                "correct the centre or the width",
            )  # fmt: skip
        for name, edge in (("move_from_hz", carrier.move_from_hz), ("move_to_hz", carrier.move_to_hz)):
            if edge is not None and way is not None and not way[0] - EDGE_HZ <= edge <= way[1] + EDGE_HZ:
                self.add(
                    (*path, name), f"{edge / 1e6:g} MHz", f"an edge inside the downlink of {carrier.band}: {shown}",
                    "correct the block, or the band",
                )  # fmt: skip

    def _apart(self, at: tuple[str | int, ...], carriers: Sequence[Carrier]) -> None:
        """No two carriers of one transmitter on the same frequencies."""
        order = sorted(range(len(carriers)), key=lambda n: carriers[n].centre_hz)
        for a, b in itertools.pairwise(order):
            one, two = carriers[a], carriers[b]
            if one.centre_hz + one.width_hz / 2 > two.centre_hz - two.width_hz / 2 + EDGE_HZ:
                self.add(
                    (*at, "carriers", b, "centre_hz"), f"{two.centre_hz / 1e6:g} MHz, {two.width_hz / 1e6:g} MHz wide",
                    f"a carrier apart from carriers[{a + 1}], {one.centre_hz / 1e6:g} MHz and {one.width_hz / 1e6:g} MHz wide",
                    "correct a centre or a width, or remove the one that is there twice",
                )  # fmt: skip

    def ways(self) -> None:
        """A measured way between two ports stands where the radio and the antenna do, and bends no tighter than some jumper may."""
        heights = {antenna.id: antenna.height_m for antenna in self.site.antennas}
        jumpers = [part for part in self.catalogue if isinstance(part, RfCable)]
        for index, radio in enumerate(self.site.radios):
            way = radio.rf_way
            if way is None:
                continue
            at = ("radios", index, "rf_way")
            if radio.rf_run_m is not None:
                self.add(
                    ("radios", index, "rf_run_m"), f"{radio.rf_run_m:g} m", "rf_run_m or rf_way, not both",
                    "keep rf_way where the ports are known, else rf_run_m",
                )  # fmt: skip
            if radio.antenna in heights:
                asked, drawn = heights[radio.antenna] - radio.height_m, way.end.up_m - way.start.up_m
                if abs(asked - drawn) > HEIGHT_OFF_M:
                    self.add(
                        (*at, "end", "up_m"), f"{drawn:+.2f} m from port to port",
                        f"within {HEIGHT_OFF_M:g} m of {asked:+.2f} m, from {radio.id} to {radio.antenna} by their height_m",
                        "correct up_m of start or end, or the heights",
                    )  # fmt: skip
            tightest = min(
                (part.bend_static_mm / 1000 for part in jumpers if part.bend_static_mm is not None), default=0.0
            )
            if way.bend_m < tightest - 1e-9:
                self.add(
                    (*at, "bend_m"), f"{way.bend_m:g} m", f"at least {tightest:g} m, the least radius of any RF jumper of the catalogue",
                    "take the radius of the data sheet",
                )  # fmt: skip

    def heights(self) -> None:
        top = self.site.mast.height_m
        for group in ("radios", "antennas"):
            for index, one in enumerate(getattr(self.site, group)):
                if one.height_m > top + 6:
                    self.add(
                        (group, index, "height_m"),
                        f"{one.height_m:g} m",
                        f"at most 6 m above the top of the mast, {top:g} m",
                        "correct the height, or that of the mast",
                    )
        box = self.site.box_height_m
        if box > top + 6:
            self.add(
                ("mast", "box_height_m"), f"{box:g} m", f"a box on the mast, {top:g} m high", "correct box_height_m"
            )
        drawn = sum(leg.length_m for leg in self.site.route.legs)
        least = abs(box - self.site.cabinet.height_m)
        if drawn < least:
            self.add(
                ("route", "legs"),
                f"{drawn:g} m in all",
                f"at least {least:g} m, the height from the cable entry to the box",
                "add the missing leg, or correct the lengths",
            )
            return
        # what lies flat does not climb; a riser may be drawn as an indoor leg or a duct
        legs = self.site.route.legs
        rising = sum(leg.length_m for leg in legs if leg.kind in RISERS)
        doubt = sum(leg.tolerance_m for leg in legs if leg.kind in RISERS)
        if rising + doubt < least:
            self.add(
                ("route", "legs"),
                f"{rising:g} m of vertical, indoor and duct legs",
                f"at least {least:g} m of them, the height from the cable entry at {self.site.cabinet.height_m:g} m to the box at {box:g} m",
                "correct the length of the vertical leg, or the height of box or cabinet",
            )

    def limits(self) -> None:
        seen: set[str] = set()
        for index, limit in enumerate(self.site.limits):
            if limit.code in seen:
                self.add(("limits", index, "code"), limit.code, "each code once", "remove one of the two")
            seen.add(limit.code)
            if limit.value is None and not limit.confirmed_by:
                self.add(
                    ("limits", index),
                    "neither value nor confirmed_by",
                    "a value, or the name of who confirmed the limit",
                    "add value or confirmed_by",
                )


def _some(names: Iterable[str], most: int = 12) -> str:
    listed = list(names)
    return ", ".join(listed[:most]) + (f" and {len(listed) - most} more" if len(listed) > most else "")
