"""A zip or folder of everything: told by content, streamed, and hostile ones refused with a reason."""

from __future__ import annotations

import hashlib
import importlib.util
import io
import os
import random
import stat
import struct
import tracemalloc
import zipfile
from pathlib import Path

import pytest

from upmast.errors import InputFaults, UsageError
from upmast.field.readers import archive as module
from upmast.field.readers import zip_guard
from upmast.field.readers.archive import read_archive
from upmast.field.readers.content_kind import content_kind
from upmast.field.readers.table import read_table
from upmast.field.readers.touchstone import read_sweep
from upmast.field.readers.trace_table import guess_trace, read_trace

_spec = importlib.util.spec_from_file_location("field_books", Path(__file__).parent / "books.py")
assert _spec is not None
assert _spec.loader is not None
books = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(books)

STONE = b"! made here\n# MHz S RI R 50\n700 0.1 0.2\n701 0.1 0.2\n"
CSV = b"Frequency (MHz),VSWR\n700,1.2\n701,1.3\n"
JPEG, PNG, HEIF = (
    b"\xff\xd8\xff\xe0" + b"j" * 500,
    b"\x89PNG\r\n\x1a\n" + b"p" * 500,
    b"\0\0\0\x18ftypheic" + b"h" * 500,
)


def everything() -> dict[str, bytes]:
    return {
        "S1/sweeps/a.txt": STONE, "S1/photo.csv": JPEG, "S1/x.jpg": CSV, "S1/pictures/1": PNG, "S1/pictures/2.HEIC": HEIF,
        "S1/report.s1p": b"%PDF-1.7 made here", "S1/list.bin": books.book([["a", "b"], [1, 2]]), "S1/copy of a.s1p": STONE,
        "S1/readme": b"hello, this is\nno table\n", "S1/noise": random.Random(1).randbytes(3000), "S1/.DS_Store": b"\0\0\0\x01Bud1" + b"\0" * 40,
        "S1/empty": b"", "S1/wide.txt": "f;RL\n700,5;20,1\n701,5;20,2\n".encode("utf-16"),
    }  # fmt: skip


KINDS = [
    "touchstone",
    "photo",
    "table",
    "photo",
    "photo",
    "pdf",
    "workbook",
    "touchstone",
    "text",
    "unknown",
    "unknown",
    "unknown",
    "table",
]


def write(tmp_path: Path, raw: bytes, name: str = "all.zip") -> Path:
    path = tmp_path / name
    path.write_bytes(raw)
    return path


def test_files_are_told_by_content_not_by_name(tmp_path: Path) -> None:
    made = everything()  # once: a workbook holds the second that it was made in
    path = write(tmp_path, books.zipped(made))
    found = read_archive(path)
    assert [one.kind for one in found.entries] == KINDS
    assert [one.name for one in found.entries] == list(made)
    assert found.duplicates == (("S1/sweeps/a.txt", "S1/copy of a.s1p"),)
    assert found.entries[7].same_as == "S1/sweeps/a.txt"
    for entry, data in zip(found.entries, made.values(), strict=True):
        assert (entry.size, entry.digest) == (len(data), hashlib.sha256(data).hexdigest())
        assert found.read(entry) == data
    assert [(one.name, data) for one, data in found.each("touchstone")] == [
        (n, STONE) for n in ("S1/sweeps/a.txt", "S1/copy of a.s1p")
    ]
    assert found.counts()["photo"] == 3
    assert read_sweep(found.read(found.of("touchstone")[0]), "a.s1p").points == 2
    table = read_table(found.read(found.of("table")[0]), "x")
    assert read_trace(table, guess_trace(table))[0].points == 2


def test_a_folder_is_read_like_a_zip(tmp_path: Path) -> None:
    for name, data in everything().items():
        (tmp_path / "in" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "in" / name).write_bytes(data)
    (tmp_path / "in" / "inner.zip").write_bytes(books.zipped({"deep/b.csv": CSV}))
    found = read_archive(tmp_path / "in")
    kinds = dict(zip(everything(), KINDS, strict=True))
    assert {one.name: one.kind for one in found.entries} == {**kinds, "inner.zip/deep/b.csv": "table"}
    for entry in found.entries:
        assert hashlib.sha256(found.read(entry)).hexdigest() == entry.digest


def test_a_zip_inside_is_opened_one_level_deep(tmp_path: Path) -> None:
    inner = books.zipped({"b.csv": CSV})
    found = read_archive(write(tmp_path, books.zipped({"one.zip": inner, "a": STONE})))
    assert [one.name for one in found.entries] == ["one.zip/b.csv", "a"]
    assert found.read(found.entries[0]) == CSV
    assert [data for _, data in found.each("table")] == [CSV]
    assert "a zip inside: one.zip, 1 entries" in found.notes[0]
    deeper = write(tmp_path, books.zipped({"two.zip": books.zipped({"one.zip": inner}), "a": STONE}))
    with pytest.raises(InputFaults, match="one level deep"):
        read_archive(deeper)
    kept = read_archive(deeper, repair=True)
    assert [one.name for one in kept.entries] == ["a"]
    assert kept.mended == ("left out: two.zip/one.zip: a zip inside a zip inside an archive",)


