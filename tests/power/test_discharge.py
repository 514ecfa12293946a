"""Time on battery, against an integration of the same differential equation by a general solver on another load flow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from upmast.power.cells import Battery, emf_v, energy_wh, inner_ohm, linear, peukert_hours, string
from upmast.power.discharge import discharge, price_tag
from upmast.power.load_flow import single
from upmast.power.network import Network, solve
from upmast.power.tree import bussed as tree_bussed

Array = NDArray[np.float64]


def pairs(loops: ArrayLike) -> Network:
    """A line wire and a return wire for each load, from the terminals of the battery, 0 and 1."""
    half = np.asarray(loops, float) / 2
    n = half.size
    plus, minus = 2 + 2 * np.arange(n), 3 + 2 * np.arange(n)
    return Network(
        2 + 2 * n,
        np.concatenate([np.zeros(n, int), minus]),
        np.concatenate([plus, np.ones(n, int)]),
        np.concatenate([half, half]),
        0,
        1,
        np.array(0.0),
        plus,
        minus,
    )


def bussed(feeder: float, spurs: ArrayLike) -> Network:
    """A common line and return feeder from the terminals to a box, a spur to each load."""
    ohm = np.asarray(spurs, float)
    n = ohm.size
    plus = 4 + np.arange(n)
    return Network(
        4 + n,
        np.concatenate([[0, 3], np.full(n, 2)]),
        np.concatenate([[2, 1], plus]),
        np.concatenate([[feeder, feeder], ohm]),
        0,
        1,
        np.array(0.0),
        plus,
        np.full(n, 3),
    )


class Witness:
    """The battery as an ideal source behind a resistance that is a branch of the network, stepped by `solve_ivp`."""

    def __init__(
        self,
        battery: Battery,
        network: Network,
        power: ArrayLike,
        cut: ArrayLike,
        disconnect: float = 0.0,
        base: float = 0.0,
    ) -> None:
        self.battery, self.disconnect = battery, disconnect
        self.power, self.cut = np.append(np.asarray(power, float), base), np.append(np.asarray(cut, float), disconnect)
        new = network.node_count
        self.network = replace(
            network,
            node_count=new + 1,
            branch_from=np.append(network.branch_from, new),
            branch_to=np.append(network.branch_to, network.source_plus),
            branch_ohm=np.append(network.branch_ohm, 0.0),
            source_plus=new,
            port_plus=np.append(network.port_plus, network.source_plus),
            port_minus=np.append(network.port_minus, network.source_minus),
        )

    def flow(self, dod: float, on: NDArray[np.bool_]) -> tuple[float, Array]:
        ohm = self.network.branch_ohm.copy()
        ohm[-1] = float(inner_ohm(self.battery, dod))
        network = replace(self.network, branch_ohm=ohm, emf_v=np.asarray(float(emf_v(self.battery, dod))))
        answer = solve(network, np.where(on, self.power, 0.0))
        assert answer.exists
        return float(answer.branch_a[-1]), answer.port_v

    def run(self) -> tuple[list[tuple[float, int]], float, str]:
        """Minutes and radio of each drop, minutes of the end, and what ended it."""
        b = self.battery
        on = self.power > 0
        on[-1] = True
        minutes, dod = 0.0, 1 - b.charge_fraction
        drops: list[tuple[float, int]] = []
        knots = [float(d) for d in b.dod]
        while True:
            end = min(d for d in knots if d > dod)
            watched = np.flatnonzero(on & (self.cut > 0))

            def rate(_: float, y: Array, on: NDArray[np.bool_] = on) -> list[float]:
                current, _volts = self.flow(float(y[0]), on)
                return [(current * b.rate_hours_h / b.capacity_ah) ** b.peukert / b.rate_hours_h / 60]

            events = []
            for k in watched:

                def margin(_: float, y: Array, k: int = int(k), on: NDArray[np.bool_] = on) -> float:
                    return float(self.flow(float(y[0]), on)[1][k] - self.cut[k])

                margin.terminal = True  # type: ignore[attr-defined]
                events.append(margin)

            def knot(_: float, y: Array, end: float = end) -> float:
                return float(y[0] - end)

            knot.terminal = True  # type: ignore[attr-defined]
            found = solve_ivp(rate, (0.0, 1e5), [dod], method="DOP853", rtol=1e-10, atol=1e-13, events=[*events, knot])
            assert found.status == 1
            minutes += float(found.t[-1])
            which = next(i for i, t in enumerate(found.t_events) if t.size)
            dod = float(found.y[0, -1])
            if which == watched.size:
                dod = end
                if end == 1.0:
                    return drops, minutes, "empty"
            elif watched[which] == self.power.size - 1:
                return drops, minutes, "disconnect"
            else:
                k = int(watched[which])
                drops.append((minutes, k))
                on[k] = False
                if not (self.power * on).any():
                    return drops, minutes, "idle"


BATTERIES = {
    "linear": linear(51.0, 44.0, 0.012, 100.0),
    "lead-acid": string("lead-acid", 24, 200.0, peukert=1.15),
    "lithium": string("lithium-iron-phosphate", 15, 100.0, rate_hours_h=5.0),
}


@pytest.mark.parametrize("name", BATTERIES)
@pytest.mark.parametrize(
    ("network", "power", "cut", "disconnect", "base"),
    [
        pytest.param(pairs([0.30]), [900.0], [40.5], 0.0, 0.0, id="one pair"),
        pytest.param(
            bussed(0.02, [0.10, 0.18]), [500.0, 700.0], [43.0, 41.0], 0.0, 150.0, id="two cut-outs, base load"
        ),
        pytest.param(pairs([0.25, 0.2]), [600.0, 300.0], [40.5, 36.0], 44.5, 60.0, id="disconnect"),
    ],
)
def test_against_a_general_solver(
    name: str, network: Network, power: list[float], cut: list[float], disconnect: float, base: float
) -> None:
    battery = BATTERIES[name]
    run = discharge(battery, network, power, cut, disconnect, base)
    drops, minutes, end = Witness(battery, network, power, cut, disconnect, base).run()
    assert run.event_radio.tolist() == [k for _, k in drops]
    assert run.event_minutes == pytest.approx([t for t, _ in drops], rel=1e-7)
    assert run.end_minutes == pytest.approx(minutes, rel=1e-7)
    assert run.end == end
    for t, k in drops:
        assert run.minutes[k] == pytest.approx(t, rel=1e-6)
        assert not run.to_the_end[k]
    assert run.event_terminal_v == pytest.approx([cut[k] for _, k in drops], abs=1e-8)


def test_the_cases_above_end_in_every_way() -> None:
    """So that the comparison is one of drops, of the disconnect and of the empty battery."""
    network = bussed(0.02, [0.10, 0.18])
    assert discharge(BATTERIES["linear"], pairs([0.3]), [900.0], 40.5).end == "idle"
    assert discharge(BATTERIES["linear"], network, [500.0, 700.0], [43.0, 41.0], 0.0, 150.0).event_radio.tolist() == [
        0,
        1,
    ]
    assert (
        discharge(BATTERIES["lithium"], pairs([0.25, 0.2]), [600.0, 300.0], [40.5, 36.0], 44.5, 60.0).end
        == "disconnect"
    )
    assert discharge(BATTERIES["lead-acid"], pairs([0.05]), [200.0], 36.0).end == "empty"


def test_partly_charged_against_a_general_solver() -> None:
    battery = replace(BATTERIES["lead-acid"], charge_fraction=0.63)
    network = bussed(0.02, [0.10, 0.18])
    run = discharge(battery, network, [500.0, 700.0], [43.0, 41.0])
    drops, _, _ = Witness(battery, network, [500.0, 700.0], [43.0, 41.0]).run()
    assert run.event_minutes == pytest.approx([t for t, _ in drops], rel=1e-6)
    assert run.trace_dod[0] == pytest.approx(0.37)


def test_constant_current_is_peukert() -> None:
    """
    A flat emf without resistance draws one current: the law in its closed form.

    250 Ah at 1 A, exponent 1.3, 20 A: 5.088631644 h in the public tutorial named in `test_cells`.
    """
    flat = linear(50.0, 50.0, 0.0, 250.0, rate_hours_h=250.0, peukert=1.3)
    run = discharge(flat, pairs([0.0]), [1000.0], 40.0)
    assert run.end == "empty"
    assert run.end_minutes / 60 == pytest.approx(5.088631644, abs=1e-6)
    assert run.end_minutes / 60 == pytest.approx(float(peukert_hours(20.0, 250.0, 250.0, 1.3)), rel=1e-9)
    assert run.first_a == pytest.approx(20.0)
    assert run.to_the_end.tolist() == [True]


def test_exponent_of_one_is_plain_capacity() -> None:
    """With k = 1 the rate does not matter, and the time is that of the quadrature for spurs of their own."""
    network, power = pairs([0.3, 0.2]), [900.0, 500.0]
    fast, slow = (
        discharge(linear(51.0, 46.0, 0.012, 100.0, rate_hours_h=h), network, power, 40.5) for h in (1.0, 20.0)
    )
    assert fast.event_minutes == pytest.approx(slow.event_minutes, rel=1e-12)
    # load k is at its cut-out where the bars are at V_c + R P / V_c
    bars = max(40.5 + r * p / 40.5 for r, p in zip((0.3, 0.2), power, strict=True))
    amps = sum(float(single(bars, r, p).current_a) for r, p in zip((0.3, 0.2), power, strict=True))
    stop = (51.0 - bars - 0.012 * amps) / 5.0
    hours, _ = quad(lambda d: 100.0 / float(tree_bussed(51.0 - 5.0 * d, 0.012, [0.3, 0.2], power).feeder_a), 0.0, stop)
    assert fast.event_minutes[0] == pytest.approx(60 * hours, rel=1e-6)
    assert fast.stop_dod == pytest.approx(stop, abs=1e-9)
    near = discharge(linear(51.0, 46.0, 0.012, 100.0, peukert=1 + 1e-9), network, power, 40.5)
    assert near.event_minutes == pytest.approx(fast.event_minutes, rel=1e-7)
    # at currents above the rated one a larger exponent shortens the time
    tired = discharge(linear(51.0, 46.0, 0.012, 100.0, peukert=1.2), network, power, 40.5)
    assert np.all(tired.event_minutes < slow.event_minutes)


def test_one_pair_in_closed_form() -> None:
    """E = 40.5 V + 0.312 ohm x 900 W / 40.5 V = 47.4333 V, which a linear emf of 51 to 46 V has at a depth of 0.713333."""
    run = discharge(linear(51.0, 46.0, 0.012, 100.0), pairs([0.3]), [900.0], 40.5)
    assert run.event_emf_v[0] == pytest.approx(40.5 + 0.312 * 900 / 40.5, abs=1e-8)
    assert run.stop_dod == pytest.approx((51 - 47.43333333333333) / 5, abs=1e-9)
    assert run.event_bus_v[0] == pytest.approx(40.5 + 0.3 * 900 / 40.5, abs=1e-8)
    assert run.event_a[0] == pytest.approx(900 / 40.5, abs=1e-8)
    assert run.left_fraction == pytest.approx(1 - run.stop_dod)


@pytest.mark.parametrize("cut", [40.5, 36.0, 0.0])
@pytest.mark.parametrize("loop", [0.0, 0.3, 0.55])
def test_time_of_one_pair_in_closed_form(cut: float, loop: float) -> None:
    """
    `1 / I = (E + sqrt(E^2 - a^2)) / (2 P)`, `a^2 = 4 R P`, so `t = C / m` times the antiderivative between the two emfs,
    `(E^2 + E sqrt(E^2 - a^2) - a^2 ln(E + sqrt(E^2 - a^2))) / (4 P)`: also up to the fold, where the current rises steeply.
    """
    power, full, slope, capacity = 900.0, 51.0, 9.0, 100.0
    ohm = loop + 0.012
    run = discharge(linear(full, full - slope, 0.012, capacity), pairs([loop]), [power], cut)
    a = 2 * np.sqrt(ohm * power)
    drop = cut + ohm * power / cut if cut > a / 2 else a
    end = min(max(drop, full - slope), full)

    def antiderivative(e: float) -> float:
        root = np.sqrt(max(e * e - a * a, 0.0))
        return float((e * e + e * root - a * a * np.log(e + root)) / (4 * power))

    hours = capacity / slope * (antiderivative(full) - antiderivative(end))
    assert run.end_minutes == pytest.approx(60 * hours, rel=1e-6)
    assert run.end_dod == pytest.approx((full - end) / slope, abs=1e-8)
    assert run.end == ("empty" if end == full - slope else "idle")


def test_no_line_resistance_leaves_nothing_unusable() -> None:
    for battery in BATTERIES.values():
        bare = discharge(battery, pairs([0.0, 0.0]), [900.0, 400.0], 42.0)
        assert bare.unusable_fraction == pytest.approx(0.0, abs=1e-8)
        assert bare.unusable_wh == pytest.approx(0.0, abs=1e-4)
        line = discharge(battery, pairs([0.2, 0.2]), [900.0, 400.0], 42.0)
        assert line.unusable_fraction > 0.01


@pytest.mark.parametrize("name", BATTERIES)
def test_what_is_left_counts_from_the_first_drop(name: str) -> None:
    """Not from the end, until which the other radio runs on."""
    battery = BATTERIES[name]
    run = discharge(battery, bussed(0.02, [0.10, 0.18]), [500.0, 700.0], [43.0, 41.0], 0.0, 150.0)
    assert run.stop_dod == run.event_dod[0] < run.end_dod
    assert run.left_fraction == pytest.approx(1 - run.event_dod[0])
    area, _ = quad(
        lambda d: float(emf_v(battery, d)), run.stop_dod, 1.0, points=list(battery.dod[battery.dod > run.stop_dod])
    )
    assert run.left_wh == pytest.approx(battery.capacity_ah * area, rel=1e-8)


def test_unusable_energy_by_another_road() -> None:
    """The same radios at the bars: V = E - r P / V reaches the highest cut-out at `E = V + r P / V`."""
    battery, power, cut = BATTERIES["lead-acid"], 1200.0, 43.0
    run = discharge(battery, pairs([0.2]), [power], cut)

    def over(dod: float) -> float:
        return float(emf_v(battery, dod)) - cut - float(inner_ohm(battery, dod)) * power / cut

    ideal = brentq(over, 0.0, 1.0, xtol=1e-13) if over(1.0) < 0 else 1.0
    assert run.unusable_fraction == pytest.approx(ideal - run.stop_dod, abs=1e-8)
    assert run.unusable_wh == pytest.approx(float(energy_wh(battery, run.stop_dod, ideal)), rel=1e-7)


@pytest.mark.parametrize("name", BATTERIES)
def test_trace_and_charge_balance(name: str) -> None:
    """With k = 1 the integral of the current is the charge taken out; times and depths run forward; drops open their port."""
    battery = replace(BATTERIES[name], peukert=1.0)
    run = discharge(battery, bussed(0.02, [0.1, 0.18]), [500.0, 700.0], [43.0, 41.0], 0.0, 100.0)
    assert np.all(np.diff(run.trace_minutes) >= -1e-9)
    assert np.all(np.diff(run.trace_dod) >= -1e-13)
    charge = np.trapezoid(run.trace_a, run.trace_minutes) / 60
    assert charge == pytest.approx(battery.capacity_ah * run.end_dod, rel=2e-3)
    assert run.trace_emf_v == pytest.approx(emf_v(battery, run.trace_dod), abs=1e-12)
    assert np.all(run.trace_bus_v < run.trace_emf_v)
    assert run.trace_a[0] == pytest.approx(run.first_a)
    later = run.trace_minutes > run.event_minutes[0] + 1e-6
    if later.any():
        off, other = int(run.event_radio[0]), 1 - int(run.event_radio[0])
        assert np.all(run.trace_terminal_v[later, off] > run.trace_terminal_v[later, other] - 1e-9)


def lost_wh(witness: Witness, on: NDArray[np.bool_], start: float, end: float) -> float:
    """Heat of all branches, the battery's own among them, by Gauss-Legendre quadrature between the knots; load flow of `solve`."""
    battery = witness.battery
    x, w = np.polynomial.legendre.leggauss(12)
    knots = np.array([start, *battery.dod[(battery.dod > start) & (battery.dod < end)], end])
    low, high = knots[:-1, None], knots[1:, None]
    dod = ((low + high) / 2 + (high - low) / 2 * x).reshape(-1)
    weight = ((high - low) / 2 * w).reshape(-1)
    ohm = np.repeat(witness.network.branch_ohm[None], dod.size, axis=0)
    ohm[:, -1] = inner_ohm(battery, dod)
    network = replace(witness.network, branch_ohm=ohm, emf_v=emf_v(battery, dod))
    flow = solve(network, np.where(on, witness.power, 0.0))
    heat = (flow.branch_a**2 * ohm).sum(axis=1)
    return float((weight * heat * battery.capacity_ah / flow.branch_a[:, -1]).sum())


