"""
Write the field lists and the schemas for editors from the declarations; with --check only say whether they are stale.

    docs/site-fields.md  docs/catalogue-fields.md  schema/site.schema.json  schema/catalogue.schema.json

A schema also takes each quantity in its other units (`length_ft` for `length_m`, with its bounds converted) and as a text
with a unit (`131 ft`), as the loader does.
"""

from __future__ import annotations

import argparse
import inspect
import json
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from pydantic.json_schema import models_json_schema

from upmast import units
from upmast.catalogue.catalogue import MOST_PARTS
from upmast.catalogue.part import KINDS
from upmast.declare import FieldRow, fields
from upmast.site.site import Site

ROOT = Path(__file__).resolve().parent.parent
DRAFT = "https://json-schema.org/draft/2020-12/schema"
BOUNDS = ("minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum")
NUMBER_WITH_UNIT = r"^\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*[^\s,\d].*$"
PARTS = "A catalogue file has the key `parts`: a list, each part with its `kind`."
MADE = "Made from the declarations by `make docs`: change those, not this page."


def site_schema() -> dict[str, Any]:
    """The schema of `site.yaml`. It can't know what no single value tells: ids that repeat, parts that are in no catalogue."""
    return _finished(Site.model_json_schema(), "A site: what is asked of its antenna line")


def catalogue_schema() -> dict[str, Any]:
    """The schema of a catalogue file."""
    models = list(dict.fromkeys(KINDS.values()))
    refs, together = models_json_schema([(model, "validation") for model in models])
    one_part = {"oneOf": [refs[model, "validation"] for model in models], "discriminator": {"propertyName": "kind"}}
    return _finished(
        {
            "$defs": together["$defs"],
            "type": "object",
            "additionalProperties": False,
            "required": ["parts"],
            "properties": {
                "version": {"const": 1, "description": "version of this kind of file: 1"},
                "note": {"type": "string", "description": "anything a person should know"},
                "parts": {"type": "array", "items": one_part, "maxItems": MOST_PARTS, "description": "the parts"},
            },
        },
        "A catalogue: parts of antenna lines",
    )


def _finished(schema: dict[str, Any], title: str) -> dict[str, Any]:
    for node in (schema, *schema.get("$defs", {}).values()):
        _without_titles(node)
        if "properties" in node:
            _with_other_units(node)
    text = {"type": "string", "pattern": NUMBER_WITH_UNIT, "description": "a number with its unit, e.g. 131 ft"}
    schema.setdefault("$defs", {})["number-with-unit"] = text
    return {"$schema": DRAFT, "title": title, **schema}


def _without_titles(node: Any) -> None:
    """Titles that only repeat the name of a field."""
    if isinstance(node, dict):
        for key, inner in node.items():
            if key == "properties":
                for one in inner.values():
                    one.pop("title", None)
            _without_titles(inner)
        if isinstance(node.get("title"), str):
            node.pop("title")
    elif isinstance(node, list):
        for inner in node:
            _without_titles(inner)


