"""The kit list: everything to order for a line, every item with its label, and where the values come from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from upmast.catalogue.part import KINDS, Cable, ControlCable, Part, RfCable
from upmast.documents.sheet import Cell, Column, Product, Sheet, Table, Workbook, joined
from upmast.line.line import Item, Line
from upmast.site.site import Site

KIND_ORDER = (
    "breaker", "optic", "fanout", "trunk", "dc-cable", "fibre-cable", "box", "hybrid-jumper", "dc-jumper", "fibre-jumper",
    "radio", "rf-inline", "rf-jumper", "feeder", "control-cable", "antenna", "clamp", "grip", "bond", "loop", "cap", "seal", "connector",
)  # fmt: skip
assert set(KIND_ORDER) == set(KINDS) - {"cable-family"}


@dataclass
class _Row:
    """One part while it is counted."""

    part: Part
    pieces: int = 0
    cuts: list[tuple[str, float]] = field(default_factory=list)
    users: list[str] = field(default_factory=list)
    places: list[str] = field(default_factory=list)


def cost_per_m(part: Part) -> float:
    return part.cost_per_m if isinstance(part, Cable | RfCable | ControlCable) else 0.0


def mass_per_m(part: Part) -> float:
    return part.mass_kg_per_m if isinstance(part, Cable | RfCable | ControlCable) else 0.0


def place_of(item: Item, line: Line) -> str:
    """Where an item goes, in words."""
    if item.on == "CAB":
        return "cabinet"
    if item.on == "PLANT":
        return "cabinet, DC plant"
    if item.on:
        height = f" at {item.low_m:g} m" if item.kind == "bond" else ""
        return f"on {item.on}{height}"
    if item.span:
        ends = ends_of(line, item.id)
        return f"{joined(ends[0], 6) or 'open'} to {joined(ends[1], 6) or 'open'}"
    sector = f", sector {item.sector}" if item.sector else ""
    return f"mast at {item.low_m:g} m{sector}"


def ends_of(line: Line, id: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The items to which the foot and the head of a span are joined."""
    foot: dict[str, None] = {}
    head: dict[str, None] = {}
    for name in line.ports.get(id, {}):
        for other, _ in line.joined.get(f"{id}.{name}", ()):
            (foot if name.startswith("foot") else head)[other.split(".", 1)[0]] = None
    return tuple(foot), tuple(head)


def _rows(line: Line) -> list[_Row]:
    rows: dict[str, _Row] = {}
    for item in line.items:
        if item.part:
            row = rows.setdefault(item.part, _Row(line.part_of(item)))
            row.pieces += item.count
            row.users.append(item.id)
            row.places.append(place_of(item, line))
            if item.length_m is not None:
                row.cuts += [(item.id, item.length_m)] * item.count
        for slot, optic in item.equipment:
            row = rows.setdefault(optic, _Row(line.parts[optic]))
            row.pieces += 1
            row.users.append(f"{item.id}.{slot}")
            row.places.append(f"in {item.id}")
    return sorted(rows.values(), key=lambda r: (KIND_ORDER.index(_kind(r.part)), r.part.id))


def _kind(part: Part) -> str:
    return str(getattr(part, "kind", "connector"))


KIT_COLUMNS = (
    Column("Kind", width=14),
    Column("Part", width=24),
    Column("What it is", width=42),
    Column("Pieces", width=8, kind="count"),
    Column("Length in all", "m", 10, "number"),
    Column("Cut lengths (id: length)", width=34),
    Column("Price of one", "cost units", 11, "money"),
    Column("Price of one metre", "cost units", 11, "money"),
    Column("Price", "cost units", 13, "money", summed=True),
    Column("Mass of one", "kg", 9, "number", 3),
    Column("Mass of one metre", "kg", 9, "number", 3),
    Column("Mass", "kg", 10, "number", 2, summed=True),
    Column("Lead time", "d", 8, "count"),
    Column("Used as", width=34),
    Column("Where it goes", width=34),
    Column("Source of the values", width=28),
)
PIECES, METRES, PRICE, PRICE_M, MASS, MASS_M = 3, 4, 6, 7, 9, 10


