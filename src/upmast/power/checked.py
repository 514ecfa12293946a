"""Inputs that can't be negative."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["not_negative"]

Array = NDArray[np.float64]


def not_negative(*, finite: bool = False, **inputs: ArrayLike) -> list[Array]:
    """
    The inputs as arrays, in the order given.

    Parameters
    ----------
    finite: refuse infinite values, too; by default they pass (an open wire, no limit).
    inputs: by the name that the message is to tell; any shapes.

    Raises
    ------
    ValueError
        With the name and the first value that is negative, missing or, where refused, infinite.

    >>> [a.tolist() for a in not_negative(length_m=30, ampacity_a=[25.0, np.inf])]
    [30.0, [25.0, inf]]
    """
    arrays = [np.asarray(value, float) for value in inputs.values()]
    for name, array in zip(inputs, arrays, strict=True):
        good = array >= 0
        if not np.all(good):
            raise ValueError(f"{name} can't be negative or missing: got {array[~good].flat[0]:g}")
        if finite and not np.all(array < np.inf):
            raise ValueError(f"{name} can't be negative or missing, nor infinite: got inf")
    return arrays
