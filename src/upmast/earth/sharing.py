"""How a stroke divides among parallel conductors: legs of a mast, shields of cables, bare conductors beside them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.earth.relax import relax, stroke_instants_s
from upmast.earth.shield import partial_inductance_h
from upmast.earth.surge import Wave, surge_a, surge_slope_a_per_s
from upmast.source import Mark, Source

__all__ = [
    "LEG_BAND",
    "LEG_BAND_SOURCE",
    "Transient",
    "equivalent_radius_m",
    "front_share",
    "inductance_matrix_h",
    "leg_band_ohm",
    "quick_share",
    "safe_share",
    "tail_share",
    "transient_share",
    "transient_shield_v",
]

Array = NDArray[np.float64]
LEG_BAND = (1.0, 2.0, 3.0, 5.0, 10.0)
LEG_BAND_SOURCE = Source(
    "common practice, no source",
    clause="skin effect raises the resistance of steel legs 3 to 10 times",
    mark=Mark.MEMORY,
)


@dataclass(frozen=True, slots=True, eq=False)
class Transient:
    """
    Currents of n conductors while a stroke passes: time [s] of shape (t,), current [A] and slope [A/s] of shape (..., n, t).
    """

    time_s: Array
    current_a: Array
    slope_a_per_s: Array

    @property
    def peak_a(self) -> Array:
        """Largest current of each conductor [A], without sign, shape (..., n)."""
        return np.asarray(np.abs(self.current_a).max(axis=-1))

    @property
    def peak_s(self) -> Array:
        """When each is largest [s], shape (..., n)."""
        return np.asarray(self.time_s[np.abs(self.current_a).argmax(axis=-1)])

    @property
    def greatest_slope_a_per_s(self) -> Array:
        """Steepest rise or fall of each [A/s], without sign, shape (..., n)."""
        return np.asarray(np.abs(self.slope_a_per_s).max(axis=-1))


def equivalent_radius_m(perimeter_m: ArrayLike) -> Array:
    """
    Radius of the round conductor that stands for a profile: `r = p / (2 pi)`.

    Parameters
    ----------
    perimeter_m [m]: outline of the profile, any shape; for an angle four times its leg width, about.

    Returns
    -------
    Radius [m]. An approximation for profiles that are not round. Source: common practice, no source.

    >>> float(equivalent_radius_m(0.28).round(4))
    0.0446
    """
    p = np.asarray(perimeter_m, float)
    if not np.all((p > 0) & (p < np.inf)):
        raise ValueError("perimeter must be positive")
    return np.asarray(p / (2 * math.pi))


def inductance_matrix_h(positions_m: ArrayLike, radius_m: ArrayLike, length_m: ArrayLike) -> Array:
    """
    Partial inductances of parallel conductors of one length, by `partial_inductance_h`.

    Parameters
    ----------
    positions_m [m]: in plan, shape (..., n, 2). radius_m [m]: own or equivalent radius of each, shape (..., n).
    length_m [m]: of all, shape (...).

    Returns
    -------
    Inductance [H], shape (..., n, n), symmetric. Thin conductors far shorter waves than the length are not seen.

    Source: Neumann's integral; own derivation.

    >>> (1e6 * inductance_matrix_h([[0.0, 0.0], [1.0, 0.0]], [0.04, 0.015], 30.0)).round(1)
    array([[37.9, 18.8],
           [18.8, 43.8]])
    """
    place, radius, length = (np.asarray(x, float) for x in (positions_m, radius_m, length_m))
    if place.ndim < 2 or place.shape[-1] != 2 or not np.all(np.isfinite(place)):
        raise ValueError("positions must be finite and of shape (n, 2): one x and y for each conductor")
    n = place.shape[-2]
    if radius.ndim and radius.shape[-1] not in (1, n):
        raise ValueError(f"{radius.shape[-1]} radii for {n} conductors")
    if not np.all((radius > 0) & (radius < np.inf)) or not np.all((length > 0) & (length < np.inf)):
        raise ValueError("radii and length must be positive")
    gap = place[..., :, None, :] - place[..., None, :, :]
    apart = np.hypot(gap[..., 0], gap[..., 1])
    own = np.broadcast_to(radius, np.broadcast_shapes(radius.shape, place.shape[:-1]))
    reach = np.maximum(own[..., :, None], own[..., None, :])
    same = np.eye(n, dtype=bool)
    if np.any(~same & (apart < reach)):
        raise ValueError("two conductors stand in one place: their axes are closer than the radius of one of them")
    return partial_inductance_h(length[..., None, None], np.where(same, reach, apart))


def _matrix(inductance_h: ArrayLike) -> Array:
    matrix = np.asarray(inductance_h, float)
    if matrix.ndim < 2 or matrix.shape[-1] != matrix.shape[-2] or matrix.shape[-1] == 0:
        raise ValueError("inductances must be a square matrix, one row for each conductor")
    if not np.all(np.isfinite(matrix)) or not np.allclose(matrix, np.swapaxes(matrix, -1, -2), rtol=1e-9, atol=0.0):
        raise ValueError("inductances must be finite, and mutual ones the same both ways")
    return matrix


def _resistances(resistance_ohm: ArrayLike, least: float = 0.0) -> Array:
    r = np.asarray(resistance_ohm, float)
    if r.ndim == 0 or not np.all((r > 0) & (r < np.inf)):
        raise ValueError("resistances must be positive, one for each conductor")
    return r


def front_share(inductance_h: ArrayLike) -> Array:
    """
    Share of each conductor on the front of the wave, where inductance divides: solve `L x = 1`, share `x / sum(x)`.

    Parameters
    ----------
    inductance_h [H]: of `inductance_matrix_h`, shape (..., n, n). Its scale does not matter.

    Returns
    -------
    Share [-], shape (..., n), sum 1. A conductor in the shadow of others can carry a small negative share.

    Source: own derivation (one voltage along all); the idea is that of ITU-T K.56 and K.97, whose factors are not used.

    >>> at = [[0.0, 0.0], [1.0, 0.0], [0.5, 3**0.5 / 2], [0.5, 3**0.5 / 6]]  # three legs and a cable on the axis
    >>> front_share(inductance_matrix_h(at, [0.04, 0.04, 0.04, 0.015], 30.0)).round(4)
    array([0.2911, 0.2911, 0.2911, 0.1267])
    """
    matrix = _matrix(inductance_h)
    try:
        x = np.linalg.solve(matrix, np.ones((*matrix.shape[:-1], 1)))[..., 0]
    except np.linalg.LinAlgError:
        raise ValueError("inductances do not tell the conductors apart: two stand in one place") from None
    return np.asarray(x / x.sum(axis=-1, keepdims=True))


def tail_share(resistance_ohm: ArrayLike) -> Array:
    """
    Share of each of parallel conductors where resistance divides: `(1 / R_k) / sum(1 / R)`. Also for direct current.

    Parameters
    ----------
    resistance_ohm [ohm]: R of each over one length, or per metre, shape (..., n).

    Returns
    -------
    Share [-], shape (..., n), sum 1. Source: Ohm's law.

    >>> 60 * tail_share([0.020, 0.060, 0.015])  # 60 A
    array([22.5,  7.5, 30. ])
    """
    g = 1 / _resistances(resistance_ohm)
    return np.asarray(g / g.sum(axis=-1, keepdims=True))


def leg_band_ohm(resistance_ohm: ArrayLike, leg: ArrayLike, factors: ArrayLike = LEG_BAND) -> Array:
    """
    Resistances for a band of skin effect: those of the legs times each factor, all others as they are.

    Parameters
    ----------
    resistance_ohm [ohm]: with direct current, shape (..., n). leg: true for the steel legs, shape (n,).
    factors [-]: at least 1, shape (k,); 1 to 10 by default, see `LEG_BAND_SOURCE`.

    Returns
    -------
    Resistance [ohm], shape (k, ..., n): goes into `tail_share` and `transient_share`.

    >>> leg_band_ohm([0.3, 1.2], [True, False], [1.0, 10.0])
    array([[0.3, 1.2],
           [3. , 1.2]])
    """
    r, steel, band = _resistances(resistance_ohm), np.asarray(leg, bool), np.asarray(factors, float)
    if band.ndim != 1 or not np.all((band >= 1) & (band < np.inf)):
        raise ValueError("factors must be a list of numbers of at least 1")
    if steel.shape != r.shape[-1:]:
        raise ValueError("say of each conductor whether it is a leg")
    spread = band.reshape((-1,) + (1,) * r.ndim)
    return np.asarray(r * np.where(steel, spread, 1.0))


@dataclass(frozen=True, slots=True, eq=False)
class _Modes:
    """i = front I + weight z, z_m' = -rate_m z_m + push_m I: shapes (n,), (..., n, m), (..., m), (..., m)."""

    front: Array
    weight: Array
    rate: Array
    push: Array


