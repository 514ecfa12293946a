"""
A trace of return loss or standing wave ratio over frequency from a table: size without phase.

    table = read_table(raw, "trace.csv")
    mapping = guess_trace(table)        # shown, confirmed, remembered: see `mapping`
    sweeps = read_trace(table, mapping)

What is guessed is written into `Sweep.mended`; what can be read in two ways is not read.
Return loss is positive in dB for a passive line, whatever sign the instrument writes: RL = -20 log10 |G|; |G| = (S - 1)/(S + 1).
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np

from upmast.errors import FaultList, shorten
from upmast.field.measurement import SYSTEM_OHM, Floats, Sweep
from upmast.field.readers.cell_value import CellValue, Unread, read_cell
from upmast.field.readers.mapping import Column, Mapping, check_table, raise_questions
from upmast.field.readers.mapping_guess import body_of, names_column, numeric
from upmast.field.readers.plain_numbers import column_texts, plain_floats
from upmast.field.readers.table import MOST_COUNTED, MOST_FAULTS, Table, named_by_sheet
from upmast.field.readers.trace_columns import (
    FREQUENCY,
    RETURN_LOSS,
    ROLES,
    RULES,
    VSWR,
    WANTED,
    dimension_of,
    guess_trace,
)
from upmast.field.readers.unit_words import Measure, measure_of, to_canonical
from upmast.rf.reflection import gamma_from_return_loss, gamma_from_vswr

LEAST_HZ, MOST_HZ = 1e3, 1e12  # outside, the unit must be wrong: beyond every instrument
NEAR_ZERO_DB = (
    0.5  # return loss of the other sign up to this is noise about total reflection: common practice, no source
)
MOST_DB = 150.0  # beyond every instrument
MOST_RATIO = 1e6
MOST_COLUMNS_READ = 64


def read_trace(table: Table, mapping: Mapping, *, repair: bool = False) -> tuple[Sweep, ...]:
    """
    The sweeps of a table, one for each column of return loss or standing wave ratio.

    Parameters
    ----------
    mapping : from `guess_trace`, as it is or with what a person has decided.
    repair : sort frequencies, keep the first row of a repeated one, leave out rows without a number and words under the table, and
        take a ratio just under 1 for 1; all of it is listed in `Sweep.mended`. Without it each is a fault.

    Raises
    ------
    InputFaults
        With every fault, its row and column, and every open question of the mapping.
    """
    check_table(mapping, table)
    if repair and mapping.decimal == "both":
        mapping = replace(mapping, asked=tuple(one for one in mapping.asked if not one.startswith("decimal")))
    raise_questions(mapping, table)
    faults = FaultList(table.file, MOST_FAULTS)
    mended: list[str] = list(table.mended)
    if mapping.decimal == "both":
        mended.append("decimal signs are mixed: each number is read by its own")
    for row in range(1, mapping.header[0]):
        if sum(numeric(table.at(row, one.number)) for one in mapping.columns if one.role) >= 2:
            faults.add(
                table.place(row, 1), "numbers above the header", "one table under one header", "give the tables one by one",
                table.line(row), 1,
            )  # fmt: skip
    frequency, values = mapping.of(FREQUENCY), [one for one in mapping.columns if one.role in (RETURN_LOSS, VSWR)]
    _check_roles(mapping, table, frequency, values, faults)
    rows, at = _numbers(table, mapping, [frequency[0], *values], repair, mended, faults)
    faults.raise_if_any()
    if rows.shape[0] < 1:
        faults.add(
            "", "no row of numbers", "a row for each frequency", "export the trace again", table.line(len(table.rows))
        )
    faults.raise_if_any()
    rows, at = _ordered(rows, at, table, frequency[0], repair, mended, faults)
    comments = tuple(shorten(text, 200) for row in table.rows[: max(mapping.header[0] - 1, 0)][:100] if (text := "; ".join(cell.text for cell in row if not cell.blank)))  # fmt: skip
    out = []
    for k, column in enumerate(values, 1):
        own = list(mended)
        magnitude = _magnitude(rows[:, k], at, table, column, mapping, repair, own, faults)
        if magnitude is None:
            continue
        called = named_by_sheet(table)
        name = called if len(values) == 1 else f"{called}, column {column.letter} {shorten(column.header, 60)}"
        out.append(
            Sweep(
                name, table.digest, rows[:, 0].copy(), np.full(magnitude.shape, complex(np.nan, np.nan)), magnitude, True,
                SYSTEM_OHM, "RL" if column.role == RETURN_LOSS else "VSWR",
                (*comments, *((f"column {column.letter}: {shorten(column.header, 100)}",) if column.header else ())),
                ("size without phase", *mapping.guesses, *own),
            )
        )  # fmt: skip
    faults.raise_if_any()
    return tuple(out)


def _check_roles(
    mapping: Mapping, table: Table, frequency: tuple[Column, ...], values: list[Column], faults: FaultList
) -> None:
    line = table.line(mapping.header[0]) if mapping.header[0] else 1
    headers = ", ".join(shorten(one, 30) for one in mapping.headers if one) or "no headers"
    if len(frequency) != 1:
        faults.add(
            "frequency", f"{len(frequency)} columns of {headers}" if frequency else headers, "one column of frequencies",
            "say which column holds the frequency, and its unit", line,
        )  # fmt: skip
    if not values or len(values) > MOST_COLUMNS_READ:
        faults.add(
            "values", f"{len(values)} columns" if values else headers,
            f"a column of return loss or standing wave ratio, at most {MOST_COLUMNS_READ}",
            "say which columns hold the values", line,
        )  # fmt: skip
    for column in (*frequency, *values):
        wanted = WANTED[column.role]
        if column.unit and dimension_of(column.unit) != wanted:
            faults.add(
                table.place(mapping.header[0], column.number), f"{column.role} in {column.unit}",
                {"frequency": "Hz, kHz, MHz or GHz", "loss": "dB", "ratio": "no unit, or :1"}[wanted],
                f"say what column {column.letter} is", line, column.number,
            )  # fmt: skip
    faults.raise_if_any()


def _numbers(
    table: Table, mapping: Mapping, columns: list[Column], repair: bool, mended: list[str], faults: FaultList
) -> tuple[Floats, list[int]]:
    """Frequencies in Hz and values as written, row by row; `at` tells the row of the table."""
    quick = _quick_numbers(table, mapping, columns)
    if quick is not None:
        return quick, list(range(mapping.header[1] + 1, len(table.rows) + 1))
    rows: list[list[float]] = []
    at: list[int] = []
    left: dict[str, int] = {}
    spoilt = 0
    width = (
        len(mapping.columns)
        if not mapping.header[0]
        else max((one.number for one in mapping.columns if one.header), default=0)
    )
    for row, cells, word in body_of(table, mapping.header, mapping.headers):
        if word:
            if word != "blank":
                left[word] = left.get(word, 0) + 1
            continue
        if len(cells) > width:
            faults.add(
                table.place(row, len(cells)), f"{len(cells)} cells", f"{width}, as the header has",
                "a decimal comma may have parted a number, or a row was joined: export the table again", table.line(row), len(cells),
            )  # fmt: skip
            continue
        if any(names_column(table.at(row, column.number), RULES) for column in columns):
            faults.add(
                table.place(row, 1), "; ".join(cell.text for cell in cells if not cell.blank), "one table under one header",
                "give the tables one by one", table.line(row), 1,
            )  # fmt: skip
            break  # what stands below has another meaning
        before = len(faults)
        got = [_value(table, row, column, mapping.decimal, repair, faults) for column in columns]
        if None in got:
            if len(faults) == before and before < MOST_FAULTS:
                left["no number in it"] = left.get("no number in it", 0) + 1
            elif (spoilt := spoilt + 1) > MOST_COUNTED:
                break
            continue
        rows.append([one for one in got if one is not None])
        at.append(row)
    for word, count in left.items():
        mended.append(f"{count} row{'s' * (count > 1)} left out: {word}")
    return np.array(rows, dtype=np.float64).reshape(-1, len(columns)), at


def _quick_numbers(table: Table, mapping: Mapping, columns: list[Column]) -> Floats | None:
    """The same column by column; None unless every row under the header holds plain numbers within bounds and nothing else."""
    body = table.rows[mapping.header[1] :]
    if not mapping.header[0] or not body or any(numeric(cell) for cell in table.rows[mapping.header[0] - 1]):
        return None
    if max(map(len, body)) > max((one.number for one in mapping.columns if one.header), default=0):
        return None
    out = np.empty((len(body), len(columns)))
    for k, column in enumerate(columns):
        measure = measure_of(column.unit, WANTED[column.role]) if column.unit else None
        if measure is None and column.role == FREQUENCY:
            return None
        factor = measure.factor if measure is not None else Decimal(1)
        if factor is None or (measure is not None and measure.offset) or factor != Decimal(1).scaleb(factor.adjusted()):
            return None
        texts = column_texts(body, column.number)
        values = plain_floats(texts, mapping.decimal, factor.adjusted()) if texts else None
        if values is None or not _within(values, column.role):
            return None
        out[:, k] = values
    return out


def _within(values: Floats, role: str) -> bool:
    """Whether all values lie where `_canonical` takes them."""
    low, high = float(values.min()), float(values.max())
    if role == FREQUENCY:
        return low >= LEAST_HZ and high <= MOST_HZ
    return max(-low, high) <= MOST_DB if role == RETURN_LOSS else max(-low, high) <= MOST_RATIO


def _value(table: Table, row: int, column: Column, decimal: str, repair: bool, faults: FaultList) -> float | None:
    """One number in Hz, dB or as a ratio; a cell without one is a fault, or with repair a row that is left out and counted."""
    cell = table.at(row, column.number)
    try:
        read = read_cell(cell, decimal)
        if not read.state and not read.comparator:
            return _canonical(read, column)
        fault = Unread(
            f"a number for {column.role} in every row", "sweep again, or read it with repair, which leaves the row out"
        )
        no_number = True
    except Unread as one:
        fault, no_number = one, cell.kind == "text" and not any(ch.isdigit() for ch in cell.text)
    if repair and no_number:
        return None
    faults.add(
        table.place(row, column.number),
        cell.text or "an empty cell",
        fault.expected,
        fault.remedy,
        table.line(row),
        column.number,
    )
    return None


def _canonical(read: CellValue, column: Column) -> float:
    assert read.number is not None
    wanted = WANTED[column.role]
    measure = measure_of(read.unit, wanted) if read.unit else measure_of(column.unit, wanted) if column.unit else None
    if read.unit and (measure is None or measure.dimension != wanted):
        raise Unread(
            f"a number for {column.role}, with a unit of it", f"{shorten(read.unit, 20)!r} does not measure that"
        )
    if measure is None:
        if column.role == FREQUENCY:
            raise Unread("a frequency with its unit, as in the other rows", "write Hz, kHz, MHz or GHz behind it")
        measure = Measure("", wanted)
    try:
        value = to_canonical(read.number, measure)
    except ValueError as error:
        raise Unread("a finite number", str(error)) from None
    if column.role == FREQUENCY and not LEAST_HZ <= value <= MOST_HZ:
        raise Unread("a frequency of 1 kHz to 1 THz", f"check its unit: it was read in {measure.symbol}")
    if column.role == RETURN_LOSS and abs(value) > MOST_DB:
        raise Unread(f"a return loss of at most {MOST_DB:g} dB", "check the decimal sign and the column")
    if column.role == VSWR and value > MOST_RATIO:
        raise Unread("a standing wave ratio below a million", "check the decimal sign and the column")
    return value


def _ordered(
    rows: Floats, at: list[int], table: Table, column: Column, repair: bool, mended: list[str], faults: FaultList
) -> tuple[Floats, list[int]]:
    step = np.diff(rows[:, 0])
    wrong = np.flatnonzero(step <= 0)
    if not wrong.size:
        return rows, at
    if not repair:
        for k in wrong.tolist():
            row = at[k + 1]
            same = "the same as" if step[k] == 0 else "lower than"
            faults.add(
                table.place(row, column.number), f"{rows[k + 1, 0] / 1e6:.6f} MHz, {same} in the row before",
                "frequencies that rise from row to row",
                "save the trace again; or read it with repair, which sorts and merges and says so", table.line(row), column.number,
            )  # fmt: skip
        faults.raise_if_any()
    place = np.argsort(rows[:, 0], kind="stable")
    rows, at = rows[place], [at[k] for k in place]
    if bool(np.any(step < 0)):
        mended.append(f"rows sorted by frequency (it fell {int(np.count_nonzero(step < 0))} times)")
    unique, first = np.unique(rows[:, 0], return_index=True)
    if unique.size < rows.shape[0]:
        mended.append(f"{rows.shape[0] - unique.size} repeated frequencies: the first row of each is kept")
        rows, at = rows[first], [at[k] for k in first]
    return rows, at


def _magnitude(
    values: Floats, at: list[int], table: Table, column: Column, mapping: Mapping, repair: bool, mended: list[str], faults: FaultList,
) -> Floats | None:  # fmt: skip
    if column.role == VSWR:
        low = values < 1.0
        if repair and low.any() and bool(np.all(values[low] >= 0.99)):
            mended.append(f"{int(low.sum())} ratios just under 1 taken for 1")
            values = np.maximum(values, 1.0)
            low = values < 1.0
        for k in np.flatnonzero(low).tolist():
            faults.add(
                table.place(at[k], column.number), f"{values[k]:g}", "a standing wave ratio of 1 or more",
                "check the column: it may be a return loss or a size", table.line(at[k]), column.number,
            )  # fmt: skip
        return None if low.any() else np.asarray(gamma_from_vswr(values))
    sign = _sign(values, column, mapping)
    if not sign:
        k = int(np.argmax(np.abs(values)))
        faults.add(
            table.place(at[k], column.number), f"{values.min():g} to {values.max():g} dB", "return loss with one sign throughout",
            "say the sign of the return loss, + or -, or check the column", table.line(at[k]), column.number,
        )  # fmt: skip
        return None
    if sign == "-":
        mended.append(f"column {column.letter}: reflection written with a minus sign, turned into return loss")
    loss = -values if sign == "-" else values
    beyond = loss < 0
    if beyond.any():
        mended.append(
            f"column {column.letter}: {int(beyond.sum())} points return more than was sent, up to {-loss.min():.2g} dB"
        )
    with np.errstate(over="ignore"):
        return np.asarray(np.where(beyond, 10.0 ** (-loss / 20.0), gamma_from_return_loss(np.maximum(loss, 0.0))))


def _sign(values: Floats, column: Column, mapping: Mapping) -> str:
    """How return loss is written in a column: '+' or '-'; '' where the numbers don't tell."""
    if mapping.sign:
        return mapping.sign
    low, high = float(values.min()), float(values.max())
    if low >= 0:
        return "+"
    if high <= 0:
        return "-"
    if high > NEAR_ZERO_DB and low >= -NEAR_ZERO_DB:
        return "+"
    return "-" if low < -NEAR_ZERO_DB and high <= NEAR_ZERO_DB else ""


__all__ = ["FREQUENCY", "RETURN_LOSS", "ROLES", "VSWR", "guess_trace", "read_trace"]
