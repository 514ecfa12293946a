"""
What a trace over distance tells of its set-up: the velocity fraction that was set, by where the joints of the design show in it.

Such a trace can't be judged: a limit holds over frequency, and an instrument has taken its window, velocity and loss into the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from upmast.field.measurement import Floats
from upmast.field.readers.distance_table import DistanceTable
from upmast.field.remark import Remark
from upmast.number import number
from upmast.proof.rf_path import PathDesign
from upmast.rf.distance import peaks
from upmast.rf.loss import C0_M_PER_S

__all__ = ["SetVelocity", "distance_remarks", "set_velocity"]

SLOWEST, FASTEST = 0.5, 1.0  # fractions that a person may set
REACH_DB = 25.0  # the end is a peak that is not weaker than this below the strongest
CLEAR = 1.3  # the best velocity explains so much more than any other that is not near it
SHARE = 0.01  # of velocity and reading: below twice this the setting is called right
NOT_JUDGED = Remark(
    "distance-trace", "stop", "this is reflection over distance: it finds places, and no limit can be judged by it",
    "export the sweep over frequency with phase (real and imaginary part)",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SetVelocity:
    """Where the end of the line shows, m; which velocity fraction that means was set; which the line has; by what distances are to be multiplied."""

    end_m: float
    fraction: float
    due: float
    factor: float
    tolerance: float  # of the fraction, relative


def set_velocity(trace: DistanceTable, design: PathDesign) -> SetVelocity | None:
    """
    The velocity fraction that an instrument was set to, by the end of the line as designed: v = d_end/(c tau); None where it is not clear.

    Every peak that may be the end gives a fraction; the one at which the joints of the design show best is taken.
    """
    found = peaks(trace.distance_m, 10.0 ** (-trace.return_loss_db / 20.0), 200.0)
    if not found.distance_m.size or design.delay_s <= 0:
        return None
    size = 10.0 ** (-trace.return_loss_db / 20.0)
    strong = found.return_loss_db <= float(found.return_loss_db.min()) + REACH_DB
    ends = found.distance_m[strong]
    fractions = ends / (C0_M_PER_S * design.delay_s)
    fine = (fractions >= SLOWEST) & (fractions <= FASTEST)
    if not fine.any():
        return None
    step = float(np.median(np.diff(trace.distance_m)))
    delays = np.array([_delay_s(design, j.distance_m) for j in design.joints])
    scores = np.array([_score(trace.distance_m, size, v * C0_M_PER_S * delays, step) for v in fractions[fine]])
    best = int(np.argmax(scores))
    fraction, end = float(fractions[fine][best]), float(ends[fine][best])
    others = np.abs(fractions[fine] / fraction - 1.0) > 2.0 * SHARE + step / end
    if others.any() and float(scores[others].max()) * CLEAR > float(scores[best]):
        return None
    due = design.length_m / (design.delay_s * C0_M_PER_S)
    tolerance = SHARE + (design.tolerance_m + 0.5 * step + 0.02) / design.length_m
    return SetVelocity(end, fraction, due, due / fraction, tolerance)


def _delay_s(design: PathDesign, distance_m: float) -> float:
    total, start = 0.0, 0.0
    for s in design.sections:
        part = min(max(distance_m - start, 0.0), s.length_m)
        total += part / (s.velocity_fraction * C0_M_PER_S)
        start += s.length_m
    return total


def _score(distance_m: Floats, size: Floats, places: Floats, step: float) -> float:
    """How much shows at the places of the joints, beyond the port, the last counting double."""
    total = 0.0
    for k, place in enumerate(places):
        if place < 3.0 * step:
            continue
        near = np.abs(distance_m - place) <= 1.5 * step + 0.01 * place
        if near.any():
            total += float(size[near].max()) * (2.0 if k == places.size - 1 else 1.0)
    return total


def distance_remarks(trace: DistanceTable, design: PathDesign) -> tuple[Remark, ...]:
    """That it can't be judged; and, where the end shows, whether the velocity fraction was set rightly and what to multiply by."""
    seen = set_velocity(trace, design)
    if seen is None:
        return (NOT_JUDGED,)
    shows = f"the end of the line shows at {number(seen.end_m, 'm')}, designed {number(design.length_m, 'm')}"
    if abs(seen.fraction / seen.due - 1.0) <= seen.tolerance:
        told = Remark(
            "velocity",
            "note",
            f"{shows}: the velocity fraction was set to about {seen.fraction:.3f}, as the line has it",
            "nothing",
        )
    else:
        told = Remark(
            "velocity", "warn", f"{shows}: the velocity fraction was set to {seen.fraction:.3f} in place of {seen.due:.3f} (multiply its distances by {seen.factor:.3f}), "
            f"or it was set rightly and the line is {number(seen.end_m, 'm')} long",
            f"set {seen.due:.3f}; a sweep over frequency with phase tells which of the two it is",
        )  # fmt: skip
    return (NOT_JUDGED, told)
