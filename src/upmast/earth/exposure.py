"""How a line stands among the legs of a mast that takes a stroke: places in plan, resistances, the share of each shield."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.earth.bond_test import ALPHA_20_PER_K
from upmast.earth.sharing import (
    equivalent_radius_m,
    front_share,
    inductance_matrix_h,
    leg_band_ohm,
    safe_share,
    tail_share,
)
from upmast.earth.shield import COPPER_OHM_M, partial_inductance_h
from upmast.earth.surge import stroke_peak_a, surge_figures, wave
from upmast.source import Mark, Source
from upmast.weather.sun import STILL_AIR_W_PER_M2_K, sun_temperature_c, surface

__all__ = [
    "BESIDE_M",
    "CABLE_PLACE_SOURCE",
    "LEG_SOURCE",
    "MODEL",
    "POLE_STRIPS",
    "SHIELD_SUN_K",
    "Exposure",
    "ProtectorSeen",
    "Shares",
    "beside_cable_m",
    "cables_in_row_m",
    "leg_radius_m",
    "legs_on_ring_m",
    "open_loop_h",
    "pole_strips_m",
    "shares_of",
    "shield_in_sun_c",
]

Array = NDArray[np.float64]
POLE_STRIPS = 12  # a round tube is followed as so many strips side by side
BESIDE_M = 0.05  # an outer earth conductor stands so far beside its cable: own default
SHIELD_SUN_K = 20.0  # of a black sheath above the hottest air, the least that is taken: common practice, no source
LEG_SOURCE = Source(
    "common practice, no source",
    clause="steel with direct current: a leg of 280 mm outline 0.3 ohm/km, a pole 0.03 ohm/km",
    mark=Mark.PRACTICE,
)
CABLE_PLACE_SOURCE = Source("own default: cables in a row on the first face, where they carry most", mark=Mark.PRACTICE)
MODEL = Source("own derivation: one voltage along all conductors, bonded ends", "checked against a stiff solver")


def legs_on_ring_m(count: int, face_m: float) -> Array:
    """
    Legs of an even mast in plan, its axis at the origin; the first face, between the first two, looks to negative y.

    Parameters
    ----------
    count: legs, two or more. face_m [m]: from leg to leg.

    Returns
    -------
    Places [m], shape (count, 2).

    >>> legs_on_ring_m(3, 1.0).round(3)
    array([[-0.5  , -0.289],
           [ 0.5  , -0.289],
           [ 0.   ,  0.577]])
    """
    if count < 2 or not 0 < face_m < math.inf:
        raise ValueError("a ring of legs needs two or more, and a face")
    around = 2 * math.pi * np.arange(count) / count - math.pi / 2 - math.pi / count
    return np.asarray(face_m / (2 * math.sin(math.pi / count)) * np.column_stack([np.cos(around), np.sin(around)]))


def pole_strips_m(diameter_m: float, strips: int = POLE_STRIPS) -> tuple[Array, float]:
    """
    A round tube as wires side by side: their places, and their radius, such that all together have the inductance of the tube.

    A ring of n wires of radius r has the geometric mean radius `(n r R^(n - 1))^(1 / n)`; it is that of the tube, R, with `r = R / n`.
    So a cable inside takes nothing on the front of a wave, as inside a tube.

    Parameters
    ----------
    diameter_m [m]: outside. strips: how many.

    Returns
    -------
    Places [m], shape (strips, 2), and radius [m]. Source: geometric mean distances, textbook; own derivation.

    >>> places, radius = pole_strips_m(0.4)
    >>> places.shape, round(radius, 4)
    ((12, 2), 0.0167)
    """
    if strips < 4 or not 0 < diameter_m < math.inf:
        raise ValueError("a tube needs a diameter, and four strips or more")
    # half a step round, so that a cable before the middle of a face stands between two strips
    around = 2 * math.pi * (np.arange(strips) + 0.5) / strips - math.pi / 2
    places = diameter_m / 2 * np.column_stack([np.cos(around), np.sin(around)])
    return np.asarray(places), diameter_m / 2 / strips


def cables_in_row_m(legs_m: ArrayLike, count: int, inside_m: float, gap_m: float, pole_m: float = 0.0) -> Array:
    """
    Cables in a row along the first face, side by side about its middle.

    Parameters
    ----------
    legs_m [m]: in plan, shape (n, 2). count: cables. inside_m [m]: from the face towards the axis; negative stands outside.
    gap_m [m]: between two axes. pole_m [m]: diameter of a pole, whose face is its surface; 0 for legs.

    Returns
    -------
    Places [m], shape (count, 2).

    >>> cables_in_row_m(legs_on_ring_m(3, 1.0), 2, 0.1, 0.05).round(3)
    array([[-0.025, -0.189],
           [ 0.025, -0.189]])
    """
    legs = np.asarray(legs_m, float)
    if pole_m > 0:
        middle, along, inward = np.array([0.0, -pole_m / 2]), np.array([1.0, 0.0]), np.array([0.0, 1.0])
    else:
        middle, along = (legs[0] + legs[1]) / 2, legs[1] - legs[0]
        along = along / np.hypot(*along)
        inward = np.array([-along[1], along[0]])
        if inward @ (legs.mean(axis=0) - middle) < 0:
            inward = -inward
    steps = (np.arange(count) - (count - 1) / 2) * gap_m
    return np.asarray(middle + steps[:, None] * along + inside_m * inward)


def beside_cable_m(cable_m: ArrayLike) -> Array:
    """
    Place of an earth conductor outside a cable: away from the axis, where this cable has no neighbour, or outside the face.

    Parameters
    ----------
    cable_m [m]: place of the cable in plan.

    Returns
    -------
    Place [m], shape (2,).

    >>> beside_cable_m([0.0, -0.25]).round(3)
    array([ 0. , -0.3])
    """
    at = np.asarray(cable_m, float)
    away = at / np.hypot(*at) if np.hypot(*at) > 0 else np.array([0.0, -1.0])
    return np.asarray(at + BESIDE_M * away)


def shield_in_sun_c(air_c: float, sun_w_per_m2: float) -> tuple[float, str]:
    """
    Temperature of a shield while a stroke passes: of a black sheath in the sun in calm air, at least 20 K above the air.

    The heat of the conductors inside is not in it: it follows from the currents, which the power room knows and this one does not. A
    site that wants it counted tells `shield_c`.

    Parameters
    ----------
    air_c [degC]: hottest air. sun_w_per_m2 [W/m2]: strongest sun.

    Returns
    -------
    Temperature [degC], and "sun" or "rule" for what it follows from. Source: heat balance of `upmast.weather.sun`; the 20 K are practice.

    >>> found = shield_in_sun_c(40.0, 1000.0)
    >>> round(found[0], 1), found[1], shield_in_sun_c(40.0, 0.0)
    (64.8, 'sun', (60.0, 'rule'))
    """
    black = surface("black_sheath")
    sun = float(sun_temperature_c(air_c, sun_w_per_m2, black.absorptivity, black.emissivity, STILL_AIR_W_PER_M2_K))
    least = air_c + SHIELD_SUN_K
    return (sun, "sun") if sun > least else (least, "rule")


@dataclass(frozen=True, eq=False)
class ProtectorSeen:
    """
    A surge protector as the room sees it. `current_a` is NaN where the share of a core is taken.

    distance_m [m]: NaN where neither the site nor the line tells it. behind: the jumper it was taken from, empty where the site tells it.
    unknown: why its item is none of the line.
    """

    at: str
    up_v: float
    switching: bool
    lead_m: float
    counted_m: float
    distance_m: float
    current_a: float
    front_s: float
    impulse_a: float  # NaN where its data sheet gives none
    allowed: float  # share of the withstand, NaN where the rule from memory is taken
    behind: str = ""
    unknown: str = ""

    @property
    def cable_words(self) -> str:
        """The cable behind it, with what was assumed."""
        if math.isnan(self.distance_m):
            return "an untold length"
        return f"{self.distance_m:g} m" + (
            f" (default: the longest jumper behind it, {self.behind})" if self.behind else ""
        )


@dataclass(frozen=True, eq=False)
class Exposure:
    """
    Legs and shields that share a stroke. Legs first; a pole stands as strips.

    legs_m [m]: shape (n, 2). leg_radius_m [m], leg_ohm_per_km [ohm/km]: of each. pole_m [m]: diameter of a pole, else 0. face_m [m].
    factors [-]: of the legs' resistance that are looked at. cables, cable_m, cable_radius_m, ohm_per_km (of the shield at 20 C),
    length_m (on the mast), cores, core_ohm_per_km: of each shielded run. missing: why there is no share.
    beside_m [m]: bare earth conductors of beside_mm2 that share as well, after the shields. unknown: places of cables that are none of the
    line, each with the reason. left_out: earth conductors that don't share in this model, in words. shield_c follows from shield_by: told,
    rule, or sun with air_c and sun_w_per_m2.
    """

    level: str
    legs_m: Array
    leg_radius_m: float
    leg_ohm_per_km: float
    down_conductors: int
    pole_m: float
    face_m: float
    factors: tuple[float, ...]
    cables: tuple[str, ...]
    cable_m: Array
    cable_radius_m: Array
    ohm_per_km: Array
    area_mm2: Array
    length_m: Array
    cores: tuple[int, ...]
    core_ohm_per_km: Array
    shield_c: float
    share: float  # by a study, NaN where the model is taken
    transfer_h_per_m: float
    withstand_v: float  # NaN where the site gives none
    protectors: tuple[ProtectorSeen, ...]
    electrode: tuple[float, int, float, float, float] | None  # soil, rods, length, radius, distance
    missing: tuple[str, ...]
    assumed: tuple[str, ...]  # defaults of ours, in words
    beside_m: Array = field(default_factory=lambda: np.zeros((0, 2)))
    beside_mm2: float = 0.0
    unknown: tuple[tuple[str, str], ...] = ()
    left_out: str = ""
    shield_by: str = "told"
    air_c: float = math.nan
    sun_w_per_m2: float = math.nan

    @property
    def run_m(self) -> float:
        """The length over which all share: that of the longest run."""
        return float(self.length_m.max()) if self.length_m.size else 0.0

    @property
    def warm(self) -> float:
        """How much more the shields resist than at 20 C."""
        return 1 + ALPHA_20_PER_K["copper"] * (self.shield_c - 20)

    @property
    def beside_ohm_per_km(self) -> Array:
        """Of each earth conductor beside the shields, at 20 C."""
        return np.full(len(self.beside_m), COPPER_OHM_M * 1e9 / self.beside_mm2 if self.beside_mm2 else math.nan)

    @property
    def own(self) -> slice:
        """Where the shields stand among all conductors."""
        return slice(len(self.legs_m), len(self.legs_m) + len(self.cables))

    @property
    def shield_ohm(self) -> Array:
        """Of each shield over its own length, at its temperature."""
        return np.asarray(self.ohm_per_km * 1e-3 * self.length_m * self.warm)

    def peak_a(self, name: str = "first_positive") -> float:
        """Highest current of a stroke of this level."""
        return float(surge_figures(stroke_peak_a(self.level, name), wave(name)).peak_a)

    def slope_a_per_s(self, name: str) -> float:
        """Steepest slope of a stroke of this level."""
        return float(surge_figures(stroke_peak_a(self.level, name), wave(name)).greatest_slope_a_per_s)

    def inductance_h(self) -> Array:
        """Of legs, shields and earth conductors beside them, over the longest run."""
        places = np.concatenate([self.legs_m, self.cable_m, self.beside_m])
        bare = np.full(len(self.beside_m), math.sqrt(self.beside_mm2 / math.pi) / 1000)
        radii = np.concatenate([np.full(len(self.legs_m), self.leg_radius_m), self.cable_radius_m, bare])
        return inductance_matrix_h(places, radii, self.run_m)

    def resistance_ohm(self, factors: Sequence[float] | None = None) -> Array:
        """Of legs, shields and earth conductors beside them, over the longest run, a row for each factor of the legs."""
        legs = len(self.legs_m)
        copper = np.concatenate([self.ohm_per_km, self.beside_ohm_per_km])
        per_km = np.concatenate([np.full(legs, self.leg_ohm_per_km), copper * self.warm])
        steel = np.arange(per_km.size) < legs
        return leg_band_ohm(per_km * 1e-3 * self.run_m, steel, self.factors if factors is None else factors)


@dataclass(frozen=True, eq=False)
class Shares:
    """Share of each shield [-]: on the front, in the tail and never passed; the last two a row for each factor of the legs."""

    front: Array
    tail: Array
    safe: Array


def shares_of(seen: Exposure) -> Shares:
    """The shares of the shields; a share by a study stands for all three."""
    count, rows = len(seen.cables), len(seen.factors)
    if not math.isnan(seen.share):
        given = np.full((rows, count), seen.share)
        return Shares(given[0], given, given)
    own, matrix, ohm = seen.own, seen.inductance_h(), seen.resistance_ohm()
    return Shares(front_share(matrix)[own], tail_share(ohm)[:, own], safe_share(matrix, ohm)[:, own])


def open_loop_h(legs_m: ArrayLike, leg_radius_m: float, cable_m: ArrayLike, length_m: float) -> float:
    """
    Inductance that drives the voltage between the legs of a mast and a cable that carries nothing, bonded at one end only.

    With p the front share of the legs alone: voltage along them less that along the cable, `L p - M p`. For one round mast it is
    `missing_bond_loop_h`.

    Parameters
    ----------
    legs_m [m]: in plan, shape (n, 2). leg_radius_m [m]. cable_m [m]: place of the cable. length_m [m]: from its bond to its open end.

    Returns
    -------
    Inductance [H]. Source: Neumann's integral; own derivation.

    >>> round(1e6 * open_loop_h([[0.0, 0.0]], 0.20, [0.35, 0.0], 20.0), 3)
    2.209
    """
    legs, at = np.asarray(legs_m, float), np.asarray(cable_m, float)
    matrix = inductance_matrix_h(legs, leg_radius_m, length_m)
    share = front_share(matrix)
    apart = np.hypot(legs[:, 0] - at[0], legs[:, 1] - at[1])
    return float(np.mean(matrix @ share) - partial_inductance_h(length_m, apart) @ share)


def leg_radius_m(perimeter_mm: float) -> float:
    """Radius that stands for a leg."""
    return float(equivalent_radius_m(perimeter_mm / 1000))
