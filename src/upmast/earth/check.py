"""What the earth room sees of a line, and what it finds: bonds of shields and cases, their number, place and section."""

from __future__ import annotations

import dataclasses
import difflib
import math
from collections.abc import Iterator, Sequence

import numpy as np

from upmast.catalogue.part import Bond as BondKit
from upmast.catalogue.part import Cable
from upmast.earth.bonding import SPACING_SOURCE
from upmast.earth.derive import derive
from upmast.earth.exposure import (
    SHIELD_SUN_K,
    Exposure,
    ProtectorSeen,
    beside_cable_m,
    cables_in_row_m,
    leg_radius_m,
    legs_on_ring_m,
    pole_strips_m,
    shield_in_sun_c,
)
from upmast.earth.protector import counted_lead_m
from upmast.earth.sharing import LEG_BAND
from upmast.earth.shield import COPPER_OHM_M
from upmast.earth.state import (
    LEAST_SPACING_M,
    Bond,
    BondPart,
    Inputs,
    Run,
    bonds_on,
    plan_of,
    stretches,
    unfit_on,
    unfit_words,
)
from upmast.earth.stroke import stroke_results
from upmast.finding import Authority, Figure, Finding, Limit, Scenario, Sense, judge
from upmast.limits import Limits
from upmast.line.hardware import RUNS
from upmast.line.line import Item, Line
from upmast.line.wire import ohm_per_km
from upmast.room import Result
from upmast.site.earth_fields import Protector
from upmast.site.site import Earthing, Site
from upmast.working import Step

NAME = "earth"
VERSION = "4"
CAUTIONS = (
    "Not a lightning protection design: that, the earth electrode and its tests are signed by a competent licensed person.",
    "Work on the mast stops with thunder in sight or hearing.",
    "Do not open a bond under load or in a storm.",
    "Spacing and sections are common practice and standard values; national rules go before them.",
    "Leads run short, straight and downward, without sharp bends; joints are sealed and of compatible metals.",
    "48 V can burn: short-circuit energy. Isolate, lock, label and prove dead before work on the DC return or its bonds.",
)
POLE_OUTSIDE_M = 0.05
LEG_OHM_PER_KM, POLE_OHM_PER_KM = (
    0.3,
    0.03,
)  # an angle of 70 mm; a tube of 300 mm with a wall of 4 mm: no source, safe side
LEG_OUTLINE_MM = 280.0  # an angle of 70 mm: common practice, no source


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
        exposure=_exposure(line, site, runs) if site.earthing is not None else None,
    )


