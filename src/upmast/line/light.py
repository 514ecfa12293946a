"""
Where the light of every link ends, and what single change would put it right.

The cause of wrong light is looked for by trial: every exchange of two connectors, every lead of the other kind and every
turned key on the ways that are wrong is tried on the graph, all at once, and those that put most links right are named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.catalogue.part import Cable
from upmast.fibre.graph import follow_light
from upmast.fibre.position import array_mate
from upmast.line.line import Joint, Line, Link
from upmast.line.optical import Optical, mated, optical
from upmast.line.port import crossed_fault, why_not

Ints = NDArray[np.int64]
MOST_TRIALS = 4000
MOST_JOINTS = 200  # on ways that are wrong; with more, the first of them are tried
BATCH_NODES = 1_000_000  # nodes of all wirings that are tried at once: bounds the memory
MOST_REPAIRS = 4


@dataclass(frozen=True, eq=False)
class Lit:
    """
    One row a direction of each link in service, cabinet to radio first.

    sender, meant, reached: nodes; reached is -1 where the light gets lost. nodes: the way, as `follow_light` gives it.
    swaps: how often the light changes between the two lanes of a pair, -1 where it gets lost.
    """

    links: tuple[Link, ...]
    sender: Ints
    meant: Ints
    reached: Ints
    nodes: Ints
    swaps: Ints

    @property
    def right(self) -> NDArray[np.bool_]:
        return np.asarray(self.reached == self.meant)


@dataclass(frozen=True, slots=True)
class Repair:
    """One change: in words, the places that it touches, others that would do the same, and how many directions stay wrong."""

    words: str
    places: tuple[str, ...]
    alike: tuple[str, ...]
    left: int


def receiver_position(line: Line, end: str) -> int:
    """Position at which a port receives: the second of a pair, the only one of a single strand."""
    return min(2, line.port(end).positions)


def lit(line: Line) -> Lit:
    """Follow every link in service, both ways."""
    graph = optical(line)
    links = tuple(link for link in line.links if link.state == "service")
    sender, meant = [], []
    for link in links:
        for a, b in ((link.a, link.b), (link.b, link.a)):
            sender.append(graph.node(a, 1))
            meant.append(graph.node(b, receiver_position(line, b)))
    start, want = np.array(sender, np.int64), np.array(meant, np.int64)
    light = follow_light(graph.mate, graph.through, start)
    arrived = light.arrived & _terminal(line, graph)[light.end]
    lanes = np.where(light.nodes >= 0, graph.position[light.nodes] % 2, -1)
    changed = (lanes[1:] != lanes[:-1]) & (light.nodes[1:] >= 0)
    return Lit(
        links,
        start,
        want,
        np.where(arrived, light.end, -1),
        light.nodes,
        np.asarray(np.where(arrived, changed.sum(0), -1)),
    )


def _terminal(line: Line, graph: Optical) -> NDArray[np.bool_]:
    """Nodes of the ports of radios and basebands."""
    kinds = np.array([line.by_id[end.partition(".")[0]].kind in ("radio", "baseband") for end in graph.ports], np.bool_)
    return np.asarray(kinds[graph.port]) if graph.port.size else np.zeros(0, np.bool_)


def wrong_count(mate: Ints, through: Ints, start: Ints, want: Ints) -> Ints:
    """Directions that don't end where they are meant to, for each wiring."""
    return np.asarray((follow_light(mate, through, start).end != want).sum(-1))


def repairs(line: Line, found: Lit | None = None) -> tuple[Repair, ...]:
    """
    The changes that would put the light right, the best first, each on top of those before; empty where nothing is wrong.

    A change is named only if it puts more directions right than any other kind; where several do the same, as at either end
    of one lead, all stand in `alike`: light alone can't tell them apart.
    """
    graph, now = optical(line), found or lit(line)
    mate, through = graph.mate, graph.through
    out: list[Repair] = []
    left = int(wrong_count(mate, through, now.sender, now.meant))
    while left and len(out) < MOST_REPAIRS:
        trials = _trials(line, graph, mate, through, now)
        if not trials:
            break
        wrong = _tried(trials, mate, through, now)
        best = int(wrong.min())
        if best >= left:
            break
        same = [trials[n] for n in np.flatnonzero(wrong == best)]
        first = same[0]
        out.append(Repair(first.words, first.places, tuple(t.words for t in same[1:]), best))
        first.lay(mate := mate.copy(), through := through.copy())
        left = best
    return tuple(out)


