"""What the RF room sees of a line, and what it finds: return loss at the radio and with a load, highest frequency, loss."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from upmast.catalogue.part import AntennaPart, AntennaPort, Connector, RadioPart, RfCable, RfInline
from upmast.finding import Authority, Figure, Finding, Limit, Scenario, Sense, Verdict, judge
from upmast.limits import Limits
from upmast.line.line import Line
from upmast.line.walk import RfPath, rf_paths
from upmast.rf.bands import band
from upmast.rf.channel import carrier_channel
from upmast.rf.derive import derive
from upmast.rf.inline import reflection_at, row_bounds
from upmast.rf.joint import joint_reactance
from upmast.rf.lengths import gain_note, length_gain
from upmast.rf.phase_set import PhaseSet, phase_spread
from upmast.rf.power import power_findings
from upmast.rf.rated import RatedPart
from upmast.rf.reflection import gamma_from_return_loss, return_loss_db, return_loss_from_vswr_db, vswr
from upmast.rf.right import right_findings, unlike_asked
from upmast.rf.state import LOAD_RETURN_LOSS_DB, NO_FREQUENCY_HZ, Inputs, State, evaluate
from upmast.room import Result
from upmast.site.site import Radio, Site
from upmast.source import Mark, Source
from upmast.working import Step

NAME = "rf"
VERSION = "1"
CAUTIONS = (
    "RF burns and fields harm: before work at antennas or open RF connectors the transmitters must be off, locked and proved off.",
    "Never open an RF connector under power. Keep out of the exclusion zones of every antenna on the mast, neighbours' included.",
    "Return loss here is the worst that phases allow with every part at its limit; the sweep of the built line decides.",
)
MODEL = Source("own derivation: lossless joints, lossy lines, free phases", "checked by search over phases")
_FIELDS: dict[type, tuple[str, ...]] = {
    Connector: ("return_loss_db", "return_loss_at_hz", "loss_db"),
    RfCable: ("a_db_per_m", "b_db_per_m", "velocity_fraction", "length_tolerance_m"),
    AntennaPart: ("ports", "measured"),
    RfInline: ("return_loss_db", "loss_db", "least_loss_db", "measured", "high_hz"),
}
_RATED = ("rated_w", "rated_hz", "rated_ambient_c", "hottest_c", "rated_peak_w", "a_db_per_m", "b_db_per_m")
OPEN_VSWR = 1e9  # stands in the rows of paths that lead nowhere, which are not judged


def inputs(line: Line, site: Site, scenarios: Sequence[Scenario]) -> Inputs:
    """Read a line into arrays."""
    asked = {radio.id: radio for radio in site.radios}
    use = {item.id: _use(asked.get(item.id), line.parts[item.part]) for item in line.of_kind("radio")}
    pairs: dict[tuple[str, str], _Pair] = {}
    rows = [_row(line, path, use[path.radio], pairs) for path in rf_paths(line)]
    unlike = [_unlike(line, site, path) for path in rf_paths(line)]
    rows += _unjoined(line, site, use)
    unlike += [row.broken for row in rows[len(unlike) :]]
    sources: dict[str, tuple[str, str]] = {}
    used: dict[str, None] = {}
    for row in rows:
        used.update(dict.fromkeys((*row.joint_part, *row.cable_part, row.antenna_part)))
    for id in filter(None, used):
        for name in _FIELDS.get(type(line.parts[id]), ()):
            source = line.parts[id].source_of(name)
            sources[f"{id}.{name}"] = (_words(source), source.mark.value)
    width = max((len(row.joints) for row in rows), default=1)
    points = max((len(row.use.points) for row in rows), default=1) or 1

    def padded(column: str, fill: float) -> np.ndarray:
        out = np.full((len(rows), width), fill)
        for n, row in enumerate(rows):
            values = getattr(row, column)
            out[n, : len(values)] = values
        return out

    frequency = np.full((len(rows), points), NO_FREQUENCY_HZ)
    for n, row in enumerate(rows):
        if row.use.points:
            frequency[n] = _repeated(row.use.points, points)
    numbers: dict[str, int] = {}
    rated = tuple(_rated(line, row, numbers) for row in rows)
    two_ports = _two_ports(rows, width, points)
    return Inputs(
        site=site.id,
        scenarios=tuple(s.id for s in scenarios),
        ambient_c=np.array([s.ambient_c for s in scenarios], float),
        sun_w_per_m2=np.array([s.sun_w_per_m2 for s in scenarios], float),
        paths=tuple(row.id for row in rows),
        radios=tuple(row.radio for row in rows),
        items=tuple(row.items for row in rows),
        broken=tuple(row.broken for row in rows),
        missing=tuple(tuple(dict.fromkeys((*row.use.missing, *row.missing))) for row in rows),
        missing_highest=tuple(tuple(dict.fromkeys((*row.use.missing, *row.missing_highest))) for row in rows),
        frequency_hz=frequency,
        points_count=np.array([0 if row.use.missing else len(row.use.points) for row in rows], np.intp),
        joint_return_loss_db=padded("return_loss_db", np.inf),
        joint_reference_hz=padded("reference_hz", NO_FREQUENCY_HZ),
        joint_loss_db=padded("loss_db", 0.0),
        joint=tuple(tuple(row.joints) for row in rows),
        joint_part=tuple(tuple(row.joint_part) for row in rows),
        cable=tuple(tuple(row.cables) for row in rows),
        cable_part=tuple(tuple(row.cable_part) for row in rows),
        length_m=padded("length_m", 0.0),
        tolerance_m=padded("tolerance_m", 0.0),
        root_db_per_m=padded("root_db_per_m", 0.0),
        linear_db_per_m=padded("linear_db_per_m", 0.0),
        antenna=tuple(row.antenna for row in rows),
        antenna_part=tuple(row.antenna_part for row in rows),
        antenna_vswr=np.array([row.vswr for row in rows], float),
        bounds=tuple(tuple(row.bounds) for row in rows),
        sources=sources,
        spans=tuple(row.use.spans for row in rows),
        kinds=tuple(tuple(row.kinds) for row in rows),
        velocity=np.array([row.velocity[0] if len(row.length_m) == 1 and row.velocity else 0.0 for row in rows], float),
        cut_m=np.array([row.cut_m for row in rows], float),
        least_m=np.array([site.rf_run_m(asked[row.radio]) if row.radio in asked else 0.0 for row in rows], float),
        rated=rated,
        ratings=tuple(_rating(line, id) for id in numbers),
        carriers_w=tuple(
            tuple(c.power_w for c in asked[row.radio].carriers) if row.radio in asked else () for row in rows
        ),
        altitude_m=site.climate.altitude_m,
        sets=_sets(line, site, rows),
        inline=tuple(tuple(sorted(row.inline)) for row in rows),
        inline_measured=tuple(
            tuple(bool(getattr(line.parts[row.cable_part[n]], "measured", ())) for n in sorted(row.inline))
            for row in rows
        ),
        inline_near=two_ports[0],
        inline_far=two_ports[1],
        inline_least_db=two_ports[2],
        inline_most_db=two_ports[3],
        end_gamma=_measured_ends(rows, points),
        unlike=tuple(unlike),
    )


def _repeated(values: Sequence[float], count: int) -> tuple[float, ...]:
    """Values, then the first again as often as it takes."""
    return (tuple(values) + (values[0],) * count)[:count]


def _rated(line: Line, row: _Row, known: dict[str, int]) -> tuple[int, ...]:
    """Which parts a path is made of, each once: cables and two-ports, then both connectors of each joint; by their number."""
    used = dict.fromkeys(row.cable_part)
    for joint in row.joints:
        for end in joint.split(" to "):
            used[line.port(end).connector] = None
    return tuple(known.setdefault(id, len(known)) for id in used)


def _rating(line: Line, id: str) -> RatedPart:
    """What one part bears, by its data sheet."""
    part = line.parts[id]
    assert isinstance(part, Connector | RfCable | RfInline)
    hz, root, linear, what = 1e9, 0.0, 0.0, "two-port"  # holds in its whole band
    if isinstance(part, RfCable):
        hz, root, linear, what = part.rated_hz, part.a_db_per_m, part.b_db_per_m, "cable"
    elif isinstance(part, Connector):
        hz, root, what = part.rated_hz, 1.0, "joint"
    fields = [n for n in _RATED if n in type(part).model_fields]
    sources = tuple((n, _words(s := part.source_of(n)), s.mark.value) for n in fields)
    return RatedPart(
        id, what, part.rated_w, hz, part.rated_ambient_c, part.hottest_c, root, linear, part.rated_peak_w, sources
    )


def _sets(line: Line, site: Site, rows: Sequence[_Row]) -> tuple[PhaseSet, ...]:
    """Radios whose jumpers must agree in phase."""
    out = []
    for radio in site.radios:
        mine = [row for row in rows if row.radio == radio.id and row.length_m]
        if radio.phase_match_deg is None or len(mine) < 2:
            continue
        totals = [sum(row.length_m) for row in mine]
        first = line.parts[next(p for p in mine[0].cable_part if isinstance(line.parts[p], RfCable))]
        assert isinstance(first, RfCable)
        missing: tuple[str, ...] = () if mine[0].use.points else mine[0].use.missing
        if max(totals) - min(totals) > 1e-9 or len({tuple(row.cable_part) for row in mine}) > 1:
            missing = (*missing, "jumpers of one part and one length for all ports of the set")
        out.append(
            PhaseSet(
                radio.id, radio.phase_match_deg, max(totals), len(mine), first.velocity_fraction, first.length_tolerance_m,
                max(mine[0].use.points, default=NO_FREQUENCY_HZ), missing, tuple(id for row in mine for id in row.cables),
            )
        )  # fmt: skip
    return tuple(out)


def _two_ports(rows: Sequence[_Row], width: int, points: int) -> tuple[np.ndarray, ...]:
    """Bounds of two-ports by path, place and frequency: |S11|, |S22|, least and most loss. Empty where no path has any."""
    if not any(row.inline for row in rows):
        return (np.empty((0, 0, 0)),) * 4
    out = np.zeros((4, len(rows), width, points))
    for p, row in enumerate(rows):
        for n, bounds in row.inline.items():
            for k, values in enumerate(bounds):
                out[k, p, n] = _repeated(values, points)
    return tuple(out)


def _measured_ends(rows: Sequence[_Row], points: int) -> np.ndarray:
    """|G| of the antennas that were measured, by path and frequency; empty where none was."""
    if not any(row.end_gamma for row in rows):
        return np.empty((0, 0))
    out = np.full((len(rows), points), np.nan)
    for p, row in enumerate(rows):
        if row.end_gamma:
            out[p] = _repeated(row.end_gamma, points)
    return out


@dataclass(frozen=True)
class _Use:
    """Frequencies in use at every port of one radio, rising, each once; and what they lack."""

    points: tuple[float, ...]
    missing: tuple[str, ...]
    spans: tuple[tuple[float, float], ...] = ()  # operating bands


def _use(radio: Radio | None, part: object) -> _Use:
    if radio is None or not radio.carriers:
        return _Use((), ("the carriers of the radio",))
    bands = part.bands if isinstance(part, RadioPart) else ()
    points: set[float] = set()
    spans: set[tuple[float, float]] = set()
    missing: list[str] = []
    for carrier in radio.carriers:
        try:
            channel = carrier_channel(carrier.centre_hz, carrier.width_hz, carrier.band, bands)
        except ValueError as reason:
            missing.append(str(reason))
            continue
        for low, high in channel.used_hz:
            points.update((float(low), (low + high) / 2.0, float(high)))
        known = band(channel.band)
        for used, whole in ((channel.transmit_hz, known.downlink_hz), (channel.receive_hz, known.uplink_hz)):
            if used is not None:
                spans.add((float((whole or used)[0]), float((whole or used)[1])))
    return _Use(tuple(sorted(points)), tuple(missing), tuple(sorted(spans)))


@dataclass
class _Row:
    """One path while it is read."""

    id: str
    radio: str
    use: _Use
    items: tuple[str, ...] = ()
    broken: str = ""
    missing: list[str] = field(default_factory=list)
    missing_highest: list[str] = field(default_factory=list)
    return_loss_db: list[float] = field(default_factory=list)
    reference_hz: list[float] = field(default_factory=list)
    loss_db: list[float] = field(default_factory=list)
    joints: list[str] = field(default_factory=list)
    joint_part: list[str] = field(default_factory=list)
    cables: list[str] = field(default_factory=list)
    cable_part: list[str] = field(default_factory=list)
    length_m: list[float] = field(default_factory=list)
    tolerance_m: list[float] = field(default_factory=list)
    root_db_per_m: list[float] = field(default_factory=list)
    linear_db_per_m: list[float] = field(default_factory=list)
    velocity: list[float] = field(default_factory=list)
    kinds: list[str] = field(default_factory=list)
    cut_m: float = 0.0
    antenna: str = ""
    antenna_part: str = ""
    vswr: float = OPEN_VSWR
    inline: dict[int, tuple[tuple[float, ...], ...]] = field(
        default_factory=dict
    )  # by place: |S11|, |S22|, least, most dB
    end_gamma: tuple[float, ...] = ()
    bounds: list[tuple[str, float, str, str]] = field(default_factory=list)


def _row(line: Line, path: RfPath, use: _Use, pairs: dict[tuple[str, str], _Pair]) -> _Row:
    end = path.antenna.partition(".")[0]
    row = _Row(path.id, path.radio, use, tuple(x for x in (path.radio, *path.passed, end) if x))
    for a, b in path.joints:
        _add_joint(row, a, b, line.connector(line.port(a).connector), line.connector(line.port(b).connector), pairs)
    for id in path.passed:
        item, part = line.by_id[id], line.part_of(id)
        if isinstance(part, RfInline):
            _add_inline(row, id, part, id in path.turned)
            continue
        assert isinstance(part, RfCable)
        row.cables.append(id)
        row.cable_part.append(part.id)
        row.length_m.append(item.length_m or 0.0)
        row.tolerance_m.append(item.tolerance_m)
        row.root_db_per_m.append(part.a_db_per_m)
        row.linear_db_per_m.append(part.b_db_per_m)
        row.velocity.append(part.velocity_fraction)
        row.cut_m = part.length_tolerance_m
        _add_bound(row, part.id, part.maximum_hz, part.source_of("maximum_hz"))
    antenna = line.part_of(end) if end else None
    if not isinstance(antenna, AntennaPart):
        row.broken = f"it ends at {end or path.passed[-1]} and reaches no antenna"
        return row
    row.antenna, row.antenna_part = path.antenna, antenna.id
    name = path.antenna.partition(".")[2]
    port = next(p for p in antenna.ports if p.name == name)
    row.vswr = port.vswr
    if antenna.measured.get(name):
        _add_measured(row, path.antenna, antenna.measured[name], port)
        return row
    outside = [f for f in use.points if not port.low_hz <= f <= port.high_hz]
    if outside:
        shown = f"{port.low_hz / 1e6:g} to {port.high_hz / 1e6:g} MHz"
        row.missing.append(f"the VSWR of {path.antenna} at {outside[0] / 1e6:g} MHz: it is given from {shown}")
    return row


def _add_inline(row: _Row, id: str, part: RfInline, turned: bool) -> None:
    """A two-port by its bounds or its rows; entered at its head it is seen from the other side."""
    points = np.array(row.use.points or (part.low_hz,))
    if part.measured:
        near, far, least, most = row_bounds(points, part.measured)
        low, high = part.measured[0][0], part.measured[-1][0]
    else:
        if part.return_loss_db is None:
            row.missing.append(f"return_loss_db of {part.id}, or rows of its measurement")
        size = float(gamma_from_return_loss(part.return_loss_db or 0.0)) if part.return_loss_db is not None else 0.0
        near = far = np.full(points.shape, size)
        least, most = np.full(points.shape, part.least_loss_db), np.full(points.shape, part.loss_db)
        low, high = part.low_hz, part.high_hz
    outside = [f for f in row.use.points if not low <= f <= high]
    if outside:
        row.missing.append(
            f"what {id} reflects at {outside[0] / 1e6:g} MHz: it is given from {low / 1e6:g} to {high / 1e6:g} MHz"
        )
    if turned:
        near, far = far, near
    values = (near, far, least, most)
    row.inline[len(row.cables)] = tuple(tuple(float(x) for x in np.nan_to_num(v)) for v in values)
    row.cables.append(id)
    row.cable_part.append(part.id)
    for column in (row.length_m, row.tolerance_m, row.root_db_per_m, row.linear_db_per_m):
        column.append(0.0)
    _add_bound(row, part.id, part.high_hz, part.source_of("high_hz"))


def _add_measured(row: _Row, end: str, rows: tuple[tuple[float, float], ...], port: AntennaPort) -> None:
    """An antenna port by the rows of its measurement; its VSWR in the line is that of the worst frequency in use."""
    points = np.array(row.use.points or (rows[0][0],))
    size = reflection_at(points, rows)
    outside = points[np.isnan(size)]
    if row.use.points and outside.size:
        shown = f"{rows[0][0] / 1e6:g} to {rows[-1][0] / 1e6:g} MHz"
        row.missing.append(f"the VSWR of {end} at {outside[0] / 1e6:g} MHz: it was measured from {shown}")
        return
    row.end_gamma = tuple(size.tolist())
    row.vswr = float(vswr(np.minimum(size.max(), 1 - 1e-9)))


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two mated connectors: as good as the worse of them, whose reflection rises faster with frequency."""

    loss_db: float
    return_loss_db: float
    reference_hz: float
    part: str
    missing: tuple[str, ...]


