"""What a stroke does to the line, as findings: shields against the withstand, protectors with their leads, ends without a bond."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.earth.electrode import ROD_BAND_SOURCE, rods_ohm
from upmast.earth.exposure import MODEL, Exposure, ProtectorSeen, Shares, open_loop_h, shares_of
from upmast.earth.protector import (
    CRITERION_SOURCE,
    core_impulse_a,
    effective_protection_v,
    lead_drop_v,
    longest_lead_m,
    protection_limit_v,
)
from upmast.earth.sharing import transient_share
from upmast.earth.shield import least_shield_mm2, missing_bond_v
from upmast.earth.state import Inputs, bonds_on, open_end
from upmast.earth.surge import stroke_peak_a, wave, waves
from upmast.earth.withstand import (
    AIR_V_PER_M,
    DC_PORT_SOURCE,
    DC_PORT_WITHSTAND_V,
    separation_distance_m,
    separation_source,
)
from upmast.finding import Authority, Figure, Finding, Limit, Sense, judge
from upmast.limits import Limits
from upmast.source import Mark, Source

__all__ = [
    "FLASH",
    "OpenEnd",
    "ProtectorLevel",
    "core_current",
    "electrode_ohm",
    "end_of",
    "followed_share",
    "gap_m",
    "governing",
    "open_ends",
    "protector_current",
    "protector_lacks",
    "protector_level",
    "shield_v",
    "stroke_results",
    "withstand_of",
    "worst_wave",
]

Array = NDArray[np.float64]
FRONT_STEPS = 160  # follow the peak of a shield's current within 1e-4
FLASH = "flash-over: bond missing"


def withstand_of(i: Inputs, limits: Limits) -> Limit:
    """What the DC ports withstand: as the site says, or the limit in force; a class from memory judges nothing."""
    code = "earth.shield-voltage"
    volts = math.nan if i.exposure is None else i.exposure.withstand_v
    if math.isnan(volts):
        default = Limit(code, DC_PORT_WITHSTAND_V, "V", Sense.AT_MOST, Authority.STANDARD, DC_PORT_SOURCE)
        return limits.get(code) or default
    source = Source(f"site {i.site}", "earthing.equipment_withstand_v", mark=Mark.DECLARED)
    own = Limit(code, volts, "V", Sense.AT_MOST, Authority.PART, source)
    return limits.in_force(code, own) or own


def shield_v(seen: Exposure, shares: Shares, name: str) -> Array:
    """Voltage between core and shield that a stroke never passes, a row for each factor of the legs: `x (I R + M l S)`."""
    ohm, transfer = seen.shield_ohm, seen.transfer_h_per_m * seen.length_m
    return np.asarray(shares.safe * (seen.peak_a(name) * ohm + transfer * seen.slope_a_per_s(name)))


def worst_wave(seen: Exposure) -> str:
    """The stroke that governs: that of most current, or with transfer inductance perhaps that of the steepest front."""
    return max(waves(), key=lambda name: float(np.max(shield_v(seen, _one(seen), name))))


def _one(seen: Exposure) -> Shares:
    whole = np.ones((1, len(seen.cables)))
    return Shares(whole[0], whole, whole)


def followed_share(seen: Exposure) -> Array | None:
    """
    Peak share of each shield through a first positive stroke, a row for the least and one for the highest factor of the legs; None where
    that does not give its voltage.

    With transfer inductance the steepest front counts, too, and a share by a study is not followed.
    """
    if not math.isnan(seen.share) or seen.transfer_h_per_m > 0:
        return None
    name = "first_positive"
    ends = (seen.factors[0], seen.factors[-1])
    found = transient_share(
        seen.inductance_h(),
        seen.resistance_ohm(ends),
        stroke_peak_a(seen.level, name),
        wave(name),
        front_steps=FRONT_STEPS,
    )
    return np.asarray(found.peak_a[:, seen.own] / seen.peak_a(name))


def governing(seen: Exposure, shares: Shares, limit_v: float) -> tuple[Array, bool]:
    """
    Shares by which the shields are judged, the first row for the least factor of the legs: those never passed, or, where these are too
    much for the limit, those of a stroke that is followed through. And which of the two.
    """
    if float(shield_v(seen, shares, worst_wave(seen)).max()) > limit_v:
        followed = followed_share(seen)
        if followed is not None:
            return np.minimum(followed, shares.safe[[0, -1]]), True
    return shares.safe, False


def stroke_results(i: Inputs, limits: Limits) -> tuple[tuple[Finding, ...], tuple[Figure, ...]]:
    """Findings and figures of a stroke, only where the site says how the mast takes one."""
    seen = i.exposure
    if seen is None:
        return (), ()
    shares = shares_of(seen) if seen.cables and not seen.missing else None
    return tuple(_findings(i, seen, shares, limits)), tuple(_figures(i, seen, shares))


def _findings(i: Inputs, seen: Exposure, shares: Shares | None, limits: Limits) -> Iterator[Finding]:
    yield from _shields(i, seen, shares, limits)
    for n, one in enumerate(seen.protectors):
        yield _protector(i, seen, shares, one, n, limits)
        if not math.isnan(one.impulse_a):
            yield _impulse(i, seen, shares, one, n, limits)
    if not seen.missing:
        for end in open_ends(i):
            yield _open(i, end, limits)


def _shields(i: Inputs, seen: Exposure, shares: Shares | None, limits: Limits) -> Iterator[Finding]:
    code = "earth.shield-voltage"
    limit = withstand_of(i, limits)
    for n, (name, why) in enumerate(seen.unknown):
        yield judge(code, name, None, limit, unit="V", missing=(why,), rank=len(seen.cables) + n)
    if shares is None:
        for n, run in enumerate(seen.cables):
            yield judge(code, run, None, limit, unit="V", missing=seen.missing, items=_with_bonds(i, run), rank=n)
        return
    name, (share, followed) = worst_wave(seen), governing(seen, shares, limit.value)
    every, peak = shield_v(seen, Shares(shares.front, shares.tail, share), name), seen.peak_a(name)
    for n, run in enumerate(seen.cables):
        least, most = float(every[0, n]), float(every[:, n].max())
        missing: tuple[str, ...] = ()
        if least <= limit.value < most and limit.source.mark is not Mark.MEMORY:
            missing = (
                f"leg_factor in earthing, by a study: the limit lies between {least:.0f} V and {most:.0f} V, which the rise of the legs' "
                "resistance in a stroke decides",
            )
        x = float(share[:, n].max())
        note = (
            f"{name.replace('_', ' ')} stroke of level {seen.level}, {peak / 1e3:.0f} kA: at most {100 * x:.1f} % in this shield of "
            f"{1e3 * seen.shield_ohm[n]:.0f} mΩ"
            + (", followed through the wave" if followed else ", whatever the wave")
        )
        if most > least * 1.001:
            note += f"; {least:.0f} V were the legs no more than with direct current"
        if len(seen.beside_m):
            note += f"; an earth conductor of {seen.beside_mm2:g} mm² outside beside it shares, too"
        if seen.left_out:
            note += f"; {seen.left_out}"
        if seen.assumed:
            note += f"; assumed: {', '.join(seen.assumed)}"
        rho = seen.ohm_per_km[n] * seen.area_mm2[n] * 1e-9 * seen.warm
        needed = float(least_shield_mm2(x * peak, seen.length_m[n], limit.value, rho))
        yield judge(
            code, run, most, limit, note=note, missing=missing, items=_with_bonds(i, run), rank=n,
            remedy=f"cables inside the mast, near a leg; more bonded conductors beside them; a shield of {needed:.0f} mm² or more; "
            "or protected ports that withstand more",
        )  # fmt: skip


def _with_bonds(i: Inputs, run: str) -> tuple[str, ...]:
    return (run, *(b.item for b in i.bonds if b.on == run))


# --- protectors --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ProtectorLevel:
    """A protector with its leads: current and front of it, drop, what is left, what may be left, and the longest lead."""

    current_a: float
    front_s: float
    run: str  # whose core's share the current is; empty where the site gives it
    drop_v: float
    effective_v: float
    limit: Limit
    longest_m: float


def core_current(seen: Exposure, shares: Shares) -> tuple[float, int]:
    """Highest current of one DC core, late limit, and the run that it belongs to; NaN where no run has cores."""
    best = (math.nan, -1)
    for n, cores in enumerate(seen.cores):
        if not cores or math.isnan(seen.core_ohm_per_km[n]) or seen.length_m[n] <= 0:
            continue
        core = seen.core_ohm_per_km[n] * 1e-3 * seen.length_m[n]
        a = float(core_impulse_a(shares.safe[:, n].max() * seen.peak_a(), seen.shield_ohm[n], core, cores))
        if math.isnan(best[0]) or a > best[0]:
            best = (a, n)
    return best


def protector_current(seen: Exposure, shares: Shares | None, one: ProtectorSeen) -> tuple[float, float, str] | None:
    """Current through it, its front, and the run whose core's share it is, empty where the site gives it; None where not known."""
    if not math.isnan(one.current_a):
        return one.current_a, one.front_s, ""
    if shares is None:
        return None
    current, n = core_current(seen, shares)
    # the cores take their share slowly, behind the shield: the front of the whole stroke is the safe side
    return None if n < 0 else (current, wave("first_positive").front_s, seen.cables[n])


