"""
What was computed last, so that matching, checking, judging and locating the same sweep do a thing once.

A few results are held, found again by the very objects that they belong to; nothing here changes what comes out.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import wraps
from itertools import count
from typing import Generic, TypeVar

from upmast.field.grid import known_grid
from upmast.field.measurement import Floats, Sweep
from upmast.proof.rf_path import PathDesign

T = TypeVar("T")
LAST = 8  # sweeps; each with its picture holds some 100 kB
RESULTS = 512  # a site has some 40 paths, with some joints each
GRIDS = 64  # a site is swept with a few


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
        self._known: dict[Hashable, tuple[PathDesign, T]] = {}

    def of(self, design: PathDesign, sweep: Sweep, condition: Hashable, make: Callable[[], T]) -> T:
        key = (design.id, _grid_of(sweep), condition)
        hit = self._known.get(key)
        if hit is not None and hit[0] is design:
            return hit[1]
        made = make()
        if len(self._known) >= RESULTS:
            self._known = {}
        self._known[key] = (design, made)
        return made


_grids: dict[bytes, int] = {}
_arrays: dict[int, tuple[Floats, int]] = {}  # most sweeps share the array itself, see `grid`
_numbers = count()


def _grid_of(sweep: Sweep) -> int:
    """A number that sweeps share if and only if their frequencies are the same; looked up once for a sweep."""
    known: int | None = sweep.__dict__.get("_grid")
    if known is None:
        f = sweep.frequency_hz
        hit = _arrays.get(id(f))
        if hit is not None and hit[0] is f:
            known = hit[1]
        else:
            if len(_grids) >= GRIDS:
                _grids.clear()
                _arrays.clear()
            known = _grids.setdefault(f.tobytes(), next(_numbers))
            if known_grid(f) is f:
                _arrays[id(f)] = f, known
        sweep.__dict__["_grid"] = known  # as functools.cached_property does
    return known
