"""The working of the weather room's findings and figures."""

from __future__ import annotations

import math

from upmast.finding import Figure, Finding
from upmast.formula import Num, Sym, ln, symbols
from upmast.source import PRACTICE, Origin, Source
from upmast.weather.guards import derive_closure, derive_hazards, derive_inspection
from upmast.weather.heat import sheath_working
from upmast.weather.state import REMINDER_C, REMINDER_PERCENT, Inputs, chain_of
from upmast.working import ChoiceStep, FormulaStep, Quantity, SolvedStep, Step

MAGNUS = Source("WMO-No. 8", "annex 4.B")
WORDS = {True: "meets", False: "does not meet", None: "not known"}


def derive(inputs: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure."""
    if found.code == "weather.sheath-temperature":
        return (_sheath(inputs, found.value or 0.0),)
    if found.code == "weather.dew-point":
        return _dew_point(found.value or 0.0)
    if found.code == "weather.ingress":
        one = inputs.items[found.rank]
        rows = tuple(
            f"{link.words}: {link.code or 'no code'}, {WORDS[link.meets]}" for link in chain_of(one, inputs.asked)
        )
        rule = f"every member of the chain must meet {inputs.asked}; a seal over a joint stands for both its connectors"
        return (ChoiceStep(found.note or ", ".join(getattr(found, "missing", ())), rule, rows),)
    if found.code == "weather.hazards":
        return derive_hazards(inputs, found)
    if found.code == "weather.closures":
        return derive_closure(inputs, found)
    if found.code == "weather.inspection":
        return derive_inspection(inputs, found)
    if found.code == "weather.open-ports":
        return (_open_ports(inputs, found),)
    return (ChoiceStep(f"{found.value:g} {found.unit}".strip(), found.note),)


def _open_ports(inputs: Inputs, found: Finding | Figure) -> FormulaStep:
    """sum over the interfaces of open ports less their caps, none below 0."""
    one = inputs.items[found.rank]
    source = Source("line.yaml", "joints and caps")
    total = Num(0) + 0
    quantities = []
    for n, (interface, count, capped, names) in enumerate(one.open_ports, 1):
        quantities.append(
            Quantity(
                f"n_{n}",
                float(count),
                "",
                f"{interface} to which nothing is joined: {', '.join(names)}",
                Origin.EXPECTED,
                source,
            )
        )
        quantities.append(
            Quantity(f"c_{n}", float(min(capped, count)), "", f"caps on them, {capped} in all", Origin.EXPECTED, source)
        )
        term = Sym(f"n_{n}") - Sym(f"c_{n}")
        total = term if n == 1 else total + term
    result = Quantity("n", found.value or 0.0, "", f"open ports of {one.item}", Origin.EXPECTED, source)
    return FormulaStep(result, total, tuple(quantities))


def _sheath(inputs: Inputs, value: float) -> SolvedStep:
    words = "sheath in the sun, no wind, no current"
    return sheath_working(inputs.site, "low-hot", value, inputs.hot_c, inputs.sun_w_per_m2, words)


def _dew_point(value: float) -> tuple[Step, ...]:
    """t_d = c g / (b - g), g = ln(phi) + b t / (c + t)."""
    b = Quantity("b", 17.62, "", "coefficient over water", Origin.LISTED, MAGNUS)
    c = Quantity("c", 243.12, "°C", "coefficient over water", Origin.LISTED, MAGNUS)
    t = Quantity("t", REMINDER_C, "°C", "air of the reminder", Origin.DEFAULT, PRACTICE)
    phi = Quantity("phi", REMINDER_PERCENT, "%", "relative humidity of the reminder", Origin.DEFAULT, PRACTICE)
    sb, sc, st, sp = symbols("b c t phi")
    expression = ln(sp / 100) + sb * st / (sc + st)
    made = math.log(REMINDER_PERCENT / 100) + b.value * REMINDER_C / (c.value + REMINDER_C)
    g = Quantity("g", made, "", "logarithm of the vapour pressure over 611.2 Pa", Origin.EXPECTED, MAGNUS)
    result = Quantity("t_d", value, "°C", "dew point", Origin.EXPECTED, MAGNUS)
    return (
        FormulaStep(g, expression, (phi, b, t, c)),
        FormulaStep(result, sc * Sym("g") / (sb - Sym("g")), (c, g, b)),
    )
