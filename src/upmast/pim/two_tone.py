"""
The two tones that a technician sets so that a product of theirs falls into a receive range, in whole hertz.

A test of intermodulation sends two equal tones and listens where the port receives. Both tones have to lie where the port may send, and
their product where it can be heard. Not every band can do that alone: then the nearest pair is given, and words that say so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from math import gcd

import numpy as np
from numpy.typing import ArrayLike

from upmast.pim.hertz import ranges_hz
from upmast.pim.level import TEST_CARRIER_DBM
from upmast.pim.products import product_text

__all__ = [
    "CAUTION", "TEST_ORDERS", "Sweep", "TwoTone", "lowest_own_order", "own_uplink_words", "two_tone_choice", "two_tone_pair",
    "two_tone_pairs", "two_tone_sweeps",
]  # fmt: skip

CAUTION = (
    "Two test tones put tens of watts into the line: RF burns. Nobody at the antenna or at open connectors while they are on; "
    "tones go on air through an antenna only where the licence allows it."
)
TEST_ORDERS = (3, 5, 7, 9, 11)
TEST_RASTER_HZ = 100_000  # common practice, no source
HIGHEST_ORDER = 31
Range = tuple[int, int]


@dataclass(frozen=True, slots=True)
class TwoTone:
    """
    Two tones and where their product falls.

    coefficients: of the lower and of the higher tone. receive: which range. inside: the product lies within it, edges not counted.
    away_hz: how far the product lies outside, 0 inside and on an edge. power_dbm: of each tone, equal.
    """

    order: int
    coefficients: tuple[int, int]
    tones_hz: tuple[int, int]
    product_hz: int
    receive: int
    inside: bool
    away_hz: int
    power_dbm: float = TEST_CARRIER_DBM

    @property
    def spacing_hz(self) -> int:
        return self.tones_hz[1] - self.tones_hz[0]

    def words(self) -> str:
        """What to set and what comes of it."""
        low, high = self.tones_hz
        where = "in the receive range" if self.inside else f"{self.away_hz / 1e6:.10g} MHz outside the receive range"
        return (
            f"set f1 = {low / 1e6:.10g} MHz and f2 = {high / 1e6:.10g} MHz, {self.power_dbm:g} dBm each: order {self.order}, "
            f"{product_text(self.coefficients)} = {self.product_hz / 1e6:.10g} MHz, {where}"
        )


@dataclass(frozen=True, slots=True)
class Sweep:
    """One tone held, the other moved from the first to the second frequency; the product moves likewise, all within the range."""

    order: int
    coefficients: tuple[int, int]
    fixed: int  # 0: the lower tone is held, 1: the higher one
    fixed_hz: int
    swept_hz: Range
    product_hz: Range


def two_tone_pair(
    transmit_ranges_hz: ArrayLike,
    receive_ranges_hz: ArrayLike,
    order: int = 3,
    raster_hz: int = TEST_RASTER_HZ,
    least_spacing_hz: int = 0,
) -> TwoTone:
    """
    The pair of fixed tones to set for a product of one order, c1 f1 + c2 f2 with |c1| + |c2| = n.

    Of all pairs on the raster, in this order: the product inside a receive range (else nearest to one); the product of a
    specification, c = ((n + 1) / 2, -(n - 1) / 2), before others of its order; the product nearest to the middle of the range; the
    tones as far apart as they go.

    Parameters
    ----------
    transmit_ranges_hz, receive_ranges_hz [Hz]: rows of a low and a higher edge, whole numbers. A tone may stand on an edge; a product on
    an edge of a receive range is not inside.
    order: 2 ... 31. raster_hz [Hz]: of both tones. least_spacing_hz [Hz]: between them, at least one step of the raster in any case.

    Returns
    -------
    `TwoTone`. Source: own derivation, whole numbers; equal tones of 43 dBm: IEC 62037-1 (from memory).

    >>> found = two_tone_pair([[925_000_000, 960_000_000]], [[880_000_000, 915_000_000]])
    >>> found.tones_hz, found.product_hz, found.inside
    ((928700000, 959900000), 897500000, True)
    """
    transmit, receive, raster, spacing = _asked(transmit_ranges_hz, receive_ranges_hz, raster_hz, least_spacing_hz)
    return _best(transmit, receive, _order(order), raster, spacing)


def two_tone_pairs(
    transmit_ranges_hz: ArrayLike,
    receive_ranges_hz: ArrayLike,
    orders: Sequence[int] = TEST_ORDERS,
    raster_hz: int = TEST_RASTER_HZ,
    least_spacing_hz: int = 0,
) -> tuple[TwoTone, ...]:
    """
    The pair of each order, rising; arguments as in `two_tone_pair`.

    >>> pairs = two_tone_pairs([[2_110_000_000, 2_170_000_000]], [[1_920_000_000, 1_980_000_000]], (3, 5, 7))
    >>> [(p.order, p.inside, p.away_hz) for p in pairs]
    [(3, False, 70000000), (5, False, 10000000), (7, True, 0)]
    """
    transmit, receive, raster, spacing = _asked(transmit_ranges_hz, receive_ranges_hz, raster_hz, least_spacing_hz)
    wanted = sorted({_order(n) for n in orders})
    if not wanted:
        raise ValueError("orders names at least one order")
    return tuple(_best(transmit, receive, n, raster, spacing) for n in wanted)


def two_tone_choice(
    transmit_ranges_hz: ArrayLike,
    receive_ranges_hz: ArrayLike,
    orders: Sequence[int] = TEST_ORDERS,
    raster_hz: int = TEST_RASTER_HZ,
    least_spacing_hz: int = 0,
) -> TwoTone:
    """
    The pair to set: of the lowest order whose product falls inside, else the one whose product comes nearest.

    Arguments as in `two_tone_pair`. The lowest order is the strongest one.

    >>> two_tone_choice([[758_000_000, 803_000_000]], [[703_000_000, 748_000_000]]).words()
    'set f1 = 764.2 MHz and f2 = 802.9 MHz, 43 dBm each: order 3, 2 f1 - f2 = 725.5 MHz, in the receive range'
    """
    pairs = two_tone_pairs(transmit_ranges_hz, receive_ranges_hz, orders, raster_hz, least_spacing_hz)
    return min(pairs, key=lambda p: (not p.inside, p.away_hz, p.order))


def two_tone_sweeps(
    pair: TwoTone,
    transmit_ranges_hz: ArrayLike,
    receive_ranges_hz: ArrayLike,
    raster_hz: int = TEST_RASTER_HZ,
    least_spacing_hz: int = 0,
) -> tuple[Sweep, ...]:
    """
    Both swept tests of a pair: first the lower tone held and the higher moved, then the other way round.

    The held tone is put where the moved one carries the product over most of the receive range; of equal ones where the product's
    middle is nearest to that of the range, then the lowest. A sweep that cannot be is left out, so there is none for a pair outside.

    Parameters
    ----------
    pair: from one of the functions above, with the same other arguments.

    >>> own = ([[925_000_000, 960_000_000]], [[880_000_000, 915_000_000]])
    >>> one = two_tone_sweeps(two_tone_pair(*own), *own)[0]
    >>> one.fixed_hz, one.swept_hz, one.product_hz
    (925000000, (935100000, 960000000), (914900000, 890000000))
    """
    transmit, receive, raster, spacing = _asked(transmit_ranges_hz, receive_ranges_hz, raster_hz, least_spacing_hz)
    if not 0 <= pair.receive < len(receive):
        raise ValueError(
            f"the pair names receive range {pair.receive} of {len(receive)}: give the ranges that it was made with"
        )
    a, b = receive[pair.receive]
    least, most = a // raster + 1, -(-b // raster) - 1
    out = []
    for fixed in (0, 1):
        held, moved = (_span_of(pair.tones_hz[k], transmit, raster) for k in (fixed, 1 - fixed))
        cf, cs = pair.coefficients[fixed], pair.coefficients[1 - fixed]
        f = np.arange(held[0], held[1] + 1, dtype=np.int64)
        # c_f f + c_s s between least and most, s on its side of f
        bottom, top = (least - cf * f, most - cf * f) if cs > 0 else (cf * f - most, cf * f - least)
        low, high = np.maximum(-(-bottom // abs(cs)), moved[0]), np.minimum(top // abs(cs), moved[1])
        low, high = (np.maximum(low, f + spacing), high) if fixed == 0 else (low, np.minimum(high, f - spacing))
        points = high - low
        if not np.any(points >= 0):
            continue
        off = np.abs(2 * raster * cf * f + raster * cs * (low + high) - (a + b))
        best = np.lexsort((f, off, -points))[0]
        at, first, last = int(f[best]), int(low[best]), int(high[best])
        swept = (raster * first, raster * last)
        product = (raster * (cf * at + cs * first), raster * (cf * at + cs * last))
        out.append(Sweep(pair.order, pair.coefficients, fixed, raster * at, swept, product))
    return tuple(out)


def lowest_own_order(
    transmit_ranges_hz: ArrayLike,
    receive_ranges_hz: ArrayLike,
    highest_order: int = 25,
    raster_hz: int = TEST_RASTER_HZ,
) -> int | None:
    """
    Lowest odd order of which some pair of tones has a product in a receive range; None if none up to the highest has.

    >>> lowest_own_order([[2_110_000_000, 2_155_000_000]], [[1_710_000_000, 1_755_000_000]])
    17
    """
    transmit, receive, raster, spacing = _asked(transmit_ranges_hz, receive_ranges_hz, raster_hz, 0)
    orders = range(3, _order(highest_order) + 1, 2)
    return next((n for n in orders if _best(transmit, receive, n, raster, spacing).inside), None)


def own_uplink_words(
    transmit_ranges_hz: ArrayLike,
    receive_ranges_hz: ArrayLike,
    highest_order: int = 7,
    raster_hz: int = TEST_RASTER_HZ,
) -> str:
    """
    What a band can do alone, in one sentence; arguments as in `lowest_own_order`.

    >>> own_uplink_words([[2_110_000_000, 2_155_000_000]], [[1_710_000_000, 1_755_000_000]])
    'no pair of this band alone gives a product in its own uplink up to order 7'
    """
    found = lowest_own_order(transmit_ranges_hz, receive_ranges_hz, highest_order, raster_hz)
    if found is None:
        return f"no pair of this band alone gives a product in its own uplink up to order {highest_order}"
    return f"this band alone reaches its own uplink from order {found} on"


# --- search, in steps of the raster -----------------------------------------------------------------------------------


def _asked(
    transmit: ArrayLike, receive: ArrayLike, raster_hz: int, least_spacing_hz: int
) -> tuple[list[Range], list[Range], int, int]:
    """Ranges as pairs; raster in hertz; least spacing in steps."""
    sends, hears = ranges_hz(transmit, "transmit_ranges_hz"), ranges_hz(receive, "receive_ranges_hz")
    if not (sends.size and hears.size):
        raise ValueError("at least one transmit range and one receive range are needed")
    if (
        int(raster_hz) != raster_hz
        or raster_hz <= 0
        or int(least_spacing_hz) != least_spacing_hz
        or least_spacing_hz < 0
    ):
        raise ValueError("raster_hz is a whole number of hertz above 0, least_spacing_hz one that is not negative")
    raster = int(raster_hz)
    pairs = [[(int(a), int(b)) for a, b in rows] for rows in (sends, hears)]
    return pairs[0], pairs[1], raster, max(1, -(-int(least_spacing_hz) // raster))


def _order(order: int) -> int:
    if int(order) != order or not 2 <= order <= HIGHEST_ORDER:
        raise ValueError(f"orders lie between 2 and {HIGHEST_ORDER}")
    return int(order)


def _steps(span: Range, raster: int) -> Range:
    """First and last step of the raster in a closed range."""
    return -(-span[0] // raster), span[1] // raster


def _span_of(tone_hz: int, transmit: Sequence[Range], raster: int) -> Range:
    for span in transmit:
        if span[0] <= tone_hz <= span[1]:
            return _steps(span, raster)
    raise ValueError(f"the tone at {tone_hz} Hz lies in no transmit range: give the ranges that the pair was made with")


def _vectors(order: int) -> Iterator[tuple[int, int]]:
    """Coefficients of the lower and the higher tone; those of a specification first, then by falling level."""
    rows = [(a * s, (order - a) * t) for a in range(1, order) for s, t in ((1, -1), (-1, 1), (1, 1))]
    yield from sorted(rows, key=_rank)


def _rank(c: tuple[int, int]) -> tuple[bool, int]:
    """Whether it is another product than that of a specification, and how uneven."""
    uneven = abs(abs(c[0]) - abs(c[1]))
    return (uneven > 1 or c[0] * c[1] > 0, uneven)


def _best(transmit: Sequence[Range], receive: Sequence[Range], order: int, raster: int, spacing: int) -> TwoTone:
    best: TwoTone | None = None
    best_key: tuple[object, ...] = ()
    for c in _vectors(order):
        for low in transmit:
            for high in transmit:
                area = _Area(c, _steps(low, raster), _steps(high, raster), spacing)
                if not area.corners:
                    continue
                for r, (a, b) in enumerate(receive):
                    tones = area.nearest(a, b, raster)
                    if tones is None:
                        continue
                    product = raster * (c[0] * tones[0] + c[1] * tones[1])
                    away = max(a - product, product - b, 0)
                    inside = a < product < b
                    off = abs(2 * product - a - b)
                    key = (not inside, away, _rank(c), off, tones[0] - tones[1], r, tones)
                    if best is None or key < best_key:
                        at = (raster * tones[0], raster * tones[1])
                        best, best_key = TwoTone(order, c, at, product, r, inside, away), key
    if best is None:
        raise ValueError(
            f"no two tones on a raster of {raster} Hz, {raster * spacing} Hz apart, fit into the transmit ranges and give a product of "
            f"order {order} above 0 Hz: take a finer raster_hz or a smaller least_spacing_hz"
        )
    return best


class _Area:
    """Pairs of steps (u, w), u and w in a range each, w - u at least a spacing; and their products q = c1 u + c2 w."""

    def __init__(self, c: tuple[int, int], lower: Range, higher: Range, spacing: int) -> None:
        self.c, self.u, self.w, self.spacing = c, lower, higher, spacing
        m = spacing
        points = [(u, w) for u in lower for w in higher]
        points += [(u, u + m) for u in lower] + [(w - m, w) for w in higher]
        # All corners have whole coordinates, so the least and the greatest product are at some of them.
        self.corners = [p for p in points if self._holds(p)]

    def _holds(self, p: tuple[int, int]) -> bool:
        return self.u[0] <= p[0] <= self.u[1] and self.w[0] <= p[1] <= self.w[1] and p[1] - p[0] >= self.spacing

    def nearest(self, a: int, b: int, raster: int) -> tuple[int, int] | None:
        """The pair whose product lies nearest to the middle of (a, b), or else nearest to it; the tones far apart."""
        products = [self.c[0] * u + self.c[1] * w for u, w in self.corners]
        least, most = max(min(products), 1), max(products)
        middle = (a + b + raster) // (2 * raster)
        start = min(max(middle, least), most)
        if start < 1 or least > most:
            return None
        for step in count():
            tried = False
            # The side of the middle first where both are equally near to it in steps.
            sides = (start + step, start - step) if 2 * start * raster < a + b else (start - step, start + step)
            for q in dict.fromkeys(sides):
                if least <= q <= most:
                    tried = True
                    found = self._with(q)
                    if found is not None:
                        return found
            if not tried:
                return None
        return None

    def _with(self, q: int) -> tuple[int, int] | None:
        """The pair of product q with the tones farthest apart."""
        c1, c2 = self.c
        g = gcd(c1, c2)
        if q % g:
            return None
        c1, c2, q = c1 // g, c2 // g, q // g
        # c1 u + c2 w = q: u = u0 + c2 t, w = w0 - c1 t
        u0 = q * pow(c1, -1, abs(c2)) % abs(c2) if abs(c2) > 1 else 0
        w0 = (q - c1 * u0) // c2
        low, high = _bounds([(c2, self.u[0] - u0, self.u[1] - u0), (-c1, self.w[0] - w0, self.w[1] - w0)])
        # w - u = (w0 - u0) - (c1 + c2) t is at least the spacing
        slope, room = -(c1 + c2), self.spacing - (w0 - u0)
        if slope > 0:
            low = max(low, -(-room // slope))
        elif slope < 0:
            high = min(high, room // slope)
        elif room > 0:
            return None
        if low > high:
            return None
        t = high if slope > 0 else low
        if slope == 0 and c2 < 0:
            t = high
        return u0 + c2 * t, w0 - c1 * t


def _bounds(rows: Sequence[tuple[int, int, int]]) -> Range:
    """Whole t with low <= k t <= high for every row (k, low, high), k not 0."""
    lows, highs = [], []
    for k, low, high in rows:
        a, b = (low, high) if k > 0 else (-high, -low)
        k = abs(k)
        lows.append(-(-a // k))
        highs.append(b // k)
    return max(lows), min(highs)
