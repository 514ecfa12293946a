"""Judge what is measured on the earth: bonds from lug to bar, and shields of runs from end to end."""

from __future__ import annotations

from upmast.field.readers.reading import Reading
from upmast.field.reading_case import (
    Case,
    Judgement,
    against,
    four_wire_words,
    halted,
    not_judged,
    outside,
    span_words,
    standing,
    uncertain,
    worst_span,
)
from upmast.field.reading_electric import referred
from upmast.field.reading_words import rest_of
from upmast.field.setup import Remark
from upmast.number import number

BOND, BOND_EXPECTED = "earth.bond-resistance", "earth.bond-expected"
SHIELD, SHIELD_EXPECTED = "earth.shield-resistance", "earth.shield-expected"
ALIKE_LEAST = 3  # so many bonds with one and the same value: the leads may have been read; common practice, no source
DECIDE = "read again with four wires, from bare lug to bare bar"


def judge_bond(case: Case) -> Judgement:
    """
    The resistance of a bond from lug to bar; of several of one id each has to be read, and the highest decides.

    Two points read the leads and their contacts too, several milliohms, so that near the limit only four wires decide.
    """
    limit = case.test.limit
    count = case.test.data.get("count")
    wanted = int(count) if isinstance(count, int | float) else 1
    keys = {_which(one, case.subject) for one in case.readings}
    remarks: list[Remark] = []
    if wanted > 1 and len(keys) == 1:  # the rows do not say which one each is
        readings, seen = case.readings, len(case.readings)
    else:
        kept, remarks_of = standing(case.readings, lambda one: _which(one, case.subject))
        remarks += remarks_of
        readings, seen = tuple(one for some in kept for one in some), len(keys)
    options = [(one, span) for one in readings if (span := case.span(one)) is not None]
    if not options:
        return (not_judged(BOND, case, limit, (uncertain("bond resistance"),), "mΩ"),), tuple(remarks)
    worst = worst_span([span for _, span in options], limit)
    reading, span = next(row for row in options if row[1] == worst)
    if any(one.value < 0 for _, one in options):
        remarks.append(Remark("negative", "stop", "a resistance below 0: the leads were zeroed wrongly", "zero the leads again, or use four wires"))  # fmt: skip
    same = _all_alike(case, reading)
    if same:
        remarks.append(Remark("alike", "warn", f"{same} bonds read the same {number(reading.value, 'mΩ')} to the last digit: the leads may have been read and not the bonds", "touch the leads together: if that reads the same, read each bond again with four wires"))  # fmt: skip
    to_pass = [f"a reading of {wanted - seen} more of the {wanted} bonds"] if seen < wanted else []
    stops = halted(remarks)
    is_open = reading.value is None
    remedy = (
        "no continuity: look whether the lug is on the bar, and bare" if is_open
        else "open the lug, bare the metal, torque it, read again; never open an earth on a live line"
    )  # fmt: skip
    note = f"highest of {seen} of {wanted}; {case.doubt_words(reading)}" if wanted > 1 else case.doubt_words(reading)
    first = against(BOND, case, span, limit, unit="mΩ", decide=f"{DECIDE}{four_wire_words(case, reading)}", note=note, remedy=remedy, stops=stops, to_pass=to_pass)  # fmt: skip
    second = outside(
        BOND_EXPECTED,
        case,
        span,
        float("nan"),
        case.test.high[0],
        unit="mΩ",
        remedy=remedy,
        stops=stops,
        to_pass=to_pass,
    )
    return (first, second), tuple(remarks)


def _which(reading: Reading, subject: str) -> tuple[str, ...]:
    return rest_of(reading.subject, subject, "E")


def _all_alike(case: Case, reading: Reading) -> int:
    """How many bonds have the same value as this one, where all of its file have; 0 where they differ or are few."""
    bonds = {one.id for one in case.proof.expectations if one.id.endswith(".bond.r")}
    beside = [one for id, some in case.others.items() if id in bonds for one in some if one.file == reading.file]
    values = {one.value for one in beside}
    return len(beside) if len(beside) >= ALIKE_LEAST and len(values) == 1 and None not in values and values != {0.0} else 0  # fmt: skip


def judge_shield(case: Case) -> Judgement:
    """
    The resistance of the shield of a run, one end lifted, referred to 20 °C.

    Below what copper alone can read something is still in parallel (the mast, another bond): then it proves nothing.
    """
    limit, low, high = case.test.limit, case.test.low[0], case.test.high[0]
    kept, remarks_of = standing(case.readings)
    remarks = list(remarks_of)
    options = []
    for one in (r for some in kept for r in some):
        span = case.span(one)
        if span is not None:
            options.append((one, *referred(span, one.condition("temperature_c"), "mΩ")))
    if not options:
        return (not_judged(SHIELD, case, limit, (uncertain("shield resistance"),), "mΩ"),), tuple(remarks)
    worst = worst_span([row[1] for row in options], limit)
    reading, span, told, open_words = next(row for row in options if row[1] == worst)
    if span.high < low:
        remarks.append(
            Remark(
                "parallel", "stop", f"{span_words(span, 'mΩ')} at 20 °C is less than the shield alone ({number(low, 'mΩ')} at least): something is still in parallel",
                "lift one end of the shield and every bond of the run, then read again; not with thunder in sight or hearing",
            )
        )  # fmt: skip
    stops = halted(remarks)
    remedy = (
        "no continuity: look at the shield joints at both ends" if reading.value is None
        else "high: look at the shield joints at both ends, then for a damaged shield"
    )  # fmt: skip
    first = against(
        SHIELD, case, span, limit, unit="mΩ", note=f"{told}; {case.doubt_words(reading)}", remedy=remedy, stops=stops, between=open_words,
        decide=f"read again with four wires, one end lifted, and write the temperature{four_wire_words(case, reading)}",
    )  # fmt: skip
    return (first, outside(SHIELD_EXPECTED, case, span, low, high, unit="mΩ", remedy=remedy, stops=stops)), tuple(
        remarks
    )


__all__ = ["judge_bond", "judge_shield"]
