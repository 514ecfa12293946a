"""
What a person has decided about tables, kept as JSON and found again by the headers of a table.

A decision holds for tables with the same headers in the same order; one whose columns have moved is guessed and asked anew.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from upmast import atomic, declare, yamlfile
from upmast.declare import Declared
from upmast.errors import FaultList, UsageError
from upmast.field.readers.mapping import Mapping, fingerprint_of
from upmast.field.readers.unit_words import measure_of

Letters = Annotated[str, StringConstraints(pattern=r"^[A-Z]{1,3}$")]
Digest = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Short = Annotated[str, StringConstraints(max_length=220)]
MOST_BYTES = 2_000_000
MOST_TABLES = 500


class Decision(Declared):
    """What was decided about tables with these headers."""

    form: Literal["trace", "values"] = Field(
        description="what the table is: a trace over frequency, or single readings"
    )
    headers: tuple[Short, ...] = Field(max_length=200, description="headers of the columns, in their order")
    columns: dict[Letters, Short | None] = Field(
        default_factory=dict, max_length=200, description="role of a column, by its letters; null: not used"
    )
    units: dict[Letters, Short] = Field(
        default_factory=dict, max_length=200, description="unit of a column, by its letters"
    )
    decimal: Literal["", ",", "."] = Field("", description="decimal sign; found by looking if not given")
    sign: Literal["", "+", "-"] = Field("", description="how return loss is written; found by looking if not given")
    kind: Short = Field("", description="kind of the readings, where no column gives it")


class Memory(Declared):
    """Decisions about tables, by the fingerprint of their headers."""

    version: Literal[1] = Field(1, description="version of this kind of file: 1")
    tables: dict[Digest, Decision] = Field(
        default_factory=dict, max_length=MOST_TABLES, description="what was decided, by the fingerprint of the headers"
    )

    def of(self, fingerprint: str) -> Decision | None:
        return self.tables.get(fingerprint) if fingerprint else None

    def remember(self, mapping: Mapping) -> Memory:
        """
        A memory that knows this mapping, too.

        Raises
        ------
        UsageError
            While a question is open, while something is only guessed, or where the table has no headers to know it by.
        """
        if mapping.questions:
            raise UsageError("first decide: " + "; ".join(mapping.questions[:5]))
        if any(one.role and not one.given for one in mapping.columns):
            raise UsageError("first confirm the mapping: only what a person has agreed to is remembered")
        key = mapping.fingerprint
        if not key:
            raise UsageError("a table without headers can't be known again: say what its columns are each time")
        made = Decision(
            form="trace" if mapping.form == "trace" else "values",
            headers=mapping.headers,
            columns={one.letter: one.role or None for one in mapping.columns},
            units={one.letter: one.unit for one in mapping.columns if one.unit and one.role},
            sign="-" if mapping.sign == "-" else "+" if mapping.sign == "+" else "",
            kind=mapping.kind,
        )
        tables = {**self.tables, key: made}
        return Memory(tables=dict(list(tables.items())[-MOST_TABLES:]))


def load(path: Path) -> Memory:
    """The decisions of a file. Raises InputFaults with every fault."""
    return parse(yamlfile.read(path, MOST_BYTES))


def parse(text: yamlfile.YamlText) -> Memory:
    """Check a memory: each fingerprint has to be that of its headers, each unit one that is known."""
    memory = declare.load(Memory, text)
    faults = FaultList(text.file)
    for key, one in memory.tables.items():
        if fingerprint_of(one.form, one.headers) != key:
            faults.add(
                f"tables.{key[:12]}", key, "the fingerprint of its headers", "remove this entry and decide again"
            )
        for column, unit in one.units.items():
            found = measure_of(unit)
            if found is None or found.factor is None:
                faults.add(
                    f"tables.{key[:12]}.units.{column}",
                    unit,
                    "a unit that is known",
                    "remove this entry and decide again",
                )
    faults.raise_if_any()
    return memory


def save(path: Path, memory: Memory) -> None:
    """Write the decisions as JSON, whole or not at all."""
    data = memory.model_dump(mode="json")
    atomic.write_text(path, json.dumps(data, indent=1, ensure_ascii=False, sort_keys=True) + "\n")
