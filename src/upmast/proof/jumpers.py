"""
The RF lines of a proof, told for a buyer: would a cut to frequency help, what does each line take from its transmitter, what will its
sweep show, and what would better joints bring instead.

Made on demand, beside the proof: one exact search of the best length for each kind of line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from upmast.catalogue.part import AntennaPart, RadioPart, RfCable
from upmast.line.line import Line
from upmast.line.walk import RfPath, rf_paths
from upmast.proof.prove import Proof
from upmast.proof.rf_chain import chain_joints, phasors_of
from upmast.rf.budget import eirp_dbm, loss_parts, lost_power, power_dbm, transfer_spread_db
from upmast.rf.certify import Certificate
from upmast.rf.chain_worth import ChainWorth, worth_of_chain
from upmast.rf.channel import carrier_channel
from upmast.rf.gain import WORTH_DB, Worth, verdict_words, worth_of_length
from upmast.rf.joint import joint_gamma
from upmast.rf.length import Bands, longest_in_all_m
from upmast.rf.lengths import LONGER_M, VELOCITY_TOLERANCE, kinds_known
from upmast.rf.loss import line_loss_db
from upmast.rf.matched import matched_set
from upmast.rf.phasors import PassChance, many_joint_percentile_gamma, pass_chance
from upmast.rf.power import POWER_CODES
from upmast.rf.reflection import gamma_from_return_loss, gamma_from_vswr, return_loss_db
from upmast.rf.state import Inputs, State, evaluate
from upmast.site.site import Radio

GAINS_DB = (1.0, 3.0, 6.0)
COIL_FROM_M = 0.5  # so much over its way, a jumper lies in a loop: common practice, no source
RADIO_VSWR = 1.5  # of a radio port, for the echo between both ends: common practice, no source
SHARE = 0.95
TRIALS, POINTS = 1000, 201
LEAST_SHORT_M = 0.05
Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Levels:
    """
    What the line takes at its highest frequency, in dB, and what arrives.

    Losses are the highest: longest cables, sheath in the sun. spread_db: what the echo between both ends may add or take. eirp_dbm: the
    highest at the antenna, with the lowest loss; None without the antenna's gain.
    """

    cables_db: float
    joints_db: float
    inline_db: float
    spread_db: tuple[float, float]
    sent_w: float
    lost_w: float
    drawn_w: float | None
    arrives_dbm: float
    eirp_dbm: float | None

    @property
    def total_db(self) -> float:
        return self.cables_db + self.joints_db + self.inline_db


@dataclass(frozen=True, slots=True)
class Shown:
    """
    What is seen at the radio port with the antenna connected, every part at its limit.

    worst_db: least return loss that any phases give. usual_db: what 95 % of all phases keep, at one frequency. chance: that a whole sweep
    over the bands keeps limit_db, which is another thing; None where there is no limit.
    """

    worst_db: float
    usual_db: float
    chance: PassChance | None
    limit_db: float | None


@dataclass(frozen=True, slots=True)
class Jumper:
    """
    One RF line between a radio port and an antenna port: mostly one jumper, else a chain, of whose last jumper the length counts.

    part: of that jumper. least_m: of the way. bands: the operating bands of its carriers, (low, high) in Hz; channels: what is used of
    them. whole, today: what the best length buys in the whole bands, and in today's channels. longest_m: the longest length at which 1, 3
    and 6 dB are gained in every band at once; 0 where none does. certificate: of a chain. missing: why something is not judged.
    """

    id: str
    start: str
    end: str
    passed: tuple[str, ...]
    part: str
    length_m: float
    least_m: float
    bands: tuple[Range, ...]
    channels: tuple[Range, ...]
    whole: Worth | None
    today: Worth | None
    longest_m: tuple[float, ...]
    certificate: Certificate | None
    missing: str
    levels: Levels | None
    shown: Shown | None
    phase_spread_deg: float
    ratings_percent: tuple[float | None, float | None]  # average and peak; None: not judged
    kinds_known: bool  # what all joints reflect as was measured
    turn_m: float  # of a loop of its least radius

    @property
    def lies(self) -> str:
        """Too short, or with so much left over that it lies in a loop; empty where it hangs as it should."""
        over = self.length_m - self.least_m
        if over < -1e-9:
            return "too short"
        return "in a loop" if over > max(COIL_FROM_M, self.turn_m) else ""

    @property
    def verdict(self) -> str:
        """One sentence for a buyer."""
        if self.whole is None:
            return f"not judged: {self.missing}"
        return verdict_words(self.whole, kind_known=self.kinds_known)


@dataclass(frozen=True)
class Jumpers:
    """All of them, and what was taken for granted."""

    jumpers: tuple[Jumper, ...]
    notes: tuple[str, ...]


@dataclass
class _Known:
    """What was worked out for lines alike."""

    worth: dict[tuple[object, ...], Worth | ChainWorth] = field(default_factory=dict)
    shown: dict[tuple[object, ...], Shown] = field(default_factory=dict)


def has_jumpers(proof: Proof) -> bool:
    """Whether the RF room was proven and has a path with a cable."""
    room = proof.rooms.get("rf")
    return room is not None and isinstance(room.inputs, Inputs) and any(p.cables for p in rf_paths(proof.line))


def jumpers_of(proof: Proof, worth_db: float = WORTH_DB) -> Jumpers:
    """
    The RF lines of a proof.

    Parameters
    ----------
    worth_db [dB]: least gain at the radio port that is called worth a cut.
    """
    room = proof.rooms["rf"].inputs
    assert isinstance(room, Inputs)
    state = evaluate(room)
    radios = {radio.id: radio for radio in proof.site.radios}
    rows = {row: n for n, row in enumerate(room.paths)}
    known = _Known()
    out = [
        _jumper(proof, room, state, rows[path.id], path, radios[path.radio], known, worth_db)
        for path in rf_paths(proof.line)
        if path.cables and path.id in rows and path.radio in radios
    ]
    return Jumpers(
        tuple(out),
        (
            f"both joints as bad as their data sheets allow; where it was not measured what they reflect as (reflects_as), every gain is one at best; velocity "
            f"within {100 * VELOCITY_TOLERANCE:g} %, cut within the tolerance of the part; lengths from the least to {LONGER_M:g} m more",
            f"echo: between the antenna and a radio port of VSWR {RADIO_VSWR:g} (common practice, no source)",
            "watts of the plant: RF lost over the share of the radio's highest draw that it sends; an order, not a measurement",
        ),
    )


def _channels(radio: Radio, part: object) -> tuple[Range, ...]:
    """Channels of a radio's carriers, both ways; those that fit no band are left out, and missing in the room already."""
    own = part.bands if isinstance(part, RadioPart) else ()
    found: dict[Range, None] = {}
    for carrier in radio.carriers:
        try:
            used = carrier_channel(carrier.centre_hz, carrier.width_hz, carrier.band, own).used_hz
        except ValueError:
            continue
        found.update({(float(low), float(high)): None for low, high in used})
    return tuple(sorted(found))


