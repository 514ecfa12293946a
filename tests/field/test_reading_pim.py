"""Intermodulation: dBm and dBc with their carriers, the highest of a group, bounds, order, the residual of the instrument."""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.field.readers.reading import Reading
from upmast.field.reading_doubt import Span
from upmast.field.reading_pim import at_carriers_dbc, level_dbc, products_hz, with_residual_db
from upmast.field.row import reading_row
from upmast.proof.prove import Proof

_spec = importlib.util.spec_from_file_location("made_readings", Path(__file__).parent / "made_readings.py")
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)
judge, one_of, keys = made.judge, made.one_of, made.keys
PASSES, FAILS, NOT = made.PASSES, made.FAILS, made.NOT


def pim(
    value: float, subject: str = "A2-J1", unit: str = "dBc", comparator: str = "", **more: float | str | None
) -> Reading:
    conditions = {key: one for key, one in {**made.CARRIERS, **more}.items() if one is not None}
    return made.read("pim", subject, value, unit=unit, comparator=comparator, **conditions)


def test_minus_107_dbm_is_minus_150_dbc(proof: Proof) -> None:
    """Two carriers of 43 dBm (IEC 62037-1): -107 dBm is -150 dBc, whichever of both is written."""
    found = [one_of(proof, one) for one in (pim(-112.0, unit="dBm"), pim(-155.0))]
    assert {one.findings[0].value for one in found} == {-155.0}
    assert {one.verdict for one in found} == {PASSES}
    assert "-112.0 dBm at two carriers of 43 dBm" in found[0].findings[0].note
    at = [one_of(proof, one, uncertainties={"pim": 0.0}) for one in (pim(-107.0, unit="dBm"), pim(-150.0))]
    assert {one.findings[0].margin for one in at} == {0.0}
    assert {one.verdict for one in at} == {PASSES}  # equal to the limit passes


@given(st.floats(-200, -60), st.floats(20, 50))
def test_dbm_and_dbc_are_one_level(level: float, carrier: float) -> None:
    conditions = {"carrier_1_dbm": carrier, "carrier_2_dbm": carrier}
    dbm = made.read("pim", "A2-J1", level, unit="dBm", **conditions)
    span, at, lack = level_dbc(dbm, Span(level, level - 1.0, level + 1.0))
    assert lack == ""
    assert at == pytest.approx(carrier)
    assert span is not None
    assert span.value + carrier == pytest.approx(level)
    same, _, _ = level_dbc(made.read("pim", "A2-J1", span.value, unit="dBc", **conditions), span)
    assert same == span


@pytest.mark.parametrize("unit", ["dBm", "dBc"])
def test_nothing_is_compared_without_its_carriers(proof: Proof, unit: str) -> None:
    judged = one_of(proof, pim(-60.0, unit=unit, carrier_1_dbm=None))
    assert judged.verdict is NOT
    assert "power of both carriers" in judged.sentence
    unequal = one_of(proof, pim(-160.0, unit=unit, carrier_2_dbm=46.0))
    assert unequal.verdict is NOT
    assert "two equal carriers" in unequal.sentence


@pytest.mark.parametrize(("value", "verdict"), [(-151.01, PASSES), (-150.99, NOT), (-149.01, NOT), (-148.99, FAILS)])
def test_guard_band(proof: Proof, value: float, verdict: object) -> None:
    judged = one_of(proof, pim(value))
    assert judged.verdict is verdict
    assert judged.findings[0].margin == pytest.approx(-150.0 - value)


def test_the_highest_decides_whatever_came_later(proof: Proof) -> None:
    rows = [pim(-160.0), pim(-145.0), pim(-158.0)]
    for order in (rows, rows[::-1]):
        judged = one_of(proof, *order)
        assert judged.verdict is FAILS
        assert judged.findings[0].value == -145.0
        assert keys(judged)["highest"] == "note"


def test_bounds(proof: Proof) -> None:
    """<-120 dBm at 43 dBm lies below -163 dBc; <-100 dBm says only less than -143 dBc."""
    assert one_of(proof, pim(-120.0, unit="dBm", comparator="<")).verdict is PASSES
    high = one_of(proof, pim(-100.0, unit="dBm", comparator="<"))
    assert high.verdict is NOT
    assert "only a bound" in high.sentence
    assert one_of(proof, pim(-140.0, comparator=">")).verdict is FAILS


