"""Judge what is measured on a strand: its loss at two wavelengths and both ways, and the grades of its end faces."""

from __future__ import annotations

import math
from dataclasses import replace

from upmast.fibre.acceptance import Signature, bend_signature, directions_db
from upmast.field.readers.reading import Reading
from upmast.field.reading_case import (
    Case,
    Judgement,
    Readings,
    against,
    halted,
    not_judged,
    outside,
    span_words,
    standing,
    uncertain,
)
from upmast.field.reading_doubt import Span
from upmast.field.reading_match import right_wavelength, wavelength_of
from upmast.field.reading_words import rest_of
from upmast.field.setup import Remark
from upmast.finding import Finding, judge
from upmast.number import number

CODE, EXPECTED, FACES = "fibre.loss", "fibre.loss-expected", "fibre.end-faces"
COUNT = "end-face-count"
CLEAN = "clean and inspect both faces, set the reference again with the same cords"
DECIDE = f"{CLEAN}, measure both ways: the mean decides"
DECIDE_MEAN = f"{CLEAN}, measure again"  # where both ways are averaged already
REMEDY = "inspect and clean every mated pair on its way, then measure again; then look for a tight bend"
DARK = (
    "no continuity: no light came through. Trace the strand from end to end: plugs not mated, crossed strands, a break"
)


def judge_loss(case: Case) -> Judgement:
    """
    The loss of a strand at one wavelength: the mean of both directions where there are both.

    Below the floor of physics less its uncertainty the reference was wrong, and nothing is judged. More at 1550 nm than at 1310 nm,
    beyond what glass, joints and the planned loops explain, is the mark of a bend (`fibre.acceptance.bend_signature`).
    """
    limit, data = case.test.limit, case.test.data
    readings, remarks = _standing(case, case.id)
    wrong = [one for one in case.readings if not right_wavelength(one)]
    if wrong:
        seen = ", ".join(sorted({wavelength_of(one)[1] for one in wrong}))
        remarks.append(
            Remark(
                "wavelength", "stop" if len(wrong) == len(case.readings) else "note", f"{seen}, which is no wavelength of the plan",
                "measure at 1310 nm and at 1550 nm",
            )
        )  # fmt: skip
    spans = [one for one in (case.span(reading) for reading in readings) if one is not None]
    if not spans:
        return (not_judged(CODE, case, limit, (uncertain("optical loss"),), "dB"),), tuple(remarks)
    own = max(spans, key=lambda one: (one.high, one.value))
    floor = _number(data.get("floor_db"))
    span, note, more = _both_ways(case, own, floor)
    remarks += more
    for way, one in (
        ("this way", min(spans, key=lambda s: s.value)),
        *((("the mean", span),) if span is not own else ()),
    ):
        if one.bound != ">" and one.high < floor:
            remarks.append(
                Remark(
                    "floor", "stop", f"{span_words(one, 'dB')} {way} is less than the glass alone can lose ({number(floor, 'dB')}): the reference was wrong, or it is another strand",
                    "set the reference again with one cord, at this wavelength, and measure again",
                )
            )  # fmt: skip
            break
    if min(s.value for s in spans) < 0 and not halted(remarks):
        remarks.append(
            Remark(
                "negative",
                "warn",
                "a loss below 0 is within the uncertainty, but no strand amplifies",
                "set the reference again",
            )
        )
    bends = _bend(case)
    remarks += bends
    remarks += _faces_first(case)
    stops = halted(remarks)
    dark = own.bound == ">" and (limit is None or own.value >= limit.value)
    bend = next((one.remedy for one in bends if one.key == "bend"), "")
    remedy = DARK if dark else f"{bend}; then clean, measure again" if bend else REMEDY
    first = against(
        CODE, case, span, limit, unit="dB", decide=DECIDE if span is own else DECIDE_MEAN, note=f"{note}; {case.doubt_words(readings[0])}", remedy=remedy, stops=stops,
    )  # fmt: skip
    high = case.test.high[0]
    second = outside(EXPECTED, case, span, floor, high, unit="dB", remedy=remedy, stops=stops)
    return (first, second), tuple(remarks)


def _number(value: object, other: float = 0.0) -> float:
    return float(value) if isinstance(value, int | float) else other


