"""
The RF jumpers of a proven line, told for a buyer: would a cut to frequency help, what does each line take from the transmitter, and
what would better joints bring instead.

Made on demand, beside the proof: one exact search of the best length for each kind of jumper.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from upmast.catalogue.part import RadioPart, RfCable
from upmast.line.line import Line
from upmast.line.walk import RfPath, rf_paths
from upmast.proof.prove import Proof
from upmast.rf.budget import loss_parts, lost_power, transfer_spread_db
from upmast.rf.channel import carrier_channel
from upmast.rf.gain import WORTH_DB, Worth, verdict_words, worth_of_length
from upmast.rf.joint import joint_gamma
from upmast.rf.length import Bands, longest_for_gain_m
from upmast.rf.lengths import LONGER_M, VELOCITY_TOLERANCE, kinds_known
from upmast.rf.loss import line_loss_db
from upmast.rf.matched import matched_set
from upmast.rf.rating import Rating, average_rating_w, envelope_peak_w, governing, peak_rating_w
from upmast.rf.reflection import gamma_from_vswr, return_loss_db
from upmast.rf.state import Inputs
from upmast.site.site import Radio
from upmast.weather.sun import STILL_AIR_W_PER_M2_K, sun_temperature_c, surface

GAINS_DB = (1.0, 3.0, 6.0)
Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Rated:
    """Power against what the cable bears on the worst day, in W; None where the part gives no such rating. share: of the one used up most."""

    average_w: float | None
    peak_w: float | None
    sent_peak_w: float
    share: float
    governing: str


@dataclass(frozen=True, slots=True)
class Jumper:
    """
    One jumper between a radio port and an antenna port.

    least_m: of its way. bands: the operating bands of its carriers, (low, high) in Hz; channels: what is used of them. whole, today:
    what the best length buys in the whole bands, and in today's channels; None where something is missing. longest_m: the longest
    length at which a null of the worst band alone gains 1, 3 and 6 dB.
    """

    id: str
    start: str
    end: str
    part: str
    length_m: float
    least_m: float
    bands: tuple[Range, ...]
    channels: tuple[Range, ...]
    whole: Worth | None
    today: Worth | None
    longest_m: tuple[float, ...]
    missing: str
    cables_db: float
    joints_db: float
    spread_db: tuple[float, float]
    sent_w: float
    lost_w: float
    drawn_w: float | None
    phase_spread_deg: float
    rating: Rated | None  # None: the part gives no rating
    kinds_known: bool  # what both joints reflect as was measured

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


def has_jumpers(proof: Proof) -> bool:
    """Whether the RF room was proven and has a path of one jumper."""
    room = proof.rooms.get("rf")
    return (
        room is not None and isinstance(room.inputs, Inputs) and any(len(p.cables) == 1 for p in rf_paths(proof.line))
    )


def jumpers_of(proof: Proof, worth_db: float = WORTH_DB) -> Jumpers:
    """
    The jumpers of a proof.

    Parameters
    ----------
    worth_db [dB]: least gain at the radio port that is called worth a cut.
    """
    room = proof.rooms["rf"].inputs
    assert isinstance(room, Inputs)
    radios = {radio.id: radio for radio in proof.site.radios}
    rows = {row: n for n, row in enumerate(room.paths)}
    known: dict[tuple[object, ...], Worth] = {}
    out = [
        _jumper(proof, room, rows[path.id], path, radios[path.radio], known, worth_db)
        for path in rf_paths(proof.line)
        if len(path.cables) == 1 and path.id in rows and path.radio in radios
    ]
    return Jumpers(
        tuple(out),
        (
            f"both joints as bad as their data sheets allow; where it was not measured what they reflect as (reflects_as), every gain is one at best; velocity "
            f"within {100 * VELOCITY_TOLERANCE:g} %, cut within the tolerance of the part; lengths from the least to {LONGER_M:g} m more",
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
    proof: Proof, room: Inputs, row: int, path: RfPath, radio: Radio, known: dict[tuple[object, ...], Worth], worth_db: float
) -> Jumper:  # fmt: skip
    line = proof.line
    id = path.cables[0]
    item, part = line.by_id[id], line.part_of(id)
    assert isinstance(part, RfCable)
    bands, channels = room.spans[row], _channels(radio, line.parts.get(line.by_id[path.radio].part))
    missing = "; ".join(room.missing[row]) or room.broken[row]
    if not missing and not np.all(np.isfinite(room.joint_return_loss_db[row])):
        missing = "the return loss of both joints"
    least = float(room.least_m[row])
    length = item.length_m or 0.0
    worst_hz = max((high for _, high in channels), default=1e9)
    gamma = np.array(joint_gamma(worst_hz, room.joint_return_loss_db[row], room.joint_reference_hz[row]))
    vswr = float(room.antenna_vswr[row])
    loss = float(
        line_loss_db(worst_hz, length + item.tolerance_m, part.a_db_per_m, part.b_db_per_m, float(room.ambient_c.max()))
    )
    parts = loss_parts([loss], np.nan_to_num(gamma), room.joint_loss_db[row])
    spread = transfer_spread_db(
        0.0 if missing else gamma_from_vswr(1.5), 0.0 if missing else gamma_from_vswr(min(vswr, 5.0)), loss
    )
    sent = sum(carrier.power_w for carrier in radio.carriers)
    ports = max(len(radio.antenna_ports), 1)
    highest = _highest_w(line, radio)
    efficiency = min(sent * ports / highest, 1.0) if highest and sent else None
    lost = lost_power(sent, float(parts.total_db), efficiency or 1.0)
    whole = today = None
    longest: tuple[float, ...] = ()
    if not missing:
        whole = _worth(part, bands, least, room, row, vswr, known, worth_db)
        today = _worth(part, channels, least, room, row, vswr, known, worth_db)
        made = _bands(part, bands, room, row)
        longest = tuple(float(x) for x in longest_for_gain_m(made, GAINS_DB).min(axis=-1))
    matched = matched_set(
        1.0, worst_hz, length or 1e-9, part.velocity_fraction, part.length_tolerance_m, VELOCITY_TOLERANCE
    )
    return Jumper(
        id, f"{path.radio}.{path.radio_port}", path.antenna, part.id, length, least, bands, channels, whole, today, longest, missing,
        loss, float(parts.joints_db), (float(spread[0]), float(spread[1])), sent, float(lost.lost_w),
        float(lost.drawn_w) if efficiency else None, matched.spread_deg, _rated(proof, room, part, radio, channels, vswr, sent),
        kinds_known(room, row),
    )  # fmt: skip


def _rated(
    proof: Proof, room: Inputs, part: RfCable, radio: Radio, channels: tuple[Range, ...], vswr: float, sent_w: float
) -> Rated | None:  # fmt: skip
    """The ratings of the cable in the hottest scenario, its sheath in the sun; standing waves by the antenna's limit."""
    if (part.rated_w is None and part.rated_peak_w is None) or not channels or not sent_w:
        return None
    black = surface("black_sheath")
    sheath = float(
        sun_temperature_c(
            room.ambient_c, room.sun_w_per_m2, black.absorptivity, black.emissivity, STILL_AIR_W_PER_M2_K
        ).max()
    )
    height, s = proof.site.climate.altitude_m, min(vswr, 5.0)
    used: dict[Rating, float] = {}
    average = peak = None
    highest = max(high for _, high in channels)
    if part.rated_w is not None:
        average = float(
            average_rating_w(
                part.rated_w, part.rated_hz, highest, part.a_db_per_m, part.b_db_per_m, part.hottest_c, part.rated_ambient_c,
                sheath, height, s,
            )
        )  # fmt: skip
        used["cable, average"] = sent_w / average if average > 0 else math.inf
    crest = float(envelope_peak_w([carrier.power_w for carrier in radio.carriers]))
    if part.rated_peak_w is not None:
        peak = float(peak_rating_w(part.rated_peak_w, height, s))
        used["cable, peak"] = crest / peak
    most = governing(used)
    return Rated(average, peak, crest, most.share, most.name)


