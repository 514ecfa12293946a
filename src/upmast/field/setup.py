"""Was the measurement set up rightly? Read from the trace itself, while the load is still on the line."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from upmast.field.distance import distance_picture, fastest, scale_of, why_no_distance
from upmast.field.kept import ByGrid, kept
from upmast.field.measurement import Sweep, share_of
from upmast.field.remark import ORDER, Level, Remark
from upmast.field.setup_data import check_data
from upmast.field.setup_line import told_by_path
from upmast.number import number
from upmast.proof.rf_path import PathDesign
from upmast.rf.distance import resolution_m
from upmast.rf.reflection import return_loss_db
from upmast.rf.sweep_plan import POINTS

ON_THE_MAST = "Work on a mast is for trained people with a rescue plan; stop when thunder is heard."
CAUTIONS = (
    "Test instruments radiate: keep people away from the front of an antenna under test.",
    "Never test into an open port, and never mate or unmate a port while a radio behind it can transmit.",
    "Radios on this line are switched off and locked before a joint is opened.",
    ON_THE_MAST,
    "A joint is sealed again after it has passed, not before.",
)
LOAD_DB = 28.0  # a load shows more everywhere: common practice, no source
ANTENNA_OUTSIDE_DB = 8.0  # outside its band an antenna returns more than this: common practice, no source
END_LOAD_DB, END_ANTENNA_DB = 25.0, 21.0  # return loss of the end over distance: common practice, no source
__all__ = [
    "CAUTIONS", "EndReflection", "Level", "Remark", "Termination", "check_setup", "end_reflection", "termination",
    "thin_bands", "uncovered",
]  # fmt: skip
REACH = 1.1  # of the line, before its distances repeat: common practice, no source
# a stretch without points, in steps of the sweep and as a share of a band: common practice, no source
HOLE_STEPS, HOLE_SHARE = 1.5, 0.04
UNITS = (1e-9, 1e-6, 1e-3, 1e3, 1e6, 1e9)  # by which a wrong unit in the option line may be off
LEAST_IN_BAND = 3  # points: of fewer the worst of a band is not known; common practice, no source
GAIN_DB = 0.1  # more than the noise of a reflection of everything
_UNCOVERED: ByGrid[tuple[str, ...]] = ByGrid()
_THIN: ByGrid[tuple[str, ...]] = ByGrid()
_PARTS: ByGrid[tuple[NDArray[np.intp], NDArray[np.intp]]] = ByGrid()
_LOSS: ByGrid[float] = ByGrid()


@dataclass(frozen=True, slots=True)
class Termination:
    """What seems to stand at the end of the line: load, antenna, short, open, short-open or unknown; and why."""

    kind: str
    words: str

    def fits(self, test: str) -> bool:
        """Whether the trace does not speak against a test with this end."""
        return self.kind == "unknown" or self.kind == test or (test == "short" and self.kind == "short-open")


@kept
def termination(sweep: Sweep, design: PathDesign) -> Termination:
    """
    Guess the end of the line from the trace: load, antenna, short or open.

    Short or open: almost everything comes back, less twice the loss; the phase at 0 Hz tells which. Load: little comes back in
    and out of the bands. Antenna: little in its bands, much outside; else the reflection at the end over distance decides.
    """
    rl = sweep.bounded_db
    middle, weak = sweep.share_db(0.5), sweep.share_db(0.05)
    twice = 2.0 * _LOSS.of(design, sweep, None, lambda: float(design.loss_db(sweep.middle_hz)))
    if middle < 1.3 * twice + 2.0 and sweep.share_db(0.95) < 2.0 * twice + 6.0:
        kind = _short_or_open(sweep, design)
        return Termination(
            kind, f"almost everything comes back ({number(middle, 'dB')}, cable both ways {number(twice, 'dB')})"
        )
    if weak >= LOAD_DB:
        return Termination("load", f"return loss above {number(LOAD_DB, 'dB')} in and out of the bands")
    inside, outside = _PARTS.of(design, sweep, None, lambda: _parts(sweep, design))
    if outside.size >= 5 and inside.size:
        out_db, in_db = share_of(np.sort(rl[outside]), 0.2), share_of(np.sort(rl[inside]), 0.5)
        if out_db < ANTENNA_OUTSIDE_DB and in_db > out_db + 5.0:
            return Termination("antenna", f"{number(in_db, 'dB')} in the bands, {number(out_db, 'dB')} outside")
    end = end_reflection(sweep, design)
    if end is None:
        return Termination("unknown", "the trace does not tell a load from an antenna")
    said = f"the end of the line returns {number(end.return_loss_db, 'dB')}"
    if end.return_loss_db >= END_LOAD_DB:
        return Termination("load", said)
    if end.return_loss_db <= END_ANTENNA_DB and end.behind_m > 0.25 * end.width_m + design.tolerance_m:
        return Termination("antenna", f"{said}, {end.behind_m:.2f} m behind its last joint")
    return Termination("unknown", f"{said}: an antenna, or a bad last joint")


def _parts(sweep: Sweep, design: PathDesign) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Which points lie in the bands, and which well outside of all of them."""
    around = sweep.inside(((design.lowest_hz * 0.97, design.highest_hz * 1.03),))
    return np.flatnonzero(sweep.inside(design.ranges)), np.flatnonzero(~around)


