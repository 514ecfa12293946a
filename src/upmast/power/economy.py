"""
What a line costs over its life, bought and with its losses, and which size is the cheapest for a current or a load.

All costs are present values in one money, whatever it is. Losses are taken load state by load state, never from a mean load.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.checked import not_negative
from upmast.power.energy import LifePrice
from upmast.power.load_flow import largest_power_w, single

__all__ = [
    "Ranges",
    "cheapest_currents",
    "cheapest_powers",
    "economic_area_mm2",
    "life_cost",
    "load_life_cost",
    "load_states",
    "sizes",
]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]
_Cost = Callable[[Index, Array | float], Array]
_HALVINGS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Ranges:
    """
    For each of n sizes the range in which it is the cheapest: `low` to `high` [n], NaN for a size that never is (`ever` False).

    The ranges meet; at a meeting point both sizes cost the same, or the thinner one ends there because it is not allowed beyond.
    """

    low: Array
    high: Array
    ever: Mask


def life_cost(
    purchase_cost: ArrayLike, current_a: ArrayLike, loop_ohm: ArrayLike, loss_price_per_w: ArrayLike
) -> Array:
    """
    Cost of a line over its life: `CT = CI + I^2 R F`.

    Parameters
    ----------
    purchase_cost [money]: CI, laid. current_a [A]: at the reference load. loop_ohm [ohm]: line and return wire, at working
        temperature. loss_price_per_w [money/W]: F. Any shapes.

    Source: IEC 60287-3-2 (from memory).

    >>> float(life_cost(500.0, 20.0, 0.25, 21.83))
    2683.0
    """
    ci, i, r, f = not_negative(
        purchase_cost=purchase_cost, current_a=current_a, loop_ohm=loop_ohm, loss_price_per_w=loss_price_per_w
    )
    return np.asarray(ci + i * i * r * f)


def economic_area_mm2(
    current_a: ArrayLike, resistivity_ohm_mm2_per_m: ArrayLike, loss_price_per_w: ArrayLike, cost_per_mm2_m: ArrayLike
) -> Array:
    """
    Section at which copper and losses together cost least, if any section could be had: `S = I sqrt(rho F / A)`.

    Parameters
    ----------
    current_a [A]: at the reference load. resistivity_ohm_mm2_per_m: at working temperature, about 0.0175 at 20 C for copper.
    loss_price_per_w [money/W]: F. cost_per_mm2_m [money/(mm2 m)]: A, what a conductor costs more for each mm2. Any shapes.

    Source: Kelvin's law; IEC 60287-3-2 (from memory). 80 kW at 400 V for 4000 h a year give 1.7 cm2 in Chakrabarti and
    others, A Textbook on Power System Engineering, second edition, example 17.6.

    >>> round(float(economic_area_mm2(144.34, 0.0173, 4000 * 0.1 / 1000, 0.1 * 15 / 3 / 100)))
    170
    """
    i, rho, f, a = not_negative(
        current_a=current_a,
        resistivity_ohm_mm2_per_m=resistivity_ohm_mm2_per_m,
        loss_price_per_w=loss_price_per_w,
        cost_per_mm2_m=cost_per_mm2_m,
    )
    if not np.all(a > 0):
        raise ValueError("cost_per_mm2_m must be positive")
    return np.asarray(i * np.sqrt(rho * f / a))


def sizes(purchase_cost: ArrayLike, loop_ohm: ArrayLike) -> tuple[Array, Array]:
    """Cost and loop resistance of a list of sizes, checked: one axis, a finite value for each."""
    cost, ohm = not_negative(purchase_cost=purchase_cost, loop_ohm=loop_ohm)
    if cost.ndim != 1 or cost.shape != ohm.shape or not cost.size:
        raise ValueError("purchase_cost and loop_ohm need one axis, a value for each size")
    if not np.all(np.isfinite(cost)) or not np.all(np.isfinite(ohm)):
        raise ValueError("purchase_cost and loop_ohm must be finite: leave out a size that can't be had")
    return cost, ohm


def cheapest_currents(purchase_cost: ArrayLike, loop_ohm: ArrayLike, loss_price_per_w: float) -> Ranges:
    """
    The range of current in which each size is the cheapest: the lower envelope of `CI_n + F R_n I^2`.

    The costs are straight lines over I^2; they meet at `I = sqrt((CI_b - CI_a) / (F (R_a - R_b)))`, exactly.

    Parameters
    ----------
    purchase_cost [money], loop_ohm [ohm] [n]: in any order. loss_price_per_w [money/W]: F.

    Returns
    -------
    Ranges in A; the last one ends at infinity. Of two that cost the same everywhere the first is taken.

    Source: IEC 60287-3-2, first approach (from memory).

    >>> ranges = cheapest_currents([300.0, 400.0, 600.0], [0.30, 0.28, 0.12], 20.0)
    >>> ranges.ever.tolist(), ranges.high.round(3).tolist()
    ([True, False, True], [9.129, nan, inf])
    """
    cost, ohm = sizes(purchase_cost, loop_ohm)
    f = float(loss_price_per_w)
    if not 0 <= f < np.inf:
        raise ValueError("loss_price_per_w can't be negative or missing")
    slope = ohm * f
    low, high = np.full(cost.size, np.nan), np.full(cost.size, np.nan)
    now, x = int(np.lexsort((slope, cost))[0]), 0.0
    while True:
        low[now] = np.sqrt(x)
        thicker = np.flatnonzero(slope < slope[now])
        if not thicker.size:
            high[now] = np.inf
            return Ranges(low, high, ~np.isnan(low))
        meets = (cost[thicker] - cost[now]) / (slope[now] - slope[thicker])
        x = float(meets.min())
        high[now] = np.sqrt(x)
        ties = thicker[meets <= x]
        now = int(ties[np.argmin(slope[ties])])


def load_life_cost(
    purchase_cost: ArrayLike,
    loop_ohm: ArrayLike,
    source_v: ArrayLike,
    power_w: ArrayLike,
    hours_h: ArrayLike,
    load_fraction: ArrayLike,
    price: LifePrice,
) -> Array:
    """
    Cost of a line over its life with a constant-power load: `CI + p' sum(h_k I_k^2 R) / 1000 + D' max(I_k^2 R)`.

    The current itself falls with the size: `I_k` is that of the load flow at `f_k P`.

    Parameters
    ----------
    purchase_cost [money], loop_ohm [ohm], source_v [V] (at the bars, on float), power_w [W] (largest, at the terminals): [...].
    hours_h [h], load_fraction [-]: load states, one axis. price: from `energy.life_price`.

    Returns
    -------
    Cost [money]; infinite where the load can't be fed.

    Source: IEC 60287-3-2 (from memory) with the losses of the load flow.

    >>> from upmast.power.energy import life_price
    >>> price = life_price(0.20, 20, 0.05)
    >>> cost = load_life_cost([300.0, 420.0], [0.30, 0.19], 54.0, 800.0, [2920, 3650, 2190], [1.0, 0.6, 0.3], price)
    >>> cost.round(1).tolist()
    [1153.4, 927.0]
    """
    cost, ohm, volts, power = not_negative(
        purchase_cost=purchase_cost, loop_ohm=loop_ohm, source_v=source_v, power_w=power_w
    )
    hours, fraction = load_states(hours_h, load_fraction)
    flow = single(volts[..., None], ohm[..., None], power[..., None] * fraction)
    loss = np.where(flow.exists, flow.loss_w, 0.0)
    total = cost + price.per_kwh * (hours * loss).sum(axis=-1) / 1000 + price.per_w * loss.max(axis=-1)
    # set, not summed: a price of 0 must not make a load that can't be fed cheap
    return np.asarray(np.where(flow.exists.all(axis=-1), total, np.inf))


def load_states(hours_h: ArrayLike, load_fraction: ArrayLike) -> tuple[Array, Array]:
    """Hours and load fractions of the states that last at all, checked: one axis, a year at most, some load."""
    hours, fraction = not_negative(hours_h=hours_h, load_fraction=load_fraction)
    if hours.ndim != 1 or hours.shape != fraction.shape or not hours.size:
        raise ValueError("hours_h and load_fraction need one axis, a value for each load state")
    if hours.sum() > 8784 * (1 + 1e-9):
        raise ValueError("the states last longer than a year")
    if not np.any((hours > 0) & (fraction > 0)):
        raise ValueError("no load state has a load")
    # a state of no hours has no losses, and must not make an infinite one count as none
    used = hours > 0
    return hours[used], fraction[used]


def cheapest_powers(
    purchase_cost: ArrayLike,
    loop_ohm: ArrayLike,
    source_v: float,
    hours_h: ArrayLike,
    load_fraction: ArrayLike,
    price: LifePrice,
    allowed_w: ArrayLike | None = None,
) -> Ranges:
    """
    The range of constant power in which each size is the cheapest.

    With more load the losses of a thinner line rise faster than those of a thicker one, so two sizes meet once at most; the
    meeting points by bisection.

    Parameters
    ----------
    purchase_cost, loop_ohm, source_v, hours_h, load_fraction, price: as for `load_life_cost`; sizes [n] in any order.
    allowed_w [W] [n]: largest power for which each size passes (voltage, ampacity); by default the largest it can feed.

    Returns
    -------
    Ranges in W. Beyond the last one no size is left.

    Source: IEC 60287-3-2, first approach (from memory), with the losses of the load flow.

    >>> from upmast.power.energy import life_price
    >>> price = life_price(0.20, 20, 0.05)
    >>> found = cheapest_powers([300.0, 420.0], [0.30, 0.19], 54.0, [2920, 3650, 2190], [1.0, 0.6, 0.3], price)
    >>> found.high.round(1).tolist()
    [497.0, 3836.8]
    """
    cost, ohm = sizes(purchase_cost, loop_ohm)
    hours, fraction = load_states(hours_h, load_fraction)
    limit = np.asarray(largest_power_w(source_v, ohm)) / fraction.max()
    if allowed_w is not None:
        (allowed,) = not_negative(allowed_w=allowed_w)
        if allowed.shape != cost.shape:
            raise ValueError("allowed_w needs a value for each size")
        limit = np.minimum(limit, allowed)
    order = np.argsort(-ohm, kind="stable")
    if np.any(np.diff(limit[order]) < 0):
        raise ValueError("allowed_w can't fall from a thinner size to a thicker one")

    def at(which: Index, power: Array | float) -> Array:
        return load_life_cost(cost[which], ohm[which], source_v, power, hours, fraction, price)

    low, high = np.full(cost.size, np.nan), np.full(cost.size, np.nan)
    power = 0.0
    left = np.flatnonzero(limit > 0)
    while left.size:
        costs = at(left, power)
        # of those that cost the same here the thickest goes on as the cheapest
        ties = left[costs <= costs.min() * (1 + 1e-12)]
        now = int(ties[np.argmin(ohm[ties])])
        end = float(limit[now])
        low[now] = power
        others = left[ohm[left] < ohm[now]]
        if others.size:
            end = min(end, _first_meeting(at, now, others, power, end))
        if not np.isfinite(end):
            high[now] = np.inf
            break
        high[now], power = end, end
        # one of the same resistance may be dearer to buy but allowed beyond
        left = np.flatnonzero((limit > power) & (ohm <= ohm[now]) & (np.arange(ohm.size) != now))
    return Ranges(low, high, ~np.isnan(low))


def _first_meeting(at: _Cost, now: int, others: Index, start: float, end: float) -> float:
    """The least power in start..end at which one of the others becomes cheaper than `now`; infinite if none does."""
    self = np.full(others.size, now)
    a, b = np.full(others.size, start), np.full(others.size, end)
    meets = at(self, b) > at(others, b)
    if not meets.any():
        return float("inf")
    self, others, a, b = self[meets], others[meets], a[meets], b[meets]
    for _ in range(_HALVINGS):
        middle = (a + b) / 2
        dearer = at(self, middle) > at(others, middle)
        a, b = np.where(dearer, a, middle), np.where(dearer, middle, b)
    return float(b.min())
