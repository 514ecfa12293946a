"""What the judges of single readings share: the readings of one test, a verdict for an interval, the distance to what was expected."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from upmast.errors import shorten
from upmast.field.readers.reading import Reading
from upmast.field.reading_doubt import Doubt, Span, span_of
from upmast.field.reading_match import subject_of
from upmast.field.setup import Remark
from upmast.finding import Expectation, Finding, Limit, Stage, judge
from upmast.number import MOST_PLACES, number, places_apart
from upmast.proof.prove import Proof
from upmast.source import Mark

Readings = tuple[Reading, ...]
Judgement = tuple[tuple[Finding, ...], tuple[Remark, ...]]
TURNED = {"": "", "<": ">", ">": "<"}
BOUNDS = {"<": "less than", ">": "more than"}
PLAIN = ", no plain value"  # behind a bound, in the note of a finding
SAME = 1e-9  # equal to the limit passes, to this share of it, as in `finding.judge`


@dataclass(frozen=True, slots=True)
class Case:
    """
    The readings of one test with all that judges them.

    `others` are the readings of every test of the same call, by test id: the other direction, the other pairs, end faces. `doubts` gives
    the uncertainty of a reading, None where nobody states one. `residual` is what the instrument for intermodulation reads on a load at
    its own port, `slope_db_per_db` how its level is said to rise with both carriers.
    """

    proof: Proof
    test: Expectation
    readings: Readings
    others: Mapping[str, Readings]
    doubts: Callable[[Reading], Doubt | None]
    slope_db_per_db: float | None = None
    residual: Reading | None = None

    @property
    def id(self) -> str:
        return self.test.id

    @property
    def subject(self) -> str:
        return subject_of(self.test)

    def span(self, reading: Reading) -> Span | None:
        doubt = self.doubts(reading)
        return None if doubt is None else span_of(reading, doubt)

    def doubt_words(self, reading: Reading) -> str:
        doubt = self.doubts(reading)
        if doubt is None:
            return "no uncertainty stated"
        off = float(doubt.off(reading.value or 0.0))
        return f"may be off by {number(off, reading.unit or '')} ({doubt.words}, {doubt.source.mark})"


def four_wire_words(case: Case, reading: Reading) -> str:
    """How to say that four wires were used already; '' where the reading is taken as such, or its uncertainty was declared."""
    doubt = case.doubts(reading)
    if doubt is None or doubt.words == "four wire" or doubt.source.mark is Mark.DECLARED:
        return ""
    return f"; if four wires were used, --say 'uncertainty of {reading.kind} is four-wire' settles it"


def uncertain(kind: str) -> str:
    """What is missing where nobody states how far an instrument may be off."""
    return f"the uncertainty of the instrument ({kind}): state it"


def ordered(readings: Iterable[Reading]) -> Readings:
    """Readings in an order of their own, whatever order they came in."""
    return tuple(
        sorted(readings, key=lambda r: (r.time, r.file, r.row, r.column, r.subject, r.value is None, r.value or 0.0, r.comparator))
    )  # fmt: skip


def standing(
    readings: Readings, key: Callable[[Reading], Hashable] = lambda _: 0
) -> tuple[tuple[Readings, ...], tuple[Remark, ...]]:
    """
    Which readings count: of each key the last one where all times are told and differ, else all of them.

    Returns
    -------
    One tuple of readings for each key, and remarks on what was measured more than once.
    """
    by_key: dict[Hashable, list[Reading]] = {}
    for one in ordered(readings):
        by_key.setdefault(key(one), []).append(one)
    kept: list[Readings] = []
    remarks: list[Remark] = []
    for some in by_key.values():
        times = [one.time for one in some]
        sure = all(times) and len({len(one) for one in times}) == 1 and times.count(max(times)) == 1
        kept.append((some[-1],) if sure else tuple(some))
        if len(some) > 1:
            values = ", ".join(_as_read(one) for one in some[:6])
            remarks.append(
                Remark("repeated", "note", f"measured {len(some)} times ({values}): the last one, of {times[-1]}, decides", "")
                if sure
                else Remark(
                    "repeated", "note", f"measured {len(some)} times ({values}), and no time tells which is the last: the worst decides",
                    "leave out the rows that no longer hold, or give the times",
                )
            )  # fmt: skip
    return tuple(kept), tuple(remarks)


def _as_read(one: Reading) -> str:
    return (
        one.written.strip()[:20] or "over range"
        if one.value is None
        else f"{one.comparator}{number(one.value, one.unit)}"
    )


def against(
    code: str, case: Case, span: Span, limit: Limit | None, *, unit: str, decide: str, note: str = "", remedy: str = "",
    stops: Sequence[str] = (), to_pass: Sequence[str] = (), between: str = "",
) -> Finding:  # fmt: skip
    """
    Judge an interval: passes or fails only where both of its ends do.

    Parameters
    ----------
    decide : the cheapest measurement that would decide where the limit lies inside.
    stops : what makes the reading worthless: then nothing is judged.
    to_pass : what is lacking for a pass, though the reading can fail without it.
    between : words in place of those on uncertainty, where the interval is wide for another reason.
    """
    if span.bound:
        places = 0 if "Ω" in unit and abs(span.value) >= 10 and float(span.value).is_integer() else None
        shown = f"{BOUNDS[span.bound]} {number(span.value, unit, places=places)}{_over(case, span)}"
        note = f"{shown}{PLAIN}" + (f"; {note}" if note else "")
    missing = tuple(stops)
    if limit is not None and not missing:
        tolerance = SAME * max(1.0, abs(limit.value))
        margins = limit.margin(span.low), limit.margin(span.high)
        passes, fails = min(margins) >= -tolerance, max(margins) < -tolerance
        if not fails and to_pass:
            missing = tuple(to_pass)
        elif not passes and not fails:
            missing = (between or _near(span, unit, limit.value) + f"; {decide}",)
    return judge(code, case.id, span.value, limit, unit=unit, note=note, remedy=remedy, missing=missing, items=case.test.items)  # fmt: skip


def _over(case: Case, span: Span) -> str:
    """What stands in the file where the meter was over its range: ` (OL)`."""
    if span.bound != ">":
        return ""
    written = next((one.written.strip() for one in case.readings if one.value is None and one.written.strip()), "")
    return f" ({shorten(written, 12)})" if written else ""


def span_words(span: Span, unit: str) -> str:
    """The value of an interval as it is shown; a bound as one."""
    side = f"{BOUNDS[span.bound]} " if span.bound else ""
    return f"{side}{number(span.value, unit)}"


class Valued(Protocol):
    """A value with its unit and note: a finding, or one that a record kept."""

    @property
    def value(self) -> float | None: ...
    @property
    def unit(self) -> str: ...
    @property
    def note(self) -> str: ...


def value_words(finding: Valued, places: int | None = None) -> str:
    """The value of a finding as it is shown: a bound is told as one, `more than 200.0 MΩ (OL)`, never as a plain number."""
    if finding.value is not None and finding.note.startswith(tuple(f"{one} " for one in BOUNDS.values())):
        words, plain, _ = finding.note.partition(PLAIN)
        if plain:
            return words
    return number(finding.value, finding.unit, places=places)


def is_bound(finding: Finding) -> bool:
    """Whether the value of a finding is only a bound of the true one."""
    return value_words(finding) != number(finding.value, finding.unit)


def margin_unit(unit: str) -> str:
    """A difference of two levels is a ratio: dB.

    >>> margin_unit("dBc"), margin_unit("V")
    ('dB', 'V')
    """
    return "dB" if unit in ("dBc", "dBm") else unit


def places_of(finding: Finding) -> int:
    """Digits after the point by which value and limit of a finding are told apart, and its true margin is their difference as shown."""
    value, limit, margin = finding.value, finding.limit, finding.margin
    values = [one for one in (value, limit.value if limit is not None else None) if one is not None]
    if not finding.unit and all(float(one).is_integer() for one in values):
        return 0  # a count
    least = places_apart(values, finding.unit)
    if value is None or limit is None or margin is None or not math.isfinite(value) or not math.isfinite(margin):
        return least
    for places in range(least, MOST_PLACES + 1):
        shown = abs(round(value, places) - round(limit.value, places))
        if abs(shown - round(abs(margin), places)) < 0.5 * 10.0**-places:
            return places
    return least


def shown_margin(finding: Finding, places: int) -> float | None:
    """The margin as it is shown: the true one, rounded; `places_of` chooses digits by which value and limit agree with it."""
    return (
        finding.margin if finding.margin is None or not math.isfinite(finding.margin) else round(finding.margin, places)
    )


def _near(span: Span, unit: str, limit: float) -> str:
    if span.bound == "<":
        return f"a lower reading: less than {number(span.value, unit)} is only a bound, and the limit lies below it"
    if span.bound == ">":
        return f"a higher range: more than {number(span.value, unit)} is only a bound, and the limit lies above it"
    places = places_apart((span.value, span.low, span.high, limit), unit)
    value, low, high = (number(one, unit, places=places) for one in (span.value, span.low, span.high))
    return f"a surer reading: {value} may be {low} to {high}, and the limit lies between"


def not_judged(code: str, case: Case, limit: Limit | None, missing: Sequence[str], unit: str = "", remedy: str = "") -> Finding:  # fmt: skip
    """A finding without a value."""
    return judge(code, case.id, None, limit, unit=unit, missing=tuple(missing), remedy=remedy, items=case.test.items)


def outside(
    code: str, case: Case, span: Span, low: float, high: float, *, unit: str, remedy: str, stops: Sequence[str] = (), to_pass: Sequence[str] = (), quantity_unit: str = "",
) -> Finding:  # fmt: skip
    """How far an interval lies outside the expected band: positive outside, negative inside. Sorts the work, decides nothing."""
    limit = case.proof.limits.get(code)
    sides = [(span.value - high, span.low - high, span.high - high, span.bound)] if math.isfinite(high) else []
    if math.isfinite(low):
        sides.append((low - span.value, low - span.high, low - span.low, TURNED[span.bound]))
    if not sides:
        return not_judged(code, case, limit, ("an expectation: the parts do not tell enough",), unit)
    value, least, most, bound = max(sides)
    shown = quantity_unit or unit
    band = f"{number(low, shown) if math.isfinite(low) else 'any'} to {number(high, shown) if math.isfinite(high) else 'any'}"  # fmt: skip
    where = f"{number(abs(value), unit)} {'outside' if value > 0 else 'inside'} what this line should show ({band})"
    return against(
        code, case, Span(value, least, most, bound), limit, unit=unit, note=where, remedy=remedy, stops=stops, to_pass=to_pass,
        decide="the reading that decides the limit decides this too", between=f"more than a bound: {where}" if span.bound else "",
    )  # fmt: skip


def halted(remarks: Iterable[Remark]) -> tuple[str, ...]:
    """What `stop` remarks ask for before anything can be judged."""
    return tuple(f"a sound set-up: {one.words}; {one.remedy}" for one in remarks if one.level == "stop")


def first_of(findings: Sequence[Finding]) -> Finding:
    """Of several limits on one reading the one that decides: a failure first, then what is not judged, then the least margin."""
    rank = {"fails": 0, "not judged": 1, "passes": 2}
    return min(findings, key=lambda one: (rank[str(one.verdict)], one.margin if one.margin is not None else -math.inf))


def worst_span(spans: Sequence[Span], limit: Limit | None) -> Span:
    """The interval that a limit bears least; without a limit the highest."""
    if limit is None:
        return max(spans, key=lambda one: (one.high, one.value))
    return min(spans, key=lambda one: (min(limit.margin(one.low), limit.margin(one.high)), limit.margin(one.value)))


def sorted_remarks(remarks: Iterable[Remark]) -> tuple[Remark, ...]:
    order = {"stop": 0, "warn": 1, "note": 2}
    return tuple(sorted(dict.fromkeys(remarks), key=lambda one: order[one.level]))


def renamed(limit: Limit | None, code: str, value: float | None = None) -> Limit | None:
    """The same limit under the code of a measurement."""
    if limit is None:
        return None
    return replace(limit, code=code, stage=Stage.ACCEPTANCE, value=limit.value if value is None else value)


__all__ = [
    "BOUNDS", "Case", "Judgement", "Readings", "against", "first_of", "four_wire_words", "halted", "is_bound", "margin_unit", "not_judged", "ordered", "outside",
    "places_of", "renamed", "shown_margin", "sorted_remarks", "span_words", "standing", "uncertain", "value_words", "worst_span",
]  # fmt: skip
