"""The search of centres whose receive channels move along: against counting each plan one by one."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from upmast.pim.level import product_level_dbm, specified_dbm
from upmast.pim.moving import best_moving_plan
from upmast.pim.products import products_in

SPEC_DBM = -107.0


def plainly(
    centres: tuple[int, ...], widths: list[int], below: list[int | None], fixed: list[tuple[int, int]]
) -> tuple[int, float]:
    """Hits and their power, each plan by the listing of products."""
    ranges = [
        (c - d - w // 2, c - d + w // 2) for c, w, d in zip(centres, widths, below, strict=True) if d is not None
    ] + fixed
    found = products_in(list(centres), widths, ranges, (3, 5, 7))
    level = (
        product_level_dbm(found.coefficients, [43.0] * len(centres), specified_dbm(found.order, SPEC_DBM))
        if found.order.size
        else np.zeros(0)
    )
    return int(found.order.size), float((10 ** (level / 10)).sum())


def test_it_is_the_least_of_all_plans() -> None:
    rng = np.random.default_rng(3)
    for _ in range(40):
        count = int(rng.integers(2, 4))
        widths = [int(w) for w in rng.choice([5_000_000, 10_000_000, 20_000_000], count)]
        lists = [sorted({int(c) * 100_000 for c in rng.integers(18_100, 18_750, 4)}) for _ in range(count)]
        below: list[int | None] = [95_000_000 if rng.random() < 0.8 else None for _ in range(count)]
        fixed = [(1_920_000_000, 1_940_000_000)] if rng.random() < 0.5 else []
        found = best_moving_plan(lists, widths, below, fixed, [43.0] * count, SPEC_DBM)
        assert found.exhaustive
        rows = []
        for plan in product(*lists):
            apart = all(2 * abs(plan[a] - plan[b]) >= widths[a] + widths[b] for a in range(count) for b in range(a))
            hits, cost = plainly(plan, widths, below, fixed) if below != [None] * count or fixed else (0, 0.0)
            rows.append((plan, apart, hits, cost))
        assert (found.before_hits, found.plans) == (rows[0][2], len(rows))
        allowed = [r for r in rows if r[1]]
        if not allowed:
            assert found.centres_hz == ()
            continue
        best = min(r[3] for r in allowed)
        mine = next(r for r in allowed if r[0] == found.centres_hz)
        assert mine[3] == pytest.approx(best, rel=1e-9, abs=1e-30)
        assert found.hits == mine[2]


def test_words_tell_what_it_brings() -> None:
    none = best_moving_plan(
        [[1_815_000_000], [1_862_500_000, 1_825_000_000]], [5_000_000] * 2, [95_000_000] * 2, [], [43.0] * 2, SPEC_DBM
    )
    assert none.words() == "centres at 1815, 1825 MHz: no product is left in a receive channel (2 plans, all looked at)"
    less = best_moving_plan(
        [[1_815_000_000], [1_862_500_000, 1_835_000_000]], [10_000_000] * 2, [95_000_000] * 2, [], [43.0] * 2, SPEC_DBM
    )
    assert (
        less.words()
        == "centres at 1815, 1835 MHz: 2 products are left, 9.2 dB weaker together (2 plans, all looked at)"
    )
    same = best_moving_plan(
        [[1_815_000_000], [1_862_500_000]], [10_000_000] * 2, [95_000_000] * 2, [], [43.0] * 2, SPEC_DBM
    )
    assert same.words() == "no allowed plan is better than the present one (1 plans, all looked at)"
    over = best_moving_plan(
        [[1_815_000_000], [1_816_000_000]], [10_000_000] * 2, [95_000_000] * 2, [], [43.0] * 2, SPEC_DBM
    )
    assert over.words() == "no allowed plan keeps the carriers apart (all looked at)"
    cut = best_moving_plan(
        [[1_815_000_000 + n * 100_000 for n in range(9)]] * 2,
        [5_000_000] * 2,
        [95_000_000] * 2,
        [],
        [43.0] * 2,
        SPEC_DBM,
        most_plans=20,
    )
    assert not cut.exhaustive
    assert cut.plans <= 20


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: best_moving_plan([], [], [], [], [], SPEC_DBM),
        lambda: best_moving_plan([[1_815_000_000], []], [5_000_000] * 2, [None] * 2, [], [43.0] * 2, SPEC_DBM),
        lambda: best_moving_plan([[1815]], [5], [None], [], [43.0], SPEC_DBM),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
