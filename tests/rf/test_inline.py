"""Two-ports by bounds and by measurement: against exact cascades of random two-ports, and what thinning may not do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast.rf.cascade import input_gamma, join_s
from upmast.rf.inline import inline_rows, reflection_at, reflection_rows, row_bounds
from upmast.rf.reflection import two_port_bound

RNG = np.random.default_rng(5)


def passive(rng: np.random.Generator, count: int) -> np.ndarray:
    """Random passive two-ports: no singular value above 1."""
    s = rng.normal(size=(count, 2, 2)) + 1j * rng.normal(size=(count, 2, 2))
    s[:, 0, 1] = s[:, 1, 0]  # same both ways
    return np.asarray(s / np.linalg.norm(s, ord=2, axis=(1, 2))[:, None, None] * rng.uniform(0.2, 1.0, (count, 1, 1)))


def test_no_termination_shows_more_than_the_bound() -> None:
    """Exact |G| of 4000 random passive two-ports with random ends, by their own S-parameters, against the bound of their rows."""
    s = passive(RNG, 4000)
    end = RNG.uniform(0, 1, 4000) * np.exp(2j * np.pi * RNG.uniform(0, 1, 4000))
    seen = np.abs(input_gamma(s, end))
    through = -20 * np.log10(np.abs(s[:, 1, 0]))
    bound = two_port_bound(np.abs(end), np.abs(s[:, 0, 0]), np.abs(s[:, 1, 1]), np.maximum(through, 0.0))
    assert np.all(seen <= bound + 1e-12)
    # and the bound is reached by some phases: rotate both ends until all add
    near, far, size = 0.2, 0.1, 0.9
    one = np.array([[near, size], [size, far]], complex)
    phases = np.exp(2j * np.pi * np.linspace(0, 1, 2001))
    reached = np.abs(input_gamma(np.broadcast_to(one, (2001, 2, 2)), 0.5 * phases)).max()
    top = float(two_port_bound(0.5, near, far, -20 * np.log10(size)))
    assert reached == pytest.approx(top, rel=1e-6)


def test_a_cascade_of_two_is_no_worse_than_bound_after_bound() -> None:
    a, b = passive(RNG, 500), passive(RNG, 500)
    end = RNG.uniform(0, 0.9, 500) * np.exp(2j * np.pi * RNG.uniform(0, 1, 500))
    seen = np.abs(input_gamma(join_s(a, b), end))

    def bound(behind: np.ndarray, s: np.ndarray) -> np.ndarray:
        loss = np.maximum(-20 * np.log10(np.abs(s[:, 1, 0])), 0)
        return two_port_bound(behind, np.abs(s[:, 0, 0]), np.abs(s[:, 1, 1]), loss)

    assert np.all(seen <= bound(bound(np.abs(end), b), a) + 1e-9)


def test_rows_at_and_between_their_frequencies() -> None:
    rows = [[1e9, 20.0, 22.0, 0.1, 0.2], [2e9, 18.0, 26.0, 0.3, 0.4]]
    on = row_bounds(1e9, rows)
    assert (float(on.near), float(on.far)) == (pytest.approx(0.1), pytest.approx(10**-1.1))
    between = row_bounds(1.5e9, rows)
    assert float(between.near) == pytest.approx(10**-0.9)  # the worse row
    assert float(between.far) == pytest.approx(10**-1.1)
    assert (float(between.least_db), float(between.most_db)) == (0.1, 0.4)
    assert all(np.isnan(x) for x in row_bounds(0.9e9, rows))
    assert np.isnan(reflection_at(2.1e9, [[1e9, 20.0], [2e9, 14.0]]))
    many = row_bounds([1e9, 1.5e9, 2e9], rows)
    for n, f in enumerate((1e9, 1.5e9, 2e9)):
        assert [float(x[n]) for x in many] == [float(x) for x in row_bounds(f, rows)]


@settings(max_examples=60, deadline=None)
@given(count=st.integers(2, 700), most=st.integers(2, 60), seed=st.integers(0, 9999))
def test_thinning_never_makes_a_two_port_better(count: int, most: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    f = np.cumsum(rng.uniform(1e5, 1e6, count)) + 7e8
    s = passive(rng, count)
    rows = inline_rows(f, s, most)
    assert rows.shape[0] <= max(most, 2)
    assert rows[0, 0] == f[0]
    assert rows[-1, 0] == f[-1]
    found = row_bounds(f, rows)
    tiny = 1e-9
    assert np.all(np.abs(s[:, 0, 0]) <= found.near + tiny)
    assert np.all(np.abs(s[:, 1, 1]) <= found.far + tiny)
    for k, n in ((0, 1), (1, 0)):
        loss = np.maximum(-20 * np.log10(np.abs(s[:, k, n])), 0)
        assert np.all(found.least_db <= loss + tiny)
        assert np.all(np.minimum(loss, 200.0) <= found.most_db + tiny)
    one = reflection_rows(f, s[:, 0, 0], most)
    assert np.all(np.abs(s[:, 0, 0]) <= reflection_at(f, one) + tiny)


@pytest.mark.parametrize(
    "rows",
    [
        [[1e9, 20, 20, 0.1]], [[2e9, 20, 20, 0, 0], [1e9, 20, 20, 0, 0]], [[1e9, -20, 20, 0, 0]], [[float("nan"), 20, 20, 0, 0]], [], [[0.0, 1, 1, 0, 0]],
    ],
)  # fmt: skip
def test_rows_that_are_none(rows: list[list[float]]) -> None:
    with pytest.raises(ValueError, match="rows"):
        row_bounds(1e9, rows)


def test_s_parameters_that_are_none() -> None:
    with pytest.raises(ValueError, match="S-parameters"):
        inline_rows([2e9, 1e9], np.zeros((2, 2, 2)))
    with pytest.raises(ValueError, match="reflection for each"):
        reflection_rows([1e9, 2e9], [0.1])
