"""
How long the radios of one line run on battery: which drops first and at what bus voltage, in what order, for how long.

Conductors are as warm as in the state given (the lowest voltage on the hottest day), which is the safe side.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from upmast.power.cells import Battery, linear, string
from upmast.power.cutout import Cascade, Drop, Hunting, fall, first_drop, hunting, rise
from upmast.power.discharge import Discharge, discharge
from upmast.power.network import Network
from upmast.power.state import Inputs, State, hung, network_of

__all__ = ["Endurance", "battery_of", "endurance", "lowest_emf_v", "order_of_drops", "order_of_starts"]

Array = NDArray[np.float64]
BUS = (0, 1)  # nodes of the bars, from which the line starts


@dataclass(frozen=True, eq=False)
class Endurance:
    """
    first: where the first radio drops as the emf falls; None with a converter, which holds its output up. hunting: None
    likewise. battery, run: None without a battery or without a load. assumed: what was taken in place of the model's own.
    """

    first: Drop | None
    hunting: Hunting | None
    battery: Battery | None
    run: Discharge | None
    assumed: tuple[str, ...]


def battery_of(inputs: Inputs) -> Battery | None:
    """
    The battery of the plant as a curve: emf, and how much its inner resistance rises above that of the full one.

    What the plant declares as its source resistance holds for the full battery and is a branch of the line's network.
    """
    b = inputs.battery
    if b is None:
        return None
    if b.kind == "linear":
        return linear(b.full_v, min(b.end_v, b.full_v), 0.0, b.capacity_ah, 10.0, b.peukert, b.charge_fraction)
    exponent = b.peukert if b.kind == "lead-acid" else 1.0
    curve = string(
        "lead-acid" if b.kind == "lead-acid" else "lithium-iron-phosphate", b.cells, b.capacity_ah, 1, 0.0, 10.0, exponent,
        b.charge_fraction,
    )  # fmt: skip
    return replace(curve, source_ohm=np.maximum(curve.source_ohm - curve.source_ohm[0], 0.0))


def _line(inputs: Inputs, state: State, row: int) -> tuple[Network, Array, Array, tuple[str, ...]]:
    """Network, constant powers and cut-outs of the radios, and what was taken for other kinds of load."""
    ohm = np.array(state.branch_ohm[row])
    network = network_of(inputs, ohm, np.asarray(float(inputs.emf_v[row])))
    power = np.where(hung(inputs), inputs.maximum_w, 0.0)
    notes: list[str] = []
    other = [k for k, kind in enumerate(inputs.draws) if kind != "power"]
    if other:
        drawn = state.power_w[row]
        power[other] = drawn[other]
        notes.append("loads that are not constant power are held at what they draw at the lowest voltage")
    if np.isfinite(inputs.limit_a).any():
        notes.append("current limits of radios are left out: they would lengthen the time")
    return network, power, inputs.cut_out_v, tuple(notes)


def endurance(inputs: Inputs, state: State, row: int) -> Endurance:
    """
    First drop, hunting and discharge of a line in the state of one scenario.

    With a converter the radios stand at its output whatever the battery does: the run then lasts until the plant
    disconnects, the battery is empty, or the converter asks for more than it can give.
    """
    network, power, cut, notes = _line(inputs, state, row)
    battery = battery_of(inputs)
    if not np.any(power > 0):
        return Endurance(None, None, battery, None, notes)
    if inputs.converter is not None:
        drawn = float(state.flow.input_w[row])
        if battery is None or not np.isfinite(drawn):
            return Endurance(None, None, battery, None, notes)
        bars = Network(
            3,
            np.array([2]),
            np.array([0]),
            np.array([inputs.source_ohm]),
            2,
            1,
            network.emf_v,
            np.array([0]),
            np.array([1]),
        )
        run = discharge(battery, bars, [drawn], 0.0, inputs.disconnect_v, inputs.base_w, BUS)
        return Endurance(None, None, battery, run, (*notes, "the converter draws what it draws at the lowest voltage"))
    first = first_drop(*_with_base(inputs, network, power, cut), BUS)
    highest, lowest = max(float(inputs.float_v), float(first.emf_v)), lowest_emf_v(inputs)
    hunts = hunting(*_with_base(inputs, network, power, cut), _starts(inputs), highest, min(lowest, highest), BUS)
    lasts = (
        None if battery is None else discharge(battery, network, power, cut, inputs.disconnect_v, inputs.base_w, BUS)
    )
    return Endurance(first, hunts, battery, lasts, notes)


def lowest_emf_v(inputs: Inputs) -> float:
    """How low the emf of the plant can fall: its end of discharge, or the end of its battery's curve where that is lower."""
    battery = battery_of(inputs)
    return inputs.end_v if battery is None else min(inputs.end_v, float(battery.emf_v[-1]))


def _with_base(inputs: Inputs, network: Network, power: Array, cut: Array) -> tuple[Network, Array, Array]:
    """With the base load as one more load at the bars, which has no cut-out."""
    if not inputs.base_w > 0:
        return network, power, cut
    wider = replace(network, port_plus=np.append(network.port_plus, 0), port_minus=np.append(network.port_minus, 1))
    return wider, np.append(power, inputs.base_w), np.append(cut, 0.0)


def _starts(inputs: Inputs) -> Array:
    # the base load, last where there is one, never drops before its source is gone
    return np.append(inputs.restart_v, 1e3) if inputs.base_w > 0 else inputs.restart_v


def order_of_drops(inputs: Inputs, state: State, row: int, to_v: float = 0.0) -> Cascade:
    """Which radios drop, one after the other, as the emf falls from float."""
    network, power, cut, _ = _line(inputs, state, row)
    return fall(*_with_base(inputs, network, power, cut), float(inputs.float_v), to_v, None, BUS)


def order_of_starts(inputs: Inputs, state: State, row: int, from_v: float) -> Cascade:
    """Which radios start, one after the other, as the emf rises from a low voltage, at which all are off, to float."""
    network, power, cut, _ = _line(inputs, state, row)
    if inputs.base_w > 0:
        wider, watts, cuts = _with_base(inputs, network, power, cut)
        on = np.zeros(watts.size, bool)
        on[-1] = True
        return rise(wider, watts, cuts, _starts(inputs), from_v, float(inputs.float_v), on, BUS)
    return rise(network, power, cut, inputs.restart_v, from_v, float(inputs.float_v), None, BUS)
