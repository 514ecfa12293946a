"""Colours of strands and tubes, by a table that can be replaced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from upmast.source import Mark, Source
from upmast.table import read

__all__ = ["Colour", "strand_colours", "tia598_colours"]


@dataclass(frozen=True, slots=True)
class Colour:
    """The colour of one position, with the colour of its tracer (empty without one) and its source."""

    name: str
    tracer: str
    source: Source

    def __str__(self) -> str:
        return f"{self.name} with {self.tracer} tracer" if self.tracer else self.name


def tia598_colours() -> tuple[Colour, ...]:
    """
    The colours of positions 1 to 24 in order; 13 to 24 repeat with a tracer and are marked 'memory'.

    Source: TIA-598. Other regions use other orders: say which table was used.

    >>> [str(tia598_colours()[p - 1]) for p in (1, 12, 13, 20)]
    ['blue', 'aqua', 'blue with black tracer', 'black with yellow tracer']
    """
    table = read("upmast.fibre", "colours_tia598")
    return tuple(
        Colour(row["colour"], row["tracer"], Source(table.source.document, table.source.clause, mark=Mark(row["mark"])))
        for row in table.rows
    )


def strand_colours(strand: int, per_tube: int = 12, table: Sequence[Colour] | None = None) -> tuple[Colour, Colour]:
    """
    Colours of the tube and of the strand in it: tube `ceil(N / k)`, strand `(N - 1) mod k + 1`.

    Parameters
    ----------
    strand: N, from 1. per_tube: strands in each tube, k. table: colours by position, `tia598_colours()` by default.

    Raises
    ------
    ValueError
        If the table has no colour for that tube or strand.

    Source: TIA-598.

    >>> [str(colour) for colour in strand_colours(37)]
    ['brown', 'blue']
    """
    colours = tia598_colours() if table is None else tuple(table)
    if strand < 1 or per_tube < 1:
        raise ValueError("strands and strands in a tube count from 1")
    tube, place = divmod(strand - 1, per_tube)
    if max(tube, place) >= len(colours):
        raise ValueError(
            f"strand {strand} is in tube {tube + 1} at place {place + 1}: the table has {len(colours)} colours"
        )
    return colours[tube], colours[place]
