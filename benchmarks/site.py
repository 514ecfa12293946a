"""
What each room takes of a re-proof of the demonstration, warm, and what the views on demand take.

    python benchmarks/site.py

A room's time is that of its inputs, its check and the digest that says whether it may be reused. The reference is the whole proof in
the same run. Nothing is asserted: targets stand beside the numbers.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

from upmast.catalogue.catalogue import standard
from upmast.digest import digest
from upmast.line.save import load as load_line
from upmast.proof.limits import limits_of
from upmast.proof.mast_lines import mast_lines_of
from upmast.proof.prove import ROOMS, prove, room
from upmast.proof.scenarios import scenarios_of
from upmast.site.load import load as load_site

FOLDER = Path(__file__).resolve().parent.parent / "demo" / "site"
QUIET = ("support", "earth", "weather")


def best(work: Callable[[], object], runs: int = 15) -> float:
    """Best of some runs in this process, s."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    print(f"load average {os.getloadavg()[0]:.2f}; Python {sys.version.split()[0]}\n")
    site, line = load_site(FOLDER / "site.yaml", standard()), load_line(FOLDER).line
    scenarios, limits = scenarios_of(site), limits_of(site)
    proof = prove(site, line)
    whole = best(lambda: prove(site, line))
    took: dict[str, float] = {}
    print(f"{'room':12} {'inputs':>9} {'check':>9} {'digest':>9} {'together':>9}    share of a whole proof")
    for name in ROOMS:
        module = room(name)
        inputs = module.inputs(line, site, scenarios)
        parts = (
            best(lambda module=module: module.inputs(line, site, scenarios)),  # type: ignore[misc]
            best(lambda module=module, inputs=inputs: module.check(inputs, limits)),  # type: ignore[misc]
            best(lambda inputs=inputs: digest(inputs)),  # type: ignore[misc]
        )
        took[name] = sum(parts)
        cells = " ".join(f"{1000 * p:6.2f} ms" for p in (*parts, took[name]))
        print(f"{name:12} {cells}    {100 * took[name] / whole:5.1f} %")
    print(f"{'whole proof':42} {1000 * whole:6.2f} ms")
    quiet = sum(took[name] for name in QUIET)
    print(f"\n{', '.join(QUIET)} together: {1000 * quiet:.2f} ms (target 15 ms)")
    print(
        f"support without its digest: {1000 * took['support'] - 1000 * best(lambda: digest(proof.rooms['support'].inputs)):.2f} ms (target 5 ms)"
    )
    print(f"re-proof with nothing changed: {1000 * best(lambda: prove(site, line, proof)):.2f} ms")
    print(f"on demand, the lines on the mast: {1000 * best(lambda: mast_lines_of(proof)):.2f} ms")


if __name__ == "__main__":
    main()
