"""The working of the intermodulation room's findings and figures: from the data sheet's level to the noise rise."""

from __future__ import annotations

from math import factorial, isfinite

from upmast.constants import BOLTZMANN_J_PER_K
from upmast.finding import Figure, Finding
from upmast.formula import Expr, Num, Sym, log10, sum_, symbols
from upmast.pim.level import STEP_PER_TWO_ORDERS_DB, TEST_CARRIER_DBM, dbm_from_dbc
from upmast.pim.mixing import NOISE_FIGURE_DB, Rise, Term, channel_text, trade_text
from upmast.pim.state import Inputs, found_of, rise_of
from upmast.source import PRACTICE, Mark, Origin, Source
from upmast.working import ChoiceStep, FormulaStep, Quantity, SolvedStep, Step

TEST = Source("IEC 62037-1", "two carriers of 20 W", mark=Mark.MEMORY)
GAUSS = Source("own derivation: multinomial and Gaussian terms (Price's theorem)", "checked by simulation")
NOISE = Source("Pozar, Microwave Engineering, chapter 10", "thermal noise")
POWERS = Source("own derivation: independent products add by their powers")
SHARE = Source("own derivation: convolution of flat spectra", "checked by simulation")
RULE = "every vector of whole numbers up to the order is tried; its centre and width in whole hertz decide"


