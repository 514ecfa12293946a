"""
All RF paths of one line as arrays, and what follows: worst reflection at the radio, with a load, and the loss.

Every channel of a path is looked at in three points: both edges and the centre. Between them |G| of joints and lines is so
smooth that a channel of 3 % of its frequency hides less than 0.01 dB.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.rf.joint import joint_gamma
from upmast.rf.loss import line_loss_db
from upmast.rf.phase_set import PhaseSet
from upmast.rf.rated import PathPower, RatedPart
from upmast.rf.reflection import (
    add_worst,
    gamma_from_return_loss,
    gamma_from_vswr,
    reflection_interval,
    two_port_bound,
    vswr,
)
from upmast.weather.sun import STILL_AIR_W_PER_M2_K, sun_temperature_c, surface

Array = NDArray[np.float64]
LOAD_RETURN_LOSS_DB = 40.0  # precision load of a field analyser: common practice, no source
NO_FREQUENCY_HZ = 1e9  # stands in the rows of paths without carriers, which are not judged


@dataclass(frozen=True, eq=False)
class Inputs:
    """
    All that the room sees of a line. One row a path (p), scenario (s); columns: frequencies (f), joints (j).

    Joint j stands before cable or two-port j, the radio's first. Rows are padded with joints that do not reflect and cables without
    length, and frequencies are repeated.
    """

    site: str
    scenarios: tuple[str, ...]
    ambient_c: Array  # [s]
    sun_w_per_m2: Array  # [s]
    paths: tuple[str, ...]
    radios: tuple[str, ...]  # [p]
    items: tuple[tuple[str, ...], ...]  # [p] radio, cables, antenna
    broken: tuple[str, ...]  # [p] why the path leads nowhere; empty if it reaches an antenna
    missing: tuple[tuple[str, ...], ...]  # [p] what the return loss lacks
    missing_highest: tuple[tuple[str, ...], ...]  # [p] what the highest frequency lacks
    frequency_hz: Array  # [p, f]
    points_count: NDArray[np.intp]  # [p] how many of them are not repeated; 0: no carriers
    joint_return_loss_db: Array  # [p, j] of the worse of both connectors
    joint_reference_hz: Array  # [p, j]
    joint_loss_db: Array  # [p, j]
    joint: tuple[tuple[str, ...], ...]  # [p] the ends of each joint
    joint_part: tuple[tuple[str, ...], ...]  # [p] the connector whose value it is
    cable: tuple[tuple[str, ...], ...]  # [p]
    cable_part: tuple[tuple[str, ...], ...]  # [p]
    length_m: Array  # [p, j]
    tolerance_m: Array  # [p, j]
    root_db_per_m: Array  # [p, j]
    linear_db_per_m: Array  # [p, j]
    antenna: tuple[str, ...]  # [p] item and port
    antenna_part: tuple[str, ...]
    antenna_vswr: Array  # [p]
    bounds: tuple[tuple[tuple[str, float, str, str], ...], ...]  # [p] part, highest frequency, document and mark
    sources: dict[str, tuple[str, str]]  # document and mark by part and field
    spans: tuple[tuple[tuple[float, float], ...], ...]  # [p] operating bands of its carriers
    kinds: tuple[tuple[str, ...], ...]  # [p] what each joint reflects as: shunt C, series L, unknown
    velocity: Array  # [p] velocity factor of its one jumper; 0 where it has not one cable
    cut_m: Array  # [p] tolerance of that jumper's part
    least_m: Array  # [p] shortest way between its ports
    rated: tuple[tuple[int, ...], ...]  # [p] its parts, each once, by their number in ratings
    ratings: tuple[RatedPart, ...]  # of all parts
    carriers_w: tuple[tuple[float, ...], ...]  # [p] powers of the carriers at the radio port
    altitude_m: float  # of the site above the sea
    sets: tuple[PhaseSet, ...]  # radios whose jumpers must agree in phase
    inline: tuple[tuple[int, ...], ...]  # [p] which of the cables are two-ports
    inline_measured: tuple[tuple[bool, ...], ...]  # [p] of those: known by rows of a measurement
    inline_near: (
        Array  # [p, j, f] |S11| of a two-port at most, 0 where there is none; no elements in a line without any
    )
    inline_far: Array  # [p, j, f] |S22| likewise
    inline_least_db: Array  # [p, j, f]
    inline_most_db: Array  # [p, j, f]
    unlike: tuple[str, ...]  # [p] in what it differs from what the site asks; empty if in nothing
    end_gamma: Array  # [p, f] |G| of the antenna by its measurement, NaN where its VSWR counts; no elements where no port was measured


@dataclass(frozen=True, eq=False)
class State:
    """What is computed: sheath temperatures, |G| per path and frequency, losses."""

    sheath_c: Array  # [s]
    cold: int
    hot: int
    joint_gamma: tuple[Array, ...]  # [j] of [p, f]
    line_loss_db: tuple[Array, ...]  # [j] of [p, f], cold, shortest
    radio_gamma: Array  # [p, f]
    load_gamma: Array  # [p, f]
    highest_hz: Array  # [p]
    hot_loss_db: Array  # [p] at the highest frequency, longest


def evaluate(inputs: Inputs) -> State:
    """All paths, frequencies and joints at once; the only loop runs over the joints of a path."""
    black = surface("black_sheath")
    sheath = sun_temperature_c(
        inputs.ambient_c, inputs.sun_w_per_m2, black.absorptivity, black.emissivity, STILL_AIR_W_PER_M2_K
    )
    cold, hot = int(np.argmin(inputs.ambient_c)), int(np.argmax(sheath))
    f = inputs.frequency_hz
    count = inputs.length_m.shape[1]
    shortest = np.maximum(inputs.length_m - inputs.tolerance_m, 0.0)
    joints, losses = [], []
    for n in range(count):
        column = np.s_[:, n, None]
        joints.append(joint_gamma(f, inputs.joint_return_loss_db[column], inputs.joint_reference_hz[column]))
        a, b = inputs.root_db_per_m[column], inputs.linear_db_per_m[column]
        losses.append(line_loss_db(f, shortest[column], a, b, inputs.ambient_c[cold]))
    end = gamma_from_vswr(inputs.antenna_vswr)[:, None]
    if inputs.end_gamma.size:
        end = np.where(np.isnan(inputs.end_gamma), end, inputs.end_gamma)
    precise = gamma_from_return_loss(LOAD_RETURN_LOSS_DB)
    if inputs.inline_near.size:
        radio, load = (_through(inputs, joints, losses, far) for far in (end, precise))
    else:
        radio, load = (reflection_interval(joints, losses, far).greatest for far in (end, precise))
    highest = f.max(axis=1, initial=0.0)
    longest = np.where(inputs.length_m > 0, inputs.length_m + inputs.tolerance_m, 0.0)
    hottest = (
        line_loss_db(highest[:, None], longest, inputs.root_db_per_m, inputs.linear_db_per_m, sheath[hot])
        + inputs.joint_loss_db
    )
    if inputs.inline_most_db.size:
        at = np.argmax(f, axis=1)[:, None]
        hottest = hottest + np.take_along_axis(inputs.inline_most_db, at[:, None, :], axis=2)[:, :, 0]
    shape = f.shape
    return State(
        sheath, cold, hot, tuple(joints), tuple(losses), np.broadcast_to(radio, shape), np.broadcast_to(load, shape), highest,
        hottest.sum(axis=1),
    )  # fmt: skip


def _through(inputs: Inputs, joints: list[Array], losses: list[Array], end: Array) -> Array:
    """The worst case with two-ports in the way: at each the bound of what is seen through it."""
    worst = np.broadcast_to(end, inputs.frequency_hz.shape)
    for n in reversed(range(len(joints))):
        worst = worst * 10 ** (-losses[n] / 10)
        near, far, least = (a[:, n] for a in (inputs.inline_near, inputs.inline_far, inputs.inline_least_db))
        worst = add_worst(joints[n], two_port_bound(worst, near, far, least))
    return worst


def path_power(inputs: Inputs, state: State, p: int) -> PathPower:
    """What a path carries, with the worst standing wave at its radio port."""
    carriers = inputs.carriers_w[p]
    worst = float(vswr(min(float(state.radio_gamma[p].max()), 1 - 1e-9)))
    return PathPower(sum(carriers), carriers, float(state.highest_hz[p]), inputs.altitude_m, worst)
