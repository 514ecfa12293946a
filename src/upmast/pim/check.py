"""What the intermodulation room sees of a line, and what it finds: noise rise by own products, and counts of products."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from upmast.catalogue.part import AntennaPart, Clamp, Connector, Part, RadioPart, RfCable, RfInline
from upmast.finding import Figure, Finding, Scenario, judge
from upmast.limits import Limits
from upmast.line.hardware import KEEP_OUT_M
from upmast.line.line import Line
from upmast.line.walk import RfPath, rf_paths
from upmast.pim.chain import PimSource, chain_level_dbc
from upmast.pim.derive import derive
from upmast.pim.metal import clamp_findings, metal_findings
from upmast.pim.mixing import (
    MOST_FOR_FIGURE,
    PORT_ISOLATION_DB,
    Hits,
    Receive,
    Tone,
    channel_text,
    example_text,
    hits,
    orders_tried,
    trade_text,
)
from upmast.pim.state import Inputs, MetalSource, found_of, rise_of
from upmast.rf.channel import Channel, carrier_channel
from upmast.room import Result
from upmast.site.site import Carrier, Radio, Site
from upmast.source import Source
from upmast.working import Step

NAME = "pim"
VERSION = "1"
CAUTIONS = (
    "A test of intermodulation puts tens of watts into the line: RF burns. Nobody at the antenna or at open connectors while it runs.",
    "Own products are computed for parts as their data sheets say; loose, dirty or rusty metal near the antenna makes more, and only a test finds it.",
)
MODEL = Source("own derivation: products in whole hertz", "checked by trying every vector")


def inputs(line: Line, site: Site, scenarios: Sequence[Scenario]) -> Inputs:
    """Read a line into carriers, channels and the worst level of each chain."""
    del scenarios  # intermodulation here does not depend on weather or load
    asked = {radio.id: radio for radio in site.radios}
    paths: dict[str, list[RfPath]] = {}
    for path in rf_paths(line):
        paths.setdefault(path.radio, []).append(path)
    use = {id: _use(radio.carriers, line.parts.get(radio.part)) for id, radio in asked.items()}
    ends = {id: {path.antenna.partition(".")[0] for path in some if path.antenna} for id, some in paths.items()}
    radios = [item.id for item in line.of_kind("radio") if any(p.family == "rf" for p in line.ports[item.id].values())]
    rows: list[dict[str, Any]] = []
    for id in radios:
        channels, missing = use.get(id, ((), ()))
        own = _receive(channels)
        mates = [other for other in radios if other != id and ends.get(other, set()) & ends.get(id, set())]
        heard: dict[Receive, str] = dict.fromkeys(own, id)
        for other in mates:
            theirs, lacking = use.get(other, ((), ()))
            missing = (*missing, *(f"{lack} of {other}" for lack in lacking if lack != NO_CARRIERS))
            for one in _receive(theirs):
                heard.setdefault(one, other)
        tones, powers = _tones(channels, asked[id].carriers if id in asked else ())
        some = paths.get(id, [])
        if not some:
            missing = (*missing, "an RF path: no port of it is joined")
        missing = (
            *missing,
            *(f"an antenna at the end of {path.id}" for path in some if not ends_at_antenna(line, path)),
        )
        excess = asked[id].joint_excess_db if id in asked else 0.0
        level, path_id, sources, unknown = _worst_line(line, some, excess)
        rows.append(
            {
                "items": (id, *dict.fromkeys(x for path in some for x in (*path.passed, path.antenna.partition(".")[0]) if x)),
                "missing": tuple(dict.fromkeys(missing)), "missing_level": unknown, "tones": tones, "power_dbm": powers,
                "channels": tuple(heard), "owner": tuple(heard.values()),
                "isolation_db": tuple(0.0 if who == id else PORT_ISOLATION_DB for who in heard.values()),
                "level_dbc": level, "path": path_id, "sources": sources,
            }
        )  # fmt: skip
    sectors: list[dict[str, Any]] = []
    for sector in site.sectors:
        members = [radio.id for radio in site.radios if radio.sector == sector.id]
        per_radio = [_tones(use[id][0], asked[id].carriers)[0] for id in members]
        every = tuple(sorted({tone for some_tones in per_radio for tone in some_tones}))
        sectors.append(
            {
                "sectors": sector.id, "sector_items": tuple(members), "sector_tones": every,
                "sector_sets": tuple(tuple(every.index(tone) for tone in some_tones) for some_tones in per_radio),
                "sector_channels": tuple(sorted({one for id in members for one in _receive(use[id][0])})),
                "sector_powers_dbm": _powers(every, [asked[id] for id in members], use),
                "metals": tuple(MetalSource(m.name, m.level_dbc, m.source) for m in site.metals if m.sector == sector.id),
                "sector_missing": tuple(dict.fromkeys(lack for id in members for lack in use[id][1] if lack != NO_CARRIERS)),
            }
        )  # fmt: skip
    columns = {name: tuple(row[name] for row in rows) for name in RADIO_COLUMNS}
    columns |= {name: tuple(row[name] for row in sectors) for name in SECTOR_COLUMNS}
    neighbours = tuple((other.name, _loose_tones(other.carriers)) for other in site.neighbours)
    theirs_dbm = tuple(
        tuple(_loose_power(tone, other.carriers) - other.weaker_db for tone in tones)
        for other, (_, tones) in zip(site.neighbours, neighbours, strict=True)
    )
    near, zone = _near_metal(line, site)
    return Inputs(
        site=site.id, radios=tuple(radios), neighbours=neighbours, neighbour_powers_dbm=theirs_dbm, near_metal=near, zone_items=zone, **columns
    )  # fmt: skip


RADIO_COLUMNS = (
    "items", "missing", "missing_level", "tones", "power_dbm", "channels", "owner", "isolation_db", "level_dbc", "path", "sources",
)  # fmt: skip
SECTOR_COLUMNS = (
    "sectors",
    "sector_items",
    "sector_tones",
    "sector_sets",
    "sector_channels",
    "sector_missing",
    "sector_powers_dbm",
    "metals",
)
NO_CARRIERS = "the carriers of the radio"
Use = tuple[tuple[Channel, ...], tuple[str, ...]]


def _use(carriers: Sequence[Carrier], part: Part | None) -> Use:
    """Channels of carriers, and what is missing to find them."""
    if not carriers:
        return (), (NO_CARRIERS,)
    bands = part.bands if isinstance(part, RadioPart) else ()
    out, missing = [], []
    for carrier in carriers:
        try:
            out.append(carrier_channel(carrier.centre_hz, carrier.width_hz, carrier.band, bands))
        except ValueError as reason:
            missing.append(str(reason))
    return tuple(out), tuple(missing)


def _receive(channels: Iterable[Channel]) -> list[Receive]:
    return [Receive(*one.receive_hz, one.band, one.tdd_hz) for one in channels if one.receive_hz is not None]


def _tone(channel: Channel) -> Tone:
    low, high = channel.transmit_hz
    return Tone((low + high) // 2, high - low, channel.tdd_hz)


def _tones(channels: Sequence[Channel], carriers: Sequence[Carrier]) -> tuple[tuple[Tone, ...], tuple[float, ...]]:
    """Carriers in the order of frequency, equal ones as one with their powers added. Empty if a band is not known."""
    if len(channels) != len(carriers):
        return (), ()
    power: dict[Tone, float] = {}
    for channel, carrier in zip(channels, carriers, strict=True):
        power[_tone(channel)] = power.get(_tone(channel), 0.0) + carrier.power_w
    tones = tuple(sorted(power))
    return tones, tuple(10.0 * math.log10(1000.0 * power[tone]) for tone in tones)


def _loose_tones(carriers: Sequence[Carrier]) -> tuple[Tone, ...]:
    """Carriers of a neighbour. One whose band is not known is taken to send all the time, the safe side."""
    out = set()
    for carrier in carriers:
        try:
            out.add(_tone(carrier_channel(carrier.centre_hz, carrier.width_hz, carrier.band)))
        except ValueError:
            out.add(Tone(round(carrier.centre_hz), round(carrier.width_hz)))
    return tuple(sorted(out))


def ends_at_antenna(line: Line, path: RfPath) -> bool:
    end = path.antenna.partition(".")[0]
    return bool(end) and isinstance(line.part_of(end), AntennaPart)


def _worst_line(
    line: Line, paths: Sequence[RfPath], excess_db: float
) -> tuple[float, str, tuple[PimSource, ...], tuple[str, ...]]:
    """The line of a radio whose sources together are strongest: level, line, sources; and the parts that give no level."""
    best: tuple[float, str, tuple[PimSource, ...]] = (math.nan, "", ())
    missing: dict[str, None] = {}
    for path in paths:
        sources, lacking = sources_of(line, path, excess_db)
        missing.update(dict.fromkeys(lacking))
        if not sources:
            continue
        level = float(chain_level_dbc([one.level_dbc for one in sources]))
        if math.isnan(best[0]) or level > best[0] + 1e-12:
            best = (level, path.id, sources)
    unknown = tuple(missing)
    if math.isnan(best[0]):
        unknown = unknown or ("pim_dbc of any part",)
    return (*best, unknown)


def sources_of(line: Line, path: RfPath, excess_db: float = 0.0) -> tuple[tuple[PimSource, ...], tuple[str, ...]]:
    """The sources of a line from the radio on, a joint as bad as the worse of its connectors; and what gives no level."""
    out: list[PimSource] = []
    missing: list[str] = []

    def given(part: Connector | RfCable | RfInline | AntennaPart, name: str, what: str, excess: float) -> None:
        if part.pim_dbc is None:
            missing.append(f"pim_dbc of {part.id}")
            return
        source = part.source_of("pim_dbc")
        words = source.document + (f", {source.clause}" if source.clause else "")
        out.append(PimSource(name, what, part.id, part.pim_dbc + excess, words, source.mark.value, excess))

    for n, (a, b) in enumerate(path.joints):
        pair = [line.connector(line.port(end).connector) for end in (a, b)]
        missing += [f"pim_dbc of {one.id}" for one in pair if one.pim_dbc is None]
        known = [one for one in pair if one.pim_dbc is not None]
        if known:
            given(max(known, key=lambda one: one.pim_dbc or -math.inf), f"{a} to {b}", "joint", excess_db)
        if n < len(path.passed):
            item = path.passed[n]
            part = line.part_of(item)
            if isinstance(part, RfCable | RfInline):
                given(part, item, "cable" if isinstance(part, RfCable) else "two-port", 0.0)
    end = path.antenna.partition(".")[0]
    antenna = line.part_of(end) if end else None
    if isinstance(antenna, AntennaPart):
        given(antenna, path.antenna, "antenna", 0.0)
    return tuple(out), tuple(dict.fromkeys(missing))


def _powers(tones: Sequence[Tone], radios: Sequence[Radio], use: dict[str, Use]) -> tuple[float, ...]:
    """Power of each tone of a sector at one port, dBm; radios that send the same add up."""
    total = dict.fromkeys(tones, 0.0)
    for radio in radios:
        own, watts = _tones(use[radio.id][0], radio.carriers)
        for tone, dbm in zip(own, watts, strict=True):
            total[tone] += 10.0 ** (dbm / 10.0)
    return tuple(10.0 * math.log10(total[tone]) if total[tone] > 0 else -300.0 for tone in tones)


def _loose_power(tone: Tone, carriers: Sequence[Carrier]) -> float:
    """Power of a neighbour's carrier, dBm: the strongest of that centre."""
    return max(
        10.0 * math.log10(1000.0 * c.power_w)
        for c in carriers
        if abs(c.centre_hz - tone.centre_hz) <= c.width_hz / 2 + 1
    )


