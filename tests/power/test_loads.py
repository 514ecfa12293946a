"""Mixed loads: constant power with a current limit, constant current, resistance, against closed forms and other solvers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import root

from upmast.power.load_flow import largest_power_w
from upmast.power.loads import Loads, absorbed
from upmast.power.network import Network, collapse_factor, deliverable_w, sensitivity, solve, thevenin


def pair(ohm: float | np.ndarray, emf: float = 48.0) -> Network:
    wires = np.asarray(ohm)[..., None] * np.array([0.4, 0.6])
    return Network(4, [0, 3], [2, 1], wires, 0, 1, np.asarray(emf), [2], [3])  # type: ignore[arg-type]


def random_bussed(seed: int, scenarios: int = 6) -> tuple[Network, Loads]:
    """A box with 2 to 5 spurs and a second box behind it; each load a mix."""
    rng = np.random.default_rng(seed)
    ends, ohm, ports, nodes = [(0, 2), (3, 1), (2, 4), (5, 3)], list(rng.uniform(0.01, 0.08, 4)), [], 6
    for _ in range(int(rng.integers(2, 6))):
        plus, minus = ((2, 3), (4, 5))[int(rng.integers(2))]
        ends += [(plus, nodes), (nodes + 1, minus)]
        ohm += list(rng.uniform(0.01, 0.1, 2))
        ports.append((nodes, nodes + 1))
        nodes += 2
    branch, port = np.array(ends), np.array(ports)
    wires = np.array(ohm) * rng.uniform(0.9, 1.2, (scenarios, 1))
    network = Network(
        nodes, branch[:, 0], branch[:, 1], wires, 0, 1, rng.uniform(42, 56, scenarios), port[:, 0], port[:, 1]
    )
    m = len(ports)
    power = rng.uniform(50, 400, (scenarios, m)) * (rng.random(m) < 0.8)
    power[:, 0] = 300.0
    current = rng.uniform(0, 4, m) * (rng.random(m) < 0.5)
    siemens = rng.uniform(0, 0.08, (scenarios, m)) * (rng.random(m) < 0.5)
    return network, Loads(power, current, siemens)


SEEDS = range(25)


@settings(max_examples=150, deadline=None)
@given(
    ohm=st.floats(0.01, 2),
    share=st.floats(0, 0.999) | st.floats(1.001, 4),
    current=st.floats(0, 15),
    siemens=st.floats(0, 0.5),
)
def test_one_pair_with_all_parts_is_the_closed_form(ohm: float, share: float, current: float, siemens: float) -> None:
    """(1 + R G) V = E - R I_0 - R P / V: a quadratic equation."""
    free = (48.0 - ohm * current) / (1 + ohm * siemens)
    inner = ohm / (1 + ohm * siemens)
    power = share * abs(free) * free / (4 * inner)
    found = solve(pair(ohm), Loads([max(power, 1.0)], current, siemens))
    if free <= 0:  # the constant current alone is too much
        assert not found.exists
        assert found.certified
        return
    if abs(power - 1.0) > 1 or power > 1:
        power = max(power, 1.0)
        exists = power <= free**2 / (4 * inner)
        assert found.exists == exists
        assert found.certified
        if exists:
            v = (free + np.sqrt(free**2 - 4 * inner * power)) / 2
            assert found.port_v[0] == pytest.approx(v, rel=1e-8)
            assert found.port_a[0] == pytest.approx(power / v + current + siemens * v, rel=1e-8)
            assert found.source_w == pytest.approx(48.0 * float(found.port_a[0]), rel=1e-8)


@pytest.mark.parametrize("seed", SEEDS)
def test_mix_against_a_general_root_finder(seed: int) -> None:
    """V = Voc - Z (P / V + I_0 + G V), not eliminated, by Powell's hybrid method from the open circuit."""
    network, loads = random_bussed(seed)
    found, linear = solve(network, loads), thevenin(network)
    assert found.exists.all()
    assert found.certified.all()
    for k in range(6):
        z, power, siemens = linear.z_ohm[k], loads.power_w[k], loads.conductance_s[k]

        def off(v: np.ndarray) -> np.ndarray:
            return v - linear.voc_v[k] + z @ (power / v + loads.current_a + siemens * v)  # noqa: B023

        other = root(off, linear.voc_v[k], tol=1e-13)
        np.testing.assert_allclose(found.port_v[k], other.x, rtol=1e-9)
    np.testing.assert_allclose(
        found.port_a, loads.power_w / found.port_v + loads.current_a + loads.conductance_s * found.port_v, rtol=1e-12
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_laws_hold_with_a_mix(seed: int) -> None:
    """Current balance at each inner node; power of the source = loads + heat in the wires."""
    network, loads = random_bussed(seed)
    found = solve(network, loads)
    net = np.zeros((6, network.node_count))
    for k, (a, b) in enumerate(zip(network.branch_from, network.branch_to, strict=True)):
        net[:, a] += found.branch_a[:, k]
        net[:, b] -= found.branch_a[:, k]
    for k, (a, b) in enumerate(zip(network.port_plus, network.port_minus, strict=True)):
        net[:, a] += found.port_a[:, k]
        net[:, b] -= found.port_a[:, k]
    np.testing.assert_allclose(net[:, 2:], 0, atol=1e-9)
    loss = (network.branch_ohm * found.branch_a**2).sum(axis=1)
    np.testing.assert_allclose(found.source_w, (found.port_v * found.port_a).sum(axis=1) + loss, rtol=1e-10)


@pytest.mark.parametrize("seed", range(8))
def test_a_heater_is_a_branch_across_its_port(seed: int) -> None:
    network, loads = random_bussed(seed)
    m = network.port_plus.size
    with np.errstate(divide="ignore"):
        across = 1 / np.broadcast_to(loads.conductance_s, (6, m))
    bridged = Network(
        network.node_count,
        np.append(network.branch_from, network.port_plus),
        np.append(network.branch_to, network.port_minus),
        np.concatenate([network.branch_ohm, across], axis=1),
        0,
        1,
        network.emf_v,
        network.port_plus,
        network.port_minus,
    )
    one, other = solve(network, loads), solve(bridged, Loads(loads.power_w, loads.current_a))
    np.testing.assert_allclose(one.port_v, other.port_v, rtol=1e-11)
    np.testing.assert_allclose(one.source_w, other.source_w, rtol=1e-11)
    np.testing.assert_allclose(collapse_factor(network, loads), collapse_factor(bridged, Loads(loads.power_w, loads.current_a)), rtol=3e-6)  # fmt: skip


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("limited", [False, True])
def test_existence_flips_at_the_collapse_factor_of_the_constant_power(seed: int, limited: bool) -> None:
    network, loads = random_bussed(seed)
    limit = np.full(loads.power_w.shape[-1], np.inf)
    if limited:
        limit[0] = 60.0
    mixed = Loads(loads.power_w, loads.current_a, loads.conductance_s, limit)
    factor = collapse_factor(network, mixed, 1e-9)[:, None]
    some = np.isfinite(factor[:, 0])
    assert some.any() or limited
    for nudge, exists in ((1 - 1e-6, True), (1 + 1e-6, False)):
        scaled = Loads(
            loads.power_w * np.where(np.isfinite(factor), factor * nudge, 1e6),
            loads.current_a,
            loads.conductance_s,
            limit,
        )
        found = solve(network, scaled)
        np.testing.assert_array_equal(found.exists, np.where(some, exists, True))
        assert found.certified.all()


def test_collapse_factor_scales_the_constant_power_only() -> None:
    """48 V behind 0.5 ohm, 8 A constant, 0.5 S: Voc' = 35.2 V, Z' = 0.4 ohm, largest power 774.4 W."""
    factor = collapse_factor(pair(0.5), Loads([100.0], 8.0, 0.5), 1e-9)
    assert factor == pytest.approx(7.744, rel=1e-8)
    assert np.isinf(collapse_factor(pair(0.5), Loads([0.0], 8.0, 0.5)))
    assert collapse_factor(pair(0.5), Loads([100.0], 96.1)) == 0.0


def test_too_much_constant_current_has_no_solution() -> None:
    """48 V behind 0.5 ohm: 96 A is a short circuit. The rest of the site is not spared: nothing holds its voltage."""
    for current, exists in ((95.9, True), (96.0, False), (96.1, False), (500.0, False)):
        found = solve(pair(0.5), Loads([0.0], current))
        assert found.exists == exists
        assert found.certified
        assert found.port_v[0] == pytest.approx(48 - 0.5 * current) if exists else np.isnan(found.port_v[0])
        assert exists or np.isnan(found.port_a[0])


def test_a_radio_that_takes_the_light_to_nothing_has_no_solution() -> None:
    """The light behind the same bar as the radio, with a long thin wire of its own: 40 V lost in it at 2 A."""
    network = Network(5, [0, 2, 2], [2, 3, 4], np.array([0.2, 0.01, 20.0]), 0, 1, np.asarray(48.0), [3, 4], [1, 1])  # type: ignore[arg-type]  # fmt: skip
    light = Loads([[500.0, 0.0], [1600.0, 0.0]], [0.0, 2.0])
    found = solve(network, light)
    assert found.exists.tolist() == [True, False]
    assert found.certified.all()
    # without the light the radio alone would run
    assert solve(network, [1600.0, 0.0]).exists
    factor = float(collapse_factor(network, Loads([500.0, 0.0], [0.0, 2.0]), 1e-9))
    # the light stands at 0 V when the bar is at 40 V: 38 A to the radio, whose own wire takes 0.38 V
    assert factor * 500 == pytest.approx(38 * (40 - 38 * 0.01), rel=1e-6)
    assert deliverable_w(network, light)[0, 0] == pytest.approx(38 * (40 - 38 * 0.01), rel=1e-9)


def test_current_limit_on_one_pair() -> None:
    """48 V behind 1 ohm. Below V_lim = P / I_lim the radio draws I_lim and gets less than its power."""
    found = solve(pair(np.full(4, 1.0)), Loads(np.array([[432.0], [500.0], [600.0], [600.0]]), limit_a=np.array([[20.0], [15.0], [25.0], [50.0]])))  # fmt: skip
    np.testing.assert_array_equal(found.exists, [True, True, True, False])
    np.testing.assert_array_equal(found.limited[:, 0], [False, True, True, False])
    np.testing.assert_allclose(found.port_v[:3, 0], [36.0, 33.0, 23.0], rtol=1e-12)
    np.testing.assert_allclose(found.port_a[:3, 0], [12.0, 15.0, 25.0], rtol=1e-12)
    assert found.certified.all()


@pytest.mark.parametrize("seed", SEEDS)
def test_limits_that_don_t_bite_change_nothing(seed: int) -> None:
    network, loads = random_bussed(seed)
    plain = solve(network, loads)
    wide = Loads(loads.power_w, loads.current_a, loads.conductance_s, loads.power_w / plain.port_v * 1.001)
    capped = solve(network, wide)
    np.testing.assert_allclose(capped.port_v, plain.port_v, rtol=1e-11)
    assert not capped.limited.any()
    tight = Loads(loads.power_w, loads.current_a, loads.conductance_s, loads.power_w / plain.port_v * 0.99)
    bitten = solve(network, tight)
    assert bitten.exists.all()
    assert bitten.limited[loads.power_w > 0].all()
    assert np.all(bitten.port_v[loads.power_w > 0] > plain.port_v[loads.power_w > 0])


def test_largest_deliverable_power() -> None:
    """Closed forms, and existence on either side."""
    np.testing.assert_allclose(deliverable_w(pair(0.138, 43.2), [0.0]), largest_power_w(43.2, 0.138), rtol=1e-12)
    # I_lim 40 A: (43.2 - 0.138 x 40) x 40
    assert deliverable_w(pair(0.138, 43.2), Loads([0.0], limit_a=40.0))[0] == pytest.approx(1507.2)
    assert np.isinf(deliverable_w(Network(2, [], [], np.zeros(0), 0, 1, np.asarray(48.0), [0], [1]), [0.0])[0])  # type: ignore[arg-type]
    assert deliverable_w(pair(0.5), Loads([0.0], 100.0))[0] == 0
    broken = Network(4, [0, 3], [2, 1], np.array([0.1, np.inf]), 0, 1, np.asarray(48.0), [2], [3])  # type: ignore[arg-type]
    assert deliverable_w(broken, [0.0])[0] == 0


@pytest.mark.parametrize("seed", range(10))
def test_existence_flips_at_the_largest_deliverable_power(seed: int) -> None:
    network, loads = random_bussed(seed)
    largest = deliverable_w(network, loads)
    for k in range(largest.shape[1]):
        alone = np.where(np.arange(largest.shape[1]) == k, largest, 0.0)
        for nudge, exists in ((1 - 1e-7, True), (1 + 1e-7, False)):
            found = solve(network, Loads(alone * nudge, loads.current_a, loads.conductance_s))
            assert np.all(found.exists == exists)


@pytest.mark.parametrize("seed", range(10))
def test_sensitivity_against_differences(seed: int) -> None:
    network, loads = random_bussed(seed)
    limit = np.full(loads.power_w.shape[-1], np.inf)
    limit[0] = 5.0  # 300 W are 5 A only from 60 V: always limited
    mixed = Loads(loads.power_w, loads.current_a, loads.conductance_s, limit)
    found, step = sensitivity(network, mixed), 1e-2
    for k in range(found.shape[-1]):
        if np.any(loads.power_w[:, k] < step):
            continue
        up, down = (
            solve(
                network,
                Loads(
                    loads.power_w + sign * step * (np.arange(found.shape[-1]) == k),
                    loads.current_a,
                    loads.conductance_s,
                    limit,
                ),
            ).port_v
            for sign in (1, -1)
        )
        np.testing.assert_allclose(found[:, :, k], (up - down) / (2 * step), rtol=1e-5, atol=1e-11)
    np.testing.assert_array_equal(found[:, :, 0], 0.0)
    assert np.all(found[:, 1:, 1:] < 0)


def test_sensitivity_without_solution_and_without_supply() -> None:
    ohm = np.array([[0.2, 0.2, 0.2, 0.2], [0.2, 0.2, 0.2, 0.2], [np.inf, 0.2, 0.2, 0.2]])
    network = Network(6, [0, 3, 0, 5], [2, 1, 4, 1], ohm, 0, 1, np.asarray(48.0), [2, 4], [3, 5])  # type: ignore[arg-type]
    found = sensitivity(network, np.array([[500.0, 300.0], [5000.0, 300.0], [500.0, 300.0]]))
    assert np.isnan(found[1]).all()
    assert np.all(found[2, 0] == 0)
    assert np.all(found[2, :, 0] == 0)
    assert found[2, 1, 1] == pytest.approx(found[0, 1, 1])
    assert found[0, 0, 1] == 0


@pytest.mark.parametrize("seed", range(6))
def test_batch_equals_one_by_one(seed: int) -> None:
    network, loads = random_bussed(seed)
    limit = np.where(np.arange(loads.power_w.shape[-1]) % 2, np.inf, 7.0)
    mixed = Loads(loads.power_w, loads.current_a, loads.conductance_s, limit)
    together, factor = solve(network, mixed), collapse_factor(network, mixed)
    most, slope = deliverable_w(network, mixed), sensitivity(network, mixed)
    for k in range(6):
        alone = Network(
            network.node_count, network.branch_from, network.branch_to, network.branch_ohm[k], 0, 1, network.emf_v[k],
            network.port_plus, network.port_minus,
        )  # fmt: skip
        part = Loads(loads.power_w[k], loads.current_a, loads.conductance_s[k], limit)
        one = solve(alone, part)
        np.testing.assert_allclose(one.port_v, together.port_v[k], rtol=1e-11)
        np.testing.assert_allclose(one.port_a, together.port_a[k], rtol=1e-11)
        np.testing.assert_array_equal(one.limited, together.limited[k])
        np.testing.assert_allclose(deliverable_w(alone, part), most[k], rtol=1e-11)
        np.testing.assert_allclose(sensitivity(alone, part), slope[k], rtol=1e-9, atol=1e-15)
        assert collapse_factor(alone, part) == pytest.approx(factor[k], rel=2e-6)


def test_a_heater_between_two_shared_wires_couples_its_neighbours_the_other_way() -> None:
    """
    Radio 1 shares its line wire with a heater, the heater its return wire with radio 2. The more radio 1 draws, the less the
    heater does, the higher stands radio 2: Z has a negative entry. What is found is proved, what is not found is not refuted.
    """
    network = Network(
        7, [0, 2, 3, 0, 1], [2, 4, 1, 5, 6], np.array([0.5, 0.1, 0.5, 0.5, 0.5]), 0, 1, np.asarray(48.0),
        [4, 2, 5], [6, 3, 3],
    )  # type: ignore[arg-type]  # fmt: skip
    assert thevenin(network).z_ohm.min() >= 0
    loads = Loads([200.0, 0.0, 200.0], conductance_s=[0.0, 0.5, 0.0])
    voc, z = absorbed(
        thevenin(network).voc_v[None], thevenin(network).z_ohm[None], None, np.asarray(loads.conductance_s)[None]
    )
    assert z.min() < -0.01
    found = solve(network, loads)
    assert found.exists
    assert found.certified
    v = voc[0] - z[0] @ (loads.power_w / np.where(found.port_v > 0, found.port_v, 1))
    np.testing.assert_allclose(found.port_v, v, rtol=1e-11)
    too_much = solve(network, Loads([5000.0, 0.0, 200.0], conductance_s=[0.0, 0.5, 0.0]))
    assert not too_much.exists
    assert not too_much.certified


@pytest.mark.parametrize(
    "parts",
    [
        {"power_w": [-1.0]},
        {"power_w": 5.0},
        {"power_w": [1.0], "current_a": -1.0},
        {"power_w": [1.0], "current_a": np.inf},
        {"power_w": [1.0], "conductance_s": np.nan},
        {"power_w": [1.0], "limit_a": np.nan},
        {"power_w": [1.0], "limit_a": -1.0},
        {"power_w": [1.0, 2.0], "limit_a": [1.0, 2.0, 3.0]},
        {"power_w": np.ones((3, 2)), "current_a": np.ones((4, 2))},
    ],
)
def test_nonsense_is_refused(parts: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"power_w|current_a|conductance_s|limit_a|scenarios"):
        Loads(**parts)  # type: ignore[arg-type]
