"""
Position maps: where each fibre position of one end of a part comes out at its other end.

A map is an array of whole numbers, `map[p - 1] = q`, positions counting from 1; 0 means that it leads nowhere. The ends of
duplex ports are numbered along: port p has lane a at 2 p - 1 and lane b at 2 p. A transceiver sends on lane a.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source

__all__ = [
    "array_cable",
    "array_mate",
    "array_source",
    "duplex_patch",
    "fanin",
    "fanout",
    "inverse_map",
    "lane_of",
    "port_of",
]

Ints = NDArray[np.int64]
PatchKind = Literal["A-B", "A-A"]
CableKind = Literal["A", "B", "C"]
Keys = Literal["opposed", "aligned"]

COLUMNS = 12
_SIZES = (12, 24)
_MOST = 10_000


def _count(value: int, what: str) -> int:
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or not 1 <= value <= _MOST:
        raise ValueError(f"{what} must be a whole number from 1 to {_MOST}")
    return int(value)


def _size(n: int) -> int:
    if n not in _SIZES:
        raise ValueError(f"an array connector here has 12 or 24 positions, not {n}")
    return n


def _explicit(positions: Sequence[int], top: int, what: str) -> Ints:
    """Numbers from 1 to `top`, each at most once."""
    raw = np.asarray(positions)
    if raw.ndim != 1 or raw.dtype.kind not in "iu":
        raise ValueError(f"{what} must be a plain list of whole numbers")
    found = raw.astype(np.int64)
    if np.any(found < 1) or np.any(found > top):
        raise ValueError(f"{what} may only hold positions from 1 to {top}")
    if np.unique(found).size != found.size:
        raise ValueError(f"{what} uses a position twice")
    return found


def port_of(end: ArrayLike) -> Ints:
    """
    Port of a duplex end: ends 1 and 2 are port 1; 0 (dark) stays 0.

    >>> port_of([0, 1, 2, 11, 12])
    array([0, 1, 1, 6, 6])
    """
    return np.asarray((np.asarray(end, np.int64) + 1) // 2)


def lane_of(end: ArrayLike) -> Ints:
    """
    Lane of a duplex end: 0 for a (a transceiver sends), 1 for b (it receives).

    >>> lane_of([1, 2, 11, 12])
    array([0, 1, 0, 1])
    """
    return np.asarray((np.asarray(end, np.int64) + 1) % 2)


def duplex_patch(kind: PatchKind, ports: int = 1) -> Ints:
    """
    Map of duplex patch cords, one a port: `A-B` crosses the lanes, `A-A` keeps them.

    Source: TIA-568.3, duplex patch cords (from memory).

    >>> duplex_patch("A-B", 2), duplex_patch("A-A", 2)
    (array([2, 1, 4, 3]), array([1, 2, 3, 4]))
    """
    ends = np.arange(1, 2 * _count(ports, "the number of ports") + 1)
    if kind == "A-A":
        return ends
    if kind == "A-B":
        return ends + 1 - 2 * lane_of(ends)
    raise ValueError(f"a duplex patch is 'A-B' or 'A-A', not {kind!r}")


def fanout(ports: int, positions: int | None = None, order: Sequence[int] | None = None) -> Ints:
    """
    Map of a fan-out from duplex ports to an array connector: port p to positions 2 p - 1 (lane a) and 2 p (lane b).

    Parameters
    ----------
    ports: number of duplex ports. positions: of the array connector, 2 x ports by default; more leaves positions unused.
    order: any other fan-out, as the position of every duplex end in turn (2 x ports numbers, each once).

    Source: common practice, no source.

    >>> fanout(3)
    array([1, 2, 3, 4, 5, 6])
    >>> fanout(2, 12, [1, 12, 2, 11])
    array([ 1, 12,  2, 11])
    """
    ends = 2 * _count(ports, "the number of ports")
    top = ends if positions is None else _count(positions, "the number of positions")
    if top < ends:
        raise ValueError(f"{ports} duplex ports need {ends} positions, the connector has {top}")
    if order is None:
        return np.arange(1, ends + 1)
    if len(order) != ends:
        raise ValueError(f"a fan-out of {ports} ports lists {ends} positions, not {len(order)}")
    return _explicit(order, top, "the fan-out")


def inverse_map(positions: ArrayLike, size: int) -> Ints:
    """
    The map walked from its other end, which has `size` positions; those that nothing leads to are 0.

    >>> inverse_map([3, 1], 4)
    array([2, 0, 1, 0])
    """
    forward = np.asarray(positions, np.int64)
    size = _count(size, "the number of positions")
    if forward.ndim != 1:
        raise ValueError("a position map has one axis")
    lit = forward > 0
    _explicit(forward[lit].tolist() or [1], size, "the map")
    back = np.zeros(size, np.int64)
    back[forward[lit] - 1] = np.flatnonzero(lit) + 1
    return back


def fanin(ports: int, positions: int | None = None, order: Sequence[int] | None = None) -> Ints:
    """
    Map of the same fan-out from the array connector to the duplex ports; unused positions lead nowhere.

    >>> fanin(2, 6)
    array([1, 2, 3, 4, 0, 0])
    """
    return inverse_map(fanout(ports, positions, order), 2 * ports if positions is None else positions)


def array_cable(kind: CableKind | Sequence[int], n: int | None = None) -> Ints:
    """
    Map of a cable between two array connectors of n positions.

    Type A `i -> i`, type B `i -> n + 1 - i`, type C `i -> i + 1` (odd) or `i - 1` (even); or the list as measured.

    Parameters
    ----------
    kind: 'A', 'B', 'C', or n numbers from 1 to n, each once. n: 12 or 24; any number with an explicit list.

    Source: TIA-568.3, array connectivity; 24 positions from memory, see `array_source`: print the map, test continuity.

    >>> array_cable("B", 12)
    array([12, 11, 10,  9,  8,  7,  6,  5,  4,  3,  2,  1])
    >>> array_cable("C", 12)[:4]
    array([2, 1, 4, 3])
    """
    if not isinstance(kind, str):
        size = _count(len(kind), "the number of positions")
        if n is not None and n != size:
            raise ValueError(f"the list has {size} positions, the connector {n}")
        return _explicit(kind, size, "the list of positions")
    i = np.arange(1, _size(12 if n is None else n) + 1)
    if kind == "A":
        return i
    if kind == "B":
        return i[::-1].copy()
    if kind == "C":
        return i + 1 - 2 * lane_of(i)
    raise ValueError(f"an array cable is of type 'A', 'B', 'C' or an explicit list, not {kind!r}")


def array_source(n: int) -> Source:
    """
    Where the maps of array cables of n positions come from; those of 24 are marked 'memory'.

    >>> str(array_source(24).mark)
    'memory'
    """
    mark = Mark.CONFIRMED if _size(n) == 12 else Mark.MEMORY
    return Source("TIA-568.3", clause=f"array connectivity, {n} positions", mark=mark)


def array_mate(keys: Keys, n: int = 12) -> Ints:
    """
    Map of two mated array connectors, derived from their end faces.

    Looking at an end face with the key up, position 1 is top left and 13 bottom left, 12 to a row. The connector that faces
    it is seen from behind, as in a mirror: the column c becomes 11 - c. With opposed keys it is also turned by half a turn.

    Parameters
    ----------
    keys: 'opposed' (one key up, one down) or 'aligned' (both up). n: 12 or 24.

    Source: own derivation from the geometry of IEC 61754-7; checked in the tests by points in space.

    >>> array_mate("aligned", 12)
    array([12, 11, 10,  9,  8,  7,  6,  5,  4,  3,  2,  1])
    >>> array_mate("opposed", 24)[[0, 1, 11, 12, 23]]
    array([13, 14, 24,  1, 12])
    """
    rows = _size(n) // COLUMNS
    row, column = np.divmod(np.arange(n), COLUMNS)
    column = COLUMNS - 1 - column  # the mirror
    if keys == "opposed":
        row, column = rows - 1 - row, COLUMNS - 1 - column
    elif keys != "aligned":
        raise ValueError(f"keys are 'opposed' or 'aligned', not {keys!r}")
    return np.asarray(row * COLUMNS + column + 1, np.int64)
