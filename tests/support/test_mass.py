"""Cable mass: geometry that must hold, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import support


def test_lay_factor_is_the_arc_of_a_helix() -> None:
    turn = np.linspace(0.0, 2 * np.pi, 20001)
    x, y, z = 5 * np.cos(turn), 5 * np.sin(turn), 120 * turn / (2 * np.pi)
    arc = np.sqrt(np.diff(x) ** 2 + np.diff(y) ** 2 + np.diff(z) ** 2).sum()
    assert support.lay_factor(10.0, 120.0) == pytest.approx(arc / 120, rel=1e-8)
    assert support.lay_factor(0.0, 100.0) == 1


def test_a_full_ring_is_a_rod() -> None:
    assert support.ring_mass_kg_per_m(10.0, 5.0, 1000.0) == pytest.approx(np.pi * 25e-6 * 1000)


def test_a_smooth_thin_tube_is_a_ring() -> None:
    smooth = support.corrugated_mass_kg_per_m(20.0, 0.3, 8960.0, 1.0)
    assert smooth == pytest.approx(float(support.ring_mass_kg_per_m(20.3, 0.3, 8960.0)))


def test_mass_adds_up_over_parts_and_cables() -> None:
    area = np.array([[10.0, 4.0], [16.0, 6.0]])
    many = support.cable_mass_kg_per_m(area, [8960.0, 2700.0], [6, 2], [1.02, 1.0], [0.1, 0.2])
    by_hand = [6 * 10e-6 * 8960 * 1.02 + 2 * 4e-6 * 2700 + 0.1, 6 * 16e-6 * 8960 * 1.02 + 2 * 6e-6 * 2700 + 0.2]
    np.testing.assert_allclose(many, by_hand)


def test_densities() -> None:
    assert support.density_kg_per_m3("aluminium") == 2700
    assert str(support.density_source().mark) == "memory"
    with pytest.raises(ValueError, match="copper"):
        support.density_kg_per_m3("lead")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (support.lay_factor, (-1.0, 10.0)),
        (support.lay_factor, (1.0, 0.0)),
        (support.ring_mass_kg_per_m, (10.0, 6.0, 955.0)),
        (support.corrugated_mass_kg_per_m, (10.0, 1.0, 955.0, 0.9)),
        (support.cable_mass_kg_per_m, ([-1.0], [1.0])),
        (support.cable_mass_kg_per_m, ([1.0], [1.0], [1], [0.9])),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must"):
        function(*args)