@pytest.mark.parametrize("name", BATTERIES)
@pytest.mark.parametrize("disconnect", [0.0, 43.4])
def test_energy_closes(name: str, disconnect: float) -> None:
    """Energy behind the inner resistance = power of each load times how long it ran, and the heat of battery and wires."""
    battery = replace(BATTERIES[name], peukert=1.0, charge_fraction=0.95)
    network, power, base = bussed(0.02, [0.10, 0.18, 0.05]), np.array([500.0, 700.0, 200.0]), 150.0
    cut = [43.0, 41.0, 40.0]
    run = discharge(battery, network, power, cut, disconnect, base)
    witness = Witness(battery, network, power, cut, disconnect, base)
    on = np.array([True, True, True, True])
    lost, at = 0.0, 1 - battery.charge_fraction
    for dod, radio in zip([*run.event_dod, run.end_dod], [*run.event_radio, -1], strict=True):
        if dod > at:
            lost += lost_wh(witness, on, at, float(dod))
        at = float(dod)
        if radio >= 0:
            on[radio] = False
    used = float((power * run.minutes).sum() / 60 + base * run.end_minutes / 60)
    given = float(energy_wh(battery, 1 - battery.charge_fraction, run.end_dod))
    assert given == pytest.approx(used + lost, rel=1e-6)
    assert lost > 0.02 * given


