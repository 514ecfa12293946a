"""Whatever a readable sweep holds, matching and judging end in words, not in an exception, and never pass what is impossible."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from upmast.field.judge import judge_sweep
from upmast.field.match import match_sweep
from upmast.field.measurement import Sweep
from upmast.field.picture import distance_picture, frequency_picture
from upmast.finding import Verdict
from upmast.proof.prove import Proof


@st.composite
def sweeps(draw: st.DrawFn) -> Sweep:
    points = draw(st.sampled_from([1, 2, 3, 15, 16, 17, 101]))
    start = draw(st.sampled_from([0.0, 1.0, 7e8, 1.6e9, 1.7100001e9]))
    step = draw(st.sampled_from([1.0, 1e5, 7e6, 1e9]))
    f = start + step * np.arange(points)
    if draw(st.booleans()) and points > 2:
        f[-1] += 0.4 * step
    size = draw(st.sampled_from([0.0, 1e-9, 0.01, 0.2, 1.0, 1.5, 1e6]))
    turn = draw(st.sampled_from([0.0, 1e-9, 3e-8, 1e-6]))
    gamma = size * np.exp(-4j * np.pi * f * turn) * draw(st.sampled_from([1.0, -1.0, 1j]))
    only = draw(st.booleans())
    nothing = np.full(points, complex(np.nan, np.nan))
    return Sweep("x.s1p", "0" * 64, f, nothing if only else gamma, np.abs(gamma), only, 50.0, "RI")


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(sweeps(), st.sampled_from(["A2-J1", "B1-J1"]), st.sampled_from(["rl.load", "rl.antenna", "loss.short"]))
def test_any_sweep_gets_words(proof: Proof, sweep: Sweep, path: str, test: str) -> None:
    found = match_sweep(proof, sweep)
    assert found.decided is not None or found.question
    judged = judge_sweep(proof, sweep, f"{path}.{test}")
    assert judged.sentence
    assert "nan" not in judged.sentence.lower()
    if sweep.magnitude.max() > 1.1 or sweep.points == 1:
        assert judged.verdict is not Verdict.PASSES
    for finding in judged.findings:
        assert finding.verdict is not Verdict.NOT_JUDGED or finding.missing
    for spec in (frequency_picture(judged), distance_picture(judged)):
        json.dumps(spec, allow_nan=False)


@pytest.mark.parametrize(
    ("start", "size", "turn", "test"),
    [(1.6e9, 1e6, 1e-9, "A2-J1.rl.load"), (1.0, 1e6, 3e-8, "A2-J1.loss.short")],
)
def test_a_sweep_far_above_total_reflection_gets_words(
    proof: Proof, start: float, size: float, turn: float, test: str
) -> None:
    """Peaks of more than total reflection are no echoes that a line can have; they are told, and stop nothing."""
    f = start + 7e6 * np.arange(101)
    gamma = size * np.exp(-4j * np.pi * f * turn)
    judged = judge_sweep(proof, Sweep("x.s1p", "0" * 64, f, gamma, np.abs(gamma), False, 50.0, "RI"), test)
    assert judged.sentence
    assert judged.verdict is not Verdict.PASSES
