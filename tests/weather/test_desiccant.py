"""Desiccant: the same law as the time constant of a box, inverses, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast import weather


def test_ingress_is_the_slope_of_the_first_order_law() -> None:
    """At the start vapour pressure inside rises by (e_out - e_0) / tau: the same mass by the ideal gas law."""
    volume, wall, area, p, t = 0.4e-3, 3.0, 6e-4, 4e-15, 20.0
    start, outside = weather.vapour_pressure_pa(t, [10.0, 70.0])
    tau = weather.permeation_time_s(volume, wall, area, p, t)
    by_gas = volume * weather.vapour_density_kg_per_m3(t, (outside - start)) / tau
    assert weather.permeation_kg_per_s(p, area, wall, outside, start) == pytest.approx(float(by_gas), rel=1e-9)


def test_mass_by_hand() -> None:
    """Handbook, section 3: ingress times time over 0.2: 1 mg a day for a year, and 4 mg enclosed, take 1.845 g."""
    assert weather.desiccant_kg(1e-6 / 86400, 365 * 86400, 4e-6) == pytest.approx(369e-6 / 0.2)
    assert weather.desiccant_kg(0.0, 1e9) == 0
    assert weather.DESICCANT_SOURCE.mark == "memory"


@given(st.floats(1e-13, 1e-9), st.floats(1e4, 1e9), st.floats(0.0, 1e-4))
def test_life_undoes_mass(ingress: float, time: float, enclosed: float) -> None:
    mass = weather.desiccant_kg(ingress, time, enclosed)
    assert weather.desiccant_life_s(mass, ingress, enclosed) == pytest.approx(time, rel=1e-6)


def test_life_ends_at_once_or_never() -> None:
    np.testing.assert_array_equal(weather.desiccant_life_s([1e-3, 1e-3], [1e-12, 0.0], [3e-4, 1e-4]), [0.0, np.inf])


def test_array_equals_scalar() -> None:
    time, ingress = np.array([1e6, 1e7]), np.array([[1e-12], [1e-11]])
    grid = weather.desiccant_kg(ingress, time)
    for a in range(2):
        for b in range(2):
            assert grid[a, b] == weather.desiccant_kg(ingress[a, 0], time[b])


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: weather.permeation_kg_per_s(1e-15, 1e-4, 0.0, 1000.0),
        lambda: weather.permeation_kg_per_s(1e-15, 1e-4, 1.0, float("nan")),
        lambda: weather.desiccant_kg(-1.0, 1.0),
        lambda: weather.desiccant_kg(1.0, 1.0, takes_up=0.0),
        lambda: weather.desiccant_life_s(1.0, 1.0, takes_up=1.1),
    ):
        with pytest.raises(ValueError, match=r"must"):
            call()
