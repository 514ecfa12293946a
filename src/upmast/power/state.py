"""
The electrical state of one line: what its room sees of it (arrays), and the solved voltages, currents and temperatures.

Resistance depends on temperature and temperature on current, so load flow and heating are solved in turn until no conductor
moves by more than 0.01 K.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from upmast.power.cable_heat import CableHeat
from upmast.power.converter import Converter, bypassed, convert
from upmast.power.heating import LIMIT_C
from upmast.power.loads import Loads
from upmast.power.network import Network, solve
from upmast.power.trip import TripCurve
from upmast.power.warmth import RUNAWAY_C, ampacities_a, sheath_c, warmed_c

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
MOST_ROUNDS = 40  # a few are enough but close to collapse
SETTLED_K = 0.01


@dataclass(frozen=True, eq=False)
class Trunk:
    """A cable with several loaded pairs whose heat is taken from its own section: its branches in the order of its cores."""

    item: str
    branches: tuple[int, ...]
    shield: int  # branch of its shield, -1 where that carries no current
    heat: CableHeat
    limit_c: float


@dataclass(frozen=True, eq=False)
class BatteryInputs:
    """The battery of the plant: usable capacity at the ten-hour rate, its curve, the charge at the start."""

    kind: str
    capacity_ah: float
    full_v: float
    end_v: float
    cells: int
    peukert: float
    charge_fraction: float


@dataclass(frozen=True, eq=False)
class Protection:
    """What guards a wire: a breaker of the cabinet, or the one in an output of a bussed box. [k]."""

    item: str
    part: str
    branch: int
    rated_a: float
    usable_a: float  # after derating; NaN where what it needs isn't known
    lacking: str  # what is missing for that
    breaking_ka: float
    conventional: float  # I2 / In
    curve: TripCurve | None
    # groups of line branches in series; those of a group are in parallel
    protects: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, eq=False)
class Inputs:
    """
    All that the room sees of a line. One row a branch (nb), a radio (m), a breaker (k), a scenario (s).

    Node 0 is the line bar from which the line starts, node 1 the return bar, the last node the emf behind its source
    resistance. With a converter node 0 is its output.
    """

    site: str
    scenarios: tuple[str, ...]
    emf_v: Array  # [s]
    ambient_c: Array  # [s]
    sun_w_per_m2: Array  # [s]
    load_fraction: Array  # [s]
    source_ohm: float
    base_w: float
    converter: Converter | None
    regulation_v: float
    node_count: int
    branch_from: NDArray[np.intp]
    branch_to: NDArray[np.intp]
    kind: tuple[str, ...]  # [nb] source, breaker, line, return, box, bond, shield
    item: tuple[str, ...]  # [nb]
    part: tuple[str, ...]  # [nb]
    pair: NDArray[np.intp]  # [nb] 0 where none
    length_m: Array  # [nb] 0 for what is not a cable
    ohm_per_km: Array  # [nb]
    ohm_source: tuple[str, ...]  # [nb] empty: the table of sizes
    fixed_ohm: Array  # [nb] contacts, breaker, path through a box
    contact_a: Array  # [nb] smallest rating of the contacts in it, inf where none is given
    contact: tuple[str, ...]  # [nb] the connector that has it
    area_mm2: Array  # [nb] NaN for what is not a cable
    reference_a: (
        Array  # [nb] tabulated ampacity in its bundle at 30 C; inf for what is not a cable, or is taken by its section
    )
    limit_c: Array  # [nb]
    insulation: tuple[str, ...]  # [nb]
    circuits: NDArray[np.intp]  # [nb] loaded pairs in one bundle
    arrangement: tuple[str, ...]  # [nb]
    trunks: tuple[Trunk, ...]
    radios: tuple[str, ...]
    plus: NDArray[np.intp]  # [m] -1: not connected
    minus: NDArray[np.intp]
    draws: tuple[str, ...]  # [m] power, current, resistance
    maximum_w: Array
    rated_v: Array
    limit_a: Array  # [m] inf where none
    minimum_v: Array
    cut_out_v: Array
    restart_v: Array
    maximum_v: Array
    capacitance_uf: Array  # [m] NaN where not given
    inrush_a: Array  # [m] NaN where not given
    inrush_s: Array  # [m] NaN where not given
    radio_part: tuple[str, ...]
    radio_source: tuple[tuple[str, str], ...]  # [m] document and mark of the minimum voltage
    radio_declared: tuple[bool, ...]  # [m] power or voltage typed in the site, not from the part
    breakers: tuple[Protection, ...]  # of the cabinet [k]
    outputs: tuple[Protection, ...]  # of the boxes
    # id, part, output rating, total rating, branches of the outputs, breaker in each output (0: straight box; inf: bussed, none)
    boxes: tuple[tuple[str, str, float, float, tuple[int, ...], float], ...]
    totals: tuple[
        tuple[str, str, float, tuple[int, ...]], ...
    ]  # cable, part, rating of all pairs together, its line branches
    pairs_used: tuple[tuple[str, int, tuple[int, ...]], ...]  # trunk or run, pair, its branches
    spares: tuple[tuple[str, int], ...]  # trunk and how many of its pairs feed nothing
    pairs_total: int  # of the trunks
    pairs_fed: int
    spare_pairs_asked: int
    positions_free: int
    short_circuit_ka: float
    must_survive: tuple[str, ...]
    continuous_load: str
    load_states: tuple[tuple[float, float], ...]
    float_v: float
    end_v: float  # lowest emf of the plant
    disconnect_v: float  # of the bars under load; 0: no such device
    mean_c: float
    battery: BatteryInputs | None


@dataclass(frozen=True, eq=False)
class Rows:
    """States of the world that are solved together, one a row [r]. `opened` [r, nb]: branches that are broken."""

    emf_v: Array
    ambient_c: Array
    sun_w_per_m2: Array
    load_fraction: Array
    opened: Mask | None = None
    bypass: bool = False  # the converter has failed and is bypassed


@dataclass(frozen=True, eq=False)
class Flow:
    """
    What flows. Leading axes are scenarios.

    exists, certified [r]; port_v, port_a, limited [r, m] of the radios; branch_a [r, nb]; residual_v [r]; iterations.
    start_v [r]: where the line starts, at the bars or at the output of the converter; bars_v [r]. plant_a [r]: current of the
    battery or rectifiers, base load included; source_w [r]: power of the emf. line_loss_w [r]: heat in all branches but the
    source. converter_w, input_w, input_a [r]: output and input of the converter, NaN where there is none.
    """

    exists: Mask
    certified: Mask
    port_v: Array
    port_a: Array
    limited: Mask
    branch_a: Array
    residual_v: Array
    iterations: int
    start_v: Array
    bars_v: Array
    plant_a: Array
    source_w: Array
    line_loss_w: Array
    converter_w: Array
    input_w: Array
    input_a: Array
    largest_w: Array


@dataclass(frozen=True, eq=False)
class State:
    """What is solved: per row the conductor temperatures, branch resistances and the load flow."""

    rows: Rows
    sheath_c: Array  # [r]
    temperature_c: Array  # [r, nb] with the currents of `flow`
    used_c: Array  # [r, nb] with which `branch_ohm` was made; within 0.01 K of `temperature_c`
    branch_ohm: Array  # [r, nb]
    power_w: Array  # [r, m] drawn, or asked for where there is no operating point
    flow: Flow
    rounds: int


def network_of(inputs: Inputs, branch_ohm: Array, emf_v: Array, base: bool = False) -> Network:
    """
    The network with given branch resistances. Radios that hang in the air get a port on the bars, without load.

    base: one more port at the bars, for the base load.
    """
    plus = np.where(inputs.plus >= 0, inputs.plus, 0)
    minus = np.where(inputs.minus >= 0, inputs.minus, 1)
    if base:
        plus, minus = np.append(plus, 0), np.append(minus, 1)
    return Network(
        inputs.node_count, inputs.branch_from, inputs.branch_to, branch_ohm, inputs.node_count - 1, 1, emf_v, plus, minus,
    )  # fmt: skip


def hung(inputs: Inputs) -> Mask:
    """Radios that are connected on both wires."""
    return (inputs.plus >= 0) & (inputs.minus >= 0)


def loads_of(inputs: Inputs, load_fraction: Array, base: bool = False) -> Loads:
    """The radios at shares of their highest power [r], and the base load on a port of its own."""
    watts = np.asarray(load_fraction)[..., None] * np.where(hung(inputs), inputs.maximum_w, 0.0)
    draws = np.array(inputs.draws)

    def part(kind: str, per: Array) -> Array:
        return np.where(draws == kind, watts / per, 0.0)

    def with_base(values: Array, last: float) -> Array:
        return np.concatenate([values, np.full((*values.shape[:-1], 1), last)], axis=-1) if base else values

    power, current, conductance = (
        part("power", np.ones(1)),
        part("current", inputs.rated_v),
        part("resistance", inputs.rated_v**2),
    )
    return Loads(
        with_base(power, inputs.base_w), with_base(current, 0.0), with_base(conductance, 0.0), with_base(inputs.limit_a, np.inf)
    )  # fmt: skip


def branch_ohm(inputs: Inputs, temperature_c: Array) -> Array:
    """R = r20 L (1 + alpha (theta - 20)) / 1000 + contacts, per branch."""
    alpha = COPPER_TEMPERATURE_COEFFICIENT_PER_K.value
    hot = inputs.ohm_per_km * inputs.length_m / 1000 * (1 + alpha * (temperature_c - 20))
    return np.asarray(hot + inputs.fixed_ohm)


def flow_of(inputs: Inputs, ohm: Array, rows: Rows) -> Flow:
    """Load flow of some rows with given branch resistances [r, nb]."""
    nan = np.full(rows.emf_v.shape, np.nan)
    m = len(inputs.radios)
    if inputs.converter is None:
        base = inputs.base_w > 0
        found = solve(network_of(inputs, ohm, rows.emf_v, base), loads_of(inputs, rows.load_fraction, base))
        bars, plant, source = found.node_v[..., 0], found.branch_a[..., 0], found.source_w
        converter_w = input_w = input_a = nan
        largest = nan
        exists = found.exists
    else:
        line = ohm.copy()
        line[..., 0] = 0.0
        network, loads = network_of(inputs, line, rows.emf_v), loads_of(inputs, rows.load_fraction)
        if rows.bypass:
            found, bars = bypassed(network, loads, rows.emf_v, inputs.source_ohm, inputs.base_w)
            exists = found.exists
            plant = np.where(exists, found.branch_a[..., 0] + inputs.base_w / np.where(bars > 0, bars, 1.0), np.nan)
            source = rows.emf_v * plant
            converter_w = input_w = input_a = largest = nan
        else:
            both = convert(network, loads, inputs.converter, rows.emf_v, inputs.source_ohm, inputs.base_w)
            found, exists, bars, plant, source = both.downstream, both.exists, both.input_v, both.bus_a, both.plant_w
            converter_w, input_w, input_a, largest = both.asked_w, both.input_w, both.input_a, both.largest_w
    finite = np.where(np.isfinite(ohm), ohm, 0.0)
    loss = (found.branch_a**2 * finite)[..., 1:].sum(axis=-1)
    return Flow(
        exists, found.certified, found.port_v[..., :m], found.port_a[..., :m], found.limited[..., :m],
        np.where(exists[..., None], found.branch_a, np.nan), found.residual_v, found.iterations, found.node_v[..., 0],
        bars, plant, source, loss, converter_w, input_w, input_a, largest,
    )  # fmt: skip


def settle(
    inputs: Inputs, rows: Rows, start_c: Array | None = None, *, settled_k: float = SETTLED_K, lengths_m: Array | None = None
) -> State:  # fmt: skip
    """
    Solve load flow and heating in turn for some rows.

    From conductors without current temperatures only rise from round to round, so that a row that once has no operating point
    has none. From `start_c` [r, nb] they may fall: such a row begins once more, from conductors without current. A row that
    doesn't settle has no operating point either: its conductors would run away. lengths_m [r, nb]: of the branches, row by row.
    """
    around = sheath_c(rows.ambient_c, rows.sun_w_per_m2)
    cold = np.repeat(around[:, None], inputs.length_m.shape[-1], axis=1)
    theta, fresh = (cold, np.ones(around.size, bool)) if start_c is None else (start_c, np.zeros(around.size, bool))
    laid = inputs if lengths_m is None else replace(inputs, length_m=lengths_m)
    lives = np.ones(around.size, bool)
    rounds = 0
    while True:
        rounds += 1
        ohm = branch_ohm(laid, theta)
        if rows.opened is not None:
            ohm = np.where(rows.opened, np.inf, ohm)
        flow = flow_of(inputs, ohm, rows)
        again = lives & ~flow.exists & ~fresh
        lives &= flow.exists | again
        fresh |= again
        current = np.abs(np.where((lives & ~again)[:, None], flow.branch_a, 0.0))
        new = np.minimum(warmed_c(inputs, current, rows.ambient_c, rows.sun_w_per_m2, around), RUNAWAY_C)
        new = np.where(lives[:, None], np.where(again[:, None], cold, new), theta)  # the dead stay as they died
        moved = np.abs(new - theta).max(axis=1, initial=0.0)
        still = moved < settled_k
        if (still.all() and not again.any()) or rounds >= MOST_ROUNDS:
            break
        theta = new
    flow = replace(flow, exists=lives & still & ~again)
    asked = rows.load_fraction[:, None] * np.where(hung(inputs), inputs.maximum_w, 0.0)
    power = np.where(flow.exists[:, None], flow.port_v * flow.port_a, asked)
    return State(rows, around, new, theta, ohm, power, flow, rounds)


def scenario_rows(inputs: Inputs) -> Rows:
    """The scenarios of the room as rows."""
    return Rows(inputs.emf_v, inputs.ambient_c, inputs.sun_w_per_m2, inputs.load_fraction)


def evaluate(inputs: Inputs) -> State:
    """Solve load flow and heating together for every scenario."""
    return settle(inputs, scenario_rows(inputs))


def ampacity_of(inputs: Inputs, state: State, row: int) -> Array:
    """Ampacity of each branch [nb] in one row: others in the cable keep their own currents. Infinite for what is no cable."""
    current = np.abs(np.nan_to_num(state.flow.branch_a[row]))
    return ampacities_a(inputs, current, float(state.rows.ambient_c[row]), float(state.rows.sun_w_per_m2[row]))


def yearly(inputs: Inputs) -> tuple[Rows, Flow]:
    """The load states of the day on float in mean air, conductors at the mean air."""
    fractions = np.array([fraction for fraction, _ in inputs.load_states])
    ones = np.ones(fractions.size)
    rows = Rows(inputs.float_v * ones, inputs.mean_c * ones, 0 * ones, fractions)
    return rows, flow_of(
        inputs, branch_ohm(inputs, np.full((fractions.size, inputs.length_m.size), inputs.mean_c)), rows
    )


def yearly_loss_w(inputs: Inputs) -> Array:
    """
    Heat in the line, and in the converter if there is one, in each load state, on float in mean air. NaN where nothing flows.
    """
    _, flow = yearly(inputs)
    lost = flow.line_loss_w
    if inputs.converter is not None:
        lost = lost + flow.input_w - flow.converter_w
    return np.asarray(np.where(flow.exists, lost, np.nan))


def repeated(rows: Rows, row: int, count: int, opened: Mask | None = None, bypass: bool = False) -> Rows:
    """One row, several times, with branches open or the converter bypassed."""
    emf, ambient, sun, load = (
        np.full(count, float(v[row])) for v in (rows.emf_v, rows.ambient_c, rows.sun_w_per_m2, rows.load_fraction)
    )
    return Rows(emf, ambient, sun, load, opened, bypass)


__all__ = [
    "LIMIT_C",
    "BatteryInputs",
    "Flow",
    "Inputs",
    "Protection",
    "Rows",
    "State",
    "Trunk",
    "ampacity_of",
    "branch_ohm",
    "evaluate",
    "flow_of",
    "hung",
    "loads_of",
    "network_of",
    "repeated",
    "scenario_rows",
    "settle",
    "yearly",
    "yearly_loss_w",
]  # fmt: skip
