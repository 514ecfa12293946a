"""
What a line does with one thing broken: a pair, a return, a breaker or the bond of the return open, the converter bypassed.

Each fault is one row beside the sound line, at the lowest voltage and full load, with heating settled anew: the wires that
are left carry more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.power.state import Inputs, State, repeated, settle

Array = NDArray[np.float64]
PAIR, RETURN, BREAKER, BOND, BYPASS, SPARE = (
    "pair-open", "return-open", "breaker-open", "bond-open", "converter-bypass", "spare-in-use",
)  # fmt: skip
KINDS = (PAIR, RETURN, BREAKER, BOND, BYPASS, SPARE)
_SETTLED_K = 0.05  # of the conductors that follow: a few millivolts at most


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: its kind, what is broken in words, and the branches that are open."""

    kind: str
    name: str
    branches: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Faulted:
    """
    Faults with what they do. exists [f]; voltage_v [f, m] of the radios, NaN without operating point, 0 where not fed;
    branch_a [f, nb].
    """

    faults: tuple[Fault, ...]
    exists: NDArray[np.bool_]
    voltage_v: Array
    branch_a: Array

    def of(self, kind: str) -> tuple[int, ...]:
        """Which rows are of a kind."""
        return tuple(n for n, fault in enumerate(self.faults) if fault.kind == kind)

    def worst(self, kind: str, radio: int) -> int | None:
        """The row of a kind in which a radio has its lowest voltage; none without such faults."""
        rows = self.of(kind)
        return min(rows, key=lambda n: float(np.nan_to_num(self.voltage_v[n, radio], nan=-1.0)), default=None)


def faults_of(inputs: Inputs) -> tuple[Fault, ...]:
    """Every single fault that a line can have, but the bypass of a converter."""
    out = []
    for id, pair, branches in inputs.pairs_used:
        name = f"{id}-P{pair:02d}"
        returns = tuple(b for b in branches if inputs.kind[b] == "return")
        out += [Fault(PAIR, name, branches), Fault(RETURN, f"the return of {name}", returns)]
    out += [Fault(BREAKER, p.item, (p.branch,)) for p in inputs.breakers]
    shields = tuple(b for b, kind in enumerate(inputs.kind) if kind == "shield")
    out += [Fault(BOND, f"the shield of {inputs.item[b]}", (b,)) for b in shields]
    if len(shields) > 1:
        out.append(Fault(BOND, "every shield", shields))
    return tuple(out)


def faulted(inputs: Inputs, state: State, low: int) -> Faulted:
    """
    The line with each fault in turn, in the state of one scenario.

    Conductors start as warm as in the sound line and follow the currents of the fault; a row without operating point keeps
    what was found.
    """
    found = list(faults_of(inputs))
    count, m = len(found), len(inputs.radios)
    exists, volts = np.zeros(0, bool), np.zeros((0, m))
    amps = np.zeros((0, len(inputs.kind)))
    if count:
        opened = np.zeros((count, len(inputs.kind)), bool)
        for n, fault in enumerate(found):
            opened[n, list(fault.branches)] = True
        made = settle(
            inputs,
            repeated(state.rows, low, count, opened),
            np.repeat(state.used_c[low][None], count, axis=0),
            settled_k=_SETTLED_K,
        )
        exists, volts, amps = made.flow.exists, made.flow.port_v, made.flow.branch_a
    if inputs.converter is not None:
        made = settle(inputs, repeated(state.rows, low, 1, None, True), state.used_c[low][None], settled_k=_SETTLED_K)
        found.append(Fault(BYPASS, "the converter", ()))
        exists = np.append(exists, made.flow.exists)
        volts, amps = np.concatenate([volts, made.flow.port_v]), np.concatenate([amps, made.flow.branch_a])
    volts = np.where(exists[:, None], volts, np.nan)
    return Faulted(tuple(found), exists, volts, amps)


__all__ = ["BOND", "BREAKER", "BYPASS", "KINDS", "PAIR", "RETURN", "SPARE", "Fault", "Faulted", "faulted", "faults_of"]
