from __future__ import annotations

import numpy as np
import pytest

from upmast import rf
from upmast.rf import likeness as room
from upmast.rf.likeness import LIKE, SAME, UNLIKE

F = np.linspace(1.825e9, 2.075e9, 501)
LINE = rf.LumpedLine([2.0, 35.0, 2.0], 0.84, [0.12, 0.035, 0.12], [0.005, 0.002, 0.005])
SPREADS = rf.LikeSpreads([30.0, 30.0, 30.0, 30.0])
END_S = float(LINE.end_delay_s[-1])


@pytest.fixture(scope="module")
def known() -> rf.LikePopulation:
    return rf.like_population(F, LINE, SPREADS)


def _sweep(path: np.random.Generator, day: np.random.Generator, celsius: float = 20.0) -> np.ndarray:
    """A sweep of a path made by exact cascades of true lumps, apart from the simulation that sets the thresholds."""
    levels, kinds = 30.0 + 3.0 * path.normal(size=4), path.choice(["shunt C", "series L"], 4)
    off, speed = 0.005 * path.normal(size=3), 1 + 0.002 * path.normal()
    parts = []
    for k in range(4):
        parts.append(rf.joint_s(kinds[k], F, levels[k], 1.95e9))
        if k < 3:
            gamma = rf.propagation_per_m(F, 0.84, LINE.root_db_per_m[k], LINE.linear_db_per_m[k], celsius)
            gamma = gamma.real + 1j * gamma.imag * speed * (1 + 1e-5 * (celsius - 20))
            parts.append(rf.line_s(gamma, LINE.section_length_m[k] + off[k]))
    g = rf.input_gamma(rf.join_s(*parts), 0.008) + 0.008 * np.exp(1j * day.uniform(0, 6.28))
    return g * 10 ** (day.uniform(-0.03, 0.03) / 20) + 4e-4 * (day.normal(size=F.size) + 1j * day.normal(size=F.size))


def test_rates_on_sweeps_of_another_making(known: rf.LikePopulation) -> None:
    day = np.random.default_rng(99)
    alike = unlike = wrong = 0
    sweeps = [_sweep(np.random.default_rng(n), day) for n in range(30)]
    for n in range(30):
        again = _sweep(np.random.default_rng(n), day, 35.0)
        alike += rf.like_statement(rf.unlikeness(F, sweeps[n], again, END_S), known).words == LIKE
    for n in range(30):
        for m in range(n):
            said = rf.like_statement(rf.unlikeness(F, sweeps[n], sweeps[m], END_S), known).words
            wrong += said == LIKE
            unlike += said == UNLIKE
    assert alike >= 28
    assert wrong <= 0.03 * 435
    assert unlike >= 0.9 * 435


def test_rates_on_a_fresh_seed(known: rf.LikePopulation) -> None:
    fresh = rf.like_population(F, LINE, SPREADS, seed=7)
    like, unlike = room.like_statement(rf.Likeness(-30.0, 0.0, 0.0), known)[5:7]
    assert np.mean(fresh.twin_db <= like) <= 0.03
    assert np.mean(fresh.again_db <= like) >= 0.97
    assert np.mean(fresh.again_db >= unlike) <= 0.03
    assert like < np.median(known.twin_db)
    assert np.median(known.again_db) < like


def test_same_seed_same_numbers(known: rf.LikePopulation) -> None:
    again = rf.like_population(F, LINE, SPREADS)
    np.testing.assert_array_equal(again.twin_db, known.twin_db)
    np.testing.assert_array_equal(again.again_db, known.again_db)