def _jumper(
    proof: Proof, room: Inputs, state: State, row: int, path: RfPath, radio: Radio, known: _Known, worth_db: float
) -> Jumper:  # fmt: skip
    line = proof.line
    last = path.cables[-1]
    part = line.part_of(last)
    assert isinstance(part, RfCable)
    bands, channels = room.spans[row], _channels(radio, line.parts.get(line.by_id[path.radio].part))
    missing = "; ".join(room.missing[row]) or room.broken[row]
    if not missing and not np.all(np.isfinite(room.joint_return_loss_db[row, : len(room.joint[row])])):
        missing = "the return loss of all joints"
    length = sum(line.by_id[id].length_m or 0.0 for id in path.cables)
    other = length - (line.by_id[last].length_m or 0.0)
    whole = today = certificate = None
    longest: tuple[float, ...] = ()
    if not missing:
        least = max(float(room.least_m[row]) - other, LEAST_SHORT_M, part.length_tolerance_m)
        whole, certificate = _worth(line, path, part, bands, least, room, row, known, worth_db)
        today, _ = _worth(line, path, part, channels, least, room, row, known, worth_db)
        if len(path.passed) == 1:
            longest = tuple(float(x) for x in longest_in_all_m(_bands(part, bands, room, row), GAINS_DB))
    highest_hz = max((high for _, high in channels), default=0.0)
    matched = matched_set(
        1.0, highest_hz or 1e9, length or 1e-9, part.velocity_fraction, part.length_tolerance_m, VELOCITY_TOLERANCE
    )
    return Jumper(
        path.id, f"{path.radio}.{path.radio_port}", path.antenna, path.passed, part.id, length, float(room.least_m[row]), bands, channels,
        whole, today, longest, certificate, missing,
        _levels(line, room, state, row, path, radio) if channels and not room.broken[row] else None,
        None if missing else _shown(proof, room, state, row, path, known), matched.spread_deg if highest_hz else math.nan,
        _ratings(proof, path.id), "unknown" not in room.kinds[row] and (len(path.passed) > 1 or kinds_known(room, row)),
        2 * math.pi * (part.bend_static_mm or 10 * part.diameter_mm) / 1000,
    )  # fmt: skip


