"""The working of the RF room's findings and figures: from the data sheets to the return loss and loss shown."""

from __future__ import annotations

import numpy as np

from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from upmast.finding import Figure, Finding
from upmast.formula import Expr, Sym, log10, max_, min_, sqrt, sum_, symbols
from upmast.rf.derive_length import derive_length
from upmast.rf.phase_set import derive_phases
from upmast.rf.power import POWER_CODES, derive_power
from upmast.rf.state import LOAD_RETURN_LOSS_DB, Inputs, State
from upmast.source import PRACTICE, Mark, Origin, Source
from upmast.weather.heat import BALANCE, sheath_working
from upmast.working import ChoiceStep, FormulaStep, Quantity, SolvedStep, Step

LUMP = Source("Pozar, Microwave Engineering, chapter 4", "lossless lump in a matched line")
LOSS = Source("Pozar, Microwave Engineering, chapter 2", "conductor and dielectric loss of coaxial lines")
WORST = Source("own derivation: lossless joint before a reflection of free phase", "checked by search over phases")
LINE = Source("line.yaml", "length of the item")
BOUND = Source("own derivation: what is seen through a two-port, at most", "triangle inequality on its signal flow")


def derive(inputs: Inputs, state: State, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure."""
    if found.value is None:
        why = found.note or "; ".join(getattr(found, "missing", ()))
        return (ChoiceStep(why or "no value", "walk from the radio port over joints and cables to the antenna port"),)
    if found.code == "rf.right-port":
        return (
            ChoiceStep(
                found.note,
                "walk from the radio port to the end, and compare with antenna_ports and inline of the radio",
            ),
        )
    if found.code == "rf.return-loss-at-radio":
        return _reflection(inputs, state, found, load=False)
    if found.code == "rf.return-loss-load":
        return _reflection(inputs, state, found, load=True)
    if found.code == "rf.length-gain":
        return derive_length(inputs, found)
    if found.code == "rf.phase-match":
        return derive_phases(next(one for one in inputs.sets if one.radio == found.subject), inputs.site)
    if found.code in POWER_CODES:
        steps = derive_power(inputs, state, found)
        return (_sheath(inputs, state), *steps) if found.code == POWER_CODES[0] else steps
    if found.code == "rf.frequency":
        return _frequency(inputs, found)
    return _loss(inputs, state, found)


def _part(i: Inputs, id: str, name: str) -> Source:
    document, mark = i.sources[f"{id}.{name}"]
    return Source(document, mark=Mark(mark))


def _given(i: Inputs, id: str, name: str) -> tuple[Origin, Source]:
    """Where a value of a part comes from: its data sheet, or a default of ours."""
    source = _part(i, id, name)
    return (Origin.DEFAULT if source.document.startswith("not given") else Origin.LISTED), source


def _f(value: float, meaning: str = "frequency of the worst point") -> Quantity:
    return Quantity("f", value / 1e9, "GHz", meaning, Origin.DECLARED, Source("carriers of the radio and their band"))


def _cable_loss(i: Inputs, p: int, n: int, f: Quantity, theta_c: float, sign: int, words: str) -> FormulaStep:
    """One-way loss of one cable: (a sqrt(f) k + b f) L."""
    a, b, length, t, theta, alpha, freq = symbols("a b L t theta alpha_20 f")
    copper = COPPER_TEMPERATURE_COEFFICIENT_PER_K
    id, part = i.cable[p][n], i.cable_part[p][n]
    q = (
        Quantity("a", float(i.root_db_per_m[p, n]), "dB/m", "conductor part of the loss of one metre at 1 GHz, 20 °C", *_given(i, part, "a_db_per_m")),
        Quantity("b", float(i.linear_db_per_m[p, n]), "dB/m", "dielectric part of the loss of one metre at 1 GHz", *_given(i, part, "b_db_per_m")),
        f,
        Quantity("alpha_20", copper.value, "1/K", "temperature coefficient of copper", Origin.LISTED, copper.source),
        Quantity("theta", theta_c, "°C", words, Origin.EXPECTED, BALANCE),
        Quantity("L", float(i.length_m[p, n]), "m", f"length of {id}", Origin.EXPECTED, LINE),
        Quantity("t", float(i.tolerance_m[p, n]), "m", "how far the length may be off", Origin.EXPECTED, LINE),
    )  # fmt: skip
    long: Expr = max_(length - t, 0) if sign < 0 else length + t
    expression = (a * sqrt(freq) * sqrt(1 + alpha * (theta - 20)) + b * freq) * long
    value = expression.value({x.symbol: x.value for x in q})
    return FormulaStep(
        Quantity(f"A_{n + 1}", value, "dB", f"one-way loss of {id}", Origin.EXPECTED, LOSS), expression, q
    )


def _joint(i: Inputs, p: int, n: int, f: Quantity) -> tuple[FormulaStep, FormulaStep]:
    """Reflection of one joint at f from its value at f_ref."""
    loss, ref, freq, x = symbols("RL f_ref f x")
    part = i.joint_part[p][n]
    q = (
        Quantity("RL", float(i.joint_return_loss_db[p, n]), "dB", f"least return loss of a mated {part}", *_given(i, part, "return_loss_db")),
        f,
        Quantity("f_ref", float(i.joint_reference_hz[p, n]) / 1e9, "GHz", "where it is given", *_given(i, part, "return_loss_at_hz")),
    )  # fmt: skip
    one = 2 * 10 ** (-loss / 20) / sqrt(1 - 10 ** (-loss / 10)) * freq / ref
    made = Quantity(
        "x", one.value({k.symbol: k.value for k in q}), "", f"reactance of {i.joint[p][n]}, it grows with f", Origin.EXPECTED, LUMP
    )  # fmt: skip
    two = x / sqrt(4 + x**2)
    size = Quantity(
        f"r_{n + 1}", two.value({"x": made.value}), "", f"reflection of {i.joint[p][n]}", Origin.EXPECTED, LUMP
    )
    return FormulaStep(made, one, q), FormulaStep(size, two, (made,))


def _reflection(i: Inputs, state: State, found: Finding | Figure, load: bool) -> tuple[Step, ...]:
    p = found.rank
    gamma = state.load_gamma if load else state.radio_gamma
    f = _f(float(i.frequency_hz[p, int(np.argmax(gamma[p]))]))
    if load:
        end = Quantity("RL_end", LOAD_RETURN_LOSS_DB, "dB", "return loss of the load", Origin.DEFAULT, PRACTICE)
        first: Expr = 10 ** (-Sym("RL_end") / 20)
    elif i.end_gamma.size and not np.isnan(i.end_gamma[p]).all():
        at = int(np.argmax(gamma[p]))
        source = _part(i, i.antenna_part[p], "measured")
        value = float(-20 * np.log10(i.end_gamma[p, at]))
        end = Quantity("RL_end", value, "dB", f"measured return loss of {i.antenna[p]}", Origin.LISTED, source)
        first = 10 ** (-Sym("RL_end") / 20)
    else:
        source = _part(i, i.antenna_part[p], "ports")
        end = Quantity("S", float(i.antenna_vswr[p]), "", f"highest VSWR of {i.antenna[p]}", Origin.LISTED, source)
        first = (Sym("S") - 1) / (Sym("S") + 1)
    m = Quantity("M_0", first.value({end.symbol: end.value}), "", "reflection of the far end", Origin.EXPECTED, WORST)
    steps: list[Step] = [FormulaStep(m, first, (end,))]
    cold = float(i.ambient_c[state.cold])
    step = 0
    for n in reversed(range(len(i.joint[p]))):
        if n in i.inline[p]:
            step += 1
            through = _seen_through(i, p, n, int(np.argmax(gamma[p])), m, step)
            steps.append(through)
            m = through.result
        elif n < len(i.cable[p]):
            loss = _cable_loss(i, p, n, f, cold, -1, "cable in the coldest air, where it loses least")
            step += 1
            back = Sym(m.symbol) * 10 ** (-2 * Sym(loss.result.symbol) / 20)
            value = back.value({m.symbol: m.value, loss.result.symbol: loss.result.value})
            made = Quantity(f"M_{step}", value, "", f"before {i.cable[p][n]}", Origin.EXPECTED, WORST)
            steps += [loss, FormulaStep(made, back, (m, loss.result))]
            m = made
        lump, size = _joint(i, p, n, f)
        step += 1
        r, behind = Sym(size.result.symbol), Sym(m.symbol)
        both = (r + behind) / (1 + r * behind)
        value = both.value({size.result.symbol: size.result.value, m.symbol: m.value})
        made = Quantity(f"M_{step}", value, "", f"before {i.joint[p][n]}", Origin.EXPECTED, WORST)
        steps += [lump, size, FormulaStep(made, both, (size.result, m))]
        m = made
    words = f"least return loss at {i.joint[p][0].partition(' ')[0]}"
    result = Quantity("RL_min", float(found.value or 0.0), "dB", words, Origin.EXPECTED, WORST)
    steps.append(FormulaStep(result, -20 * log10(Sym(m.symbol)), (m,)))
    return tuple(steps)


def _frequency(i: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    p = found.rank
    points = sorted({float(f) for f in i.frequency_hz[p]})[-8:]
    source = Source("carriers of the radio and their band")
    q = tuple(
        Quantity(f"f_{n}", f, "Hz", "edge or centre of a channel in use", Origin.DECLARED, source)
        for n, f in enumerate(points, 1)
    )
    result = Quantity(
        "f_max", float(found.value or 0.0), "Hz", "highest frequency in use, uplink and downlink", Origin.EXPECTED, source
    )  # fmt: skip
    among = tuple(f"{part}: {highest / 1e6:g} MHz" for part, highest, _, _ in i.bounds[p])
    lowest = min(i.bounds[p], key=lambda bound: bound[1])
    return (
        FormulaStep(result, max_(*(Sym(x.symbol) for x in q)), q),
        ChoiceStep(
            f"{lowest[0]} governs: it bears {lowest[1] / 1e6:g} MHz",
            "the part with the lowest highest frequency governs",
            among,
        ),
    )


def _sheath(i: Inputs, state: State) -> SolvedStep:
    """Temperature of a cable in the sun, with the balance that it solves."""
    s = state.hot
    air, sun = float(i.ambient_c[s]), float(i.sun_w_per_m2[s])
    words = "cable in the strongest sun"
    return sheath_working(i.site, i.scenarios[s], float(state.sheath_c[s]), air, sun, words)


def _loss(i: Inputs, state: State, found: Finding | Figure) -> tuple[Step, ...]:
    p = found.rank
    f = _f(float(state.highest_hz[p]), "highest frequency in use")
    theta = float(state.sheath_c[state.hot])
    steps: list[Step] = [_sheath(i, state)]
    terms: list[Quantity] = []
    for n in range(len(i.cable[p])):
        if n in i.inline[p]:
            most = float(i.inline_most_db[p, n, int(np.argmax(i.frequency_hz[p]))])
            words = f"highest loss of {i.cable[p][n]}"
            terms.append(Quantity(f"A_u{n + 1}", most, "dB", words, Origin.LISTED, _inline_source(i, p, n, "loss_db")))
            continue
        loss = _cable_loss(i, p, n, f, theta, 1, "cable in the strongest sun")
        steps.append(loss)
        terms.append(loss.result)
    for n, ends in enumerate(i.joint[p]):
        source = _part(i, i.joint_part[p][n], "loss_db")
        terms.append(
            Quantity(
                f"A_c{n + 1}", float(i.joint_loss_db[p, n]), "dB", f"highest loss of {ends}", Origin.LISTED, source
            )
        )
    result = Quantity("A", float(found.value or 0.0), "dB", "highest loss of the path", Origin.EXPECTED, LOSS)
    steps.append(FormulaStep(result, sum_([Sym(t.symbol) for t in terms]), tuple(terms)))
    return tuple(steps)


def _inline_source(i: Inputs, p: int, n: int, field: str) -> Source:
    """Where a value of a two-port comes from: its measurement where there is one."""
    part = i.cable_part[p][n]
    return _part(i, part, "measured" if i.inline_measured[p][i.inline[p].index(n)] else field)


def _seen_through(i: Inputs, p: int, n: int, at: int, behind: Quantity, step: int) -> FormulaStep:
    """What is seen through a two-port: |S11| + |S21 S12| M / (1 - |S22| M)."""
    near, far, loss, m = Sym(f"s_{n + 1}"), Sym(f"e_{n + 1}"), Sym(f"A_u{n + 1}"), Sym(behind.symbol)
    id, source = i.cable[p][n], _inline_source(i, p, n, "return_loss_db")
    q = (
        Quantity(near.name, float(i.inline_near[p, n, at]), "", f"reflection of {id} towards the radio, at most", Origin.LISTED, source),
        Quantity(far.name, float(i.inline_far[p, n, at]), "", f"reflection of {id} towards the antenna, at most", Origin.LISTED, source),
        Quantity(loss.name, float(i.inline_least_db[p, n, at]), "dB", f"lowest loss of {id}", Origin.LISTED, _inline_source(i, p, n, "least_loss_db")),
        behind,
    )  # fmt: skip
    expression = min_(near + 10 ** (-loss / 10) * m / (1 - far * m), 1)
    value = expression.value({x.symbol: x.value for x in q})
    return FormulaStep(Quantity(f"M_{step}", value, "", f"before {id}", Origin.EXPECTED, BOUND), expression, q)
