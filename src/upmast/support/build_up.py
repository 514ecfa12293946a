"""A cable by what it is made of: mass, bending stiffness as a band, stiffness along it and expansion."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from upmast.support.mass import cable_mass_kg_per_m, density_kg_per_m3, lay_factor
from upmast.support.stiffness import disc_inertia_mm4, stiffness_band_nm2
from upmast.support.thermal import axial_stiffness_n, cable_expansion_per_k, elastic

__all__ = ["Along", "Element", "along", "bending_nm2", "built_mass_kg_per_m", "guessed"]

WIRE_MM = {2: 1.7, 5: 0.4}  # thickest wires of IEC 60228 conductors to 16 mm2, by class: from memory
SHEATH_SHARE, SHEATH_MM = 0.035, 1.0  # wall of a sheath, 0.035 D + 1 mm, in the style of IEC 60502-1: from memory
PACKED = 0.75  # of a strand's round section that is metal


@dataclass(frozen=True, slots=True)
class Element:
    """
    One kind of element in the section of a cable.

    area_mm2: of one. lay_radius_mm: from the middle of the cable to its middle. pitch_mm: one turn of the lay, 0 if straight.
    outer_mm: of a tube or sheath, 0 for round wires.
    """

    material: str
    count: int
    area_mm2: float
    lay_radius_mm: float = 0.0
    pitch_mm: float = 0.0
    outer_mm: float = 0.0

    @property
    def own_mm4(self) -> float:
        """Second moment of area of one about its own axis: of a round wire `A^2 / (4 pi)`, of a tube outer less inner disc."""
        if not self.outer_mm:
            return self.area_mm2**2 / (4 * math.pi)
        outer = float(disc_inertia_mm4(self.outer_mm))
        inner = math.sqrt(max(self.outer_mm**2 - 4 * self.area_mm2 / math.pi, 0.0))
        return outer - float(disc_inertia_mm4(inner))


@dataclass(frozen=True, slots=True)
class Along:
    """A cable along its axis, as a band: stiffness_n and expansion_per_k, lowest and highest."""

    stiffness_n: tuple[float, float]
    expansion_per_k: tuple[float, float]


def built_mass_kg_per_m(elements: Sequence[Element]) -> float:
    """
    Mass of a metre from its elements: `sum n A rho sqrt(1 + (2 pi r / p)^2)`.

    >>> round(built_mass_kg_per_m([Element("copper", 18, 16.0), Element("hdpe", 1, 1000.0, outer_mm=50.0)]), 3)
    3.535
    """
    lay = [float(lay_factor(2 * e.lay_radius_mm, e.pitch_mm)) if e.pitch_mm else 1.0 for e in elements]
    rho = [density_kg_per_m3(e.material) for e in elements]  # type: ignore[arg-type]
    return float(cable_mass_kg_per_m([e.area_mm2 for e in elements], rho, [e.count for e in elements], lay))


def bending_nm2(elements: Sequence[Element]) -> tuple[float, float]:
    """
    Bending stiffness of a cable from its elements: all slip, and nothing does. See `stiffness_band_nm2`.

    >>> low, high = bending_nm2([Element("copper", 6, 7.07, 3.0), Element("hdpe", 1, 126.0, outer_mm=28.0)])
    >>> round(low, 2), round(high, 2)
    (11.49, 32.49)
    """
    modulus = [elastic(e.material).modulus_pa for e in elements]
    found = stiffness_band_nm2(
        modulus, [e.area_mm2 for e in elements], [e.own_mm4 for e in elements], [e.count for e in elements],
        [e.lay_radius_mm for e in elements],
    )  # fmt: skip
    return float(found.slip_nm2), float(found.solid_nm2)


def along(elements: Sequence[Element]) -> Along:
    """Stiffness and expansion along the axis, one value each: all elements stick together."""
    modulus = [elastic(e.material).modulus_pa for e in elements]
    area = [e.count * e.area_mm2 for e in elements]
    ea = float(axial_stiffness_n(modulus, area))
    alpha = float(cable_expansion_per_k(modulus, area, [elastic(e.material).expansion_per_k for e in elements]))
    return Along((ea, ea), (alpha, alpha))


def guessed(
    diameter_mm: float, cores: int, core_mm2: float, conductor_class: int, shield_mm2: float
) -> tuple[tuple[float, float], Along] | None:
    """
    Bending stiffness and the values along the axis of a copper cable of which only conductors and diameter are known: wide bands.

    Lowest: all wires slip, and only the sheath, `0.035 D + 1 mm` thick, is stiff. Highest: the section is solid, copper spread over
    it and polyethylene everywhere else. Along it, copper alone or with polyethylene in all the rest.

    Parameters
    ----------
    diameter_mm [mm]: D. cores: conductors. core_mm2 [mm2]: section of each. conductor_class: of IEC 60228. shield_mm2 [mm2].

    Returns
    -------
    Band of EI [N m2] and `Along`; None without copper, or where it would not fit. Source: own derivation; sheath and wires from memory.

    >>> ei, axis = guessed(50.0, 18, 16.0, 5, 10.0)
    >>> [round(x, 1) for x in ei], [round(1e6 * x, 1) for x in axis.expansion_per_k]
    ([91.8, 4302.5], [17.0, 23.4])
    """
    copper = cores * core_mm2 + shield_mm2
    section = math.pi / 4 * diameter_mm**2
    if not copper > 0 or copper > PACKED * section:
        return None
    metal, plastic = elastic("copper"), elastic("hdpe")
    wall = min(SHEATH_SHARE * diameter_mm + SHEATH_MM, diameter_mm / 2)
    sheath = disc_inertia_mm4(diameter_mm) - disc_inertia_mm4(diameter_mm - 2 * wall)
    wires = copper * WIRE_MM.get(conductor_class, 0.4) ** 2 / 16
    low = float(plastic.modulus_pa * sheath + metal.modulus_pa * wires) * 1e-12
    inside = diameter_mm - 2 * wall
    spread = copper * inside**2 / 16  # copper all over the round section inside the sheath
    rest = float(disc_inertia_mm4(diameter_mm))
    high = float(metal.modulus_pa * spread + plastic.modulus_pa * rest) * 1e-12
    both = ([metal.modulus_pa, plastic.modulus_pa], [copper, section - copper])
    axial = (metal.modulus_pa * copper * 1e-6, float(axial_stiffness_n(*both)))
    alpha = float(cable_expansion_per_k(*both, np.array([metal.expansion_per_k, plastic.expansion_per_k])))
    return (low, high), Along(axial, (metal.expansion_per_k, alpha))