# --- what a length buys ------------------------------------------------------------------------------------------------


def _bands(part: RfCable, ranges: tuple[Range, ...], room: Inputs, row: int) -> Bands:
    low, high = (np.array(column) for column in zip(*ranges, strict=True))
    unlike = kinds_known(room, row) and len(set(room.kinds[row][:2])) > 1
    offset = np.full(low.shape, 0.5 if unlike else 0.0)
    return Bands(low, high, part.velocity_fraction, part.length_tolerance_m, VELOCITY_TOLERANCE, offset)


def _worth(
    line: Line, path: RfPath, part: RfCable, ranges: tuple[Range, ...], least_m: float, room: Inputs, row: int, known: _Known,
    worth_db: float,
) -> tuple[Worth, Certificate | None]:  # fmt: skip
    """What the best length buys in some bands; worked out once for lines alike. A chain comes with its certificate."""
    highest, lowest = max(high for _, high in ranges), min(low for low, _ in ranges)
    if len(path.passed) > 1:
        joints, end, loss = chain_joints(line, path, ranges, room, row)
        key: tuple[object, ...] = (
            "chain", ranges, round(least_m, 4), worth_db, end, round(loss, 6), part.id, part.length_tolerance_m,
            joints.fixed_m.tobytes(), joints.gamma.tobytes(), joints.phase_rad.tobytes(),
        )  # fmt: skip
        if key not in known.worth:
            known.worth[key] = worth_of_chain(joints, least_m, least_m + LONGER_M, end, loss, worth_db)
        chain = known.worth[key]
        assert isinstance(chain, ChainWorth)
        return chain.worth, chain.certificate
    gamma = joint_gamma(highest, room.joint_return_loss_db[row, :2], room.joint_reference_hz[row, :2])
    joint = float(return_loss_db(gamma.max()))
    end_db = float(return_loss_db(gamma_from_vswr(float(room.antenna_vswr[row]))))
    per_m = float(line_loss_db(lowest, 1.0, part.a_db_per_m, part.b_db_per_m, float(room.ambient_c.min())))
    key = (part.id, ranges, room.kinds[row], round(joint, 6), round(end_db, 6), round(least_m, 4), worth_db)
    if key not in known.worth:
        known.worth[key] = worth_of_length(
            _bands(part, ranges, room, row), least_m, least_m + LONGER_M, joint, end_db, per_m, worth_db
        )
    found = known.worth[key]
    assert isinstance(found, Worth)
    return found, None


