"""The working of the support room's findings and figures."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.finding import Figure, Finding
from upmast.formula import Expr, Num, Sym, ln, min_, sum_, symbols
from upmast.limits import Limits
from upmast.source import PRACTICE, Mark, Origin, Source
from upmast.support.clamp import CLAMP_SOURCE, CREEP_FACTOR, FRICTION, NUT_FACTOR, SLIP_SAFETY
from upmast.support.derive_install import bend_steps, mass_steps, route_steps, torque_steps
from upmast.support.findings import EQUIPMENT, EXISTING, grips_on, rule_limit, spacing_limit
from upmast.support.hoist import HOIST_FACTOR, HOIST_FACTOR_SOURCE
from upmast.support.ice import GLAZE_KG_PER_M3
from upmast.support.state import (
    BOX_COEFFICIENT,
    FRICTION_BOLT_MM,
    FRICTION_TORQUE_NM,
    LONG_RUN,
    Inputs,
    Loads,
    State,
    source_of,
)
from upmast.support.wind import AIR_KG_PER_M3
from upmast.working import ChoiceStep, FormulaStep, LookupStep, Quantity, Step

LINE = Source("line.yaml", "items")
PARTS = Source("parts of the line", mark=Mark.INVENTED)
GEOMETRY = Source("own derivation: geometry")
STATICS = Source("own derivation: statics")
BEAM = Source("own derivation: continuous beam", "Clapeyron's theorem")
EN = "EN 1991-1-4"
PI = Num(float(np.pi))


def derive(inputs: Inputs, limits: Limits, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure."""
    maker = _Maker(inputs, limits)
    code, n = found.code, found.rank
    if found.value is None:
        missing = ", ".join(found.missing) if isinstance(found, Finding) else ""
        return (ChoiceStep("no value", f"missing: {missing}"),)
    if code == "support.reach":
        return maker.reach(n, found.value)
    if code == "support.clamp-spacing":
        return maker.spacing(n, found.value)
    if code == "support.grip-load":
        return maker.grip(n, found.value)
    if code == "support.hoist-pull":
        return maker.pull(n, found.value)
    if code == "support.clamp-torque":
        return torque_steps(inputs, n, found.value)
    if code in ("support.route-pull", "support.side-pressure"):
        return route_steps(inputs, n, code, found.value)
    if code == "support.bend-radius":
        return bend_steps(inputs, found.value)
    if code == "support.mass-difference":
        return mass_steps(inputs, n, found.value)
    if code == "support.mass":
        return maker.mass(found)
    if code == "support.wind-area":
        return maker.area(found)
    if code == "support.wind-force":
        return maker.force(found.value)
    if code == "support.wind-moment":
        return maker.moment(found.value)
    if code == "support.ice-mass":
        return maker.ice_mass(found)
    return (ChoiceStep(f"{found.value:g} {found.unit}".strip(), found.note),)


def _got(expression: Expr, inputs: Iterable[Quantity]) -> float:
    return expression.value({q.symbol: q.value for q in inputs})


class _Sum:
    """A sum of products, addend by addend."""

    def __init__(self) -> None:
        self.terms: list[Expr] = []
        self.inputs: list[Quantity] = []

    def add(self, *factors: Quantity | float) -> None:
        product: Expr | None = None
        for factor in factors:
            node: Expr = Sym(factor.symbol) if isinstance(factor, Quantity) else Num(factor)
            product = node if product is None else product * node
            if isinstance(factor, Quantity):
                self.inputs.append(factor)
        assert product is not None
        self.terms.append(product)

    def step(self, result: Quantity) -> FormulaStep:
        return FormulaStep(result, sum_(self.terms), tuple(self.inputs))


