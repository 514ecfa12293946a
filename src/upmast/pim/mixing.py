"""
Carriers of one passive chain or one place on the mast, receive channels, and what their products do there.

A receiver in a band that takes turns listens while the carriers of that band are silent: products with such a carrier do not
hit it. All carriers of one such band are taken to be in step.

The same question is asked for every equal sector of a site, so answers are kept by its carriers and channels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from upmast.pim.level import (
    channel_share,
    dbm_from_dbc,
    noise_floor_dbm,
    noise_rise_db,
    power_sum_dbm,
    product_level_dbm,
    specified_dbm,
)
from upmast.pim.products import ODD_ORDERS, product_count, products_in
from upmast.pim.regrowth import regrowth_in

Array = NDArray[np.float64]
Range = tuple[int, int]
NEVER: Range = (0, 0)
PORT_ISOLATION_DB = 20.0  # between two ports of one antenna, at least: common practice, no source
NOISE_FIGURE_DB = 3.0  # of the receiver at its port: common practice, no source
MOST_TRIED = (
    100_000  # products of one order that are still looked at for a finding; higher orders are left out, and said so
)
MOST_FOR_FIGURE = 6_000  # the same where only a count is asked for
BATCH, MOST_EXACT = (
    4,
    32,
)  # products of a channel whose share in it is computed, strongest first; the others get a bound
SMALL_REST = 0.05  # share of the power that may stay bounded instead of computed
TERMS_SHOWN = 4


@dataclass(frozen=True, slots=True, order=True)
class Tone:
    """One carrier: centre and width in hertz, and the span of its band where that takes turns, else (0, 0)."""

    centre_hz: int
    width_hz: int
    tdd_hz: Range = NEVER


@dataclass(frozen=True, slots=True, order=True)
class Receive:
    """One receive channel, its band, and the span of the band where that takes turns, else (0, 0)."""

    low_hz: int
    high_hz: int
    band: str = ""
    tdd_hz: Range = NEVER


@dataclass(frozen=True, eq=False)
class Hits:
    """Products that hit, lowest order first. `receive` indexes the channels; `orders` says which orders were looked at."""

    coefficients: NDArray[np.int8]  # [k, n]
    order: NDArray[np.int64]
    centre_hz: NDArray[np.int64]
    width_hz: NDArray[np.int64]
    receive: NDArray[np.int64]
    orders: tuple[int, ...]

    def distinct(self) -> int:
        """Number of products; one that hits two channels counts once."""
        if self.coefficients.size == 0:
            return 0
        rows = np.ascontiguousarray(self.coefficients)
        return len(set(rows.view(f"V{rows.shape[1]}").ravel().tolist()))

    def take(self, rows: NDArray[np.bool_]) -> Hits:
        return Hits(
            self.coefficients[rows], self.order[rows], self.centre_hz[rows], self.width_hz[rows], self.receive[rows], self.orders
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Term:
    """One product in the channel that suffers most: its vector, order, centre, level at the receiver, share in the channel."""

    coefficients: tuple[int, ...]
    order: int
    centre_hz: int
    level_dbm: float
    share: float


@dataclass(frozen=True, slots=True)
class Rise:
    """Noise rise of the channel that suffers most: which one, its terms (strongest first), and what the other terms add."""

    rise_db: float
    receive: int
    interference_dbm: float
    noise_dbm: float
    terms: tuple[Term, ...]
    rest_dbm: float  # -inf if there are no others


def orders_tried(carriers: int, most: int = MOST_TRIED) -> tuple[int, ...]:
    """Odd orders up to 7 that can be looked at one by one for so many carriers; the third up to `MOST_TRIED` in any case."""
    limits = {3: max(most, MOST_TRIED)}
    return tuple(n for n in ODD_ORDERS if carriers and product_count(carriers, n) <= limits.get(n, most))


@lru_cache(maxsize=512)
def hits(tones: tuple[Tone, ...], channels: tuple[Receive, ...], most: int = MOST_TRIED) -> Hits:
    """Products of carriers that hit receive channels; `most` as in `orders_tried`."""
    count = len(tones)
    orders = orders_tried(count, most)
    found: list[tuple[NDArray[np.int64], ...]] = []
    vectors: list[NDArray[np.int8]] = []
    for span in sorted({one.tdd_hz for one in channels}):
        sending = [n for n, tone in enumerate(tones) if not _overlap(tone.tdd_hz, span)]
        at = [n for n, one in enumerate(channels) if one.tdd_hz == span]
        if not sending or not orders:
            continue
        made = products_in(
            [tones[n].centre_hz for n in sending], [tones[n].width_hz for n in sending],
            [(channels[n].low_hz, channels[n].high_hz) for n in at], orders, len(at) * len(orders) * MOST_TRIED,
        )  # fmt: skip
        wide = np.zeros((made.order.size, count), np.int8)
        wide[:, sending] = made.coefficients
        vectors.append(wide)
        found.append((made.order, made.centre_hz, made.width_hz, np.asarray(at, np.int64)[made.receive]))
    if not found:
        none = np.zeros(0, np.int64)
        return Hits(np.zeros((0, count), np.int8), none, none, none, none, orders)
    order, centre, width, receive = (np.concatenate(column) for column in zip(*found, strict=True))
    rank = np.lexsort((centre, receive, order))
    return Hits(np.concatenate(vectors)[rank], order[rank], centre[rank], width[rank], receive[rank], orders)


@lru_cache(maxsize=512)
def all_hits(tones: tuple[Tone, ...], channels: tuple[Receive, ...], most: int = MOST_TRIED, highest: int = 7) -> Hits:
    """
    Products of carriers that hit receive channels, and those of carriers with their own mirrors, over carriers and their twins.

    The coefficients have a column for each carrier and one for its twin: see `upmast.pim.regrowth`. highest: order up to which.
    """
    plain = hits(tones, channels, most)
    keep = plain.order <= highest
    count = len(tones)
    wide = np.zeros((int(keep.sum()), 2 * count), np.int8)
    wide[:, :count] = plain.coefficients[keep]
    vectors, order, centre, width, receive = (
        [wide],
        [plain.order[keep]],
        [plain.centre_hz[keep]],
        [plain.width_hz[keep]],
        [plain.receive[keep]],
    )
    for span in sorted({one.tdd_hz for one in channels}):
        sending = [n for n, tone in enumerate(tones) if not _overlap(tone.tdd_hz, span) and tone.width_hz > 0]
        at = [n for n, one in enumerate(channels) if one.tdd_hz == span]
        if not sending or 3 not in plain.orders:
            continue
        c, f, w, r = regrowth_in(
            [tones[n].centre_hz for n in sending], [tones[n].width_hz for n in sending],
            [(channels[n].low_hz, channels[n].high_hz) for n in at],
        )  # fmt: skip
        rows = np.zeros((f.size, 2 * count), np.int8)
        rows[:, [*sending, *(count + n for n in sending)]] = c
        vectors.append(rows)
        order.append(np.full(f.size, 3, np.int64))
        centre.append(f)
        width.append(w)
        receive.append(np.asarray(at, np.int64)[r])
    orders_all, centres, widths_all, received = (np.concatenate(x) for x in (order, centre, width, receive))
    rank = np.lexsort((centres, received, orders_all))
    orders = tuple(n for n in plain.orders if n <= highest)
    return Hits(
        np.concatenate(vectors)[rank], orders_all[rank], centres[rank], widths_all[rank], received[rank], orders
    )


def _overlap(a: Range, b: Range) -> bool:
    return a[0] < b[1] and b[0] < a[1]


def share_bound(found: Hits, tones: Sequence[Tone], channels: Sequence[Receive]) -> Array:
    """
    Upper bound of the share of each product in its channel: min(1, overlap / B), B the widest carrier in it.

    A convolution with a flat spectrum of width B is nowhere denser than 1/B. A product without width is wholly inside.
    Source: own derivation, checked against the computed share.
    """
    low = np.array([one.low_hz for one in channels], float)[found.receive]
    high = np.array([one.high_hz for one in channels], float)[found.receive]
    half = found.width_hz / 2.0
    overlap = np.minimum(high, found.centre_hz + half) - np.maximum(low, found.centre_hz - half)
    widths = np.array([tone.width_hz for tone in tones], float)
    widest = np.max(np.where(found.coefficients != 0, widths, 0.0), axis=1, initial=0.0)
    return np.asarray(np.clip(np.divide(overlap, widest, out=np.ones_like(overlap), where=widest > 0), 0.0, 1.0))


@lru_cache(maxsize=512)
def noise_rise(
    tones: tuple[Tone, ...],
    power_dbm: tuple[float, ...],
    channels: tuple[Receive, ...],
    level_dbc: float,
    isolation_db: tuple[float, ...],
    highest: int = 7,
) -> Rise | None:
    """
    Largest noise rise of the receive channels by products of the carriers; None if nothing hits.

    Parameters
    ----------
    power_dbm [dBm]: of each carrier at the source. level_dbc [dBc]: third order, two test carriers.
    isolation_db [dB]: from the source to the receiver of each channel; 0 in the same chain. highest: order that still counts.

    The terms name carriers and, behind them, their twins: see `all_hits`.

    All products of a channel add by their powers. Slope: theory, n dB per dB for order n; higher orders from the third by the
    default step. Source: `product_level_dbm`, `noise_rise_db`; bound of the share: own derivation.
    """
    found = all_hits(tones, channels, MOST_TRIED, highest)
    if found.order.size == 0:
        return None
    tones, power_dbm = tones + tones, power_dbm + power_dbm
    level = product_level_dbm(found.coefficients, power_dbm, specified_dbm(found.order, dbm_from_dbc(level_dbc)))
    level = level - np.asarray(isolation_db, float)[found.receive]
    bound = share_bound(found, tones, channels)
    at_most: list[tuple[float, int]] = []
    for channel in sorted(set(found.receive.tolist())):  # np.unique would import far more than it does here
        rows = found.receive == channel
        if np.any(bound[rows] > 0):
            at_most.append((_rise(level[rows], bound[rows], channels[channel])[0], channel))
    best: Rise | None = None
    for most, channel in sorted(at_most, key=lambda row: (-row[0], row[1])):
        if best is not None and most <= best.rise_db:
            break
        one = _refined(found, tones, channels, channel, level, bound)
        if best is None or one.rise_db > best.rise_db:
            best = one
    return best


def _rise(level_dbm: Array, share: Array, channel: Receive) -> tuple[float, float, float]:
    """Noise rise, interference and noise of one channel."""
    inside = level_dbm[share > 0] + 10.0 * np.log10(share[share > 0])
    total = float(power_sum_dbm(inside))
    noise = float(noise_floor_dbm(channel.high_hz - channel.low_hz, NOISE_FIGURE_DB))
    return float(noise_rise_db(total, noise)), total, noise


def _refined(
    found: Hits, tones: Sequence[Tone], channels: Sequence[Receive], channel: int, level: Array, bound: Array
) -> Rise:
    """Noise rise of one channel; the shares of its strongest products computed until the rest weigh little."""
    rows = np.flatnonzero((found.receive == channel) & (bound > 0))
    one = channels[channel]
    share = bound[rows]
    power = 10.0 ** (level[rows] / 10.0)
    rows = rows[np.argsort(-(power * share), kind="stable")]
    share, power = bound[rows], 10.0 ** (level[rows] / 10.0)
    done = 0
    while done < min(rows.size, MOST_EXACT):
        batch = slice(done, done + BATCH)
        done += BATCH
        computed = channel_share(
            found.coefficients[rows[batch]], [tone.centre_hz for tone in tones], [tone.width_hz for tone in tones], one.low_hz, one.high_hz
        )  # fmt: skip
        share[batch] = np.minimum(share[batch], computed)
        inside = power * share
        if inside[done:].sum() <= SMALL_REST * inside.sum():
            break
    rise, total, noise = _rise(level[rows], share, one)
    ranked = np.argsort(-(power * share), kind="stable")
    ranked = ranked[share[ranked] > 0]
    terms = tuple(
        Term(
            tuple(int(c) for c in found.coefficients[rows[n]]), int(found.order[rows[n]]), int(found.centre_hz[rows[n]]),
            float(level[rows[n]]), float(share[n]),
        )
        for n in ranked[:TERMS_SHOWN]
    )  # fmt: skip
    others = ranked[TERMS_SHOWN:]
    rest = float(10.0 * np.log10(np.sum(power[others] * share[others]))) if others.size else float("-inf")
    return Rise(rise, channel, total, noise, terms, rest)


def trade_text(coefficients: Sequence[int], tones: Sequence[Tone]) -> str:
    """A product as the trade writes it: `2x1815.0 - 1855.0 = 1775.0 MHz`, what adds first."""
    parts = sorted((-c, n) for n, c in enumerate(coefficients) if c)
    out = ""
    total = 0
    tones = [*tones, *tones]  # twins have the frequency of their carriers
    for negative, n in parts:
        c = -negative
        total += c * tones[n].centre_hz
        sign = (" + " if c > 0 else " - ") if out else ("" if c > 0 else "-")
        out += sign + (f"{abs(c)}x" if abs(c) > 1 else "") + f"{tones[n].centre_hz / 1e6:.1f}"
    return f"{out} = {total / 1e6:.1f} MHz"


def channel_text(channel: Receive) -> str:
    """A receive channel in words."""
    way = "" if channel.tdd_hz != NEVER else " uplink"
    return f"{channel.band}{way} {channel.low_hz / 1e6:.1f}-{channel.high_hz / 1e6:.1f}".strip()


def example_text(found: Hits, tones: Sequence[Tone], channels: Sequence[Receive]) -> str:
    """The first product of a list in words: what it is, its order, the channel that it hits."""
    where = channel_text(channels[int(found.receive[0])])
    vector = [int(c) for c in found.coefficients[0]]
    return f"{trade_text(vector, tones)}, order {int(found.order[0])}, in {where}"
