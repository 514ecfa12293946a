"""What a radio list was understood to say, before anything is made of it: columns, rows, faults, notes."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from upmast.errors import Fault, shorten
from upmast.site.sheet_map import Column
from upmast.site.sheet_memory import Memory
from upmast.site.sheet_rows import KINDS, Row


@dataclass(frozen=True, slots=True)
class Preview:
    """
    The reading of one sheet. `column_faults` ask about whole columns; the faults of rows stand with them.

    Every row of the sheet is in `rows`, with what it was taken for.
    """

    file: str
    sheet: str
    header: tuple[int, int]
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    column_faults: tuple[Fault, ...]
    missing: tuple[Fault, ...]  # fields that no column holds: nothing can be made without them
    notes: tuple[str, ...]
    memory: Memory
    decimal: str

    @property
    def faults(self) -> tuple[Fault, ...]:
        """All faults, in the order of the sheet, those of the whole list first."""
        return (*self.missing, *self.column_faults, *(one for row in self.rows for one in row.faults))

    @property
    def radios(self) -> tuple[Row, ...]:
        """Rows that are a radio without a fault."""
        return tuple(row for row in self.rows if row.kind == "radio")

    def counts(self) -> dict[str, int]:
        found = Counter(row.kind for row in self.rows)
        return {kind: found[kind] for kind in KINDS}

    def remembered(self) -> Memory:
        """The decisions with every used column and its header, to be saved and used for the next list of this form."""
        columns = {
            one.letter: (one.field.removeprefix("carriers[1].") or None)
            for one in self.columns
            if (one.field and not one.field.startswith("antenna_ports[")) or one.given
        }
        headers = {one.letter: one.header[:200] for one in self.columns if one.letter in columns}
        return self.memory.model_copy(
            update={"columns": {**self.memory.columns, **columns}, "headers": headers, "sheet": self.sheet}
        )

    def as_data(self) -> dict[str, object]:
        return {
            "file": self.file, "sheet": self.sheet, "header_rows": list(self.header), "decimal": self.decimal,
            "columns": [one.as_data() for one in self.columns], "counts": self.counts(),
            "rows": [row.as_data() for row in self.rows], "faults": [one.as_data() for one in self.faults],
            "notes": list(self.notes),
        }  # fmt: skip

    def lines(self, most_rows: int = 60) -> list[str]:
        """Plain lines for the terminal: columns, rows, faults, notes; no control characters."""
        heads = (
            f"rows {self.header[0]} to {self.header[1]}" if self.header[1] > self.header[0] else f"row {self.header[0]}"
        )
        out = [
            f"{shorten(self.file)}, sheet {shorten(self.sheet)}, header in {heads if self.header[0] else 'no row'}",
            "",
        ]
        table = [["column", "header", "is", "unit", "sure", "why", "for example"]]
        for one in self.columns:
            what = "which? " + " or ".join(one.choices) if one.ambiguous else one.field or "not used"
            sure = f"{one.confidence:.0%}" if one.confidence else ""
            table.append([one.letter, one.header, what, one.unit, sure, one.reason, ", ".join(one.examples)])
        out += aligned(table, (6, 28, 36, 5, 5, 44, 30))
        out += ["", ", ".join(f"{count} {kind}" for kind, count in self.counts().items() if count) + ":"]
        table = [["row", "taken for", "site", "read"]]
        shown = [row for row in self.rows if row.kind != "blank"]
        for row in shown[:most_rows]:
            read = "; ".join(f"{key} {value.shown}" for key, value in row.values.items() if key != "site")
            if row.above:
                read += "; from above: " + ", ".join(f"{key} (row {number})" for key, number in row.above.items())
            hidden = " (hidden)" if row.hidden else ""
            table.append([str(row.number), row.kind + hidden, row.site, row.reason or read])
        out += aligned(table, (5, 17, 24, 200))
        if len(shown) > most_rows:
            out.append(f"and {len(shown) - most_rows} more rows")
        for fault in self.faults[:most_rows]:
            out += ["", *str(fault).splitlines()]
        if len(self.faults) > most_rows:
            out.append(f"and {len(self.faults) - most_rows} more faults")
        if self.notes:
            out += ["", *(f"note: {shorten(one, 200)}" for one in self.notes)]
        return out


def aligned(table: list[list[str]], widest: tuple[int, ...]) -> list[str]:
    """Rows of texts in columns of equal width, each cut to the widest that it may be."""
    cut = [[shorten(cell, most) for cell, most in zip(row, widest, strict=True)] for row in table]
    widths = [max(len(row[at]) for row in cut) for at in range(len(widest))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in cut]
