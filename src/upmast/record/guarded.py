"""
A zip from outside, read as if its maker meant harm: no path, link or size in it is trusted, and nothing is unpacked into a folder.

What is read is bounded by what the archive declares, and that by what we take. Members that overlap, repeat, are encrypted, are
links, or have a name that is not known refuse the whole.
"""

from __future__ import annotations

import hashlib
import io
import os
import stat
import struct
import zipfile
import zlib
from abc import ABC, abstractmethod
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, NoReturn, Self, cast

from upmast.errors import FaultList, InputFaults, shorten

MOST_MEMBERS = 1_000_000
MOST_LINE = 8_000_000
MOST_FAULTS = 20
CHUNK = 1 << 20
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


class _Digest(io.RawIOBase):
    """A place to write to that only keeps the digest."""

    def __init__(self) -> None:
        super().__init__()
        self.state = hashlib.sha256()

    def write(self, data: Any, /) -> int:
        self.state.update(data)
        return len(data)


class GuardedZip(ABC):
    """
    An open zip whose outside was checked. Raises InputFaults when it is opened or read.

    A kind of zip says with `most_bytes` which names it knows, and how large each may be.
    """

    WHAT = "a zip"
    NAMES = "no names"

    @abstractmethod
    def most_bytes(self, name: str) -> int | None:
        """How large a file of this name may be; None where the name is not known."""

    def __init__(self, place: Path, most_total: int) -> None:
        self.faults = FaultList(place.name, MOST_FAULTS)
        try:
            if not place.is_file():
                self.refuse("", "no file", self.WHAT, "look at the name")
            self._file = place.open("rb")
        except OSError as error:
            self.refuse("", error.strerror, self.WHAT, "look at the name and the permissions")
        try:
            self._zip = zipfile.ZipFile(self._file)
        except BROKEN as error:
            self._file.close()
            self.refuse("", shorten(str(error)), "a whole zip file", "fetch it again: it is cut off or no zip")
        try:
            self.members = self._checked(os.fstat(self._file.fileno()).st_size, most_total)
            self._opened()
        except BaseException:
            self.close()
            raise

    def _opened(self) -> None:  # noqa: B027 (most kinds need nothing at once)
        """Read what the kind of zip needs at once, such as its manifest."""

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
        most = self.most_bytes(name)
        trust = "do not trust it: ask for another"
        if most is None:
            self.faults.add(shorten(name), "a strange name", self.NAMES, trust)
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

    def copy(self, name: str, to: IO[bytes] | _Digest) -> None:
        """Write a large member to an open file, no more of it than it declares. Raises InputFaults."""
        info, count = self.members[name], 0
        try:
            with self._zip.open(info) as stream:
                while chunk := stream.read(min(CHUNK, info.file_size + 1 - count)):
                    count += len(chunk)
                    if count > info.file_size:
                        break
                    to.write(chunk)
        except BROKEN as error:
            self.refuse(name, shorten(str(error)), "a file that can be read", "fetch it again: it is damaged")
        if count != info.file_size:
            self.refuse(name, f"{count} bytes", f"{info.file_size} bytes", "fetch it again: it is damaged")

    def digest(self, name: str) -> str:
        """SHA-256 of a large member, read in parts. Raises InputFaults."""
        sink = _Digest()
        self.copy(name, sink)
        return sink.state.hexdigest()

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

    def close(self) -> None:
        self._zip.close()
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
