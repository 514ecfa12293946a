"""The whole spectrum against sums over listed products, closed forms, and noise sent through a power law."""

from __future__ import annotations

import itertools
import time

import numpy as np
import pytest

from upmast import pim

MHZ = 1_000_000


def _signed_takes(carriers: int, order: int) -> np.ndarray:
    """All ways to take `order` times a carrier with a sign: counts over 2N slots, the carriers and their mirror images."""
    slots = 2 * carriers
    rows = []
    for bars in itertools.combinations(range(order + slots - 1), slots - 1):
        edges = (-1, *bars, order + slots - 1)
        rows.append([b - a - 1 for a, b in itertools.pairwise(edges)])
    return np.array(rows)


def _listed_mw(
    centres: np.ndarray, widths: np.ndarray, power: np.ndarray, spec: float, order: int, low: float, high: float,
    slope: float | None = None,
) -> float:  # fmt: skip
    """
    Sum of level times share over every listed term of one order.

    Degenerate terms, with a carrier and its mirror image in one, are listed too: the mirror image of a carrier is a carrier of its own
    at -f, so each term is a vector without negative numbers over 2N carriers. Level and share then need no special case: the terms
    count by n!/prod p! q!, and the width is that of all n factors.
    """
    terms = _signed_takes(centres.size, order)
    both = np.concatenate([centres, -centres]).astype(float)
    terms = terms[terms @ both > 0]
    middle, half = terms @ both, terms @ np.tile(widths, 2) / 2
    terms = terms[(middle + half > low) & (middle - half < high)]
    level = pim.product_level_dbm(terms, np.tile(power, 2), spec, slope)
    share = pim.channel_share(terms, both, np.tile(widths, 2), low, high)
    return float(np.sum(10 ** (level / 10) * share))


PLANS = {
    "two of one band": ([1_810_000_000, 1_850_000_000], [9 * MHZ, 18 * MHZ], [43.0, 40.0]),
    "three of two bands": ([1_810_000_000, 1_850_000_000, 2_115_000_000], [9 * MHZ, 18 * MHZ, 13_500_000], [43.0, 46.0, 40.0]),
    "off the raster": ([937_512_345, 953_487_001, 948_033_333], [4_515_000, 9_015_123, 3_840_000], [43.0, 43.0, 37.0]),
}  # fmt: skip


@pytest.mark.parametrize("order", [2, 3, 4, 5])
@pytest.mark.parametrize("plan", PLANS)
def test_equals_the_sum_over_listed_products(plan: str, order: int) -> None:
    """To order 5 within 0.02 dB, in channels of 10 MHz that get at least a hundredth of the strongest such channel (found: 0.004 dB)."""
    centres, widths, power = (np.array(x) for x in PLANS[plan])
    whole = pim.intermod_spectrum(centres, widths, power, -107.0, [order])
    top = float(order * centres.max() + 60 * MHZ)
    edges = np.arange(5 * MHZ, top, 10 * MHZ)
    found = 10 ** (whole.power_dbm(edges[:-1], edges[1:])[0] / 10)
    # Near 0 Hz products reach below it; the sum over a list of positive centres leaves their other side out.
    held = np.flatnonzero((found > 1e-2 * found.max()) & (edges[:-1] > 100 * MHZ))
    assert held.size > 3
    for k in held:
        listed = _listed_mw(centres, widths, power, -107.0, order, edges[k], edges[k + 1])
        assert 10 * np.log10(found[k] / listed) == pytest.approx(0.0, abs=0.02), edges[k]


