"""The demonstration's site and old line with its proof, and lines of every form."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from upmast.catalogue.catalogue import standard
from upmast.line.line import Line
from upmast.line.save import load as load_line
from upmast.proof.prove import Proof, prove
from upmast.site.load import load as load_site
from upmast.site.site import Site

DEMO = Path(__file__).parent.parent.parent / "demo" / "site"
_spec = importlib.util.spec_from_file_location("lines", Path(__file__).parent.parent / "sites" / "lines.py")
assert _spec is not None
assert _spec.loader is not None
_lines = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_lines)


@pytest.fixture(scope="session")
def lines() -> ModuleType:
    """The module tests/sites/lines.py."""
    return _lines


@pytest.fixture(scope="session")
def demo_site() -> Site:
    return load_site(DEMO / "site.yaml", standard())


@pytest.fixture(scope="session")
def demo_line() -> Line:
    return load_line(DEMO).line


@pytest.fixture(scope="session")
def demo(demo_site: Site, demo_line: Line) -> Proof:
    """The proof of a line of nine radios that was planned from too small a power."""
    return prove(demo_site, demo_line)
