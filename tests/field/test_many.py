"""Many files on several processes give what each gives alone; and what is kept between steps changes nothing."""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from upmast.field import kept
from upmast.field.distance import distance_picture
from upmast.field.judge import judge_sweep
from upmast.field.many import FEW, Settings, Told, judge_each, judge_file, judge_many
from upmast.field.match import match_sweep
from upmast.field.measurement import Sweep
from upmast.field.readers.touchstone import read_file
from upmast.field.setup import termination
from upmast.finding import Verdict
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign

Make = Callable[..., Sweep]


def write(path: Path, sweep: Sweep) -> Path:
    rows = "\n".join(f"{f:.0f} {g.real:.9f} {g.imag:.9f}" for f, g in zip(sweep.frequency_hz, sweep.gamma, strict=True))
    path.write_text(f"# Hz S RI R 50\n{rows}\n", "ascii")
    return path


@pytest.fixture
def files(tmp_path: Path, make: Make, designs: dict[str, PathDesign]) -> list[Path]:
    """Sixty files: sound ones, one bad joint, a short, one that nobody can match, a damaged one, and none."""
    out = []
    for n in range(FEW + 10):
        path = ("A2-J1", "A2-J2", "B1-J1")[n % 3]
        end, joints = ("short" if n == 7 else "load"), ({0: 12.0} if n == 4 else None)
        test = "loss.short" if end == "short" else "rl.load"
        sweep = make(designs[path], end, seed=n, joints_db=joints, points=301)
        out.append(write(tmp_path / f"{n:02d}_{path}.{test}.s1p", sweep))
    out[5].unlink()
    out[5] = write(tmp_path / "05_trace.s1p", make(designs["A2-J1"], low_hz=7e8, high_hz=9e8, points=301))
    out[6].write_bytes(b"# Hz S RI R 50\n1e9 oops 0\n")
    out[8].unlink()
    return out


def test_processes_change_nothing(proof: Proof, files: list[Path]) -> None:
    for how in (Settings(), Settings(fit="doubtful")):
        several = judge_many(proof, files, how)
        alone = [judge_file(proof, path, how) for path in files]
        assert [repr(one) for one in several] == [repr(one) for one in alone]
    assert repr(several) == repr(judge_many(proof, files, how, processes=1))
    states = {one.state for one in several}
    assert states == {"judged", "asked", "unreadable"}
    assert [Path(one.file) for one in several] == files


def test_what_is_told_is_what_a_sweep_alone_gives(proof: Proof, files: list[Path]) -> None:
    for told in judge_many(proof, files[:8], Settings(fit="all")):
        if told.state != "judged":
            continue
        sweep = read_file(Path(told.file))
        match = match_sweep(proof, sweep)
        assert match.decided is not None
        judged = judge_sweep(proof, sweep, match.decided.test_id)
        assert told.test_id == judged.test_id
        assert told.findings == judged.findings
        assert told.verdict is judged.verdict
        assert told.remarks == judged.remarks
        assert told.peaks == judged.located.peaks
        assert told.words == judged.sentence
        assert told.digest == sweep.digest
        assert repr(told.fitted) == repr(judged.fitted)


def test_what_can_not_be_read_or_matched_is_told(proof: Proof, files: list[Path]) -> None:
    told = {Path(one.file).name[:2]: one for one in judge_many(proof, files)}
    assert told["06"].state == "unreadable"
    assert told["06"].faults[0].line == 2
    assert told["08"].state == "unreadable"
    assert "No such file" in told["08"].words
    assert told["05"].state == "asked"
    assert told["05"].words
    assert told["04"].verdict is Verdict.FAILS
    assert told["04"].open_first
    assert told["07"].test_id.endswith("loss.short")


def test_fits_are_made_where_they_are_asked_for(proof: Proof, files: list[Path]) -> None:
    def fitted(fit: str) -> list[bool]:
        return [one.fitted is not None for one in judge_many(proof, files[:5], Settings(fit=fit))]  # type: ignore[arg-type]

    assert fitted("none") == [False] * 5
    assert fitted("doubtful") == [False] * 4 + [True]
    assert fitted("all") == [True] * 5


def test_results_come_as_they_are_ready(proof: Proof, files: list[Path]) -> None:
    each = judge_each(proof, files)
    assert isinstance(next(each), Told)
    each.close()  # type: ignore[attr-defined]
    with pytest.raises(ValueError, match="1 or more"):
        next(judge_each(proof, files, processes=0))


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is closed to this user")
def test_a_file_without_rights(proof: Proof, files: list[Path]) -> None:
    files[0].chmod(0)
    assert judge_file(proof, files[0]).state == "unreadable"


