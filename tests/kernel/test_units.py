"""Units: factors against an independent library, and every way to write a number wrongly."""

from __future__ import annotations

import math
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.units import BY_SUFFIX, UNITS, Unit, awg_area_mm2, convert, siblings, to_canonical, unit_of

REGISTRY: Any = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
# suffix: the same unit for the independent library; dB, counts, costs and conductor sizes have no counterpart there
PINT = {
    "m": "m", "ft": "ft", "km": "km", "mm": "mm", "cm": "cm", "in": "inch", "mm2": "mm**2", "m2": "m**2", "kg": "kg", "lb": "lb",
    "kg_per_m": "kg/m", "lb_per_ft": "lb/ft", "n": "N", "kn": "kN", "lbf": "lbf", "n_per_m": "N/m", "nm": "N*m", "inlb": "inch*lbf",
    "knm": "kN*m", "pa": "Pa", "kpa": "kPa", "m_per_s": "m/s", "km_per_h": "km/h", "mph": "mph", "w": "W", "kw": "kW", "w_per_m2": "W/m**2",
    "v": "V", "mv": "mV", "a": "A", "ka": "kA", "ohm": "ohm", "mohm": "milliohm", "megohm": "megohm", "ohm_per_km": "ohm/km",
    "ohm_per_kft": "ohm/kilofoot", "uf": "uF", "ah": "A*hour", "kwh": "kW*hour", "h": "hour", "min": "minute", "s": "s", "d": "day",
    "week": "week", "year": "year", "hz": "Hz", "khz": "kHz", "mhz": "MHz", "ghz": "GHz", "nm_wave": "nm", "c": "degC", "f": "degF", "k": "K",
    "deg": "deg", "fraction": "", "percent": "percent", "count": "",
}  # fmt: skip
LINEAR = [unit for unit in UNITS if unit.suffix in PINT]
PAIRS = [(a, b) for a in LINEAR for b in siblings(a) if b.suffix in PINT and a is not b]
NUMBERS = st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: round(x, 6))


@given(NUMBERS, st.sampled_from(PAIRS))
def test_conversion_agrees_with_an_independent_library(value: float, pair: tuple[Unit, Unit]) -> None:
    have, want = pair
    theirs = REGISTRY.Quantity(value, PINT[have.suffix]).to(PINT[want.suffix]).magnitude
    assert convert(value, have.suffix, want.suffix) == pytest.approx(theirs, rel=1e-9, abs=1e-9)


@given(NUMBERS, st.sampled_from([u for u in UNITS if len(siblings(u)) > 1]))
def test_there_and_back_is_the_same(value: float, unit: Unit) -> None:
    for other in siblings(unit):
        assert convert(convert(value, unit.suffix, other.suffix), other.suffix, unit.suffix) == pytest.approx(
            value, rel=1e-12, abs=1e-9
        )


@given(NUMBERS, st.sampled_from([u for u in UNITS if u.symbol]))
def test_key_and_value_say_the_same(value: float, unit: Unit) -> None:
    """`length_ft: 131` and `length_m: 131 ft` are one length."""
    as_key = to_canonical(value, f"some_{unit.suffix}")
    canonical = siblings(unit)[0]
    as_text = to_canonical(f"{value!r} {unit.symbol}", f"some_{canonical.suffix}")
    assert as_text == pytest.approx(as_key, rel=1e-12, abs=1e-11)


def test_exact_factors() -> None:
    """NIST SP 811 (2008), appendix B."""
    assert convert(1, "ft", "m") == 0.3048
    assert convert(1, "in", "mm") == 25.4
    assert convert(1, "lb", "kg") == 0.45359237
    assert convert(1, "lbf", "n") == 4.4482216152605
    assert convert(1, "inlb", "nm") == pytest.approx(0.1129848, rel=1e-6)
    assert convert(1, "mph", "m_per_s") == 0.44704
    assert convert(-40, "f", "c") == pytest.approx(-40)
    assert convert(212, "f", "c") == pytest.approx(100)


def test_each_dimension_has_one_canonical_unit() -> None:
    for unit in UNITS:
        assert sum(u.canonical for u in siblings(unit)) == 1, unit.dimension
        assert siblings(unit)[0].canonical
    assert len(BY_SUFFIX) == len(UNITS)


@pytest.mark.parametrize(
    ("name", "suffix"),
    [
        ("length_m", "m"), ("route_length_ft", "ft"), ("mass_kg_per_m", "kg_per_m"), ("cost_per_m", "cost_per_m"), ("a_db_per_m", "db_per_m"),
        ("attenuation_1310_db_per_km", "db_per_km"), ("tx_wavelength_nm_wave", "nm_wave"), ("torque_nm", "nm"), ("ambient_c", "c"),
        ("conductor_area_mm2", "mm2"), ("cost", "cost"), ("pairs_count", "count"), ("title", None), ("kind", None), ("topology", None),
        ("metal", None),
    ],
)  # fmt: skip
def test_the_suffix_of_a_name_is_its_unit(name: str, suffix: str | None) -> None:
    unit = unit_of(name)
    assert (unit.suffix if unit else None) == suffix