@dataclass(frozen=True, slots=True)
class EndReflection:
    """The strongest reflection at or behind the last joint: its return loss, and how far behind it lies."""

    return_loss_db: float
    behind_m: float
    width_m: float


def end_reflection(sweep: Sweep, design: PathDesign) -> EndReflection | None:
    """What the end of the line returns over distance; None where distances can't be read or the end is at the test port."""
    if why_no_distance(sweep, design):
        return None
    trace = distance_picture(sweep, design)
    if design.length_m < trace.width_m:
        return None
    far = trace.distance_m >= design.length_m - max(0.5 * trace.width_m, design.tolerance_m)
    k = int(np.argmax(np.where(far, trace.size, -1.0)))
    return EndReflection(
        float(return_loss_db(trace.size[k])), float(trace.distance_m[k]) - design.length_m, trace.width_m
    )


def _short_or_open(sweep: Sweep, design: PathDesign) -> str:
    """Phase of the end at 0 Hz: 180° for a short, 0° for an open; a straight line through the phase, length left free."""
    if sweep.magnitude_only or sweep.points < 16:
        return "short-open"
    f, phase = sweep.frequency_hz, np.unwrap(np.angle(sweep.gamma))
    slope, at_zero = np.polyfit(f - f[0], phase, 1)
    turns = (at_zero - slope * f[0]) / np.pi
    if float(np.max(np.abs(np.diff(phase)))) > 3.0:  # the steps are too wide to follow the phase
        return "short-open"
    nearest = round(turns)
    if abs(turns - nearest) > 0.25:
        return "short-open"
    return "short" if nearest % 2 else "open"


def check_setup(sweep: Sweep, design: PathDesign, test: str) -> tuple[Remark, ...]:
    """Everything about a sweep that limits what it can prove, the gravest first."""
    seen = termination(sweep, design)
    out = [
        *_impossible(sweep),
        *_span(sweep, design),
        *_points(sweep, design),
        *_end(seen, test),
        *_distances(sweep, design),
    ]
    line: list[Remark] = []
    if not any(remark.level == "stop" for remark in out):  # of another end, or of what no line does, no more is read
        line = told_by_path(sweep, design, test, seen.kind)
    steep = "antenna" in (test, seen.kind) or any(remark.key in ("wall", "two-port") for remark in line)
    out += [*check_data(sweep, design.delay_s, steep), *line]
    return tuple(sorted(out, key=lambda remark: ORDER[remark.level]))