def _standing(case: Case, test_id: str) -> tuple[Readings, list[Remark]]:
    every = case.others.get(test_id, ())
    groups, remarks = standing(tuple(one for one in every if right_wavelength(one)) or every)
    return tuple(one for some in groups for one in some), list(remarks)


def _loss(case: Case, test_id: str) -> Span | None:
    """The loss that one test stands for, the worst of its readings where several count; None without a sound one."""
    readings, _ = _standing(case, test_id)
    spans = [
        s
        for s in (case.span(one) for one in readings if right_wavelength(one))
        if s is not None and not math.isinf(s.high)
    ]
    return max(spans, key=lambda one: (one.high, one.value), default=None)


def _pair(test_id: str) -> tuple[str, str]:
    """The ids of both directions of a test of loss."""
    stem = test_id.rpartition("-")[0]
    return f"{stem}-up", f"{stem}-down"


def _both_ways(case: Case, own: Span, floor: float) -> tuple[Span, str, list[Remark]]:
    """The mean of both directions where both have a value, and a remark where they differ by more than twice the uncertainty."""
    up_id, down_id = _pair(case.id)
    up, down = (own if id == case.id else _loss(case, id) for id in (up_id, down_id))
    if up is None or down is None:
        return own, "one direction", [
            Remark("one-way", "note", "measured one way only", "measure the other way too: the mean is surer, and the difference tells a dirty cord")
        ]  # fmt: skip
    if up.bound or down.bound:
        return own, "the other direction is no plain value", []
    if min(up.high, down.high) < floor:
        return own, "the other direction lies below the floor, or this one does: no mean is taken", []
    mean, apart = (float(one) for one in directions_db(up.value, down.value))
    note = f"mean of {number(up.value, 'dB')} up and {number(down.value, 'dB')} down"
    span = Span(mean, (up.low + down.low) / 2, (up.high + down.high) / 2)
    allowed = (up.high - up.value) + (down.high - down.value)
    if apart <= allowed + 1e-9:
        return span, note, []
    return span, note, [
        Remark(
            "directions", "warn", f"up and down differ by {number(apart, 'dB')}, more than {number(allowed, 'dB')}: a dirty cord, a reference that moved, or unlike strands",
            "clean the cords, set the reference again, measure both ways again",
        )
    ]  # fmt: skip


def _bend(case: Case) -> list[Remark]:
    """The mark of a bend or of a joint, from the losses at both wavelengths beyond what glass, joints and planned loops explain."""
    excess: dict[int, float] = {}
    doubt = 0.0
    for wave in (1310, 1550):
        ids = [f"{case.subject}.ol.{wave}-{way}" for way in ("up", "down")]
        losses = [one for one in (_loss(case, id) for id in ids) if one is not None and not one.bound]
        test = next((one for one in case.proof.expectations if one.id == ids[0]), None)
        if not losses or test is None:
            return []
        doubt = max([doubt, *(one.high - one.value for one in losses)])
        explained = _number(test.data.get("expected_db")) + _number(test.data.get("bend_db"))
        excess[wave] = sum(one.value for one in losses) / len(losses) - explained
    seen = bend_signature(excess[1310], excess[1550], doubt).item()
    more = excess[1550] - excess[1310]
    if seen in (Signature.BEND, Signature.BOTH):
        loops = [loop.id for loop in case.proof.line.of_kind("loop") if loop.on in case.test.items]
        cables = [id for id in case.test.items if case.proof.line.by_id[id].length_m is not None]
        first = f"loop {', '.join(loops)}, then " if loops else ""
        also = " and a joint" if seen is Signature.BOTH else ""
        return [
            Remark(
                "bend", "warn", f"{number(more, 'dB')} more at 1550 nm than at 1310 nm, beyond what glass and joints explain: a tight bend or a pinch{also}",
                f"look first at {first}{', '.join(cables)}: entries, clamps, slack trays",
            )
        ]  # fmt: skip
    if seen is Signature.JOINT:
        return [Remark("joint", "note", f"{number(excess[1310], 'dB')} and {number(excess[1550], 'dB')} more than typical at 1310 and 1550 nm, alike: a dirty, worn or misaligned joint", "inspect and clean the faces")]  # fmt: skip
    return []


def _faces_first(case: Case) -> list[Remark]:
    if case.others.get(f"{case.subject}.ef.record"):
        return []
    return [Remark("faces", "warn", f"no end face of {case.subject} is among the readings: faces are inspected before loss is measured", "give the inspection of both faces of every mated pair")]  # fmt: skip


