"""The best length of a jumper with two like joints: closed forms, other ways to the same optimum, whole cascades."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from upmast.rf.bands import band
from upmast.rf.cascade import input_gamma, join_s, line_s
from upmast.rf.joint import joint_reactance, joint_s
from upmast.rf.length import (
    Bands,
    add_offset_turns,
    best_length,
    distance_turns,
    gain_db,
    half_sweep_turns,
    lengths_beyond,
    longest_for_gain_m,
    null_spacing_m,
    round_trip_turns,
    widened_width_hz,
)
from upmast.rf.loss import propagation_per_m

PUBLISHED = Path(__file__).parent.parent / "published"
LONGEST = {  # own derivation, computed once more: longest length [m] for 1, 3 and 6 dB; exact; 2 mm, 0.2 %; 5 mm, 1 %; vf 0.85
    (703, 748): ((1.98, 1.42, 0.95), (1.80, 1.27, 0.83), (1.38, 0.95, 0.59)),
    (880, 915): ((2.55, 1.82, 1.22), (2.22, 1.56, 1.01), (1.52, 1.04, 0.63)),
    (1710, 1785): ((1.19, 0.85, 0.57), (1.00, 0.69, 0.43), (0.65, 0.42, 0.23)),
    (1920, 1980): ((1.49, 1.06, 0.71), (1.20, 0.83, 0.51), (0.70, 0.45, 0.23)),
    (2500, 2570): ((1.27, 0.91, 0.61), (0.99, 0.67, 0.40), (0.53, 0.32, 0.14)),
    (3400, 3500): ((0.89, 0.64, 0.43), (0.66, 0.44, 0.25), (0.32, 0.17, 0.05)),
}
TOLERANCES = ((0.0, 0.0), (0.002, 0.002), (0.005, 0.01))


def of(*edges: tuple[float, float], vf: float = 0.85, dl: float = 0.0, dv: float = 0.0) -> Bands:
    low, high = zip(*edges, strict=True)
    return Bands(np.array(low) * 1e6, np.array(high) * 1e6, vf, dl, dv)


@pytest.mark.parametrize("edges", LONGEST)
def test_longest_lengths_for_a_gain(edges: tuple[float, float]) -> None:
    for (dl, dv), row in zip(TOLERANCES, LONGEST[edges], strict=True):
        np.testing.assert_allclose(longest_for_gain_m(of(edges, dl=dl, dv=dv), [1, 3, 6])[:, 0], row, atol=0.0051)


def test_a_wide_band_gains_nothing_in_practice() -> None:
    np.testing.assert_allclose(longest_for_gain_m(of((3300, 3800)), [1, 3, 6])[:, 0], [0.18, 0.13, 0.09], atol=0.0051)
    assert best_length(of((3300, 3800), dl=0.002, dv=0.002), 0.5, 10).gain_db.max() == 0


def table() -> list[dict[str, str]]:
    with (PUBLISHED / "jumper_gain_tables.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(row for row in file if not row.startswith("#")))


@pytest.mark.parametrize("row", table(), ids=lambda row: f"{row['bands']}-{row['low_m']}")
def test_best_gains_over_a_range(row: dict[str, str]) -> None:
    edges = []
    for name in row["bands"].split("+"):
        one = band(f"B{name[:-1]}")
        span = one.uplink_hz if name[-1] == "U" else one.downlink_hz
        assert span is not None
        low, high = span
        edges.append((float(low) / 1e6, float(high) / 1e6))
    for (dl, dv), column in zip(TOLERANCES, ("exact_db", "small_db", "large_db"), strict=True):
        found = best_length(of(*edges, dl=dl, dv=dv), float(row["low_m"]), float(row["high_m"]))
        # the table is rounded to a tenth, at two places the other way
        assert found.gain_db.min() == pytest.approx(float(row[column]), abs=0.1)


def test_one_band_by_hand() -> None:
    """925 to 960 MHz, 0.4 to 2 m, velocity factor 0.82, 4 mm and 0.4 %: computed once more by hand."""
    one = of((925, 960), vf=0.82, dl=0.004, dv=0.004)
    found = best_length(one, 0.4, 2.0)
    assert found.length_m == pytest.approx(0.4563, abs=5e-5)
    assert found.gain_db[0] == pytest.approx(9.43, abs=5e-3)
    assert gain_db(distance_turns(one, 1.0))[0] == pytest.approx(0.71, abs=5e-3)
    assert longest_for_gain_m(one, 3.0)[0] == pytest.approx(1.2696, abs=5e-5)
    assert 1000 * null_spacing_m(one)[0] == pytest.approx(130.41, abs=5e-3)
    # the last null below the longest length, 9.5 spacings: a little more than 3 dB
    last = best_length(one, 1.2696 - null_spacing_m(one)[0], 1.2696)
    assert last.length_m == pytest.approx(9.5 * null_spacing_m(one)[0], abs=5e-4)
    assert last.gain_db[0] == pytest.approx(3.148, abs=5e-3)


def test_two_bands_of_two_to_six_metres_gain_nothing() -> None:
    found = best_length(of((1710, 1785), (1805, 1880), vf=0.82, dl=0.004, dv=0.004), 2, 6)
    assert found.distance_turns == 0
    assert found.length_m == 2
    np.testing.assert_array_equal(found.gain_db, [0, 0])


def test_the_sine_rule_at_a_null() -> None:
    one = of((925, 960), vf=0.82, dl=0.004, dv=0.004)
    found = best_length(one, 0.4, 2.0)
    h = half_sweep_turns(one, found.length_m)[0]
    assert found.gain_db[0] == pytest.approx(-20 * math.log10(math.sin(math.pi * h)))
    assert widened_width_hz(one, found.length_m)[0] == pytest.approx(one.velocity_m_per_s * h / found.length_m)


problems = st.fixed_dictionaries(
    {
        "edges": st.lists(st.tuples(st.floats(450, 3700), st.floats(0.5, 90)), min_size=1, max_size=5),
        "dl": st.sampled_from([0.0, 0.002, 0.005]),
        "dv": st.sampled_from([0.0, 0.002, 0.01]),
        "low": st.floats(0.3, 3.0),
        "span": st.floats(0.05, 1.5),
        "offset": st.sampled_from([0.0, 0.5, -0.01]),
    }
)


def made(problem: dict[str, object]) -> Bands:
    edges = [(low, low + width) for low, width in problem["edges"]]  # type: ignore[attr-defined]
    bands = of(*edges, dl=problem["dl"], dv=problem["dv"])  # type: ignore[arg-type]
    return Bands(bands.low_hz, bands.high_hz, bands.velocity_factor, bands.tolerance_m, bands.velocity_tolerance, np.array(problem["offset"]))  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(problems)
def test_no_length_of_a_fine_grid_is_better(problem: dict[str, float]) -> None:
    bands = made(problem)
    low, high = problem["low"], problem["low"] + problem["span"]
    found = best_length(bands, low, high)
    grid = np.linspace(low, high, 20_001)
    seen = distance_turns(bands, grid).min(axis=1).max()
    slope = float(bands.slopes[1].max()) * (grid[1] - grid[0])
    assert found.distance_turns >= seen - 1e-12
    assert found.distance_turns <= seen + slope  # and the grid comes as near as its step allows
    if found.distance_turns:
        assert distance_turns(bands, found.length_m).min() == pytest.approx(found.distance_turns)
        assert low <= found.length_m <= high


@settings(max_examples=40, deadline=None)
@given(problems)
def test_the_best_of_each_lobe_by_linear_programs(problem: dict[str, float]) -> None:
    """scipy's linear programming for every combination of whole turns that the range allows."""
    bands = made(problem)
    low, high = problem["low"], problem["low"] + min(problem["span"], 0.25)
    if bands.low_hz.size > 2:
        return
    a, b = bands.slopes
    lo0, hi1 = round_trip_turns(bands, [low])[0][0], round_trip_turns(bands, [high])[1][0]
    lobes = [range(math.floor(x) - 1, math.ceil(y) + 1) for x, y in zip(lo0, hi1, strict=True)]
    best = 0.0
    offset = np.asarray(bands.offset_turns)
    for ms in np.array(np.meshgrid(*lobes)).T.reshape(-1, len(lobes)):
        # maximise d over (L, d): d <= a (L - dL) - o - m, d <= m + 1 - b (L + dL) + o
        upper = np.concatenate([np.stack([-a, np.ones_like(a)], 1), np.stack([b, np.ones_like(b)], 1)])
        right = np.concatenate([-a * bands.tolerance_m - offset - ms, ms + 1 - b * bands.tolerance_m + offset])
        solved = linprog([0, -1], A_ub=upper, b_ub=right, bounds=[(low, high), (None, None)])
        best = max(best, -solved.fun if solved.success else 0.0)
    assert best_length(bands, low, high).distance_turns == pytest.approx(max(best, 0.0), abs=1e-9)