def hostile(name: str, attributes: int = 0, data: bytes = b"x") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("good.csv", CSV)
        info = zipfile.ZipInfo(name)
        info.create_system = 3
        info.external_attr = attributes << 16
        archive.writestr(info, data)
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "attributes", "why"),
    [
        ("../../etc/passwd", 0, "leads out"), ("a/../../b", 0, "leads out"), ("..\\b", 0, "leads out"), ("/etc/passwd", 0, "absolute"),
        ("\\\\host\\share", 0, "absolute"), ("C:/windows", 0, "absolute"), ("c:evil", 0, "absolute"), ("a\nb", 0, "control characters"),
        ("a\x1b[31m", 0, "control characters"), ("a" * 500, 0, "500 characters"), ("link", stat.S_IFLNK | 0o777, "a link"),
        ("pipe", stat.S_IFIFO | 0o644, "device, pipe"), ("disk", stat.S_IFBLK | 0o644, "device, pipe"),
    ],
)  # fmt: skip
def test_names_and_links_that_lead_out_are_refused(tmp_path: Path, name: str, attributes: int, why: str) -> None:
    path = write(tmp_path, hostile(name, attributes))
    with pytest.raises(InputFaults, match=why) as caught:
        read_archive(path)
    assert len(caught.value.faults) == 1
    assert "\n" not in caught.value.faults[0].place
    found = read_archive(path, repair=True)
    assert [one.name for one in found.entries] == ["good.csv"]
    assert len(found.mended) == 1


def test_a_name_with_a_zero_byte_is_refused(tmp_path: Path) -> None:
    raw = hostile("good.txt*x").replace(b"good.txt*x", b"good.txt\0x")
    with pytest.raises(InputFaults, match="control characters"):
        read_archive(write(tmp_path, raw))


def test_a_bomb_by_ratio_and_by_total(tmp_path: Path) -> None:
    path = write(tmp_path, books.zipped({"a.csv": CSV, "zeros": bytes(3_000_000)}))
    with pytest.raises(InputFaults, match="times its size"):
        read_archive(path)
    assert [one.name for one in read_archive(path, repair=True).entries] == ["a.csv"]
    many = write(tmp_path, books.zipped({f"{k}": bytes(1_000_000) for k in range(120)}))
    with pytest.raises(InputFaults, match="it unpacks to"):
        read_archive(many, repair=True)


def test_declared_sizes_beyond_the_bound_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_TOTAL_BYTES", 1000)
    run = books.zipped({"a": b"x" * 600, "b": b"y" * 600}, zipfile.ZIP_STORED)
    monkeypatch.setattr(module._Run, "__init__", _small_room(module._Run.__init__))
    with pytest.raises(InputFaults, match="unpacked"):
        read_archive(write(tmp_path, run))


def _small_room(init):  # type: ignore[no-untyped-def]
    def start(self, *args, **kwargs):  # type: ignore[no-untyped-def]
        init(self, *args, **kwargs)
        self.room = 1000

    return start


def test_entries_that_share_their_bytes_are_refused(tmp_path: Path) -> None:
    raw = bytearray(books.zipped({"a.csv": CSV, "b.csv": CSV}, zipfile.ZIP_STORED))
    at = raw.rfind(b"PK\x01\x02")
    raw[at + 42 : at + 46] = struct.pack("<L", 0)  # the second entry points at the first one's bytes
    with pytest.raises(InputFaults, match="share their bytes"):
        read_archive(write(tmp_path, bytes(raw)))


def test_a_directory_too_large_to_hold_is_refused_before_it_is_read(tmp_path: Path) -> None:
    raw = bytearray(books.zipped({"a.csv": CSV}))
    at = raw.rfind(b"PK\x05\x06")
    raw[at + 12 : at + 16] = struct.pack("<L", 500_000_000)
    with pytest.raises(InputFaults, match="a directory of 500 MB"):
        read_archive(write(tmp_path, bytes(raw)))


def test_encrypted_entries_are_said_and_not_read(tmp_path: Path) -> None:
    raw = bytearray(books.zipped({"a.csv": CSV, "secret.csv": CSV}, zipfile.ZIP_STORED))
    at = raw.rfind(b"PK\x01\x02")
    raw[at + 8] |= 1
    found = read_archive(write(tmp_path, bytes(raw)))
    assert [(one.name, one.kind, one.digest == "") for one in found.entries] == [
        ("a.csv", "table", False),
        ("secret.csv", "encrypted", True),
    ]
    assert found.notes == ("encrypted, not read: secret.csv",)
    with pytest.raises(UsageError, match="encrypted"):
        found.read(found.entries[1])


