"""Wind on lines in the form of ANSI/TIA-222, where the basic speed is a three-second gust."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Source
from upmast.table import read

__all__ = ["exposure_factor", "exposure_source", "gust_line_force_n_per_m", "gust_pressure_pa", "round_coefficient"]

Array = NDArray[np.float64]
Exposure = Literal["B", "C", "D"]
_LOWEST_M = 4.6


def exposure_source() -> Source:
    """Where the exposure categories come from."""
    return read("upmast.support", "exposure_tia222").source


def exposure_factor(height_m: ArrayLike, exposure: Exposure) -> Array:
    """
    Velocity pressure coefficient: `Kz = 2.01 (z / zg)^(2 / alpha)`, at least Kz,min and at most 2.01.

    Parameters
    ----------
    height_m [m]: z above ground, 4.6 m instead below it; any shape. exposure: 'B', 'C' or 'D'.

    Returns
    -------
    Factor [1]. Source: ANSI/TIA-222-G, clause 2.6.5 (from memory; alpha and zg confirmed).

    >>> float(exposure_factor(25.0, "B").round(3))
    0.934
    """
    z = np.asarray(height_m, float)
    if np.any(z < 0):
        raise ValueError("height can't be negative")
    rows = {row["exposure"]: row for row in read("upmast.support", "exposure_tia222").rows}
    if exposure not in rows:
        raise ValueError(f"exposure {exposure!r} is not known; there are {', '.join(rows)}")
    alpha, zg, least = (float(rows[exposure][key]) for key in ("alpha", "zg_m", "kz_min"))
    return np.asarray(np.clip(2.01 * (np.maximum(z, _LOWEST_M) / zg) ** (2 / alpha), least, 2.01))


def gust_pressure_pa(
    gust_m_per_s: ArrayLike,
    kz: ArrayLike,
    directionality: ArrayLike,
    topographic: ArrayLike = 1.0,
    importance: ArrayLike = 1.0,
    other: ArrayLike = 1.0,
) -> Array:
    """
    Velocity pressure: `qz = 0.613 Kz Kzt Kd V^2 I`, times Ks Ke in edition H.

    Parameters
    ----------
    gust_m_per_s [m/s]: V, **three-second gust**, never a ten-minute mean. kz [1]: see `exposure_factor`.
    directionality [1]: Kd, 0.85 on lattice, 0.95 on tubular masts. topographic [1]: Kzt.
    importance [1]: I of edition G, 1 in edition H. other [1]: Ks Ke of edition H, 1 in edition G. All broadcast.

    Returns
    -------
    Pressure [Pa]. Source: ANSI/TIA-222-G, clause 2.6.9.6, and H (from memory).

    >>> float(gust_pressure_pa(44.7, 0.93377, 0.85).round(1))
    972.2
    """
    v, *factors = (np.asarray(x, float) for x in (gust_m_per_s, kz, directionality, topographic, importance, other))
    if np.any(v < 0) or any(np.any(factor < 0) for factor in factors):
        raise ValueError("speed and factors can't be negative")
    a, b, c, d, e = factors
    return np.asarray(0.613 * a * b * c * d * e * v**2)


def round_coefficient(
    gust_m_per_s: ArrayLike,
    diameter_mm: ArrayLike,
    kz: ArrayLike,
    topographic: ArrayLike = 1.0,
    importance: ArrayLike = 1.0,
) -> Array:
    """
    Force coefficient of a long round line (aspect ratio of 25 and above).

    `C = sqrt(I Kzt Kz) V D`; 1.2 to C = 4.4 m2/s, `5.23 / C` to 8.7, then 0.6.

    Parameters
    ----------
    gust_m_per_s [m/s]: V. diameter_mm [mm]: D. kz, topographic, importance [1]. All broadcast.

    Returns
    -------
    Coefficient Ca [1]. Source: ANSI/TIA-222-G, table 2-8 (from memory).

    >>> round_coefficient(44.7, [28.0, 110.0], 0.93377).round(3)
    array([1.2  , 1.101])
    """
    v, d, k, kzt, i = (np.asarray(x, float) for x in (gust_m_per_s, diameter_mm, kz, topographic, importance))
    if np.any(d <= 0) or np.any(v < 0) or np.any(k < 0) or np.any(kzt < 0) or np.any(i < 0):
        raise ValueError("the diameter must be positive, speed and factors can't be negative")
    c = np.sqrt(i * kzt * k) * v * d * 1e-3
    return np.asarray(np.where(c <= 4.4, 1.2, np.where(c <= 8.7, 5.23 / np.maximum(c, 1e-9), 0.6)))


def gust_line_force_n_per_m(
    qz_pa: ArrayLike, diameter_mm: ArrayLike, coefficient: ArrayLike, gust_effect: ArrayLike
) -> Array:
    """
    Wind force per metre of line: `f = qz Gh Ca D`.

    Parameters
    ----------
    qz_pa [Pa]. diameter_mm [mm]: D. coefficient [1]: Ca. gust_effect [1]: Gh, 0.85 on lattice masts up to 137 m, 1.10 on
    poles. All broadcast.

    Returns
    -------
    Force [N/m]. Source: ANSI/TIA-222-G, clause 2.6.9 (from memory).

    >>> float(gust_line_force_n_per_m(972.2, 28.0, 1.2, 0.85).round(2))
    27.77
    """
    q, d, ca, gh = (np.asarray(x, float) for x in (qz_pa, diameter_mm, coefficient, gust_effect))
    if np.any(q < 0) or np.any(d < 0) or np.any(ca < 0) or np.any(gh < 0):
        raise ValueError("pressure, diameter and factors can't be negative")
    return np.asarray(q * gh * ca * d * 1e-3)
