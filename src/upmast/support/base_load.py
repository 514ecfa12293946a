"""What the structural engineer is given: loads of each item, bare and iced, and their sums at the foot of the mast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.support.wind import AIR_KG_PER_M3, SUBCRITICAL, WindForce, line_force_n_per_m, wind_profile

__all__ = ["SLICE_M", "BaseLoads", "LoadTable", "Slices", "exact_line_wind", "load_table", "slices"]

Array = NDArray[np.float64]
SLICE_M = 2.0  # longest slice over which a line load is taken as even: common practice, no source
_G = STANDARD_GRAVITY_M_PER_S2.value
_MOST = 10_000


@dataclass(frozen=True, slots=True, eq=False)
class Slices:
    """Items cut into the same number of slices along the last axis. middle_m [m]: heights; length_m [m]: of each slice."""

    middle_m: Array
    length_m: Array


def slices(low_m: ArrayLike, high_m: ArrayLike, longest_m: float = SLICE_M) -> Slices:
    """
    Cuts items into slices not longer than 2 m: `k = ceil(max(high - low) / 2 m)` each.

    Parameters
    ----------
    low_m, high_m [m]: ends above the foot of the mast, broadcast. longest_m [m]: not above 2 m.

    Returns
    -------
    `Slices` in the broadcast shape and one axis more. Take shorter ones for items of a few metres at z_min of a smooth terrain,
    where the profile starts to grow: one slice of 2 m over that bend is up to 6 % low. Source: geometry.

    >>> found = slices([0.0, 4.0], [5.0, 5.0])
    >>> found.middle_m.round(2).tolist(), found.length_m[:, 0].round(2).tolist()
    ([[0.83, 2.5, 4.17], [4.17, 4.5, 4.83]], [1.67, 0.33])
    """
    low, high = np.broadcast_arrays(np.asarray(low_m, float), np.asarray(high_m, float))
    if not 0 < longest_m <= SLICE_M:
        raise ValueError(f"slices must be longer than 0 and not longer than {SLICE_M:g} m")
    if np.any(~(low >= 0)) or np.any(~(high >= low)) or np.any(np.isinf(high)):
        raise ValueError("items must go up from the foot of the mast or above")
    count = max(1, int(np.ceil(np.max(high - low, initial=0.0) / longest_m - 1e-9)))
    if count > _MOST:
        raise ValueError(f"there can't be more than {_MOST} slices")
    part = ((high - low) / count)[..., None]
    return Slices(low[..., None] + part * (np.arange(count) + 0.5), part * np.ones(count))


@dataclass(frozen=True, slots=True, eq=False)
class BaseLoads:
    """
    Sums of all items at the foot of the mast, without their axis.

    bare_shear_n, iced_shear_n [N]; bare_moment_nm, iced_moment_nm [N m] of the wind; dead_n, iced_n [N]: weight bare and with
    ice; dead_moment_nm, iced_weight_moment_nm [N m]: of the weights about the axis of the mast, all to one side.
    """

    bare_shear_n: Array
    iced_shear_n: Array
    bare_moment_nm: Array
    iced_moment_nm: Array
    dead_n: Array
    iced_n: Array
    dead_moment_nm: Array
    iced_weight_moment_nm: Array

    @property
    def governing(self) -> NDArray[np.int64]:
        """Index into `WIND_CASES` ('bare', 'iced') by the larger moment of the wind; give the engineer both."""
        return np.asarray(self.iced_moment_nm > self.bare_moment_nm, np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class LoadTable:
    """
    One row an item along the last axis.

    dead_n, iced_n [N]: weight bare and with ice. bare_area_m2, iced_area_m2 [m2]: one side. bare_force_n, iced_force_n [N],
    bare_moment_nm, iced_moment_nm [N m]: wind and its moment about the foot. bare_n_per_m, iced_n_per_m [N/m]: mean line load.
    eccentricity_m [m]: to the axis of the mast.
    """

    dead_n: Array
    iced_n: Array
    bare_area_m2: Array
    iced_area_m2: Array
    bare_force_n: Array
    iced_force_n: Array
    bare_moment_nm: Array
    iced_moment_nm: Array
    bare_n_per_m: Array
    iced_n_per_m: Array
    eccentricity_m: Array

    def total(self) -> BaseLoads:
        """Sums over the items."""
        columns = (
            self.bare_force_n,
            self.iced_force_n,
            self.bare_moment_nm,
            self.iced_moment_nm,
            self.dead_n,
            self.iced_n,
        )
        arms = (self.dead_n * self.eccentricity_m, self.iced_n * self.eccentricity_m)
        return BaseLoads(*(np.asarray(x.sum(-1)) for x in (*columns, *arms)))


def load_table(
    low_m: ArrayLike,
    high_m: ArrayLike,
    bare_n_per_m: ArrayLike,
    iced_n_per_m: ArrayLike,
    width_mm: ArrayLike,
    iced_width_mm: ArrayLike,
    mass_kg_per_m: ArrayLike,
    ice_kg_per_m: ArrayLike,
    eccentricity_m: ArrayLike = 0.0,
) -> LoadTable:
    """
    Loads of items by height: `F = sum f dz`, `M = sum f z dz` over slices not longer than 2 m.

    Parameters
    ----------
    low_m, high_m [m]: ends above the foot of the mast, shape (..., items). bare_n_per_m, iced_n_per_m [N/m]: wind in the middle
    of each slice, by any standard, shape (..., items, slices), see `slices`; with the row factor and the wind factor of the ice
    class where they apply. width_mm, iced_width_mm [mm]: across the wind. mass_kg_per_m, ice_kg_per_m [kg/m]: of the item and of
    its ice. eccentricity_m [m]: from the axis of the mast. Shape (..., items).

    Returns
    -------
    `LoadTable`; its `total` gives shear and moment at the foot. Not a structural design: for the engineer's own check.

    Source: EN 1991-1-4, clause 5.3 (equation 5.4, summed); statics.

    >>> table = load_table(0.0, [10.0, 20.0], [[50.0] * 10] * 2, [[60.0] * 10] * 2, 28.0, 68.0, 1.1, 2.714)
    >>> table.bare_force_n, float(table.total().bare_moment_nm), float(table.total().iced_shear_n)
    (array([ 500., 1000.]), 12500.0, 1800.0)
    """
    loads = np.broadcast_arrays(np.asarray(bare_n_per_m, float), np.asarray(iced_n_per_m, float))
    if loads[0].ndim < 2:
        raise ValueError("line loads must have an axis of items and one of slices")
    rows = [
        np.atleast_1d(np.asarray(x, float))
        for x in (low_m, high_m, width_mm, iced_width_mm, mass_kg_per_m, ice_kg_per_m, eccentricity_m)
    ]
    shape = np.broadcast_shapes(loads[0].shape[:-1], *(x.shape for x in rows))
    low, high, width, iced_width, mass, ice, arm = (np.broadcast_to(x, shape) for x in rows)
    if any(np.any(~(x >= 0)) for x in (low, high, width, iced_width, mass, ice, arm, *loads)):
        raise ValueError("heights, loads, widths, masses and eccentricity can't be negative or missing")
    if np.any(high < low):
        raise ValueError("items must go up from the foot of the mast or above")
    count = loads[0].shape[-1]
    part = (high - low) / count
    if np.any(part > SLICE_M * (1 + 1e-9)):
        raise ValueError(f"slices must not be longer than {SLICE_M:g} m")
    z = low[..., None] + part[..., None] * (np.arange(count) + 0.5)
    length = high - low
    (bare, iced), (bare_moment, iced_moment) = ([(f * by).sum(-1) * part for f in loads] for by in (np.ones_like(z), z))
    mean = [np.broadcast_to(f.mean(-1), shape) for f in loads]
    return LoadTable(
        mass * length * _G, (mass + ice) * length * _G, width * length * 1e-3, iced_width * length * 1e-3,
        bare, iced, bare_moment, iced_moment, mean[0], mean[1], arm,
    )  # fmt: skip


def _integrals(z: Array, z0: Array) -> tuple[Array, Array, Array, Array]:
    """Antiderivatives of u^2, u, z u^2 and z u over z, with u = ln(z / z0)."""
    u = np.log(z / z0)
    return z * (u**2 - 2 * u + 2), z * (u - 1), z**2 / 2 * (u**2 - u + 0.5), z**2 / 2 * (u - 0.5)


def exact_line_wind(
    bottom_m: ArrayLike,
    top_m: ArrayLike,
    diameter_mm: ArrayLike,
    basic_m_per_s: ArrayLike,
    z0_m: ArrayLike,
    z_min_m: ArrayLike,
    coefficient: ArrayLike = SUBCRITICAL,
    orography: ArrayLike = 1.0,
    air_kg_per_m3: ArrayLike = AIR_KG_PER_M3,
) -> WindForce:
    """
    Force and moment of the wind on a vertical line, integrated exactly: the check of all that is summed over slices.

    `qp = rho kr^2 vb^2 (co^2 u^2 + 7 co u) / 2` with `u = ln(z / z0)`, constant below z_min; force and moment in closed form.

    Parameters
    ----------
    As `line_wind`; all broadcast.

    Returns
    -------
    `WindForce` [N], [N m]. Source: EN 1991-1-4, clauses 4.3 to 4.5 and 5.3; own integration.

    >>> found = exact_line_wind(0.0, 30.0, 28.0, 26.0, 0.05, 2.0)
    >>> float(found.force_n.round(1)), float(found.moment_nm.round(0))
    (1056.7, 17603.0)
    """
    bottom, top, d, vb, z0, zmin, cf, co, rho = np.broadcast_arrays(
        *(
            np.asarray(x, float)
            for x in (
                bottom_m, top_m, diameter_mm, basic_m_per_s, z0_m, z_min_m, coefficient, orography, air_kg_per_m3,
            )
        )
    )  # fmt: skip
    if np.any(~(bottom >= 0)) or np.any(~(top >= bottom)) or np.any(np.isinf(top)):
        raise ValueError("a line must go up from the ground or above")
    profile = wind_profile(zmin, vb, z0, zmin, co, rho)
    each = line_force_n_per_m(1.0, d, cf)  # force per metre and pascal
    if np.any(np.isnan(profile.qp_pa)) or np.any(np.isnan(each)):
        raise ValueError("speed, roughness, diameter and coefficients can't be missing")
    low, high = np.minimum(bottom, zmin), np.minimum(top, zmin)
    force = profile.qp_pa * (high - low)
    moment = profile.qp_pa * (high**2 - low**2) / 2
    upper, lower = _integrals(np.maximum(top, zmin), z0), _integrals(np.maximum(bottom, zmin), z0)
    square, plain, square_arm, plain_arm = (a - b for a, b in zip(upper, lower, strict=True))
    scale = rho * (profile.kr * vb) ** 2 / 2
    force = force + scale * (co**2 * square + 7 * co * plain)
    moment = moment + scale * (co**2 * square_arm + 7 * co * plain_arm)
    return WindForce(np.asarray(each * force), np.asarray(each * moment))
