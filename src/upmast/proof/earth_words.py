"""The earthing of a line as plain data, and in the words that terminal, page and paper share."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from upmast.proof.earth_plan import CAUTIONS, EarthPlan, ElectrodeRow, ProtectorRow, Stroke


def protector_words(one: ProtectorRow) -> str:
    """One protector in a sentence."""
    level = one.level
    if level is None:
        return f"{one.at}: not judged, missing: {'; '.join(one.missing)}"
    limit = one.limit.value if one.limit is not None else level.limit.value
    if math.isnan(level.longest_m):
        lead = "no lead is short enough"
    elif math.isinf(level.longest_m):
        lead = "any lead will do"
    else:
        lead = f"longest lead {level.longest_m:.2f} m, both sides together"
    kind = "and" if one.kind == "limiting" else "or, whichever is higher,"
    text = (
        f"{one.at}: {one.up_v:.0f} V {kind} {level.drop_v:.0f} V of its leads ({one.counted_m:g} m that count) leave {level.effective_v:.0f} V, "
        f"{limit:.0f} V may be left {_away(one)}: {lead}; a V connection makes the lead count nothing"
    )
    if level.run:
        text += f"; with the share of a core of {level.run}, {level.current_a / 1e3:.1f} kA"
    if one.limit is not None and str(one.limit.source.mark) == "memory":
        text += "; the rule is from memory: confirm it"
    return text


def _away(one: ProtectorRow) -> str:
    if math.isnan(one.distance_m):
        return "at the equipment, by the rule of the site"
    taken = f" (default: the longest jumper behind it, {one.behind})" if one.behind else ""
    return f"{one.distance_m:g} m from the equipment{taken}"


def electrode_words(electrode: ElectrodeRow) -> str:
    """An electrode in a sentence; the simple rule only where it differs."""
    text = f"one rod {electrode.one_ohm:.1f} Ω"
    if electrode.rods > 1:
        text += (
            f", {electrode.rods} together {electrode.together_ohm:.1f} Ω; the simple rule R1 / n would reckon "
            f"{electrode.divided_ohm:.1f} Ω, too little"
        )
    return text


def stroke_words(name: str) -> str:
    """The name of a stroke."""
    return name.replace("_", " ")


def open_end_words(found: EarthPlan) -> Iterator[tuple[str, str, tuple[float, ...], float, bool]]:
    """Run, what were missing, kilovolts of each stroke, kilovolts that the gap holds, and whether it flashes over."""
    for end in found.open_ends:
        words = f"from {end.held_m:g} m up to {end.end_m:g} m"
        yield end.run, words, tuple(v / 1e3 for _, v in end.volts), end.gap_v / 1e3, end.flashes


def earth_data(found: EarthPlan) -> dict[str, Any]:
    """As plain data; what is not known is null."""
    electrode = found.electrode
    return {
        "sentences": list(found.sentences), "bond_spacing_m": found.spacing_m, "bars_at_m": list(found.bars_m), "missing": list(found.missing), "not_used": list(found.unknown),
        "runs": [
            {
                "item": r.item, "part": r.part, "low_m": r.low_m, "high_m": r.high_m, "bonds_needed": r.needed, "bonds": r.has,
                "longest_stretch_m": _plain(r.longest_m), "no_bond_at_m": list(r.missing_m), "do_not_count": r.unfit,
            }
            for r in found.runs
        ],
        "bonds": [
            {
                "item": b.item, "part": b.part, "use": b.use, "on": b.on, "height_m": b.height_m, "count": b.count, "section_mm2": b.area_mm2, "lead_m": b.lead_m,
                "place": b.place, "to": b.to, "fits": b.fits, "expected_mohm": _plain(b.expected_mohm), "lead_and_joints_mohm": _plain(b.lead_mohm),
                "limit_mohm": _plain(b.limit_mohm), "lead_rise_k": _plain(b.rise_k),
            }
            for b in found.bonds
        ],
        "stroke": None if found.stroke is None else _stroke_data(found.stroke),
        "were_a_bond_missing": [
            {
                "run": e.run, "bonded_at_m": e.held_m, "open_at_m": e.end_m, "gap_m": _plain(e.gap_m), "gap_holds_v": _plain(e.gap_v), "loop_h": _plain(e.loop_h, 12),
                "volts": {name: _plain(v) for name, v in e.volts}, "flashes_over": e.flashes,
            }
            for e in found.open_ends
        ],
        "earth_conductor": [
            {
                "run": v.run, "place": v.place, "section_mm2": v.area_mm2, "shield_v": [_plain(v.low_v), _plain(v.high_v)],
                "case_v_for_100_a_of_fault": _plain(v.case_v), "fault_way_m": _plain(v.way_m), "present": v.present, "note": v.note,
            }
            for v in found.variants
        ],
        "protectors": [
            {
                "at": p.at, "up_v": p.up_v, "kind": p.kind, "lead_m": p.lead_m, "lead_that_counts_m": p.counted_m, "distance_m": _plain(p.distance_m), "distance_taken_from": p.behind or None, "missing": list(p.missing),
                "current_a": None if p.level is None else _plain(p.level.current_a), "drop_v": None if p.level is None else _plain(p.level.drop_v),
                "effective_v": None if p.level is None else _plain(p.level.effective_v), "limit_v": None if p.limit is None else _plain(p.limit.value),
                "longest_lead_m": None if p.level is None else _plain(p.level.longest_m), "impulse_a": _plain(p.impulse_a), "words": protector_words(p),
            }
            for p in found.protectors
        ],
        "direct_current": [
            {
                "run": d.run, "path": d.path, "ohm": _plain(d.ohm), "now_a": _plain(d.now_a), "bonded_at_both_ends_a": _plain(d.both_a),
                "with_earth_conductor_a": _plain(d.with_earth_a),
            }
            for d in found.dc
        ],
        "electrode": None if electrode is None else {
            "rods": electrode.rods, "one_rod_ohm": _plain(electrode.one_ohm), "together_ohm": _plain(electrode.together_ohm),
            "simple_rule_too_little_ohm": _plain(electrode.divided_ohm), "band_ohm": [_plain(v) for v in electrode.band_ohm],
        },
        "tests": [
            {
                "run": t.run, "at_c": t.at_c, "shield_expected_ohm": _plain(t.expected_ohm), "shield_limit_ohm": _plain(t.limit_ohm),
                "parallel_path_below_ohm": _plain(t.parallel_ohm), "insulation_test_v": t.test_v, "insulation_least_megohm": t.least_megohm, "cores": t.cores,
                "insulation_factor_to_20_c": _plain(t.to_20),
            }
            for t in found.tests
        ],
        "notes": list(found.notes), "cautions": list(CAUTIONS),
    }  # fmt: skip


def _stroke_data(stroke: Stroke) -> dict[str, Any]:
    return {
        "level": stroke.level, "peaks_a": dict(stroke.peaks_a), "leg_factors": list(stroke.factors), "assumed": list(stroke.assumed), "by_study": stroke.by_study,
        "withstand_v": stroke.withstand.value, "withstand_source": str(stroke.withstand.source), "withstand_mark": str(stroke.withstand.source.mark),
        "shields": [
            {
                "run": r.run, "front_share": _plain(r.front), "tail_share": [_plain(v) for v in r.tail], "peak_share": [_plain(v) for v in r.peak_share],
                "peak_a": [_plain(v) for v in r.peak_a], "peak_s": [_plain(v, 9) for v in r.peak_s], "shield_v": [_plain(v) for v in r.volts],
                "safe_share": _plain(r.safe), "safe_v": _plain(r.safe_v), "shield_ohm": _plain(r.ohm), "margin_v": _plain(stroke.withstand.value - max(r.volts)),
                "least_shield_mm2": _plain(r.least_mm2),
            }
            for r in stroke.rows
        ],
    }  # fmt: skip


def _plain(value: float | None, places: int = 6) -> float | None:
    return round(float(value), places) if value is not None and math.isfinite(value) else None


__all__ = ["earth_data", "electrode_words", "open_end_words", "protector_words", "stroke_words"]
