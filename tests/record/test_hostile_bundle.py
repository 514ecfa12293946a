"""Bundles made to do harm: refused whole, in words, with the record as it was and nothing written outside of it."""

from __future__ import annotations

import contextlib
import json
import stat
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from upmast.errors import InputFaults
from upmast.record import bundle
from upmast.record.archive import _sound
from upmast.record.bundle import names_digest
from upmast.record.canonical import canonical, key_of, sha256
from upmast.record.chain import NOTHING, link
from upmast.record.intake import check_bundle, read_bundle
from upmast.record.record import Record

from .conftest import judged, photo

Files = dict[str, bytes]


@pytest.fixture
def files(lone: Record, tmp_path: Path) -> Files:
    """The members of a sound bundle of two sites."""
    for site in ("S1", "S2"):
        with lone.writing(site, "K. Ode") as writing:
            judged(writing, b"sweep")
            photo(writing, b"photo")
    bundle.write_bundle(lone, tmp_path / "sound.zip")
    with zipfile.ZipFile(tmp_path / "sound.zip") as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(place: Path, files: Files, change: Callable[[zipfile.ZipFile], None] | None = None) -> Path:
    with zipfile.ZipFile(place, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
        if change is not None:
            change(archive)
    return place


def sealed(files: Files) -> Files:
    """The same with a manifest that fits, as somebody would make it who knows the form."""
    manifest = json.loads(files["manifest.json"])
    for site in list(manifest["sites"]):
        data = files.get(f"sites/{site}.jsonl")
        if data is None:
            del manifest["sites"][site]
            continue
        last = json.loads(data.splitlines()[-1])
        manifest["sites"][site] = {"entries": last[0], "head": last[7], "sha256": sha256(data), "bytes": len(data)}
    have = {name[9:]: len(data) for name, data in files.items() if name.startswith("contents/")}
    manifest["contents"] = {"count": len(have), "bytes": sum(have.values()), "sha256": names_digest(have)}
    return files | {"manifest.json": canonical(manifest).encode() + b"\n"}


def chained(rows: list[list[object]], site: str = "S1") -> bytes:
    """Rows with number, place and digest made anew."""
    previous, out = NOTHING, []
    for number, row in enumerate(rows, 1):
        time, author, program, kind, body = (str(value) for value in row[2:7])
        digest = link(site, number, previous, time, author, program, kind, body)
        out.append(canonical([number, previous, time, author, program, kind, body, digest]).encode() + b"\n")
        previous = digest
    return b"".join(out)


def refused(record: Record, place: Path, *words: str) -> InputFaults:
    """It is refused with these words; the record, and all that stands beside the bundle, is as it was."""
    beside = sorted(place.parent.rglob("*"))
    before = (record.sites(), [str(record.head(s)) for s in record.sites()])
    with pytest.raises(InputFaults) as error:
        read_bundle(record, place)
    for text in words:
        assert text in str(error.value), str(error.value)
    assert (record.sites(), [str(record.head(s)) for s in record.sites()]) == before
    assert sorted(place.parent.rglob("*")) == beside
    return error.value


@pytest.fixture
def target(tmp_path: Path) -> Record:
    from upmast.record.record import open_record

    (tmp_path / "target").mkdir()
    return open_record(tmp_path / "target" / "t.record")


@pytest.fixture(autouse=True)
def _closed(target: Record) -> object:
    yield
    target.close()


def test_a_sound_one_is_taken_sealed_anew(target: Record, files: Files, tmp_path: Path) -> None:
    assert read_bundle(target, packed(tmp_path / "x.zip", sealed(files))).new == {"S1": 3, "S2": 3}


@pytest.mark.parametrize(
    "name",
    [
        "../evil", "/etc/passwd", "contents/../../evil", "sites/../S3.jsonl", "contents/" + "A" * 64, "C:\\evil", "sites/S3.jsonl/",
        "contents/", "sites/S3.jsonl\n", "manifest.json ", "sites/s3.jsonl", "contents/" + "0" * 63, "a" * 60_000, "sites/SO.jsonl",
        "contents/" + "0" * 64 + ".s1p", "__MACOSX/x", "..", "sites\\S3.jsonl", "contents/\u0660" + "0" * 63,
    ],
)  # fmt: skip
def test_strange_names(target: Record, files: Files, tmp_path: Path, name: str) -> None:
    refused(target, packed(tmp_path / "x.zip", files | {name: b"x"}), "a strange name")


@pytest.mark.parametrize("mode", [stat.S_IFLNK, stat.S_IFDIR, stat.S_IFCHR, stat.S_IFIFO, stat.S_IFSOCK])
def test_links_and_devices(target: Record, files: Files, tmp_path: Path, mode: int) -> None:
    def change(archive: zipfile.ZipFile) -> None:
        info = zipfile.ZipInfo("contents/" + "0" * 64)
        info.external_attr = (mode | 0o777) << 16
        archive.writestr(info, b"/etc/passwd")

    refused(target, packed(tmp_path / "x.zip", files, change), "a link or another special file")


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_twice(target: Record, files: Files, tmp_path: Path) -> None:
    place = packed(tmp_path / "x.zip", files, lambda a: a.writestr("sites/S1.jsonl", b"other\n"))
    refused(target, place, "the same name twice")


def test_a_file_that_is_too_large_unpacked(target: Record, files: Files, tmp_path: Path) -> None:
    data = bytes(64_000_001)
    refused(
        target,
        packed(tmp_path / "x.zip", files | {f"contents/{sha256(data)}": data}),
        "64000001 bytes",
        "at most 64000000",
    )


def test_too_much_in_all(target: Record, files: Files, tmp_path: Path) -> None:
    place = packed(tmp_path / "x.zip", files)
    with pytest.raises(InputFaults, match="bytes unpacked"):
        read_bundle(target, place, most_total=1000)
    with pytest.raises(InputFaults, match="bytes unpacked"):
        check_bundle(place, most_total=1000)


def patched(place: Path, name: str, offset: int, value: bytes) -> None:
    """Change the entry of a member in the central directory."""
    data = bytearray(place.read_bytes())
    at = data.rindex(b"PK\x01\x02", 0, data.rindex(name.encode()))
    data[at + offset : at + offset + len(value)] = value
    place.write_bytes(data)


def test_a_size_that_lies(target: Record, files: Files, tmp_path: Path) -> None:
    """A member that unpacks to more than it declares is read only as far as it declares, and then refused."""
    name = next(name for name in files if name.startswith("contents/"))
    place = packed(tmp_path / "x.zip", files | {name: bytes(10_000_000)})
    patched(place, name, 24, struct.pack("<I", 10))
    refused(target, place)


def test_members_that_overlap(target: Record, files: Files, tmp_path: Path) -> None:
    """Many names for the same packed bytes: small outside, large inside."""
    first, second = [name for name in files if name.startswith("contents/")][:2]
    place = packed(tmp_path / "x.zip", files)
    with zipfile.ZipFile(place) as archive:
        offset = archive.getinfo(first).header_offset
    patched(place, second, 42, struct.pack("<I", offset))
    refused(target, place, "it overlaps another file")


def test_an_encrypted_member(target: Record, files: Files, tmp_path: Path) -> None:
    place = packed(tmp_path / "x.zip", files)
    patched(place, "sites/S1.jsonl", 8, struct.pack("<H", 1))
    refused(target, place, "an encrypted file")


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA, 99])
def test_another_compression(target: Record, files: Files, tmp_path: Path, method: int) -> None:
    place = packed(tmp_path / "x.zip", files)
    patched(place, "sites/S1.jsonl", 10, struct.pack("<H", method))
    refused(target, place, f"compression {method}")


