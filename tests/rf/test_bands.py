from __future__ import annotations

import pytest

from upmast import rf
from upmast.source import Mark
from upmast.table import read


def test_channel_numbers_span_the_band() -> None:
    """TS 36.101 table 5.7.3-1: one channel number per 100 kHz of downlink."""
    for row in read("upmast.rf", "bands_lte").rows:
        numbers = int(row["dl_earfcn_last"]) - int(row["dl_earfcn_offset"]) + 1
        assert numbers == round((float(row["dl_high_mhz"]) - float(row["dl_low_mhz"])) * 10), row["band"]


def test_both_systems_agree_where_they_share_a_number() -> None:
    """n-bands refarmed from LTE keep its ranges."""
    shared = 0
    for name, lte in rf.all_bands().items():
        nr = rf.all_bands().get("n" + name[1:])
        if name[0] == "B" and nr is not None:
            assert (nr.uplink_hz, nr.downlink_hz, nr.duplex) == (lte.uplink_hz, lte.downlink_hz, lte.duplex), name
            shared += 1
    assert shared > 30


def test_shape_of_every_band() -> None:
    assert len(rf.all_bands()) == 69 + 80
    for found in rf.all_bands().values():
        assert found.source.mark is Mark.CONFIRMED
        up, down = found.uplink_hz, found.downlink_hz
        for part in (up, down):
            assert part is None or (type(part[0]) is int and part[0] < part[1])
        assert {"FDD": up and down and up != down, "TDD": up == down, "SDL": up is None, "SUL": down is None}[
            found.duplex
        ]


def test_known_ranges() -> None:
    """TS 36.101 table 5.5-1, TS 38.104 table 5.2-1."""
    assert rf.band("B20").uplink_hz == (832_000_000, 862_000_000)
    assert rf.band("b11").uplink_hz == (1_427_900_000, 1_447_900_000)
    assert rf.band("B22").span_hz == (3_410_000_000, 3_590_000_000)
    assert rf.band(" N78 ").downlink_hz == (3_300_000_000, 3_800_000_000)
    assert rf.band("n29").uplink_hz is None
    assert rf.band("n80").downlink_hz is None


def test_unknown_names_get_near_ones() -> None:
    with pytest.raises(ValueError, match="did you mean n78"):
        rf.band("B78")
    with pytest.raises(ValueError, match=r"did you mean B3, n3"):
        rf.band("3")
    with pytest.raises(ValueError, match="write B and a number"):
        rf.band("")
    with pytest.raises(ValueError, match=r"no operating band '\?\?x"):
        rf.band("\x1b\nx" + "9" * 10_000)


def test_receiving_bands_are_open_intervals() -> None:
    names = [b.name for b in rf.bands_receiving(835e6, 880e6)]
    assert "B5" in names
    assert "B8" not in names
    assert "B29" not in [b.name for b in rf.bands_receiving(0, 1e12)]
    with pytest.raises(ValueError, match="low_hz"):
        rf.bands_receiving(2.0, 1.0)
