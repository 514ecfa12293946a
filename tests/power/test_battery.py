"""A battery with an even fall of its emf on a bus with a spur to each load: bus voltage, first drop, time, each in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.power import Network, collapse_factor, float_v, single, solve
from upmast.power.cells import linear
from upmast.power.cutout import first_drop
from upmast.power.discharge import discharge
from upmast.power.tree import bussed

LOOPS, POWERS = [0.30, 0.20, 0.25], [500.0, 700.0, 300.0]


def bus(emf: float, r0: float, loops: list[float]) -> Network:
    n = len(loops)
    return Network(
        3 + n,
        [0] + [2] * n,
        [2, *range(3, 3 + n)],
        np.array([r0, *loops]),
        0,
        1,
        np.array(emf),
        range(3, 3 + n),
        [1] * n,  # type: ignore[arg-type]
    )


def test_bus_is_the_general_network() -> None:
    for emf in (44.0, 48.0, 54.0):
        found = solve(bus(emf, 0.012, LOOPS), POWERS)
        assert bussed(emf, 0.012, LOOPS, POWERS).bus_v == pytest.approx(float(found.node_v[2]), rel=1e-12)


def test_bus_existence() -> None:
    factor = float(collapse_factor(bus(48.0, 0.05, LOOPS), POWERS, 1e-9))
    powers = np.array(POWERS)
    assert np.isfinite(bussed(48.0, 0.05, LOOPS, powers * factor * (1 - 1e-6)).bus_v)
    assert np.isnan(bussed(48.0, 0.05, LOOPS, powers * factor * (1 + 1e-6)).bus_v)
    assert bussed(48.0, 0.0, LOOPS, POWERS).bus_v == 48.0
    assert bussed(48.0, 1.0, LOOPS, np.zeros(3)).bus_v == 48.0
    assert bussed(48.0, 0.1, [0.0], [200.0]).bus_v == pytest.approx(float(single(48.0, 0.1, 200.0).voltage_v))


def test_cutout_is_reached_by_the_first_load_only() -> None:
    drop = first_drop(bus(0.0, 0.012, LOOPS), POWERS, 40.5)
    first = int(drop.radio)
    volts = solve(bus(float(drop.emf_v), 0.012, LOOPS), POWERS).port_v
    assert volts[first] == pytest.approx(40.5, rel=1e-10)
    assert volts.argmin() == first
    assert np.all(np.delete(volts, first) > 40.5)


def test_constant_current_limit() -> None:
    """A flat emf and no resistance: t = C V / P, here 100 Ah x 48 V / 960 W = 5 h, until empty."""
    run = discharge(linear(48.0, 48.0, 0.0, 100.0), bus(0.0, 0.0, [0.0]), [960.0], 44.0)
    assert run.end_minutes == pytest.approx(300.0)
    assert run.minutes[0] == pytest.approx(300.0)
    assert run.end == "empty"
    assert run.end_dod == 1


def test_time_against_a_fine_sum() -> None:
    """Midpoint rule with 4000 steps over the closed form of the spurs, the bus from the tree's load flow."""
    run = discharge(linear(51.0, 45.0, 0.02, 150.0), bus(0.0, 0.0, LOOPS), POWERS, 42.0)
    emf = float(first_drop(bus(0.0, 0.02, LOOPS), POWERS, 42.0).emf_v)
    stop = (51.0 - emf) / 6.0
    d = (np.arange(4000) + 0.5) / 4000 * stop
    volts = bussed(51.0 - 6.0 * d, 0.02, LOOPS, POWERS).bus_v
    current = sum(single(volts, r, p).current_a for r, p in zip(LOOPS, POWERS, strict=True))
    assert run.stop_dod == pytest.approx(stop, abs=1e-9)
    assert run.event_minutes[0] == pytest.approx(60 * 150 * stop * np.mean(1 / current), rel=1e-7)
    assert 0.2 < stop < 0.9


def test_ends() -> None:
    # the cut-out is met at an emf above that of the full battery: no time at all
    below = discharge(linear(46.0, 41.0, 0.012, 100.0), bus(0.0, 0.0, LOOPS), POWERS, 44.0)
    assert below.event_minutes[0] == 0
    assert below.stop_dod == 0
    with pytest.raises(ValueError, match="nothing draws current"):
        discharge(linear(51.0, 46.0, 0.012, 100.0), bus(0.0, 0.0, [0.3]), [0.0], 40.5)
    # 51^2 / (4 x 0.312) = 2084 W
    asked_too_much = discharge(linear(51.0, 46.0, 0.012, 100.0), bus(0.0, 0.0, [0.3]), [2100.0], 40.5)
    assert asked_too_much.event_kind == ("collapse",)
    assert asked_too_much.minutes[0] == 0
    assert np.isnan(asked_too_much.first_a)
    more, less = (discharge(linear(51.0, 46.0, 0.012, c), bus(0.0, 0.0, LOOPS), POWERS, 40.5) for c in (200.0, 100.0))
    assert more.event_minutes == pytest.approx(2 * less.event_minutes)


def test_array_equals_scalar() -> None:
    np.testing.assert_array_equal(float_v([23, 24], 2.0), [46.0, 48.0])
    assert float_v(23, 2.0) == 46.0
    emf = np.array([[46.5], [47.5], [52.0]])
    grid = bussed(emf, [0.01, 0.02], LOOPS, POWERS).bus_v
    assert grid.shape == (3, 2)
    for i in range(3):
        for j, r0 in enumerate((0.01, 0.02)):
            assert bussed(emf[i, 0], r0, LOOPS, POWERS).bus_v == pytest.approx(grid[i, j], rel=1e-12)


def test_nonsense() -> None:
    for call in (
        lambda: bussed(-1.0, 0.0, [0.1], [1.0]),
        lambda: bussed(48.0, np.nan, [0.1], [1.0]),
        lambda: first_drop(bus(0.0, 0.01, [0.1]), [1.0], [-1.0]),
        lambda: linear(51.0, 52.0, 0.01, 100.0),
        lambda: linear(51.0, 46.0, 0.01, 0.0),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