def test_the_same_name_twice_and_names_alike(tmp_path: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("a.csv", CSV)
        archive.writestr("A.csv", CSV)
        with pytest.warns(UserWarning, match="Duplicate name"):
            archive.writestr("a.csv", CSV + b"702,1.4\n")
    path = write(tmp_path, out.getvalue())
    with pytest.raises(InputFaults, match="comes twice"):
        read_archive(path)
    found = read_archive(path, repair=True)
    assert [one.name for one in found.entries] == ["a.csv", "A.csv"]
    assert "differ only in upper and lower case" in found.notes[0]


def test_a_damaged_entry(tmp_path: Path) -> None:
    raw = bytearray(books.zipped({"a.csv": CSV, "b.csv": STONE}, zipfile.ZIP_STORED))
    at = raw.find(CSV)
    raw[at + 3] ^= 0xFF
    path = write(tmp_path, bytes(raw))
    with pytest.raises(InputFaults, match="damaged"):
        read_archive(path)
    assert [one.name for one in read_archive(path, repair=True).entries] == ["b.csv"]


@pytest.mark.parametrize(
    "raw", [b"", b"PK", b"no zip at all", CSV, books.zipped({"a.csv": CSV})[:-30], books.zipped({})], ids=range(6)
)
def test_what_is_no_zip_is_refused(tmp_path: Path, raw: bytes) -> None:
    with pytest.raises(InputFaults):
        read_archive(write(tmp_path, raw))
    with pytest.raises(InputFaults):
        read_archive(tmp_path / "missing")


def test_links_and_pipes_in_a_folder_are_not_followed(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "a.csv").write_bytes(CSV)
    (tmp_path / "outside").write_bytes(STONE)
    (folder / "link").symlink_to(tmp_path / "outside")
    (folder / "up").symlink_to(tmp_path)
    os.mkfifo(folder / "pipe")
    with pytest.raises(InputFaults) as caught:
        read_archive(folder)
    assert {fault.place: fault.got for fault in caught.value.faults} == {
        "link": "a link",
        "up": "a link",
        "pipe": "a device, pipe or socket",
    }
    found = read_archive(folder, repair=True)
    assert [one.name for one in found.entries] == ["a.csv"]
    assert len(found.mended) == 3


def test_a_file_that_changed_since_is_not_read(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "a.csv").write_bytes(CSV)
    found = read_archive(folder)
    (folder / "a.csv").write_bytes(STONE)
    with pytest.raises(InputFaults, match="another content"):
        found.read(found.entries[0])
    (folder / "a.csv").unlink()
    with pytest.raises(InputFaults):
        found.read(found.entries[0])


def test_a_large_zip_takes_little_memory(tmp_path: Path) -> None:
    path = tmp_path / "large.zip"
    block = random.Random(2).randbytes(1 << 20)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as archive:
        for k in range(4):
            with archive.open(f"photo {k}", "w") as stream:
                stream.write(b"\xff\xd8\xff\xe0" + bytes([k]))
                for _ in range(24):
                    stream.write(block)
    read_archive(path)
    tracemalloc.start()
    found = read_archive(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert [one.kind for one in found.entries] == ["photo"] * 4
    assert sum(one.size for one in found.entries) > 90e6
    assert peak < 8e6


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"# \n1 2 3\n", "touchstone"), (b"\n!c\n  # ghz s ma r 50 ! x\n1 2 3\n", "touchstone"), (b"[Version] 2.0\n", "touchstone"),
        ("# Hz S RI R 50\n1 2 3\n".encode("utf-16"), "touchstone"), (b"# a heading of a text\n\nwords\n", "text"), (b"a,b\n1,2\n", "table"),
        (b"a;b;c\nx;y;z\n", "table"), (b"Hello,\nyours truly\n", "text"), (b'{"a": [1, 2,\n 3, 4,\n5]}', "text"), (b"<html>1,2\n3,4", "unknown"),
        (b"\0\0\0\x18ftypmif1", "photo"), (b"\0\0\0\x18ftypmp42", "unknown"), (b"junk %PDF-1.4", "pdf"), (b"\xd0\xcf\x11\xe0\xa1", "unknown"),
        (b"1 2\0 3", "unknown"), (b"MZ\x90", "unknown"), (b"\x00\x05\x16\x07\0", "unknown"),
    ],
)  # fmt: skip
def test_kinds_of_content(head: bytes, kind: str) -> None:
    assert content_kind(head, len(head))[0] == kind


def test_bounds_are_those_that_are_said() -> None:
    assert zip_guard.MOST_TOTAL_BYTES == 8 * 1024**3
    assert zip_guard.HIGHEST_RATIO < 1032  # the most that deflate can do
