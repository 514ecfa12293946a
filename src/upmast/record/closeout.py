"""
The closeout of a site: for every test that its line needs, what the record shows of it, and what is still open.

Each test has one state: passes, fails, not judged, missing, or waived. Their counts add up to the number of tests, always.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from functools import cached_property

from upmast.field.reading_case import margin_unit, value_words
from upmast.finding import Expectation, Limit, Verdict
from upmast.number import number
from upmast.proof.expect import BOTH, FOOT, TOP
from upmast.proof.prove import Proof
from upmast.record.chain import Head
from upmast.record.evidence import finite
from upmast.record.kinds import FindingKept, LimitKept, Signature, Waiver
from upmast.record.whole import Stands, Whole

PLACES = (TOP, BOTH, FOOT)  # what has to be done before anyone comes down stands first
LIMIT_CHANGED = "the limit was changed since it was judged"
MEASURE = "measure it again as the test plan says"
SINCE_SIGNED = "signed"  # asks for what changed since the last signature


class State(StrEnum):
    """How a test stands, the most urgent first."""

    FAILS = "fails"
    NOT_JUDGED = "not judged"
    MISSING = "missing"
    WAIVED = "waived"
    PASSES = "passes"

    def __str__(self) -> str:
        return self.value

    @property
    def rank(self) -> int:
        return list(State).index(self)


@dataclass(frozen=True, slots=True)
class Row:
    """One test: what was expected, what stands, and why it is open."""

    test: Expectation
    state: State
    without: State  # without its waiver
    stands: Stands | None = None
    waiver: Waiver | None = None
    why: str = ""  # why it is open, where the judgement itself does not say it
    changed: bool = False  # since the head that was asked for
    was: State | None = None  # how it stood at that head
    earlier: tuple[Stands, ...] = ()  # judgements with another verdict than the one that stands, oldest first

    @property
    def first(self) -> FindingKept | None:
        """The finding that decides."""
        return self.stands.judgement.findings[0] if self.stands else None

    @property
    def differs(self) -> FindingKept | None:
        """Where it differs from design, though that decides nothing."""
        rest = self.stands.judgement.findings[1:] if self.stands else ()
        return next((f for f in rest if f.verdict == "fails"), None)

    @property
    def file(self) -> str:
        return self.stands.measurement.name if self.stands else ""

    @property
    def reason(self) -> str:
        """Exactly why it is open, in one or two sentences; '' for what passes."""
        if self.without is State.PASSES:
            return ""
        first = self.first
        if first is None:
            return self.why or "no result of it is in the record"
        if self.why:
            return self.why
        value = value_words(first)
        if self.without is State.FAILS:
            short = (
                f", {number(abs(first.margin), margin_unit(first.unit))} beyond it" if first.margin is not None else ""
            )
            note = f"; {first.note}" if first.note else ""
            return f"{value}, limit {limit_words(first.limit)}{short}{note}"
        lacking = "; ".join(_parted(text)[0] for text in first.missing[:3]) or "more"
        return f"{value if first.value is not None else 'no value'}: it needs {lacking}"

    @property
    def remedy(self) -> str:
        """What to do about it."""
        if self.without is State.PASSES:
            return ""
        if self.without is State.MISSING:
            return (
                f"measure it, {self.test.where}: {self.test.set_up}"
                if not self.why
                else "judge its file again: upmast record keep"
            )
        if self.why:
            return "judge its file again: upmast record keep"
        if self.first is None:
            return MEASURE
        if self.without is State.NOT_JUDGED:
            some = [_parted(text)[1] for text in self.first.missing[:3]]
            told = "; ".join(dict.fromkeys(text for text in some if text))
            lacking = "; ".join(self.first.missing[:3])  # what a failure would ask is not asked of what is not judged
            if not lacking or self.first.remedy.startswith(lacking):
                lacking = self.first.remedy
            return told or lacking or MEASURE
        return self.first.remedy or MEASURE


def _parted(missing: str) -> tuple[str, str]:
    """What is missing, and what to do about it, where the text has both: `a sound set-up: why; what to do`."""
    if not missing.startswith(("a sound set-up: ", "a surer reading: ")):
        return missing, ""
    words, _, remedy = missing.partition("; ")
    return words, remedy


def limit_words(limit: LimitKept | Limit | None) -> str:
    """`at least 17.70 dB`, or that there is none."""
    return f"{limit.sense} {number(limit.value, limit.unit)}" if limit is not None else "none"


@dataclass(frozen=True)
class Closeout:
    """The whole of it, as the record and the line stood."""

    proof: Proof
    whole: Whole
    on: date
    rows: tuple[Row, ...]  # the most urgent first
    since: Head | None = None
    elsewhere: Mapping[str, tuple[str, ...]] | None = None  # by digest of a raw file, other sites that have it

    @property
    def head(self) -> Head:
        return self.whole.head

    @cached_property
    def counts(self) -> dict[State, int]:
        """How many tests are in each state."""
        found = Counter(row.state for row in self.rows)
        return {state: found[state] for state in State}

    def of(self, *states: State) -> tuple[Row, ...]:
        return tuple(row for row in self.rows if row.state in states)

    @property
    def verdict(self) -> Verdict:
        """Fails if any test does; passes if all pass or are waived; else not judged."""
        if self.counts[State.FAILS]:
            return Verdict.FAILS
        open_ = self.counts[State.NOT_JUDGED] + self.counts[State.MISSING]
        return Verdict.NOT_JUDGED if open_ or not self.rows else Verdict.PASSES

    @property
    def words(self) -> str:
        """The verdict in one sentence."""
        counts = self.counts
        if self.verdict is Verdict.PASSES:
            if not counts[State.WAIVED]:
                return f"Complete: all {len(self.rows)} tests pass."
            never = sum(row.without is State.MISSING for row in self.of(State.WAIVED))
            done = f", {never} of them never measured" if never else ""
            return f"Complete: of {len(self.rows)} tests {counts[State.PASSES]} pass, {counts[State.WAIVED]} waived by name{done}."
        told = [f"{counts[state]} {state}" for state in (State.FAILS, State.NOT_JUDGED, State.MISSING) if counts[state]]
        return f"Not accepted: of {len(self.rows)} tests {', '.join(told)}."

    @cached_property
    def open_at(self) -> dict[str, int]:
        """How many tests are missing, fail or are not judged, by where they are done; the top first."""
        states = (State.FAILS, State.NOT_JUDGED, State.MISSING)
        found = Counter(row.test.where for row in self.rows if row.state in states)
        places = (*PLACES, *sorted(set(found) - set(PLACES)))
        return {place: found[place] for place in places if found[place]}

    @property
    def shown(self) -> tuple[Row, ...]:
        """The tests that are listed one by one: all, or where a head was given those that changed since."""
        return self.rows if self.since is None else self.changed

    @property
    def changed(self) -> tuple[Row, ...]:
        return tuple(row for row in self.rows if row.changed)


def place_rank(where: str) -> int:
    return PLACES.index(where) if where in PLACES else len(PLACES)


def closeout_of(
    proof: Proof, whole: Whole, on: date, *, since: Head | None = None,
    elsewhere: Mapping[str, tuple[str, ...]] | None = None,
) -> Closeout:  # fmt: skip
    """
    The closeout of a line from all that the record says of its site.

    Parameters
    ----------
    on : the day on which waivers are looked at.
    since : a head; tests whose judgement or waiver changed after it are marked.

    Raises
    ------
    UsageError
        If that head is not one of this chain.
    """
    rows = _rows(proof, whole, on)
    if since is not None:
        before = whole.until(since)
        day = date.fromisoformat(before.said[-1][0].time[:10]) if before.said else on
        was = {row.test.id: _mark(row) for row in _rows(proof, before, day)}
        rows = [_marked(row, was.get(row.test.id)) for row in rows]
    order = {one.id: n for n, one in enumerate(proof.expectations)}
    rows.sort(key=lambda row: (row.state.rank, place_rank(row.test.where), _share(row), order[row.test.id]))
    return Closeout(proof, whole, on, tuple(rows), since, elsewhere)


def last_signed(whole: Whole) -> Head | None:
    """The head that the last signature stands for; None while nobody has signed."""
    signed = whole.of(Signature)
    return Head(whole.site, signed[-1][1].entries, signed[-1][1].head) if signed else None


def _share(row: Row) -> float:
    """The margin as a share of the limit, so that the worst of a place stands first."""
    first = row.first
    if first is None or first.limit is None or first.margin is None or row.state is not State.FAILS:
        return 0.0
    return first.margin / (abs(first.limit.value or 0.0) or 1.0)


def _mark(row: Row) -> tuple[State, str]:
    return row.state, row.stands.entry.key if row.stands else ""


def _marked(row: Row, before: tuple[State, str] | None) -> Row:
    return replace(row, changed=before != _mark(row), was=before[0] if before is not None else None)


def _rows(proof: Proof, whole: Whole, on: date) -> list[Row]:
    standing = whole.standing(proof.line.digest)
    elsewhere = whole.judged_elsewhere(proof.line.digest)
    every = whole.judged()
    held = [(entry.key, what) for entry, what, state in whole.waivers(on) if state == "holds"]
    out = []
    for test in proof.expectations:
        stands = standing.get(test.id)
        without, why = _state(proof, test, stands)
        if stands is None and test.id in elsewhere:
            why = "judged as a test of another line or revision only"
        waiver = None if without is State.PASSES else _waiver(test.id, stands, [what for _, what in held])
        earlier = _earlier(stands, every.get(test.id, ()))
        out.append(Row(test, State.WAIVED if waiver else without, without, stands, waiver, why, earlier=earlier))
    return out


def _earlier(stands: Stands | None, every: Sequence[Stands]) -> tuple[Stands, ...]:
    """What was judged of a test and says otherwise than what stands: a better file does not make the first one unsaid."""
    if stands is None:
        return ()
    return tuple(
        one for one in every if one.entry.key != stands.entry.key and one.judgement.verdict != stands.judgement.verdict
    )


def _state(proof: Proof, test: Expectation, stands: Stands | None) -> tuple[State, str]:
    if stands is None:
        return State.MISSING, ""
    first = stands.judgement.findings[0]
    now = proof.limits.get(first.code)
    if now is not None and first.limit is not None and not _same(first.limit, now):
        told = f"{LIMIT_CHANGED}: then {limit_words(first.limit)}, now {limit_words(now)}"
        return State.NOT_JUDGED, told if _moved(first.limit, now) else "the limit was confirmed since it was judged"
    return State(stands.judgement.verdict), ""


def _moved(then: LimitKept, now: Limit) -> bool:
    return (then.value, then.unit, then.sense) != (finite(now.value), now.unit, str(now.sense))


def _same(then: LimitKept, now: Limit) -> bool:
    """Whether a limit is what it was; its mark, too, since against a limit from memory nothing is judged."""
    return not _moved(then, now) and (then.mark == "memory") == (str(now.source.mark) == "memory")


def _waiver(test: str, stands: Stands | None, held: list[Waiver]) -> Waiver | None:
    """
    The last waiver that covers how a test stands.

    One that names a verdict covers this verdict alone; one for a missing test covers that it is missing, and no later verdict.
    """
    code = stands.judgement.findings[0].code if stands else ""
    for one in reversed(held):
        if one.subject not in (test, f"{code}@{test}"):
            continue
        if stands is None and not one.verdict:
            return one
        if stands is not None and one.covers != "missing" and one.verdict in ("", stands.entry.key):
            return one
    return None
