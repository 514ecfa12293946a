"""What a system is: its trunk, box and the ways to its radios; and which of them are never better than another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from upmast.catalogue.part import Box, Breaker, Cable, Fanout

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Way:
    """How one radio can be reached: by a jumper from the box, or a run from the cabinet; with a breaker where it has its own."""

    dc: Cable
    dc_length_m: float
    fibre: Cable | None
    fibre_length_m: float
    breaker: Breaker | None
    cost: float
    mass_kg: float
    labour_h: float
    lead_time_d: float


@dataclass(frozen=True, slots=True)
class Extras:
    """What the hardware of one item comes to."""

    cost: float
    mass_kg: float
    labour_h: float
    lead_time_d: float


@dataclass(frozen=True)
class System:
    """One kind of line: its form, trunk, box and count, and for each radio its ways. Breakers of bussed pairs are part of it."""

    form: str
    topology: str
    trunks: int
    pairs_each: int
    bussed_pairs: int  # pairs of one trunk that feed its bars; 0 in a straight box
    trunk: Cable | None
    box: Box | None
    fanout: Fanout | None
    length_m: float
    cost: float
    mass_kg: float
    labour_h: float
    lead_time_d: float
    cables: int
    ways: tuple[tuple[Way, ...], ...]
    pair_breakers: tuple[Breaker, ...] = ()  # to choose one for all bussed pairs

    @property
    def area_mm2(self) -> float:
        """Conductor section of the trunk; 0 for separate runs, whose sections differ by radio."""
        return self.trunk.conductor_area_mm2 or 0.0 if self.trunk is not None else 0.0

    @property
    def group(self) -> str:
        """What it is called in a ranking."""
        if self.trunk is None:
            return "separate cables"
        each = f", {self.pairs_each} pairs to a radio" if self.pairs_each > 1 else ""
        many = "1 trunk" if self.trunks == 1 else f"{self.trunks} trunks"
        return f"{many} of {self.area_mm2:g} mm², {self.topology} box{each}"

    def title(self) -> str:
        if self.trunk is None or self.box is None:
            return "separate cables from the cabinet to every radio"
        return f"{self.trunks} x {self.trunk.id} ({self.length_m:g} m) to {self.box.id}" + (
            f", {self.pairs_each} pairs to a radio" if self.pairs_each > 1 else ""
        )


def way_class(way: Way) -> tuple[object, ...]:
    """Ways of one class behave alike: same copper and all else that a room looks at; they differ in price, mass and delivery."""
    d = way.dc
    copper = (d.conductor_area_mm2, d.conductor_class, d.tinned, d.insulation, way.dc_length_m)
    return (*copper, *(way_quality(way)))


def way_quality(way: Way) -> tuple[object, ...]:
    """All that a room looks at in a way besides its copper: ends, strands, strength, bends, shield."""
    out: list[object] = [way.dc.dc_foot, way.dc.dc_head]
    for part in (way.dc, way.fibre):
        if part is None:
            out.append(None)
            continue
        out += [
            part.bend_static_mm,
            part.shield_area_mm2 > 0,
            part.kind in ("dc-cable", "fibre-cable") and part.maximum_pull_n,
        ]
        if part.strands_count:
            out += [
                part.fibre_foot, part.fibre_head, part.duplex_kind, part.strands_count, part.fibre_class,
                part.attenuation_1310_db_per_km, part.attenuation_1550_db_per_km, part.array_kind, part.array_positions,
                part.attenuation_1310_least_db_per_km, part.attenuation_1550_least_db_per_km,
            ]  # fmt: skip
    return tuple(out)


def box_class(box: Box) -> tuple[object, ...]:
    """Boxes of one class behave alike; they differ in size, price, mass and total rating."""
    return (
        box.topology,
        box.dc_in,
        box.dc_out,
        box.fibre_in,
        box.fibre_out,
        box.output_rated_a,
        box.output_breaker_a,
        box.path_resistance_ohm,
        box.ip,
        box.array_keys,
        box.fan_positions,
    )


def trunk_class(trunk: Cable, length: float) -> tuple[object, ...]:
    """Trunks of one class behave alike electrically and optically; they differ in price, mass, delivery, size and strength."""
    return (
        trunk.conductor_area_mm2,
        trunk.conductor_class,
        trunk.tinned,
        trunk.insulation,
        length,
        trunk.dc_foot,
        trunk.dc_head,
        trunk.fibre_foot,
        trunk.fibre_head,
        trunk.bend_static_mm,
        trunk.bend_pulling_mm,
        trunk.shield_area_mm2 > 0,
        trunk.fibre_class,
        trunk.attenuation_1310_db_per_km,
        trunk.attenuation_1550_db_per_km,
        trunk.duplex_kind,
        trunk.array_kind,
        trunk.array_positions,
        trunk.attenuation_1310_least_db_per_km,
        trunk.attenuation_1550_least_db_per_km,
    )


def undominated(rows: list[tuple[T, tuple[object, ...], tuple[float, ...]]]) -> list[T]:
    """Leave out a row that another of its class beats or equals in every merit (smaller is better)."""
    kept: list[tuple[T, tuple[object, ...], tuple[float, ...]]] = []
    for row in sorted(rows, key=lambda r: r[2]):
        beaten = any(o[1] == row[1] and all(a <= b + 1e-12 for a, b in zip(o[2], row[2], strict=True)) for o in kept)
        if not beaten:
            kept.append(row)
    return [row[0] for row in kept]


__all__ = ["Extras", "System", "Way", "box_class", "trunk_class", "undominated", "way_class", "way_quality"]
