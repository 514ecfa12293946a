"""Pages made from declarations are fresh, and pages written by hand name only what exists."""

from __future__ import annotations

import ast
import importlib
import importlib.util
import re
from pathlib import Path

import pytest

from upmast import yamlfile
from upmast.catalogue.catalogue import from_text, standard
from upmast.codes import codes
from upmast.declare import load
from upmast.line.built import BuiltFile
from upmast.plan.plan import plan
from upmast.proof.limits import limits_of
from upmast.site.load import from_text as site_from_text

ROOT = Path(__file__).parent.parent
DOCS = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/*.md")])
_spec = importlib.util.spec_from_file_location("pages", ROOT / "scripts" / "pages.py")
assert _spec is not None
assert _spec.loader is not None
pages = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(pages)


def blocks(path: Path, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", path.read_text("utf-8"), flags=re.DOTALL | re.MULTILINE)


def test_the_pages_are_fresh() -> None:
    assert pages.main(["--check"]) == 0, "run make docs"


def test_a_stale_page_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(pages, "ROOT", tmp_path)
    (tmp_path / "docs").mkdir()
    assert pages.main(["--check"]) == 1
    assert capsys.readouterr().out.count("stale: run make docs") == 3
    assert list((tmp_path / "docs").iterdir()) == []
    assert pages.main([]) == 0
    assert pages.main(["--check"]) == 0


def test_every_code_part_and_command_has_its_place() -> None:
    told = {path.name: text for path, text in pages.outputs().items()}
    assert [name for name in codes() if f"| `{name}` |" not in told["codes.md"]] == []
    catalogue = standard()
    ids = [part.id for part in catalogue] + [family.id for family in catalogue.families]
    assert [id for id in ids if told["parts.md"].count(f"| `{id}` |") != 1] == []
    assert [name for name in pages.command_names() if f"## {name}\n" not in told["commands.md"]] == []


@pytest.mark.parametrize("path", DOCS, ids=lambda path: path.stem)
def test_every_command_line_of_a_page_can_be_typed(path: Path) -> None:
    lines = [line for block in blocks(path, "(?:sh|console)") for line in block.splitlines()]
    typed = [line.partition("#")[0].split() for line in lines if line.startswith("upmast ")]
    for _, first, *words in typed:
        two = bool(words) and f"{first} {words[0]}" in pages.command_names()
        name, rest = (f"{first} {words[0]}", words[1:]) if two else (first, words)
        assert name.startswith("--") or name in pages.command_names(), f"no command {name}"
        known = pages.help_of() if name.startswith("--") else pages.help_of(*name.split())
        for word in (name, *rest):
            if re.match(r"--?[a-z]", word):
                assert re.search(rf"(^|[ ,]){re.escape(word)}[ ,]", known), f"{name} has no {word}"


@pytest.mark.parametrize("path", DOCS, ids=lambda path: path.stem)
def test_every_code_that_a_page_names_exists(path: Path) -> None:
    rooms = "|".join(sorted({name.partition(".")[0] for name in codes()}))
    named = re.findall(rf"`((?:{rooms})\.[a-z]+(?:-[a-z]+)*)(?:@[A-Z0-9-]+)?`", path.read_text("utf-8"))
    modules = {
        p.relative_to(ROOT / "src" / "upmast").with_suffix("").as_posix().replace("/", ".")
        for p in (ROOT / "src" / "upmast").rglob("*.py")
    }
    assert [name for name in named if name not in codes() and name not in modules] == []


def test_the_site_of_the_start_page_can_be_planned() -> None:
    (text,) = blocks(ROOT / "docs" / "start.md", "yaml")
    catalogue = standard()
    made = plan(site_from_text(yamlfile.parse(text), catalogue), catalogue)
    assert made.exact
    assert made.best is not None
    assert f"planned  {made.best.choice.words}" in (ROOT / "docs" / "start.md").read_text("utf-8")


def test_the_flow_in_ten_lines_names_only_what_exists() -> None:
    import upmast

    lines = [line[4:] for line in str(upmast.__doc__).splitlines() if line.startswith("    ")]
    assert len(lines) == 10
    for node in ast.walk(ast.parse("\n".join(lines))):
        if isinstance(node, ast.ImportFrom):
            module = importlib.import_module(str(node.module))
            assert all(hasattr(module, one.name) for one in node.names)
    assert (ROOT / "demo" / "site" / "site.yaml").exists()


def test_the_limits_of_the_proof_page_are_taken() -> None:
    catalogue = standard()
    (text,) = blocks(ROOT / "docs" / "start.md", "yaml")
    found = blocks(ROOT / "docs" / "proof.md", "yaml")
    assert len(found) == 2
    for limits in found:
        site = site_from_text(yamlfile.parse(text + limits), catalogue)
        assert limits_of(site).table[site.limits[0].code].value == site.limits[0].value


def test_the_changes_of_the_line_page_can_be_declared() -> None:
    (text,) = blocks(ROOT / "docs" / "line.md", "yaml")
    assert load(BuiltFile, yamlfile.parse(text)).changes[0].item == "A1-J1"


def test_the_parts_of_the_catalogue_page_are_taken() -> None:
    for text in blocks(ROOT / "docs" / "catalogue.md", "yaml"):
        own = from_text(yamlfile.parse(text))
        assert len(own) + len(own.families) > 0
