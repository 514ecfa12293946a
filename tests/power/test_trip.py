"""Trip bands: points, straight lines in logarithms, what heat does to them, zones, rules."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.power.protection import breaker_window
from upmast.power.trip import (
    CONTINUOUS_RULES,
    INSTANTANEOUS_DC,
    ZONES,
    TripCurve,
    continuous_rule,
    derate_fraction,
    derated_a,
    instantaneous_band,
    overload,
    trip_band_s,
    zone,
)
from upmast.source import Mark

# Invented, inside the gates of IEC 60898-1 (from memory): 1.13 In holds an hour, 1.45 In trips within it, 2.55 In in 1 to 60 s.
CURVE = TripCurve([1.13, 1.45, 2.55, 4.0, 7.0, 20.0], [3600, 60, 2, 0.01, 0.002, 0.002], [np.inf, 3600, 60, 12, 0.1, 0.01], 1.13)  # fmt: skip


def test_the_points_themselves() -> None:
    shortest, longest = trip_band_s(CURVE, CURVE.multiple * 25, 25)
    np.testing.assert_allclose(shortest, CURVE.shortest_s, rtol=1e-12)
    np.testing.assert_allclose(longest, CURVE.longest_s, rtol=1e-12)


def test_halfway_between_two_points_is_their_geometric_mean() -> None:
    shortest, longest = trip_band_s(CURVE, np.sqrt(1.45 * 2.55), 1.0)
    assert shortest == pytest.approx(np.sqrt(60 * 2))
    assert longest == pytest.approx(np.sqrt(3600 * 60))


def test_a_curve_of_constant_heat_stays_one() -> None:
    """I^2 t = const is a straight line in logarithms: two points give it everywhere between."""
    fuse = TripCurve([2.0, 100.0], 80 / np.array([4.0, 1e4]), 120 / np.array([4.0, 1e4]))
    current = np.geomspace(20, 1000, 37)
    shortest, longest = trip_band_s(fuse, current, 10.0)
    np.testing.assert_allclose(current**2 * shortest, 8000, rtol=1e-12)
    np.testing.assert_allclose(current**2 * longest, 12000, rtol=1e-12)


def test_outside_the_points() -> None:
    shortest, longest = trip_band_s(CURVE, [0.0, 1.0, 1.12999, 1.2, 20.0, 500.0, np.inf], 1.0)
    np.testing.assert_array_equal(np.isinf(shortest), [True, True, True, False, False, False, False])
    np.testing.assert_array_equal(np.isinf(longest), [True, True, True, True, False, False, False])
    np.testing.assert_allclose(shortest[-3:], 0.002)
    np.testing.assert_allclose(longest[-3:], 0.01)
    # between the non-tripping current and the first point: at the earliest as at the first point, at the latest never
    late = TripCurve([2.0, 4.0], [10.0, 1.0], [20.0, 2.0], 1.13)
    shortest, longest = trip_band_s(late, [1.1, 1.5, 2.0], 1.0)
    assert shortest.tolist() == pytest.approx([np.inf, 10.0, 10.0])
    assert longest.tolist() == pytest.approx([np.inf, np.inf, 20.0])


def test_array_equals_scalar_and_missing_stays_missing() -> None:
    current, rating = np.array([10.0, 30.0, 90.0, 400.0]), np.array([[16.0], [25.0]])
    shortest, longest = trip_band_s(CURVE, current, rating, 0.9)
    for i in range(2):
        for j in range(4):
            one = trip_band_s(CURVE, current[j], rating[i, 0], 0.9)
            assert (shortest[i, j], longest[i, j]) == (float(one[0]), float(one[1]))
    for call in ((np.nan, 16.0, 1.0), (30.0, np.nan, 1.0), (30.0, 16.0, np.nan)):
        assert np.isnan(trip_band_s(CURVE, *call)).all()


def test_the_band_holds_at_every_temperature_between() -> None:
    """With a factor d the band encloses the declared curve moved along the current by any factor between d and 1."""
    current = np.geomspace(1.0, 30.0, 200)
    for derate in (0.6, 0.85, 1.0, 1.2):
        shortest, longest = trip_band_s(CURVE, current, 1.0, derate)
        for moved in np.linspace(min(derate, 1.0), max(derate, 1.0), 7):
            early, late = trip_band_s(CURVE, current, moved)
            assert np.all(shortest <= early * (1 + 1e-12))
            assert np.all(longest >= late * (1 - 1e-12))
        assert np.all(np.diff(shortest[np.isfinite(shortest)]) <= 1e-12)


@pytest.mark.parametrize(
    ("points", "match"),
    [
        (([2.0], [1.0], [2.0]), "2 to 200 points"),
        ((np.arange(1, 202), np.ones(201), np.ones(201)), "2 to 200 points"),
        (([2.0, 3.0], [1.0], [2.0, 2.0]), "one axis"),
        (([3.0, 2.0], [1.0, 1.0], [2.0, 2.0]), "sort the points"),
        (([2.0, 2.0], [1.0, 1.0], [2.0, 2.0]), "sort the points"),
        (([0.0, 2.0], [1.0, 1.0], [2.0, 2.0]), "above 0"),
        (([2.0, 1e5], [1.0, 1.0], [2.0, 2.0]), "1e\\+04|10000"),
        (([2.0, np.nan], [1.0, 1.0], [2.0, 2.0]), "multiple is"),
        (([2.0, 3.0], [1.0, 0.0], [2.0, 2.0]), "shortest_s is .*expected times"),
        (([2.0, 3.0], [1.0, np.nan], [2.0, 2.0]), "shortest_s is"),
        (([2.0, 3.0], [np.inf, 1.0], [np.inf, 2.0]), "shortest_s is"),
        (([2.0, 3.0], [1.0, 1.0], [1e9, 2.0]), "longest_s is"),
        (([2.0, 3.0], [1.0, 1.5], [2.0, 2.0]), "shortest_s .*never rise"),
        (([2.0, 3.0], [1.0, 0.5], [2.0, 3.0]), "longest_s .*never rise"),
        (([2.0, 3.0], [1.0, 0.5], [np.inf, np.inf]), "surely trip"),
        (([2.0, 3.0], [1.0, 0.5], [2.0, 0.4]), "columns exchanged"),
        (([2.0, 3.0], [1.0, 0.5], [2.0, 1.0], 2.5), "non_trip_multiple is 2.5"),
        (([2.0, 3.0], [1.0, 0.5], [2.0, 1.0], 0.0), "non_trip_multiple is 0"),
    ],
)
def test_a_wrong_curve_is_refused(points: tuple[object, ...], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        TripCurve(*points)  # type: ignore[arg-type]


def test_a_curve_can_not_be_changed() -> None:
    given = np.array([2.0, 3.0])
    curve = TripCurve(given, [2.0, 1.0], [4.0, 3.0])
    given[0] = 1.0
    assert curve.multiple[0] == 2.0
    with pytest.raises(ValueError, match="read-only"):
        curve.shortest_s[0] = 5.0


def test_zones() -> None:
    """Type B for direct current at 20 A: 1.13, 1.45, 2.55 In (IEC 60898-1) and 4 to 7 In (IEC 60898-2), from memory."""
    current = [0.0, 22.5, 22.7, 28.9, 29.0, 50.9, 51.0, 79.9, 80.0, 139.9, 140.0, 1e5, np.nan]
    words = zone(current, 20.0, 1.13, 1.45, 4.0, 7.0).tolist()
    order = [0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5]
    assert words == [ZONES[n] for n in order] + ["not judged"]
    assert zone(50.0, 20.0, 1.13, 1.45, np.nan, 7.0) == "not judged"
    for one, word in zip(current, words, strict=True):
        assert zone(one, 20.0, 1.13, 1.45, 4.0, 7.0) == word
    # without a gate for seconds, heat is seconds to minutes from the tripping current on
    assert zone(30.0, 20.0, 1.13, 1.45, 4.0, 7.0, 1.45) == ZONES[3]


def test_a_longer_run_goes_down_the_zones() -> None:
    """Far-end fault current falls with length: the zone never gets faster."""
    loop = np.linspace(0.01, 3.0, 300)
    words = zone(43.2 / (0.02 + loop), 25.0, 1.13, 1.45, 4.0, 7.0)
    rank = [ZONES.index(str(word)) for word in words]
    assert rank == sorted(rank, reverse=True)
    assert set(rank) == set(range(6))


def test_overload_conditions() -> None:
    used = overload([20.0, 30.0], 25.0, 32.0, 1.45 * 25.0)
    np.testing.assert_allclose(used.design_fraction, [0.8, 1.2])
    # a breaker with I2 = 1.45 In: the second condition is the first
    np.testing.assert_allclose(used.conventional_fraction, used.rating_fraction)
    np.testing.assert_allclose(used.worst_fraction, [0.8, 1.2])
    assert float(overload(25.0, 25.0, 25.0, 1.45 * 25.0).worst_fraction) == 1.0
    # the window of ratings is the first two conditions
    ratings = np.array([16.0, 20.0, 25.0, 32.0, 40.0])
    both = overload(17.0, ratings, 33.0, 0.0, 1.25)
    passes = np.maximum(both.design_fraction, both.rating_fraction) <= 1
    np.testing.assert_array_equal(passes, breaker_window(17.0, ratings, 33.0, 1.25))
    assert np.isnan(overload(20.0, 25.0, 32.0, np.nan).worst_fraction)
    assert overload(20.0, 25.0, 32.0, np.nan).rating_fraction == 25 / 32


def test_continuous_rules() -> None:
    iec, nec = continuous_rule("iec"), continuous_rule("nec_125")
    assert (iec.factor, nec.factor) == (1.0, 1.25)
    assert iec.source.document != nec.source.document
    assert all(rule.source.mark is Mark.PRACTICE for rule in CONTINUOUS_RULES.values())
    assert breaker_window(20.0, 20.0, 40.0, iec.factor)
    assert not breaker_window(20.0, 20.0, 40.0, nec.factor)
    with pytest.raises(ValueError, match="iec, nec_125"):
        continuous_rule("none")


def test_bands_are_from_memory() -> None:
    assert {band.source.mark for band in INSTANTANEOUS_DC.values()} == {Mark.MEMORY}
    with pytest.raises(ValueError, match="B, C"):
        instantaneous_band("Q")


def test_derating() -> None:
    assert derate_fraction(30.0, 30.0, 0.005, 1.0) == 1
    assert derate_fraction(55.0, 30.0, 0.0, 1.0) == 1  # hydraulic-magnetic
    warm = derate_fraction(np.array([30.0, 40.0, 50.0, 60.0]), 30.0, 0.006, 1.0)
    np.testing.assert_allclose(np.diff(warm), -0.06)
    assert derate_fraction(500.0, 30.0, 0.05, 1.0) == 0
    assert derate_fraction(-10.0, 30.0, 0.005, 1.0) == pytest.approx(1.2)
    assert derated_a(25.0, -10.0, 30.0, 0.005, 1.0) == 25.0
    np.testing.assert_allclose(
        derated_a(np.array([16.0, 25.0]), 50.0, 30.0, 0.005, 0.9),
        np.array([16.0, 25.0]) * derate_fraction(50.0, 30.0, 0.005, 0.9),
    )
    for missing in ((np.nan, 30.0, 0.005, 0.9), (50.0, np.nan, 0.005, 0.9), (50.0, 30.0, np.nan, 0.9), (50.0, 30.0, 0.005, np.nan)):  # fmt: skip
        assert np.isnan(derate_fraction(*missing))
        assert np.isnan(derated_a(25.0, *missing))


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: trip_band_s(CURVE, -1.0, 16.0), "current_a is -1"),
        (lambda: trip_band_s(CURVE, 1.0, 0.0), "rating_a or derate is 0"),
        (lambda: trip_band_s(CURVE, 1.0, 16.0, 0.0), "rating_a or derate is 0"),
        (lambda: zone(1.0, 0.0, 1.13, 1.45, 4, 7), "rating_a is 0"),
        (lambda: zone(1.0, 20.0, 1.5, 1.45, 4, 7), "non_trip_multiple <= trip_multiple"),
        (lambda: zone(1.0, 20.0, 1.13, 1.45, 8, 7), "low_multiple <= high_multiple"),
        (lambda: overload(1.0, 0.0, 1.0, 1.0), "above 0"),
        (lambda: overload(-1.0, 1.0, 1.0, 1.0), "design_a is -1"),
        (lambda: derate_fraction(40.0, 30.0, 0.5, 1.0), "0.5 % is 0.005"),
        (lambda: derate_fraction(40.0, 30.0, 0.005, 1.2), "neighbour_fraction"),
        (lambda: derate_fraction(40.0, 30.0, 0.005, 0.0), "neighbour_fraction"),
        (lambda: derated_a(-1.0, 40.0, 30.0, 0.005, 1.0), "rated_a is -1"),
    ],
)
def test_nonsense(call: object, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        call()  # type: ignore[operator]
