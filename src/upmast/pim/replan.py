"""
Channel centres, out of those allowed, that leave no product in any receive range, or else the fewest or the weakest.

Carriers are placed one after the other. A product is settled once its last carrier is placed, and more carriers only add products: so a
part of a plan that is already worse than a whole one is never finished (branch and bound). The certificate says whether every plan was
looked at or ruled out that way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.pim.hertz import Ints, carriers_hz, ranges_hz
from upmast.pim.level import product_level_dbm, specified_dbm
from upmast.pim.products import ODD_ORDERS, product_count, product_vectors

__all__ = ["MOST_TESTS", "Plan", "best_plan"]

Array = NDArray[np.float64]
MOST_TESTS = 500_000_000  # products against ranges, in each of two passes: some seconds
MOST_VECTORS = 3_000_000
_PIECE = 60_000  # tests at a time: so few stay in the cache
_FIRST_PLAN = 50_000_000  # tests that a first plan may take beyond the limit
_ROUNDING = 1e-9  # relative: sums of powers closer than this are equal


@dataclass(frozen=True, slots=True)
class Plan:
    """
    The plan found, and what is known of all others.

    centres_hz: of each carrier, in the order given; none if no plan keeps the carriers apart. choice: which of its allowed centres.
    hits: products in receive ranges, counted once for each range. level_dbm: their power sum at the source, each whole, -inf without
    hits, NaN where no powers were given. cost: what was made least, hits or milliwatts; least_cost: no plan costs less than this.
    exhaustive: every plan was looked at or ruled out, so this one is the best, and the first of equal ones. plans: number allowed.
    tests: products against ranges that were tested.
    """

    centres_hz: tuple[int, ...]
    choice: tuple[int, ...]
    hits: int
    level_dbm: float
    cost: float
    least_cost: float
    exhaustive: bool
    plans: int
    tests: int

    def words(self) -> str:
        """The certificate in one sentence."""
        allowed = "1 plan is allowed" if self.plans == 1 else f"{self.plans} plans are allowed"
        if not self.centres_hz:
            end = (
                "none of them keeps the carriers apart"
                if self.exhaustive
                else "the search found none with carriers apart"
            )
            return f"{allowed}; {end}"
        found = f"with {self.hits} product{'s' * (self.hits != 1)} in receive ranges"
        if self.hits == 0:
            found = "without any product in a receive range"
        if self.exhaustive or self.least_cost >= self.cost * (1 - _ROUNDING):
            return f"a plan {found}; {allowed}, all looked at or ruled out: none is better"
        return f"a plan {found}; {allowed}, the search stopped after {self.tests} tests: a better one may exist"


def best_plan(
    allowed_centres_hz: Sequence[ArrayLike],
    widths_hz: ArrayLike,
    receive_ranges_hz: ArrayLike,
    orders: Sequence[int] = ODD_ORDERS,
    carrier_dbm: ArrayLike | None = None,
    third_order_dbm: float | None = None,
    slope_db_per_db: float | None = None,
    apart: bool = True,
    most_tests: int = MOST_TESTS,
) -> Plan:
    """
    The plan with the fewest hits, or with the least power of hits where powers are given.

    Parameters
    ----------
    allowed_centres_hz [Hz]: for each carrier its allowed centres, whole numbers, best liked first: of equal plans the first in this
    order wins, the first carrier counting most. One centre is a carrier that stays.
    widths_hz [Hz]: (N,). receive_ranges_hz [Hz]: rows of a low and a higher edge. orders: up to the one that still counts.
    carrier_dbm [dBm], third_order_dbm [dBm], slope_db_per_db: with both levels the power sum of all hits counts, each product whole and
    at its source (what share of it falls into the range is not counted); else their number.
    apart: leave out plans in which two carriers overlap; touching is allowed.
    most_tests: limit of work, so that the result does not depend on the machine.

    Returns
    -------
    `Plan`. Source: own derivation; checked by trying every plan.

    Raises
    ------
    ValueError
        For a carrier without an allowed centre, or so many carriers that the products don't fit into memory.

    >>> allowed = [[930_000_000, 940_000_000], [957_000_000, 952_400_000]]
    >>> found = best_plan(allowed, [5_000_000] * 2, [[880_000_000, 902_000_000]], [3])
    >>> found.centres_hz, found.words()
    ((940000000, 957000000), 'a plan without any product in a receive range; 4 plans are allowed, all looked at or ruled out: none is better')
    """
    widths_given = np.asarray(widths_hz)
    if len(allowed_centres_hz) == 0 or widths_given.shape != (len(allowed_centres_hz),):
        raise ValueError("allowed_centres_hz holds one list for each carrier, widths_hz one width")
    lists = []
    for n, some in enumerate(allowed_centres_hz):
        centres = np.atleast_1d(np.asarray(some))
        if centres.size == 0 or centres.ndim != 1:
            raise ValueError(f"carrier {n} has no allowed centre: give at least the one that it has")
        lists.append(carriers_hz(centres, np.full(centres.size, widths_given[n]))[0])
    widths = carriers_hz([x[0] for x in lists], widths_given)[1]
    ranges = ranges_hz(receive_ranges_hz)
    wanted = sorted({int(n) for n in orders})
    if not wanted or wanted[0] < 2 or any(int(n) != n for n in orders):
        raise ValueError("orders are whole numbers, 2 or more")
    if (carrier_dbm is None) != (third_order_dbm is None):
        raise ValueError("give carrier_dbm and third_order_dbm both, or neither")
    total = sum(product_count(len(lists), n) for n in wanted)
    if total > MOST_VECTORS:
        raise ValueError(
            f"{total} products are too many to search (at most {MOST_VECTORS}): fewer carriers or lower orders"
        )
    c = np.concatenate([product_vectors(len(lists), n) for n in wanted])
    levels: Array | None = None
    if carrier_dbm is not None and third_order_dbm is not None:
        power = np.asarray(carrier_dbm, dtype=np.float64)
        if power.shape != (len(lists),) or not np.all(np.isfinite(power)) or not np.isfinite(third_order_dbm):
            raise ValueError("carrier_dbm holds one finite level for each carrier, third_order_dbm is one")
        spec = specified_dbm(np.abs(c.astype(np.int64)).sum(axis=1), third_order_dbm)
        levels = 10.0 ** (product_level_dbm(c, power, spec, slope_db_per_db) / 10.0)
    return _Search(lists, widths, ranges, c, levels, apart, most_tests).run()


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """Products that may reach one range, of carriers up to `before` and of the last carrier `last`."""

    coefficients: Array  # [v, before + 1]
    of_last: Array  # [v]
    middle: float  # of the range
    reach: Array  # [v], half of the range and of the product: nearer to the middle than this is a hit
    cost: Array  # [v]
    about_zero: bool  # a centre of 0, which is no product, could pass for a hit


class _Search:
    """
    Carriers are placed in order. `ahead[e]` holds what each allowed centre of a carrier not yet placed adds with those in place; the
    least of each of these rows has to be paid in any case, which is the bound.
    """

    def __init__(
        self,
        lists: list[Ints],
        widths: Ints,
        ranges: Ints,
        c: NDArray[np.int8],
        levels: Array | None,
        apart: bool,
        most: int,
    ) -> None:
        # Carriers that stay come first: they cost nothing to place, and the order of listing is that of the others.
        self.order = sorted(range(len(lists)), key=lambda n: (lists[n].size > 1, n))
        self.lists = [lists[n].astype(np.float64) for n in self.order]
        self.widths = widths[self.order].astype(np.float64)
        self.apart, self.most, self.by_level = apart, most, levels is not None
        self.tests = 0
        self.placed = np.zeros(len(lists))
        self.choice = [0] * len(lists)
        self.best_cost = np.inf
        self.best_choice: tuple[int, ...] | None = None
        self.open_cost = np.inf
        self.stopped = False
        # groups[d + 1][e]: the last carrier is e, the one before it d; -1 if there is none.
        self.groups: list[list[list[_Group]]] = [[[] for _ in lists] for _ in range(len(lists) + 1)]
        self._gather(c[:, self.order].astype(np.float64), ranges.astype(np.float64), levels)

    def _gather(self, c: Array, ranges: Array, levels: Array | None) -> None:
        width = np.abs(c) @ self.widths
        low, high = (np.array([f(x) for x in self.lists]) for f in (np.min, np.max))
        least = np.maximum(c, 0) @ low + np.minimum(c, 0) @ high
        most = np.maximum(c, 0) @ high + np.minimum(c, 0) @ low
        cost = np.ones(width.size) if levels is None else levels
        used = c != 0
        last = c.shape[1] - 1 - np.argmax(used[:, ::-1], axis=1)
        used[np.arange(last.size), last] = False
        before = np.where(used.any(axis=1), c.shape[1] - 1 - np.argmax(used[:, ::-1], axis=1), -1)
        for a, b in ranges:
            middle, reach = (a + b) / 2, (b - a + width) / 2
            # c and -c are one product: its place is the magnitude of its centre.
            near = np.maximum(np.maximum(least, -most), 0.0)
            far = np.maximum(np.abs(least), np.abs(most))
            may = (near < middle + reach) & (far > middle - reach)
            for d in range(-1, c.shape[1]):
                for e in range(d + 1, c.shape[1]):
                    at = np.flatnonzero(may & (last == e) & (before == d))
                    if at.size:
                        zero = bool(np.any(reach[at] > middle))
                        group = _Group(c[at, : d + 1], c[at, e], float(middle), reach[at], cost[at], zero)
                        self.groups[d + 1][e].append(group)

    def _added(self, depth: int, e: int) -> Array:
        """What the products of carrier `depth`, just placed, and of e and earlier ones add, for each allowed centre of e."""
        at = self.lists[e]
        out = np.zeros(at.size)
        for some in self.groups[depth + 1][e]:
            base = some.coefficients @ self.placed[: depth + 1]
            step = max(1, _PIECE // base.size)
            for first in range(0, at.size, step):
                f = some.of_last[:, None] * at[first : first + step]
                f += base[:, None]
                np.abs(f, out=f)
                if some.about_zero:
                    f[f == 0] = np.inf
                f -= some.middle
                np.abs(f, out=f)
                hit = f < some.reach[:, None]
                out[first : first + step] += some.cost @ hit if self.by_level else np.count_nonzero(hit, axis=0)
            self.tests += base.size * at.size
        if self.apart and depth >= 0:
            self.tests += at.size
            out[2 * np.abs(at - self.placed[depth]) < self.widths[depth] + self.widths[e]] = np.inf
        return out

    def _descend(self, depth: int, cost: float, ahead: list[Array], in_order: bool, worst: float) -> bool:
        """
        Place the carriers from `depth` on. In order of listing it stops at the first plan that costs `worst` at most; else the cheapest
        next centre goes first, and every plan that is better than the best is kept.
        """
        if depth == len(self.lists):
            if in_order or cost < self.best_cost - _ROUNDING * cost:
                self.best_cost, self.best_choice = cost, tuple(self.choice)
            return in_order
        added = ahead[0] + (cost + sum(float(row.min()) for row in ahead[1:]))
        ranked = np.arange(added.size) if in_order else np.argsort(added, kind="stable")
        for n, k in enumerate(ranked):
            if self._ruled_out(float(added[k]), in_order, worst):
                continue
            # One whole plan is made in any case, unless even that takes far too long.
            if self.stopped or self.tests > (
                self.most if self.best_choice is not None else 2 * self.most + _FIRST_PLAN
            ):
                self.stopped = True
                self.open_cost = min(self.open_cost, float(added[ranked[n:]].min()))
                return False
            self.placed[depth], self.choice[depth] = self.lists[depth][k], int(k)
            next_ahead = [row + self._added(depth, depth + 1 + i) for i, row in enumerate(ahead[1:])]
            there = cost + float(ahead[0][k])
            bound = there + sum(float(row.min()) for row in next_ahead)
            if self._ruled_out(bound, in_order, worst):
                continue
            if self._descend(depth + 1, there, next_ahead, in_order, worst):
                return True
        return False

    def _ruled_out(self, bound: float, in_order: bool, worst: float) -> bool:
        if not np.isfinite(bound):
            return True
        return bound > worst if in_order else bound >= self.best_cost - _ROUNDING * bound

    def run(self) -> Plan:
        plans = prod(x.size for x in self.lists)
        ahead = [self._added(-1, e) for e in range(len(self.lists))]
        self._descend(0, 0.0, ahead, False, np.inf)
        least = min(self.best_cost, self.open_cost)
        exhaustive = not self.stopped
        if exhaustive and self.best_choice is not None:
            # The least cost is known; now the first plan in order of listing that has it.
            found, self.most = self.best_choice, self.tests + self.most
            if not self._descend(0, 0.0, ahead, True, self.best_cost * (1 + _ROUNDING)):
                self.best_choice, exhaustive = found, False
        if self.best_choice is None:
            return Plan((), (), 0, np.nan, np.inf, float(least), exhaustive, plans, self.tests)
        return self._plan(self.best_choice, float(least), exhaustive, plans)

    def _plan(self, choice: tuple[int, ...], least: float, exhaustive: bool, plans: int) -> Plan:
        back, centres = [0] * len(choice), [0] * len(choice)
        for place, n in enumerate(self.order):
            self.placed[place] = self.lists[place][choice[place]]
            back[n], centres[n] = choice[place], int(self.placed[place])
        hits, power = 0, 0.0
        for d, row in enumerate(self.groups):
            for e, groups in enumerate(row):
                for some in groups:
                    f = np.abs(some.coefficients @ self.placed[:d] + some.of_last * self.placed[e])
                    hit = (np.abs(f - some.middle) < some.reach) & (f > 0)
                    hits, power = hits + int(hit.sum()), power + float(some.cost[hit].sum())
        with np.errstate(divide="ignore"):
            level = float(10.0 * np.log10(power)) if self.by_level else np.nan
        return Plan(tuple(centres), tuple(back), hits, level, power, least, exhaustive, plans, self.tests)
