"""
2,000 random networks within 3 % of collapse, on either side: none without solution is called feasible, none with one refused.

The truth comes from another method: the branch of solutions from no load is followed along its arc, through the fold, on
Thevenin matrices made here from the nodal equations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from upmast.power.loads import Loads
from upmast.power.network import Network, Solution, solve

COUNT, PORTS, UNIT_V, STEP = 2000, 6, 48.0, 0.03


@dataclass
class Wires:
    """Branches between nodes (0 and 1 are the source) and the two nodes of each load."""

    ends: list[tuple[int, int]]
    ohm: list[float]
    ports: list[tuple[int, int]]
    nodes: int = 2

    def wire(self, rng: np.random.Generator, a: int, b: int, least: float, most: float, parallel: int = 1) -> None:
        """One wire, or several unequal ones in parallel."""
        for _ in range(parallel):
            self.ends.append((a, b))
            self.ohm.append(float(rng.uniform(least, most)))

    def pair(
        self, rng: np.random.Generator, at: tuple[int, int], least: float, most: float, parallel: int
    ) -> tuple[int, int]:
        plus, minus = self.nodes, self.nodes + 1
        self.nodes += 2
        self.wire(rng, at[0], plus, least, most, parallel)
        self.wire(rng, minus, at[1], least, most, parallel)
        return plus, minus


def random_wires(rng: np.random.Generator) -> Wires:
    """Straight, bussed, or boxes in cascade; pairs single or unequal in parallel; a shield bonded to the return sometimes."""
    wires = Wires([], [], [])
    wires.wire(rng, 0, 2, 0.002, 0.02)
    wires.nodes = 3
    bars = (2, 1)
    kind = rng.integers(3)
    boxes = [bars]
    if kind == 1:
        boxes = [wires.pair(rng, bars, 0.02, 0.2, int(rng.integers(1, 4)))]
    elif kind == 2:
        for _ in range(int(rng.integers(2, 4))):
            at = boxes[int(rng.integers(len(boxes)))]
            boxes.append(wires.pair(rng, at, 0.02, 0.2, int(rng.integers(1, 3))))
    if kind and rng.random() < 0.4:
        wires.wire(rng, boxes[-1][1], 1, 0.05, 0.5)
    for _ in range(int(rng.integers(1, PORTS + 1))):
        wires.ports.append(wires.pair(rng, boxes[int(rng.integers(len(boxes)))], 0.005, 0.25, 1))
    return wires


def seen_from_ports(wires: Wires, emf: float) -> tuple[np.ndarray, np.ndarray]:
    """Voc and Z from the inverse of the nodal matrix, node by node."""
    laplacian = np.zeros((wires.nodes, wires.nodes))
    for (a, b), ohm in zip(wires.ends, wires.ohm, strict=True):
        for i, j, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            laplacian[i, j] += sign / ohm
    inverse = np.linalg.inv(laplacian[2:, 2:])
    free = -inverse @ laplacian[2:, 0] * emf
    look = np.zeros((len(wires.ports), wires.nodes - 2))
    for k, (plus, minus) in enumerate(wires.ports):
        look[k, plus - 2], look[k, minus - 2] = 1, -1
    return look @ free, look @ inverse @ look.T


class Branch:
    """The solutions of `v = voc - Z (share P / v + I_0 + G v)` as a curve in (v, share), all networks at once."""

    def __init__(self, voc: np.ndarray, z: np.ndarray, power: np.ndarray, current: np.ndarray, siemens: np.ndarray):
        self.voc, self.z, self.power, self.current, self.siemens = voc, z, power, current, siemens
        idle = np.linalg.solve(
            np.eye(voc.shape[1]) + z * siemens[:, None, :], (voc - np.einsum("sij,sj->si", z, current))[..., None]
        )
        self.start = np.concatenate([idle[..., 0], np.zeros((voc.shape[0], 1))], axis=1)

    def residual(self, x: np.ndarray) -> np.ndarray:
        v, share = x[:, :-1], x[:, -1:]
        draw = share * self.power / v + self.current + self.siemens * v
        return v - self.voc + np.einsum("sij,sj->si", self.z, draw)

    def bordered(self, x: np.ndarray, last: np.ndarray) -> np.ndarray:
        """Derivatives by (v, share), and a last row."""
        v, share = x[:, :-1], x[:, -1:]
        n = v.shape[1]
        matrix = np.empty((v.shape[0], n + 1, n + 1))
        matrix[:, :n, :n] = np.eye(n) + self.z * (self.siemens - share * self.power / v**2)[:, None, :]
        matrix[:, :n, n] = np.einsum("sij,sj->si", self.z, self.power / v)
        matrix[:, n] = last
        return matrix

    def tangent(self, x: np.ndarray, before: np.ndarray) -> np.ndarray:
        right = np.zeros(x.shape)
        right[:, -1] = 1
        along = np.linalg.solve(self.bordered(x, before), right[..., None])[..., 0]
        return along / np.linalg.norm(along, axis=1, keepdims=True)

    def moved(self, x: np.ndarray, along: np.ndarray, step: np.ndarray) -> np.ndarray:
        """A step along the tangent, back to the curve at right angles to it."""
        target = x + along * step[:, None]
        new = target.copy()
        for _ in range(8):
            error = np.concatenate([self.residual(new), ((new - target) * along).sum(axis=1, keepdims=True)], axis=1)
            new = new - np.linalg.solve(self.bordered(new, along), error[..., None])[..., 0]
            if np.abs(error).max() < 1e-13:
                break
        return new

    def fold(self) -> np.ndarray:
        """(v, share) where the share is largest: the curve is followed until it turns back, then the turn is closed in on."""
        upwards = np.zeros(self.start.shape)
        upwards[:, -1] = 1
        base = self.start.copy()
        base_along = self.tangent(base, upwards)
        climbing = np.arange(base.shape[0])
        for _ in range(120):
            part = Branch(*(y[climbing] for y in (self.voc, self.z, self.power, self.current, self.siemens)))
            new = part.moved(base[climbing], base_along[climbing], np.full(climbing.size, STEP))
            along = part.tangent(new, base_along[climbing])
            on = along[:, -1] > 0
            climbing = climbing[on]
            base[climbing], base_along[climbing] = new[on], along[on]
            if not climbing.size:
                break
        assert not climbing.size
        low, high = np.zeros(base.shape[0]), np.full(base.shape[0], STEP)
        for _ in range(26):
            middle = (low + high) / 2
            at = self.moved(base, base_along, middle)
            climbs = self.tangent(at, base_along)[:, -1] > 0
            low, high = np.where(climbs, middle, low), np.where(climbs, high, middle)
        return self.moved(base, base_along, low)


def random_problems(seed: int) -> tuple[list[Network], list[Loads], np.ndarray, np.ndarray]:
    """Networks, loads at the fold, voltages there; and how far from the fold each is to be tried."""
    rng = np.random.default_rng(seed)
    voc, z = np.ones((COUNT, PORTS)), np.zeros((COUNT, PORTS, PORTS))
    power, current, siemens = (np.zeros((COUNT, PORTS)) for _ in range(3))
    networks, counts = [], []
    for k in range(COUNT):
        wires, emf = random_wires(rng), float(rng.uniform(0.8, 1.2))
        n = len(wires.ports)
        voc[k, :n], z[k, :n, :n] = seen_from_ports(wires, emf)
        power[k, :n] = rng.uniform(0.1, 1, n) * np.where(np.arange(n) > 0, rng.random(n) < 0.85, True)
        if rng.random() < 0.5:
            current[k, :n] = rng.uniform(0, 0.15, n) * (rng.random(n) < 0.5)
            siemens[k, :n] = rng.uniform(0, 0.3, n) * (rng.random(n) < 0.5)
        # at a share of 1 one load alone would be too much: the fold lies below
        power[k, :n] *= np.min(voc[k, :n] ** 2 / (4 * np.diag(z[k])[:n] * np.maximum(power[k, :n], 1e-9)))
        branch, port = np.array(wires.ends), np.array(wires.ports)
        networks.append(
            Network(
                wires.nodes, branch[:, 0], branch[:, 1], np.array(wires.ohm), 0, 1, np.asarray(emf * UNIT_V),
                port[:, 0], port[:, 1],
            )
        )  # fmt: skip
        counts.append(n)
    fold = Branch(voc, z, power, current, siemens).fold()
    distance = 10 ** rng.uniform(-7, np.log10(0.03), COUNT)
    loads = []
    for k, n in enumerate(counts):
        at_fold = power[k, :n] * fold[k, -1] * UNIT_V**2
        share = 1 + distance[k] * np.array([[-1.0], [1.0]])
        loads.append(Loads(at_fold * share, current[k, :n] * UNIT_V, siemens[k, :n]))
    return networks, loads, fold[:, :-1] * UNIT_V, distance


def test_neither_side_of_collapse_is_taken_for_the_other() -> None:
    networks, loads, fold_v, distance = random_problems(20)
    assert fold_v.min() > 1.0  # the fold is the limit, not a constant current that takes its port to 0
    below, above, uncertain = [], [], 0
    for k, (network, load) in enumerate(zip(networks, loads, strict=True)):
        found: Solution = solve(network, load)
        below.append(bool(found.exists[0]))
        above.append(bool(found.exists[1]))
        uncertain += int((~found.certified).sum())
        if found.exists[0]:  # the high-voltage solution: above the fold in each port
            assert np.all(found.port_v[0] > fold_v[k, : network.port_plus.size]), k
    assert all(below), distance[~np.array(below)]
    assert not any(above), distance[np.array(above)]
    assert uncertain == 0
