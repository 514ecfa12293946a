"""What the power room sees of a line, and what it finds: voltages, breakers, contacts, spares, energy and battery."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from upmast.catalogue.part import Box, Breaker, Cable, Connector, RadioPart
from upmast.finding import Figure, Finding, Scenario
from upmast.limits import Limits
from upmast.line.line import Line
from upmast.line.walk import dc_network
from upmast.power.derive import derive
from upmast.power.findings import found
from upmast.power.heating import LIMIT_C, ampacity_a
from upmast.power.protection import breaker_ohm
from upmast.power.resistance import conductor_ohm_per_km
from upmast.power.state import Inputs, evaluate
from upmast.room import Result
from upmast.site.site import Site
from upmast.source import Mark, Source
from upmast.working import Step

NAME = "power"
VERSION = "1"
CAUTIONS = (
    "A -48 V battery can drive thousands of amperes into a short circuit: burns, arcs, molten metal. Take off rings and watches.",
    "Isolate, lock, label and prove dead before work; opening a breaker does not open the return.",
    "Batteries hold acid and give off hydrogen. Only trained, authorised people work on the plant, by the local rules.",
    "These numbers are a design aid. The data sheets of the parts and the local code for wiring govern.",
)
INSULATION = {"xlpe": "xlpe90", "pvc": "pvc70"}
RUN_KINDS = ("dc-cable",)


def inputs(line: Line, site: Site, scenarios: Sequence[Scenario]) -> Inputs:
    """Read a line into arrays."""
    net = dc_network(line)
    source_node = net.nodes
    runs = sum(item.kind in RUN_KINDS for item in line.items)
    loaded: dict[str, int] = {}
    for joint in line.joints:
        for id, name in joint.ends:
            if name.startswith("foot.dc"):
                loaded[id] = loaded.get(id, 0) + 1
    rows: list[dict[str, object]] = [
        _row("source", "PLANT", "", 0, source_node, 0, fixed=site.cabinet.plant.source_resistance_ohm)
    ]
    ratings: dict[str, float] = {}
    for branch in net.branches:
        item = line.by_id[branch.item]
        part = line.parts[item.part]
        if isinstance(part, Breaker):
            ohm = part.resistance_ohm if part.resistance_ohm is not None else float(breaker_ohm(part.rated_a))
            rows.append(_row("breaker", item.id, part.id, 0, branch.a, branch.b, fixed=ohm))
        elif isinstance(part, Box):
            rows.append(_row("box", item.id, part.id, branch.pair, branch.a, branch.b, fixed=part.path_resistance_ohm))
        elif isinstance(part, Cable):
            count = loaded.get(item.id, 1) if part.pairs_count > 1 else (runs if item.kind in RUN_KINDS else 1)
            arrangement = "bunched" if part.pairs_count > 1 else "ladder"
            name = INSULATION[part.insulation]
            contacts = [line.connector(c) for c in branch.contacts]
            rated, who = _weakest(contacts)
            ratings[item.id] = min(rated, ratings.get(item.id, np.inf))
            area = part.conductor_area_mm2 or 0.0
            # one ampacity for the bundle at 30 C: everything else is a factor on it
            reference = float(ampacity_a(area, name, 30.0, max(count, 1), arrangement))  # type: ignore[arg-type]
            rows.append(
                _row(
                    branch.kind, item.id, part.id, branch.pair, branch.a, branch.b,
                    fixed=sum(c.resistance_ohm for c in contacts), length=item.length_m or 0.0,
                    per_km=conductor_ohm_per_km(area, part.conductor_class, part.tinned), area=area, reference=reference,
                    limit=LIMIT_C[name], insulation=name, circuits=max(count, 1), arrangement=arrangement, rated=rated, who=who,
                )
            )  # fmt: skip
    radios = [line.by_id[id] for id, _, _ in net.loads]
    asked = {radio.id: radio for radio in site.radios}
    parts = [line.parts[r.part] for r in radios]
    assert all(isinstance(p, RadioPart) for p in parts)
    own = [asked.get(r.id) for r in radios]

    def value(name: str) -> np.ndarray:
        typed = [getattr(o, name, None) if o is not None else None for o in own]
        return np.array([t if t is not None else getattr(p, name) for t, p in zip(typed, parts, strict=True)], float)

    minimum_source = []
    for o, p in zip(own, parts, strict=True):
        typed = o is not None and o.minimum_v is not None
        source = Source(f"site {site.id}", "minimum_v", mark=Mark.DECLARED) if typed else p.source_of("minimum_v")
        kept = site.policy.voltage_margin_v
        words = str(source.document) + (f", {source.clause}" if source.clause else "")
        words += f", and policy.voltage_margin_v of {kept:g} V" if kept else ""
        minimum_source.append((words, source.mark.value))
    breakers = [(i, row) for i, row in enumerate(rows) if row["kind"] == "breaker"]
    breaker_parts = [line.parts[str(row["part"])] for _, row in breakers]
    column = {key: [row[key] for row in rows] for key in rows[0]}
    kinds = tuple(str(k) for k in column["kind"])
    branch_from = np.array(column["a"], np.intp)
    branch_to = np.array(column["b"], np.intp)
    used = _pairs_used(line, rows)
    plant = site.cabinet.plant
    battery = None
    if plant.battery is not None:
        b = plant.battery
        full = b.full_v if b.full_v is not None else plant.on_battery_v
        battery = (b.capacity_ah * b.health_fraction, full, plant.end_of_discharge_v, plant.base_load_w, b.peukert)
    return Inputs(
        site=site.id,
        scenarios=tuple(s.id for s in scenarios),
        emf_v=np.array([s.bus_v for s in scenarios]),
        ambient_c=np.array([s.ambient_c for s in scenarios]),
        sun_w_per_m2=np.array([s.sun_w_per_m2 for s in scenarios]),
        load_fraction=np.array([s.load_fraction for s in scenarios]),
        source_ohm=plant.source_resistance_ohm,
        node_count=net.nodes + 1,
        branch_from=branch_from,
        branch_to=branch_to,
        kind=kinds,
        item=tuple(str(x) for x in column["item"]),
        part=tuple(str(x) for x in column["part"]),
        pair=np.array(column["pair"], np.intp),
        length_m=np.array(column["length"], float),
        ohm_per_km=np.array(column["per_km"], float),
        fixed_ohm=np.array(column["fixed"], float),
        contact_a=np.array(column["rated"], float),
        contact=tuple(str(x) for x in column["who"]),
        area_mm2=np.array(column["area"], float),
        reference_a=np.array(column["reference"], float),
        limit_c=np.array(column["limit"], float),
        insulation=tuple(str(x) for x in column["insulation"]),
        circuits=np.array(column["circuits"], np.intp),
        arrangement=tuple(str(x) for x in column["arrangement"]),
        radios=tuple(r.id for r in radios),
        plus=np.array([p for _, p, _ in net.loads], np.intp),
        minus=np.array([m for _, _, m in net.loads], np.intp),
        maximum_w=value("maximum_w"),
        minimum_v=value("minimum_v") + site.policy.voltage_margin_v,
        cut_out_v=value("cut_out_v"),
        maximum_v=value("maximum_v"),
        radio_part=tuple(r.part for r in radios),
        radio_source=tuple(minimum_source),
        radio_declared=tuple(o is not None and o.maximum_w is not None for o in own),
        breakers=tuple(str(row["item"]) for _, row in breakers),
        breaker_branch=np.array([i for i, _ in breakers], np.intp),
        rated_a=np.array([p.rated_a for p in breaker_parts if isinstance(p, Breaker)], float),
        breaking_ka=np.array([p.breaking_ka for p in breaker_parts if isinstance(p, Breaker)], float),
        conventional=np.array([p.conventional_multiple for p in breaker_parts if isinstance(p, Breaker)], float),
        protects=tuple(_protected(i, rows) for i, _ in breakers),
        boxes=_boxes(line, rows),
        pairs_used=used,
        pairs_total=sum(
            p.pairs_count for i in line.of_kind("trunk") for p in [line.parts[i.part]] if isinstance(p, Cable)
        ),
        pairs_fed=sum(line.by_id[id].kind == "trunk" for id, _, _ in used),
        spare_pairs_asked=site.policy.spare_pairs_count,
        positions_free=plant.breaker_positions_count,
        short_circuit_ka=plant.short_circuit_ka,
        must_survive=site.policy.must_survive,
        load_states=tuple((s.load_fraction, s.hours_h) for s in site.policy.load),
        float_v=plant.float_v,
        mean_c=site.climate.mean_c,
        battery=battery,
    )


def _row(
    kind: str, item: str, part: str, pair: int, a: int, b: int, *, fixed: float, length: float = 0.0, per_km: float = 0.0,
    area: float = float("nan"), reference: float = float("inf"), limit: float = 90.0, insulation: str = "", circuits: int = 1,
    arrangement: str = "", rated: float = float("inf"), who: str = "",
) -> dict[str, object]:  # fmt: skip
    return {
        "kind": kind, "item": item, "part": part, "pair": pair, "a": a, "b": b, "fixed": fixed, "length": length, "per_km": per_km,
        "area": area, "reference": reference, "limit": limit, "insulation": insulation, "circuits": circuits,
        "arrangement": arrangement, "rated": rated, "who": who,
    }  # fmt: skip


def _weakest(contacts: Sequence[Connector]) -> tuple[float, str]:
    rated = [(c.rated_a, c.id) for c in contacts if c.rated_a is not None]
    return min(rated) if rated else (float("inf"), "")


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
) -> tuple[tuple[str, float, float, tuple[int, ...], float], ...]:
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
        out.append((item.id, part.output_rated_a, part.total_rated_a, tuple(fed), own))
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
    return derive(inputs, evaluate(inputs), one)


__all__ = ["CAUTIONS", "NAME", "VERSION", "Inputs", "check", "inputs", "working"]
