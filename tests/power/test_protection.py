from __future__ import annotations

import numpy as np
import pytest

from upmast import power


def test_breaker_resistance_stays_below_the_permitted_loss() -> None:
    """4 mohm at 32 A as 1/In; the 6 W a pole that IEC 60898-1 permits at 32 A would be 5.9 mohm."""
    assert power.breaker_ohm(32.0) == 0.004
    assert power.breaker_ohm(32.0) < 6.0 / 32**2
    ratings = np.array([6.0, 16.0, 63.0])
    np.testing.assert_allclose(power.breaker_ohm(ratings) * ratings, 0.128)


def test_design_current_is_the_load_flow_at_its_lowest_voltage() -> None:
    flow = power.single(43.2, 0.138, 1000.0)
    assert power.design_current_a(1000.0, flow.voltage_v) == pytest.approx(float(flow.current_a))
    assert power.design_current_a(1000.0, 40.5) > power.design_current_a(1000.0, 48.0)


def test_window_edges_pass() -> None:
    assert power.breaker_window(20.0, 20.0, 20.0)
    assert not power.breaker_window(20.0, 20.0, 19.99)
    assert not power.breaker_window(20.0, 20.0, 40.0, load_factor=1.25)
    assert power.breaker_window(20.0, 25.0, 40.0, load_factor=1.25)


def test_smallest_rating() -> None:
    ratings = [63, 16, 32, 25, 20]
    assert power.smallest_rating_a(19.0, 50.0, ratings) == 20
    assert power.smallest_rating_a(19.0, 50.0, ratings, 1.25) == 25
    assert np.isnan(power.smallest_rating_a(26.0, 30.0, ratings))
    assert np.isnan(power.smallest_rating_a(5.0, 50.0, []))
    both = power.smallest_rating_a([19.0, 26.0], [50.0, 30.0], ratings)
    np.testing.assert_array_equal(both, [20.0, np.nan])


def test_fault_current() -> None:
    assert power.fault_current_a(48.0, 0.0, 0.0, 0.48) == pytest.approx(100.0)
    assert np.isinf(power.fault_current_a(48.0, 0, 0, 0))
    assert power.fault_current_a(0.0, 0, 0, 0) == 0
    far = power.fault_current_a(43.2, 0.01, 0.004, np.array([0.1, 0.3]))
    assert far[1] == power.fault_current_a(43.2, 0.01, 0.004, 0.3)
    # a short is where the load flow of a pair ends: twice the current at its largest power
    assert far[1] == pytest.approx(
        2 * float(power.single(43.2, 0.314, power.largest_power_w(43.2, 0.314)).current_a), rel=1e-6
    )


def test_adiabatic_energy_is_the_heat_of_the_copper() -> None:
    """k^2 = Q_c (beta + 20) / rho_20 ln(...), Q_c = 3.45e-3 J/(K mm3), rho_20 = 17.241e-6 ohm mm: IEC 60364-5-54 annex A."""
    k = power.adiabatic_k(70.0, 160.0)
    assert k**2 == pytest.approx(3.45e-3 * 254.5 / 17.241e-6 * np.log(1 + 90 / 304.5), rel=5e-3)
    assert power.adiabatic_k(70.0, 70.0) == 0
    assert power.adiabatic_k(30, 200) == pytest.approx(159, abs=0.3)  # bare copper, same table
    assert power.adiabatic_k(30, 500) == pytest.approx(228, abs=0.5)


def test_let_through() -> None:
    time = power.let_through_time_s(np.array([4.0, 10.0]), 115.0, 200.0)
    assert time[0] == pytest.approx(115**2 * 16 / 200**2)
    assert 200.0**2 * time[1] == pytest.approx(float(power.let_through_a2s(10.0, 115.0)))


def test_nonsense() -> None:
    for call in (
        lambda: power.breaker_ohm(0.0),
        lambda: power.design_current_a(-1.0, 40.0),
        lambda: power.design_current_a(1.0, 0.0),
        lambda: power.fault_current_a(-1.0, 0, 0, 1),
        lambda: power.adiabatic_k(160, 70),
        lambda: power.adiabatic_k(70, 160, "gold"),
        lambda: power.let_through_time_s(10, 115, 0),
        lambda: power.let_through_a2s(-10, 115),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