def kit_table(line: Line) -> Table:
    """One row a part, by kind: pieces, metres, prices, mass, lead time, uses and places."""
    rows: list[tuple[Cell, ...]] = []
    for row in _rows(line):
        part, metres = row.part, sum(length for _, length in row.cuts)
        price_m, mass_m = cost_per_m(part), mass_per_m(part)
        by_metre: tuple[tuple[int, int], ...] = ((METRES, PRICE_M),) if price_m else ()
        mass_by_metre: tuple[tuple[int, int], ...] = ((METRES, MASS_M),) if mass_m else ()
        rows.append(
            (
                _kind(part).replace("-", " "), part.id, part.title, row.pieces, round(metres, 3) if row.cuts else None,
                "; ".join(f"{id}: {length:g} m" for id, length in row.cuts), part.cost, price_m or None,
                Product(row.pieces * part.cost + metres * price_m, ((PIECES, PRICE), *by_metre)),
                part.mass_kg, mass_m or None,
                Product(row.pieces * part.mass_kg + metres * mass_m, ((PIECES, MASS), *mass_by_metre)),
                part.lead_time_d, joined(row.users, 60), joined(dict.fromkeys(row.places), 30), part.source,
            )
        )  # fmt: skip
    return Table(
        "Kit list",
        KIT_COLUMNS,
        tuple(rows),
        "Lengths are made lengths. Check the whole list against stock before cutting.",
    )


def label_table(line: Line) -> Table:
    """Every item by id: what stands on its label."""
    columns = (
        Column("Id", width=16), Column("Kind", width=14), Column("Part", width=26), Column("What it is", width=44),
        Column("Pieces", width=8, kind="count"), Column("Length", "m", 9, "number"), Column("Sector", width=8),
        Column("From", "m", 8, "number", 1), Column("To", "m", 8, "number", 1), Column("Serves", width=24),
        Column("Where it goes", width=34), Column("Why this one", width=44),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for item in sorted(line.items, key=lambda i: i.id):
        part = line.parts.get(item.part)
        rows.append(
            (
                item.id, item.kind.replace("-", " "), item.part, part.title if part else item.kind, item.count, item.length_m,
                item.sector, item.low_m, item.high_m, joined(item.serves), place_of(item, line), item.reason,
            )
        )  # fmt: skip
    return Table(
        "Labels: every item by id", columns, tuple(rows), "From and to are heights above the foot of the mast."
    )


def source_table(line: Line, site: Site) -> Table:
    """Where the values of the parts come from, and notes on parts, site and line."""
    columns = (Column("Subject", width=26), Column("Value", width=26), Column("Source or note", width=90))
    rows: list[tuple[Cell, ...]] = []
    for row in _rows(line):
        part = row.part
        rows.append((part.id, "all values not named below", part.source))
        rows += [(part.id, name, str(part.source_of(name))) for name in sorted(part.sources)]
        if part.note:
            rows.append((part.id, "note", part.note))
    for subject, note in ((site.id, site.note), ("line", line.note)):
        if note:
            rows.append((subject, "note", note))
    return Table("Sources and notes", columns, tuple(rows))


def head_lines(site: Site, line: Line, stamp: str = "") -> tuple[str, ...]:
    """The lines above every table: site, revision, digest, and the stamp if there is one."""
    name = f" {site.name}" if site.name else ""
    lines = [
        f"Site {site.id}{name} · radio plan revision {site.revision} · line revision {line.revision} ({line.layer}) · {line.digest[:12]}"
    ]
    return tuple(lines + ([stamp.upper()] if stamp else []))


def kit_list(site: Site, line: Line, stamp: str = "") -> Workbook:
    """The workbook: kit, labels, sources."""
    head = head_lines(site, line, stamp)
    tables: Iterable[tuple[str, Table]] = (
        ("Kit", kit_table(line)),
        ("Labels", label_table(line)),
        ("Sources", source_table(line, site)),
    )
    return Workbook(
        f"Kit list {site.id}, line revision {line.revision}",
        "Everything to order for the antenna line",
        tuple(Sheet(name, table, head) for name, table in tables),
    )
