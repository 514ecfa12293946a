"""Density of listed products against the exact share in channels, against the whole spectrum, and its limits."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import pim
from upmast.pim.level import power_sum_dbm
from upmast.pim.listed import listed_dbm
from upmast.pim.regrowth import regrowth_in, regrowth_vectors
from upmast.pim.spectrum import RASTER_HZ, intermod_spectrum

CENTRES, WIDTHS, POWER = [1_820_000_000, 1_860_000_000], [20_000_000, 10_000_000], [44.0, 42.0]
F = np.arange(16_000, 20_500, dtype=np.int64) * RASTER_HZ


def within(cells: np.ndarray, low: float, high: float) -> float:
    """Level of the cells between two edges; both lie in the middle between cells."""
    return float(power_sum_dbm(cells[(low < F) & (high > F)]))


@pytest.mark.parametrize("order", [3, 5, 7])
def test_power_in_a_channel_is_that_of_each_product_by_its_share(order: int) -> None:
    """Against the exact convolution: `product_level_dbm` and `channel_share`, which are checked by simulation."""
    low, high = 1_755_050_000, 1_775_050_000
    found = pim.products_in(CENTRES, WIDTHS, [[low, high]], [order])
    level = pim.product_level_dbm(found.coefficients, POWER, -107.0)
    share = pim.channel_share(found.coefficients, CENTRES, WIDTHS, low, high)
    wanted = float(power_sum_dbm(level + 10 * np.log10(share)))
    assert within(listed_dbm(F, CENTRES, WIDTHS, POWER, -107.0, order), low, high) == pytest.approx(wanted, abs=0.05)


def test_order_three_with_the_mirror_terms_is_the_whole_spectrum() -> None:
    """List and regrowth against the transform, over every channel of 10 MHz."""
    listed = listed_dbm(F, CENTRES, WIDTHS, POWER, -107.0, 3)
    whole = intermod_spectrum(CENTRES, WIDTHS, POWER, -107.0, [3], up_to_hz=2_100_000_000)
    twice, wide, power = CENTRES * 2, WIDTHS * 2, POWER * 2
    for low in range(1_770_050_000, 1_900_000_000, 10_000_000):
        high = low + 10_000_000
        vectors, _, _, _ = regrowth_in(CENTRES, WIDTHS, [[low, high]])
        mirror = -np.inf
        if len(vectors):
            level = pim.product_level_dbm(vectors, power, -107.0)
            share = np.maximum(pim.channel_share(vectors, twice, wide, low, high), 1e-300)
            mirror = float(power_sum_dbm(level + 10 * np.log10(share)))
        total = 10 * np.log10(10 ** (within(listed, low, high) / 10) + 10 ** (mirror / 10))
        # the list is drawn in whole cells, the transform cuts them: half a cell at each edge
        assert total == pytest.approx(float(whole.power_dbm(low, high)[0]), abs=0.1)
    assert len(regrowth_vectors(2)) == 4


def test_each_carrier_more_is_more_and_the_order_of_carriers_does_not_matter() -> None:
    one = listed_dbm(F, CENTRES, WIDTHS, POWER, -107.0, 5)
    np.testing.assert_allclose(listed_dbm(F, CENTRES[::-1], WIDTHS[::-1], POWER[::-1], -107.0, 5), one, rtol=1e-9)
    more = listed_dbm(F, [*CENTRES, 1_840_000_000], [*WIDTHS, 5_000_000], [*POWER, 40.0], -107.0, 5)
    assert np.all(more >= one - 1e-9)
    raised = listed_dbm(F, CENTRES, WIDTHS, [p + 1 for p in POWER], -107.0, 5)
    np.testing.assert_allclose(raised[np.isfinite(one)], one[np.isfinite(one)] + 5, rtol=1e-9)


@pytest.mark.parametrize("f", [[1, 2], [100_000, 300_000], [], [200_000, 100_000]])
def test_cells_off_the_raster_are_refused(f: list[int]) -> None:
    with pytest.raises(ValueError, match="cells on the raster"):
        listed_dbm(f, CENTRES, WIDTHS, POWER, -107.0, 3)


def test_too_many_products_are_refused() -> None:
    with pytest.raises(ValueError, match="more than 20000 products of order 7"):
        listed_dbm(F, [1_800_000_000 + n * 5_000_000 for n in range(12)], [1_000_000] * 12, [40.0] * 12, -107.0, 7)
