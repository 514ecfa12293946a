"""
Fibre cards: what the person at the cabinet, at the box and at the radios joins, strand by strand, and how each slack loop is laid.

Made to be read on paper in black and white: every colour is a word, every mark a shape.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from upmast.catalogue.part import Cable
from upmast.documents.marks import stamp_of
from upmast.documents.port_map import colour, colours_of
from upmast.documents.sheet import Block, Bullets, Cell, Column, Document, Facts, Heading, Paragraph, Table, joined
from upmast.fibre.colour import Colour
from upmast.fibre.graph import follow_light
from upmast.line.light import lit
from upmast.line.line import RUNS, Joint, Line
from upmast.line.optical import optical
from upmast.proof.light import EXITS, TIE_M, LoopLight, has_light, light_of
from upmast.proof.light_words import lay_words, missing_words, other_ways
from upmast.proof.prove import Proof

BLANK = "[   ]"
LONG_TABLE = 5  # rows above which a card takes a page of its own
HOSTS = {"baseband": 0, "fanout": 0, "box": 1, "radio": 2}
PLACES = ("At the cabinet", "At the box", "At the radios")


def fibre_cards(proof: Proof, issued: str = "", pictures: Mapping[str, Iterable[Block]] | None = None) -> Document:
    """
    The document. `pictures`: blocks by where they go: `map`, `faces`, and the id of each loop.

    Raises nothing of its own; a line without fibre gives the cautions alone.
    """
    site, line = proof.site, proof.line
    shown = pictures or {}
    blocks: list[Block] = [
        Facts(
            (
                ("Site", f"{site.id}{', ' + site.name if site.name else ''}"),
                ("Line", f"revision {line.revision}, {line.layer}"),
                ("Issued", issued or "not issued"),
            )
        ),
        *_cautions(proof), *shown.get("map", ()), *_joints(proof), *shown.get("faces", ()), *_loops(proof, shown),
    ]  # fmt: skip
    return Document(
        f"Fibre cards, antenna line {site.id}{' ' + site.name if site.name else ''}",
        "What is joined where, strand by strand, and how slack loops are laid",
        f"{site.id} · line revision {line.revision} · {line.digest[:12]}", stamp_of(proof), tuple(blocks),
    )  # fmt: skip


def _cautions(proof: Proof) -> Iterable[Block]:
    own = proof.cautions.get("fibre", ())
    yield Heading("Before anything else")
    yield Bullets(
        (
            *own,
            "Work at height only by trained people under their own rules; these cards tell nobody to climb.",
            "Pulling: never below the radius under pull, never above the pulling force of the cable's data sheet.",
        ),
        "caution",
    )


# --- joints -----------------------------------------------------------------------------------------------------------


def carried(line: Line) -> dict[str, tuple[str, ...]]:
    """Links by the port that they pass, those in service and those kept."""
    graph, found = optical(line), lit(line)
    out: dict[str, dict[str, None]] = {}
    for row in range(len(found.sender)):
        for node in found.nodes[:, row]:
            if node >= 0:
                out.setdefault(graph.name(int(node)), {})[found.links[row // 2].id] = None
    for link in line.links:
        if link.state == "service":
            continue
        starts = [graph.node(link.a, n) for n in range(1, line.port(link.a).positions + 1)]
        light = follow_light(graph.mate, graph.through, starts, inward=True)
        for node in light.nodes[light.nodes >= 0].tolist():
            out.setdefault(graph.name(node), {})[link.id] = None
    return {port: tuple(ids) for port, ids in out.items()}


def strands_at(line: Line, end: str, table: tuple[Colour, ...] | None) -> str:
    """Strands on the positions of a port of a cable, with their colours where the cable is a trunk; empty elsewhere."""
    item = line.by_id[end.partition(".")[0]]
    part = line.parts.get(item.part)
    if not isinstance(part, Cable):
        return ""
    graph = optical(line)
    numbers = [int(graph.strand[graph.node(end, n)]) for n in range(1, line.port(end).positions + 1)]
    numbers = [n for n in numbers if n]
    if not numbers:
        return ""
    if item.kind not in RUNS or len(numbers) > 2:
        return f"{numbers[0]} to {numbers[-1]}" if len(numbers) > 2 else ", ".join(map(str, numbers))
    told = [colour(n, part.strands_count, table) for n in numbers]
    tubes = {words.partition(", strand ")[0] for words in told if ", strand " in words}
    if len(tubes) == 1:  # one tube: named once
        names = ", ".join(f"{n} {words.partition(', strand ')[2]}" for n, words in zip(numbers, told, strict=True))
        return f"{names}; {tubes.pop()}"
    return ", ".join(f"{n} {words}" for n, words in zip(numbers, told, strict=True))


def _joints(proof: Proof) -> Iterable[Block]:
    """Joints by the place where they are made, the plug that is held in the hand first."""
    line = proof.line
    table, words = colours_of(proof.site)
    passed = carried(line)
    groups: dict[tuple[int, str], list[tuple[Cell, ...]]] = {}
    for joint in line.joints:
        if joint.a not in optical(line).first or joint.b not in optical(line).first:
            continue
        plug, port = _plug_first(line, joint)
        host = port.partition(".")[0]
        rank = HOSTS.get(line.by_id[host].kind, 0)
        links = passed.get(plug, passed.get(port, ()))
        how = _how(line, joint)
        groups.setdefault((rank, host if rank == 1 else ""), []).append(
            (
                f"{plug}{how}",
                port,
                joined(links, 4) or "nothing, capped",
                strands_at(line, plug, table),
                BLANK,
                BLANK,
                BLANK,
                "",
            )
        )
    if not groups:
        return
    yield Heading("What is joined where", new_page=True)
    yield Paragraph(
        f"One row a plug. Colours by {words}, counted at the trunk's foot. Tick a row only when the end face was inspected, cleaned and "
        "inspected again with a record; mate it once. Polarity: plugs go in as they come; halves of a duplex plug are exchanged only "
        "where a row says so."
    )
    columns = (
        Column("Plug", width=17), Column("Into", width=15), Column("Link", width=18), Column("Strands", width=26),
        Column("Clean", width=7), Column("Record", width=7), Column("Mated", width=7), Column("Name", width=10),
    )  # fmt: skip
    for (rank, host), rows in sorted(groups.items()):
        yield Heading(f"{PLACES[rank]} {host}".strip(), 2)
        yield Table("", columns, tuple(rows))
    yield from _open_ends(line, passed, table)


def _plug_first(line: Line, joint: Joint) -> tuple[str, str]:
    """Of two ends, the one of a cable, and of two cables the one that comes from farther down."""
    ends = [joint.a, joint.b]
    rank = {end: isinstance(line.parts.get(line.by_id[end.partition(".")[0]].part), Cable) for end in ends}
    return (joint.a, joint.b) if rank[joint.a] or not rank[joint.b] else (joint.b, joint.a)


def _how(line: Line, joint: Joint) -> str:
    if line.port(joint.a).positions > 2:
        return f", keys {joint.keys}"
    if joint.keys == "crossed":
        return ", halves exchanged"
    return f", half {joint.lane.upper()}" if joint.lane else ""


def _open_ends(line: Line, passed: Mapping[str, tuple[str, ...]], table: tuple[Colour, ...] | None) -> Iterable[Block]:
    """Ends that stay dark: each gets its cap."""
    rows: list[tuple[Cell, ...]] = []
    for item in line.items:
        if not isinstance(line.parts.get(item.part), Cable):
            continue
        for name, port in line.ports[item.id].items():
            end = f"{item.id}.{name}"
            if port.family == "fibre" and end not in line.joined:
                kept = joined(passed.get(end, ()), 3)
                rows.append((end, kept or "no link", strands_at(line, end, table), BLANK, ""))
    if rows:
        columns = (
            Column("End", width=18), Column("Kept for", width=22), Column("Strands", width=30), Column("Capped", width=8), Column("Name", width=10),
        )  # fmt: skip
        yield Heading("Ends that stay dark", 2)
        yield Table(
            "", columns, tuple(rows), "Dark is not safe: a far end may be lit by mistake. Cap, and never look in."
        )


# --- loops ------------------------------------------------------------------------------------------------------------


def _loops(proof: Proof, shown: Mapping[str, Iterable[Block]]) -> Iterable[Block]:
    if not has_light(proof):
        return
    light = light_of(proof)
    room = 0
    for one in light.loops:
        takes = 2 if len(one.found) > LONG_TABLE else 1  # halves of a page
        yield Heading(f"Slack loop {one.loop.id} of {one.loop.cable}", new_page=takes > room)
        room = (2 if takes > room else room) - takes
        yield from shown.get(one.loop.id, ())
        yield _facts(proof.line, one)
        if len(one.found) > 1:
            yield _found(one)
        if missing_words(one):
            yield Paragraph(missing_words(one), "caution")
        if other_ways(one):
            yield Paragraph(f"It could also be: {other_ways(one)}.", "note")


def _facts(line: Line, one: LoopLight) -> Facts:
    loop = one.loop
    item = line.by_id[loop.id]
    towards = next((words for value, words in EXITS if math.isclose(value, loop.exit_turn)), "at an angle of its own")
    left = (
        "not known"
        if math.isnan(loop.surplus_m)
        else f"{loop.surplus_m:.2f} m, give or take {loop.surplus_off_m:.2f} m"
    )
    pull = line.parts.get(line.by_id[loop.cable].part)
    pulled = pull.bend_pulling_mm if isinstance(pull, Cable) and pull.bend_pulling_mm else 20 * loop.diameter_mm
    return Facts(
        (
            ("Where", f"{item.low_m:.1f} m, on {loop.part}"),
            ("Lay", f"{loop.form}; it goes on {towards}"),
            ("It holds", f"{loop.stored_m:.2f} m; expected to be left over: {left}"),
            ("Radius", f"never below {one.least_m * 1000:.0f} mm at rest, {pulled:.0f} mm while it is pulled ({loop.radius_source})"),
            ("Ties", f"{one.ties} a turn, one every {TIE_M:g} m at most and four at least (common practice, no source); firm, never tight"),
            ("Twist", one.twist),
            ("Mass", f"{loop.mass_kg_per_m * loop.stored_m:.1f} kg of cable on its holder"),
        )
    )  # fmt: skip


def _found(one: LoopLight) -> Table:
    """What to lay for the length that is there: the radius follows the length, never the other way round."""
    columns = (Column("Left over", "m", 14), Column("Lay", width=34), Column("As built", width=14))
    rows: list[tuple[Cell, ...]] = []
    for slack, lay in one.found:
        words = f"{lay_words(lay)}, {2 * lay.radius_m:.2f} m across" if lay is not None else "nothing fits: ask"
        rows.append((f"{slack:.2f}", words, BLANK))
    return Table(
        "",
        columns,
        tuple(rows),
        "Measure what is left over when the cable lies in its way; record turns and radius as built.",
    )


__all__ = ["carried", "fibre_cards", "strands_at"]
