"""What a line does with something broken, and on battery: voltages with one fault, first drop, hunting, minutes of each radio."""

from __future__ import annotations

import numpy as np

from upmast.finding import Authority, Figure, Finding, Limit, Sense, judge
from upmast.power.faults import BOND, BREAKER, BYPASS, PAIR, RETURN, SPARE
from upmast.power.seen import MODEL, Seen
from upmast.power.state import hung
from upmast.source import Mark, Source

BATTERY = Source("own derivation: integral of the current over the discharge, by Peukert's law")
CODES = {
    PAIR: "power.pair-open", RETURN: "power.return-open", BREAKER: "power.breaker-open", BOND: "power.bond-open",
    BYPASS: "power.converter-bypass", SPARE: "power.spare-in-use",
}  # fmt: skip
REMEDIES = {
    PAIR: "two pairs for each radio, or a bussed box",
    RETURN: "two pairs for each radio, or a bussed box",
    BREAKER: "two circuits for each radio, or a bussed box",
    BOND: "thicker or more return wires",
    BYPASS: "thicker copper, which holds without the converter",
    SPARE: "a trunk with a spare pair",
}


def outage_findings(seen: Seen) -> list[Finding]:
    """Faults that the owner wants survived, and radios that would start and stop."""
    out: list[Finding] = []
    for kind in seen.i.must_survive:
        out += _survives(seen, kind)
    return [*out, *_hunting(seen)]


def outage_figures(seen: Seen) -> list[Figure]:
    """Other faults as figures, the first drop, and the minutes on battery."""
    i = seen.i
    out = []
    for kind, code in CODES.items():
        if kind in i.must_survive or kind == SPARE:
            continue
        found = _worst(seen, kind)
        if kind != PAIR and found:  # one radio for each kind: that with the least voltage over its minimum
            found = [min(found, key=lambda one: one[1] - i.minimum_v[one[0]])]
        for k, volts, name in found:
            out.append(
                Figure(
                    f"{code}-figure",
                    i.radios[k],
                    volts,
                    "V",
                    f"with {name} {_word(kind)}",
                    MODEL,
                    i.scenarios[seen.low],
                    (i.radios[k],),
                    k,
                )
            )
    return [*out, *_first_drop(seen), *_minutes(seen)]


def _word(kind: str) -> str:
    return "bypassed" if kind == BYPASS else "open"


def _worst(seen: Seen, kind: str) -> list[tuple[int, float, str]]:
    """Per radio: the lowest voltage with one fault of a kind, and which. 0: not fed, or no operating point at all."""
    faults = seen.faults
    if faults is None:
        return []
    out = []
    for k in range(len(seen.i.radios)):
        row = faults.worst(kind, k)
        if row is not None:
            out.append((k, float(np.nan_to_num(faults.voltage_v[row, k])), faults.faults[row].name))
    return out


def _survives(seen: Seen, kind: str) -> list[Finding]:
    i = seen.i
    code = f"{CODES[kind]}-voltage"
    if kind == SPARE:
        return _spare_in_use(seen, code)
    found = {k: (volts, name) for k, volts, name in _worst(seen, kind)}
    out = []
    for k, radio in enumerate(i.radios):
        limit = seen.limits.in_force(code, seen.minimum(code, k))
        if k not in found:
            lacking = _nothing_to_break(seen, kind)
            out.append(
                judge(
                    code, radio, None, limit, scenario=i.scenarios[seen.low], missing=(lacking,), items=(radio,), rank=k
                )
            )
            continue
        volts, name = found[k]
        items = tuple(dict.fromkeys((radio, name.removeprefix("the return of ").split("-P")[0])))
        out.append(
            judge(
                code, radio, volts, limit, scenario=i.scenarios[seen.low], note=f"with {name} {_word(kind)}", remedy=REMEDIES[kind],
                items=items if kind in (PAIR, RETURN) else (radio,), rank=k,
            )
        )  # fmt: skip
    return out


def _nothing_to_break(seen: Seen, kind: str) -> str:
    if seen.faults is None:
        return "an operating point without any fault"
    return {
        BOND: "a bond to open: the return is isolated",
        BYPASS: "a converter to bypass",
        BREAKER: "a breaker to open",
    }.get(kind, "a pair of a trunk or run to open")


