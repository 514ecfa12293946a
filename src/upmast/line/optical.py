"""
The fibre ends of a line as a graph: one node a position of a port, joined across joints and inside parts.

Every walk of light goes over this graph; the maps of the parts stand here once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from upmast.catalogue.part import Box, Cable, Fanout, Optic, Part
from upmast.fibre.position import Keys, array_cable, array_mate, duplex_patch
from upmast.line.line import Item, Joint, Line
from upmast.line.port import SPLICE, Port

Ints = NDArray[np.int64]
LANES = {"a": 1, "b": 2}


@dataclass(frozen=True, eq=False)
class Optical:
    """
    Nodes of a line: `ports` in order with the first node of each; `port` and `position` of every node; the two matchings.

    `sends` and `receives` mark the nodes of optics; `strand` is the number of a node's strand in its cable, 0 elsewhere.
    """

    ports: tuple[str, ...]
    first: dict[str, int]
    port: Ints
    position: Ints
    mate: Ints
    through: Ints
    sends: NDArray[np.bool_]
    receives: NDArray[np.bool_]
    strand: Ints

    def node(self, end: str, position: int) -> int:
        return self.first[end] + position - 1

    def name(self, node: int) -> str:
        return self.ports[int(self.port[node])]


def optical(line: Line) -> Optical:
    """The fibre ends of a line, made once a line."""
    found = line.__dict__.get("_optical")
    if found is None:
        found = _make(line)
        line.__dict__["_optical"] = found
    return cast(Optical, found)


def _make(line: Line) -> Optical:
    names: list[str] = []
    first: dict[str, int] = {}
    sizes: list[int] = []
    total = 0
    fibre: list[tuple[Item, dict[str, Port]]] = []
    for item in line.items:
        ports = {name: port for name, port in line.ports.get(item.id, {}).items() if port.family == "fibre"}
        if not ports:
            continue
        fibre.append((item, ports))
        for name, port in ports.items():
            end = f"{item.id}.{name}"
            first[end] = total
            names.append(end)
            sizes.append(port.positions)
            total += port.positions
    mate, through, strand = np.full(total, -1, np.int64), np.full(total, -1, np.int64), np.zeros(total, np.int64)
    sends, receives = np.zeros(total, np.bool_), np.zeros(total, np.bool_)
    for joint in line.joints:
        if joint.a in first and joint.b in first:
            here, there = mated(line, joint)
            here, there = first[joint.a] + here - 1, first[joint.b] + there - 1
            mate[here], mate[there] = there, here
    for item, ports in fibre:
        part = line.parts.get(item.part)
        if part is not None:
            for one, other in inside(part, ports):
                near, far = first[f"{item.id}.{one[0]}"] + one[1] - 1, first[f"{item.id}.{other[0]}"] + other[1] - 1
                through[near], through[far] = far, near
        if isinstance(part, Cable):
            for side in ("foot", "head"):
                for (name, position), number in zip(_ends(ports, f"{side}."), range(1, 1000), strict=False):
                    strand[first[f"{item.id}.{name}"] + position - 1] = number
        for name, id in item.equipment:
            optic = line.parts.get(id)
            end = f"{item.id}.{name}"
            if isinstance(optic, Optic) and end in first:
                sends[first[end]] = True
                receives[first[end] + (1 if optic.strands_count == 2 and ports[name].positions > 1 else 0)] = True
    port_of = np.repeat(np.arange(len(names)), sizes) if sizes else np.zeros(0, np.int64)
    starts = np.array([first[name] for name in names], np.int64)
    at = np.arange(total) - starts[port_of] + 1 if total else np.zeros(0, np.int64)
    return Optical(tuple(names), first, port_of, at, mate, through, sends, receives, strand)


def mated(line: Line, joint: Joint) -> tuple[Ints, Ints]:
    """Positions of the two ends of a fibre joint that face each other."""
    a = line.port(joint.a)
    if joint.lane:
        lane = np.array([LANES[joint.lane]])
        one = np.array([1])
        return (lane, one) if a.positions > 1 else (one, lane)
    positions = np.arange(1, a.positions + 1)
    if a.positions > 2 and not a.interface.startswith(SPLICE):
        return positions, array_mate(cast(Keys, joint.keys), a.positions)
    return positions, positions[::-1] if joint.keys == "crossed" else positions


def inside(part: Part, ports: dict[str, Port]) -> list[tuple[tuple[str, int], tuple[str, int]]]:
    """What is joined inside a part, as pairs of (port, position)."""
    if isinstance(part, Cable):
        foot, head = _ends(ports, "foot."), _ends(ports, "head.")
        return _pairs(foot, head, _cable_map(part, ports))
    if isinstance(part, Fanout):
        duplex = [(f"f{n}", lane) for n in range(1, part.duplex_count + 1) for lane in (1, 2) if f"f{n}" in ports]
        order = part.fan_positions or range(1, len(duplex) + 1)
        return [(one, ("array", at)) for one, at in zip(duplex, order, strict=False) if at <= ports["array"].positions]
    if isinstance(part, Box):
        come, go = _ends(ports, "in."), _ends(ports, "out.")
        each = ports["in.f1"].positions if "in.f1" in ports else 0
        return _pairs(go, come, list(part.fan_positions) if each > 2 and part.fan_positions else [], each)
    return []


def _ends(ports: dict[str, Port], side: str) -> list[tuple[str, int]]:
    return [(name, at) for name, port in ports.items() if name.startswith(side) for at in range(1, port.positions + 1)]


def _cable_map(part: Cable, ports: dict[str, Port]) -> list[int]:
    """Positions at the head of those at the foot, within one connector; empty where strands are led across in order."""
    foot = ports["foot.f1"].positions if "foot.f1" in ports else 0
    head = ports["head.f1"].positions if "head.f1" in ports else 0
    if part.array_positions:
        return list(part.array_positions) if len(part.array_positions) == foot else []
    if foot != head or foot < 2:
        return []
    if foot == 2:
        return [int(x) for x in duplex_patch(part.duplex_kind)]
    return [int(x) for x in array_cable(part.array_kind, foot)] if foot in (12, 24) else []


def _pairs(
    near: Sequence[tuple[str, int]], far: Sequence[tuple[str, int]], within: Sequence[int], each: int = 0
) -> list[tuple[tuple[str, int], tuple[str, int]]]:
    """Strands in order; `within` leads them across inside each connector, which has `each` positions at the far side."""
    if not within:
        return list(zip(near, far, strict=False))
    size, step = len(within), each or len(within)
    out = []
    for n, one in enumerate(near):
        at = n // size * step + within[n % size] - 1
        if at < len(far):
            out.append((one, far[at]))
    return out


__all__ = ["Optical", "inside", "mated", "optical"]
