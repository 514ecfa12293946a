"""Answers asked backwards, put back into the load flow."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import brentq

from upmast.power.inverse import EXISTENCE, NOTHING, Margins, largest_load_w, longest_run_m, smallest_size, spare_gain
from upmast.power.load_flow import single
from upmast.power.network import Network, solve

Array = NDArray[np.float64]
# IEC 60228, class 2, plain copper at 20 C: 4, 6, 10, 16, 25 mm2
SIZES = np.array([4.61, 3.08, 1.83, 1.15, 0.727])

volts = st.floats(40.0, 58.0)
need = st.floats(0.0, 44.0)
watts = st.floats(1.0, 3000.0)
amps = st.one_of(st.just(np.inf), st.floats(1.0, 120.0))


def ohms(most: float) -> st.SearchStrategy[float]:
    """None at all, or what a contact has at least."""
    return st.one_of(st.just(0.0), st.floats(1e-7, most))


def test_longest_run_published() -> None:
    """
    A public training page on voltage drop by table 8 of chapter 9 of the NEC: two wires of 4.99 ohm in 1000 ft drop 4.0 V at 4 A
    in 100 ft. From 48 V the load of 4 A then has 44 V; the page rounds the drop to one decimal.
    """
    run = longest_run_m(48.0, 44.0, 44.0 * 4, 4.99 / 0.3048)
    assert float(run.value) / 0.3048 == pytest.approx(100.0, rel=0.05 / 4)


@given(volts, need, watts, st.sampled_from(SIZES), ohms(0.05), ohms(0.02), amps)
def test_longest_run_put_back(
    v_s: float, v_min: float, power: float, r: float, fixed: float, r0: float, ampacity: float
) -> None:
    run = longest_run_m(v_s, v_min, power, r, fixed, r0, ampacity)
    length, governs = float(run.value), str(run.governs)
    flow = single(v_s, 2e-3 * r * length * (1 - 1e-9) + (fixed + r0) * (1 - 1e-9), power)
    if not run.possible:
        assert length == 0
        bare = single(v_s, fixed + r0, power)
        assert not bare.exists or bare.voltage_v < v_min + 1e-9 or bare.current_a > ampacity * (1 - 1e-9)
        return
    assert flow.exists
    assert flow.voltage_v >= v_min - 1e-6
    assert flow.current_a <= ampacity * (1 + 1e-6)
    # the one that governs is met there, and a little more breaks it
    # (at half the source voltage a root lies between the resistance and the voltage, which halves the digits)
    rel = 1e-3 if flow.voltage_v < 0.501 * v_s else 1e-6
    met = {"voltage": v_min, "ampacity": power / ampacity, EXISTENCE: v_s / 2}[governs]
    assert flow.voltage_v == pytest.approx(met, rel=rel)
    more = single(v_s, (2e-3 * r * length + fixed + r0) * (1 + 1e-6) + 1e-9, power)
    assert not more.exists or more.voltage_v < v_min or more.current_a > ampacity


@given(volts, need, st.floats(0.001, 2.0), amps)
def test_largest_load_put_back(v_s: float, v_min: float, loop: float, ampacity: float) -> None:
    answer = largest_load_w(v_s, v_min, loop, ampacity)
    power, governs = float(answer.value), str(answer.governs)
    if not answer.possible:
        assert v_s < v_min
        assert power == 0
        return
    flow = single(v_s, loop, power * (1 - 1e-9))
    assert flow.exists
    assert flow.voltage_v >= v_min - 1e-6
    assert flow.current_a <= ampacity * (1 + 1e-6)
    more = single(v_s, loop, power * (1 + 1e-6) + 1e-6)
    assert not more.exists or more.voltage_v < v_min or more.current_a > ampacity
    met = {
        "voltage": flow.voltage_v - v_min,
        "ampacity": ampacity - flow.current_a,
        EXISTENCE: flow.voltage_v - v_s / 2,
    }
    assert abs(float(met[governs])) <= 2e-3 * v_s


@given(volts, st.floats(20.0, 38.0), watts, st.floats(1.0, 150.0), ohms(0.03))
def test_smallest_size_put_back(v_s: float, v_min: float, power: float, length: float, fixed: float) -> None:
    ampacity = np.array([32.0, 40.0, 55.0, 73.0, 95.0])
    choice = smallest_size(v_s, v_min, power, length, SIZES, fixed, 0.005, ampacity)
    passes = []
    for r, i_z in zip(SIZES, ampacity, strict=True):
        flow = single(v_s, 2e-3 * r * length + fixed + 0.005, power)
        passes.append(bool(flow.exists) and flow.voltage_v >= v_min and flow.current_a <= i_z)
    first = passes.index(True) if any(passes) else -1
    assert choice.index == first
    assert choice.passes.tolist() == passes
    if first == 0:
        assert choice.governs == NOTHING
    else:
        r, i_z = (SIZES[first - 1], ampacity[first - 1]) if first > 0 else (SIZES[-1], ampacity[-1])
        flow = single(v_s, 2e-3 * r * length + fixed + 0.005, power)
        broken = EXISTENCE if not flow.exists else "voltage" if flow.voltage_v < v_min else "ampacity"
        assert choice.governs == broken
    # a size longer than its longest run fails, and the other way round
    longest = longest_run_m(v_s, v_min, power, SIZES, fixed, 0.005, ampacity)
    away = np.abs(longest.value - length) > 1e-6
    assert np.array_equal((longest.possible & (longest.value >= length))[away], np.array(passes)[away])


def test_inverses_of_each_other() -> None:
    """The longest run of the largest load is the run it was asked for; no load, or no resistance, has no end."""
    loop = 2e-3 * 1.83 * 40 + 0.012
    for v_min in (40.5, 20.0):
        load = largest_load_w(43.2, v_min, loop)
        assert float(longest_run_m(43.2, v_min, load.value, 1.83, 0.012).value) == pytest.approx(40.0, rel=1e-9)
    free = longest_run_m(43.2, 40.5, 0.0, 1.83)
    assert np.isinf(free.value)
    assert free.governs == NOTHING
    bare = largest_load_w(48.0, 40.0, 0.0)
    assert np.isinf(bare.value)
    assert bare.governs == NOTHING
    held = largest_load_w(48.0, 40.0, 0.0, 25.0)
    assert held.value == 1200.0
    assert held.governs == "ampacity"
    # with V_min from V_s / 2 downwards it is maximum power transfer, V^2 / (4 R)
    assert largest_load_w(48.0, 24.0, 0.1).value == pytest.approx(48**2 / 0.4)


def test_what_can_not_be_is_said() -> None:
    low = longest_run_m(40.0, 40.5, 100.0, 1.83)
    assert not low.possible
    assert low.value == 0
    assert low.governs == "voltage"
    none = longest_run_m(48.0, 40.5, 100.0, 1.83, ampacity_a=0.0)
    assert not none.possible
    assert none.value == 0
    assert none.governs == "ampacity"
    broken = largest_load_w(48.0, 40.0, np.inf)
    assert broken.value == 0
    assert broken.possible
    choice = smallest_size(43.2, 42.9, 1500.0, 100.0, SIZES)
    assert choice.index == -1
    assert choice.governs == "voltage"


@pytest.mark.parametrize("spares", [(0.11, 0.13), (0.11, np.inf), (np.inf, 0.4), (np.inf, np.inf), (0.0, 0.0)])
def test_spare_against_the_network(spares: tuple[float, float]) -> None:
    """Wire by wire: line and return from the source through r_0 and a fixed part, the spare as branches beside them."""
    s_line, s_back = spares
    gain = spare_gain(43.2, 38.4, 800.0, 60.0, 0.12, 0.14, s_line, s_back, 0.02, 0.01)
    network = Network(5, [0, 2, 2, 3, 3], [2, 4, 4, 1, 1], [0.03, 0.12, s_line, 0.14, s_back], 0, 1, 43.2, [4], [3])  # type: ignore[arg-type]
    flow = solve(network, [800.0])
    assert gain.voltage_v[1] == pytest.approx(float(flow.port_v[0]), abs=1e-7)
    assert gain.voltage_v[0] == pytest.approx(float(single(43.2, 0.29, 800.0).voltage_v), abs=1e-9)
    total = flow.branch_a[0]
    if s_line > 0:
        assert gain.line_share == pytest.approx(flow.branch_a[2] / total, abs=1e-9)
        assert gain.return_share == pytest.approx(flow.branch_a[4] / total, abs=1e-9)
    largest = gain.largest_w[1]
    at = solve(network, [largest])
    assert at.port_v[0] == pytest.approx(38.4, abs=1e-6)
    assert gain.gained_v == pytest.approx(gain.voltage_v[1] - gain.voltage_v[0])
    if spares == (0.0, 0.0):
        assert np.isinf(gain.longest_m[1])
        return
    # all wires grow with the run
    scale = float(gain.longest_m[1]) / 60
    longer = Network(
        5, [0, 2, 2, 3, 3], [2, 4, 4, 1, 1], [0.03, 0.12 * scale, s_line * scale, 0.14 * scale, s_back * scale], 0, 1, 43.2,
        [4], [3],
    )  # type: ignore[arg-type] # fmt: skip
    assert solve(longer, [800.0]).port_v[0] == pytest.approx(38.4, abs=1e-6)


def test_spare_limits() -> None:
    none = spare_gain(43.2, 38.4, 800.0, 60.0, 0.12, 0.12, np.inf, np.inf)
    assert (float(none.gained_v), float(none.gained_w), float(none.gained_m)) == (0.0, 0.0, 0.0)
    assert none.line_share == 0
    twice = spare_gain(43.2, 38.4, 800.0, 60.0, 0.12, 0.12, 0.12, 0.12)
    assert twice.line_share == twice.return_share == 0.5
    assert twice.longest_m[1] == pytest.approx(2 * twice.longest_m[0])
    assert twice.largest_w[1] == pytest.approx(2 * twice.largest_w[0])


def test_longest_run_against_a_root_search() -> None:
    def over(length: float) -> float:
        flow = single(43.2, 2e-3 * 1.83 * length + 0.02, 700.0)
        return float(flow.voltage_v) - 40.5 if flow.exists else -40.0

    assert float(longest_run_m(43.2, 40.5, 700.0, 1.83, 0.02).value) == pytest.approx(brentq(over, 0, 200, xtol=1e-12))


def test_margins_name_the_first_that_is_broken() -> None:
    exists = np.array([False, True, True, True])
    margins = Margins(exists, np.array([-1.0, -1.0, 0.0, 0.0]), np.array([-1.0, -1.0, -1.0, 0.0]))
    assert margins.broken.tolist() == ["existence", "voltage", "ampacity", "nothing"]
    assert margins.passes.tolist() == [False, False, False, True]


def test_array_equals_scalar() -> None:
    v_s, r, i_z = np.array([[40.0], [43.2], [48.0]]), SIZES[None, :], np.array([[20.0], [60.0], [np.inf]])
    run = longest_run_m(v_s, 40.5, 900.0, r, 0.01, 0.005, i_z)
    load = largest_load_w(v_s, 40.5, 0.05 * r, i_z)
    spare = spare_gain(v_s, 38.4, 800.0, 60.0, 0.12, 0.12, 0.1 * r, np.inf)
    choice = smallest_size(v_s[:, 0], 38.4, 900.0, 50.0, SIZES)
    assert run.value.shape == load.value.shape == spare.gained_v.shape == (3, 5)
    for i in range(3):
        one_choice = smallest_size(v_s[i, 0], 38.4, 900.0, 50.0, SIZES)
        assert choice.index[i] == one_choice.index
        assert choice.governs[i] == one_choice.governs
        assert np.array_equal(choice.voltage_v[i], one_choice.voltage_v, equal_nan=True)
        for j in range(5):
            one = longest_run_m(v_s[i, 0], 40.5, 900.0, SIZES[j], 0.01, 0.005, i_z[i, 0])
            assert (run.value[i, j], run.governs[i, j], run.possible[i, j]) == (one.value, one.governs, one.possible)
            single_load = largest_load_w(v_s[i, 0], 40.5, 0.05 * SIZES[j], i_z[i, 0])
            assert (load.value[i, j], load.governs[i, j]) == (single_load.value, single_load.governs)
            single_spare = spare_gain(v_s[i, 0], 38.4, 800.0, 60.0, 0.12, 0.12, 0.1 * SIZES[j], np.inf)
            assert spare.gained_v[i, j] == single_spare.gained_v
            assert spare.gained_m[i, j] == single_spare.gained_m


def test_nonsense() -> None:
    for call, words in (
        (lambda: longest_run_m(43.2, 40.5, -1.0, 1.83), "power_w can't be negative"),
        (lambda: longest_run_m(43.2, np.nan, 1.0, 1.83), "lowest_v can't be negative or missing"),
        (lambda: longest_run_m(43.2, 40.5, 1.0, 0.0), "ohm_per_km must be positive"),
        (lambda: smallest_size(43.2, 40.5, 1.0, 50.0, [1.15, 1.83]), "thinnest size to the thickest"),
        (lambda: smallest_size(43.2, 40.5, 1.0, 50.0, []), "thinnest size to the thickest"),
        (lambda: smallest_size(43.2, 40.5, 1.0, 50.0, SIZES, ampacity_a=[10.0, 20.0]), "each of the 5 sizes"),
        (lambda: largest_load_w(43.2, 40.5, -0.1), "loop_ohm can't be negative"),
        (lambda: spare_gain(43.2, 38.4, 800.0, 0.0, 0.1, 0.1, 0.1, 0.1), "must be positive"),
        (lambda: spare_gain(43.2, 38.4, 800.0, 10.0, 0.1, 0.1, np.nan, 0.1), "spare_line_ohm"),
    ):
        with pytest.raises(ValueError, match=words):
            call()
