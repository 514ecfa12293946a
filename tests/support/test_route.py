"""The route as sections, both ways."""

from __future__ import annotations

import pytest

from upmast.support.pull import Pull, pull_both_ways
from upmast.support.route import RouteLeg, better_way, pulls, sections


def test_told_bends_go_before_the_right_angle() -> None:
    legs = [RouteLeg("a", 10.0, False, 90.0, 0.5), RouteLeg("b", 6.0, False)]
    both = pull_both_ways(sections(legs, 1.0), 1.1, 0.3)
    # 1.1 kg/m, 10 m, a right angle of 0.5 m, 6 m, friction 0.3: 71.26 and 63.47 N, 103.7 and 62.2 N/m
    assert [round(p.tension_n, 2) for p in both] == [71.26, 63.47]
    assert [round(p.side_n_per_m, 1) for p in both] == [103.7, 62.2]
    assert sections([RouteLeg("a", 1.0, False), RouteLeg("b", 1.0, False, 0.0)], 0.8)[0].bend_deg == 90.0


def test_on_the_way_down_the_brake_holds_what_hangs() -> None:
    _, down = pulls([RouteLeg("mast", 30.0, True)], 2.0, 0.8)
    assert down.tension_n == 0.0
    assert down.highest_n == pytest.approx(2 * 9.80665 * 30)


def test_the_better_way_uses_up_less_of_the_limits() -> None:
    strong, gentle = Pull(100.0, 100.0, 900.0), Pull(120.0, 120.0, 300.0)
    assert better_way((strong, gentle), 1000.0, 1000.0) == 1
    assert better_way((strong, gentle), 1000.0, None) == 0
    assert better_way((strong, gentle), None, None) == 0
