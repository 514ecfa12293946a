"""Thermal resistances inside a cable: exact solutions, symmetries, and finite elements as the witness."""

from __future__ import annotations

import contextlib
import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu
from scipy.spatial import Delaunay

from upmast.power.section import (
    CORE_WALL_M,
    FILLER_K_M_PER_W,
    FILLER_SOURCE,
    SHEATH_K_M_PER_W,
    SHEATH_SOURCE,
    Section,
    laid_up,
    line_source_matrix,
    matrix,
    sheath_k_m_per_w,
)
from upmast.source import Mark

Array = NDArray[np.float64]


def at(*centres: complex, radius_m: float = 1e-3, inner_m: float = 10e-3, filler_k_m_per_w: float = 6.0) -> Section:
    """A section with conductors at these centres, in metres."""
    z = np.array(centres)
    return Section(tuple(z.real), tuple(z.imag), radius_m, inner_m, 2.4 * inner_m, filler_k_m_per_w, 5.0)


def ring_of_four() -> Section:
    """4 x 6 mm2, class 2, XLPE cores that touch: our own worked case."""
    return at(*(3.1961e-3 * 1j**k for k in range(4)), radius_m=1.56e-3, inner_m=6.4561e-3)


def by_finite_elements(section: Section, on_conductor: int = 96) -> Array:
    """
    The same matrix by linear triangles, sharing nothing with the series: T is the inverse of the conductances that are left
    when each conductor is one node and the sheath is at zero.

    The energy of linear elements is never too small, so a conductance is never too small and T only ever a little too small.
    """
    z, r, big = section.centres, section.conductor_m, section.inner_m
    step = 2 * math.pi * r / on_conductor
    points, owner = [], []
    for k, c in enumerate(z):
        for ring in range(4):  # rings that widen away from the conductor
            turn = np.exp(2j * np.pi * (np.arange(on_conductor) + 0.5 * (ring % 2)) / on_conductor)
            points.append(c + (r + 0.9 * step * ring) * turn)
            owner.append(np.full(on_conductor, k if ring == 0 else -1))
    rim = math.ceil(2 * math.pi * big / (1.5 * step))
    points.append(big * np.exp(2j * np.pi * np.arange(rim) / rim))
    owner.append(np.full(rim, len(z)))  # the sheath
    side = np.arange(-big, big, 1.6 * step)
    grid = (side[:, None] + 1j * side + 0.8 * step * (np.arange(side.size)[:, None] % 2) * 1j).ravel()
    points.append(grid)
    owner.append(np.full(grid.size, -1))
    p, own = np.concatenate(points), np.concatenate(owner)
    gap = np.abs(p[:, None] - z).min(axis=1) - r
    loose = np.arange(p.size) >= p.size - grid.size
    # rings of neighbours that run into another conductor or the sheath go, and grid points in the rings
    keep = (own >= 0) | ((gap > 0.45 * step) & (np.abs(p) < big - 0.6 * step) & (~loose | (gap > 3.4 * step)))
    p, own = p[keep], own[keep]
    triangles = Delaunay(np.stack([p.real, p.imag], axis=1)).simplices
    middle = p[triangles].mean(axis=1)
    inside = np.all(np.abs(middle[:, None] - z) > r * math.cos(math.pi / on_conductor), axis=1)
    one = (own[triangles] == own[triangles[:, :1]]).all(axis=1) & (own[triangles[:, 0]] >= 0)
    triangles = triangles[inside & ~one]
    a, b, c = (p[triangles[:, k]] for k in range(3))
    edge = np.stack([c - b, a - c, b - a], axis=1)  # opposite to each corner
    area = np.abs(((b - a).conj() * (c - a)).imag) / 2
    stiff = (edge[:, :, None] * edge[:, None, :].conj()).real / (4 * area[:, None, None] * section.filler_k_m_per_w)
    n, free = len(z), int((own < 0).sum())
    number = np.where(own >= 0, own, 0)
    number[own < 0] = n + 1 + np.arange(free)
    rows = np.repeat(number[triangles], 3, axis=1).ravel()
    columns = np.tile(number[triangles], (1, 3)).ravel()
    whole = coo_matrix((stiff.ravel(), (rows, columns)), shape=(n + 1 + free,) * 2).tocsc()
    left = np.r_[0:n, n + 1 : n + 1 + free]
    return np.asarray(splu(whole[left][:, left].tocsc()).solve(np.eye(left.size, n))[:n])


