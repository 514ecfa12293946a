"""
What a cell says, for one field: a number with its unit, a count, a name, a list of ports.

A decimal comma is taken where the list shows that it is one, and is shown; what can be read in two ways is asked, not guessed.
"""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from upmast import units
from upmast.site.sheet_fields import Rule, canonical_symbol, fits, unit_symbol
from upmast.site.sheet_read import Cell
from upmast.site.site import Antenna, Carrier, Links, Radio, Sector

NOTHING = frozenset({"", "-", "--", "–", "—", "n/a", "na", "n.a.", "none", "nil", "not applicable", "."})
OPEN = frozenset(
    {"tbc", "tbd", "?", "??", "???", "to be confirmed", "to be defined", "t.b.c.", "t.b.d.", "unknown", "pending"}
)
_NUMBER = re.compile(r"([+\-−–]?)\s*(\d[\d.,\s'’]*)\s*(\D.*)?\Z", re.DOTALL)
_COMMA = re.compile(r"[+\-−]?\d+,(?:\d{1,2}|\d{4,})(?!\d)|[+\-−]?\d{1,3}(?:\.\d{3})+,\d+")
_POINT = re.compile(r"[+\-−]?\d+\.(?:\d{1,2}|\d{4,})(?!\d)|[+\-−]?\d{1,3}(?:,\d{3})+\.\d+")


class Unread(Exception):
    """The cell can't be read as asked: what was expected, and what to do."""

    def __init__(self, expected: str, remedy: str) -> None:
        super().__init__(expected)
        self.expected, self.remedy = expected, remedy


@dataclass(frozen=True, slots=True)
class Value:
    """What was read: the value in the canonical unit (or a name, a tuple of ports), and how it is shown."""

    value: Any
    shown: str


def decimal_of(cells: Iterable[Cell]) -> str:
    """The decimal sign that the texts of a list show beyond doubt: `,` or `.`; '' for neither, `both` for a mixture."""
    comma = point = False
    for cell in cells:
        if cell.kind == "text" and len(cell.text) <= 40:
            comma = comma or _COMMA.match(cell.text) is not None
            point = point or _POINT.match(cell.text) is not None
    return "both" if comma and point else "," if comma else "." if point else ""


def plain_number(text: str, decimal: str) -> float:
    """A number as people write it. Raises Unread where it can be read in two ways."""
    digits = re.sub(r"[\s'’]", "", text).rstrip(".,")
    if digits.count(",") and digits.count("."):
        last = max(digits.rfind(","), digits.rfind("."))
        other = "." if digits[last] == "," else ","
        whole, part = digits[:last], digits[last + 1 :]
        if digits[last] in whole or not re.fullmatch(rf"\d{{1,3}}(?:{re.escape(other)}\d{{3}})+", whole):
            raise Unread("a number", "write it without thousands signs")
        return float(whole.replace(other, "") + "." + part)
    sign = "," if "," in digits else "." if "." in digits else ""
    if not sign:
        return float(digits)
    groups = digits.split(sign)
    if len(groups) > 2:
        if not re.fullmatch(rf"\d{{1,3}}(?:{re.escape(sign)}\d{{3}})+", digits):
            raise Unread("a number", "write it without thousands signs")
        return float("".join(groups))
    alike = len(groups[1]) == 3 and 1 <= len(groups[0]) <= 3 and groups[0] != "0"
    if alike and decimal not in (",", "."):
        if sign == "." and decimal == "":
            return float(digits)  # no comma anywhere: a point is the decimal point
        whole, part = "".join(groups), ".".join(groups)
        raise Unread(
            f"one meaning: it can be {whole} or {part}", f"write {whole} or {part}, or say the decimal sign of the list"
        )
    if alike and sign != decimal:
        if decimal == ".":  # 1,100 where points are decimal
            return float("".join(groups))
        whole, part = "".join(groups), ".".join(groups)
        raise Unread(f"one meaning: it can be {whole} or {part}", f"write {whole} or {part}")
    return float(".".join(groups))


def nothing(cell: Cell) -> bool:
    """True for a cell that says that there is nothing to say."""
    return cell.blank or (cell.kind == "text" and cell.text.lower() in NOTHING)


def refuse_states(cell: Cell, meaning: str) -> None:
    """Raise Unread for a cell that holds no value at all: an error, a formula without one, an open question."""
    if cell.kind == "error":
        raise Unread(meaning, "mend the formula of this cell")
    if cell.kind == "uncalculated":
        raise Unread(
            f"{meaning}; no value is stored with the formula", "open and save the file in a spreadsheet program"
        )
    if cell.kind == "text" and cell.text.lower() in OPEN:
        raise Unread(f"{meaning}; the list leaves it open", "ask for the value")


