"""The battery behind its line, against the general network with the inner resistance as one more branch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from upmast.power.cells import Battery, emf_v, inner_ohm, linear, string
from upmast.power.load_flow import single
from upmast.power.network import Network, solve
from upmast.power.plant import Plant, pick

Array = NDArray[np.float64]
BATTERIES = {
    "linear": linear(51.0, 44.0, 0.012, 100.0),
    "lead-acid": string("lead-acid", 24, 200.0, peukert=1.15),
    "lithium": string("lithium-iron-phosphate", 15, 100.0, rate_hours_h=5.0, lead_ohm=0.002),
    "without resistance": linear(51.0, 44.0, 0.0, 100.0),
}


def line(heater_ohm: float = np.inf) -> Network:
    """Bars, 2 and 1, behind a feeder of 4 mohm; a box with two spurs; a heater of a fixed resistance across the box."""
    return Network(
        7,
        np.array([0, 2, 4, 3, 3, 3]),
        np.array([2, 3, 1, 5, 6, 4]),
        np.array([0.004, 0.02, 0.02, 0.1, 0.18, heater_ohm]),
        0,
        1,
        np.array(0.0),
        np.array([5, 6]),
        np.array([4, 4]),
    )


def witness(battery: Battery, network: Network, dod: float) -> Network:
    """The ideal source of the battery, its resistance as a branch, and a port for the base load at the bars."""
    new = network.node_count
    return replace(
        network,
        node_count=new + 1,
        branch_from=np.append(network.branch_from, new),
        branch_to=np.append(network.branch_to, 0),
        branch_ohm=np.append(network.branch_ohm, inner_ohm(battery, dod)),
        source_plus=new,
        emf_v=np.asarray(float(emf_v(battery, dod))),
        port_plus=np.append(network.port_plus, 2),
        port_minus=np.append(network.port_minus, 1),
    )


@pytest.mark.parametrize("name", BATTERIES)
@pytest.mark.parametrize("heater_ohm", [np.inf, 4.0])
def test_against_the_network_with_the_battery_as_a_branch(name: str, heater_ohm: float) -> None:
    battery, network, power = BATTERIES[name], line(heater_ohm), [500.0, 350.0]
    plant = Plant(battery, network, power, [40.0, 38.0], 42.0, 200.0, (2, 1))
    dod = np.linspace(0.0, 1.0, 13)
    for on in ([True, True], [False, True], [False, False]):
        points = plant.at(np.array([*on, False]), dod)
        for i, d in enumerate(dod):
            truth = solve(witness(battery, network, float(d)), [*np.where(on, power, 0.0), 200.0])
            assert points.exists[i] == truth.exists
            assert points.v[i] == pytest.approx(truth.port_v, abs=1e-9)
            current = float(truth.branch_a[-1])
            assert points.current[i] == pytest.approx(current, rel=1e-9)
            margins = [*(truth.port_v[:2] - [40.0, 38.0])[np.array(on)], truth.port_v[2] - 42.0]
            assert points.margin[i] == pytest.approx(min(margins), abs=1e-9)
            hours = battery.rate_hours_h * (battery.capacity_ah / battery.rate_hours_h / current) ** battery.peukert
            assert points.hours[i] == pytest.approx(hours, rel=1e-9)


def test_currents_of_the_worked_discharge() -> None:
    """E = 51 - 5 dod, 12 mohm, 900 W behind 0.30 ohm: 20.1247 A at first, 22.2222 A at the cut-out (independent quadrature)."""
    pair = Network(4, [0, 1], [2, 3], [0.15, 0.15], 0, 1, np.array(0.0), [2], [3])  # type: ignore[arg-type]
    plant = Plant(linear(51.0, 46.0, 0.012, 100.0), pair, [900.0], 40.5, 0.0, 0.0, None)
    points = plant.at(np.array([True, False]), np.array([0.0, 0.7133333333]))
    assert points.current == pytest.approx([20.1247, 22.2222], abs=6e-5)
    assert points.margin[1] == pytest.approx(0.0, abs=1e-8)
    # 100 Ah at one current
    assert points.hours == pytest.approx(100 / points.current, rel=1e-12)


def test_no_operating_point() -> None:
    pair = Network(4, [0, 1], [2, 3], [0.3, 0.3], 0, 1, np.array(0.0), [2], [3])  # type: ignore[arg-type]
    battery = linear(51.0, 44.0, 0.05, 100.0)
    plant = Plant(battery, pair, [900.0], 10.0, 0.0, 0.0, None)
    points = plant.at(np.array([True, False]), np.linspace(0.0, 1.0, 8))
    exists = single(emf_v(battery, points.dod), 0.65, 900.0).exists
    assert points.exists.tolist() == exists.tolist()
    assert 0 < exists.sum() < 8
    assert np.all(np.isneginf(points.margin[~points.exists]))
    assert np.all(np.isnan(points.current[~points.exists]))
    # what is left when it collapses: one radio, or the bars where no radio is on
    assert plant.falls_with(np.array([True, False]), 1.0) == 0
    assert plant.falls_with(np.array([False, False]), 1.0) == 1


def test_idle_is_nothing_that_draws() -> None:
    off = np.zeros(3, bool)
    battery = BATTERIES["linear"]
    assert Plant(battery, line(), [500.0, 0.0], 40.0, 0.0, 0.0, None).idle(off)
    assert not Plant(battery, line(), [500.0, 0.0], 40.0, 0.0, 10.0, None).idle(off)
    assert not Plant(battery, line(4.0), [500.0, 0.0], 40.0, 0.0, 0.0, None).idle(off)
    # the heater alone: E / (R + r)
    heated = Plant(battery, line(4.0), [500.0, 0.0], 40.0, 0.0, 0.0, None)
    assert heated.at(off, np.array([0.0])).current[0] == pytest.approx(51.0 / (4.0 + 0.012 + 0.004 + 0.04))
    assert heated.radios.tolist() == [True, False, False]


@pytest.mark.parametrize("name", ["lead-acid", "linear", "lithium"])
def test_drop_with_all_radios_at_the_bars(name: str) -> None:
    """`E - (r + 0.004) P / V = V` at the highest cut-out, by a root search."""
    battery = BATTERIES[name]
    plant = Plant(battery, line(), [500.0, 350.0], [44.0, 40.0], 42.0, 200.0, (2, 1))

    def over(dod: float) -> float:
        return float(emf_v(battery, dod)) - 44.0 - (float(inner_ohm(battery, dod)) + 0.004) * 1050 / 44.0

    expected = brentq(over, 0.0, 1.0, xtol=1e-14) if over(1.0) < 0 else 1.0
    assert plant.bars_dod(0.0) == pytest.approx(expected, abs=1e-11)
    assert expected < 1
    assert plant.bars_dod(0.999) == 0.999


def test_array_equals_scalar() -> None:
    plant = Plant(BATTERIES["lead-acid"], line(), [500.0, 350.0], 40.0, 0.0, 100.0, (2, 1))
    on = np.array([True, True, False])
    many = plant.at(on, np.array([0.1, 0.5, 0.9]))
    for i, dod in enumerate((0.1, 0.5, 0.9)):
        one = plant.at(on, np.array([dod]))
        assert many.v[i] == pytest.approx(one.v[0], rel=1e-12)
        assert many.current[i] == pytest.approx(one.current[0], rel=1e-12)
        assert many.hours[i] == pytest.approx(one.hours[0], rel=1e-12)
        assert many.port[i] == one.port[0]
        assert pick(many, slice(i, i + 1)).v.tolist() == many.v[i : i + 1].tolist()


def test_nonsense() -> None:
    battery, network = BATTERIES["linear"], line()
    for call, words in (
        (lambda: Plant(battery, network, [1.0, np.inf], 40.0, 0.0, 0.0, None), "power_w can't be .* nor infinite"),
        (lambda: Plant(battery, network, [1.0, 1.0], [40.0], 0.0, 0.0, None), "cut_out_v as many or one"),
        (lambda: Plant(battery, network, [1.0, 1.0], 40.0, -1.0, 0.0, None), "disconnect_v can't be negative .*got -1"),
        (lambda: Plant(battery, network, [1.0, 1.0], 40.0, 0.0, np.nan, None), "base_w can't be negative or missing"),
        (lambda: Plant(battery, network, [1.0], 40.0, 0.0, 0.0, None), "needs 2 ports"),
    ):
        with pytest.raises(ValueError, match=words):
            call()