def protector_lacks(
    seen: Exposure, shares: Shares | None, one: ProtectorSeen, distance: bool = True
) -> tuple[str, ...]:
    """What is missing to judge a protector: an item of the line, the current through it and, if it counts, the cable behind it."""
    if one.unknown:
        return (one.unknown,)
    if protector_current(seen, shares, one) is None:
        return seen.missing or (
            f"current_a of the protector at {one.at}: no shielded run with DC cores to take a share of",
        )
    if distance and math.isnan(one.distance_m) and math.isnan(one.allowed):
        return (f"distance_m of the protector at {one.at}: the line has no jumper from it to a radio",)
    return ()


def protector_level(
    i: Inputs, limits: Limits, seen: Exposure, shares: Shares | None, one: ProtectorSeen
) -> ProtectorLevel | None:
    """None where something is missing, see `protector_lacks`."""
    flow = protector_current(seen, shares, one)
    if flow is None or protector_lacks(seen, shares, one):
        return None
    current, front, run = flow
    drop = float(lead_drop_v(one.counted_m, current, front))
    effective = float(effective_protection_v(one.up_v, drop, one.switching))
    limit = _protector_limit(i, limits, one)
    longest = float(longest_lead_m(one.up_v, limit.value, current, front, one.switching))
    return ProtectorLevel(current, front, run, drop, effective, limit, longest)


