"""
Take sites out of a record: one zip with a manifest, the chains as text, and the raw files by digest.

    manifest.json            format, program, time, and of each site its head and the digest of its file
    sites/S1.jsonl           the entries of a site, one a line, exactly as they are chained
    contents/<digest>        raw files

A backup is the same with every site in it, whatever the kind of database. The same record and time give the same bytes.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO, Any

from upmast.errors import UsageError
from upmast.record.canonical import canonical, check_site, sha256, timestamp
from upmast.record.chain import Entry, Head, breaks
from upmast.record.database import Connection
from upmast.record.record import Record
from upmast.record.store import chain_of, content, head_of

FORMAT = "upmast record bundle 1"
MANIFEST = "manifest.json"
THEN = (1980, 1, 1, 0, 0, 0)  # of every member: the time stands in the manifest


def write_bundle(
    record: Record, place: Path, sites: Iterable[str] = (), *, replace: bool = False
) -> tuple[Head, ...]:  # fmt: skip
    """
    Write some sites, or all, into one zip, and return their heads.

    It is written beside its place, read again and checked as an import would, and only then put there.

    Raises
    ------
    UsageError
        If a site is not known or its chain is not whole, a raw file is missing or changed, the place is taken or can't be
        written; nothing is left behind.
    """
    from upmast.record.intake import check_bundle

    if place.exists() and not replace:
        raise UsageError(f"{place} is there already: it is not overwritten without being asked to")
    wanted = tuple(dict.fromkeys(check_site(site) for site in sites)) or record.sites()
    if not wanted:
        raise UsageError("the record is empty: there is nothing to take out")
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
        with os.fdopen(handle, "wb") as file:
            heads = _write(record, wanted, file)
            file.flush()
            os.fsync(file.fileno())
        check_bundle(Path(temporary))
        os.chmod(temporary, 0o644)
        os.replace(temporary, place)
        temporary = ""
    except OSError as error:
        raise UsageError(f"{place} can't be written: {error.strerror or error}; nothing was changed") from None
    finally:
        if temporary:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
    return heads


def backup(record: Record, place: Path, *, replace: bool = False) -> tuple[Head, ...]:
    """Every site of a record in one zip, checked; `intake.restore` makes a record of it again. Raises UsageError."""
    return write_bundle(record, place, replace=replace)


def _write(record: Record, sites: tuple[str, ...], file: IO[bytes]) -> tuple[Head, ...]:
    told: dict[str, dict[str, Any]] = {}
    heads = []
    wanted: set[str] = set()
    size = 0
    with (
        record.database.reading() as connection,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, allowZip64=True) as archive,
    ):
        for site in sorted(sites):
            head = head_of(connection, site)
            if not head.entries:
                raise UsageError(f"the record has no site {site}")
            state, length = hashlib.sha256(), 0
            with archive.open(_member(f"sites/{site}.jsonl"), "w", force_zip64=True) as stream:
                for line in _lines(connection, head, wanted):
                    stream.write(line)
                    state.update(line)
                    length += len(line)
            heads.append(head)
            told[site] = {"entries": head.entries, "head": head.digest, "sha256": state.hexdigest(), "bytes": length}
        for digest in sorted(wanted):
            data = content(connection, digest, record.folder)
            size += len(data)
            archive.writestr(_member(f"contents/{digest}"), data)
        manifest = {
            "format": FORMAT, "program": record.program, "made": timestamp(record.clock()), "sites": told,
            "contents": {"count": len(wanted), "bytes": size, "sha256": names_digest(wanted)},
        }  # fmt: skip
        archive.writestr(_member(MANIFEST), canonical(manifest).encode("utf-8") + b"\n")
    return tuple(heads)


def names_digest(digests: Iterable[str]) -> str:
    """One digest for a set of raw files."""
    return sha256("\n".join(sorted(digests)).encode())


def _member(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, THEN)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = 0o100644 << 16
    return info


def _lines(connection: Connection, head: Head, wanted: set[str]) -> Iterator[bytes]:
    """The entries of a site as lines; a chain that is not whole is not taken out."""
    first = next(breaks(chain_of(connection, head.site), head), None)
    if first is not None:
        raise UsageError(f"the record is not whole: {first}; nothing was taken out")
    for entry in chain_of(connection, head.site):
        yield line_of(entry, wanted)


def line_of(entry: Entry, wanted: set[str]) -> bytes:
    """One entry as a line of text; the raw files that it names are noted."""
    wanted |= set(entry.said.contents())
    row = [
        entry.number, entry.previous, entry.time, entry.author, entry.program, entry.kind, entry.body, entry.digest,
    ]  # fmt: skip
    return canonical(row).encode("utf-8") + b"\n"
