"""A battery and its line of radios at given depths of discharge: voltages, margins and the current of the battery."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.cells import Battery, emf_v, inner_ohm
from upmast.power.checked import not_negative
from upmast.power.crossing import crossing, first_of, seen_from_loads
from upmast.power.network import Network
from upmast.power.newton import newton

__all__ = ["Plant", "Points", "pick"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]
_LEAST_OHM = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """The plant at depths of discharge [s]: voltages [s, m + 1], least margin and whose, battery current, hours per unit of dod."""

    dod: Array
    v: Array
    exists: Mask
    margin: Array
    port: Index
    current: Array
    hours: Array


def pick(points: Points, rows: slice | Index) -> Points:
    """Some of the points."""
    return Points(*(getattr(points, name)[rows] for name in points.__slots__))


class Plant:
    """Battery, wires and loads; the last port is the bars, with the base load, and the disconnect for a cut-out."""

    def __init__(
        self,
        battery: Battery,
        network: Network,
        power_w: ArrayLike,
        cut_out_v: ArrayLike,
        disconnect_v: float,
        base_w: float,
        bus: tuple[int, int] | None,
    ) -> None:
        m = network.port_plus.size
        power, cut, _, _ = not_negative(
            finite=True, power_w=power_w, cut_out_v=cut_out_v, disconnect_v=disconnect_v, base_w=base_w
        )
        if network.branch_ohm.ndim != 1:
            raise ValueError("one line at a time: no scenarios on the leading axes")
        if power.shape != (m,) or cut.shape not in ((), (m,)):
            raise ValueError(f"power_w needs {m} ports, cut_out_v as many or one for all")
        self.battery = battery
        # A resistance between emf and terminals, as a reference from which the inner resistance differs.
        self.reference_ohm = max(float(battery.source_ohm.max()), _LEAST_OHM)
        terminals = (network.source_plus, network.source_minus)
        plus, minus = terminals if bus is None else bus
        behind = replace(
            network,
            node_count=network.node_count + 1,
            branch_from=np.append(network.branch_from, network.node_count),
            branch_to=np.append(network.branch_to, network.source_plus),
            branch_ohm=np.append(network.branch_ohm, self.reference_ohm),
            source_plus=network.node_count,
            port_plus=np.append(network.port_plus, plus),
            port_minus=np.append(network.port_minus, minus),
        )
        h, z, _ = seen_from_loads(behind, terminals)
        self.h, self.z = h[0, :-1], z[0, :-1, :-1]
        # what the wires draw without loads, per volt; below the rounding there is nothing
        lost = float(1 - h[0, -1])
        self.shunt_s = lost / self.reference_ohm if lost > 1e-12 else 0.0
        self.power = np.where(self.h > 0, np.append(power, base_w), 0.0)
        self.cut = np.append(np.broadcast_to(cut, (m,)), disconnect_v)
        self.radios = self.power > 0
        self.radios[-1] = False

    def seen(self, dod: Array) -> tuple[Array, Array, Array, Array]:
        """h [s, m + 1], Z [s, m + 1, m + 1], emf [s] and `1 + delta g` [s] with the inner resistance at each dod."""
        delta = inner_ohm(self.battery, dod) - self.reference_ohm
        q = 1 + delta * self.shunt_s
        z = self.z + (delta / q)[:, None, None] * (self.h[:, None] * self.h)
        return self.h / q[:, None], z, emf_v(self.battery, dod), q

    def at(self, on: Mask, dod: Array) -> Points:
        """The plant with these radios on, at each dod [s]."""
        h, z, emf, q = self.seen(dod)
        power, watched = self.drawn(on)
        power = np.broadcast_to(power, h.shape)
        found = newton(h * emf[:, None], z, power)
        inner = np.divide(power, found.v, out=np.zeros_like(h), where=(power > 0) & found.exists[:, None])
        # by reciprocity a load draws its share h of its current from the battery
        current = np.where(found.exists, self.shunt_s / q * emf + (h * inner).sum(axis=1), np.nan)
        margin, port = first_of(
            np.where(found.exists[:, None], found.v - self.cut, 0.0), np.broadcast_to(watched, h.shape)
        )
        margin = np.where(found.exists, margin, -np.inf)
        b = self.battery
        with np.errstate(divide="ignore"):
            hours = b.rate_hours_h * (b.capacity_ah / b.rate_hours_h / current) ** b.peukert
        return Points(dod, found.v, found.exists, margin, port, current, hours)

    def drawn(self, on: Mask) -> tuple[Array, Mask]:
        """Power and watched cut-outs with these radios on."""
        bars = np.zeros_like(on)
        bars[-1] = True
        watched = on | (bars & (self.cut > 0))
        return np.where(on | bars, self.power, 0.0), watched

    def idle(self, on: Mask) -> bool:
        """Nothing draws current with these radios on."""
        return not on.any() and self.power[-1] == 0 and self.shunt_s == 0

    def falls_with(self, on: Mask, dod: float) -> int:
        """Which load goes first on the way down to where there is no operating point; the bars if none can."""
        h, z, _, _ = self.seen(np.array([dod]))
        power, watched = self.drawn(on)
        if not watched.any():
            return self.power.size - 1
        return int(crossing(h, z, power[None], self.cut[None], watched[None]).port[0])

    def bars_dod(self, start_dod: float) -> float:
        """
        Depth of discharge at which the first radio would drop, or the plant disconnect, if all radios stood at the bars.

        `V = E h - z P / V` at the bars, by bisection: V falls with the discharge.
        """
        radios = self.radios[:-1]
        limit = max(float(self.cut[-1]), float(self.cut[:-1][radios].max(initial=0.0)))
        power = float(self.power[:-1][radios].sum() + self.power[-1])

        def holds(dod: float) -> bool:
            h, z, emf, _ = self.seen(np.array([dod]))
            voc, ohm = float(h[0, -1] * emf[0]), float(z[0, -1, -1])
            square = voc * voc - 4 * ohm * power
            return square >= 0 and (voc + square**0.5) / 2 >= limit

        if not holds(start_dod):
            return start_dod
        if holds(1.0):
            return 1.0
        low, high = start_dod, 1.0
        while high - low > 1e-12:
            middle = (low + high) / 2
            low, high = (middle, high) if holds(middle) else (low, middle)
        return low
