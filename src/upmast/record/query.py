"""Questions to the record: the history of a path, what stands judged, what is waived, what is there twice."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from upmast.record.canonical import check_site
from upmast.record.chain import Entry
from upmast.record.database import sa
from upmast.record.days import standing_number
from upmast.record.kept import Kept, item_of
from upmast.record.kinds import FactoryReport, Waiver, Withdrawal
from upmast.record.record import Record
from upmast.record.store import COLUMNS, entries_of
from upmast.record.tables import ENTRIES, HANDLES, VERDICTS

K = TypeVar("K", bound=Kept)


@dataclass(frozen=True, slots=True)
class VerdictRow:
    """One judgement in short; the entry of its number has the whole of it."""

    site: str
    number: int
    item: str
    test: str
    measurement: str
    line: str
    verdict: str
    code: str
    value: float | None
    unit: str
    limit_value: float | None
    margin: float | None
    rules: str
    program: str
    time: str


ROW = tuple(VERDICTS.c[name] for name in VerdictRow.__dataclass_fields__)


def entries(record: Record, site: str, kind: str = "", after: int = 0, most: int | None = None) -> tuple[Entry, ...]:
    """Entries of a site by number, of one kind or all; from the one after a number on, and `most` at a time."""
    asked = sa.select(*COLUMNS).where(ENTRIES.c.site == check_site(site), ENTRIES.c.number > after)
    if kind:
        asked = asked.where(ENTRIES.c.kind == kind)
    with record.database.reading() as connection:
        return tuple(entries_of(connection, asked.order_by(ENTRIES.c.number).limit(most)))


def found(record: Record, name: str, value: str, site: str = "") -> tuple[Entry, ...]:
    """
    Entries by a handle, of one site or all: `item` A2-J1 (of its tests, too), `serial`, `content`, `measurement`, `line`.
    """
    joined = ENTRIES.join(HANDLES, sa.and_(HANDLES.c.site == ENTRIES.c.site, HANDLES.c.number == ENTRIES.c.number))
    asked = sa.select(*COLUMNS).select_from(joined).where(HANDLES.c.name == name, HANDLES.c.value == value)
    if site:
        asked = asked.where(HANDLES.c.site == check_site(site))
    with record.database.reading() as connection:
        return tuple(entries_of(connection, asked.order_by(HANDLES.c.site, HANDLES.c.number)))


def history(record: Record, site: str, item: str) -> tuple[Entry, ...]:
    """All that was ever said of a path or item, oldest first: matches, verdicts, waivers, photos."""
    return found(record, "item", item_of(item), site)


def verdicts(record: Record, site: str, item: str = "") -> tuple[VerdictRow, ...]:
    """Every judgement of a site, or of one path or item, oldest first."""
    asked = sa.select(*ROW).where(VERDICTS.c.site == check_site(site))
    if item:
        asked = asked.where(VERDICTS.c.item == item_of(item))
    with record.database.reading() as connection:
        return tuple(VerdictRow(*row) for row in connection.execute(asked.order_by(VERDICTS.c.number)))


def standing(record: Record, site: str = "", line: str = "") -> tuple[VerdictRow, ...]:
    """
    What stands for each test: the last judgement of the measurement whose day is the last, by `standing_number`; worst first.

    Parameters
    ----------
    line : digest of a line; judgements against other lines are then left out.
    """
    measured = ENTRIES.alias("measured")
    joined = VERDICTS.join(
        measured,
        sa.and_(
            measured.c.site == VERDICTS.c.site,
            measured.c.kind == "measurement",
            measured.c.key == VERDICTS.c.measurement,
        ),
    )
    of_test = (VERDICTS.c.site, VERDICTS.c.test)
    last = sa.func.row_number().over(partition_by=(*of_test, measured.c.number), order_by=VERDICTS.c.number.desc())
    first_of, last_of = (f(measured.c.number).over(partition_by=of_test) for f in (sa.func.min, sa.func.max))
    # the day is only read where there is more than one measurement
    body = sa.case((first_of != last_of, measured.c.body), else_="")
    asked = sa.select(*ROW, last.label("place"), measured.c.number.label("at"), body.label("body")).select_from(joined)
    if site:
        asked = asked.where(VERDICTS.c.site == check_site(site))
    if line:
        asked = asked.where(VERDICTS.c.line == line)
    inner = asked.subquery()
    order = sa.case({"fails": 0, "not judged": 1}, value=inner.c.verdict, else_=2)
    names = (*VerdictRow.__dataclass_fields__, "at", "body")
    outer = sa.select(*(inner.c[name] for name in names)).where(inner.c.place == 1)
    found: dict[tuple[str, str], list[tuple[int, str]]] = {}
    rows: list[tuple[VerdictRow, int]] = []
    with record.database.reading() as connection:
        for *row, at, text in connection.execute(outer.order_by(order, inner.c.margin, inner.c.site, inner.c.test)):
            one = VerdictRow(*row)
            rows.append((one, at))
            found.setdefault((one.site, one.test), []).append((at, _day_of(text)))
    holds = {test: standing_number(some) for test, some in found.items()}
    return tuple(one for one, at in rows if holds[one.site, one.test] == at)


def _day_of(body: str) -> str:
    """The day of a measurement in its entry; empty where it is not known, or not asked."""
    return str(json.loads(body).get("measured") or "") if body else ""


def said(record: Record, site: str, kind: type[K]) -> tuple[tuple[Entry, K], ...]:
    """Every entry of a kind with what it says."""
    out = []
    for entry in entries(record, site, kind.KIND):
        what = entry.said
        assert isinstance(what, kind)
        out.append((entry, what))
    return tuple(out)


def waivers(record: Record, site: str, on: date) -> tuple[tuple[Entry, Waiver], ...]:
    """The waivers that hold on a day: granted, not expired, not taken back by then. Both days count."""
    day = on.isoformat()
    back = {what.waiver for _, what in said(record, site, Withdrawal) if what.day <= day}
    return tuple(
        (entry, what)
        for entry, what in said(record, site, Waiver)
        if what.granted <= day <= what.expires and entry.key not in back
    )


def waived(record: Record, site: str, on: date) -> dict[str, Waiver]:
    """By test id: the waiver under which a verdict that stands and does not pass is accepted on a day. The verdict stays."""
    held = waivers(record, site, on)
    keys = {entry.number: entry.key for entry in entries(record, site, "verdict")}
    out: dict[str, Waiver] = {}
    for row in standing(record, site):
        for _, one in held:
            about = one.covers != "missing" and one.subject in (row.test, f"{row.code}@{row.test}")
            if row.verdict != "passes" and about and one.verdict in ("", keys.get(row.number, "-")):
                out[row.test] = one
    return out


def reports(record: Record, serial: str) -> tuple[tuple[Entry, FactoryReport], ...]:
    """Factory test reports of a serial number, at whatever site it was kept."""
    out = []
    for entry in found(record, "serial", serial):
        what = entry.said
        if isinstance(what, FactoryReport):
            out.append((entry, what))
    return tuple(out)


@dataclass(frozen=True, slots=True)
class Repeated:
    """One raw file that stands for more than one test or site: the same evidence twice?"""

    content: str
    uses: tuple[tuple[str, str], ...]  # site and test


def repeated(record: Record) -> tuple[Repeated, ...]:
    """Raw files of measurements that were judged as more than one test, or at more than one site."""
    measured = ENTRIES.alias("measured")
    joined = (
        HANDLES.join(
            measured,
            sa.and_(
                measured.c.site == HANDLES.c.site, measured.c.number == HANDLES.c.number, measured.c.kind == "measurement"
            ),
        )
        .join(VERDICTS, sa.and_(VERDICTS.c.site == measured.c.site, VERDICTS.c.measurement == measured.c.key))
    )  # fmt: skip
    asked = (
        sa.select(HANDLES.c.value, VERDICTS.c.site, VERDICTS.c.test)
        .select_from(joined)
        .where(HANDLES.c.name == "content")
        .distinct()
    )
    uses: dict[str, list[tuple[str, str]]] = {}
    with record.database.reading() as connection:
        for content, site, test in connection.execute(asked):
            uses.setdefault(str(content), []).append((str(site), str(test)))
    return tuple(Repeated(content, tuple(sorted(some))) for content, some in sorted(uses.items()) if len(some) > 1)


def untested(record: Record, site: str, tests: Iterable[str], line: str = "") -> tuple[str, ...]:
    """Which of some tests (the expectations of a line) have no judgement that stands."""
    done = {row.test for row in standing(record, site, line)}
    return tuple(test for test in tests if test not in done)
