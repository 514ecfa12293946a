"""Strain and life: limits, scaling, the average over the circumference by plain summing."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.fibre import LIFE_SOURCE, bend_strain, break_probability, break_probability_bent

YEARS_20 = 20 * 365.25 * 86400


def test_strain_limits() -> None:
    assert bend_strain(1e9) == pytest.approx(0.0, abs=1e-9)
    assert bend_strain(0.0625) == pytest.approx(0.5)
    assert bend_strain(15.0 - 0.0625) == pytest.approx(0.0625 / 15)  # radius to the axis of the fibre


def test_nothing_breaks_without_strain_time_or_length() -> None:
    np.testing.assert_array_equal(break_probability([0.0, 0.005, 0.005], [1.0, 0.0, 1.0], [1e9, 1e9, 0.0]), 0.0)


def test_one_more_proof_test() -> None:
    """At the proof strain for the proof time the bracket is two."""
    assert break_probability(0.01, 1.0, 1.0) == pytest.approx(-np.expm1(-1e-5 * (2 ** (3 / 18) - 1)))


def test_two_lengths_survive_independently() -> None:
    f = break_probability(0.005, np.array([1e4, 2e4, 3e4]), YEARS_20)
    assert 1 - f[2] == pytest.approx((1 - f[0]) * (1 - f[1]))


def test_it_rises_with_strain_and_time_and_falls_with_n_below_the_proof_strain() -> None:
    strain = np.linspace(0.001, 0.009, 9)
    assert np.all(np.diff(break_probability(strain, 1.0, YEARS_20)) > 0)
    assert np.all(np.diff(break_probability(0.005, 1.0, np.geomspace(1e3, 1e9, 9))) > 0)
    assert break_probability(0.005, 1.0, YEARS_20, stress_n=16.0) > break_probability(0.005, 1.0, YEARS_20)


def test_average_over_the_circumference_by_plain_summing() -> None:
    phi = (np.arange(200_000) + 0.5) / 200_000 * 2 * np.pi
    e = np.maximum(0.0, 0.005 * np.cos(phi))
    by_sum = -np.log1p(-break_probability(e, 1.0, YEARS_20)).mean()
    assert break_probability_bent(0.005, 1.0, YEARS_20) == pytest.approx(by_sum, rel=1e-5)


@pytest.mark.parametrize("radius", [7.5, 10.0, 15.0])
def test_uniform_strain_is_the_safe_side(radius: float) -> None:
    e = bend_strain(radius)
    ratio = break_probability(e, 1.0, YEARS_20) / break_probability_bent(e, 1.0, YEARS_20)
    assert 4 < ratio < 10


def test_arrays_equal_scalars_and_extremes_stay_probabilities() -> None:
    e = np.array([0.002, 0.005, 0.008])
    many = break_probability_bent(e, [[1.0], [5.0]], YEARS_20)
    assert many.shape == (2, 3)
    np.testing.assert_allclose(many[1], [float(break_probability_bent(x, 5.0, YEARS_20)) for x in e])
    assert break_probability(0.5, 1e9, 1e12) == 1.0
    assert str(LIFE_SOURCE.mark) == "memory"


@pytest.mark.parametrize(
    "args", [(-0.1, 1.0, 1.0), (0.1, -1.0, 1.0), (0.1, 1.0, 1.0, 0.0), (0.1, 1.0, 1.0, 0.01, 1.0, 2.0)]
)
def test_nonsense_is_refused(args: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match=r"can't|must"):
        break_probability(*args)
    with pytest.raises(ValueError, match="radii"):
        bend_strain(0.0)
