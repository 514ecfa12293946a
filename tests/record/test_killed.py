"""
A program killed while it brings sites in or files evidence: the record is whole, and run again it ends as if nothing had been.

UPMAST_KILLS says how often; the slow test kills 100 times: UPMAST_KILLS=100 pytest -m slow tests/record/test_killed.py
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from upmast.record import query
from upmast.record.bundle import write_bundle
from upmast.record.contents import TEMPORARY
from upmast.record.intake import check_bundle
from upmast.record.record import Record, open_record
from upmast.record.verify import verify

from .conftest import judged, photo

KILLS = int(os.environ.get("UPMAST_KILLS", "0"))
SITES, TRACES, LARGE = 3, 250, 3
IMPORT = """
import sys
from pathlib import Path
from upmast.record.intake import read_bundle
from upmast.record.record import open_record
print("ready", flush=True)
with open_record(sys.argv[1]) as record:
    read_bundle(record, Path(sys.argv[2]))
print("done", flush=True)
"""
FILE = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
import conftest
from upmast.record.record import open_record
print("ready", flush=True)
with open_record(sys.argv[1]) as record:
    for k in range(40):
        with record.writing("S1", "K. Ode") as writing:
            for n in range(10):
                conftest.judged(writing, b"sweep %d %d" % (k, n), f"A{n}-J1.rl.load")
            conftest.photo(writing, b"%d" % k * 150_000)
print("done", flush=True)
"""


def bundle_of(record: Record, place: Path) -> None:
    for s in range(SITES):
        with record.writing(f"S{s}", "K. Ode") as writing:
            for n in range(TRACES):
                judged(writing, b"sweep %d %d " % (s, n) * 100, f"A{n % 9}-J1.rl.load")
            for n in range(LARGE):
                photo(writing, b"%d%d" % (s, n) * 200_000)
    write_bundle(record, place)


def killed(program: str, arguments: list[str], after_s: float) -> bool:
    """Run a program and kill it some time after it has begun its work; False if it was done before."""
    with subprocess.Popen(
        [sys.executable, "-c", program, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == b"ready\n"
        try:
            child.wait(after_s)
        except subprocess.TimeoutExpired:
            child.send_signal(signal.SIGKILL)
        out, err = child.communicate(timeout=60)
        assert child.returncode in (0, -signal.SIGKILL), err.decode()
    return b"done" not in out


def duration(program: str, arguments: list[str]) -> float:
    with subprocess.Popen([sys.executable, "-c", program, *arguments], stdout=subprocess.PIPE) as child:
        assert child.stdout is not None
        child.stdout.readline()
        start = time.perf_counter()
        child.wait(120)
        return time.perf_counter() - start


def check(place: Path, wanted: list[object], *, whole: bool) -> None:
    """The record is whole; all or nothing of the import is there; no file in its folder is half."""
    with open_record(place) as record:
        assert verify(record) == ()
        there = [record.head(site) for site in record.sites()]
        assert there == (wanted if whole else there)
        assert record.folder is not None
        for digest in record.folder.digests():
            record.folder.get(digest)
        keys = [(e.site, e.kind, e.key) for site in record.sites() for e in query.entries(record, site)]
        assert len(keys) == len(set(keys))


def imports(lone: Record, tmp_path: Path, kills: int) -> None:
    rng = random.Random(kills)
    bundle_of(lone, tmp_path / "b.zip")
    wanted: list[object] = list(check_bundle(tmp_path / "b.zip"))
    arguments = [str(tmp_path / "probe.record"), str(tmp_path / "b.zip")]
    takes = duration(IMPORT, arguments)
    stopped = 0
    for n in range(kills):
        place = tmp_path / f"k{n}" / "a.record"
        place.parent.mkdir()
        arguments = [str(place), str(tmp_path / "b.zip")]
        for _ in range(rng.choice([1, 1, 2])):  # some are killed twice
            stopped += killed(IMPORT, arguments, rng.uniform(0.0, 1.05 * takes))
            check(place, wanted, whole=False)
            with open_record(place) as record:
                assert record.sites() in ((), tuple(f"S{s}" for s in range(SITES)))
        assert not killed(IMPORT, arguments, 120.0)
        check(place, wanted, whole=True)
        with open_record(place) as record:
            assert record.folder is not None
            record.folder.tidy(time.time() + 1e6)
            left = list(record.folder.place.rglob(f"{TEMPORARY}*"))
            assert left == []
            assert len(list(record.folder.digests())) == SITES * LARGE
    assert stopped >= kills // 3  # most were hit in the middle of their work


def test_killed_while_sites_are_brought_in(lone: Record, tmp_path: Path) -> None:
    imports(lone, tmp_path, 3)


@pytest.mark.slow
@pytest.mark.skipif(KILLS < 100, reason="takes minutes: UPMAST_KILLS=100 runs it")
def test_killed_a_hundred_times(lone: Record, tmp_path: Path) -> None:
    imports(lone, tmp_path, KILLS)


def test_killed_while_evidence_is_filed(tmp_path: Path) -> None:
    """Each writing is there or not; the same program run again files what is lacking, and nothing twice."""
    rng = random.Random(7)
    place, here = tmp_path / "a.record", str(Path(__file__).parent)
    for _ in range(max(KILLS, 3)):
        killed(FILE, [str(place), here], rng.uniform(0.05, 0.5))
        with open_record(place) as record:
            assert verify(record) == ()
            count = record.head("S1").entries if record.sites() else 0
            assert count % 21 == 0  # ten measurements, ten verdicts and a photo, or none of them
    assert not killed(FILE, [str(place), here], 120.0)
    with open_record(place) as record:
        assert record.head("S1").entries == 40 * 21
        assert verify(record) == ()