class _Maker:
    def __init__(self, inputs: Inputs, limits: Limits) -> None:
        self.i, self.limits, self.s = inputs, limits, State(inputs)
        self.g = Quantity(
            "g", STANDARD_GRAVITY_M_PER_S2.value, "m/s²", "standard gravity", Origin.LISTED, STANDARD_GRAVITY_M_PER_S2.source
        )  # fmt: skip
        self.k = Quantity("k_dyn", HOIST_FACTOR, "", "jerks while hoisting", Origin.DEFAULT, HOIST_FACTOR_SOURCE)

    def part(self, n: int, symbol: str, value: float, unit: str, words: str, field: str) -> Quantity:
        source = Source(f"part {self.i.part[n]}", field, mark=Mark.INVENTED)
        return Quantity(symbol, float(value), unit, words, Origin.LISTED, source)

    # -- findings --------------------------------------------------------------------------------------------------

    def reach(self, n: int, value: float) -> tuple[Step, ...]:
        i = self.i
        way = _Sum()
        for term in i.need[n]:
            practice = term.mark == Mark.PRACTICE.value
            source = PRACTICE if practice else Source(f"site {i.site}", term.clause, mark=Mark(term.mark))
            origin = Origin.DEFAULT if practice else Origin.DECLARED
            way.add(Quantity(term.symbol, term.value_m, "m", term.words, origin, source))
        need = Quantity(
            "L_way", sum(t.value_m for t in i.need[n]), "m", "longest way that it may have to go", Origin.EXPECTED, GEOMETRY
        )  # fmt: skip
        expression: Expr = Num(0)
        quantities: list[Quantity] = []
        for m, c in enumerate(i.chain[n], 1):
            tail = f"_{m}" if len(i.chain[n]) > 1 else ""
            length, off = f"L{tail}", f"t{tail}"
            quantities.append(
                Quantity(length, float(i.length_m[c]), "m", f"length of {i.spans[c]}", Origin.EXPECTED, LINE)
            )
            quantities.append(
                Quantity(off, float(i.tolerance_m[c]), "m", f"how much shorter {i.spans[c]} may be made", Origin.EXPECTED, LINE)
            )  # fmt: skip
            one = Sym(length) - Sym(off)
            expression = one if m == 1 else expression + one
        result = Quantity("d", value, "m", f"length to spare of {i.spans[n]}", Origin.EXPECTED, GEOMETRY)
        return (way.step(need), FormulaStep(result, expression - Sym("L_way"), (*quantities, need)))

    def spacing(self, n: int, value: float) -> tuple[Step, ...]:
        i, s = self.i, self.s
        limit, name, _ = spacing_limit(i, s, self.limits, n)
        steps: list[Step] = []
        ice = self.ice_step(n)
        if ice is not None:
            steps.append(ice)
        if np.isnan(i.slip_n[n]):
            steps.append(self.friction())
        slip = self.slip(n, ice)
        steps.append(slip)
        candidates = [slip.result]
        if np.isfinite(s.side_m[n]):
            steps += self.side(n)
            last = steps[-1]
            assert isinstance(last, FormulaStep)
            candidates.append(last.result)
        rule = rule_limit(i, self.limits, n)
        candidates.append(
            Quantity("s_rule", rule.value, "m", f"rule, set by {rule.authority}", Origin.LISTED, rule.source)
        )
        most = Quantity("s_max", limit.value, "m", f"largest spacing: {name} governs", Origin.EXPECTED, STATICS)
        steps.append(FormulaStep(most, min_(*(Sym(q.symbol) for q in candidates)), tuple(candidates)))
        held = Quantity("L_held", float(i.held_m[n]), "m", "length that the clamps hold", Origin.EXPECTED, LINE)
        words = "intervals: clamps less one" if i.run[n] else "intervals: one a clamp, its connectors hold the ends"
        count = Quantity("n", float(s.intervals[n]), "", words, Origin.EXPECTED, LINE)
        used = Quantity("s", value, "m", f"spacing on {i.spans[n]}", Origin.EXPECTED, GEOMETRY)
        steps.append(FormulaStep(used, Sym("L_held") / Sym("n"), (held, count)))
        return tuple(steps)

    def ice_step(self, n: int) -> FormulaStep | LookupStep | None:
        """m_ice = pi t (D + t) rho, or the mass of a class of rime."""
        ice = self.i.ice
        if ice is None:
            return None
        result = Quantity(
            "m_ice", float(self.s.ice_kg_per_m[n]), "kg/m", "ice on one metre", Origin.EXPECTED, self.ice_source
        )
        if ice.rime:
            return LookupStep(result, "ISO 12494, ice classes for rime", ice.name)
        quantities = (
            self.part(n, "D", self.i.diameter_mm[n], "mm", f"diameter of {self.i.spans[n]}", "diameter_mm"), *self.coat()
        )  # fmt: skip
        d, t, rho = symbols("D t rho_ice")
        return FormulaStep(result, PI * t * (d + t) * rho / 1e6, quantities)

    @property
    def ice_source(self) -> Source:
        assert self.i.ice is not None
        return Source("ISO 12494", f"class {self.i.ice.name}", mark=Mark(self.i.ice.mark))

    def coat(self) -> tuple[Quantity, Quantity]:
        assert self.i.ice is not None
        return (
            Quantity("t", self.i.ice.thickness_mm, "mm", "thickness of the ice", Origin.LISTED, self.ice_source),
            Quantity("rho_ice", GLAZE_KG_PER_M3, "kg/m³", "density of glaze", Origin.LISTED, self.ice_source),
        )

    def friction(self) -> FormulaStep:
        """F_c = 2 mu (tau / (K d)) c, one bolt."""
        quantities = (
            Quantity("mu", FRICTION, "", "friction of the sheath", Origin.DEFAULT, CLAMP_SOURCE),
            Quantity("tau", FRICTION_TORQUE_NM, "N·m", "torque of an M8 bolt", Origin.DEFAULT, CLAMP_SOURCE),
            Quantity("K", NUT_FACTOR, "", "nut factor, dry", Origin.DEFAULT, CLAMP_SOURCE),
            Quantity("d", FRICTION_BOLT_MM, "mm", "bolt", Origin.DEFAULT, CLAMP_SOURCE),
            Quantity("c", CREEP_FACTOR, "", "what is left after the sheath has relaxed", Origin.DEFAULT, CLAMP_SOURCE),
        )
        mu, tau, k, d, c = symbols("mu tau K d c")
        result = Quantity(
            "F_c", self.s.friction_n, "N", "grip by friction, for want of a tested rating", Origin.EXPECTED, STATICS
        )
        return FormulaStep(result, 2 * mu * tau / (k * d / 1000) * c, quantities)

    def slip(self, n: int, ice: FormulaStep | LookupStep | None) -> FormulaStep:
        """s_slip = F_c / (gamma (m + m_ice) g)."""
        i = self.i
        frozen = ice.result if ice is not None else Quantity(
            "m_ice", 0.0, "kg/m", "no ice is asked for", Origin.DECLARED, Source(f"site {i.site}", "climate.ice", mark=Mark.DECLARED)
        )  # fmt: skip
        rated = not np.isnan(i.slip_n[n])
        source = source_of(i.slip_source[n]) if rated else STATICS
        words = f"tested slip rating of {i.clamp[n]}" if rated else "grip by friction"
        quantities = (
            Quantity("F_c", float(self.s.slip_n[n]), "N", words, Origin.LISTED if rated else Origin.EXPECTED, source),
            Quantity("gamma", SLIP_SAFETY, "", "safety against slip", Origin.DEFAULT, CLAMP_SOURCE),
            self.part(n, "m", i.mass_kg_per_m[n], "kg/m", f"mass of one metre of {i.spans[n]}", "mass_kg_per_m"),
            frozen,
            self.g,
        )
        f, gamma, m, m_ice, g = symbols("F_c gamma m m_ice g")
        result = Quantity("s_slip", float(self.s.slip_m[n]), "m", "largest spacing by slip", Origin.EXPECTED, STATICS)
        return FormulaStep(result, f / (gamma * (m + m_ice) * g), quantities)

    def pressure(self, height_m: float) -> list[Step]:
        """The pressure at one height: kr, cr, vm, Iv and qp; or Kz and q of the gust form."""
        w = self.i.wind
        assert w is not None
        if w.gust:
            return self.gust_pressure(height_m)
        table = Source(EN, f"table 4.1, terrain {w.terrain}", "2005", Mark(w.mark))
        z0 = Quantity("z_0", w.z0_m, "m", f"roughness length of terrain {w.terrain}", Origin.LISTED, table)
        at = max(height_m, w.z_min_m)
        z = Quantity("z", at, "m", f"height, at least {w.z_min_m:g} m", Origin.EXPECTED, LINE)
        vb = Quantity(
            "v_b", w.basic_m_per_s, "m/s", "basic wind speed, ten-minute mean", Origin.DECLARED, Source(f"site {self.i.site}", "climate.wind", mark=Mark.DECLARED)
        )  # fmt: skip
        rho = Quantity("rho", AIR_KG_PER_M3, "kg/m³", "air", Origin.DEFAULT, Source(EN, "4.5", "2005"))
        s_z0, s_z, s_vb, s_rho = symbols("z_0 z v_b rho")
        steps: list[Step] = [LookupStep(z0, f"{EN} table 4.1", w.terrain)]
        values: dict[str, Quantity] = {q.symbol: q for q in (z0, z, vb, rho)}
        for symbol, unit, words, clause, expression in (
            ("k_r", "", "terrain factor", "4.3.2", 0.19 * (s_z0 / 0.05) ** 0.07),
            ("c_r", "", "roughness factor", "4.3.2", Sym("k_r") * ln(s_z / s_z0)),
            ("v_m", "m/s", "mean wind, flat ground", "4.3.1", Sym("c_r") * s_vb),
            ("I_v", "", "turbulence intensity, flat ground", "4.4", 1 / ln(s_z / s_z0)),
            ("q_p", "Pa", "peak velocity pressure", "4.5", (1 + 7 * Sym("I_v")) * 0.5 * s_rho * Sym("v_m") ** 2),
        ):
            used = tuple(values[name] for name in expression.names())
            made = Quantity(symbol, _got(expression, used), unit, words, Origin.EXPECTED, Source(EN, clause, "2005"))
            values[symbol] = made
            steps.append(FormulaStep(made, expression, used))
        return steps

    def gust_pressure(self, height_m: float) -> list[Step]:
        w = self.i.wind
        assert w is not None
        kz = Quantity(
            "K_z",
            float(w.kz(height_m)),
            "",
            f"exposure {w.exposure} at {max(height_m, 0.0):g} m",
            Origin.LISTED,
            w.place_source,
        )
        speed = Quantity(
            "V", w.basic_m_per_s, "m/s", "basic wind speed, three-second gust", Origin.DECLARED, Source(f"site {self.i.site}", "climate.wind", mark=Mark.DECLARED)
        )  # fmt: skip
        used = (
            kz,
            speed,
            Quantity("K_d", w.directionality, "", "direction, by the kind of mast", Origin.DEFAULT, w.source),
            Quantity("G_h", w.gust_effect, "", "gust effect, by the kind of mast", Origin.DEFAULT, w.source),
            Quantity("I", w.importance, "", "importance, edition G", Origin.DECLARED, Source(f"site {self.i.site}", "climate.wind.importance_fraction", mark=Mark.DECLARED)),
        )  # fmt: skip
        k, v, d, g, i = symbols("K_z V K_d G_h I")
        expression = 0.613 * k * d * v**2 * i * g
        made = Quantity("q_p", _got(expression, used), "Pa", "pressure with its gust effect", Origin.EXPECTED, w.source)
        return [LookupStep(kz, f"{w.standard} exposure", w.exposure), FormulaStep(made, expression, used)]

    def side(self, n: int) -> list[Step]:
        """s_side = F_side / (k w), w = kappa q_p c_f D."""
        i, s = self.i, self.s
        steps = self.pressure(float(i.high_m[n]))
        last = steps[-1]
        assert isinstance(last, FormulaStep)
        assert i.wind is not None
        bare, iced = (float(x[n]) for x in s.lines_n_per_m)
        frozen = iced > bare
        factor = i.ice.wind_factor if frozen and i.ice is not None else 1.0
        words = "width with ice, times the reduced wind factor" if frozen else "diameter"
        b = factor * float(s.iced_mm[n] if frozen else i.diameter_mm[n])
        width = Quantity("b", b, "mm", f"{words} of {i.spans[n]}", Origin.EXPECTED, GEOMETRY)
        rime = frozen and i.ice is not None and i.ice.rime
        flat = "vane of rime from the side, a flat strip" if rime else "round line"
        cf = Quantity(
            "c_f", float(s.coefficient(frozen)[n]), "", flat, Origin.LISTED, PRACTICE if rime else i.wind.source
        )
        w = Quantity(
            "w",
            float(s.side_line_n_per_m[n]),
            "N/m",
            "wind on one metre at its upper end",
            Origin.EXPECTED,
            i.wind.source,
        )
        used: tuple[Quantity, ...] = (last.result, cf, width)
        line = Sym("q_p") * Sym("c_f") * Sym("b") / 1000
        if not i.wind.gust:  # the gust form has no such factor
            row = Quantity("kappa", s.kappa, "", "row factor of cables side by side", Origin.LISTED, i.wind.source)
            used, line = (row, *used), Sym("kappa") * line
        steps.append(FormulaStep(w, line, used))
        quantities = (
            Quantity(
                "F_side",
                float(i.side_n[n]),
                "N",
                f"side rating of {i.clamp[n]}",
                Origin.LISTED,
                source_of(i.side_source[n]),
            ),
            Quantity("k_end", float(s.end_factor[n]), "", self.end_words(n), Origin.EXPECTED, BEAM),
            w,
        )
        result = Quantity("s_side", float(s.side_m[n]), "m", "largest spacing by wind", Origin.EXPECTED, STATICS)
        steps.append(FormulaStep(result, Sym("F_side") / (Sym("k_end") * Sym("w")), quantities))
        return steps

    def end_words(self, n: int) -> str:
        spans = int(self.i.clamp_count[n]) + (-1 if self.i.run[n] else 1)
        many = f"{spans} spans" if spans < LONG_RUN else f"{spans} spans, {LONG_RUN} or more are alike"
        return f"most loaded clamp of {many} over w s, at least 1"

    def hanging(self, n: int) -> tuple[Quantity, Quantity]:
        i = self.i
        return (
            self.part(n, "m", i.mass_kg_per_m[n], "kg/m", f"mass of one metre of {i.spans[n]}", "mass_kg_per_m"),
            Quantity("L_hang", float(i.hanging_m[n]), "m", "length that hangs free", Origin.EXPECTED, LINE),
        )

    def grip(self, row: int, value: float) -> tuple[Step, ...]:
        n = self.i.grips[row].span
        count = Quantity("n", float(grips_on(self.i, n)), "", "grips, each carries its share", Origin.EXPECTED, LINE)
        result = Quantity("F", value, "N", "load of one grip, moving", Origin.EXPECTED, STATICS)
        m, length, g, k, c = symbols("m L_hang g k_dyn n")
        return (FormulaStep(result, m * g * length * k / c, (*self.hanging(n), self.g, self.k, count)),)

    def pull(self, n: int, value: float) -> tuple[Step, ...]:
        result = Quantity("T", value, "N", "pull at the top, moving", Origin.EXPECTED, STATICS)
        m, length, g, k = symbols("m L_hang g k_dyn")
        return (FormulaStep(result, m * g * length * k, (*self.hanging(n), self.g, self.k)),)

    # -- figures ---------------------------------------------------------------------------------------------------

    def by_part(self) -> list[tuple[int, list[int]]]:
        """Rows of the spans with the same part, of runs and others apart; the first stands for all."""
        groups: dict[tuple[str, bool], list[int]] = {}
        for n, part in enumerate(self.i.part):
            groups.setdefault((part, bool(self.i.run[n])), []).append(n)
        return [(rows[0], rows) for rows in groups.values()]

    def length(self, at: int, rows: list[int]) -> Quantity:
        words = f"length on the mast of {len(rows)} x {self.i.part[rows[0]]}"
        return Quantity(f"L_{at}", float(self.s.exposed_m[rows].sum()), "m", words, Origin.EXPECTED, LINE)

    def mass(self, found: Finding | Figure) -> tuple[Step, ...]:
        i, s, total = self.i, self.s, _Sum()
        result = Quantity("M", found.value or 0.0, "kg", found.note, Origin.EXPECTED, GEOMETRY)
        if found.subject == EXISTING:
            for at, e in enumerate((e for e in i.existing if e.stays and e.mass_kg_per_m > 0), 1):
                source = Source(f"site {i.site}", f"existing {e.item}", mark=Mark.DECLARED)
                total.add(
                    float(e.count),
                    Quantity(
                        f"m_{at}", e.mass_kg_per_m, "kg/m", f"mass of one metre, {e.title}", Origin.DECLARED, source
                    ),
                    Quantity(f"L_{at}", e.high_m - e.low_m, "m", f"height of {e.item}", Origin.DECLARED, source),
                )
            return (total.step(result),)
        if found.subject == EQUIPMENT:
            for at, b in enumerate((b for b in i.bodies if b.kind != "box"), 1):
                total.add(Quantity(f"M_{at}", b.mass_kg, "kg", f"{b.item}, {b.part}", Origin.LISTED, PARTS))
            return (total.step(result),)
        at = 0
        for first, rows in self.by_part():
            at += 1
            name = i.part[first]
            total.add(
                self.part(first, f"m_{at}", i.mass_kg_per_m[first], "kg/m", f"one metre of {name}", "mass_kg_per_m"),
                self.length(at, rows),
            )
            ends = len(rows) * (0.5 if i.run[first] else 1.0)
            if i.ends_kg[first]:
                words = f"ends of {name}" + (", one of two on the mast" if i.run[first] else "")
                total.add(ends, self.part(first, f"e_{at}", i.ends_kg[first], "kg", words, "mass_kg"))
        for b in s.boxes:
            at += 1
            total.add(Quantity(f"M_{at}", b.mass_kg, "kg", f"{b.item}, {b.part}", Origin.LISTED, PARTS))
        counts: dict[tuple[str, float], int] = {}
        for h in i.hardware:
            if h.on_mast:
                counts[h.part, h.mass_kg] = counts.get((h.part, h.mass_kg), 0) + h.on_mast
        for (part, each), count in counts.items():
            at += 1
            total.add(float(count), Quantity(f"M_{at}", each, "kg", f"one {part}, of {count}", Origin.LISTED, PARTS))
        return (total.step(result),)

    def area(self, found: Finding | Figure) -> tuple[Step, ...]:
        i, total = self.i, _Sum()
        result = Quantity("A", found.value or 0.0, "m²", found.note, Origin.EXPECTED, GEOMETRY)
        if found.subject == EXISTING:
            for at, e in enumerate((e for e in i.existing if e.stays), 1):
                source = Source(f"site {i.site}", f"existing {e.item}", mark=Mark.DECLARED)
                total.add(
                    e.count / 1000,
                    Quantity(
                        f"D_{at}", e.diameter_mm, "mm", f"width of {e.count} x {e.title}", Origin.DECLARED, source
                    ),
                    Quantity(f"L_{at}", e.high_m - e.low_m, "m", f"height of {e.item}", Origin.DECLARED, source),
                )
            return (total.step(result),)
        at = 0
        for first, rows in self.by_part():
            at += 1
            d = self.part(first, f"D_{at}", i.diameter_mm[first], "mm", f"diameter of {i.part[first]}", "diameter_mm")
            total.add(1e-3, d, self.length(at, rows))
        for b in self.s.boxes:
            at += 1
            total.add(
                1e-6,
                Quantity(f"h_{at}", b.height_mm, "mm", f"height of {b.item}", Origin.LISTED, PARTS),
                Quantity(f"b_{at}", b.width_mm, "mm", f"width of {b.item}", Origin.LISTED, PARTS),
            )
        return (total.step(result),)

    def top(self) -> float:
        return max((*map(float, self.i.high_m), *(b.high_m for b in self.s.boxes)), default=0.0)

    def groups(self, loads: Loads, values: np.ndarray, symbol: str, unit: str) -> _Sum:
        """Cables of each part and each box as one addend."""
        i, total = self.i, _Sum()
        assert i.wind is not None
        iced = loads is self.s.iced
        cf = self.s.coefficient(iced)
        row = f", row factor {self.s.kappa:g}" if not i.wind.gust else ""
        en = Source(i.wind.standard, "5.3, summed over slices of at most 2 m" if not i.wind.gust else "2.6.9, summed over slices", "" if i.wind.gust else "2005", i.wind.source.mark)  # fmt: skip
        at = 0
        for first, rows in self.by_part():
            at += 1
            area = float(loads.area_m2[rows].sum())
            how = "slice by slice" if i.run[first] else "at the pressure of the upper end"
            words = f"{len(rows)} x {i.part[first]}, {area:.2f} m², cf {float(cf[first]):.3g}{row}, {how}"
            total.add(Quantity(f"{symbol}_{at}", float(values[rows].sum()), unit, words, Origin.EXPECTED, en))
        for n, b in enumerate(self.s.boxes, len(i.spans)):
            at += 1
            words = f"{b.item}, {float(loads.area_m2[n]):.2f} m², cf {BOX_COEFFICIENT:g}: common practice, no source"
            total.add(Quantity(f"{symbol}_{at}", float(values[n]), unit, words, Origin.EXPECTED, en))
        return total

    def force(self, value: float) -> tuple[Step, ...]:
        case, loads = self.s.governing
        return (*self.pressure(self.top()), self.case(case), self.total(loads, value))

    def total(self, loads: Loads, value: float) -> FormulaStep:
        result = Quantity("F", value, "N", "wind on cables and boxes", Origin.EXPECTED, STATICS)
        return self.groups(loads, loads.force_n, "F", "N").step(result)

    def case(self, case: str) -> ChoiceStep:
        iced = self.s.iced
        among: tuple[str, ...] = (f"bare: {self.s.bare.total_n:.0f} N",)
        if iced is not None and self.i.ice is not None:
            among += (f"iced {self.i.ice.name}, wind factor {self.i.ice.wind_factor:g}: {iced.total_n:.0f} N",)
        return ChoiceStep(case, "the case with the larger force governs", among)

    def moment(self, value: float) -> tuple[Step, ...]:
        case, loads = self.s.governing
        result = Quantity("M", value, "kN·m", "moment about the foot of the mast", Origin.EXPECTED, STATICS)
        made = self.groups(loads, loads.moment_nm, "M", "N·m")
        step = FormulaStep(result, sum_(made.terms) / 1000, tuple(made.inputs))
        return (*self.pressure(self.top()), self.case(case), step)

    def ice_mass(self, found: Finding | Figure) -> tuple[Step, ...]:
        i = self.i
        assert i.ice is not None
        rime = i.ice.rime
        t, rho = self.coat()
        each = Quantity("m_ice", i.ice.mass_kg_per_m, "kg/m", "rime on one metre", Origin.LISTED, self.ice_source)
        st, sr, sm = symbols("t rho_ice m_ice")
        terms: list[Expr] = []
        quantities: list[Quantity] = [each] if rime else [t, rho]
        at = 0
        if found.subject != EQUIPMENT:
            for first, rows in self.by_part():
                at += 1
                length, d = Sym(f"L_{at}"), Sym(f"D_{at}")
                quantities.append(self.length(at, rows))
                if rime:
                    terms.append(sm * length)
                    continue
                quantities.append(
                    self.part(
                        first, f"D_{at}", i.diameter_mm[first], "mm", f"diameter of {i.part[first]}", "diameter_mm"
                    )
                )
                terms.append(PI * st * (d + st) * length / 1e6 * sr)
        bodies = [b for b in i.bodies if (b.kind == "box") != (found.subject == EQUIPMENT)]
        for b in bodies:
            at += 1
            if rime:
                like = self.s.body_ice_kg(b) / i.ice.mass_kg_per_m
                quantities.append(
                    Quantity(
                        f"L_{at}",
                        like,
                        "m",
                        f"height of {b.item}, more where wider than 300 mm",
                        Origin.EXPECTED,
                        GEOMETRY,
                    )
                )
                terms.append(sm * Sym(f"L_{at}"))
                continue
            h, w, d_ = b.height_mm / 1000, b.width_mm / 1000, b.depth_mm / 1000
            faces = 2 * (h * w + w * d_ + d_ * h)
            quantities.append(Quantity(f"A_{at}", faces, "m²", f"all faces of {b.item}", Origin.EXPECTED, GEOMETRY))
            terms.append(Sym(f"A_{at}") * st / 1000 * sr)
        result = Quantity("M_ice", found.value or 0.0, "kg", found.note, Origin.EXPECTED, self.ice_source)
        return (FormulaStep(result, sum_(terms), tuple(quantities)),)
