"""Whole sites out of one record and into another, on either kind of database, all or nothing."""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from upmast.errors import InputFaults, UsageError
from upmast.record import bundle, query
from upmast.record.contents import INLINE_BYTES
from upmast.record.intake import check_bundle, read_bundle, restore
from upmast.record.record import Record, open_record
from upmast.record.verify import verify

from .conftest import judged, photo

Clock = Callable[[], object]
LARGE = b"large" * INLINE_BYTES


def fill(record: Record, site: str = "S1", count: int = 3) -> None:
    with record.writing(site, "K. Ödé") as writing:
        for n in range(count):
            judged(writing, b"sweep %d" % n, f"A{n}-J1.rl.load", 20.0 + n / 3)
        photo(writing, LARGE)
        photo(writing, b"shared by all sites")


def content_of(record: Record) -> list[object]:
    return [e for site in record.sites() for e in query.entries(record, site)]


def test_a_site_goes_over_whole(record: Record, tmp_path: Path) -> None:
    fill(record)
    fill(record, "S2")
    heads = bundle.write_bundle(record, tmp_path / "out.zip", ["S2"])
    assert heads == (record.head("S2"),)
    with open_record(tmp_path / "other.record") as other:
        brought = read_bundle(other, tmp_path / "out.zip")
        assert (brought.heads, brought.new, brought.contents) == (heads, {"S2": 8}, 5)
        assert other.head("S2") == record.head("S2")
        assert query.entries(other, "S2") == query.entries(record, "S2")
        assert query.verdicts(other, "S2") == query.verdicts(record, "S2")
        assert verify(other, printed=heads) == ()
        assert other.sites() == ("S2",)
        photo_ = query.history(other, "S2", "A2-J1")[-2]
        assert other.content(photo_.said.contents()[0]) == LARGE


def test_back_into_the_other_kind_of_database(where: str, lone: Record, tmp_path: Path) -> None:
    fill(lone)
    bundle.backup(lone, tmp_path / "b.zip")
    restore(tmp_path / "b.zip", where)
    with open_record(where) as other:
        assert content_of(other) == content_of(lone)
        assert verify(other) == ()


def test_brought_in_again_nothing_is_added(record: Record, lone: Record, tmp_path: Path) -> None:
    fill(lone)
    bundle.write_bundle(lone, tmp_path / "a.zip")
    assert read_bundle(record, tmp_path / "a.zip").new == {"S1": 8}
    before = content_of(record)
    again = read_bundle(record, tmp_path / "a.zip")
    assert (again.new, again.contents) == ({"S1": 0}, 0)
    assert content_of(record) == before


def test_a_longer_chain_continues_a_shorter(record: Record, lone: Record, tmp_path: Path) -> None:
    fill(lone)
    bundle.write_bundle(lone, tmp_path / "a.zip")
    read_bundle(record, tmp_path / "a.zip")
    with lone.writing("S1", "A. Lind") as writing:
        photo(writing, b"later")
    bundle.write_bundle(lone, tmp_path / "b.zip")
    brought = read_bundle(record, tmp_path / "b.zip")
    assert (brought.new, brought.contents) == ({"S1": 1}, 1)
    assert read_bundle(record, tmp_path / "a.zip").new == {"S1": 0}  # an older one changes nothing
    assert record.head("S1") == lone.head("S1")
    assert verify(record) == ()


def test_two_ways_are_refused_with_the_entry_at_which_they_part(record: Record, lone: Record, tmp_path: Path) -> None:
    fill(lone)
    fill(lone, "S2")
    bundle.write_bundle(lone, tmp_path / "a.zip", ["S1"])
    read_bundle(record, tmp_path / "a.zip")
    for one, data in ((lone, b"mine"), (record, b"yours")):
        with one.writing("S1", "K. Ode") as writing:
            photo(writing, data)
    before = content_of(record)
    bundle.write_bundle(lone, tmp_path / "b.zip")
    with pytest.raises(InputFaults, match="the two went different ways") as error:
        read_bundle(record, tmp_path / "b.zip")
    assert [(f.place, f.line) for f in error.value.faults] == [("sites/S1.jsonl", 9)]
    assert content_of(record) == before  # S2 neither
    assert verify(record) == ()


