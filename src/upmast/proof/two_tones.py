"""The two tones to set at a port of a radio whose bands are known."""

from __future__ import annotations

import math
from functools import lru_cache

from upmast.pim.two_tone import TwoTone, own_uplink_words, two_tone_choice
from upmast.rf.bands import band


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


__all__ = ["tones_for_test"]
