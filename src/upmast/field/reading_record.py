"""Judge what was closed: joints with a closure, unused ports with a cap. A count has no uncertainty; the pictures are for a person."""

from __future__ import annotations

from upmast.field.readers.reading import Reading
from upmast.field.reading_case import Case, Judgement, standing
from upmast.field.reading_words import rest_of
from upmast.field.setup import Remark
from upmast.finding import judge


def judge_closed(case: Case) -> Judgement:
    """
    Joints closed or ports capped against how many there are.

    Rows that name different joints are added up; of rows that name the same the last one holds where times tell it, else the lowest.
    """
    limit, wanted = case.test.limit, int(case.test.low[0])
    groups, remarks = standing(case.readings, lambda one: _which(one, case.subject))
    value = float(sum(min(one.value or 0.0 for one in some) for some in groups))
    code = limit.code if limit is not None else f"weather.{case.test.id.split('.')[1]}"
    words = "closed" if ".seal." in case.test.id else "capped"
    if value > wanted:
        told = f"{value:g} are {words} by the table, {wanted} are in the line"
        remarks = (*remarks, Remark("more", "warn", told, "look whether some belong elsewhere"))
    remedy = "close the rest, each after its tests" if words == "closed" else "a cap with a gasket on each unused port"
    finding = judge(
        code, case.test.id, value, limit, note=f"{value:g} of {wanted} {words}; a person looks at the pictures", remedy=remedy, items=case.test.items,
    )  # fmt: skip
    return (finding,), remarks


def _which(reading: Reading, subject: str) -> tuple[str, ...]:
    side = str(reading.condition("side") or "").strip().upper()
    return (*rest_of(reading.subject, subject), *((side,) if side else ()))


__all__ = ["judge_closed"]