def test_one_conductor_on_the_axis_is_the_coaxial_formula() -> None:
    """`rho / (2 pi) ln(R / r)`: IEC 60287-2-1, single-core cable. Nothing is left for the multipoles."""
    for radius in (0.5e-3, 3e-3, 9.5e-3):
        section = at(0j, radius_m=radius)
        exact = 6.0 / (2 * math.pi) * math.log(10e-3 / radius)
        np.testing.assert_allclose(matrix(section), [[exact]], rtol=1e-12)
        np.testing.assert_allclose(line_source_matrix(section), [[exact]], rtol=1e-12)


@pytest.mark.parametrize("offset_mm", [0.5, 3.0, 6.0, 7.5])
def test_one_conductor_off_the_axis_is_the_eccentric_formula(offset_mm: float) -> None:
    """Shape factor of two eccentric cylinders, in every handbook of conduction: `2 pi / arcosh((D2 + d2 - 4 z2) / (2 D d))`."""
    big, r, b = 10e-3, 2e-3, 1e-3 * offset_mm
    exact = 6.0 / (2 * math.pi) * math.acosh((big**2 + r**2 - b**2) / (2 * big * r))
    section = at(b * np.exp(0.7j), radius_m=r)
    np.testing.assert_allclose(matrix(section), [[exact]], rtol=2e-3)
    # without multipoles an isothermal surface is missed, the more the nearer the sheath
    assert line_source_matrix(section)[0, 0] > exact


def test_thin_conductors_are_line_sources() -> None:
    """The limit of both: apart by many radii, multipoles have nothing to do."""
    section = at(4e-3, -2e-3 + 3e-3j, -6e-3j, radius_m=2e-5)
    np.testing.assert_allclose(matrix(section), line_source_matrix(section), rtol=1e-4)


def test_ring_of_four() -> None:
    """Own worked case, within 1 %."""
    got = matrix(ring_of_four())
    want = np.array([0.93173, 0.27231, 0.15911, 0.27231])
    np.testing.assert_allclose(got, [np.roll(want, k) for k in range(4)], rtol=0.01)
    assert ring_of_four().outer_m == pytest.approx(2.4 * 6.4561e-3)


@pytest.mark.parametrize(
    "section",
    [
        ring_of_four(),
        at(4e-3, 4.2j * 1e-3, -1e-3 - 2e-3j, -7.5e-3, radius_m=1.3e-3, filler_k_m_per_w=11.0),
        laid_up(4, 6.0, 24.0),
    ],
    ids=["ring", "without symmetry", "four pairs"],
)
def test_finite_elements_say_the_same(section: Section) -> None:
    """Independent of images and multipoles, to 0.2 % of the own resistances: what so many triangles are good for."""
    witness, got = by_finite_elements(section), matrix(section)
    own = np.sqrt(np.outer(np.diag(witness), np.diag(witness)))
    assert np.max(np.abs(got - witness) / own) < 2e-3
    assert np.min((got - witness) / own) > -2e-4  # the side on which the triangles err
    # and the witness can tell: line sources alone are off by far more than the 1 % that is asked for
    assert np.max(np.abs(line_source_matrix(section) - witness) / own) > 0.05


def test_finite_elements_know_the_coaxial_formula() -> None:
    """The witness itself, where the answer is known."""
    got = by_finite_elements(at(0j, radius_m=3e-3))[0, 0]
    assert got == pytest.approx(6.0 / (2 * math.pi) * math.log(10 / 3), rel=3e-3)