def test_other_carriers_are_referred_by_a_stated_slope_only(proof: Proof) -> None:
    """A pure cubic law: 3 dB more product, 2 dB more ratio, for each dB of both carriers."""
    low = pim(-158.0, carrier_1_dbm=40.0, carrier_2_dbm=40.0)
    judged = one_of(proof, low)
    assert judged.verdict is NOT
    assert "no slope is stated" in judged.sentence
    told = one_of(proof, low, slope_db_per_db=3.0)
    assert told.findings[0].value == pytest.approx(-152.0)
    assert told.verdict is PASSES
    assert one_of(proof, low, slope_db_per_db=1.0).findings[0].value == pytest.approx(-158.0)


def test_which_way_it_moves_is_known_without_a_slope(proof: Proof) -> None:
    assert one_of(proof, pim(-140.0, carrier_1_dbm=40.0, carrier_2_dbm=40.0)).verdict is FAILS
    assert one_of(proof, pim(-155.0, carrier_1_dbm=46.0, carrier_2_dbm=46.0)).verdict is PASSES
    assert one_of(proof, pim(-140.0, carrier_1_dbm=46.0, carrier_2_dbm=46.0)).verdict is NOT


@given(st.floats(-180, -100), st.floats(30, 47), st.floats(1, 3))
def test_referring_there_and_back(level: float, carrier: float, slope: float) -> None:
    there = at_carriers_dbc(level, carrier, slope, 43.0)
    assert float(at_carriers_dbc(there, 43.0, slope, carrier)) == pytest.approx(level)
    assert (
        at_carriers_dbc([level, level], carrier, slope).tolist() == [float(at_carriers_dbc(level, carrier, slope))] * 2
    )


def test_order_and_product(proof: Proof) -> None:
    """2 x 1852.5 - 2112.5 = 1592.5 MHz, 2 x 2112.5 - 1852.5 = 2372.5 MHz."""
    assert products_hz(((1.8525e9, 1.8525e9), (2.1125e9, 2.1125e9))) == ((1.5925e9, 1.5925e9), (2.3725e9, 2.3725e9))
    assert one_of(proof, pim(-160.0, order=None, product_hz=1.5925e9)).verdict is PASSES
    off = one_of(proof, pim(-160.0, order=None, product_hz=1.70e9))
    assert off.verdict is NOT
    assert "1592.50 MHz or 2372.50 MHz" in off.sentence
    fifth = one_of(proof, pim(-160.0, order=5.0))
    assert fifth.verdict is NOT
    assert one_of(proof, pim(-140.0, order=5.0)).verdict is FAILS  # the third lies higher as a rule: it fails too
    bare = one_of(proof, pim(-160.0, tone_1_hz=None, tone_2_hz=None))
    assert bare.verdict is NOT
    assert "frequencies of both carriers" in bare.sentence
    assert keys(one_of(proof, pim(-160.0, order=None)))["order"] == "note"


def test_a_swept_carrier_sweeps_its_product(proof: Proof) -> None:
    swept = {"tone_1_hz": None, "tone_1_low_hz": 1.81e9, "tone_1_high_hz": 1.86e9}
    assert products_hz(((1.81e9, 1.86e9), (2.1125e9, 2.1125e9)))[0] == pytest.approx((1.5075e9, 1.6075e9))
    assert products_hz(((1.81e9, 1.86e9), (2.11e9, 2.12e9)))[0] == pytest.approx((1.50e9, 1.61e9))  # every pair of both
    assert one_of(proof, pim(-160.0, product_hz=1.58e9, **swept)).verdict is PASSES
    assert one_of(proof, pim(-160.0, product_hz=1.62e9, **swept)).verdict is NOT


def test_where_the_product_falls_is_said(proof: Proof) -> None:
    """B1 and B3 together: 2 x 1805 - 1880 = 1730 MHz lies in the uplink of B3."""
    inside = one_of(proof, pim(-160.0, tone_1_hz=1.8075e9, tone_2_hz=1.8775e9))
    assert "uplink" not in keys(inside)
    assert "uplink" in keys(one_of(proof, pim(-160.0)))
    assert "tones" in keys(one_of(proof, pim(-160.0, tone_1_hz=0.93e9, tone_2_hz=0.96e9)))


