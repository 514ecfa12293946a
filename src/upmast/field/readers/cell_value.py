"""
One cell of an instrument's table: a number, a bound (`<-120`, `>500`), a state (`OL`, `-`), with or without a unit.

A number that can be read in two ways is never read. Numbers are kept as exact decimals, so that a change of unit by a power of
ten changes no digit.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal

from upmast.site.sheet_read import Cell

NOTHING = frozenset(
    {"", "-", "--", "---", "–", "—", "n/a", "na", "n.a.", "nil", "none", "not measured", "not tested", "/", "."}
)
OPEN = frozenset({"tbc", "tbd", "?", "??", "???", "unknown", "pending", "t.b.c.", "t.b.d."})
OVER = frozenset({"ol", "o.l.", "o.l", "0l", "0.l", ".ol", "+ol", "over", "overload", "over range", "overrange", "out of range", "∞"})  # fmt: skip
NO_NUMBER = frozenset({"nan", "inf", "+inf", "-inf", "infinity", "-infinity", "#n/a", "#num!", "#div/0!", "#value!", "#ref!", "#name?", "1.#inf", "-1.#inf", "1.#ind", "-1.#ind", "1.#qnan"})  # fmt: skip
MOST_DIGITS = 40
_SIGNS = {"−": "-", "–": "-", "‐": "-", "‑": "-", "﹣": "-", "－": "-"}
_BOUND = re.compile(r"(<=|>=|=<|=>|≤|≥|<|>)\s*")
_SPLIT = re.compile(
    r"([+-]?)\s?([0-9][0-9.,'’\u00a0\u202f\u2009 ]*(?<![ ,.'’])|[.,][0-9]+)((?:[eE][+-]?[0-9]{1,3})?)(?![0-9])(?:\s*([^\s0-9].*))?\Z"
)
_THOUSANDS_SPACE = re.compile(r"[0-9]{1,3}(?:[ \u00a0\u202f\u2009'’][0-9]{3})+(?:[.,][0-9]+)?\Z")
_PLAIN = {
    ".": re.compile(r"[+-]?[0-9]{1,15}(?:\.[0-9]{1,15})?\Z"),
    ",": re.compile(r"[+-]?[0-9]{1,15}(?:,[0-9]{1,15})?\Z"),
}
_BARE = re.compile(r"[<>≤≥]?=?\s?[+\-−–]?\s?[0-9]*[.,]?[0-9]+(?:[.,][0-9]+)*(?:[eE][+-]?[0-9]{1,3})?\Z")


class Unread(Exception):
    """A cell that can't be read: what was expected, and what to do."""

    def __init__(self, expected: str, remedy: str) -> None:
        super().__init__(expected)
        self.expected, self.remedy = expected, remedy


@dataclass(frozen=True, slots=True)
class CellValue:
    """
    What a cell says. `state` is '' for a number, 'nothing' for an empty cell or a dash, 'over' beyond the meter's range.

    `comparator` is '<' or '>' where the value is only a bound; `unit` is the text behind the number, as written.
    """

    number: Decimal | None = None
    comparator: str = ""
    unit: str = ""
    state: str = ""


