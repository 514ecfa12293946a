"""
`line.yaml` and `parts.yaml`: a line as plain text that can be read, compared and edited by hand.

Each item names its part and the part's digest; the parts themselves stand beside it, so that an edit of the catalogue never
changes an issued line silently. The file carries the digest of its content as it was written: a hand edit shows.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from pydantic import Field

from upmast import yamlfile
from upmast.atomic import write_texts
from upmast.catalogue.catalogue import Catalogue, from_text, part_digest, standard
from upmast.catalogue.part import Cable, ControlCable, Optic, Part, RfCable
from upmast.declare import Declared, check
from upmast.errors import FaultList, MateError, UsageError
from upmast.line.line import Item, ItemId, Joint, Layer, Line, Link
from upmast.line.port import ports_of
from upmast.site.site import Id

LINE_FILE = "line.yaml"
PARTS_FILE = "parts.yaml"
SPANS = (Cable, RfCable, ControlCable)
WITHOUT_PART = ("plant", "baseband")
MOST_REASON = 400


class ItemRow(Declared):
    """One item of `line.yaml`."""

    id: ItemId = Field(description="name of the item")
    kind: str = Field(max_length=30, description="what it is: plant, breaker, trunk, box, radio, rf-jumper, clamp, ...")
    part: str = Field("", max_length=80, description="its part, which stands in parts.yaml")
    part_digest: str = Field("", max_length=64, description="digest of that part when the line was written")
    length_m: float | None = Field(None, gt=0, le=2000, description="length of a span")
    tolerance_m: float = Field(0.0, ge=0, le=50, description="how far the made length may be off")
    low_m: float = Field(0.0, ge=-50, le=700, description="height of its lower end")
    high_m: float = Field(0.0, ge=-50, le=700, description="height of its upper end")
    sector: str = Field("", max_length=4, description="sector that it serves")
    serves: tuple[str, ...] = Field((), max_length=100, description="items that it serves")
    on: str = Field("", max_length=48, description="item on which it stands")
    count: int = Field(1, ge=1, le=10_000, description="how many")
    equipment: dict[str, str] = Field(default_factory=dict, description="optics, by the port in which they are")
    reason: str = Field("", max_length=MOST_REASON, description="why this part was taken")
    serial: str = Field("", max_length=60, description="serial number, once it is known")
    turns: int = Field(0, ge=0, le=100, description="loops: whole turns")
    exit_turn: float = Field(
        0.0,
        ge=0,
        lt=1,
        description="loops: part of one more turn; 0 leaves onward, 0.5 backwards, 0.25 at a right angle",
    )
    radius_m: float = Field(0.0, ge=0, le=3, description="loops: radius of a turn; of the innermost in a flat spiral")
    straight_m: float = Field(
        0.0, ge=0, le=10, description="loops laid as an oval: length of each of the two straights"
    )
    pitch_m: float = Field(
        0.0, ge=0, le=1, description="loops laid as a flat spiral: growth of the radius from turn to turn"
    )


class JointRow(Declared):
    """One joint of `line.yaml`."""

    a: str = Field(max_length=80, description="one end, e.g. T1.head.dc3")
    b: str = Field(max_length=80, description="the other end")
    keys: Literal["opposed", "aligned", "crossed"] = Field(
        "opposed",
        description="array connectors: how the keys meet; crossed: the two halves of a duplex plug exchanged in their clip",
    )
    lane: Literal["", "a", "b"] = Field("", description="half of a duplex plug that sits in a simplex port")


class LinkRow(Declared):
    """One intended link, or kept pair of strands, of `line.yaml`."""

    id: ItemId = Field(description="name of the link")
    a: str = Field(max_length=80, description="its end in the cabinet")
    b: str = Field(max_length=80, description="its end on the mast")
    state: Literal["service", "standby", "growth"] = Field(
        "service", description="in service, kept for one radio, or for nobody yet"
    )
    radio: str = Field("", max_length=24, description="the radio it belongs to")


class LineFile(Declared):
    """The whole of `line.yaml`."""

    version: Literal[1] = Field(description="version of this kind of file: 1")
    site: Id = Field(description="the site that it belongs to")
    layer: Literal["designed", "built", "measured"] = Field("designed", description="which layer it is")
    revision: int = Field(1, ge=1, le=100_000, description="counts up when the content changes")
    digest: str = Field(
        "", max_length=64, description="digest of the content when it was written; differs after a hand edit"
    )
    note: str = Field("", max_length=2000, description="anything a person should know")
    items: tuple[ItemRow, ...] = Field(min_length=1, max_length=20_000, description="the items")
    joints: tuple[JointRow, ...] = Field((), max_length=50_000, description="the joints")
    links: tuple[LinkRow, ...] = Field((), max_length=5_000, description="the optical links and kept strands")


@dataclass(frozen=True, slots=True)
class Saved:
    """A line read from a folder, and whether its content was edited since it was written."""

    line: Line
    edited: bool
    written_digest: str


def dump(line: Line) -> str:
    """`line.yaml` as text."""
    items = []
    for item in line.items:
        row: dict[str, object] = {"id": item.id, "kind": item.kind}
        if item.part:
            row |= {"part": item.part, "part_digest": part_digest(line.parts[item.part])}
        for name in (
            "length_m",
            "tolerance_m",
            "low_m",
            "high_m",
            "sector",
            "on",
            "count",
            "reason",
            "serial",
            "turns",
            "exit_turn",
            "radius_m",
            "straight_m",
            "pitch_m",
        ):
            value = getattr(item, name)
            if value != Item.__dataclass_fields__[name].default:
                row[name] = round(value, 4) if isinstance(value, float) else value
        if len(item.reason) > MOST_REASON:
            row["reason"] = item.reason[: MOST_REASON - 1] + "…"
        if item.serves:
            row["serves"] = list(item.serves)
        if item.equipment:
            row["equipment"] = dict(item.equipment)
        items.append(row)
    head = {
        "version": 1, "site": line.site, "layer": str(line.layer), "revision": line.revision, "digest": line.digest, "note": line.note,
    }  # fmt: skip
    lines = ["# The line as designed. It may be edited by hand: `upmast prove` shows what that changes.\n"]
    lines.append(yamlfile.dump({k: v for k, v in head.items() if v != ""}))
    for name, rows in (
        ("items", items),
        (
            "joints",
            [
                {"a": j.a, "b": j.b}
                | ({"keys": j.keys} if j.keys != "opposed" else {})
                | ({"lane": j.lane} if j.lane else {})
                for j in line.joints
            ],
        ),
        ("links", [{"id": k.id, "a": k.a, "b": k.b, "state": k.state, "radio": k.radio} for k in line.links]),
    ):
        lines.append(f"{name}:\n" if rows else f"{name}: []\n")
        lines += [f"  - {yamlfile.flow(row)}\n" for row in rows]
    return "".join(lines)


def dump_parts(line: Line) -> str:
    """`parts.yaml` as text: every part that the line uses, as a catalogue."""
    rows = [part.model_dump(mode="json", exclude_unset=True) for _, part in sorted(line.parts.items())]
    body = "".join(f"  - {yamlfile.flow(row)}\n" for row in rows)
    return f"# The parts of line.yaml, as they were when it was written. A catalogue of its own.\nversion: 1\nparts:\n{body}"


def save(line: Line, folder: Path) -> None:
    """Write `parts.yaml` and `line.yaml`, both or neither. Raises UsageError."""
    write_texts({folder / PARTS_FILE: dump_parts(line), folder / LINE_FILE: dump(line)})


def load(folder: Path) -> Saved:
    """
    The line of a site folder.

    Raises
    ------
    InputFaults
        With every fault of `line.yaml` or `parts.yaml`; an illegal joint is a fault in its own line.
    """
    parts = from_text(yamlfile.read(folder / PARTS_FILE))
    _connectors(parts)
    return parse(yamlfile.read(folder / LINE_FILE), parts)


def _connectors(parts: Catalogue) -> None:
    """Raises InputFaults where a part of `parts.yaml` names a connector that isn't there: once a part, not once a joint."""
    faults = FaultList(PARTS_FILE)
    known: dict[str, Part] = {part.id: part for part in parts}
    for part in known.values():
        try:
            ports_of(part, parts.connector)
        except UsageError as reason:
            lacking = next(
                (v for v in part.model_dump().values() if isinstance(v, str) and f"'{v}'" in str(reason)), str(reason)
            )
            faults.add(part.id, lacking, "a connector of parts.yaml", _where_from(lacking, known))
    faults.raise_if_any()


