"""The pictures of the fibre: their numbers against the budget and the tables, every fibre drawn, wrong light marked and named."""

from __future__ import annotations

import itertools
import json
import math
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from upmast.catalogue.catalogue import standard
from upmast.documents.chart import chart_svg
from upmast.documents.fibre_charts import bend_spec, budget_spec, steps_of
from upmast.documents.fibre_face import connector_face, face_of
from upmast.documents.fibre_map import PAINTS, WRONG, fibre_map
from upmast.documents.fibre_pages import card_pictures, fibre_pictures, sheet_pictures
from upmast.documents.loop_sketch import loop_sketch
from upmast.documents.port_map import fibre_table
from upmast.documents.scene import Circle, Rect, Scene, Stroke, Symbol
from upmast.documents.to_svg import svg
from upmast.fibre.bend import bend_fibres
from upmast.fibre.evaluate import of
from upmast.fibre.state import Inputs, Loop
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.light import lit
from upmast.line.line import Joint, Line
from upmast.proof.prove import Proof, prove
from upmast.site.load import load as load_site
from upmast.site.site import Site

ROOT = Path(__file__).parent.parent.parent
CATALOGUE = standard()
SITE = load_site(ROOT / "demo" / "site" / "site.yaml", CATALOGUE)
SIX = SITE.model_copy(update={"radios": SITE.radios[:6]})
RADIO = RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43")


@pytest.fixture(autouse=True)
def fake_rooms() -> None:
    """The rooms here are the real ones."""


def line_of(site: Site) -> Line:
    return build(
        site, CATALOGUE, Choice("hybrid", (RADIO,) * len(site.radios), "trunk-9x16-36f", 1, "box-straight-9-lc")
    )


def array_line() -> Line:
    choice = Choice("hybrid", (RADIO,) * 6, "trunk-6x16-24f-mpo24", 1, "box-straight-6-mpo24", fanout="fanout-mpo-24")
    return build(SIX, CATALOGUE, choice)


LINE, ARRAYS = line_of(SITE), array_line()
PROOF = prove(SITE, LINE, rooms=("fibre",))


def inputs_of(proof: Proof) -> Inputs:
    found = proof.rooms["fibre"].inputs
    assert isinstance(found, Inputs)
    return found


INPUTS = inputs_of(PROOF)


def exchanged(line: Line, a: str, b: str) -> Line:
    swap = {a: b, b: a}
    joints = (Joint(swap.get(j.a, j.a), swap.get(j.b, j.b), j.keys, j.lane) for j in line.joints)
    return replace(line, joints=tuple(joints))


def values(spec: dict[str, Any], mark: str) -> list[list[dict[str, Any]]]:
    return [one["data"]["values"] for one in spec["layer"] if one["mark"]["type"] == mark]


def drawn(scene: Scene) -> str:
    text = svg(scene)
    ET.fromstring(text)
    return text


def words(scene: Scene) -> list[str]:
    return [t.text for t in scene.texts]


# --- charts -----------------------------------------------------------------------------------------------------------


def test_the_steps_of_every_direction_sum_up_to_its_highest_loss() -> None:
    for row in range(len(INPUTS.ways)):
        assert sum(loss for _, loss in steps_of(INPUTS, row)) == pytest.approx(
            float(of(INPUTS).worst_db[row]), abs=1e-12
        )


def test_repairs_and_loops_are_steps_of_their_own() -> None:
    site = SITE.model_copy(update={"policy": SITE.policy.model_copy(update={"repair_db": 0.4})})
    inputs = inputs_of(prove(site, LINE, rooms=("fibre",)))
    names = [name for name, _ in steps_of(inputs, 0)]
    assert names[-1] == "kept for repairs"
    assert "bend of T1-LP1" in names


def test_the_budget_ends_at_what_arrives_and_keeps_both_margins() -> None:
    spec = budget_spec(PROOF)
    assert spec is not None
    found = of(INPUTS)
    row = int(np.argmin(found.low_db))
    margins, bars = values(spec, "bar")
    way = INPUTS.ways[row]
    assert bars[0]["from"] == pytest.approx(way.tx_minimum_dbm)
    assert bars[-1]["to"] == pytest.approx(way.tx_minimum_dbm - float(found.worst_db[row]))
    for before, after in itertools.pairwise(bars):
        assert before["to"] == after["from"]
    low, over = margins
    assert low["at"] - low["to"] == pytest.approx(float(found.low_db[row]))
    assert over["to"] - over["at"] == pytest.approx(float(found.over_db[row]))
    assert len({b["row"] for b in bars}) == len(bars)
    ET.fromstring(chart_svg(spec))