def _pair(one: Connector, other: Connector) -> _Pair:
    given = [c for c in (one, other) if c.return_loss_db is not None]
    missing = tuple(f"return_loss_db of {c.id}" for c in (one, other) if c.return_loss_db is None)
    loss = max(one.loss_db, other.loss_db)
    if not given:
        return _Pair(loss, np.inf, one.return_loss_at_hz, one.id, missing)
    rise = [float(joint_reactance(1.0, c.return_loss_db or 0.0, c.return_loss_at_hz)) for c in given]
    worst = given[int(np.argmax(rise))]
    return _Pair(loss, worst.return_loss_db or 0.0, worst.return_loss_at_hz, worst.id, missing)


def _add_joint(
    row: _Row, a: str, b: str, one: Connector, other: Connector, pairs: dict[tuple[str, str], _Pair]
) -> None:
    pair = pairs.get((one.id, other.id))
    if pair is None:
        pair = pairs[one.id, other.id] = _pair(one, other)
    row.joints.append(f"{a} to {b}")
    row.loss_db.append(pair.loss_db)
    row.return_loss_db.append(pair.return_loss_db)
    row.kinds.append(one.reflects_as if one.reflects_as == other.reflects_as else "unknown")
    row.reference_hz.append(pair.reference_hz)
    row.joint_part.append(pair.part)
    row.missing.extend(pair.missing)
    for connector in (one, other):
        if connector.maximum_hz is None or all(known != connector.id for known, *_ in row.bounds):
            _add_bound(row, connector.id, connector.maximum_hz, connector.source_of("maximum_hz"))


