"""Breakers over pairs in parallel: what a short in one of them draws, and how hot that makes it."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from upmast.finding import Verdict
from upmast.limits import Limits
from upmast.line.build import build
from upmast.power import check as power
from upmast.power.guards import fault_levels_a, guarded_wires, hottest_after
from upmast.power.seen import Seen
from upmast.power.state import evaluate
from upmast.proof.limits import limits_of
from upmast.proof.scenarios import scenarios_of


def _lines() -> ModuleType:
    spec = importlib.util.spec_from_file_location("lines", Path(__file__).parent / "lines.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


lines = _lines()


@pytest.fixture(scope="module")
def doubled() -> Seen:
    """Two pairs in parallel for each radio, behind one breaker."""
    line = build(lines.SITE, lines.CATALOGUE, lines.choice("trunk-6x10-24f", "box-straight-6-lc", pairs_each=2))
    limits: Limits = limits_of(lines.SITE)
    inputs = power.inputs(line, lines.SITE, scenarios_of(lines.SITE))
    return Seen(inputs, limits, evaluate(inputs))


def test_pairs_in_parallel_behind_one_breaker_are_judged(doubled: Seen) -> None:
    guard = doubled.i.breakers[0]
    assert any(len(group) == 2 for group in guard.protects)
    assert len(guarded_wires(doubled, guard)) >= 2
    result = power.check(doubled.i, doubled.limits)
    found = [f for f in result.findings if f.code == "power.fault-withstand" and f.subject == guard.item]
    assert len(found) == 1
    assert found[0].verdict in (Verdict.PASSES, Verdict.FAILS)
    assert found[0].value is not None


def test_currents_of_a_short_in_one_of_two_pairs_are_those_of_a_ladder_solved_by_hand(doubled: Seen) -> None:
    """
    The same short solved by node voltages with numpy: source behind R_s, wire b cut at x with its far end on the other wire.

    Lines and returns are alike, so that one side of the loop with half the source stands for both.
    """
    guard = doubled.i.breakers[0]
    b = next(w for w in guarded_wires(doubled, guard) if any(w in g and len(g) == 2 for g in guard.protects))
    wire, through = fault_levels_a(doubled, guard, b)
    ohm = float(doubled.state.branch_ohm[doubled.low][b])
    (far_wire, near_wire) = (wire[0], wire[-1])
    (far, near) = (through[0], through[-1])
    assert far_wire == pytest.approx(far / 2, rel=1e-3)  # alike but for their heat: half each
    assert near_wire == pytest.approx(near, rel=1e-9)
    # emf and source resistance that give these two ends
    source = ohm / 2 * far / (near - far)
    emf = near * source
    for n in (40, 90, 140, 170):
        share = wire[n] / through[n]
        x = 2 * (1 - share)  # (2 - x)/2
        # nodes: 1 at the bars, 2 at the far end; the short at x is the reference
        g = np.array([[1 / source + 1 / (x * ohm) + 1 / ohm, -1 / ohm], [-1 / ohm, 1 / ohm + 1 / ((1 - x) * ohm)]])
        volts = np.linalg.solve(g, [emf / source, 0.0])
        assert through[n] == pytest.approx((emf - volts[0]) / source, rel=2e-3)
        assert wire[n] == pytest.approx(volts[0] / (x * ohm), rel=2e-3)


def test_currents_fall_from_the_near_to_the_far_end_and_the_wire_never_carries_more_than_its_breaker(
    doubled: Seen,
) -> None:
    for guard in doubled.i.breakers:
        for b in guarded_wires(doubled, guard):
            wire, through = fault_levels_a(doubled, guard, b)
            assert np.all(wire <= through * (1 + 1e-12))
            assert through[-1] == through.max()
            theta, current, time = hottest_after(doubled, guard, b)
            assert theta > doubled.hot_c
            assert time > 0
            assert wire.min() <= current <= wire.max()


def test_a_wire_alone_carries_what_its_breaker_does() -> None:
    line = build(lines.SITE, lines.CATALOGUE, lines.choice("trunk-6x10-24f", "box-straight-6-lc"))
    inputs = power.inputs(line, lines.SITE, scenarios_of(lines.SITE))
    seen = Seen(inputs, limits_of(lines.SITE), evaluate(inputs))
    for guard in inputs.breakers:
        for b in guarded_wires(seen, guard):
            wire, through = fault_levels_a(seen, guard, b)
            assert wire.tolist() == through.tolist()
