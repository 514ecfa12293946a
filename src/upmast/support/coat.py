"""The ice of one class on cables and on boxes: its mass, and the widths that the wind meets."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.support.ice import GLAZE_KG_PER_M3
from upmast.support.ice_load import ice_load
from upmast.support.rime import WIDEST_MM, rime_vane

__all__ = ["RIME_COEFFICIENT", "Ice"]

Array = NDArray[np.float64]
RIME_COEFFICIENT = 2.0  # a vane from the side is a flat strip, no cylinder; the safe side: common practice, no source


@dataclass(frozen=True, eq=False)
class Ice:
    """
    An ice class of ISO 12494: glaze all round, or rime that grows into the wind.

    thickness_mm: of glaze; 0 for rime. mass_kg_per_m: of rime; 0 for glaze. wind_factor: on the pressure. mark: of the class.
    """

    name: str
    thickness_mm: float
    wind_factor: float
    mark: str
    mass_kg_per_m: float = 0.0

    @property
    def rime(self) -> bool:
        return self.mass_kg_per_m > 0

    @property
    def words(self) -> str:
        """What the class means, for a note."""
        if self.rime:
            return f"rime {self.name}, {self.mass_kg_per_m:g} kg on a metre, a vane into the wind; wind from the side"
        return f"glaze {self.name}, {self.thickness_mm:g} mm all round, {GLAZE_KG_PER_M3:g} kg/m³"

    def kg_per_m(self, diameter_mm: ArrayLike) -> Array:
        """Ice on one metre of cable."""
        return ice_load(self.name, diameter_mm).mass_kg_per_m

    def side_mm(self, diameter_mm: ArrayLike) -> Array:
        """What wind across the icing wind meets, the larger width."""
        return ice_load(self.name, diameter_mm).side_mm

    def front_mm(self, diameter_mm: ArrayLike) -> Array:
        """What the icing wind meets."""
        return ice_load(self.name, diameter_mm).front_mm

    def body_kg(self, height_mm: float, width_mm: float, depth_mm: float) -> float:
        """Glaze on all six faces; rime as on a member, in proportion to the width beyond 300 mm (own rule, safe side)."""
        h, w, d = height_mm / 1000, width_mm / 1000, depth_mm / 1000
        if self.rime:
            return self.mass_kg_per_m * h * max(1.0, max(width_mm, depth_mm) / WIDEST_MM)
        return 2 * (h * w + w * d + d * h) * self.thickness_mm / 1000 * GLAZE_KG_PER_M3

    def body_mm(self, height_mm: float, width_mm: float, depth_mm: float) -> tuple[float, float]:
        """Height and width across the wind of an iced box: glaze on both sides; rime with the vane of a member of 300 mm."""
        if self.rime:
            vane = float(rime_vane(self.name, min(max(width_mm, depth_mm), WIDEST_MM)).length_mm)
            return height_mm, max(width_mm, depth_mm + vane)
        return height_mm + 2 * self.thickness_mm, width_mm + 2 * self.thickness_mm

    @classmethod
    def of(cls, name: str) -> Ice:
        """By its name."""
        from upmast.support.ice import ice_class

        one = ice_class(name)
        bare = math.isnan(one.thickness_mm)
        mass = 0.0 if math.isnan(one.mass_kg_per_m) else one.mass_kg_per_m
        return cls(one.name, 0.0 if bare else one.thickness_mm, one.wind_factor, one.source.mark.value, mass)
