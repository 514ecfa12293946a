"""Inputs of a function as arrays, refused with their name where they can't be."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["amounts", "positive"]

Array = NDArray[np.float64]


def amounts(**inputs: ArrayLike) -> list[Array]:
    """
    The inputs as arrays; ValueError with the name of one that is negative, infinite or no number.

    >>> amounts(length_m=[1, 2])
    [array([1., 2.])]
    """
    arrays = [np.asarray(value, float) for value in inputs.values()]
    for name, array in zip(inputs, arrays, strict=True):
        if not np.all((array >= 0) & (array < np.inf)):
            raise ValueError(f"{name} must be a number and can't be negative")
    return arrays


def positive(**inputs: ArrayLike) -> list[Array]:
    """As `amounts`, and 0 is refused, too."""
    arrays = amounts(**inputs)
    for name, array in zip(inputs, arrays, strict=True):
        if not np.all(array > 0):
            raise ValueError(f"{name} must be positive")
    return arrays
