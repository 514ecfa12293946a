"""
Which intermodulation products of the transmitted carriers fall into receive ranges: exact, in whole hertz.

A product is a vector c of whole numbers, one per carrier. Its order is n = sum |c_i|, its centre f = sum c_i f_i, its
width W = sum |c_i| B_i. c and -c are one product; the one with its centre above 0 stands for both. It hits a receive range
(a, b) if the open intervals (f - W/2, f + W/2) and (a, b) overlap; a product without width is a point.

Few products are looked at one by one. Many are counted without listing them ("meet in the middle"): all part vectors of one
half of the carriers are paired with all of the other half. Of a pair, the upper edge of the sum must lie above a and the
lower edge below b. Nothing lies wholly below *and* wholly above a range, so the hits are all pairs less those wholly below
less those wholly above, and each of these is a count of sums under a threshold: two sorted rows and a binary search.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import comb

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.pim.hertz import carriers_hz, ranges_hz

Ints = NDArray[np.int64]
Small = NDArray[np.int8]

ODD_ORDERS = (3, 5, 7)
MOST_LISTED = 20_000
_HIGHEST_ORDER = 31
_PLAIN = 400_000  # products up to which looking at each is faster
_MOST_HALF = 20_000_000  # part vectors of a half that still fit into memory
_CACHED = 500_000  # part vectors worth keeping between calls
_CHUNK = 2_000_000


@dataclass(frozen=True, slots=True)
class Products:
    """
    Products that hit, lowest order first, then by receive range and centre; one row per product and range.

    coefficients: shape (k, N). order, centre_hz, width_hz, receive: shape (k,); `receive` indexes the receive ranges and is
    -1 where none was asked for. count: exact number of hits, shape (orders, ranges), also where the rows were cut off.
    """

    coefficients: Small
    order: Ints
    centre_hz: Ints
    width_hz: Ints
    receive: Ints
    orders: tuple[int, ...]
    count: Ints

    @property
    def low_hz(self) -> NDArray[np.float64]:
        """Lower edge; exact, a half where the width is odd."""
        return np.asarray(self.centre_hz - self.width_hz / 2.0)

    @property
    def high_hz(self) -> NDArray[np.float64]:
        """Upper edge; exact, a half where the width is odd."""
        return np.asarray(self.centre_hz + self.width_hz / 2.0)

    @property
    def complete(self) -> bool:
        """True if every hit has its row."""
        return int(self.count.sum()) == self.order.size


def product_count(carriers: int, order: int) -> int:
    """
    Number of products of one order, c and -c counted once: sum over k of 2^(k-1) C(N, k) C(n-1, k-1).

    >>> product_count(2, 3), product_count(3, 3)
    (6, 19)
    """
    if carriers < 1 or order < 1:
        raise ValueError("one carrier and order 1 are the least")
    return _vector_count(carriers, order) // 2


def _vector_count(carriers: int, order: int) -> int:
    if order == 0:
        return 1
    return sum(2**k * comb(carriers, k) * comb(order - 1, k - 1) for k in range(1, min(carriers, order) + 1))


def product_vectors(carriers: int, order: int) -> Small:
    """
    Coefficients of all products of one order, one of each pair c, -c: shape (`product_count`, carriers), not to be written to.

    Raises
    ------
    ValueError
        For nonsense, or more vectors than fit into memory.

    >>> product_vectors(2, 2).tolist()
    [[2, 0], [-1, 1], [1, 1], [0, 2]]
    """
    if product_count(carriers, order) > _MOST_HALF:
        raise ValueError(
            f"{product_count(carriers, order)} products don't fit into memory; ask for those in receive ranges"
        )
    return _half_space(carriers, order)


def product_text(coefficients: ArrayLike, names: Sequence[str] | None = None) -> str:
    """
    A product in words, what adds first.

    >>> product_text([2, -1, 0]), product_text([-1, 0, 2], ["a", "b", "c"])
    ('2 f1 - f2', '2 c - a')
    """
    row = [int(c) for c in np.asarray(coefficients).ravel()]
    labels = [f"f{i + 1}" for i in range(len(row))] if names is None else list(names)
    out = ""
    for c, label in sorted(zip(row, labels, strict=True), key=lambda pair: pair[0] < 0):
        if c:
            sign = (" - " if c < 0 else " + ") if out else ("-" if c < 0 else "")
            out += sign + (f"{abs(c)} " if abs(c) > 1 else "") + label
    return out or "0"


def all_products(
    centres_hz: ArrayLike, widths_hz: ArrayLike, orders: Sequence[int] = ODD_ORDERS, most: int = 2_000_000
) -> Products:
    """
    All products of the given orders, wherever they fall; `receive` is -1, `count` has one column. Small whole numbers are let
    through here, so that a pattern can be looked at in any unit.

    Raises
    ------
    ValueError
        If there are more than `most`: ask with receive ranges instead.
    """
    centres, widths = carriers_hz(centres_hz, widths_hz, real=False)
    wanted = _orders(orders)
    total = sum(product_count(centres.size, n) for n in wanted)
    if total > most:
        raise ValueError(f"{total} products are too many to list (at most {most}); ask for those in receive ranges")
    rows = [_plain(centres, widths, n) for n in wanted]
    parts = [(c, np.full(f.size, n), f, w, np.full(f.size, -1)) for n, (c, f, w) in zip(wanted, rows, strict=True)]
    return _gather(parts, centres.size, wanted, np.array([[f.size] for _, f, _ in rows], dtype=np.int64), most)


def products_in(
    centres_hz: ArrayLike,
    widths_hz: ArrayLike,
    receive_ranges_hz: ArrayLike,
    orders: Sequence[int] = ODD_ORDERS,
    most: int = MOST_LISTED,
) -> Products:
    """
    Products that overlap receive ranges, with exact counts per order and range.

    Parameters
    ----------
    centres_hz, widths_hz [Hz]: whole numbers, shape (N,); width 0 is an unmodulated carrier.
    receive_ranges_hz [Hz]: whole numbers, shape (R, 2), low and high edge. Overlapping ranges each count.
    orders: any of 2 ... 31; odd ones by default. The sum of c is free: even orders, and odd ones far from the carriers,
        are found too.
    most: rows listed at most, lowest order first; which ones of the last order are kept says nothing about their level.

    Raises
    ------
    ValueError
        For fractions of a hertz, megahertz given for hertz, edges out of order, or so many carriers that the halves don't fit
        into memory.

    Source: own derivation, checked by trying every vector; method of paired halves after Horowitz and Sahni, 1974.

    >>> found = products_in([930_000_000, 957_000_000], [0, 0], [[880_000_000, 915_000_000]])
    >>> [product_text(c) for c in found.coefficients], found.centre_hz.tolist()
    (['2 f1 - f2'], [903000000])
    """
    centres, widths = carriers_hz(centres_hz, widths_hz)
    wanted = _orders(orders)
    ranges = ranges_hz(receive_ranges_hz)
    if most < 0:
        raise ValueError("most may not be negative")
    parts: list[tuple[NDArray[np.integer], ...]] = []
    count = np.zeros((len(wanted), ranges.shape[0]), dtype=np.int64)
    room = most
    halves: _Halves | None = None
    for i, n in enumerate(wanted):
        if product_count(centres.size, n) <= _PLAIN:
            found = _hits_plain(centres, widths, ranges, n)
            count[i] = [part[1].size for part in found]
        else:
            halves = halves or _Halves(centres, widths, max(wanted))
            count[i] = [halves.count(n, int(a), int(b)) for a, b in ranges]
            found = []
            left = room
            for a, b in ranges:
                found.append(halves.listed(n, int(a), int(b), left))
                left -= found[-1][1].size
        for r, (c, f, w) in enumerate(found):
            take = min(room, f.size)
            room -= take
            parts.append((c[:take], np.full(take, n), f[:take], w[:take], np.full(take, r)))
    return _gather(parts, centres.size, wanted, count, most)


def _gather(
    parts: Sequence[tuple[NDArray[np.integer], ...]], carriers: int, orders: tuple[int, ...], count: Ints, most: int
) -> Products:
    if not parts:
        none = np.zeros(0, dtype=np.int64)
        return Products(np.zeros((0, carriers), dtype=np.int8), none, none, none, none, orders, count)
    c, n, f, w, r = (np.concatenate(column) for column in zip(*parts, strict=True))
    at = np.lexsort((f, r, n))[:most]
    order, centre, width, receive = (np.asarray(x[at], dtype=np.int64) for x in (n, f, w, r))
    return Products(np.asarray(c[at], dtype=np.int8), order, centre, width, receive, orders, count)


def _orders(orders: Sequence[int]) -> tuple[int, ...]:
    wanted = tuple(sorted({int(n) for n in orders}))
    if not wanted or wanted[0] < 2 or wanted[-1] > _HIGHEST_ORDER:
        raise ValueError(f"orders lie between 2 and {_HIGHEST_ORDER}")
    return wanted


def _vectors(carriers: int, highest: int) -> tuple[Small, ...]:
    """All vectors of whole numbers by order 0 ... highest; kept between calls while small."""
    size = sum(_vector_count(carriers, n) for n in range(highest + 1))
    if size > _MOST_HALF:
        raise ValueError(f"so many carriers to order {highest} don't fit into memory; ask for fewer carriers or orders")
    return _vectors_cached(carriers, highest) if size <= _CACHED else _vectors_made(carriers, highest)


def _vectors_made(carriers: int, highest: int) -> tuple[Small, ...]:
    """One carrier at a time: a vector of order n ends with some c, and the rest of it has order n - |c|."""
    rows: list[Small] = [np.zeros((1 if n == 0 else 0, 0), dtype=np.int8) for n in range(highest + 1)]
    for _ in range(carriers):
        longer = []
        for n in range(highest + 1):
            ends = [(c, rows[n - abs(c)]) for c in range(-n, n + 1)]
            last = np.repeat(np.array([c for c, _ in ends], dtype=np.int8), [head.shape[0] for _, head in ends])
            longer.append(np.column_stack([np.concatenate([head for _, head in ends]), last]))
        rows = longer
    for row in rows:
        row.setflags(write=False)
    return tuple(rows)


_vectors_cached = lru_cache(maxsize=32)(_vectors_made)


@lru_cache(maxsize=8)
def _half_space(carriers: int, order: int) -> Small:
    """One of each pair c, -c of one order: the one whose last coefficient that is not 0 is positive."""
    rows: list[Small] = []
    for last in range(carriers):
        # Carriers up to `last`, the last of them positive, the rest 0.
        for c in range(1, order + 1):
            head = _vectors(last, order - c)[order - c]
            block = np.zeros((head.shape[0], carriers), dtype=np.int8)
            block[:, :last] = head
            block[:, last] = c
            rows.append(block)
    out = np.concatenate(rows)
    out.setflags(write=False)
    return out


def _plain(centres: Ints, widths: Ints, order: int) -> tuple[Small, Ints, Ints]:
    c = _half_space(centres.size, order)
    # Sums stay far below 2^53, so floats are exact here, and their product is the fast one.
    wide = c.astype(np.float64)
    f = wide @ centres.astype(np.float64)
    w = np.abs(wide) @ widths.astype(np.float64)
    keep = f != 0
    turned = np.where(f < 0, -1, 1).astype(np.int8)[:, None] * c
    return turned[keep], np.abs(f[keep]).astype(np.int64), w[keep].astype(np.int64)


def _hits_plain(centres: Ints, widths: Ints, ranges: Ints, order: int) -> list[tuple[Small, Ints, Ints]]:
    c = _half_space(centres.size, order)
    wide = c.astype(np.float64)
    f = wide @ centres.astype(np.float64)
    w = np.abs(wide, out=wide) @ widths.astype(np.float64)
    sign = np.where(f < 0, -1, 1).astype(np.int8)
    f = np.abs(f)
    top, bottom = 2.0 * f + w, 2.0 * f - w
    out = []
    for a, b in ranges:
        at = np.flatnonzero((top > 2 * a) & (bottom < 2 * b) & (f > 0))
        out.append((sign[at, None] * c[at], f[at].astype(np.int64), w[at].astype(np.int64)))
    return out


class _Part:
    """Part vectors of one half and one order: vectors, centre, width; twice the edges, sorted when first asked for."""

    def __init__(self, vectors: Small, centres: Ints, widths: Ints) -> None:
        wide = vectors.astype(np.float64)
        self.vectors = vectors
        self.centre: Ints = (wide @ centres.astype(np.float64)).astype(np.int64)
        self.width: Ints = (np.abs(wide, out=wide) @ widths.astype(np.float64)).astype(np.int64)
        self.widest = int(self.width.max()) if self.width.size else 0

    @cached_property
    def bottom(self) -> Ints:
        """2 f - W, rising."""
        return np.sort(2 * self.centre - self.width)

    @cached_property
    def top(self) -> Ints:
        """2 f + W, rising: with every vector its negative is here, too."""
        return -self.bottom[::-1]

    @cached_property
    def by_centre(self) -> NDArray[np.intp]:
        """Indices that sort the centres."""
        return np.argsort(self.centre, kind="stable")


class _Halves:
    """Both halves of the carriers, ready to count and list."""

    def __init__(self, centres: Ints, widths: Ints, highest: int) -> None:
        cut = centres.size // 2
        self.left = [_Part(v, centres[:cut], widths[:cut]) for v in _vectors(cut, highest)]
        self.right = [_Part(v, centres[cut:], widths[cut:]) for v in _vectors(centres.size - cut, highest)]

    def splits(self, order: int) -> Iterator[tuple[_Part, _Part, bool]]:
        """Parts whose orders add up, the shorter row first, and whether that one is the left half."""
        for k in range(order + 1):
            left, right = self.left[k], self.right[order - k]
            if left.centre.size and right.centre.size:
                # The shorter row is searched for in the longer one.
                swap = left.centre.size > right.centre.size
                yield (right, left, False) if swap else (left, right, True)

    def count(self, order: int, low: int, high: int) -> int:
        total = 0
        for few, many, _ in self.splits(order):
            if few.centre.size == 1:
                # One alone (all of the order in one half) is not worth a sort.
                f, w = many.centre + few.centre[0], many.width + few.width[0]
                total += int(np.count_nonzero((2 * f + w > 2 * low) & (2 * f - w < 2 * high) & (f > 0)))
                continue
            below = np.searchsorted(many.top, 2 * low - few.top[::-1], side="right").sum()
            above = many.bottom.size - np.searchsorted(many.bottom, 2 * high - few.bottom[::-1], side="left")
            total += few.centre.size * many.centre.size - int(below) - int(above.sum())
            total -= sum(i.size for i, _ in self._not_above_zero(few, many, low))
        return total

    def _not_above_zero(self, few: _Part, many: _Part, low: int) -> Iterator[tuple[Ints, Ints]]:
        """Pairs whose centre is not above 0 and that reach into the range by their width; rare, often impossible."""
        widest = few.widest + many.widest
        if widest <= 2 * low:
            return
        # 2 f > 2 low - W at least, and f <= 0.
        for i, j in _pairs(few, many, low - widest // 2 - 1, 0):
            top = 2 * (few.centre[i] + many.centre[j]) + few.width[i] + many.width[j]
            yield i[top > 2 * low], j[top > 2 * low]

    def listed(self, order: int, low: int, high: int, most: int) -> tuple[Small, Ints, Ints]:
        """Up to `most` hits."""
        rows: list[tuple[Small, Ints, Ints]] = []
        room = most
        for few, many, straight in self.splits(order):
            if room <= 0:
                break
            reach = (few.widest + many.widest) // 2 + 1
            for i, j in _pairs(few, many, max(low - reach, 0), high + reach):
                f, w = few.centre[i] + many.centre[j], few.width[i] + many.width[j]
                at = np.flatnonzero((2 * f + w > 2 * low) & (2 * f - w < 2 * high) & (f > 0))[:room]
                own, other = few.vectors[i[at]], many.vectors[j[at]]
                rows.append((np.concatenate([own, other] if straight else [other, own], axis=1), f[at], w[at]))
                room -= at.size
                if room <= 0:
                    break
        if not rows:
            carriers = self.left[0].vectors.shape[1] + self.right[0].vectors.shape[1]
            none = np.zeros(0, dtype=np.int64)
            return np.zeros((0, carriers), dtype=np.int8), none, none
        vectors, centre, width = (np.concatenate(column) for column in zip(*rows, strict=True))
        return np.asarray(vectors, dtype=np.int8), np.asarray(centre), np.asarray(width)


def _pairs(few: _Part, many: _Part, least: int, greatest: int) -> Iterator[tuple[Ints, Ints]]:
    """Index pairs with least <= centre of the sum <= greatest, in pieces of bounded size."""
    order = many.by_centre
    rising = many.centre[order]
    start = np.searchsorted(rising, least - few.centre, side="left")
    number = np.searchsorted(rising, greatest - few.centre, side="right") - start
    active = np.flatnonzero(number > 0)
    if active.size == 0:
        return
    ends = np.cumsum(number[active])
    first = 0
    while first < active.size:
        done = int(ends[first - 1]) if first else 0
        last = max(first + 1, int(np.searchsorted(ends, done + _CHUNK, side="right")))
        piece = active[first:last]
        i = np.repeat(piece, number[piece])
        offset = np.arange(i.size) - np.repeat(np.cumsum(number[piece]) - number[piece], number[piece])
        yield i, order[start[i] + offset]
        first = last
