"""Slack loops: what is left of a made length when it lies in its way, and how it is laid in turns."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from upmast.catalogue.part import Cable, LoopHolder
from upmast.fibre.bend import least_cable_radius_mm
from upmast.fibre.coil import oval_coils
from upmast.fibre.slack import slack_loops
from upmast.line.line import RUNS, Item
from upmast.site.site import Site
from upmast.source import Mark, Source

LOOSE_M = 0.2  # less than this lies in the bends at the ends: common practice, no source


@dataclass(frozen=True, slots=True)
class Surplus:
    """
    What is left of a cable.

    way_m: the way as drawn, without its tolerance. surplus_m: length less way; off_m: how far it may be off, by the tolerances
    of making and survey. least_radius_mm: of the cable at rest.
    """

    way_m: float
    surplus_m: float
    off_m: float
    least_radius_mm: float


def least_radius(part: Cable, pulled: bool = False) -> tuple[float, Source]:
    """Least radius [mm] of a cable at rest or under pull, by its data sheet or by its diameter, with its source."""
    field = "bend_pulling_mm" if pulled else "bend_static_mm"
    given = getattr(part, field)
    if given is not None:
        return float(given), part.source_of(field)
    rule = "20 diameters under pull" if pulled else "10 diameters at rest"
    practice = Source("common practice, no source", rule, mark=Mark.PRACTICE)
    return float(least_cable_radius_mm(part.diameter_mm, pulled)), practice


def way_m(site: Site, item: Item) -> float | None:
    """The way of a cable as drawn; None for one that the site does not measure."""
    ids = {radio.id: radio for radio in site.radios}
    served = [ids[id] for id in item.serves if id in ids]
    run = sum(leg.length_m for leg in site.route.legs) + site.cabinet.tail_m
    if item.kind in RUNS:
        lone = item.kind != "trunk" and len(served) == 1
        return run + (site.box_run_m(served[0]) if lone else 0.0)
    return site.box_run_m(served[0]) if len(served) == 1 else None


def surplus(site: Site, item: Item, part: Cable) -> Surplus | None:
    """What is left of a cable when it lies in its way; None where the way is not known."""
    way = way_m(site, item)
    if way is None or item.length_m is None:
        return None
    off = item.tolerance_m + (site.route_tolerance_m if item.kind in RUNS else 0.0)
    left = item.length_m - way
    return Surplus(way, left, off, least_radius(part)[0])


@dataclass(frozen=True, slots=True)
class Held:
    """A holder and how a surplus lies on it: whole turns, their radius, and straights where it is an oval."""

    holder: LoopHolder
    turns: int
    radius_m: float
    straight_m: float = 0.0


def holder_for(part: Cable, left: Surplus, holders: Iterable[LoopHolder]) -> Held | None:
    """The cheapest holder on which the surplus lies in whole turns, as wide as it takes; in an oval only where no circle fits."""
    best: tuple[bool, float, str, Held] | None = None
    for holder in holders:
        if not holder.smallest_mm <= part.diameter_mm <= holder.largest_mm:
            continue
        least = max(left.least_radius_mm, holder.least_radius_mm) / 1000
        if least > holder.most_radius_mm / 1000:
            continue
        found = slack_loops(left.surplus_m, least, holder.most_radius_mm / 1000)
        fits = [
            Held(holder, int(n), float(r))
            for n, r in zip(found.turns, found.radius_m, strict=True)
            if n <= holder.most_turns_count
        ]
        oval = not fits
        if oval and holder.longest_mm is not None:
            laid = oval_coils(left.surplus_m, least, holder.most_radius_mm / 1000, holder.longest_mm / 1000)
            fits = [
                Held(holder, int(n), float(r), float(d))
                for n, r, d in zip(laid.turns, laid.radius_m, laid.straight_m, strict=True)
                if n <= holder.most_turns_count
            ]
        if fits and (best is None or (oval, holder.cost, holder.id) < best[:3]):
            best = (oval, holder.cost, holder.id, fits[0])
    return best[3] if best is not None else None


def add_loop(site: Site, item: Item, part: Cable, holders: Iterable[LoopHolder]) -> list[Item]:
    """The loop of a cable with strands, where its surplus makes at least one turn that it bears."""
    left = surplus(site, item, part) if part.strands_count else None
    if left is None or left.surplus_m < LOOSE_M:
        return []
    found = holder_for(part, left, holders)
    if found is None:
        return []
    height = max(item.low_m, 0.0) if item.kind in RUNS else min(item.low_m, item.high_m)
    return [
        Item(
            f"{item.id}-LP1", "loop", found.holder.id, low_m=round(height, 2), high_m=round(height, 2), on=item.id, turns=found.turns,
            radius_m=round(found.radius_m, 4), straight_m=round(found.straight_m, 4), reason=f"{left.surplus_m:.2f} m are left of {item.length_m:g} m",
        )
    ]  # fmt: skip


def missing_m(left: Surplus) -> float:
    """Length that would have to be added so that one turn of the least radius fits."""
    return max(0.0, 2 * math.pi * left.least_radius_mm / 1000 - max(left.surplus_m, 0.0))


__all__ = ["LOOSE_M", "Held", "Surplus", "add_loop", "holder_for", "least_radius", "missing_m", "surplus", "way_m"]
