"""A new `site.yaml`: complete, valid, each line with a short comment made from the declaration of its field."""

from __future__ import annotations

import math
import re
import typing
from typing import Any

from pydantic import BaseModel

from upmast import units, yamlfile
from upmast.declare import Declared, _unwrap
from upmast.errors import UsageError
from upmast.site.sheet_ids import make_id
from upmast.site.sheet_sites import SiteDraft
from upmast.site.site import ID_RULE, Site

COLUMN = 46  # where comments begin
_ID = re.compile(r"[A-HJ-NP-Z0-9]+(?:-[A-HJ-NP-Z0-9]+)*")
_HEAD = (
    "# What is asked of one antenna line. Keys carry their unit; another unit of the same kind is taken, too: length_ft: 131\n"
    "# Values are examples: put this site's own in their place before anything is judged by them.\n"
)


def template(id: str, name: str = "", draft: SiteDraft | None = None, *, schema: str = "") -> str:
    """
    The text of a `site.yaml` for a new site.

    Without a draft it has one sector with two radios on one antenna; with one, the draft's radios, sectors and antennas, and the
    example's plant, route and mast where the draft has none. `schema` is the path of the schema for editors, if there is one.

    Raises
    ------
    UsageError
        If the id is none; the message gives the nearest one.
    """
    if not _ID.fullmatch(id) or len(id) > 24:
        near = make_id(id)
        raise UsageError(f"{id!r} is no id ({ID_RULE}, at most 24)" + (f"; {near} would be one" if near else ""))
    data = _whole(id, name, draft)
    out = []
    if schema:
        if not re.fullmatch(r"[^\s\x00-\x1f]{1,200}", schema):
            raise UsageError("the path of a schema has no spaces or control characters")
        out.append(f"# yaml-language-server: $schema={schema}")
    out.append(_HEAD.rstrip("\n"))
    if draft is not None:
        out += [f"# assumed: {_plain(one)}" for one in draft.assumed]
        out += [f"# still open: {_plain(one)}" for one in draft.still_open]
    for key, value in data.items():
        if isinstance(value, dict | list):
            out.append("")
        out += _entry(Site, key, value, 0, True)
    return "\n".join(out) + "\n"


def _whole(id: str, name: str, draft: SiteDraft | None) -> dict[str, Any]:
    """The data of a whole site: the draft's, completed by the example where it has nothing."""
    own = dict(draft.data) if draft is not None else dict(_example_radios())
    heights = [float(one["height_m"]) for key in ("radios", "antennas") for one in own.get(key, ())]
    box = max(1.0, min(float(one["height_m"]) for one in own["radios"]) - 2.0)
    mast = min(600, math.ceil(max(heights)) + 2)
    box = min(box, float(mast))
    whole: dict[str, Any] = {
        "version": 1,
        "id": id,
        "name": name or str(own.get("name") or ""),
        "revision": "1",
        "author": "",
        "cabinet": {
            "height_m": 0.5,
            "tail_m": 2,
            "optic": "optic-10g-lr",
            "plant": {
                "float_v": 54,
                "on_battery_v": 50,
                "end_of_discharge_v": 44.4,
                "source_resistance_ohm": 0.004,
                "short_circuit_ka": 4,
                "breaker_positions_count": 16,
                "base_load_w": 0,
                "battery": {"capacity_ah": 300, "full_v": 50, "health_fraction": 0.8},
            },
        },
        "route": {
            "slack_m": 3,
            "legs": [
                {"name": "inside the cabinet room", "kind": "indoor", "length_m": 2, "tolerance_m": 0.2},
                {"name": "ice bridge", "kind": "bridge", "length_m": 6, "tolerance_m": 0.5},
                {"name": "up the mast", "kind": "vertical", "length_m": math.ceil(box), "tolerance_m": 1},
            ],
        },
        "mast": {
            "kind": "lattice",
            "height_m": mast,
            "box_height_m": int(box) if box.is_integer() else box,
            "face_m": 1,
        },
    }
    for key in ("sectors", "radios", "antennas"):
        if own.get(key):
            whole[key] = own[key]
    whole["climate"] = {
        "hot_c": 40, "mean_c": 15, "cold_c": -10, "sun_w_per_m2": 1000, "wind": {"basic_m_per_s": 26, "terrain": "II"}, "ice": "none", "coast": False,
    }  # fmt: skip
    whole["policy"] = {"objective": "life-cost", "spare_pairs_count": 0, "growth_strands_count": 0}
    for key, value in own.items():  # what a base brought along goes before the example
        if key not in ("version", "id", "name"):
            whole[key] = value
    return {key: value for key, value in whole.items() if value is not None}


