"""
The length of a line, three ways: by the delay of its reflection, by the resistance of its pair, by the delay of its light; against its label.

Each way gives an interval. Where one leaves out the label, every explanation that fits is named: another length, another velocity or
size, another part of the line. Which of them it is, a person has to look.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from upmast.field.delays import end_delay_s
from upmast.field.distance import VELOCITY_SHARE, distance_picture, place_of_delay_m, why_no_distance
from upmast.field.measurement import Sweep
from upmast.field.told import Swept, Told
from upmast.number import number
from upmast.power.resistance import conductor_areas_mm2, conductor_ohm_per_km, temperature_coefficient_per_k
from upmast.proof.expect import LOOP_HIGH, LOOP_LOW
from upmast.proof.prove import Proof
from upmast.proof.rf_path import CABLE_LOSS_SHARE, PathDesign, path_designs
from upmast.rf.distance import delay_from_distance_s
from upmast.rf.loss import C0_M_PER_S
from upmast.rf.sweep import short_reading

__all__ = [
    "Interval", "SeenEnd", "disagree", "lengths", "loop_length_m", "optical_length_m", "rf_explanations", "rf_length_m",
    "seen_end",
]  # fmt: skip

END_CELL_SHARE = 0.15  # of v/(2 B): how well the place of a lone strong end is read; own trials, see the tests
JOINTS_M = 0.02  # what connectors add to the electrical length: common practice, no source
ANTENNA_M = 3.0  # an antenna reflects from inside, up to this far: common practice, no source
PLAUSIBLE = (0.6, 0.96)  # velocity fractions of cables in use: common practice, no source
CLEAR_DB = 44.0  # a quieter end behind a load is not told from echoes: common practice, no source
QUIET_DB = 8.0  # nothing reflects at a place that is this much below the end: common practice, no source
INDEX_SHARE = 0.002  # of the group index between fibres: common practice, no source
STRANDING = 0.02  # a strand is longer than its cable by up to this: common practice, no source
LOSS_DOUBT_DB = 0.1  # of a loss read from a sweep with a short, beside the spread of cables: common practice, no source
PAIRS_SHARE = 0.05  # pairs of one cable differ by less: common practice, no source


class Interval(NamedTuple):
    """A length that may lie between two ends, m."""

    low_m: float
    high_m: float

    @property
    def words(self) -> str:
        if self.high_m - self.low_m < 0.01:
            return number(0.5 * (self.low_m + self.high_m), "m")
        return f"{self.low_m:.2f} to {self.high_m:.2f} m"


def disagree(one: Interval, other: Interval) -> bool:
    """Whether two intervals have no point in common."""
    return one.low_m > other.high_m or other.low_m > one.high_m


def loop_length_m(loop_ohm: float, ohm_per_km: float, temperature_c: float = 20.0) -> Interval:
    """
    Length of a pair from its loop resistance: L = R/(2 r'), r' of one conductor, from its least to its largest.

    Parameters
    ----------
    loop_ohm [ohm]: both conductors, shorted at the far end. ohm_per_km [ohm/km]: largest of one conductor at 20 °C, IEC 60228.
    temperature_c [°C]: of the cable, of copper.

    Source: definition; the range of r' is 0.90 to 1.05 of the largest, as in the expectations of the tests.

    >>> loop_length_m(0.229, 1.91).words
    '57.09 to 66.61 m'
    """
    if not (loop_ohm > 0 and ohm_per_km > 0):
        raise ValueError("loop_ohm and ohm_per_km lie above 0")
    length = 1000.0 * _at_20(loop_ohm, temperature_c) / (2.0 * ohm_per_km)
    return Interval(length / LOOP_HIGH, length / LOOP_LOW)


def _at_20(ohm: float, temperature_c: float) -> float:
    """A resistance of copper referred to 20 °C."""
    return ohm / (1.0 + temperature_coefficient_per_k().value * (temperature_c - 20.0))


def optical_length_m(delay_s: float, group_index: float) -> Interval:
    """
    Length of a cable from the one-way delay of its light: L = c tau/n_g, shorter by up to the stranding.

    Parameters
    ----------
    delay_s [s]: one way. group_index [1]: of the fibre at the wavelength used.

    >>> optical_length_m(4.895e-7, 1.4677).words
    '97.83 to 100.19 m'
    """
    if not (delay_s > 0 and 1.0 < group_index < 2.0):
        raise ValueError("delay_s lies above 0, group_index between 1 and 2")
    strand = C0_M_PER_S * delay_s / group_index
    return Interval(strand * (1 - INDEX_SHARE) / (1 + STRANDING), strand * (1 + INDEX_SHARE))


@dataclass(frozen=True, slots=True)
class SeenEnd:
    """Where a sweep sees the end of the line: one-way delay [s], its doubt [s], and whether it can be nothing else."""

    delay_s: float
    doubt_s: float
    sure: bool


def seen_end(sweep: Sweep, design: PathDesign, test: str) -> SeenEnd | None:
    """
    The end of the line in a sweep; None where it is not told.

    With a short or an open end it is the strongest reflection. With a load it is taken only where it is not quiet, lies at no other
    joint of the design, and nothing reflects where the last joint should be; with an antenna likewise.
    """
    if why_no_distance(sweep, design):
        return None
    delay = end_delay_s(sweep)
    if delay is None or not delay > 0:
        return None
    cell_s = 0.5 / sweep.width_hz
    doubt = END_CELL_SHARE * cell_s
    if test == "short":
        return SeenEnd(delay, doubt, True)
    trace = distance_picture(sweep, design)
    if test == "antenna":  # its reflection goes on behind its port; the strongest place of it is taken
        k = int(np.argmin(trace.return_loss_db))
        length, v = [s.length_m for s in design.sections], [s.velocity_fraction for s in design.sections]
        delay = float(delay_from_distance_s(float(trace.distance_m[k]), length, v))
    place = place_of_delay_m(design, delay)
    near = max(trace.width_m, 2.0 * _slack_m(design, sweep))
    if any(abs(place - j.distance_m) < near for j in design.joints[:-1]):
        return None
    level = float(np.interp(place, trace.distance_m, trace.return_loss_db))
    if abs(place - design.length_m) < near:
        return SeenEnd(delay, 2.0 * doubt, False)
    there = np.abs(trace.distance_m - design.length_m) < 0.25 * trace.width_m
    if not there.any() or level > CLEAR_DB:
        return None
    if float(trace.return_loss_db[there].min()) < level + QUIET_DB or place > trace.distance_m[-1] - trace.width_m:
        return None
    return SeenEnd(delay, 2.0 * doubt, False)


def _slack_m(design: PathDesign, sweep: Sweep) -> float:
    return design.tolerance_m + VELOCITY_SHARE * design.length_m + JOINTS_M


def rf_length_m(seen: SeenEnd, design: PathDesign) -> Interval:
    """Length of a path by the delay of its end, with the velocities of the design, one per cent either way."""
    low, high = (place_of_delay_m(design, seen.delay_s + k * seen.doubt_s) for k in (-1, 1))
    return Interval(low * (1 - VELOCITY_SHARE) - JOINTS_M, high * (1 + VELOCITY_SHARE))


def label_of(design: PathDesign) -> Interval:
    return Interval(design.length_m - design.tolerance_m, design.length_m + design.tolerance_m)


def rf_explanations(
    seen: SeenEnd,
    design: PathDesign,
    others: Sequence[PathDesign] = (),
    loss_db: float | None = None,
    f_hz: float = 0.0,
) -> tuple[str, ...]:
    """
    What can explain a delay that does not fit the design, in words: a length, a velocity, another part of the line.

    Parameters
    ----------
    others : paths of the line; a cable of theirs that is as long as one of this path seems is named.
    loss_db [dB], f_hz [Hz]: one-way loss from a sweep with a short; it tells a length from a velocity where it can.
    """
    seems = place_of_delay_m(design, seen.delay_s)
    off_s = seen.delay_s - design.delay_s
    out = []
    for s in design.sections:
        if s.rows:
            continue
        own = s.length_m + off_s * s.velocity_fraction * C0_M_PER_S
        fraction = s.length_m / ((s.delay_s + off_s) * C0_M_PER_S) if s.delay_s + off_s > 0 else 0.0
        if own > 0.05:
            out.append(f"{s.item} is {own:.2f} m long, not {s.length_m:.2f} m")
            same = sorted(
                {
                    o.item for d in others for o in d.sections
                    if o.item != s.item and not o.rows and abs(o.delay_s - s.delay_s - off_s) < seen.doubt_s + 0.01 * o.delay_s
                }
            )  # fmt: skip
            if same:
                more = f" and {len(same) - 4} more" if len(same) > 4 else ""
                out.append(f"{', '.join(same[:4])}{more} in place of {s.item}: as long as that by the design")
        if PLAUSIBLE[0] <= fraction <= PLAUSIBLE[1]:
            out.append(
                f"{s.item} has velocity fraction {fraction:.3f}, not {s.velocity_fraction:.3f}: another type of cable"
            )
    if loss_db is not None and design.length_m > 0:
        due = float(design.loss_db(f_hz))
        longer = due * seems / design.length_m
        doubt = CABLE_LOSS_SHARE * due + LOSS_DOUBT_DB
        if abs(longer - due) > 2.0 * doubt:
            fits = (
                "another length"
                if abs(loss_db - longer) < abs(loss_db - due)
                else "the designed length, and another velocity"
            )
            out.append(
                f"the loss of {number(loss_db, 'dB')} speaks for {fits} (it would be {number(longer, 'dB')} or {number(due, 'dB')})"
            )
    return tuple(out)


def rf_words(seen: SeenEnd, design: PathDesign) -> str:
    """The length that fits at the design's velocity, and the velocity that fits at the design's length."""
    seems = place_of_delay_m(design, seen.delay_s)
    mean = design.length_m / (design.delay_s * C0_M_PER_S)
    fits = design.length_m / (seen.delay_s * C0_M_PER_S)
    word = "velocity fraction" if len({s.velocity_fraction for s in design.sections}) == 1 else "mean velocity fraction"
    both = f"; or {design.length_m:.2f} m long with {fits:.3f}" if fits < 1 else ""
    return f"the line would be {seems:.2f} m long at the design's {word} {mean:.3f}{both}; the design has {design.length_m:.2f} m"


def off_design(sweep: Sweep, design: PathDesign, test: str) -> SeenEnd | None:
    """The end that a sweep sees, if no length, velocity and reading within their tolerances explain it; else None."""
    seen = seen_end(sweep, design, test)
    if seen is None:
        return None
    found = rf_length_m(seen, design)
    if test == "antenna":
        found = Interval(found.low_m - ANTENNA_M, found.high_m)
    return seen if disagree(found, label_of(design)) else None


def lengths(proof: Proof, sweeps: Sequence[Swept], readings: Sequence[Any] = ()) -> tuple[Told, ...]:
    """
    Lengths of a line by all files against its labels: RF paths by their sweeps, pairs by their loop resistance, strands by their delay.

    Parameters
    ----------
    readings : of `reading_judge` (`test_id`, `readings`); loop resistance needs a temperature, kinds `optical-delay` [ns] and
        `optical-length` [m] are taken where a reader gives them.
    """
    others = path_designs(proof.line)
    out = []
    for one in sweeps:
        seen = off_design(one.sweep, one.design, one.test)
        if seen is None:
            continue
        loss = None
        if one.test == "short":
            loss = short_reading(one.sweep.frequency_hz, one.sweep.bounded_db, one.design.delay_s).loss_db
        why = rf_explanations(seen, one.design, others, loss, one.sweep.middle_hz)
        fits = f". It fits: {'; or '.join(why)}" if why else ""
        out.append(
            Told(
                "lengths", "warn" if seen.sure else "note", f"{one.path_id}: {rf_words(seen, one.design)}{fits}",
                "read the label and the printed metres of the cable, and look whether it is the right one"
                + ("" if seen.sure else "; a sweep with a short at the end tells the length for sure"),
                (one.test_id,), (one.sweep.file,),
            )
        )  # fmt: skip
    out.extend(_pairs(proof, readings))
    return tuple(out)


def _pairs(proof: Proof, readings: Sequence[Any]) -> list[Told]:
    """Loop resistances and optical delays, run by run."""
    from upmast.catalogue.part import Cable
    from upmast.fibre.delay import GROUP_INDEX_1310
    from upmast.line.wire import ohm_per_km

    out: list[Told] = []
    found: dict[str, list[tuple[str, str, str, Interval, float]]] = {}  # run: test, file, way, interval, ohm at 20 °C
    for test_id, reading in _each(readings):
        name = test_id.partition(".")[0]
        item = proof.line.by_id.get(name) or proof.line.by_id.get(name.rpartition("-")[0])
        if item is None or reading.value is None or not reading.value > 0 or reading.comparator:
            continue
        part = proof.line.part_of(item)
        if not isinstance(part, Cable) or not item.length_m:
            continue
        ohm, span, way = float("nan"), None, ""
        if reading.kind == "loop-resistance" and part.conductor_area_mm2 is not None:
            warm = reading.condition("temperature_c")
            if not isinstance(warm, (int, float)):
                continue  # judged apart: it asks for the temperature
            try:
                per_km, _ = ohm_per_km(part)
            except ValueError:
                continue
            span, way = loop_length_m(reading.value, per_km, float(warm)), "loop resistance"
            ohm = _at_20(reading.value, float(warm))
        elif reading.kind == "optical-delay":
            span, way = optical_length_m(reading.value * 1e-9, GROUP_INDEX_1310.value), "delay of light"
        elif reading.kind == "optical-length":
            low, high = reading.value * (1 - INDEX_SHARE) / (1 + STRANDING), reading.value * (1 + INDEX_SHARE)
            span, way = Interval(low, high), "length of light"
        if span is not None:
            found.setdefault(item.id, []).append((test_id, reading.file, way, span, ohm))
    for run, rows in found.items():
        item = proof.line.by_id[run]
        length = item.length_m or 0.0
        label = Interval(length - item.tolerance_m, length + item.tolerance_m)
        part = proof.line.part_of(item)
        for test_id, file, way, span, ohm in rows:
            if not disagree(span, label):
                continue
            why = [f"the length is {span.words}"]
            if ohm == ohm:
                for area in conductor_areas_mm2(5):
                    own = getattr(part, "conductor_area_mm2", None)
                    if area != own and not disagree(loop_length_m(ohm, conductor_ohm_per_km(area, 5)), label):
                        why.append(f"the pair is {area:g} mm², not {own:g} mm²")
                if span.low_m > label.high_m:
                    why.append("a contact in the loop is bad, or the leads were not zeroed")
                else:
                    why.append("another path lies in parallel: an end is not disconnected, or the short is nearer")
            same = sorted(
                i.id for i in proof.line.of_kind(item.kind)
                if i.id != run and i.part == item.part and i.length_m and not disagree(span, Interval(i.length_m - i.tolerance_m, i.length_m + i.tolerance_m))
            )  # fmt: skip
            if same:
                why.append(f"it is {' or '.join(same[:4])}, as long as that by the design")
            agree = [w for _, _, w, s, _ in rows if w != way and not disagree(s, span)]
            if agree:
                why.append(f"the {agree[0]} of {run} says the same length: look at reel and label first")
            out.append(
                Told(
                    "lengths", "warn", f"{test_id.partition('.')[0]}: the {way} stands for {span.words}, the label of {run} for "
                    f"{label.words}. It fits: {'; or '.join(why)}",
                    "read the printed metres and the label of the reel, and look whether it is the right pair", (test_id,), (file,),
                )
            )  # fmt: skip
        out.extend(_odd_pair(run, [(t, f, ohm) for t, f, _, _, ohm in rows if ohm == ohm]))
    return out


def _odd_pair(run: str, rows: list[tuple[str, str, float]]) -> list[Told]:
    """Three pairs or more of one cable are alike; one that is not has a contact, or is another pair."""
    if len({t for t, _, _ in rows}) < 3:
        return []
    usual = float(np.median([ohm for _, _, ohm in rows]))
    return [
        Told(
            "lengths", "note", f"{t.partition('.')[0]}: {number(ohm, 'Ω')} at 20 °C, the other pairs of {run} have {number(usual, 'Ω')}",
            "look at the contacts of this pair, and whether it is the right one", (t,), (f,),
        )
        for t, f, ohm in rows if abs(ohm / usual - 1.0) > PAIRS_SHARE
    ]  # fmt: skip


def _each(readings: Sequence[Any]) -> list[tuple[str, Any]]:
    """Test and reading of judged readings; of a plain reading its subject is taken for the test."""
    out: list[tuple[str, Any]] = []
    for one in readings:
        inner = getattr(one, "readings", None)
        if inner is None:
            out.append((str(getattr(one, "subject", "")), one))
        else:
            out.extend((str(getattr(one, "test_id", "")), r) for r in inner)
    return out
