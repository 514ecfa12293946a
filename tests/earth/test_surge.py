"""Stroke waves: published parameters, quadrature and finite differences as second ways, limits, arrays against scalars."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast import earth
from upmast.earth.surge import Wave
from upmast.source import INVENTED, Mark

NAMES = earth.waves()


def test_first_positive_iec62305_1() -> None:
    """IEC 62305-1, table 3, from memory: level I 200 kA, 100 C, 10 MJ/ohm; II 150 kA, 5.6; III and IV 100 kA, 2.5."""
    form = earth.wave("first_positive")
    found = earth.surge_figures(np.array(form.peaks_a), form)
    np.testing.assert_allclose(found.peak_a, [200e3, 150e3, 100e3, 100e3], rtol=2e-3)
    np.testing.assert_allclose(found.charge_c[0], 100.0, rtol=0.01)
    np.testing.assert_allclose(found.specific_energy_j_per_ohm, [10e6, 5.6e6, 2.5e6, 2.5e6], rtol=0.04)
    assert form.source.mark is Mark.MEMORY


@pytest.mark.parametrize(
    ("name", "level", "slope"),
    [("first_positive", "I", 20e9), ("first_negative", "I", 100e9), ("subsequent", "I", 200e9)],
)
def test_mean_slope_iec62305_1(name: str, level: str, slope: float) -> None:
    """IEC 62305-1, table 3, from memory: 20, 100 and 200 kA/us at level I."""
    found = earth.surge_figures(earth.stroke_peak_a(level, name), earth.wave(name))
    assert found.mean_slope_a_per_s == pytest.approx(slope)
    # handbook: the steepest slope of these waves is 1.4 times the mean
    assert found.greatest_slope_a_per_s / found.mean_slope_a_per_s == pytest.approx(1.4, abs=0.04)


@pytest.mark.parametrize("name", NAMES)
def test_front_and_half_time_by_their_definition(name: str) -> None:
    """IEC 62305-1, clause 3: T_1 = 1.25 (t_90 - t_10), T_2 from the virtual origin to half the peak on the tail."""
    form = earth.wave(name)
    t_10, t_90 = earth.time_at_s([0.1, 0.9], form)
    front = (t_90 - t_10) / 0.8
    assert front == pytest.approx(form.front_s, rel=0.01)
    assert earth.time_at_s(0.5, form, falling=True) - (t_10 - 0.1 * front) == pytest.approx(form.half_s, rel=0.02)


@pytest.mark.parametrize("name", NAMES)
def test_correction_makes_the_peak_one(name: str) -> None:
    """k = exp(-(tau_1 / tau_2) (10 tau_2 / tau_1)^(1/10)), the first-order form, and the true peak."""
    form = earth.wave(name)
    ratio = form.tau_front_s / form.tau_tail_s
    assert np.exp(-ratio * (10 / ratio) ** 0.1) == pytest.approx(form.correction, rel=5e-3)
    assert earth.surge_a(earth.time_of_peak_s(form), 1.0, form) == pytest.approx(1.0, abs=1.5e-3)


@pytest.mark.parametrize("name", NAMES)
def test_figures_against_quadrature_and_a_fine_grid(name: str) -> None:
    integrate = pytest.importorskip("scipy.integrate")
    form, peak = earth.wave(name), 30e3
    found = earth.surge_figures(peak, form)
    top = float(found.peak_s)
    ends = [0.0, top, 10 * top, 20 * form.tau_tail_s, 80 * form.tau_tail_s]
    for power, value in ((1, found.charge_c), (2, found.specific_energy_j_per_ohm)):

        def raised(t: float, power: int = power) -> float:
            return float(earth.surge_a(t, peak, form)) ** power

        parts = [
            integrate.quad(raised, a, b, limit=500, epsabs=0, epsrel=1e-11)[0] for a, b in itertools.pairwise(ends)
        ]
        assert value == pytest.approx(sum(parts), rel=1e-9)
    t = np.linspace(0, 3 * top, 200_001)
    current, slope = earth.surge_a(t, peak, form), earth.surge_slope_a_per_s(t, peak, form)
    assert found.peak_a == pytest.approx(current.max(), rel=1e-8)
    assert found.greatest_slope_a_per_s == pytest.approx(slope.max(), rel=1e-7)
    assert t[current.argmax()] == pytest.approx(top, abs=2 * t[1])


@pytest.mark.parametrize("name", NAMES)
def test_slope_is_the_derivative(name: str) -> None:
    form = earth.wave(name)
    t = np.geomspace(form.tau_front_s / 5, 3 * form.tau_tail_s, 200)
    h = 1e-5 * t
    by_difference = (earth.surge_a(t + h, 1.0, form) - earth.surge_a(t - h, 1.0, form)) / (2 * h)
    np.testing.assert_allclose(
        earth.surge_slope_a_per_s(t, 1.0, form), by_difference, rtol=1e-6, atol=1e-6 / form.tau_tail_s
    )


def test_before_and_long_after_the_stroke() -> None:
    form = earth.wave("subsequent")
    np.testing.assert_array_equal(earth.surge_a([-1e-6, 0.0, 1.0], 50e3, form), [0.0, 0.0, 0.0])
    np.testing.assert_array_equal(earth.surge_slope_a_per_s([-1e-6, 0.0], 50e3, form), [0.0, 0.0])
    assert earth.surge_figures(0.0, form).charge_c == 0


@given(st.floats(1e-6, 1.0), st.sampled_from(NAMES), st.booleans())
def test_time_at_undoes_the_wave(fraction: float, name: str, falling: bool) -> None:
    form = earth.wave(name)
    top = earth.time_of_peak_s(form)
    t = earth.time_at_s(fraction, form, falling)
    assert earth.surge_a(t, 1.0, form) == pytest.approx(fraction * float(earth.surge_a(top, 1.0, form)), rel=1e-9)
    assert (t >= top * (1 - 1e-12)) if falling else (t <= top)


def test_array_equals_scalar() -> None:
    form = earth.wave("first_negative")
    t, peak = np.array([0.5e-6, 3e-6, 1e-4]), np.array([[1e3], [50e3]])
    grid, slope = earth.surge_a(t, peak, form), earth.surge_slope_a_per_s(t, peak, form)
    figures = earth.surge_figures(peak, form)
    parts = earth.time_at_s([[0.3, 0.9]], form)
    assert grid.shape == (2, 3)
    for a in range(2):
        assert figures.charge_c[a, 0] == earth.surge_figures(peak[a, 0], form).charge_c
        assert parts[0, a] == earth.time_at_s((0.3, 0.9)[a], form)
        for b in range(3):
            assert grid[a, b] == earth.surge_a(t[b], peak[a, 0], form)
            assert slope[a, b] == earth.surge_slope_a_per_s(t[b], peak[a, 0], form)


def test_nonsense() -> None:
    form = earth.wave("subsequent")
    for call in (
        lambda: earth.wave("8/20"),
        lambda: earth.stroke_peak_a("V", "subsequent"),
        lambda: earth.surge_a(float("nan"), 1.0, form),
        lambda: earth.surge_a(0.0, -1.0, form),
        lambda: earth.surge_a(0.0, float("nan"), form),
        lambda: earth.surge_figures(float("inf"), form),
        lambda: earth.time_at_s(0.0, form),
        lambda: earth.time_at_s(float("nan"), form),
        lambda: Wave("x", 1e-6, 1e-4, 1.0, 2e-4, 1e-4, (1.0, 1.0, 1.0, 1.0), INVENTED),
        lambda: Wave("x", float("nan"), 1e-4, 1.0, 1e-6, 1e-4, (1.0, 1.0, 1.0, 1.0), INVENTED),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
