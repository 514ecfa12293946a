"""Trees in closed form along the spurs: against the general network, ngspice operating points and the fold."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import brentq

from upmast.power.load_flow import largest_power_w, single
from upmast.power.network import Network, collapse_factor, solve
from upmast.power.resistance import conductor_ohm_per_km, resistance_ohm
from upmast.power.tree import Tree, bussed, solve_tree

Array = NDArray[np.float64]


def network_of(tree: Tree, source: np.ndarray, feeder: np.ndarray, spur: np.ndarray) -> Network:
    """The same tree as line and return wires, unequally shared between the two."""
    nodes, ends, ohm, ports, at = 2, [], [], [], [(0, 1)]
    for b, parent in enumerate(tree.parent):
        plus, minus = at[parent + 1]
        at.append((nodes, nodes + 1))
        ends += [(plus, nodes), (nodes + 1, minus)]
        ohm += [0.4 * feeder[..., b], 0.6 * feeder[..., b]]
        nodes += 2
    for k, b in enumerate(tree.spur_bus):
        plus, minus = at[b + 1]
        ends += [(plus, nodes), (nodes + 1, minus)]
        ohm += [0.7 * spur[..., k], 0.3 * spur[..., k]]
        ports.append((nodes, nodes + 1))
        nodes += 2
    branch, port = np.array(ends), np.array(ports)
    wires = np.stack(np.broadcast_arrays(*ohm), axis=-1)
    return Network(nodes, branch[:, 0], branch[:, 1], wires, 0, 1, source, port[:, 0], port[:, 1])


def random_tree(seed: int, scenarios: int = 40) -> tuple[Tree, tuple[np.ndarray, ...], np.ndarray]:
    """1 to 4 buses in any cascade, 1 to 6 spurs on them or on the source, loads at any distance from collapse."""
    rng = np.random.default_rng(seed)
    buses, spurs = int(rng.integers(1, 5)), int(rng.integers(1, 7))
    tree = Tree([int(rng.integers(-1, b)) for b in range(buses)], rng.integers(-1, buses, spurs))
    source = rng.uniform(40, 57, scenarios)
    feeder, spur = rng.uniform(0, 0.2, (scenarios, buses)), rng.uniform(0.001, 0.2, (scenarios, spurs))
    power = rng.uniform(0, 900, (scenarios, spurs))
    factor = collapse_factor(network_of(tree, source, feeder, spur), power, 1e-10)
    share = rng.choice([0.1, 0.7, 0.99, 0.9999, 1.0001, 1.01, 1.5], scenarios)
    return tree, (source, feeder, spur, power * (share * factor)[:, None]), share


@pytest.mark.parametrize("seed", range(40))
def test_agrees_with_the_general_network(seed: int) -> None:
    tree, inputs, share = random_tree(seed)
    source, feeder, spur, power = inputs
    found, other = solve_tree(tree, *inputs), solve(network_of(tree, source, feeder, spur), power)
    np.testing.assert_array_equal(found.exists, share < 1)
    np.testing.assert_array_equal(found.exists, other.exists)
    np.testing.assert_allclose(found.voltage_v, other.port_v, rtol=0, atol=1e-9)
    np.testing.assert_allclose(found.current_a, other.port_a, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(found.source_a * source, other.source_w, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(
        found.feeder_a, other.branch_a[:, 0 : 2 * tree.parent.size : 2], rtol=1e-8, atol=1e-9
    )  # fmt: skip
    for values in (found.bus_v, found.feeder_a, found.voltage_v, found.current_a):
        assert np.isnan(values[~found.exists]).all()
        assert np.isfinite(values[found.exists]).all()


@pytest.mark.parametrize("seed", range(6))
def test_array_equals_scalar(seed: int) -> None:
    tree, inputs, _ = random_tree(seed)
    together = solve_tree(tree, *inputs)
    for k in range(8):
        one = solve_tree(tree, *(x[k] for x in inputs))
        assert one.exists.shape == ()
        assert one.exists == together.exists[k]
        np.testing.assert_array_equal(one.voltage_v, together.voltage_v[k])
        np.testing.assert_array_equal(one.bus_v, together.bus_v[k])


def test_chunks_don_t_change_the_answer() -> None:
    rng = np.random.default_rng(4)
    size = 3 * 2**16 // 2 + 7
    source, power = rng.uniform(40, 57, size), rng.uniform(0, 900, (size, 2))
    whole = bussed(source, 0.1, [0.05, 0.1], power)
    for part in (slice(0, 100), slice(2**15 - 50, 2**15 + 50), slice(size - 9, size)):
        np.testing.assert_array_equal(
            bussed(source[part], 0.1, [0.05, 0.1], power[part]).voltage_v, whole.voltage_v[part]
        )


@pytest.mark.parametrize("seed", range(8))
def test_the_fold_of_a_bussed_box(seed: int) -> None:
    """
    The truth by the bus voltage: for each, the common factor on the powers at which the box stands there (bisection on a rising
    sum); the largest over all bus voltages is the collapse factor. Bussed boxes within 3 % of it, on either side.
    """
    rng = np.random.default_rng(seed)
    n, source, feeder = int(rng.integers(1, 7)), rng.uniform(40, 57), rng.uniform(0.01, 0.2)
    spur, power = rng.uniform(0.005, 0.2, n), rng.uniform(50, 900, n)

    def factor_at(bus: np.ndarray) -> np.ndarray:
        low, high = np.zeros(bus.shape), np.min(bus[:, None] ** 2 / (4 * spur * power), axis=1)
        for _ in range(60):
            middle = (low + high) / 2
            root = np.sqrt(np.maximum(bus[:, None] ** 2 - 4 * spur * power * middle[:, None], 0))
            much = feeder * (2 * power * middle[:, None] / (bus[:, None] + root)).sum(axis=1) > source - bus
            low, high = np.where(much, low, middle), np.where(much, middle, high)
        return low

    bus = np.linspace(0.02, 0.999, 2000) * source
    for _ in range(6):
        best = int(np.argmax(factor_at(bus)))
        bus = np.linspace(bus[max(best - 2, 0)], bus[min(best + 2, bus.size - 1)], 200)
    fold = factor_at(bus).max()
    distance = 10 ** rng.uniform(-7, np.log10(0.03), 200)
    assert bussed(source, feeder, spur, power * (fold * (1 - distance))[:, None]).exists.all()
    assert not bussed(source, feeder, spur, power * (fold * (1 + distance))[:, None]).exists.any()


def test_unequal_pairs_to_a_bussed_box_ngspice() -> None:
    """16, 16, 10 mm2 in parallel, line and return each: R = r_0 + 1 / sum(1 / R_line) + 1 / sum(1 / R_return)."""
    wire = resistance_ohm([conductor_ohm_per_km(area, 2) for area in (16, 16, 10)], 80, 45)
    feeder = 0.010 + 1 / np.sum(1 / (wire + 0.003)) + 1 / np.sum(1 / (wire + 0.001))
    spur = 2 * resistance_ohm(conductor_ohm_per_km(4, 5), [2, 4, 6], 45)
    box = bussed(46.0, feeder, spur, [500.0, 900.0, 700.0])
    np.testing.assert_allclose(box.voltage_v, [41.1673, 40.4641, 40.2983], atol=6e-5)
    inside = box.feeder_a / np.sum(1 / (wire + 0.003)) / (wire + 0.003)
    np.testing.assert_allclose(inside, [19.6408, 19.6408, 12.4763], atol=6e-5)
    back = box.feeder_a / np.sum(1 / (wire + 0.001)) / (wire + 0.001)
    np.testing.assert_allclose(back, [19.6745, 19.6745, 12.4089], atol=6e-5)
    nearly = bussed(46.0, feeder, spur, np.array([500.0, 900.0, 700.0]) * np.array([[2.3855], [2.3865]]))
    assert nearly.exists.tolist() == [True, False]


@pytest.mark.parametrize(
    ("common", "volts", "return_a", "shield_a"),
    [(True, [43.8589, 43.9733], 8.5970, 6.7197), (False, [43.4061, 43.5217], 12.0813, 0.0)],
    ids=["bonded at both ends", "bonded at one end"],
)
def test_shield_beside_the_returns_ngspice(common: bool, volts: list[float], return_a: float, shield_a: float) -> None:
    wire = resistance_ohm(conductor_ohm_per_km(10, 2), 60, 50)
    metal = resistance_ohm(2.4, 60, 40) + 0.003
    back = 1 / (2 / (wire + 0.001) + common / metal)
    spur = 2 * resistance_ohm(conductor_ohm_per_km(4, 5), [3, 3], 50)
    box = bussed(47.0, 0.005 + (wire + 0.003) / 2 + back, spur, [600.0, 450.0])
    np.testing.assert_allclose(box.voltage_v, volts, atol=6e-5)
    assert box.feeder_a * back / (wire + 0.001) == pytest.approx(return_a, abs=6e-5)
    assert common * box.feeder_a * back / metal == pytest.approx(shield_a, abs=6e-5)


def test_straight_pair_ngspice() -> None:
    """A spur of the source itself: 50 m of 10 mm2 at 50 C and a jumper, 800 W at 48 and 43.2 V."""
    loop = 2 * resistance_ohm(conductor_ohm_per_km(10, 2), 50, 50) + 0.004
    loop = loop + 2 * resistance_ohm(conductor_ohm_per_km(4, 5), 5, 50)
    flow = solve_tree(Tree([], [-1]), [48.0, 43.2], np.zeros(0), [loop], [800.0])
    np.testing.assert_allclose(flow.voltage_v[:, 0], [43.1016, 37.5822], atol=6e-5)
    np.testing.assert_allclose(flow.source_a, [18.5608, 21.2867], atol=6e-5)
    most = float(largest_power_w(48.0, loop))
    near = solve_tree(Tree([], [-1]), 48.0, np.zeros(0), [loop], np.array([[0.9999], [1.0001]]) * most)
    assert near.exists.tolist() == [True, False]


@settings(max_examples=200, deadline=None)
@given(
    source=st.floats(20, 60),
    feeder=st.just(0.0) | st.floats(1e-6, 1),
    spur=st.just(0.0) | st.floats(1e-6, 1),
    share=st.floats(0, 0.99999) | st.floats(1.00001, 3),
)
def test_one_spur_is_one_pair(source: float, feeder: float, spur: float, share: float) -> None:
    power = share * source**2 / (4 * (feeder + spur)) if feeder + spur > 1e-6 else 100.0
    box, flow = bussed(source, feeder, [spur], [power]), single(source, feeder + spur, power)
    assert box.exists == flow.exists
    if box.exists:
        assert box.voltage_v[0] == pytest.approx(float(flow.voltage_v), rel=1e-9)
        assert box.current_a[0] == pytest.approx(float(flow.current_a), rel=1e-9)
        assert box.voltage_v[0] >= source / 2 * (1 - 1e-9)  # never the low root


def test_bus_voltage_of_a_battery() -> None:
    """What a root search on the balance of currents at the bus gives, from the emf downwards to where it changes sign."""
    rng = np.random.default_rng(3)
    emf, loop, power = rng.uniform(38, 57, 50), rng.uniform(0.05, 0.5, (50, 4)), rng.uniform(0, 700, (50, 4))
    found = bussed(emf, 0.012, loop, power)
    assert found.exists.sum() > 40
    for e, r, p, bus_v, exists in zip(emf, loop, power, found.bus_v, found.exists, strict=True):
        least = 2 * np.sqrt(float((r * p).max()))

        def missing(v: float, e: float = float(e), r: Array = r, p: Array = p) -> float:
            return v - e + 0.012 * float((2 * p / (v + np.sqrt(np.maximum(v * v - 4 * r * p, 0.0)))).sum())

        grid = np.linspace(float(e), least, 400)
        below = np.flatnonzero(np.array([missing(float(v)) for v in grid]) < 0) if least < e else np.zeros(0, int)
        assert exists == bool(below.size)
        if exists:
            i = int(below[0])
            assert bus_v == pytest.approx(brentq(missing, grid[i], grid[i - 1], xtol=1e-12), rel=1e-11)


def test_limits_and_odd_shapes() -> None:
    idle = bussed(48.0, 0.1, [0.1, 0.2], [0.0, 0.0])
    assert idle.exists
    assert idle.voltage_v.tolist() == [48.0, 48.0]
    assert idle.feeder_a == 0
    dead = bussed([0.0, 0.0, 48.0], 0.1, [0.1], [[0.0], [1.0], [1.0]])
    assert dead.exists.tolist() == [True, False, True]
    assert dead.bus_v[0] == 0
    free = bussed(48.0, 0.0, [0.0], [480.0])
    assert free.current_a[0] == pytest.approx(10.0)
    # a spur of its own at its limit, the feeder without resistance: 48^2 / (4 x 0.5) = 1152 W
    assert bussed(48.0, 0.0, [0.5], np.array([[1152.0], [1152.0001]])).exists.tolist() == [True, False]
    grid = bussed(np.array([44.0, 54.0])[:, None], 0.1, [0.1, 0.2], np.linspace(0, 1, 5)[:, None] * [300.0, 400.0])
    assert grid.voltage_v.shape == (2, 5, 2)
    assert grid.exists.all()
    assert bussed(np.zeros(0), 0.1, [0.1], [1.0]).voltage_v.shape == (0, 1)
    none = solve_tree(Tree([-1], []), 48.0, [0.1], np.zeros(0), np.zeros(0))
    assert none.exists
    assert none.bus_v[0] == 48.0
    # a bus without load stands at the voltage of its parent
    tail = solve_tree(Tree([-1, 0], [0]), 48.0, [0.1, 0.1], [0.05], [500.0])
    assert tail.bus_v[1] == tail.bus_v[0]
    assert tail.feeder_a[1] == 0


def test_memory_is_linear_in_scenarios() -> None:
    """What is taken beside inputs and outputs stays the same, however many scenarios there are."""
    peaks = []
    for size in (60_000, 240_000):
        source, power = np.full(size, 48.0), np.full((size, 6), 100.0)
        tracemalloc.start()
        out = bussed(source, 0.05, [0.05] * 6, power)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        kept = sum(x.nbytes for x in (out.exists, out.bus_v, out.feeder_a, out.voltage_v, out.current_a))
        peaks.append(peak - kept)
    assert peaks[1] < 4.5 * peaks[0]
    assert peaks[1] < 30e6


@pytest.mark.parametrize(
    "change",
    [
        {"parent": [0]},
        {"parent": [-1, 2, 0]},
        {"parent": [-2]},
        {"spur_bus": [1, 0]},
        {"source_v": -1.0},
        {"feeder_ohm": [np.inf]},
        {"spur_ohm": [0.1, np.nan]},
        {"power_w": [-1.0, 2.0]},
        {"power_w": [1.0, 2.0, 3.0]},
        {"feeder_ohm": 0.1},
    ],
)
def test_nonsense_is_refused(change: dict[str, object]) -> None:
    given = {"parent": [-1], "spur_bus": [0, 0], "source_v": 48.0, "feeder_ohm": [0.1], "spur_ohm": [0.1, 0.1], "power_w": [1.0, 2.0]}  # fmt: skip

    def run(parent: object, spur_bus: object, **inputs: object) -> None:
        solve_tree(Tree(parent, spur_bus), **inputs)  # type: ignore[arg-type]

    run(**given)
    with pytest.raises(ValueError, match=r"parent|spur|source|feeder|power"):
        run(**(given | change))
