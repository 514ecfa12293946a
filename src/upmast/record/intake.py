"""
Bring sites into a record from a bundle: everything is verified first, then all of it is written in one transaction, or nothing.

A site that is there already is only continued: its entries must be the first of the bundle's, or the bundle's the first of its
own. Two chains that went different ways are refused, with the entry at which they part. Run again, it adds nothing twice.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from upmast.errors import UsageError, shorten
from upmast.record.archive import MOST_TOTAL, Archive
from upmast.record.canonical import TIME, canonical, check_author, printable
from upmast.record.chain import NOTHING, Entry, Head
from upmast.record.database import Connection, Database, sa
from upmast.record.kept import Kept
from upmast.record.kinds import read
from upmast.record.record import Clock, Record, now, open_record
from upmast.record.store import chunks, insert, known_contents, locked_head, move_head, put_blobs
from upmast.record.tables import ENTRIES

ROWS = 2_000  # entries that are written at a time
HELD_BYTES = 16_000_000  # raw files that are held at a time


@dataclass(frozen=True, slots=True)
class Brought:
    """What an import did: of each site its head, and how many entries were new; and how many raw files were."""

    heads: tuple[Head, ...]
    new: dict[str, int]
    contents: int


def check_bundle(place: Path, most_total: int = MOST_TOTAL) -> tuple[Head, ...]:
    """
    Read a bundle as an import would, without a record, and return the heads of its sites.

    Raises
    ------
    InputFaults
        If anything in it is not as it should be: its files, a chain, an entry, a raw file, a reference.
    """
    with Archive(place, most_total) as archive:
        return _check(archive)


def read_bundle(record: Record, place: Path, most_total: int = MOST_TOTAL) -> Brought:
    """
    Bring every site of a bundle into a record, all or nothing.

    Raises
    ------
    InputFaults
        If the bundle is not sound, or a site of the record went another way.
    UsageError
        If the record can't be written. In each case the record is as it was.
    """
    with Archive(place, most_total) as archive:
        return _bring(archive, _check(archive), record)


def restore(place: Path, where: str | Path, *, files: Path | None = None, clock: Clock = now) -> Brought:
    """
    Make a record of a backup. An interrupted restoring can be run again.

    Raises
    ------
    InputFaults
        If the backup is not sound.
    UsageError
        If there is a record with entries at that place: use `read_bundle` to add to it.
    """
    with Archive(place) as archive:
        heads = _check(archive)
        with open_record(where, files=files, clock=clock) as record:
            if record.sites():
                raise UsageError(f"the record {record.database.name} has entries: a backup is restored to a new place")
            return _bring(archive, heads, record)


def _bring(archive: Archive, heads: tuple[Head, ...], record: Record) -> Brought:
    """Write what was checked, in one transaction."""
    database = record.database
    new: dict[str, int] = {}
    with database.writing() as connection:
        for head in heads:  # in the order of their names: two imports can't wait for each other
            standing = locked_head(database, connection, head.site)
            new[head.site] = max(0, head.entries - standing.entries)
            _check_way(archive, connection, head, standing)
        archive.faults.raise_if_any()
        count = _bring_contents(archive, connection, record)
        for head in heads:
            _bring_entries(archive, connection, database, head, new[head.site])
    return Brought(heads, new, count)


def _check(archive: Archive) -> tuple[Head, ...]:
    """Walk everything once, writing nothing."""
    heads: list[Head] = []
    wanted: set[str] = set()
    size = 0
    for site in archive.sites:
        told = archive.manifest["sites"][site]
        names: set[tuple[str, str]] = set()
        digests: list[str] = []
        last = Head(site, 0, NOTHING)
        for entry, said in entries_in(archive, site):
            place, name = f"sites/{site}.jsonl", (entry.kind, entry.key)
            if name in names:
                archive.refuse(
                    place, f"a {entry.kind} that is there twice", "each once", "do not trust it", entry.number
                )
            for kind, key in said.refers():
                if (kind, key) not in names:
                    archive.refuse(
                        place,
                        f"a {kind} {key[:12]} that is not before it",
                        "what it refers to",
                        "do not trust it",
                        entry.number,
                    )
            signed = said.signs()
            if signed is not None and (signed[0] > len(digests) or digests[signed[0] - 1] != signed[1]):
                got = f"a {entry.kind} over an entry {signed[0]} of another digest"
                archive.refuse(place, got, "the digest of that entry", "do not trust it", entry.number)
            digests.append(entry.digest)
            names.add(name)
            wanted |= set(said.contents())
            last = Head(site, entry.number, entry.digest)
        if (last.entries, last.digest) != (told["entries"], told["head"]):
            archive.refuse(
                f"sites/{site}.jsonl",
                str(last),
                f"the head {told['head']} of {told['entries']} entries",
                "it was cut off",
            )
        heads.append(last)
    there = set(archive.contents)
    for digest in sorted(wanted - there)[:20]:
        archive.faults.add(f"contents/{digest}", "nothing", "the raw file that an entry names", "fetch it again")
    for digest in sorted(there - wanted)[:20]:
        archive.faults.add(
            f"contents/{digest}", "a raw file that no entry names", "only what entries name", "do not trust it"
        )
    archive.faults.raise_if_any()
    for digest in sorted(there):
        size += len(archive.content(digest))
    if size != archive.manifest["contents"]["bytes"]:
        archive.refuse("contents", f"{size} bytes", f"{archive.manifest['contents']['bytes']} bytes", "fetch it again")
    return tuple(heads)


def entries_in(archive: Archive, site: str) -> Iterator[tuple[Entry, Kept]]:
    """
    The entries of a site in a bundle, each checked: its form, its place in the chain, its digest, what it says.

    Raises
    ------
    InputFaults
        At the first that is not as it was written.
    """
    place, previous = f"sites/{site}.jsonl", NOTHING
    told, state, length = archive.manifest["sites"][site], hashlib.sha256(), 0
    for number, line in archive.lines(place):
        state.update(line)
        length += len(line)
        entry = _entry(site, line)
        if entry is None or entry.number != number:
            archive.refuse(
                place, shorten(line[:80].decode("utf-8", "replace")), "an entry of a record", "do not trust it", number
            )
        if entry.previous != previous:
            archive.refuse(
                place, "another entry before it", f"entry {number - 1} as it stands here",
                "an entry was removed, added or edited after it was written", number,
            )  # fmt: skip
        if entry.true_digest() != entry.digest:
            archive.refuse(
                place, "content of another digest", "the content that was chained", "the entry was edited", number
            )
        try:
            check_author(entry.author)
            said = read(entry.kind, entry.body)
        except UsageError as error:
            archive.refuse(place, str(error), "an entry that upmast writes", "a newer upmast may read it", number)
        yield entry, said
        previous = entry.digest
    if state.hexdigest() != told["sha256"] or length != told["bytes"]:
        archive.refuse(place, f"{length} bytes of another digest", f"{told['bytes']} bytes as listed", "it was changed")


def _entry(site: str, line: bytes) -> Entry | None:
    try:
        row = json.loads(line)
        if canonical(row).encode("utf-8") + b"\n" != line:
            return None
        number, previous, time, author, program, kind, body, digest = row
    except (ValueError, TypeError, RecursionError):
        return None
    texts = (previous, time, author, program, kind, body, digest)
    if type(number) is not int or not all(isinstance(text, str) for text in texts):
        return None
    if not TIME.match(time) or not printable(program) or len(program) > 100:
        return None
    return Entry(site, number, previous, time, author, program, kind, body, digest)


def _check_way(archive: Archive, connection: Connection, head: Head, standing: Head) -> None:
    """The shorter of two chains must be how the longer begins."""
    place, number = f"sites/{head.site}.jsonl", 0
    asked = sa.select(ENTRIES.c.digest).where(ENTRIES.c.site == head.site).order_by(ENTRIES.c.number)
    known = [str(row[0]) for row in connection.execute(asked)]
    if len(known) != standing.entries or (known and known[-1] != standing.digest):
        raise UsageError(
            f"the chain of {head.site} in the record is not whole: verify it first; nothing was brought in"
        )
    for entry, _ in entries_in(archive, head.site):
        number = entry.number
        if number > len(known):
            break
        if entry.digest != known[number - 1]:
            archive.faults.add(
                place, f"entry {number} of {entry.time} by {shorten(entry.author)}", "the entry that the record has there",
                "the two went different ways: agree which one holds, and file what the other has beyond it", number,
            )  # fmt: skip
            break


def _bring_contents(archive: Archive, connection: Connection, record: Record) -> int:
    """
    Write the raw files that the record lacks; large ones go to their folder before the transaction ends.

    A large one that the record knows but whose file is gone is put back: a backup that is brought in again heals its record.
    """
    folder = record.folder
    count, held = 0, 0
    blobs: dict[str, tuple[int, bytes | None]] = {}
    for some in chunks(archive.contents):
        known = known_contents(connection, some)
        for digest in some:
            large = folder is not None and archive.size(digest) > record.inline_bytes
            if digest in known and not (large and folder is not None and not folder.has(digest)):
                continue
            data = archive.content(digest)
            count += 1
            if large and folder is not None:
                folder.put(data)
            if digest not in known:
                blobs[digest] = (len(data), None if large else data)
                held += 0 if large else len(data)
            if held > HELD_BYTES:
                put_blobs(record.database, connection, blobs)
                blobs, held = {}, 0
    put_blobs(record.database, connection, blobs)
    return count


def _bring_entries(archive: Archive, connection: Connection, database: Database, head: Head, new: int) -> None:
    """Write the entries of a site that the record lacks."""
    if not new:
        return
    fresh = (pair for pair in entries_in(archive, head.site) if pair[0].number > head.entries - new)
    for some in chunks(fresh, ROWS):
        insert(
            database,
            connection,
            [entry for entry, _ in some],
            [said for _, said in some],
            [entry.key for entry, _ in some],
        )
    move_head(connection, head)
