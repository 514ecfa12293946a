"""The working of the intermodulation room's findings and figures: from the data sheet's level to the noise rise."""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial, isfinite

from upmast.constants import BOLTZMANN_J_PER_K
from upmast.finding import Figure, Finding
from upmast.formula import Expr, Num, Sym, log10, sum_, symbols
from upmast.pim.level import STEP_PER_TWO_ORDERS_DB, TEST_CARRIER_DBM, dbm_from_dbc
from upmast.pim.metal import metal_rise
from upmast.pim.mixing import NOISE_FIGURE_DB, Receive, Rise, Term, Tone, channel_text, trade_text
from upmast.pim.state import Inputs, found_of, rise_of
from upmast.source import PRACTICE, Mark, Origin, Source
from upmast.working import ChoiceStep, FormulaStep, Quantity, SolvedStep, Step

TEST = Source("IEC 62037-1", "two carriers of 20 W", mark=Mark.MEMORY)
GAUSS = Source("own derivation: multinomial and Gaussian terms (Price's theorem)", "checked by simulation")
NOISE = Source("Pozar, Microwave Engineering, chapter 10", "thermal noise")
POWERS = Source("own derivation: independent products add by their powers")
SHARE = Source("own derivation: convolution of flat spectra", "checked by simulation")
RULES = Source("common practice, no source", "no metal clamp within the zone around antennas", mark=Mark.PRACTICE)
RULE = "every vector of whole numbers up to the order is tried; its centre and width in whole hertz decide"


