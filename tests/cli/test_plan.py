"""`upmast plan`: what it writes, what it leaves alone."""

from __future__ import annotations

import errno
import os
import re
import shutil
from pathlib import Path

import pytest

from upmast.catalogue.catalogue import Catalogue, standard


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture
def asked(planned_once: Path, tmp_path: Path) -> Path:
    """The small site without a line."""
    folder = tmp_path / "asked"
    folder.mkdir()
    shutil.copy(planned_once / "site.yaml", folder)
    return folder


@pytest.fixture
def small_catalogue(monkeypatch: pytest.MonkeyPatch) -> None:
    """A catalogue whose only trunks have one pair of 4 mm²: too small for three radios so far away."""
    whole = standard()
    parts = {p.id: p for p in whole if getattr(p, "kind", "") not in ("trunk", "dc-trunk") or p.id == "trunk-1x4-2f"}
    monkeypatch.setattr("upmast.catalogue.catalogue.standard", lambda: Catalogue(parts, {}))


def test_a_plan_writes_line_and_parts_that_hold(upmast, planned_once):
    assert sorted(contents(planned_once)) == ["line.yaml", "parts.yaml", "site.yaml"]
    assert upmast("prove", planned_once).code == 0


def test_a_dry_run_writes_nothing(upmast, asked):
    before = contents(asked)
    ran = upmast("plan", asked, "--dry-run")
    assert ran.code == 0
    assert "dry run: nothing was written" in ran.words
    assert contents(asked) == before


def test_an_unchanged_site_keeps_its_revision_and_bytes(upmast, planned):
    before = contents(planned)
    ran = upmast("plan", planned, "--json")
    assert ran.code == 0
    assert (ran.data["revision_before"], ran.data["revision"]) == (1, 1)
    assert contents(planned) == before


def test_a_hand_edit_is_not_overwritten_unasked(upmast, planned):
    line = planned / "line.yaml"
    planned_text = line.read_text()
    line.write_text(re.sub(r"(length_m: )\d+", r"\g<1>45", planned_text, count=1))
    before = contents(planned)
    ran = upmast("plan", planned)
    assert ran.code == 2
    assert "was edited by hand" in ran.words
    assert "--replace" in ran.words
    assert contents(planned) == before
    ran = upmast("plan", planned, "--replace", "--json")
    assert ran.code == 0
    assert ran.data["revision"] == 2
    assert line.read_text().replace("revision: 2", "revision: 1") == planned_text


def test_no_trunk_is_big_enough(upmast, asked, small_catalogue):
    shutil.copy(Path(__file__).parents[1] / "sites" / "three_radios.yaml", asked / "site.yaml")
    before = contents(asked)
    ran = upmast("plan", asked)
    assert ran.code == 1
    assert "no line passes every limit" in ran.words
    assert "left out: " in ran.words
    assert contents(asked) == before


def test_the_nearest_line_is_told_with_what_stops_it(upmast, asked):
    """A plant that ends below the drop-out of the radios: no copper helps."""
    place = asked / "site.yaml"
    place.write_text(place.read_text().replace("end_of_discharge_v: 43.2", "end_of_discharge_v: 38.5"))
    before = contents(asked)
    ran = upmast("plan", asked)
    assert ran.code == 1
    assert "Nearest:" in ran.out
    assert "Lowest voltage at the radio" in ran.words
    assert contents(asked) == before


@pytest.mark.parametrize("which", ["parts.yaml", "line.yaml"])
def test_a_full_disk_leaves_both_files_as_they_were(upmast, planned, monkeypatch, which):
    site = planned / "site.yaml"
    site.write_text(site.read_text().replace("length_m: 26}", "length_m: 29}"))
    before = contents(planned)
    real, refused = os.replace, []

    def full(source: str, target: Path) -> None:
        if Path(target).name == which and not refused:
            refused.append(target)
            raise OSError(errno.ENOSPC, "No space left on device")
        real(source, target)

    monkeypatch.setattr(os, "replace", full)
    ran = upmast("plan", planned)
    assert refused
    assert ran.code == 2
    assert f"{which} can't be written: No space left on device" in ran.words
    assert "Traceback" not in ran.err
    assert contents(planned) == before  # no temporary file either


def test_a_plan_without_a_word_on_the_wind_says_what_is_not_judged(upmast, planned):
    site = planned / "site.yaml"
    site.write_text(site.read_text().replace("climate: {calm: true}", "climate: {hot_c: 41}"))
    told = upmast("plan", planned, "--dry-run")
    assert told.code == 0
    assert "not judged: " in told.words
    assert "climate.wind" in told.words
    data = upmast("plan", planned, "--dry-run", "--json").data
    assert any("climate.wind" in one for one in data["not_judged"])
