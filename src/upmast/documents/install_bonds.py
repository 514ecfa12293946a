"""The sheet of bonds for whoever fits them: every bond with its height, part, lead, where it goes, its test limit, and a blank for done."""

from __future__ import annotations

from upmast.catalogue.part import Bond
from upmast.documents.sheet import Cell, Column, Sheet, Table
from upmast.proof.bonds import bond_rows
from upmast.proof.clamp_list import torque_words
from upmast.proof.earth_plan import CAUTIONS, has_earth
from upmast.proof.prove import Proof

COLUMNS = (
    Column("Bond", width=14), Column("Height", "m", 9, "number", 2), Column("Count", width=8, kind="count"), Column("Part", width=22), Column("Torque", width=20),
    Column("Section", "mm²", 10, "number", 1), Column("Lead", "m", 8, "number", 2), Column("On", width=30), Column("To", width=36),
    Column("Reads about", "mΩ", 11, "number", 1), Column("At most", "mΩ", 10, "number", 1), Column("Reading", "mΩ", 12, "blank"),
    Column("Instrument serial", width=16, kind="blank"), Column("Done", width=8, kind="blank"), Column("Name", width=14, kind="blank"),
    Column("Date", width=12, kind="blank"),
)  # fmt: skip
HOW = (
    "Bare metal, then torque, then seal. Leads short, straight and downward, without sharp bends; compatible metals.",
    "Four wires, from lug to bar. Test each bond before the line carries load; never open one under load or in a storm.",
)


def bonds_sheet(proof: Proof, head: tuple[str, ...] = ()) -> Sheet:
    """
    The sheet Bonds, from the top of the mast down.

    Parameters
    ----------
    proof : with its earth room; a sheet without rows if that was not proven. head : lines above the cautions.
    """
    bonds = bond_rows(proof) if has_earth(proof) else ()
    rows: list[tuple[Cell, ...]] = []
    for b in bonds:
        on = b.place if b.use == "case" else f"{b.on}, {b.place}"
        fit = "" if b.fits else " (does not fit it)"
        rows.append(
            (
                b.item, b.height_m, b.count, b.part + fit, _torque(proof, b.part), b.area_mm2, b.lead_m, on, b.to, b.expected_mohm, b.limit_mohm,
                None, None, None, None, None,
            )
        )  # fmt: skip
    return Sheet("Bonds", Table("Bonds", COLUMNS, tuple(rows), " ".join(HOW)), (*head, *CAUTIONS))


def _torque(proof: Proof, part: str) -> str:
    """Torque of a bond as its part tells it."""
    bond = proof.line.parts.get(part)
    return torque_words(bond.torque_nm if isinstance(bond, Bond) else None)


__all__ = ["bonds_sheet"]
