"""What a length buys: dilution at the radio port, baselines, the sentence; percentiles of many joints and the chance of a sweep."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import j0, j1

from upmast.rf.gain import diluted_gain_db, pair_gamma, verdict_words, worth_of_length
from upmast.rf.length import Bands, best_length, distance_turns
from upmast.rf.phasors import many_joint_percentile_gamma, many_joint_share, pass_chance
from upmast.rf.reflection import (
    add_worst,
    gamma_from_return_loss,
    return_loss_db,
    return_loss_from_vswr_db,
    two_joint_percentile_gamma,
)

ONE = Bands([925e6], [960e6], 0.82, 0.004, 0.004)
TWO = Bands([1710e6, 1805e6], [1785e6, 1880e6], 0.82, 0.004, 0.004)
END = float(return_loss_from_vswr_db(1.5))


def test_the_dilution_at_the_radio_port() -> None:
    """Computed once more by hand: two joints of 30 dB, antenna of VSWR 1.5: 11.70 dB; 2, 3, 6 dB bring 0.42, 0.60, 1.05; a null 2.3."""
    r = gamma_from_return_loss(30.0)
    assert return_loss_db(add_worst(add_worst(r, r), 0.2)) == pytest.approx(11.70, abs=5e-3)
    np.testing.assert_allclose(diluted_gain_db(r, 0.2, [2, 3, 6, np.inf]), [0.42, 0.60, 1.05, 2.28], atol=6e-3)
    better = gamma_from_return_loss(34.0)
    joints = return_loss_db(add_worst(add_worst(better, better), 0.2)) - return_loss_db(add_worst(add_worst(r, r), 0.2))
    assert joints == pytest.approx(0.77, abs=6e-3)
    assert joints > diluted_gain_db(r, 0.2, 3.0)
    # nothing is thinned out where the far end doesn't reflect, and nothing is left where it reflects all
    np.testing.assert_allclose(diluted_gain_db(r, 0.0, [2, 3, 6]), [2, 3, 6], atol=1e-9)
    assert diluted_gain_db(r, 1.0, 6.0) == pytest.approx(0.0, abs=1e-12)


def test_a_length_is_put_beside_those_that_one_might_have_had_anyway() -> None:
    found = worth_of_length(ONE, 0.4, 2.0, 30.0, END)
    assert found.length_m == pytest.approx(best_length(ONE, 0.4, 2.0).length_m)
    r = float(gamma_from_return_loss(30.0))
    lengths = np.linspace(0.4, 2.0, 4001)
    worst = return_loss_db(pair_gamma(r, r, 0.0, distance_turns(ONE, lengths)[:, 0]))
    mine = float(return_loss_db(pair_gamma(r, r, 0.0, distance_turns(ONE, found.length_m)[0])))
    assert found.over_worst_db == pytest.approx(mine - worst.min())
    assert found.over_median_db == pytest.approx(mine - np.median(worst))
    assert found.over_shortest_db == pytest.approx(mine - worst[0])
    assert found.over_worst_db >= found.over_median_db
    assert found.over_worst_db >= found.over_shortest_db
    assert found.over_worst_db == pytest.approx(found.gain_db, abs=0.02)  # first order, and all echoes
    assert found.system_db == pytest.approx(found.after_db - found.before_db)
    assert found.system_db == pytest.approx(float(diluted_gain_db(r, 0.2, found.gain_db)), abs=0.01)


def test_the_verdict_is_one_sentence_and_depends_on_the_threshold() -> None:
    found = worth_of_length(ONE, 0.4, 2.0, 30.0, END)
    assert verdict_words(found).startswith(
        "worth cutting: 0.456 m gains 9.4 dB at the jumper and 1.4 dB at the radio port"
    )
    strict = worth_of_length(ONE, 0.4, 2.0, 30.0, END, worth_db=2.0)
    assert verdict_words(strict).startswith("no useful gain: choose the length by routing; 0.456 m gains")
    assert verdict_words(found, kind_known=False).startswith(
        "no sure gain: choose the length by routing; at best, if both joints"
    )
    none = worth_of_length(TWO, 2.0, 6.0, 30.0, END)
    assert not none.worth_cutting
    assert none.gain_db == 0
    assert "no length from the shortest way on gains anything" in verdict_words(none)


def test_line_loss_makes_the_pair_unlike_and_the_null_shallow() -> None:
    lossless = pair_gamma(0.03, 0.03, 0.0, 0.5)
    lossy = pair_gamma(0.03, 0.03, 0.5, 0.5)
    assert lossless == pytest.approx(0.0, abs=1e-12)
    assert lossy == pytest.approx(0.03 - 0.03 * 10**-0.05, rel=1e-3)
    all_ = pair_gamma(0.03, [[0.02], [0.04]], [0.0, 0.2, 0.4], 0.3)
    assert all_.shape == (2, 3)
    assert all_[1, 2] == pair_gamma(0.03, 0.04, 0.4, 0.3)
    with pytest.raises(ValueError, match="line_loss_db"):
        pair_gamma(0.1, 0.1, -1.0, 0.0)
    with pytest.raises(ValueError, match="gain_db"):
        diluted_gain_db(0.1, 0.1, -1.0)


# --- percentiles and sweeps -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("gamma", [(0.03, 0.02, 0.04), (0.03, 0.03, 0.03, 0.03), (0.05, 0.02, 0.02, 0.01, 0.03)])
def test_shares_against_kluyvers_integral(gamma: tuple[float, ...]) -> None:
    """Kluyver 1906: P = R times the integral of J1(k R) times the product of J0(k a) over k, by scipy's quadrature."""
    for r in (0.4, 0.7, 0.9):
        at = r * sum(gamma)
        scale = max(gamma)

        def integrand(k: float, at: float = at, scale: float = scale) -> float:
            return float(j1(k * at / scale) * np.prod(j0(k * np.array(gamma) / scale)))

        value, _ = quad(integrand, 0, 400, limit=4000)
        assert many_joint_share(gamma, at) == pytest.approx(at / scale * value, abs=2e-3)


