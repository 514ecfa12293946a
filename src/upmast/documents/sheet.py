"""Neutral content: tables in sheets of a workbook, and blocks of a paged document. No trade words here, and no file format."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

Kind = Literal["text", "count", "number", "money", "blank"]


@dataclass(frozen=True, slots=True)
class Product:
    """A sum of products of other columns of the same row, with its value: the writer makes a formula of it."""

    value: float
    pairs: tuple[tuple[int, int], ...]


Cell = str | float | int | None | Product


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its title, the unit shown under it, its width in characters, how it is printed, and whether it is summed."""

    title: str
    unit: str = ""
    width: float = 12.0
    kind: Kind = "text"
    places: int = 2
    summed: bool = False

    @property
    def heading(self) -> str:
        return f"{self.title} [{self.unit}]" if self.unit else self.title


@dataclass(frozen=True, slots=True)
class Table:
    """Columns and rows. A row may be empty text in any place; numbers stay numbers. `sum_words` names the row of the sums."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    sum_words: str = "Sum"

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"{self.title}: a row has {len(row)} cells for {len(self.columns)} columns")

    @property
    def sums(self) -> dict[int, float]:
        """The sum of each column that is summed, by its place."""
        return {
            at: sum(number_of(row[at]) or 0.0 for row in self.rows)
            for at, column in enumerate(self.columns)
            if column.summed
        }


def number_of(cell: Cell) -> float | None:
    """The number in a cell; None if there is none."""
    if isinstance(cell, Product):
        return cell.value
    return float(cell) if isinstance(cell, int | float) and not isinstance(cell, bool) else None


def shown(cell: Cell, column: Column) -> str:
    """A cell as text, as it is printed in a paged document."""
    value = number_of(cell)
    if value is not None:
        return f"{value:.0f}" if column.kind == "count" else f"{value:.{column.places}f}"
    return str(cell) if cell is not None else ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: a short name, lines above the table, and the table."""

    name: str
    table: Table
    head: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Workbook:
    """Sheets with the metadata of the file."""

    title: str
    subject: str
    sheets: tuple[Sheet, ...]


# --- paged documents ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Heading:
    text: str
    level: int = 1
    new_page: bool = False


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Text in one style: plain, note, caution or stamp."""

    text: str
    style: str = "plain"


@dataclass(frozen=True, slots=True)
class Bullets:
    items: tuple[str, ...]
    style: str = "plain"


@dataclass(frozen=True, slots=True)
class Facts:
    """Pairs of a name and a text."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Formula:
    """
    A formula with the values put in and its result.

    `maths` is in the typesetter's notation, made of our own trees only; `text` says the same in plain characters. `rows` are
    symbol (maths and text), meaning, value with unit, origin and source of each input.
    """

    maths: str
    text: str
    result: str
    result_meaning: str
    result_source: str
    rows: tuple[tuple[str, str, str, str, str, str], ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """An SVG picture with the words that stand for it. `wide` takes the whole width of the page, `landscape` a page of its own."""

    svg: str
    alt: str
    caption: str = ""
    landscape: bool = False
    wide: bool = False


Block = Heading | Paragraph | Bullets | Facts | Table | Formula | Picture


@dataclass(frozen=True, slots=True)
class Document:
    """Blocks in order, with what stands on every page; the annex is printed on wide pages."""

    title: str
    subject: str
    header: str
    stamp: str
    blocks: tuple[Block, ...] = field(default=())
    annex: tuple[Block, ...] = field(default=())


def joined(texts: Iterable[str], most: int = 40) -> str:
    """Texts with commas between; beyond `most`, how many more there are."""
    listed = list(texts)
    more = len(listed) - most
    return ", ".join(listed[:most]) + (f" and {more} more" if more > 0 else "")