def test_the_lengths_beyond_a_distance_are_those_of_the_grid() -> None:
    bands = of((880, 915), (1920, 1980), dl=0.002, dv=0.002)
    grid = np.linspace(0.5, 2.0, 30_001)
    for need in (0.05, 0.15, [0.2, 0.05]):
        found = lengths_beyond(bands, need, 0.5, 2.0)
        inside = ((grid[:, None] >= found.low_m) & (grid[:, None] <= found.high_m)).any(axis=1)
        seen = (distance_turns(bands, grid) >= np.asarray(need) - 1e-9).all(axis=1)
        assert np.mean(inside != seen) < 5e-4  # rounding at the edges
        assert np.all(found.low_m[1:] > found.high_m[:-1])
    best = best_length(bands, 0.5, 2.0)
    at = lengths_beyond(bands, best.distance_turns - 1e-9, 0.5, 2.0)
    assert at.low_m.size >= 1
    assert at.low_m[0] <= best.length_m + 1e-6
    assert lengths_beyond(bands, 0.5, 0.5, 2.0).low_m.size == 0


@pytest.mark.parametrize("like", [True, False])
def test_whole_cascades_of_two_joints_add_and_vanish_where_it_says(like: bool) -> None:
    """All echoes and the joints' own phase: the cascade of two lumps is greatest and least where the offset says."""
    f, rl, vf = 2e9, 25.0, 0.85
    kinds = ("shunt C", "shunt C") if like else ("shunt C", "series L")
    length = np.linspace(0.4, 0.6, 4001)
    joints = [joint_s(kind, [f], rl, f) for kind in kinds]  # type: ignore[arg-type]
    line = line_s(propagation_per_m(f, vf, 0.0), length)
    gamma = np.abs(input_gamma(join_s(joints[0], line, joints[1]), 0.0))
    offset = add_offset_turns(joint_reactance(f, rl, f), like)
    bands = Bands([f], [f], vf, offset_turns=offset)
    d = distance_turns(bands, length)[:, 0]
    assert d[np.argmax(gamma)] == pytest.approx(0.0, abs=2e-3)
    assert d[np.argmin(gamma)] == pytest.approx(0.5, abs=2e-3)
    assert gamma.min() < 1e-3
    # first order agrees to the size of the echoes
    r = 10 ** (-rl / 20)
    np.testing.assert_allclose(gamma, 2 * r * np.cos(np.pi * d), atol=3 * r**3)


