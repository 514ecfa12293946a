"""Loss of a strand and its end faces: the floor of physics, both directions, the mark of a bend, faces that lack."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from upmast.errors import UsageError
from upmast.field.intake import take_in
from upmast.field.readers.mapping_memory import Memory
from upmast.field.readers.reading import Reading
from upmast.field.readers.values_columns import conditions_in
from upmast.field.say import words_of
from upmast.field.session import Judging, judge_files
from upmast.field.tables import read_tables
from upmast.proof.prove import Proof
from upmast.record.read_as import ReadAs
from upmast.record.tables_read import decisions, readings_again

_spec = importlib.util.spec_from_file_location("made_readings", Path(__file__).parent / "made_readings.py")
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)
PASSES, FAILS, NOT = made.PASSES, made.FAILS, made.NOT
judge, one_of, keys = made.judge, made.one_of, made.keys
# by hand from the parts of the line: two pairs of 0.25 dB and 0.4 dB/km over 40.2 m; mean 0.12 dB a pair
HIGHEST_1310 = 2 * 0.25 + 0.4 * 0.0402
TYPICAL_1310 = 2 * 0.12 + 0.4 * 0.0402
TYPICAL_1550 = 2 * 0.12 + 0.3 * 0.0402


def loss(value: float | None, wave: float = 1310.0, way: str = "up", strand: str = "T1-F01", **more: str) -> Reading:
    return made.read("optical-loss", strand, value, wavelength_nm=wave, direction=way, **more)


def test_a_sound_strand_passes(proof: Proof) -> None:
    judged = one_of(proof, loss(TYPICAL_1310))
    assert [f.code for f in judged.findings] == ["fibre.loss", "fibre.loss-expected"]
    assert [f.verdict for f in judged.findings] == [PASSES, PASSES]
    assert judged.findings[0].limit.value == pytest.approx(HIGHEST_1310)
    assert "passes by 0.26 dB" in judged.sentence
    assert keys(judged) == {"faces": "warn", "one-way": "note"}
    assert any("Never look" in words for words in judged.cautions)


def test_the_mean_of_both_directions_decides(proof: Proof) -> None:
    """0.45 dB up alone is too near the limit of 0.516 dB; with 0.15 dB down the mean of 0.30 dB passes."""
    assert one_of(proof, loss(0.45)).verdict is NOT
    judged, _ = judge(proof, loss(0.45), loss(0.15, way="down"))
    assert {one.verdict for one in judged.values()} == {PASSES}
    assert [one.findings[0].value for one in judged.values()] == pytest.approx([0.30, 0.30])
    assert "directions" not in keys(judged["T1-F01.ol.1310-up"])  # 0.30 dB apart, 0.40 dB are explained
    for up, down in ((0.55, 0.9), (0.9, 0.55)):  # 0.725 dB less 0.2 dB is still above 0.516 dB
        both, _ = judge(proof, loss(up), loss(down, way="down"))
        assert {one.verdict for one in both.values()} == {FAILS}
    apart, _ = judge(proof, loss(0.55), loss(0.05, way="down"))
    assert keys(apart["T1-F01.ol.1310-up"])["directions"] == "warn"


def test_below_the_glass_the_reference_was_wrong(proof: Proof) -> None:
    """Rayleigh scattering alone: 0.7 / 1.31^4 dB/km, 9 mdB over the shortest length; with 0.2 dB of uncertainty below -0.19 dB."""
    floor = 0.7 * 0.0398 / 1.31**4
    for value, verdict in ((floor - 0.2 - 1e-3, NOT), (floor - 0.2 + 1e-3, PASSES)):
        judged = one_of(proof, loss(value))
        assert judged.verdict is verdict
        assert ("floor" in keys(judged)) is (verdict is NOT)
    stopped = one_of(proof, loss(-0.5))
    assert "not judged: -0.50 dB this way is less than the glass alone can lose" in stopped.sentence
    assert "Do: set the reference again" in stopped.sentence
    assert keys(one_of(proof, loss(-0.1)))["negative"] == "warn"


def test_a_bad_reference_one_way_does_not_mend_the_other(proof: Proof) -> None:
    judged, _ = judge(proof, loss(0.9), loss(-0.6, way="down"))
    assert judged["T1-F01.ol.1310-up"].verdict is FAILS
    assert judged["T1-F01.ol.1310-down"].verdict is NOT


def test_a_bend_loses_more_at_1550(proof: Proof) -> None:
    judged, _ = judge(
        proof, loss(TYPICAL_1310), loss(TYPICAL_1310, way="down"), loss(TYPICAL_1550 + 1.2, 1550.0), loss(TYPICAL_1550 + 1.2, 1550.0, "down")
    )  # fmt: skip
    bend = next(r for r in judged["T1-F01.ol.1310-up"].remarks if r.key == "bend")
    assert "1.20 dB more at 1550 nm" in bend.words
    assert "T1" in bend.remedy
    remedy = judged["T1-F01.ol.1310-up"].findings[0].remedy
    assert remedy.startswith(bend.remedy)  # what the words say first is done first
    assert "clean" in remedy
    assert judged["T1-F01.ol.1310-up"].verdict is PASSES
    assert judged["T1-F01.ol.1550-up"].verdict is FAILS
    alike, _ = judge(proof, loss(TYPICAL_1310 + 1.0), loss(TYPICAL_1550 + 1.0, 1550.0))
    assert "bend" not in keys(alike["T1-F01.ol.1310-up"])
    assert "joint" in keys(alike["T1-F01.ol.1310-up"])


def test_dark_is_no_continuity(proof: Proof) -> None:
    for one in (loss(None, comparator=">", state="over range"), loss(30.0, comparator=">")):
        judged = one_of(proof, one)
        assert judged.verdict is FAILS
        assert "no continuity" in judged.sentence
        assert "more than" in judged.sentence


def test_a_lower_bound_that_the_limit_lies_above_says_nothing(proof: Proof) -> None:
    judged = one_of(proof, loss(0.3, comparator=">"))
    assert judged.verdict is NOT
    assert "only a bound" in judged.sentence


def test_a_wrong_wavelength_is_not_judged(proof: Proof) -> None:
    judged = one_of(proof, loss(0.2, 1625.0))
    assert judged.test_id == "T1-F01.ol.1550-up"
    assert judged.verdict is NOT
    assert "1625 nm" in judged.sentence
    both = one_of(proof, loss(0.2, 1625.0), loss(0.25, 1550.0))
    assert both.verdict is PASSES
    assert keys(both)["wavelength"] == "note"


@pytest.mark.parametrize("off", [0.05, 0.2, 0.24])
def test_the_guard_band_is_as_wide_on_both_sides(proof: Proof, off: float) -> None:
    for value, verdict in (
        (HIGHEST_1310 - off - 1e-6, PASSES), (HIGHEST_1310 - off + 1e-6, NOT), (HIGHEST_1310 + off - 1e-6, NOT), (HIGHEST_1310 + off + 1e-6, FAILS),
    ):  # fmt: skip
        judged = one_of(proof, loss(value), uncertainties={"optical-loss": off})
        assert judged.verdict is verdict, value
        if verdict is NOT:
            assert "set the reference again" in judged.findings[0].missing[0]


def test_measured_again_the_last_holds_where_times_tell_it(proof: Proof) -> None:
    first, last = loss(1.5, time="2025-11-29T10:00"), loss(0.25, time="2025-11-29T10:20")
    for pair in ((first, last), (last, first)):
        judged = one_of(proof, *pair)
        assert judged.verdict is PASSES
        assert "measured 2 times" in next(r.words for r in judged.remarks if r.key == "repeated")
    assert one_of(proof, loss(1.5), loss(0.25)).verdict is FAILS  # no time: the worst
    assert one_of(proof, loss(1.5, time="2025-11-29"), loss(0.25, time="2025-11-29T10:20")).verdict is FAILS


# --- end faces ---


def face(words: str, value: float | None = 1.0, **more: str) -> Reading:
    return made.read("end-face-grade", f"T1-F01 {words}".strip(), value, **more)


FOUR = ("BB1 plug", "foot", "top", "A2 plug")  # two mated pairs


def test_all_faces_with_a_record_pass(proof: Proof) -> None:
    judged = one_of(proof, *(face(one) for one in FOUR))
    assert judged.verdict is PASSES
    assert judged.sentence == "T1-F01.ef.record: 4 of 4 passed, 0 did not, 0 not told: passes."
    assert one_of(proof, *(face("") for _ in FOUR)).verdict is PASSES  # rows that do not say which


def test_fewer_are_not_judged_and_one_bad_fails(proof: Proof) -> None:
    few = one_of(proof, *(face(one) for one in FOUR[:3]))
    assert few.verdict is NOT
    assert "the record of 1 more of 4 end faces" in few.sentence
    bad = one_of(proof, face("foot", 0.0))
    assert bad.verdict is FAILS
    assert "foot" in bad.findings[0].remedy


def test_cleaned_and_inspected_again(proof: Proof) -> None:
    dirty = face("foot", 0.0, time="2025-11-29T09:00")
    rest = [face(one, time="2025-11-29T09:30") for one in FOUR]
    assert one_of(proof, dirty, *rest).verdict is PASSES
    assert one_of(proof, dirty, *(face(one) for one in FOUR)).verdict is FAILS  # nothing tells which came last


def test_every_zone_counts_and_a_grade_of_unknown_meaning_is_asked(proof: Proof) -> None:
    zones = [face(one, zone=z) for one in FOUR for z in "AB"]
    assert one_of(proof, *zones).verdict is PASSES
    assert one_of(proof, *zones[:-1], face("A2 plug", 0.0, zone="B")).verdict is FAILS
    unknown = one_of(proof, *(face(one) for one in FOUR[:3]), face("A2 plug", None, grade="2b"))
    assert unknown.verdict is NOT
    assert "'2b'" in unknown.sentence


def test_faces_first(proof: Proof) -> None:
    judged, _ = judge(proof, loss(0.25), face("foot"))
    assert "faces" not in keys(judged["T1-F01.ol.1310-up"])
    other, _ = judge(proof, loss(0.25), made.read("end-face-grade", "T1-F02 foot", 1.0))
    assert "faces" in keys(other["T1-F01.ol.1310-up"])


def test_who_measured_both_ways_is_not_told_to(proof: Proof) -> None:
    both, _ = judge(proof, loss(0.5), loss(0.45, way="down"))
    assert {one.verdict for one in both.values()} == {NOT}
    assert not any("both ways" in one.sentence for one in both.values())
    assert all("measure again" in one.sentence for one in both.values())
    assert "both ways" in one_of(proof, loss(0.5)).sentence


# --- the direction of a column ---


@pytest.mark.parametrize(
    ("header", "way"),
    [
        ("Dämpfung 1310 nm hin (dB)", "up"), ("Dämpfung 1310 nm zurück (dB)", "down"), ("1310 nm auf", "up"), ("1310 nm ab", "down"), ("1310 nm her", "down"),
        ("1310 nm Rück", "down"), ("1310 nm forward (dB)", "up"), ("1310 nm back (dB)", "down"), ("1310 nm up", "up"), ("1310 nm A-B", "a-b"), ("1310 nm B-A", "b-a"),
        ("1310 nm hin und zurück", ""), ("1310 nm", ""),
    ],
)  # fmt: skip
def test_a_header_says_the_direction(header: str, way: str) -> None:
    assert conditions_in(header, "optical-loss").get("direction", "") == way


def test_losses_under_german_headers_are_judged_both_ways(proof: Proof, tmp_path: Path) -> None:
    at = tmp_path / "faser.csv"
    at.write_text("Faser;Dämpfung 1310 nm hin (dB);Dämpfung 1310 nm zurück (dB)\nT1-F01;0,30;0,28\n")
    session = judge_files(Judging(proof), take_in([at]))
    assert {row.test for row in session.rows if row.reading} == {"T1-F01.ol.1310-up", "T1-F01.ol.1310-down"}
    (table,) = session.tables
    assert table.mapping is not None
    assert any("taken as up, the source at the foot" in words for words in table.mapping.guesses)


TWO = "Strand;1310 nm one (dB);1310 nm two (dB)\nT1-F01;0,30;0,28\nT1-F02;0,31;0,27\n"


def test_a_column_without_a_direction_is_asked_once(proof: Proof, tmp_path: Path) -> None:
    at = tmp_path / "l.csv"
    at.write_text(TWO)
    rows = judge_files(Judging(proof), take_in([at])).rows
    assert [row.state for row in rows] == ["asked", "asked"]
    assert sorted(row.answers for row in rows) == [
        (f"l.csv: {one} direction is up", f"l.csv: {one} direction is down") for one in "BC"
    ]
    assert not any("l.csv: direction is up" in row.what for row in rows)
    assert all("source at the foot" in row.what for row in rows)


@pytest.mark.parametrize(
    "said", [("B is loss up", "C is loss down"), ("B direction is up", "column C direction is zurück"), ("B is loss at 1310 nm up", "C direction is down")]
)  # fmt: skip
def test_one_sentence_decides_a_column(proof: Proof, tmp_path: Path, said: tuple[str, ...]) -> None:
    at = tmp_path / "l.csv"
    at.write_text(TWO)
    words = words_of([f"l.csv: {one}" for one in said])
    session = judge_files(Judging(proof, words=words), take_in([at]))
    found = {row.test: row.reading.readings[0] for row in session.rows if row.reading is not None}
    assert {test: one.value for test, one in found.items()} == {
        "T1-F01.ol.1310-up": 0.30, "T1-F01.ol.1310-down": 0.28, "T1-F02.ol.1310-up": 0.31, "T1-F02.ol.1310-down": 0.27,
    }  # fmt: skip
    assert all("direction" in one.declared for one in found.values())
    assert not session.left_out


def test_a_direction_that_there_is_not() -> None:
    with pytest.raises(UsageError, match="source at the foot"):
        words_of(["l.csv: B direction is sideways"])


def test_the_direction_of_a_column_is_kept_with_the_table(proof: Proof) -> None:
    """A record reads the table again by what it keeps: roles, and what a person said."""
    said = words_of(["l.csv: B is loss up", "l.csv: C direction is down"]).of("l.csv")
    (read,) = read_tables(TWO.encode(), "l.csv", said, Memory())
    assert read.mapping is not None
    assert read.readings is not None
    kept = ReadAs.model_validate_json(decisions(read.mapping, "", said.conditions).model_dump_json())
    again = readings_again(TWO.encode(), "l.csv", kept)
    assert again.readings == read.readings.readings
    assert [one.condition("direction") for one in again.readings] == ["up", "down", "up", "down"]
    with pytest.raises(UsageError, match="no such column"):
        read_tables(TWO.encode(), "l.csv", words_of(["l.csv: K direction is up"]).of("l.csv"), Memory())
