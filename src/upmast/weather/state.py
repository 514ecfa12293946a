"""What the weather room sees of one line: the chain of ingress codes of each item outdoors, and its open ports."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from upmast.weather.closure import closure, neighbour_room_mm
from upmast.weather.hazard import LegExposure, PartWithstand
from upmast.weather.ingress import IngressCode, meets, parse_ingress

REMINDER_C = 25.0  # a day on which joints are usually closed
REMINDER_PERCENT = 60.0


@dataclass(frozen=True, eq=False)
class Joint:
    """
    One mated joint outdoors: both connectors with their codes, and the code of the seal over it, if there is one.

    `indoor` names a connector that is only for use inside a cabinet or box.
    """

    ends: tuple[str, str]
    connectors: tuple[str, str]
    codes: tuple[str, str]
    indoor: str
    seal: str = ""
    seal_code: str = ""


@dataclass(frozen=True, eq=False)
class Outdoor:
    """One item outdoors: its own code, its joints, its caps (part, code), and its open ports by interface with their caps."""

    item: str
    kind: str
    part: str
    own_code: str  # empty where the item has none of its own
    joints: tuple[Joint, ...]
    caps: tuple[tuple[str, str], ...]
    open_ports: tuple[tuple[str, int, int, tuple[str, ...]], ...]  # interface, open, capped, names


@dataclass(frozen=True, slots=True)
class Exposed:
    """One cable on one leg with declared hazards, or on the mast: what it is exposed to, and what its part withstands."""

    subject: str
    item: str
    part: str
    where: str
    exposure: LegExposure
    withstand: PartWithstand


@dataclass(frozen=True, slots=True)
class Closed:
    """A joint under a closure of known size: cable (0 where it sits on a port), nut, and the closure's ranges, in mm."""

    ends: tuple[str, str]
    seal: str
    cable_mm: float
    other_mm: float
    nut_mm: float
    length_mm: float
    low_mm: float
    high_mm: float
    body_mm: float
    inside_mm: float
    source: tuple[str, str]
    kind: str = ""  # how the closure closes
    device: str = ""  # part whose port it is on, and how far apart its ports are
    pitch_mm: float | None = None
    outer_mm: float | None = None  # of the closure once it is closed

    @property
    def room_mm(self) -> float | None:
        """Between two of them on neighbouring ports, less what hands need; None where a size is not told."""
        if self.pitch_mm is None or self.outer_mm is None or not self.kind:
            return None
        return float(neighbour_room_mm(self.pitch_mm, self.outer_mm, self.outer_mm, closure(self.kind).room_mm))

    @property
    def missing(self) -> str:
        """What is lacking to judge the room, where the device tells how far its ports are apart."""
        if self.pitch_mm is None or self.room_mm is not None:
            return ""
        lacking = "outer_mm" if self.outer_mm is None else "closure"
        return f"{lacking} of {self.seal}, for the room beside ports {self.pitch_mm:g} mm apart of {self.device}"

    @property
    def objections(self) -> tuple[str, ...]:
        """Why the closure doesn't fit; empty if it does."""
        out = []
        for mm in {self.cable_mm, self.other_mm} - {0.0}:
            if not self.low_mm <= mm <= self.high_mm:
                out.append(f"a cable of {mm:g} mm, its ends take {self.low_mm:g} to {self.high_mm:g} mm")
        if self.nut_mm > self.body_mm:
            out.append(f"a joint of {self.nut_mm:g} mm, its body takes {self.body_mm:g} mm")
        if self.length_mm > self.inside_mm:
            out.append(f"{self.length_mm:g} mm to cover, it is {self.inside_mm:g} mm long")
        room = self.room_mm
        if room is not None and room < 0:
            hands = closure(self.kind).room_mm
            out.append(
                f"two of {self.outer_mm:g} mm and {hands:g} mm for the hands beside each other, ports of {self.device} are {self.pitch_mm:g} mm apart"
            )
        return tuple(sorted(out))


