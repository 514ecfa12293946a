"""Continuous beam: against a direct stiffness model, and statics."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.support import reactions_n, support_moments_nm


def stiffness_reactions(span: np.ndarray, load: np.ndarray, before: float, after: float) -> np.ndarray:
    """Euler-Bernoulli elements, one a span, free rotations, EI = 1; overhangs as forces and moments on the end supports."""
    n = span.size
    k, f = np.zeros((2 * n + 2, 2 * n + 2)), np.zeros(2 * n + 2)
    for i, (length, w) in enumerate(zip(span, load, strict=True)):
        at = slice(2 * i, 2 * i + 4)
        k[at, at] += (
            np.array(
                [
                    [12, 6 * length, -12, 6 * length],
                    [6 * length, 4 * length**2, -6 * length, 2 * length**2],
                    [-12, -6 * length, 12, -6 * length],
                    [6 * length, 2 * length**2, -6 * length, 4 * length**2],
                ]
            )
            / length**3
        )
        f[at] += w * np.array([length / 2, length**2 / 12, length / 2, -(length**2) / 12])
    f[0] += load[0] * before
    f[1] -= load[0] * before**2 / 2
    f[-2] += load[-1] * after
    f[-1] += load[-1] * after**2 / 2
    turn = np.zeros(2 * n + 2)
    turn[1::2] = np.linalg.solve(k[1::2, 1::2], f[1::2])
    return (f - k @ turn)[::2]


@pytest.mark.parametrize("seed", range(8))
def test_against_direct_stiffness(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 12))
    span, load = rng.uniform(0.3, 2.0, n), rng.uniform(10.0, 100.0, n)
    before, after = rng.uniform(0.0, 0.5, 2)
    found = reactions_n(span, load, before, after)
    np.testing.assert_allclose(found, stiffness_reactions(span, load, before, after), rtol=1e-9)


def test_statics() -> None:
    """The sum is the whole load, and the moment about the first support vanishes."""
    span, before, after = np.array([0.8, 1.2, 1.0, 0.6]), 0.3, 0.4
    r = reactions_n(span, 50.0, before, after)
    at = np.concatenate([[0.0], np.cumsum(span)])
    assert r.sum() == pytest.approx(50.0 * (span.sum() + before + after))
    assert r @ at == pytest.approx(50.0 * ((span.sum() + after) ** 2 - before**2) / 2)


def test_long_beam_carries_its_spacing_inside() -> None:
    r = reactions_n(np.ones(60), 100.0)
    assert r[30] == pytest.approx(100.0, rel=1e-6)
    np.testing.assert_allclose(r, r[::-1])


def test_the_clamp_next_to_a_free_end_carries_more() -> None:
    """Half-infinite beam: the three-moment recurrence has `M_i = -(w L^2 / 12) (1 - r^i)`, `r = sqrt(3) - 2`."""
    r = np.sqrt(3) - 2
    moment = -(1 - r ** np.arange(3)) / 12
    found = reactions_n(np.ones(60), 1.0)
    assert found[0] == pytest.approx(0.5 + moment[1])
    assert found[1] == pytest.approx(1.0 + moment[0] - 2 * moment[1] + moment[2])
    assert 1.10 < found[1] < 1.15  # the end factor of 1.15 is on the safe side


def test_two_spans_textbook() -> None:
    """0.375, 1.25 and 0.375 w L; middle moment w L^2 / 8."""
    np.testing.assert_allclose(reactions_n([2.0, 2.0], 10.0), [7.5, 25.0, 7.5])
    np.testing.assert_allclose(support_moments_nm([2.0, 2.0], 10.0), [0.0, -5.0, 0.0])


def test_arrays_equal_scalars() -> None:
    rng = np.random.default_rng(5)
    span, load = rng.uniform(0.5, 1.5, (4, 7)), rng.uniform(1, 9, (4, 1))
    many = reactions_n(span, load, [0.0, 0.1, 0.2, 0.3])
    for i in range(4):
        np.testing.assert_allclose(many[i], reactions_n(span[i], float(load[i, 0]), 0.1 * i))


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="span"):
        reactions_n([1.0, 0.0], 1.0)
    with pytest.raises(ValueError, match="overhang"):
        reactions_n([1.0], 1.0, -1.0)
