"""Channel numbers both ways: numbers from the standards' formulas, round trips over every band, and what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.rf.arfcn import channel_hz, earfcn, earfcn_hz, nr_arfcn, nr_arfcn_hz
from upmast.rf.bands import all_bands


@pytest.mark.parametrize(
    ("number", "band", "way", "mhz"),
    [
        # 3GPP TS 36.101 table 5.7.3-1: first number and lowest frequency of the band, and one inside by the formula of 5.7.3
        (0, "B1", "downlink", 2110.0), (599, "B1", "downlink", 2169.9), (18000, "B1", "uplink", 1920.0), (1200, "B3", "downlink", 1805.0),
        (1300, "B3", "downlink", 1815.0), (19575, "B3", "uplink", 1747.5), (6150, "B20", "downlink", 791.0), (24150, "B20", "uplink", 832.0),
    ],
)  # fmt: skip
def test_numbers_of_lte(number: int, band: str, way: str, mhz: float) -> None:
    found = earfcn_hz(number)
    assert (found.band, found.way, found.frequency_hz) == (band, way, round(mhz * 1e6))
    assert earfcn(found.frequency_hz, band, way) == number


@pytest.mark.parametrize(
    ("number", "mhz"),
    [
        # 3GPP TS 38.104 table 5.4.2.1-1: ends of the three ranges; n78 and n28 by its formula
        (0, 0.0), (599_999, 2999.995), (600_000, 3000.0), (2_016_666, 24_249.99), (2_016_667, 24_250.08), (3_279_165, 99_999.96),
        (620_000, 3300.0), (653_333, 3799.995), (151_600, 758.0),
    ],
)  # fmt: skip
def test_numbers_of_nr(number: int, mhz: float) -> None:
    assert nr_arfcn_hz(number) == round(mhz * 1e6)
    assert nr_arfcn(nr_arfcn_hz(number)) == number


@given(st.integers(0, 3_279_165))
def test_round_trip_and_order_of_nr(number: int) -> None:
    assert nr_arfcn(nr_arfcn_hz(number)) == number
    if number:
        assert nr_arfcn_hz(number) > nr_arfcn_hz(number - 1)


def test_every_lte_band_is_covered_once_and_inside_its_range() -> None:
    seen = 0
    for name, band in all_bands().items():
        if not name.startswith("B") or band.downlink_hz is None:
            continue
        low, high = band.downlink_hz
        try:
            first = earfcn(low, name)
        except ValueError:
            continue  # bands without numbers of their own
        seen += 1
        assert earfcn_hz(first).band == name
        last = earfcn(high - 100_000, name)
        assert last - first == (high - low) // 100_000 - 1
    assert seen > 40


@pytest.mark.parametrize(
    ("number", "band", "words"),
    [
        (19_300, "B3", "is in the uplink of B3"), (1300, "B7", "is in the downlink of B3, not in the downlink of B7"),
        (630_000, "n28", "not in the downlink of n28"), (10**7, "n78", "lies between 0 and"), (10**7, "B3", "no band of 3GPP"),
    ],
)  # fmt: skip
def test_what_is_no_channel_of_the_band(number: int, band: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        channel_hz(number, band)


def test_frequencies_off_the_raster_are_refused() -> None:
    for call in (
        lambda: earfcn(1_815_050_000, "B3"), lambda: earfcn(1_700_000_000, "B3"), lambda: nr_arfcn(3_450_000_001), lambda: nr_arfcn(-5),
        lambda: earfcn(1, "n78"),
    ):  # fmt: skip
        with pytest.raises(ValueError, match=r".+"):
            call()
