"""
A zip, or a folder, of everything that came from a site: each file told by its content, none by its name.

    found = read_archive(Path("closeout.zip"))
    for entry in found.of("touchstone"):
        sweep = read_sweep(found.read(entry), entry.name)

Everything streams: a zip of gigabytes takes no more memory than a small one. Nothing is written beside it, nothing unpacked to a
path. Photographs and documents are kept as evidence by their digest; the same content under two names is said.
"""

from __future__ import annotations

import hashlib
import os
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from upmast.errors import Fault, FaultList, InputFaults, UsageError, shorten
from upmast.field.readers.content_kind import ENCRYPTED, HEAD_BYTES, KINDS, UNKNOWN, WORKBOOK, ZIP, content_kind
from upmast.field.readers.zip_guard import (
    MOST_ENTRIES,
    MOST_TOTAL_BYTES,
    Refused,
    check_entry,
    check_name,
    check_whole,
    open_zip,
)

MOST_FAULTS = 200
MOST_READ_BYTES = 64 * 1024 * 1024  # that `read` gives in one piece: more than any reader takes
MOST_NESTED_BYTES = 512 * 1024 * 1024
MOST_DEPTH = 32
SPOOL_BYTES = 4 * 1024 * 1024  # of an inner zip that stay in memory; the rest goes to a temporary file
CHUNK = 256 * 1024
BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, NotImplementedError, RuntimeError)


@dataclass(frozen=True, slots=True)
class Entry:
    """
    One file. `kind` is one of `content_kind.KINDS`, `words` say why; `digest` is the SHA-256 of its content, '' where it is encrypted.

    `same_as` names the first file with the same content. A file of an inner zip is named `inner.zip/file`.
    """

    name: str
    kind: str
    words: str
    size: int
    digest: str
    same_as: str = ""
    path: tuple[str | int, ...] = ()  # how it is found again: a path below a folder, places in zips


def same_content(files: Iterable[tuple[str, str]]) -> tuple[tuple[str, ...], ...]:
    """Names of the same content among pairs of name and digest, the first name first; a file without a digest has no like."""
    groups: dict[str, list[str]] = {}
    for name, digest in files:
        if digest:
            groups.setdefault(digest, []).append(name)
    return tuple(tuple(names) for names in groups.values() if len(names) > 1)


