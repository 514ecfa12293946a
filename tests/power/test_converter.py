"""The converter at the base: operating points, its three ways to fail, line compensation, bypass."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from upmast.power.converter import Converter, bypassed, convert
from upmast.power.load_flow import largest_power_w, single
from upmast.power.loads import Loads
from upmast.power.network import Network, solve
from upmast.power.resistance import conductor_ohm_per_km, resistance_ohm


def pair(ohm: float | np.ndarray) -> Network:
    wires = np.asarray(ohm, float)[..., None] * np.array([0.5, 0.5])
    return Network(4, [0, 3], [2, 1], wires, 0, 1, np.asarray(0.0), [2], [3])  # type: ignore[arg-type]


def two_straight_pairs(shared_ohm: float = 0.0) -> Network:
    """80 m of 6 mm2 at 50 C with joints, and a jumper, to each of two radios."""
    wire = float(resistance_ohm(conductor_ohm_per_km(6, 2), 80, 50))
    jumper = float(resistance_ohm(conductor_ohm_per_km(4, 5), 4, 50))
    line, back = wire + 0.003 + jumper, wire + 0.001 + jumper
    ends = ([0, 2, 4, 2, 6], [2, 3, 1, 5, 1])
    return Network(7, *ends, np.array([shared_ohm, line, back, line, back]), 0, 1, np.asarray(0.0), [3, 5], [4, 6])  # type: ignore[arg-type]


PLAIN = Converter(56.0, 58.0, 0.96, idle_w=10.0)


def test_raised_to_56_v_ngspice() -> None:
    """44 V plant behind 10 mohm, 56.0 V out, 0.96, 10 W idle, 700 and 900 W: ngspice operating point."""
    found = convert(two_straight_pairs(), [700.0, 900.0], PLAIN, 44.0, 0.010)
    assert found.exists
    np.testing.assert_allclose(found.downstream.port_v, [47.0940, 43.6444], atol=6e-5)
    assert found.output_a == pytest.approx(35.4851, abs=6e-5)
    assert found.input_v == pytest.approx(43.5221, abs=6e-5)
    assert found.bus_a == pytest.approx(47.7910, abs=6e-5)
    assert found.input_a == pytest.approx(float(found.bus_a), rel=1e-12)
    assert found.raises
    assert found.downstream.certified


def test_powers_balance() -> None:
    """emf = source loss + base load + idle + conversion loss + line loss + radios."""
    found = convert(two_straight_pairs(0.02), [500.0, 600.0], PLAIN, np.array([42.0, 50.0]), 0.012, 400.0)
    assert found.exists.all()
    np.testing.assert_allclose(found.input_w, found.output_v * found.output_a / 0.96 + 10, rtol=1e-12)
    np.testing.assert_allclose(found.input_v * found.bus_a, found.input_w + 400, rtol=1e-12)
    np.testing.assert_allclose(found.plant_w, found.input_w + 400 + 0.012 * found.bus_a**2, rtol=1e-12)
    np.testing.assert_allclose(found.asked_w, found.downstream.source_w, rtol=1e-12)
    np.testing.assert_allclose(found.input_v, np.array([42.0, 50.0]) - 0.012 * found.bus_a, rtol=1e-12)
    # lower plant voltage, the same power: more current
    assert found.input_a[0] > found.input_a[1]


def test_each_way_to_fail_is_named() -> None:
    """Line beyond collapse, output above its limit, plant too weak; a later side isn't blamed for an earlier one."""
    largest = float(largest_power_w(56.0, 0.6))
    limited = Converter(56.0, 58.0, 0.95, limit_w=1000.0)
    found = convert(
        pair(0.6),
        np.array([[800.0], [largest * 1.001], [900.0], [800.0]]),
        limited,
        44.0,
        np.array([0.01, 0.01, 0.01, 0.6]),
    )
    np.testing.assert_array_equal(found.exists, [True, False, False, False])
    np.testing.assert_array_equal(found.downstream_exists, [True, False, True, True])
    np.testing.assert_array_equal(found.within_limit, [True, True, False, True])
    np.testing.assert_array_equal(found.upstream_exists, [True, True, True, False])
    np.testing.assert_allclose(found.largest_w, 44.0**2 / 4 / np.array([0.01, 0.01, 0.01, 0.6]))
    out = 56.0 * single(56.0, 0.6, [800.0, 900.0]).current_a
    np.testing.assert_allclose(found.asked_w[[0, 2]], out, rtol=1e-12)
    assert out[0] < 1000 < out[1]
    assert np.isnan(found.asked_w[1])
    for values in (
        found.output_v,
        found.output_a,
        found.input_v,
        found.input_a,
        found.input_w,
        found.bus_a,
        found.plant_w,
    ):
        np.testing.assert_array_equal(np.isnan(values), ~found.exists)
    np.testing.assert_array_equal(found.downstream.exists, found.exists)
    assert np.isnan(found.downstream.port_v[1:]).all()


