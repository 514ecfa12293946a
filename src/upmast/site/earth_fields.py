"""What a site says of its earthing: protection level, legs of the mast in plan, bars, protectors, electrode, earth conductors."""

from __future__ import annotations

import cmath
import itertools
import math
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from upmast.declare import Declared

ItemId = Annotated[str, StringConstraints(pattern=r"^[A-HJ-NP-Z0-9]+(?:-[A-HJ-NP-Z0-9]+)*$", max_length=24)]


class PlanPoint(Declared):
    """A place in plan, from the axis of the mast."""

    east_m: float = Field(ge=-30, le=30, description="to the east")
    north_m: float = Field(ge=-30, le=30, description="to the north")


class CablePoint(PlanPoint):
    """Where one cable of the line runs, in plan."""

    item: ItemId = Field(description="cable of the line, e.g. T1")


class Protector(Declared):
    """A surge protector on the DC cores: its leads and what stands behind it."""

    at: ItemId = Field(description="item of the line at which it stands, e.g. BX1")
    up_v: float = Field(ge=50, le=10_000, description="voltage protection level of its data sheet")
    kind: Literal["limiting", "switching"] = Field(
        "limiting",
        description="limiting (varistor): drop of its leads adds; switching (gap): the higher of both counts",
    )
    lead_m: float = Field(ge=0, le=10, description="its leads, line side and earth side together")
    v_connection: bool = Field(
        False, description="line and earth led through its own terminals, in and out: no length of lead counts"
    )
    distance_m: float | None = Field(
        None,
        ge=0,
        le=200,
        description="cable between it and the equipment that it protects, 0 at its terminals; the longest jumper behind it if not given",
    )
    current_a: float | None = Field(
        None, gt=0, le=200_000, description="peak of the surge through it; the share of one core if not given"
    )
    front_s: float = Field(8e-6, gt=1e-8, le=1e-3, description="front of that current; write front_us")
    impulse_a: float | None = Field(
        None, gt=0, le=200_000, description="impulse current 10/350 by its data sheet, if it has one; write impulse_ka"
    )
    allowed_fraction: float | None = Field(
        None,
        gt=0,
        le=1,
        description="what may be left behind it, as a share of equipment_withstand_v, by the rule that this site follows",
    )


class Electrode(Declared):
    """The earth electrode, for an order of size only."""

    soil_ohm_m: float = Field(gt=0, le=100_000, description="resistivity of the soil, as measured")
    rods_count: int = Field(1, ge=1, le=24, description="rods, in a row, bonded together")
    rod_m: float = Field(3.0, gt=0.2, le=60, description="length of a rod in the soil")
    rod_radius_mm: float = Field(8.0, ge=2, le=100, description="radius of a rod")
    apart_m: float | None = Field(None, gt=0.1, le=100, description="between rods; one length of a rod if not given")


class FunctionalEarth(Declared):
    """An earth conductor that runs with the trunk: for fault current and equal potential, not for surges."""

    place: Literal["none", "inside", "outside"] = Field(
        "none", description="inside the shield of the trunk, outside beside it, or none"
    )
    area_mm2: float = Field(16.0, gt=1, le=240, description="its copper section")


def _from_span(place: complex, a: complex, b: complex) -> float:
    """From a place to the span between two legs [m]."""
    along = b - a
    if along == 0:
        return abs(place - a)
    part = ((place - a) * along.conjugate()).real / abs(along) ** 2
    return abs(place - a - min(max(part, 0.0), 1.0) * along)


