"""A catalogue: parts by id, made from one or more files of parts, later files going before earlier ones."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from upmast import yamlfile
from upmast.catalogue.family import made, options
from upmast.catalogue.part import KINDS, Cable, CableFamily, Connector, Part
from upmast.declare import check
from upmast.digest import digest
from upmast.errors import Fault, FaultList, InputFaults, UsageError

P = TypeVar("P", bound=Part)
MOST_PARTS = 20_000


class Catalogue:
    """
    Parts by id. Never changed after it is made; `merged` gives a new one.

    A part that a family can make (`FAMILY-9x10-24f`) is found by its id too.
    """

    def __init__(self, parts: dict[str, Part], families: dict[str, CableFamily]) -> None:
        self._parts = dict(parts)
        self._families = dict(families)
        self._made: dict[str, Cable] = {}

    def __contains__(self, id: object) -> bool:
        return isinstance(id, str) and (id in self._parts or self._from_family(id) is not None)

    def __len__(self) -> int:
        return len(self._parts)

    def __iter__(self) -> Iterator[Part]:
        return iter(self._parts.values())

    @property
    def families(self) -> tuple[CableFamily, ...]:
        return tuple(self._families.values())

    def part(self, id: str) -> Part:
        """The part of that id. Raises UsageError with the nearest names."""
        found = self._parts.get(id) or self._from_family(id)
        if found is None:
            import difflib

            near = difflib.get_close_matches(id, self._parts, 3, 0.5)
            raise UsageError(f"no part {id!r} in the catalogue" + (f"; near names: {', '.join(near)}" if near else ""))
        return found

    def get(self, id: str, kind: type[P]) -> P:
        """The part of that id and kind. Raises UsageError."""
        found = self.part(id)
        if not isinstance(found, kind):
            raise UsageError(f"part {id!r} is a {getattr(found, 'kind', '?')}; a {kind.__name__.lower()} is asked here")
        return found

    def connector(self, id: str) -> Connector:
        return self.get(id, Connector)

    def of_kind(self, *kinds: str) -> tuple[Part, ...]:
        """All parts of some kinds, made-to-order ones not included."""
        return tuple(part for part in self._parts.values() if getattr(part, "kind", "") in kinds)

    def cables(self, *kinds: str) -> tuple[Cable, ...]:
        """All cables of some kinds, with every option of every family."""
        stock = [part for part in self._parts.values() if isinstance(part, Cable) and part.kind in kinds]
        for family in self._families.values():
            if family.makes in kinds:
                for pairs, area, strands in options(family):
                    stock.append(self._option(family, pairs, area, strands))
        return tuple(stock)

    def merged(self, other: Catalogue) -> Catalogue:
        """This catalogue with the parts of another laid over it: equal ids are replaced."""
        return Catalogue({**self._parts, **other._parts}, {**self._families, **other._families})

    def _option(self, family: CableFamily, pairs: int, area: float | None, strands: int) -> Cable:
        id = f"{family.id}-{pairs}x{area:g}-{strands}f" if pairs else f"{family.id}-0x0-{strands}f"
        if id not in self._made:
            self._made[id] = made(family, pairs, area, strands)
        return self._made[id]

    def _from_family(self, id: str) -> Cable | None:
        for family in self._families.values():
            if id.startswith(family.id + "-"):
                try:
                    middle, strands = id[len(family.id) + 1 :].split("-")
                    pairs, area = middle.split("x")
                    found = self._option(
                        family, int(pairs), float(area) if int(pairs) else None, int(strands.rstrip("f"))
                    )
                except (ValueError, UsageError):
                    continue
                if found.id == id:  # one spelling only: 9x10.0 is not another part
                    return found
        return None


def part_digest(part: Part) -> str:
    """
    A short digest of all values of a part: changes when any of them does.

    A field that came later counts where it is not at its default, so that a line written before it still finds its parts.
    """
    fields = type(part).model_fields
    unset = {n for n in part.later if getattr(part, n) == fields[n].get_default(call_default_factory=True)}
    return digest(part.model_dump(mode="json", exclude=unset))[:16]


def load(*paths: Path) -> Catalogue:
    """
    Read one or more catalogue files; a later file replaces parts of equal id.

    Raises
    ------
    InputFaults
        With every fault of every file.
    """
    made_: Catalogue = Catalogue({}, {})
    gathered: list[Fault] = []
    for path in paths:
        try:
            made_ = made_.merged(from_text(yamlfile.read(path)))
        except InputFaults as error:
            gathered.extend(error.faults)
    if gathered:
        raise InputFaults(gathered)
    return made_


def from_text(text: yamlfile.YamlText) -> Catalogue:
    """A catalogue from the text of one file: a mapping with the key `parts`, a list of parts. Raises InputFaults."""
    faults = FaultList(text.file)
    data = text.data
    rows = data.get("parts") if isinstance(data, dict) else None
    if not isinstance(rows, list):
        faults.add(
            "parts",
            data if not isinstance(data, dict | list) else None,
            "a list of parts under the key parts",
            "see docs/catalogue.md",
            1,
            1,
        )
        faults.raise_if_any()
    assert isinstance(data, dict)
    assert isinstance(rows, list)
    for key in data:
        if key not in ("parts", "version", "note"):
            faults.add(
                str(key), f"unknown key {key!r}", "one of parts, version, note", "remove it", *text.position((key,))
            )
    if len(rows) > MOST_PARTS:
        faults.add("parts", f"{len(rows)} parts", f"at most {MOST_PARTS}", "split the catalogue", 1, 1)
        faults.raise_if_any()
    parts: dict[str, Part] = {}
    families: dict[str, CableFamily] = {}
    for index, row in enumerate(rows):
        at = ("parts", index)
        kind = row.get("kind") if isinstance(row, dict) else None
        model = KINDS.get(kind) if isinstance(kind, str) else None
        if model is None:
            place = (*at, "kind") if isinstance(row, dict) and "kind" in row else at
            faults.add(
                yamlfile.show_path(place),
                kind,
                "kind, one of " + ", ".join(KINDS),
                "name the kind of part",
                *text.position(place),
            )
            continue
        found = check(model, row, text, at, faults)
        if found is None:
            continue
        if found.id in parts or found.id in families:
            faults.add(
                yamlfile.show_path((*at, "id")),
                found.id,
                "an id that no other part of this file has",
                "rename one of the two",
                *text.position((*at, "id")),
            )
        elif isinstance(found, CableFamily):
            families[found.id] = found
            _try_family(found, text, at, faults)
        else:
            assert isinstance(found, Part)
            parts[found.id] = found
    faults.raise_if_any()
    return Catalogue(parts, families)


def _try_family(family: CableFamily, text: yamlfile.YamlText, at: tuple[str | int, ...], faults: FaultList) -> None:
    """
    A family that can't make a part is a fault of the file, not of whoever asks for the part.

    Only the smallest and largest options are tried: mass and diameter grow with each of them.
    """
    ends = {
        name: tuple(sorted({min(values), max(values)}))
        for name in ("pairs_count", "conductor_area_mm2", "strands_count")
        if (values := getattr(family, name))
    }
    tried = list(options(family.model_copy(update=ends)))
    if not tried:
        faults.add(
            yamlfile.show_path(at),
            family.id,
            "at least one option with pairs or strands",
            "give pairs_count and strands_count",
            *text.position(at),
        )
    for option in tried:
        try:
            made(family, *option)
        except UsageError as error:
            faults.add(yamlfile.show_path(at), family.id, str(error), "mend the options", *text.position(at))
            return
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                here = (*at, "common", *detail["loc"])
                got = "nothing" if detail["type"] == "missing" else detail["input"]
                faults.add(
                    yamlfile.show_path(here),
                    "a mapping" if isinstance(got, dict) else got,
                    detail["msg"].removeprefix("Value error, ").removeprefix("expected "),
                    "mend the family or its common fields",
                    *text.position(here),
                )
            return


def standard() -> Catalogue:
    """The generic invented parts that upmast brings along."""
    folder = resources.files("upmast.catalogue").joinpath("parts")
    made_ = Catalogue({}, {})
    for entry in sorted(folder.iterdir(), key=lambda item: item.name):
        if entry.name.endswith(".yaml"):
            made_ = made_.merged(from_text(yamlfile.parse(entry.read_text("utf-8"), f"catalogue/parts/{entry.name}")))
    return made_


def check_references(catalogue: Catalogue, file: str = "catalogue") -> None:
    """Every connector that a part or family names is in the catalogue. Raises InputFaults with all that are not."""
    faults = FaultList(file)
    for part in catalogue:
        for name in ("dc_foot", "dc_head", "fibre_foot", "fibre_head", "dc_in", "dc_out", "fibre_in", "fibre_out", "foot", "head", "connector",
                     "dc_connector", "fibre_connector", "rf_connector", "control_connector", "array", "duplex"):  # fmt: skip
            wanted = getattr(part, name, None)
            if wanted is not None and not isinstance(catalogue._parts.get(wanted), Connector):
                faults.add(
                    f"{part.id}.{name}", wanted, "a connector of the catalogue", "add the connector, or correct its id"
                )
    for family in catalogue.families:
        for name in ("dc_foot", "dc_head", "fibre_foot", "fibre_head"):
            wanted = family.common.get(name)
            if wanted is not None and not isinstance(catalogue._parts.get(str(wanted)), Connector):
                faults.add(
                    f"{family.id}.common.{name}",
                    wanted,
                    "a connector of the catalogue",
                    "add the connector, or correct its id",
                )
    faults.raise_if_any()
