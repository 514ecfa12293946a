"""Small catalogues and sites, whose lines can all be counted; and the best of them by trying every one."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from upmast import yamlfile
from upmast.catalogue.catalogue import Catalogue, from_text, standard
from upmast.catalogue.part import Box, Cable, Part
from upmast.errors import MateError, UsageError
from upmast.finding import Verdict
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.plan.cost import Cost, cost_of
from upmast.proof.prove import prove
from upmast.site.load import from_text as site_from_text
from upmast.site.site import Site

KEPT = ("connector", "clamp", "grip", "bond", "cap", "seal", "optic", "radio", "antenna")
FAMILIES = ("trunk", "dc-cable", "fibre-cable", "hybrid-jumper", "dc-jumper", "fibre-jumper")


@lru_cache(maxsize=1)
def _common() -> dict[str, Part]:
    return {part.id: part for part in standard() if getattr(part, "kind", "") in KEPT}


def catalogue(text: str) -> Catalogue:
    """Connectors, hardware and radios of the standard catalogue; cables, boxes and breakers of the text."""
    return Catalogue(_common(), {}).merged(from_text(yamlfile.parse("parts:\n" + text)))


def cable(id: str, kind: str, *, pairs: int, area: float, strands: int, cost: float, per_m: float, mass: float, lead: float,
          ends: tuple[str, str, str, str], size: float, more: str = "") -> str:  # fmt: skip
    dc = f"pairs_count: {pairs}, conductor_area_mm2: {area}, dc_foot: {ends[0]}, dc_head: {ends[1]}, " if pairs else ""
    fibre = f"strands_count: {strands}, fibre_foot: {ends[2]}, fibre_head: {ends[3]}, " if strands else ""
    return (
        f"  - {{id: {id}, kind: {kind}, title: a cable, cost: {cost}, cost_per_m: {per_m}, mass_kg: 0.3, mass_kg_per_m: {mass}, "
        f"lead_time_d: {lead}, source: invented, {dc}{fibre}diameter_mm: {size}, maximum_pull_n: 4000, longest_m: 200{more}}}\n"
    )


TRUNK = ("dc-bare", "dc-bare", "lc-duplex-plug", "lc-duplex-plug")
JUMPER = ("dc-outdoor-plug", "dc-radio-plug", "lc-duplex-outdoor-plug", "lc-duplex-hatch-plug")
RUN = ("dc-bare", "dc-radio-plug", "lc-duplex-plug", "lc-duplex-hatch-plug")


def box(id: str, topology: str, ins: int, outs: int, duplexes: int, cost: float, mass: float, lead: float) -> str:
    own = ", output_breaker_a: 40" if topology == "bussed" else ""
    return (
        f"  - {{id: {id}, kind: box, title: a box, cost: {cost}, mass_kg: {mass}, lead_time_d: {lead}, source: invented, "
        f"topology: {topology}, dc_in_count: {ins}, dc_in: dc-terminal-25, dc_out_count: {outs}, dc_out: dc-outdoor-jack, "
        f"fibre_in_count: {duplexes}, fibre_in: lc-duplex-jack, fibre_out_count: {duplexes}, fibre_out: lc-duplex-outdoor-jack, "
        f"output_rated_a: 40, total_rated_a: 160, path_resistance_ohm: 0.001, height_mm: 300, width_mm: 300, depth_mm: 150, "
        f"ip: IP65{own}}}\n"
    )


def breaker(rated: float, cost: float, lead: float = 5.0, kilo: float = 10.0) -> str:
    return (
        f"  - {{id: breaker-{rated:g}, kind: breaker, title: a breaker, cost: {cost}, mass_kg: 0.2, lead_time_d: {lead}, source: invented, "
        f"rated_a: {rated}, rated_v: 80, breaking_ka: {kilo}, trip_low_multiple: 3, trip_high_multiple: 5}}\n"
    )


def random_parts(seed: int) -> str:
    """Two trunks, a straight and a bussed box, three jumpers, runs, breakers; prices, masses and deliveries at random."""
    rng = np.random.default_rng(seed)

    def price(low: float, high: float) -> float:
        return round(float(rng.uniform(low, high)), 2)

    def days() -> float:
        return float(rng.choice([3, 5, 10, 20, 40]))

    text = ""
    for n, area in enumerate(rng.choice([6, 10, 16, 25], 2, replace=False)):
        pairs = int(rng.choice([2, 4]))
        text += cable(f"t{n}", "trunk", pairs=pairs, area=float(area), strands=8, cost=price(80, 200), per_m=price(8, 30),
                      mass=price(0.5, 3), lead=days(), ends=TRUNK, size=price(20, 40), more=", duplex_kind: A-A, shield_area_mm2: 8")  # fmt: skip
    text += box("bs", "straight", 3, 3, 4, price(300, 700), price(5, 12), days())
    text += box("bb", "bussed", 2, 3, 6, price(300, 700), price(5, 12), days())
    for n, area in enumerate(rng.choice([4, 6, 10], 2, replace=False)):
        text += cable(f"d{n}", "dc-jumper", pairs=1, area=float(area), strands=0, cost=price(30, 60), per_m=price(2, 5),
                      mass=price(0.1, 0.5), lead=days(), ends=JUMPER, size=price(10, 17))  # fmt: skip
    text += cable("h0", "hybrid-jumper", pairs=1, area=float(rng.choice([4, 6])), strands=2, cost=price(60, 110), per_m=price(3, 6),
                  mass=price(0.2, 0.5), lead=days(), ends=JUMPER, size=price(12, 18))  # fmt: skip
    text += cable("f0", "fibre-jumper", pairs=0, area=0, strands=2, cost=price(20, 50), per_m=price(1, 2), mass=0.04, lead=days(),
                  ends=JUMPER, size=6.0)  # fmt: skip
    text += cable("r0", "dc-cable", pairs=1, area=float(rng.choice([6, 10, 16])), strands=0, cost=price(20, 50), per_m=price(4, 9),
                  mass=price(0.3, 0.7), lead=days(), ends=RUN, size=price(14, 20), more=", shield_area_mm2: 6")  # fmt: skip
    text += cable("g0", "fibre-cable", pairs=0, area=0, strands=int(rng.choice([2, 4])), cost=price(20, 60), per_m=price(1, 3),
                  mass=0.05, lead=days(), ends=RUN, size=7.0)  # fmt: skip
    for rated in rng.choice([16, 20, 25, 32, 40], 3, replace=False):
        text += breaker(float(rated), price(15, 45), days(), float(rng.choice([4.0, 10.0, 10.0, 10.0, 10.0])))
    return text


def site(rows: list[str], policy: str, route_m: float = 30.0, more: str = "", known: Catalogue | None = None) -> Site:
    text = f"""
