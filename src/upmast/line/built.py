"""
`built.yaml`: what was built otherwise than designed, change by change, against a named revision of the line.

Applied to the designed line it gives the line as built; the two are never mixed, and their difference is a view of its own.
"""

from __future__ import annotations

import re
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from upmast import yamlfile
from upmast.catalogue.catalogue import Catalogue
from upmast.declare import Declared, check
from upmast.errors import FaultList, MateError, UsageError
from upmast.line.line import Item, ItemId, Joint, Layer, Line, used_parts
from upmast.site.site import Id

BUILT_FILE = "built.yaml"
JOINT = re.compile(
    r"^(?P<port>[a-z]+[a-z0-9.]{0,20}) to (?P<other>nothing|[A-Z0-9-]{1,48}\.[A-Za-z0-9.-]{1,30})"
    r"(?:, keys (?P<keys>opposed|aligned)|, lanes (?P<crossed>crossed))?(?:, lane (?P<lane>[ab]))?$"
)


class Change(Declared):
    """One change on site: which item, which field, what it is now, and who says so."""

    item: ItemId = Field(description="the item that differs")
    field: Literal[
        "part",
        "length_m",
        "low_m",
        "high_m",
        "count",
        "serial",
        "on",
        "joint",
        "turns",
        "exit_turn",
        "radius_m",
        "straight_m",
        "pitch_m",
    ] = Field(description="what differs; joint: to which end one of its ports is joined")
    value: str | float | int = Field(
        description="what it is as built; of a joint `head.f1 to BX1.in.f2`, or `to nothing`, with `, keys aligned` where a plug is turned, `, lanes crossed` where the halves of a duplex plug are exchanged"
    )
    time: str = Field(
        pattern=r"^\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2})?(Z|[+-]\d{2}:\d{2})?)?$",
        description="when, e.g. 2026-05-14T15:20Z",
    )
    author: str = Field(min_length=2, max_length=80, description="who says so, by name")
    serial: str = Field("", max_length=60, description="serial number of the part, where it has one")
    note: str = Field("", max_length=400, description="why")


class BuiltFile(Declared):
    """The whole of `built.yaml`."""

    version: Literal[1] = Field(description="version of this kind of file: 1")
    site: Id = Field(description="the site")
    line_revision: int = Field(ge=1, le=100_000, description="revision of line.yaml that was built")
    changes: tuple[Change, ...] = Field((), max_length=5_000, description="what differs, oldest first")


def load(path: Path, designed: Line, catalogue: Catalogue) -> Line:
    """
    The line as built.

    Raises
    ------
    InputFaults
        If a change names no item, a part that is not known, a value of the wrong kind, or another revision of the line.
    """
    return apply(yamlfile.read(path), designed, catalogue)


def apply(text: yamlfile.YamlText, designed: Line, catalogue: Catalogue) -> Line:
    """Apply the changes of a text to the designed line. Raises InputFaults."""
    faults = FaultList(text.file)
    found = check(BuiltFile, text.data, text, (), faults)
    faults.raise_if_any()
    assert found is not None
    if found.site != designed.site:
        faults.add(
            "site",
            found.site,
            f"{designed.site}, the site of the line",
            "put the file into its own folder",
            *text.position(("site",)),
        )
    if found.line_revision != designed.revision:
        faults.add(
            "line_revision", found.line_revision, f"{designed.revision}, the revision of line.yaml", "check which revision was built",
            *text.position(("line_revision",)),
        )  # fmt: skip
    items = dict(designed.by_id)
    joints: list[tuple[int, Change]] = []
    for index, change in enumerate(found.changes):
        at = ("changes", index)
        item = items.get(change.item)
        if item is None:
            faults.add(
                yamlfile.show_path((*at, "item")),
                change.item,
                "an item of line.yaml",
                "correct the id",
                *text.position((*at, "item")),
            )
            continue
        if change.field == "joint":
            joints.append((index, change))
            continue
        value = _value(change, item, text, at, catalogue, faults)
        if value is not None:
            values: dict[str, Any] = {change.field: value}
            if change.serial and change.field != "serial":
                values["serial"] = change.serial
            items[change.item] = replace(item, **values)
    faults.raise_if_any()
    made = tuple(items[item.id] for item in designed.items)
    parts = {**{p.id: p for p in catalogue}, **dict(designed.parts)}
    for one in made:
        if one.part and one.part not in parts:
            parts[one.part] = catalogue.part(one.part)
    joined = _joined(designed, joints, text, faults)
    faults.raise_if_any()
    try:
        return replace(
            designed, items=made, joints=joined, parts={**designed.parts, **used_parts(made, parts)}, layer=Layer.BUILT
        )
    except (MateError, UsageError) as error:
        faults.add("changes", "", str(error), "record the change of the other end too", *text.position(("changes",)))
        faults.raise_if_any()
        raise


