"""Published numbers and worked lines for the radio-frequency room."""

from __future__ import annotations

import numpy as np
import pytest
import skrf

from upmast import rf


@pytest.mark.parametrize(
    ("vswr", "return_loss_db", "mismatch_loss_db"),
    [
        (1.1, 26.44, 0.010),
        (1.2, 20.83, 0.036),
        (1.3, 17.69, 0.074),
        (1.4, 15.56, 0.122),
        (1.5, 13.98, 0.177),
        (2.0, 9.54, 0.512),
        (3.0, 6.02, 1.249),
        (5.0, 3.52, 2.553),
        (10.0, 1.74, 4.807),
    ],
)
def test_vswr_table(vswr: float, return_loss_db: float, mismatch_loss_db: float) -> None:
    """Table of VSWR, return loss and mismatch loss as printed in many microwave references (three public copies agree)."""
    # 1.3 is printed as 0.074 and is 0.0745: cut off, not rounded.
    assert float(rf.return_loss_from_vswr_db(vswr)) == pytest.approx(return_loss_db, abs=0.006)
    assert float(rf.mismatch_loss_db(rf.gamma_from_vswr(vswr))) == pytest.approx(mismatch_loss_db, abs=0.0006)


def test_vswr_table_to_three_digits() -> None:
    vswr = [1.1, 1.2, 1.5, 2.0, 3.0]
    np.testing.assert_allclose(rf.return_loss_from_vswr_db(vswr), [26.444, 20.828, 13.979, 9.542, 6.021], atol=0.001)
    loss = rf.mismatch_loss_db(rf.gamma_from_vswr(vswr))
    np.testing.assert_allclose(loss, [0.0099, 0.0360, 0.1773, 0.5115, 1.2494], atol=0.001)


def test_mismatch_uncertainty() -> None:
    """Power-sensor practice: source VSWR 1.5, load VSWR 1.2 gives +3.67 % (public sensor manuals)."""
    source, load = rf.gamma_from_vswr(1.5), rf.gamma_from_vswr(1.2)
    assert (float(source), float(load)) == pytest.approx((0.200, 0.091), abs=0.0005)
    np.testing.assert_allclose(rf.mismatch_uncertainty_percent(source, load), [3.669, -3.603], atol=0.002)
    np.testing.assert_allclose(rf.mismatch_uncertainty_db(source, load), [0.1565, -0.1594], atol=0.0002)


def test_loss_cold_and_hot() -> None:
    """Worked line: 30 m, a 0.07, b 0.004 dB/m, 1.8 GHz."""
    loss = rf.line_loss_db(1.8e9, 30.0, 0.07, 0.004, [20.0, 50.0])
    np.testing.assert_allclose(loss, [3.0334, 3.1949], atol=5e-5)


def test_delay_turns_wavelength() -> None:
    """Worked line: 1.85 m, velocity factor 0.81, 2.6 GHz."""
    assert float(rf.delay_s(1.85, 0.81)) == pytest.approx(7.61844e-9, abs=5e-15)
    assert float(rf.turns(2.6e9, 1.85, 0.81)) == pytest.approx(19.80794, abs=5e-6)
    assert float(rf.wavelength_m(2.6e9, 0.81)) == pytest.approx(93.397e-3, abs=5e-7)


def test_jumper_with_two_capacitive_joints() -> None:
    """Worked line, and scikit-rf beside it: shunt C 28 dB at 2 GHz, 1.8 m (a 0.11, b 0.005, vf 0.83, 20 C), same C, 50 ohm."""
    f = np.array([2.0e9, 2.1e9])
    joint = rf.joint_s("shunt C", f, 28.0, 2e9)
    gamma = rf.propagation_per_m(f, 0.83, 0.11, 0.005)
    s = rf.join_s(joint, rf.line_s(gamma, 1.8), joint)
    np.testing.assert_allclose(s[:, 0, 0], [0.008806 - 0.075352j, -0.024183 - 0.009937j], atol=1e-6)
    np.testing.assert_allclose(rf.return_loss_db(s[:, 0, 0]), [22.399, 31.652], atol=6e-4)
    np.testing.assert_allclose(rf.insertion_loss_db(s), [0.32397, 0.30980], atol=6e-6)
    media = skrf.media.DefinedGammaZ0(skrf.Frequency.from_f(f, unit="Hz"), z0=50.0, gamma=gamma)
    lump = media.shunt_capacitor(float(rf.joint_capacitance_f(28.0, 2e9)))
    np.testing.assert_allclose(s, (lump ** media.line(1.8, "m") ** lump).s, atol=1e-12)


def test_worst_case_at_the_port() -> None:
    """Worked line: joint 32 dB, 0.8 dB one way, joint 26 dB, antenna VSWR 1.5."""
    worst = rf.worst_return_loss_db([32.0, 26.0], [0.8, 0.0], rf.return_loss_from_vswr_db(1.5))
    assert float(worst) == pytest.approx(12.769, abs=6e-4)
    assert float(rf.vswr_from_return_loss(worst)) == pytest.approx(1.5971, abs=6e-5)


def test_percentile_of_two_joints() -> None:
    """Worked pair: 28 and 25 dB without loss, 95 % of the phases and all of them."""
    a, b = rf.gamma_from_return_loss([28.0, 25.0])
    quantiles = rf.return_loss_db(rf.two_joint_percentile_gamma(a, b, [0.95, 1.0]))
    np.testing.assert_allclose(quantiles, [20.396, 20.370], atol=6e-4)
    assert float(rf.worst_return_loss_db([28.0], [0.0], 25.0)) == pytest.approx(float(quantiles[1]))


def test_cable_loss_by_short() -> None:
    """Worked sweep: one-way 2.1 dB behind a lossless joint of 25 dB; the mean of powers is wrong."""
    back = -(10 ** (-4.2 / 20)) * np.exp(2j * np.pi * np.arange(3600) / 3600)
    r = float(rf.gamma_from_return_loss(25.0))
    seen = np.abs((r + back) / (1 + r * back))
    assert 2 * float(rf.cable_loss_db(rf.return_loss_db(seen))) == pytest.approx(4.200, abs=1e-9)
    np.testing.assert_allclose(rf.short_ripple_db(25.0, 2.1), [3.738, 4.724], atol=6e-4)
    np.testing.assert_allclose(rf.return_loss_db([seen.max(), seen.min()]), rf.short_ripple_db(25.0, 2.1), atol=1e-5)
    assert -10 * np.log10(np.mean(seen**2)) == pytest.approx(4.186, abs=6e-4)


def test_resolution_and_range() -> None:
    """Worked sweep: 270 MHz in 271 points, velocity factor 0.83."""
    step = rf.frequency_step_hz(np.linspace(1.7e9, 1.97e9, 271))
    assert float(rf.resolution_m(270e6, 0.83)) == pytest.approx(0.4608, abs=5e-5)
    assert float(rf.range_m(step, 0.83)) == pytest.approx(124.41, abs=0.005)