def test_a_bundle_is_the_same_bytes_for_the_same_record(lone: Record, tmp_path: Path) -> None:
    fill(lone)
    lone.clock = lambda: __import__("datetime").datetime(2026, 5, 4, tzinfo=__import__("datetime").UTC)
    for name in ("a", "b"):
        bundle.write_bundle(lone, tmp_path / name)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def test_a_bundle_is_not_written_over_another(lone: Record, tmp_path: Path) -> None:
    fill(lone)
    place = tmp_path / "a.zip"
    place.write_bytes(b"mine")
    with pytest.raises(UsageError, match="is not overwritten without being asked to"):
        bundle.write_bundle(lone, place)
    assert place.read_bytes() == b"mine"
    bundle.write_bundle(lone, place, replace=True)
    assert check_bundle(place) == (lone.head("S1"),)
    with pytest.raises(UsageError, match="can't be written"):
        bundle.write_bundle(lone, tmp_path / "no" / "a.zip")


def test_nothing_is_taken_out_of_a_record_that_is_not_whole(lone: Record, tmp_path: Path) -> None:
    fill(lone)
    assert lone.folder is not None
    (digest,) = lone.folder.digests()
    lone.folder.path(digest).unlink()
    with pytest.raises(UsageError, match="is missing"):
        bundle.backup(lone, tmp_path / "a.zip")
    with lone.database.writing() as connection:
        connection.exec_driver_sql("DROP TRIGGER entries_no_delete")
        connection.exec_driver_sql("DELETE FROM entries WHERE number = 4")
    with pytest.raises(UsageError, match="is not whole: S1: entry 4 is missing"):
        bundle.backup(lone, tmp_path / "a.zip")
    with pytest.raises(UsageError, match="has no site S9"):
        bundle.write_bundle(lone, tmp_path / "a.zip", ["S9"])
    assert [p.name for p in tmp_path.iterdir() if "zip" in p.name] == []


def test_a_backup_brought_in_again_puts_back_what_is_gone(lone: Record, tmp_path: Path) -> None:
    fill(lone)
    bundle.backup(lone, tmp_path / "b.zip")
    assert lone.folder is not None
    (digest,) = lone.folder.digests()
    lone.folder.path(digest).unlink()
    assert len(verify(lone)) == 1
    brought = read_bundle(lone, tmp_path / "b.zip")
    assert (brought.new, brought.contents) == ({"S1": 0}, 1)
    assert verify(lone) == ()


def test_an_empty_record_has_nothing_to_take_out(lone: Record, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="the record is empty"):
        bundle.backup(lone, tmp_path / "a.zip")


def test_a_backup_is_restored_to_a_new_place_only(lone: Record, tmp_path: Path) -> None:
    fill(lone)
    fill(lone, "S2")
    heads = bundle.backup(lone, tmp_path / "b.zip")
    restore(tmp_path / "b.zip", tmp_path / "new.record")
    with open_record(tmp_path / "new.record") as new:
        assert content_of(new) == content_of(lone)
        assert verify(new, printed=heads) == ()
    with pytest.raises(UsageError, match="a backup is restored to a new place"):
        restore(tmp_path / "b.zip", tmp_path / "new.record")


def test_a_bundle_into_a_record_that_is_not_whole_is_refused(lone: Record, tmp_path: Path) -> None:
    fill(lone)
    bundle.backup(lone, tmp_path / "b.zip")
    with lone.database.writing() as connection:
        connection.exec_driver_sql("DROP TRIGGER entries_no_delete")
        connection.exec_driver_sql("DELETE FROM entries WHERE number = 4")
    with pytest.raises(UsageError, match="is not whole: verify it first"):
        read_bundle(lone, tmp_path / "b.zip")


def test_a_copy_of_the_files_is_a_record(lone: Record, tmp_path: Path) -> None:
    """A closed record is one file and its folder: copied together they are the same record."""
    fill(lone)
    lone.close()
    place = lone.database.place
    assert place is not None
    assert lone.folder is not None
    shutil.copy(place, tmp_path / "copy.record")
    shutil.copytree(lone.folder.place, tmp_path / "copy.record.files")
    with open_record(tmp_path / "copy.record") as copy:
        assert verify(copy) == ()


def test_the_archive_holds_what_its_page_says(lone: Record, tmp_path: Path) -> None:
    fill(lone)
    bundle.write_bundle(lone, tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        names = archive.namelist()
        assert names[0] == "sites/S1.jsonl"
        assert names[-1] == "manifest.json"
        assert all(name.startswith("contents/") for name in names[1:-1])
        assert archive.read("sites/S1.jsonl").count(b"\n") == 8
