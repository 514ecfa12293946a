"""Life cost and the cheapest size: a published example, Kelvin's law, envelopes against a search over a dense grid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from upmast.power.economy import (
    Ranges,
    cheapest_currents,
    cheapest_powers,
    economic_area_mm2,
    life_cost,
    load_life_cost,
    load_states,
)
from upmast.power.energy import life_price, loss_price_per_w
from upmast.power.load_flow import largest_power_w, single

Array = NDArray[np.float64]
HOURS, FRACTION = [2920.0, 3650.0, 2190.0], [1.0, 0.6, 0.3]
COST, OHM = [150.0, 200.0, 230.0, 330.0, 520.0], [0.60, 0.40, 0.38, 0.19, 0.12]
PRICE = life_price(0.20, 20, 0.05, rectifier_efficiency=0.95)
DEMAND = life_price(0.15, 15, 0.04, demand_per_w=0.05)


def test_kelvins_law_published() -> None:
    """
    Chakrabarti and others, A Textbook on Power System Engineering, second edition, example 17.6: 80 kW at 400 V and a power
    factor of 0.8 for 4000 h a year, 0.173 ohm for 1 km and 1 cm2, energy at 0.1, 10 % a year on 15 a + 25 per metre of the
    three-core cable; printed 1.7 cm2, from 1081.25 / 375 under the root.
    """
    current = 80e3 / (np.sqrt(3) * 400 * 0.8)
    per_core = 0.1 * 15 / 3 / 100
    area = economic_area_mm2(current, 0.0173, 4000 * 0.1 / 1000, per_core)
    assert round(float(area) / 100, 1) == 1.7
    assert (float(area) / 100) ** 2 == pytest.approx(1081.25 / 375, rel=1e-4)


@given(st.floats(1.0, 300.0), st.floats(0.01, 0.05), st.floats(0.1, 50.0), st.floats(1e-3, 1.0))
def test_kelvins_law_is_the_least_cost(current: float, rho: float, price: float, per_mm2: float) -> None:
    """Where copper and losses cost the same, the sum is least; checked by a general minimiser."""
    area = float(economic_area_mm2(current, rho, price, per_mm2))
    assert per_mm2 * area == pytest.approx(current**2 * rho / area * price, rel=1e-9)

    def total(log_s: float) -> float:
        s = np.exp(log_s)
        return float(life_cost(per_mm2 * s, current, rho / s, price))

    found = minimize_scalar(total, bracket=(np.log(area) - 1, np.log(area) + 0.7), tol=1e-10)
    assert found.fun == pytest.approx(total(float(np.log(area))), rel=1e-12)
    assert np.exp(found.x) == pytest.approx(area, rel=1e-4)


def test_life_cost_is_the_purchase_and_all_the_years() -> None:
    """Year by year: the losses at the reference load for T hours, paid at the end of each year and discounted."""
    current, ohm, hours = 22.0, 0.19, 5400.0
    f = loss_price_per_w(PRICE, hours)
    yearly = current**2 * ohm * hours / 1000 * 0.20 / 0.95
    assert life_cost(330.0, current, ohm, f) == pytest.approx(330.0 + sum(yearly / 1.05**n for n in range(1, 21)))
    assert life_cost(330.0, 0.0, ohm, f) == 330.0


def inside(ranges: Ranges, x: Array, winner: NDArray[np.intp], near: Array) -> None:
    """Each point belongs to the range of the size that is the cheapest there, away from the meeting points."""
    for value, size, close in zip(x, winner, near, strict=True):
        if not close:
            assert ranges.ever[size]
            assert ranges.low[size] <= value <= ranges.high[size]


def meet(ranges: Ranges) -> None:
    kept = np.flatnonzero(ranges.ever)
    order = kept[np.argsort(ranges.low[kept], kind="stable")]
    assert ranges.low[order[0]] == 0
    assert np.array_equal(ranges.high[order[:-1]], ranges.low[order[1:]])
    assert np.all(np.isnan(ranges.low) == ~ranges.ever)
    assert np.all(np.isnan(ranges.high) == ~ranges.ever)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.tuples(st.floats(10.0, 2000.0), st.floats(0.02, 2.0)), min_size=1, max_size=9),
    st.floats(0.5, 60.0),
)
def test_currents_against_the_dense_grid(pairs: list[tuple[float, float]], price: float) -> None:
    cost, ohm = (np.array(column) for column in zip(*pairs, strict=True))
    ranges = cheapest_currents(cost, ohm, price)
    meet(ranges)
    current = np.linspace(0.0, 120.0, 601)
    total = life_cost(cost, current[:, None], ohm, price)
    ordered = np.sort(total, axis=1)
    near = ordered[:, 1] - ordered[:, 0] < 1e-9 * ordered[:, 0] if cost.size > 1 else np.zeros(current.size, bool)
    inside(ranges, current, total.argmin(axis=1), near)
    assert np.isinf(ranges.high[ranges.ever].max())


def test_currents_in_any_order_and_equal_sizes() -> None:
    ranges = cheapest_currents(COST, OHM, 21.8)
    shuffled = [3, 0, 4, 2, 1]
    again = cheapest_currents(np.array(COST)[shuffled], np.array(OHM)[shuffled], 21.8)
    assert np.array_equal(again.low, ranges.low[shuffled], equal_nan=True)
    twice = cheapest_currents([100.0, 100.0, 300.0], [0.3, 0.3, 0.1], 10.0)
    assert twice.ever.tolist() == [True, False, True]
    # at a meeting point both cost the same
    meeting = twice.high[0]
    assert life_cost(100.0, meeting, 0.3, 10.0) == pytest.approx(float(life_cost(300.0, meeting, 0.1, 10.0)), rel=1e-12)
    free = cheapest_currents([100.0, 300.0], [0.3, 0.1], 0.0)
    assert free.ever.tolist() == [True, False]
    assert np.isinf(free.high[0])


@pytest.mark.parametrize("price", [PRICE, DEMAND])
def test_load_cost_state_by_state(price: object) -> None:
    """One state at a time, one year at a time."""
    p = PRICE if price is PRICE else DEMAND
    years, discount, per_kwh, per_w = (20, 0.05, 0.20 / 0.95, 0.0) if p is PRICE else (15, 0.04, 0.15, 0.05)
    for cost, ohm in zip(COST, OHM, strict=True):
        losses = [float(single(54.0, ohm, f * 700.0).loss_w) for f in FRACTION]
        year = per_kwh * sum(h * w for h, w in zip(HOURS, losses, strict=True)) / 1000 + per_w * max(losses)
        direct = cost + sum(year / (1 + discount) ** n for n in range(1, years + 1))
        assert load_life_cost(cost, ohm, 54.0, 700.0, HOURS, FRACTION, p) == pytest.approx(direct, rel=1e-12)


def test_load_cost_limits() -> None:
    # no resistance: the purchase alone; a load that can't be fed: no money is enough, unless that state lasts no hour
    assert load_life_cost(300.0, 0.0, 54.0, 800.0, HOURS, FRACTION, PRICE) == 300.0
    assert np.isinf(load_life_cost(300.0, 1.0, 54.0, 800.0, HOURS, FRACTION, PRICE))
    assert np.isinf(load_life_cost(300.0, 1.0, 54.0, 800.0, HOURS, FRACTION, life_price(0.0, 20, 0.05)))
    assert np.isfinite(load_life_cost(300.0, 1.0, 54.0, 800.0, [0.0, 8760.0], [1.0, 0.5], PRICE))
    # a small load on a stiff line draws P / V, and the cost is that of the current
    price = life_price(0.2, 20, 0.05)
    light = load_life_cost(300.0, 1e-4, 54.0, 10.0, [8760.0], [1.0], price)
    assert light - 300 == pytest.approx(float(life_cost(0.0, 10 / 54, 1e-4, loss_price_per_w(price, 8760))), rel=1e-4)


@pytest.mark.parametrize("price", [PRICE, DEMAND])
@pytest.mark.parametrize("allowed", [None, [300.0, 500.0, 520.0, 1500.0, 2500.0]])
def test_powers_against_the_dense_grid(price: object, allowed: list[float] | None) -> None:
    p = PRICE if price is PRICE else DEMAND
    ranges = cheapest_powers(COST, OHM, 54.0, HOURS, FRACTION, p, allowed)
    meet(ranges)
    limit = np.asarray(largest_power_w(54.0, OHM)) if allowed is None else np.array(allowed)
    power = np.linspace(0.0, float(limit.max()) * 0.9999, 4001)
    total = load_life_cost(COST, OHM, 54.0, power[:, None], HOURS, FRACTION, p)
    total = np.where(power[:, None] <= limit, total, np.inf)
    ordered = np.sort(total, axis=1)
    near = ~(ordered[:, 1] - ordered[:, 0] >= 1e-9 * ordered[:, 0])
    near &= np.isfinite(ordered[:, 1])
    inside(ranges, power, total.argmin(axis=1), near)
    assert ranges.high[ranges.ever].max() == pytest.approx(limit.max(), rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(50.0, 900.0), st.floats(0.03, 0.8)), min_size=2, max_size=6))
def test_powers_of_random_sizes(pairs: list[tuple[float, float]]) -> None:
    cost, ohm = (np.array(column) for column in zip(*pairs, strict=True))
    ranges = cheapest_powers(cost, ohm, 54.0, HOURS, FRACTION, PRICE)
    meet(ranges)
    power = np.linspace(0.0, float(largest_power_w(54.0, ohm).max()) * 0.999, 401)
    total = load_life_cost(cost, ohm, 54.0, power[:, None], HOURS, FRACTION, PRICE)
    ordered = np.sort(total, axis=1)
    near = np.isfinite(ordered[:, 1]) & ~(ordered[:, 1] - ordered[:, 0] >= 1e-9 * ordered[:, 0])
    inside(ranges, power, total.argmin(axis=1), near)


def test_light_loads_have_the_ranges_of_currents() -> None:
    """On a line without much drop the current is P / V, and the two envelopes are one."""
    cost, ohm = [100.0, 101.0, 103.0], [2e-2, 1e-2, 4e-3]
    price = life_price(0.2, 20, 0.05)
    currents = cheapest_currents(cost, ohm, float(loss_price_per_w(price, 8760)))
    powers = cheapest_powers(cost, ohm, 54.0, [8760.0], [1.0], price)
    assert powers.high[:2] == pytest.approx(54.0 * currents.high[:2], rel=5e-3)


def test_a_dearer_size_of_the_same_resistance_goes_on_where_the_cheaper_one_may_not() -> None:
    """Equal copper, one of the two allowed to carry more (another insulation): it takes over at the limit of the other."""
    found = cheapest_powers([100.0, 120.0], [0.2, 0.2], 54.0, [8760.0], [1.0], PRICE, [500.0, 1000.0])
    assert found.ever.tolist() == [True, True]
    assert found.low.tolist() == [0.0, 500.0]
    assert found.high.tolist() == [500.0, 1000.0]


def test_trap_the_mean_load_picks_too_thin_a_size() -> None:
    """The loss of the mean load is less than the mean of the losses, and so its meeting points lie too far up."""
    mean = float(np.dot(HOURS, FRACTION) / np.sum(HOURS))
    for power in (300.0, 900.0):
        states = load_life_cost(COST, OHM, 54.0, power, HOURS, FRACTION, PRICE) - COST
        flat = load_life_cost(COST, OHM, 54.0, power * mean, [float(np.sum(HOURS))], [1.0], PRICE) - COST
        assert np.all(flat < 0.9 * states)
    by_states = cheapest_powers(COST, OHM, 54.0, HOURS, FRACTION, PRICE)
    # the same power of the radio, its losses taken at the mean
    by_mean = cheapest_powers(COST, OHM, 54.0, [float(np.sum(HOURS))], [mean], PRICE)
    both = by_states.ever & by_mean.ever & (by_states.low > 0)
    assert both.any()
    assert np.all(by_mean.low[both] > 1.05 * by_states.low[both])


def test_array_equals_scalar() -> None:
    current, price = np.array([5.0, 20.0, 60.0]), np.array([[10.0], [25.0]])
    total = life_cost(300.0, current, 0.2, price)
    area = economic_area_mm2(current, 0.0175, price, 0.02)
    watts = load_life_cost(COST, OHM, 54.0, np.array([[100.0], [900.0]]), HOURS, FRACTION, DEMAND)
    assert total.shape == area.shape == (2, 3)
    assert watts.shape == (2, 5)
    for i in range(2):
        for j in range(3):
            assert total[i, j] == life_cost(300.0, current[j], 0.2, price[i, 0])
            assert area[i, j] == economic_area_mm2(current[j], 0.0175, price[i, 0], 0.02)
        for j in range(5):
            one = load_life_cost(COST[j], OHM[j], 54.0, (100.0, 900.0)[i], HOURS, FRACTION, DEMAND)
            assert watts[i, j] == pytest.approx(float(one), rel=1e-14)


def test_load_states_keep_those_that_last() -> None:
    hours, fraction = load_states([100.0, 0.0, 50.0], [1.0, 0.9, 0.2])
    assert hours.tolist() == [100.0, 50.0]
    assert fraction.tolist() == [1.0, 0.2]


def test_nonsense() -> None:
    for call, words in (
        (lambda: life_cost(-1.0, 1.0, 1.0, 1.0), "purchase_cost can't be negative"),
        (lambda: life_cost(1.0, np.nan, 1.0, 1.0), "current_a can't be negative or missing"),
        (lambda: economic_area_mm2(1.0, 1.0, 1.0, 0.0), "cost_per_mm2_m must be positive"),
        (lambda: cheapest_currents([1.0, 2.0], [1.0], 1.0), "a value for each size"),
        (lambda: cheapest_currents([], [], 1.0), "a value for each size"),
        (lambda: cheapest_currents([1.0, 2.0], [np.inf, 0.1], 1.0), "finite"),
        (lambda: cheapest_currents([np.inf, 2.0], [0.2, 0.1], 1.0), "finite"),
        (lambda: cheapest_currents([1.0, 2.0], [0.2, 0.1], np.nan), "loss_price_per_w"),
        (lambda: cheapest_powers(COST, OHM, 54.0, HOURS, FRACTION, PRICE, [1.0]), "value for each size"),
        (lambda: cheapest_powers(COST, OHM, 54.0, HOURS, FRACTION, PRICE, [9.0, 8.0, 7.0, 6.0, 5.0]), "can't fall"),
        (lambda: load_life_cost(1.0, 1.0, 54.0, 1.0, [9000.0], [1.0], PRICE), "longer than a year"),
        (lambda: load_life_cost(1.0, 1.0, 54.0, 1.0, [0.0, 100.0], [1.0, 0.0], PRICE), "no load state has a load"),
        (lambda: load_life_cost(1.0, 1.0, 54.0, 1.0, [10.0, 20.0], [1.0], PRICE), "a value for each load state"),
    ):
        with pytest.raises(ValueError, match=words):
            call()
