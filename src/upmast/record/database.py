"""
The database under a record: one SQLite file by default, PostgreSQL by URL. Transactions, and errors in plain words.

SQLite writes begin at once (`BEGIN IMMEDIATE`), so that two writers wait for each other and neither loses an entry; every commit
is on the disk before it counts. What the database says is never shown with a password.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from upmast.errors import UsageError, shorten
from upmast.record.words import MISSING

try:
    import sqlalchemy as sa
    from sqlalchemy import exc
    from sqlalchemy.dialects import postgresql, sqlite
    from sqlalchemy.engine import URL, Connection, Engine, make_url
except ImportError:
    raise UsageError(MISSING) from None

BUSY_S = 60.0  # how long a writer waits for another
CACHE_KB = 65_536  # of pages in memory: a large import touches its indexes at random
APPLICATION = 0x75504D52  # 'uPMR', marks our SQLite files
LOCK = 0x75504D52  # key of PostgreSQL's advisory lock while a database is upgraded
FILES = ".files"  # folder of large raw files, beside the SQLite file


class Database:
    """An open database. Close it, or use it in a `with`."""

    def __init__(self, where: str | Path, *, create: bool = True) -> None:
        url = url_of(where)
        self.name = url.render_as_string(hide_password=True) if url.drivername != "sqlite" else str(url.database)
        self.sqlite = url.drivername == "sqlite"
        self.place: Path | None = None
        if self.sqlite:
            self.place = Path(str(url.database))
            _check_place(self.place, create)
        try:
            self.engine = _engine(url)
        except ImportError:
            raise UsageError(
                "PostgreSQL needs psycopg, which is not installed: pip install 'upmast[postgresql]'"
            ) from None

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction that writes: all of it happens, or nothing. Raises UsageError."""
        with self._in_words(), self.engine.connect() as plain:
            connection = plain.execution_options(upmast_writes=True)
            with connection.begin():
                yield connection

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """One transaction that reads: it sees the database as it stood when it began. Raises UsageError."""
        with self._in_words(), self.engine.connect() as plain:
            connection = plain
            if not self.sqlite:
                connection = plain.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
            with connection.begin():
                yield connection

    def close(self) -> None:
        self.engine.dispose()

    def __enter__(self) -> Database:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextlib.contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except exc.SQLAlchemyError as error:
            raise UsageError(f"the record {self.name} {words_of(error)}") from None

    def insert(
        self, connection: Connection, table: sa.Table, rows: Sequence[Mapping[str, Any]], *, new_only: bool = False
    ) -> None:
        """
        Write rows, handed to the driver as they are: half the time of the usual way, which looks at each value once more.

        Parameters
        ----------
        new_only : leave a row alone that is there already.
        """
        if not rows:
            return
        statement: Any = sa.insert(table)
        if new_only and self.sqlite:
            statement = sqlite.insert(table).on_conflict_do_nothing()
        elif new_only:
            statement = postgresql.insert(table).on_conflict_do_nothing()
        made = statement.compile(dialect=self.engine.dialect, column_keys=list(rows[0]))
        order = made.positiontup
        connection.exec_driver_sql(
            str(made), [tuple(row[name] for name in order) for row in rows] if order else [dict(row) for row in rows]
        )


def url_of(where: str | Path) -> URL:
    """
    The URL of a record: a path is an SQLite file.

    Raises
    ------
    UsageError
        For another kind of database, or a URL that can't be read.
    """
    if isinstance(where, Path) or "://" not in where:
        return URL.create("sqlite", database=str(where))
    try:
        url = make_url(where)
    except (exc.ArgumentError, ValueError):
        raise UsageError("the URL of the record can't be read: sqlite:///path or postgresql://host/database") from None
    kind = url.drivername.partition("+")[0]
    if kind == "postgresql" or kind == "postgres":
        return url.set(drivername="postgresql+psycopg")
    if url.drivername != "sqlite":
        raise UsageError(
            f"no records are kept in {shorten(url.drivername)!r}: use a path, sqlite:///path or postgresql://host/database"
        )
    if url.query or not url.database or url.database == ":memory:" or url.database.startswith("file:"):
        raise UsageError("an SQLite record is a plain file: give sqlite:///path, without options")
    return url


def _check_place(place: Path, create: bool) -> None:
    if place.is_dir():
        raise UsageError(f"{place} is a folder: give the file of a record")
    if not place.exists():
        if not create:
            raise UsageError(f"there is no record {place}")
        if not place.parent.is_dir():
            raise UsageError(f"{place.parent} is not a folder: make it first")


def _engine(url: URL) -> Engine:
    if url.drivername != "sqlite":
        return sa.create_engine(url, pool_pre_ping=True, connect_args={"connect_timeout": 10})
    engine = sa.create_engine(url, connect_args={"timeout": BUSY_S})

    @sa.event.listens_for(engine, "connect")
    def set_up(connection: Any, _: object) -> None:
        connection.isolation_level = None  # transactions begin where we say so
        cursor = connection.cursor()
        try:
            cursor.execute("PRAGMA trusted_schema = OFF")
            cursor.execute("PRAGMA cell_size_check = ON")
            cursor.execute("PRAGMA foreign_keys = ON")
            _write_ahead(cursor)
            cursor.execute("PRAGMA synchronous = FULL")
            cursor.execute(f"PRAGMA cache_size = -{CACHE_KB}")
        finally:
            cursor.close()

    @sa.event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("upmast_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _write_ahead(cursor: Any) -> None:
    """Readers and one writer side by side. The change of mode does not wait for others by itself, so it is tried again."""
    import sqlite3

    until = time.monotonic() + BUSY_S
    while True:
        try:
            if cursor.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                cursor.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if "readonly" in str(error):
                return
            if "locked" not in str(error) or time.monotonic() > until:
                raise
            time.sleep(0.02)


SAYINGS = (
    ("locked", "is busy: another program writes to it; try again"),
    ("busy", "is busy: another program writes to it; try again"),
    ("full", "can't grow: the disk is full; nothing was changed"),
    ("unable to open", "can't be opened: look at its folder and its permissions"),
    ("readonly", "can't be written: the file or its folder is read-only"),
    ("not a database", "is not a record: it is another kind of file"),
    ("malformed", "is damaged: restore it from a backup"),
    ("disk i/o", "can't be read or written: the disk fails"),
    ("fatal:  database", "is not on its server: make the database first, then open it again"),
    ("fatal:  role", "does not let you in: look at the name and the password"),
    ("password", "does not let you in: look at the name and the password"),
    ("connection", "can't be reached: is its server running?"),
)


def words_of(error: Exception) -> str:
    """What a database said, for a person."""
    said = str(getattr(error, "orig", None) or error).strip()
    low = said.lower()
    for sign, words in SAYINGS:
        if sign in low:
            return words
    return f"refused: {shorten(said.splitlines()[0] if said else type(error).__name__, 200)}"


__all__ = ["APPLICATION", "FILES", "LOCK", "Connection", "Database", "sa", "url_of", "words_of"]
