"""What each clamp of a run carries under wind: real spans, free ends, and a load that changes with height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.support.beam import reactions_n, three_moments
from upmast.support.wind import AIR_KG_PER_M3, SUBCRITICAL, line_force_n_per_m, wind_profile

__all__ = ["ClampForces", "clamp_forces", "end_factor", "wind_clamp_forces"]

Array = NDArray[np.float64]
_POINTS = np.array([-0.5, 0.0, 0.5]) * np.sqrt(0.6)  # of a stretch about its middle; Gauss: exact to the fifth power
_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18


@dataclass(frozen=True, slots=True, eq=False)
class ClampForces:
    """
    Force of each clamp along the last axis, as a continuous beam and by its share of the length.

    force_n: of the beam. share_n: line load times half of the spans beside it, and the free end (the rule 'w s').
    """

    force_n: Array
    share_n: Array

    @property
    def ratio(self) -> Array:
        """What the rule 'w s' leaves out: beam over share; 1 where nothing loads the clamp."""
        loaded = self.share_n != 0
        return np.where(loaded, self.force_n / np.where(loaded, self.share_n, 1.0), 1.0)

    @property
    def worst(self) -> NDArray[np.int64]:
        """Index of the clamp with the largest force, either way."""
        return np.asarray(np.abs(self.force_n).argmax(-1), np.int64)


def _stretches(height: ArrayLike, bottom: ArrayLike, top: ArrayLike) -> Array:
    """Edges of all stretches of the cable: its lower end, the clamps, its upper end."""
    z = np.atleast_1d(np.asarray(height, float))
    low, high = np.asarray(bottom, float), np.asarray(top, float)
    if z.shape[-1] < 2 or np.any(~(np.diff(z) > 0)):
        raise ValueError("there must be two or more clamps, rising from the first to the last")
    if np.any(~(low <= z[..., 0])) or np.any(~(high >= z[..., -1])):
        raise ValueError("the ends of the cable must lie at or beyond the outermost clamps")
    lead = np.broadcast_shapes(z.shape[:-1], low.shape, high.shape)
    return np.concatenate([np.broadcast_to(x, (*lead, x.shape[-1])) for x in (low[..., None], z, high[..., None])], -1)


def clamp_forces(
    height_m: ArrayLike,
    bottom_m: ArrayLike,
    top_m: ArrayLike,
    load_n_per_m: ArrayLike,
    rise_n_per_m: ArrayLike = 0.0,
) -> ClampForces:
    """
    Forces of clamps at given heights under a line load that is linear in each stretch, free ends with theirs.

    Three moments as `support_moments_nm`, with `L^3 (w / 4 + d / 120)` below and `L^3 (w / 4 - d / 120)` above a clamp, and the
    moments `w a^2 / 2 - d a^2 / 12` of the lower, `w b^2 / 2 + d b^2 / 12` of the upper free end.

    Parameters
    ----------
    height_m [m]: of the clamps, rising along the last axis, two or more. bottom_m, top_m [m]: ends of the cable, at or beyond
    the outermost clamps, shape without the last axis. load_n_per_m [N/m]: w, mean of each stretch from the lower to the upper
    end, one more than clamps, or one number. rise_n_per_m [N/m]: d, by which it grows from the foot to the head of a stretch.

    Returns
    -------
    `ClampForces` [N], one a clamp; a negative one pulls the other way, as beside a short end span. Valid for rigid clamps and a
    cable of one stiffness. Source: Clapeyron's theorem, textbook.

    >>> found = clamp_forces([0.0, 1.0, 2.0, 3.0], 0.0, 3.0, 100.0)
    >>> found.force_n, found.ratio
    (array([ 40., 110., 110.,  40.]), array([0.8, 1.1, 1.1, 0.8]))
    """
    stretch = np.diff(_stretches(height_m, bottom_m, top_m))
    w, d = np.asarray(load_n_per_m, float), np.asarray(rise_n_per_m, float)
    if np.any(~np.isfinite(w)) or np.any(~np.isfinite(d)):
        raise ValueError("loads can't be missing")
    if any(x.ndim and x.shape[-1] not in (1, stretch.shape[-1]) for x in (w, d)):
        raise ValueError("there must be one load more than clamps, or one number")
    length, w, d = np.broadcast_arrays(stretch, w, d)
    below, above = length**3 * (w / 4 + d / 120), length**3 * (w / 4 - d / 120)
    free = length**2 * (w / 2 - d / 12), length**2 * (w / 2 + d / 12)
    right = -(below[..., 1:-2] + above[..., 2:-1])
    moment = three_moments(length[..., 1:-1], right, -free[0][..., 0], -free[1][..., -1])
    span, half, tilt = length[..., 1:-1], (w * length / 2)[..., 1:-1], (d * length / 12)[..., 1:-1]
    tilt = np.diff(moment) / span - tilt
    force, share = np.zeros(moment.shape), np.zeros(moment.shape)
    for side, tilted, at in ((0, tilt, slice(None, -1)), (1, -tilt, slice(1, None))):
        force[..., at] += half + tilted
        share[..., at] += half
        end = (w * length)[..., -side]
        force[..., -side] += end
        share[..., -side] += end
    return ClampForces(force, share)


def wind_clamp_forces(
    height_m: ArrayLike,
    bottom_m: ArrayLike,
    top_m: ArrayLike,
    diameter_mm: ArrayLike,
    basic_m_per_s: ArrayLike,
    z0_m: ArrayLike,
    z_min_m: ArrayLike,
    coefficient: ArrayLike = SUBCRITICAL,
    orography: ArrayLike = 1.0,
    air_kg_per_m3: ArrayLike = AIR_KG_PER_M3,
) -> ClampForces:
    """
    Forces of the clamps of a vertical cable in the wind of EN 1991-1-4: `clamp_forces` with the line load of each stretch.

    Parameters
    ----------
    height_m [m]: of the clamps, rising along the last axis. bottom_m, top_m [m]: ends of the cable, above ground.
    diameter_mm [mm]: D, iced if so (then scale the forces by the wind factor of the ice class). The others as `line_wind`. All
    without the last axis.

    Returns
    -------
    `ClampForces` [N]. Mean and rise of the load of a stretch come from three points, so that force and moment of each are kept.

    Source: EN 1991-1-4, clauses 4.5 and 5.3; Clapeyron's theorem.

    >>> found = wind_clamp_forces([28.3, 29.3, 30.3, 31.3], 28.0, 31.6, 28.0, 26.0, 0.05, 2.0)
    >>> found.force_n.round(1), found.ratio.round(2)
    (array([32.7, 45.7, 46.1, 33.4]), array([0.94, 1.05, 1.05, 0.94]))
    """
    edges = _stretches(height_m, bottom_m, top_m)
    if np.any(~(edges[..., 0] >= 0)):
        raise ValueError("the cable can't reach below ground")
    at = ((edges[..., 1:] + edges[..., :-1]) / 2)[..., None] + np.diff(edges)[..., None] * _POINTS
    d, vb, z0, zmin, cf, co, rho = (
        np.asarray(x, float)[..., None]
        for x in (diameter_mm, basic_m_per_s, z0_m, z_min_m, coefficient, orography, air_kg_per_m3)
    )
    pressure = wind_profile(at, *(x[..., None] for x in (vb, z0, zmin, co, rho))).qp_pa
    load = line_force_n_per_m(pressure, d[..., None], cf[..., None])
    return clamp_forces(height_m, bottom_m, top_m, (load * _WEIGHTS).sum(-1), 12 * (load * _WEIGHTS * _POINTS).sum(-1))


def end_factor(spans: int, overhang: ArrayLike = 0.0) -> Array:
    """
    Largest clamp force over `w s` of a run of equal spans under an even load.

    Parameters
    ----------
    spans: between the clamps, 1 or more. overhang [1]: free end at both sides over the spacing, any shape.

    Returns
    -------
    Factor [1] for `side_spacing_m`: 1.25 for two spans, 1.10 for three, 1.13 to 1.14 for more, without free ends.

    Source: Clapeyron's theorem, textbook.

    >>> [float(end_factor(n).round(3)) for n in (1, 2, 3, 4, 5, 20)], float(end_factor(20, 0.3).round(3))
    ([0.5, 1.25, 1.1, 1.143, 1.132, 1.134], 1.062)
    """
    if not 1 <= spans <= 10_000:
        raise ValueError("the number of spans must lie between 1 and 10000")
    c = np.asarray(overhang, float)
    return np.asarray(reactions_n(np.ones(spans), 1.0, c, c).max(-1))