@settings(max_examples=80, deadline=None)
@given(emf=st.floats(30, 56), ohm=st.floats(0.005, 0.5), share=st.floats(0.05, 0.9999) | st.floats(1.0001, 2))
def test_plant_side_exists_up_to_its_largest_power(emf: float, ohm: float, share: float) -> None:
    most = float(largest_power_w(emf, ohm))
    # a converter without loss and a line without resistance: the radio is on the plant
    line = Network(2, [], [], np.zeros(0), 0, 1, np.asarray(0.0), [0], [1])  # type: ignore[arg-type]
    found = convert(line, [0.7 * share * most], Converter(60.0, 60.0, 1.0), emf, ohm, 0.3 * share * most)
    assert found.exists == (share < 1)
    assert found.upstream_exists == (share < 1)
    assert found.downstream_exists
    assert found.largest_w == pytest.approx(most)
    if share < 1:
        assert found.input_v >= emf / 2


@settings(max_examples=60, deadline=None)
@given(
    ohm=st.floats(0.05, 0.6),
    part=st.floats(0.05, 1.2),
    power=st.floats(10, 1500),
    current=st.floats(0, 5),
)
def test_compensated_voltage_is_the_only_crossing(ohm: float, part: float, power: float, current: float) -> None:
    """One pair with a radio and a light: V_out against Brent's method on the closed form of the pair."""
    compensation, low, high = part * ohm, 54.0, 60.0
    found = convert(pair(ohm), Loads([power], current), Converter(low, high, 0.95, 0.0, compensation), 48.0, 0.01)

    def too_high(v: float) -> float:
        flow = single(v - ohm * current, ohm, power)
        return v - low - compensation * (float(flow.current_a) + current) if flow.exists else -1e9

    if too_high(high) <= 0:
        exists, expected = bool(single(high - ohm * current, ohm, power).exists), high
    else:
        expected = low if too_high(low) >= 0 else float(brentq(too_high, low, high, xtol=1e-12))
        exists = abs(too_high(expected)) < 1e-6 or abs(too_high(expected + 1e-9)) < 1e-3
    assert found.downstream_exists == exists
    if found.exists:
        assert found.output_v == pytest.approx(expected, abs=1e-9)
        asked = min(low + compensation * float(found.output_a), high)
        assert found.output_v == pytest.approx(asked, abs=1e-9)


def test_compensation_that_equals_the_line_holds_the_radio_at_the_set_voltage() -> None:
    """R_c = R of one pair: the radio stands at V_set whatever it draws, until V_max is reached."""
    power = np.array([[0.0], [100.0], [500.0], [900.0]])
    found = convert(pair(0.3), power, Converter(54.0, 58.9, 0.95, 0.0, 0.3), 48.0, 0.01)
    np.testing.assert_allclose(found.downstream.port_v[:3, 0], 54.0, rtol=1e-11)
    np.testing.assert_allclose(found.output_v, [54.0, 54 + 0.3 * 100 / 54, 54 + 0.3 * 500 / 54, 58.9], rtol=1e-11)
    assert found.downstream.port_v[3, 0] < 54.0


