"""
Which carriers to move or to keep apart, given the products that hit and their levels.

A product is gone once one of its carriers moves, or once two of its carriers no longer meet in one passive part. So every carrier, and
every pair, is judged by what is left without it. Where no single one is enough, the least set of carriers that takes all hits away is
found exactly; for a split of all carriers onto two chains see `upmast.pim.split`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.pim.hertz import carriers_hz, ranges_hz
from upmast.pim.level import channel_share, noise_rise_db, product_level_dbm, specified_dbm
from upmast.pim.products import Products

__all__ = [
    "Impact", "hit_levels_dbm", "least_carriers_to_move", "noise_rises_db", "rank_carriers", "rank_pairs",
]  # fmt: skip

Array = NDArray[np.float64]
Masks = NDArray[np.int64]
MOST_CARRIERS = 62  # of one set: one bit each
SAME_DB = 1e-9  # rises closer than this count as equal, so that rounding doesn't decide an order


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
    Shape (k,), one for each row of `found`; -inf where the share is nothing. Some tenths of a second for a thousand hits.

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
    level, at, noise = hits_of(level_dbm, receive, noise_dbm)
    power = np.bincount(at, 10.0 ** (level / 10.0), noise.size)
    with np.errstate(divide="ignore"):
        return noise_rise_db(10.0 * np.log10(power), noise)


def rank_carriers(
    coefficients: ArrayLike, level_dbm: ArrayLike, receive: ArrayLike, noise_dbm: ArrayLike
) -> tuple[Impact, ...]:
    """
    Carriers by what moving each one away would leave, the most helpful first.

    Every hit that holds the carrier is taken as gone; what it hits at its new place is not looked at here (`best_plan` does).

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
    used = used_by(coefficients)
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
    used = used_by(coefficients)
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
    used = used_by(coefficients)
    masks = _least_masks(bits_of(used))
    for size in range(used.shape[1] + 1):
        found = _hitting(masks, size)
        if found is not None:
            return found
    raise AssertionError("all carriers together hit everything")


# --- helpers ----------------------------------------------------------------------------------------------------------


def used_by(coefficients: ArrayLike) -> NDArray[np.bool_]:
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


def hits_of(level_dbm: ArrayLike, receive: ArrayLike, noise_dbm: ArrayLike) -> tuple[Array, NDArray[np.int64], Array]:
    level, noise = np.asarray(level_dbm, float), np.asarray(noise_dbm, float)
    at = np.asarray(receive)
    if level.ndim != 1 or at.shape != level.shape or noise.ndim != 1:
        raise ValueError("level_dbm and receive hold one value for each hit, noise_dbm one for each channel")
    if np.any(np.isnan(level) | (level == np.inf)) or not np.all(np.isfinite(noise)):
        raise ValueError("levels and noise are finite; a level may be -inf")
    if at.size and not np.all((at == np.rint(at)) & (at >= 0) & (at < noise.size)):
        raise ValueError("receive names channels of noise_dbm, from 0")
    return level, at.astype(np.int64), noise


def bits_of(used: NDArray[np.bool_]) -> Masks:
    return np.asarray(used.astype(np.int64) @ (np.int64(1) << np.arange(used.shape[1], dtype=np.int64)))


def _ranked(
    sets: Iterable[tuple[int, ...]],
    used: NDArray[np.bool_],
    level_dbm: ArrayLike,
    receive: ArrayLike,
    noise_dbm: ArrayLike,
) -> tuple[Impact, ...]:
    level, at, noise = hits_of(level_dbm, receive, noise_dbm)
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
    return round(value_db / SAME_DB)


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
