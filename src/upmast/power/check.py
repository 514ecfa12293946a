"""What the power room sees of a line, and what it finds: voltages, breakers, contacts, faults, spares, energy and battery."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from upmast.catalogue.part import Box, Breaker, Cable, Connector, RadioPart, TripPoint
from upmast.errors import UsageError
from upmast.finding import Figure, Finding, Scenario
from upmast.limits import Limits
from upmast.line.line import Item, Line
from upmast.line.walk import Branch, dc_network
from upmast.line.wire import ohm_per_km
from upmast.power.cable_heat import CableHeat
from upmast.power.cells import LEAD_ACID_TEMPERATURE_COEFFICIENT_PER_K, temperature_factor, usable_ah
from upmast.power.converter import Converter
from upmast.power.derive import derive
from upmast.power.findings import found
from upmast.power.heating import LIMIT_C, ampacity_a
from upmast.power.protection import breaker_ohm
from upmast.power.resistance import resistance_ohm, tabulated_area_mm2
from upmast.power.seen import Seen
from upmast.power.state import BatteryInputs, Inputs, Protection, Trunk, evaluate
from upmast.power.trip import TripCurve, derated_a
from upmast.power.warmth import cable_heat_of
from upmast.room import Result
from upmast.site.site import MeasuredLoop, Site
from upmast.source import Mark, Source
from upmast.working import Step

NAME = "power"
VERSION = "2"
CAUTIONS = (
    "A -48 V battery can drive thousands of amperes into a short circuit: burns, arcs, molten metal. Take off rings and watches.",
    "Isolate, lock, label and prove dead before work; opening a breaker does not open the return.",
    "Inputs of radios and converters hold charge after they are off. Plugs drawn under load arc.",
    "Batteries hold acid and give off hydrogen. Only trained, authorised people work on the plant, by the local rules.",
    "These numbers are a design aid. The data sheets of the parts and the local code for wiring govern.",
)
INSULATION = {"xlpe": "xlpe90", "pvc": "pvc70"}
RUN_KINDS = ("dc-cable",)
# resistance of annealed copper at 20 C, ohm mm2/km: IEC 60028
SHIELD_OHM_MM2_PER_KM = 17.241


def inputs(line: Line, site: Site, scenarios: Sequence[Scenario]) -> Inputs:
    """Read a line into arrays."""
    plant = site.cabinet.plant
    net = dc_network(line, plant.dc_return == "common")
    rows, trunks = _Wires(line, site, net.branches, net.nodes).read()
    radios = [line.by_id[id] for id, _, _ in net.loads]
    asked = {radio.id: radio for radio in site.radios}
    parts = [p for r in radios if isinstance(p := line.parts[r.part], RadioPart)]
    assert len(parts) == len(radios)
    own = [asked.get(r.id) for r in radios]

    def value(name: str) -> np.ndarray:
        typed = [getattr(o, name, None) if o is not None else None for o in own]
        return np.array([t if t is not None else getattr(p, name) for t, p in zip(typed, parts, strict=True)], float)

    def given(name: str, absent: float) -> np.ndarray:
        return np.array([absent if getattr(p, name) is None else getattr(p, name) for p in parts], float)

    minimum_source = []
    for o, p in zip(own, parts, strict=True):
        typed = o is not None and o.minimum_v is not None
        source = Source(f"site {site.id}", "minimum_v", mark=Mark.DECLARED) if typed else p.source_of("minimum_v")
        kept = site.policy.voltage_margin_v
        words = str(source.document) + (f", {source.clause}" if source.clause else "")
        words += f", and policy.voltage_margin_v of {kept:g} V" if kept else ""
        minimum_source.append((words, source.mark.value))
    column = {key: [row[key] for row in rows] for key in rows[0]}
    used = _pairs_used(line, rows)
    total = [(i, p) for i in line.of_kind("trunk") if isinstance(p := line.parts[i.part], Cable)]
    fed = {id: sum(u == id for u, _, _ in used) for id in {i.id for i, _ in total}}
    return Inputs(
        site=site.id,
        scenarios=tuple(s.id for s in scenarios),
        emf_v=np.array([s.bus_v for s in scenarios]),
        ambient_c=np.array([s.ambient_c for s in scenarios]),
        sun_w_per_m2=np.array([s.sun_w_per_m2 for s in scenarios]),
        load_fraction=np.array([s.load_fraction for s in scenarios]),
        source_ohm=plant.source_resistance_ohm,
        base_w=plant.base_load_w,
        converter=_converter(site),
        regulation_v=plant.converter.regulation_v if plant.converter is not None else 0.0,
        node_count=net.nodes + 1,
        branch_from=np.array(column["a"], np.intp),
        branch_to=np.array(column["b"], np.intp),
        kind=tuple(str(k) for k in column["kind"]),
        item=tuple(str(x) for x in column["item"]),
        part=tuple(str(x) for x in column["part"]),
        pair=np.array(column["pair"], np.intp),
        length_m=np.array(column["length"], float),
        ohm_per_km=np.array(column["per_km"], float),
        ohm_source=tuple(str(x) for x in column["ohm_source"]),
        fixed_ohm=np.array(column["fixed"], float),
        contact_a=np.array(column["rated"], float),
        contact=tuple(str(x) for x in column["who"]),
        area_mm2=np.array(column["area"], float),
        reference_a=np.array(column["reference"], float),
        limit_c=np.array(column["limit"], float),
        insulation=tuple(str(x) for x in column["insulation"]),
        circuits=np.array(column["circuits"], np.intp),
        arrangement=tuple(str(x) for x in column["arrangement"]),
        trunks=trunks,
        radios=tuple(r.id for r in radios),
        plus=np.array([p for _, p, _ in net.loads], np.intp),
        minus=np.array([m for _, _, m in net.loads], np.intp),
        draws=tuple(p.draws for p in parts),
        maximum_w=value("maximum_w"),
        rated_v=given("rated_v", 48.0),
        limit_a=given("current_limit_a", np.inf),
        minimum_v=value("minimum_v") + site.policy.voltage_margin_v,
        cut_out_v=value("cut_out_v"),
        restart_v=value("restart_v"),
        maximum_v=value("maximum_v"),
        capacitance_uf=given("input_capacitance_uf", np.nan),
        inrush_a=given("inrush_peak_a", np.nan),
        inrush_s=given("inrush_s", np.nan),
        radio_part=tuple(r.part for r in radios),
        radio_source=tuple(minimum_source),
        radio_declared=tuple(o is not None and o.maximum_w is not None for o in own),
        breakers=_breakers(line, site, rows),
        outputs=_outputs(line, rows),
        boxes=_boxes(line, rows),
        totals=tuple(
            (i.id, c.id, c.total_rated_a, tuple(b for b, r in enumerate(rows) if r["item"] == i.id and r["kind"] == "line"))
            for i in line.items
            if isinstance(c := line.parts.get(i.part), Cable) and c.total_rated_a is not None and c.pairs_count
        ),
        pairs_used=used,
        spares=tuple((i.id, p.pairs_count - fed[i.id]) for i, p in total),
        pairs_total=sum(p.pairs_count for _, p in total),
        pairs_fed=sum(line.by_id[id].kind == "trunk" for id, _, _ in used),
        spare_pairs_asked=site.policy.spare_pairs_count,
        positions_free=plant.breaker_positions_count,
        short_circuit_ka=plant.short_circuit_ka,
        must_survive=site.policy.must_survive,
        continuous_load=site.policy.continuous_load,
        load_states=tuple((s.load_fraction, s.hours_h) for s in site.policy.load),
        float_v=plant.float_v,
        end_v=plant.end_of_discharge_v,
        disconnect_v=plant.disconnect_v or 0.0,
        mean_c=site.climate.mean_c,
        battery=_battery(site),
    )  # fmt: skip


def _converter(site: Site) -> Converter | None:
    c = site.cabinet.plant.converter
    if c is None:
        return None
    limit = np.inf if c.limit_w is None else c.limit_w
    return Converter(c.set_v, c.maximum_v, c.efficiency_fraction, c.idle_w, c.compensation_ohm, limit)


def _battery(site: Site) -> BatteryInputs | None:
    plant = site.cabinet.plant
    b = plant.battery
    if b is None:
        return None
    warm = 1.0
    if b.kind == "lead-acid":
        warm = float(temperature_factor(b.temperature_c, LEAD_ACID_TEMPERATURE_COEFFICIENT_PER_K.value))
    full = b.full_v if b.full_v is not None else plant.on_battery_v
    cells = b.cells_count if b.cells_count is not None else (24 if b.kind != "lithium-iron-phosphate" else 16)
    usable = float(usable_ah(b.capacity_ah, b.health_fraction, warm))
    return BatteryInputs(b.kind, usable, full, plant.end_of_discharge_v, cells, b.peukert, b.charge_fraction)


class _Wires:
    """The branches of a line as rows, and the cables whose heat is taken from their section."""

    def __init__(self, line: Line, site: Site, branches: Sequence[Branch], nodes: int) -> None:
        self.line, self.site, self.branches = line, site, branches
        self.source_node = nodes
        self.runs = sum(item.kind in RUN_KINDS for item in line.items)
        self.loaded: dict[str, int] = {}
        for joint in line.joints:
            for id, name in joint.ends:
                if name.startswith("foot.dc"):
                    self.loaded[id] = self.loaded.get(id, 0) + 1
        self.measured: dict[tuple[str, int], MeasuredLoop] = {(m.item, m.pair): m for m in site.measured_loops}

    def read(self) -> tuple[list[dict[str, object]], tuple[Trunk, ...]]:
        plant = self.site.cabinet.plant
        rows = [_row("source", "PLANT", "", 0, self.source_node, 0, fixed=plant.source_resistance_ohm)]
        known = set(self.measured)
        for branch in self.branches:
            item = self.line.by_id[branch.item]
            part = self.line.parts[item.part]
            if branch.kind == "bond":
                rows.append(
                    _row("bond", item.id, item.part, branch.pair, branch.a, branch.b, fixed=plant.return_bond_ohm)
                )
            elif branch.kind == "shield":
                assert isinstance(part, Cable)
                rows.append(
                    _row(
                        "shield", item.id, part.id, 0, branch.a, branch.b, fixed=plant.return_bond_ohm,
                        length=item.length_m or 0.0, per_km=SHIELD_OHM_MM2_PER_KM / part.shield_area_mm2,
                    )
                )  # fmt: skip
            elif isinstance(part, Breaker):
                ohm = part.resistance_ohm if part.resistance_ohm is not None else float(breaker_ohm(part.rated_a))
                rows.append(_row("breaker", item.id, part.id, 0, branch.a, branch.b, fixed=ohm))
            elif isinstance(part, Box):
                rows.append(
                    _row("box", item.id, part.id, branch.pair, branch.a, branch.b, fixed=part.path_resistance_ohm)
                )
            elif isinstance(part, Cable):
                rows.append(self._wire(branch, item, part))
                known.discard((item.id, branch.pair))
        if known:
            lost = ", ".join(f"{item} pair {pair}" for item, pair in sorted(known))
            raise UsageError(
                f"measured_loops in site.yaml names what is no pair in use on this line: {lost}. "
                "Correct item and pair, or take out what was measured on another line"
            )
        return rows, self._trunks(rows)

    def _wire(self, branch: Branch, item: Item, part: Cable) -> dict[str, object]:
        many = part.pairs_count > 1
        count = max(self.loaded.get(item.id, 1) if many else (self.runs if item.kind in RUN_KINDS else 1), 1)
        arrangement = "bunched" if many else "ladder"
        name = INSULATION[part.insulation]
        contacts = [self.line.connector(c) for c in branch.contacts]
        rated, who = _weakest(contacts)
        area, length = part.conductor_area_mm2 or 0.0, item.length_m or 0.0
        per_km, ohm_source = ohm_per_km(part)
        fixed = sum(c.resistance_ohm for c in contacts)
        loop = self.measured.get((item.id, branch.pair))
        if loop is not None and length > 0:
            # contacts and all: both wires together, brought to 20 C
            per_km = loop.loop_ohm / 2 / float(resistance_ohm(1.0, length, loop.at_c))
            fixed, ohm_source = 0.0, f"site, measured_loops: {loop.source}"
        reference = np.inf
        if self._heat(part) is None:
            # one ampacity for the bundle at 30 C: everything else is a factor on it
            reference = float(ampacity_a(tabulated_area_mm2(area), name, 30.0, count, arrangement))  # type: ignore[arg-type]
        return _row(
            branch.kind, item.id, part.id, branch.pair, branch.a, branch.b, fixed=fixed, length=length, per_km=per_km, area=area,
            ohm_source=ohm_source, reference=reference, limit=LIMIT_C[name], insulation=name, circuits=count,
            arrangement=arrangement, rated=rated, who=who,
        )  # fmt: skip

    def _heat(self, part: Cable) -> CableHeat | None:
        """The section by which the heat of a cable is taken; None for one pair, for tables asked, and where cores don't fit."""
        if part.pairs_count <= 1 or self.site.policy.trunk_heat != "section":
            return None
        return cable_heat_of(
            part.pairs_count, part.conductor_area_mm2 or 0.0, part.diameter_mm, part.filler_k_m_per_w, part.sheath
        )

    def _trunks(self, rows: Sequence[dict[str, object]]) -> tuple[Trunk, ...]:
        out = []
        for item in self.line.items:
            part = self.line.parts.get(item.part)
            heat = self._heat(part) if isinstance(part, Cable) else None
            if heat is None or not isinstance(part, Cable):
                continue
            mine = [n for n, r in enumerate(rows) if r["item"] == item.id and r["kind"] in ("line", "return")]
            mine.sort(key=lambda n: (int(str(rows[n]["pair"])), rows[n]["kind"] != "line"))
            shield = next((n for n, r in enumerate(rows) if r["item"] == item.id and r["kind"] == "shield"), -1)
            out.append(Trunk(item.id, tuple(mine), shield, heat, LIMIT_C[INSULATION[part.insulation]]))
        return tuple(out)


