"""Power ratings, matched and coded sets, routes in space, sweeps to ask for, budgets, and exchange with scikit-rf."""

from __future__ import annotations

import math

import numpy as np
import pytest
import skrf
from scipy.optimize import minimize
from scipy.signal.windows import kaiser

from upmast.rf.budget import eirp_dbm, loss_parts, lost_power, power_dbm, power_w, transfer_spread_db
from upmast.rf.cascade import insertion_loss_db, join_s, line_s, renormalise_s
from upmast.rf.interchange import from_network, to_network
from upmast.rf.joint import joint_s
from upmast.rf.loss import propagation_per_m
from upmast.rf.matched import coded_lengths, cut_tolerance_m, matched_set, phase_deg
from upmast.rf.rating import (
    air_density_ratio,
    average_rating_w,
    envelope_peak_w,
    governing,
    peak_rating_w,
    standing_wave_factor,
)
from upmast.rf.route import drip_route, route_length, stock_length
from upmast.rf.sweep_plan import WINDOW_WIDTHS, plan_sweep, window_width

# --- power ------------------------------------------------------------------------------------------------------------


def test_average_rating_by_hand() -> None:
    """400 W at 2 GHz; 1.8 GHz, a 0.1, b 0.004, 85 and 40 C, at 50 C, 1500 m, half radiated, VSWR 1.4: computed once more by hand."""
    assert average_rating_w(400, 2e9, 1.8e9, 0.1, 0.004, 85, 40, 50, 1500, 1.4) == pytest.approx(224.73, abs=0.01)
    # at the conditions of the data sheet it is the data sheet's
    assert average_rating_w(400, 2e9, 2e9, 0.1, 0.004, 85, 40, 40) == pytest.approx(400)
    assert average_rating_w(400, 2e9, 2e9, 0.1, 0.004, 85, 40, 85) == 0
    assert average_rating_w(400, 2e9, 2e9, 0.1, 0.004, 85, 40, 90) == 0


def test_standard_atmosphere_of_iso_2533() -> None:
    """ISO 2533: 898.76 hPa at 1000 m, 701.21 hPa at 3000 m, of 1013.25 hPa; reproduced in public tables of the atmosphere."""
    np.testing.assert_allclose(air_density_ratio([1000, 3000]) * 1013.25, [898.76, 701.21], rtol=2e-4)


def test_ratings_fall_with_what_they_should_and_arrays_equal_scalars() -> None:
    heights = np.array([0.0, 1000, 3000])
    all_ = average_rating_w(400, 2e9, [[1e9], [2e9]], 0.1, 0.004, 85, 40, 50, heights, 1.2)
    assert np.all(np.diff(all_, axis=1) < 0)
    assert np.all(np.diff(all_, axis=0) < 0)
    assert all_[1, 2] == average_rating_w(400, 2e9, 2e9, 0.1, 0.004, 85, 40, 50, 3000, 1.2)
    # all heat radiated: height does not matter
    flat = average_rating_w(400, 2e9, 2e9, 0.1, 0.004, 85, 40, 50, heights, radiated_share=1.0)
    assert np.ptp(flat) == pytest.approx(0.0)
    assert peak_rating_w(1000, 3000) < peak_rating_w(1000, 0) == 1000
    assert standing_wave_factor(1.0) == standing_wave_factor(1.0, spread=True) == 1
    assert envelope_peak_w([10.0] * 4, 0.0) == pytest.approx(160)  # n^2 times one
    assert governing({"cable, average": 0.5, "cable, peak": 0.2}).name == "cable, average"


# --- matched and coded ------------------------------------------------------------------------------------------------