def test_trap_minutes_are_not_ampere_hours_times_48_over_power() -> None:
    """51 - 5 d V, 12 mohm, 100 Ah, 0.30 ohm, 900 W, 40.5 V: 12161.9 s by an independent quadrature, 19200 s by the rule."""
    run = discharge(linear(51.0, 46.0, 0.012, 100.0), pairs([0.30]), [900.0], 40.5)
    seconds = 60 * float(run.minutes[0])
    assert seconds == pytest.approx(12161.9, abs=0.05)
    assert seconds < 0.64 * (100 * 48.0 / 900.0 * 3600)


def test_trap_the_battery_and_its_feeder_drop_voltage_too() -> None:
    """Without the 12 mohm the cut-out would be met at 47.1667 V in place of 47.4333 V, at a depth of 0.7667 in place of 0.7133."""
    with_it, without = (discharge(linear(51.0, 46.0, r, 100.0), pairs([0.30]), [900.0], 40.5) for r in (0.012, 0.0))
    assert without.stop_dod == pytest.approx((51.0 - 40.5 - 0.3 * 900 / 40.5) / 5, abs=1e-9)
    assert with_it.stop_dod == pytest.approx((51.0 - 40.5 - 0.312 * 900 / 40.5) / 5, abs=1e-9)
    # as a branch of the network, between battery and bars, the same resistance does the same
    feeder = Network(5, [0, 2, 4], [2, 4, 3], [0.012, 0.15, 0.15], 0, 1, np.array(0.0), [3], [1])  # type: ignore[arg-type]
    branch = discharge(linear(51.0, 46.0, 0.0, 100.0), feeder, [900.0], 40.5, bus=(2, 1))
    assert branch.minutes[0] == pytest.approx(with_it.minutes[0], rel=1e-9)
    assert branch.event_bus_v[0] == pytest.approx(with_it.event_bus_v[0], abs=1e-8)


