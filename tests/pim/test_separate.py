"""What moving carriers or keeping pairs apart leaves: against listing the products once more, and against trying every set."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from upmast import pim
from upmast.pim import split as module

MHZ = 1_000_000
RANGES = [[703 * MHZ, 748 * MHZ], [880 * MHZ, 915 * MHZ], [1710 * MHZ, 1785 * MHZ]]
NOISE = np.array([-97.0, -98.5, -95.0])


def _plan(seed: int, number: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    low = rng.choice([758 * MHZ, 925 * MHZ, 1805 * MHZ], number)
    return low + rng.integers(30, 300, number) * 100_000, rng.choice([5, 10], number) * MHZ, rng.uniform(38, 46, number)


def _hits(seed: int, number: int, orders: tuple[int, ...] = (3, 5)) -> tuple[pim.Products, np.ndarray]:
    centres, widths, power = _plan(seed, number)
    found = pim.products_in(centres, widths, RANGES, orders)
    assert found.complete
    return found, pim.hit_levels_dbm(found, centres, widths, power, RANGES, -107.0)


def _count(seed: int, number: int, kept: list[int]) -> int:
    """Hits of only some of the carriers, listed anew."""
    if not kept:
        return 0
    centres, widths, _ = _plan(seed, number)
    return int(pim.products_in(centres[kept], widths[kept], RANGES, (3, 5)).count.sum())


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_moving_a_carrier_leaves_the_hits_of_the_others(seed: int) -> None:
    found, level = _hits(seed, 6)
    ranked = pim.rank_carriers(found.coefficients, level, found.receive, NOISE)
    before = pim.noise_rises_db(level, found.receive, NOISE)
    for one in ranked:
        others = [n for n in range(6) if n not in one.carriers]
        assert one.hits_left == _count(seed, 6, others)
        assert one.hits_left + one.hits_gone == found.order.size
        stays = ~np.any(found.coefficients[:, list(one.carriers)] != 0, axis=1)
        after = pim.noise_rises_db(level[stays], found.receive[stays], NOISE)
        assert one.worst_rise_db == pytest.approx(after.max())
        assert one.relief_db == pytest.approx(before.max() - after.max())
        assert one.total_relief_db == pytest.approx((before - after).sum())
    assert [one.worst_rise_db for one in ranked] == sorted(one.worst_rise_db for one in ranked)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_keeping_a_pair_apart_leaves_the_hits_without_both(seed: int) -> None:
    """Counted by listing anew: with one or the other, less those with neither."""
    found, level = _hits(seed, 6)
    ranked = pim.rank_pairs(found.coefficients, level, found.receive, NOISE)
    assert len(ranked) == 15
    for one in ranked:
        i, j = one.carriers
        without = [[n for n in range(6) if n not in gone] for gone in ({i}, {j}, {i, j})]
        expected = _count(seed, 6, without[0]) + _count(seed, 6, without[1]) - _count(seed, 6, without[2])
        assert one.hits_left == expected


def test_order_is_stable_and_by_number_where_equal() -> None:
    """Four like carriers of two equal hits: nothing tells them apart but their number. The order of the hits does not count."""
    hits = np.array([[2, -1, 0, 0], [0, 0, 2, -1]])
    level, receive = np.array([-100.0, -100.0]), np.array([0, 1])
    ranked = pim.rank_carriers(hits, level, receive, [-100.0, -100.0])
    assert [one.carriers for one in ranked] == [(0,), (1,), (2,), (3,)]
    assert [one.carriers for one in pim.rank_pairs(hits, level, receive, [-100.0, -100.0])] == [(0, 1), (2, 3)]
    found, level = _hits(4, 7)
    turned = np.random.default_rng(0).permutation(found.order.size)
    for function in (pim.rank_carriers, pim.rank_pairs):
        a = function(found.coefficients, level, found.receive, NOISE)
        b = function(found.coefficients[turned], level[turned], found.receive[turned], NOISE)
        assert [one.carriers for one in a] == [one.carriers for one in b]


def test_a_product_of_one_carrier_is_no_matter_of_pairs() -> None:
    ranked = pim.rank_pairs([[3, 0], [2, -1]], [-100.0, -120.0], [0, 0], [-100.0])
    assert [(one.carriers, one.hits_left) for one in ranked] == [((0, 1), 1)]
    assert pim.rank_carriers([[3, 0], [2, -1]], [-100.0, -120.0], [0, 0], [-100.0])[0].carriers == (0,)


def test_noise_rises_by_hand() -> None:
    """Equal to the noise: 3.01 dB; ten times it: 10.41 dB; nothing: 0."""
    rises = pim.noise_rises_db([-100.0, -90.0, -np.inf], [0, 1, 2], [-100.0, -100.0, -100.0])
    np.testing.assert_allclose(rises, [10 * np.log10(2), 10 * np.log10(11), 0.0])
    np.testing.assert_array_equal(pim.noise_rises_db([], [], [-100.0]), [0.0])


def test_levels_of_hits_are_those_of_one_product_at_a_time() -> None:
    """Worked case of 2 f1 - f2: -107 dBm at 43 dBm, 3.01 dB for modulation, all of it in the range."""
    found, level = _hits(1, 5, (3,))
    centres, widths, power = _plan(1, 5)
    for n in range(0, found.order.size, 3):
        c, (low, high) = found.coefficients[n], RANGES[int(found.receive[n])]
        one = float(pim.product_level_dbm(c, power, -107.0))
        share = float(pim.channel_share([c], centres, widths, low, high)[0])
        assert level[n] == pytest.approx(one + 10 * np.log10(share))
    none = pim.products_in([930 * MHZ], [0], [[703 * MHZ, 748 * MHZ]])
    assert pim.hit_levels_dbm(none, [930 * MHZ], [0], [43.0], [[703 * MHZ, 748 * MHZ]], -107.0).shape == (0,)


@pytest.mark.parametrize("seed", range(40))
def test_the_least_set_is_the_least_of_all_sets(seed: int) -> None:
    rng = np.random.default_rng(seed)
    carriers, hits = int(rng.integers(2, 9)), int(rng.integers(1, 20))
    rows = rng.integers(-1, 2, (hits, carriers))
    rows[~rows.any(axis=1), 0] = 1
    found = pim.least_carriers_to_move(rows)
    sets = (one for size in range(carriers + 1) for one in combinations(range(carriers), size))
    assert found == next(one for one in sets if np.all((rows[:, list(one)] != 0).any(axis=1)))


def test_no_hits_nothing_to_do() -> None:
    none = np.zeros((0, 4))
    assert pim.least_carriers_to_move(none) == ()
    assert pim.rank_pairs(none, [], [], [-100.0]) == ()
    split = pim.best_split(none, [], [], [-100.0])
    assert (split.second, split.hits_left, split.worst_rise_db) == ((), 0, 0.0)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_the_best_split_is_the_best_of_all(seed: int) -> None:
    found, level = _hits(seed, 7)
    split = pim.best_split(found.coefficients, level, found.receive, NOISE)
    assert split.exhaustive
    assert sorted((*split.first, *split.second)) == list(range(7))
    assert split.hits_left == _count(seed, 7, list(split.first)) + _count(seed, 7, list(split.second))
    used = found.coefficients != 0
    best = (np.inf, np.inf)
    for size in range(7):
        for second in combinations(range(1, 7), size):
            there = np.isin(np.arange(7), second)
            stays = ~((used & there).any(axis=1) & (used & ~there).any(axis=1))
            rises = pim.noise_rises_db(level[stays], found.receive[stays], NOISE)
            best = min(best, (round(float(rises.max()), 9), round(float(rises.sum()), 9)))
    assert (split.worst_rise_db, split.total_rise_db) == pytest.approx(best, abs=1e-8)


def test_groups_stay_together_and_many_carriers_are_said_to_be_searched(monkeypatch: pytest.MonkeyPatch) -> None:
    found, level = _hits(5, 8)
    whole = pim.best_split(found.coefficients, level, found.receive, NOISE)
    tied = pim.best_split(found.coefficients, level, found.receive, NOISE, [[1, 4], [4, 6]])
    for side in (tied.first, tied.second):
        assert len({1, 4, 6} & set(side)) in (0, 3)
    assert tied.worst_rise_db >= whole.worst_rise_db - 1e-9
    monkeypatch.setattr(module, "MOST_SPLIT", 3)
    climbed = pim.best_split(found.coefficients, level, found.receive, NOISE)
    assert not climbed.exhaustive
    assert whole.worst_rise_db - 1e-9 <= climbed.worst_rise_db <= pim.noise_rises_db(level, found.receive, NOISE).max()


def test_nonsense_is_refused() -> None:
    one = ([[2, -1]], [-100.0], [0], [-100.0])
    found, _ = _hits(1, 5)
    for call in (
        lambda: pim.rank_pairs([2, -1], *one[1:]),
        lambda: pim.rank_pairs([[0, 0]], *one[1:]),
        lambda: pim.rank_pairs([[2, -1]] * 2, *one[1:]),
        lambda: pim.rank_carriers(one[0], [np.nan], [0], [-100.0]),
        lambda: pim.rank_carriers(one[0], [-100.0], [1], [-100.0]),
        lambda: pim.rank_carriers(one[0], [-100.0], [0], [np.nan]),
        lambda: pim.rank_carriers(one[0], [-100.0], [0, 0], [-100.0]),
        lambda: pim.best_split([[2, -1]] * 2, *one[1:]),
        lambda: pim.best_split(*one, together=[[0, 2]]),
        lambda: pim.least_carriers_to_move(np.ones((1, 70))),
        lambda: pim.hit_levels_dbm(found, [930 * MHZ], [0], [43.0], RANGES, -107.0),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