def _exposure(line: Line, site: Site, runs: Sequence[Run]) -> Exposure:
    """Legs and shields as the site tells them, with our defaults where it does not."""
    earth = site.earthing
    assert earth is not None
    assumed: list[str] = []
    missing: list[str] = []
    legs, radius, ohm, down, pole, face = _legs(site, earth, assumed, missing)
    mine = [run for run in runs if run.high_m > max(run.low_m, 0.0)]
    parts = [part for run in mine if isinstance(part := line.parts[run.part], Cable)]
    given = {c.item: (c.east_m, c.north_m) for c in earth.cables}
    inside = earth.ladder_inside_m
    if inside is None:
        inside = -POLE_OUTSIDE_M if pole else 0.0
        if any(run.item not in given for run in mine):
            assumed.append(
                f"cables in a row {POLE_OUTSIDE_M:g} m outside the pole"
                if pole
                else "cables in a row on the first face"
            )
    places = np.zeros((len(mine), 2))
    if len(legs):
        places = cables_in_row_m(legs, len(mine), inside, earth.ladder_gap_mm / 1000, pole)
    for n, run in enumerate(mine):
        places[n] = given.get(run.item, places[n])
    climate = site.climate
    warm, by = (
        (earth.shield_c, "told") if earth.shield_c is not None else shield_in_sun_c(climate.hot_c, climate.sun_w_per_m2)
    )
    if by == "sun":
        assumed.append(
            f"shields {warm:.0f} °C, as a black sheath in the sun at the hottest air, calm and without current"
        )
    elif by == "rule":
        assumed.append(f"shields {SHIELD_SUN_K:g} K above the hottest air")
    if "level" not in earth.model_fields_set:
        assumed.append("protection level I, the strongest stroke")
    if earth.transfer_nh_per_m == 0:
        assumed.append("shields as closed tubes, without transfer inductance")
    areas = np.array([part.shield_area_mm2 for part in parts])
    seen = Exposure(
        level=earth.level, legs_m=legs, leg_radius_m=radius, leg_ohm_per_km=ohm, down_conductors=down, pole_m=pole, face_m=face,
        factors=LEG_BAND if earth.leg_factor is None else (earth.leg_factor,),
        cables=tuple(run.item for run in mine), cable_m=places, cable_radius_m=np.array([p.diameter_mm / 2000 for p in parts]),
        ohm_per_km=COPPER_OHM_M * 1e9 / areas, area_mm2=areas, length_m=np.array([run.high_m - max(run.low_m, 0.0) for run in mine]),
        cores=tuple(2 * p.pairs_count for p in parts), core_ohm_per_km=np.array([_core_ohm(p) for p in parts]),
        shield_c=warm, shield_by=by, air_c=climate.hot_c, sun_w_per_m2=climate.sun_w_per_m2,
        share=math.nan if earth.shield_share_fraction is None else earth.shield_share_fraction,
        transfer_h_per_m=earth.transfer_nh_per_m * 1e-9,
        withstand_v=math.nan if earth.equipment_withstand_v is None else earth.equipment_withstand_v,
        protectors=tuple(_protector(line, p) for p in earth.protectors),
        electrode=None if (rods := earth.electrode) is None else (
            rods.soil_ohm_m, rods.rods_count, rods.rod_m, rods.rod_radius_mm / 1000, rods.apart_m or rods.rod_m
        ),
        missing=(), assumed=tuple(assumed), unknown=tuple(
            (c.item, why) for c in earth.cables if (why := _unknown(line, c.item, "cables", RUNS))
        ),
    )  # fmt: skip
    if not missing and mine:
        try:
            seen.inductance_h()
        except ValueError as reason:
            missing.append(f"places in plan that can be, in earthing: {reason}")
    seen = dataclasses.replace(seen, missing=tuple(missing))
    return _with_conductor(seen, earth) if earth.functional_earth.place == "outside" else seen


def _with_conductor(seen: Exposure, earth: Earthing) -> Exposure:
    """With an earth conductor outside the one shield of the line; left out, the safe side, where that can't be told."""
    if seen.missing or not seen.cables or not math.isnan(seen.share):
        return seen
    words = "earth conductor outside the shield left out, the safe side: "
    if len(seen.cables) > 1:
        return dataclasses.replace(seen, left_out=f"{words}beside which of {len(seen.cables)} runs is not told")
    area = earth.functional_earth.area_mm2
    made = dataclasses.replace(seen, beside_m=beside_cable_m(seen.cable_m[0])[None, :], beside_mm2=area)
    try:
        made.inductance_h()
    except ValueError as reason:
        return dataclasses.replace(seen, left_out=f"{words}no place beside the cable, {reason}")
    return made


def _unknown(line: Line, name: str, where: str, kinds: tuple[str, ...] = ()) -> str:
    """Why an item that the site names in its earthing is none of the line; empty where it is one."""
    known = [item.id for item in line.items if not kinds or item.kind in kinds]
    if name in known:
        return ""
    if name in line.by_id:
        return f"another item in earthing.{where}: {name} is a {line.by_id[name].kind}, not a cable up the mast"
    near = difflib.get_close_matches(name, known, 1, 0.0)
    return f"no item {name} in the line, named in earthing.{where}" + (f"; did you mean {near[0]}?" if near else "")


def _protector(line: Line, told: Protector) -> ProtectorSeen:
    distance, behind = told.distance_m, ""
    if distance is None:
        distance, behind = _longest_behind(line, told.at)
    return ProtectorSeen(
        told.at, told.up_v, told.kind == "switching", told.lead_m, float(counted_lead_m(told.lead_m, 0.0, told.v_connection)), distance,
        math.nan if told.current_a is None else told.current_a, told.front_s, math.nan if told.impulse_a is None else told.impulse_a,
        math.nan if told.allowed_fraction is None else told.allowed_fraction, behind, _unknown(line, told.at, "protectors"),
    )  # fmt: skip


