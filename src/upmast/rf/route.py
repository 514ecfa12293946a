"""The least length of a jumper between two ports in space: bends no tighter than it bears, a drip loop, a first clamp."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Route", "Stock", "drip_route", "route_length", "stock_length"]

Array = NDArray[np.float64]
TURNS_MOST = 400
TOLERANCE_M = 1e-9


class Route(NamedTuple):
    """Length, and whether a plain way of bend, straight, bend exists for each stretch; if not, the length is NaN."""

    length_m: float
    found: bool


class Stock(NamedTuple):
    """
    The next stock length, and what is left of it.

    left_m: beside the least. coil: more is left than one turn bears, it must be laid in a loop; short: the length is below the least,
    the ports would carry its pull.
    """

    length_m: float
    left_m: float
    coil: bool
    short: bool


def _unit(value: Array) -> Array:
    size = float(np.linalg.norm(value))
    if not size > 0:
        raise ValueError("a direction has a length")
    return np.asarray(value / size)


def _stretch(start: Array, out: Array, end: Array, into: Array, radius: float) -> float:
    """
    Length of bend, straight, bend from `start` in direction `out` to `end` in direction `into`; NaN where there is no such way.

    A bend of angle t from one unit vector to another moves by `R tan(t / 2) (a + b)` and is R t long. The direction of the straight
    is the fixed point of what is left between the two bends.
    """
    whole = end - start
    u = whole / max(float(np.linalg.norm(whole)), 1e-12)
    for _ in range(TURNS_MOST):
        first, second = _bend(out, u, radius), _bend(u, into, radius)
        if first is None or second is None:
            return math.nan
        rest = whole - first[0] - second[0]
        size = float(np.linalg.norm(rest))
        if size < 1e-12:
            return first[1] + second[1] if np.allclose(rest, 0, atol=1e-9) else math.nan
        new = rest / size
        # half a step: plain iteration swings to and fro where the ports are near
        step = _unit(u + new) if float(np.dot(u, new)) > -0.999 else new
        if float(np.linalg.norm(new - u)) < TOLERANCE_M:
            return float(first[1] + size + second[1])
        u = step
    return math.nan


def _bend(a: Array, b: Array, radius: float) -> tuple[Array, float] | None:
    cosine = float(np.clip(np.dot(a, b), -1.0, 1.0))
    if cosine < -0.9999:  # turned right back: no plane of its own
        return None
    angle = math.acos(cosine)
    return np.asarray(radius * math.tan(angle / 2) * (a + b)), radius * angle


def route_length(points_m: ArrayLike, directions: ArrayLike, radius_m: float, straight_m: ArrayLike = 0.0) -> Route:
    """
    Length of a cable through points with given directions, no bend tighter than a radius.

    Each stretch is bend, straight, bend; at the first and last point the connector keeps the cable straight for a while.

    Parameters
    ----------
    points_m [m]: (n, 3), two or more: first port, clamps, last port. directions: (n, 3), in which the cable runs there, from the
    first port on. radius_m [m]: least, at rest. straight_m [m]: behind the first and before the last port, one value or two.

    Returns
    -------
    `Route`. A straight between two bends is the shortest way of bounded bend where the ports are some radii apart; nearer ones may
    have a shorter way of bends alone, which is not looked for: the length is then on the safe side.

    Source: own derivation; L. E. Dubins 1957 for the plane.

    >>> found = route_length([[0, 0, 0], [1, 0, 1]], [[1, 0, 0], [0, 0, 1]], 0.1)
    >>> round(found.length_m, 4)  # along the diagonal, with an eighth of a circle at both ends
    1.4299
    """
    points, ways = np.asarray(points_m, float), np.asarray(directions, float)
    if points.ndim != 2 or points.shape[1] != 3 or points.shape != ways.shape or points.shape[0] < 2:
        raise ValueError("points_m and directions are (n, 3), two or more")
    if not (np.all(np.isfinite(points)) and np.all(np.isfinite(ways)) and radius_m > 0):
        raise ValueError("finite points and a radius above 0")
    first, last = np.broadcast_to(np.asarray(straight_m, float), (2,))
    if first < 0 or last < 0:
        raise ValueError("straight_m may not be negative")
    units = np.array([_unit(way) for way in ways])
    moved = points.copy()
    moved[0] = points[0] + first * units[0]
    moved[-1] = points[-1] - last * units[-1]
    total = float(first + last)
    for a in range(points.shape[0] - 1):
        part = _stretch(moved[a], units[a], moved[a + 1], units[a + 1], radius_m)
        if math.isnan(part):
            return Route(math.nan, False)
        total += part
    return Route(total, True)


def drip_route(
    start_m: ArrayLike, start_way: ArrayLike, end_m: ArrayLike, end_way: ArrayLike, radius_m: float, drip_m: float,
    straight_m: ArrayLike = 0.0,
) -> Route:  # fmt: skip
    """
    The same with a drip loop: between the ports the cable runs through a lowest point, level there, that much below the lower port.

    The lowest point is looked for along the line between the ports; the shortest of 41 places counts.

    Parameters
    ----------
    start_m, end_m [m]: ports, (3,), z upwards. start_way: out of the first port. end_way: into the last one. drip_m [m]: depth.

    Returns
    -------
    `Route`. Source: own derivation; that rain drips off at a lowest point: common practice, no source.

    >>> found = drip_route([0, 0, 0], [0, 0, -1], [0.6, 0, 0.5], [0, 0, 1], 0.1, 0.15)
    >>> round(found.length_m, 3)
    1.035
    """
    start, end = np.asarray(start_m, float), np.asarray(end_m, float)
    if start.shape != (3,) or end.shape != (3,) or not drip_m >= 0:
        raise ValueError("two points of three coordinates and a depth that is not negative")
    flat = np.array([end[0] - start[0], end[1] - start[1], 0.0])
    if not float(np.linalg.norm(flat)) > 0:
        raise ValueError("ports one above the other need no drip loop of their own: a bend at the lower one does")
    low = min(float(start[2]), float(end[2])) - drip_m
    best = math.inf
    for share in np.linspace(0.1, 0.9, 41):
        middle = start + share * flat
        middle[2] = low
        found = route_length(
            [start, middle, end], [np.asarray(start_way, float), flat, np.asarray(end_way, float)], radius_m, straight_m
        )
        if found.found:
            best = min(best, found.length_m)
    return Route(best, True) if math.isfinite(best) else Route(math.nan, False)


def stock_length(least_m: float, stock_m: ArrayLike, radius_m: float, have_m: float | None = None) -> Stock:
    """
    The shortest stock length that reaches, or what is to be said of one that is there.

    Parameters
    ----------
    least_m [m]: of the route. stock_m [m]: lengths that can be had. radius_m [m]: least of the cable. have_m [m]: the one that is there.

    Returns
    -------
    `Stock`; a length of NaN where none reaches. coil: what is left is longer than one turn of the least radius.

    >>> stock_length(1.62, [1.0, 2.0, 3.0], 0.08)
    Stock(length_m=2.0, left_m=0.3799999999999999, coil=False, short=False)
    >>> stock_length(1.62, [3.0], 0.08).coil, stock_length(1.62, [3.0], 0.08, have_m=1.5).short
    (True, True)
    """
    if not (least_m > 0 and radius_m > 0):
        raise ValueError("least_m and radius_m lie above 0")
    if have_m is not None:
        return Stock(have_m, have_m - least_m, have_m - least_m > 2 * math.pi * radius_m, have_m < least_m)
    stock = np.sort(np.atleast_1d(np.asarray(stock_m, float)))
    fits = stock[stock >= least_m - 1e-12]
    if not fits.size:
        return Stock(math.nan, math.nan, False, True)
    length = float(fits[0])
    return Stock(length, length - least_m, length - least_m > 2 * math.pi * radius_m, False)
