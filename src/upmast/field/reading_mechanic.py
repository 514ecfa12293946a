"""Judge torques of joints and clamps, and humidity cards in boxes."""

from __future__ import annotations

import math
from dataclasses import replace

from upmast.field.readers.reading import Reading
from upmast.field.reading_case import (
    Case,
    Judgement,
    against,
    first_of,
    halted,
    not_judged,
    ordered,
    outside,
    places_of,
    standing,
    uncertain,
    worst_span,
)
from upmast.field.reading_doubt import Span
from upmast.field.reading_words import rest_of
from upmast.field.setup import Remark
from upmast.finding import Authority, Finding, Limit, Sense, Stage, Verdict, to_confirm
from upmast.number import number
from upmast.proof.expect_hardware import APPLIED
from upmast.source import Mark, Source
from upmast.weather.indicator import CardReading, CardVerdict, read_card

TORQUE_HIGH, TORQUE_EXPECTED = "support.torque-applied-high", "support.torque-expected"
CARD_CODE = "weather.humidity-card"
LOWEST, HIGHEST = frozenset({"LOWEST", "LOW", "MIN", "MINIMUM"}), frozenset({"HIGHEST", "HIGH", "MAX", "MAXIMUM"})
SAME_C = 2.0  # spots read within so many kelvin are one reading of the card: common practice, no source
TORQUE_DECIDE = (
    "tighten once more with a wrench within its calibration, set to the middle of the window; never loosen to read"
)


# --- torque -----------------------------------------------------------------------------------------------------------


def judge_torque(case: Case) -> Judgement:
    """
    Torque against the window of the part: both ends of it are limits, and the nearer one decides.

    A part that tells no torque is not judged: its data sheet does.
    """
    low, high = case.test.low[0], case.test.high[0]
    keys = {_which(one, case.subject) for one in case.readings}
    readings, remarks, seen = case.readings, list[Remark](), len(case.readings)
    if _wanted(case) == 1 or len(keys) > 1:  # else the rows do not say which one each is
        groups, remarks_of = standing(case.readings, lambda one: _which(one, case.subject))
        readings, remarks, seen = tuple(one for some in groups for one in some), list(remarks_of), len(keys)
    lowest, highest = _window(case, low, high)
    if lowest is None and highest is None:
        lack = "the torque by the data sheet of the part" if not (math.isfinite(low) or math.isfinite(high)) else "the torque by the data sheet of the part, as the source of its torque_nm"  # fmt: skip
        value = f": {number(readings[0].value, 'N·m')} was read" if readings else ""
        return (not_judged(APPLIED, case, None, (f"{lack}{value}",), "N·m"),), tuple(remarks)
    spans = [span for span in (case.span(one) for one in readings) if span is not None]
    if not spans:
        return (not_judged(APPLIED, case, lowest or highest, (uncertain("torque"),), "N·m"),), tuple(remarks)
    doubt, findings = case.doubt_words(readings[0]), []
    few = _too_few(case, readings, seen)
    remedies = {
        Sense.AT_LEAST: "tighten to the window of the part with a wrench within its calibration, and mark it",
        Sense.AT_MOST: "a joint that was overtightened is opened, looked at and replaced if its thread or seal suffered",
    }
    for limit in (lowest, highest):
        if limit is not None:
            worst = worst_span(spans, limit)
            findings.append(
                against(
                    limit.code, case, worst, limit, unit="N·m", decide=TORQUE_DECIDE, note=doubt, remedy=remedies[limit.sense], to_pass=few
                )
            )  # fmt: skip
    findings = [_by_confirming(one) for one in findings]
    remarks += _crossed(case, readings)
    first = first_of(findings)
    remarks += _outside_unconfirmed(first)
    farthest = max(spans, key=lambda one: (max(low - one.value if math.isfinite(low) else -math.inf, one.value - high if math.isfinite(high) else -math.inf), one.value))  # fmt: skip
    second = outside(TORQUE_EXPECTED, case, farthest, low, high, unit="N·m", remedy=first.remedy)
    return (first, second, *(one for one in findings if one is not first)), tuple(remarks)


