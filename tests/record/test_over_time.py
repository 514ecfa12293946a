"""Sweeps of one path over its days, and what is known of spares."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from upmast.errors import UsageError
from upmast.field.measurement import Sweep
from upmast.line.line import Link
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign
from upmast.record.closeout import closeout_of
from upmast.record.closeout_matters import Review
from upmast.record.days import doubts_in
from upmast.record.evidence import file_sweep
from upmast.record.kinds import FindingKept, Judgement, Measurement, make
from upmast.record.over_time import over_time, spares
from upmast.record.record import Record
from upmast.record.whole import whole_of

from .packs import whole_proof
from .test_evidence import text_of

_spec = importlib.util.spec_from_file_location("field_swept", Path(__file__).parents[1] / "field" / "swept.py")
assert _spec is not None
assert _spec.loader is not None
swept = importlib.util.module_from_spec(_spec)
sys.modules["field_swept"] = swept
_spec.loader.exec_module(swept)


@pytest.fixture
def whole(proof: Proof) -> Proof:
    return whole_proof(proof)


def dated(sweep: Sweep, day: str) -> bytes:
    return f"! Date: {day}\n! Temperature: 20 C\n".encode() + text_of(sweep)


def two_days(design: PathDesign, loss: float, joint_db: float, seed: int = 3) -> dict[str, bytes]:
    """A load and a short on two days; on the second the cable loses more and the joint behind the first is worse."""
    rng = np.random.default_rng(seed)
    built = {**swept.specimen(design, rng), "db": np.full(len(design.joints), 34.0)}
    later = {**built, "db": built["db"].copy()}
    later["db"][1] -= joint_db
    out = {}
    for day, one, more in (("2024-05-01", built, 1.0), ("2026-05-01", later, loss)):
        for test, name in (("load", "rl.load"), ("short", "loss.short")):
            made = swept.sweep_of(design, one, rng, test, points=801, span=(1.5e9, 2.4e9), loss=more, stretch=2e-5)
            out[f"{day}.{design.id}.{name}.s1p"] = dated(made, day)
    return out


def filed(record: Record, proof: Proof, files: dict[str, bytes]) -> None:
    with record.writing("S1", "K. Ode") as writing:
        for name, data in files.items():
            file_sweep(writing, proof, data, name, test=name.split(".", 1)[1].removesuffix(".s1p"))


def test_a_joint_that_went_bad_between_two_days_is_named(
    lone: Record, whole: Proof, designs: dict[str, PathDesign]
) -> None:
    filed(lone, whole, two_days(designs["B1-J1"], 1.25, 8.0))
    found = over_time(whole, whole_of(lone, "S1"), lone.content, "b1-j1")
    assert [one.day for one in found.sweeps] == ["2024-05-01"] * 2 + ["2026-05-01"] * 2
    assert {one.day_by for one in found.sweeps} == {"the file"}
    assert {one.temperature_c for one in found.sweeps} == {20.0}
    assert any("resistive contact" in one.words for one in found.told)
    assert not found.faults


def test_sound_days_say_nothing(lone: Record, whole: Proof, designs: dict[str, PathDesign]) -> None:
    filed(lone, whole, two_days(designs["B1-J1"], 1.0, 0.0))
    found = over_time(whole, whole_of(lone, "S1"), lone.content, "B1-J1")
    assert len(found.sweeps) == 4
    assert not [one for one in found.told if one.level != "note"]


def test_without_a_date_no_sweep_is_put_in_an_order(lone: Record, whole: Proof, designs: dict[str, PathDesign]) -> None:
    files = {name: data.split(b"\n", 2)[2] for name, data in two_days(designs["B1-J1"], 1.0, 0.0).items()}
    filed(lone, whole, files)
    found = over_time(whole, whole_of(lone, "S1"), lone.content, "B1-J1")
    assert {(one.day, one.day_by, one.filed) for one in found.sweeps} == {("", "not known", "2026-05-04")}
    assert found.days == ()
    assert found.told == ()


def loads(design: PathDesign, days: dict[str, float]) -> dict[str, bytes]:
    """A sweep with a load of each day, with the joint behind the first worse by so many dB; '-' before a day leaves it out of the file."""
    rng = np.random.default_rng(3)
    built = {**swept.specimen(design, rng), "db": np.full(len(design.joints), 36.0)}
    out = {}
    for day, fall in days.items():
        one = {**built, "db": built["db"].copy()}
        one["db"][1] -= fall
        made = swept.sweep_of(design, one, rng, "load", points=801, span=(1.5e9, 2.4e9), stretch=2e-5)
        out[f"{day}.{design.id}.rl.load.s1p"] = text_of(made) if day.startswith("-") else dated(made, day)
    return out


def test_a_standing_failure_is_first_and_an_undated_file_is_in_no_order(
    lone: Record, whole: Proof, designs: dict[str, PathDesign]
) -> None:
    """The undated file was filed on a later day than any sweep was made; filing says nothing of when it was made."""
    filed(lone, whole, loads(designs["B1-J1"], {"-x": 0.0, "2025-12-01": 0.0, "2026-03-01": 5.0, "2026-05-01": 26.0}))
    found = over_time(whole, whole_of(lone, "S1"), lone.content, "B1-J1")
    assert [one.day for one in found.sweeps] == ["2025-12-01", "2026-03-01", "2026-05-01", ""]
    assert [one.day for one in found.failing] == ["2026-05-01"]
    assert found.told
    assert not [one for one in found.told if "nothing" in one.remedy or "as it was" in one.words]
    assert not [one for one in found.told if "2026-05-04" in one.words]


def test_the_worst_day_between_is_told(lone: Record, whole: Proof, designs: dict[str, PathDesign]) -> None:
    days = {"2025-01-01": 0.0, "2025-04-01": 0.0, "2025-07-01": 26.0, "2025-10-01": 6.0, "2026-01-01": 0.0}
    filed(lone, whole, loads(designs["B1-J1"], days))
    found = over_time(whole, whole_of(lone, "S1"), lone.content, "B1-J1")
    assert not found.failing  # the last day passes
    first, last = found.told[0], found.told[-1]
    assert first.words.startswith("between first and last day")
    assert "2025-07-01" in first.words
    assert first.level == "warn"
    assert "2026-01-01: as it was, within repeatability" in last.words
    assert "B1-J1.rl.load fails on a day of these" in last.remedy


def test_a_copy_with_another_day_is_no_second_measurement(
    lone: Record, whole: Proof, designs: dict[str, PathDesign]
) -> None:
    """A good sweep, a failing one, and the good one again with a later day in its comment."""
    files = loads(designs["B1-J1"], {"2025-12-01": 0.0, "2026-03-01": 26.0})
    good = files["2025-12-01.B1-J1.rl.load.s1p"]
    files["2026-05-01.B1-J1.rl.load.s1p"] = good.replace(b"2025-12-01", b"2026-05-01")
    filed(lone, whole, files)
    read = whole_of(lone, "S1")
    found = over_time(whole, read, lone.content, "B1-J1")
    assert any("no second measurement" in one.words for one in found.told)
    assert not [one for one in found.told if "as it was" in one.words]
    words = doubts_in(read, whole.line.digest, ["B1-J1.rl.load"])["B1-J1.rl.load"]
    assert len(words) == 1
    assert "2026-05-01.B1-J1.rl.load.s1p of 2026-05-01 holds the same samples, noise included, as 2025-12-01.B1-J1.rl.load.s1p of 2025-12-01" in words[0]  # fmt: skip
    assert "it decides now (passes)" in words[0]
    closeout = closeout_of(whole, read, date(2026, 5, 5))
    (matter,) = Review(closeout).of("same evidence twice")
    assert matter.subject == "B1-J1.rl.load"
    assert matter.words == words[0]
    assert "saved twice" in matter.remedy


def test_one_file_filed_again_with_its_day_is_no_copy(
    lone: Record, whole: Proof, designs: dict[str, PathDesign]
) -> None:
    (data,) = loads(designs["B1-J1"], {"-x": 0.0}).values()
    for measured in ("", "2026-05-01"):
        with lone.writing("S1", "K. Ode") as writing:
            file_sweep(writing, whole, data, "a.s1p", test="B1-J1.rl.load", measured=measured)
    assert not doubts_in(whole_of(lone, "S1"), whole.line.digest, ["B1-J1.rl.load"])


def test_a_path_that_is_not_there_is_refused(lone: Record, whole: Proof) -> None:
    with pytest.raises(UsageError, match="there are A2-J1"):
        over_time(whole, whole_of(lone, "S1"), lone.content, "Z9-J9")


def test_a_spare_says_who_told_its_last_day(lone: Record, whole: Proof) -> None:
    """Without a day of measurement it is that of filing, and it says so."""
    link = Link("T1-G1", "T1.foot.f2", "T1.head.f2", "growth", "")
    kept = replace(whole, line=replace(whole.line, links=(*whole.line.links, link)))
    name = next(one.name for one in spares(kept, whole_of(lone, "S1")) if one.what == "strand")
    test = next(one.id for one in kept.expectations if one.id.startswith(f"{name}."))
    for day, by in (("", "the day of filing"), ("2031-01-01", "the measurement")):
        with lone.writing("S1", "K. Ode") as writing:
            measurement = make(Measurement, sort="fibre.loss", name=f"a{day}.csv", content=writing.keep(day.encode() + b"x"), evidence="B", samples="1" * 64, reader="table", measured=day)  # fmt: skip
            found = FindingKept(code="fibre.loss", subject=test, verdict="passes", value=0.1, unit="dB")
            writing.add(
                make(
                    Judgement, measurement=writing.add(measurement), test=test, line=kept.line.digest, verdict="passes", findings=(found,),
                    inputs="2" * 64, rules="rules 1", program="upmast 0.1",
                )
            )  # fmt: skip
        (one,) = [one for one in spares(kept, whole_of(lone, "S1")) if one.name == name]
        assert one.day_by == by
        assert (one.last_day == day) == bool(day)


def test_spares_are_lines_of_their_own(lone: Record, whole: Proof) -> None:
    link = Link("T1-G1", "T1.foot.f2", "T1.head.f2", "growth", "")
    kept = replace(whole, line=replace(whole.line, links=(*whole.line.links, link)))
    found = {one.name: one for one in spares(kept, whole_of(lone, "S1"))}
    strands = {name for name, one in found.items() if one.what == "strand"}
    assert strands
    assert all(found[name].kept_for == "growth" and found[name].done == 0 and found[name].tests for name in strands)
    # without a kept link no strand is one
    assert not [one for one in spares(whole, whole_of(lone, "S1")) if one.what == "strand"]
    pairs = [one for one in spares(whole, whole_of(lone, "S1")) if one.what == "pair"]
    joined = {end for end in whole.line.joined if ".foot.dc" in end}
    assert all(f"{one.name.split('-P')[0]}.foot.dc{int(one.name.split('-P')[1])}" not in joined for one in pairs)