def _row(
    kind: str, item: str, part: str, pair: int, a: int, b: int, *, fixed: float, length: float = 0.0, per_km: float = 0.0,
    area: float = float("nan"), reference: float = float("inf"), limit: float = 90.0, insulation: str = "", circuits: int = 1,
    arrangement: str = "", rated: float = float("inf"), who: str = "", ohm_source: str = "",
) -> dict[str, object]:  # fmt: skip
    return {
        "kind": kind, "item": item, "part": part, "pair": pair, "a": a, "b": b, "fixed": fixed, "length": length, "per_km": per_km,
        "area": area, "reference": reference, "limit": limit, "insulation": insulation, "circuits": circuits,
        "arrangement": arrangement, "rated": rated, "who": who, "ohm_source": ohm_source,
    }  # fmt: skip


def _weakest(contacts: Sequence[Connector]) -> tuple[float, str]:
    rated = [(c.rated_a, c.id) for c in contacts if c.rated_a is not None]
    return min(rated) if rated else (float("inf"), "")


def _curve(points: Sequence[TripPoint]) -> TripCurve | None:
    if not points:
        return None
    return TripCurve([p.multiple for p in points], [p.shortest_s for p in points], [p.longest_s for p in points])


def _breakers(line: Line, site: Site, rows: Sequence[dict[str, object]]) -> tuple[Protection, ...]:
    out = []
    inside = site.cabinet.inside_hot_c
    for n, row in enumerate(rows):
        part = line.parts[str(row["part"])] if row["kind"] == "breaker" else None
        if not isinstance(part, Breaker):
            continue
        usable, lacking = part.rated_a * part.neighbour_fraction, ""
        if inside is not None and part.principle != "hydraulic-magnetic":
            if part.derate_fraction_per_k is None:
                usable, lacking = float("nan"), f"derate_fraction_per_k of {part.id}, for {inside:g} °C at the breakers"
            else:
                usable = float(
                    derated_a(
                        part.rated_a, inside, part.reference_c, part.derate_fraction_per_k, part.neighbour_fraction
                    )
                )
        out.append(
            Protection(
                str(row["item"]), part.id, n, part.rated_a, usable, lacking, part.breaking_ka, part.conventional_multiple,
                _curve(part.trip_points), _protected(n, rows),
            )
        )  # fmt: skip
    return tuple(out)


