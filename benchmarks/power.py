"""
Load flow by the hundred thousand: how fast, against general-purpose solvers in the same run, and how its memory grows.

    python benchmarks/power.py

References: brentq of scipy for a bussed box, ngspice (where it is installed) and scipy.optimize.root with its Jacobian given
for networks of any shape. Answers are compared, too: a fast wrong one is worth nothing.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from scipy.optimize import brentq, root

from upmast.power import Network, solve, thevenin
from upmast.power.loads import Loads
from upmast.power.tree import bussed

ROOT = Path(__file__).resolve().parent.parent
GRID, RADIOS = 100_000, 6
BATCH = 20_000  # scenarios of one network that are solved together
# ngspice: analyses in one process, and processes of one analysis each
ANALYSES, PROCESSES = 200, 8
KINDS = (
    "bussed_box",
    "cascade",
    "unequal_pairs",
    "line_unlike_return",
    "common_return",
    "mixed_loads",
    "current_limited",
)
Net = dict[str, Any]
Array = np.ndarray[Any, np.dtype[np.float64]]


def best(work: Callable[[], object], runs: int = 3) -> float:
    """Shortest of some runs, in seconds."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def row(what: str, ours: str, reference: str, ratio: str, target: str = "", met: bool | None = None) -> None:
    told = "" if met is None else "met" if met else "NOT MET"
    print(f"{what:44} {ours:>14} {reference:>16} {ratio:>10}  {target:16} {told}")


