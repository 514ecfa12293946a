"""Published numbers and independently computed checks for the fibre room."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Literal

import numpy as np
import pytest

from upmast import fibre

HERE = Path(__file__).parent


def rows_of(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("size", [12, 24])
@pytest.mark.parametrize("kind", ["A", "B", "C"])
def test_array_cables_tia_568_3(size: int, kind: Literal["A", "B", "C"]) -> None:
    """TIA-568.3 as reproduced in public texts on array polarity for 12 positions; for 24 from memory, by the same rule."""
    rows = [row for row in rows_of("array_maps_tia568.csv") if int(row["fibres"]) == size]
    assert len(rows) == size
    assert all(("confirmed" in row["mark"]) == (size == 12) for row in rows)
    order = np.array([int(row["end1_position"]) for row in rows])
    ends = np.array([int(row[f"type{kind}_end2"]) for row in rows])
    np.testing.assert_array_equal(fibre.array_cable(kind, size)[order - 1], ends)
    # a cable turned end for end is of the same type
    np.testing.assert_array_equal(fibre.array_cable(kind, size)[ends - 1], order)


def test_bend_limits_of_every_class_itu_t_g652_g657() -> None:
    """Each row of the recommendations gives back its own limit, for its turns and for one; below the smallest radius nothing."""
    rows = rows_of("bend_limits_itu.csv")
    assert len(rows) >= 12
    for row in rows:
        radius, turns = float(row["radius_mm"]), float(row["turns"])
        for wave in (1550, 1625):
            told = row[f"max_dB_{wave}nm"]
            if not told:
                continue
            found = fibre.bend_bound_db(row["fibre"], radius, [turns, 1.0], float(wave))
            np.testing.assert_allclose(found.loss_db, [float(told), float(told) / turns])
    for name in {row["fibre"] for row in rows}:
        least = min(float(row["radius_mm"]) for row in rows if row["fibre"] == name)
        assert not fibre.bend_bound_db(name, 0.999 * least, 1).covered


def test_colours_tia_598() -> None:
    """TIA-598 as reproduced in public: twelve strands, twelve tubes."""
    for row in rows_of("strand_colours_tia598.csv"):
        if int(row["position"]) <= 12:
            _, strand = fibre.strand_colours(int(row["position"]))
            assert strand.name == row["colour"]


def test_group_delay_of_standard_fibre() -> None:
    """4.9 us/km: common practice, no source; the index is from memory, c_0 is the SI's, and 200 000 km/s is the rule of thumb."""
    one = float(fibre.delay_s(1000.0))
    assert one == pytest.approx(1.4677 * 1000 / 299_792_458)
    assert one == pytest.approx(4.9e-6, rel=2e-3)
    assert one == pytest.approx(1000 / 2e8, rel=0.025)


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