def test_phase_and_cut_by_hand() -> None:
    """5 degrees at 2.2 GHz, velocity factor 0.82: 1.55 mm."""
    assert 1000 * cut_tolerance_m(5.0, 2.2e9, 0.82) == pytest.approx(1.55, abs=5e-3)
    assert phase_deg(2.2e9, cut_tolerance_m(5.0, 2.2e9, 0.82), 0.82) == pytest.approx(5.0)
    found = matched_set(10.0, 2.2e9, 1.0, 0.82, 0.001, 0.0)
    assert found.by_length
    assert found.spread_deg == pytest.approx(2 * phase_deg(2.2e9, 0.001, 0.82))
    assert phase_deg(2.2e9, found.cut_needed_m, 0.82) * 2 == pytest.approx(10.0)
    # worst two of a thousand drawn jumpers stay within the spread and come near to it
    rng = np.random.default_rng(1)
    set_ = matched_set(10.0, 2.2e9, 2.0, 0.82, 0.002, 0.001)
    drawn = (
        360
        * 2.2e9
        * (2.0 + rng.uniform(-1, 1, 100_000) * 0.002)
        / (0.82 * 299792458 * (1 + rng.uniform(-1, 1, 100_000) * 0.001))
    )
    assert np.ptp(drawn) <= set_.spread_deg * 1.002
    assert np.ptp(drawn) >= set_.spread_deg * 0.9
    assert not set_.by_length


def test_codes_are_equal_inside_a_group_and_apart_outside() -> None:
    rng = np.random.default_rng(2)
    for _ in range(40):
        n = int(rng.integers(2, 12))
        least, group = rng.uniform(0.8, 4.0, n), rng.integers(0, 4, n)
        codes = coded_lengths(least, group, 0.2, 0.01, 0.002)
        assert np.all(codes.length_m >= least)
        for g in np.unique(group):
            assert np.ptp(codes.length_m[group == g]) == 0
        lengths = np.unique(codes.length_m)
        assert lengths.size == np.unique(group).size
        if lengths.size > 1:
            assert np.diff(lengths).min() >= 0.22
            assert codes.apart_m == pytest.approx(np.diff(lengths).min())


# --- routes -----------------------------------------------------------------------------------------------------------


def test_a_straight_way_and_a_quarter_turn() -> None:
    assert route_length([[0, 0, 0], [0, 0, 2]], [[0, 0, 1], [0, 0, 3]], 0.1).length_m == pytest.approx(2.0)
    # with its straights just long enough the quarter turn is forced: 0.5 + quarter + 0.5
    quarter = route_length([[0, 0, 0], [0.6, 0, 0.6]], [[1, 0, 0], [0, 0, 1]], 0.1, 0.5)
    assert quarter.length_m == pytest.approx(1.0 + math.pi / 2 * 0.1)


@pytest.mark.parametrize("seed", range(12))
def test_ways_against_a_search_over_the_straights_direction(seed: int) -> None:
    """Bend, straight, bend: the residual of the closing condition vanishes only at the way that the fixed point finds."""
    rng = np.random.default_rng(seed)
    end, out, into = rng.uniform(0.8, 2.0, 3), rng.normal(size=3), rng.normal(size=3)
    radius = 0.1
    found = route_length([[0, 0, 0], end], [out, into], radius)
    if not found.found:
        return
    out, into = out / np.linalg.norm(out), into / np.linalg.norm(into)

    def closed(angles: np.ndarray) -> tuple[float, float]:
        u = np.array(
            [math.cos(angles[0]) * math.cos(angles[1]), math.cos(angles[0]) * math.sin(angles[1]), math.sin(angles[0])]
        )
        one, two = math.acos(np.clip(out @ u, -1, 1)), math.acos(np.clip(u @ into, -1, 1))
        rest = end - radius * math.tan(one / 2) * (out + u) - radius * math.tan(two / 2) * (u + into)
        off = rest - (rest @ u) * u
        return float(off @ off), radius * (one + two) + float(rest @ u)

    u0 = end / np.linalg.norm(end)
    start = [math.asin(u0[2]), math.atan2(u0[1], u0[0])]
    solved = minimize(
        lambda x: closed(x)[0], start, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-20, "maxiter": 4000}
    )
    assert closed(solved.x)[0] < 1e-12
    assert found.length_m == pytest.approx(closed(solved.x)[1], abs=1e-5)
    assert found.length_m >= np.linalg.norm(end)


