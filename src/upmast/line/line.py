"""
The line: items with typed ports, and the joints between them. What is built, and nothing that it can compute.

An item is a node (plant, breaker, box, radio, antenna) or a span (trunk, jumper, feeder) or hardware on one of them (clamps,
grips, bonds, caps, seals). One id runs through everything. A joint between ends that can't mate can't be made.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from typing import Annotated

from pydantic import StringConstraints

from upmast.catalogue.catalogue import part_digest
from upmast.catalogue.part import Connector, Optic, Part
from upmast.digest import digest
from upmast.errors import MateError, UsageError
from upmast.line.port import Port, check_mate, port, ports_of

# the id of an item or link as it is written in files: that of a radio, with what stands behind it
ItemId = Annotated[str, StringConstraints(pattern=r"^[A-HJ-NP-Z0-9]+(?:-[A-HJ-NP-Z0-9]+)*$", max_length=48)]


class Layer(StrEnum):
    """Which of the three layers a line stands in; they are never mixed."""

    DESIGNED = "designed"
    BUILT = "built"
    MEASURED = "measured"


@dataclass(frozen=True)
class Item:
    """
    One thing of the line.

    `length_m` with its tolerance is set for spans; `count` for hardware, which stands `on` another item. `equipment` is what
    is plugged into a port (optics). `reason` says why this part was taken. A loop holds `turns` whole turns and `exit_turn` of
    one more, of `radius_m`, of the cable that it stands on; an oval has two straights of `straight_m` in each turn, a flat spiral
    grows by `pitch_m` from turn to turn.
    """

    id: str
    kind: str
    part: str
    length_m: float | None = None
    tolerance_m: float = 0.0
    low_m: float = 0.0
    high_m: float = 0.0
    sector: str = ""
    serves: tuple[str, ...] = ()
    on: str = ""
    count: int = 1
    equipment: tuple[tuple[str, str], ...] = ()
    reason: str = ""
    serial: str = ""
    turns: int = 0
    exit_turn: float = 0.0
    radius_m: float = 0.0
    straight_m: float = 0.0
    pitch_m: float = 0.0

    @property
    def span(self) -> bool:
        return self.length_m is not None


@dataclass(frozen=True, slots=True)
class Joint:
    """
    Two ends joined. `keys` matters for array connectors: opposed (one key up, one down) or aligned; for a duplex
    pair, crossed says that its two plugs are exchanged in their clip. `lane` is the half of a
    duplex plug, a or b, that sits in a simplex port.
    """

    a: str
    b: str
    keys: str = "opposed"
    lane: str = ""

    @property
    def ends(self) -> tuple[tuple[str, str], tuple[str, str]]:
        first, second = self.a.split(".", 1), self.b.split(".", 1)
        return (first[0], first[1]), (second[0], second[1])


@dataclass(frozen=True, slots=True)
class Link:
    """
    An intended optical link or a kept pair of strands: which end in the cabinet belongs to which end on the mast.

    In service both ends are equipped ports. A standby pair is kept for one radio, a growth pair for nobody yet; both are dark.
    """

    id: str
    a: str
    b: str
    state: str = "service"  # service, standby or growth
    radio: str = ""


HARDWARE = ("clamp", "grip", "bond", "loop", "cap", "seal")
RUNS = ("trunk", "dc-cable", "fibre-cable")  # cables from the cabinet up the mast
BASEBAND_PORTS = 96


@dataclass(frozen=True)
class Line:
    """
    A line: its site, layer, revision, items, joints, and the parts that its items are.

    Raises
    ------
    UsageError
        If an id repeats, an item has no part, or a joint names an end that does not exist or is taken.
    MateError
        If a joint's two ends can't mate; the message names both and says why.
    """

    site: str
    items: tuple[Item, ...]
    joints: tuple[Joint, ...]
    parts: Mapping[str, Part]
    links: tuple[Link, ...] = ()
    layer: Layer = Layer.DESIGNED
    revision: int = 1
    note: str = ""

    def __post_init__(self) -> None:
        seen: set[str] = set()
        for item in self.items:
            if item.id.upper() in seen:
                raise UsageError(f"two items are called {item.id}: every item needs an id of its own")
            seen.add(item.id.upper())
            if item.part and item.part not in self.parts:
                raise UsageError(f"item {item.id} is a {item.part!r}, which is not among the parts of the line")
        links: set[str] = set()
        for link in self.links:
            if link.id.upper() in links:
                raise UsageError(f"two links are called {link.id}: every link needs an id of its own")
            links.add(link.id.upper())
        taken: dict[str, int] = {}
        for joint in self.joints:
            self.check_joint(joint, taken)

    def check_joint(self, joint: Joint, taken: dict[str, int]) -> None:
        """Check one joint, given how many ends are joined to each port already, and count it. Raises like the line itself."""
        pair = []
        for end in (joint.a, joint.b):
            found = self.port(end)
            halves = joint.lane and found.positions > 1
            whole = taken.get(end, 0) + (2 if joint.a == joint.b else 1)
            lanes = [taken.get(f"{end}/{lane}", 0) for lane in ("a", "b")]
            count = whole - 1 + lanes[joint.lane == "b"] + 1 if halves else whole + max(lanes)
            if count > found.takes:
                raise MateError(f"{end} [{found.words()}] takes {found.takes} end(s); {count} are joined to it")
            pair.append(found)
        check_mate(joint.a, pair[0], joint.b, pair[1], joint.lane, joint.keys)
        for end, found in zip((joint.a, joint.b), pair, strict=True):
            key = f"{end}/{joint.lane}" if joint.lane and found.positions > 1 else end
            taken[key] = taken.get(key, 0) + 1

    @cached_property
    def by_id(self) -> dict[str, Item]:
        return {item.id: item for item in reversed(self.items)}

    @cached_property
    def ports(self) -> dict[str, dict[str, Port]]:
        """Ports of every item, by item id and port name."""
        made: dict[str, dict[str, Port]] = {}
        known: dict[tuple[str, str], dict[str, Port]] = {}
        for item in self.items:
            if item.kind in HARDWARE:
                continue
            if item.kind == "baseband":
                made[item.id] = self._baseband(item)
            elif item.part:
                key = (item.kind, item.part)
                if key not in known:
                    known[key] = ports_of(self.parts[item.part], self.connector)
                made[item.id] = self._equipped(item, known[key])
        return made

    def _equipped(self, item: Item, ports: dict[str, Port]) -> dict[str, Port]:
        """The port of a single-strand optic is simplex, whatever stands behind the hatch otherwise."""
        single = [
            name for name, id in item.equipment
            if name in ports and isinstance(optic := self.parts.get(id), Optic) and optic.strands_count == 1
        ]  # fmt: skip
        changed = {
            name: replace(ports[name], positions=1, interface=ports[name].interface.replace("duplex", "simplex"))
            for name in single
        }
        return {**ports, **changed} if changed else ports

    def _baseband(self, item: Item) -> dict[str, Port]:
        """The baseband has one port for each optic in it."""
        out: dict[str, Port] = {}
        for name, optic in item.equipment:
            found = self.parts.get(optic)
            connector = found.connector if isinstance(found, Optic) else None
            if connector is None:
                raise UsageError(f"{item.id}.{name} is equipped with {optic!r}, which is not an optic")
            out[name] = port(name, self.connector(connector))
        return out

    def connector(self, id: str) -> Connector:
        found = self.parts.get(id)
        if not isinstance(found, Connector):
            raise UsageError(f"connector {id!r} is not among the parts of the line")
        return found

    def part_of(self, item: Item | str) -> Part:
        one = self.by_id[item] if isinstance(item, str) else item
        return self.parts[one.part]

    def port(self, end: str) -> Port:
        """The port of an end such as `T1.foot.dc3`. Raises UsageError."""
        id, _, name = end.partition(".")
        if id not in self.by_id:
            raise UsageError(f"{end}: the line has no item {id}")
        found = self.ports.get(id, {}).get(name)
        if found is None:
            names = ", ".join(list(self.ports.get(id, {}))[:12])
            raise UsageError(f"{end}: {id} has no port {name!r}; it has {names or 'none'}")
        return found

    @cached_property
    def joined(self) -> dict[str, tuple[tuple[str, Joint], ...]]:
        """What each end is joined to."""
        out: dict[str, list[tuple[str, Joint]]] = {}
        for joint in self.joints:
            out.setdefault(joint.a, []).append((joint.b, joint))
            out.setdefault(joint.b, []).append((joint.a, joint))
        return {end: tuple(others) for end, others in out.items()}

    def of_kind(self, *kinds: str) -> tuple[Item, ...]:
        return tuple(item for item in self.items if item.kind in kinds)

    @cached_property
    def digest(self) -> str:
        """Digest of the content: items, joints and parts with their connectors, but not revision, serials, or reasons."""

        def exact(value: float | None) -> float | None:
            return None if value is None else round(value, 4)  # as the file is written

        rows = [
            (
                i.id,
                i.kind,
                i.part,
                exact(i.length_m),
                exact(i.tolerance_m),
                exact(i.low_m),
                exact(i.high_m),
                i.sector,
                i.serves,
                i.on,
                i.count,
                i.equipment,
                *((i.turns, exact(i.exit_turn), exact(i.radius_m)) if i.radius_m else ()),
                *((exact(i.straight_m), exact(i.pitch_m)) if i.straight_m or i.pitch_m else ()),
            )
            for i in sorted(self.items, key=lambda i: i.id)
        ]
        joints = sorted((min(j.a, j.b), max(j.a, j.b), j.keys, *((j.lane,) if j.lane else ())) for j in self.joints)
        used = sorted(part_digest(part) for part in used_parts(self.items, self.parts).values())
        links = sorted((k.id, k.a, k.b, k.state, k.radio) for k in self.links)
        return digest(self.site, str(self.layer), rows, joints, links, used)


def used_parts(items: Iterable[Item], parts: Mapping[str, Part]) -> dict[str, Part]:
    """The parts of some items, with every connector and optic that those name; what is not there is left out."""
    out: dict[str, Part] = {}

    def take(id: str) -> None:
        if id not in out and id in parts:
            out[id] = parts[id]
            for name in CONNECTOR_FIELDS:
                named = getattr(parts[id], name, None)
                if named is not None:
                    take(named)

    for item in items:
        take(item.part)
        for _, optic in item.equipment:
            take(optic)
    return out


CONNECTOR_FIELDS = (
    "dc_foot", "dc_head", "fibre_foot", "fibre_head", "dc_in", "dc_out", "fibre_in", "fibre_out", "foot", "head", "connector",
    "dc_connector", "fibre_connector", "rf_connector", "control_connector", "array", "duplex",
)  # fmt: skip
