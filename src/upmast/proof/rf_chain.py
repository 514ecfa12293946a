"""An RF path as sums of phasors: its joints with their places for the choice of a length, and all reflections for a sweep."""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import NDArray

from upmast.catalogue.part import RfCable, RfInline
from upmast.constants import SPEED_OF_LIGHT_M_PER_S
from upmast.line.line import Line
from upmast.line.walk import RfPath
from upmast.rf.certify import Joints
from upmast.rf.joint import joint_gamma
from upmast.rf.lengths import VELOCITY_TOLERANCE
from upmast.rf.loss import line_loss_db
from upmast.rf.reflection import add_worst, gamma_from_vswr
from upmast.rf.state import Inputs, State

Array = NDArray[np.float64]
Range = tuple[float, float]
MOST_GAMMA = 0.999


def _lengths(line: Line, path: RfPath, velocity: float) -> Array:
    """Each thing passed, as long as it would be at one velocity factor."""
    out = []
    for id in path.passed:
        part = line.part_of(id)
        if isinstance(part, RfInline):
            out.append(part.electrical_m * velocity)
        else:
            assert isinstance(part, RfCable)
            out.append((line.by_id[id].length_m or 0.0) * velocity / part.velocity_fraction)
    return np.array(out)


def _cold_losses(room: Inputs, row: int, frequency_hz: float, count: int) -> Array:
    """One-way loss of each thing passed, cables cold and short, two-ports at their least."""
    shortest = np.maximum(room.length_m[row] - room.tolerance_m[row], 0.0)
    loss = line_loss_db(
        frequency_hz, shortest, room.root_db_per_m[row], room.linear_db_per_m[row], float(room.ambient_c.min())
    )
    out = np.asarray(loss)[:count].copy()
    for n in room.inline[row]:
        out[n] += float(room.inline_least_db[row, n].min())
    return out


def chain_joints(
    line: Line, path: RfPath, ranges: tuple[Range, ...], room: Inputs, row: int
) -> tuple[Joints, float, float]:
    """
    The joints of a path with the length of its last jumper left open, what lies behind them, and the loss up to there in dB.

    Sizes are those at the highest frequency of each band, seen through what comes before with its least loss. Kinds that are not known
    count as alike, so that a gain is one at best. Two-ports and the antenna, of unknown phase, lie behind.
    """
    last = path.cables[-1]
    part = line.part_of(last)
    assert isinstance(part, RfCable)
    at = path.passed.index(last)
    length = _lengths(line, path, part.velocity_fraction)
    before = np.concatenate([[0.0], np.cumsum(np.where(np.arange(length.size) == at, 0.0, length))])
    share = (np.arange(length.size + 1) > at).astype(float)
    phase = np.array([pi if kind == "series L" else 0.0 for kind in room.kinds[row]])
    count = len(room.joint[row])
    gamma = np.empty((count, len(ranges)))
    losses = _cold_losses(room, row, min(low for low, _ in ranges), length.size)
    passed = np.concatenate([[0.0], np.cumsum(losses)])[:count]
    for b, (_, high) in enumerate(ranges):
        size = joint_gamma(high, room.joint_return_loss_db[row, :count], room.joint_reference_hz[row, :count])
        gamma[:, b] = np.minimum(size * 10 ** (-passed / 10), MOST_GAMMA)
    lows, highs = (np.array(column) for column in zip(*ranges, strict=True))
    joints = Joints(
        before[:count], share[:count], gamma, phase[:count], lows, highs, part.velocity_fraction,
        part.length_tolerance_m, VELOCITY_TOLERANCE,
    )  # fmt: skip
    end = float(gamma_from_vswr(float(room.antenna_vswr[row])))
    for n in room.inline[row]:
        end = float(add_worst(min(float(room.inline_near[row, n].max()), MOST_GAMMA), end))
    return joints, end, float(losses.sum())


def phasors_of(line: Line, path: RfPath, room: Inputs, state: State, row: int) -> tuple[Array, Array, Array, float]:
    """
    Every reflection of a path as the radio port sees it at its highest frequency: size, place and tolerance of the place in m, velocity.

    Joints, two-ports (what they reflect to the radio) and the antenna, each seen through what comes before it with its least loss.
    """
    part = line.part_of(path.cables[-1])
    assert isinstance(part, RfCable)
    length = _lengths(line, path, part.velocity_fraction)
    count = len(room.joint[row])
    f = float(state.highest_hz[row])
    losses = _cold_losses(room, row, f, length.size)
    seen = 10 ** (-np.concatenate([[0.0], np.cumsum(losses)]) / 10)
    place = np.concatenate([[0.0], np.cumsum(length)])
    off = np.concatenate([[0.0], np.cumsum(room.tolerance_m[row][: length.size])])
    joints = joint_gamma(f, room.joint_return_loss_db[row, :count], room.joint_reference_hz[row, :count])
    rows = [(float(joints[n] * seen[n]), float(place[n]), float(off[n])) for n in range(count)]
    for n in room.inline[row]:
        rows.append((float(room.inline_near[row, n].max() * seen[n]), float(place[n]), float(off[n])))
    end = float(gamma_from_vswr(float(room.antenna_vswr[row])))
    rows.append((end * float(seen[-1]), float(place[-1]), float(off[-1])))
    size, places, tolerances = (np.array(column) for column in zip(*rows, strict=True))
    return size, places, tolerances, part.velocity_fraction * SPEED_OF_LIGHT_M_PER_S.value


__all__ = ["chain_joints", "phasors_of"]
