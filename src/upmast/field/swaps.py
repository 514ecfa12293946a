"""
Paths exchanged: sweeps that fit each other's names better than their own, by their content alone.

Each sweep is scored on each path of the design; the best assignment of all sweeps to paths is compared with their names. Only what both
sides gain by clearly is said. Paths that are alike in the design can't be told apart by any sweep; then it is said what would tell.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.field.delays import end_delay_s
from upmast.field.match import match_among
from upmast.field.measurement import Floats, Sweep
from upmast.field.setup import uncovered
from upmast.field.told import Swept, Told
from upmast.number import number
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign, path_designs
from upmast.rf.distance import distance_from_delay_m

__all__ = ["assignment", "swaps"]

LEAST = 0.02  # of a score, as in the match
STAY = 0.1  # log of what a name weighs: paths that are alike keep theirs
SWEPT = (
    0.05  # log of what it weighs that a path was swept: an exchange goes before two sweeps of paths that nobody names
)
EACH, ALL = 2.0, 6.0  # factors by which each sweep and a whole exchange must fit better; own trials, see the tests
MOST_SWEEPS = 300  # of one site and test; the cost goes with the cube
MOST_PATHS = 600


def assignment(cost: ArrayLike) -> NDArray[np.intp]:
    """
    The column of each row at the least total cost, each column taken once at most: shape (rows,).

    Parameters
    ----------
    cost : finite, shape (rows, columns), not more rows than columns.

    Source: Kuhn 1955 and Munkres 1957, by shortest augmenting paths with potentials.

    >>> assignment([[4.0, 1.0, 3.0], [2.0, 0.0, 5.0], [3.0, 2.0, 2.0]]).tolist()
    [1, 0, 2]
    """
    c = np.asarray(cost, dtype=np.float64)
    if c.ndim != 2 or c.shape[0] > c.shape[1] or not np.all(np.isfinite(c)):
        raise ValueError("cost is a finite table with not more rows than columns")
    rows, columns = c.shape
    u, v = np.zeros(rows + 1), np.zeros(columns + 1)
    taken = np.zeros(columns + 1, dtype=np.intp)  # row of each column, from 1; column 0 is the start
    way = np.zeros(columns + 1, dtype=np.intp)
    for row in range(1, rows + 1):
        taken[0] = row
        at = 0
        least = np.full(columns + 1, np.inf)
        used = np.zeros(columns + 1, dtype=np.bool_)
        while True:
            used[at] = True
            reduced = c[taken[at] - 1] - u[taken[at]] - v[1:]
            better = ~used[1:] & (reduced < least[1:])
            least[1:][better] = reduced[better]
            way[1:][better] = at
            free = np.where(used[1:], np.inf, least[1:])
            to = int(np.argmin(free)) + 1
            step = free[to - 1]
            u[taken[used]] += step
            v[used] -= step
            least[~used] -= step
            at = to
            if taken[at] == 0:
                break
        while at:
            taken[at] = taken[way[at]]
            at = int(way[at])
    out = np.empty(rows, dtype=np.intp)
    for column in range(1, columns + 1):
        if taken[column]:
            out[taken[column] - 1] = column - 1
    return out


def swaps(proof: Proof, sweeps: Sequence[Swept]) -> tuple[Told, ...]:
    """
    Exchanges of paths among the sweeps of one site, test by test, and sweeps that fit another path which has none.

    Of several sweeps of one test the last one counts.
    """
    designs = path_designs(proof.line)
    by_test: dict[str, dict[str, Swept]] = defaultdict(dict)
    for one in sweeps:
        by_test[one.test][one.path_id] = one
    out: list[Told] = []
    for test, of_path in sorted(by_test.items()):
        known = {d.id for d in designs}
        # of a path whose bands were not swept nothing is known but that: no exchange is read from it
        rows = [one for id, one in sorted(of_path.items()) if id in known and not uncovered(one.sweep, one.design)]
        if rows and len(rows) <= MOST_SWEEPS and len(designs) <= MOST_PATHS:
            out.extend(_of_test(rows, designs, test))
        elif rows:
            out.append(
                Told(
                    "swaps", "note", f"{len(rows)} sweeps are too many to look for exchanged paths at once",
                    "judge the sweeps of one sector at a time", (), (),
                )
            )  # fmt: skip
    out.extend(_alike(designs, {id for of_path in by_test.values() for id in of_path}))
    return tuple(out)


def scores(rows: Sequence[Swept], designs: Sequence[PathDesign], test: str) -> Floats:
    """How well the content of each sweep fits a test of each path, 0.02 to 1: shape (sweeps, paths)."""
    at = {design.id: k for k, design in enumerate(designs)}
    out = np.full((len(rows), len(designs)), LEAST)
    for i, one in enumerate(rows):
        for candidate in match_among(designs, one.sweep).candidates:
            if candidate.test == test:
                out[i, at[candidate.path_id]] = max(candidate.score, LEAST)
    return out


def _of_test(rows: Sequence[Swept], designs: Sequence[PathDesign], test: str) -> list[Told]:
    named = [next(k for k, d in enumerate(designs) if d.id == one.path_id) for one in rows]
    gain = np.log(scores(rows, designs, test))
    cost = -gain
    cost[:, named] -= SWEPT
    cost[np.arange(len(rows)), named] -= STAY
    best = assignment(cost)
    out: list[Told] = []
    seen: set[int] = set()
    row_of = {path: i for i, path in enumerate(named)}
    for i in range(len(rows)):
        if i in seen or best[i] == named[i]:
            continue
        chain = [i]  # each goes to the path of the next; a cycle comes back, a chain ends at a path without a sweep
        while (after := row_of.get(int(best[chain[-1]]))) is not None and after not in chain:
            chain.append(after)
        whole = row_of.get(int(best[chain[-1]])) == i
        if not whole and any(int(best[k]) == named[i] for k in range(len(rows)) if k not in chain):
            continue  # its head comes later
        seen.update(chain)
        better = [float(gain[k, best[k]] - gain[k, named[k]]) for k in chain]
        if min(better) < math.log(EACH) or sum(better) < math.log(ALL):
            continue
        out.append(_exchange([rows[k] for k in chain], [designs[int(best[k])] for k in chain], whole, better))
    return out


def _exchange(rows: list[Swept], to: list[PathDesign], whole: bool, better: list[float]) -> Told:
    tests, files = tuple(r.test_id for r in rows), tuple(r.sweep.file for r in rows)
    lengths = "; ".join(
        f"{r.path_id} shows {_seen(r.sweep, d)}, designed {number(r.design.length_m, 'm')}, and {d.id} has {number(d.length_m, 'm')}"
        for r, d in zip(rows[:4], to[:4], strict=True)
    )
    factor = math.exp(min(better))
    if whole:
        names = " and ".join(r.path_id for r in rows) if len(rows) == 2 else ", ".join(r.path_id for r in rows)
        words = f"{names} seem exchanged: {lengths}; each fits better by a factor of {factor:.0f} or more"
        remedy = (
            "look whether the files or the cables are exchanged: the labels at both ends, then sweep one of them again"
        )
    else:
        words = f"the sweep of {rows[0].path_id} fits {to[0].id} better: {lengths}"
        remedy = "look at which port the test lead was, and whether the cables go where their labels say"
    return Told("swaps", "warn", words, remedy, tests, files)


def _seen(sweep: Sweep, design: PathDesign) -> str:
    delay = end_delay_s(sweep)
    if delay is None:
        return "no length"
    v = [s.velocity_fraction for s in design.sections]
    return number(float(distance_from_delay_m(delay, [s.length_m for s in design.sections], v)), "m")


def _alike(designs: Sequence[PathDesign], swept: set[str]) -> list[Told]:
    """Paths that no sweep tells apart, of those that were swept: one note for all."""
    groups: dict[object, list[str]] = defaultdict(list)
    for design in designs:
        if design.id in swept:
            groups[design.alike].append(design.id)
    same = [ids for ids in groups.values() if len(ids) > 1]
    if not same:
        return []
    shown = "; ".join(", ".join(ids[:6]) + (f" and {len(ids) - 6} more" if len(ids) > 6 else "") for ids in same[:4])
    return [
        Told(
            "swaps", "note", f"whether these paths are exchanged can't be told by a sweep, they are alike in the design: {shown}",
            "trace the labels at both ends; a load taken off the far end of one path shows at the port that it belongs to; jumpers "
            "of different lengths would tell every time",
            (), (),
        )
    ]  # fmt: skip
