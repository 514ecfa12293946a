"""Tape for wrapped joints: length of each layer, and how thick the joint gets."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["layer_diameter_mm", "tape_length_m"]

Array = NDArray[np.float64]


def _check(diameter: Array, width: Array, thickness: Array, overlap: Array) -> None:
    if np.any(diameter <= 0) or np.any(width <= 0):
        raise ValueError("diameter and tape width must be positive")
    if np.any(thickness < 0):
        raise ValueError("tape thickness can't be negative")
    if np.any((overlap < 0) | (overlap >= 1)):
        raise ValueError("overlap must lie between 0 and below 1; half lapped is 0.5")


def layer_diameter_mm(
    diameter_mm: ArrayLike, thickness_mm: ArrayLike, layers: ArrayLike, overlap: ArrayLike = 0.5
) -> Array:
    """
    Diameter over a number of finished layers: `D + 2 n t / (1 - o)`.

    A layer lapped by the fraction o lies 1 / (1 - o) plies thick, two when half lapped, on both sides.

    Parameters
    ----------
    diameter_mm [mm]: D, bare. thickness_mm [mm]: t of the tape as it lies, stretched. layers: n. overlap [1]: o.

    Returns
    -------
    Diameter [mm] in the broadcast shape. Source: own derivation.

    >>> float(layer_diameter_mm(28.0, 0.8, 1))
    31.2
    """
    d, t, n, o = (np.asarray(x, float) for x in (diameter_mm, thickness_mm, layers, overlap))
    _check(d, np.ones(()), t, o)
    if np.any(n < 0):
        raise ValueError("the number of layers can't be negative")
    return np.asarray(d + 2 * n * t / (1 - o))


def tape_length_m(
    diameter_mm: ArrayLike,
    length_m: ArrayLike,
    width_mm: ArrayLike,
    thickness_mm: ArrayLike,
    layers: int = 1,
    overlap: ArrayLike = 0.5,
    allowance: ArrayLike = 0.0,
) -> Array:
    """
    Tape for a wrapped joint, as it lies (stretched).

    `sum over layers of L / (w (1 - o)) sqrt((pi (D_k + t))^2 + (w (1 - o))^2)`

    Parameters
    ----------
    diameter_mm [mm]: D under the first layer. length_m [m]: L along the joint.
    width_mm, thickness_mm [mm]: w and t of the tape. overlap [1]: o, 0.5 when half lapped.
    layers: number of layers, a whole number. allowance [1]: added fraction for the ends; 0.1 is practice.

    Returns
    -------
    Length [m] in the broadcast shape. Source: own derivation (unrolled helix).

    >>> float(tape_length_m(28.0, 0.25, 50.0, 0.8).round(2))
    0.94
    """
    d, length, w, t, o, more = (
        np.asarray(x, float) for x in (diameter_mm, length_m, width_mm, thickness_mm, overlap, allowance)
    )
    _check(d, w, t, o)
    if np.any(length < 0) or np.any(more < 0):
        raise ValueError("length and allowance can't be negative")
    if not 0 <= layers <= 100:
        raise ValueError("the number of layers must lie between 0 and 100")
    pitch = w * (1 - o)
    total = np.zeros(np.broadcast_shapes(d.shape, length.shape, w.shape, t.shape, o.shape, more.shape))
    for layer in range(layers):
        under = layer_diameter_mm(d, t, layer, o)
        total = total + length * 1e3 / pitch * np.hypot(math.pi * (under + t), pitch)
    return np.asarray(total * 1e-3 * (1 + more))
