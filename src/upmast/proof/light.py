"""
The fibre of a proven line, told for people: the budget and delays of each link, each loop with every way to lay it, and what
would put wrong light right.

Made on demand, beside the proof, from what the fibre room saw.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from upmast.catalogue.part import LoopHolder
from upmast.constants import SPEED_OF_LIGHT_M_PER_S
from upmast.fibre.bend_loss import bend_loss_db_per_m, bend_turns_db, elasto_optic_ratio, is_step_index
from upmast.fibre.coil import bundle_coil, missing_lengths_m, oval_coils, spiral_coils, ties_count, twist_advice
from upmast.fibre.evaluate import bent, loop_bend_db, of, strand_radius_mm
from upmast.fibre.findings import overload_remedy
from upmast.fibre.slack import slack_loops
from upmast.fibre.state import Inputs, Loop
from upmast.line.line import Line
from upmast.proof.prove import Proof

EXITS = ((0.0, "onward"), (0.25, "to one side"), (0.5, "back"), (0.75, "to the other side"))
MOST_ROWS = 13
TIE_M = 0.5  # between ties round a coil, four a turn at least: common practice, no source
TYPICAL_CORE_UM, TYPICAL_CORE_INDEX, TYPICAL_CLAD_INDEX = 4.1, 1.4492, 1.4440  # a step of 0.36 %: from memory
SHOWN_WAVES_NM = (1310.0, 1550.0, 1625.0)


@dataclass(frozen=True, slots=True)
class LinkLight:
    """One link: where its light ends, its worse direction's budget, and its delays. Values in dB, dBm, ns, m; NaN unknown."""

    link: str
    radio: str
    cabinet_port: str
    radio_port: str
    sender: str
    receiver: str
    right: bool
    why: str
    strands: tuple[str, ...]
    length_m: float
    joints: int
    loops: int
    worst_db: float
    best_db: float
    likely_db: float
    bend_db: float
    channel_db: float
    low_db: float
    over_db: float
    remedy: str
    return_loss_db: float
    delay_ns: float
    apart_ns: float
    apart_by_length_ns: float
    memory: str


@dataclass(frozen=True, slots=True)
class Lay:
    """One way to lay a loop: whole turns and part of one, its radius, and where the cable goes on."""

    turns: int
    exit_turn: float
    radius_m: float
    outer_m: float  # of the last turn where each turn lies outside of the one before
    straight_m: float  # of an oval
    towards: str
    present: bool


@dataclass(frozen=True, slots=True)
class LoopLight:
    """One loop as it lies, every other way to lay it, and what it does to its strands."""

    loop: Loop
    least_m: float
    most_m: float
    lays: tuple[Lay, ...]
    spirals: tuple[Lay, ...]
    ovals: tuple[Lay, ...]
    found: tuple[
        tuple[float, Lay | None], ...
    ]  # what may be left over on site, and how it is best laid; None: in no way
    cut_m: float  # infinite where no length would be left to lay
    add_m: float
    ties: int
    twist: str
    bound_db: tuple[float, ...]  # at `SHOWN_WAVES_NM`
    estimate_db: (
        tuple[float, float] | None
    )  # lowest and highest at 1550 nm by the formula, stress counted; None: it doesn't hold
    strain_percent: float
    break_chance: float

    @property
    def rest_m(self) -> float:
        """Left over beside the turns; negative where the loop holds more than there is."""
        return self.loop.surplus_m - self.loop.stored_m


@dataclass(frozen=True, slots=True)
class Together:
    """Loops at one place that could be one coil: its turns and radius, and what stays of each cable beside it."""

    cables: tuple[str, ...]
    turns: int
    radius_m: float
    rest_m: tuple[float, ...]


@dataclass(frozen=True)
class Light:
    """The whole answer."""

    links: tuple[LinkLight, ...]
    causes: tuple[tuple[str, tuple[str, ...], int], ...]  # change, others that do the same, directions still wrong
    loops: tuple[LoopLight, ...]
    together: tuple[Together, ...]
    loose: tuple[tuple[str, float, float], ...]  # cable, left over, missing to one turn
    kept: tuple[tuple[str, bool, str], ...]
    growth: tuple[int, int]  # strands, asked
    standby: tuple[tuple[str, int, int], ...]
    years: int


def has_light(proof: Proof) -> bool:
    """Whether the fibre room was proven and has links or loops."""
    room = proof.rooms.get("fibre")
    return room is not None and isinstance(room.inputs, Inputs) and bool(room.inputs.links or room.inputs.loops)


