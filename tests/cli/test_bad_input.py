"""Files that are wrong or hostile: refused in words, with their place, and nothing is changed."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def with_site(upmast, tmp_path):
    """Prove a folder whose site.yaml is the given text; the folder must stay as it is."""

    def go(text: str, *more: str):
        folder = tmp_path / "bad"
        folder.mkdir(exist_ok=True)
        (folder / "site.yaml").write_text(text)
        ran = upmast("plan", folder, *more)
        assert ran.code == 2
        assert "Traceback" not in ran.err
        assert [p.name for p in folder.iterdir()] == ["site.yaml"]
        assert (folder / "site.yaml").read_text() == text
        return ran

    return go


@pytest.fixture
def good(planned_once: Path) -> str:
    return (planned_once / "site.yaml").read_text()


@pytest.mark.parametrize("text", ["[" * 31 + "]" * 31, "{a: " * 10_000, "- " * 10_000])
def test_depth(with_site, text):
    assert "at most 30 levels" in with_site(text).words


@pytest.mark.parametrize("text", ["[" * 10_000, "[" * 10_000 + "]" * 10_000])
def test_depth_beyond_the_parser(with_site, text):
    assert "maximum nesting depth" in with_site(text).words


def test_aliases(with_site):
    bomb = "a0: &a0 [x, x]\n" + "".join(f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}]\n" for n in range(1, 40))
    assert "an anchor or alias" in with_site(bomb).words


def test_tags(with_site):
    assert "without tags" in with_site("version: !!python/object/apply:os.getcwd []\n").words


def test_size(upmast, tmp_path):
    place = tmp_path / "site.yaml"
    with place.open("wb") as file:
        file.truncate(100_000_000)
    ran = upmast("plan", tmp_path)
    assert ran.code == 2
    assert "100.0 MB" in ran.words
    assert "at most 4 MB" in ran.words


def test_an_unknown_key_is_told_with_its_line(with_site, good):
    text = good.replace("mast: {kind", "mast: {colour: red, kind")
    line = next(n for n, row in enumerate(text.splitlines(), 1) if "colour" in row)
    ran = with_site(text)
    assert f"site.yaml:{line}:" in ran.err.replace("\n", "")
    assert "mast.colour" in ran.err
    assert "nothing was changed" in ran.err


def test_a_wrong_unit(with_site, good):
    ran = with_site(good.replace("length_m: 26", "length_m: 26 kg"))
    assert "26 kg" in ran.words
    assert "route.legs[2].length_m" in ran.words


def test_faults_as_data(with_site, good):
    text = good.replace("mast: {kind", "mast: {colour: red, kind").replace("part: antenna-12", "part: antenna-99")
    data = with_site(text, "--json").data
    assert set(data) == {"error", "message", "faults"}
    assert data["error"] == "input"
    assert data["faults"]
    for fault in data["faults"]:
        assert set(fault) == {"file", "line", "column", "place", "got", "expected", "do"}
        assert fault["file"].endswith("site.yaml")
        assert fault["line"] > 0
        assert fault["expected"]


def test_wrong_use_as_data(upmast, tmp_path):
    ran = upmast("prove", tmp_path / "nowhere", "--json")
    assert ran.code == 2
    assert ran.data["error"] == "use"
    assert ran.data["faults"] == []
    assert "is not a folder" in ran.data["message"]
    assert ran.err == ""


@pytest.mark.parametrize("command", ["plan", "prove", "pack"])
def test_folders_that_are_none(upmast, tmp_path, command):
    assert "is not a folder; make one with: upmast start" in upmast(command, tmp_path / "nowhere").words
    ran = upmast(command, tmp_path)
    assert ran.code == 2
    assert "holds no site.yaml" in ran.words
    assert not list(tmp_path.iterdir())


def test_a_line_of_another_site(upmast, planned, demo):
    (planned / "site.yaml").write_bytes((demo / "site.yaml").read_bytes())
    ran = upmast("prove", planned)
    assert ran.code == 2
    assert "a line of site T3" in ran.words
