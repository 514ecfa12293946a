"""What a leg of a route does to a cable, and what the cable withstands: one verdict for each hazard."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.finding import Verdict
from upmast.source import Mark, Source

__all__ = [
    "CORROSION_CLASSES",
    "CORROSION_SOURCE",
    "GNAW_SOURCE",
    "Armour",
    "Hazard",
    "HazardVerdict",
    "LegExposure",
    "PartWithstand",
    "falling_j",
    "judge_hazards",
]

CORROSION_CLASSES = ("C1", "C2", "C3", "C4", "C5", "CX")
CORROSION_SOURCE = Source("ISO 9223", clause="corrosivity categories C1 to CX", mark=Mark.MEMORY)
GNAW_SOURCE = Source(
    "common practice, no source",
    clause="metal tape, wire, corrugated tube or conduit stops rodents",
    mark=Mark.PRACTICE,
)


class Hazard(StrEnum):
    """Hazards of a leg."""

    SUN = "sun"
    SALT = "salt"
    GNAWING = "gnawing"
    IMPACT = "impact"
    TREAD = "tread"
    ICE_FALL = "ice fall"
    VIBRATION = "vibration"

    def __str__(self) -> str:
        return self.value


class Armour(StrEnum):
    """What lies over the cores against tooth and blow."""

    NONE = "none"
    BRAID = "braid"
    TAPE = "metal tape"
    WIRE = "wire"
    CORRUGATED = "corrugated tube"
    CONDUIT = "conduit"

    def __str__(self) -> str:
        return self.value


_STOPS_TEETH = {Armour.TAPE, Armour.WIRE, Armour.CORRUGATED, Armour.CONDUIT}


def _known(name: str, value: float | None) -> None:
    if value is not None and not (math.isfinite(value) and value >= 0):
        raise ValueError(f"{name} must be a number and can't be negative; None where it isn't known")


def _category(name: str, value: str | None) -> None:
    if value and value not in CORROSION_CLASSES:
        raise ValueError(f"{name} {value!r} is not known; there are {', '.join(CORROSION_CLASSES)}")


@dataclass(frozen=True, slots=True, kw_only=True)
class LegExposure:
    """
    What one leg of a route is exposed to. None: nobody has said; False, 0 or '' : it is not.

    sun: it falls on the sheath. corrosion: class of ISO 9223, near the sea C4 to CX. gnawing: rodents or birds.
    impact_j [J]: blow to be withstood. tread_n [N per 100 mm]: load of a boot or a wheel. ice_fall_j [J]: see `falling_j`.
    vibration: of the mast or a machine.
    """

    sun: bool | None = None
    corrosion: str | None = None
    gnawing: bool | None = None
    impact_j: float | None = None
    tread_n: float | None = None
    ice_fall_j: float | None = None
    vibration: bool | None = None

    def __post_init__(self) -> None:
        for name in ("impact_j", "tread_n", "ice_fall_j"):
            _known(name, getattr(self, name))
        _category("corrosion", self.corrosion)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartWithstand:
    """
    What a cable or its guard withstands, by its data sheet. None: the data sheet does not say.

    uv_grade: sheath for sunlight. corrosion: highest class of its metal parts. armour. impact_j [J]: blow.
    crush_n [N per 100 mm]. vibration: tested, or its clamps are.
    """

    uv_grade: bool | None = None
    corrosion: str | None = None
    armour: Armour | None = None
    impact_j: float | None = None
    crush_n: float | None = None
    vibration: bool | None = None

    def __post_init__(self) -> None:
        _known("impact_j", self.impact_j)
        _known("crush_n", self.crush_n)
        if self.corrosion is not None:
            if not self.corrosion:
                raise ValueError("corrosion must be a class, or None where it isn't known")
            _category("corrosion", self.corrosion)


@dataclass(frozen=True, slots=True)
class HazardVerdict:
    """Verdict for one hazard; why, and what is missing where it can't be judged. margin: in the unit of the hazard, if it has one."""

    hazard: Hazard
    verdict: Verdict
    reason: str
    missing: tuple[str, ...] = ()
    margin: float | None = None


def falling_j(mass_kg: ArrayLike, height_m: ArrayLike) -> NDArray[np.float64]:
    """
    Energy of a piece of ice or a tool that falls: `E = m g h`, without drag.

    Parameters
    ----------
    mass_kg [kg], height_m [m]: broadcast.

    Returns
    -------
    Energy [J]. Source: mechanics, textbook.

    >>> float(falling_j(0.5, 20.0).round(0))
    98.0
    """
    mass, height = np.asarray(mass_kg, float), np.asarray(height_m, float)
    if not np.all((mass >= 0) & (mass < np.inf)) or not np.all((height >= 0) & (height < np.inf)):
        raise ValueError("mass and height must be numbers and can't be negative")
    return np.asarray(mass * STANDARD_GRAVITY_M_PER_S2.value * height)


