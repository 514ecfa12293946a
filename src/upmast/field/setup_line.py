"""
What a sweep says about its set-up when it is held against the line: port, phase, length and velocity, filters, drift.

Thresholds by own trials on simulated sweeps, see the tests: at most one clean sweep in a hundred gets a word above a note.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from upmast.field.comment_words import words_of
from upmast.field.delays import whole_range_of
from upmast.field.distance import distance_picture, why_no_distance
from upmast.field.kept import ByGrid
from upmast.field.lengths import off_design, rf_words
from upmast.field.locate import allowed_db
from upmast.field.measurement import Floats, Sweep
from upmast.field.remark import Remark
from upmast.number import number
from upmast.proof.rf_path import PathDesign
from upmast.rf.distance import frequency_step_hz
from upmast.rf.loss import C0_M_PER_S
from upmast.rf.magnitude import pair_spacings

__all__ = ["told_by_path"]

PORT_CELLS = 2.5  # width of the window at the port
AHEAD_DB = 40.0  # a weaker response before the port is not told from noise and echoes: common practice, no source
AHEAD_BELOW_DB = 30.0  # nor one that is this much below the strongest
MIRROR_DB = 15.0  # the line before the port is this much stronger than behind it: the phase turns the wrong way
PORT_EXCESS_DB = 3.0  # over what the first joint and the directivity may show together
VELOCITY_WORDS = 0.015  # the words of a file may be rounded by so much
WALL_DB, WALL_OVER_DB = 1.5, 12.0  # all comes back, less the loss both ways; beside the wall at least this much less
WALL_SHARE, WALL_MOST = 0.04, 0.6  # of the sweep
_TWICE: ByGrid[Floats] = ByGrid()
_MOST: ByGrid[float] = ByGrid()
_MIDDLE: ByGrid[float] = ByGrid()
_AT_PORT: ByGrid[NDArray[np.intp]] = ByGrid()
_ALLOWED: ByGrid[float | None] = ByGrid()
DRIFT_DB = 0.3  # by which the loss may fall with frequency: drift and ripple


def told_by_path(sweep: Sweep, design: PathDesign, test: str, kind: str) -> list[Remark]:
    """
    Remarks on a sweep of a path.

    Parameters
    ----------
    test : what should stand at the end. kind : what seems to stand there, of `setup.termination`.
    """
    out = [*_words(sweep, design), *_two_ports(sweep, design), *_spacing(sweep, design)]
    if kind != "antenna" and test != "antenna":
        out += _wall(sweep, design)
    if test == "short" and kind in ("short", "open", "short-open"):
        out += _drift(sweep, design)
    turned = _before_port(sweep, design)
    out += turned
    if not any(remark.key == "phase-turned" for remark in turned):
        out += _length(sweep, design, test)
        if test == "load" and kind != "antenna":
            out += _port(sweep, design, test)
    return out


def _words(sweep: Sweep, design: PathDesign) -> list[Remark]:
    """The velocity that the file's words say, against that of the design."""
    said = words_of(sweep).velocity_fraction
    fractions = [s.velocity_fraction for s in design.sections if not s.rows]
    if said is None or not fractions or min(fractions) - VELOCITY_WORDS <= said <= max(fractions) + VELOCITY_WORDS:
        return []
    due = " and ".join(f"{v:g}" for v in sorted(set(fractions)))
    factor = np.mean([s.length_m for s in design.sections]) and design.length_m / (design.delay_s * C0_M_PER_S) / said
    return [
        Remark(
            "velocity", "note", f"the file says velocity fraction {said:g}, the design has {due}: distances on the instrument's screen are to be "
            f"multiplied by {factor:.3f}; the sweep itself is not touched by it",
            f"set {due} for distances, and read them here from the sweep",
        )
    ]  # fmt: skip


def _length(sweep: Sweep, design: PathDesign, test: str) -> list[Remark]:
    """The delay to the end against the design: both the length and the velocity that would fit."""
    seen = off_design(sweep, design, test)
    if seen is None:
        return []
    return [
        Remark(
            "length", "warn" if seen.sure else "note", rf_words(seen, design),
            "read label and printed metres of the cable: another length, another type, or another path was swept",
        )
    ]  # fmt: skip


