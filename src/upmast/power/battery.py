"""Voltage of a string of cells. Its curve over the discharge is in `cells`, how long it lasts in `discharge`."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["float_v"]

Array = NDArray[np.float64]


def float_v(cells: ArrayLike, cell_v: ArrayLike) -> Array:
    """
    Voltage of a string: `V = n v`.

    Parameters
    ----------
    cells [-], cell_v [V]: any shape.

    Source: common practice; 24 cells at 2.27 V are a published example.

    >>> round(float(float_v(24, 2.27)), 2)
    54.48
    """
    return np.asarray(np.asarray(cells, float) * np.asarray(cell_v, float))
