"""One declaration: loader, error text, schema for editors and list of fields say the same."""

from __future__ import annotations

import importlib.util
import json
import re
import typing
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from pydantic import BaseModel

from upmast import units, yamlfile
from upmast.catalogue import catalogue
from upmast.catalogue.part import KINDS
from upmast.declare import Declared, _is_number, _unwrap, check, fields, load
from upmast.errors import FaultList, InputFaults
from upmast.site.site import Site

ROOT = Path(__file__).parent.parent
_spec = importlib.util.spec_from_file_location("declarations", ROOT / "scripts" / "declarations.py")
assert _spec is not None
assert _spec.loader is not None
declarations = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(declarations)


def _reached(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    """A model and every model inside it."""
    yield model
    for field in model.model_fields.values():
        for one in _unwrap(field.annotation):
            for part in (one, *typing.get_args(one)):
                for inner in _unwrap(part):
                    if isinstance(inner, type) and issubclass(inner, BaseModel):
                        yield from _reached(inner)


PARTS = tuple(dict.fromkeys(one for kind in KINDS.values() for one in _reached(kind)))
SITES = tuple(dict.fromkeys(_reached(Site)))
MODELS: tuple[Any, ...] = (*PARTS, *SITES)
SCHEMAS: dict[str, dict[str, Any]] = {"site": declarations.site_schema(), "catalogue": declarations.catalogue_schema()}
CATALOGUES = sorted(
    [
        *ROOT.glob("src/upmast/catalogue/parts/*.yaml"),
        *ROOT.glob("demo/**/catalogue*/*.yaml"),
        *ROOT.glob("demo/**/catalogue.yaml"),
    ]
)
SITE_FILES = sorted(
    [*ROOT.glob("demo/**/site.yaml"), *ROOT.glob("examples/**/site.yaml"), *ROOT.glob("tests/sites/**/site.yaml")]
)

SMALL_SITE = """\
version: 1
id: S1
cabinet:
  plant: {float_v: 54, on_battery_v: 50 V, end_of_discharge_v: 43.2, source_resistance_ohm: 4 mohm}
route:
  legs:
    - {name: entry, kind: indoor, length_ft: 10}
    - {name: climb, kind: vertical, length_m: 138 ft, tolerance_ft: 2}
mast: {kind: lattice, height_ft: 150, face_m: 900 mm}
sectors: [{id: A, azimuth_deg: 120}]
radios:
  - id: A1
    sector: A
    part: radio-a
    height_m: 42
    carriers: [{centre_mhz: 1842.5, width_mhz: 20, power_w: 40}]
climate: {hot_f: 104, mean_c: 15, cold_c: -10 °C}
policy: {discount_percent: 6}
"""


def _outside_demo_output(paths: list[Path]) -> list[Path]:
    return [path for path in paths if "out" not in path.relative_to(ROOT).parts]


def _schema_of(model: type[BaseModel]) -> dict[str, Any]:
    root = SCHEMAS["catalogue" if model in PARTS else "site"]
    node: dict[str, Any] = root if model is Site else root["$defs"][model.__name__]
    return node


def _objections(schema: str, data: object) -> list[str]:
    return [
        f"{'.'.join(map(str, e.absolute_path))}: {e.message[:300]}"
        for e in Draft202012Validator(SCHEMAS[schema]).iter_errors(data)
    ]


def test_docs_and_schemas_are_fresh() -> None:
    assert declarations.main(["--check"]) == 0, "run make docs"


def test_a_stale_file_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(declarations, "ROOT", tmp_path)
    assert declarations.main(["--check"]) == 1
    assert capsys.readouterr().out.count("stale: run make docs") == 4
    assert list(tmp_path.iterdir()) == []
    assert declarations.main([]) == 0
    assert declarations.main(["--check"]) == 0
    (tmp_path / "docs" / "site-fields.md").write_text("changed by hand")
    assert declarations.main(["--check"]) == 1


@pytest.mark.parametrize("name", list(SCHEMAS))
def test_the_schema_is_a_schema(name: str) -> None:
    Draft202012Validator.check_schema(SCHEMAS[name])


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_field_and_every_model_says_what_it_means(model: type[Declared]) -> None:
    assert model.__doc__
    for name, field in model.model_fields.items():
        assert field.description, f"{model.__name__}.{name} has no description"
        assert not field.description.endswith("."), f"{model.__name__}.{name}: a phrase, without a full stop"


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_schema_and_declaration_have_the_same_fields(model: type[Declared]) -> None:
    schema = _schema_of(model)
    assert schema["additionalProperties"] is False
    assert {name for name in schema["properties"] if name in model.model_fields} == set(model.model_fields)
    for key, field in schema["properties"].items():
        meant = key if key in model.model_fields else model.field_for(key)
        assert meant in model.model_fields, f"the schema offers {key}, which the loader refuses"
        assert str(model.model_fields[meant].description) in field["description"]


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_the_schema_offers_every_unit_that_the_loader_takes(model: type[Declared]) -> None:
    offered = set(_schema_of(model)["properties"])
    for name, field in model.model_fields.items():
        unit = units.unit_of(name)
        if unit is not None and _is_number(field.annotation):
            stem = name[: len(name) - len(unit.suffix)]
            assert {stem + other.suffix for other in units.siblings(unit)} <= offered


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_bounds_are_the_same_in_every_unit(model: type[Declared]) -> None:
    for key, field in _schema_of(model)["properties"].items():
        if key in model.model_fields or "number" not in json.dumps(field):
            continue
        name = model.field_for(key)
        assert name is not None
        have, want = units.unit_of(name), units.unit_of(key)
        assert have is not None
        assert want is not None
        for mine, theirs in zip(
            declarations._numbers(field), declarations._numbers(_schema_of(model)["properties"][name]), strict=True
        ):
            assert set(mine) == set(theirs)
            for bound in set(mine) & set(declarations.BOUNDS):
                assert units.convert(mine[bound], want.suffix, have.suffix) == pytest.approx(
                    theirs[bound], rel=1e-9, abs=1e-9
                )


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_an_empty_mapping_is_told_every_field_that_it_must_have(model: type[Declared]) -> None:
    faults = FaultList("f.yaml")
    made = check(model, {}, yamlfile.parse("{}", "f.yaml"), (), faults)
    must = {name: str(field.description) for name, field in model.model_fields.items() if field.is_required()}
    told = {fault.place: fault.expected for fault in faults}
    assert set(told) - {""} == set(must)
    for name, meaning in must.items():
        assert told[name].startswith(f"{name}: {meaning[:100]}")
    assert (made is None) == bool(told)


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_an_unknown_key_is_told_the_names_that_are_known(model: type[Declared]) -> None:
    faults = FaultList("f.yaml")
    check(model, {"zzz": 1}, yamlfile.parse("zzz: 1", "f.yaml"), (), faults)
    (told,) = [fault for fault in faults if fault.place == "zzz"]
    assert told.expected == "one of " + ", ".join(model.model_fields)


def _rows_of(page: str) -> list[list[str]]:
    cells = [
        re.split(r"(?<!\\)\|", line)[1:-1]
        for line in (ROOT / "docs" / page).read_text("utf-8").splitlines()
        if line.startswith("| `")
    ]
    return [[cell.strip().replace("\\|", "|") for cell in row] for row in cells]


def test_the_pages_list_every_field_once() -> None:
    assert sorted(row[0].strip("`") for row in _rows_of("site-fields.md")) == sorted(row.place for row in fields(Site))
    wanted = [row.place for kind in dict.fromkeys(KINDS.values()) for row in fields(kind)]
    assert [row[0].strip("`") for row in _rows_of("catalogue-fields.md")] == wanted


def test_every_field_of_the_pages_is_in_the_schema() -> None:
    for page, schema in (("site-fields.md", "site"), ("catalogue-fields.md", "catalogue")):
        known = {
            key for node in (SCHEMAS[schema], *SCHEMAS[schema]["$defs"].values()) for key in node.get("properties", ())
        }
        for row in _rows_of(page):
            name = row[0].strip("`").rpartition(".")[2]
            assert name in known
            assert row[5], f"{page}: {name} has no meaning"


def test_the_schema_takes_a_small_site_in_mixed_units_as_the_loader_does() -> None:
    text = yamlfile.parse(SMALL_SITE)
    site = load(Site, text)
    assert site.route.legs[0].length_m == pytest.approx(3.048)
    assert site.route.legs[1].length_m == pytest.approx(42.0624)
    assert site.climate.hot_c == pytest.approx(40)
    assert site.policy.discount_fraction == pytest.approx(0.06)
    assert _objections("site", text.data) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("version: 1", "version: 2"), ("id: S1", "id: s1"), ("length_ft: 10", "length_ft: -10"), ("length_ft: 10", "length_ft: 7000"),
        ("length_ft: 10", "length_ft: 10, length_m: 3"), ("length_ft: 10", "lenght_ft: 10"), (", length_ft: 10", ""),
        ("length_ft: 10", "length_ft: ten"),
        ("kind: lattice", "kind: tower"), ("hot_f: 104", "hot_f: 150"), ("discount_percent: 6", "discount_percent: 60"), ("float_v: 54, ", ""),
        ("length_ft: 10", "length_kg: 10"), ("azimuth_deg: 120", "azimuth_deg: 360"),
    ],
)  # fmt: skip
def test_schema_and_loader_refuse_the_same(old: str, new: str) -> None:
    assert SMALL_SITE.count(old) == 1
    text = yamlfile.parse(SMALL_SITE.replace(old, new))
    with pytest.raises(InputFaults):
        load(Site, text)
    assert _objections("site", text.data)


@pytest.mark.parametrize("path", _outside_demo_output(CATALOGUES), ids=lambda path: path.stem)
def test_our_catalogue_files_are_taken_by_loader_and_schema(path: Path) -> None:
    text = yamlfile.read(path)
    assert len(catalogue.from_text(text)) + len(catalogue.from_text(text).families) > 0
    assert _objections("catalogue", text.data) == []


def test_our_site_files_are_taken_by_loader_and_schema() -> None:
    for path in _outside_demo_output(SITE_FILES):
        text = yamlfile.read(path)
        load(Site, text)
        assert _objections("site", text.data) == [], path
