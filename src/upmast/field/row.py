"""
One line of the queue: a test judged, a file that asks or can't be read, or what several files say together.

Every row says in few words what is the matter, and what to do now.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from upmast.errors import InputFaults, shorten
from upmast.field.across import Told
from upmast.field.judge import Judged
from upmast.field.reading_case import margin_unit, places_of, value_words
from upmast.field.reading_judge import AskedReading, JudgedReading
from upmast.field.setup import Remark
from upmast.finding import Finding, Verdict
from upmast.number import number
from upmast.site.sheet_read import letter

JUDGED, ASKED, UNREADABLE, TOLD = "judged", "asked", "unreadable", "told"
EXPLAINS = frozenset({"bend", "directions", "alike"})  # remarks that say why a test fails
USUAL = "encoding: UTF-8"  # of a table: nothing to tell
AGAIN = frozenset({"span", "points", "unconfirmed"})  # warnings that are answered before anybody leaves
SHOWN_NOTES = frozenset({"velocity", "sign"})
TOP, BOTH, FOOT = "at the top", "at both ends", "at the foot"
_COUNTED = re.compile(r"([0-9]{1,9}) more (?:rows with )?faults")  # the last fault, where there are too many to tell


class Urgency(IntEnum):
    """What comes first while somebody is still at the top; the order is own practice, no source."""

    AGAIN_TOP = 0  # the set-up makes it worthless, and it takes somebody at the top to do it again
    FAILS_TOP = 1
    FAILS = 2
    AGAIN = 3
    NOT_JUDGED = 4
    BETWEEN = 5  # what several files say together
    UNREADABLE = 6
    ASKED = 7
    DIFFERS = 8  # passes its limit, but is not what this design shows
    NOTED = 9  # passes, with a warning or a note between files
    PASSES = 10


@dataclass(frozen=True, slots=True)
class Row:
    """
    One line of the queue. `verdict` is '' unless the state is judged; `share` is the margin as a share of its limit, for sorting.

    `told` is the shown name of each file that it rests on, the first one first.
    """

    kind: str  # sweep, reading, distance, table, file or across
    state: str
    files: tuple[str, ...]
    what: str
    do: str
    urgency: Urgency
    verdict: str = ""
    test: str = ""
    where: str = ""
    sentence: str = ""
    findings: tuple[Finding, ...] = ()
    remarks: tuple[Remark, ...] = ()
    share: float | None = None
    candidates: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()  # words for --say that answer what is asked
    faults: InputFaults | None = None
    digest: str = ""
    grade: str = ""
    mended: tuple[str, ...] = ()
    folded: bool = False  # another row says it already
    judged: Judged | None = None
    reading: JudgedReading | None = None

    @property
    def file(self) -> str:
        return self.files[0] if self.files else ""

    @property
    def differs(self) -> bool:
        return any(one.verdict is Verdict.FAILS for one in self.findings[1:])

    @property
    def order(self) -> tuple[int, int, float, str, str]:
        """Most urgent first; then who needs somebody at the top; then the worst margin; then by name."""
        place = {TOP: 0, BOTH: 1, FOOT: 2}.get(self.where, 3)
        share = self.share if self.share is not None else 0.0
        return int(self.urgency), place, share, self.test or "~", self.file


def sweep_row(judged: Judged, file: str, where: str) -> Row:
    """The row of a sweep."""
    row = _judged("sweep", judged.findings, judged.remarks, where, judged.test_id)
    what, do = _words(judged.findings, judged.remarks)
    if judged.verdict is Verdict.PASSES and row[0] is Urgency.DIFFERS and judged.open_first:
        do = f"look before the crew leaves: {judged.open_first[0].words}"
    return Row(
        "sweep", JUDGED, (file,), what, do, row[0], str(judged.verdict), judged.test_id, where, judged.sentence, judged.findings,
        judged.remarks, row[1], digest=judged.sweep.digest, grade=str(judged.sweep.evidence), mended=tuple(one for one in judged.sweep.mended if one != USUAL), judged=judged,
    )  # fmt: skip


def open_end_row(row: Row) -> Row:
    """The row of an open end that was swept beside a short: told with the short, no test of its own, and nothing to do."""
    what = f"{row.file}: open end, beside the short of {row.test}"
    return replace(
        row, state=TOLD, what=what, do="", urgency=Urgency.NOTED, verdict="", sentence=f"{what}.", findings=(), remarks=(), share=None,
        folded=True, mended=(),
    )  # fmt: skip


def reading_row(one: JudgedReading, where: str, grade: str = "B") -> Row:
    """The row of a reading, or of the readings that belong to one test."""
    urgency, share = _judged("reading", one.findings, one.remarks, where, one.test_id)
    what, do = _words(one.findings, one.remarks)
    written = "; ".join(r.words for r in one.remarks if r.key in ("written", "planned"))
    if written and one.findings[0].value is not None:
        what = f"{what} ({written})"
    files = tuple(dict.fromkeys(r.file for r in one.readings)) or (one.file,)
    return Row(
        "reading", JUDGED, files, what, do, urgency, str(one.verdict), one.test_id, where, one.sentence, one.findings,
        one.remarks, share, grade=grade, reading=one,
    )  # fmt: skip


def _judged(
    kind: str, findings: Sequence[Finding], remarks: Sequence[Remark], where: str, test: str
) -> tuple[Urgency, float | None]:
    """How urgent a judged test is, and its margin as a share of the limit."""
    first = findings[0]
    up = where in (TOP, BOTH)
    levels = {one.level for one in remarks}
    if first.verdict is Verdict.FAILS:
        urgency = Urgency.FAILS_TOP if up else Urgency.FAILS
    elif first.verdict is Verdict.NOT_JUDGED:
        stopped = "stop" in levels or any(one.key in AGAIN and one.level == "warn" for one in remarks)
        urgency = (Urgency.AGAIN_TOP if up else Urgency.AGAIN) if stopped else Urgency.NOT_JUDGED
    elif any(one.verdict is Verdict.FAILS for one in findings[1:]):
        urgency = Urgency.DIFFERS
    else:
        urgency = Urgency.NOTED if _told(remarks) is not None else Urgency.PASSES
    return urgency, first.normalised_margin


def _words(findings: Sequence[Finding], remarks: Sequence[Remark]) -> tuple[str, str]:
    """What is the matter, and what to do now."""
    first = findings[0]
    stop = next((one for one in remarks if one.level == "stop"), None)
    if first.verdict is Verdict.NOT_JUDGED and stop is not None:
        return stop.words, stop.remedy
    again = next((one for one in remarks if one.key in AGAIN and one.level == "warn"), None)
    if first.verdict is Verdict.NOT_JUDGED and again is not None:
        return again.words, again.remedy
    limit, places = first.limit, places_of(first)
    what = value_words(first, places) if first.value is not None else "no value"
    if limit is not None and first.value is not None and first.margin is None and first.verdict is Verdict.NOT_JUDGED:
        what += f", not comparable with the limit ({limit.sense} {number(limit.value, limit.unit, places=places)})"
    elif limit is not None:
        what += f", limit {limit.sense} {number(limit.value, limit.unit, places=places)}"
    warn = next((one for one in remarks if one.level == "warn"), None)
    if first.verdict is Verdict.FAILS:
        return f"{what}: {warn.words}" if warn is not None and warn.key in EXPLAINS else what, first.remedy
    if first.verdict is Verdict.NOT_JUDGED:
        if first.missing and first.missing[0].startswith("confirm "):  # a thing to do, not a thing that lacks
            return what, first.remedy if first.remedy.startswith(first.missing[0]) else first.missing[0]
        return what, f"it needs {first.missing[0]}" if first.missing else first.remedy
    off = next((one for one in findings[1:] if one.verdict is Verdict.FAILS), None)
    if off is not None:
        return f"{what}, but differs from design by {number(abs(off.margin or 0.0), margin_unit(off.unit))}", off.remedy
    told = _told(remarks)
    return what, f"{told.words}; {told.remedy}" if told is not None else ""


def _told(remarks: Sequence[Remark]) -> Remark | None:
    """The remark that a test which passes is listed for: a warning, or a note that changes what somebody reads elsewhere."""
    return next((one for one in remarks if one.level != "note" or one.key in SHOWN_NOTES), None)


def distance_row(remarks: Sequence[Remark], path: str, file: str, digest: str) -> Row:
    """A trace over distance: never judged; the velocity that was set comes before what to export instead."""
    stop = next(one for one in remarks if one.level == "stop")
    off = next((one for one in remarks if one.level == "warn"), None)
    what, do = (off.words, f"{off.remedy}; {stop.remedy}") if off is not None else (stop.words, stop.remedy)
    return Row(
        "distance", JUDGED, (file,), what, do, Urgency.NOT_JUDGED, str(Verdict.NOT_JUDGED), where=TOP,
        sentence=f"{path} over distance: {what}. Do: {do}.", remarks=tuple(remarks), digest=digest, grade="B",
    )  # fmt: skip


def asked_row(
    kind: str, file: str, question: str, candidates: Sequence[str] = (), answers: Sequence[str] = (), digest: str = ""
) -> Row:
    """A file, table or reading that a person has to decide."""
    do = (
        f"answer with --say {shlex.quote(answers[0])}"
        if answers
        else "name the file by its test, or say which test it is"
    )
    return Row(
        kind, ASKED, (file,), question, do, Urgency.ASKED, candidates=tuple(candidates), answers=tuple(answers), digest=digest
    )  # fmt: skip


def asked_reading(one: AskedReading) -> Row:
    """A reading whose test a person has to say, or a column of them that lack one thing."""
    if one.sayings:
        said = [f"{one.reading.file}: {words}" for words in one.sayings]
        return asked_row("reading", one.reading.file, f"column {letter(one.reading.column)}: {one.question}", (), said)
    cell = f"{letter(one.reading.column)}{one.reading.row}" if one.reading.column else f"row {one.reading.row}"
    answers = [f"{one.reading.file}: {cell} is {test}" for test in one.candidates[:4]]
    return asked_row("reading", one.reading.file, f"{cell}: {one.question}", one.candidates, answers)


def unreadable_row(kind: str, file: str, faults: InputFaults, digest: str = "") -> Row:
    """A file that can't be read: its first fault in one line, all of them in `faults`."""
    first = faults.faults[0]
    where = f"line {first.line}: " if first.line else ""
    got = first.got or first.place
    what = f"{where}{shorten(got, 120)}; expected {first.expected}" if got else f"{where}expected {first.expected}"
    if len(faults.faults) > 1:
        lines = list(dict.fromkeys(str(one.line) for one in faults.faults[1:] if one.line and one.line != first.line))
        at = (
            f", in line{'s' * (len(lines) > 1)} {', '.join(lines[:8])}{' and others' * (len(lines) > 8)}"
            if lines
            else ""
        )
        what += f"; and {_count(faults) - 1} more{at}"
    return Row(kind, UNREADABLE, (file,), what, first.remedy, Urgency.UNREADABLE, faults=faults, digest=digest)


