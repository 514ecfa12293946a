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
from functools import lru_cache
from typing import Literal

from upmast.catalogue.catalogue import Catalogue
from upmast.errors import MateError, UsageError
from upmast.finding import Finding, Verdict
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice, shares
from upmast.line.line import Line
from upmast.plan.cost import Cost, cost_of, hours, worth_years
from upmast.plan.options import System, Way, way_quality
from upmast.plan.sieve import Sieve, Sieved
from upmast.power.resistance import conductor_ohm_per_km
from upmast.proof.prove import Proof, prove
from upmast.site.site import Site

MOST_TRIES = 60  # proofs of one system
MOST_LOOKED = 4000  # combinations of one system
MOST_LOOKED_ALL = 40_000  # combinations of all systems of a site
TIE = 1e-9
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
    other_rooms: bool = False  # a combination failed at a radio by another room than power


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
    looked: int = 0
    on_proof: Callable[[], None] = field(default=lambda: None)

    def weights(self) -> tuple[float, float, float, float]:
        """Weights of cost, mass, labour hours and yearly kWh; for lead time those of its tie-break, the price."""
        policy = self.site.policy
        if policy.objective == "mass":
            return 0.0, 1.0, 0.0, 0.0
        if policy.objective in ("capital", "lead-time"):
            return 1.0, 0.0, 0.0, 0.0
        return (
            1.0,
            0.0,
            policy.labour_cost_per_h,
            worth_years(policy) * policy.price_cost_per_kwh / policy.rectifier_fraction,
        )

    def slots(self, system: System, sieved: Sieved, most_d: float = float("inf"), fine: bool = False) -> list[list[tuple[float, int]]]:  # fmt: skip
        """For each radio (and the pair breaker) the options that may work and come in time, with what each adds, cheapest first. `fine`: see `_chain`."""
        c, m, h, e = self.weights()
        out: list[list[tuple[float, int]]] = []
        for ways, kept, energy in zip(system.ways, sieved.ways, sieved.energy_kwh, strict=True):
            rows = [
                (c * ways[n].cost + m * ways[n].mass_kg + h * ways[n].labour_h + e * float(energy[n]), n)
                for n in kept
                if ways[n].lead_time_d <= most_d
            ]
            out.append(_chain(sorted(rows, key=lambda r: (r[0], ways[r[1]].cost, r[1])), ways, fine))
        if system.bussed_pairs:
            count = system.bussed_pairs * system.trunks
            price = [
                (c * count * system.pair_breakers[n].cost + h * hours("breaker", None, count), n)
                for n in sieved.breakers
                if system.pair_breakers[n].lead_time_d <= most_d
            ]
            out.append(sorted(price))
        return out

    def floor(self, system: System, sieved: Sieved, slots: list[list[tuple[float, int]]]) -> float:
        """The least that any line of a system comes to."""
        e = self.weights()[3]
        if self.site.policy.objective == "lead-time":
            leads = [
                min(system.ways[k][n].lead_time_d for _, n in rows) for k, rows in enumerate(slots[: len(system.ways)])
            ]
            if system.bussed_pairs:
                leads.append(min(system.pair_breakers[n].lead_time_d for _, n in slots[-1]))
            return max([system.lead_time_d, self.rest_value, *leads])
        return self._base(system) + e * sieved.common_kwh + sum(rows[0][0] for rows in slots)

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
        if outcome.other_rooms:  # what was left out for having no more copper might pass them
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
        self, system: System, slots: list[list[tuple[float, int]]], shared: float, stop_above: float, most: int, outcome: Outcome
    ) -> None:  # fmt: skip
        """Looks through the combinations of some slots in the order of their bounds; `shared` is what all of them add."""
        if not all(slots):
            return
        timely = self.site.policy.objective == "lead-time"
        base = 0.0 if timely else self._base(system)
        alike = self._alike(system)
        dead = self._dead(system, slots)
        start = tuple(0 for _ in slots)
        seen: set[tuple[int, ...]] = {start}
        # bound, whether the energy in it is that of the combination, combination
        heap = [(base + shared + sum(rows[0][0] for rows in slots), False, start)]
        asked_best = False
        looked = 0
        extra = 0.0
        while heap:
            bound, exact, at = heapq.heappop(heap)
            known = outcome.best.cost.of(self.site.policy.objective) if outcome.best is not None else float("inf")
            if not timely:
                outcome.bound = bound + extra
            if bound + extra >= min(stop_above, known) - TIE or (timely and outcome.best is not None):
                return
            looked += 1
            self.looked += 1
            if outcome.proofs >= most or looked > MOST_LOOKED or self.looked > MOST_LOOKED_ALL:
                outcome.exact = False
                return
            picked = tuple(slots[k][n][1] for k, n in enumerate(at))
            broken = [k for k, n in enumerate(picked) if (k, n) in dead]
            if not broken and not exact and not self.sieve.misses(system, picked):
                better = self._refined(system, slots, at, base)
                if better > bound + TIE:
                    heapq.heappush(heap, (better, True, at))
                    continue
                exact = True
            if exact and not broken:
                tried = self._try(system, picked, outcome)
                if tried is None:
                    return
                if not tried.fails:
                    extra = self._extra(system, slots, at, base, tried)
                    if outcome.best is None or tried.cost.of(self.site.policy.objective) < known - TIE:
                        outcome.best = tried
                else:
                    if outcome.nearest is None or _miss(tried) > _miss(outcome.nearest):
                        outcome.nearest = tried
                    broken = self._blame(system, slots, picked, tried, dead, outcome)
                    if not broken and not asked_best:
                        asked_best = True
                        if not self._best_passes_rest(system, slots, tried, outcome):
                            return
            for k in broken[:1] or range(len(slots)):
                if at[k] + 1 < len(slots[k]):
                    following = (*at[:k], at[k] + 1, *at[k + 1 :])
                    if following not in seen and all(following[i] >= following[j] for i, j in alike):
                        seen.add(following)
                        total = base + shared + sum(slots[i][n][0] for i, n in enumerate(following))
                        heapq.heappush(heap, (total, False, following))

    def _base(self, system: System) -> float:
        """What a system comes to without its ways, and without energy."""
        c, m, h, _ = self.weights()
        own = c * system.cost + m * system.mass_kg + h * system.labour_h
        if self.site.policy.objective == "life-cost":
            cables = system.cables if system.form == "hybrid" else len(system.ways)
            own += worth_years(self.site.policy) * self.site.policy.rent_cost_per_year * cables
        return own + self.rest_value

    def _fixed(self, system: System, picked: tuple[int, ...], base: float) -> float:
        """What a combination comes to at least, without energy."""
        c, m, h, _ = self.weights()
        total = base
        for ways, n in zip(system.ways, picked, strict=False):
            w = ways[n]
            total += c * w.cost + m * w.mass_kg + h * w.labour_h
        if system.bussed_pairs:
            count = system.bussed_pairs * system.trunks
            total += c * count * system.pair_breakers[picked[-1]].cost + h * hours("breaker", None, count)
        return total

    def _refined(self, system: System, slots: list[list[tuple[float, int]]], at: tuple[int, ...], base: float) -> float:
        """The bound of one combination with the energy of just this combination."""
        picked = tuple(slots[k][n][1] for k, n in enumerate(at))
        e = self.weights()[3]
        energy = self.sieve.energy_kwh(system, picked) if e else 0.0
        return self._fixed(system, picked, base) + e * energy * (1 - 1e-9)

    def _extra(
        self, system: System, slots: list[list[tuple[float, int]]], at: tuple[int, ...], base: float, tried: Tried
    ) -> float:
        """
        What every combination of a system comes to besides its bound: patch leads, caps of radios.

        They hang on the kind of duplex of the jumpers only, so where these differ nothing is added.
        """
        kinds = {(w.fibre or w.dc).duplex_kind for ways in system.ways for w in ways}
        if len(kinds) > 1 or self.site.policy.objective == "lead-time":
            return 0.0
        picked = tuple(slots[k][n][1] for k, n in enumerate(at))
        spent = tried.cost.of(self.site.policy.objective) - self.weights()[3] * tried.cost.energy_kwh
        return max(0.0, spent - self._fixed(system, picked, base) - 1e-9 * abs(spent))

    def _dead(self, system: System, slots: list[list[tuple[float, int]]]) -> set[tuple[int, int]]:
        """Options that no proof can pass even with all others at their best."""
        best = tuple(self._strongest(system, j, rows) for j, rows in enumerate(slots))
        out = set()
        for k, rows in enumerate(slots):
            for _, n in rows:
                if k in self.sieve.misses(system, (*best[:k], n, *best[k + 1 :])):
                    out.add((k, n))
        return out

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
        return Tried(choice, line, proof, cost_of(self.site, line, energy), fails)

    def _blame(
        self, system: System, slots: list[list[tuple[float, int]]], picked: tuple[int, ...], tried: Tried, dead: set[tuple[int, int]], outcome: Outcome
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

    def _best_passes_rest(
        self, system: System, slots: list[list[tuple[float, int]]], tried: Tried, outcome: Outcome
    ) -> bool:
        """Whether what failed, and is no radio's own, goes away with every radio at its best. If not, no combination passes."""
        best = tuple(self._strongest(system, j, rows) for j, rows in enumerate(slots))
        again = self._try(system, best, outcome)
        if again is None:
            return False
        rest = {f.key for f in tried.fails if f.code not in OWN_CODES}
        still = {f.key for f in again.fails}
        if not rest or rest - still:
            return True
        # the power room gets better with every copper; what stands at the site as a whole might yet with less
        if any(not key.startswith("power.") and key.endswith(f"@{self.site.id}") for key in rest):
            outcome.exact = False
        return False


def _chain(rows: list[tuple[float, int]], ways: tuple[Way, ...], fine: bool) -> list[tuple[float, int]]:
    """
    Options of one radio, cheapest first, without those that a cheaper one with as much copper and the same breaker beats.

    More copper only raises voltages and lowers currents. `fine`: only among ways that are the same in all else that a room
    looks at; else among all with the same DC contacts.
    """
    out: list[tuple[float, int]] = []
    kept: dict[tuple[object, ...], list[tuple[float, bool, float]]] = {}
    for value, n in rows:
        w = ways[n]
        quality = way_quality(w) if fine else (w.dc.dc_foot, w.dc.dc_head)
        of_kind = kept.setdefault((_breaker_of(w), *quality), [])
        area, tough = _copper_of(w)
        if not any(a >= area and t >= tough and lead <= w.lead_time_d for a, t, lead in of_kind):
            out.append((value, n))
            of_kind.append((area, tough, w.lead_time_d))
    return out


def _breaker_of(way: Way) -> str:
    return way.breaker.id if way.breaker is not None else ""


def _copper_of(way: Way) -> tuple[float, bool]:
    """Copper of a way, and whether its insulation bears more: better in every electrical limit."""
    return 1 / loop_ohm_20(way), way.dc.insulation == "xlpe"


def loop_ohm_20(way: Way) -> float:
    """Resistance of the copper of a way at 20 °C, one wire."""
    d = way.dc
    return _ohm_per_km(d.conductor_area_mm2 or 0.0, d.conductor_class, d.tinned) * way.dc_length_m / 1000


@lru_cache(maxsize=1000)
def _ohm_per_km(area_mm2: float, conductor_class: Literal[2, 5], tinned: bool) -> float:
    return float(conductor_ohm_per_km(area_mm2, conductor_class, tinned))


def _with(before: Proof | None, power: Proof) -> Proof:
    """A proof to reuse from: the power room just proven, the others as they were."""
    rooms = dict(before.rooms) if before is not None else {}
    rooms.update(power.rooms)
    return Proof(power.site, power.line, power.scenarios, power.limits, rooms)


def _miss(tried: Tried) -> float:
    """How near a failing line comes: its worst normalised margin, -1 where a finding has none."""
    return min((f.normalised_margin if f.normalised_margin is not None else -1.0 for f in tried.fails), default=0.0)


__all__ = ["Outcome", "Searcher", "Tried"]
