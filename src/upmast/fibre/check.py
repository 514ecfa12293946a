"""What the fibre room sees of a line, and what it finds: light on the right port, margins, bends, loops, spares."""

from __future__ import annotations

import math
from collections.abc import Sequence

from upmast.catalogue.part import Box, Cable, Connector, LoopHolder, Optic, Part, Seal
from upmast.fibre.derive import derive
from upmast.fibre.evaluate import LONG_WAVE_NM
from upmast.fibre.findings import find
from upmast.fibre.state import Change, Event, Glass, Inputs, Life, Loop, Loose, Way
from upmast.finding import Figure, Finding, Scenario
from upmast.limits import Limits
from upmast.line.hardware import open_outdoors
from upmast.line.light import Lit, lit, repairs, spare_way, strands_of, strands_twice
from upmast.line.line import Item, Line, Link
from upmast.line.loops import least_radius, missing_m, surplus
from upmast.line.optical import Optical, optical
from upmast.room import Result
from upmast.site.site import Site
from upmast.source import Source
from upmast.working import Step

NAME = "fibre"
VERSION = "2"
CAUTIONS = (
    "Invisible laser light: never look into a fibre or a port, never point a scope at a live one. Switch off and prove dark first.",
    "Inspect and clean every end face before mating. Keep caps on until the moment of mating.",
    "Class values are limits of the standard, not those of your module: its data sheet governs.",
    "Test every strand: continuity, and loss both ways at 1310 and 1550 nm.",
    "Figures of bending and of life are estimates: the limits of the fibre class and the data sheet of the cable govern.",
)
PAIR_TOLERANCE_NM = 15.0  # nominal wavelengths of two optics that are one
POWERS = ("tx_minimum_dbm", "tx_maximum_dbm", "rx_minimum_dbm", "rx_maximum_dbm")


def inputs(line: Line, site: Site, scenarios: Sequence[Scenario]) -> Inputs:
    """Read a line into rows."""
    graph, found = optical(line), lit(line)
    equipped = {f"{item.id}.{name}": optic for item in line.items for name, optic in item.equipment}
    loops = _loops(line, site)
    by_cable: dict[str, list[int]] = {}
    for n, loop in enumerate(loops):
        by_cable.setdefault(loop.cable, []).append(n)
    ways: list[Way] = []
    for n, link in enumerate(found.links):
        for side, (a, b) in enumerate(((link.a, link.b), (link.b, link.a))):
            ways.append(_way(line, graph, found, 2 * n + side, a, b, equipped, by_cable))
    kept: dict[str, int] = {}
    for link in line.links:
        if link.state == "standby":
            kept[link.radio] = kept.get(link.radio, 0) + 1
    asked = {radio.id: radio.fibre for radio in site.radios}
    broken = not bool(found.right.all())
    return Inputs(
        site=site.id,
        links=tuple(link.id for link in found.links),
        radio=tuple(link.radio for link in found.links),
        ways=tuple(ways),
        pair_faults=tuple(_pair_fault(line, link, equipped) for link in found.links),
        changes=tuple(Change(r.words, r.alike, r.left) for r in repairs(line, found)) if broken else (),
        strands_twice=tuple(strands_twice(line, found, line.links).items()),
        spares=tuple(_spares(line)),
        repair_db=site.policy.repair_db,
        loops=loops,
        loose=_loose(line, site),
        life=_life(site),
        growth=2 * sum(link.state == "growth" for link in line.links),
        growth_asked=site.policy.growth_strands_count,
        standby=tuple(
            (id, kept.get(id, 0), f.standby_count) for id, f in asked.items() if f.standby_count or kept.get(id)
        ),
        cables=tuple(_cables(line)),
    )


