"""Pulling: limits and reversal."""

from __future__ import annotations

import math

import pytest

from upmast.support import PULL_FRICTION, Section, pull, pull_both_ways


def test_a_bend_in_small_steps_is_the_capstan_equation() -> None:
    """dT = mu T dtheta, summed."""
    tension, steps = 100.0, 200_000
    for _ in range(steps):
        tension += PULL_FRICTION * tension * (math.pi / 2) / steps
    assert pull([Section(bend_deg=90, radius_m=1)], 1.0, back_tension_n=100.0).tension_n == pytest.approx(
        tension, rel=1e-5
    )


def test_without_friction_only_height_counts() -> None:
    route = [Section(10.0, rise_m=3.0, bend_deg=90, radius_m=1.0), Section(5.0, rise_m=2.0)]
    assert pull(route, 1.0, 0.0).tension_n == pytest.approx(5 * 9.80665)


def test_a_fall_never_pushes_and_the_highest_is_kept() -> None:
    found = pull([Section(20.0), Section(rise_m=-100.0)], 1.0)
    assert found.tension_n == 0
    assert found.highest_n == pytest.approx(20 * PULL_FRICTION * 9.80665)
    assert found.side_n_per_m == 0


def test_there_and_back_are_each_others_reverse() -> None:
    route = [Section(10.0, 2.0, 45.0, 0.5), Section(6.0, -1.0, 30.0, 0.8), Section(3.0)]
    there, back = pull_both_ways(route, 1.1, 0.3, 20.0)
    turned = [
        Section(3.0),
        Section(bend_deg=30.0, radius_m=0.8),
        Section(6.0, 1.0),
        Section(bend_deg=45.0, radius_m=0.5),
    ]
    turned.append(Section(10.0, -2.0))
    assert back == pull(turned, 1.1, 0.3, 20.0)
    assert there == pull(route, 1.1, 0.3, 20.0)
    assert pull_both_ways(turned, 1.1, 0.3, 20.0)[1].tension_n == pytest.approx(there.tension_n)


@pytest.mark.parametrize("section", [{"length_m": -1.0}, {"bend_deg": 90.0}, {"rise_m": math.nan}])
def test_impossible_sections(section: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"can't|positive radius"):
        Section(**section)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="friction"):
        pull([], 1.0, -0.1)
