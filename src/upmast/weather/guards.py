"""Findings of declared hazards against what each cable withstands, and of closures that must fit their joints."""

from __future__ import annotations

from collections.abc import Iterator

from upmast.finding import Figure, Finding, Verdict, judge
from upmast.formula import Num, Sym, sum_
from upmast.limits import Limits
from upmast.source import Mark, Origin, Source
from upmast.weather.hazard import CORROSION_SOURCE, GNAW_SOURCE, HazardVerdict, judge_hazards
from upmast.weather.inspection import inspection, inspection_source
from upmast.weather.state import Closed, Exposed, Inputs
from upmast.working import ChoiceStep, FormulaStep, Quantity, Step

__all__ = [
    "closure_findings",
    "derive_closure",
    "derive_hazards",
    "derive_inspection",
    "hazard_findings",
    "inspection_figure",
]

DECLARED = Source("site.yaml", "hazards", mark=Mark.DECLARED)
SIZES = Source("own derivation: sizes of joint and closure", "both bounds included")
_FIELDS = {
    "sun": "sun", "salt": "corrosion", "gnawing": "gnawing", "impact": "impact_j", "tread": "tread_n", "ice fall": "ice_fall_j",
    "vibration": "vibration",
}  # fmt: skip


def declared_verdicts(one: Exposed) -> tuple[HazardVerdict, ...]:
    """Verdicts of the hazards that somebody has declared; the others are nobody's claim."""
    return tuple(
        v
        for v in judge_hazards(one.exposure, one.withstand)
        if getattr(one.exposure, _FIELDS[str(v.hazard)]) is not None
    )


def hazard_findings(i: Inputs, limits: Limits) -> Iterator[Finding]:
    """One finding a cable and leg: how many of its declared hazards the part does not withstand."""
    limit = limits.get("weather.hazards")
    for n, one in enumerate(i.exposed):
        verdicts = declared_verdicts(one)
        failing = [v for v in verdicts if v.verdict is Verdict.FAILS]
        unknown = [v for v in verdicts if v.verdict is Verdict.NOT_JUDGED]
        missing = () if failing else tuple(f"{m} of {one.part}" for v in unknown for m in v.missing)
        shown = failing or unknown or list(verdicts)
        note = f"{one.where}: " + "; ".join(f"{v.hazard}: {v.reason}" for v in shown[:4])
        yield judge(
            "weather.hazards", one.subject, float(len(failing)), limit, missing=missing, note=note, items=(one.item,), rank=n,
            remedy="a cable that withstands it, or a guard over the leg: conduit, cover, cage",
        )  # fmt: skip


def closure_findings(i: Inputs, limits: Limits) -> Iterator[Finding]:
    """One finding a cable: how many of its joints have a closure that doesn't fit."""
    limit = limits.get("weather.closures")
    for n, (item, joints) in enumerate(i.closed):
        bad = [(one, one.objections) for one in joints if one.objections]
        note = (
            "; ".join(f"{one.seal} over {one.ends[0]}: {', '.join(why)}" for one, why in bad[:3])
            if bad else f"{len(joints)} closure(s) fit cable, nut and length" + _room_words(joints)
        )  # fmt: skip
        missing = () if bad else tuple(dict.fromkeys(one.missing for one in joints if one.missing))
        yield judge(
            "weather.closures", item, float(len(bad)), limit, missing=missing, note=note, items=(item,), rank=n,
            remedy="a closure of another range, or a tape kit, which goes on any diameter",
        )  # fmt: skip


def _room_words(joints: tuple[Closed, ...]) -> str:
    """How much room is left beside a neighbouring port, or of which device that is not told."""
    rooms = [room for one in joints if (room := one.room_mm) is not None]
    silent = list(dict.fromkeys(one.device for one in joints if one.device and one.pitch_mm is None))
    words = f", {min(rooms):.0f} mm to spare between neighbouring ports" if rooms else ""
    return words + (f"; room between the ports of {', '.join(silent)} not told (rf_pitch_mm)" if silent else "")


def inspection_figure(i: Inputs) -> Figure:
    """How often the line is looked at, by the declared rule of practice."""
    found = inspection(i.exposures)
    because = ", ".join(found.because) if found.because != ("none",) else "nothing that asks for more"
    note = f"every {found.months:g} months: {because}; the owner's own rule goes before this"
    return Figure("weather.inspection", i.site, 12.0 / found.months, "1/year", note, inspection_source())


def derive_inspection(i: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    rule = inspection(i.exposures)
    months = Quantity(
        "m",
        rule.months,
        "months",
        f"shortest interval of {', '.join(i.exposures) or 'no exposure'}",
        Origin.DEFAULT,
        inspection_source(),
    )
    result = Quantity(
        "n", float(found.value or 0.0), "1/year", "inspections a year", Origin.EXPECTED, inspection_source()
    )
    return (FormulaStep(result, Num(12) / Sym("m"), (months,)),)


def derive_hazards(i: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    """Each declared hazard with what the part withstands; the count of those that it doesn't."""
    one = i.exposed[found.rank]
    verdicts = declared_verdicts(one)
    rows = tuple(f"{v.hazard}: {v.verdict}, {v.reason}" for v in verdicts)
    rule = f"what is declared of {one.where}, against the data sheet of {one.part}; classes by {CORROSION_SOURCE.document}, teeth by {GNAW_SOURCE.clause}"
    return (
        ChoiceStep(f"{len(verdicts)} hazard(s) declared", rule, rows),
        _count("hazards that it does not withstand", [float(v.verdict is Verdict.FAILS) for v in verdicts], DECLARED),
    )


def derive_closure(i: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    """Each joint with its closure; the count of those that don't fit."""
    _, joints = i.closed[found.rank]
    rows = tuple(
        f"{one.ends[0]} to {one.ends[1]}, {one.seal}: cable {one.cable_mm:g} mm in {one.low_mm:g} to {one.high_mm:g}, joint {one.nut_mm:g} mm in "
        f"{one.body_mm:g}, {one.length_mm:g} mm in {one.inside_mm:g}"
        + ("" if one.room_mm is None else f", {one.room_mm:.0f} mm of {one.pitch_mm:g} left between neighbouring ports")
        + ("; does not fit" if one.objections else "")
        for one in joints
    )
    return (
        ChoiceStep(
            f"{len(joints)} closure(s)",
            "cable within the range of the ends, joint within the body, length within the inside, two closures and hands within the distance of the ports",
            rows,
        ),
        _count("closures that don't fit", [float(bool(one.objections)) for one in joints], SIZES),
    )


def _count(words: str, ones: list[float], source: Source) -> FormulaStep:
    parts = tuple(
        Quantity(f"n_{n}", one, "", f"number {n}: 1 if so", Origin.EXPECTED, source) for n, one in enumerate(ones, 1)
    )
    result = Quantity("n", sum(ones), "", words, Origin.EXPECTED, source)
    return FormulaStep(result, sum_([Sym(q.symbol) for q in parts]) if parts else Num(0), parts)
