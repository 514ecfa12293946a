from __future__ import annotations

import numpy as np
import pytest

from upmast import rf


def _chain(joints: list[float], losses: list[float], end: float, phases: np.ndarray) -> np.ndarray:
    """Lossless joints S11 = r, S22 = -r, S21 real, with a free phase of each line: all multiple reflections."""
    g = np.full(phases.shape[1:], end, dtype=complex)
    for r, loss, phase in zip(joints[::-1], losses[::-1], phases, strict=True):
        g = g * 10 ** (-loss / 10) * np.exp(1j * phase)
        g = r + (1 - r**2) * g / (1 + r * g)
    return np.abs(g)


def test_conversions_return() -> None:
    gamma = np.linspace(0.001, 0.999, 50)
    np.testing.assert_allclose(rf.gamma_from_return_loss(rf.return_loss_db(gamma)), gamma, rtol=1e-12)
    np.testing.assert_allclose(rf.gamma_from_vswr(rf.vswr(gamma)), gamma, rtol=1e-12)
    np.testing.assert_allclose(rf.vswr_from_return_loss(rf.return_loss_from_vswr_db([1.1, 2.0])), [1.1, 2.0])


def test_ends_of_the_scale() -> None:
    assert rf.return_loss_db(0.0) == np.inf
    assert rf.return_loss_db(1.0) == 0
    assert rf.vswr(1.0) == np.inf
    assert rf.gamma_from_return_loss(np.inf) == 0
    assert rf.mismatch_loss_db(0.0) == 0
    assert rf.mismatch_loss_db(1.0) == np.inf
    assert rf.gamma_from_vswr(np.inf) == 1


