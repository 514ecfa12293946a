"""Read a CSV table of ours: numbers as columns, and the source of the table with it."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from upmast.source import Mark, Source


@dataclass(frozen=True, slots=True)
class Table:
    """Rows as read (text), a source for all of them, and the name it is cited by."""

    name: str
    source: Source
    header: tuple[str, ...]
    rows: tuple[dict[str, str], ...]

    def numbers(self, column: str) -> tuple[float, ...]:
        """A column as numbers; an empty cell is NaN. Raises KeyError for an unknown column."""
        if column not in self.header:
            raise KeyError(f"{self.name} has no column {column!r}; it has {', '.join(self.header)}")
        return tuple(float(row[column]) if row[column] else float("nan") for row in self.rows)


@cache
def read(package: str, name: str) -> Table:
    """
    Read `tables/NAME.csv` of a package.

    Leading `#` lines carry `key: value` with the keys document, edition, clause and mark, which become the source.

    Raises
    ------
    ValueError
        If the file names no document, or a row has another number of cells than the header.
    """
    text = resources.files(package).joinpath("tables", f"{name}.csv").read_text("utf-8")
    meta: dict[str, str] = {}
    lines = []
    for line in text.splitlines():
        if line.startswith("#"):
            key, _, value = line[1:].partition(":")
            meta[key.strip()] = value.strip()
        elif line.strip():
            lines.append(line)
    source = Source(
        meta.get("document", ""), meta.get("clause", ""), meta.get("edition", ""), Mark(meta.get("mark", "confirmed"))
    )
    reader = csv.reader(lines)
    header = tuple(next(reader))
    rows: list[dict[str, Any]] = []
    for cells in reader:
        if len(cells) != len(header):
            raise ValueError(f"{package}/tables/{name}.csv: {len(cells)} cells where the header has {len(header)}")
        rows.append(dict(zip(header, cells, strict=True)))
    return Table(name, source, header, tuple(rows))