def derive(inputs: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure."""
    if isinstance(found, Figure):
        return (ChoiceStep(f"{found.value:g}", f"{RULE}; {found.note}"),)
    k = found.rank
    if found.value is None:
        return (ChoiceStep("not known", "missing: " + "; ".join(found.missing)),)
    rise = rise_of(inputs, k) if found_of(inputs, k).order.size else None
    if rise is None or not rise.terms:
        channels = tuple(channel_text(one) for one in inputs.channels[k])
        result = Quantity("R", 0.0, "dB", "noise rise without products", Origin.EXPECTED, POWERS)
        return (ChoiceStep(found.note, RULE, channels), FormulaStep(result, Num(0), ()))
    return _rise(inputs, k, rise)


def _rise(i: Inputs, k: int, rise: Rise) -> tuple[Step, ...]:
    document, mark = i.level_source[k]
    dbc = Quantity(
        "p_3", i.level_dbc[k], "dBc", f"third order of {i.level_part[k]}, the worst part of the chain", Origin.LISTED,
        Source(document, mark=Mark(mark)),
    )  # fmt: skip
    test = Quantity("P_0", TEST_CARRIER_DBM, "dBm", "each of the two test carriers", Origin.DEFAULT, TEST)
    third = Quantity("P_3", float(dbm_from_dbc(dbc.value)), "dBm", "third order in the test", Origin.LISTED, TEST)
    steps: list[Step] = [FormulaStep(third, Sym("p_3") + Sym("P_0"), (dbc, test))]
    received: list[Quantity] = []
    for number, term in enumerate(rise.terms, 1):
        made, result = _term(i, k, rise, term, number, test, third)
        steps += made
        received.append(result)
    if isfinite(rise.rest_dbm):
        received.append(
            Quantity(
                "P_rest", rise.rest_dbm, "dBm", "all weaker products in the channel together", Origin.EXPECTED, POWERS
            )
        )
    terms: list[Expr] = [10 ** (Sym(q.symbol) / 10) for q in received]
    total = Quantity("I", rise.interference_dbm, "dBm", "interference in the channel", Origin.EXPECTED, POWERS)
    steps.append(FormulaStep(total, 10 * log10(sum_(terms)), tuple(received)))
    channel = i.channels[k][rise.receive]
    noise = Quantity(
        "N", rise.noise_dbm, "dBm", f"noise of the receiver in {channel_text(channel)}", Origin.EXPECTED, NOISE
    )
    boltzmann, t, b, figure = symbols("k T B F")
    inputs = (
        Quantity("k", BOLTZMANN_J_PER_K.value, "J/K", "Boltzmann constant", Origin.LISTED, BOLTZMANN_J_PER_K.source),
        Quantity("T", 290.0, "K", "reference temperature", Origin.DEFAULT, NOISE),
        Quantity("B", float(channel.high_hz - channel.low_hz), "Hz", "width of the channel", Origin.DECLARED, Source(f"site {i.site}", "carriers")),
        Quantity("F", NOISE_FIGURE_DB, "dB", "noise figure of the receiver", Origin.DEFAULT, PRACTICE),
    )  # fmt: skip
    steps.append(FormulaStep(noise, 10 * log10(boltzmann * t * b) + 30 + figure, inputs))
    result = Quantity("R", rise.rise_db, "dB", "noise rise", Origin.EXPECTED, POWERS)
    steps.append(FormulaStep(result, 10 * log10(1 + 10 ** ((Sym("I") - Sym("N")) / 10)), (total, noise)))
    return tuple(steps)


def _term(
    i: Inputs, k: int, rise: Rise, term: Term, number: int, test: Quantity, third: Quantity
) -> tuple[list[Step], Quantity]:
    """One product: its level in a test of its order, with these carriers, and what the receiver gets of it."""
    n = term.order
    words = trade_text(term.coefficients, i.tones[k])
    spec = Quantity(
        f"P_s{number}", third.value - STEP_PER_TWO_ORDERS_DB * (n - 3) / 2, "dBm", f"order {n} in the test; 15 dB less each two orders",
        Origin.EXPECTED, PRACTICE,
    )  # fmt: skip
    step = Quantity("d", STEP_PER_TWO_ORDERS_DB, "dB", "step of two orders", Origin.DEFAULT, PRACTICE)
    order = Quantity("n", float(n), "", "order, and slope in dB per dB by theory", Origin.EXPECTED, GAUSS)
    steps: list[Step] = [FormulaStep(spec, Sym("P_3") - Sym("d") * (Sym("n") - 3) / 2, (third, step, order))]
    used = [(m, abs(c)) for m, c in enumerate(term.coefficients) if c]
    repeats = 1
    for _, c in used:
        repeats *= factorial(c)
    ratio = factorial((n + 1) // 2) * factorial(n // 2) / repeats
    inputs = [spec, test]
    terms: list[Expr] = []
    for m, c in used:
        inputs.append(
            Quantity(
                f"P_{m + 1}", i.power_dbm[k][m], "dBm", f"carrier at {i.tones[k][m].centre_hz / 1e6:.1f} MHz", Origin.DECLARED,
                Source(f"site {i.site}", "power_w of the carrier"),
            )
        )  # fmt: skip
        terms.append(Num(c) * (Sym(f"P_{m + 1}") - Sym("P_0")))
    inputs += [
        Quantity("m", ratio, "", "ways to make this product against those of the test's", Origin.EXPECTED, GAUSS),
        Quantity("g", float(repeats), "", "product of |c|!, for noise-like carriers", Origin.EXPECTED, GAUSS),
    ]
    level = Sym(spec.symbol) + sum_(terms) + 20 * log10(Sym("m")) + 10 * log10(Sym("g"))
    value = level.value({q.symbol: q.value for q in inputs})
    source_level = Quantity(f"P_IM{number}", value, "dBm", f"{words}, at its source", Origin.EXPECTED, GAUSS)
    steps.append(FormulaStep(source_level, level, tuple(inputs)))
    share = Quantity("s", term.share, "", "share of it inside the channel", Origin.EXPECTED, SHARE)
    isolation = Quantity(
        "D", i.isolation_db[k][rise.receive], "dB", "between the ports of the antenna; 0 in the same chain", Origin.DEFAULT, PRACTICE
    )  # fmt: skip
    steps.append(
        SolvedStep(
            (share,), "convolution of the flat spectra of its carriers, or the bound overlap over its widest carrier",
            "1e-4 of the whole", "never above the bound",
        )
    )  # fmt: skip
    inside = Sym(source_level.symbol) - Sym("D") + 10 * log10(Sym("s"))
    value = inside.value({source_level.symbol: source_level.value, "D": isolation.value, "s": share.value})
    result = Quantity(f"P_r{number}", value, "dBm", f"{words}, in the channel", Origin.EXPECTED, POWERS)
    steps.append(FormulaStep(result, inside, (source_level, isolation, share)))
    return steps, result


__all__ = ["derive"]