def _protector_limit(i: Inputs, limits: Limits, one: ProtectorSeen) -> Limit:
    """What may be left: the withstand at the terminals, a share of it farther on; from memory wherever either is."""
    withstand = withstand_of(i, limits)
    code, unit = "earth.protector", "V"
    if not math.isnan(one.allowed):
        source = Source(f"site {i.site}", "earthing.protectors.allowed_fraction", mark=Mark.DECLARED)
        value, rule = one.allowed * withstand.value, source
    else:
        value, rule = float(protection_limit_v(withstand.value, one.distance_m)), CRITERION_SOURCE
        if one.distance_m == 0:
            rule = withstand.source
    source = withstand.source if withstand.source.mark is Mark.MEMORY else rule
    return Limit(code, value, unit, Sense.AT_MOST, withstand.authority, source)


def _protector(i: Inputs, seen: Exposure, shares: Shares | None, one: ProtectorSeen, n: int, limits: Limits) -> Finding:
    code = "earth.protector"
    level = protector_level(i, limits, seen, shares, one)
    if level is None:
        items = () if one.unknown else (one.at,)
        missing = protector_lacks(seen, shares, one)
        return judge(code, one.at, None, limits.get(code), unit="V", missing=missing, items=items, rank=n)
    limit = limits.in_force(code, level.limit)
    longest = float(
        longest_lead_m(
            one.up_v, limit.value if limit else level.limit.value, level.current_a, level.front_s, one.switching
        )
    )
    allowed = (
        "no lead is short enough: another protector"
        if math.isnan(longest)
        else "any lead" if math.isinf(longest) else f"longest lead {longest:.2f} m, both sides together"
    )  # fmt: skip
    whose = f", the share of a core of {level.run}" if level.run else ""
    note = (
        f"{one.up_v:g} V and {level.drop_v:.0f} V of {one.counted_m:g} m of lead at {level.current_a / 1e3:.1f} kA{whose}, front {level.front_s * 1e6:g} µs; "
        f"{one.cable_words} of cable behind it; {allowed}"
    )
    return judge(
        code, one.at, level.effective_v, limit, note=note, items=(one.at,), rank=n,
        remedy=f"{allowed}; or a V connection, so that no lead counts; or a protector nearer to the equipment",
    )  # fmt: skip


def _impulse(i: Inputs, seen: Exposure, shares: Shares | None, one: ProtectorSeen, n: int, limits: Limits) -> Finding:
    code = "earth.protector-impulse"
    source = Source(f"site {i.site}", "earthing.protectors.impulse_a", mark=Mark.DECLARED)
    rated = Limit(code, one.impulse_a, "A", Sense.AT_MOST, Authority.PART, source)
    missing = protector_lacks(seen, shares, one, distance=False)
    flow = None if missing else protector_current(seen, shares, one)
    note = "impulse 10/350 through it, against its data sheet"
    if flow is not None and flow[2]:
        note += f"; the share of a core of {flow[2]}, late limit"
    return judge(
        code, one.at, None if flow is None else flow[0], limits.in_force(code, rated), unit="A", missing=missing, note=note,
        remedy="a protector of a higher impulse current, or a shield that takes more", items=() if one.unknown else (one.at,), rank=n,
    )  # fmt: skip


