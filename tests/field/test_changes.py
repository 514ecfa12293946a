"""Two and more dated sweeps of one path: water, contact, damage and heat are put in, and the joint has to be named."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from upmast.field.changes import _sized, changes
from upmast.proof.rf_path import PathDesign
from upmast.rf.ageing import Change

_spec = importlib.util.spec_from_file_location("field_swept", Path(__file__).parent / "swept.py")
assert _spec is not None
assert _spec.loader is not None
swept = importlib.util.module_from_spec(_spec)
sys.modules["field_swept"] = swept
_spec.loader.exec_module(swept)
Own, own, specimen, sweep_of = swept.Own, swept.own, swept.specimen, swept.sweep_of


def day(
    design: PathDesign, built: dict[str, np.ndarray], rng: np.random.Generator, date: str, *, warm: float | None = 20.0,
    loss: float = 1.0, tests: tuple[str, ...] = ("load", "short"),
) -> list[Own]:  # fmt: skip
    words = (f"Date: {date}",) + (() if warm is None else (f"Temperature: {warm:g} C",))
    span = (1.5e9, 2.4e9)
    return [
        own(design, sweep_of(design, built, rng, t, points=801, span=span, loss=loss, file=f"{date}-{t}.s1p", comments=words, stretch=2e-5), t)
        for t in tests
    ]  # fmt: skip


def worse(built: dict[str, np.ndarray], joint: int, by_db: float, velocity: float = 1.0) -> dict[str, np.ndarray]:
    db = built["db"].copy()
    db[joint] -= by_db
    return {**built, "db": db, "velocity": built["velocity"] * velocity}


@pytest.mark.parametrize(("loss", "velocity", "joint_db", "word"), [
    (1.25, 0.996, 8.0, "moisture"), (1.25, 1.0, 8.0, "resistive contact"), (1.0, 1.0, 9.0, "loosened or damaged joint"),
])  # fmt: skip
def test_pattern_and_joint(
    designs: dict[str, PathDesign], loss: float, velocity: float, joint_db: float, word: str
) -> None:
    design = designs["B1-J1"]
    for seed in range(5):
        rng = np.random.default_rng(seed)
        built = {**specimen(design, rng), "db": np.full(4, 34.0)}
        told = changes(
            [
                *day(design, built, rng, "2024-05-01"),
                *day(design, worse(built, 1, joint_db, velocity), rng, "2025-05-01", loss=loss),
            ]
        )
        assert len(told) == 1
        assert told[0].level == "warn"
        assert f"like {word}" in told[0].words
        assert "B1-J1 from 2024-05-01 to 2025-05-01" in told[0].words
        assert design.joints[1].name in told[0].remedy
        assert set(told[0].files) >= {"2024-05-01-load.s1p", "2025-05-01-short.s1p"}


def test_sound_path_is_as_it_was(designs: dict[str, PathDesign]) -> None:
    """30 pairs of days: none is told to have changed beyond a note."""
    wrong = 0
    for seed in range(30):
        design = list(designs.values())[seed % 3]
        rng = np.random.default_rng(100 + seed)
        built = specimen(design, rng)
        told = changes([*day(design, built, rng, "2024-05-01"), *day(design, built, rng, "2025-05-01")])
        wrong += any(t.level == "warn" for t in told)
    assert wrong == 0


def test_heat_is_weather(designs: dict[str, PathDesign]) -> None:
    """50 K: copper loses 9 % more (0.00393/K in the root), no joint has changed."""
    design = designs["B1-J1"]
    rng = np.random.default_rng(1)
    built = specimen(design, rng)
    told = changes([
        *day(design, built, rng, "2024-01-01", warm=-10.0, loss=(1 - 0.00393 * 30) ** 0.5), *day(design, built, rng, "2024-07-01", warm=40.0, loss=(1 + 0.00393 * 20) ** 0.5),
    ])  # fmt: skip
    assert len(told) == 1
    assert told[0].level == "note"
    assert "weather" in told[0].words or "within repeatability" in told[0].words


def test_temperature_that_is_not_told_is_said(designs: dict[str, PathDesign]) -> None:
    design, rng = designs["B1-J1"], np.random.default_rng(1)
    built = specimen(design, rng)
    (told,) = changes([*day(design, built, rng, "2024-05-01", warm=None), *day(design, built, rng, "2025-05-01")])
    assert "the temperature is not told, 20 °C was taken" in told.words


def test_load_alone_asks_for_a_short(designs: dict[str, PathDesign]) -> None:
    design, rng = designs["B1-J1"], np.random.default_rng(1)
    built = {**specimen(design, rng), "db": np.full(4, 34.0)}
    (told,) = changes([
        *day(design, built, rng, "2024-05-01", tests=("load",)), *day(design, worse(built, 2, 10.0), rng, "2025-05-01", tests=("load",)),
    ])  # fmt: skip
    assert told.level == "warn"
    assert design.joints[2].name in told.words
    assert "short at the end" in told.remedy


def test_trend_of_a_joint(designs: dict[str, PathDesign]) -> None:
    design, rng = designs["B1-J1"], np.random.default_rng(1)
    built = {**specimen(design, rng), "db": np.full(4, 36.0)}
    years = [day(design, worse(built, 2, 4.0 * k), rng, f"{2022 + k}-05-01") for k in range(4)]
    told = changes([one for each in years for one in each])
    assert any("grows worse" in t.words and design.joints[2].name in t.words for t in told)


def test_no_date_is_said(designs: dict[str, PathDesign]) -> None:
    design, rng = designs["A2-J2"], np.random.default_rng(1)
    built = specimen(design, rng)
    two = [own(design, sweep_of(design, built, rng, file=f"{k}.s1p")) for k in range(2)]
    (told,) = changes(two)
    assert told.level == "note"
    assert "have no date" in told.words
    said = {"0.s1p": ("2024-05-01", 10.0), "1.s1p": ("2025-05-01", 12.0)}
    assert all("no date" not in t.words for t in changes(two, said))
    assert changes(two[:1]) == ()


def test_a_joint_beyond_the_fit_is_the_news(designs: dict[str, PathDesign]) -> None:
    """A joint of 8 dB is more than a fit takes (|g| = 0.40): the day is told by what is seen, and not as it was."""
    design = designs["B1-J1"]
    for seed in range(5):
        rng = np.random.default_rng(seed)
        built = {**specimen(design, rng), "db": np.full(4, 34.0)}
        tests = ("load", "antenna")
        told = changes(
            [
                *day(design, built, rng, "2024-05-01", tests=tests),
                *day(design, worse(built, 1, 26.0), rng, "2025-05-01", tests=tests),
            ]
        )
        assert not [t for t in told if "as it was" in t.words]
        assert not [t for t in told if "no joint beyond" in t.words]
        first = told[0]
        assert first.level == "warn"
        assert "changed: worst return loss" in first.words
        assert "joints of 2025-05-01 can't be fitted (a reflection of 0." in first.words
        assert first.remedy.startswith(f"open {design.joints[1].name} first")
        assert set(first.files) == {"2024-05-01-load.s1p", "2025-05-01-load.s1p"}


def test_a_path_that_was_mended_is_told_as_better(designs: dict[str, PathDesign]) -> None:
    design, rng = designs["B1-J1"], np.random.default_rng(1)
    built = {**specimen(design, rng), "db": np.full(4, 34.0)}
    (told,) = changes([
        *day(design, worse(built, 1, 26.0), rng, "2024-05-01", tests=("load",)), *day(design, built, rng, "2025-05-01", tests=("load",)),
    ])  # fmt: skip
    assert told.level == "note"
    assert "changed for the better" in told.words


def test_ends_are_never_mixed(designs: dict[str, PathDesign]) -> None:
    """A load on one day and the antenna on the other: nothing is compared, and it says so."""
    design, rng = designs["B1-J1"], np.random.default_rng(1)
    built = {**specimen(design, rng), "db": np.full(4, 34.0)}
    (told,) = changes([
        *day(design, built, rng, "2024-05-01", tests=("load",)), *day(design, worse(built, 1, 9.0), rng, "2025-05-01", tests=("antenna",)),
    ])  # fmt: skip
    assert "not compared: a load on 2024-05-01, the antenna on 2025-05-01" in told.words
    assert "as it was" not in told.words


def test_an_open_end_is_no_test_of_the_short(designs: dict[str, PathDesign]) -> None:
    """The open end is read after the short, on the second day alone: taken for the short it would move the end."""
    design, rng = designs["B1-J1"], np.random.default_rng(1)
    built = {**specimen(design, rng), "db": np.full(4, 34.0)}
    first, second = day(design, built, rng, "2024-05-01"), day(design, built, rng, "2025-05-01")
    short = second[-1]
    opened = replace(short, sweep=replace(short.sweep, gamma=-short.sweep.gamma, file="open.s1p", digest="f" * 16))
    told = changes([*first, *second, opened])
    assert told
    assert all("open.s1p" not in t.files for t in told)
    assert all("2025-05-01-short.s1p" in t.files for t in told)


def test_nothing_to_do_is_said_only_where_every_day_is_alike(designs: dict[str, PathDesign]) -> None:
    """Five days with a bad joint on the third: first and last are alike, and the third is told with its day."""
    design, rng = designs["B1-J1"], np.random.default_rng(4)
    built = {**specimen(design, rng), "db": np.full(4, 36.0)}
    falls = {"2024-05-01": 0.0, "2024-08-01": 0.0, "2024-11-01": 26.0, "2025-02-01": 0.0, "2025-05-01": 0.0}
    sweeps = [
        one
        for date, fall in falls.items()
        for one in day(design, worse(built, 1, fall) if fall else built, rng, date, tests=("load",))
    ]
    first, last = changes(sweeps)
    assert first.words.startswith("between first and last day: B1-J1 from 2024-05-01 to 2024-11-01")
    assert first.level == "warn"
    assert "as it was" in last.words
    assert last.remedy == "find out what was changed or repaired after 2024-11-01; keep all files"
    (quiet,) = changes([one for one in sweeps if "2024-11-01" not in one.sweep.file])
    assert quiet.remedy == "nothing; keep all files"


def test_the_same_samples_under_a_later_day_are_not_compared(designs: dict[str, PathDesign]) -> None:
    design, rng = designs["B1-J1"], np.random.default_rng(1)
    (one,) = day(design, specimen(design, rng), rng, "2024-05-01", tests=("load",))
    sweep = replace(one.sweep, comments=("Date: 2025-05-01",), file="later.s1p", digest="e" * 16)
    (told,) = changes([one, replace(one, sweep=sweep)])
    assert "later.s1p of 2025-05-01 has the samples of 2024-05-01-load.s1p of 2024-05-01" in told.words


def test_words_of_a_change_have_no_bound_without_a_meaning() -> None:
    assert _sized(Change(22.09, 14.67, 165.59)) == "at least 14.67 dB worse"
    assert _sized(Change(6.0, 4.0, 8.0)) == "6.00 dB worse (4.00 dB to 8.00 dB)"
    assert _sized(Change(-6.0, -8.0, -4.0)) == "6.00 dB better (4.00 dB to 8.00 dB)"
