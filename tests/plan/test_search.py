"""The plan against every line that can be built of a small catalogue, each judged by the whole proof."""

from __future__ import annotations

import importlib.util
import sys
from functools import lru_cache
from pathlib import Path
from types import ModuleType

import pytest

from upmast.plan.plan import plan

OBJECTIVES = ("life-cost", "capital", "mass", "lead-time")
POLICY = "price_cost_per_kwh: 0.3, years_count: 12, rent_cost_per_year: 20"


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


@lru_cache(maxsize=4)
def counted(seed: int) -> list:
    known = small.catalogue(small.random_parts(seed))
    rows, route = small.random_rows(seed)
    return small.every_passing(small.site(rows, POLICY, route, known=known), known)


@pytest.mark.parametrize("objective", OBJECTIVES)
@pytest.mark.parametrize("seed", [1, 3, 5, 6])
def test_no_line_is_better_than_the_planned_one(seed: int, objective: str) -> None:
    known = small.catalogue(small.random_parts(seed))
    rows, route = small.random_rows(seed)
    made = plan(small.site(rows, f"{POLICY}, objective: {objective}", route, known=known), known)
    every = counted(seed)
    assert every, "a seed without any passing line proves nothing"
    assert made.value == pytest.approx(min(one.cost.of(objective) for one in every), rel=1e-9)
    assert made.exact
    assert made.gap == 0
    assert made.best.choice in [one.choice for one in every]
    assert made.best.cost.of(objective) == pytest.approx(
        next(one.cost.of(objective) for one in every if one.choice == made.best.choice), rel=1e-12
    )


def parts(*, jumper_price: float = 40.0, made_d: float = 40.0) -> str:
    """One trunk, one straight box, jumpers of 4 and 10 mm² of which the thin one is late, breakers of 25 and 32 A."""
    c, j, t = small.cable, small.JUMPER, small.TRUNK
    return "".join(
        [
            c("t0", "trunk", pairs=4, area=16.0, strands=12, cost=150.0, per_m=20.0, mass=1.5, lead=10.0, ends=t, size=32.0,
              more=", duplex_kind: A-A, shield_area_mm2: 8"),
            small.box("b0", "straight", 4, 4, 6, 500.0, 9.0, 14.0),
            c("d4", "dc-jumper", pairs=1, area=4.0, strands=0, cost=jumper_price, per_m=2.0, mass=0.2, lead=made_d, ends=j, size=11.5),
            c("d10", "dc-jumper", pairs=1, area=10.0, strands=0, cost=60.0, per_m=4.0, mass=0.4, lead=5.0, ends=j, size=15.0),
            c("f0", "fibre-jumper", pairs=0, area=0, strands=2, cost=38.0, per_m=1.4, mass=0.04, lead=5.0, ends=j, size=6.0),
            small.breaker(25, 22.0),
            small.breaker(32, 24.0),
        ]
    )  # fmt: skip


def test_lead_time_takes_the_dearer_part_that_comes_sooner() -> None:
    known = small.catalogue(parts())
    rows = [small.panel("A1", 600, 32), small.panel("A2", 600, 32)]
    soon = plan(small.site(rows, "objective: lead-time", known=known), known)
    cheap = plan(small.site(rows, "objective: capital", known=known), known)
    assert soon.value == 14.0  # the box
    assert {radio.dc for radio in soon.best.choice.radios} == {"d10"}
    assert {radio.dc for radio in cheap.best.choice.radios} == {"d4"}
    assert cheap.best.cost.lead_time_d == 40.0
    assert cheap.value < soon.best.cost.capital_cost


def test_a_run_too_small_for_the_links_does_not_stop_the_larger_one() -> None:
    c, r = small.cable, small.RUN
    text = parts() + c("r0", "dc-cable", pairs=1, area=16.0, strands=0, cost=30.0, per_m=7.0, mass=0.6, lead=5.0, ends=r, size=19.0,
                       more=", shield_area_mm2: 6")  # fmt: skip
    for strands, price in ((2, 10.0), (4, 50.0)):
        text += c(f"g{strands}", "fibre-cable", pairs=0, area=0, strands=strands, cost=price, per_m=1.0, mass=0.05, lead=5.0, ends=r, size=7.0)  # fmt: skip
    known = small.catalogue(text)
    made = plan(small.site([small.panel("A1", 600, 32, links=2)], "trunks: [separate]", known=known), known)
    assert made.best is not None
    assert made.best.choice.radios[0].fibre == "g4"


def test_a_breaker_that_cannot_break_the_fault_is_never_chosen() -> None:
    known = small.catalogue(parts() + small.breaker(20, 1.0, kilo=3.0))
    made = plan(small.site([small.panel("A1", 500, 32)], "", known=known), known)
    assert made.best is not None
    assert made.best.choice.radios[0].breaker == "breaker-25"
    assert made.left_out["breakers that can't break the fault current of the plant"] == 1


def test_alike_radios_get_the_same_value_whatever_their_order() -> None:
    known = small.catalogue(parts())
    rows = [small.panel("A1", 900, 32), small.panel("A2", 400, 34), small.panel("A3", 900, 32)]
    values = {round(plan(small.site([rows[i] for i in order], "most_trunks_count: 1", known=known), known).value, 6)
              for order in ((0, 1, 2), (1, 0, 2), (2, 0, 1))}  # fmt: skip
    assert len(values) == 1


def test_a_bound_never_exceeds_the_cost_of_the_line_that_was_built() -> None:
    for seed in (1, 5):
        known = small.catalogue(small.random_parts(seed))
        rows, route = small.random_rows(seed)
        made = plan(small.site(rows, POLICY, route, known=known), known)
        for group in made.groups:
            if group.state in ("feasible", "bound"):
                assert group.value is not None
                assert group.value >= made.value - 1e-6
