"""The two tones to set at a port of a radio whose bands are known."""

from __future__ import annotations

import math
from functools import lru_cache

from upmast.catalogue.part import AntennaPart, RadioPart
from upmast.line.line import Line
from upmast.line.walk import RfPath
from upmast.pim.two_tone import TwoTone, own_uplink_words, two_tone_choice
from upmast.rf.bands import band
from upmast.rf.channel import carrier_channel
from upmast.site.site import Radio


@lru_cache(maxsize=256)
def tones_for_test(
    bands: tuple[str, ...], low_hz: float = 0.0, high_hz: float = math.inf
) -> tuple[TwoTone | None, str]:
    """Two tones within the downlinks of some bands whose product falls into their uplinks, or nearest; and a sentence."""
    send, hear = [], []
    for name in bands:
        try:
            known = band(name)
        except ValueError:
            continue
        if known.duplex != "FDD" or known.downlink_hz is None or known.uplink_hz is None:
            continue
        if low_hz <= known.downlink_hz[0] and known.downlink_hz[1] <= high_hz:
            send.append(known.downlink_hz)
            hear.append(known.uplink_hz)
    if not send:
        return None, "its bands take turns: no receiver listens while they send"
    return two_tone_choice(send, hear), own_uplink_words(send, hear)


def tones_of_radio(line: Line, radio: Radio | None, path: RfPath | None) -> tuple[TwoTone | None, str]:
    """The two tones to set at a port of a radio, by the bands that its carriers use, and what those bands can do alone."""
    if radio is None:
        return None, ""
    part = line.parts.get(line.by_id[radio.id].part) if radio.id in line.by_id else None
    if not isinstance(part, RadioPart) or not part.bands:
        return None, ""
    # the bands in use, where they are known: what matters is what the site sends
    used = []
    for carrier in radio.carriers:
        try:
            used.append(carrier_channel(carrier.centre_hz, carrier.width_hz, carrier.band, part.bands).band)
        except ValueError:
            continue
    return tones_for_test(tuple(dict.fromkeys(used)) or part.bands, *_port_range(line, path))


def _port_range(line: Line, path: RfPath | None) -> tuple[float, float]:
    end = path.antenna if path is not None else ""
    id, _, name = end.partition(".")
    antenna = line.part_of(id) if id else None
    if isinstance(antenna, AntennaPart):
        return next(((p.low_hz, p.high_hz) for p in antenna.ports if p.name == name), (0.0, math.inf))
    return 0.0, math.inf


__all__ = ["tones_for_test", "tones_of_radio"]
