"""The working of the fibre room's findings and figures."""

from __future__ import annotations

import math

from upmast.constants import SPEED_OF_LIGHT_M_PER_S
from upmast.fibre.bend import bend_source
from upmast.fibre.delay import (
    DISPERSION_SLOPE_PS_PER_NM2_KM,
    GROUP_INDEX_1310,
    GROUP_INDEX_1550,
    ZERO_DISPERSION_NM_WAVE,
)
from upmast.fibre.evaluate import LONG_WAVE_NM, SIGMA_SHARE, bent, loop_bend_db, of, strand_radius_mm
from upmast.fibre.state import Inputs, Way
from upmast.fibre.strain import LIFE_SOURCE
from upmast.finding import Figure, Finding
from upmast.formula import Expr, Sym, abs_, exp, log10, sqrt, sum_, symbols
from upmast.source import Mark, Origin, Source
from upmast.working import ChoiceStep, FormulaStep, Quantity, Step

OWN = Source("own derivation: power budget", "sum of losses in dB")
DELAY = Source("definition of the group index", "dispersion by ITU-T G.652")
LINE = Source("line.yaml", "length_m and tolerance_m")
LIGHT = Quantity(
    SPEED_OF_LIGHT_M_PER_S.symbol, SPEED_OF_LIGHT_M_PER_S.value, SPEED_OF_LIGHT_M_PER_S.unit, "speed of light", Origin.LISTED,
    SPEED_OF_LIGHT_M_PER_S.source,
)  # fmt: skip


