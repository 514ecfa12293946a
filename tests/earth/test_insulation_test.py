"""Insulation tests: published limits, inverses, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast import earth
from upmast.source import Mark


@pytest.mark.parametrize(
    ("system_v", "extra_low", "test_v", "least_ohm"),
    [
        (48, True, 250, 0.5e6),
        (48, False, 500, 1e6),
        (230, False, 500, 1e6),
        (500, False, 500, 1e6),
        (690, False, 1000, 1e6),
    ],
)
def test_limits_iec60364_6(system_v: float, extra_low: bool, test_v: float, least_ohm: float) -> None:
    """IEC 60364-6, table 6.1, from memory."""
    found = earth.insulation_test(system_v, extra_low)
    assert (found.test_v, found.least_ohm, found.source.mark) == (test_v, least_ohm, Mark.MEMORY)


def test_ohm_km_is_divided_by_the_length() -> None:
    """By hand: 100 Mohm km over 100 m is 1000 Mohm, over 10 km 10 Mohm; at 30 C half; four cores together a quarter."""
    found = earth.insulation_expected_ohm(100e6, [100.0, 10_000.0])
    np.testing.assert_allclose(found, [1e9, 1e7])
    assert earth.insulation_expected_ohm(100e6, 100.0, 30.0) == pytest.approx(0.5e9)
    assert earth.insulation_expected_ohm(100e6, 100.0, 20.0, 4) == pytest.approx(0.25e9)


@given(st.floats(1e3, 1e12), st.floats(1.0, 5000.0), st.floats(-40.0, 70.0), st.integers(1, 24))
def test_back_to_twenty_degrees(ohm_km: float, length: float, temperature: float, cores: int) -> None:
    reading = earth.insulation_expected_ohm(ohm_km, length, temperature, cores)
    assert earth.insulation_at_20_ohm(reading, temperature, cores) == pytest.approx(ohm_km * 1e3 / length)


def test_array_equals_scalar() -> None:
    length, t = np.array([20.0, 60.0]), np.array([[0.0], [35.0]])
    grid = earth.insulation_expected_ohm(1e8, length, t, 3)
    back = earth.insulation_at_20_ohm(grid, t, 3)
    for a in range(2):
        for b in range(2):
            assert grid[a, b] == earth.insulation_expected_ohm(1e8, length[b], t[a, 0], 3)
            assert back[a, b] == earth.insulation_at_20_ohm(grid[a, b], t[a, 0], 3)


def test_nonsense() -> None:
    nan = float("nan")
    for call in (
        lambda: earth.insulation_test(0),
        lambda: earth.insulation_test(nan),
        lambda: earth.insulation_test(230, extra_low=True),
        lambda: earth.insulation_expected_ohm(0, 1),
        lambda: earth.insulation_expected_ohm(1e6, 0),
        lambda: earth.insulation_expected_ohm(1e6, 1, nan),
        lambda: earth.insulation_expected_ohm(1e6, 1, 300.0),
        lambda: earth.insulation_expected_ohm(1e6, 1, 20, 0),
        lambda: earth.insulation_at_20_ohm(nan, 20),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
