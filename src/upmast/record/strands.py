"""
Losses of one strand that were kept on different days: up and down, and both wavelengths, are judged together all the same.

What was kept before counts only for what is not measured now, and only as long as it stands. Which file it came from is said.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from upmast.digest import digest
from upmast.errors import InputFaults, UsageError
from upmast.field.readers.reading import Readings
from upmast.field.reading_judge import JudgedReading, judge_readings
from upmast.field.reading_match import reading_key
from upmast.proof.prove import Proof
from upmast.record import query
from upmast.record.days import day_words
from upmast.record.kinds import Judgement, Measurement, TableKept, TablesKept, make
from upmast.record.record import Record
from upmast.record.tables_read import readings_again

LOSS, FACE = ".ol.", ".ef."
SHORT = 6  # of a digest, before names that are the same
__all__ = ["Joined", "Part", "beside_words", "joined_with_earlier"]


@dataclass(frozen=True, slots=True)
class Part:
    """A table as it was read, how it is kept, and what a person said of its readings."""

    readings: Readings
    kept: TableKept
    said: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Joined:
    """
    Strands judged with what was kept of them before.

    tables : all that was judged together. given, earlier : tests of the tables that are kept now, and of those before, with the key of
    their measurement. places : the table of each reading, by file, row and column. inputs : digest of all of it.
    """

    tables: TablesKept
    given: Mapping[str, JudgedReading]
    earlier: Mapping[str, tuple[JudgedReading, str]]
    places: Mapping[tuple[str, int, int], TableKept]
    measured: Mapping[str, Measurement]  # by test, what was kept before
    inputs: str


def beside_words(test: str, measured: Mapping[str, Measurement]) -> str:
    """Losses of the same strand out of other files, in words; the same whichever of them was kept first."""
    own = measured[test].content
    other = [
        f"{id} ({what.name} {day_words(what)})"
        for id, what in sorted(measured.items())
        if _strand(id) == _strand(test) and LOSS in id and what.content != own
    ]
    return f"judged with {', '.join(other)}; measure again what was opened between the two" if other else ""


def joined_with_earlier(
    record: Record, site: str, proof: Proof, parts: Sequence[Part], judged: Collection[JudgedReading]
) -> Joined | None:
    """
    The strands among judged readings that have losses from before; None where there are none.

    Parameters
    ----------
    parts : the tables that are kept now. judged : what was judged of them alone.
    """
    now = {one.test_id for one in judged if LOSS in one.test_id or FACE in one.test_id}
    strands = {_strand(id) for id in now if LOSS in id}
    siblings = {one.id for one in proof.expectations if _is_of(one.id, strands)} - now
    if not strands or not siblings:
        return None
    stands = {r.test: r for r in query.standing(record, site, proof.line.digest) if r.test in siblings}
    before = list(_before(record, site, proof, stands, {part.kept.content for part in parts}))
    found = {_strand(id) for part in before for id in part.kept.only}
    own = [_only(proof, part, {id for id in now if _strand(id) in found}) for part in parts]
    used = _apart(
        sorted((*(one for one in own if one.kept.only), *before), key=lambda one: (one.kept.name, one.kept.content))
    )
    if not found:
        return None
    said = {key: told for one in used for key, told in one.said.items()}
    result, _ = judge_readings(
        proof, [one.readings for one in used], said=said or None, only=[one.kept.only for one in used]
    )
    by_id = {one.test_id: one for one in result}
    places = {(one.readings.file, r.row, r.column): _own(one.kept) for one in used for r in one.readings.readings}
    return Joined(
        make(TablesKept, tables=tuple(one.kept for one in used), said=said),
        {id: one for id, one in by_id.items() if id in now},
        {id: (one, stands[id].measurement) for id, one in by_id.items() if id in stands and LOSS in id},
        places, _measured(record, site, stands, by_id),
        digest(*((one.kept.content, one.kept.read_as.model_dump(mode="json"), one.kept.only) for one in used), said),
    )  # fmt: skip


def _strand(test: str) -> str:
    return test.partition(".")[0]


def _is_of(test: str, strands: Collection[str]) -> bool:
    return _strand(test) in strands and (LOSS in test or FACE in test)


def _before(
    record: Record, site: str, proof: Proof, stands: Mapping[str, query.VerdictRow], given: Collection[str]
) -> Iterator[Part]:
    """The tables that standing results came from, each for the tests that stand by it."""
    of_key = {entry.key: what for entry, what in query.said(record, site, TablesKept)}
    tests: dict[str, set[str]] = {}
    for row in stands.values():
        (entry,) = query.entries(record, site, after=row.number - 1, most=1)
        together = entry.said.together if isinstance(entry.said, Judgement) else ""
        if together in of_key:
            tests.setdefault(together, set()).add(row.test)
    wanted: dict[str, tuple[TableKept, dict[str, str], set[str]]] = {}  # by content and how it was read
    for key, some in tests.items():
        for table in of_key[key].tables:
            held = some & set(table.only) if table.only else some
            if held and table.content not in given:
                own = _own(table)
                mark = f"{own.content} {own.read_as.model_dump_json()}"
                _, said, known = wanted.setdefault(mark, (own, {}, set()))
                said.update((f"{own.name}#{at}", told) for at, told in _cells(of_key[key].said, table.name))
                known |= held
    for own, said, held in wanted.values():
        try:
            readings = readings_again(record.content(own.content), own.name, own.read_as)
        except (InputFaults, UsageError):
            continue  # it stands as it was judged; nothing more can be told by it
        part = _only(proof, Part(readings, own, said), held)
        if part.kept.only:
            yield part


def _mark(table: TableKept) -> str:
    """What stands before the name of a table where another has the same."""
    return f"{table.content[:SHORT]}-"


def _own(table: TableKept) -> TableKept:
    """A table by the name that it came with."""
    return table.model_copy(update={"name": table.name.removeprefix(_mark(table))})


def _cells(said: Mapping[str, str], name: str) -> Iterator[tuple[str, str]]:
    """What was said of the cells of one table, see `reading_key`."""
    for key, told in said.items():
        file, _, at = key.rpartition("#")
        if file == name:
            yield at, told


def _only(proof: Proof, part: Part, tests: Collection[str]) -> Part:
    """A table for those of some tests that it has readings of."""
    said = {key: told for one in part.readings.readings if (told := part.said.get(key := reading_key(one)))}
    judged, _ = judge_readings(proof, [part.readings], said=said or None, only=[tests]) if tests else ((), ())
    held = tuple(sorted(one.test_id for one in judged))
    return Part(part.readings, part.kept.model_copy(update={"only": held}), said)


def _apart(parts: Sequence[Part]) -> list[Part]:
    """Tables of one name told apart by the beginning of their digest, so that a reading is of one of them."""
    names = Counter(one.kept.name for one in parts)
    return [_named(one, f"{_mark(one.kept)}{one.kept.name}") if names[one.kept.name] > 1 else one for one in parts]


def _named(part: Part, name: str) -> Part:
    read = part.readings
    readings = replace(read, file=name, readings=tuple(replace(one, file=name) for one in read.readings))
    said = {f"{name}#{at}": told for at, told in _cells(part.said, part.kept.name)}
    return Part(readings, part.kept.model_copy(update={"name": name}), said)


def _measured(
    record: Record, site: str, stands: Mapping[str, query.VerdictRow], judged: Collection[str]
) -> dict[str, Measurement]:  # fmt: skip
    wanted = {stands[id].measurement: id for id in judged if id in stands}
    every = query.said(record, site, Measurement)
    return {wanted[entry.key]: what for entry, what in every if entry.key in wanted}
