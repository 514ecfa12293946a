"""Following light through a chain of position maps."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.fibre.position import array_cable, array_mate, duplex_patch, fanin, fanout, lane_of

__all__ = ["end_positions", "lane_swaps", "method_stages", "walk_positions"]

Ints = NDArray[np.int64]
Method = Literal["A", "B", "C"]


def _stage(stage: ArrayLike) -> Ints:
    raw = np.asarray(stage)
    if raw.dtype.kind not in "iu" or raw.ndim < 1:
        raise ValueError("a stage is an array of whole numbers with positions along its last axis")
    if np.any(raw < 0):
        raise ValueError("positions can't be negative")
    return raw.astype(np.int64)


def walk_positions(stages: Sequence[ArrayLike]) -> Ints:
    """
    Position of every start position after each stage of a chain.

    Parameters
    ----------
    stages: position maps in order, positions along the last axis, other axes (many lines) broadcast. Stages may differ in
    size; a position that the next stage does not have is an error, 0 leads nowhere and stays 0.

    Returns
    -------
    Positions with a new first axis: entry 0 the start positions, entry k those after k stages.

    >>> walk_positions([[2, 1], [0, 5]])
    array([[1, 2],
           [2, 1],
           [5, 0]])
    """
    maps = [_stage(stage) for stage in stages]
    if not maps:
        raise ValueError("a chain needs at least one stage")
    lead = np.broadcast_shapes(*(one.shape[:-1] for one in maps))
    position = np.broadcast_to(np.arange(1, maps[0].shape[-1] + 1), (*lead, maps[0].shape[-1]))
    found = [position]
    for number, one in enumerate(maps, start=1):
        if np.any(position > one.shape[-1]):
            raise ValueError(f"stage {number} has {one.shape[-1]} positions, light arrives at {int(position.max())}")
        dark = np.zeros((*lead, 1), np.int64)
        padded = np.concatenate([dark, np.broadcast_to(one, (*lead, one.shape[-1]))], axis=-1)
        position = np.take_along_axis(padded, position, axis=-1)
        found.append(position)
    return np.stack(found)


def end_positions(stages: Sequence[ArrayLike]) -> Ints:
    """
    Where every start position of a chain ends: the composition of its maps, itself a map. 0 leads nowhere.

    Parameters
    ----------
    stages: as `walk_positions`.

    Returns
    -------
    End positions, in the broadcast shape with the positions of the first stage along the last axis.

    >>> end_positions(method_stages("A", 6))
    array([ 2,  1,  4,  3,  6,  5,  8,  7, 10,  9, 12, 11])
    """
    return np.asarray(walk_positions(stages)[-1])


def lane_swaps(stages: Sequence[ArrayLike]) -> Ints:
    """
    How often the light of every start position changes between odd and even positions on its way.

    Along duplex ports these are lanes, and a link of two fibres needs an odd number: sent on a, received on b.

    Parameters
    ----------
    stages: as `walk_positions`.

    Returns
    -------
    Counts, in the shape of `end_positions`; -1 where the light gets lost.

    >>> lane_swaps(method_stages("A", 2))
    array([1, 1, 1, 1])
    """
    walk = walk_positions(stages)
    swaps = np.abs(np.diff(lane_of(walk), axis=0)).sum(0)
    return np.asarray(np.where(walk[-1] == 0, -1, swaps))


def method_stages(method: Method, ports: int, n: int = 12) -> tuple[Ints, ...]:
    """
    Stages of one of the three array methods, from transceiver to transceiver.

    A: straight cable, opposed keys, one crossed patch and one straight. B: reversed cable, aligned keys, crossed patches;
    with all positions used the port order is reversed. C: cable with flipped pairs, opposed keys, crossed patches.

    Parameters
    ----------
    method: 'A', 'B' or 'C'. ports: duplex ports used, n / 2 at most. n: positions of the array connectors, 12 or 24.

    Source: TIA-568.3, methods A, B and C (from public reproductions; 24 positions from memory).

    >>> from upmast.fibre.position import port_of
    >>> port_of(end_positions(method_stages("B", 6)))[::2]
    array([6, 5, 4, 3, 2, 1])
    """
    if method not in ("A", "B", "C"):
        raise ValueError(f"there are the methods 'A', 'B' and 'C', not {method!r}")
    mate = array_mate("aligned" if method == "B" else "opposed", n)
    ends = fanin(n // 2, n) if method == "B" else fanin(ports, n)  # reversed order comes out at the last ports
    far = duplex_patch("A-A" if method == "A" else "A-B", n // 2)
    return duplex_patch("A-B", ports), fanout(ports, n), mate, array_cable(method, n), mate, ends, far
