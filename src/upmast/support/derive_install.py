"""The working of what happens while a line is installed: torque against crush, the pull along the route; and mass by construction."""

from __future__ import annotations

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.formula import Expr, Num, Sym, abs_, exp, max_, min_, symbols
from upmast.source import PRACTICE, Mark, Origin, Source
from upmast.support.clamp import CLAMP_SOURCE, NUT_FACTOR
from upmast.support.pull import FRICTION, FRICTION_SOURCE, Section
from upmast.support.route import BEND_DIAMETERS, DIRECTIONS, RouteLeg, better_way, sections
from upmast.support.state import Inputs, State, source_of
from upmast.support.torque import NUT_SCATTER
from upmast.working import ChoiceStep, FormulaStep, Quantity, Step

STATICS = Source("own derivation: statics")
GEOMETRY = Source("own derivation: geometry")
BELT = Source("belt friction (Euler, Eytelwein)")


def torque_steps(inputs: Inputs, n: int, value: float) -> tuple[Step, ...]:
    """tau_max = F (b / 100) K (1 - k) d / n, then the torque of the data sheet."""
    i = inputs
    clamp = i.torqued_clamp[n] if i.torqued_clamp else i.clamp[n]

    def of_clamp(symbol: str, number: float, unit: str, words: str, field: str) -> Quantity:
        return Quantity(
            symbol, float(number), unit, words, Origin.LISTED, Source(f"part {clamp}", field, mark=Mark.INVENTED)
        )

    used = (
        Quantity("F", float(i.crush_n[n]), "N", f"crush rating of {i.part[n]} on 100 mm", Origin.LISTED, source_of(i.crush_source[n])),
        of_clamp("b", i.pad_mm[n], "mm", "length that the clamp presses on", "pad_width_mm"),
        Quantity("K", NUT_FACTOR, "", "nut factor, dry", Origin.DEFAULT, CLAMP_SOURCE),
        Quantity("k", NUT_SCATTER, "", "its scatter, here the slippery end", Origin.DEFAULT, CLAMP_SOURCE),
        of_clamp("d", i.bolt_mm[n], "mm", "bolt", "bolt_mm"),
        of_clamp("n", i.bolts[n], "", "bolts", "bolts_count"),
    )  # fmt: skip
    f, b, k, s, d, bolts = symbols("F b K k d n")
    state = State(i)
    assert state.torque is not None
    row = list(map(int, state.torqued)).index(n)
    limit = Quantity(
        "tau_max",
        float(state.torque.crush_nm[row]),
        "N·m",
        "torque that reaches the crush rating",
        Origin.EXPECTED,
        STATICS,
    )
    sheet = Quantity(
        "tau_sheet", value, "N·m", f"torque of {clamp} by its data sheet", Origin.LISTED, source_of(i.torque_source[n])
    )
    return (
        FormulaStep(limit, f * b / 100 * k * (1 - s) * d / 1000 / bolts, used),
        FormulaStep(Quantity("tau", value, "N·m", "torque of each bolt", Origin.LISTED, sheet.source), Sym("tau_sheet"), (sheet,)),
    )  # fmt: skip


def route_steps(inputs: Inputs, n: int, code: str, value: float) -> tuple[Step, ...]:
    """Section by section in the better direction; then the highest."""
    i = inputs
    both = State(i).route_pulls(n)
    limits = tuple(None if x != x else float(x) for x in (i.pull_n[n], i.side_pressure_n[n]))
    way = better_way(both, limits[0], limits[1])
    steps: list[Step] = [
        ChoiceStep(
            f"pulled {DIRECTIONS[way]}", "the direction that uses up less of the limits of the cable",
            tuple(f"{name}: {one.highest_n:.0f} N, {one.side_n_per_m:.0f} N/m" for name, one in zip(DIRECTIONS, both, strict=True)),
        )
    ]  # fmt: skip
    g = Quantity("g", STANDARD_GRAVITY_M_PER_S2.value, "m/s²", "standard gravity", Origin.LISTED, STANDARD_GRAVITY_M_PER_S2.source)  # fmt: skip
    m = Quantity("m", float(i.mass_kg_per_m[n]), "kg/m", f"one metre of {i.part[n]}", Origin.LISTED, Source(f"part {i.part[n]}", "mass_kg_per_m", mark=Mark.INVENTED))  # fmt: skip
    mu = Quantity("mu", FRICTION, "", "friction while pulled", Origin.DEFAULT, FRICTION_SOURCE)
    weight = Sym("m") * Sym("g")
    before: Quantity | None = None
    peaks: list[Quantity] = []
    presses: list[Quantity] = []

    def add(symbol: str, expression: Expr, used: tuple[Quantity, ...], words: str, unit: str = "N") -> Quantity:
        made = Quantity(
            symbol,
            expression.value({q.symbol: q.value for q in used}),
            unit,
            words,
            Origin.EXPECTED,
            BELT if "bend" in words else STATICS,
        )
        steps.append(FormulaStep(made, expression, used))
        return made

    for at, (one, leg) in enumerate(_in_order(i, n, way), 1):
        start: Expr = Sym(before.symbol) if before is not None else Num(0)
        base = (before,) if before is not None else ()
        if one.length_m:
            length = _told(i, f"l_{at}", one.length_m, "m", "lying length")
            before = add(f"T_{len(peaks) + 1}", start + Sym("mu") * weight * Sym(length.symbol), (*base, mu, m, g, length), "after a lying length")  # fmt: skip
            peaks.append(before)
        elif one.rise_m:
            rise = _told(i, f"h_{at}", one.rise_m, "m", "height gained, negative downwards")
            before = add(f"T_{len(peaks) + 1}", max_(0, start + weight * Sym(rise.symbol)), (*base, m, g, rise), "after a rise or fall")  # fmt: skip
            peaks.append(before)
        if one.bend_deg and before is not None:
            angle = _bend(i, f"a_{at}", one.bend_deg, leg)
            before = add(f"T_{len(peaks) + 1}", Sym(before.symbol) * exp(Sym("mu") * Sym(angle.symbol) * 0.017453292519943295), (before, mu, angle), "after the bend")  # fmt: skip
            peaks.append(before)
            radius = _radius(i, n, f"R_{at}", one.radius_m, leg)
            presses.append(
                add(
                    f"p_{at}",
                    Sym(before.symbol) / Sym(radius.symbol),
                    (before, radius),
                    "side pressure in the bend",
                    "N/m",
                )
            )
    hanging = sum(leg.length_m for leg in i.route if leg.upright)
    if way == 1 and hanging:
        height = _told(i, "h_hang", hanging, "m", "height that hangs below the reel")
        peaks.append(add("T_hang", weight * Sym("h_hang"), (m, g, height), "what the brake at the reel holds"))
    some = peaks if code == "support.route-pull" else presses
    words = "highest tension on the way" if code == "support.route-pull" else "highest side pressure"
    result = Quantity(
        "T" if some is peaks else "p", value, "N" if some is peaks else "N/m", words, Origin.EXPECTED, STATICS
    )
    if some:
        steps.append(FormulaStep(result, max_(0, *(Sym(q.symbol) for q in some)), tuple(some)))
    return tuple(steps)


