from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from upmast.power.crossing import crossing, seen_from_loads
from upmast.power.cutout import fall, first_drop, hunting, rise
from upmast.power.load_flow import single
from upmast.power.network import Network, solve

Array = NDArray[np.float64]
BARS = (2, 1)


def spurs(r0: float, loops: list[float] | Array) -> Network:
    """Emf behind r0 on the bars (node 2 and 1), a line wire and a return wire to each load."""
    n = len(loops)
    plus, minus = 3 + 2 * np.arange(n), 4 + 2 * np.arange(n)
    half = np.asarray(loops, float) / 2
    return Network(
        3 + 2 * n,
        np.concatenate([[0], np.full(n, 2), minus]),
        np.concatenate([[2], plus, np.full(n, 1)]),
        np.concatenate([[r0], half, half]),
        0,
        1,
        np.array(0.0),
        plus,
        minus,
    )


def tree(r0: float, feeder: float, loops: list[float]) -> Network:
    """Emf behind r0 on the bars, a common line and return feeder to a box, a spur to each load; the spurs share the box."""
    n = len(loops)
    plus = 5 + np.arange(n)
    return Network(
        5 + n,
        np.concatenate([[0, 2, 4], np.full(n, 3)]),
        np.concatenate([[2, 3, 1], plus]),
        np.concatenate([[r0, feeder, feeder], loops]),
        0,
        1,
        np.array(0.0),
        plus,
        np.full(n, 4),
    )


def at(network: Network, emf: float) -> Network:
    return Network(
        network.node_count, network.branch_from, network.branch_to, network.branch_ohm, network.source_plus,
        network.source_minus, np.array(emf), network.port_plus, network.port_minus,
    )  # fmt: skip


class Slow:
    """A source that moves in small steps; radios with cut-out and start voltage; the load flow after each switching."""

    def __init__(self, network: Network, power: Array, cut: Array, start: Array | None, on: NDArray[np.bool_]) -> None:
        self.network, self.power, self.cut, self.start = network, power, cut, start
        self.on = on.copy()
        self.hunts: set[int] = set()

    def settle(self, emf: float) -> list[tuple[int, bool]]:
        switched: list[tuple[int, bool]] = []
        seen = {tuple(self.on)}
        while True:
            flow = solve(at(self.network, emf), np.where(self.on, self.power, 0.0))
            margin = np.where(self.on, flow.port_v - self.cut, np.inf)
            if not flow.exists:
                margin = np.where(self.on, -1.0, np.inf)
            k = int(margin.argmin())
            if margin[k] >= 0:
                waiting = np.zeros(self.on.size, bool) if self.start is None else ~self.on & (flow.port_v >= self.start)
                if not waiting.any():
                    return switched
                k = int(np.flatnonzero(waiting)[0])
            self.on[k] = not self.on[k]
            switched.append((k, bool(self.on[k])))
            if tuple(self.on) in seen:
                # where it has been before at this emf: it goes round and round
                self.hunts.update(j for j, _ in switched)
                self.on[k] = False
                return switched
            seen.add(tuple(self.on))


def slow_drops(network: Network, power: Array, cut: Array, emfs: Array) -> list[tuple[float, int]]:
    source = Slow(network, power, cut, None, power > 0)
    return [(float(emf), k) for emf in emfs for k, _ in source.settle(float(emf))]


def test_without_line_resistance_all_drop_at_the_cut_out_plus_the_source_drop() -> None:
    power = np.array([500.0, 700.0, 300.0])
    down = fall(spurs(0.02, [0.0, 0.0, 0.0]), power, 40.0, 50.0)
    rest = [power.sum(), power[1:].sum(), power[2:].sum()]
    assert down.radio.tolist() == [0, 1, 2]
    assert down.emf_v == pytest.approx([40.0 + 0.02 * p / 40.0 for p in rest], rel=1e-9)
    assert not down.on_last.any()
    ideal = fall(spurs(0.0, [0.0, 0.0, 0.0]), power, 40.0, 50.0)
    assert ideal.emf_v == pytest.approx([40.0] * 3, abs=1e-8)
    assert ideal.radio.tolist() == [0, 1, 2]


