"""The linear part: Thevenin equivalents against textbook circuits, a dense nodal solution, and limits of the branches."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from upmast.power.wires import Network, eliminate, thevenin

Array = NDArray[np.float64]


def network(
    nodes: int, ends: list[tuple[int, int]], ohm: ArrayLike, ports: list[tuple[int, int]], emf: ArrayLike = 1.0
) -> Network:
    """Source between the nodes 0 and 1."""
    start, end = (np.array(column) for column in zip(*ends, strict=True))
    plus, minus = (np.array(column) for column in zip(*ports, strict=True))
    return Network(nodes, start, end, np.asarray(ohm, float), 0, 1, np.asarray(emf, float), plus, minus)


def dense(of: Network) -> tuple[Array, Array]:
    """Nodal analysis written out: all nodes but the source's two, each port driven by 1 A in turn."""
    n, m = of.node_count, of.port_plus.size
    g = np.zeros((n, n))
    for a, b, r in zip(of.branch_from, of.branch_to, of.branch_ohm, strict=True):
        g[[a, b, a, b], [a, b, b, a]] += np.array([1, 1, -1, -1]) / r
    free = [k for k in range(n) if k not in (of.source_plus, of.source_minus)]
    inner = g[np.ix_(free, free)]
    volts = np.zeros((n, 1 + m))
    volts[of.source_plus, 0] = 1.0
    drive = np.zeros((n, 1 + m))
    drive[:, 0] = -g[:, of.source_plus]
    for k, (a, b) in enumerate(zip(of.port_plus, of.port_minus, strict=True)):
        drive[a, 1 + k] -= 1
        drive[b, 1 + k] += 1
    volts[free] = np.linalg.solve(inner, drive[free])
    seen = volts[of.port_plus] - volts[of.port_minus]
    return seen[:, 0], -seen[:, 1:]


def test_divider_with_a_series_resistor_published() -> None:
    """A tutor's public answer on Thevenin's theorem (March 2016): 10 V, 3 and 6 kohm, then 10 kohm: 6.67 V and 12 kohm."""
    found = thevenin(network(4, [(0, 2), (2, 1), (2, 3)], [3e3, 6e3, 10e3], [(3, 1)], 10.0))
    assert round(float(found.voc_v[0]), 2) == 6.67
    assert found.z_ohm[0, 0] == pytest.approx(12e3, rel=1e-12)


@given(st.lists(st.floats(1.0, 1e4), min_size=4, max_size=4), st.floats(1.0, 60.0))
def test_bridge(ohm: list[float], emf: float) -> None:
    """Wheatstone: `V (R2 / (R1 + R2) - R4 / (R3 + R4))` behind `R1 || R2 + R3 || R4` (any textbook on circuits)."""
    r1, r2, r3, r4 = ohm
    found = thevenin(network(4, [(0, 2), (2, 1), (0, 3), (3, 1)], ohm, [(2, 3)], emf))
    open_v = emf * (r2 / (r1 + r2) - r4 / (r3 + r4))
    if found.supplied[0]:
        assert found.voc_v[0] == pytest.approx(open_v, rel=1e-9, abs=1e-11)
        assert found.z_ohm[0, 0] == pytest.approx(r1 * r2 / (r1 + r2) + r3 * r4 / (r3 + r4), rel=1e-9)
    else:
        # balanced, or the other way round: nothing that a load with a plus and a minus could draw from
        assert open_v <= 1e-9
        assert found.voc_v[0] == 0


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_random_wires_against_dense_nodal_analysis(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(4, 9))
    chain = [(0, 2), *((k, k + 1) for k in range(2, n - 1)), (n - 1, 1)]
    more = [tuple(int(x) for x in rng.choice(n, 2, replace=False)) for _ in range(int(rng.integers(0, 6)))]
    ends = [*chain, *((a, b) for a, b in more if {a, b} != {0, 1})]
    ports = [(int(a), int(b)) for a, b in (sorted(rng.choice(np.arange(2, n), 2, replace=False)) for _ in range(3))]
    of = network(n, ends, rng.uniform(0.01, 2.0, len(ends)), ports)
    voc, z = dense(of)
    found = eliminate(of)
    fed = found.supplied[0]
    assert np.array_equal(fed, voc > 1e-12)
    assert found.voc[0][fed] == pytest.approx(voc[fed], rel=1e-9)
    assert found.z[0][np.ix_(fed, fed)] == pytest.approx(z[np.ix_(fed, fed)], rel=1e-8, abs=1e-12)
    # reciprocity, and a resistance network takes power in whichever way it is driven
    assert found.z[0] == pytest.approx(found.z[0].T, abs=1e-12)
    assert np.linalg.eigvalsh(found.z[0]).min() >= -1e-12
    # Kirchhoff: with 1 V and no load, what flows into each inner node flows out of it
    flow = np.zeros(n)
    np.add.at(flow, of.branch_from, -found.branch[0, :, 0])
    np.add.at(flow, of.branch_to, found.branch[0, :, 0])
    assert flow[2:] == pytest.approx(np.zeros(n - 2), abs=1e-9)
    assert flow[0] == pytest.approx(-flow[1], abs=1e-9)


