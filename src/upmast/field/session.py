"""
Everything of one judging as one object: files taken in, matched, judged, compared with each other, in the order of what to do first.

    judging = Judging(proof)
    judging.add(take_in([Path("from-the-mast")]))
    session = judging.session()
    session.rows        # the most urgent first
    session.missing     # tests that no file was judged for

Files may come in one by one: `add` gives the rows of what it was given, `session` looks at all of them together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from upmast.errors import InputFaults, UsageError
from upmast.field.across import Told, across
from upmast.field.distance_set import distance_remarks
from upmast.field.intake import FieldFile, LeftOut, Taken, left_of
from upmast.field.judge import Judged, Uncertainty, judge_sweep, test_of
from upmast.field.match import TESTS, Match, as_named, match_among, name_says
from upmast.field.measurement import Sweep
from upmast.field.named import Names, names_of, several
from upmast.field.place import place_of
from upmast.field.prepare import prepare
from upmast.field.queue import Missing, exit_code, missing, ordered
from upmast.field.readers.content_kind import ENCRYPTED, PDF, PHOTO, TABLE, TEXT, TOUCHSTONE, WORKBOOK
from upmast.field.readers.distance_table import DistanceTable
from upmast.field.readers.mapping_memory import Memory
from upmast.field.readers.touchstone import read_sweep
from upmast.field.reading_judge import judge_readings
from upmast.field.reading_match import reading_key
from upmast.field.row import (
    ASKED,
    TOP,
    Row,
    asked_reading,
    asked_row,
    distance_row,
    open_end_row,
    reading_row,
    sweep_row,
    told_row,
    unreadable_row,
)
from upmast.field.say import Words
from upmast.field.setup import CAUTIONS
from upmast.field.tables import TableRead, read_tables
from upmast.finding import Verdict
from upmast.proof.prove import Proof
from upmast.proof.rf_path import path_designs

HELD_POINTS = 50_000  # of sweeps that are read before they are judged
MOST_HELD = 2_000  # sweeps with all their traces in memory, compared with each other; the others keep their row alone
MOST_ANSWERS = 40  # tests that a sweep may be, listed in an answer
READ = (TOUCHSTONE, TABLE, WORKBOOK)
Tell = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Evidence:
    """A photograph or document: kept by its digest, looked at by a person; `named` are tests and items that its name says."""

    file: FieldFile
    named: tuple[str, ...] = ()

    def as_data(self) -> dict[str, object]:
        return {**self.file.as_data(), "named": list(self.named)}


@dataclass(frozen=True, slots=True)
class Session:
    """What one judging found: the queue, what each table was taken for, evidence, what was left out, what is missing."""

    proof: Proof
    rows: tuple[Row, ...]  # the most urgent first
    tables: tuple[TableRead, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    missing: tuple[Missing, ...] = ()
    files: tuple[FieldFile, ...] = ()
    notes: tuple[str, ...] = ()
    doubted: tuple[Judged, ...] = ()  # sweeps that are asked, judged as the tests of their names; to be looked at
    memory: Memory = field(default_factory=lambda: Memory())

    @property
    def exit_code(self) -> int:
        return exit_code(self.rows, loud=any(one.loud for one in self.left_out))

    @property
    def sweeps(self) -> tuple[Judged, ...]:
        """The sweeps that were judged, in the order of the queue."""
        return tuple(row.judged for row in self.rows if row.judged is not None)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What can hurt somebody in the tests of these files."""
        own = (words for row in self.rows if row.reading is not None for words in row.reading.cautions)
        return tuple(dict.fromkeys((*CAUTIONS, *own)))

    def counts(self) -> dict[str, int]:
        """How many tests fail, are not judged, pass; how many files ask or can't be read; what another row asks counts there alone."""
        said = [row.verdict or row.state for row in self.rows if row.state != "told" and not row.folded]
        return {word: said.count(word) for word in ("fails", "not judged", "asked", "unreadable", "passes")}

    def as_data(self) -> dict[str, object]:
        """Everything as plain data, see docs/field.md for its schema."""
        from upmast.field.session_data import session_data

        return session_data(self)


