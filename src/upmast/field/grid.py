"""
The frequencies of the last sweeps, so that sweeps over the same ones share one array: what hangs on it is found by the object itself.
"""

from __future__ import annotations

import numpy as np

from upmast.field.measurement import Floats

MOST_GRIDS, MOST_POINTS = 64, 20_000  # a site is swept with a few; all of them are 10 MB at most
_known: dict[tuple[int, float, float], Floats] = {}


def known_grid(frequency_hz: Floats) -> Floats | None:
    """The same frequencies, taken before and found sound; None if these are new."""
    if not frequency_hz.size:
        return None
    known = _known.get(_key(frequency_hz))
    return known if known is not None and np.array_equal(known, frequency_hz) else None


def keep_grid(frequency_hz: Floats) -> None:
    """Keep the checked frequencies of a sweep; nobody writes into them any more."""
    frequency_hz.setflags(write=False)
    if not 0 < frequency_hz.size <= MOST_POINTS:
        return
    if len(_known) >= MOST_GRIDS:
        _known.clear()
    _known[_key(frequency_hz)] = frequency_hz


def _key(frequency_hz: Floats) -> tuple[int, float, float]:
    return frequency_hz.size, float(frequency_hz[0]), float(frequency_hz[-1])
