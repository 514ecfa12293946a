"""From file to verdict: the sample sweeps are read, matched, judged and located in one go."""

from __future__ import annotations

from pathlib import Path

import pytest

from upmast.field.judge import judge_sweep
from upmast.field.match import match_sweep
from upmast.field.readers.touchstone import read_file
from upmast.finding import Verdict
from upmast.proof.prove import Proof

SAMPLES = Path(__file__).parent.parent / "measurements"


@pytest.mark.parametrize(
    ("name", "test_id", "verdict", "first"),
    [
        ("A2-J1.rl.load.s1p", "A2-J1.rl.load", Verdict.PASSES, ""),
        ("A2-J1.rl.antenna.s1p", "A2-J1.rl.antenna", Verdict.PASSES, ""),
        ("A2-J1.loss.short.s1p", "A2-J1.loss.short", Verdict.PASSES, ""),
        ("A2-J1.rl.load.bad-joint.s1p", "A2-J1.rl.load", Verdict.FAILS, "A2.rf1/A2-J1.foot"),
    ],
)
def test_from_file_to_verdict(proof: Proof, name: str, test_id: str, verdict: Verdict, first: str) -> None:
    sweep = read_file(SAMPLES / name)
    found = match_sweep(proof, sweep)
    assert found.decided is not None
    assert found.decided.test_id == test_id
    judged = judge_sweep(proof, sweep, found.decided.test_id)
    assert judged.verdict is verdict
    assert [p.joint for p in judged.open_first] == ([first] if first else [])
    assert test_id in judged.sentence
