"""
The earthing of a proven line, told for whoever plans and fits the bonds: the bond plan, what a stroke does, direct currents, tests.

Made on demand, beside the proof: the transients of a stroke, the variants of an earth conductor, what a missing bond would cost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.earth.bond_test import ALPHA_20_PER_K, shield_expected_ohm
from upmast.earth.electrode import rod_ohm, rods_band_ohm
from upmast.earth.exposure import Exposure, Shares, shares_of
from upmast.earth.insulation_test import insulation_test
from upmast.earth.sharing import Transient, transient_share, transient_shield_v
from upmast.earth.shield import COPPER_OHM_M, least_shield_mm2
from upmast.earth.state import OPEN_END_M, Inputs, Run, bonds_on
from upmast.earth.stroke import (
    OpenEnd,
    ProtectorLevel,
    electrode_ohm,
    end_of,
    protector_lacks,
    protector_level,
    shield_v,
    withstand_of,
    worst_wave,
)
from upmast.earth.surge import stroke_peak_a, wave, waves
from upmast.finding import Limit
from upmast.line.line import Line
from upmast.proof.bonds import BondRow, RunRow, bond_rows, run_row
from upmast.proof.cable_moves import hottest_c
from upmast.proof.earth_dc import DcPath, dc_paths
from upmast.proof.earth_variants import Variant, variants_of
from upmast.proof.expect import shield_band_mohm
from upmast.proof.prove import Proof

Array = NDArray[np.float64]
TRACE_US = 400.0
CAUTIONS = (
    "Not a lightning protection design.",
    "Work stops with thunder in sight or hearing.",
    "Model: bonded ends, uniform run, no travelling waves; it must not be used to argue intermediate bonds away.",
    "Do not open a bond under load or in a storm.",
    "48 V can burn: short-circuit energy.",
)


@dataclass(frozen=True, slots=True)
class StrokeRow:
    """
    One shield while a stroke passes. Shares [-]; peaks and volts a value for each factor of the legs' resistance.

    safe_v: of the finding, never passed. volts: followed through the wave, the worst of all strokes. least_mm2: for the withstand, were its share still that.
    """

    run: str
    front: float
    tail: tuple[float, ...]
    peak_share: tuple[float, ...]
    peak_a: tuple[float, ...]
    peak_s: tuple[float, ...]
    volts: tuple[float, ...]
    safe: float
    safe_v: float
    ohm: float
    least_mm2: float


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """Currents of a first positive stroke over time, and the voltage of one shield, for one factor of the legs' resistance."""

    run: str
    factor: float
    time_s: Array
    total_a: Array
    legs_a: Array
    shield_a: Array
    shield_v: Array


@dataclass(frozen=True, slots=True)
class Stroke:
    """What a stroke of the site's level does: shares of all shields, the traces of the worst, and the limit."""

    level: str
    peaks_a: tuple[tuple[str, float], ...]
    factors: tuple[float, ...]
    rows: tuple[StrokeRow, ...]
    worst: int
    traces: tuple[Trace, ...]
    withstand: Limit
    governing: str
    assumed: tuple[str, ...]
    by_study: bool


@dataclass(frozen=True, slots=True)
class ProtectorRow:
    """A protector with its leads, against what may be left behind it; `missing` says why it is not judged."""

    at: str
    up_v: float
    kind: str
    lead_m: float
    counted_m: float
    distance_m: float
    level: ProtectorLevel | None
    limit: Limit | None
    impulse_a: float | None
    behind: str
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ElectrodeRow:
    """An electrode: one rod, all of them, the simple rule R_1 / n, too little, and the band of two or three rods."""

    rods: int
    one_ohm: float
    together_ohm: float
    divided_ohm: float
    band_ohm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class TestRow:
    """Continuity and insulation of one run at a temperature: expected, limit, what a parallel path reads below, and the factor to 20 C."""

    run: str
    at_c: float
    length_m: float
    expected_ohm: float
    limit_ohm: float
    parallel_ohm: float
    test_v: float
    least_megohm: float
    cores: int
    to_20: float


