"""The same cable in other sizes: those the catalogue has, and those that are drawn up from them."""

from __future__ import annotations

from typing import Literal

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.family import made
from upmast.catalogue.part import Cable
from upmast.power.resistance import conductor_areas_mm2

# how a price is known: of the catalogue, on the straight line through two sizes of it, or not at all
Known = Literal["offered", "estimated", "unpriced"]
SMALLEST_MM2, LARGEST_MM2 = 2.5, 120.0


def resized(part: Cable, step: int, catalogue: Catalogue | None) -> tuple[Cable, Known] | None:
    """
    The same cable some sizes thicker or thinner: of the catalogue where it has one, else one drawn up.

    What is drawn up has cost and mass on the straight line over the section through the two nearest sizes of the catalogue, and
    its diameter so over the root of the section. Without two sizes it has no price, and the diameter of its thicker cores, which
    are about half of all that is under the sheath.
    """
    if step == 0:
        return part, "offered"
    area = part.conductor_area_mm2 or 0.0
    ladder = [a for a in conductor_areas_mm2(part.conductor_class, part.tinned) if SMALLEST_MM2 <= a <= LARGEST_MM2]
    offered = {**_offered(part, catalogue), area: part}
    beyond = sorted((a for a in {*ladder, *offered} if (a > area) == (step > 0) and a != area), reverse=step < 0)
    if len(beyond) < abs(step):
        return None
    wanted = beyond[abs(step) - 1]
    if wanted in offered:
        return offered[wanted], "offered"
    changes: dict[str, object] = {
        "id": f"{part.id} with {wanted:g} mm²",
        "conductor_area_mm2": wanted,
        "diameter_mm": part.diameter_mm * (1 + 0.5 * ((wanted / area) ** 0.5 - 1)),
        "conductor_ohm_per_km": None,
    }
    if len(offered) < 2:
        return part.model_copy(update=changes), "unpriced"
    near, far = sorted(offered, key=lambda a: abs(a - wanted))[:2]
    share = (wanted - near) / (far - near)
    for name in ("cost", "cost_per_m", "mass_kg", "mass_kg_per_m"):
        at, then = getattr(offered[near], name), getattr(offered[far], name)
        changes[name] = max(at + share * (then - at), 0.0)
    share = (wanted**0.5 - near**0.5) / (far**0.5 - near**0.5)  # diameters go with those of the conductors
    changes["diameter_mm"] = offered[near].diameter_mm + share * (offered[far].diameter_mm - offered[near].diameter_mm)
    return part.model_copy(update=changes), "estimated"


def _offered(part: Cable, catalogue: Catalogue | None) -> dict[float, Cable]:
    """Cables of the catalogue that differ from this one in their conductors, by size; of one size the cheapest."""
    if catalogue is None:
        return {}
    alike = [
        p for p in catalogue
        if isinstance(p, Cable) and (p.kind, p.pairs_count, p.strands_count, p.insulation) == (part.kind, part.pairs_count, part.strands_count, part.insulation)
    ]  # fmt: skip
    for family in catalogue.families:
        if (
            family.makes == part.kind
            and part.pairs_count in family.pairs_count
            and part.strands_count in family.strands_count
        ):
            alike += [made(family, part.pairs_count, area, part.strands_count) for area in family.conductor_area_mm2]
    same = [p for p in alike if p.longest_stock_of == part.longest_stock_of] if part.longest_stock_of else alike
    best: dict[float, Cable] = {}
    for one in same or alike:
        area = one.conductor_area_mm2 or 0.0
        if area not in best or one.cost_per_m < best[area].cost_per_m:
            best[area] = one
    return best


__all__ = ["Known", "resized"]
