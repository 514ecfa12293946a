"""
Everything that came from the field into the record, as it was judged: sweeps, tables of traces and readings, photographs, the rest.

Nothing is turned away for being unreadable: its bytes are kept, with the reason. This is the one place where it is decided what
becomes of a file; which test it is of, and what its columns hold, the session of `upmast judge` has found.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from upmast.errors import InputFaults, UsageError, shorten
from upmast.field.intake import FieldFile, Taken
from upmast.field.match import Candidate, match_sweep
from upmast.field.measurement import Sweep
from upmast.field.readers import content_kind as kinds
from upmast.field.readers.reading import Readings
from upmast.field.readers.touchstone import read_sweep
from upmast.field.reading_match import reading_key
from upmast.field.row import ASKED as ROW_ASKED
from upmast.field.row import UNREADABLE as ROW_UNREADABLE
from upmast.field.row import Row
from upmast.field.say import Words
from upmast.field.session import Session
from upmast.field.tables import TableRead
from upmast.record.canonical import clean_name
from upmast.record.contents import MOST_BYTES
from upmast.record.evidence import Filed, file_photo, file_read
from upmast.record.kinds import FileKept, TableKept, make
from upmast.record.readings import file_readings
from upmast.record.record import Writing
from upmast.record.tables_read import decisions, readings_again, trace_letters, traces_again

CANT_BE_READ, ASKED, SAME_AS = "can't be read: ", "asked: ", "the same file as "  # how the note of a kept file begins
KEPT = "kept as it is"
OPEN_END = f"{KEPT}, an open end swept beside the short of "  # told with the short, and asks nothing
SORTS = {kinds.TOUCHSTONE: "sweep", kinds.TABLE: "sheet", kinds.WORKBOOK: "sheet", kinds.PDF: "report"}


@dataclass
class _Run:
    """One filing: what all files share, and the tables that wait to be judged together."""

    site: Writing
    session: Session
    words: Words
    instrument: str
    measured: str
    repair: bool
    rows: dict[str, list[Row]]
    read: dict[str, list[TableRead]]
    tables: list[tuple[Readings, TableKept]] = field(default_factory=list)
    said: dict[str, str] = field(default_factory=dict)


def file_session(
    site: Writing, session: Session, taken: Taken, words: Words | None = None, *, instrument: str = "", measured: str = "",
    repair: bool = False,
) -> tuple[Filed, ...]:  # fmt: skip
    """
    Keep everything that was given to a session, and as much as was found of it.

    Parameters
    ----------
    session, taken, words : the session, the files that it was given, and what a person said of them.
    instrument, measured : as declared, where the files do not say it.
    repair : whether damaged files were mended on reading.

    Raises
    ------
    UsageError
        If the line is of another site.
    """
    line = session.proof.line
    if line.site != site.site:
        raise UsageError(f"the line is of site {line.site}, and the record is asked to write to {site.site}")
    run = _Run(site, session, words or Words(), instrument, measured, repair, _rows(session), _tables(session))
    out: list[Filed] = []
    for file, raw in taken.each(*(kind for kind in kinds.KINDS if kind != kinds.ENCRYPTED)):
        if isinstance(raw, InputFaults):
            out.append(Filed(clean_name(file.plain), "", words=shorten(raw.faults[0].got, 200) + ": it can't be kept"))
        elif len(raw) > MOST_BYTES:
            words_ = f"larger than {MOST_BYTES // 1_000_000} MB: it can't be kept"
            out.append(Filed(clean_name(file.plain), "", words=words_))
        else:
            out += _file(run, file, raw)
    out += _doubles(run, taken)
    out += file_readings(site, session.proof, run.tables, said=run.said, instrument=instrument, measured=measured)
    out += [Filed(clean_name(one.name), "", words=one.why) for one in session.left_out if one.loud]
    return tuple(out)


def _rows(session: Session) -> dict[str, list[Row]]:
    out: dict[str, list[Row]] = {}
    for row in session.rows:
        if row.digest:
            out.setdefault(row.digest, []).append(row)
    return out


def _tables(session: Session) -> dict[str, list[TableRead]]:
    """What was read of each table, by the digest of its file."""
    out: dict[str, list[TableRead]] = {}
    for one in session.tables:
        found = one.readings.digest if one.readings is not None else one.sweeps[0].digest if one.sweeps else ""
        if found:
            out.setdefault(found, []).append(one)
    return out


def _file(run: _Run, file: FieldFile, data: bytes) -> Iterator[Filed]:
    rows, tables = run.rows.get(file.digest, []), run.read.get(file.digest, [])
    shown = clean_name(tables[0].file if tables else rows[0].file if rows else file.plain)
    kept = False
    beside = next((row for row in rows if row.folded and row.judged is not None), None)
    if file.kind == kinds.TOUCHSTONE and beside is not None:  # an open end beside a short: the short is the test
        yield _other(run, file, data, shown, f"{OPEN_END}{beside.test}")
        kept = True
    elif file.kind == kinds.TOUCHSTONE and any(row.kind == "sweep" and row.state != ROW_UNREADABLE for row in rows):
        yield _sweep(run, file, data, shown, rows[0])
        kept = True
    for one in tables:
        yield from _table(run, file, data, shown, one, rows)
        kept = True
    if file.kind == kinds.PHOTO:
        yield _photo(run, file, data, shown)
        return
    doubts = [row for row in rows if row.state in (ROW_ASKED, ROW_UNREADABLE) and row.kind != "sweep"]
    doubts += [row for row in rows if row.state == ROW_UNREADABLE and row.kind == "sweep"]
    for row in doubts:
        begins = ASKED if row.state == ROW_ASKED else CANT_BE_READ
        yield _other(run, file, data, shown, shorten(f"{begins}{row.what}", 900))
        kept = True
    if not kept:
        yield _other(run, file, data, shown, shorten(_why_kept(run, file, rows), 900))


def _why_kept(run: _Run, file: FieldFile, rows: list[Row]) -> str:
    """Why nothing is judged by a file: what it was read as, or why nothing was read of it."""
    if rows:
        return f"{KEPT}, no test is judged by it: {rows[0].what}"
    why = next((one.why for one in run.session.left_out if one.name in (file.name, file.plain)), file.words)
    return f"{KEPT}, nothing was read of it: {why}"


def _other(run: _Run, file: FieldFile, data: bytes, shown: str, note: str) -> Filed:
    content = run.site.keep(data)
    run.site.add(make(FileKept, name=shown, content=content, sort=SORTS.get(file.kind, "other"), note=note))
    return Filed(shown, content, words=note)


def _sweep(run: _Run, file: FieldFile, data: bytes, shown: str, row: Row) -> Filed:
    content = run.site.keep(data)
    sweep = read_sweep(data, shown, repair=run.repair)
    if row.state == ROW_ASKED:
        note = shorten(f"{ASKED}{row.what}", 900)
        run.site.add(make(FileKept, name=shown, content=content, sort="sweep", note=note))
    return _matched(run, file, sweep, shown, row)


def _matched(run: _Run, file: FieldFile, sweep: Sweep, shown: str, row: Row | None, **more: object) -> Filed:
    """File a sweep as the test that the session judged it as; without one it asks."""
    test = row.test if row is not None else ""
    matched = None if run.words.of(file.name).test else _candidate(run, sweep, test)
    return file_read(
        run.site, run.session.proof, sweep, shown, test=test, matched=matched, measured=run.measured,
        instrument=run.instrument, **more,  # type: ignore[arg-type]
    )  # fmt: skip


def _candidate(run: _Run, sweep: Sweep, test: str) -> Candidate | None:
    """How its test was found."""
    decided = match_sweep(run.session.proof, sweep).decided
    if decided is None or not test or decided.test_id == test:
        return decided
    return decided._replace(test_id=test, named=True, reasons=(*decided.reasons, f"its name says {test}"))


def _table(
    run: _Run, file: FieldFile, data: bytes, shown: str, one: TableRead, rows: list[Row]
) -> Iterator[Filed]:  # fmt: skip
    """A table of traces is filed at once; one of readings waits for the others."""
    assert one.mapping is not None
    said = run.words.of_sheet(file.name, one.sheet)
    how = decisions(one.mapping, one.sheet, said.conditions, run.repair)
    content = run.site.keep(data)
    if one.mapping.form == "values":
        readings = readings_again(data, shown, how)
        run.tables.append((readings, TableKept(name=shown, content=content, read_as=how)))
        for reading in readings.readings:
            told = said.cell(reading.row, reading.column)
            if told:
                run.said[reading_key(reading)] = told
        return
    by_name = {row.judged.sweep.file: row for row in rows if row.judged is not None}
    in_order = [row for row in rows if row.kind == "sweep"]
    for letters, sweep in zip(trace_letters(how), traces_again(data, shown, how), strict=True):
        row = by_name.get(sweep.file) or (in_order[0] if len(in_order) == 1 else None)
        yield _matched(run, file, sweep, shown, row, read_as=how.model_copy(update={"column": letters}))


def _photo(run: _Run, file: FieldFile, data: bytes, shown: str) -> Filed:
    named = next((one.named for one in run.session.evidence if one.file.digest == file.digest), ())
    if not named:
        return _other(run, file, data, shown, "a photograph whose name says no item: add it with upmast record photo")
    file_photo(run.site, data, shown, subject=named[0], shows="what its name says", taken=run.measured)
    return Filed(shown, run.site.keep(data), words=f"a photograph of {named[0]}, by its name", sort="photo")


def _doubles(run: _Run, taken: Taken) -> Iterator[Filed]:
    """Other names of the same content: kept once, and told, since two names may mean that one test was not measured."""
    first = {file.digest: file for file in taken.files if file.digest and not file.same_as}
    for file in taken.files:
        original = first.get(file.digest) if file.same_as else None
        if original is None or file.size > MOST_BYTES:
            continue
        note = f"{SAME_AS}{clean_name(original.plain)}"
        shown = clean_name(file.plain)
        run.site.add(make(FileKept, name=shown, content=file.digest, sort=SORTS.get(file.kind, "other"), note=note))
        yield Filed(shown, file.digest, words=note)
