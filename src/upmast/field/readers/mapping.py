"""
Which column of a table holds what: guessed, shown, confirmed by a person, and known again by the headers.

A `Mapping` is plain data. What it only guesses stands in `guesses`; what it can't decide stands in `questions`, and a table with an
open question is not read.
"""

from __future__ import annotations

from collections.abc import Mapping as Pairs
from collections.abc import Sequence
from dataclasses import dataclass, replace

from upmast.digest import digest
from upmast.errors import Fault, FaultList, UsageError, shorten
from upmast.field.readers.cell_value import folded
from upmast.field.readers.reading import KINDS
from upmast.field.readers.table import MOST_FAULTS, Table
from upmast.field.readers.unit_words import measure_of
from upmast.site.sheet_read import column_of, letter

NOT_USED = ""


@dataclass(frozen=True, slots=True)
class Column:
    """One column as it is understood; `role` is '' where it is not used, `asked` a question that keeps it from being read."""

    number: int
    header: str
    role: str = NOT_USED
    unit: str = ""
    confidence: float = 0.0
    reason: str = ""
    asked: str = ""
    choices: tuple[str, ...] = ()
    examples: tuple[str, ...] = ()
    given: bool = False  # decided by a person, now or for an earlier table with the same headers

    @property
    def letter(self) -> str:
        return letter(self.number)

    def as_data(self) -> dict[str, object]:
        return {
            "column": self.letter, "header": self.header, "role": self.role, "unit": self.unit, "confidence": self.confidence,
            "reason": self.reason, "asked": self.asked, "choices": list(self.choices), "examples": list(self.examples),
            "given": self.given,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mapping:
    """
    The understanding of one table.

    `form` is 'trace' or 'values'; `header` the first and last row of the header, 0 where there is none; `decimal` the decimal sign
    that is used; `sign` '+' or '-' where a person has said how return loss is written; `notes` are guesses about the whole table.
    """

    form: str
    file: str
    header: tuple[int, int]
    columns: tuple[Column, ...]
    decimal: str = ""
    sign: str = ""
    kind: str = ""
    notes: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()  # questions about the whole table
    roles: tuple[str, ...] = ()  # all that a column can be

    @property
    def headers(self) -> tuple[str, ...]:
        return tuple(one.header for one in self.columns)

    @property
    def fingerprint(self) -> str:
        """Known again by this: form, kind and all headers in their order. '' for a table without headers."""
        return fingerprint_of(self.form, self.headers)

    @property
    def questions(self) -> tuple[str, ...]:
        """What a person has to say before the table is read; empty if nothing is open."""
        return (*self.asked, *(f"column {one.letter} {one.header!r}: {one.asked}" for one in self.columns if one.asked))

    @property
    def guesses(self) -> tuple[str, ...]:
        """What was taken without anyone having said it, in words."""
        told = [
            f"column {one.letter} {shorten(one.header, 40)!r} taken as {one.role}"
            + (f" in {one.unit}" if one.unit else "")
            + f": {one.reason}"
            for one in self.columns
            if one.role and not one.given
        ]
        left = [f"column {one.letter} {shorten(one.header, 40)!r} not used: {one.reason}" for one in self.columns if not one.role and not one.asked and not one.given]  # fmt: skip
        return (*self.notes, *told, *left)

    def of(self, role: str) -> tuple[Column, ...]:
        """The columns with a role, in their order."""
        return tuple(one for one in self.columns if one.role == role)

    def one(self, role: str) -> Column | None:
        found = self.of(role)
        return found[0] if found else None

    def decide(
        self, columns: Pairs[str, str | None] | None = None, units: Pairs[str, str] | None = None, decimal: str = "",
        sign: str = "", kind: str = "",
    ) -> Mapping:  # fmt: skip
        """
        The mapping with what a person says about it.

        Parameters
        ----------
        columns : role of a column by its letters; None or '' for a column that is not used.
        units : unit of a column by its letters.
        decimal, sign, kind : of the whole table, see the fields.

        Raises
        ------
        UsageError
            For a column, role or unit that there is not.
        """
        if decimal not in ("", ",", ".") or sign not in ("", "+", "-"):
            raise UsageError("the decimal sign is , or . and the sign of return loss + or -")
        if kind and kind not in KINDS:
            raise UsageError(f"no kind {shorten(kind, 40)!r}; there are {', '.join(KINDS)}")
        made = {one.letter: one for one in self.columns}
        for name, role in (columns or {}).items():
            column = made.get(name.upper())
            if column is None:
                raise UsageError(f"the table has no column {shorten(name, 20)!r}; it has {', '.join(list(made)[:40])}")
            if role and role not in self.roles:
                raise UsageError(f"no role {shorten(role, 40)!r}; there are {', '.join(self.roles)}")
            kept = column.asked if column.role == (role or "") else ""
            made[column.letter] = replace(
                column, role=role or NOT_USED, reason="decided", confidence=1.0, given=True, choices=(),
                asked=kept if kept.startswith("its unit") else "",
            )  # fmt: skip
        for name, unit in (units or {}).items():
            column = made.get(name.upper())
            measure = measure_of(unit)
            if column is None:
                raise UsageError(f"the table has no column {shorten(name, 20)!r}; it has {', '.join(list(made)[:40])}")
            if measure is None or measure.factor is None:
                raise UsageError(f"no unit {shorten(unit, 20)!r} that is known here")
            made[column.letter] = replace(
                column, unit=measure.symbol, given=True, asked="" if column.role else column.asked
            )
        return replace(
            self, columns=tuple(made.values()), decimal=decimal or self.decimal, sign=sign or self.sign,
            kind=kind or self.kind,
            asked=tuple(one for one in self.asked if not (decimal and one.startswith("decimal")) and not (sign and one.startswith("sign")) and not (kind and one.startswith("kind"))),
        )  # fmt: skip

    def confirmed(self) -> Mapping:
        """The mapping as a person has looked at it and agreed. Raises UsageError while a question is open."""
        if self.questions:
            raise UsageError("first decide: " + "; ".join(self.questions[:5]))
        return replace(self, columns=tuple(replace(one, given=True) for one in self.columns), notes=())

    def shown(self) -> tuple[str, ...]:
        """One line a column: letter, header, what it is taken for, how sure, why, and the first cells."""
        lines = []
        for one in self.columns:
            what = (f"{one.role} [{one.unit}]" if one.unit else one.role) or "not used"
            sure = "given" if one.given else f"{100 * one.confidence:.0f} % sure"
            asked = f"  ? {one.asked}" if one.asked else ""
            lines.append(
                f"{one.letter:>2}  {shorten(one.header, 30):30}  {what:28} {sure}, {one.reason}; {', '.join(one.examples)}{asked}"
            )
        return (*lines, *(f"? {one}" for one in self.asked))

    def as_data(self) -> dict[str, object]:
        return {
            "form": self.form, "file": self.file, "header": list(self.header), "decimal": self.decimal, "sign": self.sign,
            "kind": self.kind, "columns": [one.as_data() for one in self.columns], "guesses": list(self.guesses),
            "questions": list(self.questions), "fingerprint": self.fingerprint,
        }  # fmt: skip


def fingerprint_of(form: str, headers: Sequence[str]) -> str:
    """
    Known again by form and headers: their words and order, not their case or blanks. '' where no column has a header.

    >>> fingerprint_of("trace", ["Frequency ", "RL"]) == fingerprint_of("trace", ["frequency", "rl"])
    True
    """
    plain = tuple(_spelled(one) for one in headers)
    return digest("table headers", form, plain) if any(plain) else ""


def _spelled(header: str) -> str:
    """A header for comparing; case is kept in units of ohm, where it changes the value."""
    return " ".join(header.split()) if "ohm" in header.casefold() or "Ω" in header else folded(header)


def raise_questions(mapping: Mapping, table: Table) -> None:
    """Raise InputFaults with every open question, so that no table is read on a doubtful guess."""
    faults = FaultList(table.file, MOST_FAULTS)
    at = table.line(mapping.header[0]) if mapping.header[0] else 1
    for words in mapping.asked:
        faults.add(table.sheet, None, "one meaning of the table", words, at)
    for one in mapping.columns:
        if one.asked:
            choices = f"; it may be {', '.join(one.choices)}" if one.choices else ""
            faults.add(
                table.place(mapping.header[0], one.number) if mapping.header[0] else f"column {one.letter}",
                one.header or ", ".join(one.examples), f"one meaning: {one.asked}{choices}",
                f"say what column {one.letter} is, and its unit", at, one.number,
            )  # fmt: skip
    faults.raise_if_any()


def check_table(mapping: Mapping, table: Table) -> None:
    """Raise InputFaults where a mapping was made for another table."""
    if mapping.file == table.file and len(mapping.columns) == table.columns_count:
        return
    faults = FaultList(table.file)
    faults.add("", f"{table.columns_count} columns", f"the {len(mapping.columns)} columns of {mapping.file}", "make the mapping from this table")  # fmt: skip
    faults.raise_if_any()


__all__ = ["Column", "Fault", "Mapping", "check_table", "column_of", "fingerprint_of", "raise_questions"]
