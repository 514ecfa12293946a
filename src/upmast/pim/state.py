"""What the intermodulation room sees of a line, and the noise rise of each radio."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.pim.chain import PimSource
from upmast.pim.mixing import Hits, Receive, Rise, Tone, all_hits, noise_rise


@dataclass(frozen=True, slots=True)
class MetalSource:
    """Metal near the antennas of a sector: name, level with two carriers of 43 dBm at the antenna input, who says so."""

    name: str
    level_dbc: float
    document: str


@dataclass(frozen=True, eq=False)
class Inputs:
    """All that the room sees of a line. One row a radio with RF ports (m), a sector (s), a neighbour."""

    site: str
    radios: tuple[str, ...]
    items: tuple[tuple[str, ...], ...]  # [m] radio, cables, antennas
    missing: tuple[tuple[str, ...], ...]  # [m] without it no products can be found
    missing_level: tuple[tuple[str, ...], ...]  # [m] without it products have no level
    tones: tuple[tuple[Tone, ...], ...]  # [m] carriers of the radio, on each of its ports
    power_dbm: tuple[tuple[float, ...], ...]  # [m]
    channels: tuple[tuple[Receive, ...], ...]  # [m] receive channels of all radios on its antennas
    owner: tuple[tuple[str, ...], ...]  # [m] whose channel it is, the radio itself before others
    isolation_db: tuple[tuple[float, ...], ...]  # [m] 0 for its own channels
    level_dbc: tuple[float, ...]  # [m] power sum of the sources of its worst line, NaN if none is given
    path: tuple[str, ...]  # [m] that line
    sources: tuple[tuple[PimSource, ...], ...]  # [m] its sources, from the radio on
    sectors: tuple[str, ...]
    sector_items: tuple[tuple[str, ...], ...]  # [s] radios
    sector_tones: tuple[tuple[Tone, ...], ...]  # [s] each once
    sector_sets: tuple[tuple[tuple[int, ...], ...], ...]  # [s] per radio: which of them are its own
    sector_channels: tuple[tuple[Receive, ...], ...]  # [s]
    sector_missing: tuple[tuple[str, ...], ...]  # [s] carriers whose band is not known
    sector_powers_dbm: tuple[tuple[float, ...], ...]  # [s] of its tones, at the antennas or stronger
    metals: tuple[tuple[MetalSource, ...], ...]  # [s] declared metal near its antennas
    neighbours: tuple[tuple[str, tuple[Tone, ...]], ...]
    neighbour_powers_dbm: tuple[tuple[float, ...], ...]  # of their tones, as they reach metal near our antennas
    near_metal: tuple[tuple[str, str, int], ...]  # metal clamps in the zone of antennas: item, antenna, how many
    zone_items: tuple[str, ...]  # clamps of jumpers that were looked at


def found_of(inputs: Inputs, radio: int) -> Hits:
    """Products of one radio's carriers, over carriers and their twins."""
    return all_hits(inputs.tones[radio], inputs.channels[radio])


def rise_of(inputs: Inputs, radio: int) -> Rise | None:
    """Noise rise by one radio's carriers; None if no product hits."""
    return noise_rise(
        inputs.tones[radio], inputs.power_dbm[radio], inputs.channels[radio], inputs.level_dbc[radio], inputs.isolation_db[radio]
    )  # fmt: skip
