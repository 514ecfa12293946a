"""Sites and lines of every form for the tests of this folder."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

_spec = importlib.util.spec_from_file_location("lines", Path(__file__).parent.parent / "sites" / "lines.py")
assert _spec is not None
assert _spec.loader is not None
_lines = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_lines)


@pytest.fixture(scope="session")
def lines() -> ModuleType:
    """The module tests/sites/lines.py."""
    return _lines