@pytest.mark.parametrize("name", BATTERIES)
def test_trap_the_low_root_is_never_returned(name: str) -> None:
    """A load without cut-out is followed down to the end of its operating points: above half of the emf, all the way."""
    battery = BATTERIES[name]
    ohm = 0.95 * float(emf_v(battery, 0.5)) ** 2 / 4 / 1500.0
    run = discharge(battery, pairs([ohm]), [1500.0], 0.0)
    volts, emf = run.trace_terminal_v[:, 0], run.trace_emf_v
    assert run.event_kind == ("collapse",)
    assert 0.4 < run.stop_dod < 1
    assert np.all(volts >= emf / 2 * (1 - 1e-9))
    assert np.all(np.diff(volts) <= 1e-9)
    # the other root would start with more than twice the current, and its current would fall
    assert np.all(np.diff(run.trace_a) >= -1e-9)
    assert run.first_a == pytest.approx(
        float(single(float(emf_v(battery, 0.0)), ohm + float(inner_ohm(battery, 0.0)), 1500.0).current_a), rel=1e-9
    )


def test_off_radios_and_collapse() -> None:
    run = discharge(BATTERIES["linear"], pairs([0.3, 0.3]), [900.0, 0.0], 40.5)
    assert run.minutes[1] == 0
    assert not run.to_the_end[1]
    # without a cut-out the load goes when no operating point is left: E^2 = 4 R P
    loop = 0.65 - 0.012
    run = discharge(BATTERIES["linear"], pairs([loop]), [900.0], 0.0)
    assert run.event_kind == ("collapse",)
    assert run.event_emf_v[0] == pytest.approx(2 * np.sqrt(0.65 * 900), abs=1e-5)
    none = discharge(BATTERIES["linear"], pairs([1.0]), [900.0], 0.0)
    assert none.event_minutes.tolist() == [0.0]
    assert np.isnan(none.event_terminal_v[0])
    alone = discharge(BATTERIES["linear"], pairs([0.3]), [0.0], 40.5, 45.0, 800.0)
    assert (alone.end, alone.event_minutes.size) == ("disconnect", 0)
    heavy = discharge(linear(51.0, 44.0, 0.8, 100.0), pairs([0.3]), [0.0], 40.5, 0.0, 700.0)
    assert heavy.end == "collapse"
    assert float(emf_v(linear(51.0, 44.0, 0.8, 100.0), heavy.end_dod)) == pytest.approx(
        2 * np.sqrt(0.8 * 700), abs=1e-5
    )