def test_pairs_on_an_ideal_source_do_not_see_each_other() -> None:
    loops, power, cut = np.array([0.3, 0.2, 0.25]), np.array([900.0, 700.0, 300.0]), np.array([40.5, 38.4, 42.0])
    own = cut + loops * power / cut
    down = fall(spurs(0.0, loops), power, cut, 60.0)
    order = np.argsort(-own)
    assert down.radio.tolist() == order.tolist()
    assert down.emf_v == pytest.approx(own[order], abs=1e-9)
    # nothing but its own pair: open circuit is the source itself
    assert down.after_v == pytest.approx(own[order], abs=1e-9)


def test_spurs_have_a_closed_form() -> None:
    loops, power, cut = [0.3, 0.2, 0.25], [500.0, 700.0, 300.0], [40.5, 38.4, 42.0]
    # radio k is at its cut-out where the bars are at V_c + R P / V_c; the first is the one with the highest bars
    bars = [c + r * p / c for c, r, p in zip(cut, loops, power, strict=True)]
    first = int(np.argmax(bars))
    emf = bars[first] + 0.012 * sum(
        float(single(bars[first], r, p).current_a) for r, p in zip(loops, power, strict=True)
    )
    drop = first_drop(spurs(0.012, loops), power, cut, BARS)
    assert drop.emf_v == pytest.approx(emf, abs=1e-9)
    assert drop.radio == first
    assert drop.terminal_v == pytest.approx(cut[first], abs=1e-9)
    assert drop.bus_v == pytest.approx(bars[first])


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.0, 0.05), st.floats(0.0, 0.1),
    st.lists(st.tuples(st.floats(0.0, 0.5), st.floats(1.0, 1200.0), st.floats(5.0, 44.0)), min_size=1, max_size=6),
)  # fmt: skip
def test_the_first_drop_is_a_crossing_of_the_load_flow(
    r0: float, feeder: float, radios: list[tuple[float, float, float]]
) -> None:
    loops, power, cut = (list(column) for column in zip(*radios, strict=True))
    network = tree(r0, feeder, loops)
    drop = first_drop(network, power, cut, BARS)
    emf, k = float(drop.emf_v), int(drop.radio)
    above = solve(at(network, emf + 1e-6), power)
    below = solve(at(network, emf - 1e-6), power)
    assert above.exists
    assert np.all(above.port_v - cut > -1e-9)
    if str(drop.kind) == "cut-out":
        assert drop.terminal_v == pytest.approx(cut[k], abs=1e-8)
        assert not below.exists or (below.port_v - cut)[k] < 0
    else:
        assert str(drop.kind) == "collapse"
        assert not below.exists
        assert drop.terminal_v > cut[k]


@pytest.mark.parametrize("cut", [0.0, 1.0, 10.0, 16.75])
def test_collapse_before_the_cut_out(cut: float) -> None:
    """P <= E^2 / (4 R): 900 W over 0.312 ohm need 33.5142 V, and the load then stands at half of it."""
    drop = first_drop(spurs(0.012, [0.3]), [900.0], cut)
    assert str(drop.kind) == "collapse"
    assert drop.emf_v == pytest.approx(2 * np.sqrt(0.312 * 900), abs=1e-6)
    assert drop.terminal_v == pytest.approx(np.sqrt(0.312 * 900), abs=2e-3)
    just = first_drop(spurs(0.012, [0.3]), [900.0], 16.7575)
    assert str(just.kind) == "cut-out"
    assert just.emf_v == pytest.approx(16.7575 + 0.312 * 900 / 16.7575, abs=1e-7)


