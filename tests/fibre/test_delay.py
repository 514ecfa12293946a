"""Delay: limits and differences."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import fibre


def test_vacuum() -> None:
    assert fibre.delay_s(299792458.0, 1.0) == pytest.approx(1.0)


def test_differences_are_antisymmetric_and_agree_with_delays() -> None:
    one, other = np.array([100.0, 80.0]), np.array([90.0, 85.0])
    np.testing.assert_allclose(fibre.skew_s(one, other), -fibre.skew_s(other, one))
    assert fibre.skew_s(one, one).tolist() == [0, 0]
    n1, n2 = fibre.GROUP_INDEX_1310.value, fibre.GROUP_INDEX_1550.value
    np.testing.assert_allclose(
        fibre.wavelength_asymmetry_s(one, n2, n1), fibre.delay_s(one, n2) - fibre.delay_s(one, n1), atol=1e-20
    )
    np.testing.assert_allclose(fibre.delay_s(one), [float(fibre.delay_s(x)) for x in one])


def test_warmth_on_a_mast_is_far_below_the_timing_step() -> None:
    assert fibre.temperature_delay_s(100.0, 80.0) < fibre.TIMING_STEP_S.value / 20
    assert fibre.temperature_delay_s(100.0, -10.0) == pytest.approx(-4e-11)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="index"):
        fibre.delay_s(1.0, 0.9)
    with pytest.raises(ValueError, match="length"):
        fibre.delay_s(-1.0)
    with pytest.raises(ValueError, match="length"):
        fibre.temperature_delay_s(-1.0, 1.0)