class Earthing(Declared):
    """How the mast takes a stroke, so that the share of each shield can be told. Not a lightning protection design."""

    level: Literal["I", "II", "III", "IV"] = Field(
        "I", description="lightning protection level of IEC 62305-1; I, the strongest stroke, if not given"
    )
    legs: tuple[PlanPoint, ...] = Field((), max_length=24, description="legs of the mast in plan, if they are known")
    legs_count: int | None = Field(
        None,
        ge=1,
        le=12,
        description="legs on an even ring; 3 for a lattice or guyed mast, 1 for a pole if not given (1: a round tube)",
    )
    face_m: float | None = Field(
        None, gt=0.05, le=30, description="from leg to leg, or diameter of a pole; face_m of the mast if not given"
    )
    leg_perimeter_mm: float | None = Field(
        None, gt=5, le=4000, description="outline of the profile of one leg; 280 mm if not given; of no use for a pole"
    )
    leg_ohm_per_km: float | None = Field(
        None,
        gt=0,
        le=100,
        description="resistance of one leg, or of a pole, with direct current; 0.3 for a leg and 0.03 for a pole if not given",
    )
    leg_factor: float | None = Field(
        None,
        ge=1,
        le=50,
        description="how much the resistance of the legs rises in a stroke, by a study; judged for 1 to 10 if not given",
    )
    cables: tuple[CablePoint, ...] = Field((), max_length=60, description="cables of the line in plan, if known")
    ladder_inside_m: float | None = Field(
        None,
        ge=-5,
        le=30,
        description="how far the row of cables stands inside the first face; on the face if not given, 0.05 m outside a pole",
    )
    ladder_gap_mm: float = Field(50.0, ge=2, le=2000, description="between the axes of two cables in that row")
    shield_share_fraction: float | None = Field(
        None, gt=0, le=1, description="share of the stroke in one shield, by a study: goes before the model"
    )
    shield_c: float | None = Field(
        None,
        ge=-60,
        le=120,
        description="temperature of the shields; that of a black sheath in the sun if not given, at least 20 K above the hottest air",
    )
    transfer_nh_per_m: float = Field(
        0.0,
        ge=0,
        le=1000,
        description="transfer inductance of the shields, for braids and gapped tapes; 0 is a closed tube",
    )
    equipment_withstand_v: float | None = Field(
        None, ge=100, le=20_000, description="impulse that the DC ports of the equipment withstand, by its data sheet"
    )
    bars_at_m: tuple[Annotated[float, Field(ge=0, le=600)], ...] = Field(
        (), max_length=24, description="heights of earth bars on the mast; leads of bonds go to the nearest"
    )
    protectors: tuple[Protector, ...] = Field((), max_length=24, description="surge protectors on the DC cores")
    electrode: Electrode | None = Field(None, description="the earth electrode")
    functional_earth: FunctionalEarth = Field(
        default_factory=lambda: FunctionalEarth(), description="an earth conductor that runs with the trunk"
    )

    def outside_m(self, at: PlanPoint, mast_face_m: float, mast_kind: str) -> float:
        """How far a place stands outside the face of the mast [m]; 0 inside, and where nothing tells the legs."""
        face = mast_face_m if self.face_m is None else self.face_m
        count = self.legs_count or {"monopole": 1, "roof": 0, "wall": 0}.get(mast_kind, 3)
        if self.legs:
            legs = [complex(p.east_m, p.north_m) for p in self.legs]
        elif count < 2:
            return max(math.hypot(at.east_m, at.north_m) - face / 2, 0.0) if count else 0.0
        else:
            radius, first = face / (2 * math.sin(math.pi / count)), -math.pi / 2 - math.pi / count
            legs = [cmath.rect(radius, first + 2 * math.pi * n / count) for n in range(count)]
        place = complex(at.east_m, at.north_m)
        around = sorted(cmath.phase(leg - place) for leg in legs)
        gaps = [b - a for a, b in zip(around, [*around[1:], around[0] + 2 * math.pi], strict=True)]
        if max(gaps) < math.pi:  # legs on all sides: inside
            return 0.0
        return min(_from_span(place, a, b) for a, b in itertools.combinations(legs, 2))

    @model_validator(mode="after")
    def _fits(self) -> Earthing:
        if self.legs and self.legs_count is not None and self.legs_count != len(self.legs):
            raise ValueError(f"expected legs_count {len(self.legs)}, as many as legs | give one of the two")
        if len(self.legs) == 1:
            raise ValueError("expected two legs or more | for a pole write legs_count: 1 and face_m, its diameter")
        for what, names in (("protectors", [p.at for p in self.protectors]), ("cables", [c.item for c in self.cables])):
            twice = next((name for name in names if names.count(name) > 1), "")
            if twice:
                raise ValueError(f"expected each item once in {what} | {twice} stands there twice")
        return self


__all__ = ["CablePoint", "Earthing", "Electrode", "FunctionalEarth", "PlanPoint", "Protector"]
