"""Wind at one site by the standard that the site names: a ten-minute mean or a three-second gust, never mixed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source
from upmast.support.base_load import slices
from upmast.support.wind import SUBCRITICAL, WindForce, line_wind, row_factor, wind_profile
from upmast.support.wind_gust import exposure_factor, exposure_source, gust_pressure_pa, round_coefficient

__all__ = ["EN", "GUST", "GUST_EFFECT", "Wind", "directionality", "gust_effect"]

Array = NDArray[np.float64]
EN, GUST = "EN 1991-1-4", "ANSI/TIA-222"
GUST_EFFECT = {"lattice": 0.85, "guyed": 0.85, "monopole": 1.10, "roof": 1.35, "wall": 1.35}  # Gh: from memory
LATTICE_TOP_M = 137.0  # from there on a lattice mast has another gust effect factor; 1.0 is its largest


def gust_effect(mast: str, height_m: float) -> float:
    """
    Gust effect factor Gh of what carries the line, by its kind.

    Source: ANSI/TIA-222-G, clause 2.6.7 (from memory).

    >>> gust_effect("lattice", 42.0), gust_effect("monopole", 30.0), gust_effect("lattice", 200.0)
    (0.85, 1.1, 1.0)
    """
    factor = GUST_EFFECT[mast]
    return 1.0 if factor < 1 and height_m > LATTICE_TOP_M else factor


def directionality(mast: str) -> float:
    """
    Wind direction probability factor Kd: 0.85 on lattice, 0.95 on all others.

    Source: ANSI/TIA-222-G, table 2-2 (from memory).

    >>> directionality("guyed"), directionality("roof")
    (0.85, 0.95)
    """
    return 0.85 if mast in ("lattice", "guyed") else 0.95


@dataclass(frozen=True, eq=False)
class Wind:
    """
    Wind at the site.

    basic_m_per_s: vb of EN 1991-1-4 (ten-minute mean), or V of ANSI/TIA-222 (three-second gust). terrain, z0_m, z_min_m: of the
    first; exposure, importance, directionality, gust_effect: of the second.
    """

    basic_m_per_s: float
    terrain: str
    z0_m: float
    z_min_m: float
    mark: str
    standard: str = EN
    exposure: str = ""
    importance: float = 1.0
    directionality: float = 1.0
    gust_effect: float = 1.0

    @property
    def gust(self) -> bool:
        """Whether the speed is a three-second gust."""
        return self.standard == GUST

    @property
    def place(self) -> str:
        """What surrounds the site, in the words of the standard."""
        return f"exposure {self.exposure}" if self.gust else f"terrain {self.terrain}"

    @property
    def words(self) -> str:
        """What was used, for a note."""
        if self.gust:
            return (
                f"{GUST}, V {self.basic_m_per_s:g} m/s as a three-second gust, exposure {self.exposure}, Kd {self.directionality:g}, "
                f"Gh {self.gust_effect:g}, I {self.importance:g}, Kzt = 1"
            )
        return f"{EN}, vb {self.basic_m_per_s:g} m/s, terrain {self.terrain}, cs·cd = 1"

    @property
    def source(self) -> Source:
        """The standard."""
        if self.gust:
            return Source(GUST, "2.6.9", "G and H", Mark.MEMORY)
        return Source(EN, "4.3 to 4.5, 5.3 and 7.9", "2005")

    @property
    def place_source(self) -> Source:
        """The table of what surrounds the site."""
        if self.gust:
            return exposure_source()
        return Source(EN, f"table 4.1, terrain {self.terrain}", "2005", Mark(self.mark))

    def pressure_pa(self, height_m: ArrayLike) -> Array:
        """Peak pressure at a height: qp, or qz with its gust effect factor."""
        z = np.maximum(np.asarray(height_m, float), 0.0)
        if not self.gust:
            return wind_profile(z, self.basic_m_per_s, self.z0_m, self.z_min_m).qp_pa
        qz = gust_pressure_pa(self.basic_m_per_s, self.kz(z), self.directionality, importance=self.importance)
        return np.asarray(qz * self.gust_effect)

    def kz(self, height_m: ArrayLike) -> Array:
        """Exposure factor of the gust form."""
        return exposure_factor(np.maximum(np.asarray(height_m, float), 0.0), self.exposure)  # type: ignore[arg-type]

    def coefficient(self, width_mm: ArrayLike, height_m: ArrayLike) -> Array:
        """Force coefficient of a long round line: 1.2, or Ca of the gust form."""
        width = np.asarray(width_mm, float)
        if not self.gust:
            return np.full(np.broadcast_shapes(width.shape, np.shape(height_m)), SUBCRITICAL)
        return round_coefficient(self.basic_m_per_s, width, self.kz(height_m), importance=self.importance)

    def row(self, number: int) -> float:
        """Factor on cables side by side that touch: of EN 1991-1-4 only, since the gust form has other rules."""
        return float(row_factor(1.0)) if number > 1 and not self.gust else 1.0

    def line(
        self, low_m: ArrayLike, high_m: ArrayLike, width_mm: ArrayLike, coefficient: float | None = None
    ) -> WindForce:
        """Force and moment about the foot of vertical lines, over slices of at most 2 m; with a coefficient of its own if given."""
        if not self.gust:
            cf = SUBCRITICAL if coefficient is None else coefficient
            return line_wind(low_m, high_m, width_mm, self.basic_m_per_s, self.z0_m, self.z_min_m, cf)
        cut = slices(low_m, high_m)
        width = np.asarray(width_mm, float)[..., None]
        ca = self.coefficient(width, cut.middle_m) if coefficient is None else coefficient
        force = self.pressure_pa(cut.middle_m) * ca * width * 1e-3 * cut.length_m
        return WindForce(np.asarray(force.sum(-1)), np.asarray((force * cut.middle_m).sum(-1)))
