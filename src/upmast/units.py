"""
Units: a closed table, read from the suffix of a name.

Every quantity has one canonical unit, and a name says it: `length_m`, `loss_db`, `frequency_hz`. People may write another
unit of the same dimension, as a key (`length_ft: 131`) or in the value (`length_m: 131 ft`); it is converted at the door.

>>> unit_of("route_length_m").symbol
'm'
>>> to_canonical("131 ft", "length_m")
39.9288
>>> round(convert(10.0, "lb", "kg"), 7)
4.5359237
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: its suffix in names, how it is printed, its dimension, and `canonical = factor * value + offset`."""

    suffix: str
    symbol: str
    dimension: str
    factor: float = 1.0
    offset: float = 0.0

    @property
    def canonical(self) -> bool:
        return self.factor == 1.0 and self.offset == 0.0


# Exact factors: NIST SP 811 (2008) appendix B; 1 ft = 0.3048 m, 1 lb = 0.45359237 kg, 1 lbf = 4.4482216152605 N.
_FT, _LB, _LBF = 0.3048, 0.45359237, 4.4482216152605
UNITS: tuple[Unit, ...] = (
    Unit("m", "m", "length"),
    Unit("ft", "ft", "length", _FT),
    Unit("km", "km", "length", 1000.0),
    Unit("mm", "mm", "cross dimension"),
    Unit("cm", "cm", "cross dimension", 10.0),
    Unit("in", "in", "cross dimension", 25.4),
    Unit("mm2", "mm²", "conductor area"),
    Unit("m2", "m²", "area"),
    Unit("kg", "kg", "mass"),
    Unit("lb", "lb", "mass", _LB),
    Unit("kg_per_m", "kg/m", "mass per length"),
    Unit("lb_per_ft", "lb/ft", "mass per length", _LB / _FT),
    Unit("n", "N", "force"),
    Unit("kn", "kN", "force", 1000.0),
    Unit("lbf", "lbf", "force", _LBF),
    Unit("n_per_m", "N/m", "line load"),
    Unit("n_per_100mm", "N/100 mm", "crush load"),
    Unit("j", "J", "blow"),
    Unit("nm", "N·m", "torque"),
    Unit("inlb", "in·lb", "torque", 0.0254 * _LBF),
    Unit("knm", "kN·m", "torque", 1000.0),
    Unit("pa", "Pa", "pressure"),
    Unit("kpa", "kPa", "pressure", 1000.0),
    Unit("m_per_s", "m/s", "speed"),
    Unit("km_per_h", "km/h", "speed", 1 / 3.6),
    Unit("mph", "mph", "speed", 0.44704),
    Unit("w", "W", "power"),
    Unit("kw", "kW", "power", 1000.0),
    Unit("w_per_m2", "W/m²", "irradiance"),
    Unit("v", "V", "voltage"),
    Unit("mv", "mV", "voltage", 1e-3),
    Unit("a", "A", "current"),
    Unit("ka", "kA", "current", 1000.0),
    Unit("ohm", "Ω", "resistance"),
    Unit("mohm", "mΩ", "resistance", 1e-3),
    Unit("megohm", "MΩ", "insulation resistance"),
    Unit("ohm_per_km", "Ω/km", "resistance per length"),
    Unit("ohm_per_kft", "Ω/kft", "resistance per length", 1 / _FT),
    Unit("ohm_m", "Ω·m", "resistivity of soil"),
    Unit("nh_per_m", "nH/m", "inductance per length"),
    Unit("uf", "µF", "capacitance"),
    Unit("k_m_per_w", "K·m/W", "thermal resistivity"),
    Unit("fraction_per_k", "1/K", "fraction per temperature"),
    Unit("ah", "A·h", "charge"),
    Unit("kwh", "kWh", "energy"),
    Unit("h", "h", "duration"),
    Unit("min", "min", "duration", 1 / 60),
    Unit("s", "s", "short duration"),
    Unit("us", "µs", "short duration", 1e-6),
    Unit("d", "d", "lead time"),
    Unit("week", "wk", "lead time", 7.0),
    Unit("year", "yr", "years"),
    Unit("hz", "Hz", "frequency"),
    Unit("khz", "kHz", "frequency", 1e3),
    Unit("mhz", "MHz", "frequency", 1e6),
    Unit("ghz", "GHz", "frequency", 1e9),
    Unit("nm_wave", "nm", "wavelength"),
    Unit("db", "dB", "loss"),
    Unit("db_per_km", "dB/km", "fibre attenuation"),
    Unit("db_per_m", "dB/m", "line attenuation"),
    Unit("db_per_100m", "dB/100 m", "line attenuation", 0.01),
    Unit("db_per_100ft", "dB/100 ft", "line attenuation", 0.01 / _FT),
    Unit("dbm", "dBm", "level"),
    Unit("dbc", "dBc", "level to carrier"),
    Unit("c", "°C", "temperature"),
    Unit("f", "°F", "temperature", 5 / 9, -32 * 5 / 9),
    Unit("k", "K", "temperature difference"),
    Unit("deg", "°", "angle"),
    Unit("fraction", "", "fraction"),
    Unit("percent", "%", "fraction", 0.01),
    Unit("cost", "cost units", "cost"),
    Unit("cost_per_m", "cost units/m", "cost per length"),
    Unit("cost_per_ft", "cost units/ft", "cost per length", 1 / _FT),
    Unit("cost_per_kg", "cost units/kg", "cost per mass"),
    Unit("cost_per_kwh", "cost units/kWh", "cost per energy"),
    Unit("cost_per_year", "cost units/yr", "cost per year"),
    Unit("cost_per_h", "cost units/h", "cost per hour"),
    Unit("count", "", "count"),
)
BY_SUFFIX = {unit.suffix: unit for unit in UNITS}
_BY_LENGTH = sorted(UNITS, key=lambda unit: -len(unit.suffix))
CANONICAL = {unit.dimension: unit for unit in UNITS if unit.canonical}
# how a person writes a unit inside a value, beside its symbol
_SPELLINGS = {
    "metre": "m", "meter": "m", "metres": "m", "feet": "ft", "'": "ft", "\"": "in", "sqmm": "mm2", "mm^2": "mm2", "degC": "c", "C": "c",
    "F": "f", "Hz": "hz", "N.m": "nm", "Nm": "nm", "in.lb": "inlb", "in-lb": "inlb", "ohm": "ohm", "mohm": "mohm", "Mohm": "megohm",
    "ohm/km": "ohm_per_km", "ohm/kft": "ohm_per_kft", "W/m2": "w_per_m2", "%": "percent", "Ah": "ah", "uF": "uf", "days": "d", "weeks": "week",
    "years": "year", "nm": "nm_wave",
}  # fmt: skip
_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*\Z", re.ASCII)
_HUGE = 1e280  # below it, a conversion stays finite
_AWG = re.compile(r"\s*([1-9]\d?|0{1,4}|[1-4]/0)\s*AWG\s*\Z", re.IGNORECASE)


