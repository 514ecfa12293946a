"""What the power room finds in its inputs: voltages, breakers, contacts, spares, energy and battery."""

from __future__ import annotations

import numpy as np

from upmast.finding import Authority, Figure, Finding, Limit, Sense, Verdict, judge
from upmast.limits import Limits
from upmast.power.derive import NOT_POWERED
from upmast.power.network import collapse_factor, thevenin
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
from upmast.source import Mark, Source

MODEL = Source("own derivation: nodal analysis and Newton's method", "checked by ngspice operating points")


def found(inputs: Inputs, limits: Limits) -> Result:
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
            looser = limit is not None and part_limit.tightens(limit)
            looser_words = (
                f"; the limit in force is looser than the {part_limit.value:g} V of the radio's data sheet and margin"
                if looser
                else ""
            )
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
                    note=f"{i.maximum_w[k]:.0f} W at {float(flow.port_a[s, k]):.1f} A; drops out at {i.cut_out_v[k]:g} V{looser_words}",
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

    def _held(self, limit: Limit) -> Limit:
        """A part's or rule's own limit, or the site's where that is tighter."""
        return self.limits.in_force(limit.code, limit) or limit

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
                    "power.design-current", breaker, value, self._held(limit), scenario=i.scenarios[s], missing=() if value is not None else ("an operating point",),
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
                    "power.breaker-protects-pair", breaker, float(i.rated_a[n]), self._held(limit), scenario=i.scenarios[self.low],
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
                        self._held(limit),
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
                        self._held(limit),
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
                    "power.contact-current", item, value, self._held(limit), scenario=i.scenarios[self.low], missing=missing,
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
                        code, box, value, self._held(limit), scenario=i.scenarios[self.low], missing=() if fine else ("an operating point",),
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
                    "power.breaking-capacity", "PLANT", i.short_circuit_ka, self._held(limit), note="prospective fault current that the site declares",
                    remedy="breakers of a higher breaking capacity", items=(i.breakers[weakest],), rank=weakest,
                )
            )  # fmt: skip
        source = Source(f"site {i.site}", "cabinet.plant.breaker_positions_count", mark=Mark.DECLARED)
        limit = Limit("power.breaker-positions", float(i.positions_free), "", Sense.AT_MOST, Authority.SAFETY, source)
        out.append(
            judge(
                "power.breaker-positions", "PLANT", float(len(i.breakers)), self._held(limit), note="one position a breaker",
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
                self._held(limit),
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
                    "all radios at full power, emf falling linearly, charge by Peukert's law",
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
