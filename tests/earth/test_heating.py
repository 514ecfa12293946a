from __future__ import annotations

import numpy as np
import pytest

from upmast.earth import material_source, materials, temperature_rise_k
from upmast.source import Mark


@pytest.mark.parametrize("metal", materials())
def test_integrates_the_heat_balance(metal: str) -> None:
    """gamma c q^2 dT = rho_0 (1 + alpha T) dW: two strokes in a row heat like one of both energies together."""
    first, both = temperature_rise_k(25.0, 1e6, metal), temperature_rise_k(25.0, 3e6, metal)
    alpha = {"copper": 3.92e-3, "aluminium": 4.0e-3, "steel": 6.5e-3, "stainless_steel": 0.8e-3}[metal]
    second = temperature_rise_k(25.0, 2e6, metal)
    # the second starts with the resistivity of a conductor already warm
    assert both == pytest.approx(float(first + second * (1 + alpha * first)), rel=1e-12)


def test_small_energy_limit() -> None:
    """rho_0 W / (q^2 gamma c), copper 16 mm2, 1 kJ/ohm."""
    linear = 17.8e-9 * 1e3 / ((16e-6) ** 2 * 8920 * 385)
    assert temperature_rise_k(16.0, 1e3) == pytest.approx(linear, rel=1e-4)
    assert temperature_rise_k(16.0, 0.0) == 0


def test_beyond_numbers_is_infinite() -> None:
    assert np.isinf(temperature_rise_k(1.0, 1e9, "steel"))


def test_array_equals_scalar() -> None:
    q, w = np.array([16.0, 50.0]), np.array([[2.5e6], [10e6]])
    grid = temperature_rise_k(q, w)
    for i in range(2):
        for j in range(2):
            assert grid[i, j] == temperature_rise_k(q[j], w[i, 0])


def test_nonsense_and_source() -> None:
    assert material_source().mark is Mark.MEMORY
    for call in (
        lambda: temperature_rise_k(0, 1e6),
        lambda: temperature_rise_k(16, -1),
        lambda: temperature_rise_k(16, 1e6, "gold"),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
