"""The working of the power room's findings and figures: from the table values to the number shown."""

from __future__ import annotations

from typing import cast

import numpy as np

from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from upmast.finding import Figure, Finding
from upmast.formula import Expr, Sym, max_, sqrt, sum_, symbols
from upmast.power.heating import (
    Arrangement,
    Insulation,
    ampacity_source,
    grouping_factor,
    grouping_source,
    reference_ampacity_a,
)
from upmast.power.network import thevenin
from upmast.power.resistance import conductor_source
from upmast.power.state import Inputs, State, network_of, yearly_loss_w
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


def derive(inputs: Inputs, state: State, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure."""
    maker = _Maker(inputs, state)
    code = found.code
    if code in ("power.voltage-at-radio", "power.voltage-high"):
        s = inputs.scenarios.index(found.scenario) if found.scenario in inputs.scenarios else 0
        return maker.voltage(found.rank, s, found.value)
    if code == "power.operating-point":
        return maker.collapse(found)
    if code == "power.design-current":
        return maker.current(int(inputs.breaker_branch[found.rank]) if found.rank >= 0 else -1 - found.rank, found)
    if code == "power.contact-current":
        return maker.current(found.rank, found)
    if code == "power.breaker-protects-pair":
        return maker.ampacity(found)
    if code == "power.conductor-temperature":
        s = inputs.scenarios.index(found.scenario)
        return (maker.sheath(s), *maker.temperature(found.rank, s))
    if code == "power.line-loss":
        return maker.loss(found)
    if code == "power.energy":
        return maker.energy(found)
    if code == "power.battery-minutes":
        return maker.battery(found)
    if code == "power.far-end-fault":
        return maker.fault(found)
    if code in ("power.pair-open-voltage", "power.pair-open-figure"):
        return (
            ChoiceStep(
                found.note,
                "each used pair is opened in turn; the lowest voltage governs",
                tuple(f"{t}-P{p:02d}" for t, p, _ in inputs.pairs_used),
            ),
        )
    return maker.counted(found)


class _Maker:
    def __init__(self, inputs: Inputs, state: State) -> None:
        self.i, self.s = inputs, state
        self.low = int(np.argmin(inputs.emf_v))

    # -- shared steps ----------------------------------------------------------------------------------------------

    def sheath(self, s: int) -> Step:
        words = "sheath without current: what surrounds the conductors"
        i = self.i
        air, sun = float(i.ambient_c[s]), float(i.sun_w_per_m2[s])
        return sheath_working(i.site, i.scenarios[s], float(self.s.sheath_c[s]), air, sun, words)

    def temperature(self, b: int, s: int) -> tuple[Step, ...]:
        """Temperature of a conductor from its current."""
        i = self.i
        theta_s, limit, current, iz, rise = symbols("theta_s theta_max I I_z30 theta")
        reference = Quantity(
            "I_t",
            float(reference_ampacity_a(i.area_mm2[b], cast(Insulation, i.insulation[b]))),
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
            Quantity("r_20", float(i.ohm_per_km[b]), "Ω/km", f"conductor of {i.area_mm2[b]:g} mm² at 20 °C, highest", Origin.LISTED, conductor_source()),
            Quantity("L", float(i.length_m[b]), "m", f"length of {i.item[b]}, one way", Origin.EXPECTED, LINE),
            Quantity("alpha_20", alpha.value, "1/K", "temperature coefficient of copper", Origin.LISTED, alpha.source),
            Quantity("theta", float(self.s.used_c[s, b]), "°C", "conductor, settled with its current", Origin.EXPECTED, THERMAL),
            Quantity("R_c", float(i.fixed_ohm[b]), "Ω", "contacts at its ends", Origin.LISTED, Source("connectors of the catalogue", "resistance_ohm", mark=Mark.INVENTED)),
        )  # fmt: skip
        expression = r20 * length / 1000 * (1 + a20 * (theta - 20)) + contacts
        result = Quantity(self._name(b), float(self.s.branch_ohm[s, b]), "Ω", self._words(b), Origin.EXPECTED, OHM)
        return FormulaStep(result, expression, inputs)

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
        }.get(i.kind[b], i.kind[b])
        return f"{kind} of {i.item[b]}{pair}"

    def _fixed(self, b: int) -> tuple[Origin, Source]:
        """Where the resistance of something without a length comes from."""
        i = self.i
        if i.kind[b] == "source":
            return Origin.DECLARED, Source(f"site {i.site}", "cabinet.plant.source_resistance_ohm", mark=Mark.DECLARED)
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

    def voltage(self, k: int, s: int, value: float | None) -> tuple[Step, ...]:
        i, flow = self.i, self.s.flow
        if value is None or i.plus[k] < 0:
            return self.no_solution(k, s)
        steps: list[Step] = [self.sheath(s)]
        path = self.path(k, s)
        hottest = next((b for b, _ in path if i.kind[b] == "line"), None)
        if hottest is not None:
            steps += self.temperature(hottest, s)
        steps += [self.resistance(b, s) for b, _ in path if i.length_m[b] > 0]
        terms: list[Expr] = []
        inputs = [
            Quantity(
                "E",
                float(i.emf_v[s]),
                "V",
                f"emf of the plant, scenario {i.scenarios[s]}",
                Origin.DECLARED,
                Source(f"site {i.site}", "cabinet.plant", mark=Mark.DECLARED),
            )
        ]
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
        volts = Quantity("V", value, "V", f"voltage at {i.radios[k]}", Origin.EXPECTED, OHM)
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
        load = FormulaStep(amps, Sym("P") / Sym("V"), (p, volts))
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
        return tuple(steps)

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

    def current(self, b: int, found: Finding | Figure) -> tuple[Step, ...]:
        s = self.i.scenarios.index(found.scenario) if found.scenario in self.i.scenarios else self.low
        result = Quantity("I_b", found.value or 0.0, "A", self._words(b), Origin.EXPECTED, OWN)
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
                (result,),
                f"load flow of all radios together, scenario {self.i.scenarios[s]}",
                f"{self.s.flow.residual_v[s]:.1e} V",
                "Kirchhoff's current law",
                checks,
            ),
        )

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

    def ampacity(self, found: Finding | Figure) -> tuple[Step, ...]:
        i = self.i
        hot = int(np.argmax(self.s.sheath_c))
        assert isinstance(found, Finding)
        assert found.limit is not None
        groups = i.protects[found.rank] if found.rank >= 0 else ((-1 - found.rank,),)

        def iz(b: int) -> float:
            return float(
                i.reference_a[b] * np.sqrt(max(i.limit_c[b] - self.s.sheath_c[hot], 0.0) / (i.limit_c[b] - 30))
            )

        group = min(groups, key=lambda g: sum(iz(b) for b in g))
        b = group[0]
        steps = [self.sheath(hot), *self.temperature(b, hot)[:3]]
        reference, limit, theta, n = symbols("I_z30 theta_max theta_s n")
        inputs = (
            Quantity(
                "I_z30", float(i.reference_a[b]), "A", "ampacity in its bundle at 30 °C", Origin.EXPECTED, THERMAL
            ),
            Quantity(
                "theta_max", float(i.limit_c[b]), "°C", "limit of the insulation", Origin.LISTED, ampacity_source()
            ),
            Quantity("theta_s", float(self.s.sheath_c[hot]), "°C", "around the conductor", Origin.EXPECTED, BALANCE),
            Quantity("n", float(len(group)), "", "pairs in parallel behind the breaker", Origin.EXPECTED, LINE),
        )
        expression = n * reference * sqrt(max_(limit - theta, 0) / (limit - 30))
        result = Quantity(
            "I_z",
            expression.value({q.symbol: q.value for q in inputs}),
            "A",
            f"ampacity of {i.item[b]} there",
            Origin.EXPECTED,
            THERMAL,
        )
        return (*steps, FormulaStep(result, expression, inputs))

    def loss(self, found: Finding | Figure) -> tuple[Step, ...]:
        i = self.i
        s = i.scenarios.index(found.scenario)
        flow = self.s.flow
        inputs = (
            Quantity("P_s", float(flow.source_w[s]), "W", "power of the emf", Origin.EXPECTED, OWN),
            Quantity("P_r", float(self.s.power_w[s].sum()), "W", "power of all radios", Origin.LISTED, Source("radios of the site", "maximum_w", mark=Mark.INVENTED)),
            Quantity("r_0", i.source_ohm, "Ω", "resistance of the plant, which is not the line", Origin.DECLARED, Source(f"site {i.site}", "cabinet.plant.source_resistance_ohm", mark=Mark.DECLARED)),
            Quantity("I_0", float(flow.branch_a[s, 0]), "A", "current of the plant", Origin.EXPECTED, OWN),
        )  # fmt: skip
        result = Quantity("P_loss", found.value or 0.0, "W", "heat in the line", Origin.EXPECTED, OHM)
        return (FormulaStep(result, Sym("P_s") - Sym("P_r") - Sym("r_0") * Sym("I_0") ** 2, inputs),)

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

    def battery(self, found: Finding | Figure) -> tuple[Step, ...]:
        result = Quantity("t", found.value or 0.0, "min", "minutes to the end of discharge", Origin.EXPECTED, OWN)
        return (
            SolvedStep(
                (result,),
                "t = integral of C·(I_10/I)^(k-1) d(dod) / I(E), emf falling linearly from full to end of discharge, 17 points, trapezoids",
                "the current is solved at each point",
                "all radios stay on to the end of discharge; a radio that drops out earlier has a failing voltage of its own",
            ),
        )

    def fault(self, found: Finding | Figure) -> tuple[Step, ...]:
        seen = thevenin(network_of(self.i, self.s.branch_ohm[self.low], np.asarray(self.i.emf_v[self.low])))
        k = found.rank
        inputs = (
            Quantity("V_oc", float(seen.voc_v[k]), "V", "voltage without load", Origin.EXPECTED, OWN),
            Quantity("Z", float(seen.z_ohm[k, k]), "Ω", "plant, breaker, hot pair and jumper", Origin.EXPECTED, OWN),
        )
        result = Quantity("I_f", found.value or 0.0, "A", f"short at {self.i.radios[k]}", Origin.EXPECTED, OHM)
        return (FormulaStep(result, Sym("V_oc") / Sym("Z"), inputs),)

    def counted(self, found: Finding | Figure) -> tuple[Step, ...]:
        return (
            ChoiceStep(
                f"{found.value:g} {found.unit}".strip() if found.value is not None else "none",
                found.note or "counted on the line",
            ),
        )
