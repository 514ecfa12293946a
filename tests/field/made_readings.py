"""Readings made by hand for the tests, and a proof with expectations of one's own."""

from __future__ import annotations

from dataclasses import replace

from upmast.field.readers.reading import KINDS, Condition, Reading, Readings
from upmast.field.reading_judge import AskedReading, JudgedReading, judge_readings
from upmast.finding import Expectation, Verdict
from upmast.limits import Limits
from upmast.proof.limits import standing
from upmast.proof.prove import Proof

PASSES, FAILS, NOT = Verdict.PASSES, Verdict.FAILS, Verdict.NOT_JUDGED
CARRIERS: dict[str, Condition] = {
    "carrier_1_dbm": 43.0, "carrier_2_dbm": 43.0, "tone_1_hz": 1.8525e9, "tone_2_hz": 2.1125e9, "order": 3.0, "mode": "dynamic",
}  # fmt: skip


def read(
    kind: str, subject: str, value: float | None, *, comparator: str = "", row: int = 1, column: int = 2, file: str = "a.csv", unit: str | None = None,
    time: str = "", instrument: str = "", serial: str = "", written: str = "", **conditions: Condition,
) -> Reading:  # fmt: skip
    return Reading(
        kind, subject, value, comparator, KINDS[kind].unit if unit is None else unit, tuple(sorted(conditions.items())), instrument, serial, time,
        row, column, written or ("" if value is None else f"{value:g}"), file,
    )  # fmt: skip


def judge(
    proof: Proof, *readings: Reading, **given: object
) -> tuple[dict[str, JudgedReading], tuple[AskedReading, ...]]:
    """Judge, each row numbered; the judged by test id."""
    rows = tuple(replace(one, row=n) if one.row == 1 else one for n, one in enumerate(readings, 2))
    judged, asked = judge_readings(proof, [Readings("a.csv", "", rows)], **given)  # type: ignore[arg-type]
    return {one.test_id: one for one in judged}, asked


def one_of(proof: Proof, *readings: Reading, **given: object) -> JudgedReading:
    """Judge readings of one test."""
    judged, asked = judge(proof, *readings, **given)
    assert not asked, asked[0].question
    assert len(judged) == 1
    return next(iter(judged.values()))


def keys(judged: JudgedReading) -> dict[str, str]:
    """Remarks by key, with their level."""
    return {one.key: one.level for one in judged.remarks}


def with_limit(proof: Proof, code: str, value: float) -> Proof:
    """The same proof with another limit of a code."""
    return replace(proof, limits=Limits({**standing(), code: replace(standing()[code], value=value)}))


def with_tests(proof: Proof, *tests: Expectation) -> Proof:
    """The same proof with these expectations, in place of those of the same id."""
    out, ids = replace(proof), {one.id for one in tests}
    out.__dict__["expectations"] = (*(one for one in proof.expectations if one.id not in ids), *tests)
    return out
