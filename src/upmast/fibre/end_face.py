"""Grading of fibre end faces by zones: the zones and what they may have are a table from memory, to be confirmed by name."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from upmast.finding import Verdict
from upmast.source import Mark, Source
from upmast.table import read

__all__ = ["EndFaceMark", "Grade", "Zone", "grade", "zones"]


@dataclass(frozen=True, slots=True)
class Zone:
    """
    One ring of an end face by its diameters, and what may be in it.

    scratches, defects: how many at most, None for any number. scratch_um, defect_um: those up to this width or size don't
    count, None where every one counts.
    """

    name: str
    from_um: float
    to_um: float
    scratches: int | None
    scratch_um: float | None
    defects: int | None
    defect_um: float | None
    source: Source


@dataclass(frozen=True, slots=True)
class EndFaceMark:
    """One mark that an inspection found: a scratch (its width) or a defect (its size), at a distance from the centre."""

    kind: str
    size_um: float
    distance_um: float


@dataclass(frozen=True, slots=True)
class Grade:
    """Verdict of an end face, with a reason for each zone that has too much, and what is missing to judge it."""

    verdict: Verdict
    reasons: tuple[str, ...]
    missing: tuple[str, ...]


def zones(finish: str) -> tuple[Zone, ...]:
    """
    The zones of an end face.

    Parameters
    ----------
    finish: 'upc' or 'apc', single-mode.

    Source: IEC 61300-3-35, from memory: each row says so.

    >>> [(zone.name, zone.to_um) for zone in zones("upc")]
    [('core', 25.0), ('cladding', 120.0), ('adhesive', 130.0), ('contact', 250.0)]
    """
    table = read("upmast.fibre", "endface_iec61300_3_35")

    def count(text: str) -> int | None:
        return None if text == "any" else int(text)

    found = tuple(
        Zone(
            row["zone"],
            float(row["from_um"]),
            float(row["to_um"]),
            count(row["scratches"]),
            float(row["scratch_um"]) if row["scratch_um"] else None,
            count(row["defects"]),
            float(row["defect_um"]) if row["defect_um"] else None,
            Source(table.source.document, table.source.clause, mark=Mark(row["mark"])),
        )
        for row in table.rows
        if row["finish"] == finish
    )
    if not found:
        raise ValueError(f"there are zones for 'upc' and 'apc', not {finish!r}")
    return found


def grade(finish: str, marks: Iterable[EndFaceMark] | None, confirmed_by: str = "") -> Grade:
    """
    Grade an end face by what was seen on it.

    A mark counts in its zone if it is larger than the zone lets pass: wider scratches than `scratch_um`, larger defects than
    `defect_um`. More than the zone may have is told; whether it fails is only said once somebody confirmed the table.

    Parameters
    ----------
    finish: 'upc' or 'apc'. marks: what was seen, empty for a clean face, None where nobody looked. confirmed_by: who read the
    zones in the standard, by name.

    Raises
    ------
    ValueError
        If a mark is neither scratch nor defect, or its size or place is no number from 0.

    >>> grade("upc", [EndFaceMark("defect", 4.0, 3.0)]).reasons
    ('core: 1 defect, none may be there',)
    >>> str(grade("upc", [], confirmed_by="N. Reader").verdict), str(grade("upc", []).verdict)
    ('passes', 'not judged')
    """
    if marks is None:
        return Grade(Verdict.NOT_JUDGED, (), ("an inspection of this end face, before anything is mated",))
    seen = tuple(marks)
    for mark in seen:
        numbers = (mark.size_um, mark.distance_um)
        if mark.kind not in ("scratch", "defect") or not all(math.isfinite(x) and x >= 0 for x in numbers):
            raise ValueError("a mark is a scratch or a defect with a size and a distance from 0 um")
    reasons = []
    for zone in zones(finish):
        inside = [m for m in seen if zone.from_um / 2 <= m.distance_um < zone.to_um / 2]
        for kind, most, least in (
            ("scratch", zone.scratches, zone.scratch_um),
            ("defect", zone.defects, zone.defect_um),
        ):
            counted = [m for m in inside if m.kind == kind and (least is None or m.size_um > least)]
            if most is not None and len(counted) > most:
                words = f"{len(counted)} {kind}{'es' if kind == 'scratch' and len(counted) > 1 else 's' if len(counted) > 1 else ''}"
                over = f" over {least:g} µm" if least is not None else ""
                reasons.append(f"{zone.name}: {words}{over}, {most or 'none'} may be there")
    if not confirmed_by:
        return Grade(
            Verdict.NOT_JUDGED,
            tuple(reasons),
            ("the zones of IEC 61300-3-35, which stand here from memory: confirm them by name",),
        )
    return Grade(Verdict.FAILS if reasons else Verdict.PASSES, tuple(reasons), ())
