"""
How the database of a record is made and brought up to date: numbered steps, forward only, each in one transaction.

A step that has been released is never edited; what it lacks is a new step. A step that fails leaves the database as it was, at
the step before. A database of a newer program is left alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from upmast.errors import UsageError
from upmast.record.database import APPLICATION, LOCK, Connection, Database, sa
from upmast.record.tables import STEPS

Clock = Callable[[], str]


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what it does in a sentence, and the statements, which may differ between the two kinds of database."""

    number: int
    title: str
    statements: Callable[[bool], Sequence[str]]  # True: SQLite


def _tables(sqlite: bool) -> Sequence[str]:
    whole, blob, real = ("INTEGER", "BLOB", "REAL") if sqlite else ("BIGINT", "BYTEA", "DOUBLE PRECISION")
    bare = " WITHOUT ROWID" if sqlite else ""
    return (
        f"CREATE TABLE sites (site TEXT PRIMARY KEY, entries {whole} NOT NULL, head TEXT NOT NULL){bare}",
        f"""CREATE TABLE entries (
            site TEXT NOT NULL REFERENCES sites (site), number {whole} NOT NULL CHECK (number > 0), previous TEXT NOT NULL,
            time TEXT NOT NULL, author TEXT NOT NULL, program TEXT NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL,
            digest TEXT NOT NULL, key TEXT NOT NULL, PRIMARY KEY (site, number), UNIQUE (site, kind, key))""",
        f"""CREATE TABLE handles (
            name TEXT NOT NULL, value TEXT NOT NULL, site TEXT NOT NULL, number {whole} NOT NULL,
            PRIMARY KEY (name, value, site, number)){bare}""",
        f"""CREATE TABLE verdicts (
            site TEXT NOT NULL, number {whole} NOT NULL, item TEXT NOT NULL, test TEXT NOT NULL, measurement TEXT NOT NULL,
            line TEXT NOT NULL, verdict TEXT NOT NULL, code TEXT NOT NULL, value {real}, unit TEXT NOT NULL,
            limit_value {real}, margin {real}, rules TEXT NOT NULL, program TEXT NOT NULL, time TEXT NOT NULL,
            PRIMARY KEY (site, number)){bare}""",
        "CREATE INDEX verdicts_by_item ON verdicts (site, item, number)",
        f"""CREATE TABLE contents (
            digest TEXT PRIMARY KEY, bytes {whole} NOT NULL, place TEXT NOT NULL CHECK (place IN ('database', 'folder')),
            data {blob}, CHECK ((place = 'database') = (data IS NOT NULL)))""",
        *((f"PRAGMA application_id = {APPLICATION}",) if sqlite else ()),
    )  # fmt: skip


KEPT = ("entries", "contents")


def _guards(sqlite: bool) -> Sequence[str]:
    """The database itself refuses to change or remove what was written: against mistakes, not against its owner."""
    if sqlite:
        return [
            f"""CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table}
                BEGIN SELECT RAISE(ABORT, '{table} are only added to, never changed or removed'); END"""
            for table in KEPT
            for what in ("UPDATE", "DELETE")
        ]  # fmt: skip
    return (
        """CREATE FUNCTION only_added_to() RETURNS trigger LANGUAGE plpgsql AS $$
           BEGIN RAISE EXCEPTION USING MESSAGE = TG_TABLE_NAME || ' are only added to, never changed or removed'; END $$""",
        *(
            f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION only_added_to()"
            for table in KEPT
        ),
    )  # fmt: skip


STEPS_TO_NOW = (
    Step(1, "the chain, the handles, the verdicts and the raw files", _tables),
    Step(2, "entries and raw files are only added to", _guards),
)
NEWEST = STEPS_TO_NOW[-1].number


def step_of(connection: Connection) -> int:
    """The step that a database stands at; 0 for an empty one. Raises UsageError for a database of something else."""
    names = set(sa.inspect(connection).get_table_names())
    if STEPS.name not in names:
        if names:
            raise UsageError("the database holds other tables and is no record: give a record one of its own")
        return 0
    return int(connection.execute(sa.select(sa.func.max(STEPS.c.step))).scalar() or 0)


def upgrade(database: Database, time: str, program: str, steps: Sequence[Step] = STEPS_TO_NOW) -> int:
    """
    Bring a database up to date and return the step it stands at.

    Raises
    ------
    UsageError
        If it is of a newer program, holds something else, or a step fails; it is then as it was.
    """
    newest = steps[-1].number
    with database.reading() as connection:
        now = step_of(connection)
    while now < newest:
        with database.writing() as connection:
            if not database.sqlite:
                connection.execute(sa.select(sa.func.pg_advisory_xact_lock(LOCK)))
            now = step_of(connection)  # another program may have been quicker
            step = next((one for one in steps if one.number == now + 1), None)
            if step is not None:
                if step.number == 1:
                    connection.exec_driver_sql(
                        "CREATE TABLE record_steps (step INTEGER PRIMARY KEY, time TEXT NOT NULL, program TEXT NOT NULL)"
                    )
                for statement in step.statements(database.sqlite):
                    connection.exec_driver_sql(statement)
                connection.execute(sa.insert(STEPS).values(step=step.number, time=time, program=program))
                now = step.number
    if now > newest:
        raise UsageError(
            f"the record {database.name} is of step {now}, and this upmast knows {newest}: use a newer upmast"
        )
    return now