def test_mismatch_uncertainty_encloses_every_phase() -> None:
    """|1 - Gs Gl e^{j phi}|^2 over all phases lies between the limits and reaches them."""
    phase = np.linspace(0, 2 * np.pi, 721)
    change_db = -20 * np.log10(np.abs(1 - 0.2 * 0.3 * np.exp(1j * phase)))
    upper, lower = rf.mismatch_uncertainty_db(0.2, 0.3)
    # The change is 1/|1 - GsGl|: its extremes are the limits with the sign turned.
    assert change_db.max() == pytest.approx(-float(lower), abs=1e-9)
    assert change_db.min() == pytest.approx(-float(upper), abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_interval_is_exact(seed: int) -> None:
    """Random phases never leave the interval, and a phase grid comes to both ends of it."""
    rng = np.random.default_rng(seed)
    joints, losses = rng.uniform(0.01, 0.4, 2).tolist(), rng.uniform(0, 3, 2).tolist()
    end = float(rng.uniform(0.05, 0.6))
    turn = np.linspace(0, 2 * np.pi, 721)
    grid = np.stack(np.meshgrid(turn, turn, indexing="ij"))
    seen = _chain(joints, losses, end, grid)
    least, greatest = rf.reflection_interval(joints, losses, end)
    assert seen.max() == pytest.approx(float(greatest), rel=1e-12)
    assert seen.min() >= float(least) - 1e-12
    assert seen.min() <= float(least) + 2e-3


def test_interval_with_bounds_contains_interval_with_sizes() -> None:
    rng = np.random.default_rng(7)
    joints, losses = [0.05, 0.02, 0.08], [0.4, 1.2, 0.1]
    bound = rf.reflection_interval(joints, losses, 0.2, 0.0, joints_at_most=True)
    phases = rng.uniform(0, 2 * np.pi, (3, 100_000))
    for _ in range(5):
        sizes = (np.array(joints) * rng.uniform(0, 1, 3)).tolist()
        assert _chain(sizes, losses, 0.2 * rng.uniform(), phases).max() <= float(bound.greatest)
    assert bound.least == 0


def test_strong_end_behind_small_joints_keeps_a_least_reflection() -> None:
    """A short behind bounded joints: the least |G| is what all joints together can take away, so VSWRs divide."""
    joints = [0.03, 0.04]
    found = rf.reflection_interval(joints, [0.0, 3.0], 1.0, joints_at_most=True)
    back = 10 ** (-0.3)
    expected = float(rf.vswr(back)) / float(rf.vswr(0.03)) / float(rf.vswr(0.04))
    assert float(rf.vswr(found.least)) == pytest.approx(expected)


def test_vswrs_multiply() -> None:
    worst = rf.worst_return_loss_db([30.0, 25.0, 28.0], [0, 0, 0], 14.0)
    product = np.prod([rf.vswr_from_return_loss(x) for x in (30.0, 25.0, 28.0, 14.0)])
    assert float(rf.vswr_from_return_loss(worst)) == pytest.approx(float(product))


def test_long_line_hides_the_end_and_no_joint_is_transparent() -> None:
    assert float(rf.worst_return_loss_db([30.0], [200.0], 0.0)) == pytest.approx(30.0, abs=1e-6)
    assert float(rf.worst_return_loss_db([np.inf], [3.0], 10.0)) == pytest.approx(16.0)
    assert float(rf.best_return_loss_db([20.0], [0.0], 20.0)) == np.inf


def test_array_equals_scalar() -> None:
    rng = np.random.default_rng(3)
    joints, losses, end = rng.uniform(20, 40, (5, 6, 3)), rng.uniform(0, 3, (5, 1, 3)), rng.uniform(10, 20, (6,))
    whole = rf.worst_return_loss_db(joints, losses, end)
    assert whole.shape == (5, 6)
    one = [
        [rf.worst_return_loss_db(joints[i, j].tolist(), losses[i, 0].tolist(), end[j]) for j in range(6)]
        for i in range(5)
    ]
    np.testing.assert_allclose(whole, one, rtol=1e-12)
    listed = rf.worst_return_loss_db([joints[..., k] for k in range(3)], [losses[..., k] for k in range(3)], end)
    np.testing.assert_array_equal(whole, listed)


def test_two_port_bound_holds_for_random_passive_parts() -> None:
    rng = np.random.default_rng(5)
    for _ in range(200):
        raw = rng.normal(size=(2, 2)) + 1j * rng.normal(size=(2, 2))
        s = 0.95 * raw / np.linalg.svd(raw, compute_uv=False)[0]
        s[1, 0] = s[0, 1] = (s[0, 1] + s[1, 0]) / 2
        s = 0.95 * s / max(np.linalg.svd(s, compute_uv=False)[0], 0.95)
        g = rng.uniform(0, 1) * np.exp(2j * np.pi * rng.uniform(size=50))
        seen = np.abs(rf.input_gamma(s, g)).max()
        bound = rf.two_port_bound(abs(g[0]), abs(s[0, 0]), abs(s[1, 1]), rf.insertion_loss_db(s))
        assert seen <= float(bound) + 1e-12
    assert float(rf.two_port_bound(0.5, 0.0, 0.0, 3.0)) == pytest.approx(0.5 * 10**-0.3)


def test_percentile_matches_drawn_phases() -> None:
    a, b = 0.1, 0.06
    phase = np.random.default_rng(1).uniform(0, 2 * np.pi, 400_000)
    drawn = _chain([a], [0.0], b, phase[None])
    for p in (0.1, 0.5, 0.95):
        assert float(rf.two_joint_percentile_gamma(a, b, p)) == pytest.approx(np.quantile(drawn, p), abs=3e-4)
    assert float(rf.two_joint_percentile_gamma(a, b, 1.0)) == pytest.approx(float(rf.add_worst(a, b)))
    assert float(rf.two_joint_percentile_gamma(a, b, 0.0)) == pytest.approx(float(rf.take_worst(a, b)))


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: rf.gamma_from_return_loss(-1.0),
        lambda: rf.gamma_from_return_loss(np.nan),
        lambda: rf.gamma_from_vswr(0.9),
        lambda: rf.vswr(1.2),
        lambda: rf.worst_return_loss_db([30.0], [0.0, 1.0], 20.0),
        lambda: rf.worst_return_loss_db([30.0], [-1.0], 20.0),
        lambda: rf.worst_return_loss_db(np.array(30.0), [1.0], 20.0),
        lambda: rf.reflection_interval([0.1], [0.0], 0.1, 0.2),
        lambda: rf.two_joint_percentile_gamma(0.1, 0.1, 1.5),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
