"""Earth rods: a moment-method solution as a second way, limits, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from upmast import earth

Array = NDArray[np.float64]


def mean_potential(apart: Array, low_1: Array, low_2: Array, piece: float) -> Array:
    """Mean of 1 / r between two upright filaments of one length: Neumann's integral in closed form."""

    def inner(z: Array) -> Array:
        return z * np.arcsinh(z / apart) - np.hypot(z, apart)

    gap = low_2 - low_1
    return (inner(gap + piece) + inner(gap - piece) - 2 * inner(gap)) / piece**2


def by_moments(at: Array, rho: float, length: float, radius: float, pieces: int = 60) -> float:
    """
    Galerkin's method: each rod in pieces that leak evenly, images above the surface, one mean potential on all pieces.
    """
    piece = length / pieces
    low = np.tile(np.arange(pieces) * piece, len(at))
    rod = np.repeat(np.arange(len(at)), pieces)
    far = np.hypot(*(at[rod][:, None] - at[rod][None, :]).transpose(2, 0, 1))
    apart = np.where(rod[:, None] == rod[None, :], radius, far)
    below = mean_potential(apart, low[:, None], low[None, :], piece)
    above = mean_potential(apart, low[:, None], -low[None, :] - piece, piece)
    leak = np.linalg.solve(rho / (4 * np.pi) * (below + above), np.ones(low.size))
    return float(1 / leak.sum())


def test_one_rod() -> None:
    """Handbook, open check 6: 3 m, 8 mm, 80 ohm m: 26.61 ohm by moments, 26.79 by the formula."""
    assert earth.rod_ohm(80.0, 3.0, 0.008) == pytest.approx(26.79, abs=0.005)
    assert by_moments(np.zeros((1, 2)), 80.0, 3.0, 0.008) == pytest.approx(26.61, abs=0.05)


def test_two_rods() -> None:
    """Handbook, open check 6: two such rods 3 m apart: 15.05 ohm, within the band."""
    found = by_moments(np.array([[0.0, 0.0], [3.0, 0.0]]), 80.0, 3.0, 0.008)
    assert found == pytest.approx(15.05, abs=0.05)
    low, high = earth.rods_band_ohm(earth.rod_ohm(80.0, 3.0, 0.008), 2)
    assert low < found < high


@pytest.mark.parametrize(("length", "radius"), [(1.5, 0.007), (3.0, 0.008), (6.0, 0.01), (12.0, 0.02)])
def test_formula_against_moments(length: float, radius: float) -> None:
    """Within 1.1 % for the rods in use, always on the high side."""
    ratio = earth.rod_ohm(100.0, length, radius) / by_moments(np.zeros((1, 2)), 100.0, length, radius)
    assert 1.0 < ratio < 1.011


def polygon(rods: int, side: float) -> Array:
    turn = 2 * np.pi * np.arange(rods) / rods
    return np.asarray(side / (2 * np.sin(np.pi / rods)) * np.column_stack([np.cos(turn), np.sin(turn)]))


@pytest.mark.parametrize("rods", [2, 3])
@pytest.mark.parametrize("spacing", [3.0, 6.0])
def test_band_against_moments(rods: int, spacing: float) -> None:
    """A pair and a triangle, one and two lengths apart."""
    low, high = earth.rods_band_ohm(by_moments(np.zeros((1, 2)), 80.0, 3.0, 0.008), rods)
    assert low <= by_moments(polygon(rods, spacing), 80.0, 3.0, 0.008) <= high


def test_band_is_too_low_for_four_rods_close_together() -> None:
    """A square one length apart stands at 1.36 times a quarter of one rod."""
    one, four = (by_moments(at, 80.0, 3.0, 0.008) for at in (np.zeros((1, 2)), polygon(4, 3.0)))
    assert 4 * four / one == pytest.approx(1.36, abs=0.01)


@pytest.mark.parametrize("rods", [1, 2, 3, 4, 6])
@pytest.mark.parametrize("spacing", [1.5, 3.0, 6.0])
def test_rods_with_their_places_against_moments(rods: int, spacing: float) -> None:
    at = polygon(rods, spacing) if rods > 1 else np.zeros((1, 2))
    found = earth.rods_ohm(80.0, 3.0, 0.008, at)
    assert found == pytest.approx(by_moments(at, 80.0, 3.0, 0.008), rel=0.015)
    if rods == 1:
        assert found == pytest.approx(float(earth.rod_ohm(80.0, 3.0, 0.008)), rel=2e-3)


def test_rods_far_apart_do_not_feel_each_other() -> None:
    one = earth.rods_ohm(80.0, 3.0, 0.008, np.zeros((1, 2)))
    assert earth.rods_ohm(80.0, 3.0, 0.008, polygon(4, 1e5)) == pytest.approx(float(one) / 4, rel=1e-4)
    both = earth.rods_ohm(80.0, np.array([3.0, 2.0]), 0.008, np.stack([polygon(4, 3.0), polygon(4, 5.0)]))
    assert both[1] == pytest.approx(float(earth.rods_ohm(80.0, 2.0, 0.008, polygon(4, 5.0))), rel=1e-12)


def test_proportions_and_scalars() -> None:
    """Twice the soil, twice the resistance; the whole twice as large, half of it; one rod has no band."""
    assert earth.rod_ohm(160.0, 3.0, 0.008) == pytest.approx(2 * float(earth.rod_ohm(80.0, 3.0, 0.008)))
    assert earth.rod_ohm(80.0, 6.0, 0.016) == pytest.approx(float(earth.rod_ohm(80.0, 3.0, 0.008)) / 2)
    assert earth.rods_band_ohm(20.0, 1) == (20.0, 20.0)
    soil, length = np.array([50.0, 500.0]), np.array([[1.5], [3.0]])
    grid = earth.rod_ohm(soil, length, 0.008)
    low, high = earth.rods_band_ohm(grid, [1, 3])
    for a in range(2):
        for b in range(2):
            assert grid[a, b] == earth.rod_ohm(soil[b], length[a, 0], 0.008)
            assert (low[a, b], high[a, b]) == earth.rods_band_ohm(grid[a, b], (1, 3)[b])


def test_nonsense() -> None:
    for call in (
        lambda: earth.rod_ohm(0.0, 3.0, 0.008),
        lambda: earth.rod_ohm(float("nan"), 3.0, 0.008),
        lambda: earth.rod_ohm(80.0, 0.05, 0.008),
        lambda: earth.rods_band_ohm(20.0, 0),
        lambda: earth.rods_band_ohm(20.0, 1.5),
        lambda: earth.rods_band_ohm(0.0, 2),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
