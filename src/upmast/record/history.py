"""The history of a path or item as somebody reads it: one line for each entry, with test, value, limit and file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from upmast.documents.sheet import joined
from upmast.errors import shorten
from upmast.number import number
from upmast.record import query
from upmast.record.chain import Entry
from upmast.record.closeout import limit_words
from upmast.record.kept import Kept
from upmast.record.kinds import (
    FactoryReport,
    FileKept,
    Judgement,
    LineKept,
    Matching,
    Measurement,
    Photo,
    Signature,
    TablesKept,
    Waiver,
    Withdrawal,
)
from upmast.record.record import Record

MOST_WORDS = 300
WAYS = {"content": "by its content", "name": "by its name", "person": "by a person"}


@dataclass(frozen=True, slots=True)
class Told:
    """One entry, and what it says in one line."""

    entry: Entry
    words: str


def history_of(record: Record, site: str, item: str) -> tuple[Told, ...]:
    """
    All that was ever said of a path, item or test, oldest first, with the measurements that it was said of.

    Parameters
    ----------
    item : a path or item, A2-J1; or one of its tests, A2-J1.rl.load: then what is said of this test alone.
    """
    about = query.history(record, site, item)
    about = tuple(one for one in about if "." not in item or _test_of(one.said).upper() == item.upper())
    measured = {one.said.measurement for one in about if isinstance(one.said, Matching | Judgement)}
    waivers = {one.key for one in about if one.kind == Waiver.KIND}
    more = [one for one in query.entries(record, site, Measurement.KIND) if one.key in measured]
    more += [one for one in query.entries(record, site, Withdrawal.KIND) if _takes_back(one.said, waivers)]
    every = sorted({one.number: one for one in (*about, *more)}.values(), key=lambda one: one.number)
    files = {one.key: one.said for one in more if isinstance(one.said, Measurement)}
    return tuple(Told(one, shorten(words_of(one.said, files), MOST_WORDS)) for one in every)


def _test_of(said: Kept) -> str:
    if isinstance(said, Matching | Judgement):
        return said.test
    return said.subject.rpartition("@")[2] if isinstance(said, Waiver | Photo) else ""


def _takes_back(said: Kept, waivers: set[str]) -> bool:
    return isinstance(said, Withdrawal) and said.waiver in waivers


def words_of(said: Kept, files: Mapping[str, Measurement]) -> str:
    """
    What an entry says, in one line.

    Parameters
    ----------
    files : measurements by their key, so that a verdict can name its file.
    """
    return " ".join(_words(said, files).split())


def _words(said: Kept, files: Mapping[str, Measurement]) -> str:
    if isinstance(said, Measurement):
        told = [f"{said.name}: {said.sort}, grade {said.evidence}"]
        told += [f"measured {said.measured}"] if said.measured else []
        told += [said.instrument] if said.instrument else ["no instrument named"]
        return ", ".join(told)
    if isinstance(said, Matching):
        reasons = f": {'; '.join(said.reasons[:2])}" if said.reasons else ""
        return f"{_file(said.measurement, files)} is {said.test}, {WAYS[said.way]}{reasons}"
    if isinstance(said, Judgement):
        return f"{said.test} {said.verdict}: {_value(said)}, {_file(said.measurement, files)}"
    if isinstance(said, Waiver):
        what = ", that it was not done" if said.covers == "missing" else ""
        return f"{said.subject} accepted by {said.name}{what}, {said.granted} to {said.expires}: {said.reason}"
    if isinstance(said, Withdrawal):
        return f"a waiver taken back by {said.name} on {said.day}: {said.reason}"
    if isinstance(said, Photo):
        return f"{said.name}: {said.shows}, of {said.subject}" + (f", taken {said.taken}" if said.taken else "")
    if isinstance(said, FactoryReport):
        return f"{said.name}: report of {said.serial} {said.part}".rstrip()
    if isinstance(said, LineKept):
        return f"{said.layer} line of revision {said.revision}"
    if isinstance(said, TablesKept):
        return f"judged together: {joined([one.name for one in said.tables], 6)}"
    if isinstance(said, Signature):
        return f"{said.name}, {said.role}, over {said.entries} entries: {said.statement}"
    return f"{said.name}: {said.note or said.sort}" if isinstance(said, FileKept) else said.KIND


def _value(said: Judgement) -> str:
    """Value with unit against limit, and the margin; what is missing, where nothing is judged."""
    first = said.findings[0]
    told = [number(first.value, first.unit) if first.value is not None else "no value"]
    if first.limit is not None:
        told.append(f"limit {limit_words(first.limit)}")
    if first.margin is not None:
        told.append(f"margin {number(first.margin, first.unit, signed=True)}")
    if said.verdict == "not judged" and first.missing:
        told.append(f"it needs {first.missing[0]}")
    return ", ".join(told)


def _file(measurement: str, files: Mapping[str, Measurement]) -> str:
    return files[measurement].name if measurement in files else "a measurement that is not there"
