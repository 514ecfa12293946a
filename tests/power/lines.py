"""The line that the tests of the power room stand on: a site of three radios, its parts, and what the room says of it."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType
from typing import Any

from upmast.catalogue.catalogue import standard
from upmast.finding import Finding
from upmast.limits import Limits
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.power import check as power
from upmast.proof.limits import limits_of
from upmast.proof.scenarios import scenarios_of
from upmast.room import Result
from upmast.site.site import Site


def _make() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make", Path(__file__).parent.parent / "sites" / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


make = _make()
SITE: Site = make.site(make.text("three_radios"))
LINE: Line = make.line(SITE)
CATALOGUE = standard()


def checked(site: Site, line: Line, limits: Limits | None = None) -> tuple[Any, Result]:
    inputs = power.inputs(line, site, scenarios_of(site))
    return inputs, power.check(inputs, limits or limits_of(site))


def found(result: Result, code: str, subject: str) -> Finding:
    return next(f for f in result.findings if f.code == code and f.subject == subject)


def choice(trunk: str, box: str, breaker: str = "breaker-40", dc: str = "hybrid-jumper-1x10-4f", **more: Any) -> Choice:
    radios = tuple(RadioChoice(breaker, dc, "", rf) for rf in ("rf-jumper-12-43-43",) * 3)
    return Choice("hybrid", radios, trunk, 1, box, **more)