# --- ends without a bond ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class OpenEnd:
    """
    An end of a run without a bond: where, how far from the next bond, the gap to the steel, what the gap holds, and the loop.

    volts: of each wave, with the legs' resistance at the top of its band.
    """

    cable: int
    run: str
    held_m: float
    end_m: float
    gap_m: float
    loop_h: float
    mast_ohm: float
    volts: tuple[tuple[str, float], ...]

    @property
    def length_m(self) -> float:
        return abs(self.end_m - self.held_m)

    @property
    def gap_v(self) -> float:
        return AIR_V_PER_M * max(self.gap_m, 0.0)

    @property
    def flashes(self) -> bool:
        return max(v for _, v in self.volts) > self.gap_v


def gap_m(seen: Exposure, n: int) -> float:
    """Air between a cable and the nearest steel [m], never below 0."""
    x, y = seen.cable_m[n]
    if seen.pole_m > 0:
        apart = abs(math.hypot(x, y) - seen.pole_m / 2)
    else:
        apart = float(np.hypot(seen.legs_m[:, 0] - x, seen.legs_m[:, 1] - y).min()) - seen.leg_radius_m
    return max(apart - float(seen.cable_radius_m[n]), 0.0)


def end_of(seen: Exposure, n: int, held_m: float, end_m: float) -> OpenEnd:
    """The end of a run, were it without a bond."""
    length = abs(end_m - held_m)
    loop = max(open_loop_h(seen.legs_m, seen.leg_radius_m, seen.cable_m[n], length), 0.0)
    ohm = seen.leg_ohm_per_km * 1e-3 * length / len(seen.legs_m) * max(seen.factors)
    volts = tuple(
        (name, float(missing_bond_v(loop, stroke_peak_a(seen.level, name), wave(name).front_s, ohm)))
        for name in waves()
    )
    return OpenEnd(n, seen.cables[n], held_m, end_m, gap_m(seen, n), loop, ohm, volts)


def open_ends(i: Inputs) -> tuple[OpenEnd, ...]:
    """Every end of a run that lacks the bond of the plan."""
    seen = i.exposure
    assert seen is not None
    out = []
    for run in i.runs:
        found = open_end(run, bonds_on(i, run.item, "shield"))
        if found is not None and run.item in seen.cables:
            out.append(end_of(seen, seen.cables.index(run.item), *found))
    return tuple(out)


def _open(i: Inputs, end: OpenEnd, limits: Limits) -> Finding:
    code, seen = "earth.separation", i.exposure
    assert seen is not None
    needed = float(separation_distance_m(end.length_m, seen.level, max(seen.down_conductors, 1)))
    limit = limits.in_force(code, Limit(code, needed, "m", Sense.AT_LEAST, Authority.STANDARD, separation_source()))
    name, volts = max(end.volts, key=lambda row: row[1])
    note = (
        f"no bond from {end.held_m:g} m to the end at {end.end_m:g} m: a {name.replace('_', ' ')} stroke raises {volts / 1e3:.1f} kV there, the gap holds about "
        f"{end.gap_v / 1e3:.0f} kV (500 kV/m, from memory)"
    )
    if end.flashes:
        note = f"{FLASH}; {note}"
    return judge(
        code, end.run, end.gap_m, limit, note=note, remedy="add the bond at that end: no distance replaces it",
        items=_with_bonds(i, end.run), rank=end.cable,
    )  # fmt: skip


# --- figures ------------------------------------------------------------------------------------------------------------


def _figures(i: Inputs, seen: Exposure, shares: Shares | None) -> Iterator[Figure]:
    """Share of each shield, and the order of size of the electrode."""
    if shares is not None:
        for n, run in enumerate(seen.cables):
            note = (
                f"never passed by a stroke; {100 * shares.front[n]:.1f} % on its front, {100 * shares.tail[:, n].min():.1f} to "
                f"{100 * shares.tail[:, n].max():.1f} % in its tail"
            )
            yield Figure(
                "earth.shield-share", run, 100 * float(shares.safe[:, n].max()), "%", note, MODEL, "", (run,), n
            )
    if seen.electrode is not None:
        value = electrode_ohm(seen.electrode)
        note = f"{seen.electrode[1]} rod(s) in even soil: order of size only; measured by a competent person"
        yield Figure("earth.electrode", i.site, value, "Ω", note, ROD_BAND_SOURCE if seen.electrode[1] > 1 else MODEL)


def electrode_ohm(electrode: tuple[float, int, float, float, float]) -> float:
    """Rods in a row, bonded together."""
    soil, count, length, radius, apart = electrode
    return float(rods_ohm(soil, length, radius, [[n * apart, 0.0] for n in range(count)]))
