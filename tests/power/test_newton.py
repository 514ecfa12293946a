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


def limited_sweep(
    voc: np.ndarray, z: np.ndarray, power: np.ndarray, limit: np.ndarray, count: int = 3000
) -> tuple[np.ndarray, np.ndarray]:
    """The isotone fixed point from Voc with min(P / V, I_lim): ends in the greatest solution, or a voltage falls to 0."""
    v = voc.copy()
    for _ in range(count):
        current = np.minimum(np.divide(power, v, out=np.full_like(v, np.inf), where=v > 0), limit)
        current = np.where(power > 0, np.where(np.isinf(current), 1e9, current), 0.0)
        new = np.maximum(voc - (z @ current[:, :, None])[:, :, 0], -1e6)
        if np.abs(new - v).max() < 1e-13:
            break
        v = new
    return v, np.all((v > 0) | (power == 0), axis=1)


@pytest.mark.parametrize("seed", range(6))
def test_current_limits_against_the_sweep(seed: int) -> None:
    rng = np.random.default_rng(seed)
    voc, z, power = random_ports(seed, 200)
    factor = collapse(voc, z, power, 1e-9)
    power = power * (factor * rng.choice([0.5, 0.9, 0.97, 0.999, 1.001, 1.03, 1.5], factor.size))[:, None]
    limit = power / voc * rng.uniform(0.9, 2.5, power.shape)
    limit[rng.random(power.shape) < 0.2 * (seed % 3)] = np.inf
    limit[rng.random(power.shape) < 0.02] = 0.0
    power[rng.random(power.shape) < 0.1] = 0.0
    found = newton(voc, z, power, limit=limit)
    v, alive = limited_sweep(voc, z, power, limit)
    np.testing.assert_array_equal(found.exists, alive)
    assert found.certified.all()
    np.testing.assert_allclose(found.v[alive], v[alive], rtol=1e-9)
    assert np.any((v * limit < power)[alive])
    assert np.any((v * limit > power)[alive])
    assert not alive.all() or seed % 3 == 0


def test_a_limit_holds_the_greatest_of_three_solutions() -> None:
    """48 V behind 1 ohm, 500 W, at most 38 A: 33.4 V and 14.6 V at 500 W, and 10 V at the limit. The greatest is meant."""
    voc, z, power, limit = np.array([[48.0]]), np.array([[[1.0]]]), np.array([[500.0]]), np.array([[38.0]])
    found = newton(voc, z, power, limit=limit)
    assert found.v[0, 0] == pytest.approx(24 + np.sqrt(24**2 - 500), rel=1e-12)
    # 600 W is more than the 576 W that can be had: only the limited solution is left
    found = newton(voc, z, np.array([[600.0]]), limit=limit)
    assert found.exists[0]
    assert found.certified[0]
    assert found.v[0, 0] == pytest.approx(10.0, rel=1e-12)
    assert not newton(voc, z, np.array([[600.0]]), limit=np.array([[48.0]])).exists[0]


@pytest.mark.parametrize("seed", range(3))
def test_collapse_with_current_limits(seed: int) -> None:
    rng = np.random.default_rng(seed)
    voc, z, power = random_ports(seed, 100)
    power = power * 0.8 * collapse(voc, z, power, 1e-6)[:, None]
    limit = power / voc * rng.uniform(1.0, 9.0, power.shape)
    limit[rng.random(power.shape) < 0.15 * seed] = np.inf
    factor = collapse(voc, z, power, 1e-9, limit=limit)
    floor = voc - (z @ np.where(np.isinf(limit), 1e9, limit)[:, :, None])[:, :, 0]
    np.testing.assert_array_equal(np.isinf(factor), np.all(floor > 0, axis=1))
    some = np.isfinite(factor)
    assert 0.3 < some.mean() < 1
    for nudge, exists in ((1 - 1e-6, True), (1 + 1e-6, False)):
        _, alive = limited_sweep(voc[some], z[some], (power * nudge)[some] * factor[some, None], limit[some], 20000)
        assert (alive == exists).all()
    endless = ~some
    assert newton(voc[endless], z[endless], power[endless] * 1e9, limit=limit[endless]).exists.all()


def test_loads_off_don_t_hinder_and_held_ports_must_stay_up() -> None:
    """A port without load may lie below 0; one that draws a constant current may not."""
    voc, z, power = np.array([[48.0, -3.0]]), np.array([[[0.2, 0.0], [0.0, 0.2]]]), np.array([[500.0, 0.0]])
    fed = np.array([[True, True]])
    free = newton(voc, z, power, fed=fed)
    assert free.exists[0]
    assert free.v[0, 1] == pytest.approx(-3.0)
    held = newton(voc, z, power, fed=fed, held=np.array([[False, True]]))
    assert not held.exists[0]
    assert held.certified[0]
    assert collapse(voc, z, power, 1e-6, fed=fed, held=np.array([[False, True]]))[0] == 0.0


def mixed_signs(seed: int, count: int = 80, ports: int = 4) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Positive definite matrices with negative entries, as where loads stand in series with each other."""
    rng = np.random.default_rng(seed)
    root = rng.normal(0, 0.15, (count, ports, ports))
    z = root @ np.swapaxes(root, -1, -2) + 0.02 * np.eye(ports)
    mixed = z.min(axis=(1, 2)) < 0
    return rng.uniform(20, 50, (count, ports))[mixed], z[mixed], rng.uniform(100, 1000, (count, ports))[mixed]


@pytest.mark.parametrize("seed", range(3))
def test_mixed_signs_have_one_stable_solution_and_it_is_found(seed: int) -> None:
    """Newton's method from many random starts: each root with J of positive eigenvalues is the one that was found."""
    rng = np.random.default_rng(seed)
    voc, z, power = mixed_signs(seed)
    found = newton(voc, z, power)
    assert 0.2 < found.exists.mean() < 1
    # found means stable, hence proved; what is not found is not refuted
    np.testing.assert_array_equal(found.certified, found.exists)
    eye, seen, roots = np.eye(voc.shape[1]), 0, 0
    for _ in range(60):
        v = voc * rng.uniform(0.05, 1.6, voc.shape)
        with np.errstate(all="ignore"):
            for _ in range(60):
                f = v - voc + (z @ (power / v)[:, :, None])[:, :, 0]
                v = v - np.linalg.solve(eye - z * (power / v**2)[:, None, :], f[..., None])[..., 0]
        root = np.all(np.isfinite(v) & (v > 0), axis=1) & (np.abs(f).max(axis=1) < 1e-9)
        v = np.where(root[:, None], v, 1.0)
        values = np.linalg.eigvals(eye - z * (power / v**2)[:, None, :]).real.min(axis=1)
        stable = root & (values > 0)
        roots, seen = roots + int(root.sum()), seen + int(stable.sum())
        assert found.exists[stable].all()
        np.testing.assert_allclose(v[stable], found.v[stable], rtol=1e-7)
    assert roots > seen > 100


def test_mixed_signs_with_a_limit_are_not_certified() -> None:
    voc, z, power = mixed_signs(1)
    found = newton(voc, z, power, limit=np.full_like(power, 15.0))
    assert found.exists.any()
    assert not found.certified.any()
    v = found.v[found.exists]
    current = np.minimum(power[found.exists] / v, 15.0)
    np.testing.assert_allclose(v, voc[found.exists] - (z[found.exists] @ current[..., None])[..., 0], rtol=1e-9)
