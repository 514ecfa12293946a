"""What a record says over time: every sweep of one path held against the earlier ones, and what is known of each spare."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from upmast.catalogue.part import Cable
from upmast.errors import UsageError, shorten
from upmast.field.changes import NO_DATE, changes
from upmast.field.comment_words import words_of
from upmast.field.judge import Judged, judge_sweep
from upmast.field.told import Told
from upmast.proof.prove import Proof
from upmast.proof.rf_path import path_designs
from upmast.record.chain import Entry
from upmast.record.days import copies_of, doubts_of_order, standing_number
from upmast.record.evidence import doubt_of, sweep_from
from upmast.record.kinds import Judgement, Measurement
from upmast.record.whole import Stands, Whole

Contents = Callable[[str], bytes]
FILING = "the day of filing"
UNKNOWN = "not known"  # by whom the day of a sweep is told: by nobody, so that it is in no order
MOST_SWEEPS = 400  # of one path, the latest


@dataclass(frozen=True, slots=True)
class DatedSweep:
    """
    A sweep of a path: its test, file, day, by whom the day is told, temperature, verdict, value.

    day : ISO day, empty where neither the file nor a person tells it; day_by is `UNKNOWN` then.
    stands : whether it is the one that stands for its test.
    """

    test: str
    file: str
    day: str
    day_by: str
    temperature_c: float | None
    verdict: str
    value: float | None
    unit: str
    filed: str = ""  # ISO day of filing
    stands: bool = False


@dataclass(frozen=True)
class OverTime:
    """
    The sweeps of one path, oldest first and those of an unknown day last, what they say together, files that can no longer be read.

    doubts : by test, what is open about which of its sweeps is the last.
    """

    path: str
    sweeps: tuple[DatedSweep, ...]
    told: tuple[Told, ...]
    faults: tuple[tuple[str, str], ...]
    doubts: tuple[tuple[str, str], ...] = ()

    @property
    def failing(self) -> tuple[DatedSweep, ...]:
        """What stands and fails: it goes before every change."""
        return tuple(one for one in self.sweeps if one.stands and one.verdict == "fails")

    @property
    def days(self) -> tuple[str, ...]:
        return tuple(sorted({one.day for one in self.sweeps if one.day}))


def over_time(proof: Proof, whole: Whole, contents: Contents, path: str) -> OverTime:
    """
    Every sweep of a path in the record, and what has changed between its days.

    A day comes from the file; else from who filed it. A sweep whose day neither tells is listed and put in no order: the day of filing
    says nothing of when it was made. What was judged as a test of another line counts, too: the sweeps are held against the joints of
    this line.

    Raises
    ------
    UsageError
        If the line has no such path.
    """
    known = {design.id.upper(): design.id for design in path_designs(proof.line)}
    name = known.get(path.upper())
    if name is None:
        raise UsageError(f"no RF path {path!r} of this line; there are {', '.join(list(known.values())[:12])}")
    measured = {entry.key: (entry, what) for entry, what in whole.of(Measurement)}
    last: dict[str, tuple[str, Judgement]] = {}  # of each measurement: the last judgement holds
    for _, what in whole.of(Judgement):
        if what.test.startswith(f"{name}.") and not what.together and what.measurement in measured:
            last[what.measurement] = (what.test, what)
    rows: list[DatedSweep] = []
    sweeps: list[Judged] = []
    said: dict[str, tuple[str, float]] = {}
    faults: list[tuple[str, str]] = []
    holds = _holds({key: test for key, (test, _) in last.items()}, measured)
    for key, (test, judgement) in list(last.items())[-MOST_SWEEPS:]:
        entry, measurement = measured[key]
        try:
            sweep = sweep_from(contents(measurement.content), measurement)
            judged = judge_sweep(proof, sweep, test, doubt_of(judgement))
        except UsageError as error:
            stood = f"; it stands for {test}, which {judgement.verdict} as it was judged" if key in holds else ""
            faults.append((measurement.name, shorten(str(error), 200) + stood))
            continue
        words = words_of(sweep)
        day, by = _told_day(words.day, measurement.measured)
        warm = words.temperature_c
        first = judged.findings[0]
        rows.append(
            DatedSweep(
                test,
                measurement.name,
                day,
                by,
                warm,
                str(first.verdict),
                first.value,
                first.unit,
                entry.time[:10],
                key in holds,
            )
        )
        # two days may have a file of one name: what is said is filed under the name, so each gets one of its own
        unique = f"{measurement.name} of {day or 'an unknown day'}, entry {entry.number}"
        sweeps.append(_named(judged, unique))
        said[unique] = (day, math.nan if warm is None else warm)
    rows.sort(key=lambda one: (not one.day, one.day, one.test))
    told = tuple(one for one in changes(sweeps, said) if NO_DATE not in one.words)  # each of them is listed as such
    return OverTime(name, tuple(rows), told, tuple(faults), _doubts(proof, whole, name))


def _holds(tests: dict[str, str], measured: dict[str, tuple[Entry, Measurement]]) -> frozenset[str]:
    """The keys of the measurements that stand, of each test one."""
    by_test: dict[str, dict[int, str]] = {}
    for key, test in tests.items():
        by_test.setdefault(test, {})[measured[key][0].number] = key
    return frozenset(
        some[standing_number((n, measured[key][1].measured) for n, key in some.items())] for some in by_test.values()
    )


def _told_day(of_file: str, of_person: str) -> tuple[str, str]:
    """ISO day and who told it; empty where nobody told one that can be read."""
    for text, by in ((of_file[:10], "the file"), (of_person[:10], "a person")):
        try:
            return date.fromisoformat(text).isoformat(), by
        except ValueError:
            continue
    return "", UNKNOWN


def _doubts(proof: Proof, whole: Whole, path: str) -> tuple[tuple[str, str], ...]:
    """What is open of the order of the sweeps of a path, and which of them have the samples of another."""
    standing, every = whole.standing(proof.line.digest), whole.judged()
    return tuple(
        (test, words)
        for test, some in every.items()
        if test.startswith(f"{path}.") and any(one.measurement.sort == "rf.sweep" for one in some)
        for words in (*doubts_of_order(standing.get(test), some), *copies_of(standing.get(test), some))
    )


def _named(judged: Judged, name: str) -> Judged:
    from dataclasses import replace

    return replace(judged, sweep=replace(judged.sweep, file=name))


def _day(one: Stands) -> str:
    """The day of measurement; where it is not known that of filing."""
    return (one.measurement.measured or one.measured.time)[:10]


@dataclass(frozen=True, slots=True)
class Spare:
    """A strand or DC pair that nothing uses yet: what it is kept for, and the test of it that came last."""

    name: str
    what: str  # strand or pair
    kept_for: str  # growth, standby, spare
    tests: int
    done: int
    last_test: str = ""
    last_day: str = ""
    day_by: str = ""  # who told that day: the measurement, or the day of filing
    verdict: str = ""  # the worst that stands of its tests; empty: none was made


def spares(proof: Proof, whole: Whole) -> tuple[Spare, ...]:
    """Every kept strand and every pair of a run that is joined to nothing, with its own state and its last test."""
    line = proof.line
    standing = whole.standing(line.digest)
    kept: dict[str, str] = {}
    state = {link.id: link.state for link in line.links}
    for test in proof.expectations:
        link = test.data.get("link")
        if isinstance(link, str) and state.get(link, "service") != "service":
            kept.setdefault(test.id.partition(".")[0], state[link])
    pairs: dict[str, str] = {}
    for item in line.of_kind("trunk", "dc-cable"):
        part = line.part_of(item)
        if isinstance(part, Cable) and part.pairs_count > 1:
            for n in range(1, part.pairs_count + 1):
                if f"{item.id}.foot.dc{n}" not in line.joined:
                    pairs[f"{item.id}-P{n:02d}"] = "spare"
    out = []
    for what, names in (("strand", kept), ("pair", pairs)):
        for name, use in names.items():
            tests = [one.id for one in proof.expectations if one.id.startswith(f"{name}.")]
            found = [standing[id] for id in tests if id in standing]
            newest = max(found, key=lambda s: (_day(s), s.measured.number), default=None)
            worst = min((s.judgement.verdict for s in found), key=("fails", "not judged", "passes").index, default="")
            day, last, by = "", "", ""
            if newest is not None:
                day, last = _day(newest), newest.judgement.test
                by = "the measurement" if newest.measurement.measured else FILING
            out.append(Spare(name, what, use, len(tests), len(found), last, day, by, worst))
    return tuple(out)


__all__ = ["DatedSweep", "OverTime", "Spare", "over_time", "spares"]
