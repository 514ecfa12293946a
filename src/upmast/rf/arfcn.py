"""Channel numbers of 3GPP, both ways: EARFCN of a band's downlink or uplink, and NR-ARFCN of the global raster."""

from __future__ import annotations

from functools import cache
from types import MappingProxyType
from typing import NamedTuple

from upmast.table import read

__all__ = ["Numbered", "channel_hz", "earfcn", "earfcn_hz", "nr_arfcn", "nr_arfcn_hz"]

STEP_HZ = 100_000  # of EARFCN
# lowest frequency, first number, step and last number of the three ranges of the global raster
_RANGES = (
    (0, 0, 5_000, 599_999),
    (3_000_000_000, 600_000, 15_000, 2_016_666),
    (24_250_080_000, 2_016_667, 60_000, 3_279_165),
)


class Numbered(NamedTuple):
    """What an EARFCN stands for: its band, `downlink` or `uplink`, and the carrier frequency."""

    band: str
    way: str
    frequency_hz: int


class _Row(NamedTuple):
    band: str
    way: str
    low_hz: int
    first: int
    last: int


@cache
def _rows() -> MappingProxyType[tuple[str, str], _Row]:
    out: dict[tuple[str, str], _Row] = {}
    for row in read("upmast.rf", "bands_lte").rows:
        name = f"B{row['band']}"
        if row["dl_low_mhz"] and row["dl_earfcn_offset"]:
            first = int(row["dl_earfcn_offset"])
            last = int(row["dl_earfcn_last"])
            out[name, "downlink"] = _Row(name, "downlink", round(float(row["dl_low_mhz"]) * 1e6), first, last)
        if row["duplex"] == "FDD" and row["ul_low_mhz"] and row["ul_earfcn_offset"]:
            low, high = float(row["ul_low_mhz"]), float(row["ul_high_mhz"])
            first = int(row["ul_earfcn_offset"])
            out[name, "uplink"] = _Row(name, "uplink", round(low * 1e6), first, first + round((high - low) * 10) - 1)
    return MappingProxyType(out)


def earfcn_hz(number: int) -> Numbered:
    """
    Carrier frequency of an EARFCN: `F = F_low + 0.1 MHz (N - N_offset)`.

    Raises
    ------
    ValueError
        If no band has that number.

    Source: 3GPP TS 36.101, 5.7.3.

    >>> earfcn_hz(1300)
    Numbered(band='B3', way='downlink', frequency_hz=1815000000)
    """
    for row in _rows().values():
        if row.first <= number <= row.last:
            return Numbered(row.band, row.way, row.low_hz + STEP_HZ * (number - row.first))
    raise ValueError(f"no band of 3GPP TS 36.101 has the channel number {number}")


def earfcn(frequency_hz: int, band: str, way: str = "downlink") -> int:
    """
    EARFCN of a carrier frequency in a band.

    Raises
    ------
    ValueError
        If the band has no such way, or the frequency lies outside it or not on its raster of 100 kHz.

    >>> earfcn(1_815_000_000, "B3"), earfcn(1_720_000_000, "B3", "uplink")
    (1300, 19300)
    """
    row = _rows().get((band, way))
    if row is None:
        raise ValueError(f"{band} has no {way} with channel numbers of 3GPP TS 36.101")
    steps, off = divmod(int(frequency_hz) - row.low_hz, STEP_HZ)
    if off or not row.first <= row.first + steps <= row.last:
        raise ValueError(
            f"{frequency_hz / 1e6:g} MHz is no channel of the {way} of {band}: steps of 0.1 MHz from {row.low_hz / 1e6:g} MHz"
        )
    return row.first + steps


def nr_arfcn_hz(number: int) -> int:
    """
    Reference frequency of an NR-ARFCN on the global raster: `F = F_offs + dF (N - N_offs)`.

    Raises
    ------
    ValueError
        Below 0 and above 3 279 165.

    Source: 3GPP TS 38.104, 5.4.2.1.

    >>> nr_arfcn_hz(630_000), nr_arfcn_hz(153_600)
    (3450000000, 768000000)
    """
    for low, first, step, last in _RANGES:
        if first <= number <= last:
            return low + step * (number - first)
    raise ValueError(f"an NR-ARFCN lies between 0 and {_RANGES[-1][-1]}, not {number}")


def nr_arfcn(frequency_hz: int) -> int:
    """
    NR-ARFCN of a frequency.

    Raises
    ------
    ValueError
        If it is not on the raster: 5 kHz below 3 GHz, 15 kHz to 24.25 GHz, 60 kHz above.

    >>> nr_arfcn(3_450_000_000)
    630000
    """
    for low, first, step, last in reversed(_RANGES):
        if frequency_hz >= low:
            steps, off = divmod(int(frequency_hz) - low, step)
            if off or first + steps > last:
                raise ValueError(
                    f"{frequency_hz / 1e6:g} MHz is not on the raster of {step / 1e3:g} kHz of the NR-ARFCN"
                )
            return first + steps
    raise ValueError("a frequency of 0 or more")


def channel_hz(number: int, band: str) -> int:
    """
    Downlink carrier frequency of a channel number in a band: an EARFCN for `B...`, an NR-ARFCN for `n...`.

    Raises
    ------
    ValueError
        If the number is not one of the band's downlink.

    >>> channel_hz(1300, "B3"), channel_hz(630_000, "n78")
    (1815000000, 3450000000)
    """
    from upmast.rf.bands import band as found

    known = found(band)
    if known.name.startswith("B"):
        got = earfcn_hz(number)
        if (got.band, got.way) != (known.name, "downlink"):
            raise ValueError(f"channel {number} is in the {got.way} of {got.band}, not in the downlink of {known.name}")
        return got.frequency_hz
    at = nr_arfcn_hz(number)
    if known.downlink_hz is None or not known.downlink_hz[0] <= at <= known.downlink_hz[1]:
        raise ValueError(f"channel {number} is at {at / 1e6:g} MHz, not in the downlink of {known.name}")
    return at
