"""
The lines of a proof on the mast, told for the crew and for the structural engineer: clamps by height, what governs them, pull,
swings, heat, ice and the loads handed over.

Made on demand, beside the proof. Limits stay those of the findings; what has none is said in words.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from upmast.line.line import Line
from upmast.proof.cable_moves import Heat, Swings, heat_of, swings_of
from upmast.proof.clamp_list import ClampGroup, ClampRow, clamp_groups, clamp_rows
from upmast.proof.prove import Proof
from upmast.support.clamp import CREEP_FACTOR, FRICTION, NUT_FACTOR, SLIP_SAFETY
from upmast.support.findings import bend_lacks, spacing_limit
from upmast.support.hand_over import HandOver, HandOverSum, basis, hand_over, hand_over_sum, left_out
from upmast.support.hoist import grip_positions_m
from upmast.support.pull import FRICTION as PULL_FRICTION
from upmast.support.route import BEND_DIAMETERS, DIRECTIONS, RIGHT_ANGLE_DEG, better_way
from upmast.support.state import FRICTION_BOLT_MM, FRICTION_TORQUE_NM, Inputs, State
from upmast.support.torque import NUT_SCATTER, retighten_days

DAYS_A_YEAR = 365.25
NOTES = (
    "Not a structural design: mast, foundation and mounts are to be verified by a licensed engineer.",
    "Wind climate, ice class and national annex are inputs.",
    "Friction and nut factor scatter by 30 %.",
    "Lifting plan and rated gear needed; nobody stands under the load.",
    "Climbing only by trained crew.",
)


FRICTION_SHORT, FRICTION_LONG = "friction", "friction at the allowed torque"
FRICTION_FOOT = f"{FRICTION_SHORT}: {FRICTION_LONG}, the spacing that friction would hold at the largest torque that crushes no cable: a hint, no limit"


@dataclass(frozen=True, slots=True)
class Window:
    """
    Torque of one bolt between slip and crush. low_nm: holds the real spacing by friction, with the rough end of the scatter. high_nm:
    reaches the crush rating at its slippery end; None where the cable does not tell it. sheet_nm: of the data sheet.
    """

    low_nm: float
    high_nm: float | None
    sheet_nm: float | None

    @property
    def open(self) -> bool:
        return self.high_nm is None or self.low_nm <= self.high_nm

    @property
    def words(self) -> str:
        top = "crush not known" if self.high_nm is None else f"{self.high_nm:.1f} N·m"
        return (
            f"{self.low_nm:.1f} N·m to {top}"
            if self.open
            else f"none: slip asks {self.low_nm:.1f} N·m, crush allows {top}"
        )


@dataclass(frozen=True, slots=True)
class Hold:
    """
    Cables alike: their clamps, the real spacing, the largest by slip, side load and rule, what governs, and the torque window.

    friction_m: spacing that friction would hold at the largest torque that crush allows, a hint and no limit; None where the parts do not
    tell it. tested: whether slip is a tested rating.
    """

    cables: tuple[str, ...]
    part: str
    clamp: str
    count: int
    spacing_m: float
    slip_m: float
    side_m: float
    rule_m: float
    friction_m: float | None
    governs: str
    spans: int
    end_factor: float
    tested: bool
    window: Window | None
    missing: tuple[str, ...]

    @property
    def slip_words(self) -> str:
        """Largest spacing by slip, in brackets where no slip rating was tested: see `ASSUMED_BOLTS`."""
        return f"{self.slip_m:.1f}" if self.tested else f"({self.slip_m:.1f})"

    @property
    def governs_words(self) -> str:
        """What governs; slip and friction in brackets where no slip rating is tested: nothing is judged by them."""
        return f"({self.governs})" if self.governs in ("slip", FRICTION_SHORT) and not self.tested else self.governs

    @property
    def shares(self) -> dict[str, float]:
        """Real spacing over the largest, by cause: what is used up."""
        out = {
            "slip": self.spacing_m / self.slip_m,
            "side load": self.spacing_m / self.side_m,
            "rule": self.spacing_m / self.rule_m,
        }
        if self.friction_m is not None:
            out[FRICTION_LONG] = self.spacing_m / self.friction_m
        return out


ASSUMED_BOLTS = f"in brackets, bolts assumed: one dry M{FRICTION_BOLT_MM:g} at {FRICTION_TORQUE_NM:g} N·m, not judged"


@dataclass(frozen=True, slots=True)
class Along:
    """A run pulled along its route both ways: tension and side pressure of each, the cable's limits, the better way and its verdict."""

    cable: str
    part: str
    tension_n: tuple[float, float]
    side_n_per_m: tuple[float, float]
    most_n: float | None
    most_n_per_m: float | None
    better: int
    told: bool
    radius_told: bool = False
    guessed_m: float | None = None  # radius of bends that neither the site nor the part tells

    @property
    def verdict(self) -> str:
        if self.most_n is None or not np.isfinite(self.most_n):
            return f"not judged: the highest pull of {self.part}"
        over = self.tension_n[self.better] > self.most_n
        missing = [f"its limit of {self.part}"] if self.most_n_per_m is None else []
        missing += [bend_lacks(self.part)] if self.guessed_m is not None else []
        press = self.most_n_per_m is not None and self.side_n_per_m[self.better] > self.most_n_per_m
        if over or (press and not missing):
            return "fails"
        return f"pull passes; side pressure not judged: {'; '.join(missing)}" if missing else "passes"

    @property
    def words(self) -> str:
        way, other = self.better, 1 - self.better
        return (
            f"{self.cable}: better {DIRECTIONS[way]}, {self.tension_n[way]:.0f} N and {self.side_n_per_m[way]:.0f} N/m; "
            f"{DIRECTIONS[other]} {self.tension_n[other]:.0f} N and {self.side_n_per_m[other]:.0f} N/m"
        )


