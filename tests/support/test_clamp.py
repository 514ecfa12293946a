"""Clamps: what governs, identities between slip, crush and torque, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import support
from upmast.constants import STANDARD_GRAVITY_M_PER_S2


def test_at_the_slip_spacing_a_clamp_is_just_used_up() -> None:
    grip, mass, ice = np.array([500.0, 1312.5]), 1.1, 2.0
    spacing = support.slip_spacing_m(grip, mass, ice)
    np.testing.assert_allclose(spacing * (mass + ice) * STANDARD_GRAVITY_M_PER_S2.value * 1.5, grip)


def test_at_the_largest_torque_the_crush_rating_is_met() -> None:
    torque = support.largest_torque_nm(1500.0, 2, 40.0, 6.0)
    assert support.crush_n_per_100mm(support.bolt_force_n(torque, 6.0), 2, 40.0) == pytest.approx(1500.0)


def test_pressure_times_area_is_the_force() -> None:
    assert support.crush_pressure_pa(1000.0, 3, 50.0, 20.0) * 0.05 * 0.02 == pytest.approx(3000.0)


def test_governing_is_named_for_each_line() -> None:
    found = support.clamp_spacing([5.0, 1.0, 9.0], [2.0, 4.0, np.inf], [3.0, 1.0, 1.2])
    np.testing.assert_allclose(found.spacing_m, [2.0, 1.0, 1.2])
    assert list(found.names) == ["side", "slip", "rule"]


def test_no_wind_gives_no_side_limit() -> None:
    np.testing.assert_array_equal(support.side_spacing_m([100.0, 0.0], 0.0), [np.inf, np.inf])
    assert support.side_spacing_m(115.0, 100.0) == pytest.approx(1.0)


def test_count_has_a_clamp_at_both_ends() -> None:
    np.testing.assert_array_equal(support.clamp_count([0.0, 0.5, 3 * 0.1, 5.0], [1.0, 1.0, 0.1, np.inf]), [1, 2, 4, 2])


def test_arrays_equal_scalars() -> None:
    torque, bolt = np.array([[4.0], [8.0]]), np.array([6.0, 8.0, 10.0])
    many = support.grip_force_n(support.bolt_force_n(torque, bolt), 2)
    ones = [[float(support.grip_force_n(support.bolt_force_n(t, b), 2)) for b in bolt] for t in torque[:, 0]]
    np.testing.assert_allclose(many, ones)


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (support.bolt_force_n, (-1.0, 8.0)),
        (support.bolt_force_n, (1.0, 0.0)),
        (support.grip_force_n, (1.0, 1, 0.2, 1.5)),
        (support.slip_spacing_m, (1.0, 0.0)),
        (support.slip_spacing_m, (1.0, 1.0, 0.0, 0.9)),
        (support.side_spacing_m, (-1.0, 1.0)),
        (support.clamp_spacing, (1.0, np.nan, 1.0)),
        (support.clamp_count, (1.0, 0.0)),
        (support.crush_n_per_100mm, (1.0, 1, 0.0)),
        (support.crush_pressure_pa, (1.0, 1, 1.0, 0.0)),
        (support.largest_torque_nm, (-1.0, 1, 1.0, 1.0)),
        (support.clamp_count, (-1.0, 1.0)),
        (support.clamp_count, (np.nan, 1.0)),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must"):
        function(*args)