def test_a_link_can_be_asked_for_and_wrong_light_has_no_budget() -> None:
    spec = budget_spec(PROOF, "C2-L1")
    assert spec is not None
    assert "C2-L1" in json.dumps(spec)
    assert budget_spec(PROOF, "none") is None
    wrong = prove(SITE, exchanged(LINE, "T1.head.f1", "T1.head.f3"), rooms=("fibre",))
    assert budget_spec(wrong, "A1-L1") is None
    assert budget_spec(wrong) is not None
    assert budget_spec(prove(SITE, LINE, rooms=("earth",))) is None


@pytest.mark.parametrize("name", bend_fibres())
def test_the_limits_are_drawn_as_they_stand_in_the_table(name: str) -> None:
    """Rows of ITU-T G.652 and G.657 as kept beside the tests, for one turn, at their own radius and just above."""
    rows = (ROOT / "tests" / "published" / "bend_limits_itu.csv").read_text().splitlines()[1:]
    table = {float(c[1]): (c[3], c[4], float(c[2])) for c in (row.split(",") for row in rows) if c[0] == name}
    spec = bend_spec(name)
    lines = values(spec, "line")
    least = min(table)
    first = lines[0]
    assert first[0]["mm"] == pytest.approx(least, abs=1e-3)
    for radius, (short, long, turns) in table.items():
        at = [r["db"] for r in first if r["mm"] == pytest.approx(radius, abs=1e-3)]
        assert at == [pytest.approx(float(short or long) / turns)]
    steps = [r["db"] for r in first]
    assert all(a >= b for a, b in itertools.pairwise(steps))
    (shade,) = values(spec, "rect")
    assert shade[0]["to"] == pytest.approx(least, abs=1e-3)
    ET.fromstring(chart_svg(spec))


def test_only_a_step_index_class_has_an_estimate_and_it_has_its_band() -> None:
    assert not values(bend_spec("G.657.A2"), "area")
    free, stressed = values(bend_spec("G.652.D"), "area")
    inside = [r for r in stressed if r["db"] < 10 and r["low"] > 1e-5]
    assert inside
    for r in inside:
        assert r["low"] == pytest.approx(0.55 * r["db"])
    at = {r["mm"]: r["db"] for r in free}
    # stress widens the effective radius: less loss, the more the wider the bend
    ratios = [at[r["mm"]] / r["db"] for r in inside if r["mm"] in at and at[r["mm"]] < 10]
    assert len(ratios) > 5
    assert all(ratio > 2.5 for ratio in ratios)
    assert all(b > a for a, b in itertools.pairwise(ratios))


def test_loops_lie_on_the_limit_that_bounds_them() -> None:
    spec = bend_spec("G.657.A2", INPUTS.loops)
    (points,) = [v for v in values(spec, "point") if v and "text" in v[0] and "mm" in v[0]]
    radii = {round(1000 * x.radius_m - x.diameter_mm / 2, 1) for x in INPUTS.loops}
    assert {round(p["mm"], 1) for p in points} == radii
    assert all(p["db"] == pytest.approx(0.03 / 10) for p in points)  # ITU-T G.657, A2: 0.03 dB for ten turns of 15 mm
    with pytest.raises(ValueError, match="no bending limits here"):
        bend_spec("G.999")


# --- map --------------------------------------------------------------------------------------------------------------


def test_every_fibre_is_one_line_in_its_colour() -> None:
    scene = fibre_map(LINE, SITE)
    assert scene is not None
    drawn(scene)
    cores = [s for s in scene.shapes if isinstance(s, Stroke) and s.style == "core" and s.width == 4.0]
    assert len(cores) == 2 * len(lit(LINE).links)
    # TIA-598: strands 1 and 2 are blue and orange
    first = [s.paint for s in cores if s.item == "A1-L1"]
    assert first == [PAINTS["blue"], PAINTS["orange"]]
    text = words(scene)
    assert "T1-F01 blue/blue" in text
    assert not any(isinstance(s, Symbol) for s in scene.shapes)
    for link in LINE.links:
        assert link.id in text
    assert sum("dark" in t for t in text) >= sum(link.state != "service" for link in LINE.links)


