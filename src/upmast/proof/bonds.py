"""The bonds of a proven line, one by one for whoever fits them, and run by run against the plan."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from upmast.earth.bond_test import bond_limit_ohm
from upmast.earth.exposure import shares_of
from upmast.earth.heating import temperature_rise_k
from upmast.earth.shield import COPPER_OHM_M
from upmast.earth.state import OPEN_END_M, Bond, Inputs, Run, bonds_on, plan_of, unfit_on, unfit_words
from upmast.earth.surge import stroke_peak_a, surge_figures, wave
from upmast.proof.prove import Proof

SIGHT_M = 0.02  # a bond this near to a height is at it


@dataclass(frozen=True, slots=True)
class BondRow:
    """
    One bond: what it is on, where, its lead, to what it goes, and what its test should read.

    expected_mohm: of its data sheet, lug to bar. lead_mohm: of its lead and two joints. limit_mohm: in force; None where there is none.
    rise_k: of the lead, were it to carry its shield's share of a first stroke; None where that is not told.
    """

    item: str
    part: str
    use: str
    on: str
    height_m: float
    count: int
    area_mm2: float
    lead_m: float
    place: str
    to: str
    fits: bool
    expected_mohm: float
    lead_mohm: float
    limit_mohm: float | None
    rise_k: float | None


@dataclass(frozen=True, slots=True)
class RunRow:
    """
    One run: its ends, spacing, bonds it needs and has, the longest stretch, heights of the plan that have no bond, and kits on it that do
    not count, in words.
    """

    item: str
    part: str
    low_m: float
    high_m: float
    needed: int
    has: int
    longest_m: float
    missing_m: tuple[float, ...]
    unfit: str = ""


def bond_rows(proof: Proof) -> tuple[BondRow, ...]:
    """Every bond of the line from the top down, with what its test should read."""
    room = proof.rooms["earth"].inputs
    assert isinstance(room, Inputs)
    limit = proof.limits.get("earth.bond-resistance")
    parts = {p.part: p for p in room.parts}
    bars = () if proof.site.earthing is None else proof.site.earthing.bars_at_m
    rise = _rises(room)
    rows = []
    for bond in room.bonds:
        kit = parts[bond.part]
        lead = float(bond_limit_ohm(COPPER_OHM_M * 1e9 / kit.area_mm2, kit.lead_m))
        joint = getattr(proof.line.parts[bond.part], "joint_ohm", math.nan)
        rows.append(
            BondRow(
                bond.item, bond.part, bond.use, bond.on, bond.height_m, bond.count, kit.area_mm2, kit.lead_m, _place(room, bond), _to(bond.height_m, kit.lead_m, bars),
                bond.fits, 1e3 * joint, 1e3 * lead, None if limit is None else limit.value,
                None if bond.on not in rise or bond.use != "shield" else float(temperature_rise_k(kit.area_mm2, rise[bond.on])),
            )
        )  # fmt: skip
    return tuple(sorted(rows, key=lambda r: (-r.height_m, r.item)))


def bond_places(proof: Proof) -> dict[str, str]:
    """Where each bond sits, in the words of the sheet of bonds; empty where the earth room was not proven."""
    part = proof.rooms.get("earth")
    if part is None or not isinstance(part.inputs, Inputs):
        return {}
    return {bond.item: _place(part.inputs, bond) for bond in part.inputs.bonds}


def _rises(room: Inputs) -> dict[str, float]:
    """Specific energy of each shield's share of a first positive stroke [J/ohm]."""
    seen = room.exposure
    if seen is None or seen.missing or not seen.cables:
        return {}
    whole = float(
        surge_figures(stroke_peak_a(seen.level, "first_positive"), wave("first_positive")).specific_energy_j_per_ohm
    )
    safe = shares_of(seen).safe.max(axis=0)
    return {run: whole * float(x) ** 2 for run, x in zip(seen.cables, safe, strict=True)}


def _place(room: Inputs, bond: Bond) -> str:
    if bond.use == "case":
        return f"case of {bond.on}"
    run = next((r for r in room.runs if r.item == bond.on), None)
    if run is None:
        return f"on {bond.on}"
    low = max(run.low_m, 0.0)
    at_foot = [b.item for b in room.bonds if b.on == bond.on and b.height_m <= low + SIGHT_M]
    if bond.height_m >= run.high_m - SIGHT_M:
        return "top of the run"
    if bond.item in at_foot:
        n = at_foot.index(bond.item)
        if n == 0:
            return "foot of the run, before the bend"
        return "entry of the cabinet" if n == len(at_foot) - 1 else "on the way to the cabinet"
    return "on the run"


def _to(height_m: float, lead_m: float, bars_m: tuple[float, ...]) -> str:
    """Where a lead goes: the nearest bar at or below it that it reaches, else the steel below."""
    if not bars_m:
        return "nearest bar or steel below it"
    below = [b for b in bars_m if b <= height_m + SIGHT_M]
    bar = max(below) if below else min(bars_m)
    apart = abs(height_m - bar)
    if below and apart <= lead_m + SIGHT_M:
        return f"bar at {bar:g} m"
    return f"steel within {lead_m:g} m below it: the bar at {bar:g} m is {apart:.1f} m {'below' if below else 'above'}"


def run_row(room: Inputs, run: Run, spacing_m: float | None) -> RunRow:
    mine = bonds_on(room, run.item, "shield")
    low = max(run.low_m, 0.0)
    marks = sorted({run.high_m, low, *(b.height_m for b in mine if low <= b.height_m <= run.high_m)})
    longest = max((b - a for a, b in pairwise(marks)), default=0.0)
    needed, absent = 0, []
    try:
        plan = plan_of(run, spacing_m if spacing_m is not None else math.nan)
    except ValueError:
        plan = None
    if plan is not None:
        needed = plan.count
        absent = [float(h) for h in plan.heights_m if all(abs(b.height_m - h) > OPEN_END_M for b in mine)]
    return RunRow(
        run.item,
        run.part,
        low,
        run.high_m,
        needed,
        sum(b.count for b in mine),
        longest,
        tuple(absent),
        unfit_words(run, unfit_on(room, run)),
    )


__all__ = ["BondRow", "RunRow", "bond_places", "bond_rows", "run_row"]
