"""The sources of intermodulation along one line: what each joint, cable and the antenna make, and what arrives of it together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.pim.level import power_sum_dbm, voltage_sum_dbm

__all__ = ["Arrival", "PimSource", "arrivals_dbm", "better_by_db", "chain_level_dbc"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PimSource:
    """
    One source of a line: its name, what it is (joint, cable, two-port, antenna), the part whose value it is.

    level_dbc: third order with two carriers of 43 dBm at the source. document, mark: where that comes from. excess_db of it is declared.
    """

    name: str
    what: str
    part: str
    level_dbc: float
    document: str
    mark: str
    excess_db: float = 0.0


class Arrival(NamedTuple):
    """What arrives at the receiver of one product: of each source, and all together by power and, at worst, by voltage [dBm]."""

    each_dbm: Array
    power_dbm: Array
    voltage_dbm: Array


def chain_level_dbc(level_dbc: ArrayLike) -> Array:
    """
    Level of a whole line whose sources add by their powers, line loss left out, which is the safe side: `10 log10 sum 10^(p_i / 10)`.

    Parameters
    ----------
    level_dbc [dBc]: of each source, on the last axis.

    Source: own derivation: sources of unknown phase add by their powers on average.

    >>> float(chain_level_dbc([-160.0, -160.0, -153.0]).round(2))
    -151.54
    """
    return power_sum_dbm(level_dbc)


def arrivals_dbm(
    product_dbm: ArrayLike, level_dbc: ArrayLike, reference_dbc: ArrayLike, carrier_loss_db: ArrayLike, product_loss_db: ArrayLike,
    order: ArrayLike = 3,
) -> Arrival:  # fmt: skip
    """
    What arrives of one product from each source of a line.

    `P_i = P + (p_i - p_ref) - n A_c,i - A_im,i`: the product is made by carriers weaker by the loss before the source, with the slope of
    theory, and comes back through the same line.

    Parameters
    ----------
    product_dbm [dBm]: level at a source of reference_dbc [dBc] without loss before it. level_dbc [dBc], carrier_loss_db [dB],
    product_loss_db [dB]: of each source, on the last axis. order: n.

    Returns
    -------
    `Arrival`. Source: own derivation; slope of n dB per dB by theory.

    >>> found = arrivals_dbm(-110.0, [-160.0, -153.0], -153.0, [0.0, 0.5], [0.0, 0.5])
    >>> found.each_dbm.round(2), float(found.power_dbm.round(2)), float(found.voltage_dbm.round(2))
    (array([-117., -112.]), -110.81, -108.12)
    """
    level, loss, back = np.broadcast_arrays(
        *(np.asarray(x, float) for x in (level_dbc, carrier_loss_db, product_loss_db))
    )
    if level.ndim == 0 or np.any(np.isnan(level)):
        raise ValueError("level_dbc holds one value for each source")
    if np.any(~(loss >= 0)) or np.any(~(back >= 0)):
        raise ValueError("losses may not be negative")
    n = np.asarray(order, float)
    if np.any(~(n >= 2)):
        raise ValueError("a product has order 2 or more")
    first = np.asarray(product_dbm, float) - np.asarray(reference_dbc, float)
    each = np.asarray(first[..., None] + level - n[..., None] * loss - back)
    return Arrival(each, power_sum_dbm(each), voltage_sum_dbm(each))


def better_by_db(each_dbm: ArrayLike, better_db: float = 10.0) -> Array:
    """
    How much less arrives together if one source alone were better, for each source, dB.

    Parameters
    ----------
    each_dbm [dBm]: of each source, on the last axis. better_db [dB].

    Source: power sum with and without.

    >>> better_by_db([-117.0, -112.0], 10.0).round(2)
    array([1.06, 5.  ])
    """
    each = np.asarray(each_dbm, float)
    if not better_db >= 0:
        raise ValueError("better_db may not be negative")
    power = 10.0 ** (each / 10.0)
    total = power.sum(axis=-1, keepdims=True)
    return np.asarray(10.0 * np.log10(total / (total - power * (1 - 10.0 ** (-better_db / 10.0)))))
