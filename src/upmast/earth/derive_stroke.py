"""The working of what a stroke does: shares, shield voltage, protectors with leads, ends without a bond, electrode."""

from __future__ import annotations

import math
from dataclasses import replace

from upmast.earth.electrode import ROD_BAND_SOURCE, rod_ohm
from upmast.earth.exposure import LEG_SOURCE, MODEL, Exposure, shares_of
from upmast.earth.protector import CRITERION_SOURCE, LEAD_H_PER_M, LEAD_SOURCE
from upmast.earth.sharing import LEG_BAND_SOURCE
from upmast.earth.state import Inputs
from upmast.earth.stroke import (
    electrode_ohm,
    gap_m,
    governing,
    open_ends,
    protector_current,
    protector_level,
    shield_v,
    withstand_of,
    worst_wave,
)
from upmast.earth.surge import wave
from upmast.earth.withstand import separation_distance_m, separation_source
from upmast.finding import Figure, Finding
from upmast.formula import Expr, Num, Sym, ln, max_, min_, sum_
from upmast.limits import Limits
from upmast.source import Mark, Origin, Source
from upmast.weather.heat import BALANCE, sheath_working
from upmast.working import ChoiceStep, FormulaStep, Quantity, SolvedStep, Step

COPPER = Source("IEC 60028", "17.241 Ω mm²/km at 20 °C, over the copper-equivalent section of the shield")
ALPHA = Source("IEC 60287-1-1", "table 1")
SHEATH = Source(
    "common practice, no source", "a black sheath in the sun, 20 K above the hottest air", mark=Mark.PRACTICE
)
LINE = Source("line.yaml", "items")
PLAN = Source("own derivation: places in plan")
OHM = Source("Ohm's law")
DROP = Source("Faraday's law")
LEVEL = Source("IEC 62305-4", "annex C: the drop of the leads adds to the protection level", mark=Mark.MEMORY)
CORES = Source("IEC 62305-1", "annex E, late limit", mark=Mark.MEMORY)
CODES = (
    "earth.shield-voltage", "earth.shield-share", "earth.protector", "earth.protector-impulse", "earth.separation", "earth.electrode",
)  # fmt: skip


