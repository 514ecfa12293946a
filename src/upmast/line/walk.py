"""Walks through a line: the DC network, each strand from transceiver to transceiver, each RF path. Topology only."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.catalogue.part import Box, Breaker, Cable, RadioPart
from upmast.fibre.graph import follow_light
from upmast.line.line import Item, Line
from upmast.line.optical import optical

CABLES = ("trunk", "dc-cable", "fibre-cable", "hybrid-jumper", "dc-jumper", "fibre-jumper")
RF_CABLES = ("rf-jumper", "feeder")
RF_INLINE = "rf-inline"
MOST_HOPS = 64


def head_of(port: str) -> str:
    """The port at the other end of a cable."""
    return "head" + port[4:] if port.startswith("foot") else "foot" + port[4:]


# --- DC -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Branch:
    """One resistive branch: a breaker, one wire of a pair, the path through a box, a bond of the return, a shield."""

    a: int
    b: int
    kind: str  # breaker, line, return, box, bond, shield
    item: str
    pair: int = 0
    contacts: tuple[str, ...] = ()  # connector parts whose contact lies in it


@dataclass(frozen=True, slots=True)
class DcNetwork:
    """Nodes 0 (line bar) and 1 (return bar) are the plant; `loads` are radio, line node, return node (-1: not connected)."""

    nodes: int
    branches: tuple[Branch, ...]
    loads: tuple[tuple[str, int, int], ...]


class _Union:
    """Which terminals are one node."""

    def __init__(self) -> None:
        self.parent: dict[str, str] = {}

    def find(self, x: str) -> str:
        root = self.parent.setdefault(x, x)
        while root != self.parent[root]:
            root = self.parent[root]
        while x != root:
            self.parent[x], x = root, self.parent[x]
        return root

    def join(self, a: str, b: str) -> None:
        self.parent[self.find(a)] = self.find(b)


def dc_network(line: Line, common_return: bool = False) -> DcNetwork:
    """
    The DC network from the plant's bars to every radio, with line and return as separate branches.

    The contact of a joint lies in the branch of the cable whose end it is. Shields are branches of it where the return is
    bonded at the far end, too: `common_return`, or by a radio whose case is joined to its return.
    """
    union = _Union()
    for joint in line.joints:
        if line.port(joint.a).family == "dc":
            for wire in ("L", "R"):
                union.join(f"{joint.a}/{wire}", f"{joint.b}/{wire}")
    raw: list[tuple[str, str, str, str, int, tuple[str, ...]]] = []
    for item in line.items:
        part = line.parts.get(item.part)
        if isinstance(part, Breaker):
            raw.append(("plant/L", f"{item.id}.out/L", "breaker", item.id, 0, ()))
            union.join(f"{item.id}.out/R", "plant/R")
        elif isinstance(part, Cable):
            for n in range(1, part.pairs_count + 1):
                foot, head = f"{item.id}.foot.dc{n}", f"{item.id}.head.dc{n}"
                contacts = tuple(c for end in (foot, head) if end in line.joined for c in (line.port(end).connector,))
                raw.append((f"{foot}/L", f"{head}/L", "line", item.id, n, contacts))
                raw.append((f"{head}/R", f"{foot}/R", "return", item.id, n, contacts))
        elif isinstance(part, Box):
            _box(item, part, union, raw)
    raw += _earthed(line, common_return)
    loads = [(item.id, f"{item.id}.dc/L", f"{item.id}.dc/R") for item in line.of_kind("radio")]
    index = {union.find("plant/L"): 0, union.find("plant/R"): 1}
    used = list(raw)
    for a, b, *_ in used:
        for terminal in (a, b):
            index.setdefault(union.find(terminal), len(index))
    branches = tuple(
        Branch(index[union.find(a)], index[union.find(b)], kind, item, pair, contacts)
        for a, b, kind, item, pair, contacts in used
    )
    ports = tuple(
        (radio, index.get(union.find(plus), -1), index.get(union.find(minus), -1)) for radio, plus, minus in loads
    )
    return DcNetwork(len(index), branches, ports)


def _earthed(line: Line, common_return: bool) -> list[tuple[str, str, str, str, int, tuple[str, ...]]]:
    """
    Bonds of the return away from the plant, and the shields that then share its current.

    All that is bonded behind one box, or on one run without a box, is taken as one earth bar; the steel of the mast is not
    counted on.
    """
    bonds: list[tuple[str, str, str, str, int, tuple[str, ...]]] = []
    behind: dict[str, str] = {}  # radio to the item whose earth bar it is bonded to
    shields: list[tuple[str, str]] = []
    for item in line.items:
        part = line.parts.get(item.part)
        if not isinstance(part, Cable) or not part.pairs_count:
            continue
        for n in range(1, part.pairs_count + 1):
            for other, _ in line.joined.get(f"{item.id}.head.dc{n}", ()):
                far = line.by_id[other.split(".", 1)[0]]
                near = [o.split(".", 1)[0] for o, _ in line.joined.get(f"{item.id}.foot.dc{n}", ())]
                at_box = [id for id in near if line.by_id[id].kind == "box"]
                if far.kind == "radio":
                    behind.setdefault(far.id, at_box[0] if at_box else far.id)
                if part.shield_area_mm2 > 0 and not at_box:
                    shields.append((item.id, far.id))
                if common_return and far.kind == "box":
                    box = line.parts[far.part]
                    bussed = isinstance(box, Box) and box.topology == "bussed"
                    node, pair = (f"{far.id}/bar/R", 0) if bussed else (f"{other}/R", int(other.rsplit("dc", 1)[1]))
                    bonds.append((node, f"{far.id}/E", "bond", far.id, pair, ()))
    for radio in line.of_kind("radio"):
        part = line.parts.get(radio.part)
        bonded = isinstance(part, RadioPart) and part.return_bonded
        alone = behind.get(radio.id) == radio.id  # on a run of its own: nothing else bonds it
        if radio.id in behind and (bonded or (common_return and alone)):
            bonds.append((f"{radio.id}.dc/R", f"{behind[radio.id]}/E", "bond", radio.id, 0, ()))
    bars = {bar for _, bar, *_ in bonds}
    ways = [(f"{far}/E", "plant/R", "shield", id, 0, ()) for id, far in dict.fromkeys(shields) if f"{far}/E" in bars]
    return [*dict.fromkeys(bonds), *ways]


def _box(item: Item, part: Box, union: _Union, raw: list[tuple[str, str, str, str, int, tuple[str, ...]]]) -> None:
    if part.topology == "bussed":
        for n in range(1, part.dc_in_count + 1):
            for wire in ("L", "R"):
                union.join(f"{item.id}.in.dc{n}/{wire}", f"{item.id}/bar/{wire}")
    for n in range(1, part.dc_out_count + 1):
        source = f"{item.id}/bar" if part.topology == "bussed" else f"{item.id}.in.dc{n}"
        union.join(f"{item.id}.out.dc{n}/R", f"{source}/R")
        if part.path_resistance_ohm > 0:
            raw.append((f"{source}/L", f"{item.id}.out.dc{n}/L", "box", item.id, n, ()))
        else:
            union.join(f"{item.id}.out.dc{n}/L", f"{source}/L")


def feeds(line: Line) -> dict[str, tuple[tuple[str, ...], ...]]:
    """
    What feeds each radio, from the plant outwards: item ids in order, one tuple a parallel way.

    Walks the joints back from the radio; in a bussed box all inputs feed all outputs.
    """
    out: dict[str, tuple[tuple[str, ...], ...]] = {}
    for radio in line.of_kind("radio"):
        ways: list[tuple[str, ...]] = []
        _back(line, f"{radio.id}.dc", (), ways, 0)
        out[radio.id] = tuple(ways)
    return out


def _back(line: Line, end: str, tail: tuple[str, ...], ways: list[tuple[str, ...]], depth: int) -> None:
    if depth > MOST_HOPS:
        return
    for other, _ in line.joined.get(end, ()):
        id, port = other.split(".", 1)
        item = line.by_id[id]
        part = line.parts.get(item.part)
        if isinstance(part, Breaker):
            ways.append((id, *tail))
        elif isinstance(part, Cable):
            n = int(port.rsplit("dc", 1)[1])
            far = f"{id}.{head_of(port)}"
            _back(line, far, (f"{id}-P{n:02d}" if part.pairs_count > 1 else id, *tail), ways, depth + 1)
        elif isinstance(part, Box) and port.startswith("out."):
            n = int(port.rsplit("dc", 1)[1])
            ins = range(1, part.dc_in_count + 1) if part.topology == "bussed" else (n,)
            for m in ins:
                _back(line, f"{id}.in.dc{m}", (id, *tail), ways, depth + 1)


# --- fibre ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Hop:
    """A strand through one item: where it goes in and where it comes out."""

    item: str
    enter: str
    enter_position: int
    leave: str
    leave_position: int


@dataclass(frozen=True, slots=True)
class Strand:
    """
    The way of light from one position of one port: the items passed, the mated pairs passed, and where it ends.

    `end` is empty where it ends in nothing.
    """

    start: str
    start_position: int
    hops: tuple[Hop, ...]
    mates: tuple[tuple[str, str], ...]
    end: str
    end_position: int


def strand(line: Line, start: str, position: int) -> Strand:
    """Follow the light from a port's position, through mates and items, to the port in which it ends."""
    graph = optical(line)
    light = follow_light(graph.mate, graph.through, [graph.node(start, position)])
    nodes = light.nodes[:, 0]
    nodes = nodes[nodes >= 0]
    ends = [tuple(graph.name(n).split(".", 1)) for n in nodes]
    at = [int(graph.position[n]) for n in nodes]
    hops = tuple(Hop(ends[n][0], ends[n][1], at[n], ends[n + 1][1], at[n + 1]) for n in range(1, len(nodes) - 1, 2))
    mates = tuple((graph.name(nodes[n]), graph.name(nodes[n + 1])) for n in range(0, len(nodes) - 1, 2))
    terminal = light.arrived[0] and line.by_id[ends[-1][0]].kind in ("radio", "baseband")
    return Strand(start, position, hops, mates, graph.name(nodes[-1]) if terminal else "", at[-1])