# --- what it takes -----------------------------------------------------------------------------------------------------


def _levels(line: Line, room: Inputs, state: State, row: int, path: RfPath, radio: Radio) -> Levels:
    """Losses as the figure `rf.loss` counts them, with what the joints reflect."""
    f, hot, cold = float(state.highest_hz[row]), float(state.sheath_c[state.hot]), float(room.ambient_c[state.cold])
    root, linear, tolerance = room.root_db_per_m[row], room.linear_db_per_m[row], room.tolerance_m[row]
    cables = line_loss_db(f, np.where(room.length_m[row] > 0, room.length_m[row] + tolerance, 0.0), root, linear, hot)
    gamma = joint_gamma(f, room.joint_return_loss_db[row], room.joint_reference_hz[row])
    inline = least_inline = 0.0
    if room.inline_most_db.size:
        at = int(np.argmax(room.frequency_hz[row]))
        inline, least_inline = (
            float(room.inline_most_db[row, :, at].sum()),
            float(room.inline_least_db[row, :, at].sum()),
        )
    parts = loss_parts(cables, gamma, room.joint_loss_db[row], inline)
    least = (
        float(line_loss_db(f, np.maximum(room.length_m[row] - tolerance, 0.0), root, linear, cold).sum()) + least_inline
    )
    end = gamma_from_vswr(float(room.antenna_vswr[row])) if math.isfinite(float(room.antenna_vswr[row])) else 0.0
    spread = transfer_spread_db(gamma_from_vswr(RADIO_VSWR), end, least)
    sent = sum(carrier.power_w for carrier in radio.carriers)
    highest = _highest_w(line, radio)
    efficiency = min(sent * max(len(radio.antenna_ports), 1) / highest, 1.0) if highest and sent else None
    lost = lost_power(sent, float(parts.total_db), efficiency or 1.0)
    total = float(parts.total_db)
    gain = _gain_dbi(line, path.antenna)
    return Levels(
        float(parts.cables_db), float(parts.joints_db), float(parts.inline_db), (float(spread[0]), float(spread[1])), sent,
        float(lost.lost_w), float(lost.drawn_w) if efficiency else None, float(power_dbm(sent)) - total,
        None if gain is None else float(eirp_dbm(power_dbm(sent), least, gain)),
    )  # fmt: skip


def _gain_dbi(line: Line, end: str) -> float | None:
    id, _, port = end.partition(".")
    part = line.part_of(id) if id else None
    return part.port_gain_dbi(port) if isinstance(part, AntennaPart) else None


def _highest_w(line: Line, radio: Radio) -> float | None:
    part = line.parts.get(line.by_id[radio.id].part) if radio.id in line.by_id else None
    given = getattr(radio, "maximum_w", None) or (part.maximum_w if isinstance(part, RadioPart) else None)
    return float(given) if given else None


def _ratings(proof: Proof, path: str) -> tuple[float | None, float | None]:
    """Shares of the average and the peak rating, by the findings of the room."""
    found = {f.code: f for f in proof.rooms["rf"].result.findings if f.subject == path and f.code in POWER_CODES}
    one, other = (found.get(code) for code in POWER_CODES)
    return (
        None if one is None or one.missing else one.value,
        None if other is None or other.missing else other.value,
    )


# --- what a sweep will show --------------------------------------------------------------------------------------------