def _waits(finding: Finding) -> bool:
    """Whether nothing but the confirming of its limit keeps a torque from being judged."""
    limit = finding.limit
    return (
        finding.verdict is Verdict.NOT_JUDGED
        and limit is not None
        and limit.source.mark is Mark.MEMORY
        and finding.missing == (to_confirm(limit),)
    )


def _by_confirming(finding: Finding) -> Finding:
    """What to do about a torque that is not judged is what it lacks, not what a failure would ask."""
    if finding.verdict is not Verdict.NOT_JUDGED:
        return finding
    if not _waits(finding):
        return replace(finding, remedy="; ".join(finding.missing))
    confirm = finding.missing[0]
    if finding.margin is not None and finding.margin < 0:  # while somebody is still there
        then = f"before anybody leaves; by it this fails by {_off(finding)}, and what to do then: {finding.remedy}"
        return replace(finding, remedy=f"{confirm}, {then}")
    return replace(finding, remedy=f"{confirm}; nobody needs to go up for it")


def _off(finding: Finding) -> str:
    return number(abs(finding.margin or 0.0), "N·m", places=places_of(finding))


def _outside_unconfirmed(first: Finding) -> list[Remark]:
    """A warning where a torque would fail by a limit that waits for confirmation: it is settled before anybody leaves."""
    limit = first.limit
    if not _waits(first) or limit is None or first.margin is None or first.margin >= 0:
        return []
    places = places_of(first)
    value, wanted = number(first.value, "N·m", places=places), number(limit.value, "N·m", places=places)
    words = f"{value}, limit {limit.sense} {wanted} to be confirmed: by it this fails by {_off(first)}"
    return [Remark("unconfirmed", "warn", words, first.remedy)]


def _crossed(case: Case, readings: tuple[Reading, ...]) -> list[Remark]:
    """A warning where what is called the lowest lies above what is called the highest."""
    ends: dict[str, list[float]] = {"lowest": [], "highest": []}
    for one in readings:
        words = {*_which(one, case.subject), *str(one.condition("remark") or "").upper().split()}
        for end, spelled in (("lowest", LOWEST), ("highest", HIGHEST)):
            if words & spelled and one.value is not None:
                ends[end].append(one.value)
    if not ends["lowest"] or not ends["highest"] or min(ends["lowest"]) <= max(ends["highest"]):
        return []
    low, high = number(min(ends["lowest"]), "N·m"), number(max(ends["highest"]), "N·m")
    return [Remark("crossed", "warn", f"the lowest, {low}, lies above the highest, {high}", "look whether the two were exchanged, or one was mistyped")]  # fmt: skip


def _window(case: Case, low: float, high: float) -> tuple[Limit | None, Limit | None]:
    """
    The limits of a torque: that of the expectation for its own side, and the other end of the window with the same authority.

    Without a limit of the expectation nothing is known of where the window comes from, so there is none.
    """
    limit = case.test.limit
    if limit is None:
        return None, None

    def made(code: str, value: float, sense: Sense) -> Limit | None:
        if limit.sense is sense:
            return limit
        return Limit(code, value, "N·m", sense, limit.authority, limit.source, Stage.ACCEPTANCE) if math.isfinite(value) else None  # fmt: skip

    return made(APPLIED, low, Sense.AT_LEAST), made(TORQUE_HIGH, high, Sense.AT_MOST)


def _which(reading: Reading, subject: str) -> tuple[str, ...]:
    """The words that tell one of several joints or clamps from the next."""
    more = (str(reading.condition(name) or "").strip().upper() for name in ("side", "which"))
    return (*rest_of(reading.subject, subject), *(one for one in more if one))


def _wanted(case: Case) -> int:
    count = case.test.data.get("count")
    return int(count) if isinstance(count, int | float) else 1


def _too_few(case: Case, readings: tuple[Reading, ...], seen: int) -> list[str]:
    """What is missing where fewer were read than there are; of many the lowest and the highest are enough, where they are named so."""
    wanted = _wanted(case)
    words = {
        word
        for one in readings
        for word in (*_which(one, case.subject), *str(one.condition("remark") or "").upper().split())
    }
    if seen >= wanted or (words & LOWEST and words & HIGHEST):
        return []
    return [
        f"the torque of {wanted - seen} more of {wanted}, or the lowest and the highest of all, named so (in one cell of a test plan: `9.5 to 10.2`)"
    ]


