"""What the weather room sees of a line, and what it finds: ingress codes, open ports, the sheath in the sun."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from upmast.catalogue.base import Outdoors
from upmast.catalogue.part import AntennaPart, Box, RadioPart, Seal
from upmast.errors import shorten
from upmast.finding import Figure, Finding, Scenario, judge
from upmast.limits import Limits
from upmast.line.hardware import open_outdoors
from upmast.line.line import RUNS, Item, Line
from upmast.line.port import Port
from upmast.room import Result
from upmast.site.site import Hazards, Site
from upmast.weather.closure import covered_length_mm
from upmast.weather.derive import MAGNUS, derive
from upmast.weather.guards import closure_findings, hazard_findings, inspection_figure
from upmast.weather.hazard import Armour, LegExposure, PartWithstand
from upmast.weather.heat import BALANCE
from upmast.weather.moist_air import SEAL_MARGIN_K, dew_point_c
from upmast.weather.state import (
    REMINDER_C,
    REMINDER_PERCENT,
    Closed,
    Exposed,
    Inputs,
    Joint,
    Outdoor,
    chain_of,
    code_meets,
    weakest,
)
from upmast.weather.sun import STILL_AIR_W_PER_M2_K, sun_temperature_c, surface
from upmast.working import Step

NAME = "weather"
VERSION = "1"
CAUTIONS = (
    "Seal only dry, torqued and tested joints; a joint that is opened again gets a new seal.",
    "3 K above the dew point is common coating practice, not a standard limit for joints.",
    "A code holds only for the joint that is mated and torqued; an open port keeps nothing out.",
    "Hot air and solvent on the mast: fire and fume. Let solvent dry before the surface is measured.",
    "Never seal wet, icy, dusty or hot joints. Wind chill does not apply to metal.",
)
DEVICES = ("box", "radio", "antenna")
CABLES = ("rf-jumper", "feeder", "control-cable", "dc-jumper", "fibre-jumper", "hybrid-jumper", "dc-cable", "fibre-cable", "trunk")  # fmt: skip
IN_CABINET = ("CAB", "PLANT")


def inputs(line: Line, site: Site, scenarios: Sequence[Scenario]) -> Inputs:
    """Read a line into chains of codes. A joint belongs to the cable on it; what lies inside a box has the box's code."""
    reader = _Reader(line)
    items = []
    for item in line.of_kind(*DEVICES):
        items.append(reader.device(item))
    for item in line.of_kind(*CABLES):
        if item.on not in IN_CABINET:
            items.append(reader.cable(item))
    climate = site.climate
    return Inputs(
        site.id,
        climate.ingress,
        tuple(one for one in items if one.own_code or one.joints or one.caps or one.open_ports),
        climate.hot_c,
        climate.sun_w_per_m2,
        climate.coast,
        tuple(_exposed(line, site)),
        tuple((one.item, closed) for one in items if one.kind in CABLES and (closed := _closed(line, one))),
        _exposures(site),
    )


def _exposed(line: Line, site: Site) -> Iterator[Exposed]:
    """Runs on legs with declared hazards, and jumpers where the mast declares some."""
    for item in line.of_kind(*CABLES):
        part = line.parts.get(item.part)
        if item.on in IN_CABINET or not isinstance(part, Outdoors):
            continue
        crush = getattr(part, "crush_n_per_100mm", None)
        withstand = PartWithstand(
            uv_grade=part.sheath_uv, corrosion=part.corrosion_class, armour=None if part.armour is None else Armour(part.armour),
            impact_j=part.impact_j, crush_n=crush, vibration=part.vibration_tested,
        )  # fmt: skip
        if item.kind in RUNS:
            for n, leg in enumerate(site.route.legs, 1):
                if leg.hazards is not None:
                    yield Exposed(
                        f"{item.id}-LEG{n}", item.id, part.id, f"leg {leg.name}", _exposure(leg.hazards), withstand
                    )
        elif site.mast.hazards is not None:
            yield Exposed(item.id, item.id, part.id, "on the mast", _exposure(site.mast.hazards), withstand)


def _exposure(declared: Hazards) -> LegExposure:
    return LegExposure(**declared.model_dump())