def _shown(proof: Proof, room: Inputs, state: State, row: int, path: RfPath, known: _Known) -> Shown:
    """Worst case, usual case at one frequency, and the chance of a whole sweep with the antenna."""
    limit = proof.limits.get("rf.sweep-antenna")
    size, place, off, velocity = phasors_of(proof.line, path, room, state, row)
    key = (size.tobytes(), place.tobytes(), off.tobytes(), velocity, room.spans[row])
    if key not in known.shown:
        worst = float(return_loss_db(float(state.radio_gamma[row].max())))
        usual = max(worst, float(return_loss_db(min(many_joint_percentile_gamma(size, SHARE), 1.0))))  # first order
        low, high = zip(*room.spans[row], strict=True)
        chance = None
        if limit is not None:
            allowed = float(gamma_from_return_loss(limit.value))
            chance = pass_chance(size, place, off, velocity, low, high, allowed, TRIALS, POINTS)
        known.shown[key] = Shown(worst, usual, chance, None if limit is None else limit.value)
    return known.shown[key]


# --- as data -----------------------------------------------------------------------------------------------------------


def jumpers_data(found: Jumpers) -> dict[str, Any]:
    """As plain data; what is not known is null."""
    return {"jumpers": [_data(j) for j in found.jumpers], "notes": list(found.notes)}


def _data(j: Jumper) -> dict[str, Any]:
    def worth(one: Worth | None) -> dict[str, Any] | None:
        if one is None:
            return None
        return {
            "length_m": _plain(one.length_m), "pair_gain_db": _plain(one.gain_db), "over_worst_db": _plain(one.over_worst_db),
            "over_median_db": _plain(one.over_median_db), "over_shortest_db": _plain(one.over_shortest_db),
            "port_gain_db": _plain(one.system_db), "port_before_db": _plain(one.before_db), "port_after_db": _plain(one.after_db),
            "better_joints_gain_db": _plain(one.joints_db), "better_joints_by_db": one.better_db, "worth_from_db": one.worth_db,
            "worth_cutting": one.worth_cutting,
        }  # fmt: skip

    levels, shown, proven = j.levels, j.shown, j.certificate
    return {
        "id": j.id, "from": j.start, "to": j.end, "passes": list(j.passed), "part": j.part, "length_m": _plain(j.length_m),
        "least_m": _plain(j.least_m), "lies": j.lies, "bands_hz": [list(b) for b in j.bands], "channels_hz": [list(c) for c in j.channels],
        "verdict": j.verdict, "missing": j.missing, "whole_bands": worth(j.whole), "channels": worth(j.today),
        "longest_for_1_3_6_db_m": [_plain(x) for x in j.longest_m],
        "certificate": None if proven is None else {
            "length_m": _plain(proven.length_m), "worst_gamma": _plain(proven.worst_gamma), "least_gamma": _plain(proven.least_gamma),
            "gap_db": _plain(proven.gap_db), "closed": proven.closed,
        },
        "loss": None if levels is None else {
            "cables_db": _plain(levels.cables_db), "joints_db": _plain(levels.joints_db), "inline_db": _plain(levels.inline_db),
            "echo_db": [_plain(x) for x in levels.spread_db], "sent_w": levels.sent_w, "lost_w": _plain(levels.lost_w),
            "plant_w": _plain(levels.drawn_w), "at_antenna_dbm": _plain(levels.arrives_dbm), "eirp_dbm": _plain(levels.eirp_dbm),
        },
        "seen_with_antenna": None if shown is None else {
            "worst_db": _plain(shown.worst_db), "95_percent_at_one_frequency_db": _plain(shown.usual_db), "sweep_limit_db": _plain(shown.limit_db),
            "sweep_passes_share": None if shown.chance is None else _plain(shown.chance.share), "trials": None if shown.chance is None else shown.chance.trials,
        },
        "phase_spread_deg": _plain(j.phase_spread_deg), "rating_used_percent": {"average": j.ratings_percent[0], "peak": j.ratings_percent[1]},
    }  # fmt: skip


def _plain(value: float | None) -> float | None:
    return round(value, 9) if value is not None and math.isfinite(value) else None


__all__ = ["VELOCITY_TOLERANCE", "Jumper", "Jumpers", "Levels", "Shown", "has_jumpers", "jumpers_data", "jumpers_of"]
