"""
The one currency of upmast: a finding is a value against a limit, a figure is a value without one.

A margin is signed so that positive is good. Equal to the limit passes. Against a limit from memory nothing is judged: the
value and the margin are shown, and the site is asked to confirm the limit by name.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from enum import StrEnum

from upmast.source import Mark, Origin, Source

# the source of a limit that a part brings, `part PART: document`; its clause is the field
_PART = re.compile(r"part ([\w.+-]+)(?=:|\Z)")


class Verdict(StrEnum):
    PASSES = "passes"
    FAILS = "fails"
    NOT_JUDGED = "not judged"

    def __str__(self) -> str:
        return self.value


class Stage(StrEnum):
    """When a finding can be known: at the desk, while building, or by measurement."""

    DESIGN = "design"
    INSTALL = "install"
    ACCEPTANCE = "acceptance"

    def __str__(self) -> str:
        return self.value


class Sense(StrEnum):
    AT_LEAST = "at least"
    AT_MOST = "at most"

    def __str__(self) -> str:
        return self.value


class Authority(StrEnum):
    """Who sets a limit; the first named goes before the later ones. A safety limit may only be tightened."""

    SAFETY = "safety"
    CONTRACT = "contract"
    OPERATOR = "operator"
    PART = "part data sheet"
    STANDARD = "standard"
    PRACTICE = "practice"
    DEFAULT = "default"

    def __str__(self) -> str:
        return self.value

    @property
    def rank(self) -> int:
        return list(Authority).index(self)


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit: what it is for, its value and unit, its sense, who sets it, and where it is written."""

    code: str
    value: float
    unit: str
    sense: Sense
    authority: Authority
    source: Source
    stage: Stage = Stage.DESIGN
    scale: float = 0.0  # what a normalised margin is counted in; 0: the limit itself

    def margin(self, value: float) -> float:
        """Signed distance to the limit, positive is good, in the unit of the limit."""
        return value - self.value if self.sense is Sense.AT_LEAST else self.value - value

    def normalised(self, value: float) -> float:
        """The margin as a share of the limit (or of its scale): 0 is at the limit, -0.1 is a tenth beyond it."""
        scale = self.scale or abs(self.value) or 1.0
        return self.margin(value) / scale

    def tightens(self, other: Limit) -> bool:
        return self.margin(other.value) < 0 if self.sense is Sense.AT_LEAST else self.value < other.value


@dataclass(frozen=True, slots=True)
class Scenario:
    """One named state of the world in which a line is proven."""

    id: str
    title: str
    bus_v: float
    ambient_c: float
    sun_w_per_m2: float
    load_fraction: float
    wind_m_per_s: float = 0.0
    fault: str = ""  # what is broken: `pair-open:<item>`; empty where nothing is
    note: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """
    A value judged against a limit in its governing scenario; or the reason why it can't be judged.

    `missing` names what is lacking, `note` says in one sentence what the value means, `remedy` what to do about it.
    """

    code: str
    subject: str
    verdict: Verdict
    value: float | None = None
    unit: str = ""
    limit: Limit | None = None
    margin: float | None = None
    scenario: str = ""
    note: str = ""
    remedy: str = ""
    missing: tuple[str, ...] = ()
    stage: Stage = Stage.DESIGN
    items: tuple[str, ...] = ()  # every item of the line that this speaks about
    rank: int = 0  # where this stood in its room's arrays: lets the room find its inputs again

    @property
    def key(self) -> str:
        return f"{self.code}@{self.subject}"

    @property
    def room(self) -> str:
        return self.code.partition(".")[0]

    @property
    def normalised_margin(self) -> float | None:
        if self.limit is None or self.value is None or not math.isfinite(self.value):
            return None
        return self.limit.normalised(self.value)


