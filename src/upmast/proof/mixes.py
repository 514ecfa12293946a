"""
The intermodulation of a proven line, told for a radio planner: which product, in whose uplink, how loud, what it costs, what to change.

Made on demand, beside the proof. Levels are those of the finding `pim.noise-rise`, taken apart by source with the loss of the line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from upmast.catalogue.part import RfCable
from upmast.line.line import Line
from upmast.line.walk import RfPath, rf_paths
from upmast.pim.chain import PimSource, arrivals_dbm, better_by_db
from upmast.pim.length import known_phase_sum_dbm
from upmast.pim.level import TEST_CARRIER_DBM, dbm_from_dbc, noise_floor_dbm, noise_rise_db
from upmast.pim.metal import ORDER as METAL_ORDER
from upmast.pim.metal import metal_missing, metal_rise
from upmast.pim.mixing import (
    MOST_FOR_FIGURE,
    NEVER,
    NOISE_FIGURE_DB,
    Receive,
    Rise,
    Term,
    Tone,
    channel_text,
    hits,
    trade_text,
)
from upmast.pim.moving import MovingPlan, best_moving_plan
from upmast.pim.products import Products
from upmast.pim.separate import Impact, hit_levels_dbm, least_carriers_to_move, rank_carriers, rank_pairs
from upmast.pim.state import Inputs, found_of, rise_of
from upmast.pim.two_tone import TwoTone
from upmast.proof.prove import Proof
from upmast.proof.two_tones import tones_of_radio
from upmast.rf.channel import carrier_channel
from upmast.rf.loss import line_loss_db
from upmast.rf.state import Inputs as RfInputs
from upmast.site.site import Carrier, Radio

BETTER_DB = 10.0
LEAST_WORD_DB = 0.005
STEP_HZ = 5_000_000  # of allowed centres where a carrier may move: own default
MOST_CENTRES = 24
MOST_RANKED = 400  # hits that are weighed for what to move
Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Rung:
    """One source of the ladder: what arrives of the product from it, its share of all, and what a source better by 10 dB would bring."""

    source: PimSource
    place_m: float
    loss_db: float
    arrives_dbm: float
    share_percent: float
    better_db: float


@dataclass(frozen=True, slots=True)
class Ladder:
    """The strongest product of a radio, from its sources to the receiver: added by power, at worst by voltage, and if phases were alike."""

    path: str
    term: Term
    channel: Receive
    rungs: tuple[Rung, ...]
    power_dbm: float
    voltage_dbm: float
    alike_dbm: float
    noise_dbm: float
    rise_db: float
    worst_rise_db: float
    limit_words: str

    def loss_words(self, rise: Rise) -> str:
        """Why the finding says more than this ladder."""
        return f"line loss is counted here; the finding leaves it out, which is the safe side: {rise.rise_db:.2f} dB"

    @property
    def alike_words(self) -> str:
        """What the length of the jumpers could do, and why nothing is built on it."""
        gain = self.power_dbm - self.alike_dbm
        change = f"{abs(gain):.1f} dB {'less' if gain >= 0 else 'more'}"
        return (
            f"if every source had the same phase, the round trips between them would make it {self.alike_dbm:.1f} dBm, {change}; phases are "
            "not known, so no length is counted on"
        )

    @property
    def loudest(self) -> Rung:
        return max(self.rungs, key=lambda r: r.arrives_dbm)


@dataclass(frozen=True, slots=True)
class Mix:
    """
    One radio: its carriers, what hits, the ladder of its strongest product, and what would help.

    rise: of the finding. counts: products that hit, by order. carriers, pairs: by what moving them, or keeping them apart, would leave.
    move: the least set of carriers to move. plan: another choice of centres, where carriers may move. test: the two tones to set. own:
    what its bands can do alone.
    """

    radio: str
    tones: tuple[Tone, ...]
    powers_dbm: tuple[float, ...]
    rise: Rise | None
    counts: tuple[tuple[int, int], ...]
    ladder: Ladder | None
    carriers: tuple[Impact, ...]
    pairs: tuple[Impact, ...]
    move: tuple[int, ...]
    plan: MovingPlan | None
    test: TwoTone | None
    own: str
    missing: tuple[str, ...]
    owner: str

    @property
    def sentence(self) -> str:
        """One sentence for a radio planner."""
        if self.missing:
            return "not judged: " + "; ".join(self.missing[:3])
        if self.rise is None or not self.rise.terms or self.ladder is None:
            return "no product of its own carriers falls into a receive channel"
        term, ladder = self.rise.terms[0], self.ladder
        who = "its own uplink" if self.owner == self.radio else f"the uplink of {self.owner}"
        where = channel_text(ladder.channel).replace(" uplink", "") + " MHz"
        what = f"{trade_text(term.coefficients, self.tones)} (order {term.order}) falls into {who}, {where}"
        if self.rise.rise_db < LEAST_WORD_DB:
            return f"{what}, too weak to raise its noise"
        return f"{what}, and raises its noise by {self.rise.rise_db:.2f} dB: as much uplink is lost"


@dataclass(frozen=True, slots=True)
class Meeting:
    """
    Carriers that meet at metal near the antennas of a sector: own ones of all its radios, and the neighbours'.

    names: of each carrier, its owner and centre. lowest: of each pair the lowest order at which a product with both hits a receive channel
    of the sector, 0 where none does; on the diagonal of one carrier alone. products: how many of that order. orders: that were looked at.
    """

    sector: str
    names: tuple[str, ...]
    lowest: tuple[tuple[int, ...], ...]
    products: tuple[tuple[int, ...], ...]
    orders: tuple[int, ...]
    others: tuple[str, ...]  # neighbours by their number

    @property
    def total(self) -> int:
        return sum(map(sum, self.products))


@dataclass(frozen=True, slots=True)
class MetalMix:
    """A declared piece of metal near the antennas of a sector: its level, whose word that is, and what it makes there."""

    sector: str
    name: str
    level_dbc: float
    document: str
    tones: tuple[Tone, ...]
    rise: Rise | None
    channel: Receive | None
    missing: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """What it does to the receivers of the sector."""
        said = f"{self.name}, {self.level_dbc:g} dBc ({self.document})"
        if self.missing:
            return f"{said}: not judged: {'; '.join(self.missing[:3])}"
        if self.rise is None or not self.rise.terms or self.channel is None:
            return f"{said}: no product of order {METAL_ORDER} falls into a receive channel of sector {self.sector}"
        term = self.rise.terms[0]
        return (
            f"{said}: {trade_text(term.coefficients, self.tones)} (order {term.order}) falls into {channel_text(self.channel)} MHz; the "
            f"noise of the sector rises by {self.rise.rise_db:.2f} dB"
        )


@dataclass(frozen=True)
class Mixes:
    """All radios, the ones that suffer most first; what meets near the antennas, metal that is declared; and what was taken for granted."""

    mixes: tuple[Mix, ...]
    meetings: tuple[Meeting, ...]
    metals: tuple[MetalMix, ...]
    notes: tuple[str, ...]


def has_mixes(proof: Proof) -> bool:
    """Whether the room was proven and has a radio with carriers."""
    room = proof.rooms.get("pim")
    return room is not None and isinstance(room.inputs, Inputs) and any(room.inputs.tones)


def mixes_of(proof: Proof) -> Mixes:
    """The intermodulation of a proof; radios alike are worked out once."""
    room = proof.rooms["pim"].inputs
    assert isinstance(room, Inputs)
    radios = {radio.id: radio for radio in proof.site.radios}
    paths = {path.id: path for path in rf_paths(proof.line)}
    known: dict[tuple[object, ...], Mix] = {}
    out = []
    for k, id in enumerate(room.radios):
        key = _alike(proof, room, k, paths.get(room.path[k]), radios.get(id))
        if key not in known:
            known[key] = _mix(proof, room, k, paths.get(room.path[k]), radios.get(id))
        one = known[key]
        out.append(one if one.radio == id else _renamed(one, room, k))
    out.sort(key=lambda m: -(m.rise.rise_db if m.rise else -1.0))
    return Mixes(
        tuple(out),
        tuple(met for s in range(len(room.sectors)) if (met := _meeting(room, s)) is not None),
        tuple(_metal(room, s, m) for s in range(len(room.sectors)) for m in range(len(room.metals[s]))),
        (
            "each source as its data sheet allows, slope of n dB per dB, 15 dB less for every two orders (common practice, no source); phases "
            "of sources are not known: their powers add on average, their voltages at worst",
            f"noise figure of a receiver {NOISE_FIGURE_DB:g} dB (common practice, no source)",
        ),
    )  # fmt: skip


def _metal(room: Inputs, s: int, m: int) -> MetalMix:
    metal = room.metals[s][m]
    tones, _, rise = metal_rise(room, s, m)
    channels = room.sector_channels[s]
    channel = channels[rise.receive] if rise is not None and rise.terms else None
    return MetalMix(
        room.sectors[s],
        metal.name,
        metal.level_dbc,
        metal.document,
        tones,
        rise,
        channel,
        metal_missing(room, s, tones),
    )


def _alike(proof: Proof, room: Inputs, k: int, path: RfPath | None, radio: Radio | None) -> tuple[object, ...]:
    """All that decides the answer but names."""
    line = proof.line
    lengths = () if path is None else tuple((line.by_id[id].length_m, line.by_id[id].part) for id in path.passed)
    blocks = () if radio is None else tuple((c.move_from_hz, c.move_to_hz) for c in radio.carriers)
    owners = tuple(who == room.radios[k] for who in room.owner[k])
    part = "" if radio is None else radio.part
    levels = tuple((s.what, s.part, s.level_dbc) for s in room.sources[k])
    return (
        room.tones[k],
        room.power_dbm[k],
        room.channels[k],
        owners,
        lengths,
        levels,
        blocks,
        part,
        room.missing[k],
        room.missing_level[k],
    )


def _renamed(one: Mix, room: Inputs, k: int) -> Mix:
    """The same answer for a radio alike."""
    ladder = one.ladder
    owner = one.owner
    if ladder is not None:
        rungs = tuple(replace(r, source=s) for r, s in zip(ladder.rungs, room.sources[k], strict=True))
        ladder = replace(ladder, path=room.path[k], rungs=rungs)
        owner = room.owner[k][one.rise.receive] if one.rise else ""
    return replace(one, radio=room.radios[k], ladder=ladder, owner=owner)


def _mix(proof: Proof, room: Inputs, k: int, path: RfPath | None, radio: Radio | None) -> Mix:
    tones, powers, missing = room.tones[k], room.power_dbm[k], room.missing[k]
    test, own = tones_of_radio(proof.line, radio, path)
    if missing or not tones:
        return Mix(room.radios[k], tones, powers, None, (), None, (), (), (), None, test, own, missing, "")
    found = found_of(room, k)
    counts = tuple((int(n), found.take(found.order == n).distinct()) for n in sorted(set(found.order.tolist())))
    lacking = room.missing_level[k] if found.order.size else ()
    rise = None if lacking or not found.order.size else rise_of(room, k)
    ladder = None
    owner = ""
    if rise is not None and rise.terms and path is not None:
        ladder = _ladder(proof, room, k, path, rise)
        owner = room.owner[k][rise.receive]
    carriers: tuple[Impact, ...] = ()
    pairs: tuple[Impact, ...] = ()
    move: tuple[int, ...] = ()
    if rise is not None:
        carriers, pairs, move = _what_to_move(room, k)
    plan = None if radio is None or not found.order.size else _plan(room, k, radio)
    return Mix(
        room.radios[k], tones, powers, rise, counts, ladder, carriers, pairs, move, plan, test, own, lacking, owner
    )


def _meeting(room: Inputs, s: int) -> Meeting | None:
    """Which carriers of a sector and of the neighbours make products with which; None where nothing can hit."""
    tones = tuple(sorted({*room.sector_tones[s], *(t for _, some in room.neighbours for t in some)}))
    channels = room.sector_channels[s]
    if len(tones) < 2 or not channels:
        return None
    found = hits(tones, channels, MOST_FOR_FIGURE)
    # rows that differ in the channel only are one product
    rows = (
        np.unique(np.column_stack([found.order, found.coefficients]), axis=0)
        if found.order.size
        else np.zeros((0, len(tones) + 1))
    )
    count = np.zeros((len(found.orders), len(tones), len(tones)), np.int64)
    for n, order in enumerate(found.orders):
        held = (rows[rows[:, 0] == order, 1:] != 0).astype(np.int64)
        alone = held[held.sum(axis=1) == 1].sum(axis=0)
        count[n] = held.T @ held
        np.fill_diagonal(count[n], alone)
    first = np.argmax(count > 0, axis=0)
    lowest = np.where((count > 0).any(axis=0), np.array([*found.orders, 0])[first], 0)
    pairs = np.take_along_axis(count, first[None], axis=0)[0]
    names = tuple(_owner(room, s, tone) + f" {tone.centre_hz / 1e6:g}" for tone in tones)
    many, orders = (tuple(tuple(int(x) for x in row) for row in some) for some in (pairs, lowest))
    others = tuple(f"N{n} {name}" for n, (name, _) in enumerate(room.neighbours, 1))
    return Meeting(room.sectors[s], names, orders, many, found.orders, others)


def _owner(room: Inputs, s: int, tone: Tone) -> str:
    """The first radio of the sector that sends a carrier, else the neighbour by its number: N1, N2, ..."""
    if tone in room.sector_tones[s]:
        at = room.sector_tones[s].index(tone)
        return next(id for id, some in zip(room.sector_items[s], room.sector_sets[s], strict=True) if at in some)
    return next(f"N{n}" for n, (_, some) in enumerate(room.neighbours, 1) if tone in some)


# --- levels along the line ---------------------------------------------------------------------------------------------


def _ladder(proof: Proof, room: Inputs, k: int, path: RfPath, rise: Rise) -> Ladder:
    term, channel = rise.terms[0], room.channels[k][rise.receive]
    sources = room.sources[k]
    place, to_carriers, to_product = _places(proof, room, k, path, term)
    first = rise.interference_dbm  # all products of the channel, at the level of the chain without loss
    arrived = arrivals_dbm(
        first, [s.level_dbc for s in sources], room.level_dbc[k], to_carriers, to_product, term.order
    )
    noise = rise.noise_dbm
    power, voltage = float(arrived.power_dbm), float(arrived.voltage_dbm)
    velocity = next(
        (p.velocity_fraction for id in path.cables if isinstance(p := proof.line.part_of(id), RfCable)), 0.8
    )
    alike = float(known_phase_sum_dbm(arrived.each_dbm, place, float(term.centre_hz), velocity))
    better = better_by_db(arrived.each_dbm, BETTER_DB)
    share = 100 * 10 ** ((arrived.each_dbm - power) / 10)
    rungs = tuple(
        Rung(s, float(place[n]), float(to_product[n]), float(arrived.each_dbm[n]), float(share[n]), float(better[n]))
        for n, s in enumerate(sources)
    )
    rises = [float(noise_rise_db(level, noise)) for level in (power, voltage)]
    sent = ", ".join(f"{p:.1f}" for p in room.power_dbm[k])
    words = (
        f"{room.level_dbc[k]:.1f} dBc or {float(dbm_from_dbc(room.level_dbc[k])):.1f} dBm with two carriers of {TEST_CARRIER_DBM:g} dBm; "
        f"in service carriers of {sent} dBm"
    )
    return Ladder(path.id, term, channel, rungs, power, voltage, alike, noise, rises[0], rises[1], words)


def _places(proof: Proof, room: Inputs, k: int, path: RfPath, term: Term) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Place of each source, and the least loss to it: of the carriers (by their powers of the product), and of the product."""
    rf = proof.rooms.get("rf")
    inputs = rf.inputs if rf is not None else None
    line = proof.line
    places, losses_c, losses_p = [], [], []
    twice = (*room.tones[k], *room.tones[k])  # carriers and their twins
    carriers = [t.centre_hz for t, c in zip(twice, term.coefficients, strict=True) if c]
    weights = [abs(c) for c in term.coefficients if c]
    cold = float(inputs.ambient_c.min()) if isinstance(inputs, RfInputs) else 20.0
    at = loss_c = loss_p = 0.0
    for source in room.sources[k]:
        if source.what in ("cable", "two-port") and source.name in path.passed:
            step = _step(line, source.name, carriers, weights, term.centre_hz, cold)
            half = (step[0] / 2, step[1] / 2, step[2] / 2)
            places.append(at + half[0])
            losses_c.append(loss_c + half[1])
            losses_p.append(loss_p + half[2])
            at, loss_c, loss_p = at + step[0], loss_c + step[1], loss_p + step[2]
            continue
        places.append(at)
        losses_c.append(loss_c)
        losses_p.append(loss_p)
    return np.array(places), np.array(losses_c), np.array(losses_p)


