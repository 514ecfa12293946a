"""
The wires of a network and their response: open-circuit voltages and Thevenin matrix seen from the ports of the loads.

Line and return wires are branches of their own, so that broken returns, a spare on one side only and a shared shield can
be told apart. Voltages are magnitudes: 'plus' is the line wire, 'minus' the return wire of a -48 V system.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Linear", "Network", "Thevenin", "eliminate", "thevenin"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
# Below this a branch current is an unknown of its own: from a voltage difference it would lose digits.
_STIFF_OHM = 1e-4
# A resistance of 0 is taken as this, so that two bare links in parallel have one answer.
_FLOOR_OHM = 1e-11
# No site comes near: a network beyond this is a mistake or an attack on memory.
_MOST_NODES = 2000


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """
    Wires between nodes, one source, and ports for loads.

    Parameters
    ----------
    node_count: nodes are numbered from 0.
    branch_from, branch_to [nb]: the two ends of each branch; current counts from `from` to `to`.
    branch_ohm [..., nb]: resistance; `inf` is an open branch; leading axes are scenarios.
    source_plus, source_minus: nodes of the ideal source; its inner resistance is a branch like any other.
    emf_v [...]: voltage of the ideal source.
    port_plus, port_minus [m]: the two nodes of each load.

    Raises
    ------
    ValueError
        For nodes that don't exist, a branch from a node to itself, a negative or missing number.
    """

    node_count: int
    branch_from: NDArray[np.intp]
    branch_to: NDArray[np.intp]
    branch_ohm: Array
    source_plus: int
    source_minus: int
    emf_v: Array
    port_plus: NDArray[np.intp]
    port_minus: NDArray[np.intp]

    def __post_init__(self) -> None:
        for name in ("branch_from", "branch_to", "port_plus", "port_minus"):
            array = np.atleast_1d(np.asarray(getattr(self, name), np.intp))
            object.__setattr__(self, name, array)
            if array.size and (array.min() < 0 or array.max() >= self.node_count):
                raise ValueError(f"{name} names a node that doesn't exist")
        for name in ("branch_ohm", "emf_v"):
            array = np.asarray(getattr(self, name), float)
            object.__setattr__(self, name, array)
            if not np.all(array >= 0):
                raise ValueError(f"{name} can't be negative or missing")
        if not 2 <= self.node_count <= _MOST_NODES:
            raise ValueError(f"a network has 2 to {_MOST_NODES} nodes")
        if not np.all(np.isfinite(self.emf_v)):
            raise ValueError("emf_v must be finite")
        if not (0 <= self.source_plus < self.node_count and 0 <= self.source_minus < self.node_count):
            raise ValueError("the source names a node that doesn't exist")
        if self.source_plus == self.source_minus:
            raise ValueError("the two nodes of the source must differ")
        if self.branch_from.shape != self.branch_to.shape or self.branch_ohm.shape[-1:] != self.branch_from.shape:
            raise ValueError("branch_from, branch_to and the last axis of branch_ohm must have one length")
        if self.port_plus.shape != self.port_minus.shape:
            raise ValueError("port_plus and port_minus must have one length")
        if np.any(self.branch_from == self.branch_to) or np.any(self.port_plus == self.port_minus):
            raise ValueError("a branch or port must join two different nodes")


@dataclass(frozen=True, slots=True, eq=False)
class Thevenin:
    """
    The linear part, seen from the ports.

    `voc_v` [..., m] open-circuit voltages (0 where not supplied), `z_ohm` [..., m, m] Thevenin matrix, `supplied` [..., m]
    False where an open branch leaves a port without a source.
    """

    voc_v: Array
    z_ohm: Array
    supplied: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """Responses on the axes of `branch_ohm`, flat: to 1 V of the source (column 0) and to 1 A drawn at each port."""

    node: Array  # [s, n, 1 + m]
    branch: Array  # [s, nb, 1 + m]
    reached: Mask  # [s, n]
    supplied: Mask  # [s, m]
    voc: Array  # [s, m] per volt of emf
    z: Array  # [s, m, m]


def _reach(network: Network, live: Mask) -> Mask:
    """Which nodes hang on the source, per scenario: [s, n]."""
    rows, n = live.shape[0], network.node_count
    start, end = network.branch_from, network.branch_to
    reached = np.zeros((rows, n), bool)
    reached[:, [network.source_plus, network.source_minus]] = True
    base = n * np.arange(rows)[:, None]
    count = -1
    while count < (now := int(reached.sum())) < reached.size:
        count = now
        touched = (reached[:, start] | reached[:, end]) & live
        hit = np.concatenate([(base + start)[touched], (base + end)[touched]])
        reached = reached | (np.bincount(hit, minlength=rows * n) > 0).reshape(rows, n)
    return reached


def _nodal(network: Network, conductance: Array, place: NDArray[np.intp], size: int) -> Array:
    """
    Sum of the conductances at and between the unknown nodes, [s, size, size], by place (-1: not unknown).

    Branch by branch: a product with incidence matrices gives the same, but is large enough for a linear algebra library to
    share it out over threads, which on a busy machine wait for each other many times as long as the sum takes.
    """
    s = conductance.shape[0]
    start, end = place[network.branch_from], place[network.branch_to]
    flat, weight = [], []
    for row, column, sign in ((start, start, 1.0), (end, end, 1.0), (start, end, -1.0), (end, start, -1.0)):
        both = np.flatnonzero((row >= 0) & (column >= 0))
        flat.append(size * row[both] + column[both])
        weight.append(sign * conductance[:, both])
    index = size * size * np.arange(s)[:, None] + np.concatenate(flat)
    values = np.concatenate(weight, axis=1)
    summed = np.bincount(index.ravel(), values.ravel(), s * size * size)
    return np.asarray(summed, float).reshape(s, size, size)


def eliminate(network: Network) -> Linear:
    nb, m, n = network.branch_from.size, network.port_plus.size, network.node_count
    rows = int(np.prod(network.branch_ohm.shape[:-1], dtype=int))
    ohm = np.maximum(network.branch_ohm.reshape(rows, nb), _FLOOR_OHM)
    s = ohm.shape[0]
    live = np.isfinite(ohm)
    reached = _reach(network, live)
    inner = np.ones(n, bool)
    inner[[network.source_plus, network.source_minus]] = False
    unknown = np.flatnonzero(inner)
    nu = unknown.size

    incidence = np.zeros((nb, n))
    incidence[np.arange(nb), network.branch_from] = 1
    incidence[np.arange(nb), network.branch_to] = -1
    b, b_plus = incidence[:, unknown], incidence[:, network.source_plus]
    at_bar = np.flatnonzero(b_plus)
    place = np.full(n, -1, np.intp)
    place[unknown] = np.arange(nu)
    ports = np.zeros((m, n))
    ports[np.arange(m), network.port_plus] = 1
    ports[np.arange(m), network.port_minus] = -1
    supplied = reached[:, network.port_plus] & reached[:, network.port_minus]

    stiff = np.flatnonzero(np.any(ohm < _STIFF_OHM, axis=0))
    conductance = np.where(live, 1 / ohm, 0.0)
    conductance[:, stiff] = 0.0
    size = nu + stiff.size
    matrix = np.zeros((s, size, size))
    if nu:
        matrix[:, :nu, :nu] = _nodal(network, conductance, place, nu)
    right = np.zeros((s, size, 1 + m))
    right[:, :nu, 0] = -(conductance[:, at_bar] * b_plus[at_bar]) @ b[at_bar]
    right[:, :nu, 1:] = -ports[:, unknown].T * supplied[:, None, :]
    matrix[:, np.arange(nu), np.arange(nu)] += ~reached[:, unknown]  # a floating node is held at 0
    if stiff.size:
        on = live[:, stiff]
        tail = nu + np.arange(stiff.size)
        matrix[:, :nu, nu:] = b[stiff].T * on[:, None, :]
        matrix[:, nu:, :nu] = b[stiff] * on[:, :, None]
        matrix[:, tail, tail] = np.where(on, -ohm[:, stiff], -1.0)
        right[:, nu:, 0] = -b_plus[stiff] * on
    answer = np.linalg.solve(matrix, right) if size else right

    node = np.zeros((s, n, 1 + m))
    node[:, unknown] = answer[:, :nu]
    node[:, network.source_plus, 0] = 1.0
    branch = (node[:, network.branch_from] - node[:, network.branch_to]) * conductance[:, :, None]
    branch[:, stiff] = answer[:, nu:]
    seen = node[:, network.port_plus] - node[:, network.port_minus]
    supplied = supplied & (seen[:, :, 0] > 1e-12)
    voc = np.where(supplied, seen[:, :, 0], 0.0)
    z = -seen[:, :, 1:] * (supplied[:, :, None] & supplied[:, None, :])
    return Linear(node, branch, reached, supplied, voc, z)


def thevenin(network: Network) -> Thevenin:
    """
    Open-circuit voltages and Thevenin matrix of the ports, per scenario.

    `Voc = E h`, `Z = A^T G^-1 A` from the nodal equations, A the incidence of the ports.

    Source: nodal analysis (own derivation, checked by the closed form of one pair and by ngspice operating points).
    """
    linear = eliminate(network)
    rows, m = network.branch_ohm.shape[:-1], network.port_plus.size
    voc, supplied = linear.voc.reshape(*rows, m), linear.supplied.reshape(*rows, m)
    fed = supplied & (network.emf_v[..., None] > 0)
    return Thevenin(network.emf_v[..., None] * voc, linear.z.reshape(*rows, m, m), fed)
