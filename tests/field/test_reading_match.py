"""A reading finds its test by the words of its subject, then by its conditions, by its file name last; in doubt it asks."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.field.readers.reading import Reading
from upmast.field.reading_match import Index, ReadingMatch, index_of, match_reading
from upmast.field.reading_words import find_names, tokens_of, way_words
from upmast.finding import Expectation
from upmast.proof.prove import Proof

_spec = importlib.util.spec_from_file_location("made_readings", Path(__file__).parent / "made_readings.py")
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)

UP_1310 = {"wavelength_nm": 1310.0, "direction": "up"}


@pytest.fixture(scope="module")
def index(proof: Proof) -> Index:
    return index_of(proof)


def found(index: Index, kind: str, subject: str, file: str = "a.csv", **conditions: float | str) -> ReadingMatch:
    one: Reading = made.read(kind, subject, 0.5 if kind != "pim" else -155.0, file=file, **conditions)
    return match_reading(index, one)


@pytest.mark.parametrize(
    "subject",
    [
        "T1-F01", "t1-f01", "T1-F1", "T1 F01", "T1/F1", "T1_F001", "T1F01", "T1:F01", "strand 1 of T1", "Strand no. 1 on trunk T1",
        "T1 strand 1", "T1, fibre 01", "trunk T1 fiber #1", "T1 core 1", "T1/1", "T1 - 01", "F1 of T1", "T1-F01.ol.1310-up", "T1-F01 (A2)",
    ],
)  # fmt: skip
def test_one_strand_in_many_spellings(index: Index, subject: str) -> None:
    match = found(index, "optical-loss", subject, **UP_1310)
    assert match.decided is not None, match.question
    assert match.decided.test_id == "T1-F01.ol.1310-up"
    assert match.decided.reasons


@pytest.mark.parametrize(
    "subject",
    ["AT1-F01", "T1-F011", "T11-F01", "T1-F01X", "T1-F01 and T1-F02", "T1-F01/F02", "F01", "1", "T1", "T1-F12", "X9", "T1 1 or 2", "2 T1",
     "T1 splice tray strand 1"],
)  # fmt: skip
def test_what_is_no_whole_word_or_two_things_is_asked(index: Index, subject: str) -> None:
    match = found(index, "optical-loss", subject, **UP_1310)
    assert match.decided is None
    assert "?" in match.question


def test_the_nearest_are_offered(index: Index) -> None:
    match = found(index, "optical-loss", "T2-F02", **UP_1310)
    assert match.candidates[0].test_id.startswith("T1-F02.ol.")
    assert "nothing of this line" in match.question
    assert sum(one.confidence for one in match.candidates) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("wavelength", "direction", "test"),
    [
        (1310.0, "up", "1310-up"), (1550.0, "down", "1550-down"), (1312.0, "foot to top", "1310-up"), (1550.0, "radio -> cabinet", "1550-down"),
        (1550.0, "a-b", "1550-up"), (1310.0, "b-a", "1310-down"), (1310.0, "from the foot", "1310-up"), (1310.0, "meter at the top", "1310-up"),
    ],
)  # fmt: skip
def test_conditions_choose_among_the_tests_of_a_strand(
    index: Index, wavelength: float, direction: str, test: str
) -> None:
    match = found(index, "optical-loss", "T1-F01", wavelength_nm=wavelength, direction=direction)
    assert match.decided is not None, match.question
    assert match.decided.test_id == f"T1-F01.ol.{test}"


def test_conditions_may_stand_in_the_subject(index: Index) -> None:
    match = found(index, "optical-loss", "T1-F01 1550 nm down")
    assert match.decided is not None
    assert match.decided.test_id == "T1-F01.ol.1550-down"


@pytest.mark.parametrize(
    ("conditions", "word"),
    [({"wavelength_nm": 1310.0}, "which way"), ({"direction": "up"}, "wavelength"), ({"wavelength_nm": 1310.0, "direction": "at the foot"}, "which way")],
)  # fmt: skip
def test_a_condition_that_is_not_told_is_asked(index: Index, conditions: dict[str, float | str], word: str) -> None:
    match = found(index, "optical-loss", "T1-F01", **conditions)
    assert match.decided is None
    assert word in match.question
    assert match.candidates


def test_a_test_id_against_its_own_conditions_is_asked(index: Index) -> None:
    for conditions in ({"wavelength_nm": 1550.0}, {"direction": "down"}):
        match = found(index, "optical-loss", "T1-F01.ol.1310-up", **conditions)
        assert match.decided is None
        assert "which is it?" in match.question


@pytest.mark.parametrize(
    ("kind", "subject", "test"),
    [
        ("loop-resistance", "Pair 2 of T1", "T1-P02.rloop.20"), ("insulation-resistance", "T1 P1", "T1-P01.ir.250"),
        ("loop-resistance", "T1/2", "T1-P02.rloop.20"), ("bond-resistance", "A2-E1 #2", "A2-E1.bond.r"), ("bond-resistance", "A2", "A2-E1.bond.r"),
        ("bond-resistance", "bond 1 on A2", "A2-E1.bond.r"), ("pim", "A2-J1", "A2-J1.pim.im3"), ("pim", "A2 port 2", "A2-J2.pim.im3"),
        ("pim", "A2.rf1", "A2-J1.pim.im3"), ("pim", "A-ANT Y2", "A2-J2.pim.im3"), ("pim", "B1-FD1", "B1-J1.pim.im3"), ("pim", "A2 jumper 1", "A2-J1.pim.im3"),
        ("end-face-grade", "T1-F02 top", "T1-F02.ef.record"), ("humidity-spot", "radio A2", "A2.card.spots"), ("torque", "a2/j1 head", "A2-J1.torque.nm"),
    ],
)  # fmt: skip
def test_every_kind_finds_its_test(index: Index, kind: str, subject: str, test: str) -> None:
    match = found(index, kind, subject)
    assert match.decided is not None, match.question
    assert match.decided.test_id == test


@pytest.mark.parametrize(
    ("kind", "subject"),
    [("pim", "A2"), ("loop-resistance", "T1"), ("pim", "A2-J1 was A2-J2"), ("voltage", "A2"), ("torque", "A2"), ("bond-resistance", "B1"), ("pim", ""),
     ("bond-resistance", "A2-E3"), ("bond-resistance", "bond 3 on A2"), ("pim", "A2-J9"), ("pim", "B1 port 7"), ("pim", "B1-FD2"), ("pim", "A-ANT Y9"),
     ("humidity-spot", "A2-BX9")],
)  # fmt: skip
def test_several_or_none_is_asked(index: Index, kind: str, subject: str) -> None:
    assert found(index, kind, subject).decided is None


def test_the_file_name_comes_last(index: Index) -> None:
    loss = {"wavelength_nm": 1310.0, "direction": "up"}
    by_subject = found(index, "optical-loss", "T1-F01", file="T1-F02.csv", **loss).decided
    assert by_subject is not None
    assert by_subject.test_id == "T1-F01.ol.1310-up"
    tie = found(index, "pim", "A2", file="site/A2-J2.csv").decided
    assert tie is not None
    assert tie.test_id == "A2-J2.pim.im3"
    assert tie.confidence < by_subject.confidence
    assert any("file name" in reason for reason in tie.reasons)
    nameless = found(index, "optical-loss", "loss", file="T1-F02.csv", **loss).decided
    assert nameless is not None
    assert nameless.test_id == "T1-F02.ol.1310-up"


def test_answers_of_a_person(index: Index) -> None:
    one = made.read("optical-loss", "the long one", 0.4, row=7, **UP_1310)
    assert match_reading(index, one).decided is None
    for said in ({"a.csv#7.2": "T1-F02.ol.1310-up"}, {"the long one": "T1-F02"}):
        decided = match_reading(index, one, said).decided
        assert decided is not None
        assert decided.test_id == "T1-F02.ol.1310-up"
        assert "a person said so" in decided.reasons


def test_longer_names_win() -> None:
    names = ["A2", "A2-J1", "A2-J12"]
    assert [one.name for one in find_names("A2-J1", names)] == ["A2-J1"]
    assert [one.name for one in find_names("a2/j12", names)] == ["A2-J12"]
    assert sorted(one.name for one in find_names("A2-J1 at A2", names)) == ["A2", "A2-J1"]


def test_ways() -> None:
    assert [way_words(text) for text in ("cabinet to antenna", "top-foot", "mast", "")] == ["up", "down", "", ""]


@given(st.text(max_size=400))
def test_any_text_is_read_without_a_fault(text: str) -> None:
    tokens = tokens_of(text)
    assert len(tokens) <= 1000
    find_names(text, ["T1", "T1-F01", "A2-J1"], "F")
    way_words(text)


@given(st.sampled_from(["-", " ", "/", "_", ":", ".", ", ", " - ", ""]), st.integers(0, 3), st.booleans())
def test_separators_zeros_and_case_are_not_minded(between: str, zeros: int, lower: bool) -> None:
    text = f"T1{between}F{'0' * zeros}7"
    text = text.lower() if lower else text
    assert [one.name for one in find_names(text, ["T1", "T1-F07", "T1-F70"], "F")] == ["T1-F07"]


@pytest.fixture(scope="module")
def shielded(proof: Proof) -> Proof:
    test = Expectation("T1.shield.r20", "T1", "", "resistance", "mΩ", (0.0,), (90.0,), "", items=("T1",))
    return made.with_tests(proof, test)


def test_a_shield_under_loops_is_asked_as_a_shield(shielded: Proof) -> None:
    match = found(index_of(shielded), "loop-resistance", "T1 shield")
    assert match.decided is None
    assert [one.test_id for one in match.candidates] == ["T1.shield.r20"]
    assert "Shield resistance" in match.question


def test_the_test_that_a_person_names_is_taken_where_the_unit_allows_it(shielded: Proof) -> None:
    """0.080 Ω are 80 mΩ."""
    one = made.read("loop-resistance", "T1 shield", 0.08)
    judged, asked = made.judge(shielded, one, said={"T1 shield": "T1.shield.r20"})
    assert not asked
    reading = judged["T1.shield.r20"].readings[0]
    assert (reading.kind, reading.unit) == ("bond-resistance", "mΩ")
    assert reading.value == pytest.approx(80.0)
    volts = made.read("voltage", "T1 shield", 0.08)
    judged, asked = made.judge(shielded, volts, said={"T1 shield": "T1.shield.r20"})
    assert not judged
    assert "T1.shield.r20 is a test of bond resistance" in asked[0].question
    assert asked[0].candidates == ()