def test_a_collapse_in_a_cascade_takes_one_radio_and_the_rest_go_on() -> None:
    network = spurs(0.01, [0.6, 0.1])
    down = fall(network, [1500.0, 300.0], 25.0, 60.0)
    assert down.kind == ("collapse", "cut-out")
    assert down.radio.tolist() == [0, 1]
    assert not solve(at(network, float(down.emf_v[0]) - 1e-6), [1500.0, 300.0]).exists
    assert down.emf_v[1] == pytest.approx(25.0 + 0.11 * 300 / 25.0, abs=1e-9)


def test_no_operating_point_at_the_beginning() -> None:
    """The source starts where the loads together ask for too much: a radio goes at once."""
    network = tree(0.02, 0.1, [0.05, 0.1])
    down = fall(network, [1500.0, 1500.0], 20.0, 47.0)
    assert not solve(at(network, 47.0), [1500.0, 1500.0]).exists
    assert down.kind[0] == "collapse"
    assert down.emf_v[0] == 47.0
    assert np.isnan(down.terminal_v[0])
    assert down.radio[0] == 1
    assert down.after_v[0] > 20.0


def test_below_the_cut_out_at_the_beginning_the_worst_goes_first() -> None:
    network = spurs(0.02, [0.1, 0.4, 0.2])
    down = fall(network, [600.0, 600.0, 600.0], 42.0, 44.0)
    worst = solve(at(network, 44.0), [600.0, 600.0, 600.0]).port_v.argmin()
    assert down.radio[0] == worst == 1
    assert down.emf_v[0] == 44.0
    assert np.all(np.diff(down.emf_v) <= 0)


@pytest.mark.parametrize(
    ("network", "power", "cut"),
    [
        (tree(0.01, 0.03, [0.1, 0.12, 0.15, 0.2]), [500.0, 600.0, 300.0, 400.0], [40.5, 38.0, 41.0, 36.0]),
        (spurs(0.03, [0.3, 0.1, 0.2]), [700.0, 1200.0, 400.0], [40.5, 40.5, 38.4]),
    ],
)
def test_cascade_against_a_slow_source(network: Network, power: list[float], cut: list[float]) -> None:
    down = fall(network, power, cut, 54.0, 36.0)
    step = 0.005
    seen = slow_drops(network, np.array(power), np.array(cut), np.arange(54.0, 36.0, -step))
    assert down.radio.tolist() == [k for _, k in seen]
    for emf, (grid, _) in zip(down.emf_v, seen, strict=True):
        assert grid <= emf <= grid + step + 1e-9


def test_the_rest_recover() -> None:
    network = tree(0.01, 0.05, [0.1, 0.2, 0.3])
    power = np.array([500.0, 600.0, 700.0])
    down = fall(network, power, 40.0, 60.0)
    for i in range(down.radio.size - 1):
        emf, k = float(down.emf_v[i]), int(down.radio[i])
        on = down.on[i]
        before = solve(at(network, emf), np.where(on | (np.arange(3) == k), power, 0.0)).port_v
        after = solve(at(network, emf), np.where(on, power, 0.0)).port_v
        assert np.all(after[on] > before[on])
        assert down.after_v[i] == pytest.approx(after[k], abs=1e-9)
    assert np.all(np.diff(down.emf_v) < 0)


def test_identical_radios_go_in_the_order_of_the_list() -> None:
    shared = fall(tree(0.01, 0.05, [0.2, 0.2, 0.2]), [500.0] * 3, 40.0, 60.0)
    assert shared.radio.tolist() == [0, 1, 2]
    assert np.all(np.diff(shared.emf_v) < -0.1)
    apart = fall(spurs(0.0, [0.2, 0.2, 0.2]), [500.0] * 3, 40.0, 60.0)
    assert apart.radio.tolist() == [0, 1, 2]
    assert np.ptp(apart.emf_v) < 1e-9


def test_the_range_of_the_source_is_kept() -> None:
    network = spurs(0.02, [0.1, 0.4])
    whole = fall(network, [600.0, 600.0], 40.0, 60.0)
    middle = float(whole.emf_v.mean())
    upper = fall(network, [600.0, 600.0], 40.0, 60.0, middle)
    assert upper.radio.tolist() == [1]
    assert upper.on_last.tolist() == [True, False]
    assert fall(network, [600.0, 600.0], 40.0, 60.0, 59.0).radio.size == 0


