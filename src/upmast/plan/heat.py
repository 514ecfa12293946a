"""The least heat of a trunk that is judged by its section: what no line with it can beat, from the least currents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.power.cable_heat import CableHeat, conductor_c, pair_ampacity_a
from upmast.power.warmth import RUNAWAY_C, trunk_sun_w_per_m

Array = NDArray[np.float64]
# pairs in parallel don't share alike to the last percent: each is taken to carry a little less than its part
UNEVEN = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class Air:
    """Around the trunk in one scenario, with the least current that each radio draws there [radios]."""

    ambient_c: float
    sun_w_per_m2: float
    least_a: Array


@dataclass(frozen=True, slots=True, eq=False)
class LeastHeat:
    """Per radio [radios]: conductors of its pairs at least so warm, and what they carry at most: together, or on a bus the weakest."""

    theta_c: Array
    iz_a: Array


def least_heat(
    heat: CableHeat, ohm_per_km: float, limit_c: float, groups: Sequence[Sequence[int]], pairs_each: int, bussed_pairs: int,
    low: Air, hot: Air, returns: bool = True,
) -> LeastHeat:  # fmt: skip
    """
    Bounds for the radios of trunks of one kind; every temperature rises with every current, so least currents give them.

    Parameters
    ----------
    groups: radios of each trunk, in the order in which their pairs are joined. pairs_each: of a radio in a straight box;
    bussed_pairs: of a trunk to a bussed box, else 0. low: where the voltage is judged; hot: where the ampacity is.
    returns: whether the return wires carry all that comes back; False where shields may take part of it.
    """
    count = low.least_a.size
    theta, iz = np.zeros(count), np.zeros(count)
    cores = len(heat.section.x_m)
    for group in groups:
        if bussed_pairs:
            owner = {m: range(bussed_pairs) for m in group}
        else:
            owner = {m: range(k * pairs_each, (k + 1) * pairs_each) for k, m in enumerate(group)}

        def currents(least: Array, owner: dict[int, range] = owner) -> Array:
            pair = np.zeros(cores // 2)
            for m, own in owner.items():
                pair[list(own)] += least[m] / len(own) * (UNEVEN if len(own) > 1 else 1.0)
            wires = np.repeat(pair, 2)
            wires[1::2] *= returns
            return wires

        sun = float(trunk_sun_w_per_m(heat, low.sun_w_per_m2))
        warm = conductor_c(heat, currents(low.least_a), ohm_per_km, low.ambient_c, sun).conductor_c[0]
        sun = float(trunk_sun_w_per_m(heat, hot.sun_w_per_m2))
        most = pair_ampacity_a(heat, currents(hot.least_a), [ohm_per_km] * cores, hot.ambient_c, limit_c, sun)
        for m, own in owner.items():
            theta[m] = min(float(np.min(warm[[2 * p for p in own]])), RUNAWAY_C)
            # a breaker for each pair of a bus, one for all pairs of a radio
            iz[m] = float(most[list(own)].min() if bussed_pairs else most[list(own)].sum())
    return LeastHeat(theta, np.maximum(iz, 1e-3))  # never 0: margins are shares of it


__all__ = ["Air", "LeastHeat", "least_heat"]