def _impossible(sweep: Sweep) -> list[Remark]:
    worst = sweep.share_db(0.0)
    if worst < -GAIN_DB:
        k = int(np.argmin(sweep.return_loss_db))
        return [
            Remark(
                "gain", "stop",
                f"{number(-worst, 'dB')} more comes back than was sent, at {number(float(sweep.frequency_hz[k]), 'Hz')}: "
                "no passive line does that",
                "calibrate again at the end of the test lead, and check that the file holds S11 and not return loss",
            )
        ]  # fmt: skip
    if worst > 45.0:
        return [
            Remark(
                "nothing", "stop", "hardly anything comes back, less than any line with its joints",
                "the load may sit on the test port instead of the line: look, and sweep again",
            )
        ]  # fmt: skip
    return []


def uncovered(sweep: Sweep, design: PathDesign) -> tuple[str, ...]:
    """Bands of the path that the sweep leaves out, wholly or in part, in words."""
    return _UNCOVERED.of(design, sweep, None, lambda: _uncovered(sweep, design))


def _uncovered(sweep: Sweep, design: PathDesign) -> tuple[str, ...]:
    low, high = sweep.span
    out = []
    for b in design.bands:
        whole = f"{b.name} ({b.low_hz / 1e6:g} to {b.high_hz / 1e6:g} MHz)"
        if (
            low > b.low_hz * (1 + 1e-9)
            or high < b.high_hz * (1 - 1e-9)
            or not sweep.inside(((b.low_hz, b.high_hz),)).any()
        ):
            out.append(whole)
        elif hole := _hole(sweep, b.low_hz, b.high_hz):
            out.append(f"{hole[0] / 1e6:g} to {hole[1] / 1e6:g} MHz of {whole}")
    return tuple(out)


def _hole(sweep: Sweep, low_hz: float, high_hz: float) -> tuple[float, float] | None:
    """The widest stretch of a band without a point, where it is much wider than the steps of the sweep."""
    f = sweep.frequency_hz
    if f.size < LEAST_IN_BAND:
        return None
    steps = np.diff(f)
    inside = np.minimum(f[1:], high_hz) - np.maximum(f[:-1], low_hz)
    k = int(np.argmax(inside))
    widest, step = float(inside[k]), float(np.median(steps))
    if widest <= HOLE_STEPS * step or widest <= HOLE_SHARE * (high_hz - low_hz):
        return None
    return max(float(f[k]), low_hz), min(float(f[k + 1]), high_hz)


def _span(sweep: Sweep, design: PathDesign) -> list[Remark]:
    missing = uncovered(sweep, design)
    if not missing:
        return []
    low, high = sweep.span
    few = f" in {sweep.points} points" if sweep.points < design.sweep.points else ""
    unit = next((one for one in UNITS if low * one <= design.lowest_hz and design.highest_hz <= high * one <= 4.0 * design.highest_hz), 0.0)  # fmt: skip
    if unit and len(missing) == len(design.bands):
        return [
            Remark(
                "unit", "stop", f"the file says {low / 1e6:g} to {high / 1e6:g} MHz; {'divided by' if unit < 1 else 'times'} {max(unit, 1.0 / unit):g} it "
                "would cover every band: the unit of frequency in its head looks wrong",
                "export it again with the right unit of frequency; the file itself stays as it is, it is evidence",
            )
        ]  # fmt: skip
    return [
        Remark(
            "span", "stop" if len(missing) == len(design.bands) else "warn",
            f"the sweep runs from {low / 1e6:g} to {high / 1e6:g} MHz{few} and leaves out {', '.join(missing)}",
            f"sweep {design.lowest_hz / 1e6:g} to {design.highest_hz / 1e6:g} MHz with {points_wanted(sweep, design)} points or more",
        )
    ]  # fmt: skip


