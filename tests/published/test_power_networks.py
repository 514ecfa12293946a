"""
Random power networks of every kind against operating points of ngspice, a general-purpose circuit simulator.

`power_networks/make.py` draws the networks, writes their netlists and keeps what ngspice printed. Where ngspice is installed
the netlists are run again; elsewhere the stored answers stand.
"""

from __future__ import annotations

import importlib.util
import json
import shutil
from collections import Counter
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from upmast import power
from upmast.power.converter import Converter, convert
from upmast.power.loads import Loads

HERE = Path(__file__).parent / "power_networks"
# 14 digits are printed and ngspice iterates to 1e-12; a current of a branch is a small difference of voltages, though.
REL, ABS_A = 1e-9, 1e-9
# of ngspice against itself: another version may end its iterations elsewhere
AGAIN = 1e-9

Row = dict[str, Any]
Array = NDArray[np.float64]


@cache
def stored() -> Row:
    data: Row = json.loads((HERE / "networks.json").read_text("utf-8"))
    return data


@cache
def make() -> ModuleType:
    spec = importlib.util.spec_from_file_location("power_networks_make", HERE / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def rows() -> list[Row]:
    return list(stored()["rows"])


def name(row: Row) -> str:
    return f"{row['network']['kind']}-{row['network']['seed']}"


def ours(net: Row) -> tuple[power.Network, Loads]:
    """The stored numbers as a network and its loads; None is an open branch or no limit."""

    def numbers(values: list[float | None]) -> Array:
        return np.array([np.inf if value is None else value for value in values])

    network = power.Network(
        net["node_count"],
        np.array(net["branch_from"]),
        np.array(net["branch_to"]),
        numbers(net["branch_ohm"]),
        net["source_plus"],
        net["source_minus"],
        np.array(net["emf_v"]),
        np.array(net["port_plus"]),
        np.array(net["port_minus"]),
    )
    return network, Loads(net["power_w"], net["current_a"], net["conductance_s"], numbers(net["limit_a"]))


def solved(net: Row) -> dict[str, Array]:
    """Our answers by the names of the stored ones."""
    network, loads = ours(net)
    if "converter" in net:
        both = convert(network, loads, Converter(**net["converter"]), **net["plant"])
        assert both.exists
        assert both.raises
        flow = both.downstream
        sides = {
            key: np.atleast_1d(getattr(both, key)) for key in ("output_v", "output_a", "input_v", "input_a", "bus_a")
        }
    else:
        flow = power.solve(network, loads)
        sides = {"source_a": np.atleast_1d(flow.source_w / net["emf_v"])}
    assert flow.exists
    assert flow.certified
    return {
        "port_v": flow.port_v, "port_a": flow.port_a, "branch_a": flow.branch_a[make().seen_branches(net)], **sides,
    }  # fmt: skip


@pytest.mark.parametrize("row", rows(), ids=name)
def test_network_ngspice(row: Row) -> None:
    """Voltage and current of each port, of branches and of source or converter: ngspice operating point."""
    found = solved(row["network"])
    assert found.keys() == row["ngspice"].keys()
    for key, values in row["ngspice"].items():
        np.testing.assert_allclose(found[key], values, rtol=REL, atol=ABS_A if key == "branch_a" else 0, err_msg=key)


def test_comparison_notices_a_millionth() -> None:
    """All powers, or limits, a millionth higher: every network then differs from its stored answer by more than allowed."""
    for row in rows():
        net = row["network"]
        more = {
            key: [None if x is None else x * (1 + 1e-6) for x in net[key]]
            for key in ("power_w", "limit_a", "current_a", "conductance_s")
        }
        change = solved({**net, **more})["port_v"] / np.array(row["ngspice"]["port_v"]) - 1
        # either way: a line compensation may rise by more than the drop
        assert abs(change).max() > 10 * REL, name(row)


def test_every_kind_is_covered() -> None:
    """Each kind five times, one in each band of load, from light to near collapse; 1 to 9 radios; seeds all different."""
    counts = Counter(row["network"]["kind"] for row in rows())
    assert counts == dict.fromkeys(make().KINDS, 5)
    assert set(counts) == {
        "straight_pairs", "bussed_box", "cascade", "unequal_pairs", "spare_on_one_side", "line_unlike_return",
        "isolated_return", "common_return", "raised", "raised_compensated", "raised_clamped", "mixed_loads",
        "current_limited",
    }  # fmt: skip
    assert len({row["network"]["seed"] for row in rows()}) == len(rows()) == 65
    for kind in counts:
        shares = [row["loading_fraction"] for row in rows() if row["network"]["kind"] == kind]
        for share, (low, high) in zip(shares, make().BANDS, strict=True):
            assert low <= share <= high
    assert {len(row["network"]["power_w"]) for row in rows()} == set(range(1, 10))
    radios = [p for row in rows() for p in row["network"]["power_w"] if p]
    assert min(radios) >= 200
    assert max(radios) <= 1200
    assert all(42 <= row["network"].get("plant", row["network"])["emf_v"] <= 56 for row in rows())


def test_loading_is_ours() -> None:
    """The stored share of collapse is that of our collapse factor; ngspice knows none."""
    for row in rows():
        assert make().loading(row["network"]) == pytest.approx(row["loading_fraction"], abs=6e-4), name(row)


def test_each_kind_shows_what_it_is_there_for() -> None:
    """From the networks and the answers of ngspice alone."""
    limited: Counter[bool] = Counter()
    parts: Counter[str] = Counter()
    spare_sides: set[int] = set()
    for row in rows():
        net, seen, kind = row["network"], row["ngspice"], row["network"]["kind"]
        assert make().fits(net, seen), name(row)
        flows = dict(zip(make().seen_branches(net), seen["branch_a"], strict=True))
        assert (None in net["branch_ohm"]) == (kind == "isolated_return"), name(row)
        # line pairs leave the bar (node 2), return pairs the return (node 1), to which only the shield comes back
        line, back = (
            [ohm for start, ohm in zip(net["branch_from"], net["branch_ohm"], strict=True) if start == node]
            for node in (2, 1)
        )
        if kind == "unequal_pairs":
            assert max(line) > 1.2 * min(line), name(row)
            assert max(back) > 1.2 * min(back), name(row)
        elif kind == "line_unlike_return":
            assert max(line[0], back[0]) > 1.2 * min(line[0], back[0]), name(row)
        elif kind == "spare_on_one_side":
            spare_sides.add(len(line) - len(back))
        elif kind in ("isolated_return", "common_return"):
            shield = [flows[k] for k, end in enumerate(net["branch_to"]) if end == 1]
            assert len(shield) == (2 if kind == "common_return" else 1), name(row)
            if kind == "common_return":
                assert min(shield) > 0.1, name(row)
            else:
                assert max(map(abs, shield)) < 1e-9, name(row)
        elif kind == "current_limited":
            for p, limit, v, a in zip(net["power_w"], net["limit_a"], seen["port_v"], seen["port_a"], strict=True):
                assert a == pytest.approx(min(p / v, limit), rel=1e-11)
                limited[p > limit * v] += 1
        elif kind == "mixed_loads":
            for p, current, conductance in zip(net["power_w"], net["current_a"], net["conductance_s"], strict=True):
                parts["".join(c for c, x in zip("pig", (p, current, conductance), strict=True) if x)] += 1
    assert spare_sides == {1, -1}
    assert min(limited[True], limited[False]) >= 4
    assert min(parts[key] for key in ("p", "i", "g", "pig")) >= 4


@pytest.mark.parametrize("row", rows(), ids=name)
def test_netlist_is_of_the_network(row: Row) -> None:
    """The network follows from kind and seed, and the netlist from the network: ngspice was asked what we are asked."""
    net = row["network"]
    assert make().network(net["kind"], net["seed"]) == net
    assert make().netlist(net) == row["netlist"]


def test_ngspice_still_says_so() -> None:
    """All netlists run again, in one process."""
    program = shutil.which("ngspice")
    if program is None:
        pytest.skip(f"ngspice is not installed: the answers stored from {stored()['ngspice_version']} stand unrepeated")
    nets, netlists = [row["network"] for row in rows()], [row["netlist"] for row in rows()]
    for row, answer in zip(rows(), make().run(program, nets, netlists), strict=True):
        assert answer is not None, f"{name(row)}: {make().version(program)} finds no operating point"
        assert answer.keys() == row["ngspice"].keys()
        for key, values in row["ngspice"].items():
            np.testing.assert_allclose(answer[key], values, rtol=AGAIN, atol=ABS_A, err_msg=f"{name(row)} {key}")
