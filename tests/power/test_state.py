"""Load flow and heating settled together: near the end of the operating points, warm starts, lengths row by row."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from upmast.line.build import build
from upmast.power.state import Inputs, Rows, branch_ohm, evaluate, flow_of, repeated, scenario_rows, settle


def _lines() -> ModuleType:
    spec = importlib.util.spec_from_file_location("lines", Path(__file__).parent / "lines.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


lines = _lines()


@pytest.fixture(scope="module")
def thin() -> Inputs:
    """Pairs of 10 mm² for three radios."""
    line = build(lines.SITE, lines.CATALOGUE, lines.choice("trunk-6x10-24f", "box-straight-6-lc"))
    inputs: Inputs = lines.checked(lines.SITE, line)[0]
    return inputs


def around_the_end(inputs: Inputs) -> tuple[Rows, np.ndarray]:
    """Rows of one scenario, with the line made longer until it has no operating point, in steps of half a per mille."""
    low = int(np.argmin(inputs.emf_v))

    def lives(factor: np.ndarray) -> np.ndarray:
        lengths = inputs.length_m * factor[:, None]
        return settle(inputs, repeated(scenario_rows(inputs), low, factor.size), lengths_m=lengths).flow.exists

    good, bad = 1.0, 16.0
    assert lives(np.array([good, bad])).tolist() == [True, False]
    while bad - good > 1e-3 * good:
        middle = (good + bad) / 2
        good, bad = (middle, bad) if lives(np.array([middle]))[0] else (good, middle)
    factor = good * np.linspace(0.99, 1.01, 41)
    return repeated(scenario_rows(inputs), low, factor.size), inputs.length_m * factor[:, None]


def test_what_has_no_operating_point_stays_without_as_the_line_grows(thin: Inputs) -> None:
    """A dead line cools, and could be taken for alive with its cool conductors: then dead and alive would take turns here."""
    rows, lengths = around_the_end(thin)
    exists = settle(thin, rows, lengths_m=lengths).flow.exists
    assert exists[0]
    assert not exists[-1]
    assert int(np.abs(np.diff(exists.astype(int))).sum()) == 1
    # heat decides: with conductors as warm as the air the dead ones nearest to the end would live
    first_dead = int(np.argmin(exists))
    cold = np.full(lengths.shape, float(rows.ambient_c[0]))
    assert flow_of(thin, branch_ohm(replace(thin, length_m=lengths), cold), rows).exists[first_dead]


def test_a_warm_start_finds_what_a_cold_one_finds(thin: Inputs) -> None:
    rows, lengths = around_the_end(thin)
    cold = settle(thin, rows, lengths_m=lengths)
    # as hot as nothing here gets: many rows have no operating point so, and must begin again
    hot = settle(thin, rows, np.full(lengths.shape, 120.0), lengths_m=lengths)
    far = np.abs(np.arange(41) - int(np.argmin(cold.flow.exists))) > 1  # at the very end 0.01 K decide
    assert hot.flow.exists[far].tolist() == cold.flow.exists[far].tolist()
    both = cold.flow.exists & hot.flow.exists & far
    assert both.sum() > 10
    assert hot.flow.port_v[both] == pytest.approx(cold.flow.port_v[both], abs=0.05)


def test_rows_settled_together_are_as_settled_alone(thin: Inputs) -> None:
    together = evaluate(thin)
    for s in range(together.rows.emf_v.size):
        alone = settle(thin, repeated(scenario_rows(thin), s, 1))
        assert alone.flow.exists[0] == together.flow.exists[s]
        assert alone.flow.port_v[0] == pytest.approx(together.flow.port_v[s], abs=1e-3)
        assert alone.temperature_c[0] == pytest.approx(together.temperature_c[s], abs=0.02)


def test_lengths_by_row_are_as_a_line_of_that_length(thin: Inputs) -> None:
    rows = repeated(scenario_rows(thin), 0, 3)
    factor = np.array([0.5, 1.0, 1.5])
    found = settle(thin, rows, lengths_m=thin.length_m * factor[:, None])
    for n, share in enumerate(factor):
        other = settle(replace(thin, length_m=share * thin.length_m), repeated(scenario_rows(thin), 0, 1))
        assert found.flow.port_v[n] == pytest.approx(other.flow.port_v[0], abs=1e-3)
