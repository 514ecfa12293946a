"""Budget: identities of the margins, exhaustive attenuators, random draws for the statistics, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import fibre


def test_margins_are_zero_where_the_power_just_fits() -> None:
    worst = fibre.worst_loss_db(0.4, 5000.0, [0.75], [2])
    assert fibre.low_margin_db(-8.2, worst, -8.2 - worst) == pytest.approx(0.0)
    best = fibre.best_loss_db(0.3, 5000.0)
    assert fibre.overload_margin_db(1.0 - best, 1.0, best) == pytest.approx(0.0)
    assert fibre.channel_margin_db(worst, worst) == 0


def test_best_never_exceeds_worst() -> None:
    rng = np.random.default_rng(1)
    a, length, loss = rng.uniform(0.2, 0.4, 50), rng.uniform(0, 1e4, 50), rng.uniform(0, 1, (50, 3))
    assert np.all(fibre.best_loss_db(a, length) <= fibre.worst_loss_db(a + 0.05, length, loss, [2, 1, 4]))


def test_an_event_with_n_equals_n_events() -> None:
    assert fibre.worst_loss_db(0.0, 0.0, [0.5], [3]) == pytest.approx(
        float(fibre.worst_loss_db(0.0, 0.0, [0.5, 0.5, 0.5]))
    )


def test_statistics_against_random_draws() -> None:
    rng = np.random.default_rng(2)
    draws = rng.normal(0.12, 0.03, (200_000, 4)).sum(1) + rng.normal(0.05, 0.02, (200_000, 3)).sum(1) + 0.35
    found = fibre.statistical_loss_db(0.35, 1000.0, [0.12, 0.05], [0.03, 0.02], [4, 3])
    assert found.mean_db == pytest.approx(draws.mean(), rel=1e-3)
    assert found.sigma_db == pytest.approx(draws.std(), rel=0.01)
    assert found.loss_db == pytest.approx(float(found.mean_db + 3 * found.sigma_db))


def test_skewed_losses_pass_mean_plus_three_sigma_more_often_than_normal_ones() -> None:
    """So it is no bound: exponential losses exceed it far more often than 0.135 %."""
    rng = np.random.default_rng(3)
    draws = rng.exponential(0.12, (200_000, 4)).sum(1)
    found = fibre.statistical_loss_db(0.0, 0.0, [0.12], [0.12], [4])
    assert (draws > found.loss_db).mean() > 3 * 0.00135


def test_attenuator_against_trying_all() -> None:
    values, tolerance = np.array([10.0, 3.0, 5.0, 1.0]), np.array([1.0, 0.5, 0.5, 0.2])
    over, low = (a.ravel() for a in np.meshgrid(np.linspace(-12, 2, 29), np.linspace(-1, 15, 33)))
    found = fibre.choose_attenuator_db(over, low, values, tolerance)
    for o, m, chosen in zip(over, low, found, strict=True):
        good = sorted(v for v, t in zip(values, tolerance, strict=True) if v - t >= -o and v + t <= m)
        want = 0.0 if o >= 0 else good[0] if good else np.nan
        np.testing.assert_equal(chosen, want)


def test_attenuator_without_any_in_stock() -> None:
    np.testing.assert_array_equal(fibre.choose_attenuator_db([-1.0, 1.0], 9.0, []), [np.nan, 0.0])


def test_reflection_seen_through_loss_and_power_sum() -> None:
    assert fibre.chain_return_loss_db([-30.0], [2.0]) == pytest.approx(34.0)
    assert fibre.chain_return_loss_db([-30.0, -np.inf], [2.0, 3.0]) == pytest.approx(34.0)
    assert fibre.chain_return_loss_db([-np.inf], [0.0]) == np.inf
    both = fibre.chain_return_loss_db([-30.0, -35.0], [0.0, 1.0])
    assert 10 ** (-both / 10) == pytest.approx(10**-3 + 10**-3.7)


def test_arrays_equal_scalars() -> None:
    length, event = np.array([100.0, 300.0, 900.0]), np.array([[0.5, 0.1], [0.75, 0.2], [0.3, 0.3]])
    many = fibre.worst_loss_db(0.4, length, event, [2, 3], [0.0, 0.1, 0.2], 0.3)
    ones = [fibre.worst_loss_db(0.4, length[i], event[i], [2, 3], 0.1 * i, 0.3) for i in range(3)]
    np.testing.assert_allclose(many, np.array(ones, float))
    np.testing.assert_allclose(
        fibre.chain_return_loss_db(-40.0 - event, event),
        [float(fibre.chain_return_loss_db(-40.0 - e, e)) for e in event],
    )


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (fibre.worst_loss_db, (-0.1, 1.0)),
        (fibre.worst_loss_db, (0.1, -1.0)),
        (fibre.worst_loss_db, (0.1, 1.0, [-0.1])),
        (fibre.best_loss_db, (0.1, 1.0, [0.1], [-1])),
        (fibre.statistical_loss_db, (0.1, 1.0, [0.1], [-0.1])),
        (fibre.choose_attenuator_db, (-1.0, 1.0, [0.0])),
        (fibre.choose_attenuator_db, (-1.0, 1.0, [[1.0]])),
        (fibre.open_end_reflectance_db, (1.0,)),
        (fibre.chain_return_loss_db, ([1.0], [0.0])),
        (fibre.chain_return_loss_db, ([-1.0], [-1.0])),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must|above 1|one axis"):
        function(*args)