def test_wrong_light_is_marked_by_shape_and_named() -> None:
    scene = fibre_map(exchanged(LINE, "T1.head.f3", "T1.head.f5"), SITE)
    assert scene is not None
    red = [s for s in scene.shapes if isinstance(s, Stroke) and s.paint == WRONG]
    assert len(red) == 4
    assert all(s.dash for s in red)
    assert sum(isinstance(s, Symbol) and s.name == "diamond" for s in scene.shapes) == 4
    assert "A ends at C1.opt1, meant for B1.opt1" in words(scene)
    assert "9 links, 4 directions wrong; 9 kept pairs" in words(scene)


def test_lost_light_and_two_senders_are_told() -> None:
    joints = tuple(
        replace(j, keys="crossed") if "A2-H1.foot.f1" in (j.a, j.b) else j
        for j in LINE.joints
        if "A3.opt1" not in (j.a, j.b)
    )
    scene = fibre_map(replace(LINE, joints=joints), SITE)
    assert scene is not None
    drawn(scene)
    text = words(scene)
    assert "A meets a sender at A2.opt1" in text
    assert "lost at A3-H1.head.f1" in text
    assert sum(isinstance(s, Symbol) and s.name == "open-diamond" for s in scene.shapes) == 2


def test_other_forms_of_line_are_drawn_too() -> None:
    arrays = fibre_map(ARRAYS, SIX)
    assert arrays is not None
    assert any("T1-FP1" in t for t in words(arrays))
    choice = Choice("separate", (RadioChoice("breaker-40", "dc-run-16", "fibre-run-2f", "rf-jumper-12-43-43"),) * 6)
    apart = fibre_map(build(SIX, CATALOGUE, choice), SIX)
    assert apart is not None
    drawn(apart)
    change = {"optic": "optic-10g-single-1270", "radio_optic": "optic-10g-single-1330"}
    radios = tuple(r.model_copy(update={"fibre": r.fibre.model_copy(update=change)}) for r in SITE.radios)
    site = SITE.model_copy(update={"radios": radios})
    single = fibre_map(line_of(site), site)
    assert single is not None
    cores = [s for s in single.shapes if isinstance(s, Stroke) and s.style == "core" and s.width == 4.0]
    assert len(cores) == len(site.radios)  # one strand, both ways
    assert "A, B" in words(single)
    assert fibre_map(replace(LINE, links=())) is None


def test_kept_pairs_are_numbered_as_in_the_port_map_and_stop_at_their_cap() -> None:
    fan = ARRAYS.parts["fanout-mpo-24"]
    order = tuple(x for n in range(1, 13) for x in (n, 25 - n))  # pairs whose strands do not follow each other
    led = replace(ARRAYS, parts={**ARRAYS.parts, fan.id: fan.model_copy(update={"fan_positions": order})})
    for line, site in ((LINE, SITE), (ARRAYS, SIX), (led, SIX)):
        scene = fibre_map(line, site)
        assert scene is not None
        pairs: dict[str, list[str]] = {}
        for row in fibre_table(line, site).rows:
            if row[1] != "service":
                pairs.setdefault(str(row[0]), []).append(str(row[6]))
        assert pairs
        for id, (one, two) in pairs.items():
            assert f"{one}, {two.rpartition('-')[2]}" in [t.text for t in scene.texts if t.item == id]
            (way,) = [s for s in scene.shapes if isinstance(s, Stroke) and s.item == id and s.dash]
            assert line is led or way.points[1][0] < 900  # it ends in the box, not at a radio


def test_wrong_light_on_single_strands_has_a_row_each_way() -> None:
    change = {"optic": "optic-10g-single-1270", "radio_optic": "optic-10g-single-1330"}
    radios = tuple(r.model_copy(update={"fibre": r.fibre.model_copy(update=change)}) for r in SITE.radios)
    site = SITE.model_copy(update={"radios": radios})
    scene = fibre_map(exchanged(line_of(site), "T1.head.f1", "T1.head.f2"), site)
    assert scene is not None
    drawn(scene)
    assert {"lost at BX1.out.f2", "lost at T1.foot.f2", "T1-F01 blue/blue", "T1-F03 blue/green"} <= set(words(scene))
    places = [(t.x, t.y) for t in scene.texts]
    assert len(set(places)) == len(places)


