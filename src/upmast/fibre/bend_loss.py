"""
Bending loss of step-index fibre by Marcuse's formula: an estimate with its band of error, never a limit.

For fibre with a trench or holes in its cladding, all of G.657.B and most of G.657.A2, it does not hold; there the limits of the
class bound the loss, see `upmast.fibre.bend`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import Constant
from upmast.fibre.mode import bessel_k_scaled, fundamental_mode
from upmast.source import Mark, Source

__all__ = [
    "BAND", "LEAST_RADIUS_MM", "P11", "P12", "POISSON", "BendLoss", "bend_loss_db_per_m", "bend_turns_db", "elasto_optic_ratio",
    "is_step_index",
]  # fmt: skip

Array = NDArray[np.float64]
_SILICA = Source("data of silica", clause="photoelastic constants and Poisson's ratio", mark=Mark.MEMORY)
P11 = Constant("p_11", 0.121, "", _SILICA)
P12 = Constant("p_12", 0.270, "", _SILICA)
POISSON = Constant("nu", 0.17, "", _SILICA)
# against solutions of the bent mode by finite differences, 5 mm up, the formula is 14 to 71 % high: own derivation
BAND = (0.55, 1.0)
LEAST_RADIUS_MM = 5.0
_DB = 10 / np.log(10)


@dataclass(frozen=True, slots=True, eq=False)
class BendLoss:
    """
    Loss of a bend in dB, or in dB/m, with the band in which the true one lies before effects of the profile.

    covered: False below 5 mm, where the formula says nothing; the values are NaN there.
    """

    loss: Array
    low: Array
    high: Array
    covered: NDArray[np.bool_]


def is_step_index(fibre_class: str) -> bool:
    """
    Whether the formula may be used for a fibre of a class: only where the class is made with a plain step, G.652.D.

    >>> is_step_index("G.652.D"), is_step_index("G.657.A2")
    (True, False)
    """
    return fibre_class == "G.652.D"


def elasto_optic_ratio(
    index: ArrayLike, p11: ArrayLike = P11.value, p12: ArrayLike = P12.value, poisson: ArrayLike = POISSON.value
) -> Array:
    """
    Effective over geometric radius of a bent fibre, whose stress changes its index: `1 / (1 - (n^2 / 2) (p12 - nu (p11 + p12)))`.

    Parameters
    ----------
    index [1]: n of the glass. p11, p12, poisson [1]: of silica, from memory. Broadcast.

    Returns
    -------
    Ratio [1], about 1.27 for silica. Source: K. Nagano et al., Applied Optics 17 (1978), 2080, from memory.

    >>> round(float(elasto_optic_ratio(1.4440)), 3)
    1.269
    """
    n, a, b, nu = (np.asarray(x, float) for x in (index, p11, p12, poisson))
    share = n**2 / 2 * (b - nu * (a + b))
    if np.any(~(n >= 1)) or np.any(~(share < 1)) or np.any(~(share >= 0)):
        raise ValueError("the index is 1 at least, and the photoelastic constants are those of a glass")
    return np.asarray(1 / (1 - share))


def bend_loss_db_per_m(
    core_radius_um: ArrayLike,
    core_index: ArrayLike,
    clad_index: ArrayLike,
    wavelength_nm_wave: ArrayLike,
    radius_mm: ArrayLike,
    ratio: ArrayLike = 1.0,
    core_wave_number: bool = False,
) -> BendLoss:
    """
    Loss of a bent step-index fibre for each metre of it, after Marcuse.

    `2 alpha = sqrt(pi) kappa^2 exp(-2 gamma^3 R / (3 beta^2)) / (2 gamma^(3/2) V^2 sqrt(R) K1(gamma a)^2)`, `kappa = U / a`,
    `gamma = W / a`, in dB/m times 4.343.

    Parameters
    ----------
    core_radius_um [um]: a. core_index, clad_index [1]. wavelength_nm_wave [nm]. radius_mm [mm]: R of the bend.
    ratio [1]: effective over geometric radius, see `elasto_optic_ratio`; 1 leaves stress out, which gives more loss.
    core_wave_number: k n1 in the exponent instead of the mode's own beta, as some print it: more by 1.5 % at 5 mm
    and 19 % at 60 mm for standard fibre at 1550 nm. Broadcast.

    Returns
    -------
    `BendLoss` in dB/m; reckoned in logarithms, so that wide bends give a tiny number.

    Source: D. Marcuse, Curvature loss formula for optical fibers, J. Opt. Soc. Am. 66 (1976), 216.

    >>> bend_loss_db_per_m(4.0, 1.449373, 1.4440, 1550.0, [9.0, 14.0, 4.0]).loss.round(3)
    array([118.264,   3.02 ,     nan])
    """
    found = fundamental_mode(core_radius_um, core_index, clad_index, wavelength_nm_wave)
    a, n1, wave, geometric, stretch = (
        np.asarray(x, float) for x in (core_radius_um, core_index, wavelength_nm_wave, radius_mm, ratio)
    )
    if np.any(~(geometric > 0)) or np.any(~(stretch > 0)):
        raise ValueError("radii must be positive")
    a = a * 1e-6
    r = geometric * 1e-3 * stretch
    kappa, gamma = found.u / a, found.w / a
    beta = 2 * np.pi * n1 / (wave * 1e-9) if core_wave_number else found.beta_per_m
    # ln K1(W) = ln(e^W K1(W)) - W
    log_k1 = np.log(bessel_k_scaled(1, found.w)) - found.w
    log_alpha = (
        np.log(np.sqrt(np.pi) / 2) + 2 * np.log(kappa) - 2 * gamma**3 * r / (3 * beta**2)
        - 1.5 * np.log(gamma) - 2 * np.log(found.v) - 0.5 * np.log(r) - 2 * log_k1
    )  # fmt: skip
    return _banded(_DB * np.exp(log_alpha), geometric)


def _banded(loss: Array, radius_mm: Array) -> BendLoss:
    loss, radius = np.broadcast_arrays(loss, radius_mm)
    covered = np.asarray(radius >= LEAST_RADIUS_MM)
    known = np.where(covered, loss, np.nan)
    return BendLoss(known, np.asarray(BAND[0] * known), np.asarray(BAND[1] * known), covered)


def bend_turns_db(per_m: BendLoss, radius_mm: ArrayLike, turns: ArrayLike) -> BendLoss:
    """
    Loss of so many turns: `A = 2 pi R n x dB/m`, with the geometric radius in the length.

    Parameters
    ----------
    per_m: from `bend_loss_db_per_m` at the same radius. radius_mm [mm]: R, finite. turns [1]: n. Broadcast.

    Returns
    -------
    `BendLoss` in dB. Many short bends lose more, at each change of curvature: that is not in it. Source: geometry.

    >>> per_m = bend_loss_db_per_m(4.0, 1.449373, 1.4440, 1550.0, 14.0)
    >>> round(float(bend_turns_db(per_m, 14.0, 2.0).loss), 4)
    0.5313
    """
    radius, n = np.asarray(radius_mm, float), np.asarray(turns, float)
    if np.any(~((radius > 0) & np.isfinite(radius))) or np.any(~(n >= 0)):
        raise ValueError("the radius must be positive and finite, and turns can't be negative")
    length = 2 * np.pi * radius * 1e-3 * n
    return BendLoss(
        np.asarray(per_m.loss * length),
        np.asarray(per_m.low * length),
        np.asarray(per_m.high * length),
        np.asarray(np.broadcast_to(per_m.covered, np.broadcast_shapes(per_m.covered.shape, length.shape))),
    )