def _yes_no(hazard: Hazard, exposed: bool | None, has: bool | None, good: str, bad: str, ask: str) -> HazardVerdict:
    if exposed is None:
        return _untold(hazard)
    if not exposed:
        return _free(hazard)
    if has is None:
        return HazardVerdict(hazard, Verdict.NOT_JUDGED, f"{hazard} on this leg, and the part does not say", (ask,))
    return HazardVerdict(hazard, Verdict.PASSES if has else Verdict.FAILS, good if has else bad)


def _amount(hazard: Hazard, asked: float | None, has: float | None, unit: str, ask: str) -> HazardVerdict:
    if asked is None:
        return _untold(hazard)
    if asked == 0:
        return _free(hazard)
    if has is None:
        return HazardVerdict(hazard, Verdict.NOT_JUDGED, f"{asked:g} {unit} are asked, the part does not say", (ask,))
    verdict = Verdict.PASSES if has >= asked else Verdict.FAILS
    return HazardVerdict(hazard, verdict, f"{has:g} {unit} withstood, {asked:g} {unit} asked", margin=has - asked)


def _untold(hazard: Hazard) -> HazardVerdict:
    return HazardVerdict(hazard, Verdict.NOT_JUDGED, "the leg does not say", (f"say whether the leg has {hazard}",))


def _free(hazard: Hazard) -> HazardVerdict:
    return HazardVerdict(hazard, Verdict.PASSES, f"the leg has no {hazard}")


def _sun(leg: LegExposure, part: PartWithstand) -> HazardVerdict:
    good, bad = (
        "the sheath is made for sunlight",
        "the sheath is not made for sunlight: cover it, or take a black outdoor one",
    )
    return _yes_no(Hazard.SUN, leg.sun, part.uv_grade, good, bad, "UV grade of the sheath")


def _salt(leg: LegExposure, part: PartWithstand) -> HazardVerdict:
    if leg.corrosion is None:
        return _untold(Hazard.SALT)
    if not leg.corrosion:
        return _free(Hazard.SALT)
    if part.corrosion is None:
        why = f"{leg.corrosion} is asked, the part does not say"
        return HazardVerdict(Hazard.SALT, Verdict.NOT_JUDGED, why, ("corrosion class of its metal parts",))
    steps = CORROSION_CLASSES.index(part.corrosion) - CORROSION_CLASSES.index(leg.corrosion)
    verdict = Verdict.PASSES if steps >= 0 else Verdict.FAILS
    return HazardVerdict(Hazard.SALT, verdict, f"made for {part.corrosion}, {leg.corrosion} asked", margin=float(steps))


def _gnawing(leg: LegExposure, part: PartWithstand) -> HazardVerdict:
    if leg.gnawing and part.armour is Armour.BRAID:
        why = "a braid holds off teeth for a while and does not stop them"
        return HazardVerdict(Hazard.GNAWING, Verdict.NOT_JUDGED, why, ("a test of the part against rodents",))
    has = None if part.armour is None else part.armour in _STOPS_TEETH
    good, bad = f"{part.armour} stops teeth", "no armour against teeth: conduit, or an armoured cable"
    return _yes_no(Hazard.GNAWING, leg.gnawing, has, good, bad, "armour of the part")


def _impact(leg: LegExposure, part: PartWithstand) -> HazardVerdict:
    return _amount(Hazard.IMPACT, leg.impact_j, part.impact_j, "J", "impact that the part withstands")


def _tread(leg: LegExposure, part: PartWithstand) -> HazardVerdict:
    return _amount(Hazard.TREAD, leg.tread_n, part.crush_n, "N/100 mm", "crush load that the part withstands")


def _ice_fall(leg: LegExposure, part: PartWithstand) -> HazardVerdict:
    return _amount(Hazard.ICE_FALL, leg.ice_fall_j, part.impact_j, "J", "impact that the part or its guard withstands")


def _vibration(leg: LegExposure, part: PartWithstand) -> HazardVerdict:
    good, bad = "tested for vibration", "not made for vibration: shorter clamp spacing does not mend that"
    return _yes_no(
        Hazard.VIBRATION, leg.vibration, part.vibration, good, bad, "vibration test of the part or its clamps"
    )


_JUDGES: tuple[Callable[[LegExposure, PartWithstand], HazardVerdict], ...] = (
    _sun, _salt, _gnawing, _impact, _tread, _ice_fall, _vibration,
)  # fmt: skip


def judge_hazards(leg: LegExposure, part: PartWithstand) -> tuple[HazardVerdict, ...]:
    """
    Verdict of a part on a leg for each hazard, in the order of `Hazard`.

    Passes where the leg has no such hazard or the part withstands it, fails where it does not, not judged where leg or
    part does not say. What is equal passes.

    Source: own definition; classes of `CORROSION_SOURCE`, teeth by `GNAW_SOURCE`.

    >>> found = judge_hazards(
    ...     LegExposure(sun=True, corrosion="C4", gnawing=False, impact_j=5.0, tread_n=0, ice_fall_j=0),
    ...     PartWithstand(uv_grade=True, corrosion="C3", impact_j=None),
    ... )
    >>> [str(one.verdict) for one in found]
    ['passes', 'fails', 'passes', 'not judged', 'passes', 'passes', 'not judged']
    """
    return tuple(judge(leg, part) for judge in _JUDGES)
