"""A functional-earth conductor added to a cable that has none: what it changes, and what it does not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.earth.sharing import tail_share
from upmast.earth.surge import Wave
from upmast.earth.withstand import InnerEarth, inner_earth

__all__ = ["DcShares", "Retrofit", "dc_shares", "retrofit"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class DcShares:
    """Direct current of each path [A] by its name, and the resistance of all together [ohm]."""

    current_a: dict[str, float]
    together_ohm: float


def dc_shares(current_a: float, paths_ohm: dict[str, float]) -> DcShares:
    """
    How a direct current divides among paths bonded at both ends, by their conductances.

    Parameters
    ----------
    current_a [A]: of all together. paths_ohm [ohm]: resistance of each path with its bonds, by its name.

    Returns
    -------
    `DcShares`. Source: Ohm's law. The resistances come from the power room; temperature is theirs to see to.

    >>> found = dc_shares(60.0, {"return": 0.020, "shield": 0.060, "mast": 0.015})
    >>> {name: round(i, 6) for name, i in found.current_a.items()}
    {'return': 22.5, 'shield': 7.5, 'mast': 30.0}
    """
    if not paths_ohm:
        raise ValueError("there is no path")
    if not 0 <= current_a < float("inf"):
        raise ValueError("the current must be a number and can't be negative")
    ohm = np.array(list(paths_ohm.values()), float)
    current = current_a * tail_share(ohm)
    together = float(1 / (1 / ohm).sum())
    return DcShares({name: float(i) for name, i in zip(paths_ohm, current, strict=True)}, together)


@dataclass(frozen=True, slots=True)
class Retrofit:
    """
    One cable without and with a functional-earth conductor inside its shield.

    surge: peak of the shield voltage without and with it, and the late limit. fault_without, fault_with: a fault current
    from core to case. return_without, return_with: the return current of the load.
    """

    surge: InnerEarth
    fault_without: DcShares
    fault_with: DcShares
    return_without: DcShares
    return_with: DcShares

    @property
    def case_voltage_v(self) -> tuple[float, float]:
        """Voltage along the way back of the fault, without and with [V]."""
        without = sum(self.fault_without.current_a.values()) * self.fault_without.together_ohm
        return without, sum(self.fault_with.current_a.values()) * self.fault_with.together_ohm


def retrofit(
    *,
    inductance_h: float,
    shield_ohm: float,
    conductor_ohm: float,
    surge_peak_a: float,
    form: Wave,
    fault_a: float,
    return_a: float,
    return_ohm: float,
    mast_ohm: float | None = None,
    way_shield_ohm: float | None = None,
    way_conductor_ohm: float | None = None,
    return_bonded_at_both_ends: bool = True,
) -> Retrofit:
    """
    Compare a cable without and with a functional-earth conductor inside its shield.

    Parameters
    ----------
    inductance_h [H]: of `inner_earth_h`. shield_ohm, conductor_ohm [ohm]: each with its bonds, over the length that a surge takes.
    surge_peak_a [A]: in the shield, of `transient_share`. form: of `wave`.
    fault_a [A]: from a core to the case at the top. return_a [A]: of the load. return_ohm [ohm]: of the return core.
    mast_ohm [ohm]: of the steel with its bonds, None to leave it out, on the safe side.
    way_shield_ohm, way_conductor_ohm [ohm]: the same two over the whole way back of a direct current, which is longer than the mast; None
    where both ways are one.
    return_bonded_at_both_ends: if the return has one bond point, all its current stays in its core.

    Returns
    -------
    `Retrofit`. The conductor serves fault current and equipotential: the first peak of a surge hardly falls.

    Source: own derivation.

    >>> from upmast.earth.surge import wave
    >>> found = retrofit(
    ...     inductance_h=16.5e-6, shield_ohm=60e-3, conductor_ohm=22e-3, surge_peak_a=9450.0, form=wave("first_positive"),
    ...     fault_a=300.0, return_a=60.0, return_ohm=20e-3,
    ... )
    >>> round(float(found.surge.relief), 3), [round(v, 1) for v in found.case_voltage_v]
    (0.038, [18.0, 4.8])
    >>> {name: round(i, 1) for name, i in found.return_with.current_a.items()}
    {'return': 26.8, 'shield': 8.9, 'functional earth': 24.3}
    """
    way = shield_ohm if way_shield_ohm is None else way_shield_ohm
    beside = conductor_ohm if way_conductor_ohm is None else way_conductor_ohm
    before = {"shield": way} | ({} if mast_ohm is None else {"mast": mast_ohm})
    after = {"shield": way, "functional earth": beside} | {
        name: ohm for name, ohm in before.items() if name != "shield"
    }
    home = {"return": return_ohm}
    return Retrofit(
        surge=inner_earth(inductance_h, shield_ohm, conductor_ohm, surge_peak_a, form),
        fault_without=dc_shares(fault_a, before),
        fault_with=dc_shares(fault_a, after),
        return_without=dc_shares(return_a, home | before if return_bonded_at_both_ends else home),
        return_with=dc_shares(return_a, home | after if return_bonded_at_both_ends else home),
    )