def points_wanted(sweep: Sweep, design: PathDesign) -> int:
    """Points to ask for: those of the plan, or as many as tell the whole line over the span of this sweep; a usual count."""
    try:
        _, reach = scale_of(sweep, design)
    except ValueError:
        return design.sweep.points
    if reach >= REACH * design.length_m:
        return design.sweep.points
    need = math.ceil(sweep.points * 1.5 * design.length_m / reach) + 1
    return max(design.sweep.points, next((one for one in POINTS if one >= need), need))


def thin_bands(sweep: Sweep, design: PathDesign) -> tuple[str, ...]:
    """Bands that were swept, but with so few points that their worst value is not known."""
    return _THIN.of(design, sweep, None, lambda: _thin_bands(sweep, design))


def _thin_bands(sweep: Sweep, design: PathDesign) -> tuple[str, ...]:
    inside = [(b.name, int(sweep.inside(((b.low_hz, b.high_hz),)).sum())) for b in design.bands]
    return tuple(name for name, count in inside if 0 < count < LEAST_IN_BAND)


def _points(sweep: Sweep, design: PathDesign) -> list[Remark]:
    """Fewer points than the plan of the path asks for."""
    if sweep.points >= design.sweep.points:
        return []
    wanted = points_wanted(sweep, design)
    thin = thin_bands(sweep, design)
    where = f", fewer than {LEAST_IN_BAND} in {', '.join(thin)}" if thin else ""
    return [
        Remark(
            "points", "warn",
            f"{sweep.points} points{where}: what lies between them is not seen, the plan asks for {wanted} or more",
            f"sweep with {wanted} points or more",
        )
    ]  # fmt: skip


def _end(seen: Termination, test: str) -> list[Remark]:
    if seen.kind == "unknown":
        return [Remark("end", "note", f"{seen.words}; taken as {test}", "look what stands at the end of the line")]
    if seen.fits(test):
        return []
    name = {"short-open": "a short or an open end", "open": "an open end", "short": "a short", "load": "a load"}.get(
        seen.kind, "the antenna"
    )
    asked = {"load": "a load", "antenna": "the antenna", "short": "a short"}[test]
    return [
        Remark(
            "end", "stop", f"this looks like {name} at the end of the line, not {asked}: {seen.words}",
            f"look at the far end; put {asked} there and sweep again, or file it as what it is",
        )
    ]  # fmt: skip


def _distances(sweep: Sweep, design: PathDesign) -> list[Remark]:
    if sweep.magnitude_only:
        return [
            Remark(
                "phase", "warn", "the file has no phase: it can be judged, but no joint can be found in it",
                "export the sweep with phase (real and imaginary part)",
            )
        ]  # fmt: skip
    try:
        cell, reach = scale_of(sweep, design)
    except ValueError:
        return [
            Remark(
                "steps", "warn", "the frequency steps are uneven: no distances can be read",
                "sweep with even steps",
            )
        ]  # fmt: skip
    out = []
    if reach < REACH * design.length_m:
        out.append(
            Remark(
                "range", "warn", f"distances repeat after {number(reach, 'm')}; the line is {number(design.length_m, 'm')} long",
                f"sweep with {points_wanted(sweep, design)} points or more",
            )
        )  # fmt: skip
    places = [j.distance_m for j in design.joints]
    close = [(b - a, k) for k, (a, b) in enumerate(pairwise(places)) if b - a < 2.0 * cell]
    if close:
        gap, k = min(close)
        width = float(resolution_m(1.0, fastest(design))) * 2.0 / max(gap, 1e-3)
        out.append(
            Remark(
                "resolution", "note",
                f"resolution {number(cell, 'm')}: it can't separate {design.joints[k].name} and {design.joints[k + 1].name}, "
                f"{number(gap, 'm')} apart",
                f"to tell them apart sweep {width / 1e6:.0f} MHz or more",
            )
        )  # fmt: skip
    return out
