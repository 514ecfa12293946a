"""What the support room finds in its inputs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from upmast.finding import Authority, Figure, Finding, Limit, Sense, judge
from upmast.limits import Limits
from upmast.room import Result
from upmast.source import Mark, Source
from upmast.support.clamp import NUT_FACTOR
from upmast.support.hoist import grip_load_n, top_tension_n
from upmast.support.pull import FRICTION as PULL_FRICTION
from upmast.support.route import BEND_DIAMETERS, DIRECTIONS, better_way
from upmast.support.state import PROFILE_TOP_M, Inputs, State, source_of

EXISTING = "EXISTING"
EQUIPMENT = "EQUIPMENT"
STATICS = Source("own derivation: statics")
MASS = Source("parts of the line", "mass_kg, mass_kg_per_m", mark=Mark.INVENTED)
AREA = Source("own derivation: width across the wind times length")
PLACES = 9  # limits are kept to a nanometre, so that a value at the limit passes


def found(inputs: Inputs, limits: Limits) -> Result:
    """Findings and figures of the room."""
    made = _Findings(inputs, limits)
    findings = (
        *made.reach(), *made.clamps(), *made.torques(), *made.grips(), *made.hoists(), *made.routes(), *made.bends(), *made.masses(),
    )  # fmt: skip
    return Result(findings, tuple(made.figures()))


def rule_limit(inputs: Inputs, limits: Limits, n: int) -> Limit:
    """The rule spacing: of the clamp's data sheet, or of a contract or an operator."""
    code = "support.clamp-spacing"
    source = source_of(inputs.rule_source[n])
    part = Limit(code, float(inputs.rule_m[n]), "m", Sense.AT_MOST, Authority.PART, source)
    return limits.in_force(code, part) or part


def spacing_limit(inputs: Inputs, state: State, limits: Limits, n: int) -> tuple[Limit, str, tuple[str, ...]]:
    """
    The largest spacing of the clamps of one cable, what governs it, and what is missing to judge it.

    Slip and side load are safety limits. The rule of the clamp's data sheet gives way to a contract or an operator.
    """
    i, code = inputs, "support.clamp-spacing"
    rule = rule_limit(inputs, limits, n)
    slip = Limit(
        code, round(float(state.slip_m[n]), PLACES), "m", Sense.AT_MOST, Authority.SAFETY, source_of(i.slip_source[n])
    )
    side = Limit(
        code, round(float(state.side_m[n]), PLACES), "m", Sense.AT_MOST, Authority.SAFETY, source_of(i.side_source[n])
    )
    limit, name = min(((slip, "slip"), (side, "side load"), (rule, "rule")), key=lambda row: row[0].value)
    missing = []
    if np.isnan(i.slip_n[n]):
        missing.append(
            f"a tested slip rating of {i.clamp[n]}: one dry M8 bolt at 6 N·m would hold about {state.friction_n:.0f} N by friction"
        )
    if i.wind is None and not i.calm:
        missing.append(
            "the wind of the site: climate.wind, or `calm: true` there where all of the line stands indoors or in a lee"
        )
    if i.wind is not None and np.isnan(i.side_n[n]):
        missing.append(f"a side rating of {i.clamp[n]}: wind is given")
    if name != "rule":
        advice = f"or give a spacing of at most {limit.value:.2f} m for {code} in limits of the site, which then holds for every cable there"
        if i.ice is not None and i.ice.mark == Mark.MEMORY.value:
            missing.append(
                f"confirmation of ice class {i.ice.name}, which is from memory: climate.ice_confirmed_by names who answers for it, {advice}"
            )
        if name == "side load" and i.wind is not None and i.wind.mark == Mark.MEMORY.value:
            missing.append(
                f"confirmation of {i.wind.place}, which is from memory: climate.wind.confirmed_by names who answers for it, {advice}"
            )
        if name == "side load" and i.wind is not None and not i.wind.gust and i.high_m[n] > PROFILE_TOP_M:
            missing.append(f"a wind profile above {PROFILE_TOP_M:g} m")
    return limit, name, tuple(missing)


