"""Exact relaxation: closed forms, a stiff solver as a second way, arrays against scalars."""

from __future__ import annotations

from fractions import Fraction
from math import exp, factorial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast import earth

FORM = earth.wave("first_positive")


@given(st.floats(0.0, 1e9), st.integers(0, 3))
def test_powers_of_time_are_exact(rate: float, power: int) -> None:
    """z' = -lambda z + (t / T)^p: textbook solution by the recurrence of integration by parts, in high precision."""

    t = np.array([0.0, 2e-5, 3e-4, 1e-3])
    end = t[-1]
    slope = power / end * (t / end) ** max(power - 1, 0)
    found = earth.relax(rate, t, (t / end) ** power, slope)[-1]
    x = rate * end
    if x < 1:
        # power series of the integral: sum (-x)^j p! / (p + j + 1)!
        wanted = sum((-Fraction(x)) ** j * factorial(power) / factorial(power + j + 1) for j in range(25))
        assert found / end == pytest.approx(float(wanted), rel=1e-11)
    else:
        phi = Fraction(exp(-x)) if x < 700 else Fraction(0)
        for k in range(power + 1):
            phi = (phi - Fraction(1, factorial(k))) / -Fraction(x)
        assert found / end == pytest.approx(float(phi * factorial(power)), rel=1e-9)


@pytest.mark.parametrize("rate", [0.0, 10.0, 5e3, 1e6, 1e9])
def test_against_a_stiff_solver(rate: float) -> None:
    integrate = pytest.importorskip("scipy.integrate")
    t = earth.stroke_instants_s(FORM)
    found = earth.relax(rate, t, earth.surge_a(t, 1.0, FORM), earth.surge_slope_a_per_s(t, 1.0, FORM))
    some = t[::25]
    solved = integrate.solve_ivp(
        lambda s, z: -rate * z + earth.surge_a(s, 1.0, FORM),
        (0, t[-1]), [0.0], "Radau", some, rtol=1e-9, atol=1e-9 * found.max(), max_step=2e-6,
    )  # fmt: skip
    np.testing.assert_allclose(found[::25], solved.y[0], atol=1e-5 * found.max())


def test_no_rate_gives_the_charge() -> None:
    t = earth.stroke_instants_s(FORM, 0.02)
    found = earth.relax(0.0, t, earth.surge_a(t, 2e5, FORM), earth.surge_slope_a_per_s(t, 2e5, FORM))
    assert found[-1] == pytest.approx(float(earth.surge_figures(2e5, FORM).charge_c), rel=1e-5)


def test_array_equals_scalar() -> None:
    t = earth.stroke_instants_s(FORM, front_steps=50)
    drive, slope = earth.surge_a(t, 1.0, FORM), earth.surge_slope_a_per_s(t, 1.0, FORM)
    rates = np.array([[0.0, 1e3], [1e5, 1e8]])
    many = earth.relax(rates, t, drive, slope)
    assert many.shape == (2, 2, t.size)
    for a in range(2):
        for b in range(2):
            np.testing.assert_array_equal(many[a, b], earth.relax(rates[a, b], t, drive, slope))


def test_nonsense() -> None:
    one = np.ones(2)
    for call in (
        lambda: earth.relax(-1.0, np.array([0.0, 1.0]), one, one),
        lambda: earth.relax(float("nan"), np.array([0.0, 1.0]), one, one),
        lambda: earth.relax(1.0, np.array([1.0, 0.0]), one, one),
        lambda: earth.stroke_instants_s(FORM, 1e-5),
        lambda: earth.stroke_instants_s(FORM, float("nan")),
        lambda: earth.stroke_instants_s(FORM, 1e-3, 1),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