@dataclass(frozen=True, slots=True)
class Hung:
    """Grips of one run: item, part, count, heights from the top down, and the load of each while it moves."""

    cable: str
    item: str
    part: str
    heights_m: tuple[float, ...]
    load_n: float
    rated_n: float
    top_n: float


@dataclass(frozen=True)
class MastLines:
    """Everything of the support of a proven line. `rows` is one row a clamp, `groups` the same by item and leg."""

    rows: tuple[ClampRow, ...]
    groups: tuple[ClampGroup, ...]
    holds: tuple[Hold, ...]
    pulls: tuple[Along, ...]
    grips: tuple[Hung, ...]
    swings: tuple[Swings, ...]
    heat: tuple[Heat, ...]
    hand_over: tuple[HandOver, ...]
    total: HandOverSum
    basis: tuple[str, ...]
    left_out: tuple[str, ...]
    masses: tuple[str, ...]
    retighten_d: float | None
    retighten_words: str
    notes: tuple[str, ...]


def has_mast_lines(proof: Proof) -> bool:
    """Whether the room was proven and has a cable outside of the cabinet."""
    room = proof.rooms.get("support")
    return room is not None and isinstance(room.inputs, Inputs) and bool(room.inputs.spans)


def mast_lines_of(proof: Proof) -> MastLines:
    """The lines of a proof on the mast."""
    room = proof.rooms["support"].inputs
    assert isinstance(room, Inputs)
    rows = clamp_rows(proof)
    loads = hand_over(room, proof.site.mast.face_m / 2)
    days, words = _care(proof)
    return MastLines(
        rows, clamp_groups(rows), _holds(proof, room), _pulls(room), _grips(proof.line, room), swings_of(proof, room), heat_of(proof, room),
        loads, hand_over_sum(room, loads), basis(room), left_out(room),
        tuple(f.note for f in proof.findings if f.code == "support.mass-difference"), days, words, NOTES,
    )  # fmt: skip


def _holds(proof: Proof, room: Inputs) -> tuple[Hold, ...]:
    state = State(room)
    alike: dict[tuple[object, ...], list[int]] = {}
    for n, part in enumerate(room.part):
        if room.clamp_count[n]:
            key = (
                part,
                room.clamp[n],
                int(room.clamp_count[n]),
                round(float(state.spacing_m[n]), 4),
                round(float(state.side_m[n]), 2),
            )
            alike.setdefault(key, []).append(n)
    out = []
    for rows in alike.values():
        n = rows[0]
        limit, name, missing = spacing_limit(room, state, proof.limits, n)
        crush, window = _window(room, state, n)
        tested = not np.isnan(room.slip_n[n])
        if crush is not None and not tested and crush <= limit.value:
            name = FRICTION_SHORT
        spans = int(room.clamp_count[n]) + (-1 if room.run[n] else 1)
        out.append(
            Hold(
                tuple(room.spans[r] for r in rows), room.part[n], room.clamp[n], int(room.clamp_count[n]), float(state.spacing_m[n]),
                float(state.slip_m[n]), float(state.side_m[n]), float(room.rule_m[n]), crush, name, max(spans, 1), float(state.end_factor[n]),
                tested, window, missing,
            )
        )  # fmt: skip
    return tuple(out)


