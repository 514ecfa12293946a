"""The route of a run as sections to be pulled through, in both directions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.support.pull import FRICTION, Pull, Section, pull_both_ways

__all__ = ["BEND_DIAMETERS", "DIRECTIONS", "RIGHT_ANGLE_DEG", "RouteLeg", "better_way", "pulls", "sections"]

BEND_DIAMETERS = 20  # least radius under pull where neither site nor part tells one: common practice, no source
RIGHT_ANGLE_DEG = 90.0  # between two legs where the site tells no bend: own default, safe side
DIRECTIONS = ("from the cabinet up", "from the box down")


@dataclass(frozen=True, eq=False)
class RouteLeg:
    """
    One leg of the route.

    upright: it rises by its whole length; all others lie. bend_deg: at its end; None where the site does not tell. radius_m: of
    these bends; None for the smallest of the cable under pull.
    """

    name: str
    length_m: float
    upright: bool
    bend_deg: float | None = None
    radius_m: float | None = None


def sections(legs: Sequence[RouteLeg], bend_m: float) -> tuple[Section, ...]:
    """
    The legs as sections of `pull`, from the cabinet outwards; a right angle before the next leg where nothing is told.

    Parameters
    ----------
    legs: in order. bend_m [m]: smallest radius of the cable under pull.

    Returns
    -------
    Sections; a rising leg hangs free and has no friction. Source: own derivation.

    >>> found = sections([RouteLeg("wall", 5.0, False), RouteLeg("mast", 30.0, True)], 0.8)
    >>> found[0].bend_deg, found[0].radius_m, found[1].rise_m, found[1].bend_deg
    (90.0, 0.8, 30.0, 0.0)
    """
    out = []
    for n, leg in enumerate(legs):
        last = n == len(legs) - 1
        bend = leg.bend_deg if leg.bend_deg is not None else 0.0 if last else RIGHT_ANGLE_DEG
        radius = leg.radius_m if leg.radius_m is not None else bend_m
        lying, rise = (0.0, leg.length_m) if leg.upright else (leg.length_m, 0.0)
        out.append(Section(lying, rise, bend, radius if bend else 0.0))
    return tuple(out)


def pulls(
    legs: Sequence[RouteLeg], mass_kg_per_m: float, bend_m: float, friction: float = FRICTION
) -> tuple[Pull, Pull]:
    """
    A run pulled along its route, from the cabinet and from the box; see `pull_both_ways`.

    On the way down the brake at the reel holds what hangs, `m g h`: the highest tension is at least that.

    >>> up, down = pulls([RouteLeg("wall", 5.0, False), RouteLeg("mast", 30.0, True)], 2.0, 0.8)
    >>> round(up.highest_n, 1), round(down.highest_n, 1), round(down.tension_n, 1)
    (647.9, 588.4, 34.3)
    """
    up, down = pull_both_ways(sections(legs, bend_m), mass_kg_per_m, friction)
    hanging = mass_kg_per_m * STANDARD_GRAVITY_M_PER_S2.value * sum(leg.length_m for leg in legs if leg.upright)
    return up, replace(down, highest_n=max(down.highest_n, hanging))


def better_way(both: tuple[Pull, Pull], most_n: float | None, most_n_per_m: float | None) -> int:
    """
    Index into `DIRECTIONS` of the direction that uses up less of the limits of the cable; without limits, the lower tension.

    >>> better_way((Pull(71.3, 71.3, 103.7), Pull(63.5, 63.5, 62.2)), 500.0, None)
    1
    """

    def used(one: Pull) -> tuple[float, float]:
        shares = [one.highest_n / most_n] if most_n else []
        shares += [one.side_n_per_m / most_n_per_m] if most_n_per_m else []
        return max(shares, default=0.0), one.highest_n

    return min((0, 1), key=lambda n: used(both[n]))