def folded(text: str) -> str:
    """Text for comparing: compatibility forms joined, lower case, single blanks."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def looks_like_number(text: str) -> bool:
    """True for a text that is nothing but one number, perhaps with a bound before it; `17,2` counts, a date does not."""
    return len(text) <= MOST_DIGITS and _BARE.match(text.strip()) is not None and text.count(".") + text.count(",") < 3


def comma_or_point(text: str) -> str:
    """The decimal sign that one text shows beyond doubt, '' if it shows none: `1,234` can be read in two ways."""
    text = text.strip().lstrip("<>≤≥= ")
    if not looks_like_number(text):
        return ""
    digits = re.split(r"[eE]", text.lstrip("+-−– "))[0]
    signs = [ch for ch in digits if ch in ".,"]
    if not signs:
        return ""
    if len(set(signs)) == 2:
        return signs[-1] if signs.count(signs[-1]) == 1 else ""
    if len(signs) > 1:
        return ""
    whole, _, part = digits.partition(signs[0])
    if len(part) != 3 or len(whole) > 3 or whole in ("", "0", "00", "000") or whole.startswith("0"):
        return signs[0]
    return ""


def read_cell(cell: Cell, decimal: str) -> CellValue:
    """
    A cell as a value.

    Parameters
    ----------
    decimal : the decimal sign of the table: `,`, `.`, '' where none is shown, 'both' where each cell has to show its own.

    Raises
    ------
    Unread
        Where the cell holds no number, or one with two meanings.

    >>> from upmast.site.sheet_read import text_cell
    >>> read_cell(text_cell("<-120,5 dBm"), ",")
    CellValue(number=Decimal('-120.5'), comparator='<', unit='dBm', state='')
    >>> read_cell(text_cell("OL"), ".").state
    'over'
    """
    if cell.blank:
        return CellValue(state="nothing")
    if cell.kind == "number" and cell.number is not None:
        return CellValue(Decimal(repr(cell.number)))
    if cell.kind == "uncalculated":
        raise Unread("a number; no value is stored with the formula", "open and save the file in a spreadsheet program")
    if cell.kind == "date":
        raise Unread("a number, not a date", "the spreadsheet made a date of it: write the value as a number again")
    if cell.kind == "truth":
        raise Unread("a number", "write the number that was read")
    if cell.kind == "error":
        raise Unread("a number, not an error of the spreadsheet", "mend the cell, or write the reading itself")
    return read_value(cell.text, decimal)


def read_value(text: str, decimal: str) -> CellValue:
    """A text as a value; see `read_cell`."""
    if decimal in (".", ",") and _PLAIN[decimal].match(text):  # most cells of a long trace
        return CellValue(Decimal(text.replace(",", ".")))
    plain = "".join(_SIGNS.get(ch, ch) for ch in text.strip())
    low = folded(plain)
    if low in NOTHING:
        return CellValue(state="nothing")
    if low in OVER:
        return CellValue(comparator=">", state="over")
    if low in OPEN:
        raise Unread("a reading; it is left open here", "measure it, or leave the cell empty")
    if low in NO_NUMBER:
        raise Unread("a finite number", "the instrument had no value here: measure again")
    comparator = ""
    bound = _BOUND.match(plain)
    if bound:
        comparator = "<" if "<" in bound.group(1) or "≤" in bound.group(1) else ">"
        plain = plain[bound.end() :]
        if folded(plain) in OVER:
            return CellValue(comparator=comparator, state="over")
    if plain.startswith(("=", "@")):
        raise Unread("a number; formulas are not worked out", "write the value itself")
    if (
        plain.endswith(".") and plain[:-1].lstrip("+-").isdecimal()
    ):  # `17.` as some programs write it; a second sign is a fault
        plain = plain[:-1]
    match = _SPLIT.match(plain) if len(plain) <= 3 * MOST_DIGITS else None
    if match is None:
        raise Unread(
            "one number, with or without a unit", "write the reading alone: a number, `<` or `>` and a number, OL or -"
        )
    sign, digits, exponent, unit = match.groups()
    if len(digits) > MOST_DIGITS:
        raise Unread(f"a number of at most {MOST_DIGITS} digits", "write the reading with the digits that matter")
    number = Decimal(sign + plain_digits(digits, decimal) + (exponent or ""))
    return CellValue(number, comparator, (unit or "").strip())


def plain_digits(digits: str, decimal: str) -> str:
    """Digits as people write them with a decimal point and nothing else between. Raises Unread on two meanings."""
    kept = digits
    if re.search(r"[ \u00a0\u202f\u2009'’]", digits):
        if not _THOUSANDS_SPACE.match(digits):
            raise Unread("one number", "write it without blanks")
        kept = re.sub(r"[ \u00a0\u202f\u2009'’]", "", digits)
    signs = [ch for ch in kept if ch in ".,"]
    if not signs:
        return kept
    if len(set(signs)) == 2:
        last = signs[-1]
        whole, _, part = kept.rpartition(last)
        other = "," if last == "." else "."
        if last in whole or not re.fullmatch(rf"[1-9][0-9]{{0,2}}(?:{re.escape(other)}[0-9]{{3}})+", whole) or not part:
            raise Unread("one number", "write it without thousands signs")
        if decimal in (",", ".") and last != decimal:
            raise Unread(f"the decimal sign {decimal} as elsewhere in the table", "write it without thousands signs")
        return f"{whole.replace(other, '')}.{part}"
    mark = signs[0]
    if len(signs) > 1:
        if mark == decimal or not re.fullmatch(rf"[1-9][0-9]{{0,2}}(?:{re.escape(mark)}[0-9]{{3}})+", kept):
            raise Unread("one number", "write it without thousands signs")
        return kept.replace(mark, "")
    whole, _, part = kept.partition(mark)
    if decimal == mark or (decimal == "" and mark == "."):
        return f"{whole or '0'}.{part or '0'}"
    if decimal in (",", "."):
        raise Unread(
            f"the decimal sign {decimal} as elsewhere in the table",
            f"write {whole or '0'}{decimal}{part}, or {whole}{part} if thousands are meant",
        )
    if comma_or_point(kept) == "":
        raise Unread(
            f"one meaning: it can be {whole}{part} or {whole}.{part}",
            "say the decimal sign of the table, or write it plainly",
        )
    return f"{whole or '0'}.{part or '0'}"
