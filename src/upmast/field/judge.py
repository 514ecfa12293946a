"""
Judge a sweep: against the limit that decides acceptance, and against what this very line should show.

Guard band: a value within its uncertainty of the limit is not judged, and the cheapest measurement that would decide is named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from upmast.errors import UsageError
from upmast.field.fitted import Fitted, fit_sweep
from upmast.field.kept import ByGrid
from upmast.field.locate import DIRECTIVITY_DB, Located, Peak, locate
from upmast.field.match import fits_length
from upmast.field.measurement import Sweep
from upmast.field.reading_case import places_of, shown_margin
from upmast.field.remark import ORDER
from upmast.field.setup import CAUTIONS, Remark, check_setup, thin_bands, uncovered
from upmast.finding import Finding, Limit, Verdict, judge
from upmast.line.line import Line
from upmast.number import number, places_apart
from upmast.proof.expect import short_limit
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign, path_designs
from upmast.rf.reflection import gamma_from_return_loss, return_loss_db
from upmast.rf.sweep import Expected, short_reading

Floats = NDArray[np.float64]
SUFFIXES = {"rl.load": "load", "rl.antenna": "antenna", "loss.short": "short"}
_ENDINGS = tuple((one, f".{one.upper()}") for one in SUFFIXES)
RIPPLE_WIDER = 1.05  # so that one whole ripple lies between points
_EXPECTED: ByGrid[Expected] = ByGrid()  # one path is swept with one grid again and again
_INSIDE: ByGrid[NDArray[np.intp]] = ByGrid()
_KNOWN: ByGrid[NDArray[np.intp]] = ByGrid()
CODES = {"load": "rf.sweep-return-loss", "antenna": "rf.sweep-antenna", "short": "rf.sweep-cable-loss"}


_REMEDY = {
    "rf.sweep-return-loss": "find the joint that reflects, clean it, torque it, sweep again",
    "rf.sweep-antenna": "sweep again with a load in place of the antenna: that tells the line from the antenna",
}


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """
    How far a reading may be off. Without a value in dB it comes from the directivity of the calibrated test port: the size of
    the reflection may be off by 10^(-D/20) either way.
    """

    directivity_db: float = DIRECTIVITY_DB
    reading_db: float | None = None

    def interval_db(self, gamma: float) -> tuple[float, float]:
        """Lowest and highest return loss that a reading may stand for, dB."""
        if self.reading_db is not None:
            value = float(return_loss_db(gamma))
            return value - self.reading_db, value + self.reading_db
        leak = 10.0 ** (-self.directivity_db / 20.0)
        least = -20.0 * math.log10(gamma + leak)
        return least, -20.0 * math.log10(gamma - leak) if gamma > leak else math.inf

    @property
    def words(self) -> str:
        if self.reading_db is not None:
            return f"uncertainty {number(self.reading_db, 'dB')}, as declared"
        return f"test port directivity {self.directivity_db:g} dB [practice]"


@dataclass(frozen=True, eq=False)
class Judged:
    """A sweep judged: findings, remarks on the set-up, where it reflects, and the traces for the picture."""

    test_id: str
    path_id: str
    test: str
    sweep: Sweep
    design: PathDesign
    findings: tuple[Finding, ...]  # the first decides acceptance
    remarks: tuple[Remark, ...]
    located: Located
    open_first: tuple[Peak, ...]
    sentence: str
    frequency_hz: Floats
    measured_db: Floats  # return loss
    least_db: Floats  # worst return loss that a sound line can show
    greatest_db: Floats
    limit: Limit | None
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def verdict(self) -> Verdict:
        return self.findings[0].verdict

    @cached_property
    def fitted(self) -> Fitted:
        """The fit of all joints, made when it is first asked for: it takes ten times as long as all the rest."""
        return fit_sweep(self.sweep, self.design, self.test)

    @property
    def doubtful(self) -> bool:
        """Whether somebody should look: it does not pass, or it differs from design."""
        return self.verdict is not Verdict.PASSES or any(f.verdict is Verdict.FAILS for f in self.findings)


def test_of(proof: Proof, test_id: str) -> tuple[PathDesign, str, str]:
    """
    Path, test and full id of a test id; a bare path id stands for its sweep with a load.

    Raises
    ------
    UsageError
        If the line has no such RF test, with those that it has.
    """
    asked = test_id.upper()
    ending = next((one for one, capitals in _ENDINGS if asked.endswith(capitals)), "")
    path = asked[: -len(ending) - 1] if ending else asked
    design = _by_id(proof.line).get(path)
    if design is not None:
        suffix = ending or "rl.load"
        return design, SUFFIXES[suffix], f"{design.id}.{suffix}"
    known = ", ".join(f"{d.id}.rl.load" for d in path_designs(proof.line)[:8])
    raise UsageError(
        f"no RF test {test_id!r} of this line; there are {known or 'none'}, and .rl.antenna and .loss.short"
    )


def _by_id(line: Line) -> dict[str, PathDesign]:
    """The paths of a line by their id in capitals; made once for a line, which never changes."""
    known: dict[str, PathDesign] | None = line.__dict__.get("_rf_by_id")
    if known is None:
        known = line.__dict__["_rf_by_id"] = {one.id.upper(): one for one in reversed(path_designs(line))}
    return known


def judge_sweep(proof: Proof, sweep: Sweep, test_id: str, uncertainty: Uncertainty | None = None) -> Judged:
    """
    Judge a sweep as one test of the line.

    Parameters
    ----------
    test_id : `A2-J1.rl.load`, `.rl.antenna` or `.loss.short`; a path id alone stands for the sweep with a load.
    uncertainty : of the reading; by the directivity of the test port if not given.

    Raises
    ------
    UsageError
        If the line has no such test.
    """
    design, test, full = test_of(proof, test_id)
    doubt = uncertainty or Uncertainty()
    remarks = check_setup(sweep, design, test)
    located = locate(sweep, design, test)
    expected = _EXPECTED.of(design, sweep, test, lambda: design.expected_db(sweep.frequency_hz, test))
    first = _acceptance(proof, sweep, design, full, test, doubt, remarks)
    if first.verdict is Verdict.PASSES and (doubts := _worthless(sweep, design, test)):  # a failure stands all the same
        remarks = tuple(replace(one, level="stop") if one.key in doubts else one for one in remarks)
        remarks = tuple(sorted(remarks, key=lambda one: ORDER[one.level]))
        first = _acceptance(proof, sweep, design, full, test, doubt, remarks)
    second = _against_expected(proof, sweep, design, test, full, expected.least_db, doubt, remarks)
    suspects = () if test == "short" else located.open_first
    if first.verdict is Verdict.FAILS and suspects:
        first = replace(first, remedy=f"open this first: {suspects[0].words}")
    return Judged(
        full, design.id, test, sweep, design, (first, second), remarks, located, suspects,
        _sentence(first, second, remarks, suspects), sweep.frequency_hz, sweep.return_loss_db,
        np.asarray(expected.least_db), np.asarray(expected.greatest_db), first.limit,
    )  # fmt: skip


def _worthless(sweep: Sweep, design: PathDesign, test: str) -> tuple[str, ...]:
    """Keys of the warnings by which a sweep proves no pass: another line was swept, or hardly a point of a band."""
    out = ("points",) if thin_bands(sweep, design) and sweep.points < design.sweep.points else ()
    return out if fits_length(sweep, design, test) else (*out, "length")


def _acceptance(
    proof: Proof, sweep: Sweep, design: PathDesign, full: str, test: str, doubt: Uncertainty, remarks: tuple[Remark, ...]
) -> Finding:  # fmt: skip
    if test == "short":
        return _cable_loss(proof, sweep, design, full, doubt, remarks)
    return _return_loss(proof, sweep, design, full, CODES[test], doubt, remarks)


def _inside(sweep: Sweep, design: PathDesign) -> NDArray[np.intp]:
    """Places of the points in the bands of a path."""
    return _INSIDE.of(design, sweep, None, lambda: np.flatnonzero(sweep.inside(design.ranges)))


def _stopped(remarks: tuple[Remark, ...]) -> tuple[str, ...]:
    return tuple(f"a sound set-up: {r.words}; {r.remedy}" for r in remarks if r.level == "stop")


def _guarded(
    code: str, subject: str, value: float, low: float, high: float, limit: Limit | None, missing: tuple[str, ...],
    decide: str, note: str, remedy: str, items: tuple[str, ...], unit: str = "dB",
) -> Finding:  # fmt: skip
    """Judge with a guard band: passes or fails only where both ends of the interval do."""
    if (
        limit is not None
        and not missing
        and min(limit.margin(low), limit.margin(high)) < 0 <= max(limit.margin(low), limit.margin(high))
    ):
        places = places_apart((value, low, high, limit.value), unit)
        shown = [number(one, unit, places=places) for one in (value, low, high)]
        near = f"{shown[0]} may be {shown[1]} to {shown[2]}, and the limit lies between"
        missing = (f"a surer reading: {near}; {decide}",)
    return judge(
        code, subject, value, limit, unit=unit, note=note, remedy=remedy, missing=missing, items=items
    )  # fmt: skip


def _return_loss(
    proof: Proof, sweep: Sweep, design: PathDesign, test_id: str, code: str, doubt: Uncertainty,
    remarks: tuple[Remark, ...],
) -> Finding:  # fmt: skip
    """Worst return loss inside the bands, against the limit in force."""
    limit = proof.limits.get(code)
    inside = _inside(sweep, design)
    if not inside.size:
        return judge(
            code, test_id, None, limit, unit="dB", missing=("a sweep of the bands of this path",),
            remedy=_sweep_again(design), items=design.items,
        )  # fmt: skip
    k = int(inside[sweep.bounded_db[inside].argmin()])
    value = float(sweep.bounded_db[k])
    low, high = doubt.interval_db(float(sweep.magnitude[k]))
    missing = _stopped(remarks)
    gap = uncovered(sweep, design)
    if gap and not missing and (limit is None or limit.margin(high) >= 0):
        missing = (f"a sweep of {', '.join(gap)}",)  # what was swept can still fail
    decide = (
        "calibrate again at the end of the test lead, then the same sweep; a better load and lead narrow it further"
    )
    note = f"worst at {number(float(sweep.frequency_hz[k]), 'Hz')}; evidence {sweep.evidence}, {doubt.words}"
    return _guarded(
        code, test_id, value, low, high, limit, missing, decide, note,
        _REMEDY[code], design.items,
    )  # fmt: skip


def _sweep_again(design: PathDesign) -> str:
    return f"sweep {design.lowest_hz / 1e6:g} to {design.highest_hz / 1e6:g} MHz"


def _cable_loss(
    proof: Proof, sweep: Sweep, design: PathDesign, test_id: str, doubt: Uncertainty, remarks: tuple[Remark, ...]
) -> Finding:
    """One-way loss from a sweep with a short, over whole ripple periods, against the limit or this line's own highest loss."""
    code = CODES["short"]
    if sweep.points < 2:
        lack = ("a sweep of more than one frequency",)
        return judge(code, test_id, None, short_limit(proof, design), unit="dB", missing=lack, items=design.items)
    inside = short_part(sweep, design)
    reading = short_reading(sweep.frequency_hz[inside], sweep.bounded_db[inside], design.delay_s)
    limit = short_limit(proof, design)
    level = float(gamma_from_return_loss(max(2.0 * reading.loss_db, 0.0)))
    low, high = (0.5 * x for x in doubt.interval_db(level))
    if doubt.reading_db is None:  # directivity averages out over a ripple; half of it stays as the safe side
        low, high = (0.5 * (x + reading.loss_db) for x in (low, high))
    missing = _stopped(remarks)
    if reading.periods == 0 and not missing:
        missing = (f"a wider sweep: one ripple of this line is {0.5e-6 / design.delay_s:.0f} MHz wide",)
    note = (
        f"half of the mean in dB over {reading.periods} ripple(s) of the bands, at {number(design.middle_hz, 'Hz')}; copper loses about 0.2 % more "
        f"for each kelvin above 20 °C; {doubt.words}"
    )
    return _guarded(
        code, test_id, reading.loss_db, low, high, limit, missing,
        "sweep again with an open end, too: the mean of both is told beside it, and is surer", note,
        "look for water, a bad contact, or a wrong cable or length", design.items,
    )  # fmt: skip


