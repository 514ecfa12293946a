"""Exchanged paths are made and have to be named; sound sites stay silent; the assignment is that of an independent solver."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from upmast.field.across import across
from upmast.field.swaps import assignment, swaps
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign

_spec = importlib.util.spec_from_file_location("field_swept", Path(__file__).parent / "swept.py")
assert _spec is not None
assert _spec.loader is not None
swept = importlib.util.module_from_spec(_spec)
sys.modules["field_swept"] = swept
_spec.loader.exec_module(swept)
Own, own, specimen, sweep_of = swept.Own, swept.own, swept.specimen, swept.sweep_of


@given(st.integers(1, 9), st.integers(0, 6), st.integers(0, 10_000))
def test_assignment_against_scipy(rows: int, more: int, seed: int) -> None:
    cost = np.random.default_rng(seed).normal(size=(rows, rows + more)).round(1)
    found = assignment(cost)
    at, to = linear_sum_assignment(cost)
    assert len(set(found.tolist())) == rows
    assert cost[np.arange(rows), found].sum() == pytest.approx(cost[at, to].sum())


def test_assignment_of_many() -> None:
    cost = np.random.default_rng(1).normal(size=(120, 150))
    _at, to = linear_sum_assignment(cost)
    assert assignment(cost).tolist() == to.tolist()
    for wrong in ([[1.0, 2.0], [1.0, np.inf]], [[1.0], [2.0]], [1.0]):
        with pytest.raises(ValueError, match="cost"):
            assignment(wrong)


def pack(
    designs: dict[str, PathDesign], rng: np.random.Generator, test: str, to: dict[str, str] | None = None
) -> list[Own]:
    """One sweep a path, each taken at the path that `to` says."""
    out = []
    for id, design in designs.items():
        real = designs[(to or {}).get(id, id)]
        out.append(own(design, sweep_of(real, specimen(real, rng), rng, test, file=f"{id}.s1p"), test))
    return out


@pytest.mark.parametrize("test", ["load", "antenna", "short"])
def test_sound_sites_stay_silent(proof: Proof, designs: dict[str, PathDesign], test: str) -> None:
    rng = np.random.default_rng(1)
    assert [swaps(proof, pack(designs, rng, test)) for _ in range(30)] == [()] * 30


@pytest.mark.parametrize(("test", "least"), [("load", 27), ("antenna", 20), ("short", 30)])
def test_two_paths_exchanged(proof: Proof, designs: dict[str, PathDesign], test: str, least: int) -> None:
    rng = np.random.default_rng(2)
    found = 0
    for _ in range(30):
        told = swaps(proof, pack(designs, rng, test, {"A2-J1": "A2-J2", "A2-J2": "A2-J1"}))
        assert len(told) <= 1
        if told:
            found += 1
            assert told[0].level == "warn"
            assert "A2-J1 and A2-J2 seem exchanged" in told[0].words
            assert {t.partition(".")[0] for t in told[0].tests} == {"A2-J1", "A2-J2"}
            assert "designed 3.00 m" in told[0].words
            assert "designed 5.00 m" in told[0].words
    assert found >= least


def test_three_in_a_ring(proof: Proof, designs: dict[str, PathDesign]) -> None:
    ring = {"A2-J1": "A2-J2", "A2-J2": "B1-J1", "B1-J1": "A2-J1"}
    (told,) = swaps(proof, pack(designs, np.random.default_rng(3), "short", ring))
    assert len(told.tests) == 3
    assert "seem exchanged" in told.words


def test_a_path_without_a_sweep(proof: Proof, designs: dict[str, PathDesign]) -> None:
    rng = np.random.default_rng(4)
    some = [o for o in pack(designs, rng, "short", {"A2-J1": "A2-J2"}) if o.path_id != "A2-J2"]
    (told,) = swaps(proof, some)
    assert "the sweep of A2-J1 fits A2-J2 better" in told.words
    assert "test lead" in told.remedy


def test_like_paths_are_said_to_be_untold(proof: Proof, designs: dict[str, PathDesign]) -> None:
    rng = np.random.default_rng(5)
    one = designs["A2-J1"]
    twin = replace(one, id="A2-J9")
    line = replace(proof.line)
    line.__dict__["_path_designs"] = (one, twin)
    sweeps = [own(d, sweep_of(d, specimen(d, rng), rng, file=f"{d.id}.s1p")) for d in (one, twin)]
    told = swaps(replace(proof, line=line), sweeps)
    assert [t.level for t in told] == ["note"]
    assert "A2-J1, A2-J9" in told[0].words
    assert "labels at both ends" in told[0].remedy


def test_across_tells_an_exchange_once(proof: Proof, designs: dict[str, PathDesign]) -> None:
    """Both lengths contradict the design, but the exchange explains it."""
    rng = np.random.default_rng(6)
    told = across(proof, pack(designs, rng, "short", {"A2-J1": "A2-J2", "A2-J2": "A2-J1"}))
    assert [t.kind for t in told] == ["swaps"]
    assert across(proof, []) == ()
    data = told[0].as_data()
    assert data["kind"] == "swaps"
    assert isinstance(data["files"], list)


def test_bands_that_were_not_swept_make_no_exchange(proof: Proof, designs: dict[str, PathDesign]) -> None:
    rng = np.random.default_rng(5)
    design = designs["A2-J1"]
    alone = sweep_of(design, specimen(design, rng), rng, "load", span=(3.3e9, 3.9e9), file="A2-J1.s1p")
    other = pack({id: one for id, one in designs.items() if id != "A2-J1"}, rng, "load")
    assert not [one for one in swaps(proof, [own(design, alone), *other]) if one.level == "warn"]
