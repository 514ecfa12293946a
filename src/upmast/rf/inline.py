"""What a two-port in the path reflects and loses at given frequencies: from bounds, from rows of a measurement, from S-parameters."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["InlineBounds", "inline_rows", "reflection_at", "reflection_rows", "row_bounds"]

Array = NDArray[np.float64]
MOST_DB = 200.0  # stands for no reflection, or nothing let through


class InlineBounds(NamedTuple):
    """|S11| and |S22| at most, and the insertion loss at least and at most in dB; NaN outside the rows."""

    near: Array
    far: Array
    least_db: Array
    most_db: Array


def _rows(rows: ArrayLike, columns: int) -> Array:
    out = np.asarray(rows, dtype=np.float64)
    if out.ndim != 2 or out.shape[1] != columns or out.shape[0] < 1 or not np.all(np.isfinite(out)):
        raise ValueError(f"rows are an array of {columns} columns, all of them numbers")
    if np.any(np.diff(out[:, 0]) <= 0) or not out[0, 0] > 0 or np.any(out[:, 1:] < 0):
        raise ValueError("frequencies of the rows rise from above 0, and no value in dB is negative")
    return out


def _between(frequency_hz: ArrayLike, known_hz: Array) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.bool_]]:
    """Rows to both sides of each frequency, the same one twice where it lies on a row; and which frequencies lie outside."""
    f = np.asarray(frequency_hz, dtype=np.float64)
    right = np.searchsorted(known_hz, f, side="left")
    outside = ~((f >= known_hz[0]) & (f <= known_hz[-1]))
    right = np.minimum(right, known_hz.size - 1)
    on = known_hz[right] == f
    return np.where(on, right, np.maximum(right - 1, 0)), right, outside


def row_bounds(frequency_hz: ArrayLike, rows: ArrayLike) -> InlineBounds:
    """
    Bounds of a two-port at some frequencies from rows of a measurement: between two rows the worse of both counts.

    Parameters
    ----------
    frequency_hz [Hz]: any shape. rows: (n, 5): frequency [Hz], least return loss of foot and head [dB], least and greatest insertion
    loss [dB]; frequencies rise.

    Returns
    -------
    `InlineBounds` of the shape of frequency_hz; NaN outside the rows.

    Source: own derivation: a bound of both neighbours, so rows must be as dense as what is measured changes.

    >>> found = row_bounds([1.0e9, 1.5e9], [[1e9, 20, 22, 0.1, 0.2], [2e9, 18, 26, 0.3, 0.4]])
    >>> found.near.round(4), found.most_db
    (array([0.1   , 0.1259]), array([0.2, 0.4]))
    """
    table = _rows(rows, 5)
    left, right, outside = _between(frequency_hz, table[:, 0])

    def worse(column: int, take: np.ufunc) -> Array:
        both = take(table[left, column], table[right, column])
        return np.where(outside, np.nan, both)

    return InlineBounds(
        10.0 ** (-worse(1, np.minimum) / 20.0), 10.0 ** (-worse(2, np.minimum) / 20.0), worse(3, np.minimum), worse(4, np.maximum)
    )  # fmt: skip


def reflection_at(frequency_hz: ArrayLike, rows: ArrayLike) -> Array:
    """
    Size of a reflection at some frequencies from rows of a measurement: between two rows the larger of both; NaN outside.

    Parameters
    ----------
    frequency_hz [Hz]: any shape. rows: (n, 2): frequency [Hz], return loss [dB]; frequencies rise.

    >>> reflection_at([1.5e9, 3e9], [[1e9, 20], [2e9, 14]]).round(4)
    array([0.1995,    nan])
    """
    table = _rows(rows, 2)
    left, right, outside = _between(frequency_hz, table[:, 0])
    worse = np.minimum(table[left, 1], table[right, 1])
    return np.asarray(np.where(outside, np.nan, 10.0 ** (-worse / 20.0)))


def _spans(count: int, most: int) -> list[tuple[int, int, int]]:
    """
    Points that become rows, each with the first and the last point that it stands for.

    A row stands for all points up to its neighbours, so that nothing between two rows is lost.
    """
    if count <= most:
        return [(n, n, n) for n in range(count)]
    at = np.unique(np.linspace(0, count - 1, most).round().astype(int)).tolist()
    return [(n, at[max(k - 1, 0)], at[min(k + 1, len(at) - 1)]) for k, n in enumerate(at)]


def _db(size: Array) -> Array:
    with np.errstate(divide="ignore"):
        return np.asarray(np.clip(-20.0 * np.log10(np.abs(size)), 0.0, MOST_DB))


def inline_rows(frequency_hz: ArrayLike, s: ArrayLike, most: int = 201) -> Array:
    """
    Rows of a two-port from its S-parameters, thinned so that no row is better than what was measured around it.

    Parameters
    ----------
    frequency_hz [Hz]: (n,), rising. s: (n, 2, 2), complex, to the impedance of the line. most: rows at most.

    Returns
    -------
    (m, 5): frequency, least return loss of foot and head, least and greatest insertion loss of both directions. A gain counts as no loss.

    >>> import numpy as np
    >>> s = np.array([[[0.1, 0.9], [0.9, 0.05]]] * 3)
    >>> inline_rows([1e9, 2e9, 3e9], s).round(2)[0].tolist()
    [1000000000.0, 20.0, 26.02, 0.92, 0.92]
    """
    f, matrix = np.asarray(frequency_hz, dtype=np.float64), np.asarray(s)
    if f.ndim != 1 or f.size < 2 or matrix.shape != (f.size, 2, 2) or np.any(np.diff(f) <= 0) or most < 2:
        raise ValueError("two or more rising frequencies, and a matrix (n, 2, 2) of S-parameters for them")
    foot, head = _db(matrix[:, 0, 0]), _db(matrix[:, 1, 1])
    through = np.stack([_db(matrix[:, 1, 0]), _db(matrix[:, 0, 1])])
    out = []
    for n, first, last in _spans(f.size, most):
        part = np.s_[first : last + 1]
        out.append([f[n], foot[part].min(), head[part].min(), through[:, part].min(), through[:, part].max()])
    return np.array(out)


def reflection_rows(frequency_hz: ArrayLike, gamma: ArrayLike, most: int = 201) -> Array:
    """
    Rows of a reflection (m, 2): frequency, return loss in dB, thinned so that no row is better than what was measured around it.

    >>> reflection_rows([1e9, 2e9], [0.1, 0.2]).round(2).tolist()
    [[1000000000.0, 20.0], [2000000000.0, 13.98]]
    """
    f, size = np.asarray(frequency_hz, dtype=np.float64), np.abs(np.asarray(gamma))
    if f.ndim != 1 or f.size < 2 or size.shape != f.shape or np.any(np.diff(f) <= 0) or most < 2:
        raise ValueError("two or more rising frequencies, and a reflection for each")
    s = np.zeros((f.size, 2, 2), np.complex128)
    s[:, 0, 0] = size
    return inline_rows(f, s, most)[:, :2]