class Judging:
    """Files of one site, judged as they come; nothing of a raw file is kept."""

    def __init__(
        self, proof: Proof, *, words: Words | None = None, memory: Memory | None = None, confirm: bool = False,
        repair: bool = False, uncertainty: Uncertainty | None = None, tell: Tell | None = None,
    ) -> None:  # fmt: skip
        self.proof = proof
        self.words = words or Words()
        self.memory = memory or Memory()
        self._confirm, self._repair, self._uncertainty = confirm, repair, uncertainty
        self.tell: Tell = tell or (lambda step, done, of: None)
        self._designs = path_designs(proof.line)
        self._where = {one.id: one.where for one in proof.expectations}
        self._here = place_of(proof)
        self._names: Names = names_of(proof.line, proof.expectations)
        self._rows: dict[str, list[Row]] = {}  # of sweeps and tables, by file
        self._doubted: dict[
            str, Judged
        ] = {}  # judged as their names say, though their content fits another test better
        self._tables: dict[str, tuple[TableRead, ...]] = {}
        self._files: dict[str, FieldFile] = {}
        self._left: list[LeftOut] = []
        self._notes: list[str] = []
        self._shown: dict[str, str] = {}  # by the whole name
        self._taken: dict[str, str] = {}  # whole name by the shown one
        self._first: dict[str, str] = {}  # by digest, the first file of that content
        self._readings: tuple[Row, ...] | None = None
        self._held = 0

    def add(self, taken: Taken) -> tuple[Row, ...]:
        """
        Judge some files and give their rows, the most urgent first. A file that came before under the same name is replaced.

        Raises
        ------
        UsageError
            Where what a person said can't be carried out: a test, column, role or unit that there is not.
        """
        self._left += taken.left_out
        self._notes += taken.notes
        for file in taken.files:
            self._forget(file)
            self._keep(file)
        wanted = [one for one in taken.of(*READ) if not self._double_of(one)]
        every = Taken(tuple(wanted))
        tables = False
        waiting: list[tuple[FieldFile, str, Sweep | Row]] = []  # sweeps that are judged together
        for n, (file, raw) in enumerate(every.each(*READ)):
            self.tell("files", n, len(wanted))
            shown = self._shown[file.name]
            if isinstance(raw, InputFaults):
                self._rows[file.name] = [unreadable_row("file", shown, raw, file.digest)]
            elif file.kind == TOUCHSTONE:
                waiting.append((file, shown, self._read(file, raw, shown)))
                if sum(one.points for _, _, one in waiting if isinstance(one, Sweep)) > HELD_POINTS:
                    self._touchstones(waiting)
                    waiting = []
            else:
                self._rows[file.name] = self._table(file, raw, shown)
                tables = True
        self._touchstones(waiting)
        for file in taken.of(ENCRYPTED):
            self._left.append(LeftOut(file.name, file.words, "give it without a password"))
        if tables:
            self._readings = None
        here = {file.name for file in taken.files}
        names = {self._shown[name] for name in here}
        rows = [row for name in here for row in self._rows.get(name, ())]
        rows += [row for row in self._of_readings() if tables and any(_of_file(one, names) for one in row.files)]
        return ordered(rows)

    def session(self) -> Session:
        """All that was added, looked at together."""
        rows = [row for name in self._files for row in self._rows.get(name, ())]
        rows += self._of_readings()
        sweeps = [row.judged for row in rows if row.judged is not None]
        readings = [row.reading for row in rows if row.reading is not None]
        told = [*self._doubles(), *across(self.proof, sweeps, readings, doubted=tuple(self._doubted.values()))]
        swapped = {file for one in told if one.kind == "swaps" and one.level == "warn" for file in one.files}
        swapped |= {file.partition(", column ")[0] for file in swapped}
        opened = {one.files[1] for one in told if one.kind == "loss"}  # an open end beside a short is no mistake
        rows = [
            open_end_row(row) if row.judged is not None and row.file in opened
            else replace(row, folded=row.state == ASKED and row.file in swapped)
            for row in rows
        ]  # fmt: skip
        said = {row.test for row in rows if _tells_length(row)}
        rows += [
            replace(
                told_row(one, self._place(one)),
                folded=one.kind == "lengths" and bool(one.tests) and said.issuperset(one.tests),
            )
            for one in told
        ]
        others = [file for file in self._files.values() if file.kind in (PHOTO, PDF, TEXT)]
        left = [*self._left, *(one for file in self._files.values() if (one := left_of(file)) is not None)]
        left += [
            LeftOut(name, "something was said of it, and no such file was given", "give it, or correct its name", False)
            for name in self.words.unused
        ]
        left += [
            LeftOut(one, "it applies to nothing in these files", "correct it, or leave it out", False)
            for one in self._unheard()
        ]
        left.sort(key=lambda one: not one.loud)  # what may hold evidence first
        return Session(
            self.proof, ordered(rows), tuple(one for some in self._tables.values() for one in some),
            tuple(Evidence(file, self._names.said(file.plain)) for file in others), tuple(left),
            missing(self.proof.expectations, rows), tuple(self._files.values()), tuple(self._notes),
            tuple(self._doubted.values()), self.memory,
        )  # fmt: skip

    def _unheard(self) -> tuple[str, ...]:
        """What a person said, and what applies to nothing."""
        every = [
            one
            for some in self._tables.values()
            for table in some
            if table.readings is not None
            for one in table.readings.readings
        ]
        return self.words.unheard(
            {one.kind for one in every}, {name for one in every for name in (one.instrument, one.serial) if name}
        )

    @property
    def count(self) -> int:
        """How many files were added."""
        return len(self._files)

    # --- one file ---------------------------------------------------------------------------------------------------

    def _forget(self, file: FieldFile) -> None:
        """What an earlier state of the same file gave."""
        before = self._files.get(file.name)
        if before is None:
            return
        self._rows.pop(file.name, None)
        self._doubted.pop(file.name, None)
        if self._tables.pop(file.name, None) is not None:
            self._readings = None
        self._left = [one for one in self._left if one.name != file.name]
        if self._first.get(before.digest) == file.name:
            del self._first[before.digest]

    def _keep(self, file: FieldFile) -> None:
        """A file is shown by its own name, or by its whole one where another has the same."""
        self._files[file.name] = file
        if file.digest and file.size:
            self._first.setdefault(file.digest, file.name)
        if file.name not in self._shown:
            shown = file.plain if self._taken.get(file.plain, file.name) == file.name else file.name
            self._shown[file.name] = shown
            self._taken[shown] = file.name

    def _double_of(self, file: FieldFile) -> bool:
        """Whether the same content came before under another name; it is told, and not judged twice."""
        return bool(file.digest and file.size) and self._first.get(file.digest, file.name) != file.name

    def _read(self, file: FieldFile, raw: bytes, shown: str) -> Sweep | Row:
        try:
            return read_sweep(raw, shown, repair=self._repair)
        except InputFaults as error:
            return unreadable_row("sweep", shown, error, file.digest)

    def _touchstones(self, read: Sequence[tuple[FieldFile, str, Sweep | Row]]) -> None:
        """The rows of some files; what their sweeps need alike is computed together."""
        prepare(one for _, _, one in read if isinstance(one, Sweep))
        for file, shown, one in read:
            if isinstance(one, Sweep):
                said = self.words.of(file.name)
                said.hear("test", "site")
                one = self._sweep(file, one, shown, said.test)
            self._rows[file.name] = [one]

    def _table(self, file: FieldFile, raw: bytes, shown: str) -> list[Row]:
        said = self.words.of(file.name)
        found = read_tables(
            raw, shown, said, self.memory, confirm=self._confirm, repair=self._repair,
            of_sheet=lambda sheet: self.words.of_sheet(file.name, sheet), place=self._here,
        )  # fmt: skip
        self._tables[file.name] = found
        rows: list[Row] = []
        for one in found:
            if one.new and one.mapping is not None:
                self.memory = self.memory.remember(one.mapping)
            if one.faults is not None:
                rows.append(unreadable_row("table", shown, one.faults, file.digest))
            elif one.questions:
                sheet = f"sheet {one.sheet}: " if one.sheet else ""
                rows.append(asked_row("table", shown, f"{sheet}{one.questions[0]}", (), one.answers, file.digest))
            said = self.words.of_sheet(file.name, one.sheet)
            if one.distance is not None:
                rows.append(self._over_distance(file, one.distance, shown, said.test))
            columns = one.columns
            for sweep, column in zip(one.sweeps, columns, strict=True):
                test = said.of_column(column.number) or (said.test if len(columns) == 1 else "")
                cell = f"{column.letter}{max(one.header, 1)}" if len(columns) > 1 else "test"
                rows.append(self._sweep(file, sweep, one.called, test, cell))
        return rows

    def _sweep(self, file: FieldFile, sweep: Sweep, shown: str, said: str, cell: str = "test") -> Row:
        """The row of a sweep; `said` is its test as a person says it, `cell` how the answer names it."""
        seen, others = "", list[str]()
        if said:
            wanted = test_of(self.proof, said)[2]
        else:
            if "site" not in self.words.of(file.name).conditions and (question := self._here.asks(sweep)):
                answer = f"{shown}: site is {self.proof.site.id}"
                return asked_row("sweep", shown, question, (), (answer,), sweep.digest)
            match = match_among(self._designs, sweep)
            if match.decided is None:
                return self._asked(file, sweep, shown, match, cell)
            wanted = as_named(self._designs, match.decided, sweep.file).test_id
            seen = match.decided.test_id
            if not match.decided.score:  # held to its name: what its content fits, if the file was misnamed
                seen, others = "", [one.test_id for one in match.candidates[1:] if not one.named][:MOST_ANSWERS]
        judged = judge_sweep(self.proof, sweep, wanted, self._uncertainty)
        row = sweep_row(judged, shown, self._where.get(judged.test_id, TOP))
        if seen not in ("", wanted):
            others = [seen]
        if others:
            row = replace(row, candidates=tuple(others), answers=_answers(shown, cell, others))
            if not seen and judged.verdict is Verdict.NOT_JUDGED:
                more = f" and {len(others) - 1} more" if len(others) > 1 else ""
                row = replace(row, do=f"{row.do}; or is it misnamed? It fits {others[0]}{more}")
        self._held += 1
        return row if self._held <= MOST_HELD else _without_traces(row)

    def _over_distance(self, file: FieldFile, trace: DistanceTable, shown: str, said: str) -> Row:
        """A trace over distance belongs to the path that a person or its name says; nothing in it tells one from another."""
        path = test_of(self.proof, said)[0].id if said else ""
        for design in self._designs:
            if design.id == path or (not path and name_says(shown, design.id, design.id)[1]):
                return distance_row(distance_remarks(trace, design), design.id, shown, file.digest)
        question = "a trace over distance: which path is it of?"
        answers = [f"{shown}: test is {design.id}" for design in self._designs[:4]]
        return asked_row("distance", shown, question, [d.id for d in self._designs[:8]], answers, file.digest)

    def _asked(self, file: FieldFile, sweep: Sweep, shown: str, match: Match, cell: str) -> Row:
        """A sweep that a person has to decide; one whose name speaks against its content is kept for finding what was exchanged."""
        named = next((one.test_id for one in match.candidates if one.named), "")
        if not named:
            named = self._said_by_name(sweep.file)
        if named and self._held <= MOST_HELD:
            self._doubted[file.name] = judge_sweep(self.proof, sweep, named, self._uncertainty)
        close = [one.test_id for one in match.candidates[:MOST_ANSWERS]]
        if named and named not in close[:2]:  # the name may be right, too
            close = [*close[:1], named, *(one for one in close[1:] if one != named)]
        return asked_row("sweep", shown, match.question, close, _answers(shown, cell, close), file.digest)

    def _said_by_name(self, name: str) -> str:
        """The test that a name says in full, or that with a load of the path that it says; empty where it says neither."""
        for design in self._designs:
            for suffix in TESTS.values():
                if name_says(name, f"{design.id}.{suffix}", design.id)[0]:
                    return f"{design.id}.{suffix}"
            if name_says(name, design.id, design.id)[1]:
                return f"{design.id}.rl.load"
        return ""

    # --- many files -------------------------------------------------------------------------------------------------

    def _of_readings(self) -> tuple[Row, ...]:
        """The rows of all single readings, judged together: directions, wavelengths and repeats belong to one another."""
        if self._readings is None:
            tables = [one.readings for some in self._tables.values() for one in some if one.readings is not None]
            said = {
                reading_key(reading): test
                for name, some in self._tables.items() for table in some if table.readings is not None
                for reading in table.readings.readings
                if (test := self.words.of_sheet(name, table.sheet).cell(reading.row, reading.column))
            }  # fmt: skip
            judged, asked = judge_readings(
                self.proof,
                tables,
                uncertainties=self.words.uncertainties or None,
                said=said,
                slope_db_per_db=self.words.slope,
            )
            self._readings = (
                *(reading_row(one, self._where.get(one.test_id, TOP)) for one in judged),
                *(asked_reading(one) for one in asked),
            )
        return self._readings

    def _doubles(self) -> list[Told]:
        """The same content under two names; where the names say two tests, one of them was not measured."""
        groups: dict[str, list[FieldFile]] = {}
        for file in self._files.values():
            if file.digest and file.size:
                groups.setdefault(file.digest, []).append(file)
        out = []
        for some in groups.values():
            if len(some) < 2:
                continue
            shown = tuple(self._shown[one.name] for one in some)
            said = [self._names.said(one.plain) for one in some]
            named = tuple(dict.fromkeys(names[0] for names in said if names))
            names = " and ".join(shown[:4]) + (" and more" if len(shown) > 4 else "")
            if some[0].kind in READ and (apart := several(named)):
                tests = tuple(one for one in named if one in self._where)
                do = f"measure {', '.join(apart[1:4])}, or say which name is right"
                out.append(Told("same file", "stop", f"{names} are one file for {len(apart)} tests", do, tests, shown))
            else:
                out.append(Told("same file", "note", f"{names} are one file", "one of them is enough", named, shown))
        return out

    def _place(self, one: Told) -> str:
        return next((self._where[test] for test in one.tests if test in self._where), TOP)


def _of_file(called: str, names: set[str]) -> bool:
    """Whether a table is one of some files, whatever its sheet."""
    return called in names or any(called.startswith(f"{name}, ") for name in names)


def _tells_length(row: Row) -> bool:
    """Whether a row itself says that a length is off: a loop that is too high or too low, a sweep stopped for it."""
    if row.verdict in ("", "passes"):
        return False
    return ".rloop." in row.test or any(one.key == "length" and one.level == "stop" for one in row.remarks)


def _answers(shown: str, cell: str, tests: Sequence[str]) -> tuple[str, ...]:
    """The sentences that say a test of a sweep, one for each test that it may be."""
    return tuple(f"{shown}: {cell} is {test}" for test in tests)


def _without_traces(row: Row) -> Row:
    return replace(row, judged=None)


def judge_files(judging: Judging, taken: Taken) -> Session:
    """Judge all files at once. Raises UsageError where nothing was given that could be judged or kept."""
    if not taken.files and not taken.left_out:
        raise UsageError("nothing to judge there: no file in it")
    judging.add(taken)
    return judging.session()


__all__ = ["Evidence", "Judging", "Session", "judge_files"]
