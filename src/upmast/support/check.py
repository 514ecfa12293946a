"""What the support room sees of a line, and what it finds: reach, clamps, grips, hoisting, and loads handed over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from upmast.catalogue.part import AntennaPart, Box, Cable, Clamp, ControlCable, HeldCable, Part, RadioPart, RfCable
from upmast.catalogue.part import Grip as GripPart
from upmast.finding import Figure, Finding, Scenario
from upmast.limits import Limits
from upmast.line.clamp_places import on_mast
from upmast.line.hardware import GRIP_FROM_M, RUNS, hanging_length_m, held_length_m
from upmast.line.line import HARDWARE, Item, Line
from upmast.line.need import JUMPER_SPARE_M
from upmast.line.walk import RF_CABLES, RF_INLINE, RfPath, rf_paths
from upmast.room import Result
from upmast.site.site import Radio, Site
from upmast.site.site import Wind as AskedWind
from upmast.source import Mark
from upmast.support.air import EN, GUST, directionality, gust_effect
from upmast.support.build_up import Element, built_mass_kg_per_m
from upmast.support.derive import derive
from upmast.support.findings import found
from upmast.support.route import BEND_DIAMETERS, RouteLeg
from upmast.support.state import Body, Grip, Hardware, Ice, Inputs, Standing, Term, Wind
from upmast.support.wind import terrain
from upmast.support.wind_gust import exposure_source
from upmast.working import Step

NAME = "support"
VERSION = "3"
CAUTIONS = (
    "Not a structural design: mast, foundation and mounts are to be verified by a licensed engineer.",
    "Wind speed, terrain, ice class and national annex are inputs: whoever gives them answers for them.",
    "Friction and nut factor scatter by 30 %. A tested rating of the clamp goes before any calculation.",
    "Hoisting needs a lifting plan and rated gear; nobody stands under the load.",
    "Only trained crew with fall protection climbs, by the local rules.",
)
JUMPERS = ("hybrid-jumper", "dc-jumper", "fibre-jumper")


def inputs(line: Line, site: Site, scenarios: Sequence[Scenario]) -> Inputs:
    """Read a line into arrays. The loads do not depend on the scenarios, which are electrical."""
    spans = [
        i for i in line.items if i.on != "CAB" and isinstance(line.parts.get(i.part), Cable | RfCable | ControlCable)
    ]
    parts = [line.parts[i.part] for i in spans]
    place = {item.id: n for n, item in enumerate(spans)}
    ways = _Ways(line, site, place)
    needs = [ways.need(item) for item in spans]
    clamps: dict[int, list[tuple[Item, Clamp]]] = {}
    grips: list[Grip] = []
    hardware: list[Hardware] = []
    hanging = on_mast(site, line)
    for item in line.items:
        if item.kind not in HARDWARE:
            continue
        part = line.parts[item.part]
        hardware.append(Hardware(item.id, item.kind, item.part, item.count, part.mass_kg, hanging[item.id]))
        if isinstance(part, Clamp):
            for held in (item.on, *item.serves):
                if held in place:
                    clamps.setdefault(place[held], []).append((item, part))
        elif isinstance(part, GripPart) and item.on in place:
            n = place[item.on]
            fits = part.smallest_mm <= _number(parts[n], "diameter_mm") <= part.largest_mm
            grips.append(Grip(item.id, item.part, n, item.count, part.rated_n, fits, _source(part, "rated_n")))
    weakest = [_weakest(clamps.get(n, ())) for n in range(len(spans))]
    hardest = [_hardest(clamps.get(n, ())) for n in range(len(spans))]
    none = ("none", "", "practice")
    known: dict[tuple[str, str], tuple[str, str, str]] = {}

    def source(part: Part | None, field: str) -> tuple[str, str, str]:
        if part is None:
            return none
        key = (part.id, field)
        if key not in known:
            known[key] = _source(part, field)
        return known[key]

    def told(of: Sequence[Part | None], field: str) -> tuple[tuple[str, str, str], ...]:
        """Sources of a field that parts may leave out; none at all where all of them do."""
        given = any(getattr(part, field, None) is not None for part in of)
        return tuple(source(part, field) for part in of) if given else ()

    def column(values: Sequence[float | None]) -> np.ndarray:
        return np.array([np.nan if v is None else v for v in values], float)

    least = [least_bend(p) for p in parts]
    return Inputs(
        site=site.id,
        spans=tuple(i.id for i in spans),
        kind=tuple(i.kind for i in spans),
        part=tuple(i.part for i in spans),
        run=np.array([i.kind in RUNS for i in spans], bool),
        length_m=column([i.length_m or 0.0 for i in spans]),
        tolerance_m=column([i.tolerance_m for i in spans]),
        need=tuple(terms for terms, _, _ in needs),
        need_missing=tuple(missing for _, missing, _ in needs),
        chain=tuple(chain for _, _, chain in needs),
        low_m=column([i.low_m for i in spans]),
        high_m=column([i.high_m for i in spans]),
        held_m=column([held_length_m(site, i) for i in spans]),
        hanging_m=column([hanging_length_m(site, i) for i in spans]),
        diameter_mm=column([_number(p, "diameter_mm") for p in parts]),
        mass_kg_per_m=column([_number(p, "mass_kg_per_m") for p in parts]),
        ends_kg=column([p.mass_kg for p in parts]),
        pull_n=column([p.maximum_pull_n if isinstance(p, Cable) else None for p in parts]),
        pull_source=tuple(source(p, "maximum_pull_n") for p in parts),
        clamp=tuple(w.id if w else "" for w in weakest),
        clamp_items=tuple(tuple(c.id for c, _ in clamps.get(n, ())) for n in range(len(spans))),
        clamp_count=np.array([sum(c.count for c, _ in clamps.get(n, ())) for n in range(len(spans))], np.intp),
        clamp_range_mm=tuple((w.smallest_mm, w.largest_mm) if w else (0.0, 0.0) for w in weakest),
        slip_n=column([w.slip_rating_n if w else None for w in weakest]),
        side_n=column([w.side_rating_n if w else None for w in weakest]),
        rule_m=column([w.spacing_m if w else None for w in weakest]),
        rule_source=tuple(source(w, "spacing_m") for w in weakest),
        slip_source=tuple(source(w, "slip_rating_n") for w in weakest),
        side_source=tuple(source(w, "side_rating_n") for w in weakest),
        grips=tuple(grips),
        grip_from_m=GRIP_FROM_M,
        bodies=tuple(body for item in line.items if (body := _body(item, line)) is not None),
        hardware=tuple(hardware),
        existing=tuple(
            Standing(e.id, e.title, e.count, e.diameter_mm, e.low_m, e.high_m, e.mass_kg_per_m, e.stays)
            for e in site.existing
        ),
        wind=_wind(site),
        calm=site.climate.calm,
        torqued_clamp=tuple(w.id if w else "" for w in hardest),
        ice=_ice(site),
        bolts=column([w.bolts_count if w else None for w in hardest]),
        bolt_mm=column([w.bolt_mm if w else None for w in hardest]),
        torque_nm=column([w.torque_nm if w else None for w in hardest]),
        pad_mm=column([w.pad_width_mm if w else None for w in hardest]),
        torque_source=told(hardest, "torque_nm"),
        crush_n=column([_held(p).crush_n_per_100mm for p in parts]),
        crush_source=told(parts, "crush_n_per_100mm"),
        route=tuple(
            RouteLeg(leg.name, leg.length_m, leg.kind == "vertical", leg.bend_deg, leg.bend_radius_m)
            for leg in site.route.legs
        ),
        route_told=any(leg.bend_deg is not None for leg in site.route.legs),
        bend_m=column([pulled_radius_m(p) for p in parts]),
        least_bend_mm=column([mm for mm, _, _ in least]),
        least_bend_source=tuple(
            source(p, field) if field else none for p, (_, field, _) in zip(parts, least, strict=True)
        )
        if any(field for _, field, _ in least)
        else (),
        least_bend_words=tuple(words for _, _, words in least),
        pull_bend_missing=np.array([isinstance(p, Cable) and p.bend_pulling_mm is None for p in parts], bool),
        side_pressure_n=column([_held(p).side_pressure_n_per_m for p in parts]),
        side_pressure_source=told(parts, "side_pressure_n_per_m"),
        built_kg_per_m=column([built_mass_kg_per_m(elements_of(p)) if elements_of(p) else None for p in parts]),
    )


def _ice(site: Site) -> Ice | None:
    asked = site.climate
    if asked.ice == "none":
        return None
    made = Ice.of(asked.ice)
    return replace(made, mark=Mark.DECLARED.value) if asked.ice_confirmed_by else made


def _wind(site: Site) -> Wind | None:
    asked = site.climate.wind
    if asked is None:
        return None
    made = _wind_of(site, asked)
    return replace(made, mark=Mark.DECLARED.value) if asked.confirmed_by else made


def _wind_of(site: Site, asked: AskedWind) -> Wind:
    if asked.standard == GUST:
        return Wind(
            asked.basic_m_per_s, "", float("nan"), float("nan"), exposure_source().mark.value, GUST, asked.exposure or "", asked.importance_fraction,
            directionality(site.mast.kind), gust_effect(site.mast.kind, site.mast.height_m),
        )  # fmt: skip
    assert asked.terrain is not None  # the site asks for it with this standard
    ground = terrain(asked.terrain)
    return Wind(asked.basic_m_per_s, asked.terrain, ground.z0_m, ground.z_min_m, ground.source.mark.value, EN)


def _held(part: Part) -> HeldCable:
    assert isinstance(part, HeldCable)
    return part


def elements_of(part: Part) -> tuple[Element, ...]:
    """The construction of a cable, where its part tells it."""
    return tuple(
        Element(e.material, e.elements_count, e.area_mm2, e.lay_radius_mm, e.pitch_mm or 0.0, e.outer_mm or 0.0)
        for e in _held(part).construction
    )


def pulled_radius_m(part: Part) -> float:
    """Smallest bend radius under pull; 20 diameters where the part does not tell."""
    told = part.bend_pulling_mm if isinstance(part, Cable) else None
    return (told if told is not None else BEND_DIAMETERS * _number(part, "diameter_mm")) / 1000


def least_bend(part: Part) -> tuple[float | None, str, str]:
    """
    Least bend radius [mm] that a part tells, its field and what it is for; the larger one where it tells two, None without any.

    A rule by the diameter is no limit here: nothing fails or passes by it.
    """
    told = [
        (float(value), field, words)
        for field, words in (("bend_pulling_mm", "under pull"), ("bend_static_mm", "at rest"))
        if (value := getattr(part, field, None)) is not None
    ]
    return max(told, key=lambda row: row[0], default=(None, "", ""))


def _number(part: Part, field: str) -> float:
    assert isinstance(part, Cable | RfCable | ControlCable)
    return float(getattr(part, field))


def _source(part: Part, field: str) -> tuple[str, str, str]:
    source = part.source_of(field)
    return source.document, source.clause, source.mark.value


def _weakest(clamps: Sequence[tuple[Item, Clamp]]) -> Clamp | None:
    """Of several parts on one cable the one with the lowest slip rating; one without a rating goes before all."""
    return min((part for _, part in clamps), key=lambda c: (c.slip_rating_n or 0.0, c.spacing_m, c.id), default=None)


def _hardest(clamps: Sequence[tuple[Item, Clamp]]) -> Clamp | None:
    """Of several parts on one cable the one whose torque presses it hardest; the weakest where none tells all that this takes."""
    told = [
        (c.bolts_count * c.torque_nm / (c.bolt_mm * c.pad_width_mm), c.id, c)
        for _, c in clamps
        if c.bolts_count is not None
        and c.torque_nm is not None
        and c.bolt_mm is not None
        and c.pad_width_mm is not None
    ]
    return max(told, key=lambda row: row[:2])[2] if told else _weakest(clamps)


def _body(item: Item, line: Line) -> Body | None:
    part = line.parts.get(item.part)
    if not isinstance(part, Box | RadioPart | AntennaPart):
        return None
    return Body(
        item.id, part.kind, item.part, item.low_m, item.high_m, part.height_mm, part.width_mm, part.depth_mm, part.mass_kg
    )  # fmt: skip


Need = tuple[tuple[Term, ...], str, tuple[int, ...]]


def _way(symbol: str, value_m: float, words: str, field: str, radio: Radio, bends: str) -> Term:
    """A way that the site gives; or, by our rule, the heights between the ends and some bends."""
    if getattr(radio, field) is not None:
        return Term(symbol, value_m, words, f"{field} of {radio.id}")
    return Term(
        symbol, value_m, f"{words}: the heights of the site and {bends}", "common practice, no source", "practice"
    )


class _Ways:
    """The longest way of each span as its addends: the rules of `line.need`, written out so that they can be shown."""

    def __init__(self, line: Line, site: Site, place: dict[str, int]) -> None:
        self.line, self.site, self.place = line, site, place
        self.radios = {radio.id: radio for radio in site.radios}
        self.trunk = (
            Term("L_legs", sum(leg.length_m for leg in site.route.legs), "legs of the route", "route.legs"),
            Term("L_slack", site.route.slack_m, "slack and drip loops", "route.slack_m"),
            Term("L_tail", site.cabinet.tail_m, "tail inside the cabinet", "cabinet.tail_m"),
            self._tolerance(site),
        )
        self.spare = Term("L_bend", JUMPER_SPARE_M, "bends at both ends", "common practice, no source", "practice")
        self.to_radio = {
            r.id: _way("L_run", site.box_run_m(r), f"way from the box to {r.id}", "box_run_m", r, "2 m around the mast")
            for r in site.radios
        }
        self.to_antenna = {
            r.id: _way("L_rf", site.rf_run_m(r), f"way from {r.id} to its antenna", "rf_run_m", r, "0.8 m of bends")
            for r in site.radios
        }
        self._paths: dict[str, RfPath] | None = None

    @staticmethod
    def _tolerance(site: Site) -> Term:
        ours = sum("tolerance_m" not in leg.model_fields_set for leg in site.route.legs)
        words = "tolerances of the survey, added up"
        if not ours:
            return Term("t_route", site.route_tolerance_m, words, "route.legs, tolerance_m")
        words += f"; of {ours} of {len(site.route.legs)} legs a default of ours"
        return Term("t_route", site.route_tolerance_m, words, "common practice, no source", "practice")

    def need(self, item: Item) -> Need:
        alone = (self.place[item.id],)
        if item.length_m is None:
            return (), f"the length of {item.id}", alone
        if item.kind == "trunk":
            return self.trunk, "", alone
        if item.kind in RF_CABLES:
            return self.rf(item)
        if item.kind == "control-cable":
            return self.control(item)
        radio = next((self.radios[id] for id in item.serves if id in self.radios), None)
        if radio is None:
            return (), f"the radio that {item.id} serves", alone
        if item.kind in RUNS:
            return (*self.trunk, self.to_radio[radio.id]), "", alone
        return (self.to_radio[radio.id], self.spare), "", alone

    def rf(self, item: Item) -> Need:
        """A cable alone between radio and antenna, or all cables of its path together."""
        ends = [self._far(item, "foot"), self._far(item, "head")]
        alone = (self.place[item.id],)
        radio = next((self.radios[e] for e in ends if e in self.radios), None)
        between = any(e in self.place or (e and self.line.by_id[e].kind == RF_INLINE) for e in ends)
        if radio is not None and not between:
            return self._antenna(radio, alone)
        if self._paths is None:
            self._paths = {cable: path for path in rf_paths(self.line) for cable in path.cables}
        path = self._paths.get(item.id)
        if path is None or path.radio not in self.radios:
            return (), f"the radio that {item.id} is joined to", alone
        return self._antenna(self.radios[path.radio], tuple(self.place[c] for c in path.cables if c in self.place))

    def control(self, item: Item) -> Need:
        alone = (self.place[item.id],)
        ends = [self._far(item, "foot"), self._far(item, "head")]
        radio = next((self.radios[e] for e in ends if e in self.radios), None)
        if radio is None or radio.antenna is None or radio.antenna not in ends:
            return (), f"the way of {item.id}: it does not go from a radio to that radio's antenna", alone
        return self._antenna(radio, alone)

    def _antenna(self, radio: Radio, chain: tuple[int, ...]) -> Need:
        if radio.antenna is None and radio.rf_run_m is None:
            return (), f"the antenna of {radio.id}", chain
        return (self.to_antenna[radio.id],), "", chain

    def _far(self, item: Item, end: str) -> str:
        others = self.line.joined.get(f"{item.id}.{end}", ())
        return others[0][0].partition(".")[0] if others else ""


def check(inputs: Inputs, limits: Limits) -> Result:
    """Findings and figures of the room."""
    return found(inputs, limits)


def working(inputs: Inputs, limits: Limits, one: Finding | Figure) -> tuple[Step, ...]:
    """The derivation of one finding or figure of this room."""
    return derive(inputs, limits, one)


__all__ = ["CAUTIONS", "NAME", "VERSION", "Inputs", "check", "elements_of", "inputs", "pulled_radius_m", "working"]