@dataclass(frozen=True, slots=True)
class Contents:
    """All files of a zip or folder, in its order, and what was left out or noticed."""

    source: Path
    entries: tuple[Entry, ...]
    notes: tuple[str, ...] = ()
    mended: tuple[str, ...] = ()

    def of(self, kind: str) -> tuple[Entry, ...]:
        if kind not in KINDS:
            raise ValueError(f"no kind {kind!r}; there are {', '.join(KINDS)}")
        return tuple(one for one in self.entries if one.kind == kind)

    @property
    def duplicates(self) -> tuple[tuple[str, ...], ...]:
        """Names with the same content, the first one first."""
        return same_content((one.name, one.digest if one.size else "") for one in self.entries)

    def counts(self) -> dict[str, int]:
        return {kind: sum(one.kind == kind for one in self.entries) for kind in KINDS}

    def read(self, entry: Entry) -> bytes:
        """
        The content of one file.

        Raises
        ------
        UsageError
            If it is encrypted or of another archive.
        InputFaults
            If it is larger than any reader takes, or has changed since it was listed.
        """
        if entry not in self.entries or entry.kind == ENCRYPTED:
            raise UsageError(f"{shorten(entry.name)} can't be read: it is encrypted, or of another archive")
        faults = FaultList(self.source.name)
        if entry.size > MOST_READ_BYTES:
            faults.add(
                entry.name,
                f"{entry.size / 1e6:.0f} MB",
                f"at most {MOST_READ_BYTES / 1e6:.0f} MB to read at once",
                "keep it as evidence",
            )
            faults.raise_if_any()
        data = b""
        try:
            with _opened(self.source, entry.path) as stream:
                data = stream.read(MOST_READ_BYTES + 1)
        except (Refused, *BROKEN) as error:
            faults.add(entry.name, str(error), "the file as it was listed", "read the archive again")
        faults.raise_if_any()
        if hashlib.sha256(data).hexdigest() != entry.digest:
            faults.add(
                entry.name,
                "another content than when it was listed",
                "a file that does not change",
                "read the archive again",
            )
        faults.raise_if_any()
        return data

    def each(self, kind: str) -> Iterator[tuple[Entry, bytes]]:
        """The files of one kind with their content, one after the other; the zip is opened once. Raises as `read` does."""
        if self.source.is_dir():
            yield from ((one, self.read(one)) for one in self.of(kind))
            return
        with ExitStack() as stack:
            try:
                archive = stack.enter_context(open_zip(stack.enter_context(self.source.open("rb"))))
            except (Refused, OSError) as error:
                raise InputFaults(
                    [Fault(self.source.name, "", shorten(str(error)), "the archive as it was listed", "read it again")]
                ) from None
            infos = archive.infolist()
            for one in self.of(kind):
                at = int(one.path[0])
                if len(one.path) == 1 and at < len(infos) and one.size <= MOST_READ_BYTES:
                    with suppress(*BROKEN, Refused):
                        check_entry(infos[at])
                        with archive.open(infos[at]) as stream:
                            data = stream.read(MOST_READ_BYTES + 1)
                        if hashlib.sha256(data).hexdigest() == one.digest:
                            yield one, data
                            continue
                yield one, self.read(one)

    def as_data(self) -> dict[str, object]:
        return {
            "source": self.source.name,
            "entries": [
                {"name": one.name, "kind": one.kind, "words": one.words, "size": one.size, "digest": one.digest, "same_as": one.same_as}
                for one in self.entries
            ],
            "counts": self.counts(), "duplicates": [list(one) for one in self.duplicates], "notes": list(self.notes),
            "mended": list(self.mended),
        }  # fmt: skip


@dataclass
class _Run:
    """The listing of one archive."""

    faults: FaultList
    repair: bool
    entries: list[Entry] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    mended: list[str] = field(default_factory=list)
    room: int = MOST_TOTAL_BYTES
    first: dict[str, str] = field(default_factory=dict)

    def refuse(self, name: str, why: Refused) -> None:
        """A fault, or with repair a file that is left out and said."""
        if self.repair:
            if len(self.mended) < MOST_FAULTS:
                self.mended.append(f"left out: {_shown(name)}: {why.got}")
        else:
            self.faults.add(
                _shown(name),
                why.got,
                why.expected,
                f"{why.remedy}; or read it with repair, which leaves it out and says so",
            )

    def keep(self, name: str, kind: str, words: str, size: int, digest: str, path: tuple[str | int, ...]) -> None:
        if len(self.entries) >= MOST_ENTRIES:
            raise Refused(f"more than {MOST_ENTRIES} files", f"at most {MOST_ENTRIES}")
        same = self.first.get(digest, "") if digest and size else ""
        if digest and size:
            self.first.setdefault(digest, name)
        self.entries.append(Entry(name, kind, words, size, digest, same, path))


