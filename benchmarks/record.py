"""
How long the record takes: 10,000 traces written in bulk, one path's history, verification, taking out and bringing in.

    python benchmarks/record.py

The reference is the same rows and bytes written by the sqlite3 module alone, without chain, keys or checks. Nothing is asserted:
the targets stand beside the numbers. The traces are invented.
"""

from __future__ import annotations

import os
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from upmast.record import query
from upmast.record.bundle import write_bundle
from upmast.record.intake import restore
from upmast.record.kinds import FindingKept, Judgement, LimitKept, Matching, Measurement
from upmast.record.record import Record, open_record
from upmast.record.store import chain_of
from upmast.record.verify import verify

TRACES, POINTS, PATHS = 10_000, 201, 36
LINE = "0" * 63 + "1"


def traces() -> list[bytes]:
    """Invented sweeps as Touchstone text, each of other bytes."""
    f = np.linspace(1.7e9, 2.2e9, POINTS)
    head = "! invented\n# Hz S RI R 50\n"
    body = [" ".join((f"{a:.0f}", "0.0123456", "-0.0234567")) for a in f]
    return [f"{head}! trace {n}\n{chr(10).join(body)}\n".encode() for n in range(TRACES)]


def write(record: Record, data: list[bytes]) -> None:
    limit = LimitKept(
        code="rf.sweep-return-loss", value=17.7, unit="dB", sense="at least", authority="practice", source="invented",
        mark="practice", stage="acceptance",
    )  # fmt: skip
    with record.writing("S1", "K. Ode") as site:
        for n, one in enumerate(data):
            content = site.keep(one)
            test = f"A{n % PATHS}-J1.rl.load"
            key = site.add(
                Measurement(
                    sort="rf.sweep", name=f"A{n % PATHS}-J1.rl.load.s1p", content=content, evidence="A", samples=content,
                    reader="touchstone", facts={"points": POINTS, "lowest_hz": 1.7e9, "highest_hz": 2.2e9},
                )
            )  # fmt: skip
            site.add(Matching(measurement=key, test=test, line=LINE, way="name", confidence=0.98, reasons=("it fits",)))
            found = FindingKept(
                code="rf.sweep-return-loss",
                subject=test,
                verdict="passes",
                value=21.5,
                unit="dB",
                limit=limit,
                margin=3.8,
            )
            site.add(
                Judgement(
                    measurement=key, test=test, line=LINE, verdict="passes", findings=(found,), inputs=content,
                    rules="invented 1", program="upmast 0",
                )
            )  # fmt: skip


def plain(record: Record, place: Path) -> None:
    """The reference: the same entries and bytes by sqlite3 alone."""
    with record.database.reading() as connection:
        rows = [
            (e.site, e.number, e.previous, e.time, e.author, e.program, e.kind, e.body, e.digest, e.key)
            for e in chain_of(connection, "S1")
        ]
        blobs = [tuple(r) for r in connection.exec_driver_sql("SELECT digest, data FROM contents")]
    connection_: Any = sqlite3.connect(place)
    start = time.perf_counter()
    connection_.execute("CREATE TABLE entries (a, b, c, d, e, f, g, h, i, j, PRIMARY KEY (a, b))")
    connection_.execute("CREATE TABLE contents (a PRIMARY KEY, b)")
    connection_.executemany("INSERT INTO entries VALUES (?,?,?,?,?,?,?,?,?,?)", rows)
    connection_.executemany("INSERT INTO contents VALUES (?,?)", blobs)
    connection_.commit()
    connection_.close()
    row("the same rows and bytes by sqlite3 alone (the reference)", time.perf_counter() - start)


def row(name: str, seconds: float, target: str = "") -> None:
    print(f"{name:60} {1000 * seconds:10.1f} ms   {target}")


def best(work: Callable[[], object], runs: int = 7) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def timed(name: str, work: Callable[[], object], target: str = "") -> None:
    start = time.perf_counter()
    work()
    row(name, time.perf_counter() - start, target)


def main() -> None:
    print(f"load average {os.getloadavg()[0]:.2f}; Python {sys.version.split()[0]}\n")
    data = traces()
    print(
        f"{TRACES} traces of {POINTS} points, {sum(map(len, data)) / 1e6:.0f} MB, {PATHS} paths; three entries each\n"
    )
    with tempfile.TemporaryDirectory(prefix="upmast-bench-") as folder:
        place = Path(folder)
        times = []
        for k in range(3):
            with open_record(place / f"bench{k}.record") as record:
                start = time.perf_counter()
                write(record, data)
                times.append(time.perf_counter() - start)
        row("write them all, in one transaction, best of 3", min(times), "target 3000 ms")
        with open_record(place / "bench0.record") as record:
            plain(record, place / "plain")
            timed("write them again: nothing is added", lambda: write(record, data))
            row("history of one path, all entries", best(lambda: query.history(record, "S1", "A7-J1")), "target 20 ms")
            row("verdicts of one path", best(lambda: query.verdicts(record, "S1", "A7-J1")), "target 20 ms")
            row("what stands for each test", best(lambda: query.standing(record, "S1")))
            row("head of the site", best(lambda: record.head("S1")))
            timed("verify: chain, handles, verdicts, every raw file", lambda: verify(record))
            timed("take the site out, checked", lambda: write_bundle(record, place / "bench.zip"))
        timed("restore it into a new record", lambda: restore(place / "bench.zip", place / "again.record"))


if __name__ == "__main__":
    main()