def _numbers(node: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The places in a field's schema where a number may stand: alone, beside null, or in a list."""
    if node.get("type") in ("number", "integer"):
        yield node
    for inner in (*node.get("anyOf", ()), *([node["items"]] if isinstance(node.get("items"), dict) else ())):
        yield from _numbers(inner)


def _with_other_units(node: dict[str, Any]) -> None:
    made: dict[str, Any] = {}
    groups: list[list[str]] = []
    for name, field in node["properties"].items():
        made[name] = field
        unit = units.unit_of(name)
        if unit is None or not any(_numbers(field)):
            continue
        text = field.get("description", "")
        keys = [name]
        for other in units.siblings(unit):
            if other is not unit:
                key = name[: len(name) - len(unit.suffix)] + other.suffix
                made[key] = _in_unit(field, unit, other)
                made[key]["description"] = f"{text} [{other.symbol or '1'}], in place of {name}"
                keys.append(key)
        if unit.symbol:
            field["description"] = f"{text} [{unit.symbol}]"
        if any(one.symbol for one in units.siblings(unit)):
            for key in keys:
                made[key] = _or_text(made[key])
        if len(keys) > 1 and name in node.get("required", ()):
            node["required"].remove(name)
            groups.append(keys)
    node["properties"] = made
    if groups:
        node["allOf"] = [{"oneOf": [{"required": [key]} for key in keys]} for keys in groups]


def _in_unit(field: dict[str, Any], have: units.Unit, want: units.Unit) -> dict[str, Any]:
    """The same field with its bounds in another unit. A default stands only at the field itself."""
    made: dict[str, Any] = json.loads(json.dumps({key: value for key, value in field.items() if key != "default"}))
    for number in _numbers(made):
        if number["type"] == "integer":
            number["type"] = "number"
        for bound in BOUNDS:
            if bound in number:
                number[bound] = float(f"{units.convert(number[bound], have.suffix, want.suffix):.12g}")
    return made


def _or_text(field: dict[str, Any]) -> dict[str, Any]:
    """A number may also be written as a text with a unit."""
    text = {"$ref": "#/$defs/number-with-unit"}
    around: dict[str, Any] = {key: field[key] for key in ("description", "default") if key in field}
    bare = {key: value for key, value in field.items() if key not in around}
    if bare.get("type") == "array":
        return {**field, "items": {"anyOf": [bare["items"], text]}}
    choices = bare.get("anyOf", [bare])
    return {**around, "anyOf": [*choices, text]}


def site_page() -> str:
    """The list of all fields of `site.yaml`."""
    rows = fields(Site)
    lines = ["# Fields of site.yaml", "", MADE, "", *_about_units()]
    for parent in dict.fromkeys(_parent(row) for row in rows):
        lines += ["", f"## {parent or 'the file itself'}", "", *_table([row for row in rows if _parent(row) == parent])]
    return "\n".join([*lines, "", *_unit_table()])


def catalogue_page() -> str:
    """The list of all fields of every kind of part."""
    lines = ["# Fields of a catalogue", "", MADE, "", PARTS, *_about_units()]
    for model in dict.fromkeys(KINDS.values()):
        names = [kind for kind, one in KINDS.items() if one is model]
        about = inspect.getdoc(model) or ""
        lines += ["", f"## {', '.join(names)}", "", about, "", *_table(fields(model))]
    return "\n".join([*lines, "", *_unit_table()])


def _parent(row: FieldRow) -> str:
    return row.place.rpartition(".")[0]


def _about_units() -> list[str]:
    return [
        "A key says its unit. Another unit of the same dimension is taken too, as a key (`length_ft: 131`) or in the value",
        "(`length_m: 131 ft`); the units are listed at the end. `must` marks what has to be given.",
    ]


def _table(rows: Iterable[FieldRow]) -> list[str]:
    lines = ["| field | unit | takes | must | default | meaning |", "|---|---|---|---|---|---|"]
    for row in rows:
        cells = (f"`{row.place}`", row.unit, row.kind, "must" if row.required else "", row.default, row.meaning)
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return lines


def _unit_table() -> list[str]:
    lines = ["## Units", "", "| dimension | keys end in | written in a value |", "|---|---|---|"]
    for dimension in dict.fromkeys(unit.dimension for unit in units.UNITS):
        same = units.siblings(units.CANONICAL[dimension])
        keys = ", ".join(f"`_{unit.suffix}`" for unit in same)
        lines.append(f"| {dimension} | {keys} | {', '.join(unit.symbol for unit in same if unit.symbol)} |")
    return [*lines, ""]


def outputs() -> dict[Path, str]:
    """Every file with the text that it must have."""
    return {
        ROOT / "docs/site-fields.md": site_page(),
        ROOT / "docs/catalogue-fields.md": catalogue_page(),
        ROOT / "schema/site.schema.json": _json(site_schema()),
        ROOT / "schema/catalogue.schema.json": _json(catalogue_schema()),
    }


def _json(data: dict[str, Any]) -> str:
    return json.dumps(data, indent=1, ensure_ascii=False) + "\n"


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Write docs and schemas from the declarations.")
    parser.add_argument("--check", action="store_true", help="write nothing; exit with 1 if a file is stale")
    asked = parser.parse_args(arguments)
    stale = [path for path, text in outputs().items() if not path.exists() or path.read_text("utf-8") != text]
    for path in stale:
        print(f"{path.relative_to(ROOT)}: {'stale: run make docs' if asked.check else 'written'}")
        if not asked.check:
            path.parent.mkdir(exist_ok=True)
            path.write_text(outputs()[path], "utf-8")
    if not stale:
        print("upmast: field lists and schemas are up to date")
    return 1 if stale and asked.check else 0


if __name__ == "__main__":
    sys.exit(main())
