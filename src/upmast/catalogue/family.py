"""Made-to-order cables: one part from a family and the options asked."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

from upmast.catalogue.part import Cable, CableFamily
from upmast.errors import UsageError

COPPER_KG_PER_MM2_M = 8.96e-3  # density of copper 8960 kg/m3 (CRC Handbook of Chemistry and Physics, value from memory)
LAY_FACTOR = 1.02  # cores run in a helix: common practice, no source


def options(family: CableFamily) -> Iterator[tuple[int, float | None, int]]:
    """Every (pairs, area, strands) that the family offers."""
    areas: tuple[float | None, ...] = family.conductor_area_mm2 or (None,)
    for pairs, area, strands in itertools.product(family.pairs_count, areas, family.strands_count):
        if pairs or strands:
            yield pairs, area if pairs else None, strands


def made(family: CableFamily, pairs: int, area_mm2: float | None, strands: int) -> Cable:
    """
    The part that a family makes for the options asked.

    copper = 2 x pairs x area;  core section = pairs x 2 x pi/4 (d_c + 2 x 0.9 mm)^2 + strands x space
    diameter = 2 sqrt(core section / (fill x pi)) + 2 x wall
    mass = 8.96e-3 x 1.02 x copper + sheath x (diameter/10 mm)^2 pi/4 + strands x strand mass
    cost per metre = base + per mm2 x copper + per strand x strands;  pull = base + per mm2 x copper, not known if both are 0

    Raises
    ------
    UsageError
        If the family does not offer an option; the message names what it offers.
    """
    for what, value, offered in (
        ("pairs", pairs, family.pairs_count),
        ("strands", strands, family.strands_count),
        ("mm2", area_mm2, family.conductor_area_mm2),
    ):
        shown_ = ", ".join(f"{o:g}" for o in offered) or "none"
        if value is None:
            if pairs:
                raise UsageError(f"family {family.id} with pairs needs {what}: it offers {shown_}")
        elif value not in offered:
            raise UsageError(f"family {family.id} has no {what} {value:g}: it offers {shown_}")
    area = area_mm2 if area_mm2 is not None and pairs else 0.0
    copper = 2 * pairs * area
    core_diameter = 2 * math.sqrt(area / math.pi) * 1.15 + 1.8  # strand packing 1.15, wall 0.9 mm: common practice
    section = pairs * 2 * math.pi / 4 * core_diameter**2 * (1 if pairs else 0) + strands * family.strand_space_mm2
    diameter = 2 * math.sqrt(section / (family.core_fill_fraction * math.pi)) + 2 * family.wall_mm
    mass = (
        COPPER_KG_PER_MM2_M * LAY_FACTOR * copper
        + family.sheath_mass_kg_per_m * math.pi / 4 * (diameter / 10) ** 2
        + family.strand_mass_kg_per_m * strands
    )
    middle = f"{pairs}x{area:g}" if pairs else "0x0"
    words = [f"{pairs} pairs of {area:g} mm²" if pairs else "", f"{strands} strands" if strands else ""]
    shown = {
        "id": f"{family.id}-{middle}-{strands}f",
        "kind": family.makes,
        "title": f"{family.title}, {', '.join(word for word in words if word)}",
        "cost": round(family.base_cost + family.pair_cost * pairs + family.strand_cost * strands, 2),
        "cost_per_m": round(
            family.base_cost_per_m + family.mm2_cost_per_m * copper + family.strand_cost_per_m * strands, 3
        ),
        "mass_kg_per_m": round(mass, 4),
        "diameter_mm": round(diameter, 1),
        "lead_time_d": family.lead_time_d,
        "source": family.source,
        "pairs_count": pairs,
        "conductor_area_mm2": area if pairs else None,
        "strands_count": strands,
        "longest_stock_of": family.id,
    }
    pull = family.base_pull_n + family.mm2_pull_n * copper
    if pull > 0:
        shown["maximum_pull_n"] = round(pull)
    unused: tuple[str, ...] = () if pairs else ("dc_foot", "dc_head")
    unused += ("fibre_foot", "fibre_head") if not strands else ()
    common = {key: value for key, value in family.common.items() if key not in unused}
    return Cable.model_validate({**common, **shown})
