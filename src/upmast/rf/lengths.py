"""What the best length of each jumper of a line would gain at its radio port, from what the RF room sees; worked out once a kind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np

from upmast.rf.gain import pair_gamma
from upmast.rf.joint import joint_gamma
from upmast.rf.length import Bands, best_length, round_trip_turns
from upmast.rf.lengths_source import VELOCITY_SOURCE, VELOCITY_TOLERANCE
from upmast.rf.loss import line_loss_db
from upmast.rf.reflection import add_worst, gamma_from_vswr, return_loss_db
from upmast.rf.state import Inputs

LONGER_M = 1.0  # so much above the least length is looked at: own default
LONGEST_VSWR = 1e6  # above it nothing is joined


@dataclass(frozen=True, slots=True)
class LengthGain:
    """
    The best length of one jumper in the operating bands of its carriers.

    low_hz, high_hz: the band that governs; low_turns, high_turns: what the round trip sweeps there; distance_turns to the nearest
    whole turn; gain_db of the pair. joint: |G| of one joint at the highest frequency; loss_db of the cable there, cold and least;
    end: |G| of the antenna port. pair, before_db, after_db: |G| of the pair, and return loss at the radio port without and with it.
    """

    length_m: float
    low_hz: float
    high_hz: float
    low_turns: float
    high_turns: float
    distance_turns: float
    gain_db: float
    joint: float
    loss_db: float
    end: float
    pair: float
    before_db: float
    after_db: float

    @property
    def system_db(self) -> float:
        return self.after_db - self.before_db


def bands_of(inputs: Inputs, p: int) -> Bands | None:
    """Bands and tolerances of the one jumper of a path; None where it has none, or more than one cable."""
    if not inputs.spans[p] or not inputs.velocity[p] > 0:
        return None
    low, high = (np.array(column, np.float64) for column in zip(*inputs.spans[p], strict=True))
    offset = np.full(low.shape, 0.5 if kinds_known(inputs, p) and len(set(inputs.kinds[p][:2])) > 1 else 0.0)
    return Bands(low, high, float(inputs.velocity[p]), float(inputs.cut_m[p]), VELOCITY_TOLERANCE, offset)


def kinds_known(inputs: Inputs, p: int) -> bool:
    """Whether both joints of a jumper are known to be capacitive or inductive: only then a gain is more than one at best."""
    return len(inputs.kinds[p]) == 2 and "unknown" not in inputs.kinds[p]


def length_gain(inputs: Inputs, p: int) -> LengthGain | None:
    """What the best length would gain; None where a path has not one jumper, or something is missing."""
    bands = bands_of(inputs, p)
    vswr, joints = float(inputs.antenna_vswr[p]), inputs.joint_return_loss_db[p, :2]
    if bands is None or inputs.missing[p] or vswr > LONGEST_VSWR or not np.all(np.isfinite(joints)):
        return None
    known = cast("dict[tuple[object, ...], LengthGain]", inputs.__dict__.setdefault("_length_gains", {}))
    key = (
        inputs.spans[p], inputs.kinds[p], float(inputs.velocity[p]), float(inputs.cut_m[p]), float(inputs.least_m[p]), vswr, tuple(joints.tolist()),
        tuple(inputs.joint_reference_hz[p, :2].tolist()), float(inputs.root_db_per_m[p, 0]), float(inputs.linear_db_per_m[p, 0]),
    )  # fmt: skip
    if key not in known:
        known[key] = _gain(inputs, p, bands, vswr)
    return known[key]


def _gain(inputs: Inputs, p: int, bands: Bands, vswr: float) -> LengthGain:
    start = max(float(inputs.least_m[p]), bands.tolerance_m)
    chosen = best_length(bands, start, start + LONGER_M)
    low, high = round_trip_turns(bands, chosen.length_m)
    b = chosen.band
    joint = float(
        joint_gamma(
            float(bands.high_hz.max()), inputs.joint_return_loss_db[p, :2], inputs.joint_reference_hz[p, :2]
        ).max()
    )
    per_m = line_loss_db(
        float(bands.low_hz.min()), 1.0, inputs.root_db_per_m[p, 0], inputs.linear_db_per_m[p, 0], float(inputs.ambient_c.min())
    )  # fmt: skip
    loss = float(per_m) * chosen.length_m
    end = float(gamma_from_vswr(vswr))
    pair = float(pair_gamma(joint, joint, loss, chosen.distance_turns))
    back = end * 10 ** (-loss / 10)
    before = float(return_loss_db(add_worst(pair_gamma(joint, joint, loss, 0.0), back)))
    after = float(return_loss_db(add_worst(pair, back)))
    return LengthGain(
        chosen.length_m, float(bands.low_hz[b]), float(bands.high_hz[b]), float(low[b]), float(high[b]), chosen.distance_turns,
        float(chosen.gain_db.min()), joint, loss, end, pair, before, after,
    )  # fmt: skip


def gain_note(inputs: Inputs, p: int, gain: LengthGain) -> str:
    """What is to be said beside the figure."""
    start = max(float(inputs.least_m[p]), float(inputs.cut_m[p]))
    if gain.distance_turns <= 0:
        return (
            f"no length from {start:.2f} to {start + LONGER_M:.2f} m gains anything in every band: choose it by routing"
        )
    sure = "both joints known" if kinds_known(inputs, p) else "at best, if both joints are alike"
    return (
        f"{sure}: {gain.length_m:.3f} m gains {gain.gain_db:.1f} dB at the jumper, and brings "
        f"{gain.before_db:.1f} to {gain.after_db:.1f} dB at the radio port"
    )


__all__ = [
    "LONGER_M",
    "VELOCITY_SOURCE",
    "VELOCITY_TOLERANCE",
    "LengthGain",
    "bands_of",
    "gain_note",
    "kinds_known",
    "length_gain",
]
