"""
Single readings from a table: intermodulation, optical loss, voltage, resistances, torque, end faces, humidity cards.

    table = read_table(raw, "readings.csv")
    mapping = guess_values(table)          # shown, confirmed, remembered: see `mapping`
    found = read_values(table, mapping)    # Readings

Every reading comes out in the unit that the project judges it in; what can be read in two ways is not read. A condition that is
not there is no fault: the reading says itself what it needs to be judged (`Reading.missing`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping as Pairs
from dataclasses import dataclass, field, replace

from upmast.errors import FaultList, shorten
from upmast.field.readers.cell_value import Unread, folded, read_cell
from upmast.field.readers.conditions_cell import ROLE as CONDITIONS
from upmast.field.readers.conditions_cell import conditions_cell
from upmast.field.readers.header_words import CLOSE, meanings
from upmast.field.readers.mapping import Column, Mapping, check_table, raise_questions
from upmast.field.readers.mapping_guess import body_of, is_nothing, names_column
from upmast.field.readers.planned import KIND_OF, SWEPT, ends_of, is_by_test, suffix_of
from upmast.field.readers.reading import KINDS, Condition, Kind, Reading, Readings
from upmast.field.readers.site_words import is_other, site_in
from upmast.field.readers.table import MOST_COUNTED, MOST_FAULTS, Table, named_by_sheet
from upmast.field.readers.unit_words import measure_of
from upmast.field.readers.values_columns import (
    DIMENSIONS,
    KIND,
    READING_RULES,
    SUBJECT,
    UNIT,
    VALUE,
    VALUE_RULES,
    conditions_in,
    guess_values,
)
from upmast.field.readers.values_conditions import WORDS, above, by_column, condition_of, declared_conditions, truth_of
from upmast.field.readers.values_number import count_of, grade_of, number_of
from upmast.field.readers.when import day_first, iso_time
from upmast.site.sheet_read import Cell, text_cell

MOST_SUBJECT = 200
_SPOILT = re.compile(r"[0-9](?:[.,][0-9]+)?[eE]\+[0-9]+")  # a long number as a spreadsheet shortens it
_CONDITION_ROLES = (*DIMENSIONS, "order", "mode", "direction", "changed", *sorted(WORDS), CONDITIONS)


@dataclass
class _Run:
    """The reading of one table."""

    table: Table
    mapping: Mapping
    repair: bool
    faults: FaultList
    declared: dict[str, Condition]
    beside: Pairs[int, Pairs[str, Condition]] = field(default_factory=dict)  # of one column, as a person says
    common: dict[str, Condition] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)
    day_is_first: bool | None = None
    subject: str = ""
    mended: dict[str, int] = field(default_factory=dict)
    left: list[tuple[int, str]] = field(default_factory=list)
    spoilt: int = 0  # faults that were found, those beyond the bound of the list too
    by_test: bool = False  # each row is a test by its id
    empty: int = 0  # rows of tests without a reading
    notes: list[str] = field(default_factory=list)
    swept: list[tuple[int, str]] = field(default_factory=list)  # rows of tests that need a sweep
    left_sites: frozenset[str] = frozenset()  # sites whose rows are left out, as they are written

    def fault(self, row: int, column: int, got: object, expected: str, remedy: str) -> None:
        self.spoilt += 1
        self.faults.add(self.table.place(row, column), got, expected, remedy, self.table.line(row), column)

    def mend(self, words: str) -> None:
        self.mended[words] = self.mended.get(words, 0) + 1


def read_values(
    table: Table, mapping: Mapping, *, declared: Pairs[str, Condition] | None = None, repair: bool = False, strict: bool = False
) -> Readings:  # fmt: skip
    """
    The readings of a table. A row that can't be read stands in `Readings.faults`, beside those that can.

    Parameters
    ----------
    mapping : from `guess_values`, as it is or with what a person has decided; or from `planned`: the test of each row says what was read.
    declared : conditions that a person gives where the table has none, by name: `carrier_1_dbm`, `wavelength_nm`, `temperature_c`,
        `subject`, `serial` and so on; each reading lists those that it took. Of one column alone, before those of its header: `direction_of_b`.
    repair : take a missing name from the row above, turn an intermodulation level without its minus sign, leave out rows with words
        for a number; all of it is listed in `Readings.mended`. Without it each is a fault.
    strict : a row that can't be read ends it all.

    Raises
    ------
    InputFaults
        With every fault, its row and column, where no row can be read; and for every open question of the mapping.
    UsageError
        For a declared condition that there is not.
    """
    given, of_columns = by_column(declared_conditions(declared))
    check_table(mapping, table)
    if repair and mapping.decimal == "both":
        mapping = replace(mapping, asked=tuple(one for one in mapping.asked if not one.startswith("decimal")))
    raise_questions(mapping, table)
    run = _Run(
        table, mapping, repair, FaultList(table.file, MOST_FAULTS), given, of_columns, by_test=is_by_test(mapping)
    )
    _check_columns(run)
    run.common, run.labels, notes = above(table, mapping.header[0], mapping.decimal)
    dates = [column for column in mapping.columns if column.role in ("date", "time")]
    run.day_is_first = day_first(
        [*(table.at(row, one.number).text for one in dates for row in range(mapping.header[1] + 1, len(table.rows) + 1)), *run.labels.values()]
    )  # fmt: skip
    run.left_sites = _other_sites(run)
    out: list[Reading] = []
    spoilt = 0
    for row, cells, word in body_of(table, mapping.header, mapping.headers):
        if word == "blank":
            continue
        if word:
            run.left.append((table.line(row), word))
            continue
        if any(
            names_column(table.at(row, one.number), READING_RULES)
            for one in mapping.columns
            if one.role in (*KINDS, VALUE)
        ):
            run.fault(
                row,
                1,
                "; ".join(cell.text for cell in cells if not cell.blank),
                "one table under one header; nothing from here on is read",
                "give the tables one by one",
            )
            break  # what stands below has another meaning
        before = run.spoilt
        out += _row(run, row, cells)
        spoilt += run.spoilt > before
        if spoilt > MOST_COUNTED:
            run.fault(row, 0, f"more than {MOST_COUNTED} rows with faults", "a sound table; nothing from here on is read", "export it again")  # fmt: skip
            break
    _told_of_tests(run, len(out))
    if not out and not len(run.faults):
        run.fault(len(table.rows), 0, None, "at least one row with a reading", "check that it is the right table")
    if strict or not out:
        run.faults.raise_if_any()
    mended = [
        *table.mended,
        *(f"{words} ({count} times)" if count > 1 else words for words, count in run.mended.items()),
    ]
    if mapping.decimal == "both":
        mended.append("decimal signs are mixed: each number is read by its own")
    return Readings(
        named_by_sheet(table), table.digest, tuple(out), tuple(run.left), (*mapping.guesses, *notes, *run.notes), tuple(mended), run.faults.told()
    )  # fmt: skip


def _other_sites(run: _Run) -> frozenset[str]:
    """
    Where a person says the site: the other sites that rows say, to be left out. A table that never says this one is taken whole.
    """
    column, own = run.mapping.one("site"), str(run.declared.get("site", ""))
    if not own:
        return frozenset()
    run.common.pop("site", None)
    if column is None:
        return frozenset()
    rows = range(run.mapping.header[1] + 1, len(run.table.rows) + 1)
    said = {text for row in rows if (text := shorten(run.table.at(row, column.number).text, 200))}
    others = frozenset(text for text in said if is_other(text, (own,)))
    return others if others != said else frozenset()


def _check_columns(run: _Run) -> None:
    mapping, table = run.mapping, run.table
    line = table.line(mapping.header[0]) if mapping.header[0] else 1
    headers = ", ".join(shorten(one, 30) for one in mapping.headers[:20] if one) or "no headers"
    values = [one for one in mapping.columns if one.role in KINDS or one.role == VALUE]
    if not values:
        run.faults.add(
            "readings", headers, f"a column of readings: {', '.join(KINDS)}", "say which columns hold readings", line
        )
    if not mapping.of(SUBJECT) and "subject" not in run.declared:
        run.faults.add(
            "subject", headers, "a column that names what was measured: a strand, link, pair, port or joint",
            "say which column it is, or declare the subject with the file", line,
        )  # fmt: skip
    for one in values:
        kind = KINDS.get(one.role)
        measure = measure_of(one.unit, kind.dimensions[0]) if kind and one.unit and kind.dimensions else None
        if (
            kind
            and one.unit
            and (measure is None or measure.dimension not in kind.dimensions or measure.symbol in kind.never)
        ):
            run.faults.add(
                table.place(mapping.header[0], one.number) if mapping.header[0] else f"column {one.letter}", f"{kind.title} in {one.unit}",
                f"a unit such as {kind.unit or 'none'}", f"say what column {one.letter} is, and its unit", line, one.number,
            )  # fmt: skip
    run.faults.raise_if_any()


def _row(run: _Run, row: int, cells: tuple[Cell, ...]) -> list[Reading]:
    mapping, table = run.mapping, run.table
    width = max((one.number for one in mapping.columns if one.header), default=len(mapping.columns))
    if len(cells) > width:
        run.fault(
            row, len(cells), f"{len(cells)} cells", f"{width}, as the header has",
            "a decimal comma may have parted a number, or a row was joined: export the table again",
        )  # fmt: skip
        return []
    columns = [one for one in mapping.columns if one.role in KINDS or one.role == VALUE]
    filled = [one for one in columns if not is_nothing(table.at(row, one.number))]
    if not filled and run.by_test:
        run.empty += 1
        return []
    if not filled:
        first = next((cell.text for cell in cells if not cell.blank), "")
        if (
            said := site_in("; ".join(cell.text for cell in cells if not cell.blank)[:300])
        ) and "site" not in run.declared:
            run.common["site"] = shorten(said, 80)  # of the rows below it
        run.left.append((table.line(row), f"no reading in it: {shorten(first, 60)}"))
        return []
    site = run.mapping.one("site")
    if site is not None and (said := shorten(table.at(row, site.number).text, 200)) in run.left_sites:
        run.left.append((table.line(row), f"of another site: {shorten(said, 60)}"))
        return []
    before = run.spoilt
    subject = _subject(run, row)
    if run.by_test and suffix_of(subject) in SWEPT:
        run.swept.append((row, subject))
        return []
    conditions = _conditions(run, row)
    if run.spoilt > before:  # what was measured, or how, is not known: no cell of the row can be judged
        return []
    if "site" in run.declared and not run.left_sites:
        conditions.pop("site", None)
    made = []
    for one in filled:
        cell, torque = table.at(row, one.number), run.by_test and suffix_of(subject) == "torque"
        for which, part in ends_of(cell) if torque else (("", cell),):
            made.append(_reading(run, row, one, subject, {**conditions, "which": which} if which else conditions, part))
    return [one for one in made if one is not None]


def _told_of_tests(run: _Run, read: int) -> None:
    """What rows of tests hold beside their readings: none, counted; or one number where the test is a sweep."""
    if not run.by_test:
        return
    if run.empty:
        run.notes.append(f"{run.empty} tests have no reading, {read} readings are taken")
    if run.swept:
        names = list(dict.fromkeys(name for _, name in run.swept))
        more = f" and {len(names) - 3} more" if len(names) > 3 else ""
        run.fault(
            run.swept[0][0], 0, f"one number for {', '.join(names[:3])}{more}", "a sweep: one number is not judged",
            "give the sweep, a .s1p file or a table of its trace",
        )  # fmt: skip


def _subject(run: _Run, row: int) -> str:
    """What was measured, as written; several columns are joined."""
    columns = run.mapping.of(SUBJECT)
    if not columns:
        return str(run.declared["subject"])
    parts = [
        " ".join(run.table.at(row, one.number).text.split())
        for one in columns
        if not is_nothing(run.table.at(row, one.number))
    ]
    text = " / ".join(parts)
    for one in columns:
        cell = run.table.at(row, one.number)
        if cell.kind in ("date", "error", "uncalculated", "truth") or _SPOILT.fullmatch(cell.text):
            run.fault(
                row, one.number, cell.text, "a name as it was typed; the spreadsheet has made something else of it",
                "format the column as text and write the name again",
            )  # fmt: skip
    if len(text) > MOST_SUBJECT:
        run.fault(row, columns[0].number, text, f"a name of at most {MOST_SUBJECT} characters", "shorten it")
    elif text:
        run.subject = text
    elif run.repair and run.subject:
        run.mend("a missing name is taken from the row above")
    else:
        run.fault(
            row, columns[0].number, "an empty cell", "what was measured, in every row",
            "fill it in; or read it with repair, which takes the name from the row above and says so",
        )  # fmt: skip
    return text or run.subject


def _conditions(run: _Run, row: int) -> dict[str, Condition]:
    """Conditions of a row: its own before those above the table, before those declared."""
    own: dict[str, Condition] = {}
    for column in run.mapping.columns:
        cell = run.table.at(row, column.number)
        if column.role not in _CONDITION_ROLES or is_nothing(cell):
            continue
        try:
            several = column.role == CONDITIONS
            said = conditions_cell(cell, run.mapping.decimal) if several else condition_of(cell, column, run.mapping.decimal)  # fmt: skip
            for name, value in said.items():
                if several and name in own and name != "remark" and own[name] != value:
                    raise Unread(f"one value of {name}", "another column says another: correct the table")
                if name in own and name in ("remark", "their_limit", "their_verdict"):
                    value = shorten(f"{own[name]}; {value}", 200)
                own[name] = value
        except Unread as fault:
            run.fault(row, column.number, cell.text, fault.expected, fault.remedy)
    return {**run.common, **own}


def _label(run: _Run, row: int, role: str) -> str:
    column = run.mapping.one(role)
    cell = run.table.at(row, column.number) if column is not None else None
    text = "" if cell is None or is_nothing(cell) else cell.text
    return shorten(text or run.labels.get(role, ""), 120)


def _kind(run: _Run, row: int, column: Column) -> tuple[Kind, str] | None:
    """The kind of a reading, and the words that may carry its conditions."""
    if run.by_test and column.role == VALUE:
        kind = KIND_OF.get(suffix_of(run.subject))
        if kind is None:
            run.fault(
                row,
                0,
                run.subject,
                "a test of this line",
                "correct its id, or leave the row out: the line may have changed",
            )
            return None
        return KINDS[kind], ""
    if column.role in KINDS:
        return KINDS[column.role], column.header
    named = run.mapping.one(KIND)
    if named is None:
        return (KINDS[run.mapping.kind], column.header) if run.mapping.kind in KINDS else None
    text = run.table.at(row, named.number).text
    if folded(text) in KINDS:
        return KINDS[folded(text)], text
    found = meanings(text, VALUE_RULES) if text else ()
    close = [one for one in found if found[0].confidence - one.confidence < CLOSE]
    if len(close) != 1:
        run.fault(
            row,
            named.number,
            text or "an empty cell",
            f"a kind of reading: {', '.join(KINDS)}",
            "write which kind it is",
        )
        return None
    return KINDS[close[0].role], text


def _reading(
    run: _Run, row: int, column: Column, subject: str, shared: dict[str, Condition], cell: Cell
) -> Reading | None:
    found = _kind(run, row, column)
    if found is None:
        return None
    kind, words = found
    conditions = {**shared}
    for name, said in conditions_in(words, kind.name).items():
        if name in shared and shared[name] != said and name not in run.common:
            run.fault(
                row,
                column.number,
                f"{name} {shared[name]} in the row, {said} in the header",
                "one of them",
                "correct the table",
            )
            return None
        conditions[name] = said
    said_of_column = run.beside.get(column.number, {})
    conditions |= said_of_column
    from_person = [
        name
        for name in run.declared
        if name not in conditions and name not in ("subject", "instrument", "serial", "time")
    ]
    conditions |= {name: run.declared[name] for name in from_person}
    from_person += said_of_column
    try:
        value, comparator, unit = _value(run, row, column, cell, kind, conditions)
    except Unread as fault:
        if run.repair and cell.kind == "text" and not any(ch.isdigit() for ch in cell.text):
            run.left.append(
                (run.table.line(row), f"no number in {run.table.place(row, column.number)}: {shorten(cell.text, 40)}")
            )
            run.mend("a cell with words for a number is left out")
            return None
        run.fault(row, column.number, cell.text, fault.expected, fault.remedy)
        return None
    when, conditions = _when(run, row, conditions)
    instrument, serial = _label(run, row, "instrument"), _label(run, row, "serial")
    for name, text in (
        ("instrument", instrument),
        ("serial", serial),
        ("time", when),
        ("subject", "" if not run.mapping.of(SUBJECT) else subject),
    ):
        if name in run.declared and not text:
            from_person.append(name)
    return Reading(
        kind.name, subject, value, comparator, unit, tuple(sorted(conditions.items())),
        instrument or str(run.declared.get("instrument", "")), serial or str(run.declared.get("serial", "")),
        when or str(run.declared.get("time", "")), run.table.line(row), column.number, shorten(cell.text, 80), named_by_sheet(run.table),
        tuple(from_person),
    )  # fmt: skip


def _when(run: _Run, row: int, conditions: dict[str, Condition]) -> tuple[str, dict[str, Condition]]:
    written = " ".join(one for one in (_label(run, row, "date"), _label(run, row, "time")) if one)
    when = iso_time(written, run.day_is_first) if written else ""
    return when, conditions if when or not written else {**conditions, "time_written": shorten(written, 80)}


def _value(
    run: _Run, row: int, column: Column, cell: Cell, kind: Kind, conditions: dict[str, Condition]
) -> tuple[float | None, str, str]:
    """Value, comparator and unit of a cell; conditions that it gives are added. Raises Unread."""
    if kind.name == "end-face-grade":
        return grade_of(cell, conditions), "", kind.unit
    if kind.name in ("closed-count", "end-face-count"):
        if run.by_test and not any(ch.isdigit() for ch in cell.text):
            raise Unread("a count", "write how many")  # a yes tells no number
        return count_of(cell, run.mapping.decimal), "", kind.unit
    if kind.name == "humidity-spot" and "spot_percent" in conditions:
        conditions["changed"] = truth_of(cell)
        return float(conditions.pop("spot_percent")), "", kind.unit
    read = read_cell(cell, run.mapping.decimal)
    if read.state == "over":
        if kind.name in ("pim", "humidity-spot", "torque"):
            raise Unread(f"a number: over range is no reading of {kind.title}", "measure again in another range")
        conditions["state"] = "over range"
        return None, read.comparator or ">", kind.unit
    units = run.mapping.one(UNIT)
    beside = run.table.at(row, units.number).text if units is not None else ""
    default = column.unit or (kind.unit if run.by_test else "")
    value, comparator, unit, mended = number_of(read, default, beside, kind, conditions, run.repair)
    if mended:
        run.mend(mended)
    return value, comparator, unit


__all__ = ["guess_values", "read_values", "text_cell"]
