"""A voltage-raising converter at the base of the line: what it gives to the radios, and what it takes from the plant."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.checked import not_negative
from upmast.power.load_flow import largest_power_w, single
from upmast.power.loads import Loads
from upmast.power.network import Case, Solution, solve
from upmast.power.newton import Found
from upmast.power.wires import Network

__all__ = ["Converted", "Converter", "bypassed", "convert"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
# Relative to the output voltage: the last difference from the voltage that the compensation asks for.
_CLOSE = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Converter:
    """
    A regulated converter; all fields of any shape, broadcast with the scenarios.

    `V_out = min(V_set + R_c I_out, V_max)`, `P_in = V_out I_out / eta + P_0`

    Parameters
    ----------
    set_v [V]: output voltage without load. maximum_v [V]: highest output voltage.
    efficiency_fraction: output over input power above the idle power, 0 to 1.
    idle_w [W]: input power without load.
    compensation_ohm [ohm]: rise of the set voltage with the output current, to make up for the drop in the line.
    limit_w [W]: largest output power; infinite where it isn't known.

    Raises
    ------
    ValueError
        For a number that is negative or missing, an efficiency not in (0, 1], a maximum below the set voltage.
    """

    set_v: Array
    maximum_v: Array
    efficiency_fraction: Array
    idle_w: Array
    compensation_ohm: Array
    limit_w: Array

    def __init__(
        self,
        set_v: ArrayLike,
        maximum_v: ArrayLike,
        efficiency_fraction: ArrayLike,
        idle_w: ArrayLike = 0.0,
        compensation_ohm: ArrayLike = 0.0,
        limit_w: ArrayLike = np.inf,
    ) -> None:
        given = {
            "set_v": set_v, "maximum_v": maximum_v, "efficiency_fraction": efficiency_fraction, "idle_w": idle_w,
            "compensation_ohm": compensation_ohm, "limit_w": limit_w,
        }  # fmt: skip
        for name, value in given.items():
            (array,) = not_negative(finite=name != "limit_w", **{name: value})
            object.__setattr__(self, name, array)
        if not np.all((self.efficiency_fraction > 0) & (self.efficiency_fraction <= 1)):
            raise ValueError("efficiency_fraction must lie above 0 and not above 1")
        if not np.all(self.set_v > 0) or not np.all(self.maximum_v >= self.set_v):
            raise ValueError("set_v must be positive and maximum_v not below it")


@dataclass(frozen=True, slots=True, eq=False)
class Converted:
    """
    What flows on both sides. Leading axes are scenarios.

    exists [...]: all three of the next. Where False, voltages and currents are NaN.
    downstream_exists [...]: the line has a high-voltage solution at the output voltage.
    within_limit [...]: the output power is not above the limit. upstream_exists [...]: the plant can deliver the input power.
    Each of these is False only where it is shown to fail: True, too, where an earlier one failed.
    downstream: the line, fed by the output. output_v, output_a [...].
    asked_w [...]: output power that the line asks for, also where it is too much; NaN where `downstream_exists` is False.
    input_v, input_a, input_w [...]: of the converter. bus_a [...]: of plant and feeder, with the load at the bus bars.
    plant_w [...]: of the emf, with the loss in its source resistance. largest_w [...]: the most that the plant could deliver
    at the bus bars at all.
    raises [...]: the output lies above the input voltage, as the model takes it to; False where there is no solution.
    """

    exists: Mask
    downstream_exists: Mask
    within_limit: Mask
    upstream_exists: Mask
    downstream: Solution
    output_v: Array
    output_a: Array
    asked_w: Array
    input_v: Array
    input_a: Array
    input_w: Array
    bus_a: Array
    plant_w: Array
    largest_w: Array
    raises: Mask


def _output_v(case: Case, floor: Array, ceiling: Array, ohm: Array) -> tuple[Array, Mask]:
    """
    The voltage that equals what the compensation asks for, and whether there is one, [s].

    `h(V) = V - V_set - R_c I(V)`, I infinite without downstream solution, is below 0 at V_set and rises: I falls with V
    for constant power and current, and rises by less than V / R_c for resistances below it. At V_max h < 0 means V_max
    itself. Where h jumps from below to above 0 at the voltage of collapse, no voltage is kept.
    """
    output = np.where(ohm > 0, ceiling, np.minimum(floor, ceiling))
    kept = np.ones(output.shape, bool)
    rows = np.flatnonzero((ohm > 0) & (ceiling > floor))
    if not rows.size:
        return output, kept

    def above(v: Array, rows: NDArray[np.intp]) -> Array:
        part = case.rows(rows)
        found = part.found(v)
        current = np.where(found.exists, part.source_a(v, part.drawn(v, found)), np.inf)
        return np.asarray(v - floor[rows] - ohm[rows] * current)

    low, high = floor[rows], ceiling[rows]
    at_high = above(high, rows)
    inside = at_high > 0
    rows, low, high, at_high = rows[inside], low[inside], high[inside], at_high[inside]
    at_low = above(low, rows)
    while rows.size:
        middle = (low + high) / 2
        at_middle = above(middle, rows)
        # the zero of the exponential through three points (Ridders); while one is infinite, three quarters
        smooth = np.isfinite(at_low) & np.isfinite(at_middle)
        bend = np.sqrt(
            np.where(smooth, at_middle * at_middle - at_low * at_high, 1.0), where=smooth, out=np.ones_like(low)
        )
        share = np.where(smooth, at_middle, 0.0) / np.where(bend > 0, bend, 1.0)
        v = np.where(smooth, middle - (middle - low) * share, (middle + high) / 2)
        h = above(v, rows)
        close = np.abs(h) <= _CLOSE * v
        spent = ~close & (high - low <= _CLOSE * v)
        output[rows] = v
        for x, at in ((middle, at_middle), (v, h)):
            lifts, drops = (at <= 0) & (x > low), (at > 0) & (x < high)
            low, at_low = np.where(lifts, x, low), np.where(lifts, at, at_low)
            high, at_high = np.where(drops, x, high), np.where(drops, at, at_high)
        # a bracket with a solution at both ends holds a zero, even where rounding near collapse hides it
        kept[rows[spent & np.isinf(at_low)]] = False
        on = ~close & ~spent
        rows, low, high = rows[on], low[on], high[on]
        at_low, at_high = at_low[on], at_high[on]
    return output, kept


def _kept(found: Found, mask: Mask) -> Found:
    return Found(
        np.where(mask[:, None], found.v, np.nan),
        found.exists & mask,
        found.certified,
        np.where(mask, found.residual, np.nan),
        found.iterations,
    )


def convert(
    network: Network,
    loads: Loads | ArrayLike,
    converter: Converter,
    emf_v: ArrayLike,
    source_ohm: ArrayLike,
    base_w: ArrayLike = 0.0,
) -> Converted:
    """
    Load flow with a converter between plant and line.

    `V_out = min(V_set + R_c I_out, V_max)`; `P_in = V_out I_out / eta + P_0`; at the bus bars, with the base load beside the
    converter, `V_in = (E + sqrt(E^2 - 4 r_0 (P_in + P_base))) / 2`. A base load without converter draws from the same bars.

    The line compensation is a negative resistance of the source; the output voltage is found in a bracket between V_set and
    V_max, where no downstream solution counts as infinite current, so that the high-voltage solution is met whenever there
    is one.

    Parameters
    ----------
    network: the line; its source is the output of the converter, its `emf_v` doesn't count.
    loads: see `Loads`; a plain array is constant power [W], [..., m].
    emf_v [V], source_ohm [ohm]: of the plant: battery, main feeder, main fuse; [...].
    base_w [W]: constant-power load at the bus bars beside the converter, [...].

    Returns
    -------
    Converted, in the scenarios of all inputs broadcast against each other.

    Valid for output voltages above the input voltage (`raises`). With resistive loads there is one operating point where
    R_c is below the resistance that the line shows to the converter without constant-power loads.

    Source: own derivation, checked by ngspice operating points.

    >>> pair = Network(4, [0, 1], [2, 3], [0.15, 0.15], 0, 1, 0.0, [2], [3])
    >>> raised = convert(pair, [700.0], Converter(56.0, 58.0, 0.96, idle_w=10.0), 44.0, 0.010)
    >>> [round(float(x), 4) for x in (raised.downstream.port_v[0], raised.output_a, raised.input_v, raised.input_a)]
    [51.9583, 13.4723, 43.8184, 18.1633]
    """
    emf, resistance, base = not_negative(finite=True, emf_v=emf_v, source_ohm=source_ohm, base_w=base_w)
    fields = (
        converter.set_v, converter.maximum_v, converter.efficiency_fraction, converter.idle_w, converter.compensation_ohm,
        converter.limit_w, emf, resistance, base,
    )  # fmt: skip
    case = Case.of(replace(network, emf_v=np.asarray(1.0)), loads, *(x.shape for x in fields))
    shape = case.shape
    floor, ceiling, efficiency, idle, ohm, limit, emf, resistance, base = (
        np.broadcast_to(x, shape).reshape(-1) for x in fields
    )
    output, kept = _output_v(case, floor, ceiling, ohm)
    found = _kept(case.found(output), kept)
    output_a = case.source_a(output, case.drawn(output, found))
    asked = np.where(found.exists, output * output_a, np.nan)
    within = ~(asked > limit)
    input_w = asked / efficiency + idle
    supply = found.exists & within
    plant = single(emf, resistance, np.where(supply, input_w + base, 0.0))
    upstream = plant.exists & ((emf > 0) | ~supply)
    exists = supply & upstream

    def only(values: Array) -> Array:
        return np.asarray(np.where(exists, values, np.nan)).reshape(shape)

    input_v = np.where(exists & (plant.voltage_v > 0), plant.voltage_v, np.nan)
    bus = plant.current_a
    return Converted(
        exists=exists.reshape(shape),
        downstream_exists=found.exists.reshape(shape),
        within_limit=within.reshape(shape),
        upstream_exists=upstream.reshape(shape),
        downstream=case.finished(output, _kept(found, exists)),
        output_v=only(output),
        output_a=only(output_a),
        asked_w=asked.reshape(shape),
        input_v=only(plant.voltage_v),
        input_a=only(input_w / input_v),
        input_w=only(input_w),
        bus_a=only(bus),
        plant_w=only(emf * bus),
        largest_w=largest_power_w(emf, resistance).reshape(shape),
        raises=(exists & (output > np.where(exists, plant.voltage_v, np.inf))).reshape(shape),
    )


def bypassed(
    network: Network, loads: Loads | ArrayLike, emf_v: ArrayLike, source_ohm: ArrayLike, base_w: ArrayLike = 0.0
) -> tuple[Solution, Array]:
    """
    Load flow with the converter failed and bypassed: the plant feeds the line straight through.

    Parameters
    ----------
    network, loads, emf_v, source_ohm, base_w: as for `convert`.

    Returns
    -------
    Solution of the line, and the voltage at the bus bars [V], [...]. `source_w` is what the line draws at the bus bars.

    Source: own derivation (the same network with one more branch and port).

    >>> pair = Network(4, [0, 1], [2, 3], [0.15, 0.15], 0, 1, 0.0, [2], [3])
    >>> line, bus_v = bypassed(pair, [700.0], 44.0, 0.010)
    >>> round(float(line.port_v[0]), 4), round(float(bus_v), 4)
    (38.3401, 43.8174)
    """
    emf, resistance, base = not_negative(finite=True, emf_v=emf_v, source_ohm=source_ohm, base_w=base_w)
    given = loads if isinstance(loads, Loads) else Loads(loads)
    inner, bars = network.node_count, network.source_plus
    rows = np.broadcast_shapes(network.branch_ohm.shape[:-1], resistance.shape)
    count, ports = network.branch_from.size, network.port_plus.size
    whole = Network(
        inner + 1,
        np.append(network.branch_from, inner),
        np.append(network.branch_to, bars),
        np.concatenate(
            [
                np.broadcast_to(network.branch_ohm, (*rows, count)),
                np.broadcast_to(resistance, rows)[..., None],
            ],
            axis=-1,
        ),
        inner,
        network.source_minus,
        emf,
        np.append(network.port_plus, bars),
        np.append(network.port_minus, network.source_minus),
    )

    def more(part: Array, last: Array) -> Array:
        front = np.broadcast_shapes(part.shape[:-1], last.shape)
        wide = np.broadcast_to(part, (*front, ports))
        return np.concatenate([wide, np.broadcast_to(last, front)[..., None]], axis=-1)

    all_loads = Loads(
        more(given.power_w, base),
        more(given.current_a, np.zeros(())),
        more(given.conductance_s, np.zeros(())),
        more(given.limit_a, np.full((), np.inf)),
    )
    flow = solve(whole, all_loads)
    bus_v = flow.node_v[..., bars]
    line = replace(
        flow,
        supplied=flow.supplied[..., :ports],
        port_v=flow.port_v[..., :ports],
        port_a=flow.port_a[..., :ports],
        branch_a=flow.branch_a[..., :count],
        node_v=flow.node_v[..., :inner],
        source_w=bus_v * (flow.branch_a[..., count] - flow.port_a[..., ports]),
        limited=flow.limited[..., :ports],
    )
    return line, bus_v
