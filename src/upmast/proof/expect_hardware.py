"""What the closing work of a line should show: torque of clamps and RF joints, seals and caps with their record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from upmast.catalogue.part import Clamp, Connector
from upmast.finding import Authority, Expectation, Limit, Sense, Stage
from upmast.line.line import Item, Line
from upmast.line.walk import RF_CABLES
from upmast.proof.closing import joint_torque
from upmast.source import Mark, Source

if TYPE_CHECKING:
    from upmast.proof.prove import Proof

TOOL_FRACTION = 0.10  # of a torque tool in use, either way: common practice, no source
TOP, FOOT = "at the top", "at the foot"
TOP_FROM_M = 2.0  # what sits higher needs someone on the mast
NAN = float("nan")
APPLIED, CLOSED, CAPPED = "support.torque-applied", "weather.closed-joints", "weather.capped-ports"


def hardware_expectations(proof: Proof) -> Iterator[Expectation]:
    """Torque of each clamp item and RF joint; each seal and each cap with its record."""
    line = proof.line
    for item in line.of_kind("clamp"):
        yield _clamp(proof, item)
    for item in line.of_kind(*RF_CABLES):
        yield from _joints(proof, item)
    for item in line.of_kind("seal"):
        yield _record(
            proof, item, "seal", CLOSED, f"Joints of {item.on} closed, with a record", "closed joints with a record",
            "After its tests have passed, dry and torqued: picture of the torque mark, of the inner layer or the open closure, and of the closed joint.",
        )  # fmt: skip
    for item in line.of_kind("cap"):
        yield _record(
            proof, item, "cap", CAPPED, f"Unused ports of {item.on} capped, with a record", "capped ports with a record",
            "Cap with its gasket on every unused port, tightened; one picture that shows all of them.",
        )  # fmt: skip


def _where(item: Item) -> str:
    return TOP if item.high_m > TOP_FROM_M else FOOT


def _of_field(part: str, source: Source) -> Source:
    """The source with the part and the field that it is the source of: who confirms the limit writes it there."""
    if source.mark is not Mark.MEMORY:
        return source
    own = f"part {part}"
    document = source.document if source.document.startswith(own) else f"{own}: {source.document}"
    return replace(source, document=document, clause=source.clause or "torque_nm")


def _least(low_nm: float, source: Source) -> Limit:
    """The least torque that counts as applied; what is above the window is told by the expectation."""
    return Limit(APPLIED, round(low_nm, 6), "N·m", Sense.AT_LEAST, Authority.PART, source, Stage.ACCEPTANCE)


def _torque(
    proof: Proof, id: str, subject: str, title: str, window: tuple[float, float] | None, source: Source | None, words: str, items: tuple[str, ...],
    where: str, count: int,
) -> Expectation:  # fmt: skip
    low, high = window if window is not None else (NAN, NAN)
    limit = proof.limits.get(APPLIED)
    if limit is None and window is not None and source is not None:
        limit = _least(low, source)
    return Expectation(
        id, subject, title, "torque", "N·m", (low,), (high,), words, limit=limit, items=items, where=where, data={"count": count},
    )  # fmt: skip


def _clamp(proof: Proof, item: Item) -> Expectation:
    part = proof.line.parts.get(item.part)
    told = part.torque_nm if isinstance(part, Clamp) else None
    window = None if told is None else (told * (1 - TOOL_FRACTION), told * (1 + TOOL_FRACTION))
    source = _of_field(part.id, part.source_of("torque_nm")) if part is not None and told is not None else None
    asked = "torque by its data sheet, which the part does not tell" if told is None else f"{told:g} N·m"
    return _torque(
        proof, f"{item.id}.torque.nm", item.id, f"Torque of the {item.count} clamp(s) {item.id}", window, source,
        f"Each of {item.count}: {asked}; then a mark across bolt and body. Note the lowest and the highest reading and the tool's number. "
        "Look again after the first winter.",
        (item.id, item.on), _where(item), item.count,
    )  # fmt: skip


def _joints(proof: Proof, item: Item) -> Iterator[Expectation]:
    line = proof.line
    found = {end: pair for end in ("foot", "head") if (pair := _pair(line, f"{item.id}.{end}"))}
    rows = {end: joint_torque(pair) for end, pair in found.items()}
    parts = {end: next((one for one in pair if one.torque_nm is not None), pair[0]).id for end, pair in found.items()}
    if len(rows) == 2 and rows["foot"][:2] == rows["head"][:2]:
        rows, parts = {"": rows["foot"]}, {"": parts["foot"]}
    for end, (told, by_hand, source, _) in rows.items():
        window = None
        if told is not None:
            spread = TOOL_FRACTION if told[0] == told[1] else 0.0  # a range is a window already
            window = (told[0] * (1 - spread), told[1] * (1 + spread))
        asked = (
            "by hand to the stop, never with a tool" if by_hand
            else "torque by the data sheet, which the part does not tell" if told is None
            else f"{told[0]:g} N·m" if told[0] == told[1] else f"{told[0]:g} to {told[1]:g} N·m"
        )  # fmt: skip
        count = 1 if end else len(found)
        what = f"the joint at the {end}" if end else "both joints" if count == 2 else "the joint"
        yield _torque(
            proof, f"{item.id}.torque.{end or 'nm'}", item.id, f"Torque of {what} of {item.id}", window, _of_field(parts[end], source),
            f"Clean, mated by hand first, body held still while the nut turns: {asked}. Mark it, note the reading and the tool's number. Before the sweep.",
            (item.id,), _where(item), count,
        )  # fmt: skip


def _pair(line: Line, end: str) -> list[Connector]:
    ends = [end, *(f"{other}" for other, *_ in line.joined.get(end, ()))]
    made = []
    for one in ends if len(ends) > 1 else ():
        part = line.parts.get(line.port(one).connector)
        if isinstance(part, Connector):
            made.append(part)
    return made


def _record(proof: Proof, item: Item, kind: str, code: str, title: str, quantity: str, set_up: str) -> Expectation:
    count = float(item.count)
    source = Source("this line's own expectation: each of them, before the crew leaves", mark=Mark.PRACTICE)
    limit = proof.limits.get(code) or Limit(
        code, count, "", Sense.AT_LEAST, Authority.DEFAULT, source, Stage.ACCEPTANCE
    )
    return Expectation(
        f"{item.id}.{kind}.record", item.id, title, quantity, "", (count,), (count,), set_up, limit=limit, items=(item.id, item.on), where=_where(item),
        data={"count": item.count},
    )  # fmt: skip


__all__ = ["APPLIED", "CAPPED", "CLOSED", "TOOL_FRACTION", "hardware_expectations"]