# --- RF -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RfPath:
    """
    One RF path: radio port, what is passed in order, and the antenna port.

    passed: cables and two-ports; joint n stands before passed n, the last one at the antenna. cables: the cables alone. turned: of the
    two-ports, those that are entered at their head.
    """

    id: str
    radio: str
    radio_port: str
    cables: tuple[str, ...]
    joints: tuple[tuple[str, str], ...]
    antenna: str  # item and port; empty if the path ends in nothing
    passed: tuple[str, ...] = ()
    turned: tuple[str, ...] = ()


def rf_paths(line: Line) -> tuple[RfPath, ...]:
    """Every RF path that starts at a radio port to which something is joined."""
    out = []
    for radio in line.of_kind("radio"):
        for name, found in line.ports[radio.id].items():
            if found.family != "rf":
                continue
            here = f"{radio.id}.{name}"
            if here not in line.joined:
                continue
            passed: list[str] = []
            turned: list[str] = []
            joints: list[tuple[str, str]] = []
            end = ""
            for _ in range(MOST_HOPS):
                others = line.joined.get(here, ())
                if not others:
                    break
                other = others[0][0]
                joints.append((here, other))
                id, port = other.split(".", 1)
                if line.by_id[id].kind not in (*RF_CABLES, RF_INLINE):
                    end = other
                    break
                passed.append(id)
                if line.by_id[id].kind == RF_INLINE and port == "head":
                    turned.append(id)
                here = f"{id}.{'head' if port == 'foot' else 'foot'}"
            cables = tuple(id for id in passed if line.by_id[id].kind in RF_CABLES)
            path_id = cables[0] if cables else f"{radio.id}-{name.upper()}"
            out.append(RfPath(path_id, radio.id, name, cables, tuple(joints), end, tuple(passed), tuple(turned)))
    return tuple(out)