def test_a_product_alone_holds_its_level() -> None:
    """The integral over a lone product is `product_level_dbm`, modulated, for any order, slope and powers."""
    centres, widths, power = [925_000_000, 960_000_000], [200_000, 400_000], [41.0, 44.5]
    orders = tuple(range(2, 12))
    spec = -100.0 - 3.0 * np.arange(len(orders))
    slope = 0.8 * np.arange(2, 12)
    whole = pim.intermod_spectrum(centres, widths, power, spec, orders, slope)
    for i, n in enumerate(orders):
        # At the outer edge of its order stands a product with no term of the same order beside it.
        c = [n, 0] if n % 2 == 0 else [-(n - 1) // 2, (n + 1) // 2]
        middle = float(np.dot(c, centres))
        half = float(np.dot(np.abs(c), widths)) / 2 + n * 100_000
        level = float(pim.product_level_dbm(c, power, spec[i], slope[i]))
        assert whole.power_dbm(middle - half, middle + half)[i] == pytest.approx(level, abs=1e-6), n


def test_closed_forms_of_one_carrier() -> None:
    """2 f of a flat carrier is a triangle; order 3 about the carrier itself holds 3 times the power of its third harmonic."""
    one = pim.intermod_spectrum([1_000_000_000], [10_100_000], [43.0], [-90.0, -107.0], (2, 3))
    cells = one.cell_mw[0]
    # Cell k of the triangle, exactly: (f + 1/2)^2 integrated by halves.
    k = np.arange(-101, 102)
    triangle = np.maximum(101 - np.abs(k), 0) / 101**2
    triangle[np.abs(k) == 0] -= 1 / 4 / 101**2
    triangle[np.abs(k) == 101] += 1 / 8 / 101**2
    near = cells[20000 - 101 : 20000 + 102]
    np.testing.assert_allclose(near / near.sum(), triangle, rtol=1e-6, atol=1e-9)
    about = 10 ** (one.power_dbm([980e6, 2980e6], [1020e6, 3020e6])[1] / 10)
    assert about[0] / about[1] == pytest.approx(3.0, rel=1e-9)


def test_noise_sent_through_a_cubic_law() -> None:
    """Independent of all formulas: Gaussian noise in time, y = x^3 less its part along x, periodogram, against the spectrum."""
    rng = np.random.default_rng(7)
    size, runs = 1 << 14, 240
    bins = np.arange(size // 2 + 1)
    carriers = {1500: (150, 43.0), 1900: (250, 41.0)}  # centre and width in bins of 1 MHz; powers
    shape = np.zeros(bins.size)
    for f, (w, p) in carriers.items():
        shape[(bins > f - w / 2) & (bins < f + w / 2)] = 10 ** ((p - 43.0) / 10) / (w - 1)
    got = np.zeros(bins.size)
    for _ in range(runs):
        noise = (rng.normal(size=bins.size) + 1j * rng.normal(size=bins.size)) * np.sqrt(shape) / 2
        x = np.fft.irfft(noise, size) * size  # mean square: one watt for each carrier of 43 dBm
        y = x**3 - 3.0 * np.sum(shape) * x  # what is left is the pure third order (Hermite)
        got += np.abs(np.fft.rfft(y) / size) ** 2 * 2 / runs
    # Two tones of the same mean square give 2 f1 - f2 the amplitude 3/4 a^3, a^2/2 = 1.
    reference = (3 / 4 * 2**1.5) ** 2 / 2
    centres, widths = [f * MHZ for f in carriers], [(w - 1) * MHZ for w, _ in carriers.values()]
    powers = [p for _, p in carriers.values()]
    whole = pim.intermod_spectrum(centres, widths, powers, 0.0, [3], raster_hz=MHZ, up_to_hz=6000e6)
    for low, high in ((900, 1300), (1950, 2500), (4700, 5100), (4400, 4600), (1450, 1550)):
        drawn = got[low + 1 : high + 1].sum() / reference
        # The band from low + 1/2 to high + 1/2 holds the bins low + 1 ... high.
        listed = float(whole.power_dbm((low + 0.5) * 1e6, (high + 0.5) * 1e6)[0])
        assert listed == pytest.approx(10 * np.log10(drawn), abs=0.12), (low, high)


def test_ranges_add_up_and_arrays_equal_scalars() -> None:
    centres, widths, power = PLANS["off the raster"]
    whole = pim.intermod_spectrum(centres, widths, power, [-107.0, -122.0], (3, 5), up_to_hz=1.2e9)
    edges = np.array([900e6, 917.3e6, 917.31e6, 931.0e6, 966.123e6, 1000e6])
    parts = 10 ** (whole.power_dbm(edges[:-1], edges[1:]) / 10)
    np.testing.assert_allclose(parts.sum(axis=1), 10 ** (whole.power_dbm(900e6, 1000e6) / 10), rtol=1e-12)
    one_by_one = [whole.power_dbm(a, b) for a, b in itertools.pairwise(edges)]
    np.testing.assert_allclose(whole.power_dbm(edges[:-1], edges[1:]), np.transpose(one_by_one))
    assert whole.power_dbm(edges[:-1, None], edges[None, 1:] + 1e8).shape == (2, 5, 5)
    np.testing.assert_array_equal(whole.power_dbm(950e6, 950e6), [-np.inf, -np.inf])
    np.testing.assert_allclose(whole.density_dbm_per_hz, whole.cell_dbm - 50.0)
    assert whole.frequency_hz[-1] >= 1.2e9
    # levels and slopes go with their orders, however these are listed
    swapped = pim.intermod_spectrum(centres, widths, power, [-122.0, -107.0], (5, 3), [4.0, 2.5], up_to_hz=1.2e9)
    straight = pim.intermod_spectrum(centres, widths, power, [-107.0, -122.0], (3, 5), [2.5, 4.0], up_to_hz=1.2e9)
    assert swapped.orders == straight.orders == (3, 5)
    np.testing.assert_array_equal(swapped.cell_mw, straight.cell_mw)
    places = np.linspace(930.0e6, 930.1e6, 57)
    assert np.all(whole.power_dbm(places, places) == -np.inf)


def test_nothing_where_no_product_reaches_and_no_wrap() -> None:
    centres, widths, power = PLANS["two of one band"]
    whole = pim.intermod_spectrum(centres, widths, power, -107.0, (3,))
    assert whole.power_dbm(2000e6, 5000e6)[0] == -np.inf
    assert whole.power_dbm(7000e6, 9000e6)[0] == -np.inf
    assert whole.power_dbm(0, 9000e6)[0] == pytest.approx(whole.power_dbm(0, 5600e6)[0], abs=1e-9)
    # A short axis does not let higher products wrap round into it.
    for orders in ((3,), (2, 5, 7)):
        full = pim.intermod_spectrum(centres, widths, power, -107.0, orders)
        short = pim.intermod_spectrum(centres, widths, power, -107.0, orders, up_to_hz=1.9e9)
        at = short.cell_mw.shape[1]
        for a, b in zip(full.cell_mw[:, :at], short.cell_mw, strict=True):
            np.testing.assert_allclose(b, a, atol=1e-11 * a.max())


def test_raster_error_is_what_the_text_says() -> None:
    """Power between two edges d apart: off by at most about n raster / d."""
    centres, widths, power = PLANS["off the raster"]
    fine = pim.intermod_spectrum(centres, widths, power, -107.0, (3,), raster_hz=10_000, up_to_hz=1.0e9)
    rough = pim.intermod_spectrum(centres, widths, power, -107.0, (3,), raster_hz=200_000, up_to_hz=1.0e9)
    edges = np.arange(915e6, 980e6, 1e6)
    a, b = (10 ** (x.power_dbm(edges[:-1], edges[1:])[0] / 10) for x in (fine, rough))
    held = a > 1e-3 * a.max()
    assert np.abs(b[held] / a[held] - 1).max() < 3 * 0.2 / 1.0
    np.testing.assert_allclose(b[held].sum(), a[held].sum(), rtol=1e-3)


def test_the_number_of_carriers_does_not_count() -> None:
    rng = np.random.default_rng(5)
    took = []
    for number in (4, 24, 200):
        centres = rng.integers(7600, 26800, number) * 100_000
        widths = rng.choice([5, 10, 20], number) * MHZ
        start = time.perf_counter()
        pim.intermod_spectrum(centres, widths, np.full(number, 43.0), -107.0, (3, 5, 7, 9))
        took.append(time.perf_counter() - start)
    assert min(took) < 0.3  # loose: a busy machine must not fail the test


def test_nonsense_is_refused() -> None:
    good = ([930 * MHZ, 957 * MHZ], [5 * MHZ] * 2, [43.0, 43.0], -107.0)
    whole = pim.intermod_spectrum(*good, up_to_hz=1e9)
    for call in (
        lambda: pim.intermod_spectrum([930, 957], [5, 5], [43.0, 43.0], -107.0),
        lambda: pim.intermod_spectrum(*good[:2], [43.0], -107.0),
        lambda: pim.intermod_spectrum(*good[:2], [43.0, np.nan], -107.0),
        lambda: pim.intermod_spectrum(*good[:3], np.nan),
        lambda: pim.intermod_spectrum(*good, (1,)),
        lambda: pim.intermod_spectrum(*good, (3, 12)),
        lambda: pim.intermod_spectrum(*good, (3, 5), [3.0, 5.0, 7.0]),
        lambda: pim.intermod_spectrum(*good, (3, 5), 0.0),
        lambda: pim.intermod_spectrum(*good, raster_hz=0),
        lambda: pim.intermod_spectrum(*good, raster_hz=100),
        lambda: pim.intermod_spectrum(*good, up_to_hz=np.nan),
        lambda: pim.intermod_spectrum(*good, up_to_hz=np.inf),
        lambda: pim.intermod_spectrum(*good, (3, 3)),
        lambda: pim.intermod_spectrum(*good, (3.5,)),
        lambda: pim.intermod_spectrum(*good, ()),
        lambda: whole.power_dbm(940e6, 930e6),
        lambda: whole.power_dbm(-1.0, 930e6),
        lambda: whole.power_dbm(np.nan, 930e6),
        lambda: whole.power_dbm(940e6, 1.1e9),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
