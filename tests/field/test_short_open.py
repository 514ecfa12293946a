"""A short and an open end of one path: their mean, in which a bad joint cancels; and that the open end is then no mistake."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from upmast.field.intake import take_in
from upmast.field.judge import Judged, judge_sweep
from upmast.field.measurement import Sweep
from upmast.field.session import Judging, judge_files
from upmast.field.short_open import pairs_of_ends, short_open
from upmast.finding import Verdict
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign

Make = Callable[..., Sweep]


def both(proof: Proof, make: Make, design: PathDesign, joint_db: float = 18.0) -> tuple[Judged, Judged]:
    ends = [
        make(design, end, joints_db={1: joint_db}, file=f"{design.id}.loss.{end}.s1p", low_hz=1.7e9, high_hz=2.2e9)
        for end in ("short", "open")
    ]
    short, opened = (judge_sweep(proof, one, f"{design.id}.loss.short") for one in ends)
    return short, opened


def test_the_mean_is_nearer_to_the_line_than_either(proof: Proof, make: Make, designs: dict[str, PathDesign]) -> None:
    design = designs["B1-J1"]
    sound = [
        judge_sweep(
            proof,
            make(design, "short", joints_db={}, good_db=60.0, low_hz=1.7e9, high_hz=2.2e9),
            f"{design.id}.loss.short",
        )
    ]
    true_db = sound[0].findings[0].value
    short, opened = both(proof, make, design)
    (told,) = short_open(proof, [short, opened])
    mean = float(told.words.split(": ")[1].split(" ")[0])
    ends = [one.findings[0].value for one in (short, opened)]
    assert mean == pytest.approx(sum(ends) / 2, abs=0.01)  # as it is printed
    # a joint of 18 dB itself lets 0.07 dB less through; what it adds by its place is gone
    passed = -10 * np.log10(1 - 10 ** (-18 / 10))
    assert abs(mean - true_db - passed) <= max(abs(one - true_db - passed) for one in ends) + 0.005
    assert told.files == (short.sweep.file, opened.sweep.file)
    assert "limit at most" in told.words


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_either_order_gives_one_pair(
    proof: Proof, make: Make, designs: dict[str, PathDesign], order: tuple[int, int]
) -> None:
    made = both(proof, make, designs["A2-J1"], 40.0)
    ((short, opened),) = pairs_of_ends([made[k] for k in order])
    assert short.sweep.file.endswith("short.s1p")
    assert opened.sweep.file.endswith("open.s1p")
    assert pairs_of_ends(made[:1]) == ()


def test_an_open_end_beside_a_short_is_no_mistake(
    proof: Proof, make: Make, designs: dict[str, PathDesign], tmp_path: Path
) -> None:
    for end in ("short", "open"):
        sweep = make(designs["A2-J1"], end, low_hz=1.7e9, high_hz=2.2e9)
        rows = "\n".join(
            f"{f:.1f} {g.real:.9f} {g.imag:.9f}" for f, g in zip(sweep.frequency_hz, sweep.gamma, strict=True)
        )
        (tmp_path / f"A2-J1.loss.short.{end}.s1p").write_text(f"# Hz S RI R 50\n{rows}\n")
    session = judge_files(Judging(proof), take_in([tmp_path]))
    by_file = {row.file: row for row in session.rows if row.judged is not None}
    assert by_file["A2-J1.loss.short.open.s1p"].folded
    assert not by_file["A2-J1.loss.short.short.s1p"].folded
    told = by_file["A2-J1.loss.short.open.s1p"]
    assert told.what == "A2-J1.loss.short.open.s1p: open end, beside the short of A2-J1.loss.short"
    assert (told.do, told.verdict, told.remarks) == ("", "", ())
    assert [row.verdict for row in session.rows if row.test == "A2-J1.loss.short" and row.verdict] == ["passes"]
    assert by_file["A2-J1.loss.short.short.s1p"].judged.verdict is Verdict.PASSES
    (tmp_path / "A2-J1.loss.short.short.s1p").unlink()
    alone = judge_files(Judging(proof), take_in([tmp_path]))
    (row,) = [one for one in alone.rows if one.judged is not None]
    assert not row.folded
    assert row.judged.verdict is Verdict.NOT_JUDGED