def test_long_names_of_wrong_ends_widen_the_picture() -> None:
    wrong = exchanged(LINE, "T1.head.f3", "T1.head.f5")
    usual = fibre_map(wrong, SITE)
    items = tuple(replace(x, id="C1-AT-THE-TOP-OF-THE-MAST") if x.id == "C1" else x for x in wrong.items)

    def named(end: str) -> str:
        return end.replace("C1.", "C1-AT-THE-TOP-OF-THE-MAST.", 1) if end.startswith("C1.") else end

    joints = tuple(replace(j, a=named(j.a), b=named(j.b)) for j in wrong.joints)
    links = tuple(replace(x, b=named(x.b)) for x in wrong.links)
    scene = fibre_map(replace(wrong, items=items, joints=joints, links=links), SITE)
    assert usual is not None
    assert scene is not None
    assert scene.width > usual.width
    assert any("ends at C1-AT-THE-TOP-OF-THE-MAST.opt1, meant for B1.opt1" in t for t in words(scene))
    assert all(t.box[2] <= scene.width for t in scene.texts)


def test_nothing_is_written_beyond_the_picture_or_over_other_words() -> None:
    for scene in (
        fibre_map(LINE, SITE),
        fibre_map(ARRAYS, SIX),
        fibre_map(exchanged(LINE, "T1.head.f3", "T1.head.f5"), SITE),
    ):
        assert scene is not None
        boxes = [t.box for t in scene.texts]
        for x0, y0, x1, y1 in boxes:
            assert x0 >= 0
            assert y0 >= 0
            assert x1 <= scene.width + 1
            assert y1 <= scene.height
        small = [t for t in scene.texts if t.size >= 9]
        for n, a in enumerate(small):
            for b in small[n + 1 :]:
                apart = a.box[2] <= b.box[0] or b.box[2] <= a.box[0] or a.box[3] <= b.box[1] or b.box[3] <= a.box[1]
                assert apart, (a.text, b.text)


# --- faces and loops --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [12, 24])
@pytest.mark.parametrize("keys", ["opposed", "aligned"])
def test_the_face_below_is_what_paper_faces_show(size: int, keys: str) -> None:
    """Two faces of paper laid on each other: the one below is turned over; aligned it is mirrored left to right, opposed top to bottom."""
    scene = connector_face(size, {1: "x"}, keys=keys)
    drawn(scene)
    numbers = [t for t in scene.texts if t.text.isdigit()]
    upper, lower = numbers[:size], numbers[size:]
    place = {t.text: (t.x, t.y) for t in upper}
    columns = sorted({x for x, _ in place.values()})
    rows = sorted({y for _, y in place.values()})
    low_rows = sorted({t.y for t in lower})
    for t in lower:
        x, y = place[t.text]
        column, row = columns.index(x), rows.index(y)
        if keys == "aligned":
            column = len(columns) - 1 - column
        else:
            row = len(rows) - 1 - row
        assert (t.x, t.y) == (columns[column], low_rows[row])


def test_a_face_of_a_line_names_links_and_strands() -> None:
    scene = face_of(ARRAYS, "T1.foot.f1", SIX)
    assert scene is not None
    text = words(scene)
    assert "A1-L1 A" in text
    assert sum(t.endswith("dark") for t in text) == 2 * sum(link.state != "service" for link in ARRAYS.links)
    assert sum(isinstance(s, Circle) and s.paint == PAINTS["blue"] for s in scene.shapes) == 2
    pair = face_of(LINE, "T1.foot.f1", SITE)
    assert pair is not None
    assert {"A", "B", "A1-L1 A", "A1-L1 B"} <= set(words(pair))
    assert face_of(LINE, "T1.foot.dc1") is None
    with pytest.raises(ValueError, match="can be drawn"):
        connector_face(8, {})
    with pytest.raises(ValueError, match="positions count from 1 to 12"):
        connector_face(12, {13: "x"})


@pytest.mark.parametrize("size", [2, 12, 24])
def test_a_face_has_room_for_its_longest_words_and_its_key_is_dark(size: int) -> None:
    scene = connector_face(size, {1: "A1-OF-A-VERY-LONG-NAME-L1 dark", size: "x"}, keys="opposed")
    boxes = [t.box for t in scene.texts]
    for n, a in enumerate(boxes):
        assert a[1] >= 0
        assert a[3] <= scene.height
        for b in boxes[n + 1 :]:
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
    # a style of the sheet would win over the paint
    keys = [s for s in scene.shapes if isinstance(s, Rect) and s.paint == "#16202b"]
    assert len(keys) == (1 if size == 2 else 2)
    assert not any(s.style for s in keys)


