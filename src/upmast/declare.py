"""
One declaration of what people write, read by loader, error text, schema and docs alike.

A declared model is a frozen pydantic model. A field with a unit in its name also takes another unit of the same dimension, as
a key (`height_ft: 138`) or in the value (`height_m: 138 ft`). Every field has a description.
"""

from __future__ import annotations

import difflib
import re
import types
import typing
from collections.abc import Iterator
from functools import lru_cache
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError, ValidationInfo, field_validator, model_validator
from pydantic_core import ErrorDetails

from upmast import units
from upmast.errors import FaultList, shorten
from upmast.yamlfile import YamlText, show_path

M = TypeVar("M", bound="Declared")
MOST_SHOWN = 8  # keys of a mapping that an error quotes


class Declared(BaseModel):
    """Base of everything that people write in files."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, validate_default=False, ser_json_inf_nan="null", allow_inf_nan=False
    )

    @model_validator(mode="before")
    @classmethod
    def _other_units(cls, data: Any) -> Any:
        """Keys in another unit become the field they mean."""
        if not isinstance(data, dict):
            return data
        known = cls.model_fields
        strange = [key for key in data if key not in known and isinstance(key, str)]
        if not strange:
            return data
        out = dict(data)
        for key in strange:
            field = cls.field_for(key)
            if field is not None and field not in out:
                out[field] = _converted(out.pop(key), key)
        return out

    @field_validator("*", mode="before")
    @classmethod
    def _text_with_unit(cls, value: Any, info: ValidationInfo) -> Any:
        """A text such as `138 ft` in a field that has a unit."""
        name = info.field_name
        annotation: Any = cls.model_fields[name].annotation if name is not None else None
        if name is None or not _is_number(annotation):
            return value
        if isinstance(value, bool) and not _takes(bool, annotation):
            raise ValueError("expected a number")
        if units.unit_of(name) is None:
            return value
        if isinstance(value, list | tuple):
            return [_item(one, name, at) if isinstance(one, str) else one for at, one in enumerate(value, 1)]
        return units.to_canonical(value, name) if isinstance(value, str) else value

    @classmethod
    def field_for(cls, key: str) -> str | None:
        """The field that a key in another unit of the same dimension means, or None."""
        unit = units.unit_of(key)
        if unit is None:
            return None
        stem = key[: len(key) - len(unit.suffix)]
        for other in units.siblings(unit):
            if stem + other.suffix in cls.model_fields:
                return stem + other.suffix
        return None


def _converted(value: Any, key: str) -> Any:
    """A value, or each of a list, in the canonical unit; what can't be converted stays for the field's own check to refuse."""
    if isinstance(value, list | tuple):
        return [_converted(one, key) for one in value]
    try:
        return units.to_canonical(value, key)
    except ValueError:
        return value


def _item(value: str, name: str, at: int) -> float:
    try:
        return units.to_canonical(value, name)
    except ValueError as error:
        raise ValueError(f"{error} (item {at}, {shorten(value)!r})") from None


@lru_cache(maxsize=4096)
def _takes(kind: type, annotation: Any) -> bool:
    """True if a value of that kind may stand in a field, alone or in a list."""
    parts = [one for part in _unwrap(annotation) for one in (typing.get_args(part) or (part,))]
    return any(kind is one for part in parts for one in _unwrap(part))


def _is_number(annotation: Any) -> bool:
    return _takes(float, annotation) or _takes(int, annotation)


def load(model: type[M], text: YamlText) -> M:
    """
    Check the data of a file against a declaration.

    Raises
    ------
    InputFaults
        With every fault at once, each with line, place, what was got, what was expected and what to do.
    """
    faults = FaultList(text.file)
    made = check(model, text.data, text, (), faults)
    faults.raise_if_any()
    assert made is not None
    return made


def check(model: type[M], data: Any, text: YamlText, at: tuple[str | int, ...], faults: FaultList) -> M | None:
    """Like `load` for data that stands at a place of a file; faults are gathered."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            _fault(model, detail, text, at, faults)
    return None