def _highest_w(line: Line, radio: Radio) -> float | None:
    part = line.parts.get(line.by_id[radio.id].part) if radio.id in line.by_id else None
    given = getattr(radio, "maximum_w", None) or (part.maximum_w if isinstance(part, RadioPart) else None)
    return float(given) if given else None


def _bands(part: RfCable, ranges: tuple[Range, ...], room: Inputs, row: int) -> Bands:
    low, high = (np.array(column) for column in zip(*ranges, strict=True))
    unlike = kinds_known(room, row) and len(set(room.kinds[row][:2])) > 1
    offset = np.full(low.shape, 0.5 if unlike else 0.0)
    return Bands(low, high, part.velocity_fraction, part.length_tolerance_m, VELOCITY_TOLERANCE, offset)


def _worth(
    part: RfCable, ranges: tuple[Range, ...], least_m: float, room: Inputs, row: int, vswr: float,
    known: dict[tuple[object, ...], Worth], worth_db: float,
) -> Worth:  # fmt: skip
    """What the best length buys in some bands; worked out once for jumpers alike."""
    highest = max(high for _, high in ranges)
    gamma = joint_gamma(highest, room.joint_return_loss_db[row], room.joint_reference_hz[row])
    joint = float(return_loss_db(gamma.max()))
    end = float(return_loss_db(gamma_from_vswr(vswr)))
    lowest = min(low for low, _ in ranges)
    per_m = float(line_loss_db(lowest, 1.0, part.a_db_per_m, part.b_db_per_m, float(room.ambient_c.min())))
    start = max(least_m, part.length_tolerance_m)
    key = (part.id, ranges, room.kinds[row], round(joint, 6), round(end, 6), round(start, 4), worth_db)
    if key not in known:
        known[key] = worth_of_length(
            _bands(part, ranges, room, row), start, start + LONGER_M, joint, end, per_m, worth_db
        )
    return known[key]


