"""
What any network still takes: the largest radio at a port, the room left at each, the longest run.

By a search on what passes: a load flow with all constraints, many candidates at a time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.checked import not_negative
from upmast.power.inverse import EXISTENCE, NOTHING, Answer, Margins
from upmast.power.network import Network, solve, thevenin

__all__ = ["Growth", "growth", "largest", "largest_radio_w", "longest_on_network_m", "network_margins"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Words = NDArray[np.str_]
_SECTIONS = 16
_TOLERANCE = 1e-10
_MOST_ROUNDS = 40


@dataclass(frozen=True, slots=True, eq=False)
class Growth:
    """Per port [m]: extra_w over its present power, governs, possible (the present load passes), and how many more radios."""

    extra_w: Array
    governs: Words
    possible: Mask
    more_radios: NDArray[np.intp]


def largest(
    margins: Callable[[Array], Margins], low: ArrayLike, high: ArrayLike, tolerance: float = _TOLERANCE
) -> Answer:
    """
    The largest x between two ends that passes, by sections; what passes at x passes at all below.

    Parameters
    ----------
    margins: called with x [r, p], answers for each. low, high [r]: ends of the search; infinite is not an end.
    tolerance: width of the last section relative to its upper end, at least to 1e-12 of the range; its lower end, which
        passes, is the answer.

    Returns
    -------
    Answer [r]: `high` and 'nothing' where that passes; `low` and `possible` False where that fails.

    Source: own derivation (bisection with more points).

    >>> def square(x):
    ...     return Margins(x < 10, 2 - x * x, np.full(x.shape, np.inf))
    >>> answer = largest(square, [0.0], [10.0])
    >>> round(float(answer.value[0]), 6), str(answer.governs[0])
    (1.414214, 'voltage')
    """
    a, b = (np.array(x, float) for x in np.broadcast_arrays(np.atleast_1d(low), np.atleast_1d(high)))
    if a.ndim != 1 or not np.all(np.isfinite(a)) or not np.all(np.isfinite(b)) or np.any(b < a) or not tolerance > 0:
        raise ValueError("the search needs finite ends, the lower one first, and a positive tolerance")
    ends = margins(np.stack([a, b], axis=1))
    possible, all_pass = ends.passes[:, 0], ends.passes[:, 1]
    governs = np.where(possible, ends.broken[:, 1], ends.broken[:, 0])
    least = np.maximum(1e-12 * np.maximum(np.abs(a), np.abs(b)), 1e-300)
    a, b = np.where(all_pass & possible, b, a), np.where(possible, b, a)
    part = np.arange(1, _SECTIONS) / _SECTIONS
    for _ in range(_MOST_ROUNDS):
        open_ = b - a > tolerance * np.maximum(np.abs(b), least)
        if not open_.any():
            break
        x = a[:, None] + (b - a)[:, None] * part
        now = margins(x)
        good = np.logical_and.accumulate(now.passes, axis=1)
        count = good.sum(axis=1)
        row = np.arange(a.size)
        fails = count < _SECTIONS - 1
        at = np.minimum(count, _SECTIONS - 2)
        governs = np.where(open_ & fails, now.broken[row, at], governs)
        new_a = np.where(count > 0, x[row, np.maximum(count - 1, 0)], a)
        new_b = np.where(fails, x[row, at], b)
        a, b = np.where(open_, new_a, a), np.where(open_, new_b, b)
    return Answer(a, np.where(all_pass & possible, NOTHING, governs), possible)


def network_margins(
    network: Network, power_w: ArrayLike, lowest_v: ArrayLike, ampacity_a: ArrayLike | None = None
) -> Margins:
    """
    Margins of a network per scenario: least over the loads that draw power, and over the branches with an ampacity.

    Parameters
    ----------
    network, power_w [W] [..., m]: as for `network.solve`. lowest_v [V] [m] or one for all. ampacity_a [A] [nb], inf for none.

    Source: load flow of `network.solve`.

    >>> pair = Network(4, [0, 1], [2, 3], [0.069, 0.069], 0, 1, 43.2, [2], [3])
    >>> network_margins(pair, [[700.0], [900.0]], 40.5).passes.tolist()
    [True, False]
    """
    power = np.asarray(power_w, float)
    (lowest,) = not_negative(lowest_v=lowest_v)
    flow = solve(network, power)
    loaded = np.broadcast_to(power, flow.port_v.shape) > 0
    spare = np.where(loaded, flow.port_v - lowest, np.inf).min(axis=-1, initial=np.inf)
    volts = np.where(flow.exists, spare, -np.inf)
    if ampacity_a is None:
        return Margins(flow.exists, volts, np.full(flow.exists.shape, np.inf))
    (ampacity,) = not_negative(ampacity_a=ampacity_a)
    cool = (ampacity - np.abs(flow.branch_a)).min(axis=-1, initial=np.inf)
    return Margins(flow.exists, volts, np.where(flow.exists, cool, -np.inf))


def largest_radio_w(
    network: Network,
    power_w: ArrayLike,
    radios: ArrayLike,
    lowest_v: ArrayLike,
    ampacity_a: ArrayLike | None = None,
) -> Answer:
    """
    Largest power at each of some ports, one at a time, with the others as they are.

    Parameters
    ----------
    network: without scenarios, its `emf_v` the lowest. power_w [W] [m]: what is on. radios [r]: ports asked about.
    lowest_v [V] [m] or one for all: required at each load that is on. ampacity_a [A] [nb]: of the branches, inf for none.

    Returns
    -------
    Answer in W [r]; infinite where nothing limits it; `possible` False where the others alone fail, or the port has no source.

    Source: own derivation: search between 0 and `Voc^2 / (4 Z_kk)`.

    >>> bars = Network(6, [0, 2, 2], [2, 3, 4], [0.02, 0.1, 0.2], 0, 1, 48.0, [3, 4], [1, 1])
    >>> largest_radio_w(bars, [600.0, 600.0], [0, 1], 40.0).value.round(1).tolist()
    [2575.1, 1406.8]
    """
    power = np.asarray(power_w, float)
    which = np.atleast_1d(np.asarray(radios, np.intp))
    m = network.port_plus.size
    if network.branch_ohm.ndim != 1 or network.emf_v.ndim or power.shape != (m,):
        raise ValueError(f"one line at a time, with a power for each of its {m} ports")
    if which.size and (which.min() < 0 or which.max() >= m):
        raise ValueError("radios names a port that doesn't exist")
    seen = thevenin(network)
    voc, own = seen.voc_v[which], np.diagonal(seen.z_ohm)[which]
    # no resistance at all: at the source itself, where no branch carries the load
    most = np.divide(voc * voc, 4 * own, out=np.full(voc.shape, np.inf), where=own > 0)
    fed = seen.supplied[which]
    most = np.where(fed, most, 0.0)
    endless = ~np.isfinite(most)

    def margins(x: Array) -> Margins:
        load = np.broadcast_to(power, (*x.shape, m)).copy()
        np.put_along_axis(load, np.broadcast_to(which[:, None, None], (*x.shape, 1)), x[..., None], axis=-1)
        return network_margins(network, load, lowest_v, ampacity_a)

    # just beyond the most that can exist, so that it is never the end of the search that answers
    answer = largest(margins, np.zeros(which.size), np.where(endless, 0.0, most * (1 + 1e-9)))
    possible = answer.possible & fed
    free = endless & possible
    value = np.where(free, np.inf, np.where(possible, answer.value, 0.0))
    return Answer(value, np.where(fed, np.where(free, NOTHING, answer.governs), EXISTENCE), possible)


def growth(
    network: Network,
    power_w: ArrayLike,
    lowest_v: ArrayLike,
    radio_w: float | None = None,
    ampacity_a: ArrayLike | None = None,
) -> Growth:
    """
    Room left at each port, one at a time: how many watts more, and how many more radios of a given power.

    Parameters
    ----------
    network, power_w, lowest_v, ampacity_a: as for `largest_radio_w`. radio_w [W]: power of one more radio; None: not asked,
        `more_radios` is then 0.

    Source: own derivation.

    >>> bars = Network(6, [0, 2, 2], [2, 3, 4], [0.02, 0.1, 0.2], 0, 1, 48.0, [3, 4], [1, 1])
    >>> room = growth(bars, [600.0, 600.0], 40.0, radio_w=500.0)
    >>> room.extra_w.round(1).tolist(), room.more_radios.tolist()
    ([1975.1, 806.8], [3, 1])
    """
    power = np.asarray(power_w, float)
    m = network.port_plus.size
    if radio_w is not None and not radio_w > 0:
        raise ValueError("radio_w must be positive")
    answer = largest_radio_w(network, power, np.arange(m), lowest_v, ampacity_a)
    possible = answer.possible & (answer.value >= power * (1 - 1e-9))
    extra = np.where(possible, np.maximum(answer.value - power, 0.0), 0.0)
    most = np.iinfo(np.intp).max
    more = np.zeros(m, np.intp)
    if radio_w is not None:
        count = np.floor(extra / radio_w * (1 + 1e-9))
        more = np.array([most if n >= most else int(n) for n in count], np.intp)
    return Growth(extra, answer.governs, possible, more)


def longest_on_network_m(
    network_of: Callable[[Array], Network],
    power_w: ArrayLike,
    lowest_v: ArrayLike,
    most_m: float,
    ampacity_a: ArrayLike | None = None,
) -> Answer:
    """
    Longest run on which every load of any network still passes.

    Parameters
    ----------
    network_of: makes the network for lengths [m] of any shape, which become the leading axes of its `branch_ohm`.
    power_w [W] [m], lowest_v [V] [m] or one for all, ampacity_a [A] [nb]: as for `network_margins`.
    most_m [m]: where to stop looking.

    Returns
    -------
    Answer in m, one value.

    Source: own derivation (search on what passes).

    >>> def pair(length):
    ...     wire = 1.83e-3 * length
    ...     return Network(4, [0, 1], [2, 3], np.stack([wire, wire], axis=-1), 0, 1, 43.2, [2], [3])
    >>> round(float(longest_on_network_m(pair, [1000.0], 40.5, 500.0).value[0]), 2)
    29.88
    """
    power = np.asarray(power_w, float)

    def margins(x: Array) -> Margins:
        return network_margins(network_of(x), power, lowest_v, ampacity_a)

    return largest(margins, [0.0], [most_m])
