"""Moist air: identities, limits, bisection as a second way to the sweat temperature, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import weather

T, RH = (a.ravel() for a in np.meshgrid(np.linspace(-15.0, 45.0, 13), np.linspace(5.0, 100.0, 12)))


def test_dew_point_undoes_saturation() -> None:
    np.testing.assert_allclose(weather.dew_point_c(T, 100.0), T, atol=1e-9)
    dew = weather.dew_point_c(T, RH)
    np.testing.assert_allclose(weather.saturation_pressure_pa(dew), weather.vapour_pressure_pa(T, RH), rtol=1e-10)


def test_frost_point_lies_above_the_dew_point_below_zero_and_they_meet_at_zero() -> None:
    dew, frost = weather.dew_point_c(T, RH), weather.frost_point_c(T, RH)
    cold = dew < -0.1
    assert cold.any()
    assert np.all(frost[cold] > dew[cold])
    assert weather.saturation_pressure_pa(0.0, "ice") == pytest.approx(float(weather.saturation_pressure_pa(0.0)))


@pytest.mark.parametrize("over", ["water", "ice"])
def test_sweat_against_bisection(over: str) -> None:
    target = weather.vapour_density_kg_per_m3(T, weather.vapour_pressure_pa(T, RH))
    low, high = np.full(T.shape, -100.0), np.full(T.shape, 60.0)
    for _ in range(60):
        middle = (low + high) / 2
        above = weather.vapour_density_kg_per_m3(middle, weather.saturation_pressure_pa(middle, over)) > target  # type: ignore[arg-type]
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    np.testing.assert_allclose(weather.sweat_c(T, RH, over), low, atol=1e-7)  # type: ignore[arg-type]


def test_sweat_lies_below_the_dew_point_and_equals_it_in_saturated_air() -> None:
    gap = weather.dew_point_c(T, RH) - weather.sweat_c(T, RH)
    damp = RH < 99
    assert np.all(gap[damp] > 0)
    np.testing.assert_allclose(weather.sweat_c(T, 100.0), T, atol=1e-9)


def test_free_water_begins_at_the_sweat_temperature_and_adds_up() -> None:
    sweat = weather.sweat_c(30.0, 60.0)
    assert weather.free_water_kg(1.0, 30.0, 60.0, sweat + 0.01) == 0
    assert weather.free_water_kg(1.0, 30.0, 60.0, sweat - 0.01) > 0
    # at -60 C nearly all the vapour is out
    all_kg = weather.vapour_density_kg_per_m3(30.0, weather.vapour_pressure_pa(30.0, 60.0))
    assert weather.free_water_kg(1.0, 30.0, 60.0, -60.0) == pytest.approx(float(all_kg), rel=1e-3)


def test_seal_margin_changes_sign_where_the_surface_is_three_kelvin_above_the_dew_point() -> None:
    dew = weather.dew_point_c(20.0, 70.0)
    assert weather.seal_margin_k(dew + 3.0, 20.0, 70.0) == pytest.approx(0.0, abs=1e-12)
    assert weather.seal_margin_k(dew, 20.0, 70.0, 0.0) == pytest.approx(0.0, abs=1e-12)
    assert str(weather.SEAL_MARGIN_SOURCE.mark) == "memory"


def test_dry_air_never_sweats() -> None:
    np.testing.assert_array_equal(weather.sweat_c([20.0, 20.0], [0.0, 50.0]) == -np.inf, [True, False])
    assert weather.dew_point_c(20.0, 0.0) == -np.inf
    assert weather.frost_point_c(20.0, 0.0) == -np.inf


def test_arrays_equal_scalars() -> None:
    for function in (weather.dew_point_c, weather.frost_point_c, weather.sweat_c, weather.vapour_pressure_pa):
        np.testing.assert_allclose(
            function(T, RH)[::7],
            [float(function(t, rh)) for t, rh in zip(T[::7], RH[::7], strict=True)],
            rtol=1e-12,
        )
    assert weather.dew_point_c(T[:, None], RH).shape == (T.size, RH.size)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="humidity"):
        weather.dew_point_c(20.0, 101.0)
    with pytest.raises(ValueError, match="humidity"):
        weather.sweat_c(20.0, -1.0)
    with pytest.raises(ValueError, match="kelvin"):
        weather.saturation_pressure_pa(293.15)
    with pytest.raises(ValueError, match="volume"):
        weather.free_water_kg(-1.0, 20.0, 50.0, 0.0)
    with pytest.raises(ValueError, match="'water' or 'ice'"):
        weather.saturation_pressure_pa(20.0, "oil")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="margin"):
        weather.seal_margin_k(20.0, 20.0, 50.0, -1.0)
    with pytest.raises(ValueError, match="negative"):
        weather.vapour_density_kg_per_m3(20.0, -1.0)
