"""The working of the power room's findings and figures: from the table values to the number shown."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import numpy as np

from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from upmast.finding import Figure, Finding
from upmast.formula import Expr, Sym, max_, min_, sqrt, sum_, symbols
from upmast.power.heating import (
    Arrangement,
    Insulation,
    ampacity_source,
    grouping_factor,
    grouping_source,
    reference_ampacity_a,
)
from upmast.power.network import thevenin
from upmast.power.resistance import tabulated_area_mm2, wire_source
from upmast.power.seen import Seen
from upmast.power.state import Inputs, State, Trunk, network_of, yearly_loss_w
from upmast.power.warmth import surface_c
from upmast.source import Mark, Origin, Source
from upmast.weather.heat import BALANCE, sheath_working
from upmast.working import ChoiceStep, FormulaStep, LookupStep, Quantity, SolvedStep, Step

NOT_POWERED = "it is not connected to the plant on both wires"
OHM = Source("Ohm's and Kirchhoff's laws")
OWN = Source(
    "own derivation: nodal analysis, Newton's method from the no-load voltages", "checked by ngspice operating points"
)
THERMAL = Source("own derivation from IEC 60364-5-52", "rise of temperature with the square of current")
LINE = Source("line.yaml", "length of the item")
SECTION = Source("own derivation: conductors in a disc by multipoles", "checked by finite volumes and IEC 60364-5-52")
SURFACE = Source("IEC 60287-2-1", "2.2.1.1, cables in free air")
SHIELD = Source("IEC 60028", "17.241 Ω mm²/km, over the copper-equivalent section of the shield")


def derive(inputs: Inputs, seen: Seen, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure."""
    maker = Maker(inputs, seen.state)
    code, rank = found.code, found.rank
    s = inputs.scenarios.index(found.scenario) if found.scenario in inputs.scenarios else 0
    if code in ("power.voltage-at-radio", "power.voltage-high"):
        return maker.voltage(rank, s, found.value)
    if code == "power.power-at-radio":
        return maker.voltage(rank, s, float(seen.flow.port_v[s, rank]), found.value)
    if code == "power.operating-point":
        return maker.collapse(found)
    if code == "power.contact-current":
        return maker.current(rank, s, found.value)
    if code == "power.shield-current":
        return maker.current(rank, s, found.value)
    if code == "power.conductor-temperature":
        return maker.sheath_and(rank, s)
    if code == "power.line-loss":
        return maker.loss(found)
    if code == "power.energy":
        return maker.energy(found)
    if code == "power.pair-ampacity":
        return maker.ampacity((rank,), seen)
    # these look at the findings' own modules, which this one must not
    from upmast.power.derive_guards import guard_working
    from upmast.power.derive_outages import outage_working

    return guard_working(maker, seen, found) or outage_working(maker, seen, found) or maker.counted(found)


