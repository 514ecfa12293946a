"""Resistance of conductors: published maxima at 20 C, and the value at another temperature and length."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K, Constant
from upmast.source import Source
from upmast.table import Table, read
from upmast.units import awg_area_mm2

__all__ = [
    "ALUMINIUM_TEMPERATURE_COEFFICIENT_PER_K",
    "awg_area_mm2",
    "awg_of",
    "awg_ohm_per_km",
    "awg_source",
    "conductor_areas_mm2",
    "conductor_ohm_per_km",
    "conductor_source",
    "resistance_ohm",
    "tabulated_area_mm2",
    "temperature_coefficient_per_k",
    "wire_ohm_per_km",
    "wire_source",
]

Material = Literal["copper", "aluminium"]
ALUMINIUM_TEMPERATURE_COEFFICIENT_PER_K = Constant(
    "alpha_20", 0.00403, "1/K", Source("IEC 60287-1-1", clause="table 1, aluminium")
)
_KFT_PER_KM = 1 / 0.3048
_COLUMNS = {
    ("copper", 1, False): "cu_class1_plain_ohm_per_km",
    ("copper", 2, False): "cu_class2_plain_ohm_per_km",
    ("copper", 2, True): "cu_class2_tinned_ohm_per_km",
    ("copper", 5, False): "cu_class5_plain_ohm_per_km",
    ("copper", 5, True): "cu_class5_tinned_ohm_per_km",
    ("aluminium", 2, False): "al_class2_ohm_per_km",
}


def temperature_coefficient_per_k(material: Material = "copper") -> Constant:
    """Temperature coefficient of resistance at 20 C, with its source: copper 0.00393, aluminium 0.00403 per kelvin."""
    if material == "copper":
        return COPPER_TEMPERATURE_COEFFICIENT_PER_K
    if material == "aluminium":
        return ALUMINIUM_TEMPERATURE_COEFFICIENT_PER_K
    raise ValueError(f"material {material!r} is not known; copper or aluminium")


def _sizes() -> Table:
    return read("upmast.power", "conductors_iec60228")


def _column(conductor_class: int, tinned: bool, material: str) -> dict[float, float]:
    """Area to ohm/km of one column. Class 6 has the maxima of class 5 (IEC 60228, tables 3 and 4)."""
    key = (material, 5 if conductor_class == 6 else conductor_class, tinned)
    if key not in _COLUMNS:
        have = "; ".join(f"{m} class {c}{', tinned' if t else ''}" for m, c, t in _COLUMNS)
        raise ValueError(f"no {material} class {conductor_class}{', tinned' if tinned else ''} here; there are: {have}")
    table = _sizes()
    pairs = zip(table.numbers("area_mm2"), table.numbers(_COLUMNS[key]), strict=True)
    return {area: ohm for area, ohm in pairs if not np.isnan(ohm)}


def conductor_areas_mm2(
    conductor_class: int = 2, tinned: bool = False, material: Material = "copper"
) -> tuple[float, ...]:
    """The standard sizes for which a maximum resistance is tabulated, in ascending order."""
    return tuple(sorted(_column(conductor_class, tinned, material)))


def conductor_ohm_per_km(
    area_mm2: float, conductor_class: int = 2, tinned: bool = False, material: Material = "copper"
) -> float:
    """
    Largest DC resistance of one conductor at 20 C, ohm/km.

    Parameters
    ----------
    area_mm2 [mm2]: nominal section, scalar; one of `conductor_areas_mm2`.
    conductor_class: 1 solid, 2 stranded, 5 flexible, 6 extra flexible (same maxima as 5).
    tinned: metal-coated wires.

    Raises
    ------
    ValueError
        If the size or class is not in the table; the message names those that are. Nothing is interpolated.

    Source: IEC 60228, tables 1 to 4.

    >>> conductor_ohm_per_km(10), conductor_ohm_per_km(4, 5)
    (1.83, 4.95)
    """
    column = _column(conductor_class, tinned, material)
    if area_mm2 not in column:
        have = ", ".join(f"{a:g}" for a in sorted(column))
        raise ValueError(f"{area_mm2:g} mm2 is not a size of {material} class {conductor_class}; there are {have} mm2")
    return column[area_mm2]


def conductor_source() -> Source:
    """Where `conductor_ohm_per_km` comes from."""
    return _sizes().source


def awg_ohm_per_km(awg: str | int, stranded: bool = True, coated: bool = False) -> float:
    """
    DC resistance of one copper conductor of an AWG size **at 20 C**, ohm/km.

    `R_20 = R_75 / (1 + alpha_20 (75 - 20))`, from the published value at 75 C per thousand feet.

    Raises
    ------
    ValueError
        If the size is not in the table; the message names those that are.

    Source: NFPA 70 chapter 9 table 8; alpha_20 from IEC 60287-1-1.

    >>> round(awg_ohm_per_km(6), 4)
    1.3246
    """
    table = read("upmast.power", "conductors_awg")
    kind = "strand" if stranded else "solid"
    rows = {row["awg"]: row for row in table.rows if row["stranding"].endswith(kind)}
    row = rows.get(str(awg).strip())
    if row is None:
        raise ValueError(f"{awg} AWG {kind} is not in the table; there are {', '.join(rows)}")
    at_75 = float(row["cu_coated_ohm_per_kft_75c" if coated else "cu_uncoated_ohm_per_kft_75c"]) * _KFT_PER_KM
    return at_75 / (1 + COPPER_TEMPERATURE_COEFFICIENT_PER_K.value * 55)


def awg_source() -> Source:
    """Where `awg_ohm_per_km` comes from."""
    return read("upmast.power", "conductors_awg").source


@lru_cache(maxsize=1000)
def awg_of(area_mm2: float) -> str | None:
    """
    The AWG size of an area in the table, within half a per cent; None for any other, such as a size of IEC 60228.

    >>> awg_of(8.366), awg_of(10.0)
    ('8', None)
    """
    for row in read("upmast.power", "conductors_awg").rows:
        if abs(awg_area_mm2(row["awg"]) - area_mm2) <= 0.005 * area_mm2:
            return row["awg"]
    return None


def wire_ohm_per_km(area_mm2: float, conductor_class: int = 2, tinned: bool = False) -> float:
    """
    Largest DC resistance of one copper conductor at 20 C, ohm/km, whether its size is of IEC 60228 or AWG.

    Parameters
    ----------
    area_mm2 [mm2]: a nominal section of IEC 60228, or the area of an AWG size to half a per cent.
    conductor_class: as for `conductor_ohm_per_km`; AWG sizes are taken as stranded.
    tinned: metal-coated wires.

    Raises
    ------
    ValueError
        If the size is in neither table.

    Source: IEC 60228, tables 1 to 4; NFPA 70, chapter 9, table 8, for AWG sizes.

    >>> wire_ohm_per_km(10.0, 5), round(wire_ohm_per_km(8.366), 3)
    (1.91, 2.099)
    """
    awg = awg_of(area_mm2)
    if awg is None:
        return conductor_ohm_per_km(area_mm2, conductor_class, tinned)
    return awg_ohm_per_km(awg, coated=tinned)


def wire_source(area_mm2: float) -> Source:
    """Where `wire_ohm_per_km` comes from for a size."""
    return conductor_source() if awg_of(area_mm2) is None else awg_source()


def tabulated_area_mm2(area_mm2: float) -> float:
    """
    The size whose tabulated capacity may be taken for a conductor: its own, or for AWG the next smaller of IEC 60228.

    >>> tabulated_area_mm2(16.0), tabulated_area_mm2(13.3)
    (16.0, 10.0)
    """
    if awg_of(area_mm2) is None:
        return area_mm2
    smaller = [area for area in conductor_areas_mm2() if area <= area_mm2]
    if not smaller:
        raise ValueError(f"{area_mm2:g} mm2 is below every size with a tabulated capacity")
    return max(smaller)


def resistance_ohm(
    ohm_per_km: ArrayLike,
    length_m: ArrayLike,
    temperature_c: ArrayLike,
    alpha_20_per_k: ArrayLike = COPPER_TEMPERATURE_COEFFICIENT_PER_K.value,
) -> NDArray[np.float64]:
    """
    Resistance of one wire: `R = r_20 L (1 + alpha_20 (theta - 20))`.

    Parameters
    ----------
    ohm_per_km [ohm/km]: at 20 C, of one wire, any shape.
    length_m [m]: of the wire, once. A pair has two wires.
    temperature_c [C]: of the conductor, not of the air.
    alpha_20_per_k [1/K]: copper by default.

    Returns
    -------
    Resistance [ohm], in the broadcast shape.

    Valid for -40 to 150 C; the law is linear and not checked outside. Source: IEC 60287-1-1, clause 5.1.1.

    >>> round(1e3 * 2 * float(resistance_ohm(1.83, 1, 70)), 2)  # BS 7671 prints 4.4 mV/A/m for 10 mm2
    4.38
    """
    r20, length, theta, alpha = (np.asarray(x, float) for x in (ohm_per_km, length_m, temperature_c, alpha_20_per_k))
    factor = 1 + alpha * (theta - 20)
    if np.any(r20 < 0) or np.any(length < 0):
        raise ValueError("resistance per kilometre and length can't be negative")
    if np.any(factor <= 0):
        raise ValueError("temperature is below the range of the linear law")
    return np.asarray(r20 * length * 1e-3 * factor)