def _exposures(site: Site) -> tuple[str, ...]:
    """What the site is exposed to, by the names of the inspection rule: the climate, and what is declared."""
    found = {"sun": site.climate.sun_w_per_m2 > 0, "salt": site.climate.coast, "ice fall": site.climate.ice != "none"}
    for declared in (site.mast.hazards, *(leg.hazards for leg in site.route.legs)):
        if declared is None:
            continue
        for name, value in (
            ("sun", declared.sun), ("salt", bool(declared.corrosion)), ("gnawing", declared.gnawing), ("impact", bool(declared.impact_j)),
            ("tread", bool(declared.tread_n)), ("ice fall", bool(declared.ice_fall_j)), ("vibration", declared.vibration),
        ):  # fmt: skip
            found[name] = found.get(name, False) or bool(value)
    return tuple(name for name, holds in found.items() if holds)


def _closed(line: Line, one: Outdoor) -> tuple[Closed, ...]:
    """Joints of a cable under closures, where the sizes of both are known."""
    out = []
    for joint in one.joints:
        seal = line.parts.get(joint.seal)
        if not isinstance(seal, Seal) or None in (seal.end_low_mm, seal.end_high_mm, seal.body_mm, seal.inside_mm):
            continue
        sizes = [line.connector(id) for id in joint.connectors if id]
        nuts = [c.nut_mm for c in sizes if c.nut_mm is not None]
        lengths = [c.nut_length_mm for c in sizes if c.nut_length_mm is not None]
        if not nuts or not lengths:
            continue
        cable, other = (
            float(getattr(line.parts.get(line.by_id[end.partition(".")[0]].part), "diameter_mm", 0.0))
            for end in joint.ends
        )
        source = seal.source_of("body_mm")
        device = line.parts.get(line.by_id[joint.ends[1].partition(".")[0]].part)
        port = device if isinstance(device, AntennaPart | RadioPart) else None
        out.append(
            Closed(
                joint.ends, seal.id, cable, other, max(nuts), float(covered_length_mm([max(lengths)])), seal.end_low_mm or 0.0,
                seal.end_high_mm or 0.0, seal.body_mm or 0.0, seal.inside_mm or 0.0, (source.document, source.mark.value),
                seal.closure or "", "" if port is None else port.id, None if port is None else port.rf_pitch_mm, seal.outer_mm,
            )
        )  # fmt: skip
    return tuple(out)


class _Reader:
    def __init__(self, line: Line) -> None:
        self.line = line
        self.caps: dict[str, list[tuple[Item, Seal]]] = {}
        self.seals: dict[str, list[tuple[Seal, int]]] = {}
        for item in line.of_kind("cap", "seal"):
            part = line.parts.get(item.part)
            if not isinstance(part, Seal):
                continue
            if item.kind == "cap":
                self.caps.setdefault(item.on, []).append((item, part))
            else:
                self.seals.setdefault(item.on, []).append((part, item.count))
        self.joints: dict[str, list[tuple[str, str]]] = {}
        for joint in line.joints:
            (a, _), (b, _) = joint.ends
            on = a if line.by_id[a].kind in CABLES else b
            self.joints.setdefault(on, []).append((joint.a, joint.b) if on == a else (joint.b, joint.a))
        self.joined = set(line.joined)

    def device(self, item: Item) -> Outdoor:
        part = self.line.parts.get(item.part)
        own = part.ip if isinstance(part, Box | RadioPart) else ""
        open_ports: dict[str, list[str]] = {}
        for port in open_outdoors(item.id, self.line.ports.get(item.id, {}).values(), self.joined):
            open_ports.setdefault(port.interface, []).append(port.name)
        capped: dict[str, int] = {}
        for cap, seal in self.caps.get(item.id, ()):
            capped[seal.interface] = capped.get(seal.interface, 0) + cap.count
        rows = tuple(
            (face, len(names), capped.get(face, 0), tuple(names)) for face, names in sorted(open_ports.items())
        )
        caps = tuple((f"cap {seal.id}", seal.ip) for _, seal in self.caps.get(item.id, ()))
        return Outdoor(item.id, item.kind, item.part, own, self._joints(item), caps, rows)

    def cable(self, item: Item) -> Outdoor:
        return Outdoor(item.id, item.kind, item.part, "", self._joints(item), (), ())

    def _joints(self, item: Item) -> tuple[Joint, ...]:
        """Joints outdoors, each with a seal where the item has one left for its interface."""
        left = [[seal, count] for seal, count in self.seals.get(item.id, ())]
        joints = []
        for mine, other in self.joints.get(item.id, ()):
            a, b = self.line.port(mine), self.line.port(other)
            if self._inside(mine, a) or self._inside(other, b):
                continue
            seal = self._seal(left, a.interface)
            indoor = next((end.connector for end in (a, b) if end.indoor), "")
            joints.append(
                Joint((mine, other), (a.connector, b.connector), (self._code(a), self._code(b)), indoor, *seal)
            )
        return tuple(joints)

    def _inside(self, end: str, port: Port) -> bool:
        """In the cabinet, or behind the lid of a box or radio."""
        id, name = end.split(".", 1)
        item = self.line.by_id[id]
        if item.on in IN_CABINET or item.kind in ("plant", "breaker", "baseband", "fanout"):
            return True
        return item.kind in DEVICES and (port.indoor or name.startswith("in."))

    def _code(self, port: Port) -> str:
        return self.line.connector(port.connector).ip_mated if port.connector else "IPXX"

    @staticmethod
    def _seal(left: list[list[object]], interface: str) -> tuple[str, str]:
        for row in left:
            seal, count = row
            assert isinstance(seal, Seal)
            assert isinstance(count, int)
            if count > 0 and seal.interface in (interface, "any"):
                row[1] = count - 1
                return seal.id, seal.ip
        return "", ""


