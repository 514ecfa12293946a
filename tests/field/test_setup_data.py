"""Numbers that were cut off, rounded, filled in or smoothed are made from clean sweeps; each has to be told, with what to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from upmast.field.measurement import Sweep
from upmast.field.setup import Remark, check_setup
from upmast.field.setup_data import check_data
from upmast.proof.rf_path import PathDesign

Make = Callable[..., Sweep]


def with_gamma(sweep: Sweep, gamma: np.ndarray) -> Sweep:
    return replace(sweep, gamma=gamma, magnitude=np.abs(gamma), frequency_hz=sweep.frequency_hz.copy())


def with_db(sweep: Sweep, db: np.ndarray) -> Sweep:
    """Return loss without phase."""
    bare = np.full(db.shape, complex(np.nan, np.nan))
    return replace(
        sweep, gamma=bare, magnitude=10 ** (-db / 20), magnitude_only=True, frequency_hz=sweep.frequency_hz.copy()
    )


def told(sweep: Sweep, design: PathDesign, test: str = "load") -> dict[str, Remark]:
    remarks = check_setup(sweep, design, test)
    assert all(r.words and r.remedy for r in remarks)
    return {r.key: r for r in remarks}


@pytest.mark.parametrize("path", ["A2-J1", "B1-J1"])
def test_cut_off(designs: dict[str, PathDesign], make: Make, path: str) -> None:
    """A ceiling hides what is good, a floor hides what counts."""
    for seed in range(5):
        sweep = make(designs[path], good_db=34.0, noise_db=-65.0, seed=seed)
        db = sweep.return_loss_db
        top, bottom = float(np.percentile(db, 80)), float(np.percentile(db, 20))
        good = told(with_db(sweep, np.minimum(db, top)), designs[path])["cut"]
        assert good.level == "note"
        assert "20" in good.words
        assert told(with_db(sweep, np.maximum(db, bottom)), designs[path])["cut"].level == "stop"
        kept = sweep.gamma * np.maximum(1.0, 10 ** (-top / 20) / np.abs(sweep.gamma))
        assert told(with_gamma(sweep, kept), designs[path])["cut"].level == "note"


def test_one_value_throughout(designs: dict[str, PathDesign], make: Make) -> None:
    sweep = make(designs["A2-J1"])
    assert told(with_db(sweep, np.full(sweep.points, 20.0)), designs["A2-J1"])["cut"].level == "stop"


@pytest.mark.parametrize(("step", "level"), [(0.1, "note"), (0.5, "warn"), (1.0, "warn")])
def test_rounded_decibels(designs: dict[str, PathDesign], make: Make, step: float, level: str) -> None:
    for seed in range(5):
        sweep = make(designs["A2-J2"], seed=seed)
        db = np.round(np.minimum(sweep.return_loss_db, 50.0) / step) * step
        remark = told(with_db(sweep, db), designs["A2-J2"])["rounded"]
        assert remark.level == level
        assert f"{step:.2f} dB" in remark.words


def test_a_hundredth_of_a_decibel_is_fine(designs: dict[str, PathDesign], make: Make) -> None:
    sweep = make(designs["A2-J2"], points=401)
    assert set(told(with_db(sweep, np.round(sweep.return_loss_db, 2)), designs["A2-J2"])) <= {"phase", "spacing"}


def test_rounded_parts(designs: dict[str, PathDesign], make: Make) -> None:
    """Three places: steps of 0.001, so nothing below about 68 dB; two places hide joints of 40 dB."""
    sweep = make(designs["B1-J1"], "short")
    two = np.round(sweep.gamma.real, 2) + 1j * np.round(sweep.gamma.imag, 2)
    remark = told(with_gamma(sweep, two), designs["B1-J1"], "short")["rounded"]
    assert remark.level == "warn"
    assert "steps of 0.01" in remark.words
    three = np.round(sweep.gamma.real, 3) + 1j * np.round(sweep.gamma.imag, 3)
    assert "rounded" not in told(with_gamma(sweep, three), designs["B1-J1"], "short")


def test_rounded_ratio(designs: dict[str, PathDesign], make: Make) -> None:
    sweep = make(designs["A2-J1"], good_db=30.0)
    ratio = np.round((1 + sweep.magnitude) / (1 - sweep.magnitude), 2)
    magnitude = (ratio - 1) / (ratio + 1)
    db = -20 * np.log10(np.maximum(magnitude, 1e-10))
    assert "rounded" in told(with_db(sweep, db), designs["A2-J1"])


@pytest.mark.parametrize("times", [2, 3, 4, 10])
@pytest.mark.parametrize("phase", [True, False])
def test_filled_in(designs: dict[str, PathDesign], make: Make, times: int, phase: bool) -> None:
    design = designs["A2-J2"]
    for seed in range(5):
        sweep = make(design, points=20 * times * 4 + 1, seed=seed, noise_db=-70.0)
        coarse = sweep.frequency_hz[::times]
        if phase:
            g = np.interp(sweep.frequency_hz, coarse, sweep.gamma.real[::times]) + 1j * np.interp(
                sweep.frequency_hz, coarse, sweep.gamma.imag[::times]
            )
            made = with_gamma(sweep, np.round(g.real, 9) + 1j * np.round(g.imag, 9))
        else:
            made = with_db(sweep, np.round(np.interp(sweep.frequency_hz, coarse, sweep.return_loss_db[::times]), 6))
        remark = next(r for r in check_data(made, design.delay_s) if r.key == "filled")
        assert remark.level == "warn"
        held = with_gamma(sweep, np.repeat(sweep.gamma[::times], times)[: sweep.points])
        assert any(r.key == "filled" and "repeat" in r.words for r in check_data(held, design.delay_s))


@pytest.mark.parametrize("over", [3, 5, 9, 15])
@pytest.mark.parametrize("test", ["load", "short"])
def test_smoothed(designs: dict[str, PathDesign], make: Make, over: int, test: str) -> None:
    """A running mean; found in at least 9 of 10."""
    found = 0
    for seed in range(10):
        design = list(designs.values())[seed % 3]
        sweep = make(design, test, seed=seed, noise_db=-65.0, points=1401)
        kernel = np.ones(over) / over
        pad = over // 2
        wide = np.concatenate([np.repeat(sweep.gamma[:1], pad), sweep.gamma, np.repeat(sweep.gamma[-1:], pad)])
        g = np.convolve(wide, kernel, "valid")
        found += any(r.key == "smoothed" for r in check_data(with_gamma(sweep, g), design.delay_s))
    assert found >= 9


def test_few_points_say_nothing(designs: dict[str, PathDesign], make: Make) -> None:
    assert check_data(make(designs["A2-J1"], points=40), 1e-8) == []


def test_repeated_frequencies_are_passed_on(designs: dict[str, PathDesign], make: Make) -> None:
    sweep = make(designs["A2-J1"])
    sweep = replace(
        sweep, mended=("3 repeated frequencies: the first row of each is kept",), frequency_hz=sweep.frequency_hz.copy()
    )
    assert told(sweep, designs["A2-J1"])["repeated"].level == "note"
