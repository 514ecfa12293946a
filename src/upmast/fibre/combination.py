"""Every way in which two stages of an array trunk can be wrong at once: exchanges, a turned connector, swapped rows."""

from __future__ import annotations

from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.fibre.position import COLUMNS

__all__ = ["Combinations", "check_combinations", "stage_faults"]

Small = NDArray[np.uint8]


class Combinations(NamedTuple):
    """How many combinations there are, how many put all light right, and the count by positions that are wrong."""

    total: int
    right: int
    by_wrong: NDArray[np.int64]


def stage_faults(size: int = 24) -> Small:
    """
    Maps of one stage with at most one exchange of two positions, one flip (end for end) and one swap of rows, in that order.

    Parameters
    ----------
    size: 24, or 12 with one row, which has no rows to swap.

    Returns
    -------
    Maps, positions from 0, shape (M, size): M = (1 + size (size - 1) / 2) x 2 x rows. The first is the sound one.
    Source: own derivation (enumeration).

    >>> stage_faults(24).shape, stage_faults(12).shape
    ((1108, 24), (134, 12))
    """
    if size not in (12, 24):
        raise ValueError(f"an array connector here has 12 or 24 positions, not {size}")
    plain = np.arange(size, dtype=np.uint8)
    exchanged = [plain]
    for a, b in combinations(range(size), 2):
        one = plain.copy()
        one[[a, b]] = one[[b, a]]
        exchanged.append(one)
    made = np.stack(exchanged)
    made = np.concatenate([made, size - 1 - made])
    if size > COLUMNS:
        made = np.concatenate([made, (made + COLUMNS) % size])
    return np.asarray(made, np.uint8)


def check_combinations(
    between: ArrayLike, first: ArrayLike | None = None, second: ArrayLike | None = None
) -> Combinations:
    """
    Check every combination of the faults of two stages around a cable against where the light should come out.

    Parameters
    ----------
    between: map of the cable, positions from 1, 12 or 24 of them, each once; what it does with two sound stages is right.
    first, second: maps of the stages as `stage_faults` gives them, all of them by default.

    Returns
    -------
    `Combinations`; by_wrong[k] counts those with k positions on the wrong port. Source: own derivation (composition of maps).

    >>> found = check_combinations(range(1, 13))
    >>> found.total, found.right, int(found.by_wrong.sum())
    (17956, 134, 17956)
    """
    cable = np.asarray(between, np.int64) - 1
    size = cable.size
    if cable.ndim != 1 or not np.array_equal(np.sort(cable), np.arange(size)):
        raise ValueError("the cable leads each position to one of its own")
    one = stage_faults(size) if first is None else np.asarray(first, np.uint8)
    two = stage_faults(size) if second is None else np.asarray(second, np.uint8)
    by_wrong = np.zeros(size + 1, np.int64)
    wanted = cable.astype(np.uint8)
    columns = np.ascontiguousarray(two.T)  # a position of all second stages lies together
    for row in cable[one]:
        wrong = np.zeros(two.shape[0], np.uint8)
        for position in range(size):
            wrong += columns[row[position]] != wanted[position]
        by_wrong += np.bincount(wrong, minlength=size + 1)
    return Combinations(one.shape[0] * two.shape[0], int(by_wrong[0]), by_wrong)
