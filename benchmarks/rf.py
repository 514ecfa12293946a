"""
How long the choice of a jumper's length takes, exactly and certified, and a cascade over lengths and frequencies.

    python benchmarks/rf.py

References, in the same run: a dense grid (1 mm, 101 frequencies a band, 25 points of tolerance) of the same first-order model, and
scikit-rf cascades of the same line, one a length; where a reference is extrapolated from a sample it says so. Nothing is asserted.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable

import numpy as np
import skrf

from upmast.rf.cascade import gamma_over_lengths, input_gamma, join_s, line_s
from upmast.rf.certify import Joints, certified_length, squared_sum
from upmast.rf.joint import joint_s
from upmast.rf.length import Bands, best_length
from upmast.rf.loss import propagation_per_m

VF, DL, DV = 0.85, 0.005, 0.01
LOW, HIGH = 0.5, 10.0
EDGES = [(880e6, 915e6), (1710e6, 1785e6), (1920e6, 1980e6), (2500e6, 2570e6)]
TOLERANCE_POINTS = 25
SAMPLE = 60


def median(work: Callable[[], object], runs: int) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def dense_grid(joints: Joints, low: float, high: float) -> float:
    """Worst |G| of the best length of a 1 mm grid, 101 frequencies a band, five cuts by five velocities."""
    lengths = np.arange(low, high, 0.001)
    worst = np.zeros(lengths.size)
    for b in range(joints.low_hz.size):
        f = np.linspace(joints.low_hz[b], joints.high_hz[b], 101)
        for e in np.linspace(-DL, DL, 5):
            for v in np.linspace(-DV, DV, 5):
                for first in range(0, lengths.size, 2000):
                    part = slice(first, first + 2000)
                    g = squared_sum(joints, lengths[part, None] + e, f / (1 + v), b)
                    worst[part] = np.maximum(worst[part], g.max(axis=1))
    return float(math.sqrt(worst.min()))


def skrf_one(frequency: skrf.Frequency, length: float) -> np.ndarray:
    """One cascade with scikit-rf: joint, line, joint."""
    medium = skrf.media.DefinedGammaZ0(frequency, gamma=1j * 2 * np.pi * frequency.f / (VF * 299792458.0), z0=50)
    joint = medium.shunt_capacitor(0.05e-12)
    return np.asarray((joint ** medium.line(length, "m") ** joint).s[:, 0, 0])


def lengths(count: int, joints: int, low: float = LOW, high: float = HIGH) -> None:
    bands = EDGES[:count]
    low_hz, high_hz = zip(*bands, strict=True)
    made = Joints(
        [0.0, 0.0, 0.35, 0.0][:joints], [0.0, 1.0, 1.0, 0.5][:joints], [0.03, 0.03, 0.02, 0.02][:joints], [0.0, 0.0, 0.5, 1.0][:joints],
        low_hz, high_hz, VF, DL, DV,
    )  # fmt: skip
    frequency = skrf.Frequency(low_hz[0], high_hz[0], 101, unit="hz")
    one = median(lambda: skrf_one(frequency, 1.234), 15)
    loop = one * count * (high - low) / 0.001 * TOLERANCE_POINTS
    grid = median(lambda: dense_grid(made, low, high), 1)
    print(f"\n{joints} joints, {count} band(s), {low:g} to {high:g} m, {1000 * DL:g} mm, {100 * DV:g} %")
    print(f"  dense grid                    {grid:9.3f} s")
    print(f"  scikit-rf loop                {loop:9.0f} s    extrapolated from {1000 * one:.2f} ms a length and band")
    if joints == 2:
        exact = median(lambda: best_length(Bands(low_hz, high_hz, VF, DL, DV), low, high), 25)
        found = best_length(Bands(low_hz, high_hz, VF, DL, DV), low, high)
        print(f"  exact                         {1000 * exact:9.3f} ms   {grid / exact:10.0f} times the grid (target 1000), {loop / exact:.1e} times the loop (target 1e5); gain {found.gain_db.min():.2f} dB")  # fmt: skip
    certificate = certified_length(made, low, high)
    bound = median(lambda: certified_length(made, low, high), 3)
    total = made.gamma[:, 0].sum()
    gain = 20 * math.log10(total / certificate.worst_gamma)
    print(
        f"  branch and bound              {1000 * bound:9.1f} ms   {grid / bound:10.0f} times the grid ({'target 20' if gain > 0.5 else 'target 1, no gain'}); "
        f"gap {certificate.gap_db:.3f} dB{'' if certificate.closed else ', not closed'}, {certificate.cells} cells, {gain:.2f} dB below adding up"
    )  # fmt: skip
    print(f"  worst |G|: grid {dense_grid(made, certificate.length_m, certificate.length_m + 5e-4):.5f} at the certified length, bounds {certificate.least_gamma:.5f} to {certificate.worst_gamma:.5f}")  # fmt: skip


def cascade() -> None:
    f = np.linspace(1.7e9, 2.7e9, 1001)
    many = np.linspace(0.5, 3.0, 1000)
    gamma = propagation_per_m(f, VF, 0.11, 0.005)
    joint = joint_s("shunt C", f, 30.0, 2e9)

    fixed_s = line_s(gamma, 0.4)

    def ours() -> np.ndarray:
        behind = input_gamma(join_s(joint, fixed_s), 0.2)
        return gamma_over_lengths(join_s(joint, fixed_s, joint), gamma, 0.5, 2.5 / 999, 1000, behind)

    frequency = skrf.Frequency.from_f(f, unit="hz")
    medium = skrf.media.DefinedGammaZ0(frequency, gamma=gamma, z0=50)
    lump, fixed = skrf.Network(frequency=frequency, s=joint, z0=50), medium.line(0.4, "m")
    load = medium.load(0.2)

    def theirs() -> np.ndarray:
        out = [(lump**fixed**lump ** medium.line(float(x), "m") ** lump**fixed**load).s[:, 0, 0] for x in many[:SAMPLE]]
        return np.array(out)

    mine, other = median(ours, 3), median(theirs, 3) * many.size / SAMPLE
    apart = float(np.abs(ours()[:SAMPLE] - theirs()).max())
    print("\n6 elements, 1001 frequencies, 1000 lengths")
    print(f"  cascade in arrays             {mine:9.3f} s")
    print(f"  scikit-rf                     {other:9.1f} s    extrapolated from {SAMPLE} lengths; {other / mine:.0f} times (target 50); apart by {apart:.1e}")  # fmt: skip


if __name__ == "__main__":
    for bands, joints in ((1, 2), (2, 2), (4, 3), (4, 4)):
        lengths(bands, joints)
    lengths(4, 3, high=2.0)
    lengths(4, 2, low=4.0)  # where no length gains anything
    cascade()