def jumpers_data(found: Jumpers) -> dict[str, Any]:
    """As plain data; what is not known is null."""

    def worth(one: Worth | None) -> dict[str, Any] | None:
        if one is None:
            return None
        names = (
            "length_m", "gain_db", "over_worst_db", "over_median_db", "over_shortest_db", "system_db", "before_db", "after_db",
            "joints_db", "better_db", "worth_db", "worth_cutting",
        )  # fmt: skip
        return {name: _plain(getattr(one, name)) for name in names}

    return {
        "jumpers": [
            {
                "id": j.id, "from": j.start, "to": j.end, "part": j.part, "length_m": j.length_m, "least_m": _plain(j.least_m),
                "bands_hz": [list(b) for b in j.bands], "channels_hz": [list(c) for c in j.channels], "verdict": j.verdict,
                "whole_bands": worth(j.whole), "channels": worth(j.today), "longest_for_1_3_6_db_m": [_plain(x) for x in j.longest_m],
                "cables_db": _plain(j.cables_db), "joints_db": _plain(j.joints_db), "spread_db": [_plain(x) for x in j.spread_db],
                "sent_w": j.sent_w, "lost_w": _plain(j.lost_w), "plant_w": _plain(j.drawn_w), "phase_spread_deg": _plain(j.phase_spread_deg),
                "rating": None if j.rating is None else {
                    "average_w": j.rating.average_w, "peak_w": j.rating.peak_w, "sent_peak_w": j.rating.sent_peak_w,
                    "share": _plain(j.rating.share), "governing": j.rating.governing,
                },
            }
            for j in found.jumpers
        ],
        "notes": list(found.notes),
    }  # fmt: skip


def _plain(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


__all__ = ["VELOCITY_TOLERANCE", "Jumper", "Jumpers", "Rated", "has_jumpers", "jumpers_data", "jumpers_of"]