def _tried(trials: list[_Trial], mate: Ints, through: Ints, now: Lit) -> Ints:
    """Directions that are wrong after each trial, some trials at once."""
    step = max(1, BATCH_NODES // max(1, mate.size))
    out = []
    for first in range(0, len(trials), step):
        some = trials[first : first + step]
        mates, throughs = (np.repeat(one[None], len(some), axis=0) for one in (mate, through))
        for n, trial in enumerate(some):
            trial.lay(mates[n], throughs[n])
        out.append(wrong_count(mates, throughs, now.sender, now.meant))
    return np.concatenate(out)


@dataclass(frozen=True, slots=True)
class _Trial:
    words: str
    places: tuple[str, ...]
    mate: tuple[Ints, Ints] | None = None
    through: tuple[Ints, Ints] | None = None

    def lay(self, mate: Ints, through: Ints) -> None:
        for pairs, into in ((self.mate, mate), (self.through, through)):
            if pairs is not None:
                into[pairs[0]], into[pairs[1]] = pairs[1], pairs[0]


def _trials(line: Line, graph: Optical, mate: Ints, through: Ints, now: Lit) -> list[_Trial]:
    """What could be changed on the ways that are wrong."""
    light = follow_light(mate, through, now.sender)
    bad = light.end != now.meant
    # both ways count: where light should have come from tells as much as where it goes
    back = follow_light(mate, through, now.meant[bad])
    seen = np.unique(np.concatenate([light.nodes[:, bad].ravel(), back.nodes.ravel()]))
    ports = {int(p) for p in graph.port[seen[seen >= 0]]}
    joints = [j for j in line.joints if j.a in graph.first and graph.port[graph.node(j.a, 1)] in ports]
    joints = joints[:MOST_JOINTS]
    out: list[_Trial] = []
    # what goes wrong on site first, then what comes wrong from the works: the first of several that do the same is named
    for joint in joints:
        if not crossed_fault(line.port(joint.a), line.port(joint.b), "crossed"):
            out.append(_crossed(graph, joint))
    alike: dict[str, list[_Trial]] = {}
    for end in sorted(ports):
        id = graph.ports[end].partition(".")[0]
        part = line.parts.get(line.by_id[id].part)
        if isinstance(part, Cable) and ".foot." in graph.ports[end] and line.port(graph.ports[end]).positions == 2:
            out.append(_other_lead(line, graph, through, graph.ports[end], part))
            alike.setdefault(part.id, []).append(out[-1])
    for id, leads in alike.items():
        if len(leads) > 1:
            out.append(_all_leads(line, id, leads))
    for joint in joints:
        if line.port(joint.a).positions in (12, 24):
            out.append(_turned(graph, mate, joint, line))
    for n, one in enumerate(joints):
        for two in joints[n + 1 :]:
            out += _exchanged(line, graph, one, two)
            if len(out) > MOST_TRIALS:
                return out
    return out


def _other_lead(line: Line, graph: Optical, through: Ints, foot: str, part: Cable) -> _Trial:
    """The pair of a lead led across the other way."""
    near = graph.first[foot] + np.arange(2)
    id = foot.partition(".")[0]
    many = part.strands_count > 2
    other = "A-A" if part.duplex_kind == "A-B" else "A-B"
    what = f"pair {foot.rsplit('f', 1)[1]} of {id}" if many else id
    return _Trial(f"make {what} {other} instead of {part.duplex_kind}", (id,), through=(near, through[near[::-1]]))


def _all_leads(line: Line, part: str, leads: list[_Trial]) -> _Trial:
    """All leads of one part led across the other way."""
    pairs = [lead.through for lead in leads if lead.through is not None]
    first, second = (np.concatenate([pair[side] for pair in pairs]) for side in (0, 1))
    places = tuple(dict.fromkeys(place for lead in leads for place in lead.places))
    cable = line.parts[part]
    kind = cable.duplex_kind if isinstance(cable, Cable) else ""
    other = "A-A" if kind == "A-B" else "A-B"
    words = f"take {other} leads instead of {part} ({kind}) at {', '.join(places[:4])}" + (
        f" and {len(places) - 4} more" if len(places) > 4 else ""
    )
    return _Trial(words, places, through=(first, second))


def _turned(graph: Optical, mate: Ints, joint: Joint, line: Line) -> _Trial:
    """The keys of two mated arrays the other way."""
    size = line.port(joint.a).positions
    keys = "aligned" if joint.keys == "opposed" else "opposed"
    here = graph.first[joint.a] + np.arange(size)
    there = graph.first[joint.b] + array_mate("aligned" if keys == "aligned" else "opposed", size) - 1
    return _Trial(f"turn the plug at {joint.a}: keys {keys} instead of {joint.keys}", (joint.a, joint.b), (here, there))


def _crossed(graph: Optical, joint: Joint) -> _Trial:
    """The two halves of a duplex plug the other way round in their clip."""
    here, there = graph.first[joint.a] + np.arange(2), graph.first[joint.b] + np.arange(2)
    ways = (here, there) if joint.keys == "crossed" else (here, there[::-1])
    return _Trial(f"exchange the two halves of the plug between {joint.a} and {joint.b}", (joint.a, joint.b), ways)


def _exchanged(line: Line, graph: Optical, one: Joint, two: Joint) -> list[_Trial]:
    """Two connectors exchanged: the far ends of two joints that share an item."""
    out: list[_Trial] = []
    if one.lane or two.lane:
        return out
    done: set[frozenset[str]] = set()
    for a, b in ((one.a, one.b), (one.b, one.a)):
        for c, d in ((two.a, two.b), (two.b, two.a)):
            # a-b and c-d become a-d and c-b; told of the side on which both sit on one item
            ends = frozenset((f"{a} {d}", f"{c} {b}"))
            if b.partition(".")[0] != d.partition(".")[0] or ends in done:
                continue
            if why_not(line.port(a), line.port(d)) or why_not(line.port(c), line.port(b)):
                continue
            done |= {ends, frozenset((f"{d} {a}", f"{b} {c}"))}
            here, there = mated(line, Joint(a, d, one.keys)), mated(line, Joint(c, b, two.keys))
            first = np.concatenate([graph.first[a] + here[0] - 1, graph.first[c] + there[0] - 1])
            second = np.concatenate([graph.first[d] + here[1] - 1, graph.first[b] + there[1] - 1])
            cable = [isinstance(line.parts.get(line.by_id[end.partition(".")[0]].part), Cable) for end in (a, b)]
            plugs, ports = ((b, d), (a, c)) if cable == [False, True] else ((a, c), (b, d))
            words = f"exchange {plugs[0]} and {plugs[1]}, the plugs in {ports[0]} and {ports[1]}"
            out.append(_Trial(words, (*plugs, *ports), (first, second)))
    return out


def spare_way(line: Line, link: Link) -> tuple[bool, str]:
    """Whether a kept pair goes from one end to the other and is joined to nothing; if not, why."""
    graph = optical(line)
    size = line.port(link.a).positions
    starts = [graph.node(link.a, n) for n in range(1, size + 1)]
    for end in (link.a, link.b):
        if end in line.joined:
            return False, f"{end} is joined to {line.joined[end][0][0]}: a spare is dark at both ends"
    light = follow_light(graph.mate, graph.through, starts, inward=True)
    ends = [graph.name(n) for n in light.end]
    if any(end != link.b for end in ends):
        return False, f"its strands end at {' and '.join(dict.fromkeys(ends))}, not at {link.b}"
    return True, f"{link.a} to {link.b}, dark at both ends"


def strands_of(graph: Optical, nodes: Ints) -> tuple[str, ...]:
    """Strands that a way passes, as cable and number, in order."""
    known = [int(n) for n in nodes if n >= 0 and graph.strand[n]]
    feet = [n for n in known if ".foot." in graph.name(n)]
    return tuple(f"{graph.name(n).partition('.')[0]}-F{int(graph.strand[n]):02d}" for n in feet)


def strands_twice(line: Line, found: Lit, links: Sequence[Link]) -> dict[str, tuple[str, ...]]:
    """Strands that more than one link uses, with those links."""
    graph = optical(line)
    users: dict[str, dict[str, None]] = {}
    for row in range(len(found.sender)):
        for name in strands_of(graph, found.nodes[:, row]):
            users.setdefault(name, {})[found.links[row // 2].id] = None
    for link in links:
        if link.state == "service":
            continue
        starts = [graph.node(link.a, n) for n in range(1, line.port(link.a).positions + 1)]
        light = follow_light(graph.mate, graph.through, starts, inward=True)
        for column in range(len(starts)):
            for name in strands_of(graph, light.nodes[:, column]):
                users.setdefault(name, {})[link.id] = None
    return {name: tuple(ids) for name, ids in users.items() if len(ids) > 1}


__all__ = [
    "Lit", "Repair", "lit", "receiver_position", "repairs", "spare_way", "strands_of", "strands_twice", "wrong_count",
]  # fmt: skip
