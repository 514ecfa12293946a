"""Slack in coils that are not plain circles: ovals, flat spirals, several cables together; twist, ties, what is missing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.fibre.slack import slack_loops

__all__ = [
    "Bundle", "Lay", "OvalCoils", "SpiralCoils", "bundle_coil", "bundle_diameter_m", "missing_lengths_m", "oval_coils",
    "spiral_coils", "spiral_length_m", "tie_spacing_m", "ties_count", "twist_advice", "twist_deg_per_m",
]  # fmt: skip

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
MOST_TURNS = 1000
LEAST_TIES = 4  # a turn: common practice, no source
# diameter of the circle round 1 to 7 equal circles, in diameters of one: exact packings
PACKED = (1.0, 2.0, 1 + 2 / math.sqrt(3), 1 + math.sqrt(2), 1 + math.sqrt(2 * (1 + 1 / math.sqrt(5))), 3.0, 3.0)
FILL = 0.65  # beyond seven: area of the cables over that of the circle, loosely laid, our own


class Lay(StrEnum):
    """How turns are laid."""

    ROUND = "all turns the same way round"
    OVER_UNDER = "one turn over, the next under"
    EIGHT = "in a figure of eight"


@dataclass(frozen=True, slots=True, eq=False)
class OvalCoils:
    """Two half circles of `radius_m` with straights of `straight_m` between them; least straight first."""

    turns: Ints
    exit_turn: Array
    radius_m: Array
    straight_m: Array

    @property
    def stored_m(self) -> Array:
        """S = (n + f) (2 pi R + 2 d)."""
        return np.asarray((self.turns + self.exit_turn) * (2 * math.pi * self.radius_m + 2 * self.straight_m))


@dataclass(frozen=True, slots=True, eq=False)
class SpiralCoils:
    """Flat spirals: turns, radius of the first (innermost) and of the last turn; the widest first."""

    turns: Ints
    exit_turn: float
    inner_m: Array
    outer_m: Array


@dataclass(frozen=True, slots=True, eq=False)
class Bundle:
    """Cables coiled together: turns and radius for all, and what each has left (or lacks, negative) beside it."""

    turns: int
    radius_m: float
    rest_m: Array


def _range(least_m: float, most_m: float) -> None:
    if not (math.isfinite(most_m) and 0 < least_m <= most_m):
        raise ValueError("radii must be positive, the least not above the largest")


def oval_coils(slack_m: float, least_m: float, most_m: float, longest_m: float, half_turn: bool = False) -> OvalCoils:
    """
    All ovals that store a length: each turn is `2 pi R + 2 d`, each half turn `pi R + d`.

    For each number of turns the widest half circles that leave `d >= 0` are taken.

    Parameters
    ----------
    slack_m [m]: S. least_m, most_m [m]: range of R. longest_m [m]: length of the place, `2 R + d` at most.
    half_turn: leave backwards, f = 1/2; else onward. An oval has no other exits. Scalars.

    Returns
    -------
    `OvalCoils`, empty where none fits. Source: geometry.

    >>> found = oval_coils(5.0, 0.15, 0.25, 1.2)
    >>> found.turns, found.straight_m.round(3), found.stored_m.round(9)
    (array([4, 5, 3, 2]), array([0.   , 0.   , 0.048, 0.465]), array([5., 5., 5., 5.]))
    """
    _range(least_m, most_m)
    if not slack_m >= 0 or not longest_m > 0:
        raise ValueError("slack can't be negative and the place must have a length")
    f = 0.5 if half_turn else 0.0
    most = min(math.floor(slack_m / (2 * math.pi * least_m) - f + 1e-9), MOST_TURNS)
    n = np.arange(0 if half_turn else 1, most + 1, dtype=np.int64)
    turn = slack_m / (n + f)
    radius = np.minimum(turn / (2 * math.pi), most_m)
    straight = np.maximum(turn / 2 - math.pi * radius, 0.0)
    fits = (radius >= least_m * (1 - 1e-12)) & (2 * radius + straight <= longest_m * (1 + 1e-12))
    order = np.argsort(straight[fits], kind="stable")
    return OvalCoils(n[fits][order], np.full(int(fits.sum()), f), radius[fits][order], straight[fits][order])


def spiral_length_m(inner_m: ArrayLike, turns: ArrayLike, exit_turn: ArrayLike, pitch_m: ArrayLike) -> Array:
    """
    Length of a flat spiral of circles: `S = 2 pi (n R_1 + p n (n - 1) / 2) + 2 pi f (R_1 + n p)`.

    Parameters
    ----------
    inner_m [m]: R_1. turns, exit_turn: n, f. pitch_m [m]: p, the diameter of the cable. Broadcast.

    Returns
    -------
    Length [m]. Source: geometry, k-th turn of radius R_1 + (k - 1) p.

    >>> [round(float(spiral_length_m(0.2, 3, 0.0, pitch)), 4) for pitch in (0.0, 0.02)]
    [3.7699, 4.1469]
    """
    r, n, f, p = (np.asarray(x, float) for x in (inner_m, turns, exit_turn, pitch_m))
    return np.asarray(2 * math.pi * (n * r + p * n * (n - 1) / 2 + f * (r + n * p)))


def spiral_coils(
    slack_m: float, least_m: float, most_m: float, diameter_m: float, exit_turn: float = 0.0
) -> SpiralCoils:
    """
    All flat spirals that store a length: every n whose inner turn is not below R_min and whose outer turn not above R_max.

    Parameters
    ----------
    slack_m [m]: S. least_m, most_m [m]: R_min of the cable, R_max of the place. diameter_m [m]: of the cable, the growth of
    radius from turn to turn. exit_turn [1]: f. Scalars.

    Returns
    -------
    `SpiralCoils`, empty where none fits. Source: geometry, see `spiral_length_m`.

    >>> found = spiral_coils(5.0, 0.15, 0.30, 0.01)
    >>> found.turns, found.inner_m.round(4), found.outer_m.round(4)
    (array([3, 4]), array([0.2553, 0.1839]), array([0.2753, 0.2139]))
    """
    _range(least_m, most_m)
    if not slack_m >= 0 or not diameter_m > 0 or not 0 <= exit_turn < 1:
        raise ValueError("slack can't be negative, the diameter must be positive and the exit from 0 to below 1")
    last = min(math.floor(slack_m / (2 * math.pi * least_m) - exit_turn + 1e-9), MOST_TURNS)
    n = np.arange(0 if exit_turn else 1, last + 1, dtype=np.int64)
    grown = 2 * math.pi * diameter_m * (n * (n - 1) / 2 + exit_turn * n)
    inner = (slack_m - grown) / (2 * math.pi * (n + exit_turn))
    outer = inner + diameter_m * (np.maximum(n - 1, 0) + (exit_turn > 0) * (n > 0))
    fits = (inner >= least_m * (1 - 1e-12)) & (outer <= most_m * (1 + 1e-12))
    return SpiralCoils(n[fits], exit_turn, inner[fits], outer[fits])


def bundle_diameter_m(diameter_m: ArrayLike, count: ArrayLike) -> Array:
    """
    Diameter of a bundle of equal cables: the circle round 1 to 7 of them exactly, beyond that `d sqrt(n / 0.65)`.

    Parameters
    ----------
    diameter_m [m]: of one. count: n, from 1. Broadcast.

    Returns
    -------
    Diameter [m]. Source: packing of equal circles in a circle (R. L. Graham 1968, to seven); beyond, loosely laid: our own.

    >>> bundle_diameter_m(0.01, [1, 2, 3, 7]).round(5)
    array([0.01   , 0.02   , 0.02155, 0.03   ])
    """
    d, n = np.broadcast_arrays(np.asarray(diameter_m, float), np.asarray(count, np.int64))
    if np.any(~(d > 0)) or np.any(n < 1):
        raise ValueError("the diameter must be positive, and there is one cable at least")
    exact = np.asarray(PACKED)[np.minimum(n, len(PACKED)) - 1]
    return np.asarray(d * np.where(n <= len(PACKED), exact, np.maximum(np.sqrt(n / FILL), PACKED[-1])))


def bundle_coil(slack_m: ArrayLike, least_m: float, most_m: float, exit_turn: float = 0.0) -> Bundle | None:
    """
    One coil for several cables: turns and radius that suit the shortest slack, so that no cable lacks length.

    Parameters
    ----------
    slack_m [m]: of each cable, one axis. least_m, most_m [m]: range of R, that of the stiffest cable. exit_turn [1].

    Returns
    -------
    `Bundle` with the rest of each cable, or None where the shortest makes no turn. Source: geometry.

    >>> found = bundle_coil([2.0, 2.3, 1.9], 0.1, 0.2)
    >>> found.turns, round(found.radius_m, 4), found.rest_m.round(3)
    (2, 0.1512, array([0.1, 0.4, 0. ]))
    """
    slack = np.atleast_1d(np.asarray(slack_m, float))
    if slack.ndim != 1 or not slack.size:
        raise ValueError("slack is one value a cable")
    found = slack_loops(float(slack.min()), least_m, most_m, exit_turn)
    if not found.turns.size:
        return None
    return Bundle(int(found.turns[0]), float(found.radius_m[0]), np.asarray(slack - slack.min()))


def missing_lengths_m(slack_m: float, least_m: float, most_m: float, exit_turn: float = 0.0) -> tuple[float, float]:
    """
    What to cut off or to add so that a coil fits: (cut, add), both 0 where one does; cut is infinite where none is left.

    Lengths `2 pi (n + f) R` with R in range are bands, one a number of turns; the nearest band below and above count.

    Parameters
    ----------
    As `upmast.fibre.slack.slack_loops`.

    Returns
    -------
    Lengths [m]. A radius is never made smaller instead. Source: geometry.

    >>> [round(x, 4) for x in missing_lengths_m(2.0, 0.20, 0.22)]
    [0.6177, 0.5133]
    """
    _range(least_m, most_m)
    if slack_loops(slack_m, least_m, most_m, exit_turn).turns.size:
        return 0.0, 0.0
    first = 1 if exit_turn == 0 else 0
    n = max(first, math.floor(slack_m / (2 * math.pi * least_m) - exit_turn) + 1)
    add = 2 * math.pi * least_m * (n + exit_turn) - slack_m
    below = n - 1 + exit_turn
    return (slack_m - 2 * math.pi * most_m * below if n - 1 >= first else math.inf), add


def twist_deg_per_m(turns: ArrayLike, stored_m: ArrayLike, lay: Lay = Lay.ROUND) -> Array:
    """
    Twist of a cable with fixed ends: one turn of twist for each turn laid the same way round, none otherwise.

    Parameters
    ----------
    turns: n. stored_m [m]: length in the coil. Broadcast. lay: how.

    Returns
    -------
    Twist [deg/m]; over-under and figures of eight leave at most that of one odd turn. Source: geometry (linking number).

    >>> twist_deg_per_m(3, 5.0), twist_deg_per_m([2, 3], 5.0, Lay.OVER_UNDER)
    (array(216.), array([ 0., 72.]))
    """
    n, length = np.asarray(turns, float), np.asarray(stored_m, float)
    if np.any(n < 0) or np.any(~(length > 0)):
        raise ValueError("turns can't be negative and a coil has a length")
    left = n if lay is Lay.ROUND else np.mod(np.round(n), 2) if lay is Lay.OVER_UNDER else 0 * n
    return np.asarray(360.0 * left / length)


def twist_advice(turns: int) -> str:
    """
    What to do about the twist.

    >>> twist_advice(3)
    'lay the 3 turns one over, the next under, or in a figure of eight: laid all one way they twist the cable by 1080°'
    """
    if turns < 0:
        raise ValueError("turns can't be negative")
    if turns <= 1:
        return (
            "one turn twists the cable by 360°: turn its free end back before it is fixed"
            if turns
            else "no whole turn: no twist"
        )
    return (
        f"lay the {turns} turns one over, the next under, or in a figure of eight: laid all one way they twist the cable by "
        f"{360 * turns}°"
    )


def tie_spacing_m(mass_kg_per_m: ArrayLike, sag_m: ArrayLike, stiffness_n_m2: ArrayLike) -> Array:
    """
    Distance of ties between which a cable sags no more than asked: `l = (384 EI s / (5 w))^(1/4)`, `w = m g`.

    A simply supported span, which sags most: one that runs on over its ties sags a fifth of it.

    Parameters
    ----------
    mass_kg_per_m [kg/m]: m. sag_m [m]: s. stiffness_n_m2 [N m^2]: EI of the cable. Broadcast.

    Returns
    -------
    Distance [m]. Source: beam theory, deflection of a uniformly loaded simple span.

    >>> round(float(tie_spacing_m(0.5, 0.005, 1.0)), 3)
    0.529
    """
    m, s, ei = (np.asarray(x, float) for x in (mass_kg_per_m, sag_m, stiffness_n_m2))
    if any(np.any(~(x > 0)) for x in (m, s, ei)):
        raise ValueError("mass, sag and stiffness must be positive")
    return np.asarray((384 * ei * s / (5 * m * STANDARD_GRAVITY_M_PER_S2.value)) ** 0.25)


def ties_count(turn_m: ArrayLike, spacing_m: ArrayLike) -> Ints:
    """
    Ties round a coil: one at each started spacing of a turn, four at least.

    Parameters
    ----------
    turn_m [m]: length of a turn. spacing_m [m]: from `tie_spacing_m`, or a rule. Broadcast.

    Source: four at least: common practice, no source.

    >>> ties_count([1.0, 5.5], 0.5)
    array([ 4, 11])
    """
    turn, spacing = np.asarray(turn_m, float), np.asarray(spacing_m, float)
    if np.any(~(turn > 0)) or np.any(~(spacing > 0)):
        raise ValueError("lengths must be positive")
    return np.asarray(np.maximum(LEAST_TIES, np.ceil(turn / spacing - 1e-9)), np.int64)