def quantity(cell: Cell, rule: Rule, unit: str, decimal: str) -> Value:
    """A number in the unit of the field. The unit of the cell goes before that of the header. Raises Unread."""
    meaning = rule.meaning
    refuse_states(cell, meaning)
    if cell.kind in ("date", "truth"):
        raise Unread(
            f"{meaning}, a number",
            "a date stands here: write the number as text" if cell.kind == "date" else "write the number",
        )
    said = ""
    if cell.number is not None:
        number = cell.number
    else:
        match = _NUMBER.fullmatch(cell.text)
        if match is None:
            raise Unread(f"{meaning}, one number with or without a unit", "write one number")
        sign, digits, said = match.group(1), match.group(2), (match.group(3) or "").strip()
        if said and not unit_symbol(said):
            raise Unread(
                f"{meaning}, one number in {canonical_symbol(rule)}", f"write the number alone, without {said[:20]!r}"
            )
        number = plain_number(digits, decimal)
        number = -number if sign in ("-", "−", "–") else number
    symbol = unit_symbol(said) or unit or unit_symbol(rule.assumed)
    if not fits(symbol, rule):
        raise Unread(f"{meaning}, in {canonical_symbol(rule)} or another unit of it", f"{symbol} does not measure that")
    value = to_canonical(number, symbol, rule)
    if rule.name == "minimum_v":
        value = abs(value)  # -40.5 V against the return bar
    problem = out_of_bounds(rule.name, value)
    if problem:
        raise Unread(f"{meaning}, {problem} {canonical_symbol(rule)}".rstrip(), "correct the value or its unit")
    usual = "MHz" if canonical_symbol(rule) == "Hz" else canonical_symbol(rule)
    shown = f"{value / 1e6 if usual == 'MHz' else value:.7g} {usual}".rstrip()
    comma = cell.kind == "text" and "," in cell.text
    changed = symbol != usual or comma or number < 0 < value
    return Value(value, f"{cell.text} {'' if said else symbol}".rstrip() + f" = {shown}" if changed else shown)


def to_canonical(number: float, symbol: str, rule: Rule) -> float:
    """A number in a unit as the canonical unit of the field."""
    if symbol == "dBm":
        if abs(number) > 200:
            raise Unread(f"{rule.meaning}, a level in dBm", "correct the value")
        return float(f"{10 ** ((number - 30) / 10):.10g}")
    if not math.isfinite(number) or abs(number) > 1e15:
        raise Unread(rule.meaning, "correct the value")
    return units.to_canonical(f"{number!r} {symbol}" if symbol else number, rule.name)


_OWNERS: dict[str, tuple[type[Any], str]] = {
    "azimuth_deg": (Sector, "azimuth_deg"), "antenna_height_m": (Antenna, "height_m"), "links_count": (Links, "links_count"),
    "standby_count": (Links, "standby_count"), "centre_hz": (Carrier, "centre_hz"), "width_hz": (Carrier, "width_hz"),
    "power_w": (Carrier, "power_w"),
}  # fmt: skip


def out_of_bounds(name: str, value: float) -> str:
    """'' or the bound of the declaration that a value breaks, in words."""
    model, field = _OWNERS.get(name, (Radio, name))
    if field not in model.model_fields or (name == "azimuth_deg" and value == 360):
        return ""
    for bound in model.model_fields[field].metadata:
        for mark, words, broken in (
            ("gt", "above", operator.le),
            ("ge", "at least", operator.lt),
            ("lt", "below", operator.ge),
            ("le", "at most", operator.gt),
        ):
            limit = getattr(bound, mark, None)
            if limit is not None and broken(value, limit):
                return f"{words} {limit:g}"
    return ""


def count(cell: Cell, rule: Rule) -> Value:
    """A whole number. Raises Unread."""
    refuse_states(cell, rule.meaning)
    number = cell.number
    if number is None and cell.kind == "text" and re.fullmatch(r"[0-9]{1,6}", cell.text):
        number = float(cell.text)
    if number is None or not number.is_integer() or out_of_bounds(rule.name, number):
        limit = out_of_bounds(rule.name, number) if number is not None else ""
        raise Unread(f"{rule.meaning}, a whole number" + (f", {limit}" if limit else ""), "write the number alone")
    return Value(int(number), str(int(number)))


def name(cell: Cell, rule: Rule) -> Value:
    """A name as people see it, leading zeros kept. Raises Unread where the spreadsheet has spoilt it."""
    refuse_states(cell, rule.meaning)
    if cell.kind == "date":
        raise Unread(
            f"{rule.meaning}, a name; the spreadsheet made a date of it", "format the column as text and write it again"
        )
    if re.fullmatch(r"[0-9](?:[.,][0-9]+)?[eE][+][0-9]+", cell.text) or (
        cell.number is not None and abs(cell.number) >= 1e15
    ):
        raise Unread(
            f"{rule.meaning}, all its digits; the spreadsheet shortened it",
            "format the column as text and write it again",
        )
    if len(cell.text) > 120:
        raise Unread(f"{rule.meaning}, at most 120 characters", "shorten it")
    text = " ".join(cell.text.split())
    return Value(text, text)


def ports(cell: Cell, rule: Rule) -> Value:
    """Port names from `R1, R2`, `Y1/Y2` or `Y1-Y4`. Raises Unread."""
    read = name(cell, rule)
    found: list[str] = []
    for one in re.split(r"[,;/+&\s]+", re.sub(r"\s*(?:-|–|\bto\b|\.\.)\s*", "-", read.shown)):
        span = re.fullmatch(r"([A-Za-z]+)([0-9]{1,2})-(?:([A-Za-z]+))?([0-9]{1,2})", one)
        if span and (span.group(3) or span.group(1)) == span.group(1) and int(span.group(2)) < int(span.group(4)):
            found += [f"{span.group(1)}{number}" for number in range(int(span.group(2)), int(span.group(4)) + 1)]
        elif one:
            found.append(one)
    made = tuple(one.upper() for one in found)
    if not made or len(made) > 64 or any(not re.fullmatch(r"[A-Z0-9][A-Z0-9-]{0,11}", one) for one in made):
        raise Unread("names of antenna ports, such as Y1, Y2", "write the port names with commas between them")
    return Value(made, ", ".join(made))
