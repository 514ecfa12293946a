"""What all findings of the power room look at: inputs, limits, the solved state, the scenarios that govern."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from upmast.finding import Authority, Limit, Sense
from upmast.limits import Limits
from upmast.power.endurance import Endurance, endurance
from upmast.power.faults import Faulted, faulted
from upmast.power.inrush import PAIR_INDUCTANCE_H_PER_M
from upmast.power.network import Thevenin, thevenin
from upmast.power.state import Inputs, State, ampacity_of, branch_ohm, network_of
from upmast.power.wires import eliminate
from upmast.source import Mark, Source

Array = NDArray[np.float64]
MODEL = Source("own derivation: nodal analysis and Newton's method", "checked by ngspice operating points")
OVERLOAD = Source("IEC 60364-4-43", "433.1, Ib <= In <= Iz", mark=Mark.PRACTICE)


class Seen:
    """One line as its findings see it. What is costly is made when it is first asked for."""

    def __init__(self, inputs: Inputs, limits: Limits, state: State) -> None:
        self.i, self.limits, self.state, self.flow = inputs, limits, state, state.flow
        self.low = int(np.argmin(inputs.emf_v))
        self.light = int(np.argmin(inputs.load_fraction))
        self.high = int(np.argmax(inputs.emf_v))
        self.hot = int(np.argmax(state.sheath_c))
        self.hot_c = float(state.sheath_c[self.hot])
        self.full = [s for s in range(len(inputs.scenarios)) if inputs.load_fraction[s] >= 1]

    @cached_property
    def current(self) -> Array:
        """Magnitudes of the branch currents [s, nb]; NaN where there is no operating point."""
        return np.asarray(np.abs(np.where(self.flow.exists[:, None], self.flow.branch_a, np.nan)))

    @cached_property
    def iz(self) -> Array:
        """Ampacity of each branch [nb] in the hottest scenario."""
        return ampacity_of(self.i, self.state, self.hot)

    @cached_property
    def seen_low(self) -> Thevenin:
        """The line from its radios, hot, at the lowest voltage."""
        return thevenin(network_of(self.i, self.state.branch_ohm[self.low], np.asarray(self.i.emf_v[self.low])))

    @cached_property
    def far_fault_a(self) -> Array:
        """
        Current in each line wire [nb] at a solid short at its far end: hot wires, lowest emf, back over its own return.

        The least that its breaker sees: where pairs are in parallel it is its share of the whole. Infinite for what is not a
        line wire.
        """
        return self._fault_a(self.state.branch_ohm[self.low], float(self.i.emf_v[self.low]), far=True)

    @cached_property
    def near_fault_a(self) -> Array:
        """Highest current of a solid short at the near end of each line wire [nb]: cold wires, highest emf, as the plant allows."""
        i = self.i
        cold = branch_ohm(i, np.full(i.length_m.size, float(i.ambient_c.min())))
        emf = float(i.emf_v.max()) if i.converter is None else float(np.max(i.converter.maximum_v))
        return np.minimum(self._fault_a(cold, emf, far=False), i.short_circuit_ka * 1000)

    def _fault_a(self, ohm: Array, emf_v: float, far: bool) -> Array:
        i = self.i
        returns = {(i.item[b], int(i.pair[b])): b for b, kind in enumerate(i.kind) if kind == "return"}
        wires = [b for b, kind in enumerate(i.kind) if kind == "line" and (i.item[b], int(i.pair[b])) in returns]
        out = np.full(len(i.kind), np.inf)
        back = [returns[i.item[b], int(i.pair[b])] for b in wires]
        plus, minus = (i.branch_to[wires], i.branch_from[back]) if far else (i.branch_from[wires], i.branch_to[back])
        # at the bars themselves the plant's own figure holds
        apart = (plus != minus) & ((plus > 1) | (minus > 1))
        if not apart.any():
            return out
        rows = np.array(wires)[apart]
        network = network_of(i, ohm, np.asarray(emf_v))
        ends = eliminate(replace(network, port_plus=plus[apart], port_minus=minus[apart]))
        own, at = np.diagonal(ends.z[0]), np.arange(rows.size)
        whole = np.divide(ends.voc[0] * emf_v, own, out=np.full(own.shape, np.inf), where=own > 0)
        if far:
            with np.errstate(invalid="ignore"):
                whole = np.abs(ends.branch[0][rows, 1 + at]) * whole
        out[rows] = np.where(whole > 0, whole, np.inf)
        return out

    @cached_property
    def cold_ohm(self) -> Array:
        """Resistance of the line as each radio sees it [m], conductors at the coldest air of all scenarios."""
        i = self.i
        cold = branch_ohm(i, np.full(i.length_m.size, float(i.ambient_c.min())))
        return np.asarray(np.diagonal(thevenin(network_of(i, cold, np.asarray(i.float_v))).z_ohm))

    @cached_property
    def inductance_h(self) -> Array:
        """Inductance of the line as each radio sees it [m], the lower figure of practice by its length; parallel pairs as one."""
        i = self.i
        length = {i.item[b]: float(i.length_m[b]) for b, kind in enumerate(i.kind) if kind == "line"}
        way = [sum(length.get(item, 0.0) for item in items) for items in self.feeders]
        return np.asarray(way) * PAIR_INDUCTANCE_H_PER_M[0]

    @cached_property
    def faults(self) -> Faulted | None:
        """The line with each fault in turn; None where it has no operating point without any."""
        return faulted(self.i, self.state, self.low) if self.flow.exists[self.low] else None

    @cached_property
    def endurance(self) -> Endurance | None:
        """The line on battery; None where it has no operating point at the lowest voltage."""
        return endurance(self.i, self.state, self.low) if self.flow.exists[self.low] else None

    @cached_property
    def feeders(self) -> tuple[tuple[str, ...], ...]:
        """Items on the way from the plant to each radio: those whose line branch leads, node by node, to its plus node."""
        return tuple(_feeder(self.i, int(plus)) for plus in self.i.plus)

    def held(self, limit: Limit) -> Limit:
        """A part's or rule's own limit, or the site's where that is tighter."""
        return self.limits.in_force(limit.code, limit) or limit

    def minimum(self, code: str, k: int) -> Limit:
        """The lowest voltage of a radio as its own limit."""
        document, mark = self.i.radio_source[k]
        source = Source(document, mark=Mark(mark))
        return Limit(code, float(self.i.minimum_v[k]), "V", Sense.AT_LEAST, Authority.PART, source)

    def largest(self, branch: int) -> tuple[float | None, int]:
        """Largest current of a branch over the scenarios and where; None where the lowest voltage has no operating point."""
        column = self.current[:, branch]
        if np.isnan(column[self.low]):
            return None, self.low
        return float(np.nanmax(column)), int(np.nanargmax(column))


def _feeder(i: Inputs, plus: int) -> tuple[str, ...]:
    items: list[str] = []
    wave, seen = [plus], {plus}
    while wave:
        node = wave.pop()
        for b, (start, end) in enumerate(zip(i.branch_from, i.branch_to, strict=True)):
            if end == node and i.kind[b] in ("line", "box", "breaker"):
                if i.item[b] not in items:
                    items.append(i.item[b])
                if int(start) not in seen and start > 1:
                    seen.add(int(start))
                    wave.append(int(start))
    return tuple(reversed(items))


__all__ = ["MODEL", "OVERLOAD", "Seen"]