@pytest.mark.parametrize("data", [b"", b"PK", b"PK\x05\x06" + bytes(18), b"x" * 5000, b"PK\x03\x04" + b"\xff" * 300])
def test_no_zip_at_all(target: Record, tmp_path: Path, data: bytes) -> None:
    (tmp_path / "x.zip").write_bytes(data)
    refused(target, tmp_path / "x.zip")
    with pytest.raises(InputFaults):
        check_bundle(tmp_path / "none.zip")
    with pytest.raises(InputFaults):
        check_bundle(tmp_path)


def test_a_cut_zip(target: Record, files: Files, tmp_path: Path) -> None:
    data = packed(tmp_path / "x.zip", files).read_bytes()
    for length in range(0, len(data), 97):
        (tmp_path / "x.zip").write_bytes(data[:length])
        refused(target, tmp_path / "x.zip")


@pytest.mark.parametrize("missing", ["manifest.json", "sites/S1.jsonl", "contents"])
def test_something_missing(target: Record, files: Files, tmp_path: Path, missing: str) -> None:
    some = {name: data for name, data in files.items() if not name.startswith(missing)}
    refused(target, packed(tmp_path / "x.zip", some))
    if missing == "contents":
        refused(target, packed(tmp_path / "x.zip", sealed(some)), "the raw file that an entry names")


