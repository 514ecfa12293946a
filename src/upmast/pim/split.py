"""
The best split of carriers onto two chains that share no passive part, given the products that hit and their levels.

What one chain makes of its own carriers is a sum over the sets of carriers that lie wholly on it. All these sums together are made one
carrier at a time, so that every split can be looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.pim.level import noise_rise_db
from upmast.pim.separate import SAME_DB, bits_of, hits_of, used_by

__all__ = ["Split", "best_split"]

Array = NDArray[np.float64]
Masks = NDArray[np.int64]
MOST_SPLIT = 20  # groups of carriers up to which every split is looked at


@dataclass(frozen=True, slots=True)
class Split:
    """
    Carriers onto two chains that share no passive part.

    first, second: carriers of each; the first one holds carrier 0. exhaustive: True if every split was looked at; else it is the best
    that moving one carrier at a time, or exchanging two, leads to, and a better one may exist.
    """

    first: tuple[int, ...]
    second: tuple[int, ...]
    hits_left: int
    worst_rise_db: float
    total_rise_db: float
    exhaustive: bool


def best_split(
    coefficients: ArrayLike,
    level_dbm: ArrayLike,
    receive: ArrayLike,
    noise_dbm: ArrayLike,
    together: Sequence[Sequence[int]] = (),
) -> Split:
    """
    The split of carriers onto two chains without a common passive part that leaves the least.

    A hit stays if all its carriers are on one chain. Least greatest noise rise first, then least sum of rises over the channels, then
    fewest hits, then the split with the fewest carriers on the second chain, then by number. Exact up to 20 groups.

    Parameters
    ----------
    coefficients, level_dbm, receive, noise_dbm: as in `rank_carriers`. together: sets of carriers that cannot be parted (one radio).

    Returns
    -------
    `Split`; the second chain is empty where parting gains nothing.

    >>> best_split([[2, -1, 0], [0, 2, -1]], [-100.0, -110.0], [0, 0], [-100.0]).second
    (1,)
    """
    used = used_by(coefficients)
    level, at, noise = hits_of(level_dbm, receive, noise_dbm)
    if level.size != used.shape[0]:
        raise ValueError("coefficients and level_dbm hold one row for each hit")
    groups = _groups(used.shape[1], together)
    held = np.stack([used[:, list(group)].any(axis=1) for group in groups], axis=1)
    # Hits of one set of groups in one channel stand or fall together.
    key, row = np.unique(np.column_stack([bits_of(held), at]), axis=0, return_inverse=True)
    row = row.ravel()
    power = np.asarray(np.bincount(row, 10.0 ** (level / 10.0), len(key)), float)
    number = np.asarray(np.bincount(row, minlength=len(key)), float)
    rest = _Rest(key[:, 0], key[:, 1], power, number, noise)
    count = len(groups)
    # Group 0 stays on the first chain; bit g of a mask puts group g on the second.
    best = rest.best_of_all(count) if count <= MOST_SPLIT else _climbed(rest, count)
    worst, total, hits = (float(x[0]) for x in rest.left(np.array([best])))
    second = sorted(n for g, group in enumerate(groups) if best >> g & 1 for n in group)
    first = sorted(set(range(used.shape[1])) - set(second))
    return Split(tuple(first), tuple(second), round(hits), worst, total, count <= MOST_SPLIT)


def _groups(carriers: int, together: Sequence[Sequence[int]]) -> list[tuple[int, ...]]:
    """Carriers that go together, in order of their first one."""
    of = list(range(carriers))
    for group in together:
        if not all(isinstance(n, int | np.integer) and 0 <= n < carriers for n in group):
            raise ValueError(f"together names carriers 0 to {carriers - 1}")
        roots = {of[n] for n in group}
        of = [min(roots) if root in roots else root for root in of]
    return [tuple(n for n in range(carriers) if of[n] == root) for root in sorted(set(of))]


@dataclass(frozen=True, slots=True, eq=False)
class _Rest:
    """Hits gathered by set of groups and channel, and what a split leaves of them."""

    mask: Masks
    channel: NDArray[np.int64]
    power_mw: Array
    number: Array
    noise: Array

    def left(self, second: Masks) -> tuple[Array, Array, Array]:
        """Greatest rise, sum of rises, and hits that splits leave, each shape (splits,)."""
        part = second[:, None] & self.mask
        stays = ((part == 0) | (part == self.mask)).astype(float)
        rises = np.zeros((second.size, self.noise.size))
        for r in range(self.noise.size):
            here = self.channel == r
            with np.errstate(divide="ignore"):
                rises[:, r] = noise_rise_db(10.0 * np.log10(stays[:, here] @ self.power_mw[here]), self.noise[r])
        return rises.max(axis=1, initial=0.0), rises.sum(axis=1), stays @ self.number

    def best_of_all(self, groups: int) -> int:
        """
        The best of all splits. What is wholly within a set of groups is a sum over its subsets, made for all sets at once, one group
        at a time; the rest of the groups is the same list read backwards.
        """
        within = [np.zeros(1 << groups) for _ in range(2)]
        worst, total, hits = (np.zeros(1 << (groups - 1)) for _ in range(3))
        for r in range(self.noise.size):
            here = self.channel == r
            if not here.any():
                continue
            for row, value in zip(within, (self.power_mw, self.number), strict=True):
                row[:] = 0.0
                np.add.at(row, self.mask[here], value[here])
                for g in range(groups):
                    halves = row.reshape(-1, 2, 1 << g)
                    halves[:, 1] += halves[:, 0]
            with np.errstate(divide="ignore"):
                rise = noise_rise_db(10.0 * np.log10((within[0] + within[0][::-1])[::2]), self.noise[r])
            worst, total = np.maximum(worst, rise), total + rise
            hits += (within[1] + within[1][::-1])[::2]
        return _first(np.arange(1 << (groups - 1), dtype=np.int64) << 1, worst, total, hits)

    def best(self, second: Masks) -> int:
        """The best of some splits."""
        return _first(second, *self.left(second))


def _first(second: Masks, worst: Array, total: Array, hits: Array) -> int:
    """The split that goes first: by rises, hits, number of groups on the second chain, and number."""
    rows = np.arange(second.size)
    for key in (np.rint(worst / SAME_DB), np.rint(total / SAME_DB), np.rint(hits)):
        rows = rows[key[rows] == key[rows].min()]
    return min((int(m).bit_count(), int(m)) for m in second[rows])[1]


def _climbed(rest: _Rest, groups: int) -> int:
    """From all on one chain: move one group or exchange two as long as that helps."""
    now = 0
    while True:
        ones = [now ^ 1 << g for g in range(1, groups)]
        twos = [now ^ 1 << g ^ 1 << h for g, h in combinations(range(1, groups), 2)]
        found = rest.best(np.array([now, *ones, *twos], dtype=np.int64))
        if found == now:
            return now
        now = found
