from __future__ import annotations

import itertools

import numpy as np
import pytest

from upmast import pim


def test_two_test_tones_give_the_specification() -> None:
    for order, c in ((2, [1, 1]), (3, [2, -1]), (5, [3, -2]), (7, [-3, 4])):
        level = pim.product_level_dbm(c, [43.0, 43.0], -107.0, modulated=False)
        assert float(level) == pytest.approx(-107.0), order


def test_three_tone_product_is_6_db_above_two_tone() -> None:
    """Triple beat f1 + f2 - f3 against 2 f1 - f2: 6 dB (textbook; 20 log10 2)."""
    level = pim.product_level_dbm([[1, 1, -1], [2, -1, 0]], [43.0] * 3, -110.0, modulated=False)
    assert level[0] - level[1] == pytest.approx(20 * np.log10(2))


def test_unequal_carriers_and_slope() -> None:
    """Ideal law: 2 dB per dB of f1 and 1 dB per dB of f2; a slope of s gives s per dB of all together."""
    base = float(pim.product_level_dbm([2, -1], [43.0, 43.0], -107.0))
    assert float(pim.product_level_dbm([2, -1], [44.0, 43.0], -107.0)) - base == pytest.approx(2.0)
    assert float(pim.product_level_dbm([2, -1], [43.0, 44.0], -107.0)) - base == pytest.approx(1.0)
    assert float(pim.product_level_dbm([2, -1], [44.0, 44.0], -107.0, 2.5)) - base == pytest.approx(2.5)


@pytest.mark.parametrize(("order", "tones"), [(3, 2), (3, 3), (5, 2), (5, 3)])
def test_levels_are_those_of_a_power_law_driven_with_tones(order: int, tones: int) -> None:
    """y = x^n in time with whole-number tones: the FFT gives the level of each product, relative to the two-tone one."""
    freqs = np.array([101, 128, 171])[:tones]
    power_dbm = np.array([43.0, 40.5, 44.0])[:tones]
    t = np.arange(4096) / 4096
    amplitude = 10 ** ((power_dbm - 43.0) / 20)
    spectrum = np.abs(np.fft.rfft(np.sum(amplitude[:, None] * np.cos(2 * np.pi * freqs[:, None] * t), axis=0) ** order))
    two = np.abs(np.fft.rfft((np.cos(2 * np.pi * 101 * t) + np.cos(2 * np.pi * 128 * t)) ** order))
    top = (order + 1) // 2
    reference = two[abs(top * 101 - (top - 1) * 128)]
    found = pim.all_products(freqs, np.zeros(tones), (order,))
    every = pim.all_products(freqs, np.zeros(tones), range(2, order + 1))
    places, times = np.unique(every.centre_hz, return_counts=True)
    alone = np.isin(found.centre_hz, places[times == 1]) & (found.centre_hz < 2048)
    assert alone.sum() > 5
    level = pim.product_level_dbm(found.coefficients[alone], power_dbm, 0.0, modulated=False)
    np.testing.assert_allclose(level, 20 * np.log10(spectrum[found.centre_hz[alone]] / reference), atol=1e-6)


def test_modulated_third_order_gets_3_db() -> None:
    """Noise-like carriers: mean of |z1^2 z2*|^2 is 2 (Gaussian fourth moment) against 1 of tones of the same power."""
    rng = np.random.default_rng(1)
    z = (rng.normal(size=(2, 400_000)) + 1j * rng.normal(size=(2, 400_000))) / np.sqrt(2)
    drawn = 10 * np.log10(np.mean(np.abs(z[0] ** 2 * np.conj(z[1])) ** 2))
    tones = float(pim.product_level_dbm([2, -1], [43.0, 43.0], -107.0, modulated=False))
    noise = float(pim.product_level_dbm([2, -1], [43.0, 43.0], -107.0))
    assert noise - tones == pytest.approx(drawn, abs=0.1)


def test_array_equals_scalar() -> None:
    c = np.array([[2, -1, 0], [1, 1, -1], [3, -1, -1]])
    spec = pim.specified_dbm([3, 3, 5], -107.0)
    whole = pim.product_level_dbm(c, [43.0, 40.0, 45.0], spec, [2.5, 2.5, 4.0])
    one = [float(pim.product_level_dbm(c[i], [43.0, 40.0, 45.0], spec[i], s)) for i, s in enumerate((2.5, 2.5, 4.0))]
    np.testing.assert_allclose(whole, one)


