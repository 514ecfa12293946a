"""Earth electrodes, order of size only: design and measurement of an electrode belong to a competent person."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.earth.sharing import inductance_matrix_h
from upmast.source import Mark, Source

__all__ = ["ROD_BAND", "ROD_BAND_SOURCE", "rod_ohm", "rods_band_ohm", "rods_ohm"]

Array = NDArray[np.float64]
ROD_BAND = (1.05, 1.3)
ROD_BAND_SOURCE = Source(
    "own calculation", clause="moment method for two or three rods one to two lengths apart", mark=Mark.CONFIRMED
)


def rod_ohm(soil_ohm_m: ArrayLike, length_m: ArrayLike, radius_m: ArrayLike) -> Array:
    """
    Resistance to far earth of one upright rod: `R = rho / (2 pi L) (ln(4 L / a) - 1)`.

    Parameters
    ----------
    soil_ohm_m [ohm m]: rho of even soil. length_m [m]: L in the soil, from the surface down. radius_m [m]: a. Broadcast.

    Returns
    -------
    Resistance [ohm], within 1 % of a moment-method solution in even soil. Real soil is not even: order of size only.

    Source: Dwight's formula (from memory); moment method in the tests.

    >>> float(rod_ohm(80.0, 3.0, 0.008).round(2))
    26.79
    """
    rho, length, a = (np.asarray(x, float) for x in (soil_ohm_m, length_m, radius_m))
    if not all(np.all((x > 0) & (x < np.inf)) for x in (rho, length, a)):
        raise ValueError("resistivity of the soil, length and radius must be positive")
    if not np.all(length >= 10 * a):
        raise ValueError("a rod is at least ten times as long as its radius")
    return np.asarray(rho / (2 * math.pi * length) * (np.log(4 * length / a) - 1))


def rods_band_ohm(one_ohm: ArrayLike, rods: ArrayLike) -> tuple[Array, Array]:
    """
    Band for two or three like rods one to two lengths apart, bonded together: `R_1 / n` times 1.05 to 1.3.

    Parameters
    ----------
    one_ohm [ohm]: R_1 of `rod_ohm`. rods: n. Broadcast.

    Returns
    -------
    Lower and upper end [ohm]; both R_1 for one rod. Four rods one length apart already stand at 1.36: where the places
    are known, take `rods_ohm`. Source: `ROD_BAND_SOURCE`.

    >>> low, high = rods_band_ohm(26.6, 2)
    >>> float(low.round(1)), float(high.round(1))
    (14.0, 17.3)
    """
    one, n = np.asarray(one_ohm, float), np.asarray(rods, float)
    if not np.all((one > 0) & (one < np.inf)) or not np.all((n >= 1) & (n == np.floor(n)) & (n < np.inf)):
        raise ValueError("the resistance of one rod must be positive, and there is a whole number of rods")
    low, high = (np.asarray(one / n * np.where(n > 1, factor, 1.0)) for factor in ROD_BAND)
    return low, high


def rods_ohm(soil_ohm_m: ArrayLike, length_m: ArrayLike, radius_m: ArrayLike, positions_m: ArrayLike) -> Array:
    """
    Resistance to far earth of like upright rods bonded together, with their places in plan.

    Mean potentials by Neumann's integral over each rod and its image, `R_ij = rho / (4 pi L^2) F(2 L, d_ij)` with
    `F(l, d) = l asinh(l / d) - sqrt(l^2 + d^2) + d`, d_ii the radius; together `1 / (1' R^-1 1)`.

    Parameters
    ----------
    soil_ohm_m [ohm m]: rho of even soil. length_m [m]: L. radius_m [m]: of a rod; these three of shape (...).
    positions_m [m]: in plan, shape (..., n, 2).

    Returns
    -------
    Resistance [ohm], shape (...), within 1.5 % of a moment-method solution. Order of size only, as `rod_ohm`.

    Source: own derivation (method of mean potentials); moment method in the tests.

    >>> float(rods_ohm(80.0, 3.0, 0.008, [[0.0, 0.0], [3.0, 0.0]]).round(2))
    15.15
    """
    rho, length, a = (np.asarray(x, float) for x in (soil_ohm_m, length_m, radius_m))
    rod_ohm(rho, length, a)  # refuses what is no rod
    # the inductance of conductors of length 2 L is the same integral, times 2e-7
    mutual = inductance_matrix_h(positions_m, a[..., None], 2 * length) / 2e-7
    leak = np.linalg.solve(mutual, np.ones((*mutual.shape[:-1], 1)))[..., 0]
    return np.asarray(rho / (4 * math.pi * length**2) / leak.sum(axis=-1))
