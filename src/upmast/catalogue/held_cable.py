"""What every cable that clamps hold may tell: what it is made of, how stiff it is, what crushes it."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field, model_validator

from upmast.catalogue.base import WITHSTANDS, Outdoors
from upmast.declare import Declared

HELD_LATER = frozenset(
    {"crush_n_per_100mm", "side_pressure_n_per_m", "bending_stiffness_nm2", "decrement_fraction", "construction"}
)


class CableElement(Declared):
    """One kind of element in the section of a cable: conductors, strength members, or a tube or sheath."""

    material: Literal["copper", "aluminium", "steel", "hdpe", "pvc"] = Field(description="what it is made of")
    elements_count: int = Field(1, ge=1, le=2000, description="how many alike")
    area_mm2: float = Field(gt=0, le=10_000, description="cross-section of one")
    lay_radius_mm: float = Field(
        0.0, ge=0, le=75, description="from the middle of the cable to the middle of the element"
    )
    pitch_mm: float | None = Field(
        None, gt=0, le=10_000, description="length of one turn of the lay; straight if not given"
    )
    outer_mm: float | None = Field(
        None, gt=0, le=150, description="outside diameter of a tube or sheath; a round wire if not given"
    )

    @model_validator(mode="after")
    def _fits(self) -> CableElement:
        if self.outer_mm is not None and self.area_mm2 > 0.7854 * self.outer_mm**2:
            raise ValueError("expected an area that fits into outer_mm | check the two values")
        return self


class HeldCable(Outdoors):
    """What cables of every kind have for their support. All of it may be left out."""

    later: ClassVar[frozenset[str]] = WITHSTANDS | HELD_LATER

    crush_n_per_100mm: float | None = Field(
        None, gt=0, le=1e6, description="highest crush load on 100 mm of cable (IEC 60794-1-21, method E3)"
    )
    side_pressure_n_per_m: float | None = Field(
        None, gt=0, le=1e6, description="highest side pressure in a bend under pull"
    )
    bending_stiffness_nm2: tuple[float, float] | None = Field(
        None, description="bending stiffness in N·m², lowest and highest: layers that slip, and a solid section"
    )
    decrement_fraction: float | None = Field(
        None, gt=0, le=1, description="logarithmic decrement of its swings; 0.05 if not given"
    )
    construction: tuple[CableElement, ...] = Field(
        (), max_length=24, description="elements of its section, all of them: mass, stiffness and expansion follow"
    )

    @model_validator(mode="after")
    def _band(self) -> HeldCable:
        band = self.bending_stiffness_nm2
        if band is not None and not 0 < band[0] <= band[1]:
            raise ValueError("expected two positive numbers, the lower first | check bending_stiffness_nm2")
        return self


__all__ = ["HELD_LATER", "CableElement", "HeldCable"]
