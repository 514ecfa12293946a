"""Life cost against textbook annuities and sums done by hand over the kit of a line."""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path
from types import ModuleType

import pytest

from upmast.catalogue.catalogue import standard
from upmast.line.line import Item, Line
from upmast.plan.cost import cost_of, hours, on_mast, piece_cost, piece_mass_kg, working, worth_years
from upmast.site.site import Policy, Site


def _make() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make", Path(__file__).parent.parent / "sites" / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


make = _make()
SITE: Site = make.site(make.text("three_radios"))
LINE: Line = make.line(SITE)


def with_policy(**values: object) -> Site:
    return SITE.model_copy(update={"policy": Policy.model_validate(values)})


@pytest.mark.parametrize(
    ("years", "rate", "factor"),
    # uniform series, present worth: the compound interest tables that stand in every textbook of engineering economy
    [
        (10, 0.06, 7.3601),
        (20, 0.05, 12.4622),
        (5, 0.10, 3.7908),
        (15, 0.08, 8.5595),
        (1, 0.06, 0.9434),
        (10, 0.0, 10.0),
    ],
)
def test_annuity_factors_of_the_textbooks(years: int, rate: float, factor: float) -> None:
    assert worth_years(Policy(years_count=years, discount_fraction=rate)) == pytest.approx(factor, abs=5e-5)


def test_life_cost_by_hand() -> None:
    site = with_policy(
        years_count=10, discount_fraction=0.06, price_cost_per_kwh=0.20, rectifier_fraction=0.95, rent_cost_per_year=90.0, labour_cost_per_h=60.0
    )  # fmt: skip
    cost = cost_of(site, LINE, 1900.0)
    assert cost.cables_on_mast == 1  # one trunk; jumpers pay no rent
    assert cost.yearly_cost == pytest.approx(90.0 + 1900.0 * 0.20 / 0.95)  # 490
    assert cost.yearly_cost == pytest.approx(490.0)
    assert cost.labour_cost == pytest.approx(60.0 * cost.labour_h)
    assert cost.life_cost == pytest.approx(cost.capital_cost + cost.labour_cost + 7.360087 * 490.0, abs=1e-3)


def test_the_cost_of_a_line_is_the_sum_over_its_kit() -> None:
    """Counted once more from the items, in plain arithmetic: ends and metres of cables, pieces, and the optics at both ends."""
    capital = mass = labour = 0.0
    for item in LINE.items:
        capital += sum(LINE.parts[optic].cost for _, optic in item.equipment)
        if item.kind in ("radio", "antenna", "plant", "baseband"):
            continue
        part = LINE.parts[item.part]
        metres = (item.length_m or 0.0) * item.count
        capital += item.count * part.cost + metres * getattr(part, "cost_per_m", 0.0)
        if item.on not in ("CAB", "PLANT"):
            mass += item.count * part.mass_kg + metres * getattr(part, "mass_kg_per_m", 0.0)
        labour += hours(item.kind, item.length_m, item.count)
    cost = cost_of(SITE, LINE, 0.0)
    assert cost.capital_cost == pytest.approx(capital)
    assert cost.mass_kg == pytest.approx(mass)
    assert cost.labour_h == pytest.approx(labour)
    optics = sum(len(item.equipment) for item in LINE.items)
    assert optics == 2 * sum(radio.fibre.links_count for radio in SITE.radios)


def test_the_trunk_of_the_line_by_hand() -> None:
    """trunk-6x10-24f: 328 for its ends and 27.8 a metre, 1.5 kg and 1.85 kg a metre; 4 h and 0.04 h a metre."""
    trunk = LINE.by_id["T1"]
    part = LINE.parts[trunk.part]
    assert trunk.part == "trunk-6x10-24f"
    assert trunk.length_m == 40.0  # stock length that reaches 6 + 26 + 3 + 2 + 1 = 38 m
    assert piece_cost(part, trunk.length_m, 1) == pytest.approx(328 + 40 * 27.8)
    assert piece_mass_kg(part, trunk.length_m, 2) == pytest.approx(2 * (1.5 + 40 * 1.85))
    assert hours("trunk", 40.0, 1) == pytest.approx(4 + 1.6)
    assert hours("breaker", None, 3) == pytest.approx(0.6)
    assert hours("clamp", None, 30) == 0.0  # goes with what it holds


def test_rent_is_paid_for_what_runs_up_the_mast() -> None:
    assert on_mast(Item("T1", "trunk", "p", 40.0))
    assert on_mast(Item("A1-F1", "fibre-cable", "p", 40.0))
    assert not on_mast(Item("A1-H1", "hybrid-jumper", "p", 3.0))
    assert not on_mast(Item("T1-X01", "fibre-cable", "p", 2.0, on="CAB"))
    free, paid = cost_of(with_policy(), LINE, 100.0), cost_of(with_policy(rent_cost_per_year=100.0), LINE, 100.0)
    assert paid.life_cost - free.life_cost == pytest.approx(100.0 * worth_years(Policy()))
    assert paid.capital_cost == free.capital_cost


@pytest.mark.parametrize("rate", [0.0, 0.06, 0.2])
def test_the_working_gives_what_is_shown(rate: float) -> None:
    site = with_policy(discount_fraction=rate, rent_cost_per_year=50.0)
    cost = cost_of(site, LINE, 812.5)
    steps = working(site, cost)
    assert [step.result.symbol for step in steps] == ["C_y", "q", "C_life"]
    assert all(step.holds() for step in steps)
    assert math.isclose(steps[-1].evaluate(), cost.life_cost, rel_tol=1e-12)


def test_each_objective_reads_its_own_value() -> None:
    cost = cost_of(SITE, LINE, 10.0)
    assert cost.of("capital") == cost.capital_cost
    assert cost.of("mass") == cost.mass_kg
    assert cost.of("lead-time") == cost.lead_time_d == max(
        LINE.parts[i.part].lead_time_d for i in LINE.items if i.part and i.kind not in ("radio", "antenna")
    )  # fmt: skip
    assert cost.of("life-cost") == cost.life_cost > cost.capital_cost


def test_radios_and_antennas_are_given_and_cost_nothing() -> None:
    part = standard().part(SITE.radios[0].part)
    assert part.cost > 1000
    assert cost_of(SITE, LINE, 0.0).capital_cost < sum(standard().part(r.part).cost for r in SITE.radios)
