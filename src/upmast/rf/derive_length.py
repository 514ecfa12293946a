"""The working of what a length would gain: turns of the round trip, their distance to a whole turn, the pair, the radio port."""

from __future__ import annotations

import math

import numpy as np

from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K, SPEED_OF_LIGHT_M_PER_S
from upmast.finding import Figure, Finding
from upmast.formula import Num, Sym, cos, log10, sqrt, symbols
from upmast.rf.joint import joint_gamma
from upmast.rf.lengths import VELOCITY_SOURCE, VELOCITY_TOLERANCE, LengthGain, bands_of, length_gain
from upmast.rf.state import Inputs
from upmast.source import Mark, Origin, Source
from upmast.working import ChoiceStep, FormulaStep, Quantity, Step

OWN = Source("own derivation: two like joints", "first order and all echoes; checked against cascades")
KINDS = Source("parts of the connectors", "reflects_as")
LUMP = Source("Pozar, Microwave Engineering, chapter 4", "lossless lump in a matched line")
LOSS = Source("Pozar, Microwave Engineering, chapter 2", "conductor and dielectric loss of coaxial lines")
BANDS = Source("operating bands of the carriers", "3GPP TS 36.101 and TS 38.104")
SEARCH = Source("own derivation: piecewise linear search over the length", "checked by linear programs")