# --- humidity card ----------------------------------------------------------------------------------------------------


def judge_card(case: Case) -> Judgement:
    """
    The spots of a humidity card: between which dew points the air in the box lies, against the coldest air of the site.

    Source: `weather.indicator.read_card`.
    """
    remarks: list[Remark] = []
    readings = ordered(case.readings)
    times = sorted({one.time for one in readings})
    if len(times) > 1 and all(times):
        readings = tuple(one for one in readings if one.time == times[-1])
        remarks.append(
            Remark("repeated", "note", f"read {len(times)} times: the last one, of {times[-1]}, decides", "")
        )
    coldest = case.proof.site.climate.cold_c
    limit = case.proof.limits.get(CARD_CODE) or Limit(
        CARD_CODE, coldest, "°C", Sense.AT_MOST, Authority.DEFAULT,
        Source("this site: coldest ambient air", "climate.cold_c", mark=Mark.DECLARED), Stage.ACCEPTANCE,
    )  # fmt: skip
    spots, lacks = _spots(readings)
    if lacks:
        return (not_judged(CARD_CODE, case, limit, lacks, "°C"),), tuple(remarks)
    temperatures = [float(t) for one in readings if isinstance(t := one.condition("temperature_c"), int | float)]
    card_c = sum(temperatures) / len(temperatures)
    try:
        found = read_card([spot for spot, _ in spots], [changed for _, changed in spots], card_c, coldest)
    except ValueError as error:
        return (not_judged(CARD_CODE, case, limit, (f"a card that can be read: {error}",), "°C"),), tuple(remarks)
    if found.verdict is CardVerdict.INVALID:
        remarks.append(Remark("card", "stop", "a drier spot has not changed where a wetter one has: the card is worn", "put in a new card and read it after a day"))  # fmt: skip
        return (not_judged(CARD_CODE, case, limit, halted(remarks), "°C"),), tuple(remarks)
    note = f"{number(found.low_percent, '%')} to {number(found.high_percent, '%')} at {number(card_c, '°C')}: {found.verdict}; cards read 5 % high or low (from memory)"
    span = Span(found.high_dew_c, found.low_dew_c, found.high_dew_c)
    first = against(
        CARD_CODE, case, span, limit, unit="°C", note=note, remedy="dry the box, look for the way the water came in, put in fresh desiccant, and read again after a day",
        between=f"a hygrometer in the box for a day: by the card its dew point lies {_between(found)}",
        decide="",
    )  # fmt: skip
    return (first,), tuple(remarks)


def _between(found: CardReading) -> str:
    high = number(found.high_dew_c, "°C")
    return f"from {number(found.low_dew_c, '°C')} to {high}" if math.isfinite(found.low_dew_c) else f"at {high} at most"


def _spots(readings: tuple[Reading, ...]) -> tuple[list[tuple[float, bool]], tuple[str, ...]]:
    """Spots in ascending order with whether each has changed, or what is missing."""
    states: dict[float, set[str]] = {}
    temperatures = []
    for one in readings:
        if one.value is not None:
            states.setdefault(one.value, set()).add(str(one.condition("changed") or ""))
        temperature = one.condition("temperature_c")
        if isinstance(temperature, int | float):
            temperatures.append(float(temperature))
    lacks = []
    if not states or any("" in some for some in states.values()):
        lacks.append("whether each spot has changed")
    if any(len(some) > 1 for some in states.values()):
        lacks.append("one state for each spot: one is told as changed and as unchanged")
    if not temperatures:
        lacks.append("the temperature of the card when it was read")
    elif max(temperatures) - min(temperatures) > SAME_C:
        lacks.append("one temperature for all spots of a card")
    return [(spot, "yes" in some) for spot, some in sorted(states.items())], tuple(lacks)


__all__ = ["judge_card", "judge_torque"]
