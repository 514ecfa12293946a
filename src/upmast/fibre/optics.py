"""Optical classes of IEEE 802.3 and default losses: listed values, each with its own mark."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.source import Mark, Source
from upmast.table import Table, read

__all__ = ["Listed", "LossDefault", "Optic", "loss_default", "loss_defaults", "optic", "optics"]


@dataclass(frozen=True, slots=True)
class Listed:
    """A number of a table with its own source and mark."""

    value: float
    source: Source


@dataclass(frozen=True, slots=True)
class Optic:
    """
    One optical class; None where the table has no value. Average power in dBm, for each lane.

    These are limits of the standard, not what a module does: its data sheet goes before them.
    """

    name: str
    wavelength_nm_wave: Listed | None
    tx_min_dbm: Listed | None
    tx_max_dbm: Listed | None
    rx_min_dbm: Listed | None
    rx_max_dbm: Listed | None
    channel_limit_db: Listed | None
    reach_m: Listed | None


@dataclass(frozen=True, slots=True)
class LossDefault:
    """Default loss of a thing: mean and largest, None where unknown, and the unit as the suffix of a name."""

    item: str
    unit: str
    mean: float | None
    largest: float | None
    source: Source


def _classes() -> Table:
    return read("upmast.fibre", "optics_ieee802_3")


def optics() -> tuple[str, ...]:
    """Names of the optical classes, in the order of the table."""
    return tuple(dict.fromkeys(row["optic"] for row in _classes().rows))


def optic(name: str) -> Optic:
    """
    The listed values of one optical class.

    Raises
    ------
    ValueError
        If the class is not in the table; the message names those that are.

    Source: IEEE 802.3; each value says whether it was seen in a public text ('confirmed') or is from memory.

    >>> found = optic("10GBASE-LR")
    >>> found.rx_min_dbm.value, str(found.rx_min_dbm.source.mark), str(found.channel_limit_db.source.mark)
    (-14.4, 'confirmed', 'memory')
    >>> optic("100GBASE-ER4").tx_min_dbm is None
    True
    """
    table = _classes()
    found: dict[str, Listed] = {}
    for row in table.rows:
        if row["optic"] == name:
            source = Source(table.source.document, f"{name}, {row['quantity']}", mark=Mark(row["mark"]))
            found[row["quantity"]] = Listed(float(row["value"]), source)
    if not found:
        raise ValueError(f"optical class {name!r} is not known; there are {', '.join(optics())}")
    return Optic(
        name,
        found.get("wavelength_nm_wave"),
        found.get("tx_min_dbm"),
        found.get("tx_max_dbm"),
        found.get("rx_min_dbm"),
        found.get("rx_max_dbm"),
        found.get("channel_limit_db"),
        found.get("reach_m"),
    )


def loss_defaults() -> tuple[str, ...]:
    """Things that have a default loss."""
    return tuple(row["item"] for row in read("upmast.fibre", "losses").rows)


def loss_default(item: str) -> LossDefault:
    """
    Default loss of a thing, for where no data sheet is at hand.

    >>> loss_default("mated_pair").largest, str(loss_default("mated_pair").source)
    (0.75, 'TIA-568.3')
    """
    for row in read("upmast.fibre", "losses").rows:
        if row["item"] == item:
            mean, largest = (float(row[key]) if row[key] else None for key in ("mean", "largest"))
            source = Source(row["document"], row["clause"], mark=Mark(row["mark"]))
            return LossDefault(item, row["unit"], mean, largest, source)
    raise ValueError(f"no default loss for {item!r}; there are {', '.join(loss_defaults())}")