def _modes(inductance_h: ArrayLike, resistance_ohm: ArrayLike) -> _Modes:
    """
    Decouple `L i' + R i = v 1`, `sum(i) = I`.

    With p the front share and N a basis of all currents that sum to 0, i = p I + N y. Since L p is a multiple of 1,
    N' L p = 0 and the slope of I drops out: M y' + K y = -N' R p I with M = N' L N, K = N' R N.
    """
    matrix, r = _matrix(inductance_h), _resistances(resistance_ohm)
    n = matrix.shape[-1]
    if matrix.ndim != 2:
        raise ValueError("the transient takes one matrix of inductances, shape (n, n)")
    if r.shape[-1] != n:
        raise ValueError(f"{r.shape[-1]} resistances for {n} conductors")
    front = front_share(matrix)
    basis = np.linalg.qr(np.column_stack([np.ones(n), np.eye(n)[:, : n - 1]]))[0][:, 1:]
    try:
        lower = np.linalg.cholesky(basis.T @ matrix @ basis)
    except np.linalg.LinAlgError:
        raise ValueError("inductances are not those of conductors apart: a loop has no positive inductance") from None
    even = np.linalg.solve(lower, basis.T).T  # currents whose magnetic energies are 1 and apart
    damping = np.einsum("km,...k,kl->...ml", even, r, even)
    rate, turn = np.linalg.eigh(damping)
    weight = even @ turn
    push = -np.einsum("...km,...k,k->...m", weight, r, front)
    return _Modes(front, weight, np.maximum(rate, 0.0), push)


