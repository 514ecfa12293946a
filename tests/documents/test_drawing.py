from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Callable
from itertools import combinations, pairwise

import pytest

from upmast.documents.colour import margin_colour
from upmast.documents.drawing import drawing
from upmast.documents.elevation import spread
from upmast.documents.route_lines import Wire, route
from upmast.documents.scene import Scene, Stroke, Symbol, Text, fitted, wrapped
from upmast.documents.to_svg import svg
from upmast.proof.prove import Proof

MakeProof = Callable[..., Proof]
SIZES = [
    (1, False, 1),
    (3, False, 1),
    (6, False, 1),
    (12, False, 2),
    (12, True, 1),
    (9, False, 3),
    (24, False, 3),
    (2, True, 1),
]
NS = {"s": "http://www.w3.org/2000/svg"}


def meet(a: Text, b: Text) -> bool:
    p, q = a.box, b.box
    return p[0] < q[2] - 0.5 and q[0] < p[2] - 0.5 and p[1] < q[3] - 0.5 and q[1] < p[3] - 0.5


@pytest.mark.parametrize(("radios", "separate", "trunks"), SIZES)
def test_no_two_labels_meet_and_all_are_on_the_sheet(
    proof_of: MakeProof, radios: int, separate: bool, trunks: int
) -> None:
    scene = drawing(proof_of(radios, separate=separate, trunks=trunks), "2026-01-01")
    assert [(a.text, b.text) for a, b in combinations(scene.texts, 2) if meet(a, b)] == []
    for text in scene.texts:
        left, top, right, bottom = text.box
        assert left >= 12, text.text
        assert top >= 12, text.text
        assert right <= scene.width - 12, text.text
        assert bottom <= scene.height - 12, text.text
    assert scene.width / scene.height == pytest.approx(2**0.5)


@pytest.mark.parametrize(("radios", "separate", "trunks"), SIZES)
def test_every_item_but_the_small_hardware_is_drawn_with_its_id(
    proof_of: MakeProof, radios: int, separate: bool, trunks: int
) -> None:
    proof = proof_of(radios, separate=separate, trunks=trunks)
    root = ET.fromstring(svg(drawing(proof)))
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    wanted = {item.id for item in proof.line.items if item.kind not in ("clamp", "grip", "cap", "seal", "bond")}
    wanted |= {i.id for i in proof.line.of_kind("bond") if proof.line.by_id[i.on].kind in ("box", "radio")}
    assert wanted <= set(ids)


def upright(scene: Scene) -> list[tuple[str, float, float, float]]:
    out = []
    for shape in scene.shapes:
        if isinstance(shape, Stroke) and shape.layer == "cables" and shape.style == "casing":
            for (x0, y0), (x1, y1) in zip(shape.points, shape.points[1:], strict=False):
                if x0 == x1:
                    out.append((shape.item, x0, min(y0, y1), max(y0, y1)))
    return out


def test_no_two_cables_lie_on_each_other(proof_of: MakeProof) -> None:
    parts = upright(drawing(proof_of(12, separate=True)))
    for (a, x, top, bottom), (b, x2, top2, bottom2) in combinations(parts, 2):
        assert a == b or abs(x - x2) > 2 or bottom <= top2 + 0.1 or bottom2 <= top + 0.1, (a, b)


def test_what_fails_is_marked_by_shape_and_word_too(proof_of: MakeProof) -> None:
    scene = drawing(proof_of(3))
    assert any(isinstance(s, Symbol) and s.name == "diamond" and s.item == "A1" for s in scene.shapes)
    assert any(isinstance(s, Text) and s.item == "A1" and s.text.startswith("fails") for s in scene.shapes)
    assert any(t.text == "NOT FOR ISSUE" for t in scene.texts)
    assert any("invented" in t.text for t in scene.texts)


def test_a_line_that_passes_has_no_stamp(proof_of: MakeProof) -> None:
    scene = drawing(proof_of(3, hurt=False, note=""))
    assert not any(t.text == "NOT FOR ISSUE" for t in scene.texts)
    assert not any("invented" in t.text for t in scene.texts)
    assert {s.name for s in scene.shapes if isinstance(s, Symbol) and s.item} == {"earth", "coil"}


def test_hostile_names_stay_text(proof_of: MakeProof) -> None:
    name = '</text><script>alert("&")</script>\x00'
    text = svg(drawing(proof_of(1, name=name)))
    root = ET.fromstring(text)
    assert "<script" not in text
    assert any("<script>" in (t.text or "") for t in root.iter(f"{{{NS['s']}}}text"))


def test_the_picture_has_a_title_and_a_description_and_can_go_without_its_style(proof_of: MakeProof) -> None:
    scene = drawing(proof_of(1))
    root = ET.fromstring(svg(scene))
    assert root.get("role") == "img"
    assert root.find("s:title", NS) is not None
    assert root.find("s:desc", NS) is not None
    assert ET.fromstring(svg(scene, style=False)).find("s:style", NS) is None