def _count(faults: InputFaults) -> int:
    """How many faults a file has, with those that were only counted."""
    counted = _COUNTED.match(faults.faults[-1].got)
    return len(faults.faults) - 1 + int(counted.group(1)) if counted else len(faults.faults)


def told_row(one: Told, where: str) -> Row:
    """What several files say together; where paths seem exchanged, with the words that exchange two, then those that keep the names."""
    answers: tuple[str, ...] = ()
    if one.kind == "swaps" and len(one.tests) == len(one.files) == 2:
        exchanged = zip(one.files, reversed(one.tests), strict=True)
        answers = tuple(
            f"{file}: test is {test}" for file, test in (*exchanged, *zip(one.files, one.tests, strict=True))
        )
    elif one.kind == "swaps" and len(one.tests) == len(one.files):
        answers = tuple(f"{file}: test is {test}" for file, test in zip(one.files, one.tests, strict=True))
    urgency = {"stop": Urgency.AGAIN_TOP if where in (TOP, BOTH) else Urgency.AGAIN, "warn": Urgency.BETWEEN}.get(
        one.level, Urgency.NOTED
    )
    return Row(
        "across", TOLD, one.files, one.words, one.remedy, urgency, "", ", ".join(one.tests), where, one.words,
        remarks=(Remark(one.kind, one.level, one.words, one.remedy),), answers=answers,
    )  # fmt: skip


__all__ = [
    "Row",
    "Urgency",
    "asked_reading",
    "asked_row",
    "distance_row",
    "open_end_row",
    "reading_row",
    "sweep_row",
    "told_row",
    "unreadable_row",
]
