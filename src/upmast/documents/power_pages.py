"""The pictures of the DC power in the calculation sheet, each with the words that stand for it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from upmast.catalogue.catalogue import Catalogue
from upmast.documents.chart import chart_svg
from upmast.documents.power_charts import voltage_along_spec, voltage_over_emf_spec, voltage_over_length_spec
from upmast.documents.power_curves import battery_spec, breaker_spec, life_cost_spec
from upmast.documents.power_maps import margin_map_spec, section_spec
from upmast.documents.power_picture import seen_of
from upmast.documents.sheet import Picture
from upmast.proof.prove import Proof
from upmast.proof.supply import Supply, supply_of


@dataclass(frozen=True, slots=True)
class PowerPicture:
    """One picture: a short name, its specification, the words that stand for it, and its caption."""

    name: str
    spec: Mapping[str, Any]
    alt: str
    caption: str


WORDS: dict[str, tuple[str, str]] = {
    "emf": (
        "Lines: the voltage at each radio over the emf of the plant, with minimum, cut-out and the end of the operating points.",
        "Voltage at each radio as the plant's emf falls",
    ),
    "length": (
        "Lines: the voltage at the worst radio over the length of its feeding cable, one for each size, with the minimum.",
        "Voltage at the worst radio over the length of its feeding cable",
    ),
    "way": (
        "Two step lines: the line wire falls and the return wire rises from the plant to the worst radio; each step with its volts.",
        "Where the voltage is lost on the way to the worst radio",
    ),
    "map": (
        "Cells with numbers: the least margin of all radios over the temperature of the air and the emf of the plant.",
        "Least voltage margin over air and emf",
    ),
    "section": (
        "Circles in a ring: the conductors of the hottest cable in its sheath, each with its temperature.",
        "Conductor temperatures in the section of the cable",
    ),
    "breaker": (
        "A band over current and time: when the breaker trips, with design current, short-circuit currents and what the wire withstands.",
        "When a breaker trips, and what its wire withstands",
    ),
    "battery": (
        "Lines over time: emf, bars and radios on battery; bars below: how long each radio is on.",
        "On battery: voltages, and who is on",
    ),
    "life-cost": (
        "Bars: the cost of each size of the feeding cables over its life, bought and with its losses; the cheapest is marked.",
        "Cost over the life by size",
    ),
}  # fmt: skip


def power_pictures(
    proof: Proof, supply: Supply | None = None, catalogue: Catalogue | None = None
) -> Iterator[PowerPicture]:
    """
    Every picture of the DC power for which the proof has the data.

    Parameters
    ----------
    supply: `supply_of` of the same proof, made if not given. catalogue: where other sizes of cable are looked for.
    """
    seen = seen_of(proof)
    if seen is None:
        return
    made: dict[str, Callable[[], dict[str, Any] | None]] = {
        "emf": lambda: voltage_over_emf_spec(proof, seen),
        "length": lambda: voltage_over_length_spec(proof, catalogue, seen),
        "way": lambda: voltage_along_spec(proof, seen),
        "map": lambda: margin_map_spec(proof, seen),
        "section": lambda: section_spec(proof, seen),
        "breaker": lambda: breaker_spec(proof, "", seen),
        "battery": lambda: battery_spec(proof, seen),
        "life-cost": lambda: life_cost_spec(proof, supply or supply_of(proof, catalogue)),
    }
    for name, spec_of in made.items():
        spec = spec_of()
        if spec is not None:
            yield PowerPicture(name, spec, *WORDS[name])


def power_blocks(proof: Proof, supply: Supply | None = None, catalogue: Catalogue | None = None) -> Iterator[Picture]:
    """The same as blocks of a document, drawn."""
    for one in power_pictures(proof, supply, catalogue):
        yield Picture(chart_svg(one.spec), one.alt, one.caption)


__all__ = ["PowerPicture", "power_blocks", "power_pictures"]
