"""What a header may mean: its words, its unit, the numbers and conditions in it, and the roles that fit, the surest first."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from upmast.field.readers.cell_value import folded
from upmast.field.readers.unit_words import Measure, measure_of

CLOSE = 0.12  # two meanings nearer than this can't be told apart
EXTRA = 0.06  # what each further word takes away
NO_TAIL = frozenset({"a", "c", "f", "v", "w"})  # `Sector C` has no unit; `Voltage (V)` has
LEAST = 0.5  # a meaning below this is no meaning
_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]{1,20})[)\]}]")
_WORD = re.compile(r"[^\W\d_]+[0-9]*|[0-9]+(?:\.[0-9]+)?")
_ALIKE = {
    "freq": "frequency", "frequenz": "frequency", "frequence": "frequency", "frecuencia": "frequency",
    "temp": "temperature", "temperatur": "temperature", "resist": "resistance", "widerstand": "resistance",
    "volts": "voltage", "volt": "voltage", "spannung": "voltage", "serialnumber": "serial", "sn": "serial",
    "wavelengths": "wavelength", "lambda": "wavelength", "wellenlange": "wavelength",
    "endface": "face", "faces": "face", "ends": "end", "grading": "grade", "spots": "spot", "powers": "power",
    "grounding": "ground", "earthing": "earth", "bonding": "bond", "drehmoment": "torque", "intermod": "intermodulation",
    "imd": "intermodulation", "pim": "intermodulation", "passive": "", "measured": "", "measurement": "", "reading": "",
    "wert": "value", "messwert": "value", "einheit": "unit", "einheiten": "unit", "messgrosse": "quantity", "messgroesse": "quantity",
    "messart": "quantity", "prufling": "item", "pruefling": "item", "objekt": "object", "grenzwert": "limit",
    "result": "value", "results": "value", "the": "", "of": "", "at": "", "in": "", "and": "",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rule:
    """
    One role that a column can have: names for it with their weight, its dimension, words that speak against it.

    `unit_alone`: its unit says enough where no word does. `many`: several columns may have this role.
    """

    role: str
    meaning: str
    phrases: tuple[tuple[str, float], ...]
    dimension: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    unit_alone: float = 0.0
    many: bool = False


@dataclass(frozen=True, slots=True)
class Head:
    """A header taken apart: plain words, unit, its text folded."""

    words: frozenset[str]
    unit: Measure | None
    text: str


@dataclass(frozen=True, slots=True)
class Meaning:
    """A role that a header may mean, how sure, and why."""

    role: str
    confidence: float
    reason: str


@lru_cache(maxsize=4096)
def head_of(text: str) -> Head:
    """
    Take a header apart.

    >>> head_of("Return Loss [dB]").unit.symbol, sorted(head_of("Return Loss [dB]").words)
    ('dB', ['loss', 'return'])
    """
    text = " ".join(text[:200].split())
    unit: Measure | None = None
    for inside in _BRACKETS.findall(text):
        unit = unit or measure_of(inside)
    rest = _BRACKETS.sub(lambda match: " " if measure_of(match.group(1)) else match.group(0), text)
    parted = re.sub(r"(?<=[a-z0-9])(?=[A-Z][a-z])", " ", rest)
    if unit is None:  # a unit at the end: `Frequency, MHz`, `freq_MHz`, `RL/dB`
        tail = re.search(r"(?:[\s,_/]|(?<=[0-9]))([^\s,_/0-9]{1,8})[\s.]*\Z", rest)
        if tail and tail.start() > 0 and tail.group(1).casefold() not in NO_TAIL:
            unit = measure_of(tail.group(1))
            if unit is not None:
                parted = parted[: len(parted) - (len(rest) - tail.start())]
        elif (
            rest.strip()
            and measure_of(rest.strip()) is not None
            and rest.strip().casefold() not in ("f", "v", "a", "c")
        ):
            unit, parted = measure_of(rest.strip()), ""
    words = set()
    stripped = "".join(ch for ch in unicodedata.normalize("NFKD", parted) if not unicodedata.combining(ch))
    for one in _WORD.findall(folded(stripped)):
        plain = _ALIKE.get(one, one)
        words.update(plain.split())
    return Head(frozenset(words), unit, folded(text))


def meanings(text: str, rules: Sequence[Rule]) -> tuple[Meaning, ...]:
    """The roles that a header may mean, the surest first; empty where none fits."""
    head = head_of(text)
    out: dict[str, Meaning] = {}
    for rule in rules:
        if head.words & set(rule.never):
            continue
        if head.unit is not None and rule.dimension and head.unit.dimension not in rule.dimension:
            continue
        for phrase, weight in rule.phrases:
            wanted = set(phrase.split())
            if not wanted <= head.words:
                continue
            extra = {one for one in head.words - wanted if not one[0].isdigit()}
            sure = weight - EXTRA * min(len(extra), 4) + (0.05 if head.unit and rule.dimension else 0.0)
            why = f"'{phrase}' is a name for it" + (
                f"; {head.unit.symbol} fits" if head.unit and rule.dimension else ""
            )
            _keep(out, Meaning(rule.role, round(min(sure, 0.99), 2), why))
        if rule.unit_alone and head.unit is not None and rule.dimension:
            _keep(out, Meaning(rule.role, rule.unit_alone, f"its unit is {head.unit.symbol}"))
    return tuple(sorted((one for one in out.values() if one.confidence >= LEAST), key=lambda one: -one.confidence))


def _keep(out: dict[str, Meaning], found: Meaning) -> None:
    if found.role not in out or found.confidence > out[found.role].confidence:
        out[found.role] = found