def light_of(proof: Proof) -> Light:
    """The fibre of a proof, see `has_light`."""
    inputs = proof.rooms["fibre"].inputs
    assert isinstance(inputs, Inputs)
    loops = tuple(_loop(proof.line, inputs, loop) for loop in inputs.loops)
    return Light(
        tuple(_link(inputs, n) for n in range(len(inputs.links))),
        tuple((c.words, c.alike, c.left) for c in inputs.changes),
        loops,
        tuple(_together(proof.line, loops)),
        tuple((x.cable, x.surplus_m, x.missing_m) for x in inputs.loose),
        inputs.spares,
        (inputs.growth, inputs.growth_asked),
        inputs.standby,
        inputs.life.years,
    )


def _link(i: Inputs, n: int) -> LinkLight:
    b, rows = of(i), (2 * n, 2 * n + 1)
    wrong = next((i.ways[row] for row in rows if not i.ways[row].right), None)

    def worse(values: object) -> int:
        return min(rows, key=lambda r: float(values[r]) if not math.isnan(values[r]) else -math.inf)  # type: ignore[index]

    low, over = worse(b.low_db), worse(b.over_db)
    way = i.ways[low]
    back = worse(b.return_loss_db)
    # with no strand of its own a direction has no length of its own either
    lengths = [sum(g.index_1310 * g.length_m for g in i.ways[row].glass) for row in rows]
    delays = [1e9 * float(b.delay_s[row]) for row in rows]
    strands = tuple(dict.fromkeys(s for row in rows for s in i.ways[row].strands))
    return LinkLight(
        i.links[n], i.radio[n], i.ways[rows[0]].start.split("/")[0], i.ways[rows[0]].meant, i.ways[rows[0]].sender,
        i.ways[rows[0]].receiver, wrong is None, wrong.why if wrong is not None else "", strands, way.length_m, len(way.events),
        len(way.loops), float(b.worst_db[low]), float(b.best_db[over]), float(b.likely_db[low]), float(b.bend_db[low]),
        way.channel_db, float(b.low_db[low]), float(b.over_db[over]),
        overload_remedy(i, b, over) if b.over_db[over] < 0 else "", float(b.return_loss_db[back]), max(delays),
        abs(delays[0] - delays[1]), 1e9 * abs(lengths[0] - lengths[1]) / SPEED_OF_LIGHT_M_PER_S.value,
        "; ".join(dict.fromkeys(m for row in rows for m in (i.ways[row].low_missing, i.ways[row].high_missing) if m)),
    )  # fmt: skip


def _loop(line: Line, i: Inputs, loop: Loop) -> LoopLight:
    holder = line.parts[loop.part]
    assert isinstance(holder, LoopHolder)
    least = max(loop.least_radius_mm, holder.least_radius_mm) / 1000
    most = holder.most_radius_mm / 1000
    left = loop.surplus_m if loop.surplus_m == loop.surplus_m else loop.stored_m
    life = bent(loop, i.life)
    cut, add = missing_lengths_m(max(left, 0.0), least, max(most, least))
    return LoopLight(
        loop, least, most,
        tuple(_lays(loop, left, least, most, holder.most_turns_count)),
        tuple(_spirals(loop, left, least, most, holder.most_turns_count)),
        tuple(_ovals(loop, left, least, holder)),
        tuple(_found(loop, left, least, most, holder.most_turns_count)), cut, add,
        int(ties_count(2 * math.pi * loop.radius_m + 2 * loop.straight_m, TIE_M)), twist_advice(loop.turns),
        tuple(float(loop_bend_db((loop,), wave)[0]) for wave in SHOWN_WAVES_NM), _estimate(loop), 100 * life.strain, life.uniform,
    )  # fmt: skip


def _lays(loop: Loop, left_m: float, least_m: float, most_m: float, most_turns: int) -> Iterator[Lay]:
    """Every number of turns and exit that takes up what is left, the widest first for each exit."""
    if not left_m > 0 or least_m > most_m:
        return
    for exit_turn, towards in EXITS:
        found = slack_loops(left_m, least_m, most_m, exit_turn)
        for turns, radius in zip(found.turns.tolist(), found.radius_m.tolist(), strict=True):
            if turns <= most_turns:
                here = turns == loop.turns and exit_turn == loop.exit_turn and not loop.straight_m and not loop.pitch_m
                yield Lay(turns, exit_turn, radius, radius, 0.0, towards, here)


