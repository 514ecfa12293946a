"""Published numbers and independently computed checks for the fibre room."""

from __future__ import annotations

import csv
from io import StringIO

import numpy as np
import pytest

from upmast import fibre

# TIA-568.3 as reproduced in public texts on array polarity: end 1, then end 2 of types A, B and C
TWELVE = """1,1,12,2
2,2,11,1
3,3,10,4
4,4,9,3
5,5,8,6
6,6,7,5
7,7,6,8
8,8,5,7
9,9,4,10
10,10,3,9
11,11,2,12
12,12,1,11"""


def test_array_cables_tia_568_3() -> None:
    rows = np.array([[int(cell) for cell in row] for row in csv.reader(StringIO(TWELVE))])
    for column, kind in enumerate(("A", "B", "C"), start=1):
        np.testing.assert_array_equal(fibre.array_cable(kind, 12), rows[:, column])  # type: ignore[arg-type]


def test_method_a_tia_568_3() -> None:
    """Six ports, straight cable, opposed keys, crossed patch at the cabinet, straight at the radio: every port to itself."""
    stages = [
        fibre.duplex_patch("A-B", 6),
        fibre.fanout(6),
        fibre.array_mate("opposed", 12),
        fibre.array_cable("A", 12),
        fibre.array_mate("opposed", 12),
        fibre.fanin(6),
    ]
    start = np.arange(1, 13)
    good = fibre.end_positions([*stages, fibre.duplex_patch("A-A", 6)])
    np.testing.assert_array_equal(good, start + 1 - 2 * fibre.lane_of(start))
    bad = fibre.end_positions([*stages, fibre.duplex_patch("A-B", 6)])
    np.testing.assert_array_equal(bad, start)


def test_method_b_reverses_ports_tia_568_3() -> None:
    """Port 1 comes out at port 6 of 6."""
    end = fibre.end_positions(fibre.method_stages("B", 6))
    assert fibre.port_of(end)[0] == 6
    assert fibre.lane_of(end)[0] == 1


def test_mates() -> None:
    """By hand with two paper faces held against each other."""
    at = np.array([1, 2, 12, 13, 24]) - 1
    np.testing.assert_array_equal(fibre.array_mate("opposed", 24)[at], [13, 14, 24, 1, 12])
    np.testing.assert_array_equal(fibre.array_mate("aligned", 24)[at], [12, 11, 1, 24, 13])
    np.testing.assert_array_equal(fibre.array_mate("aligned", 12)[:2], [12, 11])
    np.testing.assert_array_equal(fibre.array_mate("opposed", 12), np.arange(1, 13))


def test_budget_10gbase_lr() -> None:
    """By hand with the class limits of IEEE 802.3: 310 m, two splices of 0.5, two pairs of 0.75, 0.1 dB of bends."""
    lr = fibre.optic("10GBASE-LR")
    assert lr.tx_min_dbm is not None
    assert lr.tx_max_dbm is not None
    assert lr.rx_min_dbm is not None
    assert lr.rx_max_dbm is not None
    worst = fibre.worst_loss_db(0.40, 310, [0.5, 0.75], [2, 2], 0.1)
    best = fibre.best_loss_db(0.32, 310)
    assert worst == pytest.approx(2.724)
    assert best == pytest.approx(0.0992)
    assert fibre.low_margin_db(lr.tx_min_dbm.value, worst, lr.rx_min_dbm.value) == pytest.approx(3.476)
    assert fibre.overload_margin_db(lr.rx_max_dbm.value, lr.tx_max_dbm.value, best) == pytest.approx(0.0992)


def test_channel_100gbase_er4() -> None:
    """IEEE 802.3 task force: an 18 dB channel over 40 km is 0.4 dB/km and 2 dB of connections."""
    er4 = fibre.optic("100GBASE-ER4")
    assert er4.channel_limit_db is not None
    assert er4.reach_m is not None
    worst = fibre.worst_loss_db(0.4, er4.reach_m.value, [2.0])
    assert fibre.channel_margin_db(er4.channel_limit_db.value, worst) == pytest.approx(0.0)


def test_overload_10gbase_er_needs_about_5_db_on_a_short_run() -> None:
    """Common practice: 5 dB with class ER on a short run, from 4.0 dBm sent and -1.0 dBm allowed."""
    er = fibre.optic("10GBASE-ER")
    assert er.rx_max_dbm is not None
    assert er.tx_max_dbm is not None
    assert fibre.overload_margin_db(er.rx_max_dbm.value, er.tx_max_dbm.value, 0.0) == pytest.approx(-5.0)


def test_delay() -> None:
    """With a group index of 1.468: 4.8967 us/km, so 100 us are 20.4 km. Tc / 32 is 8.138 ns."""
    assert fibre.delay_s(1000, 1.468) == pytest.approx(4.8967e-6, abs=5e-11)
    assert fibre.delay_s(20.42e3, 1.468) == pytest.approx(100e-6, rel=1e-3)
    assert fibre.TIMING_STEP_S.value == pytest.approx(8.138e-9, abs=5e-13)


def test_slack() -> None:
    """By hand: 5 m between radii of 0.15 and 0.30 m."""
    onward, back = fibre.slack_loops(5.0, 0.15, 0.30), fibre.slack_loops(5.0, 0.15, 0.30, 0.5)
    assert onward.turns.tolist() == [3, 4, 5]
    np.testing.assert_allclose(onward.radius_m, [0.2653, 0.1989, 0.1592], atol=5e-5)
    assert back.turns.tolist() == [3, 4]
    np.testing.assert_allclose(back.radius_m, [0.2274, 0.1768], atol=5e-5)


def test_bend_bounds_itu_t_g657() -> None:
    assert fibre.bend_bound_db("G.657.A2", 20, 6).loss_db == pytest.approx(0.018)
    assert fibre.bend_bound_db("G.657.A1", 12.5, 2).loss_db == pytest.approx(1.5)
    assert not fibre.bend_bound_db("G.657.B3", 4, 1).covered


def test_open_end() -> None:
    """Fresnel's equation, n = 1.468."""
    assert fibre.open_end_reflectance_db(1.468) == pytest.approx(-14.44, abs=0.005)


def test_colour_of_strand_37_tia_598() -> None:
    """Public rule: strand 37 of 144 is in the fourth tube, blue."""
    tube, strand = fibre.strand_colours(37)
    assert (tube.name, strand.name) == ("brown", "blue")


def test_life_of_a_loop() -> None:
    """Computed once more with the power law of IEC TR 62048: R 12.5 mm, 2 m, 20 years."""
    strain = fibre.bend_strain(12.5)
    years = 20 * 365.25 * 86400
    assert strain == pytest.approx(0.004975, abs=5e-7)
    assert fibre.break_probability(strain, 2.0, years) == pytest.approx(3.72e-5, rel=2e-3)
    assert fibre.break_probability_bent(strain, 2.0, years) == pytest.approx(5.56e-6, rel=2e-3)