def _example_radios() -> dict[str, Any]:
    return {
        "sectors": [{"id": "A", "azimuth_deg": 0}],
        "radios": [
            {
                "id": "A1", "sector": "A", "part": "radio-low-2t2r", "height_m": 28,
                "fibre": {"links_count": 1, "standby_count": 0}, "antenna": "A-ANT", "antenna_ports": ["R1", "R2"],
                "carriers": [{"centre_mhz": 806, "width_mhz": 10, "power_w": 40, "band": "B20"}],
            },
            {
                "id": "A2", "sector": "A", "part": "radio-mid-4t4r", "height_m": 28, "antenna": "A-ANT",
                "antenna_ports": ["Y1", "Y2", "Y3", "Y4"],
                "carriers": [{"centre_mhz": 1820, "width_mhz": 20, "power_w": 30, "band": "B3"}],
            },
        ],
        "antennas": [{"id": "A-ANT", "sector": "A", "part": "antenna-8", "height_m": 29}],
    }  # fmt: skip


def _entry(model: type[BaseModel] | None, key: str, value: Any, depth: int, comment: bool) -> list[str]:
    """The lines of one key: a value on its line, a mapping or a list of mappings below it."""
    pad = "  " * depth
    inner = _inner(model, key)
    said = _comment(model, key) if comment else ""
    if isinstance(value, dict) and value:
        out = [_line(f"{pad}{key}:", said)]
        for name, one in value.items():
            out += _entry(inner, name, one, depth + 1, comment)
        return out
    if isinstance(value, list | tuple) and value and all(isinstance(one, dict) and one for one in value):
        out = [_line(f"{pad}{key}:", said)]
        for at, item in enumerate(value):
            lines: list[str] = []
            for name, one in item.items():
                lines += _entry(inner, name, one, depth + 2, comment and at == 0)
            lines[0] = f"{pad}  - " + lines[0][len(pad) + 4 :]
            out += lines
        return out
    return [_line(f"{pad}{key}: {_scalar(value)}", said)]


def _scalar(value: Any) -> str:
    """A value on one line, quoted wherever it would not be read as the same value."""
    return yamlfile.flow([list(value) if isinstance(value, tuple) else value])[1:-1]


def _line(text: str, comment: str) -> str:
    return f"{text.ljust(COLUMN)}  # {comment}" if comment else text


def _inner(model: type[BaseModel] | None, key: str) -> type[BaseModel] | None:
    """The declaration of what stands under a key."""
    field = model.model_fields.get(key) if model is not None else None
    if field is None:
        return None
    for one in _unwrap(field.annotation):
        for part in (one, *typing.get_args(one)):
            for found in _unwrap(part):
                if isinstance(found, type) and issubclass(found, BaseModel):
                    return found
    return None


def _comment(model: type[BaseModel] | None, key: str) -> str:
    if model is None:
        return ""
    name = key
    if key not in model.model_fields and issubclass(model, Declared):
        name = model.field_for(key) or key
    field = model.model_fields.get(name)
    if field is None:
        return ""
    unit = units.unit_of(key)
    words = (field.description or "").partition(";")[0].replace(f" ({ID_RULE})", "")
    return _plain(f"{unit.symbol}: {words}" if unit is not None and unit.symbol else words)


def _plain(text: str) -> str:
    """A text for a comment: one line, nothing that could end it."""
    return "".join(ch if ch.isprintable() else " " for ch in text)[:240]