def derive_stroke(i: Inputs, limits: Limits, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure of a stroke."""
    seen = i.exposure
    if seen is None or found.value is None:
        missing = "; ".join(found.missing) if isinstance(found, Finding) else ""
        return (ChoiceStep("not known", f"missing: {missing}"),)
    if found.code == "earth.electrode":
        return _electrode(i, seen)
    if found.code == "earth.separation":
        return _separation(i, seen, found.rank)
    if found.code == "earth.shield-share":
        return _share(seen, found.rank, percent=True)
    if found.code == "earth.shield-voltage":
        return _shield(i, limits, seen, found.rank)
    return _protector(i, limits, seen, found.rank, found.code)


def _site(i: Inputs, clause: str) -> Source:
    return Source(f"site {i.site}", f"earthing.{clause}", mark=Mark.DECLARED)


def _worst(seen: Exposure, n: int) -> tuple[int, float]:
    """The factor of the legs at which a share is highest, and the share."""
    safe = shares_of(seen).safe[:, n]
    row = int(safe.argmax())
    return row, float(safe[row])


def _share(seen: Exposure, n: int, percent: bool) -> tuple[Step, ...]:
    """The share of a shield, solved among all conductors, with its tail as a formula beside."""
    row, safe = _worst(seen, n)
    value, unit = (100 * safe, "%") if percent else (safe, "")
    words = f"share of a stroke that {seen.cables[n]} never passes"
    result = Quantity("x", value, unit, words, Origin.EXPECTED, MODEL)
    if not math.isnan(seen.share):
        study = Quantity(
            "x_s",
            seen.share,
            "",
            "share by a study, told by the site",
            Origin.DECLARED,
            Source("site", "earthing.shield_share_fraction", mark=Mark.DECLARED),
        )
        return (FormulaStep(result, (100 if percent else 1) * Sym("x_s"), (study,)),)  # fmt: skip
    shares, factor = shares_of(seen), seen.factors[row]
    quantities = [
        Quantity(
            "n_l", float(len(seen.legs_m)), "", "strips of the pole" if seen.pole_m else "legs", Origin.EXPECTED, PLAN
        ),
        Quantity("r_l", seen.leg_ohm_per_km, "Ω/km", "each, with direct current", Origin.DEFAULT, LEG_SOURCE),
        Quantity(
            "k", factor, "", "rise of it in a stroke, the worst of those looked at", Origin.DEFAULT, LEG_BAND_SOURCE
        ),
    ]
    warm = seen.ohm_per_km * seen.warm
    quantities += [
        Quantity(f"r_{m}", float(warm[m]), "Ω/km", f"shield of {run}, warm", Origin.EXPECTED, COPPER)
        for m, run in enumerate(seen.cables)
    ]
    every: list[Expr] = [1 / Sym(f"r_{m}") for m in range(len(seen.cables))]
    for m, ohm in enumerate(seen.beside_ohm_per_km * seen.warm):
        quantities.append(
            Quantity(f"r_e{m}", float(ohm), "Ω/km", "earth conductor beside it, warm", Origin.EXPECTED, COPPER)
        )
        every.append(1 / Sym(f"r_e{m}"))
    together = Sym("n_l") / (Sym("k") * Sym("r_l")) + sum_(every)
    tail = Quantity(
        "x_t", float(shares.tail[row, n]), "", f"share of {seen.cables[n]} in the tail", Origin.EXPECTED, OHM
    )
    check = FormulaStep(tail, 1 / Sym(f"r_{n}") / together, tuple(quantities))
    solved = SolvedStep(
        (result,),
        f"L di/dt + R i = v for {_conductors(seen)} over {seen.run_m:g} m, the current switched on at once; its extremes over "
        f"all time constants, legs' resistance {seen.factors[0]:g} to {seen.factors[-1]:g} times",
        "extremes found within 0.1 %",
        f"front share {100 * shares.front[n]:.2f} % and tail share {100 * shares.tail[row, n]:.2f} % lie at or below it",
        (check,),
    )
    return (
        ChoiceStep(f"legs at {factor:g} times", "the rise of the legs' resistance at which the share is highest"),
        solved,
    )


def _conductors(seen: Exposure) -> str:
    more = f" and {len(seen.beside_m)} earth conductor" if len(seen.beside_m) else ""
    return f"{len(seen.legs_m)} legs or strips and {len(seen.cables)} shields{more}"


def _followed(seen: Exposure, n: int, share: float) -> tuple[Step, ...]:
    """The share of a shield at the peak of its current in a stroke that is followed through."""
    result = Quantity(
        "x", share, "", f"highest current of {seen.cables[n]} over that of the stroke", Origin.EXPECTED, MODEL
    )
    whole = Quantity("x_s", _worst(seen, n)[1], "", "share that no stroke passes", Origin.EXPECTED, MODEL)
    least = FormulaStep(result, min_(Sym("x_p"), Sym("x_s")), (replace(result, symbol="x_p"), whole))
    solved = SolvedStep(
        (result,),
        f"L di/dt + R i = v for {_conductors(seen)} over {seen.run_m:g} m, followed through a first positive stroke; "
        f"legs' resistance {seen.factors[0]:g} to {seen.factors[-1]:g} times, the highest of them",
        "each mode stepped exactly; the wave as a cubic between instants, within 1e-4",
        "the currents add up to that of the stroke at every instant",
        (least,),
    )
    return (
        ChoiceStep("the wave followed through", "the share that no wave passes would be too much for the limit"),
        solved,
    )


def _shield(i: Inputs, limits: Limits, seen: Exposure, n: int) -> tuple[Step, ...]:
    limit = withstand_of(i, limits)
    shares, name = shares_of(seen), worst_wave(seen)
    rows, followed = governing(seen, shares, limit.value)
    safe = float(rows[:, n].max())
    area = Quantity("q", float(seen.area_mm2[n]), "mm²", f"copper-equivalent section of the shield of {seen.cables[n]}", Origin.LISTED, Source("part of the catalogue", "shield_area_mm2", mark=Mark.INVENTED))  # fmt: skip
    length = Quantity("l", float(seen.length_m[n]), "m", "on the mast, bonded at both ends", Origin.EXPECTED, LINE)
    ohm = Quantity("R", float(seen.shield_ohm[n]), "Ω", "shield, warm", Origin.EXPECTED, COPPER)
    resistance = FormulaStep(
        ohm, Sym("rho") / Sym("q") * Sym("l") / 1000 * (1 + Sym("a_20") * (Sym("theta") - 20)),
        (
            Quantity("rho", float(seen.ohm_per_km[n] * seen.area_mm2[n]), "Ω·mm²/km", "copper at 20 °C", Origin.LISTED, COPPER), area, length,
            Quantity("a_20", 0.00393, "1/K", "temperature coefficient of copper", Origin.LISTED, ALPHA),
            Quantity("theta", seen.shield_c, "°C", "shield", *_shield_from(i, seen)),
        ),
    )  # fmt: skip
    form = wave(name)
    volts = Quantity(
        "U", float(shield_v(seen, replace(shares, safe=rows), name)[:, n].max()), "V", f"core to shield of {seen.cables[n]}", Origin.EXPECTED, MODEL,
    )  # fmt: skip
    inputs = (
        Quantity("x", safe, "", "share of the stroke", Origin.EXPECTED, MODEL),
        Quantity("I", seen.peak_a(name), "A", f"{name.replace('_', ' ')} stroke of level {seen.level}, its highest current", Origin.LISTED, form.source), ohm,
        Quantity("M", seen.transfer_h_per_m, "H/m", "transfer inductance; 0 for a closed tube", Origin.DECLARED, _site(i, "transfer_nh_per_m")), length,
        Quantity("S", seen.slope_a_per_s(name), "A/s", "its steepest slope", Origin.LISTED, form.source),
    )  # fmt: skip
    x, peak, r, m, l, s = (Sym(q.symbol) for q in inputs)  # noqa: E741
    first = _followed(seen, n, safe) if followed else _share(seen, n, percent=False)
    if seen.shield_by == "sun":
        words = "shield, as hot as its sheath in the sun; heat of the conductors is not in it"
        first = (*first, sheath_working(i.site, "low-hot", seen.shield_c, seen.air_c, seen.sun_w_per_m2, words))
    return (*first, resistance, FormulaStep(volts, x * (peak * r + m * l * s), inputs))


def _shield_from(i: Inputs, seen: Exposure) -> tuple[Origin, Source]:
    """Where the temperature of the shields comes from."""
    if seen.shield_by == "sun":
        return Origin.EXPECTED, BALANCE
    return (Origin.DEFAULT, SHEATH) if seen.shield_by == "rule" else (Origin.DECLARED, _site(i, "shield_c"))


def _core(seen: Exposure, run: str, current_a: float) -> FormulaStep:
    """The share of one core, late limit."""
    n = seen.cables.index(run)
    _, safe = _worst(seen, n)
    inputs = (
        Quantity("x", safe, "", f"share of {run} that a stroke never passes", Origin.EXPECTED, MODEL),
        Quantity("I", seen.peak_a(), "A", f"first positive stroke of level {seen.level}", Origin.LISTED, wave("first_positive").source),
        Quantity("R_s", float(seen.shield_ohm[n]), "Ω", "shield, warm", Origin.EXPECTED, COPPER),
        Quantity("R_c", float(seen.core_ohm_per_km[n] * 1e-3 * seen.length_m[n]), "Ω", "one core at 20 °C", Origin.LISTED, Source("IEC 60228", "or its data sheet")),
        Quantity("n", float(seen.cores[n]), "", "cores", Origin.LISTED, LINE),
    )  # fmt: skip
    x, peak, shield, core, count = (Sym(q.symbol) for q in inputs)
    result = Quantity(
        "I_c", current_a, "A", f"current of one core of {run}, late limit: the safe side", Origin.EXPECTED, CORES
    )
    return FormulaStep(result, x * peak * shield / (count * shield + core), inputs)


def _protector(i: Inputs, limits: Limits, seen: Exposure, n: int, code: str) -> tuple[Step, ...]:
    one = seen.protectors[n]
    shares = shares_of(seen) if seen.cables and not seen.missing else None
    flow = protector_current(seen, shares, one)
    assert flow is not None
    current_a, _, run = flow
    steps: list[Step] = []
    if run:
        steps.append(_core(seen, run, current_a))
        current = Quantity("I_c", current_a, "A", "current through it", Origin.EXPECTED, CORES)
    else:
        current = Quantity("I_c", current_a, "A", "current through it", Origin.DECLARED, _site(i, "protectors"))
    if code == "earth.protector-impulse":
        same = Quantity("I_imp", current_a, "A", f"impulse through the protector at {one.at}", Origin.EXPECTED, CORES)
        return (*steps, FormulaStep(same, Sym("I_c"), (current,)))
    level = protector_level(i, limits, seen, shares, one)
    assert level is not None
    drop = Quantity("U_l", level.drop_v, "V", "drop of its leads on the front", Origin.EXPECTED, DROP)
    steps.append(
        FormulaStep(
            drop, Sym("L") * Sym("l") * Sym("I_c") / Sym("T_1"),
            (
                Quantity("L", LEAD_H_PER_M, "H/m", "inductance of a lead", Origin.DEFAULT, LEAD_SOURCE),
                Quantity("l", one.counted_m, "m", "length of lead that counts, both sides", Origin.DECLARED, _site(i, "protectors")), current,
                Quantity("T_1", level.front_s, "s", "front", Origin.DECLARED if not level.run else Origin.LISTED, _site(i, "protectors") if not level.run else wave("first_positive").source),
            ),
        )
    )  # fmt: skip
    withstand = withstand_of(i, limits)
    factor = level.limit.value / withstand.value
    rule = CRITERION_SOURCE if math.isnan(one.allowed) else _site(i, "protectors")
    steps.append(
        FormulaStep(
            Quantity("U_a", level.limit.value, "V", "what may be left behind it", Origin.EXPECTED, level.limit.source), Sym("f") * Sym("U_w"),
            (
                Quantity("f", factor, "", f"share of it, {one.cable_words} from the equipment", Origin.LISTED, rule),
                Quantity("U_w", withstand.value, "V", "withstand of the equipment", Origin.DECLARED if not math.isnan(seen.withstand_v) else Origin.DEFAULT, withstand.source),
            ),
        )
    )  # fmt: skip
    up = Quantity("U_p", one.up_v, "V", "protection level of its data sheet", Origin.DECLARED, _site(i, "protectors"))
    whole: Expr = max_(Sym("U_p"), Sym("U_l")) if one.switching else Sym("U_p") + Sym("U_l")
    left = Quantity("U_eff", level.effective_v, "V", "what it leaves with its leads", Origin.EXPECTED, LEVEL)
    return (*steps, FormulaStep(left, whole, (up, drop)))


def _separation(i: Inputs, seen: Exposure, n: int) -> tuple[Step, ...]:
    end = next(e for e in open_ends(i) if e.cable == n)
    loop = Quantity("L_o", end.loop_h, "H", "loop between the steel and the cable", Origin.EXPECTED, MODEL)
    steps: list[Step] = []
    for name, volts in end.volts:
        form = wave(name)
        peak = form.peaks_a[("I", "II", "III", "IV").index(seen.level)]
        inputs = (
            loop, Quantity("I", peak, "A", f"{name.replace('_', ' ')} stroke of level {seen.level}", Origin.LISTED, form.source),
            Quantity("T_1", form.front_s, "s", "its front", Origin.LISTED, form.source),
            Quantity("R_m", end.mast_ohm, "Ω", "legs together, at the top of their band", Origin.DEFAULT, LEG_BAND_SOURCE),
        )  # fmt: skip
        open_v = Quantity("U_o", volts, "V", "voltage at the open end", Origin.EXPECTED, DROP)
        steps.append(FormulaStep(open_v, Sym("L_o") * Sym("I") / Sym("T_1") + Sym("R_m") * Sym("I"), inputs))
    needed = float(separation_distance_m(end.length_m, seen.level, max(seen.down_conductors, 1)))
    per_m = Quantity(
        "s_1",
        needed / end.length_m,
        "",
        "k_i / k_m k_c of the level, air, and the down conductors",
        Origin.LISTED,
        separation_source(),
    )
    length = Quantity("l", end.length_m, "m", "from the next bond to the open end", Origin.EXPECTED, LINE)
    apart = Quantity("s", needed, "m", "separation distance", Origin.EXPECTED, separation_source())
    steps.append(FormulaStep(apart, Sym("s_1") * Sym("l"), (per_m, length)))
    if seen.pole_m > 0:
        steel, radius = abs(math.hypot(*seen.cable_m[n]) - seen.pole_m / 2), 0.0
    else:
        steel = min(math.hypot(x - seen.cable_m[n][0], y - seen.cable_m[n][1]) for x, y in seen.legs_m)
        radius = seen.leg_radius_m
    gap = Quantity("g", gap_m(seen, n), "m", "air between the cable and the nearest steel", Origin.EXPECTED, PLAN)
    parts = (
        Quantity("d", float(steel), "m", "from axis to axis, of a pole to its surface", Origin.EXPECTED, PLAN),
        Quantity("r_l", radius, "m", "radius that stands for a leg", Origin.EXPECTED, PLAN),
        Quantity("r_c", float(seen.cable_radius_m[n]), "m", "radius of the cable", Origin.LISTED, LINE),
    )
    return (*steps, FormulaStep(gap, max_(Sym("d") - Sym("r_l") - Sym("r_c"), Num(0)), parts))


def _electrode(i: Inputs, seen: Exposure) -> tuple[Step, ...]:
    assert seen.electrode is not None
    soil, count, length, radius, apart = seen.electrode
    inputs = (
        Quantity("rho", soil, "Ω·m", "resistivity of the soil", Origin.DECLARED, _site(i, "electrode.soil_ohm_m")),
        Quantity("L", length, "m", "length of a rod in it", Origin.DECLARED, _site(i, "electrode.rod_m")),
        Quantity("a", radius, "m", "radius of a rod", Origin.DECLARED, _site(i, "electrode.rod_radius_mm")),
        Quantity("pi", math.pi, "", "number", Origin.LISTED, Source("mathematics")),
    )
    one = Quantity(
        "R_1",
        float(rod_ohm(soil, length, radius)),
        "Ω",
        "one rod",
        Origin.EXPECTED,
        Source("Dwight's formula", mark=Mark.MEMORY),
    )
    formula = FormulaStep(one, Sym("rho") / (2 * Sym("pi") * Sym("L")) * (ln(4 * Sym("L") / Sym("a")) - 1), inputs)
    value = electrode_ohm(seen.electrode)
    together = Quantity(
        "R_n", value, "Ω", f"{count} rod(s) in a row, {apart:g} m apart", Origin.EXPECTED, ROD_BAND_SOURCE
    )
    return (
        formula,
        SolvedStep(
            (together,), "mean potentials of each rod and its image by Neumann's integral", "within 1.5 % of a moment method in even soil",
            f"one rod over {count}: {one.value / count:.2f} Ω" + (", which is always too low" if count > 1 else ""),
        ),
    )  # fmt: skip


__all__ = ["CODES", "derive_stroke"]
