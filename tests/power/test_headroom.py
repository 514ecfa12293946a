"""What a network still takes, against brute scans of the load flow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from upmast.power.headroom import growth, largest, largest_radio_w, longest_on_network_m, network_margins
from upmast.power.inverse import EXISTENCE, NOTHING, Margins, largest_load_w, longest_run_m
from upmast.power.network import Network, solve

Array = NDArray[np.float64]


def bussed(source: float, feeder: float, spurs: list[float], emf: float = 48.0) -> Network:
    """Source resistance, a common line and return feeder to a box, a spur to each radio."""
    n = len(spurs)
    plus = 5 + np.arange(n)
    return Network(
        5 + n,
        np.concatenate([[0, 2, 4], np.full(n, 3)]),
        np.concatenate([[2, 3, 1], plus]),
        np.array([source, feeder, feeder, *spurs]),
        0,
        1,
        np.array(emf),
        plus,
        np.full(n, 4),
    )


def pair(wire_ohm: float, emf: float = 43.2) -> Network:
    return Network(4, [0, 1], [2, 3], [wire_ohm, wire_ohm], 0, 1, emf, [2], [3])  # type: ignore[arg-type]


LINE = bussed(0.01, 0.03, [0.05, 0.10, 0.16])
POWER = np.array([500.0, 350.0, 400.0])


def passes(network: Network, power: Array, lowest: float | Array, ampacity: Array | None) -> bool:
    flow = solve(network, power)
    if not flow.exists:
        return False
    kept = bool(np.all(flow.port_v[power > 0] >= np.broadcast_to(lowest, power.shape)[power > 0]))
    return kept and (ampacity is None or bool(np.all(np.abs(flow.branch_a) <= ampacity)))


@pytest.mark.parametrize("lowest", [40.5, 36.0, 5.0])
@pytest.mark.parametrize("ampacity", [None, [60.0, 60.0, 60.0, 25.0, 25.0, 25.0]])
def test_largest_radio_against_a_scan(lowest: float, ampacity: list[float] | None) -> None:
    limit = None if ampacity is None else np.array(ampacity)
    answer = largest_radio_w(LINE, POWER, [0, 1, 2], lowest, limit)
    assert answer.possible.all()
    step = 2.0
    for k in range(3):
        scan = 0.0
        for watts in np.arange(0.0, 12000.0, step):
            load = POWER.copy()
            load[k] = watts
            if not passes(LINE, load, lowest, limit):
                break
            scan = float(watts)
        assert scan <= answer.value[k] <= scan + step
        at, over = POWER.copy(), POWER.copy()
        at[k], over[k] = answer.value[k], answer.value[k] * (1 + 1e-6)
        assert passes(LINE, at, lowest, limit)
        assert not passes(LINE, over, lowest, limit)
        broken = network_margins(LINE, over, lowest, limit).broken
        assert answer.governs[k] == str(broken)
    assert answer.governs[0] == ("ampacity" if ampacity else EXISTENCE if lowest == 5.0 else "voltage")


@pytest.mark.parametrize(("lowest", "ampacity"), [(40.5, np.inf), (10.0, np.inf), (36.0, 15.0)])
def test_one_pair_is_the_closed_form(lowest: float, ampacity: float) -> None:
    closed = largest_load_w(43.2, lowest, 0.138, ampacity)
    found = largest_radio_w(pair(0.069), [0.0], [0], lowest, [ampacity, ampacity])
    assert found.value[0] == pytest.approx(float(closed.value), rel=1e-8)
    assert found.governs[0] == str(closed.governs)


def test_one_pair_of_a_printed_voltage_drop() -> None:
    """
    A public training page on voltage drop by table 8 of chapter 9 of the NEC: two wires of 4.99 ohm in 1000 ft drop 4.0 V at 4 A
    in 100 ft. From 48 V, with 44 V required, that is the largest load; the page rounds the drop to one decimal.
    """
    answer = largest_radio_w(pair(0.499, 48.0), [0.0], [0], 44.0)
    assert answer.value[0] == pytest.approx(44.0 * 4, rel=0.05 / 4)


@pytest.mark.parametrize("ampacity", [None, [np.inf] * 7, [25.0] * 7])
def test_a_radio_at_the_source_itself_has_no_limit(ampacity: list[float] | None) -> None:
    """No branch carries its current, whatever the ampacities of the branches are."""
    network = replace(
        LINE,
        branch_from=np.append(LINE.branch_from, 0),
        branch_to=np.append(LINE.branch_to, 1),
        branch_ohm=np.append(LINE.branch_ohm, np.inf),
        port_plus=np.append(LINE.port_plus, 0),
        port_minus=np.append(LINE.port_minus, 1),
    )
    answer = largest_radio_w(network, [100.0, 100.0, 100.0, 0.0], [3], 36.0, ampacity)
    assert np.isinf(answer.value[0])
    assert answer.governs[0] == NOTHING
    assert answer.possible[0]


def test_links_without_resistance_are_held_by_their_ampacity() -> None:
    """P = I_z V on a bare link, to all digits though nothing else would end the search for a long time."""
    answer = largest_radio_w(pair(0.0, 48.0), [0.0], [0], 36.0, [25.0, 30.0])
    assert answer.governs[0] == "ampacity"
    assert answer.value[0] == pytest.approx(1200.0, rel=1e-7)


def test_what_fails_already_is_said() -> None:
    low = largest_radio_w(LINE, [500.0, 350.0, 2000.0], [0], 40.5)
    assert not low.possible[0]
    assert low.value[0] == 0
    assert low.governs[0] == "voltage"
    cut = replace(LINE, branch_ohm=np.where(np.arange(6) == 3, np.inf, LINE.branch_ohm))
    none = largest_radio_w(cut, [0.0, 350.0, 400.0], [0, 1], 40.5)
    assert none.possible.tolist() == [False, True]
    assert none.governs[0] == EXISTENCE


@pytest.mark.parametrize("radio_w", [50.0, 320.0])
def test_growth_against_counting(radio_w: float) -> None:
    room = growth(LINE, POWER, 40.0, radio_w)
    for k in range(3):
        load, count = POWER.copy(), -1
        while passes(LINE, load, 40.0, None):
            load[k] += radio_w
            count += 1
        assert room.more_radios[k] == count
        assert count * radio_w <= room.extra_w[k] < (count + 1) * radio_w
    assert room.possible.all()
    assert np.array_equal(room.extra_w, largest_radio_w(LINE, POWER, [0, 1, 2], 40.0).value - POWER)


def test_growth_limits() -> None:
    over = growth(LINE, [500.0, 350.0, 3000.0], 40.0, 100.0)
    assert not over.possible.any()
    assert over.extra_w.tolist() == [0.0, 0.0, 0.0]
    assert over.more_radios.tolist() == [0, 0, 0]
    assert growth(LINE, POWER, 40.0).more_radios.tolist() == [0, 0, 0]
    # a full port: the very power that is the largest leaves nothing
    full = POWER.copy()
    full[2] = largest_radio_w(LINE, POWER, [2], 40.0).value[0]
    assert growth(LINE, full, 40.0, 10.0).more_radios[2] == 0
    # closer to the source there is more room
    assert np.all(np.diff(growth(LINE, [400.0] * 3, 40.0).extra_w) < 0)
    tiny = growth(LINE, POWER, 40.0, 1e-30)
    assert np.all(tiny.more_radios == np.iinfo(np.intp).max)


@pytest.mark.parametrize(("lowest", "ampacity"), [(40.5, np.inf), (12.0, np.inf), (39.0, 24.0)])
def test_longest_on_a_network_of_one_pair(lowest: float, ampacity: float) -> None:
    def network_of(length: Array) -> Network:
        wire = 1.83e-3 * length
        return Network(4, [0, 1], [2, 3], np.stack([wire, wire], axis=-1), 0, 1, 43.2, [2], [3])  # type: ignore[arg-type]

    closed = longest_run_m(43.2, lowest, 1000.0, 1.83, ampacity_a=ampacity)
    found = longest_on_network_m(network_of, [1000.0], lowest, 500.0, [ampacity, ampacity])
    if closed.possible:
        assert found.value[0] == pytest.approx(float(closed.value), abs=1e-5)
        assert found.governs[0] == str(closed.governs)
    else:
        assert not found.possible[0]


def test_longest_on_a_bussed_network_against_a_scan() -> None:
    def network_of(length: Array) -> Network:
        base = np.broadcast_to(LINE.branch_ohm, (*length.shape, 6)).copy()
        base[..., 1:3] = 0.7e-3 * length[..., None]
        return replace(LINE, branch_ohm=base)

    found = longest_on_network_m(network_of, POWER, 40.5, 400.0)
    lengths = np.arange(0.0, 400.0, 0.05)
    flow = solve(network_of(lengths), POWER)
    good = flow.exists & (flow.port_v >= 40.5).all(axis=-1)
    last = lengths[np.flatnonzero(~good)[0] - 1]
    assert last <= found.value[0] <= last + 0.05
    near = longest_on_network_m(network_of, POWER, 40.5, 10.0)
    assert near.value[0] == 10.0
    assert near.governs[0] == NOTHING
    never = longest_on_network_m(network_of, POWER, 47.9, 10.0)
    assert not never.possible[0]


def test_search_array_equals_scalar() -> None:
    edges = np.array([3.0, 7.5, 0.2])

    def margins_of(edge: Array) -> object:
        def margins(x: Array) -> Margins:
            free = np.full(x.shape, np.inf)
            return Margins(x < 9, edge[:, None] - x, free)

        return margins

    both = largest(margins_of(edges), [0.0, 0.0, 0.5], [10.0, 5.0, 10.0])  # type: ignore[arg-type]
    assert both.value == pytest.approx([3.0, 5.0, 0.5], abs=1e-8)
    assert both.governs.tolist() == ["voltage", "nothing", "voltage"]
    assert both.possible.tolist() == [True, True, False]
    for i, (low, high) in enumerate([(0.0, 10.0), (0.0, 5.0), (0.5, 10.0)]):
        one = largest(margins_of(edges[i : i + 1]), [low], [high])  # type: ignore[arg-type]
        assert one.value[0] == pytest.approx(both.value[i], abs=1e-9)
        assert one.governs[0] == both.governs[i]


def test_ports_array_equals_scalar() -> None:
    many = largest_radio_w(LINE, POWER, [2, 0, 1, 0], 40.0)
    for i, k in enumerate([2, 0, 1, 0]):
        one = largest_radio_w(LINE, POWER, k, 40.0)
        assert many.value[i] == pytest.approx(one.value[0], rel=1e-9)
        assert many.governs[i] == one.governs[0]
    margins = network_margins(LINE, POWER * np.array([[0.5], [1.0], [9.0]]), 40.0, [30.0] * 6)
    for i, factor in enumerate((0.5, 1.0, 9.0)):
        one_margin = network_margins(LINE, POWER * factor, 40.0, [30.0] * 6)
        assert margins.exists[i] == one_margin.exists
        assert margins.voltage_v[i] == pytest.approx(float(one_margin.voltage_v), abs=1e-9)
        assert margins.ampacity_a[i] == pytest.approx(float(one_margin.ampacity_a), abs=1e-9)


def test_nonsense() -> None:
    for call, words in (
        (lambda: largest_radio_w(LINE, [1.0], [0], 40.0), "its 3 ports"),
        (lambda: largest_radio_w(LINE, POWER, [3], 40.0), "doesn't exist"),
        (lambda: largest_radio_w(LINE, POWER, [-1], 40.0), "doesn't exist"),
        (lambda: largest_radio_w(LINE, POWER, [0], -1.0), "lowest_v can't be negative"),
        (lambda: growth(LINE, POWER, 40.0, 0.0), "radio_w must be positive"),
        (lambda: growth(LINE, POWER, 40.0, np.nan), "radio_w must be positive"),
        (lambda: largest(lambda x: Margins(x < 1, x, x), [1.0], [0.0]), "finite ends"),
        (lambda: largest(lambda x: Margins(x < 1, x, x), [0.0], [np.inf]), "finite ends"),
        (lambda: network_margins(LINE, POWER, 40.0, [np.nan] * 6), "ampacity_a"),
    ):
        with pytest.raises(ValueError, match=words):
            call()