def test_compensation_finds_the_point_that_the_set_voltage_alone_cannot_reach() -> None:
    """No solution at V_set, one at the raised voltage: plain iteration from V_set would give up."""
    line, load = pair(0.8), [float(largest_power_w(50.0, 0.8)) * 1.05]
    assert not convert(line, load, Converter(50.0, 60.0, 0.95), 44.0, 0.01).downstream_exists
    found = convert(line, load, Converter(50.0, 60.0, 0.95, 0.0, 0.5), 44.0, 0.01)
    assert found.exists
    assert 50 < found.output_v <= 60
    assert found.output_v == pytest.approx(min(50 + 0.5 * float(found.output_a), 60.0), rel=1e-11)
    assert found.downstream.port_v[0] > found.output_v / 2


def test_compensation_too_weak_to_leave_collapse_has_no_solution() -> None:
    """Above collapse the line asks for less than is there, below for all: the voltage falls back into collapse."""
    line, load = pair(0.8), [float(largest_power_w(55.0, 0.8))]
    # at 55 V, the voltage of collapse, the current is 55 / 1.6 = 34.4 A: 50 + 0.1 x 34.4 = 53.4 V is asked for
    found = convert(line, load, Converter(50.0, 60.0, 0.95, 0.0, 0.1), 44.0, 0.01)
    assert not found.exists
    assert not found.downstream_exists
    assert np.isnan(found.output_v)
    # 50 + 0.2 x 34.4 = 56.9 V is above it: there is a crossing
    found = convert(line, load, Converter(50.0, 60.0, 0.95, 0.0, 0.2), 44.0, 0.01)
    assert found.exists
    assert found.output_v > 55


def test_array_equals_scalar() -> None:
    """Scenarios over emf, load and compensation at once, against one call each."""
    emf, share, ohm = (
        np.array([42.0, 50.0])[:, None, None],
        np.array([0.2, 0.7, 1.0, 2.5])[:, None],
        np.array([0.0, 0.15]),
    )
    network, power, limit = two_straight_pairs(0.01), np.array([700.0, 900.0]), np.array([20.0, np.inf])
    grid = convert(
        network,
        Loads(share[..., None] * power, limit_a=limit),
        Converter(54.0, 58.0, 0.95, 8.0, ohm, 3000.0),
        emf,
        0.02,
        300.0,
    )
    assert grid.exists.shape == (2, 4, 2)
    assert grid.downstream.port_v.shape == (2, 4, 2, 2)
    for i, j, k in np.ndindex(2, 4, 2):
        one = convert(
            network, Loads(share[j, 0] * power, limit_a=limit), Converter(54.0, 58.0, 0.95, 8.0, ohm[k], 3000.0),
            emf[i, 0, 0], 0.02, 300.0,
        )  # fmt: skip
        assert one.exists == grid.exists[i, j, k]
        assert one.within_limit == grid.within_limit[i, j, k]
        np.testing.assert_allclose(one.downstream.port_v, grid.downstream.port_v[i, j, k], rtol=1e-10)
        np.testing.assert_allclose([one.output_v, one.input_v, one.bus_a], [grid.output_v[i, j, k], grid.input_v[i, j, k], grid.bus_a[i, j, k]], rtol=1e-10)  # fmt: skip


def test_resistive_load_rises_with_the_voltage() -> None:
    """A heater of 10 ohm behind 0.5 ohm: V_out = 54 / (1 - R_c / 10.5)."""
    found = convert(pair(0.5), Loads([0.0], conductance_s=0.1), Converter(54.0, 60.0, 0.95, 0.0, 0.4), 48.0, 0.01)
    assert found.output_v == pytest.approx(54 / (1 - 0.4 / 10.5), rel=1e-11)