def test_two_joints_are_exact_and_a_small_third_changes_little() -> None:
    for share in (0.1, 0.5, 0.95):
        two = many_joint_percentile_gamma([0.03, 0.04], share)
        cosine = math.cos(math.pi * (1 - share))
        assert two == pytest.approx(math.sqrt(0.03**2 + 0.04**2 + 2 * 0.03 * 0.04 * cosine), abs=2e-6)
        assert two == pytest.approx(
            float(two_joint_percentile_gamma(0.03, 0.04, share)), rel=2e-3
        )  # which has the echoes
        assert many_joint_percentile_gamma([0.03, 0.04, 1e-6], share) == pytest.approx(two, abs=1e-4)
    assert many_joint_percentile_gamma([0.03, 0.04], 1.0) == pytest.approx(0.07)


def test_many_equal_joints_become_rayleigh() -> None:
    """Rayleigh: the 95 % point is 1.731 times the root of the sum of squares."""
    n = 24
    assert many_joint_percentile_gamma([0.01] * n, 0.95) == pytest.approx(1.731 * 0.01 * math.sqrt(n), rel=0.02)


def test_shares_against_draws() -> None:
    rng = np.random.default_rng(3)
    gamma = np.array([0.05, 0.02, 0.03, 0.01])
    drawn = np.abs((gamma * np.exp(2j * np.pi * rng.random((400_000, 4)))).sum(1))
    for at in (0.03, 0.05, 0.08):
        assert many_joint_share(gamma, at) == pytest.approx(float((drawn <= at).mean()), abs=4e-3)
    all_ = many_joint_share(gamma, [[0.03, 0.05], [0.08, 0.2]])
    assert all_[1, 0] == many_joint_share(gamma, 0.08)
    assert all_[1, 1] == 1.0
    assert many_joint_share([0.1, 0.0], [0.05, 0.1]).tolist() == [0.0, 1.0]


def test_a_percentile_at_one_frequency_is_not_the_chance_of_a_sweep() -> None:
    """A band wider than v / (2 L) meets every phase: then the share that passes below the worst case is none."""
    v, length = 2.5e8, 30.0
    gamma, limit = [0.04, 0.04], 0.0776
    assert many_joint_share(gamma, limit) > 0.8
    wide = pass_chance(gamma, [0.0, length], [0.0, 0.1], v, 1.71e9, 1.71e9 + 1.2 * v / (2 * length), limit)
    assert wide.share == 0.0
    narrow = pass_chance(gamma, [0.0, length], [0.0, 0.1], v, 1.71e9, 1.71e9 + 1e3, limit)
    assert narrow.low <= float(many_joint_share(gamma, limit)) <= narrow.high
    assert pass_chance(gamma, [0.0, 1.0], [0, 0], v, 1e9, 2e9, 0.0801).share == 1.0
    again = pass_chance(gamma, [0.0, length], [0.0, 0.1], v, 1.71e9, 1.711e9, limit)
    assert again == pass_chance(gamma, [0.0, length], [0.0, 0.1], v, 1.71e9, 1.711e9, limit)


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (lambda: many_joint_share([0.1], 0.1), "2 to 40"),
        (lambda: many_joint_share([0.1, -0.1], 0.1), "2 to 40"),
        (lambda: many_joint_share([0.1, 0.1], -0.1), "negative"),
        (lambda: many_joint_percentile_gamma([0.1, 0.1], 0.0), "share"),
        (lambda: pass_chance([0.1], [0.0], [-1.0], 2e8, 1e9, 2e9, 0.1), "one value a joint"),
        (lambda: pass_chance([0.1], [0.0], [0.0], 2e8, 2e9, 1e9, 0.1), "a band"),
    ],
)
def test_what_can_not_be_is_refused(what, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        what()
