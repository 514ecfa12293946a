"""
Everything that came from the field into the record, by what it is: sweeps, tables of traces, tables of readings, photographs, the rest.

Nothing is turned away for being unreadable: its bytes are kept, with the reason. This is the one place where it is decided what
becomes of a file.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from upmast.errors import InputFaults, UsageError, shorten
from upmast.field.readers import content_kind as kinds
from upmast.field.readers.archive import read_archive
from upmast.field.readers.mapping_memory import Memory
from upmast.field.readers.reading import Readings
from upmast.proof.prove import Proof
from upmast.record.canonical import clean_name
from upmast.record.contents import MOST_BYTES
from upmast.record.evidence import Filed, file_photo, file_read, file_sweep
from upmast.record.kinds import FileKept, TableKept, make
from upmast.record.record import Writing
from upmast.record.tables_read import Asked, read_new, readings_again, table_kept, trace_letters, traces_again

MOST_FILES = 10_000
CANT_BE_READ, ASKED = "can't be read: ", "asked: "  # how the note of a kept file begins
HEAD_BYTES = kinds.HEAD_BYTES


@dataclass(frozen=True, slots=True)
class Given:
    """One file as it was given: its name, what it is by its content, and its bytes; `why` says why it has none."""

    name: str
    kind: str
    data: bytes = b""
    why: str = ""


def given_in(paths: Iterable[Path], *, repair: bool = False) -> Iterator[Given]:
    """
    Every file of some files, folders and zips, one at a time.

    Raises
    ------
    UsageError
        If a path is not there, or there are too many files.
    InputFaults
        If a zip or folder holds what may not be read, such as links; with `repair` it is left out.
    """
    count = 0
    for path in paths:
        for one in _given(path, repair):
            count += 1
            if count > MOST_FILES:
                raise UsageError(f"more than {MOST_FILES} files: give them folder by folder")
            yield one
    if not count:
        raise UsageError("no files there")


def _given(path: Path, repair: bool) -> Iterator[Given]:
    if not path.exists():
        raise UsageError(f"{path} does not exist")
    if path.is_dir() or _kind(path) == kinds.ZIP:
        contents = read_archive(path, repair=repair)
        for entry in contents.entries:
            if entry.kind == kinds.ENCRYPTED or entry.size > MOST_BYTES:
                why = "encrypted" if entry.kind == kinds.ENCRYPTED else f"larger than {MOST_BYTES // 1_000_000} MB"
                yield Given(entry.name, entry.kind, why=f"{why}: it can't be kept")
            else:
                yield Given(entry.name, entry.kind, contents.read(entry))
        return
    with path.open("rb") as stream:
        data = stream.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        yield Given(path.name, kinds.UNKNOWN, why=f"larger than {MOST_BYTES // 1_000_000} MB: it can't be kept")
    else:
        yield Given(path.name, kinds.content_kind(data[:HEAD_BYTES], len(data))[0], data)


def _kind(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
    except OSError as error:
        raise UsageError(f"{path} can't be read: {error.strerror}") from None
    found = kinds.content_kind(head, len(head))[0]
    if found != kinds.ZIP:
        return found
    import zipfile

    try:  # a workbook is a zip as well: one file, and no archive
        with zipfile.ZipFile(path) as archive:
            return kinds.WORKBOOK if "[Content_Types].xml" in archive.namelist()[:10_000] else kinds.ZIP
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return kinds.ZIP  # the reader of archives says what is wrong with it


@dataclass
class _Run:
    """One filing: what all files share, and the tables that wait to be judged together."""

    site: Writing
    proof: Proof
    memory: Memory | None
    instrument: str
    measured: str
    repair: bool
    subjects: dict[str, str]
    tables: list[tuple[Readings, TableKept]] = field(default_factory=list)
    names: set[str] = field(default_factory=set)


def file_all(
    site: Writing, proof: Proof, given: Iterable[Given], *, test: str = "", memory: Memory | None = None,
    instrument: str = "", measured: str = "", repair: bool = False,
) -> tuple[Filed, ...]:  # fmt: skip
    """
    Keep everything that was given, and as much as can be said of it.

    Parameters
    ----------
    test : id of the test of a single sweep, where a person says so.
    memory : what was decided about the columns of earlier tables.
    instrument, measured : as declared, where the files do not say it.

    Raises
    ------
    UsageError
        If the line is of another site.
    """
    if proof.line.site != site.site:
        raise UsageError(f"the line is of site {proof.line.site}, and the record is asked to write to {site.site}")
    run = _Run(site, proof, memory, instrument, measured, repair, _subjects(proof))
    out: list[Filed] = []
    for one in given:
        out += _file(run, one, test)
    if run.tables:
        from upmast.record.readings import file_readings

        out += file_readings(site, proof, run.tables, instrument=instrument)
    return tuple(out)


def _file(run: _Run, one: Given, test: str) -> Iterator[Filed]:
    shown = clean_name(one.name)
    if one.why:
        yield Filed(shown, "", words=one.why)
    elif one.kind == kinds.TOUCHSTONE:
        yield file_sweep(
            run.site, run.proof, one.data, shown, test=test, repair=run.repair, measured=run.measured, instrument=run.instrument
        )  # fmt: skip
    elif one.kind in (kinds.TABLE, kinds.WORKBOOK):
        yield from _table(run, one.data, shown, test)
    elif one.kind == kinds.PHOTO:
        yield _photo(run, one.data, shown)
    else:
        yield _other(run, one.data, shown, "report" if one.kind == kinds.PDF else "other", "kept as it is")


def _other(run: _Run, data: bytes, shown: str, sort: str, note: str) -> Filed:
    content = run.site.keep(data)
    run.site.add(make(FileKept, name=shown, content=content, sort=sort, note=note))
    return Filed(shown, content, words=note)


def _table(run: _Run, data: bytes, shown: str, test: str) -> Iterator[Filed]:
    """A table of traces is filed at once; one of readings waits for the others."""
    name = _free(run, shown)
    try:
        _, how = read_new(data, name, run.memory, run.repair)
        if how.form == "values":
            content = run.site.keep(data)
            run.tables.append((readings_again(data, name, how), table_kept(name, content, how)))
            return
        sweeps = traces_again(data, name, how)
    except Asked as question:
        yield _other(run, data, shown, "sheet", shorten(f"{ASKED}{question}", 900))
        return
    except InputFaults as error:
        words = shorten(str(error.faults[0]).replace("\n", " "), 400)
        yield _other(run, data, shown, "sheet", f"{CANT_BE_READ}{words}")
        return
    run.site.keep(data)
    for letters, sweep in zip(trace_letters(how), sweeps, strict=True):
        yield file_read(
            run.site, run.proof, sweep, name, test=test, measured=run.measured, instrument=run.instrument,
            read_as=how.model_copy(update={"column": letters}),
        )  # fmt: skip


def _free(run: _Run, shown: str) -> str:
    """A name that no other table of this filing has: readings are found again by the name of their file."""
    name, n = shown, 2
    while name in run.names:
        stem, dot, end = shown.rpartition(".")
        name, n = (f"{stem} ({n}).{end}" if dot else f"{shown} ({n})"), n + 1
    run.names.add(name)
    return name


def _photo(run: _Run, data: bytes, shown: str) -> Filed:
    subject = subject_in(shown, run.subjects)
    if not subject:
        return _other(
            run, data, shown, "other", "a photograph whose name says no item: add it with `upmast record photo`"
        )
    file_photo(run.site, data, shown, subject=subject, shows="what its name says", taken=run.measured)
    return Filed(shown, run.site.keep(data), words=f"a photograph of {subject}, by its name", sort="photo")


def _subjects(proof: Proof) -> dict[str, str]:
    names = [*(item.id for item in proof.line.items), *(one.id for one in proof.expectations)]
    return {name.upper(): name for name in names}


def subject_in(name: str, subjects: dict[str, str]) -> str:
    """
    The item or test that the name of a file says as a whole word; the longest where it says several, '' where it says none.

    >>> subject_in("IMG_0042 A2-J1 sealed.jpg", {"A2": "A2", "A2-J1": "A2-J1"})
    'A2-J1'
    """
    text = name.upper()
    said = [one for one in subjects if re.search(rf"(?<![A-Z0-9-]){re.escape(one)}(?![A-Z0-9-])", text)]
    return subjects[max(said, key=len)] if said else ""


__all__ = ["ASKED", "CANT_BE_READ", "Given", "file_all", "given_in", "subject_in"]