def test_off_and_unsupplied_radios_take_no_part() -> None:
    network = spurs(0.02, [0.1, 0.4, 0.2])
    cut_off = Network(
        network.node_count, network.branch_from, network.branch_to, np.where(np.arange(7) == 3, np.inf, network.branch_ohm),
        0, 1, np.array(0.0), network.port_plus, network.port_minus,
    )  # fmt: skip
    down = fall(cut_off, [600.0, 0.0, 600.0], 40.0, 60.0)
    assert down.radio.tolist() == [0]
    assert down.on_first.tolist() == [True, False, False]
    nothing = first_drop(network, [0.0, 0.0, 0.0], 40.0)
    assert (str(nothing.kind), int(nothing.radio), float(nothing.emf_v)) == ("none", -1, 0.0)


def test_fall_then_rise_returns() -> None:
    network = tree(0.01, 0.05, [0.1, 0.2, 0.3])
    power = [500.0, 600.0, 700.0]
    down = fall(network, power, 40.0, 60.0)
    up = rise(network, power, 40.0, 44.0, 0.0, 60.0, down.on_last)
    assert up.on_last.all()
    assert sorted(up.radio.tolist()) == [0, 1, 2]
    # nobody is back before the voltage at which the same set drops again
    assert np.all(np.diff(up.emf_v) >= 0)
    for i in range(3):
        held = np.where(up.on[i], power, 0.0)
        assert up.emf_v[i] >= first_drop(network, held, 40.0).emf_v - 1e-9
        assert up.tried_v[i] <= up.emf_v[i]
    assert up.emf_v.max() >= down.emf_v.max()


@pytest.mark.parametrize("start", [44.0, 49.0])
def test_rise_against_a_slow_source(start: float) -> None:
    network = tree(0.01, 0.05, [0.1, 0.2, 0.3])
    power, cut = np.array([500.0, 600.0, 700.0]), np.full(3, 40.0)
    up = rise(network, power, cut, start, 38.0, 60.0)
    step = 0.01
    source = Slow(network, power, cut, np.full(3, start), np.zeros(3, bool))
    steady: list[tuple[float, int]] = []
    for emf in np.arange(38.0, 60.0, step):
        was = source.on.copy()
        source.settle(float(emf))
        steady += [(float(emf), k) for k in np.flatnonzero(source.on & ~was)]
    assert [k for _, k in steady] == up.radio.tolist()
    for emf, (grid, _) in zip(up.emf_v, steady, strict=True):
        assert grid - step - 1e-9 <= emf <= grid + 1e-9
    # those that first try in vain are those that the slow source sees hunting
    vain = {int(k) for k, tried, emf in zip(up.radio, up.tried_v, up.emf_v, strict=True) if tried < emf - step}
    assert vain == source.hunts
    assert bool(vain) == (start == 44.0)


def test_started_radios_must_be_able_to_be_on() -> None:
    network = spurs(0.02, [0.1, 0.4])
    with pytest.raises(ValueError, match="don't stay on"):
        rise(network, [600.0, 600.0], 40.0, 44.0, 42.0, 60.0, [True, True])
    up = rise(network, [600.0, 600.0], 40.0, 44.0, 42.0, 60.0, [True, False])
    assert up.radio.tolist() == [1]


