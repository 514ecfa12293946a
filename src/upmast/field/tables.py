"""
A table of a field file: found out whether it is a trace or single readings, its columns guessed, asked, or as a person said.

A table with an open question is not read; what it asks is said with the words that answer it. What was only guessed is read and told
as a guess, until somebody agrees and it is remembered for tables with the same headers.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from collections.abc import Mapping as Pairs
from dataclasses import dataclass, replace

from upmast.errors import InputFaults, UsageError, shorten
from upmast.field.measurement import Sweep
from upmast.field.place import Place
from upmast.field.readers.distance_table import DistanceTable, is_distance, read_distance
from upmast.field.readers.mapping import Column, Mapping
from upmast.field.readers.mapping_memory import Memory
from upmast.field.readers.planned import is_cautions, planned
from upmast.field.readers.reading import KINDS, Readings
from upmast.field.readers.table import Table, named_by_sheet, read_table
from upmast.field.readers.trace_columns import FREQUENCY, RETURN_LOSS, VSWR, guess_trace
from upmast.field.readers.trace_table import read_trace
from upmast.field.readers.values_columns import ASSUMED, FIBRE_OR_COAX, SUBJECT, VALUE, guess_values
from upmast.field.readers.values_conditions import by_column
from upmast.field.readers.values_table import read_values
from upmast.field.say import Said
from upmast.site.sheet_read import letter

LEAST_POINTS = 8  # rows of a trace; fewer are readings at a few frequencies: common practice, no source
MOST_SHEETS = 60
MOST_ANSWERS = 12
_PIM, _LIGHT = frozenset({"pim"}), frozenset({"optical-loss"})
# the kinds of readings that a condition says something of; one that is not here may stand beside any
OF_KIND: Pairs[str, frozenset[str]] = {
    **dict.fromkeys(("carrier_1_dbm", "carrier_2_dbm", "tone_1_hz", "tone_2_hz", "product_hz", "order", "mode"), _PIM),
    **dict.fromkeys(("wavelength_nm", "direction"), _LIGHT),
    "test_voltage_v": frozenset({"insulation-resistance"}), "load_current_a": frozenset({"voltage"}), "supply": frozenset({"voltage"}),
    "temperature_c": frozenset({"loop-resistance", "insulation-resistance", "bond-resistance", "humidity-spot"}),
    "changed": frozenset({"humidity-spot"}), "zone": frozenset({"end-face-grade"}),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class TableRead:
    """
    One table: its mapping, and what was read with it; or the questions that keep it from being read, each with its answers.

    `new` is True where a person has agreed to the mapping now, so that it is to be remembered.
    """

    file: str
    sheet: str
    mapping: Mapping | None
    sweeps: tuple[Sweep, ...] = ()
    readings: Readings | None = None
    distance: DistanceTable | None = None
    questions: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()
    faults: InputFaults | None = None
    new: bool = False
    known: bool = False  # as a person has decided, now or before

    @property
    def columns(self) -> tuple[Column, ...]:
        """The columns that hold the sweeps, in their order."""
        return tuple(one for one in self.mapping.columns if one.role in (RETURN_LOSS, VSWR)) if self.mapping else ()

    @property
    def called(self) -> str:
        """Its file, and its sheet where it has one."""
        return f"{self.file}, {self.sheet}" if self.sheet else self.file

    @property
    def header(self) -> int:
        """Position of the header among the rows, 0 where there is none."""
        return self.mapping.header[0] if self.mapping is not None else 0

    @property
    def words(self) -> str:
        """The columns as they are understood, on one line."""
        if self.mapping is None:
            return ""
        runs: list[tuple[str, str, str]] = []  # first and last letter of columns that mean the same
        for one in self.mapping.columns:
            what = f"{one.role} [{one.unit}]" if one.unit and one.role else one.role
            if not what and (one.header or one.examples):
                what = "unused"
            if runs and runs[-1][2] == what:
                runs[-1] = (runs[-1][0], one.letter, what)
            else:
                runs.append((one.letter, one.letter, what))
        told = [f"{first if first == last else f'{first}-{last}'} {what}" for first, last, what in runs if what]
        return ", ".join(told) or "no column is understood"

    def as_data(self) -> dict[str, object]:
        return {
            "file": self.file, "sheet": self.sheet, "columns": None if self.mapping is None else self.mapping.as_data(),
            "questions": list(self.questions), "answers": list(self.answers), "agreed": self.known,
            "sweeps": len(self.sweeps), "readings": len(self.readings.readings) if self.readings is not None else 0,
            "left_out": [[row, why] for row, why in self.readings.left_out] if self.readings is not None else [],
            "mended": list(self.readings.mended) if self.readings is not None else [],
            "faults": [one.as_data() for one in self.faults.faults] if self.faults is not None else [],
        }  # fmt: skip


def read_tables(
    raw: bytes, file: str, said: Said, memory: Memory, *, confirm: bool = False, repair: bool = False,
    of_sheet: Callable[[str], Said] | None = None, place: Place | None = None,
) -> tuple[TableRead, ...]:  # fmt: skip
    """
    Every table of a file, one for each filled sheet of a workbook.

    Parameters
    ----------
    said : what a person says of this file.
    memory : what was decided for earlier tables.
    confirm : the person agrees to what is guessed.
    repair : read damaged tables, too, and say what was mended.
    of_sheet : what a person says of one sheet.
    place : names of the site and of its line, where they are known: a table of another site is asked.

    Faults and questions stand in the result; only words that can't be carried out raise UsageError.
    """
    sheet = said.whole.get("sheet", "")
    decimal = said.whole.get("decimal", "")
    failed: list[TableRead] = []
    try:
        tables = [read_table(raw, file, sheet=sheet, decimal=decimal, repair=repair)]
    except InputFaults as error:
        names = sheets_of(raw, error)
        if sheet or not names:
            return (TableRead(file, sheet, None, faults=error),)
        tables = []
        for name in names:
            try:
                tables.append(read_table(raw, file, sheet=name, decimal=decimal, repair=repair))
            except InputFaults as one:
                failed.append(TableRead(file, name, None, faults=one))
        tables = [one for one in tables if not is_cautions(one)]
        names = tuple(
            one for one in names if one in {*(table.sheet for table in tables), *(bad.sheet for bad in failed)}
        )
        own = [of_sheet(name) if of_sheet is not None else said for name in names]
        if (
            len(tables) + len(failed) > 1
            and any(one is said for one in own)
            and (said.columns or "header" in said.whole)
        ):
            raise UsageError(f"{file} has sheets {', '.join(names)}: say which one is meant, e.g. '{_plain(file)}, {names[0]}: C is voltage'") from None  # fmt: skip
    out = []
    for table in tables:
        own_said = of_sheet(table.sheet) if of_sheet is not None and table.sheet else said
        found = _one(table, own_said, memory, confirm, repair, place)
        found = _elsewhere(found, own_said, place) if place is not None else found
        _heard(own_said, found)
        out.append(found)
    return (*out, *failed)


def _heard(said: Said, one: TableRead) -> None:
    """Mark what was said of a table and applied to it; of one that is not read nothing is known yet, so all of it."""
    if one.questions or (one.faults is not None and one.readings is None):
        said.hear(*said.sentences)
        return
    said.hear(
        "site", "sheet", *(("unit", "test") if one.distance is not None else ()), *(("test",) if one.sweeps else ())
    )
    if one.mapping is None:
        return
    letters = {column.letter for column in one.mapping.columns}
    said.hear(*letters, "form", "header", "decimal", *(("sign",) if one.sweeps else ("kind",)))
    trace = {column.number for column in one.columns}
    readings = one.readings.readings if one.readings is not None else ()
    kinds = {reading.kind for reading in readings}
    said.hear(
        *(name for reading in readings for name in reading.declared if not (of := OF_KIND.get(name)) or kinds & of),
        *(("subject",) if readings else ()),
    )
    losses = {letter(reading.column) for reading in readings if reading.kind == "optical-loss"}
    said.hear(*(f"{at} {about}" for at in losses for about in ("direction", "wavelength")))
    places = {(reading.row, at) for reading in readings for at in (0, reading.column)}
    for row, column in said.cells:
        if (row, column) in places or (column in trace and one.sweeps):
            said.hear(f"{letter(column)}{row}" if column else f"row {row}")


def _plain(file: str) -> str:
    return file.replace("\\", "/").rsplit("/", 1)[-1]


def _elsewhere(one: TableRead, said: Said, place: Place) -> TableRead:
    """A table that says another site, as a whole, is asked; of one whose rows say several, each row is asked by itself."""
    if one.questions or "site" in said.conditions:
        return one
    found = one.sweeps[0].comments if one.sweeps else ()
    other = place.other(one.called, found) if one.sweeps or one.readings or one.distance else ""
    if not other and one.readings is not None and one.readings.readings:
        sites = {str(reading.condition("site") or "") for reading in one.readings.readings}
        others = sorted(site for site in sites if place.elsewhere(site))
        other = others[0] if others and len(others) == len(sites) else ""
    if not other:
        return one
    words = f"site: it says {shorten(other, 60)!r}, and this site is {place.own[0]}: leave it out, or say that it is of this site"
    return TableRead(
        one.file, one.sheet, one.mapping, questions=(words,), answers=(f"{_plain(one.called)}: site is {place.own[0]}",)
    )


def sheets_of(raw: bytes, error: InputFaults) -> tuple[str, ...]:
    """Names of the visible sheets of a sound workbook that was refused only because it has several; else nothing."""
    if not raw.startswith(b"PK") or not any("filled sheets" in one.got for one in error.faults):
        return ()
    import io
    import warnings

    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=True, keep_links=False)
        try:
            return tuple(one.title for one in book.worksheets if one.sheet_state == "visible")[:MOST_SHEETS]
        finally:
            book.close()


def _one(
    table: Table, said: Said, memory: Memory, confirm: bool, repair: bool, place: Place | None = None
) -> TableRead:  # fmt: skip
    plan = place is not None and not (said.whole.keys() & {"form", "kind", "header"})
    of_plan = planned(table, place.tests, memory) if plan and place is not None else None
    guessed = of_plan or mapping_of(table, said, memory, place.known if place is not None else None)
    if not (said.columns or "form" in said.whole or "kind" in said.whole) and _distance_like(table, guessed):
        return _over_distance(table, said, repair)
    mapping = _said(guessed, said)
    known = (
        bool(mapping.fingerprint) and not mapping.questions and all(one.given for one in mapping.columns if one.role)
    )
    before = memory.of(mapping.fingerprint) is not None
    mapping = _without_subject(_formed(mapping), said)
    _check_columns(mapping, said)
    if mapping.questions and not (repair and all(one.startswith("decimal") for one in mapping.questions)):
        return TableRead(
            table.file,
            table.sheet,
            mapping,
            questions=mapping.questions,
            answers=answers(named_by_sheet(table), mapping),
        )
    new = False
    if confirm and not mapping.questions:
        mapping, new, known = mapping.confirmed(), True, True
    new = (
        bool(mapping.fingerprint) and (new or (known and not before)) and (confirm or bool(said.columns or said.units))
    )
    try:
        if mapping.form == "trace":
            sweeps = read_trace(table, mapping, repair=repair)
            return TableRead(table.file, table.sheet, mapping, sweeps, new=new, known=known)
        readings = read_values(table, mapping, declared=said.conditions or None, repair=repair)
        faults = InputFaults(readings.faults) if readings.faults else None
        return TableRead(table.file, table.sheet, mapping, readings=readings, faults=faults, new=new, known=known)
    except InputFaults as faults:
        return TableRead(table.file, table.sheet, mapping, faults=faults, known=known)


def _formed(mapping: Mapping) -> Mapping:
    """A form that the columns as they are said decide is not asked; values without a column of them ask for that column."""
    whole = _values_like(mapping) if mapping.form == "values" else _trace_like(mapping)
    if whole:
        return replace(mapping, asked=tuple(one for one in mapping.asked if not one.startswith("form:")))
    if mapping.form == "values" and not mapping.questions:
        return replace(mapping, asked=(*mapping.asked, "value: no column of readings is found: which column holds them, and what are they?"))  # fmt: skip
    return mapping


def _check_columns(mapping: Mapping, said: Said) -> None:
    """Raises UsageError where a condition of one column is said and there is no such column."""
    numbers = {one.number for one in mapping.columns}
    for number, some in by_column(said.conditions)[1].items():
        if number not in numbers:
            raise UsageError(
                f"{mapping.file}: {', '.join(some)} of column {letter(number)}: the table has no such column"
            )


def _without_subject(mapping: Mapping, said: Said) -> Mapping:
    """Readings of nothing that is named are asked: by a column, or by one name for all rows."""
    if mapping.form != "values" or mapping.of(SUBJECT) or "subject" in said.conditions or mapping.questions:
        return mapping
    if not _values_like(mapping):
        return mapping
    return replace(mapping, asked=(*mapping.asked, "subject: no column says what was measured: which is it, or what were all rows measured at?"))  # fmt: skip


def _distance_like(table: Table, mapping: Mapping) -> bool:
    """A table with frequencies is a sweep, and one that names what was measured holds readings, whatever length stands beside."""
    return (
        mapping.one(FREQUENCY) is None and not _names(guess_values(table)) and is_distance(table) and not (
            mapping.form == "values" and not mapping.questions and _values_like(mapping)
        )
    )  # fmt: skip


def _over_distance(table: Table, said: Said, repair: bool) -> TableRead:
    """A trace over distance: it finds places and tells the velocity that was set, but no limit holds for it."""
    unit = said.whole.get("unit", "")
    if unit not in ("", "m", "ft"):
        raise UsageError(f"{table.file}: the unit of distance is m or ft, not {shorten(unit, 20)!r}")
    try:
        return TableRead(table.file, table.sheet, None, distance=read_distance(table, unit, repair=repair))
    except InputFaults as faults:
        return TableRead(table.file, table.sheet, None, faults=faults)


def _said(mapping: Mapping, said: Said) -> Mapping:
    """The mapping with the words of a person. Raises UsageError for what can't be."""
    whole = said.whole
    if not (said.columns or said.units or whole):
        return mapping
    try:
        return mapping.decide(
            said.columns, said.units, whole.get("decimal", ""), whole.get("sign", ""), whole.get("kind", "")
        )
    except UsageError as error:
        raise UsageError(f"{mapping.file}: {error}") from None


