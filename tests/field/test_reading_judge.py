"""All kinds together: tables as they are read, order, groups, answers, and what must hold for any reading."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn

from upmast.codes import codes
from upmast.errors import UsageError
from upmast.field.readers.reading import Reading, Readings
from upmast.field.readers.table import read_table
from upmast.field.readers.values_table import guess_values, read_values
from upmast.field.reading_case import Case, against
from upmast.field.reading_doubt import Doubt, Span
from upmast.field.reading_judge import judge_readings
from upmast.finding import Authority, Expectation, Limit, Sense, Stage
from upmast.proof.prove import Proof
from upmast.source import Mark, Source

_spec = importlib.util.spec_from_file_location("made_readings", Path(__file__).parent / "made_readings.py")
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)
judge, one_of, keys = made.judge, made.one_of, made.keys
PASSES, FAILS, NOT = made.PASSES, made.FAILS, made.NOT


def table(text: str, **declared: float | str) -> Readings:
    found = read_table(text.encode(), "a.csv")
    return read_values(found, guess_values(found), declared=declared)


def test_a_table_of_losses_from_file_to_verdict(proof: Proof) -> None:
    raw = "Strand;1310 nm up (dB);1310 nm down (dB);1550 nm up (dB)\nT1-F01;0,26;0,28;0,25\nstrand 2 of T1;0,95;0,93;0,90\nT1-F09;0,3;0,3;0,3\n"
    judged, asked = judge_readings(proof, [table(raw)])
    verdicts = {one.test_id: one.verdict for one in judged}
    assert verdicts == {
        "T1-F01.ol.1310-up": PASSES, "T1-F01.ol.1310-down": PASSES, "T1-F01.ol.1550-up": PASSES, "T1-F02.ol.1310-up": FAILS,
        "T1-F02.ol.1310-down": FAILS, "T1-F02.ol.1550-up": FAILS,
    }  # fmt: skip
    assert len(asked) == 3
    assert all("T1 has no test of optical loss by that name" in one.question and one.candidates for one in asked)
    assert {one.file for one in judged} == {"a.csv"}


def test_mixed_kinds_and_declared_conditions(proof: Proof) -> None:
    pairs = table("Pair;Loop resistance (mΩ);IR @ 250 V (MΩ)\nT1-P01;153;>500\nT1-P02;153;0,02\n", temperature_c=20.0)
    judged, asked = judge_readings(proof, [pairs], uncertainties={"loop-resistance": "four-wire"})
    assert not asked
    assert [(one.test_id, one.verdict) for one in judged] == [
        ("T1-P01.rloop.20", PASSES), ("T1-P02.rloop.20", PASSES), ("T1-P01.ir.250", PASSES), ("T1-P02.ir.250", FAILS),
    ]  # fmt: skip


def test_what_a_person_typed_is_told(proof: Proof) -> None:
    (one, *_), _ = judge_readings(proof, [table("Pair;Loop resistance (mΩ)\nT1-P01;153\n", temperature_c=20.0)])
    assert "temperature_c" in next(r.words for r in one.remarks if r.key == "declared")


def test_the_least_sure_match_of_a_group_is_told(proof: Proof) -> None:
    sure, bare = (made.read("loop-resistance", one, 0.153, temperature_c=20.0) for one in ("T1-P01", "T1/1"))
    for order in ((sure, bare), (bare, sure)):
        assert one_of(proof, *order).confidence == 0.75
    assert one_of(proof, sure).confidence == 0.95


def test_answers_are_taken_and_rows_left_out(proof: Proof) -> None:
    rows = [
        made.read("optical-loss", "the long one", 0.26, wavelength_nm=1310.0, direction="up", row=3),
        made.read("optical-loss", "spare reel", 0.26, wavelength_nm=1310.0, direction="up", row=4),
    ]
    _, asked = judge(proof, *rows)
    assert len(asked) == 2
    said = {asked[0].key: "T1-F01.ol.1310-up", "spare reel": "-"}
    judged, left = judge(proof, *rows, said=said)
    assert list(judged) == ["T1-F01.ol.1310-up"]
    assert left == ()


def test_without_an_uncertainty_nothing_is_judged(proof: Proof, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("upmast.field.reading_doubt.classes", lambda kind="": ())
    for one in (
        made.read("optical-loss", "T1-F01", 0.3, wavelength_nm=1310.0, direction="up"), made.read("loop-resistance", "T1-P01", 0.15, temperature_c=20.0),
        made.read("insulation-resistance", "T1-P01", 500.0, test_voltage_v=250.0), made.read("bond-resistance", "A2-E1", 2.0),
        made.read("pim", "A2-J1", -160.0, **made.CARRIERS),
    ):  # fmt: skip
        judged = one_of(proof, one)
        assert judged.verdict is NOT
        assert "the uncertainty of the instrument" in judged.sentence
        assert "state it" in judged.sentence


def test_wrong_classes_and_too_many_are_refused(proof: Proof) -> None:
    one = made.read("bond-resistance", "A2-E1", 2.0)
    with pytest.raises(UsageError, match="no class 'guess'"):
        judge(proof, one, uncertainties={"bond-resistance": "guess"})
    with pytest.raises(UsageError):
        judge(proof, one, uncertainties={"bond-resistance": -1.0})
    with pytest.raises(UsageError, match="file by file"):
        judge_readings(proof, [Readings("a.csv", "", (one,) * 200_001)])


GOOD: dict[
    str, tuple[str, dict[str, float | str], float, float]
] = {  # subject, conditions, and a range far on the good side
    "optical-loss": ("T1-F01", {"wavelength_nm": 1310.0, "direction": "up"}, 0.0, 0.3),
    "loop-resistance": ("T1-P01", {"temperature_c": 20.0, "instrument": "four-wire"}, 0.140, 0.158),
    "insulation-resistance": ("T1-P01", {"test_voltage_v": 250.0}, 1.0, 1e6),
    "pim": ("A2-J1", made.CARRIERS, -250.0, -152.0),
}


@st.composite
def good(draw: DrawFn) -> Reading:
    kind = draw(st.sampled_from(sorted(GOOD)))
    subject, conditions, low, high = GOOD[kind]
    made_one: Reading = made.read(kind, subject, draw(st.floats(low, high)), **conditions)
    return made_one


@given(good())
@settings(max_examples=60, deadline=None)
def test_far_on_the_good_side_always_passes(proof: Proof, one: Reading) -> None:
    judged = one_of(proof, one)
    assert judged.verdict is PASSES, judged.sentence


VALUES = st.floats(allow_nan=True, allow_infinity=True) | st.none()
KINDS = st.sampled_from(
    ["optical-loss", "loop-resistance", "insulation-resistance", "pim", "bond-resistance", "end-face-grade", "humidity-spot", "torque", "voltage"]
)  # fmt: skip


@st.composite
def any_reading(draw: DrawFn) -> Reading:
    """A reading as no reader would give it: any value, any comparator, any conditions."""
    kind = draw(KINDS)
    subject = draw(st.sampled_from(["T1-F01", "T1-P01", "A2-J1", "A2-E1", "A2", "T1"]) | st.text(max_size=20))
    names = [
        "carrier_1_dbm",
        "carrier_2_dbm",
        "tone_1_hz",
        "tone_2_hz",
        "temperature_c",
        "test_voltage_v",
        "wavelength_nm",
        "order",
        "product_hz",
    ]
    conditions = draw(st.dictionaries(st.sampled_from(names), st.floats(allow_nan=True, allow_infinity=True) | st.text(max_size=5), max_size=5))  # fmt: skip
    words = draw(st.dictionaries(st.sampled_from(["direction", "changed", "zone", "side", "mode", "between", "remark", "grade"]), st.text(max_size=10), max_size=4))  # fmt: skip
    out: Reading = made.read(
        kind, subject, draw(VALUES), comparator=draw(st.sampled_from(["", "<", ">"])), unit=draw(st.sampled_from(["dBm", "dBc"])) if kind == "pim" else None,
        row=draw(st.integers(1, 9)), time=draw(st.sampled_from(["", "2025-11-29", "2025-11-29T10:00"])), **{**conditions, **words},
    )  # fmt: skip
    return out


@given(st.lists(any_reading(), max_size=5))
@settings(max_examples=150, deadline=None)
def test_any_reading_is_judged_or_asked_and_order_does_not_matter(proof: Proof, rows: list[Reading]) -> None:
    known = codes()
    judged, asked = judge_readings(proof, [Readings("a.csv", "", tuple(rows))])
    assert sum(len(one.readings) for one in judged) + sum(one.count for one in asked) == len(
        [r for r in rows if "residual" not in r.subject.lower()]
    )
    for one in judged:
        assert one.findings
        assert one.sentence
        assert one.verdict is one.findings[0].verdict
        for finding in one.findings:
            assert finding.code in known
            assert finding.stage is Stage.ACCEPTANCE or finding.limit is None
            assert finding.unit == known[finding.code].unit or finding.value is None
            if finding.verdict is NOT:
                assert finding.missing
        assert one.as_data()["test"] == one.test_id
    turned, _ = judge_readings(proof, [Readings("a.csv", "", tuple(rows[::-1]))])
    assert repr([(one.findings, one.remarks, one.sentence) for one in judged]) == repr([(one.findings, one.remarks, one.sentence) for one in turned])  # fmt: skip


def bare_case(proof: Proof) -> Case:
    return Case(proof, Expectation("X.y.z", "X", "", "", "V", (0.0,), (1.0,), ""), (), {}, lambda _: Doubt(0.0))


@given(st.floats(-100, 100), st.floats(0, 10), st.floats(-100, 100), st.sampled_from(list(Sense)))
def test_the_guard_band_is_symmetric(proof: Proof, value: float, off: float, edge: float, sense: Sense) -> None:
    """Mirrored at the limit, a pass becomes a fail and the doubtful stays doubtful; without doubt it is the plain comparison."""

    def verdict(at: float, doubt: float) -> object:
        limit = Limit(
            "power.voltage-on-site",
            edge,
            "V",
            sense,
            Authority.PRACTICE,
            Source("by hand", mark=Mark.PRACTICE),
            Stage.ACCEPTANCE,
        )
        return against(
            "power.voltage-on-site",
            bare_case(proof),
            Span(at, at - doubt, at + doubt),
            limit,
            unit="V",
            decide="read again",
        ).verdict

    if abs(abs(value - edge) - off) < 1e-6:
        return  # at the very edge of the band
    mirrored = {PASSES: FAILS, FAILS: PASSES, NOT: NOT}
    assert verdict(2 * edge - value, off) is mirrored[verdict(value, off)]
    assert (verdict(value, off) is NOT) is (abs(value - edge) < off)


def test_only_the_limit_decides(proof: Proof) -> None:
    """A loss that keeps a loose limit of the operator, but is more than any part explains."""
    wide = made.with_limit(proof, "fibre.loss-expected", 0.0)
    loose = Limit(
        "fibre.loss",
        3.0,
        "dB",
        Sense.AT_MOST,
        Authority.OPERATOR,
        Source("a contract", mark=Mark.DECLARED),
        Stage.ACCEPTANCE,
    )
    tests = tuple(replace(one, limit=loose) if one.id == "T1-F01.ol.1310-up" else one for one in wide.expectations)
    wide.__dict__["expectations"] = tests
    judged = one_of(wide, made.read("optical-loss", "T1-F01", 2.0, wavelength_nm=1310.0, direction="up"))
    assert [f.verdict for f in judged.findings] == [PASSES, FAILS]
    assert judged.verdict is PASSES
    assert "But it differs from design by 1.48 dB" in judged.sentence
