"""Length-coded jumpers: lengths by which an instrument tells the sectors apart, so that a swap shows."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import RadioPart, RfCable
from upmast.errors import UsageError
from upmast.rf.bands import band
from upmast.rf.distance import resolution_m
from upmast.rf.lengths import VELOCITY_TOLERANCE
from upmast.rf.matched import coded_lengths
from upmast.site.site import Radio

UP_TO_M = 0.05  # made lengths in steps of this


def told_apart_m(radios: Sequence[Radio], part: RfCable, catalogue: Catalogue) -> float:
    """How far an instrument tells two ends apart that sweeps the bands of these radios: v / (2 B)."""
    edges: list[float] = []
    for radio in radios:
        own = catalogue.get(radio.part, RadioPart).bands
        for name in own:
            found = band(name)
            edges += [float(e) for way in (found.uplink_hz, found.downlink_hz) if way is not None for e in way]
        edges += [c.centre_hz + side * c.width_hz / 2 for c in radio.carriers for side in (-1, 1)]
    span = max(edges, default=0.0) - min(edges, default=0.0)
    return float(resolution_m(max(span, 1e6), part.velocity_fraction))


def code_lengths(part: RfCable, needs_m: Sequence[float], apart_m: float, who: str) -> list[float]:
    """
    A length for each of some groups, by `upmast.rf.matched.coded_lengths`: made ones rounded up, or the next stock lengths that keep apart.

    Raises
    ------
    UsageError
        If the part can't be had in so many lengths.
    """
    least = np.array([need + part.length_tolerance_m for need in needs_m])
    order = [int(n) for n in np.argsort(least, kind="stable")]
    if not part.stock_lengths_m:
        codes = coded_lengths(least, np.arange(least.size), apart_m, part.length_tolerance_m, VELOCITY_TOLERANCE)
        made = [0.0] * least.size
        last = -math.inf
        for n in order:
            wanted = float(codes.length_m[n])
            while wanted - last < _apart(apart_m, part, wanted):
                wanted += UP_TO_M
            last = made[n] = round(math.ceil(wanted / UP_TO_M - 1e-9) * UP_TO_M, 3)
        if last > part.longest_m:
            raise UsageError(
                f"coded jumpers of {who} need up to {last:g} m of {part.id}, which can be had up to {part.longest_m:g} m"
            )
        return made
    out = [0.0] * len(needs_m)
    taken: list[float] = []
    for n in order:
        apart = [
            s for s in sorted(part.stock_lengths_m)
            if s >= least[n] - 1e-9 and all(abs(s - t) >= _apart(apart_m, part, max(s, t)) for t in taken)
        ]  # fmt: skip
        if not apart:
            raise UsageError(
                f"coded jumpers of {who}: the stock lengths of {part.id} don't give {len(needs_m)} that an instrument tells apart ({apart_m:.2f} m); "
                "take a part that is made to length, or jumper_lengths: routed"
            )
        out[n] = apart[0]
        taken.append(apart[0])
    return out


def _apart(resolution: float, part: RfCable, length_m: float) -> float:
    """Distance that two lengths keep: what an instrument tells apart, both cuts, and the spread of the velocity."""
    return resolution + 2 * part.length_tolerance_m + 2 * VELOCITY_TOLERANCE * length_m


__all__ = ["code_lengths", "told_apart_m"]
