"""Torque between crush and slip, and how it falls; arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support

some = st.floats(0.5, 50)
rating = st.floats(50, 20000)


def test_nominal_bolt_by_hand() -> None:
    """6 N m on M8, K 0.2, friction 0.25, creep 0.7: 3750 N in the bolt, 1312.5 N of grip; with G2 on 28 mm 23.39 m."""
    found = support.clamp_torque(6.0, 20000.0, 1, 40.0, 8.0, 1.1, 2.714, scatter=0.0)
    assert not found.limited
    assert found.grip_n == pytest.approx(1312.5)
    assert found.spacing_m == pytest.approx(23.39, abs=0.005)


@settings(deadline=None)
@given(
    some,
    rating,
    st.integers(1, 4),
    st.floats(10, 100),
    st.sampled_from([5.0, 6.0, 8.0, 10.0]),
    st.floats(0, 0.5),
    st.integers(1, 4),
)
def test_torque_never_exceeds_what_crush_allows(
    wanted: float, crush: float, bolts: int, width: float, bolt: float, scatter: float, sharing: int
) -> None:
    found = support.clamp_torque(wanted, crush, bolts, width, bolt, 1.1, scatter=scatter, sharing=sharing)
    assert found.torque_nm <= wanted
    for k in (0.2 * (1 - scatter), 0.2, 0.2 * (1 + scatter)):
        load = support.crush_n_per_100mm(support.bolt_force_n(found.torque_nm, bolt, k) / sharing, bolts, width)
        assert load <= crush * (1 + 1e-12)
    assert bool(found.limited) == bool(wanted >= found.crush_nm)


@settings(deadline=None)
@given(some, rating, st.floats(0.1, 5), st.floats(0, 20), st.floats(0, 0.5))
def test_the_spacing_holds_at_every_nut_factor_of_the_band(
    wanted: float, crush: float, mass: float, ice: float, scatter: float
) -> None:
    found = support.clamp_torque(wanted, crush, 2, 40.0, 8.0, mass, ice, scatter=scatter)
    for k in (0.2 * (1 - scatter), 0.2, 0.2 * (1 + scatter)):
        grip = support.grip_force_n(support.bolt_force_n(found.torque_nm, 8.0, k), 2)
        assert found.spacing_m <= support.slip_spacing_m(grip, mass, ice) * (1 + 1e-12)


def test_cables_side_by_side_share_the_bolt() -> None:
    one, two = (support.clamp_torque(np.inf, 2000.0, 1, 40.0, 8.0, 1.1, sharing=n) for n in (1, 2))
    assert two.torque_nm == pytest.approx(2 * float(one.torque_nm))
    assert two.grip_n == pytest.approx(float(one.grip_n))


def test_the_rule_of_time_and_its_inverse() -> None:
    least, creep, vibration = np.array([0.5, 0.7, 0.95]), np.array([[0.05], [0.1]]), 0.03
    days = support.retighten_days(least, creep, vibration)
    np.testing.assert_allclose(support.force_left(days, creep, vibration), np.broadcast_to(least, (2, 3)), atol=1e-9)
    assert np.all(np.diff(days, axis=0) < 0)


def test_limits_of_time() -> None:
    """By hand: creep alone 10^(0.3 / 0.1) - 1 = 999 days, vibration alone six years; nothing lost: never."""
    assert support.retighten_days(0.7, 0.1, 0.0) == pytest.approx(999.0)
    assert support.retighten_days(0.7, 0.0, 0.05) == pytest.approx(6 * 365.25)
    np.testing.assert_array_equal(support.retighten_days(0.7, [0.0, 1e-6], 0.0), np.inf)
    assert support.retighten_days(1.0, 0.1, 0.1) == 0
    assert support.force_left(1e6, 0.3, 0.0) == 0


def test_arrays_equal_scalars() -> None:
    wanted, crush = np.array([[1.0], [8.0]]), np.array([500.0, 2000.0, 9000.0])
    many, days = support.clamp_torque(wanted, crush, 2, 40.0, 8.0, 1.1), support.retighten_days(0.6, wanted / 80, 0.02)
    for i, j in np.ndindex(2, 3):
        one = support.clamp_torque(wanted[i, 0], crush[j], 2, 40.0, 8.0, 1.1)
        assert (many.torque_nm[i, j], many.grip_n[i, j], many.spacing_m[i, j]) == (
            one.torque_nm,
            one.grip_n,
            one.spacing_m,
        )
        assert many.limited[i, j] == one.limited
        assert days[i, 0] == support.retighten_days(0.6, wanted[i, 0] / 80, 0.02)


def test_nonsense_is_refused() -> None:
    fine = (6.0, 2000.0, 1, 40.0, 8.0, 1.1)
    for at, value in ((0, -1.0), (0, np.nan), (1, np.nan), (1, -1.0), (2, 0), (3, 0.0), (5, 0.0)):
        with pytest.raises(ValueError, match=r"can't|must"):
            support.clamp_torque(*(value if i == at else x for i, x in enumerate(fine)))
    for more in ({"scatter": 1.0}, {"sharing": 0}, {"safety": 0.5}):
        with pytest.raises(ValueError, match=r"can't|must"):
            support.clamp_torque(*fine, **more)
    with pytest.raises(ValueError, match="must be limited"):
        support.clamp_torque(np.inf, np.inf, 1, 40.0, 8.0, 1.1)
    for call in (
        lambda: support.force_left(-1.0, 0.1, 0.1),
        lambda: support.force_left(1.0, np.nan, 0.1),
        lambda: support.retighten_days(0.0, 0.1, 0.1),
        lambda: support.retighten_days(0.5, -0.1, 0.1),
    ):
        with pytest.raises(ValueError, match=r"can't|must"):
            call()