def _add_bound(row: _Row, part: str, highest: float | None, source: Source) -> None:
    if highest is None:
        row.missing_highest.append(f"maximum_hz of {part}")
    else:
        row.bounds.append((part, highest, _words(source), source.mark.value))


def _words(source: Source) -> str:
    return source.document + (f", {source.clause}" if source.clause else "")


def _unlike(line: Line, site: Site, path: RfPath) -> str:
    """In what a path differs from what the site asks of its port."""
    radio = next((one for one in site.radios if one.id == path.radio), None)
    if radio is None:
        return f"{path.radio} is no radio of the site"
    ports = [name for name, found in line.ports[path.radio].items() if found.family == "rf"]
    at = ports.index(path.radio_port.rpartition(".")[2])
    asked = f"{radio.antenna}.{radio.antenna_ports[at]}" if radio.antenna and at < len(radio.antenna_ports) else ""
    passed = [part.id for id in path.passed if isinstance(part := line.part_of(id), RfInline)]
    return unlike_asked(asked, radio.inline, path.antenna, passed)


def _unjoined(line: Line, site: Site, use: dict[str, _Use]) -> list[_Row]:
    """Paths that the site asks for and that do not even begin."""
    out = []
    for radio in site.radios:
        for n, port in enumerate(radio.antenna_ports, 1):
            start = f"{radio.id}.rf{n}"
            if radio.id in line.by_id and start not in line.joined:
                why = f"nothing is joined to {start}, which should lead to {radio.antenna}.{port}"
                out.append(_Row(f"{radio.id}-RF{n}", radio.id, use[radio.id], (radio.id,), why))
    return out


