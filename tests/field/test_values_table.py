"""Single readings from tables: units that the project judges in, conditions from header, cells and the lines above, states, faults."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path

import pytest

from upmast.errors import InputFaults, UsageError
from upmast.field.readers.mapping_memory import Memory
from upmast.field.readers.reading import KINDS, Reading, Readings
from upmast.field.readers.table import read_table
from upmast.field.readers.values_table import guess_values, read_values
from upmast.field.readers.when import day_first, iso_time
from upmast.pim import dbc_from_dbm

_spec = importlib.util.spec_from_file_location("field_books", Path(__file__).parent / "books.py")
assert _spec is not None
assert _spec.loader is not None
books = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(books)


def values(raw: bytes | str, kind: str = "", repair: bool = False, **declared: float | str) -> Readings:
    table = read_table(raw.encode() if isinstance(raw, str) else raw, "a.csv", repair=repair)
    return read_values(table, guess_values(table, kind), declared=declared, repair=repair, strict=True)


def triples(found: Readings) -> list[tuple[str, str, float | None, str, str]]:
    return [(one.kind, one.subject, one.value, one.comparator, one.unit) for one in found.readings]


PIM = (
    "Report\nCarrier power;43 dBm\nF1 (MHz);1930\nf2;1990 MHz\nSerial number;0012\nMode;dynamic\n\n"
    "Port;IM3 peak (dBm);Date\nA2-J1;-107,0;29.11.2025 14:03\nA2-J2;<-120;29.11.2025 14:05\nB1-J1;-;\n"
)


def test_intermodulation_against_two_carriers_of_20_w() -> None:
    """-107 dBm at 2 x 43 dBm is -150 dBc: the handbook's number, and IEC 62037-1's carriers."""
    found = values(PIM)
    first, second = found.readings
    assert (first.value, first.unit, first.comparator) == (-150.0, "dBc", "")
    assert first.value == pytest.approx(float(dbc_from_dbm(-107.0)))
    assert (second.value, second.comparator) == (-163.0, "<")
    assert dict(first.conditions) == {
        "carrier_1_dbm": 43.0, "carrier_2_dbm": 43.0, "tone_1_hz": 1.93e9, "tone_2_hz": 1.99e9, "order": 3.0, "mode": "dynamic",
        "level_dbm": -107.0,
    }  # fmt: skip
    assert (first.serial, first.time, first.row, first.written) == ("0012", "2025-11-29T14:03", 9, "-107,0")
    assert first.missing == ()
    assert found.left_out == ((11, "no reading in it: B1-J1"),)
    assert any("Carrier power 43 dBm taken as carrier" in words for words in found.guesses)


def test_carriers_in_watts_and_columns_of_their_own() -> None:
    text = (
        "Line,PIM (dBc),Carrier 1 power (W),Carrier 2 power (dBm),F1 (MHz),F2 (MHz),Product order,Test mode\n"
        "A1,-153.2,20,43,1930-1990,1990,IM3,swept\n"
    )
    (one,) = values(text).readings
    assert one.value == -153.2
    assert one.condition("carrier_1_dbm") == pytest.approx(43.0103, abs=1e-4)
    assert one.condition("tone_1_low_hz") == 1.93e9
    assert one.condition("tone_1_high_hz") == 1.99e9
    assert one.condition("mode") == "swept"
    assert one.missing == ()


def test_a_level_without_its_carriers_stays_a_level_and_says_what_is_missing() -> None:
    (one,) = values("Line;PIM (dBm)\nA1;-110,5\n").readings
    assert (one.value, one.unit) == (-110.5, "dBm")
    assert one.missing == ("carrier_1_dbm", "carrier_2_dbm", "tone_1_hz", "tone_2_hz")
    (two,) = values("Line;PIM (dBm)\nA1;-110,5\n", carrier_1_dbm=43.0, carrier_2_dbm=43.0).readings
    assert (two.value, two.unit, two.declared) == (-153.5, "dBc", ("carrier_1_dbm", "carrier_2_dbm"))
    (three,) = values("Line;PIM (dBm)\nA1;-110,5\n", carrier_1_dbm=43.0, carrier_2_dbm=46.0).readings
    assert three.unit == "dBm"  # which carrier the ratio is to, can't be said


def test_intermodulation_without_its_minus_sign() -> None:
    with pytest.raises(InputFaults, match="a level below 0"):
        values("Line,PIM (dBc)\nA1,153\n")
    found = values("Line,PIM (dBc)\nA1,153\n", repair=True)
    assert found.readings[0].value == -153.0
    assert found.mended == ("an intermodulation level without its minus sign is turned",)


def test_optical_loss_with_wavelengths_and_ways_in_the_header() -> None:
    text = "Strand;1310 nm A-B (dB);1310 nm B-A (dB);1550 nm up (dB)\nT1-F01;0,42;0,44;0,40\nT1-F02;-0,04;;-\n"
    found = values(text)
    assert triples(found)[:3] == [("optical-loss", "T1-F01", v, "", "dB") for v in (0.42, 0.44, 0.40)]
    assert [(one.condition("wavelength_nm"), one.condition("direction")) for one in found.readings] == [
        (1310.0, "a-b"), (1310.0, "b-a"), (1550.0, "up"), (1310.0, "a-b"),
    ]  # fmt: skip
    assert found.readings[3].value == -0.04  # below zero is a wrong reference: kept as it is, the judge says so


def test_optical_loss_with_columns_for_wavelength_and_direction() -> None:
    text = "Link ID,Wavelength (nm),Direction,Loss (dB),Instrument,Serial\nL1,1310,down,0.45,loss set,007\nL1,1.55 µm,up,0.5,loss set,007\n"
    one, two = values(text).readings
    assert (one.condition("wavelength_nm"), one.condition("direction")) == (1310.0, "down")
    assert two.condition("wavelength_nm") == 1550.0
    assert (one.instrument, one.serial) == ("loss set", "007")


def test_a_loss_without_light_is_asked() -> None:
    with pytest.raises(InputFaults, match="coaxial cable"):
        values("Line,Loss (dB)\nA1,0.4\n")
    (one,) = values("Line,Loss (dB)\nA1,0.4\n", kind="optical-loss", wavelength_nm=1310.0, direction="up").readings
    assert one.missing == ()


@pytest.mark.parametrize(
    "header",
    [
        "ORL 1310 nm (dB)",
        "1310 nm reflectance (dB)",
        "1310 nm power (dBm)",
        "1310 nm margin (dB)",
        "1310 nm limit (dB)",
    ],
)
def test_what_is_no_loss_is_not_taken_for_one(header: str) -> None:
    found = values(f"Strand,1310 nm (dB),{header}\nF1,0.4,-55\n")
    assert triples(found) == [("optical-loss", "F1", 0.4, "", "dB")]


def test_humidity_of_the_air_is_no_card() -> None:
    found = values("Joint,Torque (N·m),Relative humidity (%),Temperature (°C)\nJ1,25,60,12\n")
    assert triples(found) == [("torque", "J1", 25.0, "", "N·m")]


def test_resistances_in_every_unit() -> None:
    """229 mΩ, 0.5 GΩ, 4 mΩ, 68 °F = 20 °C (NIST SP 811)."""
    text = "Pair\tLoop resistance (mΩ)\tTemp (°F)\tIR @ 250 V (GΩ)\nT1-P01\t229\t68\t>0.5\nT1-P02\t231\t68\tOL\n"
    found = values(text)
    assert triples(found) == [
        ("loop-resistance", "T1-P01", 0.229, "", "Ω"), ("insulation-resistance", "T1-P01", 500.0, ">", "MΩ"),
        ("loop-resistance", "T1-P02", 0.231, "", "Ω"), ("insulation-resistance", "T1-P02", None, ">", "MΩ"),
    ]  # fmt: skip
    assert found.readings[1].condition("test_voltage_v") == 250.0
    assert found.readings[1].condition("temperature_c") == pytest.approx(20.0, abs=1e-9)
    assert found.readings[3].condition("state") == "over range"
    assert [one.missing for one in found.readings] == [(), (), (), ()]
    (bond,) = values("Joint,Bond resistance (ohm)\nE1,0.004\n").readings
    assert (bond.value, bond.unit) == (4.0, "mΩ")


def test_a_long_table_with_a_kind_and_a_unit_in_each_row() -> None:
    text = (
        "Item,Test,Result,Unit,Temperature (C)\nA2,Voltage,-53.2,V,\nT1-P01,Insulation resistance 250 V,0.55,GΩ,12\n"
        "E1,Bond resistance,0.004,Ω,\nJ1,Torque,44,in-lb,\n"
    )
    found = values(text)
    assert [(kind, value, unit) for kind, _, value, _, unit in triples(found)][:3] == [
        ("voltage", -53.2, "V"), ("insulation-resistance", 550.0, "MΩ"), ("bond-resistance", 4.0, "mΩ"),
    ]  # fmt: skip
    assert found.readings[3].value == pytest.approx(44 * 0.1129848, rel=1e-6)  # NIST SP 811
    assert found.readings[1].condition("test_voltage_v") == 250.0


def test_one_kind_for_the_whole_table_by_word() -> None:
    text = "Radio;Value\nA2;53,2\n"
    table = read_table(text.encode(), "a.csv")
    assert "kind of the readings is not said" in guess_values(table).questions[0]
    (one,) = read_values(table, guess_values(table, "voltage")).readings
    assert (one.kind, one.value) == ("voltage", 53.2)
    (two,) = read_values(table, guess_values(table).decide(kind="voltage", units={"B": "V"})).readings
    assert two.value == 53.2


def test_voltage_beside_insulation_is_asked() -> None:
    text = "Pair;Insulation (MΩ);Voltage (V)\nP1;550;250\n"
    table = read_table(text.encode(), "a.csv")
    mapping = guess_values(table)
    assert "test voltage or a voltage that was read" in mapping.questions[0]
    (one,) = read_values(table, mapping.decide(columns={"C": "test-voltage"})).readings
    assert one.condition("test_voltage_v") == 250.0


@pytest.mark.parametrize(
    ("header", "cell"),
    [("Bond resistance", "4"), ("Torque", "44"), ("Insulation resistance", "550"), ("Loop resistance", "0.2"), ("PIM", "-153"), ("Bond resistance (MOHM)", "4")],
)  # fmt: skip
def test_a_unit_that_changes_the_value_is_never_taken_for_granted(header: str, cell: str) -> None:
    with pytest.raises(InputFaults, match="unit"):
        values(f"Joint;{header}\nJ1;{cell}\n")


@pytest.mark.parametrize(("header", "got"), [("Insulation resistance (mohm)", "mΩ"), ("Bond resistance (MΩ)", "MΩ")])
def test_a_slip_of_upper_and_lower_case_is_asked(header: str, got: str) -> None:
    with pytest.raises(InputFaults, match=f"{got} does not suit"):
        values(f"Joint;{header}\nJ1;4\n")


def test_a_column_of_names_is_no_reading_and_a_bare_unit_is_asked() -> None:
    table = read_table("Bond;mΩ\nE1;3,2\n".encode(), "a.csv")
    mapping = guess_values(table)
    assert mapping.questions == ("column B 'mΩ': its unit is mΩ, but its header does not say what it is",)
    (one,) = read_values(table, mapping.decide(columns={"B": "bond-resistance"})).readings
    assert (one.subject, one.value, one.unit) == ("E1", 3.2, "mΩ")
    with pytest.raises(InputFaults, match="it may be pim"):
        values("Port;Peak (dBm)\nA1;-118,4\n")


def test_end_faces() -> None:
    found = values("Connector;End face;Zone\nF01;pass;A\nF02;FAIL;B\nF03;B;A\nF04;clean;A\n")
    assert [one.value for one in found.readings] == [1.0, 0.0, None, 1.0]
    assert found.readings[2].missing == ("meaning of the grade",)
    assert found.readings[2].condition("grade") == "B"


def test_humidity_cards_in_columns_and_in_rows() -> None:
    wide = values("Box,Spot 30 %,Spot 40 %,Temperature (°C)\nBX1,yes,no,21\n")
    tall = values("Box;Humidity card spot (%);Changed;Temperature (°C)\nBX1;30;yes;21\nBX1;40 %;no;21\n")
    assert [(one.value, one.unit, one.condition("changed")) for one in wide.readings] == [
        (30.0, "%", "yes"),
        (40.0, "%", "no"),
    ]
    assert [(one.value, one.condition("changed"), one.missing) for one in tall.readings] == [
        (30.0, "yes", ()),
        (40.0, "no", ()),
    ]


def test_subjects_of_several_columns_are_joined_as_written() -> None:
    (one,) = values("Sector,Port,PIM (dBc)\nA,  Port  2 ,-155\n").readings
    assert one.subject == "A / Port 2"


def test_a_name_missing_in_a_row() -> None:
    text = "Strand,Wavelength (nm),Loss (dB)\nF1,1310,0.4\n,1550,0.5\n"
    with pytest.raises(InputFaults, match="what was measured, in every row"):
        values(text)
    found = values(text, repair=True)
    assert [one.subject for one in found.readings] == ["F1", "F1"]
    assert found.mended == ("a missing name is taken from the row above",)


def test_the_subject_may_be_declared() -> None:
    with pytest.raises(InputFaults, match="declare the subject"):
        values("Date;Voltage (V)\n2025-11-29;53,2\n")
    (one,) = values("Date;Voltage (V)\n2025-11-29;53,2\n", subject="A2").readings
    assert (one.subject, one.time, one.declared) == ("A2", "2025-11-29", ("subject",))
    with pytest.raises(UsageError, match="no condition"):
        values("Radio;Voltage (V)\nA2;53,2\n", colour="blue")
    with pytest.raises(UsageError, match="does not lie"):
        values("Radio;Voltage (V)\nA2;53,2\n", temperature_c=900.0)


def test_every_fault_at_once_with_row_and_column() -> None:
    text = "Pair;Loop resistance (mΩ);Temperature (°C)\nP1;abc;20\nP2;229;900\n;231;20\nP4;-5;20\nP5;230 V;20\n"
    with pytest.raises(InputFaults) as caught:
        values(text)
    assert [(f.place, f.line, f.column) for f in caught.value.faults] == [
        ("B2", 2, 2), ("C3", 3, 3), ("A4", 4, 1), ("B5", 5, 2), ("B6", 6, 2),
    ]  # fmt: skip
    assert all(f.got and f.expected and f.remedy for f in caught.value.faults)


def test_repeated_headers_and_footers_are_left_out_and_said() -> None:
    found = values("Radio,Voltage (V)\nA1,53.2\n\nRadio,Voltage (V)\nA2,53.1\nEnd of list\n")
    assert [one.row for one in found.readings] == [2, 5]
    assert found.left_out == ((4, "header again"), (6, "no reading in it: End of list"))


def test_a_second_header_in_another_unit_is_a_fault() -> None:
    for repair in (False, True):
        with pytest.raises(InputFaults, match="one table under one header"):
            values("Radio,Voltage (V)\nA1,53.2\nRadio,Voltage (mV)\nA2,531\n", repair=repair)
    with pytest.raises(InputFaults, match="A3"):
        values("Radio,Voltage (V)\nA1,53.2\nRadio,Voltage (mV)\nA2,53100\n")


def test_limits_and_verdicts_in_the_file_are_kept_but_never_used() -> None:
    (one,) = values("Line,PIM (dBc),Limit (dBc),Pass/Fail,Remark\nA1,-120,-97,PASS,windy\n").readings
    assert (one.value, one.condition("their_limit"), one.condition("their_verdict"), one.condition("remark")) == (
        -120.0,
        "-97",
        "PASS",
        "windy",
    )


@pytest.mark.parametrize(
    ("text", "iso"),
    [
        ("2025-11-29", "2025-11-29"), ("2025-11-29T14:03:05Z", "2025-11-29T14:03:05+00:00"), ("29.11.2025 14:03", "2025-11-29T14:03"),
        ("11/29/2025 2:03 PM", "2025-11-29T14:03"), ("29-Nov-2025", "2025-11-29"), ("Nov 29, 2025", "2025-11-29"), ("05/05/2025", "2025-05-05"),
        ("03/04/2025", ""), ("31.02.2025", ""), ("25:61 2025-11-29", "2025-11-29"), ("29/11/25", ""), ("soon", ""), ("", ""),
        ("2025-11-29 14:03+0100", "2025-11-29T14:03+01:00"), ("2025-11-29 25:01", ""),
    ],
)  # fmt: skip
def test_times(text: str, iso: str) -> None:
    if text.startswith("25:61"):
        assert iso_time(text, None) == ""
    else:
        assert iso_time(text, None) == iso


def test_day_and_month_are_told_by_the_whole_column() -> None:
    head = "Radio,Voltage (V),Date\n"
    one, _ = values(f"{head}A1,53.2,03/04/2025\nA2,53.1,17/04/2025\n").readings
    assert one.time == "2025-04-03"
    one, _ = values(f"{head}A1,53.2,03/04/2025\nA2,53.1,04/17/2025\n").readings
    assert one.time == "2025-03-04"
    (one,) = values(f"{head}A1,53.2,03/04/2025\n").readings
    assert (one.time, one.condition("time_written")) == ("", "03/04/2025")
    assert day_first(["03/04/2025", "17/04/2025", "04/17/2025"]) is None


def test_a_workbook_of_readings_and_its_mapping_remembered() -> None:
    import datetime

    rows = [["Strand", "1310 nm A-B (dB)", "Date"], ["F1", 0.42, datetime.date(2025, 11, 29)], ["F2", "0,5", None]]
    table = read_table(books.book(rows), "a.xlsx")
    mapping = guess_values(table)
    found = read_values(table, mapping)
    assert [(one.value, one.time) for one in found.readings] == [(0.42, "2025-11-29"), (0.5, "")]
    memory = Memory().remember(mapping.confirmed())
    again = guess_values(table, memory=memory)
    assert all(one.given for one in again.columns)
    assert triples(read_values(table, again)) == triples(found)


def test_readings_are_plain_data() -> None:
    found = values(PIM)
    data = [one.as_data() for one in found.readings]
    json.dumps(data, allow_nan=False)
    assert isinstance(found.readings[0], Reading)
    assert found.of("pim") == found.readings
    assert all(kind.low < kind.high for kind in KINDS.values())
