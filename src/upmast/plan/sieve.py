"""
A first sieve: bounds that no line of a system can beat, by the same physics as the proof.

For each radio and each way to it: the highest voltage that it could see and the lowest current that it could draw, with the
other radios at their best, conductors no warmer than their sheath and their own lowest current make them. What fails even then
fails in every proof. Energy and price bounds are lower bounds in the same sense. All arrays over ways at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import Cable, RadioPart
from upmast.finding import Authority, Limit, Scenario, Sense
from upmast.limits import Limits
from upmast.line.choice import shares
from upmast.line.wire import ohm_per_km
from upmast.plan.copper import ALPHA, Array, Copper, Ways, ohm_of, share_of
from upmast.plan.heat import Air, LeastHeat, least_heat
from upmast.plan.system import System
from upmast.power.cable_heat import CableHeat
from upmast.power.heating import LIMIT_C, Arrangement, Insulation, ampacity_a
from upmast.power.resistance import tabulated_area_mm2
from upmast.power.trip import continuous_rule
from upmast.power.warmth import cable_heat_of
from upmast.site.site import Site
from upmast.source import Source
from upmast.weather.sun import STILL_AIR_W_PER_M2_K, sun_temperature_c, surface

NAMES: dict[str, Insulation] = {"xlpe": "xlpe90", "pvc": "pvc70"}
ROUNDS = 4
SWEEPS = 40
ENERGY_ROUNDS = 12
SLACK = 1e-6  # a bound prunes only beyond this share of its limit


@dataclass(frozen=True)
class Sieved:
    """
    For one system: per radio the ways that may work (indices) with their yearly energy bound, or what stops it.

    `worst` is (code, subject, normalised margin) of the nearest that the best way of the worst radio comes to its limit;
    `nearest` is the combination that comes nearest, radio by radio.
    """

    ways: tuple[tuple[int, ...], ...]
    energy_kwh: tuple[Array, ...]
    common_kwh: float
    breakers: tuple[int, ...]
    worst: tuple[str, str, float] | None
    nearest: tuple[int, ...]


class Sieve:
    """Bounds for the systems of one site, with the results kept by electrical class."""

    def __init__(self, site: Site, catalogue: Catalogue, limits: Limits, scenarios: tuple[Scenario, ...]) -> None:
        self.site, self.catalogue = site, catalogue
        self.low = min((s for s in scenarios if s.load_fraction >= 1), key=lambda s: s.bus_v)
        black = surface("black_sheath")

        def sheath_c(s: Scenario) -> float:
            sun = (s.sun_w_per_m2, black.absorptivity, black.emissivity, STILL_AIR_W_PER_M2_K)
            return float(sun_temperature_c(s.ambient_c, *sun))

        self.sheath_c = sheath_c(self.low)
        self.hot = max(scenarios, key=sheath_c)
        plant = site.cabinet.plant
        # behind a converter the line starts at no more than its highest output, whatever the plant does
        held = plant.converter.maximum_v if plant.converter is not None else None
        self.emf_v = self.low.bus_v if held is None else held
        self.float_v = plant.float_v if held is None else held
        self.source_ohm = plant.source_resistance_ohm if held is None else 0.0
        self.base_w = plant.base_load_w if held is None else 0.0
        parts = [catalogue.get(radio.part, RadioPart) for radio in site.radios]
        # a return that shares with shields has less than its own resistance: counted as none
        self.wires = 1.0 if plant.dc_return == "common" or any(p.return_bonded for p in parts) else 2.0
        self.rule = continuous_rule("nec_125" if site.policy.continuous_load == "nec-125" else "iec").factor
        self.power: list[float] = []
        self.minimum: list[float] = []
        self.pair_open: list[float] = []  # minimum with one pair open
        for radio in site.radios:
            part = catalogue.get(radio.part, RadioPart)
            # what isn't sure to draw constant power bounds nothing
            sure = part.draws == "power" and part.current_limit_a is None
            self.power.append((radio.maximum_w or part.maximum_w) if sure else 0.0)
            least = radio.minimum_v or part.minimum_v
            for code, column in (("power.voltage-at-radio", self.minimum), ("power.pair-open-voltage", self.pair_open)):
                own = Limit(code, least, "V", Sense.AT_LEAST, Authority.PART, Source("part"))
                limit = limits.in_force(code, own)
                column.append(limit.value if limit else own.value)
        table = {code: limits.get(code) for code in CODES}
        # what the site allows at most, where it is tighter than ratings and ampacity
        self.most = {code: limit.value if limit is not None else np.inf for code, limit in table.items()}
        self._known: dict[tuple[object, ...], tuple[object, Sieved]] = {}
        self._coppers: dict[tuple[str, int, str], Copper] = {}
        self._least_heats: dict[tuple[str, int, int, int], LeastHeat] = {}
        self._known_ways: dict[tuple[int, int], tuple[object, Ways]] = {}

    def of(self, system: System) -> Sieved:
        t, b = system.trunk, system.box
        key = (
            system.form, system.trunks, system.pairs_each, system.bussed_pairs, system.length_m, id(system.ways),
            (t.conductor_area_mm2, ohm_per_km(t)[0], t.insulation, t.dc_foot, t.dc_head, t.pairs_count, t.diameter_mm, t.filler_k_m_per_w, t.sheath) if t else None,
            (b.dc_in, b.dc_out, b.output_rated_a, b.output_breaker_a, b.path_resistance_ohm, b.total_rated_a) if b else None,
        )  # fmt: skip
        if key not in self._known:
            made = self._bussed(system) if system.bussed_pairs else self._own(system)
            self._known[key] = (system.ways, made)  # with the ways, so that their id stays theirs
        return self._known[key][1]

    # -- pieces ------------------------------------------------------------------------------------------------------

    def _contacts(self, *names: str | None) -> tuple[float, float]:
        """Resistance of some contacts on one wire, and the lowest rating among them."""
        found = [self.catalogue.connector(name) for name in names if name]
        return sum(c.resistance_ohm for c in found), min(
            (c.rated_a for c in found if c.rated_a is not None), default=np.inf
        )

    def _copper(self, cable: Cable, circuits: int, arrangement: str) -> Copper:
        """What one wire of a cable does, kept by cable and bundle."""
        key = (cable.id, max(circuits, 1), arrangement)
        if key not in self._coppers:
            r20, _ = ohm_per_km(cable)
            ohm, rated = self._contacts(cable.dc_foot, cable.dc_head)
            name = NAMES[cable.insulation]
            limit = LIMIT_C[name]
            area = cable.conductor_area_mm2 or 0.0
            if self._heat(cable) is not None:
                reference, iz = np.inf, np.inf  # by its section, see `_least_heat`
            else:
                reference = float(
                    ampacity_a(tabulated_area_mm2(area), name, 30.0, key[1], cast(Arrangement, arrangement))
                )
                iz = reference * float(np.sqrt(max(limit - self.sheath_c, 0.0) / (limit - 30.0)))
            self._coppers[key] = Copper(r20, ohm, rated, reference, limit, iz)
        return self._coppers[key]

    def _heat(self, cable: Cable) -> CableHeat | None:
        """The heat of a cable that is judged by its section."""
        if cable.pairs_count <= 1 or self.site.policy.trunk_heat != "section":
            return None
        return cable_heat_of(
            cable.pairs_count, cable.conductor_area_mm2 or 0.0, cable.diameter_mm, cable.filler_k_m_per_w, cable.sheath
        )

    def _least_heat(self, system: System) -> LeastHeat | None:
        """What the section of a trunk comes to at least, whatever is chosen beyond it; None where tables judge it."""
        t = system.trunk
        heat = None if t is None else self._heat(t)
        if t is None or heat is None:
            return None
        key = (t.id, system.trunks, system.pairs_each, system.bussed_pairs)
        if key not in self._least_heats:
            power = np.array(self.power)
            held = self.site.cabinet.plant.converter is not None
            low, hot = (
                Air(s.ambient_c, s.sun_w_per_m2, s.load_fraction * power / (self.emf_v if held else s.bus_v))
                for s in (self.low, self.hot)
            )
            self._least_heats[key] = least_heat(
                heat, ohm_per_km(t)[0], LIMIT_C[NAMES[t.insulation]], self._groups(system)[0], system.pairs_each, system.bussed_pairs,
                low, hot, self.wires > 1,
            )  # fmt: skip
        return self._least_heats[key]

    def _arrays(self, system: System) -> Ways:
        """The ways of a system as arrays, kept by the tuple."""
        circuits = len(self.site.radios) if system.trunk is None else 1
        key = (id(system.ways), circuits)
        if key not in self._known_ways:
            most = max(map(len, system.ways))
            rows: list[list[tuple[float, ...]]] = []
            for ways in system.ways:
                coppers = [self._copper(w.dc, circuits, "ladder") for w in ways]
                row: list[tuple[float, ...]] = [
                    (
                        1.0, w.breaker.rated_a if w.breaker else np.inf, ohm_of(w.breaker), w.dc_length_m, c.r20, c.contact_ohm,
                        c.rated_a, c.reference_a, c.limit_c, c.iz_a,
                    )
                    for w, c in zip(ways, coppers, strict=True)
                ]  # fmt: skip
                rows.append(row + [(0.0, *row[0][1:])] * (most - len(row)))
            table = np.moveaxis(np.array(rows, float), 2, 0)
            self._known_ways[key] = (system.ways, Ways(table[0] > 0, *table[1:]))
        return self._known_ways[key][1]

    def _bars_v(self, line_a: Array | float) -> Array:
        """Highest voltage at which the line can start with no less than a current; the base load draws from the same bars."""
        return np.asarray(self.emf_v - self.source_ohm * (np.asarray(line_a) + self.base_w / self.emf_v))

    def _states(self) -> tuple[Array, Array]:
        load = self.site.policy.load
        return np.array([s.load_fraction for s in load]), np.array([s.hours_h for s in load]) * 365.25 / 1000

    def _groups(self, system: System) -> tuple[tuple[range, ...], NDArray[np.intp]]:
        """Radios of each trunk, and the trunk of each radio."""
        n = len(self.site.radios)
        groups = shares(n, system.trunks) if system.trunk is not None else (range(n),)
        member = np.zeros(n, np.intp)
        for g, some in enumerate(groups):
            member[list(some)] = g
        return groups, member

    def _trunk(self, system: System) -> Copper | None:
        """One wire of the trunk, in a bundle no fuller than any of its trunks has."""
        if system.trunk is None:
            return None
        smallest = min(len(some) for some in self._groups(system)[0]) * system.pairs_each
        return self._copper(system.trunk, system.bussed_pairs or smallest, "bunched")

    def _trunk_iz(self, system: System) -> Array:
        """Ampacity of the pairs of each radio, in the bundle of its own trunk."""
        assert system.trunk is not None
        groups, member = self._groups(system)
        heat = self._least_heat(system)
        if heat is not None:
            return heat.iz_a
        each = [self._copper(system.trunk, len(g) * system.pairs_each, "bunched").iz_a for g in groups]
        return np.array(each)[member] * system.pairs_each

    def _energy(self, system: System, a: Ways, kept: NDArray[np.bool_], breaker_ohms: float) -> tuple[Array, float]:
        """
        Lowest yearly heat, kWh: [radios, ways] of each way's own loop, and of what bussed radios share.

        Currents rise from those without any loss: each round adds the drop of the currents before, so that after any number
        of rounds they are lower bounds. With one way for each radio the rounds end at the proof's own currents.
        """
        n = len(self.site.radios)
        _, member = self._groups(system)
        count = int(member.max()) + 1
        fraction, hours = self._states()
        mean, copper = self.site.climate.mean_c, self._trunk(system)
        own = self.wires * (a.r20 * a.length_m / 1000 * (1 + ALPHA * (mean - 20)) + a.contact_ohm) + a.breaker_ohm
        own = own + (system.box.path_resistance_ohm if system.box else 0.0)
        shared = 0.0
        if copper is not None:
            wire = self.wires * float(copper.ohm(system.length_m, mean))
            if system.bussed_pairs:
                shared = (wire + breaker_ohms) / system.bussed_pairs
            else:
                own = own + wire / system.pairs_each
        power = (fraction[:, None] * np.array(self.power))[:, :, None]  # [state, radio, 1]
        least = power[:, :, 0] / self.float_v
        current: Array = np.broadcast_to(power / self.float_v, (fraction.size, *own.shape))
        base = np.full((fraction.size, 1), self.base_w / self.float_v)
        sums = np.zeros((n, count))
        sums[np.arange(n), member] = 1.0
        for _ in range(ENERGY_ROUNDS):
            bars = self.float_v - self.source_ohm * (least.sum(axis=1)[:, None] + base)
            base = np.maximum(base, self.base_w / np.maximum(bars, 1.0))
            bus = bars - shared * (least @ sums)[:, member]
            bus = np.maximum(bus, 1.0)[:, :, None]
            current = 2 * power / (bus + np.sqrt(np.maximum(bus**2 - 4 * own * power, 0.0)))
            before, least = least, np.where(kept, current, np.inf).min(axis=2)
            if np.max(least - before) < 1e-7:
                break
        total = least @ sums
        return (
            np.asarray((hours[:, None, None] * current**2).sum(axis=0) * own),
            float((hours[:, None] * total**2).sum() * shared),
        )

    def energy_kwh(self, system: System, picked: tuple[int, ...]) -> float:
        """What one combination loses in a year at least: what the proof finds, to a small fraction of a kWh."""
        breaker = system.pair_breakers[picked[-1]] if system.bussed_pairs else None
        own, shared = self._energy(
            system, self._arrays(system).at(picked), np.ones((len(self.power), 1), bool), ohm_of(breaker)
        )
        return float(own.sum()) + shared

    def loop_ohm(self, system: System) -> Array:
        """Resistance of each way's own loop with warm conductors, [radios, ways]: the smaller, the better for all others."""
        a = self._arrays(system)
        theta = np.full_like(a.r20, self.sheath_c)
        wire = a.r20 * a.length_m / 1000 * (1 + ALPHA * (theta - 20)) + a.contact_ohm
        return np.asarray(self.wires * wire + a.breaker_ohm)

    # -- straight boxes and separate runs ----------------------------------------------------------------------------

    def _own(self, system: System) -> Sieved:
        copper, a = self._trunk(system), self._arrays(system)
        bus = np.full(len(self.power), self.emf_v)
        for _ in range(2):  # the second sweep knows the lowest total current and so the highest bus voltage
            margins, current = self._judge(system, a, copper, bus, None)
            kept = (margins > -SLACK).all(axis=0) & a.real
            least = np.where(kept, current, np.inf).min(axis=1)
            bus = np.full_like(bus, self._bars_v(float(least[np.isfinite(least)].sum())))
        return self._sieved(system, a, margins, kept, ())

    def _sieved(
        self, system: System, a: Ways, margins: Array, kept: NDArray[np.bool_], breakers: tuple[int, ...],
        nearest: tuple[str, str, float] | None = None, breaker: tuple[int, ...] = (),
    ) -> Sieved:  # fmt: skip
        worst = None
        lowest = np.where(a.real, margins.min(axis=0), -np.inf)
        for k in np.flatnonzero(~kept.any(axis=1)):
            near = int(np.argmax(lowest[k]))
            code = CODES[int(np.argmin(margins[:, k, near]))]
            miss = (code, self.site.radios[k].id, float(lowest[k, near]))
            if worst is None or miss[2] < worst[2]:
                worst = miss
        ohms = min((ohm_of(b) for b in system.pair_breakers), default=0.0)
        energy, common = self._energy(system, a, kept if kept.any(axis=1).all() else a.real, ohms)
        ways = tuple(tuple(int(n) for n in np.flatnonzero(row)) for row in kept)
        best = np.argmax(
            lowest - 1e-6 * self.loop_ohm(system), axis=1
        )  # of ways without an operating point, the most copper
        return Sieved(ways, tuple(energy), common, breakers, worst or nearest, (*(int(n) for n in best), *breaker))

    def _judge(
        self, system: System, a: Ways, trunk: Copper | None, bus: Array, output: float | None
    ) -> tuple[Array, Array]:
        """Highest margins [code, radio, way] as shares of their limits, and lowest currents [radio, way], at given bus voltages."""
        power, lowest, bus = np.array(self.power)[:, None], np.array(self.minimum)[:, None], bus[:, None]
        path = system.box.path_resistance_ohm if system.box else 0.0
        current = np.zeros_like(a.r20)
        voltage = np.broadcast_to(bus, a.r20.shape)
        side = system.pairs_each
        for _ in range(ROUNDS):
            theta = self.sheath_c + (a.limit_c - 30.0) * (current / a.reference_a) ** 2
            loop = (
                self.wires * (a.r20 * a.length_m / 1000 * (1 + ALPHA * (theta - 20)) + a.contact_ohm)
                + a.breaker_ohm
                + path
            )
            if trunk is not None:
                warm = self._theta(system, trunk, current / side)
                warm = warm[:, None] if warm.ndim == 1 else warm
                loop = loop + self.wires * trunk.ohm(system.length_m, warm) / side
            inside = bus**2 - 4 * loop * power
            alive = (inside >= 0) & (bus > 0)
            voltage = np.where(alive, (bus + np.sqrt(np.maximum(inside, 0.0))) / 2, 0.0)
            current = np.where(alive, power / np.where(alive, voltage, 1.0), 0.0)
        iz, rated = a.iz_a, a.rated_a
        if trunk is not None:
            iz, rated = np.minimum(iz, self._trunk_iz(system)[:, None]), np.minimum(rated, trunk.rated_a * side)
        rating = a.rating_a if output is None else np.full_like(current, output)
        box_a = system.box.output_rated_a if system.box else np.inf
        iz = np.minimum(iz, self.most["power.breaker-protects-pair"])
        pair_rated = np.minimum(rated, self.most["power.contact-current"])
        allowed = np.minimum(rating, self.most["power.design-current"]) / self.rule
        box_a = min(box_a, self.most["power.box-output-current"]) if system.box else np.inf
        margins = np.stack([
            (voltage - lowest) / lowest,
            np.where(np.isfinite(rating), share_of(allowed - current, allowed), 1.0),
            np.where(np.isfinite(rating), share_of(iz - rating, iz), 1.0),
            share_of(pair_rated - current, pair_rated),
            share_of(box_a - current, np.full_like(current, box_a)),
        ])  # fmt: skip
        return margins, current

    def _theta(self, system: System, copper: Copper, current: Array) -> Array:
        """Wires of a trunk at least so warm, with currents of the last axis: radios, or trunks to bussed boxes."""
        heat = self._least_heat(system)
        if heat is None:
            return np.asarray(self.sheath_c + (copper.limit_c - 30.0) * (current / copper.reference_a) ** 2)
        if not system.bussed_pairs:
            return heat.theta_c
        return heat.theta_c[[group[0] for group in self._groups(system)[0]]]

    # -- one combination ---------------------------------------------------------------------------------------------

    def misses(self, system: System, picked: tuple[int, ...]) -> tuple[int, ...]:
        """Slots of one combination that no proof can pass: see `missed`."""
        return tuple(int(k) for k in np.flatnonzero(self.missed(system, np.array([picked], np.intp))[0]))

    def missed(self, system: System, picked: NDArray[np.intp]) -> NDArray[np.bool_]:
        """
        Slots of some combinations [combination, slot] that no proof can pass: a radio below its minimum, a breaker or contact
        beyond its rating.

        Backward-forward sweeps from the emf fall towards the solution from above, so that after any number of them each
        voltage is an upper and each current a lower bound; conductor temperatures follow from those currents.
        """
        n = len(self.site.radios)
        ways = self._arrays(system)
        pick = (np.arange(n), picked[:, :n])
        a = Ways(*(getattr(ways, name)[pick] for name in Ways.__slots__))
        power, lowest = np.array(self.power), np.array(self.minimum) * (1 - SLACK)
        path = system.box.path_resistance_ohm if system.box else 0.0
        emf, side = self.emf_v, system.pairs_each
        groups, member = self._groups(system)
        pairs, copper = system.bussed_pairs, self._trunk(system)
        sums = np.zeros((n, len(groups)))
        sums[np.arange(n), member] = 1.0
        pair_ohm = np.array([[ohm_of(b)] for b in system.pair_breakers])[picked[:, -1]] if pairs else np.zeros((1, 1))
        current = np.broadcast_to(power / emf, a.r20.shape)
        fails = np.zeros(a.r20.shape, bool)
        settled = np.zeros((len(picked), 1), bool)
        shared = current @ sums
        for _ in range(SWEEPS):
            own = np.broadcast_to(self._bars_v(current.sum(axis=1, keepdims=True)), a.r20.shape)
            shared = current @ sums
            if copper is not None and pairs:
                wire = copper.ohm(system.length_m, self._theta(system, copper, shared / pairs))
                own = own - ((self.wires * wire + pair_ohm) / pairs * shared)[:, member]
            theta = self.sheath_c + (a.limit_c - 30.0) * (current / a.reference_a) ** 2
            loop = (
                self.wires * (a.r20 * a.length_m / 1000 * (1 + ALPHA * (theta - 20)) + a.contact_ohm)
                + a.breaker_ohm
                + path
            )
            if copper is not None and not pairs:
                loop = (
                    loop + self.wires * copper.ohm(system.length_m, self._theta(system, copper, current / side)) / side
                )
            inside = own**2 - 4 * loop * power
            alive = (inside >= 0) & (own > 0)
            voltage = np.where(alive, (own + np.sqrt(np.maximum(inside, 0.0))) / 2, 0.0)
            fails |= ~settled & (voltage < lowest)
            settled = settled | fails.any(axis=1, keepdims=True)
            following = np.where(settled, current, power / np.where(alive, voltage, emf))
            if np.max(following - current) < 1e-6:
                current = following
                break
            current = following
        if "pair-open" in self.site.policy.must_survive:
            fails |= self._pair_open_missed(system, a, current, pair_ohm, sums, member)
        rated = np.minimum(a.rated_a, self.most["power.contact-current"]) * (1 + SLACK)
        fails |= current > rated
        most = self.most["power.design-current"]
        if not pairs:
            return np.asarray(fails | (current > np.minimum(a.rating_a, most) / self.rule * (1 + SLACK)))
        output = system.box.output_breaker_a if system.box is not None else None
        if output is not None:
            fails |= (current > min(output, most) / self.rule * (1 + SLACK)) | (a.iz_a < output * (1 - SLACK))
        allowed = np.minimum(np.array([b.rated_a for b in system.pair_breakers])[picked[:, -1]], most) / self.rule
        return np.column_stack([fails, shared.max(axis=1) / pairs > allowed * (1 + SLACK)])

    def _pair_open_missed(
        self, system: System, a: Ways, current: Array, pair_ohm: Array, sums: Array, member: NDArray[np.intp]
    ) -> NDArray[np.bool_]:
        """
        Radios that fall below their minimum if a pair of theirs opens, whatever the proof: conductors as warm as in the sound
        line, the plant no lower than there. A radio with no other pair always does.
        """
        copper, pairs, side = self._trunk(system), system.bussed_pairs, system.pairs_each
        left = (pairs or side) - 1
        if copper is None or left == 0:
            return np.ones(current.shape, bool)
        power, length = np.array(self.power), system.length_m
        theta = self.sheath_c + (a.limit_c - 30.0) * (current / a.reference_a) ** 2
        loop = self.wires * (a.r20 * a.length_m / 1000 * (1 + ALPHA * (theta - 20)) + a.contact_ohm) + a.breaker_ohm
        loop = loop + (system.box.path_resistance_ohm if system.box else 0.0)
        bus = self._bars_v(current.sum(axis=1, keepdims=True))
        wire = copper.ohm(length, self._theta(system, copper, (current @ sums) / pairs if pairs else current / side))
        if not pairs:
            loop = loop + self.wires * wire / left
        voltage, following = np.zeros_like(current), current
        for _ in range(ROUNDS):
            own = bus - ((self.wires * wire + pair_ohm) / left * (following @ sums))[:, member] if pairs else bus
            inside = own**2 - 4 * loop * power
            alive = (inside >= 0) & (own > 0)
            voltage = np.where(alive, (own + np.sqrt(np.maximum(inside, 0.0))) / 2, 0.0)
            following = np.where(alive, power / np.where(alive, voltage, 1.0), following)
        return np.asarray(voltage < np.array(self.pair_open) * (1 - SLACK))

    # -- bussed boxes ------------------------------------------------------------------------------------------------

    def _bussed(self, system: System) -> Sieved:
        box, copper, a = system.box, self._trunk(system), self._arrays(system)
        assert box is not None
        assert copper is not None
        pairs = system.bussed_pairs
        emf = self.emf_v
        groups, member = self._groups(system)
        breaker_ohms = min((ohm_of(b) for b in system.pair_breakers), default=0.0)
        least = np.array(self.power) / emf  # lowest currents
        for _ in range(3):
            own = np.bincount(member, least, len(groups))
            pair = self.wires * copper.ohm(system.length_m, self._theta(system, copper, own / pairs)) + breaker_ohms
            bus = (self._bars_v(float(least.sum())) - pair / pairs * own)[member]
            margins, current = self._judge(system, a, None, bus, box.output_breaker_a)
            kept = (margins > -SLACK).all(axis=0) & a.real
            found = np.where(kept, current, np.inf).min(axis=1)
            least = np.where(np.isfinite(found), np.maximum(least, found), least)
        peak = max(float(sum(least[m] for m in group)) for group in groups) / pairs
        heat = self._least_heat(system)
        iz_a = copper.iz_a if heat is None else float(heat.iz_a.min())
        keep = []
        nearest, best = ("power.breaker-protects-pair", "T1", -np.inf), 0
        for index, breaker in enumerate(system.pair_breakers):
            contact = (copper.rated_a - peak) / copper.rated_a if np.isfinite(copper.rated_a) else 1.0
            allowed = min(breaker.rated_a, self.most["power.design-current"]) / self.rule
            iz = min(iz_a, self.most["power.breaker-protects-pair"])
            margin = min((allowed - peak) / allowed, (iz - breaker.rated_a) / iz, contact)
            if margin > -SLACK:
                keep.append(index)
            if margin > nearest[2]:
                code = "power.design-current" if allowed < peak else "power.breaker-protects-pair"
                nearest, best = (code, "T1", float(margin)), index
        return self._sieved(system, a, margins, kept, tuple(keep), None if keep else nearest, (best,))


CODES = (
    "power.voltage-at-radio",
    "power.design-current",
    "power.breaker-protects-pair",
    "power.contact-current",
    "power.box-output-current",
)


__all__ = ["CODES", "SLACK", "Sieve", "Sieved"]
