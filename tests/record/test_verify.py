"""Whatever is done to a record behind its back is found, and the entry is named; what a chain alone can't show, a printed head does."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from upmast.errors import UsageError
from upmast.record import query
from upmast.record.chain import Entry, Head, breaks, following, link
from upmast.record.contents import INLINE_BYTES
from upmast.record.kinds import Photo, Signature
from upmast.record.record import Record, open_record
from upmast.record.verify import chain_breaks, remake, verify

from .conftest import judged, photo

COUNT = 6


@pytest.fixture
def filled(lone: Record) -> Record:
    """Six entries: a photo, a measurement with its verdict, again, and a large photo."""
    with lone.writing("S1", "K. Ode") as writing:
        photo(writing, b"one")
        judged(writing, b"first")
        judged(writing, b"second", "A3-J1.rl.load")
        photo(writing, b"large" * INLINE_BYTES)
    return lone


def behind(record: Record, *statements: str) -> None:
    """Change the file as somebody would who has it: without the program, its guards taken down."""
    connection = sqlite3.connect(str(record.database.place))
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()


def words(record: Record, *printed: Head) -> list[str]:
    return [str(one) for one in verify(record, printed=printed)]


@pytest.mark.parametrize("number", range(1, COUNT))
def test_a_removed_entry_is_named(filled: Record, number: int) -> None:
    behind(filled, f"DELETE FROM entries WHERE number = {number}")
    assert f"S1: entry {number} is missing: removed after it was written" in words(filled)


def test_several_removed_entries_are_named(filled: Record) -> None:
    behind(filled, "DELETE FROM entries WHERE number IN (2, 3)")
    assert "S1: entries 2 to 3 are missing: removed after they were written" in words(filled)


@pytest.mark.parametrize("number", range(1, COUNT + 1))
@pytest.mark.parametrize("column", ["author", "time", "program", "body", "digest", "previous"])
def test_an_edited_entry_is_named(filled: Record, number: int, column: str) -> None:
    value = {"time": "'2020-01-01T00:00:00Z'", "digest": f"'{'a' * 64}'", "previous": f"'{'a' * 64}'"}.get(
        column, f"replace({column}, '0', '1') || ''"
    )
    if column == "author":
        value = "'X. Y'"
    behind(filled, f"UPDATE entries SET {column} = {value} WHERE number = {number}")
    found = verify(filled)
    assert any(b.number == number and "was edited" in b.words for b in found), [str(b) for b in found]


@pytest.mark.parametrize("number", range(1, COUNT + 1))
def test_an_entry_edited_with_its_digest_is_named(filled: Record, number: int) -> None:
    e = query.entries(filled, "S1")[number - 1]
    digest = link(e.site, e.number, e.previous, e.time, "X. Y", e.program, e.kind, e.body)
    behind(filled, f"UPDATE entries SET author = 'X. Y', digest = '{digest}' WHERE number = {number}")
    (found,) = verify(filled)
    assert found.number == number
    assert "replaced" in found.words


@pytest.mark.parametrize("kept", range(COUNT))
def test_a_cut_is_named(filled: Record, kept: int) -> None:
    behind(filled, f"DELETE FROM entries WHERE number > {kept}")
    gone = f"entry {COUNT} is" if kept == COUNT - 1 else f"entries {kept + 1} to {COUNT} are"
    assert f"S1: {gone} cut off: the record itself counts {COUNT}" in words(filled)


@pytest.mark.parametrize("kept", range(COUNT))
def test_a_cut_that_hides_itself_is_found_by_a_printed_head(filled: Record, kept: int) -> None:
    printed = filled.head("S1")
    last = query.entries(filled, "S1")[kept - 1].digest if kept else "0" * 64
    cut = [f"DELETE FROM {table} WHERE number > {kept}" for table in ("entries", "handles", "verdicts")]
    behind(filled, *cut, f"UPDATE sites SET entries = {kept}, head = '{last}'")
    assert words(filled) == []  # the chain alone can't know
    (found,) = words(filled, printed)
    gone = f"entries {kept + 1} to {COUNT} are"
    assert found == f"S1: {gone} cut off: the printed head counts {COUNT}"


def rewrite(record: Record, number: int) -> None:
    """Edit an entry and make every digest after it anew, as somebody would who knows the form."""
    every = query.entries(record, "S1")
    last = every[-1].digest
    statements = []
    previous = every[number - 1].previous
    for e in every[number - 1 :]:
        author = "X. Y" if e.number == number else e.author
        digest = link(e.site, e.number, previous, e.time, author, e.program, e.kind, e.body)
        statements.append(
            f"UPDATE entries SET author = '{author}', previous = '{previous}', digest = '{digest}' WHERE number = {e.number}"
        )
        previous = last = digest
    behind(record, *statements, f"UPDATE sites SET head = '{last}'")


@pytest.mark.parametrize("number", range(1, COUNT + 1))
def test_a_rewritten_chain_is_found_by_a_printed_head(filled: Record, number: int) -> None:
    printed = filled.head("S1")
    rewrite(filled, number)
    assert words(filled) == []
    (found,) = words(filled, printed)
    assert "is not the one that the printed head stands for: it, or one before it, was changed" in found


def test_a_signature_in_the_chain_tells_that_what_it_signed_was_rewritten(filled: Record) -> None:
    """Whoever rewrites a chain has to change what was signed, too."""
    head = filled.head("S1")
    with filled.writing("S1", "K. Ode") as writing:
        writing.add(
            Signature(
                name="A. Lind", role="reviewer", statement="Accepted.", entries=head.entries, head=head.digest, signed="2026-05-10"
            )
        )  # fmt: skip
    assert words(filled) == []
    rewrite(filled, 2)
    assert words(filled) == ["S1: entry 7 signs entry 6 under a digest that does not stand there"]


def test_an_earlier_head_still_stands_when_the_record_grows(filled: Record) -> None:
    early = filled.head("S1")
    with filled.writing("S1", "K. Ode") as writing:
        photo(writing, b"later")
    assert words(filled, early, filled.head("S1"), Head.parse(f" {early}\n")) == []
    assert len(words(filled, early, Head("S1", 3, "f" * 64))) == 1


def test_a_whole_site_that_is_gone_is_found_by_its_head(filled: Record) -> None:
    printed = filled.head("S1")
    behind(filled, *(f"DELETE FROM {table}" for table in ("entries", "handles", "verdicts", "sites")))
    assert words(filled) == []
    assert words(filled, printed) == ["S1: entries 1 to 6 are cut off: the printed head counts 6"]


def test_an_added_entry_is_named(filled: Record) -> None:
    behind(
        filled,
        "INSERT INTO entries SELECT site, 7, digest, time, author, program, kind, body, digest, 'x' FROM entries WHERE number = 6",
    )
    assert any("entry 7" in text for text in words(filled))


@pytest.mark.parametrize(
    ("statement", "words_of"),
    [
        ("DELETE FROM handles WHERE name = 'item' AND number = 3", "the handle of entry 3 is missing or changed"),
        ("INSERT INTO handles VALUES ('item', 'Z9', 'S1', 1)", "a handle of entry 1 does not follow from it"),
        ("DELETE FROM verdicts WHERE number = 3", "the verdict of entry 3 is missing or changed"),
        ("UPDATE verdicts SET value = 99 WHERE number = 3", "a verdict of entry 3 does not follow from it"),
        ("UPDATE entries SET key = 'x' WHERE number = 2", "entry 2 stands under another key"),
        ("DELETE FROM contents WHERE bytes = 3", "of entry 1 is missing"),
        ("UPDATE contents SET data = x'00' WHERE bytes = 3", "was changed: restore the record from a backup"),
        ("UPDATE contents SET bytes = 4 WHERE bytes = 3", "has 3 bytes, noted as 4"),
    ],
)
def test_what_follows_from_entries_is_held_to_them(filled: Record, statement: str, words_of: str) -> None:
    behind(filled, statement)
    found = words(filled)
    assert found
    assert any(words_of in text for text in found), found
    if "handle" in words_of or "a verdict" in words_of or "the verdict" in words_of:
        remake(filled, "S1")
        assert words(filled) == []


def test_nothing_is_made_again_from_a_broken_chain(filled: Record) -> None:
    behind(filled, "DELETE FROM entries WHERE number = 2")
    with pytest.raises(UsageError, match="is not whole: S1: entry 2 is missing"):
        remake(filled, "S1")


def large(record: Record) -> Path:
    assert record.folder is not None
    (digest,) = record.folder.digests()
    return record.folder.path(digest)


@pytest.mark.parametrize("how", ["changed", "cut", "gone", "link", "folder"])
def test_a_file_beside_the_database_is_held_to_its_digest(filled: Record, how: str, tmp_path: Path) -> None:
    place = large(filled)
    data = place.read_bytes()
    place.unlink()
    if how == "changed":
        place.write_bytes(b"L" + data[1:])
    elif how == "cut":
        place.write_bytes(data[:-1])
    elif how == "link":  # even with the same bytes: what it points to is not ours
        (tmp_path / "other").write_bytes(data)
        place.symlink_to(tmp_path / "other")
    elif how == "folder":
        place.mkdir()
    (found,) = verify(filled)
    assert found.number == 6
    assert verify(filled, files=False) == ()


def test_a_changed_file_is_not_overwritten(filled: Record) -> None:
    place = large(filled)
    place.chmod(0o644)
    place.write_bytes(b"other")
    with pytest.raises(UsageError, match="was changed: put it back"), filled.writing("S1", "K. Ode") as writing:
        writing.keep(b"large" * INLINE_BYTES)
    assert place.read_bytes() == b"other"


def test_a_linked_folder_is_not_written_to(lone: Record, tmp_path: Path) -> None:
    assert lone.folder is not None
    (tmp_path / "elsewhere").mkdir()
    lone.folder.place.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(UsageError, match="is a link"), lone.writing("S1", "K. Ode") as writing:
        writing.keep(b"large" * INLINE_BYTES)


def test_kept_files_are_read_only_and_leftovers_are_tidied(filled: Record) -> None:
    place = large(filled)
    assert place.stat().st_mode & 0o777 == 0o444
    left = place.parent / ".writing-abc"
    left.write_bytes(b"half")
    assert filled.folder is not None
    assert filled.folder.tidy() == 0  # somebody may still write it
    assert filled.folder.tidy(left.stat().st_mtime + 2 * 24 * 3600) == 1
    assert place.exists()
    assert verify(filled) == ()


def test_a_damaged_file_says_so(tmp_path: Path) -> None:
    place = tmp_path / "a.record"
    with open_record(place) as record, record.writing("S1", "K. Ode") as writing:
        for n in range(200):
            photo(writing, b"x%d" % n)
    data = bytearray(place.read_bytes())
    data[4096:40960] = b"\xa5" * (40960 - 4096)
    place.write_bytes(data)
    with pytest.raises(UsageError, match="is damaged: restore it from a backup"), open_record(place) as record:
        verify(record)


def test_heads_are_read_as_printed() -> None:
    head = Head("S1-X", 12, "0f" * 32)
    assert Head.parse(str(head)) == head
    for bad in ("", "S1/12", f"S1/-1/{'0' * 64}", f"S1/1/{'0' * 63}", f"s1/1/{'0' * 64}", f"S1/١/{'0' * 64}"):
        with pytest.raises(UsageError, match="is not the head of a record"):
            Head.parse(bad)


Change = Callable[[list[Entry]], list[Entry]]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_removal_swap_edit_or_cut_is_found(data: st.DataObject) -> None:
    count = data.draw(st.integers(2, 8))
    start = Head("S1", 0, "0" * 64)
    chain = list(
        following(start, [("photo", f'{{"n":{n}}}') for n in range(count)], "2026-01-01T00:00:00Z", "K. Ode", "p")
    )
    told = Head("S1", count, chain[-1].digest)
    assert list(breaks(chain, told, told)) == []
    k = data.draw(st.integers(0, count - 1))
    how = data.draw(st.sampled_from(["remove", "cut", "edit", "swap", "repeat"]))
    changed = list(chain)
    if how == "remove":
        del changed[k]
    elif how == "cut":
        del changed[k:]
    elif how == "edit":
        e = changed[k]
        changed[k] = Entry(e.site, e.number, e.previous, e.time, e.author, e.program, e.kind, e.body + " ", e.digest)
    elif how == "swap":
        other = (k + 1) % count
        a, b = changed[k], changed[other]
        changed[k] = Entry(b.site, a.number, a.previous, b.time, b.author, b.program, b.kind, b.body, b.digest)
    else:
        e = changed[k]
        changed.append(Entry(e.site, count + 1, told.digest, e.time, e.author, e.program, e.kind, e.body, e.digest))
    found = list(breaks(changed, told, told))
    assert found
    if how in ("remove", "edit"):
        assert k + 1 in {b.number for b in found}


def test_ten_thousand_entries_are_walked_in_less_than_a_second(lone: Record) -> None:
    """So that whatever rests on a chain can look first. 0.08 s on the machine of today."""
    with lone.writing("S1", "K. Ode") as writing:
        content = writing.keep(b"one")
        for n in range(10_000):
            writing.add(
                Photo(content=content, name=f"{n}.jpg", subject="A2-J1", shows="sealed joint" * 20, looks="jpeg")
            )
    start = perf_counter()
    assert chain_breaks(lone, "S1") == chain_breaks(lone) == ()
    assert (perf_counter() - start) / 2 < 1.0
