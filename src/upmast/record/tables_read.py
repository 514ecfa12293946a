"""Tables of the field read once, with the decisions kept by which they are read the same again."""

from __future__ import annotations

from collections.abc import Mapping as Pairs

from upmast.errors import UsageError, shorten
from upmast.field.measurement import Sweep
from upmast.field.readers.mapping import Mapping
from upmast.field.readers.planned import is_by_test, without_kind
from upmast.field.readers.reading import Readings
from upmast.field.readers.table import Table, read_table
from upmast.field.readers.trace_columns import RETURN_LOSS, VSWR, guess_trace
from upmast.field.readers.trace_table import read_trace
from upmast.field.readers.values_columns import guess_values
from upmast.field.readers.values_table import read_values
from upmast.record.kinds import TableKept
from upmast.record.read_as import ReadAs


def decisions(
    mapping: Mapping, sheet: str = "", declared: Pairs[str, str] | None = None, repair: bool = False
) -> ReadAs:  # fmt: skip
    """The decisions of a mapping, as they are kept. Raises UsageError where they are no text that can be kept."""
    used = [one for one in mapping.columns if one.role]
    return _made(
        form=mapping.form, sheet=sheet, kind=mapping.kind, header_row=mapping.header[0], decimal=mapping.decimal,
        sign=mapping.sign, roles={one.letter: one.role for one in used},
        units={one.letter: one.unit for one in used if one.unit}, repair=repair, declared=dict(declared or {}),
    )  # fmt: skip


def _made(**fields: object) -> ReadAs:
    try:
        return ReadAs.model_validate(fields)
    except ValueError as error:
        raise UsageError(f"how the table was read can't be kept: {shorten(str(error), 160)}") from None


def again(data: bytes, name: str, how: ReadAs) -> tuple[Table, Mapping]:
    """
    A table and its mapping, by the decisions that were kept.

    Raises
    ------
    InputFaults
        If it can't be read.
    UsageError
        If the decisions are not of this table.
    """
    decimal = how.decimal if how.decimal in (",", ".") else ""
    table = read_table(data, name, sheet=how.sheet, decimal=decimal, repair=how.repair)
    if how.form == "trace":
        mapping = guess_trace(table, header_row=how.header_row)
    else:
        mapping = _values_mapping(table, how)
    roles: dict[str, str | None] = {one.letter: how.roles.get(one.letter) for one in mapping.columns}
    if not set(how.roles) <= set(roles):
        raise UsageError(f"{name} has other columns than when it was kept")
    made = mapping.decide(columns=roles, units=dict(how.units), decimal=decimal, sign=how.sign, kind=how.kind)
    return table, without_kind(made) if is_by_test(made) else made  # of tests by their ids the kind was never asked


def _values_mapping(table: Table, how: ReadAs) -> Mapping:
    try:
        return guess_values(table, how.kind, header_row=how.header_row)
    except ValueError as error:
        raise UsageError(f"{table.file}: {error}") from None


def traces_again(data: bytes, name: str, how: ReadAs) -> tuple[Sweep, ...]:
    """The sweeps of a table of traces, in the order of its columns. Raises as `again`."""
    table, mapping = again(data, name, how)
    return read_trace(table, mapping, repair=how.repair)


def trace_letters(how: ReadAs) -> tuple[str, ...]:
    """The letters of the columns that hold a trace, in their order."""
    some = [letters for letters, role in how.roles.items() if role in (RETURN_LOSS, VSWR)]
    return tuple(sorted(some, key=lambda letters: (len(letters), letters)))


def readings_again(data: bytes, name: str, how: ReadAs) -> Readings:
    """The readings of a table. Raises as `again`."""
    table, mapping = again(data, name, how)
    return read_values(table, mapping, declared=dict(how.declared) or None, repair=how.repair)


def table_kept(name: str, content: str, how: ReadAs) -> TableKept:
    """A table as it stands among those that were judged together."""
    return TableKept(name=name, content=content, read_as=how)
