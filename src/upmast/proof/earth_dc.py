"""How the direct return current of each run divides: as the power room has it, and were the return bonded at both ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from upmast.catalogue.part import Cable
from upmast.earth.retrofit import dc_shares
from upmast.earth.shield import COPPER_OHM_M
from upmast.power.state import Inputs, State, evaluate
from upmast.proof.prove import Proof
from upmast.proof.scenarios import LOW_HOT

WARM = 1 + 0.00393 * 40  # shield and earth conductor at 60 C


@dataclass(frozen=True, slots=True)
class DcPath:
    """
    One path of the return current of a run. Currents [A]; None where there is no operating point, or no such path.

    now_a: as the line stands. both_a: were the return bonded at both ends. with_earth_a: with a functional earth conductor besides.
    """

    run: str
    path: str
    ohm: float
    now_a: float | None
    both_a: float | None
    with_earth_a: float | None


def dc_paths(proof: Proof) -> tuple[DcPath, ...]:
    """Paths of each shielded run that carries direct current, at the lowest voltage of the plant, full load, hottest day."""
    room = proof.rooms.get("power")
    if room is None or not isinstance(room.inputs, Inputs) or LOW_HOT not in room.inputs.scenarios:
        return ()
    i = room.inputs
    row = i.scenarios.index(LOW_HOT)
    state = evaluate(i)
    if not state.flow.exists[row]:
        return ()
    earth = proof.site.earthing
    area = 16.0 if earth is None else earth.functional_earth.area_mm2
    out: list[DcPath] = []
    for item in proof.line.of_kind("trunk", "dc-cable"):
        part = proof.line.parts[item.part]
        if isinstance(part, Cable) and part.pairs_count and part.shield_area_mm2 > 0 and item.on != "CAB":
            out += _paths(proof, i, state, row, item.id, part.shield_area_mm2, area)
    return tuple(out)


def way_back_ohm(proof: Proof, item: str, area_mm2: float) -> float:
    """Copper of a section over the whole of a run at 60 C, with the bonds at both of its ends [ohm]."""
    length = proof.line.by_id[item].length_m or 0.0
    return COPPER_OHM_M * 1e6 * WARM * length / area_mm2 + 2 * proof.site.cabinet.plant.return_bond_ohm


def _paths(
    proof: Proof, i: Inputs, state: State, row: int, item: str, shield_mm2: float, earth_mm2: float
) -> list[DcPath]:
    def branches(kind: str) -> list[int]:
        return [b for b, (k, at) in enumerate(zip(i.kind, i.item, strict=True)) if k == kind and at == item]

    back, shield = branches("return"), branches("shield")
    current = np.abs(state.flow.branch_a[row])
    fed = [b for b in back if current[b] > 1e-6]
    if not fed:
        return []
    ohm = {
        "return": float(1 / (1 / state.branch_ohm[row, fed]).sum()), "shield": way_back_ohm(proof, item, shield_mm2),
        "functional earth": way_back_ohm(proof, item, earth_mm2),
    }  # fmt: skip
    now = {"return": float(current[fed].sum()), "shield": float(current[shield].sum()) if shield else 0.0}
    total = sum(now.values())
    both = dc_shares(total, {name: ohm[name] for name in ("return", "shield")}).current_a
    besides = dc_shares(total, ohm).current_a
    return [DcPath(item, name, ohm[name], now.get(name), both.get(name), besides[name]) for name in ohm]


__all__ = ["DcPath", "dc_paths", "way_back_ohm"]