# --- end faces --------------------------------------------------------------------------------------------------------


def judge_faces(case: Case) -> Judgement:
    """
    The end faces of a strand: each that has a record, and how many there should be.

    A face is told from the next by the words beside the strand's name and by its side; without any each row counts as a face. Of one face
    the last record decides where times tell it, and every zone counts.
    """
    limit, wanted = case.test.limit, int(_number(case.test.data.get("faces"), case.test.low[0]))
    if all(one.kind == COUNT for one in case.readings):
        return _counted(case, wanted)
    case = replace(
        case, readings=tuple(one for one in case.readings if one.kind != COUNT)
    )  # records of faces go before a count
    keys = {_face(one, case.subject) for one in case.readings}
    rows = len(keys) == 1 and len(case.readings) > 1
    zones = any(one.condition("zone") for one in case.readings)
    if rows and not zones:
        groups: tuple[Readings, ...] = tuple((one,) for one in case.readings)
        remarks: tuple[Remark, ...] = (
            Remark("faces-alike", "note", f"{len(groups)} rows do not say which face each one is: each is counted as a face", "name the face in each row"),
        )  # fmt: skip
    else:
        by_zone, remarks = standing(
            case.readings, lambda one: (_face(one, case.subject), str(one.condition("zone") or ""))
        )
        faces: dict[tuple[str, ...], list[Reading]] = {}
        for some in by_zone:
            faces.setdefault(_face(some[0], case.subject), []).extend(some)
        groups = tuple(tuple(some) for some in faces.values())
    bad = [some for some in groups if any(one.value == 0 for one in some)]
    unknown = [some for some in groups if some not in bad and any(one.value is None for one in some)]
    good = len(groups) - len(bad) - len(unknown)
    to_pass = []
    if len(groups) < wanted:
        to_pass.append(
            f"the record of {wanted - len(groups)} more of {wanted} end faces: inspect, clean, inspect again, keep the picture"
        )
    if unknown:
        grade = unknown[0][0].condition("grade") or unknown[0][0].written
        to_pass.append(f"what the grade {str(grade)[:20]!r} means: say whether it is a pass")
    named = "; ".join(_face_words(some, case.subject) for some in bad[:4])
    value = float(good)
    note = f"{good} of {wanted} passed, {len(bad)} did not, {len(unknown)} not told"
    remedy = (
        f"clean and inspect again: {named}"
        if bad
        else "inspect every face of every mated pair by the zones of IEC 61300-3-35"
    )
    finding: Finding = judge(
        FACES, case.id, value, limit, note=note, remedy=remedy, missing=() if bad else tuple(to_pass), items=case.test.items
    )  # fmt: skip
    extra = len(groups) - wanted
    if extra > 0:
        remarks = (*remarks, Remark("faces-more", "note", f"{len(groups)} faces have a record, {wanted} are on the way of this strand", "look whether some belong to another strand"))  # fmt: skip
    return (finding,), remarks


def _counted(case: Case, wanted: int) -> Judgement:
    """A count of clean faces against how many there are; the last one holds where times tell it, else the lowest."""
    groups, remarks = standing(case.readings)
    value = min(one.value or 0.0 for some in groups for one in some)
    if value > wanted:
        told = f"{value:g} faces are counted, {wanted} are on the way of this strand"
        remarks = (*remarks, Remark("faces-more", "warn", told, "look whether some belong to another strand"))
    remarks = (*remarks, Remark("counted", "note", "a count, no record of each face", "keep the picture of each"))
    rest = max(wanted - value, 0.0)
    remedy = f"inspect, clean and inspect again the {rest:g} others, and keep the picture of each" if rest else ""
    finding = judge(
        FACES, case.id, value, case.test.limit, note=f"{value:g} of {wanted} clean, as counted", remedy=remedy, items=case.test.items
    )  # fmt: skip
    return (finding,), remarks


def _face(reading: Reading, subject: str) -> tuple[str, ...]:
    side = str(reading.condition("side") or "").strip().upper()
    return (*rest_of(reading.subject, subject, "F"), *((side,) if side else ()))


def _face_words(some: Readings, subject: str) -> str:
    words = " ".join(_face(some[0], subject)).lower()
    return f"{words or 'a face'} (row {some[0].row})"


__all__ = ["judge_faces", "judge_loss"]
