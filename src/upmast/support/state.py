"""
What the support room sees of one line (arrays), and what follows from it: ice, wind, clamp spacing, loads and masses.

An item on the mast is exposed with the length that hangs there: a run with its vertical part, everything else with its whole
length. A run takes the pressure of each slice of height, shorter items that of their upper end.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from upmast.source import Mark, Source
from upmast.support.air import Wind
from upmast.support.clamp import CREEP_FACTOR, FRICTION, bolt_force_n, grip_force_n, side_spacing_m, slip_spacing_m
from upmast.support.coat import RIME_COEFFICIENT, Ice
from upmast.support.pull import Pull
from upmast.support.reaction import end_factor
from upmast.support.route import RouteLeg, pulls, sections
from upmast.support.torque import NUT_SCATTER, ClampTorque, clamp_torque
from upmast.support.wind import SUBCRITICAL

Array = NDArray[np.float64]
BOX_COEFFICIENT = 2.0  # sharp-edged body without end effect, the safe side: common practice, no source
FRICTION_BOLT_MM = 8.0  # only to show what friction would give where a clamp has no tested rating
FRICTION_TORQUE_NM = 6.0
PROFILE_TOP_M = 200.0  # EN 1991-1-4, clause 1.1: heights up to 200 m
LONG_RUN = 20  # spans from which on the end factor no longer changes


@dataclass(frozen=True, eq=False)
class Term:
    """One addend of the longest way of a span."""

    symbol: str
    value_m: float
    words: str
    clause: str
    mark: str = "declared"


@dataclass(frozen=True, eq=False)
class Body:
    """A box, radio or antenna on the mast."""

    item: str
    kind: str
    part: str
    low_m: float
    high_m: float
    height_mm: float
    width_mm: float
    depth_mm: float
    mass_kg: float


@dataclass(frozen=True, eq=False)
class Grip:
    """Grips of one part on one run. `fits` is false where the cable is outside of its range."""

    item: str
    part: str
    span: int
    count: int
    rated_n: float
    fits: bool
    source: tuple[str, str, str]


@dataclass(frozen=True, eq=False)
class Hardware:
    """Clamps, grips, bonds, loop brackets, caps or seals of one part on one item; on_mast of the count hang on the mast."""

    item: str
    kind: str
    part: str
    count: int
    mass_kg: float
    on_mast: int


@dataclass(frozen=True, eq=False)
class Standing:
    """What stands on the mast already."""

    item: str
    title: str
    count: int
    diameter_mm: float
    low_m: float
    high_m: float
    mass_kg_per_m: float
    stays: bool


@dataclass(frozen=True, eq=False)
class Inputs:
    """All that the room sees of a line. One row a span outside of the cabinet (n)."""

    site: str
    spans: tuple[str, ...]
    kind: tuple[str, ...]
    part: tuple[str, ...]
    run: NDArray[np.bool_]
    length_m: Array
    tolerance_m: Array
    need: tuple[tuple[Term, ...], ...]  # [n] addends of the longest way; empty where it is not known
    need_missing: tuple[str, ...]  # [n] what is not known; empty where it is known
    chain: tuple[tuple[int, ...], ...]  # [n] rows of the cables that reach over the way together
    low_m: Array
    high_m: Array
    held_m: Array  # length that clamps hold
    hanging_m: Array  # what of a run hangs on the mast; 0 for others
    diameter_mm: Array
    mass_kg_per_m: Array
    ends_kg: Array
    pull_n: Array  # NaN where no highest pull is given
    pull_source: tuple[tuple[str, str, str], ...]
    clamp: tuple[str, ...]  # [n] the weakest part that holds it; empty: none
    clamp_items: tuple[tuple[str, ...], ...]
    clamp_count: NDArray[np.intp]
    clamp_range_mm: tuple[tuple[float, float], ...]
    slip_n: Array  # NaN where not rated
    side_n: Array  # NaN where not rated
    rule_m: Array
    rule_source: tuple[tuple[str, str, str], ...]
    slip_source: tuple[tuple[str, str, str], ...]
    side_source: tuple[tuple[str, str, str], ...]
    grips: tuple[Grip, ...]
    grip_from_m: float
    bodies: tuple[Body, ...]
    hardware: tuple[Hardware, ...]
    existing: tuple[Standing, ...]
    wind: Wind | None
    ice: Ice | None
    bolts: Array  # of the weakest clamp; NaN where its part does not tell
    bolt_mm: Array
    torque_nm: Array
    pad_mm: Array
    torque_source: tuple[tuple[str, str, str], ...]  # empty where no part tells it, as the two below
    crush_n: Array  # on 100 mm of cable; NaN where not rated
    crush_source: tuple[tuple[str, str, str], ...]
    route: tuple[RouteLeg, ...]  # legs of the runs in order, from the cabinet outwards
    route_told: bool  # whether the site tells any bend
    bend_m: Array  # smallest radius under pull
    least_bend_mm: Array  # the larger of those at rest and under pull that the part tells; NaN where it tells none
    least_bend_source: tuple[tuple[str, str, str], ...]
    least_bend_words: tuple[str, ...]  # [n] under pull, at rest; empty where the part tells none
    pull_bend_missing: NDArray[np.bool_]  # the part could tell a radius under pull and does not
    side_pressure_n: Array  # N/m; NaN where not rated
    side_pressure_source: tuple[tuple[str, str, str], ...]
    built_kg_per_m: Array  # by the construction of the part; NaN where it does not tell
    calm: bool = False  # declared: no wind loads this line
    torqued_clamp: tuple[
        str, ...
    ] = ()  # part whose bolts, torque and pad stand above: of several on a cable the one that presses hardest


@lru_cache(maxsize=512)
def source_of(row: tuple[str, str, str]) -> Source:
    """A source from document, clause and mark."""
    return Source(row[0], row[1], mark=Mark(row[2]))


@dataclass(frozen=True, eq=False)
class Loads:
    """Wind on each item of the line, bare or iced: cables first, then boxes. One row an item."""

    area_m2: Array
    force_n: Array
    moment_nm: Array

    @property
    def total_n(self) -> float:
        return float(self.force_n.sum())

    @property
    def total_knm(self) -> float:
        return float(self.moment_nm.sum()) / 1000


@dataclass(frozen=True, eq=False)
class State:
    """What follows from the inputs. Everything is made when it is asked for."""

    i: Inputs

    @cached_property
    def ice_kg_per_m(self) -> Array:
        if self.i.ice is None:
            return np.zeros_like(self.i.diameter_mm)
        return self.i.ice.kg_per_m(self.i.diameter_mm)

    @cached_property
    def iced_mm(self) -> Array:
        """Width of each cable with ice, of rime from the side; the bare one without ice."""
        return self.i.diameter_mm if self.i.ice is None else self.i.ice.side_mm(self.i.diameter_mm)

    @cached_property
    def exposed_m(self) -> Array:
        """Length that hangs on the mast: of a run its vertical part, of everything else all of it."""
        return np.where(self.i.run, self.i.hanging_m, self.i.length_m)

    # -- clamps ----------------------------------------------------------------------------------------------------

    @cached_property
    def intervals(self) -> Array:
        """A run has a clamp at both ends; the ends of a jumper are held by its connectors."""
        return np.maximum(np.where(self.i.run, self.i.clamp_count - 1, self.i.clamp_count), 1).astype(float)

    @cached_property
    def spacing_m(self) -> Array:
        return self.i.held_m / self.intervals

    @cached_property
    def friction_n(self) -> float:
        """What one dry bolt would hold by friction."""
        return float(grip_force_n(bolt_force_n(FRICTION_TORQUE_NM, FRICTION_BOLT_MM), 1, FRICTION, CREEP_FACTOR))

    @cached_property
    def slip_n(self) -> Array:
        return np.where(np.isnan(self.i.slip_n), self.friction_n, self.i.slip_n)

    @cached_property
    def slip_m(self) -> Array:
        return slip_spacing_m(self.slip_n, self.i.mass_kg_per_m, self.ice_kg_per_m)

    @cached_property
    def end_factor(self) -> Array:
        """
        Largest clamp force over `w s` for the real number of spans, not below 1.

        A run has a clamp at both ends of its clamped length; the ends of a jumper are held by its connectors.
        """
        spans = np.where(self.i.run, np.maximum(self.i.clamp_count - 1, 1), self.i.clamp_count + 1)
        return np.array([_end_factor(min(int(n), LONG_RUN)) for n in spans], float)

    @cached_property
    def top_pa(self) -> Array:
        """Peak pressure at the upper end of each span; 0 without wind."""
        return self.pressure_pa(self.i.high_m)

    def pressure_pa(self, height_m: Array) -> Array:
        return np.zeros_like(height_m) if self.i.wind is None else self.i.wind.pressure_pa(height_m)

    def coefficient(self, iced: bool) -> Array:
        """Force coefficient at the upper end of each span."""
        if iced and self.i.ice is not None and self.i.ice.rime:
            return np.full(self.i.diameter_mm.shape, RIME_COEFFICIENT)
        if self.i.wind is None:
            return np.full(self.i.diameter_mm.shape, SUBCRITICAL)
        return self.i.wind.coefficient(self.iced_mm if iced else self.i.diameter_mm, self.i.high_m)

    @cached_property
    def lines_n_per_m(self) -> tuple[Array, Array]:
        """Wind per metre at the upper end, bare and iced, with the row factor as in the loads; the iced one with the reduced wind factor."""
        factor = self.i.ice.wind_factor if self.i.ice is not None else 0.0
        bare = self.kappa * self.top_pa * self.coefficient(False) * self.i.diameter_mm * 1e-3
        return bare, factor * self.kappa * self.top_pa * self.coefficient(True) * self.iced_mm * 1e-3

    @cached_property
    def side_line_n_per_m(self) -> Array:
        """Wind per metre at the upper end, the larger of bare and iced."""
        return np.maximum(*self.lines_n_per_m)

    @cached_property
    def side_m(self) -> Array:
        """Largest spacing by wind; infinite without wind or without a side rating."""
        rated = np.where(np.isnan(self.i.side_n), np.inf, self.i.side_n)
        return np.where(
            np.isinf(rated),
            np.inf,
            side_spacing_m(np.where(np.isinf(rated), 0, rated), self.side_line_n_per_m, self.end_factor),
        )

    @cached_property
    def torque(self) -> ClampTorque | None:
        """Torque allowed by crush, grip and spacing that it gives; one row a span of `torqued`. None without any."""
        i, n = self.i, self.torqued
        if not n.size:
            return None
        wanted = np.where(np.isnan(i.torque_nm[n]), np.inf, i.torque_nm[n])
        fixed = (i.crush_n[n], i.bolts[n], i.pad_mm[n], i.bolt_mm[n], i.mass_kg_per_m[n], self.ice_kg_per_m[n])
        return clamp_torque(wanted, *fixed, scatter=NUT_SCATTER)

    @cached_property
    def torqued(self) -> NDArray[np.intp]:
        """Rows whose clamp tells its bolts and whose cable tells its crush rating."""
        i = self.i
        return np.flatnonzero(~np.isnan(i.bolts + i.bolt_mm + i.pad_mm + i.crush_n))

    def route_pulls(self, n: int) -> tuple[Pull, Pull]:
        """A run pulled along the route, from the cabinet and from the box."""
        return pulls(self.i.route, float(self.i.mass_kg_per_m[n]), float(self.i.bend_m[n]))

    def guessed_bend(self, n: int) -> bool:
        """Whether a bend of the route is taken with 20 diameters of the cable: neither the site nor its part tells a radius there."""
        return bool(self.i.pull_bend_missing[n]) and any(
            s.bend_deg and leg.radius_m is None
            for s, leg in zip(sections(self.i.route, float(self.i.bend_m[n])), self.i.route, strict=True)
        )

    @cached_property
    def told_radii(self) -> tuple[RouteLeg, ...]:
        """Legs of the route whose bends have a radius by the site."""
        return tuple(leg for leg in self.i.route if leg.radius_m is not None and leg.bend_deg != 0)

    # -- wind ------------------------------------------------------------------------------------------------------

    @cached_property
    def boxes(self) -> tuple[Body, ...]:
        return tuple(b for b in self.i.bodies if b.kind == "box")

    @cached_property
    def kappa(self) -> float:
        """Factor of a row of cables side by side: they touch, where nobody says how far they are apart."""
        return 1.0 if self.i.wind is None else self.i.wind.row(len(self.i.spans))

    @cached_property
    def bare_area_m2(self) -> Array:
        boxes = [b.height_mm * b.width_mm * 1e-6 for b in self.boxes]
        return np.concatenate([self.i.diameter_mm * 1e-3 * self.exposed_m, boxes])

    def loads(self, iced: bool) -> Loads:
        """Force and moment about the foot of the mast of each cable and box; zero without wind."""
        i = self.i
        factor = (i.ice.wind_factor if i.ice is not None else 0.0) if iced else 1.0
        width = self.iced_mm if iced else i.diameter_mm
        area = width * 1e-3 * self.exposed_m
        cf = self.coefficient(iced)
        force = factor * self.kappa * cf * self.top_pa * area
        moment = force * np.maximum(i.high_m, 0.0)
        if i.wind is not None and np.any(i.run):
            low = np.maximum(i.low_m, 0.0)[i.run]
            own = RIME_COEFFICIENT if iced and i.ice is not None and i.ice.rime else None
            found = i.wind.line(low, low + i.hanging_m[i.run], width[i.run], own)
            force[i.run] = factor * self.kappa * found.force_n
            moment[i.run] = factor * self.kappa * found.moment_nm
        sizes = [self.body_mm(b) if iced else (b.height_mm, b.width_mm) for b in self.boxes]
        box_area = np.array([h * w * 1e-6 for h, w in sizes])
        box_high = np.array([max(b.high_m, 0.0) for b in self.boxes])
        box_force = factor * BOX_COEFFICIENT * self.pressure_pa(box_high) * box_area
        return Loads(
            np.concatenate([area, box_area]),
            np.concatenate([force, box_force]),
            np.concatenate([moment, box_force * box_high]),
        )

    @cached_property
    def bare(self) -> Loads:
        return self.loads(False)

    @cached_property
    def iced(self) -> Loads | None:
        return self.loads(True) if self.i.ice is not None else None

    @cached_property
    def governing(self) -> tuple[str, Loads]:
        """The case with the larger force."""
        if self.iced is not None and self.iced.total_n > self.bare.total_n:
            return "iced", self.iced
        return "bare", self.bare

    # -- mass ------------------------------------------------------------------------------------------------------

    @cached_property
    def cable_kg(self) -> Array:
        """Mass on the mast: the exposed length, and the ends (of a run one of the two)."""
        return self.i.mass_kg_per_m * self.exposed_m + self.i.ends_kg * np.where(self.i.run, 0.5, 1.0)

    @cached_property
    def cable_ice_kg(self) -> Array:
        return self.ice_kg_per_m * self.exposed_m

    def body_ice_kg(self, body: Body) -> float:
        ice = self.i.ice
        return 0.0 if ice is None else ice.body_kg(body.height_mm, body.width_mm, body.depth_mm)

    def body_mm(self, body: Body) -> tuple[float, float]:
        """Height and width across the wind of a box with ice."""
        ice = self.i.ice
        if ice is None:
            return body.height_mm, body.width_mm
        return ice.body_mm(body.height_mm, body.width_mm, body.depth_mm)

    @cached_property
    def line_kg(self) -> float:
        boxes = sum(b.mass_kg for b in self.boxes)
        return float(self.cable_kg.sum()) + boxes + sum(h.on_mast * h.mass_kg for h in self.i.hardware)


@lru_cache(maxsize=64)
def _end_factor(spans: int) -> float:
    return max(1.0, float(end_factor(spans)))


__all__ = [
    "BOX_COEFFICIENT", "FRICTION_BOLT_MM", "FRICTION_TORQUE_NM", "LONG_RUN", "PROFILE_TOP_M", "Body", "Grip", "Hardware", "Ice", "Inputs", "Loads",
    "Standing", "State", "Term", "Wind", "source_of",
]  # fmt: skip
