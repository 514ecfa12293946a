"""Slack loops: every solution stores the length, none is missed, and the missing length is the least one."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.fibre import helix_radius_m, missing_length_m, slack_loops, slack_radius_m


@pytest.mark.parametrize("exit_fraction", [0.0, 0.25, 0.5, 0.75])
@pytest.mark.parametrize("slack", [0.3, 1.0, 2.7, 5.0, 20.0])
def test_all_solutions_and_only_those(slack: float, exit_fraction: float) -> None:
    found = slack_loops(slack, 0.15, 0.3, exit_fraction)
    np.testing.assert_allclose(2 * np.pi * found.radius_m * (found.turns + exit_fraction), slack)
    assert np.all(np.diff(found.radius_m) < 0)
    tried = [
        n for n in range(200) if n + exit_fraction > 0 and 0.15 <= slack / (2 * np.pi * (n + exit_fraction)) <= 0.3
    ]
    assert found.turns.tolist() == tried
    np.testing.assert_allclose(found.twist_deg, 360.0 * found.turns)


@pytest.mark.parametrize("slack", np.linspace(0.0, 6.0, 61))
def test_missing_length_is_the_least_that_helps(slack: float) -> None:
    more = missing_length_m(slack, 0.25, 0.28, 0.5)
    assert more >= 0
    assert slack_loops(slack + more, 0.25, 0.28, 0.5).turns.size
    if more > 0:
        assert not slack_loops(slack + 0.999 * more, 0.25, 0.28, 0.5).turns.size


def test_edges_count_as_inside() -> None:
    assert slack_loops(2 * np.pi * 0.2 * 3, 0.2, 0.2).turns.tolist() == [3]


def test_helix_curvature_by_differences() -> None:
    """Radius of curvature from three points of a finely sampled helix."""
    t = np.array([-1e-3, 0.0, 1e-3])
    points = np.stack([0.2 * np.cos(t), 0.2 * np.sin(t), 0.4 * t / (2 * np.pi)], axis=1)
    a, b, c = (np.linalg.norm(points[i] - points[j]) for i, j in ((0, 1), (1, 2), (0, 2)))
    area = np.linalg.norm(np.cross(points[1] - points[0], points[2] - points[0])) / 2
    assert helix_radius_m(0.2, 0.4) == pytest.approx(a * b * c / (4 * area), rel=1e-5)
    assert helix_radius_m(0.2, 0.0) == 0.2


@pytest.mark.parametrize(
    "args",
    [(-1.0, 0.1, 0.2), (1.0, 0.0, 0.2), (1.0, 0.3, 0.2), (1.0, 0.1, 0.2, 1.0), (1e6, 0.01, 0.2), (np.nan, 0.1, 0.2)],
)
def test_nonsense_is_refused(args: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match=r"can't|must|fraction|turns"):
        slack_loops(*args)


def test_radius_refuses_nonsense() -> None:
    with pytest.raises(ValueError, match="turn"):
        slack_radius_m(1.0, 0, 0.0)
    with pytest.raises(ValueError, match="radius"):
        helix_radius_m(0.0, 1.0)