def short_part(sweep: Sweep, design: PathDesign) -> slice:
    """
    The part of a sweep with a short that the loss is read from: the bands, or one ripple round their middle where that is wider.

    All of the sweep where it does not hold the bands.
    """
    if uncovered(sweep, design):
        return slice(None)
    half = 0.5 * max(design.highest_hz - design.lowest_hz, RIPPLE_WIDER * 0.5 / design.delay_s)
    first = int(np.searchsorted(sweep.frequency_hz, (design.middle_hz - half) * (1 - 1e-9)))
    last = int(np.searchsorted(sweep.frequency_hz, (design.middle_hz + half) * (1 + 1e-9), "right"))
    return slice(first, last) if last - first >= 2 else slice(None)


def _against_expected(
    proof: Proof, sweep: Sweep, design: PathDesign, test: str, test_id: str, least_db: Floats, doubt: Uncertainty,
    remarks: tuple[Remark, ...],
) -> Finding:  # fmt: skip
    """How far the sweep lies above the worst trace of a sound line, dB. It sorts the work; only the limit decides."""
    code, limit = "rf.sweep-expected", proof.limits.get("rf.sweep-expected")
    inside = _inside(sweep, design)
    known = _KNOWN.of(design, sweep, test, lambda: inside[np.isfinite(least_db[inside])])
    if not known.size:
        lack = (
            "a sweep of the bands"
            if np.isfinite(least_db).any()
            else "the return loss of every joint, in the catalogue"
        )
        return judge(code, test_id, None, limit, unit="dB", missing=(lack,), items=design.items)
    excess = least_db[known] - sweep.bounded_db[known]
    best = int(excess.argmax())
    k = int(known[best])
    low_rl, high_rl = doubt.interval_db(float(sweep.magnitude[k]))
    value = float(excess[best])
    low, high = float(least_db[k]) - high_rl, float(least_db[k]) - low_rl
    where = number(float(sweep.frequency_hz[k]), "Hz")
    note = (
        f"closest at {where}: {number(abs(value), 'dB')} {'over' if value > 0 else 'under'} the worst of a sound line"
    )
    return _guarded(
        code, test_id, value, low, high, limit, _stopped(remarks),
        "calibrate again at the end of the test lead, then the same sweep", note,
        "differs from design: look at the joints, the cable and its length", design.items,
    )  # fmt: skip


