"""Operating bands of 3GPP: uplink and downlink ranges in whole hertz, by name."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from upmast.source import Source
from upmast.table import Table, read

Range = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Band:
    """
    One operating band. Uplink is what the site receives, downlink what it transmits; None where the band has none.

    `duplex` is FDD, TDD, SDL (downlink only) or SUL (uplink only).
    """

    name: str
    duplex: str
    uplink_hz: Range | None
    downlink_hz: Range | None
    source: Source

    @property
    def span_hz(self) -> Range:
        """Lowest and highest frequency of the band, both directions together."""
        edges = [edge for part in (self.uplink_hz, self.downlink_hz) if part for edge in part]
        return min(edges), max(edges)


def _hz(cell: str) -> int:
    return int(Decimal(cell) * 1_000_000)


def _range(row: dict[str, str], way: str) -> Range | None:
    low, high = row[f"{way}_low_mhz"], row[f"{way}_high_mhz"]
    return (_hz(low), _hz(high)) if low else None


def _band(row: dict[str, str], prefix: str, table: Table) -> Band:
    return Band(prefix + row["band"], row["duplex"], _range(row, "ul"), _range(row, "dl"), table.source)


@cache
def all_bands() -> MappingProxyType[str, Band]:
    """All bands by name: `B1` ... of TS 36.101, `n1` ... of TS 38.104."""
    lte, nr = read("upmast.rf", "bands_lte"), read("upmast.rf", "bands_nr")
    out = [_band(row, "B", lte) for row in lte.rows] + [_band(row, "", nr) for row in nr.rows]
    return MappingProxyType({band.name: band for band in out})


def nearest_names(name: str, most: int = 3) -> tuple[str, ...]:
    """Band names that look like `name`, best first: the same number in the other system comes first."""
    digits = "".join(ch for ch in name[:20] if ch.isdigit())
    same = [known for known in all_bands() if known[1:] == digits]
    alike = difflib.get_close_matches(name[:20], list(all_bands()), n=most, cutoff=0.5)
    return tuple(dict.fromkeys([*same, *alike]))[:most]


def band(name: str) -> Band:
    """
    A band by name, case not minded: `B3`, `n78`. A bare number is refused, because B3 and n3 are two entries.

    Raises
    ------
    ValueError
        If there is no such band; the message names the nearest ones.

    >>> band("B3").uplink_hz, band("N78").duplex
    ((1710000000, 1785000000), 'TDD')
    """
    text = name.strip()
    found = all_bands().get(text[:1].upper() + text[1:]) or all_bands().get(text[:1].lower() + text[1:])
    if found is not None:
        return found
    near = nearest_names(text)
    hint = f"; did you mean {', '.join(near)}?" if near else "; write B and a number (LTE) or n and a number (NR)"
    shown = "".join(ch if ch.isprintable() else "?" for ch in text[:20])
    raise ValueError(f"no operating band {shown!r}{hint}")


def bands_receiving(low_hz: float, high_hz: float) -> tuple[Band, ...]:
    """Bands whose uplink overlaps an open range of frequencies, in the order of the tables."""
    if not 0 <= low_hz <= high_hz:
        raise ValueError("a range has 0 <= low_hz <= high_hz")
    uplinks = ((known, known.uplink_hz) for known in all_bands().values())
    return tuple(known for known, up in uplinks if up and up[0] < high_hz and low_hz < up[1])