def test_limits_of_a_route() -> None:
    points, ways = [[0, 0, 0], [0.8, 0.3, 1.0]], [[1, 0, 0], [0, 0, 1]]
    lengths = [route_length(points, ways, r).length_m for r in (1e-6, 0.02, 0.05, 0.1)]
    assert lengths[0] == pytest.approx(math.dist(*points), abs=1e-5)
    assert lengths == sorted(lengths)  # a stiffer cable is never shorter
    turned = route_length(points[::-1], [[0, 0, -1], [-1, 0, 0]], 0.1).length_m
    assert turned == pytest.approx(lengths[-1])  # the same way back
    assert not route_length([[0, 0, 0], [0.05, 0, 0]], [[1, 0, 0], [-1, 0, 0]], 0.1).found
    clamp = route_length([[0, 0, 0], [0.3, 0, 0.6], [0.8, 0.3, 1.0]], [[1, 0, 0], [0, 0, 1], [0, 0, 1]], 0.05)
    assert clamp.length_m > lengths[2]


def test_a_drip_loop_costs_length_and_the_deeper_the_more() -> None:
    start, end, down, up = [0, 0, 0], [0.6, 0, 0.5], [0, 0, -1], [0, 0, 1]
    lengths = [drip_route(start, down, end, up, 0.06, d).length_m for d in (0.1, 0.2, 0.4)]
    assert lengths == sorted(lengths)
    assert lengths[0] >= math.dist(start, [0.3, 0, -0.1]) + math.dist([0.3, 0, -0.1], end) - 0.3
    with pytest.raises(ValueError, match="no drip loop of their own"):
        drip_route(start, down, [0, 0, 1], up, 0.06, 0.1)


def test_stock_lengths_and_warnings() -> None:
    assert stock_length(1.2, [0.5, 1.5, 2.0], 0.1).length_m == 1.5
    assert stock_length(1.2, [3.0], 0.1).coil
    assert not stock_length(1.2, [1.5], 0.1).coil
    assert stock_length(1.2, [0.5], 0.1).short
    assert math.isnan(stock_length(1.2, [0.5], 0.1).length_m)
    assert stock_length(1.2, [], 0.1, have_m=1.0).short


