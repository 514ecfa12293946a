"""The docs: every page can be found, every link leads somewhere, and the page of sources is what the code cites."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PAGES = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md")])
_spec = importlib.util.spec_from_file_location("sources", ROOT / "scripts" / "sources.py")
assert _spec is not None
assert _spec.loader is not None
sources = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(sources)


def links(page: Path) -> list[str]:
    """The relative links of a page, without their anchors."""
    text = re.sub(r"```.*?```", "", page.read_text("utf-8"), flags=re.DOTALL)
    found = re.findall(r"\]\(([^)\s]+)\)", text)
    return [link.partition("#")[0] for link in found if "://" not in link and not link.startswith(("#", "mailto:"))]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_link_leads_to_a_file(page: Path) -> None:
    assert [link for link in links(page) if not (page.parent / link).exists()] == []


def test_every_page_can_be_reached_from_the_index() -> None:
    start = ROOT / "docs" / "index.md"
    reached, left = {start}, [start]
    while left:
        page = left.pop()
        for link in links(page):
            target = (page.parent / link).resolve()
            if target.suffix == ".md" and target not in reached:
                reached.add(target)
                left.append(target)
    assert [
        page.name for page in PAGES if page.parent != ROOT and page.resolve() not in {one.resolve() for one in reached}
    ] == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_page_has_one_title(page: Path) -> None:
    text = re.sub(r"```.*?```", "", page.read_text("utf-8"), flags=re.DOTALL)
    assert len(re.findall(r"^# ", text, flags=re.MULTILINE)) == 1


def test_the_page_of_sources_is_fresh() -> None:
    assert sources.main(["--check"]) == 0, "run make docs"


def test_sources_are_found_in_tables_and_in_code(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("# document: A\n# mark: memory\nx,document,mark\n1,,\n2,B,practice\n3,B,confirmed\n")
    marks = {(one.document, one.mark) for one in sources.from_table(table, "room")}
    assert marks == {("A", "memory"), ("B", "practice"), ("B", "confirmed")}
    module = tmp_path / "m.py"
    module.write_text(
        'a = Source("C", "clause 1", mark=Mark.MEMORY)\nb = Source(document="D", edition="2020")\nc = Source(name)\n'
    )
    found = {(one.document, one.edition, one.clause, one.mark) for one in sources.from_module(module, "room")}
    assert found == {("C", "", "clause 1", "memory"), ("D", "2020", "", "confirmed")}
