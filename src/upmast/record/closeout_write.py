"""
Write a closeout: a folder with the document, the workbook, the results, and one zip from which a second party judges all of it again.

    closeout.pdf  closeout.xlsx  results.csv  results.json
    closeout.zip   manifest.json, the four above, record.zip (the bundle of the record, with every raw file),
                   site/site.yaml, line.yaml, parts.yaml and what else the proof is made from

The folder is written beside its place and moved there when it is whole: a reader never sees half of one.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from upmast.documents.to_csv import csv_bytes
from upmast.documents.to_pdf import pdf_bytes
from upmast.documents.to_xlsx import xlsx_bytes
from upmast.errors import UsageError
from upmast.record.bundle import THEN, write_bundle
from upmast.record.canonical import canonical, sha256, timestamp
from upmast.record.closeout_data import FORMAT, results_data
from upmast.record.closeout_matters import Review
from upmast.record.closeout_pages import closeout_document
from upmast.record.closeout_sheets import full_table, results_book
from upmast.record.record import Record

PDF, XLSX, CSV, JSON, ZIP = "closeout.pdf", "closeout.xlsx", "results.csv", "results.json", "closeout.zip"
FILES = (PDF, XLSX, CSV, JSON, ZIP)
MANIFEST, BUNDLE, SITE = "manifest.json", "record.zip", "site/"


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: the folder, its files with digest and size, and the manifest of the zip."""

    place: Path
    files: Mapping[str, tuple[str, int]]
    manifest: Mapping[str, Any]


def write_closeout(
    review: Review, record: Record, site_files: Mapping[str, bytes], place: Path, *, made: datetime
) -> Written:  # fmt: skip
    """
    Write all of a closeout into a folder of its own.

    Parameters
    ----------
    site_files : what the proof was made from, by name: site.yaml, line.yaml, parts.yaml, catalogue-1.yaml and so on.
    made : the time of making; equal content and time give equal bytes.

    Raises
    ------
    UsageError
        If the record is not whole, a raw file is missing, or the place can't be written or holds something else; what stood there
        before stands there still.
    """
    check_place(place)
    made = made.astimezone(UTC).replace(microsecond=0)  # as it is kept, so that the same can be made again
    place.parent.mkdir(parents=True, exist_ok=True)
    try:
        work = Path(tempfile.mkdtemp(prefix=".closeout-", dir=place.parent))
    except OSError as error:
        raise UsageError(f"{place.parent} can't be written: {error.strerror}; nothing was changed") from None
    try:
        manifest = _fill(work, review, record, site_files, made)
        files = {name: _told(work / name) for name in FILES}
        os.chmod(work, 0o755)
        _move(work, place)
    except OSError as error:
        raise UsageError(f"{place} can't be made: {error.strerror or error}; nothing was changed") from None
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return Written(place, files, manifest)


def check_place(place: Path) -> None:
    """Raise UsageError where something else than an older closeout stands: it is not replaced."""
    if place.is_symlink() or (place.exists() and not place.is_dir()):
        raise UsageError(f"{place} is not a folder: give the name of a folder for the closeout")
    if place.is_dir():
        strange = sorted(path.name for path in place.iterdir() if path.name not in FILES)
        if strange:
            raise UsageError(f"{place} holds {strange[0]!r}, which is of no closeout: give a folder of its own")


def _fill(
    work: Path, review: Review, record: Record, site_files: Mapping[str, bytes], made: datetime
) -> dict[str, Any]:
    program, site = record.program, review.closeout.proof.site.id
    documents = documents_of(review, made, program)
    for name, content in documents.items():
        _write(work / name, content)
    bundle = work / BUNDLE
    (head,) = write_bundle(record, bundle, [site])
    if head != review.closeout.head:
        raise UsageError("somebody wrote to the record meanwhile: make the closeout again; nothing was changed")
    parts = documents | {f"{SITE}{name}": content for name, content in sorted(site_files.items())}
    files = {name: {"sha256": sha256(content), "bytes": len(content)} for name, content in parts.items()}
    digest, size = _told(bundle)
    files[BUNDLE] = {"sha256": digest, "bytes": size}
    manifest = {
        "format": FORMAT, "program": program, "made": timestamp(made), "site": site, "head": str(review.closeout.head),
        "line": review.closeout.proof.line.digest, "verdict": str(review.closeout.verdict), "files": files,
        "writers": writers(),
    }  # fmt: skip
    with zipfile.ZipFile(work / ZIP, "w", zipfile.ZIP_DEFLATED, allowZip64=True) as archive:
        archive.writestr(_member(MANIFEST), canonical(manifest).encode() + b"\n")
        for name, content in parts.items():
            archive.writestr(_member(name), content)
        with (
            bundle.open("rb") as source,
            archive.open(_member(BUNDLE, zipfile.ZIP_STORED), "w", force_zip64=True) as target,
        ):
            shutil.copyfileobj(source, target, 1 << 20)
    bundle.unlink()
    _sync(work / ZIP)
    return manifest


def documents_of(review: Review, made: datetime, program: str) -> dict[str, bytes]:
    """
    Document, workbook, table and results by name. Equal content, time, program and writers give equal bytes, so that a second party
    makes them again and compares them.
    """
    data = results_data(review, program) | {"made": timestamp(made)}
    return {
        PDF: pdf_bytes(closeout_document(review, made, program), made),
        XLSX: xlsx_bytes(results_book(review, program), made),
        CSV: csv_bytes(full_table(review.closeout), (review.closeout.words, f"head {review.closeout.head}")),
        JSON: canonical(data).encode() + b"\n",
    }


def writers() -> dict[str, str]:
    """What the document and the workbook are written with: another version may give other bytes for the same content."""
    return {name: f"{tool} {version(tool)}" for name, tool in ((PDF, "typst"), (XLSX, "xlsxwriter"))}


def _member(name: str, method: int = zipfile.ZIP_DEFLATED) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, THEN)
    info.compress_type = method
    info.external_attr = 0o100644 << 16
    return info


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _sync(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())


def _told(path: Path) -> tuple[str, int]:
    """Digest and size of a file, read in parts."""
    import hashlib

    state, size = hashlib.sha256(), 0
    with path.open("rb") as file:
        while chunk := file.read(1 << 20):
            state.update(chunk)
            size += len(chunk)
    return state.hexdigest(), size


def _move(work: Path, place: Path) -> None:
    """Put the whole folder in its place; an older closeout goes only when the new one is there."""
    if not place.exists():
        os.replace(work, place)
        return
    old = Path(tempfile.mkdtemp(prefix=".closeout-old-", dir=place.parent))
    try:
        os.replace(place, old / place.name)
        try:
            os.replace(work, place)
        except OSError:
            os.replace(old / place.name, place)
            raise
    finally:
        shutil.rmtree(old, ignore_errors=True)