def _way(
    line: Line,
    graph: Optical,
    found: Lit,
    row: int,
    a: str,
    b: str,
    equipped: dict[str, str],
    by_cable: dict[str, list[int]],
) -> Way:
    """One direction of a link: from the sender at `a`, which should reach the receiver at `b`."""
    nodes = [int(x) for x in found.nodes[:, row] if x >= 0]
    sender, receiver = line.parts.get(equipped.get(a, "")), line.parts.get(equipped.get(b, ""))
    wave = sender.tx_wavelength_nm_wave if isinstance(sender, Optic) else 1310.0
    glass: list[Glass] = []
    events: list[Event] = []
    order: list[tuple[str, int]] = []
    items: dict[str, None] = {}
    for k in range(len(nodes) - 1):
        if k % 2 == 0:
            order.append(("event", len(events)))
            events.append(_event(line, graph.name(nodes[k]), graph.name(nodes[k + 1])))
            continue
        id = graph.name(nodes[k]).partition(".")[0]
        items[id] = None
        part = line.parts.get(line.by_id[id].part)
        if isinstance(part, Cable):
            order.append(("glass", len(glass)))
            glass.append(_glass(line.by_id[id], part, wave))
    reached = int(found.reached[row])
    why = _why(line, graph, found, row, a, b, nodes)
    good = isinstance(sender, Optic) and isinstance(receiver, Optic)
    nan = math.nan
    channels = [(o.channel_loss_db, o) for o in (sender, receiver) if isinstance(o, Optic) and o.channel_loss_db]
    channel = min(channels, key=lambda row: row[0] or 0.0, default=(nan, None))
    backs = [(o.least_return_loss_db, o) for o in (sender, receiver) if isinstance(o, Optic) and o.least_return_loss_db]
    back = max(backs, key=lambda row: row[0] or 0.0, default=(nan, None))
    sources = tuple(
        (name, (sender if name.startswith("tx") else receiver).source_of(name)) for name in POWERS  # type: ignore[union-attr]
    ) if good else ()  # fmt: skip
    return Way(
        start=f"{a}/1",
        meant=b,
        reached=f"{graph.name(reached)}/{int(graph.position[reached])}" if reached >= 0 else "",
        right=not why,
        why=why,
        items=tuple(items),
        strands=strands_of(graph, found.nodes[:, row]),
        glass=tuple(glass),
        events=tuple(events),
        order=tuple(order),
        loops=tuple(n for id in items for n in by_cable.get(id, ())),
        sender=equipped.get(a, ""),
        receiver=equipped.get(b, ""),
        sent_nm_wave=sender.tx_wavelength_nm_wave if isinstance(sender, Optic) else nan,
        received_nm_wave=receiver.rx_wavelength_nm_wave if isinstance(receiver, Optic) else nan,
        tx_minimum_dbm=sender.tx_minimum_dbm if isinstance(sender, Optic) else nan,
        tx_maximum_dbm=sender.tx_maximum_dbm if isinstance(sender, Optic) else nan,
        rx_minimum_dbm=receiver.rx_minimum_dbm if isinstance(receiver, Optic) else nan,
        rx_maximum_dbm=receiver.rx_maximum_dbm if isinstance(receiver, Optic) else nan,
        channel_db=channel[0] if channel[0] is not None else nan,
        channel_source=channel[1].source_of("channel_loss_db") if channel[1] is not None else Source("no class"),
        least_return_loss_db=back[0] if back[0] is not None else nan,
        return_loss_source=back[1].source_of("least_return_loss_db") if back[1] is not None else Source("no class"),
        sources=sources,
        low_missing=_unconfirmed((sender, "tx_minimum_dbm"), (receiver, "rx_minimum_dbm")),
        high_missing=_unconfirmed((sender, "tx_maximum_dbm"), (receiver, "rx_maximum_dbm")),
    )


def _unconfirmed(*values: tuple[Part | None, str]) -> str:
    """Values of optics that are from memory, in words; empty where all have a source."""
    lacking = [
        f"{name} of {part.id}"
        for part, name in values
        if isinstance(part, Optic) and str(part.source_of(name).mark) == "memory"
    ]
    return " and ".join(dict.fromkeys(lacking))