def derive_length(inputs: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of `rf.length-gain`."""
    p = found.rank
    gain = length_gain(inputs, p)
    if gain is None:
        return (ChoiceStep("no value", "something is missing"),)
    spans = tuple(f"{a / 1e6:g} to {b / 1e6:g} MHz" for a, b in inputs.spans[p])
    chosen = ChoiceStep(
        f"L = {gain.length_m:.4f} m",
        "the length that keeps the worst band farthest from where the joints add; the shortest where none gains", spans,
    )  # fmt: skip
    return (chosen, *_turns(inputs, p, gain), *_port(inputs, p, gain))


def _turns(i: Inputs, p: int, gain: LengthGain) -> tuple[Step, ...]:
    f, length, dl, dv, vf, c = symbols("f L dL dv vf c_0")
    part = i.cable_part[p][0]
    shared = (
        Quantity("L", gain.length_m, "m", "the length", Origin.EXPECTED, SEARCH),
        Quantity("dL", float(i.cut_m[p]), "m", "tolerance of the cut", *_listed(i, part, "length_tolerance_m")),
        Quantity("vf", float(i.velocity[p]), "", "velocity factor", *_listed(i, part, "velocity_fraction")),
        Quantity("dv", VELOCITY_TOLERANCE, "", "tolerance of the velocity", Origin.DEFAULT, VELOCITY_SOURCE),
        Quantity("c_0", SPEED_OF_LIGHT_M_PER_S.value, "m/s", "speed of light", Origin.LISTED, SPEED_OF_LIGHT_M_PER_S.source),
    )  # fmt: skip
    bands_now = bands_of(i, p)
    steps: list[Step] = []
    for symbol, hz, sign, turns, words in (
        ("n_lo", gain.low_hz, -1, gain.low_turns, "least"), ("n_hi", gain.high_hz, 1, gain.high_turns, "greatest"),
    ):  # fmt: skip
        edge = Quantity("f", hz, "Hz", "edge of the band that governs", Origin.LISTED, BANDS)
        formula = (
            2 * f * (length - dl) / (vf * c * (1 + dv)) if sign < 0 else 2 * f * (length + dl) / (vf * c * (1 - dv))
        )
        inputs: tuple[Quantity, ...] = (edge, *shared)
        if bands_now is not None and np.any(np.asarray(bands_now.offset_turns)):
            formula = formula - Sym("o")
            inputs = (
                *inputs,
                Quantity("o", 0.5, "", "one joint is capacitive, the other inductive", Origin.LISTED, KINDS),
            )
        result = Quantity(symbol, turns, "", f"{words} turns of the round trip", Origin.EXPECTED, OWN)
        steps.append(FormulaStep(result, formula, inputs))
    whole = math.floor(gain.low_turns + 1e-12)
    room = Quantity("m", float(whole), "", "whole turns below", Origin.EXPECTED, OWN)
    low = Quantity("n_lo", gain.low_turns, "", "least turns", Origin.EXPECTED, OWN)
    high = Quantity("n_hi", gain.high_turns, "", "greatest turns", Origin.EXPECTED, OWN)
    if gain.distance_turns <= 0:
        steps.append(
            ChoiceStep(
                "d = 0 turns: nothing is gained", "a whole turn lies within what is swept: there the joints add",
                (f"{gain.low_turns:.4f} to {gain.high_turns:.4f} turns",),
            )
        )  # fmt: skip
        return tuple(steps)
    up, down = gain.low_turns - whole, whole + 1 - gain.high_turns
    expression = Sym("n_lo") - Sym("m") if up <= down else Sym("m") + 1 - Sym("n_hi")
    distance = Quantity("d", min(up, down), "", "distance to the nearest whole turn", Origin.EXPECTED, OWN)
    steps.append(FormulaStep(distance, expression, (low, room) if up <= down else (room, high)))
    return tuple(steps)


def _listed(i: Inputs, id: str, name: str) -> tuple[Origin, Source]:
    document, mark = i.sources[f"{id}.{name}"]
    return (Origin.DEFAULT if document.startswith("not given") else Origin.LISTED), Source(document, mark=Mark(mark))


def _joint(i: Inputs, p: int, gain: LengthGain) -> tuple[FormulaStep, FormulaStep]:
    """The worse of both joints at the highest frequency of the bands."""
    top = max(high for _, high in i.spans[p])
    n = int(np.argmax(joint_gamma(top, i.joint_return_loss_db[p, :2], i.joint_reference_hz[p, :2])))
    part = i.joint_part[p][n]
    rl, f, ref, x = symbols("RL f f_ref x")
    q = (
        Quantity("RL", float(i.joint_return_loss_db[p, n]), "dB", f"least return loss of a mated {part}", *_listed(i, part, "return_loss_db")),
        Quantity("f", top / 1e9, "GHz", "highest frequency of the bands", Origin.LISTED, BANDS),
        Quantity("f_ref", float(i.joint_reference_hz[p, n]) / 1e9, "GHz", "where it is given", *_listed(i, part, "return_loss_at_hz")),
    )  # fmt: skip
    one = 2 * 10 ** (-rl / 20) / sqrt(1 - 10 ** (-rl / 10)) * f / ref
    made = Quantity("x", one.value({k.symbol: k.value for k in q}), "", "its reactance", Origin.EXPECTED, LUMP)
    words = f"reflection of the worse joint, {i.joint[p][n]}; the other is taken as bad"
    size = Quantity("r", gain.joint, "", words, Origin.EXPECTED, LUMP)
    return FormulaStep(made, one, q), FormulaStep(size, x / sqrt(4 + x**2), (made,))


def _loss(i: Inputs, p: int, gain: LengthGain) -> FormulaStep:
    """Loss of a cable of that length where it is least: coldest, at the lowest frequency of the bands."""
    a, b, f, alpha, theta, length = symbols("a b f alpha_20 theta L")
    copper, part = COPPER_TEMPERATURE_COEFFICIENT_PER_K, i.cable_part[p][0]
    q = (
        Quantity("a", float(i.root_db_per_m[p, 0]), "dB/m", "conductor part of the loss of one metre at 1 GHz, 20 °C", *_listed(i, part, "a_db_per_m")),
        Quantity("b", float(i.linear_db_per_m[p, 0]), "dB/m", "dielectric part of the loss of one metre at 1 GHz", *_listed(i, part, "b_db_per_m")),
        Quantity("f", min(low for low, _ in i.spans[p]) / 1e9, "GHz", "lowest frequency of the bands", Origin.LISTED, BANDS),
        Quantity("alpha_20", copper.value, "1/K", "temperature coefficient of copper", Origin.LISTED, copper.source),
        Quantity("theta", float(i.ambient_c.min()), "°C", "coldest air", Origin.DECLARED, Source(f"site {i.site}", "climate.cold_c")),
        Quantity("L", gain.length_m, "m", "the length", Origin.EXPECTED, SEARCH),
    )  # fmt: skip
    words = "one-way loss of the cable where it is least: it thins the far joint and the antenna out"
    result = Quantity("A", gain.loss_db, "dB", words, Origin.EXPECTED, LOSS)
    return FormulaStep(result, (a * sqrt(f) * sqrt(1 + alpha * (theta - 20)) + b * f) * length, q)


def _port(i: Inputs, p: int, gain: LengthGain) -> tuple[Step, ...]:
    """|G| of the pair, and the return loss at the radio port without and with the length."""
    r, a = Sym("r"), Sym("A")
    lump, size = _joint(i, p, gain)
    lost = _loss(i, p, gain)
    joint, loss = size.result, lost.result
    away = Quantity("d", gain.distance_turns, "", "distance to the nearest whole turn", Origin.EXPECTED, OWN)
    cosine = Quantity(
        "k",
        math.cos(2 * math.pi * gain.distance_turns),
        "",
        "how far the joints add: 1 fully, -1 oppose",
        Origin.EXPECTED,
        OWN,
    )
    far = gain.joint * 10 ** (-gain.loss_db / 10)
    back = Quantity("r_2", far, "", "the far joint, seen through the cable", Origin.EXPECTED, OWN)
    pair = Quantity("g", gain.pair, "", "reflection of the pair at this length", Origin.EXPECTED, OWN)
    r2, k = Sym("r_2"), Sym("k")
    square = (r**2 + r2**2 + 2 * r * r2 * k) / (1 + 2 * r * r2 * k + r**2 * r2**2)
    words = f"highest VSWR of {i.antenna[p]}"
    vswr = Quantity("S", float(i.antenna_vswr[p]), "", words, *_listed(i, i.antenna_part[p], "ports"))
    seen = gain.end * 10 ** (-gain.loss_db / 10)
    end = Quantity("M", seen, "", "the antenna port at its limit, seen through the cable", Origin.EXPECTED, OWN)
    before = Quantity(
        "RL_0", gain.before_db, "dB", "return loss at the radio port, joints in phase", Origin.EXPECTED, OWN
    )
    after = Quantity("RL_1", gain.after_db, "dB", "return loss at the radio port at this length", Origin.EXPECTED, OWN)
    won = Quantity("D", gain.system_db, "dB", "gain at the radio port", Origin.EXPECTED, OWN)
    sum_ = (r + r2) / (1 + r * r2)
    m, g = Sym("M"), Sym("g")
    return (
        lump,
        size,
        lost,
        FormulaStep(cosine, cos(2 * Num(math.pi) * Sym("d")), (away,)),
        FormulaStep(back, r * 10 ** (-a / 10), (joint, loss)),
        FormulaStep(pair, sqrt(square), (joint, back, cosine)),
        FormulaStep(end, (Sym("S") - 1) / (Sym("S") + 1) * 10 ** (-a / 10), (vswr, loss)),
        FormulaStep(before, -20 * log10((sum_ + m) / (1 + sum_ * m)), (joint, back, end)),
        FormulaStep(after, -20 * log10((g + m) / (1 + g * m)), (pair, end)),
        FormulaStep(won, Sym("RL_1") - Sym("RL_0"), (after, before)),
    )


__all__ = ["derive_length"]
