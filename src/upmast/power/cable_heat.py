"""
Conductor temperatures of a cable with several loaded pairs, and what each pair may carry beside the others.

`theta_i = theta_s + T_sh sum(q) + sum_j T_ij q_j`, `q_j = I_j^2 r_j (1 + alpha (theta_j - 20))`: linear in the temperatures for a
given surface, and the surface follows from one scalar balance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from upmast.power.checked import not_negative
from upmast.power.section import Section, matrix
from upmast.power.surface import Laying, iec_coefficient

__all__ = ["CableHeat", "Warmth", "conductor_c", "equal_ampacity_a", "pair_ampacity_a"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
_ALPHA = COPPER_TEMPERATURE_COEFFICIENT_PER_K.value
_MOST_STEPS = 60
_CLOSE_K = 1e-3


@dataclass(frozen=True)
class CableHeat:
    """A cable as its heat sees it: the section and how it is laid in the air."""

    section: Section
    laying: Laying = "single"

    @cached_property
    def matrix(self) -> Array:
        """Internal thermal resistances [K m/W] [n, n], without the sheath."""
        return matrix(self.section)

    @property
    def sheath_resistance(self) -> float:
        return self.section.sheath_resistance

    @property
    def outer_m(self) -> float:
        return self.section.outer_m

    @cached_property
    def surface_w_per_m(self) -> float:
        """`pi De h` [W/(m K^1.25)]."""
        return float(np.pi * self.outer_m * iec_coefficient(self.outer_m, self.laying))


@dataclass(frozen=True, slots=True, eq=False)
class Warmth:
    """
    What a cable comes to, rows are scenarios. conductor_c [r, n]; surface_c [r]; heat_w_per_m [r] of all conductors.

    settles [r]: a steady state exists; where False the cable runs away, and the temperatures are infinite.
    """

    conductor_c: Array
    surface_c: Array
    heat_w_per_m: Array
    settles: Mask


def _balance(constant: Array, slope: Array, coefficient: float) -> tuple[Array, Mask]:
    """
    Rise of the surface over the air: `c t^1.25 = A + b t`, by Newton's method from above; there always is one such t >= 0.

    Convex, so that from the right of the root each step stays there.
    """
    positive = np.maximum(constant, 0.0)
    t = np.maximum((2 * positive / coefficient) ** 0.8, (2 * np.maximum(slope, 0.0) / coefficient) ** 4)
    for _ in range(_MOST_STEPS):
        f = coefficient * t**1.25 - positive - slope * t
        gain = 1.25 * coefficient * t**0.25 - slope
        step = np.divide(f, gain, out=np.zeros_like(t), where=gain > 0)
        t = np.maximum(t - step, 0.0)
        if not np.any(np.abs(step) > 1e-9 * (1 + t)):
            break
    return t, np.isfinite(t)


def conductor_c(
    heat: CableHeat,
    current_a: ArrayLike,
    ohm_per_km: ArrayLike,
    air_c: ArrayLike,
    sun_w_per_m: ArrayLike = 0.0,
    extra_w_per_m: ArrayLike = 0.0,
) -> Warmth:
    """
    Steady temperatures for given currents, all scenarios at once.

    Parameters
    ----------
    heat: CableHeat. current_a [A] [r, n]: of each conductor. ohm_per_km [ohm/km] [n]: at 20 C.
    air_c [C] [r]; sun_w_per_m [W/m] [r]: taken in, see `surface.sun_w_per_m`; extra_w_per_m [W/m] [r]: made at the surface, by a
        current in the shield.

    Returns
    -------
    Warmth.

    Raises
    ------
    ValueError
        For shapes that don't fit, currents, resistances or heat that are negative or missing, and air that is missing.

    Source: IEC 60287-2-1 (surface), own derivation (section). Valid for copper; a cable with a temperature above 150 C is one
    that runs away for any practical purpose.

    >>> ring = Section((3.2e-3, 0.0, -3.2e-3, 0.0), (0.0, 3.2e-3, 0.0, -3.2e-3), 1.56e-3, 6.4561e-3, 16.5e-3, 6.0)
    >>> conductor_c(CableHeat(ring), [[0.0] * 4], [3.08] * 4, 40.0).conductor_c.tolist()
    [[40.0, 40.0, 40.0, 40.0]]
    """
    amps, ohms, taken, made = not_negative(
        finite=True, current_a=current_a, ohm_per_km=ohm_per_km, sun_w_per_m=sun_w_per_m, extra_w_per_m=extra_w_per_m
    )
    if not np.all(np.isfinite(air_c)):
        raise ValueError("air_c can't be missing or infinite")
    current = np.atleast_2d(amps)
    n = len(heat.section.x_m)
    r20 = np.broadcast_to(ohms, (n,)) / 1000
    if current.shape[1] != n:
        raise ValueError(f"current_a needs {n} conductors on its last axis")
    rows = current.shape[0]
    air, sun, extra = (np.broadcast_to(np.asarray(x, float).reshape(-1), (rows,)) for x in (air_c, taken, made))
    whole = heat.matrix + heat.sheath_resistance
    lost = current**2 * r20  # at 20 C
    system = np.eye(n) - whole * (_ALPHA * lost)[:, None, :]
    at_20 = (whole @ (lost * (1 - 20 * _ALPHA))[:, :, None])[:, :, 0]
    both = np.linalg.solve(system, np.stack([np.ones((rows, n)), at_20], axis=2))
    per_k, at_0 = both[:, :, 0], both[:, :, 1]
    # beyond the runaway of the inside alone the answers turn their sign
    fine = np.all(per_k > 0, axis=1)
    slope = (lost * _ALPHA * per_k).sum(axis=1)
    fixed = (lost * (1 + _ALPHA * (at_0 - 20))).sum(axis=1)
    constant = fixed + slope * air + sun + extra
    rise, found = _balance(np.where(fine, constant, 0.0), np.where(fine, slope, 0.0), heat.surface_w_per_m)
    settles = fine & found
    surface = np.where(settles, air + rise, np.inf)
    theta = np.where(settles[:, None], surface[:, None] * per_k + at_0, np.inf)
    total = np.where(settles, fixed + slope * surface, np.inf)
    return Warmth(theta, surface, total, settles)


def _largest(theta_max: Callable[[Array], Array], start: Array, limit_c: Array) -> Array:
    """The x = I^2 at which a rising, convex temperature meets its limit, by false position (Illinois); 0 where it is above at 0."""
    low, high = np.zeros_like(start), np.array(start)
    f_low = np.asarray(theta_max(low)) - limit_c
    f_high = np.asarray(theta_max(high)) - limit_c
    for _ in range(40):
        short = (f_high < 0) & (f_low < 0)
        if not short.any():
            break
        low, f_low = np.where(short, high, low), np.where(short, f_high, f_low)
        high = np.where(short, 4 * high, high)
        f_high = np.where(short, np.asarray(theta_max(high)) - limit_c, f_high)
    open_ = f_low < 0
    side = np.zeros(start.shape)
    for _ in range(_MOST_STEPS):
        if not open_.any():
            break
        finite = np.isfinite(f_high) & (f_high - f_low > 0)
        x = np.where(
            finite,
            high - np.where(finite, f_high, 1.0) * (high - low) / np.where(finite, f_high - f_low, 1.0),
            (low + high) / 2,
        )
        x = np.clip(x, low, high)
        f = np.asarray(theta_max(x)) - limit_c
        below = f <= 0
        f_high = np.where(open_ & below & (side < 0), f_high / 2, f_high)
        f_low = np.where(open_ & ~below & (side > 0), f_low / 2, f_low)
        side = np.where(below, -1.0, 1.0)
        low, f_low = np.where(open_ & below, x, low), np.where(open_ & below, f, f_low)
        high, f_high = np.where(open_ & ~below, x, high), np.where(open_ & ~below, f, f_high)
        open_ &= ~(below & (f > -_CLOSE_K)) & (high - low > 1e-9 * high)
    return np.where(f_low < 0, low, np.where(f_low == 0, low, 0.0))


def pair_ampacity_a(
    heat: CableHeat,
    current_a: ArrayLike,
    ohm_per_km: ArrayLike,
    air_c: float,
    limit_c: float,
    sun_w_per_m: float = 0.0,
    extra_w_per_m: float = 0.0,
) -> Array:
    """
    What each pair may carry while the others keep their currents: the hottest conductor of the cable then is at its limit.

    Parameters
    ----------
    current_a [A] [n]: of each conductor now, those of pair p at 2p and 2p + 1. limit_c [C]: of the insulation. The others as
        for `conductor_c`.

    Returns
    -------
    Current [A] [n / 2]; 0 where the others alone are too much.

    Source: own derivation; every temperature rises with every current.

    >>> ring = Section((3.2e-3, 0.0, -3.2e-3, 0.0), (0.0, 3.2e-3, 0.0, -3.2e-3), 1.56e-3, 6.4561e-3, 16.5e-3, 6.0)
    >>> pair_ampacity_a(CableHeat(ring), [0.0] * 4, [3.08] * 4, 40.0, 90.0).round(0)
    array([56., 56.])
    """
    current = np.asarray(current_a, float)
    n = current.size
    pairs = n // 2
    owner = np.arange(n) // 2

    def hottest(square: Array) -> Array:
        amps = np.where(owner == np.arange(pairs)[:, None], np.sqrt(square)[:, None], current)
        theta = conductor_c(heat, amps, ohm_per_km, air_c, sun_w_per_m, extra_w_per_m).conductor_c
        return np.asarray(theta.max(axis=1))

    return np.asarray(np.sqrt(_largest(hottest, np.full(pairs, 400.0), np.full(pairs, float(limit_c)))))


def equal_ampacity_a(
    heat: CableHeat, ohm_per_km: ArrayLike, air_c: ArrayLike, limit_c: ArrayLike, sun_w_per_m: ArrayLike = 0.0,
    loaded: int | None = None,
) -> Array:  # fmt: skip
    """
    What every loaded conductor may carry if all carry the same.

    Parameters
    ----------
    air_c, limit_c [C], sun_w_per_m [W/m]: [r]. loaded: the first so many conductors; all by default. The others as for
        `conductor_c`.

    Returns
    -------
    Current [A] [r].

    Source: own derivation.

    >>> ring = Section((3.1961e-3, 0.0, -3.1961e-3, 0.0), (0.0, 3.1961e-3, 0.0, -3.1961e-3), 1.56e-3, 6.4561e-3, 16.5122e-3, 6.0, 5.0)
    >>> equal_ampacity_a(CableHeat(ring), 3.08, 40.0, 90.0).round(1)
    array([41.4])
    """
    air, limit, sun = np.broadcast_arrays(*(np.atleast_1d(np.asarray(x, float)) for x in (air_c, limit_c, sun_w_per_m)))
    n = len(heat.section.x_m)
    on = np.arange(n) < (n if loaded is None else loaded)

    def hottest(square: Array) -> Array:
        theta = conductor_c(heat, np.sqrt(square)[:, None] * on, ohm_per_km, air, sun).conductor_c
        return np.asarray(theta.max(axis=1))

    return np.asarray(np.sqrt(_largest(hottest, np.full(air.shape, 400.0), limit)))
