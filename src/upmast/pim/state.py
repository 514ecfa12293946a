"""What the intermodulation room sees of a line, and the noise rise of each radio."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.pim.mixing import Hits, Receive, Rise, Tone, hits, noise_rise


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
    level_dbc: tuple[float, ...]  # [m] worst of its chain, NaN if none is given
    level_part: tuple[str, ...]  # [m]
    level_source: tuple[tuple[str, str], ...]  # [m] document and mark
    sectors: tuple[str, ...]
    sector_items: tuple[tuple[str, ...], ...]  # [s] radios
    sector_tones: tuple[tuple[Tone, ...], ...]  # [s] each once
    sector_sets: tuple[tuple[tuple[int, ...], ...], ...]  # [s] per radio: which of them are its own
    sector_channels: tuple[tuple[Receive, ...], ...]  # [s]
    sector_missing: tuple[tuple[str, ...], ...]  # [s] carriers whose band is not known
    neighbours: tuple[tuple[str, tuple[Tone, ...]], ...]


def found_of(inputs: Inputs, radio: int) -> Hits:
    """Products of one radio's carriers."""
    return hits(inputs.tones[radio], inputs.channels[radio])


def rise_of(inputs: Inputs, radio: int) -> Rise | None:
    """Noise rise by one radio's carriers; None if no product hits."""
    return noise_rise(
        inputs.tones[radio], inputs.power_dbm[radio], inputs.channels[radio], inputs.level_dbc[radio], inputs.isolation_db[radio]
    )  # fmt: skip
