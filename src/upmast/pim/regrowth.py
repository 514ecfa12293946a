"""
Third-order products in which a carrier meets its own mirror: a carrier with itself, and one carrier with the envelope of another.

`f + f - f` of one carrier lies at its own centre and is three times as wide; `f1 + f2 - f2` lies at f1 and is as wide as that carrier and
twice the other. Two test tones never show them: noise-like carriers make them. They are written over the carriers and their twins, so that
level, width and share follow from the same rules as of all other products.

Higher orders that fall on a place of a lower one are left out: in a test with two tones they are part of the lower order's level.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.pim.hertz import carriers_hz, ranges_hz

__all__ = ["regrowth_in", "regrowth_vectors"]

Small = NDArray[np.int8]
Ints = NDArray[np.int64]


def regrowth_vectors(carriers: int) -> Small:
    """
    Vectors of order 3 over carriers and their twins, (N², 2 N): `2 f_i - f_i'` and `f_i + f_j - f_j'`.

    >>> regrowth_vectors(2).tolist()
    [[2, 0, -1, 0], [0, 2, 0, -1], [1, 1, 0, -1], [1, 1, -1, 0]]
    """
    if carriers < 1:
        raise ValueError("one carrier at least")
    rows = []
    for i in range(carriers):
        row = np.zeros(2 * carriers, np.int8)
        row[i], row[carriers + i] = 2, -1
        rows.append(row)
    for i in range(carriers):
        for j in range(carriers):
            if i == j:
                continue
            row = np.zeros(2 * carriers, np.int8)
            row[i] += 1
            row[j] += 1
            row[carriers + j] = -1
            rows.append(row)
    return np.array(rows)


def regrowth_in(
    centres_hz: ArrayLike, widths_hz: ArrayLike, receive_ranges_hz: ArrayLike
) -> tuple[Small, Ints, Ints, Ints]:
    """
    Those that overlap receive ranges: vectors (k, 2 N), centre and width [Hz], and which range; one row for each product and range.

    Parameters
    ----------
    As in `upmast.pim.products.products_in`. Touching is no hit.

    Source: own derivation: the third-order term of a memoryless law under Gaussian carriers; checked by simulation.

    >>> found = regrowth_in([1_842_500_000], [75_000_000], [[1_710_000_000, 1_785_000_000]])
    >>> found[0].tolist(), found[1].tolist(), found[2].tolist()
    ([[2, -1]], [1842500000], [225000000])
    """
    centres, widths = carriers_hz(centres_hz, widths_hz)
    ranges = ranges_hz(receive_ranges_hz)
    vectors = regrowth_vectors(centres.size).astype(np.int64)
    both, wide = np.concatenate([centres, centres]), np.concatenate([widths, widths])
    centre, width = vectors @ both, np.abs(vectors) @ wide
    hit = (2 * centre[:, None] + width[:, None] > 2 * ranges[:, 0]) & (
        2 * centre[:, None] - width[:, None] < 2 * ranges[:, 1]
    )
    rows, at = np.nonzero(hit)
    return vectors[rows].astype(np.int8), centre[rows], width[rows], at.astype(np.int64)