@pytest.mark.parametrize("pairs", [1, 2, 5, 9, 12])
def test_reciprocity_and_the_maximum_principle(pairs: int) -> None:
    """T is symmetric and positive definite; no conductor gets warmer by another's heat than that one; heat flows downhill only."""
    got = matrix(laid_up(pairs, 6.0, 60.0))
    np.testing.assert_array_equal(got, got.T)
    assert np.linalg.eigvalsh(got).min() > 0
    assert np.all(got > 0)
    np.testing.assert_array_equal(np.argmax(got, axis=1), np.arange(2 * pairs))
    conductance = np.linalg.inv(got)
    assert np.all(conductance - np.diag(np.diag(conductance)) <= 1e-9 * np.diag(conductance).max())
    assert np.all(conductance.sum(axis=1) > -1e-6 * np.diag(conductance))


def test_more_copper_never_warms() -> None:
    """
    A further conductor without current short-circuits heat: `q T q` falls for every q (Rayleigh's principle). A mutual resistance
    alone may rise: copper between two conductors leads the heat of one to the other.
    """
    few = matrix(at(4e-3, -4e-3, radius_m=1.5e-3))
    more = matrix(at(4e-3, -4e-3, 0j, 5e-3j, radius_m=1.5e-3))[:2, :2]
    assert np.linalg.eigvalsh(few - more).min() > 0
    assert more[0, 1] > few[0, 1]


def test_scale_resistivity_turn_and_order() -> None:
    """T goes with the resistivity, not with the size; turning changes nothing; renumbering renumbers."""
    z = np.array([4e-3, 4.2j * 1e-3, -1e-3 - 2e-3j])
    base = matrix(at(*z))
    np.testing.assert_allclose(matrix(at(*(3 * z), radius_m=3e-3, inner_m=30e-3)), base, rtol=1e-9)
    np.testing.assert_allclose(matrix(at(*z, filler_k_m_per_w=12.0)), 2 * base, rtol=1e-12)
    np.testing.assert_allclose(matrix(at(*(z * np.exp(1.1j)))), base, rtol=1e-5)
    np.testing.assert_allclose(matrix(at(*(z.conj()))), base, rtol=1e-5)
    swap = [2, 0, 1]
    np.testing.assert_allclose(matrix(at(*z[swap])), base[np.ix_(swap, swap)], rtol=1e-9)


@pytest.mark.parametrize("pairs", [2, 6, 12])
def test_the_series_has_settled(pairs: int) -> None:
    """Two more orders change less than a tenth of the 1 % that is promised."""
    section = laid_up(pairs, 6.0, 40.0)
    np.testing.assert_allclose(matrix(section), matrix(section, 10), rtol=1e-3)


def test_matrix_is_kept_and_safe() -> None:
    assert matrix(ring_of_four()) is matrix(ring_of_four())
    with pytest.raises(ValueError, match="read-only"):
        matrix(ring_of_four())[0, 0] = 1.0


def test_sheath() -> None:
    """`rho / (2 pi) ln(De / Din)`, IEC 60287-2-1; own worked case; twice as thick in two steps is the sum."""
    section = Section((0.0,), (0.0,), 1e-3, 6.4561e-3, 16.5122e-3, 6.0, 5.0)
    assert section.sheath_resistance == pytest.approx(0.195702, abs=5e-7)
    thin, thick = (Section((0.0,), (0.0,), 1e-3, 5e-3, d, 6.0, 5.0).sheath_resistance for d in (11e-3, 12.1e-3))
    assert thick == pytest.approx(2 * thin)
    assert Section((0.0,), (0.0,), 1e-3, 5e-3, 10e-3).sheath_resistance == 0
    assert [sheath_k_m_per_w(k) for k in ("hdpe", "pvc")] == [3.5, 5.0]
    assert set(SHEATH_K_M_PER_W) == {"hdpe", "pvc", "lszh"}
    assert SHEATH_SOURCE.mark is Mark.MEMORY
    assert (FILLER_K_M_PER_W, FILLER_SOURCE.mark) == (11.0, Mark.PRACTICE)