def _longest_behind(line: Line, at: str) -> tuple[float, str]:
    """Longest jumper with DC cores from an item to a radio, as long as it may be made, and its id; NaN where there is none."""
    start = line.by_id.get(at)
    best = (math.nan, "")
    if start is None or start.span or start.kind == "radio":  # it may stand in the radio or beside it: not told
        return best
    joined: dict[str, set[str]] = {}
    for joint in line.joints:
        (a, _), (b, _) = joint.ends
        joined.setdefault(a, set()).add(b)
        joined.setdefault(b, set()).add(a)
    for name in sorted(joined.get(at, ())):
        item = line.by_id[name]
        part = line.parts.get(item.part)
        if item.length_m is None or item.kind in RUNS or not isinstance(part, Cable) or not part.pairs_count:
            continue
        long = item.length_m + item.tolerance_m
        if any(line.by_id[end].kind == "radio" for end in joined[name]) and not long <= best[0]:
            best = (long, name)
    return best


def _legs(
    site: Site, earth: Earthing, assumed: list[str], missing: list[str]
) -> tuple[np.ndarray, float, float, int, float, float]:
    """Places, radius and resistance of the legs; how many there are; diameter of a pole, else 0; and the face."""
    face = site.mast.face_m if earth.face_m is None else earth.face_m
    count = len(earth.legs) or earth.legs_count
    if count is None and site.mast.kind in ("roof", "wall"):
        missing.append("legs or legs_count in earthing: what carries a stroke down beside the line")
        return np.zeros((0, 2)), 0.0, math.nan, 0, 0.0, face
    if count is None:
        count = 1 if site.mast.kind == "monopole" else 3
        assumed.append("a round pole" if count == 1 else f"{count} legs")
    ohm = earth.leg_ohm_per_km
    if ohm is None:
        ohm = POLE_OHM_PER_KM if count == 1 else LEG_OHM_PER_KM
        assumed.append(f"{ohm:g} Ω/km for {'the pole' if count == 1 else 'a leg'}")
    if not earth.legs and earth.face_m is None:
        assumed.append(
            f"{'diameter of the pole' if count == 1 else 'leg to leg'} {face:g} m, the mast's face_m{'' if 'face_m' in site.mast.model_fields_set else ', a default of upmast'}"
        )
    if count == 1:
        places, radius = pole_strips_m(face)
        return places, radius, ohm * len(places), 1, face, face
    if earth.leg_perimeter_mm is None:
        assumed.append(f"outline of a leg {LEG_OUTLINE_MM:g} mm")
    places = np.array([(p.east_m, p.north_m) for p in earth.legs]) if earth.legs else legs_on_ring_m(count, face)
    return places, leg_radius_m(earth.leg_perimeter_mm or LEG_OUTLINE_MM), ohm, count, 0.0, face


def _core_ohm(part: Cable) -> float:
    try:
        return ohm_per_km(part)[0] if part.pairs_count else math.nan
    except ValueError:
        return math.nan


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
    found, figures = stroke_results(inputs, limits)
    findings = (*_runs(inputs, limits), *_sections(inputs, limits), *_cases(inputs, limits), *found)
    return Result(findings, (*_figures(inputs), *figures))


def _runs(i: Inputs, limits: Limits) -> Iterator[Finding]:
    """Number and place of the bonds of each shielded run. How many it needs follows from the spacing in force."""
    spacing = limits.get("earth.bond-spacing")
    for n, run in enumerate(i.runs):
        mine = bonds_on(i, run.item, "shield")
        unfit = unfit_on(i, run)
        items = (run.item, *(b.item for b in i.bonds if b.on == run.item))
        remedy = "add a bond, or place the bonds evenly from top to bottom"
        wrong = f"; {words}" if (words := unfit_words(run, unfit)) else ""
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
            if unfit:
                remedy = _other_kit(run, unfit, plan.count - int(count))
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


def _other_kit(run: Run, unfit: tuple[Bond, ...], lacking: int) -> str:
    """What to do about kits that do not count: one that takes the cable, and more of them only where there would still be too few."""
    parts = ", ".join(dict.fromkeys(b.part for b in unfit))
    more = lacking - sum(b.count for b in unfit)
    return f"a kit that takes {run.diameter_mm:g} mm in place of {parts}" + (
        f", and {more} more of it" if more > 0 else ""
    )


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