def test_the_same_samples_are_told_and_identities_hold(known: rf.LikePopulation) -> None:
    day = np.random.default_rng(5)
    a, b = (_sweep(np.random.default_rng(n), day) for n in (1, 2))
    same = rf.unlikeness(F, a, a, END_S)
    assert same.unlikeness_db <= -140
    assert rf.like_statement(same, known).words == SAME
    assert rf.unlikeness(F, a, b, END_S).unlikeness_db == pytest.approx(
        rf.unlikeness(F, b, a, END_S).unlikeness_db, abs=0.3
    )
    # a common factor does not count
    turned = rf.unlikeness(F, a, 0.9 * np.exp(0.3j) * b, END_S)
    assert turned.unlikeness_db == pytest.approx(rf.unlikeness(F, a, b, END_S).unlikeness_db, abs=1e-6)
    # traces without anything in common: |rho|^2 is near 0
    line = np.exp(-4j * np.pi * F * 3e-8) * 0.05
    other = np.exp(-4j * np.pi * F * 1.2e-7) * 0.05
    assert rf.unlikeness(F, line, other, END_S).unlikeness_db == pytest.approx(0.0, abs=0.01)
    # half of the power in common: 1 - |rho|^2 = 1/2
    both = rf.unlikeness(F, line, line + other, END_S)
    assert both.unlikeness_db == pytest.approx(-3.01, abs=0.1)


def test_a_warmer_day_is_stretched_back(known: rf.LikePopulation) -> None:
    quiet = np.random.default_rng(3)
    a, b = _sweep(np.random.default_rng(1), quiet), _sweep(np.random.default_rng(1), quiet, 40.0)
    seen = rf.unlikeness(F, a, b, END_S)
    assert seen.stretch == pytest.approx(2e-4, abs=3e-5)
    assert rf.like_statement(seen, known).words == LIKE
    assert rf.unlikeness(F, a, b, END_S, stretch=1e-6).unlikeness_db > seen.unlikeness_db + 3


def test_where_both_overlap_nothing_is_said() -> None:
    """Parts so like, and sweeps so poor, that a twin is as near as a second sweep."""
    tight = rf.LikeSpreads(
        [30.0] * 4, joint_spread_db=0.2, length_sigma_m=3e-4, velocity_sigma=5e-5, noise_db=-45.0, gamma_sigma=0.004
    )
    mixed = rf.like_population(F, LINE, tight, count=200)
    said = rf.like_statement(rf.Likeness(float(np.median(mixed.twin_db)), 0.0, 0.0), mixed)
    assert not said.judged
    assert said.text.startswith("Not judged")


def test_words_are_neutral_and_name_their_rates(known: rf.LikePopulation) -> None:
    said = rf.like_statement(rf.Likeness(-33.0, 0.0, 0.0), known, pairs=66)
    assert said.words == LIKE
    assert said.twin_share[0] <= 0.01
    assert said.by_chance == pytest.approx(66 * said.twin_share[1])
    for text in (
        said.text,
        rf.like_statement(rf.Likeness(-150.0, 0.0, 1.0), known).text,
        rf.like_statement(rf.Likeness(-1.0, 0.0, 0.0), known).text,
    ):
        assert not any(
            word in text.lower()
            for word in ("copied", "fake", "fraud", "forged", "cheat", "suspect", "guilty", "false")
        )
    # the upper end of a share of 0 in 400 is about 1 %: Wilson, z^2/(n + z^2)
    assert said.twin_share[1] == pytest.approx(1.959964**2 / (400 + 1.959964**2), rel=1e-6) or said.twin_share[0] > 0


def test_nonsense_is_refused(known: rf.LikePopulation) -> None:
    g = np.full(F.size, 0.1 + 0j)
    for call in (
        lambda: rf.unlikeness(F, np.abs(g), g, END_S),
        lambda: rf.unlikeness(F, g[:-1], g, END_S),
        lambda: rf.unlikeness(F, g * np.nan, g, END_S),
        lambda: rf.unlikeness(F, g, g, 1e-9),
        lambda: rf.like_population(F, LINE, SPREADS, count=10),
        lambda: rf.like_population(F, LINE, rf.LikeSpreads([30.0])),
        lambda: rf.LikeSpreads([30.0], joint_spread_db=-1.0),
        lambda: rf.LikeSpreads([0.0]),
        lambda: rf.LikeSpreads([30.0], noise_db=3.0),
        lambda: rf.like_statement(rf.Likeness(-3.0, 0.0, 0.0), known, pairs=0),
        lambda: rf.like_statement(rf.Likeness(-3.0, 0.0, 0.0), known, rate=1e-4),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
