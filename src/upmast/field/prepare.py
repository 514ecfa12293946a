"""
What all sweeps need, computed for many of them in one go: the array work of sweeps over the same frequencies costs less together.

    prepare(sweeps)                        # before they are matched
    prepare_matched(sweeps_with_paths)     # before they are judged

Nothing has to be prepared: what is not is computed when it is asked for, and comes out the same.
"""

from __future__ import annotations

from collections.abc import Iterable

from upmast.field.delays import end_delay_s, whole_range_of
from upmast.field.distance import prepare_pictures
from upmast.field.kept import grouped
from upmast.field.measurement import Sweep, prepare_levels
from upmast.field.setup_data import LEAST_POINTS
from upmast.field.untouched import glance, noise
from upmast.proof.rf_path import PathDesign

MOST_POINTS = 20_000  # of a sweep: longer ones gain nothing, and would hold much memory
FEW = 2


def prepare(sweeps: Iterable[Sweep]) -> None:
    """Return loss, the whole range of delays with its end, and a glance at the numbers."""
    for some in grouped(sweep for sweep in sweeps if sweep.points <= MOST_POINTS):
        if len(some) < FEW:
            continue
        prepare_levels(some)
        whole_range_of.prepare(some)
        end_delay_s.prepare(some)
        if some[0].points >= LEAST_POINTS:
            glance.prepare(some)
            noise.prepare(some)


def prepare_matched(pairs: Iterable[tuple[Sweep, PathDesign]]) -> None:
    """The distance pictures of sweeps, each on its path."""
    prepare_pictures((sweep, design) for sweep, design in pairs if sweep.points <= MOST_POINTS)


__all__ = ["prepare", "prepare_matched"]