def _in_order(i: Inputs, n: int, way: int) -> list[tuple[Section, RouteLeg]]:
    """Sections in the order of the pull with their legs, bends of the way back before their straights."""
    out = list(zip(sections(i.route, float(i.bend_m[n])), i.route, strict=True))
    if way == 0:
        return out
    back: list[tuple[Section, RouteLeg]] = []
    for one, leg in reversed(out):
        if one.bend_deg:
            back.append((Section(bend_deg=one.bend_deg, radius_m=one.radius_m), leg))
        back.append((Section(one.length_m, -one.rise_m), leg))
    return back


def _told(i: Inputs, symbol: str, value: float, unit: str, words: str) -> Quantity:
    return Quantity(
        symbol, value, unit, words, Origin.DECLARED, Source(f"site {i.site}", "route.legs", mark=Mark.DECLARED)
    )


def _bend(i: Inputs, symbol: str, value: float, leg: RouteLeg) -> Quantity:
    if leg.bend_deg is not None:
        return _told(i, symbol, value, "°", f"bends of {leg.name}")
    none = "none" if leg.radius_m is None else "its radius and no angle"
    return Quantity(symbol, value, "°", f"bend after {leg.name}: the site tells {none}", Origin.DEFAULT, PRACTICE)


def _radius(i: Inputs, n: int, symbol: str, value: float, leg: RouteLeg) -> Quantity:
    if leg.radius_m is not None:
        return _told(i, symbol, value, "m", f"radius of these bends, {leg.name}")
    source = Source(f"part {i.part[n]}", "bend_pulling_mm", mark=Mark.INVENTED)
    if i.pull_bend_missing[n]:
        words = f"{BEND_DIAMETERS} diameters of {i.spans[n]}: neither the site nor its part tells a radius under pull"
        return Quantity(symbol, value, "m", words, Origin.DEFAULT, PRACTICE)
    return Quantity(symbol, value, "m", "smallest radius of the cable under pull", Origin.LISTED, source)


def bend_steps(inputs: Inputs, value: float) -> tuple[Step, ...]:
    """R = 1000 min(R_1, R_2, ...): the tightest bend that the site tells."""
    told = tuple(
        _told(inputs, f"R_{at}", leg.radius_m, "m", f"radius of the bends of {leg.name}")
        for at, leg in enumerate(State(inputs).told_radii, 1)
        if leg.radius_m is not None
    )
    result = Quantity("R", value, "mm", "smallest radius of the bends of the route", Origin.EXPECTED, GEOMETRY)
    radii = [Sym(q.symbol) for q in told]
    return (FormulaStep(result, 1000 * (min_(*radii) if len(radii) > 1 else radii[0]), told),)


def mass_steps(inputs: Inputs, n: int, value: float) -> tuple[Step, ...]:
    """100 |m_built / m - 1|."""
    part = inputs.part[n]
    built = Quantity("m_built", float(inputs.built_kg_per_m[n]), "kg/m", "elements of the section, their areas, densities and lay", Origin.EXPECTED, Source(f"part {part}", "construction"))  # fmt: skip
    listed = Quantity("m", float(inputs.mass_kg_per_m[n]), "kg/m", f"one metre of {part} by its data sheet", Origin.LISTED, Source(f"part {part}", "mass_kg_per_m", mark=Mark.INVENTED))  # fmt: skip
    result = Quantity("d", value, "%", "difference of the two", Origin.EXPECTED, STATICS)
    return (FormulaStep(result, 100 * abs_(Sym("m_built") / Sym("m") - 1), (built, listed)),)