def _where_from(id: str, known: Mapping[str, Part]) -> str:
    """What to do about a part that isn't there: one nearly of that name, or the generic catalogue's."""
    if id in standard():
        return f"upmast part {id} >> parts.yaml adds it from the generic catalogue; or plan the line again"
    near = difflib.get_close_matches(id, list(known), 1, 0.75)
    if near:
        return f"did you mean {near[0]!r}?"
    return "add it there, or plan the line again"


def parse(text: yamlfile.YamlText, parts: Catalogue) -> Saved:
    """The line of a text, with its parts. Raises InputFaults."""
    faults = FaultList(text.file)
    found = check(LineFile, text.data, text, (), faults)
    faults.raise_if_any()
    assert found is not None
    known: dict[str, Part] = {part.id: part for part in parts}
    _repeated("items", [row.id for row in found.items], text, faults)
    _repeated("links", [row.id for row in found.links], text, faults)
    items = []
    for index, row in enumerate(found.items):
        if row.part:
            part = known.get(row.part)
            at = ("items", index, "part")
            kind = "" if part is None else str(getattr(part, "kind", ""))
            if part is None:
                faults.add(
                    yamlfile.show_path(at),
                    row.part,
                    "a part of parts.yaml",
                    _where_from(row.part, known),
                    *text.position(at),
                )
            elif row.part_digest and row.part_digest != part_digest(part):
                faults.add(
                    yamlfile.show_path(at), f"{row.part} of another content", "the part as it was when the line was written",
                    "put parts.yaml back, or remove part_digest to take the new values", *text.position(at),
                )  # fmt: skip
            if part is not None and kind != row.kind:
                here: yamlfile.Path_ = ("items", index, "kind")
                faults.add(
                    yamlfile.show_path(here), row.kind, f"{kind}, the kind of {row.part}", "correct the kind or the part",
                    *text.position(here),
                )  # fmt: skip
            if isinstance(part, SPANS) and row.length_m is None:
                here = ("items", index)
                faults.add(
                    yamlfile.show_path(here), f"{row.id} without a length", "length_m: length of a span", "add length_m",
                    *text.position(here),
                )  # fmt: skip
        elif row.kind not in WITHOUT_PART:
            faults.add(
                yamlfile.show_path(("items", index)),
                row.id,
                "a part",
                "name its part",
                *text.position(("items", index)),
            )
        if row.kind == "loop":
            _loop(row, index, {r.id for r in found.items}, text, faults)
        for port, optic in row.equipment.items():
            if not isinstance(known.get(optic), Optic):
                here = ("items", index, "equipment", port)
                faults.add(
                    yamlfile.show_path(here), optic, "an optic of parts.yaml", "add it there, or plan the line again",
                    *text.position(here),
                )  # fmt: skip
        values = row.model_dump(exclude={"part_digest", "equipment"})
        items.append(Item(**{**values, "equipment": tuple(row.equipment.items())}))
    faults.raise_if_any()
    joints = tuple(Joint(row.a, row.b, row.keys, row.lane) for row in found.joints)
    links = tuple(Link(row.id, row.a, row.b, row.state, row.radio) for row in found.links)
    try:
        line = Line(found.site, tuple(items), joints, known, links, Layer(found.layer), found.revision, found.note)
    except (MateError, UsageError):
        _blame(text, tuple(items), joints, known, found, faults)
        faults.raise_if_any()
        raise
    for index, link in enumerate(links):
        for side, end in (("a", link.a), ("b", link.b)):
            try:
                line.port(end)
            except UsageError as error:
                faults.add(
                    yamlfile.show_path(("links", index, side)), end, str(error), "name an end that exists",
                    *text.position(("links", index, side)),
                )  # fmt: skip
    faults.raise_if_any()
    return Saved(line, bool(found.digest) and found.digest != line.digest, found.digest)


