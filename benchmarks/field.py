"""
How long a thousand sweeps take: read, matched, set-up checked, judged and turned into distance; with and without the fit of joints.

    python benchmarks/field.py

References, in the same run and on the same number of processes: scikit-rf reading the same files and turning them into distance with
the same window, which matches and judges nothing; for tables the csv module and `float`, which check nothing. The sweeps are invented,
each line with another joint spoilt now and then. Each process uses one thread for linear algebra. Nothing is asserted.
"""

# ruff: noqa: E402 (the threads are set before NumPy is loaded)
from __future__ import annotations

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import csv
import resource
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from upmast import rf
from upmast.catalogue.catalogue import standard
from upmast.field.many import Settings, Told, judge_many, standing_by
from upmast.field.match import match_sweep
from upmast.field.readers.archive import read_archive
from upmast.field.readers.table import read_table_file
from upmast.field.readers.touchstone import read_file
from upmast.field.readers.trace_table import guess_trace, read_trace
from upmast.plan.plan import plan
from upmast.proof.prove import Proof, prove
from upmast.proof.rf_path import PathDesign, path_designs
from upmast.site.load import load as load_site

ROOT = Path(__file__).resolve().parent.parent
MANY, POINTS, CORES, RUNS = 1000, 1001, 2, 5
BIG_MB, MEMBER_MB = 2048, 16


def best(work: Callable[[], object], runs: int = RUNS) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def row(name: str, seconds: float, note: str = "") -> None:
    print(f"  {name:58} {seconds:8.2f} s   {note}")


def peak_mb(who: int = resource.RUSAGE_SELF) -> float:
    return resource.getrusage(who).ru_maxrss / 1024


# --- the invented files ------------------------------------------------------------------------------------------------


def proof_of_demo() -> Proof:
    site = load_site(ROOT / "demo" / "site" / "site.yaml", standard())
    planned = plan(site, standard()).best
    if planned is None:
        sys.exit("the demonstration's site has no line: nothing to measure")
    return prove(site, planned.line, rooms=("rf",))


