"""
Make the sample sweeps of this folder: a jumper of 3 m with its joints, by scikit-rf, with noise of -75 dB and a fixed seed.

Run: python tests/measurements/make_sweeps.py
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import skrf

FOLDER = Path(__file__).parent
C0 = 299_792_458.0
LENGTH_M, VELOCITY, A, B = 3.0, 0.82, 0.1, 0.005


def sweep(end: str, joints_db: tuple[float, float], points: int = 201) -> str:
    """One file as text. Joints are shunt capacitors whose return loss holds at 2 GHz."""
    f = np.linspace(1.6e9, 2.3e9, points)
    frequency = skrf.Frequency.from_f(f, unit="hz")
    attenuation = A * np.sqrt(f / 1e9) + B * f / 1e9
    gamma = attenuation / (20 / np.log(10)) + 2j * np.pi * f / (VELOCITY * C0)
    media: Any = skrf.media.DefinedGammaZ0(frequency, z0=50.0, gamma=gamma)
    joints = []
    for value in joints_db:
        r = 10 ** (-value / 20)
        joints.append(media.shunt_capacitor(2 * r / np.sqrt(1 - r * r) / (2 * np.pi * 2e9 * 50.0)))
    # an antenna reflects from inside, 0.45 m behind its port, and is matched in its band only
    antenna = np.where((f > 1.69e9) & (f < 2.7e9), 10 ** (-16 / 20), 0.8) * np.exp(-4j * np.pi * f * 1.5e-9)
    ends = {"load": np.full(f.shape, 10 ** (-42 / 20)), "short": np.full(f.shape, -1.0), "antenna": antenna}
    last = skrf.Network(frequency=frequency, s=ends[end].astype(complex)[:, None, None], z0=50.0)
    seen = (joints[0] ** media.line(LENGTH_M, "m") ** joints[1] ** last).s[:, 0, 0]
    rng = np.random.default_rng(20)
    noise = 10 ** (-75 / 20) / np.sqrt(2) * (rng.standard_normal(points) + 1j * rng.standard_normal(points))
    rows = "".join(f"{a:.0f} {b.real:.6f} {b.imag:.6f}\n" for a, b in zip(f, seen + noise, strict=True))
    return f"! computed sample, not measured: jumper {LENGTH_M} m, {end}\n# Hz S RI R 50\n{rows}"


def main() -> None:
    for name, end, joints in (
        ("A2-J1.rl.load.s1p", "load", (36.0, 36.0)),
        ("A2-J1.rl.antenna.s1p", "antenna", (36.0, 36.0)),
        ("A2-J1.loss.short.s1p", "short", (36.0, 36.0)),
        ("A2-J1.rl.load.bad-joint.s1p", "load", (14.0, 36.0)),
    ):
        (FOLDER / name).write_text(sweep(end, joints), "utf-8")


if __name__ == "__main__":
    main()
