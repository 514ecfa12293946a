"""Net present costs: published examples and direct sums, year by year."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.power.appraisal import (
    break_even_price_per_kwh,
    converter_loss_w,
    converter_or_copper,
    present_cost,
)
from upmast.power.energy import life_price
from upmast.power.load_flow import single
from upmast.power.network import Network, solve

FREE = life_price(0.0, 20, 0.05)
HOURS, FRACTION = [2920.0, 3650.0, 2190.0], [1.0, 0.6, 0.3]
COST, OHM = [300.0, 420.0, 700.0], [0.30, 0.19, 0.12]


@pytest.mark.parametrize(
    ("first", "yearly", "salvage", "printed"),
    [(2500.0, 900.0, 200.0, 5788), (6000.0, 50.0, 100.0, 6127)],
)
def test_published_present_worth(first: float, yearly: float, salvage: float, printed: int) -> None:
    """
    Machines of equal life, 5 years at 10 %, as printed in public lecture notes on present worth. They use factors of four
    digits, so the last figure may differ by one. (Of a third machine in them equation and result contradict each other.)
    """
    cost = present_cost(first, 0.0, FREE, 5, 0.10, yearly_cost=yearly) - salvage / 1.1**5
    assert float(cost) == pytest.approx(printed, abs=1.0)


def test_published_replacement() -> None:
    """
    A public worked replacement study: 19,000 and 800 a year for 15 years at 15 %, 6,000 back at the end, printed 22,940.
    """
    cost = present_cost(19000.0, 0.0, FREE, 15, 0.15, yearly_cost=800.0) - 6000.0 / 1.15**15
    assert float(cost) == pytest.approx(22940, abs=5.0)


def test_published_upkeep() -> None:
    """A public worked example: 25,000, then 500 a year for five years and 750 for five more at 8 %, printed 29,034.38."""
    cost = present_cost(25000.0, 0.0, FREE, 10, 0.08, yearly_cost=750.0) - present_cost(
        0.0, 0.0, FREE, 5, 0.08, yearly_cost=250.0
    )
    assert float(cost) == pytest.approx(29034.38, abs=0.01)


@given(
    st.integers(1, 40), st.floats(0.0, 0.2), st.floats(0.0, 0.5), st.floats(0.0, 0.3), st.integers(1, 45),
    st.floats(0.0, 500.0), st.floats(0.0, 200.0),
)  # fmt: skip
def test_direct_yearly_sums(
    years: int, discount: float, per_kwh: float, demand: float, every: int, kwh: float, watts: float
) -> None:
    price = life_price(per_kwh, years, discount, demand_per_w=demand, rectifier_efficiency=0.94)
    direct = 350.0
    for n in range(1, years + 1):
        paid = (kwh * per_kwh + watts * demand) / 0.94 + 12.0
        # a renewal at the very end would be of no use
        paid += 80.0 if n % every == 0 and n < years else 0.0
        direct += paid / (1 + discount) ** n
    found = present_cost(350.0, kwh, price, years, discount, 80.0, every, 12.0, watts)
    assert float(found) == pytest.approx(direct, rel=1e-9)


@given(st.floats(1.0, 40.0), st.floats(0.3, 50.0), st.floats(0.0, 0.15))
def test_renewals_at_any_time(years: float, every: float, discount: float) -> None:
    found = present_cost(0.0, 0.0, FREE, years, discount, 100.0, every)
    direct, j = 0.0, 1
    while j * every < years * (1 - 1e-12):
        direct += 100.0 / (1 + discount) ** (j * every)
        j += 1
    assert float(found) == pytest.approx(direct, rel=1e-9, abs=1e-9)


def test_renewal_limits() -> None:
    assert present_cost(100.0, 0.0, FREE, 20, 0.05, 50.0) == 100.0
    assert present_cost(100.0, 0.0, FREE, 20, 0.0, 50.0, 5.0) == 100.0 + 3 * 50.0
    assert present_cost(100.0, 0.0, FREE, 20, 0.05, 50.0, 20.0) == 100.0
    # as often as one likes, without a step for each: a continuous stream, C_r / N_r (1 - (1 + i)^-N) / ln(1 + i)
    often = float(present_cost(0.0, 0.0, FREE, 20, 0.05, 1e-9, 1e-9))
    assert often == pytest.approx((1 - 1.05**-20) / np.log(1.05), rel=1e-6)


def test_converter_loss_is_input_less_load() -> None:
    """What goes in, by the current of the pair behind it; loss-free and bare it loses nothing."""
    flow = single(56.0, 0.3, 800.0)
    sent = float(flow.voltage_v * flow.current_a + flow.loss_w)
    assert converter_loss_w(56.0, 0.96, 10.0, 0.3, 800.0) == pytest.approx(sent / 0.96 + 10.0 - 800.0)
    assert converter_loss_w(56.0, 1.0, 0.0, 0.3, 800.0) == pytest.approx(float(flow.loss_w))
    assert converter_loss_w(56.0, 1.0, 0.0, 0.0, 800.0) == pytest.approx(0.0, abs=1e-9)
    assert converter_loss_w(56.0, 0.96, 10.0, 0.3, 0.0) == 10.0
    assert np.isinf(converter_loss_w(56.0, 0.96, 10.0, 3.0, 800.0))


def test_break_even_is_where_both_cost_the_same() -> None:
    one = life_price(1.0, 20, 0.05)
    even = float(break_even_price_per_kwh(420.0, 250.0, 300.0, 400.0, one))
    at = life_price(even, 20, 0.05)
    both = [float(present_cost(c, w, at, 20, 0.05)) for c, w in ((420.0, 250.0), (300.0, 400.0))]
    assert both[0] == pytest.approx(both[1], rel=1e-12)
    assert break_even_price_per_kwh(420.0, 400.0, 300.0, 400.0, one) == np.inf
    assert break_even_price_per_kwh(420.0, 500.0, 300.0, 400.0, one) == np.inf
    assert break_even_price_per_kwh(300.0, 250.0, 300.0, 400.0, one) == 0.0


@pytest.mark.parametrize("demand", [0.0, 0.05])
def test_alternatives_against_direct_sums(demand: float) -> None:
    years, discount, kwh_price, eta = 20, 0.05, 0.20, 0.955
    price = life_price(kwh_price, years, discount, demand_per_w=demand, rectifier_efficiency=eta)
    both = converter_or_copper(
        COST, OHM, 54.0, 800.0, HOURS, FRACTION, price, years, discount, 350.0, 57.0, 0.96, 10.0, 8.0
    )
    cheapest = (np.inf, -1, -1)
    for size, (cost, ohm) in enumerate(zip(COST, OHM, strict=True)):
        for row, volts in enumerate((54.0, 57.0)):
            losses, lowest = [], np.inf
            for f in FRACTION:
                flow = single(volts, ohm, 800.0 * f)
                lowest = min(lowest, float(flow.voltage_v))
                sent = 800.0 * f + float(flow.loss_w)
                losses.append(float(flow.loss_w) if row == 0 else sent / 0.96 + 10.0 - 800.0 * f)
            kwh = sum(h * w for h, w in zip(HOURS, losses, strict=True)) / 1000
            direct = cost + (350.0 if row else 0.0)
            for n in range(1, years + 1):
                paid = (kwh * kwh_price + max(losses) * demand) / eta
                paid += 350.0 if row and n in (8, 16) else 0.0
                direct += paid / (1 + discount) ** n
            assert both.present_cost[row, size] == pytest.approx(direct, rel=1e-10)
            assert both.yearly_loss_kwh[row, size] == pytest.approx(kwh, rel=1e-12)
            assert both.lowest_v[row, size] == pytest.approx(lowest, rel=1e-12)
            cheapest = min(cheapest, (direct, row, size))
    assert both.best == cheapest[1:]


def test_a_converter_pays_on_a_thin_line() -> None:
    """Copper that can't feed the load, or hardly: only the converter's voltage is left."""
    price = life_price(0.20, 20, 0.05)
    thin = converter_or_copper([100.0], [0.95], 48.0, 700.0, [8760.0], [1.0], price, 20, 0.05, 350.0, 58.0, 0.96, 10.0)
    assert np.isnan(thin.present_cost[0, 0])
    assert np.isnan(thin.lowest_v[0, 0])
    assert thin.best == (1, 0)
    none = converter_or_copper([100.0], [9.0], 48.0, 700.0, [8760.0], [1.0], price, 20, 0.05, 350.0, 58.0, 0.96, 10.0)
    assert none.best is None
    assert np.isnan(none.present_cost).all()


def test_array_equals_scalar() -> None:
    price = life_price([0.1, 0.3], 20, 0.05, demand_per_w=0.05)
    cost, every = np.array([[100.0], [300.0], [500.0]]), np.array([4.0, np.inf])
    total = present_cost(cost, 80.0, price, 20, 0.05, 60.0, every, 5.0, 40.0)
    loss = converter_loss_w([54.0, 58.0], 0.95, 8.0, np.array([[0.1], [0.2], [2.0]]), 700.0)
    one = life_price(1.0, 20, 0.05)
    even = break_even_price_per_kwh(cost + 1, 100.0, 100.0, [150.0, 90.0], one)
    assert total.shape == loss.shape == even.shape == (3, 2)
    for i in range(3):
        for j in range(2):
            p = life_price((0.1, 0.3)[j], 20, 0.05, demand_per_w=0.05)
            assert total[i, j] == pytest.approx(
                float(present_cost(cost[i, 0], 80.0, p, 20, 0.05, 60.0, every[j], 5.0, 40.0))
            )
            assert loss[i, j] == converter_loss_w((54.0, 58.0)[j], 0.95, 8.0, (0.1, 0.2, 2.0)[i], 700.0)
            assert even[i, j] == break_even_price_per_kwh(cost[i, 0] + 1, 100.0, 100.0, (150.0, 90.0)[j], one)


def test_nonsense() -> None:
    one = life_price(1.0, 20, 0.05)
    states = ([8760.0], [1.0])
    for call, words in (
        (lambda: present_cost(-1.0, 0.0, one, 20, 0.05), "purchase_cost can't be negative"),
        (lambda: present_cost(1.0, np.nan, one, 20, 0.05), "yearly_loss_kwh can't be negative or missing"),
        (lambda: present_cost(1.0, 0.0, one, 20, 0.05, 5.0, 0.0), "renewal_years must be positive"),
        (lambda: present_cost(1.0, 0.0, one, 20, 0.05, 5.0, np.nan), "renewal_years must be positive"),
        (lambda: present_cost(1.0, 0.0, one, 0, 0.05), "at least one year"),
        (lambda: present_cost(1.0, 0.0, one, np.inf, 0.05), "years must be finite"),
        (lambda: present_cost(1.0, 0.0, one, 20, -1.0), "above -1"),
        (lambda: converter_loss_w(56.0, 0.0, 10.0, 0.3, 800.0), "efficiency"),
        (lambda: converter_loss_w(56.0, 1.1, 10.0, 0.3, 800.0), "efficiency"),
        (lambda: converter_loss_w(56.0, 0.9, -1.0, 0.3, 800.0), "standby_w"),
        (lambda: break_even_price_per_kwh(1.0, 1.0, 2.0, 2.0, one), "dearer"),
        (lambda: converter_or_copper([1.0], [0.1, 0.2], 54, 1.0, *states, one, 20, 0.05, 1, 57, 0.9, 1), "each size"),
    ):
        with pytest.raises(ValueError, match=words):
            call()


def test_renewals_of_a_general_library() -> None:
    """EngrEcon 1.0.0, example of `om_distribute`: 1000 every 3 years in 50 years at 3 % are worth 8174.547."""
    worth = present_cost(0.0, 0.0, FREE, 50, 0.03, 1000.0, 3.0)
    assert float(worth) == pytest.approx(8174.547, abs=6e-4)
    # beside a purchase and upkeep it is only added
    more = present_cost(500.0, 0.0, FREE, 50, 0.03, 1000.0, 3.0, 20.0)
    assert float(more) == pytest.approx(500 + 8174.547 + 20 * (1 - 1.03**-50) / 0.03, abs=6e-4)


def test_converter_loss_against_the_network() -> None:
    """Wire by wire in the nodal load flow: what the source gives, divided by the efficiency, less what the load gets."""
    for ohm, power in ((0.1, 300.0), (0.3, 800.0), (0.6, 1200.0)):
        network = Network(
            4, np.array([0, 1]), np.array([2, 3]), np.array([ohm / 3, 2 * ohm / 3]), 0, 1, np.array(56.0), np.array([2]),
            np.array([3]),
        )  # fmt: skip
        flow = solve(network, [power])
        given = 56.0 * float(flow.branch_a[0])
        assert converter_loss_w(56.0, 0.95, 12.0, ohm, power) == pytest.approx(given / 0.95 + 12.0 - power, rel=1e-9)


@pytest.mark.parametrize("power", [50.0, 500.0, 1500.0])
def test_the_converter_loss_rises_with_load_and_falls_with_copper(power: float) -> None:
    loss = converter_loss_w(56.0, 0.95, 12.0, [0.4, 0.2, 0.1, 0.0], power)
    assert np.all(np.diff(loss) < 0)
    assert loss[-1] == pytest.approx(power / 0.95 - power + 12.0)
    assert np.all(converter_loss_w(56.0, 0.95, 12.0, [0.4, 0.2, 0.1], 1.1 * power) > loss[:-1])


def test_the_best_alternative_is_never_one_that_can_not_feed() -> None:
    """A size that fails alone is left out, the next one is still compared with both of the converter's."""
    price = life_price(0.20, 20, 0.05)
    both = converter_or_copper(
        [100.0, 420.0], [0.95, 0.19], 48.0, 700.0, [8760.0], [1.0], price, 20, 0.05, 350.0, 58.0, 0.96, 10.0
    )
    assert np.isnan(both.present_cost).tolist() == [[True, False], [False, False]]
    assert np.isnan(both.yearly_loss_kwh).tolist() == [[True, False], [False, False]]
    assert both.best == (0, 1)
    assert both.present_cost[both.best] == np.nanmin(both.present_cost)