@lru_cache(maxsize=4096)
def unit_of(name: str) -> Unit | None:
    """The unit that a name carries as its suffix, or None where it carries none."""
    for unit in _BY_LENGTH:
        if name == unit.suffix or name.endswith("_" + unit.suffix):
            return unit
    return None


def siblings(unit: Unit) -> tuple[Unit, ...]:
    """All units of the same dimension, the canonical one first."""
    return tuple(sorted((u for u in UNITS if u.dimension == unit.dimension), key=lambda u: not u.canonical))


def convert(value: float, have: str, want: str) -> float:
    """
    Convert between two units of one dimension, named by suffix.

    Raises
    ------
    ValueError
        If the two measure different things.
    """
    a, b = BY_SUFFIX[have], BY_SUFFIX[want]
    if a.dimension != b.dimension:
        raise ValueError(f"{a.symbol} measures {a.dimension}, {b.symbol} measures {b.dimension}")
    return (a.factor * value + a.offset - b.offset) / b.factor


def awg_area_mm2(gauge: str | int) -> float:
    """Area of an AWG size, d = 0.127 mm x 92^((36-n)/39). Source: ASTM B258, equation from memory. '2/0' is n = -1."""
    text = str(gauge).strip()
    if text and not text.strip("0"):  # 0, 00, 000, 0000: the older way to write 1/0 to 4/0
        text = f"{len(text)}/0"
    n = -(int(text[0]) - 1) if text.endswith("/0") else int(text)
    diameter: float = 0.127 * 92 ** ((36 - n) / 39)
    return math.pi / 4 * diameter * diameter


def _spelled(text: str, dimension: str) -> Unit | None:
    """The unit that a text names. `m` may be metres, `nm` a wavelength or a torque: the field's dimension decides."""
    found = [u for u in UNITS if text in (u.symbol, u.suffix)]
    if text in _SPELLINGS:
        found.append(BY_SUFFIX[_SPELLINGS[text]])
    for unit in found:
        if unit.dimension == dimension:
            return unit
    if dimension in (
        "length",
        "cross dimension",
    ):  # metres and millimetres are one physical dimension with two usual sizes
        other = [u for u in found if u.dimension in ("length", "cross dimension")]
        if other:
            scale = {("length", "cross dimension"): 1e-3, ("cross dimension", "length"): 1e3}[
                dimension, other[0].dimension
            ]
            return Unit(other[0].suffix, other[0].symbol, dimension, other[0].factor * scale)
    return found[0] if found else None


def to_canonical(value: object, name: str) -> float:
    """
    Number or text with a unit, as the canonical unit of the field's name.

    Raises
    ------
    ValueError
        For a decimal comma, an unknown unit, or a unit that measures something else; the message says what was expected.
    """
    unit = unit_of(name)
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError("expected a number" + (f" in {unit.symbol}" if unit and unit.symbol else ""))
    if isinstance(value, int | float):
        if not abs(value) < _HUGE:
            raise ValueError("expected a finite number")
        return unit.factor * value + unit.offset if unit else float(value)
    if len(value) > 60:
        raise ValueError("expected a number with a unit, not a long text")
    if unit is not None and unit.dimension == "conductor area" and (gauge := _AWG.match(value)):
        return awg_area_mm2(gauge.group(1))
    match = _NUMBER.match(value)
    wanted = f"a number in {unit.symbol}" if unit and unit.symbol else "a number"
    if match is None:
        raise ValueError(f"expected {wanted}")
    number, text = float(match.group(1)), match.group(2)
    if text.startswith(","):
        raise ValueError(f"expected {wanted} with a decimal point, not a comma")
    if not abs(number) < _HUGE:
        raise ValueError("expected a finite number")
    if not text:
        return unit.factor * number + unit.offset if unit else number
    if unit is None:
        raise ValueError(f"expected {wanted} without a unit")
    said = _spelled(text, unit.dimension)
    allowed = ", ".join(u.symbol for u in siblings(unit) if u.symbol) or "a bare number"
    if said is None:
        raise ValueError(f"unit {text!r} is not known; {unit.dimension} may be given in {allowed}")
    if said.dimension != unit.dimension:
        raise ValueError(f"{said.symbol} measures {said.dimension}; here {unit.dimension} is asked, in {allowed}")
    return round(said.factor * number + said.offset, 12)
