"""Sweeps of whole lines made here, with what a real day adds: directivity, drift, noise, spread of joints and lengths."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from upmast.field.measurement import Sweep
from upmast.proof.rf_path import PathDesign

C0 = 299_792_458.0


@dataclass(frozen=True)
class Own:
    """A sweep with its test, as far as statements across files need it."""

    test_id: str
    path_id: str
    test: str
    sweep: Sweep
    design: PathDesign


def own(design: PathDesign, sweep: Sweep, test: str = "load") -> Own:
    suffix = {"load": "rl.load", "antenna": "rl.antenna", "short": "loss.short"}[test]
    return Own(f"{design.id}.{suffix}", design.id, test, sweep, design)


def specimen(design: PathDesign, rng: np.random.Generator, good_db: float = 36.0) -> dict[str, np.ndarray]:
    """One path as it was built: joints, lengths and velocity by chance."""
    n = len(design.joints)
    return {
        "db": good_db + 2.0 * rng.normal(size=n),
        "length": np.array([s.length_m for s in design.sections]) + 0.003 * rng.normal(size=len(design.sections)),
        "velocity": np.array(1.0 + 0.001 * rng.normal()),
        "antenna": np.array([1.0 + 0.08 * rng.normal(), np.deg2rad(5.0) * rng.normal()]),
    }


def sweep_of(
    design: PathDesign, built: dict[str, np.ndarray], rng: np.random.Generator, test: str = "load", *, points: int = 501,
    span: tuple[float, float] = (1.65e9, 2.25e9), noise_db: float = -65.0, file: str = "a.s1p", load_db: float = 42.0,
    directivity_db: float = 42.0, stretch: float = 1e-4, loss: float = 1.0, day: float = 0.3, comments: tuple[str, ...] = (),
) -> Sweep:  # fmt: skip
    """A sweep of it by cascading each joint and cable; `day` stands for the load and the calibration of that day; drift and noise."""
    f = np.linspace(*span, points)
    if test == "load":
        now = np.full(f.shape, 10 ** (-load_db / 20) * np.exp(2j * np.pi * day))
    elif test == "short":
        now = np.full(f.shape, -1.0 + 0j)
    else:
        inside = 1 / (1 + np.exp(-np.minimum(f - 1.68e9, 2.72e9 - f) / 4e6))
        size, turn = built["antenna"]
        wave = 0.13 * size * (1 + 0.3 * np.sin(2 * np.pi * (f / 2e8 + 0.05 * turn))) * np.exp(1j * turn)
        now = (wave * inside + 0.8 * (1 - inside)) * np.exp(-4j * np.pi * f * 1.5e-9)
    late = built["velocity"] * (1 + stretch * rng.normal())
    for k in range(len(design.joints) - 1, -1, -1):
        if k < len(design.sections):
            s = design.sections[k]
            a = loss * (s.a_db_per_m * np.sqrt(f / 1e9) + s.b_db_per_m * f / 1e9) / (20 / np.log(10))
            now = now * np.exp(-2 * (a + 2j * np.pi * f / (s.velocity_fraction * late * C0)) * built["length"][k])
        x = 2.0 * 10 ** (-built["db"][k] / 20)  # shunt capacitor: y = j x f/2 GHz, g = -y/(2 + y)
        y = 1j * x * f / 2e9
        g, through = -y / (2 + y), 2 / (2 + y)
        now = g + through**2 * now / (1 - g * now)
    u = np.linspace(-1, 1, points)
    now = now + 10 ** (-directivity_db / 20) * np.exp(2j * np.pi * 7.7 * day)
    size, phase = (rng.uniform(-1, 1) + 0.5 * rng.uniform(-1, 1) * u for _ in range(2))
    now = now * 10 ** (0.03 * size / 20) * np.exp(1j * np.deg2rad(0.5) * phase)
    level = 10 ** (noise_db / 20) / np.sqrt(2)
    now = now + level * (rng.normal(size=points) + 1j * rng.normal(size=points))
    gamma = np.round(now.real, 9) + 1j * np.round(now.imag, 9)
    return Sweep(file, f"{rng.integers(1 << 60):016x}", f, gamma, np.abs(gamma), False, 50.0, "RI", comments)


def without_phase(sweep: Sweep) -> Sweep:
    return replace(
        sweep, gamma=np.full(sweep.gamma.shape, complex(np.nan, np.nan)), magnitude=sweep.magnitude.copy(),
        frequency_hz=sweep.frequency_hz.copy(), magnitude_only=True,
    )  # fmt: skip
