"""
Judge intermodulation: the highest third-order product of a path, at the carriers that the limit is written for.

A level in dBm becomes a ratio to its carrier only with the carrier that was written beside it; nothing is compared without.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.field.readers.reading import Reading
from upmast.field.readers.values_number import EQUAL_DB
from upmast.field.reading_case import (
    Case,
    Judgement,
    against,
    halted,
    not_judged,
    ordered,
    outside,
    span_words,
    uncertain,
)
from upmast.field.reading_doubt import Span
from upmast.field.reading_said import sentences
from upmast.field.setup import Remark
from upmast.line.walk import rf_paths
from upmast.number import number
from upmast.pim.level import TEST_CARRIER_DBM, dbc_from_dbm, dbm_from_dbc
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign, path_designs
from upmast.proof.two_tones import tones_of_radio
from upmast.source import Mark

CODE, EXPECTED = "pim.level", "pim.level-expected"
EXAMPLE_HZ = (1.93e9, 1.99e9)  # in an answer, where the plan names no tones: common practice, no source
EXAMPLE_SLOPE = 2.5  # in an answer; joints in the field lie from 2 to 3 dB/dB: common practice, no source
RESIDUAL_DB = 10.0  # the instrument's own product lies so far below the limit at least: IEC 62037-1, from memory
SAME_HZ = 1e6  # a product lies where its carriers put it, to the channel of the instrument: common practice, no source
REMEDY = (
    "find the joint that moves it, tapped only where the procedure of the site lets someone stay there with the carriers on; carriers off "
    "before it is opened, then clean and torque it; look for metal near the antenna"
)
Floats = NDArray[np.float64]


def at_carriers_dbc(level_dbc: ArrayLike, carrier_dbm: ArrayLike, slope_db_per_db: ArrayLike, wanted_dbm: ArrayLike = TEST_CARRIER_DBM) -> Floats:  # fmt: skip
    r"""
    A third-order ratio referred to other carriers: :math:`L' = L + (s - 1)(P' - P)`, as the level rises by s dB for each dB of both.

    Parameters
    ----------
    level_dbc [dBc] : L, at two equal carriers of carrier_dbm [dBm] P. slope_db_per_db [dB/dB] : s, 3 in theory. wanted_dbm [dBm] : P'.
    Broadcast.

    Source: definition of the slope, see `pim.level.THEORY_SLOPE`.

    >>> float(at_carriers_dbc(-150.0, 40.0, 3.0))
    -144.0
    """
    level, carrier, slope, wanted = (
        np.asarray(x, dtype=np.float64) for x in (level_dbc, carrier_dbm, slope_db_per_db, wanted_dbm)
    )
    return np.asarray(level + (slope - 1.0) * (wanted - carrier))


def with_residual_db(level_dbc: float, residual_dbc: float) -> tuple[float, float]:
    """
    Lowest and highest true level behind a reading that the residual of the instrument adds to, in phase or against it.

    At a residual 10 dB below: 3.3 dB less to 2.4 dB more.

    >>> [round(x, 2) for x in with_residual_db(-150.0, -160.0)]
    [-153.3, -147.61]
    """
    a, r = 10.0 ** (level_dbc / 20.0), 10.0 ** (residual_dbc / 20.0)
    return (20.0 * math.log10(a - r) if a > r else -math.inf), 20.0 * math.log10(a + r)


def carriers_of(reading: Reading) -> tuple[float, float] | None:
    """Both carriers of a reading, dBm; None where one is not written."""
    one, two = reading.condition("carrier_1_dbm"), reading.condition("carrier_2_dbm")
    return (float(one), float(two)) if isinstance(one, int | float) and isinstance(two, int | float) else None


def level_dbc(reading: Reading, span: Span) -> tuple[Span | None, float, str]:
    """A level as a ratio to its carrier: interval in dBc, the carrier in dBm, and what is missing where it can't be said."""
    carriers = carriers_of(reading)
    if carriers is None:
        give = sentences(reading, "carrier_1_dbm is 43", "carrier_2_dbm is 43")
        return (
            None,
            math.nan,
            f"the power of both carriers: a level without them is compared with nothing; for a whole file, e.g. {give}",
        )
    one, two = carriers
    if abs(one - two) > EQUAL_DB:
        return None, math.nan, f"two equal carriers: {number(one, 'dBm')} and {number(two, 'dBm')} were used"
    carrier = (one + two) / 2.0
    if reading.unit == "dBm":
        return span.moved(shift=float(dbc_from_dbm(0.0, carrier))), carrier, ""
    return span, carrier, ""