def _near_metal(line: Line, site: Site) -> tuple[tuple[tuple[str, str, int], ...], tuple[str, ...]]:
    """Clamps within the zone of an antenna: those of metal, and all that were looked at."""
    found: list[tuple[str, str, int]] = []
    looked: list[str] = []
    antennas = [(item.id, item.low_m, item.high_m) for item in line.of_kind("antenna")]
    for item in line.of_kind("clamp"):
        part = line.parts[item.part]
        near = next(
            (id for id, low, high in antennas if low - KEEP_OUT_M < item.high_m and item.low_m < high + KEEP_OUT_M),
            None,
        )
        if near is None or not isinstance(part, Clamp):
            continue
        looked.append(item.id)
        if part.metal:
            found.append((item.id, near, item.count))
    return tuple(found), tuple(looked)


def check(inputs: Inputs, limits: Limits) -> Result:
    """Findings and figures of the room."""
    findings: list[Finding] = []
    figures: list[Figure] = []
    for k in range(len(inputs.radios)):
        findings.append(_noise(inputs, limits, k))
        if not inputs.missing[k]:
            figures += _counts(inputs, k)
    for s in range(len(inputs.sectors)):
        figures += _sector(inputs, s)
        findings += metal_findings(inputs, limits, s)
    findings += clamp_findings(inputs, limits)
    return Result(tuple(findings), tuple(figures))


