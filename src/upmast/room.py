"""What every room of physics gives: findings, figures, and the working of each on demand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from upmast.finding import Figure, Finding, Scenario
from upmast.limits import Limits
from upmast.working import Step


@dataclass(frozen=True, slots=True)
class Result:
    """Findings and figures of one room, in a fixed order."""

    findings: tuple[Finding, ...]
    figures: tuple[Figure, ...]


class Room(Protocol):
    """
    The shape of a room's `check.py`.

    `inputs` reads a line and a site into frozen arrays; `check` sees nothing but those and the limits; `working` expands the
    derivation of one finding or figure of that same check.
    """

    NAME: str
    VERSION: str
    CAUTIONS: tuple[str, ...]

    def inputs(self, line: Any, site: Any, scenarios: Sequence[Scenario]) -> Any: ...

    def check(self, inputs: Any, limits: Limits) -> Result: ...

    def working(self, inputs: Any, limits: Limits, found: Finding | Figure) -> tuple[Step, ...]: ...
