"""The pictures of the fibre: end-to-end map, connector faces, budgets, bending loss, loops; each with the words that stand for it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from upmast.catalogue.part import Cable
from upmast.documents.chart import chart_svg
from upmast.documents.fibre_charts import bend_spec, budget_spec
from upmast.documents.fibre_face import face_of
from upmast.documents.fibre_map import fibre_map
from upmast.documents.loop_sketch import loop_sketch
from upmast.documents.sheet import Block, Picture
from upmast.documents.to_svg import svg
from upmast.fibre.coil import ties_count
from upmast.fibre.state import Inputs
from upmast.line.line import RUNS, Line
from upmast.line.optical import optical
from upmast.proof.light import TIE_M
from upmast.proof.prove import Proof

MOST_FACES = 4  # connector faces in one document
MOST_SKETCHES = 40


@dataclass(frozen=True, slots=True)
class FibrePicture:
    """One picture: a short name, its drawing as SVG, the words that stand for it, and its caption."""

    name: str
    svg: str
    alt: str
    caption: str
    landscape: bool = False
    wide: bool = False


def _inputs(proof: Proof) -> Inputs | None:
    room = proof.rooms.get("fibre")
    return room.inputs if room is not None and isinstance(room.inputs, Inputs) else None


def fibre_pictures(proof: Proof) -> Iterator[FibrePicture]:
    """Every picture of the fibre for which the proof has the data: map, one face of each array plug, budget, bends, loops."""
    inputs = _inputs(proof)
    if inputs is None:
        return
    yield from map_pictures(proof)
    yield from face_pictures(proof)
    made = budget_spec(proof)
    if made is not None:
        yield FibrePicture(
            "budget", chart_svg(made),
            "Steps down from the least power sent to the power that arrives, and from the greatest; lines mark what the receiver needs and bears.",
            "Power along the link with the least margin",
        )  # fmt: skip
    yield from bend_pictures(proof.line, inputs)
    yield from loop_pictures(inputs)


def map_pictures(proof: Proof) -> Iterator[FibrePicture]:
    """The end-to-end map."""
    scene = fibre_map(proof.line, proof.site)
    if scene is not None:
        yield FibrePicture(
            "map", svg(scene),
            "One line a fibre from each cabinet port over patch, trunk strand, box and jumper to its radio port; the tables say the same in words.",
            "Every fibre from end to end", True,
        )  # fmt: skip


def face_pictures(proof: Proof) -> Iterator[FibrePicture]:
    """The faces of the array plugs at the foot of the trunks."""
    line = proof.line
    ends = [
        end for end in optical(line).ports
        if line.by_id[end.partition(".")[0]].kind in RUNS and ".foot." in end and line.port(end).positions > 2
    ]  # fmt: skip
    for end in ends[:MOST_FACES]:
        scene = face_of(line, end, proof.site)
        if scene is not None:
            alt = f"The end face of {end} with its key on top: positions by number and what each carries; beside it the face that it meets."
            yield FibrePicture(
                f"face-{end.replace('.', '-')}",
                svg(scene),
                alt,
                f"End face of {end}, seen with the key on top",
                wide=True,
            )


def bend_pictures(line: Line, inputs: Inputs) -> Iterator[FibrePicture]:
    """Loss over the radius of the bend, one picture a class of fibre that the line has."""
    classes = dict.fromkeys(
        p.fibre_class for i in line.items if isinstance(p := line.parts.get(i.part), Cable) and p.strands_count
    )
    for name in classes:
        made = bend_spec(name, [x for x in inputs.loops if x.fibre_class == name])
        if made is not None:
            yield FibrePicture(
                f"bend-{name.replace('.', '-').lower()}", chart_svg(made),
                f"Bending loss of one turn over its radius for {name}: the limits of the class as steps, and an estimate where one holds.",
                f"Bending loss of {name} over the radius",
            )  # fmt: skip


def loop_pictures(inputs: Inputs) -> Iterator[FibrePicture]:
    """A sketch of each slack loop."""
    for loop in inputs.loops[:MOST_SKETCHES]:
        alt = f"{loop.id} seen from the front: {loop.form}, with its ties; the facts beside it say the same in words."
        yield FibrePicture(
            f"loop-{loop.id.lower()}",
            svg(loop_sketch(loop, int(ties_count(2 * math.pi * loop.radius_m + 2 * loop.straight_m, TIE_M)))),
            alt,
            f"{loop.id}, not to scale",
        )


def blocks(pictures: Iterator[FibrePicture]) -> tuple[Block, ...]:
    """Pictures as blocks of a document."""
    return tuple(Picture(p.svg, p.alt, p.caption, p.landscape, p.wide) for p in pictures)


def card_pictures(proof: Proof) -> dict[str, tuple[Block, ...]]:
    """Pictures of the fibre cards by where they go: `map`, `faces`, and the id of each loop."""
    inputs = _inputs(proof)
    if inputs is None:
        return {}
    out = {"map": blocks(map_pictures(proof)), "faces": blocks(face_pictures(proof))}
    for loop, one in zip(inputs.loops, loop_pictures(inputs), strict=False):
        out[loop.id] = blocks(iter((one,)))
    return out


def sheet_pictures(proof: Proof) -> tuple[Block, ...]:
    """Pictures of the calculation sheet: budget and bending loss."""
    wanted: Callable[[FibrePicture], bool] = lambda p: p.name == "budget" or p.name.startswith("bend-")  # noqa: E731
    return blocks(p for p in fibre_pictures(proof) if wanted(p))


__all__ = ["FibrePicture", "card_pictures", "fibre_pictures", "sheet_pictures"]