def _noise(i: Inputs, limits: Limits, k: int) -> Finding:
    """Noise rise of one radio's chain."""
    limit, radio = limits.get("pim.noise-rise"), i.radios[k]
    remedy = "parts of lower intermodulation, carriers on other ports, or other channels"
    missing = i.missing[k]
    value, note = None, ""
    if not missing:
        orders = orders_tried(len(i.tones[k]))
        found = found_of(i, k)
        if found.order.size == 0:
            highest = orders[-1] if orders else 0
            value, note = 0.0, f"no product up to order {highest} falls into own receive channels"
        elif i.missing_level[k]:
            missing = i.missing_level[k]
        else:
            rise = rise_of(i, k)
            value = rise.rise_db if rise else 0.0
            note = "the products reach own receive channels with their outermost edge only"
            if rise and rise.terms:
                term = rise.terms[0]
                who = i.owner[k][rise.receive]
                where = channel_text(i.channels[k][rise.receive]) + (
                    "" if who == radio else f" of {who}, {PORT_ISOLATION_DB:g} dB away between the ports"
                )
                note = (
                    f"{trade_text(term.coefficients, i.tones[k])}, order {term.order}, in {where}; "
                    f"{rise.interference_dbm:.1f} dBm against noise of {rise.noise_dbm:.1f} dBm; "
                    f"{len(i.sources[k])} sources of {i.path[k]} make {i.level_dbc[k]:.1f} dBc together, the worst: {_loudest(i, k)}"
                )  # fmt: skip
            if orders[-1] < 7:
                note += f"; orders up to {orders[-1]} only, there are {len(i.tones[k])} carriers"
    return judge(
        "pim.noise-rise", radio, value, limit, missing=missing, note=note, remedy=remedy, items=i.items[k], rank=k
    )


