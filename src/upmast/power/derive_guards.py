"""The working of what guards the wires: breakers, withstand, faults near and far, start-up current."""

from __future__ import annotations

import numpy as np

from upmast.finding import Figure, Finding
from upmast.formula import Sym
from upmast.power.derive import OHM, OWN, THERMAL, Maker
from upmast.power.guards import (
    RULES,
    guard_of,
    guarded_wires,
    hottest_after,
    pulse_edge_a,
    pulse_through,
    trip_words,
    weakest_group,
)
from upmast.power.seen import OVERLOAD, Seen
from upmast.power.state import Protection
from upmast.power.trip import continuous_rule
from upmast.power.withstand import ADIABATIC_S
from upmast.source import Mark, Origin, Source
from upmast.working import ChoiceStep, FormulaStep, Quantity, SolvedStep, Step

WITHSTAND = Source("IEC 60949", "adiabatic heating; beyond 5 s with the cooling that the ampacity tells")
INRUSH = Source("own derivation: resistance, inductance and capacitance in series", "checked by ngspice")


def guard_working(maker: Maker, seen: Seen, found: Finding | Figure) -> tuple[Step, ...]:
    """Steps of a finding of the guards; none if it is not one of theirs."""
    code = found.code
    if code == "power.far-end-fault":
        return _fault(seen, found)
    if code not in (
        "power.design-current", "power.breaker-protects-pair", "power.conventional-current", "power.fault-withstand", "power.inrush",
    ):  # fmt: skip
        return ()
    if found.rank <= -1001:  # a jumper that nothing guards
        return maker.ampacity((-1001 - found.rank,), seen)
    guard = seen.i.breakers[found.rank] if found.rank >= 0 else seen.i.outputs[-1 - found.rank]
    if code == "power.design-current":
        return _design(maker, seen, guard, found)
    if code == "power.breaker-protects-pair":
        return maker.ampacity(weakest_group(seen, guard), seen)
    if code == "power.conventional-current":
        return _conventional(maker, seen, guard, found)
    if code == "power.inrush":
        return _inrush(seen, guard, found)
    return _withstand(seen, guard, found)


def _rated(guard: Protection) -> Quantity:
    return Quantity("I_n", guard.rated_a, "A", f"rated current of {guard.item}", Origin.LISTED, _part(guard, "rated_a"))


def _part(guard: Protection, field: str) -> Source:
    return Source(f"part {guard.part}", field, mark=Mark.INVENTED)


def _design(maker: Maker, seen: Seen, guard: Protection, found: Finding | Figure) -> tuple[Step, ...]:
    i = seen.i
    s = i.scenarios.index(found.scenario) if found.scenario in i.scenarios else seen.low
    value, _ = seen.largest(guard.branch)
    steps = maker.current(guard.branch, s, value)
    rule = continuous_rule(RULES[i.continuous_load])
    if value is not None and rule.factor != 1:
        amps = Quantity("I_b", value, "A", "design current", Origin.EXPECTED, OWN)
        factor = Quantity("f", rule.factor, "", "factor for a load that lasts", Origin.LISTED, rule.source)
        asked = Quantity("I_c", found.value or 0.0, "A", "design current with it", Origin.EXPECTED, OWN)
        steps = (*steps, FormulaStep(asked, Sym("f") * Sym("I_b"), (factor, amps)))
    if np.isfinite(guard.usable_a) and guard.usable_a != guard.rated_a:
        share = Quantity(
            "d",
            guard.usable_a / guard.rated_a,
            "",
            "what is left of it where it stands: warm air and neighbours",
            Origin.LISTED,
            _part(guard, "derate_fraction_per_k, neighbour_fraction"),
        )
        usable = Quantity("I_u", guard.usable_a, "A", "usable rating", Origin.EXPECTED, OWN)
        steps = (*steps, FormulaStep(usable, Sym("d") * Sym("I_n"), (share, _rated(guard))))
    return steps


