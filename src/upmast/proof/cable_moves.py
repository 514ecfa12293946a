"""How cables move on the mast: swings in the wind behind which vortices leave, and growth with heat. Bands where the cable is not known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from upmast.catalogue.part import Cable, HeldCable, Part
from upmast.proof.prove import Proof
from upmast.support.build_up import Along, along, bending_nm2, guessed
from upmast.support.check import elements_of
from upmast.support.state import Inputs, State
from upmast.support.thermal import (
    anchor_plan,
    blocked_force_n,
    bow_mm,
    bowing_rise_k,
    elastic,
    relative_movement_mm,
    slip_zone_clamps,
)
from upmast.support.vibration import clamped_frequency_hz, pinned_frequency_hz
from upmast.support.vortex import STROUHAL_EN, lock_in, scruton_number, swing, swing_ratio

DECREMENT = 0.05  # logarithmic, of a cable with a sheath in its clamps: common practice, no source
Basis = Literal["data sheet", "construction", "copper and diameter only", ""]
BUILT_IN = "taken as built in at the clamps"
VERDICTS = {
    "chafe": "chafe: below 1 Hz it rubs and knocks in gusts; clamp it more closely",
    "no action": "no action: it swings by less than 2 % of its diameter",
    "action": "action: closer or uneven clamps, or a damper",
}


@dataclass(frozen=True, slots=True)
class Swings:
    """
    One kind of span in steady wind: cables alike in part and spacing.

    frequency_hz: band of the first natural frequency from that of the bending stiffness, the cable built in at its clamps.
    winds_m_per_s: in which it may lock in. hinged_hz, hinged_m_per_s: the lowest of both were it free to turn in its clamps.
    ratio: swing over diameter. verdict: chafe, no action, action, or empty with what is missing.
    """

    cables: tuple[str, ...]
    part: str
    spacing_m: float
    diameter_mm: float
    stiffness_nm2: tuple[float, float] | None
    basis: Basis
    frequency_hz: tuple[float, float] | None
    winds_m_per_s: tuple[float, float] | None
    scruton: float | None
    ratio: float | None
    verdict: str
    missing: str
    hinged_hz: float | None = None
    hinged_m_per_s: float | None = None

    @property
    def words(self) -> str:
        return f"not judged: {self.missing}" if self.missing else VERDICTS[self.verdict]

    @property
    def ends_words(self) -> str:
        """How its ends are taken, and what the other way of holding them would give."""
        if self.hinged_hz is None or self.hinged_m_per_s is None:
            return ""
        return f"{BUILT_IN}; with hinged ends from {self.hinged_hz:.1f} Hz and {self.hinged_m_per_s:.1f} m/s on"


@dataclass(frozen=True, slots=True)
class Heat:
    """
    A run fixed at the top: movement against the mast, force if clamps held it, clamps that slip, and the anchor plan.

    move_mm: of a free end from the coldest to the hottest state. force_n: blocked, tension when coldest, compression when hottest.
    slips: clamps at each end that the tension of the cold makes slip; the compression of the heat is lost in bows. take_mm, give_mm, loop_mm: of the loop at the foot. bow_k: warming from which it bows between clamps.
    bow_mm: how far. hold_n: weight with ice at the fixed point, moving not counted.
    """

    cable: str
    length_m: float
    basis: Basis
    mast: str
    cable_per_k: tuple[float, float]
    mast_per_k: float
    installed_c: float
    coldest_c: float
    hottest_c: float
    mast_hottest_c: float
    move_mm: float
    cold_n: float
    hot_n: float
    slips: int | None
    take_mm: float
    give_mm: float
    bow_k: float | None
    bow_mm: float | None
    hold_n: float
    missing: str

    @property
    def loop_mm(self) -> float:
        return self.take_mm + self.give_mm

    @property
    def words(self) -> str:
        if self.missing:
            return f"{self.cable}: not judged: {self.missing}; fixed at the top it hangs with {self.hold_n:.0f} N there, ice included"
        slips = "slip not rated" if self.slips is None else f"{self.slips} clamps from each end slip"
        bow = (
            ""
            if self.bow_k is None
            else f"; it bows between clamps from {self.bow_k:.0f} K of warming on, by up to {self.bow_mm:.0f} mm"
        )
        return (
            f"{self.cable}: every clamp of the schedule holds its share; then the cold pulls with {abs(self.cold_n) / 1000:.1f} kN: {slips}{bow}. To let it move "
            f"instead: a point at the top for {self.hold_n:.0f} N, ice included, clamps below that only guide, and a loop at the foot that takes "
            f"{self.take_mm:.0f} mm and gives {self.give_mm:.0f} mm. Whoever answers for the support decides which of the two it is"
        )


def stiffness_of(part: Part) -> tuple[tuple[float, float] | None, Basis]:
    """Band of the bending stiffness of a cable and what it comes from; None where nothing tells it."""
    if not isinstance(part, HeldCable):
        return None, ""
    if part.bending_stiffness_nm2 is not None:
        return part.bending_stiffness_nm2, "data sheet"
    elements = elements_of(part)
    if elements:
        return bending_nm2(elements), "construction"
    guess = _guess(part)
    return (guess[0], "copper and diameter only") if guess else (None, "")


def along_of(part: Part) -> tuple[Along | None, Basis]:
    """Stiffness and expansion along a cable, as bands."""
    elements = elements_of(part) if isinstance(part, HeldCable) else ()
    if elements:
        return along(elements), "construction"
    guess = _guess(part)
    return (guess[1], "copper and diameter only") if guess else (None, "")


def _guess(part: Part) -> tuple[tuple[float, float], Along] | None:
    if not isinstance(part, Cable) or not part.pairs_count or part.conductor_area_mm2 is None or part.sheath != "hdpe":
        return None
    return guessed(
        part.diameter_mm, 2 * part.pairs_count, part.conductor_area_mm2, part.conductor_class, part.shield_area_mm2
    )


def swings_of(proof: Proof, room: Inputs) -> tuple[Swings, ...]:
    """Each kind of clamped span; those that need something first."""
    state = State(room)
    kinds: dict[tuple[str, float], list[int]] = {}
    for n, part in enumerate(room.part):
        if room.clamp_count[n] and room.held_m[n] > 0:
            kinds.setdefault((part, round(float(state.spacing_m[n]), 3)), []).append(n)
    order = {"chafe": 0, "action": 1, "": 2, "no action": 3}
    found = [_swings(proof, room, rows) for rows in kinds.values()]
    return tuple(sorted(found, key=lambda s: (order[s.verdict], s.part, s.spacing_m)))


def _swings(proof: Proof, room: Inputs, rows: list[int]) -> Swings:
    n = rows[0]
    part = proof.line.parts[room.part[n]]
    spacing = float(State(room).spacing_m[n])
    d, m = float(room.diameter_mm[n]), float(room.mass_kg_per_m[n])
    band, basis = stiffness_of(part)
    ids = tuple(room.spans[r] for r in rows)
    if band is None:
        missing = f"bending stiffness or construction of {part.id}"
        return Swings(ids, part.id, spacing, d, None, basis, None, None, None, None, "", missing)
    low, high = (float(clamped_frequency_hz(spacing, 0.0, ei, m)) for ei in band)
    winds = lock_in(low, high, d, STROUHAL_EN)
    hinged = float(pinned_frequency_hz(spacing, 0.0, band[0], m))
    told = part.decrement_fraction if isinstance(part, HeldCable) else None
    scruton = float(scruton_number(told if told is not None else DECREMENT, m, d))
    ratio = float(swing_ratio(scruton, STROUHAL_EN))
    verdict = str(swing(low, ratio).names)
    return Swings(
        ids, part.id, spacing, d, band, basis, (low, high), (float(winds.low_m_per_s), float(winds.high_m_per_s)), scruton, ratio, verdict, "",
        hinged, float(lock_in(hinged, hinged, d, STROUHAL_EN).low_m_per_s),
    )  # fmt: skip


def heat_of(proof: Proof, room: Inputs) -> tuple[Heat, ...]:
    """Each run that hangs on the mast."""
    state, climate, mast = State(room), proof.site.climate, proof.site.mast.material
    metal = elastic(mast).expansion_per_k
    out = []
    for n, cable in enumerate(room.spans):
        length = float(room.hanging_m[n])
        if not room.run[n] or length <= 0:
            continue
        part = proof.line.parts[room.part[n]]
        axis, basis = along_of(part)
        hot, cold, day = hottest_c(proof, cable), climate.cold_c, climate.mean_c
        hold = float((room.mass_kg_per_m[n] + state.ice_kg_per_m[n]) * length * 9.80665)
        if axis is None:
            missing = f"construction of {part.id}"
            out.append(Heat(cable, length, basis, mast, (0, 0), metal, day, cold, hot, climate.hot_c, 0, 0, 0, None, 0, 0, None, None, hold, missing))  # fmt: skip
            continue
        alpha = np.array(axis.expansion_per_k)
        plan = anchor_plan(length, alpha, metal, day, cold, hot, cold, climate.hot_c)
        low_mm = relative_movement_mm(length, cold - day, alpha, metal)
        high_mm = relative_movement_mm(length, hot - day, alpha, metal, climate.hot_c - day)
        stiff = np.array(axis.stiffness_n)
        cold_n = blocked_force_n(stiff, cold - day, alpha, metal)
        hot_n = blocked_force_n(stiff, hot - day, alpha, metal, climate.hot_c - day)
        rated = float(room.slip_n[n])
        slips = None if np.isnan(rated) else int(slip_zone_clamps(float(np.abs(cold_n).max()), rated))
        band, _ = stiffness_of(part)
        bow_k = bow = None
        if band is not None:
            spacing = float(state.spacing_m[n])
            bow_k = float(bowing_rise_k(band[0], stiff[1], spacing, float(alpha.max()) - metal))
            strain = float(alpha.max()) * (hot - day) - metal * (climate.hot_c - day)
            bow = float(bow_mm(spacing, strain))
        out.append(
            Heat(
                cable, length, basis, mast, axis.expansion_per_k, metal, day, cold, hot, climate.hot_c, float(np.max(high_mm - low_mm)),
                float(cold_n[np.abs(cold_n).argmax()]), float(hot_n[np.abs(hot_n).argmax()]), slips, float(plan.take_mm.max()),
                float(plan.give_mm.max()), bow_k, bow, hold, "",
            )
        )  # fmt: skip
    return tuple(out)


def hottest_c(proof: Proof, cable: str) -> float:
    """Hottest state of a cable that a room has found, of its conductors or of a sheath in the sun; else the hottest air."""
    found = [
        f.value
        for f in proof.figures
        if f.code == "weather.sheath-temperature"
        or (f.code == "power.conductor-temperature" and cable in (f.subject, *f.items))
    ]
    return max(proof.site.climate.hot_c, *found) if found else proof.site.climate.hot_c


__all__ = ["DECREMENT", "Heat", "Swings", "along_of", "heat_of", "hottest_c", "stiffness_of", "swings_of"]
