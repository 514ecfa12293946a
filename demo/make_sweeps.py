"""
Make the demonstration's folder of field files: invented sweeps with scikit-rf, a library that upmast does not use for its own sums,
and invented tables of losses and voltages.

    python demo/make_sweeps.py SITE_FOLDER OUT_FOLDER

Each sweep is a jumper of the planned line with a load at its end: two lumped joints, the cable's loss and velocity, a length a
few millimetres off, noise, and the residual directivity of a test set. Seeds are fixed. On purpose, as it happens on a mast:

    C2-J3   its head is a bad joint
    C1-J1   named as the sweep with the antenna, but the load was left on
    A2-J2   and B3-J1: sectors A and B are exchanged, the jumpers are 2 and 3 m long
    A1-J2   is a copy of the sweep of A1-J1
    B2-J1   its trace over distance was made with the velocity of another cable
    B1-J1   comes as a table with decimal commas, without phase
    losses.csv: strand 5 lies in a tight bend
    voltages.csv: the wires of B2 are exchanged
"""

from __future__ import annotations

import struct
import sys
import zlib
from pathlib import Path

import numpy as np
import skrf

from upmast.catalogue.part import RfCable
from upmast.line.save import load
from upmast.line.walk import rf_paths

LOW, MIDDLE = (0.69e9, 0.97e9), (1.7e9, 2.7e9)
# path that was swept -> name of the file, span
SWEPT = {
    "A1-J1": ("A1-J1.rl.load.s1p", LOW),
    "A2-J1": ("A2-J1.rl.load.s1p", MIDDLE),
    "B1-J1": ("B1-J1.rl.load.csv", LOW),
    "B2-J1": ("B2-J1.rl.load.s1p", MIDDLE),
    "A2-J2": ("B3-J1.rl.load.s1p", MIDDLE),
    "B3-J1": ("A2-J2.rl.load.s1p", MIDDLE),
    "C1-J1": ("C1-J1.rl.antenna.s1p", LOW),
    "C2-J2": ("C2-J2.rl.load.s1p", MIDDLE),
    "C2-J3": ("C2-J3.rl.load.s1p", MIDDLE),
}
SET_WRONG = "B2-J1", 0.66  # velocity fraction that stood in the test set
BAD = "C2-J3"  # its head joint reflects as a 13.5 dB joint would at 2 GHz
COPIED = ("A1-J1.rl.load.s1p", "A1-J2.rl.load.s1p")
POINTS, LOAD_DB, DIRECTIVITY_DB, NOISE_DB = 501, 41.0, 46.0, -68.0
LOSSES_DB = {  # strand: 1310 nm up and down, 1550 nm up and down
    1: (0.51, 0.55, 0.47, 0.50),
    2: (0.44, 0.49, 0.41, 0.46),
    3: (0.58, 0.54, 0.55, 0.50),
    4: (0.47, 0.52, 0.44, 0.48),
    5: (0.66, 0.70, 1.93, 1.98),
}
VOLTS = {
    "A1": -53.4,
    "A2": -52.9,
    "A3": -52.1,
    "B1": -53.3,
    "B2": 53.0,
    "B3": -52.2,
    "C1": -53.5,
    "C2": -52.6,
    "C3": -52.3,
}


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


def touchstone(made: skrf.Network) -> str:
    rows = [f"{f:.0f} {s.real:.7f} {s.imag:.7f}" for f, s in zip(made.f, made.s[:, 0, 0], strict=True)]
    head = ["! an invented sweep, made with scikit-rf for the demonstration", "# Hz S RI R 50"]
    return "\n".join([*head, *rows]) + "\n"


def decimal(value: float, places: int) -> str:
    return f"{value:.{places}f}".replace(".", ",")


def trace_table(made: skrf.Network) -> str:
    """The size alone, as an export with semicolons and decimal commas."""
    rl = -20 * np.log10(np.abs(made.s[:, 0, 0]))
    rows = [f"{decimal(f / 1e6, 3)};{decimal(v, 2)}" for f, v in zip(made.f, rl, strict=True)]
    return "\n".join(["invented for the demonstration", "Frequency (MHz);Return loss (dB)", *rows]) + "\n"


def distance_table(made: skrf.Network, velocity: float) -> str:
    """Reflection over distance as a test set shows it that was told this velocity fraction."""
    weight = np.kaiser(POINTS, 6.0)
    metres = np.arange(0.0, 4.0, 0.02)
    turn = np.exp(4j * np.pi * np.outer(metres / (velocity * 299792458.0), made.f))
    size = np.abs(turn @ (weight * made.s[:, 0, 0])) / weight.sum()
    rows = [f"{decimal(x, 2)};{decimal(-20 * np.log10(v), 2)}" for x, v in zip(metres, size, strict=True)]
    return "\n".join(["invented for the demonstration", "Distance (m);Return loss (dB)", *rows]) + "\n"


def loss_table() -> str:
    rows = [f"T1-F{n:02d};" + ";".join(decimal(v, 2) for v in values) for n, values in LOSSES_DB.items()]
    head = [
        "invented for the demonstration",
        "Strand;1310 nm up (dB);1310 nm down (dB);1550 nm up (dB);1550 nm down (dB)",
    ]
    return "\n".join([*head, *rows]) + "\n"


def voltage_table() -> str:
    rows = [f"{radio};{decimal(v, 1)};float" for radio, v in VOLTS.items()]
    return "\n".join(["invented for the demonstration", "Radio;Voltage (V);Remark", *rows]) + "\n"


def picture() -> bytes:
    """A small grey picture in place of a photograph (PNG)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = b"".join(b"\0" + bytes(96 + (x + y) % 64 for x in range(48)) for y in range(32))
    head = struct.pack(">IIBBBBB", 48, 32, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows, 9)) + chunk(b"IEND", b"")


def main(folder: Path, out: Path) -> None:
    line = load(folder).line
    out.mkdir(parents=True, exist_ok=True)
    for n, path in enumerate(rf_paths(line)):
        if path.id not in SWEPT:
            continue
        name, span = SWEPT[path.id]
        item = line.by_id[path.cables[0]]
        part = line.parts[item.part]
        assert isinstance(part, RfCable)
        made = sweep(path.id, part, item.length_m or 0.0, span, np.random.default_rng(2026 + n))
        (out / name).write_text(trace_table(made) if name.endswith(".csv") else touchstone(made))
        if path.id == SET_WRONG[0]:
            (out / f"{path.id}.distance.csv").write_text(distance_table(made, SET_WRONG[1]))
    (out / COPIED[1]).write_bytes((out / COPIED[0]).read_bytes())
    (out / "losses.csv").write_text(loss_table())
    (out / "voltages.csv").write_text(voltage_table())
    (out / "C2-J3.head-sealed.png").write_bytes(picture())


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