def _spirals(loop: Loop, left_m: float, least_m: float, most_m: float, most_turns: int) -> Iterator[Lay]:
    """The same laid flat, each turn outside of the one before."""
    if not left_m > 0 or least_m > most_m:
        return
    for exit_turn, towards in EXITS:
        found = spiral_coils(left_m, least_m, most_m, loop.diameter_mm / 1000, exit_turn)
        for turns, inner, outer in zip(
            found.turns.tolist(), found.inner_m.tolist(), found.outer_m.tolist(), strict=True
        ):
            if 1 < turns <= most_turns:
                here = turns == loop.turns and exit_turn == loop.exit_turn and loop.pitch_m > 0
                yield Lay(turns, exit_turn, inner, outer, 0.0, towards, here)


def _found(
    loop: Loop, left_m: float, least_m: float, most_m: float, most_turns: int
) -> Iterator[tuple[float, Lay | None]]:
    """How to lay what may be left over on site, over its tolerance: as the loop leaves by design, else by the next exit."""
    off = min(loop.surplus_off_m, 10.0) if loop.surplus_off_m == loop.surplus_off_m else 0.0
    step = next((s for s in (0.1, 0.25, 0.5, 1.0) if 2 * off / s <= MOST_ROWS - 1), 2.0)
    steps = math.ceil(off / step - 1e-9)
    for k in range(-steps, steps + 1):
        slack = left_m + k * step
        if slack <= 0:
            continue
        ways = sorted(_lays(loop, slack, least_m, most_m, most_turns), key=lambda x: x.exit_turn != loop.exit_turn)
        yield slack, ways[0] if ways else None


def _ovals(loop: Loop, left_m: float, least_m: float, holder: LoopHolder) -> Iterator[Lay]:
    """The same as ovals, where the holder takes some that are no circles."""
    most_m = holder.most_radius_mm / 1000
    if holder.longest_mm is None or not left_m > 0 or least_m > most_m:
        return
    for half, towards in ((False, "onward"), (True, "back")):
        found = oval_coils(left_m, least_m, most_m, holder.longest_mm / 1000, half)
        exit_turn = 0.5 * half
        rows = zip(found.turns.tolist(), found.radius_m.tolist(), found.straight_m.tolist(), strict=True)
        for turns, radius, straight in rows:
            if straight > 0.005 and turns <= holder.most_turns_count:
                here = turns == loop.turns and exit_turn == loop.exit_turn and loop.straight_m > 0
                yield Lay(turns, exit_turn, radius, radius, straight, towards, here)


def _estimate(loop: Loop) -> tuple[float, float] | None:
    if not is_step_index(loop.fibre_class):
        return None
    radius = strand_radius_mm(loop)
    ratio = float(elasto_optic_ratio(TYPICAL_CLAD_INDEX))
    made = bend_loss_db_per_m(TYPICAL_CORE_UM, TYPICAL_CORE_INDEX, TYPICAL_CLAD_INDEX, 1550.0, radius, ratio)
    found = bend_turns_db(made, radius, loop.turns + loop.exit_turn)
    return (float(found.low), float(found.high)) if bool(found.covered) else None


def _together(line: Line, loops: tuple[LoopLight, ...]) -> Iterator[Together]:
    """Loops that hang at one height on one kind of holder for one direction: told as one coil."""
    places: dict[tuple[float, str, str], list[LoopLight]] = {}
    for one in loops:
        item = line.by_id[one.loop.id]
        sector = line.by_id[one.loop.cable].sector
        places.setdefault((round(item.low_m, 1), one.loop.part, sector), []).append(one)
    for mine in places.values():
        slack = [one.loop.surplus_m for one in mine]
        if len(mine) < 2 or not all(x > 0 for x in slack):
            continue
        coil = bundle_coil(slack, max(one.least_m for one in mine), min(one.most_m for one in mine))
        if coil is not None:
            rest = tuple(float(x) for x in coil.rest_m)
            yield Together(tuple(one.loop.cable for one in mine), coil.turns, coil.radius_m, rest)


__all__ = [
    "EXITS",
    "SHOWN_WAVES_NM",
    "TIE_M",
    "Lay",
    "Light",
    "LinkLight",
    "LoopLight",
    "Together",
    "has_light",
    "light_of",
]
