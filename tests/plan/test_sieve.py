"""What the sieve leaves out fails in the proof too, and its bounds are bounds: on built and proven lines of the standard catalogue."""

from __future__ import annotations

import importlib.util
import sys
from functools import lru_cache
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from upmast.catalogue.catalogue import Catalogue, standard
from upmast.finding import Verdict
from upmast.line.build import build
from upmast.plan.cost import cost_of
from upmast.plan.options import Options
from upmast.plan.search import Searcher
from upmast.plan.sieve import Sieve, Sieved
from upmast.plan.system import System
from upmast.proof.limits import limits_of
from upmast.proof.prove import Proof, prove
from upmast.proof.scenarios import scenarios_of
from upmast.site.site import Site


def _small() -> ModuleType:
    name = "upmast_tests_plan_small"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / "small.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


small = _small()


@lru_cache(maxsize=1)
def known() -> Catalogue:
    return standard()


@lru_cache(maxsize=32)
def case(seed: int) -> tuple[Site, list[System], Sieve, Searcher]:
    """A site of 1 to 6 radios, its systems, and their sieve."""
    rng = np.random.default_rng(seed)
    rows, route = small.random_rows(seed, 1 + seed % 6)
    objective = ("life-cost", "capital", "mass")[seed % 3]
    load = "" if seed % 2 else ", load: [{load_fraction: 0.9, hours_h: 12}, {load_fraction: 0.2, hours_h: 12}]"
    survive = ", must_survive: [pair-open]" if seed % 4 == 1 else ""
    asked = small.site(rows, f"objective: {objective}, most_trunks_count: 2, price_cost_per_kwh: 0.3{load}{survive}", route + float(rng.integers(0, 20)))  # fmt: skip
    systems = list(Options(asked, known()).systems())
    sieve = Sieve(asked, known(), limits_of(asked), scenarios_of(asked))
    return asked, systems, sieve, Searcher(asked, known(), ("",) * len(rows), sieve)


def some(seed: int, count: int) -> list[tuple[System, Sieved, tuple[int, ...]]]:
    """Systems of a case, half of them alive, with combinations picked at random among all ways; some of them the nearest."""
    rng = np.random.default_rng(seed + 77)
    _, systems, sieve, _ = case(seed)
    out = []
    alive = [s for s in systems if sieve.of(s).worst is None]
    for n in range(count):
        of = alive if alive and n % 2 else systems
        system = of[int(rng.integers(len(of)))]
        view = sieve.of(system)
        picked = tuple(int(rng.integers(len(ways))) for ways in system.ways)
        if system.bussed_pairs:
            picked = (*picked, int(rng.integers(len(system.pair_breakers))))
        out.append((system, view, view.nearest if rng.random() < 0.4 else picked))
    return out


def proof_of(seed: int, system: System, picked: tuple[int, ...]) -> Proof:
    asked, _, _, searcher = case(seed)
    return prove(asked, build(asked, known(), searcher.choice(system, picked)), rooms=("power",))


def failing(proof: Proof) -> list[str]:
    return [f.key for f in proof.at() if f.verdict is Verdict.FAILS]


@pytest.mark.parametrize("seed", range(12))
def test_what_is_left_out_fails_in_the_proof(seed: int) -> None:
    _, _, sieve, _ = case(seed)
    pruned = 0
    for system, view, picked in some(seed, 14):
        n = len(system.ways)
        outside = view.worst is not None or any(k not in kept for k, kept in zip(picked[:n], view.ways, strict=True))
        outside |= bool(system.bussed_pairs) and picked[-1] not in view.breakers
        missed = sieve.misses(system, picked)
        if outside or missed:
            pruned += 1
            assert failing(proof_of(seed, system, picked)), (system.title(), picked, view.worst, missed)
    assert pruned


@pytest.mark.parametrize("seed", range(12))
def test_what_passes_the_proof_is_left_in(seed: int) -> None:
    """The same the other way round, from the passing side: whatever the proof passes, no bound stops."""
    _, _, sieve, _ = case(seed)
    for system, view, picked in some(seed, 14):
        if failing(proof_of(seed, system, picked)):
            continue
        assert view.worst is None
        assert all(k in kept for k, kept in zip(picked, view.ways, strict=False))
        assert not sieve.misses(system, picked)


@pytest.mark.parametrize("seed", range(12))
def test_energy_and_cost_are_bounds(seed: int) -> None:
    asked, _, sieve, searcher = case(seed)
    seen = 0
    for system, view, picked in some(seed, 10):
        proof = proof_of(seed, system, picked)
        energy = next((f.value for f in proof.figures if f.code == "power.energy"), None)
        if energy is None:
            continue  # no operating point
        own = sieve.energy_kwh(system, picked)
        assert own <= energy * (1 + 1e-7)  # the proof takes a small difference of large powers
        if not failing(proof):
            assert own == pytest.approx(energy, rel=1e-6)  # of one combination the bound is the thing itself
        if view.worst is not None:
            continue
        shared = view.common_kwh + sum(float(view.energy_kwh[k][n]) for k, n in enumerate(picked[: len(system.ways)]))
        if all(n in kept for n, kept in zip(picked, view.ways, strict=False)):
            assert shared <= energy * (1 + 1e-7)
        slots = searcher.slots(system, view)
        spent = cost_of(asked, proof.line, energy).of(asked.policy.objective)
        assert searcher.floor(system, view, slots) <= spent * (1 + 1e-9) or not _kept(system, view, picked)
        seen += 1
    assert seen or all(sieve.of(s).worst is not None for s in case(seed)[1])


def _kept(system: System, view: Sieved, picked: tuple[int, ...]) -> bool:
    fits = all(n in kept for n, kept in zip(picked, view.ways, strict=False))
    return fits and (not system.bussed_pairs or picked[-1] in view.breakers)


@pytest.mark.parametrize("seed", range(6))
def test_without_energy_a_combination_costs_its_parts_and_the_same_rest(seed: int) -> None:
    """What the bound leaves out (caps of radios, patch leads) is the same for every combination of a system."""
    asked, _, _, searcher = case(seed)
    if asked.policy.objective == "life-cost":
        asked = asked.model_copy(update={"policy": asked.policy.model_copy(update={"price_cost_per_kwh": 0.0})})
    for system, _, picked in some(seed, 6):
        rests = []
        for other in (
            picked,
            tuple(0 for _ in picked),
            tuple(len(ways) - 1 for ways in system.ways) + picked[len(system.ways) :],
        ):
            line = build(asked, known(), searcher.choice(system, other))
            rests.append(
                cost_of(asked, line, 0.0).of(asked.policy.objective)
                - searcher.fixed(system, other, searcher.base(system))
            )
        kinds = {(w.fibre or w.dc).duplex_kind for ways in system.ways for w in ways}
        if len(kinds) == 1:
            assert max(rests) - min(rests) == pytest.approx(0.0, abs=1e-6)
        assert min(rests) >= -1e-6