@dataclass(frozen=True, slots=True)
class Figure:
    """A value worth knowing, without a limit and so without a verdict."""

    code: str
    subject: str
    value: float
    unit: str
    note: str
    source: Source
    scenario: str = ""
    items: tuple[str, ...] = ()
    rank: int = 0

    @property
    def key(self) -> str:
        return f"{self.code}@{self.subject}"

    @property
    def room(self) -> str:
        return self.code.partition(".")[0]


@dataclass(frozen=True, slots=True)
class Expectation:
    """
    What a test of the line should show before anyone measures: one band of values, or a band along an axis.

    `low` and `high` have one value, or one for each value of `axis`. A NaN or infinity leaves that side open.
    """

    id: str  # item.kind.condition, made of the ids of the line: `A2-J1.rl.load`
    subject: str
    title: str
    quantity: str
    unit: str
    low: tuple[float, ...]
    high: tuple[float, ...]
    set_up: str
    axis_name: str = ""
    axis_unit: str = ""
    axis: tuple[float, ...] = ()
    limit: Limit | None = None
    items: tuple[str, ...] = ()
    stage: Stage = Stage.ACCEPTANCE
    where: str = ""  # 'at the foot' or 'at the top': what a visit needs
    data: dict[str, object] = field(default_factory=dict, hash=False)


def to_confirm(limit: Limit) -> str:
    """What would put a limit from memory in force: an entry in limits of the site, or the data sheet of the part that brings it."""
    what = f"confirm the limit {limit.sense} {limit.value:g} {limit.unit} ({limit.source})"
    found = _PART.match(limit.source.document) if limit.authority is Authority.PART else None
    if found is None:
        return f"{what} in limits of the site"
    return f"{what}: {limit.source.clause or 'the value'} of {found.group(1)}, give its data sheet as its source"


def judge(
    code: str,
    subject: str,
    value: float | None,
    limit: Limit | None,
    *,
    unit: str = "",
    scenario: str = "",
    note: str = "",
    remedy: str = "",
    missing: tuple[str, ...] = (),
    items: tuple[str, ...] = (),
    rank: int = 0,
) -> Finding:
    """
    Judge a value: passes, fails, or not judged with what is missing.

    Not judged where something is missing, where there is no limit, where the value is not a number, and where the limit is
    from memory and unconfirmed. Equal to the limit (to one part in 10^9) passes.
    """
    unit = unit or (limit.unit if limit else "")
    stage = limit.stage if limit else Stage.DESIGN
    verdict, margin = Verdict.NOT_JUDGED, None
    if value is None or math.isnan(value):
        value, missing = None, missing or ("the value",)
    elif limit is None:
        missing = missing or (f"a limit for {code}: give one in limits of the site",)
    else:
        margin = limit.margin(value)
        if not missing and limit.source.mark is Mark.MEMORY:
            missing = (to_confirm(limit),)
        elif not missing:
            verdict = Verdict.PASSES if margin >= -1e-9 * max(1.0, abs(limit.value)) else Verdict.FAILS
    return Finding(
        code, subject, verdict, value, unit, limit, margin, scenario, note, remedy, missing, stage, items, rank
    )  # fmt: skip


def worst(findings: tuple[Finding, ...]) -> Finding | None:
    """The finding that deserves the first look: failures first, then not judged, then the smallest normalised margin."""
    order = {Verdict.FAILS: 0, Verdict.NOT_JUDGED: 1, Verdict.PASSES: 2}

    def rank(finding: Finding) -> tuple[int, bool, float, str]:
        share = finding.normalised_margin
        # a count that is just met, or a spacing laid just by its rule, is no tight margin
        counted = finding.verdict is Verdict.PASSES and (not finding.unit or finding.margin == 0)
        return order[finding.verdict], counted, share if share is not None else -math.inf, finding.key

    return min(findings, key=rank, default=None)


__all__ = [
    "Authority", "Expectation", "Figure", "Finding", "Limit", "Mark", "Origin", "Scenario", "Sense", "Source", "Stage", "Verdict", "judge",
    "to_confirm", "worst",
]  # fmt: skip
