"""
A choice of centres for carriers whose receive channels move along with them: paired bands keep the distance of both.

Every allowed plan is tried, all products of all plans at once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.pim.hertz import carriers_hz, ranges_hz
from upmast.pim.level import product_level_dbm, specified_dbm
from upmast.pim.products import ODD_ORDERS, product_vectors

__all__ = ["MovingPlan", "best_moving_plan"]

Ints = NDArray[np.int64]
Array = NDArray[np.float64]
MOST_PLANS = 200_000
CHUNK = 4_000_000  # products times plans at once


@dataclass(frozen=True, slots=True)
class MovingPlan:
    """
    The plan with the least power of products in receive channels, and of equal ones the one first in the order given.

    centres_hz: of the carriers; none if no plan keeps them apart. hits, level_dbm: products in receive channels, and their power sum, each
    whole and at its source. before_hits, before_dbm: of the first plan. plans: tried; exhaustive: those were all.
    """

    centres_hz: tuple[int, ...]
    hits: int
    level_dbm: float
    before_hits: int
    before_dbm: float
    plans: int
    exhaustive: bool

    def words(self) -> str:
        """What it brings, and how sure it is."""
        all_of = "all looked at" if self.exhaustive else f"only {self.plans} looked at: give fewer centres"
        if not self.centres_hz:
            return f"no allowed plan keeps the carriers apart ({all_of})"
        told = ", ".join(f"{hz / 1e6:g}" for hz in self.centres_hz)
        if self.hits == 0:
            end = "no product is left in a receive channel"
        elif self.level_dbm >= self.before_dbm - 1e-6:
            return f"no allowed plan is better than the present one ({self.plans} plans, {all_of})"
        else:
            left = "1 product is left" if self.hits == 1 else f"{self.hits} products are left"
            end = f"{left}, {self.before_dbm - self.level_dbm:.1f} dB weaker{'' if self.hits == 1 else ' together'}"
        return f"centres at {told} MHz: {end} ({self.plans} plans, {all_of})"


def best_moving_plan(
    allowed_centres_hz: Sequence[ArrayLike], widths_hz: ArrayLike, receive_below_hz: Sequence[int | None], fixed_ranges_hz: ArrayLike,
    carrier_dbm: ArrayLike, third_order_dbm: float, orders: Sequence[int] = ODD_ORDERS, most_plans: int = MOST_PLANS,
) -> MovingPlan:  # fmt: skip
    """
    The best of all allowed plans.

    Parameters
    ----------
    allowed_centres_hz [Hz]: for each carrier, best liked first; the first of each is the present plan. widths_hz [Hz]: (N,), also of the
    receive channels. receive_below_hz [Hz]: how far below its carrier each receive channel lies (above: negative), None for none.
    fixed_ranges_hz [Hz]: receive ranges that stay, rows of two edges; may be empty. carrier_dbm [dBm], third_order_dbm [dBm]: as in
    `product_level_dbm`. most_plans: limit of work; beyond it the lists are cut from their ends.

    Returns
    -------
    `MovingPlan`.

    Raises
    ------
    ValueError
        For no carrier, a carrier without a centre, or lists that don't belong together.

    Source: own derivation; checked by counting the products of each plan one by one.

    >>> found = best_moving_plan([[1_815_000_000], [1_855_000_000, 1_835_000_000]], [20_000_000] * 2, [95_000_000] * 2, [], [43.0, 43.0], -107.0, [3])
    >>> found.centres_hz, found.hits
    ((1815000000, 1835000000), 0)
    """
    count = len(allowed_centres_hz)
    widths = np.atleast_1d(np.asarray(widths_hz))
    if count == 0 or widths.shape != (count,) or len(receive_below_hz) != count:
        raise ValueError("one list of centres, one width and one receive distance for each carrier")
    lists = []
    for n, some in enumerate(allowed_centres_hz):
        centres = np.atleast_1d(np.asarray(some))
        if centres.ndim != 1 or centres.size == 0:
            raise ValueError(f"carrier {n} has no allowed centre: give at least the one that it has")
        lists.append(carriers_hz(centres, np.full(centres.size, widths[n]))[0])
    whole = math.prod(x.size for x in lists)
    while math.prod(x.size for x in lists) > most_plans:
        longest = max(range(count), key=lambda n: lists[n].size)
        lists[longest] = lists[longest][:-1]
    exact = np.asarray(widths, np.int64)
    fixed = ranges_hz(fixed_ranges_hz) if np.asarray(fixed_ranges_hz).size else np.zeros((0, 2), np.int64)
    vectors = np.concatenate([product_vectors(count, n) for n in sorted({int(n) for n in orders})]).astype(np.int64)
    level = product_level_dbm(vectors, carrier_dbm, specified_dbm(np.abs(vectors).sum(axis=1), third_order_dbm))
    plans = np.stack([axis.ravel() for axis in np.meshgrid(*lists, indexing="ij")], axis=1)
    power = 10.0 ** (level / 10.0)
    hits, cost = _counted(plans, vectors, power, exact, receive_below_hz, fixed)
    apart = _apart(plans, exact)
    first = int(hits[0]), float(cost[0])
    if not apart.any():
        return MovingPlan((), 0, -math.inf, first[0], _dbm(first[1]), len(plans), whole == len(plans))
    best = int(np.argmin(np.where(apart, cost, np.inf)))
    return MovingPlan(
        tuple(int(x) for x in plans[best]), int(hits[best]), _dbm(float(cost[best])), first[0], _dbm(first[1]), len(plans), whole == len(plans)
    )  # fmt: skip


def _counted(
    plans: Ints, vectors: Ints, power: Array, widths: Ints, below: Sequence[int | None], fixed: Ints
) -> tuple[Ints, Array]:
    """Hits and their power of each plan; a product counts once for each channel that it meets."""
    hits, cost = np.zeros(len(plans), np.int64), np.zeros(len(plans))
    reach = np.abs(vectors) @ widths  # twice the half width
    size = max(1, CHUNK // max(len(vectors), 1))
    for start in range(0, len(plans), size):
        some = plans[start : start + size]
        centre = some @ vectors.T
        sign = np.where(centre < 0, -1, 1)  # a product stands for its mirror, too
        twice = 2 * centre * sign
        for n, distance in enumerate(below):
            if distance is None:
                continue
            middle = 2 * (some[:, n] - distance)
            met = np.abs(twice - middle[:, None]) < reach[None, :] + widths[n]
            hits[start : start + size] += met.sum(axis=1)
            cost[start : start + size] += met @ power
        for low, high in fixed:
            met = (twice + reach[None, :] > 2 * low) & (twice - reach[None, :] < 2 * high)
            hits[start : start + size] += met.sum(axis=1)
            cost[start : start + size] += met @ power
    return hits, cost


def _apart(plans: Ints, widths: Ints) -> NDArray[np.bool_]:
    """Plans in which no two carriers overlap; touching is allowed."""
    out = np.ones(len(plans), bool)
    for a in range(plans.shape[1]):
        for b in range(a + 1, plans.shape[1]):
            out &= 2 * np.abs(plans[:, a] - plans[:, b]) >= widths[a] + widths[b]
    return out


def _dbm(milliwatt: float) -> float:
    return 10.0 * math.log10(milliwatt) if milliwatt > 0 else -math.inf
