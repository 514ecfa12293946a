"""
Load flow of any network of wires: one source, any number of loads, all scenarios at once.

Line and return wires are branches of their own (see `wires`), so that broken returns, a spare on one side only and a shared
shield can be told apart. The linear part is eliminated once (open-circuit voltages and Thevenin matrix seen from the loads,
with constant currents and resistances at work); what is left, the constant-power parts, is solved by Newton's method from
the open-circuit voltages, which falls to the high-voltage solution or proves that there is none (see `newton`).

Voltages are magnitudes: 'plus' is the line wire, 'minus' the return wire of a -48 V system.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.loads import Loads, absorbed
from upmast.power.newton import Found, collapse, newton
from upmast.power.wires import Linear, Network, Thevenin, eliminate, thevenin

__all__ = [
    "Case", "Network", "Solution", "Thevenin", "collapse_factor", "deliverable_w", "sensitivity", "solve", "thevenin",
]  # fmt: skip

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """
    What flows. Leading axes are scenarios.

    exists [...]: the high-voltage solution exists. Where False, voltages and currents are NaN (0 at unsupplied ports).
    certified [...]: existence or its absence is proved (see `newton`), not only found.
    supplied [..., m]: the port has a source; where False its voltage and current are 0.
    port_v, port_a [..., m]: current of all parts of the load; branch_a [..., nb], from `branch_from` to `branch_to`;
    node_v [..., n] against the minus node of the source, NaN where a node floats.
    source_w [...]: power of the ideal source. residual_v [...]: largest |V - Voc + Z I|. iterations: Newton steps, whole batch.
    limited [..., m]: the constant-power part draws its largest current, and less than its power.
    """

    exists: Mask
    certified: Mask
    supplied: Mask
    port_v: Array
    port_a: Array
    branch_a: Array
    node_v: Array
    source_w: Array
    residual_v: Array
    iterations: int
    limited: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """
    A network with its loads, flat over scenarios and ready to be solved at any emf: what the functions here share.

    shape: of the scenarios; emf [s]; supplied [s, m] at an emf above 0; power [s, m], and current, conductance and limit [s, m]
    or None where no load has such a part; index [s]: the row of the linear part.
    """

    network: Network
    shape: tuple[int, ...]
    linear: Linear
    index: NDArray[np.intp]
    emf: Array
    supplied: Mask
    power: Array
    current: Array | None
    conductance: Array | None
    limit: Array | None

    @staticmethod
    def of(network: Network, loads: Loads | ArrayLike, *axes: tuple[int, ...]) -> Case:
        """Scenarios of network and loads, and any further axes, broadcast against each other; the linear part eliminated."""
        given = loads if isinstance(loads, Loads) else Loads(loads)
        m, rows = network.port_plus.size, network.branch_ohm.shape[:-1]
        if given.power_w.shape[-1] != m:
            raise ValueError(f"power_w needs {m} ports on its last axis")
        parts = (given.power_w, given.current_a, given.conductance_s, given.limit_a)
        shape = np.broadcast_shapes(rows, network.emf_v.shape, *axes, *(part.shape[:-1] for part in parts))
        emf = np.broadcast_to(network.emf_v, shape).reshape(-1)
        linear = eliminate(network)
        index = np.broadcast_to(np.arange(int(np.prod(rows, dtype=int))).reshape(rows), shape).reshape(-1)
        supplied = linear.supplied[index]

        def flat(part: Array, absent: float) -> Array | None:
            if (part == absent).all():
                return None
            return np.where(supplied, np.broadcast_to(part, (*shape, m)).reshape(emf.size, m), absent)

        power = flat(given.power_w, 0.0)
        if power is None:
            power = np.zeros((emf.size, m))
        return Case(
            network, shape, linear, index, emf, supplied, power, flat(given.current_a, 0.0), flat(given.conductance_s, 0.0),
            flat(given.limit_a, np.inf),
        )  # fmt: skip

    def rows(self, pick: NDArray[np.intp]) -> Case:
        """Some of the scenarios, on one axis."""

        def part(array: Array | None) -> Array | None:
            return None if array is None else array[pick]

        return Case(
            self.network, (pick.size,), self.linear, self.index[pick], self.emf[pick], self.supplied[pick], self.power[pick],
            part(self.current), part(self.conductance), part(self.limit),
        )  # fmt: skip

    def fed(self, emf: Array) -> Mask:
        return np.asarray(self.supplied & (emf > 0)[:, None])

    def seen(self, emf: Array) -> tuple[Array, Array]:
        """Open-circuit voltages and Thevenin matrix, constant currents and resistances at work."""
        voc, z = self.linear.voc[self.index] * emf[:, None], self.linear.z[self.index]
        return absorbed(voc, z, None if self.current is None else self.current * (emf > 0)[:, None], self.conductance)

    def held(self) -> Mask | None:
        """Where the voltage must be above 0 for a constant current."""
        return None if self.current is None else self.current > 0

    def found(self, emf: Array) -> Found:
        """The high-voltage solution at an emf."""
        fed, (voc, z) = self.fed(emf), self.seen(emf)
        return newton(voc, z, np.where(fed, self.power, 0.0), limit=self.limit, held=self.held(), fed=fed)

    def drawn(self, emf: Array, found: Found) -> Array:
        """Current of each port, all parts; NaN without solution, 0 where not supplied."""
        fed = self.fed(emf)
        with_power = fed & (self.power > 0)
        total = np.divide(self.power, found.v, out=np.zeros_like(self.power), where=with_power)
        if self.limit is not None:
            total = np.minimum(total, self.limit)
        if self.current is not None:
            total = total + self.current
        if self.conductance is not None:
            total = total + self.conductance * found.v
        return np.where(fed, np.where(found.exists[:, None], total, np.nan), 0.0)

    def limited(self, emf: Array, found: Found) -> Mask:
        """Which loads draw their largest current, and less than their power."""
        if self.limit is None:
            return np.zeros(self.power.shape, bool)
        fed = self.fed(emf) & found.exists[:, None] & (self.power > 0) & np.isfinite(self.limit)
        return np.asarray(
            fed & (self.power > np.where(fed, self.limit, 0.0) * np.where(fed, found.v, 0.0) * (1 + 1e-12))
        )

    def leads(self) -> tuple[Array, Array]:
        """+1 for a branch or port that takes current from the plus node of the source, -1 for one that brings it."""
        network, plus = self.network, self.network.source_plus
        leaving = (network.branch_from == plus).astype(float) - (network.branch_to == plus)
        return leaving, (network.port_plus == plus).astype(float) - (network.port_minus == plus)

    def source_a(self, emf: Array, drawn: Array) -> Array:
        """Current of the ideal source."""
        leaving, at_bar = self.leads()
        lead = leaving @ self.linear.branch
        lead[:, 1:] += at_bar
        drive = np.concatenate([emf[:, None], drawn], axis=1)
        return np.asarray((lead[self.index] * drive).sum(axis=1))

    def finished(self, emf: Array, found: Found) -> Solution:
        """Node voltages and branch currents from the linear part."""
        network, linear, index = self.network, self.linear, self.index
        fed, drawn = self.fed(emf), self.drawn(emf, found)
        drive = np.concatenate([np.where(found.exists, emf, np.nan)[:, None], drawn], axis=1)
        node = np.where(linear.reached[index], _response(linear.node, index, drive), np.nan)
        branch = _response(linear.branch, index, drive)
        carries = linear.reached[:, network.branch_from] & linear.reached[:, network.branch_to]
        carries &= np.isfinite(network.branch_ohm.reshape(linear.branch.shape[:2]))
        branch = np.where(carries[index], branch, 0.0)
        leaving, at_bar = self.leads()
        source = np.where(found.exists, emf, np.nan) * (branch @ leaving + drawn @ at_bar)
        shape = self.shape
        nb, m, n = network.branch_from.size, network.port_plus.size, network.node_count
        return Solution(
            exists=found.exists.reshape(shape),
            certified=found.certified.reshape(shape),
            supplied=fed.reshape(*shape, m),
            port_v=np.where(fed, found.v, 0.0).reshape(*shape, m),
            port_a=drawn.reshape(*shape, m),
            branch_a=branch.reshape(*shape, nb),
            node_v=node.reshape(*shape, n),
            source_w=source.reshape(shape),
            residual_v=found.residual.reshape(shape),
            iterations=found.iterations,
            limited=self.limited(emf, found).reshape(*shape, m),
        )


def _response(linear: Array, index: NDArray[np.intp], drive: Array) -> Array:
    """Sum of unit responses [rows, k, 1 + m] for each scenario's drive [s, 1 + m]; not copied where there is one row."""
    if linear.shape[0] == 1:
        return np.asarray(drive @ linear[0].T)
    return np.asarray((linear[index] @ drive[:, :, None])[:, :, 0])


