"""Clamp schedule: limits of spacing and ends, no clamp too many, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support

legs = st.lists(
    st.tuples(st.floats(0.05, 60), st.floats(-1, 1), st.floats(0.2, 3), st.floats(0, 2)), min_size=1, max_size=6
)


@settings(deadline=None)
@given(legs)
def test_no_gap_is_larger_than_its_limits_and_no_clamp_is_idle(rows: list[tuple[float, float, float, float]]) -> None:
    length, slope, spacing, end = (np.array(x) for x in zip(*rows, strict=True))
    start = 80.0 + np.zeros(length.size)
    found = support.clamp_schedule(start, start + slope * length, length, spacing, end)
    assert found.leg.size == found.count.sum()
    for i in range(length.size):
        at = found.along_m[found.leg == i]
        gaps, edges = np.diff(at), (at[0], length[i] - at[-1])
        assert np.all(gaps > 0)
        assert np.all(gaps <= spacing[i] * (1 + 1e-8))
        assert max(edges) <= min(end[i], spacing[i] / 2) * (1 + 1e-8) + 1e-8
        assert min(edges) >= 0
        if at.size > 2:  # one interval less would be too wide
            assert (at[-1] - at[0]) / (at.size - 2) > spacing[i] * (1 - 1e-6)
        height = start[i] + slope[i] * at
        np.testing.assert_allclose(found.height_m[found.leg == i], height)
    across = np.diff(found.chainage_m)
    limit = np.maximum(spacing[found.leg[1:]], spacing[found.leg[:-1]])
    assert np.all(across <= limit * (1 + 1e-8) + 1e-8)


def test_a_vertical_run_by_hand() -> None:
    """26 m from 4 m up, at most 1 m apart, 0.3 m from each end: 25.4 m in 26 parts, 27 clamps."""
    found = support.clamp_schedule(4.0, 30.0, 26.0, 1.0, 0.3)
    assert found.count == 27
    assert found.spacing_m == pytest.approx(25.4 / 26)
    assert (found.height_m[0], found.height_m[-1]) == pytest.approx((4.3, 29.7))


def test_a_leg_downwards_and_a_level_one() -> None:
    found = support.clamp_schedule([10.0, 4.0], [4.0, 4.0], [6.0, 3.0], 1.0, 0.5)
    np.testing.assert_allclose(found.height_m[found.leg == 0], 9.5 - np.arange(6))
    np.testing.assert_allclose(found.height_m[found.leg == 1], 4.0)
    np.testing.assert_allclose(np.diff(found.chainage_m), 1.0)


def test_a_short_leg_has_one_clamp_in_its_middle() -> None:
    found = support.clamp_schedule(0.0, 0.4, 0.4, 1.0, 0.3)
    assert found.count == 1
    assert found.along_m == pytest.approx(0.2)
    assert found.spacing_m == 0


def test_clamps_at_the_very_ends_are_those_of_the_count() -> None:
    for length, spacing in ((10.0, 1.0), (10.1, 1.0), (0.3, 0.1)):
        found = support.clamp_schedule(0.0, 0.0, length, spacing, 0.0)
        assert found.count == support.clamp_count(length, spacing)


def test_the_schedule_feeds_the_beam() -> None:
    found = support.clamp_schedule(0.0, 8.0, 8.0, 1.0, 0.3)
    force = support.reactions_n(np.diff(found.height_m), 50.0, 0.3, 0.3)
    assert force.sum() == pytest.approx(400.0)


def test_arrays_equal_scalars() -> None:
    length = np.array([0.3, 4.0, 17.3])
    many = support.clamp_schedule(2.0, 2.0, length, [1.0, 0.9, 1.2], 0.25)
    for i in range(3):
        one = support.clamp_schedule(2.0, 2.0, length[i], [1.0, 0.9, 1.2][i], 0.25)
        np.testing.assert_array_equal(many.along_m[many.leg == i], one.along_m)


@pytest.mark.parametrize(
    "args",
    [
        (0.0, 5.0, 4.0, 1.0, 0.3),
        (np.nan, 5.0, 8.0, 1.0, 0.3),
        (0.0, 5.0, 0.0, 1.0, 0.3),
        (0.0, 5.0, np.inf, 1.0, 0.3),
        (0.0, 5.0, 8.0, 0.0, 0.3),
        (0.0, 5.0, 8.0, 1.0, -0.1),
        (0.0, 5.0, 8.0, 1.0, np.nan),
        (0.0, 5.0, 8.0, 1e-7, 0.3),
        ([[0.0]], 5.0, 8.0, 1.0, 0.3),
    ],
)
def test_nonsense_is_refused(args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must"):
        support.clamp_schedule(*args)
