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
from upmast.catalogue.part import Breaker, Cable, RadioPart
from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from upmast.finding import Authority, Limit, Scenario, Sense
from upmast.limits import Limits
from upmast.line.choice import shares
from upmast.plan.options import System, Way
from upmast.power.heating import LIMIT_C, Arrangement, Insulation, ampacity_a
from upmast.power.protection import breaker_ohm
from upmast.power.resistance import conductor_ohm_per_km
from upmast.site.site import Site
from upmast.source import Source
from upmast.weather.sun import sun_temperature_c, surface

Array = NDArray[np.float64]
NAMES: dict[str, Insulation] = {"xlpe": "xlpe90", "pvc": "pvc70"}
STILL_AIR_W_PER_M2_K = 5.0
ROUNDS = 4
SWEEPS = 40
ALPHA = COPPER_TEMPERATURE_COEFFICIENT_PER_K.value
SLACK = 1e-6  # a bound prunes only beyond this share of its limit


@dataclass(frozen=True)
class Sieved:
    """
    For one system: per radio the ways that may work (indices) with their yearly energy bound, or what stops it.

    `worst` is (code, subject, normalised margin) of the nearest that the best way of the worst radio comes to its limit.
    """

    ways: tuple[tuple[int, ...], ...]
    energy_kwh: tuple[Array, ...]
    common_kwh: float
    breakers: tuple[int, ...]
    worst: tuple[str, str, float] | None


@dataclass(frozen=True, slots=True)
class _Copper:
    """One wire of a cable in its bundle."""

    r20: float  # ohm/km
    contact_ohm: float
    rated_a: float
    reference_a: float
    limit_c: float
    iz_a: float

    def ohm(self, length_m: float, theta_c: Array | float) -> Array:
        return np.asarray(self.r20 * length_m / 1000 * (1 + ALPHA * (np.asarray(theta_c) - 20)) + self.contact_ohm)


@dataclass(frozen=True, slots=True, eq=False)
class _Ways:
    """The ways of one radio as arrays."""

    rating_a: Array
    breaker_ohm: Array
    length_m: Array
    r20: Array
    contact_ohm: Array
    rated_a: Array
    reference_a: Array
    limit_c: Array
    iz_a: Array


