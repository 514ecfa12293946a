"""Strain of bent fibre, and the chance that it breaks over its life."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source

__all__ = ["LIFE_SOURCE", "bend_strain", "break_probability", "break_probability_bent"]

Array = NDArray[np.float64]
GLASS_RADIUS_MM = 0.0625
LIFE_SOURCE = Source("IEC TR 62048", clause="power law; default parameters", mark=Mark.MEMORY)
_PROOF_STRAIN, _PROOF_S, _STRESS_N, _WEIBULL_M, _BREAKS_PER_M = 0.01, 1.0, 20.0, 3.0, 1e-5
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)


def bend_strain(radius_mm: ArrayLike, glass_radius_mm: ArrayLike = GLASS_RADIUS_MM) -> Array:
    """
    Strain at the outside of a bent fibre: `e = r_f / (R + r_f)`.

    Parameters
    ----------
    radius_mm [mm]: R of the inside of the bend. glass_radius_mm [mm]: r_f, half of 125 um. Broadcast.

    Returns
    -------
    Strain [1]. Source: geometry.

    >>> float((100 * bend_strain(12.5)).round(4))
    0.4975
    """
    radius, glass = np.asarray(radius_mm, float), np.asarray(glass_radius_mm, float)
    if np.any(~(radius > 0)) or np.any(~(glass > 0)):
        raise ValueError("radii must be positive")
    return np.asarray(glass / (radius + glass))


def break_probability(
    strain: ArrayLike,
    length_m: ArrayLike,
    time_s: ArrayLike,
    proof_strain: ArrayLike = _PROOF_STRAIN,
    proof_s: ArrayLike = _PROOF_S,
    stress_n: ArrayLike = _STRESS_N,
    weibull_m: ArrayLike = _WEIBULL_M,
    breaks_per_m: ArrayLike = _BREAKS_PER_M,
) -> Array:
    """
    Chance that fibre which passed its proof test breaks under a constant strain over its whole section.

    `F = 1 - exp(-N_p L ([1 + (e / e_p)^n t / t_p]^(m / (n - 2)) - 1))`

    Parameters
    ----------
    strain [1]: e. length_m [m]: L under strain. time_s [s]: t. All broadcast with:
    proof_strain [1]: e_p, 1 %. proof_s [s]: t_p, 1 s. stress_n [1]: n, 20, lower for wet fibre. weibull_m [1]: m, 3.
    breaks_per_m [1/m]: N_p in the proof test, 1e-5. Defaults from memory, see `LIFE_SOURCE`.

    Returns
    -------
    Probability [1]; an estimate, not a specification. Source: IEC TR 62048, power law (from memory).

    >>> float(break_probability(bend_strain(12.5), 2.0, 20 * 365.25 * 86400).round(7))
    3.72e-05
    """
    e, length, t, ep, tp, n, m, breaks = (
        np.asarray(x, float)
        for x in (strain, length_m, time_s, proof_strain, proof_s, stress_n, weibull_m, breaks_per_m)
    )
    if any(np.any(~(x >= 0)) for x in (e, length, t, breaks)):
        raise ValueError("strain, length, time and breaks can't be negative")
    if any(np.any(~(x > 0)) for x in (ep, tp, m)) or np.any(~(n > 2)):
        raise ValueError("proof strain, proof time and m must be positive and n above 2")
    with np.errstate(over="ignore"):
        used = np.expm1(m / (n - 2) * np.log1p((e / ep) ** n * t / tp))
    return np.asarray(-np.expm1(-breaks * length * used))


def break_probability_bent(
    strain: ArrayLike,
    length_m: ArrayLike,
    time_s: ArrayLike,
    proof_strain: ArrayLike = _PROOF_STRAIN,
    proof_s: ArrayLike = _PROOF_S,
    stress_n: ArrayLike = _STRESS_N,
    weibull_m: ArrayLike = _WEIBULL_M,
    breaks_per_m: ArrayLike = _BREAKS_PER_M,
) -> Array:
    """
    The same for a bent fibre, whose surface is strained by `e cos(phi)` on the outer half and pressed on the inner.

    The exponent of `break_probability` is averaged over the circumference.

    Parameters
    ----------
    As `break_probability`, with e at the outside of the bend, see `bend_strain`.

    Returns
    -------
    Probability [1], smaller than with uniform strain, which is the safe side. Source: own derivation on IEC TR 62048.

    >>> float(break_probability_bent(bend_strain(12.5), 2.0, 20 * 365.25 * 86400).round(8))
    5.56e-06
    """
    e, *others = (
        np.asarray(x, float)[..., None]
        for x in (strain, length_m, time_s, proof_strain, proof_s, stress_n, weibull_m, breaks_per_m)
    )
    length, time, ep, tp, n, m, breaks = others
    cosine = np.cos(np.pi / 2 * _NODES)
    exponent = -np.log1p(-break_probability(e * cosine, length, time, ep, tp, n, m, breaks))
    return np.asarray(-np.expm1(-(exponent * _WEIGHTS).sum(-1) / 4))
