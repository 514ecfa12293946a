"""Which channels a carrier uses."""

from __future__ import annotations

import pytest

from upmast.rf.channel import carrier_channel

# 3GPP TS 36.101, default separation of transmit and receive: downlink less uplink, MHz
SEPARATION_MHZ = {"B1": 190, "B3": 95, "B7": 120, "B8": 45, "B20": -41, "B28": 55}


@pytest.mark.parametrize(("name", "apart"), SEPARATION_MHZ.items())
def test_pairs_lie_as_far_apart_as_the_standard_says(name: str, apart: int) -> None:
    centre = {"B1": 2140, "B3": 1850, "B7": 2655, "B8": 940, "B20": 806, "B28": 780}[name] * 1e6
    made = carrier_channel(centre, 10e6, name)
    assert made.receive_hz is not None
    assert made.transmit_hz[0] - made.receive_hz[0] == apart * 1_000_000
    assert made.receive_hz[1] - made.receive_hz[0] == 10_000_000
    assert made.tdd_hz == (0, 0)


def test_taking_turns_uses_one_channel() -> None:
    made = carrier_channel(3.45e9, 100e6, "n78")
    assert made.receive_hz == made.transmit_hz == (3_400_000_000, 3_500_000_000)
    assert made.tdd_hz == (3_300_000_000, 3_800_000_000)
    assert made.used_hz == (made.transmit_hz,)


def test_a_downlink_alone_hears_nothing() -> None:
    assert carrier_channel(722e6, 10e6, "n29").receive_hz is None
    assert carrier_channel(2195e6, 10e6, "B66").receive_hz is None  # above the pair of its uplink


def test_the_band_is_found_where_all_that_fit_pair_alike() -> None:
    assert carrier_channel(1815e6, 20e6).band == "B3"  # n3 pairs alike


def test_the_bands_of_the_radio_go_first() -> None:
    with pytest.raises(ValueError, match=r"the band of the carrier at 2650 MHz.*B7.*pair differently"):
        carrier_channel(2650e6, 20e6)
    assert carrier_channel(2650e6, 20e6, radio_bands=("B7", "B1")).band == "B7"
    assert carrier_channel(2650e6, 20e6, radio_bands=("n41",)).receive_hz == (2_640_000_000, 2_660_000_000)


@pytest.mark.parametrize("centre", [1.0e9, 1805e6])
def test_a_carrier_outside_every_band_is_said(centre: float) -> None:
    with pytest.raises(ValueError, match="none of the table holds it"):
        carrier_channel(centre, 20e6)