def _conventional(maker: Maker, seen: Seen, guard: Protection, found: Finding | Figure) -> tuple[Step, ...]:
    group = weakest_group(seen, guard)
    iz = Quantity(
        "I_z",
        float(sum(seen.iz[b] for b in group)),
        "A",
        f"ampacity of {seen.i.item[group[0]]}",
        Origin.EXPECTED,
        THERMAL,
    )
    multiple = Quantity(
        "m",
        guard.conventional,
        "",
        "conventional tripping current over the rated one",
        Origin.LISTED,
        _part(guard, "conventional_multiple"),
    )
    i2 = Quantity(
        "I_2", found.value or 0.0, "A", "surely trips within the conventional time", Origin.EXPECTED, OVERLOAD
    )
    most = Quantity("I_a", 1.45 * iz.value, "A", "most that is allowed", Origin.EXPECTED, OVERLOAD)
    return (
        *maker.ampacity(group, seen),
        FormulaStep(most, 1.45 * Sym("I_z"), (iz,)),
        FormulaStep(i2, Sym("m") * Sym("I_n"), (multiple, _rated(guard))),
    )


def _fault(seen: Seen, found: Finding | Figure) -> tuple[Step, ...]:
    k = found.rank
    inputs = (
        Quantity("V_oc", float(seen.seen_low.voc_v[k]), "V", "voltage without load", Origin.EXPECTED, OWN),
        Quantity("Z", float(seen.seen_low.z_ohm[k, k]), "Ω", "plant, breaker, hot pair and jumper", Origin.EXPECTED, OWN),
    )  # fmt: skip
    result = Quantity("I_f", found.value or 0.0, "A", f"short at {seen.i.radios[k]}", Origin.EXPECTED, OHM)
    step = FormulaStep(result, Sym("V_oc") / Sym("Z"), inputs)
    guard = guard_of(seen, k)
    if guard is None:
        return (step,)
    return (
        ChoiceStep(
            trip_words(seen, guard, found.value or 0.0),
            "read in the trip curve of its data sheet, straight in the logarithms",
        ),
        step,
    )


def _withstand(seen: Seen, guard: Protection, found: Finding | Figure) -> tuple[Step, ...]:
    i = seen.i
    if guard.curve is None:
        return (ChoiceStep(found.note, "not judged: the breaker's trip curve is missing"),)
    wires = guarded_wires(seen, guard)
    b = next(b for b in wires if abs(hottest_after(seen, guard, b)[0] - (found.value or 0.0)) < 1e-9)
    theta, current, time = hottest_after(seen, guard, b)
    far = Quantity(
        "I_far",
        float(seen.far_fault_a[b]),
        "A",
        f"short at the far end of {i.item[b]}, hot, lowest emf",
        Origin.EXPECTED,
        OWN,
    )
    near = Quantity(
        "I_near",
        float(seen.near_fault_a[b]),
        "A",
        "short at its near end, cold, highest emf, as far as the plant can drive it",
        Origin.EXPECTED,
        OWN,
    )
    result = Quantity(
        "theta",
        theta,
        "°C",
        f"{i.item[b]}, {i.area_mm2[b]:g} mm², after {current:.0f} A for {time:.3g} s",
        Origin.EXPECTED,
        WITHSTAND,
    )
    how = "all its heat kept" if time <= ADIABATIC_S else "one heat store, cooled as its ampacity tells"
    return (
        SolvedStep(
            (result, far, near),
            f"looked at shorts from the far to the near end and at the edges of the trip curve, each for the longest time of {guard.item}; at the worst, {how}: d(theta)/dt = I² R(theta)/C - cooling",
            "closed form", "both bounds are above the true temperature",
        ),
    )  # fmt: skip


def _inrush(seen: Seen, guard: Protection, found: Finding | Figure) -> tuple[Step, ...]:
    pulse, lacking = pulse_through(seen, guard)
    if pulse is None:
        return (ChoiceStep("no start-up current", f"missing: {', '.join(lacking)}"),)
    result = Quantity("I_pk", pulse.peak_a, "A", pulse.words, Origin.EXPECTED, INRUSH)
    step = SolvedStep(
        (result,), "peak of R, L, C in series for each radio alone, cold line, highest voltage; or what its limiter lets in; all peaks added",
        "closed form", "radios together draw no more than the sum of what each draws alone",
    )  # fmt: skip
    if guard.curve is None:
        return (step,)
    edge = pulse_edge_a(guard, pulse.duration_s)
    return (
        step,
        ChoiceStep(
            f"from {edge:.0f} A on {guard.item} may trip within {1000 * pulse.duration_s:.0f} ms",
            "read in its trip curve, shortest time",
        ),
    )


__all__ = ["guard_working"]