@pytest.mark.parametrize("ohm", [0.0, 1e-9, 0.99e-4, 1.01e-4, 1e-3])
def test_thin_and_thick_links_are_one_formula(ohm: float) -> None:
    """Below 0.1 mohm the current is an unknown of its own; the answer must not jump there. 0.2 ohm and two such links."""
    found = eliminate(network(5, [(0, 2), (2, 3), (3, 4), (4, 1)], [0.1, ohm, ohm, 0.1], [(3, 4)]))
    # the link between the ports' nodes is in parallel with the load
    total = 0.2 + 2 * ohm
    inner = ohm * (0.2 + ohm) / total
    assert found.z[0, 0, 0] == pytest.approx(inner, rel=1e-6, abs=1e-10)
    spur = eliminate(network(4, [(0, 2), (3, 1)], [ohm, 0.1], [(2, 3)]))
    assert spur.z[0, 0, 0] == pytest.approx(0.1 + ohm, rel=1e-9)
    assert spur.branch[0, :, 1] == pytest.approx([1.0, 1.0], rel=1e-12)
    # between two nodes of nearly one voltage its current is no difference of theirs
    inside = eliminate(network(5, [(0, 2), (2, 3), (4, 1)], [0.1, ohm, 0.1], [(3, 4)]))
    assert inside.branch[0, :, 1] == pytest.approx([1.0, 1.0, 1.0], rel=1e-10)


def test_bare_links_in_parallel_share_alike() -> None:
    found = eliminate(network(4, [(0, 2), (0, 2), (3, 1)], [0.0, 0.0, 0.1], [(2, 3)]))
    assert found.branch[0, :2, 1] == pytest.approx([0.5, 0.5], rel=1e-9)
    assert found.z[0, 0, 0] == pytest.approx(0.1, rel=1e-6)


def test_open_branches_leave_ports_without_source() -> None:
    of = network(6, [(0, 2), (3, 1), (0, 4), (5, 1)], [0.1, 0.1, np.inf, 0.1], [(2, 3), (4, 5)], 48.0)
    found = thevenin(of)
    assert found.supplied.tolist() == [True, False]
    assert found.voc_v.tolist() == [48.0, 0.0]
    assert found.z_ohm == pytest.approx(np.array([[0.2, 0.0], [0.0, 0.0]]), abs=1e-12)
    linear = eliminate(of)
    assert linear.reached[0].tolist() == [True, True, True, True, False, True]
    assert linear.branch[0, 2].tolist() == [0.0, 0.0, 0.0]
    dead = thevenin(replace(of, emf_v=np.asarray(0.0)))
    assert not dead.supplied.any()
    # an infinite resistance is the limit of a large one
    large = thevenin(replace(of, branch_ohm=np.array([0.1, 0.1, 1e12, 0.1])))
    assert large.voc_v[0] == pytest.approx(48.0)
    assert large.z_ohm[0, 0] == pytest.approx(0.2)


def test_array_equals_scalar() -> None:
    ends, ports = [(0, 2), (2, 3), (2, 4), (5, 1), (3, 5), (4, 5)], [(3, 5), (4, 5)]
    rng = np.random.default_rng(5)
    ohm = rng.uniform(0.05, 0.5, (3, 2, 6))
    ohm[1, 0, 2], ohm[2, 1, 1], ohm[0, 1, 3] = np.inf, 0.0, 3e-5
    emf = np.array([40.0, 54.0])
    grid = thevenin(network(6, ends, ohm, ports, emf))
    assert grid.voc_v.shape == (3, 2, 2)
    assert grid.z_ohm.shape == (3, 2, 2, 2)
    for i in range(3):
        for j in range(2):
            one = thevenin(network(6, ends, ohm[i, j], ports, emf[j]))
            assert grid.voc_v[i, j] == pytest.approx(one.voc_v, rel=1e-12)
            assert grid.z_ohm[i, j] == pytest.approx(one.z_ohm, rel=1e-9, abs=1e-13)
            assert grid.supplied[i, j].tolist() == one.supplied.tolist()


def test_nonsense() -> None:
    good = network(4, [(0, 2), (3, 1)], [0.1, 0.1], [(2, 3)])
    for change, words in (
        ({"branch_ohm": np.array([0.1, -0.1])}, "branch_ohm can't be negative or missing"),
        ({"branch_ohm": np.array([0.1, np.nan])}, "branch_ohm can't be negative or missing"),
        ({"emf_v": np.array(-1.0)}, "emf_v can't be negative"),
        ({"emf_v": np.array(np.inf)}, "emf_v"),
        ({"branch_ohm": np.array([0.1])}, "one length"),
        ({"branch_from": np.array([0, 4])}, "branch_from names a node"),
        ({"port_minus": np.array([-1])}, "port_minus names a node"),
        ({"port_plus": np.array([3])}, "two different nodes"),
        ({"branch_to": np.array([0, 1])}, "two different nodes"),
        ({"port_plus": np.array([2, 2])}, "one length"),
        ({"source_minus": 0}, "must differ"),
        ({"source_plus": 9}, "source names a node"),
        ({"node_count": 10**7}, "2 to 2000 nodes"),
    ):
        with pytest.raises(ValueError, match=words):
            replace(good, **change)
