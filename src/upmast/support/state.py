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
from upmast.support.clamp import CREEP_FACTOR, FRICTION, bolt_force_n, grip_force_n, side_spacing_m, slip_spacing_m
from upmast.support.ice import GLAZE_KG_PER_M3, glaze_mass_kg_per_m
from upmast.support.wind import SUBCRITICAL, line_wind, row_factor, wind_profile

Array = NDArray[np.float64]
BOX_COEFFICIENT = 2.0  # sharp-edged body without end effect, the safe side: common practice, no source
FRICTION_BOLT_MM = 8.0  # only to show what friction would give where a clamp has no tested rating
FRICTION_TORQUE_NM = 6.0
PROFILE_TOP_M = 200.0  # EN 1991-1-4, clause 1.1: heights up to 200 m


@dataclass(frozen=True, eq=False)
class Wind:
    """Wind by EN 1991-1-4 at the site."""

    basic_m_per_s: float
    terrain: str
    z0_m: float
    z_min_m: float
    mark: str


@dataclass(frozen=True, eq=False)
class Ice:
    """A glaze class of ISO 12494."""

    name: str
    thickness_mm: float
    wind_factor: float
    mark: str


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
    """Clamps, grips, bonds, caps or seals of one part on one item."""

    item: str
    kind: str
    part: str
    count: int
    mass_kg: float


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
    def thickness_mm(self) -> float:
        return self.i.ice.thickness_mm if self.i.ice is not None else 0.0

    @cached_property
    def ice_kg_per_m(self) -> Array:
        return glaze_mass_kg_per_m(self.i.diameter_mm, self.thickness_mm)

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
    def top_pa(self) -> Array:
        """Peak pressure at the upper end of each span; 0 without wind."""
        return self.pressure_pa(self.i.high_m)

    def pressure_pa(self, height_m: Array) -> Array:
        w = self.i.wind
        if w is None:
            return np.zeros_like(height_m)
        return wind_profile(np.maximum(height_m, 0.0), w.basic_m_per_s, w.z0_m, w.z_min_m).qp_pa

    @cached_property
    def widths(self) -> tuple[Array, Array]:
        """Effective widths in mm, bare and iced: the iced one already has the reduced wind factor."""
        factor = self.i.ice.wind_factor if self.i.ice is not None else 0.0
        return self.i.diameter_mm, factor * (self.i.diameter_mm + 2 * self.thickness_mm)

    @cached_property
    def side_line_n_per_m(self) -> Array:
        """Wind per metre at the upper end, the larger of bare and iced."""
        return np.asarray(self.top_pa * SUBCRITICAL * np.maximum(*self.widths) * 1e-3)

    @cached_property
    def side_m(self) -> Array:
        """Largest spacing by wind; infinite without wind or without a side rating."""
        rated = np.where(np.isnan(self.i.side_n), np.inf, self.i.side_n)
        return np.where(
            np.isinf(rated), np.inf, side_spacing_m(np.where(np.isinf(rated), 0, rated), self.side_line_n_per_m)
        )

    # -- wind ------------------------------------------------------------------------------------------------------

    @cached_property
    def boxes(self) -> tuple[Body, ...]:
        return tuple(b for b in self.i.bodies if b.kind == "box")

    @cached_property
    def kappa(self) -> float:
        """Factor of a row of cables side by side: they touch, where nobody says how far they are apart."""
        return float(row_factor(1.0)) if len(self.i.spans) > 1 else 1.0

    @cached_property
    def bare_area_m2(self) -> Array:
        boxes = [b.height_mm * b.width_mm * 1e-6 for b in self.boxes]
        return np.concatenate([self.i.diameter_mm * 1e-3 * self.exposed_m, boxes])

    def loads(self, iced: bool) -> Loads:
        """Force and moment about the foot of the mast of each cable and box; zero without wind."""
        i = self.i
        t = self.thickness_mm if iced else 0.0
        factor = (i.ice.wind_factor if i.ice is not None else 0.0) if iced else 1.0
        width = i.diameter_mm + 2 * t
        area = width * 1e-3 * self.exposed_m
        force = factor * self.kappa * SUBCRITICAL * self.top_pa * area
        moment = force * np.maximum(i.high_m, 0.0)
        if i.wind is not None and np.any(i.run):
            low = np.maximum(i.low_m, 0.0)[i.run]
            high = low + i.hanging_m[i.run]
            found = line_wind(low, high, width[i.run], i.wind.basic_m_per_s, i.wind.z0_m, i.wind.z_min_m)
            force[i.run] = factor * self.kappa * found.force_n
            moment[i.run] = factor * self.kappa * found.moment_nm
        box_area = np.array([(b.height_mm + 2 * t) * (b.width_mm + 2 * t) * 1e-6 for b in self.boxes])
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
        """A coat of ice of even thickness on all six faces."""
        h, w, d = body.height_mm / 1000, body.width_mm / 1000, body.depth_mm / 1000
        return 2 * (h * w + w * d + d * h) * self.thickness_mm / 1000 * GLAZE_KG_PER_M3

    @cached_property
    def line_kg(self) -> float:
        boxes = sum(b.mass_kg for b in self.boxes)
        return float(self.cable_kg.sum()) + boxes + sum(h.count * h.mass_kg for h in self.i.hardware)


@dataclass(frozen=True, slots=True)
class HandOver:
    """One row of what the structural engineer is given."""

    item: str
    kind: str
    low_m: float
    high_m: float
    width_mm: float
    iced_width_mm: float
    dead_kg: float
    ice_kg: float
    area_m2: float
    force_n: float
    moment_nm: float


def hand_over(inputs: Inputs) -> tuple[HandOver, ...]:
    """Each cable and box on the mast with its heights, widths, masses, and the force and moment of the governing case."""
    state = State(inputs)
    _, loads = state.governing
    t = 2 * state.thickness_mm
    rows = []
    for n, item in enumerate(inputs.spans):
        d = float(inputs.diameter_mm[n])
        rows.append(
            HandOver(
                item, inputs.kind[n], float(inputs.low_m[n]), float(inputs.high_m[n]), d, d + t, float(state.cable_kg[n]),
                float(state.cable_ice_kg[n]), float(state.bare_area_m2[n]), float(loads.force_n[n]), float(loads.moment_nm[n]),
            )
        )  # fmt: skip
    for n, b in enumerate(state.boxes, len(inputs.spans)):
        rows.append(
            HandOver(
                b.item, b.kind, b.low_m, b.high_m, b.width_mm, b.width_mm + t, b.mass_kg, state.body_ice_kg(b),
                float(state.bare_area_m2[n]), float(loads.force_n[n]), float(loads.moment_nm[n]),
            )
        )  # fmt: skip
    return tuple(rows)


__all__ = [
    "BOX_COEFFICIENT", "FRICTION_BOLT_MM", "FRICTION_TORQUE_NM", "PROFILE_TOP_M", "Body", "Grip", "HandOver", "Hardware", "Ice", "Inputs", "Loads",
    "Standing", "State", "Term", "Wind", "hand_over", "source_of",
]  # fmt: skip