class _Findings:
    def __init__(self, inputs: Inputs, limits: Limits) -> None:
        self.i, self.limits, self.state = inputs, limits, State(inputs)

    # -- findings --------------------------------------------------------------------------------------------------

    def reach(self) -> Iterator[Finding]:
        i, limit = self.i, self.limits.get("support.reach")
        for n, item in enumerate(i.spans):
            chain = list(i.chain[n])
            way = sum(term.value_m for term in i.need[n])
            value = None if i.need_missing[n] else float(i.length_m[chain].sum() - i.tolerance_m[chain].sum() - way)
            together = f", {len(chain)} cables in series" if len(chain) > 1 else ""
            yield judge(
                "support.reach", item, value, limit, unit="m",
                missing=(i.need_missing[n],) if i.need_missing[n] else (),
                note=f"{float(i.length_m[chain].sum()):g} m{together}, for a longest way of {way:.2f} m" if value is not None else "",
                remedy="the next longer length, or a shorter way", items=tuple(i.spans[c] for c in chain), rank=n,
            )  # fmt: skip

    def clamps(self) -> Iterator[Finding]:
        i, s, code = self.i, self.state, "support.clamp-spacing"
        for n, item in enumerate(i.spans):
            items = (item, *i.clamp_items[n])
            d = float(i.diameter_mm[n])
            if not i.clamp[n] or i.clamp_count[n] < 1:
                if i.held_m[n] > 0:
                    yield judge(
                        code, item, None, self.limits.get(code), unit="m", missing=(f"a clamp that fits {d:g} mm",),
                        remedy="choose clamps for it", items=items, rank=n,
                    )  # fmt: skip
                continue
            low, high = i.clamp_range_mm[n]
            limit, name, missing = spacing_limit(i, s, self.limits, n)
            if not low <= d <= high:
                missing = (f"a clamp that fits {d:g} mm: {i.clamp[n]} is for {low:g} to {high:g} mm", *missing)
            words = [f"{name} governs", f"slip {s.slip_m[n]:.1f} m"]
            calm = (
                ""
                if i.wind is not None
                else ": no wind here, as declared"
                if i.calm
                else ": no wind told (climate.wind)"
            )
            words.append(
                f"side load {s.side_m[n]:.1f} m" if np.isfinite(s.side_m[n]) else f"no side load counted{calm}"
            )
            words.append(f"rule {i.rule_m[n]:g} m")
            if i.ice is not None:
                words.append(f"with ice {i.ice.name}")
            yield judge(
                code, item, float(s.spacing_m[n]), limit, missing=missing, note=", ".join(words),
                remedy="more clamps, or a clamp with a higher rating", items=items, rank=n,
            )  # fmt: skip

    def torques(self) -> Iterator[Finding]:
        """Torque of the clamp's data sheet against what crushes the cable; only where both parts tell enough."""
        i, code, made = self.i, "support.clamp-torque", self.state.torque
        for row, n in enumerate(map(int, self.state.torqued)):
            assert made is not None
            if np.isnan(i.torque_nm[n]):
                continue
            limit = Limit(
                code, round(float(made.crush_nm[row]), PLACES), "N·m", Sense.AT_MOST, Authority.SAFETY, source_of(i.crush_source[n])
            )  # fmt: skip
            yield judge(
                code, i.spans[n], float(i.torque_nm[n]), self.limits.in_force(code, limit),
                note=f"{i.bolts[n]:g} bolt(s) M{i.bolt_mm[n]:g} on {i.pad_mm[n]:g} mm, nut factor {NUT_FACTOR:g} less 30 %; at "
                f"{float(made.torque_nm[row]):.1f} N·m it holds {float(made.grip_n[row]):.0f} N by friction, a spacing of {float(made.spacing_m[row]):.2f} m",
                remedy=f"tighten to {float(made.crush_nm[row]):.2f} N·m at most, by data sheet of the cable, or choose a wider clamp",
                items=(i.spans[n], *i.clamp_items[n]), rank=n,
            )  # fmt: skip

    def grips(self) -> Iterator[Finding]:
        i, code = self.i, "support.grip-load"
        for row, grip in enumerate(i.grips):
            n = grip.span
            limit = Limit(code, grip.rated_n, "N", Sense.AT_MOST, Authority.SAFETY, source_of(grip.source))
            d = float(i.diameter_mm[n])
            yield judge(
                code, grip.item, self._grip_load(n), self.limits.in_force(code, limit),
                missing=() if grip.fits else (f"a grip that fits {d:g} mm",),
                note=f"{i.hanging_m[n]:g} m of {i.spans[n]} on {grips_on(i, n)} grip(s), moving",
                remedy="more grips, or one with a higher rating", items=(i.spans[n], grip.item), rank=row,
            )  # fmt: skip
        for n, item in enumerate(i.spans):
            if i.run[n] and i.hanging_m[n] >= i.grip_from_m and not grips_on(i, n):
                yield judge(
                    code, item, None, self.limits.get(code), unit="N", missing=(f"a grip that fits {i.diameter_mm[n]:g} mm",),
                    note=f"{i.hanging_m[n]:g} m hang free while hoisting", remedy="choose a grip for it", items=(item,), rank=-1 - n,
                )  # fmt: skip

    def _grip_load(self, n: int) -> float:
        return float(grip_load_n(self.i.mass_kg_per_m[n], self.i.hanging_m[n], grips_on(self.i, n)))

    def hoists(self) -> Iterator[Finding]:
        i, code = self.i, "support.hoist-pull"
        for n, item in enumerate(i.spans):
            if i.run[n] and i.high_m[n] < i.low_m[n]:
                yield judge(
                    code, item, None, self.limits.get(code), unit="N", missing=(f"the heights of {item}: its upper end lies below its lower",),
                    remedy="correct low_m and high_m", items=(item,), rank=n,
                )  # fmt: skip
            if not i.run[n] or i.hanging_m[n] <= 0:
                continue
            rated = float(i.pull_n[n])
            part = None
            if not np.isnan(rated):
                part = Limit(code, rated, "N", Sense.AT_MOST, Authority.SAFETY, source_of(i.pull_source[n]))
            limit = self.limits.in_force(code, part)
            yield judge(
                code, item, float(top_tension_n(i.mass_kg_per_m[n], i.hanging_m[n])), limit, unit="N",
                missing=(f"the highest pull of {i.part[n]}",) if limit is None else (),
                note=f"{i.hanging_m[n]:g} m hanging from one point, moving", remedy="hoist with more than one line, or a lighter cable",
                items=(item,), rank=n,
            )  # fmt: skip

    def routes(self) -> Iterator[Finding]:
        """Pull and side pressure along the route, the better direction; only where the site tells bends."""
        i = self.i
        for n, item in enumerate(i.spans):
            if not i.run[n] or not i.route_told:
                continue
            both = self.state.route_pulls(n)
            most, press = (None if np.isnan(x[n]) else float(x[n]) for x in (i.pull_n, i.side_pressure_n))
            way = better_way(both, most, press)
            one, other = both[way], both[1 - way]
            note = f"pulled {DIRECTIONS[way]}, friction {PULL_FRICTION:g}"
            for code, value, against, limit, source, what in (
                ("support.route-pull", one.highest_n, other.highest_n, most, i.pull_source[n], "highest pull"),
                ("support.side-pressure", one.side_n_per_m, other.side_n_per_m, press, i.side_pressure_source[n] if press else i.pull_source[n], "highest side pressure"),
            ):  # fmt: skip
                if limit is None and code == "support.side-pressure":
                    continue
                unit = "N" if code == "support.route-pull" else "N/m"
                part = (
                    None
                    if limit is None
                    else Limit(code, limit, unit, Sense.AT_MOST, Authority.SAFETY, source_of(source))
                )
                held = self.limits.in_force(code, part)
                missing = [f"the {what} of {i.part[n]}"] if held is None else []
                if code == "support.side-pressure" and self.state.guessed_bend(n):
                    missing.append(bend_lacks(i.part[n]))
                yield judge(
                    code, item, value, held, unit=unit, missing=tuple(missing),
                    note=f"{note}; {against:.0f} {unit} {DIRECTIONS[1 - way]}", remedy="rollers at the bends, wider bends, or a place between to pull from",
                    items=(item,), rank=n,
                )  # fmt: skip

    def bends(self) -> Iterator[Finding]:
        """The tightest bend of the route against the least radius of each run; only where the site tells a radius."""
        i, code, told = self.i, "support.bend-radius", self.state.told_radii
        if not told:
            return
        tight = min(told, key=lambda leg: leg.radius_m or 0.0)
        assert tight.radius_m is not None
        for n, item in enumerate(i.spans):
            if not i.run[n]:
                continue
            known = not np.isnan(i.least_bend_mm[n])
            part = None
            if known:
                part = Limit(code, float(i.least_bend_mm[n]), "mm", Sense.AT_LEAST, Authority.SAFETY, source_of(i.least_bend_source[n]))  # fmt: skip
            limit, value = self.limits.in_force(code, part), round(1000 * tight.radius_m, PLACES)
            missing: tuple[str, ...] = (f"the least bend radius of {i.part[n]}",) if limit is None else ()
            if limit is part and part is not None and i.pull_bend_missing[n] and value >= part.value:
                missing = (f"the least bend radius of {i.part[n]} under pull: it is wide enough at rest",)
            yield judge(
                code, item, value, limit, unit="mm", missing=missing,
                note=f"{tight.name}, bends as the site tells them" + (f"; limit {i.least_bend_words[n]}" if known else ""),
                remedy="a wider bend there, or a cable that bends tighter", items=(item,), rank=n,
            )  # fmt: skip

    def masses(self) -> Iterator[Finding]:
        """Mass of the data sheet against that of the construction; once a part, only where the part tells its construction."""
        i, code = self.i, "support.mass-difference"
        seen: set[str] = set()
        for n, part in enumerate(i.part):
            if np.isnan(i.built_kg_per_m[n]) or part in seen:
                continue
            seen.add(part)
            listed, built = float(i.mass_kg_per_m[n]), float(i.built_kg_per_m[n])
            yield judge(
                code, i.spans[n], 100 * abs(built / listed - 1), self.limits.get(code), unit="%",
                note=f"{part}: {built:.3f} kg/m by its construction, {listed:g} kg/m by its data sheet, which goes before",
                remedy="check mass, areas and counts of the part against its data sheet",
                items=tuple(s for s, p in zip(i.spans, i.part, strict=True) if p == part), rank=n,
            )  # fmt: skip

    # -- figures ---------------------------------------------------------------------------------------------------

    def figures(self) -> Iterator[Figure]:
        i, s = self.i, self.state
        everything = (*i.spans, *(b.item for b in s.boxes))
        equipment = [b for b in i.bodies if b.kind != "box"]
        kept = [e for e in i.existing if e.stays]
        yield Figure(
            "support.mass",
            i.site,
            s.line_kg,
            "kg",
            "cables on the mast with their ends, boxes and the hardware that hangs there",
            MASS,
            "",
            everything,
        )
        if equipment:
            kg = sum(b.mass_kg for b in equipment)
            yield Figure(
                "support.mass", EQUIPMENT, kg, "kg", "radios and antennas", MASS, "", tuple(b.item for b in equipment)
            )
        weighed = [e for e in kept if e.mass_kg_per_m > 0]
        if weighed:
            kg = sum(e.count * e.mass_kg_per_m * (e.high_m - e.low_m) for e in weighed)
            lacking = [e.item for e in kept if e.mass_kg_per_m <= 0]
            note = "what stands already and stays" + (f"; no mass is given for {', '.join(lacking)}" if lacking else "")
            yield Figure("support.mass", EXISTING, kg, "kg", note, _site(i), "", tuple(e.item for e in weighed))
        for n, item in enumerate(i.spans):
            if i.clamp_count[n]:
                note = f"{i.clamp[n]}, every {s.spacing_m[n]:.2f} m"
                yield Figure(
                    "support.clamp-count",
                    item,
                    float(i.clamp_count[n]),
                    "",
                    note,
                    STATICS,
                    "",
                    (item, *i.clamp_items[n]),
                    n,
                )
        yield Figure(
            "support.wind-area",
            i.site,
            float(s.bare_area_m2.sum()),
            "m²",
            "cables and boxes of the line, bare, none in the lee of another",
            AREA,
            "",
            everything,
        )
        if kept:
            area = sum(e.count * e.diameter_mm / 1000 * (e.high_m - e.low_m) for e in kept)
            gone = [e.item for e in i.existing if not e.stays]
            note = "what stands already and stays" + (f"; taken down: {', '.join(gone)}" if gone else "")
            yield Figure("support.wind-area", EXISTING, area, "m²", note, AREA, "", tuple(e.item for e in kept))
        if i.wind is not None:
            case, loads = s.governing
            note = f"{case} governs; {i.wind.words}" + ("" if i.wind.gust else f", row factor {s.kappa:g}")
            if s.iced is not None:
                note += f"; bare {s.bare.total_n:.0f} N, iced {s.iced.total_n:.0f} N"
            high = max((*map(float, i.high_m), *(b.high_m for b in s.boxes)), default=0.0)
            if high > PROFILE_TOP_M and not i.wind.gust:
                note += f"; above {PROFILE_TOP_M:g} m the profile is beyond its range"
            yield Figure("support.wind-force", i.site, loads.total_n, "N", note, i.wind.source, "", everything)
            yield Figure(
                "support.wind-moment",
                i.site,
                loads.total_knm,
                "kN·m",
                note.split(";")[0] + "; about the foot of the mast",
                i.wind.source,
                "",
                everything,
            )
        if i.ice is not None:
            line_kg = float(s.cable_ice_kg.sum()) + sum(s.body_ice_kg(b) for b in s.boxes)
            note = i.ice.words
            ice = Source("ISO 12494", "rime" if i.ice.rime else "glaze, 900 kg/m³", mark=Mark(i.ice.mark))
            yield Figure("support.ice-mass", i.site, line_kg, "kg", note + ", cables and boxes", ice, "", everything)
            if equipment:
                kg = sum(s.body_ice_kg(b) for b in equipment)
                yield Figure(
                    "support.ice-mass",
                    EQUIPMENT,
                    kg,
                    "kg",
                    note + ", radios and antennas",
                    ice,
                    "",
                    tuple(b.item for b in equipment),
                )


def bend_lacks(part: str) -> str:
    """What is missing where a bend is taken with 20 diameters."""
    return f"the least bend radius of {part} under pull, or bend_radius_m of the legs: {BEND_DIAMETERS} diameters are taken"


def grips_on(inputs: Inputs, n: int) -> int:
    """All grips on one run."""
    return sum(g.count for g in inputs.grips if g.span == n)


def _site(i: Inputs) -> Source:
    return Source(f"site {i.site}", "existing", mark=Mark.DECLARED)


__all__ = ["EQUIPMENT", "EXISTING", "bend_lacks", "found", "grips_on", "spacing_limit"]
