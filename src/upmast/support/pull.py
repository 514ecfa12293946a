"""Pulling a cable through a route: tension and side pressure, in both directions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.source import Mark, Source

__all__ = ["FRICTION", "FRICTION_SOURCE", "Pull", "Section", "pull", "pull_both_ways"]

FRICTION = 0.35
FRICTION_SOURCE = Source("common practice, no source", clause="plastic sheath on steel or plastic", mark=Mark.PRACTICE)


@dataclass(frozen=True, slots=True)
class Section:
    """
    One section of a route in pulling order: a straight, then a bend at its end.

    length_m: along the straight, lying (friction). rise_m: height gained, negative downwards.
    bend_deg, radius_m: of the bend at the end; 0 for none.
    """

    length_m: float = 0.0
    rise_m: float = 0.0
    bend_deg: float = 0.0
    radius_m: float = 0.0

    def __post_init__(self) -> None:
        numbers = (self.length_m, self.rise_m, self.bend_deg, self.radius_m)
        if not all(math.isfinite(x) for x in numbers) or self.length_m < 0 or self.bend_deg < 0:
            raise ValueError("length and bend can't be negative, and all must be finite")
        if self.bend_deg > 0 and not self.radius_m > 0:
            raise ValueError("a bend needs a positive radius")


@dataclass(frozen=True, slots=True)
class Pull:
    """Tension at the pulling end, the highest on the way, and the highest side pressure in a bend (0 without bends)."""

    tension_n: float
    highest_n: float
    side_n_per_m: float


def pull(
    route: Sequence[Section], mass_kg_per_m: float, friction: float = FRICTION, back_tension_n: float = 0.0
) -> Pull:
    """
    Tension along a route that is pulled in the order given.

    Straight `T += mu m g l`; rise `T += m g h`; fall `T = max(0, T - m g h)`; bend `T *= exp(mu theta)`, side pressure
    `T / R` after it.

    Parameters
    ----------
    route: sections in pulling order. mass_kg_per_m [kg/m]: m. friction [1]: mu, default is practice; an input.
    back_tension_n [N]: at the reel.

    Returns
    -------
    Tension [N], highest tension [N], side pressure [N/m].

    Valid for a limp cable that fills the bend. Source: belt friction (Euler, Eytelwein); statics.

    >>> found = pull([Section(10.0, bend_deg=90.0, radius_m=0.5), Section(6.0)], 1.1, 0.3)
    >>> round(found.tension_n, 2), round(found.side_n_per_m, 1)
    (71.26, 103.7)
    """
    if not mass_kg_per_m >= 0 or not friction >= 0 or not back_tension_n >= 0:
        raise ValueError("mass, friction and back tension can't be negative")
    weight = mass_kg_per_m * STANDARD_GRAVITY_M_PER_S2.value
    tension = highest = back_tension_n
    side = 0.0
    for section in route:
        tension += friction * weight * section.length_m
        highest = max(highest, tension)
        tension = max(0.0, tension + weight * section.rise_m)
        if section.bend_deg:
            tension *= math.exp(friction * math.radians(section.bend_deg))
            side = max(side, tension / section.radius_m)
        highest = max(highest, tension)
    return Pull(tension, highest, side)


def pull_both_ways(
    route: Sequence[Section], mass_kg_per_m: float, friction: float = FRICTION, back_tension_n: float = 0.0
) -> tuple[Pull, Pull]:
    """
    `pull` as given and from the other end; the better direction is the one that the limits prefer.

    >>> there, back = pull_both_ways([Section(10.0, bend_deg=90.0, radius_m=0.5), Section(6.0)], 1.1, 0.3)
    >>> round(back.tension_n, 2), round(back.side_n_per_m, 1)
    (63.47, 62.2)
    """
    other: list[Section] = []
    for section in reversed(route):
        if section.bend_deg:  # the bend at the far end of a straight comes before it on the way back
            other.append(Section(bend_deg=section.bend_deg, radius_m=section.radius_m))
        other.append(replace(section, rise_m=-section.rise_m, bend_deg=0.0, radius_m=0.0))
    return pull(route, mass_kg_per_m, friction, back_tension_n), pull(other, mass_kg_per_m, friction, back_tension_n)