def _window(room: Inputs, state: State, n: int) -> tuple[float | None, Window | None]:
    """Spacing at the largest torque that crush allows, and the window of torque; None where the parts do not tell enough."""
    if np.isnan(room.bolts[n] + room.bolt_mm[n]):
        return None, None
    weight = float(room.mass_kg_per_m[n] + state.ice_kg_per_m[n]) * 9.80665 * float(state.spacing_m[n])
    force = SLIP_SAFETY * weight / (2 * FRICTION * CREEP_FACTOR * float(room.bolts[n]))
    low = force * NUT_FACTOR * (1 + NUT_SCATTER) * float(room.bolt_mm[n]) * 1e-3
    sheet = None if np.isnan(room.torque_nm[n]) else float(room.torque_nm[n])
    found = np.flatnonzero(state.torqued == n)
    if not found.size or state.torque is None:
        return None, Window(low, None, sheet)
    row = int(found[0])
    return float(state.torque.spacing_m[row]), Window(low, float(state.torque.crush_nm[row]), sheet)


def _pulls(room: Inputs) -> tuple[Along, ...]:
    state, out = State(room), []
    for n, cable in enumerate(room.spans):
        if not room.run[n] or not room.route:
            continue
        both = state.route_pulls(n)
        most, press = (None if np.isnan(x[n]) else float(x[n]) for x in (room.pull_n, room.side_pressure_n))
        out.append(
            Along(
                cable, room.part[n], (both[0].highest_n, both[1].highest_n), (both[0].side_n_per_m, both[1].side_n_per_m), most, press,
                better_way(both, most, press), room.route_told, any(leg.radius_m is not None for leg in room.route),
                float(room.bend_m[n]) if state.guessed_bend(n) else None,
            )
        )  # fmt: skip
    return tuple(out)


def _grips(line: Line, room: Inputs) -> tuple[Hung, ...]:
    from upmast.support.hoist import grip_load_n, top_tension_n

    out = []
    for grip in room.grips:
        n = grip.span
        length, mass = float(room.hanging_m[n]), float(room.mass_kg_per_m[n])
        if length <= 0 or grip.count < 1:
            continue
        top = float(room.high_m[n])
        heights = tuple(float(top - below) for below in grip_positions_m(length, grip.count))
        load = float(grip_load_n(mass, length, sum(g.count for g in room.grips if g.span == n)))
        out.append(
            Hung(room.spans[n], grip.item, grip.part, heights, load, grip.rated_n, float(top_tension_n(mass, length)))
        )
    return tuple(out)


def _care(proof: Proof) -> tuple[float | None, str]:
    """When bolts are tightened again, by the rule of the owner."""
    care = proof.site.policy.clamp_care
    if care is None:
        return None, "no date for tightening clamps again: give policy.clamp_care, by tests or experience of the owner"
    days = float(retighten_days(care.left_fraction, care.creep_fraction, care.vibration_fraction))
    said = f"{100 * care.creep_fraction:g} % lost in each tenfold of days, {100 * care.vibration_fraction:g} % a year by vibration, {100 * care.left_fraction:g} % must be left"
    when = (
        f"{_days(days)} after they were tightened, and again each such time"
        if np.isfinite(days)
        else "never by this rule"
    )
    return days, f"tighten clamps again {when}: {said}; declared by {care.source}"


def _days(days: float) -> str:
    """Days, from a year on with the years too."""
    return f"{days:.0f} days" + (f" ({days / DAYS_A_YEAR:.1f} years)" if days >= DAYS_A_YEAR else "")


def pull_note(found: MastLines) -> str:
    """What was taken for granted of the route."""
    bends = "bends as the site gives them"
    if not any(p.told for p in found.pulls):
        none = "no angle, only radii" if any(p.radius_told for p in found.pulls) else "none"
        bends = f"a bend of {RIGHT_ANGLE_DEG:g}° between each two legs, since the site tells {none}"
    guesses = [f"of {p.cable} {p.guessed_m:.2f} m" for p in found.pulls if p.guessed_m is not None]
    taken = (
        f", or, since neither site nor part tells one, {BEND_DIAMETERS} diameters ({', '.join(guesses)}; common practice, no source)"
        if guesses
        else ""
    )
    return f"friction {PULL_FRICTION:g} (common practice, no source), {bends}, radius as given or the smallest of the cable under pull{taken}; the way down needs the reel at the top and a brake that holds what hangs"


def mast_data(found: MastLines) -> dict[str, Any]:
    """As plain data, for `--json` and `findings.json`."""
    from upmast.proof.mast_words import data

    return data(found)


__all__ = [
    "ASSUMED_BOLTS",
    "FRICTION_FOOT",
    "FRICTION_LONG",
    "FRICTION_SHORT",
    "Along",
    "Hold",
    "Hung",
    "MastLines",
    "Window",
    "has_mast_lines",
    "mast_data",
    "mast_lines_of",
    "pull_note",
]
