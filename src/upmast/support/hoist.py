"""Hoisting a cable up a mast: the tension at the top, and the grips that carry it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.source import PRACTICE, Mark, Source

__all__ = [
    "GRIP_RULE_M",
    "GRIP_RULE_SOURCE",
    "HOIST_FACTOR",
    "HOIST_FACTOR_SOURCE",
    "grip_count",
    "grip_load_n",
    "grip_positions_m",
    "grip_spacing_m",
    "top_tension_n",
]

Array = NDArray[np.float64]
_G = STANDARD_GRAVITY_M_PER_S2.value
_SLACK = 1e-9  # 120.0000000001 m at 60 m are still two grips
GRIP_RULE_M = 60.0
GRIP_RULE_SOURCE = PRACTICE
HOIST_FACTOR = 1.3
HOIST_FACTOR_SOURCE = Source("common practice, no source", clause="jerk while hoisting", mark=Mark.PRACTICE)


def _positive(**values: Array) -> None:
    for name, value in values.items():
        if np.any(~(value > 0)):
            raise ValueError(f"{name} must be positive")


def top_tension_n(mass_kg_per_m: ArrayLike, length_m: ArrayLike, dynamic_factor: ArrayLike = HOIST_FACTOR) -> Array:
    """
    Tension at the top of a hanging cable that is hoisted by one point: `T = m g L k_dyn`.

    Parameters
    ----------
    mass_kg_per_m [kg/m]: m, the bare cable. length_m [m]: L hanging free, not the whole cable on the reel.
    dynamic_factor [1]: k_dyn for jerks, at least 1. All broadcast.

    Returns
    -------
    Tension [N]. Source: statics; k_dyn is common practice, no source.

    >>> float(top_tension_n(1.1, 50.0).round(1))
    701.2
    """
    m, length, k = (np.asarray(x, float) for x in (mass_kg_per_m, length_m, dynamic_factor))
    if np.any(m < 0) or np.any(length < 0) or np.any(k < 1):
        raise ValueError("mass and length can't be negative and the dynamic factor can't be below 1")
    return np.asarray(m * _G * length * k)


def grip_spacing_m(
    mass_kg_per_m: ArrayLike,
    grip_rating_n: ArrayLike,
    dynamic_factor: ArrayLike = HOIST_FACTOR,
    rule_m: ArrayLike = GRIP_RULE_M,
) -> Array:
    """
    Largest spacing of hoisting grips: `s = min(s_rule, F_grip / (m g k_dyn))`.

    Parameters
    ----------
    mass_kg_per_m [kg/m]: m, with ice if it stays hanging on them. grip_rating_n [N]: F_grip, working load of one grip.
    dynamic_factor [1]: k_dyn. rule_m [m]: s_rule, 60 m by practice. All broadcast.

    Returns
    -------
    Spacing [m]. Source: statics; the rule is common practice, no source.

    >>> grip_spacing_m(1.1, [500.0, 5000.0]).round(2)
    array([35.65, 60.  ])
    """
    m, rating, k, rule = (np.asarray(x, float) for x in (mass_kg_per_m, grip_rating_n, dynamic_factor, rule_m))
    _positive(mass=m, rating=rating, rule=rule)
    if np.any(k < 1):
        raise ValueError("the dynamic factor can't be below 1")
    return np.asarray(np.minimum(rule, rating / (m * _G * k)))


def grip_count(length_m: ArrayLike, spacing_m: ArrayLike) -> NDArray[np.int64]:
    """
    Number of grips on a vertical length: `n = ceil(L / s)`, at least one.

    Parameters
    ----------
    length_m [m]: L. spacing_m [m]: s, from `grip_spacing_m`. Broadcast.

    Returns
    -------
    Count. Source: geometry.

    >>> grip_count([30.0, 60.0, 61.0], 60.0)
    array([1, 1, 2])
    """
    length, spacing = np.asarray(length_m, float), np.asarray(spacing_m, float)
    _positive(spacing=spacing)
    if np.any(~(length >= 0)) or np.any(np.isinf(length)):
        raise ValueError("length can't be negative or missing")
    return np.asarray(np.maximum(1, np.ceil(length / spacing - _SLACK)), np.int64)


def grip_load_n(
    mass_kg_per_m: ArrayLike, length_m: ArrayLike, count: ArrayLike, dynamic_factor: ArrayLike = HOIST_FACTOR
) -> Array:
    """
    Load of each of n equally spaced grips: `m g (L / n) k_dyn`.

    Parameters
    ----------
    mass_kg_per_m [kg/m], length_m [m], count, dynamic_factor [1]: as above, broadcast.

    Returns
    -------
    Load [N] of one grip, if each carries the cable from itself to the next below. Source: statics.

    >>> float(grip_load_n(1.1, 50.0, 2).round(1))
    350.6
    """
    n = np.asarray(count, float)
    _positive(count=n)
    return np.asarray(top_tension_n(mass_kg_per_m, length_m, dynamic_factor) / n)


def grip_positions_m(length_m: float, count: int) -> Array:
    """
    Where the grips sit, from the top down: `i L / n`, the first at the top.

    Parameters
    ----------
    length_m [m]: L, scalar. count: n, at least 1.

    Returns
    -------
    Distances below the top [m], shape (n,). Source: geometry; each grip then carries L / n.

    >>> grip_positions_m(90.0, 3)
    array([ 0., 30., 60.])
    """
    if not (math.isfinite(length_m) and length_m >= 0):
        raise ValueError("length can't be negative")
    if not 1 <= count <= 10_000:
        raise ValueError("the number of grips must lie between 1 and 10000")
    return np.asarray(np.arange(count) * (length_m / count), np.float64)
