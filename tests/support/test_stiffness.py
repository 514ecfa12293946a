"""Bending stiffness: geometry that must hold, the band, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support


def test_inertia_by_hand() -> None:
    """Beam tables: pi d^4 / 64 of 20 mm is 7854 mm4."""
    assert support.disc_inertia_mm4(20.0) == pytest.approx(7854, abs=0.5)


def test_a_ring_is_the_difference_of_two_discs() -> None:
    outer, t = np.array([10.0, 28.0]), np.array([[1.0], [5.0]])
    np.testing.assert_allclose(
        support.ring_inertia_mm4(outer, t), support.disc_inertia_mm4(outer) - support.disc_inertia_mm4(outer - 2 * t)
    )


@pytest.mark.parametrize("count", [3, 4, 7])
def test_evenly_placed_wires_have_the_same_stiffness_in_every_direction(count: int) -> None:
    """Sum of A (r sin phi)^2 over the wires, for any turn of the cable."""
    for turn in np.linspace(0, 1, 5):
        y = 4.0 * np.sin(turn + 2 * np.pi * np.arange(count) / count)
        band = support.stiffness_band_nm2(1e9, 7.0, 0.0, [count], [4.0])
        assert band.solid_nm2 == pytest.approx(1e9 * (7.0 * y**2).sum() * 1e-12)
        assert band.slip_nm2 == 0


def test_many_small_wires_make_a_solid_disc() -> None:
    """Rings of wires that fill a disc of 10 mm radius: E I of the disc."""
    radius = np.arange(0.05, 10, 0.1)
    area = 2 * np.pi * radius * 0.1
    found = support.stiffness_band_nm2(1e11, area / 100, 0.0, 100, radius)
    assert found.solid_nm2 == pytest.approx(1e11 * float(support.disc_inertia_mm4(20.0)) * 1e-12, rel=1e-4)


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(1e8, 2e11), st.floats(0.1, 100), st.integers(1, 40), st.floats(0, 20)),
        min_size=1,
        max_size=6,
    )
)
def test_slip_is_never_stiffer_than_solid(parts: list[tuple[float, float, int, float]]) -> None:
    e, area, n, r = (np.array(x) for x in zip(*parts, strict=True))
    found = support.stiffness_band_nm2(e, area, area**2 / (4 * np.pi), n, r)
    assert 0 < found.slip_nm2 <= found.solid_nm2


def test_arrays_equal_scalars() -> None:
    area, count = np.array([[10.0, 4.0], [16.0, 6.0]]), np.array([6, 1])
    many = support.stiffness_band_nm2([1e11, 1e9], area, 8.0, count, [5.0, 0.0])
    for i in range(2):
        one = support.stiffness_band_nm2([1e11, 1e9], area[i], 8.0, count, [5.0, 0.0])
        assert many.slip_nm2[i] == one.slip_nm2
        assert many.solid_nm2[i] == one.solid_nm2


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (support.disc_inertia_mm4, (-1.0,)),
        (support.disc_inertia_mm4, (np.nan,)),
        (support.ring_inertia_mm4, (10.0, 6.0)),
        (support.stiffness_band_nm2, (-1.0, 1.0, 1.0)),
        (support.stiffness_band_nm2, (1.0, np.nan, 1.0)),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="can't"):
        function(*args)
