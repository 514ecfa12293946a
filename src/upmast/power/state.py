"""
The electrical state of one line: what its room sees of it (arrays), and the solved voltages, currents and temperatures.

Resistance depends on temperature and temperature on current, so load flow and heating are solved in turn until no conductor
moves by more than 0.01 K.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from upmast.power.heating import LIMIT_C, conductor_temperature_c
from upmast.power.network import Network, Solution, solve
from upmast.weather.sun import STILL_AIR_W_PER_M2_K, sun_temperature_c, surface

Array = NDArray[np.float64]
MOST_ROUNDS = 12
SETTLED_K = 0.01
RUNAWAY_C = 150.0


@dataclass(frozen=True, eq=False)
class Inputs:
    """
    All that the room sees of a line. One row a branch (nb), a radio (m), a breaker (k), a scenario (s).

    Node 0 is the line bar of the plant, node 1 the return bar, the last node the emf behind its source resistance.
    """

    site: str
    scenarios: tuple[str, ...]
    emf_v: Array  # [s]
    ambient_c: Array  # [s]
    sun_w_per_m2: Array  # [s]
    load_fraction: Array  # [s]
    source_ohm: float
    node_count: int
    branch_from: NDArray[np.intp]
    branch_to: NDArray[np.intp]
    kind: tuple[str, ...]  # [nb] source, breaker, line, return, box
    item: tuple[str, ...]  # [nb]
    part: tuple[str, ...]  # [nb]
    pair: NDArray[np.intp]  # [nb] 0 where none
    length_m: Array  # [nb] 0 for what is not a cable
    ohm_per_km: Array  # [nb]
    fixed_ohm: Array  # [nb] contacts, breaker, path through a box
    contact_a: Array  # [nb] smallest rating of the contacts in it, inf where none is given
    contact: tuple[str, ...]  # [nb] the connector that has it
    area_mm2: Array  # [nb] NaN for what is not a cable
    reference_a: Array  # [nb] ampacity in its bundle at 30 C, inf for what is not a cable
    limit_c: Array  # [nb]
    insulation: tuple[str, ...]  # [nb]
    circuits: NDArray[np.intp]  # [nb] loaded pairs in one bundle
    arrangement: tuple[str, ...]  # [nb]
    radios: tuple[str, ...]
    plus: NDArray[np.intp]  # [m] -1: not connected
    minus: NDArray[np.intp]
    maximum_w: Array
    minimum_v: Array
    cut_out_v: Array
    maximum_v: Array
    radio_part: tuple[str, ...]
    radio_source: tuple[tuple[str, str], ...]  # [m] document and mark of the minimum voltage
    radio_declared: tuple[bool, ...]  # [m] power or voltage typed in the site, not from the part
    breakers: tuple[str, ...]
    breaker_branch: NDArray[np.intp]  # [k]
    rated_a: Array  # [k]
    breaking_ka: Array  # [k]
    conventional: Array  # [k] I2 / In
    protects: tuple[
        tuple[tuple[int, ...], ...], ...
    ]  # [k] groups of line branches in series; those of a group are in parallel
    # id, output rating, total rating, branches of the outputs, breaker in each output (0: straight box; inf: bussed, none)
    boxes: tuple[tuple[str, float, float, tuple[int, ...], float], ...]
    pairs_used: tuple[tuple[str, int, tuple[int, ...]], ...]  # trunk, pair, its branches
    pairs_total: int  # of the trunks
    pairs_fed: int
    spare_pairs_asked: int
    positions_free: int
    short_circuit_ka: float
    must_survive: tuple[str, ...]
    load_states: tuple[tuple[float, float], ...]
    float_v: float
    mean_c: float
    battery: tuple[float, float, float, float, float] | None  # Ah usable, full V, end V, base load W, Peukert exponent


@dataclass(frozen=True, eq=False)
class State:
    """What is solved: per scenario the conductor temperatures, branch resistances and the load flow."""

    sheath_c: Array  # [s]
    temperature_c: Array  # [s, nb] with the currents of `flow`
    used_c: Array  # [s, nb] with which `branch_ohm` was made; within 0.01 K of `temperature_c`
    branch_ohm: Array  # [s, nb]
    network: Network
    power_w: Array  # [s, m]
    flow: Solution
    rounds: int


def network_of(inputs: Inputs, branch_ohm: Array, emf_v: Array) -> Network:
    """The network with given branch resistances. Radios that hang in the air get a port on the bars, without load."""
    plus = np.where(inputs.plus >= 0, inputs.plus, 0)
    minus = np.where(inputs.minus >= 0, inputs.minus, 1)
    return Network(
        inputs.node_count,
        inputs.branch_from,
        inputs.branch_to,
        branch_ohm,
        inputs.node_count - 1,
        1,
        emf_v,
        plus,
        minus,
    )


def hung(inputs: Inputs) -> NDArray[np.bool_]:
    """Radios that are connected on both wires."""
    return (inputs.plus >= 0) & (inputs.minus >= 0)


def branch_ohm(inputs: Inputs, temperature_c: Array) -> Array:
    """R = r20 L (1 + alpha (theta - 20)) / 1000 + contacts, per branch."""
    alpha = COPPER_TEMPERATURE_COEFFICIENT_PER_K.value
    hot = inputs.ohm_per_km * inputs.length_m / 1000 * (1 + alpha * (temperature_c - 20))
    return np.asarray(hot + inputs.fixed_ohm)


def evaluate(inputs: Inputs) -> State:
    """Solve load flow and heating together for every scenario."""
    black = surface("black_sheath")
    sheath = sun_temperature_c(
        inputs.ambient_c, inputs.sun_w_per_m2, black.absorptivity, black.emissivity, STILL_AIR_W_PER_M2_K
    )
    power = inputs.load_fraction[:, None] * np.where(hung(inputs), inputs.maximum_w, 0.0)
    around = np.broadcast_to(sheath[:, None], (sheath.size, inputs.length_m.size))
    theta = np.array(around)
    cable = inputs.length_m > 0
    rounds = 0
    while True:
        rounds += 1
        ohm = branch_ohm(inputs, theta)
        network = network_of(inputs, ohm, inputs.emf_v)
        flow = solve(network, power)
        current = np.abs(np.where(flow.exists[:, None], flow.branch_a, 0.0))
        new = np.array(theta)
        new[:, cable] = np.minimum(
            conductor_temperature_c(
                current[:, cable], inputs.reference_a[cable], around[:, cable], inputs.limit_c[cable]
            ),
            RUNAWAY_C,
        )
        moved = float(np.max(np.abs(new - theta), initial=0.0))
        if moved < SETTLED_K or rounds >= MOST_ROUNDS:
            break
        theta = new
    return State(sheath, new, theta, ohm, network, power, flow, rounds)


def open_one_pair(inputs: Inputs, state: State, scenario: int) -> tuple[Array, NDArray[np.bool_]]:
    """
    Voltage at each radio with each used pair open in turn, in one scenario: [faults, m], and where a solution exists.

    The conductors keep the temperature of the sound line.
    """
    ohm = np.repeat(state.branch_ohm[scenario][None, :], len(inputs.pairs_used), axis=0)
    for row, (_, _, branches) in enumerate(inputs.pairs_used):
        ohm[row, list(branches)] = np.inf
    network = network_of(inputs, ohm, np.full(len(inputs.pairs_used), inputs.emf_v[scenario]))
    flow = solve(network, np.repeat(state.power_w[scenario][None, :], len(inputs.pairs_used), axis=0))
    return np.where(flow.exists[:, None], flow.port_v, np.nan), flow.exists


def yearly_loss_w(inputs: Inputs) -> Array:
    """Heat in the line in each load state, on float in mean air, conductors at the mean air. NaN where nothing flows."""
    fractions = np.array([fraction for fraction, _ in inputs.load_states])
    theta = np.full((fractions.size, inputs.length_m.size), inputs.mean_c)
    network = network_of(inputs, branch_ohm(inputs, theta), np.full(fractions.size, inputs.float_v))
    power = fractions[:, None] * np.where(hung(inputs), inputs.maximum_w, 0.0)
    flow = solve(network, power)
    return np.where(
        flow.exists, flow.source_w - power.sum(axis=1) - inputs.source_ohm * flow.branch_a[:, 0] ** 2, np.nan
    )


def battery_minutes(inputs: Inputs, state: State, points: int = 17) -> float:
    """
    Minutes from mains failure to the end of discharge: t = integral of C_I d(dod) / I(E), E falling linearly with dod.

    C_I = C (I_10 / I)^(k - 1) with I_10 = C / 10 h: Peukert's law from the ten-hour rate.

    All radios at full power, conductors as hot as in the first scenario. NaN where no current can be found.
    """
    if inputs.battery is None:
        return float("nan")
    capacity_ah, full_v, end_v, base_w, exponent = inputs.battery
    emf = np.linspace(full_v, end_v, points)
    ohm = np.repeat(state.branch_ohm[0][None, :], points, axis=0)
    power = np.repeat(np.where(hung(inputs), inputs.maximum_w, 0.0)[None, :], points, axis=0)
    flow = solve(network_of(inputs, ohm, emf), power)
    current = np.where(flow.exists, flow.branch_a[:, 0], np.nan) + base_w / emf
    with np.errstate(divide="ignore"):
        charge = capacity_ah * (capacity_ah / 10 / current) ** (exponent - 1)
        return float(np.trapezoid(charge / current, dx=1 / (points - 1)) * 60)


__all__ = [
    "LIMIT_C", "Inputs", "State", "battery_minutes", "branch_ohm", "evaluate", "hung", "network_of", "open_one_pair", "yearly_loss_w",
]  # fmt: skip