def _before_port(sweep: Sweep, design: PathDesign) -> list[Remark]:
    """What reflects at negative delay: a phase that turns the wrong way, or a calibration beyond the port."""
    if why_no_distance(sweep, design):
        return []
    whole = whole_range_of(sweep)
    if whole is None:
        return []
    delay, cell = whole.delay_s, whole.cell_s
    axis_s, count = float(delay[1] - delay[0]), delay.size
    end = design.delay_s + 3e-9  # of an antenna, too
    if end > 0.45 * axis_s * count or design.delay_s < 2.0 * PORT_CELLS * cell:
        return []
    start, left = PORT_CELLS * cell, float(delay[0])
    behind = whole.size[math.ceil((start - left) / axis_s) : math.floor((end - left) / axis_s) + 1]
    first = math.ceil(count - (end + left) / axis_s)  # the range repeats: what lies before the port stands at its end
    ahead = whole.size[first : math.floor(count - (start + left) / axis_s) + 1]
    front, back = (-20.0 * math.log10(max(_crest(x), 1e-12)) for x in (ahead, behind))
    both_ways = _MIDDLE.of(design, sweep, None, lambda: float(2.0 * design.loss_db(sweep.middle_hz)))
    if front > AHEAD_DB + both_ways:
        return []
    if front < back - MIRROR_DB:
        return [
            Remark(
                "phase-turned", "warn", "the phase turns the wrong way: the line lies before the port. It can be judged by size, but distances are mirrored",
                "export the sweep again as S11 with real and imaginary part; a program on the way may have changed the sign",
            )
        ]  # fmt: skip
    strongest = min(front, back, -20.0 * math.log10(max(abs(complex(np.mean(sweep.gamma))), 1e-12)))
    if front > strongest + AHEAD_BELOW_DB:
        return []
    before_s = axis_s * (count - first - int(np.argmax(ahead))) - left
    place = before_s * C0_M_PER_S * design.sections[0].velocity_fraction
    return [
        Remark(
            "before-port", "warn", f"something returns {number(front, 'dB')} {number(place, 'm')} before the test port: the port was not where the "
            "calibration was made",
            "calibrate again at the end of the very test lead, then the same sweep",
        )
    ]  # fmt: skip


def _crest(size: Floats) -> float:
    """The highest value of a row, by a parabola in dB where it lies between points."""
    k = int(size.argmax())
    top = float(size[k])
    if not 0 < k < size.size - 1 or not top > 0:
        return top
    a, b, c = (math.log(max(float(x), 1e-15)) for x in size[k - 1 : k + 2])
    bend = a - 2.0 * b + c
    return top if bend == 0 else top * math.exp(-0.125 * (a - c) ** 2 / bend)


def _port(sweep: Sweep, design: PathDesign, test: str) -> list[Remark]:
    """More at the port than its joint and the directivity may show: the joint, or an old calibration."""
    if why_no_distance(sweep, design):
        return []
    trace = distance_picture(sweep, design)
    there = _AT_PORT.of(design, sweep, None, lambda: np.flatnonzero(np.abs(trace.distance_m) <= 0.5 * trace.width_m))
    if not there.size:
        return []
    near = tuple(j.name for j in design.joints[1:] if j.distance_m < trace.width_m)
    allowed = _ALLOWED.of(
        design, sweep, (test, near), lambda: allowed_db(design.joints[0], design, sweep.middle_hz, test, near)
    )
    seen = float(trace.return_loss_db[there].min())
    if allowed is None or seen > allowed - PORT_EXCESS_DB:
        return []
    return [
        Remark(
            "port", "note", f"the test port itself returns {number(seen, 'dB')}: its joint, or a calibration that has gone off",
            "put the load straight on the end of the test lead: if it reads worse than 40 dB, calibrate again; else open the joint at the port",
        )
    ]  # fmt: skip


def _two_ports(sweep: Sweep, design: PathDesign) -> list[Remark]:
    """A filter, arrestor or the like of the design, outside the band that it lets through."""
    low, high = sweep.span
    out = []
    for s in design.sections:
        if not s.rows:
            continue
        first, last = s.rows[0][0], s.rows[-1][0]
        if low >= first * 0.99 and high <= last * 1.01:
            continue
        covers = all(first <= b.low_hz and b.high_hz <= last for b in design.bands)
        out.append(
            Remark(
                "two-port", "warn", f"the sweep goes beyond the band of {s.item} ({first / 1e6:g} to {last / 1e6:g} MHz): what lies behind it "
                "can't be seen there, and distances behind it are wrong",
                f"for distances sweep {max(first, low) / 1e6:g} to {min(last, high) / 1e6:g} MHz"
                + ("" if covers else f"; {s.item} does not let all bands of the path through, look at the design"),
            )
        )  # fmt: skip
    return out


