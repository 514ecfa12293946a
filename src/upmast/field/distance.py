"""The distance picture of a sweep: reflection over the way along the line, with the design's own velocity and loss."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from upmast.field.kept import ByGrid, kept
from upmast.field.measurement import Sweep
from upmast.proof.rf_path import PathDesign
from upmast.rf.distance import (
    DEFAULT_BETA,
    delay_from_distance_s,
    delay_response,
    distance_from_delay_m,
    loss_to_distance_db,
    range_m,
    resolution_m,
    whole_range,
)
from upmast.rf.loss import attenuation_db_per_m
from upmast.rf.reflection import return_loss_db

Floats = NDArray[np.float64]
BEYOND_M = 2.0
COUNT, MOST_COUNT = 401, 8004  # points of a picture; 8 for each resolution cell where that is more
LEAST_POINTS = 16  # of fewer no distance is read
OVERSAMPLED, MOST_WHOLE = 2, 20_001  # a parabola then places a lone peak within 0.002 of a cell: own trial
MAIN_LOBE = 1.96  # -6 dB width of the window in units of v/(2 B): Harris, On the use of windows, 1978 (computed)
VELOCITY_SHARE = 0.01  # how far the velocity of a cable may be off its data sheet: common practice, no source


@dataclass(frozen=True, eq=False)
class DistanceTrace:
    """Return loss over distance from the test port, m; it starts a little before the port, so that the port itself is seen."""

    distance_m: Floats
    size: Floats  # |G|
    resolution_m: float  # v/(2 B): two joints nearer than this are one peak
    width_m: float  # width of a lone peak at half its size
    range_m: float  # distance at which the picture repeats

    @cached_property
    def return_loss_db(self) -> Floats:
        out = return_loss_db(self.size)
        out.setflags(write=False)
        return out


class _Axis(NamedTuple):
    """All of a picture that hangs on the path and the frequencies alone."""

    start_s: float
    step_s: float
    distance_m: Floats
    gain: Floats  # frees of the loss, both ways
    cell_m: float
    reach_m: float


_AXES: ByGrid[_Axis] = ByGrid()


class WholeRange(NamedTuple):
    """Size of the reflection over all delays that a sweep tells apart; it starts two cells before the port, and needs no design."""

    delay_s: Floats  # one way
    size: Floats
    cell_s: float  # 1/(2 B)


def whole_range_of(sweep: Sweep) -> WholeRange | None:
    """None where no delays can be read; made once for a sweep."""
    known: dict[str, WholeRange | None] = sweep.__dict__
    if "_whole_range" not in known:
        known["_whole_range"] = _whole_range(sweep)  # as functools.cached_property does
    return known["_whole_range"]


def _whole_range(sweep: Sweep) -> WholeRange | None:
    if sweep.magnitude_only or sweep.points < LEAST_POINTS:
        return None
    try:
        sweep.step_hz  # noqa: B018, raises where it is uneven
    except ValueError:
        return None
    cell = 0.5 / sweep.width_hz
    count = min(OVERSAMPLED * sweep.points, MOST_WHOLE)
    return WholeRange(*whole_range(sweep.frequency_hz, sweep.gamma, -2.0 * cell, count), cell)


class Scale(NamedTuple):
    """How fine and how far a sweep sees on a path, m: v/(2 B) of its fastest cable, v/(2 df) of its slowest."""

    cell_m: float
    reach_m: float


_SCALES: ByGrid[Scale] = ByGrid()


def scale_of(sweep: Sweep, design: PathDesign) -> Scale:
    """Raises ValueError where the frequency steps are uneven."""
    return _SCALES.of(design, sweep, None, lambda: _scale(sweep, design))


def _scale(sweep: Sweep, design: PathDesign) -> Scale:
    return Scale(
        float(resolution_m(sweep.width_hz, fastest(design))), float(range_m(sweep.step_hz, slowest(design)))
    )  # fmt: skip


@kept
def why_no_distance(sweep: Sweep, design: PathDesign) -> str:
    """Why no distances can be read from a sweep, in words; empty if they can."""
    if sweep.magnitude_only:
        return "the file has no phase, and without phase there are no distances"
    if sweep.points < LEAST_POINTS:
        return f"{sweep.points} points are too few for distances"
    try:
        step = sweep.step_hz
    except ValueError as error:
        return str(error)
    cell, reach = scale_of(sweep, design)
    if reach < design.length_m:
        return f"the steps of {step / 1e6:.3f} MHz reach {reach:.1f} m, the line is {design.length_m:.1f} m long"
    if cell > design.length_m:
        return f"the resolution of {cell:.1f} m is longer than the whole line of {design.length_m:.1f} m: sweep wider"
    return ""


def slowest(design: PathDesign) -> float:
    """Lowest velocity fraction of the path: the safe side for the range."""
    return min(s.velocity_fraction for s in design.sections)


def fastest(design: PathDesign) -> float:
    return max(s.velocity_fraction for s in design.sections)


def position_tolerance_m(cell_m: float, distance_m: float, made_m: float) -> float:
    """
    How far a read distance may be off: half a resolution cell, the made length, and one per cent of velocity.

    Source: own rule; the three add up, since none of them averages out on one line.
    """
    return 0.5 * cell_m + made_m + VELOCITY_SHARE * abs(distance_m)


def distance_picture(sweep: Sweep, design: PathDesign, beyond_m: float = BEYOND_M) -> DistanceTrace:
    """
    Return loss over distance, freed of the loss of the cables as designed.

    Raises
    ------
    ValueError
        If no distances can be read from this sweep; see `why_no_distance`.
    """
    if beyond_m == BEYOND_M:
        return _usual_picture(sweep, design)
    return _picture(sweep, design, beyond_m)


@kept
def _usual_picture(sweep: Sweep, design: PathDesign) -> DistanceTrace:
    return _picture(sweep, design, BEYOND_M)


def _picture(sweep: Sweep, design: PathDesign, beyond_m: float) -> DistanceTrace:
    reason = why_no_distance(sweep, design)
    if reason:
        raise ValueError(reason)
    axis = _AXES.of(design, sweep, beyond_m, lambda: _axis(sweep, design, beyond_m))
    raw = delay_response(sweep.frequency_hz, sweep.gamma, axis.start_s, axis.step_s, axis.distance_m.size, DEFAULT_BETA)
    size = np.abs(raw) * axis.gain
    size.setflags(write=False)
    return DistanceTrace(axis.distance_m, size, axis.cell_m, MAIN_LOBE * axis.cell_m, axis.reach_m)


def _axis(sweep: Sweep, design: PathDesign, beyond_m: float) -> _Axis:
    length = np.array([s.length_m for s in design.sections])
    velocity = np.array([s.velocity_fraction for s in design.sections])
    loss = attenuation_db_per_m(
        sweep.middle_hz,
        np.array([s.a_db_per_m for s in design.sections]),
        np.array([s.b_db_per_m for s in design.sections]),
    )
    cell, reach = scale_of(sweep, design)
    before = min(2.0 * cell, 0.25 * reach)
    stop = min(design.length_m + max(beyond_m, 4.0 * cell), max(reach - before, design.length_m))
    start_s, stop_s = delay_from_distance_s([-before, stop], length, velocity)
    count = min(MOST_COUNT, max(COUNT, int(8.0 * (stop + before) / cell)))
    step_s = float(stop_s - start_s) / (count - 1)
    distance = distance_from_delay_m(float(start_s) + step_s * np.arange(count), length, velocity)
    distance.setflags(write=False)
    gain = 10.0 ** (loss_to_distance_db(distance, length, loss) / 10.0)
    return _Axis(float(start_s), step_s, distance, gain, cell, reach)