@pytest.mark.parametrize("area_mm2", [4.0, 6.0, 16.0])
def test_every_count_of_pairs_is_laid_up_without_overlap(area_mm2: float) -> None:
    """From the narrowest diameter that is taken: insulated cores clear each other and stay inside the sheath."""
    for pairs in range(1, 38):
        section = narrowest(pairs, area_mm2)
        z, core = section.centres, 2 * (section.conductor_m + CORE_WALL_M)
        assert z.size == 2 * pairs
        apart = np.abs(z[:, None] - z)[~np.eye(z.size, dtype=bool)]
        assert apart.min() >= core * (1 - 1e-9)
        assert np.abs(z).max() + core / 2 <= section.inner_m * (1 + 1e-9)
        # nobody asks for less than a round of cores can have: hexagonal packing
        assert z.size * (core / 2) ** 2 < math.pi / math.sqrt(12) * section.inner_m**2


def narrowest(pairs: int, area_mm2: float) -> Section:
    """The first outside diameter in steps of 0.5 mm into which the cores fit."""
    for outer_mm in np.arange(5.0, 150.0, 0.5):
        with contextlib.suppress(ValueError):
            return laid_up(pairs, area_mm2, float(outer_mm))
    raise AssertionError(f"{pairs} pairs fit nowhere")


def test_lay_up_takes_what_the_part_declares() -> None:
    section = laid_up(2, 6.0, 17.5, 6.0, "pvc", 0.7e-3)
    assert section.outer_m == pytest.approx(17.5e-3)
    assert section.inner_m == pytest.approx((17.5 / 2 - 1.0 - 0.035 * 17.5) * 1e-3)
    assert (section.filler_k_m_per_w, section.sheath_k_m_per_w) == (6.0, 5.0)
    assert np.abs(section.centres).max() == pytest.approx(section.inner_m - section.conductor_m - 0.7e-3)
    # a stranded conductor is wider than its metal and narrower than a square of it
    assert 6.0 < 1e6 * math.pi * section.conductor_m**2 < 6.0 * 4 / math.pi * 1.1


def test_what_does_not_fit_is_said() -> None:
    with pytest.raises(
        ValueError, match=r"24 cores of 6 mm2 need .* mm inside the sheath, and 20 mm outside leave 16.6 mm"
    ):
        laid_up(12, 6.0, 20.0)
    with pytest.raises(ValueError, match="sheath 'rubber' is not known"):
        laid_up(2, 6.0, 17.5, sheath="rubber")
    with pytest.raises(ValueError, match="two conductors overlap"):
        at(1e-3, -0.9e-3)
    with pytest.raises(ValueError, match="doesn't lie inside"):
        at(9.5e-3)
    with pytest.raises(ValueError, match="doesn't lie inside"):
        at(complex(math.nan, 0))
    with pytest.raises(ValueError, match="1 to 150 conductors"):
        Section((), (), 1e-3, 1e-2, 3e-2)
    with pytest.raises(ValueError, match="1 to 150 conductors"):
        Section((0.0,), (0.0, 1e-3), 1e-3, 1e-2, 3e-2)
    for bad in ((0.0, 1e-2, 3e-2, 6.0, 5.0), (1e-3, 1e-2, 1e-2, 6.0, 5.0), (1e-3, 1e-2, math.inf, 6.0, 5.0)):
        with pytest.raises(ValueError, match="radii must be positive"):
            Section((0.0,), (0.0,), *bad)
    for filler, sheath in ((0.0, 5.0), (6.0, -1.0), (math.nan, 5.0)):
        with pytest.raises(ValueError, match="resistivities must be positive"):
            Section((0.0,), (0.0,), 1e-3, 1e-2, 3e-2, filler, sheath)
