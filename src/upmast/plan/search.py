"""
Branch and bound over the ways of one system: the cheapest combination that the proof accepts.

A combination is one way for each radio (and one breaker for bussed pairs). Its bound is the sum of what each part costs at
least; combinations are looked at in the order of their bounds, and each that no bound stops is judged by the same proof as any
line. Where a proof fails at one radio, the way is tried with all others at their best: if it fails even so, no combination
with it can work, since better neighbours only raise the voltage of the plant. The search of a system ends when the next bound
is not below the best line found.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from upmast.catalogue.catalogue import Catalogue
from upmast.errors import MateError, UsageError
from upmast.finding import Finding, Verdict
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice, shares
from upmast.line.line import Line
from upmast.plan.bound import Bounds, Slots, id_of
from upmast.plan.cost import Cost, cost_of
from upmast.plan.sieve import Sieve, Sieved
from upmast.plan.system import System
from upmast.proof.prove import Proof, prove
from upmast.site.site import Site

MOST_TRIES = 60  # proofs of one system
MOST_LOOKED = 30_000  # combinations of one system
MOST_LOOKED_ALL = 150_000  # combinations of all systems of a site
LOOKED_FOR_PRICE = 2_000  # combinations of one system, where the price only breaks a tie of lead times
PROOFS_FOR_PRICE = 4
MOST_RAISED = 40  # rounds in which breakers that are too small are raised
BATCH = 128  # combinations that the sieve judges at once
TIE = 1e-9
# findings that get better with every copper and every breaker that takes more
BETTER_WITH_COPPER = (
    "power.voltage-at-radio", "power.operating-point", "power.pair-open-voltage", "power.contact-current",
    "power.box-output-current", "power.box-total-current", "power.power-at-radio", "power.converter-power",
)  # fmt: skip
OWN_CODES = (
    "power.voltage-at-radio", "power.design-current", "power.breaker-protects-pair", "power.contact-current",
    "power.conventional-current", "power.fault-withstand", "power.inrush",
)  # fmt: skip


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
    other_rooms: bool = False  # a combination failed at a radio by another room than power


@dataclass
class Searcher(Bounds):
    """Searches systems of one site, keeping rooms of earlier proofs that saw the same."""

    site: Site
    catalogue: Catalogue
    rf: tuple[str, ...]
    sieve: Sieve
    rest_value: float = 0.0  # what every line of the site has at least besides the system and its ways
    previous: Proof | None = None
    proofs: int = 0
    looked: int = 0
    hopeless: Tried | None = None  # a line whose RF paths fail: they are the same in every line
    on_proof: Callable[[], None] = field(default=lambda: None)
    _slots: dict[tuple[int, float, bool], tuple[Sieved, Slots]] = field(default_factory=dict)

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
        """The best combination that passes, if its bound does not reach `stop_above`."""
        outcome = self._search_ways(system, sieved, stop_above, most, False)
        if outcome.other_rooms and self.hopeless is None:  # what was left out for having no more copper might pass them
            proofs = outcome.proofs
            outcome = self._search_ways(system, sieved, stop_above, most, True)
            outcome.proofs += proofs
        return outcome

    def _search_ways(self, system: System, sieved: Sieved, stop_above: float, most: int, fine: bool) -> Outcome:
        outcome = Outcome()
        if self.site.policy.objective != "lead-time":
            shared = self.weights()[3] * sieved.common_kwh
            self._search(system, self.slots(system, sieved, fine=fine), shared, stop_above, most, outcome)
            return outcome
        leads = {w.lead_time_d for ways in system.ways for w in ways} | {b.lead_time_d for b in system.pair_breakers}
        least = max(system.lead_time_d, self.rest_value)
        for level in sorted({max(lead, least) for lead in leads}):
            slots = self.slots(system, sieved, level, fine)
            outcome.bound = level
            if level >= stop_above - TIE or outcome.best is not None or not outcome.exact:
                break
            if all(slots):
                self._search(system, slots, 0.0, float("inf"), most, outcome)
        return outcome

    def _search(
        self, system: System, slots: Slots, shared: float, stop_above: float, most: int, outcome: Outcome
    ) -> None:  # fmt: skip
        """Looks through the combinations of some slots in the order of their bounds; `shared` is what all of them add."""
        if not all(slots):
            return
        objective = self.site.policy.objective
        timely = objective == "lead-time"
        base = self.base(system)
        top = tuple(self._strongest(system, k, rows) for k, rows in enumerate(slots))
        first = self._try(system, top, outcome)
        if first is None:
            return
        if first.fails:
            outcome.nearest = first
            if self.hopeless is not None or any(f.code in BETTER_WITH_COPPER for f in first.fails):
                return  # nothing of this system is better
        else:
            outcome.best = first
        extra = self.extra(system, top, base, first.cost)
        alike = self._alike(system)
        before = {j: i for i, j in alike}
        dead = self._dead(system, slots, top)
        start = tuple(0 for _ in slots)
        seen: set[tuple[int, ...]] = {start}
        least = base + shared + sum(rows[0][0] for rows in slots)
        # bound, whether the energy in it is that of the combination, combination, bound by its ways alone
        heap = [(least, False, start, least)]
        missed: dict[tuple[int, ...], bool] = {}
        asked_best = False
        looked = 0
        while heap:
            bound, exact, at, raw = heapq.heappop(heap)
            known = self._value(outcome.best) if outcome.best is not None else float("inf")
            if not timely:
                outcome.bound = bound + extra
            if bound + extra >= min(stop_above, known) - TIE:
                break
            looked += 1
            self.looked += 1
            if timely and outcome.best is not None:
                if looked > LOOKED_FOR_PRICE or outcome.proofs > PROOFS_FOR_PRICE:
                    break
            elif outcome.proofs >= most or looked > MOST_LOOKED or self.looked > MOST_LOOKED_ALL:
                outcome.exact = False
                break
            picked = tuple(slots[k][n][1] for k, n in enumerate(at))
            broken = [k for k, n in enumerate(picked) if (k, n) in dead]
            if not broken and not exact:
                if at not in missed:
                    some = [at, *(row[2] for row in heap[: BATCH - 1] if not row[1] and row[2] not in missed)]
                    chosen = np.array([[slots[k][n][1] for k, n in enumerate(one)] for one in some], np.intp)
                    found = self.sieve.missed(system, chosen)
                    missed.update((one, bool(row.any())) for one, row in zip(some, found, strict=True))
                if not missed.pop(at):
                    better = self.refined(system, picked, base)
                    if better > bound + TIE:
                        heapq.heappush(heap, (better, True, at, raw))
                        continue
                    exact = True
            if exact and not broken:
                tried = self._try(system, picked, outcome)
                if tried is None:
                    return
                if not tried.fails:
                    if outcome.best is None or self._value(tried) < known - TIE:
                        outcome.best = tried
                else:
                    if outcome.nearest is None or _miss(tried) > _miss(outcome.nearest):
                        outcome.nearest = tried
                    broken = self._blame(system, slots, picked, tried, dead, outcome)
                    if not broken and not asked_best and outcome.best is None:
                        asked_best = True
                        if not self._best_passes_rest(first, tried, outcome):
                            return
            for k in broken[:1] or range(len(slots)):
                n = at[k] + 1
                if n < len(slots[k]) and (k not in before or at[before[k]] >= n):
                    following = (*at[:k], n, *at[k + 1 :])
                    if following not in seen:
                        seen.add(following)
                        total = raw + slots[k][n][0] - slots[k][n - 1][0]
                        heapq.heappush(heap, (total, False, following, total))
        if objective == "mass" and outcome.best is not None and self._value(outcome.best) < stop_above - TIE:
            self._cheaper(system, outcome)

    def _value(self, tried: Tried) -> float:
        """What a search orders lines by: the objective, and within one lead time the price."""
        objective = self.site.policy.objective
        return tried.cost.of("capital" if objective == "lead-time" else objective)

    def _cheaper(self, system: System, outcome: Outcome) -> None:
        """Breakers weigh nothing on the mast: of lines of equal mass, one with the smallest breakers that pass."""
        best = outcome.best
        if best is None or system.bussed_pairs:
            return
        rising = []
        for ways, kept, chosen in zip(system.ways, self.sieve.of(system).ways, best.choice.radios, strict=True):
            same = [n for n in kept if (ways[n].dc.id, id_of(ways[n].fibre)) == (chosen.dc, chosen.fibre)]
            rising.append(sorted(same, key=lambda n: (ways[n].cost, n)))
        at = [0] * len(rising)
        for _ in range(MOST_RAISED):
            picked = tuple(same[n] for same, n in zip(rising, at, strict=True))
            missed = self.sieve.missed(system, np.array([picked], np.intp))[0]
            raised = [k for k, miss in enumerate(missed) if miss]
            if not raised:
                tried = self._try(system, picked, outcome)
                if tried is None:
                    return
                if not tried.fails:
                    if tried.cost.mass_kg <= best.cost.mass_kg + TIE:
                        outcome.best = tried
                    return
                raised = self._suspects(system, tried)
            if not raised:
                return
            for k in raised:
                at[k] += 1
                if at[k] == len(rising[k]):
                    return

    def _dead(self, system: System, slots: Slots, best: tuple[int, ...]) -> set[tuple[int, int]]:
        """Options that no proof can pass even with all others at their best."""
        asked = [(k, n) for k, rows in enumerate(slots) for _, n in rows]
        some = np.array([(*best[:k], n, *best[k + 1 :]) for k, n in asked], np.intp)
        missed = self.sieve.missed(system, some)
        return {(k, n) for row, (k, n) in enumerate(asked) if missed[row, k]}

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

    def tried(self, system: System, picked: tuple[int, ...]) -> Tried | None:
        """One combination, built and proven; None if it can't be built."""
        return self._try(system, picked, Outcome())

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
        outcome.other_rooms |= any(f.room != "power" for f in fails)
        energy = next((f.value for f in proof.figures if f.code == "power.energy"), 0.0)
        tried = Tried(choice, line, proof, cost_of(self.site, line, energy), fails)
        if self.hopeless is None and any(f.room in ("rf", "pim") for f in fails):
            self.hopeless = tried
        return tried

    def _blame(
        self, system: System, slots: Slots, picked: tuple[int, ...], tried: Tried, dead: set[tuple[int, int]], outcome: Outcome
    ) -> list[int]:  # fmt: skip
        """Ways that fail even with all others at their best: dead for every combination. Gives the slots found so."""
        out = []
        same = self._classes(system)
        for k in self._suspects(system, tried):
            option = picked[k]
            best = tuple(option if j == k else self._strongest(system, j, rows) for j, rows in enumerate(slots))
            if best != picked:
                again = self._try(system, best, outcome)
                if again is None or k not in self._suspects(system, again):
                    continue
            dead |= {(j, option) for j in same.get(k, [k])}
            out.append(k)
        return out

    def _classes(self, system: System) -> dict[int, list[int]]:
        """Radios that are alike, by each of them."""
        out = {k: [k] for k in range(len(self.site.radios))}
        for i, j in self._alike(system):
            out[i].append(j)
            out[j] = out[i]
        return out

    def _suspects(self, system: System, tried: Tried) -> list[int]:
        """Slots that a failing finding is about; outside the power room it depends on the radio's own way alone."""
        ids = [radio.id for radio in self.site.radios]
        out: set[int] = set()
        for finding in tried.fails:
            if finding.code not in OWN_CODES and finding.room == "power":
                continue
            head = finding.subject if finding.subject in ids else finding.subject.rsplit("-", 1)[0]
            if head in ids:
                out.add(ids.index(head))
            elif system.bussed_pairs and finding.room == "power":
                out.add(len(ids))
        return sorted(out)

    def _strongest(self, system: System, slot: int, rows: list[tuple[float, int]]) -> int:
        """The option with the lowest resistance: the best for all other radios."""
        if slot == len(system.ways):
            return max((n for _, n in rows), key=lambda n: system.pair_breakers[n].rated_a)
        loop = self.sieve.loop_ohm(system)[slot]
        return min((n for _, n in rows), key=lambda n: float(loop[n]))

    def _best_passes_rest(self, first: Tried, tried: Tried, outcome: Outcome) -> bool:
        """Whether what failed, and is no radio's own, goes away with every radio at its best. If not, no combination passes."""
        rest = {f.key for f in tried.fails if f.code not in OWN_CODES}
        still = {f.key for f in first.fails}
        if not rest or rest - still:
            return True
        # the power room gets better with every copper; what stands at the site as a whole might yet with less
        if any(not key.startswith("power.") and key.endswith(f"@{self.site.id}") for key in rest):
            outcome.exact = False
        return False


def _with(before: Proof | None, power: Proof) -> Proof:
    """A proof to reuse from: the power room just proven, the others as they were."""
    rooms = dict(before.rooms) if before is not None else {}
    rooms.update(power.rooms)
    return Proof(power.site, power.line, power.scenarios, power.limits, rooms)


def _miss(tried: Tried) -> float:
    """How near a failing line comes: its worst normalised margin, -1 where a finding has none."""
    return min((f.normalised_margin if f.normalised_margin is not None else -1.0 for f in tried.fails), default=0.0)


__all__ = ["Outcome", "Searcher", "Tried"]