def _spare_in_use(seen: Seen, code: str) -> list[Finding]:
    """A spare pair of the same trunk has the wire of the pair whose place it takes: the radio then sees what it saw before."""
    i = seen.i
    spare = dict(i.spares)
    out = []
    for k, radio in enumerate(i.radios):
        limit = seen.limits.in_force(code, seen.minimum(code, k))
        trunks = [item for item in seen.feeders[k] if item in spare]
        fine = bool(trunks) and all(spare[t] > 0 for t in trunks) and bool(seen.flow.exists[seen.low])
        lacking = (
            "an operating point"
            if trunks and not seen.flow.exists[seen.low]
            else f"a spare pair in {', '.join(trunks) or 'a trunk'}"
        )
        out.append(
            judge(
                code, radio, float(seen.flow.port_v[seen.low, k]) if fine else None, limit, scenario=i.scenarios[seen.low],
                missing=() if fine else (lacking,), note="a spare pair of the same trunk, of the same wire, in place of a broken one",
                remedy=REMEDIES[SPARE], items=(radio, *trunks), rank=k,
            )
        )  # fmt: skip
    return out


def _hunting(seen: Seen) -> list[Finding]:
    """Radios that drop while the plant still gives power, and would start again at once."""
    i, e = seen.i, seen.endurance
    if e is None or e.hunting is None:
        return []
    h = e.hunting
    out = []
    for k, radio in enumerate(i.radios):
        if not h.drops[k]:
            continue
        source = Source(f"part {i.radio_part[k]}", "restart_v", mark=Mark.INVENTED)
        limit = Limit("power.hunting", float(i.restart_v[k]), "V", Sense.AT_MOST, Authority.PART, source)
        out.append(
            judge(
                "power.hunting", radio, float(h.rebound_v[k]), seen.held(limit), scenario="",
                note=f"voltage at its terminals just after it dropped, at an emf of {h.emf_v[k]:.1f} V: from its restart voltage on it starts again and drops again",
                remedy="thicker or more pairs, or a radio with a higher restart voltage", items=(radio,), rank=k,
            )
        )  # fmt: skip
    return out


def _first_drop(seen: Seen) -> list[Figure]:
    i, e = seen.i, seen.endurance
    if e is None or e.first is None or int(e.first.radio) < 0:
        return []
    first = e.first
    k = int(first.radio)
    if k >= len(i.radios):
        return []
    emf = float(first.emf_v)
    when = (
        "before the plant's end of discharge"
        if emf > i.end_v
        else f"below the plant's end of discharge, {i.end_v:g} V: the plant goes first"
    )
    how = "reaches its cut-out" if str(first.kind) == "cut-out" else "has no operating point left"
    note = f"bus voltage at which it {how}, first of all radios, at an emf of {emf:.2f} V; {when}"
    return [
        Figure(
            "power.first-drop",
            i.radios[k],
            float(first.bus_v),
            "V",
            note,
            MODEL,
            i.scenarios[seen.low],
            (i.radios[k],),
            k,
        )
    ]


def _minutes(seen: Seen) -> list[Figure]:
    i, e = seen.i, seen.endurance
    if e is None or e.run is None:
        return []
    run, low = e.run, i.scenarios[seen.low]
    curve = i.battery.kind if i.battery is not None else ""
    words = "all radios at full power from a charged battery, " + (
        "emf in a straight line" if curve == "linear" else f"curve of {curve} cells from memory"
    )
    if e.assumed:
        words += "; " + "; ".join(e.assumed)
    ends = {
        "disconnect": "the plant disconnects",
        "empty": "the battery is empty",
        "idle": "nothing is left that draws",
        "collapse": "there is no operating point",
    }
    out = [
        Figure("power.battery-minutes", i.site, run.end_minutes, "min", f"until {ends[run.end]}; {words}", BATTERY, low),
        Figure(
            "power.unusable-energy", i.site, run.unusable_wh / 1000, "kWh",
            f"{100 * run.unusable_fraction:.1f} % of the battery, which the drop in the line keeps from the first radio that drops", BATTERY, low,
        ),
    ]  # fmt: skip
    if i.converter is None:
        for k in np.flatnonzero(hung(i)):
            note = (
                "until the end of the discharge"
                if run.to_the_end[k]
                else "until it drops out while the battery still has charge"
            )
            out.append(
                Figure(
                    "power.minutes-to-drop",
                    i.radios[k],
                    float(run.minutes[k]),
                    "min",
                    note,
                    BATTERY,
                    low,
                    (i.radios[k],),
                    int(k),
                )
            )
    return out


__all__ = ["CODES", "outage_figures", "outage_findings"]
