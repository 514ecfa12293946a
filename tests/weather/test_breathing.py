"""Breathing and permeation: day by day and step by step, limits, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import weather


def test_night_by_night_counting_molecules() -> None:
    """A box of one cubic metre at constant pressure, in moles: cool and draw in, warm and give off."""
    gas, pressure, night, day = 8.314462618, 101325.0, 283.15, 308.15
    outside = float(weather.vapour_pressure_pa(20.0, 75.0)) / pressure
    full = float(weather.saturation_pressure_pa(10.0))
    moles = pressure / (gas * 293.15)
    vapour = moles * float(weather.vapour_pressure_pa(20.0, 30.0)) / pressure
    f = float(weather.breathing_fraction(10.0, 35.0))
    wet = None
    for number in range(30):
        more = pressure / (gas * night) - moles
        moles, vapour = moles + more, vapour + more * outside
        humidity = 100 * vapour / moles * pressure / full
        found = weather.breathing_humidity_percent(number, f, 20.0, 30.0, 20.0, 75.0, 10.0)
        assert found == pytest.approx(humidity)
        if wet is None and humidity > 100:
            wet = number
        left = pressure / (gas * day)
        moles, vapour = left, vapour * left / moles
    assert weather.days_to_wet(f, 20.0, 30.0, 20.0, 75.0, 10.0) == wet


def test_never_wet_and_wet_at_once() -> None:
    found = weather.days_to_wet([0.1, 0.1, 0.0], 20.0, [30.0, 95.0, 30.0], 20.0, [40.0, 40.0, 75.0], 10.0)
    np.testing.assert_array_equal(found, [np.inf, 0.0, np.inf])


def test_no_swing_no_breath() -> None:
    assert weather.breathing_fraction(20.0, 20.0) == 0
    assert weather.breathing_humidity_percent(50, 0.0, 20.0, 30.0, 20.0, 75.0, 20.0) == pytest.approx(30.0)


def test_permeation_against_small_steps() -> None:
    tau = float(weather.permeation_time_s(1e-3, 2.0, 1e-3, 1e-14, 20.0))
    e, t, steps = 100.0, 0.0, 200_000
    for _ in range(steps):
        if e >= 800.0:
            break
        e += (1500.0 - e) / steps
        t += tau / steps
    assert weather.time_to_pressure_s(tau, 100.0, 1500.0, 800.0) == pytest.approx(t, rel=1e-4)


def test_pressures_never_or_already_reached() -> None:
    np.testing.assert_array_equal(
        weather.time_to_pressure_s(1.0, [0.0, 5.0, 0.0], 3.0, [4.0, 4.0, 3.0]), [np.inf, 0.0, np.inf]
    )


def test_arrays_equal_scalars() -> None:
    humid = np.array([60.0, 75.0, 95.0])
    many = weather.days_to_wet(0.05, 20.0, 30.0, 20.0, humid, 10.0)
    np.testing.assert_array_equal(many, [float(weather.days_to_wet(0.05, 20.0, 30.0, 20.0, h, 10.0)) for h in humid])


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (weather.breathing_fraction, (20.0, 10.0)),
        (weather.breathing_humidity_percent, (-1, 0.1, 20.0, 30.0, 20.0, 30.0, 10.0)),
        (weather.days_to_wet, (1.0, 20.0, 30.0, 20.0, 30.0, 10.0)),
        (weather.permeation_time_s, (0.0, 1.0, 1.0, 1.0, 20.0)),
        (weather.time_to_pressure_s, (0.0, 1.0, 1.0, 1.0)),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must"):
        function(*args)
