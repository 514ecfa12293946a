"""Vortices: identities, bands, and how spans are sorted; arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support


def test_a_cable_in_a_breeze_by_hand() -> None:
    """25 mm at 5 m/s with St 0.2: 40 Hz."""
    assert support.vortex_frequency_hz(5.0, 25.0, support.STROUHAL_TEXTBOOK) == pytest.approx(40.0)


@settings(deadline=None)
@given(st.floats(0.1, 60), st.floats(3, 100), st.sampled_from([support.STROUHAL_EN, support.STROUHAL_TEXTBOOK]))
def test_the_critical_wind_sheds_at_the_natural_frequency(f: float, d: float, st_number: float) -> None:
    v = support.critical_wind_m_per_s(f, d, st_number)
    assert support.vortex_frequency_hz(v, d, st_number) == pytest.approx(f)
    band = support.lock_in(f, f, d, st_number)
    assert band.holds(v)
    assert band.low_m_per_s / v == pytest.approx(0.8)
    assert band.high_m_per_s / v == pytest.approx(1.25)


def test_a_band_of_stiffness_gives_a_wider_band_of_wind() -> None:
    one, wide = support.lock_in(10.0, 10.0, 28.0, 0.2), support.lock_in(6.0, 18.0, 28.0, 0.2)
    assert wide.low_m_per_s < one.low_m_per_s
    assert wide.high_m_per_s > one.high_m_per_s
    assert list(one.holds([0.0, 1.12, 1.4, 1.75, 1.76])) == [False, True, True, True, False]


def test_swing_goes_with_the_inverse_square_of_the_strouhal_number() -> None:
    sc = support.scruton_number(0.05, 1.2, 28.0)
    assert support.swing_ratio(sc, support.STROUHAL_EN) == pytest.approx(
        float(support.swing_ratio(sc, support.STROUHAL_TEXTBOOK)) * (0.2 / 0.18) ** 2
    )


def test_swing_falls_with_damping_and_mass() -> None:
    sc = support.scruton_number([0.01, 0.05], [[0.5], [2.0]], 28.0)
    assert np.all(np.diff(support.swing_ratio(sc, 0.18), axis=0) < 0)
    assert np.all(np.diff(support.swing_ratio(sc, 0.18), axis=1) < 0)


def test_limits_of_the_sorting() -> None:
    found = support.swing([0.999, 1.0, 1.0], [0.0, 0.0199, 0.02])
    assert list(found.names) == ["chafe", "no action", "action"]
    assert str(support.AMPLITUDE_SOURCE.mark) == "memory"


def test_the_reynolds_number_of_the_reference_library() -> None:
    fluids = pytest.importorskip("fluids", reason="the reference library is not installed")
    v, d = 30.0, 0.028
    assert support.reynolds_number(0.5 * 1.25 * v**2, d * 1e3) == pytest.approx(fluids.Reynolds(v, d, nu=15e-6))


def test_arrays_equal_scalars() -> None:
    v, d = np.array([[1.0], [9.0]]), np.array([10.0, 28.0, 60.0])
    many, sc = support.vortex_frequency_hz(v, d, 0.2), support.scruton_number(0.05, v, d)
    for i, j in np.ndindex(2, 3):
        assert many[i, j] == support.vortex_frequency_hz(v[i, 0], d[j], 0.2)
        assert sc[i, j] == support.scruton_number(0.05, v[i, 0], d[j])


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (support.vortex_frequency_hz, (-1.0, 28.0, 0.2)),
        (support.vortex_frequency_hz, (1.0, 0.0, 0.2)),
        (support.critical_wind_m_per_s, (np.nan, 28.0, 0.2)),
        (support.critical_wind_m_per_s, (1.0, 28.0, 0.0)),
        (support.lock_in, (2.0, 1.0, 28.0, 0.2)),
        (support.scruton_number, (0.0, 1.0, 28.0)),
        (support.swing_ratio, (0.0, 0.2)),
        (support.swing_ratio, (1.0, 0.2, -1.0)),
        (support.swing, (np.nan, 0.1)),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must"):
        function(*args)
