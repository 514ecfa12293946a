from __future__ import annotations

import numpy as np
import pytest

from upmast import earth
from upmast.source import Mark


def test_limit_by_hand() -> None:
    """2.4 ohm/km copper, 60 m, 40 C, 3 joints of 1 mohm: 0.144 x 1.0786 x 1.15 + 0.003 ohm."""
    assert earth.shield_expected_ohm(2.4, 60, 40) == pytest.approx(0.1553184)
    assert earth.shield_limit_ohm(2.4, 60, 3, 40) == pytest.approx(0.18161616)
    assert earth.shield_expected_ohm(2.4, 60, 40, "aluminium") == pytest.approx(0.144 * 1.0806)
    assert earth.BOND_SOURCE.mark is Mark.PRACTICE


def test_cold_and_hot() -> None:
    """The coefficient's sign: a cold shield reads less than at 20 C, a hot one more."""
    cold, ref, hot = earth.shield_expected_ohm(2.4, 60, [-10.0, 20.0, 50.0])
    assert cold < ref < hot
    assert hot - ref == pytest.approx(ref - cold)


def test_a_sound_shield_lies_between_the_limits() -> None:
    expected = earth.shield_expected_ohm(1.2, 45.0, 10.0)
    assert earth.parallel_path_ohm(expected) < expected < earth.shield_limit_ohm(1.2, 45.0, 0, 10.0)
    mast = 0.5 * expected  # the mast still bonded in parallel
    assert expected * mast / (expected + mast) < earth.parallel_path_ohm(expected)


def test_bond_limit() -> None:
    """0.6 m of 16 mm2 class 2 (1.15 ohm/km, IEC 60228) and two joints of 1 mohm."""
    assert earth.bond_limit_ohm(1.15, 0.6) == pytest.approx(2.69e-3)
    assert earth.bond_limit_ohm(1.15, 0.0, joints=1) == pytest.approx(1e-3)


def test_array_equals_scalar() -> None:
    r, joints = np.array([1.2, 2.4]), np.array([[2], [5]])
    grid = earth.shield_limit_ohm(r, 60.0, joints, 35.0)
    leads = earth.bond_limit_ohm(r, 0.5, joints)
    for i in range(2):
        for j in range(2):
            assert grid[i, j] == earth.shield_limit_ohm(r[j], 60.0, joints[i, 0], 35.0)
            assert leads[i, j] == earth.bond_limit_ohm(r[j], 0.5, joints[i, 0])


def test_nonsense() -> None:
    for call in (
        lambda: earth.shield_expected_ohm(-1, 1),
        lambda: earth.shield_expected_ohm(1, 1, -300),
        lambda: earth.shield_expected_ohm(1, 1, 20, "gold"),
        lambda: earth.shield_limit_ohm(1, 1, -1),
        lambda: earth.shield_limit_ohm(1, 1, 1, spread_factor=0.9),
        lambda: earth.parallel_path_ohm(1, 2),
        lambda: earth.bond_limit_ohm(1, -1),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
