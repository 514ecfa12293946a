"""Rime on cables: the vane that grows into the wind, from its mass."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source
from upmast.support.ice import ice_class
from upmast.table import read

__all__ = ["WIDEST_MM", "RimeVane", "rime_source", "rime_vane"]

Array = NDArray[np.float64]
WIDEST_MM = 300.0  # beyond it ISO 12494 takes other rules for single members (clause 7.5.2.3, from a list of contents)


@dataclass(frozen=True, slots=True, eq=False)
class RimeVane:
    """
    Vane of rime on a round cable, in the shape of the diameters.

    length_mm: from the cable into the wind, without the cable itself. width_mm: across the wind, at least the cable's.
    side_mm: what wind from the side meets, cable and vane. Wind from ahead meets width_mm.
    """

    length_mm: Array
    width_mm: Array
    side_mm: Array


def rime_source(name: str) -> Source:
    """
    Where the vane of a class comes from: the table to R5, our own extension of it beyond.

    >>> str(rime_source("R2").mark), str(rime_source("R7").mark)
    ('confirmed', 'memory')
    """
    if name in _packing():
        return read("upmast.support", "rime_iso12494").source
    if ice_class(name).mass_kg_per_m > 0:
        return Source("ISO 12494", clause="mass of the class; vane by own derivation from table 5", mark=Mark.MEMORY)
    raise ValueError(f"class {name!r} must be one of rime")


@cache
def _packing() -> dict[str, tuple[tuple[float, float], tuple[float, float]]]:
    """Class: bars in mm and kg/m3 of length times width, from the table; the width by its rule."""
    table = read("upmast.support", "rime_iso12494")
    found: dict[str, tuple[list[float], list[float]]] = {}
    for row in table.rows:
        m, d, length = (float(row[key]) for key in ("mass_kg_per_m", "bar_mm", "length_mm"))
        bars, packing = found.setdefault(row["ice_class"], ([], []))
        bars.append(d)
        packing.append(m * 1e6 / (length * (d + (length - d / 2) / 4)))
    return {name: ((bars[0], bars[1]), (packing[0], packing[1])) for name, (bars, packing) in found.items()}


def rime_vane(name: str, diameter_mm: ArrayLike) -> RimeVane:
    """
    Vane of rime of a class on a cable of any diameter.

    The widths of the table follow `W = D + (L - D / 2) / 4` to its rounding, and mass over `L W` is almost one number q. So L
    solves `q L W = m`, with `W = D` while L is below D / 2, and q between those of the bars of 10 and 30 mm, constant outside.

    Parameters
    ----------
    name: 'R1' to 'R9'; beyond R5 the table known to us ends and q of R5 is taken. diameter_mm [mm]: D, to 300 mm, any shape.

    Returns
    -------
    `RimeVane` [mm]. L is counted from the cable's face: with the cable inside L, class R1 on 30 mm would need rime denser than
    ice. Source: ISO 12494, table 5 (a public program prints it); between and beyond its rows own derivation.

    >>> found = rime_vane("R3", [10.0, 28.0, 30.0])
    >>> found.length_mm.round(0), found.width_mm.round(0)
    (array([109.,  84.,  82.]), array([36., 46., 47.]))
    """
    d = np.asarray(diameter_mm, float)
    if np.any(~(d > 0)) or np.any(d > WIDEST_MM):
        raise ValueError(f"the diameter must lie between 0 and {WIDEST_MM:g} mm")
    mass = ice_class(name).mass_kg_per_m
    if not mass > 0:
        raise ValueError(f"class {name!r} must be one of rime")
    bars, packing = _packing().get(name) or _packing()["R5"]
    area = mass * 1e6 / np.interp(d, bars, packing)
    thin = area / d  # L while the vane is no wider than the cable
    long = 2 * (np.sqrt((7 * d / 8) ** 2 + area) - 7 * d / 8)
    length = np.where(thin < d / 2, thin, long)
    return RimeVane(length, np.asarray(d + np.maximum(length - d / 2, 0.0) / 4), np.asarray(d + length))
