"""
The options of a site: every way to go from the cabinet to the box and on to the radios that parts and counts allow.

Nothing electrical is decided here; only what mates, reaches, and has enough pairs, strands and outputs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import AntennaPart, Box, Breaker, Cable, Fanout, RadioPart, RfCable, RfInline
from upmast.line.choice import shares
from upmast.line.hardware import add_hardware
from upmast.line.line import Item
from upmast.line.need import jumper_need_m, length_for, link_pairs, rf_need_m, run_need_m, single_strand, trunk_need_m
from upmast.line.port import port, why_not
from upmast.plan.cost import hours, piece_cost, piece_mass_kg
from upmast.plan.system import Extras, System, Way, box_class, trunk_class, undominated, way_class
from upmast.site.site import Radio, Site


class Options:
    """Enumerates the systems of a site. `counted` and `dominated` say how many were looked at and how many were never better."""

    def __init__(self, site: Site, catalogue: Catalogue) -> None:
        self.site, self.catalogue = site, catalogue
        self.counted = 0
        self.dominated = 0
        self.left_out: dict[str, int] = {}
        self.radio_parts = [catalogue.get(radio.part, RadioPart) for radio in site.radios]
        rated = [p for p in catalogue.of_kind("breaker") if isinstance(p, Breaker) and p.rated_v >= 60]
        able = [b for b in rated if b.breaking_ka >= site.cabinet.plant.short_circuit_ka]
        self.out("breakers that can't break the fault current of the plant", len(rated) - len(able))
        self.breakers = sorted(able, key=lambda b: (b.rated_a, b.cost, b.id))
        self._mates = lru_cache(maxsize=None)(self._mates_uncached)
        self._extras: dict[tuple[object, ...], Extras] = {}

    def _mates_uncached(self, a: str, b: str) -> bool:
        one, other = port("a", self.catalogue.connector(a)), port("b", self.catalogue.connector(b))
        half = {one.positions, other.positions} == {1, 2}
        return not why_not(one, other, "a" if half else "")

    def mates(self, a: str | None, b: str | None) -> bool:
        return a is not None and b is not None and self._mates(a, b)

    def out(self, why: str, count: int = 1) -> None:
        self.left_out[why] = self.left_out.get(why, 0) + count

    # -- one radio ---------------------------------------------------------------------------------------------------

    def _hardware(
        self, part: Cable | Box, length_m: float | None, low_m: float, high_m: float, serves: tuple[str, ...] = ()
    ) -> Extras:
        """What holds, bonds and caps an item, by the same rule as the line's; all ports of a box open."""
        coiled = isinstance(part, Cable) and part.strands_count > 0
        size = (
            part.id
            if isinstance(part, Box)
            else (part.diameter_mm, part.shield_area_mm2 > 0, part.bend_static_mm, coiled)
        )
        key = (part.kind, size, length_m, low_m, high_m, serves if coiled else ())
        if key not in self._extras:
            item = Item("X1", part.kind, part.id, length_m, low_m=low_m, high_m=high_m, serves=serves)
            rows = add_hardware(self.site, self.catalogue, [item], [])
            held = [(self.catalogue.part(row.part), row) for row in rows]
            self._extras[key] = Extras(
                sum(piece_cost(p, row.length_m, row.count) for p, row in held),
                sum(piece_mass_kg(p, row.length_m, row.count) for p, row in held),
                sum(hours(row.kind, row.length_m, row.count) for _, row in held),
                max((p.lead_time_d for p, _ in held), default=0.0),
            )
        return self._extras[key]

    def _cap(self, connector: str | None) -> tuple[float, float]:
        """Cost and mass of the cap of an unused outdoor port; 0 where there is none."""
        if connector is None or self.catalogue.connector(connector).indoor:
            return 0.0, 0.0
        interface = self.catalogue.connector(connector).interface
        caps = [p for p in self.catalogue.of_kind("cap") if getattr(p, "interface", "") == interface]
        return (caps[-1].cost, caps[-1].mass_kg) if caps else (0.0, 0.0)

    def pairs(self, radio: Radio) -> int:
        """Pairs of strands that the links of a radio need."""
        return link_pairs(radio, single_strand(self.catalogue, radio.fibre.optic or self.site.cabinet.optic))

    def _fibre_ways(
        self, radio: Radio, foot: str, head: str, need: float, kinds: tuple[str, ...]
    ) -> list[tuple[Cable | None, float]]:
        """Fibre cables that carry the links of a radio; more than one alike where one has too few strands."""
        if radio.fibre.links_count == 0:
            return [(None, 0.0)]
        out: list[tuple[Cable | None, float]] = []
        for part in self.catalogue.cables(*kinds):
            if (
                part.pairs_count
                or part.strands_count % 2
                or not (self.mates(part.fibre_foot, foot) and self.mates(part.fibre_head, head))
            ):
                continue
            if part.kind == "fibre-cable" and part.strands_count // 2 < self.pairs(radio):
                continue  # a run is one cable; of jumpers there can be several
            length = length_for(part, need)
            if length is not None and part.duplex_kind == "A-B":
                out.append((part, length))
        return out

    def ways(self, radio: Radio, part: RadioPart, box: Box | None, own_breaker: bool) -> tuple[Way, ...]:
        """Every way to one radio from a box, or from the cabinet where there is none."""
        links = self.pairs(radio)
        if box is None:
            need = run_need_m(self.site, radio)
            kinds: tuple[tuple[str, ...], tuple[str, ...]] = (("dc-cable",), ("fibre-cable",))
            dc_foot, fibre_foot = "dc-breaker-terminal", self._optic_jack(radio)
        else:
            need = jumper_need_m(self.site, radio)
            kinds = (("dc-jumper", "hybrid-jumper"), ("fibre-jumper",))
            dc_foot, fibre_foot = box.dc_out, box.fibre_out or ""
        fibres = self._fibre_ways(radio, fibre_foot, part.fibre_connector, need, kinds[1]) if fibre_foot else []
        out = []
        for dc in self.catalogue.cables(*kinds[0]):
            if dc.pairs_count != 1 or not (
                self.mates(dc.dc_foot, dc_foot) and self.mates(dc.dc_head, part.dc_connector)
            ):
                continue
            length = length_for(dc, need)
            if length is None:
                continue
            if dc.strands_count:
                fits = (
                    links
                    and dc.strands_count // 2 >= links
                    and self.mates(dc.fibre_foot, fibre_foot or None)
                    and self.mates(dc.fibre_head, part.fibre_connector)
                )
                carriers: list[tuple[Cable | None, float]] = [(None, 0.0)] if fits else []
            else:
                carriers = fibres
            for fibre, fibre_length in carriers:
                out.append(self._way(radio, dc, length, fibre, fibre_length, box is None))
        kept = undominated([(w, way_class(w), (w.cost, w.mass_kg, w.labour_h, w.lead_time_d)) for w in out])
        if not own_breaker:
            return tuple(kept)
        hour = hours("breaker", None, 1)
        return tuple(
            replace(
                w,
                breaker=b,
                cost=w.cost + b.cost,
                labour_h=w.labour_h + hour,
                lead_time_d=max(w.lead_time_d, b.lead_time_d),
            )
            for w in kept
            for b in self.breakers
        )

    def _optic_jack(self, radio: Radio) -> str:
        optic = self.catalogue.part(radio.fibre.optic or self.site.cabinet.optic)
        return str(getattr(optic, "connector", ""))

    def _way(self, radio: Radio, dc: Cable, length: float, fibre: Cable | None, fibre_length: float, run: bool) -> Way:
        low, high = sorted((self.site.cabinet.height_m if run else self.site.box_height_m, radio.height_m))
        pieces = [(dc, length, 1)]
        if fibre is not None:
            count = 1 if run else -(-self.pairs(radio) // max(fibre.strands_count // 2, 1))
            pieces.append((fibre, fibre_length, count))
        cost = mass = labour = lead = 0.0
        for part, long, count in pieces:
            extra = self._hardware(part, long, low, high, (radio.id,))
            cost += piece_cost(part, long, count) + count * extra.cost
            mass += piece_mass_kg(part, long, count) + count * extra.mass_kg
            labour += hours(part.kind, long, count) + count * extra.labour_h
            lead = max(lead, part.lead_time_d, extra.lead_time_d)
        return Way(dc, length, fibre, fibre_length, None, cost, mass, labour, lead)

    def rf_parts(self, radio: Radio) -> tuple[RfCable, ...]:
        """RF jumpers that fit a radio and its antenna, the cheapest first."""
        if radio.antenna is None or not radio.antenna_ports:
            return ()
        start = self.catalogue.get(radio.part, RadioPart).rf_connector
        if radio.inline:
            start = self.catalogue.get(radio.inline[-1], RfInline).head
        antenna = self.catalogue.get(self.site.antenna(radio.antenna).part, AntennaPart)
        need = rf_need_m(self.site, radio)
        fitting = []
        for cable in self.catalogue.of_kind("rf-jumper", "feeder"):
            assert isinstance(cable, RfCable)
            length = length_for(cable, need)
            if length is not None and self.mates(cable.foot, start) and self.mates(cable.head, antenna.rf_connector):
                fitting.append((cable, length))
        coded = self.site.policy.jumper_lengths == "coded"  # stock lengths seldom give one for each sector
        return tuple(
            c
            for c, _ in sorted(
                fitting,
                key=lambda row: (
                    coded and bool(row[0].stock_lengths_m),
                    self._value(*row),
                    piece_cost(row[0], row[1], 1),
                    row[0].id,
                ),
            )
        )

    def _value(self, part: RfCable, length: float) -> float:
        """What the objective minimises, for one cable."""
        if self.site.policy.objective == "mass":
            return piece_mass_kg(part, length, 1)
        return part.lead_time_d if self.site.policy.objective == "lead-time" else piece_cost(part, length, 1)

    # -- the whole line ----------------------------------------------------------------------------------------------

    def systems(self) -> Iterator[System]:
        """Every system that is not dominated."""
        if "separate" in self.site.policy.trunks:
            yield from self._separate()
        if "hybrid" in self.site.policy.trunks:
            yield from self._hybrid()

    def _separate(self) -> Iterator[System]:
        ways = tuple(
            self.ways(radio, part, None, True) for radio, part in zip(self.site.radios, self.radio_parts, strict=True)
        )
        self.counted += 1
        standby = any(radio.fibre.standby_count for radio in self.site.radios) or self.site.policy.growth_strands_count
        kept = tuple(
            tuple(w for w in some if self._strands_enough(radio, w)) for radio, some in zip(self.site.radios, ways, strict=True)
        ) if standby else ways  # fmt: skip
        if not all(kept):
            lacking = [radio.id for radio, some in zip(self.site.radios, kept, strict=True) if not some]
            self.out(f"separate cables: none fits {', '.join(lacking)} (ends, length, strands kept)")
            return
        if (
            self.site.policy.spare_pairs_count
            or len(self.site.radios) > self.site.cabinet.plant.breaker_positions_count
        ):
            self.out("separate cables: no spare pairs, or too few breaker positions")
            return
        cables = sum(1 + (some[0].fibre is not None) for some in kept)
        yield System("separate", "straight", 0, 1, 0, None, None, None, 0.0, 0.0, 0.0, 0.0, 0.0, cables, kept)

    def _strands_enough(self, radio: Radio, way: Way) -> bool:
        strands = way.fibre.strands_count if way.fibre is not None else way.dc.strands_count
        return strands // 2 >= self.pairs(radio) + radio.fibre.standby_count

    def _hybrid(self) -> Iterator[System]:
        site, n = self.site, len(self.site.radios)
        need = trunk_need_m(site)
        boxes = [b for b in self.catalogue.of_kind("box") if isinstance(b, Box) and b.topology in site.policy.boxes]
        trunks = [t for t in self.catalogue.cables("trunk") if self.mates(t.dc_foot, "dc-breaker-terminal")]
        kept = [(t, length_for(t, need)) for t in trunks]
        self.out("trunks that can't be had so long", sum(length is None for _, length in kept))
        reach = [(t, length) for t, length in kept if length is not None]
        asked = [self.pairs(radio) + radio.fibre.standby_count for radio in site.radios]
        growth = -(-site.policy.growth_strands_count // 2)
        ways: dict[tuple[str, str, bool], tuple[tuple[Way, ...], ...]] = {}
        for count in range(1, min(site.policy.most_trunks_count, n) + 1):
            groups = shares(n, count)
            most = max(len(g) for g in groups)
            strands = max(max(sum(asked[m] for m in g) for g in groups), -(-(sum(asked) + growth) // count))
            by_ends: dict[tuple[object, ...], list[Box]] = {}
            for box in boxes:
                by_ends.setdefault(box_class(box), []).append(box)
            for same in by_ends.values():
                first = same[0]
                key = (first.dc_out, first.fibre_out or "", first.topology == "straight")
                if key not in ways:
                    ways[key] = tuple(
                        self.ways(r, p, first, key[2]) for r, p in zip(site.radios, self.radio_parts, strict=True)
                    )
                if not all(ways[key]):
                    why = f"{first.topology} boxes with outputs {first.dc_out} and {first.fibre_out or 'no fibre'}: no jumper fits them and the radios"
                    self.out(why, len(same))
                    continue
                fitting = [
                    row for row in reach if self.mates(row[0].dc_head, first.dc_in) and self._fibre_fits(row[0], first)
                ]
                yield from self._matched(same, fitting, count, most, strands, ways[key])

    def _fibre_fits(self, trunk: Cable, box: Box) -> bool:
        return not trunk.strands_count or self.mates(trunk.fibre_head, box.fibre_in)

    def _matched(
        self,
        boxes: list[Box],
        trunks: list[tuple[Cable, float]],
        count: int,
        most: int,
        strands: int,
        ways: tuple[tuple[Way, ...], ...],
    ) -> Iterator[System]:
        """Systems of boxes with equal ends and trunks that mate with them."""
        site, n = self.site, len(self.site.radios)
        each = self.catalogue.connector(boxes[0].fibre_in).positions_count // 2 if boxes[0].fibre_in else 0
        roomy = [
            b
            for b in boxes
            if b.dc_out_count >= most and (not strands or min(b.fibre_in_count * each, b.fibre_out_count) >= strands)
        ]
        lit = [row for row in trunks if row[0].strands_count // 2 >= strands]
        self.counted += len(boxes) * len(trunks)
        why = "too few outputs, strands or fibre outputs for radios, links, standby and growth"
        self.out(why, len(boxes) * len(trunks) - len(roomy) * len(lit))
        spare = -(-site.policy.spare_pairs_count // count)
        positions = site.cabinet.plant.breaker_positions_count
        if boxes[0].topology == "straight":
            if n > positions:
                return self.out("too few breaker positions", len(roomy) * len(lit))
            for pairs_each in (1, 2):
                enough = [row for row in lit if row[0].pairs_count >= most * pairs_each + spare]
                if pairs_each == 1:
                    self.out("too few pairs", len(roomy) * (len(lit) - len(enough)))
                yield from self._product(roomy, enough, count, pairs_each, 0, ways)
            return None
        for used in sorted({min(b.dc_in_count, t.pairs_count) for b in roomy for t, _ in lit}):
            if used * count > positions:
                self.out("too few breaker positions")
                continue
            exact = [row for row in lit if row[0].pairs_count == used] if not spare else []
            yield from self._product([b for b in roomy if b.dc_in_count >= used], exact, count, 1, used, ways)
            more = [row for row in lit if row[0].pairs_count >= used + max(spare, 1)]
            yield from self._product([b for b in roomy if b.dc_in_count == used], more, count, 1, used, ways)

    def _product(
        self,
        boxes: list[Box],
        trunks: list[tuple[Cable, float]],
        count: int,
        pairs_each: int,
        used: int,
        ways: tuple[tuple[Way, ...], ...],
    ) -> Iterator[System]:
        """All pairs of a box and a trunk, each not beaten by one of its own class in everything that counts."""
        no_class: tuple[object, ...] = ()
        rows = [(b, self._hardware(b, None, self.site.box_height_m, self.site.box_height_m)) for b in boxes]
        some_boxes = undominated(
            [
                (
                    b,
                    no_class,
                    (b.cost + e.cost, b.mass_kg + e.mass_kg, max(b.lead_time_d, e.lead_time_d), -b.total_rated_a),
                )
                for b, e in rows
            ]
        )
        some_trunks = undominated([(row, trunk_class(row[0], row[1]), self._trunk_merit(*row)) for row in trunks])
        self.dominated += len(boxes) * len(trunks) - len(some_boxes) * len(some_trunks)
        for box in some_boxes:
            for trunk, length in some_trunks:
                fanout = None
                if trunk.fibre_foot and self.catalogue.connector(trunk.fibre_foot).positions_count > 2:
                    fanout = self._fanout(trunk.fibre_foot)
                    if fanout is None:
                        self.out("array trunks without a fan-out that fits")
                        continue
                yield self._system(trunk, box, fanout, count, pairs_each, used, length, ways)

    def _trunk_merit(self, trunk: Cable, length: float) -> tuple[float, ...]:
        extra = self._hardware(trunk, length, self.site.cabinet.height_m, self.site.box_height_m)
        cost, mass = piece_cost(trunk, length, 1) + extra.cost, piece_mass_kg(trunk, length, 1) + extra.mass_kg
        lead = max(trunk.lead_time_d, extra.lead_time_d)
        pull = -(trunk.maximum_pull_n or 0.0) / trunk.mass_kg_per_m
        return (cost, mass, extra.labour_h, lead, pull, trunk.diameter_mm, trunk.mass_kg_per_m)

    def _fanout(self, foot: str) -> Fanout | None:
        fitting = [p for p in self.catalogue.of_kind("fanout") if isinstance(p, Fanout) and self.mates(p.array, foot)]
        return min(fitting, key=lambda p: (p.cost, p.id)) if fitting else None

    def _system(
        self,
        trunk: Cable,
        box: Box,
        fanout: Fanout | None,
        count: int,
        pairs_each: int,
        used: int,
        length: float,
        ways: tuple[tuple[Way, ...], ...],
    ) -> System:
        held = self._hardware(trunk, length, self.site.cabinet.height_m, self.site.box_height_m)
        closed = self._hardware(box, None, self.site.box_height_m, self.site.box_height_m)
        fans = 0
        if fanout is not None and trunk.fibre_foot:
            foot = self.catalogue.connector(trunk.fibre_foot)
            fans = min(trunk.strands_count // foot.positions_count, box.fibre_in_count)
        fan_cost = fans * fanout.cost if fanout is not None else 0.0
        one = piece_cost(trunk, length, 1) + held.cost + box.cost + closed.cost + fan_cost
        mass = piece_mass_kg(trunk, length, 1) + held.mass_kg + box.mass_kg + closed.mass_kg
        labour = hours("trunk", length, 1) + held.labour_h + hours("box", None, 1) + closed.labour_h
        labour += hours("fanout", None, fans)
        leads = [trunk.lead_time_d, held.lead_time_d, box.lead_time_d, closed.lead_time_d]
        lead = max(*leads, fanout.lead_time_d if fanout else 0.0)
        dc_cap, dc_cap_mass = self._cap(box.dc_out)
        fibre_cap, fibre_cap_mass = self._cap(box.fibre_out)
        outputs, links = len(self.site.radios), sum(self.pairs(radio) for radio in self.site.radios)
        if not trunk.strands_count:
            links = 0
        uncapped = outputs * dc_cap + links * fibre_cap
        uncapped_mass = outputs * dc_cap_mass + links * fibre_cap_mass
        breakers = tuple(self.breakers) if used else ()
        return System(
            "hybrid",
            box.topology,
            count,
            pairs_each,
            used,
            trunk,
            box,
            fanout,
            length,
            count * one - uncapped,
            count * mass - uncapped_mass,
            count * labour,
            lead,
            count,
            ways,
            breakers,
        )


__all__ = ["Options"]
