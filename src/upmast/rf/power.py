"""Findings of the power ratings along each path, and their working."""

from __future__ import annotations

import math

from upmast.finding import Figure, Finding, Limit, Verdict, judge
from upmast.formula import Sym, sqrt, sum_
from upmast.limits import Limits
from upmast.rf.rated import PathPower, RatedPart, Used, average_used, peak_used
from upmast.rf.rating import PEAK_FACTOR_DB, RADIATED_SHARE, air_density_ratio
from upmast.rf.state import Inputs, State, path_power
from upmast.source import PRACTICE, Mark, Origin, Source
from upmast.weather.heat import BALANCE
from upmast.working import ChoiceStep, FormulaStep, Quantity, Step

__all__ = ["POWER_CODES", "derive_power", "power_findings"]

POWER_CODES = ("rf.power-average", "rf.power-peak")
HEAT = Source(
    "own derivation: heat goes with loss, convection with the root of density", "average rating of a coaxial part"
)
SPARK = Source(
    "own derivation: breakdown goes with pressure, crest with the standing wave", "assumption of the safe side"
)
AIR = Source("ISO 2533", "pressure of the standard atmosphere")
CARRIERS = Source("carriers of the radio", "power at the radio port")
WAVE = Source("own derivation: the worst return loss at the radio port", "see rf.return-loss-at-radio")


def power_findings(i: Inputs, state: State, limits: Limits) -> list[Finding]:
    """Both ratings of every path that reaches an antenna; paths alike are worked out once."""
    out: list[Finding] = []
    known: dict[tuple[object, ...], tuple[Used, Used]] = {}
    hot = i.scenarios[state.hot]
    for p, path in enumerate(i.paths):
        if i.broken[p]:
            continue  # fails elsewhere, and carries nothing
        power = path_power(i, state, p)
        key = (i.rated[p], power)
        if key not in known:
            known[key] = _used(i, state, p, power)
        for code, used in zip(POWER_CODES, known[key], strict=True):
            out.append(_finding(i, p, path, code, used, limits.get(code), hot))
    return out


def _used(i: Inputs, state: State, p: int, power: PathPower) -> tuple[Used, Used]:
    parts = tuple(i.ratings[n] for n in i.rated[p])
    return average_used(parts, power, float(state.sheath_c[state.hot])), peak_used(parts, power)


def _finding(i: Inputs, p: int, path: str, code: str, used: Used, limit: Limit | None, scenario: str) -> Finding:
    missing = tuple(m for m in i.missing[p] if not m.startswith("the VSWR of"))
    whole = (*missing, *used.missing)
    value = None if missing or math.isnan(used.share_percent) else min(used.share_percent, 1e6)
    note = ""
    if value is not None and used.part is not None:
        note = f"{used.comes_w:.0f} W on a {used.part.what} that bears {used.bears_w:.0f} W here: {used.part.part}"
    over = limit is not None and value is not None and value > limit.value
    made = judge(
        code, path, value, limit, unit="%", scenario=scenario, note=note, missing=() if over else whole, items=i.items[p], rank=p,
        remedy="parts of a higher rating, fewer or weaker carriers on the port, or better return loss",
    )  # fmt: skip
    assert made.verdict is not Verdict.PASSES or not whole
    return made


