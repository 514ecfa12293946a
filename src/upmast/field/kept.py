"""
What was computed last, so that matching, checking, judging and locating the same sweep do a thing once.

A few results are held, found again by the very objects that they belong to; nothing here changes what comes out.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import wraps
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from upmast.field.measurement import Sweep
from upmast.proof.rf_path import PathDesign

T = TypeVar("T")
LAST = 8  # sweeps; each with its picture holds some 100 kB
GRIDS = 256  # a site has some 40 paths, swept alike


def kept(work: Callable[[Sweep, PathDesign], T]) -> Callable[[Sweep, PathDesign], T]:
    """Do a work on a sweep and a path once, for paths that are alike together: only for results that name no path."""
    last: tuple[tuple[Sweep, PathDesign, T], ...] = ()

    @wraps(work)
    def once(sweep: Sweep, design: PathDesign) -> T:
        nonlocal last
        for one, path, result in last:
            if one is sweep and (path is design or path.alike == design.alike):
                return result
        result = work(sweep, design)
        last = ((sweep, design, result), *last[: LAST - 1])  # one assignment: threads may lose a result, never mix two
        return result

    return once


class ByGrid(Generic[T]):
    """Results that hang on a path and on the frequencies of a sweep alone, for the last paths and grids."""

    def __init__(self) -> None:
        self._known: dict[Hashable, tuple[PathDesign, NDArray[np.float64], T]] = {}

    def of(self, design: PathDesign, sweep: Sweep, condition: Hashable, make: Callable[[], T]) -> T:
        f = sweep.frequency_hz
        key = (design.id, f.size, sweep.span, condition)
        hit = self._known.get(key)
        if hit is not None and hit[0] is design and np.array_equal(hit[1], f):
            return hit[2]
        made = make()
        if len(self._known) >= GRIDS:
            self._known = {}
        self._known[key] = (design, f, made)
        return made
