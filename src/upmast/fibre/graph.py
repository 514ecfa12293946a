"""
Light through a graph of fibre ends.

A node is one position of one port. Two matchings join nodes: `mate` across a joint, `through` inside a part; -1 where there is
none. Light from a transceiver goes across a joint, through a part, across the next joint, until it stops.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["MOST_PARTS", "Light", "follow_light", "is_matching"]

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
MOST_PARTS = 64  # more parts in series than this is taken as a ring


class Light(NamedTuple):
    """
    Where light goes.

    nodes: every node passed, the sender first, then in turn the node across each joint and the one at the other side of each
    part, -1 after the end; shape (2 x parts + 2, ..., K). end: the last node. arrived: it stops at a port that is joined, not
    at an open end. ring: it never stops.
    """

    nodes: Ints
    end: Ints
    arrived: Bools
    ring: Bools


def is_matching(partner: ArrayLike) -> Bools:
    """
    Whether each node's partner has that node as its own partner: nothing is used twice and light goes both ways.

    Parameters
    ----------
    partner: nodes along the last axis, -1 where there is none; other axes are wirings.

    Returns
    -------
    True a node. A node without a partner is sound. Source: definition of a matching.

    >>> is_matching([1, 0, -1, 1])
    array([ True,  True,  True, False])
    """
    at = np.asarray(partner, np.int64)
    if at.ndim < 1 or np.any(at < -1) or np.any(at >= at.shape[-1]):
        raise ValueError("partners are nodes from 0, or -1")
    back = np.take_along_axis(at, np.maximum(at, 0), axis=-1)
    return np.asarray((at < 0) | (back == np.arange(at.shape[-1])))


def follow_light(mate: ArrayLike, through: ArrayLike, start: ArrayLike, inward: bool = False) -> Light:
    """
    Follow light from many nodes at once, through many wirings at once.

    Parameters
    ----------
    mate, through: partner of each node along the last axis, -1 where there is none; other axes are wirings and broadcast.
    start: nodes that send, shape (K,). inward: begin with the part behind the start, not with the joint before it: from the
    open port of a spare strand.

    Returns
    -------
    `Light`; shapes with the wirings' axes before K.

    Raises
    ------
    ValueError
        If a partner or a start is not a node.

    Source: own derivation: a walk that alternates between two matchings visits no node twice unless it is a ring.

    >>> found = follow_light([1, 0, 3, 2], [-1, 2, 1, -1], [0, 3])
    >>> found.end, found.arrived
    (array([3, 0]), array([ True,  True]))
    >>> found.nodes[:, 0]
    array([ 0,  1,  2,  3, -1])
    """
    across, inside, first = (np.asarray(x, np.int64) for x in (mate, through, start))
    if across.ndim < 1 or inside.ndim < 1 or across.shape[-1] != inside.shape[-1] or first.ndim != 1:
        raise ValueError("mate and through need one entry a node, start is one list of nodes")
    size = across.shape[-1]
    for one in (across, inside, first):
        if one.size and (one.min() < -1 or one.max() >= size):
            raise ValueError(f"nodes count from 0 to {size - 1}, -1 is none")
    if first.size and first.min() < 0:
        raise ValueError("a start is a node")
    lead = np.broadcast_shapes(across.shape[:-1], inside.shape[:-1])
    shape = (*lead, first.size)
    # one entry more: the partner of no node (-1) is no node
    none = np.full((*lead, 1), -1, np.int64)
    steps = [
        np.concatenate([np.broadcast_to(one, (*lead, size)), none], axis=-1)
        for one in ((inside, across) if inward else (across, inside))
    ]
    here = np.broadcast_to(first, shape).copy()
    end, arrived = here.copy(), np.zeros(shape, np.bool_)
    nodes = [here]
    for step in range(2 * MOST_PARTS):
        here = np.take_along_axis(steps[step % 2], here, axis=-1)
        nodes.append(here)
        moved = here >= 0
        if not moved.any():
            return Light(np.stack(nodes), end, arrived, np.zeros(shape, np.bool_))
        end = np.where(moved, here, end)
        crossed = (step % 2 == 1) if inward else (step % 2 == 0)
        arrived = np.where(moved, crossed, arrived)
    return Light(np.stack(nodes), end, arrived & (here < 0), np.asarray(here >= 0))
