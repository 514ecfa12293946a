"""Commands are run in this process, as `main` runs them, in copies of the demonstration and of a small planned site."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from upmast.cli.run import run

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "tests" / "sites" / "three_radios.yaml"


class Ran(NamedTuple):
    """What one command ended with and printed."""

    code: int
    out: str
    err: str

    @property
    def words(self) -> str:
        """What was printed, with every break and gap of a line made one blank."""
        return " ".join((self.out + " " + self.err).split())

    @property
    def data(self) -> Any:
        return json.loads(self.out)


Upmast = Callable[..., Ran]


@pytest.fixture
def upmast(capsys: pytest.CaptureFixture[str]) -> Upmast:
    """Run one command: exit code and output."""

    def go(*arguments: object) -> Ran:
        capsys.readouterr()
        code = run([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return Ran(code, said.out, said.err)

    return go


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    """A copy of the demonstration's site, whose line fails."""
    return Path(shutil.copytree(ROOT / "demo" / "site", tmp_path / "demo"))


@pytest.fixture(scope="session")
def sweeps() -> Path:
    return ROOT / "demo" / "field"


@pytest.fixture(scope="session")
def planned_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small site, planned once: to be read or copied, not changed."""
    folder = tmp_path_factory.mktemp("planned") / "T3"
    folder.mkdir()
    first = SMALL.read_text().split("  - {id: A2,")[0]  # its first radio is enough
    (folder / "site.yaml").write_text(first + "\nclimate: {calm: true}\n")
    assert run(["plan", str(folder)]) == 0
    return folder


@pytest.fixture
def planned(planned_once: Path, tmp_path: Path) -> Path:
    """A copy of the small planned site, free to be changed."""
    return Path(shutil.copytree(planned_once, tmp_path / "T3"))