def test_residual_of_the_instrument(proof: Proof) -> None:
    """10 dB below, the residual moves a reading by +2.39 and -3.30 dB: 20 log10(1 ± 10^-0.5)."""
    low, high = with_residual_db(-150.0, -160.0)
    assert high + 150.0 == pytest.approx(20 * math.log10(1 + 10**-0.5))
    assert low + 150.0 == pytest.approx(20 * math.log10(1 - 10**-0.5))
    assert with_residual_db(-150.0, -140.0)[0] == -math.inf
    own = pim(-158.0, "residual, load on test port")
    judged, asked = judge(proof, own, pim(-152.0))
    assert not asked
    assert list(judged) == ["A2-J1.pim.im3"]
    assert judged["A2-J1.pim.im3"].verdict is NOT
    assert keys(judged["A2-J1.pim.im3"])["residual"] == "warn"
    quiet, _ = judge(proof, pim(-180.0, "residual"), pim(-152.0))
    assert quiet["A2-J1.pim.im3"].verdict is PASSES
    assert "residual" not in keys(quiet["A2-J1.pim.im3"])
    assert keys(one_of(proof, pim(-152.0)))["residual"] == "note"


@given(st.floats(-200, -80), st.floats(0.1, 80))
def test_a_residual_far_below_moves_nothing(level: float, below: float) -> None:
    low, high = with_residual_db(level, level - below)
    assert low <= level <= high
    assert high - level <= 20 * np.log10(2) + 1e-9
    assert with_residual_db(level, level - 200.0) == pytest.approx((level, level))


def test_a_still_reading_is_told(proof: Proof) -> None:
    assert "still" in keys(one_of(proof, pim(-160.0, mode="fixed")))
    assert "still" not in keys(one_of(proof, pim(-160.0)))


def test_slope_outside_theory_is_refused(proof: Proof) -> None:
    from upmast.errors import UsageError

    with pytest.raises(UsageError, match="1 to 3"):
        judge(proof, pim(-150.0), slope_db_per_db=4.0)


def test_a_level_below_a_bound_is_told_as_less_than(proof: Proof) -> None:
    row = reading_row(one_of(proof, pim(-163.0, comparator="<")), "")
    assert row.what.startswith("less than -163.0 dBc, limit at most -150.0 dBc")
    assert "passes by at least 13.0 dB." in row.sentence


def test_no_margin_against_the_limit_of_other_carriers(proof: Proof) -> None:
    """Of two carriers of 40 dBm the limit at 43 dBm says nothing without a slope; the sentence that states it stands in what it needs."""
    low = {"carrier_1_dbm": 40.0, "carrier_2_dbm": 40.0}
    judged = one_of(proof, pim(-157.0, **low))
    assert judged.verdict is NOT
    assert [one.margin for one in judged.findings] == [None, None]
    row = reading_row(judged, "")
    assert row.what == "-157.0 dBc, not comparable with the limit (at most -150.0 dBc)"
    assert "--say 'slope is 2.5'" in row.do
    assert one_of(proof, pim(-157.0, **low), slope_db_per_db=2.5).findings[0].margin == pytest.approx(
        157.0 - 4.5 - 150.0
    )


def test_carriers_of_another_path_prove_nothing(proof: Proof) -> None:
    """2 x 791 - 819 = 763 MHz and 2 x 819 - 791 = 847 MHz: far from B1 and B3 in every way."""
    foreign = one_of(proof, pim(-161.0, tone_1_hz=0.791e9, tone_2_hz=0.819e9))
    assert foreign.verdict is NOT
    assert keys(foreign)["tones"] == "warn"
    assert "791.00 MHz and 819.00 MHz" in foreign.sentence
    assert one_of(proof, pim(-120.0, tone_1_hz=0.791e9, tone_2_hz=0.819e9)).verdict is FAILS  # too high is too high
    # 2 x 1900 - 2080 = 1720 MHz: the carriers are of no band here, and their product lies in the uplink of B3
    assert one_of(proof, pim(-161.0, tone_1_hz=1.9e9, tone_2_hz=2.08e9)).verdict is PASSES