def test_an_empty_battery_lasts_no_time() -> None:
    run = discharge(replace(BATTERIES["lithium"], charge_fraction=0.0), pairs([0.01]), [100.0], 36.0)
    assert run.end == "empty"
    assert run.end_minutes == 0


def test_bars_behind_a_feeder() -> None:
    """A disconnect that watches bars behind a feeder of the battery drops later than one at its terminals would."""
    network = Network(5, [0, 2, 4], [2, 3, 1], [0.03, 0.1, 0.1], 0, 1, np.array(0.0), [3], [4])  # type: ignore[arg-type]
    at_terminals = discharge(BATTERIES["linear"], network, [800.0], 30.0, 46.0)
    at_bars = discharge(BATTERIES["linear"], network, [800.0], 30.0, 46.0, bus=(2, 1))
    assert at_bars.end == at_terminals.end == "disconnect"
    assert at_bars.trace_bus_v[-1] == pytest.approx(46.0, abs=1e-8)
    assert at_terminals.trace_bus_v[-1] == pytest.approx(46.0, abs=1e-8)
    assert at_bars.end_minutes < at_terminals.end_minutes


@pytest.mark.parametrize("name", BATTERIES)
def test_thicker_is_never_earlier(name: str) -> None:
    network = bussed(0.03, [0.10, 0.18, 0.25])
    factors = np.array([1.0, 0.8, 0.5, 0.2, 0.05])
    sizes = factors[:, None] * network.branch_ohm
    tag = price_tag(BATTERIES[name], network, sizes, [500.0, 700.0, 300.0], [42.0, 38.4, 40.5], 40.0, 50.0)
    assert np.all(np.diff(tag.first_minutes) >= -1e-6 * tag.first_minutes[:-1])
    # only the first drop: a thinner line sheds load early, which lengthens the time of what is left
    assert tag.end_minutes[1] < tag.end_minutes[0]
    assert np.all(np.diff(tag.unusable_fraction) <= 1e-9)
    assert tag.gained_minutes[0] == 0
    assert tag.gained_minutes[-1] > 0
    # array equals scalar: each row is the discharge of that line
    for i, ohm in enumerate(sizes):
        one = discharge(
            BATTERIES[name], replace(network, branch_ohm=ohm), [500.0, 700.0, 300.0], [42.0, 38.4, 40.5], 40.0, 50.0
        )
        assert tag.minutes[i].tolist() == one.minutes.tolist()
        assert tag.end_minutes[i] == one.end_minutes
        assert tag.unusable_wh[i] == one.unusable_wh
        assert tag.radio[i] == (one.event_radio[0] if one.event_radio.size else -1)


