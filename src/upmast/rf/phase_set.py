"""Jumpers of one radio whose phases must agree: what cut and velocity leave, and its working."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.constants import SPEED_OF_LIGHT_M_PER_S
from upmast.formula import Sym
from upmast.rf.lengths_source import VELOCITY_SOURCE, VELOCITY_TOLERANCE
from upmast.rf.matched import MatchedSet, matched_set
from upmast.source import Origin, Source
from upmast.working import FormulaStep, Quantity, Step

__all__ = ["PhaseSet", "derive_phases", "phase_spread"]

OWN = Source("own derivation: electrical length of two jumpers off to both sides", "checked against sampled lengths")


@dataclass(frozen=True, slots=True)
class PhaseSet:
    """One radio: the limit of its set, its jumpers (one length), their tolerance, and the highest frequency in use."""

    radio: str
    limit_deg: float
    length_m: float
    count: int
    velocity_fraction: float
    cut_m: float
    highest_hz: float
    missing: tuple[str, ...]
    items: tuple[str, ...]


def phase_spread(one: PhaseSet) -> MatchedSet:
    """`upmast.rf.matched.matched_set` of the set."""
    return matched_set(
        one.limit_deg, one.highest_hz, one.length_m, one.velocity_fraction, one.cut_m, VELOCITY_TOLERANCE
    )


def derive_phases(one: PhaseSet, site: str) -> tuple[Step, ...]:
    """Steps of `rf.phase-match`."""
    found = phase_spread(one)
    f, length, dl, vf, dv, c = (Sym(n) for n in ("f", "L", "dL", "vf", "dv", "c_0"))
    light = SPEED_OF_LIGHT_M_PER_S
    given = Source(f"part of the jumpers of {one.radio}", "velocity_fraction, length_tolerance_m")
    q = (
        Quantity("f", one.highest_hz, "Hz", "highest frequency in use", Origin.DECLARED, Source("carriers of the radio and their band")),
        Quantity("L", one.length_m, "m", "length of each jumper", Origin.EXPECTED, Source("line.yaml", "length of the item")),
        Quantity("dL", one.cut_m, "m", "tolerance of the cut, plus and minus", Origin.LISTED, given),
        Quantity("vf", one.velocity_fraction, "", "velocity factor", Origin.LISTED, given),
        Quantity("dv", VELOCITY_TOLERANCE, "", "tolerance of the velocity, plus and minus", Origin.DEFAULT, VELOCITY_SOURCE),
        Quantity("c_0", light.value, "m/s", "speed of light", Origin.LISTED, light.source),
    )  # fmt: skip
    result = Quantity("phi", found.spread_deg, "°", "largest difference of phase in the set", Origin.EXPECTED, OWN)
    return (FormulaStep(result, 2 * 360 * f * (dl + length * dv) / (vf * c), q),)
