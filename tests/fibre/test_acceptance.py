"""What a reading of loss can be, and what its excess looks like."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.fibre.acceptance import Signature, below_floor, bend_signature, counted_pairs, directions_db, glass_floor_db
from upmast.fibre.bend_loss import bend_loss_db_per_m


def test_the_floor_is_that_of_scattering() -> None:
    """The lowest loss ever measured in pure-silica fibre was 0.1484 dB/km at 1550 nm (Tamura 2018, from memory): above it."""
    assert float(glass_floor_db(1000.0, 1550.0)) < 0.1484
    assert 0.2 < float(glass_floor_db(1000.0, 1310.0)) < 0.32  # ITU-T G.652 fibre shows 0.32 to 0.35
    # the law itself: 16 times at half the wavelength
    assert float(glass_floor_db(1.0, 775.0) / glass_floor_db(1.0, 1550.0)) == pytest.approx(16.0)
    assert float(glass_floor_db(0.0, 1310.0)) == 0.0


def test_a_negative_loss_is_below_the_floor_unless_it_is_within_the_uncertainty() -> None:
    assert below_floor([-0.25, -0.15, 0.0], 60.0, 1310.0).tolist() == [True, False, False]
    assert below_floor(-0.15, 60.0, 1310.0, 0.1)
    many = below_floor(np.array([[-1.0], [1.0]]), [10.0, 10_000.0], 1550.0)
    one = [[bool(below_floor(r, x, 1550.0)) for x in (10.0, 10_000.0)] for r in (-1.0, 1.0)]
    assert many.tolist() == one


def test_reference_methods_leave_out_none_one_or_both_end_pairs() -> None:
    assert [counted_pairs(m, 6).item() for m in ("one", "two", "three")] == [6, 5, 4]
    with pytest.raises(ValueError, match="'one', 'two' or 'three'"):
        counted_pairs("four", 2)
    with pytest.raises(ValueError, match="at least as many"):
        counted_pairs("three", 1)


@given(st.floats(-5, 20), st.floats(-5, 20))
def test_directions_change_sides(up: float, down: float) -> None:
    mean, apart = directions_db(up, down)
    assert float(mean) == pytest.approx((up + down) / 2)
    assert float(apart) == float(directions_db(down, up)[1])


def test_a_real_bend_is_told_as_one_and_a_joint_as_one() -> None:
    """A quarter turn of 9 mm in step-index fibre by Marcuse's formula: the excess of 1550 nm is many times that of 1310 nm."""
    excess = [
        float(bend_loss_db_per_m(4.0, 1.449373, 1.4440, wave, 9.0, 1.27).loss) * 0.05 for wave in (1310.0, 1550.0)
    ]
    assert bend_signature(*excess, 0.1).item() is Signature.BEND
    assert bend_signature(1.0, 0.95).item() is Signature.JOINT
    assert bend_signature(1.0, 2.0).item() is Signature.BOTH
    assert bend_signature(0.05, 0.1).item() is Signature.NONE
    assert bend_signature(float("nan"), 2.0).item() is Signature.UNKNOWN
    found = bend_signature([1.0, 0.0], [[0.95], [3.0]])
    assert found.shape == (2, 2)
    assert found[1, 1] is Signature.BEND
