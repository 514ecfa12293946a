"""Clamp forces: against beam elements, statics, and the rule of the share; arrays against scalars."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support

II = (0.05, 2.0)


def nodes(edges: np.ndarray, parts: int = 8) -> np.ndarray:
    """Each stretch cut into parts, the ends of stretches kept."""
    cut = [np.linspace(a, b, parts, endpoint=False) for a, b in itertools.pairwise(edges) if b > a]
    return np.append(np.concatenate(cut), edges[-1])


@pytest.mark.parametrize("seed", range(6))
def test_even_loads_against_beam_elements(seed: int, beam_elements) -> None:  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(seed)
    gaps = rng.uniform(0.3, 1.6, int(rng.integers(3, 12)))
    edges = 3.0 + np.concatenate([[0.0], np.cumsum(gaps)])
    load = rng.uniform(10, 90, gaps.size)
    beam = beam_elements(nodes(edges), 20.0)
    wanted = beam.reactions_n(edges[1:-1], lambda z: load[min(np.searchsorted(edges, z) - 1, gaps.size - 1)])
    found = support.clamp_forces(edges[1:-1], edges[0], edges[-1], load)
    np.testing.assert_allclose(found.force_n, wanted, rtol=1e-7)


def test_wind_against_beam_elements(beam_elements) -> None:  # type: ignore[no-untyped-def]
    """The load bends within each span there; a linear one a span is good to 0.2 % of the largest."""
    at = np.array([0.4, 1.5, 2.4, 3.5, 4.4, 5.6, 6.5, 7.4])
    edges = np.concatenate([[0.0], at, [8.0]])

    def load(z: float) -> float:
        return float(support.line_force_n_per_m(support.wind_profile(z, 26.0, *II).qp_pa, 28.0))

    wanted = beam_elements(nodes(edges, 12), 20.0).reactions_n(at, load)
    found = support.wind_clamp_forces(at, 0.0, 8.0, 28.0, 26.0, *II)
    np.testing.assert_allclose(found.force_n, wanted, atol=0.002 * wanted.max())


@pytest.mark.parametrize("seed", range(4))
def test_linear_loads_against_beam_elements(seed: int, beam_elements) -> None:  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(seed)
    gaps = rng.uniform(0.3, 1.6, int(rng.integers(3, 9)))
    edges = 1.0 + np.concatenate([[0.0], np.cumsum(gaps)])
    at_edge = rng.uniform(10, 90, edges.size)
    wanted = beam_elements(nodes(edges), 20.0).reactions_n(edges[1:-1], lambda z: np.interp(z, edges, at_edge))
    mean, rise = (at_edge[1:] + at_edge[:-1]) / 2, np.diff(at_edge)
    found = support.clamp_forces(edges[1:-1], edges[0], edges[-1], mean, rise)
    np.testing.assert_allclose(found.force_n, wanted, rtol=1e-7)


def test_even_loads_are_those_of_the_beam() -> None:
    at, load = np.array([0.0, 0.7, 2.0, 3.1]), np.array([20.0, 20.0, 30.0, 40.0, 40.0])
    found = support.clamp_forces(at, -0.4, 3.3, load)
    np.testing.assert_allclose(found.force_n, support.reactions_n(np.diff(at), load[1:-1], 0.4, 0.2))


def test_equal_spans_by_the_tables() -> None:
    """Beam tables: 1.25 w s in the middle of two spans, 1.1 of three, 1.143 of four, 1.132 of five."""
    np.testing.assert_allclose([support.end_factor(n) for n in (2, 3, 4, 5)], [1.25, 1.1, 1.143, 1.132], atol=5e-4)


def test_the_share_is_low_next_to_a_free_end() -> None:
    """10 to 15 % for three spans and more without a free end, 25 % for two: the usual factor of 1.15 is then too small."""
    for spans in range(3, 40):
        force = support.clamp_forces(np.arange(spans + 1.0), 0.0, spans, 1.0)
        assert 1.099 < force.ratio[1] < 1.151
        assert force.ratio.max() == force.ratio[1]
    assert support.end_factor(2) > support.END_FACTOR > support.end_factor(3)


def test_free_ends_up_to_half_a_spacing_stay_within_the_usual_factor() -> None:
    free = np.linspace(0, 0.5, 51)
    for spans in range(3, 30):
        assert np.all(support.end_factor(spans, free) <= support.END_FACTOR)


@settings(deadline=None)
@given(st.lists(st.floats(0.2, 2), min_size=1, max_size=10), st.floats(0, 1), st.floats(0, 1), st.floats(10, 50))
def test_statics_in_wind(gaps: list[float], below: float, above: float, basic: float) -> None:
    at = 3.0 + np.concatenate([[0.0], np.cumsum(gaps)])
    ends = (at[0] - below, at[-1] + above)
    found = support.wind_clamp_forces(at, *ends, 28.0, basic, *II)
    whole = support.exact_line_wind(*ends, 28.0, basic, *II)
    assert found.force_n.sum() == pytest.approx(float(whole.force_n), rel=2e-4)
    assert found.share_n.sum() == pytest.approx(float(found.force_n.sum()))
    assert (found.force_n * at).sum() == pytest.approx(float(whole.moment_nm), rel=2e-4)


@settings(deadline=None)
@given(st.floats(10, 50), st.floats(8, 60), st.floats(1.01, 2))
def test_forces_grow_with_speed_and_diameter(basic: float, d: float, by: float) -> None:
    at = np.array([5.0, 6.0, 7.1, 8.0])
    start = support.wind_clamp_forces(at, 4.8, 8.3, d, basic, *II).force_n
    np.testing.assert_allclose(support.wind_clamp_forces(at, 4.8, 8.3, d, basic * by, *II).force_n, start * by**2)
    np.testing.assert_allclose(support.wind_clamp_forces(at, 4.8, 8.3, d * by, basic, *II).force_n, start * by)


def test_the_worst_clamp_is_named() -> None:
    found = support.clamp_forces([0.0, 1.0, 3.0, 3.5], 0.0, 3.5, 10.0)
    assert found.worst == 2
    assert found.force_n[3] < 0  # a short end span lifts its clamp off
    assert support.clamp_forces([0.0, 1.0], 0.0, 1.0, 0.0).ratio == pytest.approx(1.0)


def test_arrays_equal_scalars() -> None:
    at = np.array([[2.0, 3.0, 4.5], [10.0, 11.2, 12.0]])
    bottom, top, d = np.array([1.7, 9.6]), np.array([5.0, 12.1]), np.array([20.0, 40.0])
    many = support.wind_clamp_forces(at, bottom, top, d, 26.0, *II)
    for i in range(2):
        one = support.wind_clamp_forces(at[i], bottom[i], top[i], d[i], 26.0, *II)
        np.testing.assert_allclose(many.force_n[i], one.force_n, rtol=1e-13)
        np.testing.assert_allclose(many.share_n[i], one.share_n, rtol=1e-13)
        assert many.worst[i] == one.worst
    speeds = support.wind_clamp_forces(at[0], 1.7, 5.0, 20.0, [26.0, 13.0], *II)
    np.testing.assert_allclose(speeds.force_n[0], 4 * speeds.force_n[1])


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (support.clamp_forces, ([1.0], 0.0, 2.0, 1.0)),
        (support.clamp_forces, ([1.0, 1.0], 0.0, 2.0, 1.0)),
        (support.clamp_forces, ([1.0, 2.0], 1.5, 2.0, 1.0)),
        (support.clamp_forces, ([1.0, 2.0], 0.0, np.nan, 1.0)),
        (support.clamp_forces, ([1.0, 2.0], 0.0, 2.0, np.nan)),
        (support.wind_clamp_forces, ([2.0, 1.0], 0.0, 3.0, 28.0, 26.0, 0.05, 2.0)),
        (support.end_factor, (0,)),
        (support.end_factor, (2, -0.1)),
        (support.clamp_forces, ([1.0, 2.0], 0.0, 2.0, [1.0, 1.0])),
        (support.wind_clamp_forces, ([1.0, 2.0], -0.1, 3.0, 28.0, 26.0, 0.05, 2.0)),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must"):
        function(*args)
