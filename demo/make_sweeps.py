"""
Make the invented sweeps of the demonstration with scikit-rf, a library that upmast does not use for its own sums.

    python demo/make_sweeps.py SITE_FOLDER OUT_FOLDER

Each sweep is a jumper of the planned line with a load at its end: two lumped joints, the cable's loss and velocity, a length a
few millimetres off, noise, and the residual directivity of a test set. The head of C2-J3 is a bad joint. Seeds are fixed.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import skrf

from upmast.catalogue.part import RfCable
from upmast.line.save import load
from upmast.line.walk import rf_paths

SWEPT = {
    "A1-J1": (0.69e9, 0.97e9),
    "A2-J1": (1.7e9, 2.7e9),
    "B2-J1": (1.7e9, 2.7e9),
    "C2-J2": (1.7e9, 2.7e9),
    "C2-J3": (1.7e9, 2.7e9),
}
BAD = "C2-J3"  # its head joint reflects as a 13.5 dB joint would at 2 GHz
POINTS, LOAD_DB, DIRECTIVITY_DB, NOISE_DB = 501, 41.0, 46.0, -68.0


def joint(frequency: skrf.Frequency, return_loss_db: float, shunt: bool) -> skrf.Network:
    """A lossless lump with that return loss at 2 GHz: a shunt capacitance or a series inductance."""
    r = 10 ** (-return_loss_db / 20)
    x = 2 * r / np.sqrt(1 - r * r) * frequency.f / 2e9
    s = np.zeros((frequency.npoints, 2, 2), complex)
    s[:, 0, 0] = s[:, 1, 1] = (-1j if shunt else 1j) * x / (2 + 1j * x)
    s[:, 0, 1] = s[:, 1, 0] = 2 / (2 + 1j * x)
    return skrf.Network(frequency=frequency, s=s, z0=50)


def sweep(
    path: str, part: RfCable, length_m: float, span: tuple[float, float], rng: np.random.Generator
) -> skrf.Network:
    """What a test set at the radio's end of this jumper would show."""
    frequency = skrf.Frequency(span[0], span[1], POINTS, "Hz")
    loss = (part.a_db_per_m * np.sqrt(frequency.f / 1e9) + part.b_db_per_m * frequency.f / 1e9) / 8.685889638
    gamma = loss + 2j * np.pi * frequency.f / (part.velocity_fraction * 299792458.0)
    media = skrf.media.DefinedGammaZ0(frequency, gamma=gamma, z0=50)
    foot, head = rng.uniform(34.5, 39, 2)
    chain = joint(frequency, foot, True) ** media.line(length_m + rng.normal(0, 0.003), "m")
    chain = chain ** joint(frequency, 13.5 if path == BAD else head, path != BAD)
    ended = chain ** media.load(10 ** (-LOAD_DB / 20) * np.exp(1j * rng.uniform(0, 2 * np.pi)))
    ripple = 10 ** (-DIRECTIVITY_DB / 20) * np.exp(2j * np.pi * (frequency.f * 0.11e-9 + rng.uniform()))
    noise = 10 ** (NOISE_DB / 20) * (rng.normal(size=POINTS) + 1j * rng.normal(size=POINTS)) / np.sqrt(2)
    ended.s[:, 0, 0] += ripple + noise
    return ended


def main(folder: Path, out: Path) -> None:
    line = load(folder).line
    out.mkdir(parents=True, exist_ok=True)
    for n, path in enumerate(rf_paths(line)):
        if path.id in SWEPT:
            item = line.by_id[path.cables[0]]
            part = line.parts[item.part]
            assert isinstance(part, RfCable)
            made = sweep(path.id, part, item.length_m or 0.0, SWEPT[path.id], np.random.default_rng(2026 + n))
            rows = [f"{f:.0f} {s.real:.7f} {s.imag:.7f}" for f, s in zip(made.f, made.s[:, 0, 0], strict=True)]
            head = [
                "! an invented sweep, made with scikit-rf for the demonstration",
                f"! {path.id}, load at the antenna end",
                "# Hz S RI R 50",
            ]
            (out / f"{path.id}.rl.load.s1p").write_text("\n".join([*head, *rows]) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
