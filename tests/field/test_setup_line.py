"""Faults of the set-up are put into sweeps of a line; each has to be told, with what to do, and nothing else above a note."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from upmast.field.measurement import Sweep
from upmast.field.setup import Remark, check_setup
from upmast.proof.rf_path import PathDesign

Make = Callable[..., Sweep]
C0 = 299_792_458.0


def with_gamma(sweep: Sweep, gamma: np.ndarray) -> Sweep:
    return replace(sweep, gamma=gamma, magnitude=np.abs(gamma), frequency_hz=sweep.frequency_hz.copy())


def told(sweep: Sweep, design: PathDesign, test: str = "load") -> dict[str, Remark]:
    remarks = check_setup(sweep, design, test)
    assert all(r.words and r.remedy for r in remarks)
    return {r.key: r for r in remarks}


@pytest.mark.parametrize("path", ["A2-J1", "A2-J2", "B1-J1"])
@pytest.mark.parametrize("test", ["load", "antenna", "short"])
def test_phase_that_turns_the_wrong_way(designs: dict[str, PathDesign], make: Make, path: str, test: str) -> None:
    for seed in range(5):
        sweep = make(designs[path], test, seed=seed, noise_db=-65.0)
        remark = told(with_gamma(sweep, sweep.gamma.conj()), designs[path], test)["phase-turned"]
        assert remark.level == "warn"
        assert "phase-turned" not in told(sweep, designs[path], test)


def test_calibrated_beyond_the_port(designs: dict[str, PathDesign], make: Make) -> None:
    """The lead was 1.2 m longer when it was calibrated: the joint at the port shows before it."""
    design = designs["A2-J2"]
    for seed in range(5):
        sweep = make(design, seed=seed, joints_db={0: 28.0, 1: 30.0})
        early = sweep.gamma * np.exp(4j * np.pi * sweep.frequency_hz * 1.2 / (0.82 * C0))
        remark = told(with_gamma(sweep, early), design)["before-port"]
        assert remark.level == "warn"
        assert "1.2" in remark.words
        assert "before the test port" in remark.words


def test_length_and_velocity_both_fit(designs: dict[str, PathDesign], make: Make) -> None:
    """0.30 m too long: 3.30 m, or 3.00 m with 0.82 x 3.00/3.30 = 0.745."""
    design = designs["A2-J1"]
    for seed in range(5):
        remark = told(make(design, "short", length_error_m=0.30, seed=seed), design, "short")["length"]
        assert remark.level == "warn"
        seems = float(remark.words.partition("would be ")[2].partition(" m")[0])
        assert seems == pytest.approx(3.30, abs=0.02)
        assert "m long at the design's velocity fraction 0.820; or 3.00 m long with 0.74" in remark.words
        assert "length" not in told(make(design, "short", seed=seed), design, "short")


@pytest.mark.parametrize(("words", "said"), [
    ("velocity 0.66", True), ("Velocity Factor: 66 %", True), ("VF=85%", True), ("VF=82%", False), ("vf 0.82", False),
    ("Velocity of propagation 0,88", True), ("velocity 88 m/s", False), ("", False),
])  # fmt: skip
def test_words_of_the_file(designs: dict[str, PathDesign], make: Make, words: str, said: bool) -> None:
    sweep = make(designs["A2-J1"])
    sweep = replace(sweep, comments=(words,), frequency_hz=sweep.frequency_hz.copy())
    remarks = told(sweep, designs["A2-J1"])
    assert ("velocity" in remarks) == said
    if said:
        assert remarks["velocity"].level == "note"


def test_factor_of_the_screen(designs: dict[str, PathDesign], make: Make) -> None:
    """60 m at 0.88 read with 0.85 are 58.0 m (handbook of the trade): the screen is to be multiplied by 0.88/0.85."""
    design = designs["A2-J1"]
    sweep = make(design)
    sweep = replace(sweep, comments=("velocity factor 0.66",), frequency_hz=sweep.frequency_hz.copy())
    assert f"multiplied by {0.82 / 0.66:.3f}" in told(sweep, design)["velocity"].words


@pytest.mark.parametrize("path", ["A2-J2", "B1-J1"])
def test_a_filter_that_the_design_lacks(designs: dict[str, PathDesign], make: Make, path: str) -> None:
    """Above 2.0 GHz everything comes back from a filter at the foot: a wall."""
    design = designs[path]
    for seed in range(5):
        sweep = make(design, seed=seed)
        stop = 1 / (1 + np.exp(-(sweep.frequency_hz - 2.0e9) / 2e6))
        g = sweep.gamma * (1 - stop) + stop * 0.97 * np.exp(-4j * np.pi * sweep.frequency_hz * 2e-9)
        remarks = told(with_gamma(sweep, g), design)
        assert "wall" in remarks or remarks["end"].level == "stop"
        if "wall" in remarks:
            assert remarks["wall"].level == "warn"
            assert "the design has none" in remarks["wall"].words


def test_a_two_port_outside_its_band(designs: dict[str, PathDesign], make: Make) -> None:
    design = designs["B1-J1"]
    rows = ((1.7e9, 20.0, 20.0, 0.1, 0.3), (2.2e9, 20.0, 20.0, 0.1, 0.3))
    held = replace(
        design, sections=(design.sections[0], replace(design.sections[1], rows=rows, item="B1-F1"), design.sections[2])
    )
    sweep = make(design)
    remark = told(sweep, held)["two-port"]
    assert remark.level == "warn"
    assert "B1-F1 (1700 to 2200 MHz)" in remark.words
    assert "sweep 1700 to 2200 MHz" in remark.remedy
    assert "two-port" not in told(make(design, low_hz=1.7e9, high_hz=2.2e9), held)


@pytest.mark.parametrize("path", ["A2-J2", "B1-J1"])
def test_loss_that_falls_with_frequency(designs: dict[str, PathDesign], make: Make, path: str) -> None:
    """1.6 dB too little comes back at the low end: the calibration has drifted over the span."""
    design = designs[path]
    for seed in range(5):
        sweep = make(design, "short", seed=seed)
        slope = 10 ** (np.linspace(-1.6, 0.0, sweep.points) / 20)
        remark = told(with_gamma(sweep, sweep.gamma * slope), design, "short").get("drift")
        assert remark is not None
        assert remark.level == "warn"


def test_the_port_itself(designs: dict[str, PathDesign], make: Make) -> None:
    remark = told(make(designs["A2-J2"], joints_db={0: 18.0}), designs["A2-J2"])["port"]
    assert remark.level == "note"
    assert "load straight on the end of the test lead" in remark.remedy


def test_without_phase_the_ripple_tells_a_pair(designs: dict[str, PathDesign], make: Make) -> None:
    """Two bad joints of the feeder, 20 m apart; their places are not said."""
    design = designs["B1-J1"]
    remark = told(make(design, joints_db={1: 18.0, 2: 20.0}, magnitude_only=True), design)["spacing"]
    assert remark.level == "note"
    assert "Where they stand is not in the file" in remark.words
    spacing = float(remark.words.split("reflections ")[1].split(" m apart")[0])
    # 20 m at 0.89, read with the mean velocity of the whole path
    assert spacing == pytest.approx(20.0, abs=0.6)
    assert f"{design.joints[1].name} and {design.joints[2].name}" in remark.words
