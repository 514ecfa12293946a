"""How often clean sweeps are called faulty: 400 made by scikit-rf with the residue of a calibration, drift and noise."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from upmast.field.measurement import Sweep
from upmast.field.setup import check_setup
from upmast.proof.rf_path import PathDesign

Make = Callable[..., Sweep]
MOST = 4  # of 400: one in a hundred


def real(sweep: Sweep, rng: np.random.Generator) -> Sweep:
    """The same sweep by an instrument: directivity, tracking and drift that a good calibration leaves, and its digits."""
    u = np.linspace(-1, 1, sweep.points)
    size, phase = (rng.uniform(-1, 1) + 0.5 * rng.uniform(-1, 1) * u for _ in range(2))
    gamma = sweep.gamma * 10 ** (0.03 * size / 20) * np.exp(1j * np.deg2rad(0.5) * phase)
    gamma = gamma + 10 ** (-rng.uniform(42, 48) / 20) * np.exp(2j * np.pi * rng.uniform())
    places = int(rng.choice([5, 6, 9]))
    gamma = np.round(gamma.real, places) + 1j * np.round(gamma.imag, places)
    return replace(sweep, gamma=gamma, magnitude=np.abs(gamma), frequency_hz=sweep.frequency_hz.copy())


@pytest.mark.parametrize("test", ["load", "antenna", "short"])
def test_clean_sweeps_are_left_alone(designs: dict[str, PathDesign], make: Make, test: str) -> None:
    rng = np.random.default_rng({"load": 1, "antenna": 2, "short": 3}[test])
    seen: Counter[str] = Counter()
    count = {"load": 160, "antenna": 120, "short": 120}[test]
    for k in range(count):
        design = list(designs.values())[k % 3]
        points = int(rng.choice([401, 601, 1001])) if design.id != "B1-J1" else 1001
        sweep = make(
            design, test, points=points, noise_db=float(rng.uniform(-80, -60)), seed=k, good_db=float(rng.uniform(33, 40)),
            low_hz=float(rng.uniform(1.5e9, 1.68e9)), high_hz=float(rng.uniform(2.2e9, 2.5e9)),
            joints_db={j: float(rng.uniform(32.5, 40)) for j in range(len(design.joints))},
        )  # fmt: skip
        # the sum in phase of a short and all else may be a little above total reflection; that is read elsewhere
        remarks = check_setup(real(sweep, rng), design, test)
        seen.update({r.key for r in remarks if r.level in ("stop", "warn")})
    assert sum(seen.values()) <= MOST * count / 400, seen


@pytest.mark.parametrize("test", ["load", "short"])
@pytest.mark.parametrize("noise_db", [-160.0, -110.0, -95.0])
def test_a_sweep_without_noise_is_not_called_smoothed(
    designs: dict[str, PathDesign], make: Make, test: str, noise_db: float
) -> None:
    """A simulated line, or a very good instrument: the side lobes of the line are no noise."""
    for seed, design in enumerate(designs.values()):
        for points in (401, 1001, 2001):
            sweep = make(design, test, points=points, noise_db=noise_db, seed=seed)
            assert {r.level for r in check_setup(sweep, design, test)} <= {"note"} or design.id == "B1-J1"
            assert not any(r.key in ("smoothed", "filled") for r in check_setup(sweep, design, test))
