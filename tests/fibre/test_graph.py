"""
Light through random wirings: the walk over matchings against a brute-force simulation that knows of no matchings, and networkx.

5,000 wirings of 4 to 12 duplex links over two stages of 24 positions; half of them right, half with one or two planted faults.
"""

from __future__ import annotations

from dataclasses import dataclass

import networkx
import numpy as np
import pytest

from upmast.fibre.graph import follow_light, is_matching
from upmast.fibre.position import array_mate
from upmast.fibre.rules import LinkFault, Role, link_faults

SIZE = 24
COUNT = 5000


@dataclass
class Wiring:
    """Edges as a person would list them: pairs of (place, position). Each link has a duplex port at either side."""

    links: int
    joints: list[tuple[tuple[str, int], tuple[str, int]]]
    parts: list[tuple[tuple[str, int], tuple[str, int]]]
    planted: list[str]


def wire(rng: np.random.Generator, faults: int) -> Wiring:
    """Near ports > patches > fan-out > mate > trunk > mate > fan-in > patches > far ports, with some faults."""
    links = int(rng.integers(4, SIZE // 2 + 1))
    keys = [("opposed", "aligned")[int(rng.integers(2))] for _ in range(2)]
    trunk = rng.permutation(SIZE) + 1  # a cable of any kind
    mates = [array_mate(k, SIZE) for k in keys]  # type: ignore[arg-type]
    # where the fan-in must lead so that port p comes out at port p, lanes as they come
    through = mates[1][trunk[mates[0] - 1] - 1]
    near_patch = rng.integers(0, 2, links)  # 1 crosses
    planted: list[str] = []
    order = {int(through[2 * p + lane]): (p + 1, lane + 1) for p in range(links) for lane in range(2)}
    far_patch = 1 - near_patch  # so that crossings are odd
    for _ in range(faults):
        kind = int(rng.integers(5))
        p, q = (int(x) for x in rng.choice(links, 2, replace=False))
        if kind == 0:
            far_patch[p] = 1 - far_patch[p]
            planted.append(f"patch {p + 1}")
        elif kind == 1:  # two duplex plugs exchanged
            swap = {p + 1: q + 1, q + 1: p + 1}
            order = {at: (swap.get(port, port), lane) for at, (port, lane) in order.items()}
            planted.append("ports")
        elif kind == 2:  # two strands exchanged in the trunk
            a, b = (int(x) for x in rng.choice(SIZE, 2, replace=False))
            trunk[[a, b]] = trunk[[b, a]]
            planted.append("strands")
        elif kind == 3:  # a broken strand
            order.pop(sorted(order)[int(rng.integers(len(order)))], None)
            planted.append("broken")
        else:
            mates[1] = array_mate("aligned" if keys[1] == "opposed" else "opposed", SIZE)
            planted.append("turned")
    parts: list[tuple[tuple[str, int], tuple[str, int]]] = []
    joints: list[tuple[tuple[str, int], tuple[str, int]]] = []
    for p in range(links):
        for lane in (1, 2):
            joints.append(((f"near{p}", lane), (f"patch{p}", lane)))
            out = 3 - lane if near_patch[p] else lane
            parts.append(((f"patch{p}", lane), (f"patch{p}o", out)))
            joints.append(((f"patch{p}o", lane), (f"fan{p}", lane)))
            parts.append(((f"fan{p}", lane), ("array", 2 * p + lane)))
            joints.append(((f"fanin{p}", lane), (f"lead{p}", lane)))
            out = 3 - lane if far_patch[p] else lane
            parts.append(((f"lead{p}", lane), (f"lead{p}o", out)))
            joints.append(((f"lead{p}o", lane), (f"far{p}", lane)))
    for at in range(1, SIZE + 1):
        joints.append((("array", at), ("foot", int(mates[0][at - 1]))))
        parts.append((("foot", at), ("head", int(trunk[at - 1]))))
        joints.append((("head", at), ("box", int(mates[1][at - 1]))))
    for at, (port, lane) in order.items():
        parts.append((("box", at), (f"fanin{port - 1}", lane)))
    return Wiring(links, joints, parts, planted)


def graph_of(wiring: Wiring) -> tuple[dict[tuple[str, int], int], np.ndarray, np.ndarray]:
    places = dict.fromkeys(end for pair in (*wiring.joints, *wiring.parts) for end in pair)
    index = {end: n for n, end in enumerate(places)}
    mate, through = np.full(len(index), -1), np.full(len(index), -1)
    for partner, pairs in ((mate, wiring.joints), (through, wiring.parts)):
        for a, b in pairs:
            partner[index[a]], partner[index[b]] = index[b], index[a]
    return index, mate, through


def simulate(wiring: Wiring, start: tuple[str, int]) -> tuple[str, int]:
    """Shine into one end and look which end it comes out of, edge by edge over plain lists."""
    here, across = start, True
    while True:
        edges = wiring.joints if across else wiring.parts
        found = [b if a == here else a for a, b in edges if here in (a, b)]
        if not found:
            return here
        here, across = found[0], not across


def test_5000_wirings_agree_with_shining_through_them() -> None:
    """Rules 1, 2, 5 and 7: a receiver at each end, the one that is meant, two strands a link, an odd number of crossings."""
    rng = np.random.default_rng(20261127)
    seen = {"right": 0, "wrong": 0}
    for n in range(COUNT):
        wiring = wire(rng, 0 if n % 2 == 0 else 1 + n % 4 // 2)
        index, mate, through = graph_of(wiring)
        starts = [(f"near{p}", 1) for p in range(wiring.links)]
        light = follow_light(mate, through, [index[s] for s in starts])
        names = list(index)
        ends = [names[e] for e in light.end]
        truth = [simulate(wiring, s) for s in starts]
        assert ends == truth
        wanted = [(f"far{p}", 2) for p in range(wiring.links)]
        right = [a == b for a, b in zip(truth, wanted, strict=True)]
        # the same by the rules over duplex ends, which know of ports and lanes alone
        reached = [2 * int(e[0][3:]) + e[1] if e[0].startswith("far") else 0 for e in truth]
        intended = [2 * p + 2 for p in range(wiring.links)]
        roles = [Role.TX, Role.RX] * wiring.links
        found = link_faults(reached, intended, [int(r) for r in roles])
        assert found.any.tolist() == [not r for r in right]
        lanes = np.array([names[k][1] % 2 if k >= 0 else -1 for k in light.nodes.ravel()]).reshape(light.nodes.shape)
        swaps = ((lanes[1:] != lanes[:-1]) & (light.nodes[1:] >= 0)).sum(0)
        facing = [e[0].startswith("far") and e[1] == 1 for e in truth]
        assert found.of[LinkFault.TX_ON_TX].tolist() == facing
        for k in range(wiring.links):
            if truth[k][0].startswith("far"):
                assert bool(swaps[k] % 2 == 1) is (truth[k][1] == 2)
        # two strands a link: where both directions end rightly they never share a node
        back = follow_light(mate, through, [index[(f"far{p}", 1)] for p in range(wiring.links)])
        for k in range(wiring.links):
            up, down = set(light.nodes[:, k]) - {-1}, set(back.nodes[:, k]) - {-1}
            if right[k] and names[back.end[k]] == (f"near{k}", 2):
                assert not up & down
        if not wiring.planted:
            assert all(right)
        seen["right" if all(right) else "wrong"] += 1
    # a planted fault may cancel another or hit a dark strand; most must show
    assert seen["right"] >= COUNT // 2
    assert seen["wrong"] > COUNT // 3


def test_networkx_finds_the_same_ways() -> None:
    rng = np.random.default_rng(7)
    for n in range(60):
        wiring = wire(rng, n % 3)
        index, mate, through = graph_of(wiring)
        net = networkx.Graph()
        net.add_nodes_from(index)
        net.add_edges_from((*wiring.joints, *wiring.parts))
        starts = [(f"near{p}", lane) for p in range(wiring.links) for lane in (1, 2)]
        light = follow_light(mate, through, [index[s] for s in starts])
        names = list(index)
        for k, start in enumerate(starts):
            way = [names[x] for x in light.nodes[:, k] if x >= 0]
            assert networkx.shortest_path(net, start, names[light.end[k]]) == way


def test_many_wirings_at_once_are_each_alone() -> None:
    rng = np.random.default_rng(3)
    first = wire(rng, 0)
    index, mate, through = graph_of(first)
    starts = [index[(f"near{p}", 1)] for p in range(first.links)]
    heads = [index[("head", at)] for at in range(1, SIZE + 1)]
    boxes = mate[heads]
    mates = np.repeat(mate[None], 5, 0)
    for row in range(1, 5):
        turned = np.roll(boxes, row)
        mates[row, heads], mates[row, turned] = turned, heads
    many = follow_light(mates, through, starts)
    for row in range(5):
        one = follow_light(mates[row], through, starts)
        np.testing.assert_array_equal(many.end[row], one.end)
        np.testing.assert_array_equal(many.arrived[row], one.arrived)


def test_a_ring_is_told_and_a_matching_is_known() -> None:
    ring = follow_light([1, 0, 3, 2], [3, 2, 1, 0], [0])
    assert ring.ring.tolist() == [True]
    assert is_matching([1, 0, -1]).tolist() == [True, True, True]
    assert is_matching([[1, 0, 1]]).tolist() == [[True, True, False]]


def test_what_is_no_node_is_refused() -> None:
    with pytest.raises(ValueError, match="nodes count from 0"):
        follow_light([5, 0], [-1, -1], [0])
    with pytest.raises(ValueError, match="a start is a node"):
        follow_light([1, 0], [-1, -1], [-1])
    with pytest.raises(ValueError, match="one entry a node"):
        follow_light([1, 0], [-1], [0])