def _sentence(first: Finding, second: Finding, remarks: tuple[Remark, ...], suspects: tuple[Peak, ...]) -> str:
    """The result in one or two sentences for a person on a mast."""
    stop = next((r for r in remarks if r.level == "stop"), None)
    places = places_of(first)
    what = f"{first.subject}: {number(first.value, first.unit, places=places)}"
    against = (
        f", limit {first.limit.sense} {number(first.limit.value, first.limit.unit, places=places)}"
        if first.limit
        else ""
    )
    if stop is not None:
        return f"{first.subject} not judged: {stop.words}. Do: {stop.remedy}."
    if first.verdict is Verdict.PASSES:
        text = f"{what}{against}: passes by {number(shown_margin(first, places), first.unit, places=places)}."
        if second.verdict is Verdict.FAILS:
            text += f" But it differs from design by {number(second.value, 'dB')}"
            text += f"; open first: {suspects[0].words}." if suspects else ": look at it before the crew leaves."
        return text
    if first.verdict is Verdict.FAILS:
        text = (
            f"{what}{against}: fails by {number(abs(shown_margin(first, places) or 0.0), first.unit, places=places)}."
        )
        return text + (f" Open first: {suspects[0].words}." if suspects else f" Do: {first.remedy}.")
    return f"{what}{against}: not judged, it needs {first.missing[0] if first.missing else 'more'}."


__all__ = ["CAUTIONS", "Judged", "Uncertainty", "judge_sweep", "short_part", "test_of"]
