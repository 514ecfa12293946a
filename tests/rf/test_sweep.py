from __future__ import annotations

import numpy as np
import pytest

from upmast import rf

F = np.linspace(1.7e9, 2.2e9, 501)


def test_no_line_within_its_specification_leaves_the_expectation() -> None:
    """Random joints within their bounds, lengths free, with a load: exact cascade against the envelope."""
    rng = np.random.default_rng(2)
    limits, references = [28.0, 30.0, 26.0], [2.2e9, 2.2e9, 2.2e9]
    losses = [rf.line_loss_db(F, 2.0, 0.12, 0.005), rf.line_loss_db(F, 30.0, 0.035, 0.002), 0.0]
    expected = rf.expected_return_loss_db(F, limits, losses, 40.0, references)
    jumper, feeder = rf.propagation_per_m(F, 0.82, 0.12, 0.005), rf.propagation_per_m(F, 0.89, 0.035, 0.002)
    nearest = np.inf
    for _ in range(60):
        kinds = rng.choice(["shunt C", "series L"], 3)
        own = [rf.joint_s(k, F, m + rng.uniform(0, 6), f) for k, m, f in zip(kinds, limits, references, strict=True)]
        # The loss is that of the longest line: a shift of phase, not of length.
        turn = rf.line_s(1j * np.ones(F.size), rng.uniform(0, 6.3))
        s = rf.join_s(own[0], rf.line_s(jumper, 2.0), turn, own[1], rf.line_s(feeder, 30.0), own[2])
        seen = rf.return_loss_db(rf.input_gamma(s, 0.01 * np.exp(1j * rng.uniform(0, 6.3))))
        assert np.all(seen >= expected.least_db - 1e-9)
        nearest = min(nearest, float((seen - expected.least_db).min()))
    assert nearest < 1.5
    assert np.all(np.isinf(expected.greatest_db))


def test_short_sweep_lies_between_both_sides() -> None:
    loss = rf.line_loss_db(F, 30.0, 0.035, 0.002)
    expected = rf.expected_return_loss_db(F, [28.0], [loss], 0.0, end_at_most=False)
    phase = np.exp(-4j * np.pi * F * 30.0 / (0.89 * 299792458.0))
    for sign in (1, -1):
        r, back = sign * 10 ** (-28 / 20), -(10 ** (-loss / 10)) * phase
        seen = rf.return_loss_db((r + back) / (1 + r * back))
        assert np.all((seen >= expected.least_db - 1e-9) & (seen <= expected.greatest_db + 1e-9))
    reading = rf.short_reading(F, seen, 30.0 / (0.89 * 299792458.0))
    assert reading.periods == 112  # 501 MHz of samples, a period of 4.447 MHz
    assert reading.loss_db == pytest.approx(float(loss[250]), abs=0.005)


def test_reading_needs_whole_periods() -> None:
    """A half period kept in biases the mean; cutting to whole periods removes it (lossless joint of 20 dB)."""
    tau = 3.6 / (2 * 500e6)
    back = -(10 ** (-2 * 1.0 / 20)) * np.exp(-4j * np.pi * F * tau)
    rl = rf.return_loss_db((0.1 + back) / (1 + 0.1 * back))
    reading = rf.short_reading(F, rl, tau)
    assert reading.periods == 3
    assert abs(reading.loss_db - 1.0) < 0.1 * abs(float(rf.cable_loss_db(rl)) - 1.0)
    assert rf.short_reading(F, rl, 1e-10).periods == 0


def test_mean_in_db_is_free_of_the_joint_and_a_power_mean_is_not() -> None:
    for r in (0.01, 0.1, 0.3):
        back = 0.5 * np.exp(2j * np.pi * np.arange(360) / 360)
        seen = np.abs((r + back) / (1 + r * back))
        assert float(rf.cable_loss_db(rf.return_loss_db(seen))) == pytest.approx(-10 * np.log10(0.5), abs=1e-9)
    assert -5 * np.log10(np.mean(seen**2)) < -10 * np.log10(0.5) - 0.1


def test_band_worst_and_array_equals_scalar() -> None:
    rl = np.vstack([np.linspace(20, 30, F.size), np.linspace(30, 20, F.size)])
    np.testing.assert_allclose(rf.band_worst_db(F, rl, 1.8e9, 2.0e9), [22.0, 24.0])
    with pytest.raises(ValueError, match="no frequency"):
        rf.band_worst_db(F, rl, 1e9, 1.1e9)
    whole = rf.expected_return_loss_db(F, [28.0, 30.0], [1.0, rf.line_loss_db(F, 3.0, 0.1)], 20.0, [2e9, 2e9])
    one = rf.expected_return_loss_db(F[9:10], [28.0, 30.0], [1.0, rf.line_loss_db(F[9], 3.0, 0.1)], 20.0, [2e9, 2e9])
    assert whole.least_db[9] == one.least_db[0]
    with pytest.raises(ValueError, match="delay_s"):
        rf.short_reading(F, rl[0], 0.0)