@pytest.mark.parametrize(("exit_turn", "way"), [(0.0, (0, -1)), (0.25, (1, 0)), (0.5, (0, 1)), (0.75, (-1, 0))])
@pytest.mark.parametrize("turns", [0, 1, 3, 9])
def test_a_loop_goes_on_where_its_exit_says(exit_turn: float, way: tuple[int, int], turns: int) -> None:
    if turns + exit_turn == 0:
        return
    loop = replace(INPUTS.loops[0], turns=turns, exit_turn=exit_turn)
    scene = loop_sketch(loop, 6)
    drawn(scene)
    cable = next(s for s in scene.shapes if isinstance(s, Stroke) and s.style == "core" and len(s.points) > 5)
    (x0, y0), (x1, y1) = cable.points[-2:]
    assert (x1 - x0, y1 - y0) == pytest.approx((46 * way[0], 46 * way[1]), abs=1e-6)
    # clockwise: the angle falls by a turn each time round
    points = np.array(cable.points[:-1]) - (170.0, 160.0)
    swept = np.unwrap(np.arctan2(points[:, 1], points[:, 0]))
    assert (swept[-1] - swept[0]) / (2 * math.pi) == pytest.approx(min(turns, 5) + exit_turn, abs=1e-9)
    text = words(scene)
    assert f"R {1000 * loop.radius_m:.0f} mm" in text
    assert f"holds {loop.stored_m:.2f} m" in text
    assert f"never below {loop.least_radius_mm:.0f} mm: {loop.radius_source}" in " ".join(text)
    assert "6 ties a turn" in text
    (goes,) = [t for t in scene.texts if t.text == "goes on"]
    x0, y0, x1, y1 = goes.box
    for s in scene.shapes:
        if isinstance(s, Stroke):  # no stroke runs through the words
            for (ax, ay), (bx, by) in itertools.pairwise(s.points):
                along = np.linspace(0, 1, 40)
                x, y = ax + along * (bx - ax), ay + along * (by - ay)
                assert not np.any((x > x0) & (x < x1) & (y > y0) & (y < y1))


@pytest.mark.parametrize("ties", range(1, 14))
def test_the_radius_ends_between_two_ties(ties: int) -> None:
    scene = loop_sketch(INPUTS.loops[0], ties)
    (arm,) = [s for s in scene.shapes if isinstance(s, Stroke) and s.style == "thin" and s.points[0] == (170.0, 160.0)]
    x, y = arm.points[1]
    turn = (math.pi - math.atan2(160 - y, x - 170)) / (2 * math.pi)
    assert turn * ties % 1 == pytest.approx(0, abs=1e-9) or turn * ties % 1 == pytest.approx(1, abs=1e-9)


def test_no_words_of_a_loop_leave_the_sketch() -> None:
    loops: list[Loop] = [replace(x, straight_m=0.4, exit_turn=0.5) for x in INPUTS.loops[:1]] + list(INPUTS.loops)
    for loop in loops:
        scene = loop_sketch(loop, 7)
        for t in scene.texts:
            assert t.box[0] >= 0
            assert t.box[3] <= scene.height
    hostile = loop_sketch(replace(INPUTS.loops[0], id="<script>", cable="\x00&"))
    assert "<script>" not in drawn(hostile)


# --- pages ------------------------------------------------------------------------------------------------------------


def test_pictures_by_name_each_with_its_words() -> None:
    made = {p.name: p for p in fibre_pictures(PROOF)}
    assert {"map", "budget", "bend-g-657-a2"} <= set(made)
    assert {f"loop-{x.id.lower()}" for x in INPUTS.loops} <= set(made)
    assert all(len(p.alt) > 30 and p.caption for p in made.values())
    arrays = {p.name for p in fibre_pictures(prove(SIX, ARRAYS, rooms=("fibre",)))}
    assert "face-T1-foot-f1" in arrays
    assert set(card_pictures(PROOF)) == {"map", "faces", *(x.id for x in INPUTS.loops)}
    assert len(sheet_pictures(PROOF)) == 2
    assert not list(fibre_pictures(prove(SITE, LINE, rooms=("earth",))))
