"""The port maps of a line: DC pairs, fibre strands, RF ports. Each row is one wire, strand or path from end to end."""

from __future__ import annotations

from upmast.catalogue.part import AntennaPart, Box, Breaker, Cable
from upmast.documents.kit_list import head_lines
from upmast.documents.sheet import Cell, Column, Sheet, Table, Workbook
from upmast.fibre.colour import Colour, strand_colours
from upmast.fibre.graph import follow_light
from upmast.line.line import RUNS, Item, Line, Link
from upmast.line.optical import Optical, optical
from upmast.line.walk import feeds, head_of, rf_paths
from upmast.site.site import Site
from upmast.source import Mark, Source

DARK = "dark, capped"
TUBE = 12  # strands in one tube: common practice, no source


def colours_of(site: Site) -> tuple[tuple[Colour, ...] | None, str]:
    """The colours of strands and tubes of a site, None for those of TIA-598, and what to call the table."""
    names = site.policy.strand_colours
    if not names:
        return None, "TIA-598"
    source = Source(f"site {site.id}", "policy.strand_colours", mark=Mark.DECLARED)
    return tuple(Colour(name, "", source) for name in names), f"policy.strand_colours of site {site.id}"


def colour(number: int, strands: int, table: tuple[Colour, ...] | None = None) -> str:
    """
    Colour of a strand by its number in a cable of so many; with the tube where the cable has more than one.

    >>> colour(2, 12), colour(14, 24)
    ('orange', 'tube orange, strand orange')
    """
    try:
        tube, one = strand_colours(number, table=table)
    except ValueError:
        return "not in the table of colours"
    return f"tube {tube}, strand {one}" if strands > TUBE else str(one)


# --- DC -------------------------------------------------------------------------------------------------------------