def derive(inputs: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of one finding or figure."""
    if isinstance(found, Figure):
        return (ChoiceStep(f"{found.value:g}", f"{RULE}; {found.note}"),)
    if found.value is None:
        return (ChoiceStep("not known", "missing: " + "; ".join(found.missing)),)
    if found.code == "pim.metal-clamps":
        return _clamps(inputs)
    if found.code == "pim.surroundings":
        return _metal(inputs, *divmod(found.rank, 100))
    k = found.rank
    rise = rise_of(inputs, k) if found_of(inputs, k).order.size else None
    if rise is None or not rise.terms:
        channels = tuple(channel_text(one) for one in inputs.channels[k])
        result = Quantity("R", 0.0, "dB", "noise rise without products", Origin.EXPECTED, POWERS)
        return (ChoiceStep(found.note, RULE, channels), FormulaStep(result, Num(0), ()))
    return _rise(inputs, k, rise)


@dataclass(frozen=True, slots=True)
class _Mixing:
    """Carriers with their powers, receive channels with the isolation to each."""

    tones: tuple[Tone, ...]
    power_dbm: tuple[float, ...]
    channels: tuple[Receive, ...]
    isolation_db: tuple[float, ...]


def _clamps(i: Inputs) -> tuple[Step, ...]:
    """Count of the metal clamps in the zone."""
    if not i.near_metal:
        rule = "heights of clamps against antennas with their zone above and below"
        result = Quantity("n", 0.0, "", "metal clamps near antennas", Origin.EXPECTED, RULES)
        return (ChoiceStep("none of metal", rule, i.zone_items), FormulaStep(result, Num(0), ()))
    parts = tuple(
        Quantity(
            f"n_{n}",
            float(count),
            "",
            f"clamps of {item}, near {antenna}",
            Origin.EXPECTED,
            Source("line.yaml", "count"),
        )
        for n, (item, antenna, count) in enumerate(i.near_metal, 1)
    )
    total = Quantity(
        "n", float(sum(count for *_, count in i.near_metal)), "", "metal clamps near antennas", Origin.EXPECTED, RULES
    )
    return (FormulaStep(total, sum_([Sym(q.symbol) for q in parts]), parts),)


def _metal(i: Inputs, s: int, m: int) -> tuple[Step, ...]:
    """Noise rise by one piece of metal near the antennas of a sector."""
    tones, powers, rise = metal_rise(i, s, m)
    channels, metal = i.sector_channels[s], i.metals[s][m]
    if rise is None or not rise.terms:
        result = Quantity("R", 0.0, "dB", "noise rise without products", Origin.EXPECTED, POWERS)
        return (
            ChoiceStep("no product", RULE, tuple(channel_text(c) for c in channels)),
            FormulaStep(result, Num(0), ()),
        )
    words = f"third order of {metal.name}, two carriers at the antenna input"
    dbc = Quantity("p_3", metal.level_dbc, "dBc", words, Origin.DECLARED, Source(metal.document, mark=Mark.DECLARED))
    return _summed(i.site, _Mixing(tones, powers, channels, (0.0,) * len(channels)), rise, dbc, [])


def _rise(i: Inputs, k: int, rise: Rise) -> tuple[Step, ...]:
    parts = tuple(
        Quantity(
            f"p_s{n}", one.level_dbc, "dBc",
            f"{one.what} {one.name}, by {one.part}" + (f", {one.excess_db:g} dB of it declared (joint_excess_db)" if one.excess_db else ""),
            Origin.LISTED, Source(one.document, mark=Mark(one.mark)),
        )
        for n, one in enumerate(i.sources[k], 1)
    )  # fmt: skip
    words = f"third order of all sources of {i.path[k]} together, line loss left out"
    dbc = Quantity("p_3", i.level_dbc[k], "dBc", words, Origin.EXPECTED, POWERS)
    whole: list[Expr] = [10 ** (Sym(q.symbol) / 10) for q in parts]
    chain = FormulaStep(dbc, 10 * log10(sum_(whole)), parts)
    return _summed(i.site, _Mixing(i.tones[k], i.power_dbm[k], i.channels[k], i.isolation_db[k]), rise, dbc, [chain])


def _summed(site: str, mix: _Mixing, rise: Rise, dbc: Quantity, steps: list[Step]) -> tuple[Step, ...]:
    """From the third order of the source to the noise rise of the channel that suffers."""
    test = Quantity("P_0", TEST_CARRIER_DBM, "dBm", "each of the two test carriers", Origin.DEFAULT, TEST)
    third = Quantity("P_3", float(dbm_from_dbc(dbc.value)), "dBm", "third order in the test", Origin.EXPECTED, TEST)
    steps.append(FormulaStep(third, Sym("p_3") + Sym("P_0"), (dbc, test)))
    received: list[Quantity] = []
    for number, term in enumerate(rise.terms, 1):
        made, result = _term(site, mix, rise, term, number, test, third)
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
    channel = mix.channels[rise.receive]
    noise = Quantity(
        "N", rise.noise_dbm, "dBm", f"noise of the receiver in {channel_text(channel)}", Origin.EXPECTED, NOISE
    )
    boltzmann, t, b, figure = symbols("k T B F")
    inputs = (
        Quantity("k", BOLTZMANN_J_PER_K.value, "J/K", "Boltzmann constant", Origin.LISTED, BOLTZMANN_J_PER_K.source),
        Quantity("T", 290.0, "K", "reference temperature", Origin.DEFAULT, NOISE),
        Quantity("B", float(channel.high_hz - channel.low_hz), "Hz", "width of the channel", Origin.DECLARED, Source(f"site {site}", "carriers")),
        Quantity("F", NOISE_FIGURE_DB, "dB", "noise figure of the receiver", Origin.DEFAULT, PRACTICE),
    )  # fmt: skip
    steps.append(FormulaStep(noise, 10 * log10(boltzmann * t * b) + 30 + figure, inputs))
    result = Quantity("R", rise.rise_db, "dB", "noise rise", Origin.EXPECTED, POWERS)
    steps.append(FormulaStep(result, 10 * log10(1 + 10 ** ((Sym("I") - Sym("N")) / 10)), (total, noise)))
    return tuple(steps)


def _term(
    site: str, mix: _Mixing, rise: Rise, term: Term, number: int, test: Quantity, third: Quantity
) -> tuple[list[Step], Quantity]:
    """One product: its level in a test of its order, with these carriers, and what the receiver gets of it."""
    n = term.order
    words = trade_text(term.coefficients, mix.tones)
    spec = Quantity(
        f"P_s{number}", third.value - STEP_PER_TWO_ORDERS_DB * (n - 3) / 2, "dBm", f"order {n} in the test; 15 dB less each two orders",
        Origin.EXPECTED, PRACTICE,
    )  # fmt: skip
    step = Quantity("d", STEP_PER_TWO_ORDERS_DB, "dB", "step of two orders", Origin.DEFAULT, PRACTICE)
    order = Quantity("n", float(n), "", "order, and slope in dB per dB by theory", Origin.EXPECTED, GAUSS)
    steps: list[Step] = [FormulaStep(spec, Sym("P_3") - Sym("d") * (Sym("n") - 3) / 2, (third, step, order))]
    count = len(mix.tones)
    used = [(m, abs(c)) for m, c in enumerate(term.coefficients) if c]  # twins behind the carriers
    repeats = 1
    for _, c in used:
        repeats *= factorial(c)
    ratio = factorial((n + 1) // 2) * factorial(n // 2) / repeats
    inputs = [spec, test]
    terms: list[Expr] = []
    for m, c in used:
        inputs.append(
            Quantity(
                f"P_{m + 1}", mix.power_dbm[m % count], "dBm", f"carrier at {mix.tones[m % count].centre_hz / 1e6:.1f} MHz", Origin.DECLARED,
                Source(f"site {site}", "power_w of the carrier"),
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
        "D", mix.isolation_db[rise.receive], "dB", "between the ports of the antenna; 0 in the same chain", Origin.DEFAULT, PRACTICE
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
