"""May a joint be sealed: worked days, verdicts, forecasts against a fine grid, properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast import weather
from upmast.weather import SealVerdict

SEEN = {"wet_or_icy": False, "dusty": False}


def test_summer_noon_and_a_surface_in_the_shade() -> None:
    """25 C, 60 %: dew point 16.69 C (WMO-No. 8 coefficients); at 19.8 C of metal it may, at 19.6 C it may not."""
    assert weather.seal_now(19.8, 25.0, 60.0, **SEEN).verdict is SealVerdict.SEAL
    found = weather.seal_now(19.6, 25.0, 60.0, **SEEN)
    assert found.verdict is SealVerdict.WAIT
    assert found.condensation_c == pytest.approx(16.69, abs=0.005)
    assert found.margin_k == pytest.approx(19.6 - 16.69 - 3.0, abs=0.005)
    assert "2.9 K from the dew point 16.7 C, 3 K are asked" in found.reasons[0]


def test_agrees_with_the_margin_above_freezing_and_is_stricter_below() -> None:
    assert weather.seal_now(22.0, 25.0, 60.0).margin_k == pytest.approx(float(weather.seal_margin_k(22.0, 25.0, 60.0)))
    # 2 C, 70 %: frost -2.56, dew -2.90 C (handbook, open check 1)
    cold = weather.seal_now(0.3, 2.0, 70.0, **SEEN)
    assert cold.condensation_c == pytest.approx(-2.56, abs=0.005)
    assert cold.verdict is SealVerdict.WAIT
    assert "frost point" in cold.reasons[0]
    assert weather.seal_margin_k(0.3, 2.0, 70.0) > 0


@pytest.mark.parametrize("missing", ["surface", "air", "humidity", "wet_or_icy", "dusty"])
@pytest.mark.parametrize("empty", [None, float("nan")])
def test_what_was_not_measured_is_not_judged(missing: str, empty: float | None) -> None:
    values: dict[str, float | None] = {"surface": 22.0, "air": 25.0, "humidity": 60.0}
    seen: dict[str, bool | None] = {"wet_or_icy": False, "dusty": False}
    if missing in values:
        values[missing] = empty
    else:
        seen[missing] = None
    found = weather.seal_now(*values.values(), **seen)  # type: ignore[arg-type]
    assert found.verdict is SealVerdict.NOT_JUDGED
    assert len(found.reasons) == 1


def test_what_is_wrong_decides_before_what_is_missing() -> None:
    found = weather.seal_now(None, 25.0, 60.0, wet_or_icy=True)
    assert found.verdict is SealVerdict.WAIT
    assert found.reasons[0].startswith("the joint is wet")
    assert len(found.reasons) == 3
    assert weather.seal_now(60.0, 30.0, 30.0, **SEEN).reasons[0].startswith("the metal is at 60 C")
    assert weather.seal_now(25.0, 25.0, 40.0, wet_or_icy=False, dusty=True).verdict is SealVerdict.WAIT


@given(st.floats(-40.0, 50.0), st.floats(0.1, 100.0))
def test_dew_and_condensation_point_are_not_above_the_air(air: float, humid: float) -> None:
    assert weather.dew_point_c(air, humid) <= air + 1e-9
    point = weather.condensation_point_c(air, humid)
    assert point >= weather.dew_point_c(air, humid) - 1e-9
    # over ice saturation lies lower: below 0 C frost forms from air that is not yet saturated over water
    assert point <= (air if air >= 0 else float(weather.frost_point_c(air, 100.0))) + 1e-9


def test_forecast_against_a_fine_grid() -> None:
    """A clear spring morning: the margin runs straight between the hours, found by scanning second by second."""
    t = 3600.0 * np.arange(9)
    air = np.array([4.0, 5.0, 8.0, 12.0, 15.0, 17.0, 18.0, 14.0, 10.0])
    humid = np.array([98.0, 97.0, 85.0, 70.0, 58.0, 50.0, 48.0, 70.0, 90.0])
    below = np.array([-3.0, -3.0, -1.0, 0.0, 1.0, 1.0, 0.0, -1.0, -2.0])
    margin = air + below - weather.condensation_point_c(air, humid) - 3.0
    fine = np.arange(0.0, t[-1], 1.0)
    first = fine[np.interp(fine, t, margin) >= 0][0]
    assert weather.seal_wait_s(t, air, humid, below) == pytest.approx(first, abs=1.0)
    end = fine[np.interp(fine, t, margin) >= 0][-1]
    assert weather.seal_wait_s(t, air, humid, below, work_s=end - first - 10) == pytest.approx(first, abs=1.0)
    assert weather.seal_wait_s(t, air, humid, below, work_s=end - first + 10) == np.inf


def test_forecast_now_never_and_the_second_window() -> None:
    t = np.array([0.0, 100.0, 200.0, 300.0, 10_000.0])
    dry, wet = 30.0, 100.0
    assert weather.seal_wait_s(t, np.full(5, 20.0), np.full(5, dry)) == 0
    assert weather.seal_wait_s(t, np.full(5, 20.0), np.full(5, wet)) == np.inf
    twice = np.array([dry, wet, wet, dry, dry])
    assert weather.seal_wait_s(t, np.full(5, 20.0), twice) == 0
    assert 200 < weather.seal_wait_s(t, np.full(5, 20.0), twice, work_s=3600.0) < 300
    assert weather.seal_wait_s(t[:1], [20.0], [0.0]) == 0


def test_array_equals_scalar() -> None:
    t, air = 3600.0 * np.arange(4), np.array([[8.0, 10.0, 14.0, 18.0], [10.0, 10.0, 10.0, 10.0]])
    humid = np.array([95.0, 90.0, 70.0, 55.0])
    many = weather.seal_wait_s(t, air, humid, np.array([[-1.0], [0.0]]))
    for row, shift in enumerate((-1.0, 0.0)):
        assert many[row] == weather.seal_wait_s(t, air[row], humid, shift)
    points = weather.condensation_point_c(air, humid)
    assert points[0, 2] == weather.condensation_point_c(14.0, 70.0)


def test_nonsense_is_refused() -> None:
    t = np.array([0.0, 1.0])
    for call in (
        lambda: weather.seal_now(20.0, 20.0, 101.0),
        lambda: weather.seal_now(20.0, 293.0, 50.0),
        lambda: weather.seal_now(float("inf"), 20.0, 50.0),
        lambda: weather.seal_now(20.0, 20.0, 50.0, required_k=-1.0),
        lambda: weather.seal_wait_s(t[::-1], [1.0, 1.0], [50.0, 50.0]),
        lambda: weather.seal_wait_s(t, [1.0, float("nan")], [50.0, 50.0]),
        lambda: weather.seal_wait_s(t, [1.0, 1.0, 1.0], [50.0, 50.0, 50.0]),
        lambda: weather.seal_wait_s(t, 1.0, 50.0),
        lambda: weather.seal_wait_s(t, [1.0, 1.0], 50.0, work_s=-1.0),
        lambda: weather.seal_wait_s([], [], []),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
