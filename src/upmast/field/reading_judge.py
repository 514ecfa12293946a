"""
Judge single readings: match each to its test, group those of one test, and compare with limit and expectation, guard band and all.

    judged, asked = judge_readings(proof, [read_values(table, mapping)])

Only the limit decides acceptance; 'differs from design' sorts the queue. What can't be matched is asked, what can't be judged says what
is missing and how to measure it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from upmast.errors import UsageError, shorten
from upmast.field.readers.cell_value import folded
from upmast.field.readers.reading import KINDS, Reading, Readings
from upmast.field.reading_case import (
    Case,
    Judgement,
    is_bound,
    margin_unit,
    ordered,
    places_of,
    shown_margin,
    sorted_remarks,
    value_words,
)
from upmast.field.reading_doubt import Declared, Doubt, class_of, doubt_of
from upmast.field.reading_earth import judge_bond, judge_shield
from upmast.field.reading_electric import judge_insulation, judge_loop, judge_voltage
from upmast.field.reading_match import (
    Index,
    ReadingCandidate,
    as_said,
    index_of,
    match_reading,
    of_column,
    reading_key,
    subject_of,
)
from upmast.field.reading_mechanic import judge_card, judge_torque
from upmast.field.reading_optical import judge_faces, judge_loss
from upmast.field.reading_pim import judge_pim, planned_tones_hz
from upmast.field.reading_planned import KEY as PLANNED
from upmast.field.reading_planned import as_planned
from upmast.field.reading_record import judge_closed
from upmast.field.reading_said import own_verdicts, sentences
from upmast.field.setup import ON_THE_MAST, Remark
from upmast.finding import Finding, Verdict
from upmast.number import number
from upmast.pim.two_tone import CAUTION
from upmast.proof.prove import Proof

MOST_READINGS = 200_000  # of one call
LEAVE_OUT = "-"  # what a person answers for a reading that is not of this line
_JUDGES: Mapping[str, Callable[[Case], Judgement]] = {
    "pim": judge_pim, "ol": judge_loss, "ef": judge_faces, "vdc": judge_voltage, "rloop": judge_loop, "ir": judge_insulation,
    "bond": judge_bond, "shield": judge_shield, "torque": judge_torque, "card": judge_card, "seal": judge_closed, "cap": judge_closed,
}  # fmt: skip
_LASER = "Never look into a fibre or a port: lasers off and proved dark before a face is inspected."
_DC = "A plant delivers thousands of amperes: work on it is for licensed people, by the local code; dead, locked and proved dead."
_EARTH = "Never open an earth on a live line; stop when thunder is seen or heard."
CAUTIONS_OF: Mapping[str, tuple[str, ...]] = {
    "pim": (CAUTION,), "ol": (_LASER,), "ef": (_LASER,), "vdc": (_DC,), "rloop": (_DC,), "bond": (_EARTH,), "shield": (_EARTH,),
    "ir": (_DC, "The test voltage harms what stays connected, and people: nobody at the ends; discharge the cable afterwards."),
    "torque": (ON_THE_MAST,), "seal": (ON_THE_MAST,), "cap": (ON_THE_MAST,),
}  # fmt: skip
SAME_SHARE = 1e-3  # a value that differs by less from what is written was not converted
_NUMBER = re.compile(r"[0-9]{1,9}(?:[.,][0-9]{1,9})?")
_RESIDUAL = re.compile(r"\b(?:residual|self[ -]?test|own load|load on (?:the )?(?:test )?(?:port|lead))\b")


@dataclass(frozen=True, slots=True)
class JudgedReading:
    """
    The readings of one test, judged.

    The first finding decides acceptance; then 'differs from design', then the others. `sentence` is the result for a person on a mast.
    """

    test_id: str
    subject_item: str
    readings: tuple[Reading, ...]
    findings: tuple[Finding, ...]
    remarks: tuple[Remark, ...]
    sentence: str
    confidence: float = 1.0
    reasons: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def verdict(self) -> Verdict:
        return self.findings[0].verdict

    @property
    def file(self) -> str:
        """The file of the readings; several are joined."""
        return ", ".join(sorted({one.file for one in self.readings if one.file}))

    def as_data(self) -> dict[str, object]:
        return {
            "test": self.test_id, "item": self.subject_item, "verdict": str(self.verdict), "sentence": self.sentence, "file": self.file,
            "confidence": self.confidence, "reasons": list(self.reasons),
            "findings": [
                {"code": f.code, "verdict": str(f.verdict), "value": f.value, "unit": f.unit, "margin": f.margin,
                 "limit": None if f.limit is None else f.limit.value, "note": f.note, "do": f.remedy, "missing": list(f.missing)}
                for f in self.findings
            ],
            "remarks": [{"key": r.key, "level": r.level, "words": r.words, "do": r.remedy} for r in self.remarks],
            "readings": [one.as_data() for one in self.readings],
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class AskedReading:
    """A reading whose test a person has to say: the question, and the ids of the tests that it may be."""

    reading: Reading
    question: str
    candidates: tuple[str, ...]
    about: str = ""  # direction or wavelength, where that is what is asked
    count: int = 1  # readings of its column that are asked with it
    sayings: tuple[str, ...] = ()  # sentences that decide all readings of its column, where they are asked as one

    @property
    def key(self) -> str:
        """What the answer is filed under, see `said` of `judge_readings`."""
        return reading_key(self.reading)


def judge_readings(
    proof: Proof,
    tables: Sequence[Readings],
    *,
    uncertainties: Declared | None = None,
    said: Mapping[str, str] | None = None,
    slope_db_per_db: float | None = None,
    only: Sequence[Collection[str]] = (),
) -> tuple[tuple[JudgedReading, ...], tuple[AskedReading, ...]]:
    """
    Judge all readings of some tables.

    Parameters
    ----------
    uncertainties : by serial number or name of an instrument, or by kind of reading: a `Doubt`, a value in the unit of the kind, or the
        name of a class of instruments (`two-point`).
    said : answers of a person, by `AskedReading.key` or by the subject as written: id of a test, or of what was measured; `-` leaves
        the reading out.
    slope_db_per_db : how much intermodulation of this line rises for each dB of both carriers, where somebody states it.
    only : for each table the tests that its readings count for, all if none; what else it holds is neither judged nor asked.

    Returns
    -------
    Tests judged, in the order of the line's tests; and readings to ask about, in their order.

    Raises
    ------
    UsageError
        For a class of instruments that there is not, or more readings than `MOST_READINGS`.
    """
    limits = [*only, *([()] * (len(tables) - len(only)))]
    every = [(one, some) for table, some in zip(tables, limits, strict=True) for one in table.readings]
    if len(every) > MOST_READINGS:
        raise UsageError(f"{len(every)} readings in one go: at most {MOST_READINGS}, judge them file by file")
    if slope_db_per_db is not None and not 1.0 <= slope_db_per_db <= 3.0:
        raise UsageError(f"a slope of intermodulation lies from 1 to 3 dB/dB, not {slope_db_per_db:g}")
    _check(uncertainties)
    index = index_of(proof)
    doubts = partial(doubt_of, declared=uncertainties)
    residuals: dict[tuple[str, str], Reading] = {}
    grouped: dict[str, list[Reading]] = {}
    why: dict[str, ReadingCandidate] = {}
    asked: list[AskedReading] = []
    for read, some in every:
        one = read
        if (said or {}).get(reading_key(one)) == LEAVE_OUT or (said or {}).get(one.subject) == LEAVE_OUT:
            continue
        if not some and one.kind == "pim" and _RESIDUAL.search(folded(one.subject)):
            _keep_residual(residuals, one)
            continue
        one = as_said(index, one, (said or {}).get(reading_key(one)) or (said or {}).get(one.subject) or "")
        match = match_reading(index, one, said)
        if some and (match.decided is None or match.decided.test_id not in some):
            continue
        if match.decided is None:
            asked.append(AskedReading(one, match.question, tuple(c.test_id for c in match.candidates), match.about))
            continue
        id = match.decided.test_id
        grouped.setdefault(id, []).append(one)
        if id not in why or match.decided.confidence < why[id].confidence:
            why[id] = match.decided
    others = {id: ordered(some) for id, some in grouped.items()}
    judged = [
        _judged(proof, index, id, others, doubts, _residual_of(residuals, others[id]), slope_db_per_db, why[id])
        for id in sorted(others, key=_order(index))
    ]
    return tuple(judged), _by_column(asked)


_EITHER: Mapping[str, tuple[str, tuple[str, str]]] = {
    "direction": ("which way they were measured, up (source at the foot) or down (source at the top)", ("up", "down")),
    "wavelength": ("at which wavelength they were measured", ("1310", "1550")),
}


def _by_column(asked: Sequence[AskedReading]) -> tuple[AskedReading, ...]:
    """Readings of one column that lack one and the same thing are asked once, with the sentences that decide the column."""
    alike: dict[tuple[str, int, str], list[AskedReading]] = {}
    for one in asked:
        if one.about and one.reading.column:
            alike.setdefault((one.reading.file, one.reading.column, one.about), []).append(one)
    out: list[AskedReading] = []
    for one in asked:
        some = alike.get((one.reading.file, one.reading.column, one.about), [one])
        if len(some) == 1:
            out.append(one)
        elif one is some[0]:
            lack, either = _EITHER[one.about]
            said = tuple(of_column(one.reading, one.about, word) for word in either)
            words = f"{len(some)} losses of this column do not say {lack}; the first is {shorten(one.reading.subject, 40)!r}. If all of the column are alike, {sentences(one.reading, said[0])} decides it, or {sentences(one.reading, said[1])}"
            out.append(replace(one, question=words, count=len(some), sayings=said))
    return tuple(out)


def _check(uncertainties: Declared | None) -> None:
    for key, given in (uncertainties or {}).items():
        if isinstance(given, str):
            if key in KINDS:
                class_of(key, given)
        elif not isinstance(given, Doubt):
            Doubt(float(given))


def _order(index: Index) -> Callable[[str], int]:
    place = {one.id: n for n, one in enumerate(index.by_id.values())}
    return lambda id: place[id]


def _keep_residual(residuals: dict[tuple[str, str], Reading], one: Reading) -> None:
    """The highest residual of an instrument in a file holds."""
    key = (one.file, one.serial or one.instrument)
    have = residuals.get(key)
    if have is None or (one.value or 0.0) > (have.value or 0.0):
        residuals[key] = one


def _residual_of(residuals: Mapping[tuple[str, str], Reading], readings: tuple[Reading, ...]) -> Reading | None:
    found = [hit for one in readings if (hit := residuals.get((one.file, one.serial or one.instrument))) is not None]
    return max(found, key=lambda one: one.value or 0.0, default=None)


def _judged(
    proof: Proof, index: Index, id: str, others: Mapping[str, tuple[Reading, ...]], doubts: Callable[[Reading], Doubt | None],
    residual: Reading | None, slope: float | None, why: ReadingCandidate,
) -> JudgedReading:  # fmt: skip
    test = index.by_id[id.upper()]
    kind = id.split(".")[1]
    readings, taken = as_planned(test, others[id], planned_tones_hz(proof, subject_of(test)) if kind == "pim" else ())
    case = Case(proof, test, readings, others, doubts, slope, residual)
    findings, remarks = _JUDGES[kind](case)
    remarks = (*remarks, *taken, *own_verdicts(others[id]))
    typed = sorted({name for one in others[id] for name in one.declared})
    if typed:
        words = f"typed by a person, not read from the file: {', '.join(typed)}"
        remarks = (*remarks, Remark("declared", "note", words, ""))
    other = _other_unit(others[id])
    if other:
        remarks = (*remarks, Remark("written", "note", other, ""))
    told = sorted_remarks(remarks)
    stop = next((one for one in told if one.level == "stop"), None)
    if stop is not None and stop.remedy:  # nothing was measured: what to do is the set-up, not what a failure would ask
        findings = tuple(replace(f, remedy=stop.remedy) if f.verdict is Verdict.NOT_JUDGED else f for f in findings)
    return JudgedReading(
        id, subject_of(test), others[id], findings, told, _sentence(id, findings, told), why.confidence, why.reasons,
        CAUTIONS_OF.get(kind, ()),
    )  # fmt: skip


def _other_unit(readings: tuple[Reading, ...]) -> str:
    """What the file holds where it was converted: `as written 4.5 (6.1 N·m)`."""
    shown = []
    for one in readings:
        found = _NUMBER.search(one.written)
        if one.kind != "torque" or one.value is None or found is None:
            continue
        size = float(found.group().replace(",", "."))
        if size and abs(size / one.value - 1.0) > SAME_SHARE:
            shown.append(f"{shorten(one.written.strip(), 20)} is {number(one.value, one.unit)}")
    more = f" and {len(shown) - 4} more" if len(shown) > 4 else ""
    return f"in the unit of the file: {', '.join(shown[:4])}{more}" if shown else ""


def _sentence(id: str, findings: tuple[Finding, ...], remarks: tuple[Remark, ...]) -> str:
    """The result in one or two sentences for a person on a mast."""
    first = findings[0]
    stop = next((one for one in remarks if one.level == "stop"), None)
    if stop is not None:
        return f"{id} not judged: {stop.words}. Do: {stop.remedy}."
    if first.code == "fibre.end-faces" and first.value is not None:  # a count reads better in words
        end = {Verdict.PASSES: ": passes.", Verdict.FAILS: f": fails. Do: {first.remedy}."}
        return f"{id}: {first.note}" + end.get(first.verdict, f": not judged, it needs {'; '.join(first.missing)}.")
    places = places_of(first)
    what = f"{id}: {value_words(first, places)}" if first.value is not None else id
    against = f", limit {first.limit.sense} {number(first.limit.value, first.limit.unit, places=places)}" if first.limit is not None and first.value is not None else ""  # fmt: skip
    off = ""
    if first.margin is not None:
        least = "at least " if is_bound(first) else ""
        off = f" by {least}{number(abs(shown_margin(first, places) or 0.0), margin_unit(first.unit), places=places)}"
    if first.verdict is Verdict.FAILS:
        return f"{what}{against}: fails{off}. Do: {first.remedy}."
    if first.verdict is Verdict.NOT_JUDGED:
        lack = first.missing[0] if first.missing else "more"
        if lack.startswith("confirm ") and first.remedy.startswith(lack):
            lack = first.remedy
        return f"{what}{against}: not judged, {'' if lack.startswith('confirm ') else 'it needs '}{lack}."
    text = f"{what}{against}: passes{off}."
    text += "".join(f" {one.words[:1].upper()}{one.words[1:]}." for one in remarks if one.key == PLANNED)
    differs = next(
        (one for one in findings[1:] if one.code.endswith("-expected") and one.verdict is Verdict.FAILS), None
    )
    warn = next((one for one in remarks if one.level == "warn"), None)
    if differs is not None:
        text += f" But it differs from design by {value_words(differs)}: {differs.remedy}."
    elif warn is not None:
        text += f" But {warn.words}: {warn.remedy}."
    return shorten(text, 1000)


__all__ = ["CAUTIONS_OF", "LEAVE_OUT", "AskedReading", "JudgedReading", "judge_readings", "reading_key"]