class Sieve:
    """Bounds for the systems of one site, with the results kept by electrical class."""

    def __init__(self, site: Site, catalogue: Catalogue, limits: Limits, scenarios: tuple[Scenario, ...]) -> None:
        self.site, self.catalogue = site, catalogue
        self.low = min((s for s in scenarios if s.load_fraction >= 1), key=lambda s: s.bus_v)
        black = surface("black_sheath")
        self.sheath_c = float(
            sun_temperature_c(
                self.low.ambient_c, self.low.sun_w_per_m2, black.absorptivity, black.emissivity, STILL_AIR_W_PER_M2_K
            )
        )
        self.power: list[float] = []
        self.minimum: list[float] = []
        for radio in site.radios:
            part = catalogue.get(radio.part, RadioPart)
            self.power.append(radio.maximum_w or part.maximum_w)
            own = Limit(
                "power.voltage-at-radio",
                radio.minimum_v or part.minimum_v,
                "V",
                Sense.AT_LEAST,
                Authority.PART,
                Source("part"),
            )
            limit = limits.in_force("power.voltage-at-radio", own)
            self.minimum.append(limit.value if limit else own.value)
        self._known: dict[tuple[object, ...], Sieved] = {}
        self._coppers: dict[tuple[str, int, str], _Copper] = {}
        self._known_ways: dict[tuple[int, int, str], _Ways] = {}

    def of(self, system: System) -> Sieved:
        t, b = system.trunk, system.box
        key = (
            system.form, system.trunks, system.pairs_each, system.bussed_pairs, system.length_m, id(system.ways),
            (t.conductor_area_mm2, t.conductor_class, t.tinned, t.insulation, t.dc_foot, t.dc_head) if t else None,
            (b.dc_in, b.dc_out, b.output_rated_a, b.output_breaker_a, b.path_resistance_ohm, b.total_rated_a) if b else None,
        )  # fmt: skip
        if key not in self._known:
            self._known[key] = self._bussed(system) if system.bussed_pairs else self._own(system)
        return self._known[key]

    # -- pieces ------------------------------------------------------------------------------------------------------

    def _contacts(self, *names: str | None) -> tuple[float, float]:
        """Resistance of some contacts on one wire, and the lowest rating among them."""
        found = [self.catalogue.connector(name) for name in names if name]
        return sum(c.resistance_ohm for c in found), min(
            (c.rated_a for c in found if c.rated_a is not None), default=np.inf
        )

    def _copper(self, cable: Cable, circuits: int, arrangement: str) -> _Copper:
        """What one wire of a cable does, kept by cable and bundle."""
        key = (cable.id, max(circuits, 1), arrangement)
        if key not in self._coppers:
            r20 = conductor_ohm_per_km(cable.conductor_area_mm2 or 0.0, cable.conductor_class, cable.tinned)
            ohm, rated = self._contacts(cable.dc_foot, cable.dc_head)
            name = NAMES[cable.insulation]
            reference = float(
                ampacity_a(cable.conductor_area_mm2 or 0.0, name, 30.0, key[1], cast(Arrangement, arrangement))
            )
            limit = LIMIT_C[name]
            iz = reference * float(np.sqrt(max(limit - self.sheath_c, 0.0) / (limit - 30.0)))
            self._coppers[key] = _Copper(r20, ohm, rated, reference, limit, iz)
        return self._coppers[key]

    def _arrays(self, ways: tuple[Way, ...], circuits: int, arrangement: str) -> _Ways:
        """The ways of a radio as arrays, kept by the tuple."""
        key = (id(ways), circuits, arrangement)
        if key not in self._known_ways:
            coppers = [self._copper(w.dc, circuits, arrangement) for w in ways]
            self._known_ways[key] = _Ways(
                np.array([w.breaker.rated_a if w.breaker else np.inf for w in ways]),
                np.array([_breaker_ohm(w.breaker) for w in ways]),
                np.array([w.dc_length_m for w in ways]),
                *(
                    np.array([getattr(c, name) for c in coppers])
                    for name in ("r20", "contact_ohm", "rated_a", "reference_a", "limit_c", "iz_a")
                ),
            )
        return self._known_ways[key]

    def _states(self) -> list[tuple[float, float]]:
        return [(s.load_fraction, s.hours_h) for s in self.site.policy.load]

    def _energy(self, power_w: float, loop_ohm: Array) -> Array:
        """Lowest yearly heat in a loop, kWh: on float, nothing lost before it."""
        total = np.zeros_like(loop_ohm)
        source = self.site.cabinet.plant.float_v
        for fraction, hours in self._states():
            p = power_w * fraction
            root = np.sqrt(np.maximum(source**2 - 4 * loop_ohm * p, 0.0))
            current = 2 * p / (source + root)
            total += hours * current**2 * loop_ohm
        return np.asarray(total * 365.25 / 1000)

    # -- straight boxes and separate runs ----------------------------------------------------------------------------

    def _own(self, system: System) -> Sieved:
        n = len(self.site.radios)
        trunk, box = system.trunk, system.box
        circuits = min(len(g) for g in shares(n, system.trunks)) * system.pairs_each if trunk else n
        copper = self._copper(trunk, circuits, "bunched") if trunk is not None else None
        path = box.path_resistance_ohm if box else 0.0
        bus = self.low.bus_v
        rows: list[tuple[tuple[int, ...], Array, tuple[str, str, float]]] = []
        for _ in range(2):  # the second sweep knows the lowest total current and so the highest bus voltage
            rows, total = [], 0.0
            for k, ways in enumerate(system.ways):
                found, current = self._radio(k, ways, copper, system, circuits, path, bus)
                rows.append(found)
                total += current
            bus = self.low.bus_v - self.site.cabinet.plant.source_resistance_ohm * total
        worst = min((row[2] for row in rows if not row[0]), key=lambda w: w[2], default=None)
        return Sieved(tuple(r[0] for r in rows), tuple(r[1] for r in rows), 0.0, (), worst)

    def _radio(
        self, k: int, ways: tuple[Way, ...], trunk: _Copper | None, system: System, circuits: int, path: float, bus: float,
        output: float | None = None,
    ) -> tuple[tuple[tuple[int, ...], Array, tuple[str, str, float]], float]:  # fmt: skip
        """Which ways of a radio may work, their energy bound, the nearest miss, and the lowest current of all of them."""
        power, lowest = self.power[k], self.minimum[k]
        run = system.trunk is None
        a = self._arrays(ways, circuits if run else 1, "ladder")
        current = np.zeros(len(ways))
        voltage = np.full(len(ways), bus)
        side = system.pairs_each
        for _ in range(ROUNDS):
            theta = self.sheath_c + (a.limit_c - 30.0) * (current / a.reference_a) ** 2
            loop = 2 * (a.r20 * a.length_m / 1000 * (1 + ALPHA * (theta - 20)) + a.contact_ohm) + a.breaker_ohm + path
            if trunk is not None:
                loop = loop + 2 * trunk.ohm(system.length_m, self._theta(trunk, current / side)) / side
            inside = bus**2 - 4 * loop * power
            voltage = (
                np.where(inside >= 0, (bus + np.sqrt(np.maximum(inside, 0.0))) / 2, 0.0)
                if bus > 0
                else np.zeros(len(ways))
            )
            current = np.where(voltage > 0, power / np.where(voltage > 0, voltage, 1.0), 0.0)
        iz, rated = a.iz_a, a.rated_a
        if trunk is not None:
            iz, rated = np.minimum(iz, trunk.iz_a * side), np.minimum(rated, trunk.rated_a * side)
        rating = a.rating_a if output is None else np.full(len(ways), output)
        box_a = system.box.output_rated_a if system.box else np.inf
        margins = np.stack([
            (voltage - lowest) / lowest,
            _share(rating - current, rating),
            np.where(np.isfinite(rating), _share(iz - rating, iz), 1.0),
            _share(rated - current, rated),
            _share(box_a - current, np.full(len(ways), box_a)),
        ])  # fmt: skip
        kept = tuple(int(n) for n in np.flatnonzero((margins > -SLACK).all(axis=0)))
        near = int(np.argmax(margins.min(axis=0)))
        miss = (CODES[int(np.argmin(margins[:, near]))], self.site.radios[k].id, float(margins[:, near].min()))
        mean = self.site.climate.mean_c
        cold = 2 * (a.r20 * a.length_m / 1000 * (1 + ALPHA * (mean - 20)) + a.contact_ohm) + a.breaker_ohm + path
        if trunk is not None:
            cold = cold + 2 * trunk.ohm(system.length_m, mean) / side
        lowest_current = float(current[list(kept)].min()) if kept else 0.0
        return (kept, self._energy(power, cold), miss), lowest_current

    def _theta(self, copper: _Copper, current: Array) -> Array:
        return np.asarray(self.sheath_c + (copper.limit_c - 30.0) * (current / copper.reference_a) ** 2)

    # -- one combination ---------------------------------------------------------------------------------------------

    def misses(self, system: System, picked: tuple[int, ...]) -> tuple[int, ...]:
        """
        Slots of one combination that no proof can pass: a radio below its minimum, a breaker or contact beyond its rating.

        Backward-forward sweeps from the emf fall towards the solution from above, so that after any number of them each
        voltage is an upper and each current a lower bound; conductor temperatures follow from those currents.
        """
        n = len(self.site.radios)
        a = [self._arrays(ways, n if system.trunk is None else 1, "ladder") for ways in system.ways]
        r20, length, contact, reference, limit, rated, iz, rating, breaker = (
            np.array([getattr(one, name)[picked[k]] for k, one in enumerate(a)])
            for name in (
                "r20",
                "length_m",
                "contact_ohm",
                "reference_a",
                "limit_c",
                "rated_a",
                "iz_a",
                "rating_a",
                "breaker_ohm",
            )
        )
        power, lowest = np.array(self.power), np.array(self.minimum)
        path = system.box.path_resistance_ohm if system.box else 0.0
        emf, r0, side = self.low.bus_v, self.site.cabinet.plant.source_resistance_ohm, system.pairs_each
        groups = shares(n, system.trunks) if system.trunk is not None else ()
        member = np.zeros(n, np.intp)
        for g, some in enumerate(groups):
            member[list(some)] = g
        pairs = system.bussed_pairs
        copper = None
        pair_breaker: Breaker | None = None
        if system.trunk is not None:
            smallest = min((len(some) for some in groups), default=1)
            copper = self._copper(system.trunk, pairs or smallest * side, "bunched")
            pair_breaker = system.pair_breakers[picked[-1]] if pairs else None
        current = power / emf
        voltage = np.full(n, emf)
        shared: Array = np.zeros(max(len(groups), 1))
        for _ in range(SWEEPS):
            bus = emf - r0 * float(current.sum())
            own = np.full(n, bus)
            if copper is not None and pairs:
                shared = np.asarray(np.bincount(member, current, len(groups)), float)
                wire = copper.ohm(system.length_m, self._theta(copper, shared / pairs))
                own = bus - ((2 * wire + _breaker_ohm(pair_breaker)) / pairs * shared)[member]
            loop = (
                2
                * (
                    r20
                    * length
                    / 1000
                    * (1 + ALPHA * (self.sheath_c + (limit - 30.0) * (current / reference) ** 2 - 20))
                    + contact
                )
                + breaker
                + path
            )
            if copper is not None and not pairs:
                loop = loop + 2 * copper.ohm(system.length_m, self._theta(copper, current / side)) / side
            inside = own**2 - 4 * loop * power
            if np.any(inside < 0) or np.any(own <= 0):
                return tuple(int(k) for k in np.flatnonzero((inside < 0) | (own <= 0)))
            voltage = (own + np.sqrt(inside)) / 2
            if np.any(voltage < lowest * (1 - SLACK)):
                break
            following = power / voltage
            if np.max(np.abs(following - current)) < 1e-6:
                current = following
                break
            current = following
        bad = (voltage < lowest * (1 - SLACK)) | (current > rated * (1 + SLACK))
        if pairs:
            output = system.box.output_breaker_a if system.box is not None else None
            if output is not None:
                bad |= (current > output * (1 + SLACK)) | (iz < output * (1 - SLACK))
        else:
            bad |= current > rating * (1 + SLACK)
        out = [int(k) for k in np.flatnonzero(bad)]
        if pair_breaker is not None and float(shared.max()) / pairs > pair_breaker.rated_a * (1 + SLACK):
            out.append(n)
        return tuple(out)

    # -- bussed boxes ------------------------------------------------------------------------------------------------

    def _bussed(self, system: System) -> Sieved:
        site, n = self.site, len(self.site.radios)
        trunk, box = system.trunk, system.box
        assert trunk is not None
        assert box is not None
        pairs = system.bussed_pairs
        emf, r0, mean = self.low.bus_v, site.cabinet.plant.source_resistance_ohm, site.climate.mean_c
        groups = shares(n, system.trunks)
        copper = self._copper(trunk, pairs, "bunched")
        breaker_ohms = min((_breaker_ohm(b) for b in system.pair_breakers), default=0.0)
        least = np.array(self.power) / emf  # lowest currents
        rows: list[tuple[tuple[int, ...], Array, tuple[str, str, float]]] = []
        for _ in range(3):
            rows, better = [], np.array(least)
            for group in groups:
                own = float(sum(least[m] for m in group))
                pair = 2 * float(copper.ohm(system.length_m, self._theta(copper, np.array(own / pairs)))) + breaker_ohms
                bus = emf - r0 * float(least.sum()) - pair / pairs * own
                for m in group:
                    found, current = self._radio(
                        m, system.ways[m], None, system, 1, box.path_resistance_ohm, bus, box.output_breaker_a
                    )
                    rows.append(found)
                    better[m] = max(better[m], current)
            least = better
        peak = max(float(sum(least[m] for m in group)) for group in groups) / pairs
        keep = []
        nearest = ("power.breaker-protects-pair", "T1", -1.0)
        for index, breaker in enumerate(system.pair_breakers):
            contact = (copper.rated_a - peak) / copper.rated_a if np.isfinite(copper.rated_a) else 1.0
            margin = min(
                (breaker.rated_a - peak) / breaker.rated_a, (copper.iz_a - breaker.rated_a) / copper.iz_a, contact
            )
            if margin > -SLACK:
                keep.append(index)
            if margin > nearest[2]:
                code = "power.design-current" if breaker.rated_a < peak else "power.breaker-protects-pair"
                nearest = (code, "T1", margin)
        worst = min((row[2] for row in rows if not row[0]), key=lambda w: w[2], default=None)
        if not keep and worst is None:
            worst = nearest
        common = 0.0
        loop = (2 * float(copper.ohm(system.length_m, mean)) + breaker_ohms) / pairs
        for group in groups:
            for fraction, hours in self._states():
                total = sum(self.power[m] for m in group) * fraction / site.cabinet.plant.float_v
                common += hours * total**2 * loop * 365.25 / 1000
        return Sieved(tuple(r[0] for r in rows), tuple(r[1] for r in rows), common, tuple(keep), worst)


CODES = (
    "power.voltage-at-radio",
    "power.design-current",
    "power.breaker-protects-pair",
    "power.contact-current",
    "power.box-output-current",
)


def _breaker_ohm(breaker: Breaker | None) -> float:
    if breaker is None:
        return 0.0
    return breaker.resistance_ohm if breaker.resistance_ohm is not None else float(breaker_ohm(breaker.rated_a))


def _share(margin: Array, of: Array) -> Array:
    """A margin as a share of its rating; 1 where there is no rating."""
    fine = np.isfinite(of)
    return np.where(fine, margin / np.where(fine, of, 1.0), 1.0)
