"""Energy lost in the line in a year, and what it is worth over a life."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import Constant
from upmast.source import Mark, Source

__all__ = [
    "RECTIFIER_EFFICIENCY",
    "LifePrice",
    "annual_loss_kwh",
    "life_factor",
    "life_price",
    "loss_price_per_w",
    "present_worth_factor",
]

Array = NDArray[np.float64]
RECTIFIER_EFFICIENCY = Constant(
    "eta", 0.955, "1", Source("common practice, no source", clause="0.94 to 0.97", mark=Mark.PRACTICE), 0.015
)


@dataclass(frozen=True, slots=True, eq=False)
class LifePrice:
    """
    Present value of a loss that lasts a life: `per_kwh` of one kilowatt-hour in each year [money], `per_w` of the demand charge
    on one watt [money].
    """

    per_kwh: Array
    per_w: Array


def annual_loss_kwh(hours_h: ArrayLike, loss_w: ArrayLike) -> Array:
    """
    Energy lost in a year: `W = sum(t_k P_k) / 1000` over the load states.

    Losses go as the square of the current: always sum over states, never take the loss of the mean load.

    Parameters
    ----------
    hours_h [h]: hours a year in each state, states on the last axis.
    loss_w [W]: loss in each state, from the load flow.

    Returns
    -------
    Energy [kWh] a year, without the last axis.

    Source: own derivation; IEC 60287-3-2 uses the same sum as loss-hours.

    >>> float(annual_loss_kwh([2920, 3650, 2190], [90.0, 30.0, 10.0]))
    394.2
    """
    hours, loss = np.asarray(hours_h, float), np.asarray(loss_w, float)
    if not np.all(hours >= 0) or not np.all(loss >= 0):
        raise ValueError("hours and losses can't be negative")
    if np.any(hours.sum(axis=-1) > 8784 * (1 + 1e-9)):
        raise ValueError("the states last longer than a year")
    return np.asarray((hours * loss).sum(axis=-1) / 1000)


def life_factor(
    years: ArrayLike,
    discount_fraction: ArrayLike,
    load_growth_fraction: ArrayLike = 0.0,
    price_growth_fraction: ArrayLike = 0.0,
) -> Array:
    """
    Sum of yearly costs relative to the first: `Q = sum_{n=1..N} r^(n-1)`, `r = (1 + a)^2 (1 + b) / (1 + i)`.

    Parameters
    ----------
    years [yr]: N, at least 1.
    discount_fraction i, load_growth_fraction a, price_growth_fraction b [1/yr]: above -1. Load growth counts squared, as losses do.

    Source: IEC 60287-3-2 (from memory), closed geometric sum.

    >>> round(float(life_factor(20, 0.05)), 4), float(life_factor(20, 0.0))
    (13.0853, 20.0)
    """
    n = np.asarray(years, float)
    i, a, b = (np.asarray(x, float) for x in (discount_fraction, load_growth_fraction, price_growth_fraction))
    if not np.all(n >= 1):
        raise ValueError("a life has at least one year")
    if any(not np.all(x > -1) for x in (i, a, b)):
        raise ValueError("growth and discount must be above -1")
    log_r = 2 * np.log1p(a) + np.log1p(b) - np.log1p(i)
    n, log_r = np.broadcast_arrays(n, log_r)
    # below 1e-12 the sum is N to all digits, and the quotient would be 0 / 0
    return np.asarray(np.divide(np.expm1(n * log_r), np.expm1(log_r), out=n.copy(), where=np.abs(log_r) > 1e-12))


def present_worth_factor(
    years: ArrayLike,
    discount_fraction: ArrayLike,
    load_growth_fraction: ArrayLike = 0.0,
    price_growth_fraction: ArrayLike = 0.0,
) -> Array:
    """
    Present value of all yearly costs relative to that of the first year, paid at its end: `Q / (1 + i)`.

    Parameters
    ----------
    As for `life_factor`.

    Source: IEC 60287-3-2 (from memory). Without growth it is the usual annuity factor `(1 - (1 + i)^-N) / i`.

    >>> round(float(present_worth_factor(20, 0.05)), 4)
    12.4622
    """
    q = life_factor(years, discount_fraction, load_growth_fraction, price_growth_fraction)
    return np.asarray(q / (1 + np.asarray(discount_fraction, float)))


def life_price(
    price_per_kwh: ArrayLike,
    years: ArrayLike,
    discount_fraction: ArrayLike,
    load_growth_fraction: ArrayLike = 0.0,
    price_growth_fraction: ArrayLike = 0.0,
    demand_per_w: ArrayLike = 0.0,
    rectifier_efficiency: ArrayLike = 1.0,
) -> LifePrice:
    """
    Present value of the losses of a life: `p / eta Q / (1 + i)` and `D / eta Q / (1 + i)`.

    Parameters
    ----------
    price_per_kwh [money/kWh]: p, on the mains side of the rectifiers. demand_per_w [money/(W yr)]: D.
    years [yr], discount_fraction, load_growth_fraction, price_growth_fraction [1/yr]: see `present_worth_factor`.
    rectifier_efficiency: eta, above 0 to 1; `RECTIFIER_EFFICIENCY` where it is not known. Any shapes.

    Source: IEC 60287-3-2 (from memory), divided by the efficiency of the rectifiers.

    >>> round(float(life_price(0.20, 20, 0.05, rectifier_efficiency=0.955).per_kwh), 4)
    2.6099
    """
    price, demand = np.asarray(price_per_kwh, float), np.asarray(demand_per_w, float)
    if not np.all(price >= 0) or not np.all(demand >= 0):
        raise ValueError("prices can't be negative or missing")
    eta = np.asarray(rectifier_efficiency, float)
    if not np.all((eta > 0) & (eta <= 1)):
        raise ValueError("rectifier_efficiency lies above 0 and not above 1")
    worth = present_worth_factor(years, discount_fraction, load_growth_fraction, price_growth_fraction) / eta
    return LifePrice(np.asarray(price * worth), np.asarray(demand * worth))


def loss_price_per_w(price: LifePrice, loss_hours_h: ArrayLike) -> Array:
    """
    Present value of one watt of loss at the reference load: `F = T p' / 1000 + D'`.

    Parameters
    ----------
    price: from `life_price`. loss_hours_h [h]: T, hours a year at the reference load that would lose as much as the year does,
        `sum(h_k P_loss,k) / P_loss`; any shape.

    Source: IEC 60287-3-2 (from memory); with the resistance of the whole loop in the place of Np Nc times that of a conductor.

    >>> round(float(loss_price_per_w(life_price(0.20, 20, 0.05), 8760)), 2)
    21.83
    """
    hours = np.asarray(loss_hours_h, float)
    if not np.all((hours >= 0) & (hours <= 8784 * (1 + 1e-9))):
        raise ValueError("loss-hours can't be negative, missing or longer than a year")
    return np.asarray(hours / 1000 * price.per_kwh + price.per_w)
