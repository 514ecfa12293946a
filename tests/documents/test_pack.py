from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from upmast.documents import pack
from upmast.documents.pack import findings_data, verify_pack, write_pack
from upmast.errors import UsageError
from upmast.proof.prove import Proof

MakeProof = Callable[..., Proof]
NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
ISSUED = {
    "kit-list.xlsx",
    "port-map.xlsx",
    "test-plan.xlsx",
    "drawing.svg",
    "calculation-sheet.pdf",
    "fibre-cards.pdf",
    "findings.json",
}


def clock() -> datetime:
    return NOW


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "site.yaml").write_text("version: 1\n")
    return tmp_path


def contents(place: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in place.iterdir()}


def test_a_pack_is_whole_and_its_manifest_true(folder: Path, proof_of: MakeProof) -> None:
    proof = proof_of(3)
    seen: list[tuple[str, int, int]] = []
    manifest = write_pack(folder, proof, clock=clock, progress=lambda *a: seen.append(a))
    files = contents(folder / "pack")
    assert set(files) == ISSUED | {"site.yaml", "manifest.json"}
    assert json.loads(files["manifest.json"]) == manifest
    for name, told in manifest["files"].items():
        assert told == {"sha256": hashlib.sha256(files[name]).hexdigest(), "bytes": len(files[name])}
    assert manifest["stamp"] == "not for issue"
    assert manifest["verdict"] == "fails"
    assert manifest["line_digest"] == proof.line.digest
    assert [n for _, n, _ in seen] == list(range(1, len(seen) + 1))
    assert verify_pack(folder / "pack") == []
    assert sorted(p.name for p in folder.iterdir()) == ["pack", "site.yaml"]


def test_a_passing_line_has_no_stamp(folder: Path, proof_of: MakeProof) -> None:
    manifest = write_pack(folder, proof_of(2, hurt=False), clock=clock)
    assert (manifest["stamp"], manifest["verdict"]) == ("", "passes")
    assert "NOT FOR ISSUE" not in (folder / "pack" / "drawing.svg").read_text("utf-8")


def test_equal_proof_and_clock_give_equal_bytes(folder: Path, proof_of: MakeProof) -> None:
    write_pack(folder, proof_of(3), clock=clock)
    first = contents(folder / "pack")
    write_pack(folder, proof_of(3), clock=clock)
    assert contents(folder / "pack") == first


def test_a_failure_leaves_the_old_pack_and_no_litter(
    folder: Path, proof_of: MakeProof, monkeypatch: pytest.MonkeyPatch
) -> None:
    proof = proof_of(2)
    write_pack(folder, proof, clock=clock)
    before = contents(folder / "pack")

    def broken(*_: object) -> bytes:
        raise RuntimeError("disk full")

    monkeypatch.setattr(pack, "pdf_bytes", broken)
    with pytest.raises(RuntimeError):
        write_pack(folder, proof, clock=clock)
    assert contents(folder / "pack") == before
    assert sorted(p.name for p in folder.iterdir()) == ["pack", "site.yaml"]


def test_verify_names_every_difference(folder: Path, proof_of: MakeProof) -> None:
    write_pack(folder, proof_of(1), clock=clock)
    place = folder / "pack"
    (place / "drawing.svg").unlink()
    (place / "site.yaml").write_text("version: 2\n")
    (place / "findings.json").write_text("{}")
    (place / "extra.txt").write_text("x")
    told = verify_pack(place)
    assert [t.split(":")[0] for t in told] == ["findings.json", "site.yaml", "drawing.svg", "extra.txt"] or {
        t.split(":")[0] for t in told
    } == {"findings.json", "site.yaml", "drawing.svg", "extra.txt"}
    assert any(t == "drawing.svg: missing" for t in told)
    assert any(t == "site.yaml: content changed since it was issued" for t in told)


@pytest.mark.parametrize("name", ["../site.yaml", "/etc/hosts", "a/b", ".."])
def test_a_manifest_never_leads_out_of_the_pack(tmp_path: Path, name: str) -> None:
    (tmp_path / "manifest.json").write_text(json.dumps({"files": {name: {"sha256": "0", "bytes": 1}}}))
    (told,) = verify_pack(tmp_path)
    assert "not the name of a file inside the pack" in told


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"files": []}', '{"files": {"a": 1}}', "[" * 100_000])
def test_what_is_no_manifest_is_said_so(tmp_path: Path, text: str) -> None:
    (tmp_path / "manifest.json").write_text(text)
    with pytest.raises(UsageError, match="manifest"):
        verify_pack(tmp_path)


def test_no_folder_and_a_pack_that_is_no_folder_are_refused(folder: Path, proof_of: MakeProof) -> None:
    with pytest.raises(UsageError, match="not a folder"):
        write_pack(folder / "none", proof_of(1), clock=clock)
    (folder / "pack").write_text("mine")
    with pytest.raises(UsageError, match="not a folder"):
        write_pack(folder, proof_of(1), clock=clock)
    assert (folder / "pack").read_text() == "mine"


def test_findings_are_plain_data(proof_of: MakeProof) -> None:
    proof = proof_of(3)
    data = json.loads(json.dumps(findings_data(proof), allow_nan=False))
    assert [f["key"] for f in data["findings"]] == [f.key for f in proof.findings]
    assert {f["verdict"] for f in data["findings"]} == {"passes", "fails", "not judged"}
    assert len(data["limits"]) == len(proof.limits.table)
