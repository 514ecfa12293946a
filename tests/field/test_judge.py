"""Sweeps judged against limit and expectation, with guard bands; the sentence says what to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from upmast.errors import UsageError
from upmast.field.judge import Uncertainty, judge_sweep
from upmast.field.measurement import Sweep
from upmast.finding import Verdict
from upmast.limits import Limits
from upmast.proof.limits import standing
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign
from upmast.source import Mark, Source

Make = Callable[..., Sweep]
PASSES, FAILS, NOT = Verdict.PASSES, Verdict.FAILS, Verdict.NOT_JUDGED


def with_limit(proof: Proof, code: str, value: float) -> Proof:
    return replace(proof, limits=Limits({**standing(), code: replace(standing()[code], value=value)}))


@pytest.mark.parametrize("path", ["A2-J1", "A2-J2", "B1-J1"])
def test_sound_lines_pass_and_are_as_designed(
    proof: Proof, designs: dict[str, PathDesign], make: Make, path: str
) -> None:
    for end, suffix in (("load", "rl.load"), ("antenna", "rl.antenna"), ("short", "loss.short")):
        judged = judge_sweep(proof, make(designs[path], end), f"{path}.{suffix}")
        assert [f.verdict for f in judged.findings] == [PASSES, PASSES]
        assert judged.findings[0].subject == f"{path}.{suffix}"
        assert "passes by" in judged.sentence
        assert judged.open_first == ()


def test_worst_in_band_value_is_that_of_the_trace(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    sweep = make(designs["A2-J1"], joints_db={0: 14.0})
    judged = judge_sweep(proof, sweep, "A2-J1")
    f, rl = sweep.frequency_hz, sweep.return_loss_db
    bands = [(1.71e9, 1.785e9), (1.805e9, 1.88e9), (1.92e9, 1.98e9), (2.11e9, 2.17e9)]
    inside = np.any([(f >= a) & (f <= b) for a, b in bands], axis=0)
    assert judged.findings[0].value == pytest.approx(rl[inside].min(), abs=1e-12)
    assert judged.findings[0].value > rl.min()  # outside the bands it is worse, and that does not count
    assert judged.verdict is FAILS


def test_failing_line_names_what_to_open_first(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    judged = judge_sweep(proof, make(designs["B1-J1"], joints_db={1: 14.0}), "B1-J1.rl.load")
    assert judged.verdict is FAILS
    assert judged.open_first[0].joint == "B1-J1.head/B1-FD1.foot"
    assert "Open first: B1-J1.head/B1-FD1.foot" in judged.sentence
    assert judged.findings[0].remedy.startswith("open this first: B1-J1.head/B1-FD1.foot")


def test_passing_line_that_differs_from_design(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    """A joint of 22 dB keeps the limit of 17.7 dB, but no sound line of this design shows it."""
    judged = judge_sweep(proof, make(designs["A2-J1"], joints_db={0: 22.0}), "A2-J1.rl.load")
    assert [f.verdict for f in judged.findings] == [PASSES, FAILS]
    assert judged.verdict is PASSES
    assert "But it differs from design" in judged.sentence
    assert "A2.rf1/A2-J1.foot" in judged.sentence


def test_guard_band(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    sweep = make(designs["A2-J1"])
    value = judge_sweep(proof, sweep, "A2-J1").findings[0].value
    assert value is not None
    gamma, leak = 10 ** (-value / 20), 10 ** (-42 / 20)
    low, high = -20 * np.log10(gamma + leak), -20 * np.log10(gamma - leak)
    code = "rf.sweep-return-loss"
    for limit, verdict in ((low - 0.01, PASSES), (low + 0.01, NOT), (high - 0.01, NOT), (high + 0.01, FAILS)):
        finding = judge_sweep(with_limit(proof, code, limit), sweep, "A2-J1").findings[0]
        assert finding.verdict is verdict
        assert finding.value == pytest.approx(value)
        assert finding.margin == pytest.approx(value - limit)
        if verdict is NOT:
            assert "calibrate again" in finding.missing[0]


def test_declared_uncertainty(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    sweep = make(designs["A2-J1"])
    value = judge_sweep(proof, sweep, "A2-J1").findings[0].value or 0.0
    near = with_limit(proof, "rf.sweep-return-loss", value - 0.4)
    assert judge_sweep(near, sweep, "A2-J1", Uncertainty(reading_db=0.3)).verdict is PASSES
    assert judge_sweep(near, sweep, "A2-J1", Uncertainty(reading_db=0.5)).verdict is NOT


def test_limit_from_memory_is_not_judged(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    code = "rf.sweep-return-loss"
    told = replace(standing()[code], source=Source("some standard", mark=Mark.MEMORY))
    unsure = replace(proof, limits=Limits({**standing(), code: told}))
    finding = judge_sweep(unsure, make(designs["A2-J1"]), "A2-J1").findings[0]
    assert finding.verdict is NOT
    assert finding.margin is not None
    assert "confirm the limit" in finding.missing[0]


def test_wrong_end_is_not_judged(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    judged = judge_sweep(proof, make(designs["A2-J1"], "short"), "A2-J1.rl.load")
    assert judged.verdict is NOT
    assert "not judged: this looks like a short" in judged.sentence
    assert "Do: look at the far end" in judged.sentence


def test_partly_swept_bands_can_fail_but_not_pass(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    design = designs["A2-J1"]
    good = judge_sweep(proof, make(design, high_hz=1.9e9), "A2-J1").findings[0]
    assert good.verdict is NOT
    assert "B1 uplink" in good.missing[0]
    bad = judge_sweep(proof, make(design, high_hz=1.9e9, joints_db={0: 10.0}), "A2-J1").findings[0]
    assert bad.verdict is FAILS


def test_no_band_at_all(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    judged = judge_sweep(proof, make(designs["A2-J1"], low_hz=7e8, high_hz=9e8), "A2-J1")
    assert [f.verdict for f in judged.findings] == [NOT, NOT]
    assert judged.findings[0].value is None


def test_magnitude_only_is_judged_as_evidence_b(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    judged = judge_sweep(proof, make(designs["A2-J1"], magnitude_only=True), "A2-J1")
    assert judged.verdict is PASSES
    assert "evidence B" in judged.findings[0].note
    assert judged.located.trace is None


@pytest.mark.parametrize("path", ["A2-J1", "A2-J2", "B1-J1"])
def test_cable_loss_is_found_whatever_the_joint(
    proof: Proof, designs: dict[str, PathDesign], make: Make, path: str
) -> None:
    """The mean in dB over whole ripples is the loss of the cable, even behind a joint of 18 dB."""
    design = designs[path]
    for bad in (36.0, 18.0):
        finding = judge_sweep(proof, make(design, "short", joints_db={0: bad}), f"{path}.loss.short").findings[0]
        assert finding.value == pytest.approx(float(design.loss_db(1.95e9)), abs=0.03)
        assert finding.verdict is PASSES


def test_lossy_cable_fails(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    design = designs["B1-J1"]
    wet = replace(design, sections=tuple(replace(s, a_db_per_m=2.0 * s.a_db_per_m) for s in design.sections))
    finding = judge_sweep(proof, make(wet, "short"), "B1-J1.loss.short").findings[0]
    assert finding.verdict is FAILS
    assert "water" in finding.remedy


def test_unknown_test_names_those_that_exist(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    with pytest.raises(UsageError, match=r"A2-J1\.rl\.load"):
        judge_sweep(proof, make(designs["A2-J1"]), "Z9-J1.rl.load")


def test_only_the_limit_decides(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    judged = judge_sweep(proof, make(designs["A2-J1"]), "A2-J1")
    assert [f.code for f in judged.findings] == ["rf.sweep-return-loss", "rf.sweep-expected"]
    assert judged.verdict is judged.findings[0].verdict
    assert judged.frequency_hz.shape == judged.measured_db.shape == judged.least_db.shape == judged.greatest_db.shape
    assert np.all(judged.measured_db > judged.least_db)


@pytest.mark.parametrize(
    ("points", "joint_db", "verdict"), [(24, 36.0, NOT), (60, 36.0, PASSES), (24, 9.0, FAILS), (201, 36.0, PASSES)]
)
def test_too_few_points_prove_no_pass(
    proof: Proof, designs: dict[str, PathDesign], make: Make, points: int, joint_db: float, verdict: Verdict
) -> None:
    """Fewer than three in a band prove no pass, fewer than planned are told; a failure stands all the same."""
    design = designs["A2-J1"]
    judged = judge_sweep(proof, make(design, points=points, joints_db={0: joint_db}), "A2-J1")
    assert judged.verdict is verdict
    told = [one for one in judged.remarks if one.key == "points"]
    assert bool(told) is (points < design.sweep.points)
    for one in told:
        assert one.remedy == f"sweep with {design.sweep.points} points or more"
        assert "fewer than 3 in" in one.words or points == 60
        assert one.level == ("stop" if verdict is NOT else "warn")


def test_a_sweep_of_a_longer_line_proves_no_pass(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    judged = judge_sweep(proof, make(designs["A2-J1"], "short", length_error_m=1.0), "A2-J1.loss.short")
    assert judged.verdict is NOT
    assert "the design has 3.00 m" in judged.sentence


def test_few_points_ask_for_the_points_of_the_plan_everywhere(
    proof: Proof, designs: dict[str, PathDesign], make: Make
) -> None:
    design = designs["B1-J1"]
    judged = judge_sweep(proof, make(design, points=60), "B1-J1")
    asked = {one.remedy for one in judged.remarks if one.key in ("points", "range")}
    assert asked == {"sweep with 401 points or more"}  # over this span 206 would do: the next usual count
    assert design.sweep.points <= 401


@pytest.mark.parametrize(("low_hz", "high_hz"), [(1.7e9, 2.2e9), (1.2e9, 3.2e9), (1.6e9, 2.9e9)])
def test_one_limit_for_the_loss_of_a_short_however_wide_the_sweep(
    proof: Proof, designs: dict[str, PathDesign], make: Make, low_hz: float, high_hz: float
) -> None:
    """The plan and the verdict hold the same reading against the same number: the mean over the bands."""
    planned = next(one for one in proof.expectations if one.id == "B1-J1.loss.short").limit
    sweep = make(designs["B1-J1"], "short", low_hz=low_hz, high_hz=high_hz, points=2001)
    judged = judge_sweep(proof, sweep, "B1-J1.loss.short")
    assert judged.limit == planned
    f = sweep.frequency_hz
    inside = (f >= 1.71e9) & (f <= 2.17e9)
    assert judged.findings[0].value == pytest.approx(0.5 * sweep.return_loss_db[inside].mean(), abs=0.02)
