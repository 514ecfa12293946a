"""What is written to and read from the database: entries with what follows from them, and raw files. Always inside a transaction."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import Any, TypeVar

from upmast.errors import UsageError
from upmast.record.canonical import sha256
from upmast.record.chain import NOTHING, Entry, Head, following
from upmast.record.contents import MOST_BYTES, Folder
from upmast.record.database import Connection, Database, sa
from upmast.record.kept import Kept, item_of
from upmast.record.kinds import Judgement
from upmast.record.tables import CONTENTS, ENTRIES, HANDLES, SITES, VERDICTS

T = TypeVar("T")
CHUNK = 900  # values of one question: every SQLite takes as many
Named = tuple[str, str]  # kind and key
Blobs = Mapping[str, tuple[int, bytes | None]]  # by digest: size, and the bytes where they go into the database


def head_of(connection: Connection, site: str) -> Head:
    """The end of a site's chain; of a site that is not known, the empty one."""
    row = connection.execute(sa.select(SITES.c.entries, SITES.c.head).where(SITES.c.site == site)).first()
    return Head(site, 0, NOTHING) if row is None else Head(site, int(row[0]), str(row[1]))


def locked_head(database: Database, connection: Connection, site: str) -> Head:
    """The same, and nobody else adds to this site until the transaction ends."""
    database.insert(connection, SITES, [{"site": site, "entries": 0, "head": NOTHING}], new_only=True)
    if not database.sqlite:  # an SQLite transaction that writes is alone anyway
        connection.execute(sa.select(SITES.c.site).where(SITES.c.site == site).with_for_update())
    return head_of(connection, site)


def append(
    database: Database, connection: Connection, site: str, said: Mapping[Named, tuple[Kept, str]], blobs: Blobs, time: str,
    author: str, program: str,
) -> list[Entry]:  # fmt: skip
    """
    Add what is not there yet to the end of a site's chain, and return the new entries.

    Parameters
    ----------
    said : by kind and key: what is said, and its text.

    Raises
    ------
    UsageError
        If something refers to a raw file or an entry that is not there.
    """
    head = locked_head(database, connection, site)
    known = known_keys(connection, site, said) if head.entries else set()
    fresh = {name: value for name, value in said.items() if name not in known}
    if not fresh:
        return []
    _check_references(connection, site, fresh, known, blobs)
    put_blobs(database, connection, blobs)
    entries = list(following(head, ((kind, body) for (kind, _), (_, body) in fresh.items()), time, author, program))
    insert(database, connection, entries, [one for one, _ in fresh.values()], [key for _, key in fresh])
    move_head(connection, Head(site, entries[-1].number, entries[-1].digest))
    return entries


def _check_references(
    connection: Connection, site: str, fresh: Mapping[Named, tuple[Kept, str]], known: set[Named],
    blobs: Blobs,
) -> None:  # fmt: skip
    wanted = {digest: one.KIND for one, _ in fresh.values() for digest in one.contents() if digest not in blobs}
    there = known_contents(connection, wanted)
    for digest, kind in wanted.items():
        if digest not in there:
            raise UsageError(f"a {kind} names the raw file {digest}, which is not in the record: keep it first")
    for one, _ in fresh.values():
        signed = one.signs()
        if signed is not None and not stands(connection, site, *signed):
            words = f"a {one.KIND} stands over entry {signed[0]}, which has another digest"
            raise UsageError(f"{words}: read the head of {site} again")
    others = {
        ref: one.KIND for one, _ in fresh.values() for ref in one.refers() if ref not in fresh and ref not in known
    }
    found = known_keys(connection, site, others)
    for ref, kind in others.items():
        if ref not in found:
            raise UsageError(
                f"a {kind} refers to a {ref[0]} {ref[1]}, which is not in the record of {site}: add it first"
            )


def stands(connection: Connection, site: str, number: int, digest: str) -> bool:
    """Whether the chain of a site has an entry of this number and digest."""
    asked = sa.select(ENTRIES.c.digest).where(ENTRIES.c.site == site, ENTRIES.c.number == number)
    return connection.execute(asked).scalar() == digest


def known_keys(connection: Connection, site: str, names: Iterable[Named]) -> set[Named]:
    """Which of some (kind, key) a site has."""
    by_kind: dict[str, list[str]] = {}
    for kind, key in names:
        by_kind.setdefault(kind, []).append(key)
    out: set[Named] = set()
    for kind, keys in by_kind.items():
        for some in chunks(keys):
            asked = sa.select(ENTRIES.c.key).where(
                ENTRIES.c.site == site, ENTRIES.c.kind == kind, ENTRIES.c.key.in_(some)
            )
            out |= {(kind, str(row[0])) for row in connection.execute(asked)}
    return out


