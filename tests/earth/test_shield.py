from __future__ import annotations

import numpy as np
import pytest

from upmast import earth


def test_partial_inductance_is_neumanns_double_integral() -> None:
    """mu_0 / (4 pi) of the double integral of 1 / r over two parallel filaments, by the midpoint rule."""
    length, distance, n = 2.0, 0.5, 2000
    x = (np.arange(n) + 0.5) * length / n
    total = (1 / np.hypot(x[:, None] - x[None, :], distance)).sum() * (length / n) ** 2
    assert earth.partial_inductance_h(length, distance) == pytest.approx(1e-7 * total, rel=1e-6)


def test_long_thin_conductor() -> None:
    """Textbook limit l >> d: 2e-7 l (ln(2 l / d) - 1)."""
    assert earth.partial_inductance_h(100.0, 1e-3) == pytest.approx(2e-5 * (np.log(2e5) - 1), rel=1e-5)
    assert earth.partial_inductance_h(0.0, 1.0) == 0


def test_missing_bond_limits() -> None:
    assert earth.missing_bond_loop_h(20, 0.2, 0.2) == 0
    loops = earth.missing_bond_loop_h(20, 0.2, np.array([0.1, 0.25, 0.5, 1.0]))
    assert np.all(np.diff(loops) > 0)
    assert loops[0] < 0
    # far shorter than the run: two-dimensional field, mu_0 / (2 pi) l ln(d / a)
    assert earth.missing_bond_loop_h(1000, 0.2, 0.4) == pytest.approx(2e-4 * np.log(2), rel=1e-3)
    assert earth.missing_bond_v(0.0, 100e3, 1e-5, 0.01) == pytest.approx(1000.0)


def test_least_shield_keeps_the_withstand_voltage() -> None:
    """At the least section the drop over the shield is the withstand voltage."""
    area = earth.least_shield_mm2(7e3, 63.0, 1500.0)
    ohm_per_km = earth.COPPER_OHM_M / (area * 1e-6) * 1e3
    assert earth.shield_drop_v(7e3, ohm_per_km, 63.0) == pytest.approx(1500.0)


def test_array_equals_scalar() -> None:
    i, l = np.array([5e3, 10e3]), np.array([[20.0], [50.0]])  # noqa: E741
    area, drop = earth.least_shield_mm2(i, l, 1500.0), earth.shield_drop_v(i, 2.0, l)
    loop = earth.missing_bond_loop_h(l, 0.2, np.array([0.3, 0.4]))
    volts = earth.missing_bond_v(loop, i, 1e-5, 0.001)
    for a in range(2):
        for b in range(2):
            assert area[a, b] == earth.least_shield_mm2(i[b], l[a, 0], 1500.0)
            assert drop[a, b] == earth.shield_drop_v(i[b], 2.0, l[a, 0])
            assert volts[a, b] == earth.missing_bond_v(loop[a, b], i[b], 1e-5, 0.001)
            assert loop[a, b] == earth.missing_bond_loop_h(l[a, 0], 0.2, (0.3, 0.4)[b])


def test_nonsense() -> None:
    for call in (
        lambda: earth.partial_inductance_h(-1, 1),
        lambda: earth.partial_inductance_h(1, 0),
        lambda: earth.shield_drop_v(-1, 1, 1),
        lambda: earth.least_shield_mm2(1, 1, 0),
        lambda: earth.missing_bond_v(1e-6, 1e5, 0),
        lambda: earth.missing_bond_v(1e-6, -1e5, 1e-5),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