@dataclass(frozen=True)
class EarthPlan:
    """All of it. `stroke` is None where the site does not tell how the mast takes one; `missing` then says what is lacking."""

    site: str
    mast_m: float
    spacing_m: float | None
    runs: tuple[RunRow, ...]
    bonds: tuple[BondRow, ...]
    bars_m: tuple[float, ...]
    seen: Exposure | None
    stroke: Stroke | None
    missing: tuple[str, ...]
    open_ends: tuple[OpenEnd, ...]
    variants: tuple[Variant, ...]
    protectors: tuple[ProtectorRow, ...]
    dc: tuple[DcPath, ...]
    electrode: ElectrodeRow | None
    tests: tuple[TestRow, ...]
    notes: tuple[str, ...]
    unknown: tuple[str, ...] = ()

    @property
    def sentences(self) -> tuple[str, ...]:
        """What a fitter needs to know first."""
        out = []
        for run in self.runs:
            state = "as planned" if run.has >= run.needed and not run.missing_m else f"{run.needed} needed"
            lacking = f"; none at {', '.join(f'{h:g} m' for h in run.missing_m)}" if run.missing_m else ""
            unfit = f"; kits that do not count: {run.unfit}" if run.unfit else ""
            out.append(f"{run.item}: {run.has} bonds, {state}, at most {run.longest_m:.1f} m apart{lacking}{unfit}")
        out += [f"not used: {why}" for why in self.unknown]
        if self.stroke is None:
            out.append("what a stroke does is not told: " + "; ".join(self.missing))
            return tuple(out)
        row = self.stroke.rows[self.stroke.worst]
        low, high = row.volts[0], max(row.volts)
        span = f"{low:.0f} V" if high < low * 1.001 else f"{low:.0f} to {high:.0f} V, by what the legs' steel does"
        out.append(
            f"{row.run} is the shield that carries most: {100 * max(row.peak_share):.1f} % of a stroke of level {self.stroke.level} at its peak, {span}, never above "
            f"{row.safe_v:.0f} V; the ports withstand {self.stroke.withstand.value:g} V ({self.stroke.withstand.source})"
        )
        return tuple(out)


def has_earth(proof: Proof) -> bool:
    """Whether the room was proven and has a shielded run or a bond."""
    room = proof.rooms.get("earth")
    return room is not None and isinstance(room.inputs, Inputs) and bool(room.inputs.runs or room.inputs.bonds)


def earth_of(proof: Proof) -> EarthPlan:
    """The earthing of a proof."""
    room = proof.rooms["earth"].inputs
    assert isinstance(room, Inputs)
    site, seen = proof.site, room.exposure
    spacing = proof.limits.get("earth.bond-spacing")
    usable = seen if seen is not None and seen.cables and not seen.missing else None
    shares = None if usable is None else shares_of(usable)
    missing = _missing(room, seen)
    bars = () if site.earthing is None else site.earthing.bars_at_m
    stroke = None if usable is None or shares is None else _stroke(proof, room, usable, shares)
    return EarthPlan(
        site=site.id,
        mast_m=site.mast.height_m,
        spacing_m=None if spacing is None else spacing.value,
        runs=tuple(run_row(room, run, None if spacing is None else spacing.value) for run in room.runs),
        bonds=bond_rows(proof),
        bars_m=bars,
        seen=usable,
        stroke=stroke,
        missing=missing,
        open_ends=() if usable is None else _ends(room, usable),
        variants=() if usable is None or stroke is None else variants_of(proof, usable, stroke.worst),
        protectors=() if seen is None else tuple(_protectors(proof, room, seen, shares)),
        dc=dc_paths(proof),
        electrode=None if seen is None or seen.electrode is None else _electrode(seen.electrode),
        tests=tuple(_tests(proof, room)),
        notes=_notes(usable, proof),
        unknown=() if seen is None else tuple(why for _, why in seen.unknown),
    )


def _missing(room: Inputs, seen: Exposure | None) -> tuple[str, ...]:
    if seen is None:
        return ("earthing of the site: level, legs or legs_count, equipment_withstand_v of the data sheet",)
    return seen.missing or (() if seen.cables else ("a shielded run on the mast",))


