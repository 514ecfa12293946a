"""`upmast start`: a new folder, or sites out of a radio list."""

from __future__ import annotations

from pathlib import Path

import pytest

LIST = "Site,Sector,Model,Height (m),Remarks\nT9,A,Type A,30,600\nT9,B,Type A,30,600\n"
DECIDED = ("--model", "Type A=radio-mid-4t4r", "--stand-in-antennas")


@pytest.fixture
def radios(tmp_path: Path) -> Path:
    path = tmp_path / "list.csv"
    path.write_text(LIST)
    return path


def test_a_fresh_folder_can_be_planned_from(upmast, tmp_path):
    ran = upmast("start", tmp_path / "MAST-7")
    assert ran.code == 0
    assert "site id MAST-7" in ran.out
    assert [p.name for p in (tmp_path / "MAST-7").iterdir()] == ["site.yaml"]
    ran = upmast("prove", tmp_path / "MAST-7")  # a whole site, only without a line
    assert ran.code == 2
    assert "has no line.yaml yet: make one with: upmast plan" in ran.words


def test_the_id_has_no_i_or_o(upmast, tmp_path):
    assert upmast("start", tmp_path / "my-site", "--json").data["site"] == "MY-S1TE"


def test_an_existing_site_is_left_alone(upmast, tmp_path):
    place = tmp_path / "T9" / "site.yaml"
    place.parent.mkdir()
    place.write_text("mine\n")
    ran = upmast("start", place.parent)
    assert ran.code == 2
    assert "is there already; nothing was changed" in ran.words
    assert place.read_text() == "mine\n"
    assert [p.name for p in place.parent.iterdir()] == ["site.yaml"]


def test_a_preview_writes_nothing(upmast, tmp_path, radios):
    ran = upmast("start", tmp_path / "new", "--radios", radios, *DECIDED)
    assert ran.code == 0
    assert "nothing was written yet" in ran.words
    assert "T9: 2 radios from rows 2, 3" in ran.words
    assert not (tmp_path / "new").exists()


def test_yes_writes_sites_that_can_be_read(upmast, tmp_path, radios):
    new = tmp_path / "new"
    ran = upmast("start", new, "--radios", radios, *DECIDED, "--column", "E=maximum_w", "--yes")
    assert ran.code == 0
    text = (new / "site.yaml").read_text()
    assert text.count("part: radio-mid-4t4r") == 2
    assert text.count("maximum_w: 600") == 2  # the column that was decided
    assert upmast("prove", new).words.endswith(f"make one with: upmast plan {new}")
    before = text
    again = upmast("start", new, "--radios", radios, *DECIDED, "--yes")
    assert again.code == 2
    assert "nothing was changed" in again.words
    assert (new / "site.yaml").read_text() == before


def test_an_unknown_model_is_asked_and_nothing_written(upmast, tmp_path, radios):
    ran = upmast("start", tmp_path / "new", "--radios", radios)
    assert ran.code == 2
    assert "decide columns with --column F=maximum_w and models with --model 'NAME=PART'" in ran.words
    assert "Type A" in ran.words  # the fault itself stands in the preview, not only behind --yes
    assert not (tmp_path / "new").exists()
    ran = upmast("start", tmp_path / "new", "--radios", radios, "--yes")
    assert ran.code == 2
    assert "Type A" in ran.err
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("more", [("--yes",), ("--column", "F=part"), ("--skip-faulty",)])
def test_options_of_a_list_need_a_list(upmast, tmp_path, more):
    assert upmast("start", tmp_path / "new", *more).code == 2
    assert not (tmp_path / "new").exists()


def test_a_decision_without_its_sign(upmast, tmp_path, radios):
    ran = upmast("start", tmp_path / "new", "--radios", radios, "--column", "F")
    assert ran.code == 2
    assert "a column letter, =, and a field" in ran.words
