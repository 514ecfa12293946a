"""Judge what is measured on DC feeds: voltage at a radio, loop resistance and insulation of a pair."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.catalogue.part import Cable, RadioPart
from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from upmast.earth.insulation_test import insulation_at_20_ohm
from upmast.field.readers.reading import Reading
from upmast.field.reading_case import (
    Case,
    Judgement,
    against,
    first_of,
    four_wire_words,
    halted,
    not_judged,
    outside,
    renamed,
    span_words,
    standing,
    uncertain,
    worst_span,
)
from upmast.field.reading_doubt import Span
from upmast.field.reading_said import on_battery, sentences
from upmast.field.setup import Remark
from upmast.finding import Authority, Limit, Sense, Stage
from upmast.line.wire import ohm_per_km
from upmast.number import number
from upmast.power.resistance import conductor_areas_mm2, conductor_ohm_per_km
from upmast.source import Mark, Source

VOLTAGE, VOLTAGE_HIGH, VOLTAGE_EXPECTED = (
    "power.voltage-on-site",
    "power.voltage-on-site-high",
    "power.voltage-expected",
)
LOOP, LOOP_EXPECTED = "power.loop-resistance", "power.loop-expected"
INSULATION, INSULATION_EXPECTED = "power.insulation", "power.insulation-expected"
TEMPERATURES_C = (-20.0, 50.0)  # between which a cable is tested where nobody wrote it: common practice, no source
DEAD_V = 5.0  # below this no supply is on: common practice, no source
NEAR_SECTION = 0.08  # a section explains a reading to this share: common practice, no source
ALIKE_SHARE, ALIKE_LEAST, LOW_MEGOHM = (
    1.5,
    2,
    5.0,
)  # pairs alike and low: protectors still in; common practice, no source
Floats = NDArray[np.float64]


# --- voltage ----------------------------------------------------------------------------------------------------------


def judge_voltage(case: Case) -> Judgement:
    """
    The voltage at the terminals of a radio. The plant is negative: its line is below its return, so a sign that is written is negative.

    A sign the other way stops everything: nothing is connected. Two limits: the least that the radio takes and the highest.
    """
    kept, remarks_of = standing(case.readings, lambda one: one.condition("load_current_a"))
    readings = tuple(one for some in kept for one in some)
    remarks = [*remarks_of, *_polarity(case, readings)]
    remarks += on_battery(readings)
    limit, high_limit = case.test.limit, _highest(case)
    spans = [span for span in (case.span(one) for one in readings) if span is not None]
    if not spans:
        lack = uncertain("voltage") if any(one.value is not None for one in readings) else "a reading in a higher range: the meter was over its range"  # fmt: skip
        return (not_judged(VOLTAGE, case, limit, (lack,), "V"),), tuple(remarks)
    sizes = [_size(one) for one in spans]
    if all(one.condition("load_current_a") is None for one in readings):
        remarks.append(Remark("load", "note", "the load of the moment is not written: at full load it is lower", "note the current of the radio beside the voltage"))  # fmt: skip
    stops = halted(remarks)
    least, most = worst_span(sizes, limit), worst_span(sizes, high_limit)
    dead = most.high < DEAD_V
    if dead:
        remarks.append(Remark("dead", "note", "no supply is on, or the meter does not touch", "look at the breaker of this pair, and whether this is the pair of this radio"))  # fmt: skip
    doubt = case.doubt_words(readings[0])
    below = against(
        VOLTAGE, case, least, limit, unit="V", decide="read again at the same terminals with a surer meter, at full load", stops=stops,
        note=f"size of the voltage; {doubt}",
        remedy="look at the breaker, then at each joint of the pair for a drop; prove which pair it is" if not dead else "no voltage: look at the breaker and at which pair this is",
    )  # fmt: skip
    above = against(
        VOLTAGE_HIGH, case, most, high_limit, unit="V", decide="read again at the same terminals with a surer meter", stops=stops,
        note=f"size of the voltage; {doubt}", remedy="do not connect the radio: look at the float setting of the plant, and at a converter on this feed",
    )  # fmt: skip
    second = outside(
        VOLTAGE_EXPECTED, case, least if abs(least.value - _middle(case)) >= abs(most.value - _middle(case)) else most,
        case.test.low[0], case.test.high[0], unit="V", stops=stops,
        remedy="was the plant on mains with a full battery? On battery it is lower; else look for a joint that drops or another pair",
    )  # fmt: skip
    first = first_of((below, above))
    return (first, second, above if first is below else below), tuple(remarks)


def _middle(case: Case) -> float:
    ends = [one for one in (case.test.low[0], case.test.high[0]) if math.isfinite(one)]
    return sum(ends) / len(ends) if ends else 0.0


def _size(span: Span) -> Span:
    """The size of a voltage, whatever its sign."""
    if span.value >= 0:
        return Span(span.value, max(span.low, 0.0), span.high, span.bound)
    turned = {"<": ">", ">": "<"}.get(span.bound, "")
    return Span(-span.value, max(-span.high, 0.0), -span.low, turned)


def _polarity(case: Case, readings: tuple[Reading, ...]) -> list[Remark]:
    """The sign of the readings: written and right, written and reversed, or not written at all."""
    plus = [one for one in readings if one.value is not None and one.value > DEAD_V]
    if not plus:
        return []
    files = {(one.file, one.instrument) for one in plus}
    beside = [
        one
        for some in case.others.values()
        for one in some
        if one.kind == "voltage" and (one.file, one.instrument) in files
    ]
    signed = any(one.value is not None and one.value < -DEAD_V for one in beside)
    if signed or any(one.written.strip().startswith("+") for one in plus):
        why = (
            "others of the same file have a minus sign"
            if signed
            else "it is written with a plus sign, and the plant is negative"
        )
        return [
            Remark(
                "polarity", "stop", f"the sign is reversed ({why}): line and return may be exchanged, or the leads of the meter were",
                "do not connect; open the breaker of this pair, prove which conductor is the line, then read again with the black lead on the return",
            )
        ]  # fmt: skip
    return [Remark("sign", "note", "no sign is written: this reading does not prove polarity", "write the voltage with its sign, black lead on the return; it is negative")]  # fmt: skip


def _highest(case: Case) -> Limit | None:
    """The highest voltage of a radio: by its finding of the design, by its data sheet, or the limit of the table; a site's own goes first."""
    general = case.proof.limits.get(VOLTAGE_HIGH)
    designed = next(
        (f.limit for f in case.proof.findings if f.code == "power.voltage-high" and f.subject == case.subject), None
    )
    item = case.proof.line.by_id.get(case.subject)
    part = case.proof.line.parts.get(item.part) if item is not None else None
    if designed is None and isinstance(part, RadioPart):
        designed = Limit(
            VOLTAGE_HIGH, part.maximum_v, "V", Sense.AT_MOST, Authority.PART, Source(f"part {part.id}", "maximum_v", mark=Mark.DECLARED), Stage.ACCEPTANCE
        )  # fmt: skip
    return case.proof.limits.in_force(VOLTAGE_HIGH, renamed(designed, VOLTAGE_HIGH)) or general