class Maker:
    def __init__(self, inputs: Inputs, state: State) -> None:
        self.i, self.s = inputs, state
        self.low = int(np.argmin(inputs.emf_v))

    # -- shared steps ----------------------------------------------------------------------------------------------

    def sheath(self, s: int) -> Step:
        words = "sheath without current: what surrounds the conductors"
        i = self.i
        air, sun = float(i.ambient_c[s]), float(i.sun_w_per_m2[s])
        return sheath_working(i.site, i.scenarios[s], float(self.s.sheath_c[s]), air, sun, words)

    def sheath_and(self, b: int, s: int) -> tuple[Step, ...]:
        """What surrounds a conductor, and its temperature from that."""
        return self.temperature(b, s) if self.trunk(b) is not None else (self.sheath(s), *self.temperature(b, s))

    def trunk(self, b: int) -> Trunk | None:
        """The cable whose section tells the heat of a wire, if there is one."""
        return next((t for t in self.i.trunks if b in t.branches), None)

    def section(self, trunk: Trunk, b: int, s: int) -> tuple[Step, ...]:
        """Temperature of a conductor from the section of its cable and all its currents."""
        i, core = self.i, trunk.branches.index(b)
        current = np.nan_to_num(self.s.flow.branch_a[s, list(trunk.branches)])
        ohm = i.ohm_per_km[list(trunk.branches)] / 1000
        theta = self.s.temperature_c[s, list(trunk.branches)]
        alpha = COPPER_TEMPERATURE_COEFFICIENT_PER_K.value
        heat = current**2 * ohm * (1 + alpha * (theta - 20))
        own = surface_c(i, trunk, self.s, s)
        total = float(heat.sum())
        inner = float(theta[core]) - own - trunk.heat.sheath_resistance * total
        result = Quantity(
            "theta", float(theta[core]), "°C", f"conductor of {i.item[b]}, pair {i.pair[b]}", Origin.EXPECTED, SECTION
        )
        check = FormulaStep(
            result, Sym("theta_s") + Sym("T_sh") * Sym("q") + Sym("delta_i"),
            (
                Quantity("theta_s", own, "°C", f"surface of {trunk.item}, sun and air included", Origin.EXPECTED, SURFACE),
                Quantity("T_sh", float(trunk.heat.sheath_resistance), "K·m/W", "thermal resistance of the sheath", Origin.EXPECTED, SECTION),
                Quantity("q", total, "W/m", "heat of all its conductors", Origin.EXPECTED, OHM),
                Quantity("delta_i", inner, "K", "from the sheath to this conductor: own heat and that of its neighbours, by the matrix of the section", Origin.EXPECTED, SECTION),
            ),
        )  # fmt: skip
        return (
            SolvedStep(
                (result,),
                f"{len(trunk.branches)} cores of {trunk.item} in one disc, multipoles at each, images in the sheath; the surface gives its heat to the air by IEC 60287-2-1",
                "settled with the load flow to 0.01 K",
                "one balance: heat out rises with the surface temperature faster than heat in",
                (check,),
            ),
        )

    def temperature(self, b: int, s: int) -> tuple[Step, ...]:
        """Temperature of a conductor from its current."""
        i = self.i
        trunk = self.trunk(b)
        if trunk is not None:
            return self.section(trunk, b, s)
        theta_s, limit, current, iz, rise = symbols("theta_s theta_max I I_z30 theta")
        reference = Quantity(
            "I_t",
            float(reference_ampacity_a(tabulated_area_mm2(float(i.area_mm2[b])), cast(Insulation, i.insulation[b]))),
            "A",
            f"ampacity of {i.area_mm2[b]:g} mm² alone at 30 °C",
            Origin.LISTED,
            ampacity_source(),
        )
        factor = Quantity(
            "f_g",
            float(grouping_factor(int(i.circuits[b]), cast(Arrangement, i.arrangement[b]))),
            "",
            f"factor for {i.circuits[b]} loaded circuits, {i.arrangement[b].replace('_', ' ')}",
            Origin.LISTED,
            grouping_source(int(i.circuits[b]), cast(Arrangement, i.arrangement[b])),
        )
        made = Quantity(
            "I_z30", float(i.reference_a[b]), "A", "ampacity in its bundle at 30 °C", Origin.EXPECTED, THERMAL
        )
        amps = float(abs(self.s.flow.branch_a[s, b]))
        inputs = (
            Quantity("theta_s", float(self.s.sheath_c[s]), "°C", "around the conductor", Origin.EXPECTED, BALANCE),
            Quantity(
                "theta_max", float(i.limit_c[b]), "°C", "limit of the insulation", Origin.LISTED, ampacity_source()
            ),
            Quantity("I", amps, "A", "current of the conductor", Origin.EXPECTED, OWN),
            made,
        )
        expression = theta_s + (limit - 30) * (current / iz) ** 2
        value = expression.value({q.symbol: q.value for q in inputs})
        result = Quantity("theta", value, "°C", f"conductor of {i.item[b]}", Origin.EXPECTED, THERMAL)
        del rise
        return (
            LookupStep(
                reference,
                "IEC 60364-5-52, two loaded conductors, free air",
                f"{i.area_mm2[b]:g} mm², {i.insulation[b]}",
            ),
            LookupStep(factor, "IEC 60364-5-52 table B.52.17", f"{i.circuits[b]} circuits, {i.arrangement[b]}"),
            FormulaStep(made, Sym("I_t") * Sym("f_g"), (reference, factor)),
            FormulaStep(result, expression, inputs),
        )

    def resistance(self, b: int, s: int) -> FormulaStep:
        """Resistance of one wire with its contacts."""
        i = self.i
        alpha = COPPER_TEMPERATURE_COEFFICIENT_PER_K
        r20, length, theta, contacts, a20 = symbols("r_20 L theta R_c alpha_20")
        inputs = (
            Quantity("r_20", float(i.ohm_per_km[b]), "Ω/km", f"conductor of {i.area_mm2[b]:g} mm² at 20 °C, highest", *self._size(b)),
            Quantity("L", float(i.length_m[b]), "m", f"length of {i.item[b]}, one way", Origin.EXPECTED, LINE),
            Quantity("alpha_20", alpha.value, "1/K", "temperature coefficient of copper", Origin.LISTED, alpha.source),
            Quantity("theta", float(self.s.used_c[s, b]), "°C", "conductor, settled with its current", Origin.EXPECTED, THERMAL),
            Quantity("R_c", float(i.fixed_ohm[b]), "Ω", "contacts at its ends", Origin.LISTED, Source("connectors of the catalogue", "resistance_ohm", mark=Mark.INVENTED)),
        )  # fmt: skip
        expression = r20 * length / 1000 * (1 + a20 * (theta - 20)) + contacts
        result = Quantity(self._name(b), float(self.s.branch_ohm[s, b]), "Ω", self._words(b), Origin.EXPECTED, OHM)
        return FormulaStep(result, expression, inputs)

    def _size(self, b: int) -> tuple[Origin, Source]:
        """Where the resistance per kilometre of a wire comes from."""
        i = self.i
        if i.kind[b] == "shield":
            return Origin.EXPECTED, SHIELD
        if i.ohm_source[b].startswith("site,"):
            return Origin.DECLARED, Source(f"site {i.site}", i.ohm_source[b].removeprefix("site, "), mark=Mark.DECLARED)
        if i.ohm_source[b]:
            return Origin.LISTED, Source(i.ohm_source[b], mark=Mark.INVENTED)
        return Origin.LISTED, wire_source(float(i.area_mm2[b]))

    def _name(self, b: int) -> str:
        return f"R_{b}"

    def _words(self, b: int) -> str:
        i = self.i
        pair = f", pair {i.pair[b]}" if i.pair[b] and i.length_m[b] > 0 else ""
        kind = {
            "line": "line wire",
            "return": "return wire",
            "box": "path in the box",
            "source": "plant behind its bars",
            "shield": "shield",
            "bond": "bond of the return at",
        }.get(i.kind[b], i.kind[b])
        return f"{kind} of {i.item[b]}{pair}"

    def _fixed(self, b: int) -> tuple[Origin, Source]:
        """Where the resistance of something without a length comes from."""
        i = self.i
        if i.kind[b] == "source":
            return Origin.DECLARED, Source(f"site {i.site}", "cabinet.plant.source_resistance_ohm", mark=Mark.DECLARED)
        if i.kind[b] in ("bond", "shield"):
            return Origin.DECLARED, Source(f"site {i.site}", "cabinet.plant.return_bond_ohm", mark=Mark.DECLARED)
        if i.kind[b] == "box":
            return Origin.LISTED, Source(f"part {i.part[b]}", "path_resistance_ohm", mark=Mark.INVENTED)
        return Origin.LISTED, Source(f"part {i.part[b]}, or a typical value of its rating", mark=Mark.INVENTED)

    def path(self, k: int, s: int) -> list[tuple[int, float]]:
        """Branches from the emf to the radio and back, each with the sign of the walk; along the larger currents."""
        i = self.i
        out: list[tuple[int, float]] = []
        current = self.s.flow.branch_a[s]
        for start, end in ((i.node_count - 1, int(i.plus[k])), (int(i.minus[k]), 1)):
            before: dict[int, tuple[int, int, float]] = {start: (-1, -1, 1.0)}
            wave = [start]
            while wave and end not in before:
                node = wave.pop(0)
                ways = [
                    (abs(float(current[b])), b, int(v), 1.0)
                    for b, (u, v) in enumerate(zip(i.branch_from, i.branch_to, strict=True))
                    if u == node
                ]
                ways += [
                    (abs(float(current[b])), b, int(u), -1.0)
                    for b, (u, v) in enumerate(zip(i.branch_from, i.branch_to, strict=True))
                    if v == node
                ]
                for _, b, other, sign in sorted(ways, reverse=True):
                    if other not in before:
                        before[other] = (node, b, sign)
                        wave.append(other)
            node, leg = end, []
            while node != start:
                node, b, sign = before[node]
                leg.append((b, sign))
            out += reversed(leg)
        return out

    # -- findings --------------------------------------------------------------------------------------------------

    def voltage(self, k: int, s: int, value: float | None, watts: float | None = None) -> tuple[Step, ...]:
        """Voltage at a radio from the emf and every drop on the way; with `watts` on to its power."""
        i, flow = self.i, self.s.flow
        if value is None or i.plus[k] < 0:
            return self.no_solution(k, s)
        steps: list[Step] = [self.sheath(s)]
        path = [(b, sign) for b, sign in self.path(k, s) if i.converter is None or i.kind[b] != "source"]
        if i.converter is not None:
            steps.append(self.converter(s))
        hottest = next((b for b, _ in path if i.kind[b] == "line"), None)
        if hottest is not None:
            steps += self.temperature(hottest, s)
        steps += [self.resistance(b, s) for b, _ in path if i.length_m[b] > 0]
        terms: list[Expr] = []
        if i.converter is None:
            declared = Source(f"site {i.site}", "cabinet.plant", mark=Mark.DECLARED)
            words = f"emf of the plant, scenario {i.scenarios[s]}"
            inputs = [Quantity("E", float(i.emf_v[s]), "V", words, Origin.DECLARED, declared)]
        else:
            inputs = [Quantity("E", float(flow.start_v[s]), "V", "output of the converter", Origin.EXPECTED, OWN)]
        for b, sign in path:
            r, a = Sym(f"R_{b}"), Sym(f"I_{b}")
            terms.append(r * a)
            origin, source = (Origin.EXPECTED, OHM) if i.length_m[b] > 0 else self._fixed(b)
            inputs.append(Quantity(f"R_{b}", float(self.s.branch_ohm[s, b]), "Ω", self._words(b), origin, source))
            inputs.append(
                Quantity(
                    f"I_{b}",
                    float(sign * flow.branch_a[s, b]),
                    "A",
                    f"current in the {self._words(b)}",
                    Origin.EXPECTED,
                    OWN,
                )
            )
        at_radio = float(flow.port_v[s, k])
        volts = Quantity("V", at_radio, "V", f"voltage at {i.radios[k]}", Origin.EXPECTED, OHM)
        drop = FormulaStep(volts, Sym("E") - sum_(terms), tuple(inputs))
        power = float(self.s.power_w[s, k])
        amps = Quantity("I", float(flow.port_a[s, k]), "A", "current drawn", Origin.EXPECTED, OWN)
        p = Quantity(
            "P",
            power,
            "W",
            f"input power of {i.radios[k]}",
            Origin.DECLARED if i.radio_declared[k] else Origin.LISTED,
            Source(f"site {i.site}", f"maximum_w of {i.radios[k]}", mark=Mark.DECLARED)
            if i.radio_declared[k]
            else Source(f"part {i.radio_part[k]}", "maximum_w", mark=Mark.INVENTED),
        )
        load = self._load(k, p, volts, amps, bool(flow.limited[s, k]))
        certificate = (
            "the matrix test holds: this is the high-voltage solution, the only stable one"
            if flow.certified[s]
            else "found from the no-load voltages; not certified"
        )
        steps.append(
            SolvedStep(
                (volts, amps),
                f"V = V_oc - Z·(P/V) for all {len(i.radios)} radios together, {flow.iterations} Newton steps, resistance and temperature settled in {self.s.rounds} rounds",
                f"{flow.residual_v[s]:.1e} V",
                certificate,
                (drop, load),
            )
        )
        if watts is not None:
            got = Quantity("P_in", watts, "W", f"input power of {i.radios[k]}", Origin.EXPECTED, OHM)
            steps.append(FormulaStep(got, Sym("V") * Sym("I"), (volts, amps)))
        elif abs((value or 0.0) - at_radio) > 1e-9:
            over = Quantity(
                "V_reg",
                i.regulation_v,
                "V",
                "how far the output may stand above what it is set to",
                Origin.DECLARED,
                Source(f"site {i.site}", "cabinet.plant.converter.regulation_v", mark=Mark.DECLARED),
            )
            steps.append(
                FormulaStep(
                    Quantity("V_max", value or 0.0, "V", "highest voltage there", Origin.EXPECTED, OHM),
                    Sym("V") + Sym("V_reg"),
                    (volts, over),
                )
            )
        return tuple(steps)

    def _load(self, k: int, power: Quantity, volts: Quantity, amps: Quantity, limited: bool) -> FormulaStep:
        """The current that a radio draws at its voltage."""
        i = self.i
        at = Quantity(
            "V_r",
            float(i.rated_v[k]),
            "V",
            "voltage at which it draws its power",
            Origin.LISTED,
            Source(f"part {i.radio_part[k]}", "rated_v", mark=Mark.INVENTED),
        )
        asked = replace(power, value=float(i.maximum_w[k] * self.fraction(volts, k)))
        if limited:
            most = Quantity(
                "I_lim",
                float(i.limit_a[k]),
                "A",
                "its highest input current",
                Origin.LISTED,
                Source(f"part {i.radio_part[k]}", "current_limit_a", mark=Mark.INVENTED),
            )
            return FormulaStep(amps, 1 * Sym("I_lim"), (most,))
        if i.draws[k] == "current":
            return FormulaStep(amps, Sym("P") / Sym("V_r"), (asked, at))
        if i.draws[k] == "resistance":
            return FormulaStep(amps, Sym("P") / Sym("V_r") ** 2 * Sym("V"), (asked, at, volts))
        return FormulaStep(amps, Sym("P") / Sym("V"), (power, volts))

    def fraction(self, volts: Quantity, k: int) -> float:
        """Share of full load in the scenario in which a radio stands at a voltage."""
        rows = np.flatnonzero(self.s.flow.port_v[:, k] == volts.value)
        return float(self.i.load_fraction[int(rows[0])]) if rows.size else 1.0

    def converter(self, s: int) -> Step:
        """What the converter gives and takes."""
        i, flow, c = self.i, self.s.flow, self.i.converter
        assert c is not None
        declared = Source(f"site {i.site}", "cabinet.plant.converter", mark=Mark.DECLARED)
        out = Quantity("V_out", float(flow.start_v[s]), "V", "output voltage of the converter", Origin.EXPECTED, OWN)
        amps = Quantity(
            "I_out", float(flow.converter_w[s] / flow.start_v[s]), "A", "output current", Origin.EXPECTED, OWN
        )
        taken = Quantity("P_in", float(flow.input_w[s]), "W", "input power of the converter", Origin.EXPECTED, OWN)
        rise = FormulaStep(
            out, min_(Sym("V_set") + Sym("R_c") * Sym("I_out"), Sym("V_m")),
            (
                Quantity("V_set", float(c.set_v), "V", "set voltage", Origin.DECLARED, declared),
                Quantity("R_c", float(c.compensation_ohm), "Ω", "compensation of the line", Origin.DECLARED, declared), amps,
                Quantity("V_m", float(c.maximum_v), "V", "highest output voltage", Origin.DECLARED, declared),
            ),
        )  # fmt: skip
        asked = FormulaStep(
            taken, Sym("V_out") * Sym("I_out") / Sym("eta") + Sym("P_0"),
            (
                out, amps, Quantity("eta", float(c.efficiency_fraction), "", "efficiency", Origin.DECLARED, declared),
                Quantity("P_0", float(c.idle_w), "W", "input power without load", Origin.DECLARED, declared),
            ),
        )  # fmt: skip
        return SolvedStep(
            (out, taken), f"output found between {float(c.set_v):g} and {float(c.maximum_v):g} V; at the bars {flow.bars_v[s]:.2f} V, {flow.plant_a[s]:.1f} A of the plant",
            f"{flow.residual_v[s]:.1e} V", "the output falls as the current does: there is one crossing", (rise, asked),
        )  # fmt: skip

    def no_solution(self, k: int, s: int) -> tuple[Step, ...]:
        i = self.i
        if i.plus[k] < 0 or i.minus[k] < 0:
            return (ChoiceStep(NOT_POWERED, "walk from the plant's bars over joints, breakers, pairs and boxes"),)
        seen = thevenin(network_of(i, self.s.branch_ohm[s], np.asarray(i.emf_v[s])))
        voc, z = float(seen.voc_v[k]), float(seen.z_ohm[k, k])
        result = Quantity(
            "P_max",
            voc**2 / (4 * z),
            "W",
            f"largest power that the line can deliver to {i.radios[k]} alone",
            Origin.EXPECTED,
            OHM,
        )
        inputs = (
            Quantity("V_oc", voc, "V", "voltage without load", Origin.EXPECTED, OWN),
            Quantity("Z", z, "Ω", "resistance seen from the radio", Origin.EXPECTED, OWN),
        )
        return (self.sheath(s), FormulaStep(result, Sym("V_oc") ** 2 / (4 * Sym("Z")), inputs))

    def collapse(self, found: Finding | Figure) -> tuple[Step, ...]:
        factor = Quantity("lambda", found.value or 0.0, "", "largest common factor on all loads", Origin.EXPECTED, OWN)
        return (
            SolvedStep(
                (factor,),
                "bisection between a factor whose solution is certified and one that has none",
                "relative width 1e-4, the safe end is shown",
                "Newton from the no-load voltages falls to the solution whenever there is one",
            ),
        )

    def current(self, b: int, s: int, value: float | None) -> tuple[Step, ...]:
        """Largest current of a branch."""
        result = Quantity("I_b", value or 0.0, "A", self._words(b), Origin.EXPECTED, OWN)
        behind = self._behind(b, s)
        checks: tuple[FormulaStep, ...] = ()
        if behind and len(behind) <= 16:
            inputs = tuple(
                Quantity(
                    f"I_{n}",
                    float(self.s.flow.port_a[s, k]),
                    "A",
                    f"current of {self.i.radios[k]}, P/V",
                    Origin.EXPECTED,
                    OWN,
                )
                for n, k in enumerate(behind, 1)
            )
            total: Expr = sum_([Sym(q.symbol) for q in inputs])
            if abs(total.value({q.symbol: q.value for q in inputs}) - result.value) < 1e-6:
                checks = (FormulaStep(result, total, inputs),)
        return (
            SolvedStep(
                (result,), f"load flow of all radios together, scenario {self.i.scenarios[s]}", f"{self.s.flow.residual_v[s]:.1e} V",
                "Kirchhoff's current law", checks,
            ),
        )  # fmt: skip

    def _behind(self, b: int, s: int) -> list[int]:
        """Radios fed through a branch and nothing else: it carries just their currents."""
        i = self.i
        nodes, wave = {int(i.branch_to[b])}, [int(i.branch_to[b])]
        while wave:
            node = wave.pop()
            for c, (u, v) in enumerate(zip(i.branch_from, i.branch_to, strict=True)):
                if i.kind[c] in ("line", "box") and int(u) == node and int(v) not in nodes:
                    nodes.add(int(v))
                    wave.append(int(v))
        return [k for k in range(len(i.radios)) if int(i.plus[k]) in nodes]

    def ampacity(self, group: tuple[int, ...], seen: Seen) -> tuple[Step, ...]:
        """Ampacity of wires in parallel, in the hottest scenario."""
        i, hot = self.i, seen.hot
        b = group[0]
        trunk = self.trunk(b)
        total = float(sum(seen.iz[c] for c in group))
        result = Quantity(
            "I_z", total, "A", f"ampacity of {i.item[b]} there", Origin.EXPECTED, THERMAL if trunk is None else SECTION
        )
        if trunk is not None:
            words = ", ".join(str(int(i.pair[c])) for c in group)
            return (
                *self.section(trunk, b, hot),
                SolvedStep(
                    (result,),
                    f"the current of pair {words} of {trunk.item} is raised, the other pairs keep theirs, until the hottest conductor stands at {trunk.limit_c:g} °C",
                    "1 mK",
                    "every temperature rises with every current",
                ),
            )
        steps = [self.sheath(hot), *self.temperature(b, hot)[:3]]
        reference, limit, theta, n = symbols("I_z30 theta_max theta_s n")
        inputs = (
            Quantity("I_z30", float(i.reference_a[b]), "A", "ampacity in its bundle at 30 °C", Origin.EXPECTED, THERMAL),
            Quantity("theta_max", float(i.limit_c[b]), "°C", "limit of the insulation", Origin.LISTED, ampacity_source()),
            Quantity("theta_s", float(self.s.sheath_c[hot]), "°C", "around the conductor", Origin.EXPECTED, BALANCE),
            Quantity("n", float(len(group)), "", "pairs in parallel", Origin.EXPECTED, LINE),
        )  # fmt: skip
        expression = n * reference * sqrt(max_(limit - theta, 0) / (limit - 30))
        return (*steps, FormulaStep(result, expression, inputs))

    def loss(self, found: Finding | Figure) -> tuple[Step, ...]:
        i = self.i
        s = i.scenarios.index(found.scenario)
        flow = self.s.flow
        inputs = [
            Quantity("P_s", float(flow.source_w[s] if i.converter is None else flow.converter_w[s]), "W", "power of the emf" if i.converter is None else "output of the converter", Origin.EXPECTED, OWN),
            Quantity("P_r", float(self.s.power_w[s].sum()), "W", "power of all radios", Origin.LISTED, Source("radios of the site", "maximum_w", mark=Mark.INVENTED)),
        ]  # fmt: skip
        expression: Expr = Sym("P_s") - Sym("P_r")
        if i.converter is None:
            declared = Source(f"site {i.site}", "cabinet.plant.source_resistance_ohm", mark=Mark.DECLARED)
            inputs += [
                Quantity("r_0", i.source_ohm, "Ω", "resistance of the plant, which is not the line", Origin.DECLARED, declared),
                Quantity("I_0", float(flow.branch_a[s, 0]), "A", "current of the plant", Origin.EXPECTED, OWN),
                Quantity("P_b", i.base_w, "W", "other load at the bars", Origin.DECLARED, Source(f"site {i.site}", "cabinet.plant.base_load_w", mark=Mark.DECLARED)),
            ]  # fmt: skip
            expression = expression - Sym("P_b") - Sym("r_0") * Sym("I_0") ** 2
        result = Quantity("P_loss", found.value or 0.0, "W", "heat in the line", Origin.EXPECTED, OHM)
        return (FormulaStep(result, expression, tuple(inputs)),)

    def energy(self, found: Finding | Figure) -> tuple[Step, ...]:
        loss = yearly_loss_w(self.i)
        inputs: list[Quantity] = []
        terms: list[Expr] = []
        for n, ((fraction, hours), watts) in enumerate(zip(self.i.load_states, loss, strict=True), 1):
            inputs.append(
                Quantity(
                    f"t_{n}",
                    hours,
                    "h",
                    f"hours a day at {fraction:.0%} load",
                    Origin.DECLARED,
                    Source(f"site {self.i.site}", "policy.load", mark=Mark.DECLARED),
                )
            )
            inputs.append(
                Quantity(
                    f"P_{n}",
                    float(watts),
                    "W",
                    f"heat in the line at {fraction:.0%} load, on float, mean air",
                    Origin.EXPECTED,
                    OWN,
                )
            )
            terms.append(Sym(f"t_{n}") * Sym(f"P_{n}"))
        result = Quantity("W", found.value or 0.0, "kWh", "energy lost in a year", Origin.EXPECTED, OWN)
        return (FormulaStep(result, 365.25 * sum_(terms) / 1000, tuple(inputs)),)

    def counted(self, found: Finding | Figure) -> tuple[Step, ...]:
        return (
            ChoiceStep(
                f"{found.value:g} {found.unit}".strip() if found.value is not None else "none",
                found.note or "counted on the line",
            ),
        )
