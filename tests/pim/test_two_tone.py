"""The two tones of a test: against trying every pair, the table of own bands, edges, sweeps."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from upmast import pim, rf

MHZ = 1_000_000
B8 = ([[925 * MHZ, 960 * MHZ]], [[880 * MHZ, 915 * MHZ]])


def _tried(
    transmit: list[list[int]], receive: list[list[int]], order: int, raster: int, spacing: int
) -> tuple[object, ...]:
    """The best key over every pair of steps and every vector, in plain Python."""
    tones = sorted({u for a, b in transmit for u in range(-(-a // raster), b // raster + 1)})
    best: tuple[object, ...] = (True, 10**18)
    for a in range(1, order):
        for c1, c2 in ((a, a - order), (-a, order - a), (a, order - a)):
            uneven = abs(abs(c1) - abs(c2))
            rank = (uneven > 1 or c1 * c2 > 0, uneven)
            for u, w in itertools.combinations(tones, 2):
                product = raster * (c1 * u + c2 * w)
                if product <= 0 or (w - u) * raster < spacing:
                    continue
                for low, high in receive:
                    away = max(low - product, product - high, 0)
                    key = (not low < product < high, away, rank, abs(2 * product - low - high), u - w)
                    best = min(best, key)
    return best


@pytest.mark.parametrize("seed", range(60))
def test_no_pair_of_all_is_better(seed: int) -> None:
    rng = np.random.default_rng(seed)
    raster = int(rng.choice([100_000, 500_000, 1_000_000]))
    transmit, receive = [], []
    for _ in range(int(rng.integers(1, 3))):
        low = int(rng.integers(7000, 9800)) * 100_000 + int(rng.integers(0, 2)) * 37
        transmit.append([low, low + int(rng.integers(3, 25)) * raster])
    for _ in range(int(rng.integers(1, 3))):
        low = int(rng.choice([int(rng.integers(6500, 10500)), int(rng.integers(100, 30000))])) * 100_000
        receive.append([low, low + int(rng.integers(1, 200)) * 100_000])
    order, spacing = int(rng.integers(2, 8)), int(rng.choice([0, 250_000]))
    expected = _tried(transmit, receive, order, raster, spacing)
    if expected[1] == 10**18:
        with pytest.raises(ValueError, match="no two tones"):
            pim.two_tone_pair(transmit, receive, order, raster, spacing)
        return
    found = pim.two_tone_pair(transmit, receive, order, raster, spacing)
    low, high = receive[found.receive]
    assert found.product_hz == sum(c * f for c, f in zip(found.coefficients, found.tones_hz, strict=True))
    assert sum(map(abs, found.coefficients)) == found.order == order
    for tone in found.tones_hz:
        assert tone % raster == 0
        assert any(a <= tone <= b for a, b in transmit)
    assert found.spacing_hz >= max(spacing, 1)
    c1, c2 = (abs(c) for c in found.coefficients)
    uneven = abs(c1 - c2)
    rank = (uneven > 1 or found.coefficients[0] * found.coefficients[1] > 0, uneven)
    off = abs(2 * found.product_hz - low - high)
    assert (not found.inside, found.away_hz, rank, off, -found.spacing_hz // raster) == expected


@pytest.mark.parametrize("name", ["B1", "B3", "B4", "B5", "B7", "B8", "B13", "B20", "B31", "B70", "B71"])
def test_own_band_orders_by_tones_are_those_by_products(name: str) -> None:
    """A downlink filled by two wide carriers reaches its uplink from the same order on as two tones anywhere in it."""
    band = rf.band(name)
    assert band.downlink_hz is not None
    assert band.uplink_hz is not None
    low, high = band.downlink_hz
    found = pim.products_in([(low + high) // 2] * 2, [high - low] * 2, [band.uplink_hz], range(3, 27, 2))
    hit = [n for n, count in zip(found.orders, found.count[:, 0], strict=True) if count]
    assert pim.lowest_own_order([band.downlink_hz], [band.uplink_hz], 25) == hit[0]


def test_words() -> None:
    assert pim.own_uplink_words(*B8) == "this band alone reaches its own uplink from order 3 on"
    none = "no pair of this band alone gives a product in its own uplink up to order 5"
    b1 = ([[2110 * MHZ, 2170 * MHZ]], [[1920 * MHZ, 1980 * MHZ]])
    assert pim.own_uplink_words(*b1, 5) == none
    # 1930 MHz is the lowest seventh order of band 1; order 5 ends at 1990 MHz
    pair = pim.two_tone_choice(*b1, (3, 5))
    assert (pair.tones_hz, pair.product_hz, pair.away_hz) == ((2110 * MHZ, 2170 * MHZ), 1990 * MHZ, 10 * MHZ)
    assert pair.words() == (
        "set f1 = 2110 MHz and f2 = 2170 MHz, 43 dBm each: order 5, 3 f1 - 2 f2 = 1990 MHz, 10 MHz outside the receive range"
    )
    assert "RF burns" in pim.CAUTION


def test_the_middle_and_the_largest_spacing() -> None:
    """Band 8 by hand: the middle is 897.5 MHz; 2 f1 - f2 there with f2 = 960 MHz needs f1 = 928.75, between two steps."""
    pair = pim.two_tone_choice(*B8)
    assert (pair.order, pair.coefficients, pair.power_dbm) == (3, (2, -1), 43.0)
    assert pair.product_hz == 897_500_000
    assert pair.tones_hz == (928_700_000, 959_900_000)
    finer = pim.two_tone_choice(*B8, raster_hz=50_000)
    assert finer.tones_hz == (928_750_000, 960 * MHZ)


def test_a_product_on_an_edge_is_not_inside() -> None:
    """Band 31 reaches 457.5 MHz, the edge of its uplink, by order 3: touching is no hit."""
    b31 = ([[462_500_000, 467_500_000]], [[452_500_000, 457_500_000]])
    third = pim.two_tone_pair(*b31, 3)
    assert (third.product_hz, third.inside, third.away_hz) == (457_500_000, False, 0)
    assert pim.lowest_own_order(*b31) == 5
    wider = pim.two_tone_pair(b31[0], [[452_500_000, 457_500_001]], 3)
    assert wider.inside


def test_a_range_between_two_steps_has_no_pair_inside() -> None:
    narrow = [[897_510_000, 897_590_000]]
    assert not pim.two_tone_pair(B8[0], narrow).inside
    assert pim.two_tone_pair(B8[0], narrow).away_hz == 10_000
    assert pim.two_tone_pair(B8[0], narrow, raster_hz=10_000).product_hz == 897_550_000


@pytest.mark.parametrize("order", [2, 3, 4, 5, 7])
@pytest.mark.parametrize("spacing", [0, 1_000_000])
def test_sweeps_stay_inside_and_none_goes_farther(order: int, spacing: int) -> None:
    transmit = [[758 * MHZ, 803 * MHZ], [925 * MHZ, 960 * MHZ]]
    receive = [[703 * MHZ, 748 * MHZ], [832 * MHZ, 862 * MHZ], [155 * MHZ, 175 * MHZ]]
    raster = 500_000
    pair = pim.two_tone_pair(transmit, receive, order, raster, spacing)
    sweeps = pim.two_tone_sweeps(pair, transmit, receive, raster, spacing)
    if not pair.inside:
        assert sweeps == ()
        return
    low, high = receive[pair.receive]
    assert [s.fixed for s in sweeps] == [0, 1]
    for sweep in sweeps:
        spans = [next(s for s in transmit if s[0] <= tone <= s[1]) for tone in pair.tones_hz]
        cf, cs = pair.coefficients[sweep.fixed], pair.coefficients[1 - sweep.fixed]
        for s, product in zip(sweep.swept_hz, sweep.product_hz, strict=True):
            assert product == cf * sweep.fixed_hz + cs * s
            assert low < product < high
            assert spans[1 - sweep.fixed][0] <= s <= spans[1 - sweep.fixed][1]
            assert (s - sweep.fixed_hz) * (1 if sweep.fixed == 0 else -1) >= max(spacing, raster)
        longest = 0
        for f in range(spans[sweep.fixed][0], spans[sweep.fixed][1] + 1, raster):
            moved = [
                s
                for s in range(spans[1 - sweep.fixed][0], spans[1 - sweep.fixed][1] + 1, raster)
                if low < cf * f + cs * s < high and (s - f) * (1 if sweep.fixed == 0 else -1) >= max(spacing, raster)
            ]
            longest = max(longest, len(moved))
        assert (sweep.swept_hz[1] - sweep.swept_hz[0]) // raster + 1 == longest


def test_nonsense_is_refused() -> None:
    pair = pim.two_tone_pair(*B8)
    for call in (
        lambda: pim.two_tone_pair([[925, 960]], [[880, 915]]),
        lambda: pim.two_tone_pair([], B8[1]),
        lambda: pim.two_tone_pair(B8[0], []),
        lambda: pim.two_tone_pair(*B8, 1),
        lambda: pim.two_tone_pair(*B8, 32),
        lambda: pim.two_tone_pair(*B8, raster_hz=0),
        lambda: pim.two_tone_pair(*B8, least_spacing_hz=-1),
        lambda: pim.two_tone_pair(*B8, least_spacing_hz=36 * MHZ),
        lambda: pim.two_tone_pair([[960 * MHZ, 925 * MHZ]], B8[1]),
        lambda: pim.two_tone_pair([[925.5, 960e6]], B8[1]),
        lambda: pim.two_tone_pairs(*B8, ()),
        lambda: pim.two_tone_sweeps(pair, [[1805 * MHZ, 1880 * MHZ]], B8[1]),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
