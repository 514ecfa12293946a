"""
Write the pack of a site: every document, the machine-readable findings, copies of the site's files, and a manifest of digests.

The pack is written beside its place and moved there when it is whole, so that a reader never sees half of one.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import shutil
import tempfile
from collections.abc import Callable
from datetime import datetime
from importlib import metadata
from pathlib import Path
from typing import Any

from upmast.catalogue.catalogue import Catalogue
from upmast.documents.acceptance import plan_book
from upmast.documents.calc_sheet import calc_sheet
from upmast.documents.drawing import drawing
from upmast.documents.fibre_cards import fibre_cards
from upmast.documents.fibre_pages import card_pictures
from upmast.documents.hand_over import hand_over_csv
from upmast.documents.install import install_book, install_sheets
from upmast.documents.kit_list import kit_list
from upmast.documents.marks import stamp_of
from upmast.documents.port_map import port_map
from upmast.documents.to_pdf import pdf_bytes
from upmast.documents.to_svg import svg
from upmast.documents.to_xlsx import xlsx_bytes
from upmast.errors import UsageError
from upmast.finding import Figure, Finding, Limit, Stage, Verdict
from upmast.line.optical import optical
from upmast.proof.closing import closings_data, closings_of, has_closings
from upmast.proof.earth_plan import earth_of, has_earth
from upmast.proof.earth_words import earth_data
from upmast.proof.jumpers import has_jumpers, jumpers_data, jumpers_of
from upmast.proof.light import has_light, light_of
from upmast.proof.light_words import light_data
from upmast.proof.mast_lines import has_mast_lines, mast_data, mast_lines_of
from upmast.proof.mixes import has_mixes, mixes_data, mixes_of
from upmast.proof.prove import Proof
from upmast.proof.supply import has_supply, supply_of
from upmast.proof.supply_words import supply_data

Clock = Callable[[], datetime]
Progress = Callable[[str, int, int], None]
FOLDER = "pack"
MANIFEST = "manifest.json"
COPIED = ("site.yaml", "line.yaml", "parts.yaml")
FORMAT = 1
MOST_BYTES = 64_000_000  # of one file that is copied or verified
MOST_FILES = 200


def write_pack(
    site_folder: Path,
    proof: Proof,
    *,
    clock: Clock,
    progress: Progress | None = None,
    catalogue: Catalogue | None = None,
) -> dict[str, Any]:
    """
    Write `pack/` in a site folder and return its manifest.

    Parameters
    ----------
    clock : gives the time of issue; equal content and time give equal bytes.
    progress : called with the name of each file before it is made, its number and how many there are.
    catalogue : prices the other sizes of cable that the calculation sheet compares.

    Raises
    ------
    UsageError
        If the folder does not exist or can't be written, the disk is full, or a file to be copied is too large; an older pack
        is still there.
    """
    if not site_folder.is_dir():
        raise UsageError(f"{site_folder} is not a folder: give the folder of a site")
    now = clock()
    makers = _makers(site_folder, proof, now, catalogue)
    place = site_folder / FOLDER
    try:
        work = Path(tempfile.mkdtemp(prefix=".pack-", dir=site_folder))
    except OSError as error:
        raise UsageError(f"{site_folder} can't be written: {error.strerror}; nothing was changed") from None
    try:
        files: dict[str, dict[str, Any]] = {}
        for number, (name, make) in enumerate(makers.items(), 1):
            if progress is not None:
                progress(name, number, len(makers))
            content = make()
            _write(work / name, content)
            files[name] = {"sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)}
        manifest = _manifest(proof, now, files)
        _write(work / MANIFEST, _json(manifest))
        os.chmod(work, 0o755)
        _move(work, place)
    except OSError as error:
        shutil.rmtree(work, ignore_errors=True)
        raise UsageError(f"{place} can't be made: {error.strerror or error}; nothing was changed") from None
    except BaseException:
        shutil.rmtree(work, ignore_errors=True)
        raise
    return manifest


def _move(work: Path, place: Path) -> None:
    """Put a whole pack in its place; the old one goes only when the new one is there."""
    if place.is_symlink() or (place.exists() and not place.is_dir()):
        raise UsageError(f"{place} is not a folder: move it away, then make the pack again")
    if not place.exists():
        os.replace(work, place)
        return
    old = Path(tempfile.mkdtemp(prefix=".pack-old-", dir=place.parent))
    try:
        os.replace(place, old / FOLDER)
        try:
            os.replace(work, place)
        except OSError:
            os.replace(old / FOLDER, place)
            raise
    finally:
        shutil.rmtree(old, ignore_errors=True)


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _makers(
    site_folder: Path, proof: Proof, now: datetime, catalogue: Catalogue | None
) -> dict[str, Callable[[], bytes]]:
    """Every file of a pack and what makes it, in order."""
    site, line, stamp = proof.site, proof.line, stamp_of(proof)
    issued = f"{now:%Y-%m-%d %H:%M} {now.tzname() or ''}".strip()
    makers: dict[str, Callable[[], bytes]] = {
        "kit-list.xlsx": lambda: xlsx_bytes(kit_list(site, line, stamp), now),
        "port-map.xlsx": lambda: xlsx_bytes(port_map(site, line, stamp), now),
        "test-plan.xlsx": lambda: xlsx_bytes(plan_book(proof, stamp), now),
        "install.xlsx": lambda: xlsx_bytes(
            install_book(site, line, mast_lines_of(proof), stamp, install_sheets(proof, stamp)), now
        ),
        "hand-over.csv": lambda: hand_over_csv(mast_lines_of(proof), site, line, stamp),
        "drawing.svg": lambda: svg(drawing(proof, issued)).encode(),
        "calculation-sheet.pdf": lambda: pdf_bytes(
            calc_sheet(proof, svg(drawing(proof, issued)), issued, catalogue=catalogue), now
        ),
        "fibre-cards.pdf": lambda: pdf_bytes(fibre_cards(proof, issued, card_pictures(proof)), now),
        "findings.json": lambda: _lines(
            findings_data(proof)
            | _supply_data(proof, catalogue)
            | _light_data(proof)
            | _rf_data(proof)
            | _pim_data(proof)
            | _mast_data(proof)
            | _weather_data(proof)
            | _earth_data(proof)
        ),
    }
    if not optical(line).ports:
        del makers["fibre-cards.pdf"]
    if not has_mast_lines(proof):
        del makers["install.xlsx"], makers["hand-over.csv"]
    for name in COPIED:
        source = site_folder / name
        if source.is_file():
            makers[name] = _copier(source)
    return makers


def _supply_data(proof: Proof, catalogue: Catalogue | None) -> dict[str, Any]:
    return {"supply": supply_data(supply_of(proof, catalogue))} if has_supply(proof) else {}


def _light_data(proof: Proof) -> dict[str, Any]:
    return {"fibre": light_data(light_of(proof))} if has_light(proof) else {}


def _rf_data(proof: Proof) -> dict[str, Any]:
    return {"rf": jumpers_data(jumpers_of(proof))} if has_jumpers(proof) else {}


def _pim_data(proof: Proof) -> dict[str, Any]:
    return {"pim": mixes_data(mixes_of(proof))} if has_mixes(proof) else {}


def _mast_data(proof: Proof) -> dict[str, Any]:
    return {"support": mast_data(mast_lines_of(proof))} if has_mast_lines(proof) else {}


def _weather_data(proof: Proof) -> dict[str, Any]:
    return {"weather": closings_data(closings_of(proof))} if has_closings(proof) else {}


def _earth_data(proof: Proof) -> dict[str, Any]:
    return {"earth": earth_data(earth_of(proof))} if has_earth(proof) else {}


def _copier(source: Path) -> Callable[[], bytes]:
    def read() -> bytes:
        if source.stat().st_size > MOST_BYTES:
            raise UsageError(f"{source} is larger than {MOST_BYTES // 1_000_000} MB: too large to be a file of a site")
        return source.read_bytes()

    return read


def _json(data: object) -> bytes:
    return (json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode()


def _lines(data: dict[str, Any]) -> bytes:
    """JSON with one entry of a list on each line: small, and two packs can be compared line by line."""
    parts = []
    for name, value in data.items():
        if isinstance(value, list):
            rows = ",\n".join(json.dumps(row, ensure_ascii=False, allow_nan=False) for row in value)
            text = f"[\n{rows}\n]"
        else:
            text = json.dumps(value, ensure_ascii=False, allow_nan=False)
        parts.append(f"{json.dumps(name)}: {text}")
    return ("{\n" + ",\n".join(parts) + "\n}\n").encode()


def version() -> str:
    try:
        return metadata.version("upmast")
    except metadata.PackageNotFoundError:  # run from a tree that was never installed
        return "unknown"


def _manifest(proof: Proof, now: datetime, files: dict[str, dict[str, Any]]) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "tool": f"upmast {version()}",
        "issued": now.isoformat(),
        "site": proof.site.id,
        "radio_plan_revision": proof.site.revision,
        "line_revision": proof.line.revision,
        "line_layer": str(proof.line.layer),
        "line_digest": proof.line.digest,
        "verdict": str(proof.verdict(Stage.DESIGN)),
        "counts": {str(verdict): proof.count(verdict) for verdict in Verdict},
        "stamp": stamp_of(proof),
        "files": files,
    }


# --- findings as data -------------------------------------------------------------------------------------------------


def findings_data(proof: Proof) -> dict[str, Any]:
    """Findings, figures, limits, scenarios and expectations as plain data; what is not a number is null."""
    return {
        "format": FORMAT,
        "site": proof.site.id,
        "line_revision": proof.line.revision,
        "line_digest": proof.line.digest,
        "verdict": str(proof.verdict(Stage.DESIGN)),
        "scenarios": [
            {
                "id": s.id, "title": s.title, "bus_v": s.bus_v, "ambient_c": s.ambient_c, "sun_w_per_m2": s.sun_w_per_m2,
                "load_fraction": s.load_fraction, "wind_m_per_s": s.wind_m_per_s, "fault": s.fault,
            }
            for s in proof.scenarios
        ],
        "limits": [limit_data(limit) for _, limit in sorted(proof.limits.table.items())],
        "findings": [finding_data(f) for f in proof.findings],
        "figures": [figure_data(f) for f in proof.figures],
        "expectations": [
            {
                "id": e.id, "subject": e.subject, "title": e.title, "quantity": e.quantity, "unit": e.unit, "set_up": e.set_up,
                "where": e.where, "axis_name": e.axis_name, "axis_unit": e.axis_unit, "axis": [_number(v) for v in e.axis],
                "low": [_number(v) for v in e.low], "high": [_number(v) for v in e.high],
                "limit": limit_data(e.limit) if e.limit else None,
            }
            for e in proof.expectations
        ],
    }  # fmt: skip


def _number(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None


def limit_data(limit: Limit) -> dict[str, Any]:
    return {
        "code": limit.code, "value": _number(limit.value), "unit": limit.unit, "sense": str(limit.sense),
        "authority": str(limit.authority), "source": str(limit.source), "mark": str(limit.source.mark), "stage": str(limit.stage),
    }  # fmt: skip


def finding_data(f: Finding) -> dict[str, Any]:
    return {
        "key": f.key, "code": f.code, "subject": f.subject, "stage": str(f.stage), "verdict": str(f.verdict),
        "value": _number(f.value), "unit": f.unit, "limit": limit_data(f.limit) if f.limit else None,
        "margin": _number(f.margin), "share": _number(f.normalised_margin), "scenario": f.scenario, "note": f.note,
        "remedy": f.remedy, "missing": list(f.missing), "items": list(f.items),
    }  # fmt: skip


def figure_data(f: Figure) -> dict[str, Any]:
    return {
        "key": f.key, "code": f.code, "subject": f.subject, "value": _number(f.value), "unit": f.unit, "scenario": f.scenario,
        "note": f.note, "source": str(f.source), "items": list(f.items),
    }  # fmt: skip


# --- verify -----------------------------------------------------------------------------------------------------------


def verify_pack(folder: Path) -> list[str]:
    """
    What differs between a pack and its manifest, in words; empty if nothing does.

    Raises
    ------
    UsageError
        If there is no manifest, or it can't be read as one.
    """
    files = _listed(folder / MANIFEST)
    out: list[str] = []
    for name, told in files.items():
        path = folder / name
        if not _plain(name):
            out.append(f"{name!r}: not the name of a file inside the pack")
        elif path.is_symlink() or not path.is_file():
            out.append(f"{name}: missing")
        elif path.stat().st_size != told.get("bytes"):
            out.append(f"{name}: {path.stat().st_size} bytes, the manifest says {told.get('bytes')}")
        elif path.stat().st_size > MOST_BYTES or hashlib.sha256(path.read_bytes()).hexdigest() != told.get("sha256"):
            out.append(f"{name}: content changed since it was issued")
    known = set(files) | {MANIFEST}
    out += [f"{path.name}: not in the manifest" for path in sorted(folder.iterdir()) if path.name not in known]
    return out


def _plain(name: str) -> bool:
    return name not in ("", ".", "..") and "/" not in name and "\\" not in name and "\0" not in name


def _listed(path: Path) -> dict[str, dict[str, Any]]:
    if path.is_symlink() or not path.is_file():
        raise UsageError(f"{path} is missing: this is not a pack")
    if path.stat().st_size > 1_000_000:
        raise UsageError(f"{path} is too large to be the manifest of a pack")
    try:
        data = json.loads(path.read_bytes())
        files = data["files"]
        good = isinstance(files, dict) and len(files) <= MOST_FILES and all(isinstance(v, dict) for v in files.values())
    except (ValueError, KeyError, TypeError, RecursionError):
        good = False
    if not good:
        raise UsageError(f"{path} can't be read as the manifest of a pack")
    return dict(files)
