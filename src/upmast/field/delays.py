"""Every delay that a sweep tells apart, and the end of the line among them; no design is needed for it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from upmast.field.kept import together
from upmast.field.measurement import Floats, Sweep, gammas
from upmast.rf.distance import Peaks, peaks_of_each, whole_range

LEAST_POINTS = 16  # of fewer no distance is read
OVERSAMPLED, MOST_WHOLE = 2, 20_001  # a parabola then places a lone peak within 0.002 of a cell: own trial
WHOLE = 0.4  # a reflection of this size is the end of the line itself
REACH_DB = 25.0  # the end of the line is the last peak that is not weaker than this below the strongest


class WholeRange(NamedTuple):
    """Size of the reflection over all delays that a sweep tells apart; it starts two cells before the port, and needs no design."""

    delay_s: Floats  # one way
    size: Floats
    cell_s: float  # 1/(2 B)


@together
def whole_range_of(sweeps: Sequence[Sweep]) -> list[WholeRange | None]:
    """None where no delays can be read."""
    one = sweeps[0]
    if one.magnitude_only or one.points < LEAST_POINTS:
        return [None] * len(sweeps)
    try:
        one.step_hz  # noqa: B018, raises where it is uneven
    except ValueError:
        return [None] * len(sweeps)
    cell = 0.5 / one.width_hz
    count = min(OVERSAMPLED * one.points, MOST_WHOLE)
    delay, sizes = whole_range(one.frequency_hz, gammas(sweeps), -2.0 * cell, count)
    return [WholeRange(delay, size, cell) for size in sizes]


@together
def end_delay_s(sweeps: Sequence[Sweep]) -> list[float | None]:
    """
    One-way delay to the end of the line, s. None where it can't be read.

    The strongest peak where almost everything comes back (short or open); else the last peak not far below the strongest.

    No design is needed for it; a load may hide the end, then the last joint that reflects is taken.
    """
    whole = [one for sweep in sweeps if (one := whole_range_of(sweep)) is not None]
    if not whole:
        return [None] * len(sweeps)
    sizes = np.array([one.size for one in whole])
    strongest = np.maximum(sizes.max(axis=1), 1e-300)
    every = peaks_of_each(whole[0].delay_s, sizes, -20.0 * np.log10(strongest) + REACH_DB)
    return [_end_of(found, size) for found, size in zip(every, strongest.tolist(), strict=True)]


def _end_of(found: Peaks, strongest: float) -> float | None:
    if not found.distance_m.size:
        return None
    if strongest > WHOLE:
        return float(found.distance_m[int(np.argmin(found.return_loss_db))])
    return float(found.distance_m[-1])
