"""How long each span must be, and which length it gets."""

from __future__ import annotations

import math

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import Cable, ControlCable, Optic, RfCable
from upmast.errors import UsageError
from upmast.site.site import Radio, Site

MAKING_TOLERANCE_FRACTION = 0.005  # of a made cable: common practice, no source
JUMPER_SPARE_M = 0.3  # bends at both ends of a jumper: common practice, no source


def trunk_need_m(site: Site) -> float:
    """Longest way that a trunk may have to go: route, slack, tail in the cabinet, and the survey's tolerance."""
    return site.route_length_m + site.cabinet.tail_m + site.route_tolerance_m


def run_need_m(site: Site, radio: Radio) -> float:
    """Longest way of a cable from the cabinet straight to a radio: to the place of the box, then on to the radio."""
    return trunk_need_m(site) + site.box_run_m(radio)


def jumper_need_m(site: Site, radio: Radio) -> float:
    """Longest way of a jumper from the box to a radio."""
    return site.box_run_m(radio) + JUMPER_SPARE_M


def rf_need_m(site: Site, radio: Radio) -> float:
    """Longest way of an RF jumper from a radio port to its antenna port."""
    return site.rf_run_m(radio)


def single_strand(catalogue: Catalogue, optic: str) -> bool:
    """Whether an optic has both directions on one strand."""
    part = catalogue.part(optic)
    return isinstance(part, Optic) and part.strands_count == 1


def link_pairs(radio: Radio, single: bool) -> int:
    """Pairs of strands that the links of a radio in service need; two links share one where each needs a single strand."""
    return -(-radio.fibre.links_count // 2) if single else radio.fibre.links_count


def making_tolerance_m(part: Cable | RfCable | ControlCable, length_m: float) -> float:
    """How far a made length may be off: the part's own tolerance, or 0.5 % of it."""
    return part.length_tolerance_m if isinstance(part, RfCable) else round(MAKING_TOLERANCE_FRACTION * length_m, 3)


def length_for(part: Cable | RfCable | ControlCable, need_m: float) -> float | None:
    """
    The length that this part gets for a need: the shortest stock length that reaches even if made short, or a made length.

    A made length is rounded up to half a metre (a tenth below 3 m). None if the part can't be had so long.
    """
    if part.stock_lengths_m:
        fitting = [
            length for length in part.stock_lengths_m if length - making_tolerance_m(part, length) >= need_m - 1e-9
        ]
        return min(fitting) if fitting else None
    step = 0.5 if need_m >= 3 else 0.1
    length = math.ceil(need_m / step - 1e-9) * step
    while length - making_tolerance_m(part, length) < need_m - 1e-9:
        length += step
    length = round(max(length, getattr(part, "shortest_m", 0.0)), 3)
    return length if length <= getattr(part, "longest_m", 1000.0) else None


def length_or_fault(part: Cable | RfCable | ControlCable, need_m: float, who: str) -> float:
    """Like `length_for`; raises UsageError where the part can't be had so long."""
    length = length_for(part, need_m)
    if length is None:
        longest = max(part.stock_lengths_m) if part.stock_lengths_m else getattr(part, "longest_m", 0.0)
        raise UsageError(f"{who} needs {need_m:g} m of {part.id}, which can be had up to {longest:g} m")
    return length
