"""The channels that one carrier uses: what the site transmits, and what it receives in the paired or the same channel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from upmast.rf.bands import Band, all_bands, band

Range = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Channel:
    """
    One carrier with its band.

    `receive_hz` is None where nothing is received: supplementary downlink, or a downlink without its uplink. `tdd_hz` is the
    span of a band in which sending and receiving take turns, (0, 0) where they go on together.
    """

    band: str
    transmit_hz: Range
    receive_hz: Range | None
    tdd_hz: Range = (0, 0)

    @property
    def used_hz(self) -> tuple[Range, ...]:
        """Transmit and receive channel, each once."""
        return tuple(dict.fromkeys(way for way in (self.transmit_hz, self.receive_hz) if way is not None))


def carrier_channel(centre_hz: float, width_hz: float, name: str = "", radio_bands: Sequence[str] = ()) -> Channel:
    """
    Channels of a carrier: with paired bands the receive channel lies as far from the band's uplink edge as the carrier from
    its downlink edge, f_up = f - (F_DL,low - F_UL,low).

    Parameters
    ----------
    centre_hz, width_hz [Hz]: the transmitted carrier.
    name: its band; empty if not known.
    radio_bands: bands of the radio, which go before the rest of the table where the name is not given.

    Raises
    ------
    ValueError
        If no band fits, or several that pair differently; the message says what is missing.

    Source: band edges 3GPP TS 36.101 table 5.5-1 and TS 38.104 table 5.2-1; default separation: distance of the lower edges.

    >>> carrier_channel(1815e6, 20e6, "B3").receive_hz
    (1710000000, 1730000000)
    """
    return _channel(round(centre_hz), round(width_hz), name, tuple(radio_bands))


@lru_cache(maxsize=4096)
def _channel(centre: int, width: int, name: str, radio_bands: tuple[str, ...]) -> Channel:
    if not (centre > 0 and width > 0):
        raise ValueError("a carrier has a centre and a width above 0")
    low = centre - width // 2
    transmit = (low, low + width)
    if name:
        fitting = [band(name)]
    else:
        own = [known for known in (all_bands().get(n) for n in radio_bands) if known is not None]
        fitting = [known for known in own if _holds(known, transmit)]
        fitting = fitting or [known for known in all_bands().values() if _holds(known, transmit)]
    made = [_of(known, transmit) for known in fitting]
    if not made:
        raise ValueError(f"the band of the carrier at {centre / 1e6:g} MHz: none of the table holds it")
    if len({(one.receive_hz, one.tdd_hz != (0, 0)) for one in made}) > 1:
        names = ", ".join(one.band for one in made[:6])
        raise ValueError(f"the band of the carrier at {centre / 1e6:g} MHz: {names} fit and pair differently")
    return made[0]


def _holds(known: Band, transmit: Range) -> bool:
    way = known.downlink_hz
    return way is not None and way[0] <= transmit[0] and transmit[1] <= way[1]


def _of(known: Band, transmit: Range) -> Channel:
    up, down = known.uplink_hz, known.downlink_hz
    if down is None:
        raise ValueError(f"a band with a downlink: {known.name} has none")
    if known.duplex == "TDD":
        return Channel(known.name, transmit, transmit, down)
    if up is None:
        return Channel(known.name, transmit, None)
    shift = down[0] - up[0]
    receive = (transmit[0] - shift, transmit[1] - shift)
    # A downlink wider than its uplink (B66) has channels without a pair.
    paired = receive[0] < up[1] and up[0] < receive[1]
    return Channel(known.name, transmit, receive if paired else None)
