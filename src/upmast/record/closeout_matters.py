"""What a reviewer has to look at, the gravest first: each with its reason and what would settle it. Neutral words, nobody is accused."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from upmast.errors import shorten
from upmast.field.reading_case import value_words
from upmast.field.told import Told
from upmast.field.twins import DAYS_REMEDY
from upmast.line.compare import compare
from upmast.line.line import Line
from upmast.record.closeout import Closeout, Row, State, limit_words, place_rank
from upmast.record.days import copies_of, doubts_of_order
from upmast.record.evidence import reading_rules, rules
from upmast.record.filing import ASKED, CANT_BE_READ, KEPT, OPEN_END, SAME_AS
from upmast.record.kinds import (
    FactoryReport,
    FileKept,
    LineKept,
    Matching,
    Measurement,
    Photo,
    Signature,
    Waiver,
)
from upmast.record.whole import Stands
from upmast.record.words import many

KINDS = (
    "changed",  # only where a head was asked for: then it is what the reader came for
    "fails", "not judged", "missing", "unreadable", "kept only", "asked", "same evidence twice", "between files", "order of days", "measured again", "differs from design", "waived", "built otherwise",
    "instrument", "inputs",
)  # fmt: skip
GRADES = {"A": "size and phase", "B": "size only, or single readings", "C": "a picture"}
MOST_NAMED = 6


@dataclass(frozen=True, slots=True)
class Matter:
    """One thing to look at: its kind, the test or file, what is so, and what would settle it."""

    kind: str
    subject: str
    words: str
    remedy: str
    where: str = ""


@dataclass(frozen=True, slots=True)
class Layers:
    """The built line held against the designed one; `known` is False where no built line was kept."""

    known: bool
    differences: tuple[str, ...]
    revision: int = 0

    @property
    def words(self) -> str:
        if not self.known:
            return "no built line is in the record: nothing shows that it was built as designed"
        if not self.differences:
            return f"none: the built line, held against revision {self.revision} item by item, has no difference"
        return f"{len(self.differences)} from revision {self.revision}"


@dataclass(frozen=True)
class Review:
    """Everything around the tests of a closeout, from the same record."""

    closeout: Closeout
    designed: Line | None = None  # the layers that were kept last
    built: Line | None = None
    told: tuple[Told, ...] = ()  # what several files say together
    site_digest: str = ""  # of the site.yaml that the closeout was made with

    @cached_property
    def matters(self) -> tuple[Matter, ...]:
        """What to look at, the gravest first."""
        rank = {kind: n for n, kind in enumerate(KINDS)}
        found = [*self._tests(), *self._files(), *self._twice(), *self._between(), *self._inputs()]
        return tuple(sorted(found, key=lambda one: (rank[one.kind], place_rank(one.where))))

    def of(self, kind: str) -> tuple[Matter, ...]:
        return tuple(one for one in self.matters if one.kind == kind)

    # --- tests ----------------------------------------------------------------------------------------------------

    def _tests(self) -> Iterator[Matter]:
        for row in self.closeout.shown:
            id, where = row.test.id, row.test.where
            if row.state is State.WAIVED:
                yield Matter("waived", id, f"{row.without}: {row.reason}", _waived(row), where)
            elif row.state is not State.PASSES:
                yield Matter(str(row.state), id, row.reason, row.remedy, where)
            differs = row.differs
            if differs is not None:
                size = value_words(differs)
                words = f"{size}, which decides nothing about acceptance" + (
                    f"; {differs.note}" if differs.note else ""
                )
                yield Matter(
                    "differs from design", id, words, differs.remedy or "look at it before it is sealed", where
                )
            for one in row.earlier:
                yield Matter(
                    "measured again", id, f"{earlier_words(row, one)}; now {now_words(row)}",
                    "look what was changed between the two, and whether the later file is of the same test; the earlier one stays in the record",
                    where,
                )  # fmt: skip
            for words in doubts_of_order(row.stands, self._every.get(id, ())):
                yield Matter(
                    "order of days", id, words, "look which was measured last; file them again with --measured where a file does not say its day",
                    where,
                )  # fmt: skip
            if row.changed:
                before = (
                    f", {row.was} before" if row.was not in (None, row.state) else ", as before, by another judgement"
                )
                yield Matter(
                    "changed",
                    id,
                    f"now {row.state}{before}",
                    "review it again; what did not change needs no second look",
                    where,
                )

    @cached_property
    def _every(self) -> dict[str, tuple[Stands, ...]]:
        return self.closeout.whole.judged()

    # --- files ----------------------------------------------------------------------------------------------------

    def _files(self) -> Iterator[Matter]:
        judged = {content for row in self.closeout.rows if row.stands for content in row.stands.measurement.contents()}
        for entry, kept in self.closeout.whole.of(FileKept):
            if entry.number <= self._before:
                continue
            if kept.note.startswith(SAME_AS):
                yield Matter(
                    "same evidence twice", kept.name, f"the same bytes as {kept.note.removeprefix(SAME_AS)}, under another name",
                    "one is enough; where the names mean two tests, measure the other",
                )  # fmt: skip
                continue
            if kept.content in judged:
                continue  # filed again since, and read then
            if kept.note.startswith(CANT_BE_READ):
                words = kept.note.removeprefix(CANT_BE_READ)
                yield Matter(
                    "unreadable", kept.name, words, "export it again from the instrument, then upmast record keep"
                )
            elif kept.note.startswith(ASKED):
                words = kept.note.removeprefix(ASKED)
                yield Matter(
                    "asked", kept.name, words, "answer it: upmast record keep with --say, as upmast judge shows"
                )
            elif kept.sort not in ("site", "line") and not kept.note.startswith(OPEN_END):
                yield Matter(
                    "kept only", kept.name, kept.note or KEPT, "look at it; where it is a measurement, export it again, then upmast record keep",
                )  # fmt: skip
        matched = {what.measurement for _, what in self.closeout.whole.of(Matching)}
        asked = {kept.content for _, kept in self.closeout.whole.of(FileKept) if kept.note.startswith(ASKED)}
        for entry, measured in self.closeout.whole.of(Measurement):
            if entry.number > self._before and entry.key not in matched and measured.content not in asked:
                yield Matter(
                    "asked", measured.name, "its test is not known: it fits several, or none",
                    "say which: upmast record keep with --say",
                )  # fmt: skip

    def _twice(self) -> Iterator[Matter]:
        """The same numbers for two tests, in one file or in two; and files that another site has, too."""
        uses: dict[str, list[Row]] = defaultdict(list)
        for row in self.closeout.rows:
            if row.stands is not None:
                uses[row.stands.measurement.samples].append(row)
        for some in uses.values():
            if len(some) > 1 and (self.closeout.since is None or any(row.changed for row in some)):
                tests, files = ", ".join(r.test.id for r in some), ", ".join(dict.fromkeys(r.file for r in some))
                yield Matter(
                    "same evidence twice", tests, f"the same numbers stand for {len(some)} tests: {files}",
                    "look whether one port was measured twice, and measure the other", some[0].test.where,
                )  # fmt: skip
        for row in self.closeout.shown:
            sites = (self.closeout.elsewhere or {}).get(row.stands.measurement.content) if row.stands else None
            for words in copies_of(row.stands, self._every.get(row.test.id, ())):
                yield Matter("same evidence twice", row.test.id, words, DAYS_REMEDY, row.test.where)
            if sites:
                yield Matter(
                    "same evidence twice", row.test.id, f"the file {row.file} also stands for a test of {', '.join(sites)}",
                    "look which site it was measured at, and measure the other", row.test.where,
                )  # fmt: skip

    def _between(self) -> Iterator[Matter]:
        places = {row.test.id: row.test.where for row in self.closeout.rows}
        for one in self.told:
            if one.level != "note" and self._is_new(one):
                where = next((places[test] for test in one.tests if test in places), "")
                subject = ", ".join(one.tests[:MOST_NAMED]) or ", ".join(one.files[:MOST_NAMED])
                yield Matter("between files", subject, f"{one.words} ({one.kind})", one.remedy, where)

    # --- since a head ---------------------------------------------------------------------------------------------

    @property
    def _before(self) -> int:
        """The number of the last entry that a reviewer has seen; 0 where all is listed."""
        return self.closeout.since.entries if self.closeout.since is not None else 0

    def _is_new(self, told: Told) -> bool:
        """Whether something between files touches a test that changed, or a file that came since."""
        if self.closeout.since is None:
            return True
        tests = {row.test.id for row in self.closeout.changed}
        measured = {what.name for entry, what in self.closeout.whole.of(Measurement) if entry.number > self._before}
        files = measured | {
            what.name for entry, what in self.closeout.whole.of(FileKept) if entry.number > self._before
        }
        return not tests.isdisjoint(told.tests) or not files.isdisjoint(told.files)

    def _known_differences(self) -> frozenset[str]:
        """Differences of the built line that stood at that head, in the words of then."""
        if self.closeout.since is None:
            return frozenset()
        built = [
            what for _, what in self.closeout.whole.until(self.closeout.since).of(LineKept) if what.layer == "built"
        ]
        return frozenset(built[-1].differences) if built else frozenset()

    # --- around ---------------------------------------------------------------------------------------------------

    def _inputs(self) -> Iterator[Matter]:
        layers = self.layers
        if not layers.known and self.closeout.since is None:
            yield Matter(
                "built otherwise",
                "line",
                layers.words,
                "write built.yaml, even with no change in it, then upmast record keep",
            )
        known = self._known_differences()
        for words in layers.differences:
            if shorten(words, 400) in known:
                continue
            yield Matter(
                "built otherwise", "line", words, "agree on it, or put it right; then judge the tests that it touches"
            )
        measured = self.closeout.whole.of(Measurement)
        without = sum(not one.instrument for entry, one in measured if entry.number > self._before)
        if without:
            yield Matter(
                "instrument", many(without, "measurement"), "no instrument and serial number is named",
                "file them again with --instrument",
            )  # fmt: skip
        sites = [kept for _, kept in self.closeout.whole.of(FileKept) if kept.sort == "site"]
        if self.site_digest and sites and sites[-1].content != self.site_digest:
            yield Matter(
                "inputs", "site.yaml", "it is not the one that was last filed: limits may have changed",
                "upmast record keep, with the files that it touches",
            )  # fmt: skip
        old = sorted(self.other_rules)
        if old:
            count = sum(self.other_rules.values())
            yield Matter(
                "inputs", many(count, "judgement"), f"made by other rules than this program has: {', '.join(old[:MOST_NAMED])}",
                "they stand; to judge by one set of rules, file them again",
            )  # fmt: skip

    @cached_property
    def other_rules(self) -> Counter[str]:
        """Judgements that stand by rules that are not those of this program."""
        mine = {rules(), reading_rules()}
        return Counter(
            row.stands.judgement.rules
            for row in self.closeout.shown
            if row.stands and row.stands.judgement.rules not in mine
        )

    @cached_property
    def layers(self) -> Layers:
        """What differs from design, item by item."""
        if self.built is None or self.designed is None:
            return Layers(False, ())
        found = compare(self.designed, self.built)
        return Layers(True, tuple(one.words for one in found), self.designed.revision)

    @cached_property
    def grades(self) -> dict[str, int]:
        """How many pieces of evidence there are by grade; photographs are pictures."""
        found = Counter(str(one.evidence) for _, one in self.closeout.whole.of(Measurement))
        found["C"] += len(self.closeout.whole.of(Photo))
        return {grade: found[grade] for grade in GRADES}

    @cached_property
    def holds(self) -> dict[str, int]:
        """How many measurements there are by what they hold."""
        found = Counter(one.sort for _, one in self.closeout.whole.of(Measurement))
        photos = len(self.closeout.whole.of(Photo))
        return dict(sorted(found.items())) | ({"photo": photos} if photos else {})

    @cached_property
    def instruments(self) -> dict[str, int]:
        """Instruments as declared, with how many measurements name each."""
        found = Counter(one.instrument or "not named" for _, one in self.closeout.whole.of(Measurement))
        return dict(sorted(found.items(), key=lambda pair: (pair[0] == "not named", pair[0])))

    @cached_property
    def reports(self) -> tuple[FactoryReport, ...]:
        return tuple(what for _, what in self.closeout.whole.of(FactoryReport))

    @cached_property
    def serials_without(self) -> tuple[str, ...]:
        """Serial numbers of the line that no factory report names, with their item."""
        line = self.built if self.built is not None else self.closeout.proof.line
        have = {one.serial for one in self.reports}
        return tuple(f"{item.id}: {item.serial}" for item in line.items if item.serial and item.serial not in have)

    @cached_property
    def waivers(self) -> tuple[tuple[Waiver, str], ...]:
        """Every waiver and how it stands: holds, not yet, expired, taken back; those that hold first."""
        found = [(what, state) for _, what, state in self.closeout.whole.waivers(self.closeout.on)]
        return tuple(sorted(found, key=lambda pair: (pair[1] != "holds", pair[0].expires)))

    @cached_property
    def signatures(self) -> tuple[Signature, ...]:
        return tuple(what for _, what in self.closeout.whole.of(Signature))

    @cached_property
    def lines(self) -> tuple[LineKept, ...]:
        return tuple(what for _, what in self.closeout.whole.of(LineKept))


def day_of(one: Stands) -> str:
    """The day on which it was measured, as declared; else that of its filing, and it says which."""
    measured = one.measurement.measured
    return measured[:10] if measured else f"filed {one.measured.time[:10]}"


def earlier_words(row: Row, one: Stands) -> str:
    """An earlier judgement of a test: verdict, value, limit, file, day, instrument."""
    first = one.judgement.findings[0]
    value = value_words(first) if first.value is not None else "no value"
    limit = f", limit {limit_words(first.limit)}" if first.limit is not None else ""
    told = f"earlier {one.judgement.verdict}: {value}{limit}; {one.measurement.name}, {day_of(one)}"
    told += f", {one.measurement.instrument or 'no instrument named'}"
    if row.stands is not None and one.measured.key == row.stands.measured.key:
        told += f", the same measurement, judged by {one.judgement.rules}, {one.judgement.program}"
    if row.stands is not None and one.judgement.line != row.stands.judgement.line:
        told += ", as a test of another line or revision"
    return told


def now_words(row: Row) -> str:
    """What stands of a test that was measured again."""
    assert row.stands is not None
    first = row.stands.judgement.findings[0]
    value = f": {value_words(first)}" if first.value is not None else ""
    return f"{first.verdict}{value}; {row.file}, {day_of(row.stands)}"


def _waived(row: Row) -> str:
    waiver = row.waiver
    assert waiver is not None
    return f"accepted by {waiver.name} until {waiver.expires}: {waiver.reason}"
