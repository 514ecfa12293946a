"""Voltage at the ends of a shielded cable against what the equipment withstands, and distances against side flashes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.amounts import amounts
from upmast.earth.relax import relax, stroke_instants_s
from upmast.earth.shield import missing_bond_loop_h, missing_bond_v, shield_drop_v
from upmast.earth.surge import Wave, surge_a, surge_slope_a_per_s
from upmast.source import Mark, Source
from upmast.table import read

__all__ = [
    "AIR_SOURCE",
    "AIR_V_PER_M",
    "DC_PORT_SOURCE",
    "DC_PORT_WITHSTAND_V",
    "InnerEarth",
    "MissingBond",
    "inner_earth",
    "inner_earth_h",
    "inner_earth_time_s",
    "missing_bond_table",
    "separation_distance_m",
    "separation_source",
    "shield_surge_v",
    "withstand_margin_v",
]

Array = NDArray[np.float64]
DC_PORT_WITHSTAND_V = 1500.0
DC_PORT_SOURCE = Source(
    "IEC 60664-1 and ITU-T K series", clause="1.5 kV impulse class of DC ports", mark=Mark.MEMORY
)  # a default: the data sheet of the equipment goes before it
AIR_V_PER_M = 500e3
AIR_SOURCE = Source("common practice, no source", clause="500 kV/m for a side flash in air", mark=Mark.MEMORY)


def shield_surge_v(
    current_a: ArrayLike,
    ohm_per_km: ArrayLike,
    length_m: ArrayLike,
    slope_a_per_s: ArrayLike = 0.0,
    transfer_h_per_m: ArrayLike = 0.0,
) -> Array:
    """
    Highest voltage between core and shield of a cable bonded at both ends: `U = R' l I + M_t l |dI/dt|`.

    Parameters
    ----------
    current_a [A]: peak in the shield. ohm_per_km [ohm/km]: R' of the shield. length_m [m]: l between the bonds.
    slope_a_per_s [A/s]: steepest slope of the shield's current, its sign does not count.
    transfer_h_per_m [H/m]: M_t of a braid or a gapped tape, an input; 0 for a closed tube. All broadcast.

    Returns
    -------
    Voltage [V], on the safe side: the steepest slope comes before the peak, here both are added.

    Source: IEC 62305-3, annex B (from memory) for the first term; Faraday's law for the second.

    >>> float(shield_surge_v(9450.0, 1.2, 30.0).round(1)), float(shield_surge_v(9450.0, 1.2, 30.0, 1.3e9, 1e-9).round(1))
    (340.2, 379.2)
    """
    slope = np.abs(np.asarray(slope_a_per_s, float))
    rise, transfer, length = amounts(slope_a_per_s=slope, transfer_h_per_m=transfer_h_per_m, length_m=length_m)
    amounts(current_a=current_a, ohm_per_km=ohm_per_km)
    return np.asarray(shield_drop_v(current_a, ohm_per_km, length) + transfer * length * rise)


def withstand_margin_v(voltage_v: ArrayLike, withstand_v: ArrayLike = DC_PORT_WITHSTAND_V) -> Array:
    """
    Distance of a surge voltage to what the equipment withstands: `U_w - U`, positive is good.

    Parameters
    ----------
    voltage_v [V]: U at the port. withstand_v [V]: U_w; 1.5 kV by default, see `DC_PORT_SOURCE`. Broadcast.

    >>> float(withstand_margin_v(340.0))
    1160.0
    """
    u, withstand = amounts(voltage_v=voltage_v, withstand_v=withstand_v)
    if not np.all(withstand > 0):
        raise ValueError("withstand_v must be positive")
    return np.asarray(withstand - u)


def inner_earth_h(length_m: ArrayLike, shield_radius_m: ArrayLike, conductor_radius_m: ArrayLike) -> Array:
    """
    Inductance of the loop between a shield and an earth conductor inside it: `L_i = 2e-7 l ln(b / r)`.

    Parameters
    ----------
    length_m [m]: l. shield_radius_m [m]: b. conductor_radius_m [m]: r. Broadcast.

    Returns
    -------
    Inductance [H], for a conductor on the axis; off the axis it is a little less. Source: coaxial line, textbook.

    >>> float((1e6 * inner_earth_h(50.0, 0.012, 0.0023)).round(1))
    16.5
    """
    length, b, r = amounts(length_m=length_m, shield_radius_m=shield_radius_m, conductor_radius_m=conductor_radius_m)
    if not np.all((r > 0) & (b > r)):
        raise ValueError("the conductor must have a radius, and a smaller one than the shield")
    return np.asarray(2e-7 * length * np.log(b / r))


def inner_earth_time_s(inductance_h: ArrayLike, shield_ohm: ArrayLike, conductor_ohm: ArrayLike) -> Array:
    """
    Time constant with which an earth conductor inside a shield takes up its share: `tau = L_i / (R_s + R_f)`.

    Parameters
    ----------
    inductance_h [H]: of `inner_earth_h`. shield_ohm, conductor_ohm [ohm]: over the same length. Broadcast.

    Returns
    -------
    Time [s]; long against the front of a stroke. Source: own derivation.

    >>> float((1e3 * inner_earth_time_s(16.5e-6, 60e-3, 22e-3)).round(2))  # ms
    0.2
    """
    inductance, shield, conductor = amounts(
        inductance_h=inductance_h, shield_ohm=shield_ohm, conductor_ohm=conductor_ohm
    )
    if not np.all(shield + conductor > 0):
        raise ValueError("shield and conductor need a resistance")
    return np.asarray(inductance / (shield + conductor))


@dataclass(frozen=True, slots=True, eq=False)
class InnerEarth:
    """
    What an earth conductor inside the shield changes while a stroke passes; every field in the shape of the resistances.

    without_v [V]: peak between core and shield without it. with_v [V]: with it. relief [-]: 1 - with / without.
    late_share [-]: R_f / (R_s + R_f), what the shield would keep of a direct current: the late limit, not the surge's.
    conductor_a [A]: peak in the conductor. conductor_s [s]: when.
    """

    without_v: Array
    with_v: Array
    relief: Array
    late_share: Array
    conductor_a: Array
    conductor_s: Array


def inner_earth(
    inductance_h: ArrayLike,
    shield_ohm: ArrayLike,
    conductor_ohm: ArrayLike,
    peak_a: float,
    form: Wave,
    duration_s: float = 2e-3,
    front_steps: int = 400,
) -> InnerEarth:
    """
    A functional-earth conductor inside the shield under surge: the two paths solved exactly.

    `R_f i_f + L_i di_f/dt = R_s i_s`, `i_s + i_f = I(t)`; core-to-shield voltage `R_s i_s`

    Parameters
    ----------
    inductance_h [H]: L_i of `inner_earth_h`. shield_ohm, conductor_ohm [ohm]: R_s, R_f over the same length. Broadcast.
    peak_a [A]: peak of the current in shield and conductor together, its wave taken as `form`.
    duration_s [s], front_steps: as `stroke_instants_s`.

    Returns
    -------
    `InnerEarth`. The first peak hardly falls; never take R_s and R_f in parallel for a surge.

    Source: own derivation; checked against a stiff solver in the tests. A conductor outside the shield shares like any
    other, see `sharing`.

    >>> from upmast.earth.surge import wave
    >>> found = inner_earth(16.5e-6, 60e-3, 22e-3, 9450.0, wave("first_positive"))
    >>> round(float(found.relief), 3), round(float(found.late_share), 3)
    (0.038, 0.268)
    """
    inductance, shield, conductor = np.broadcast_arrays(
        *amounts(inductance_h=inductance_h, shield_ohm=shield_ohm, conductor_ohm=conductor_ohm)
    )
    if not np.all(inductance > 0) or not np.all(shield > 0):
        raise ValueError("inductance and shield resistance must be positive")
    t = stroke_instants_s(form, duration_s, front_steps)
    total, slope = surge_a(t, peak_a, form), surge_slope_a_per_s(t, peak_a, form)
    if total.shape != t.shape:
        raise ValueError("the transient takes one peak current; voltages are in proportion to it")
    inner = (shield / inductance)[..., None] * relax((shield + conductor) / inductance, t, total, slope)
    outer = np.abs(total - inner).max(axis=-1)
    highest = total.max()
    return InnerEarth(
        without_v=np.asarray(shield * highest),
        with_v=np.asarray(shield * outer),
        relief=np.asarray(1 - outer / highest) if highest > 0 else np.zeros(shield.shape),
        late_share=np.asarray(conductor / (shield + conductor)),
        conductor_a=np.asarray(inner.max(axis=-1)),
        conductor_s=np.asarray(t[inner.argmax(axis=-1)]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class MissingBond:
    """
    What a missing bond costs, for each row: voltage over the open end [V], what the gap in air holds [V], and whether it flashes.
    """

    voltage_v: Array
    gap_v: Array
    flashes: NDArray[np.bool_]


def missing_bond_table(
    length_m: ArrayLike,
    mast_radius_m: ArrayLike,
    distance_m: ArrayLike,
    current_a: ArrayLike,
    front_s: ArrayLike,
    mast_ohm: ArrayLike = 0.0,
    gap_m: ArrayLike | None = None,
) -> MissingBond:
    """
    Voltage between mast and cable at the open end of a shield bonded at the bottom only, against the air between them.

    Parameters
    ----------
    length_m, mast_radius_m, distance_m [m]: as `missing_bond_loop_h`. current_a [A], front_s [s], mast_ohm [ohm]: as
    `missing_bond_v`. gap_m [m]: of air between steel and cable; distance less mast radius by default. All broadcast.

    Returns
    -------
    `MissingBond`; where it flashes print 'flash-over: bond missing'. Air holds 500 kV/m (`AIR_SOURCE`, from memory).

    >>> found = missing_bond_table(20.0, 0.20, 0.35, [100e3, 50e3], [10e-6, 0.25e-6])  # first and subsequent stroke
    >>> found.voltage_v.round(-2), found.gap_v.round(-2), found.flashes
    (array([ 22100., 441700.]), array([75000., 75000.]), array([False,  True]))
    """
    loop = missing_bond_loop_h(length_m, mast_radius_m, distance_m)
    if not np.all(loop >= 0):
        raise ValueError("a cable inside the mast is not this model's: its distance must be at least the mast's radius")
    apart = np.asarray(distance_m, float) - np.asarray(mast_radius_m, float) if gap_m is None else gap_m
    (gap,) = amounts(gap_m=apart)
    volts, holds = np.broadcast_arrays(missing_bond_v(loop, current_a, front_s, mast_ohm), AIR_V_PER_M * gap)
    return MissingBond(volts, holds, np.asarray(volts > holds))


def _factor(kind: str, of: str) -> float:
    rows = {row["for"]: row for row in read("upmast.earth", "separation_iec62305_3").rows if row["factor"] == kind}
    if of not in rows:
        raise ValueError(f"{of!r} is not known for {kind}; there are {', '.join(rows)}")
    return float(rows[of]["value"])


def separation_source() -> Source:
    """Where the factors of the separation distance come from, with the mark 'memory'."""
    return read("upmast.earth", "separation_iec62305_3").source


def separation_distance_m(length_m: ArrayLike, level: str, down_conductors: int = 1, between: str = "air") -> Array:
    """
    Distance that keeps an unbonded part from a side flash: `s = k_i / k_m k_c l`.

    Parameters
    ----------
    length_m [m]: l along the down conductor to the next bond, any shape. level: 'I' to 'IV'.
    down_conductors: 1, 2, or 3 and more. between: 'air' or 'solid'.

    Returns
    -------
    Distance [m]; where it is not kept, bond. Source: IEC 62305-3, 6.3 (from memory, `separation_source`).

    >>> float(separation_distance_m(20.0, "II", 3, "solid").round(3))
    1.056
    """
    (length,) = amounts(length_m=length_m)
    if not (down_conductors == int(down_conductors) and down_conductors >= 1):
        raise ValueError("there is at least one down conductor")
    k_c = _factor("k_c", str(min(int(down_conductors), 3)))
    return np.asarray(_factor("k_i", level) / _factor("k_m", between) * k_c * length)