# --- loop resistance --------------------------------------------------------------------------------------------------


def at_20_c(resistance: ArrayLike, temperature_c: ArrayLike) -> Floats:
    r"""
    A resistance of copper referred to 20 °C: :math:`R_{20} = R / (1 + \alpha_{20} (\theta - 20))`.

    Parameters
    ----------
    resistance : any unit. temperature_c [°C] : of the conductor. Broadcast; NaN where the law does not reach so low.

    Source: IEC 60287-1-1, clause 5.1.1.

    >>> round(float(at_20_c(1.196, 70.0)), 3)
    1.0
    """
    factor = 1.0 + COPPER_TEMPERATURE_COEFFICIENT_PER_K.value * (np.asarray(temperature_c, dtype=np.float64) - 20.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(factor > 0, np.asarray(resistance, dtype=np.float64) / factor, np.nan))


def referred(span: Span, temperature_c: object, unit: str) -> tuple[Span, str, str]:
    """
    An interval of a copper resistance at 20 °C, what is said about it, and words where the temperature is what leaves it open.

    Without a temperature it spans all that it may have been, from -20 to 50 °C.
    """
    if isinstance(temperature_c, float | int) and math.isfinite(factor := float(at_20_c(1.0, temperature_c))):
        return span.moved(factor), f"read at {temperature_c:g} °C, referred to 20 °C", ""
    ends = [float(x) for x in at_20_c(1.0, TEMPERATURES_C)]
    low, high = min(ends), max(ends)
    words = (
        f"the temperature of the cable at the reading: at 20 °C it would be {number(span.low * low, unit)} to "
        f"{number(span.high * high, unit)}, and the limit lies between; of a value that was referred to 20 °C already it is 20"
    )  # fmt: skip
    told = f"no temperature is written; so at every one from {TEMPERATURES_C[0]:g} to {TEMPERATURES_C[1]:g} °C"
    return Span(span.value, span.low * low, span.high * high, span.bound), told, words


