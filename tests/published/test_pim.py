"""Published numbers and worked cases for the intermodulation room."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from upmast import pim, rf

HERE = Path(__file__).parent
MHZ = 1_000_000


def _rows(name: str) -> list[dict[str, str]]:
    lines = [line for line in (HERE / name).read_text("utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def _downlink(name: str) -> tuple[int, int]:
    """Twice the centre is whole, the centre need not be: all bands here have whole ones."""
    found = rf.band(name).downlink_hz
    assert found is not None
    low, high = found
    assert (low + high) % 2 == 0
    return (low + high) // 2, high - low


@pytest.mark.parametrize("case", ["CA_4-13", "CA_2-17", "CA_3-5"])
def test_3gpp_products_of_two_downlinks(case: str) -> None:
    """3GPP TR 36.850: ranges of the second and third order products of two whole downlink bands; two carriers fill each."""
    rows = [row for row in _rows("im_products_3gpp.csv") if row["case"] == case]
    centres, widths = zip(
        *(_downlink(rows[0][key]) for key in ("low_band", "low_band", "high_band", "high_band")), strict=True
    )
    found = pim.all_products(centres, widths, (2, 3))
    edges = {tuple(c): (a, b) for c, a, b in zip(found.coefficients.tolist(), found.low_hz, found.high_hz, strict=True)}
    for row in rows:
        c = tuple(int(row[key]) for key in ("f1a", "f1b", "f2a", "f2b"))
        assert edges[c] == (float(row["low_mhz"]) * MHZ, float(row["high_mhz"]) * MHZ), c


@pytest.mark.parametrize("case", ["CA_4-13", "CA_2-17", "CA_3-5"])
def test_3gpp_victims(case: str) -> None:
    """3GPP TR 36.850 (Release 11): uplinks of bands 1 to 44 that are hit. It leaves out 28, 31 and 44 in places."""
    rows = [row for row in _rows("im_products_3gpp.csv") if row["case"] == case]
    for stated in (row for row in _rows("im_victims_3gpp.csv") if row["case"] == case):
        listed = {f"B{n}" for n in stated["bands"].split()}
        hit = {
            band.name
            for row in rows
            if row["order"] == stated["order"]
            for band in rf.bands_receiving(float(row["low_mhz"]) * MHZ, float(row["high_mhz"]) * MHZ)
            if band.name[0] == "B" and int(band.name[1:]) <= 44
        }
        assert listed <= hit
        assert hit - listed <= {"B28", "B31", "B44"}


@pytest.mark.parametrize("row", _rows("im_own_band_order.csv"), ids=lambda row: row["band"])
def test_lowest_order_that_reaches_the_own_uplink(row: dict[str, str]) -> None:
    """A downlink filled by two carriers: own derivation from TS 36.101, product c = ((n+1)/2, -(n-1)/2) of width n w."""
    centre, width = _downlink(row["band"])
    uplink = rf.band(row["band"]).uplink_hz
    orders = range(3, 27, 2)
    found = pim.products_in([centre] * 2, [width] * 2, [uplink], orders)
    # Only products next to the carriers count here; far ones (sum of c of 3 and more) don't come near an own uplink.
    hit = [n for n, count in zip(found.orders, found.count[:, 0], strict=True) if count]
    assert (str(hit[0]) if hit else "") == row["lowest_odd_order"]


@pytest.mark.parametrize("row", _rows("im_own_band_order.csv"), ids=lambda row: row["band"])
def test_reach_of_that_order(row: dict[str, str]) -> None:
    """The same table: outer edges of the products next to the carriers, on both sides; band 103 at order 25, which misses."""
    centre, width = _downlink(row["band"])
    n = int(row["lowest_odd_order"] or 25)
    found = pim.all_products([centre] * 2, [width] * 2, [n])
    beside = np.abs(found.coefficients.sum(axis=1)) == 1
    assert found.low_hz[beside].min() == round(float(row["reach_low_mhz"]) * MHZ)
    assert found.high_hz[beside].max() == round(float(row["reach_high_mhz"]) * MHZ)


@pytest.mark.parametrize("row", _rows("im_own_band_order.csv"), ids=lambda row: row["band"])
def test_two_tones_reach_the_own_uplink_from_the_same_order_on(row: dict[str, str]) -> None:
    """The same table by tones instead of wide carriers: some pair inside the downlink, product inside the uplink, edges not counted."""
    band = rf.band(row["band"])
    assert band.downlink_hz is not None
    assert band.uplink_hz is not None
    own = ([band.downlink_hz], [band.uplink_hz])
    found = pim.lowest_own_order(*own, 25)
    assert str(found or "") == row["lowest_odd_order"]
    words = pim.own_uplink_words(*own, 25)
    if found is None:
        assert words == "no pair of this band alone gives a product in its own uplink up to order 25"
    else:
        assert words == f"this band alone reaches its own uplink from order {found} on"
        assert pim.two_tone_pair(*own, found).inside
        if found > 3:
            assert not pim.two_tone_pair(*own, found - 2).inside


def test_two_tones_in_900() -> None:
    """Worked case: tones at 930 and 957 MHz, receive 880 to 915 MHz, orders 3, 5, 7: only 2 f1 - f2 = 903 MHz."""
    found = pim.products_in([930 * MHZ, 957 * MHZ], [0, 0], [[880 * MHZ, 915 * MHZ]])
    assert found.count.ravel().tolist() == [1, 0, 0]
    assert found.coefficients.tolist() == [[2, -1]]
    assert found.centre_hz.tolist() == [903 * MHZ]


def test_three_carriers_in_two_bands() -> None:
    """Worked case: 1810/9, 1850/18 and 2115/13.5 MHz (centre/width), receive 1710-1785 and 1920-1980: 1, 2, 4 hits."""
    found = pim.products_in(
        np.array([1810, 1850, 2115]) * MHZ,
        [9 * MHZ, 18 * MHZ, 13_500_000],
        np.array([[1710, 1785], [1920, 1980]]) * MHZ,
    )
    assert found.count.sum(axis=1).tolist() == [1, 2, 4]
    assert found.coefficients[0].tolist() == [2, -1, 0]
    assert (int(found.centre_hz[0]), int(found.width_hz[0])) == (1770 * MHZ, 36 * MHZ)


def test_level_and_noise_rise() -> None:
    """Worked case: -150 dBc, 45 and 43 dBm, slope 2.6; share 0.4, 0.5 dB loss, 9 MHz, noise figure 3 dB."""
    spec = pim.dbm_from_dbc(-150.0)
    assert float(pim.product_level_dbm([2, -1], [45.0, 43.0], spec, 2.6, modulated=False)) == pytest.approx(
        -103.533, abs=6e-4
    )
    level = float(pim.product_level_dbm([2, -1], [45.0, 43.0], spec, 2.6))
    assert level == pytest.approx(-100.523, abs=6e-4)
    noise = float(pim.noise_floor_dbm(9e6, 3.0))
    interference = level + 10 * np.log10(0.4) - 0.5
    assert noise == pytest.approx(-101.433, abs=6e-4)
    assert interference == pytest.approx(-105.002, abs=6e-4)
    assert float(pim.noise_rise_db(interference, noise)) == pytest.approx(1.582, abs=6e-4)


def test_units_of_the_trade() -> None:
    """-140 dBc at 2 x 20 W is -97 dBm (public worked example); -153, -161 dBc and -107 dBm by IEC 62037-1 arithmetic."""
    np.testing.assert_array_equal(pim.dbm_from_dbc([-140.0, -153.0, -161.0]), [-97.0, -110.0, -118.0])
    assert float(pim.dbc_from_dbm(-107.0)) == -150.0


def test_noise_rise_of_a_public_example() -> None:
    """-97.0 + 3.0 - 3.4 dBm of intermodulation over -102.7 dBm of noise: 6.4 dB (public worked example)."""
    assert float(pim.noise_rise_db(-97.0 + 3.0 - 3.4, -102.7)) == pytest.approx(6.42, abs=0.05)


def test_triple_beat() -> None:
    """A triple beat f1 + f2 - f3 lies 6 dB above the two-tone third order product (published rule, carrier triple beats)."""
    level = pim.product_level_dbm([[1, 1, -1], [2, -1, 0]], [43.0] * 3, -110.0, modulated=False)
    assert level[0] - level[1] == pytest.approx(6.0, abs=0.03)


def test_bands_2_and_66() -> None:
    """Cross-band case of North America: 2 f(B2) - f(B66) spans 1660 to 1870 MHz, into the uplinks of both."""
    (f2, w2), (f66, w66) = _downlink("B2"), _downlink("B66")
    ranges = [rf.band("B66").uplink_hz, rf.band("B2").uplink_hz]
    found = pim.products_in([f2, f66], [w2, w66], ranges, [3])
    assert found.coefficients.tolist() == [[2, -1], [2, -1]]
    assert (found.low_hz[0], found.high_hz[0]) == (1660 * MHZ, 1870 * MHZ)
