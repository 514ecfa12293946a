"""Sun on sheaths and boxes: balance, limits, bisection, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import weather
from upmast.constants import STEFAN_BOLTZMANN


def loss(t_c: np.ndarray, air_c: float, h: float, eps: float) -> np.ndarray:
    t, ta = np.asarray(t_c) + 273.15, air_c + 273.15
    return np.asarray(h * (t - ta) + eps * STEFAN_BOLTZMANN.value * (t**4 - ta**4))


@pytest.mark.parametrize("h", [0.0, 5.0, 20.0, 500.0])
@pytest.mark.parametrize("eps", [0.1, 0.92])
def test_balance_closes(h: float, eps: float) -> None:
    sun = np.array([0.0, 300.0, 1120.0])
    t = weather.sun_temperature_c(35.0, sun, 0.95, eps, h, 40.0)
    np.testing.assert_allclose(loss(t, 35.0, h, eps), 0.95 * sun / np.pi + 40.0, rtol=1e-8)


def test_without_radiation_it_is_the_linear_law() -> None:
    assert weather.sun_temperature_c(20.0, 1000.0, 0.5, 0.0, 10.0) == pytest.approx(20.0 + 500.0 / np.pi / 10.0)


def test_in_the_dark_it_is_the_air() -> None:
    assert weather.sun_temperature_c(17.0, 0.0, 0.95, 0.9, 10.0) == pytest.approx(17.0)


def test_a_flat_plate_and_inner_heat() -> None:
    """One side in the sun, both sides cooling, against bisection."""
    low, high = 40.0, 150.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if loss(np.array(middle), 40.0, 8.0, 0.9) < 0.4 * 1000 / 2 + 30 else (low, middle)
    assert weather.sun_temperature_c(40.0, 1000.0, 0.4, 0.9, 8.0, 30.0, 2.0) == pytest.approx(low, abs=1e-6)


def test_surface_heat_is_spread_over_the_circumference() -> None:
    assert weather.surface_heat_w_per_m2(np.pi, 1000.0) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="diameter"):
        weather.surface_heat_w_per_m2(1.0, 0.0)


def test_arrays_equal_scalars() -> None:
    air, h = np.array([[-20.0], [45.0]]), np.array([5.0, 10.0, 20.0])
    many = weather.sun_temperature_c(air, 1000.0, 0.95, 0.92, h)
    assert many.shape == (2, 3)
    ones = [[float(weather.sun_temperature_c(a, 1000.0, 0.95, 0.92, b)) for b in h] for a in air[:, 0]]
    np.testing.assert_allclose(many, ones, atol=1e-8)


def test_pressure_goes_there_and_back() -> None:
    up = 101325.0 + weather.box_pressure_change_pa(20.0, 55.0)
    assert up + weather.box_pressure_change_pa(55.0, 20.0, up) == pytest.approx(101325.0)
    assert weather.box_pressure_change_pa(20.0, 20.0) == 0


def test_surfaces_name_their_mark() -> None:
    for kind in weather.surfaces():
        found = weather.surface(kind)
        assert 0 < found.absorptivity < 1
        assert str(found.source.mark) == "memory"
    with pytest.raises(ValueError, match="black_sheath"):
        weather.surface("pink")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"absorptivity": 1.2}, "absorptivity"),
        ({"emissivity": -0.1}, "emissivity"),
        ({"irradiance_w_per_m2": -1.0}, "irradiance"),
        ({"convection_w_per_m2_k": -1.0}, "convection"),
        ({"convection_w_per_m2_k": 0.0, "emissivity": 0.0}, "with none"),
        ({"area_ratio": 0.5}, "projection"),
        ({"air_c": -300.0}, "absolute zero"),
    ],
)
def test_nonsense_is_refused(change: dict[str, float], message: str) -> None:
    good = {
        "air_c": 20.0, "irradiance_w_per_m2": 1000.0, "absorptivity": 0.9, "emissivity": 0.9, "convection_w_per_m2_k": 5.0,
    }  # fmt: skip
    with pytest.raises(ValueError, match=message):
        weather.sun_temperature_c(**(good | change))


def test_pressure_refuses_nonsense() -> None:
    with pytest.raises(ValueError, match="absolute zero"):
        weather.box_pressure_change_pa(-300.0, 20.0)
