"""What the earth room sees of a line, and what it finds: bonds of shields and cases, their number, place and section."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from upmast.catalogue.part import Bond as BondKit
from upmast.catalogue.part import Cable
from upmast.earth.bonding import SPACING_SOURCE
from upmast.earth.derive import derive
from upmast.earth.state import LEAST_SPACING_M, Bond, BondPart, Inputs, Run, bonds_on, plan_of, stretches
from upmast.finding import Authority, Figure, Finding, Limit, Scenario, Sense, judge
from upmast.limits import Limits
from upmast.line.hardware import RUNS
from upmast.line.line import Item, Line
from upmast.room import Result
from upmast.site.site import Site
from upmast.working import Step

NAME = "earth"
VERSION = "1"
CAUTIONS = (
    "Not a lightning protection design: that, the earth electrode and its tests are signed by a competent licensed person.",
    "Work on the mast stops with thunder in sight or hearing.",
    "Do not open a bond under load or in a storm.",
    "Spacing and sections are common practice and standard values; national rules go before them.",
    "Leads run short, straight and downward, without sharp bends; joints are sealed and of compatible metals.",
)


def inputs(line: Line, site: Site, scenarios: Sequence[Scenario]) -> Inputs:
    """Read a line into rows. Bonding does not depend on the scenarios, which are electrical."""
    horizontal = sum(leg.length_m for leg in site.route.legs if leg.kind in ("horizontal", "bridge"))
    runs = []
    for item in line.of_kind(*RUNS):
        part = line.parts[item.part]
        if isinstance(part, Cable) and part.shield_area_mm2 > 0 and item.on != "CAB":
            runs.append(Run(item.id, item.part, item.low_m, item.high_m, horizontal, part.diameter_mm))
    bonds, kits = [], {}
    for item in line.of_kind("bond"):
        kit = line.parts[item.part]
        if isinstance(kit, BondKit):
            bonds.append(Bond(item.id, item.part, kit.use, item.on, item.low_m, item.count, _fits(kit, item, line)))
            kits[kit.id] = kit
    parts = []
    for kit in kits.values():
        source = kit.source_of("conductor_area_mm2")
        row = (source.document, source.clause, source.mark.value)
        parts.append(BondPart(kit.id, kit.conductor_area_mm2, kit.lead_length_m, row))
    return Inputs(
        site=site.id,
        runs=tuple(runs),
        cases=tuple((item.id, item.kind) for item in line.of_kind("box", "radio")),
        bonds=tuple(bonds),
        parts=tuple(parts),
    )


def _fits(kit: BondKit, item: Item, line: Line) -> bool:
    on = line.by_id.get(item.on)
    if on is None or not on.part:
        return False
    part = line.parts[on.part]
    if kit.use == "case":
        return not isinstance(part, Cable)
    return isinstance(part, Cable) and kit.smallest_mm <= part.diameter_mm <= kit.largest_mm


def check(inputs: Inputs, limits: Limits) -> Result:
    """Findings and figures of the room."""
    findings = (*_runs(inputs, limits), *_sections(inputs, limits), *_cases(inputs, limits))
    return Result(findings, tuple(_figures(inputs)))


def _runs(i: Inputs, limits: Limits) -> Iterator[Finding]:
    """Number and place of the bonds of each shielded run. How many it needs follows from the spacing in force."""
    spacing = limits.get("earth.bond-spacing")
    for n, run in enumerate(i.runs):
        mine = bonds_on(i, run.item, "shield")
        unfit = [b.item for b in i.bonds if b.on == run.item and not b.fits]
        items = (run.item, *(b.item for b in i.bonds if b.on == run.item))
        remedy = "add a bond, or place the bonds evenly from top to bottom"
        wrong = f"; not for {run.diameter_mm:g} mm: {', '.join(unfit)}" if unfit else ""
        count = float(sum(b.count for b in mine))
        if spacing is None or not spacing.value >= LEAST_SPACING_M:
            missing = (f"a spacing of at least {LEAST_SPACING_M:g} m for earth.bond-spacing",)
            yield judge(
                "earth.bond-count",
                run.item,
                count,
                limits.get("earth.bond-count"),
                missing=missing,
                items=items,
                rank=n,
            )
        else:
            plan = plan_of(run, spacing.value)
            needed = Limit(
                "earth.bond-count", float(plan.count), "", Sense.AT_LEAST, Authority.PRACTICE, SPACING_SOURCE
            )
            extra = f", {plan.horizontal_m.size} on the horizontal part" if plan.horizontal_m.size else ""
            yield judge(
                "earth.bond-count", run.item, count, limits.in_force("earth.bond-count", needed),
                note=f"needed: {plan.heights_m.size} on the run, at most {spacing.value:g} m apart{extra}, and one at the entry{wrong}",
                remedy=remedy, items=items, rank=n,
            )  # fmt: skip
        if run.high_m > max(run.low_m, 0.0):
            upper, lower = max(stretches(run, mine), key=lambda row: row[0] - row[1])
            yield judge(
                "earth.bond-spacing", run.item, upper - lower, spacing, unit="m",
                note=f"longest stretch without a bond: {lower:g} m to {upper:g} m{wrong}", remedy=remedy, items=items, rank=n,
            )  # fmt: skip


def _sections(i: Inputs, limits: Limits) -> Iterator[Finding]:
    limit = limits.get("earth.bond-area")
    for n, part in enumerate(i.parts):
        items = tuple(b.item for b in i.bonds if b.part == part.part)
        yield judge(
            "earth.bond-area", part.part, part.area_mm2, limit, unit="mm²",
            note=f"copper lead of {part.lead_m:g} m, {len(items)} on the line", remedy="a kit with a thicker lead", items=items, rank=n,
        )  # fmt: skip


def _cases(i: Inputs, limits: Limits) -> Iterator[Finding]:
    limit = limits.get("earth.case-bond")
    for n, (item, kind) in enumerate(i.cases):
        mine = bonds_on(i, item, "case")
        yield judge(
            "earth.case-bond", item, float(sum(b.count for b in mine)), limit, note=f"case of the {kind}",
            remedy="a bond from the case to the nearest bar", items=(item, *(b.item for b in mine)), rank=n,
        )  # fmt: skip


def _figures(i: Inputs) -> Iterator[Figure]:
    for n, bond in enumerate(i.bonds):
        what = "shield of" if bond.use == "shield" else "case of"
        note = f"{what} {bond.on}, {bond.part}" + ("" if bond.fits else ", which does not fit it")
        yield Figure(
            "earth.bond-plan", bond.item, bond.height_m, "m", note, SPACING_SOURCE, "", (bond.on, bond.item), n
        )


def working(inputs: Inputs, limits: Limits, one: Finding | Figure) -> tuple[Step, ...]:
    """The derivation of one finding or figure of this room."""
    return derive(inputs, limits, one)


__all__ = ["CAUTIONS", "NAME", "VERSION", "Inputs", "check", "inputs", "working"]