def test_a_fit_is_made_when_it_is_looked_at(
    proof: Proof, make: Make, designs: dict[str, PathDesign], monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = []
    monkeypatch.setattr("upmast.field.judge.fit_sweep", lambda *given: calls.append(given))
    judged = judge_sweep(proof, make(designs["A2-J1"]), "A2-J1")
    assert not calls
    assert judged.fitted is judged.fitted
    assert len(calls) == 1
    assert not judged.doubtful


def test_kept_results_belong_to_their_sweep_and_path(make: Make, designs: dict[str, PathDesign]) -> None:
    one, two = make(designs["A2-J1"], seed=1), make(designs["B1-J1"], seed=2)
    for _ in range(2):
        for sweep in (one, two, replace(one)):
            for path in ("A2-J1", "B1-J1", "A2-J2"):
                fresh = replace(sweep)  # nothing is kept for it
                a, b = distance_picture(sweep, designs[path]), distance_picture(fresh, designs[path])
                assert np.array_equal(a.size, b.size)
                assert np.array_equal(a.distance_m, b.distance_m)
                assert termination(sweep, designs[path]) == termination(fresh, designs[path])
    assert distance_picture(one, designs["A2-J1"]) is distance_picture(one, designs["A2-J1"])
    assert not distance_picture(one, designs["A2-J1"]).size.flags.writeable


def test_a_grid_is_known_by_all_its_frequencies(make: Make, designs: dict[str, PathDesign]) -> None:
    sweep = make(designs["A2-J1"])
    f = sweep.frequency_hz.copy()
    f[500] += 1.0  # the same count and the same ends
    other = replace(sweep, frequency_hz=f)
    by_grid: kept.ByGrid[float] = kept.ByGrid()
    assert by_grid.of(designs["A2-J1"], sweep, None, lambda: 1.0) == 1.0
    assert by_grid.of(designs["A2-J1"], other, None, lambda: 2.0) == 2.0
    assert by_grid.of(designs["A2-J1"], replace(sweep), None, lambda: 3.0) == 1.0
    assert by_grid.of(designs["A2-J2"], sweep, None, lambda: 4.0) == 4.0
    assert by_grid.of(replace(designs["A2-J1"], id="A2-J9"), sweep, None, lambda: 5.0) == 1.0, "alike but for its name"
    assert by_grid.of(replace(designs["A2-J1"], antenna_vswr=1.4), sweep, None, lambda: 5.0) == 5.0
    assert by_grid.of(designs["A2-J1"], sweep, "x", lambda: 6.0) == 6.0


def test_a_path_from_another_process_is_taken_for_no_other(designs: dict[str, PathDesign]) -> None:
    """What was kept for one path must never be found by another that came with a pickle, or went through one."""
    kinds = {id: kept.kind_of(design) for id, design in designs.items()}
    came: dict[str, PathDesign] = pickle.loads(pickle.dumps(designs))
    for id, design in came.items():
        assert kept.kind_of(design) not in kinds.values()
        assert kept.kind_of(design) is kept.kind_of(design)
        same = [other for other in designs if kinds[other] is kinds[id]]
        assert [other for other in came if kept.kind_of(came[other]) is kept.kind_of(design)] == same
    fresh = {id: replace(design) for id, design in designs.items()}
    assert all(kept.kind_of(fresh[id]) is kinds[id] for id in designs)


def test_what_is_kept_is_bounded(make: Make, designs: dict[str, PathDesign]) -> None:
    sweep = make(designs["A2-J1"], points=51)
    by_grid: kept.ByGrid[int] = kept.ByGrid()
    for n in range(3 * kept.RESULTS):
        by_grid.of(designs["A2-J1"], sweep, n, lambda n=n: n)  # type: ignore[misc]
    assert len(by_grid._known) <= kept.RESULTS
    for n in range(3 * kept.GRIDS):
        kept._grid_of(replace(sweep, frequency_hz=sweep.frequency_hz + n))
    assert len(kept._grids) <= kept.GRIDS


def test_shares_are_percentiles(make: Make, designs: dict[str, PathDesign]) -> None:
    """numpy.percentile, its linear way."""
    sweep = make(designs["A2-J1"], points=202)
    for share in (0.0, 0.05, 0.2, 0.5, 0.95, 1.0):
        assert sweep.share_db(share) == pytest.approx(np.percentile(sweep.bounded_db, 100 * share), abs=1e-12)
