"""
Branch and bound over the ways of one system: the cheapest combination that the proof accepts.

A combination is one way for each radio (and one breaker for bussed pairs). Its bound is the sum of what each part costs at
least; combinations are tried in the order of their bounds, and each is judged by the same proof as any line. Where a proof
fails at one radio, the way is tried with all others at their best: if it fails even so, no combination with it can work, since
better neighbours only raise the voltage of the plant. So the first that passes is the cheapest of its system by bound.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field

from upmast.catalogue.catalogue import Catalogue
from upmast.errors import MateError, UsageError
from upmast.finding import Finding, Verdict
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice, shares
from upmast.line.line import Line
from upmast.plan.cost import Cost, cost_of, worth_years
from upmast.plan.options import System, Way
from upmast.plan.sieve import Sieve, Sieved
from upmast.proof.prove import Proof, prove
from upmast.site.site import Site

MOST_TRIES = 60  # proofs of one system
MOST_LOOKED = 4000  # combinations of one system
TIE = 1e-9  # lead times are equal so often that price breaks the tie
OWN_CODES = ("power.voltage-at-radio", "power.design-current", "power.breaker-protects-pair", "power.contact-current")


@dataclass(frozen=True)
class Tried:
    """One combination that was built and proven."""

    choice: Choice
    line: Line
    proof: Proof
    cost: Cost
    fails: tuple[Finding, ...]


@dataclass
class Outcome:
    """What the search of one system found: the best that passes, or the nearest that fails; and whether that is proven."""

    best: Tried | None = None
    nearest: Tried | None = None
    error: str = ""
    proofs: int = 0
    exact: bool = True
    bound: float = 0.0


@dataclass
class Searcher:
    """Searches systems of one site, keeping rooms of earlier proofs that saw the same."""

    site: Site
    catalogue: Catalogue
    rf: tuple[str, ...]
    sieve: Sieve
    rest_value: float = 0.0  # what every line of the site has at least besides the system and its ways
    previous: Proof | None = None
    proofs: int = 0
    on_proof: Callable[[], None] = field(default=lambda: None)

    def weights(self) -> tuple[float, float, float, float]:
        """Weights of cost, mass, labour hours and yearly kWh in the objective (lead time is taken as the highest)."""
        policy = self.site.policy
        if policy.objective == "mass":
            return 0.0, 1.0, 0.0, 0.0
        if policy.objective == "capital":
            return 1.0, 0.0, 0.0, 0.0
        if policy.objective == "lead-time":
            return 0.0, 0.0, 0.0, 0.0
        return (
            1.0,
            0.0,
            policy.labour_cost_per_h,
            worth_years(policy) * policy.price_cost_per_kwh / policy.rectifier_fraction,
        )

    def slots(self, system: System, sieved: Sieved) -> list[list[tuple[float, int]]]:
        """For each radio (and the pair breaker) the options that may work, with the least that each adds, cheapest first."""
        c, m, h, e = self.weights()
        out: list[list[tuple[float, int]]] = []
        for ways, kept, energy in zip(system.ways, sieved.ways, sieved.energy_kwh, strict=True):
            rows = [
                (c * ways[n].cost + m * ways[n].mass_kg + h * ways[n].labour_h + e * float(energy[n]), n) for n in kept
            ]
            out.append(_chain(sorted(rows, key=lambda r: (r[0], ways[r[1]].cost, r[1])), ways))
        if system.bussed_pairs:
            count = system.bussed_pairs * system.trunks
            price = [(c * count * system.pair_breakers[n].cost, n) for n in sieved.breakers]
            out.append(sorted(price))
        return out

    def floor(self, system: System, sieved: Sieved, slots: list[list[tuple[float, int]]]) -> float:
        """The least that any line of a system comes to."""
        c, m, h, e = self.weights()
        if self.site.policy.objective == "lead-time":
            leads = [
                min(system.ways[k][n].lead_time_d for _, n in rows) for k, rows in enumerate(slots[: len(system.ways)])
            ]
            return max([system.lead_time_d, *leads])
        own = c * system.cost + m * system.mass_kg + h * system.labour_h + e * sieved.common_kwh
        if self.site.policy.objective == "life-cost":
            cables = system.cables if system.form == "hybrid" else len(system.ways)
            own += worth_years(self.site.policy) * self.site.policy.rent_cost_per_year * cables
        return own + self.rest_value + sum(rows[0][0] for rows in slots)

    def choice(self, system: System, picked: tuple[int, ...]) -> Choice:
        """The choice of a combination."""
        ways = [system.ways[k][n] for k, n in enumerate(picked[: len(system.ways)])]
        radios = tuple(
            RadioChoice(w.breaker.id if w.breaker else "", w.dc.id, w.fibre.id if w.fibre else "", rf)
            for w, rf in zip(ways, self.rf, strict=True)
        )
        return Choice(
            system.form,
            radios,
            system.trunk.id if system.trunk else "",
            max(system.trunks, 1),
            system.box.id if system.box else "",
            system.pairs_each,
            system.pair_breakers[picked[-1]].id if system.bussed_pairs else "",
            system.fanout.id if system.fanout else "",
        )

    def search(
        self, system: System, sieved: Sieved, stop_above: float = float("inf"), most: int = MOST_TRIES
    ) -> Outcome:
        """The cheapest combination that passes, if its bound does not exceed `stop_above`."""
        slots = self.slots(system, sieved)
        outcome = Outcome()
        if not all(slots):
            return outcome
        base = self.floor(system, sieved, slots) - sum(rows[0][0] for rows in slots)
        if self.site.policy.objective == "lead-time":
            base = self.floor(system, sieved, slots)
        dead: set[tuple[int, int]] = set()  # (slot, option) that can't work
        alike = self._alike(system)
        start = tuple(0 for _ in slots)
        seen: set[tuple[int, ...]] = {start}
        heap = [(base + sum(rows[0][0] for rows in slots), start)]
        asked_best = False
        looked = 0
        while heap:
            bound, at = heapq.heappop(heap)
            outcome.bound = bound
            looked += 1
            if bound >= stop_above - 1e-9:
                return outcome
            picked = tuple(slots[k][n][1] for k, n in enumerate(at))
            broken = [k for k, n in enumerate(picked) if (k, n) in dead]
            if not broken and not self.sieve.misses(system, picked):
                if outcome.proofs >= most or looked > MOST_LOOKED:
                    outcome.exact = False
                    return outcome
                tried = self._try(system, picked, outcome)
                if tried is None:
                    return outcome
                if not tried.fails:
                    outcome.best = tried
                    return outcome
                if outcome.nearest is None or _miss(tried) > _miss(outcome.nearest):
                    outcome.nearest = tried
                broken = self._blame(system, slots, picked, tried, dead, outcome)
                if not broken and not asked_best:
                    asked_best = True
                    if not self._best_passes_rest(system, slots, tried, outcome):
                        return outcome
            for k in broken[:1] or range(len(slots)):
                if at[k] + 1 < len(slots[k]):
                    following = (*at[:k], at[k] + 1, *at[k + 1 :])
                    if following not in seen and all(following[i] >= following[j] for i, j in alike):
                        seen.add(following)
                        step = slots[k][at[k] + 1][0] - slots[k][at[k]][0]
                        heapq.heappush(heap, (bound + step, following))
        return outcome

    def _alike(self, system: System) -> list[tuple[int, int]]:
        """Pairs of neighbouring radios that are alike and on one trunk: of their combinations only the ordered ones are tried."""
        out = []
        last: dict[tuple[object, ...], int] = {}
        for g, group in enumerate(shares(len(self.site.radios), max(system.trunks, 1))):
            for k in group:
                r = self.site.radios[k]
                key = (
                    g,
                    r.part,
                    r.maximum_w,
                    r.minimum_v,
                    self.site.box_run_m(r),
                    r.height_m,
                    r.fibre.links_count,
                    r.fibre.standby_count,
                    r.fibre.optic,
                )
                if key in last:
                    out.append((last[key], k))
                last[key] = k
        return out

    def _try(self, system: System, picked: tuple[int, ...], outcome: Outcome) -> Tried | None:
        """Build and prove; the power room first, since most lines fail there."""
        choice = self.choice(system, picked)
        try:
            line = build(self.site, self.catalogue, choice)
        except (UsageError, MateError) as error:
            outcome.error = str(error)
            return None
        outcome.proofs += 1
        self.proofs += 1
        self.on_proof()
        proof = prove(self.site, line, self.previous, rooms=("power",))
        fails = tuple(f for f in proof.at() if f.verdict is Verdict.FAILS)
        if not fails:
            before = self.previous
            proof = prove(self.site, line, _with(before, proof))
            fails = tuple(f for f in proof.at() if f.verdict is Verdict.FAILS)
            self.previous = proof
        energy = next((f.value for f in proof.figures if f.code == "power.energy"), 0.0)
        return Tried(choice, line, proof, cost_of(self.site, line, energy), fails)

    def _blame(
        self, system: System, slots: list[list[tuple[float, int]]], picked: tuple[int, ...], tried: Tried, dead: set[tuple[int, int]], outcome: Outcome
    ) -> list[int]:  # fmt: skip
        """Ways that fail even with all others at their best: dead for every combination. Gives the slots found so."""
        out = []
        for k in self._suspects(system, tried):
            option = picked[k]
            best = tuple(option if j == k else self._strongest(system, j, rows) for j, rows in enumerate(slots))
            if best != picked:
                again = self._try(system, best, outcome)
                if again is None or k not in self._suspects(system, again):
                    continue
            dead.add((k, option))
            out.append(k)
        return out

    def _suspects(self, system: System, tried: Tried) -> list[int]:
        """Slots that a failing finding of the power room is about."""
        ids = [radio.id for radio in self.site.radios]
        out: set[int] = set()
        for finding in tried.fails:
            if finding.code not in OWN_CODES:
                continue
            head = finding.subject if finding.subject in ids else finding.subject.rsplit("-", 1)[0]
            if head in ids:
                out.add(ids.index(head))
            elif system.bussed_pairs:
                out.add(len(ids))
        return sorted(out)

    def _strongest(self, system: System, slot: int, rows: list[tuple[float, int]]) -> int:
        """The option with the most copper, and of those the largest breaker that the sieve left."""
        if slot == len(system.ways):
            return max((n for _, n in rows), key=lambda n: system.pair_breakers[n].rated_a)
        ways = system.ways[slot]
        return max(
            (n for _, n in rows),
            key=lambda n: (ways[n].dc.conductor_area_mm2 or 0.0, b.rated_a if (b := ways[n].breaker) else 0.0),
        )

    def _best_passes_rest(
        self, system: System, slots: list[list[tuple[float, int]]], tried: Tried, outcome: Outcome
    ) -> bool:
        """Whether what failed, and is no radio's own, goes away with every radio at its best. If not, no combination passes."""
        best = tuple(self._strongest(system, j, rows) for j, rows in enumerate(slots))
        again = self._try(system, best, outcome)
        if again is None:
            return False
        own = {f.code for f in tried.fails if f.code not in OWN_CODES and f.code.startswith("power.")}
        others = {f.code for f in tried.fails if not f.code.startswith("power.")}
        still = {f.code for f in again.fails}
        if others and not (others - still):
            return False
        return not own or bool(own - still)


