"""The resistance of one conductor of a cable: by its data sheet where that gives one, by its size otherwise."""

from __future__ import annotations

from functools import lru_cache

from upmast.catalogue.part import Cable
from upmast.power.resistance import wire_ohm_per_km


def ohm_per_km(cable: Cable) -> tuple[float, str]:
    """
    Highest resistance at 20 C [ohm/km], and where it comes from: empty for the table of sizes.

    Raises
    ------
    ValueError
        If the size is in no table and the data sheet gives no resistance.
    """
    if cable.conductor_ohm_per_km is not None:
        return cable.conductor_ohm_per_km, f"part {cable.id}, conductor_ohm_per_km"
    return _by_size(cable.conductor_area_mm2 or 0.0, cable.conductor_class, cable.tinned), ""


@lru_cache(maxsize=1000)
def _by_size(area_mm2: float, conductor_class: int, tinned: bool) -> float:
    return wire_ohm_per_km(area_mm2, conductor_class, tinned)


__all__ = ["ohm_per_km"]
