"""Sweeps find their test by content; alike ones are told apart by name only, and in doubt it asks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from upmast.field.delays import end_delay_s
from upmast.field.judge import judge_sweep
from upmast.field.match import match_among, match_sweep, name_says
from upmast.field.measurement import Sweep
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign

Make = Callable[..., Sweep]
Rename = Callable[[Sweep, str], Sweep]
SUFFIX = {"load": "rl.load", "antenna": "rl.antenna", "short": "loss.short"}


@pytest.mark.parametrize("path", ["A2-J1", "A2-J2", "B1-J1"])
@pytest.mark.parametrize("end", ["load", "antenna", "short"])
def test_content_alone_finds_the_test(
    proof: Proof, designs: dict[str, PathDesign], make: Make, path: str, end: str
) -> None:
    found = match_sweep(proof, make(designs[path], end, file="trace017.s1p"))
    assert found.decided is not None
    assert found.decided.test_id == f"{path}.{SUFFIX[end]}"
    assert not found.decided.named
    assert found.decided.reasons
    assert sum(c.confidence for c in found.candidates) == pytest.approx(1.0)


def test_name_against_content_asks(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    found = match_sweep(proof, make(designs["A2-J1"], "short", file="B1-J1.loss.short.s1p"))
    assert found.decided is None
    assert found.candidates[0].path_id == "A2-J1"
    assert "which is it?" in found.question


def test_alike_asks_and_the_name_decides(
    proof: Proof, designs: dict[str, PathDesign], make: Make, renamed: Rename
) -> None:
    """A bad last joint and an antenna look alike from below."""
    sweep = make(designs["A2-J2"], joints_db={1: 17.0})
    asked = match_sweep(proof, sweep)
    assert asked.decided is None
    assert {c.test_id for c in asked.candidates} == {"A2-J2.rl.load", "A2-J2.rl.antenna"}
    assert "A2-J2.rl.load" in asked.question
    named = match_sweep(proof, renamed(sweep, "site 7_a2-j2.RL.LOAD.s1p"))
    assert named.decided is not None
    assert named.decided.test_id == "A2-J2.rl.load"
    assert named.decided.named


def test_without_phase_the_paths_are_alike(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    found = match_sweep(proof, make(designs["A2-J1"], magnitude_only=True))
    assert found.decided is None
    assert {c.path_id for c in found.candidates} == {"A2-J1", "A2-J2", "B1-J1"}


def test_another_band_fits_nothing(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    found = match_sweep(proof, make(designs["A2-J1"], low_hz=700e6, high_hz=960e6, file="x.s1p"))
    assert found.decided is None
    assert found.candidates == ()
    assert "fits no RF test" in found.question


@pytest.mark.parametrize("path", ["A2-J1", "A2-J2", "B1-J1"])
def test_electrical_length(designs: dict[str, PathDesign], make: Make, path: str) -> None:
    for end in ("load", "short"):
        assert end_delay_s(make(designs[path], end)) == pytest.approx(designs[path].delay_s, rel=0.01)


@pytest.mark.parametrize(
    ("file", "said"),
    [
        ("A2-J1.rl.load.s1p", (True, True)),
        ("a2-j1.RL.LOAD.S1P", (True, True)),
        ("C:\\sweeps\\S1 A2-J1.rl.load (2).s1p", (True, True)),
        ("A2-J1.s1p", (False, True)),
        ("A2-J11.s1p", (False, False)),
        ("BA2-J1.s1p", (False, False)),
        ("trace.s1p", (False, False)),
    ],
)
def test_ids_in_file_names_are_whole_words(file: str, said: tuple[bool, bool]) -> None:
    assert name_says(file, "A2-J1.rl.load", "A2-J1") == said


def test_two_alike_jumpers_are_told_by_name_only(designs: dict[str, PathDesign], make: Make, renamed: Rename) -> None:
    twins = [replace(designs["A2-J1"], id=name) for name in ("A2-J3", "A2-J4")]
    assert twins[0].alike == twins[1].alike
    sweep = make(designs["A2-J1"], file="trace.s1p")
    asked = match_among(twins, sweep)
    assert asked.decided is None
    assert [c.confidence for c in asked.candidates] == [0.5, 0.5]
    named = match_among(twins, renamed(sweep, "A2-J4.s1p"))
    assert named.decided is not None
    assert named.decided.test_id == "A2-J4.rl.load"
    assert "the file name says A2-J4" in named.decided.reasons


def test_a_full_name_holds_a_sweep_that_fits_no_test(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    """Its set-up is told then; a name that says the path alone is asked with the tests of the path."""
    beyond = {"low_hz": 3.3e9, "high_hz": 3.8e9}
    held = match_sweep(proof, make(designs["A2-J1"], file="A2-J1.rl.load.s1p", **beyond))
    assert held.decided is not None
    assert held.decided.test_id == "A2-J1.rl.load"
    assert held.decided.score == 0.0
    asked = match_sweep(proof, make(designs["A2-J1"], file="A2-J1.s1p", **beyond))
    assert asked.decided is None
    assert {c.test_id for c in asked.candidates} == {f"A2-J1.{one}" for one in SUFFIX.values()}
    assert "A2-J1" in asked.question
    assert sum(c.confidence for c in asked.candidates) == pytest.approx(1.0)
    unnamed = match_sweep(proof, make(designs["A2-J1"], file="trace.s1p", **beyond))
    assert unnamed.decided is None
    assert unnamed.candidates == ()


@pytest.mark.parametrize("name", ["A2-J1.rl.antenna.s1p", "A2-J1.loss.short.s1p", "07 a2-j1.rl.antenna night.s1p"])
def test_a_load_left_on_is_the_test_of_its_name(
    proof: Proof, designs: dict[str, PathDesign], make: Make, name: str
) -> None:
    """Wherever a sweep is matched, so that what stands at the end is told; never passed off as the sweep with a load."""
    sweep = make(designs["A2-J1"], file=name)
    assert match_among(list(designs.values()), sweep).decided is not None
    found = match_sweep(proof, sweep).decided
    assert found is not None
    assert found.test_id == ("A2-J1.loss.short" if "short" in name else "A2-J1.rl.antenna")
    assert any("its name says" in one for one in found.reasons)
    judged = judge_sweep(proof, sweep, found.test_id)
    assert str(judged.verdict) == "not judged"


def test_a_hole_does_not_ask_for_the_test_that_is_named(
    proof: Proof, designs: dict[str, PathDesign], make: Make
) -> None:
    design = designs["A2-J1"]
    band = design.bands[-1]
    whole = make(design, file="A2-J1.rl.load.s1p")
    keep = ~((whole.frequency_hz > band.low_hz - 5e7) & (whole.frequency_hz < band.high_hz - 2e6))
    sweep = replace(
        whole, frequency_hz=whole.frequency_hz[keep], gamma=whole.gamma[keep], magnitude=whole.magnitude[keep]
    )
    found = match_sweep(proof, sweep)
    assert found.decided is not None
    assert found.decided.test_id == "A2-J1.rl.load"
    assert len({one.test_id for one in found.candidates}) == len(found.candidates)
