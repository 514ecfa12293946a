"""
Light through whole lines: array cables of every type, single-strand optics, splices, pins; and faults that are planted are found.

The independent walk is networkx: a path in a graph of fibre ends, edge by edge.
"""

from __future__ import annotations

import importlib.util
import itertools
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import networkx
import numpy as np
import pytest

from upmast.catalogue.catalogue import Catalogue, standard
from upmast.catalogue.part import Box, Cable, Fanout, Part
from upmast.documents.port_map import fibre_table
from upmast.errors import MateError, UsageError
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.light import lit, repairs, spare_way, strands_of, strands_twice
from upmast.line.line import Item, Joint, Line
from upmast.line.optical import optical
from upmast.line.walk import strand
from upmast.site.site import Site


def _make() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make", Path(__file__).parent.parent / "sites" / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


make = _make()
SITE: Site = make.site(make.text("three_radios"))
PLAIN: Line = make.line(SITE)
ARRAYS = {12: ("trunk-6x10-24f-mpo12", "box-straight-6-mpo12", "fanout-mpo-12"), 24: ("trunk-6x16-24f-mpo24", "box-straight-6-mpo24", "fanout-mpo-24")}  # fmt: skip


def parts_with(*changes: tuple[str, dict[str, Any]]) -> Catalogue:
    """The standard catalogue with parts changed."""
    catalogue = standard()
    parts: dict[str, Part] = {part.id: part for part in catalogue}
    for id, change in changes:
        parts[id] = catalogue.part(id).model_copy(update=change)
    return Catalogue(parts, {})


def array_line(size: int, site: Site = SITE, jumper: str = "hybrid-jumper-1x10-4f", **change: Any) -> Line:
    """A line with array connectors, whose trunk, fan-outs and box differ as asked."""
    trunk, box, fan = ARRAYS[size]
    keys = change.pop("array_keys", "opposed")
    fan_positions = change.pop("fan_positions", ())
    ends = {"array_keys": keys, "fan_positions": fan_positions}
    catalogue = parts_with((trunk, change), (fan, ends), (box, ends))
    radios = tuple(RadioChoice("breaker-40", jumper, "", "rf-jumper-12-43-43") for _ in site.radios)
    return build(site, catalogue, Choice("hybrid", radios, trunk, 1, box, fanout=fan))


def with_fibre(**values: Any) -> Site:
    return SITE.model_copy(
        update={"radios": tuple(r.model_copy(update={"fibre": r.fibre.model_copy(update=values)}) for r in SITE.radios)}
    )


def exchanged(line: Line, a: str, b: str) -> Line:
    swap = {a: b, b: a}
    joints = (Joint(swap.get(j.a, j.a), swap.get(j.b, j.b), j.keys, j.lane) for j in line.joints)
    return replace(line, joints=tuple(joints))


def walked(line: Line) -> networkx.Graph:
    """The same line for networkx: an edge a joint or a strand inside a part."""
    graph, net = optical(line), networkx.Graph()
    net.add_nodes_from(range(graph.mate.size))
    for partner in (graph.mate, graph.through):
        net.add_edges_from((n, int(m)) for n, m in enumerate(partner) if m >= 0)
    return net


@pytest.mark.parametrize(
    ("size", "kind", "keys"), list(itertools.product((12, 24), ("A", "B", "C"), ("opposed", "aligned")))
)
def test_any_array_cable_with_any_keys_gets_patches_that_put_the_light_right(size: int, kind: str, keys: str) -> None:
    line = array_line(size, array_kind=kind, array_keys=keys)
    found = lit(line)
    assert found.right.all()
    assert (found.swaps % 2 == 1).all()  # sent on a, received on b
    net = walked(line)
    for row, node in enumerate(found.sender):
        assert networkx.has_path(net, int(node), int(found.reached[row]))
    assert all(spare_way(line, link)[0] for link in line.links if link.state != "service")


def test_method_b_reverses_the_ports_of_the_box() -> None:
    """TIA-568.3, method B: reversed cable and aligned keys; port 1 comes out at port 6 of each connector."""
    line = array_line(12, array_kind="B", array_keys="aligned")
    link = next(link for link in line.links if link.id == "A1-L1")
    way = strand(line, link.a, 1)
    assert [hop.leave for hop in way.hops if hop.item == "BX1"] == ["out.f6"]


