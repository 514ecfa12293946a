"""
How long a fit of joints takes, and a thousand of them on two cores; how near it comes beside a distance transform of the same sweeps.

    python benchmarks/fit.py

Reference, in the same run: the Kaiser-windowed transform of the room, read at the joints' designed places. Each process uses one thread
for linear algebra, so that two of them use two cores. Nothing is asserted.
"""

# ruff: noqa: E402 (the threads are set before NumPy is loaded)
from __future__ import annotations

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import statistics
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from upmast import rf

LENGTHS, LOSSES = np.array([2.0, 17.0, 18.0, 0.6, 2.4]), np.array([0.12, 0.035, 0.035, 0.12, 0.12])
LINE = rf.LumpedLine(LENGTHS, 0.84, LOSSES, 0.003)
F = np.linspace(1.825e9, 2.075e9, 1001)
MANY, CORES = 1000, 2


def median(work: Callable[[], object], runs: int) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def sweep(seed: int, f: np.ndarray = F) -> tuple[np.ndarray, np.ndarray]:
    """A sweep of six joints by exact cascade, velocity off by up to 1 %, lengths by 5 mm, with noise and directivity; true sizes."""
    rng = np.random.default_rng(seed)
    error, off = rng.uniform(-0.01, 0.01), rng.normal(0.0, 0.005, LENGTHS.size)
    level, kind = rng.uniform(22.0, 34.0, 6), rng.choice(["shunt C", "series L"], 6)
    parts = []
    for k in range(6):
        parts.append(rf.joint_s(kind[k], f, level[k], 1.95e9))
        if k < 5:
            gamma = rf.propagation_per_m(f, 0.84, LOSSES[k], 0.003)
            parts.append(rf.line_s(gamma.real + 1j * gamma.imag * (1 + error), LENGTHS[k] + off[k]))
    g = rf.input_gamma(rf.join_s(*parts), 0.008) + 0.008 * np.exp(2j * np.pi * rng.uniform())
    return g + 4e-4 * (rng.normal(size=f.size) + 1j * rng.normal(size=f.size)), 10 ** (-level / 20)


def fit(seed: int) -> tuple[list[float], int, int, float]:
    """Errors of the joints between port and load, dB; how many intervals hold the truth, and of how many; processor time, s."""
    g, truth = sweep(seed)
    start = time.process_time()
    found = rf.fit_joints(F, g, LINE)
    spent = time.process_time() - start
    errors, held, of = [], 0, 0
    for k in range(1, 5):
        group = found.of_joint(k)
        if len(group.joints) == 1:
            errors.append(abs(20 * np.log10(group.gamma / truth[k])))
            held += group.low <= truth[k] <= group.high
            of += 1
    return errors, held, of, spent


def read_transform(seed: int) -> list[float]:
    """The same joints read from the transform at their designed places, freed of the loss."""
    g, truth = sweep(seed)
    delay, loss = LINE.end_delay_s[1:5], LINE.end_loss_db(1.95e9)[1:5]
    seen = np.abs(rf.response_at(F, g, delay)) * 10 ** (loss / 10)
    return [float(e) for e in np.abs(20 * np.log10(seen / truth[1:5]))]


def one() -> None:
    print(f"one fit, 6 joints, 250 MHz, v/(2 B) = {float(rf.resolution_m(250e6, 0.84)):.2f} m, nearest joints 0.6 m")
    for points in (501, 1001, 2001):
        f = np.linspace(F[0], F[-1], points)
        g, _ = sweep(1, f)
        fits = median(lambda f=f, g=g: rf.fit_joints(f, g, LINE), 31)
        start = time.process_time()
        for _ in range(15):
            rf.fit_joints(f, g, LINE)
        work = (time.process_time() - start) / 15
        trace = median(lambda f=f, g=g: rf.distance_trace(f, g, LENGTHS, [0.84] * 5), 31)
        target = "  (target 30 ms)" if points == 1001 else ""
        print(
            f"  {points:5d} points                  {1000 * fits:9.1f} ms{target}   of the processor {1000 * work:.1f} ms   transform {1000 * trace:.2f} ms"
        )


def many() -> None:
    start = time.perf_counter()
    with ProcessPoolExecutor(CORES) as pool:
        found = list(pool.map(fit, range(MANY), chunksize=25))
    spent = time.perf_counter() - start
    start = time.perf_counter()
    for seed in range(50):
        sweep(seed)
    making = (time.perf_counter() - start) * MANY / 50 / CORES
    errors = np.array([e for row, *_ in found for e in row])
    held = sum(f[1] for f in found) / sum(f[2] for f in found)
    plain = np.array([e for seed in range(200) for e in read_transform(seed)])
    print(f"\n{MANY} fits of {F.size} points on {CORES} cores")
    print(
        f"  all, with making the sweeps   {spent:9.1f} s     of which sweeps about {making:.1f} s, start of the processes included"
    )
    work = [f[3] for f in found]
    print(f"  processor time of a fit       {1000 * statistics.median(work):9.1f} ms    95 % below {1000 * float(np.percentile(work, 95)):.1f} ms; all {sum(work):.1f} s")  # fmt: skip
    print(f"  error of the fit              {np.median(errors):9.3f} dB median, {np.percentile(errors, 95):.3f} dB for 95 %; intervals hold {100 * held:.1f} %")  # fmt: skip
    print(f"  error of the transform        {np.median(plain):9.2f} dB median, {np.percentile(plain, 95):.1f} dB for 95 %, at the designed places")  # fmt: skip


def others() -> None:
    g, _ = sweep(1)
    alone = median(lambda: rf.fit_sizes(F, np.abs(g), LINE), 3)
    four = rf.LumpedLine([2.0, 35.0, 2.0], 0.84, [0.12, 0.035, 0.12], 0.003)
    f = np.linspace(F[0], F[-1], 501)
    known = median(lambda: rf.like_population(f, four, rf.LikeSpreads([30.0] * 4)), 3)
    pair = median(lambda: rf.unlikeness(F, g, g * 1j, float(LINE.end_delay_s[-1])), 15)
    print("\nbeside it")
    print(f"  sizes from |G| alone          {1000 * alone:9.0f} ms")
    print(f"  thresholds of likeness        {1000 * known:9.0f} ms    400 pairs of each kind, 501 points; one comparison {1000 * pair:.1f} ms")  # fmt: skip


if __name__ == "__main__":
    one()
    many()
    others()