def _wall(sweep: Sweep, design: PathDesign) -> list[Remark]:
    """A part of the sweep where all comes back, with steep edges: a filter that lets only a band through."""
    rl = sweep.bounded_db
    twice = _TWICE.of(design, sweep, None, lambda: 2.0 * design.loss_db(sweep.frequency_hz))
    most = _MOST.of(design, sweep, None, lambda: float(twice.max()) + WALL_DB)
    if sweep.rising_db.searchsorted(most) < WALL_SHARE * rl.size:  # most sweeps
        return []
    whole = rl < twice + WALL_DB
    share = int(np.count_nonzero(whole)) / whole.size
    if not WALL_SHARE <= share <= WALL_MOST:
        return []
    rest = rl[~whole]
    if float(np.median(rest)) < WALL_OVER_DB:
        return []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], whole, [False]]).astype(np.int8)))
    lengths = edges[1::2] - edges[::2]
    k = int(np.argmax(lengths))
    if lengths[k] < max(4, 0.8 * WALL_SHARE * rl.size):
        return []
    first, last = float(sweep.frequency_hz[edges[2 * k]]), float(sweep.frequency_hz[edges[2 * k + 1] - 1])
    known = [s for s in design.sections if s.rows]
    if any(last < s.rows[0][0] or first > s.rows[-1][0] for s in known):
        return []  # outside the band of a part that the design has
    return [
        Remark(
            "wall", "warn", f"from {first / 1e6:.0f} to {last / 1e6:.0f} MHz everything comes back, beside it little: a filter stands in the line"
            + (", in its own band" if known else ", and the design has none"),
            "look what stands in the line, and put it into the design; sweep the band that it lets through",
        )
    ]  # fmt: skip


def _drift(sweep: Sweep, design: PathDesign) -> list[Remark]:
    """Loss that falls with frequency: no cable does that; the calibration has drifted, or was made for another span."""
    periods = 2.0 * design.delay_s * sweep.width_hz
    if periods < 4.0 or sweep.points < 32:
        return []
    rl = sweep.bounded_db
    half = sweep.points // 2
    low, high = float(np.mean(rl[:half])), float(np.mean(rl[half:]))
    due = 2.0 * (
        float(np.mean(design.loss_db(sweep.frequency_hz[half:])))
        - float(np.mean(design.loss_db(sweep.frequency_hz[:half])))
    )
    off = 0.5 * (high - low - due)
    ripple = float(np.std(rl)) / np.sqrt(periods)
    if abs(off) < DRIFT_DB + ripple:
        return []
    way = (
        "falls with frequency"
        if high < low
        else f"rises by {number(abs(off), 'dB')} {'more' if off > 0 else 'less'} over the sweep than the cable's"
    )
    return [
        Remark(
            "drift", "warn", f"the loss {way}: a drifted calibration, one made for another span, or another cable",
            "calibrate again over this span at the temperature of the day, then the same sweep",
        )
    ]  # fmt: skip


def _spacing(sweep: Sweep, design: PathDesign) -> list[Remark]:
    """Without phase: which two joints of the design are as far apart as the strongest ripple says."""
    if not sweep.magnitude_only or sweep.points < 64 or not float(np.max(sweep.magnitude)) <= 1.5:
        return []
    try:
        frequency_step_hz(sweep.frequency_hz)
        mean = design.length_m / (design.delay_s * C0_M_PER_S)
        found = pair_spacings(sweep.frequency_hz, sweep.magnitude, mean, most=1)
    except ValueError:
        return []
    if not found.spacing_m.size or float(found.product[0]) < 1e-6 or float(found.spacing_m[0]) > 1.1 * design.length_m:
        return []
    spacing = float(found.spacing_m[0])
    pairs = [
        (abs(b.distance_m - a.distance_m - spacing), f"{a.name} and {b.name}")
        for i, a in enumerate(design.joints) for b in design.joints[i + 1 :]
    ]  # fmt: skip
    near = [name for off, name in sorted(pairs) if off < found.cell_m + 0.02 * spacing]
    which = f": as far as {', or '.join(near[:3])}" if near else ": no two joints of the design are so far apart"
    return [
        Remark(
            "spacing", "note", f"the strongest ripple is of two reflections {number(spacing, 'm')} apart{which}. Where they stand is not in the file",
            "to find the joint, export the sweep with phase (real and imaginary part)",
        )
    ]  # fmt: skip
