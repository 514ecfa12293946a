"""
A zip from outside, read as if its maker meant harm: no path, link or size in it is trusted, and nothing is unpacked into a folder.

Only three names are known, and none becomes a path. What is read is bounded by what the archive declares, and that by what we
take. Members that overlap, repeat, are encrypted, are links, or are not named here refuse the whole.
"""

from __future__ import annotations

import io
import json
import os
import re
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NoReturn, cast

from upmast.errors import FaultList, InputFaults, shorten
from upmast.record.bundle import FORMAT, MANIFEST, names_digest
from upmast.record.canonical import DIGEST, SITE, canonical, sha256
from upmast.record.contents import MOST_BYTES

SITE_NAME = re.compile(r"sites/([A-HJ-NP-Z0-9-]{1,24})\.jsonl\Z")
CONTENT_NAME = re.compile(r"contents/([0-9a-f]{64})\Z")
MOST_MEMBERS = 1_000_000
MOST_MANIFEST = 16_000_000
MOST_SITE = 2_000_000_000
MOST_TOTAL = 16_000_000_000
MOST_LINE = 8_000_000
MOST_FAULTS = 20
BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    OSError,
    ValueError,
    NotImplementedError,
    RuntimeError,
    struct.error,
    OverflowError,
)


class Archive:
    """An open bundle whose outside was checked. Raises InputFaults when it is opened or read."""

    def __init__(self, place: Path, most_total: int = MOST_TOTAL) -> None:
        self.faults = FaultList(place.name, MOST_FAULTS)
        try:
            if not place.is_file():
                self.refuse("", "no file", "a bundle of a record", "look at the name")
            self._file = place.open("rb")
        except OSError as error:
            self.refuse("", error.strerror, "a bundle of a record", "look at the name and the permissions")
        try:
            self._zip = zipfile.ZipFile(self._file)
        except BROKEN as error:
            self._file.close()
            self.refuse("", shorten(str(error)), "a whole zip file", "fetch it again: it is cut off or no zip")
        try:
            self.members = self._checked(os.fstat(self._file.fileno()).st_size, most_total)
            self.manifest = self._manifest()
        except BaseException:
            self.close()
            raise

    def refuse(self, place: str, got: object, expected: str, remedy: str, line: int = 0) -> NoReturn:
        """Add a fault and end the reading."""
        self.faults.add(place, got, expected, remedy, line)
        raise InputFaults(self.faults)

    def _checked(self, size: int, most_total: int) -> dict[str, zipfile.ZipInfo]:
        infos = self._zip.infolist()
        if len(infos) > MOST_MEMBERS:
            self.refuse("", f"{len(infos)} files", f"at most {MOST_MEMBERS}", "take it out in parts")
        members: dict[str, zipfile.ZipInfo] = {}
        for info in infos:
            self._check_member(info, info.filename in members)
            members[info.filename] = info
        total = sum(info.file_size for info in infos)
        if total > most_total:
            self.refuse("", f"{total} bytes unpacked", f"at most {most_total}", "take it out in parts")
        end = 0
        for info in sorted(infos, key=lambda one: one.header_offset):
            if info.header_offset < end:
                self.refuse(info.filename, "it overlaps another file", "files one behind the other", "do not trust it")
            end = info.header_offset + 30 + info.compress_size
        if end > size:
            self.refuse("", "files beyond its end", "a whole zip file", "fetch it again")
        self.faults.raise_if_any()
        return members

    def _check_member(self, info: zipfile.ZipInfo, repeated: bool) -> None:
        name, kind = info.filename, stat.S_IFMT(info.external_attr >> 16)
        site, content = SITE_NAME.match(name), CONTENT_NAME.match(name)
        most = MOST_MANIFEST if name == MANIFEST else MOST_SITE if site else MOST_BYTES
        trust = "do not trust it: ask for another"
        if not (name == MANIFEST or content or (site and SITE.match(site[1]))):
            self.faults.add(shorten(name), "a strange name", f"{MANIFEST}, sites/ID.jsonl or contents/DIGEST", trust)
        elif repeated:
            self.faults.add(name, "the same name twice", "each file once", trust)
        elif kind not in (0, stat.S_IFREG):
            self.faults.add(name, "a link or another special file", "a plain file", trust)
        elif info.flag_bits & 0x1:
            self.faults.add(name, "an encrypted file", "a plain file", "make it again without a password")
        elif info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            self.faults.add(name, f"compression {info.compress_type}", "deflate or none", "make it again")
        elif info.file_size > most:
            self.faults.add(name, f"{info.file_size} bytes", f"at most {most}", trust)

    def read(self, name: str) -> bytes:
        """A small member or a raw file as a whole. Raises InputFaults."""
        info = self.members[name]
        try:
            with self._zip.open(info) as stream:
                data = stream.read(info.file_size + 1)
        except BROKEN as error:
            self.refuse(name, shorten(str(error)), "a file that can be read", "fetch it again: it is damaged")
        if len(data) != info.file_size:
            self.refuse(name, f"{len(data)} bytes", f"{info.file_size} bytes", "fetch it again: it is damaged")
        return data

    def lines(self, name: str) -> Iterator[tuple[int, bytes]]:
        """Lines of a member with their numbers, each bounded. Raises InputFaults."""
        number = 0
        try:
            with self._zip.open(self.members[name]) as raw, io.BufferedReader(cast(Any, raw), 1 << 16) as stream:
                while line := stream.readline(MOST_LINE):
                    number += 1
                    if not line.endswith(b"\n"):
                        self.refuse(
                            name,
                            "a line without end, or too long",
                            f"lines of up to {MOST_LINE} bytes",
                            "do not trust it",
                            number,
                        )
                    yield number, line
        except BROKEN as error:
            self.refuse(name, shorten(str(error)), "a file that can be read", "fetch it again: it is damaged", number)

    def content(self, digest: str) -> bytes:
        """A raw file, checked against its name. Raises InputFaults."""
        name = f"contents/{digest}"
        data = self.read(name)
        if sha256(data) != digest:
            self.refuse(name, "other bytes", "the bytes of this digest", "fetch it again: it was changed")
        return data

    def size(self, digest: str) -> int:
        """How many bytes a raw file has."""
        return self.members[f"contents/{digest}"].file_size

    @property
    def contents(self) -> list[str]:
        return sorted(found[1] for name in self.members if (found := CONTENT_NAME.match(name)))

    @property
    def sites(self) -> list[str]:
        return sorted(self.manifest["sites"])

    def _manifest(self) -> dict[str, Any]:
        if MANIFEST not in self.members:
            self.refuse(MANIFEST, "nothing", "the manifest of a bundle", "give a bundle that a record was taken out to")
        data = self.read(MANIFEST)
        try:
            found = json.loads(data)
            same = canonical(found).encode("utf-8") + b"\n" == data
        except (ValueError, RecursionError):
            found, same = None, False
        if not same or not _sound(found):
            self.refuse(
                MANIFEST, "something else", f"a manifest of the format {FORMAT!r}", "a newer upmast may read it"
            )
        there = {found_[1] for name in self.members if (found_ := SITE_NAME.match(name))}
        for site in sorted(there ^ set(found["sites"])):
            self.faults.add(
                f"sites/{site}.jsonl", "listed, or there, but not both", "the files that it lists", "fetch it again"
            )
        told, have = found["contents"], self.contents
        if told["count"] != len(have) or told["sha256"] != names_digest(have):
            self.faults.add(
                "contents", f"{len(have)} raw files", f"the {told['count']} that it lists", "fetch it again"
            )
        self.faults.raise_if_any()
        return dict(found)

    def close(self) -> None:
        self._zip.close()
        self._file.close()

    def __enter__(self) -> Archive:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _sound(found: Any) -> bool:
    """Whether a manifest has the shape that we write."""
    if not isinstance(found, dict) or set(found) != {"format", "program", "made", "sites", "contents"}:
        return False
    sites, contents = found["sites"], found["contents"]
    if found["format"] != FORMAT or not isinstance(sites, dict) or not sites or not isinstance(contents, dict):
        return False
    shapes = [(contents, {"count": int, "bytes": int, "sha256": str})]
    shapes += [(told, {"entries": int, "head": str, "sha256": str, "bytes": int}) for told in sites.values()]
    for told, shape in shapes:
        if not isinstance(told, dict) or set(told) != set(shape):
            return False
        if any(type(told[name]) is not kind for name, kind in shape.items()):
            return False
        if not all(DIGEST.match(told[name]) for name in ("head", "sha256") if name in told):
            return False
    return all(isinstance(site, str) and SITE.match(site) for site in sites)
