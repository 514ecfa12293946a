"""Lead wires from places on one edge to places on another, with as few crossings as can be and no two on one level."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Wire:
    """A wire from x = a below to x = b above."""

    id: str
    a: float
    b: float


def _sides(group: Sequence[Wire]) -> tuple[list[Wire], list[Wire]]:
    """Wires that go left, the leftmost first; wires that go right or straight, the rightmost first."""
    left = sorted((w for w in group if w.b < w.a), key=lambda w: w.b)
    right = sorted((w for w in group if w.b >= w.a), key=lambda w: -w.b)
    return left, right


def _apart(groups: Sequence[Sequence[Wire]]) -> bool:
    """True if no two groups share a stretch of the width."""
    spans = sorted((min(min(w.a, w.b) for w in g), max(max(w.a, w.b) for w in g)) for g in groups)
    return all(a[1] < b[0] for a, b in itertools.pairwise(spans))


def levels_needed(groups: Sequence[Sequence[Wire]]) -> int:
    """How many levels the groups need together."""
    each = [max(len(side) for side in _sides(group)) for group in groups]
    return (max(each) if _apart(groups) else sum(each)) if each else 0


def route(groups: Sequence[Sequence[Wire]]) -> list[tuple[Wire, int]]:
    """
    Every wire with its level, 0 the lowest. In one group the wire that ends furthest out lies lowest, so that none cross.

    >>> [(w.id, level) for w, level in route([[Wire("p", 4, 0), Wire("q", 5, 2), Wire("r", 6, 9)]])]
    [('p', 0), ('q', 1), ('r', 0)]
    """
    out: list[tuple[Wire, int]] = []
    start, apart = 0, _apart(groups) if groups else True
    for group in groups:
        left, right = _sides(group)
        for side in (left, right):
            out += [(wire, start + level) for level, wire in enumerate(side)]
        if not apart:
            start += max(len(left), len(right))
    return out
