"""Voltage, loop resistance and insulation of DC feeds, against numbers of IEC 60228 and IEC 60364-6."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.field.readers.reading import Reading
from upmast.field.readers.table import read_table
from upmast.field.readers.values_table import guess_values, read_values
from upmast.field.reading_case import places_of, shown_margin
from upmast.field.reading_electric import at_20_c, nearest_section
from upmast.field.row import reading_row
from upmast.finding import Authority, Expectation, Limit, Sense, Stage
from upmast.finding import judge as finding_of
from upmast.number import number
from upmast.power.resistance import conductor_ohm_per_km, resistance_ohm
from upmast.proof.prove import Proof
from upmast.source import Mark, Source

_spec = importlib.util.spec_from_file_location("made_readings", Path(__file__).parent / "made_readings.py")
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)
judge, one_of, keys = made.judge, made.one_of, made.keys
PASSES, FAILS, NOT = made.PASSES, made.FAILS, made.NOT
# 40 m of two wires of 10 mm2, class 5: 1.91 ohm/km at 20 C at most (IEC 60228, table 3)
LARGEST = 2 * 0.040 * 1.91
LIMIT = 1.05 * 2 * 0.0402 * 1.91
LEAST = 0.90 * 2 * 0.0398 * 1.91


def loop(value: float | None, pair: str = "T1-P01", instrument: str = "four-wire", **more: float | str) -> Reading:
    return made.read("loop-resistance", pair, value, instrument=instrument, **more)


def test_the_tabled_resistance_passes_at_its_temperature(proof: Proof) -> None:
    judged = one_of(proof, loop(LARGEST, temperature_c=20.0))
    assert [f.code for f in judged.findings] == ["power.loop-resistance", "power.loop-expected"]
    assert [f.verdict for f in judged.findings] == [PASSES, PASSES]
    assert judged.findings[0].value == pytest.approx(LARGEST)
    assert judged.findings[0].limit.value == pytest.approx(LIMIT)
    assert "as 40.00 m of this wire" in judged.findings[0].note


def test_a_warm_cable_is_referred_to_20_c(proof: Proof) -> None:
    """BS 7671 prints 4.4 mV/A/m at 70 C for 10 mm2 of 1.83 ohm/km: 1 + 0.00393 x 50 = 1.1965 times its value at 20 C."""
    assert float(at_20_c(1.1965, 70.0)) == pytest.approx(1.0)
    judged = one_of(proof, loop(LARGEST * 1.1965, temperature_c=70.0))
    assert judged.findings[0].value == pytest.approx(LARGEST)
    assert judged.verdict is PASSES
    assert one_of(proof, loop(LARGEST * 1.1965, temperature_c=20.0)).verdict is FAILS


@given(st.floats(-40, 120), st.floats(1e-4, 10))
def test_there_and_back(temperature: float, ohm: float) -> None:
    assert float(at_20_c(resistance_ohm(ohm, 1000.0, temperature), temperature)) == pytest.approx(ohm)


def test_no_temperature_is_judged_only_where_every_one_agrees(proof: Proof) -> None:
    """From -20 to 50 C a reading is 1.186 to 0.894 times its value at 20 C."""
    assert one_of(proof, loop(LARGEST)).verdict is NOT
    judged = one_of(proof, loop(LARGEST))
    assert "temperature of the cable" in judged.sentence
    assert one_of(proof, loop(0.30)).verdict is FAILS
    cold, hot = float(at_20_c(1.0, -20.0)), float(at_20_c(1.0, 50.0))
    off = 0.0005  # four wires, and half a per cent
    just = (LIMIT / cold - off) / 1.005
    assert one_of(proof, loop(just - 1e-5)).verdict is PASSES
    assert "at every one from -20 to 50" in one_of(proof, loop(just - 1e-5)).findings[0].note
    assert one_of(proof, loop(just + 1e-5)).verdict is NOT
    assert one_of(proof, loop((LIMIT / hot + off) / 0.995 + 1e-5)).verdict is FAILS


def test_the_section_that_would_explain_it(proof: Proof) -> None:
    """6 mm2 reads 3.30 / 1.91 times as much (IEC 60228)."""
    thin = one_of(proof, loop(2 * 0.040 * 3.30, temperature_c=20.0))
    assert thin.verdict is FAILS
    assert "6 mm² over that length reads 0.2640 Ω, where 10 mm² is designed" in thin.findings[0].note
    assert nearest_section(2 * 0.040 * 3.30, 40.0, 5, False) == (6.0, conductor_ohm_per_km(6, 5))
    assert nearest_section(50.0, 40.0, 5, False) is None
    assert nearest_section(0.0, 40.0, 5, False) is None
    assert nearest_section(float("inf"), 40.0, 5, False) is None


def test_lower_than_it_can_be_proves_nothing(proof: Proof) -> None:
    judged = one_of(proof, loop(0.5 * LARGEST, temperature_c=20.0))
    assert judged.verdict is NOT
    assert keys(judged)["low"] == "stop"
    assert "a short on its way" in judged.sentence
    edge = (LEAST - 0.0005) / 1.005
    assert "low" not in keys(one_of(proof, loop(edge + 1e-5, temperature_c=20.0)))
    assert "low" in keys(one_of(proof, loop(edge - 1e-5, temperature_c=20.0)))


def test_the_distance_to_what_was_expected_has_its_interval(proof: Proof) -> None:
    """0.136 Ω lies 0.8 mΩ below the least of 0.1368 Ω; half a per cent and 0.5 mΩ of doubt: 0.4 mΩ inside to 2.0 mΩ outside."""
    second = one_of(proof, loop(0.136, temperature_c=20.0)).findings[1]
    assert second.verdict is NOT
    assert second.value == pytest.approx(LEAST - 0.136)
    assert "0.0008 Ω may be -0.0003 Ω to 0.0020 Ω" in second.missing[0]


def test_open_and_over_range(proof: Proof) -> None:
    judged = one_of(proof, loop(None, comparator=">", instrument="", state="over range"))
    assert judged.verdict is FAILS
    assert "no continuity" in judged.sentence


def test_two_leads_can_not_pass_a_short_pair(proof: Proof) -> None:
    judged = one_of(proof, loop(LARGEST, instrument="two-wire", temperature_c=20.0))
    assert judged.verdict is NOT
    assert "four wires" in judged.findings[0].missing[0]


# --- insulation ---


def insulation(value: float | None, pair: str = "T1-P01", **more: float | str) -> Reading:
    return made.read("insulation-resistance", pair, value, **{"test_voltage_v": 250.0, **more})


def test_half_a_megohm_at_250_v(proof: Proof) -> None:
    """IEC 60364-6: 0.5 MΩ at 250 V for extra-low voltage; a tester of IEC 61557-2 may be 30 % off."""
    judged = one_of(proof, insulation(500.0))
    assert judged.findings[0].limit.value == 0.5
    assert [f.verdict for f in judged.findings] == [PASSES, PASSES]
    for value, verdict in (
        (0.55 / 0.7 + 1e-4, PASSES),
        (0.55 / 0.7 - 1e-4, NOT),
        (0.45 / 1.3 + 1e-4, NOT),
        (0.45 / 1.3 - 1e-4, FAILS),
    ):
        assert one_of(proof, insulation(value)).verdict is verdict, value
    low = one_of(proof, insulation(5.0))
    assert [f.verdict for f in low.findings] == [PASSES, FAILS]  # keeps the limit, but a new cable shows more
    assert "differs from design" in low.sentence


def test_a_bound_from_above_passes_and_from_below_says_little(proof: Proof) -> None:
    assert one_of(proof, insulation(200.0, comparator=">")).verdict is PASSES
    assert one_of(proof, insulation(0.2, comparator=">")).verdict is NOT
    assert one_of(proof, insulation(0.2, comparator="<")).verdict is FAILS
    over = one_of(proof, insulation(None, comparator=">", state="over range"))
    assert over.verdict is PASSES
    assert "more than 100 MΩ" in over.sentence


def test_less_than_the_planned_voltage_can_fail_but_not_pass(proof: Proof) -> None:
    assert one_of(proof, insulation(500.0, test_voltage_v=100.0)).verdict is NOT
    assert one_of(proof, insulation(0.1, test_voltage_v=100.0)).verdict is FAILS
    assert (
        one_of(proof, insulation(500.0, between="L-E"), insulation(500.0, between="R-E", test_voltage_v=100.0)).verdict
        is NOT
    )
    more = one_of(proof, insulation(500.0, test_voltage_v=500.0))
    assert more.verdict is PASSES
    assert keys(more)["test-voltage"] == "warn"
    untold = one_of(proof, made.read("insulation-resistance", "T1-P01", 500.0))
    assert untold.verdict is NOT
    assert "test voltage" in untold.sentence


def test_low_and_alike_hints_at_protectors(proof: Proof) -> None:
    judged, _ = judge(proof, insulation(0.20), insulation(0.21, "T1-P02"))
    assert {one.verdict for one in judged.values()} == {FAILS}
    assert all(keys(one)["alike"] == "warn" for one in judged.values())
    unlike, _ = judge(proof, insulation(0.20), insulation(2.0, "T1-P02"))
    assert not any("alike" in keys(one) for one in unlike.values())
    sound, _ = judge(proof, insulation(500.0), insulation(500.0, "T1-P02"))
    assert not any("alike" in keys(one) for one in sound.values())


def test_the_least_of_all_ways_decides(proof: Proof) -> None:
    rows = [insulation(v, between=b) for v, b in ((900.0, "L-R"), (0.1, "L-E"), (800.0, "R-E"))]
    for order in (rows, rows[::-1]):
        judged = one_of(proof, *order)
        assert judged.verdict is FAILS
        assert judged.findings[0].value == 0.1


# --- voltage ---


@pytest.fixture
def plant(proof: Proof) -> Proof:
    """The voltage that a radio should show, by hand: 54.5 V on float less little, 50 V at full load."""
    limit = Limit("power.voltage-on-site", 40.5, "V", Sense.AT_LEAST, Authority.STANDARD, Source("ETSI EN 300 132-2", mark=Mark.CONFIRMED), Stage.ACCEPTANCE)  # fmt: skip
    tests = [
        Expectation(f"{radio}.vdc.float", radio, "", "voltage", "V", (50.0,), (54.4,), "", limit=limit, items=(radio,))
        for radio in ("A2", "B1")
    ]
    return made.with_tests(proof, *tests)


def volts(value: float | None, radio: str = "A2", **more: float | str) -> Reading:
    return made.read("voltage", radio, value, **more)


def test_a_negative_plant_reads_negative(plant: Proof) -> None:
    judged = one_of(plant, volts(-53.2, load_current_a=6.0))
    assert judged.verdict is PASSES
    assert keys(judged) == {}
    assert [f.code for f in judged.findings][1] == "power.voltage-expected"
    assert judged.findings[1].verdict is PASSES
    assert judged.cautions


def test_a_reversed_sign_stops(plant: Proof) -> None:
    judged, _ = judge(plant, volts(-53.2), volts(53.1, "B1"))
    assert judged["A2.vdc.float"].verdict is PASSES
    assert judged["B1.vdc.float"].verdict is NOT
    assert "do not connect" in judged["B1.vdc.float"].sentence
    assert "do not connect" in one_of(plant, volts(53.2, written="+53.2")).sentence
    unsigned = one_of(plant, volts(53.2))
    assert unsigned.verdict is PASSES
    assert keys(unsigned) == {"sign": "note", "load": "note"}


@pytest.mark.parametrize(
    ("value", "verdict", "code"),
    [
        (-40.5 - 0.31, PASSES, "power.voltage-on-site"), (-40.6, NOT, "power.voltage-on-site"), (-40.0, FAILS, "power.voltage-on-site"),
        (-56.0, PASSES, "power.voltage-on-site-high"), (-57.1, NOT, "power.voltage-on-site-high"), (-58.0, FAILS, "power.voltage-on-site-high"),
    ],
)  # fmt: skip
def test_both_ends_of_the_range(plant: Proof, value: float, verdict: object, code: str) -> None:
    """ETSI EN 300 132-2: -40.5 to -57.0 V at the terminals; a multimeter of 0.1 V and half a per cent."""
    judged = one_of(plant, volts(value))
    assert judged.verdict is verdict
    assert judged.findings[0].code == code


def test_on_battery_it_differs_but_passes(plant: Proof) -> None:
    judged = one_of(plant, volts(-46.0))
    assert judged.verdict is PASSES
    assert "differs from design by 4.00 V" in judged.sentence
    assert "battery" in judged.sentence


def test_no_supply(plant: Proof) -> None:
    judged = one_of(plant, volts(-0.1))
    assert judged.verdict is FAILS
    assert "no voltage" in judged.sentence
    over = one_of(plant, volts(None, comparator=">", state="over range"))
    assert over.verdict is NOT
    assert "higher range" in over.sentence


def test_several_loads_must_all_keep_it(plant: Proof) -> None:
    judged = one_of(plant, volts(-53.0, load_current_a=1.0), volts(-39.0, load_current_a=12.0))
    assert judged.verdict is FAILS
    assert judged.findings[0].value == 39.0


def test_a_bound_is_never_shown_as_a_measured_number(proof: Proof) -> None:
    """In the row, in the sentence and in the note."""
    over = reading_row(
        one_of(proof, made.read("loop-resistance", "T1-P01", None, comparator=">", written="OL", temperature_c=20.0)),
        "",
    )
    assert over.verdict == "fails"
    assert over.what.startswith("more than 200 Ω (OL), limit at most ")
    assert "more than 200 Ω (OL)" in over.sentence
    assert "fails by at least" in over.sentence
    less = reading_row(one_of(proof, insulation(200.0, comparator=">")), "")
    assert less.what == "more than 200 MΩ, limit at least 0.5 MΩ"


def test_a_remark_tells_a_bound_as_one(proof: Proof) -> None:
    low = one_of(proof, made.read("loop-resistance", "T1-P01", 0.01, comparator="<", temperature_c=20.0))
    assert "less than 0.0100 Ω at 20 °C is less than this pair can have" in low.sentence


def test_value_limit_and_margin_agree(proof: Proof) -> None:
    near = one_of(proof, insulation(0.45))
    assert reading_row(near, "").what == "0.45 MΩ, limit at least 0.50 MΩ"
    assert "0.45 MΩ may be 0.27 MΩ to 0.6" in near.sentence
    sure = one_of(proof, insulation(0.45), uncertainties={"insulation-resistance": 0.0})
    assert "0.45 MΩ, limit at least 0.50 MΩ: fails by 0.05 MΩ" in sure.sentence


def test_a_range_has_its_unit(proof: Proof) -> None:
    low, high = (proof_test(proof, "T1-P01.rloop.20").low[0], proof_test(proof, "T1-P01.rloop.20").high[0])
    judged = one_of(proof, made.read("loop-resistance", "T1-P01", (low + high) / 2))
    assert judged.verdict is NOT
    assert re.search(r"at 20 °C it would be 0\.\d+ Ω to 0\.\d+ Ω, and the limit", judged.sentence)


def proof_test(proof: Proof, id: str):
    return next(one for one in proof.expectations if one.id == id)


@given(st.floats(0.01, 3.0))
def test_the_margin_is_that_of_the_numbers_beside_it(value: float) -> None:
    limit = Limit("power.insulation", 0.5, "MΩ", Sense.AT_LEAST, Authority.STANDARD, Source("a"), Stage.ACCEPTANCE)
    found = finding_of("power.insulation", "T1-P01", value, limit, unit="MΩ")
    places = places_of(found)
    shown = [float(number(one, "MΩ", places=places).split()[0]) for one in (value, 0.5, shown_margin(found, places))]
    assert shown[0] - shown[1] == pytest.approx(shown[2], abs=1e-9)


def test_a_margin_is_the_true_one_rounded_not_the_difference_of_rounded_values() -> None:
    """1.4333 dB against 0.5 dB and the like: 0.93 everywhere; 1.437 against 0.504 is 0.933, not 1.44 less 0.50."""
    limit = Limit("fibre.loss", 0.504, "dB", Sense.AT_MOST, Authority.STANDARD, Source("a"), Stage.ACCEPTANCE)
    found = finding_of("fibre.loss", "T1-F01", 1.437, limit, unit="dB")
    places = places_of(found)
    assert round(1.437, 2) - round(0.504, 2) == pytest.approx(0.94)
    assert shown_margin(found, places) == pytest.approx(-0.933)
    assert number(found.margin, "dB") == number(round(shown_margin(found, places), 2), "dB") == "-0.93 dB"
    assert number(1.437, "dB", places=places) == "1.437 dB"


@pytest.mark.parametrize(
    ("remark", "stops"),
    [
        ("on battery", True), ("Batterie", True), ("full load on battery", True), ("auf Batterie, Netzausfall", True), ("battery full", False),
        ("Erhaltungsladung", False), ("breaker 3", False),
    ],
)  # fmt: skip
def test_a_remark_says_battery_too(plant: Proof, remark: str, stops: bool) -> None:
    judged = one_of(plant, volts(-36.0, remark=remark))
    assert (judged.verdict is NOT) is stops
    assert ("read on battery" in judged.sentence) is stops
    told = one_of(plant, volts(-36.0, remark=remark, supply="float"))
    assert told.verdict is FAILS  # what is said of the supply goes before words


@pytest.mark.parametrize("header", ["Bemerkung", "Versorgung", "Quelle", "Supply", "Source", "Remark", "Note"])
def test_headers_of_what_fed_it(plant: Proof, header: str) -> None:
    table = read_table(f"Radio;Spannung (V);{header}\nA2;-36,0;Batterie\nB1;-53,9;Float\n".encode(), "w.csv")
    found = read_values(table, guess_values(table)).readings
    assert [one.value for one in found] == [-36.0, -53.9]
    judged, _ = judge(plant, *found)
    assert [judged[f"{radio}.vdc.float"].verdict for radio in ("A2", "B1")] == [NOT, PASSES]


def test_who_used_four_wires_can_say_so(proof: Proof) -> None:
    """1.5 % below the limit: a meter with zeroed leads does not decide, four wires do."""
    near = loop(0.985 * LIMIT, instrument="", temperature_c=20.0)
    asked = one_of(proof, near)
    assert asked.verdict is NOT
    assert "--say 'uncertainty of loop-resistance is four-wire'" in asked.sentence
    assert "write the temperature" not in asked.sentence
    settled = one_of(proof, near, uncertainties={"loop-resistance": "four-wire"})
    assert settled.verdict is PASSES
    sure = one_of(proof, loop(0.998 * LIMIT, temperature_c=20.0))
    assert sure.verdict is NOT
    assert "uncertainty of" not in sure.sentence
