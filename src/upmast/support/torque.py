"""Torque of a clamp's bolts between crush and slip, and how long it lasts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.support.clamp import (
    CREEP_FACTOR,
    FRICTION,
    NUT_FACTOR,
    SLIP_SAFETY,
    bolt_force_n,
    grip_force_n,
    largest_torque_nm,
    slip_spacing_m,
)

__all__ = ["NUT_SCATTER", "ClampTorque", "clamp_torque", "force_left", "retighten_days"]

Array = NDArray[np.float64]
NUT_SCATTER = 0.3  # of the nut factor, either way: common practice, no source
_DAYS_PER_YEAR = 365.25
_LONGEST_DECADES = 300.0  # keeps a creep of next to nothing from overflowing
_HALVINGS = 200


@dataclass(frozen=True, slots=True, eq=False)
class ClampTorque:
    """
    The torque that may be used and what it then holds, in the broadcast shape.

    torque_nm: the smaller of the wanted one and that allowed by crush. crush_nm: the one allowed by crush.
    grip_n: slip capacity at that torque. spacing_m: clamp spacing by slip that this gives.
    """

    torque_nm: Array
    crush_nm: Array
    grip_n: Array
    spacing_m: Array

    @property
    def limited(self) -> NDArray[np.bool_]:
        """Where crush cuts or just meets the wanted torque."""
        return np.asarray(self.torque_nm >= self.crush_nm)


def clamp_torque(
    wanted_nm: ArrayLike,
    crush_rating_n_per_100mm: ArrayLike,
    bolts: ArrayLike,
    width_mm: ArrayLike,
    bolt_mm: ArrayLike,
    mass_kg_per_m: ArrayLike,
    ice_kg_per_m: ArrayLike = 0.0,
    nut_factor: ArrayLike = NUT_FACTOR,
    scatter: ArrayLike = NUT_SCATTER,
    friction: ArrayLike = FRICTION,
    creep_factor: ArrayLike = CREEP_FACTOR,
    safety: ArrayLike = SLIP_SAFETY,
    sharing: ArrayLike = 1,
) -> ClampTorque:
    """
    Torque allowed by crush, and the slip capacity and spacing that it gives.

    Crush with the slippery end of the scatter, `tau <= F (b / 100 mm) p (1 - k) K d / n`; slip with its rough end,
    `F_c = 2 mu c n tau / ((1 + k) K d p)`; then `s = F_c / (gamma (m + m_ice) g)`.

    Parameters
    ----------
    wanted_nm [N m]: of the clamp's data sheet, infinite where it gives none. crush_rating_n_per_100mm [N per 100 mm]: F of the
    cable. bolts: n. width_mm [mm]: b along the cable. bolt_mm [mm]: d. mass_kg_per_m, ice_kg_per_m [kg/m]: of the cable.
    nut_factor [1]: K. scatter [1]: k, 0.3; 0 for the nominal bolt. friction, creep_factor, safety [1]: as `grip_force_n` and
    `slip_spacing_m`. sharing: p, cables side by side that share one bolt's force; those on top of each other each feel all.
    All broadcast.

    Returns
    -------
    `ClampTorque` in the broadcast shape. A tested slip rating at the torque used goes before grip_n.

    Source: `largest_torque_nm`, `grip_force_n`, `slip_spacing_m`; factors are common practice, no source.

    >>> found = clamp_torque(6.0, 2000.0, 1, 40.0, 8.0, 1.1)
    >>> float(found.torque_nm.round(3)), float(found.grip_n.round(0)), float(found.spacing_m.round(1)), bool(found.limited)
    (0.896, 151.0, 9.3, True)
    """
    wanted, share, spread = (np.asarray(x, float) for x in (wanted_nm, sharing, scatter))
    if np.any(~(wanted >= 0)) or np.any(~(share >= 1)) or np.any(~((spread >= 0) & (spread < 1))):
        raise ValueError(
            "torque can't be negative or missing, scatter must lie between 0 and 1, and sharing must be 1 or more"
        )
    rating, k = np.asarray(crush_rating_n_per_100mm, float), np.asarray(nut_factor, float)
    if np.any(np.isnan(rating)):
        raise ValueError("a crush rating can't be missing")
    crush = largest_torque_nm(rating * share, bolts, width_mm, bolt_mm, k * (1 - spread))
    torque = np.minimum(wanted, crush)
    if np.any(np.isinf(torque)):
        raise ValueError("torque must be limited by a data sheet or by crush")
    each = bolt_force_n(torque, bolt_mm, k * (1 + spread)) / share
    grip = grip_force_n(each, bolts, friction, creep_factor)
    spacing = slip_spacing_m(grip, mass_kg_per_m, ice_kg_per_m, safety)
    torque, crush, grip, spacing = np.broadcast_arrays(torque, crush, grip, spacing)
    return ClampTorque(torque, crush, grip, spacing)


def _rule(creep_per_decade: ArrayLike, vibration_per_year: ArrayLike) -> tuple[Array, Array]:
    creep, vibration = np.asarray(creep_per_decade, float), np.asarray(vibration_per_year, float)
    if np.any(~(creep >= 0)) or np.any(~(vibration >= 0)):
        raise ValueError("losses can't be negative or missing")
    return creep, vibration


def force_left(days: ArrayLike, creep_per_decade: ArrayLike, vibration_per_year: ArrayLike) -> Array:
    """
    Share of the clamping force that is left: `1 - p lg(1 + t / 1 d) - v t`, at least 0. A declared rule, not a law.

    Parameters
    ----------
    days [d]: t since the bolts were tightened. creep_per_decade [1]: p, lost in each tenfold of time as the sheath flows.
    vibration_per_year [1]: v, lost each year as bolts work loose. Both by test or experience of the owner. All broadcast.

    Returns
    -------
    Share [1], to stand in for the creep factor of `grip_force_n`. Source: declared by the owner; the form is common practice.

    >>> force_left([0.0, 9.0, 99.0], 0.1, 0.0)
    array([1. , 0.9, 0.8])
    """
    t = np.asarray(days, float)
    if np.any(~(t >= 0)) or np.any(np.isinf(t)):
        raise ValueError("time can't be negative or missing")
    creep, vibration = _rule(creep_per_decade, vibration_per_year)
    return np.asarray(np.maximum(1 - creep * np.log10(1 + t) - vibration * t / _DAYS_PER_YEAR, 0.0))


def retighten_days(least_left: ArrayLike, creep_per_decade: ArrayLike, vibration_per_year: ArrayLike) -> Array:
    """
    Time until so much of the clamping force is lost that the bolts are to be tightened again: `force_left` = least_left.

    Parameters
    ----------
    least_left [1]: share that the spacing was computed with, above 0 and to 1. creep_per_decade, vibration_per_year [1]: as
    `force_left`. All broadcast.

    Returns
    -------
    Days, infinite where nothing is lost. After tightening, the same time runs anew (the safe side: creep slows down).

    Source: inverse of `force_left`, by halving.

    >>> retighten_days(0.8, [0.1, 0.0, 0.1], [0.0, 0.05, 0.05]).round(0)
    array([  99., 1461.,   77.])
    """
    least = np.asarray(least_left, float)
    if np.any(~((least > 0) & (least <= 1))):
        raise ValueError("the share left must lie above 0 and not above 1")
    least, creep, vibration = np.broadcast_arrays(least, *_rule(creep_per_decade, vibration_per_year))
    loss = 1 - least
    decades = np.divide(loss, creep, out=np.full(loss.shape, np.inf), where=creep > 0)
    by_creep = np.where(decades < _LONGEST_DECADES, 10 ** np.minimum(decades, _LONGEST_DECADES) - 1, np.inf)
    years = np.divide(loss, vibration, out=np.full(loss.shape, np.inf), where=vibration > 0)
    high = np.minimum(by_creep, years * _DAYS_PER_YEAR)  # each alone takes longer than both
    endless = np.isinf(high)
    low, high = np.zeros(loss.shape), np.where(endless, 0.0, high)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        enough = creep * np.log10(1 + middle) + vibration * middle / _DAYS_PER_YEAR < loss
        low, high = np.where(enough, middle, low), np.where(enough, high, middle)
    return np.asarray(np.where(endless, np.inf, high))