def _chain(rows: list[tuple[float, int]], ways: tuple[Way, ...]) -> list[tuple[float, int]]:
    """
    Options of one radio, cheapest first, without those that a cheaper one with as much copper and the same breaker beats.

    More copper only raises voltages and lowers currents; ends and contacts of the ways are the same.
    """
    out: list[tuple[float, int]] = []
    for value, n in rows:
        w = ways[n]
        same = [ways[m] for _, m in out if _breaker_of(ways[m]) == _breaker_of(w)]
        if not any(
            _copper_of(o) >= _copper_of(w) and o.dc.dc_foot == w.dc.dc_foot and o.dc.dc_head == w.dc.dc_head
            for o in same
        ):
            out.append((value, n))
    return out


def _breaker_of(way: Way) -> str:
    return way.breaker.id if way.breaker is not None else ""


def _copper_of(way: Way) -> tuple[float, bool]:
    """Copper of a way: more section of the same insulation over the same length is better in every electrical limit."""
    return ((way.dc.conductor_area_mm2 or 0.0) / way.dc_length_m, way.dc.insulation == "xlpe")


def _with(before: Proof | None, power: Proof) -> Proof:
    """A proof to reuse from: the power room just proven, the others as they were."""
    rooms = dict(before.rooms) if before is not None else {}
    rooms.update(power.rooms)
    return Proof(power.site, power.line, power.scenarios, power.limits, rooms)


def _miss(tried: Tried) -> float:
    """How near a failing line comes: its worst normalised margin, -1 where a finding has none."""
    return min((f.normalised_margin if f.normalised_margin is not None else -1.0 for f in tried.fails), default=0.0)


__all__ = ["Outcome", "Searcher", "Tried"]