def transient_share(
    inductance_h: ArrayLike,
    resistance_ohm: ArrayLike,
    peak_a: float,
    form: Wave,
    duration_s: float = 1e-3,
    front_steps: int = 400,
) -> Transient:
    """
    Currents of parallel conductors while a stroke passes: `L di/dt + R i = v 1`, `sum(i) = I(t)`, solved exactly.

    The constraint is eliminated, the rest decoupled by eigenvectors, and each mode stepped exactly for the wave as a cubic
    between the instants of `stroke_instants_s`.

    Parameters
    ----------
    inductance_h [H]: of `inductance_matrix_h`, shape (n, n).
    resistance_ohm [ohm]: of each over the same length, shape (..., n); several rows make a band, see `leg_band_ohm`.
    peak_a [A]: I of the wave. form: of `wave`. duration_s [s], front_steps: as `stroke_instants_s`.

    Returns
    -------
    `Transient`, with currents of shape (..., n, t).

    Valid for ends bonded together, uniform conductors, waves much longer than the run; resistance that does not change.
    Source: own derivation; checked against a stiff solver and a circuit simulator in the tests.

    >>> from upmast.earth.surge import wave
    >>> at = [[0.0, 0.0], [1.0, 0.0], [0.5, 3**0.5 / 2], [0.5, 3**0.5 / 6]]
    >>> inductance = inductance_matrix_h(at, [0.04, 0.04, 0.04, 0.015], 30.0)
    >>> found = transient_share(inductance, 30e-3 * np.array([0.3, 0.3, 0.3, 1.2]), 75e3, wave("first_positive"))
    >>> round(float(found.peak_a[3]), -1), round(float(found.peak_s[3]) * 1e6)
    (9450.0, 31)
    """
    modes = _modes(inductance_h, resistance_ohm)
    t = stroke_instants_s(form, duration_s, front_steps)
    current, slope = surge_a(t, peak_a, form), surge_slope_a_per_s(t, peak_a, form)
    if current.shape != t.shape:
        raise ValueError("the transient takes one peak current; currents are in proportion to it")
    z = modes.push[..., None] * relax(modes.rate, t, current, slope)
    z_slope = modes.push[..., None] * current - modes.rate[..., None] * z
    front = modes.front[:, None]
    return Transient(t, front * current + modes.weight @ z, front * slope + modes.weight @ z_slope)


