"""All that the fibre room sees of a line: one row a direction of each link, one a loop, and what is kept."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from upmast.fibre.coil import spiral_length_m
from upmast.source import Source

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Glass:
    """One cable on a way: highest and lowest attenuation at the wavelength sent, longest and shortest length."""

    item: str
    part: str
    attenuation_db_per_km: float
    least_db_per_km: float
    length_m: float
    shortest_m: float
    index_1310: float
    index_1550: float
    source: Source
    least_source: Source


@dataclass(frozen=True, slots=True)
class Event:
    """One mated pair or splice on a way: its ends, highest and mean loss, and its lowest return loss (None: unknown)."""

    a: str
    b: str
    part: str
    loss_db: float
    typical_db: float
    return_loss_db: float | None
    source: Source


@dataclass(frozen=True, slots=True)
class Way:
    """One direction of a link. `order` tells glass and events as they come: ('event', 0), ('glass', 0), ('event', 1) ..."""

    start: str
    meant: str
    reached: str
    right: bool
    why: str
    items: tuple[str, ...]
    strands: tuple[str, ...]
    glass: tuple[Glass, ...]
    events: tuple[Event, ...]
    order: tuple[tuple[str, int], ...]
    loops: tuple[int, ...]  # rows of `Inputs.loops` that it passes
    sender: str
    receiver: str
    sent_nm_wave: float
    received_nm_wave: float
    tx_minimum_dbm: float
    tx_maximum_dbm: float
    rx_minimum_dbm: float
    rx_maximum_dbm: float
    channel_db: float  # NaN where the class has none
    channel_source: Source
    least_return_loss_db: float  # NaN where the optics tell none
    return_loss_source: Source
    sources: tuple[tuple[str, Source], ...]  # of the four powers, by name
    low_missing: str
    high_missing: str

    @property
    def length_m(self) -> float:
        return sum(g.length_m for g in self.glass)


@dataclass(frozen=True, slots=True)
class Loop:
    """A slack loop, and what is left of its cable by the lengths of the line."""

    id: str
    cable: str
    part: str
    fibre_class: str
    diameter_mm: float
    mass_kg_per_m: float
    turns: int
    exit_turn: float
    radius_m: float
    straight_m: float
    pitch_m: float
    surplus_m: float
    surplus_off_m: float
    way_m: float
    least_radius_mm: float
    radius_source: Source
    strands: int

    @property
    def stored_m(self) -> float:
        """S = (n + f) (2 pi R + 2 d), or that of a flat spiral; see `upmast.fibre.coil`."""
        round_m = float(spiral_length_m(self.radius_m, self.turns, self.exit_turn, self.pitch_m))
        return round_m + 2 * self.straight_m * (self.turns + self.exit_turn)

    @property
    def form(self) -> str:
        """How it lies, in words."""
        count = self.turns + self.exit_turn
        words = f"{count:g} turn{'' if count == 1 else 's'} of {self.radius_m:.3f} m"
        if self.straight_m:
            words += f" with straights of {self.straight_m:.3f} m"
        return words + (f", each {1000 * self.pitch_m:.0f} mm outside of the one before" if self.pitch_m else "")


@dataclass(frozen=True, slots=True)
class Loose:
    """What is left of a cable that has no loop: it lies in its bends, or is short of one turn."""

    cable: str
    surplus_m: float
    least_radius_mm: float
    missing_m: float


@dataclass(frozen=True, slots=True)
class Life:
    """With what the life of a bent strand is reckoned, and which values are the site's own."""

    years: int
    proof_strain: float
    proof_s: float
    stress_exponent: float
    weibull_exponent: float
    breaks_per_m: float
    own: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Change:
    """A change that would put light right: in words, others that would do the same, and how many directions stay wrong."""

    words: str
    alike: tuple[str, ...]
    left: int


@dataclass(frozen=True, eq=False)
class Inputs:
    """All that the room sees. `ways` holds two rows a link, cabinet to radio first."""

    site: str
    links: tuple[str, ...]
    radio: tuple[str, ...]
    ways: tuple[Way, ...]
    pair_faults: tuple[str, ...]  # a link: what is wrong with its two optics and their strands; empty if nothing
    changes: tuple[Change, ...]
    strands_twice: tuple[tuple[str, tuple[str, ...]], ...]
    spares: tuple[tuple[str, bool, str], ...]  # link, sound, in words
    repair_db: float
    loops: tuple[Loop, ...]
    loose: tuple[Loose, ...]
    life: Life
    growth: int
    growth_asked: int
    standby: tuple[tuple[str, int, int], ...]  # radio, kept, asked
    # item, radius at rest and under pull, each with its source
    cables: tuple[tuple[str, float, Source, float, Source], ...]
    columns: dict[str, Array] = field(default_factory=dict)

    def column(self, name: str) -> Array:
        """A value of every way as an array."""
        if name not in self.columns:
            self.columns[name] = np.array([getattr(way, name) for way in self.ways], np.float64)
        return self.columns[name]


__all__ = ["Change", "Event", "Glass", "Inputs", "Life", "Loop", "Loose", "Way"]
