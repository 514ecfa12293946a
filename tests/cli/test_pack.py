"""`upmast pack`: its files, its manifest, its stamp."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from pathlib import Path

import pytest

from upmast.documents import pack as module


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the calculation sheet, which takes a second."""
    monkeypatch.setattr(module, "pdf_bytes", lambda *_: b"%PDF-")


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_the_files_are_those_of_the_manifest(upmast, planned):
    ran = upmast("pack", planned)
    assert ran.code == 0
    folder = planned / "pack"
    manifest = json.loads((folder / "manifest.json").read_text())
    assert {p.name for p in folder.iterdir()} == {*manifest["files"], "manifest.json"}
    for name, row in manifest["files"].items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == row["sha256"]
        assert name in ran.out
    assert (folder / "calculation-sheet.pdf").read_bytes().startswith(b"%PDF-")
    assert upmast("pack", planned, "--check").code == 0
    with (folder / "drawing.svg").open("a") as file:
        file.write(" ")
    ran = upmast("pack", planned, "--check", "--json")
    assert ran.code == 1
    assert len(ran.data["differences"]) == 1
    assert "drawing.svg" in ran.data["differences"][0]
    assert upmast("prove", folder).code == 0  # the pack proves by itself


def test_equal_time_gives_equal_bytes(upmast, planned, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1767225600")
    made = []
    for _ in range(2):
        assert upmast("pack", planned).code == 0
        made.append(contents(planned / "pack"))
    assert made[0] == made[1]
    assert json.loads(made[0]["manifest.json"])["issued"] == "2026-01-01T00:00:00+00:00"


def test_a_time_that_is_none(upmast, planned, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "noon")
    ran = upmast("pack", planned)
    assert ran.code == 2
    assert "give seconds since 1970" in ran.words
    assert not (planned / "pack").exists()


def test_a_failing_line_is_not_for_issue(upmast, demo, quick):
    ran = upmast("pack", demo)
    assert ran.code == 1
    assert "stamped 'not for issue'" in ran.words
    assert "not for issue" in json.loads((demo / "pack" / "manifest.json").read_text())["stamp"].lower()
    assert "not for issue" in (demo / "pack" / "drawing.svg").read_text().lower()


def test_a_check_without_a_pack(upmast, planned_once):
    assert upmast("pack", planned_once, "--check").code == 2


def test_a_full_disk_leaves_the_old_pack(upmast, planned, quick, monkeypatch):
    assert upmast("pack", planned).code == 0
    before = contents(planned)
    real = os.replace

    def full(source: Path, target: Path) -> None:
        if Path(source).name.startswith(".pack-"):
            raise OSError(errno.ENOSPC, "No space left on device")
        real(source, target)

    monkeypatch.setattr(os, "replace", full)
    ran = upmast("pack", planned)
    assert ran.code == 2
    assert "No space left on device; nothing was changed" in ran.words
    assert contents(planned) == before
    assert not list(planned.glob(".pack-*"))


def test_a_pack_of_another_line_is_called_so(upmast, planned):
    assert upmast("pack", planned).code in (0, 1, 3)
    assert upmast("pack", planned, "--check").code == 0
    line = planned / "line.yaml"
    line.write_text(line.read_text("utf-8").replace("length_m: ", "length_m: 1", 1), "utf-8")
    ran = upmast("pack", planned, "--check")
    assert ran.code == 1
    assert "the folder now holds another line" in ran.words