def test_arrays_equal_scalars_and_limits() -> None:
    bands = of((880, 915), (1920, 1980), dl=0.002, dv=0.002)
    lengths = np.array([[0.5, 0.7], [1.1, 2.3]])
    all_ = distance_turns(bands, lengths)
    for index in np.ndindex(lengths.shape):
        np.testing.assert_array_equal(all_[index], distance_turns(bands, lengths[index]))
    assert gain_db(0.0) == 0
    assert np.isinf(gain_db(0.5))
    np.testing.assert_allclose(gain_db(1 / 3), 6.0206, atol=1e-4)
    # a single frequency without tolerance reaches a perfect null
    assert best_length(of((900, 900)), 0.5, 1.0).distance_turns == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (lambda: Bands([2e9], [1e9], 0.8), "its upper edge"),
        (lambda: Bands([], [], 0.8), "a lower and an upper edge"),
        (lambda: Bands([1e9], [1e9], 1.2), "velocity_factor"),
        (lambda: Bands([1e9], [1e9], 0.8, -1.0), "tolerances"),
        (lambda: best_length(of((900, 920), dl=0.1), 0.05, 1.0), "the tolerance of the cut"),
        (lambda: best_length(of((900, 920)), 1.0, 0.5), "the range goes"),
        (lambda: best_length(of((900, 920)), 1.0, 1e7), "lobes"),
        (lambda: gain_db(0.6), "between 0 and 1/2"),
        (lambda: longest_for_gain_m(of((900, 920)), 0.0), "above 0"),
        (lambda: distance_turns(of((900, 920)), -1.0), "negative"),
    ],
)
def test_what_can_not_be_is_refused(what, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        what()