def test_bypass_is_the_plant_straight_through() -> None:
    """One pair: the closed form with the source resistance in the loop, and the base load as a spur of the bars."""
    line, bus = bypassed(pair(0.3), [500.0], [42.0, 50.0], 0.010)
    flow = single([42.0, 50.0], 0.31, 500.0)
    np.testing.assert_allclose(line.port_v[:, 0], flow.voltage_v, rtol=1e-11)
    np.testing.assert_allclose(bus, np.array([42.0, 50.0]) - 0.01 * flow.current_a, rtol=1e-11)
    loaded, sagged = bypassed(pair(0.3), [500.0], [42.0, 50.0], 0.010, 800.0)
    assert np.all(sagged < bus)
    np.testing.assert_allclose(loaded.port_v[:, 0], single(sagged, 0.3, 500.0).voltage_v, rtol=1e-11)
    np.testing.assert_allclose((np.array([42.0, 50.0]) - sagged) / 0.01, loaded.port_a[:, 0] + 800 / sagged, rtol=1e-9)
    np.testing.assert_allclose(loaded.source_w, sagged * loaded.port_a[:, 0], rtol=1e-11)
    assert loaded.branch_a.shape == (2, 2)
    assert loaded.node_v.shape == (2, 4)
    # what runs on the converter may not run without it
    raised = convert(pair(0.6), [900.0], PLAIN, 44.0, 0.010)
    straight, _ = bypassed(pair(0.6), [900.0], 44.0, 0.010)
    assert raised.exists
    assert not straight.exists
    assert straight.certified


def test_without_loss_and_at_the_plant_s_own_voltage_the_converter_isn_t_there() -> None:
    """eta 1, no idle power, V_set = the voltage at the bars: the same as the bypass."""
    line, bus = bypassed(two_straight_pairs(), [400.0, 500.0], 48.0, 0.01)
    found = convert(two_straight_pairs(), [400.0, 500.0], Converter(bus, bus, 1.0), 48.0, 0.01)
    np.testing.assert_allclose(found.downstream.port_v, line.port_v, rtol=1e-10)
    assert found.input_v == pytest.approx(float(bus), rel=1e-10)


def test_idle_line_and_dead_plant() -> None:
    idle = convert(pair(0.3), [0.0], PLAIN, [44.0, 0.0], 0.01)
    np.testing.assert_array_equal(idle.exists, [True, False])
    np.testing.assert_array_equal(idle.upstream_exists, [True, False])
    assert idle.input_w[0] == pytest.approx(10.0)
    assert idle.output_a[0] == 0
    # 56 V out of a plant at 57 V is no raising
    assert not convert(pair(0.3), [100.0], PLAIN, 57.0, 0.01).raises


def test_the_network_s_own_emf_doesn_t_count() -> None:
    network = two_straight_pairs()
    other = Network(
        network.node_count, network.branch_from, network.branch_to, network.branch_ohm, 0, 1, np.asarray(12.0),
        network.port_plus, network.port_minus,
    )  # fmt: skip
    one, two = (convert(x, [700.0, 900.0], PLAIN, 44.0, 0.01) for x in (network, other))
    np.testing.assert_array_equal(one.downstream.port_v, two.downstream.port_v)
    assert solve(other, [7.0, 9.0]).port_v.max() < 12


@pytest.mark.parametrize(
    "change",
    [
        {"set_v": 0.0},
        {"set_v": 59.0},
        {"maximum_v": np.inf},
        {"efficiency_fraction": 0.0},
        {"efficiency_fraction": 1.01},
        {"idle_w": -1.0},
        {"compensation_ohm": -0.1},
        {"limit_w": np.nan},
    ],
)
def test_nonsense_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"set_v|maximum_v|efficiency|idle|compensation|limit"):
        Converter(**({"set_v": 56.0, "maximum_v": 58.0, "efficiency_fraction": 0.95} | change))


@pytest.mark.parametrize("inputs", [(-1.0, 0.01, 0.0), (44.0, -0.01, 0.0), (44.0, np.inf, 0.0), (44.0, 0.01, np.nan)])
def test_nonsense_of_the_plant_is_refused(inputs: tuple[float, float, float]) -> None:
    for run in (lambda: convert(pair(0.3), [1.0], PLAIN, *inputs), lambda: bypassed(pair(0.3), [1.0], *inputs)):
        with pytest.raises(ValueError, match=r"emf_v|source_ohm|base_w"):
            run()