def mapping_of(table: Table, said: Said, memory: Memory, known: Callable[[str], bool] | None = None) -> Mapping:
    """A trace or single readings? As said, as remembered, else by what the columns are and how many rows there are."""
    row = 0
    if "header" in said.whole:
        line = int(said.whole["header"])
        if line not in table.lines:
            raise UsageError(
                f"{table.file} has {table.line(len(table.rows))} lines, and the header can't stand in line {line}"
            )
        row = table.lines.index(line) + 1
    kind = said.whole.get("kind", "")
    if kind and kind not in KINDS:
        raise UsageError(f"{table.file}: no kind {shorten(kind, 40)!r}; there are {', '.join(KINDS)}")
    trace = guess_trace(table, memory, header_row=row)
    values = guess_values(table, kind, memory, header_row=row, known=known)
    if any(name.startswith("wavelength_nm") for name in said.conditions) and any(
        one.asked.startswith(FIBRE_OR_COAX) for one in values.columns
    ):
        values = guess_values(table, "optical-loss", memory, header_row=row, known=known)  # the wavelength answers it
    form = said.whole.get("form", "")
    told = {role for role in said.columns.values() if role}
    if not form and told and told <= set(values.roles) and not told <= set(trace.roles):
        form = "values"  # what a person says of its columns fits nothing else
    if form or kind:
        return trace if form == "trace" else values
    for one in (trace, values):
        if memory.of(one.fingerprint) is not None:
            return one
    is_trace, is_values = _trace_like(trace), _values_like(values)
    if is_trace != is_values:
        return trace if is_trace else values
    enough = len(table.rows) - trace.header[1] >= LEAST_POINTS
    if is_trace:  # both
        return trace if enough and not _names(values) else values
    return _nearer(trace, values, enough)