def derive(inputs: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure."""
    row, code = found.rank, found.code
    if code == "fibre.low-margin":
        loss = _loss(inputs, row)
        tx = _power(inputs.ways[row], "P_tx", "tx_minimum_dbm", "lowest launched power")
        rx = _power(inputs.ways[row], "P_rx", "rx_minimum_dbm", "lowest power that the receiver needs")
        margin = Quantity("M", found.value or 0.0, "dB", "margin of the weakest light", Origin.EXPECTED, OWN)
        return (*loss, FormulaStep(margin, Sym("P_tx") - Sym("A_max") - Sym("P_rx"), (tx, loss[-1].result, rx)))
    if code == "fibre.overload-margin":
        least = _least(inputs, row)
        tx = _power(inputs.ways[row], "P_tx", "tx_maximum_dbm", "highest launched power")
        rx = _power(inputs.ways[row], "P_rx", "rx_maximum_dbm", "highest power that the receiver bears")
        margin = Quantity("M", found.value or 0.0, "dB", "margin of the strongest light", Origin.EXPECTED, OWN)
        return (least, FormulaStep(margin, Sym("P_rx") - (Sym("P_tx") - Sym("A_min")), (rx, tx, least.result)))
    if code == "fibre.channel-loss":
        return _loss(inputs, row)
    if code == "fibre.loss-likely":
        return _likely(inputs, row)
    if code in ("fibre.return-loss", "fibre.reflections"):
        return (_reflections(inputs, row, found.value or 0.0),)
    if code in ("fibre.delay", "fibre.one-way-delay"):
        return _delay(inputs, row, 1e9 * float(of(inputs).delay_s[row]))
    if code in ("fibre.asymmetry", "fibre.delay-asymmetry"):
        return _asymmetry(inputs, row - row % 2, found.value or 0.0)
    if code == "fibre.right-port":
        return (_walk(inputs, row - row % 2, found),)
    if code.startswith("fibre.loop-"):
        return _loop(inputs, row, found)
    if code == "fibre.bend-radius":
        return (ChoiceStep(f"{found.value:g} mm", found.note),)
    if code == "fibre.optics-pair":
        a, b = inputs.ways[row], inputs.ways[row + 1]
        ways = tuple(f"{w.sender} sends at {w.sent_nm_wave:g} nm; {w.receiver} receives at {w.received_nm_wave:g} nm" for w in (a, b))  # fmt: skip
        return (ChoiceStep(found.note, "compare what each sends with what the other receives", ways),)
    value = f"{found.value:g}" if found.value is not None else "no value"
    return (ChoiceStep(value, "counted on the line: " + found.note),)


def _walk(inputs: Inputs, start: int, found: Finding | Figure) -> ChoiceStep:
    ways = []
    for one in inputs.ways[start : start + 2]:
        over = " > ".join(one.items) or "nothing"
        strands = f" (strand {', '.join(one.strands)})" if one.strands else ""
        ways.append(f"{one.start} > {over}{strands} > {one.reached or 'nowhere'}; meant: {one.meant}")
    if inputs.changes and isinstance(found, Finding) and found.value == 0:
        ways += [f"what would put it right: {change.words}" for change in inputs.changes]
    right = all(way.right for way in inputs.ways[start : start + 2])
    return ChoiceStep(
        "right" if right else found.note, "follow the light from each sender to where it ends", tuple(ways)
    )


def _power(way: Way, symbol: str, name: str, words: str) -> Quantity:
    source = dict(way.sources).get(name, Source("no optic"))
    part = way.sender if name.startswith("tx") else way.receiver
    return Quantity(symbol, float(getattr(way, name)), "dBm", f"{words}, {part}", Origin.LISTED, source)


def _glass(way: Way, least: bool = False) -> tuple[list[Expr], list[Quantity]]:
    terms: list[Expr] = []
    q: list[Quantity] = []
    for n, glass in enumerate(way.glass, 1):
        source = glass.least_source if least else glass.source
        a = glass.least_db_per_km if least else glass.attenuation_db_per_km
        length = glass.shortest_m if least else glass.length_m
        what = "lowest" if least else "highest"
        q.append(Quantity(f"a_{n}", a, "dB/km", f"{what} attenuation of {glass.item}", Origin.LISTED, source))
        q.append(
            Quantity(f"L_{n}", length, "m", f"{'shortest' if least else 'longest'} length of {glass.item}, by its tolerance", Origin.EXPECTED, LINE)
        )  # fmt: skip
        terms.append(Sym(f"a_{n}") * Sym(f"L_{n}") / 1000)
    return terms, q


def _loss(inputs: Inputs, row: int) -> tuple[FormulaStep, ...]:
    """A_max = sum(a L / 1000) + sum(A_i) + bends + repairs."""
    way = inputs.ways[row]
    terms, q = _glass(way)
    for n, event in enumerate(way.events, 1):
        words = f"{event.a} to {event.b}, highest loss of {event.part}"
        q.append(Quantity(f"A_{n}", event.loss_db, "dB", words, Origin.LISTED, event.source))
        terms.append(Sym(f"A_{n}"))
    before: list[FormulaStep] = []
    for n, k in enumerate(way.loops, 1):
        step = _bend(inputs, k, way.sent_nm_wave, f"A_b{n}")
        before.append(step)
        q.append(step.result)
        terms.append(Sym(f"A_b{n}"))
    if inputs.repair_db:
        source = Source(f"site {inputs.site}", "policy.repair_db", mark=Mark.DECLARED)
        q.append(Quantity("A_r", inputs.repair_db, "dB", "kept for repairs", Origin.DECLARED, source))
        terms.append(Sym("A_r"))
    if not terms:
        terms = [Sym("A_0")]
        q = [Quantity("A_0", 0.0, "dB", "nothing on the way", Origin.EXPECTED, OWN)]
    words = f"highest loss from {way.start} to {way.meant}"
    value = float(of(inputs).worst_db[row])
    return (*before, FormulaStep(Quantity("A_max", value, "dB", words, Origin.EXPECTED, OWN), sum_(terms), tuple(q)))


def _bend(inputs: Inputs, k: int, wave: float, symbol: str = "A_b") -> FormulaStep:
    """A loop's share by the limit of its class: turns times the limit of one turn."""
    loop = inputs.loops[k]
    turns = loop.turns + loop.exit_turn
    value = float(loop_bend_db((loop,), wave)[0])
    limit = Quantity(
        "A_k", value / turns, "dB",
        f"limit of one turn of {loop.fibre_class} at the largest tabulated radius not above {strand_radius_mm(loop):.4g} mm, "
        f"at {1550 if wave <= 1550 else 1625} nm",
        Origin.LISTED, bend_source(loop.fibre_class),
    )  # fmt: skip
    n = Quantity("n", turns, "", f"turns of {loop.id}", Origin.DECLARED, Source("line.yaml", "turns and exit_turn"))
    result = Quantity(symbol, value, "dB", f"bend of {loop.id}, at most", Origin.EXPECTED, OWN)
    return FormulaStep(result, Sym("n") * Sym("A_k"), (n, limit))


def _least(inputs: Inputs, row: int) -> FormulaStep:
    way = inputs.ways[row]
    terms, q = _glass(way, least=True)
    q.append(Quantity("A_0", 0.0, "dB", "loss of joints that is counted on: none, the safe side", Origin.DEFAULT, OWN))
    result = Quantity("A_min", float(of(inputs).best_db[row]), "dB", "lowest loss", Origin.EXPECTED, OWN)
    return FormulaStep(result, sum_([*terms, Sym("A_0")]), tuple(q))


def _likely(inputs: Inputs, row: int) -> tuple[FormulaStep, ...]:
    way, b = inputs.ways[row], of(inputs)
    terms, q = _glass(way)
    spread: list[Expr] = []
    s: list[Quantity] = []
    for n, event in enumerate(way.events, 1):
        q.append(Quantity(f"m_{n}", event.typical_db, "dB", f"mean loss of {event.part}", Origin.LISTED, event.source))
        terms.append(Sym(f"m_{n}"))
        sigma = max(event.loss_db - event.typical_db, 0.0) / SIGMA_SHARE
        words = f"spread of {event.part}: (highest - mean) / {SIGMA_SHARE}, the highest being a 97 % point"
        s.append(Quantity(f"s_{n}", sigma, "dB", words, Origin.DEFAULT, Source("common practice, no source", mark=Mark.PRACTICE)))  # fmt: skip
        spread.append(Sym(f"s_{n}") ** 2)
    mean = Quantity("m", float(b.mean_db[row]), "dB", "mean loss", Origin.EXPECTED, OWN)
    sigma_q = Quantity("s", float(b.sigma_db[row]), "dB", "standard deviation", Origin.EXPECTED, OWN)
    steps = [FormulaStep(mean, sum_(terms), tuple(q))] if terms else []
    if spread:
        steps.append(FormulaStep(sigma_q, sqrt(sum_(spread)), tuple(s)))
    z = Quantity("z", 3.0, "", "three sigma", Origin.DEFAULT, Source("common practice, no source", mark=Mark.PRACTICE))
    result = Quantity("A", float(b.likely_db[row]), "dB", "likely highest loss; no bound", Origin.EXPECTED, OWN)
    return (*steps, FormulaStep(result, Sym("m") + Sym("z") * Sym("s"), (mean, z, sigma_q)))


def _reflections(inputs: Inputs, row: int, value: float) -> FormulaStep:
    way = inputs.ways[row]
    terms: list[Expr] = []
    q: list[Quantity] = []
    passed = 0.0
    for kind, k in way.order:
        if kind == "glass":
            passed += way.glass[k].least_db_per_km * way.glass[k].shortest_m / 1000
            continue
        event = way.events[k]
        words = f"return loss of {event.a} to {event.b}, lowest"
        q.append(Quantity(f"R_{k + 1}", event.return_loss_db or 0.0, "dB", words, Origin.LISTED, event.source))
        q.append(Quantity(f"A_{k + 1}", passed, "dB", "lowest loss before it", Origin.EXPECTED, OWN))
        terms.append(exp(-0.1 * math.log(10) * (Sym(f"R_{k + 1}") + 2 * Sym(f"A_{k + 1}"))))
    result = Quantity("R", value, "dB", f"return loss seen from {way.start}", Origin.EXPECTED, OWN)
    return FormulaStep(result, -10 * log10(sum_(terms)), tuple(q))


def _delay(inputs: Inputs, row: int, value: float) -> tuple[FormulaStep, ...]:
    """t = (n_g L / c) + dispersion from the nearest tabulated wavelength."""
    way = inputs.ways[row]
    wave = way.sent_nm_wave if way.sent_nm_wave == way.sent_nm_wave else 1310.0
    long = wave > LONG_WAVE_NM
    near, listed = (1550.0, GROUP_INDEX_1550) if long else (1310.0, GROUP_INDEX_1310)
    terms: list[Expr] = []
    q: list[Quantity] = []
    for n, glass in enumerate(way.glass, 1):
        index = glass.index_1550 if long else glass.index_1310
        own = index != listed.value
        source = Source(f"part {glass.part}", "group index") if own else listed.source
        q.append(Quantity(f"n_{n}", index, "", f"group index of {glass.item} at {near:g} nm", Origin.LISTED, source))
        q.append(Quantity(f"L_{n}", glass.length_m, "m", f"longest length of {glass.item}", Origin.EXPECTED, LINE))
        terms.append(Sym(f"n_{n}") * Sym(f"L_{n}"))
    if not terms:
        return ()
    total = sum(g.length_m for g in way.glass)
    zero, slope, lam, l0, s0, length = (ZERO_DISPERSION_NM_WAVE, DISPERSION_SLOPE_PS_PER_NM2_KM, *symbols("lambda lambda_0 S_0 L"))  # fmt: skip
    where = Quantity("lambda", wave, "nm", "wavelength sent", Origin.LISTED, Source(f"part {way.sender}", "tx_wavelength_nm_wave"))  # fmt: skip
    tabulated = Quantity("lambda_t", near, "nm", "wavelength of the tabulated index", Origin.LISTED, listed.source)
    shared = (
        where,
        tabulated,
        Quantity("lambda_0", zero.value, "nm", "zero-dispersion wavelength", Origin.DEFAULT, zero.source),
        Quantity("S_0", slope.value, "ps/(nm²·km)", "dispersion slope", Origin.DEFAULT, slope.source),
        Quantity("L", total, "m", "length of all cables", Origin.EXPECTED, LINE),
    )
    t = Sym("lambda_t")
    bow = s0 / 8 * length * ((lam - l0**2 / lam) ** 2 - (t - l0**2 / t) ** 2) * 1e-6
    base = 1e9 * sum((g.index_1550 if long else g.index_1310) * g.length_m for g in way.glass) / LIGHT.value
    part = Quantity("t_d", value - base, "ns", "dispersion from there to the wavelength sent", Origin.EXPECTED, DELAY)
    result = Quantity("t", value, "ns", "one-way delay", Origin.EXPECTED, DELAY)
    return (
        FormulaStep(part, bow, shared),
        FormulaStep(result, 1e9 * sum_(terms) / Sym("c_0") + Sym("t_d"), (*q, LIGHT, part)),
    )


def _asymmetry(inputs: Inputs, start: int, value: float) -> tuple[Step, ...]:
    delays = [1e9 * float(x) for x in of(inputs).delay_s[start : start + 2]]
    high, low = max(delays), min(delays)
    up = Quantity("t_1", high, "ns", "delay of the slower direction", Origin.EXPECTED, DELAY)
    down = Quantity("t_2", low, "ns", "delay of the faster direction", Origin.EXPECTED, DELAY)
    result = Quantity("dt", value, "ns", "difference", Origin.EXPECTED, DELAY)
    slow = start + (delays[1] > delays[0])
    return (*_delay(inputs, slow, high), FormulaStep(result, Sym("t_1") - Sym("t_2"), (up, down)))


def _loop(inputs: Inputs, k: int, found: Finding | Figure) -> tuple[Step, ...]:
    loop, code = inputs.loops[k], found.code
    line = Source("line.yaml", f"item {loop.id}")
    if code == "fibre.loop-loss":
        return (_bend(inputs, k, 1550.0),)
    if code in ("fibre.loop-strain", "fibre.loop-break"):
        return _life(inputs, k, code)
    n = Quantity("n", float(loop.turns), "", "whole turns", Origin.DECLARED, line)
    f = Quantity("f", loop.exit_turn, "", "part of a turn at the exit", Origin.DECLARED, line)
    radius = Quantity("R", loop.radius_m, "m", "radius of a turn", Origin.DECLARED, line)
    stored = Quantity("S", loop.stored_m, "m", f"length that {loop.id} holds", Origin.EXPECTED, Source("geometry"))
    turn, q = 2 * math.pi * Sym("R") * (Sym("n") + Sym("f")), [radius, n, f]
    if loop.straight_m:
        q.append(Quantity("d", loop.straight_m, "m", "each of the two straights of a turn", Origin.DECLARED, line))
        turn = turn + 2 * Sym("d") * (Sym("n") + Sym("f"))
    if loop.pitch_m:
        q.append(Quantity("p", loop.pitch_m, "m", "growth of the radius from turn to turn", Origin.DECLARED, line))
        turn = turn + 2 * math.pi * Sym("p") * (Sym("n") * (Sym("n") - 1) / 2 + Sym("f") * Sym("n"))
    hold = FormulaStep(stored, turn, tuple(q))
    if code == "fibre.loop-radius" or math.isnan(loop.surplus_m):
        shown = Quantity("R_mm", 1000 * loop.radius_m, "mm", "radius of a turn", Origin.DECLARED, line)
        return (hold, FormulaStep(shown, 1000 * Sym("R"), (radius,)))
    length = Quantity("L", loop.surplus_m + loop.way_m, "m", f"length of {loop.cable}", Origin.EXPECTED, LINE)
    way = Quantity("W", loop.way_m, "m", "its way as drawn", Origin.DECLARED, Source(f"site {inputs.site}", "route, box_run_m"))  # fmt: skip
    left = Quantity("D", abs(loop.surplus_m - loop.stored_m), "m", "left over and not held, or held and not there", Origin.EXPECTED, Source("geometry"))  # fmt: skip
    return (hold, FormulaStep(left, abs_(Sym("L") - Sym("W") - Sym("S")), (length, way, stored)))


def _life(inputs: Inputs, k: int, code: str) -> tuple[Step, ...]:
    loop, life = inputs.loops[k], inputs.life
    made = bent(loop, life)
    r = Quantity("R", strand_radius_mm(loop), "mm", "radius at the inside of the cable's bend", Origin.EXPECTED, Source("geometry"))  # fmt: skip
    glass = Quantity("r_f", 0.0625, "mm", "half of the glass", Origin.LISTED, Source("ITU-T G.657", "cladding diameter 125 um"))  # fmt: skip
    if code == "fibre.loop-strain":
        strain = Quantity(
            "e", 100 * made.strain, "%", "strain at the outside of the bend", Origin.EXPECTED, Source("geometry")
        )
        return (FormulaStep(strain, 100 * Sym("r_f") / (Sym("R") + Sym("r_f")), (r, glass)),)
    strain = Quantity("e", made.strain, "", "strain at the outside of the bend", Origin.EXPECTED, Source("geometry"))
    first = FormulaStep(strain, Sym("r_f") / (Sym("R") + Sym("r_f")), (r, glass))

    def given(symbol: str, value: float, unit: str, words: str, field: str) -> Quantity:
        own = field in life.own
        source = Source(f"site {inputs.site}", f"policy.fibre_life.{field}", mark=Mark.DECLARED) if own else LIFE_SOURCE
        return Quantity(symbol, value, unit, words, Origin.DECLARED if own else Origin.DEFAULT, source)

    e, ep, n, m, t, tp, breaks, length = symbols("e e_p n m t t_p N_p L")
    q = (
        strain,
        given("e_p", life.proof_strain, "", "strain of the proof test", "proof_strain_fraction"),
        given("t_p", life.proof_s, "s", "time of the proof test", "proof_s"),
        given("n", life.stress_exponent, "", "stress corrosion exponent", "stress_exponent"),
        given("m", life.weibull_exponent, "", "Weibull exponent", "weibull_exponent"),
        given("N_p", life.breaks_per_m, "1/m", "breaks in the proof test", "breaks_per_m"),
        given("t", life.years * 365.25 * 86400, "s", f"{life.years} years", "years_count"),
        Quantity("L", made.strand_m, "m", f"{loop.strands} strands in {loop.id}", Origin.EXPECTED, Source("geometry")),
    )
    inner = (1 + (e / ep) ** n * t / tp) ** (m / (n - 2)) - 1
    result = Quantity("F", 1e6 * made.uniform, "ppm", "chance of a break, uniform strain: the safe side", Origin.EXPECTED, LIFE_SOURCE)  # fmt: skip
    return (first, FormulaStep(result, 1e6 * (1 - exp(-1 * breaks * length * inner)), q))


__all__ = ["derive"]