def _notes(seen: Exposure | None, proof: Proof) -> tuple[str, ...]:
    out = [
        "bonds of the plan: common practice; in this model conductors bonded at both ends show no voltage between, which is no reason to leave a bond out",
    ]
    if seen is not None:
        out += [
            "only legs and shields of the line"
            + (" and its earth conductor outside" if len(seen.beside_m) else "")
            + " share; feeders and ladders would take some of it: leaving them out is the safe side",
            "the steel's resistance rises 3 to 10 times in a stroke, less when saturated (from memory): shown from 1 to 10",
            "the part of a run between mast and cabinet is not in it: there the shield carries what the bond at the foot does not take to earth",
        ]
        hotter = max((hottest_c(proof, run) for run in seen.cables), default=seen.shield_c)
        if seen.shield_by != "told" and hotter > seen.shield_c + 0.5:
            more = 100 * ALPHA_20_PER_K["copper"] * (hotter - seen.shield_c) / seen.warm
            out.append(
                f"shields at {seen.shield_c:.0f} °C: the heat of the conductors, up to {hotter:.0f} °C by the power room, is not known to this one; it would add "
                f"{more:.1f} % to the resistance of the shields; shield_c of the site counts it"
            )
        if seen.left_out:
            out.append(seen.left_out)
    return tuple(out)


# --- a stroke ------------------------------------------------------------------------------------------------------------


def _stroke(proof: Proof, room: Inputs, seen: Exposure, shares: Shares) -> Stroke:
    """Shares followed through all three strokes; a share by a study is not followed."""
    legs, ohm = len(seen.legs_m), seen.resistance_ohm()
    own, transfer = np.ones(ohm.shape[-1]), np.zeros(ohm.shape[-1])
    own[seen.own] = seen.ohm_per_km * seen.warm * 1e-3 * seen.run_m
    transfer[seen.own] = seen.transfer_h_per_m * seen.run_m
    matrix = seen.inductance_h()
    part = seen.length_m / seen.run_m
    study = not math.isnan(seen.share)
    volts = np.zeros((len(seen.factors), len(seen.cables)))
    first = transient_share(matrix, ohm, stroke_peak_a(seen.level, "first_positive"), wave("first_positive"))
    for name in waves():
        found = first if name == "first_positive" else None
        if study:
            volts = np.maximum(volts, shield_v(seen, shares, name))
            continue
        if found is None:
            if seen.transfer_h_per_m == 0:
                continue  # a lower current in the same resistance: never the worst
            found = transient_share(matrix, ohm, stroke_peak_a(seen.level, name), wave(name))
        volts = np.maximum(volts, transient_shield_v(found, own, transfer)[:, seen.own] * part)
    peak = seen.peak_a()
    limit = withstand_of(room, proof.limits)
    name = worst_wave(seen)
    safe_v = shield_v(seen, shares, name).max(axis=0)
    rows = []
    for n, run in enumerate(seen.cables):
        at = legs + n
        peaks = first.peak_a[:, at] if not study else np.full(len(seen.factors), seen.share * peak)
        safe = float(shares.safe[:, n].max())
        rho = seen.ohm_per_km[n] * seen.area_mm2[n] * 1e-9 * seen.warm
        rows.append(
            StrokeRow(
                run, float(shares.front[n]), _floats(shares.tail[:, n]), _floats(peaks / peak), _floats(peaks), _floats(first.peak_s[:, at]), _floats(volts[:, n]),
                safe, float(safe_v[n]), float(seen.shield_ohm[n]), float(least_shield_mm2(float(peaks.max()), seen.length_m[n], limit.value, rho)),
            )
        )  # fmt: skip
    worst = int(volts.max(axis=0).argmax())
    traces = () if study else tuple(_trace(seen, first, worst, k) for k in sorted({0, len(seen.factors) - 1}))
    return Stroke(
        seen.level, tuple((n, stroke_peak_a(seen.level, n)) for n in waves()), seen.factors, tuple(rows), worst, traces, limit, name, seen.assumed, study,
    )  # fmt: skip


