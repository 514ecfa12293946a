"""The mode of a step-index fibre: against scipy, ofiber, a published approximation, and limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import j0, j1, kve

from upmast.fibre.mode import SECOND_MODE_V, bessel_j, bessel_k_scaled, fundamental_mode

ofiber = pytest.importorskip("ofiber")  # general-purpose fibre optics library, reference only
FIBRE = (4.0, 1.449373, 1.4440, 1550.0)


def test_bessel_functions_are_those_of_scipy() -> None:
    x = np.concatenate([[0.0], np.geomspace(1e-3, 40.0, 200)])
    np.testing.assert_allclose(bessel_j(0, x), j0(x), atol=3e-15)
    np.testing.assert_allclose(bessel_j(1, x), j1(x), atol=3e-15)
    y = np.geomspace(1e-6, 60.0, 200)
    for order in (0, 1):
        np.testing.assert_allclose(bessel_k_scaled(order, y), kve(order, y), rtol=3e-14)


@given(st.floats(0.7, 11.5))
def test_the_root_solves_the_equation_of_the_mode(v: float) -> None:
    """U J1(U) / J0(U) = W K1(W) / K0(W), here with scipy's functions."""
    n2 = 1.4440
    a = v * 1.55 / (2 * np.pi * np.sqrt(1.449373**2 - n2**2))
    found = fundamental_mode(a, 1.449373, n2, 1550.0)
    u, w = float(found.u), float(found.w)
    assert u * j1(u) * kve(0, w) == pytest.approx(w * kve(1, w) * j0(u), abs=1e-10)
    assert u**2 + w**2 == pytest.approx(v**2, rel=1e-12)
    assert 0 < u < SECOND_MODE_V


@pytest.mark.parametrize("v", [0.9, 1.5, 2.0216, 2.4, 3.7])
def test_the_normalised_index_is_that_of_ofiber(v: float) -> None:
    a = v * 1.55 / (2 * np.pi * np.sqrt(1.449373**2 - 1.4440**2))
    b = float(fundamental_mode(a, 1.449373, 1.4440, 1550.0).b)
    assert b == pytest.approx(float(ofiber.LP_mode_value(v, 0, 1)), rel=1e-9)


def test_the_printed_approximation_of_rudolph_and_neumann() -> None:
    """W = 1.1428 V - 0.996 within 0.2 % for 1.5 < V < 2.5 (Rudolph and Neumann 1976, from memory)."""
    v = np.linspace(1.55, 2.45, 19)
    a = v * 1.55 / (2 * np.pi * np.sqrt(1.449373**2 - 1.4440**2))
    w = fundamental_mode(a, 1.449373, 1.4440, 1550.0).w
    np.testing.assert_allclose(w, 1.1428 * v - 0.996, rtol=2e-3)


def test_a_small_v_hardly_guides() -> None:
    """W goes to 0 with V as (2 / g) exp(-J0(V) / (V J1(V))), ln g Euler's constant: K0(W) = -ln(g W / 2) in the equation of the mode."""
    v = np.array([0.61, 0.7, 0.8])
    found = fundamental_mode(v * 1.55 / (2 * np.pi * np.sqrt(1.449373**2 - 1.4440**2)), 1.449373, 1.4440, 1550.0)
    limit = 2 / np.exp(np.euler_gamma) * np.exp(-j0(v) / (v * j1(v)))
    np.testing.assert_allclose(found.w, limit, rtol=0.02)
    assert (np.diff(np.abs(found.w / limit - 1)) > 0).all()
    assert (np.diff(found.w) > 0).all()


def test_the_values_of_a_standard_fibre() -> None:
    """Own computation, 4 um core: V 2.0216, U 1.5355, W 1.3151."""
    found = fundamental_mode(4.0, 1.4440 / np.sqrt(1 - 2 * 0.0037), 1.4440, 1550.0)
    assert [float(x) for x in (found.v, found.u, found.w)] == pytest.approx([2.0216, 1.5355, 1.3151], abs=6e-5)
    k = 2 * np.pi / 1550e-9
    assert k * 1.4440 < float(found.beta_per_m) < k * 1.449373


def test_more_light_is_in_the_core_the_larger_v_and_arrays_are_scalars() -> None:
    waves = np.array([1260.0, 1310.0, 1550.0, 1625.0])
    found = fundamental_mode(4.0, 1.449373, 1.4440, waves)
    assert (np.diff(found.b) < 0).all()
    for n, wave in enumerate(waves):
        one = fundamental_mode(4.0, 1.449373, 1.4440, wave)
        for name in found._fields:
            assert float(getattr(one, name)) == pytest.approx(float(getattr(found, name)[n]), rel=1e-14)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((4.0, 1.44, 1.45, 1550.0), "core's index above"),
        ((0.0, 1.45, 1.44, 1550.0), "must be positive"),
        ((0.3, 1.45, 1.449, 1550.0), "V must lie"),
        ((60.0, 1.45, 1.44, 1550.0), "V must lie"),
    ],
)
def test_what_is_no_fibre_is_refused(arguments: tuple[float, float, float, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        fundamental_mode(*arguments)


def test_arguments_of_the_bessel_functions_are_bounded() -> None:
    with pytest.raises(ValueError, match="at most 40"):
        bessel_j(0, 41.0)
    with pytest.raises(ValueError, match="order is 0 or 1"):
        bessel_k_scaled(2, 1.0)
