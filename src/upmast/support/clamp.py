"""Clamps of a vertical cable: what a bolt gives, how far apart they may sit, what crushes the sheath."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.source import Mark, Source

__all__ = [
    "CLAMP_SOURCE",
    "CREEP_FACTOR",
    "END_FACTOR",
    "FRICTION",
    "GOVERNING",
    "NUT_FACTOR",
    "SLIP_SAFETY",
    "ClampSpacing",
    "bolt_force_n",
    "clamp_count",
    "clamp_spacing",
    "crush_n_per_100mm",
    "crush_pressure_pa",
    "grip_force_n",
    "largest_torque_nm",
    "side_spacing_m",
    "slip_spacing_m",
]

Array = NDArray[np.float64]
_G = STANDARD_GRAVITY_M_PER_S2.value
NUT_FACTOR = 0.2  # dry; scatters by 30 %
FRICTION = 0.25  # polyethylene on rubber or steel
CREEP_FACTOR = 0.7  # the sheath relaxes
SLIP_SAFETY = 1.5
END_FACTOR = 1.15  # the clamp next to a free end carries more than its own spacing
CLAMP_SOURCE = Source("common practice, no source", clause="nut factor, friction, creep, safety", mark=Mark.PRACTICE)
GOVERNING = ("slip", "side", "rule")


def _positive(**values: Array) -> None:
    for name, value in values.items():
        if np.any(~(value > 0)):
            raise ValueError(f"{name} must be positive")


def bolt_force_n(torque_nm: ArrayLike, bolt_mm: ArrayLike, nut_factor: ArrayLike = NUT_FACTOR) -> Array:
    """
    Force of one bolt by its torque: `N = tau / (K d)`.

    Parameters
    ----------
    torque_nm [N m]: tau. bolt_mm [mm]: d, nominal. nut_factor [1]: K, 0.2 dry, scatters by 30 %. All broadcast.

    Returns
    -------
    Force [N]. Source: textbook short form of the torque equation; K is common practice, no source.

    >>> float(bolt_force_n(6.0, 8.0))
    3750.0
    """
    torque, d, k = (np.asarray(x, float) for x in (torque_nm, bolt_mm, nut_factor))
    _positive(diameter=d, nut_factor=k)
    if np.any(torque < 0):
        raise ValueError("torque can't be negative")
    return np.asarray(torque / (k * d * 1e-3))


def grip_force_n(
    bolt_n: ArrayLike, bolts: ArrayLike = 1, friction: ArrayLike = FRICTION, creep_factor: ArrayLike = CREEP_FACTOR
) -> Array:
    """
    Force along the cable that a clamp holds by friction: `F_c = 2 mu N n c`.

    Parameters
    ----------
    bolt_n [N]: N of one bolt. bolts: n. friction [1]: mu. creep_factor [1]: c, what is left of N. All broadcast.

    Returns
    -------
    Force [N]; a tested slip rating goes before it. Source: Coulomb friction on two sides; mu and c are practice.

    >>> float(grip_force_n(3750.0))
    1312.5
    """
    n, bolt_count, mu, c = (np.asarray(x, float) for x in (bolt_n, bolts, friction, creep_factor))
    if np.any(n < 0) or np.any(bolt_count < 0) or np.any(mu < 0) or np.any((c < 0) | (c > 1)):
        raise ValueError("force, bolts and friction can't be negative, and creep must lie between 0 and 1")
    return np.asarray(2 * mu * n * bolt_count * c)


def slip_spacing_m(
    grip_n: ArrayLike, mass_kg_per_m: ArrayLike, ice_kg_per_m: ArrayLike = 0.0, safety: ArrayLike = SLIP_SAFETY
) -> Array:
    """
    Largest clamp spacing by slip: `s = F_c / (gamma (m + m_ice) g)`.

    Parameters
    ----------
    grip_n [N]: F_c or the tested slip rating. mass_kg_per_m, ice_kg_per_m [kg/m]: of cable and ice. safety [1]: gamma.

    Returns
    -------
    Spacing [m] in the broadcast shape. Source: statics; gamma is common practice, no source.

    >>> float(slip_spacing_m(1312.5, 1.1, 2.714).round(2))
    23.39
    """
    f, m, ice, gamma = (np.asarray(x, float) for x in (grip_n, mass_kg_per_m, ice_kg_per_m, safety))
    _positive(mass=m)
    if np.any(f < 0) or np.any(ice < 0) or np.any(gamma < 1):
        raise ValueError("grip and ice can't be negative and the safety factor can't be below 1")
    return np.asarray(f / (gamma * (m + ice) * _G))


def side_spacing_m(lateral_n: ArrayLike, line_n_per_m: ArrayLike, end_factor: ArrayLike = END_FACTOR) -> Array:
    """
    Largest clamp spacing by side load: `s = F_lat / (k w)`.

    Parameters
    ----------
    lateral_n [N]: F_lat, side rating of one clamp. line_n_per_m [N/m]: w, wind on the cable.
    end_factor [1]: k, 1.15 for the clamp next to a free end, see `upmast.support.reactions_n` for the real one.

    Returns
    -------
    Spacing [m] in the broadcast shape; infinite without wind. Source: statics of a continuous beam.

    >>> float(side_spacing_m(300.0, 50.0).round(2))
    5.22
    """
    f, w, k = (np.asarray(x, float) for x in (lateral_n, line_n_per_m, end_factor))
    _positive(end_factor=k)
    if np.any(f < 0) or np.any(w < 0):
        raise ValueError("rating and wind can't be negative")
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(w > 0, f / (k * w), np.inf))


@dataclass(frozen=True, slots=True, eq=False)
class ClampSpacing:
    """
    The spacing that governs, and why.

    spacing_m: the smallest. governing: its index into `GOVERNING` ('slip', 'side', 'rule'). Both in the broadcast shape.
    """

    spacing_m: Array
    governing: NDArray[np.int64]

    @property
    def names(self) -> NDArray[np.str_]:
        """`governing` in words."""
        return np.asarray(np.array(GOVERNING)[self.governing])


def clamp_spacing(slip_m: ArrayLike, side_m: ArrayLike, rule_m: ArrayLike) -> ClampSpacing:
    """
    The smallest of three spacings and which it is; on a tie the first of slip, side, rule.

    Parameters
    ----------
    slip_m, side_m [m]: from `slip_spacing_m` and `side_spacing_m`. rule_m [m]: largest by data sheet or practice.

    Returns
    -------
    Spacing [m] and what governs, in the broadcast shape. Source: statics.

    >>> found = clamp_spacing(23.39, [5.22, 0.8], 1.0)
    >>> found.spacing_m, [str(name) for name in found.names]
    (array([1. , 0.8]), ['rule', 'side'])
    """
    three = np.stack(np.broadcast_arrays(*(np.asarray(x, float) for x in (slip_m, side_m, rule_m))))
    if np.any(np.isnan(three)) or np.any(three < 0):
        raise ValueError("spacings can't be negative or missing")
    return ClampSpacing(three.min(0), np.asarray(three.argmin(0), np.int64))


def clamp_count(length_m: ArrayLike, spacing_m: ArrayLike) -> NDArray[np.int64]:
    """
    Clamps on a length with one at each end: `ceil(L / s) + 1`, at least two on any length.

    Parameters
    ----------
    length_m [m]: L. spacing_m [m]: s, positive. Broadcast.

    Returns
    -------
    Count. Source: geometry.

    >>> clamp_count([10.0, 10.1], 1.0)
    array([11, 12])
    """
    length, spacing = np.asarray(length_m, float), np.asarray(spacing_m, float)
    _positive(spacing=spacing)
    if np.any(~(length >= 0)) or np.any(np.isinf(length)):
        raise ValueError("length can't be negative or missing")
    spans = np.maximum(np.ceil(length / spacing - 1e-9), length > 0)
    return np.asarray(spans + 1, np.int64)


def crush_n_per_100mm(bolt_n: ArrayLike, bolts: ArrayLike, width_mm: ArrayLike) -> Array:
    """
    Crush load on the cable: `N n / (b / 100 mm)`.

    Parameters
    ----------
    bolt_n [N]: N of one bolt. bolts: n. width_mm [mm]: b, of the clamp along the cable. All broadcast.

    Returns
    -------
    Load in newton per 100 mm of cable, as ratings are given. Source: IEC 60794-1-21, method E3 (unit only).

    >>> float(crush_n_per_100mm(3750.0, 1, 40.0))
    9375.0
    """
    n, bolt_count, b = (np.asarray(x, float) for x in (bolt_n, bolts, width_mm))
    _positive(width=b)
    if np.any(n < 0) or np.any(bolt_count < 0):
        raise ValueError("force and bolts can't be negative")
    return np.asarray(n * bolt_count * 100 / b)


def crush_pressure_pa(bolt_n: ArrayLike, bolts: ArrayLike, width_mm: ArrayLike, diameter_mm: ArrayLike) -> Array:
    """
    Mean pressure of a clamp on the cable: `N n / (D b)`.

    Parameters
    ----------
    bolt_n [N], bolts, width_mm [mm]: as `crush_n_per_100mm`. diameter_mm [mm]: D of the cable. All broadcast.

    Returns
    -------
    Pressure [Pa]. Source: statics.

    >>> float(crush_pressure_pa(3750.0, 1, 40.0, 28.0).round(-3))
    3348000.0
    """
    d = np.asarray(diameter_mm, float)
    _positive(diameter=d)
    return np.asarray(crush_n_per_100mm(bolt_n, bolts, width_mm) * 10 / (d * 1e-3))


def largest_torque_nm(
    crush_rating_n_per_100mm: ArrayLike,
    bolts: ArrayLike,
    width_mm: ArrayLike,
    bolt_mm: ArrayLike,
    nut_factor: ArrayLike = NUT_FACTOR,
) -> Array:
    """
    Torque at which a clamp just reaches the crush rating: `tau = F_crush (b / 100 mm) K d / n`.

    Parameters
    ----------
    crush_rating_n_per_100mm [N per 100 mm]: of the cable. bolts: n. width_mm [mm]: b. bolt_mm [mm]: d. nut_factor [1]: K.

    Returns
    -------
    Torque [N m] of each bolt, in the broadcast shape. Source: inverse of `crush_n_per_100mm` and `bolt_force_n`.

    >>> float(largest_torque_nm(2000.0, 1, 40.0, 8.0).round(2))
    1.28
    """
    rating, n, b, d, k = (
        np.asarray(x, float) for x in (crush_rating_n_per_100mm, bolts, width_mm, bolt_mm, nut_factor)
    )
    _positive(bolts=n, width=b, diameter=d, nut_factor=k)
    if np.any(rating < 0):
        raise ValueError("a rating can't be negative")
    return np.asarray(rating * b / 100 * k * d * 1e-3 / n)
