"""Sweeps of invented lines, made with scikit-rf and disturbed like a field measurement: what the fits are tried on."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from upmast import rf

Floats = NDArray[np.float64]
JUMPER, FEEDER = (0.12, 0.005), (0.035, 0.002)  # dB/m at 1 GHz, root and linear part


class Made(NamedTuple):
    """A sweep, the line as designed, and the true |S11| and kind of each joint at the middle of the sweep."""

    frequency_hz: Floats
    gamma: NDArray[np.complex128]
    line: rf.LumpedLine
    truth: Floats
    kinds: list[str]
    velocity_error: float


def _made(
    rng: np.random.Generator,
    span_hz: float,
    spacing_m: float,
    *,
    middle_hz: float = 1.95e9,
    points: int = 501,
    noise_db: float = -65.0,
    directivity_db: float = 42.0,
    return_loss_db: tuple[float, float] = (22.0, 34.0),
    end: str = "load",
    loss_error: float = 0.0,
    contact: dict[int, float] | None = None,
    loss_sigma: float = 0.01,
) -> Made:
    """
    Joints at 0, 2, 37, 37 + spacing and the end at 40 m or so: velocity off by up to 1 %, places by 5 mm, drift 0.03 dB and 0.5 degrees.

    scikit-rf makes the line; what is not a line (noise, directivity, drift) is added after it.
    """
    skrf = pytest.importorskip("skrf", reason="scikit-rf makes the lines that a fit is tried on")
    f = np.linspace(middle_hz - span_hz / 2, middle_hz + span_hz / 2, points)
    length = np.array([2.0, 35.0, spacing_m, 3.0 - min(spacing_m, 1.5)])
    loss = [JUMPER, FEEDER, JUMPER, JUMPER]
    error = rng.uniform(-0.01, 0.01)
    places = np.cumsum(length) + rng.normal(0.0, 0.005, 4)
    true = np.diff(np.concatenate([[0.0], places]))
    frequency = skrf.Frequency.from_f(f, unit="Hz")
    joints, truth, kinds = [], [], []
    bare = skrf.media.DefinedGammaZ0(frequency, z0=50.0, gamma=0 * f)
    for k in range(5):
        level = float(rng.uniform(*return_loss_db))
        kind = str(rng.choice(["shunt C", "series L"]))
        if contact and k in contact:
            joints.append(bare.resistor(contact[k]))
            kind = "series R"
        elif kind == "shunt C":
            joints.append(bare.shunt_capacitor(float(rf.joint_capacitance_f(level, middle_hz))))
        else:
            joints.append(bare.inductor(float(rf.joint_inductance_h(level, middle_hz))))
        truth.append(float(abs(joints[-1].s[points // 2, 0, 0])))
        kinds.append(kind)
    whole = joints[0]
    for k in range(4):
        gamma = rf.propagation_per_m(f, 0.84, *loss[k])
        gamma = gamma.real * (1 + loss_error) + 1j * gamma.imag * (1 + error)
        whole = (
            whole
            ** skrf.media.DefinedGammaZ0(frequency, z0=50.0, gamma=gamma).line(float(true[k]), "m")
            ** joints[k + 1]
        )
    turn = np.exp(1j * rng.uniform(0, 2 * np.pi))
    if end == "load":
        last = 10 ** (-42 / 20) * turn * np.ones(points)
    elif end == "short":
        last = -np.ones(points)
    else:
        last = 0.2 * turn * np.exp(-2j * np.pi * f * rng.uniform(0, 2e-9))
    g = (whole ** bare.load(last)).s[:, 0, 0]
    g = g + 10 ** (-directivity_db / 20) * np.exp(1j * rng.uniform(0, 2 * np.pi))
    u = np.linspace(-1.0, 1.0, points)
    size, phase = (rng.uniform(-1, 1) + 0.5 * rng.uniform(-1, 1) * u for _ in range(2))
    g = g * 10 ** (0.03 * size / 20) * np.exp(1j * np.deg2rad(0.5) * phase)
    g = g + 10 ** (noise_db / 20) * (rng.normal(size=points) + 1j * rng.normal(size=points)) / np.sqrt(2)
    root, linear = zip(*loss, strict=True)
    line = rf.LumpedLine(length, 0.84, root, linear, loss_sigma=loss_sigma)
    return Made(f, g, line, np.array(truth), kinds, float(error))


@pytest.fixture
def made() -> Callable[..., Made]:
    """`_made`: a sweep of an invented line."""
    return _made