@pytest.mark.parametrize(
    ("text", "name", "value"),
    [
        ("12.5", "length_m", 12.5), ("12.5 m", "length_m", 12.5), ("12.5m", "length_m", 12.5), (" 12.5  metres ", "length_m", 12.5),
        ("350 mm", "length_m", 0.35), ("1 ft", "diameter_mm", 304.8), ("3'", "length_m", 0.9144),
        ('2"', "diameter_mm", 50.8), (".5 km", "length_m", 500),
        ("1e3", "frequency_hz", 1000), ("1842.5 MHz", "frequency_hz", 1842.5e6), ("-5 °C", "ambient_c", -5), ("23 F", "ambient_c", -5),
        ("25 N·m", "torque_nm", 25), ("25 nm", "torque_nm", 25), ("1310 nm", "tx_wavelength_nm_wave", 1310), ("10 mm^2", "area_mm2", 10),
        ("50 %", "load_fraction", 0.5), ("0.3 dB/km", "a_db_per_km", 0.3), ("3 dB/100 m", "a_db_per_m", 0.03), ("-153 dBc", "pim_dbc", -153),
        ("43 dBm", "level_dbm", 43), ("2 weeks", "lead_time_d", 14), (7, "length_m", 7), (10, "length_ft", 3.048), (14, "ambient_f", -10),
    ],
)  # fmt: skip
def test_what_people_write(text: object, name: str, value: float) -> None:
    assert to_canonical(text, name) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "name", "words"),
    [
        ("12,5 m", "length_m", "expected a number in m with a decimal point, not a comma"),
        ("12,5", "length_m", "expected a number in m with a decimal point, not a comma"),
        ("1,000.5 m", "length_m", "expected a number in m with a decimal point, not a comma"),
        ("1.000,5 m", "length_m", "expected a number in m with a decimal point, not a comma"),
        ("12 furlong", "length_m", "unit 'furlong' is not known; length may be given in m, ft, km"),
        ("12 kg", "length_m", "kg measures mass; here length is asked, in m, ft, km"),
        ("20 K", "ambient_c", "K measures temperature difference; here temperature is asked, in °C, °F"),
        ("3 dB", "level_dbm", "dB measures loss; here level is asked, in dBm"),
        ("3 dB", "pim_dbc", "dB measures loss; here level to carrier is asked, in dBc"),
        ("3 dB/m", "a_db_per_km", "dB/m measures line attenuation; here fibre attenuation is asked, in dB/km"),
        ("3 N", "torque_nm", "N measures force; here torque is asked, in N·m, in·lb, kN·m"),
        ("3 m", "pairs_count", "m measures length; here count is asked, in a bare number"),
        ("3 V", "load_fraction", "V measures voltage; here fraction is asked, in %"),
        ("3 m", "title", "expected a number without a unit"),
        ("m", "length_m", "expected a number in m"),
        ("", "length_m", "expected a number in m"),
        ("about 12 m", "length_m", "expected a number in m"),
        ("１２ m", "length_m", "expected a number in m"),
        ("nan", "length_m", "expected a number in m"),
        ("inf m", "length_m", "expected a number in m"),
        ("1e999 m", "length_m", "expected a finite number"),
        ("1 000 m", "length_m", "unit '000 m' is not known; length may be given in m, ft, km"),
        ("1_000", "length_m", "unit '_000' is not known; length may be given in m, ft, km"),
        ("0x10", "length_m", "unit 'x10' is not known; length may be given in m, ft, km"),
        ("1" * 61, "length_m", "expected a number with a unit, not a long text"),
        (True, "length_m", "expected a number in m"),
        (None, "length_m", "expected a number in m"),
        ([1], "title", "expected a number"),
        (math.nan, "length_m", "expected a finite number"),
        (math.inf, "title", "expected a finite number"),
        ("1e300 km", "length_m", "expected a finite number"),
        (10**400, "length_m", "expected a finite number"),
    ],
)
def test_what_is_refused_and_in_which_words(text: object, name: str, words: str) -> None:
    with pytest.raises(ValueError) as caught:  # noqa: PT011 - the whole text is compared
        to_canonical(text, name)
    assert str(caught.value) == words


@given(st.text(max_size=70), st.sampled_from([f"some_{unit.suffix}" for unit in UNITS] + ["title"]))
def test_any_text_gives_a_finite_number_or_a_refusal(text: str, name: str) -> None:
    try:
        value = to_canonical(text, name)
    except ValueError:
        return
    assert math.isfinite(value)


def test_conversion_between_dimensions_is_refused() -> None:
    with pytest.raises(ValueError, match="m measures length, kg measures mass"):
        convert(1, "m", "kg")


def test_awg() -> None:
    """The rule behind the sizes: 0000 is 0.46 inch, 36 is 0.005 inch, and 39 equal ratios lie between (ASTM B258)."""
    assert awg_area_mm2("4/0") == pytest.approx(math.pi / 4 * (0.46 * 25.4) ** 2, rel=1e-12)
    assert awg_area_mm2(36) == pytest.approx(math.pi / 4 * (0.005 * 25.4) ** 2, rel=1e-12)
    ratios = [awg_area_mm2(n) / awg_area_mm2(n + 1) for n in range(36)]
    assert ratios == pytest.approx([92 ** (2 / 39)] * 36, rel=1e-12)
    assert awg_area_mm2("1/0") == awg_area_mm2(0)


@pytest.mark.parametrize(
    ("text", "same"), [("0 AWG", "1/0"), ("00 AWG", "2/0"), ("000 AWG", "3/0"), ("0000 awg", "4/0"), ("8AWG", "8")]
)
def test_awg_as_people_write_it(text: str, same: str) -> None:
    assert to_canonical(text, "conductor_area_mm2") == awg_area_mm2(same)


@pytest.mark.parametrize("text", ["5/0 AWG", "08 AWG", "AWG", "-1 AWG", "100 AWG"])
def test_awg_sizes_that_do_not_exist(text: str) -> None:
    with pytest.raises(ValueError, match=r"unit|expected"):
        to_canonical(text, "conductor_area_mm2")


def test_awg_is_only_for_conductors() -> None:
    with pytest.raises(ValueError, match="unit 'AWG' is not known"):
        to_canonical("8 AWG", "length_m")
