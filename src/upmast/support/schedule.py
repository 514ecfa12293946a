"""Where the clamps of a run sit: a list with the height of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["ClampSchedule", "clamp_schedule"]

Array = NDArray[np.float64]
_SLACK = 1e-9  # 3 x 0.1 m at 0.1 m are three intervals
_MOST = 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class ClampSchedule:
    """
    Clamps of all legs one after the other.

    One row a clamp: leg (index), along_m (from the start of its leg), chainage_m (from the start of the first leg), height_m.
    One row a leg: count, spacing_m (0 where it has a single clamp), end_m (from the outermost clamp to the end of the leg).
    """

    leg: NDArray[np.int64]
    along_m: Array
    chainage_m: Array
    height_m: Array
    count: NDArray[np.int64]
    spacing_m: Array
    end_m: Array


def clamp_schedule(
    start_m: ArrayLike, finish_m: ArrayLike, length_m: ArrayLike, spacing_m: ArrayLike, end_m: ArrayLike
) -> ClampSchedule:
    """
    Places the fewest evenly spaced clamps on each leg of a run.

    The outermost clamps sit `e = min(end, s / 2)` from the ends, so that the gap over a bend is not larger than s either. With
    `k = ceil((L - 2 e) / s)` intervals between them each is `(L - 2 e) / k`. A leg not longer than `2 e` has one in its middle.

    Parameters
    ----------
    start_m, finish_m [m]: heights of the ends of each leg above ground, in the order of the run. length_m [m]: L along the
    cable, not less than the difference of the heights. spacing_m [m]: s, the largest allowed, see `clamp_spacing`.
    end_m [m]: the largest distance from the last clamp to each end, 0 for a clamp at the very end. Shape (legs,), broadcast.

    Returns
    -------
    `ClampSchedule`. Legs of many lines may follow each other: `leg` tells them apart. Source: geometry.

    >>> found = clamp_schedule([2.0, 2.0], [2.0, 6.0], [1.0, 4.0], 1.0, 0.3)
    >>> found.leg, found.along_m.round(2), found.height_m.round(2)
    (array([0, 0, 1, 1, 1, 1, 1]), array([0.3 , 0.7 , 0.3 , 1.15, 2.  , 2.85, 3.7 ]),
     array([2.  , 2.  , 2.3 , 3.15, 4.  , 4.85, 5.7 ]))
    """
    low, high, length, most, end = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(x, float)) for x in (start_m, finish_m, length_m, spacing_m, end_m))
    )
    if length.ndim != 1:
        raise ValueError("legs must stand along one axis")
    if np.any(~np.isfinite(low)) or np.any(~np.isfinite(high)):
        raise ValueError("heights can't be missing")
    if np.any(~(length > 0)) or np.any(np.isinf(length)) or np.any(~(most > 0)) or np.any(~(end >= 0)):
        raise ValueError("length and spacing must be positive and the end distance can't be negative or missing")
    if np.any(np.abs(high - low) > length * (1 + _SLACK)):
        raise ValueError("a leg can't be shorter than the height it climbs")
    edge = np.minimum(end, most / 2)
    inner = length - 2 * edge
    single = inner <= _SLACK * length
    intervals = np.where(single, 0.0, np.ceil(inner / most - _SLACK))
    intervals = np.where(single, 0.0, np.maximum(intervals, 1.0))
    if intervals.sum() + intervals.size > _MOST:
        raise ValueError(f"there can't be more than {_MOST} clamps: is the spacing right?")
    each = np.where(single, 0.0, inner / np.maximum(intervals, 1.0))
    first = np.where(single, length / 2, edge)
    count = np.asarray(intervals + 1, np.int64)
    leg = np.repeat(np.arange(count.size, dtype=np.int64), count)
    order = np.arange(leg.size) - np.repeat(np.cumsum(count) - count, count)
    along = np.asarray(np.minimum(first[leg] + order * each[leg], length[leg]), np.float64)
    height = low[leg] + (high - low)[leg] * (along / length[leg])
    before = np.cumsum(length) - length
    return ClampSchedule(leg, along, before[leg] + along, height, count, each, first)