def _step(
    line: Line, id: str, carriers: list[int], weights: list[int], product_hz: int, cold_c: float
) -> tuple[float, float, float]:
    """Length and least loss of one thing passed: at the carriers on average of their part, and at the product."""
    item, part = line.by_id[id], line.part_of(id)
    if not isinstance(part, RfCable):
        loss = float(getattr(part, "least_loss_db", 0.0))
        return float(getattr(part, "electrical_m", 0.0)), loss, loss
    length = item.length_m or 0.0
    short = max(length - item.tolerance_m, 0.0)
    each = line_loss_db(np.array(carriers, float), short, part.a_db_per_m, part.b_db_per_m, cold_c)
    back = float(line_loss_db(float(max(product_hz, 1)), short, part.a_db_per_m, part.b_db_per_m, cold_c))
    return length, float(np.average(each, weights=weights)), back


# --- what would help ---------------------------------------------------------------------------------------------------


def _what_to_move(room: Inputs, k: int) -> tuple[tuple[Impact, ...], tuple[Impact, ...], tuple[int, ...]]:
    """Carriers and pairs by what is left without them; of very many hits the strongest."""
    found, tones, channels = found_of(room, k), room.tones[k], room.channels[k]
    twice, power = tones + tones, room.power_dbm[k] + room.power_dbm[k]
    products = Products(
        found.coefficients,
        found.order,
        found.centre_hz,
        found.width_hz,
        found.receive,
        found.orders,
        np.zeros((0, 0), np.int64),
    )
    ranges = [(c.low_hz, c.high_hz) for c in channels]
    level = (
        hit_levels_dbm(
            products,
            [t.centre_hz for t in twice],
            [t.width_hz for t in twice],
            power,
            ranges,
            float(dbm_from_dbc(room.level_dbc[k])),
        )
        - np.asarray(room.isolation_db[k])[found.receive]
    )
    keep = np.argsort(-level, kind="stable")[:MOST_RANKED]
    noise = [float(noise_floor_dbm(c.high_hz - c.low_hz, NOISE_FIGURE_DB)) for c in channels]
    held = (found.coefficients[:, : len(tones)] != 0) | (found.coefficients[:, len(tones) :] != 0)
    used = held.astype(np.int8)
    some = (used[keep], level[keep], found.receive[keep], noise)
    return rank_carriers(*some), rank_pairs(*some), least_carriers_to_move(used)