def test_a_radio_comes_back_when_another_drops() -> None:
    """A small radio far out drops first; when the large one goes, the feeder recovers and it is back."""
    network = tree(0.0, 0.1, [0.2, 0.01])
    power, cut, start = np.array([200.0, 1500.0]), np.array([40.0, 36.0]), np.array([44.5, 60.0])
    off = fall(network, power, cut, 60.0, 41.5)
    back = fall(network, power, cut, 60.0, 41.5, start)
    assert off.radio.tolist() == [0, 1]
    assert back.radio[:3].tolist() == [0, 1, 0]
    assert back.kind[:3] == ("cut-out", "cut-out", "start")
    assert back.emf_v[2] == back.emf_v[1]
    # alone on feeder and spur, 0.4 ohm: 40 V + 0.4 ohm x 200 W / 40 V is 42 V to the last digit, so the steps go on below
    assert back.emf_v[3] == pytest.approx(42.0, abs=1e-9)
    source = Slow(network, power, cut, start, np.ones(2, bool))
    seen = [event for emf in np.arange(60.0, 41.5, -0.01) for event in source.settle(float(emf))]
    assert seen == [(int(k), kind == "start") for k, kind in zip(back.radio, back.kind, strict=True)]
    assert not source.hunts


@pytest.mark.parametrize("start", [44.0, 46.9, 47.0, 48.0])
def test_hunting_against_a_slow_source(start: float) -> None:
    """One pair, 900 W over 0.3 ohm with a cut-out at 40.5 V drops at 47.1667 V, and its terminals jump to that."""
    network = spurs(0.0, [0.3])
    found = hunting(network, [900.0], 40.5, start, 54.0)
    assert found.emf_v[0] == pytest.approx(40.5 + 0.3 * 900 / 40.5, abs=1e-9)
    assert found.rebound_v[0] == pytest.approx(found.emf_v[0], abs=1e-9)
    assert found.hunts[0] == (start <= 47.1667)
    source = Slow(network, np.array([900.0]), np.array([40.5]), np.array([start]), np.array([True]))
    for emf in np.arange(54.0, 47.1, -0.01):
        source.settle(float(emf))
    assert (0 in source.hunts) == bool(found.hunts[0])


def test_hunting_of_one_among_several() -> None:
    """Behind a common feeder the large radio that drops unloads its own supply; the small one near the bars does not."""
    network = tree(0.01, 0.06, [0.02, 0.1])
    power, cut, start = np.array([60.0, 1000.0]), np.array([40.0, 40.0]), np.array([43.0, 44.0])
    found = hunting(network, power, cut, start, 60.0, 38.0)
    assert found.drops.tolist() == [True, True]
    assert found.hunts.tolist() == [False, True]
    source = Slow(network, power, cut, start, np.ones(2, bool))
    for emf in np.arange(60.0, 40.0, -0.01):
        source.settle(float(emf))
    assert source.hunts == {1}
    never = hunting(network, power, cut, start, 60.0, 59.0)
    assert not never.drops.any()
    assert np.isnan(never.emf_v).all()
    assert not never.hunts.any()


def test_array_equals_scalar() -> None:
    base = tree(0.01, 0.05, [0.1, 0.2, 0.3])
    ohm = np.stack([base.branch_ohm, 1.3 * base.branch_ohm])
    both = Network(
        base.node_count, base.branch_from, base.branch_to, ohm, 0, 1, np.array(0.0), base.port_plus, base.port_minus
    )
    power = np.array([[[500.0, 600.0, 700.0]], [[50.0, 900.0, 100.0]], [[2500.0, 1500.0, 900.0]]])
    cut = np.array([[[40.0, 38.0, 15.0]], [[36.0, 42.0, 15.0]], [[5.0, 5.0, 5.0]]])
    drops = first_drop(both, power, cut, BARS)
    assert drops.emf_v.shape == (3, 2)
    assert set(drops.kind.reshape(-1).tolist()) == {"cut-out", "collapse"}
    for i in range(3):
        for j in range(2):
            one = Network(
                base.node_count, base.branch_from, base.branch_to, ohm[j], 0, 1, np.array(0.0), base.port_plus, base.port_minus
            )  # fmt: skip
            drop = first_drop(one, power[i, 0], cut[i, 0], BARS)
            assert drops.emf_v[i, j] == pytest.approx(float(drop.emf_v), abs=1e-9)
            assert drops.radio[i, j] == drop.radio
            assert drops.kind[i, j] == drop.kind
            assert drops.bus_v[i, j] == pytest.approx(float(drop.bus_v), rel=1e-6)


