"""Things that cost now against things that lose energy for years, on one basis: net present cost. Converter or copper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.checked import not_negative
from upmast.power.economy import load_states, sizes
from upmast.power.energy import LifePrice, present_worth_factor
from upmast.power.load_flow import single

__all__ = ["Alternatives", "break_even_price_per_kwh", "converter_loss_w", "converter_or_copper", "present_cost"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Alternatives:
    """
    n sizes of copper, alone and behind a converter: present_cost, yearly_loss_kwh, lowest_v at the load at its largest power
    [2, n], NaN where the load can't be fed. Row 0 copper alone, row 1 with converter. best: the cheapest, (row, size); None
    where no load can be fed.
    """

    present_cost: Array
    yearly_loss_kwh: Array
    lowest_v: Array
    best: tuple[int, int] | None


def converter_loss_w(
    output_v: ArrayLike, efficiency: ArrayLike, standby_w: ArrayLike, loop_ohm: ArrayLike, power_w: ArrayLike
) -> Array:
    """
    What a voltage-raising converter at the foot and the line behind it lose together: `V_out I / eta + P_0 - P`.

    Parameters
    ----------
    output_v [V]: of the converter. efficiency: eta, above 0 to 1. standby_w [W]: P_0, drawn without load.
    loop_ohm [ohm]: of the line behind it. power_w [W]: at the terminals of the load. Any shapes.

    Returns
    -------
    Loss [W]; infinite where the line can't feed the load.

    Source: own derivation.

    >>> round(float(converter_loss_w(56.0, 0.96, 10.0, 0.30, 800.0)), 2)
    119.26
    """
    volts, standby, ohm, power = not_negative(
        output_v=output_v, standby_w=standby_w, loop_ohm=loop_ohm, power_w=power_w
    )
    eta = np.asarray(efficiency, float)
    if not np.all((eta > 0) & (eta <= 1)):
        raise ValueError("efficiency lies above 0 and not above 1")
    flow = single(volts, ohm, power)
    return np.asarray(np.where(flow.exists, volts * flow.current_a / eta + standby - power, np.inf))


def present_cost(
    purchase_cost: ArrayLike,
    yearly_loss_kwh: ArrayLike,
    price: LifePrice,
    years: float,
    discount_fraction: float,
    renewal_cost: ArrayLike = 0.0,
    renewal_years: ArrayLike = np.inf,
    yearly_cost: ArrayLike = 0.0,
    demand_w: ArrayLike = 0.0,
) -> Array:
    """
    Net present cost of anything that is bought, loses energy, is looked after and renewed.

    `C + W p' + P D' + c (1 - (1 + i)^-N) / i + sum_j C_r (1 + i)^(-j N_r)`, j N_r below N; a closed geometric sum.

    Parameters
    ----------
    purchase_cost [money]. yearly_loss_kwh [kWh/yr]: W. price: from `energy.life_price`, for the same years and discount.
    years [yr]: N, 1 or more, finite. discount_fraction [1/yr]: i.
    renewal_cost [money]: C_r, after every renewal_years [yr], not in the last year. yearly_cost [money/yr]: c.
    demand_w [W]: P, largest loss. Any shapes.

    Source: common practice of investment appraisal; the annuity is that of `energy.present_worth_factor`.

    >>> from upmast.power.energy import life_price
    >>> price = life_price(0.0, 20, 0.05)
    >>> round(float(present_cost(100.0, 0.0, price, 20, 0.05, renewal_cost=100.0, renewal_years=8)), 2)
    213.5
    """
    cost, kwh, renewal, yearly, demand = not_negative(
        purchase_cost=purchase_cost, yearly_loss_kwh=yearly_loss_kwh, renewal_cost=renewal_cost,
        yearly_cost=yearly_cost, demand_w=demand_w,
    )  # fmt: skip
    every = np.asarray(renewal_years, float)
    if not np.all(every > 0):
        raise ValueError("renewal_years must be positive")
    if not years < np.inf:
        raise ValueError(f"years must be finite: got {years:g}")
    annuity = present_worth_factor(years, discount_fraction)
    # a renewal on the last day is of no use any more
    times = np.maximum(np.ceil(years / every * (1 - 1e-12)) - 1, 0.0)
    step = np.where(times > 0, every, 0.0) * np.log1p(discount_fraction)
    # sum of a geometric series, its terms alike where nothing is discounted
    discounted = np.abs(step) > 1e-12
    worth = np.divide(-np.expm1(-times * step), np.expm1(step), out=np.array(times), where=discounted)
    return np.asarray(cost + kwh * price.per_kwh + demand * price.per_w + yearly * annuity + renewal * worth)


def break_even_price_per_kwh(
    dearer_cost: ArrayLike,
    dearer_kwh: ArrayLike,
    cheaper_cost: ArrayLike,
    cheaper_kwh: ArrayLike,
    price_of_one: LifePrice,
) -> Array:
    """
    Price of energy above which what costs more to buy costs less in all: `(C_1 - C_2) / ((W_2 - W_1) p'_1)`.

    Parameters
    ----------
    dearer_cost, cheaper_cost [money]: present cost without energy (`present_cost` with a price of 0).
    dearer_kwh, cheaper_kwh [kWh/yr]: yearly losses. price_of_one: `energy.life_price` at 1 money/kWh.

    Returns
    -------
    Price [money/kWh]; infinite where the dearer one saves no energy.

    Source: own derivation.

    >>> from upmast.power.energy import life_price
    >>> round(float(break_even_price_per_kwh(420.0, 250.0, 300.0, 400.0, life_price(1.0, 20, 0.05))), 4)
    0.0642
    """
    c1, w1, c2, w2 = not_negative(
        dearer_cost=dearer_cost, dearer_kwh=dearer_kwh, cheaper_cost=cheaper_cost, cheaper_kwh=cheaper_kwh
    )
    if not np.all(c1 >= c2):
        raise ValueError("the first one is to be the dearer one to buy")
    extra, saved = np.broadcast_arrays(c1 - c2, (w2 - w1) * np.asarray(price_of_one.per_kwh))
    return np.asarray(np.divide(extra, saved, out=np.full(extra.shape, np.inf), where=saved > 0))


def converter_or_copper(
    purchase_cost: ArrayLike,
    loop_ohm: ArrayLike,
    source_v: float,
    power_w: float,
    hours_h: ArrayLike,
    load_fraction: ArrayLike,
    price: LifePrice,
    years: float,
    discount_fraction: float,
    converter_cost: float,
    output_v: float,
    efficiency: float,
    standby_w: float,
    converter_years: float = np.inf,
) -> Alternatives:
    """
    Copper alone or a voltage-raising converter at the foot, size by size, on one basis: net present cost.

    Parameters
    ----------
    purchase_cost [money], loop_ohm [ohm] [n]: of the sizes of copper. source_v [V]: at the bars, on float, for the losses.
    power_w [W]: largest, at the terminals. hours_h [h], load_fraction [-]: load states. price, years, discount_fraction: as for
        `present_cost`.
    converter_cost [money], output_v [V], efficiency, standby_w [W], converter_years [yr]: of the converter and its life.

    Returns
    -------
    Alternatives. Voltage limits are not judged here: see `lowest_v`, which for copper alone is that on float.

    Source: own derivation.

    >>> from upmast.power.energy import life_price
    >>> price = life_price(0.20, 20, 0.05, rectifier_efficiency=0.955)
    >>> states = ([2920, 3650, 2190], [1.0, 0.6, 0.3])
    >>> both = converter_or_copper([300, 420], [0.3, 0.19], 54, 800, *states, price, 20, 0.05, 350, 57, 0.96, 10, 12)
    >>> both.best, both.present_cost.round().tolist()
    ((0, 1), [[1194.0, 951.0], [2395.0, 2186.0]])
    """
    cost, ohm = sizes(purchase_cost, loop_ohm)
    hours, fraction = load_states(hours_h, load_fraction)
    load = float(power_w) * fraction
    alone = single(float(source_v), ohm[:, None], load)
    behind = single(float(output_v), ohm[:, None], load)
    loss = np.stack(
        [
            np.where(alone.exists, alone.loss_w, np.inf),
            converter_loss_w(output_v, efficiency, standby_w, ohm[:, None], load),
        ]
    )
    fed = np.isfinite(loss).all(axis=-1)
    kwh = np.where(fed, (hours * np.where(np.isfinite(loss), loss, 0.0)).sum(axis=-1) / 1000, np.nan)
    most = np.where(fed, loss.max(axis=-1), 0.0)
    bought = np.stack([cost, cost + converter_cost])
    renewed = np.array([[0.0], [converter_cost]])
    total = present_cost(
        bought, np.nan_to_num(kwh), price, years, discount_fraction, renewed, converter_years, demand_w=most
    )
    total = np.where(fed, total, np.nan)
    lowest = np.where(fed, np.stack([alone.voltage_v, behind.voltage_v]).min(axis=-1), np.nan)
    best = None
    if fed.any():
        row, size = np.unravel_index(int(np.nanargmin(total)), total.shape)
        best = (int(row), int(size))
    return Alternatives(total, kwh, lowest, best)
