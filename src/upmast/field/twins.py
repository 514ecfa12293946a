"""
The same evidence twice: copies of one sweep under two names, and sweeps of two paths that are as alike as two sweeps of one.

It is about files, never about people: a mixed-up port or name is the commonest cause. What is as alike as this asks for a look.
Like paths with two joints only can't be told from one path by their traces; then copies alone are found, and that is said.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from upmast.field.comment_words import words_of
from upmast.field.measurement import Complexes, Floats
from upmast.field.told import Swept, Told
from upmast.field.twin_model import Grid, Population, bins_of, fingerprints, grid_of, nearest_db, population
from upmast.proof.rf_path import PathDesign
from upmast.rf.likeness import LIKE

__all__ = ["ALARMS", "copied_days", "samples_digest", "twins"]

ALARMS = 0.02  # statements that are wrong, expected of all the pairs of one test compared at once
LEAST_CAUGHT = 0.2  # below it second sweeps are not told from like paths
BLOCK = 1024  # rows of one product of matrices
MOST_PAIRS = 20_000  # that are looked at closely, the nearest first
STRETCH_DB = 8.0  # a warmer day parts two sweeps of one path by so much before it is taken out
MOST_KNOWN = 256  # populations kept
COPY_SHARE = 0.15  # of the noise's energy that two sweeps must differ by: less, and the noise is the same
COPY_BINS = 8
COPY_LOOK_DB = -20.0
SAME_SAMPLES = "hold the same samples, noise included: two sweeps never do"
DAYS_REMEDY = "an export that was saved twice is the commonest cause: look which day is right, and sweep it again where that is not known"
REMEDY = "look at names and ports: one port may have been swept twice, or one file saved twice; sweep one of them again"

Pair = tuple[int, int]


def samples_digest(one: Swept) -> str:
    """Digest of the samples alone, to the seventh place, whatever name and format the file has."""
    sweep = one.sweep
    values = sweep.magnitude if sweep.magnitude_only else np.stack([sweep.gamma.real, sweep.gamma.imag])
    head = f"{sweep.points} {sweep.span[0]:.0f} {sweep.span[1]:.0f} {sweep.magnitude_only}".encode()
    return hashlib.sha256(head + (np.round(values, 7) + 0.0).tobytes()).hexdigest()


def twins(sweeps: Sequence[Swept], alarms: float = ALARMS, sites: Sequence[str] = ()) -> tuple[Told, ...]:
    """
    Every group of sweeps of different paths that hold the same evidence, as far as can be told.

    Parameters
    ----------
    sweeps : of one site or of many; ten thousand are compared in seconds.
    alarms : wrong statements expected among all pairs of one test and grid.
    sites : of each sweep, where they come from many; sweeps of one path of one site are never twins.
    """
    if sites and len(sites) != len(sweeps):
        raise ValueError("sites has one name for each sweep")
    paths = [f"{sites[k] if sites else ''} {one.path_id}" for k, one in enumerate(sweeps)]
    out, same = _copies(sweeps, paths)
    groups: dict[tuple[Grid, str], list[int]] = defaultdict(list)
    for k, one in enumerate(sweeps):
        groups[(grid_of(one.sweep), one.test)].append(k)
    untold: set[str] = set()
    for (grid, test), members in groups.items():
        if len(members) < 2 or grid.points < 16 or not grid.high_hz > grid.low_hz:
            continue
        rounded, like = _near(sweeps, paths, members, grid, test, same, alarms, untold)
        out += _told(sweeps, rounded, "hold the same noise, only rounded in another way: two sweeps never do")
        out += _told(sweeps, like, f"are {LIKE}")
    out += _same_moment(sweeps, paths, same)
    if untold:
        shown = ", ".join(sorted(untold)[:6]) + (f" and {len(untold) - 6} more" if len(untold) > 6 else "")
        out.append(
            Told(
                "twins", "note", f"like paths are too alike to tell by their traces whether one port was swept twice: {shown}; "
                "copies of a file are found",
                "a photo of the test lead at the labelled port, or serial and time in the file, tells", (), (),
            )
        )  # fmt: skip
    return tuple(out)


def _copies(sweeps: Sequence[Swept], paths: Sequence[str]) -> tuple[list[Told], set[Pair]]:
    """Files with the same samples under different tests."""
    by_digest: dict[str, list[int]] = defaultdict(list)
    for k, one in enumerate(sweeps):
        by_digest[samples_digest(one)].append(k)
    out: list[Told] = []
    same: set[Pair] = set()
    for members in by_digest.values():
        if len({(paths[k], sweeps[k].test_id) for k in members}) < 2:
            continue
        if len(members) <= 200:
            same |= {(a, b) for a in members for b in members if a < b}
        tests, files, shown = _names(sweeps, members)
        out.append(
            Told("twins", "warn", f"{shown} {SAME_SAMPLES}", REMEDY, tests, files)
        )  # fmt: skip
    return [*out, *_redated(sweeps, paths, by_digest.values())], same


def copied_days(sweeps: Sequence[Swept], days: Sequence[str | None]) -> dict[int, int]:
    """
    Sweeps of one test that have the samples of one of an earlier day, noise included: of each the place, and that of the earliest.

    Parameters
    ----------
    days : ISO day of each sweep, None or empty where it is not known; that of an unknown day is not put in order.
    """
    out: dict[int, int] = {}
    first: dict[tuple[str, str, str], int] = {}
    for k in sorted((k for k, day in enumerate(days) if day), key=lambda k: days[k] or ""):
        one = sweeps[k]
        earliest = first.setdefault((one.path_id, one.test_id, samples_digest(one)), k)
        if days[earliest] != days[k]:
            out[k] = earliest
    return out


def _redated(sweeps: Sequence[Swept], paths: Sequence[str], groups: Iterable[list[int]]) -> list[Told]:
    """One path and test, the same samples, and another day in each file: one of the days is not that of the sweep."""
    out = []
    for members in groups:
        of_test: dict[tuple[str, str], list[int]] = defaultdict(list)
        for k in members:
            of_test[paths[k], sweeps[k].test_id].append(k)
        for own in of_test.values():
            days = {k: words_of(sweeps[k].sweep).day[:10] for k in own} if len(own) > 1 else {}
            if len(set(days.values())) < 2:
                continue
            own.sort(key=lambda k: days[k])
            shown = ", ".join(f"{sweeps[k].sweep.file[:80]} ({days[k] or 'day unknown'})" for k in own[:4])
            shown += f" and {len(own) - 4} more" if len(own) > 4 else ""
            tests, files, _ = _names(sweeps, own)
            out.append(
                Told(
                    "twins",
                    "warn",
                    f"{tests[0]}: {shown} {SAME_SAMPLES}, and their days differ",
                    DAYS_REMEDY,
                    tests,
                    files,
                )
            )
    return out


def _near(
    sweeps: Sequence[Swept], names: Sequence[str], members: list[int], grid: Grid, test: str, same: set[Pair],
    alarms: float, untold: set[str],
) -> tuple[list[Pair], list[Pair]]:  # fmt: skip
    """Pairs that are one sweep rounded twice, and pairs as alike as two sweeps of one path; of one grid and test."""
    widest = bins_of(grid, max(sweeps[k].design.delay_s for k in members))
    if widest[1] - widest[0] < 2:
        return [], []
    rows: Complexes | Floats
    if grid.phase:
        rows = np.stack([sweeps[k].sweep.gamma for k in members]).astype(np.complex128)
    else:
        rows = np.stack([sweeps[k].sweep.magnitude for k in members]).astype(np.float64)
    prints = fingerprints(rows, widest)
    pairs_count = len(members) * (len(members) - 1) // 2
    chance = min(alarms / pairs_count, 0.01)
    paths = np.unique([names[k] for k in members], return_inverse=True)[1]
    limit: dict[object, float] = {}
    for k in members:
        design = sweeps[k].design
        if design.alike in limit:
            continue
        limit[design.alike] = -np.inf
        if test == "short":  # the short hides what tells paths apart
            continue
        pop = _known(grid, design, test)
        if pop is None:
            continue
        bound = pop.threshold_db(chance)
        if pop.caught(bound) >= LEAST_CAUGHT:
            limit[design.alike] = bound
    of_design: dict[object, list[int]] = defaultdict(list)
    for k in members:
        of_design[sweeps[k].design.alike].append(k)
    for alike, these in of_design.items():
        if limit[alike] == -np.inf and len({sweeps[k].path_id for k in these}) > 1:
            untold.update(sweeps[k].path_id for k in these)
    highest = max(limit.values())
    look = max(highest + STRETCH_DB, COPY_LOOK_DB)
    found = _candidates(prints, paths, look)
    if not found.size:
        return [], []
    noise = _noise(rows)
    rounded: list[Pair] = []
    like: list[Pair] = []
    for a, b in found.tolist():
        pair = (members[a], members[b])
        if pair in same or pair[::-1] in same:
            continue
        bins = bins_of(grid, max(sweeps[k].design.delay_s for k in pair))
        last = bins[1] - bins[0] + 1
        one, other = prints[a : a + 1, :last], prints[b : b + 1, :last]
        energy = 2.0 * last * min(noise[a], noise[b])
        if last >= COPY_BINS and float(np.sum(np.abs(one - other) ** 2)) < COPY_SHARE * energy:
            rounded.append(pair)
            continue
        bound = min(limit[sweeps[k].design.alike] for k in pair)
        if bound > -np.inf and float(nearest_db(one, other, bins, grid)[0]) <= bound:
            like.append(pair)
    return rounded, like


_POPULATIONS: dict[
    object, Population | None
] = {}  # made once for a path, a grid and an end; the same seed gives the same


def _known(grid: Grid, design: PathDesign, test: str) -> Population | None:
    key = (design.alike, grid, test)
    if key not in _POPULATIONS:
        if len(_POPULATIONS) >= MOST_KNOWN:
            _POPULATIONS.pop(next(iter(_POPULATIONS)))
        _POPULATIONS[key] = population(grid, design, test)
    return _POPULATIONS[key]


def _candidates(prints: Complexes, paths: NDArray[np.intp], look_db: float) -> NDArray[np.int64]:
    """Pairs of different paths whose rows differ by less than a bound, nearest first, in blocks of one matrix product each."""
    flat = np.concatenate([prints.real, prints.imag], axis=-1).astype(np.float32)
    own = np.sum(flat.astype(np.float64) ** 2, axis=-1).astype(np.float32)
    share = np.float32(10.0 ** (look_db / 10.0))
    kept: list[NDArray[np.int64]] = []
    values: list[NDArray[np.float32]] = []
    for start in range(0, flat.shape[0], BLOCK):
        stop = min(start + BLOCK, flat.shape[0])
        both = np.maximum(own[start:stop, None] + own[None, start:], np.float32(1e-30))
        off = np.float32(1.0) - np.float32(2.0) * (flat[start:stop] @ flat[start:].T) / both
        a, b = np.nonzero(off <= share)
        fine = (b > a) & (paths[start + a] != paths[start + b])
        a, b = a[fine], b[fine]
        kept.append(np.stack([start + a, start + b], axis=-1).astype(np.int64))
        values.append(off[a, b])
        if sum(len(k) for k in kept) > 4 * MOST_PAIRS:
            kept, values = _nearest(kept, values)
    kept, values = _nearest(kept, values)
    return kept[0]


def _nearest(
    kept: list[NDArray[np.int64]], values: list[NDArray[np.float32]]
) -> tuple[list[NDArray[np.int64]], list[NDArray[np.float32]]]:
    pairs, off = np.concatenate(kept), np.concatenate(values)
    order = np.argsort(off, kind="stable")[:MOST_PAIRS]
    return [pairs[order]], [off[order]]


def _noise(rows: Complexes | Floats) -> Floats:
    """Energy of the noise in one bin of each row, from the bins farthest from the line; 0 where nothing is there."""
    points = rows.shape[-1]
    far = fingerprints(rows, (points // 2 - points // 16, points // 2 + points // 16))
    return np.asarray(np.median(np.abs(far) ** 2, axis=-1) / np.log(2.0))


def _told(sweeps: Sequence[Swept], pairs: list[Pair], words: str) -> list[Told]:
    """One statement a group of files that hang together."""
    parent: dict[int, int] = {}

    def root(k: int) -> int:
        while parent.setdefault(k, k) != k:
            parent[k] = parent[parent[k]]
            k = parent[k]
        return k

    for a, b in pairs:
        parent[root(a)] = root(b)
    groups: dict[int, list[int]] = defaultdict(list)
    for k in sorted(parent):
        groups[root(k)].append(k)
    out = []
    for members in groups.values():
        tests, files, shown = _names(sweeps, members)
        out.append(Told("twins", "warn", f"{shown} {words}", REMEDY, tests, files))
    return out


def _names(sweeps: Sequence[Swept], members: Sequence[int]) -> tuple[tuple[str, ...], tuple[str, ...], str]:
    tests = tuple(dict.fromkeys(sweeps[k].test_id for k in members))
    files = tuple(dict.fromkeys(sweeps[k].sweep.file for k in members))
    parts = [f"{sweeps[k].test_id} ({sweeps[k].sweep.file[:80]})" for k in members[:4]]
    more = f" and {len(members) - 4} more" if len(members) > 4 else ""
    return tests, files, (", ".join(parts[:-1]) + f" and {parts[-1]}" if not more else ", ".join(parts) + more)


def _same_moment(sweeps: Sequence[Swept], paths: Sequence[str], same: set[Pair]) -> list[Told]:
    """Two files of different paths made by one instrument in the same second. Columns of one file share its head and don't count."""
    by_moment: dict[tuple[str, str], list[int]] = defaultdict(list)
    for k, one in enumerate(sweeps):
        said = words_of(one.sweep)
        if said.serial and len(said.time) >= 19:
            by_moment[(said.serial, said.time)].append(k)
    out = []
    for (serial, time), members in by_moment.items():
        apart = len({paths[k] for k in members}) > 1 and len({sweeps[k].sweep.digest for k in members}) > 1
        if apart and not all((a, b) in same for a in members for b in members if a < b):
            tests, files, shown = _names(sweeps, members)
            out.append(
                Told("twins", "note", f"{shown} say the same second ({time}) and the same instrument ({serial[:40]})", REMEDY, tests, files)
            )  # fmt: skip
    return out