def solve(network: Network, loads: Loads | ArrayLike) -> Solution:
    """
    Voltages and currents with any mix of loads, all scenarios at once.

    `V = Voc - Z I(V)`, `I = min(P / V, I_lim)` after the linear parts of the loads are eliminated, by Newton's method from
    Voc; then node voltages and branch currents from the linear part.

    Parameters
    ----------
    network: with nb branches and m ports.
    loads: at the terminals, see `Loads`; a plain array is constant power [W], [..., m], 0 for a load that is off.

    Returns
    -------
    Solution, with the scenarios of `branch_ohm`, `emf_v` and the loads broadcast against each other. No solution is a
    result, not an exception: where constant powers ask for more than the wires can deliver, or a constant current would
    drive the voltage of its port to 0 or below.

    Source: Newton-Baluev theorem (Ortega and Rheinboldt, chapter 13, from memory); uniqueness and stability of the
    high-voltage solution: arXiv 2011.09333. Checked by ngspice operating points.

    >>> pair = Network(4, [0, 1], [2, 3], [0.069, 0.069], 0, 1, 43.2, [2], [3])
    >>> round(float(solve(pair, [1000.0]).port_v[0]), 2)
    39.73
    >>> round(float(solve(pair, Loads([1000.0], limit_a=[22.0])).port_v[0]), 2)
    40.16
    """
    case = Case.of(network, loads)
    return case.finished(case.emf, case.found(case.emf))


