"""
What was computed once, so that matching, checking, judging and locating the same sweep do a thing once; nothing here changes what comes out.

kept : of a sweep and a path, held with the sweep. ByGrid : of a path and frequencies, for all sweeps over the same ones.
together : of sweeps over the same frequencies alone, one by one or many in one go.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import Any, Generic, TypeVar

from upmast.field.grid import known_grid
from upmast.field.measurement import Floats, Sweep
from upmast.proof.rf_path import PathDesign

T = TypeVar("T")
RESULTS = 512  # a site has some 40 paths of a few kinds, with some joints each
GRIDS = 64  # a site is swept with a few
KINDS = 4096


class Mark:
    """What things of one kind share: itself alone, also after it was sent to another process."""

    __slots__ = ()


_kinds: dict[object, Mark] = {}


def kind_of(design: PathDesign) -> Mark:
    """A mark that paths share only if they are alike, see `PathDesign.alike`."""
    known: Mark | None = design.__dict__.get("_kind")
    if known is None:
        if len(_kinds) >= KINDS:
            _kinds.clear()
        known = design.__dict__["_kind"] = _kinds.setdefault(design.alike, Mark())  # as functools.cached_property does
    return known


class Kept(Generic[T]):
    """A work on a sweep and a path, done once for paths that are alike together."""

    def __init__(self, work: Callable[[Sweep, PathDesign], T]) -> None:
        self._work = work
        self._name = f"{work.__module__}.{work.__qualname__}"
        self.__doc__ = work.__doc__

    def __call__(self, sweep: Sweep, design: PathDesign) -> T:
        mine: dict[Mark, T] | None = sweep.__dict__.get(self._name)
        kind = kind_of(design)
        if mine is None:
            mine = sweep.__dict__[self._name] = {}
        elif kind in mine:
            return mine[kind]
        result = mine[kind] = self._work(sweep, design)
        return result

    def has(self, sweep: Sweep, design: PathDesign) -> bool:
        return kind_of(design) in sweep.__dict__.get(self._name, ())

    def put(self, sweep: Sweep, design: PathDesign, result: T) -> None:
        """Keep a result that was computed with those of other sweeps."""
        sweep.__dict__.setdefault(self._name, {})[kind_of(design)] = result


def kept(work: Callable[[Sweep, PathDesign], T]) -> Kept[T]:
    """Do a work on a sweep and a path once, for paths that are alike together: only for results that name no path."""
    return Kept(work)


class ByGrid(Generic[T]):
    """Results that hang on the kind of a path and on the frequencies of a sweep alone; they name no path."""

    def __init__(self) -> None:
        self._known: dict[Hashable, T] = {}

    def of(self, design: PathDesign, sweep: Sweep, condition: Hashable, make: Callable[[], T]) -> T:
        try:  # of most, all three are known
            return self._known[design.__dict__["_kind"], sweep.__dict__["_grid"], condition]
        except KeyError:
            key = (kind_of(design), _grid_of(sweep), condition)
        if key in self._known:
            return self._known[key]
        made = make()
        if len(self._known) >= RESULTS:
            self._known = {}
        self._known[key] = made
        return made


_grids: dict[bytes, Mark] = {}
_arrays: dict[int, tuple[Floats, Mark]] = {}  # most sweeps share the array itself, see `grid`


def _grid_of(sweep: Sweep) -> Mark:
    """A mark that sweeps share only if their frequencies are the same; looked up once for a sweep."""
    known: Mark | None = sweep.__dict__.get("_grid")
    if known is None:
        f = sweep.frequency_hz
        hit = _arrays.get(id(f))
        if hit is not None and hit[0] is f:
            known = hit[1]
        else:
            if len(_grids) >= GRIDS:
                _grids.clear()
                _arrays.clear()
            known = _grids.setdefault(f.tobytes(), Mark())
            if known_grid(f) is f:
                _arrays[id(f)] = f, known
        sweep.__dict__["_grid"] = known  # as functools.cached_property does
    return known


class Together(Generic[T]):
    """A work that is done on one sweep when it is asked for, or on many before."""

    def __init__(self, work: Callable[[Sequence[Sweep]], Iterable[T]]) -> None:
        self._work = work
        self._name = f"{work.__module__}.{work.__qualname__}"
        self.__doc__ = work.__doc__

    def __call__(self, sweep: Sweep) -> T:
        known: dict[str, Any] = sweep.__dict__
        if self._name not in known:
            (known[self._name],) = self._work([sweep])
        result: T = known[self._name]
        return result

    def prepare(self, sweeps: Sequence[Sweep]) -> None:
        """Do it for all of some sweeps over the same frequencies."""
        for sweep, result in zip(sweeps, self._work(sweeps), strict=True):
            sweep.__dict__[self._name] = result


def together(work: Callable[[Sequence[Sweep]], Iterable[T]]) -> Together[T]:
    """Do a work on sweeps over the same frequencies in one go: what comes out is the same as one by one."""
    return Together(work)


def grouped(sweeps: Iterable[Sweep]) -> list[list[Sweep]]:
    """Sweeps over the same frequencies together, those without phase apart."""
    out: dict[Hashable, list[Sweep]] = defaultdict(list)
    for sweep in sweeps:
        out[_grid_of(sweep), sweep.magnitude_only].append(sweep)
    return list(out.values())