def test_the_same_proof_gives_the_same_bytes(proof_of: MakeProof) -> None:
    assert svg(drawing(proof_of(6))) == svg(drawing(proof_of(6)))


def lightness(colour: str) -> float:
    r, g, b = (int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5))
    return 0.2126 * r**2.2 + 0.7152 * g**2.2 + 0.0722 * b**2.2


def test_lightness_falls_to_both_sides_of_the_limit() -> None:
    above = [lightness(margin_colour(k / 50)) for k in range(51)]
    below = [lightness(margin_colour(-0.001 - k / 100)) for k in range(31)]
    assert above == sorted(above, reverse=True)
    assert below == sorted(below, reverse=True)
    assert margin_colour(5.0) == margin_colour(1.0)
    assert margin_colour(-5.0) == margin_colour(-0.3)
    assert margin_colour(None) == margin_colour(float("nan"))


def test_wires_of_one_group_never_share_a_level_where_they_overlap() -> None:
    wires = [Wire(str(k), 50 + k, 11 * k) for k in range(10)]
    placed = route([wires])
    for (a, la), (b, lb) in combinations(placed, 2):
        apart = max(a.a, a.b) < min(b.a, b.b) or max(b.a, b.b) < min(a.a, a.b)
        assert la != lb or apart


def test_spread_keeps_the_gap_and_the_bounds() -> None:
    places = spread([10.0, 11.0, 12.0, 99.0, 100.0], 5, 0, 100)
    assert all(b - a >= 5 for a, b in pairwise(places))
    assert places[0] >= 0
    assert places[-1] <= 100


def test_fitted_and_wrapped_text_fits() -> None:
    assert fitted("abc", 1000, 10) == "abc"
    assert Text(x=0, y=0, text=fitted("a" * 99, 100, 10), size=10).width <= 100
    lines = wrapped("one two three four five six", 60, 10, most=2)
    assert len(lines) == 2
    assert all(len(line) * 5.6 <= 60 for line in lines)


LEGS = [
    {"name": f"leg {n} with a long name that goes on and on", "kind": "horizontal", "length_m": 1.0} for n in range(39)
]
UP = {"name": "mast", "kind": "vertical", "length_m": 37.5}
PLANT = {"float_v": 54, "on_battery_v": 48, "end_of_discharge_v": 43.2, "source_resistance_ohm": 0.004}
ODD: dict[str, dict[str, object]] = {
    "many legs": {"route": {"legs": [*LEGS, UP]}},
    "one leg": {"route": {"legs": [UP]}},
    "monopole": {"mast": {"kind": "monopole", "height_m": 43}},
    "guyed, tall": {"mast": {"kind": "guyed", "height_m": 320}},
    "roof": {"mast": {"kind": "roof", "height_m": 41, "box_height_m": 33}},
    "cabinet below": {"cabinet": {"height_m": -8, "plant": PLANT}},
    "long name": {"name": "A very long name of a place " * 4, "author": "B" * 120},
    "no radio port": {
        "radios": [{"id": "A1", "sector": "A", "part": "radio-n78-panel", "height_m": 40}],
        "sectors": [{"id": "A", "azimuth_deg": 0}], "antennas": [],
    },
    "antenna without a radio": {
        "radios": [{"id": "A1", "sector": "A", "part": "radio-n78-panel", "height_m": 40}],
        "sectors": [{"id": "A", "azimuth_deg": 0}],
        "antennas": [{"id": "A-ANT1", "sector": "A", "part": "antenna-8", "height_m": 42}],
    },
    "two radios on one antenna and an empty sector": {
        "radios": [
            {"id": "A1", "sector": "A", "part": "radio-mid-4t4r", "height_m": 40, "antenna": "A-ANT1", "antenna_ports": ["Y1", "Y2", "Y3", "Y4"]},
            {"id": "A2", "sector": "A", "part": "radio-low-2t2r", "height_m": 38, "antenna": "A-ANT1", "antenna_ports": ["R1", "R2"]},
        ],
        "sectors": [{"id": "A", "azimuth_deg": 0}, {"id": "B", "azimuth_deg": 90}],
        "antennas": [{"id": "A-ANT1", "sector": "A", "part": "antenna-8", "height_m": 42}],
    },
}  # fmt: skip


@pytest.mark.parametrize("name", list(ODD))
def test_odd_sites_are_drawn_without_labels_that_meet(proof_of: MakeProof, name: str) -> None:
    scene = drawing(proof_of(2, change=dict(ODD[name].items()), note=""), "now")
    assert [(a.text, b.text) for a, b in combinations(scene.texts, 2) if meet(a, b)] == []
    for text in scene.texts:
        left, top, right, bottom = text.box
        assert left >= 12, text.text
        assert top >= 12, text.text
        assert right <= scene.width - 12, text.text
        assert bottom <= scene.height - 12, text.text
