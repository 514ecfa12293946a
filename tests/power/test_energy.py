from __future__ import annotations

import numpy as np
import pytest

from upmast.power import annual_loss_kwh, life_factor, present_worth_factor
from upmast.power.energy import RECTIFIER_EFFICIENCY, life_price, loss_price_per_w
from upmast.source import Mark


def test_mean_load_understates_the_loss() -> None:
    """Jensen: the mean of squares is above the square of the mean."""
    hours, current, r = np.array([2920.0, 3650.0, 2190.0]), np.array([20.0, 12.0, 6.0]), 0.25
    states = annual_loss_kwh(hours, current**2 * r)
    mean = (hours * current).sum() / hours.sum()
    assert states > annual_loss_kwh([hours.sum()], [mean**2 * r])
    assert annual_loss_kwh([8760.0], [100.0]) == pytest.approx(876.0)


@pytest.mark.parametrize("growth", [(0.0, 0.0), (0.02, 0.0), (0.0, 0.03), (-0.01, 0.05)])
@pytest.mark.parametrize("discount", [0.0, 0.04, 0.12])
def test_factor_is_the_sum(growth: tuple[float, float], discount: float) -> None:
    a, b = growth
    r = (1 + a) ** 2 * (1 + b) / (1 + discount)
    for years in (1, 2, 25):
        q = sum(r ** (n - 1) for n in range(1, years + 1))
        assert life_factor(years, discount, a, b) == pytest.approx(q, rel=1e-12)
        assert present_worth_factor(years, discount, a, b) == pytest.approx(q / (1 + discount), rel=1e-12)


def test_annuity_and_limits() -> None:
    """Textbook annuity: 20 years at 5 % is 12.4622."""
    assert present_worth_factor(20, 0.05) == pytest.approx(12.4622, abs=5e-5)
    assert present_worth_factor(1000, 0.05) == pytest.approx(20.0)
    assert life_factor(10, 0.05, 0.0, 0.05) == pytest.approx(10.0)  # price growth eats the discount


def test_a_growing_payment_of_a_printed_example() -> None:
    """
    A public chapter on life cycle analysis of solar systems (equations 12.14 and 12.16): of yearly payments of 1000 that grow by
    5 % the sixth is 1276.28, and worth 761 at a discount of 9 %.
    """
    sixth = present_worth_factor(6, 0.09, 0.0, 0.05) - present_worth_factor(5, 0.09, 0.0, 0.05)
    assert 1000 * sixth == pytest.approx(761, abs=0.5)
    assert 1000 * sixth * 1.09**6 == pytest.approx(1276.28, abs=5e-3)


@pytest.mark.parametrize("years", [1, 3, 20])
def test_life_price_is_the_sum_of_the_years(years: int) -> None:
    """The mains side pays 1 / eta; prices rise, and losses with the square of the load; each year paid at its end."""
    tariff, demand, i, a, b, eta = 0.18, 0.06, 0.05, 0.02, 0.03, 0.94
    price = life_price(tariff, years, i, a, b, demand, eta)
    worth = sum((1 + a) ** (2 * (n - 1)) * (1 + b) ** (n - 1) / (1 + i) ** n for n in range(1, years + 1))
    assert price.per_kwh == pytest.approx(tariff / eta * worth, rel=1e-12)
    assert price.per_w == pytest.approx(demand / eta * worth, rel=1e-12)
    # 500 W for 5000 h a year, year by year
    f = loss_price_per_w(price, 5000.0)
    yearly = 500.0 * 5000.0 / 1000 * tariff / eta + 500.0 * demand / eta
    assert 500.0 * f == pytest.approx(yearly * worth, rel=1e-12)


def test_life_price_limits() -> None:
    free = life_price(0.0, 20, 0.05)
    assert (float(free.per_kwh), float(free.per_w)) == (0.0, 0.0)
    one = life_price(0.2, 1, 0.0)
    assert one.per_kwh == 0.2
    assert loss_price_per_w(one, 0.0) == 0
    assert loss_price_per_w(one, 8760.0) == pytest.approx(0.2 * 8.76)
    # half the efficiency, twice the price
    assert life_price(0.2, 20, 0.05, rectifier_efficiency=0.5).per_kwh == pytest.approx(
        2 * float(life_price(0.2, 20, 0.05).per_kwh)
    )
    assert RECTIFIER_EFFICIENCY.source.mark is Mark.PRACTICE
    assert pytest.approx([RECTIFIER_EFFICIENCY.value + s * RECTIFIER_EFFICIENCY.uncertainty for s in (-1, 1)]) == (
        0.94,
        0.97,
    )


def test_loss_hours_are_those_of_the_square_of_the_load() -> None:
    """T = sum(h f^2) for losses as the square of the load: the same money as state by state."""
    hours, fraction = np.array([2920.0, 3650.0, 2190.0]), np.array([1.0, 0.6, 0.3])
    price = life_price(0.2, 20, 0.05)
    full_w = 64.0
    t = float((hours * fraction**2).sum())
    states = annual_loss_kwh(hours, full_w * fraction**2) * price.per_kwh
    assert full_w * loss_price_per_w(price, t) == pytest.approx(float(states), rel=1e-12)
    # the hours at full load that deliver the same energy are more, and the wrong ones
    assert t < (hours * fraction).sum()


def test_array_equals_scalar() -> None:
    tariff, i_ = np.array([0.1, 0.3]), np.array([[0.0], [0.05], [0.1]])
    price = life_price(tariff, 15, i_, demand_per_w=0.04)
    f = loss_price_per_w(price, 4000.0)
    assert price.per_kwh.shape == f.shape == (3, 2)
    assert price.per_w.shape == (3, 1)
    for k in range(3):
        for n in range(2):
            single = life_price(tariff[n], 15, i_[k, 0], demand_per_w=0.04)
            assert price.per_kwh[k, n] == single.per_kwh
            assert price.per_w[k, 0] == single.per_w
            assert f[k, n] == loss_price_per_w(single, 4000.0)
    years, rate = np.array([1.0, 10.0, 20.0]), np.array([[0.0], [0.07]])
    grid = life_factor(years, rate)
    for i in range(2):
        for j in range(3):
            assert grid[i, j] == life_factor(years[j], rate[i, 0])
    both = annual_loss_kwh([[1.0, 2.0], [3.0, 4.0]], [10.0, 20.0])
    assert both[1] == annual_loss_kwh([3.0, 4.0], [10.0, 20.0])


def test_nonsense() -> None:
    for call in (
        lambda: annual_loss_kwh([-1.0], [1.0]),
        lambda: annual_loss_kwh([1.0], [-1.0]),
        lambda: annual_loss_kwh([8000.0, 1000.0], [1.0, 1.0]),
        lambda: life_factor(0, 0.05),
        lambda: life_factor(10, -1.0),
        lambda: life_price(-0.1, 20, 0.05),
        lambda: life_price(np.nan, 20, 0.05),
        lambda: life_price(0.1, 20, 0.05, demand_per_w=-1.0),
        lambda: life_price(0.1, 20, 0.05, rectifier_efficiency=95.5),
        lambda: life_price(0.1, 20, 0.05, rectifier_efficiency=0.0),
        lambda: loss_price_per_w(life_price(0.1, 20, 0.05), 9000.0),
        lambda: loss_price_per_w(life_price(0.1, 20, 0.05), np.nan),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
