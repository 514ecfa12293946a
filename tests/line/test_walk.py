"""Walks through a line, against graphs that are built here from the parts alone by other means."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from types import ModuleType

import networkx
import numpy as np
import pytest

from upmast.catalogue.catalogue import standard
from upmast.catalogue.part import Box, Cable, Fanout
from upmast.line.line import Item, Joint, Line, used_parts
from upmast.line.walk import dc_network, feeds, head_of, rf_paths, strand

CATALOGUE = {part.id: part for part in standard()}
KINDS = ["radio-low-2t2r", "radio-mid-4t4r", "radio-small-2t2r", "radio-n78-panel"]
FIBRE_FORMS = ["lc", "lc-pair", "lc-jumpers", "mpo12", "mpo12-a-a", "mpo24", "bussed", "bussed-mpo12", "separate"]
Node = tuple[str, int]


def test_head_of() -> None:
    assert head_of("foot.dc3") == "head.dc3"
    assert head_of("head.f1") == "foot.f1"
    assert head_of("foot") == "head"


# --- fibre: a graph of (end, position), every strand and mate an edge ------------------------------------------------


def mated_position(p: int, n: int, keys: str) -> int:
    """The position that lies before position p of the other connector, by points in space."""
    if n <= 2:
        return p
    row, column = divmod(p - 1, 12)
    rows = n // 12
    x, y = column - 5.5, (rows - 1) / 2 - row  # seen from the front, key up
    x = -x  # the other end face is seen as in a mirror
    if keys == "opposed":  # and its key points down
        x, y = -x, -y
    return round((rows - 1) / 2 - y) * 12 + round(x + 5.5) + 1


def strands_of(item: Item, line: Line) -> Iterator[tuple[Node, Node]]:
    part = line.parts.get(item.part)
    if isinstance(part, Cable) and part.strands_count:
        n = line.connector(part.fibre_foot or "").positions_count
        for k in range(1, part.strands_count // n + 1):
            for p in range(1, n + 1):
                if n == 2:
                    q = 3 - p if part.duplex_kind == "A-B" else p
                elif n > 2:
                    q = {"A": p, "B": n + 1 - p, "C": p + 1 if p % 2 else p - 1}[part.array_kind]
                else:
                    q = p
                yield (f"{item.id}.foot.f{k}", p), (f"{item.id}.head.f{k}", q)
    elif isinstance(part, Fanout):
        for d in range(1, part.duplex_count + 1):
            yield (f"{item.id}.array", 2 * d - 1), (f"{item.id}.f{d}", 1)
            yield (f"{item.id}.array", 2 * d), (f"{item.id}.f{d}", 2)
    elif isinstance(part, Box) and part.fibre_in is not None:
        n = line.connector(part.fibre_in).positions_count
        inner = [(f"{item.id}.in.f{k}", p) for k in range(1, part.fibre_in_count + 1) for p in range(1, n + 1)]
        outer = [(f"{item.id}.out.f{k}", p) for k in range(1, part.fibre_out_count + 1) for p in (1, 2)]
        yield from zip(inner, outer, strict=False)


def light_graph(line: Line) -> networkx.Graph:
    graph = networkx.Graph()
    for item in line.items:
        graph.add_edges_from(strands_of(item, line), item=item.id)
    for joint in line.joints:
        port = line.port(joint.a)
        if port.family == "fibre":
            for p in range(1, port.positions + 1):
                graph.add_edge((joint.a, p), (joint.b, mated_position(p, port.positions, joint.keys)), item="")
    return graph


def check_strands(line: Line, graph: networkx.Graph) -> int:
    """Compare both ways of every link with the graph; how many strands end in equipment."""
    lit = 0
    for link in line.links:
        for start in (link.a, link.b):
            if start not in line.joined or line.by_id[start.split(".")[0]].kind not in ("radio", "baseband"):
                continue
            for p in (1, 2):
                found = strand(line, start, p)
                reach = networkx.single_source_shortest_path(graph, (start, p))
                far = max(reach, key=lambda node: len(reach[node]))
                if line.by_id[far[0].split(".")[0]].kind in ("radio", "baseband"):
                    assert (found.end, found.end_position) == far
                    lit += 1
                else:
                    assert found.end == ""
                steps = [graph.edges[a, b]["item"] for a, b in zip(reach[far], reach[far][1:], strict=False)]
                assert [h.item for h in found.hops] == [s for s in steps if s]
                assert len(found.mates) == steps.count("")
    return lit


def test_mated_positions_by_hand() -> None:
    assert [mated_position(p, 12, "opposed") for p in (1, 12)] == [1, 12]
    assert [mated_position(p, 12, "aligned") for p in (1, 12)] == [12, 1]
    assert [mated_position(p, 24, "opposed") for p in (1, 12, 13, 24)] == [13, 24, 1, 12]
    assert [mated_position(p, 24, "aligned") for p in (1, 12, 13, 24)] == [12, 1, 24, 13]


@pytest.mark.parametrize("form", FIBRE_FORMS)
def test_every_strand_ends_where_the_graph_says(lines: ModuleType, form: str) -> None:
    line = lines.some_line(lines.some_site(KINDS * 3, (1, 2), 0 if form == "separate" else 1), form)
    graph = light_graph(line)
    assert max(dict(graph.degree).values()) == 2  # light never forks
    service = sum(link.state == "service" for link in line.links)
    assert check_strands(line, graph) == 4 * service  # both lanes, both ways


@pytest.mark.parametrize("form", ["mpo12", "mpo24"])
@pytest.mark.parametrize("kind", ["A", "B", "C"])
@pytest.mark.parametrize("keys", ["opposed", "aligned"])
def test_every_kind_of_array_cable_and_key(lines: ModuleType, form: str, kind: str, keys: str) -> None:
    """Light goes where the graph says, right or wrong."""
    made = lines.some_line(lines.some_site(KINDS * 3, (1, 2), 1), form)
    parts = dict(made.parts)
    trunk = made.by_id["T1"].part
    parts[trunk] = parts[trunk].model_copy(update={"array_kind": kind})
    joints = tuple(replace(j, keys=keys) if made.port(j.a).positions > 2 and "-FP" in j.a else j for j in made.joints)
    line = replace(made, parts=parts, joints=joints)
    assert check_strands(line, light_graph(line)) > 0
    right = all(
        (way.end, way.end_position) == (link.b, 2)
        for link in line.links if link.state == "service" for way in [strand(line, link.a, 1)]
    )  # fmt: skip
    # a mirrored mate and a mirrored cable undo each other; each alone is wrong
    assert right is ((kind, keys) in {("A", "opposed"), ("B", "aligned")})


def test_a_strand_by_hand(lines: ModuleType) -> None:
    """Baseband, patch A-A, fan-out, MPO trunk, box, jumper A-B, radio: seven mates, one crossing."""
    line = lines.some_line(lines.some_site(["radio-low-2t2r", "radio-mid-4t4r"]), "mpo12")
    way = strand(line, "BB1.s2", 1)
    assert [(h.item, h.enter, h.enter_position, h.leave, h.leave_position) for h in way.hops] == [
        ("T1-X02", "foot.f1", 1, "head.f1", 1),
        ("T1-FP1", "f2", 1, "array", 3),
        ("T1", "foot.f1", 3, "head.f1", 3),
        ("BX1", "in.f1", 3, "out.f2", 1),
        ("B1-H1", "foot.f1", 1, "head.f1", 2),
    ]
    assert (way.end, way.end_position) == ("B1.opt1", 2)
    assert len(way.mates) == 6
    back = strand(line, "B1.opt1", 1)
    assert [h.item for h in back.hops] == [h.item for h in reversed(way.hops)]
    assert (back.end, back.end_position) == ("BB1.s2", 2)


def test_a_strand_that_ends_in_nothing(lines: ModuleType) -> None:
    line = lines.some_line(lines.some_site(["radio-low-2t2r"]), "lc")
    cut = replace(line, joints=tuple(j for j in line.joints if "A1.opt1" not in (j.a, j.b)))
    way = strand(cut, "BB1.s1", 1)
    assert [h.item for h in way.hops] == ["T1", "BX1", "A1-H1"]
    assert (way.end, way.end_position, way.hops[-1].leave) == ("", 2, "head.f1")
    nothing = strand(cut, "A1.opt1", 1)
    assert (nothing.hops, nothing.mates, nothing.end) == ((), (), "")


def test_a_ring_of_cables_ends(lines: ModuleType) -> None:
    """A cable whose two ends are led together by another: the walk stops by itself."""
    jumper = CATALOGUE["fibre-patch-2f"]
    jack = {"fibre_foot": "lc-duplex-jack", "fibre_head": "lc-duplex-jack", "id": "other"}
    items = (Item("X1", "fibre-jumper", jumper.id, 2.0), Item("X2", "fibre-jumper", "other", 2.0))
    every = {**CATALOGUE, "other": jumper.model_copy(update=jack)}
    joints = (Joint("X1.foot.f1", "X2.foot.f1"), Joint("X1.head.f1", "X2.head.f1"))
    line = Line("S1", items, joints, used_parts(items, every))
    assert strand(line, "X1.foot.f1", 1).end == ""


# --- DC -----------------------------------------------------------------------------------------------------------


OHM = {"breaker": 0.004, "line": 0.1, "return": 0.1, "box": 0.001}


def loop_ohm(line: Line) -> dict[str, float]:
    """Resistance of the loop from the bars to each radio, from the Laplacian of the branches, trunk wires 0.1 ohm each."""
    net = dc_network(line)
    count = net.nodes
    matrix = np.zeros((count, count))
    for branch in net.branches:
        g = 1 / OHM[branch.kind] if not branch.item.endswith(("H1", "D1")) or branch.kind == "breaker" else 1 / 0.01
        for i, j in ((branch.a, branch.b), (branch.b, branch.a)):
            matrix[i, i] += g
            matrix[i, j] -= g
    inverse = np.linalg.pinv(matrix)

    def between(i: int, j: int) -> float:
        return float(inverse[i, i] + inverse[j, j] - 2 * inverse[i, j])

    return {radio: between(0, plus) + between(1, minus) for radio, plus, minus in net.loads}


@pytest.mark.parametrize(
    ("form", "expected"),
    [
        ("lc", 0.004 + 0.1 + 0.001 + 0.01 + 0.1 + 0.01),
        ("lc-pair", 0.004 + 0.1 / 2 + 0.001 + 0.01 + 0.1 / 2 + 0.01),
        ("bussed", (0.004 + 0.1) / 4 + 0.001 + 0.01 + 0.1 / 4 + 0.01),
    ],
)
def test_the_loop_to_each_radio(lines: ModuleType, form: str, expected: float) -> None:
    """Four radios: a pair each, two pairs each, or four pairs on one bar."""
    line = lines.some_line(lines.some_site(KINDS), form)
    found = loop_ohm(line)
    assert set(found) == {"A1", "B1", "C1", "A2"}
    assert list(found.values()) == pytest.approx([expected] * 4)


@pytest.mark.parametrize("form", ["lc", "lc-pair", "bussed", "separate"])
def test_branches_of_the_network(lines: ModuleType, form: str) -> None:
    line = lines.some_line(lines.some_site(KINDS * 3), form)
    net = dc_network(line)
    many = Counter(branch.kind for branch in net.branches)
    pairs = sum(p.pairs_count for i in line.items if isinstance(p := line.parts.get(i.part), Cable))
    assert many["line"] == many["return"] == pairs
    assert many["breaker"] == len(line.of_kind("breaker"))
    boxes = [line.parts[i.part] for i in line.of_kind("box")]
    assert many["box"] == sum(box.dc_out_count for box in boxes if isinstance(box, Box))
    assert all(0 <= node < net.nodes for b in net.branches for node in (b.a, b.b))
    assert all(plus > 1 and minus > 0 and plus != minus for _, plus, minus in net.loads)
    graph = networkx.MultiGraph([(b.a, b.b) for b in net.branches])
    for _, plus, minus in net.loads:
        assert networkx.has_path(graph, 0, plus)
        assert networkx.has_path(graph, 1, minus)
        assert not networkx.has_path(graph, plus, minus)  # line and return never touch but in the load


def test_contacts_lie_in_the_branch_of_their_cable(lines: ModuleType) -> None:
    line = lines.some_line(lines.some_site(KINDS[:1]), "lc")
    by = {(b.item, b.kind, b.pair): b.contacts for b in dc_network(line).branches}
    assert by["T1", "line", 1] == by["T1", "return", 1] == ("dc-bare", "dc-bare")
    assert by["A1-H1", "line", 1] == ("dc-outdoor-plug", "dc-radio-plug")
    assert by["BX1", "box", 1] == by["A1-CB", "breaker", 0] == ()


def test_a_radio_without_a_cable_hangs_in_the_air(lines: ModuleType) -> None:
    line = lines.some_line(lines.some_site(KINDS), "lc")
    cut = replace(line, joints=tuple(j for j in line.joints if "B1.dc" not in (j.a, j.b)))
    loads = {radio: (plus, minus) for radio, plus, minus in dc_network(cut).loads}
    assert loads["B1"] == (-1, -1)
    assert -1 not in loads["A1"]
    assert feeds(cut)["B1"] == ()


def test_feeds_by_hand(lines: ModuleType) -> None:
    asked = lines.some_site(KINDS)
    assert feeds(lines.some_line(asked, "lc"))["B1"] == (("B1-CB", "T1-P02", "BX1", "B1-H1"),)
    assert feeds(lines.some_line(asked, "lc-pair"))["B1"] == (
        ("B1-CB", "T1-P03", "BX1", "B1-H1"),
        ("B1-CB", "T1-P04", "BX1", "B1-H1"),
    )
    assert feeds(lines.some_line(asked, "bussed"))["B1"] == tuple(
        (f"T1-CB0{n}", f"T1-P0{n}", "BX1", "B1-H1") for n in range(1, 5)
    )
    assert feeds(lines.some_line(asked, "separate"))["B1"] == (("B1-CB", "B1-D1"),)


def test_feeds_of_two_trunks_stay_apart(lines: ModuleType) -> None:
    made = feeds(lines.some_line(lines.some_site(KINDS * 3), "bussed"))
    for n, ways in enumerate(made.values()):
        assert {id for way in ways for id in way if id.startswith("BX")} == {f"BX{n // 6 + 1}"}


# --- RF -----------------------------------------------------------------------------------------------------------


def test_rf_paths_of_jumpers(lines: ModuleType) -> None:
    paths = {p.id: p for p in rf_paths(lines.some_line(lines.some_site(KINDS), "lc"))}
    assert set(paths) == {"A1-J1", "A1-J2", "B1-J1", "B1-J2", "B1-J3", "B1-J4", "C1-J1", "C1-J2"}
    one = paths["B1-J3"]
    assert (one.radio, one.radio_port, one.cables, one.antenna) == ("B1", "rf3", ("B1-J3",), "B1-ANT.Y3")
    assert one.joints == (("B1.rf3", "B1-J3.foot"), ("B1-J3.head", "B1-ANT.Y3"))


def test_an_rf_path_of_cables_in_series() -> None:
    """Radio, jumper, feeder, jumper, antenna; a feeder may be turned round."""
    items = (
        Item("A1", "radio", "radio-low-2t2r"),
        Item("J1", "rf-jumper", "rf-jumper-12-43-43", 2.0),
        Item("F1", "feeder", "feeder-78-43", 30.0),
        Item("J2", "rf-jumper", "rf-jumper-12-43-43", 1.0),
        Item("A-ANT", "antenna", "antenna-4"),
    )
    for near, far in (("foot", "head"), ("head", "foot")):
        joints = (
            Joint("J1.foot", "A1.rf1"),
            Joint("J1.head", f"F1.{near}"),
            Joint(f"F1.{far}", "J2.foot"),
            Joint("J2.head", "A-ANT.R1"),
        )
        (path,) = rf_paths(Line("S1", items, joints, used_parts(items, CATALOGUE)))
        assert (path.id, path.cables, path.antenna) == ("J1", ("J1", "F1", "J2"), "A-ANT.R1")
        assert path.joints == (
            ("A1.rf1", "J1.foot"), ("J1.head", f"F1.{near}"), (f"F1.{far}", "J2.foot"), ("J2.head", "A-ANT.R1"),
        )  # fmt: skip
        (cut,) = rf_paths(Line("S1", items, joints[:3], used_parts(items, CATALOGUE)))
        assert (cut.cables, cut.antenna) == (("J1", "F1", "J2"), "")


def test_ports_without_a_cable_make_no_path(lines: ModuleType) -> None:
    line = lines.some_line(lines.some_site(KINDS[:1]), "lc")
    assert rf_paths(replace(line, joints=())) == ()
