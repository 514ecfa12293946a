from __future__ import annotations

import numpy as np
import pytest

from upmast.power import annual_loss_kwh, life_factor, present_worth_factor


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


def test_array_equals_scalar() -> None:
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
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
