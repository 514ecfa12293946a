"""
What a line costs: capital, mass, lead time, labour, and the cost over its life.

    C_life = C_parts + C_labour + Q / (1 + i) x (n r + W p / eta),    Q = sum of (1 / (1 + i))^(k-1), k = 1 .. N

with n cables on the mast at a yearly rent r, W the yearly energy lost in the line, p its price, eta the efficiency of the
rectifiers, i the discount and N the years. Form of IEC 60287-3-2 without growth of load or price.
"""

from __future__ import annotations

from dataclasses import dataclass

from upmast.catalogue.part import Cable, ControlCable, Part, RfCable
from upmast.formula import sum_, symbols
from upmast.line.line import Item, Line
from upmast.power.energy import present_worth_factor
from upmast.site.origin import told
from upmast.site.site import Policy, Site
from upmast.source import Mark, Origin, Source
from upmast.working import FormulaStep, Quantity, Step

# Hours of a rigger, by kind of item: common practice, no source; they only rank options.
HOURS = {
    "trunk": 4.0, "dc-cable": 1.2, "fibre-cable": 1.0, "box": 2.0, "hybrid-jumper": 0.5, "dc-jumper": 0.4, "fibre-jumper": 0.4,
    "rf-jumper": 0.4, "feeder": 1.5, "breaker": 0.2, "bond": 0.3, "control-cable": 0.3, "rf-inline": 0.3, "fanout": 0.3,
}  # fmt: skip
HOURS_PER_M = {"trunk": 0.04, "dc-cable": 0.02, "fibre-cable": 0.015, "feeder": 0.03}
GIVEN = ("radio", "antenna", "plant", "baseband")  # asked by the radio plan, the same in every option
LABOUR = Source("common practice, no source", "hours of a rigger by kind of item", mark=Mark.PRACTICE)
RULE = Source("IEC 60287-3-2", "form of the life cost, from memory", mark=Mark.MEMORY)


@dataclass(frozen=True, slots=True)
class Cost:
    """What one line costs. Radios and antennas are given, so they are not in it."""

    capital_cost: float
    labour_h: float
    labour_cost: float
    mass_kg: float
    lead_time_d: float
    cables_on_mast: int
    energy_kwh: float
    yearly_cost: float
    worth_years: float
    life_cost: float

    def of(self, objective: str) -> float:
        """The value that an objective minimises."""
        return {
            "life-cost": self.life_cost,
            "capital": self.capital_cost,
            "mass": self.mass_kg,
            "lead-time": self.lead_time_d,
        }[objective]


def piece_cost(part: Part, length_m: float | None, count: int) -> float:
    """Price of an item: pieces, or ends and metres."""
    per_m = part.cost_per_m if isinstance(part, Cable | RfCable | ControlCable) else 0.0
    return count * (part.cost + per_m * (length_m or 0.0))


def piece_mass_kg(part: Part, length_m: float | None, count: int) -> float:
    """Mass of an item."""
    per_m = part.mass_kg_per_m if isinstance(part, Cable | RfCable | ControlCable) else 0.0
    return count * (part.mass_kg + per_m * (length_m or 0.0))


def hours(kind: str, length_m: float | None, count: int) -> float:
    """Hours of a rigger for an item; hardware goes with what it stands on."""
    return count * (HOURS.get(kind, 0.0) + HOURS_PER_M.get(kind, 0.0) * (length_m or 0.0))


def on_mast(item: Item) -> bool:
    """A cable that runs up the mast and pays rent."""
    return item.kind in ("trunk", "dc-cable", "fibre-cable", "feeder") and item.on != "CAB"


def worth_years(policy: Policy) -> float:
    """Q / (1 + i): what one cost unit a year is worth today."""
    return float(present_worth_factor(policy.years_count, policy.discount_fraction))


