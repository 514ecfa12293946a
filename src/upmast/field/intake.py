"""
Take in what came from the field: files, folders and zips, each file told by its content and read one at a time.

    taken = take_in([Path("photos"), Path("closeout.zip")])
    for file, raw in taken.each("touchstone", "table"):
        ...

Nothing of a file is kept but its name, digest and kind: a zip of gigabytes takes no more memory than a small one. What may not be
read (a link, a name that leads out, a bomb) is left out and listed with the reason; the same content under two names is listed, too.
"""

from __future__ import annotations

import hashlib
import os
import re
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import IO

from upmast.errors import Fault, InputFaults, UsageError, shorten
from upmast.field.readers.archive import (
    BROKEN,
    CHUNK,
    MOST_NESTED_BYTES,
    MOST_READ_BYTES,
    SPOOL_BYTES,
    read_archive,
    same_content,
)
from upmast.field.readers.content_kind import HEAD_BYTES, TEXT, UNKNOWN, WORKBOOK, ZIP, content_kind
from upmast.field.readers.zip_guard import MOST_ENTRIES, Refused, check_entry, open_zip

MOST_GIVEN = 10_000  # paths on one command line


@dataclass(frozen=True, slots=True)
class FieldFile:
    """One file: the name it is shown by, its kind by content and why, size and digest; `same_as` is the first of that content."""

    name: str
    kind: str
    words: str
    size: int
    digest: str
    same_as: str = ""
    source: Path = Path()
    path: tuple[str | int, ...] = ()  # below a folder, places in zips; () for a file given by itself

    @property
    def plain(self) -> str:
        """Its own name, without folders and zips."""
        return self.name.replace("\\", "/").rsplit("/", 1)[-1]

    def as_data(self) -> dict[str, object]:
        return {
            "file": self.name, "kind": self.kind, "words": self.words, "size": self.size, "sha256": self.digest,
            "same_as": self.same_as,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What was not read, and why; `loud` where it may hold evidence, so that it can't be passed over."""

    name: str
    why: str
    remedy: str = ""
    loud: bool = True

    def as_data(self) -> dict[str, object]:
        return {"file": self.name, "why": self.why, "do": self.remedy, "loud": self.loud}


@dataclass(frozen=True, slots=True)
class Taken:
    """All files that were given, in their order, and what was left out."""

    files: tuple[FieldFile, ...]
    left_out: tuple[LeftOut, ...] = ()
    notes: tuple[str, ...] = ()

    def of(self, *kinds: str) -> tuple[FieldFile, ...]:
        return tuple(one for one in self.files if one.kind in kinds)

    @property
    def doubles(self) -> tuple[tuple[str, ...], ...]:
        """Names of the same content, the first one first."""
        return same_content((one.name, one.digest if one.size else "") for one in self.files)

    def each(self, *kinds: str) -> Iterator[tuple[FieldFile, bytes | InputFaults]]:
        """
        The files of some kinds that are no double, with their content, one after the other; each zip is opened once.

        A file that can't be read comes with its faults instead.
        """
        wanted = [one for one in self.files if one.kind in kinds and not one.same_as]
        with ExitStack() as stack:
            opened = _Opened(stack)
            for one in wanted:
                try:
                    yield one, opened.read(one)
                except InputFaults as faults:
                    yield one, faults

    def read(self, file: FieldFile) -> bytes:
        """The content of one file. Raises InputFaults if it is too large, or has changed since it was listed."""
        with ExitStack() as stack:
            return _Opened(stack).read(file)


# what a computer puts beside files by itself, and notes of a folder: no evidence
_SYSTEM = re.compile(
    r"\A(?:\._.*|\.ds_store|thumbs\.db|ehthumbs\.db|desktop\.ini|\.directory|\.gitkeep|\.keep)\Z", re.IGNORECASE
)
_MEASURED = (".s1p", ".s2p", ".csv", ".tsv", ".xlsx")  # a file of this ending holds a measurement, if it holds anything
_EXPORT = "export it again as .s1p, .csv or .xlsx; if it holds no measurement, take it out"


def left_of(file: FieldFile) -> LeftOut | None:
    """
    A file that was taken in and is not read; None for one that is read, or kept as evidence.

    Loud where it may hold a measurement: what is empty or not understood is no pass. Files of a computer's own are quiet.
    """
    if file.kind == UNKNOWN:
        own = _SYSTEM.match(file.plain) is not None or "system file" in file.words
        if own:
            return LeftOut(file.name, file.words, "", False)
        remedy = "save the measurement again; if there was none, take the file out" if not file.size else _EXPORT
        return LeftOut(file.name, file.words, remedy)
    if file.kind == TEXT and file.plain.lower().endswith(_MEASURED):
        return LeftOut(file.name, f"{file.words}, though its name ends like a measurement's", _EXPORT)
    return None


class _Opened:
    """Zips held open while their files are read in order, so that an inner one is unpacked once and not for each file in it."""

    def __init__(self, stack: ExitStack) -> None:
        self._stack = stack
        self._at: tuple[Path, tuple[str | int, ...]] | None = None
        self._inside: zipfile.ZipFile | None = None
        self._own = stack.enter_context(ExitStack())

    def read(self, file: FieldFile) -> bytes:
        if file.size > MOST_READ_BYTES:
            raise _faults(
                file, f"{file.size / 1e6:.0f} MB", f"at most {MOST_READ_BYTES / 1e6:.0f} MB", "keep it as evidence"
            )
        try:
            data = self._raw(file)
        except (Refused, *BROKEN) as error:
            raise _faults(
                file, shorten(str(error)), "the file as it was listed", "give the files again, unchanged"
            ) from None
        if hashlib.sha256(data).hexdigest() != file.digest:
            raise _faults(
                file, "another content than when it was listed", "a file that does not change", "judge it again"
            )
        return data

    def _raw(self, file: FieldFile) -> bytes:
        if not file.path or (len(file.path) == 1 and isinstance(file.path[0], str)):
            place = file.source / str(file.path[0]) if file.path else file.source
            with _plain_file(place, follow=not file.path) as stream:
                return stream.read(MOST_READ_BYTES + 1)
        archive = self._zip(file.source, file.path[:-1])
        infos = archive.infolist()
        at = int(file.path[-1])
        if not 0 <= at < len(infos):
            raise Refused("fewer files than before", "the archive as it was listed")
        check_entry(infos[at])
        with archive.open(infos[at]) as inner:
            return inner.read(MOST_READ_BYTES + 1)

    def _zip(self, source: Path, way: tuple[str | int, ...]) -> zipfile.ZipFile:
        if self._at == (source, way) and self._inside is not None:
            return self._inside
        self._own.close()
        self._own = self._stack.enter_context(ExitStack())
        steps = list(way)
        folder = bool(steps) and isinstance(steps[0], str)
        place = source / str(steps.pop(0)) if folder else source
        archive = open_zip(self._own.enter_context(_plain_file(place, follow=not folder)))
        for at in steps:
            info = archive.infolist()[int(at)]
            check_entry(info)
            with archive.open(info) as stream:
                archive = open_zip(self._own.enter_context(_spooled(stream)))
        self._at, self._inside = (source, way), archive
        return archive


def _spooled(stream: IO[bytes]) -> IO[bytes]:
    """An inner zip where it can be sought in: in memory while it is small, else in a temporary file without a name."""
    spool: IO[bytes] = SpooledTemporaryFile(max_size=SPOOL_BYTES)  # noqa: SIM115
    size = 0
    while chunk := stream.read(CHUNK):
        size += len(chunk)
        if size > MOST_NESTED_BYTES:
            spool.close()
            raise Refused("a zip inside of more than 512 MB", "at most 512 MB")
        spool.write(chunk)
    return spool


def _plain_file(path: Path, follow: bool) -> IO[bytes]:
    """Open a plain file for reading; a link is followed only where the person named it, and a pipe never blocks."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | (0 if follow else getattr(os, "O_NOFOLLOW", 0))
    return os.fdopen(os.open(path, flags), "rb")


def _faults(file: FieldFile, got: str, expected: str, remedy: str) -> InputFaults:
    return InputFaults([Fault(file.name, "", got, expected, remedy)])


def take_in(given: Sequence[Path]) -> Taken:
    """
    List files, folders and zips by the content of every file in them.

    Raises
    ------
    UsageError
        If one of the paths does not exist, or there are more than can be looked at.
    """
    if len(given) > MOST_GIVEN:
        raise UsageError(f"more than {MOST_GIVEN} paths: give their folder, or a zip of them")
    for path in given:
        if not path.exists():
            raise UsageError(f"{shorten(str(path), 200)} does not exist")
    files: list[FieldFile] = []
    left: list[LeftOut] = []
    notes: list[str] = []
    seen: set[str] = set()
    for path in given:
        own = os.path.realpath(path)
        if own in seen:
            continue  # the same path given twice is no second evidence
        seen.add(own)
        try:
            files += _folder_or_file(path, left, notes)
        except InputFaults as error:
            left += [LeftOut(str(path), f"{one.got}; expected {one.expected}", one.remedy) for one in error.faults]
        if len(files) > MOST_ENTRIES:
            raise UsageError(f"more than {MOST_ENTRIES} files: judge them folder by folder")
    first: dict[str, str] = {}
    out: list[FieldFile] = []
    for one in files:
        same = first.get(one.digest, "") if one.digest and one.size else ""
        if one.digest and one.size:
            first.setdefault(one.digest, one.name)
        out.append(
            FieldFile(one.name, one.kind, one.words, one.size, one.digest, same, one.source, one.path) if same else one
        )
    return Taken(tuple(out), tuple(left), tuple(notes))


def _folder_or_file(path: Path, left: list[LeftOut], notes: list[str]) -> list[FieldFile]:
    if path.is_dir():
        return _archive(path, left, notes)
    if not path.is_file():
        left.append(LeftOut(str(path), "a device, pipe or socket; expected a plain file", "leave it out"))
        return []
    digest = hashlib.sha256()
    with _plain_file(path, follow=True) as stream:
        head = stream.read(HEAD_BYTES)
        kind, words = content_kind(head, len(head))
        if kind == ZIP and not _office(path):
            return _archive(path, left, notes)
        digest.update(head)
        size = len(head)
        while chunk := stream.read(CHUNK):
            digest.update(chunk)
            size += len(chunk)
    if kind == ZIP:
        kind, words = WORKBOOK, "a workbook"
    return [FieldFile(str(path), kind, words, size, digest.hexdigest(), source=path)]


def _office(path: Path) -> bool:
    """Whether a zip is a workbook: its list of parts tells, not its name."""
    try:
        with _plain_file(path, follow=True) as stream, open_zip(stream) as archive:
            names = set(archive.namelist())
    except (Refused, *BROKEN):
        return False
    return "[Content_Types].xml" in names and "xl/workbook.xml" in names


def _archive(path: Path, left: list[LeftOut], notes: list[str]) -> list[FieldFile]:
    """The files of a folder or zip, named by the path that was given and their own."""
    found = read_archive(path, repair=True)
    for words in found.mended:
        name, _, why = words.removeprefix("left out: ").partition(": ")
        left.append(LeftOut(f"{path}/{name}", why, "give the file itself, as a plain file"))
    notes += [f"{path}: {words}" for words in found.notes if not words.startswith("encrypted")]
    return [
        FieldFile(f"{path}/{one.name}", one.kind, one.words, one.size, one.digest, "", path, one.path)
        for one in found.entries
    ]


__all__ = ["FieldFile", "LeftOut", "Taken", "left_of", "take_in"]
