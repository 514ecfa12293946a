"""What the fibre room sees of a line, and what it finds: light on the right port, margins, spares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.catalogue.part import Cable, Optic
from upmast.fibre.bend import least_cable_radius_mm
from upmast.fibre.budget import low_margin_db, overload_margin_db
from upmast.fibre.delay import delay_s
from upmast.fibre.derive import DELAY, derive
from upmast.finding import Authority, Figure, Finding, Limit, Scenario, Sense, judge
from upmast.limits import Limits
from upmast.line.line import Line, Link
from upmast.line.walk import Strand, strand
from upmast.room import Result
from upmast.site.site import Site
from upmast.source import Mark, Source
from upmast.working import Step

NAME = "fibre"
VERSION = "1"
CAUTIONS = (
    "Invisible laser light: never look into a fibre or a port, never point a scope at a live one. Switch off and prove dark first.",
    "Inspect and clean every end face before mating. Keep caps on until the moment of mating.",
    "Class values are limits of the standard, not those of your module: its data sheet governs.",
    "Test every strand: continuity, and loss both ways at 1310 and 1550 nm.",
)
Array = NDArray[np.float64]
LONG_WAVE_NM = 1450.0  # from here on the attenuation at 1550 nm is taken


@dataclass(frozen=True, eq=False)
class Inputs:
    """All that the room sees: one row a direction (2 a link), cabinet to radio first."""

    site: str
    links: tuple[str, ...]
    radio: tuple[str, ...]
    start: tuple[str, ...]  # [2k] port and position that sends
    meant: tuple[str, ...]  # [2k] port that should receive
    reached: tuple[str, ...]  # [2k] port and position in which the light ends; empty: in nothing
    right: NDArray[np.bool_]  # [2k] it is the receiver of the port that is meant
    why: tuple[str, ...]  # [2k] what is wrong and the likely cause; empty if right
    items: tuple[tuple[str, ...], ...]  # [2k]
    attenuation_db: tuple[tuple[float, ...], ...]  # [2k] dB/km of each cable
    length_m: tuple[tuple[float, ...], ...]  # [2k] of each cable
    event_db: tuple[tuple[float, ...], ...]  # [2k] highest loss of each mated pair
    tx_minimum_dbm: Array
    tx_maximum_dbm: Array
    rx_minimum_dbm: Array
    rx_maximum_dbm: Array
    channel_db: Array  # NaN where the class has none
    optics: tuple[tuple[str, str], ...]  # [2k] sender and receiver parts
    unconfirmed: tuple[str, ...]  # [2k] values from memory, in words
    channel_source: tuple[tuple[str, str], ...]  # [2k] document and mark
    growth: int
    growth_asked: int
    standby: tuple[tuple[str, int, int], ...]  # radio, kept, asked
    cables: tuple[tuple[str, float, bool], ...]  # item, bend radius at rest, from the data sheet


def inputs(line: Line, site: Site, scenarios: Sequence[Scenario]) -> Inputs:
    """Read a line into rows."""
    service = [link for link in line.links if link.state == "service"]
    equipped = {f"{item.id}.{name}": optic for item in line.items for name, optic in item.equipment}
    rows: list[dict[str, object]] = []
    offsets = _offsets(line, service)
    for n, link in enumerate(service):
        for a, b in ((link.a, link.b), (link.b, link.a)):
            rows.append(_direction(line, site, a, b, equipped, offsets[n]))
    asked = {radio.id: radio.fibre for radio in site.radios}
    kept: dict[str, int] = {}
    for link in line.links:
        if link.state == "standby":
            kept[link.radio] = kept.get(link.radio, 0) + 1
    carriers = [i for i in line.items if isinstance(line.parts.get(i.part), Cable)]
    cables = []
    for item in carriers:
        part = line.parts[item.part]
        assert isinstance(part, Cable)
        if part.strands_count and item.on != "CAB":
            given = part.bend_static_mm
            radius = given if given is not None else float(least_cable_radius_mm(part.diameter_mm))
            cables.append((item.id, radius, given is not None))
    column = {key: tuple(row[key] for row in rows) for key in rows[0]} if rows else {}

    def numbers(key: str) -> Array:
        return np.array(column.get(key, ()), float)

    def words(key: str) -> tuple[str, ...]:
        return tuple(str(x) for x in column.get(key, ()))

    return Inputs(
        site=site.id,
        links=tuple(link.id for link in service),
        radio=tuple(link.radio for link in service),
        start=words("start"),
        meant=words("meant"),
        reached=words("reached"),
        right=np.array(column.get("right", ()), bool),
        why=words("why"),
        items=column.get("items", ()),  # type: ignore[arg-type]
        attenuation_db=column.get("attenuation", ()),  # type: ignore[arg-type]
        length_m=column.get("length", ()),  # type: ignore[arg-type]
        event_db=column.get("events", ()),  # type: ignore[arg-type]
        tx_minimum_dbm=numbers("tx_min"),
        tx_maximum_dbm=numbers("tx_max"),
        rx_minimum_dbm=numbers("rx_min"),
        rx_maximum_dbm=numbers("rx_max"),
        channel_db=numbers("channel"),
        optics=column.get("optics", ()),  # type: ignore[arg-type]
        unconfirmed=words("unconfirmed"),
        channel_source=column.get("channel_source", ()),  # type: ignore[arg-type]
        growth=2 * sum(link.state == "growth" for link in line.links),
        growth_asked=site.policy.growth_strands_count,
        standby=tuple(
            (id, kept.get(id, 0), f.standby_count) for id, f in asked.items() if f.standby_count or kept.get(id)
        ),
        cables=tuple(cables),
    )


def _direction(line: Line, site: Site, a: str, b: str, equipped: dict[str, str], offset: str) -> dict[str, object]:
    """One direction of a link: from the sender at `a`, which should reach the receiver at `b`."""
    way = strand(line, a, 1)
    sender, receiver = line.parts.get(equipped.get(a, "")), line.parts.get(equipped.get(b, ""))
    single = isinstance(sender, Optic) and sender.strands_count == 1
    wanted = 1 if single else 2
    reached = f"{way.end}/{way.end_position}" if way.end else ""
    why = _why(line, way, b, wanted, offset)
    nan = float("nan")
    values: dict[str, float] = dict.fromkeys(("tx_min", "tx_max", "rx_min", "rx_max", "channel"), nan)
    unconfirmed: list[str] = []
    source = ("", Mark.CONFIRMED.value)
    if isinstance(sender, Optic) and isinstance(receiver, Optic):
        if not why and abs(sender.tx_wavelength_nm_wave - receiver.rx_wavelength_nm_wave) > 1:
            why = f"sent at {sender.tx_wavelength_nm_wave:g} nm, received at {receiver.rx_wavelength_nm_wave:g} nm: the two optics are no pair"
        values |= {
            "tx_min": sender.tx_minimum_dbm, "tx_max": sender.tx_maximum_dbm, "rx_min": receiver.rx_minimum_dbm,
            "rx_max": receiver.rx_maximum_dbm,
            "channel": min((o.channel_loss_db for o in (sender, receiver) if o.channel_loss_db is not None), default=nan),
        }  # fmt: skip
        for optic, names in (
            (sender, ("tx_minimum_dbm", "tx_maximum_dbm")),
            (receiver, ("rx_minimum_dbm", "rx_maximum_dbm")),
        ):
            if any(optic.source_of(name).mark is Mark.MEMORY for name in names):
                unconfirmed.append(optic.id)
        channel_source = sender.source_of("channel_loss_db")
        source = (
            channel_source.document + (f", {channel_source.clause}" if channel_source.clause else ""),
            channel_source.mark.value,
        )
    attenuation: list[float] = []
    length: list[float] = []
    long_wave = isinstance(sender, Optic) and sender.tx_wavelength_nm_wave > LONG_WAVE_NM
    for hop in way.hops:
        part = line.parts.get(line.by_id[hop.item].part)
        if isinstance(part, Cable):
            attenuation.append(part.attenuation_1550_db_per_km if long_wave else part.attenuation_1310_db_per_km)
            item = line.by_id[hop.item]
            length.append((item.length_m or 0.0) + item.tolerance_m)
    events = [
        max(line.connector(line.port(e).connector).loss_db for e in pair if line.port(e).connector)
        for pair in way.mates
    ]
    items = tuple(dict.fromkeys(hop.item for hop in way.hops))
    return {
        "start": f"{a}/1", "meant": b, "reached": reached, "right": not why, "why": why, "items": items,
        "attenuation": tuple(attenuation), "length": tuple(length), "events": tuple(events), "optics": (equipped.get(a, ""), equipped.get(b, "")),
        "unconfirmed": ", ".join(dict.fromkeys(unconfirmed)), "channel_source": source, **values,
    }  # fmt: skip


def _why(line: Line, way: Strand, meant: str, wanted: int, offset: str) -> str:
    """What is wrong with where the light ends, and the likely cause."""
    if not way.end:
        last = way.hops[-1] if way.hops else None
        where = f"behind {last.item}.{last.leave}" if last else f"at {way.start}"
        return f"the light gets lost {where}: nothing is joined there"
    if way.end != meant:
        return f"the light ends at {way.end}, not at {meant}" + (f"; {offset}" if offset else "")
    if way.end_position != wanted:
        return "two senders face each other: one crossing too many or too few; exchange one A-B lead for an A-A one"
    return ""


def _offsets(line: Line, links: Sequence[Link]) -> list[str]:
    """Where all links of one radio-side item are off by the same number of ports, array connectors were likely exchanged."""
    ends = [link.b for link in links]
    shifts = []
    for link in links:
        way = strand(line, link.a, 1)
        shifts.append(ends.index(way.end) - ends.index(link.b) if way.end in ends else 0)
    wrong = [s for s in shifts if s]
    constant = len(wrong) > 1 and len({abs(s) for s in wrong}) == 1
    hint = f"constant port offset of {abs(wrong[0])}: were two connectors exchanged?" if constant else ""
    return [hint if s else "" for s in shifts]


def loss_db(inputs: Inputs, row: int) -> float:
    """Highest loss of one direction: A_max = sum(a L) + sum(mated pairs)."""
    fibre = sum(a * length / 1000 for a, length in zip(inputs.attenuation_db[row], inputs.length_m[row], strict=True))
    return fibre + sum(inputs.event_db[row])


def check(inputs: Inputs, limits: Limits) -> Result:
    """Findings and figures of the room."""
    findings: list[Finding] = []
    figures: list[Figure] = []
    i = inputs
    worst = np.array([loss_db(i, row) for row in range(2 * len(i.links))])
    low = low_margin_db(i.tx_minimum_dbm, worst, i.rx_minimum_dbm) if worst.size else worst
    over = overload_margin_db(i.rx_maximum_dbm, i.tx_maximum_dbm, 0.0) if worst.size else worst
    for n, link in enumerate(i.links):
        rows = (2 * n, 2 * n + 1)
        items = (i.radio[n], *dict.fromkeys(x for row in rows for x in i.items[row]))
        wrong = [row for row in rows if not i.right[row]]
        note = i.why[wrong[0]] if wrong else f"{i.start[rows[0]].split('/')[0]} and {i.meant[rows[0]]}, both ways"
        findings.append(
            judge(
                "fibre.right-port", link, 0.0 if wrong else 1.0, limits.get("fibre.right-port"), note=note,
                remedy="join the strands as the port map says", items=items, rank=wrong[0] if wrong else rows[0],
            )
        )  # fmt: skip
        missing: tuple[str, ...] = ("light on the right port: mend that first",) if wrong else ()
        if not missing and i.unconfirmed[rows[0]]:
            missing = (
                f"class values of {i.unconfirmed[rows[0]]} are from memory: put the data sheet's values into a part of your own",
            )
        for code, values, remedy in (
            ("fibre.low-margin", low, "fewer joints, or an optic of a longer class"),
            ("fibre.overload-margin", over, "an attenuator of at least the shortfall, or an optic of a shorter class"),
        ):
            row = min(rows, key=lambda r: values[r])
            findings.append(
                judge(
                    code,
                    link,
                    float(values[row]),
                    limits.get(code),
                    missing=missing,
                    note=_words(i, row),
                    remedy=remedy,
                    items=items,
                    rank=row,
                )
            )
        row = max(rows, key=lambda r: worst[r])
        document, mark = i.channel_source[row]
        part_limit = None
        if not np.isnan(i.channel_db[row]) and document:
            part_limit = Limit(
                "fibre.channel-loss",
                float(i.channel_db[row]),
                "dB",
                Sense.AT_MOST,
                Authority.PART,
                Source(document, mark=Mark(mark)),
            )
        findings.append(
            judge(
                "fibre.channel-loss", link, float(worst[row]), limits.in_force("fibre.channel-loss", part_limit),
                unit="dB", missing=("light on the right port: mend that first",) if wrong else (), note=_words(i, row),
                remedy="fewer joints", items=items, rank=row,
            )
        )  # fmt: skip
        if not wrong:
            nanoseconds = float(delay_s(sum(i.length_m[rows[0]]))) * 1e9
            figures.append(
                Figure("fibre.delay", link, nanoseconds, "ns", "one way, cabinet to radio", DELAY, "", items, rows[0])
            )
    findings += _spares(i, limits)
    for n, (item, radius, given) in enumerate(i.cables):
        note = "data sheet" if given else "ten diameters at rest: common practice, no source"
        source = (
            Source(f"part of {item}", "bend_static_mm", mark=Mark.INVENTED)
            if given
            else Source("common practice, no source", mark=Mark.PRACTICE)
        )
        figures.append(Figure("fibre.bend-radius", item, radius, "mm", note, source, "", (item,), n))
    return Result(tuple(findings), tuple(figures))


def _words(i: Inputs, row: int) -> str:
    return f"{i.start[row].split('/')[0]} to {i.meant[row]}: {sum(i.length_m[row]):.0f} m and {len(i.event_db[row])} mated pairs"


def _spares(i: Inputs, limits: Limits) -> list[Finding]:
    out = []
    if i.growth_asked:
        limit = limits.in_force(
            "fibre.growth-strands",
            _asked("fibre.growth-strands", i.growth_asked, f"site {i.site}", "policy.growth_strands_count"),
        )
        out.append(
            judge(
                "fibre.growth-strands",
                i.site,
                float(i.growth),
                limit,
                note="dark strands for nobody yet, up to the box",
                remedy="a trunk with more strands",
            )
        )
    for n, (radio, kept, asked) in enumerate(i.standby):
        limit = limits.in_force(
            "fibre.standby-links",
            _asked("fibre.standby-links", asked, f"site {i.site}", f"fibre.standby_count of {radio}"),
        )
        out.append(
            judge(
                "fibre.standby-links",
                radio,
                float(kept),
                limit,
                note="dark pairs kept for this radio alone",
                remedy="a trunk with more strands",
                items=(radio,),
                rank=n,
            )
        )
    return out


def _asked(code: str, value: int, document: str, clause: str) -> Limit:
    return Limit(
        code, float(value), "", Sense.AT_LEAST, Authority.OPERATOR, Source(document, clause, mark=Mark.DECLARED)
    )


def working(inputs: Inputs, limits: Limits, found: Finding | Figure) -> tuple[Step, ...]:
    """The derivation of one finding or figure of this room."""
    return derive(inputs, found)


__all__ = ["CAUTIONS", "NAME", "VERSION", "Inputs", "check", "inputs", "working"]