def cost_of(site: Site, line: Line, energy_kwh: float) -> Cost:
    """The cost of a line that loses that much energy in a year."""
    policy = site.policy
    capital = mass = labour = 0.0
    lead = 0.0
    cables = 0
    for item in line.items:
        for _, optic in item.equipment:
            capital += line.parts[optic].cost
            lead = max(lead, line.parts[optic].lead_time_d)
        if item.kind in GIVEN or not item.part:
            continue
        part = line.parts[item.part]
        capital += piece_cost(part, item.length_m, item.count)
        mass += piece_mass_kg(part, item.length_m, item.count) if item.on not in ("CAB", "PLANT") else 0.0
        labour += hours(item.kind, item.length_m, item.count)
        lead = max(lead, part.lead_time_d)
        cables += on_mast(item)
    yearly = cables * policy.rent_cost_per_year + energy_kwh * policy.price_cost_per_kwh / policy.rectifier_fraction
    worth = worth_years(policy)
    pay = labour * policy.labour_cost_per_h
    return Cost(capital, labour, pay, mass, lead, cables, energy_kwh, yearly, worth, capital + pay + worth * yearly)


def working(site: Site, cost: Cost) -> tuple[Step, ...]:
    """The life cost as steps that a reader can follow."""

    def own(field: str) -> Source:
        return Source(f"site {site.id}", f"policy.{field}", mark=Mark.DECLARED)

    expected = Source("plan: sum over the items of the line")
    n, r, w, p, eta, i, years = symbols("n r W p eta i N")
    policy = site.policy
    yearly_inputs = (
        Quantity("n", cost.cables_on_mast, "", "cables on the mast", Origin.EXPECTED, expected),
        Quantity(
            "r",
            policy.rent_cost_per_year,
            "cost units/yr",
            "rent of one cable",
            Origin.DECLARED,
            own("rent_cost_per_year"),
        ),
        Quantity(
            "W", cost.energy_kwh, "kWh", "energy lost in a year", Origin.EXPECTED, Source("power.energy of the proof")
        ),
        Quantity(
            "p",
            policy.price_cost_per_kwh,
            "cost units/kWh",
            "price of energy",
            Origin.DECLARED,
            own("price_cost_per_kwh"),
        ),
        Quantity(
            "eta",
            policy.rectifier_fraction,
            "",
            "efficiency of the rectifiers",
            Origin.DECLARED,
            own("rectifier_fraction"),
        ),
    )
    yearly = Quantity("C_y", cost.yearly_cost, "cost units/yr", "cost of a year", Origin.EXPECTED, RULE)
    worth = Quantity("q", cost.worth_years, "yr", "what one cost unit a year is worth today", Origin.EXPECTED, RULE)
    rate = policy.discount_fraction
    if rate > 0:
        worth_step = FormulaStep(
            worth, (1 - (1 + i) ** (-1 * years)) / i,
            (Quantity("i", rate, "", "discount", Origin.DECLARED, own("discount_fraction")), Quantity("N", policy.years_count, "yr", "years", Origin.DECLARED, own("years_count"))),
        )  # fmt: skip
    else:
        worth_step = FormulaStep(
            worth,
            sum_([years]),
            (Quantity("N", policy.years_count, "yr", "years", Origin.DECLARED, own("years_count")),),
        )
    capital, labour, q, y = symbols("C_parts C_labour q C_y")
    total_inputs = (
        Quantity("C_parts", cost.capital_cost, "cost units", "parts", Origin.EXPECTED, expected),
        Quantity("C_labour", cost.labour_cost, "cost units", f"{cost.labour_h:.1f} h of work", Origin.DEFAULT, LABOUR),
        worth,
        yearly,
    )
    total = Quantity("C_life", cost.life_cost, "cost units", "life cost", Origin.EXPECTED, RULE)
    steps = (
        FormulaStep(yearly, n * r + w * p / eta, yearly_inputs),
        worth_step,
        FormulaStep(total, capital + labour + q * y, total_inputs),
    )
    return told(site, steps)


__all__ = ["GIVEN", "Cost", "cost_of", "hours", "on_mast", "piece_cost", "piece_mass_kg", "working", "worth_years"]