def known_contents(connection: Connection, digests: Iterable[str]) -> set[str]:
    """Which of some raw files the record has."""
    out: set[str] = set()
    for some in chunks(digests):
        out |= {
            str(row[0]) for row in connection.execute(sa.select(CONTENTS.c.digest).where(CONTENTS.c.digest.in_(some)))
        }
    return out


def put_blobs(database: Database, connection: Connection, blobs: Blobs) -> None:
    for some in chunks(sorted(blobs.items())):  # two writers of the same files can't wait for each other
        rows = [
            {"digest": digest, "bytes": size, "place": "folder" if data is None else "database", "data": data}
            for digest, (size, data) in some
        ]
        database.insert(connection, CONTENTS, rows, new_only=True)


def content(connection: Connection, digest: str, folder: Folder | None) -> bytes:
    """The bytes of a raw file, checked. Raises UsageError."""
    row = connection.execute(sa.select(CONTENTS.c.place, CONTENTS.c.data).where(CONTENTS.c.digest == digest)).first()
    if row is None:
        raise UsageError(f"no raw file {digest} in the record")
    if row[0] == "folder":
        if folder is None:
            raise UsageError(f"the raw file {digest} stands in a folder, and this record was opened without one")
        return folder.get(digest)
    data = bytes(row[1] or b"")
    if len(data) > MOST_BYTES or sha256(data) != digest:
        raise UsageError(f"the raw file {digest} in the record was changed: restore the record from a backup")
    return data


def insert(
    database: Database, connection: Connection, entries: Sequence[Entry], said: Sequence[Kept], keys: Sequence[str]
) -> None:
    """Write entries and all that follows from them."""
    pairs = list(zip(entries, said, strict=True))
    rows = [entry_row(entry, key) for entry, key in zip(entries, keys, strict=True)]
    database.insert(connection, ENTRIES, rows)
    follow(database, connection, pairs)


def follow(database: Database, connection: Connection, pairs: Sequence[tuple[Entry, Kept]]) -> None:
    """Write what follows from entries: by which words they are found, and what they judge."""
    database.insert(connection, HANDLES, [row for entry, one in pairs for row in handle_rows(entry, one)])
    verdicts = [verdict_row(entry, one) for entry, one in pairs if isinstance(one, Judgement)]
    database.insert(connection, VERDICTS, verdicts)


def move_head(connection: Connection, head: Head) -> None:
    connection.execute(sa.update(SITES).where(SITES.c.site == head.site).values(entries=head.entries, head=head.digest))


def entry_row(entry: Entry, key: str) -> dict[str, Any]:
    return {
        "site": entry.site, "number": entry.number, "previous": entry.previous, "time": entry.time, "author": entry.author,
        "program": entry.program, "kind": entry.kind, "body": entry.body, "digest": entry.digest, "key": key,
    }  # fmt: skip


def handle_rows(entry: Entry, said: Kept) -> list[dict[str, Any]]:
    return [
        {"name": name, "value": value, "site": entry.site, "number": entry.number}
        for name, value in dict.fromkeys(said.handles())
    ]


def verdict_row(entry: Entry, said: Judgement) -> dict[str, Any]:
    first = said.findings[0]
    return {
        "site": entry.site, "number": entry.number, "item": item_of(said.test), "test": said.test,
        "measurement": said.measurement, "line": said.line, "verdict": said.verdict, "code": first.code, "value": first.value,
        "unit": first.unit, "limit_value": first.limit.value if first.limit else None, "margin": first.margin,
        "rules": said.rules, "program": said.program, "time": entry.time,
    }  # fmt: skip


COLUMNS = tuple(
    ENTRIES.c[name] for name in ("site", "number", "previous", "time", "author", "program", "kind", "body", "digest")
)


def entries_of(connection: Connection, asked: sa.Select[Any]) -> Iterator[Entry]:
    """Entries of a question over `COLUMNS`, a thousand at a time."""
    for row in connection.execution_options(yield_per=1000).execute(asked):
        yield Entry(*row)


def chain_of(connection: Connection, site: str, after: int = 0) -> Iterator[Entry]:
    """The entries of a site by number."""
    asked = sa.select(*COLUMNS).where(ENTRIES.c.site == site, ENTRIES.c.number > after).order_by(ENTRIES.c.number)
    return entries_of(connection, asked)


def chunks(values: Iterable[T], size: int = CHUNK) -> Iterator[list[T]]:
    rest = iter(values)
    while some := list(islice(rest, size)):
        yield some
