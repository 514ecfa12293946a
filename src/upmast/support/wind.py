"""Wind on lines by EN 1991-1-4, where the basic speed is a ten-minute mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source
from upmast.table import read

__all__ = [
    "AIR_KG_PER_M3",
    "Terrain",
    "WindForce",
    "WindProfile",
    "force_coefficient",
    "line_force_n_per_m",
    "line_wind",
    "reynolds_number",
    "row_factor",
    "terrain",
    "terrains",
    "wind_profile",
]

Array = NDArray[np.float64]
AIR_KG_PER_M3 = 1.25
SUBCRITICAL = 1.2
_VISCOSITY_M2_PER_S = 15e-6
_SLICE_M = 2.0
_CRITICAL = 2e5


@dataclass(frozen=True, slots=True)
class Terrain:
    """A terrain category: roughness length z0 and the height z_min below which the profile is constant."""

    category: str
    z0_m: float
    z_min_m: float
    source: Source


@dataclass(frozen=True, slots=True, eq=False)
class WindProfile:
    """
    Wind at height z, all in the broadcast shape.

    kr: terrain factor [1]; cr: roughness factor [1]; vm_m_per_s: mean wind; iv: turbulence intensity [1]; qp_pa: peak
    velocity pressure.
    """

    kr: Array
    cr: Array
    vm_m_per_s: Array
    iv: Array
    qp_pa: Array


@dataclass(frozen=True, slots=True, eq=False)
class WindForce:
    """Force on a vertical line and its moment about height zero, in the broadcast shape."""

    force_n: Array
    moment_nm: Array


def terrains() -> tuple[str, ...]:
    """Names of the terrain categories."""
    return tuple(row["category"] for row in read("upmast.support", "terrain_en1991_1_4").rows)


def terrain(category: str) -> Terrain:
    """
    Roughness of a terrain category.

    Source: EN 1991-1-4, table 4.1.

    >>> terrain("II").z0_m, terrain("II").z_min_m
    (0.05, 2.0)
    """
    table = read("upmast.support", "terrain_en1991_1_4")
    for row in table.rows:
        if row["category"] == category:
            source = Source(table.source.document, table.source.clause, table.source.edition, Mark(row["mark"]))
            return Terrain(category, float(row["z0_m"]), float(row["z_min_m"]), source)
    raise ValueError(f"terrain {category!r} is not known; there are {', '.join(terrains())}")


def wind_profile(
    height_m: ArrayLike,
    basic_m_per_s: ArrayLike,
    z0_m: ArrayLike,
    z_min_m: ArrayLike,
    orography: ArrayLike = 1.0,
    air_kg_per_m3: ArrayLike = AIR_KG_PER_M3,
) -> WindProfile:
    """
    Mean wind, turbulence and peak velocity pressure at a height.

    `kr = 0.19 (z0 / 0.05)^0.07`, `cr = kr ln(z / z0)`, `vm = cr co vb`, `Iv = 1 / (co ln(z / z0))`,
    `qp = (1 + 7 Iv) rho vm^2 / 2`; z_min instead of z below it.

    Parameters
    ----------
    height_m [m]: z above ground, 0 to 200. basic_m_per_s [m/s]: vb, **ten-minute mean**, never a gust.
    z0_m, z_min_m [m]: see `terrain`. orography [1]: co. air_kg_per_m3 [kg/m3]: rho. All broadcast.

    Returns
    -------
    `WindProfile` in the broadcast shape.

    Valid to 200 m; national annexes may replace any of it. Source: EN 1991-1-4, clauses 4.3 to 4.5.

    >>> found = wind_profile(30.0, 26.0, 0.05, 2.0)
    >>> float(found.cr.round(4)), float(found.vm_m_per_s.round(2)), float(found.iv.round(4)), float(found.qp_pa.round(1))
    (1.2154, 31.6, 0.1563, 1307.1)
    """
    z, vb, z0, zmin, co, rho = np.broadcast_arrays(
        *(np.asarray(x, float) for x in (height_m, basic_m_per_s, z0_m, z_min_m, orography, air_kg_per_m3))
    )
    if np.any(z < 0) or np.any(vb < 0):
        raise ValueError("height and wind speed can't be negative")
    if np.any(z0 <= 0) or np.any(zmin <= z0) or np.any(co <= 0) or np.any(rho <= 0):
        raise ValueError("roughness, orography and density must be positive and z_min larger than z0")
    log = np.log(np.maximum(z, zmin) / z0)
    kr = 0.19 * (z0 / 0.05) ** 0.07
    cr = kr * log
    vm = cr * co * vb
    iv = 1 / (co * log)
    return WindProfile(kr, cr, vm, iv, np.asarray((1 + 7 * iv) * 0.5 * rho * vm**2))


def reynolds_number(qp_pa: ArrayLike, diameter_mm: ArrayLike, air_kg_per_m3: ArrayLike = AIR_KG_PER_M3) -> Array:
    """
    Reynolds number of a round line: `Re = sqrt(2 qp / rho) D / nu`, nu = 15e-6 m2/s.

    Parameters
    ----------
    qp_pa [Pa]: peak velocity pressure. diameter_mm [mm]: D. air_kg_per_m3 [kg/m3]: rho. All broadcast.

    Returns
    -------
    Number [1]. Source: EN 1991-1-4, clause 7.9.1.

    >>> float(reynolds_number(1307.1, 28.0).round(-2))
    85400.0
    """
    qp, d, rho = (np.asarray(x, float) for x in (qp_pa, diameter_mm, air_kg_per_m3))
    if np.any(qp < 0) or np.any(d <= 0) or np.any(rho <= 0):
        raise ValueError("pressure can't be negative, diameter and density must be positive")
    return np.asarray(np.sqrt(2 * qp / rho) * d * 1e-3 / _VISCOSITY_M2_PER_S)


def force_coefficient(reynolds: ArrayLike, roughness_ratio: ArrayLike | None = None) -> Array:
    """
    Force coefficient of a long round line without end effect.

    1.2 below Re = 2e5; above, `min(1.2, 1.2 + 0.18 lg(10 k/b) / (1 + 0.4 lg(Re / 1e6)))` where the roughness is known,
    else 1.2, the safe side.

    Parameters
    ----------
    reynolds [1]: Re. roughness_ratio [1]: k / b, surface roughness over diameter; None where not known. Broadcast.

    Returns
    -------
    Coefficient [1] in the broadcast shape.

    Valid to Re = 1e7. Source: EN 1991-1-4, clause 7.9.1 and figure 7.28 (from memory).

    >>> force_coefficient([8.5e4, 1e6], 1e-3).round(2)
    array([1.2 , 0.84])
    """
    re = np.asarray(reynolds, float)
    if np.any(re < 0):
        raise ValueError("a Reynolds number can't be negative")
    if roughness_ratio is None:
        return np.full(re.shape, SUBCRITICAL)
    ratio = np.asarray(roughness_ratio, float)
    if np.any(ratio <= 0) or np.any(ratio >= 1):
        raise ValueError("roughness over diameter must lie between 0 and 1")
    rough = SUBCRITICAL + 0.18 * np.log10(10 * ratio) / (1 + 0.4 * np.log10(np.maximum(re, _CRITICAL) / 1e6))
    return np.asarray(np.where(re < _CRITICAL, SUBCRITICAL, np.clip(rough, 0.4, SUBCRITICAL)))


def row_factor(spacing_ratio: ArrayLike) -> Array:
    """
    Factor on each of several equal lines in a row across the wind.

    `kappa = 1.15` for a/b < 3.5, `(210 - a/b) / 180` to 30, then 1.

    Parameters
    ----------
    spacing_ratio [1]: a / b, distance of the middles over the diameter, at least 1; any shape.

    Returns
    -------
    Factor [1]. Source: EN 1991-1-4, clause 7.9.3, table 7.14 (from memory).

    >>> row_factor([2.0, 12.0, 40.0])
    array([1.15, 1.1 , 1.  ])
    """
    ratio = np.asarray(spacing_ratio, float)
    if np.any(ratio < 1):
        raise ValueError("lines can't be closer than touching: a / b is at least 1")
    return np.asarray(np.where(ratio < 3.5, 1.15, np.where(ratio <= 30, (210 - ratio) / 180, 1.0)))


def line_force_n_per_m(
    qp_pa: ArrayLike, diameter_mm: ArrayLike, coefficient: ArrayLike = SUBCRITICAL, end_effect: ArrayLike = 1.0
) -> Array:
    """
    Wind force per metre of line: `f = qp cf D psi`.

    Parameters
    ----------
    qp_pa [Pa]. diameter_mm [mm]: D, iced if so; one side, not the circumference. coefficient [1]: cf.
    end_effect [1]: psi, 1 is the safe side. All broadcast.

    Returns
    -------
    Force [N/m]; c_s c_d = 1 is taken for the line alone. Source: EN 1991-1-4, clauses 5.3 and 7.9.

    >>> float(line_force_n_per_m(1307.1, 28.0).round(2))
    43.92
    """
    qp, d, cf, psi = (np.asarray(x, float) for x in (qp_pa, diameter_mm, coefficient, end_effect))
    if np.any(qp < 0) or np.any(d < 0) or np.any(cf < 0) or np.any(psi < 0):
        raise ValueError("pressure, diameter and coefficients can't be negative")
    return np.asarray(qp * cf * d * 1e-3 * psi)


def line_wind(
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
    Force and base moment of the wind on a vertical line: `F = sum f(z) dz`, `M = sum f(z) z dz`.

    Slices not longer than 2 m, each with the pressure of its middle.

    Parameters
    ----------
    bottom_m, top_m [m]: ends of the line above ground; the moment is about height zero.
    diameter_mm [mm], coefficient [1]: as `line_force_n_per_m`; the others as `wind_profile`. All broadcast.

    Returns
    -------
    Force [N] and moment [N m] in the broadcast shape.

    Valid to 200 m, bare line with c_s c_d = 1. Source: EN 1991-1-4, clause 5.3 (equation 5.4, summed).

    >>> found = line_wind(29.5, 30.5, 28.0, 26.0, 0.05, 2.0)  # one metre about z = 30 m, where f is 43.92 N/m
    >>> float(found.force_n.round(1)), float(found.moment_nm.round(-1))
    (43.9, 1320.0)
    """
    bottom, top, d, vb, z0, zmin, cf, co, rho = np.broadcast_arrays(
        *(
            np.asarray(x, float)
            for x in (
                bottom_m, top_m, diameter_mm, basic_m_per_s, z0_m, z_min_m, coefficient, orography, air_kg_per_m3,
            )
        )
    )  # fmt: skip
    if np.any(bottom < 0) or np.any(top < bottom) or np.any(top > 1000):
        raise ValueError("a line must go up from the ground or above, and not beyond 1000 m")
    slices = max(1, int(np.ceil(np.max(top - bottom, initial=0.0) / _SLICE_M)))
    part = (top - bottom) / slices
    z = bottom[..., None] + part[..., None] * (np.arange(slices) + 0.5)
    each = (vb[..., None], z0[..., None], zmin[..., None], co[..., None], rho[..., None])
    f = line_force_n_per_m(wind_profile(z, *each).qp_pa, d[..., None], cf[..., None])
    return WindForce(np.asarray(f.sum(-1) * part), np.asarray((f * z).sum(-1) * part))
