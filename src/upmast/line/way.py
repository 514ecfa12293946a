"""How a cable goes over its legs: what clamps hold of it, at what height each stretch lies, and how much of it lies above a height."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.line.line import RUNS, Item
from upmast.site.site import Site

OUTDOOR_LEGS = ("vertical", "bridge", "horizontal")


@dataclass(frozen=True, slots=True)
class Stretch:
    """One leg as a cable lies on it: length along the cable, heights of its lower and upper end above the foot of the mast."""

    name: str
    length_m: float
    low_m: float
    high_m: float
    upright: bool


def stretches_of(site: Site, cable: Item) -> tuple[Stretch, ...]:
    """
    The clamped stretches of a cable, from its lower end: the outdoor legs of a run, the whole of a jumper.

    Lying legs keep their height. Upright ones share the rise of the cable by their lengths, so that a leg that is longer than it
    rises lies slack on its way.
    """
    low, high = cable.low_m, cable.high_m
    if cable.kind not in RUNS:
        return (Stretch("jumper", cable.length_m or 0.0, low, high, True),)
    legs = [leg for leg in site.route.legs if leg.kind in OUTDOOR_LEGS]
    upright = sum(leg.length_m for leg in legs if leg.kind == "vertical")
    out, at = [], low
    for leg in legs:
        rises = leg.kind == "vertical" and upright > 0
        top = at + (high - low) * leg.length_m / upright if rises else at
        out.append(Stretch(leg.name, leg.length_m, at, top, leg.kind == "vertical"))
        at = top
    return tuple(out)


def held_length_m(site: Site, item: Item) -> float:
    """Length of a span that clamps hold: the outdoor legs of a run, the whole of a jumper."""
    return sum(one.length_m for one in stretches_of(site, item))


def length_above_m(site: Site, cable: Item, height_m: float) -> float:
    """Length of a cable, along its way, that lies above a height: more than the difference of heights where it lies slack."""
    total = 0.0
    for one in stretches_of(site, cable):
        if one.low_m >= height_m:
            total += one.length_m
        elif one.high_m > height_m:
            total += one.length_m * (one.high_m - height_m) / (one.high_m - one.low_m)
    return total


__all__ = ["OUTDOOR_LEGS", "Stretch", "held_length_m", "length_above_m", "stretches_of"]
