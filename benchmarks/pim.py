"""
How long it takes to count products that hit, to draw their whole spectrum, and to search a plan without them; and the memory for it.

    python benchmarks/pim.py

Reference, in the same run: a plain loop over all products in Python, one vector at a time, whole numbers, against the same receive
ranges. Its rate is measured on a sample and its time extrapolated from the number of products, which is said beside it. Nothing is
asserted.
"""

from __future__ import annotations

import resource
import statistics
import time
from collections.abc import Callable, Iterator

import numpy as np

from upmast import pim

MHZ = 1_000_000
DOWNLINKS = ((758, 803), (791, 821), (925, 960), (1805, 1880), (2110, 2170), (2620, 2690))
UPLINKS = [[703, 748], [832, 862], [880, 915], [1710, 1785], [1920, 1980], [2500, 2570]]
RANGES = [[low * MHZ, high * MHZ] for low, high in UPLINKS]
WIDTHS = (5, 10, 15, 20)
SAMPLE_S = 1.0
LISTED = 20_000


def median(work: Callable[[], object], runs: int) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def carriers(number: int, seed: int = 1) -> tuple[list[int], list[int]]:
    """An invented plan: carriers in turn in six bands, centres on 100 kHz."""
    rng = np.random.default_rng(seed)
    centres, widths = [], []
    for n in range(number):
        low, high = DOWNLINKS[n % len(DOWNLINKS)]
        width = WIDTHS[n % len(WIDTHS)]
        centres.append(int(rng.integers(low * 10 + width * 5, high * 10 - width * 5)) * 100_000)
        widths.append(width * MHZ)
    return centres, widths


def vectors(number: int, left: int, first: bool = True) -> Iterator[tuple[int, ...]]:
    """All vectors of one order, one of c and -c, one at a time."""
    if number == 1:
        yield from ((left,),) if first or not left else ((left,), (-left,))
        return
    for size in range(left + 1):
        for c in (size,) if first or not size else (size, -size):
            for rest in vectors(number - 1, left - size, first and not size):
                yield (c, *rest)


def plain(centres: list[int], widths: list[int], order: int, seconds: float = np.inf) -> tuple[int, int, float]:
    """Hits and products of one order by a plain loop, and the time; it stops after so many seconds."""
    start = time.perf_counter()
    hits = seen = 0
    for c in vectors(len(centres), order):
        f = w = 0
        for a, centre, width in zip(c, centres, widths, strict=True):
            if a:
                f += a * centre
                w += abs(a) * width
        f = abs(f)
        for low, high in RANGES:
            if 2 * f + w > 2 * low and 2 * f - w < 2 * high and f:
                hits += 1
        seen += 1
        if not seen % 1000 and time.perf_counter() - start > seconds:
            break
    return hits, seen, time.perf_counter() - start


def counting(number: int, orders: tuple[int, ...], target: str) -> None:
    centres, widths = carriers(number)
    products = sum(pim.product_count(number, n) for n in orders)
    took = median(lambda: pim.products_in(centres, widths, RANGES, orders, LISTED), 5)
    found = pim.products_in(centres, widths, RANGES, orders, LISTED)
    print(f"\n{number} carriers, orders {orders[0]} to {orders[-1]}: {products:.2e} products, {int(found.count.sum())} hits in {len(RANGES)} ranges")  # fmt: skip
    _, seen, spent = plain(centres, widths, orders[-1], SAMPLE_S)
    loop = spent / seen * products
    how = f"extrapolated from {seen} products of order {orders[-1]} at {seen / spent:.2e} a second"
    if products < 2e6:
        runs = [plain(centres, widths, n) for n in orders]
        loop, how = sum(run[2] for run in runs), "measured"
        same = [run[0] for run in runs] == found.count.sum(axis=1).tolist()
        how += ", same hits" if same else ", OTHER HITS"
    print(f"  plain loop in Python          {loop:9.3f} s    {how}")
    print(f"  counted, {LISTED} listed        {took:9.3f} s    {loop / took:.0f} times{target}")


def spectrum(number: int, orders: tuple[int, ...]) -> None:
    centres, widths = carriers(number)
    levels = pim.specified_dbm(orders, -107.0)
    took = median(lambda: pim.intermod_spectrum(centres, widths, [43.0] * number, levels, orders), 5)
    made = pim.intermod_spectrum(centres, widths, [43.0] * number, levels, orders)
    print(f"  {number:3d} carriers, orders {orders[0]} to {orders[-1]:2d}   {took:9.3f} s    {made.cell_mw.shape[1]} cells of 100 kHz (target 0.3 s)")  # fmt: skip


def planning(number: int, choices: int, orders: tuple[int, ...]) -> None:
    rng = np.random.default_rng(2)
    allowed = []
    for n in range(number):
        low, high = DOWNLINKS[n % len(DOWNLINKS)]
        steps = rng.permutation(np.arange(low * 10 + 25, high * 10 - 25))[:choices]
        allowed.append([int(f) * 100_000 for f in steps])
    start = time.perf_counter()
    found = pim.best_plan(allowed, [5 * MHZ] * number, RANGES, orders)
    took = time.perf_counter() - start
    one = median(lambda: pim.products_in(found.centres_hz, [5 * MHZ] * number, RANGES, orders), 5)
    print(f"\n{number} carriers with {choices} allowed centres each, orders {orders[0]} to {orders[-1]}")
    print(f"  every plan listed             {one * found.plans:9.0f} s    extrapolated from {1000 * one:.2f} ms a plan")
    print(f"  branch and bound              {took:9.3f} s    {one * found.plans / took:.1e} times; {found.words()}")


def memory() -> str:
    return (
        f"peak memory so far {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB (target below 2000 MB)"
    )


if __name__ == "__main__":
    counting(4, (3, 5, 7), "")
    counting(8, (3, 5, 7), "")
    counting(16, (3, 5, 7, 9), " (target 200)")
    counting(16, tuple(range(2, 10)), " (target 200)")
    counting(24, (3, 5, 7), " (target: 5 s)")
    counting(24, tuple(range(2, 8)), " (target: 5 s)")
    print(f"  {memory()}")
    print("\nwhole spectrum, all products at once")
    for many in (4, 24):
        for some in ((3, 5, 7), (3, 5, 7, 9), tuple(range(2, 12))):
            spectrum(many, some)
    planning(4, 30, (3, 5, 7))
    planning(6, 12, (3, 5, 7))
    print(f"\n{memory()}")