def transient_shield_v(found: Transient, resistance_ohm: ArrayLike, transfer_h: ArrayLike = 0.0) -> Array:
    """
    Highest voltage between the core and the shield of each conductor while the stroke passes: `max |R_s i + M_t di/dt|`.

    Parameters
    ----------
    found: of `transient_share`. resistance_ohm [ohm]: R_s of each shield between its bonds, shape (..., n), as given there.
    transfer_h [H]: M_t of each over that length, 0 for closed tubes. Both terms are added instant by instant.

    Returns
    -------
    Voltage [V], shape (..., n); of a leg or a bare conductor it is only the drop along it. Source: as `shield_surge_v`.

    >>> from upmast.earth.surge import wave
    >>> found = transient_share([[1e-5]], [36e-3], 9450.0, wave("first_positive"))
    >>> transient_shield_v(found, [36e-3]).round(0)
    array([341.])
    """
    r, transfer = _resistances(resistance_ohm), np.asarray(transfer_h, float)
    if not np.all((transfer >= 0) & (transfer < np.inf)):
        raise ValueError("transfer inductance must be a number and can't be negative")
    volts = r[..., None] * found.current_a + transfer[..., None] * found.slope_a_per_s
    return np.asarray(np.abs(volts).max(axis=-1))


def quick_share(front: ArrayLike, tail: ArrayLike) -> Array:
    """
    Quick estimate of the highest share of a conductor: the larger of front and tail share.

    Parameters
    ----------
    front, tail [-]: of `front_share` and `tail_share`. Broadcast.

    Returns
    -------
    Share [-]. Safe for two conductors, for one cable among legs, and for the worst of several like shields. NOT safe for
    each cable of a ladder (shields share evenly among themselves before they hand over to the mast, so an inner one
    passes both ends, by up to 1.7), nor where shields of unlike resistance run together. `safe_share` holds for all.

    Source: own derivation; both statements are in the tests.

    >>> float(quick_share(0.1267, 0.0769))
    0.1267
    """
    one, two = np.asarray(front, float), np.asarray(tail, float)
    if not np.all((one <= 1) & (two <= 1) & (two >= 0)):
        raise ValueError("shares can't be above 1, the tail share not negative")
    return np.asarray(np.maximum(one, two))


def safe_share(inductance_h: ArrayLike, resistance_ohm: ArrayLike, instants: int = 400) -> Array:
    """
    Share that the current of each conductor never passes, whatever the wave, if that rises once and falls once.

    With s(t) the share of a current that is switched on at once and stays, from front share to tail share,
    `|i(t)| <= (max s + max(0, -min s)) max I`. The share s is a sum of exponentials, sought over all time constants.

    Parameters
    ----------
    inductance_h [H]: shape (n, n). resistance_ohm [ohm]: shape (..., n). instants: over all time constants.

    Returns
    -------
    Share [-], shape (..., n), not below `quick_share`; times the highest total current, and times the shield's resistance
    the safe voltage for a proof that does not follow the wave. The extremes of s are found within 0.1 %.

    Source: own derivation (superposition of steps); checked against `transient_share` in the tests.

    >>> at = [[0.0, 0.0], [1.0, 0.0], [0.5, 3**0.5 / 2], [0.5, 3**0.5 / 6]]
    >>> safe_share(inductance_matrix_h(at, [0.04, 0.04, 0.04, 0.015], 30.0), [9e-3, 9e-3, 9e-3, 36e-3]).round(4)
    array([0.3077, 0.3077, 0.3077, 0.1267])
    """
    modes, tail = _modes(inductance_h, resistance_ohm), tail_share(resistance_ohm)
    highest, lowest = np.maximum(modes.front, tail), np.minimum(modes.front, tail)
    if modes.rate.shape[-1] > 0:
        fast = modes.rate[..., -1:]
        slow = np.maximum(modes.rate[..., :1], 1e-12 * fast)
        t = 1e-3 / fast * (3e4 * fast / slow) ** np.linspace(0.0, 1.0, instants)
        rate = np.maximum(modes.rate, slow)[..., None]
        grown = -np.expm1(-rate * t[..., None, :]) / rate
        share = modes.front[:, None] + modes.weight @ (modes.push[..., None] * grown)
        highest, lowest = np.maximum(highest, share.max(axis=-1)), np.minimum(lowest, share.min(axis=-1))
    return np.asarray(highest + np.maximum(0.0, -lowest))
