"""Natural frequencies: against beam elements, limits, roots of textbooks, arrays against scalars."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support

G = 9.80665
ENDS = {"clamped": (0, 1, -1, -2), "pinned": (0, -2)}


@pytest.mark.parametrize("ratio", [-30.0, -5.0, 0.0, 1.0, 5.0, 20.0, 21.0, 100.0, 1000.0, 2e4])
def test_clamped_against_beam_elements(ratio: float, beam_elements) -> None:  # type: ignore[no-untyped-def]
    length, ei, m = 1.3, 24.0, 0.9
    tension = ratio * ei / length**2
    beam = beam_elements(np.linspace(0, length, 121), ei, m, tension)
    np.testing.assert_allclose(
        support.clamped_frequency_hz(length, tension, ei, m, np.arange(1, 6)),
        beam.frequencies_hz(ENDS["clamped"])[:5],
        rtol=2e-5,
    )


@pytest.mark.parametrize("ratio", [-9.0, 0.0, 5.0, 100.0, 1000.0])
def test_pinned_against_beam_elements(ratio: float, beam_elements) -> None:  # type: ignore[no-untyped-def]
    beam = beam_elements(np.linspace(0, 0.8, 121), 5.0, 1.4, ratio * 5.0 / 0.64)
    np.testing.assert_allclose(
        support.pinned_frequency_hz(0.8, ratio * 5.0 / 0.64, 5.0, 1.4, np.arange(1, 6)),
        beam.frequencies_hz(ENDS["pinned"])[:5],
        rtol=2e-5,
    )


def test_hanging_end_against_beam_elements(beam_elements) -> None:  # type: ignore[no-untyped-def]
    """A chain: tension m g times what hangs below, next to no stiffness."""
    length, m = 2.0, 1.1
    nodes = np.linspace(0, length, 201)
    below = length - (nodes[1:] + nodes[:-1]) / 2
    beam = beam_elements(nodes, 1e-7, m, m * G * below)
    assert support.hanging_frequency_hz(length) == pytest.approx(beam.frequencies_hz((0,))[0], rel=1e-3)


def test_roots_of_the_textbook() -> None:
    """cos x cosh x = 1 has 4.73004, 7.85320, 10.99561 and 14.13717 (beam tables)."""
    x = np.array([4.73004, 7.85320, 10.99561, 14.13717])
    found = support.clamped_frequency_hz(1.0, 0.0, 1.0, 1.0, [1, 2, 3, 4])
    np.testing.assert_allclose(np.sqrt(2 * np.pi * found), x, atol=6e-6)


def test_bessel_zero_of_the_hanging_chain() -> None:
    special = pytest.importorskip("scipy.special")
    zero = special.jn_zeros(0, 1)[0]
    assert support.hanging_frequency_hz(3.0) == pytest.approx(zero / (4 * math.pi) * math.sqrt(G / 3.0), rel=1e-12)


def test_the_exact_root_solves_the_equation_as_printed() -> None:
    """`2 a b (1 - cosh a cos b) + (a^2 - b^2) sinh a sin b = 0` from the frequency alone."""
    for ratio in (-35.0, -8.0, 0.0, 3.0, 40.0, 300.0):
        for mode in (1, 2, 3):
            omega = 2 * math.pi * float(support.clamped_frequency_hz(1.0, ratio, 1.0, 1.0, mode))
            a = math.sqrt(ratio / 2 + math.hypot(ratio / 2, omega))
            b = omega / a
            left = 2 * a * b * (1 - math.cosh(a) * math.cos(b)) + (a**2 - b**2) * math.sinh(a) * math.sin(b)
            assert abs(left) < 1e-8 * math.cosh(a) * (a + b) ** 2


def test_the_estimate_is_within_two_thousandths() -> None:
    """0.2 % high at T L^2 / EI = 20 and 1.5 % at 100, by own computation."""
    tension = np.linspace(0, 20, 41)
    error = (
        support.clamped_estimate_hz(1.0, tension, 1.0, 1.0) / support.clamped_frequency_hz(1.0, tension, 1.0, 1.0) - 1
    )
    assert np.all(np.abs(error) < 0.002)
    assert error[-1] == pytest.approx(0.002, abs=1e-4)
    beyond = 22.373 / (2 * math.pi) * math.sqrt(1 + 2.46) / support.clamped_frequency_hz(1.0, 100.0, 1.0, 1.0) - 1
    assert beyond == pytest.approx(0.015, abs=5e-4)
    with pytest.raises(ValueError, match="between 0 and 20"):
        support.clamped_estimate_hz(1.0, 20.1, 1.0, 1.0)


def test_a_beam_becomes_a_string() -> None:
    string = support.string_frequency_hz(2.0, 500.0, 0.7, [1, 2])
    np.testing.assert_allclose(support.pinned_frequency_hz(2.0, 500.0, 0.0, 0.7, [1, 2]), string)
    np.testing.assert_array_equal(support.clamped_frequency_hz(2.0, 500.0, 0.0, 0.7, [1, 2]), string)
    for ei in (1e-5, 1e-7, 1e-9, 1e-11, 1e-300):
        small = math.sqrt(ei / 500.0) / 2.0
        np.testing.assert_allclose(
            support.clamped_frequency_hz(2.0, 500.0, ei, 0.7, [1, 2]),
            string * (1 + 2 * small),
            rtol=30 * small**2 + 1e-9,
        )


def test_no_tension_pins_and_a_known_clamped_span() -> None:
    """EI 100 N m2, 1 kg/m, 1.5 m: pinned 6.98 Hz, clamped 15.83 Hz; 50 N on 0.5 kg/m over 1 m: 5.00 Hz (by hand)."""
    assert support.pinned_frequency_hz(1.5, 0.0, 100.0, 1.0) == pytest.approx(6.98, abs=0.005)
    assert support.clamped_frequency_hz(1.5, 0.0, 100.0, 1.0) == pytest.approx(15.83, abs=0.005)
    assert support.string_frequency_hz(1.0, 50.0, 0.5) == pytest.approx(5.0)


def test_at_the_euler_load_the_frequency_is_nought() -> None:
    load = float(support.euler_load_n(1.2, 30.0))
    assert support.clamped_frequency_hz(1.2, -load * (1 - 1e-9), 30.0, 1.0) < 1e-3
    assert support.pinned_frequency_hz(1.2, -load / 4 * (1 - 1e-9), 30.0, 1.0) < 1e-3
    assert support.euler_load_n(1.2, 30.0, clamped=False) == pytest.approx(load / 4)
    for call, share in ((support.clamped_frequency_hz, 1.01), (support.pinned_frequency_hz, 0.26)):
        with pytest.raises(ValueError, match="must bow"):
            call(1.2, -load * share, 30.0, 1.0)


positive = st.floats(1e-3, 1e3)


@settings(deadline=None)
@given(st.floats(0.1, 50), st.floats(0, 1e4), positive, st.floats(0.05, 10), st.integers(1, 6))
def test_string_below_pinned_below_clamped(length: float, tension: float, ei: float, m: float, mode: int) -> None:
    string = support.string_frequency_hz(length, tension, m, mode)
    pinned = support.pinned_frequency_hz(length, tension, ei, m, mode)
    clamped = support.clamped_frequency_hz(length, tension, ei, m, mode)
    assert string <= pinned * (1 + 1e-12)
    assert pinned <= clamped * (1 + 1e-12)
    # clamped ends are no stiffer than a pinned span with half a wave more
    assert clamped <= support.pinned_frequency_hz(length, tension, ei, m, mode + 1) * (1 + 1e-12)


@settings(deadline=None)
@given(st.floats(0.1, 20), st.floats(0, 1e4), positive, st.floats(0.05, 10), st.floats(1.01, 3))
def test_frequency_grows_with_tension_and_stiffness_and_falls_with_length_and_mass(
    length: float, tension: float, ei: float, m: float, by: float
) -> None:
    start = support.clamped_frequency_hz(length, tension, ei, m)
    assert support.clamped_frequency_hz(length, (tension + 1) * by, ei, m) > start
    assert support.clamped_frequency_hz(length, tension, ei * by, m) > start
    assert support.clamped_frequency_hz(length * by, tension, ei, m) < start
    assert support.clamped_frequency_hz(length, tension, ei, m * by) == pytest.approx(start / math.sqrt(by))


def test_arrays_equal_scalars() -> None:
    length, tension, mode = np.array([[[0.5]], [[3.0]]]), np.array([[-4.0], [0.0], [900.0]]), np.array([1, 4])
    for call in (support.clamped_frequency_hz, support.pinned_frequency_hz):
        many = call(length, tension, 30.0, 1.1, mode)
        assert many.shape == (2, 3, 2)
        for i, j, k in np.ndindex(many.shape):
            one = call(float(length[i, 0, 0]), float(tension[j, 0]), 30.0, 1.1, int(mode[k]))
            assert many[i, j, k] == one


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (support.string_frequency_hz, (0.0, 1.0, 1.0)),
        (support.string_frequency_hz, (1.0, -1.0, 1.0)),
        (support.pinned_frequency_hz, (1.0, np.nan, 1.0, 1.0)),
        (support.clamped_frequency_hz, (1.0, 1.0, -1.0, 1.0)),
        (support.clamped_frequency_hz, (1.0, 1.0, np.inf, 1.0)),
        (support.clamped_frequency_hz, (1.0, 1.0, 1.0, 0.0)),
        (support.clamped_frequency_hz, (1.0, 1.0, 1.0, 1.0, 1.5)),
        (support.clamped_frequency_hz, (1.0, -1.0, 0.0, 1.0)),
        (support.clamped_estimate_hz, (1.0, 1.0, 0.0, 1.0)),
        (support.tension_ratio, (1.0, np.nan, 1.0)),
        (support.hanging_frequency_hz, (0.0,)),
        (support.euler_load_n, (1.0, np.nan)),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must"):
        function(*args)
