"""
Every joint outdoors as a crew closes it: torque, closure, tape instead; every port that stays open with its cap; and what boxes breathe.

Made on demand, beside the proof.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from upmast.catalogue.part import Box, Connector, Seal
from upmast.line.line import Item, Line
from upmast.proof.prove import Proof
from upmast.source import Mark, Source
from upmast.weather.closure import BEYOND_MM, covered_length_mm
from upmast.weather.inspection import Inspection, inspection
from upmast.weather.state import Inputs, Outdoor
from upmast.weather.sun import box_pressure_change_pa, water_head_m
from upmast.weather.tape import layer_diameter_mm, tape_length_m
from upmast.weather.torque import Torque, torque

IN_LB_PER_NM = 8.850_745_79  # pound-force inch, NIST SP 811
TAPE_WIDTH_MM, INNER_MM, OUTER_MM = 50.0, 0.8, 0.2  # butyl below, vinyl above: common practice, no source
SPARE = 1.1  # of tape: common practice, no source
RAIN_C = 20.0  # to which a box in the sun is cooled by rain: own default
# what stands in the table of torques for an interface of the catalogue
TABLE_NAMES = {
    "4.3-10": "4.3-10-screw",
    "7-16": "7-16",
    "n": "n",
    "sma": "sma",
    "2.2-5": "2.2-5",
    "lc-duplex-outdoor": "lc-outdoor",
}


@dataclass(frozen=True, slots=True)
class Closing:
    """
    One mated joint outdoors.

    torque_nm: low and high, equal where one value is given; None: by hand to the stop, or not known. confirmed: somebody's data sheet or
    table stands behind it; else UNCONFIRMED is printed. seal, how: item and part of the closure, and its kind; empty where the joint keeps the
    code by itself. tape_m: inner and outer tape if it is wrapped instead.
    """

    item: str
    ends: tuple[str, str]
    interface: str
    torque_nm: tuple[float, float] | None
    by_hand: bool
    source: str
    confirmed: bool
    seal: str
    how: str
    tape_m: tuple[float, float] | None
    code: str

    @property
    def torque_words(self) -> str:
        if self.by_hand:
            return "by hand to the stop"
        if self.torque_nm is None:
            return "not known: the data sheet says"
        low, high = self.torque_nm
        return f"{low:g}" if low == high else f"{low:g} to {high:g}"

    @property
    def inch_pounds(self) -> str:
        if self.torque_nm is None:
            return ""
        low, high = (f"{x * IN_LB_PER_NM:.0f}" for x in self.torque_nm)
        return low if low == high else f"{low} to {high}"


@dataclass(frozen=True, slots=True)
class Capped:
    """Unused ports of one device: their interface, how many, and the cap."""

    item: str
    interface: str
    ports: tuple[str, ...]
    capped: int


@dataclass(frozen=True, slots=True)
class Breath:
    """A closed box whose sun-warmed air is cooled by rain: pressure it would draw, in Pa and as a height of water."""

    item: str
    warm_c: float
    change_pa: float
    head_m: float


@dataclass(frozen=True)
class Closings:
    """All joints, caps and boxes, how often they are looked at, and what was taken for granted."""

    joints: tuple[Closing, ...]
    caps: tuple[Capped, ...]
    boxes: tuple[Breath, ...]
    looked_at: Inspection
    notes: tuple[str, ...]

    @property
    def unconfirmed(self) -> int:
        return sum(not one.confirmed for one in self.joints)


def has_closings(proof: Proof) -> bool:
    """Whether the weather room was proven and has something outdoors."""
    room = proof.rooms.get("weather")
    return room is not None and isinstance(room.inputs, Inputs) and bool(room.inputs.items)


def closings_of(proof: Proof) -> Closings:
    """The joints of a proof, in the order of the line."""
    room = proof.rooms["weather"].inputs
    assert isinstance(room, Inputs)
    line = proof.line
    joints = tuple(one for outdoor in room.items for one in _joints(line, outdoor))
    caps = tuple(
        Capped(outdoor.item, face, names, capped)
        for outdoor in room.items
        for face, _, capped, names in outdoor.open_ports
    )
    sheath = next(
        (f.value for f in proof.rooms["weather"].result.figures if f.code == "weather.sheath-temperature"), None
    )
    boxes = tuple(
        _breath(item, sheath)
        for item in line.items
        if sheath is not None and isinstance(line.parts.get(item.part), Box)
    )
    return Closings(
        joints, caps, boxes, inspection(room.exposures),
        (
            "torque of the part's data sheet goes before any table; UNCONFIRMED: from memory, or nobody says",
            f"tape instead of a closure: inner {INNER_MM:g} mm, outer {OUTER_MM:g} mm, {TAPE_WIDTH_MM:g} mm wide, half lapped, {BEYOND_MM:g} mm beyond the nut at both "
            "ends, a tenth more; outer tape upwards, so that laps shed water (common practice, no source)",
            f"a tight box in the sun that rain cools to {RAIN_C:g} °C draws at its gaskets: vent membrane, drip loop, cables from below",
        ),
    )  # fmt: skip


def _joints(line: Line, outdoor: Outdoor) -> list[Closing]:
    seals = {item.part: item for item in line.of_kind("seal") if item.on == outdoor.item}
    out = []
    for joint in outdoor.joints:
        pair = [line.parts.get(id) for id in joint.connectors]
        both = [one for one in pair if isinstance(one, Connector)]
        if not both:
            continue
        plug = next((one for one in both if one.gender == "plug"), both[0])
        low_high, by_hand, source, confirmed = joint_torque(both)
        seal = line.parts.get(joint.seal)
        how = "" if not isinstance(seal, Seal) else seal.closure or "closure"
        item = seals[joint.seal].id if joint.seal in seals else ""
        codes = joint.seal_code if joint.seal else " and ".join(dict.fromkeys(joint.codes))
        out.append(
            Closing(
                outdoor.item, joint.ends, plug.interface, low_high, by_hand, str(source), confirmed, item, how,
                _tape(line, outdoor, plug) if plug.family == "rf" else None, codes,
            )
        )  # fmt: skip
    return out


def joint_torque(pair: list[Connector]) -> tuple[tuple[float, float] | None, bool, Source, bool]:
    """The torque of a joint: of its parts, else of the table; whether by hand; its source; whether that is more than memory."""
    for one in pair:
        if one.torque_nm is not None:
            source = one.source_of("torque_nm")
            sure = source.mark not in (Mark.MEMORY, Mark.INVENTED)
            return (one.torque_nm, one.torque_nm), False, _of_part(one, source), sure
    name = TABLE_NAMES.get(pair[0].interface)
    if name is None:
        return None, False, Source("no source", mark=Mark.MEMORY), False
    row: Torque = torque(name)
    given = None if row.low_nm is None or row.high_nm is None else (row.low_nm, row.high_nm)
    return given, row.by_hand, row.source, row.source.mark in (Mark.CONFIRMED, Mark.PRACTICE)


def _of_part(part: Connector, source: Source) -> Source:
    return source if part.id in source.document else replace(source, document=f"part {part.id}: {source.document}")


def _tape(line: Line, outdoor: Outdoor, plug: Connector) -> tuple[float, float] | None:
    """Metres of inner and outer tape over one joint; None where its size is not known."""
    if plug.nut_mm is None or plug.nut_length_mm is None:
        return None
    length = float(covered_length_mm([plug.nut_length_mm])) / 1000
    inner = float(tape_length_m(plug.nut_mm, length, TAPE_WIDTH_MM, INNER_MM)) * SPARE
    over = float(layer_diameter_mm(plug.nut_mm, INNER_MM, 1))
    return inner, float(tape_length_m(over, length, TAPE_WIDTH_MM, OUTER_MM)) * SPARE


def _breath(item: Item, warm_c: float | None) -> Breath:
    assert warm_c is not None
    change = float(box_pressure_change_pa(warm_c, RAIN_C))
    return Breath(item.id, warm_c, change, float(np.abs(water_head_m(change))))


def closings_data(found: Closings) -> dict[str, Any]:
    """As plain data."""
    return {
        "joints": [
            {
                "item": j.item, "ends": list(j.ends), "interface": j.interface, "torque_nm": None if j.torque_nm is None else list(j.torque_nm),
                "by_hand": j.by_hand, "source": j.source, "confirmed": j.confirmed, "closure_item": j.seal, "closure": j.how,
                "tape_m": None if j.tape_m is None else [round(x, 3) for x in j.tape_m], "code": j.code,
            }
            for j in found.joints
        ],
        "unused_ports": [{"item": c.item, "interface": c.interface, "ports": list(c.ports), "capped": c.capped} for c in found.caps],
        "boxes": [{"item": b.item, "warm_c": round(b.warm_c, 2), "change_pa": round(b.change_pa, 1), "head_m": round(b.head_m, 3)} for b in found.boxes],
        "inspection_months": found.looked_at.months, "inspection_because": list(found.looked_at.because), "notes": list(found.notes),
    }  # fmt: skip


__all__ = ["Breath", "Capped", "Closing", "Closings", "closings_data", "closings_of", "has_closings"]