def check(inputs: Inputs, limits: Limits) -> Result:
    """Findings and figures of the room."""
    if not inputs.paths:
        return Result((), ())
    i, state = inputs, evaluate(inputs)
    findings: list[Finding] = []
    figures: list[Figure] = []
    cold, hot = i.scenarios[state.cold], i.scenarios[state.hot]
    findings += right_findings(i.paths, i.unlike, i.items, limits)
    for code, gamma in (
        ("rf.return-loss-at-radio", state.radio_gamma),
        ("rf.return-loss-load", state.load_gamma),
    ):
        limit = limits.get(code)
        at = np.argmax(gamma, axis=1)
        value = return_loss_db(gamma[np.arange(at.size), at]).tolist()
        worst_hz = i.frequency_hz[np.arange(at.size), at].tolist()
        alone = return_loss_from_vswr_db(i.antenna_vswr).tolist()
        end = code == "rf.return-loss-at-radio"
        remedy = "connectors of a higher return loss" + (
            ", or an antenna port of a lower VSWR" if end else ", or fewer"
        )
        for p, path in enumerate(i.paths):
            if i.broken[p]:
                findings.append(_leads_nowhere(i, code, p, limit, cold))
                continue
            last = (
                f"the antenna alone has {alone[p]:.1f} dB" if end else f"load of {LOAD_RETURN_LOSS_DB:g} dB (practice)"
            )
            missing = i.missing[p] if end else tuple(m for m in i.missing[p] if not m.startswith("the VSWR of"))
            findings.append(
                judge(
                    code, path, None if missing else value[p], limit, scenario=cold, missing=missing, items=i.items[p], rank=p,
                    note="" if missing else f"worst at {worst_hz[p] / 1e6:.1f} MHz, all phases at their worst; {last}", remedy=remedy,
                )
            )  # fmt: skip
    for p, path in enumerate(i.paths):
        if i.broken[p]:
            findings.append(_leads_nowhere(i, "rf.frequency", p, limits.get("rf.frequency"), ""))
            continue
        missing = i.missing_highest[p]
        part, highest, document, mark = (
            min(i.bounds[p], key=lambda bound: bound[1]) if i.bounds[p] else ("", 0.0, "", "")
        )
        own = None
        if part:
            source = Source(document, mark=Mark(mark))
            own = Limit("rf.frequency", highest, "Hz", Sense.AT_MOST, Authority.PART, source)
        used = float(state.highest_hz[p])
        findings.append(
            judge(
                "rf.frequency", path, None if missing else used, limits.in_force("rf.frequency", own), missing=missing,
                note="" if missing else f"{used / 1e6:.1f} MHz; {part} bears {highest / 1e6:g} MHz", remedy="parts for a higher frequency",
                items=i.items[p], rank=p,
            )
        )  # fmt: skip
        if i.points_count[p]:
            note = f"at {used / 1e6:.1f} MHz, cables at {state.sheath_c[state.hot]:.0f} °C in the sun, joints at their highest loss"
            figures.append(Figure("rf.loss", path, float(state.hot_loss_db[p]), "dB", note, MODEL, hot, i.items[p], p))
        gain = length_gain(i, p)
        if gain is not None:
            figures.append(
                Figure("rf.length-gain", path, gain.system_db, "dB", gain_note(i, p, gain), MODEL, "", i.items[p], p)
            )
    findings += power_findings(i, state, limits)
    findings += _losses(i, state, limits)
    findings += [_phases(i, one, limits) for one in i.sets]
    return Result(tuple(findings), tuple(figures))