def judge_pim(case: Case) -> Judgement:
    """
    Intermodulation of a path: the highest of all its readings decides, whatever came later.

    With carriers other than those of the limit the level is referred by a stated slope; without one it is only known which way it would
    move, as no slope is below 1: more carrier never lowers it.
    """
    limit = case.test.limit
    readings = ordered(case.readings)
    wanted = case.test.data.get("carriers_dbm")
    carrier_wanted = float(wanted[0]) if isinstance(wanted, tuple) and wanted else TEST_CARRIER_DBM
    design = next((one for one in path_designs(case.proof.line) if one.id == case.subject), None)
    planned = planned_tones_hz(case.proof, case.subject)
    rows: list[tuple[Reading, Span, float]] = []
    to_pass: list[str] = []
    remarks: list[Remark] = []
    doubted = False
    for one in readings:
        span = case.span(one)
        if span is None:
            continue
        doubted = True
        level, carrier, lack = level_dbc(one, span)
        if level is None:
            to_pass.append(lack)
            continue
        rows.append((one, _referred(case, level, carrier, carrier_wanted), carrier))
        lacks, told = _frequencies(one, design, planned)
        to_pass += lacks
        remarks += told
    if not rows:
        missing = to_pass if doubted else [uncertain("intermodulation")]
        return (not_judged(CODE, case, limit, tuple(dict.fromkeys(missing)), "dBc", "two carriers of 43 dBm, written beside the level"),), ()  # fmt: skip
    reading, span, carrier = max(rows, key=lambda row: (row[1].high, row[1].value))
    sure = max((row for row in rows), key=lambda row: (row[1].low, row[1].value))
    if limit is not None and limit.margin(sure[1].low) < 0:  # one that surely fails decides
        reading, span, carrier = sure
    span, more = _residual(case, span, limit.value if limit is not None else math.nan)
    remarks += more
    if len(readings) > 1:
        remarks.append(Remark("highest", "note", f"{len(readings)} readings: the highest decides, and a level that came back down still counts", ""))  # fmt: skip
    if not any(one.condition("mode") in ("dynamic", "swept") for one in readings):
        remarks.append(Remark("still", "note", "neither swept nor tapped, by what is written: a still reading may miss a loose joint", "note the highest value while the joints are tapped, only where the procedure of the site lets someone stay there with the carriers on"))  # fmt: skip
    between = ""
    if abs(carrier - carrier_wanted) > EQUAL_DB and case.slope_db_per_db is None:
        between = (
            f"a reading with two carriers of {carrier_wanted:g} dBm: {carrier:g} dBm was used and no slope is stated; who knows how many dB "
            f"it rises for each dB of both carriers says so, as --say 'slope is {EXAMPLE_SLOPE:g}'"
        )
    at_wanted = span_words(span.moved(shift=float(dbm_from_dbc(0.0, carrier_wanted))), "dBm")
    note = f"{at_wanted} at two carriers of {carrier_wanted:g} dBm" if not between else f"as read at two carriers of {carrier:g} dBm"  # fmt: skip
    if not between and abs(carrier - carrier_wanted) > EQUAL_DB:
        note += f", referred from {carrier:g} dBm by a slope of {case.slope_db_per_db:g} dB/dB as stated"
    note += f"; {_doubt_words(case, reading)}"
    stops = halted(remarks)
    lacking = tuple(dict.fromkeys(to_pass))
    decide = "read the instrument on a load at its own port, then the line again"
    first = against(CODE, case, span, limit, unit="dBc", decide=decide, note=note, remedy=REMEDY, stops=stops, to_pass=lacking, between=between)  # fmt: skip
    second = outside(
        EXPECTED, case, span, case.test.low[0], case.test.high[0], unit="dB", quantity_unit="dBc", remedy=REMEDY, stops=stops, to_pass=lacking
    )  # fmt: skip
    if between:  # the limit is not written for these carriers: how far off it is can't be said
        first, second = replace(first, margin=None), replace(second, margin=None)
    return (first, second), tuple(remarks)