def swept(design: PathDesign, f: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A sweep of a path with a load by exact cascade; one path in twelve has a joint of 14 dB, the others are sound."""
    bad = int(rng.integers(len(design.joints))) if rng.uniform() < 1 / 12 else -1
    parts = []
    for k, _ in enumerate(design.joints):
        parts.append(
            rf.joint_s(str(rng.choice(["shunt C", "series L"])), f, 14.0 if k == bad else rng.uniform(33, 40), 2e9)
        )
        if k < len(design.sections):
            s = design.sections[k]
            parts.append(
                rf.line_s(rf.propagation_per_m(f, s.velocity_fraction, s.a_db_per_m, s.b_db_per_m), s.length_m)
            )
    g = rf.input_gamma(rf.join_s(*parts), 0.006)
    return np.asarray(g + 2e-4 * (rng.normal(size=f.size) + 1j * rng.normal(size=f.size)))


def make_files(proof: Proof, folder: Path, count: int = MANY) -> tuple[list[Path], list[Path]]:
    """Touchstone files, and the same as tables of return loss with a decimal comma."""
    designs = path_designs(proof.line)
    sweeps, tables = [], []
    for n in range(count):
        rng = np.random.default_rng(n)
        design = designs[n % len(designs)]
        f = np.linspace(design.sweep.low_hz, design.sweep.high_hz, POINTS)
        g = swept(design, f, rng)
        text = "! invented\n# Hz S RI R 50\n" + "".join(
            f"{a:.0f} {b.real:.9f} {b.imag:.9f}\n" for a, b in zip(f, g, strict=True)
        )
        stem = f"{n:04d}_{design.id}.rl.load"
        sweeps.append(folder / f"{stem}.s1p")
        sweeps[-1].write_text(text, "ascii")
        loss = -20 * np.log10(np.abs(g))
        text = "Frequency (MHz);Return loss (dB)\n" + "".join(
            f"{a / 1e6:.4f};{b:.2f}\n".replace(".", ",") for a, b in zip(f, loss, strict=True)
        )
        tables.append(folder / f"{stem}.csv")
        tables[-1].write_text(text, "ascii")
    return sweeps, tables


# --- the references ----------------------------------------------------------------------------------------------------


def plain_network(path: Path) -> float:
    """scikit-rf: read, window, to time; the strongest reflection, so that something comes back."""
    import skrf

    return float(np.abs(skrf.Network(str(path)).windowed(("kaiser", 6.0)).s_time).max())


def plain_table(path: Path) -> float:
    """The csv module and `float`, nothing checked."""
    with path.open(newline="") as stream:
        rows = list(csv.reader(stream, delimiter=";"))[1:]
    return float(np.array([[float(cell.replace(",", ".")) for cell in one] for one in rows]).sum())


def trace_of(path: Path) -> int:
    table = read_table_file(path)
    return sum(sweep.points for sweep in read_trace(table, guess_trace(table)))


def read_only(path: Path) -> int:
    return read_file(path).points


def start() -> None:
    """Heavy imports of the references, outside the clock."""
    import skrf  # noqa: F401


def started(work: Callable[[Path], object], paths: Sequence[Path]) -> None:
    """The same over two processes that are started for it."""
    with ProcessPoolExecutor(CORES, initializer=start) as pool:
        list(pool.map(work, paths, chunksize=25))


# --- the measurements --------------------------------------------------------------------------------------------------


def in_pool(work: Callable[[Path], object], paths: Sequence[Path], runs: int = RUNS) -> float:
    """Best of some runs over two processes that stand ready."""
    with ProcessPoolExecutor(CORES, initializer=start) as pool:
        list(pool.map(work, paths[:40], chunksize=20))
        return best(lambda: list(pool.map(work, paths, chunksize=25)), runs)


def many(proof: Proof, sweeps: list[Path]) -> None:
    print(f"\n{len(sweeps)} sweeps of {POINTS} points (.s1p) on {CORES} processes, best of {RUNS}")
    plain = in_pool(plain_network, sweeps)
    row("scikit-rf: read, window, transform (the reference)", plain, "processes ready")
    begun = best(lambda: started(plain_network, sweeps), 2)
    row("the same, start of its processes included", begun)
    row("read alone", in_pool(read_only, sweeps), "processes ready")
    told: list[Told] = []
    with standing_by(proof, processes=CORES) as judge:
        list(judge(sweeps[:100]))
        seconds = best(lambda: list(judge(sweeps)))
    row("read, matched, checked, judged, located", seconds, f"{plain / seconds:.1f} times the reference; target 3")

    def all_of_it() -> None:
        told[:] = judge_many(proof, sweeps, processes=CORES)

    seconds = best(all_of_it)
    row("the same, start of its processes included", seconds, f"{begun / seconds:.1f} times the reference; target 3")
    counted = Counter(str(one.verdict or one.state) for one in told)
    print(f"    of which {', '.join(f'{n} {word}' for word, n in sorted(counted.items()))}")
    seconds = best(lambda: judge_many(proof, sweeps, settings=Settings(fit="all"), processes=CORES), 2)
    row("the same with the fit of all joints of each", seconds, "target 30 s")


def tables(paths: list[Path]) -> None:
    print(f"\n{len(paths)} tables of {POINTS} rows (.csv, decimal comma) on {CORES} processes")
    row("csv module and float (the reference)", in_pool(plain_table, paths, 3))
    row("read_table, guess_trace, read_trace", in_pool(trace_of, paths, 3), "target 4 s")


def alone(proof: Proof, sweeps: list[Path]) -> None:
    from upmast.field.judge import judge_sweep

    path = sweeps[0]
    sweep = read_file(path)
    wanted = match_sweep(proof, sweep).candidates[0].test_id
    judged = judge_sweep(proof, sweep, wanted)
    print("\none sweep, one process, warm")
    for name, work in (
        ("read", lambda: read_file(path)),
        ("match", lambda: match_sweep(proof, read_file(path))),
        ("judge", lambda: judge_sweep(proof, read_file(path), wanted)),
        ("fit", lambda: judge_sweep(proof, read_file(path), wanted).fitted.sentence),
    ):
        extra = "" if name == "read" else ", reading included"
        print(f"  {name + extra:58} {1000 * best(work, 41):8.2f} ms")
    print(f"    {judged.sentence}")


def memory(proof: Proof, sweeps: list[Path], folder: Path) -> None:
    """Each part in a process of its own, so that its peak is its own."""
    print("\npeak of memory, each in a process of its own")
    for name, work, given in (
        ("start: proof made, nothing read", _peak_of_start, ()),
        (f"{len(sweeps)} sweeps judged in one process", _peak_of_judging, (proof, sweeps)),
        (
            f"a zip of {BIG_MB} MB, {BIG_MB // MEMBER_MB} members, walked and read one by one",
            _peak_of_zip,
            (big_zip(folder),),
        ),
    ):
        with ProcessPoolExecutor(1) as pool:
            peak, note = pool.submit(work, *given).result()  # type: ignore[arg-type]
        print(f"  {name:58} {peak:8.0f} MB  {note}")


def _peak_of_start() -> tuple[float, str]:
    return peak_mb(), ""


def _peak_of_judging(proof: Proof, sweeps: list[Path]) -> tuple[float, str]:
    before = peak_mb()
    told = judge_many(proof, sweeps, processes=1)
    return peak_mb(), f"{peak_mb() - before:.0f} MB more than before, {len(told)} results held"


def big_zip(folder: Path) -> Path:
    """A zip stored without packing, so that its size is that of its members; bytes that can't be packed."""
    path = folder / "big.zip"
    block = np.random.default_rng(1).bytes(MEMBER_MB << 20)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as archive:
        for n in range(BIG_MB // MEMBER_MB):
            archive.writestr(f"photos/{n:04d}.jpg", b"\xff\xd8\xff\xe0" + n.to_bytes(4) + block[8:])
    return path


def _peak_of_zip(path: Path) -> tuple[float, str]:
    start = time.perf_counter()
    found = read_archive(path)
    read = sum(len(found.read(entry)) for entry in found.entries)
    return peak_mb(), f"{read >> 20} MB read in {time.perf_counter() - start:.1f} s"


def main() -> None:
    print(f"load average {os.getloadavg()[0]:.2f}; Python {sys.version.split()[0]}")
    proof = proof_of_demo()
    with tempfile.TemporaryDirectory(prefix="upmast-bench-") as name:
        folder = Path(name)
        sweeps, texts = make_files(proof, folder)
        size = sum(path.stat().st_size for path in sweeps)
        print(f"{len(path_designs(proof.line))} RF paths of the demonstration; {size / 1e6:.0f} MB of sweeps")
        many(proof, sweeps)
        tables(texts)
        alone(proof, sweeps)
        memory(proof, sweeps, folder)


if __name__ == "__main__":
    main()
