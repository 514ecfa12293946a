"""
What a person has decided about a list, remembered in `import.yaml` beside it: columns, units, models, how to take hidden rows.

The headers are remembered with the columns, so that a list whose columns have moved is asked about again and not misread.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from upmast import atomic, declare, yamlfile
from upmast.catalogue.part import PartId
from upmast.declare import Declared

Letters = Annotated[str, StringConstraints(pattern=r"^[A-Z]{1,3}$")]
Short = Annotated[str, StringConstraints(max_length=200)]


class Memory(Declared):
    """Decisions about one radio list."""

    version: Literal[1] = Field(1, description="version of this kind of file: 1")
    sheet: Short = Field("", description="name of the sheet; the one that looks most like a radio list if not given")
    header: tuple[int, int] | None = Field(None, description="first and last row of the header, counted from 1")
    columns: dict[Letters, Short | None] = Field(
        default_factory=dict, max_length=200, description="field of a column, by its letters; null: not used"
    )
    headers: dict[Letters, Short] = Field(
        default_factory=dict, max_length=200, description="header of a column when it was decided"
    )
    units: dict[Letters, Short] = Field(
        default_factory=dict, max_length=200, description="unit of a column where neither header nor cells give it"
    )
    models: dict[Short, PartId] = Field(
        default_factory=dict, max_length=2000, description="part of the catalogue for a model name of the list"
    )
    decimal: Literal["", ",", "."] = Field("", description="decimal sign of the list; found by looking if not given")
    hidden: Literal["ask", "read", "leave"] = Field("ask", description="what to do with rows that are hidden")
    site: Short = Field("", description="name of the site, where no column gives it")


def load(path: Path) -> Memory:
    """The decisions of a file. Raises InputFaults with every fault."""
    text = yamlfile.read(path, 200_000)
    return declare.load(Memory, text)


def save(path: Path, memory: Memory) -> None:
    """Write the decisions, whole or not at all; what is as by default is left out."""
    data = {"version": 1, **memory.model_dump(mode="json", exclude_defaults=True)}
    atomic.write_text(path, "# how the radio list is read; see docs/import.md\n" + yamlfile.dump(data))