def read_archive(path: Path, *, repair: bool = False) -> Contents:
    """
    List a zip or a folder by the content of its files.

    Parameters
    ----------
    repair : leave out files that may not be read (links, names that lead out, damaged or oversized ones, a name that comes twice)
        and list them in `mended`. Without it each is a fault. A bomb by its total is refused either way.

    Raises
    ------
    InputFaults
        With every fault found.
    """
    run = _Run(FaultList(path.name, MOST_FAULTS), repair)
    try:
        if path.is_dir():
            _folder(run, path)
        elif path.is_file():
            with path.open("rb") as stream:
                _zip(run, stream, "", (), 0)
        else:
            raise Refused("no plain file or folder", "a zip or a folder", "check the path")
    except Refused as why:
        raise InputFaults([Fault(path.name, "", shorten(why.got), why.expected, why.remedy)]) from None
    except OSError as error:
        words = error.strerror or "unreadable"
        raise InputFaults([Fault(path.name, "", words, "a file that can be read", "check the path")]) from None
    if not run.entries and not len(run.faults) and not run.mended:
        run.faults.add("", "nothing in it", "files of a site", "check that it is the right one")
    run.faults.raise_if_any()
    folded: dict[str, str] = {}
    for one in run.entries:
        other = folded.setdefault(one.name.casefold(), one.name)
        if other != one.name and len(run.notes) < MOST_FAULTS:
            run.notes.append(f"names that differ only in upper and lower case: {other}, {one.name}")
    for one in run.entries:
        if one.kind == ENCRYPTED and len(run.notes) < MOST_FAULTS:
            run.notes.append(f"encrypted, not read: {one.name}")
    return Contents(path, tuple(run.entries), tuple(run.notes), tuple(run.mended))


def _shown(name: str) -> str:
    return shorten(name.encode("utf-8", "replace").decode("utf-8"), 160)


def _zip(run: _Run, stream: IO[bytes], before: str, path: tuple[str | int, ...], depth: int) -> None:
    """List the files of a zip; `before` is the name of an inner one."""
    with open_zip(stream) as archive:
        infos = archive.infolist()
        run.room -= check_whole(infos, run.room)
        seen: set[str] = set()
        for at, info in enumerate(infos):
            name = before + _shown(info.filename)
            try:
                check_entry(info)
                if info.is_dir():
                    continue
                if info.filename in seen:
                    raise Refused("a name that comes twice", "each name once", "pack the files again")
                seen.add(info.filename)
                if info.flag_bits & 1:
                    run.keep(name, ENCRYPTED, "encrypted: it can't be looked into", info.file_size, "", (*path, at))
                    continue
                with archive.open(info) as inner:
                    _file(run, inner, name, (*path, at), depth)
            except Refused as why:
                run.refuse(name, why)
            except BROKEN as error:
                run.refuse(
                    name, Refused(f"damaged ({type(error).__name__}: {error})"[:160], "a sound file", "pack it again")
                )


def _file(run: _Run, stream: IO[bytes], name: str, path: tuple[str | int, ...], depth: int) -> None:
    """Stream one file: digest, size and kind; an inner zip is opened, one level deep."""
    head = stream.read(HEAD_BYTES)
    kind, words = content_kind(head, len(head))
    digest, size = hashlib.sha256(head), len(head)
    if kind != ZIP:
        while chunk := stream.read(CHUNK):
            digest.update(chunk)
            size += len(chunk)
        run.keep(name, kind, words, size, digest.hexdigest(), path)
        return
    with tempfile.SpooledTemporaryFile(max_size=SPOOL_BYTES) as spool:
        spool.write(head)
        while chunk := stream.read(CHUNK):
            digest.update(chunk)
            size += len(chunk)
            if size > MOST_NESTED_BYTES:
                raise Refused("a zip inside of more than 512 MB", "at most 512 MB", "give the inner zip by itself")
            spool.write(chunk)
        try:
            with open_zip(spool) as archive:
                names = set(archive.namelist())
        except Refused as why:
            raise Refused(f"inside it {why.got}", why.expected, why.remedy) from None
        if "[Content_Types].xml" in names and "xl/workbook.xml" in names:
            run.keep(name, WORKBOOK, "a workbook", size, digest.hexdigest(), path)
        elif "[Content_Types].xml" in names or "mimetype" in names:
            run.keep(name, UNKNOWN, "an office document that is no workbook", size, digest.hexdigest(), path)
        elif depth >= 1:
            raise Refused("a zip inside a zip inside an archive", "zips one level deep", "unpack the inner ones first")
        else:
            run.notes.append(f"a zip inside: {name}, {len(names)} entries, digest {digest.hexdigest()}")
            _zip(run, spool, f"{name}/", path, depth + 1)


