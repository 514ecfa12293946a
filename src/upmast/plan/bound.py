"""What each option of a system adds to the objective at least, and the least that any line of a system comes to."""

from __future__ import annotations

from functools import cached_property

from upmast.catalogue.part import Cable
from upmast.line.wire import ohm_per_km
from upmast.plan.cost import Cost, hours, worth_years
from upmast.plan.sieve import Sieve, Sieved
from upmast.plan.system import System, Way, way_quality
from upmast.power.protection import breaker_ohm
from upmast.site.site import Site

# per radio, and last the breaker of bussed pairs: what an option adds, and which it is
Slots = list[list[tuple[float, int]]]


class Bounds:
    """The bounds of one site. `rest_value` is what every line of the site has at least besides the system and its ways."""

    site: Site
    sieve: Sieve
    rest_value: float
    _slots: dict[tuple[int, float, bool], tuple[Sieved, Slots]]

    @cached_property
    def worth_years(self) -> float:
        return worth_years(self.site.policy)

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
            self.worth_years * policy.price_cost_per_kwh / policy.rectifier_fraction,
        )

    def slots(self, system: System, sieved: Sieved, most_d: float = float("inf"), fine: bool = False) -> Slots:
        """
        For each radio (and the pair breaker) the options that may work and come in time, with what each adds, cheapest first.

        Systems of one electrical class share them. `fine`: see `_chain`.
        """
        key = (id(sieved), most_d, fine)
        if key not in self._slots:
            self._slots[key] = (sieved, self._made_slots(system, sieved, most_d, fine))
        return self._slots[key][1]

    def _made_slots(self, system: System, sieved: Sieved, most_d: float, fine: bool) -> Slots:
        c, m, h, e = self.weights()
        out: Slots = []
        loops = self.sieve.loop_ohm(system)
        for ways, kept, energy in zip(system.ways, sieved.ways, sieved.energy_kwh, strict=True):
            rows = [
                (c * ways[n].cost + m * ways[n].mass_kg + h * ways[n].labour_h + e * float(energy[n]), n)
                for n in kept
                if ways[n].lead_time_d <= most_d
            ]
            loop = loops[len(out)]
            rows.sort(key=lambda r: (round(r[0], 9), float(loop[r[1]]), ways[r[1]].cost, r[1]))
            out.append(_chain(rows, ways, fine))
        if system.bussed_pairs:
            count = system.bussed_pairs * system.trunks
            price = [
                (c * count * system.pair_breakers[n].cost + h * hours("breaker", None, count), n)
                for n in sieved.breakers
                if system.pair_breakers[n].lead_time_d <= most_d
            ]
            out.append(sorted(price))
        return out

    def floor(self, system: System, sieved: Sieved, slots: Slots) -> float:
        """The least that any line of a system comes to."""
        e = self.weights()[3]
        if self.site.policy.objective == "lead-time":
            leads = [
                min(system.ways[k][n].lead_time_d for _, n in rows) for k, rows in enumerate(slots[: len(system.ways)])
            ]
            if system.bussed_pairs:
                leads.append(min(system.pair_breakers[n].lead_time_d for _, n in slots[-1]))
            return max([system.lead_time_d, self.rest_value, *leads])
        return self.base(system) + e * sieved.common_kwh + sum(rows[0][0] for rows in slots)

    def base(self, system: System) -> float:
        """What a system comes to without its ways, and without energy."""
        c, m, h, _ = self.weights()
        own = c * system.cost + m * system.mass_kg + h * system.labour_h
        if self.site.policy.objective == "life-cost":
            cables = system.cables if system.form == "hybrid" else len(system.ways)
            own += self.worth_years * self.site.policy.rent_cost_per_year * cables
        return own + (self.rest_value if self.site.policy.objective != "lead-time" else 0.0)

    def fixed(self, system: System, picked: tuple[int, ...], base: float) -> float:
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

    def refined(self, system: System, picked: tuple[int, ...], base: float) -> float:
        """The bound of one combination with the energy of just this combination."""
        e = self.weights()[3]
        energy = self.sieve.energy_kwh(system, picked) if e else 0.0
        return self.fixed(system, picked, base) + e * energy * (
            1 - 1e-7
        )  # the proof takes it as a small difference of large powers

    def extra(self, system: System, picked: tuple[int, ...], base: float, cost: Cost) -> float:
        """
        What every combination of a system comes to besides its bound: patch leads, caps of radios.

        They hang on the kind of duplex of the jumpers only, so where these differ nothing is added.
        """
        kinds = {(w.fibre or w.dc).duplex_kind for ways in system.ways for w in ways}
        if len(kinds) > 1 or self.site.policy.objective == "lead-time":
            return 0.0
        spent = cost.of(self.site.policy.objective) - self.weights()[3] * cost.energy_kwh
        return max(0.0, spent - self.fixed(system, picked, base) - 1e-9 * abs(spent))


def _chain(rows: list[tuple[float, int]], ways: tuple[Way, ...], fine: bool) -> list[tuple[float, int]]:
    """
    Options of one radio, cheapest first, without those that a cheaper one with as much copper and as large a breaker beats.

    More copper only raises voltages and lowers currents; that it protects its conductors, the sieve has seen to of each. `fine`: only among ways that are the same in all else that a room
    looks at; else among all with the same DC contacts.
    """
    out: list[tuple[float, int]] = []
    kept: dict[tuple[object, ...], list[tuple[float, ...]]] = {}
    for value, n in rows:
        w = ways[n]
        of_kind = kept.setdefault(way_quality(w) if fine else (w.dc.dc_foot, w.dc.dc_head), [])
        merit = _merit(w)
        if not any(all(a >= b for a, b in zip(one, merit, strict=True)) for one in of_kind):
            out.append((value, n))
            of_kind.append(merit)
    return out


def id_of(part: Cable | None) -> str:
    return part.id if part is not None else ""


def _merit(way: Way) -> tuple[float, ...]:
    """Copper, whether its insulation bears more, soonness, rating and conductance of its breaker: each the more, the better."""
    b = way.breaker
    rated = b.rated_a if b is not None else 0.0
    ohms = 0.0 if b is None else b.resistance_ohm if b.resistance_ohm is not None else float(breaker_ohm(b.rated_a))
    return 1 / loop_ohm_20(way), float(way.dc.insulation == "xlpe"), -way.lead_time_d, rated, -ohms


def loop_ohm_20(way: Way) -> float:
    """Resistance of the copper of a way at 20 °C, one wire."""
    return ohm_per_km(way.dc)[0] * way.dc_length_m / 1000


__all__ = ["Bounds", "Slots", "id_of"]