def judge_loop(case: Case) -> Judgement:
    """
    The loop resistance of a pair, referred to 20 °C by the temperature that is written.

    Low: a short on its way, or a larger section; it proves nothing of this pair. High: a bad crimp, a longer or thinner cable. What it
    implies is said: the length of this wire, and the nearest standard section that would read the same.
    """
    limit = case.test.limit
    kept, remarks_of = standing(case.readings)
    remarks = list(remarks_of)
    options = []
    for one in (r for some in kept for r in some):
        span = case.span(one)
        if span is not None:
            options.append((one, *referred(span, one.condition("temperature_c"), "Ω")))
    if not options:
        return (not_judged(LOOP, case, limit, (uncertain("loop resistance"),), "Ω"),), tuple(remarks)
    worst = worst_span([row[1] for row in options], limit)
    reading, span, told, open_words = next(row for row in options if row[1] == worst)
    is_open = span.bound == ">" and reading.value is None
    low, high = case.test.low[0], case.test.high[0]
    about = f"; {implied(case, span.value)}" if not span.bound else ""
    if is_open:
        remedy = "no continuity: the short at the far end is missing, it is another pair, or a joint is open"
    elif span.value < low:
        remedy = "low: a short on its way, a second pair in parallel, or a larger section; prove the far end open, then short it again"
    else:
        remedy = (
            "high: look at the short at the far end, then each crimp and joint; then at length and section of the cable"
        )
    note = f"{told}{about}; {case.doubt_words(reading)}"
    if not is_open and span.high < low:
        remarks.append(Remark("low", "stop", f"{span_words(span, 'Ω')} at 20 °C is less than this pair can have ({number(low, 'Ω')} at least): a short on its way, a second pair in parallel, or a larger section{about}", "prove which pair it is; read it with the far end open, then shorted again"))  # fmt: skip
    stops = halted(remarks)
    first = against(
        LOOP, case, span, limit, unit="Ω", note=note, remedy=remedy, between=open_words, stops=stops,
        decide=_decide_loop(case, reading),
    )  # fmt: skip
    second = outside(LOOP_EXPECTED, case, span, low, high, unit="Ω", remedy=remedy, stops=stops)
    return (first, second), tuple(remarks)


def _decide_loop(case: Case, reading: Reading) -> str:
    lacks = (
        ""
        if isinstance(reading.condition("temperature_c"), int | float)
        else ", and write the temperature of the cable"
    )
    return f"read again with four wires{lacks}{four_wire_words(case, reading)}"


def implied(case: Case, loop_20_ohm: float) -> str:
    """What a loop resistance at 20 °C stands for: metres of this wire, or the nearest standard section over the length of the line."""
    length, per_km = (case.test.data.get(key) for key in ("length_m", "ohm_per_km"))
    if not isinstance(length, int | float) or not isinstance(per_km, int | float) or per_km <= 0 or length <= 0:
        return ""
    metres = 1e3 * loop_20_ohm / (2.0 * per_km)
    words = f"as {number(metres, 'm')} of this wire at its largest resistance (line: {number(float(length), 'm')})"
    item = case.proof.line.by_id.get(case.test.items[0]) if case.test.items else None
    part = case.proof.line.parts.get(item.part) if item is not None else None
    if not isinstance(part, Cable) or part.conductor_area_mm2 is None or case.test.low[0] <= loop_20_ohm <= case.test.high[0]:  # fmt: skip
        return words
    near = nearest_section(loop_20_ohm, float(length), part.conductor_class, part.tinned)
    own = ohm_per_km(part)[0]
    if near is not None and not math.isclose(near[1], own, rel_tol=NEAR_SECTION):
        words += f"; {near[0]:g} mm² over that length reads {number(2e-3 * near[1] * float(length), 'Ω')}, where {part.conductor_area_mm2:g} mm² is designed"
    return words