def test_a_network_in_which_loads_help_each_other() -> None:
    """The second load hangs between the line wire and the first load: its current lifts the first, Z has an entry below 0."""
    network = Network(4, [0, 2, 0], [2, 1, 3], [5.0, 5.0, 0.1], 0, 1, np.array(0.0), [2, 3], [1, 2])  # type: ignore[arg-type]
    _, z, _ = seen_from_loads(network)
    assert z[0, 0, 1] < 0
    power, cut = np.array([20.0, 25.0]), np.array([20.0, 18.0])
    drop = first_drop(network, power, cut)
    emf, k = float(drop.emf_v), int(drop.radio)
    above, below = solve(at(network, emf + 1e-6), power), solve(at(network, emf - 1e-6), power)
    assert above.exists
    assert np.all(above.port_v >= cut)
    assert below.port_v[k] < cut[k]


def test_margins_are_concave_and_rise_with_the_source() -> None:
    """What the search on the emf leans on."""
    network = tree(0.01, 0.05, [0.1, 0.2, 0.3])
    power = [500.0, 600.0, 700.0]
    emf = np.linspace(first_drop(network, power, 25.0).emf_v, 60.0, 200)
    stack = Network(
        network.node_count, network.branch_from, network.branch_to, network.branch_ohm, 0, 1, emf, network.port_plus,
        network.port_minus,
    )  # fmt: skip
    volts = solve(stack, power).port_v
    assert np.all(np.diff(volts, axis=0) > 0)
    assert np.all(np.diff(volts, 2, axis=0) < 1e-9)


def test_a_port_without_power_can_be_watched() -> None:
    """Open-circuit voltage of a second load behind the same resistance: 44 V at 44 V + 0.1 ohm x the other's current."""
    z = np.full((1, 2, 2), 0.1)
    found = crossing(np.ones((1, 2)), z, np.array([[500.0, 0.0]]), np.array([[0.0, 44.0]]), np.array([[False, True]]))
    assert found.emf[0] == pytest.approx(44.0 + 0.1 * 500 / 44.0, abs=1e-9)
    assert found.port[0] == 1


def test_each_later_event_has_its_set() -> None:
    down = fall(spurs(0.02, [0.1, 0.4, 0.2]), [600.0] * 3, 40.0, 60.0)
    sets = [down.on_first, *down.on]
    for radio, (before, after) in zip(down.radio, pairwise(sets), strict=True):
        assert np.flatnonzero(before != after).tolist() == [radio]


def test_nonsense() -> None:
    network = spurs(0.02, [0.1, 0.4])
    for call, words in (
        (lambda: first_drop(network, [-1.0, 1.0], 40.0), "power_w can't be negative"),
        (lambda: first_drop(network, [1.0, np.nan], 40.0), "power_w can't be negative or missing"),
        (lambda: first_drop(network, [1.0, 1.0], -40.0), "cut_out_v"),
        (lambda: first_drop(network, [1.0, 1.0, 1.0], 40.0), "needs 2 ports"),
        (lambda: fall(network, [1.0, 1.0], 40.0, 40.0, 50.0), "range of the source"),
        (lambda: fall(network, [[1.0, 1.0]], 40.0, 50.0), "one line at a time"),
        (lambda: fall(network, [1.0, 1.0], 40.0, 50.0, 0.0, [0.0, 1.0]), "start_v must be positive"),
        (lambda: rise(network, [1.0, 1.0], 40.0, [44.0] * 3, 0.0, 50.0), "start_v needs 2 ports"),
        (lambda: hunting(network, [1.0, 1.0], 40.0, [44.0] * 3, 50.0), "start_v must be positive"),
        (lambda: hunting(network, [1.0, 1.0], 40.0, np.nan, 50.0), "start_v must be positive"),
    ):
        with pytest.raises(ValueError, match=words):
            call()
