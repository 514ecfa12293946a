from __future__ import annotations

import itertools

import numpy as np
import pytest

from upmast import pim
from upmast.pim import products as module

RANGES = [[703_000_000, 748_000_000], [880_000_000, 915_000_000], [1_710_000_000, 1_785_000_000]]


def _carriers(seed: int, number: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    low = rng.choice([758_000_000, 925_000_000, 1_805_000_000, 2_110_000_000], number)
    centres = low + rng.integers(0, 300, number) * 100_000
    return centres, rng.choice([0, 200_000, 3_840_001, 5_000_000, 20_000_000], number)


def _tried(centres: np.ndarray, widths: np.ndarray, orders: tuple[int, ...]) -> set[tuple[int, ...]]:
    """Every vector, by trying all combinations; plain Python whole numbers."""
    highest = max(orders)
    out = set()
    for c in itertools.product(range(-highest, highest + 1), repeat=centres.size):
        if sum(map(abs, c)) in orders and sum(a * int(f) for a, f in zip(c, centres, strict=True)) > 0:
            out.add(c)
    return out


def _hit(c: tuple[int, ...], centres: np.ndarray, widths: np.ndarray, low: int, high: int) -> bool:
    f = sum(a * int(x) for a, x in zip(c, centres, strict=True))
    w = sum(abs(a) * int(x) for a, x in zip(c, widths, strict=True))
    return 2 * f + w > 2 * low and 2 * f - w < 2 * high


def _listed(found: pim.Products) -> list[tuple[tuple[int, ...], int]]:
    return [(tuple(c), r) for c, r in zip(found.coefficients.tolist(), found.receive.tolist(), strict=True)]


CASES = [(1, 3, (3, 5, 7)), (2, 4, (2, 3, 5)), (3, 4, (3, 4, 5)), (4, 2, (3, 9, 11)), (5, 5, (2, 3)), (6, 1, (2, 3))]


@pytest.mark.parametrize("halves", [False, True])
@pytest.mark.parametrize(("seed", "number", "orders"), CASES)
def test_finds_what_trying_every_vector_finds(
    seed: int, number: int, orders: tuple[int, ...], halves: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if halves:
        monkeypatch.setattr(module, "_PLAIN", -1)
        monkeypatch.setattr(module, "_CHUNK", 7)
    centres, widths = _carriers(seed, number)
    every = _tried(centres, widths, orders)
    expected = [(c, r) for r, (a, b) in enumerate(RANGES) for c in every if _hit(c, centres, widths, a, b)]
    found = pim.products_in(centres, widths, RANGES, orders)
    assert sorted(_listed(found)) == sorted(expected)
    assert found.complete
    for i, n in enumerate(orders):
        for r in range(len(RANGES)):
            assert found.count[i, r] == sum(1 for c, at in expected if at == r and sum(map(abs, c)) == n)


@pytest.mark.parametrize("halves", [False, True])
def test_wide_products_about_zero(halves: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Low receive range and wide carriers: products whose width reaches it from a centre at or below 0 count once, as c or -c."""
    if halves:
        monkeypatch.setattr(module, "_PLAIN", -1)
    centres = np.array([100_000_000, 140_000_000, 180_000_001, 140_000_000])
    widths = np.array([60_000_000, 40_000_001, 50_000_000, 80_000_000])
    ranges = [[20_000_000, 30_000_000], [0, 5_000_000]]
    every = _tried(centres, widths, (2, 3, 4))
    found = pim.products_in(centres, widths, ranges, (2, 3, 4))
    expected = [(c, r) for r, (a, b) in enumerate(ranges) for c in every if _hit(c, centres, widths, a, b)]
    assert len(expected) > 20
    assert sorted(_listed(found)) == sorted(expected)
    assert found.complete


def test_all_products_of_small_sets() -> None:
    centres, widths = _carriers(8, 3)
    found = pim.all_products(centres, widths, (2, 3, 5))
    assert {tuple(c) for c in found.coefficients.tolist()} == _tried(centres, widths, (2, 3, 5))
    np.testing.assert_array_equal(found.coefficients.astype(int) @ centres, found.centre_hz)
    np.testing.assert_array_equal(np.abs(found.coefficients.astype(int)) @ widths, found.width_hz)
    np.testing.assert_array_equal(found.high_hz - found.low_hz, found.width_hz)
    assert np.all(found.receive == -1)
    assert found.complete


def test_count_of_vectors() -> None:
    """Closed form against trying all."""
    for number, order in ((1, 3), (2, 5), (3, 4), (4, 3)):
        centres = np.array([1_000_003, 2_000_029, 5_000_101, 11_000_027])[:number]
        assert pim.product_count(number, order) == len(_tried(centres, centres, (order,)))


def test_cutting_the_list_keeps_the_counts_and_the_lowest_orders(monkeypatch: pytest.MonkeyPatch) -> None:
    centres, widths = _carriers(11, 9)
    whole = pim.products_in(centres, widths, RANGES, (3, 5))
    third = int(whole.count[0].sum())
    for plain in (module._PLAIN, -1):
        monkeypatch.setattr(module, "_PLAIN", plain)
        cut = pim.products_in(centres, widths, RANGES, (3, 5), most=third + 2)
        np.testing.assert_array_equal(cut.count, whole.count)
        assert not cut.complete
        assert cut.order.tolist() == [3] * third + [5, 5]
        assert set(_listed(cut)) <= set(_listed(whole))
        assert pim.products_in(centres, widths, RANGES, (3, 5), most=0).order.size == 0


def test_both_ways_agree_for_many_carriers(monkeypatch: pytest.MonkeyPatch) -> None:
    centres, widths = _carriers(12, 10)
    plain = pim.products_in(centres, widths, RANGES, (3, 5, 6), most=10**6)
    monkeypatch.setattr(module, "_PLAIN", -1)
    halves = pim.products_in(centres, widths, RANGES, (3, 5, 6), most=10**6)
    np.testing.assert_array_equal(plain.count, halves.count)
    assert sorted(_listed(plain)) == sorted(_listed(halves))


@pytest.mark.parametrize("block", range(10))
def test_halves_equal_the_plain_way_on_random_plans(block: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """300 plans, to the last product: coefficients, centre, width, order, range, and the counts."""
    for seed in range(30 * block, 30 * block + 30):
        rng = np.random.default_rng(1000 + seed)
        number = int(rng.integers(1, 9))
        centres, widths = _carriers(seed, number)
        centres = centres + rng.integers(-1, 2, number) * int(rng.integers(0, 50_000))
        if number > 2 and seed % 5 == 0:
            centres[1], widths[1] = centres[0], widths[0]  # a carrier twice
        low = rng.integers(0, 26_000, 4) * 100_000
        ranges = np.stack([low, low + rng.integers(1, 900, 4) * 100_000], axis=1)
        orders = sorted({int(n) for n in rng.integers(2, 8 if number < 6 else 6, 3)})
        both = []
        for plain in (10**9, -1):
            monkeypatch.setattr(module, "_PLAIN", plain)
            found = pim.products_in(centres, widths, ranges, orders, most=10**7)
            assert found.complete
            columns = (
                found.order,
                found.receive,
                found.centre_hz,
                found.width_hz,
                *found.coefficients.T.astype(np.int64),
            )
            rows = np.stack(columns, axis=1)
            both.append((rows[np.lexsort(rows.T)], found.count))
        np.testing.assert_array_equal(both[0][0], both[1][0])
        np.testing.assert_array_equal(both[0][1], both[1][1])


@pytest.mark.parametrize("halves", [False, True])
def test_a_carrier_twice_gives_every_product_of_both(halves: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two alike at 930 MHz: 2 f1 - f3, f1 + f2 - f3 and 2 f2 - f3 all lie at 903 MHz; f1 - f2 is 0 Hz and no product."""
    if halves:
        monkeypatch.setattr(module, "_PLAIN", -1)
    plan = ([930_000_000, 930_000_000, 957_000_000], [0, 0, 0], [[880_000_000, 915_000_000]])
    found = pim.products_in(*plan, [3])
    assert sorted(map(tuple, found.coefficients.tolist())) == [(0, 2, -1), (1, 1, -1), (2, 0, -1)]
    assert found.centre_hz.tolist() == [903_000_000] * 3
    assert pim.products_in(*plan[:2], [[0, 1_000_000]], [2]).count.sum() == 0


@pytest.mark.parametrize("halves", [False, True])
def test_a_carrier_on_the_edge_of_its_band(halves: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Band 31, whole: 2 f1 - f2 from 457.5 MHz on touches the uplink that ends there; a carrier one hertz wider is in it."""
    if halves:
        monkeypatch.setattr(module, "_PLAIN", -1)
    uplink = [[452_500_000, 457_500_000]]
    for more, hits in ((0, 0), (2, 1)):
        # 462.5 to 465 and 465 to 467.5 MHz: they touch one another and both edges of the band
        centres, widths = [463_750_000, 466_250_000], [2_500_000, 2_500_000 + more]
        assert pim.products_in(centres, widths, uplink, [3]).count.sum() == hits


@pytest.mark.parametrize("halves", [False, True])
def test_touching_ranges_share_no_product_without_width(halves: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """A point on the border of two receive ranges is in neither; a product with width is in both."""
    if halves:
        monkeypatch.setattr(module, "_PLAIN", -1)
    border = [[880_000_000, 903_000_000], [903_000_000, 915_000_000]]
    assert pim.products_in([930_000_000, 957_000_000], [0, 0], border, [3]).count.tolist() == [[0, 0]]
    assert pim.products_in([930_000_000, 957_000_000], [0, 200_000], border, [3]).count.tolist() == [[1, 1]]


def test_moving_all_by_one_hertz_at_the_edge() -> None:
    """Open intervals in whole hertz: touching is no hit, one hertz more is."""
    for low, hits in ((903_000_000, 0), (902_999_999, 1)):
        assert pim.products_in([930_000_000, 957_000_000], [0, 0], [[low, 915_000_000]]).count.sum() == hits
    for low, hits in ((904_500_000, 0), (904_499_999, 1)):
        found = pim.products_in([930_000_000, 957_000_000], [1_000_000, 1_000_000], [[low, 915_000_000]], [3])
        assert found.count.sum() == hits


def test_no_ranges_and_text() -> None:
    none = pim.products_in([930_000_000, 957_000_000], [0, 0], np.zeros((0, 2)))
    assert none.count.shape == (3, 0)
    assert none.complete
    assert pim.product_text([0, -3, 1]) == "f3 - 3 f2"
    assert pim.product_text([0]) == "0"


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: pim.products_in([930e6 + 0.5], [0], RANGES),
        lambda: pim.products_in([-930e6], [0], RANGES),
        lambda: pim.products_in([930e6], [-1], RANGES),
        lambda: pim.products_in([930e6, 940e6], [0], RANGES),
        lambda: pim.products_in([], [], RANGES),
        lambda: pim.products_in([np.nan], [0], RANGES),
        lambda: pim.products_in([930e6], [0], [[2, 1]]),
        lambda: pim.products_in([930e6], [0], [1, 2]),
        lambda: pim.products_in([930e6], [0], RANGES, [1]),
        lambda: pim.products_in([930e6], [0], RANGES, []),
        lambda: pim.products_in([930e6], [0], RANGES, [99]),
        lambda: pim.products_in([930e6], [0], RANGES, most=-1),
        lambda: pim.products_in(np.arange(1, 61) * 10**7, np.zeros(60), RANGES, (3, 11)),
        lambda: pim.all_products(np.arange(1, 25) * 10**7, np.zeros(24), (7,)),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
