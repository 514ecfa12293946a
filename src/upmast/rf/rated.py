"""How much of its power ratings each part of a path uses: average and peak of cables, joints and two-ports, and which governs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from upmast.rf.rating import average_rating_w, envelope_peak_w, peak_rating_w

__all__ = ["PathPower", "RatedPart", "Used", "average_used", "peak_used"]


@dataclass(frozen=True, slots=True)
class RatedPart:
    """
    The ratings of one part of a path.

    part: its name; what: cable, joint or two-port. rated_w at rated_hz and rated_ambient_c, hottest_c inside; None: not given. root,
    linear: how its loss goes with frequency, both 0 where the rating holds in its whole band. peak_w: likewise None. sources: field, document and mark of each value.
    """

    part: str
    what: str
    rated_w: float | None
    rated_hz: float
    rated_ambient_c: float
    hottest_c: float
    root: float
    linear: float
    peak_w: float | None
    sources: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class PathPower:
    """What a path carries: average power and the powers of its carriers [W], highest frequency, height above the sea, worst VSWR."""

    sent_w: float
    carriers_w: tuple[float, ...]
    frequency_hz: float
    altitude_m: float
    vswr: float


@dataclass(frozen=True, slots=True)
class Used:
    """
    The part whose rating is used up most: what it bears on this day, and what comes, in W; the share in per cent.

    missing: parts that give no such rating.
    """

    part: RatedPart | None
    bears_w: float
    comes_w: float
    share_percent: float
    missing: tuple[str, ...]


def _most(rows: list[tuple[RatedPart, float]], comes_w: float, missing: tuple[str, ...]) -> Used:
    if not rows:
        return Used(None, math.nan, comes_w, math.nan, missing)
    part, bears = min(rows, key=lambda row: row[1])
    return Used(part, bears, comes_w, 100.0 * comes_w / bears if bears > 0 else math.inf, missing)


def average_used(parts: tuple[RatedPart, ...], power: PathPower, air_c: float) -> Used:
    """
    Which average rating is used up most: `upmast.rf.rating.average_rating_w` of each part, the sheath's temperature as its air.

    Raises
    ------
    ValueError
        As that function does.
    """
    rows = []
    for one in parts:
        if one.rated_w is None:
            continue
        at, root = (one.rated_hz, one.root) if one.root or one.linear else (power.frequency_hz, 1.0)
        bears = average_rating_w(
            one.rated_w, at, power.frequency_hz, root, one.linear, one.hottest_c, one.rated_ambient_c, air_c,
            power.altitude_m, power.vswr,
        )  # fmt: skip
        rows.append((one, float(bears)))
    return _most(rows, power.sent_w, tuple(f"rated_w of {one.part}" for one in parts if one.rated_w is None))


def peak_used(parts: tuple[RatedPart, ...], power: PathPower) -> Used:
    """Which peak rating is used up most, all carriers at their crest at once: `upmast.rf.rating.peak_rating_w`."""
    rows = [
        (one, float(peak_rating_w(one.peak_w, power.altitude_m, power.vswr))) for one in parts if one.peak_w is not None
    ]
    comes = float(envelope_peak_w(np.array(power.carriers_w))) if power.carriers_w else 0.0
    return _most(rows, comes, tuple(f"rated_peak_w of {one.part}" for one in parts if one.peak_w is None))