def test_a_measured_cable_and_another_fan_out_go_by_their_lists() -> None:
    pairs_turned = [n for p in range(6, 0, -1) for n in (2 * p - 1, 2 * p)]
    line = array_line(12, array_positions=tuple(pairs_turned))
    assert lit(line).right.all()
    assert strand(line, lit(line).links[0].a, 1).hops[3].leave == "out.f6"
    outside_in = [n for p in range(1, 7) for n in (p, 13 - p)]
    assert lit(array_line(12, fan_positions=tuple(outside_in))).right.all()
    with pytest.raises(UsageError, match="no pair of T1 comes out as a pair at BX1"):
        array_line(12, array_positions=(1, 3, 5, 7, 9, 11, 2, 4, 6, 8, 10, 12))


def test_both_directions_on_one_strand_share_a_pair() -> None:
    site = with_fibre(links_count=2, optic="optic-10g-single-1270", radio_optic="optic-10g-single-1330")
    for line in (array_line(12, site), make.line(site), array_line(24, site, array_kind="B")):
        found = lit(line)
        assert found.right.all()
        assert len(found.links) == 6
        graph = optical(line)
        used = {link.id: strands_of(graph, found.nodes[:, 2 * n]) for n, link in enumerate(found.links)}
        trunk = {id: next(s for s in some if s.startswith("T1")) for id, some in used.items()}
        assert len(set(trunk.values())) == 6  # a strand each
        numbers = [int(trunk[f"A1-L{n}"].rsplit("F", 1)[1]) for n in (1, 2)]
        assert (numbers[0] + 1) // 2 == (numbers[1] + 1) // 2  # of one pair
        for n in range(len(found.links)):  # up and down on the same strand
            assert used[found.links[n].id] == tuple(reversed(strands_of(graph, found.nodes[:, 2 * n + 1]))) or set(
                used[found.links[n].id]
            ) == set(strands_of(graph, found.nodes[:, 2 * n + 1]))


def test_a_simplex_port_meets_one_half_of_a_duplex_plug_and_each_half_once() -> None:
    site = with_fibre(links_count=2, optic="optic-10g-single-1270", radio_optic="optic-10g-single-1330")
    line = make.line(site)
    halves = [j for j in line.joints if j.lane]
    assert halves
    first = halves[0]
    with pytest.raises(MateError, match="say which, lane: a or b"):
        replace(line, joints=tuple(replace(j, lane="") if j is first else j for j in line.joints))
    with pytest.raises(MateError, match=r"takes 1 end\(s\); 2 are joined"):
        replace(line, joints=(*line.joints, first))


def test_pairs_are_taken_as_they_are_named_and_the_others_in_order() -> None:
    fibre = SITE.radios[1].fibre.model_copy(update={"pairs": (1,)})
    site = SITE.model_copy(
        update={"radios": (SITE.radios[0], SITE.radios[1].model_copy(update={"fibre": fibre}), *SITE.radios[2:])}
    )
    line = make.line(site)
    assert lit(line).right.all()
    ends = {
        link.radio: next(h.leave for h in strand(line, link.a, 1).hops if h.item == "BX1") for link in lit(line).links
    }
    assert ends == {"A1": "out.f2", "A2": "out.f1", "A3": "out.f3"}


