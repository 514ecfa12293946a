"""The working of what a length would gain: turns of the round trip, their distance to a whole turn, the pair, the radio port."""

from __future__ import annotations

import math

import numpy as np

from upmast.constants import SPEED_OF_LIGHT_M_PER_S
from upmast.finding import Figure, Finding
from upmast.formula import Sym, log10, sqrt, symbols
from upmast.rf.lengths import VELOCITY_SOURCE, VELOCITY_TOLERANCE, LengthGain, bands_of, length_gain
from upmast.rf.state import Inputs
from upmast.source import Origin, Source
from upmast.working import ChoiceStep, FormulaStep, Quantity, Step

OWN = Source("own derivation: two like joints", "first order and all echoes; checked against cascades")
KINDS = Source("parts of the connectors", "reflects_as")
SEARCH = Source("own derivation: piecewise linear search over the length", "checked by linear programs")


def derive_length(inputs: Inputs, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of `rf.length-gain`."""
    p = found.rank
    gain = length_gain(inputs, p)
    if gain is None:
        return (ChoiceStep("no value", "something is missing"),)
    spans = tuple(f"{a / 1e6:g} to {b / 1e6:g} MHz" for a, b in inputs.spans[p])
    chosen = ChoiceStep(
        f"{gain.length_m:.4f} m",
        "the length that keeps the worst band farthest from where the joints add; the shortest where none gains", spans,
    )  # fmt: skip
    return (chosen, *_turns(inputs, p, gain), *_port(inputs, p, gain))


def _turns(i: Inputs, p: int, gain: LengthGain) -> tuple[Step, ...]:
    f, length, dl, dv, vf, c = symbols("f L dL dv vf c_0")
    part = i.cable_part[p][0]
    listed = Source(f"part {part}", "velocity_fraction, length_tolerance_m")
    shared = (
        Quantity("L", gain.length_m, "m", "the length", Origin.EXPECTED, SEARCH),
        Quantity("dL", float(i.cut_m[p]), "m", "tolerance of the cut", Origin.LISTED, listed),
        Quantity("vf", float(i.velocity[p]), "", "velocity factor", Origin.LISTED, listed),
        Quantity("dv", VELOCITY_TOLERANCE, "", "tolerance of the velocity", Origin.DEFAULT, VELOCITY_SOURCE),
        Quantity("c_0", SPEED_OF_LIGHT_M_PER_S.value, "m/s", "speed of light", Origin.LISTED, SPEED_OF_LIGHT_M_PER_S.source),
    )  # fmt: skip
    bands = Source("operating bands of the carriers", "3GPP TS 36.101 and TS 38.104")
    bands_now = bands_of(i, p)
    steps: list[Step] = []
    for symbol, hz, sign, turns, words in (
        ("n_lo", gain.low_hz, -1, gain.low_turns, "least"), ("n_hi", gain.high_hz, 1, gain.high_turns, "greatest"),
    ):  # fmt: skip
        edge = Quantity("f", hz, "Hz", "edge of the band that governs", Origin.LISTED, bands)
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
                "0 turns", "a whole turn lies within what is swept: there the joints add",
                (f"{gain.low_turns:.4f} to {gain.high_turns:.4f} turns",),
            )
        )  # fmt: skip
        return tuple(steps)
    up, down = gain.low_turns - whole, whole + 1 - gain.high_turns
    expression = Sym("n_lo") - Sym("m") if up <= down else Sym("m") + 1 - Sym("n_hi")
    distance = Quantity("d", min(up, down), "", "distance to the nearest whole turn", Origin.EXPECTED, OWN)
    steps.append(FormulaStep(distance, expression, (low, room) if up <= down else (room, high)))
    return tuple(steps)


def _port(i: Inputs, p: int, gain: LengthGain) -> tuple[Step, ...]:
    """|G| of the pair, and the return loss at the radio port without and with the length."""
    r, a = Sym("r"), Sym("A")
    joint = Quantity(
        "r",
        gain.joint,
        "",
        f"reflection of the worse joint at the highest frequency, {i.joint[p][0]}",
        Origin.EXPECTED,
        OWN,
    )
    loss = Quantity(
        "A", gain.loss_db, "dB", "one-way loss of the cable, least, at the lowest frequency", Origin.EXPECTED, OWN
    )
    turns = 2 * math.pi * gain.distance_turns
    cosine = Quantity("k", math.cos(turns), "", "cos(2 pi d)", Origin.EXPECTED, OWN)
    back = Quantity(
        "r_2",
        gain.joint * 10 ** (-gain.loss_db / 10),
        "",
        "the far joint, seen through the cable",
        Origin.EXPECTED,
        OWN,
    )
    pair = Quantity("g", gain.pair, "", "reflection of the pair at this length", Origin.EXPECTED, OWN)
    r2, k = Sym("r_2"), Sym("k")
    square = (r**2 + r2**2 + 2 * r * r2 * k) / (1 + 2 * r * r2 * k + r**2 * r2**2)
    end = Quantity(
        "M",
        gain.end * 10 ** (-gain.loss_db / 10),
        "",
        "the antenna port at its limit, seen through the cable",
        Origin.EXPECTED,
        OWN,
    )
    before = Quantity(
        "RL_0", gain.before_db, "dB", "return loss at the radio port, joints in phase", Origin.EXPECTED, OWN
    )
    after = Quantity("RL_1", gain.after_db, "dB", "return loss at the radio port at this length", Origin.EXPECTED, OWN)
    won = Quantity("D", gain.system_db, "dB", "gain at the radio port", Origin.EXPECTED, OWN)
    sum_ = (r + r2) / (1 + r * r2)
    m, g = Sym("M"), Sym("g")
    return (
        FormulaStep(back, r * 10 ** (-a / 10), (joint, loss)),
        FormulaStep(pair, sqrt(square), (joint, back, cosine)),
        FormulaStep(before, -20 * log10((sum_ + m) / (1 + sum_ * m)), (joint, back, end)),
        FormulaStep(after, -20 * log10((g + m) / (1 + g * m)), (pair, end)),
        FormulaStep(won, Sym("RL_1") - Sym("RL_0"), (after, before)),
    )


__all__ = ["derive_length"]
