"""The best plan of channel centres: against trying every plan with the products listed for each."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest

from upmast import pim
from upmast.pim import replan as module

MHZ = 1_000_000
RANGES = [[703 * MHZ, 748 * MHZ], [880 * MHZ, 915 * MHZ], [1710 * MHZ, 1785 * MHZ]]
BANDS = ((758, 803), (925, 960), (1805, 1880))


def _problem(seed: int) -> tuple[list[list[int]], list[int], tuple[int, ...], np.ndarray]:
    rng = np.random.default_rng(seed)
    number = int(rng.integers(2, 5))
    allowed, widths = [], []
    for _ in range(number):
        low, high = BANDS[int(rng.integers(0, 3))]
        width = int(rng.choice([0, 5, 10, 15]))
        count = int(rng.choice([1, 2, 4]))
        steps = rng.choice(np.arange(low * 10 + 75, high * 10 - 75), count, replace=False)
        allowed.append([int(f) * 100_000 for f in steps])
        widths.append(width * MHZ)
    orders = ((3,), (3, 5), (2, 3, 4, 5), (3, 5, 7))[seed % 4]
    return allowed, widths, orders, rng.uniform(38, 46, number)


def _tried(
    allowed: list[list[int]], widths: list[int], orders: tuple[int, ...], power: np.ndarray | None
) -> tuple[float, tuple[int, ...], int] | None:
    """Cost, choice and hits of the best plan, the first of equal ones, by listing the products of every plan."""
    best = None
    for choice in product(*(range(len(some)) for some in allowed)):
        centres = [some[k] for some, k in zip(allowed, choice, strict=True)]
        if any(
            2 * abs(centres[i] - centres[j]) < widths[i] + widths[j] for i, j in combinations(range(len(centres)), 2)
        ):
            continue
        found = pim.products_in(centres, widths, RANGES, orders)
        cost = float(found.count.sum())
        if power is not None and found.order.size:
            level = pim.product_level_dbm(found.coefficients, power, pim.specified_dbm(found.order, -107.0))
            cost = float(np.sum(10 ** (level / 10)))
        if best is None or cost < best[0] * (1 - 1e-8):
            best = (cost, choice, int(found.count.sum()))
    return best


@pytest.mark.parametrize("by_level", [False, True])
@pytest.mark.parametrize("seed", range(24))
def test_no_plan_of_all_is_better(seed: int, by_level: bool) -> None:
    allowed, widths, orders, power = _problem(seed)
    expected = _tried(allowed, widths, orders, power if by_level else None)
    levels = {"carrier_dbm": power, "third_order_dbm": -107.0} if by_level else {}
    found = pim.best_plan(allowed, widths, RANGES, orders, **levels)  # type: ignore[arg-type]
    assert found.exhaustive
    assert found.plans == np.prod([len(some) for some in allowed])
    if expected is None:
        assert (found.centres_hz, found.cost) == ((), np.inf)
        assert "none of them keeps the carriers apart" in found.words()
        return
    assert found.choice == expected[1]
    assert found.centres_hz == tuple(some[k] for some, k in zip(allowed, found.choice, strict=True))
    assert found.hits == expected[2]
    assert found.cost == pytest.approx(expected[0])
    assert found.least_cost == pytest.approx(expected[0])
    if by_level and found.hits:
        assert found.level_dbm == pytest.approx(10 * np.log10(expected[0]))
    if not by_level:
        assert np.isnan(found.level_dbm)


def test_a_clean_plan_is_clean_and_found_among_many() -> None:
    """900 and 1800 together: 2e6 plans of three orders; the one found has no product by listing."""
    allowed = [[f * 100_000 for f in range(low, high, 9)] for low, high in ((9280, 9580), (9280, 9580), (18080, 18760))]
    allowed.append([2140 * MHZ])
    widths = [5 * MHZ, 5 * MHZ, 10 * MHZ, 10 * MHZ]
    found = pim.best_plan(allowed, widths, RANGES[1:], (3, 5))
    assert found.hits == 0
    assert found.words().startswith("a plan without any product in a receive range; ")
    assert pim.products_in(found.centres_hz, widths, RANGES[1:], (3, 5)).count.sum() == 0
    again = pim.best_plan(allowed, widths, RANGES[1:], (3, 5))
    assert again == found or np.isnan(found.level_dbm)
    assert (again.centres_hz, again.tests) == (found.centres_hz, found.tests)


def test_the_order_of_listing_is_the_order_of_liking() -> None:
    """Where nothing hits, the first centre of each list stays."""
    allowed = [[938 * MHZ, 930 * MHZ], [1840 * MHZ, 1850 * MHZ, 1860 * MHZ]]
    assert pim.best_plan(allowed, [0, 0], [[703 * MHZ, 748 * MHZ]], (3,)).choice == (0, 0)
    # 2 x 930 - 957 = 903 MHz hits, so do 913 and its like; 940 and 945 are both clean, and the one named first wins.
    for middle in ([935, 940, 945], [935, 945, 940]):
        found = pim.best_plan([[930 * MHZ, *(f * MHZ for f in middle)], [957 * MHZ]], [0, 0], RANGES[1:2], (3,))
        assert found.centres_hz == (middle[1] * MHZ, 957 * MHZ)


def test_touching_carriers_are_apart_and_overlap_can_be_allowed() -> None:
    allowed = [[930 * MHZ], [935 * MHZ, 934_999_999]]
    assert pim.best_plan(allowed, [5 * MHZ] * 2, RANGES[:1], (3,)).choice == (0, 0)
    overlap = [[930 * MHZ], [934 * MHZ]]
    none = pim.best_plan(overlap, [5 * MHZ] * 2, RANGES[:1], (3,))
    assert none.centres_hz == ()
    assert none.words() == "1 plan is allowed; none of them keeps the carriers apart"
    assert pim.best_plan(overlap, [5 * MHZ] * 2, RANGES[:1], (3,), apart=False).choice == (0, 0)


def test_a_search_that_stops_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(3)
    allowed = [[int(f) * 100_000 for f in low * 10 + 75 + rng.permutation(300)[:6]] for low, _ in (*BANDS, *BANDS[:2])]
    full = pim.best_plan(allowed, [5 * MHZ] * 5, RANGES, (3, 5))
    assert full.exhaustive
    cut = pim.best_plan(allowed, [5 * MHZ] * 5, RANGES, (3, 5), most_tests=full.tests // 20)
    assert not cut.exhaustive
    assert cut.least_cost <= full.cost <= cut.cost
    if cut.least_cost < cut.cost:
        assert "may exist" in cut.words()
    monkeypatch.setattr(module, "_PIECE", 7)
    assert pim.best_plan(allowed, [5 * MHZ] * 5, RANGES, (3, 5)).choice == full.choice


def test_a_range_from_zero_and_wide_products() -> None:
    """f2 - f1 about 0 Hz: a centre of exactly 0 is no product."""
    allowed = [[940 * MHZ, 941 * MHZ], [940 * MHZ, 942 * MHZ]]
    found = pim.best_plan(allowed, [5 * MHZ] * 2, [[0, 2 * MHZ]], (2,), apart=False)
    assert (found.choice, found.hits) == ((0, 0), 0)
    assert pim.products_in([940 * MHZ] * 2, [5 * MHZ] * 2, [[0, 2 * MHZ]], [2]).count.sum() == 0


def test_nonsense_is_refused() -> None:
    good = ([[930 * MHZ], [957 * MHZ]], [0, 0], RANGES)
    for call in (
        lambda: pim.best_plan([[930], [957]], [0, 0], RANGES),
        lambda: pim.best_plan([[930 * MHZ], []], [0, 0], RANGES),
        lambda: pim.best_plan([[930 * MHZ]], [0, 0], RANGES),
        lambda: pim.best_plan([], [], RANGES),
        lambda: pim.best_plan(*good, (1,)),
        lambda: pim.best_plan(*good, ()),
        lambda: pim.best_plan(*good, carrier_dbm=[43.0, 43.0]),
        lambda: pim.best_plan(*good, carrier_dbm=[43.0], third_order_dbm=-107.0),
        lambda: pim.best_plan(*good, carrier_dbm=[43.0, np.nan], third_order_dbm=-107.0),
        lambda: pim.best_plan([[k * 10 * MHZ] for k in range(50, 74)], [0] * 24, RANGES, (3, 7)),
        lambda: pim.product_vectors(24, 9),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