def _folder(run: _Run, root: Path) -> None:
    for place, status in _walk(run, root, "", 0):
        try:
            check_name(place)
            run.room -= status.st_size
            if run.room < 0:
                raise Refused(
                    f"more than {MOST_TOTAL_BYTES / 1e9:.1f} GB", "less in one folder", "read its parts one by one"
                )
            with os.fdopen(os.open(root / place, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0)), "rb") as stream:
                if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
                    raise Refused("no plain file", "plain files", "leave it out")
                _file(run, stream, _shown(place), (place,), -1)
        except Refused as why:
            if run.room < 0:
                raise
            run.refuse(place, why)
        except OSError as error:
            run.refuse(place, Refused(error.strerror or "unreadable", "a file that can be read", "check its rights"))


def _walk(run: _Run, root: Path, below: str, depth: int) -> Iterator[tuple[str, os.stat_result]]:
    """Plain files below a folder in the order of their names; links and others are refused, none is followed."""
    if depth > MOST_DEPTH:
        run.refuse(below, Refused("folders too deep", f"at most {MOST_DEPTH} levels"))
        return
    try:
        with os.scandir(root / below) as found:
            entries = sorted(
                (one for one, _ in zip(found, range(MOST_ENTRIES + 1), strict=False)), key=lambda one: one.name
            )
    except OSError as error:
        run.refuse(
            below or ".", Refused(error.strerror or "unreadable", "a folder that can be read", "check its rights")
        )
        return
    if len(entries) > MOST_ENTRIES:
        raise Refused(f"more than {MOST_ENTRIES} files in a folder", f"at most {MOST_ENTRIES}")
    for one in entries:
        place = f"{below}/{one.name}" if below else one.name
        try:
            status = one.stat(follow_symlinks=False)
        except OSError as error:
            run.refuse(place, Refused(error.strerror or "unreadable", "a file that can be read", "check its rights"))
            continue
        if stat.S_ISLNK(status.st_mode):
            run.refuse(place, Refused("a link", "plain files", "put the file itself there"))
        elif stat.S_ISDIR(status.st_mode):
            yield from _walk(run, root, place, depth + 1)
        elif stat.S_ISREG(status.st_mode):
            yield place, status
        else:
            run.refuse(place, Refused("a device, pipe or socket", "plain files", "leave it out"))


@contextmanager
def _opened(source: Path, path: tuple[str | int, ...]) -> Iterator[IO[bytes]]:
    """The stream of one file by the way that it was found."""
    steps = list(path)
    first = source / str(steps.pop(0)) if source.is_dir() else source
    with ExitStack() as stack:
        stream: IO[bytes] = stack.enter_context(
            os.fdopen(os.open(first, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0)), "rb")
        )
        for at in steps:
            if not stream.seekable() or isinstance(stream, zipfile.ZipExtFile):
                stream = _spooled(stream, stack)
            archive = stack.enter_context(open_zip(stream))
            infos = archive.infolist()
            if not 0 <= int(at) < len(infos):
                raise Refused("fewer files than before", "the archive as it was listed")
            check_entry(infos[int(at)])
            stream = stack.enter_context(archive.open(infos[int(at)]))
        yield stream


def _spooled(stream: IO[bytes], stack: ExitStack) -> IO[bytes]:
    spool: IO[bytes] = stack.enter_context(tempfile.SpooledTemporaryFile(max_size=SPOOL_BYTES))  # noqa: SIM115
    size = 0
    while chunk := stream.read(CHUNK):
        size += len(chunk)
        if size > MOST_NESTED_BYTES:
            raise Refused("a zip inside of more than 512 MB", "at most 512 MB")
        spool.write(chunk)
    return spool


__all__ = ["Contents", "Entry", "read_archive"]
