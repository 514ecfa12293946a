"""Hand-over: slices against the exact integral, sums, and the exact integral against numerical quadrature."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support

II = (0.05, 2.0)
G = 9.80665


@pytest.mark.parametrize("low_high", [(0.0, 1.5), (0.0, 30.0), (1.0, 2.5), (12.0, 60.0)])
@pytest.mark.parametrize("orography", [1.0, 1.2])
def test_the_exact_integral_against_quadrature(low_high: tuple[float, float], orography: float) -> None:
    quad = pytest.importorskip("scipy.integrate", reason="the reference needs scipy").quad

    def load(z: float) -> float:
        return float(support.line_force_n_per_m(support.wind_profile(z, 26.0, *II, orography).qp_pa, 28.0))

    found = support.exact_line_wind(*low_high, 28.0, 26.0, *II, orography=orography)
    assert found.force_n == pytest.approx(quad(load, *low_high, points=[2.0])[0], rel=1e-9)
    assert found.moment_nm == pytest.approx(quad(lambda z: z * load(z), *low_high, points=[2.0])[0], rel=1e-9)


def test_the_exact_integral_may_be_cut_anywhere() -> None:
    cuts = np.array([0.0, 0.7, 2.0, 3.3, 20.0, 50.0])
    parts = support.exact_line_wind(cuts[:-1], cuts[1:], 28.0, 26.0, *II)
    whole = support.exact_line_wind(0.0, 50.0, 28.0, 26.0, *II)
    assert parts.force_n.sum() == pytest.approx(float(whole.force_n))
    assert parts.moment_nm.sum() == pytest.approx(float(whole.moment_nm))


@settings(deadline=None)
@given(st.floats(0, 60), st.floats(0.1, 100), st.floats(10, 50), st.sampled_from(["0", "I", "II", "III", "IV"]))
def test_slices_are_near_the_exact_integral(low: float, length: float, basic: float, category: str) -> None:
    t = support.terrain(category)
    wind = (basic, t.z0_m, t.z_min_m)
    cut = support.slices([low], [low + length])
    assert cut.length_m.max() <= 2 + 1e-9
    load = support.line_force_n_per_m(support.wind_profile(cut.middle_m, *wind).qp_pa, 28.0)
    table = support.load_table([low], [low + length], load, 0.0 * load, 28.0, 28.0, 1.1, 0.0)
    exact = support.exact_line_wind(low, low + length, 28.0, *wind)
    # where the profile starts to grow, at z_min and just above, a slice is up to 6 % low in force and 10 % in moment
    bend = low < t.z_min_m + 2 and t.z_min_m < low + length
    slice_n = float(support.line_force_n_per_m(support.wind_profile(t.z_min_m + 1, *wind).qp_pa, 28.0)) * min(
        length, 2.0
    )
    assert abs(table.bare_force_n[0] - exact.force_n) <= 0.003 * exact.force_n + bend * 0.06 * slice_n
    assert abs(table.bare_moment_nm[0] - exact.moment_nm) <= 0.003 * exact.moment_nm + bend * 0.1 * slice_n * (
        t.z_min_m + 1
    )
    summed = support.line_wind(low, low + length, 28.0, *wind)
    assert table.bare_force_n[0] == pytest.approx(float(summed.force_n), rel=1e-3)
    assert table.bare_moment_nm[0] == pytest.approx(float(summed.moment_nm), rel=1e-3)


def three() -> support.LoadTable:
    low, high, d = np.array([0.0, 2.0, 28.0]), np.array([30.0, 26.0, 29.0]), np.array([28.0, 16.0, 400.0])
    cut = support.slices(low, high)
    qp = support.wind_profile(cut.middle_m, 26.0, *II).qp_pa
    cases = support.wind_cases(qp, d[:, None], "G2")
    ice = support.ice_load("G2", d)
    return support.load_table(
        low,
        high,
        cases.bare_n_per_m,
        cases.iced_n_per_m,
        d,
        ice.side_mm,
        [1.1, 0.4, 20.0],
        ice.mass_kg_per_m,
        [0.5, 0.5, 0.8],
    )


def test_a_table_by_hand() -> None:
    """Weights and areas of three items; wind against `line_wind`."""
    table = three()
    np.testing.assert_allclose(table.dead_n, np.array([33.0, 9.6, 20.0]) * G)
    np.testing.assert_allclose(table.bare_area_m2, [0.84, 0.384, 0.4])
    np.testing.assert_allclose(table.iced_area_m2, [30 * 0.068, 24 * 0.056, 0.44])
    assert table.iced_n[0] == pytest.approx((1.1 + 2.714) * 30 * G, rel=1e-4)
    wind = support.line_wind(0.0, 30.0, 28.0, 26.0, *II)
    assert table.bare_force_n[0] == pytest.approx(float(wind.force_n))
    assert table.bare_moment_nm[0] == pytest.approx(float(wind.moment_nm))
    assert table.iced_force_n[0] == pytest.approx(float(wind.force_n) * 0.45 * 68 / 28)
    assert table.bare_n_per_m[0] * 30 == pytest.approx(float(wind.force_n))


def test_totals_are_sums() -> None:
    table = three()
    total = table.total()
    assert total.bare_shear_n == pytest.approx(float(table.bare_force_n.sum()))
    assert total.iced_moment_nm == pytest.approx(float(table.iced_moment_nm.sum()))
    assert total.iced_weight_moment_nm == pytest.approx(float((table.iced_n * [0.5, 0.5, 0.8]).sum()))
    assert support.WIND_CASES[int(total.governing)] == (
        "iced" if total.iced_moment_nm > total.bare_moment_nm else "bare"
    )


def test_an_even_load_has_its_middle_as_arm() -> None:
    table = support.load_table([4.0], [11.0], np.full((1, 4), 30.0), np.full((1, 4), 10.0), 28.0, 28.0, 1.0, 0.0)
    assert table.bare_moment_nm[0] == pytest.approx(30 * 7 * 7.5)
    assert table.iced_force_n[0] == pytest.approx(70.0)


def test_arrays_equal_scalars() -> None:
    table = three()
    low, high, d = np.array([0.0, 2.0, 28.0]), np.array([30.0, 26.0, 29.0]), np.array([28.0, 16.0, 400.0])
    cut = support.slices(low, high)
    for i in range(3):
        qp = support.wind_profile(cut.middle_m[i], 26.0, *II).qp_pa
        cases = support.wind_cases(qp, d[i], "G2")
        one = support.load_table(
            low[i],
            high[i],
            cases.bare_n_per_m[None],
            cases.iced_n_per_m[None],
            d[i],
            d[i] + 40,
            [1.1, 0.4, 20.0][i],
            0.0,
        )
        for field in ("bare_force_n", "iced_moment_nm", "dead_n", "iced_area_m2"):
            assert getattr(table, field)[i] == pytest.approx(float(getattr(one, field)[0]), rel=1e-12)
    exact = support.exact_line_wind(low, high, d, 26.0, *II)
    for i in range(3):
        assert exact.force_n[i] == support.exact_line_wind(low[i], high[i], d[i], 26.0, *II).force_n


def test_many_masts_at_once() -> None:
    load = np.full((5, 2, 3), 40.0)
    table = support.load_table([0.0, 1.0], [6.0, 4.0], load, load, 28.0, 28.0, 1.0, 0.5)
    for field in dataclasses.fields(table):
        assert getattr(table, field.name).shape == (5, 2)
    np.testing.assert_allclose(table.total().bare_shear_n, np.full(5, 360.0))


def test_nonsense_is_refused() -> None:
    load = np.ones((1, 3))
    for call in (
        lambda: support.slices(5.0, 4.0),
        lambda: support.slices(-1.0, 4.0),
        lambda: support.slices(0.0, np.inf),
        lambda: support.slices(0.0, 4.0, 3.0),
        lambda: support.slices(0.0, 1e6),
        lambda: support.load_table([0.0], [7.0], load, load, 28.0, 28.0, 1.0, 0.0),
        lambda: support.load_table([5.0], [4.0], load, load, 28.0, 28.0, 1.0, 0.0),
        lambda: support.load_table([0.0], [4.0], -load, load, 28.0, 28.0, 1.0, 0.0),
        lambda: support.load_table([0.0], [4.0], load, load, np.nan, 28.0, 1.0, 0.0),
        lambda: support.load_table([0.0], [4.0], 1.0, 1.0, 28.0, 28.0, 1.0, 0.0),
        lambda: support.exact_line_wind(5.0, 4.0, 28.0, 26.0, *II),
        lambda: support.exact_line_wind(0.0, 4.0, 28.0, np.nan, *II),
    ):
        with pytest.raises(ValueError, match=r"can't|must"):
            call()
