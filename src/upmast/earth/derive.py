"""The working of the earth room's findings and figures."""

from __future__ import annotations

from upmast.earth.bonding import HORIZONTAL_SPACING_M, SPACING_SOURCE
from upmast.earth.derive_stroke import CODES, derive_stroke
from upmast.earth.state import Inputs, bonds_on, plan_of, stretches
from upmast.finding import Figure, Finding
from upmast.formula import Expr, Num, Sym, ceil, max_
from upmast.limits import Limits
from upmast.source import Mark, Origin, Source
from upmast.working import ChoiceStep, FormulaStep, LookupStep, Quantity, Step

LINE = Source("line.yaml", "items")
COUNTED = Source("own derivation: bonds counted on the line")
SLACK = 1e-9  # a run of just over a whole number of spacings by rounding needs no further bond


def derive(inputs: Inputs, limits: Limits, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure."""
    if found.code in CODES:
        return derive_stroke(inputs, limits, found)
    if found.code == "earth.bond-count":
        return _count(inputs, limits, found)
    if found.code == "earth.bond-spacing" and found.value is not None:
        return _spacing(inputs, found)
    if found.code == "earth.bond-area":
        part = inputs.parts[found.rank]
        source = Source(part.source[0], part.source[1], mark=Mark(part.source[2]))
        area = Quantity("q", part.area_mm2, "mm²", f"section of the lead of {part.part}", Origin.LISTED, source)
        return (LookupStep(area, "parts of the line", part.part),)
    if found.code == "earth.case-bond":
        case = inputs.cases[found.rank][0]
        names = tuple(f"{b.item}: {b.part}" for b in bonds_on(inputs, case, "case"))
        return (ChoiceStep(f"{found.value:g}", f"bonds for cases counted on {case}", names),)
    missing = ", ".join(found.missing) if isinstance(found, Finding) else ""
    return (ChoiceStep(f"{found.value:g} m" if found.value is not None else "no value", found.note or missing),)


def _count(inputs: Inputs, limits: Limits, found: Finding | Figure) -> tuple[Step, ...]:
    """n = ceil((z_t - z_b) / s_b) + 1 on the run, ceil(h / s_h) - 1 on a long horizontal part, 1 at the entry."""
    run = inputs.runs[found.rank]
    spacing = limits.get("earth.bond-spacing")
    names = tuple(f"{b.item} at {b.height_m:g} m" for b in bonds_on(inputs, run.item, "shield"))
    counted = ChoiceStep(
        f"{found.value:g} bonds" if found.value is not None else "no value", f"counted on {run.item}", names
    )
    limit = found.limit if isinstance(found, Finding) else None
    if spacing is None or limit is None or found.value is None:
        return (counted,)
    low = max(run.low_m, 0.0)
    quantities = (
        Quantity("z_t", run.high_m, "m", f"upper end of {run.item}", Origin.EXPECTED, LINE),
        Quantity("z_b", low, "m", "lower end of its vertical run", Origin.EXPECTED, LINE),
        Quantity("s_b", spacing.value, "m", "largest spacing of bonds", Origin.DEFAULT, spacing.source),
        Quantity("h", run.horizontal_m, "m", "horizontal part before it", Origin.EXPECTED, LINE),
        Quantity("s_h", HORIZONTAL_SPACING_M, "m", "largest spacing on it", Origin.DEFAULT, SPACING_SOURCE),
    )
    vertical: Expr = Num(1)
    if run.high_m > low:
        vertical = ceil((Sym("z_t") - Sym("z_b")) / Sym("s_b") - SLACK) + 1
    horizontal = max_(ceil(Sym("h") / Sym("s_h") - SLACK), 1) - 1
    needed = plan_of(run, spacing.value).count
    result = Quantity(
        "n", float(needed), "", "bonds needed, the one at the entry among them", Origin.EXPECTED, SPACING_SOURCE
    )
    return (counted, FormulaStep(result, vertical + horizontal + 1, quantities))


def _spacing(inputs: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    run = inputs.runs[found.rank]
    rows = stretches(run, bonds_on(inputs, run.item, "shield"))
    upper, lower = max(rows, key=lambda row: row[0] - row[1])
    among = tuple(f"{a:g} m to {b:g} m: {a - b:.2f} m" for a, b in rows)
    quantities = (
        Quantity("z_1", upper, "m", "upper end of the longest stretch", Origin.EXPECTED, LINE),
        Quantity("z_2", lower, "m", "its lower end", Origin.EXPECTED, LINE),
    )
    result = Quantity(
        "s", found.value or 0.0, "m", f"longest stretch of {run.item} without a bond", Origin.EXPECTED, COUNTED
    )
    return (
        ChoiceStep(
            f"{upper:g} m to {lower:g} m", "the longest stretch between bonds, and to both ends of the run", among
        ),
        FormulaStep(result, Sym("z_1") - Sym("z_2"), quantities),
    )