def _make() -> ModuleType:
    path = ROOT / "tests" / "published" / "power_networks" / "make.py"
    spec = importlib.util.spec_from_file_location("power_networks_make", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


# --- bussed boxes -----------------------------------------------------------------------------------------------------


def grid() -> tuple[Array, Array, Array, Array]:
    """Boxes of six radios over emf, length, heat and load; invented, in the range of common practice."""
    rng = np.random.default_rng(20261126)
    emf = rng.uniform(42.0, 56.0, GRID)
    feeder = rng.uniform(0.005, 0.06, GRID)
    spur = rng.uniform(0.01, 0.08, (GRID, RADIOS))
    power = rng.uniform(0.1, 1.0, (GRID, 1)) * rng.uniform(200.0, 1200.0, (GRID, RADIOS))
    return emf, feeder, spur, power


def by_brentq(emf: float, feeder: float, spur: Array, power: Array) -> float:
    """The bus voltage of one box by a bracketing root finder, from the least voltage at which every spur has a solution."""

    def miss(bus: float) -> float:
        under = np.sqrt(np.maximum(bus * bus - 4 * spur * power, 0.0))
        return float(bus - emf + feeder * (2 * power / (bus + under)).sum())

    low = float(np.sqrt(4 * spur * power).max())
    # the high root: walk down from the emf until the sign changes
    above = emf
    for bus in np.linspace(emf, low, 60)[1:]:
        if miss(float(bus)) < 0:
            return float(brentq(miss, float(bus), above, xtol=1e-12))
        above = float(bus)
    return float("nan")


def boxes() -> None:
    emf, feeder, spur, power = grid()
    seconds = best(lambda: bussed(emf, feeder, spur, power))
    found = bussed(emf, feeder, spur, power)
    some = range(0, GRID, GRID // 400)
    start = time.perf_counter()
    other = np.array([by_brentq(float(emf[n]), float(feeder[n]), spur[n], power[n]) for n in some])
    each = (time.perf_counter() - start) / len(some)
    both = found.exists[list(some)] & np.isfinite(other)
    apart = float(np.max(np.abs(found.bus_v[list(some)][both] / other[both] - 1)))
    row(f"{GRID:,} bussed boxes of {RADIOS} radios", f"{seconds:.3f} s", f"brentq {each * 1e6:.0f} us", f"{each * GRID / seconds:.0f}x", "< 1 s", seconds < 1)  # fmt: skip
    print(
        f"    {100 * found.exists.mean():.1f} % have a solution; bus voltages of {both.sum()} differ by {apart:.1e} at most"
    )


# --- any network ------------------------------------------------------------------------------------------------------


def networks(make: ModuleType) -> list[Net]:
    """One network of each kind with six ports, as light as half its collapse or lighter."""
    out = []
    for number, kind in enumerate(KINDS):
        seed = 500_000 + 10_000 * number
        while True:
            seed += 1
            net = make.network(kind, seed)
            if len(net["port_plus"]) == RADIOS and make.loading(net) < 0.5:
                out.append(net)
                break
    return out


def ours(net: Net, emf_v: Array) -> tuple[Network, Loads]:
    ohm = np.array([np.inf if r is None else r for r in net["branch_ohm"]])
    limit = np.array([np.inf if a is None else a for a in net["limit_a"]])
    network = Network(
        net["node_count"], net["branch_from"], net["branch_to"], ohm, net["source_plus"], net["source_minus"], emf_v,
        net["port_plus"], net["port_minus"],
    )  # fmt: skip
    return network, Loads(net["power_w"], net["current_a"], net["conductance_s"], limit)


def emfs(net: Net, count: int) -> Array:
    return np.asarray(net["emf_v"] * np.linspace(0.98, 1.1, count))


def batched_s(nets: list[Net]) -> float:
    """Seconds for one case, solved in batches, every network of its own shape."""
    whole = 0.0
    for net in nets:
        network, loads = ours(net, emfs(net, BATCH))
        whole += best(lambda n=network, p=loads: solve(n, p))  # type: ignore[misc]
    return whole / (len(nets) * BATCH)


def by_ngspice(make: ModuleType, nets: list[Net], program: str, each: float) -> None:
    """Operating points over the emf: many analyses in one process, and one process for each."""
    looped = 0.0
    apart = 0.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "case.cir")

        def ran(text: str) -> str:
            path.write_text(text, "utf-8")
            done = subprocess.run([program, "-n", "-b", path.name], cwd=folder, capture_output=True, text=True, timeout=60, check=False)  # fmt: skip
            return done.stdout

        alone = 0.0
        for net in nets:
            text = make.netlist(net)
            head = text[: text.index("op\nprint")]
            values = emfs(net, ANALYSES)
            many = head + "".join(f"alter vs dc = {v!r}\nop\n" for v in values.tolist()) + ".endc\n.end\n"
            one = head + f"alter vs dc = {values[0]!s}\nop\n.endc\n.end\n"
            lone = best(lambda t=one: ran(t), PROCESSES // 4)  # type: ignore[misc]
            alone += lone
            looped += max(best(lambda t=many: ran(t), 1) - lone, 0.0) / (ANALYSES - 1)  # type: ignore[misc]
            answer = make.run(program, [net], [text])[0]
            found = solve(*ours(net, np.array(net["emf_v"])))
            if answer is not None:
                apart = max(apart, float(np.max(np.abs(found.port_v / np.array(answer["port_v"]) - 1))))
    loop, process = looped / len(nets), alone / len(nets)
    row("any network, a process of ngspice each", f"{each * 1e6:.2f} us", f"{process * 1e3:.1f} ms", f"{process / each:.0f}x", ">= 1000x", process >= 1000 * each)  # fmt: skip
    row("any network, ngspice without its start", f"{each * 1e6:.2f} us", f"{loop * 1e6:.0f} us", f"{loop / each:.0f}x")
    print(f"    {len(nets)} kinds of networks; voltages differ by {apart:.1e} at most (relative)")


def root_of(voc_v: Array, z_ohm: Array, power_w: Array) -> Array:
    """Port voltages by the general root finder, from no load."""
    eye = np.eye(voc_v.size)
    found = root(
        lambda v: v - voc_v + z_ohm @ (power_w / v), voc_v, jac=lambda v: eye - z_ohm * (power_w / v**2), tol=1e-12
    )
    return np.asarray(found.x)


def by_root(nets: list[Net]) -> None:
    """The same without what a given Jacobian can't take: constant power only, already reduced to the ports, from no load."""
    count = 150
    spent, batched, apart = 0.0, 0.0, 0.0
    plain = [net for net in nets if net["kind"] not in ("mixed_loads", "current_limited")]
    for net in plain:
        values = emfs(net, count)
        power = np.asarray(net["power_w"], float)
        seen = thevenin(ours(net, values)[0])
        z = np.asarray(seen.z_ohm).reshape(-1, RADIOS, RADIOS)[0]
        voc = np.broadcast_to(seen.voc_v, (count, RADIOS))
        start = time.perf_counter()
        answers = np.array([root_of(one, z, power) for one in voc])
        spent += (time.perf_counter() - start) / count
        network, loads = ours(net, emfs(net, BATCH))
        batched += best(lambda n=network, p=loads: solve(n, p)) / BATCH  # type: ignore[misc]
        apart = max(apart, float(np.max(np.abs(solve(ours(net, values)[0], loads).port_v / answers - 1))))
    each, reference = batched / len(plain), spent / len(plain)
    row("the same, scipy.optimize.root with Jacobian", f"{each * 1e6:.2f} us", f"{reference * 1e6:.0f} us", f"{reference / each:.0f}x", ">= 5x", reference >= 5 * each)  # fmt: skip
    print(f"    {len(plain)} kinds, constant power; voltages differ by {apart:.1e} at most (relative)")


def memory(nets: list[Net]) -> None:
    """Peak of what is allocated while N, 2 N and 4 N scenarios of one network are solved."""
    net = nets[0]
    peaks = []
    counts = (BATCH, 2 * BATCH, 4 * BATCH)
    for count in counts:
        network, loads = ours(net, emfs(net, count))
        tracemalloc.start()
        solve(network, loads)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    growth = [after / before for before, after in pairwise(peaks)]
    told = ", ".join(f"{n:,}: {peak / 1e6:.1f} MB" for n, peak in zip(counts, peaks, strict=True))
    row("memory, each time twice the scenarios", f"{peaks[-1] / counts[-1]:.0f} B each", "", f"{max(growth):.2f}x", "<= 2.1x", max(growth) <= 2.1)  # fmt: skip
    print(f"    {told}")


def main() -> None:
    print(f"load average {os.getloadavg()[0]:.2f}")
    row("what", "upmast", "reference", "ratio", "target")
    make = _make()
    boxes()
    nets = networks(make)
    each = batched_s(nets)
    program = shutil.which("ngspice")
    if program is None:
        print("any network against ngspice: NOT MEASURED, ngspice is not installed")
    else:
        by_ngspice(make, nets, program, each)
    by_root(nets)
    memory(nets)


if __name__ == "__main__":
    main()
