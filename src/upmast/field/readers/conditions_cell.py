"""
One cell for the conditions of a reading, as the test plan has it: `35 °C`, `500 V; 35 °C`, `2 x 20 W; 1930 MHz, 1990 MHz`, `on battery`.

Each number says by its unit what it is. Words are kept as a remark.
"""

from __future__ import annotations

import re

from upmast.errors import shorten
from upmast.field.readers.cell_value import Unread, comma_or_point, looks_like_number, read_value
from upmast.field.readers.reading import Condition
from upmast.field.readers.values_conditions import NAMES, in_unit
from upmast.site.sheet_read import Cell

ROLE = "conditions"
MOST_CELL = 300  # characters of a cell that are read
_ONE = re.compile(
    r"(?<![\w.,])([-+−–]?[0-9]{1,9}(?:[.,][0-9]{1,6})?)\s*(°\s?[CF]|℃|deg\.?\s?C|C|V|kV|dBm|W|GHz|MHz|A)(?:\s?(?i:d\.?c\.?))?(?![\w°])"
)
_LEFT = re.compile(r"[0-9]\s*(?:k?v(?:olts?|dc|ac)?|dbm|w(?:atts?)?|°\w?|deg\w*|[kmg]hz|amps?)(?!\w)")
_ROLES = {"°c": "temperature", "°f": "temperature", "v": "test-voltage", "kv": "test-voltage", "a": "load-current"}
_NUMBERED = {"dbm": ("carrier-1", "carrier-2"), "w": ("carrier-1", "carrier-2"), "mhz": ("tone-1", "tone-2", "product"), "ghz": ("tone-1", "tone-2", "product")}  # fmt: skip


def conditions_cell(cell: Cell, decimal: str) -> dict[str, Condition]:
    """
    The conditions that a cell says by units, and its words as a remark. Raises Unread for a number without a unit, or two of one thing.

    >>> from upmast.site.sheet_read import text_cell
    >>> conditions_cell(text_cell("cable 35 °C; 500 V"), ".")["temperature_c"]
    35.0
    """
    text = shorten(cell.text, MOST_CELL)
    if cell.kind == "number" or looks_like_number(text):
        raise Unread("a condition with its unit", "write the unit behind it, as `35 °C` or `500 V`")
    out: dict[str, Condition] = {"remark": shorten(text, 200)}
    if _LEFT.search(_ONE.sub(" ", text).casefold()):
        raise Unread("conditions with their units: °C, V, dBm, W, MHz, A", "write each as `35 °C` or `500 V`")
    several: dict[tuple[str, ...], list[float]] = {}
    for written, unit in _ONE.findall(text):
        read = read_value(written, comma_or_point(written) or decimal)
        plain = "°C" if unit == "℃" or unit.casefold().rstrip().endswith("c") else unit.replace(" ", "")
        key = plain.casefold()
        roles = _NUMBERED.get(key, (_ROLES[key],) if key in _ROLES else ())
        if read.number is None or not roles:
            continue
        several.setdefault(roles, []).append(in_unit(read.number, plain, roles[0], ""))
    for roles, values in several.items():
        if len(roles) == 1 or len(values) == 1:
            if len(set(values)) > 1:
                raise Unread("one value of each condition", "write only the one that was used")
            # one power is that of both carriers; one frequency alone does not say whose it is
            values = values[:1] if len(roles) == 1 else values[:1] * 2 if roles[0].startswith("carrier") else []
        if len(values) > len(roles):
            raise Unread(f"at most {len(roles)} of this unit", "write only those that were used")
        out |= {NAMES[role]: value for role, value in zip(roles, values, strict=False)}
    return out


__all__ = ["ROLE", "conditions_cell"]
