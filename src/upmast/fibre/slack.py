"""Slack loops: which numbers of turns store a length between two radii."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["SlackLoops", "helix_radius_m", "missing_length_m", "slack_loops", "slack_radius_m"]

Array = NDArray[np.float64]
_MOST_TURNS = 10_000
_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class SlackLoops:
    """Solutions, largest radius first: whole turns n, and their radius. twist_deg: of a cable with fixed ends."""

    turns: NDArray[np.int64]
    radius_m: Array

    @property
    def twist_deg(self) -> Array:
        """One turn of twist for each whole turn laid the same way round; none in a figure of eight."""
        return np.asarray(self.turns * 360.0, np.float64)


def _checked(slack_m: float, least_m: float, most_m: float, exit_fraction: float) -> None:
    if not (math.isfinite(slack_m) and slack_m >= 0):
        raise ValueError("slack can't be negative")
    if not (math.isfinite(most_m) and 0 < least_m <= most_m):
        raise ValueError("radii must be positive, the least not above the largest")
    if not 0 <= exit_fraction < 1:
        raise ValueError("the exit is a fraction of a turn from 0 to below 1")
    if slack_m / (2 * math.pi * least_m) > _MOST_TURNS:
        raise ValueError(f"more than {_MOST_TURNS} turns: check slack and radius")


def slack_radius_m(slack_m: ArrayLike, turns: ArrayLike, exit_fraction: ArrayLike = 0.0) -> Array:
    """
    Radius of a round loop: `R = S / (2 pi (n + f))`.

    Parameters
    ----------
    slack_m [m]: S, stored length. turns: n. exit_fraction [1]: f, 0 leaves onward, 1/2 backwards, 1/4 at a right angle.

    Returns
    -------
    Radius [m] in the broadcast shape. Source: geometry.

    >>> slack_radius_m(5.0, [3, 4, 5]).round(4)
    array([0.2653, 0.1989, 0.1592])
    """
    s, n, f = (np.asarray(x, float) for x in (slack_m, turns, exit_fraction))
    if np.any(s < 0) or np.any(n < 0) or np.any(f < 0) or np.any(n + f <= 0):
        raise ValueError("slack, turns and exit can't be negative, and there must be some turn")
    return np.asarray(s / (2 * math.pi * (n + f)))


def slack_loops(slack_m: float, least_m: float, most_m: float, exit_fraction: float = 0.0) -> SlackLoops:
    """
    All loops that store a length: every n with `R = S / (2 pi (n + f))` between the two radii.

    Parameters
    ----------
    slack_m [m]: S. least_m [m]: R_min of the cable, never to be gone below. most_m [m]: R_max of the place.
    exit_fraction [1]: f. Scalars.

    Returns
    -------
    `SlackLoops`, empty where none fits; see `missing_length_m` then. Source: geometry.

    >>> found = slack_loops(5.0, 0.15, 0.30, 0.5)
    >>> found.turns, found.radius_m.round(4)
    (array([3, 4]), array([0.2274, 0.1768]))
    """
    _checked(slack_m, least_m, most_m, exit_fraction)
    first = math.ceil(slack_m / (2 * math.pi * most_m) - exit_fraction - _TOLERANCE)
    last = math.floor(slack_m / (2 * math.pi * least_m) - exit_fraction + _TOLERANCE)
    lowest = 1 if exit_fraction == 0 else 0
    turns = np.arange(max(first, lowest), last + 1, dtype=np.int64)
    return SlackLoops(turns, slack_radius_m(slack_m, turns, exit_fraction) if turns.size else np.empty(0))


def missing_length_m(slack_m: float, least_m: float, most_m: float, exit_fraction: float = 0.0) -> float:
    """
    Least length to be added so that some loop fits: 0 where one does. A radius is never made smaller instead.

    Parameters
    ----------
    As `slack_loops`.

    Returns
    -------
    Length [m]. Source: geometry.

    >>> round(missing_length_m(1.0, 0.25, 0.30), 4), missing_length_m(5.0, 0.15, 0.30)
    (0.5708, 0.0)
    """
    if slack_loops(slack_m, least_m, most_m, exit_fraction).turns.size:
        return 0.0
    n = max(1 if exit_fraction == 0 else 0, math.floor(slack_m / (2 * math.pi * least_m) - exit_fraction) + 1)
    return 2 * math.pi * least_m * (n + exit_fraction) - slack_m


def helix_radius_m(radius_m: ArrayLike, pitch_m: ArrayLike) -> Array:
    """
    Radius of curvature of a helix: `R + p^2 / (4 pi^2 R)`.

    Parameters
    ----------
    radius_m [m]: R of its cylinder. pitch_m [m]: p, advance in one turn. Broadcast.

    Returns
    -------
    Radius [m], never below R. Source: geometry.

    >>> float(helix_radius_m(0.2, 0.4).round(4))
    0.2203
    """
    r, p = np.asarray(radius_m, float), np.asarray(pitch_m, float)
    if np.any(~(r > 0)) or np.any(p < 0):
        raise ValueError("the radius must be positive and the pitch can't be negative")
    return np.asarray(r + p**2 / (4 * math.pi**2 * r))
