"""Several writers at once, threads and processes: no entry is lost, none is there twice, and each chain is whole."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from upmast.record import query
from upmast.record.bundle import write_bundle
from upmast.record.intake import read_bundle
from upmast.record.record import Record, open_record
from upmast.record.verify import verify

from .conftest import judged, photo

WRITER = """
import sys
from upmast.record.kinds import Photo
from upmast.record.record import open_record
where, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
with open_record(where) as record:
    for n in range(count):
        with record.writing("S1", name) as site:
            content = site.keep(f"{name} {n}".encode())
            site.add(Photo(content=content, name="a.jpg", subject="A2-J1", shows=f"{name} {n}", looks="jpeg"))
"""
WRITERS, EACH = 4, 15


def test_processes_that_write_to_one_site(where: str) -> None:
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, where, f"writer {k}", str(EACH)], stderr=subprocess.PIPE)
        for k in range(WRITERS)
    ]
    for writer in writers:
        _, said = writer.communicate(timeout=120)
        assert writer.returncode == 0, said.decode()
    with open_record(where) as record:
        entries = query.entries(record, "S1")
        assert [e.number for e in entries] == list(range(1, WRITERS * EACH + 1))
        for k in range(WRITERS):
            mine = [e.said.shows for e in entries if e.author == f"writer {k}"]  # type: ignore[attr-defined]
            assert mine == [f"writer {k} {n}" for n in range(EACH)]  # each in its own order
        assert verify(record) == ()


def test_threads_that_write_to_their_sites_and_to_a_shared_one(record: Record) -> None:
    def work(k: int) -> None:
        for n in range(10):
            for site in (f"S{k}", "SHARED"):
                with record.writing(site, f"writer {k}") as writing:
                    judged(writing, b"%d %d" % (k, n), f"A{k}-J1.rl.load")

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(work, range(4)))
    assert record.head("SHARED").entries == 4 * 10 * 2
    assert all(record.head(f"S{k}").entries == 20 for k in range(4))
    assert verify(record) == ()


def test_the_same_said_by_all_at_once_is_there_once(record: Record) -> None:
    def work(_: int) -> None:
        with record.writing("S1", "K. Ode") as writing:
            photo(writing, b"the same")
            photo(writing, b"large" * 100_000)

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(work, range(24)))
    assert record.head("S1").entries == 2
    assert verify(record) == ()


def test_readers_see_a_whole_record_while_it_is_written(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        judged(writing, b"first")

    def write(n: int) -> None:
        with record.writing("S1", "K. Ode") as writing:
            judged(writing, b"sweep %d" % n)

    def read(_: int) -> bool:
        return verify(record) == () and record.head("S1").entries % 2 == 0

    with ThreadPoolExecutor(4) as pool:
        reads = [pool.submit(read, n) for n in range(15)]
        writes = [pool.submit(write, n) for n in range(15)]
        assert all(one.result() for one in reads)
        assert all(one.result() is None for one in writes)


def test_two_imports_of_overlapping_sites(record: Record, lone: Record, tmp_path: Path) -> None:
    for site in ("S1", "S2", "S3"):
        with lone.writing(site, "K. Ode") as writing:
            judged(writing, site.encode())
    write_bundle(lone, tmp_path / "a.zip", ["S1", "S2"])
    write_bundle(lone, tmp_path / "b.zip", ["S3", "S2", "S1"])
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda name: read_bundle(record, tmp_path / name), ["a.zip", "b.zip"] * 4))
    assert record.sites() == ("S1", "S2", "S3")
    assert all(record.head(site) == lone.head(site) for site in record.sites())
    assert verify(record) == ()


def test_a_writer_that_waits_too_long_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, clock: Callable[[], object]
) -> None:
    from upmast.errors import UsageError
    from upmast.record import database

    monkeypatch.setattr(database, "BUSY_S", 0.2)
    place = tmp_path / "a.record"
    with open_record(place) as record, open_record(place) as other, record.database.writing():
        with pytest.raises(UsageError, match="is busy: another program writes to it; try again"):
            write_one(other)
        assert other.sites() == ()  # readers do not wait
    with open_record(tmp_path / "a.record") as record:
        write_one(record)
        assert record.head("S1").entries == 1


def write_one(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        photo(writing, b"one")
