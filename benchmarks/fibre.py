"""
How long light takes to be followed: the map and audit of a large trunk, and every combination of faults in two stages.

    python benchmarks/fibre.py

The reference walks the same wirings with networkx in the same run; its time over all combinations is extrapolated from a sample.
Nothing is asserted: the targets stand beside the numbers.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import replace

import networkx
import numpy as np

from upmast.catalogue.catalogue import standard
from upmast.fibre import check as room
from upmast.fibre.combination import check_combinations, stage_faults
from upmast.fibre.position import array_cable
from upmast.line.line import Item, Joint, Line, Link
from upmast.line.optical import optical
from upmast.proof.limits import limits_of
from upmast.site.load import from_text
from upmast.site.template import template
from upmast.yamlfile import parse

RADIOS, SAMPLE = 24, 200


def median(work: Callable[[], object], runs: int = 15) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def large_line(site: str) -> Line:
    """24 radios with a link each on a trunk of 48 strands with two array connectors."""
    catalogue = standard()
    trunk, fan = catalogue.part("trunk-12x16-48f-mpo24"), catalogue.part("fanout-mpo-24")
    box, jumper = catalogue.part("box-straight-12-mpo24"), catalogue.part("fibre-jumper-2f-a-b")
    patch = next(p for p in catalogue.cables("fibre-jumper") if p.duplex_kind == "A-A" and p.fibre_foot == p.fibre_head)
    radio, optic = catalogue.part("radio-low-2t2r"), catalogue.part("optic-10g-lr")
    parts = {p.id: p for p in (trunk, fan, box, jumper, patch, radio, optic)} | {
        p.id: p for p in catalogue.of_kind("connector")
    }
    slots = tuple((f"s{n}", optic.id) for n in range(1, RADIOS + 1))
    items = [
        Item("BB1", "baseband", "", equipment=slots),
        Item("T1", "trunk", trunk.id, 60.0, 0.3),
        Item("BX1", "box", box.id),
    ]
    joints, links = [], []
    for n in (1, 2):
        items.append(Item(f"T1-FP{n}", "fanout", fan.id, on="CAB"))
        joints += [Joint(f"T1-FP{n}.array", f"T1.foot.f{n}"), Joint(f"T1.head.f{n}", f"BX1.in.f{n}")]
    for n in range(1, RADIOS + 1):
        fan_port = f"T1-FP{(n - 1) // 12 + 1}.f{(n - 1) % 12 + 1}"
        items += [
            Item(f"R{n}", "radio", radio.id, equipment=(("opt1", optic.id),)),
            Item(f"T1-X{n:02d}", "fibre-jumper", patch.id, 2.0, on="CAB"),
            Item(f"R{n}-F1", "fibre-jumper", jumper.id, 5.0, serves=(f"R{n}",)),
        ]
        joints += [
            Joint(f"BB1.s{n}", f"T1-X{n:02d}.foot.f1"), Joint(f"T1-X{n:02d}.head.f1", fan_port),
            Joint(f"BX1.out.f{n}", f"R{n}-F1.foot.f1"), Joint(f"R{n}-F1.head.f1", f"R{n}.opt1"),
        ]  # fmt: skip
        links.append(Link(f"R{n}-L1", f"BB1.s{n}", f"R{n}.opt1", "service", f"R{n}"))
    return Line(site, tuple(items), tuple(joints), parts, tuple(links))


def walk(cable: np.ndarray, one: np.ndarray, two: np.ndarray) -> int:
    """The plain walk of one combination: a graph, and a path from every position."""
    net = networkx.Graph()
    for p in range(cable.size):
        net.add_edge(("near", p), ("foot", int(one[p])))
        net.add_edge(("foot", p), ("head", int(cable[p]) - 1))
        net.add_edge(("head", p), ("far", int(two[p])))
    return sum(not networkx.has_path(net, ("near", p), ("far", int(cable[p]) - 1)) for p in range(cable.size))


def main() -> None:
    site = from_text(parse(template("LARGE")), standard())
    line = large_line(site.id)
    fresh = lambda: replace(line)  # noqa: E731  a new line has no graph yet
    made = [fresh() for _ in range(20)]
    feed = iter(made)
    graph = median(lambda: optical(next(feed)))
    limits = limits_of(site)
    feed = iter([fresh() for _ in range(20)])
    audit = median(lambda: room.check(room.inputs(next(feed), site, ()), limits))
    result = room.check(room.inputs(line, site, ()), limits)
    right = sum(f.code == "fibre.right-port" and f.value == 1 for f in result.findings)
    print(f"trunk of 48 strands, {RADIOS} radios: {right} links right")
    print(f"  graph of all fibre ends            {1e3 * graph:8.2f} ms")
    print(f"  map and audit, graph included      {1e3 * audit:8.2f} ms    target 20 ms")
    cable = array_cable("B", 24)
    all_ = median(lambda: check_combinations(cable), 5)
    found = check_combinations(cable)
    faults, rng = stage_faults(24), np.random.default_rng(1)
    pairs = faults[rng.integers(len(faults), size=(SAMPLE, 2))]
    start = time.perf_counter()
    wrong = [walk(cable, one, two) for one, two in pairs]
    each = (time.perf_counter() - start) / SAMPLE
    ours = [int(check_combinations(cable, a[None], b[None]).by_wrong.nonzero()[0][0]) for a, b in pairs]
    print(
        f"\nexchange, flip and row swap in two stages of 24 positions: {found.total} combinations, {found.right} of them right"
    )
    print(f"  all of them                        {1e3 * all_:8.1f} ms    {1e9 * all_ / found.total:.0f} ns each")
    print(
        f"  networkx, {SAMPLE} of them              {1e6 * each:8.1f} us each, {each * found.total:.0f} s for all (extrapolated)"
    )
    print(f"  ratio                              {each * found.total / all_:8.0f}       target 50")
    print(f"  the sample agrees: {ours == wrong}")


if __name__ == "__main__":
    main()
