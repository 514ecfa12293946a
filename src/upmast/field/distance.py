"""The distance picture of a sweep: reflection over the way along the line, with the design's own velocity and loss."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from upmast.field.delays import LEAST_POINTS
from upmast.field.kept import ByGrid, Mark, grouped, kept, kind_of
from upmast.field.measurement import Sweep, gammas
from upmast.proof.rf_path import PathDesign
from upmast.rf.distance import (
    DEFAULT_BETA,
    Peaks,
    delay_from_distance_s,
    delay_response,
    distance_from_delay_m,
    loss_to_distance_db,
    peaks_of_each,
    range_m,
    resolution_m,
)
from upmast.rf.loss import C0_M_PER_S, attenuation_db_per_m
from upmast.rf.reflection import return_loss_db

Floats = NDArray[np.float64]
BEYOND_M = 2.0
COUNT, MOST_COUNT = 401, 8004  # points of a picture; 8 for each resolution cell where that is more
MAIN_LOBE = 1.96  # -6 dB width of the window in units of v/(2 B): Harris, On the use of windows, 1978 (computed)
FLOOR_DB = 45.0  # weaker peaks are not told from directivity and side lobes: common practice, no source
BELOW_STRONGEST_DB = 40.0  # side lobes of the window lie 44 dB below a peak
VELOCITY_SHARE = 0.01  # how far the velocity of a cable may be off its data sheet: common practice, no source


@dataclass(frozen=True, eq=False)
class DistanceTrace:
    """Return loss over distance from the test port, m; it starts a little before the port, so that the port itself is seen."""

    distance_m: Floats
    size: Floats  # |G|
    return_loss_db: Floats
    resolution_m: float  # v/(2 B): two joints nearer than this are one peak
    width_m: float  # width of a lone peak at half its size
    range_m: float  # distance at which the picture repeats
    strongest_db: float  # return loss of its highest value
    peaks: Peaks  # all that are told from directivity and side lobes


class _Axis(NamedTuple):
    """All of a picture that hangs on the path and the frequencies alone."""

    start_s: float
    step_s: float
    distance_m: Floats
    gain: Floats  # frees of the loss, both ways
    cell_m: float
    reach_m: float


_AXES: ByGrid[_Axis] = ByGrid()


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


def place_of_delay_m(design: PathDesign, delay_s: float) -> float:
    """The place on a path that lies one delay away, m: one place of `distance_from_delay_m`, a hundred times faster."""
    place, left = 0.0, delay_s
    for section in design.sections[:-1]:
        if left <= section.delay_s:
            break
        place, left = place + section.length_m, left - section.delay_s
    else:
        section = design.sections[-1]
    return place + left * section.velocity_fraction * C0_M_PER_S


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
    return _pictures([sweep], design, beyond_m)[0]


@kept
def _usual_picture(sweep: Sweep, design: PathDesign) -> DistanceTrace:
    return _pictures([sweep], design, BEYOND_M)[0]


def prepare_pictures(pairs: Iterable[tuple[Sweep, PathDesign]]) -> None:
    """The pictures of many sweeps, each with its path, in one go: what comes out is the same as one by one."""
    todo: dict[Mark, tuple[PathDesign, list[Sweep]]] = {}
    for sweep, design in pairs:
        if not why_no_distance(sweep, design) and not _usual_picture.has(sweep, design):
            todo.setdefault(kind_of(design), (design, []))[1].append(sweep)
    for design, sweeps in todo.values():
        for some in grouped(sweeps):
            for sweep, made in zip(some, _pictures(some, design, BEYOND_M), strict=True):
                _usual_picture.put(sweep, design, made)


def _pictures(sweeps: Sequence[Sweep], design: PathDesign, beyond_m: float) -> list[DistanceTrace]:
    """Of sweeps over the same frequencies."""
    one = sweeps[0]
    reason = why_no_distance(one, design)
    if reason:
        raise ValueError(reason)
    axis = _AXES.of(design, one, beyond_m, lambda: _axis(one, design, beyond_m))
    count = axis.distance_m.size
    raw = delay_response(one.frequency_hz, gammas(sweeps), axis.start_s, axis.step_s, count, DEFAULT_BETA)
    sizes = np.abs(raw) * axis.gain
    losses = return_loss_db(sizes)
    for block in (sizes, losses):
        block.setflags(write=False)
    strongest = losses.min(axis=1)
    found = peaks_of_each(axis.distance_m, sizes, np.minimum(FLOOR_DB, strongest + BELOW_STRONGEST_DB))
    width = MAIN_LOBE * axis.cell_m
    return [
        DistanceTrace(axis.distance_m, size, loss, axis.cell_m, width, axis.reach_m, top, peaks)
        for size, loss, top, peaks in zip(sizes, losses, strongest.tolist(), found, strict=True)
    ]


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
