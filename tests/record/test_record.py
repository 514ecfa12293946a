"""Writing and reading back: nothing twice, nothing half, nothing changed, whatever the database."""

from __future__ import annotations

import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest

from upmast.errors import UsageError
from upmast.record import query
from upmast.record.canonical import sha256
from upmast.record.chain import NOTHING, Head
from upmast.record.contents import INLINE_BYTES, MOST_BYTES
from upmast.record.database import sa, url_of
from upmast.record.kinds import FileKept, Measurement, Photo
from upmast.record.record import Record, open_record
from upmast.record.verify import verify

from .conftest import judged, photo


def test_entries_are_chained_and_the_head_stands_for_them(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        photo(writing, b"one")
        photo(writing, b"two")
    with record.writing("S1", "A. Lind") as writing:
        photo(writing, b"three")
    one, two, three = query.entries(record, "S1")
    assert [e.number for e in (one, two, three)] == [1, 2, 3]
    assert (one.previous, two.previous, three.previous) == (NOTHING, one.digest, two.digest)
    assert [e.author for e in (one, two, three)] == ["K. Ode", "K. Ode", "A. Lind"]
    assert one.time == two.time < three.time
    assert record.head("S1") == Head("S1", 3, three.digest)
    assert writing.added == (three,)
    assert verify(record) == ()


def test_the_digest_can_be_made_by_a_second_party(lone: Record) -> None:
    """The form of the module's docstring, made here by hand from the standard library."""
    import hashlib
    import json

    with lone.writing("S1", "K. Ödé") as writing:
        photo(writing, b"one", shows="weiß")
    (e,) = query.entries(lone, "S1")
    row = ["upmast record 1", "S1", 1, "0" * 64, e.time, "K. Ödé", e.program, "photo", e.body]
    text = json.dumps(row, ensure_ascii=False, separators=(",", ":"))
    assert hashlib.sha256(text.encode("utf-8")).hexdigest() == e.digest
    assert json.loads(e.body)["content"] == hashlib.sha256(b"one").hexdigest()


def test_what_is_there_is_not_written_twice(record: Record) -> None:
    for _ in range(3):
        with record.writing("S1", "K. Ode") as writing:
            judged(writing, b"sweep")
            judged(writing, b"sweep")
    assert [e.kind for e in query.entries(record, "S1")] == ["measurement", "verdict"]
    assert writing.added == ()


def test_judging_again_adds_and_replaces_nothing(record: Record) -> None:
    for rules, program, value in (("r1", "p1", 21.0), ("r2", "p1", 21.0), ("r2", "p2", 21.0), ("r2", "p2", 20.9)):
        with record.writing("S1", "K. Ode") as writing:
            judged(writing, b"sweep", rules=rules, program=program, value=value)
    rows = query.verdicts(record, "S1", "A2-J1")
    assert [(r.rules, r.program, r.value) for r in rows] == [
        ("r1", "p1", 21.0), ("r2", "p1", 21.0), ("r2", "p2", 21.0), ("r2", "p2", 20.9),
    ]  # fmt: skip
    assert len(query.entries(record, "S1", "measurement")) == 1
    (stands,) = query.standing(record, "S1")
    assert stands.value == 20.9


def fails_on_the_way(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        photo(writing, b"one")
        raise ZeroDivisionError


def forgets_the_measurement(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        photo(writing, b"one")
        judged(writing, b"two")
        writing._said = {name: said for name, said in writing._said.items() if name[0] != "measurement"}
        writing.add(FileKept(name="two", content=sha256(b"two")))


def test_a_writing_that_fails_leaves_nothing(record: Record) -> None:
    with pytest.raises(ZeroDivisionError):
        fails_on_the_way(record)
    with pytest.raises(UsageError, match=r"a verdict refers to a measurement .* add it first"):
        forgets_the_measurement(record)
    assert record.sites() == ()
    with pytest.raises(UsageError, match="has no site S1"):
        record.head("S1")


def test_an_entry_names_only_files_that_are_kept(record: Record) -> None:
    with (
        pytest.raises(UsageError, match=r"a file names the raw file .* keep it first"),
        record.writing("S1", "K. Ode") as writing,
    ):
        writing.add(FileKept(name="a", content="a" * 64))
    with pytest.raises(UsageError, match="is kept, but no entry names it"):
        names_only_one_of_two(record)


def names_only_one_of_two(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        photo(writing, b"one")
        writing.keep(b"two")


@pytest.mark.parametrize("size", [0, 1, INLINE_BYTES, INLINE_BYTES + 1, 3_000_000])
def test_files_come_back_byte_for_byte(record: Record, size: int) -> None:
    data = bytes(range(256)) * (size // 256) + bytes(size % 256)
    with record.writing("S1", "K. Ode") as writing:
        digest = writing.keep(data)
        writing.add(FileKept(name="a.bin", content=digest))
    assert record.content(digest) == data
    in_folder = record.folder is not None and size > INLINE_BYTES
    assert (record.folder is not None and record.folder.path(digest).exists()) is in_folder


def test_a_file_that_is_too_large_is_refused(lone: Record) -> None:
    with pytest.raises(UsageError, match="at most 64000000 are kept"), lone.writing("S1", "K. Ode") as writing:
        writing.keep(bytes(MOST_BYTES + 1))


def test_an_entry_that_is_too_long_is_refused(lone: Record) -> None:
    from upmast.record.kinds import FactoryReport, ReportResult

    results = tuple(ReportResult(quantity="x" * 400, value=float(n), limit="y" * 400) for n in range(1000))
    with (
        pytest.raises(UsageError, match="at most 500000 are kept; keep it as a file"),
        lone.writing("S1", "K. Ode") as writing,
    ):
        writing.add(FactoryReport(serial="1", part="p", content=writing.keep(b"x"), name="a.pdf", results=results))
    assert lone.sites() == ()


def test_sites_have_chains_of_their_own(record: Record) -> None:
    for name in ("S2", "S1"):
        with record.writing(name, "K. Ode") as writing:
            photo(writing, b"same")
    assert record.sites() == ("S1", "S2")
    assert record.head("S1").digest != record.head("S2").digest
    assert [e.site for e in query.found(record, "content", sha256(b"same"))] == ["S1", "S2"]


@pytest.mark.parametrize("bad", ["s1", "S1/../x", "", "SO", "A" * 25, "S1\n", "S-", "Ｓ1"])
def test_a_site_has_the_id_of_a_site(lone: Record, bad: str) -> None:
    with pytest.raises(UsageError, match="is not the id of a site"):
        lone.writing(bad, "K. Ode")


@pytest.mark.parametrize("bad", ["", "x", " K", "a\nb", "a\x00b", "\u202eedO", "\ud800x", "n" * 81])
def test_an_author_is_a_name(lone: Record, bad: str) -> None:
    with pytest.raises(UsageError, match="the author is a name"):
        lone.writing("S1", bad)


def test_time_needs_a_zone(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="has no time zone"):
        open_record(tmp_path / "a", clock=lambda: datetime(2026, 1, 1))


def test_the_database_itself_refuses_a_change(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        photo(writing, b"one")
    for statement in (
        "UPDATE entries SET author = 'X'", "DELETE FROM entries", "UPDATE contents SET bytes = 1", "DELETE FROM contents",
    ):  # fmt: skip
        with (
            pytest.raises(UsageError, match="are only added to, never changed or removed"),
            record.database.writing() as connection,
        ):
            connection.exec_driver_sql(statement)
    assert verify(record) == ()


def test_it_is_opened_again(where: str) -> None:
    with open_record(where) as record, record.writing("S1", "K. Ode") as writing:
        photo(writing, b"one")
    with open_record(where, create=False) as record:
        assert record.head("S1").entries == 1


def test_a_record_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="there is no record"):
        open_record(tmp_path / "none", create=False)
    with pytest.raises(UsageError, match="is not a folder: make it first"):
        open_record(tmp_path / "none" / "a")
    with pytest.raises(UsageError, match="is a folder"):
        open_record(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_another_file_is_left_alone(tmp_path: Path) -> None:
    import sqlite3

    place = tmp_path / "a.txt"
    place.write_text("no database at all\n" * 100)
    with pytest.raises(UsageError, match="is not a record: it is another kind of file"):
        open_record(place)
    assert place.read_text().startswith("no database")
    other = sqlite3.connect(tmp_path / "b.sqlite")
    other.execute("CREATE TABLE mine (a)")
    other.commit()
    other.close()
    with pytest.raises(UsageError, match="holds other tables and is no record"):
        open_record(tmp_path / "b.sqlite")


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("mysql://a/b", "no records are kept in 'mysql'"),
        ("sqlite://", "an SQLite record is a plain file"),
        ("sqlite:///:memory:", "an SQLite record is a plain file"),
        ("sqlite:///a?mode=ro", "an SQLite record is a plain file"),
        ("sqlite:///file:a", "an SQLite record is a plain file"),
        ("postgresql://a:b@c:notaport/d", "can't be read"),
    ],
)
def test_urls_that_are_no_record(url: str, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        url_of(url)


def test_a_password_is_never_shown() -> None:
    pytest.importorskip("psycopg", reason="psycopg is not installed")
    with pytest.raises(UsageError) as error:
        open_record("postgresql://me:secret@/nothing?host=/nonexistent")
    assert "can't be reached" in str(error.value)
    assert "secret" not in str(error.value)


def test_without_its_library_it_says_what_to_install() -> None:
    code = (
        "import sys; sys.modules['sqlalchemy'] = None\n"
        "from upmast.errors import UsageError\n"
        "try:\n    import upmast.record.record\nexcept UsageError as e:\n    print(e)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=True)
    before, pip, behind = done.stdout.strip().partition("pip install -e '.[record]'")
    assert pip, "by the pip of the environment that runs it"
    assert before in (f"the record needs SQLAlchemy, which is not installed: {own}" for own in ("", ".venv/bin/"))
    assert behind == " in the folder of upmast"


def test_no_other_room_loads_the_library() -> None:
    code = "import sys, upmast.cli, upmast.field.judge, upmast.documents.pack; print('sqlalchemy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=True)
    assert done.stdout.strip() == "False"


def test_names_from_outside_are_kept_to_be_read_only(lone: Record) -> None:
    from upmast.record.canonical import clean_name

    for name in ("../../etc/passwd", "a\x00b", "\u202egpj.exe", "C:\\x\\y.s1p", "..", "", "x" * 5000, "\ud800"):
        shown = clean_name(name)
        with lone.writing("S1", "K. Ode") as writing:
            writing.add(FileKept(name=shown, content=writing.keep(name.encode("utf-8", "replace"))))
        assert "/" not in shown
        assert "\\" not in shown
        assert 0 < len(shown) <= 200
    assert verify(lone) == ()


def test_what_is_said_is_checked() -> None:
    from pydantic import ValidationError

    from upmast.record.kinds import make

    with pytest.raises(UsageError, match="not a photo: name: "):
        make(Photo, content="0" * 64, name="../x", subject="A", shows="x", looks="jpeg")
    with pytest.raises(UsageError, match="not a photo: content: "):
        make(Photo, content="../../x", name="x", subject="A", shows="x", looks="jpeg")
    with pytest.raises(UsageError, match="not a measurement: facts"):
        make(
            Measurement, sort="a", name="x", content="0" * 64, evidence="A", samples="0" * 64, reader="x", facts={"a": float("nan")},
        )  # fmt: skip
    with pytest.raises(ValidationError):
        Photo(content="0" * 64, name="x", subject="A", shows="a\nb", looks="jpeg")


def test_tables_are_those_that_the_migrations_make(record: Record) -> None:
    from upmast.record.tables import META

    with record.database.reading() as connection:
        there = sa.inspect(connection)
        assert set(there.get_table_names()) == set(META.tables)
        for name, table in META.tables.items():
            columns = {c["name"]: c for c in there.get_columns(name)}
            assert set(columns) == set(table.c.keys())
            assert there.get_pk_constraint(name)["constrained_columns"] == [c.name for c in table.primary_key]
            for c in table.c:
                if not c.primary_key:
                    assert columns[c.name]["nullable"] is c.nullable, f"{name}.{c.name}"