def _outputs(line: Line, rows: Sequence[dict[str, object]]) -> tuple[Protection, ...]:
    """The breakers in the outputs of bussed boxes, each with the jumper behind it."""
    out = []
    for box, _, _, _, branches, own in _boxes(line, rows):
        part = line.parts[line.by_id[box].part]
        if not isinstance(part, Box):
            continue
        if own == 0.0 or not np.isfinite(own):
            continue
        curve = _curve(part.output_trip_points)
        out += [
            Protection(box, part.id, b, own, own, "", np.inf, part.output_conventional_multiple, curve, ((b,),))
            for b in branches
        ]
    return tuple(out)


def _protected(breaker: int, rows: Sequence[dict[str, object]]) -> tuple[tuple[int, ...], ...]:
    """
    Groups of line wires behind a breaker, outwards until the line splits for more than one way on: those a fault draws
    current through, and which nothing else protects. Wires between the same two nodes are one group.
    """
    node = rows[breaker]["b"]
    groups: list[tuple[int, ...]] = []
    seen = {breaker}
    while True:
        ahead = [i for i, r in enumerate(rows) if i not in seen and r["kind"] in ("line", "box") and r["a"] == node]
        back = [i for i, r in enumerate(rows) if i not in seen and r["kind"] == "line" and r["b"] == node]
        if not ahead or back or len({rows[i]["b"] for i in ahead}) > 1:
            return tuple(groups)
        if rows[ahead[0]]["kind"] == "line":
            groups.append(tuple(ahead))
        seen.update(ahead)
        node = rows[ahead[0]]["b"]