def _fault(
    model: type[BaseModel], detail: ErrorDetails, text: YamlText, at: tuple[str | int, ...], faults: FaultList
) -> None:
    kind, context = detail["type"], detail.get("ctx", {})
    if (
        kind == "too_short"
        and isinstance(detail["input"], list | tuple)
        and len(detail["input"]) >= context.get("min_length", 0)
    ):
        return  # its items are at fault, and each is told
    loc = tuple(step for step in detail["loc"] if not _is_branch(step, text, at))
    owner = _model_at(model, loc[:-1]) or model
    path = at + loc
    key = str(loc[-1]) if loc else ""
    if key and not text.knows(path):
        path = (*path[:-1], _written_as(owner, key, text, path[:-1]))
    line, column = text.position(path)
    got: Any = _as_written(text, path, detail["input"])
    remedy = ""
    if kind == "extra_forbidden":
        got, expected, remedy = f"unknown key {key!r}", *_about_unknown(owner, key)
    elif kind == "missing":
        got = "nothing"
        expected = f"{key}: {_description(owner, key)}"
        remedy = f"add {key}"
        path = (*at, *loc)
    elif kind in ("value_error", "assertion_error"):
        expected = str(detail["msg"]).removeprefix("Value error, ")
        expected, _, remedy = expected.partition(" | ")
        remedy = remedy or _hint(owner, key)
        expected = expected.removeprefix("expected ")
    elif kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        expected = str(detail["msg"]).removeprefix("Input should be ")
        unit = units.unit_of(key)
        expected += f" {unit.symbol}" if unit and unit.symbol else ""
        remedy = _in_range(key, got) + _hint(owner, key)
    elif kind in ("literal_error", "enum", "union_tag_invalid"):
        expected = str(context.get("expected") or context.get("expected_tags") or detail["msg"])
        near = difflib.get_close_matches(str(got), [w.strip(" '") for w in expected.replace(" or ", ",").split(",")], 1)
        expected = "one of " + expected
        remedy = f"did you mean {near[0]!r}?" if near else "take one of them"
    else:
        expected = str(detail["msg"]).removeprefix("Input should be ")
        expected = _SHOULD.sub(lambda match: _MEANT.get(match.group(), ""), expected)
        remedy = _hint(owner, key)
    if isinstance(got, dict | list | tuple):
        got = _shown(got, kind == "value_error")
    elif got is None:
        got = "nothing"
    faults.add(show_path(path), got, expected, remedy, line, column)


def _shown(got: dict[Any, Any] | list[Any] | tuple[Any, ...], quoted: bool) -> str:
    """A mapping with the plain values in it where the fault lies between two of them; else only what it is."""
    if not isinstance(got, dict):
        return "a list"
    plain = all(isinstance(v, str | int | float | bool | None) for v in got.values())
    if not quoted or not 0 < len(got) <= MOST_SHOWN or not plain:
        return "a mapping"
    return shorten(", ".join(f"{key}: {value}" for key, value in got.items()), 120)


# the checker's own words for what is asked, and ours
_MEANT = {
    "a valid string": "text", "a valid number": "a number", "a valid integer": "a whole number", "a valid boolean": "true or false",
    "a valid dictionary": "a mapping", "a valid list": "a list", "a valid tuple": "a list", "String should match pattern": "text of the pattern",
    "String should have": "text of", "Tuple should have": "a list of", "List should have": "a list of", "Dictionary should have": "a mapping of",
}  # fmt: skip
_SHOULD = re.compile(
    "|".join(map(re.escape, sorted(_MEANT, key=len, reverse=True)))
    + r"| or instance of \w+|, unable to [a-z ]+|, got a number with [a-z ]+| after validation, not \d+"
)


def _is_branch(step: str | int, text: YamlText, at: tuple[str | int, ...]) -> bool:
    """Union branches put their tag into the location; it stands in no file."""
    return isinstance(step, str) and (step.startswith("function-") or "[" in step)


def _written_as(owner: type[BaseModel], key: str, text: YamlText, parent: tuple[str | int, ...]) -> str:
    unit = units.unit_of(key)
    if unit is not None:
        stem = key[: len(key) - len(unit.suffix)]
        for other in units.siblings(unit):
            if text.knows((*parent, stem + other.suffix)):
                return stem + other.suffix
    return key


def _as_written(text: YamlText, path: tuple[str | int, ...], value: Any) -> Any:
    """The value as it stands in the file, before it was converted."""
    if not text.knows(path):
        return value
    data = text.data
    for step in path:
        data = data[step]
    return data