def check(inputs: Inputs, limits: Limits) -> Result:
    """Findings and figures of the room."""
    findings = (
        *_open_ports(inputs, limits), *_ingress(inputs, limits), *hazard_findings(inputs, limits), *closure_findings(inputs, limits),
    )  # fmt: skip
    return Result(findings, tuple(_figures(inputs)))


def _open_ports(i: Inputs, limits: Limits) -> Iterator[Finding]:
    limit = limits.get("weather.open-ports")
    for n, one in enumerate(i.items):
        if not one.open_ports:
            continue
        bare = {face: count - capped for face, count, capped, _ in one.open_ports if count > capped}
        total = sum(count for _, count, _, _ in one.open_ports)
        words = ", ".join(f"{count} x {face}" for face, count in bare.items())
        yield judge(
            "weather.open-ports", one.item, float(sum(bare.values())), limit,
            note=f"without a cap: {words}" if bare else f"{total} unused port(s), all capped",
            remedy="a cap with a gasket for each unused port", items=(one.item,), rank=n,
        )  # fmt: skip


def _ingress(i: Inputs, limits: Limits) -> Iterator[Finding]:
    limit = limits.get("weather.ingress")
    readable = code_meets("IP66/IP68/IP69", i.asked) is not None
    for n, one in enumerate(i.items):
        chain = chain_of(one, i.asked)
        if not chain:
            continue
        link = weakest(chain)
        note = f"weakest of {len(chain)}: {link.words}, {link.code}; asked {i.asked}" + (
            f"; {link.why}" if link.why else ""
        )
        missing: tuple[str, ...] = ()
        if not readable:
            missing = (f"a code of protection in climate.ingress, such as IP65: it says {shorten(i.asked)!r}",)
        elif link.meets is None:
            unknown = dict.fromkeys(f"{x.words} ({x.code})" for x in chain if x.meets is None)
            missing = tuple(f"a tested ingress code: {words}" for words in unknown)
        yield judge(
            "weather.ingress", one.item, None if missing else float(link.meets is True), limit, missing=missing, note=note,
            remedy=link.remedy, items=(one.item,), rank=n,
        )  # fmt: skip


def _figures(i: Inputs) -> Iterator[Figure]:
    black = surface("black_sheath")
    sheath = sun_temperature_c(i.hot_c, i.sun_w_per_m2, black.absorptivity, black.emissivity, STILL_AIR_W_PER_M2_K)
    note = f"black sheath at {i.hot_c:g} °C and {i.sun_w_per_m2:g} W/m², no wind, no current"
    yield Figure("weather.sheath-temperature", i.site, float(sheath), "°C", note, BALANCE)
    dew = float(dew_point_c(REMINDER_C, REMINDER_PERCENT))
    note = f"at {REMINDER_C:g} °C and {REMINDER_PERCENT:g} %: seal only surfaces of {dew + SEAL_MARGIN_K:.1f} °C and above; measure on the day"
    yield Figure("weather.dew-point", i.site, dew, "°C", note, MAGNUS)
    yield inspection_figure(i)


def working(inputs: Inputs, limits: Limits, one: Finding | Figure) -> tuple[Step, ...]:
    """The derivation of one finding or figure of this room."""
    return derive(inputs, one)


__all__ = ["CAUTIONS", "NAME", "VERSION", "Inputs", "check", "inputs", "working"]
