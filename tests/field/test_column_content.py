"""What the cells of a column tell: names of the line, counts, which face; rows that can't be read stand beside those that can."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from upmast.errors import InputFaults
from upmast.field.intake import take_in
from upmast.field.readers.reading import Readings
from upmast.field.readers.table import read_table
from upmast.field.readers.values_table import guess_values, read_values
from upmast.field.reading_judge import judge_readings
from upmast.field.reading_match import index_of, match_reading
from upmast.field.say import words_of
from upmast.field.session import Judging, Session, judge_files
from upmast.finding import Expectation


def roles(text: str, known=None) -> list[str]:
    return [one.role for one in guess_values(read_table(text.encode(), "a.csv"), known=known).columns]


def values(text: str) -> Readings:
    table = read_table(text.encode(), "a.csv")
    return read_values(table, guess_values(table))


def judged(proof, at: Path, text: str, *said: str) -> Session:
    at.write_text(text)
    return judge_files(Judging(proof, words=words_of(said)), take_in([at]))


# --- one bad row ------------------------------------------------------------------------------------------------------


def test_a_bad_row_hides_no_other(proof, tmp_path: Path) -> None:
    text = "Pair;Insulation at 250 V (MΩ)\nT1-P01;0,1\nT1-P02;-5\nT1-P02;nonsense\n"
    session = judged(proof, tmp_path / "ir.csv", text)
    fails, bad = session.rows
    assert (fails.test, fails.verdict) == ("T1-P01.ir.250", "fails")
    assert bad.state == "unreadable"
    assert bad.what.startswith("line 3: -5")
    assert bad.what.endswith("and 1 more, in line 4")
    assert session.exit_code == 1
    session = judged(proof, tmp_path / "ir.csv", text.replace("0,1", "250"))
    assert sorted(row.verdict for row in session.rows) == ["", "passes"]
    assert session.exit_code == 2  # nothing fails, but two rows are not read


def test_what_is_left_of_a_row_without_a_name_or_a_condition_is_not_judged() -> None:
    found = values("Pair;Insulation (MΩ);Test voltage\nT1-P01;250;250 V\n;250;250 V\nT1-P02;250;many\n")
    assert [one.subject for one in found.readings] == ["T1-P01"]
    assert [one.line for one in found.faults] == [3, 4]


def test_a_second_table_below_ends_the_reading_and_is_told() -> None:
    found = values("Radio;Voltage (V)\nA2;-53\nRadio;Voltage (mV)\nA2;-9000\n")
    assert [one.value for one in found.readings] == [-53.0]
    assert found.faults[0].line == 3
    assert "nothing from here on is read" in found.faults[0].expected


def test_no_good_row_is_a_fault_of_the_table() -> None:
    with pytest.raises(InputFaults):
        values("Radio;Voltage (V)\nA2;nonsense\n")
    table = read_table(b"Radio;Voltage (V)\nA2;-53\nA3;nonsense\n", "a.csv")
    with pytest.raises(InputFaults):
        read_values(table, guess_values(table), strict=True)


# --- what was measured ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("head", ["Path", "Clamp", "Jumper", "Object"])
def test_headers_that_name_what_was_measured(head: str) -> None:
    assert roles(f"{head};Torque (N·m)\nA2-J1;5\n") == ["subject", "torque"]


def test_a_column_of_names_of_the_line(proof, tmp_path: Path) -> None:
    text = "Wo;Insulation at 250 V (MΩ)\nT1-P01;250\nt1 p2;250\n"
    session = judged(proof, tmp_path / "ir.csv", text)
    assert {row.test: row.verdict for row in session.rows} == {"T1-P01.ir.250": "passes", "T1-P02.ir.250": "passes"}


def test_a_table_that_names_nothing_asks_with_the_sentence_that_answers(proof, tmp_path: Path) -> None:
    at, text = tmp_path / "ir.csv", "Wo;Insulation at 250 V (MΩ)\nfirst;250\n"
    (row,) = judged(proof, at, text).rows
    assert row.state == "asked"
    assert row.answers == ("ir.csv: A is subject",)
    (row,) = judged(proof, at, text, "ir.csv: subject is T1-P01").rows
    assert (row.test, row.verdict) == ("T1-P01.ir.250", "passes")


def test_unused_columns_are_named(proof, tmp_path: Path) -> None:
    session = judged(proof, tmp_path / "ir.csv", "Pair;Insulation at 250 V (MΩ);Colour\nT1-P01;250;red\n")
    assert session.tables[0].words == "A subject, B insulation-resistance [MΩ], C unused"


# --- end faces --------------------------------------------------------------------------------------------------------


def test_counts_of_faces_are_no_grade_and_which_face_is_none(proof, tmp_path: Path) -> None:
    assert roles("Strand;End faces inspected;Result\nT1-F01;8;pass\nT1-F02;7;fail\n") == [
        "subject",
        "",
        "end-face-grade",
    ]
    assert roles("Strand;End face;Grade\nT1-F01;1;A\nT1-F01;2;pass\n") == ["subject", "side", "end-face-grade"]
    assert roles("Strand;End face\nT1-F01;pass\n") == ["subject", "end-face-grade"]
    session = judged(proof, tmp_path / "ef.csv", "Face,Result\nT1-F01.foot,pass\nT1-F01.head,fail zone A\n")
    (row,) = session.rows
    assert (row.test, row.verdict) == ("T1-F01.ef.record", "fails")
    assert "head" in row.do


def test_a_verdict_of_the_file_is_not_overlooked(proof, tmp_path: Path) -> None:
    text = "Pair;Insulation at 250 V (MΩ);Pass/Fail\nT1-P01;250;FAIL\nT1-P02;250;pass\n"
    session = judged(proof, tmp_path / "ir.csv", text)
    told = {row.test: [one.words for one in row.remarks if one.key == "their-verdict"] for row in session.rows}
    assert told == {"T1-P01.ir.250": ["the file itself says 'FAIL' (row 2)"], "T1-P02.ir.250": []}
    assert session.rows[0].urgency.name == "NOTED"


# --- torque, bonds, shields, voltage ----------------------------------------------------------------------------------


def test_lowest_and_highest_torque_are_told_apart(proof) -> None:
    found = values("Item;Lowest torque (N·m);Highest (N·m)\nA2-J1;5,8;6,3\n")
    assert [one.condition("which") for one in found.readings] == ["lowest", "highest"]
    few = values("Item;Torque (N·m);Torque 2 (N·m)\nA2-J1;5,8;6,3\n")
    test = next(one for one in proof.expectations if one.id == "A2-J1.torque.nm")
    many = replace(proof)
    many.__dict__["expectations"] = (replace(test, data={**test.data, "count": 50}),)
    for readings, wants_more in ((found, False), (few, True)):
        (one,), _ = judge_readings(many, [readings], uncertainties={"torque": 0.1})
        assert any("more of 50" in words for f in one.findings for words in f.missing) == wants_more


def test_bonds_and_shields_are_not_asked(proof) -> None:
    assert roles("Bond;Resistance (mΩ)\nA2-E1;4,2\n") == ["subject", "bond-resistance"]
    assert roles("Item;Resistance (mΩ)\nA2-E1;4,2\n") == ["subject", "bond-resistance"]
    assert "bond-resistance" not in roles("Pair;Resistance (mΩ)\nT1-P01;4,2\n")
    found = values("Item;Shield resistance (mΩ)\nT1;100\n")
    assert found.readings[0].condition("part") == "shield"
    both = [
        Expectation(f"T1.{kind}.r", "T1", "", "", "mΩ", (0.0,), (1.0,), "", items=("T1",))
        for kind in ("bond", "shield")
    ]
    proof_ = _with(proof, *both)
    match = match_reading(index_of(proof_), found.readings[0])
    assert match.decided is not None
    assert match.decided.test_id == "T1.shield.r"


def _with(proof, *tests: Expectation):
    out = replace(proof)
    out.__dict__["expectations"] = (*proof.expectations, *tests)
    return out


def test_a_voltage_on_battery_is_not_judged_as_float(proof) -> None:
    test = Expectation("A2.vdc.float", "A2", "voltage", "voltage", "V", (52.0,), (54.5,), "", items=("A2",))
    for state, stopped in (
        ("battery", True),
        ("on battery", True),
        ("float", False),
        ("mains on, battery full", False),
    ):
        found = values(f"Radio;Voltage (V);State\nA2;-48,1;{state}\n")
        assert found.readings[0].condition("supply") == state
        (one,), _ = judge_readings(_with(proof, test), [found])
        assert ("supply" in {r.key for r in one.remarks if r.level == "stop"}) == stopped, state
        if stopped:
            assert str(one.verdict) == "not judged"
            assert "measure on float" in one.sentence
    assert roles("Strand;End face;Condition\nT1-F01;pass;wet\n")[2] == ""


# --- what was said ----------------------------------------------------------------------------------------------------


def test_a_sentence_that_applies_to_nothing_is_told(proof, tmp_path: Path) -> None:
    said = (
        "ir.csv: wavelength_nm is 1310", "ir.csv: B9 is T1-P02", "slope is 2.5", "uncertainty of voltage is 0.3", "ir.csv: C is unused",
        "ir.csv: temperature_c is 20", "ir.csv: B2 is T1-P01",
    )  # fmt: skip
    session = judged(proof, tmp_path / "ir.csv", "Pair;Insulation at 250 V (MΩ);Note\nX;250;a\n", *said)
    told = [one.name for one in session.left_out if "applies to nothing" in one.why]
    assert sorted(told) == sorted([said[1], said[2], said[3], said[0]])


def test_a_wavelength_that_was_said_answers_whether_it_is_light(proof, tmp_path: Path) -> None:
    at, text = tmp_path / "l.csv", "Strand;Loss up (dB)\nT1-F01;0,3\n"
    (row,) = judged(proof, at, text).rows
    assert "no wavelength is given" in row.what
    assert "l.csv: wavelength_nm is 1310" in row.answers
    (row,) = judged(proof, at, text, "l.csv: wavelength_nm is 1310").rows
    assert (row.test, row.verdict) == ("T1-F01.ol.1310-up", "passes")


def test_the_sentences_that_give_conditions_stand_in_the_question(proof, tmp_path: Path) -> None:
    at, text = tmp_path / "pim.csv", "Path,IM3 (dBm)\nA2-J1,-121\n"
    (row,) = judged(proof, at, text).rows
    assert "--say 'pim.csv: carrier_1_dbm is 43'" in row.do
    powers = ("pim.csv: carrier_1_dbm is 43", "pim.csv: carrier_2_dbm is 43")
    (row,) = judged(proof, at, text, *powers).rows
    tones = re.findall(r"pim\.csv: tone_[12]_hz is [0-9]+", row.do)
    assert len(tones) == 2
    session = judged(proof, at, text, *powers, *tones)
    assert [row.verdict for row in session.rows] == ["passes"]
    assert not [one for one in session.left_out if "applies to nothing" in one.why]
    (row,) = judged(proof, tmp_path / "ir.csv", "Pair;Insulation (MΩ)\nT1-P01;250\n").rows
    assert "--say 'ir.csv: test_voltage_v is 250'" in row.do
    (row,) = judged(proof, tmp_path / "l.csv", "Strand;Optical loss (dB)\nT1-F01;0,3\n").rows
    assert "--say 'l.csv: B wavelength is 1310'" in row.what
    (row,) = judged(proof, tmp_path / "l.csv", "Strand;1310 nm (dB)\nT1-F01;0,3\n").rows
    assert "--say 'l.csv: B direction is up'" in row.what
    (row,) = judged(proof, tmp_path / "l.csv", "Strand;1310 nm (dB)\nT1-F01;0,3\n", "l.csv: direction is up").rows
    assert row.test == "T1-F01.ol.1310-up"


def test_a_wavelength_for_every_file_makes_no_voltage_a_loss(proof, tmp_path: Path) -> None:
    session = judged(proof, tmp_path / "v.csv", "Pair;Value;Unit\nT1-P01;250;MΩ\n", "wavelength_nm is 1310")
    assert session.tables[0].mapping is not None
    assert session.tables[0].mapping.kind == ""


def test_what_may_hold_evidence_is_listed_first_and_ends_with_2(proof, tmp_path: Path) -> None:
    (tmp_path / "A2-J1.rl.load.s1p").write_bytes(b"")
    (tmp_path / "ir.csv").write_text("Pair;Insulation at 250 V (MΩ)\nT1-P01;250\n")
    session = judge_files(Judging(proof, words=words_of(["slope is 2.5"])), take_in([tmp_path]))
    assert [one.loud for one in session.left_out] == [True, False]
    assert session.exit_code == 2
    from upmast.cli.judge_show import _headline

    assert _headline(session).plain.endswith("◇ 1 not read")
