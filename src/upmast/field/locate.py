"""Where a sweep reflects: its peaks over distance, named by the joints of the design. To find, never to pass or fail."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from upmast.field.distance import DistanceTrace, distance_picture, position_tolerance_m, why_no_distance
from upmast.field.ghost_notes import NEARLY_ALL_DB, echo_at_joint, echoes_of
from upmast.field.kept import ByGrid
from upmast.field.measurement import Sweep
from upmast.number import number
from upmast.proof.rf_path import JointPlace, PathDesign
from upmast.rf.ghosts import explained
from upmast.rf.joint import joint_gamma
from upmast.rf.lumped import LumpedLine
from upmast.rf.reflection import add_worst, gamma_from_return_loss, return_loss_db

BETWEEN_DB, BETWEEN_BELOW_DB = (
    36.0,
    25.0,
)  # a place without a joint is worth a look above both: common practice, no source
ANTENNA_DEPTH_M = 3.0  # feed network inside an antenna: common practice, no source
LEAST_LENGTH_M = 1e-3
READING_DB = 1.0  # a peak read from a trace may be off by this: own tests, lone joints, noise -65 dB
DIRECTIVITY_DB = 42.0  # of a calibrated test port: common practice, no source
_ALLOWED: ByGrid[float | None] = ByGrid()


class Peak(NamedTuple):
    """One peak: where, how strong, at which joint, and by how much it is worse than that joint may be."""

    distance_m: float
    tolerance_m: float
    return_loss_db: float
    joint: str  # `A2.rf1/A2-J1.foot`; empty where no joint of the design lies near
    also: tuple[str, ...]  # joints that this sweep can't tell from it
    specified_db: float | None  # least return loss that the design allows here
    excess_db: float | None  # positive: worse than specified
    words: str
    suspect: bool  # worth opening


@dataclass(frozen=True, eq=False)
class Located:
    """Peaks nearest first, with the trace that they were read from; or the reason why there are none."""

    peaks: tuple[Peak, ...]
    trace: DistanceTrace | None
    why_not: str = ""

    @property
    def open_first(self) -> tuple[Peak, ...]:
        """What to open first: joints by how much they are worse than specified, then places without a joint."""
        suspects = [p for p in self.peaks if p.suspect]
        return tuple(
            sorted(suspects, key=lambda p: (-(p.excess_db if p.excess_db is not None else 0.0), p.return_loss_db))
        )


def locate(sweep: Sweep, design: PathDesign, test: str = "load") -> Located:
    """
    Peaks of a sweep over distance, each named by the nearest joint of the design.

    Parameters
    ----------
    test : what stands at the end of the line: load, antenna or short. It belongs to the last joint's peak.
    """
    reason = why_no_distance(sweep, design)
    if reason:
        return Located((), None, reason)
    trace = distance_picture(sweep, design)
    strongest, found = trace.strongest_db, trace.peaks
    out = [
        _named(float(x), float(rl), sweep, design, trace, test, strongest)
        for x, rl in zip(found.distance_m, found.return_loss_db, strict=True)
    ]
    return Located(tuple(_without_ghosts(_without_shoulders(out, trace), sweep, design, trace, test)), trace)


def _without_ghosts(found: list[Peak], sweep: Sweep, design: PathDesign, trace: DistanceTrace, test: str) -> list[Peak]:
    """
    Peaks between joints that echoes of the joints, as strong as they were found, can make are told as echoes.

    At a joint it is only said that an echo falls onto it: the joint stays worth a look, after those that make the echo.
    """
    line = line_of(design) if any(p.suspect for p in found) else None
    if line is None:
        return found
    echoes = echoes_of(line, design, {p.joint: p.return_loss_db for p in found if p.joint}, sweep, test)
    out = []
    for peak in found:
        if peak.suspect and not peak.joint:
            told = explained(
                peak.distance_m,
                float(gamma_from_return_loss(max(peak.return_loss_db, NEARLY_ALL_DB))),
                echoes,
                trace.width_m,
            )
            if told.ghost:
                peak = peak._replace(
                    suspect=False,
                    words=f"{peak.words.partition('; ')[0]}: an echo between joints, no place of its own",
                )
        elif peak.suspect:
            note = echo_at_joint(peak.joint, peak.distance_m, peak.return_loss_db, design, echoes, 0.5 * trace.width_m)
            if note:
                peak = peak._replace(words=f"{peak.words}; {note}")
        out.append(peak)
    return out


def line_of(design: PathDesign) -> LumpedLine | None:
    """The path as lumps between sections; None where a section has no length, or joints are missing."""
    lengths = [s.length_m for s in design.sections]
    if not lengths or min(lengths) < LEAST_LENGTH_M or len(design.joints) not in (len(lengths), len(lengths) + 1):
        return None
    return LumpedLine(
        lengths, [s.velocity_fraction for s in design.sections], [s.a_db_per_m for s in design.sections],
        [s.b_db_per_m for s in design.sections], [max(s.tolerance_m, 0.005 + 0.01 * s.length_m) / 2 for s in design.sections],
        tuple(range(len(design.joints))),
    )  # fmt: skip


def _without_shoulders(found: list[Peak], trace: DistanceTrace) -> list[Peak]:
    """Of several peaks at one joint the strongest stays; the others are ripples beside it."""
    best: dict[str, Peak] = {}
    for peak in found:
        if peak.joint and (peak.joint not in best or peak.return_loss_db < best[peak.joint].return_loss_db):
            best[peak.joint] = peak
    kept = [p for p in found if not p.joint or best[p.joint] is p]
    named = [p for p in kept if p.joint]
    return [
        p for p in kept
        if p.joint or not any(
            abs(p.distance_m - q.distance_m) < 2.0 * trace.resolution_m and q.return_loss_db < p.return_loss_db + 3.0
            for q in named
        )
    ]  # fmt: skip


def _named(
    distance: float,
    level_db: float,
    sweep: Sweep,
    design: PathDesign,
    trace: DistanceTrace,
    test: str,
    strongest_db: float,
) -> Peak:
    nearest = min(design.joints, key=lambda j: abs(j.distance_m - distance))
    tolerance = position_tolerance_m(trace.resolution_m, distance, nearest.tolerance_m)
    if abs(nearest.distance_m - distance) > tolerance + 0.25 * trace.resolution_m:
        return _between(distance, level_db, tolerance, design, test, strongest_db)
    also = tuple(
        j.name for j in design.joints
        if j is not nearest and abs(j.distance_m - nearest.distance_m) < trace.width_m
    )  # fmt: skip
    specified = _ALLOWED.of(
        design, sweep, (nearest.name, test, also), lambda: allowed_db(nearest, design, sweep.middle_hz, test, also)
    )
    excess = None if specified is None else specified - level_db
    suspect = excess is not None and excess > READING_DB
    last = nearest is design.joints[-1]
    words = f"{nearest.name}: return loss {number(level_db, 'dB')} at {_metres(distance)} ± {_metres(tolerance)}"
    if suspect:
        words += f", {number(excess, 'dB')} worse than the {number(specified, 'dB')} that it may have"
    elif last and test != "load":
        words += f"; this is mainly the {test} at the end"
    elif excess is not None:
        words += ", as it may be"
    if also:
        words += f"; this sweep can't tell it from {', '.join(also)}"
    return Peak(distance, tolerance, level_db, nearest.name, also, specified, excess, words, suspect)


def _between(
    distance: float, level_db: float, tolerance: float, design: PathDesign, test: str, strongest_db: float
) -> Peak:
    words = f"return loss {number(level_db, 'dB')} at {_metres(distance)} ± {_metres(tolerance)}"
    if test == "antenna" and 0 < distance - design.length_m < ANTENNA_DEPTH_M:
        return Peak(distance, tolerance, level_db, "", (), None, None, f"inside the antenna: {words}", False)
    suspect = level_db <= min(BETWEEN_DB, strongest_db + BETWEEN_BELOW_DB)
    if distance < 0 or distance > design.length_m + tolerance:
        where = "behind the end of the line" if distance > 0 else "before the test port"
        return Peak(
            distance, tolerance, level_db, "", (), None, None, f"{where}: {words}; an echo, or a wrong length", False
        )
    start = 0.0
    for section in design.sections:
        if distance <= start + section.length_m or section is design.sections[-1]:
            place = f"in {section.item}, {_metres(distance - start)} from its foot, where no joint should be"
            advice = "; look for a dent, kink or water" if suspect else "; too weak to mind"
            return Peak(distance, tolerance, level_db, "", (), None, None, f"{place}: {words}{advice}", suspect)
        start += section.length_m
    raise AssertionError("a path has sections")


def _metres(value: float) -> str:
    """A place to the centimetre: finer is not known."""
    return f"{round(value, 2) + 0.0:.2f} m"


def allowed_db(
    joint: JointPlace, design: PathDesign, frequency_hz: float, test: str, also: tuple[str, ...] = ()
) -> float | None:
    """
    Least return loss that a peak at a joint may have: the joint at its specification, with its neighbours that can't be told
    apart, the end if it is there, and at the test port the instrument's directivity, all in phase.
    """
    names = (joint.name, *also)
    total = 0.0
    for one in design.joints:
        if one.name not in names:
            continue
        if np.isnan(one.return_loss_db):
            return None
        total = float(add_worst(total, joint_gamma(frequency_hz, one.return_loss_db, one.reference_hz)))
        if one is design.joints[0]:
            total = float(add_worst(total, gamma_from_return_loss(DIRECTIVITY_DB)))
        if one is design.joints[-1]:
            end = design.end_return_loss_db(test)
            if end is None:
                return None
            total = float(add_worst(total, gamma_from_return_loss(end)))
    return float(return_loss_db(total))
