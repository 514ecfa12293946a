"""
Is the record still what was written? Every chain is walked, every raw file read, and all that follows from the entries made again.

What a chain alone can't show: that it was rewritten as a whole, or cut off together with the count of the record. A head that was
printed or sent away earlier shows both.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from upmast.errors import UsageError
from upmast.record.canonical import check_site
from upmast.record.chain import Break, Entry, Head, breaks
from upmast.record.database import Connection, sa
from upmast.record.kinds import Judgement
from upmast.record.record import Record
from upmast.record.store import chain_of, chunks, content, follow, handle_rows, head_of, stands, verdict_row
from upmast.record.tables import CONTENTS, ENTRIES, HANDLES, SITES, VERDICTS


def verify(
    record: Record, site: str = "", printed: Iterable[Head] = (), *, files: bool = True
) -> tuple[Break, ...]:  # fmt: skip
    """
    What is not as it was written, of one site or all; empty if nothing.

    Parameters
    ----------
    printed : heads from outside, such as packs print; each is looked for in the chain of its site.
    files : read every raw file, too.
    """
    heads: dict[str, list[Head]] = {}
    for head in printed:
        heads.setdefault(head.site, []).append(head)
    out: list[Break] = []
    with record.database.reading() as connection:
        asked = sa.select(SITES.c.site).union(sa.select(ENTRIES.c.site))
        every = {str(row[0]) for row in connection.execute(asked)} | set(heads)
        wanted: dict[str, tuple[str, int]] = {}
        for one in sorted(every if not site else {site}):
            told = head_of(connection, one)
            chain = _noting(connection, one, wanted, out)
            some = heads.get(one, [])
            out += breaks(chain, told, some[0] if some else None)
            for other in some[1:]:
                out += [b for b in breaks(chain_of(connection, one), told, other) if b not in out]
            out += _following(connection, one)
        out += _contents(connection, record, wanted, files)
    return tuple(sorted(out, key=lambda b: (b.site, b.number)))


def chain_breaks(record: Record, site: str = "") -> tuple[Break, ...]:
    """
    What is not as it was written in the chain of one site, or of all: every digest is made again, no raw file is read.

    It takes a small part of a second for 10 000 entries, so that whatever rests on a chain can look first.
    """
    out: list[Break] = []
    with record.database.reading() as connection:
        asked = sa.select(SITES.c.site).union(sa.select(ENTRIES.c.site))
        for one in [site] if site else sorted(str(row[0]) for row in connection.execute(asked)):
            out += breaks(chain_of(connection, one), head_of(connection, one))
    return tuple(out)


def _noting(
    connection: Connection, site: str, wanted: dict[str, tuple[str, int]], out: list[Break]
) -> Iterator[Entry]:  # fmt: skip
    """The chain of a site; on the way, which raw files its entries name, and what can't be read."""
    for entry in chain_of(connection, site):
        try:
            said = entry.said
            for digest in said.contents():
                wanted.setdefault(digest, (site, entry.number))
            signed = said.signs()
            if signed is not None and not (signed[0] < entry.number and stands(connection, site, *signed)):
                words = f"entry {entry.number} signs entry {signed[0]} under a digest that does not stand there"
                out.append(Break(site, entry.number, words))
        except UsageError as error:
            out.append(Break(site, entry.number, f"entry {entry.number} can't be read: {error}"))
        yield entry


def _following(connection: Connection, site: str) -> Iterator[Break]:
    """Handles, verdicts and keys are what follows from the entries."""
    handles: set[tuple[Any, ...]] = set()
    rows: set[tuple[Any, ...]] = set()
    asked_keys = sa.select(ENTRIES.c.number, ENTRIES.c.key).where(ENTRIES.c.site == site)
    keys = {int(row[0]): str(row[1]) for row in connection.execute(asked_keys)}
    for entry in chain_of(connection, site):
        try:
            said = entry.said
        except UsageError:
            continue
        if keys.get(entry.number) != entry.key:
            yield Break(site, entry.number, f"entry {entry.number} stands under another key than its content gives")
        handles |= {tuple(row.values()) for row in handle_rows(entry, said)}
        if isinstance(said, Judgement):
            rows.add(tuple(verdict_row(entry, said).values()))
    for table, made, words in ((HANDLES, handles, "handle"), (VERDICTS, rows, "verdict")):
        order = ("name", "value", "site", "number") if table is HANDLES else tuple(c.name for c in VERDICTS.c)
        asked = sa.select(*(table.c[name] for name in order)).where(table.c.site == site)
        there = {tuple(row) for row in connection.execute(asked)}
        place = order.index("number")
        for row in sorted(made - there, key=str):
            yield Break(
                site, int(row[place]), f"the {words} of entry {row[place]} is missing or changed: {_shown(row)}"
            )
        for row in sorted(there - made, key=str):
            yield Break(
                site, int(row[place]), f"a {words} of entry {row[place]} does not follow from it: {_shown(row)}"
            )


def remake(record: Record, site: str) -> None:
    """
    Make the handles and verdicts of a site again from its entries, where `verify` found them wrong.

    Raises
    ------
    UsageError
        If the chain itself is not whole: then nothing follows from it.
    """
    with record.database.writing() as connection:
        told = head_of(connection, check_site(site))
        first = next(breaks(chain_of(connection, site), told), None)
        if first is not None:
            raise UsageError(f"the record is not whole: {first}; nothing was changed")
        for table in (HANDLES, VERDICTS):
            connection.execute(sa.delete(table).where(table.c.site == site))
        for some in chunks(chain_of(connection, site)):
            follow(record.database, connection, [(entry, entry.said) for entry in some])


def _shown(row: tuple[Any, ...]) -> str:
    return ", ".join(str(value)[:40] for value in row[:4])


def _contents(
    connection: Connection, record: Record, wanted: dict[str, tuple[str, int]], files: bool
) -> Iterator[Break]:  # fmt: skip
    for digest, (site, number) in wanted.items():
        row = connection.execute(sa.select(CONTENTS.c.bytes).where(CONTENTS.c.digest == digest)).first()
        if row is None:
            yield Break(site, number, f"the raw file {digest} of entry {number} is missing")
            continue
        if not files:
            continue
        try:
            data = content(connection, digest, record.folder)
        except UsageError as error:
            yield Break(site, number, f"entry {number}: {error}")
            continue
        if len(data) != row[0]:
            yield Break(
                site, number, f"the raw file {digest} of entry {number} has {len(data)} bytes, noted as {row[0]}"
            )
