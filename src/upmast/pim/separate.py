"""
Which carriers to move or to keep apart, given the products that hit and their levels.

A product is gone once one of its carriers moves, or once two of its carriers no longer meet in one passive part. So every carrier, and
every pair, is judged by what is left without it. Where no single one is enough, the least set of carriers that takes all hits away, and
the best split of the carriers onto two chains, are found exactly.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.pim.hertz import carriers_hz, ranges_hz
from upmast.pim.level import channel_share, noise_rise_db, product_level_dbm, specified_dbm
from upmast.pim.products import Products

__all__ = [
    "Impact", "Split", "best_split", "hit_levels_dbm", "least_carriers_to_move", "noise_rises_db", "rank_carriers", "rank_pairs",
]  # fmt: skip

Array = NDArray[np.float64]
Masks = NDArray[np.int64]
MOST_CARRIERS = 62  # of one set: one bit each
MOST_SPLIT = 20  # carriers up to which every split is looked at
_SAME_DB = 1e-9  # rises closer than this count as equal, so that rounding doesn't decide an order
_CHUNK = 4096


@dataclass(frozen=True, slots=True)
class Impact:
    """
    What is left once some carriers move, or no longer meet.

    carriers: which. hits_gone, hits_left: rows of the list of hits. worst_rise_db: greatest noise rise of a channel then; relief_db: by
    how much that is less than before. total_relief_db: sum over the channels of what each gains.
    """

    carriers: tuple[int, ...]
    hits_gone: int
    hits_left: int
    worst_rise_db: float
    relief_db: float
    total_relief_db: float


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


def hit_levels_dbm(
    found: Products,
    centres_hz: ArrayLike,
    widths_hz: ArrayLike,
    carrier_dbm: ArrayLike,
    receive_ranges_hz: ArrayLike,
    third_order_dbm: float,
    slope_db_per_db: ArrayLike | None = None,
    modulated: bool = True,
) -> Array:
    """
    Level of each hit inside its receive range, dBm at the source: `product_level_dbm` and 10 log10 of its `channel_share`.

    Parameters
    ----------
    found: from `products_in`, with the same carriers and ranges. carrier_dbm [dBm]: shape (N,). third_order_dbm [dBm]: two-tone level of
    order 3; higher ones by `specified_dbm`. Subtract what lies between source and receiver from the result.

    Returns
    -------
    Shape (k,), one for each row of `found`; -inf where the share is nothing.

    >>> from upmast.pim.products import products_in
    >>> plan = ([930_000_000, 957_000_000], [5_000_000, 5_000_000])
    >>> found = products_in(*plan, [[880_000_000, 915_000_000]], [3])
    >>> hit_levels_dbm(found, *plan, [43.0, 43.0], [[880_000_000, 915_000_000]], -107.0).round(2)
    array([-103.99])
    """
    centres, widths = carriers_hz(centres_hz, widths_hz)
    ranges = ranges_hz(receive_ranges_hz)
    if found.coefficients.shape[1] != centres.size or np.any((found.receive < 0) | (found.receive >= len(ranges))):
        raise ValueError("the hits are of other carriers or ranges: list them by products_in with the same ones")
    if found.order.size == 0:
        return np.zeros(0)
    spec = specified_dbm(found.order, third_order_dbm)
    level = product_level_dbm(found.coefficients, carrier_dbm, spec, slope_db_per_db, modulated)
    low, high = ranges[found.receive].T
    with np.errstate(divide="ignore"):
        return np.asarray(level + 10.0 * np.log10(channel_share(found.coefficients, centres, widths, low, high)))


def noise_rises_db(level_dbm: ArrayLike, receive: ArrayLike, noise_dbm: ArrayLike) -> Array:
    """
    Noise rise of each channel by the hits in it, added by their powers, dB.

    Parameters
    ----------
    level_dbm [dBm]: of each hit in its channel, at the receiver, (k,). receive: channel of each, (k,). noise_dbm [dBm]: of each channel,
    (R,).

    Returns
    -------
    Shape (R,), 0 where nothing hits. Source: own derivation, independent products.

    >>> noise_rises_db([-100.0, -100.0], [0, 0], [-96.9897, -100.0]).round(2)
    array([3.01, 0.  ])
    """
    level, at, noise = _hits(level_dbm, receive, noise_dbm)
    power = np.bincount(at, 10.0 ** (level / 10.0), noise.size)
    with np.errstate(divide="ignore"):
        return noise_rise_db(10.0 * np.log10(power), noise)


def rank_carriers(
    coefficients: ArrayLike, level_dbm: ArrayLike, receive: ArrayLike, noise_dbm: ArrayLike
) -> tuple[Impact, ...]:
    """
    Carriers by what moving each one away would leave, the most helpful first.

    Every hit that holds the carrier is taken as gone; what it hits at its new place is not looked at here (`replan` does).

    Parameters
    ----------
    coefficients: of the hits, (k, N). level_dbm, receive, noise_dbm: as in `noise_rises_db`.

    Returns
    -------
    Carriers that are in some hit. Order: least greatest rise, then most relief over all channels, then fewest hits left, then by number.

    Source: remove one, count again.

    >>> hits = [[2, -1, 0], [2, -1, 0], [0, 2, -1]]
    >>> [(one.carriers, one.hits_left) for one in rank_carriers(hits, [-100.0, -100.0, -110.0], [0, 1, 0], [-100.0, -100.0])]
    [((1,), 0), ((0,), 1), ((2,), 2)]
    """
    used = _used(coefficients)
    return _ranked([(n,) for n in range(used.shape[1])], used, level_dbm, receive, noise_dbm)


def rank_pairs(
    coefficients: ArrayLike, level_dbm: ArrayLike, receive: ArrayLike, noise_dbm: ArrayLike
) -> tuple[Impact, ...]:
    """
    Pairs of carriers by what keeping each pair apart (no passive part in common) would leave, the most helpful first.

    A hit is gone if it holds both. Products of one carrier alone stay, whatever is kept apart.

    Parameters
    ----------
    As in `rank_carriers`.

    Returns
    -------
    Pairs that are in some hit together; order as in `rank_carriers`.

    >>> hits = [[2, -1, 0], [2, -1, 0], [0, 2, -1]]
    >>> [(one.carriers, one.hits_gone) for one in rank_pairs(hits, [-100.0, -100.0, -110.0], [0, 1, 0], [-100.0, -100.0])]
    [((0, 1), 2), ((1, 2), 1)]
    """
    used = _used(coefficients)
    return _ranked(list(combinations(range(used.shape[1]), 2)), used, level_dbm, receive, noise_dbm)


def least_carriers_to_move(coefficients: ArrayLike) -> tuple[int, ...]:
    """
    The smallest set of carriers that every hit holds one of: once they are all moved, no hit is left. Exact; of equal sets the first.

    Found by growing the size by one at a time: some carrier of each hit must be in the set, so only those of the first hit that is
    still there are tried.

    Parameters
    ----------
    coefficients: of the hits, (k, N).

    Returns
    -------
    Carriers by number; none if there are no hits. Source: smallest hitting set, own search; checked by trying every set.

    >>> least_carriers_to_move([[2, -1, 0, 0], [0, 2, -1, 0], [0, 0, 2, -1]])
    (0, 2)
    """
    used = _used(coefficients)
    masks = _least_masks(_masks(used))
    for size in range(used.shape[1] + 1):
        found = _hitting(masks, size)
        if found is not None:
            return found
    raise AssertionError("all carriers together hit everything")


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
    used = _used(coefficients)
    level, at, noise = _hits(level_dbm, receive, noise_dbm)
    if level.size != used.shape[0]:
        raise ValueError("coefficients and level_dbm hold one row for each hit")
    groups = _groups(used.shape[1], together)
    held = np.stack([used[:, list(group)].any(axis=1) for group in groups], axis=1)
    # Hits of one set of groups in one channel stand or fall together.
    key, row = np.unique(np.column_stack([_masks(held), at]), axis=0, return_inverse=True)
    row = row.ravel()
    power = np.asarray(np.bincount(row, 10.0 ** (level / 10.0), len(key)), float)
    number = np.asarray(np.bincount(row, minlength=len(key)), float)
    rest = _Rest(key[:, 0], key[:, 1], power, number, noise)
    count = len(groups)
    if count <= MOST_SPLIT:
        # Group 0 stays on the first chain; bit g of a mask puts group g on the second.
        best = rest.best(np.arange(1 << (count - 1), dtype=np.int64) << 1)
    else:
        best = _climbed(rest, count)
    worst, total, hits = (x[0] for x in rest.left(np.array([best])))
    second = sorted(n for g, group in enumerate(groups) if best >> g & 1 for n in group)
    first = sorted(set(range(used.shape[1])) - set(second))
    return Split(tuple(first), tuple(second), int(hits), float(worst), float(total), count <= MOST_SPLIT)


# --- helpers ----------------------------------------------------------------------------------------------------------


def _used(coefficients: ArrayLike) -> NDArray[np.bool_]:
    """Which carriers each hit holds, (k, N)."""
    c = np.asarray(coefficients)
    if c.ndim != 2 or c.shape[1] == 0:
        raise ValueError("coefficients holds one row of carriers for each hit, shape (k, N)")
    if c.shape[1] > MOST_CARRIERS:
        raise ValueError(f"at most {MOST_CARRIERS} carriers can be looked at together")
    used = np.asarray(c != 0)
    if not np.all(used.any(axis=1)):
        raise ValueError("a hit holds at least one carrier")
    return used


def _hits(level_dbm: ArrayLike, receive: ArrayLike, noise_dbm: ArrayLike) -> tuple[Array, NDArray[np.int64], Array]:
    level, noise = np.asarray(level_dbm, float), np.asarray(noise_dbm, float)
    at = np.asarray(receive)
    if level.ndim != 1 or at.shape != level.shape or noise.ndim != 1:
        raise ValueError("level_dbm and receive hold one value for each hit, noise_dbm one for each channel")
    if np.any(np.isnan(level) | (level == np.inf)) or not np.all(np.isfinite(noise)):
        raise ValueError("levels and noise are finite; a level may be -inf")
    if at.size and not np.all((at == np.rint(at)) & (at >= 0) & (at < noise.size)):
        raise ValueError("receive names channels of noise_dbm, from 0")
    return level, at.astype(np.int64), noise


def _masks(used: NDArray[np.bool_]) -> Masks:
    return np.asarray(used.astype(np.int64) @ (np.int64(1) << np.arange(used.shape[1], dtype=np.int64)))


def _ranked(
    sets: Iterable[tuple[int, ...]],
    used: NDArray[np.bool_],
    level_dbm: ArrayLike,
    receive: ArrayLike,
    noise_dbm: ArrayLike,
) -> tuple[Impact, ...]:
    level, at, noise = _hits(level_dbm, receive, noise_dbm)
    if level.size != used.shape[0]:
        raise ValueError("coefficients and level_dbm hold one row for each hit")
    before = noise_rises_db(level, at, noise)
    out = []
    for carriers in sets:
        gone = used[:, list(carriers)].all(axis=1)
        if not gone.any():
            continue
        after = noise_rises_db(level[~gone], at[~gone], noise)
        out.append(
            Impact(
                carriers, int(gone.sum()), int((~gone).sum()), float(after.max()), float(before.max() - after.max()),
                float((before - after).sum()),
            )
        )  # fmt: skip
    return tuple(
        sorted(
            out, key=lambda one: (_step(one.worst_rise_db), -_step(one.total_relief_db), one.hits_left, one.carriers)
        )
    )


def _step(value_db: float) -> int:
    return round(value_db / _SAME_DB)


def _least_masks(masks: Masks) -> list[int]:
    """Masks that hold no other one, rising by size: to hit those is to hit all."""
    out: list[int] = []
    for mask in sorted(set(masks.tolist()), key=lambda m: (m.bit_count(), m)):
        if not any(one & mask == one for one in out):
            out.append(mask)
    return out


def _hitting(masks: list[int], size: int) -> tuple[int, ...] | None:
    """The first set of at most `size` carriers, by number, that meets every mask."""
    best: tuple[int, ...] | None = None

    def grow(chosen: int, left: int) -> None:
        nonlocal best
        missing = [m for m in masks if not m & chosen]
        if not missing:
            found = tuple(n for n in range(chosen.bit_length()) if chosen >> n & 1)
            best = found if best is None or found < best else best
            return
        if left == 0 or _apart(missing) > left:
            return
        target = missing[0]
        for n in range(target.bit_length()):
            if target >> n & 1:
                grow(chosen | 1 << n, left - 1)

    grow(0, size)
    return best


def _apart(masks: list[int]) -> int:
    """Masks without a common carrier, taken greedily: each needs a carrier of its own."""
    seen, number = 0, 0
    for mask in masks:
        if not mask & seen:
            seen |= mask
            number += 1
    return number


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

    def best(self, second: Masks) -> int:
        """The best of many splits; ties as `best_split` says."""
        winners: list[tuple[tuple[int, int, int, int, int], int]] = []
        for first in range(0, second.size, _CHUNK):
            some = second[first : first + _CHUNK]
            worst, total, hits = self.left(some)
            keys = [np.rint(worst / _SAME_DB), np.rint(total / _SAME_DB), hits]
            size = np.array([int(m).bit_count() for m in some])
            at = np.lexsort((some, size, *reversed(keys)))[0]
            key = tuple(int(x[at]) for x in (*keys, size, some))
            winners.append(((key[0], key[1], key[2], key[3], key[4]), int(some[at])))
        return min(winners)[1]


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