def test_more_capacity_lasts_in_proportion() -> None:
    small, large = (
        discharge(linear(51.0, 46.0, 0.012, c), bussed(0.02, [0.1, 0.2]), [500.0, 700.0], 41.0) for c in (100.0, 250.0)
    )
    assert large.minutes == pytest.approx(2.5 * small.minutes, rel=1e-9)


def test_nonsense() -> None:
    battery, network = BATTERIES["linear"], pairs([0.3, 0.2])
    stack = replace(network, branch_ohm=np.stack([network.branch_ohm] * 2))
    for call, words in (
        (lambda: discharge(battery, network, [0.0, 0.0], 40.0), "nothing draws current"),
        (lambda: discharge(battery, network, [1.0], 40.0), "needs 2 ports"),
        (lambda: discharge(battery, network, [1.0, -1.0], 40.0), "power_w can't be negative"),
        (lambda: discharge(battery, network, [1.0, np.nan], 40.0), "power_w can't be negative or missing"),
        (lambda: discharge(battery, network, [1.0, np.inf], 40.0), "power_w can't be negative or missing"),
        (lambda: discharge(battery, network, [1.0, 1.0], -1.0), "cut_out_v"),
        (lambda: discharge(battery, network, [1.0, 1.0], 40.0, np.nan), "disconnect_v"),
        (lambda: discharge(battery, stack, [1.0, 1.0], 40.0), "no scenarios"),
        (lambda: price_tag(battery, network, network.branch_ohm, [1.0, 1.0], 40.0), "alternatives"),
        (lambda: price_tag(battery, network, np.zeros((0, 4)), [1.0, 1.0], 40.0), "alternatives"),
    ):
        with pytest.raises(ValueError, match=words):
            call()
