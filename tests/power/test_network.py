"""The general load flow: identities that any solution must keep, and limits where it must agree with something else."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast.power import (
    Network,
    Solution,
    collapse_factor,
    largest_power_w,
    resistance_ohm,
    single,
    solve,
    thevenin,
)
from upmast.power.loads import Loads

SEEDS = range(40)


def random_site(seed: int) -> tuple[Network, np.ndarray]:
    """A plant, 1 to 6 radios, straight or bussed or cascaded, a shield sometimes; 5 scenarios."""
    rng = np.random.default_rng(seed)
    ends, ohm, ports = [(0, 2)], [rng.choice([0.0, 0.005, 0.012])], []
    nodes, boxes = 3, [(2, 1)]
    for _ in range(int(rng.integers(1, 7))):
        up, down = boxes[int(rng.integers(len(boxes)))]
        line, back, plus, minus = range(nodes, nodes + 4)
        nodes += 4
        ends += [(up, line), (back, down), (line, plus), (minus, back)]
        ohm += list(rng.uniform(0.01, 0.2, 2)) + list(rng.uniform(0.005, 0.03, 2))
        ports.append((plus, minus))
        if rng.random() < 0.4:
            boxes.append((line, back))
        if rng.random() < 0.3:
            ends.append((back, 1))
            ohm.append(rng.uniform(0.05, 0.3))
    branch, port = np.array(ends), np.array(ports)
    scale = rng.uniform(0.9, 1.3, (5, 1))
    network = Network(
        nodes, branch[:, 0], branch[:, 1], np.array(ohm) * scale, 0, 1, rng.uniform(40, 57, 5), port[:, 0], port[:, 1]
    )
    power = rng.uniform(50, 900, len(ports)) * rng.uniform(0.3, 1.0, (5, 1))
    return network, power


def check_laws(network: Network, power: np.ndarray, found: Solution) -> None:
    """Ohm on each branch, Kirchhoff at each node, P = V I at each port, source power = loads + losses."""
    ohm = np.broadcast_to(network.branch_ohm, (*found.exists.shape, network.branch_from.size))
    live = np.isfinite(ohm)
    drop = found.node_v[..., network.branch_from] - found.node_v[..., network.branch_to]
    np.testing.assert_allclose(np.where(live, drop, 0), np.where(live, ohm, 0) * found.branch_a, atol=1e-7)
    np.testing.assert_array_equal(found.branch_a[~live], 0.0)
    net = np.zeros((*found.exists.shape, network.node_count))
    for k, (a, b) in enumerate(zip(network.branch_from, network.branch_to, strict=True)):
        net[..., a] += found.branch_a[..., k]
        net[..., b] -= found.branch_a[..., k]
    for k, (a, b) in enumerate(zip(network.port_plus, network.port_minus, strict=True)):
        net[..., a] += found.port_a[..., k]
        net[..., b] -= found.port_a[..., k]
    inner = np.setdiff1d(np.arange(network.node_count), [network.source_plus, network.source_minus])
    np.testing.assert_allclose(net[..., inner], 0.0, atol=1e-8)
    fed = found.supplied
    np.testing.assert_allclose((found.port_v * found.port_a)[fed], np.broadcast_to(power, fed.shape)[fed], rtol=1e-12)
    seen = found.node_v[..., network.port_plus] - found.node_v[..., network.port_minus]
    np.testing.assert_allclose(seen[fed], found.port_v[fed], atol=1e-9)
    loss = np.where(live, np.where(live, ohm, 0) * found.branch_a**2, 0).sum(axis=-1)
    loads = (found.port_v * found.port_a).sum(axis=-1)
    np.testing.assert_allclose(found.source_w, loads + loss, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_laws_hold(seed: int) -> None:
    network, power = random_site(seed)
    power = power * np.minimum(1.0, 0.7 * collapse_factor(network, power))[:, None]
    found = solve(network, power)
    assert found.exists.all()
    assert found.certified.all()
    assert found.supplied.all()
    check_laws(network, power, found)


@pytest.mark.parametrize("seed", SEEDS)
def test_existence_flips_at_the_collapse_factor(seed: int) -> None:
    network, power = random_site(seed)
    factor = collapse_factor(network, power, 1e-8)[:, None]
    below, above = solve(network, power * factor * (1 - 1e-6)), solve(network, power * factor * (1 + 1e-6))
    assert below.exists.all()
    assert not above.exists.any()
    assert above.certified.all()
    assert np.isnan(above.port_v).all()
    assert np.isnan(above.port_a).all()
    assert np.isnan(above.source_w).all()
    np.testing.assert_allclose(collapse_factor(network, power * factor), 1.0, rtol=2e-6)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("share", [0.3, 0.9, 0.98])
def test_high_root(seed: int, share: float) -> None:
    """The isotone sweep V <- Voc - Z P / V from Voc stays above the greatest solution: Newton must end there too."""
    network, power = random_site(seed)
    power = power * share * collapse_factor(network, power)[:, None]
    found, linear = solve(network, power), thevenin(network)
    v = linear.voc_v.copy()
    for _ in range(600):
        v = linear.voc_v - (linear.z_ohm @ (power / v)[..., None])[..., 0]
    assert found.exists.all()
    np.testing.assert_allclose(found.port_v, v, rtol=1e-9)
    # on the low root a little more power would raise a voltage
    more = solve(network, power * 1.0001)
    assert np.all(more.port_v < found.port_v)


@settings(max_examples=150, deadline=None)
@given(
    emf=st.floats(20, 60),
    line=st.floats(0.001, 2),
    back=st.floats(0.001, 2),
    share=st.floats(0, 0.9999) | st.floats(1.0001, 5),
)
def test_one_pair_is_the_closed_form(emf: float, line: float, back: float, share: float) -> None:
    power = share * float(largest_power_w(emf, line + back))
    found = solve(Network(4, [0, 3], [2, 1], np.array([line, back]), 0, 1, np.array(emf), [2], [3]), [power])  # type: ignore[arg-type]
    flow = single(emf, line + back, power)
    assert found.exists == flow.exists == (share < 1)
    assert found.certified
    if share < 1:
        assert found.port_v[0] == pytest.approx(float(flow.voltage_v), rel=1e-9)
        assert found.port_a[0] == pytest.approx(float(flow.current_a), rel=1e-9)


def two_radios(ohm: np.ndarray, emf: float = 48.0, factor: float = 1.0) -> tuple[Network, list[float]]:
    """Straight: nodes 2, 3 the first radio, 4, 5 the second. Branches: line, return, line, return."""
    network = Network(6, [0, 3, 0, 5], [2, 1, 4, 1], ohm, 0, 1, np.array(emf), [2, 4], [3, 5])  # type: ignore[arg-type]
    return network, [600.0 * factor, 400.0 * factor]


@pytest.mark.parametrize("broken", [[0], [1], [0, 1]], ids=["line", "return", "pair"])
def test_open_pair_leaves_its_radio_and_only_it_without_supply(broken: list[int]) -> None:
    ohm = np.full((2, 4), 0.1)
    ohm[1, broken] = np.inf
    network, power = two_radios(ohm)
    found = solve(network, power)
    assert found.exists.all()
    np.testing.assert_array_equal(found.supplied, [[True, True], [False, True]])
    assert found.port_v[1, 0] == 0
    assert found.port_a[1, 0] == 0
    assert found.port_v[1, 1] == pytest.approx(float(single(48.0, 0.2, 400.0).voltage_v), rel=1e-12)
    np.testing.assert_array_equal(found.branch_a[1, :2], 0.0)
    assert np.isnan(found.node_v[1]).sum() == len(broken)
    check_laws(network, np.array(power), found)
    # what is not supplied can't collapse the rest
    alone = float(largest_power_w(48.0, 0.2)) / 400.0
    assert collapse_factor(network, power)[1] == pytest.approx(alone, rel=2e-6)


def test_half_hung_radio_on_a_shared_feeder_does_not_disturb_the_other() -> None:
    """Both radios hang on one bar behind 0.4 ohm, the return of the first is open: its line wire sags with the bar."""
    ohm = np.array([0.4, 0.05, 0.05, np.inf, 0.05])
    network = Network(7, [0, 2, 2, 4, 6], [2, 3, 5, 1, 1], ohm, 0, 1, np.array(48.0), [3, 5], [4, 6])  # type: ignore[arg-type]
    found = solve(network, [900.0, 900.0])
    flow = single(48.0, 0.5, 900.0)
    assert found.exists
    assert found.port_v.tolist() == [0.0, pytest.approx(float(flow.voltage_v), rel=1e-12)]
    assert found.node_v[3] == pytest.approx(48.0 - 0.4 * float(flow.current_a), rel=1e-12)
    assert np.isnan(found.node_v[4])
    assert collapse_factor(network, [900.0, 900.0]) == pytest.approx(float(flow.largest_power_w) / 900, rel=2e-6)


def test_open_line_with_a_live_return_bonded_elsewhere_is_not_supplied() -> None:
    """The line wire is open, a bond ties the box line bar to the return: both nodes hang on 0 V."""
    network = Network(4, [0, 3, 2], [2, 1, 1], np.array([np.inf, 0.1, 0.1]), 0, 1, np.array(48.0), [2], [3])  # type: ignore[arg-type]
    found = solve(network, [500.0])
    assert not found.supplied[0]
    assert found.port_v[0] == 0
    assert found.exists
    assert found.source_w == 0


def test_all_open_and_no_emf() -> None:
    network, power = two_radios(np.full(4, np.inf))
    found = solve(network, power)
    assert found.exists
    assert not found.supplied.any()
    assert np.isinf(collapse_factor(network, power))
    dead, power = two_radios(np.full(4, 0.1), emf=0.0)
    assert not solve(dead, power).supplied.any()


def test_no_load_is_the_open_circuit() -> None:
    network, _ = random_site(3)
    power = np.zeros(network.port_plus.size)
    found = solve(network, power)
    np.testing.assert_allclose(found.port_v, np.broadcast_to(network.emf_v[:, None], found.port_v.shape), rtol=1e-12)
    assert found.iterations == 0
    assert np.isinf(collapse_factor(network, power)).all()


def test_links_without_resistance() -> None:
    """Bars and cut-in links of 0 ohm: as if the nodes were one; current through them still comes out."""
    bare = Network(5, [0, 2, 4], [2, 3, 1], np.array([0.0, 0.1, 0.1]), 0, 1, np.array(48.0), [3], [4])  # type: ignore[arg-type]
    found = solve(bare, [500.0])
    flow = single(48.0, 0.2, 500.0)
    assert found.port_v[0] == pytest.approx(float(flow.voltage_v), rel=1e-8)
    np.testing.assert_allclose(found.branch_a, float(flow.current_a), rtol=1e-8)
    twin = Network(5, [0, 0, 2, 4], [2, 2, 3, 1], np.array([0.0, 0.0, 0.1, 0.1]), 0, 1, np.array(48.0), [3], [4])  # type: ignore[arg-type]
    both = solve(twin, [500.0]).branch_a
    np.testing.assert_allclose(both[:2], float(flow.current_a) / 2, rtol=1e-4)


def test_a_link_open_in_one_scenario_and_bare_in_another() -> None:
    ohm = np.array([[0.0, 0.1, 0.1], [np.inf, 0.1, 0.1]])
    found = solve(Network(5, [0, 2, 4], [2, 3, 1], ohm, 0, 1, np.array(48.0), [3], [4]), [500.0])  # type: ignore[arg-type]
    np.testing.assert_array_equal(found.supplied[:, 0], [True, False])
    assert found.exists.all()
    assert found.branch_a[1, 0] == 0


def test_load_at_the_source_itself() -> None:
    network = Network(2, [], [], np.zeros(0), 0, 1, np.array(48.0), [0], [1])  # type: ignore[arg-type]
    found = solve(network, [480.0])
    assert found.port_a[0] == pytest.approx(10.0)
    assert found.source_w == pytest.approx(480.0)


def test_no_ports_and_no_scenarios() -> None:
    idle = Network(3, [0], [2], np.array([[0.1], [0.2]]), 0, 1, np.array(48.0), [], [])  # type: ignore[arg-type]
    found = solve(idle, np.zeros(0))
    np.testing.assert_array_equal(found.exists, [True, True])
    np.testing.assert_array_equal(found.node_v[:, 2], 48.0)
    assert found.port_v.shape == (2, 0)
    empty = Network(3, [0], [2], np.zeros((0, 1)), 0, 1, np.array(48.0), [2], [1])  # type: ignore[arg-type]
    assert solve(empty, [100.0]).port_v.shape == (0, 1)


def test_no_solution_in_one_scenario_leaves_the_others_alone() -> None:
    network, power = two_radios(np.full(4, 0.5))
    found = solve(network, np.array([power, [600.0, 5000.0], [10.0, 10.0]]))
    np.testing.assert_array_equal(found.exists, [False, False, True])  # 48^2/4 = 576 W is the most that a pair can give
    assert np.isfinite(found.port_v[2]).all()
    assert found.port_v[2, 0] == pytest.approx(float(single(48.0, 1.0, 10.0).voltage_v), rel=1e-12)


def test_exactly_singular_jacobian_is_a_result() -> None:
    """1 V, 1 W and 2 V, 4 W behind 1 ohm: J = 1 - Z P / V^2 is exactly 0 at the start; no exception, no solution."""
    network = Network(3, [0], [2], np.array([1.0]), 0, 1, np.array([1.0, 2.0, 48.0]), [2], [1])  # type: ignore[arg-type]
    found = solve(network, np.array([[1.0], [4.0], [10.0]]))
    np.testing.assert_array_equal(found.exists, [False, False, True])


@pytest.mark.parametrize("seed", [0, 5, 9])
def test_batch_equals_one_by_one(seed: int) -> None:
    network, power = random_site(seed)
    power = power * 0.8 * collapse_factor(network, power)[:, None]
    together = solve(network, power)
    factor = collapse_factor(network, power)
    for k in range(5):
        alone = Network(
            network.node_count, network.branch_from, network.branch_to, network.branch_ohm[k], 0, 1,
            network.emf_v[k], network.port_plus, network.port_minus,
        )  # fmt: skip
        one = solve(alone, power[k])
        np.testing.assert_allclose(one.port_v, together.port_v[k], rtol=1e-11)
        np.testing.assert_allclose(one.branch_a, together.branch_a[k], rtol=1e-8, atol=1e-9)
        assert one.exists.shape == ()
        assert collapse_factor(alone, power[k]) == pytest.approx(factor[k], rel=2e-6)


def test_axes_broadcast() -> None:
    """Resistance by temperature, emf by state of charge, power by load: a full grid from three axes."""
    network, power = two_radios(np.full((3, 1, 1, 4), 0.1) * np.array([0.9, 1.0, 1.1])[:, None, None, None])
    grid = Network(
        6,
        network.branch_from,
        network.branch_to,
        network.branch_ohm,
        0,
        1,
        np.array([[44.0], [54.0]]),
        [2, 4],
        [3, 5],  # type: ignore[arg-type]
    )
    found = solve(grid, np.array(power) * np.array([0.3, 0.6, 0.8, 1.0])[:, None])
    assert found.port_v.shape == (3, 2, 4, 2)
    assert found.exists.shape == (3, 2, 4)
    assert found.port_v[2, 1, 3, 0] == pytest.approx(float(single(54.0, 0.22, 600.0).voltage_v), rel=1e-12)


def test_thevenin_is_symmetric_and_not_negative() -> None:
    for seed in SEEDS:
        linear = thevenin(random_site(seed)[0])
        np.testing.assert_allclose(linear.z_ohm, np.swapaxes(linear.z_ohm, -1, -2), rtol=1e-9, atol=1e-12)
        assert linear.z_ohm.min() >= -1e-12


def test_opposing_ports_have_one_stable_solution_and_only_that_is_certified() -> None:
    """Two loads in series aiding each other through a shared wire the wrong way round: Z has a negative entry."""
    # one load from line to return, one connected so that its current relieves the first one's return wire
    ends = ([0, 2, 3, 3], [2, 3, 1, 4])
    network = Network(5, *ends, np.array([0.1, 1.0, 0.5, 0.1]), 0, 1, np.array(48.0), [2, 0], [1, 4])  # type: ignore[arg-type]
    crossed = Network(5, *ends, np.array([0.1, 1.0, 0.5, 0.1]), 0, 1, np.array(48.0), [2, 4], [3, 1])  # type: ignore[arg-type]
    assert thevenin(crossed).z_ohm.min() < 0
    found = solve(crossed, [5.0, 5.0])
    assert found.exists
    assert found.certified
    check_laws(crossed, np.array([5.0, 5.0]), found)
    assert solve(network, [5.0, 5.0]).exists
    # without order a failure to find is no proof
    too_much = solve(crossed, [5e3, 5e3])
    assert not too_much.exists
    assert not too_much.certified


def tree_site(seed: int) -> tuple[Network, np.ndarray, np.ndarray]:
    """As `random_site`, line and return wires side by side everywhere; and the branches of each trunk pair, [pairs, 2]."""
    network, power = random_site(seed)
    shield = (network.branch_to == 1) & (np.arange(network.branch_to.size) > 0)
    # a return wire is made before its node's jumper, a shield after it
    first = np.zeros(shield.size, bool)
    first[np.unique(network.branch_from, return_index=True)[1]] = True
    keep = ~shield | first
    ends = network.branch_from[keep], network.branch_to[keep]
    thinned = Network(
        network.node_count, *ends, network.branch_ohm[:, keep], 0, 1, network.emf_v, network.port_plus, network.port_minus
    )  # fmt: skip
    pairs = 1 + 4 * np.arange(network.port_plus.size)[:, None] + np.array([0, 1])
    assert thinned.branch_from.size == 1 + 4 * network.port_plus.size
    return thinned, power * 0.8 * np.minimum(1, collapse_factor(thinned, power))[:, None], pairs


def with_ohm(network: Network, ohm: np.ndarray) -> Network:
    return Network(
        network.node_count, network.branch_from, network.branch_to, ohm, 0, 1, network.emf_v, network.port_plus, network.port_minus
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), longer=st.floats(1.001, 1.4))
def test_voltage_falls_with_length(seed: int, longer: float) -> None:
    """All wires longer by one factor, the same radios running: each voltage falls; what runs far off runs near, too."""
    network, power = random_site(seed)
    near, far = solve(network, power), solve(with_ohm(network, network.branch_ohm * longer), power)
    assert np.all(near.exists | ~far.exists)
    assert near.certified.all()
    assert far.certified.all()
    both = far.exists
    assert np.all(far.port_v[both] < near.port_v[both])


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), cold=st.floats(-30, 60), hotter=st.floats(1, 60))
def test_voltage_falls_with_temperature(seed: int, cold: float, hotter: float) -> None:
    """The copper of every second branch gets hotter; what is not copper (contacts) stays."""
    network, power, _ = tree_site(seed)
    cable = np.arange(network.branch_from.size) % 2 == 0
    flows = [
        solve(
            with_ohm(network, np.where(cable, resistance_ohm(1000.0, network.branch_ohm, theta), network.branch_ohm)),
            power,
        )
        for theta in (cold, cold + hotter)
    ]
    both = flows[1].exists
    assert np.all(flows[0].exists | ~both)
    assert np.all(flows[1].port_v[both] < flows[0].port_v[both] + 1e-12)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), which=st.integers(0, 5), more=st.floats(1.0001, 1.5))
def test_voltage_falls_with_the_power_of_any_radio(seed: int, which: int, more: float) -> None:
    network, power = random_site(seed)
    power = power * 0.6 * np.minimum(1, collapse_factor(network, power))[:, None]
    raised = power.copy()
    k = which % power.shape[1]
    raised[:, k] *= more
    before, after = solve(network, power), solve(network, raised)
    assert before.exists.all()
    assert np.all(after.exists)
    assert np.all(after.port_v <= before.port_v + 1e-12)
    assert np.all(after.port_v[:, k] < before.port_v[:, k])


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), which=st.integers(0, 5))
def test_doubling_both_conductors_of_a_pair_lowers_no_voltage(seed: int, which: int) -> None:
    network, power, pairs = tree_site(seed)
    ohm = network.branch_ohm.copy()
    ohm[:, pairs[which % len(pairs)]] /= 2
    before, after = solve(network, power), solve(with_ohm(network, ohm), power)
    assert before.exists.all()
    assert after.exists.all()
    assert np.all(after.port_v >= before.port_v - 1e-11)
    assert np.all(after.port_v[:, which % len(pairs)] > before.port_v[:, which % len(pairs)])


def test_doubling_a_return_may_lower_a_voltage_where_a_shield_is_bonded_further_out() -> None:
    """A better return between two boxes sends current of the first through the shield of the second, whose 0 V bar rises."""
    ends = ([0, 3, 5, 5], [2, 1, 3, 1])  # line; return of the first box; return between the boxes; shield of the second
    ohm = np.array([[0.01, 1.0, 1.0, 0.2], [0.01, 1.0, 0.5, 0.2]])
    network = Network(6, *ends, ohm, 0, 1, np.array(48.0), [2, 2], [3, 5])  # type: ignore[arg-type]
    v = solve(network, [400.0, 20.0]).port_v
    assert v[1, 0] > v[0, 0]
    assert v[1, 1] < v[0, 1] - 0.2


def test_a_spare_on_one_side_only_is_not_half_the_loop() -> None:
    """Loop 0.2 ohm. A second line wire gives 0.15 ohm, not 0.1; both wires doubled give 0.1 ohm."""
    ends = ([0, 0, 3, 3], [2, 2, 1, 1])
    ohm = np.array([[0.1, np.inf, 0.1, np.inf], [0.1, 0.1, 0.1, np.inf], [0.1, 0.1, 0.1, 0.1]])
    found = solve(Network(4, *ends, ohm, 0, 1, np.array(43.2), [2], [3]), [1000.0])  # type: ignore[arg-type]
    expected = single(43.2, [0.2, 0.15, 0.1], 1000.0).voltage_v
    np.testing.assert_allclose(found.port_v[:, 0], expected, rtol=1e-12)
    assert expected[1] < expected[2] - 1


def test_an_open_return_of_a_bussed_box_overloads_its_neighbour_and_drops_nobody() -> None:
    """Two pairs to one box, the first return open: the radio runs on three wires, the other return takes it all."""
    ends = ([0, 3, 0, 3, 2, 5], [2, 1, 2, 1, 4, 3])
    ohm = np.array([[0.1, 0.1, 0.1, 0.1, 0.01, 0.01], [0.1, np.inf, 0.1, 0.1, 0.01, 0.01]])
    found = solve(Network(6, *ends, ohm, 0, 1, np.array(48.0), [4], [5]), [800.0])  # type: ignore[arg-type]
    assert found.supplied.all()
    np.testing.assert_allclose(found.port_v[:, 0], single(48.0, [0.12, 0.17], 800.0).voltage_v, rtol=1e-12)
    np.testing.assert_allclose(found.branch_a[1, [1, 3]], [0.0, found.port_a[1, 0]], atol=1e-12)
    np.testing.assert_allclose(found.branch_a[1, [0, 2]], found.port_a[1, 0] / 2, rtol=1e-12)


def test_an_open_return_between_two_boxes_drops_what_hangs_behind_it_only() -> None:
    ends = ([0, 3, 2, 5], [2, 1, 4, 3])  # first box: line, return; second box behind it: line, return
    ohm = np.array([[0.05, 0.05, 0.08, 0.08], [0.05, 0.05, 0.08, np.inf]])
    found = solve(Network(6, *ends, ohm, 0, 1, np.array(48.0), [2, 4], [3, 5]), [500.0, 400.0])  # type: ignore[arg-type]
    np.testing.assert_array_equal(found.supplied, [[True, True], [True, False]])
    assert found.port_v[1, 0] == pytest.approx(float(single(48.0, 0.1, 500.0).voltage_v), rel=1e-12)
    assert found.port_a[1, 1] == 0


def test_an_idle_port_may_lie_below_nothing() -> None:
    """A port without load from the far end of a loaded line wire to the far end of a loaded return wire reads negative."""
    ends = ([0, 0, 4, 5], [2, 3, 1, 1])
    ohm = np.array([0.01, 1.1, 1.1, 0.01])
    network = Network(6, *ends, ohm, 0, 1, np.array(48.0), [2, 3, 3], [4, 5, 4])  # type: ignore[arg-type]
    found = solve(network, Loads([0.0, 0.0, 0.0], [25.0, 25.0, 0.0]))
    assert found.exists
    assert found.certified
    np.testing.assert_allclose(found.port_v, [20.25, 20.25, 48 - 2 * 27.5], rtol=1e-12)
    assert not solve(network, Loads([0.0, 0.0, 0.0], [25.0, 25.0, 0.1])).exists


@pytest.mark.parametrize(
    "change",
    [
        {"branch_from": [0, 9]},
        {"branch_ohm": [-0.1, 0.1]},
        {"branch_ohm": [np.nan, 0.1]},
        {"branch_ohm": [0.1, 0.1, 0.1]},
        {"branch_to": [0, 1]},
        {"source_minus": 0},
        {"source_plus": 7},
        {"emf_v": -1.0},
        {"emf_v": np.inf},
        {"port_minus": [2]},
        {"port_plus": [2, 3]},
        {"node_count": 1_000_000},
    ],
)
def test_nonsense_is_refused(change: dict[str, object]) -> None:
    fields = {
        "node_count": 4, "branch_from": [0, 3], "branch_to": [2, 1], "branch_ohm": [0.1, 0.1], "source_plus": 0, "source_minus": 1,
        "emf_v": 48.0, "port_plus": [2], "port_minus": [3],
    }  # fmt: skip
    Network(**fields)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"."):
        Network(**(fields | change))  # type: ignore[arg-type]


def test_nonsense_power_is_refused() -> None:
    network, _ = two_radios(np.full(4, 0.1))
    for power in ([-1.0, 1.0], [np.nan, 1.0], [1.0], 5.0, [np.inf, 1.0]):
        with pytest.raises(ValueError, match="power_w"):
            solve(network, power)
    with pytest.raises(ValueError, match="tolerance"):
        collapse_factor(network, [1.0, 1.0], 0.0)


def test_a_step_to_nothing_is_no_solution() -> None:
    """Twice the deliverable power sends Newton's first step to 0 V within rounding: refuted, and certified so."""
    network = Network(4, [0, 3], [2, 1], np.array([1.9999999999999998, 1.0]), 0, 1, np.array(20.0), [2], [3])  # type: ignore[arg-type]
    found = solve(network, [2 * float(largest_power_w(20.0, 2.9999999999999998))])
    assert not found.exists
    assert found.certified
