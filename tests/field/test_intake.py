"""Taking in files, folders and zips: by content, one at a time, doubles told, nothing followed that leads out."""

from __future__ import annotations

import importlib.util
import io
import os
import stat
import tracemalloc
import zipfile
from pathlib import Path

import pytest

from upmast.errors import InputFaults, UsageError
from upmast.field.intake import left_of, take_in

_spec = importlib.util.spec_from_file_location("field_books", Path(__file__).parent / "books.py")
assert _spec is not None
assert _spec.loader is not None
books = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(books)
SWEEP = b"# MHz S RI R 50\n700 0.01 0.02\n800 0.01 0.03\n"
TABLE = b"Radio;Voltage (V)\nA1;53,1\nA2;52,9\n"
PHOTO = b"\xff\xd8\xff\xe0" + bytes(400)


def zipped(files: dict[str, bytes], compression: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", compression) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with one file of each kind, a zip, and a zip inside a zip."""
    at = tmp_path / "in"
    (at / "deep").mkdir(parents=True)
    (at / "a.s1p").write_bytes(SWEEP)
    (at / "deep" / "volts.txt").write_bytes(TABLE)
    (at / "p.jpg").write_bytes(PHOTO)
    inner = zipped({"x/b.dat": SWEEP + b"! other\n", "c.csv": TABLE + b"A3;50,0\n"})
    (at / "all.zip").write_bytes(zipped({"inner.zip": inner, "d.s1p": SWEEP + b"! d\n"}))
    return at


def test_told_by_content_not_by_name(folder: Path) -> None:
    taken = take_in([folder])
    kinds = {one.plain: one.kind for one in taken.files}
    assert kinds == {
        "a.s1p": "touchstone", "volts.txt": "table", "p.jpg": "photo", "b.dat": "touchstone", "c.csv": "table",
        "d.s1p": "touchstone",
    }  # fmt: skip
    assert not taken.left_out
    assert any(one.name.endswith("all.zip/inner.zip/x/b.dat") for one in taken.files)


def test_every_file_is_read_as_it_was_listed(folder: Path) -> None:
    got = {one.plain: raw for one, raw in take_in([folder]).each("touchstone", "table")}
    assert got["a.s1p"] == SWEEP
    assert got["b.dat"] == SWEEP + b"! other\n"
    assert got["c.csv"] == TABLE + b"A3;50,0\n"
    assert set(got) == {"a.s1p", "volts.txt", "b.dat", "c.csv", "d.s1p"}
    taken = take_in([folder])
    assert taken.read(next(one for one in taken.files if one.plain == "b.dat")) == SWEEP + b"! other\n"


def test_files_and_zips_given_by_themselves(folder: Path) -> None:
    taken = take_in([folder / "a.s1p", folder / "all.zip", folder / "a.s1p"])
    assert [one.plain for one in taken.files] == ["a.s1p", "b.dat", "c.csv", "d.s1p"]
    assert len(list(taken.each("touchstone"))) == 3


def test_doubles_are_told_and_read_once(folder: Path) -> None:
    (folder / "deep" / "again.s1p").write_bytes(SWEEP)
    taken = take_in([folder])
    (names,) = taken.doubles
    assert [Path(one).name for one in names] == ["a.s1p", "again.s1p"]
    assert [one.plain for one, _ in taken.each("touchstone")].count("again.s1p") == 0


def test_a_link_is_left_out_and_the_others_are_read(folder: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret.s1p"
    secret.write_bytes(SWEEP + b"! secret\n")
    (folder / "link.s1p").symlink_to(secret)
    taken = take_in([folder])
    (left,) = taken.left_out
    assert "link.s1p" in left.name
    assert "a link" in left.why
    assert left.loud
    assert len(taken.of("touchstone")) == 3


def test_what_leads_out_or_is_a_bomb_is_left_out(tmp_path: Path) -> None:
    bad = tmp_path / "bad.zip"
    bad.write_bytes(
        zipped({"../out.s1p": SWEEP, "/etc/x.s1p": SWEEP, "bomb.csv": b"0" * 30_000_000, "fine.s1p": SWEEP})
    )
    taken = take_in([bad])
    assert [one.plain for one in taken.files] == ["fine.s1p"]
    why = " ".join(one.why for one in taken.left_out)
    assert "leads out of its folder" in why
    assert "absolute name" in why
    assert "times its size" in why


def test_a_link_in_a_zip(tmp_path: Path) -> None:
    made = tmp_path / "link.zip"
    with zipfile.ZipFile(made, "w") as archive:
        info = zipfile.ZipInfo("x.s1p")
        info.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(info, "/etc/passwd")
        archive.writestr("fine.s1p", SWEEP)
    taken = take_in([made])
    assert [one.plain for one in taken.files] == ["fine.s1p"]
    assert "a link" in taken.left_out[0].why


def test_a_pipe_never_blocks(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "a.s1p").write_bytes(SWEEP)
    assert "pipe" in take_in([tmp_path]).left_out[0].why
    assert "pipe" in take_in([tmp_path / "pipe"]).left_out[0].why


def test_a_cut_zip_is_told(tmp_path: Path) -> None:
    cut = tmp_path / "cut.zip"
    cut.write_bytes(zipped({"a.s1p": SWEEP * 50})[:-30])
    taken = take_in([cut])
    assert not taken.files
    assert taken.left_out[0].loud


def test_a_file_that_changes_between_is_a_fault(folder: Path) -> None:
    taken = take_in([folder / "a.s1p"])
    (folder / "a.s1p").write_bytes(SWEEP + b"900 0 0\n")
    ((_, got),) = taken.each("touchstone")
    assert isinstance(got, InputFaults)
    assert "another content" in str(got)


def test_a_workbook_is_no_zip_of_files(tmp_path: Path) -> None:
    path = tmp_path / "volts.bin"
    path.write_bytes(books.book([["Radio", "Voltage (V)"], ["A1", 53.1], ["A2", 52.9]]))
    (one,) = take_in([path]).files
    assert one.kind == "workbook"


def test_nothing_there(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="does not exist"):
        take_in([tmp_path / "nowhere"])
    (tmp_path / "empty").mkdir()
    assert "nothing in it" in take_in([tmp_path / "empty"]).left_out[0].why


def test_memory_is_that_of_one_file(tmp_path: Path) -> None:
    """Forty sweeps of 2 MB in a zip inside a zip: never more than a few of them in memory."""
    row = b"%07d 0.0123456 0.0234567\n"
    files = {
        f"{n}.s1p": b"# kHz S RI R 50\n" + b"".join(row % (700_000 + k) for k in range(60_000)) + b"! %d\n" % n
        for n in range(40)
    }
    inner = zipped(files)
    made = tmp_path / "all.zip"
    made.write_bytes(zipped({"inner.zip": inner}, zipfile.ZIP_STORED))
    total = sum(map(len, files.values()))
    del files, inner
    tracemalloc.start()
    count = 0
    for _, raw in take_in([made]).each("touchstone"):
        assert isinstance(raw, bytes)
        count += 1
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert count == 40
    assert peak < total / 4


@pytest.mark.parametrize(
    "text",
    [
        "Face,Result\nT1-F06.foot,pass\nT1-F06.head,fail zone A\n",
        "Box;Humidity card\nBX1;30 %\n",
        "Strand\tGrade\nT1-F01\tpass\n",
    ],
)
def test_words_under_a_header_that_is_known_are_a_table(tmp_path: Path, text: str) -> None:
    (tmp_path / "a").write_text(text)
    assert take_in([tmp_path / "a"]).files[0].kind == "table"


@pytest.mark.parametrize("text", ["Dear all,\nplease find the pictures, as agreed\n", "one line; no more\n", "Hello\n"])
def test_a_letter_is_no_table(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.txt").write_text(text)
    taken = take_in([tmp_path / "a.txt"])
    assert taken.files[0].kind == "text"
    assert left_of(taken.files[0]) is None


def test_what_may_hold_a_measurement_is_loud(tmp_path: Path) -> None:
    for name, raw in (
        ("a.s1p", b""), ("b.dat", b"\x00\x01\x02\xff" * 99), ("c.csv", b"nothing but words\n"), (".DS_Store", b"\x00\x01" * 50), ("thumbs.db", b"\x00\x01\x02" * 9),
        ("d.txt", b"nothing but words\n"),
    ):  # fmt: skip
        (tmp_path / name).write_bytes(raw)
    left = {one.plain: found for one in take_in([tmp_path]).files if (found := left_of(one)) is not None}
    assert {name: one.loud for name, one in left.items()} == {
        "a.s1p": True,
        "b.dat": True,
        "c.csv": True,
        ".DS_Store": False,
        "thumbs.db": False,
    }
    assert all(one.remedy for one in left.values() if one.loud)
