"""Databases of every step come up to date with all that is in them; a step that fails changes nothing."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from upmast.errors import UsageError
from upmast.record import query
from upmast.record.database import Database
from upmast.record.migrations import NEWEST, STEPS_TO_NOW, Step, step_of, upgrade
from upmast.record.record import Record, open_record
from upmast.record.verify import verify

from .conftest import judged, photo

OLD = Path(__file__).parent / "step1.sql"
NOW = "2026-05-04T08:00:00Z"


def stands_at(where: str) -> int:
    with Database(where) as database, database.reading() as connection:
        return step_of(connection)


def schema(place: str) -> list[tuple[str, ...]]:
    connection = sqlite3.connect(place)
    rows = connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name").fetchall()
    connection.close()
    return rows


def test_the_steps_are_numbered_without_a_gap() -> None:
    assert [step.number for step in STEPS_TO_NOW] == list(range(1, NEWEST + 1))


@pytest.mark.parametrize("first", range(1, NEWEST + 1))
def test_a_record_of_each_step_is_brought_up_to_date(where: str, first: int) -> None:
    with Database(where) as database:
        assert upgrade(database, NOW, "upmast old", STEPS_TO_NOW[:first]) == first
        old = Record(database, None)
        with old.writing("S1", "K. Ode") as writing:
            photo(writing, b"one")
            judged(writing, b"two")
        head = old.head("S1")
    with open_record(where) as record:
        assert record.head("S1") == head
        assert verify(record, printed=[head]) == ()
        with record.writing("S1", "K. Ode") as writing:
            photo(writing, b"three")
        assert len(query.entries(record, "S1")) == 4
    assert stands_at(where) == NEWEST


def test_a_record_as_step_1_wrote_it(tmp_path: Path) -> None:
    """The text of a database of step 1, kept as it was dumped: later steps must bring it up to date for ever."""
    place = tmp_path / "old.record"
    connection = sqlite3.connect(place)
    connection.executescript(OLD.read_text("utf-8"))
    connection.execute("PRAGMA application_id = 1968196946")
    connection.close()
    assert stands_at(str(place)) == 1
    with open_record(place) as record:
        assert str(record.head("S1")) == "S1/3/bea8dccaa116e1774bb0d875e74e428376254091a3047b8f39c385241839aeb8"
        assert verify(record) == ()
        assert [e.kind for e in query.entries(record, "S1")] == ["photo", "measurement", "verdict"]
        assert record.content(query.entries(record, "S1")[0].said.contents()[0]) == b"one"
    assert stands_at(str(place)) == NEWEST


def bad(number: int, *statements: str) -> Step:
    return Step(number, "a step that fails", lambda _: statements)


def test_a_step_that_fails_leaves_the_database_as_it_was(where: str) -> None:
    with open_record(where) as record, record.writing("S1", "K. Ode") as writing:
        photo(writing, b"one")
    steps = (*STEPS_TO_NOW, bad(NEWEST + 1, "CREATE TABLE half (a TEXT)", "CREATE TABLE half (a TEXT)"))
    with Database(where) as database, pytest.raises(UsageError, match=r"refused: .*half.*already exists"):
        upgrade(database, NOW, "upmast new", steps)
    assert stands_at(where) == NEWEST
    with open_record(where) as record, record.database.reading() as connection:
        from upmast.record.database import sa

        assert "half" not in sa.inspect(connection).get_table_names()
        assert verify(record) == ()


def test_the_first_step_that_fails_leaves_an_empty_file(tmp_path: Path) -> None:
    place = str(tmp_path / "a.record")
    first = Step(1, "fails", lambda sqlite: (*STEPS_TO_NOW[0].statements(sqlite), "SELECT nothing FROM nowhere"))
    with Database(place) as database, pytest.raises(UsageError):
        upgrade(database, NOW, "upmast", (first,))
    assert schema(place) == []
    assert open_record(place).sites() == ()


def test_a_newer_record_is_left_alone(where: str) -> None:
    newer = Step(NEWEST + 1, "of tomorrow", lambda _: ("CREATE TABLE tomorrow (a TEXT)",))
    with Database(where) as database:
        upgrade(database, NOW, "upmast new", (*STEPS_TO_NOW, newer))
    with pytest.raises(
        UsageError, match=f"is of step {NEWEST + 1}, and this upmast knows {NEWEST}: use a newer upmast"
    ):
        open_record(where)


def test_two_programs_make_one_record(where: str, clock: Callable[[], object]) -> None:
    """Many open the same new place at once; each step happens once."""
    from concurrent.futures import ThreadPoolExecutor

    def opened(_: int) -> int:
        with open_record(where) as record:
            return len(record.sites())

    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(opened, range(16))) == [0] * 16
    assert stands_at(where) == NEWEST