def _loudest(i: Inputs, k: int) -> str:
    one = max(i.sources[k], key=lambda s: s.level_dbc)
    return f"{one.part} with {one.level_dbc:g} dBc"


def _counts(i: Inputs, k: int) -> list[Figure]:
    found = found_of(i, k)
    radio, items = i.radios[k], i.items[k]
    note = _orders(found) + (f", e.g. {example_text(found, i.tones[k], i.channels[k])}" if found.order.size else "")
    out = [Figure("pim.products", radio, float(found.distinct()), "", note, MODEL, "", items, k)]
    if found.order.size:
        note = example_text(found, i.tones[k], i.channels[k])
        out.append(Figure("pim.lowest-order", radio, float(found.order[0]), "", note, MODEL, "", items, k))
    return out


def _orders(found: Hits) -> str:
    return "orders " + ", ".join(str(n) for n in found.orders)


def _sector(i: Inputs, s: int) -> list[Figure]:
    """Products across the radios of a sector, and with each neighbour, at metal that all of them reach."""
    sector, tones, channels, items = i.sectors[s], i.sector_tones[s], i.sector_channels[s], i.sector_items[s]
    out: list[Figure | None] = []
    lacking = f"; without {'; '.join(i.sector_missing[s])}" if i.sector_missing[s] else ""
    if sum(bool(one) for one in i.sector_sets[s]) > 1 and channels:
        found = across_radios(i, s)
        out.append(
            _figure("pim.sector", sector, found, tones, channels, items, s, "made at metal near the antennas", lacking)
        )
    for n, (name, _) in enumerate(i.neighbours, 1):
        if tones and channels:
            every, found = with_neighbour(i, s, n - 1)
            out.append(
                _figure("pim.neighbour", f"{sector}-N{n}", found, every, channels, items, s, f"with {name}", lacking)
            )
    return [figure for figure in out if figure is not None]


def _figure(
    code: str, subject: str, found: Hits, tones: Sequence[Tone], channels: Sequence[Receive], items: tuple[str, ...], rank: int,
    words: str, lacking: str,
) -> Figure | None:  # fmt: skip
    if not found.orders:
        return None  # more carriers than `orders_tried` takes even for the third order: no count is better than a wrong one
    note = f"{words}; {_orders(found)}"
    if found.order.size:
        note += f"; lowest order {int(found.order[0])}, {example_text(found, tones, channels)}"
    return Figure(code, subject, float(found.distinct()), "", note + lacking, MODEL, "", items, rank)


def across_radios(i: Inputs, s: int) -> Hits:
    """Products with carriers of two radios or more of a sector: those that no radio can make alone."""
    found = hits(i.sector_tones[s], i.sector_channels[s], MOST_FOR_FIGURE)
    alone = np.zeros(found.order.size, bool)
    for own in i.sector_sets[s]:
        others = np.ones(len(i.sector_tones[s]), bool)
        others[list(own)] = False
        alone |= ~np.any(found.coefficients[:, others], axis=1)
    return found.take(~alone)


def with_neighbour(i: Inputs, s: int, n: int) -> tuple[tuple[Tone, ...], Hits]:
    """The carriers of a sector and one neighbour, and the products with a carrier that only the neighbour has."""
    own, theirs = i.sector_tones[s], i.neighbours[n][1]
    every = tuple(sorted({*own, *theirs}))
    found = hits(every, i.sector_channels[s], MOST_FOR_FIGURE)
    foreign = np.array([tone not in own for tone in every])
    return every, found.take(np.any(found.coefficients[:, foreign], axis=1))


def working(inputs: Inputs, limits: Limits, found: Finding | Figure) -> tuple[Step, ...]:
    """The derivation of one finding or figure of this room."""
    return derive(inputs, found)


__all__ = ["CAUTIONS", "NAME", "VERSION", "Inputs", "check", "inputs", "working"]