def _centres(carrier: Carrier, tone: Tone) -> list[int]:
    """Allowed centres of a carrier, the present one first, then by distance from it."""
    if carrier.move_from_hz is None or carrier.move_to_hz is None:
        return [tone.centre_hz]
    low, high = carrier.move_from_hz + tone.width_hz / 2, carrier.move_to_hz - tone.width_hz / 2
    count = int((high - low) // STEP_HZ) + 1
    made = {round(low + n * STEP_HZ) for n in range(min(count, 4 * MOST_CENTRES))} | {round(high), tone.centre_hz}
    return sorted(made, key=lambda hz: (abs(hz - tone.centre_hz), hz))[:MOST_CENTRES]


def _plan(room: Inputs, k: int, radio: Radio) -> MovingPlan | None:
    """Another choice of centres, where a carrier may move; its receive channel moves with it."""
    tones = room.tones[k]
    by_centre = {round(c.centre_hz): c for c in radio.carriers}
    lists = [_centres(by_centre[t.centre_hz], t) if t.centre_hz in by_centre else [t.centre_hz] for t in tones]
    if all(len(one) == 1 for one in lists) or any(t.tdd_hz != NEVER for t in tones):
        return None
    own = [c for c, who in zip(room.channels[k], room.owner[k], strict=True) if who == room.radios[k]]
    others = [
        (c.low_hz, c.high_hz) for c, who in zip(room.channels[k], room.owner[k], strict=True) if who != room.radios[k]
    ]
    below = [_receive_below(tone, own) for tone in tones]
    return best_moving_plan(
        lists,
        [t.width_hz for t in tones],
        below,
        others,
        list(room.power_dbm[k]),
        float(dbm_from_dbc(room.level_dbc[k])),
    )


def _receive_below(tone: Tone, own: list[Receive]) -> int | None:
    """How far below a carrier its receive channel lies, by the pairing of its band."""
    for channel in own:
        try:
            receive = carrier_channel(float(tone.centre_hz), float(tone.width_hz), channel.band).receive_hz
        except ValueError:
            continue
        if receive is not None and (receive[0], receive[1]) == (channel.low_hz, channel.high_hz):
            return tone.centre_hz - (receive[0] + receive[1]) // 2
    return None


# --- as data -----------------------------------------------------------------------------------------------------------


def mixes_data(found: Mixes) -> dict[str, Any]:
    """As plain data; what is not known is null."""
    return {
        "radios": [_data(m) for m in found.mixes],
        "meetings": [
            {
                "sector": m.sector,
                "carriers": list(m.names),
                "products": [list(row) for row in m.products],
                "orders": list(m.orders),
            }
            for m in found.meetings
        ],
        "metals": [
            {
                "sector": m.sector,
                "name": m.name,
                "level_dbc": m.level_dbc,
                "source": m.document,
                "sentence": m.sentence,
                "noise_rise_db": None if m.missing or m.rise is None else _plain(m.rise.rise_db),
                "missing": list(m.missing),
            }
            for m in found.metals
        ],
        "notes": list(found.notes),
    }


def _data(m: Mix) -> dict[str, Any]:
    ladder, plan, test = m.ladder, m.plan, m.test
    return {
        "radio": m.radio, "sentence": m.sentence, "missing": list(m.missing), "owner": m.owner,
        "carriers": [{"centre_hz": t.centre_hz, "width_hz": t.width_hz, "power_dbm": round(p, 3)} for t, p in zip(m.tones, m.powers_dbm, strict=True)],
        "hits_by_order": {str(n): count for n, count in m.counts},
        "products": [] if m.rise is None else [
            {
                "coefficients": list(t.coefficients), "order": t.order, "centre_hz": t.centre_hz, "level_dbm": _plain(t.level_dbm), "share": _plain(t.share),
            }
            for t in m.rise.terms
        ],
        "ladder": None if ladder is None else {
            "line": ladder.path, "channel_hz": [ladder.channel.low_hz, ladder.channel.high_hz], "band": ladder.channel.band,
            "noise_dbm": _plain(ladder.noise_dbm), "power_sum_dbm": _plain(ladder.power_dbm), "voltage_sum_dbm": _plain(ladder.voltage_dbm),
            "phases_alike_dbm": _plain(ladder.alike_dbm), "noise_rise_db": _plain(ladder.rise_db), "worst_noise_rise_db": _plain(ladder.worst_rise_db),
            "sources": [
                {
                    "name": r.source.name, "what": r.source.what, "part": r.source.part, "level_dbc": r.source.level_dbc, "place_m": _plain(r.place_m),
                    "loss_db": _plain(r.loss_db), "arrives_dbm": _plain(r.arrives_dbm), "share_percent": _plain(r.share_percent),
                    "ten_db_better_brings_db": _plain(r.better_db),
                }
                for r in ladder.rungs
            ],
        },
        "without_carrier": [_impact(one) for one in m.carriers], "pairs_apart": [_impact(one) for one in m.pairs],
        "least_carriers_to_move": list(m.move),
        "other_plan": None if plan is None else {
            "centres_hz": list(plan.centres_hz), "hits": plan.hits, "level_dbm": _plain(plan.level_dbm), "exhaustive": plan.exhaustive, "words": plan.words(),
        },
        "test": None if test is None else {
            "tones_hz": list(test.tones_hz), "order": test.order, "product_hz": test.product_hz, "inside": test.inside, "words": test.words(),
        },
        "own_bands": m.own,
    }  # fmt: skip


def _impact(one: Impact) -> dict[str, Any]:
    return {
        "carriers": list(one.carriers), "hits_gone": one.hits_gone, "hits_left": one.hits_left, "noise_rise_left_db": _plain(one.worst_rise_db),
        "relief_db": _plain(one.relief_db),
    }  # fmt: skip


def _plain(value: float | None) -> float | None:
    return round(value, 6) if value is not None and math.isfinite(value) else None


__all__ = ["Ladder", "MetalMix", "Mix", "Mixes", "Rung", "has_mixes", "mixes_data", "mixes_of"]