def _boxes(
    line: Line, rows: Sequence[dict[str, object]]
) -> tuple[tuple[str, str, float, float, tuple[int, ...], float], ...]:
    out = []
    for item in line.of_kind("box"):
        part = line.parts[item.part]
        assert isinstance(part, Box)
        fed = []
        for n in range(1, part.dc_out_count + 1):
            for other, _ in line.joined.get(f"{item.id}.out.dc{n}", ()):
                id = other.split(".", 1)[0]
                fed += [i for i, r in enumerate(rows) if r["item"] == id and r["kind"] == "line"]
        own = 0.0 if part.topology == "straight" else (part.output_breaker_a or float("inf"))
        out.append((item.id, part.id, part.output_rated_a, part.total_rated_a, tuple(fed), own))
    return tuple(out)


def _pairs_used(line: Line, rows: Sequence[dict[str, object]]) -> tuple[tuple[str, int, tuple[int, ...]], ...]:
    """Pairs of trunks and runs that are joined at both ends, with their branches."""
    out = []
    by_pair: dict[tuple[str, int], list[int]] = {}
    for i, r in enumerate(rows):
        if r["kind"] in ("line", "return"):
            by_pair.setdefault((str(r["item"]), int(str(r["pair"]))), []).append(i)
    for item in line.of_kind("trunk", "dc-cable"):
        for (id, pair), branches in by_pair.items():
            if id == item.id and all(f"{id}.{end}.dc{pair}" in line.joined for end in ("foot", "head")):
                out.append((id, pair, tuple(branches)))
    return tuple(out)


def check(inputs: Inputs, limits: Limits) -> Result:
    """Findings and figures of the room."""
    return found(inputs, limits)


def working(inputs: Inputs, limits: Limits, one: Finding | Figure) -> tuple[Step, ...]:
    """The derivation of one finding or figure of this room."""
    return derive(inputs, Seen(inputs, limits, evaluate(inputs)), one)


__all__ = ["CAUTIONS", "NAME", "VERSION", "Inputs", "check", "inputs", "working"]
