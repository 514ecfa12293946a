"""Ice on cables and the case that governs: both kinds of ice, monotony, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support

CLASSES = support.ice_classes()
G = 9.80665


def test_glaze_is_even_and_rime_is_not() -> None:
    glaze, rime = support.ice_load("G3", 28.0), support.ice_load("R3", 28.0)
    assert glaze.front_mm == glaze.side_mm == 88.0
    assert rime.side_mm > rime.front_mm > 28.0
    assert glaze.weight_n_per_m == pytest.approx(float(glaze.mass_kg_per_m) * G)
    assert rime.mass_kg_per_m == 1.6


def test_reduced_pressure_by_hand() -> None:
    """G2 on 28 mm at 1307.1 Pa: 0.45 of 1307.1 x 1.2 x 0.068 (k from memory of ISO 12494)."""
    found = support.wind_cases(1307.1, 28.0, "G2")
    assert found.iced_n_per_m == pytest.approx(0.45 * 1307.1 * 1.2 * 0.068)
    assert found.bare_n_per_m == pytest.approx(1307.1 * 1.2 * 0.028)
    assert str(found.names) == "iced"
    assert found.largest_n_per_m == found.iced_n_per_m


def test_factors_rise_with_the_class_to_the_whole_wind() -> None:
    k = [support.ice_class(name).wind_factor for name in CLASSES]
    assert np.all(np.diff(k[:5]) > 0)
    assert np.all(np.diff(k[5:]) > 0)
    assert max(k) == 1.0


@settings(deadline=None)
@given(st.sampled_from(CLASSES), st.floats(1, 5000), st.floats(5, 150), st.floats(1.01, 2))
def test_force_grows_with_pressure_and_diameter(name: str, q: float, d: float, by: float) -> None:
    start = support.wind_cases(q, d, name)
    more = support.wind_cases(q * by, d, name)
    assert more.bare_n_per_m == pytest.approx(float(start.bare_n_per_m) * by)
    assert more.iced_n_per_m == pytest.approx(float(start.iced_n_per_m) * by)
    wide = support.wind_cases(q, d * by, name)
    assert wide.bare_n_per_m > start.bare_n_per_m
    if name.startswith("G"):
        assert wide.iced_n_per_m > start.iced_n_per_m


@settings(deadline=None)
@given(st.sampled_from(CLASSES), st.floats(1, 5000), st.floats(5, 250))
def test_at_equal_pressure_ice_only_adds(name: str, q: float, d: float) -> None:
    found = support.wind_cases(q, d, name, wind_factor=1.0)
    assert found.iced_n_per_m > found.bare_n_per_m
    assert str(found.names) == "iced"
    assert support.ice_load(name, d).mass_kg_per_m > 0


def test_a_wide_cable_is_governed_bare() -> None:
    """Glaze: iced governs below `D = 2 t k / (1 - k)`."""
    t, k = 20.0, 0.45
    edge = 2 * t * k / (1 - k)
    assert list(support.wind_cases(900.0, [edge - 0.01, edge + 0.01], "G2").names) == ["iced", "bare"]


def test_arrays_equal_scalars() -> None:
    q, d = np.array([[500.0], [1300.0]]), np.array([12.0, 28.0, 60.0])
    for name in ("G4", "R5"):
        many = support.wind_cases(q, d, name, 1.2, 1.4)
        for i, j in np.ndindex(2, 3):
            one = support.wind_cases(q[i, 0], d[j], name, 1.2, 1.4)
            assert (many.bare_n_per_m[i, j], many.iced_n_per_m[i, j]) == (one.bare_n_per_m, one.iced_n_per_m)
            assert many.governing[i, j] == one.governing


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: support.ice_load("G1", 0.0),
        lambda: support.ice_load("R1", np.nan),
        lambda: support.wind_cases(np.nan, 28.0, "G1"),
        lambda: support.wind_cases(-1.0, 28.0, "G1"),
        lambda: support.wind_cases(1.0, 28.0, "G1", wind_factor=1.2),
        lambda: support.wind_cases(1.0, 28.0, "G1", wind_factor=np.nan),
    ):
        with pytest.raises(ValueError, match=r"can't|must"):
            call()