def _about_unknown(owner: type[BaseModel], key: str) -> tuple[str, str]:
    names = list(owner.model_fields)
    unit = units.unit_of(key)
    if unit is not None:
        stem = key[: len(key) - len(unit.suffix)]
        for name in names:
            have = units.unit_of(name)
            if have is not None and name[: len(name) - len(have.suffix)] == stem:
                allowed = ", ".join(stem + u.suffix for u in units.siblings(have))
                return f"{have.dimension}, as one of {allowed}", f"write {name} in {have.symbol}"
    if key.strip().isdigit():  # `{length_m: 8,5}`: YAML ends the value at the comma
        return "a decimal point, not a comma", "write the number before it with a point"
    near = difflib.get_close_matches(key, names, 1, 0.6)
    return "one of " + ", ".join(names), f"did you mean {near[0]!r}?" if near else "remove or rename the key"


def _in_range(key: str, got: Any) -> str:
    """What to do about a number outside its range, before what the key is."""
    percent = key.endswith("_fraction") and isinstance(got, int | float) and 1 < got <= 100
    return f"write {got / 100:g} if that is a percentage; " if percent else "correct the value; "


def _hint(owner: type[BaseModel], key: str) -> str:
    text = _description(owner, key)
    return f"{key} is: {text}" if text else ""


def _description(owner: type[BaseModel], key: str) -> str:
    field = owner.model_fields.get(key)
    return shorten(field.description, 160) if field is not None and field.description else ""


def _model_at(model: type[BaseModel], loc: tuple[str | int, ...]) -> type[BaseModel] | None:
    """The declared model that stands at a location."""
    here: list[Any] = [model]
    for step in loc:
        following: list[Any] = []
        for one in here:
            if isinstance(one, type) and issubclass(one, BaseModel):
                if isinstance(step, str) and step in one.model_fields:
                    following.append(one.model_fields[step].annotation)
            else:
                origin = typing.get_origin(one)
                if origin in (list, tuple) and isinstance(step, int):
                    following.append(typing.get_args(one)[0])
                elif origin is dict:
                    following.append(typing.get_args(one)[1])
        here = [inner for one in following for inner in _unwrap(one)]
    models = [one for one in here if isinstance(one, type) and issubclass(one, BaseModel)]
    return models[0] if models else None


def _unwrap(annotation: Any) -> Iterator[Any]:
    origin = typing.get_origin(annotation)
    if origin in (typing.Union, types.UnionType):
        for part in typing.get_args(annotation):
            yield from _unwrap(part)
    elif origin is typing.Annotated:
        yield from _unwrap(typing.get_args(annotation)[0])
    elif annotation is not type(None):
        yield annotation


class FieldRow(typing.NamedTuple):
    """One row of the field list: where it stands, its unit, whether it must be given, its default, what it means."""

    place: str
    unit: str
    kind: str
    required: bool
    default: str
    meaning: str


def fields(model: type[BaseModel], prefix: str = "") -> list[FieldRow]:
    """Every field of a declaration, nested ones after their parent, in the order of the declaration."""
    rows: list[FieldRow] = []
    for name, field in model.model_fields.items():
        unit = units.unit_of(name)
        place = f"{prefix}{name}"
        default = "" if field.is_required() else _as_text(field.get_default(call_default_factory=True))
        rows.append(
            FieldRow(
                place,
                unit.symbol if unit else "",
                _kind(field.annotation),
                field.is_required(),
                "" if len(default) > 60 else default,
                field.description or "",
            )
        )
        for one in _unwrap(field.annotation):
            inner = typing.get_args(one)[-1] if typing.get_origin(one) is dict else one
            many = typing.get_origin(one) in (list, tuple)
            inner = typing.get_args(one)[0] if many else inner
            for model_ in _unwrap(inner):
                if isinstance(model_, type) and issubclass(model_, BaseModel):
                    rows.extend(fields(model_, f"{place}[]." if many else f"{place}."))
    return rows


def _as_text(default: Any) -> str:
    """A default as it would be written in a file; nothing for an empty one."""
    if isinstance(default, bool):
        return str(default).lower()
    if isinstance(default, tuple | list):
        return ", ".join(map(_as_text, default))
    return "" if default is None or default == {} else str(default)


def _kind(annotation: Any) -> str:
    names = []
    for one in _unwrap(annotation):
        origin = typing.get_origin(one)
        if origin is typing.Literal:
            names.append(" | ".join(str(a) for a in typing.get_args(one)))
        elif origin in (list, tuple):
            names.append("list")
        elif origin is dict or (isinstance(one, type) and issubclass(one, BaseModel)):
            names.append("mapping")
        elif isinstance(one, type):
            names.append(
                {"str": "text", "float": "number", "int": "whole number", "bool": "true | false"}.get(
                    one.__name__, one.__name__
                )
            )
    return " or ".join(dict.fromkeys(names))