def _doubt_words(case: Case, reading: Reading) -> str:
    doubt = case.doubts(reading)
    assert doubt is not None
    mark = "declared" if doubt.source.mark is Mark.DECLARED else str(doubt.source.mark)
    return f"may be off by {number(float(doubt.off(reading.value or 0.0)), 'dB')} ({doubt.words}, {mark})"


def _referred(case: Case, span: Span, carrier: float, wanted: float) -> Span:
    step = wanted - carrier
    if abs(step) <= EQUAL_DB:
        return span
    if case.slope_db_per_db is not None:
        return span.moved(shift=float(at_carriers_dbc(0.0, carrier, case.slope_db_per_db, wanted)))
    # the slope is at least 1: at more carrier the ratio is not lower, at less not higher
    return (
        Span(span.value, span.low, math.inf, span.bound)
        if step > 0
        else Span(span.value, -math.inf, span.high, span.bound)
    )


def _tones(reading: Reading) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Both tones, each as the range that it was swept over."""
    out = []
    for n in (1, 2):
        one, low, high = (reading.condition(f"tone_{n}{end}_hz") for end in ("", "_low", "_high"))
        if isinstance(one, int | float):
            out.append((float(one), float(one)))
        elif isinstance(low, int | float) and isinstance(high, int | float):
            out.append((float(low), float(high)))
    return (out[0], out[1]) if len(out) == 2 else None


def products_hz(
    tones: tuple[tuple[float, float], tuple[float, float]],
) -> tuple[tuple[float, float], tuple[float, float]]:
    """
    Where the two third-order products of two tones fall, each as a range: 2 f1 - f2 and 2 f2 - f1.

    >>> products_hz(((1.93e9, 1.93e9), (1.99e9, 1.99e9)))
    ((1870000000.0, 1870000000.0), (2050000000.0, 2050000000.0))
    """
    (a, b), (c, d) = tones
    return (2 * a - d, 2 * b - c), (2 * c - b, 2 * d - a)


def planned_tones_hz(proof: Proof, subject: str) -> tuple[float, ...]:
    """The two tones that the test plan names for a path, in their order; empty where it names none."""
    line = proof.line
    path = next((one for one in rf_paths(line) if one.id == subject), None)
    radio = next((one for one in proof.site.radios if path is not None and one.id == path.radio), None)
    tones, _ = tones_of_radio(line, radio, path)
    return () if tones is None else tuple(sorted(float(one) for one in tones.tones_hz))


def _foreign(
    tones: tuple[tuple[float, float], tuple[float, float]], design: PathDesign, planned: tuple[float, ...]
) -> bool:
    """Whether a carrier lies outside the bands of its path, and is not that of the plan either."""
    if planned and all(
        max(abs(one - f) for one in tone) <= SAME_HZ for tone, f in zip(sorted(tones), planned, strict=True)
    ):
        return False
    return bool(design.bands) and not all(
        any(b.low_hz <= low and high <= b.high_hz for b in design.bands) for low, high in tones
    )


def _frequencies(
    reading: Reading, design: PathDesign | None, planned: tuple[float, ...] = ()
) -> tuple[list[str], list[Remark]]:
    """What order and tones of a reading lack for a pass, and what is worth saying about them."""
    lacks: list[str] = []
    remarks: list[Remark] = []
    tones, order, seen = _tones(reading), reading.condition("order"), reading.condition("product_hz")
    if isinstance(order, int | float) and order != 3:
        lacks.append(f"the third-order product: order {order:g} was read, which is lower as a rule")
    if tones is None:
        low, high = planned or EXAMPLE_HZ
        give = sentences(reading, f"tone_1_hz is {low:.0f}", f"tone_2_hz is {high:.0f}")
        lacks.append(f"the frequencies of both carriers; for a whole file, e.g. {give}")
        return lacks, remarks
    products = products_hz(tones)
    if isinstance(seen, int | float):
        if not any(low - SAME_HZ <= seen <= high + SAME_HZ for low, high in products):
            lacks.append(
                f"a product of third order of its carriers: it was read at {number(float(seen), 'Hz')}, they put it at {' or '.join(_range(p) for p in products)}"
            )  # fmt: skip
    elif order is None:
        remarks.append(
            Remark(
                "order", "note", "the order is not written: taken as third", "note order and frequency of the product"
            )
        )
    if design is None:
        return lacks, remarks
    sends = [b for b in design.bands if not b.name.endswith("uplink")]
    hears = [b for b in design.bands if not b.name.endswith("downlink")]
    at = [(float(seen), float(seen))] if isinstance(seen, int | float) else list(products)
    heard = any(low <= b.high_hz and high >= b.low_hz for b in hears for low, high in at)
    if not heard and _foreign(tones, design, planned):
        used = f"{_range(tones[0])} and {_range(tones[1])}"
        words = f"carriers at {used} are not those of this path: a low level says nothing about the test planned"
        lacks.append(
            f"carriers in the bands of this path, or a third-order product where its radio listens: {used} were used"
        )
        remarks.append(Remark("tones", "warn", words, "set carriers in the bands of the radio, as the test plan says"))
        return lacks, remarks
    if sends and not all(any(b.low_hz <= low and high <= b.high_hz for b in sends) for low, high in tones):
        remarks.append(Remark("tones", "note", f"the carriers ({_range(tones[0])}, {_range(tones[1])}) are not both where this path sends", "set carriers in the bands of the radio where the instrument can"))  # fmt: skip
    if hears and not heard:
        remarks.append(Remark("uplink", "note", f"no third-order product of these carriers ({', '.join(_range(p) for p in at)}) falls where this radio listens: the level counts all the same", ""))  # fmt: skip
    return lacks, remarks


def _range(ends: tuple[float, float]) -> str:
    low, high = ends
    return number(low, "Hz") if low == high else f"{low / 1e6:.2f} to {number(high, 'Hz')}"


def _residual(case: Case, span: Span, limit_dbc: float) -> tuple[Span, list[Remark]]:
    """The interval widened by the instrument's own product, and a remark where that is too high or not known."""
    if case.residual is None:
        return span, [Remark("residual", "note", f"what the instrument reads on a load at its own port is not given; it should be {RESIDUAL_DB:g} dB below the limit", "add that reading, called residual")]  # fmt: skip
    own = case.span(case.residual)
    level, _, lack = level_dbc(case.residual, own) if own is not None else (None, math.nan, "its uncertainty")
    if level is None:
        return span, [Remark("residual", "note", f"the residual of the instrument can't be compared: it needs {lack}", "write its carriers too")]  # fmt: skip
    remarks = []
    if math.isfinite(limit_dbc) and level.value > limit_dbc - RESIDUAL_DB:
        remarks.append(Remark("residual", "warn", f"the instrument alone reads {span_words(level, 'dBc')}, less than {RESIDUAL_DB:g} dB below the limit", "clean the test lead and load, or take better ones"))  # fmt: skip
    if level.bound == "<" and level.value >= span.value:
        return span, remarks
    low, high = with_residual_db(span.value, level.value)
    return span.widened(span.low + (low - span.value), span.high + (high - span.value)), remarks


__all__ = [
    "at_carriers_dbc",
    "carriers_of",
    "judge_pim",
    "level_dbc",
    "planned_tones_hz",
    "products_hz",
    "with_residual_db",
]
