"""Stacks of cables: which hanger fits, common torque, bundle of wind; arrays against scalars."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support

G = 9.80665
diameter = st.floats(4, 60)


@settings(deadline=None)
@given(
    st.lists(diameter, min_size=1, max_size=12),
    st.lists(st.tuples(diameter, diameter, st.integers(1, 6)), min_size=1, max_size=6),
)
def test_the_best_hanger_is_that_of_a_search(cables: list[float], parts: list[tuple[float, float, int]]) -> None:
    low, high, runs = (np.array(x) for x in zip(*((min(a, b), max(a, b), n) for a, b, n in parts), strict=True))
    found = support.hanger_fit(cables, low, high, runs)
    fitting = []
    for i in range(low.size):
        assert found.fits[i] == all(low[i] <= d <= high[i] for d in cables)
        hangers = next(n for n in itertools.count(1) if n * runs[i] >= len(cables))
        assert (found.count[i], found.idle[i]) == (hangers, hangers * runs[i] - len(cables))
        if found.fits[i]:
            fitting.append((hangers, found.idle[i], high[i] - low[i], i))
    assert found.best == (min(fitting)[3] if fitting else -1)


def test_many_sets_of_cables() -> None:
    found = support.hanger_fit([[10.0, 11.0], [15.0, 16.0], [10.0, 16.0]], [9.0, 14.0], [12.0, 17.0], [2, 1])
    np.testing.assert_array_equal(found.best, [0, 1, -1])
    np.testing.assert_array_equal(found.count, [[1, 2]] * 3)


def test_a_hanger_carries_all_its_cables() -> None:
    spacing = support.hanger_spacing_m([100.0, 200.0], [[0.6, 1.1, 0.3]] * 2, [0.5, 1.0, 0.2])
    np.testing.assert_allclose(spacing * 1.5 * G * 3.7, [100.0, 200.0])
    assert support.hanger_spacing_m(100.0, [0.5]) == support.slip_spacing_m(100.0, 0.5)


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(100, 9000), st.floats(0.1, 3)), min_size=1, max_size=5), st.floats(0.5, 20))
def test_the_weakest_cable_sets_the_torque(cables: list[tuple[float, float]], wanted: float) -> None:
    crush, mass = (np.array(x) for x in zip(*cables, strict=True))
    found = support.stack_torque(wanted, crush, 1, 40.0, 8.0, mass)
    assert np.ptp(found.torque_nm) == 0
    assert np.all(found.torque_nm <= found.crush_nm * (1 + 1e-12))
    assert found.torque_nm[0] == pytest.approx(min(wanted, float(found.crush_nm.min())))
    assert int(found.spacing_m.argmin()) == int(mass.argmax()) or mass.max() == mass[found.spacing_m.argmin()]


def test_row_width() -> None:
    """By hand: three of 28 mm at 40 mm; a thick one in the middle of thin ones."""
    assert support.row_width_mm([28.0, 28.0, 28.0], 40.0) == pytest.approx(108.0)
    assert support.row_width_mm([4.0, 90.0, 4.0], 50.0) == pytest.approx(104.0)
    assert support.row_width_mm([4.0, 90.0, 4.0], 47.0) == pytest.approx(98.0)
    assert support.row_width_mm([4.0, 190.0, 4.0], 97.0) == pytest.approx(198.0)


def test_block_width_is_the_largest_shadow() -> None:
    columns, rows, pitch, d = 4, 3, 40.0, 28.0
    x, y = np.meshgrid(pitch * np.arange(columns), pitch * np.arange(rows))
    turn = np.linspace(0, np.pi, 2001)
    shadow = [np.ptp(x * np.cos(t) + y * np.sin(t)) + d for t in turn]
    assert support.block_envelope_mm(columns, rows, pitch, d) == pytest.approx(max(shadow), rel=1e-5)
    assert support.block_envelope_mm(1, 1, pitch, d) == d


def test_a_row_has_its_factor_and_a_single_cable_none() -> None:
    row = support.bundle_wind(1000.0, [20.0, 20.0, 20.0, 20.0], 40.0)
    assert row.kappa == 1.15
    assert row.sum_n_per_m == pytest.approx(1.15 * 4 * 1000 * 1.2 * 0.02)
    assert row.envelope_n_per_m == pytest.approx(1000 * 1.5 * 0.14)
    one = support.bundle_wind(1000.0, [20.0], 1e-3)
    assert one.kappa == 1.0
    assert one.sum_n_per_m == pytest.approx(24.0)
    far = support.bundle_wind(1000.0, [20.0, 20.0], 800.0)
    assert far.kappa == 1.0
    np.testing.assert_array_equal([int(x.larger) for x in (row, one, far)], [1, 1, 1])
    assert int(support.bundle_wind(1000.0, [20.0, 20.0], 20.0, envelope_coefficient=1.2).larger) == 0


@settings(deadline=None)
@given(st.floats(10, 3000), st.lists(diameter, min_size=1, max_size=6), st.floats(1.01, 2))
def test_wind_grows_with_pressure_and_diameter(q: float, cables: list[float], by: float) -> None:
    pitch = 3.4 * max(cables) * by  # one branch of kappa
    start, more = (support.bundle_wind(x, cables, pitch) for x in (q, q * by))
    assert more.sum_n_per_m == pytest.approx(float(start.sum_n_per_m) * by)
    assert more.envelope_n_per_m == pytest.approx(float(start.envelope_n_per_m) * by)
    wide = support.bundle_wind(q, np.array(cables) * 1.001, pitch)
    assert wide.envelope_n_per_m > start.envelope_n_per_m
    assert wide.sum_n_per_m > start.sum_n_per_m or float(start.kappa) != float(wide.kappa)


def test_arrays_equal_scalars() -> None:
    d, q = np.array([[20.0, 28.0], [10.0, 12.0]]), np.array([600.0, 1300.0])
    many = support.bundle_wind(q, d, [40.0, 100.0])
    for i in range(2):
        one = support.bundle_wind(q[i], d[i], [40.0, 100.0][i])
        assert (many.sum_n_per_m[i], many.envelope_n_per_m[i]) == (one.sum_n_per_m, one.envelope_n_per_m)
        assert support.row_width_mm(d, [40.0, 100.0])[i] == one.width_mm
    stack = support.stack_torque(6.0, [[2000.0, 3000.0], [900.0, 800.0]], 1, 40.0, 8.0, [0.6, 1.1])
    for i, crush in enumerate(([2000.0, 3000.0], [900.0, 800.0])):
        np.testing.assert_array_equal(
            stack.grip_n[i], support.stack_torque(6.0, crush, 1, 40.0, 8.0, [0.6, 1.1]).grip_n
        )


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: support.hanger_fit([0.0], [1.0], [2.0], [1]),
        lambda: support.hanger_fit([np.nan], [1.0], [2.0], [1]),
        lambda: support.hanger_fit([1.5], [2.0], [1.0], [1]),
        lambda: support.hanger_fit([1.5], [1.0], [2.0], [0]),
        lambda: support.hanger_fit([1.5], [], [], []),
        lambda: support.hanger_spacing_m(-1.0, [1.0]),
        lambda: support.hanger_spacing_m(1.0, [1.0, 0.0]),
        lambda: support.row_width_mm([28.0, 28.0], 27.0),
        lambda: support.row_width_mm([28.0], np.nan),
        lambda: support.block_envelope_mm(2, 2, 20.0, 28.0),
        lambda: support.block_envelope_mm(0, 2, 20.0, 18.0),
        lambda: support.bundle_wind(-1.0, [28.0], 30.0),
    ):
        with pytest.raises(ValueError, match=r"can't|must"):
            call()
