"""Where the first voltage reaches its limit: closed forms of one pair, root searches on the load flow, the fold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import brentq

from upmast.power.crossing import TIE_V, crossing, first_of, seen_from_loads
from upmast.power.network import Network, collapse_factor, solve

Array = NDArray[np.float64]


def one(ohm: float, power: float, cut: float) -> tuple[Array, Array, Array, Array, NDArray[np.bool_]]:
    return np.ones((1, 1)), np.full((1, 1, 1), ohm), np.full((1, 1), power), np.full((1, 1), cut), np.ones((1, 1), bool)


def bussed(feeder: float, spurs: list[float]) -> Network:
    """Line and return feeder from the bars, 0 and 1, to a box; a spur to each load."""
    n = len(spurs)
    plus = 4 + np.arange(n)
    return Network(
        4 + n,
        np.concatenate([[0, 3], np.full(n, 2)]),
        np.concatenate([[2, 1], plus]),
        np.concatenate([[feeder, feeder], spurs]),
        0,
        1,
        np.array(0.0),
        plus,
        np.full(n, 3),
    )


def test_one_pair_of_the_worked_discharge() -> None:
    """900 W over 0.30 ohm and 12 mohm with a cut-out of 40.5 V: 47.4333 V by an independent quadrature's end point."""
    found = crossing(*one(0.312, 900.0, 40.5))
    assert found.emf[0] == pytest.approx(47.4333, abs=5e-5)
    assert found.v[0, 0] == pytest.approx(40.5, abs=1e-9)
    assert not found.folded[0]


@given(st.floats(1e-3, 2.0), st.floats(1.0, 3000.0), st.floats(0.5, 50.0))
def test_one_pair_in_closed_form(ohm: float, power: float, cut: float) -> None:
    """`E = V + R P / V` while V is above half of E, that is above sqrt(R P); else maximum power transfer, `E^2 = 4 R P`."""
    found = crossing(*one(ohm, power, cut))
    fold = np.sqrt(ohm * power)
    if cut > fold * (1 + 1e-4):
        assert not found.folded[0]
        assert found.emf[0] == pytest.approx(cut + ohm * power / cut, rel=1e-9)
    elif cut < fold * (1 - 1e-4):
        assert found.folded[0]
        assert found.emf[0] == pytest.approx(2 * fold, rel=1e-8)
    # the low root, at which the current would rise as the source does, is never where it ends
    assert found.v[0, 0] >= fold * (1 - 1e-4)


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0.0, 0.08),
    st.lists(st.tuples(st.floats(0.0, 0.4), st.floats(50.0, 900.0), st.floats(30.0, 44.0)), min_size=2, max_size=6),
)
def test_against_a_root_search_on_the_load_flow(feeder: float, radios: list[tuple[float, float, float]]) -> None:
    spurs, power, cut = (np.array(column) for column in zip(*radios, strict=True))
    network = bussed(feeder, list(spurs))
    h, z, _ = seen_from_loads(network)
    watts, limit = np.append(power, 0.0)[None], np.append(cut, 0.0)[None]
    found = crossing(h, z, watts, limit, watts > 0)

    def least(emf: float) -> float:
        flow = solve(replace(network, emf_v=np.asarray(emf)), power)
        return float((flow.port_v - cut).min()) if flow.exists else -100.0

    emf = float(found.emf[0])
    assert least(emf + 1e-6) > 0
    assert least(emf - 1e-6) < 0
    if not found.folded[0]:
        assert emf == pytest.approx(brentq(least, emf - 1e-3, 300.0, xtol=1e-12), abs=1e-8)
    else:
        at = replace(network, emf_v=np.asarray(emf * (1 + 1e-7)))
        assert float(collapse_factor(at, power, 1e-9)) == pytest.approx(1.0, abs=1e-5)


def test_the_bars_are_the_last_port() -> None:
    """Base load alone at bars behind 0.02 ohm: `E = V + r P / V`; at the source itself there is nothing to drop."""
    network = Network(5, [0, 2, 4], [2, 3, 1], [0.02, 0.1, 0.1], 0, 1, np.array(0.0), [3], [4])  # type: ignore[arg-type]
    h, z, shape = seen_from_loads(network, (2, 1))
    assert shape == ()
    assert h[0] == pytest.approx([1.0, 1.0], rel=1e-14)
    assert z[0] == pytest.approx(np.array([[0.22, 0.02], [0.02, 0.02]]), rel=1e-12)
    power, cut = np.array([[0.0, 1500.0]]), np.array([[0.0, 43.0]])
    assert crossing(h, z, power, cut, cut > 0).emf[0] == pytest.approx(43.0 + 0.02 * 1500 / 43.0, abs=1e-9)
    _, at_source, _ = seen_from_loads(network)
    assert at_source[0, 1].tolist() == [0.0, 0.0]


def test_only_watched_ports_count() -> None:
    h, z, _ = seen_from_loads(bussed(0.03, [0.1, 0.3]))
    power = np.array([[500.0, 500.0, 0.0]])
    cut = np.array([[40.0, 40.0, 0.0]])
    both = crossing(h, z, power, cut, np.array([[True, True, False]]))
    near = crossing(h, z, power, cut, np.array([[True, False, False]]))
    assert both.port[0] == 1
    assert near.port[0] == 0
    assert near.emf[0] < both.emf[0]
    assert near.v[0, 0] == pytest.approx(40.0, abs=1e-9)
    assert near.v[0, 1] < 40.0


def test_first_of_ties_goes_by_the_list() -> None:
    margin = np.array([[0.5, 0.2, 0.2 - TIE_V / 2], [3.0, -1.0, 2.0]])
    least, which = first_of(margin, np.array([[True, True, True], [True, False, True]]))
    assert least.tolist() == [0.2 - TIE_V / 2, 2.0]
    assert which.tolist() == [1, 2]


def test_array_equals_scalar() -> None:
    h, z, _ = seen_from_loads(bussed(0.03, [0.1, 0.3, 0.2]))
    power = np.array([[500.0, 500.0, 100.0, 0.0], [0.0, 900.0, 50.0, 300.0], [2500.0, 900.0, 900.0, 0.0]])
    cut = np.array([[40.0, 38.0, 42.0, 0.0], [36.0, 36.0, 36.0, 45.0], [5.0, 5.0, 5.0, 0.0]])
    watched = (power > 0) & (cut > 0)
    rows = 3
    many = crossing(np.repeat(h, rows, axis=0), np.repeat(z, rows, axis=0), power, cut, watched)
    assert many.folded.tolist() == [False, False, True]
    for i in range(rows):
        row = slice(i, i + 1)
        alone = crossing(h, z, power[row], cut[row], watched[row])
        assert many.emf[i] == pytest.approx(alone.emf[0], rel=1e-10)
        assert many.port[i] == alone.port[0]
        assert many.folded[i] == alone.folded[0]
        assert many.v[i] == pytest.approx(alone.v[0], abs=1e-6)