@dataclass(frozen=True, eq=False)
class Inputs:
    """All that the room sees of a line."""

    site: str
    asked: str
    items: tuple[Outdoor, ...]
    hot_c: float
    sun_w_per_m2: float
    coast: bool
    exposed: tuple[Exposed, ...]
    closed: tuple[tuple[str, tuple[Closed, ...]], ...]  # by cable: joints under closures whose sizes are known
    exposures: tuple[str, ...]  # of the whole site, by the names of the inspection rule


@dataclass(frozen=True, slots=True)
class Link:
    """One member of a chain of codes: what it is, its code, and whether it meets (None: not known)."""

    words: str
    code: str
    meets: bool | None
    why: str = ""

    @property
    def remedy(self) -> str:
        """What would keep the code asked, by what this is: an item itself, a cap, or a joint."""
        if self.words.endswith(" itself"):
            return (
                f"instead of {self.words.removesuffix(' itself')} one with the code that is asked, or a cover over it"
            )
        if "cap" in self.words.split():
            return "a cap with the code that is asked"
        return "a connector with the code that is asked, or a seal over the joint"


@lru_cache(maxsize=512)
def code_meets(code: str, asked: str) -> bool | None:
    """Whether a code meets the one asked; None where it can't be told, since a numeral was not tested or is no code at all."""
    try:
        have, need = parse_ingress(code), parse_ingress(asked)
    except ValueError:
        return None
    if meets(have, need):
        return True
    hopeful = replace(have, first=6 if have.first is None else have.first, seconds=have.seconds or tuple(range(10)))
    return None if hopeful != have and meets(hopeful, need) else False


@lru_cache(maxsize=512)
def _rank(code: str) -> tuple[int, int]:
    try:
        found: IngressCode = parse_ingress(code)
    except ValueError:
        return -1, -1
    return (-1 if found.first is None else found.first), max(found.seconds, default=-1)


def joint_link(joint: Joint, asked: str) -> Link:
    """A joint meets if the seal over it meets, or both of its connectors do."""
    words = f"{joint.ends[0]} to {joint.ends[1]}"
    sealed = code_meets(joint.seal_code, asked) if joint.seal else False
    if sealed:
        return Link(f"{words}, {joint.seal}", joint.seal_code, True)
    if joint.indoor:
        return Link(words, joint.codes[0], False, f"{joint.indoor} is only for use inside a cabinet or box")
    rows = [
        (code_meets(code, asked), _rank(code), name, code)
        for name, code in zip(joint.connectors, joint.codes, strict=True)
    ]
    order = {False: 0, None: 1, True: 2}
    verdict, _, name, code = min(rows, key=lambda row: (order[row[0]], row[1]))
    if sealed is None and verdict is not True:
        return Link(f"{words}, {joint.seal}", joint.seal_code, None)
    return Link(f"{words}, {name}", code, verdict)


def chain_of(one: Outdoor, asked: str) -> tuple[Link, ...]:
    """Every member of an item's chain: its own code, its joints, its caps."""
    out = []
    if one.own_code:
        out.append(Link(f"{one.part} itself", one.own_code, code_meets(one.own_code, asked)))
    out += [joint_link(joint, asked) for joint in one.joints]
    out += [Link(part, code, code_meets(code, asked)) for part, code in one.caps]
    return tuple(out)


def weakest(chain: tuple[Link, ...]) -> Link:
    """The first that does not meet; else the first that can't be told; else the one with the lowest numerals."""
    order = {False: 0, None: 1, True: 2}
    return min(chain, key=lambda link: (order[link.meets], _rank(link.code)))


__all__ = [
    "REMINDER_C", "REMINDER_PERCENT", "Inputs", "Joint", "Link", "Outdoor", "chain_of", "code_meets", "joint_link",
    "weakest",
]  # fmt: skip
