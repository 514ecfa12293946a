"""The scenes of the fibre on many radios: every link drawn and numbered, colours of the site, faces counted and mirrored."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from upmast.documents.fibre_face import connector_face
from upmast.documents.fibre_map import PAINTS, fibre_map
from upmast.documents.port_map import fibre_table
from upmast.documents.scene import Circle, Scene, Stroke
from upmast.documents.to_svg import svg
from upmast.fibre.position import array_mate
from upmast.proof.prove import Proof

Make = Callable[..., Proof]


def words(scene: Scene) -> list[str]:
    return [t.text for t in scene.texts]


def map_of(proof: Proof) -> Scene:
    scene = fibre_map(proof.line, proof.site)
    assert scene is not None
    ET.fromstring(svg(scene))
    return scene


@pytest.mark.parametrize(
    ("radios", "changes"), [(12, {"trunks": 1}), (24, {"trunks": 2}), (24, {"trunks": 4}), (12, {"separate": True})]
)
def test_every_link_has_its_lines_and_the_numbers_of_its_strands(
    proof_of: Make, radios: int, changes: dict[str, int]
) -> None:
    proof = proof_of(radios, **changes)
    scene = map_of(proof)
    service = [link.id for link in proof.line.links if link.state == "service"]
    assert len(service) == radios
    for id in service:
        lines = [s for s in scene.shapes if isinstance(s, Stroke) and s.style == "core" and s.item == id]
        assert len(lines) == 2
        assert len({s.points for s in lines}) == 2
    # in black and white the strand's number tells it: the same as the port map, row by row
    for row in fibre_table(proof.line, proof.site).rows:
        if row[1] == "service":
            assert any(
                t.item == row[0] and t.text.startswith(f"{row[6]} ") and str(row[7]).rsplit(" ", 1)[-1] in t.text
                for t in scene.texts
            ), row


def test_colours_of_the_site_replace_those_of_the_table(proof_of: Make) -> None:
    proof = proof_of(3)
    own = ("red", "green", "blue", "yellow", "white", "slate", "brown", "violet", "aqua", "black", "orange", "rose")
    site = proof.site.model_copy(update={"policy": proof.site.policy.model_copy(update={"strand_colours": own})})
    told = fibre_map(proof.line, site)
    assert told is not None
    first = proof.line.links[0].id
    paints = [s.paint for s in told.shapes if isinstance(s, Stroke) and s.style == "core" and s.item == first]
    assert paints == [PAINTS["red"], PAINTS["green"]]
    assert any(f"policy.strand_colours of site {site.id}" in t for t in words(told))
    assert any("TIA-598" in t for t in words(map_of(proof)))


def test_many_kept_pairs_are_told_as_one(proof_of: Make) -> None:
    proof = proof_of(24, trunks=2)
    kept = [link for link in proof.line.links if link.state != "service"]
    more = tuple(replace(link, id=f"{link.id}-{n}") for n in range(4) for link in kept)
    line = replace(proof.line, links=proof.line.links + more)
    scene = fibre_map(line, proof.site)
    assert scene is not None
    assert any(t.startswith(f"and {5 * len(kept)} kept pairs") for t in words(scene))
    assert not {link.id for link in more} & {s.item for s in scene.shapes}
    assert scene.height == pytest.approx(map_of(proof).height - 17 * (len(kept) - 1))


@pytest.mark.parametrize("size", [2, 12, 24])
def test_a_face_has_every_position_once_and_unused_ones_open(size: int) -> None:
    scene = connector_face(size, {1: "one", size: "last"})
    names = ["A", "B"] if size == 2 else [str(n) for n in range(1, size + 1)]
    found = [t.text for t in scene.texts if t.text in names]
    assert sorted(found) == sorted(names)
    assert sum(isinstance(s, Circle) and s.style == "open" for s in scene.shapes) == size - 2
    assert {"one", "last"} <= set(words(scene))


@pytest.mark.parametrize("size", [12, 24])
@pytest.mark.parametrize("keys", ["opposed", "aligned"])
def test_the_facing_positions_are_those_of_the_mating(size: int, keys: str) -> None:
    numbers = [t for t in connector_face(size, {}, keys=keys).texts if t.text.isdigit()]
    faces = {int(up.text): int(low.text) for up, low in zip(numbers[:size], numbers[size:], strict=True)}
    mate = array_mate(keys, size)  # type: ignore[arg-type]
    assert list(faces.values()) == mate.tolist()
    # the one that faces mine is faced by mine
    assert np.array_equal(mate[mate - 1], np.arange(1, size + 1))
    for up, low in zip(numbers[:size], numbers[size:], strict=True):
        assert up.x == low.x


def test_strange_text_does_no_harm() -> None:
    text = svg(connector_face(12, {1: "</text><script>&\x00\x1b"}, title='"<b>\x07', keys="opposed"))
    root = ET.fromstring(text)
    assert not [e for e in root.iter() if e.tag.rpartition("}")[2] in ("script", "b")]
