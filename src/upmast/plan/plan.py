"""
From a site and a catalogue to the best line by a stated objective that meets every hard limit.

Every system is given a bound that no line of it can beat; systems are searched in the order of their bounds until the next
bound is not below the best line found. So the result is the best there is, with no gap, unless the count of tries ran out;
then the gap is said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from upmast.catalogue.catalogue import Catalogue
from upmast.finding import Finding, Verdict
from upmast.line.build import build
from upmast.line.line import Item, Line
from upmast.number import number
from upmast.plan.cost import Cost, cost_of, hours, piece_cost, piece_mass_kg
from upmast.plan.options import Options
from upmast.plan.search import Searcher, Tried
from upmast.plan.sieve import Sieve, Sieved
from upmast.plan.system import System
from upmast.proof.limits import limits_of
from upmast.proof.prove import Proof, prove
from upmast.proof.scenarios import scenarios_of
from upmast.site.site import Site

UNITS = {"life-cost": "cost units", "capital": "cost units", "mass": "kg", "lead-time": "d"}
WORDS = {"life-cost": "life cost", "capital": "capital", "mass": "mass", "lead-time": "lead time"}
RANKED_TRIES = 24
TIE_FRACTION = 0.01  # a difference below this is said to be a tie
MOST_PROOFS_IN_VAIN = 150  # lines proven without one that passes: then the nearest is told


@dataclass(frozen=True, slots=True)
class Group:
    """A kind of line in the ranking: chosen, feasible but dearer, or left out with what it fails by."""

    name: str
    state: str  # chosen, feasible, fails, bound
    title: str
    systems: int
    value: float | None = None
    dearer: float | None = None
    code: str = ""
    subject: str = ""
    normalised: float | None = None
    words: str = ""
    least_cost: float = (
        0.0  # trunk, box and cheapest ways of its cheapest system: for comparing kinds, nothing is left out by it
    )


@dataclass(frozen=True)
class Plan:
    """The best line, or none; the ranking of all kinds of line; and how the search went."""

    objective: str
    best: Tried | None
    nearest: Tried | None
    groups: tuple[Group, ...]
    counted: int
    systems: int
    dominated: int
    sieved_out: int
    proofs: int
    gap: float
    exact: bool
    left_out: dict[str, int]
    rf_words: tuple[str, ...]
    why: str = ""

    @property
    def unit(self) -> str:
        return UNITS[self.objective]

    @property
    def value(self) -> float | None:
        return self.best.cost.of(self.objective) if self.best is not None else None


def plan(site: Site, catalogue: Catalogue, progress: Callable[[str, int, int], None] | None = None) -> Plan:
    """
    The best line of a site.

    Parameters
    ----------
    progress : told the step, how much is done and of how many.

    Raises
    ------
    InputFaults
        If the limits of the site contradict themselves.
    """
    tell = progress or (lambda step, done, of: None)
    measured = len(site.measured_loops)
    site = site.model_copy(update={"measured_loops": ()})  # of the line that stands, not of those that are looked at
    limits = limits_of(site)
    options = Options(site, catalogue)
    if measured:
        options.out("measured loops, which are of the line that stands", measured)
    tell("options", 0, 1)
    systems = list(options.systems())
    sieve = Sieve(site, catalogue, limits, scenarios_of(site))
    sieved: list[Sieved] = []
    for n, system in enumerate(systems):
        sieved.append(sieve.of(system))
        if n % 200 == 0:
            tell("bounds", n, len(systems))
    alive = [(s, v) for s, v in zip(systems, sieved, strict=True) if v.worst is None]
    rf, rf_words = _rf(site, catalogue, options, sieve, alive or list(zip(systems, sieved, strict=True)))
    searcher = Searcher(site, catalogue, rf, sieve)
    if alive:
        searcher.rest_value = _rest(site, catalogue, searcher, *alive[0])
    ordered = sorted(
        ((searcher.floor(s, v, searcher.slots(s, v)), s.cost, s.title(), i, s, v) for i, (s, v) in enumerate(alive)),
        key=lambda r: r[:4],
    )
    best: Tried | None = None
    exact = True
    outcomes: dict[str, tuple[float, System, object]] = {}
    lowest_open = float("inf")
    for done, (floor, _, _, _, system, view) in enumerate(ordered):
        value = best.cost.of(site.policy.objective) if best is not None else float("inf")
        if floor >= value - 1e-9:
            break
        if searcher.hopeless is not None:
            break
        if best is None and searcher.proofs > MOST_PROOFS_IN_VAIN:
            exact = False
            break
        tell("proofs", done, len(ordered))
        outcome = searcher.search(system, view, value)
        if not outcome.exact:
            exact = False
            lowest_open = min(lowest_open, outcome.bound)
        found = outcome.best
        if found is not None and (best is None or found.cost.of(site.policy.objective) < value):
            best = found
        known = outcomes.get(system.group)
        if known is None or (found is not None and not isinstance(known[2], Tried)):
            outcomes[system.group] = (floor, system, found or outcome.nearest or outcome.error)
    groups, nearest = _ranking(site, systems, sieved, ordered, searcher, best, outcomes, tell)
    if best is None and searcher.hopeless is not None:
        nearest = searcher.hopeless  # whatever is chosen, its RF paths are to be mended first
    elif best is None and nearest is None:
        nearest = _nearest(systems, sieved, searcher)
    gap = 0.0
    if best is not None and not exact:
        gap = max(0.0, best.cost.of(site.policy.objective) - lowest_open)
    why = ""
    if best is not None:
        why = _why(site, best, groups)
        best = _with_reasons(best, why, rf_words)
    return Plan(
        site.policy.objective, best, nearest, groups, options.counted, len(systems), options.dominated, len(systems) - len(alive),
        searcher.proofs, gap, exact, {k: v for k, v in options.left_out.items() if v}, rf_words, why,
    )  # fmt: skip


def _rf(
    site: Site, catalogue: Catalogue, options: Options, sieve: Sieve, systems: list[tuple[System, Sieved]]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """
    The RF jumper of each radio: the cheapest that passes the rooms rf and pim.

    RF paths share nothing with the way from the cabinet, so they are chosen for themselves; each radio's findings depend on
    its own jumper only.
    """
    lists = [options.rf_parts(radio) for radio in site.radios]
    at = [0] * len(lists)
    if not systems or not any(lists):
        return tuple(parts[0].id if parts else "" for parts in lists), ()
    words: dict[int, str] = {}
    previous: Proof | None = None
    system, view = systems[0]
    searcher = Searcher(site, catalogue, (), sieve)
    while True:
        searcher.rf = tuple(parts[at[k]].id if parts else "" for k, parts in enumerate(lists))
        picked = tuple(kept[0] if kept else 0 for kept in view.ways)
        if system.bussed_pairs:
            picked = (*picked, view.breakers[0] if view.breakers else 0)
        line = build(site, catalogue, searcher.choice(system, picked))
        previous = prove(site, line, previous, rooms=("rf", "pim"))
        moved = False
        for k, radio in enumerate(site.radios):
            bad = [
                f
                for f in previous.at()
                if f.verdict is Verdict.FAILS and (f.subject == radio.id or f.subject.startswith(f"{radio.id}-"))
            ]
            if bad and at[k] + 1 < len(lists[k]):
                words[k] = f"{radio.id}: {lists[k][at[k]].id} fails {bad[0].key}"
                at[k] += 1
                moved = True
        if not moved:
            break
    return searcher.rf, tuple(words.values())


def _rest(site: Site, catalogue: Catalogue, searcher: Searcher, system: System, view: Sieved) -> float:
    """
    What every line of the site has at least besides trunk, box and the ways to the radios: RF jumpers, optics, their hardware.

    In the unit of the objective; for lead time the longest of theirs.
    """
    slots = searcher.slots(system, view)
    line = build(site, catalogue, searcher.choice(system, tuple(rows[0][1] for rows in slots)))
    c, m, h, _ = searcher.weights()
    total = lead = 0.0
    fixed = {
        i.id for i in line.items if i.kind in ("rf-jumper", "feeder", "rf-inline", "control-cable", "radio", "antenna")
    }
    for item in line.items:
        total += c * sum(line.parts[optic].cost for _, optic in item.equipment)
        lead = max([lead, *(line.parts[optic].lead_time_d for _, optic in item.equipment)])
        if item.kind in ("rf-jumper", "feeder", "control-cable") or (item.on in fixed and item.kind != "cap"):
            part = line.parts[item.part]
            total += c * piece_cost(part, item.length_m, item.count) + m * piece_mass_kg(
                part, item.length_m, item.count
            )
            total += h * hours(item.kind, item.length_m, item.count)
            lead = max(lead, part.lead_time_d)
    return lead if site.policy.objective == "lead-time" else total


def _ranking(
    site: Site, systems: list[System], sieved: list[Sieved], ordered: list[tuple[float, float, str, int, System, Sieved]],
    searcher: Searcher, best: Tried | None, outcomes: dict[str, tuple[float, System, object]], tell: Callable[[str, int, int], None],
) -> tuple[tuple[Group, ...], Tried | None]:  # fmt: skip
    """Each kind of line with its best, or with what stops it."""
    objective = site.policy.objective
    value = best.cost.of(objective) if best is not None else None
    names = list(dict.fromkeys(s.group for s in systems))
    out: list[Group] = []
    nearest: Tried | None = None
    for n, name in enumerate(names):
        tell("ranking", n, len(names))
        mine = [(s, v) for s, v in zip(systems, sieved, strict=True) if s.group == name]
        if best is not None and _group_of(best, mine):
            out.append(Group(name, "chosen", best.choice.words, len(mine), value, 0.0))
            continue
        rows = [row for row in ordered if row[4].group == name]
        if not rows:
            title, (code, subject, margin) = max(
                ((s.title(), v.worst) for s, v in mine if v.worst is not None), key=lambda r: r[1][2]
            )
            out.append(
                Group(
                    name,
                    "fails",
                    title,
                    len(mine),
                    code=code,
                    subject=subject,
                    normalised=margin,
                    words=_short(code, subject, margin),
                )
            )
            continue
        found: object = outcomes.get(name, (0.0, None, None))[2]
        if not isinstance(found, Tried) or found.fails:
            found = None
            for floor, _, _, _, system, view in rows[:3] if best is not None else rows[:1]:
                outcome = searcher.search(system, view, most=RANKED_TRIES if best is not None else 2)
                if outcome.best is not None:
                    found = outcome.best
                    break
                if outcome.nearest is not None and (
                    not isinstance(found, Tried) or _worst(outcome.nearest) > _worst(found)
                ):
                    found = outcome.nearest
                if found is None:
                    found = outcome.error or floor
        if isinstance(found, Tried) and not found.fails:
            amount = found.cost.of(objective)
            out.append(
                Group(
                    name,
                    "feasible",
                    found.choice.words,
                    len(mine),
                    amount,
                    amount - value if value is not None else None,
                )
            )
        elif isinstance(found, Tried):
            failing = min(found.fails, key=lambda f: f.normalised_margin if f.normalised_margin is not None else -1.0)
            share = failing.normalised_margin if failing.normalised_margin is not None else -1.0
            out.append(
                Group(
                    name,
                    "fails",
                    found.choice.words,
                    len(mine),
                    code=failing.code,
                    subject=failing.subject,
                    normalised=share,
                    words=_said(failing),
                )
            )
            if best is None and (nearest is None or _worst(found) > _worst(nearest)):
                nearest = found
        else:
            floor = rows[0][0]
            dearer = floor - value if value is not None else None
            out.append(
                Group(
                    name,
                    "bound",
                    rows[0][2],
                    len(mine),
                    floor,
                    dearer,
                    words=str(found) if isinstance(found, str) else "",
                )
            )
    least: dict[str, float] = {}
    for s in systems:
        least[s.group] = min(least.get(s.group, float("inf")), _least_cost(s))
    out = [replace(g, least_cost=least[g.name]) for g in out]
    order = {"chosen": 0, "feasible": 1, "bound": 2, "fails": 3}
    out.sort(key=lambda g: (order[g.state], g.value if g.value is not None else 0.0, -(g.normalised or 0.0), g.name))
    return tuple(out), nearest


def _nearest(systems: list[System], sieved: list[Sieved], searcher: Searcher) -> Tried | None:
    """Where bounds stop every system: the one stopped by the least, built and proven, so that its proof says what to change."""

    def copper(s: System) -> float:
        return s.area_mm2 * s.trunk.pairs_count * s.trunks if s.trunk is not None else 0.0

    rows = [(v.worst[2], copper(s), s, v) for s, v in zip(systems, sieved, strict=True) if v.worst is not None]
    for _, _, system, view in sorted(rows, key=lambda row: row[:2], reverse=True)[:3]:
        tried = searcher.tried(system, view.nearest)
        if tried is not None and tried.fails:
            return tried
    return None


def _group_of(best: Tried, mine: list[tuple[System, Sieved]]) -> bool:
    c = best.choice
    return any(
        s.form == c.form
        and (
            s.trunk is None
            or (
                s.trunk.id == c.trunk
                and s.trunks == c.trunks
                and s.pairs_each == c.pairs_each
                and s.box is not None
                and s.box.id == c.box
            )
        )
        for s, _ in mine
    )


def _worst(tried: Tried) -> float:
    return min((f.normalised_margin if f.normalised_margin is not None else -1.0 for f in tried.fails), default=0.0)


def _short(code: str, subject: str, share: float) -> str:
    """`power.voltage-at-radio@C3, 4.1 % short of its limit`."""
    if share <= -1.0 + 1e-9:
        return f"{code}@{subject}: no operating point"
    return f"{code}@{subject}, {-100 * share:.1f} % beyond its limit"


def _said(finding: Finding) -> str:
    """`power.voltage-at-radio@C3, -0.04 V`; without a value, why."""
    if finding.margin is None:
        return f"{finding.key}: {finding.note}"
    return f"{finding.key}, {number(finding.margin, finding.unit, signed=True)}"


def _least_cost(system: System) -> float:
    """Price of trunk and box with the cheapest way to each radio."""
    pairs = system.bussed_pairs * system.trunks
    breakers = pairs * min((b.cost for b in system.pair_breakers), default=0.0)
    return system.cost + breakers + sum(min((w.cost for w in ways), default=0.0) for ways in system.ways)


def _why(site: Site, best: Tried, groups: tuple[Group, ...]) -> str:
    """Why this kind of line: its value, the nearest kind that fails, and what the next one costs more."""
    unit, objective = UNITS[site.policy.objective], site.policy.objective
    chosen = next((g for g in groups if g.state == "chosen"), None)
    dearer = [g for g in groups if g.state in ("feasible", "bound") and g.dearer is not None]
    why = f"lowest {WORDS[objective]}, {number(best.cost.of(objective), unit)}, of all lines that pass"
    cheaper = [g for g in groups if g.state == "fails" and chosen is not None and g.least_cost < chosen.least_cost]
    if cheaper:
        alike = [g for g in cheaper if chosen is not None and g.name.split(" of ")[0] == chosen.name.split(" of ")[0]]
        following = max(alike or cheaper, key=lambda g: (g.least_cost, g.name))
        why += f"; the next kind with cheaper parts, {following.name}, fails: {following.words}"
    if dearer:
        second = min(dearer, key=lambda g: g.dearer or 0.0)
        why += f"; next: {second.name}, {number(second.dearer, unit)} more"
        if (second.dearer or 0.0) < TIE_FRACTION * best.cost.of(objective):
            why += ", a tie unless the prices are sure"
    return why


def _with_reasons(best: Tried, why: str, rf_words: tuple[str, ...]) -> Tried:
    """The same line, each choice with its reason."""
    part = best.line.parts.get(best.choice.trunk)
    tightest = _tightest(best.proof)
    items: list[Item] = []
    for item in best.line.items:
        reason = item.reason
        if item.kind == "trunk" and part is not None:
            reason = why
        elif item.kind in ("dc-jumper", "hybrid-jumper", "dc-cable") and item.serves:
            margin = tightest.get(item.serves[0])
            reason = (
                (reason + "; " if reason else "")
                + "least that passes"
                + (f": {item.serves[0]} keeps {number(margin, 'V')} above its limit" if margin is not None else "")
            )
        elif item.kind == "breaker":
            reason = "smallest rating above the design current that the copper bears"
        elif item.kind == "box":
            reason = "cheapest with enough outputs, strands and rating"
        elif item.kind in ("rf-jumper", "feeder"):
            tried = [w for w in rf_words if item.serves and w.startswith(f"{item.serves[0]}:")]
            reason = (reason + "; " if reason else "") + (
                f"cheapest that passes; {tried[0]}" if tried else "cheapest that fits"
            )
        items.append(replace(item, reason=reason[:400]))
    line = replace(best.line, items=tuple(items))
    return replace(best, line=line, proof=replace(best.proof, line=line))


def _tightest(proof: Proof) -> dict[str, float]:
    return {f.subject: f.margin for f in proof.at() if f.code == "power.voltage-at-radio" and f.margin is not None}


def cost_of_line(site: Site, line: Line, proof: Proof) -> Cost:
    """The cost of any proven line."""
    energy = next((f.value for f in proof.figures if f.code == "power.energy"), 0.0)
    return cost_of(site, line, energy)


def advice(nearest: Tried) -> tuple[Finding, ...]:
    """What to change if nothing fits: the failing findings of the nearest line, the worst first, each with its remedy."""
    return tuple(sorted(nearest.fails, key=lambda f: f.normalised_margin if f.normalised_margin is not None else -1.0))
