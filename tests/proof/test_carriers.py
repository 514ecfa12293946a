"""Carriers by centre, by channel number, as a whole band, and with a block to move in."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from upmast.site.site import Carrier


def test_three_ways_to_name_a_carrier() -> None:
    by_centre = Carrier.model_validate({"centre_mhz": 1815, "width_mhz": 20, "power_w": 20, "band": "B3"})
    by_channel = Carrier.model_validate({"band": "B3", "channel": 1300, "width_mhz": 20, "power_w": 20})
    # 3GPP TS 36.101, 5.7.3: 1805 + 0.1 (1300 - 1200)
    assert (by_channel.centre_hz, by_channel.width_hz) == (by_centre.centre_hz, by_centre.width_hz)
    new_radio = Carrier.model_validate({"band": "n78", "channel": 630_000, "width_mhz": 100, "power_w": 20})
    assert new_radio.centre_hz == 3.45e9  # 3GPP TS 38.104, 5.4.2.1
    whole = Carrier.model_validate({"band": "B20", "whole_band": True, "power_w": 20})
    assert (whole.centre_hz, whole.width_hz) == (806e6, 30e6)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"power_w": 20, "width_mhz": 5}, "a centre: centre_mhz, or band and channel"),
        ({"power_w": 20, "centre_mhz": 1815}, "expected width_mhz"),
        ({"band": "B3", "channel": 19_300, "width_mhz": 5, "power_w": 20}, "is in the uplink of B3"),
        ({"band": "B999", "whole_band": True, "power_w": 20}, "no operating band"),
        ({"centre_mhz": 1815, "width_mhz": 20, "power_w": 20, "move_from_mhz": 1810}, "move_from_mhz and move_to_mhz together"),
        ({"centre_mhz": 1815, "width_mhz": 20, "power_w": 20, "move_from_mhz": 1810, "move_to_mhz": 1880}, "inside its block"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(row: dict[str, object], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        Carrier.model_validate(row)
