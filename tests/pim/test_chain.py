"""Sources along a line: sums by power and voltage, losses by hand, what a better source brings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.pim.chain import arrivals_dbm, better_by_db, chain_level_dbc

LEVELS = st.lists(st.floats(-180, -100), min_size=1, max_size=8)


def test_equal_sources_by_hand() -> None:
    # ten times the power is 10 dB, ten times the voltage 20 dB: definition of the decibel
    assert float(chain_level_dbc([-160.0] * 10)) == pytest.approx(-150.0)
    found = arrivals_dbm(-107.0, [-150.0] * 10, -150.0, np.zeros(10), np.zeros(10))
    assert float(found.power_dbm) == pytest.approx(-97.0)
    assert float(found.voltage_dbm) == pytest.approx(-87.0)


def test_losses_by_hand() -> None:
    # third order: three times the loss of the carriers on the way out, once that of the product on the way back
    found = arrivals_dbm(-107.0, [-150.0, -150.0], -150.0, [0.0, 0.5], [0.0, 0.4])
    assert found.each_dbm.tolist() == pytest.approx([-107.0, -107.0 - 1.5 - 0.4])
    fifth = arrivals_dbm(-107.0, [-150.0, -150.0], -150.0, [0.0, 0.5], [0.0, 0.4], order=5)
    assert float(fifth.each_dbm[1]) == pytest.approx(-107.0 - 2.5 - 0.4)


@given(LEVELS)
def test_voltage_is_at_least_power_and_the_chain_at_least_its_worst(levels: list[float]) -> None:
    zero = np.zeros(len(levels))
    found = arrivals_dbm(-107.0, levels, -150.0, zero, zero)
    assert float(found.voltage_dbm) >= float(found.power_dbm) - 1e-9
    assert float(found.power_dbm) >= max(found.each_dbm) - 1e-9
    assert float(chain_level_dbc(levels)) >= max(levels) - 1e-9
    better = better_by_db(found.each_dbm, 10.0)
    assert np.all((better >= -1e-12) & (better <= 10.0 + 1e-9))
    assert int(np.argmax(better)) == int(np.argmax(found.each_dbm))


def test_a_lone_source_brings_all_and_array_equals_scalar() -> None:
    assert float(better_by_db([-110.0], 10.0)[0]) == pytest.approx(10.0)
    products = np.array([-100.0, -107.0, -120.0])
    many = arrivals_dbm(products, [-150.0, -155.0], -150.0, [0.1, 0.4], [0.1, 0.4])
    for n, one in enumerate(products):
        alone = arrivals_dbm(float(one), [-150.0, -155.0], -150.0, [0.1, 0.4], [0.1, 0.4])
        assert many.each_dbm[n].tolist() == pytest.approx(alone.each_dbm.tolist())
        assert float(many.power_dbm[n]) == pytest.approx(float(alone.power_dbm))


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: arrivals_dbm(-100.0, -150.0, -150.0, 0.0, 0.0), lambda: arrivals_dbm(-100.0, [-150.0], -150.0, [-1.0], [0.0]),
        lambda: arrivals_dbm(-100.0, [np.nan], -150.0, [0.0], [0.0]), lambda: arrivals_dbm(-100.0, [-150.0], -150.0, [0.0], [0.0], 1),
        lambda: better_by_db([-100.0], -1.0),
    ):  # fmt: skip
        with pytest.raises(ValueError, match=r".+"):
            call()
