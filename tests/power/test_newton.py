"""The solver alone, on dense random Thevenin matrices: found whenever there is a solution, refused whenever there is none."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.power.newton import collapse, newton


def random_ports(seed: int, count: int = 60, ports: int = 5) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Positive definite, not negative, with random coupling: as seen from loads behind shared and own wires."""
    rng = np.random.default_rng(seed)
    shared = rng.uniform(0, 0.1, (count, ports, ports))
    z = shared @ np.swapaxes(shared, -1, -2) + np.eye(ports) * rng.uniform(0.02, 0.4, (count, ports, 1))
    return np.full((count, ports), 48.0) * rng.uniform(0.85, 1.0, (count, 1)), z, rng.uniform(10, 1000, (count, ports))


def sweep(voc: np.ndarray, z: np.ndarray, power: np.ndarray, count: int = 4000) -> tuple[np.ndarray, np.ndarray]:
    """Isotone fixed point from above: ends in the greatest solution, or a voltage falls through 0."""
    v, alive = voc.copy(), np.ones(voc.shape[0], bool)
    for _ in range(count):
        new = voc - (z @ (power / v)[:, :, None])[:, :, 0]
        alive &= np.all(new > 0, axis=1)
        v = np.where(alive[:, None], new, v)
    return v, alive


@pytest.mark.parametrize("seed", range(4))
def test_against_the_sweep(seed: int) -> None:
    voc, z, power = random_ports(seed)
    factor = collapse(voc, z, power, 1e-9)
    share = np.random.default_rng(seed).choice([0.2, 0.7, 0.97, 1.001, 1.03, 1.2], voc.shape[0])
    power = power * (share * factor)[:, None]
    found = newton(voc, z, power)
    v, alive = sweep(voc, z, power)
    np.testing.assert_array_equal(found.exists, alive)
    np.testing.assert_array_equal(found.exists, share < 1)
    assert found.certified.all()
    np.testing.assert_allclose(found.v[alive], v[alive], rtol=1e-9)
    assert np.nanmax(found.residual) < 1e-10


def test_on_the_fold_itself() -> None:
    """Within 1e-9 of collapse: an answer either way, within the steps, never an exception."""
    voc, z, power = random_ports(9)
    factor = collapse(voc, z, power, 1e-12)
    for nudge in (1 - 1e-9, 1.0, 1 + 1e-9):
        found = newton(voc, z, power * (factor * nudge)[:, None])
        assert found.iterations < 80
        assert found.exists.all() if nudge < 1 else not (found.exists.any() and nudge > 1)


def test_a_start_above_the_solution_gives_the_same() -> None:
    voc, z, power = random_ports(2)
    power = power * 0.9 * collapse(voc, z, power, 1e-6)[:, None]
    less = newton(voc, z, power * 0.8)
    np.testing.assert_allclose(newton(voc, z, power, start=less.v).v, newton(voc, z, power).v, rtol=1e-10)


def test_the_low_root_is_refused_even_as_a_start() -> None:
    """48 V behind 1 ohm, 432 W: roots 36 V and 12 V. At 12 V the residual is 0, but J y = 1 has y < 0."""
    voc, z, power = np.array([[48.0]]), np.array([[[1.0]]]), np.array([[432.0]])
    low = newton(voc, z, power, start=np.array([[12.0]]))
    assert not low.exists[0]
    assert not low.certified[0]
    high = newton(voc, z, power)
    assert high.exists[0]
    assert high.certified[0]
    assert high.v[0, 0] == pytest.approx(36.0, rel=1e-12)


def test_collapse_of_one_port_is_the_largest_power() -> None:
    voc, z, power = np.array([[48.0]]), np.array([[[0.25]]]), np.array([[600.0]])
    assert collapse(voc, z, power, 1e-9)[0] == pytest.approx(48**2 / (4 * 0.25 * 600), rel=1e-8)


def test_collapse_of_equal_ports_on_a_shared_wire() -> None:
    """m equal loads behind one resistance are one load of m times the power."""
    m, r = 4, 0.1
    factor = collapse(np.full((1, m), 48.0), np.full((1, m, m), r), np.full((1, m), 500.0), 1e-9)
    assert factor[0] == pytest.approx(48**2 / (4 * r * m * 500), rel=1e-8)
