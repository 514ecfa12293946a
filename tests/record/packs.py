"""Closeouts of the small invented line, written whole, and ways to change what is in their zips."""

from __future__ import annotations

import importlib.util
import io
import json
import tempfile
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from upmast.line.save import dump, dump_parts
from upmast.proof.prove import Proof
from upmast.record.archive import Archive
from upmast.record.bundle import names_digest
from upmast.record.canonical import canonical, sha256
from upmast.record.chain import NOTHING, link
from upmast.record.closeout import closeout_of
from upmast.record.closeout_write import BUNDLE, JSON, MANIFEST, Written, documents_of, write_closeout
from upmast.record.closeout_write import SITE as SITE_FOLDER
from upmast.record.intake import entries_in
from upmast.record.kinds import FileKept, make
from upmast.record.layers import keep_line
from upmast.record.recheck import proof_of
from upmast.record.record import Record
from upmast.record.review import review_of
from upmast.record.whole import Whole, whole_of

_spec = importlib.util.spec_from_file_location("field_texts", Path(__file__).parent.parent / "field" / "conftest.py")
assert _spec is not None
assert _spec.loader is not None
_texts = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_texts)

SITE = _texts.SITE.replace(
    "height_m: 30}]",
    "height_m: 30, antenna: A-ANT, antenna_ports: [Y1, Y2]}]\nantennas: [{id: A-ANT, sector: A, part: antenna, height_m: 31}]",
)
MADE = datetime(2026, 5, 6, 12, 0, tzinfo=UTC)
DAY = date(2026, 5, 6)
Members = dict[str, bytes]


def files_of(proof: Proof) -> dict[str, bytes]:
    """The files of the site, as a folder would hold them."""
    return {
        "site.yaml": SITE.encode(), "line.yaml": dump(proof.line).encode(), "parts.yaml": dump_parts(proof.line).encode(),
        "catalogue-01.yaml": _texts.PARTS.encode(),
    }  # fmt: skip


def whole_proof(proof: Proof) -> Proof:
    """The proof as a second party makes it, from the files alone."""
    return proof_of(files_of(proof))


def keep_files(record: Record, proof: Proof) -> None:
    with record.writing("S1", "K. Ode") as writing:
        keep_line(writing, proof.line)
        writing.add(make(FileKept, name="site.yaml", content=writing.keep(SITE.encode()), sort="site"))


def write(record: Record, proof: Proof, place: Path, since: Any = None) -> Written:
    closeout = closeout_of(proof, whole_of(record, "S1"), DAY, since=since)
    review = review_of(closeout, record.content, sha256(files_of(proof)["site.yaml"]))
    return write_closeout(review, record, files_of(proof), place, made=MADE)


def members(place: Path | io.BytesIO) -> Members:
    with zipfile.ZipFile(place) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(files: Members) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return buffer.getvalue()


def sealed(files: Members) -> Members:
    """The same with a manifest that fits, as somebody would make it who knows the form."""
    manifest = json.loads(files[MANIFEST])
    manifest["files"] = {
        name: {"sha256": sha256(data), "bytes": len(data)} for name, data in files.items() if name != MANIFEST
    }
    return files | {MANIFEST: canonical(manifest).encode() + b"\n"}


def with_results(files: Members, change: Callable[[dict[str, Any]], None]) -> Members:
    results = json.loads(files[JSON])
    change(results)
    return files | {JSON: canonical(results).encode() + b"\n"}


def made_again(files: Members) -> Members:
    """Document, workbook, table and results made anew from whatever the record in the pack says, as a patient forger would."""
    results = json.loads(files[JSON])
    proof = proof_of(
        {name.removeprefix(SITE_FOLDER): data for name, data in files.items() if name.startswith(SITE_FOLDER)}
    )
    with tempfile.TemporaryDirectory() as folder:
        bundle = Path(folder) / BUNDLE
        bundle.write_bytes(files[BUNDLE])
        with Archive(bundle) as archive:
            closeout = closeout_of(proof, Whole("S1", tuple(entries_in(archive, "S1"))), DAY)
            review = review_of(closeout, archive.content, sha256(files[f"{SITE_FOLDER}site.yaml"]))
            made = documents_of(review, MADE, results["program"])
    outer = json.loads(files[MANIFEST]) | {"head": str(closeout.head), "verdict": str(closeout.verdict)}
    return files | made | {MANIFEST: canonical(outer).encode() + b"\n"}


def with_entries(files: Members, change: Callable[[list[list[Any]]], None]) -> Members:
    """The chain rewritten as a whole after a change, with every digest and manifest made anew."""
    bundle = members(io.BytesIO(files[BUNDLE]))
    rows = [json.loads(line) for line in bundle["sites/S1.jsonl"].splitlines()]
    change(rows)
    previous, out = NOTHING, []
    for number, row in enumerate(rows, 1):
        time, author, program, kind, body = (str(value) for value in row[2:7])
        digest = link("S1", number, previous, time, author, program, kind, body)
        out.append(canonical([number, previous, time, author, program, kind, body, digest]).encode() + b"\n")
        previous = digest
    text = b"".join(out)
    have = {name[9:]: len(data) for name, data in bundle.items() if name.startswith("contents/")}
    manifest = json.loads(bundle["manifest.json"])
    manifest["sites"]["S1"] = {"entries": len(rows), "head": previous, "sha256": sha256(text), "bytes": len(text)}
    manifest["contents"] = {"count": len(have), "bytes": sum(have.values()), "sha256": names_digest(have)}
    bundle |= {"sites/S1.jsonl": text, "manifest.json": canonical(manifest).encode() + b"\n"}
    head = f"S1/{len(rows)}/{previous}"
    made = with_results(files, lambda results: results.update(head=head))
    outer = json.loads(files[MANIFEST]) | {"head": head}
    return made | {BUNDLE: packed(bundle), MANIFEST: canonical(outer).encode() + b"\n"}