def _losses(i: Inputs, state: State, limits: Limits) -> list[Finding]:
    """Highest loss of each path, where the site sets a limit."""
    limit = limits.get("rf.insertion-loss")
    if limit is None:
        return []
    out = []
    for p, path in enumerate(i.paths):
        if i.broken[p]:
            continue
        missing = () if i.points_count[p] else i.missing[p] or ("the carriers of the radio",)
        out.append(
            judge(
                "rf.insertion-loss", path, None if missing else float(state.hot_loss_db[p]), limit, scenario=i.scenarios[state.hot],
                missing=missing, note="sheath in the sun, longest cables, joints at their highest loss", items=i.items[p], rank=p,
                remedy="a shorter way, or a cable of less loss",
            )
        )  # fmt: skip
    return out


def _phases(i: Inputs, one: PhaseSet, limits: Limits) -> Finding:
    """Whether jumpers cut to one length keep the phases of a set together."""
    limit = Limit(
        "rf.phase-match",
        one.limit_deg,
        "°",
        Sense.AT_MOST,
        Authority.OPERATOR,
        Source(f"site {i.site}", "phase_match_deg", mark=Mark.DECLARED),
    )
    spread = phase_spread(one)
    need = (
        f"a cut within {1000 * spread.cut_needed_m:.1f} mm would do" if spread.by_length
        else "cutting can't do it, the velocity alone breaks it: only jumpers matched by measurement do"
    )  # fmt: skip
    note = f"{one.count} jumpers of {one.length_m:.2f} m: {spread.cut_deg:.1f}° of it by the cut, {spread.velocity_deg:.1f}° by the velocity"
    return judge(
        "rf.phase-match", one.radio, None if one.missing else spread.spread_deg, limits.in_force("rf.phase-match", limit), note=note,
        missing=one.missing, remedy=need, items=(one.radio, *one.items),
    )  # fmt: skip


def _leads_nowhere(i: Inputs, code: str, p: int, limit: Limit | None, scenario: str) -> Finding:
    unit = limit.unit if limit else "Hz"
    return Finding(
        code, i.paths[p], Verdict.FAILS, None, unit, limit, None, scenario, i.broken[p], "join the path up to its antenna port",
        items=i.items[p], rank=p,
    )  # fmt: skip


def working(inputs: Inputs, limits: Limits, found: Finding | Figure) -> tuple[Step, ...]:
    """The derivation of one finding or figure of this room."""
    return derive(inputs, evaluate(inputs), found)


__all__ = ["CAUTIONS", "NAME", "VERSION", "Inputs", "check", "inputs", "working"]
