"""Published numbers and independently computed checks for the support room."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import support


def test_terrain_0_en_1991_1_4() -> None:
    """A public calculation sheet to EN 1991-1-4: vb 25 m/s, terrain category 0, at 77.36 m and 28 m."""
    t = support.terrain("0")
    found = support.wind_profile([77.36, 28.0], 25.0, t.z0_m, t.z_min_m)
    np.testing.assert_allclose(found.qp_pa, [1657.5, 1403.3], atol=1.0)
    np.testing.assert_allclose(found.cr, [1.585, 1.4264], atol=0.0005)
    np.testing.assert_allclose(found.iv, [0.0984, 0.1094], atol=0.0001)
    assert found.vm_m_per_s[0] == pytest.approx(39.624, abs=0.005)
    assert found.kr[0] == pytest.approx(0.156, abs=0.0005)


def test_terrain_2_and_4_en_1991_1_4() -> None:
    """The second falls below z_min, which rules."""
    t = support.terrain("II")
    found = support.wind_profile(30.0, 26.0, t.z0_m, t.z_min_m)
    assert found.kr == pytest.approx(0.19)
    assert found.cr == pytest.approx(1.2154, abs=5e-5)
    assert found.vm_m_per_s == pytest.approx(31.60, abs=0.005)
    assert found.iv == pytest.approx(0.1563, abs=5e-5)
    assert found.qp_pa == pytest.approx(1307.1, abs=0.05)
    t = support.terrain("IV")
    assert support.wind_profile(8.0, 30.0, t.z0_m, t.z_min_m).qp_pa == pytest.approx(661.6, abs=0.05)


def test_gust_wind_tia_222() -> None:
    """By hand with the equations of ANSI/TIA-222-G, clause 2.6: 44.7 m/s, exposure B, 25 m, lattice."""
    kz = support.exposure_factor(25.0, "B")
    assert kz == pytest.approx(0.9338, abs=1e-4)
    qz = support.gust_pressure_pa(44.7, kz, 0.85)
    assert qz == pytest.approx(972.2, abs=0.1)
    d = np.array([28.0, 110.0])
    ca = support.round_coefficient(44.7, d, kz)
    np.testing.assert_allclose(ca, [1.2, 1.101], atol=0.0006)
    np.testing.assert_allclose(support.gust_line_force_n_per_m(qz, d, ca, 0.85), [27.77, 100.06], atol=0.015)


# ISO 12494, mass of glaze in kg/m on cylinders of 10, 30, 100 and 300 mm (from memory)
GLAZE = {
    "G1": (0.6, 1.1, 3.1, 8.8),
    "G2": (1.7, 2.8, 6.8, 18.1),
    "G3": (3.4, 5.1, 11.0, 28.0),
    "G4": (5.7, 7.9, 15.8, 38.5),
    "G5": (8.5, 11.3, 21.2, 49.5),
}


@pytest.mark.parametrize("name", list(GLAZE))
def test_glaze_iso_12494(name: str) -> None:
    found = support.glaze_mass_kg_per_m([10, 30, 100, 300], support.ice_class(name).thickness_mm)
    np.testing.assert_allclose(found, GLAZE[name], atol=0.051)


def test_glaze_by_hand() -> None:
    """By hand: G2 on 28 mm and G4 on 50 mm."""
    assert support.glaze_mass_kg_per_m(28, 20) == pytest.approx(2.714, abs=0.0005)
    assert support.glaze_mass_kg_per_m(50, 40) == pytest.approx(10.18, abs=0.005)


def test_three_spans() -> None:
    """Beam tables: 0.4, 1.1, 1.1 and 0.4 of w L."""
    np.testing.assert_allclose(support.reactions_n([1, 1, 1], 100), [40, 110, 110, 40])


def test_pull_both_ways() -> None:
    """By hand: 10 m, a right angle of 0.5 m radius, 6 m, 1.1 kg/m, friction 0.3."""
    route = [support.Section(10, bend_deg=90, radius_m=0.5), support.Section(6)]
    there, back = support.pull_both_ways(route, 1.1, 0.3)
    assert (there.tension_n, back.tension_n) == pytest.approx((71.26, 63.47), abs=0.005)
    assert (there.side_n_per_m, back.side_n_per_m) == pytest.approx((103.7, 62.2), abs=0.05)


def test_clamp_with_ice() -> None:
    """By hand: 6 N m on M8, K 0.2, friction 0.25, creep 0.7, 1.1 kg/m with G2 on 28 mm, safety 1.5."""
    bolt = support.bolt_force_n(6, 8, 0.2)
    grip = support.grip_force_n(bolt, 1, 0.25, 0.7)
    assert bolt == pytest.approx(3750)
    assert grip == pytest.approx(1312.5)
    ice = support.glaze_mass_kg_per_m(28, 20)
    assert support.slip_spacing_m(grip, 1.1, ice, 1.5) == pytest.approx(23.39, abs=0.005)


def test_frequencies_of_a_span() -> None:
    """Beam elements, computed once more (own computation): 1 m, 30 N m2, 1.2 kg/m, without tension and with 150 N."""
    np.testing.assert_allclose(support.clamped_frequency_hz(1.0, [0.0, 150.0], 30.0, 1.2), [17.80, 18.86], atol=0.005)
    np.testing.assert_allclose(support.clamped_estimate_hz(1.0, [0.0, 150.0], 30.0, 1.2), [17.80, 18.86], atol=0.01)
    assert support.pinned_frequency_hz(1.0, 150.0, 30.0, 1.2) == pytest.approx(9.640, abs=0.0005)


def test_swing_in_the_wind() -> None:
    """By hand with annex E of EN 1991-1-4 (from memory): 28 mm, 1.2 kg/m, decrement 0.05, St 0.18."""
    sc = support.scruton_number(0.05, 1.2, 28.0)
    assert sc == pytest.approx(122.4, abs=0.06)
    found = support.swing_ratio(sc, support.STROUHAL_EN)
    assert found == pytest.approx(0.0116, abs=5e-5)
    assert list(support.swing([17.8], found).names) == ["no action"]


def test_heat_of_a_composite_cable() -> None:
    """By hand: copper 96 mm2 and polyethylene 260 mm2 beside steel, 40 K, 30 m."""
    e, area, alpha = [110e9, 0.8e9], [96.0, 260.0], [17e-6, 180e-6]
    ea, mixed = support.axial_stiffness_n(e, area), support.cable_expansion_per_k(e, area, alpha)
    assert ea == pytest.approx(10.77e6, abs=5e3)
    assert mixed == pytest.approx(20.15e-6, abs=5e-9)
    assert support.blocked_force_n(ea, 40.0, mixed, 12e-6) == pytest.approx(3510, abs=1)
    assert support.relative_movement_mm(30.0, 40.0, mixed, 12e-6) == pytest.approx(9.78, abs=0.005)