def derive_power(i: Inputs, state: State, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one of both findings."""
    p = found.rank
    power = path_power(i, state, p)
    average, peak = _used(i, state, p, power)
    used = average if found.code == POWER_CODES[0] else peak
    if used.part is None:
        return (ChoiceStep("no value", "no part of the path gives this rating", used.missing),)
    steps = _average(i, state, p, power, used) if used is average else _peak(power, used)
    others = tuple(
        f"{one.part}: {'not given' if (w := one.rated_w if used is average else one.peak_w) is None else f'{w:g} W'}"
        for one in (i.ratings[n] for n in i.rated[p])
    )
    comes, bears = steps[-2].result, steps[-1].result
    share = Quantity(
        "u", used.share_percent, "%", "share of the rating", Origin.EXPECTED, HEAT if used is average else SPARK
    )
    return (
        ChoiceStep(f"{used.part.part} governs: it bears {bears.value:.0f} W here", "the part that bears least of the path, of those that say", others),
        *steps,
        FormulaStep(share, 100 * Sym(comes.symbol) / Sym(bears.symbol), (comes, bears)),
    )  # fmt: skip


def _given(part: RatedPart, field: str) -> tuple[Origin, Source]:
    """Where a value of a part comes from: its data sheet, or our default."""
    document, mark = next((row[1], row[2]) for row in part.sources if row[0] == field)
    source = Source(document, mark=Mark(mark))
    return (Origin.DEFAULT if document.startswith("not given") else Origin.LISTED), source


def _density(power: PathPower) -> FormulaStep:
    h = Quantity(
        "h",
        power.altitude_m,
        "m",
        "height of the site above the sea",
        Origin.DECLARED,
        Source("site.yaml", "climate.altitude_m"),
    )
    value = float(air_density_ratio(power.altitude_m))
    result = Quantity("sigma", value, "", "density of the air over that at sea level", Origin.EXPECTED, AIR)
    return FormulaStep(result, (1 - 2.25577e-5 * Sym("h")) ** 5.25588, (h,))


def _wave(power: PathPower) -> Quantity:
    return Quantity("S", power.vswr, "", "VSWR at the radio port, the worst that phases allow", Origin.EXPECTED, WAVE)


def _average(i: Inputs, state: State, p: int, power: PathPower, used: Used) -> tuple[FormulaStep, ...]:
    part = used.part
    assert part is not None
    assert part.rated_w is not None
    air = float(state.sheath_c[state.hot])
    density = _density(power)
    q = [
        Quantity("P_ref", part.rated_w, "W", f"average rating of {part.part}", *_given(part, "rated_w")),
        Quantity("T_max", part.hottest_c, "°C", "hottest temperature inside", *_given(part, "hottest_c")),
        Quantity("T_ref", part.rated_ambient_c, "°C", "air temperature of the rating", *_given(part, "rated_ambient_c")),
        Quantity("T", air, "°C", "temperature of a dark sheath in the strongest sun, on the hottest day, taken as the air", Origin.EXPECTED, BALANCE),
        Quantity("q_r", RADIATED_SHARE, "", "share of the heat that is radiated", Origin.DEFAULT, PRACTICE),
        density.result,
        _wave(power),
    ]  # fmt: skip
    warm = (Sym("T_max") - Sym("T")) / (Sym("T_max") - Sym("T_ref"))
    cooled = Sym("q_r") + (1 - Sym("q_r")) * sqrt(Sym("sigma"))
    expression = Sym("P_ref") * warm * cooled / Sym("S")
    if part.root or part.linear:
        q += [
            Quantity("f_ref", part.rated_hz / 1e9, "GHz", "frequency of the rating", *_given(part, "rated_hz")),
            Quantity("f", power.frequency_hz / 1e9, "GHz", "highest frequency in use", Origin.DECLARED, Source("carriers of the radio and their band")),
        ]  # fmt: skip
        if part.linear:
            q += [
                Quantity("a", part.root, "dB/m", "conductor part of its loss at 1 GHz", *_given(part, "a_db_per_m")),
                Quantity("b", part.linear, "dB/m", "dielectric part of its loss at 1 GHz", *_given(part, "b_db_per_m")),
            ]
            at, ref = Sym("f"), Sym("f_ref")
            loss = (Sym("a") * sqrt(ref) + Sym("b") * ref) / (Sym("a") * sqrt(at) + Sym("b") * at)
        else:
            loss = sqrt(Sym("f_ref") / Sym("f"))
        expression = expression * loss
    comes = _sent(power)
    value = max(used.bears_w, 0.0)
    bears = Quantity("P_b", value, "W", f"average power that {part.part} bears here", Origin.EXPECTED, HEAT)
    return (density, comes, FormulaStep(bears, expression, tuple(q)))


def _sent(power: PathPower) -> FormulaStep:
    terms = tuple(
        Quantity(f"P_{n}", w, "W", f"carrier {n}", Origin.DECLARED, CARRIERS) for n, w in enumerate(power.carriers_w, 1)
    )
    result = Quantity("P_s", power.sent_w, "W", "average power of all carriers", Origin.EXPECTED, CARRIERS)
    return FormulaStep(result, sum_([Sym(t.symbol) for t in terms]), terms)


def _peak(power: PathPower, used: Used) -> tuple[FormulaStep, ...]:
    part = used.part
    assert part is not None
    assert part.peak_w is not None
    crest = Quantity("q", PEAK_FACTOR_DB, "dB", "peak over average of a noise-like carrier", Origin.DEFAULT, PRACTICE)
    terms = tuple(
        Quantity(f"P_{n}", w, "W", f"carrier {n}", Origin.DECLARED, CARRIERS) for n, w in enumerate(power.carriers_w, 1)
    )
    comes = Quantity("P_e", used.comes_w, "W", "peak of all carriers at their crest at once", Origin.EXPECTED, SPARK)
    total = sum_([sqrt(Sym(t.symbol) * 10 ** (Sym("q") / 10)) for t in terms])
    density = _density(power)
    rated = Quantity("P_pk", part.peak_w, "W", f"peak rating of {part.part}", *_given(part, "rated_peak_w"))
    bears = Quantity("P_b", used.bears_w, "W", f"peak power that {part.part} bears here", Origin.EXPECTED, SPARK)
    expression = Sym("P_pk") * Sym("sigma") ** 2 / Sym("S")
    return (
        density,
        FormulaStep(comes, total**2, (*terms, crest)),
        FormulaStep(bears, expression, (rated, density.result, _wave(power))),
    )
