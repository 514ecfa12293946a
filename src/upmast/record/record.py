"""
The record of evidence: open it, write to a site in one transaction, read the head that stands for all of it.

    with open_record("sites.record") as record:
        with record.writing("S1", author="K. Ode") as site:
            content = site.keep(data)
            site.add(make(Photo, content=content, name="top.jpg", subject="A2-J1", shows="sealed joint", looks="jpeg"))
        print(record.head("S1"))

Nothing that was written is changed or removed. What is there already is not written twice, so a writer that was interrupted
can simply be run again.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from upmast import __version__
from upmast.errors import UsageError, shorten
from upmast.record import store
from upmast.record.canonical import check_author, check_site, key_of, sha256, timestamp
from upmast.record.chain import Entry, Head
from upmast.record.contents import INLINE_BYTES, MOST_BYTES, Folder
from upmast.record.database import FILES, Database, sa
from upmast.record.kept import MOST_BODY, Kept
from upmast.record.migrations import upgrade
from upmast.record.tables import SITES

Clock = Callable[[], datetime]
MOST_PENDING = 1_000_000_000  # bytes of small files that one writing holds


def now() -> datetime:
    return datetime.now(UTC)


def open_record(
    where: str | Path, *, create: bool = True, files: Path | None = None, clock: Clock = now
) -> Record:  # fmt: skip
    """
    Open a record and bring its database up to date.

    Parameters
    ----------
    where : a path (SQLite), or a URL: sqlite:///path or postgresql://host/database.
    create : make it if it is not there.
    files : folder for large raw files; beside an SQLite file by default, and none for PostgreSQL, which takes them itself.
    clock : gives the time of an entry.

    Raises
    ------
    UsageError
        If it can't be opened, is of a newer upmast, or is something else.
    """
    database = Database(where, create=create)
    try:
        upgrade(database, timestamp(clock()), f"upmast {__version__}")
    except BaseException:
        database.close()
        raise
    if files is None and database.place is not None:
        files = database.place.with_name(database.place.name + FILES)
    return Record(database, Folder(files) if files is not None else None, clock)


class Record:
    """An open record. Use it in a `with`, or close it."""

    def __init__(self, database: Database, folder: Folder | None, clock: Clock = now) -> None:
        self.database = database
        self.folder = folder
        self.clock = clock
        self.program = f"upmast {__version__}"

    @property
    def inline_bytes(self) -> int:
        """Up to which size a raw file goes into the database."""
        return INLINE_BYTES if self.folder is not None else MOST_BYTES

    def writing(self, site: str, author: str) -> Writing:
        """
        Gather what to add to a site; it is written in one transaction when the `with` ends well, and not at all if not.

        Parameters
        ----------
        author : the name of who writes, as declared.
        """
        return Writing(self, check_site(site), check_author(author))

    def head(self, site: str) -> Head:
        """The end of a site's chain: the line that a pack prints. Raises UsageError for a site that is not known."""
        with self.database.reading() as connection:
            found = store.head_of(connection, check_site(site))
        if not found.entries:
            raise UsageError(f"the record has no site {site}")
        return found

    def sites(self) -> tuple[str, ...]:
        """Every site that has an entry."""
        with self.database.reading() as connection:
            asked = sa.select(SITES.c.site).where(SITES.c.entries > 0).order_by(SITES.c.site)
            return tuple(str(row[0]) for row in connection.execute(asked))

    def content(self, digest: str) -> bytes:
        """The bytes of a raw file, checked against the digest. Raises UsageError."""
        with self.database.reading() as connection:
            return store.content(connection, digest, self.folder)

    def close(self) -> None:
        self.database.close()

    def __enter__(self) -> Record:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Writing:
    """
    What is about to be added to one site. `added` has the new entries once it was written.

    A file above `INLINE_BYTES` is written to its folder at once: if the writing then fails, it stands there unnamed, and harms
    nothing.
    """

    def __init__(self, record: Record, site: str, author: str) -> None:
        self.record = record
        self.site = site
        self.author = author
        self.added: tuple[Entry, ...] = ()
        self._said: dict[tuple[str, str], tuple[Kept, str]] = {}  # by kind and key
        self._blobs: dict[str, tuple[int, bytes | None]] = {}
        self._pending = 0

    def keep(self, data: bytes) -> str:
        """
        Keep a raw file and return its digest. An entry has to name it, or nobody will find it.

        Raises
        ------
        UsageError
            If it is larger than 64 MB, or too much is gathered for one writing.
        """
        if len(data) > MOST_BYTES:
            raise UsageError(f"a raw file of {len(data)} bytes: at most {MOST_BYTES} are kept")
        digest = sha256(data)
        if digest in self._blobs:
            return digest
        folder = self.record.folder
        if folder is not None and len(data) > self.record.inline_bytes:
            folder.put(data)
            self._blobs[digest] = (len(data), None)
            return digest
        self._pending += len(data)
        if self._pending > MOST_PENDING:
            raise UsageError("more than 1 GB in one writing: write it in parts")
        self._blobs[digest] = (len(data), bytes(data))
        return digest

    def add(self, said: Kept) -> str:
        """Add an entry and return its key, by which others refer to it. Raises UsageError if it is longer than any may be."""
        body = said.body()
        if len(body) > MOST_BODY:
            raise UsageError(
                f"a {said.KIND} of {len(body)} characters: at most {MOST_BODY} are kept; keep it as a file"
            )
        key = key_of(said.KIND, body)
        self._said.setdefault((said.KIND, key), (said, body))
        return key

    def __enter__(self) -> Writing:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self._write()

    def _write(self) -> None:
        if not self._said:
            return
        named = {digest for one, _ in self._said.values() for digest in one.contents()}
        for digest in self._blobs:
            if digest not in named:
                raise UsageError(f"the raw file {shorten(digest, 16)} is kept, but no entry names it")
        database = self.record.database
        with database.writing() as connection:
            time = timestamp(
                self.record.clock()
            )  # after the wait for others: entries stand in the order of their times
            self.added = tuple(
                store.append(
                    database, connection, self.site, self._said, self._blobs, time, self.author, self.record.program
                )
            )
