"""The certified length: no point of fine random searches beats the bound, two joints agree with the exact solution."""

from __future__ import annotations

import math

import numpy as np
import pytest

from upmast.rf.certify import Joints, certified_length, squared_sum, worst_squared
from upmast.rf.length import Bands, best_length

EDGES = ((703e6, 748e6), (880e6, 915e6), (1710e6, 1785e6), (1920e6, 1980e6), (2500e6, 2570e6), (3400e6, 3500e6))


def random_joints(rng: np.random.Generator) -> Joints:
    n, b = int(rng.integers(2, 5)), int(rng.integers(1, 4))
    bands = [EDGES[k] for k in rng.choice(len(EDGES), b, replace=False)]
    share = np.sort(rng.integers(0, 2, n)).astype(float)
    share[0], share[-1] = 0.0, 1.0
    return Joints(
        rng.uniform(0, 0.6, n) * (rng.random(n) < 0.5), share, 10 ** (-rng.uniform(22, 36, n) / 20), rng.choice([0.0, math.pi, 0.4], n),
        [x for x, _ in bands], [x for _, x in bands], float(rng.uniform(0.7, 0.88)), float(rng.choice([0.0, 0.002, 0.005])),
        float(rng.choice([0.0, 0.002, 0.01])),
    )  # fmt: skip


def sampled_worst(joints: Joints, lengths: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Worst of g by random frequencies and cut errors, edges included: never above the true worst."""
    worst = np.zeros(lengths.size)
    for b in range(joints.low_hz.size):
        low, high = joints.widened(b)
        f = np.concatenate([[low, high], rng.uniform(low, high, 24)])
        e = np.concatenate([[-1, 1, 0], rng.uniform(-1, 1, 4)]) * joints.tolerance_m
        g = squared_sum(joints, lengths[:, None, None] + e[:, None], f, b)
        worst = np.maximum(worst, g.max(axis=(1, 2)))
    return worst


def test_no_point_of_a_random_search_beats_the_bound_on_500_problems() -> None:
    rng = np.random.default_rng(20261127)
    closed = 0
    for _ in range(500):
        joints = random_joints(rng)
        low = float(rng.uniform(0.3, 1.5))
        high = low + float(rng.uniform(0.05, 0.6))
        found = certified_length(joints, low, high)
        closed += found.closed
        assert low <= found.length_m <= high
        assert found.least_gamma <= found.worst_gamma
        # the value at the chosen length is an upper bound of what sampling finds there
        here = sampled_worst(joints, np.array([found.length_m]), rng)[0]
        assert math.sqrt(here) <= found.worst_gamma * (1 + 1e-9)
        # a sampled worst is never above the true one: the least of all lengths' true worsts is not below the bound
        some = rng.uniform(low, high, 60)
        fine = worst_squared(joints, some, 0.12)[1]
        assert math.sqrt(fine.min()) >= found.least_gamma * (1 - 1e-9)
        if found.closed:
            assert 20 * math.log10(found.worst_gamma / found.least_gamma) == pytest.approx(found.gap_db, abs=1e-9)
            assert found.gap_db <= 0.05 + 1e-9
    assert closed >= 450  # the others say that they are not


@pytest.mark.parametrize("edges", [((925e6, 960e6),), ((880e6, 915e6), (1920e6, 1980e6))])
@pytest.mark.parametrize(("dl", "dv"), [(0.0, 0.0), (0.004, 0.004)])
def test_two_like_joints_agree_with_the_exact_solution(
    edges: tuple[tuple[float, float], ...], dl: float, dv: float
) -> None:
    low, high = zip(*edges, strict=True)
    r = 0.03
    joints = Joints([0, 0], [0, 1], [r, r], [0, 0], low, high, 0.82, dl, dv)
    found = certified_length(joints, 0.4, 1.2)
    exact = best_length(Bands(low, high, 0.82, dl, dv), 0.4, 1.2)
    worst = 2 * r * math.cos(math.pi * exact.distance_turns)
    assert found.closed
    assert found.least_gamma <= worst * (1 + 1e-9)
    assert found.worst_gamma <= worst * 10 ** (0.05 / 20) * (1 + 1e-9)


def test_where_no_gain_exists_the_bound_says_so() -> None:
    joints = Joints([0, 0], [0, 1], [0.03, 0.03], [0, 0], [1710e6], [1880e6], 0.82, 0.004, 0.004)
    found = certified_length(joints, 2.0, 6.0)
    assert found.closed
    assert found.least_gamma >= 0.06 * 10 ** (-0.05 / 20) * (1 - 1e-9)


def test_a_search_that_is_cut_short_says_how_far_it_came() -> None:
    joints = Joints(
        [0, 0, 0.4], [0, 1, 1], [0.03, 0.03, 0.03], [0, 0, 1], [880e6, 1920e6], [915e6, 1980e6], 0.82, 0.005, 0.01
    )
    found = certified_length(joints, 0.5, 4.0, most_points=20_000)
    assert not found.closed
    assert found.gap_db > 0.05
    assert found.least_gamma <= certified_length(joints, 0.5, 4.0).worst_gamma


def test_samples_bound_the_worst_from_both_sides() -> None:
    rng = np.random.default_rng(7)
    for _ in range(20):
        joints = random_joints(rng)
        lengths = rng.uniform(0.5, 2.0, 5)
        coarse_low, coarse_high = worst_squared(joints, lengths, 0.5)
        fine_low, fine_high = worst_squared(joints, lengths, 0.02)
        assert np.all(coarse_low <= fine_high + 1e-15)
        assert np.all(fine_low <= coarse_high + 1e-15)
        assert np.all(fine_high - fine_low <= coarse_high - coarse_low + 1e-15)


def test_arrays_equal_scalars() -> None:
    joints = Joints([0, 0, 0.4], [0, 1, 1], [0.03, 0.02, 0.03], [0, 0, 1], [880e6], [915e6], 0.82)
    lengths, f = np.array([0.5, 0.9]), np.array([[880e6], [900e6]])
    all_ = squared_sum(joints, lengths, f)
    for index in np.ndindex(2, 2):
        assert all_[index] == squared_sum(joints, lengths[index[1]], f[index[0], 0])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"gamma": [0.1, 1.0]}, "reflections from 0"), ({"share": [0, 2]}, "shares from 0 to 1"), ({"fixed_m": [0]}, "two joints"), ({"gamma": [0.1, 0.1, 0.1]}, "a reflection of its own"),
        ({"velocity_factor": 0.0}, "velocity_factor"), ({"low_hz": [2e9]}, "bands above 0 Hz"),
    ],
)  # fmt: skip
def test_what_can_not_be_is_refused(change: dict[str, object], words: str) -> None:
    good: dict[str, object] = {
        "fixed_m": [0, 0], "share": [0, 1], "gamma": [0.1, 0.1], "phase_rad": [0, 0], "low_hz": [8e8], "high_hz": [9e8], "velocity_factor": 0.8,
    }  # fmt: skip
    with pytest.raises(ValueError, match=words):
        Joints(**(good | change))  # type: ignore[arg-type]
    joints = Joints(**good)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="the range goes"):
        certified_length(joints, 2, 1)
    with pytest.raises(ValueError, match="gap_db"):
        certified_length(joints, 1, 2, 0)
