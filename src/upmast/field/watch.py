"""
Watch folders for files that are new or have changed, and hand them on once nobody writes to them any more.

Polling, so that it works on any disk, a network one or a stick too. A file counts as whole when its size and time have stood still for
a while; a file is handed on again only when its content can have changed.
"""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

STABLE_S = 1.0  # a file that has stood still this long is whole: common practice, no source
EVERY_S = 0.5
MOST_WATCHED = 20_000
MOST_DEPTH = 32
State = tuple[int, int, int]  # size, time of change [ns], place on the disk


def states(given: Sequence[Path]) -> dict[Path, State]:
    """Size and time of every plain file that was given or lies in a folder that was given; links are not followed inside."""
    out: dict[Path, State] = {}
    for path in given:
        if path.is_dir():
            for found, status in _plain(path, 0):
                out[found] = _state(status)
                if len(out) >= MOST_WATCHED:
                    return out
        elif path.is_file():
            out[path] = _state(path.stat())
    return out


def _state(status: os.stat_result) -> State:
    return status.st_size, status.st_mtime_ns, status.st_ino


def _plain(folder: Path, depth: int) -> Iterator[tuple[Path, os.stat_result]]:
    try:
        with os.scandir(folder) as found:
            entries = sorted(found, key=lambda one: one.name)
    except OSError:
        return  # it went away, or may not be read: the next round tries again
    for one in entries:
        try:
            status = one.stat(follow_symlinks=False)
        except OSError:
            continue
        if stat.S_ISDIR(status.st_mode) and depth < MOST_DEPTH:
            yield from _plain(Path(one.path), depth + 1)
        elif stat.S_ISREG(status.st_mode):
            yield Path(one.path), status


def watch(
    given: Sequence[Path], *, stop: Callable[[], bool] = lambda: False, stable_s: float = STABLE_S, every_s: float = EVERY_S,
    now: Callable[[], float] = time.monotonic, sleep: Callable[[float], None] = time.sleep,
) -> Iterator[tuple[Path, ...]]:  # fmt: skip
    """
    Files that have come or changed and have stood still, again and again until `stop`.

    Parameters
    ----------
    stop : asked after every look; True ends the watch.
    stable_s : how long a file must stand still. [s]
    every_s : time between two looks. [s]
    now, sleep : the clock, for tests.
    """
    since: dict[Path, tuple[State, float]] = {}
    given_on: dict[Path, State] = {}
    while True:
        seen = states(given)
        moment = now()
        ready: list[Path] = []
        for path, state in seen.items():
            before = since.get(path)
            if before is None or before[0] != state:
                since[path] = (state, moment)
            if moment - since[path][1] >= stable_s and given_on.get(path) != state:
                given_on[path] = state
                ready.append(path)
        for gone in since.keys() - seen.keys():
            del since[gone]
            given_on.pop(gone, None)
        if ready:
            yield tuple(ready)
        if stop():
            return
        sleep(every_s)


__all__ = ["EVERY_S", "STABLE_S", "states", "watch"]
