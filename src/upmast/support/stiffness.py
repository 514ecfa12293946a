"""Bending stiffness of a cable: the band between layers that slip freely and a solid section; Euler's load."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["StiffnessBand", "disc_inertia_mm4", "euler_load_n", "ring_inertia_mm4", "stiffness_band_nm2"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class StiffnessBand:
    """
    Bending stiffness EI of a cable, always a band, both in the shape without the axis of the parts.

    slip_nm2 [N m2]: all layers slip, the lower bound. solid_nm2 [N m2]: nothing slips, the upper bound.
    """

    slip_nm2: Array
    solid_nm2: Array


def _not_negative(**values: Array) -> None:
    for name, value in values.items():
        if np.any(~(value >= 0)):
            raise ValueError(f"{name} can't be negative or missing")


def disc_inertia_mm4(diameter_mm: ArrayLike) -> Array:
    """
    Second moment of area of a round wire about its own axis: `pi d^4 / 64`.

    Parameters
    ----------
    diameter_mm [mm]: d, any shape.

    Returns
    -------
    Inertia [mm4]. Source: geometry.

    >>> float(disc_inertia_mm4(10.0).round(2))
    490.87
    """
    d = np.asarray(diameter_mm, float)
    _not_negative(diameter=d)
    return np.asarray(math.pi * d**4 / 64)


def ring_inertia_mm4(outer_mm: ArrayLike, thickness_mm: ArrayLike) -> Array:
    """
    Second moment of area of a tube or sheath about its axis: `pi (D^4 - (D - 2 t)^4) / 64`.

    Parameters
    ----------
    outer_mm [mm]: D over it. thickness_mm [mm]: t of the wall. Broadcast.

    Returns
    -------
    Inertia [mm4]. Source: geometry.

    >>> float(ring_inertia_mm4(28.0, 1.5).round(0))
    10997.0
    """
    outer, t = np.asarray(outer_mm, float), np.asarray(thickness_mm, float)
    _not_negative(diameter=outer, thickness=t)
    if np.any(2 * t > outer):
        raise ValueError("a wall can't be thicker than the radius")
    return np.asarray(math.pi * (outer**4 - (outer - 2 * t) ** 4) / 64)


def stiffness_band_nm2(
    modulus_pa: ArrayLike,
    area_mm2: ArrayLike,
    own_mm4: ArrayLike,
    count: ArrayLike = 1.0,
    lay_radius_mm: ArrayLike = 0.0,
) -> StiffnessBand:
    """
    Bending stiffness of a cable from its layers: `sum n E I` if all slip, `sum n E (I + A r^2 / 2)` if nothing does.

    Parameters
    ----------
    modulus_pa [Pa]: E of each kind of part along the last axis. area_mm2 [mm2]: A of one part. own_mm4 [mm4]: I of one
    part about its own axis, see `disc_inertia_mm4` and `ring_inertia_mm4`. count: n of them.
    lay_radius_mm [mm]: r, from the middle of the cable to that of the part; 0 for a centred one. All broadcast.

    Returns
    -------
    `StiffnessBand` [N m2] without the last axis. The truth lies between, and moves with the curvature.

    `n A r^2 / 2` is exact for three or more parts evenly about the axis, and the mean over a turn of lay for fewer. The
    lay angle is neglected. A corrugated tube bends more easily than a smooth one: give an equivalent E.
    Source: parallel axis theorem; own derivation (mean over the circle).

    >>> found = stiffness_band_nm2(110e9, 7.07, disc_inertia_mm4(3.0), [1, 6], [0.0, 3.0])  # seven wires of 3 mm
    >>> float(found.slip_nm2.round(2)), float(found.solid_nm2.round(2))
    (3.06, 24.06)
    """
    e, a, own, n, r = (
        np.atleast_1d(np.asarray(x, float)) for x in (modulus_pa, area_mm2, own_mm4, count, lay_radius_mm)
    )
    _not_negative(modulus=e, area=a, inertia=own, count=n, radius=r)
    slip, shift = np.broadcast_arrays(n * e * own * 1e-12, n * e * a * r**2 / 2 * 1e-12)
    return StiffnessBand(np.asarray(slip.sum(-1)), np.asarray((slip + shift).sum(-1)))


def euler_load_n(span_m: ArrayLike, stiffness_nm2: ArrayLike, clamped: bool = True) -> Array:
    """
    Compression at which a straight cable buckles: `4 pi^2 EI / L^2` between clamps, `pi^2 EI / L^2` between pins.

    Parameters
    ----------
    span_m [m]: L. stiffness_nm2 [N m2]: EI. Broadcast. clamped: ends that can't turn.

    Returns
    -------
    Force [N], positive for compression. Source: Euler, textbook.

    >>> float(euler_load_n(1.0, 30.0).round(1))
    1184.4
    """
    span, ei = np.asarray(span_m, float), np.asarray(stiffness_nm2, float)
    if np.any(~(span > 0)) or np.any(~(ei >= 0)):
        raise ValueError("the span must be positive and stiffness can't be negative")
    return np.asarray((4 if clamped else 1) * math.pi**2 * ei / span**2)
