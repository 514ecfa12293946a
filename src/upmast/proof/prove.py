"""
Prove a line against its site: every room reads its inputs, checks them, and the findings are gathered.

A room is not run again when the digest of its inputs, the limits and its own version is unchanged: safe by construction, since
a check sees nothing else.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from upmast.digest import digest
from upmast.errors import UsageError
from upmast.finding import Expectation, Figure, Finding, Scenario, Stage, Verdict, worst
from upmast.limits import Limits
from upmast.line.line import Line
from upmast.proof.limits import limits_of
from upmast.proof.scenarios import scenarios_of
from upmast.room import Result
from upmast.site.origin import told
from upmast.site.site import Site
from upmast.working import Step

ROOMS = ("power", "fibre", "rf", "pim", "support", "earth", "weather")


def room(name: str) -> Any:
    """The check of a room, imported when it is needed."""
    return importlib.import_module(f"upmast.{name}.check")


@dataclass(frozen=True)
class RoomProof:
    """One room's part of a proof."""

    name: str
    key: str
    inputs: Any
    result: Result


@dataclass(frozen=True)
class Proof:
    """What is known of a line: findings, figures, and on demand the working of each."""

    site: Site
    line: Line
    scenarios: tuple[Scenario, ...]
    limits: Limits
    rooms: Mapping[str, RoomProof]
    reused: tuple[str, ...] = ()

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        return tuple(f for name in self.rooms for f in self.rooms[name].result.findings)

    @cached_property
    def figures(self) -> tuple[Figure, ...]:
        return tuple(f for name in self.rooms for f in self.rooms[name].result.figures)

    @cached_property
    def _by_key(self) -> dict[str, Finding | Figure]:
        every: tuple[Finding | Figure, ...] = (*self.figures, *self.findings)
        return {f.key.upper(): f for f in every}

    def at(self, stage: Stage = Stage.DESIGN) -> tuple[Finding, ...]:
        return tuple(f for f in self.findings if f.stage is stage)

    def verdict(self, stage: Stage = Stage.DESIGN) -> Verdict:
        """Fails if any finding of the stage fails; else not judged if any is not judged; else passes."""
        verdicts = {f.verdict for f in self.at(stage)}
        for one in (Verdict.FAILS, Verdict.NOT_JUDGED):
            if one in verdicts:
                return one
        return Verdict.PASSES

    def count(self, verdict: Verdict, stage: Stage = Stage.DESIGN) -> int:
        return sum(f.verdict is verdict for f in self.at(stage))

    @cached_property
    def worst(self) -> Finding | None:
        return worst(self.at())

    def find(self, key: str) -> Finding | Figure:
        """
        The finding or figure of a key (code@subject); the subject may be left out where only one has the code.

        Raises
        ------
        UsageError
            If there is none, with the nearest keys.
        """
        found = self._by_key.get(key.upper())
        if found is not None:
            return found
        some = [
            f
            for k, f in self._by_key.items()
            if k.partition("@")[0] == key.upper() or k.partition("@")[2] == key.upper()
        ]
        if len(some) == 1:
            return some[0]
        if some:
            raise UsageError(f"{key} stands for {len(some)} findings: " + ", ".join(f.key for f in some[:20]))
        import difflib

        near = difflib.get_close_matches(key.upper(), self._by_key, 4, 0.4)
        raise UsageError(
            f"no finding {key!r}" + (f"; near: {', '.join(self._by_key[k].key for k in near)}" if near else "")
        )

    def working(self, found: Finding | Figure) -> tuple[Step, ...]:
        """The working of one finding or figure, expanded now."""
        part = self.rooms[found.room]
        return told(self.site, room(found.room).working(part.inputs, self.limits, found))

    @cached_property
    def cautions(self) -> dict[str, tuple[str, ...]]:
        """The cautions of every room, by room."""
        return {name: tuple(room(name).CAUTIONS) for name in self.rooms}

    @cached_property
    def expectations(self) -> tuple[Expectation, ...]:
        """What every test of the line should show, made on demand."""
        from upmast.proof.expect import expectations_of

        return expectations_of(self)


def prove(site: Site, line: Line, previous: Proof | None = None, rooms: Iterable[str] = ROOMS) -> Proof:
    """
    Prove a line.

    Parameters
    ----------
    previous : a proof whose rooms may be reused where nothing that they see has changed.
    rooms : the rooms to prove; all of them if not given.

    Raises
    ------
    InputFaults
        If the limits of the site can't be.
    UsageError
        If a part or the site has a value that a formula or table does not take, such as a conductor of no standard size.
    """
    limits = limits_of(site) if previous is None or previous.site.limits != site.limits else previous.limits
    scenarios = scenarios_of(site)
    made: dict[str, RoomProof] = {}
    reused: list[str] = []
    limits_key = digest(dict(limits.table))
    for name in rooms:
        module = room(name)
        try:
            inputs = module.inputs(line, site, scenarios)
        except ValueError as error:  # a value of a part or of the site that no formula or table takes
            raise UsageError(f"the line can't be proven, {name}: {error}") from error
        key = digest(inputs, limits_key, module.VERSION)
        before = previous.rooms.get(name) if previous is not None else None
        if before is not None and before.key == key:
            made[name] = before
            reused.append(name)
        else:
            made[name] = RoomProof(name, key, inputs, module.check(inputs, limits))
    return Proof(site, line, scenarios, limits, made, tuple(reused))
