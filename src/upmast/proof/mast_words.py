"""The lines on the mast as plain data: what is not a number is null."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from upmast.proof.mast_lines import MastLines
from upmast.support.route import DIRECTIONS


def data(found: MastLines) -> dict[str, Any]:
    """Clamps, holds, pulls, grips, swings, heat and the table handed over."""
    total = found.total
    return {
        "clamps": [
            {
                "item": r.item, "number": r.number, "cable": r.cable, "others": list(r.others), "part": r.part, "leg": r.leg,
                "along_m": _plain(r.along_m), "height_m": _plain(r.height_m), "torque_nm": _plain(r.torque_nm),
                "torque": r.torque, "crushes": list(r.crushed), "most_nm": _plain(r.most_nm),
            }
            for r in found.rows
        ],
        "holds": [
            {
                "cables": list(h.cables), "part": h.part, "clamp": h.clamp, "count": h.count, "spacing_m": _plain(h.spacing_m),
                "slip_m": _plain(h.slip_m), "side_m": _plain(h.side_m), "rule_m": _plain(h.rule_m), "friction_at_allowed_torque_m": _plain(h.friction_m),
                "governs": h.governs, "spans": h.spans, "end_factor": _plain(h.end_factor), "slip_tested": h.tested,
                "torque_window_nm": None if h.window is None else [_plain(h.window.low_nm), _plain(h.window.high_nm)],
                "torque_nm": None if h.window is None else _plain(h.window.sheet_nm), "missing": list(h.missing),
            }
            for h in found.holds
        ],
        "retighten_d": _plain(found.retighten_d), "retighten": found.retighten_words,
        "pulls": [
            {
                "cable": p.cable, "part": p.part, "better": DIRECTIONS[p.better], "verdict": p.verdict, "limit_n": _plain(p.most_n),
                "limit_n_per_m": _plain(p.most_n_per_m), "bends_told": p.told, "bend_radius_taken_m": _plain(p.guessed_m),
                "ways": [
                    {"way": way, "tension_n": _plain(t), "side_n_per_m": _plain(s)}
                    for way, t, s in zip(DIRECTIONS, p.tension_n, p.side_n_per_m, strict=True)
                ],
            }
            for p in found.pulls
        ],
        "grips": [_row(g) for g in found.grips],
        "swings": [_row(s) | {"words": s.words} for s in found.swings],
        "heat": [_row(h) | {"loop_mm": _plain(h.loop_mm)} for h in found.heat],
        "hand_over": [_row(r) | {"iced_weight_n": _plain(r.iced_weight_n)} for r in found.hand_over],
        "total": {name: v if isinstance(v := getattr(total, name), str) else _plain(v) for name in total.__dataclass_fields__} | {"governing": total.governing},
        "basis": list(found.basis), "left_out": list(found.left_out), "masses": list(found.masses), "cautions": list(found.notes),
    }  # fmt: skip


def _row(one: Any) -> dict[str, Any]:
    return {name: _value(value) for name, value in asdict(one).items()}


def _value(value: Any) -> Any:
    if isinstance(value, tuple | list):
        return [_value(one) for one in value]
    return _plain(value) if isinstance(value, float) else value


def _plain(value: float | None) -> float | None:
    return round(value, 6) if value is not None and math.isfinite(value) else None


__all__ = ["data"]