def test_something_more(target: Record, files: Files, tmp_path: Path) -> None:
    more = files | {f"contents/{sha256(b'more')}": b"more"}
    refused(target, packed(tmp_path / "x.zip", more), "that it lists")
    refused(target, packed(tmp_path / "x.zip", sealed(more)), "a raw file that no entry names")


def test_other_bytes_under_a_digest(target: Record, files: Files, tmp_path: Path) -> None:
    name = next(name for name in files if name.startswith("contents/"))
    refused(target, packed(tmp_path / "x.zip", sealed(files | {name: b"other"})), "the bytes of this digest")


def rows(files: Files) -> list[list[object]]:
    return [json.loads(line) for line in files["sites/S1.jsonl"].splitlines()]


def with_rows(files: Files, data: bytes) -> Files:
    return sealed(files | {"sites/S1.jsonl": data})


@pytest.mark.parametrize("drop", [0, 1])
def test_a_removed_entry(target: Record, files: Files, tmp_path: Path, drop: int) -> None:
    lines = files["sites/S1.jsonl"].splitlines(keepends=True)
    del lines[drop]
    refused(target, packed(tmp_path / "x.zip", with_rows(files, b"".join(lines))), "an entry of a record")


def test_a_cut_chain(target: Record, files: Files, tmp_path: Path) -> None:
    data = files["sites/S1.jsonl"].splitlines(keepends=True)[0]
    refused(target, packed(tmp_path / "x.zip", files | {"sites/S1.jsonl": data}), "sites/S1.jsonl")


def test_an_edited_entry(target: Record, files: Files, tmp_path: Path) -> None:
    data = files["sites/S1.jsonl"].replace(b"K. Ode", b"X. Yyy")
    refused(target, packed(tmp_path / "x.zip", with_rows(files, data)), "content of another digest")


@pytest.mark.parametrize(
    ("at", "value", "words"),
    [
        (6, '{"content":"../../x","looks":"jpeg","name":"a","shows":"x","subject":"A"}', "not a photo"),
        (6, '{"looks":"jpeg"}', "not a photo"),
        (6, "[" * 9_999, "not a photo"),
        (5, "gossip", "is not known"),
        (3, "K\u202eOde", "the author is a name"),
        (3, "", "the author is a name"),
        (2, "yesterday", "an entry of a record"),
        (4, "upmast\n0", "an entry of a record"),
        (4, "u" * 101, "an entry of a record"),
    ],
)
def test_a_chain_that_is_whole_but_says_what_can_not_be(
    target: Record, files: Files, tmp_path: Path, at: int, value: str, words: str
) -> None:
    some = rows(files)
    some[-1][at] = value
    refused(target, packed(tmp_path / "x.zip", with_rows(files, chained(some))), words)


