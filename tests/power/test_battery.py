from __future__ import annotations

import numpy as np
import pytest

from upmast.power import (
    Network,
    bus_voltage_v,
    collapse_factor,
    cutout_emf_v,
    float_v,
    minutes_to_voltage,
    single,
    solve,
)

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
        assert bus_voltage_v(emf, 0.012, LOOPS, POWERS) == pytest.approx(float(found.node_v[2]), rel=1e-12)


def test_bus_existence() -> None:
    factor = float(collapse_factor(bus(48.0, 0.05, LOOPS), POWERS, 1e-9))
    powers = np.array(POWERS)
    assert np.isfinite(bus_voltage_v(48.0, 0.05, LOOPS, powers * factor * (1 - 1e-6)))
    assert np.isnan(bus_voltage_v(48.0, 0.05, LOOPS, powers * factor * (1 + 1e-6)))
    assert bus_voltage_v(48.0, 0.0, LOOPS, POWERS) == 48.0
    assert bus_voltage_v(48.0, 1.0, LOOPS, np.zeros(3)) == 48.0
    assert bus_voltage_v(48.0, 0.1, [0.0], [200.0]) == pytest.approx(float(single(48.0, 0.1, 200.0).voltage_v))


def test_cutout_is_reached_by_the_first_load_only() -> None:
    emf, first = cutout_emf_v(0.012, LOOPS, POWERS, 40.5)
    volts = solve(bus(float(emf), 0.012, LOOPS), POWERS).port_v
    assert volts[int(first)] == pytest.approx(40.5, rel=1e-10)
    assert volts.argmin() == first
    assert np.all(np.delete(volts, int(first)) > 40.5)


def test_constant_current_limit() -> None:
    """A flat emf and no resistance: t = C V / P, here 100 Ah x 48 V / 960 W = 5 h, until empty."""
    run = minutes_to_voltage(48.0, 0.0, 0.0, 100.0, [0.0], [960.0], 44.0)
    assert run.time_min == pytest.approx(300.0)
    assert run.empty
    assert run.dod_fraction == 1


def test_time_against_a_fine_sum() -> None:
    """Midpoint rule with 4000 steps over the load flow of the general network's closed form."""
    run = minutes_to_voltage(51.0, 6.0, 0.02, 150.0, LOOPS, POWERS, 47.0)
    d = (np.arange(4000) + 0.5) / 4000 * (4.0 / 6.0)
    volts = bus_voltage_v(51.0 - 6.0 * d, 0.02, LOOPS, POWERS)
    current = sum(single(volts, r, p).current_a for r, p in zip(LOOPS, POWERS, strict=True))
    assert run.time_min == pytest.approx(60 * 150 * (4.0 / 6.0) * np.mean(1 / current), rel=1e-7)
    assert not run.empty


def test_ends() -> None:
    below = minutes_to_voltage(46.0, 5.0, 0.012, 100.0, LOOPS, POWERS, 47.0)
    assert below.time_min == 0
    assert below.dod_fraction == 0
    idle = minutes_to_voltage(51.0, 5.0, 0.012, 100.0, [0.3], [0.0], 47.0)
    assert np.isinf(idle.time_min)
    asked_too_much = minutes_to_voltage(51.0, 5.0, 0.012, 100.0, [0.3], [2100.0], 47.0)  # 51^2/(4 x 0.312) = 2084 W
    assert np.isnan(asked_too_much.time_min)
    more = minutes_to_voltage(51.0, 5.0, 0.012, 200.0, LOOPS, POWERS, 47.0)
    less = minutes_to_voltage(51.0, 5.0, 0.012, 100.0, LOOPS, POWERS, 47.0)
    assert more.time_min == pytest.approx(2 * float(less.time_min))


def test_array_equals_scalar() -> None:
    capacity, end = np.array([50.0, 100.0]), np.array([[46.5], [47.5], [52.0]])
    grid = minutes_to_voltage(51.0, 5.0, 0.012, capacity, LOOPS, POWERS, end)
    assert grid.time_min.shape == (3, 2)
    for i in range(3):
        for j in range(2):
            one = minutes_to_voltage(51.0, 5.0, 0.012, capacity[j], LOOPS, POWERS, end[i, 0])
            assert one.time_min == pytest.approx(grid.time_min[i, j], rel=1e-12)
    np.testing.assert_array_equal(float_v([23, 24], 2.0), [46.0, 48.0])


def test_nonsense() -> None:
    for call in (
        lambda: bus_voltage_v(-1.0, 0.0, [0.1], [1.0]),
        lambda: bus_voltage_v(48.0, np.nan, [0.1], [1.0]),
        lambda: cutout_emf_v(0.01, [0.1], [1.0], [0.0]),
        lambda: minutes_to_voltage(51.0, -1.0, 0.01, 100.0, [0.1], [1.0], 47.0),
        lambda: minutes_to_voltage(51.0, 5.0, 0.01, 0.0, [0.1], [1.0], 47.0),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