def _glass(item: Item, cable: Cable, sent_nm: float) -> Glass:
    long = sent_nm > LONG_WAVE_NM
    length = item.length_m or 0.0
    name = f"attenuation_{1550 if long else 1310}"
    return Glass(
        item.id,
        cable.id,
        cable.attenuation_1550_db_per_km if long else cable.attenuation_1310_db_per_km,
        cable.attenuation_1550_least_db_per_km if long else cable.attenuation_1310_least_db_per_km,
        length + item.tolerance_m,
        max(length - item.tolerance_m, 0.0),
        cable.group_index_1310,
        cable.group_index_1550,
        cable.source_of(f"{name}_db_per_km"),
        cable.source_of(f"{name}_least_db_per_km"),
    )


def _event(line: Line, a: str, b: str) -> Event:
    """A mated pair is as good as the worse of its two connectors."""
    two = [c for end in (a, b) if isinstance(c := line.parts.get(line.port(end).connector), Connector)]
    worse = max(two, key=lambda c: c.loss_db, default=None)
    backs = [c.return_loss_db for c in two]
    return Event(
        a,
        b,
        worse.id if worse is not None else "",
        worse.loss_db if worse is not None else 0.0,
        max((c.typical_loss_db for c in two), default=0.0),
        min((x for x in backs if x is not None), default=None) if None not in backs else None,
        worse.source_of("loss_db") if worse is not None else Source("no connector"),
    )


def _why(line: Line, graph: Optical, found: Lit, row: int, a: str, b: str, nodes: list[int]) -> str:
    """What is wrong with where the light ends."""
    reached = int(found.reached[row])
    if reached < 0:
        last = graph.name(nodes[-1])
        where = f"at {last}" if len(nodes) > 1 else f"at {a}"
        return f"the light gets lost {where}: nothing is joined there"
    if graph.name(reached) != b:
        lanes = "" if graph.receives[reached] else ", and on a sender"
        return f"the light ends at {graph.name(reached)}, not at {b}{lanes}"
    if reached != int(found.meant[row]):
        return "two senders face each other: an even number of crossings between the two lanes"
    return ""


def _pair_fault(line: Line, link: Link, equipped: dict[str, str]) -> str:
    """Whether the two optics of a link are a pair: wavelengths, and one or two strands."""
    one, two = line.parts.get(equipped.get(link.a, "")), line.parts.get(equipped.get(link.b, ""))
    if not isinstance(one, Optic) or not isinstance(two, Optic):
        return f"no optic at {link.a if not isinstance(one, Optic) else link.b}"
    if one.strands_count != two.strands_count:
        return f"{one.id} works on {one.strands_count} strand(s) and {two.id} on {two.strands_count}: take two alike"
    if one.strands_count == 1 and abs(one.tx_wavelength_nm_wave - two.tx_wavelength_nm_wave) <= PAIR_TOLERANCE_NM:
        return (
            f"both ends send at {one.tx_wavelength_nm_wave:g} nm on one strand: the same module at both ends; "
            "take its counterpart at one of them"
        )
    for near, far in ((one, two), (two, one)):
        if abs(near.tx_wavelength_nm_wave - far.rx_wavelength_nm_wave) > PAIR_TOLERANCE_NM:
            return f"{near.id} sends at {near.tx_wavelength_nm_wave:g} nm, {far.id} receives at {far.rx_wavelength_nm_wave:g} nm: they are no pair"
    return ""


def _spares(line: Line) -> list[tuple[str, bool, str]]:
    """Each kept pair: whether it goes through, is dark at both ends and capped outdoors."""
    uncapped = _uncapped(line)
    out = []
    for link in line.links:
        if link.state == "service":
            continue
        sound, words = spare_way(line, link)
        host = link.b.partition(".")[0]
        if sound and host in uncapped and not line.port(link.b).indoor:
            sound, words = False, f"{uncapped[host]} open fibre ports of {host} have no cap"
        out.append((link.id, sound, words))
    return out


