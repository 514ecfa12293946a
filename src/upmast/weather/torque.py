"""Tightening torque of the interfaces of an antenna line: a table of defaults, each with its mark."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.source import Mark, Source
from upmast.table import read

__all__ = ["Torque", "interfaces", "torque"]


@dataclass(frozen=True, slots=True)
class Torque:
    """
    Torque of one interface: from `low_nm` to `high_nm`, both None where it is tightened by hand to its stop.

    A part's own data sheet always goes before these.
    """

    interface: str
    low_nm: float | None
    high_nm: float | None
    note: str
    source: Source

    @property
    def by_hand(self) -> bool:
        """Tightened by hand to the stop, never with a tool."""
        return self.low_nm is None


def interfaces() -> tuple[str, ...]:
    """Names of the interfaces in the table."""
    return tuple(row["interface"] for row in read("upmast.weather", "torque").rows)


def torque(interface: str) -> Torque:
    """
    Default torque of an interface, from the table.

    Raises
    ------
    ValueError
        If the interface is not in the table; the message names those that are.

    >>> found = torque("7-16")
    >>> found.low_nm, found.high_nm, str(found.source.mark)
    (25.0, 30.0, 'memory')
    >>> torque("lc-outdoor").by_hand
    True
    """
    for row in read("upmast.weather", "torque").rows:
        if row["interface"] == interface:
            low, high = (float(row[key]) if row[key] else None for key in ("low_nm", "high_nm"))
            return Torque(interface, low, high, row["note"], Source(row["document"], mark=Mark(row["mark"])))
    raise ValueError(f"interface {interface!r} is not known; there are {', '.join(interfaces())}")
