from __future__ import annotations

import numpy as np
import pytest

from upmast import rf


def test_copper_loss_rises_about_a_fifth_of_a_per_cent_per_kelvin() -> None:
    """Textbook rule of thumb for copper lines: +0.2 %/K near 20 C."""
    assert float(rf.temperature_factor(21.0)) == pytest.approx(1.00196, abs=1e-5)


def test_parts_follow_their_laws() -> None:
    root = rf.attenuation_db_per_m([1e9, 4e9], 0.1)
    assert root[1] == pytest.approx(2 * root[0])
    linear = rf.attenuation_db_per_m([1e9, 4e9], 0.0, 0.01, 60.0)
    np.testing.assert_allclose(linear, [0.01, 0.04])
    assert rf.line_loss_db(2e9, 0.0, 0.1) == 0


def test_array_equals_scalar() -> None:
    f, t, length = np.linspace(0.7e9, 3.8e9, 4), np.array([-40.0, 20.0, 60.0]), np.array([[1.0], [30.0]])[:, :, None]
    whole = rf.line_loss_db(f, length, 0.08, 0.004, t[:, None])
    assert whole.shape == (2, 3, 4)
    for i in range(2):
        for j in range(3):
            for k in range(4):
                assert whole[i, j, k] == pytest.approx(float(rf.line_loss_db(f[k], length[i, 0, 0], 0.08, 0.004, t[j])))


def test_propagation_gives_loss_and_turns() -> None:
    gl = rf.propagation_per_m(2.2e9, 0.82, 0.1, 0.004, 35.0) * 3.0
    assert 20 * np.log10(np.exp(gl.real)) == pytest.approx(float(rf.line_loss_db(2.2e9, 3.0, 0.1, 0.004, 35.0)))
    assert gl.imag / (2 * np.pi) == pytest.approx(float(rf.turns(2.2e9, 3.0, 0.82)))
    skin = rf.propagation_per_m(2.2e9, 0.82, 0.1, 0.0, skin_phase=True) - rf.propagation_per_m(2.2e9, 0.82, 0.1, 0.0)
    assert float(skin.imag) == pytest.approx(float(rf.propagation_per_m(2.2e9, 0.82, 0.1).real))


def test_delay_drifts_with_temperature() -> None:
    assert float(rf.delay_s(30.0, 0.88, 70.0, 1e-5) / rf.delay_s(30.0, 0.88)) == pytest.approx(1.0005)
    assert float(rf.wavelength_m(1e9)) == pytest.approx(0.299792458)
    assert rf.wavelength_m(0.0) == np.inf


def test_fit_recovers_exact_coefficients() -> None:
    f = np.array([0.45e9, 0.9e9, 1.8e9, 2.6e9, 3.5e9])
    fit = rf.fit_attenuation(f, rf.attenuation_db_per_m(f, 0.0713, 0.0041, 40.0), 40.0)
    assert fit.root_db_per_m == pytest.approx(0.0713)
    assert fit.linear_db_per_m == pytest.approx(0.0041)
    assert fit.largest_miss < 1e-12
    two = rf.fit_attenuation(f[:2], rf.attenuation_db_per_m(f[:2], 0.05, 0.002))
    assert (two.root_db_per_m, two.linear_db_per_m) == pytest.approx((0.05, 0.002))


@pytest.mark.parametrize(("table", "zero"), [([0.1, 0.12], 1), ([0.1, 0.5], 0)])
def test_fit_never_goes_below_zero(table: list[float], zero: int) -> None:
    """Data flatter than a root, or steeper than a line: a grid search over a, b >= 0 finds nothing better."""
    f = np.array([1e9, 4e9])
    fit = rf.fit_attenuation(f, table)
    assert fit[zero] == 0

    def miss(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        model = a[..., None] * np.sqrt(f / 1e9) + b[..., None] * f / 1e9
        return np.sum((model / np.array(table) - 1) ** 2, axis=-1)

    a, b = np.meshgrid(np.linspace(0, 0.3, 301), np.linspace(0, 0.3, 301))
    assert miss(np.array(fit[0]), np.array(fit[1])) <= miss(a, b).min() + 1e-12


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: rf.attenuation_db_per_m(-1.0, 0.1),
        lambda: rf.line_loss_db(1e9, -1.0, 0.1),
        lambda: rf.velocity_m_per_s(1.01),
        lambda: rf.velocity_m_per_s(0.0),
        lambda: rf.temperature_factor(-300.0),
        lambda: rf.fit_attenuation([1e9], [0.1]),
        lambda: rf.fit_attenuation([1e9, 1e9], [0.1, 0.1]),
        lambda: rf.fit_attenuation([1e9, 2e9], [0.1, 0.0]),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
