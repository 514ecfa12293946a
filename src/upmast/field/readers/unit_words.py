"""
Units as instruments write them, and as exact factors to the project's own: a closed table, by dimension.

Upper and lower case are minded where they change the value: mΩ is a thousandth, MΩ a million. A spelling that hides the
difference, such as `MOHM`, has no factor, and has to be asked.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from upmast import units


@dataclass(frozen=True, slots=True)
class Measure:
    """A unit: its symbol, its dimension, and value in the canonical unit = factor * value + offset; no factor: doubtful."""

    symbol: str
    dimension: str
    factor: Decimal | None = Decimal(1)
    offset: Decimal = Decimal(0)


def _exact(suffix: str) -> Decimal:
    return Decimal(repr(units.BY_SUFFIX[suffix].factor))


_INLB = _exact("inlb")
_LIST: tuple[tuple[str, str, Decimal | None, str], ...] = (
    # symbol, dimension, factor to the canonical unit, other spellings (folded) parted by |
    ("Hz", "frequency", Decimal(1), "hz|hertz"),
    ("kHz", "frequency", Decimal("1e3"), "khz"),
    ("MHz", "frequency", Decimal("1e6"), "mhz|megahertz"),
    ("GHz", "frequency", Decimal("1e9"), "ghz|gigahertz"),
    ("dB", "loss", Decimal(1), "db|decibel"),
    ("dBm", "level", Decimal(1), "dbm"),
    ("dBc", "level to carrier", Decimal(1), "dbc"),
    ("W", "power", Decimal(1), "w|watt|watts"),
    ("mW", "power", Decimal("1e-3"), "mw"),
    ("V", "voltage", Decimal(1), "v|vdc|v dc|v d.c.|volt|volts|v="),
    ("mV", "voltage", Decimal("1e-3"), "mv"),
    ("kV", "voltage", Decimal("1e3"), "kv"),
    ("A", "current", Decimal(1), "a|amp|amps|adc"),
    ("nm", "wavelength", Decimal(1), "nm"),
    ("µm", "wavelength", Decimal("1e3"), "um|μm"),
    ("°C", "temperature", Decimal(1), "°c|c|degc|deg c|celsius|ºc"),
    ("N·m", "torque", Decimal(1), "nm|n·m|n.m|n-m|n m|n*m|newton metre|newton meter"),
    ("in·lb", "torque", _INLB, "in·lb|in.lb|in-lb|in lb|inlb|in-lbs|in·lbf|in-lbf|inlbs|lbf·in|lbf in|lb-in|lb in|in lbs"),
    ("ft·lb", "torque", 12 * _INLB, "ft·lb|ft.lb|ft-lb|ft lb|ftlb|ft-lbs|ft·lbf|ft-lbf|ftlbs|lbf·ft|lbf ft|lb-ft|lb ft|ft lbs"),
    ("%", "percent", Decimal(1), "%|percent|pct|%rh|% rh|rh %|rh%|% r.h."),
    (":1", "ratio", Decimal(1), ":1|: 1"),
)  # fmt: skip
FAHRENHEIT = frozenset({"°f", "f", "degf", "deg f", "fahrenheit", "ºf"})
_PREFIX = {"": "1", "m": "0.001", "μ": "0.000001", "u": "0.000001", "k": "1000", "K": "1000", "M": "1000000", "G": "1000000000", "T": "1000000000000"}  # fmt: skip
_OHMS = ("Ω", "ohm", "ohms", "Ohm", "Ohms", "OHM", "OHMS")
_WORDS = {
    "milliohm": "m", "milliohms": "m", "micro-ohm": "μ", "microohm": "μ", "microohms": "μ", "kilohm": "k", "kilohms": "k",
    "megohm": "M", "megohms": "M", "megaohm": "M", "megaohms": "M", "gigaohm": "G", "gigaohms": "G", "gohm": "G",
    "gohms": "G", "kohm": "k", "kohms": "k",
}  # fmt: skip


def _table() -> dict[str, list[Measure]]:
    made: dict[str, list[Measure]] = {}
    for symbol, dimension, factor, spellings in _LIST:
        for one in spellings.split("|"):
            made.setdefault(one, []).append(Measure(symbol, dimension, factor))
    return made


_BY_WORD = _table()


@lru_cache(maxsize=4096)
def measure_of(text: str, dimension: str = "") -> Measure | None:
    """
    The unit that a text names, None if it is none of those known; `dimension` decides between metres of torque and of light.

    >>> measure_of("Mohm").factor, measure_of("mΩ").factor, measure_of("MOHM").factor
    (Decimal('1000000'), Decimal('0.001'), None)
    >>> measure_of("nm").symbol, measure_of("Nm").symbol, measure_of("nm", "torque").symbol
    ('nm', 'N·m', 'N·m')
    """
    plain = " ".join(unicodedata.normalize("NFKC", text).split()).strip(" .")
    if not plain or len(plain) > 20:
        return None
    ohm = _resistance(plain)
    if ohm is not None:
        return ohm
    low = plain.casefold()
    if low in FAHRENHEIT:
        return Measure("°F", "temperature", Decimal(5) / Decimal(9), Decimal(-160) / Decimal(9))
    found = _BY_WORD.get(low, [])
    if dimension:
        for one in found:
            if one.dimension == dimension:
                return one
    if len(found) > 1 and plain.startswith("N"):
        return next(one for one in found if one.dimension == "torque")
    return found[0] if found else None


def _resistance(plain: str) -> Measure | None:
    word = _WORDS.get(plain.casefold())
    if word is not None:
        return _ohms(word)
    for ending in sorted(_OHMS, key=len, reverse=True):
        if not plain.endswith(ending):
            continue
        prefix = plain[: -len(ending)].strip()
        if prefix in ("M", "m") and ending in ("OHM", "OHMS"):
            return Measure(plain, "resistance", None)  # capitals throughout hide which one it is
        if prefix in _PREFIX:
            return _ohms(prefix)
    return None


def _ohms(prefix: str) -> Measure:
    shown = {"": "", "u": "µ", "μ": "µ", "K": "k"}.get(prefix, prefix)
    return Measure(f"{shown}Ω", "resistance", Decimal(_PREFIX[prefix]))


def to_canonical(number: Decimal, measure: Measure, scale: Decimal = Decimal(1)) -> float:
    """
    A number in a unit as the canonical unit of its dimension, divided by `scale` (1e6 for a value wanted in MΩ).

    Raises
    ------
    ValueError
        If the unit is doubtful or the value is not finite.
    """
    if measure.factor is None:
        raise ValueError(f"{measure.symbol} may stand for a thousandth or a million")
    out = float((number * measure.factor + measure.offset) / scale)
    if not abs(out) < 1e280:
        raise ValueError("not a finite number")
    return out