# --- sweeps -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("beta", sorted(WINDOW_WIDTHS))
def test_window_widths_by_scipys_windows(beta: float) -> None:
    n, pad = 801, 1 << 18
    spectrum = np.abs(np.fft.rfft(kaiser(n, beta), pad))
    spectrum /= spectrum[0]
    half = np.interp(-0.5011872, -spectrum[: pad // 100], np.arange(pad // 100))  # -6 dB
    # a span of n - 1 steps; bins of 1 / pad; the width counts both sides, in units of 1 / span, of which v / (2 B) is one
    width, lobe = WINDOW_WIDTHS[beta]
    assert 2 * half / pad * (n - 1) == pytest.approx(width, abs=0.011)
    first_null = int(np.argmax(np.diff(spectrum) > 0))
    assert 20 * math.log10(spectrum[first_null:].max()) == pytest.approx(lobe, abs=0.2)


def test_a_sweep_that_tells_joints_apart() -> None:
    """270 MHz, 271 points, velocity factor 0.83: resolution 0.4608 m without window, range 124.41 m, computed once more by hand."""
    wanted = plan_sweep(40.0, 0.4608 * 1.21, 0.83, 2e9, 1e9, 3e9, beta=0.0)
    assert wanted.high_hz - wanted.low_hz == pytest.approx(270e6, rel=2e-4)
    assert wanted.enough_span
    assert wanted.range_m >= 1.2 * 40
    tight = plan_sweep(40.0, 0.1, 0.83, 2e9, 1.9e9, 2.1e9)
    assert not tight.enough_span
    assert (tight.low_hz, tight.high_hz) == (1.9e9, 2.1e9)
    assert tight.resolution_m > 0.1
    edge = plan_sweep(40.0, 1.0, 0.83, 0.75e9, 0.7e9, 2.7e9)
    assert edge.low_hz == 0.7e9
    assert not plan_sweep(2000.0, 0.5, 0.83, 2e9, 1e9, 3e9).enough_points
    assert window_width(5.0) == pytest.approx((1.66 + 1.96) / 2)


# --- budgets ----------------------------------------------------------------------------------------------------------


def test_parts_of_the_loss_add_up_to_the_cascade_of_matched_parts() -> None:
    f = np.array([1.8e9])
    joint = joint_s("shunt C", f, 26.0, 1.8e9)
    line = line_s(propagation_per_m(f, 0.85, 0.1, 0.005), 3.0)
    whole = float(insertion_loss_db(join_s(joint, line))[0])
    alone = float(insertion_loss_db(line)[0])
    parts = loss_parts([alone], [10 ** (-26 / 20)])
    assert parts.total_db == pytest.approx(whole, abs=1e-9)
    assert parts.total_db == parts.cables_db + parts.joints_db + parts.inline_db


def test_power_and_what_it_costs() -> None:
    assert power_w(power_dbm([0.5, 20.0])) == pytest.approx([0.5, 20.0])
    assert np.isneginf(power_dbm(0.0))
    assert eirp_dbm(46.0, 0.0, 18.0) == 64.0
    found = lost_power([20.0, 40.0], 3.0103, 0.4)
    np.testing.assert_allclose(found.lost_w, [10, 20], rtol=1e-4)
    np.testing.assert_allclose(found.drawn_w, [25, 50], rtol=1e-4)
    more, less = transfer_spread_db(0.2, 0.2, 0.0)
    assert more == pytest.approx(20 * math.log10(1.04))
    assert less == pytest.approx(20 * math.log10(0.96))


# --- exchange ---------------------------------------------------------------------------------------------------------


def test_networks_go_to_scikit_rf_and_back() -> None:
    f = np.linspace(1e9, 2e9, 11)
    s = join_s(joint_s("shunt C", f, 26.0, 1.8e9), line_s(propagation_per_m(f, 0.85, 0.1, 0.005), 1.3))
    network = to_network(f, s, name="jumper")
    assert isinstance(network, skrf.Network)
    back_f, back_s = from_network(network)
    np.testing.assert_array_equal(back_f, f)
    np.testing.assert_allclose(back_s, s, atol=1e-15)
    other = from_network(network, 75.0)[1]
    np.testing.assert_allclose(other, renormalise_s(s, 50.0, 75.0), atol=1e-12)
    one = to_network(f, s[:, 0, 0])
    np.testing.assert_allclose(from_network(one)[1], s[:, 0, 0])
    np.testing.assert_array_equal(network.s, s)  # not changed by what was read
    for wrong in ((f[::-1], s), (f, s[:3]), (f, s[:, :1, :])):
        with pytest.raises(ValueError, match=r"s is|frequencies rise"):
            to_network(*wrong)
    network.z0 = 50 + 1j
    with pytest.raises(ValueError, match="real impedances"):
        from_network(network)


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (lambda: air_density_ratio(20_000), "11 km"),
        (lambda: standing_wave_factor(0.9), "1 or more"),
        (lambda: average_rating_w(0, 1e9, 1e9, 0.1, 0, 85, 40, 20), "above 0 W"),
        (lambda: envelope_peak_w([-1.0]), "negative"),
        (lambda: peak_rating_w(0), "above 0"),
        (lambda: governing({}), "one rating"),
        (lambda: phase_deg(1e9, -1.0, 0.8), "not negative"),
        (lambda: cut_tolerance_m(1.0, 0.0, 0.8), "above 0"),
        (lambda: matched_set(0.0, 1e9, 1, 0.8, 0, 0), "a limit above 0"),
        (lambda: coded_lengths([1.0], [0, 1], 0.1, 0.01), "a group for each"),
        (lambda: route_length([[0, 0, 0]], [[1, 0, 0]], 0.1), "two or more"),
        (lambda: route_length([[0, 0, 0], [1, 0, 0]], [[0, 0, 0], [1, 0, 0]], 0.1), "direction"),
        (lambda: stock_length(0.0, [1.0], 0.1), "above 0"),
        (lambda: plan_sweep(0.0, 1.0, 0.8, 2e9, 1e9, 3e9), "lengths above 0"),
        (lambda: plan_sweep(10.0, 1.0, 0.8, 4e9, 1e9, 3e9), "the centre lies"),
        (lambda: window_width(11.0), "between 0 and 10"),
        (lambda: loss_parts([-1.0], [0.1]), "negative"),
        (lambda: lost_power(10, 1, 0.0), "efficiencies"),
        (lambda: power_dbm(-1.0), "negative"),
    ],
)
def test_what_can_not_be_is_refused(what, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        what()
