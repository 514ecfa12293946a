"""Published numbers and independently computed checks for the weather room."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest

from upmast import weather

psychrolib.SetUnitSystem(psychrolib.SI)

# printed values of the Magnus equation (17.62, 243.12) and of the ASHRAE equation
DEW_POINTS = [
    (40, 30, 19.132, 19.125),
    (30, 90, 28.178, 28.177),
    (25, 60, 16.693, 16.701),
    (20, 50, 9.255, 9.272),
    (10, 80, 6.706, 6.713),
]


@pytest.mark.parametrize(("t", "rh", "magnus", "ashrae"), DEW_POINTS)
def test_dew_point_wmo_no_8_and_ashrae(t: float, rh: float, magnus: float, ashrae: float) -> None:
    assert weather.dew_point_c(t, rh) == pytest.approx(magnus, abs=0.001)
    assert psychrolib.GetTDewPointFromRelHum(t, rh / 100) == pytest.approx(ashrae, abs=0.001)


@pytest.mark.parametrize(("t", "rh", "magnus"), [(0, 90, -1.445), (-10, 80, -12.797)])
def test_dew_point_below_zero_wmo_no_8(t: float, rh: float, magnus: float) -> None:
    assert weather.dew_point_c(t, rh) == pytest.approx(magnus, abs=0.001)


def test_dew_point_against_the_ashrae_equations() -> None:
    for t in range(5, 46, 5):
        for rh in (30, 60, 90):
            reference = psychrolib.GetTDewPointFromRelHum(t, rh / 100)
            if reference > 0:
                assert weather.dew_point_c(t, rh) == pytest.approx(reference, abs=0.12)


def test_frost_point_against_the_ashrae_equations() -> None:
    """Below the triple point the reference takes humidity over ice and returns the frost point: so does this comparison."""
    for t in range(-30, 0, 5):
        over_ice = 70.0 * float(weather.saturation_pressure_pa(t, "ice") / weather.saturation_pressure_pa(t))
        assert weather.frost_point_c(t, over_ice) == pytest.approx(psychrolib.GetTDewPointFromRelHum(t, 0.7), abs=0.05)


def test_saturation_against_the_ashrae_equations() -> None:
    for t in range(-30, 51, 5):
        over = "ice" if t < 0 else "water"
        found = weather.saturation_pressure_pa(t, over)  # type: ignore[arg-type]
        assert found == pytest.approx(psychrolib.GetSatVapPres(t), rel=5e-3)


@pytest.mark.parametrize(
    ("t", "rh", "dew", "sweat"), [(25, 60, 16.70, 16.23), (15, 90, 13.37, 13.28), (35, 30, 14.84, 13.74)]
)
def test_sealed_joint(t: float, rh: float, dew: float, sweat: float) -> None:
    """Reference values computed with the ASHRAE saturation equation."""
    assert weather.dew_point_c(t, rh) == pytest.approx(dew, abs=0.015)
    assert weather.sweat_c(t, rh) == pytest.approx(sweat, abs=0.015)


def test_sealed_joint_against_the_ashrae_equations() -> None:
    """The sealed vapour density is the saturated one at the sweat temperature, with another saturation equation."""
    for t, rh in [(25, 60), (15, 90), (35, 30), (40, 80)]:
        sweat = float(weather.sweat_c(t, rh))
        sealed = psychrolib.GetSatVapPres(t) * rh / 100 / (t + 273.15)
        assert psychrolib.GetSatVapPres(sweat) / (sweat + 273.15) == pytest.approx(sealed, rel=2e-3)


def test_frost_and_dew_of_cold_air() -> None:
    """Computed with the same Magnus coefficients: 2 C, 70 %."""
    assert weather.frost_point_c(2, 70) == pytest.approx(-2.56, abs=0.005)
    assert weather.dew_point_c(2, 70) == pytest.approx(-2.90, abs=0.005)


def test_water_in_half_a_litre() -> None:
    """Reference values computed with the ASHRAE saturation equation: 25 C, 60 %, in mg at 10 C and 0 C. The two equations differ by 0.4 %."""
    found = weather.free_water_kg(0.5e-3, 25, 60, np.array([10.0, 0.0])) * 1e6
    np.testing.assert_allclose(found, [2.21, 4.49], rtol=0.007)


def test_box_and_sun() -> None:
    """By hand: ideal gas from 45 to 20 C; heat balance of a black cylinder in 40 C air."""
    change = weather.box_pressure_change_pa(45, 20)
    assert change == pytest.approx(-7960, abs=5)
    assert weather.water_head_m(-change) == pytest.approx(0.81, abs=0.005)
    assert weather.sun_temperature_c(40, 1000, 0.95, 0.92, 10) == pytest.approx(57.8, abs=0.05)


def test_codes_iec_60529() -> None:
    """Clause 6: a second numeral of 7 does not stand for 6; dual marking does."""
    assert not weather.meets("IP67", "IP66")
    assert weather.meets("IP65", "IP54")
    assert weather.meets("IP66/IP67", "IP65")


def test_tape_length() -> None:
    """By hand: ten turns of the unrolled helix of mean diameter 28.8 mm and pitch 25 mm."""
    assert weather.tape_length_m(28, 0.25, 50, 0.8) == pytest.approx(0.94, abs=0.005)


def test_humidity_card() -> None:
    """Spots 10 to 60 %, 10 and 20 changed, at 22 C, coldest -10 C: frost point -1.7 to dew point 3.6 C by ASHRAE."""
    found = weather.read_card([10, 20, 30, 40, 50, 60], [True, True, *[False] * 4], 22.0, -10.0)
    by_ashrae = [psychrolib.GetTDewPointFromRelHum(22.0, rh) for rh in (0.2, 0.3)]
    assert by_ashrae == pytest.approx([-1.7, 3.6], abs=0.06)
    assert [found.low_dew_c, found.high_dew_c] == pytest.approx(by_ashrae, abs=0.06)
    assert found.verdict is weather.CardVerdict.WILL_SWEAT


def test_permeation() -> None:
    """By hand: 0.4 l, 6 cm2, 3 mm, 4e-15 kg/(m s Pa), 20 C, 70 % outside, 10 % at the start, wet at 8 C."""
    tau = weather.permeation_time_s(0.4e-3, 3.0, 6e-4, 4e-15, 20.0)
    assert tau == pytest.approx(3.70e6, abs=5e3)
    start, outside = weather.vapour_pressure_pa(20.0, [10.0, 70.0])
    assert weather.time_to_pressure_s(tau, start, outside, weather.saturation_pressure_pa(8.0)) == pytest.approx(
        3.37e6, rel=5e-3
    )


def test_breathing() -> None:
    """By hand: 10 to 35 C, closed at 20 C and 30 %, outside 20 C and 75 %."""
    f = weather.breathing_fraction(10, 35)
    assert f == pytest.approx(0.0811, abs=5e-5)
    np.testing.assert_allclose(
        weather.breathing_humidity_percent([0, 1, 2], f, 20, 30, 20, 75, 10), [60, 67, 73], atol=0.5
    )
    assert weather.days_to_wet(f, 20, 30, 20, 75, 10) == 8
