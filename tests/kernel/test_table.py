"""Tables: the source comes with the numbers, and a broken row is refused."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import pytest

from upmast import table
from upmast.source import Mark

SRC = Path(__file__).parents[2] / "src" / "upmast"
SHIPPED = sorted((path.parent.parent.name, path.stem) for path in SRC.glob("*/tables/*.csv"))


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A package with a folder for tables, on the path of this test alone."""
    folder = tmp_path / "some_room"
    (folder / "tables").mkdir(parents=True)
    (folder / "__init__.py").write_text("")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "some_room", raising=False)
    table.read.cache_clear()
    return folder / "tables"


def test_source_header_and_numbers(package: Path) -> None:
    (package / "a.csv").write_text(
        "# document: A standard\n# edition: 2020\n# clause: table 1\n# mark: memory\nsize_mm2,ohm_per_km\n1.5,12.1\n2.5,\n"
    )
    made = table.read("some_room", "a")
    assert str(made.source) == "A standard (2020), table 1 [memory]"
    assert made.source.mark is Mark.MEMORY
    assert made.header == ("size_mm2", "ohm_per_km")
    assert made.numbers("size_mm2") == (1.5, 2.5)
    assert math.isnan(made.numbers("ohm_per_km")[1])
    with pytest.raises(KeyError, match="no column 'mass'"):
        made.numbers("mass")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a,b\n1,2\n", "a source needs a document"),
        ("# document: X\na,b\n1,2,3\n", "3 cells where the header has 2"),
        ("# document: X\na,b\n1\n", "1 cells where the header has 2"),
        ("# document: X\n# mark: certain\na,b\n1,2\n", "certain"),
    ],
)
def test_a_broken_table_is_refused(package: Path, text: str, words: str) -> None:
    (package / "b.csv").write_text(text)
    with pytest.raises(ValueError, match=words):
        table.read("some_room", "b")


@pytest.mark.parametrize(("room", "name"), SHIPPED)
def test_every_table_of_ours_reads(room: str, name: str) -> None:
    made = table.read(f"upmast.{room}", name)
    assert made.rows
    assert len(set(made.header)) == len(made.header)
