"""
Load flow of trees: a bussed box, boxes in cascade, straight pairs. The quick way where line and return run side by side.

A spur (pair or jumper of one radio) behind a bus at U takes `i(U) = 2 P / (U + s)`, `s = sqrt(U^2 - 4 r P)`, `di/dU = -i / s`:
convex and falling. What is left are the voltages of the buses, `U_b = U_parent - R_b sum(i of all spurs beyond b)`: as in
`newton`, Newton's method from the source voltage falls to the greatest solution, and each step lies between it and the last.

The step is eliminated from the ends of the tree towards the source. A pivot that is not positive, or a bus below the least
voltage of one of its spurs, `2 sqrt(r P)`, proves that there is no solution.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Bussed", "Tree", "TreeFlow", "bussed", "solve_tree"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
# Relative to the source voltage: a residual within the rounding of its terms, and the last step (the next would be its square).
_RESIDUAL, _STEP = 2e-15, 1e-12
# Scenarios taken at once times spurs: what the intermediate arrays take then fits a processor's cache.
_CHUNK = 2**16


@dataclass(frozen=True, slots=True, eq=False)
class Bussed:
    """
    What flows in a bussed box. Leading axes are scenarios.

    exists [...]: the high-voltage solution exists; proved either way. Where False all else is NaN.
    bus_v [...], feeder_a [...]; voltage_v, current_a [..., n] at the ends of the spurs.
    """

    exists: Mask
    bus_v: Array
    voltage_v: Array
    current_a: Array
    feeder_a: Array


@dataclass(frozen=True, slots=True, eq=False)
class Tree:
    """
    Which bus hangs on which, and which spur on which bus.

    Parameters
    ----------
    parent [b]: the bus that feeds each bus, -1 for the source; a parent stands before its children.
    spur_bus [n]: the bus on which each spur hangs, -1 for the source itself (a straight pair).

    Raises
    ------
    ValueError
        For a bus before its parent or that doesn't exist.
    """

    parent: NDArray[np.intp]
    spur_bus: NDArray[np.intp]

    def __init__(self, parent: Sequence[int] | NDArray[np.intp], spur_bus: Sequence[int] | NDArray[np.intp]) -> None:
        above, bus = (np.atleast_1d(np.asarray(x, np.intp)) for x in (parent, spur_bus))
        if np.any(above < -1) or np.any(above >= np.arange(above.size)):
            raise ValueError("a parent must be -1 (the source) or a bus before its child")
        if np.any(bus < -1) or np.any(bus >= above.size):
            raise ValueError("spur_bus names a bus that doesn't exist")
        object.__setattr__(self, "parent", above)
        object.__setattr__(self, "spur_bus", bus)


@dataclass(frozen=True, slots=True, eq=False)
class TreeFlow:
    """
    What flows in a tree. Leading axes are scenarios.

    exists [...]: the high-voltage solution exists; proved either way. Where False all else is NaN.
    bus_v, feeder_a [..., b]: voltage of each bus and current into it; voltage_v, current_a [..., n] at the ends of the spurs;
    source_a [...].
    """

    exists: Mask
    bus_v: Array
    feeder_a: Array
    voltage_v: Array
    current_a: Array
    source_a: Array


def bussed(source_v: ArrayLike, feeder_ohm: ArrayLike, spur_ohm: ArrayLike, power_w: ArrayLike) -> Bussed:
    """
    A box with one bus behind a feeder, and a constant-power load at the end of each spur.

    `U = V_s - R_f sum_k 2 P_k / (U + sqrt(U^2 - 4 r_k P_k))`.

    Parameters
    ----------
    source_v [V], feeder_ohm [ohm]: [...]; the feeder is the loop of line and return, all pairs in parallel.
    spur_ohm [ohm], power_w [W]: [..., n], loops of line and return.

    Returns
    -------
    Bussed, in the scenarios of all four broadcast against each other.

    Source: own derivation, checked against the general network.

    >>> box = bussed(46.0, 0.05, [0.02, 0.04], [500.0, 900.0])
    >>> [round(float(x), 4) for x in (box.bus_v, *box.voltage_v, box.feeder_a)]
    [44.4014, 44.175, 43.5752, 31.9726]
    """
    spur, power = np.asarray(spur_ohm, float), np.asarray(power_w, float)
    count = max(spur.shape[-1:] + power.shape[-1:], default=0)
    tree = Tree([-1], np.zeros(count, np.intp))
    flow = solve_tree(tree, source_v, np.asarray(feeder_ohm, float)[..., None], spur, power)
    return Bussed(flow.exists, flow.bus_v[..., 0], flow.voltage_v, flow.current_a, flow.feeder_a[..., 0])


def solve_tree(
    tree: Tree, source_v: ArrayLike, feeder_ohm: ArrayLike, spur_ohm: ArrayLike, power_w: ArrayLike
) -> TreeFlow:
    """
    Any tree of buses, with a constant-power load at the end of each spur, all scenarios at once.

    `U_b = U_parent - R_b J_b`, `J_b = sum(2 P / (U + sqrt(U^2 - 4 r P)))` over all spurs beyond b.

    Parameters
    ----------
    tree: of b buses and n spurs.
    source_v [V]: [...]; feeder_ohm [ohm]: loop into each bus, [..., b].
    spur_ohm [ohm], power_w [W]: loop and load of each spur, [..., n].

    Returns
    -------
    TreeFlow, in the scenarios of all four broadcast against each other.

    Raises
    ------
    ValueError
        For a negative, infinite or missing number. An open branch belongs into `network`.

    Source: own derivation, checked against the general network.

    >>> flow = solve_tree(Tree([-1, 0], [0, 1]), 48.0, [0.1, 0.1], [0.02, 0.02], [400.0, 500.0])
    >>> [round(float(x), 4) for x in (*flow.bus_v, *flow.voltage_v)]
    [46.0078, 44.8884, 45.8333, 44.6645]
    """
    source, *wide = (np.asarray(x, float) for x in (source_v, feeder_ohm, spur_ohm, power_w))
    names = ("source_v", "feeder_ohm", "spur_ohm", "power_w")
    for name, array in zip(names, (source, *wide), strict=True):
        if not np.all(array >= 0) or not np.all(np.isfinite(array)):
            raise ValueError(f"{name} can't be negative, infinite or missing")
    counts = (tree.parent.size, tree.spur_bus.size, tree.spur_bus.size)
    for name, array, count in zip(names[1:], wide, counts, strict=True):
        if array.ndim == 0 or array.shape[-1] not in (1, count):
            raise ValueError(f"{name} needs {count} on its last axis")
    shape = np.broadcast_shapes(source.shape, *(array.shape[:-1] for array in wide))
    size = int(np.prod(shape, dtype=int))
    flat = np.broadcast_to(source, shape).reshape(-1)
    feeder, spur, power = (_flat(array, shape, count) for array, count in zip(wide, counts, strict=True))
    b, n = tree.parent.size, tree.spur_bus.size
    exists = np.empty(size, bool)
    bus, through = np.empty((size, b)), np.empty((size, b))
    volts, amps = np.empty((size, n)), np.empty((size, n))
    total = np.empty(size)
    walk = _Walk(tree)
    chunk = max(_CHUNK // max(n, 1), 256)
    for start in range(0, size, chunk):
        part = slice(start, start + chunk)
        inputs = (np.ascontiguousarray(x[part if len(x) > 1 else slice(None)].T) for x in (feeder, spur, power))
        found, u, j, v, i = walk.settled(flat[part], *inputs)
        exists[part], bus[part], through[part], volts[part], amps[part] = found, u.T, j.T, v.T, i.T
        total[part] = i.sum(axis=0)
    return TreeFlow(
        exists.reshape(shape),
        bus.reshape(*shape, b),
        through.reshape(*shape, b),
        volts.reshape(*shape, n),
        amps.reshape(*shape, n),
        total.reshape(shape),
    )


def _flat(array: Array, shape: tuple[int, ...], count: int) -> Array:
    """[scenarios, count], or [1, count] where all scenarios are alike."""
    if int(np.prod(array.shape[:-1], dtype=int)) == 1 and int(np.prod(shape, dtype=int)) != 0:
        return np.broadcast_to(array.reshape(1, -1), (1, count))
    return np.broadcast_to(array, (*shape, count)).reshape(-1, count)


class _Walk:
    """One tree, walked from the ends to the source and back. Arrays are [buses or spurs, scenarios]."""

    def __init__(self, tree: Tree) -> None:
        self.parent: list[int] = tree.parent.tolist()
        self.spur_bus = tree.spur_bus
        self.spurs = [np.flatnonzero(tree.spur_bus == bus) for bus in range(tree.parent.size)]
        self.whole = len(self.spurs) == 1 and self.spurs[0].size == tree.spur_bus.size

    def gathered(self, values: Array, bus: int) -> Array:
        """Sum over the spurs of a bus."""
        return np.asarray((values if self.whole else values[self.spurs[bus]]).sum(axis=0))

    def before(self, source: Array, u: Array) -> Array:
        """Voltage at the near end of each spur."""
        if self.whole:
            return u
        return np.concatenate([u, source[None]])[self.spur_bus]  # -1 picks the source

    def through(self, current: Array) -> list[Array]:
        """Current into each bus."""
        out = [self.gathered(current, bus) for bus in range(len(self.parent))]
        for bus in range(len(out) - 1, -1, -1):
            if self.parent[bus] >= 0:
                out[self.parent[bus]] = out[self.parent[bus]] + out[bus]
        return out

    def settled(
        self, source: Array, feeder: Array, spur: Array, power: Array
    ) -> tuple[Mask, Array, Array, Array, Array]:
        """Existence, voltages of and currents into the buses, voltages and currents of the spurs."""
        size, count = source.size, len(self.parent)
        four = np.broadcast_to(4 * spur * power, (self.spur_bus.size, size))
        twice = np.broadcast_to(2 * power, four.shape)
        ohm = np.broadcast_to(feeder, (count, size))
        dead = source <= 0
        exists = ~dead | ~np.any(twice > 0, axis=0)
        answer = np.where(exists, source, np.nan) * np.ones((count, 1))
        active = np.flatnonzero(~dead)
        whole = active.size == size
        now = (source, four, twice, ohm) if whole else (source[active], *(x[:, active] for x in (four, twice, ohm)))
        u = np.repeat(now[0][None], count, axis=0)
        with np.errstate(invalid="ignore", divide="ignore"):
            # Each pass goes down by more than the last step allowed, or ends: NaN (a spur without solution) ends it, too.
            while active.size:
                step, residual, alive = self.step(u, *now)
                done = residual <= _RESIDUAL * now[0]
                step = np.where(done, 0.0, step)
                u = u - step
                alive = done | (alive & (u > 0).all(axis=0))
                done |= step.max(axis=0, initial=0.0) <= _STEP * now[0]
                ended = done | ~alive
                if ended.any():
                    exists[active[~alive]] = False
                    answer[:, active[ended]] = np.where(alive[ended], u[:, ended], np.nan)
                    keep = np.flatnonzero(~ended)
                    active, u = active[keep], u[:, keep]
                    now = (now[0][keep], *(x[:, keep] for x in now[1:]))
            # last: the current at the voltages found; also a spur of the source itself can be too much
            near = self.before(source, answer)
            square = near * near - four
            exists &= ~np.any((square < -1e-14 * near * near), axis=0)
            total = near + np.sqrt(np.maximum(square, 0.0))
            total[:, ~exists] = np.nan
            current = np.divide(twice, total, out=np.where(exists, 0.0, np.nan) * np.ones(four.shape), where=twice > 0)
        answer[:, ~exists] = np.nan
        through = np.where(exists, np.array(self.through(current)).reshape(count, size), np.nan)
        return exists, answer, through, total / 2, current

    def step(self, u: Array, source: Array, four: Array, twice: Array, ohm: Array) -> tuple[Array, Array, Mask]:
        """Fall of each bus in one step of Newton's method, largest residual, and whether a solution may lie below."""
        near = self.before(source, u)
        root = np.sqrt(near * near - four)
        current = twice / (near + root)
        through = self.through(current)
        steep = current / root
        alive = np.ones(source.size, bool)
        rows = range(len(self.parent))
        f = [u[b] - (u[p] if p >= 0 else source) + ohm[b] * through[b] for b, p in zip(rows, self.parent, strict=True)]
        # K_b, by which the current into b rises in the step: K_b = lift_b + gain_b d_parent
        lift: list[Array | float] = [0.0] * len(rows)
        gain: list[Array] = [self.gathered(steep, b) for b in rows]
        pivot = list(f)
        for b in reversed(rows):
            pivot[b] = 1 - ohm[b] * gain[b]
            alive &= pivot[b] > 0
            p = self.parent[b]
            if p >= 0:
                lift[p] = lift[p] + (lift[b] + gain[b] * f[b]) / pivot[b]
                gain[p] = gain[p] + gain[b] / pivot[b]
        fall = np.empty_like(u)
        for b in rows:
            p = self.parent[b]
            above = fall[p] if p >= 0 else 0.0
            fall[b] = (above + f[b] + ohm[b] * lift[b]) / pivot[b]
        residual = np.max(f, axis=0) if f else np.zeros(source.size)
        return fall, residual, alive