def pair_table(line: Line) -> Table:
    """Every way from a breaker to a radio, supply and return, and the pairs that feed nothing."""
    columns = (
        Column("Radio", width=9), Column("Wire", width=9), Column("Plant", width=14), Column("Breaker", width=12),
        Column("Rating", "A", 8, "number", 0), Column("Trunk pair", width=13), Column("Conductor", "mm²", 10, "number", 1),
        Column("Box in", width=13), Column("Box out", width=14), Column("Jumper", width=12), Column("Radio port", width=12),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    used: set[str] = set()
    on_bars: list[tuple[Cell, ...]] = []
    poles = (("supply", "-48 V bar"), ("return", "return bar"))
    for radio, ways in feeds(line).items():
        box = _bars(line, ways)
        for way in ways or ((),):
            cells = _way(line, radio, way, used)
            if box and cells[2]:  # a pair that feeds bars feeds all radios on them: it stands once
                pair = [(f"{box} bars", wire, pole, *cells[:5], "bars", "", "") for wire, pole in poles]
                rows += [row for row in pair if row not in rows]
            else:
                rows += [(radio, wire, pole, *cells, f"{radio}.dc" if way else "not fed") for wire, pole in poles]
        if box:
            cells = _way(line, radio, ways[0], used)
            on_bars += [
                (radio, wire, "", "", None, "", None, f"{box} bars", cells[5], cells[6], f"{radio}.dc")
                for wire, _ in poles
            ]
    rows += on_bars
    for item in line.of_kind(*RUNS):
        part = line.part_of(item)
        if isinstance(part, Cable):
            for n in range(1, part.pairs_count + 1):
                name = f"{item.id}-P{n:02d}" if part.pairs_count > 1 else item.id
                if name not in used:
                    rows.append(
                        ("", "both", "not joined" if not line.joined.get(f"{item.id}.foot.dc{n}") else "joined", "", None, name,
                         part.conductor_area_mm2, "", "", "", "spare, capped")
                    )  # fmt: skip
    return Table(
        "Pair map", columns, tuple(rows),
        "Polarity is read and proved at both ends before anything is connected: colours of DC wires differ from place to place.",
    )  # fmt: skip


def _bars(line: Line, ways: tuple[tuple[str, ...], ...]) -> str:
    """The bussed box on the way to a radio; empty where there is none."""
    for name in ways[0] if ways else ():
        part = line.parts.get(line.by_id[name].part) if name in line.by_id else None
        if isinstance(part, Box) and part.topology == "bussed":
            return name
    return ""


def _way(line: Line, radio: str, way: tuple[str, ...], used: set[str]) -> tuple[Cell, ...]:
    """Breaker, rating, trunk pair, area, box in, box out and jumper of one way."""
    breaker = rating = trunk = area = box_in = box_out = jumper = None
    for name in way:
        id = name if name in line.by_id else name.rpartition("-")[0]
        item = line.by_id[id]
        part = line.part_of(item)
        if isinstance(part, Breaker):
            breaker, rating = item.id, part.rated_a
        elif isinstance(part, Box):
            box_in, box_out = _box_ports(line, item, trunk, radio)
        elif isinstance(part, Cable) and item.kind in RUNS:
            trunk, area = name, part.conductor_area_mm2
            used.add(name)
        elif isinstance(part, Cable):
            jumper = item.id
    return (breaker or "", rating, trunk or "", area, box_in or "", box_out or "", jumper or "")


def _box_ports(line: Line, box: Item, pair: str | None, radio: str) -> tuple[str, str]:
    """The box input that a pair comes to, and the output that goes to a radio."""
    came = gone = ""
    if pair:
        id, _, tail = pair.rpartition("-P")
        id, n = (id, int(tail)) if id in line.by_id and tail.isdigit() else (pair, 1)
        came = next((end for end, _ in line.joined.get(f"{id}.head.dc{n}", ()) if end.startswith(f"{box.id}.")), "")
    for other, _ in line.joined.get(f"{radio}.dc", ()):
        id, _, port = other.partition(".")
        gone = next((e for e, _ in line.joined.get(f"{id}.{head_of(port)}", ()) if e.startswith(f"{box.id}.")), "")
    return came, gone


# --- fibre ----------------------------------------------------------------------------------------------------------

FIBRE_COLUMNS = (
    Column("Link", width=11), Column("State", width=10), Column("Strand", width=15), Column("Cabinet port", width=14),
    Column("Position", width=9, kind="count"), Column("Patch and fan-out", width=20), Column("Trunk strand", width=13),
    Column("Colour at the trunk's foot", width=18), Column("Box port", width=18), Column("Jumper", width=12),
    Column("Radio port", width=14), Column("Ends at position", width=10, kind="count"), Column("Note", width=24),
)  # fmt: skip


def fibre_table(line: Line, site: Site | None = None) -> Table:
    """Every strand of every link from end to end; standby and growth pairs are dark and capped."""
    colours, words = colours_of(site) if site is not None else (None, "TIA-598")
    rows: list[tuple[Cell, ...]] = []
    for link in line.links:
        for position in range(1, line.port(link.a).positions + 1):
            rows.append(_fibre_row(line, link, position, colours))
    note = f"Position 1 of a duplex port sends in the cabinet. Colours by {words}, counted at the trunk's foot; those of a jumper are its own."
    return Table("Fibre port map", FIBRE_COLUMNS, tuple(rows), note)


def _fibre_row(line: Line, link: Link, position: int, colours: tuple[Colour, ...] | None) -> tuple[Cell, ...]:
    graph = optical(line)
    service = link.state == "service"
    light = follow_light(graph.mate, graph.through, [graph.node(link.a, position)], inward=not service)
    nodes = [int(n) for n in light.nodes[:, 0] if n >= 0]
    passed = _passed(line, graph, nodes[1:] if service else nodes)
    patch, trunk, box, jumper = (
        [name for kind, name in passed if kind == k] for k in ("patch", "trunk", "box", "jumper")
    )
    if service:
        end = graph.name(nodes[-1]) if light.arrived[0] else ""
        note = "" if end == link.b else f"ends at {end or 'nothing'}, meant for {link.b}"
        ends: tuple[Cell, Cell] = (end or "nothing", int(graph.position[nodes[-1]]) if end else None)
    else:
        note, ends = DARK, (f"kept for {link.radio}" if link.radio else "kept for growth", None)
    single = line.port(link.a).positions == 1
    what = "both ways" if single and service else ("A, cabinet sends", "B, radio sends")[position - 1]
    return (
        link.id, link.state, what, link.a, position, ", ".join(patch), ", ".join(trunk),
        _colour(line, trunk[0], colours) if trunk else "", ", ".join(box), ", ".join(jumper), *ends, note,
    )  # fmt: skip


def _colour(line: Line, name: str, colours: tuple[Colour, ...] | None) -> str:
    id, _, number = name.rpartition("-F")
    part = line.part_of(id)
    return colour(int(number), part.strands_count if isinstance(part, Cable) else 0, colours)


def _passed(line: Line, graph: Optical, nodes: list[int]) -> list[tuple[str, str]]:
    """What a strand passes, as (patch, trunk, box or jumper) and its name, from where it enters each part to where it leaves."""
    out: list[tuple[str, str]] = []
    for enter, leave in zip(nodes[::2], nodes[1::2], strict=False):
        id, _, port = graph.name(leave).partition(".")
        item = line.by_id[id]
        if item.on == "CAB" or item.kind == "fanout":
            out.append(("patch", id))
        elif item.kind in RUNS:
            foot = enter if ".foot." in graph.name(enter) else leave
            out.append(("trunk", f"{id}-F{int(graph.strand[foot]):02d}"))
        elif item.kind == "box":
            out.append(("box", f"{id}.{port}"))
        else:
            out.append(("jumper", id))
    return out


# --- RF -------------------------------------------------------------------------------------------------------------


def rf_table(line: Line) -> Table:
    """Every radio port, its cables and the antenna port at the other end, with the text of the labels."""
    columns = (
        Column("Radio port", width=13), Column("Sector", width=8), Column("Cable", width=18), Column("Length", "m", 10, "number"),
        Column("Antenna", width=12), Column("Port", width=8), Column("Port range", "MHz", 16), Column("Label, both ends", width=36),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for path in rf_paths(line):
        length = sum(line.by_id[id].length_m or 0.0 for id in path.cables)
        antenna, _, port = path.antenna.partition(".")
        span = ""
        if antenna:
            part = line.part_of(antenna)
            if isinstance(part, AntennaPart):
                span = next(
                    (f"{p.low_hz / 1e6:.0f} to {p.high_hz / 1e6:.0f}" for p in part.ports if p.name == port), ""
                )
        start = f"{path.radio}.{path.radio_port}"
        rows.append(
            (start, line.by_id[path.radio].sector, ", ".join(path.passed), round(length, 3), antenna or "open", port, span,
             f"{path.id}  {start} > {path.antenna or 'open'}")
        )  # fmt: skip
    return Table("RF port map", columns, tuple(rows), "One label at each end with the same text.")


def tables(line: Line, site: Site | None = None) -> tuple[tuple[str, Table], ...]:
    """The three maps by sheet name."""
    return (("Pairs", pair_table(line)), ("Fibre", fibre_table(line, site)), ("RF", rf_table(line)))


def port_map(site: Site, line: Line, stamp: str = "") -> Workbook:
    """The workbook of the three maps."""
    head = head_lines(site, line, stamp)
    return Workbook(
        f"Port map {site.id}, line revision {line.revision}",
        "DC pairs, fibre strands and RF ports from end to end",
        tuple(Sheet(name, table, head) for name, table in tables(line, site)),
    )