@lru_cache(maxsize=1000)
def nearest_section(
    loop_20_ohm: float, length_m: float, conductor_class: int, tinned: bool
) -> tuple[float, float] | None:
    """
    The standard section whose largest resistance explains a loop best: area [mm2] and ohm/km; None where none comes near.

    Source: IEC 60228, tables 2 and 3.

    >>> nearest_section(2 * 0.0121 * 4.95, 12.1, 5, False)
    (4.0, 4.95)
    """
    if not 0 < loop_20_ohm < math.inf:
        return None
    rows = [
        (area, conductor_ohm_per_km(area, conductor_class, tinned))
        for area in conductor_areas_mm2(conductor_class, tinned)
    ]
    off, best = min((abs(math.log(2e-3 * ohm * length_m / loop_20_ohm)), (area, ohm)) for area, ohm in rows)
    return best if off <= NEAR_SECTION else None


# --- insulation -------------------------------------------------------------------------------------------------------


def judge_insulation(case: Case) -> Judgement:
    """
    The insulation of a pair: the least of its readings, as read (the limit holds for the reading as it is).

    A test with less than the planned voltage can fail but not pass. Low and alike on all pairs of a run hints at surge protectors or
    radios that are still connected.
    """
    limit = case.test.limit
    kept, remarks_of = standing(case.readings, lambda one: str(one.condition("between") or ""))
    readings = tuple(one for some in kept for one in some)
    remarks = list(remarks_of)
    options = [(one, span) for one in readings if (span := case.span(one)) is not None]
    if not options:
        return (not_judged(INSULATION, case, limit, (uncertain("insulation resistance"),), "MΩ"),), tuple(remarks)
    worst = worst_span([span for _, span in options], limit)
    reading, span = next(row for row in options if row[1] == worst)
    planned = case.test.data.get("test_voltage_v")
    wanted = float(planned) if isinstance(planned, int | float) else 250.0
    to_pass: list[str] = []
    volts = {one.condition("test_voltage_v") for one in readings}
    known = sorted(v for v in volts if isinstance(v, int | float))
    if None in volts:
        give = sentences(readings[0], f"test_voltage_v is {wanted:g}")
        to_pass.append(f"the test voltage: the limit holds at {wanted:g} V; if that was used, {give}")
    if known and known[0] < 0.95 * wanted:
        to_pass.append(f"a test with {wanted:g} V: {known[0]:g} V shows less")
    if known and known[-1] > 1.05 * wanted:
        remarks.append(Remark("test-voltage", "warn", f"tested with {known[-1]:g} V, the plan says {wanted:g} V", "what stayed connected may have been harmed: look at protectors and radios before they are switched on"))  # fmt: skip
    temperature = reading.condition("temperature_c")
    told = "no temperature is written"
    if isinstance(temperature, int | float) and -60 <= temperature <= 120 and span.value > 0 and not span.bound:
        told = f"at {temperature:g} °C; about {number(float(insulation_at_20_ohm(span.value, temperature)), 'MΩ')} at 20 °C by a rule of thumb"
    alike = _alike(case)
    if alike:
        remarks.append(Remark("alike", "warn", f"low and alike on {alike}: surge protectors, radios or breakers may still be connected", "disconnect them all, and test again; discharge the cable afterwards"))  # fmt: skip
    remedy = (
        "disconnect radios, breakers and surge protection, and test again; then dry the ends, then look for a damaged sheath"
    )  # fmt: skip
    first = against(
        INSULATION, case, span, limit, unit="MΩ", note=f"{told}; {case.doubt_words(reading)}", remedy=remedy, to_pass=to_pass,
        decide="dry and clean both ends, then one minute at the planned voltage again",
    )  # fmt: skip
    second = outside(
        INSULATION_EXPECTED, case, span, case.test.low[0], case.test.high[0], unit="MΩ", remedy=remedy, to_pass=to_pass
    )
    return (first, second), tuple(remarks)


def _alike(case: Case) -> str:
    """Pairs of one run whose insulation is low and alike; '' where that is not so."""
    run = case.test.items[0] if case.test.items else case.subject
    tests = {one.id: one for one in case.proof.expectations if one.id.split(".")[1] == "ir" and run in one.items}
    lows = {
        id: min(r.value for r in some if r.value is not None)
        for id, some in case.others.items()
        if id in tests and any(r.value is not None for r in some)
    }
    values = list(lows.values())
    if len(values) < ALIKE_LEAST or not all(0 <= value < LOW_MEGOHM for value in values):
        return ""
    if max(values) > ALIKE_SHARE * min(values):
        return ""
    return f"{len(values)} pairs of {run} ({number(min(values), 'MΩ')} to {number(max(values), 'MΩ')})"


__all__ = ["at_20_c", "implied", "judge_insulation", "judge_loop", "judge_voltage", "nearest_section", "referred"]