version: 1
id: S
cabinet: {{plant: {{float_v: 54, on_battery_v: 50, end_of_discharge_v: 43.2, source_resistance_ohm: 0.006, short_circuit_ka: 5}}}}
route: {{slack_m: 1, legs: [{{name: up the mast, kind: vertical, length_m: {route_m}}}]}}
mast: {{kind: lattice, height_m: {route_m + 10}, box_height_m: {route_m}}}
sectors: [{{id: A, azimuth_deg: 0}}]
radios:
{chr(10).join(rows)}
policy: {{{policy}}}
{more}
"""
    return site_from_text(yamlfile.parse(text), known or standard())


def panel(
    id: str, watts: float, above_m: float, links: int = 1, standby: int = 0, part: str = "radio-n78-panel"
) -> str:
    return (
        f"  - {{id: {id}, sector: A, part: {part}, maximum_w: {watts}, typical_w: {min(watts, 300)}, height_m: {above_m}, "
        f"fibre: {{links_count: {links}, standby_count: {standby}}}}}"
    )


def random_rows(seed: int, count: int = 2) -> tuple[list[str], float]:
    """Radios of a small site, some of them alike, and the length of its route."""
    rng = np.random.default_rng(seed + 1000)
    route = float(rng.choice([20, 40, 70]))
    same = rng.random() < 0.5
    watts = [float(rng.integers(300, 1150)) for _ in range(count)]
    heights = [route + float(rng.choice([2, 4])) for _ in range(count)]
    links = [int(rng.integers(1, 3)) for _ in range(count)]
    if same:
        watts, heights, links = [watts[0]] * count, [heights[0]] * count, [links[0]] * count
    return [panel(f"A{n + 1}", w, h, k) for n, (w, h, k) in enumerate(zip(watts, heights, links, strict=True))], route


@dataclass(frozen=True)
class Tried:
    choice: Choice
    cost: Cost


def choices(asked: Site, known: Catalogue) -> Iterator[Choice]:
    """Every line that these parts make, mating or not: no rule of the planner is used."""

    def ids(*kinds: str) -> list[str]:
        return [part.id for part in known if getattr(part, "kind", "") in kinds]

    breakers = ids("breaker")
    jumpers = [(dc, fibre) for dc in ids("dc-jumper", "hybrid-jumper") for fibre in ("", *ids("fibre-jumper"))]
    jumpers = [(dc, f) for dc, f in jumpers if not (f and known.get(dc, Cable).strands_count)]
    runs = [(dc, fibre) for dc in ids("dc-cable") for fibre in ids("fibre-cable")]
    n = len(asked.radios)
    if "separate" in asked.policy.trunks:
        for some in itertools.product([(b, *r) for b in breakers for r in runs], repeat=n):
            yield Choice("separate", tuple(RadioChoice(b, dc, f) for b, dc, f in some))
    if "hybrid" not in asked.policy.trunks:
        return
    for trunk, one, count in itertools.product(
        ids("trunk"), ids("box"), range(1, min(asked.policy.most_trunks_count, n) + 1)
    ):
        topology = known.get(one, Box).topology
        if topology not in asked.policy.boxes:
            continue
        if topology == "straight":
            for each in (1, 2):
                for some in itertools.product([(b, *j) for b in breakers for j in jumpers], repeat=n):
                    yield Choice("hybrid", tuple(RadioChoice(b, dc, f) for b, dc, f in some), trunk, count, one, each)
        else:
            for pair_breaker in breakers:
                for some in itertools.product(jumpers, repeat=n):
                    yield Choice(
                        "hybrid", tuple(RadioChoice("", dc, f) for dc, f in some), trunk, count, one, 1, pair_breaker
                    )


def every_passing(asked: Site, known: Catalogue) -> list[Tried]:
    """All lines of a site that the proof passes, with what each costs."""
    out = []
    previous = None
    for choice in choices(asked, known):
        try:
            line = build(asked, known, choice)
        except (UsageError, MateError):
            continue
        proof = prove(asked, line, rooms=("power",))
        if any(f.verdict is Verdict.FAILS for f in proof.at()):
            continue
        energy = next(f.value for f in proof.figures if f.code == "power.energy")
        previous = prove(asked, line, previous)
        if any(f.verdict is Verdict.FAILS for f in previous.at()):
            continue
        out.append(Tried(choice, cost_of(asked, line, energy)))
    return out
