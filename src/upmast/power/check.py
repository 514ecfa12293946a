"""What the power room sees of a line, and what it finds: voltages, breakers, contacts, spares, energy and battery."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from upmast.catalogue.part import Box, Breaker, Cable, Connector, RadioPart
from upmast.finding import Authority, Figure, Finding, Limit, Scenario, Sense, Verdict, judge
from upmast.limits import Limits
from upmast.line.line import Line
from upmast.line.walk import dc_network
from upmast.power.derive import NOT_POWERED, derive
from upmast.power.heating import LIMIT_C, ampacity_a, reference_ampacity_a
from upmast.power.network import collapse_factor, thevenin
from upmast.power.protection import breaker_ohm
from upmast.power.resistance import conductor_ohm_per_km
from upmast.power.state import (
    Inputs,
    State,
    battery_minutes,
    evaluate,
    hung,
    network_of,
    open_one_pair,
    yearly_loss_w,
)
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
MODEL = Source("own derivation: nodal analysis and Newton's method", "checked by ngspice operating points")
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
        minimum_source.append(
            (str(source.document) + (f", {source.clause}" if source.clause else ""), source.mark.value)
        )
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
        battery = (b.capacity_ah * b.health_fraction, b.full_v, plant.end_of_discharge_v, plant.base_load_w)
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
        minimum_v=value("minimum_v"),
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
    state = evaluate(inputs)
    made = _Findings(inputs, limits, state)
    return Result(tuple(made.findings()), tuple(made.figures()))


class _Findings:
    def __init__(self, inputs: Inputs, limits: Limits, state: State) -> None:
        self.i, self.limits, self.state = inputs, limits, state
        self.low = int(np.argmin(inputs.emf_v))
        self.light = int(np.argmin(inputs.load_fraction))
        hot = float(state.sheath_c.max())
        self.hot_c = hot
        cable = inputs.length_m > 0
        factor = np.ones(cable.size)
        factor[cable] = np.sqrt(np.maximum(inputs.limit_c[cable] - hot, 0) / (inputs.limit_c[cable] - 30.0))
        self.iz = inputs.reference_a * factor
        self.feed = _feeders(inputs)
        self.pair_open: list[tuple[str, float, str]] = self._pair_open()

    def findings(self) -> list[Finding]:
        return [
            *self.operating_point(), *self.voltages(), *self.high_voltages(), *self.breakers(), *self.outputs(), *self.contacts(), *self.box_currents(),
            *self.plant(), *self.spares(), *(self.fault_findings() if "pair-open" in self.i.must_survive else ()),
        ]  # fmt: skip

    def operating_point(self) -> list[Finding]:
        i, s = self.i, self.state
        power = s.power_w[self.low]
        network = network_of(i, s.branch_ohm[self.low], np.asarray(i.emf_v[self.low]))
        factor = float(collapse_factor(network, power, 1e-4)) if power.sum() > 0 else float("inf")
        note = "largest factor on all loads together with which an operating point exists"
        return [
            judge(
                "power.operating-point", i.site, min(factor, 1e3), self.limits.get("power.operating-point"), scenario=i.scenarios[self.low],
                note=note, remedy="thicker or more pairs, a shorter line, or less power",
            )
        ]  # fmt: skip

    def voltages(self) -> list[Finding]:
        i, flow = self.i, self.state.flow
        hung_up = hung(i)
        out = []
        for k, radio in enumerate(i.radios):
            part_limit = self._part_limit("power.voltage-at-radio", k)
            limit = self.limits.in_force("power.voltage-at-radio", part_limit)
            full = [s for s in range(len(i.scenarios)) if i.load_fraction[s] >= 1]
            dead = [s for s in full if not flow.exists[s]]
            remedy = "thicker or more pairs, a shorter jumper, or a higher end of discharge"
            items = (radio, *self.feed[k])
            if not hung_up[k]:
                out.append(
                    Finding(
                        "power.voltage-at-radio", radio, Verdict.FAILS, None, "V", limit, None, i.scenarios[self.low], NOT_POWERED,
                        "join its DC port to a fed pair on both wires", items=items, rank=k,
                    )
                )  # fmt: skip
                continue
            if dead:
                largest = self._deliverable(k, dead[0])
                note = f"no operating point: the line could deliver at most {largest:.0f} W to it, alone, and it draws {i.maximum_w[k]:.0f} W"
                out.append(
                    Finding(
                        "power.voltage-at-radio", radio, Verdict.FAILS, None, "V", limit, None, i.scenarios[dead[0]], note, remedy,
                        items=items, rank=k,
                    )
                )  # fmt: skip
                continue
            s = min(full, key=lambda s: float(flow.port_v[s, k]))
            out.append(
                judge(
                    "power.voltage-at-radio", radio, float(flow.port_v[s, k]), limit, scenario=i.scenarios[s],
                    note=f"{i.maximum_w[k]:.0f} W at {float(flow.port_a[s, k]):.1f} A; drops out at {i.cut_out_v[k]:g} V",
                    remedy=remedy, items=items, rank=k,
                )
            )  # fmt: skip
        return out

    def _part_limit(self, code: str, k: int) -> Limit:
        document, mark = self.i.radio_source[k]
        source = Source(document, mark=Mark(mark))
        return Limit(code, float(self.i.minimum_v[k]), "V", Sense.AT_LEAST, Authority.PART, source)

    def _deliverable(self, k: int, s: int) -> float:
        seen = thevenin(network_of(self.i, self.state.branch_ohm[s], np.asarray(self.i.emf_v[s])))
        return float(seen.voc_v[k] ** 2 / (4 * seen.z_ohm[k, k])) if seen.z_ohm[k, k] > 0 else float("inf")

    def high_voltages(self) -> list[Finding]:
        i, flow = self.i, self.state.flow
        out = []
        for k, radio in enumerate(i.radios):
            source = Source(f"part {i.radio_part[k]}", "maximum_v", mark=Mark.INVENTED)
            part = Limit("power.voltage-high", float(i.maximum_v[k]), "V", Sense.AT_MOST, Authority.PART, source)
            value = float(flow.port_v[self.light, k]) if flow.exists[self.light] and i.plus[k] >= 0 else None
            out.append(
                judge(
                    "power.voltage-high", radio, value, self.limits.in_force("power.voltage-high", part),
                    scenario=i.scenarios[self.light], missing=() if value is not None else ("an operating point",),
                    note="on float with hardly any load", remedy="a lower float voltage", items=(radio,), rank=k,
                )
            )  # fmt: skip
        return out

    def breakers(self) -> list[Finding]:
        i, flow = self.i, self.state.flow
        current = np.abs(np.where(flow.exists[:, None], flow.branch_a, np.nan))
        out = []
        rule = Source("IEC 60364-4-43", "433.1, Ib <= In <= Iz", mark=Mark.PRACTICE)
        for n, breaker in enumerate(i.breakers):
            seen = current[:, i.breaker_branch[n]]
            value = None if np.all(np.isnan(seen)) or np.isnan(seen[self.low]) else float(np.nanmax(seen))
            s = self.low if value is None else int(np.nanargmax(seen))
            limit = Limit("power.design-current", float(i.rated_a[n]), "A", Sense.AT_MOST, Authority.SAFETY, rule)
            out.append(
                judge(
                    "power.design-current", breaker, value, limit, scenario=i.scenarios[s], missing=() if value is not None else ("an operating point",),
                    note="Ib, the largest steady current", remedy="the next larger breaker, if the pair allows it", items=(breaker,), rank=n,
                )
            )  # fmt: skip
            groups = i.protects[n]
            if not groups:
                continue
            weakest = min(groups, key=lambda g: float(sum(self.iz[b] for b in g)))
            iz = float(sum(self.iz[b] for b in weakest))
            who = i.item[weakest[0]]
            limit = Limit("power.breaker-protects-pair", round(iz, 6), "A", Sense.AT_MOST, Authority.SAFETY, rule)
            out.append(
                judge(
                    "power.breaker-protects-pair", breaker, float(i.rated_a[n]), limit, scenario=i.scenarios[self.low],
                    note=f"In against the ampacity of {who} in its bundle, at {self.hot_c:.0f} °C around it",
                    remedy="a smaller breaker or a thicker conductor", items=(breaker, *(i.item[b] for g in groups for b in g)), rank=n,
                )
            )  # fmt: skip
        return out

    def outputs(self) -> list[Finding]:
        """In a bussed box each jumper needs a breaker of its own: behind the bars the pair breakers together feed a fault."""
        i, flow = self.i, self.state.flow
        current = np.abs(np.where(flow.exists[:, None], flow.branch_a, np.nan))
        rule = Source("IEC 60364-4-43", "433.1, Ib <= In <= Iz", mark=Mark.PRACTICE)
        out = []
        for box, _, _, branches, own in i.boxes:
            if own == 0.0:
                continue
            rating = own if np.isfinite(own) else float(i.rated_a.sum())
            who = (
                f"the breaker in each output of {box}"
                if np.isfinite(own)
                else f"no breaker in the outputs of {box}: all pair breakers together"
            )
            for b in branches:
                seen = current[:, b]
                fine = not np.isnan(seen[self.low])
                limit = Limit("power.design-current", rating, "A", Sense.AT_MOST, Authority.SAFETY, rule)
                out.append(
                    judge(
                        "power.design-current",
                        i.item[b],
                        float(np.nanmax(seen)) if fine else None,
                        limit,
                        scenario=i.scenarios[self.low],
                        missing=() if fine else ("an operating point",),
                        note=f"Ib against {who}",
                        remedy="a box with larger output breakers",
                        items=(i.item[b], box),
                        rank=-1 - b,
                    )
                )
                limit = Limit(
                    "power.breaker-protects-pair",
                    round(float(self.iz[b]), 6),
                    "A",
                    Sense.AT_MOST,
                    Authority.SAFETY,
                    rule,
                )
                out.append(
                    judge(
                        "power.breaker-protects-pair",
                        i.item[b],
                        rating,
                        limit,
                        scenario=i.scenarios[self.low],
                        note=f"{who}, against the ampacity of the jumper at {self.hot_c:.0f} °C around it",
                        remedy="a thicker jumper, or a box with smaller output breakers",
                        items=(i.item[b], box),
                        rank=-1 - b,
                    )
                )
        return out

    def contacts(self) -> list[Finding]:
        """The most loaded contact of each cable that has a rated one."""
        i, flow = self.i, self.state.flow
        current = np.abs(np.where(flow.exists[:, None], flow.branch_a, np.nan))
        out = []
        for item in dict.fromkeys(i.item[b] for b in range(len(i.item)) if np.isfinite(i.contact_a[b])):
            rows = [b for b in range(len(i.item)) if i.item[b] == item and np.isfinite(i.contact_a[b])]
            seen = current[:, rows]
            missing = () if not np.any(np.isnan(seen[self.low])) else ("an operating point",)
            peak = np.nanmax(seen, axis=0) if not missing else seen[self.low]
            b = rows[int(np.nanargmax(peak / i.contact_a[rows]))] if not missing else rows[0]
            source = Source(f"part {i.contact[b]}", "rated_a", mark=Mark.INVENTED)
            limit = Limit("power.contact-current", float(i.contact_a[b]), "A", Sense.AT_MOST, Authority.SAFETY, source)
            value = float(np.max(peak)) if not missing else None
            out.append(
                judge(
                    "power.contact-current", item, value, limit, scenario=i.scenarios[self.low], missing=missing,
                    note=f"through one pole of {i.contact[b]}", remedy="a connector of a higher rating, or more pairs",
                    items=(item,), rank=b,
                )
            )  # fmt: skip
        return out

    def box_currents(self) -> list[Finding]:
        i, flow = self.i, self.state.flow
        current = np.abs(np.where(flow.exists[:, None], flow.branch_a, np.nan))
        out = []
        for n, (box, each, total, branches, _) in enumerate(i.boxes):
            if not branches:
                continue
            seen = current[:, list(branches)]
            fine = not np.any(np.isnan(seen[self.low]))
            source = Source(f"box {box}", "output_rated_a and total_rated_a", mark=Mark.INVENTED)
            for code, rating, value in (
                ("power.box-output-current", each, float(np.nanmax(seen)) if fine else None),
                ("power.box-total-current", total, float(np.nanmax(seen.sum(axis=1))) if fine else None),
            ):
                limit = Limit(code, rating, "A", Sense.AT_MOST, Authority.SAFETY, source)
                out.append(
                    judge(
                        code, box, value, limit, scenario=i.scenarios[self.low], missing=() if fine else ("an operating point",),
                        note="largest over the scenarios", remedy="a box of a higher rating, or one more box", items=(box,), rank=n,
                    )
                )  # fmt: skip
        return out

    def plant(self) -> list[Finding]:
        i = self.i
        out = []
        if i.breakers:
            weakest = int(np.argmin(i.breaking_ka))
            source = Source(f"breaker {i.breakers[weakest]}", "breaking_ka", mark=Mark.INVENTED)
            limit = Limit(
                "power.breaking-capacity", float(i.breaking_ka[weakest]), "kA", Sense.AT_MOST, Authority.SAFETY, source
            )
            out.append(
                judge(
                    "power.breaking-capacity", "PLANT", i.short_circuit_ka, limit, note="prospective fault current that the site declares",
                    remedy="breakers of a higher breaking capacity", items=(i.breakers[weakest],), rank=weakest,
                )
            )  # fmt: skip
        source = Source(f"site {i.site}", "cabinet.plant.breaker_positions_count", mark=Mark.DECLARED)
        limit = Limit("power.breaker-positions", float(i.positions_free), "", Sense.AT_MOST, Authority.SAFETY, source)
        out.append(
            judge(
                "power.breaker-positions", "PLANT", float(len(i.breakers)), limit, note="one position a breaker",
                remedy="fewer circuits, or a larger distribution",
            )
        )  # fmt: skip
        return out

    def spares(self) -> list[Finding]:
        i = self.i
        if not i.spare_pairs_asked:
            return []
        spare = i.pairs_total - i.pairs_fed
        source = Source(f"site {i.site}", "policy.spare_pairs_count", mark=Mark.DECLARED)
        limit = Limit("power.spare-pairs", float(i.spare_pairs_asked), "", Sense.AT_LEAST, Authority.OPERATOR, source)
        return [
            judge(
                "power.spare-pairs",
                i.site,
                float(spare),
                limit,
                note="pairs of the trunks that feed nothing",
                remedy="a trunk with more pairs",
            )
        ]

    def _pair_open(self) -> list[tuple[str, float, str]]:
        """Per radio: the lowest voltage with one pair open, and which. NaN: no operating point; 0: not fed."""
        i = self.i
        if not i.pairs_used or not self.state.flow.exists[self.low]:
            return []
        volts, _ = open_one_pair(i, self.state, self.low)
        out = []
        for k, radio in enumerate(i.radios):
            column = np.where(np.isnan(volts[:, k]), -1.0, volts[:, k])
            row = int(np.argmin(column))
            trunk, pair, _ = i.pairs_used[row]
            out.append((radio, float(max(column[row], 0.0)), f"{trunk}-P{pair:02d}"))
        return out

    def fault_findings(self) -> list[Finding]:
        out = []
        for k, (radio, volts, pair) in enumerate(self.pair_open):
            limit = self.limits.in_force("power.pair-open-voltage", self._part_limit("power.pair-open-voltage", k))
            out.append(
                judge(
                    "power.pair-open-voltage", radio, volts, limit, scenario=self.i.scenarios[self.low], note=f"with {pair} open",
                    remedy="two pairs for each radio, or a bussed box", items=(radio, pair.split("-P")[0]), rank=k,
                )
            )  # fmt: skip
        return out

    def figures(self) -> list[Figure]:
        i, s = self.i, self.state
        out = []
        if "pair-open" not in i.must_survive:
            for k, (radio, volts, pair) in enumerate(self.pair_open):
                out.append(
                    Figure(
                        "power.pair-open-figure",
                        radio,
                        volts,
                        "V",
                        f"with {pair} open",
                        MODEL,
                        i.scenarios[self.low],
                        (radio,),
                        k,
                    )
                )
        cable = i.length_m > 0
        worst = np.where(cable, s.temperature_c.max(axis=0), -np.inf)
        for item in dict.fromkeys(i.item[b] for b in range(len(i.item)) if cable[b]):
            rows = [b for b in range(len(i.item)) if i.item[b] == item]
            b = max(rows, key=lambda b: worst[b])
            state = int(np.argmax(s.temperature_c[:, b]))
            note = f"hottest of its conductors; its insulation bears {i.limit_c[b]:g} °C"
            out.append(
                Figure(
                    "power.conductor-temperature",
                    item,
                    float(worst[b]),
                    "°C",
                    note,
                    MODEL,
                    i.scenarios[state],
                    (item,),
                    b,
                )
            )
        full = [n for n in range(len(i.scenarios)) if i.load_fraction[n] >= 1]
        on_float = max(full, key=lambda n: i.emf_v[n])
        if s.flow.exists[on_float]:
            loss = float(
                s.flow.source_w[on_float] - s.power_w[on_float].sum() - i.source_ohm * s.flow.branch_a[on_float, 0] ** 2
            )
            out.append(
                Figure(
                    "power.line-loss",
                    i.site,
                    loss,
                    "W",
                    "heat in cables, contacts and breakers",
                    MODEL,
                    i.scenarios[on_float],
                )
            )
        energy = yearly_loss_w(i)
        if not np.any(np.isnan(energy)):
            hours = np.array([h for _, h in i.load_states])
            out.append(
                Figure(
                    "power.energy",
                    i.site,
                    float((energy * hours).sum() * 365.25 / 1000),
                    "kWh",
                    "a year, by the daily load",
                    MODEL,
                    "",
                )
            )
        minutes = battery_minutes(i, s)
        if np.isfinite(minutes):
            out.append(
                Figure(
                    "power.battery-minutes",
                    i.site,
                    minutes,
                    "min",
                    "all radios at full power, emf falling linearly",
                    MODEL,
                    i.scenarios[self.low],
                )
            )
        seen = thevenin(network_of(i, s.branch_ohm[self.low], np.asarray(i.emf_v[self.low])))
        for k, radio in enumerate(i.radios):
            if i.plus[k] >= 0 and seen.z_ohm[k, k] > 0:
                fault = float(seen.voc_v[k] / seen.z_ohm[k, k])
                note = "a solid short at its terminals, hot conductors, lowest battery"
                out.append(
                    Figure("power.far-end-fault", radio, fault, "A", note, MODEL, i.scenarios[self.low], (radio,), k)
                )
        return out


def _feeders(inputs: Inputs) -> list[tuple[str, ...]]:
    """Items on the way from the plant to each radio: those whose line branch leads, node by node, to its plus node."""
    out = []
    for plus in inputs.plus:
        items: list[str] = []
        wave, seen = [int(plus)], {int(plus)}
        while wave:
            node = wave.pop()
            for b, (start, end) in enumerate(zip(inputs.branch_from, inputs.branch_to, strict=True)):
                if end == node and inputs.kind[b] in ("line", "box", "breaker"):
                    if inputs.item[b] not in items:
                        items.append(inputs.item[b])
                    if int(start) not in seen and start > 1:
                        seen.add(int(start))
                        wave.append(int(start))
        out.append(tuple(reversed(items)))
    return out


def working(inputs: Inputs, limits: Limits, found: Finding | Figure) -> tuple[Step, ...]:
    """The derivation of one finding or figure of this room."""
    return derive(inputs, evaluate(inputs), found)


__all__ = ["CAUTIONS", "NAME", "VERSION", "Inputs", "check", "inputs", "reference_ampacity_a", "working"]