def _uncapped(line: Line) -> dict[str, int]:
    """Boxes with more open fibre ports outdoors than caps for them."""
    out: dict[str, int] = {}
    for item in line.of_kind("box"):
        part = line.parts.get(item.part)
        if not isinstance(part, Box):
            continue
        ports = [
            p for p in open_outdoors(item.id, line.ports[item.id].values(), set(line.joined)) if p.family == "fibre"
        ]
        caps = sum(
            cap.count
            for cap in line.of_kind("cap")
            if cap.on == item.id and isinstance(seal := line.parts.get(cap.part), Seal)
            and seal.interface in {p.interface for p in ports}
        )  # fmt: skip
        if len(ports) > caps:
            out[item.id] = len(ports) - caps
    return out


def _loops(line: Line, site: Site) -> tuple[Loop, ...]:
    out = []
    for item in line.of_kind("loop"):
        cable = line.by_id.get(item.on)
        part = line.parts.get(cable.part) if cable is not None else None
        holder = line.parts.get(item.part)
        if cable is None or not isinstance(part, Cable) or not isinstance(holder, LoopHolder) or not item.radius_m:
            continue
        left = surplus(site, cable, part)
        radius, source = least_radius(part)
        out.append(
            Loop(
                id=item.id,
                cable=cable.id,
                part=holder.id,
                fibre_class=part.fibre_class,
                diameter_mm=part.diameter_mm,
                mass_kg_per_m=part.mass_kg_per_m,
                turns=item.turns,
                exit_turn=item.exit_turn,
                radius_m=item.radius_m,
                straight_m=item.straight_m,
                pitch_m=item.pitch_m,
                surplus_m=left.surplus_m if left is not None else math.nan,
                surplus_off_m=left.off_m if left is not None else math.nan,
                way_m=left.way_m if left is not None else math.nan,
                least_radius_mm=radius,
                radius_source=source,
                strands=part.strands_count,
            )
        )
    return tuple(out)


def _loose(line: Line, site: Site) -> tuple[Loose, ...]:
    """Cables with strands and without a loop of which something is left."""
    held = {item.on for item in line.of_kind("loop")}
    out = []
    for item in line.items:
        part = line.parts.get(item.part)
        if not isinstance(part, Cable) or not part.strands_count or item.on == "CAB" or item.id in held:
            continue
        left = surplus(site, item, part)
        if left is not None and left.surplus_m > 0:
            out.append(Loose(item.id, left.surplus_m, left.least_radius_mm, missing_m(left)))
    return tuple(out)


def _life(site: Site) -> Life:
    life = site.policy.fibre_life
    return Life(
        life.years_count,
        life.proof_strain_fraction,
        life.proof_s,
        life.stress_exponent,
        life.weibull_exponent,
        life.breaks_per_m,
        frozenset(life.model_fields_set),
    )


def _cables(line: Line) -> list[tuple[str, float, Source, float, Source]]:
    """Radius at rest and under pull of every cable with strands outside the cabinet."""
    return [
        (item.id, *least_radius(part), *least_radius(part, pulled=True))
        for item in line.items
        if isinstance(part := line.parts.get(item.part), Cable) and part.strands_count and item.on != "CAB"
    ]


def check(inputs: Inputs, limits: Limits) -> Result:
    """Findings and figures of the room."""
    return find(inputs, limits)


def working(inputs: Inputs, limits: Limits, found: Finding | Figure) -> tuple[Step, ...]:
    """The derivation of one finding or figure of this room."""
    return derive(inputs, found)


__all__ = ["CAUTIONS", "NAME", "VERSION", "Inputs", "check", "inputs", "working"]
