from __future__ import annotations

import numpy as np
import pytest
import skrf

from upmast import rf

F = np.linspace(0.6e9, 3.8e9, 33)


def _media() -> skrf.media.DefinedGammaZ0:
    return skrf.media.DefinedGammaZ0(
        skrf.Frequency.from_f(F, unit="Hz"), z0=50.0, gamma=0.01 + 1j * 2 * np.pi * F / 2.5e8
    )


def test_shunt_capacitance_agrees_with_scikit_rf() -> None:
    own = rf.joint_s("shunt C", F, 28.0, 2e9)
    theirs = _media().shunt_capacitor(float(rf.joint_capacitance_f(28.0, 2e9))).s
    np.testing.assert_allclose(own, theirs, atol=1e-12)


def test_series_inductance_and_resistance_agrees_with_scikit_rf() -> None:
    own = rf.joint_s("series L", F, 28.0, 2e9)
    np.testing.assert_allclose(own, _media().inductor(float(rf.joint_inductance_h(28.0, 2e9))).s, atol=1e-12)
    np.testing.assert_allclose(np.broadcast_to(rf.contact_s(5.0), own.shape), _media().resistor(5.0).s, atol=1e-12)


def test_lossless_and_at_specification() -> None:
    for kind in ("shunt C", "series L"):
        s = rf.joint_s(kind, F, 24.0, 2.2e9)
        np.testing.assert_allclose(np.conj(np.swapaxes(s, -1, -2)) @ s, np.broadcast_to(np.eye(2), s.shape), atol=1e-14)
        at = rf.joint_s(kind, [2.2e9], 24.0, 2.2e9)
        assert float(rf.return_loss_db(at[0, 0, 0])) == pytest.approx(24.0)
        np.testing.assert_allclose(np.abs(s[:, 0, 0]), rf.joint_gamma(F, 24.0, 2.2e9))


def test_array_equals_scalar() -> None:
    loss = np.array([20.0, 30.0])[:, None]
    whole = rf.joint_s("shunt C", F, loss, 2e9)
    assert whole.shape == (2, F.size, 2, 2)
    np.testing.assert_array_equal(whole[1, 4], rf.joint_s("shunt C", F[4], 30.0, 2e9))
    np.testing.assert_array_equal(rf.contact_s([1.0, 5.0])[1], rf.contact_s(5.0))


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: rf.joint_s("shunt L", F, 28.0, 2e9),  # type: ignore[arg-type]
        lambda: rf.joint_s("shunt C", F, 0.0, 2e9),
        lambda: rf.joint_s("shunt C", F, 28.0, 0.0),
        lambda: rf.contact_s(-1.0),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