def test_an_entry_twice_and_one_that_refers_to_nothing(target: Record, files: Files, tmp_path: Path) -> None:
    some = rows(files)
    refused(target, packed(tmp_path / "x.zip", with_rows(files, chained([*some, some[-1]]))), "that is there twice")
    assert [row[5] for row in some] == ["measurement", "verdict", "photo"]
    refused(target, packed(tmp_path / "x.zip", with_rows(files, chained(some[1:]))), "that is not before it")
    assert key_of("measurement", str(some[0][6])) in str(some[1][6])


@pytest.mark.parametrize("entries", [1, 3, 4, 10**30])
def test_a_signature_over_what_does_not_stand(target: Record, files: Files, tmp_path: Path, entries: int) -> None:
    some = rows(files)
    said = {
        "entries": entries,
        "head": "0" * 64,
        "name": "A. Lind",
        "role": "r",
        "signed": "2026-05-10",
        "statement": "Accepted.",
    }
    some.append([4, "", some[0][2], "A. Lind", some[0][4], "signature", canonical(said)])
    refused(target, packed(tmp_path / "x.zip", with_rows(files, chained(some))), "sites/S1.jsonl")


def test_a_chain_under_the_name_of_another_site(target: Record, files: Files, tmp_path: Path) -> None:
    swapped = sealed(files | {"sites/S1.jsonl": files["sites/S2.jsonl"], "sites/S2.jsonl": files["sites/S1.jsonl"]})
    refused(target, packed(tmp_path / "x.zip", swapped), "content of another digest")


@pytest.mark.parametrize(
    "line",
    [b"{}\n", b"[]\n", b"null\n", b"[1,2]\n", b"\xff\n", b"[" * 100_000 + b"\n", b"[1e999]\n", b"1" * 10_000 + b"\n", b"[NaN]\n", b"x" * 8_000_001],
)  # fmt: skip
def test_lines_that_are_no_entry(target: Record, files: Files, tmp_path: Path, line: bytes) -> None:
    data = files["sites/S1.jsonl"] + line
    made = sealed(files)
    manifest = json.loads(made["manifest.json"])
    manifest["sites"]["S1"] |= {"sha256": sha256(data), "bytes": len(data)}
    made |= {"sites/S1.jsonl": data, "manifest.json": canonical(manifest).encode() + b"\n"}
    refused(target, packed(tmp_path / "x.zip", made), "sites/S1.jsonl")


@pytest.mark.parametrize(
    "manifest",
    [b"", b"{}\n", b"[]\n", b"null\n", b"[" * 100_000, b'{"format":"upmast record bundle 2"}\n', b"\xff", b'{"sites":' * 500, b"9" * 20_000],
)  # fmt: skip
def test_manifests_that_are_none(target: Record, files: Files, tmp_path: Path, manifest: bytes) -> None:
    refused(target, packed(tmp_path / "x.zip", files | {"manifest.json": manifest}), "manifest.json")


@settings(max_examples=200, deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(max_size=3),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["format", "sites", "contents", "S1", "head"]), inner),
        max_leaves=12,
    )
)  # fmt: skip
def test_any_json_is_told_from_a_manifest(found: object) -> None:
    assert _sound(found) is False


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_changed_byte_is_refused_or_changes_nothing(
    target: Record, files: Files, tmp_path: Path, data: st.DataObject
) -> None:
    """Whatever is done to the bytes of a zip: it is refused in words, or what it says is what it said."""
    place = packed(tmp_path / "x.zip", files)
    sound = check_bundle(place)
    raw = bytearray(place.read_bytes())
    for _ in range(data.draw(st.integers(1, 3))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(0, 255))
    place.write_bytes(raw)
    with contextlib.suppress(InputFaults):
        assert check_bundle(place) == sound