def test_sums() -> None:
    assert float(pim.power_sum_dbm([-100.0, -np.inf])) == pytest.approx(-100.0)
    assert float(pim.voltage_sum_dbm([-100.0] * 10)) == pytest.approx(-80.0)
    assert pim.power_sum_dbm(np.full((3, 4), -90.0), axis=0).shape == (4,)


def test_noise() -> None:
    """-174 dBm/Hz at 290 K (trade's number); equal interference costs 3.01 dB; none costs nothing."""
    assert float(pim.noise_floor_dbm(1.0)) == pytest.approx(-173.98, abs=0.005)
    np.testing.assert_allclose(pim.noise_rise_db([-100.0, -np.inf, 500.0], -100.0), [10 * np.log10(2), 0.0, 600.0])


@pytest.mark.parametrize(
    ("c", "widths"), [([2, -1], [10e6, 10e6]), ([2, -1], [5e6, 20e6]), ([3, -2], [10e6, 15e6]), ([1, 1], [20e6, 5e6])]
)
def test_share_is_that_of_drawn_sums(c: list[int], widths: list[float]) -> None:
    """The convolution of flat spectra is the density of a sum of uniform numbers."""
    rng = np.random.default_rng(4)
    centres = np.array([1.81e9, 1.85e9])
    drawn = np.full(400_000, float(np.dot(c, centres)))
    for n, w in zip(c, widths, strict=True):
        drawn += w * (rng.uniform(size=(abs(n), drawn.size)) - 0.5).sum(axis=0)
    mid = float(np.dot(c, centres))
    for low, high in ((mid - 5e6, mid + 5e6), (mid + 4e6, mid + 13e6), (mid - 2e6, mid - 1e6)):
        share = pim.channel_share([c], centres, widths, low, high)
        assert share[0] == pytest.approx(np.mean((drawn > low) & (drawn < high)), abs=3e-3)


def test_share_closed_forms_and_additivity() -> None:
    """2 f1 of a flat carrier is a triangle; the channels of a row add up to 1; a tone is in or out; a single copy is a box."""
    triangle = pim.channel_share([[2]] * 3, [1e9], [10e6], [2e9, 2e9 + 5e6, 1e9], [2e9 + 5e6, 2e9 + 10e6, 3e9])
    np.testing.assert_allclose(triangle, [0.375, 0.125, 1.0], atol=1e-6)
    edges = np.linspace(1.75e9, 1.79e9, 41)
    parts = [
        float(pim.channel_share([[2, -1]], [1.81e9, 1.85e9], [9e6, 18e6], a, b)[0])
        for a, b in itertools.pairwise(edges)
    ]
    assert sum(parts) == pytest.approx(1.0, abs=1e-6)
    assert pim.channel_share([[2, -1]], [930e6, 957e6], [0, 0], 902e6, 904e6)[0] == 1
    assert pim.channel_share([[2, -1]], [930e6, 957e6], [0, 0], 903e6, 904e6)[0] == 0
    assert pim.channel_share([[2, -1]], [930e6, 957e6], [0, 10e6], 898e6, 900e6)[0] == pytest.approx(0.2)
    many = pim.channel_share(np.tile([[2, -1], [1, 0], [-1, 2]], (400, 1)), [930e6, 957e6], [5e6, 5e6], 900e6, 990e6)
    np.testing.assert_array_equal(many[:3], many[-3:])


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: pim.product_level_dbm([2, -1], [43.0], -107.0),
        lambda: pim.product_level_dbm([1, 0], [43.0, 43.0], -107.0),
        lambda: pim.specified_dbm(1, -107.0),
        lambda: pim.noise_floor_dbm(0.0),
        lambda: pim.channel_share([[2, -1]], [1e9, 1e9], [-1, 0], 0, 1),
        lambda: pim.channel_share([[2, -1]], [1e9, 1e9], [1, 0], 2, 1),
        lambda: pim.channel_share([2, -1], [1e9, 1e9], [1, 0], 0, 1),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