def _loop(row: ItemRow, index: int, ids: set[str], text: yamlfile.YamlText, faults: FaultList) -> None:
    """A loop lies on a cable, in some turn, with a radius."""
    at: yamlfile.Path_ = ("items", index)
    if row.on not in ids:
        faults.add(
            yamlfile.show_path(at),
            row.on or "nothing",
            f"on: the cable that {row.id} is of",
            "name it",
            *text.position(at),
        )
    if row.straight_m and (row.exit_turn not in (0.0, 0.5) or row.pitch_m):
        got = f"exit_turn {row.exit_turn:g}, pitch_m {row.pitch_m:g} beside straight_m {row.straight_m:g}"
        faults.add(
            yamlfile.show_path(at), got, "an oval that leaves onward (0) or backwards (0.5), and no flat spiral",
            "correct exit_turn, or lay it in round turns", *text.position(at),
        )  # fmt: skip
    if not row.radius_m or not (row.turns or row.exit_turn):
        got = f"{row.turns + row.exit_turn:g} turns of {row.radius_m:g} m"
        faults.add(
            yamlfile.show_path(at), got, "turns or exit_turn, and radius_m, above 0", "say how the loop lies, or remove it",
            *text.position(at),
        )  # fmt: skip


def _repeated(group: str, ids: list[str], text: yamlfile.YamlText, faults: FaultList) -> None:
    """Ids that stand twice, ignoring case."""
    first: dict[str, int] = {}
    for index, id in enumerate(ids):
        before = first.setdefault(id.upper(), index)
        if before != index:
            at = (group, index, "id")
            faults.add(
                yamlfile.show_path(at), id, f"an id of its own ({group}[{before + 1}] has it)", "rename one of the two",
                *text.position(at),
            )  # fmt: skip


def _blame(
    text: yamlfile.YamlText,
    items: tuple[Item, ...],
    joints: tuple[Joint, ...],
    parts: dict[str, Part],
    found: LineFile,
    faults: FaultList,
) -> None:
    """Find every joint that can't be, one by one, so that each fault has its line."""
    try:
        bare = Line(found.site, items, (), parts)
    except UsageError as error:
        faults.add("items", "", str(error), "correct the item", *text.position(("items",)))
        return
    taken: dict[str, int] = {}
    for index, joint in enumerate(joints):
        try:
            bare.check_joint(joint, taken)
        except (MateError, UsageError) as error:
            faults.add(
                yamlfile.show_path(("joints", index)),
                f"{joint.a} to {joint.b}",
                str(error),
                "join two ends that mate",
                *text.position(("joints", index)),
            )


def revised(line: Line, before: Line | None) -> Line:
    """The line with its revision: unchanged content keeps it, changed content gets the next one."""
    if before is None:
        return line
    if before.digest == line.digest:
        return replace(line, revision=before.revision)
    return replace(line, revision=before.revision + 1)