def test_trap_the_loss_of_the_mean_load_flatters_thin_copper() -> None:
    """
    Losses go with the square: taken at the mean load they come out too small, most of all on thin copper, which then wins.

    The trap is common practice, no source; the copper and the load are invented.
    """
    price = life_price(0.20, 20, 0.05)
    hours, fraction, cost, ohm = [1460.0, 7300.0], [1.0, 0.1], [100.0, 205.0], [0.30, 0.19]
    mean = float(np.dot(hours, fraction) / np.sum(hours))
    kind = (price, 20, 0.05, 350.0, 57.0, 0.96, 10.0)
    states = converter_or_copper(cost, ohm, 54.0, 800.0, hours, fraction, *kind)
    flat = converter_or_copper(cost, ohm, 54.0, 800.0, [8760.0], [mean], *kind)
    missing = states.present_cost[0] - flat.present_cost[0]
    assert np.all(missing > 0)
    assert missing[0] > missing[1]
    assert states.best == (0, 1)
    assert flat.best == (0, 0)


@pytest.mark.parametrize(
    ("volts", "ohm", "power", "current"), [(56.0, 0.30, 800.0, 15.5873080687), (58.0, 0.95, 700.0, 16.5615798301)]
)
def test_converter_loss_ngspice(volts: float, ohm: float, power: float, current: float) -> None:
    """Source currents of ngspice 39, an ideal source, one resistor and a load as a current source of P / V (reltol 1e-10)."""
    assert converter_loss_w(volts, 0.96, 10.0, ohm, power) == pytest.approx(
        volts * current / 0.96 + 10 - power, rel=1e-8
    )