@pytest.mark.parametrize(
    ("pairs", "words"),
    [((99,), "A1 names strand pair 99"), ((1, 2, 3), "names 3 strand pairs and uses"), ((1,), "which A1 has")],
)
def test_pairs_that_cannot_be_are_told(pairs: tuple[int, ...], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        make.line(with_fibre(pairs=pairs))


def test_a_splice_joins_strand_to_strand_whatever_the_keys() -> None:
    """A trunk with bare ends, spliced to a tail with an array connector: no mirror at the splice."""
    splice = standard().connector("splice-12")
    trunk = standard().get("trunk-3x10-12f-mpo12", Cable)
    bare = trunk.model_copy(update={"id": "bare", "fibre_head": "splice-12"})
    tail = trunk.model_copy(update={"id": "tail", "kind": "fibre-cable", "pairs_count": 0, "conductor_area_mm2": None, "fibre_foot": "splice-12"})  # fmt: skip
    parts = {p.id: p for p in (bare, tail, splice, *(p for p in standard() if p.kind == "connector"))}  # type: ignore[attr-defined]
    items = (Item("T1", "trunk", "bare", 50.0), Item("F1", "fibre-cable", "tail", 2.0))
    for keys in ("opposed", "aligned"):
        line = Line("X", items, (Joint("T1.head.f1", "F1.foot.f1", keys),), parts)
        graph = optical(line)
        heads = graph.first["T1.head.f1"] + np.arange(12)
        assert (graph.mate[heads] == graph.first["F1.foot.f1"] + np.arange(12)).all()


# --- what is wrong, and why ---------------------------------------------------------------------------------------------


def right_after(line: Line, repair: Any) -> bool:
    """Whether a repair told in words does what it says: carried out on the line itself, by hand of the words."""
    words = repair.words.split()
    if words[0] == "exchange":
        return bool(lit(exchanged(line, words[1], words[3].rstrip(","))).right.all())
    raise AssertionError(words)


@pytest.mark.parametrize("row", range(12))
def test_two_halves_of_a_plug_exchanged_anywhere_are_found(row: int) -> None:
    """Crossed once, light meets a sender; crossed a second time on the same way, all is right again."""
    graph, found = optical(PLAIN), lit(PLAIN)
    on_way = {graph.name(n) for n in found.nodes[found.nodes >= 0]}
    ways = [j for j in PLAIN.joints if j.a in on_way]
    joint = ways[row % len(ways)]

    def crossed(line: Line, one: Joint) -> Line:
        other = "opposed" if one.keys == "crossed" else "crossed"
        return replace(line, joints=tuple(replace(j, keys=other) if j == one else j for j in line.joints))

    line = crossed(PLAIN, joint)
    wrong = ~lit(line).right
    assert wrong.sum() == 2  # both directions of one link
    (repair,) = repairs(line)
    assert repair.left == 0
    told = [repair.words, *repair.alike]
    here = [w for w in told if "exchange the two halves" in w and joint.a in w and joint.b in w]
    assert len(here) == 1
    assert lit(crossed(line, replace(joint, keys="crossed"))).right.all()


def test_a_sound_line_needs_no_repair() -> None:
    assert repairs(PLAIN) == ()


def test_exchanged_array_connectors_are_named_at_the_place() -> None:
    wrong = exchanged(array_line(12, with_fibre(links_count=2)), "T1.head.f1", "T1.head.f2")
    assert not lit(wrong).right.all()
    found = repairs(wrong)
    assert len(found) == 1
    assert found[0].left == 0
    told = [found[0].words, *found[0].alike]
    assert any("the plugs in BX1.in.f1 and BX1.in.f2" in words and "T1.head.f1" in words for words in told)
    assert right_after(wrong, found[0])


def test_two_faults_are_found_one_after_the_other() -> None:
    sound = array_line(12, with_fibre(links_count=2))
    wrong = exchanged(exchanged(sound, "T1.head.f1", "T1.head.f2"), "A2-H1.foot.f1", "A3-H1.foot.f1")
    found = repairs(wrong)
    assert [r.left for r in found] == sorted((r.left for r in found), reverse=True)
    assert found[-1].left == 0
    assert len(found) == 2


def test_a_lead_of_the_other_kind_is_named_and_both_that_would_do() -> None:
    line = array_line(12)
    patch = line.by_id["T1-X01"]
    kind = line.part_of(patch).duplex_kind  # type: ignore[attr-defined]
    other = next(
        p for p in standard().of_kind("fibre-jumper")
        if isinstance(p, Cable) and p.duplex_kind != kind and p.fibre_foot == line.part_of(patch).fibre_foot and p.fibre_head == line.part_of(patch).fibre_head  # type: ignore[attr-defined]
    )  # fmt: skip
    items = tuple(replace(i, part=other.id) if i.id == "T1-X01" else i for i in line.items)
    wrong = replace(line, items=items, parts={**line.parts, other.id: other})
    found = lit(wrong)
    assert [link.id for n, link in enumerate(found.links) if not found.right[2 * n : 2 * n + 2].all()] == ["A1-L1"]
    told = repairs(wrong)
    assert len(told) == 1
    assert any(words.startswith("make T1-X01 ") for words in (told[0].words, *told[0].alike))
    assert any("A1-H1" in words for words in (told[0].words, *told[0].alike))


def test_a_turned_plug_of_24_positions_is_named() -> None:
    line = array_line(24)
    joint = next(j for j in line.joints if j.a == "T1.head.f1")
    wrong = replace(line, joints=tuple(replace(j, keys="aligned") if j is joint else j for j in line.joints))
    assert not lit(wrong).right.any()
    told = repairs(wrong)
    assert told[0].left == 0
    assert any("turn the plug at T1.head.f1" in words for words in (told[0].words, *told[0].alike))


def test_spares_that_are_lit_or_end_elsewhere_are_told() -> None:
    line = array_line(12)
    spare = next(link for link in line.links if link.state == "growth")
    assert spare_way(line, spare)[0]
    other = next(link for link in line.links if link.state == "growth" and link is not spare)
    wrong = replace(spare, b=other.b)
    assert "not at" in spare_way(line, wrong)[1]
    service = lit(line).links[0]
    box_end = next(f"BX1.{h.leave}" for h in strand(line, service.a, 1).hops if h.item == "BX1")
    assert "a spare is dark at both ends" in spare_way(line, replace(spare, b=box_end))[1]


def test_a_strand_that_two_links_use_is_told() -> None:
    line = array_line(12)
    found = lit(line)
    assert strands_twice(line, found, line.links) == {}
    spare = next(link for link in line.links if link.state == "growth")
    again = replace(spare, id="AGAIN")
    twice = strands_twice(line, found, (*line.links, again))
    assert len(twice) == 2
    assert all(ids == (spare.id, "AGAIN") for ids in twice.values())


def test_a_box_and_a_fan_out_without_arrays_are_led_straight() -> None:
    box = standard().get("box-straight-6-lc-1d", Box)
    assert box.fan_positions == ()
    assert all(isinstance(p, Fanout) for p in standard().of_kind("fanout"))
    way = strand(PLAIN, lit(PLAIN).links[0].a, 1)
    assert [(h.enter, h.leave) for h in way.hops if h.item == "BX1"] == [("in.f1", "out.f1")]


def test_the_port_map_follows_one_strand_for_both_ways_and_any_fan_out() -> None:
    site = with_fibre(links_count=2, optic="optic-10g-single-1270", radio_optic="optic-10g-single-1330")
    line = array_line(12, site, fan_positions=tuple(n for p in range(1, 7) for n in (p, 13 - p)))
    table = fibre_table(line)
    head = [c.title for c in table.columns]
    rows = [dict(zip(head, row, strict=True)) for row in table.rows]
    service = [row for row in rows if row["State"] == "service"]
    assert len(service) == 6  # one row a strand
    assert all(row["Strand"] == "both ways" and not row["Note"] for row in service)
    found = lit(line)
    graph = optical(line)
    for n, row in enumerate(service):
        assert row["Trunk strand"] in strands_of(graph, found.nodes[:, 2 * n])
    dark = next(row for row in rows if row["State"] == "growth")
    port = int(str(dark["Cabinet port"]).rsplit("f", 1)[1])
    assert (
        dark["Trunk strand"] == f"T1-F{port + 12 * (str(dark['Cabinet port'])[5] == '2'):02d}"
    )  # outside in: port p, strand p
    assert str(dark["Box port"]).startswith("BX1.out.f")


def test_colours_of_the_site_go_before_those_of_tia_598() -> None:
    policy = SITE.policy.model_copy(update={"strand_colours": ("red", "green")})
    table = fibre_table(PLAIN, SITE.model_copy(update={"policy": policy}))
    column = [c.title for c in table.columns].index("Colour at the trunk's foot")
    assert [row[column] for row in table.rows[:2]] == ["tube red, strand red", "tube red, strand green"]
    assert "not in the table of colours" in {row[column] for row in table.rows}
    assert "policy.strand_colours" in table.note