def _trace_like(mapping: Mapping) -> bool:
    return mapping.one(FREQUENCY) is not None and any(one.role in (RETURN_LOSS, VSWR) for one in mapping.columns)


def _values_like(mapping: Mapping) -> bool:
    return any(one.role in KINDS or one.role == VALUE for one in mapping.columns)


def _names(mapping: Mapping) -> bool:
    return mapping.one(SUBJECT) is not None


def _nearer(trace: Mapping, values: Mapping, enough: bool) -> Mapping:
    """Neither is whole: the one that understands more is asked about; a long table without names is a trace."""
    if enough and not _names(values) and trace.one(FREQUENCY) is not None:
        return trace
    weight = [sum(one.confidence for one in m.columns if one.role) for m in (trace, values)]
    chosen = trace if weight[0] > weight[1] else values
    if not chosen.questions and not _trace_like(chosen) and not _values_like(chosen):
        chosen = replace(chosen, asked=(*chosen.asked, "form: no column of readings is found; is it a trace, or single readings?"))  # fmt: skip
    return chosen


def answers(file: str, mapping: Mapping) -> tuple[str, ...]:
    """For every open question the words that answer it, one for each choice."""
    name = _plain(file)
    out: list[str] = []
    for one in mapping.columns:
        if not one.asked:
            continue
        if one.role and one.asked.startswith("its unit"):
            out.append(f"{name}: {one.letter} is {one.role} in {_unit_of(one.role)}")
        else:
            roles = one.choices or mapping.roles[:3]
            out += [f"{name}: {one.letter} is {role}" for role in (*roles[:4], "unused")]
            if one.asked.startswith(FIBRE_OR_COAX):
                out.append(f"{name}: wavelength_nm is 1310")
    for words in mapping.asked:
        about = words.split()[0].rstrip(":")
        choices = {"decimal": (",", "."), "kind": tuple(KINDS)[:4], "form": ("trace", "values")}.get(about, ())
        if about == "subject":
            free = [one.letter for one in mapping.columns if not one.role and (one.header or one.examples)]
            out += [f"{name}: {one} is subject" for one in free[:4]]
            choices = ("T1-F01",) if not free else ()
        if about == "value":
            free = [one.letter for one in mapping.columns if not one.role and any(ch.isdigit() for text in one.examples for ch in text)]  # fmt: skip
            out += [f"{name}: {one} is {role}" for one in free[:2] for role in (VALUE, *tuple(KINDS)[:3])]
        if about == "header":
            choices = tuple(re.findall(r"[0-9]+", words.partition(" all ")[0]))
        out += [f"{name}: {about} is {choice}" for choice in choices]
    return tuple(out[:MOST_ANSWERS])


def _unit_of(role: str) -> str:
    """A unit that a role is often given in, to show the form of an answer."""
    if role in (FREQUENCY, "tone-1", "tone-2", "product"):
        return "MHz"
    if role in KINDS:
        return KINDS[role].unit or "dB"
    return {"carrier": "dBm", "carrier-1": "dBm", "carrier-2": "dBm", "temperature": "°C", **ASSUMED}.get(role, "dB")


__all__ = ["TableRead", "answers", "mapping_of", "read_tables"]
