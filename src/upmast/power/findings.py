"""What the power room finds in its inputs: voltages, currents of contacts and boxes, spares, energy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from upmast.finding import Authority, Figure, Finding, Limit, Sense, Verdict, judge
from upmast.limits import Limits
from upmast.power.derive import NOT_POWERED
from upmast.power.guards import guard_figures, guard_findings
from upmast.power.network import collapse_factor, deliverable_w
from upmast.power.outages import outage_figures, outage_findings
from upmast.power.seen import MODEL, Seen
from upmast.power.state import Inputs, evaluate, flow_of, hung, loads_of, network_of, repeated, yearly_loss_w
from upmast.power.warmth import RUNAWAY_C
from upmast.room import Result
from upmast.source import Mark, Source

MOST_FACTOR = 64.0  # of the search behind a converter


def found(inputs: Inputs, limits: Limits) -> Result:
    """Findings and figures of the room."""
    seen = Seen(inputs, limits, evaluate(inputs))
    findings = (
        *_operating_point(seen), *_voltages(seen), *_high_voltages(seen), *_limited(seen), *_converter(seen),
        *guard_findings(seen), *_contacts(seen), *_totals(seen), *_box_currents(seen), *_positions(seen), *_spares(seen),
        *outage_findings(seen),
    )  # fmt: skip
    figures = (*outage_figures(seen), *_heat(seen), *_energy(seen), *_shield(seen), *guard_figures(seen))
    return Result(findings, figures)


def _operating_point(seen: Seen) -> list[Finding]:
    i, s, low = seen.i, seen.state, seen.low
    factor = float("inf")
    if i.converter is not None:
        factor = _factor_through_converter(seen)
    elif s.power_w[low].sum() > 0:
        base = i.base_w > 0
        network = network_of(i, s.branch_ohm[low], np.asarray(i.emf_v[low]), base)
        factor = float(collapse_factor(network, loads_of(i, i.load_fraction[low], base), 1e-4))
    note = "largest factor on all loads together with which an operating point exists"
    if i.converter is not None:
        note += ", in the line, in the converter's limit and in the plant"
    return [
        judge(
            "power.operating-point", i.site, min(factor, 1e3), seen.limits.get("power.operating-point"), scenario=i.scenarios[low],
            note=note, remedy="thicker or more pairs, a shorter line, or less power",
        )
    ]  # fmt: skip


def _factor_through_converter(seen: Seen) -> float:
    """As `collapse_factor`, with the converter and the plant behind it: by sections, the safe end of the last one."""
    i, low = seen.i, seen.low
    lowest, highest = 0.0, MOST_FACTOR
    for _ in range(5):
        share = np.linspace(lowest, highest, 17)
        rows = replace(repeated(seen.state.rows, low, 17), load_fraction=share * i.load_fraction[low])
        flow = flow_of(i, np.repeat(seen.state.branch_ohm[low][None], 17, axis=0), rows)
        holds = int(np.logical_and.accumulate(flow.exists).sum())
        if holds in (0, 17):
            return float(share[max(holds - 1, 0)])
        lowest, highest = float(share[holds - 1]), float(share[holds])
    return lowest


def _voltages(seen: Seen) -> list[Finding]:
    i, flow = seen.i, seen.flow
    hung_up = hung(i)
    out = []
    for k, radio in enumerate(i.radios):
        own = seen.minimum("power.voltage-at-radio", k)
        limit = seen.limits.in_force("power.voltage-at-radio", own)
        looser = limit is not None and own.tightens(limit)
        looser_words = (
            f"; the limit in force is looser than the {own.value:g} V of the radio's data sheet and margin"
            if looser
            else ""
        )
        dead = [s for s in seen.full if not flow.exists[s]]
        remedy = "thicker or more pairs, a shorter jumper, or a higher end of discharge"
        items = (radio, *seen.feeders[k])
        if not hung_up[k]:
            out.append(
                Finding(
                    "power.voltage-at-radio", radio, Verdict.FAILS, None, "V", limit, None, i.scenarios[seen.low], NOT_POWERED,
                    "join its DC port to a fed pair on both wires", items=items, rank=k,
                )
            )  # fmt: skip
            continue
        if dead:
            out.append(
                Finding(
                    "power.voltage-at-radio", radio, Verdict.FAILS, None, "V", limit, None, i.scenarios[dead[0]],
                    _no_operating_point(seen, k, dead[0]), remedy, items=items, rank=k,
                )
            )  # fmt: skip
            continue
        s = min(seen.full, key=lambda s: float(flow.port_v[s, k]))
        out.append(
            judge(
                "power.voltage-at-radio", radio, float(flow.port_v[s, k]), limit, scenario=i.scenarios[s],
                note=f"{seen.state.power_w[s, k]:.0f} W at {float(flow.port_a[s, k]):.1f} A; drops out at {i.cut_out_v[k]:g} V{looser_words}",
                remedy=remedy, items=items, rank=k,
            )
        )  # fmt: skip
    return out


def _no_operating_point(seen: Seen, k: int, s: int) -> str:
    i = seen.i
    if i.converter is not None:
        return "no operating point: the line, the converter or the plant can't deliver what is asked"
    network = network_of(i, seen.state.branch_ohm[s], np.asarray(i.emf_v[s]))
    alone = deliverable_w(network, loads_of(i, i.load_fraction[s]))
    return f"no operating point: the line could deliver at most {alone[k]:.0f} W to it, alone, and it draws {i.maximum_w[k]:.0f} W"


def _high_voltages(seen: Seen) -> list[Finding]:
    i, flow, s = seen.i, seen.flow, seen.light
    out = []
    over = f", its output {i.regulation_v:g} V above what it is set to" if i.regulation_v else ""
    for k, radio in enumerate(i.radios):
        source = Source(f"part {i.radio_part[k]}", "maximum_v", mark=Mark.INVENTED)
        part = Limit("power.voltage-high", float(i.maximum_v[k]), "V", Sense.AT_MOST, Authority.PART, source)
        value = float(flow.port_v[s, k]) + i.regulation_v if flow.exists[s] and i.plus[k] >= 0 else None
        out.append(
            judge(
                "power.voltage-high", radio, value, seen.limits.in_force("power.voltage-high", part), scenario=i.scenarios[s],
                missing=() if value is not None else ("an operating point",),
                note=("on float with hardly any load" if i.converter is None else f"behind the converter with hardly any load{over}"),
                remedy="a lower float voltage" if i.converter is None else "a lower output of the converter", items=(radio,), rank=k,
            )
        )  # fmt: skip
    return out


def _limited(seen: Seen) -> list[Finding]:
    """Radios with a current limit: do they still get all their power?"""
    i, flow = seen.i, seen.flow
    out = []
    for k in np.flatnonzero(np.isfinite(i.limit_a) & (np.array(i.draws) == "power")):
        source = Source(f"part {i.radio_part[k]}", "maximum_w", mark=Mark.INVENTED)
        limit = Limit("power.power-at-radio", float(i.maximum_w[k]), "W", Sense.AT_LEAST, Authority.PART, source)
        fine = bool(flow.exists[seen.low])
        s = min(seen.full, key=lambda s: float(np.nan_to_num(seen.state.power_w[s, k])))
        out.append(
            judge(
                "power.power-at-radio", i.radios[k], float(seen.state.power_w[s, k]) if fine else None, seen.held(limit),
                scenario=i.scenarios[s], missing=() if fine else ("an operating point",),
                note=f"its input current is limited to {i.limit_a[k]:g} A", remedy="thicker or more pairs, or a shorter line",
                items=(i.radios[k],), rank=int(k),
            )
        )  # fmt: skip
    return out


def _converter(seen: Seen) -> list[Finding]:
    i, flow, c = seen.i, seen.flow, seen.i.converter
    if c is None:
        return []
    out = []
    highest = float(c.maximum_v) + i.regulation_v
    out.append(
        judge(
            "power.converter-voltage", "PLANT", highest, seen.limits.get("power.converter-voltage"), note="highest output of the converter, its error included",
            remedy="a lower maximum_v of the converter, or protection against touch by the local code",
        )
    )  # fmt: skip
    asked = flow.converter_w[seen.full]
    fine = not np.any(np.isnan(asked))
    s = seen.full[int(np.argmax(asked))] if fine else seen.low
    source = Source(f"site {i.site}", "cabinet.plant.converter.limit_w", mark=Mark.DECLARED)
    known = bool(np.isfinite(c.limit_w))
    own = (
        Limit("power.converter-power", float(c.limit_w), "W", Sense.AT_MOST, Authority.SAFETY, source)
        if known
        else None
    )
    lacking = (() if known else ("limit_w of the converter",)) + (() if fine else ("an operating point",))
    out.append(
        judge(
            "power.converter-power", "PLANT", float(flow.converter_w[s]) if fine else None, seen.held(own) if own else None, unit="W",
            scenario=i.scenarios[s], missing=lacking, note="output power of the converter", remedy="a larger converter, or less power",
        )
    )  # fmt: skip
    return out


def _contacts(seen: Seen) -> list[Finding]:
    """The most loaded contact of each cable that has a rated one."""
    i = seen.i
    out = []
    for item in dict.fromkeys(i.item[b] for b in range(len(i.item)) if np.isfinite(i.contact_a[b])):
        rows = [b for b in range(len(i.item)) if i.item[b] == item and np.isfinite(i.contact_a[b])]
        current = seen.current[:, rows]
        missing = () if not np.any(np.isnan(current[seen.low])) else ("an operating point",)
        peak = np.nanmax(current, axis=0) if not missing else current[seen.low]
        at = int(np.nanargmax(peak / i.contact_a[rows])) if not missing else 0
        b = rows[at]
        s = int(np.nanargmax(current[:, at])) if not missing else seen.low
        source = Source(f"part {i.contact[b]}", "rated_a", mark=Mark.INVENTED)
        limit = Limit("power.contact-current", float(i.contact_a[b]), "A", Sense.AT_MOST, Authority.SAFETY, source)
        out.append(
            judge(
                "power.contact-current", item, float(np.max(peak)) if not missing else None, seen.held(limit), scenario=i.scenarios[s],
                missing=missing, note=f"through one pole of {i.contact[b]}", remedy="a connector of a higher rating, or more pairs",
                items=(item,), rank=b,
            )
        )  # fmt: skip
    return out


def _totals(seen: Seen) -> list[Finding]:
    """All pairs of a cable together, where its data sheet limits that."""
    i = seen.i
    out = []
    for n, (item, part, rated, branches) in enumerate(i.totals):
        total = seen.current[:, list(branches)].sum(axis=1)
        fine = not np.isnan(total[seen.low])
        s = int(np.nanargmax(total)) if fine else seen.low
        source = Source(f"part {part}", "total_rated_a", mark=Mark.INVENTED)
        limit = Limit("power.cable-total-current", rated, "A", Sense.AT_MOST, Authority.SAFETY, source)
        out.append(
            judge(
                "power.cable-total-current", item, float(total[s]) if fine else None, seen.held(limit), scenario=i.scenarios[s],
                missing=() if fine else ("an operating point",), note="line wires of all its pairs together",
                remedy="a cable of a higher rating, or one more cable", items=(item,), rank=n,
            )
        )  # fmt: skip
    return out


def _box_currents(seen: Seen) -> list[Finding]:
    i = seen.i
    out = []
    for n, (box, part, each, total, branches, _) in enumerate(i.boxes):
        if not branches:
            continue
        current = seen.current[:, list(branches)]
        fine = not np.any(np.isnan(current[seen.low]))
        for code, field, rating, column in (
            ("power.box-output-current", "output_rated_a", each, current.max(axis=1)),
            ("power.box-total-current", "total_rated_a", total, current.sum(axis=1)),
        ):
            s = int(np.nanargmax(column)) if fine else seen.low
            source = Source(f"part {part}", field, mark=Mark.INVENTED)
            limit = Limit(code, rating, "A", Sense.AT_MOST, Authority.SAFETY, source)
            out.append(
                judge(
                    code, box, float(column[s]) if fine else None, seen.held(limit), scenario=i.scenarios[s],
                    missing=() if fine else ("an operating point",), note="largest over the scenarios",
                    remedy="a box of a higher rating, or one more box", items=(box,), rank=n,
                )
            )  # fmt: skip
    return out


def _positions(seen: Seen) -> list[Finding]:
    i = seen.i
    source = Source(f"site {i.site}", "cabinet.plant.breaker_positions_count", mark=Mark.DECLARED)
    limit = Limit("power.breaker-positions", float(i.positions_free), "", Sense.AT_MOST, Authority.SAFETY, source)
    return [
        judge(
            "power.breaker-positions", "PLANT", float(len(i.breakers)), seen.held(limit), note="one position a breaker",
            remedy="fewer circuits, or a larger distribution",
        )
    ]  # fmt: skip


def _spares(seen: Seen) -> list[Finding]:
    i = seen.i
    if not i.spare_pairs_asked:
        return []
    source = Source(f"site {i.site}", "policy.spare_pairs_count", mark=Mark.DECLARED)
    limit = Limit("power.spare-pairs", float(i.spare_pairs_asked), "", Sense.AT_LEAST, Authority.OPERATOR, source)
    return [
        judge(
            "power.spare-pairs", i.site, float(i.pairs_total - i.pairs_fed), seen.held(limit),
            note="pairs of the trunks that feed nothing", remedy="a trunk with more pairs",
        )
    ]  # fmt: skip


def _heat(seen: Seen) -> list[Figure]:
    """The hottest conductor of each cable, and how far its pairs are used by heat."""
    i, s = seen.i, seen.state
    wires = np.array([kind in ("line", "return") for kind in i.kind])
    worst = np.where(wires, s.temperature_c.max(axis=0), -np.inf)
    out = []
    for item in dict.fromkeys(i.item[b] for b in np.flatnonzero(wires)):
        rows = [int(b) for b in np.flatnonzero(wires) if i.item[b] == item]
        b = max(rows, key=lambda b: worst[b])
        at = int(np.argmax(s.temperature_c[:, b]))
        note = f"hottest of its conductors; its insulation bears {i.limit_c[b]:g} °C"
        if np.isfinite(i.reference_a[b]) and i.circuits[b] > 1 and i.arrangement[b] == "bunched":
            note += "; by tables with a group factor"
        if worst[b] >= RUNAWAY_C:
            note += ": or more, its heat runs away"
        elif worst[b] > i.limit_c[b]:
            note += ": too hot, see the breaker that protects it"
        out.append(
            Figure("power.conductor-temperature", item, float(worst[b]), "°C", note, MODEL, i.scenarios[at], (item,), b)
        )
        current = seen.current[seen.hot]
        loaded = [b for b in rows if i.kind[b] == "line" and current[b] > 0]
        if loaded:
            b = max(loaded, key=lambda b: current[b] / max(seen.iz[b], 1e-9))
            note = f"of its most used pair, {i.pair[b]}, which carries {current[b]:.1f} A ({100 * current[b] / max(seen.iz[b], 1e-9):.0f} %)"
            out.append(
                Figure(
                    "power.pair-ampacity", item, float(seen.iz[b]), "A", note, MODEL, i.scenarios[seen.hot], (item,), b
                )
            )
    return out


def _energy(seen: Seen) -> list[Figure]:
    i, flow = seen.i, seen.flow
    out = []
    on_float = max(seen.full, key=lambda n: i.emf_v[n])
    if flow.exists[on_float]:
        out.append(
            Figure(
                "power.line-loss", i.site, float(flow.line_loss_w[on_float]), "W", "heat in cables, contacts and breakers", MODEL,
                i.scenarios[on_float],
            )
        )  # fmt: skip
    if i.converter is not None and flow.exists[seen.low]:
        out.append(
            Figure(
                "power.converter-input", "PLANT", float(flow.input_a[seen.low]), "A",
                f"drawn at {flow.bars_v[seen.low]:.1f} V for {flow.converter_w[seen.low]:.0f} W at its output", MODEL, i.scenarios[seen.low],
            )
        )  # fmt: skip
    energy = yearly_loss_w(i)
    if not np.any(np.isnan(energy)):
        hours = np.array([h for _, h in i.load_states])
        note = "a year, by the daily load" + (", converter included" if i.converter is not None else "")
        out.append(
            Figure("power.energy", i.site, float((energy * hours).sum() * 365.25 / 1000), "kWh", note, MODEL, "")
        )
    return out


def _shield(seen: Seen) -> list[Figure]:
    """DC in the shields of a line whose return is bonded at both ends."""
    i = seen.i
    out = []
    for b in (b for b, kind in enumerate(i.kind) if kind == "shield"):
        value, s = seen.largest(b)
        if value is not None:
            note = "return current that the shield carries: it hides a broken return and puts direct current on bonds and clamps"
            out.append(
                Figure("power.shield-current", i.item[b], value, "A", note, MODEL, i.scenarios[s], (i.item[b],), b)
            )
    return out


__all__ = ["found"]