def _floats(values: Array) -> tuple[float, ...]:
    return tuple(float(v) for v in values)


def _trace(seen: Exposure, found: Transient, n: int, k: int) -> Trace:
    legs = len(seen.legs_m)
    keep = found.time_s <= TRACE_US * 1e-6
    current = found.current_a[k][:, keep]
    shield = current[legs + n]
    volts = (
        seen.shield_ohm[n] * shield + seen.transfer_h_per_m * seen.length_m[n] * found.slope_a_per_s[k, legs + n, keep]
    )
    return Trace(
        seen.cables[n], seen.factors[k], found.time_s[keep], current.sum(axis=0), current[:legs].sum(axis=0), shield, np.asarray(volts)
    )  # fmt: skip


def _ends(room: Inputs, seen: Exposure) -> tuple[OpenEnd, ...]:
    """For each run what its top would see were the top bond missing, and were it bonded at the foot only."""
    out = []
    for n, item in enumerate(seen.cables):
        run = next(r for r in room.runs if r.item == item)
        low = max(run.low_m, 0.0)
        below = {b.height_m for b in bonds_on(room, item, "shield") if low < b.height_m < run.high_m - OPEN_END_M}
        for held in sorted({low, max(below, default=low)}, reverse=True):
            out.append(end_of(seen, n, held, run.high_m))
    return tuple(out)


def _protectors(proof: Proof, room: Inputs, seen: Exposure, shares: Shares | None) -> list[ProtectorRow]:
    out = []
    for one in seen.protectors:
        level = protector_level(room, proof.limits, seen, shares, one)
        limit = None if level is None else proof.limits.in_force("earth.protector", level.limit)
        out.append(
            ProtectorRow(
                one.at, one.up_v, "switching" if one.switching else "limiting", one.lead_m, one.counted_m, one.distance_m, level, limit,
                None if math.isnan(one.impulse_a) else one.impulse_a, one.behind, protector_lacks(seen, shares, one),
            )
        )  # fmt: skip
    return out


def _electrode(electrode: tuple[float, int, float, float, float]) -> ElectrodeRow:
    soil, count, length, radius, _ = electrode
    one = float(rod_ohm(soil, length, radius))
    low, high = rods_band_ohm(one, count)
    return ElectrodeRow(count, one, electrode_ohm(electrode), one / count, (float(low), float(high)))


# --- tests -----------------------------------------------------------------------------------------------------------------


def _tests(proof: Proof, room: Inputs) -> list[TestRow]:
    """Limits of each run at 20 C and at the temperatures of the site's climate."""
    climate = proof.site.climate
    limit = proof.limits.get("power.insulation")
    test = insulation_test(48.0, extra_low=True)
    out = []
    for run in room.runs:
        item, per_km = proof.line.by_id[run.item], _shield_per_km(proof.line, run)
        length = item.length_m or 0.0
        for at in sorted({20.0, climate.cold_c, climate.mean_c, climate.hot_c}):
            expected = float(shield_expected_ohm(per_km, length, at))
            low, high = shield_band_mohm(per_km, item, at)
            out.append(
                TestRow(
                    run.item, at, length, expected, high / 1e3, low / 1e3, test.test_v,
                    test.least_ohm / 1e6 if limit is None else limit.value, 2 * int(getattr(proof.line.parts[run.part], "pairs_count", 0)), 2.0 ** ((at - 20) / 10),
                )
            )  # fmt: skip
    return out


def _shield_per_km(line: Line, run: Run) -> float:
    return COPPER_OHM_M * 1e9 / float(getattr(line.parts[run.part], "shield_area_mm2", 0.0))


__all__ = [
    "CAUTIONS", "BondRow", "DcPath", "EarthPlan", "ElectrodeRow", "ProtectorRow", "RunRow", "Stroke", "StrokeRow", "TestRow", "Trace", "Variant", "bond_rows",
    "earth_of", "has_earth",
]  # fmt: skip
