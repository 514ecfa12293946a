"""Where the clamps of a cable sit on its way, and what of the hardware of a line hangs on the mast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.line.line import HARDWARE, RUNS, Item, Line
from upmast.line.way import held_length_m, length_above_m, stretches_of
from upmast.site.site import Site
from upmast.support.schedule import clamp_schedule

Array = NDArray[np.float64]
SIGHT_M = 0.02  # a bond or loop this near to the foot of a run is at its foot


@dataclass(frozen=True, eq=False)
class ClampPlaces:
    """Clamps of one item on a cable: distance from the lower end of its clamped length, height, leg, and whether that is upright."""

    item: Item
    along_m: Array
    height_m: Array
    legs: tuple[str, ...]
    upright: NDArray[np.bool_]


def clamp_places(site: Site, cable: Item, items: Sequence[Item]) -> tuple[ClampPlaces, ...]:
    """
    Places of the clamps of each item on one cable, evenly over the length that it holds; none where the cable has no such length.

    Of two items on a run the upper, of plastic, holds the zone around antennas; its first clamp is one spacing above the last of steel.
    """
    held = held_length_m(site, cable)
    items = sorted(items, key=lambda i: (i.low_m, i.high_m))
    if not items or held <= 0:
        return ()
    run = cable.kind in RUNS
    edges, legs, heights, upright = _way(site, cable)
    stretches = [(0.0, held)] * len(items)
    if run and len(items) == 2:
        inside = min(length_above_m(site, cable, items[1].low_m), held)
        stretches = [(0.0, held - inside), (held - inside, held)]
    out = []
    for n, (item, (start, stop)) in enumerate(zip(items, stretches, strict=True)):
        along = start + _spread(stop - start, item.count, run, follows=run and n > 0 and stretches[n][0] > 0)
        which = np.clip(np.searchsorted(edges, along, side="left") - 1, 0, len(legs) - 1)
        z = np.interp(along, edges, heights)
        out.append(ClampPlaces(item, along, z, tuple(legs[int(w)] for w in which), np.array(upright, bool)[which]))
    return tuple(out)


def on_mast(site: Site, line: Line) -> dict[str, int]:
    """
    How many of each item of hardware hang on the mast.

    Of a run the clamps on its upright legs, its grips, and the bonds and loops above its foot with one bond at it; of everything else
    outside of the cabinet all.
    """
    out: dict[str, int] = {}
    mine: dict[str, list[Item]] = {}
    for item in line.items:
        if item.kind in HARDWARE:
            mine.setdefault(item.on, []).append(item)
    for on, items in mine.items():
        host = line.by_id.get(on)
        if on in ("CAB", "PLANT") or (host is not None and host.on == "CAB"):
            out |= {item.id: 0 for item in items}
            continue
        out |= {item.id: item.count for item in items}
        if host is None or host.kind not in RUNS:
            continue
        clamps = [item for item in items if item.kind == "clamp"]
        out |= {item.id: 0 for item in clamps}
        out |= {p.item.id: int(p.upright.sum()) for p in clamp_places(site, host, clamps)}
        foot = max(host.low_m, 0.0) + SIGHT_M
        out |= {item.id: 0 for item in items if item.kind == "loop" and item.low_m <= foot}
        low = [item for item in items if item.kind == "bond" and item.low_m <= foot]
        out |= {item.id: min(item.count, 1) if n == 0 else 0 for n, item in enumerate(low)}
    return out


def _spread(length_m: float, count: int, run: bool, follows: bool) -> Array:
    """Places of so many clamps on a length: a run has one at both ends, a jumper half a spacing from its connectors."""
    if count < 1 or length_m <= 0:
        return np.full(max(count, 0), max(length_m, 0.0) / 2)
    if follows:
        return np.asarray(length_m * np.arange(1, count + 1) / count)
    if run and count > 1:
        each, end = length_m / (count - 1), 0.0
    else:
        each, end = length_m / count, length_m / count / 2
    found = clamp_schedule(0.0, 0.0, length_m, each, end).along_m
    return np.asarray(found if found.size == count else np.linspace(end, length_m - end, count))


def _way(site: Site, cable: Item) -> tuple[Array, list[str], Array, list[bool]]:
    """Ends of the legs along the clamped length, their names, the heights there, and which are upright."""
    way = stretches_of(site, cable)
    edges = np.cumsum([0.0, *(one.length_m for one in way)])
    heights = np.array([cable.low_m, *(one.high_m for one in way)])
    return edges, [one.name for one in way], heights, [one.upright for one in way]


__all__ = ["ClampPlaces", "clamp_places", "on_mast"]