def collapse_factor(network: Network, loads: Loads | ArrayLike, tolerance: float = 1e-6) -> Array:
    """
    Largest factor on all constant-power parts together with which a solution still exists, per scenario.

    Bisection on existence, between a factor that is proved to work and one that is proved not to.

    Parameters
    ----------
    network, loads: as for `solve`, with a Thevenin matrix that is not negative (line and return meet at the source only).
    tolerance: relative width of the last bracket; its lower (safe) end is returned.

    Returns
    -------
    Factor, in the shape of the scenarios; infinite without constant power, or where current limits hold the voltage up at
    any power; 0 where the linear parts alone have no solution. Below 1 there is no operating point.

    Source: own derivation; the published single-pair limit is `V_s^2 / (4 R P)`.

    >>> pair = Network(4, [0, 1], [2, 3], [0.069, 0.069], 0, 1, 43.2, [2], [3])
    >>> round(float(collapse_factor(pair, [1000.0])), 3)
    3.381
    """
    if not tolerance > 0:
        raise ValueError("tolerance must be positive")
    case = Case.of(network, loads)
    fed, (voc, z) = case.fed(case.emf), case.seen(case.emf)
    power = np.where(fed, case.power, 0.0)
    return collapse(voc, z, power, tolerance, limit=case.limit, held=case.held(), fed=fed).reshape(case.shape)


def deliverable_w(network: Network, loads: Loads | ArrayLike) -> Array:
    """
    Largest constant power that each port could draw alone, the constant-power parts of all others off.

    `P = (Voc - Z_kk I) I` at `I = min(Voc / (2 Z_kk), I_lim)`, which is `Voc^2 / (4 Z_kk)` without limit; constant currents
    and resistances of all ports stay at work.

    Parameters
    ----------
    network, loads: as for `solve`; the powers themselves don't count.

    Returns
    -------
    Power [W], [..., m]; 0 where not supplied or where the linear parts alone have no solution, infinite at a port without
    resistance and limit.

    Source: own derivation (maximum power transfer).

    >>> pair = Network(4, [0, 1], [2, 3], [0.069, 0.069], 0, 1, 43.2, [2], [3])
    >>> round(float(deliverable_w(pair, [0.0])[0]), 2)
    3380.87
    """
    case = Case.of(network, loads)
    fed, (voc, z) = case.fed(case.emf), case.seen(case.emf)
    own = np.diagonal(z, axis1=1, axis2=2)
    current = np.divide(voc, 2 * own, out=np.full_like(voc, np.inf), where=own > 0)
    if case.limit is not None:
        current = np.minimum(current, case.limit)
    held = case.held()
    if held is not None:
        # the voltage of a constant-current load elsewhere must stay above 0, too
        held = held & fed
        room = np.divide(voc[:, :, None], z, out=np.full_like(z, np.inf), where=(z > 0) & held[:, :, None])
        current = np.minimum(current, room.min(axis=1, initial=np.inf))
        fed = fed & np.all((voc > 0) | ~held, axis=1)[:, None]
    fed = fed & (voc > 0)
    current = np.where(fed, current, 0.0)
    drop = np.multiply(own, current, out=np.zeros_like(voc), where=own > 0)
    return np.asarray((voc - drop) * current).reshape(*case.shape, voc.shape[1])


def sensitivity(network: Network, loads: Loads | ArrayLike) -> Array:
    """
    How much the voltage of each port changes with the power of each: `dV/dP = -J^-1 Z diag(1 / V)`.

    `J = 1 - Z diag(P / V^2)`, Z with the linear parts at work. A load at its current limit doesn't react to its power.

    Parameters
    ----------
    network, loads: as for `solve`.

    Returns
    -------
    [V/W], [..., m, m]: row = port whose voltage changes, column = port whose power does; NaN without solution, 0 where not
    supplied.

    Source: own derivation (implicit function theorem), checked by differences.

    >>> pair = Network(4, [0, 1], [2, 3], [0.069, 0.069], 0, 1, 43.2, [2], [3])
    >>> round(1000 * float(sensitivity(pair, [1000.0])[0, 0]), 3)  # mV/W
    -3.807
    """
    case = Case.of(network, loads)
    fed, (_, z), found = case.fed(case.emf), case.seen(case.emf), case.found(case.emf)
    v = np.where(fed & found.exists[:, None], found.v, 1.0)
    reacts = fed & ~case.limited(case.emf, found)
    per_volt = reacts / v
    jacobian = np.eye(v.shape[1]) - z * (np.where(reacts, case.power, 0.0) / v**2)[:, None, :]
    answer = -np.linalg.solve(
        np.where(found.exists[:, None, None], jacobian, np.eye(v.shape[1])), z * per_volt[:, None, :]
    )
    answer = np.where(found.exists[:, None, None] | ~(fed[:, :, None] & fed[:, None, :]), answer + 0.0, np.nan)
    return np.asarray(answer).reshape(*case.shape, *z.shape[1:])