def _joined(
    designed: Line, changes: list[tuple[int, Change]], text: yamlfile.YamlText, faults: FaultList
) -> tuple[Joint, ...]:
    """The joints as built: each changed end loses what it was joined to, then the new joints are made."""
    new: dict[str, Joint] = {}  # by each of its ends; a later change goes before an earlier one
    touched: set[str] = set()
    for index, change in changes:
        place = ("changes", index, "value")
        found = JOINT.match(str(change.value))
        ends = [] if found is None else [f"{change.item}.{found['port']}"]
        if found is not None and found["other"] != "nothing":
            ends.append(found["other"])
        told = "" if found else "a port of the item, `to`, and the end that it is joined to: `head.f1 to BX1.in.f2`"
        for end in ends:
            try:
                designed.port(end)
            except UsageError as error:
                told = told or str(error)
        if told or found is None:
            faults.add(yamlfile.show_path(place), change.value, told, "correct it", *text.position(place))
            continue
        touched |= set(ends)
        for end in ends:
            gone = new.pop(end, None)
            if gone is not None:
                new.pop(gone.b if end == gone.a else gone.a, None)
        if len(ends) == 2:
            # the adapter at the far end says how the keys meet
            before = {joint.keys for _, joint in designed.joined.get(ends[1], ())}
            keys = (
                found["keys"]
                or found["crossed"]
                or (before.pop() if before in ({"opposed"}, {"aligned"}) else "opposed")
            )
            new[ends[0]] = new[ends[1]] = Joint(ends[0], ends[1], keys, found["lane"] or "")
    kept = [j for j in designed.joints if j.a not in touched and j.b not in touched]
    return (*kept, *dict.fromkeys(new.values()))


COILED = {
    "turns": (0.0, 100.0, "a whole number of turns up to 100"),
    "exit_turn": (0.0, 0.999, "a part of a turn from 0 to below 1"),
    "radius_m": (0.01, 3.0, "a radius from 0.01 to 3 m"),
    "straight_m": (0.0, 10.0, "a length from 0 to 10 m"),
    "pitch_m": (0.0, 1.0, "a growth from 0 to 1 m"),
}


def _coiled(
    change: Change, item: Item, text: yamlfile.YamlText, place: yamlfile.Path_, faults: FaultList
) -> float | int | None:
    """How a loop was laid."""
    least, most, words = COILED[change.field]
    value = change.value
    if item.kind != "loop":
        faults.add(
            yamlfile.show_path(place), value, f"a loop: {item.id} is a {item.kind}", "correct the item or the field", *text.position(place)
        )  # fmt: skip
        return None
    if isinstance(value, str) or not least <= value <= most or (change.field == "turns" and value != int(value)):
        faults.add(yamlfile.show_path(place), value, words, "correct it", *text.position(place))
        return None
    return int(value) if change.field == "turns" else float(value)


def _value(
    change: Change,
    item: Item,
    text: yamlfile.YamlText,
    at: tuple[str | int, ...],
    catalogue: Catalogue,
    faults: FaultList,
) -> object | None:
    place = (*at, "value")
    kinds = {f.name: f.type for f in fields(Item)}
    if change.field == "part":
        known = isinstance(change.value, str) and change.value in catalogue
        if not known or getattr(catalogue.part(str(change.value)), "kind", "") != item.kind:
            faults.add(
                yamlfile.show_path(place),
                change.value,
                f"a part of the catalogue that is a {item.kind}",
                "correct it, or add the part",
                *text.position(place),
            )
            return None
        return change.value
    if change.field == "length_m" and not item.span:
        faults.add(
            yamlfile.show_path(place), change.value, f"no length: {item.id} is a {item.kind}", "correct the item or the field",
            *text.position(place),
        )  # fmt: skip
        return None
    if change.field in COILED:
        return _coiled(change, item, text, place, faults)
    if "float" in str(kinds[change.field]):
        least = 0.0 if change.field == "length_m" else -50.0
        if isinstance(change.value, str) or not least < change.value <= 2000:
            faults.add(
                yamlfile.show_path(place),
                change.value,
                f"a number in m above {least:g}, at most 2000",
                "correct it",
                *text.position(place),
            )
            return None
        return float(change.value)
    if change.field == "count":
        if not isinstance(change.value, int) or not 1 <= change.value <= 10_000:
            faults.add(
                yamlfile.show_path(place), change.value, "a whole number above 0", "correct it", *text.position(place)
            )
            return None
        return change.value
    return str(change.value)[:60]
